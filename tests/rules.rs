//! Holds the rules of a rescue against the production engine, one test per clause.
//!
//! The rules are those of `DEVELOPERS.md`, "How a rescue runs". Where a figure comes from outside, its source stands beside
//! the check.

use crate::desk::{Desk, said};
use groundward::incident::{Act, Condition, Event, Pick, PlanStanding, Whereabouts};
use groundward::plan::HazardKind;
use groundward::signal::LoadedPlan;
use groundward::signal::{Effect, Tap};
use groundward::units::Millis;

const SILO: Option<&str> = Some("silo3");

/// A desk at the first step of the first method at silo 3, all made safe, the call passed on.
fn at_work() -> Desk {
    let mut desk = Desk::demo();
    desk.hang(SILO);
    desk.answer();
    desk.answer();
    desk.choose("Answers well");
    desk.answer();
    desk.act(Act::OthersStopped);
    assert!(desk.facts().may_go_near(), "{}", desk.text());
    desk
}

/// Lets time pass with somebody talking to the casualty, who answers well.
fn pass_talking(desk: &mut Desk, ms: i64) {
    let mut left = ms;
    while left > 0 {
        let step = left.min(50_000);
        desk.pass(step);
        left -= step;
        if left > 0 {
            desk.act(Act::Report(Condition::Talking));
        }
    }
}

fn started(desk: &Desk) -> Vec<String> {
    desk.records
        .iter()
        .filter_map(|r| match &r.event {
            Event::MethodStarted { method, .. } => Some(method.clone()),
            _ => None,
        })
        .collect()
}

// Rule 1: activation always works.

#[test]
fn activation_works_without_a_plan_and_gives_the_four_rungs() {
    let mut desk = Desk::loaded(LoadedPlan::choose(None, None, None, crate::support::day()));
    desk.hang(None);
    assert_eq!(desk.facts().methods().len(), 4);
    assert_eq!(desk.text(), "Stop work. Is it safe to go near?");
    desk.answer();
    desk.answer();
    desk.choose("Answers well");
    desk.pass(3_000);
    assert_eq!(started(&desk).len(), 1, "a method begins: {}", desk.text());
    desk.assert_replays();
}

#[test]
fn a_refused_plan_gives_way_to_the_last_fit_one_and_says_so() {
    let plan = LoadedPlan::choose(
        Some(("today.toml", b"format = 1\nnonsense")),
        Some(("last-fit-plan.toml", groundward::plan::DEMO.as_bytes())),
        None,
        crate::support::day(),
    );
    assert_eq!(plan.in_use.standing, PlanStanding::LastFit);
    assert!(
        plan.in_use
            .refused
            .as_ref()
            .is_some_and(|why| why.contains("today.toml") && why.contains("line 2")),
        "{plan:?}"
    );
    let mut desk = Desk::loaded(plan);
    desk.hang(SILO);
    let Event::Opened(opening) = &desk.records[0].event else {
        panic!("the record opens")
    };
    assert_eq!(
        (opening.plan_name.as_str(), opening.plan_standing),
        ("last-fit-plan.toml", PlanStanding::LastFit)
    );
}

#[test]
fn activation_works_at_a_place_that_is_not_in_the_plan() {
    let mut desk = Desk::demo();
    desk.hang(Some("no such place"));
    assert_eq!(desk.facts().casualty().place, Whereabouts::Unknown);
    desk.answer();
    desk.answer();
    assert_eq!(desk.text(), "Where is the casualty hanging?");
    desk.choose("Another place");
    assert_eq!(desk.facts().methods().len(), 4);
    desk.choose("Answers well");
    assert!(desk.prompt().main.is_some());
}

#[test]
fn the_clock_counts_from_the_fall_and_not_from_the_activation() {
    let mut desk = Desk::demo();
    desk.hang(SILO);
    desk.pass(10_000);
    desk.act(Act::SetFall {
        ago: Millis::from_seconds(180),
        at_least: false,
    });
    assert_eq!(desk.hanging_ms(), 180_000);
    desk.pass(5_000);
    assert_eq!(desk.hanging_ms(), 185_000);
    desk.act(Act::SetFall {
        ago: Millis::ZERO,
        at_least: true,
    });
    assert!(desk.facts().at_least());
    assert_eq!(
        desk.hanging_ms(),
        185_000,
        "what was known for certain stays"
    );
}

