//! Tries what guards a living person in a drill, how surprises come, and how a drill becomes a rescue.

use crate::desk::Desk;
use groundward::cue::Cue;
use groundward::drill::{Lesson, PartTaken, Span, Undrilled, When, due};
use groundward::incident::{
    Act, Condition, Event, Exercise, Hanging, Inject, Opened, OtherWork, Report, Surprise,
    Whereabouts,
};
use groundward::readiness::{Declare, Light};
use groundward::review::lines;
use groundward::signal::{Effect, Input, LogEntry, Prepare, Prepared, ScenarioFile, Tap};
use groundward::units::{Millis, Speed};
use groundward::words::Language;
use proptest::prelude::*;

/// On standby of a tablet that is not kept for drills.
fn tablet() -> Desk {
    let mut desk = Desk::demo();
    let plan = desk.engine.snapshot(&desk.now).plan;
    assert!(!plan.plan.positions.is_empty());
    desk.tap(Tap::Prepare(Prepare::Others(OtherWork::Stopped)));
    desk
}

const WATCHER: &str = "bram";

fn guarded(limit_s: i64) -> [Prepare; 5] {
    [
        Prepare::Live,
        Prepare::SecondLine(true),
        Prepare::CanStand(true),
        Prepare::Watcher(WATCHER.to_owned()),
        Prepare::Limit(Millis::from_seconds(limit_s)),
    ]
}

fn begin(mut desk: Desk, said: impl IntoIterator<Item = Prepare>) -> Desk {
    for what in said {
        desk.tap(Tap::Prepare(what));
    }
    desk.tap(Tap::Prepare(Prepare::Place(Some("silo3".to_owned()))));
    desk.tap(Tap::BeginDrill);
    desk.pass(600);
    desk
}

fn live(limit_s: i64) -> Desk {
    let desk = begin(tablet(), guarded(limit_s));
    assert!(desk.facts().guards().is_some());
    desk
}

fn kinds(desk: &Desk) -> Vec<String> {
    desk.records
        .iter()
        .map(|it| it.event.kind().to_owned())
        .collect()
}

#[test]
fn a_manikin_hangs_unless_somebody_says_otherwise_and_the_record_says_how() {
    let desk = begin(tablet(), []);
    let opened = desk.facts().opened.as_ref().expect("it began");
    let exercise = opened.exercise.as_ref().expect("it is written down");
    assert!(opened.drill && exercise.hanging == Hanging::Manikin);
    assert_eq!(exercise.others, Some(OtherWork::Stopped));
    assert_eq!(
        desk.facts().casualty().place,
        Whereabouts::Known("silo3".to_owned())
    );
    desk.assert_replays();
}

/// Without each single guard nobody is hung up, and nothing is begun.
#[test]
fn a_living_person_hangs_only_with_everything_that_guards_them() {
    let without = |index: usize| {
        let mut said = guarded(180).to_vec();
        match index {
            1 => said[1] = Prepare::SecondLine(false),
            2 => said[2] = Prepare::CanStand(false),
            3 => {
                said.remove(3);
            }
            4 => said[4] = Prepare::Limit(Millis::ZERO),
            _ => {}
        }
        let mut desk = tablet();
        for what in said {
            desk.tap(Tap::Prepare(what));
        }
        desk.tap(Tap::BeginDrill);
        desk.facts().is_open()
    };
    assert!(without(0), "with all of it, it begins");
    for index in 1..5 {
        assert!(!without(index), "guard {index} was missing");
    }
    // Nor while the site's other work has neither cover nor stopped.
    let mut desk = Desk::demo();
    for what in guarded(180) {
        desk.tap(Tap::Prepare(what));
    }
    desk.tap(Tap::BeginDrill);
    assert!(!desk.facts().is_open());
}

