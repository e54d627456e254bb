//! Adds a record to an incident that has ended, for the journal's thread on a tablet and for a command at a desk alike.
//!
//! What is added is sealed after everything that stands there, so it is refused where that was altered: what follows an
//! altered record would give it the look of a whole one. Tried once, because somebody waits for the answer.
//!
//! Limits: whoever calls it holds the data folder, or is the only one who writes there.

use super::disk::Disk;
use super::writer::{Failing, Saved, Writer};
use crate::incident::{Amiss, Record};
use crate::signal::{Addition, Entry};
use std::path::PathBuf;
use std::sync::Arc;
use std::{fmt, io};

/// Why nothing was added.
#[derive(Debug)]
pub enum NotAdded {
    /// The incident still runs, or nobody stood it down.
    NotEnded,
    /// Its record was altered.
    Altered,
    /// It speaks of what is not there.
    Amiss(Amiss),
    /// Its last record cannot be read.
    Unreadable(String),
    /// The files cannot be taken up.
    Failed(io::Error),
    /// The disk refused.
    Failing(String),
}

/// Adds it. The answer is what is saved, and the sealed lines for whoever keeps a copy.
pub fn added(
    disk: &Arc<dyn Disk>,
    folders: &[PathBuf],
    addition: Addition,
) -> Result<(Saved, Vec<String>), NotAdded> {
    let incident = &addition.incident;
    let (mut writer, found) =
        Writer::resume(disk.clone(), folders.to_vec(), incident).map_err(NotAdded::Failed)?;
    if !found.problems.is_empty() {
        return Err(NotAdded::Altered);
    }
    let last = found.records.last();
    let Some(last) = last.filter(|_| found.records.iter().any(|it| it.kind == "stood-down")) else {
        return Err(NotAdded::NotEnded);
    };
    let kind = |number: u64| {
        let at = found.records.binary_search_by_key(&number, |it| it.seq);
        Some(found.records.get(at.ok()?)?.kind.as_str())
    };
    addition.event.amiss(kind).map_err(NotAdded::Amiss)?;
    // It says how long they hung, as the record before it does, because no clock of the incident runs any more.
    let before = Record::from_json(&last.text).map_err(|error| NotAdded::Unreadable(error.0))?;
    let seq = last.seq.saturating_add(1);
    let record = Record {
        seq,
        cause: seq,
        now: addition.now,
        who: addition.who.as_str().into(),
        event: addition.event,
        v: Record::version(),
        ..before
    };
    let entry = Entry {
        seq,
        json: record.to_json(),
    };
    let saved = writer.append(&[entry]).and_then(|_| writer.close());
    match saved {
        Ok(Some(saved)) => Ok((saved, writer.take_copies())),
        Ok(None) => Err(NotAdded::Failing("Nothing was saved.".to_owned())),
        Err(Failing(why)) => Err(NotAdded::Failing(why)),
    }
}

impl fmt::Display for NotAdded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NotAdded::NotEnded => write!(f, "It has not ended yet."),
            NotAdded::Altered => write!(f, "Its record was altered."),
            NotAdded::Amiss(amiss) => write!(f, "It cannot stand there: {amiss}."),
            NotAdded::Unreadable(why) => write!(f, "Its last record cannot be read: {why}."),
            NotAdded::Failed(error) => write!(f, "The log cannot be taken up: {error}."),
            NotAdded::Failing(why) => write!(f, "{why}"),
        }
    }
}

impl std::error::Error for NotAdded {}
