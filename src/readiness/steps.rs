//! Says what the steps of a method mean for its forecast: where it ends, who it waits for, how likely it still works.
//!
//! Only what is written in the plan counts. Limits: a failing is taken to be as likely at each step that says when it shows.

use crate::plan::{Method, Milestone, Step};
use crate::units::Ratio;

/// How many of its steps end with off the harness.
pub(super) fn release(method: &Method) -> usize {
    let release = method
        .steps
        .iter()
        .position(|step| step.milestone == Some(Milestone::OffHarness));
    release.map_or(method.steps.len(), |release| release + 1)
}

/// Index of the first step that cannot be done without a role: its own first, for the one in control the first exposed one,
/// for any other the first exposed one too, because nobody goes over an edge before the crew is there.
pub(crate) fn needed_at(method: &Method, role: &str) -> usize {
    let own = method
        .steps
        .iter()
        .position(|step| step.role.as_deref() == Some(role));
    let exposed = method.steps.iter().position(|step| step.exposed);
    match own {
        Some(own) if method.control.as_deref() == Some(role) => own.min(exposed.unwrap_or(own)),
        Some(own) => own,
        None => exposed.unwrap_or(0),
    }
}

/// How likely a method works once some of its steps are done: every step at which a failing would have shown and did not
/// makes it likelier.
pub(super) fn still_works(success: Ratio, steps: &[Step], done: usize) -> Ratio {
    const ALL: i64 = 1_000_000;
    let shows = |steps: &[Step]| {
        let showing = steps.iter().filter(|it| it.fails_after.is_some());
        i64::try_from(showing.count()).unwrap_or(i64::MAX)
    };
    let (all, passed) = (shows(steps), shows(&steps[..done.min(steps.len())]));
    if all == 0 {
        return success;
    }
    let works = success.0.clamp(0, ALL);
    let fails_later = (ALL - works) * (all - passed) / all;
    match works + fails_later {
        0 => Ratio(0),
        left => Ratio(works * ALL / left),
    }
}