/// What only a manikin may be played as is not begun with a living person.
#[test]
fn nobody_living_is_played_motionless() {
    for inject in [Inject::StopsAnswering {}, Inject::SecondCasualty {}] {
        let scenario = Prepared {
            exercise: Exercise {
                scenario: "still".to_owned(),
                surprises: vec![Surprise {
                    at: Millis::from_seconds(60),
                    inject,
                }],
                ..Exercise::default()
            },
            position: None,
        };
        let said = Prepare::Scenario(Box::new(scenario));
        let mut desk = tablet();
        desk.tap(Tap::Prepare(said.clone()));
        for what in guarded(180) {
            desk.tap(Tap::Prepare(what));
        }
        desk.tap(Tap::BeginDrill);
        assert!(!desk.facts().is_open());
        desk.tap(Tap::Prepare(Prepare::Manikin));
        desk.tap(Tap::BeginDrill);
        assert!(desk.facts().is_open(), "with a manikin it is played");
    }
}

#[test]
fn at_the_limit_their_watcher_lets_them_stand_with_a_cue_of_its_own_until_somebody_says_so() {
    let mut desk = live(120);
    desk.act(Act::SaySafe);
    desk.act(Act::Report(Condition::Talking));
    desk.effects.clear();
    desk.pass(118_000);
    assert!(desk.facts().played.let_stand.is_none());
    desk.pass(2_000);
    assert_eq!(desk.text(), "Bram: let them stand now.");
    assert!(desk.effects.contains(&Effect::Play(Cue::LetStand)));
    // Nothing else takes its place, but a danger.
    desk.pass(90_000);
    assert_eq!(desk.text(), "Bram: let them stand now.");
    desk.act(Act::Danger);
    assert_ne!(desk.text(), "Bram: let them stand now.");
    desk.act(Act::DangerOver(None));
    assert_eq!(desk.text(), "Bram: let them stand now.");
    desk.answer();
    assert_ne!(desk.text(), "Bram: let them stand now.");
    assert!(desk.facts().is_drill(), "the drill goes on");
    desk.assert_replays();
}

#[test]
fn who_feels_unwell_is_let_stand_at_once_and_who_does_not_answer_is_a_rescue() {
    let mut desk = live(180);
    desk.act(Act::SaySafe);
    desk.act(Act::Report(Condition::Unwell));
    assert_eq!(desk.text(), "Bram: let them stand now.");
    assert!(desk.facts().is_drill());

    let mut desk = live(180);
    desk.act(Act::SaySafe);
    desk.act(Act::CallPassed);
    desk.act(Act::CallMade);
    desk.act(Act::Report(Condition::NotAnswering));
    let facts = desk.facts();
    assert!(!facts.is_drill() && facts.played.real.is_some());
    assert!(
        facts.call.confirmed.is_none(),
        "in the drill nobody dialled"
    );
    assert_eq!(
        facts.casualty().condition.map(|it| it.0),
        Some(Condition::NotAnswering)
    );
    desk.assert_replays();
}

/// Whoever watches is neither sent anywhere nor asked to call, until it is a rescue.
#[test]
fn the_watcher_has_no_other_task() {
    let mut desk = live(300);
    desk.act(Act::SaySafe);
    desk.act(Act::Report(Condition::Talking));
    for _ in 0..20 {
        desk.pass(10_000);
        let facts = desk.facts();
        assert!(facts.order_of(WATCHER).is_none());
        assert_ne!(facts.caller().map(String::as_str), Some(WATCHER));
        if desk.prompt().main.is_some() {
            desk.answer();
        }
    }
    assert!(!desk.facts().free_people().contains(&WATCHER.to_owned()));
    desk.act(Act::Real);
    assert!(desk.facts().free_people().contains(&WATCHER.to_owned()));
}

