//! Reads an incident once for its account: every record with its time on the line, whether it counts, and how sure its time is.
//!
//! What counts and when it was is what `drill` says of every incident, here with what follows once a drill has turned real. The fold goes
//! over what counts alone, so that whatever walks along it sees what was known at that moment and no slip.

use super::account::Doubt;
use crate::drill::{Outcome, Played, whole};
use crate::incident::{Carried, Event, Facts, Opening, PlanStanding, Record, State};
use crate::units::Millis;
use std::sync::Arc;

/// A record of the incident.
pub(super) struct Entry {
    /// When, since the alarm.
    pub(super) at: Millis,
    /// True where that is only a lower bound.
    pub(super) at_least: bool,
    /// How far that may be off.
    pub(super) doubt: Doubt,
    /// The record.
    pub(super) record: Arc<Record>,
    /// True where it was taken back later.
    pub(super) taken_back: bool,
}

/// An incident as it is read for its account.
pub(super) struct Read {
    /// How it was opened.
    pub(super) opening: Opening,
    /// Everything up to its end, in order; what was written afterwards stands in the state's log alone.
    pub(super) entries: Vec<Entry>,
    /// What is known at the end.
    pub(super) state: State,
    /// The measures that a drill has as well.
    pub(super) outcome: Outcome,
    /// When a drill became a rescue, and in which record.
    pub(super) turned_real: Option<(Millis, u64)>,
    /// When it was stood down, else the time of the last record.
    pub(super) end: Millis,
}

/// Walks along an incident and sees what is known before and after each record that counts.
pub(super) trait Walker {
    /// What is known before it.
    fn before(&mut self, _facts: &Facts, _entry: &Entry) {}
    /// What is known with it.
    fn after(&mut self, facts: &Facts, entry: &Entry);
}

impl Read {
    /// Reads these records; none where the first of them is no opening.
    pub(super) fn of(records: &[Record]) -> Option<Read> {
        let Event::Opened(opening) = &records.first()?.event else {
            return None;
        };
        let opening = opening.as_ref().clone();
        let state = State::replay(records.iter().cloned());
        let part = whole(&state.log);
        let mut doubt = Doubt::NONE;
        let mut before = Millis::ZERO;
        let mut entries = Vec::with_capacity(part.records.len());
        for standing in &part.records {
            if let Event::Resumed { .. } = standing.record.event {
                doubt = doubt.and(doubt_of(&standing.record.event, before));
            }
            before = standing.at;
            entries.push(Entry {
                at: standing.at,
                at_least: standing.at_least,
                doubt,
                record: standing.record.clone(),
                taken_back: standing.taken_back,
            });
        }
        let real = |it: &&Entry| matches!(it.record.event, Event::RealCalled {});
        let turned_real = entries.iter().find(real);
        Some(Read {
            turned_real: turned_real.map(|it| (it.at, it.record.seq)),
            end: part.end,
            outcome: Outcome::whole(&state),
            opening,
            entries,
            state,
        })
    }

    /// The records that count.
    pub(super) fn counting(&self) -> impl DoubleEndedIterator<Item = &Entry> {
        self.entries.iter().filter(|it| !it.taken_back)
    }

    /// Walks along it; gives back what is known at the end of what counts.
    pub(super) fn walk(&self, walker: &mut impl Walker) -> State {
        let mut state = State::default();
        for entry in self.counting() {
            walker.before(&state.facts, entry);
            state.apply(entry.record.as_ref().clone());
            walker.after(&state.facts, entry);
        }
        state
    }

    /// What it was; a drill that turned real stays the drill it began as.
    pub(super) fn played(&self) -> Played {
        Played::of(&self.opening)
    }

    /// True where there is a plan of the site.
    pub(super) fn planned(&self) -> bool {
        self.opening.plan_standing != PlanStanding::None
    }
}

/// What a restart leaves in doubt, the line having been at `before`.
fn doubt_of(event: &Event, before: Millis) -> Doubt {
    let Event::Resumed {
        carried,
        at_ms,
        least_ms,
        most_ms,
        ..
    } = event
    else {
        return Doubt::NONE;
    };
    let at = Millis(*at_ms).max(before);
    // A record of an older program says no bounds; the clock that counted on needs none.
    let sure = *carried == Carried::BootClock;
    let least = least_ms.map_or(if sure { at } else { before }, Millis);
    let most = most_ms.map(Millis).or(sure.then_some(at));
    let gap = |from: Millis, to: Millis| to.saturating_sub(from).max(Millis::ZERO);
    Doubt {
        earlier: gap(least, at),
        later: most.map(|most| gap(at, most)),
    }
}
