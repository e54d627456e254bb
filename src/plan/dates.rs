//! Finds what a day of the calendar makes overdue: review, inspections, qualifications, agreements, drills.
//!
//! Each is a warning that readiness turns into "not ready" and that never stops an activation: a rope past its inspection
//! date is better than none when somebody hangs. The day comes in as data.

use chrono::{NaiveDate, TimeDelta};

use super::check::Judge;
use super::findings::Kind;
use crate::units::Millis;

pub(super) fn check(judge: &Judge<'_>, today: NaiveDate) {
    let plan = judge.plan;
    let soon = later(today, plan.policy.warn_before);
    let due =
        |date: Option<NaiveDate>, over: Kind, near: Kind, at: &str, what: &str, help: &str| {
            let Some(date) = date else { return };
            if date < today {
                judge.add(over, at, format!("{what} was due on {date}"), help);
            } else if date <= soon {
                judge.add(near, at, format!("{what} is due on {date}"), help);
            }
        };
    let past = |date: Option<NaiveDate>, at: &str| {
        if let Some(date) = date.filter(|date| *date > today) {
            let message = format!("{at} is {date}, which is still to come");
            judge.add(Kind::FutureDate, at, message, "mend the date");
        }
    };

    past(plan.site.date, "site.date");
    due(
        plan.site.review_by,
        Kind::ReviewOverdue,
        Kind::ReviewSoon,
        "site.review_by",
        "the review of this plan",
        "read the plan against the site, then give it a new revision and date",
    );
    for station in &plan.stations {
        for item in &station.kit {
            let at = format!("station.{}.kit.{}", station.id, item.id);
            past(item.inspected, &format!("{at}.inspected"));
            if item.in_service() {
                let what = format!("the inspection of {} in {}", item.name, station.name);
                due(
                    item.inspection_due,
                    Kind::InspectionOverdue,
                    Kind::InspectionSoon,
                    &format!("{at}.inspection_due"),
                    &what,
                    "have it inspected, then write the new dates, or mark it as out of service",
                );
            }
        }
    }
    for responder in &plan.responders {
        for (number, held) in (1..).zip(&responder.qualifications) {
            let at = format!("responder.{}.qualifications.{number}.until", responder.id);
            let (name, what) = (&responder.name, &held.name);
            if let Some(until) = held.until.filter(|until| *until < today) {
                let message = format!("{name}'s qualification `{what}` ended on {until}");
                judge.add(
                    Kind::QualificationExpired,
                    &at,
                    message,
                    "renew it, then write the new day, or take it off the list",
                );
            } else if let Some(until) = held.until.filter(|until| *until <= soon) {
                let message = format!("{name}'s qualification `{what}` ends on {until}");
                judge.add(
                    Kind::QualificationEnding,
                    &at,
                    message,
                    "renew it before it ends",
                );
            }
        }
    }
    for outside in &plan.outside_rescues {
        let at = format!("outside_rescue.{}.confirmed", outside.id);
        past(outside.confirmed, &at);
        if let Some(confirmed) = outside.confirmed
            && later(confirmed, plan.policy.agreement_every) < today
        {
            let message = format!(
                "the agreement with {} was last confirmed on {confirmed}",
                outside.name
            );
            judge.add(
                Kind::AgreementOld,
                &at,
                message,
                "confirm it with them, then write the new day",
            );
        }
    }
    for position in &plan.positions {
        let at = format!("position.{}.last_drill", position.id);
        past(position.last_drill, &at);
        if let Some(drill) = position.last_drill
            && later(drill, plan.policy.drill_every) < today
        {
            let message = format!("the last drill at position.{} was on {drill}", position.id);
            judge.add(
                Kind::DrillOverdue,
                &at,
                message,
                "drill there, then write the new day",
            );
        }
    }
}

/// The day that lies so much later, held at the end of the calendar.
fn later(day: NaiveDate, by: Millis) -> NaiveDate {
    TimeDelta::try_milliseconds(by.0)
        .and_then(|by| day.checked_add_signed(by))
        .unwrap_or(NaiveDate::MAX)
}
