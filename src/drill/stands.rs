//! Finds which records of an incident count, and when each of them was on the incident's own time line.
//!
//! What was taken back does not count, as in the fold of `incident`. In a drill that turned real nothing counts from there
//! on: it belongs to a rescue.

use crate::incident::{Event, Record, TimeLine};
use crate::units::Millis;
use std::collections::BTreeMap;
use std::sync::Arc;

/// A record and whether it counts.
pub(crate) struct Standing<'a> {
    /// When, since activation.
    pub(crate) at: Millis,
    /// True where that is only a lower bound.
    pub(crate) at_least: bool,
    /// The record.
    pub(crate) record: &'a Arc<Record>,
    /// True where it was taken back later.
    pub(crate) taken_back: bool,
}

/// The part of an incident that is looked at.
pub(crate) struct Part<'a> {
    /// Its records, in order.
    pub(crate) records: Vec<Standing<'a>>,
    /// When it turned real, where it did.
    pub(crate) turned_real: Option<Millis>,
    /// When it ended: stood down, turned real, or at the last record.
    pub(crate) end: Millis,
}

impl Part<'_> {
    /// The records that count.
    pub(crate) fn counting(&self) -> impl Iterator<Item = &Standing<'_>> {
        self.records.iter().filter(|it| !it.taken_back)
    }
}

/// Everything up to the end of the incident, or to where a drill turned real. What was written afterwards is no part of it.
pub(super) fn part(log: &[Arc<Record>]) -> Part<'_> {
    let real = |it: &Arc<Record>| matches!(it.event, Event::RealCalled {});
    looked_at(log, log.iter().position(real))
}

/// Everything up to the end of the incident, also what follows once a drill has turned real.
pub(crate) fn whole(log: &[Arc<Record>]) -> Part<'_> {
    looked_at(log, None)
}

fn looked_at(log: &[Arc<Record>], turned: Option<usize>) -> Part<'_> {
    let afterwards = log.iter().position(|it| it.event.is_afterwards());
    let log = &log[..afterwards.unwrap_or(log.len())];
    let turned = turned.filter(|it| *it < log.len());
    let looked_at = &log[..turned.unwrap_or(log.len())];
    let corrections = looked_at.iter().enumerate();
    let taken_back: BTreeMap<u64, usize> = corrections
        .filter_map(|(index, record)| match record.event {
            Event::Corrected { cause } => Some((cause, index)),
            _ => None,
        })
        .collect();
    let mut line = TimeLine::default();
    let mut records = Vec::with_capacity(looked_at.len());
    let mut stood_down = None;
    for (index, record) in looked_at.iter().enumerate() {
        let at = reach(&mut line, record);
        let by = taken_back.get(&record.cause);
        let back = by.is_some_and(|by| *by >= index) && !stays(&record.event);
        if !back && matches!(record.event, Event::StoodDown {}) {
            stood_down.get_or_insert(at);
        }
        records.push(Standing {
            at,
            at_least: line.at_least,
            record,
            taken_back: back,
        });
    }
    let turned_real = turned.map(|index| reach(&mut line, &log[index]));
    let last = records.last().map(|it| it.at);
    Part {
        records,
        turned_real,
        end: stood_down.or(turned_real).or(last).unwrap_or(Millis::ZERO),
    }
}

/// Carries the time line on to a record.
fn reach(line: &mut TimeLine, record: &Record) -> Millis {
    match &record.event {
        Event::Opened(_) => *line = TimeLine::starting(&record.now),
        Event::Resumed { carried, at_ms, .. } => line.carry(&record.now, Millis(*at_ms), *carried),
        _ => line.reached(line.at(&record.now)),
    }
    line.reached_at()
}

/// What stays of a cause that was taken back: it is about the screen, the clock and the record, not about the rescue.
fn stays(event: &Event) -> bool {
    matches!(
        event,
        Event::Opened(_)
            | Event::Activated { .. }
            | Event::PromptShown { .. }
            | Event::ClockMarked {}
            | Event::Resumed { .. }
            | Event::RealCalled {}
            | Event::Corrected { .. }
    )
}

/// True for what begins a decision that nobody's touch asked for.
pub(crate) fn comes_by_itself(event: &Event) -> bool {
    use crate::incident::Why;
    matches!(
        event,
        Event::Opened(_)
            | Event::CallOrdered { .. }
            | Event::ForecastAdopted { .. }
            | Event::MethodStarted {
                why: Why::Ladder,
                ..
            }
            | Event::ClockMarked {}
            | Event::CameDue { .. }
            | Event::WorkedOn {}
            | Event::TaskGiven { .. }
            | Event::OrdersUnanswered { .. }
            | Event::PromptShown { .. }
            | Event::Resumed { .. }
    )
}