// Rule 2: make safe first.

#[test]
fn the_first_prompt_asks_whether_it_is_safe_and_names_who_makes_it_so() {
    let mut desk = Desk::demo();
    desk.hang(SILO);
    assert_eq!(desk.text(), "Stop work. Is it safe to go near?");
    let lines: Vec<_> = desk
        .prompt()
        .lines
        .iter()
        .map(|l| l.text(Default::default()))
        .collect();
    assert_eq!(
        lines,
        [
            "Sef: lock off the dust fan",
            "Others at height stop: no rescue cover now."
        ]
    );
}

#[test]
fn nobody_is_sent_near_before_it_is_safe() {
    let mut desk = Desk::demo();
    desk.hang(SILO);
    desk.answer();
    desk.answer();
    desk.choose("Answers well");
    assert_eq!(
        desk.text(),
        "Sef: lock off the dust fan.",
        "saying safe does not skip a hazard of the plan"
    );
    desk.act(Act::GoStraight("pick-off".to_owned()));
    assert_eq!(
        desk.text(),
        "Sef: lock off the dust fan.",
        "nor does going straight to a method"
    );
    let before = desk.records.len();
    desk.act(Act::StepDone);
    assert_eq!(
        desk.records.len(),
        before,
        "a step near the casualty cannot be done yet"
    );
    desk.answer();
    assert_eq!(
        desk.text().split(": ").nth(1),
        Some("rig both ropes at the roof beam.")
    );
}

#[test]
fn what_is_not_safe_yet_is_asked_again_and_the_rest_goes_on() {
    let mut desk = Desk::demo();
    desk.hang(SILO);
    desk.pick(Pick::Other);
    desk.answer();
    desk.choose("Answers well");
    let far = desk.text();
    assert!(
        far.contains("straps"),
        "a step away from the casualty goes on: {far}"
    );
    desk.pass(20_000);
    assert_eq!(desk.text(), "Sef: lock off the dust fan.");
    desk.pass(1_000);
    desk.answer();
    assert_eq!(desk.text(), "Is it safe to go near now?");
}

#[test]
fn until_the_supply_is_confirmed_off_nobody_touches_anything() {
    let mut desk = Desk::demo();
    desk.hang(Some("gallery"));
    desk.answer();
    desk.answer();
    desk.choose("Answers well");
    let supply = desk.text();
    let hazard = desk
        .facts()
        .open_hazard()
        .expect("the gallery has a supply");
    assert_eq!(
        hazard.kind,
        HazardKind::Electric,
        "it comes before every other hazard"
    );
    for method in desk
        .facts()
        .methods()
        .iter()
        .map(|m| m.id.clone())
        .collect::<Vec<_>>()
    {
        desk.act(Act::GoStraight(method));
        desk.pick(Pick::Other);
        assert_eq!(
            desk.text(),
            supply,
            "it stays, put off or not, whatever the method"
        );
        desk.act(Act::StepDone);
        assert!(desk.facts().running().is_none_or(|r| r.step == 0));
    }
}

// Rule 3: the emergency call.

#[test]
fn the_call_goes_to_a_named_person_within_the_first_two_prompts() {
    for position in [None, SILO] {
        let mut desk = Desk::demo();
        desk.hang(position);
        desk.answer();
        assert!(desk.shown()[1].contains(": call "), "{:?}", desk.shown());
    }
}

#[test]
fn the_call_never_holds_the_rescue_prompt() {
    let mut desk = Desk::demo();
    desk.hang(SILO);
    desk.answer();
    desk.pass(10_000);
    assert_eq!(
        desk.text(),
        "Tove: call to the casualty. Any answer?",
        "it gives way by itself"
    );
    assert!(desk.facts().call.confirmed.is_none());
}

