//! Lists incidents from the index where that is right, and from their journals where it is not.
//!
//! The index says of each incident which files it was made from, how long they were and when they were last changed. As
//! long as that is so, nothing is read. What has no entry, or another file, is read from its journal, so a list is always
//! that of the journals; the keeper brings the index up to date when nobody waits.
//!
//! Limits: a file changed by something that leaves its length and its time of change alone (a failing disk) is noticed
//! when the incident is opened or verified, not in the list.

use super::{History, read_with};
use crate::incident::{Record, State};
use crate::journal::disk::RealDisk;
use crate::journal::listing::Listing;
use crate::journal::read::{self, Readback};
use crate::review::Digest;
use crate::store::StoreFault;
use serde::{Deserialize, Serialize};
use std::cell::LazyCell;
use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

/// How the keys of the index begin, with the number of its layout: what a digest gained stands in no older entry.
pub(super) const PREFIX: &str = "incident/3/";
pub(super) const LAYOUT: u32 = 3;

/// One incident in a list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Listed {
    /// Incident id.
    pub incident: String,
    /// What it was, in short.
    pub digest: Digest,
    /// How many whole records there are, filled ones among them.
    pub records: u64,
    /// Hash of the last of them.
    pub head: String,
    /// True where the files are what was written.
    pub intact: bool,
    /// How many records came from the store's copy.
    pub filled: u64,
    /// The files from which all this was read.
    pub(super) files: Vec<Seen>,
}

/// A file as it was when it was read.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub(super) struct Seen {
    name: String,
    len_bytes: u64,
    /// Nanoseconds since 1970 in UTC.
    changed_ns: u64,
}

impl Listed {
    /// Sums up what was read; where nothing could be, the incident stands there as not intact.
    fn read(readback: io::Result<Readback>, incident: &str, files: &[Seen]) -> Listed {
        match readback {
            Ok(readback) => Listed::of(&readback, files.to_vec()),
            Err(_) => Listed {
                incident: incident.to_owned(),
                ..Listed::default()
            },
        }
    }

    /// Sums up an incident that was read from these files.
    pub(super) fn of(readback: &Readback, files: Vec<Seen>) -> Listed {
        Listed {
            incident: readback.incident.clone(),
            digest: Digest::of(&State::replay(records(readback))),
            records: readback.records.len() as u64,
            head: readback.head.clone(),
            intact: readback.problems.is_empty(),
            filled: readback.filled.len() as u64,
            files,
        }
    }
}

/// The records of a readback that this program can read.
pub fn records(readback: &Readback) -> Vec<Record> {
    let known = readback.records.iter();
    known
        .filter_map(|record| Record::from_json(&record.text).ok())
        .collect()
}

impl History {
    /// All incidents, oldest first: those with files, and those of which only copies are left.
    pub fn list(&self, folders: &[PathBuf]) -> io::Result<Vec<Listed>> {
        let mut indexed = self.indexed().map_err(io::Error::other)?;
        let files = Files::look(folders)?;
        let names: BTreeSet<String> = files.incidents().chain(indexed.keys()).cloned().collect();
        // Looked into once, and only where something has to be read.
        let listing = LazyCell::new(|| Listing::of(&RealDisk, folders));
        let mut all = Vec::with_capacity(names.len());
        for incident in names {
            let files = files.of(&incident);
            match indexed.remove(&incident).filter(|it| it.files == files) {
                Some(listed) => all.push(listed),
                None => all.push(Listed::read(
                    self.read_in(&listing, &incident),
                    &incident,
                    files,
                )),
            }
        }
        Ok(all)
    }

    /// The hash of the last record of an incident as the index has it.
    pub fn head(&self, incident: &str) -> Option<String> {
        let listed: Option<Listed> = self.get(&format!("{PREFIX}{incident}")).ok().flatten();
        listed.map(|it| it.head)
    }

    /// What the index says, by incident.
    pub(super) fn indexed(&self) -> Result<BTreeMap<String, Listed>, StoreFault> {
        let all = self.lists().scan(PREFIX)?.into_iter();
        // An entry that cannot be read is made again from the journal.
        let all = all.filter_map(|(_, value)| serde_json::from_slice::<Listed>(&value).ok());
        Ok(all.map(|it| (it.incident.clone(), it)).collect())
    }
}

/// All incidents from their journals alone, oldest first.
pub fn list_without_store(folders: &[PathBuf]) -> io::Result<Vec<Listed>> {
    let files = Files::look(folders)?;
    let listing = Listing::of(&RealDisk, folders);
    let incidents = files.incidents().map(|incident| {
        let readback = read_with(&listing, incident, Vec::new());
        Listed::read(readback, incident, files.of(incident))
    });
    Ok(incidents.collect())
}

/// The files of every incident, as they were when they were looked at.
#[derive(Clone, Debug, Default)]
pub struct Files {
    all: BTreeMap<String, Vec<Seen>>,
}

impl Files {
    /// Looks at these folders. One that cannot be read holds nothing, as long as another can be.
    pub fn look(folders: &[PathBuf]) -> io::Result<Files> {
        let mut files = Files::default();
        let mut fault = None;
        for folder in folders {
            if let Err(error) = files.look_into(folder) {
                fault = Some(error);
            }
        }
        for files in files.all.values_mut() {
            files.sort();
        }
        match fault {
            Some(fault) if files.all.is_empty() => Err(fault),
            _ => Ok(files),
        }
    }

    fn look_into(&mut self, folder: &Path) -> io::Result<()> {
        let entries = match std::fs::read_dir(folder) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
            other => other?,
        };
        for entry in entries {
            let entry = entry?;
            let name = entry.file_name();
            let Some((name, incident)) = name.to_str().and_then(|it| Some((it, read::owner(it)?)))
            else {
                continue;
            };
            let data = entry.metadata()?;
            let changed = data.modified().ok();
            let changed = changed.and_then(|at| at.duration_since(UNIX_EPOCH).ok());
            let changed_ns = changed.and_then(|at| u64::try_from(at.as_nanos()).ok());
            self.all.entry(incident.to_owned()).or_default().push(Seen {
                name: name.to_owned(),
                len_bytes: data.len(),
                changed_ns: changed_ns.unwrap_or_default(),
            });
        }
        Ok(())
    }

    /// Everything that has files, oldest first.
    pub fn incidents(&self) -> impl Iterator<Item = &String> {
        self.all.keys()
    }

    pub(super) fn of(&self, incident: &str) -> &[Seen] {
        self.all.get(incident).map_or(&[], Vec::as_slice)
    }
}
