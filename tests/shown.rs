//! Tries what becomes of computed times on the way to the screen: when the notch moves, and when a forecast is asked for.

use groundward::incident::{Act, Condition, Report};
use groundward::readiness::{Aim, Basis, Forecast, NEVER, StartForecast};
use groundward::signal::{Effect, Input};
use groundward::units::{Millis, Speed};

use crate::desk::Desk;
use crate::support::Chance;

/// A tablet on which the first method at silo 3 runs.
fn running() -> Desk {
    let mut desk = Desk::demo();
    desk.hang(Some("silo3"));
    desk.act(Act::Report(Condition::Talking));
    desk.pass(1_000);
    assert!(desk.facts().running().is_some());
    desk
}

fn shown(desk: &Desk) -> Millis {
    desk.facts().running().expect("a method runs").change_by
}

fn basis(desk: &Desk) -> Basis {
    let basis = desk.facts().case().basis().expect("the place is known");
    Basis {
        asked: desk.records.len() as u64,
        ..basis
    }
}

/// The forecast that stands, with another notch for the running method.
fn with_notch(desk: &Desk, by: Option<Millis>) -> Forecast {
    let casualty = desk.facts().casualty();
    let forecast = casualty.forecast.as_ref().expect("it was adopted");
    let mut forecast = Forecast::clone(forecast);
    let running = desk.facts().running().expect("a method runs");
    let started = running.started.0 - casualty.fell.0;
    let of_running = forecast
        .methods
        .iter_mut()
        .find(|it| it.method == running.method);
    let by = by.map(|it| it.0 - casualty.fell.0);
    of_running.expect("it is in the forecast").starts = vec![StartForecast(started, by, 500_000)];
    forecast
}

fn adopt(desk: &mut Desk, forecast: Forecast) {
    let basis = basis(desk);
    desk.take(Input::Forecast {
        basis: Box::new(basis),
        forecast,
    });
}

#[test]
fn the_notch_moves_earlier_at_once_later_only_by_half_a_minute_and_not_in_its_last_minute() {
    let (mut earlier, mut later, mut kept) = (0, 0, 0);
    for seed in 0..500 {
        let mut chance = Chance(seed);
        let mut desk = running();
        for _ in 0..4 {
            desk.pass(i64::try_from(chance.below(40)).expect("it is small") * 1_000);
            let (before, at) = (shown(&desk), desk.at());
            let offset = i64::try_from(chance.below(50)).expect("it is small") * 5_000 - 120_000;
            let computed = Millis((before.0.min(at.0 + 400_000) + offset).max(at.0));
            let started = desk.facts().running().expect("a method runs").started;
            // What is shown is a whole multiple of five seconds since the fall, after a fair try.
            let fell = desk.facts().casualty().fell;
            let rounded = (computed.0 - fell.0).div_euclid(5_000) * 5_000 + fell.0;
            let computed = Millis(rounded.max(started.0 + 30_000));
            let forecast = with_notch(&desk, Some(computed));
            adopt(&mut desk, forecast);
            if desk.facts().running().is_none() {
                break;
            }
            let after = shown(&desk);
            if computed <= before {
                assert_eq!(after, computed, "seed {seed}: earlier at once");
                earlier += 1;
            } else if computed.0 - before.0 >= 30_000 && before.0 - at.0 > 60_000 {
                assert_eq!(after, computed, "seed {seed}: much later");
                later += 1;
            } else {
                assert_eq!(after, before, "seed {seed}: it does not tremble");
                kept += 1;
            }
        }
    }
    assert!(
        earlier > 50 && later > 50 && kept > 50,
        "{earlier} {later} {kept}"
    );
}

#[test]
fn a_minute_that_was_taken_stands_whatever_is_computed() {
    let mut desk = running();
    let by = shown(&desk);
    desk.pass(by.0 - desk.at().0 + 500);
    desk.act(Act::MoreTime);
    let taken = shown(&desk);
    assert!(taken > by);
    for computed in [desk.at(), Millis(taken.0 + 200_000)] {
        let forecast = with_notch(&desk, Some(computed));
        adopt(&mut desk, forecast);
        assert_eq!(shown(&desk), taken);
    }
}