#[test]
fn an_unconfirmed_call_goes_to_the_next_free_person_with_a_cue() {
    let mut desk = at_work();
    let first = desk.facts().call.ordered.clone();
    desk.pass(60_000);
    assert!(
        desk.text().starts_with("Ines"),
        "the rescue prompt stays: {}",
        desk.text()
    );
    let ordered = desk.facts().call.ordered.clone();
    assert_eq!((first.len(), ordered.len()), (1, 2));
    assert_ne!(ordered[0].0, ordered[1].0);
    assert!(
        desk.effects
            .contains(&Effect::Play(groundward::cue::Cue::OrderUnanswered))
    );
    desk.act(Act::CallMade);
    desk.pass(120_000);
    assert_eq!(
        desk.facts().call.ordered.len(),
        2,
        "once confirmed nobody is asked again"
    );
}

#[test]
fn alone_the_call_is_made_on_the_loudspeaker() {
    let mut desk = Desk::demo();
    let plan = desk.engine.snapshot(&desk.now).plan.plan;
    for responder in &plan.responders {
        desk.tap(Tap::SwapPresent {
            responder: responder.id.clone(),
        });
    }
    desk.hang(SILO);
    desk.answer();
    assert!(
        desk.text().ends_with("on loudspeaker. Keep working."),
        "{}",
        desk.text()
    );
}

// Rules 4 and 5, as far as this version goes: the ladder's order, and what the condition rules out.

#[test]
fn the_ladder_is_climbed_in_its_order() {
    let mut desk = at_work();
    for _ in 0..3 {
        desk.pick(Pick::Other);
        if desk.text() == "Both connected? Weight held?" {
            desk.answer();
        }
    }
    assert_eq!(started(&desk), ["self", "ladder", "boom-lift", "pick-off"]);
}

#[test]
fn a_casualty_who_does_not_answer_is_never_left_to_help_themselves() {
    let mut desk = at_work();
    desk.act(Act::Report(Condition::NotAnswering));
    assert_eq!(
        desk.text(),
        "Change to pick-off now.",
        "the shortest time to hands on the casualty decides"
    );
    desk.act(Act::Report(Condition::Talking));
    assert_eq!(
        desk.text(),
        "Change to pick-off now.",
        "a better condition puts no method back"
    );
    let mut desk = Desk::demo();
    desk.hang(None);
    desk.act(Act::Report(Condition::NotAnswering));
    desk.answer();
    desk.answer();
    desk.choose("Silo 3 roof, east hatch");
    assert_eq!(started(&desk), ["pick-off"]);
}

// Rule 6: danger.

#[test]
fn danger_stops_everything_but_the_clock_and_the_call() {
    let mut desk = at_work();
    desk.act(Act::Danger);
    assert_eq!(desk.text(), "Everybody to a safe place now.");
    assert!(
        desk.prompt().options.iter().all(|c| c.held),
        "it is over only by a held touch with who decided"
    );
    let before = desk.hanging_ms();
    desk.pass(600_000);
    assert_eq!(
        desk.text(),
        "Everybody to a safe place now.",
        "no deadline overrides it"
    );
    assert_eq!(desk.hanging_ms(), before + 600_000);
    let effects = desk.effects.len();
    desk.act(Act::CallMade);
    assert!(desk.facts().call.confirmed.is_some() && desk.effects.len() > effects);
    desk.pick(Pick::Option(0));
    assert!(desk.facts().danger.is_none());
    assert!(
        matches!(desk.records.iter().rev().find(|r| matches!(r.event, Event::DangerCleared { .. })), Some(r) if matches!(&r.event, Event::DangerCleared { by: Some(_) }))
    );
}

// Rule 7: changing method.

#[test]
fn at_the_change_by_time_a_prompt_asks_and_nothing_changes_by_itself() {
    let mut desk = at_work();
    let change_by = desk.facts().running().expect("a method runs").change_by;
    let wait = change_by.0 - desk.at().0 - 1;
    pass_talking(&mut desk, wait);
    assert_ne!(desk.text(), "Change to ladder now.");
    desk.pass(1);
    assert_eq!(desk.text(), "Change to ladder now.");
    assert!(
        desk.effects
            .contains(&Effect::Play(groundward::cue::Cue::ChangeNow))
    );
    desk.answer();
    assert_eq!(
        started(&desk),
        ["self"],
        "a finger on its way to the step does not answer what came up under it"
    );
    pass_talking(&mut desk, 300_000);
    assert_eq!(started(&desk), ["self"]);
    desk.answer();
    assert_eq!(started(&desk), ["self", "ladder"]);
}