/// One held touch. What was only played counts no more: it is asked again whether it is safe, and somebody calls.
#[test]
fn the_stop_word_makes_a_rescue_of_a_drill_and_keeps_its_clock_and_record() {
    let mut desk = begin(tablet(), []);
    let incident = desk.records[0].incident.clone();
    desk.act(Act::SaySafe);
    desk.act(Act::CallPassed);
    desk.act(Act::CallMade);
    desk.act(Act::Report(Condition::NotAnswering));
    desk.pass(30_000);
    let (before, hanging) = (desk.records.len(), desk.hanging_ms());
    desk.act(Act::Real);
    assert_eq!(desk.records[before].event, Event::RealCalled {});
    assert_eq!(desk.records[before].incident, incident);
    assert_eq!(desk.hanging_ms(), hanging);
    let facts = desk.facts();
    assert!(!facts.is_drill());
    assert!(facts.casualty().scene.safe.is_none() && facts.casualty().condition.is_none());
    assert!(facts.call.passed.is_none() && facts.call.confirmed.is_none());
    assert_eq!(desk.text(), "Stop work. Is it safe to go near?");
    desk.answer();
    assert!(
        !desk
            .prompt()
            .caution
            .is_some_and(|it| it.text(Default::default()).contains("DRILL")),
        "the call is made now"
    );
    assert!(
        !desk.engine.snapshot(&desk.now).drill,
        "no screen says DRILL any more"
    );
    // It is not taken back: neither by an undo of what came before nor by a second touch.
    let count = kinds(&desk)
        .iter()
        .filter(|it| *it == "real-called")
        .count();
    desk.act(Act::Real);
    if let Some(undo) = desk.facts().undo.clone() {
        desk.tap(Tap::Undo { cause: undo.cause });
    }
    assert_eq!(
        kinds(&desk)
            .iter()
            .filter(|it| *it == "real-called")
            .count(),
        count
    );
    assert!(!desk.facts().is_drill());
    desk.assert_replays();
}

/// In a rescue the stop word and all that belongs to a drill do nothing.
#[test]
fn in_a_rescue_nothing_of_a_drill_does_anything() {
    let mut desk = begin(tablet(), []);
    desk.act(Act::Real);
    let before = desk.records.len();
    for act in [
        Act::Real,
        Act::Stands,
        Act::GiveSurprise(0),
        Act::LeaveSurprise(0),
    ] {
        desk.act(act);
    }
    assert_eq!(desk.records.len(), before);
}

#[test]
fn surprises_come_to_whoever_controls_the_drill_one_after_the_other_and_are_written_down() {
    let at = |seconds, inject| Surprise {
        at: Millis::from_seconds(seconds),
        inject,
    };
    let surprises = vec![at(20, Inject::RadioLost {}), at(21, Inject::WrongGate {})];
    let scenario = Prepared {
        exercise: Exercise {
            scenario: "two".to_owned(),
            surprises,
            ..Exercise::default()
        },
        position: None,
    };
    let mut desk = begin(tablet(), [Prepare::Scenario(Box::new(scenario))]);
    assert!(desk.facts().surprise_now().is_none());
    let prompt = desk.text();
    desk.pass(25_000);
    let now = |desk: &Desk| desk.facts().surprise_now().map(|it| it.0);
    assert_eq!(now(&desk), Some(0));
    assert_eq!(desk.text(), prompt, "the crew's prompt stays");
    let said = desk.engine.snapshot(&desk.now).notices;
    let said: Vec<String> = said
        .iter()
        .map(|it| it.message.text(Default::default()))
        .collect();
    assert!(
        said.iter().any(|it| it.contains("the radios are dead")),
        "{said:?}"
    );
    // The second one is not given before the first.
    desk.act(Act::GiveSurprise(1));
    assert_eq!(now(&desk), Some(0));
    desk.act(Act::GiveSurprise(0));
    assert_eq!(now(&desk), Some(1));
    desk.act(Act::LeaveSurprise(1));
    assert_eq!(now(&desk), None);
    let kinds = kinds(&desk);
    for kind in ["surprise-given", "surprise-left-out"] {
        assert_eq!(kinds.iter().filter(|it| *it == kind).count(), 1);
    }
    desk.assert_replays();
}

