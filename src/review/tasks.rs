//! Lists what is to be done after incidents: who sees to it, by when, and whether it is done.
//!
//! Read from the records alone. A task is known by the number of the record that set it; nothing is ever removed, and one
//! that is done keeps the time at which somebody said so.

use crate::incident::{Event, Record, Task};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::borrow::Borrow;

/// A task of an incident, as it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Carried {
    /// Number of the record that set it.
    pub number: u64,
    /// What, who and by when.
    pub task: Task,
    /// Whom the record that set it names: a responder id, `tablet` or `desk`.
    pub by: String,
    /// Wall clock when it was set, milliseconds since 1970 in UTC.
    pub set_ms: i64,
    /// Wall clock when it was last said to be done; none while it is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub done_ms: Option<i64>,
}

impl Carried {
    /// True once its day is over and it is not done.
    pub fn is_overdue(&self, today: NaiveDate) -> bool {
        self.done_ms.is_none() && self.task.due < today
    }
}

/// The tasks of an incident, in the order in which they were set.
pub fn tasks<R: Borrow<Record>>(records: &[R]) -> Vec<Carried> {
    let mut all: Vec<Carried> = Vec::new();
    for record in records.iter().map(Borrow::borrow) {
        let one = |all: &mut Vec<Carried>, number: u64, done: Option<i64>| {
            for it in all.iter_mut().filter(|it| it.number == number) {
                // Said twice, the first time counts.
                it.done_ms = done.map(|at| it.done_ms.unwrap_or(at));
            }
        };
        match &record.event {
            Event::TaskSet(task) => all.push(Carried {
                number: record.seq,
                task: task.clone(),
                by: record.who.to_string(),
                set_ms: record.now.wall_ms,
                done_ms: None,
            }),
            Event::TaskDone { task, .. } => one(&mut all, *task, Some(record.now.wall_ms)),
            Event::TaskOpen { task, .. } => one(&mut all, *task, None),
            _ => {}
        }
    }
    all
}

/// The open ones of many incidents, each with what it belongs to: by the day they are due, so that the overdue come first.
pub fn open<'a, I: Ord + Copy>(
    all: impl Iterator<Item = (I, &'a [Carried])>,
) -> Vec<(I, &'a Carried)> {
    let each = all.flat_map(|(of, tasks)| tasks.iter().map(move |it| (of, it)));
    let mut open: Vec<(I, &Carried)> = each.filter(|it| it.1.done_ms.is_none()).collect();
    open.sort_by_key(|(of, it)| (it.task.due, *of, it.number));
    open
}