#[test]
fn one_more_minute_is_offered_twice_and_no_more() {
    let mut desk = at_work();
    let change_by = desk.facts().running().expect("a method runs").change_by;
    let wait = change_by.0 - desk.at().0;
    pass_talking(&mut desk, wait);
    for _ in 0..2 {
        desk.act(Act::Report(Condition::Talking));
        assert_eq!(
            desk.prompt().small.as_ref().map(said).as_deref(),
            Some("Nearly done: 1 more minute")
        );
        desk.pass(1_000);
        desk.pick(Pick::Small);
        assert!(desk.text().contains("straps"), "{}", desk.text());
        pass_talking(&mut desk, 60_000);
        assert_eq!(
            desk.text(),
            "Change to ladder now.",
            "a minute from the touch"
        );
    }
    assert!(desk.prompt().small.is_none());
}

#[test]
fn while_committed_no_prompt_asks_to_change() {
    let mut desk = at_work();
    desk.answer_until("Ines: ask the casualty to clip on there.");
    assert!(desk.facts().committed());
    pass_talking(&mut desk, 900_000);
    assert_eq!(desk.text(), "Ines: ask the casualty to clip on there.");
    desk.pick(Pick::Other);
    assert_eq!(
        desk.text(),
        "Both connected? Weight held?",
        "not working first asks to make safe"
    );
    desk.answer();
    assert_eq!(started(&desk), ["self", "ladder"]);
}

#[test]
fn fallback_steps_come_before_the_next_rung() {
    let mut desk = at_work();
    desk.act(Act::GoStraight("boom-lift".to_owned()));
    desk.answer();
    desk.answer();
    assert!(
        desk.text().ends_with("tie off. Partner checks."),
        "{}",
        desk.text()
    );
    desk.answer();
    let basket = desk.text();
    assert!(
        basket.ends_with("raise the basket to the casualty."),
        "{basket}"
    );
    desk.pick(Pick::Other);
    assert!(
        desk.text().ends_with("raise the basket from the ground."),
        "{}",
        desk.text()
    );
    desk.answer();
    assert!(
        desk.facts().casualty().contact.is_some(),
        "a fallback that works does what the step does"
    );
}

#[test]
fn going_straight_to_a_method_is_one_touch_and_logged_with_its_reason() {
    let mut desk = at_work();
    desk.act(Act::GoStraight("pick-off".to_owned()));
    let last = desk.records.iter().rev().find_map(|r| match &r.event {
        Event::MethodStarted { method, why } => Some((method.clone(), *why)),
        _ => None,
    });
    assert_eq!(
        last,
        Some(("pick-off".to_owned(), groundward::incident::Why::Straight))
    );
}

// Rule 11, as far as this version goes.

#[test]
fn nobody_rostered_where_the_casualty_hangs_is_ordered() {
    let mut desk = Desk::demo();
    desk.hang(SILO);
    desk.answer_until("Send the casualty to a doctor.");
    let ordered: Vec<_> = desk
        .records
        .iter()
        .filter_map(|r| match &r.event {
            Event::OrderGiven { posting, .. } => Some(posting.responder.clone()),
            Event::CallOrdered { to } => to.clone(),
            _ => None,
        })
        .collect();
    assert!(
        !ordered.is_empty() && ordered.iter().all(|id| id != "ole"),
        "{ordered:?}"
    );
}

// Rule 15: one prompt, a way forward, a clock that never runs backwards, slips taken back.

#[test]
fn a_second_touch_of_the_same_answer_does_nothing() {
    let mut desk = Desk::demo();
    desk.hang(SILO);
    let number = desk
        .facts()
        .shown
        .as_ref()
        .expect("a prompt is shown")
        .number;
    desk.tap(Tap::Answer {
        prompt: number,
        pick: Pick::Main,
    });
    let after_one = desk.records.clone();
    desk.tap(Tap::Answer {
        prompt: number,
        pick: Pick::Main,
    });
    assert_eq!(desk.records, after_one);
}

