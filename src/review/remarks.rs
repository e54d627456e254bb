//! Lists what reviewers said and found after an incident: who, when, about which records, and what answered it.
//!
//! Read from the records alone. A remark is known by the number of its record and stays as it was written; a correction is
//! a remark of its own that names it, so both stand side by side for whoever reads them later.

use crate::incident::{Event, Nature, Record};
use std::borrow::Borrow;

/// A remark or a finding, as it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remarked {
    /// Number of its record.
    pub number: u64,
    /// What was said, as written.
    pub text: String,
    /// What it is, where it is a finding.
    pub nature: Option<Nature>,
    /// Numbers of the records that it is about; none means the whole incident.
    pub about: Vec<u64>,
    /// Number of the remark or finding that it answers or corrects.
    pub answers: Option<u64>,
    /// Numbers of those that answer or correct it, in the order in which they were said.
    pub answered: Vec<u64>,
    /// Numbers of the records that set something to be done because of it.
    pub tasks: Vec<u64>,
    /// Who said it, by the name that they gave.
    pub by: Option<String>,
    /// Whom the record names: a responder id, `tablet` or `desk`.
    pub who: String,
    /// Wall clock when it was said, milliseconds since 1970 in UTC.
    pub said_ms: i64,
    /// Minutes east of Greenwich of that clock.
    pub offset_min: i32,
}

/// The remarks and findings of an incident, in the order in which they were said.
pub fn remarks<R: Borrow<Record>>(records: &[R]) -> Vec<Remarked> {
    let mut all: Vec<Remarked> = Vec::new();
    for record in records.iter().map(Borrow::borrow) {
        let one = |all: &mut Vec<Remarked>, number: Option<u64>, tell: fn(&mut Remarked, u64)| {
            let named = all.iter_mut().find(|it| Some(it.number) == number);
            named.into_iter().for_each(|it| tell(it, record.seq));
        };
        if let Event::TaskSet(task) = &record.event {
            one(&mut all, task.from, |it, number| it.tasks.push(number));
        }
        let Some(remark) = record.event.remark() else {
            continue;
        };
        one(&mut all, remark.answers, |it, number| {
            it.answered.push(number);
        });
        all.push(Remarked {
            number: record.seq,
            text: remark.text.to_string(),
            nature: match &record.event {
                Event::Found(finding) => Some(finding.nature),
                _ => None,
            },
            about: remark.about.clone(),
            answers: remark.answers,
            answered: Vec::new(),
            tasks: Vec::new(),
            by: remark.by.as_ref().map(ToString::to_string),
            who: record.who.to_string(),
            said_ms: record.now.wall_ms,
            offset_min: record.now.offset_min,
        });
    }
    all
}
