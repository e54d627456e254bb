//! Finds the stretches of which the record says nothing, or less than usual.
//!
//! Nobody has to touch the tablet while all goes well, so a quiet stretch is no fault; it is where a reader knows least. Missing numbers
//! and restarts are told as the record has them; whether somebody altered it is for the chain to say.

use super::account::{Gap, GapKind};
use super::read::{Entry, Read};
use super::story::{listed, time};
use crate::drill::comes_by_itself;
use crate::incident::{Carried, Event};
use crate::units::Millis;
use crate::words::{Id, Phrase};
use std::collections::BTreeSet;

/// Nobody touched anything for this long: worth a line. A judgement without a source.
const QUIET: Millis = Millis::from_seconds(60);

/// All of them, in order.
pub(super) fn gaps(read: &Read) -> Vec<Gap> {
    let mut all = quiet(read);
    all.extend(restarts(read));
    all.extend(missing(read));
    all.extend(unknown(read));
    if read.state.facts.stood_down.is_none() {
        all.push(Gap {
            kind: GapKind::CutShort,
            from: read.end,
            to: read.end,
            text: Phrase::of(Id::GapCut),
            about: read
                .entries
                .last()
                .map(|it| it.record.seq)
                .into_iter()
                .collect(),
        });
    }
    all.sort_by_key(|it| (it.from, it.kind));
    all
}

/// True for what somebody touched.
fn is_touch(entry: &Entry) -> bool {
    let record = &entry.record;
    let first = record.seq == record.cause;
    let own = matches!(record.event, Event::Activated { .. });
    own || first && !comes_by_itself(&record.event)
}

fn quiet(read: &Read) -> Vec<Gap> {
    // What was taken back was touched all the same.
    let touches: Vec<&Entry> = read.entries.iter().filter(|it| is_touch(it)).collect();
    let open = read.state.facts.stood_down.is_none();
    let last = read.entries.last().filter(|_| open);
    let next = touches.iter().skip(1).copied().chain(last);
    let pairs = touches.iter().zip(next);
    pairs
        .filter_map(|(from, to)| {
            let long = to.at.saturating_sub(from.at);
            (long > QUIET).then(|| Gap {
                kind: GapKind::Quiet,
                from: from.at,
                to: to.at,
                text: Phrase::with(Id::GapQuiet, [time(long)]),
                about: vec![from.record.seq, to.record.seq],
            })
        })
        .collect()
}

fn restarts(read: &Read) -> Vec<Gap> {
    let pairs = read.entries.iter().zip(read.entries.iter().skip(1));
    let gaps = pairs.filter_map(|(before, entry)| {
        let Event::Resumed { carried, .. } = &entry.record.event else {
            return None;
        };
        let (kind, id) = match carried {
            Carried::BootClock => (GapKind::Restart, Id::GapRestart),
            Carried::WallClock => (GapKind::Restart, Id::GapWall),
            Carried::AtLeast => (GapKind::ClockLost, Id::GapLost),
        };
        let long = entry.at.saturating_sub(before.at);
        Some(Gap {
            kind,
            from: before.at,
            to: entry.at,
            text: Phrase::with(id, [time(long)]),
            about: vec![before.record.seq, entry.record.seq],
        })
    });
    gaps.collect()
}

fn missing(read: &Read) -> Vec<Gap> {
    let pairs = read.entries.iter().zip(read.entries.iter().skip(1));
    let gaps = pairs.filter_map(|(before, entry)| {
        let first = before.record.seq.saturating_add(1);
        let last = entry.record.seq.saturating_sub(1);
        (first <= last).then(|| {
            let numbers = [first, last].map(|it| Phrase::from(it.to_string()));
            Gap {
                kind: GapKind::Missing,
                from: before.at,
                to: entry.at,
                text: Phrase::with(Id::GapMissing, numbers),
                about: vec![before.record.seq, entry.record.seq],
            }
        })
    });
    gaps.collect()
}

fn unknown(read: &Read) -> Option<Gap> {
    let is_unknown = |it: &&Entry| matches!(it.record.event, Event::Unknown { .. });
    let all: Vec<&Entry> = read.entries.iter().filter(is_unknown).collect();
    let (first, last) = (all.first()?, all.last()?);
    let kinds: BTreeSet<String> = all.iter().map(|it| it.record.event.kind()).collect();
    let kinds = listed(kinds.into_iter().map(Phrase::from));
    Some(Gap {
        kind: GapKind::Unknown,
        from: first.at,
        to: last.at,
        text: Phrase::with(Id::StoryUnknown, [kinds]),
        about: all.iter().map(|it| it.record.seq).collect(),
    })
}
