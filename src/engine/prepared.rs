//! Takes what is said about the next drill. Nothing of it is kept: a drill is prepared and then begun.

use crate::drill::{BUILT_IN, read_for};
use crate::incident::{Guards, Hanging, LIVE_HANG_MAX};
use crate::plan::Plan;
use crate::signal::{Prepare, Prepared};
use crate::units::Millis;

/// Takes one thing in; `limit` is the plan's for the hang of a living person.
pub(super) fn take(prepared: &mut Prepared, what: Prepare, limit: Millis) {
    let exercise = &mut prepared.exercise;
    match what {
        Prepare::Manikin => exercise.hanging = Hanging::Manikin,
        Prepare::Live => {
            if exercise.guards_mut().is_none() {
                exercise.hanging = Hanging::Live(Guards {
                    second_line: false,
                    can_stand: false,
                    watcher: None,
                    limit: limit.min(LIVE_HANG_MAX),
                });
            }
        }
        Prepare::Others(others) => exercise.others = Some(others),
        Prepare::Place(position) => prepared.position = position,
        Prepare::Scenario(scenario) => {
            let (hanging, others) = (exercise.hanging.clone(), exercise.others);
            *prepared = *scenario;
            // Who hangs and who covers the others was said here, and no scenario knows it better.
            (prepared.exercise.hanging, prepared.exercise.others) = (hanging, others);
        }
        Prepare::SecondLine(_) | Prepare::CanStand(_) | Prepare::Watcher(_) | Prepare::Limit(_) => {
            let Some(guards) = exercise.guards_mut() else {
                return;
            };
            match what {
                Prepare::SecondLine(there) => guards.second_line = there,
                Prepare::CanStand(can) => guards.can_stand = can,
                Prepare::Watcher(who) => guards.watcher = Some(who),
                Prepare::Limit(limit) => guards.limit = limit.min(LIVE_HANG_MAX),
                _ => {}
            }
        }
    }
}

/// The built-in scenarios that suit a plan: with others' plans there are none.
pub(super) fn scenarios(plan: &Plan, seed: u64) -> Vec<Prepared> {
    let suits = BUILT_IN
        .iter()
        .filter_map(|(name, text)| read_for(plan, name, text.as_bytes()).ok());
    let drawn = suits.map(|it| Prepared {
        exercise: it.exercise(it.seed.map_or(seed, u64::from), Hanging::Manikin, None),
        position: Some(it.position),
    });
    drawn.collect()
}
