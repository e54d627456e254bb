//! Sums many incidents up beside each other: by site, position, month or method, how many, how long people hung, how many of
//! them past the target, whether that changes, and what is overdue.
//!
//! Rescues, drills and drills at a table are never put together. Whoever was not brought off, or of whom only the least is
//! known, counts as broken off and is never left out (Kaplan and Meier). Below `enough` people there are counts alone.
//! Limits: a person counts at the position where they hung and for the last method that was tried; what is to be done
//! counts in every group in which its incident stands. A record that was altered has no place here: whoever asks leaves it out.

use super::digest::{Digest, Hung};
use crate::drill::{Played, Span, Summary, Trend, share_between, summary, trend};
use crate::units::{Millis, Ratio};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// What incidents are put together by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum By {
    /// The site.
    #[default]
    Site,
    /// The position of a site at which somebody hung.
    Position,
    /// The month in which it began, at the place.
    Month,
    /// The method that was tried last.
    Method,
}

/// What is known of incidents that belong together.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Group {
    /// What they have in common: a site's name, a month as `2026-11`, a method's id; a site and a position's id.
    pub key: Vec<String>,
    /// The position as the newest of them calls it; none for others, and where the plan does not know the place.
    pub place: Option<String>,
    /// Rescues.
    pub rescues: Side,
    /// Drills in which people moved.
    pub drills: Side,
    /// Drills at a table.
    pub table_tops: Side,
    /// How much is still to be done.
    pub open_tasks: u32,
    /// How much of that is overdue.
    pub overdue_tasks: u32,
}

/// What is known of those of one kind.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Side {
    /// How many incidents.
    pub incidents: u32,
    /// How many people hung in them.
    pub people: u32,
    /// How many of those were not brought off, as far as is recorded.
    pub not_off: u32,
    /// How many hung past the target.
    pub past: PastTarget,
    /// From the fall to off the harness; none where there are not enough.
    pub times: Option<Summary>,
    /// How that changes; none where there are not enough, or all were on one day or in one month.
    pub change: Option<Trend>,
}

/// How many hung past the target.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PastTarget {
    /// So many did.
    pub past: u32,
    /// Of so many.
    pub of: u32,
    /// Of so many more nobody can say.
    pub unknown: u32,
    /// What the share lies between; none where there are not enough.
    pub between: Option<(Ratio, Ratio)>,
}

/// Sums incidents up, sorted by what they have in common; what is to be done is overdue as of `today`.
pub fn trends<'a>(
    all: impl Iterator<Item = (&'a str, &'a Digest)>,
    by: By,
    enough: u32,
    today: NaiveDate,
) -> Vec<Group> {
    let mut found: BTreeMap<Vec<String>, Gathering<'a>> = BTreeMap::new();
    for (incident, digest) in all {
        let mut keys = BTreeSet::new();
        for hung in &digest.casualties {
            let key = by.key(digest, Some(hung));
            let group = found.entry(key.clone()).or_default();
            group.kind(digest).people.push((digest.started_ms, hung));
            group.see_target(digest, hung);
            group.name(digest, hung);
            keys.insert(key);
        }
        if keys.is_empty() {
            keys.insert(by.key(digest, None));
        }
        for key in keys {
            found.entry(key).or_default().count(incident, digest, today);
        }
    }
    let found = found.into_iter();
    found
        .map(|(key, group)| group.close(key, by, enough.max(1)))
        .collect()
}

impl By {
    fn key(self, digest: &Digest, hung: Option<&Hung>) -> Vec<String> {
        let position = || hung.and_then(|it| it.position.clone());
        let method = || hung.and_then(|it| it.methods.last().cloned());
        match self {
            By::Site => vec![digest.site.clone()],
            By::Position => vec![digest.site.clone(), position().unwrap_or_default()],
            By::Month => vec![digest.day().format("%Y-%m").to_string()],
            By::Method => vec![method().unwrap_or_default()],
        }
    }
}

/// A group while it is gathered.
#[derive(Default)]
struct Gathering<'a> {
    kinds: BTreeMap<Played, Kind<'a>>,
    /// When it was last named, and how.
    named: Option<(i64, &'a str)>,
    open_tasks: u32,
    overdue_tasks: u32,
}

/// Those of one kind while they are gathered.
#[derive(Default)]
struct Kind<'a> {
    incidents: BTreeSet<&'a str>,
    people: Vec<(i64, &'a Hung)>,
    days: BTreeSet<NaiveDate>,
    past: PastTarget,
}

impl<'a> Gathering<'a> {
    fn kind(&mut self, digest: &Digest) -> &mut Kind<'a> {
        self.kinds.entry(digest.played()).or_default()
    }

    fn see_target(&mut self, digest: &Digest, hung: &Hung) {
        let past = &mut self.kind(digest).past;
        match hung.past(Millis(digest.target_ms)) {
            None => past.unknown = past.unknown.saturating_add(1),
            Some(is_past) => {
                past.past = past.past.saturating_add(u32::from(is_past));
                past.of = past.of.saturating_add(1);
            }
        }
    }

    fn name(&mut self, digest: &'a Digest, hung: &'a Hung) {
        if let Some(place) = &hung.place {
            self.named = self.named.max(Some((digest.started_ms, place)));
        }
    }

    fn count(&mut self, incident: &'a str, digest: &'a Digest, today: NaiveDate) {
        let kind = self.kind(digest);
        kind.incidents.insert(incident);
        kind.days.insert(digest.day());
        for task in digest.tasks.iter().filter(|it| it.done_ms.is_none()) {
            let overdue = u32::from(task.is_overdue(today));
            self.open_tasks = self.open_tasks.saturating_add(1);
            self.overdue_tasks = self.overdue_tasks.saturating_add(overdue);
        }
    }

    fn close(mut self, key: Vec<String>, by: By, enough: u32) -> Group {
        let mut side = |played| {
            let kind = self.kinds.remove(&played).unwrap_or_default();
            kind.close(by, enough)
        };
        Group {
            rescues: side(Played::Rescue),
            drills: side(Played::Drill),
            table_tops: side(Played::TableTop),
            key,
            place: (self.named.filter(|_| by == By::Position)).map(|it| it.1.to_owned()),
            open_tasks: self.open_tasks,
            overdue_tasks: self.overdue_tasks,
        }
    }
}

impl Kind<'_> {
    fn close(self, by: By, enough: u32) -> Side {
        let timed = self.people.iter();
        let dated: Vec<(i64, Span)> = timed.filter_map(|it| Some((it.0, it.1.span()?))).collect();
        let spans: Vec<Span> = dated.iter().map(|it| it.1).collect();
        let is_enough = count(spans.len()) >= enough;
        // What a day changes, put for 30 of them, is a figure that nobody believes, and months stand beside each other anyway.
        let may_change = is_enough && self.days.len() > 1 && by != By::Month;
        let mut past = self.past;
        let between = share_between(past.past, past.of);
        past.between = between.filter(|_| past.of >= enough);
        let hanging = self.people.iter().filter(|it| it.1.off_ms.is_none());
        Side {
            incidents: count(self.incidents.len()),
            people: count(self.people.len()),
            not_off: count(hanging.count()),
            past,
            times: is_enough.then(|| summary(&spans)),
            change: may_change.then(|| trend(&dated)).flatten(),
        }
    }
}

fn count(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}