#[test]
fn a_touch_answers_what_stood_there_when_it_was_made() {
    let mut desk = at_work();
    let change_by = desk.facts().running().expect("a method runs").change_by;
    let step = desk.facts().running().map(|r| r.step);
    let wait = change_by.0 - desk.at().0 - 1;
    pass_talking(&mut desk, wait);
    // The deadline goes by between the touch and the engine, which has not woken up yet.
    desk.now.boot_ms += 5;
    desk.answer();
    assert_eq!(
        desk.facts().running().map(|r| (r.method.as_str(), r.step)),
        step.map(|s| ("self", s + 1))
    );
}

#[test]
fn a_slip_is_taken_back_with_the_true_time_and_nothing_is_erased() {
    let mut desk = at_work();
    desk.answer();
    let step = desk.text();
    let records = desk.records.len();
    desk.answer();
    let undo = desk
        .facts()
        .undo_shown(desk.at())
        .expect("undo is offered")
        .cause;
    desk.pass(4_000);
    desk.tap(Tap::Undo { cause: undo });
    assert_eq!(desk.text(), step);
    assert!(
        desk.records.len() > records + 2,
        "the step and its correction both stand in the record"
    );
    desk.assert_replays();
    desk.pass(60_000);
    assert!(desk.facts().undo_shown(desk.at()).is_none());
}

#[test]
fn off_the_harness_marked_by_mistake_lets_the_clock_go_on_as_if_never_stopped() {
    let mut desk = at_work();
    desk.act(Act::OffHarness);
    let stopped = desk.hanging_ms();
    desk.pass(45_000);
    assert_eq!(desk.hanging_ms(), stopped);
    desk.answer();
    desk.act(Act::StillHanging);
    assert_eq!(desk.hanging_ms(), stopped + 45_000);
    assert!(
        desk.facts().casualty().aftercare.is_empty() && desk.facts().casualty().landed.is_none()
    );
    desk.assert_replays();
}

#[test]
fn the_whole_way_from_the_fall_to_stand_down() {
    let mut desk = Desk::demo();
    desk.hang(SILO);
    desk.answer_until("Is it safe here for everybody?");
    assert!(desk.facts().casualty().off.is_some());
    desk.answer_until("Check the casualty every minute.");
    assert!(desk.facts().casualty().landed.is_some());
    desk.pick(Pick::Small);
    desk.answer_until("Close the record?");
    desk.answer();
    assert!(!desk.facts().is_open());
    assert!(desk.effects.contains(&Effect::Close));
    desk.answer();
    assert!(desk.facts().opened.is_none(), "back on standby");
}

#[test]
fn a_false_alarm_can_be_stood_down_only_after_saying_that_nobody_hangs() {
    let mut desk = Desk::demo();
    desk.hang(None);
    desk.act(Act::BeginClosing);
    assert_eq!(desk.text(), "Is nobody hanging in a harness?");
    assert!(desk.prompt().main.is_some_and(|c| c.held));
}

#[test]
fn past_the_target_the_rescue_goes_on() {
    let mut desk = at_work();
    // Default target 9 min: Hsiao et al. 2012, Human Factors 54(3):346-357.
    desk.pass(540_000 - desk.hanging_ms());
    assert!(groundward::incident::past_target(desk.facts(), desk.at()).is_none());
    desk.pass(1_000);
    let line = groundward::incident::past_target(desk.facts(), desk.at()).expect("a line says so");
    assert_eq!(line.text(Default::default()), "Past target: keep going.");
}

// A better word for a worse state: what a casualty needs first comes again when it gets worse.

#[test]
fn a_turn_for_the_worse_begins_again_at_the_airway() {
    let mut desk = Desk::demo();
    desk.hang(SILO);
    desk.answer_until("Check the casualty every minute.");
    desk.pick(Pick::Other);
    assert_eq!(desk.text(), "Open the airway.");
    desk.answer();
    desk.pick(Pick::Other);
    assert_eq!(desk.text(), "Start CPR. Bring the AED.");
}

/// A cue is acknowledged by any touch, on whatever control.
#[test]
fn any_touch_acknowledges_a_cue() {
    let mut desk = at_work();
    desk.pass(60_000);
    assert!(
        desk.effects
            .contains(&Effect::Play(groundward::cue::Cue::OrderUnanswered))
    );
    assert_eq!(desk.tap(Tap::Touched), [Effect::Silence]);
    assert_eq!(desk.tap(Tap::Touched), [], "nothing sounds any more");
}
