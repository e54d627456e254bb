//! Finds what has not been drilled for longer than the policy asks: positions, and people in what they are qualified for.
//!
//! A position counts as drilled on the day its plan says, or of a later drill there in which the casualty came off the
//! harness. A person counts as drilled in a qualification by a drill in which they had a role that asks for it. A drill at a
//! table is none, nor is a rescue. Limits: for people only the drills on this tablet are known; who held a role without
//! being sent is not seen.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, TimeDelta};

use super::learn::counted;
use super::lesson::{Lesson, Played};
use crate::plan::Plan;

/// Undrilled is due.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Undrilled {
    /// A position, by its id.
    Position(String),
    /// Somebody in what they are qualified for.
    Qualified {
        /// Responder id.
        responder: String,
        /// The qualification, as roles name it.
        qualification: String,
    },
}

/// Something that is due.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Overdue {
    /// Undrilled.
    pub what: Undrilled,
    /// The day it was last drilled; none where no drill of it is known.
    pub last: Option<NaiveDate>,
    /// Days since it was due; none where no drill of it is known.
    pub days: Option<i64>,
}

/// Undrilled is due on a day: what was never drilled first, then the longest overdue.
pub fn due(plan: &Plan, lessons: &[Lesson], today: NaiveDate) -> Vec<Overdue> {
    let complete = || counted(lessons, Played::Drill).filter(|it| it.is_complete());
    let mut last: BTreeMap<Undrilled, Option<NaiveDate>> = BTreeMap::new();
    for position in &plan.positions {
        let drills = complete().filter(|it| it.position.as_ref() == Some(&position.id));
        let newest = drills.filter_map(|it| day(it, today)).max();
        last.insert(
            Undrilled::Position(position.id.clone()),
            newest.max(position.last_drill),
        );
    }
    for (responder, qualification) in qualified(plan) {
        let drills = complete().filter(|lesson| {
            lesson.parts.iter().any(|part| {
                part.responder == responder && part.qualification.as_deref() == Some(qualification)
            })
        });
        let newest = drills.filter_map(|it| day(it, today)).max();
        let what = Undrilled::Qualified {
            responder: responder.to_owned(),
            qualification: qualification.to_owned(),
        };
        last.insert(what, newest);
    }
    let every = TimeDelta::try_milliseconds(plan.policy.drill_every.0);
    let overdue = last.into_iter().filter_map(|(what, last)| {
        let Some(day) = last else {
            return Some(Overdue {
                what,
                last,
                days: None,
            });
        };
        let due = every.and_then(|every| day.checked_add_signed(every))?;
        let days = today.signed_duration_since(due).num_days();
        (days > 0).then_some(Overdue {
            what,
            last,
            days: Some(days),
        })
    });
    let mut overdue: Vec<Overdue> = overdue.collect();
    overdue.sort_by(|one, other| (one.last, &one.what).cmp(&(other.last, &other.what)));
    overdue
}

/// Everybody with each qualification that a role of the plan asks for.
fn qualified(plan: &Plan) -> BTreeSet<(&str, &str)> {
    let methods = plan.positions.iter().flat_map(|it| &it.methods);
    let roles = methods.flat_map(|it| &it.roles);
    let asked: BTreeSet<&str> = roles.filter_map(|it| it.qualification.as_deref()).collect();
    let held = plan.responders.iter().flat_map(|person| {
        let names = person.qualifications.iter().map(|it| it.name.as_str());
        names.map(|name| (person.id.as_str(), name))
    });
    held.filter(|(_, name)| asked.contains(name)).collect()
}

/// The day of a drill; none where its clock says a day that is still to come.
fn day(lesson: &Lesson, today: NaiveDate) -> Option<NaiveDate> {
    let ms = lesson.day().checked_mul(86_400_000)?;
    let day = DateTime::from_timestamp_millis(ms)?.date_naive();
    (day <= today).then_some(day)
}