#[test]
fn a_method_that_is_not_to_be_left_asks_for_no_change_and_wakes_nobody() {
    let mut desk = running();
    let forecast = with_notch(&desk, None);
    adopt(&mut desk, forecast);
    assert_eq!(shown(&desk), NEVER);
    for _ in 0..60 {
        desk.pass(10_000);
        assert!(!desk.text().starts_with("Change to"), "{}", desk.text());
        // Somebody looks in time, so the condition rules nothing out.
        desk.act(Act::Report(Condition::Talking));
        let wake = desk
            .engine
            .next_wake(&desk.now)
            .expect("something comes due");
        assert!(wake < Millis::from_seconds(600), "{wake:?}");
    }
}

#[test]
fn a_report_that_bears_on_the_numbers_asks_for_new_ones_and_no_other_does() {
    let asks = |act: Act| {
        let mut desk = running();
        desk.hold_forecasts = true;
        let effects = desk.tap(groundward::signal::Tap::Do(act));
        effects
            .iter()
            .any(|it| matches!(it, Effect::Forecast { .. }))
    };
    assert!(asks(Act::Report(Condition::NotAnswering)));
    assert!(asks(Act::Wind(Speed(30_000))));
    assert!(asks(Act::StepDone));
    assert!(asks(Act::Responder("rua".to_owned(), Report::Cannot)));
    assert!(asks(Act::NameCasualty(Some("tove".to_owned()))));
    assert!(!asks(Act::CallMade));
    assert!(!asks(Act::Note(groundward::incident::Note::ReliefStraps)));
    // Time alone makes no number old.
    let mut desk = running();
    desk.hold_forecasts = true;
    let before = desk.effects.len();
    desk.pass(20_000);
    let asked = desk.effects[before..].iter();
    assert_eq!(
        asked
            .filter(|it| matches!(it, Effect::Forecast { .. }))
            .count(),
        0
    );
}

#[test]
fn a_casualty_who_does_not_answer_is_planned_for_hands_until_somebody_has_them() {
    let mut desk = running();
    assert_eq!(basis(&desk).aim, Aim::OffHarness);
    desk.act(Act::Report(Condition::NotAnswering));
    assert_eq!(basis(&desk).aim, Aim::Hands);
    desk.act(Act::Contact);
    assert_eq!(basis(&desk).aim, Aim::OffHarness);
}

#[test]
fn numbers_adopted_are_in_the_record_with_chances_and_change_by_times() {
    let desk = running();
    let adopted = desk.records.iter().map(|it| it.to_json());
    let adopted: Vec<String> = adopted
        .filter(|it| it.contains("forecast-adopted"))
        .collect();
    assert!(!adopted.is_empty());
    for json in adopted {
        let value: serde_json::Value = serde_json::from_str(&json).expect("it is JSON");
        let forecast = &value["body"]["forecast"];
        assert!(
            forecast["ladder"]["chance"]
                .as_i64()
                .is_some_and(|it| it > 0)
        );
        let first = forecast["order"][0].as_str().expect("a method leads");
        let methods = forecast["methods"].as_array().expect("there are methods");
        let first = methods
            .iter()
            .find(|it| it["method"] == first)
            .expect("it is there");
        assert_eq!(first["source"], "computed");
        assert!(first["starts"].as_array().is_some_and(|it| !it.is_empty()));
        assert!(is_whole(&value), "{json}");
    }
}

/// Integers only, as everything in the record.
fn is_whole(value: &serde_json::Value) -> bool {
    use serde_json::Value::{Array, Number, Object};
    match value {
        Number(number) => number.is_i64() || number.is_u64(),
        Array(all) => all.iter().all(is_whole),
        Object(all) => all.values().all(is_whole),
        _ => true,
    }
}