/// A position is due until a drill there brought somebody down, and a drill elsewhere or broken off makes no difference.
#[test]
fn standby_counts_the_positions_that_are_due() {
    let old =
        groundward::plan::DEMO.replacen("drill_every = \"3650 d\"", "drill_every = \"30 d\"", 1);
    let mut desk = Desk::with(&old);
    let drilled = |position: &str, ended| LogEntry {
        incident: format!("{position}-{ended}"),
        when: String::new(),
        place: String::new(),
        drill: true,
        closed: true,
        hung: None,
        intact: true,
        filled: false,
        tasks: Vec::new(),
        drilled: Some(Box::new(Lesson {
            incident: format!("{position}-{ended}"),
            started_ms: desk.now.wall_ms - 86_400_000,
            position: Some(position.to_owned()),
            off: Some(match ended {
                true => Span::ended(Millis(300_000)),
                false => Span::broken_off(Millis(300_000)),
            }),
            ..Lesson::default()
        })),
    };
    let plan = groundward::plan::fit("plan.toml", &old).expect("it is fit");
    let overdue = due(&plan, &[], desk.now.day());
    let position = overdue.iter().find_map(|it| match &it.what {
        Undrilled::Position(id) => Some(id.as_str()),
        Undrilled::Qualified { .. } => None,
    });
    let position = position.expect("a position is due");
    let [done, broken] = [drilled(position, true), drilled(position, false)];
    desk.engine.new_day(&desk.now);
    let places = |it: &&groundward::drill::Overdue| matches!(it.what, Undrilled::Position(_));
    let count = |desk: &Desk| {
        let due = desk.engine.snapshot(&desk.now).drills_due;
        due.iter().filter(places).count()
    };
    let before = count(&desk);
    assert!(before > 1, "{before}");
    desk.take(Input::Log(vec![broken.clone()]));
    assert_eq!(count(&desk), before);
    desk.take(Input::Log(vec![broken, done.clone(), done]));
    assert_eq!(count(&desk), before - 1);
}

/// People are due in what they are qualified for until a drill asked it of them.
#[test]
fn standby_counts_the_people_that_are_due() {
    let mut desk = Desk::demo();
    desk.engine.new_day(&desk.now);
    let people = |desk: &Desk| -> Vec<(String, String)> {
        let due = desk.engine.snapshot(&desk.now).drills_due;
        let people = due.iter().filter_map(|it| match &it.what {
            Undrilled::Position(_) => None,
            Undrilled::Qualified {
                responder,
                qualification,
            } => Some((responder.clone(), qualification.clone())),
        });
        people.collect()
    };
    let before = people(&desk);
    let (responder, qualification) = before.first().expect("somebody is due").clone();
    let part = PartTaken {
        responder,
        method: String::new(),
        role: String::new(),
        qualification: Some(qualification),
    };
    let lesson = Lesson {
        started_ms: desk.now.wall_ms - 86_400_000,
        position: Some("silo3".to_owned()),
        off: Some(Span::ended(Millis(300_000))),
        parts: vec![part],
        ..Lesson::default()
    };
    let entry = LogEntry {
        incident: "one".to_owned(),
        when: String::new(),
        place: String::new(),
        drill: true,
        closed: true,
        hung: None,
        intact: true,
        filled: false,
        tasks: Vec::new(),
        drilled: Some(Box::new(lesson)),
    };
    desk.take(Input::Log(vec![entry]));
    assert_eq!(people(&desk), before[1..]);
}

/// Prepares a drill at silo 3 and begins it.
fn set(said: impl IntoIterator<Item = Prepare>) -> Desk {
    begin(tablet(), said)
}

fn opened(desk: &Desk) -> &Opened {
    desk.facts().opened.as_ref().expect("it was opened")
}

