//! Holds what must be true of every incident, over random moves that shrink to a short story when they find a fault.

use crate::desk::Desk;
use crate::support::plans::plan_toml;
use groundward::incident::{Act, Condition, Event, Facts, Pick, Record, State};
use groundward::signal::Tap;
use groundward::units::Millis;
use proptest::prelude::*;

/// What a crew may do next.
#[derive(Clone, Debug)]
enum Move {
    Pass(i64),
    Answer,
    Apart,
    Small,
    Choose(usize),
    Straight(usize),
    Report(Condition),
    CallMade,
    Danger,
    DangerOver,
    Off,
    StillHanging,
    Fell(i64),
    Place(usize),
    Undo,
    Close,
}

fn moves() -> impl Strategy<Value = Vec<Move>> {
    let one = prop_oneof![
        4 => (0..40_000_i64).prop_map(Move::Pass),
        1 => (0..400_000_i64).prop_map(Move::Pass),
        8 => Just(Move::Answer),
        2 => Just(Move::Apart),
        1 => Just(Move::Small),
        2 => (0..6_usize).prop_map(Move::Choose),
        1 => (0..4_usize).prop_map(Move::Straight),
        1 => prop_oneof![Just(Condition::Talking), Just(Condition::Unwell), Just(Condition::NotAnswering)].prop_map(Move::Report),
        1 => Just(Move::CallMade),
        1 => Just(Move::Danger),
        1 => Just(Move::DangerOver),
        1 => Just(Move::Off),
        1 => Just(Move::StillHanging),
        1 => (0..600_000_i64).prop_map(Move::Fell),
        1 => (0..6_usize).prop_map(Move::Place),
        2 => Just(Move::Undo),
        1 => Just(Move::Close),
    ];
    prop::collection::vec(one, 1..45)
}

fn desk(seed: u64, position: bool) -> Desk {
    let mut desk = Desk::with(&plan_toml(seed));
    let first = desk
        .engine
        .snapshot(&desk.now)
        .plan
        .plan
        .positions
        .first()
        .map(|p| p.id.clone());
    desk.hang(first.as_deref().filter(|_| position));
    desk
}

fn make(desk: &mut Desk, step: &Move) {
    let methods: Vec<String> = desk
        .facts()
        .methods()
        .iter()
        .map(|m| m.id.clone())
        .collect();
    let positions: Vec<String> = desk
        .facts()
        .opened
        .iter()
        .flat_map(|o| o.plan.positions.iter().map(|p| p.id.clone()))
        .collect();
    if !desk.facts().is_open() {
        return;
    }
    match step {
        Move::Pass(ms) => desk.pass(*ms),
        Move::Answer => desk.pick(Pick::Main),
        Move::Apart => desk.pick(Pick::Other),
        Move::Small => desk.pick(Pick::Small),
        Move::Choose(n) => desk.pick(Pick::Option(*n)),
        Move::Straight(n) => {
            if let Some(method) = methods.get(*n) {
                desk.act(Act::GoStraight(method.clone()));
            }
        }
        Move::Report(condition) => desk.act(Act::Report(*condition)),
        Move::CallMade => desk.act(Act::CallMade),
        Move::Danger => desk.act(Act::Danger),
        Move::DangerOver => desk.act(Act::DangerOver(None)),
        Move::Off => desk.act(Act::OffHarness),
        Move::StillHanging => desk.act(Act::StillHanging),
        Move::Fell(ms) => desk.act(Act::SetFall {
            ago: Millis(*ms),
            at_least: false,
        }),
        Move::Place(n) => desk.act(Act::ChoosePosition(positions.get(*n).cloned())),
        Move::Undo => {
            if let Some(undo) = desk.facts().undo.clone() {
                desk.tap(Tap::Undo { cause: undo.cause });
            }
        }
        Move::Close => desk.act(Act::BeginClosing),
    }
}

/// What an undo must bring back: everything but the clock, the screen and the undo itself.
fn of_the_rescue(facts: &Facts) -> Facts {
    let mut facts = facts.clone();
    facts.shown = None;
    facts.undo = None;
    facts.untouched = None;
    facts.marked = Millis::ZERO;
    facts.line = Default::default();
    facts.call.prompted = None;
    facts
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 32, failure_persistence: None, ..ProptestConfig::default() })]

    /// Replay equals live, for every prefix of the records.
    #[test]
    fn every_prefix_of_the_records_replays_to_what_was_known(seed in 0..50_u64, position: bool, story in moves()) {
        let mut desk = desk(seed, position);
        for step in &story {
            make(&mut desk, step);
        }
        desk.assert_replays();
        let mut live = State::default();
        for (index, record) in desk.records.iter().enumerate() {
            live.apply(record.clone());
            let replayed = State::replay(desk.records[..=index].to_vec());
            prop_assert_eq!(&replayed.facts, &live.facts, "after record {}", index);
        }
    }

    /// An undo brings back what was known before the touch.
    #[test]
    fn an_undo_brings_back_what_was_known_before(seed in 0..50_u64, position: bool, story in moves(), last in moves()) {
        let mut desk = desk(seed, position);
        for step in &story {
            make(&mut desk, step);
        }
        let before = of_the_rescue(desk.facts());
        let length = desk.records.len();
        let Some(touch) = last.iter().find(|m| !matches!(m, Move::Pass(_) | Move::Undo | Move::StillHanging)) else { return Ok(()) };
        desk.hold_forecasts = true;
        make(&mut desk, touch);
        let touched = desk.facts().undo.clone().filter(|u| u.cause >= length as u64);
        let Some(undo) = touched else { return Ok(()) };
        desk.tap(Tap::Undo { cause: undo.cause });
        let after = of_the_rescue(desk.facts());
        prop_assert_eq!(after, before, "{:?}", touch);
    }

    /// The clock of hanging only moves forward, except where somebody says that it was wrong.
    #[test]
    fn the_clock_never_runs_backwards(seed in 0..50_u64, position: bool, story in moves()) {
        let mut desk = desk(seed, position);
        let mut shown = 0;
        for step in &story {
            let records = desk.records.len();
            make(&mut desk, step);
            let by_hand = |r: &Record| matches!(r.event, Event::FallTimeSet { .. } | Event::Corrected { .. });
            let elapsed = desk.facts().since_fall(desk.at()).0;
            prop_assert!(elapsed >= shown || desk.records[records..].iter().any(by_hand), "{shown} -> {elapsed} by {step:?}");
            shown = elapsed;
        }
    }

    /// Danger stands until somebody says that it is over, whatever else is touched and however long it takes.
    #[test]
    fn no_deadline_and_no_touch_overrides_danger(seed in 0..50_u64, story in moves()) {
        let mut desk = desk(seed, true);
        desk.act(Act::Danger);
        for step in story.iter().filter(|m| !matches!(m, Move::DangerOver | Move::Choose(_) | Move::Undo)) {
            make(&mut desk, step);
            prop_assert!(desk.facts().danger.is_some());
            prop_assert_eq!(desk.text(), "Everybody to a safe place now.");
        }
    }
}
