//! Tries that the cues of a drill are told to be marked: from its beginning, after a restart, until it is a rescue or over.
//!
//! What is heard of it, and when, is tried where the sound is (`heard`, `sound`).

use crate::desk::Desk;
use groundward::cue::Cue;
use groundward::engine::Engine;
use groundward::incident::{Act, CareTaker, Event, Inject, OtherWork, Surprise};
use groundward::signal::{Effect, Input, LoadedPlan, Prepare, Tap};
use groundward::units::Millis;
use groundward::words::Id;

fn plan() -> LoadedPlan {
    let demo = groundward::plan::DEMO.as_bytes();
    LoadedPlan::choose(Some(("plan.toml", demo)), None, None, crate::support::day())
}

/// On standby of a tablet that is kept for rescues.
fn tablet() -> Desk {
    let mut desk = Desk::loaded(plan());
    desk.engine = Engine::new(plan(), false);
    desk
}

/// What was told about the mark, in order.
fn told(effects: &[Effect]) -> Vec<bool> {
    let told = effects.iter().filter_map(|it| match it {
        Effect::Drill(drill) => Some(*drill),
        _ => None,
    });
    told.collect()
}

/// What was told last, if anything was, is what the screens say.
#[track_caller]
fn agrees(desk: &Desk) {
    let marked = told(&desk.effects).last() == Some(&true);
    assert_eq!(marked, desk.engine.snapshot(&desk.now).drill);
}

fn begin() -> Desk {
    let mut desk = tablet();
    desk.tap(Tap::Prepare(Prepare::Scenario(Box::default())));
    desk.tap(Tap::Prepare(Prepare::Others(OtherWork::Stopped)));
    desk.tap(Tap::Prepare(Prepare::Place(Some("silo3".to_owned()))));
    assert!(told(&desk.effects).is_empty(), "nothing has begun");
    let effects = desk.tap(Tap::BeginDrill);
    assert!(desk.facts().is_drill());
    assert_eq!(effects.first(), Some(&Effect::Drill(true)));
    agrees(&desk);
    desk
}

#[test]
fn a_drill_is_told_once_at_its_beginning_and_no_more_once_it_is_over() {
    let mut desk = begin();
    desk.pass(90_000);
    assert!(desk.effects.iter().any(|it| matches!(it, Effect::Play(_))));
    desk.act(Act::OffHarness);
    desk.act(Act::BeginClosing);
    desk.act(Act::HandOver(1, CareTaker::Ambulance));
    desk.answer_until("Stood down. Write this down:");
    assert_eq!(
        told(&desk.effects),
        [true],
        "the log of it is still a drill's"
    );
    desk.act(Act::Leave);
    assert_eq!(told(&desk.effects), [true, false]);
    agrees(&desk);
}

#[test]
fn once_it_is_real_no_cue_is_marked_and_that_is_told_before_anything_sounds() {
    let mut desk = begin();
    let effects = desk.tap(Tap::Do(Act::Real));
    assert_eq!(effects.first(), Some(&Effect::Drill(false)));
    agrees(&desk);
    desk.pass(90_000);
    desk.act(Act::Danger);
    assert!(desk.effects.contains(&Effect::Play(Cue::Danger)));
    assert_eq!(told(&desk.effects), [true, false]);
}

#[test]
fn a_danger_in_a_drill_sounds_as_soon_as_in_a_rescue() {
    let mut desk = begin();
    let effects = desk.tap(Tap::Do(Act::Danger));
    assert!(effects.contains(&Effect::Play(Cue::Danger)));
    assert!(told(&effects).is_empty(), "it is one already");
}

#[test]
fn a_drill_that_is_taken_up_again_after_a_restart_is_told_before_anything_sounds() {
    let desk = begin();
    let (engine, effects) = Engine::resume(plan(), false, desk.records.clone(), &desk.now, 0);
    assert_eq!(effects.first(), Some(&Effect::Drill(true)));
    assert!(engine.snapshot(&desk.now).drill);
}

#[test]
fn after_a_restart_a_surprise_stands_before_what_the_restart_says() {
    let mut desk = begin();
    let surprise = Surprise {
        at: Millis::from_seconds(2),
        inject: Inject::RadioLost {},
    };
    let Some(Event::Opened(opening)) = desk.records.first_mut().map(|it| &mut it.event) else {
        panic!("it begins with how it was opened");
    };
    let exercise = opening.exercise.as_mut().expect("how it is played");
    exercise.surprises.push(surprise);
    let records = desk.records.clone();
    desk.pass(5_000);
    let (mut engine, _) = Engine::resume(plan(), false, records, &desk.now, 0);
    engine.handle(Input::Wake, &desk.now);
    let notices = engine.snapshot(&desk.now).notices;
    let ids: Vec<Id> = notices.iter().map(|it| it.message.id).collect();
    assert_eq!(ids, [Id::NoticeSurprise, Id::NoticeResumed]);
}

#[test]
fn a_rescue_is_never_told_to_be_a_drill_unless_the_tablet_is_kept_for_drills() {
    let mut desk = tablet();
    desk.hang(Some("silo3"));
    desk.pass(90_000);
    assert!(told(&desk.effects).is_empty());
    agrees(&desk);
    let mut kept = Desk::loaded(plan());
    kept.tap(Tap::Touched);
    assert_eq!(told(&kept.effects), [true], "Standby says DRILL there");
    kept.hang(Some("silo3"));
    assert_eq!(told(&kept.effects), [true]);
    agrees(&kept);
}