#[test]
fn only_those_who_play_are_sent_until_the_stop_word_sends_everybody() {
    let mut desk = tablet();
    let all: Vec<String> = {
        let plan = desk.engine.snapshot(&desk.now).plan.plan;
        plan.responders.iter().map(|it| it.id.clone()).collect()
    };
    let played: Vec<String> = all.iter().take(4).cloned().collect();
    let away = all.iter().skip(4).cloned().map(Prepare::Player);
    for what in away.collect::<Vec<_>>() {
        desk.tap(Tap::Prepare(what));
    }
    let mut desk = begin(desk, []);
    assert_eq!(opened(&desk).roll_call, played);
    desk.act(Act::Report(Condition::Talking));
    for _ in 0..8 {
        if desk.prompt().main.is_some() {
            desk.answer();
        }
        desk.pass(15_000);
    }
    let facts = desk.facts();
    assert!(!facts.orders.is_empty(), "somebody was sent");
    for order in &facts.orders {
        assert!(played.contains(&order.posting.responder), "{order:?}");
    }
    desk.act(Act::Real);
    desk.pass(1_000);
    assert_eq!(opened(&desk).roll_call, all);
    desk.assert_replays();
}

#[test]
fn nothing_is_played_as_easier_than_it_is_and_the_stop_word_ends_it() {
    let wind = |speed| Prepare::Wind(Some(Speed(speed)));
    let mut desk = tablet();
    desk.tap(Tap::Declare(Declare::Wind(Speed(9_000))));
    desk.tap(Tap::Declare(Declare::Light(Light::Dark)));
    let really = opened(&begin_at(desk)).clone();
    assert!(really.dark && really.wind.is_some());
    let mut desk = tablet();
    desk.tap(Tap::Declare(Declare::Wind(Speed(9_000))));
    desk.tap(Tap::Declare(Declare::Light(Light::Dark)));
    let desk = begin(desk, [wind(2_000), Prepare::Light(Some(Light::Day))]);
    assert_eq!(
        (opened(&desk).wind, opened(&desk).dark),
        (really.wind, true)
    );
    let mut desk = set([wind(20_000), Prepare::Light(Some(Light::Dark))]);
    assert_eq!(
        (opened(&desk).wind, opened(&desk).dark),
        (Some(Speed(20_000)), true)
    );
    let told = lines(&desk.records, Language::English);
    assert!(
        told[0]
            .text
            .ends_with("; played: dark, not lit, wind 20 m/s"),
        "{}",
        told[0].text
    );
    desk.act(Act::Real);
    assert_eq!((opened(&desk).wind, opened(&desk).dark), (None, false));
    desk.assert_replays();
}

fn begin_at(desk: Desk) -> Desk {
    begin(desk, [])
}

#[test]
fn a_surprise_is_added_in_its_order_drawn_within_its_span_and_taken_away() {
    let mut desk = tablet();
    let add = |when, inject| Tap::Prepare(Prepare::Surprise { when, inject });
    let s = Millis::from_seconds;
    desk.tap(add(When::At(s(120)), Inject::RadioLost {}));
    desk.tap(add(When::Between(s(30), s(60)), Inject::WrongGate {}));
    desk.tap(add(When::At(s(10)), Inject::StopsAnswering {}));
    let prepared = desk.engine.snapshot(&desk.now).prepared;
    let times: Vec<Millis> = prepared.exercise.surprises.iter().map(|it| it.at).collect();
    assert_eq!((times[0], times[2]), (s(10), s(120)));
    assert!((s(30)..=s(60)).contains(&times[1]), "{times:?}");
    desk.tap(Tap::Prepare(Prepare::NoSurprise(0)));
    desk.tap(Tap::Prepare(Prepare::NoSurprise(9)));
    let prepared = desk.engine.snapshot(&desk.now).prepared;
    assert_eq!(prepared.exercise.surprises.len(), 2);
    // What a method needs fails only where there is this method.
    desk.tap(Tap::Prepare(Prepare::Place(Some("silo3".to_owned()))));
    let plan = desk.engine.snapshot(&desk.now).plan.plan;
    let [here, there] = ["silo3", "intake"].map(|id| plan.position(id).expect("it is there"));
    let mut methods = here.methods.iter().map(|it| &it.id);
    let only_here = methods.find(|id| there.method(id).is_none());
    let fails = Inject::MethodFails {
        method: only_here.expect("there is one").clone(),
    };
    desk.tap(add(When::At(s(50)), fails));
    desk.tap(Tap::Prepare(Prepare::Place(Some("intake".to_owned()))));
    let prepared = desk.engine.snapshot(&desk.now).prepared;
    assert_eq!(prepared.exercise.surprises.len(), 2);
}

