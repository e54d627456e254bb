//! Prepares drills by touch and plays what only a drill has: a surprise, a living person who is let stand, the stop word.

use super::Tablet;
use groundward::incident::{Act, Condition, Exercise, Inject, Surprise};
use groundward::signal::{Prepare, Prepared, Tap};
use groundward::units::Millis;

/// Through the page on which a drill is prepared, with a living person, until nothing is open.
pub(super) fn walk(tablet: &mut Tablet, at: &mut impl FnMut(&Tablet, &str)) {
    tablet.activate("Tablet");
    tablet.activate("Drill");
    at(tablet, "drill");
    tablet.activate("Who hangs");
    at(tablet, "drill who");
    tablet.activate("A living person");
    at(tablet, "drill guards");
    tablet.activate("Second line, independent of the first");
    tablet.activate("They can stand at any time");
    tablet.activate("A watcher with no other task");
    at(tablet, "drill watcher");
    tablet.activate("Bram");
    tablet.activate("Longest hang");
    at(tablet, "drill limit");
    tablet.activate("2:00");
    tablet.activate("Back");
    tablet.activate("Other work at height");
    at(tablet, "drill others");
    tablet.activate("has stopped");
    tablet.activate("Where");
    at(tablet, "drill place");
    tablet.activate("Silo 3 roof, east hatch");
    tablet.activate("Scenario");
    at(tablet, "drill scenario");
    tablet.activate("Back");
    at(tablet, "drill ready");
    tablet.activate("Back");
}

/// The drill that was prepared, with one surprise, until it is a rescue.
pub(super) fn play(tablet: &mut Tablet, at: &mut impl FnMut(&Tablet, &str)) {
    tablet.desk.answer();
    tablet.refresh();
    // The one before left its guards.
    tablet.desk.tap(Tap::Prepare(Prepare::Manikin));
    let surprises = vec![Surprise {
        at: Millis::from_seconds(40),
        inject: Inject::RadioLost {},
    }];
    tablet
        .desk
        .tap(Tap::Prepare(Prepare::Scenario(Box::new(Prepared {
            exercise: Exercise {
                scenario: "radios".to_owned(),
                surprises,
                ..Exercise::default()
            },
            position: Some("silo3".to_owned()),
        }))));
    walk(tablet, &mut |_, _| ());
    tablet.activate("Tablet");
    tablet.activate("Drill");
    tablet.activate("BEGIN");
    tablet.pass(5_000);
    tablet.activate("It is safe");
    tablet.desk.act(Act::Report(Condition::Talking));
    tablet.pass(40_000);
    at(tablet, "surprise");
    tablet.activate("OTHER WAY");
    at(tablet, "other way with a surprise");
    tablet.activate("Given");
    tablet.pass(80_000);
    at(tablet, "let stand");
    tablet.activate("They stand");
    tablet.pass(11_000);
    at(tablet, "they stand");
    tablet.activate("OTHER WAY");
    tablet.activate("REAL, REAL, REAL");
    tablet.pass(1_000);
    at(tablet, "real");
}
