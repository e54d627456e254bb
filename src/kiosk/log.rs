//! Fills the log screen: the incidents on this tablet, and the rows of the one that is open.

use super::sight::Sight;
use super::ui::{LogItem, LogRow, Screen, Tone};
use super::view::View;
use crate::signal::LogEntry;
use crate::words::Id;

pub(super) fn fill(view: &mut View, sight: Sight<'_>, open: Option<&str>) {
    view.screen = Screen::Log;
    view.log_items = sight
        .snapshot
        .log
        .iter()
        .map(|entry| item(sight, entry))
        .collect();
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
