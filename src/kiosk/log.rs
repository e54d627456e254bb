//! Fills the log screen: the incidents on this tablet, those that are looked for, and the rows of the one that is open.
//!
//! There may be ten thousand, so only those around what is shown become rows of the screen, however often it is drawn. What
//! is looked for is found elsewhere; until it is, what was found before stays.

use super::entry::{Entry, Next};
use super::sight::Sight;
use super::ui::{LogItem, LogRow, Screen, Tone};
use super::view::View;
use crate::review::{Filter, Folded, Outcome};
use crate::signal::{LogEntry, Tap};
use crate::words::Id;
use slint::SharedString;

/// So many incidents before and after the first one shown are rows of the screen: more than any page has.
const AROUND: usize = 48;

pub(super) fn fill(view: &mut View, sight: Sight<'_>, open: Option<&str>, first: usize) {
    view.screen = Screen::Log;
    let (log, found) = (&sight.snapshot.log, &sight.snapshot.log_found);
    let is_all = found.filter == Filter::default();
    let shown = if is_all { log } else { &found.entries };
    let from = first.min(shown.len()).saturating_sub(AROUND);
    let count = |it: usize| i32::try_from(it).unwrap_or(i32::MAX);
    view.log_first = count(from);
    view.log_count = count(shown.len());
    view.log_note = match (log.is_empty(), is_all, shown.is_empty()) {
        (true, ..) => sight.label(Id::LogEmpty),
        (false, true, _) => SharedString::default(),
        (false, false, true) => sight.label(Id::FindNone),
        (false, false, false) => {
            let counts = [&*shown.len().to_string(), &*log.len().to_string()];
            sight.with(Id::FindCount, counts)
        }
    };
    view.log_filter = set(sight);
    let rows = shown.iter().skip(from).take(2 * AROUND);
    view.log_items = rows.map(|entry| item(sight, entry)).collect();
    let Some(entry) = open.and_then(|id| sight.snapshot.log.iter().find(|e| e.incident == id))
    else {
        return;
    };
    let item = item(sight, entry);
    view.log_title = item.place;
    view.log_sub = format!(
        "{} · {} · {} · {}",
        item.time, item.kind, item.outcome, item.seal
    )
    .into();
    let read = &sight.snapshot.log_read;
    view.log_timed = read.timeline.is_some() && Some(read.incident.as_str()) == open;
    view.log_rows = sight
        .snapshot
        .log_read
        .rows
        .iter()
        .map(|row| LogRow {
            elapsed: row.elapsed.as_str().into(),
            text: row.text.as_str().into(),
            who: row.who.as_str().into(),
            tone: match row.heading {
                true => Tone::Caution,
                false => Tone::Plain,
            },
        })
        .collect();
}

fn item(sight: Sight<'_>, entry: &LogEntry) -> LogItem {
    let outcome = match &entry.hung {
        Some(hung) => sight.with(Id::LogHung, [hung]),
        None if entry.closed => sight.label(Id::EvStoodDown),
        None => sight.label(Id::LogOpen),
    };
    LogItem {
        id: entry.incident.as_str().into(),
        time: entry.when.as_str().into(),
        place: entry.place.as_str().into(),
        kind: sight.label(if entry.drill {
            Id::LogDrill
        } else {
            Id::LogRescue
        }),
        outcome,
        seal: sight.label(match (entry.intact, entry.filled) {
            (true, _) => Id::LogIntact,
            (false, true) => Id::LogFilled,
            (false, false) => Id::LogAltered,
        }),
        intact: entry.intact,
    }
}

/// What is set beside the words, in short.
fn set(sight: Sight<'_>) -> SharedString {
    let set = filters(sight).into_iter().filter(|it| it.choice.chosen);
    let set = set.filter(|it| it.choice.title != sight.label(Id::FindAll));
    let titles: Vec<SharedString> = set.map(|it| it.choice.title).collect();
    titles.join(", ").into()
}

/// What can be looked for by touch; the words that are written stay.
pub(super) fn filters(sight: Sight<'_>) -> Vec<Entry> {
    let filter = &sight.snapshot.log_filter;
    let entry = |title: SharedString, chosen: bool, change: &dyn Fn(&mut Filter)| {
        let mut changed = Filter::clone(filter);
        change(&mut changed);
        let next = Next::Stay(Tap::FindLog(Box::new(changed)));
        Entry::new(next, title, SharedString::default()).chosen(chosen)
    };
    let kind = |id, drill: Option<bool>| {
        let chosen = filter.drill == drill;
        entry(sight.label(id), chosen, &|it| it.drill = drill)
    };
    let is_past = filter.outcomes.contains(&Outcome::PastTarget);
    let past = |it: &mut Filter| match is_past {
        true => it.outcomes.clear(),
        false => it.outcomes.push(Outcome::PastTarget),
    };
    let today = sight.now.day();
    let overdue = |it: &mut Filter| it.overdue = it.overdue.is_none().then_some(today);
    let mut all = vec![
        kind(Id::FindAll, None),
        kind(Id::FindRescues, Some(false)),
        kind(Id::FindDrills, Some(true)),
        entry(sight.label(Id::FindPast), is_past, &past),
        entry(sight.label(Id::FindOpen), filter.open_tasks, &|it| {
            it.open_tasks = !it.open_tasks;
        }),
        entry(
            sight.label(Id::FindOverdue),
            filter.overdue.is_some(),
            &overdue,
        ),
    ];
    let sites = &sight.snapshot.log_found.sites;
    // Where there is one there is nothing to choose.
    let sites = sites.iter().filter(|_| sites.len() > 1);
    all.extend(sites.map(|name| {
        let site = Folded::of(name);
        let chosen = filter.sites.contains(&site);
        let toggle = |it: &mut Filter| match chosen {
            true => it.sites.retain(|it| *it != site),
            false => it.sites.push(site.clone()),
        };
        entry(sight.with(Id::FindSite, [name]), chosen, &toggle)
    }));
    all
}
