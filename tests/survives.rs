//! Breaks the program from inside, in the middle of a rescue: what is known stays known, and the next touch works.

use groundward::engine::Engine;
use groundward::incident::{Act, Condition, Moment};
use groundward::signal::{Effect, Input, LoadedPlan, Saved, Tap};
use groundward::words::Id;

fn demo() -> LoadedPlan {
    let plan = groundward::plan::DEMO.as_bytes();
    LoadedPlan::choose(Some(("demo.toml", plan)), None, None, crate::support::day())
}

fn moment(boot_ms: i64) -> Moment {
    Moment {
        wall_ms: 1_780_000_000_000 + boot_ms,
        offset_min: 60,
        boot_ms,
        boot_id: "boot".into(),
    }
}

fn activate(engine: &mut Engine, now: &Moment) -> Vec<Effect> {
    let position = Some("silo3".to_owned());
    engine.handle_guarded(Input::Tap(Tap::Activate { position }), now)
}

fn says(engine: &Engine, now: &Moment, id: Id) -> bool {
    let notices = engine.snapshot(now).notices;
    notices.iter().any(|it| it.message.id == id && it.grave)
}

#[test]
fn a_fault_in_the_middle_of_an_input_leaves_what_was_known_and_the_next_touch_works() {
    let mut engine = Engine::new(demo(), true);
    let effects = activate(&mut engine, &moment(1_000));
    let handed: usize = effects
        .iter()
        .map(|it| match it {
            Effect::Append(entries) => entries.len(),
            _ => 0,
        })
        .sum();
    let before = engine.state().clone();
    assert_eq!(before.log.len(), handed, "everything known was handed out");

    let now = moment(5_000);
    let report = Input::Tap(Tap::Do(Act::Report(Condition::NotAnswering)));
    let effects = engine.attempt(report.clone(), &now, |engine, input, now| {
        // Half of the work is done when it fails.
        let effects = engine.handle(input, now);
        assert!(effects.is_empty(), "something that must never happen");
        effects
    });
    assert!(effects.is_empty(), "nothing of a failed input gets out");
    assert_eq!(engine.state().facts, before.facts);
    assert_eq!(engine.state().log.len(), before.log.len());
    assert_eq!(engine.failures(), 1);
    let what = engine.failed_inside().expect("it failed");
    assert!(what.contains("something that must never happen"), "{what}");
    assert!(says(&engine, &now, Id::NoticeFailedInside));

    engine.handle_guarded(report, &now);
    let condition = engine.state().facts.casualty().condition;
    assert_eq!(condition.map(|it| it.0), Some(Condition::NotAnswering));
    assert_eq!(engine.failures(), 1);
}

#[test]
fn an_activation_that_fails_on_the_plan_begins_with_the_generic_one() {
    let mut engine = Engine::new(demo(), true);
    let now = moment(1_000);
    let position = Some("silo3".to_owned());
    let tap = Input::Tap(Tap::Activate { position });
    let effects = engine.attempt(tap, &now, |engine, input, now| {
        let name = engine.snapshot(now).plan.name;
        assert!(name != "demo.toml", "this plan breaks it");
        engine.handle(input, now)
    });
    let facts = &engine.state().facts;
    assert!(
        facts.is_open() && facts.shown.is_some(),
        "activation always works"
    );
    assert_eq!(
        facts.opened.as_ref().map(|it| it.plan_name.as_str()),
        Some("generic")
    );
    assert!(effects.iter().any(|it| matches!(it, Effect::Append(_))));
    let snapshot = engine.snapshot(&now);
    assert_eq!(
        snapshot.plan.name, "demo.toml",
        "the next one begins with the plan again"
    );
}

#[test]
fn what_nobody_reports_as_saved_for_ten_seconds_counts_as_not_saved() {
    let mut engine = Engine::new(demo(), true);
    activate(&mut engine, &moment(1_000));
    let saved = |engine: &Engine, now| engine.snapshot(&moment(now)).saved;
    assert_eq!(saved(&engine, 10_999), Saved::Saving(None));
    assert!(!says(&engine, &moment(10_999), Id::NoticeSavingLate));
    assert!(matches!(saved(&engine, 11_000), Saved::Failing(_)));
    assert!(says(&engine, &moment(11_000), Id::NoticeSavingLate));
}
