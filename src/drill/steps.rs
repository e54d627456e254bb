//! Follows the steps of a casualty's methods and measures each of them.
//!
//! Two times: as lived, from the end of the step before, and the work alone, which is what a plan's three points mean: from
//! when everybody that the step waits for was there and one could go near. Danger, another casualty and outside lead break a
//! step off, because what comes after them is not the step any more; so does a change of method. A step that was said not to
//! work is left out, and so is one that was over before anybody said so. Limits: asking "tied off, partner checked" belongs to
//! the step that it comes before.

use super::lesson::StepTaken;
use super::stands::Standing;
use super::statistics::Span;
use crate::incident::{Case, Event, Facts};
use crate::plan::{Method, Milestone, Step};
use crate::readiness::needed_at;
use crate::units::Millis;

/// A step that is being done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Doing {
    method: String,
    step: usize,
    since: Millis,
}

/// Follows those of one casualty.
#[derive(Default)]
pub(super) struct Course {
    /// Its number, from 1.
    number: u16,
    /// The step whose time was taken already, or that has none.
    closed: Option<Doing>,
    /// Since when one may go near.
    near: Option<Millis>,
    /// Roles seen at work in a method.
    seen: Vec<(String, String)>,
    /// True once times are only lower bounds.
    at_least: bool,
}

/// When somebody in a role of a method said that they are there.
type There<'a> = dyn Fn(&str, &str) -> Option<Millis> + 'a;

impl Course {
    /// Follows the steps of the casualty with this number.
    pub(super) fn of(number: u16) -> Course {
        Course {
            number,
            ..Course::default()
        }
    }

    fn case<'a>(&self, facts: &'a Facts) -> Option<Case<'a>> {
        facts.cases().find(|it| it.number == self.number)
    }

    /// The step being done.
    pub(super) fn step_of(&self, facts: &Facts) -> Option<Doing> {
        let case = self.case(facts)?;
        let (running, method, _) = case.step()?;
        Some(Doing {
            method: method.id.clone(),
            step: running.step,
            since: running.step_since,
        })
    }

    /// Takes the next record in; `before` is the step that was being done before it, `facts` what is known with it.
    pub(super) fn take(
        &mut self,
        standing: &Standing<'_>,
        before: Option<Doing>,
        facts: &Facts,
        there: &There<'_>,
        into: &mut Vec<StepTaken>,
    ) {
        let (at, event) = (standing.at, &standing.record.event);
        let after = self.step_of(facts);
        let case = self.case(facts);
        match case.is_some_and(|it| it.may_go_near()) {
            true => _ = self.near.get_or_insert(at),
            false => self.near = None,
        }
        let lost_clock = standing.at_least && !self.at_least;
        self.at_least = standing.at_least;
        let Some(doing) = before.filter(|it| self.closed.as_ref() != Some(it)) else {
            return;
        };
        let Some(method) = case.and_then(|it| it.method(&doing.method)) else {
            return;
        };
        let Some(step) = method.steps.get(doing.step) else {
            return;
        };
        let own = standing.record.casualty.max(1) == self.number;
        let failed = own
            && matches!(
                event,
                Event::NotWorkingReported { .. } | Event::FallbackStarted { .. }
            );
        let upset = lost_clock
            || (own
                && matches!(event, Event::StopCalled { method, .. } if *method == doing.method))
            || matches!(
                event,
                Event::DangerCalled {}
                    | Event::OutsideTookOver {}
                    | Event::CasualtyAdded { .. }
                    | Event::CasualtyChosen {}
                    | Event::WorkedOn {}
            );
        if failed {
            self.closed = Some(doing);
            return;
        }
        if !upset && after.as_ref() == Some(&doing) {
            return;
        }
        let done = match event {
            Event::StepDone { method, step } => *method == doing.method && *step == doing.step,
            Event::OffHarness {} => step.milestone == Some(Milestone::OffHarness),
            Event::AtLandingPlace {} => step.milestone == Some(Milestone::Landing),
            _ => false,
        };
        let ended = done && own && !upset;
        let overtaken = matches!(event, Event::OffHarness {} | Event::AtLandingPlace {});
        if overtaken && !ended {
            // It was over by then and nobody said when, so that "at least" would be wrong.
            self.closed = Some(doing);
            return;
        }
        let begun = self.begun(&doing, method, step, there);
        let position = case.and_then(|it| it.position());
        if let Some(position) = position {
            into.push(taken(&position.id, &doing, step, at, ended, begun));
        }
        if let Some(role) = step.role.as_ref().filter(|_| ended) {
            self.seen.push((doing.method.clone(), role.clone()));
        }
        self.closed = Some(doing);
    }

    /// When the work of a step could begin: once everybody it waits for was there and one could go near.
    fn begun(
        &self,
        doing: &Doing,
        method: &Method,
        step: &Step,
        there: &There<'_>,
    ) -> Option<Millis> {
        let mut begun = doing.since;
        for role in &method.roles {
            // The forecast lets its tasks wait in the same way.
            if needed_at(method, &role.id) > doing.step {
                continue;
            }
            let seen = |it: &(String, String)| it.0 == method.id && it.1 == role.id;
            match there(&role.id, &method.id) {
                Some(at) => begun = begun.max(at),
                None if self.seen.iter().any(seen) => {}
                None => return None,
            }
        }
        if step.near || step.exposed || step.committed {
            begun = begun.max(self.near?);
        }
        Some(begun)
    }

    /// The end: what is being done then is broken off.
    pub(super) fn close(
        &self,
        facts: &Facts,
        end: Millis,
        there: &There<'_>,
        into: &mut Vec<StepTaken>,
    ) {
        let doing = self.step_of(facts);
        let Some(doing) = doing.filter(|it| self.closed.as_ref() != Some(it)) else {
            return;
        };
        let case = self.case(facts);
        let position = case.and_then(|it| it.position());
        let method = case.and_then(|it| it.method(&doing.method));
        let step = method.and_then(|it| it.steps.get(doing.step));
        if let (Some(position), Some(method), Some(step)) = (position, method, step) {
            let begun = self.begun(&doing, method, step, there);
            into.push(taken(&position.id, &doing, step, end, false, begun));
        }
    }
}

fn taken(
    position: &str,
    doing: &Doing,
    step: &Step,
    at: Millis,
    ended: bool,
    begun: Option<Millis>,
) -> StepTaken {
    let span = |from: Millis| Span {
        time: at.saturating_sub(from).max(Millis::ZERO),
        ended,
    };
    StepTaken {
        position: position.to_owned(),
        method: doing.method.clone(),
        step: doing.step,
        say: step.say.clone(),
        span: span(doing.since),
        // Work that had not begun when it was broken off says nothing.
        work: begun.filter(|it| *it <= at).map(span),
    }
}