#[test]
fn scenario_files_of_the_tablet_are_offered_or_say_what_is_wrong() {
    let mut desk = tablet();
    let file = |name: &str, text: &str| ScenarioFile {
        name: name.to_owned(),
        bytes: Ok(text.as_bytes().to_vec()),
    };
    let good =
        "format = 1\nname = \"Ours\"\nposition = \"silo3\"\ncrew = [\"bram\"]\ntime = \"23:00\"\n";
    let bad = "format = 1\nname = \"Theirs\"\nposition = \"nowhere\"\n";
    let gone = ScenarioFile {
        name: "gone.toml".to_owned(),
        bytes: Err("the stick was pulled".to_owned()),
    };
    desk.take(Input::Scenarios(vec![
        file("ours.toml", good),
        file("theirs.toml", bad),
        gone,
    ]));
    let offered = desk.engine.snapshot(&desk.now).scenarios;
    assert_eq!(offered[0].name, "Ours");
    let ours = offered[0].prepared.as_ref().expect("it suits the plan");
    assert_eq!(ours.position.as_deref(), Some("silo3"));
    let setting = &ours.exercise.setting;
    assert_eq!(setting.crew.as_deref(), Some(&["bram".to_owned()][..]));
    assert_eq!(
        (setting.time_min, setting.light),
        (Some(23 * 60), Some(Light::Dark))
    );
    assert_eq!(offered[1].name, "theirs.toml");
    let why = offered[1].prepared.as_ref().expect_err("it does not");
    assert!(
        why.starts_with("3: the plan has no position `nowhere`"),
        "{why}"
    );
    assert_eq!(offered[2].prepared, Err("the stick was pulled".to_owned()));
    assert!(offered.len() > 3, "the built-in ones stand after them");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever a crew touches, a living person never hangs past the limit without the tablet asking to let them stand.
    #[test]
    fn no_touch_lets_a_living_person_hang_on(
        limit_s in 10_i64..=300,
        touches in proptest::collection::vec((0_usize..12, 1_000_i64..40_000), 1..40),
    ) {
        let mut desk = live(limit_s);
        for (touch, wait) in touches {
            let act = match touch {
                0 => Act::SaySafe,
                1 => Act::Report(Condition::Talking),
                2 => Act::Report(Condition::Stuck),
                3 => Act::CallPassed,
                4 => Act::Danger,
                5 => Act::DangerOver(None),
                6 => Act::TakeCommand,
                7 => Act::Responder("tove".to_owned(), Report::Cannot),
                8 => Act::AddCasualty,
                9 => Act::BeginClosing,
                10 => Act::OutsideLeads,
                _ => Act::StepDone,
            };
            desk.act(act);
            desk.pass(wait);
            let facts = desk.facts();
            let first = &facts.casualties[0];
            if first.off.is_none() && desk.at() >= Millis::from_seconds(limit_s) && facts.is_open() {
                prop_assert!(facts.must_stand());
                let shown = facts.shown.as_ref().map_or("", |it| &it.message);
                prop_assert!(["let-stand-by", "danger"].contains(&shown), "{shown}");
            }
        }
    }
}
