//! Takes what is said about the next drill. Nothing of it is kept: a drill is prepared and then begun.

use crate::drill::{BUILT_IN, Fault, SURPRISES_MAX, drawn, read_for};
use crate::incident::{Guards, Hanging, Inject, LIVE_HANG_MAX, Surprise};
use crate::plan::Plan;
use crate::readiness::uniform;
use crate::signal::{Offered, Prepare, Prepared, ScenarioFile};

/// What of the plan and the moment is needed to prepare a drill.
pub(super) struct Around<'a> {
    /// The plan.
    pub(super) plan: &'a Plan,
    /// Responder ids of those on shift.
    pub(super) present: &'a [String],
    /// Draws times.
    pub(super) seed: u64,
}

/// Takes one thing in.
pub(super) fn take(prepared: &mut Prepared, what: Prepare, around: &Around<'_>) {
    let exercise = &mut prepared.exercise;
    match what {
        Prepare::Manikin => exercise.hanging = Hanging::Manikin,
        Prepare::Live => {
            if exercise.guards_mut().is_none() {
                exercise.hanging = Hanging::Live(Guards {
                    second_line: false,
                    can_stand: false,
                    watcher: None,
                    limit: around.plan.policy.drill_hang.min(LIVE_HANG_MAX),
                });
            }
        }
        Prepare::Others(others) => exercise.others = Some(others),
        Prepare::Place(position) => {
            // What breaks at one place is not there at another.
            let there = position.as_ref().and_then(|id| around.plan.position(id));
            exercise.surprises.retain(|it| match &it.inject {
                Inject::MethodFails { method } => {
                    there.is_some_and(|it| it.method(method).is_some())
                }
                _ => true,
            });
            prepared.position = position;
        }
        Prepare::Scenario(scenario) => {
            let (hanging, others) = (exercise.hanging.clone(), exercise.others);
            *prepared = *scenario;
            // Who hangs and who covers the others was said here, and no scenario knows it better.
            (prepared.exercise.hanging, prepared.exercise.others) = (hanging, others);
        }
        Prepare::Player(responder) => {
            let everybody = || around.present.to_vec();
            let crew = exercise.setting.crew.get_or_insert_with(everybody);
            match crew.iter().position(|id| *id == responder) {
                Some(index) => _ = crew.remove(index),
                None => crew.push(responder),
            }
            if around.present.iter().all(|id| crew.contains(id)) {
                exercise.setting.crew = None;
            }
        }
        Prepare::Wind(wind) => exercise.setting.wind = wind,
        Prepare::Light(light) => {
            exercise.setting.light = light;
            // A time of the day that says something else is not played.
            exercise.setting.time_min = None;
        }
        Prepare::Surprise { when, inject } => {
            if exercise.surprises.len() < SURPRISES_MAX {
                let number = exercise.surprises.len() as u64;
                let at = drawn(when, uniform(around.seed, number, 0));
                exercise.surprises.push(Surprise { at, inject });
                exercise.surprises.sort_by_key(|it| it.at);
            }
        }
        Prepare::NoSurprise(index) => {
            if index < exercise.surprises.len() {
                exercise.surprises.remove(index);
            }
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

/// The scenarios on this tablet: its own files, each with why it cannot be used where that is so, and those built in that
/// suit the plan, which is none with others' plans.
pub(super) fn scenarios(plan: &Plan, files: &[ScenarioFile], seed: u64) -> Vec<Offered> {
    let prepared = |name: &str, bytes: &[u8]| {
        let read = read_for(plan, name, bytes);
        read.map(|it| {
            let seed = it.seed.map_or(seed, u64::from);
            Prepared {
                exercise: it.exercise(seed, Hanging::Manikin, None),
                position: Some(it.position),
            }
        })
    };
    let own = files.iter().map(|file| {
        let read = file
            .bytes
            .as_deref()
            .map_err(Clone::clone)
            .and_then(|bytes| {
                prepared(&file.name, bytes)
                    .map_err(|faults| faults.first().map_or_else(String::new, told))
            });
        Offered {
            name: match &read {
                Ok(it) => it.exercise.scenario.clone(),
                Err(_) => file.name.clone(),
            },
            prepared: read,
        }
    });
    let built_in = BUILT_IN.iter().filter_map(|(name, text)| {
        let prepared = prepared(name, text.as_bytes()).ok()?;
        Some(Offered {
            name: prepared.exercise.scenario.clone(),
            prepared: Ok(prepared),
        })
    });
    own.chain(built_in).collect()
}

/// The first thing that is wrong with a file, with its line.
fn told(fault: &Fault) -> String {
    match fault.line {
        Some(line) => format!("{line}: {}; {}", fault.message, fault.help),
        None => format!("{}; {}", fault.message, fault.help),
    }
}
