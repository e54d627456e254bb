//! Lists the milestones of an incident with their times, what the plan expected of each, and the target where there is one.
//!
//! What the plan expected is the first forecast that was acted on at the place where they hang, else the likely times of the
//! method's steps. Where the time of the fall was set later, what was expected keeps its place on the line.

use super::result::Course;
use crate::incident::{Case, Facts};
use crate::plan::Milestone;
use crate::units::Millis;
use serde::{Deserialize, Serialize};

/// Something that every rescue comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mark {
    /// The clock was started.
    Started,
    /// All others at height have stopped.
    AllStopped,
    /// The caller was told.
    CallPassed,
    /// The call was made.
    CallMade,
    /// The first order was given.
    FirstOrders,
    /// One may go near.
    MadeSafe,
    /// A responder can touch the casualty.
    FirstContact,
    /// The weight no longer hangs.
    OffHarness,
    /// At the landing place.
    Landed,
    /// The first question of aftercare was answered.
    Aftercare,
    /// Somebody took over the care.
    HandedOver,
}

/// A milestone and its time.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reached {
    /// Which.
    pub mark: Mark,
    /// For which casualty, from 1; 0 for what is the same for all.
    pub casualty: u16,
    /// When, ms since activation; none where it was not reached.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line_ms: Option<i64>,
    /// When, ms since the fall of that casualty, or of the first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fall_ms: Option<i64>,
    /// True where the time since the fall is only a lower bound.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub at_least: bool,
    /// When the plan expected it, ms since the fall.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planned_ms: Option<i64>,
    /// By when the policy wants it, ms since the fall.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub target_ms: Option<i64>,
}

impl Reached {
    /// How much later than the plan expected, ms; negative where it was earlier.
    pub fn late_ms(&self) -> Option<i64> {
        Some(self.fall_ms?.saturating_sub(self.planned_ms?))
    }

    /// How long after the target, ms; negative where it was before.
    pub fn past_target_ms(&self) -> Option<i64> {
        Some(self.fall_ms?.saturating_sub(self.target_ms?))
    }
}

/// What is known of one milestone, on the line.
struct Line {
    at: Option<Millis>,
    planned: Option<Millis>,
    target: Option<Millis>,
}

impl Line {
    fn at(at: Option<Millis>) -> Line {
        Line {
            at,
            planned: None,
            target: None,
        }
    }
}

/// Every milestone, whether it was reached or not.
pub(super) fn reached(course: &Course) -> Vec<Reached> {
    let facts = &course.state.facts;
    let mut all = Vec::new();
    let Some(first) = facts.cases().next() else {
        return all;
    };
    let asked = facts.call.ordered.first().map(|it| it.1);
    let call_by = asked.map(|it| it.saturating_add(facts.policy().call_confirm));
    let call = Line {
        target: call_by,
        ..Line::at(facts.call.confirmed)
    };
    for (mark, line) in [
        (Mark::Started, Line::at(Some(Millis::ZERO))),
        (Mark::AllStopped, Line::at(facts.others.stopped)),
        (Mark::CallPassed, Line::at(course.passed)),
        (Mark::CallMade, call),
        (Mark::FirstOrders, Line::at(course.ordered)),
    ] {
        all.push(since_fall(course, first, 0, mark, &line));
    }
    for case in facts.cases() {
        for (mark, line) in of_one(course, facts, case) {
            all.push(since_fall(course, case, case.number, mark, &line));
        }
    }
    all
}

fn of_one(course: &Course, facts: &Facts, case: Case<'_>) -> [(Mark, Line); 6] {
    let casualty = case.casualty;
    let policy = facts.policy();
    let after_fall = |target: Millis| Some(casualty.fell.saturating_add(target));
    let contact = Line {
        planned: planned(course, case, Milestone::FirstContact),
        target: after_fall(policy.first_contact),
        ..Line::at(casualty.contact)
    };
    let off = Line {
        planned: planned(course, case, Milestone::OffHarness),
        target: after_fall(policy.target),
        ..Line::at(casualty.off.map(|it| it.0))
    };
    let landed = Line {
        planned: off
            .planned
            .zip(way_down(case))
            .map(|(off, down)| off.saturating_add(down)),
        ..Line::at(casualty.landed)
    };
    let cared = course.cared.get(&case.number).copied();
    [
        (Mark::MadeSafe, Line::at(casualty.scene.safe)),
        (Mark::FirstContact, contact),
        (Mark::OffHarness, off),
        (Mark::Landed, landed),
        (Mark::Aftercare, Line::at(cared)),
        (Mark::HandedOver, Line::at(casualty.handed.map(|it| it.1))),
    ]
}

/// When the plan expected it, on the line.
fn planned(course: &Course, case: Case<'_>, milestone: Milestone) -> Option<Millis> {
    let forecast = course.forecasts.get(&case.number);
    let of_ladder = forecast.and_then(|(forecast, fell)| {
        let ladder = forecast.ladder.as_ref()?;
        let after = match milestone {
            Milestone::FirstContact => ladder.contact_ms,
            _ => ladder.likely_ms,
        };
        Some(fell.saturating_add(Millis(after?)))
    });
    let of_method = || {
        let (method, began) = course.begun.get(&case.number)?;
        let own = forecast.and_then(|(it, _)| it.methods.iter().find(|it| it.method == *method));
        let after = own.and_then(|own| match milestone {
            Milestone::FirstContact => own.contact_ms.map(Millis),
            _ => Some(Millis(own.likely_ms)),
        });
        let steps = || case.method(method)?.likely_until(milestone);
        Some(began.saturating_add(after.or_else(steps)?))
    };
    of_ladder.or_else(of_method)
}

/// From off the harness to the landing place by the steps of the method that had them off.
fn way_down(case: Case<'_>) -> Option<Millis> {
    let running = case.casualty.running.as_ref().map(|it| &it.method);
    let last = case.casualty.windows.last().map(|it| &it.method);
    let method = case.method(running.or(last)?)?;
    let down = method.likely_until(Milestone::Landing)?;
    let off = method.likely_until(Milestone::OffHarness)?;
    Some(down.saturating_sub(off)).filter(|it| *it >= Millis::ZERO)
}

fn since_fall(course: &Course, case: Case<'_>, casualty: u16, mark: Mark, line: &Line) -> Reached {
    let fell = case.casualty.fell;
    let since = |at: Option<Millis>| at.map(|at| at.0.saturating_sub(fell.0));
    let lost = course.at_least_from.zip(line.at);
    Reached {
        mark,
        casualty,
        line_ms: line.at.map(|it| it.0),
        fall_ms: since(line.at),
        at_least: case.casualty.fell_at_least || lost.is_some_and(|(from, at)| at >= from),
        planned_ms: since(line.planned),
        target_ms: since(line.target),
    }
}
