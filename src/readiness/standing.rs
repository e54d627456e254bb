//! Says of every position whether its written plan, people and kit hold on a day: ready, or not and why.
//!
//! A position is ready when some method that asks nothing of the casualty can be done by those present, with kit that is in
//! service, in date and rated, by people whose qualifications have not ended. A casualty may stop answering, so a method
//! that needs one who climbs makes no position ready. This never stops an activation: a paper that ran out yesterday is a
//! reason not to climb today, and none to leave somebody hanging. Limits: times, reach, wind and loads are not judged here.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::site::Conditions;
use crate::plan::{KitItem, Method, Plan, Position, Role};
use crate::units::{Millis, Ratio};
use crate::words::{Id, Message};

/// How a position stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Grade {
    /// Papers, people and kit hold, and even a bad day is within the target.
    Ready,
    /// They hold; a bad day goes past the target.
    Slow,
    /// They do not hold, or a bad day takes too long.
    NotReady,
}

/// Whether a position is ready.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Standing {
    /// Position id.
    pub position: String,
    /// How it stands.
    pub grade: Grade,
    /// Why it is not ready; none where it is.
    pub why_not: Option<Message>,
    /// What holds it back most, or how long it takes; none until it is computed.
    pub line: Option<Message>,
    /// How long it takes; none until it is computed, or where no method can be tried.
    pub expected: Option<Expected>,
}

/// How long a rescue takes at a position where the casualty cannot help, from the fall, with the people and kit of the day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Expected {
    /// In half of the draws off the harness by then; none where fewer succeed.
    pub likely: Option<Millis>,
    /// In nine of ten.
    pub bad_day: Option<Millis>,
    /// In half of the draws touched by a responder by then.
    pub contact: Option<Millis>,
    /// Chance to be off the harness by the target.
    pub chance: Ratio,
    /// True where it rests on fewer drills than the policy asks for.
    pub assumed: bool,
}

/// Looks at papers, people and kit at every position, in the order of the plan. Quick; says nothing of times.
pub fn standings(plan: &Plan, conditions: &Conditions) -> Vec<Standing> {
    let today = conditions.day;
    let day = Day::new(plan, conditions);
    let overdue = plan.site.review_by.filter(|day| *day < today);
    let overdue = overdue.map(|day| Message::with(Id::NotReadyReview, [&day.to_string()]));
    plan.positions
        .iter()
        .map(|position| {
            let lightning = conditions
                .lightning
                .then(|| Message::of(Id::NotReadyLightning));
            let why_not = lightning
                .or_else(|| overdue.clone())
                .or_else(|| day.why_not(position));
            Standing {
                position: position.id.clone(),
                grade: match why_not {
                    Some(_) => Grade::NotReady,
                    None => Grade::Ready,
                },
                why_not,
                line: None,
                expected: None,
            }
        })
        .collect()
}

/// The people and the kit of a day.
struct Day<'p> {
    conditions: &'p Conditions,
    today: NaiveDate,
    /// Names of responder ids that hold a qualification, with whether it has ended.
    holders: BTreeMap<&'p str, Vec<(&'p str, bool)>>,
    /// Kit of each kind that is in service.
    kit: BTreeMap<&'p str, Vec<&'p KitItem>>,
    present: usize,
}

impl<'p> Day<'p> {
    fn new(plan: &'p Plan, conditions: &'p Conditions) -> Day<'p> {
        let today = conditions.day;
        let present: BTreeSet<&str> = conditions.present.iter().map(String::as_str).collect();
        let here = || {
            plan.responders
                .iter()
                .filter(|it| present.contains(it.id.as_str()))
        };
        let mut holders: BTreeMap<&str, Vec<(&str, bool)>> = BTreeMap::new();
        for responder in here() {
            for held in &responder.qualifications {
                let ended = held.until.is_some_and(|until| until < today);
                let all = holders.entry(&held.name).or_default();
                all.push((&responder.id, ended));
            }
        }
        let mut kit: BTreeMap<&str, Vec<&KitItem>> = BTreeMap::new();
        for station in &plan.stations {
            let gone = |item: &KitItem| {
                let mut gone = conditions.gone.iter();
                gone.any(|(kind, at)| *kind == item.kind && *at == station.id)
            };
            for item in station.kit.iter().filter(|it| it.in_service() && !gone(it)) {
                kit.entry(&item.kind).or_default().push(item);
            }
        }
        Day {
            conditions,
            today,
            holders,
            kit,
            present: here().count(),
        }
    }

    fn why_not(&self, position: &Position) -> Option<Message> {
        if position.methods.is_empty() {
            return Some(Message::of(Id::NotReadyNoMethod));
        }
        let mut first = None;
        for method in position.methods.iter().filter(|it| it.needs.is_empty()) {
            let why = self.lacks(position, method)?;
            first = first.or(Some(why));
        }
        Some(first.unwrap_or_else(|| Message::of(Id::NotReadyHelpless)))
    }

    /// What a method lacks, if anything.
    fn lacks(&self, position: &Position, method: &Method) -> Option<Message> {
        let lacking = method
            .roles
            .iter()
            .find_map(|role| self.nobody_for(position, role));
        lacking
            .or_else(|| self.too_few(position, method))
            .or_else(|| self.kit_lacks(method))
    }

    fn nobody_for(&self, position: &Position, role: &Role) -> Option<Message> {
        let needed = role.qualification.as_deref()?;
        let all = self.holders.get(needed).map_or(&[][..], Vec::as_slice);
        let mut free = all
            .iter()
            .filter(|(id, _)| !self.conditions.workers(position).iter().any(|it| it == id))
            .peekable();
        if free.peek().is_none() {
            return Some(Message::with(Id::NotReadyNobody, [needed]));
        }
        free.all(|(_, ended)| *ended)
            .then(|| Message::with(Id::NotReadyEnded, [needed]))
    }

    fn too_few(&self, position: &Position, method: &Method) -> Option<Message> {
        // Workers who are on shift elsewhere still count as one who may hang here.
        let workers = self.conditions.workers(position).len();
        let free = self.present.saturating_sub(workers);
        (free < method.roles.len()).then(|| Message::of(Id::NotReadyTooFew))
    }

    fn kit_lacks(&self, method: &Method) -> Option<Message> {
        let mut wanted: BTreeMap<&str, u64> = BTreeMap::new();
        for kind in method.roles.iter().filter_map(|role| role.kit.as_deref()) {
            *wanted.entry(kind).or_default() += 1;
        }
        wanted.into_iter().find_map(|(kind, count)| {
            let items = self.kit.get(kind).map_or(&[][..], Vec::as_slice);
            let pieces = |fits: &dyn Fn(&KitItem) -> bool| -> u64 {
                let kept = items.iter().filter(|item| fits(item));
                kept.map(|item| u64::from(item.count)).sum()
            };
            let overdue = |item: &KitItem| item.inspection_due.is_some_and(|day| day < self.today);
            if pieces(&|_| true) < count {
                Some(Message::with(Id::NotReadyKit, [kind]))
            } else if pieces(&|item| !overdue(item)) < count {
                let name = items
                    .iter()
                    .find(|item| overdue(item))
                    .map_or(kind, |item| &item.name);
                Some(Message::with(Id::NotReadyInspection, [name]))
            } else if pieces(&|item| !overdue(item) && !item.lacks_rating()) < count {
                let name = items
                    .iter()
                    .find(|item| item.lacks_rating())
                    .map_or(kind, |item| &item.name);
                Some(Message::with(Id::NotReadyRating, [name]))
            } else {
                None
            }
        })
    }
}
