//! Holds the store against the journals, incident by incident, and makes it anew from them.
//!
//! Counts and heads are compared: the index must tell of the files that are there, and as many lines must be here as the
//! index says, up to the same last one. What differs because a journal went on is put right; lines missing that were
//! here once mean a database that came up short, and then nothing else in it can be trusted either.
//!
//! Limits: one incident at a time, so that whoever calls can stop between two. A journal whose file looks unchanged is
//! not read again.

use super::lines::Pair;
use super::list::{Files, LAYOUT, Listed, PREFIX};
use super::{Counts, History, read_with};
use crate::journal::disk::RealDisk;
use crate::journal::listing::Listing;
use crate::journal::read::Readback;
use crate::store::probe::Prober;
use crate::store::{StoreFault, generations, pair};
use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::PoisonError;

/// What came of holding one incident against its journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compared {
    /// The store says what the journal says.
    Same,
    /// The store was behind, or the journal changed; now they are the same.
    Updated,
    /// The journal cannot be read now; what is here stays as it is.
    Unreadable,
}

/// What a new generation was made from.
#[derive(Clone, Debug, Default)]
pub struct Rebuilt {
    /// Every incident, oldest first.
    pub incidents: Vec<Listed>,
    /// Incidents that could not be read, and why.
    pub unreadable: Vec<(String, String)>,
}

impl History {
    /// The incidents that are in the journals or in the index.
    pub fn incidents(&self, files: &Files) -> Result<Vec<String>, StoreFault> {
        let mut names: BTreeSet<String> = self.indexed()?.into_keys().collect();
        names.extend(files.incidents().cloned());
        names.extend(self.older_incidents());
        Ok(names.into_iter().collect())
    }

    /// Holds one incident against its journal, which is read only where its file looks changed. `Damaged` says that lines
    /// are missing that were here.
    pub fn compare(
        &self,
        files: &Files,
        folders: &[PathBuf],
        incident: &str,
    ) -> Result<Compared, StoreFault> {
        let indexed: Option<Listed> = self.get(&format!("{PREFIX}{incident}"))?;
        let held = self.count(incident)?;
        let due = indexed.as_ref().map_or(0, |it| it.records);
        if held < due {
            return Err(self.short(&format!("lines of {incident}"), held, due));
        }
        if indexed.is_some_and(|it| it.files == files.of(incident)) {
            return Ok(Compared::Same);
        }
        self.read_through(files, folders, incident)
    }

    /// Reads a journal from its first byte to its last and holds what the store says against it: a disk that forgets
    /// changes no time of change.
    pub fn read_through(
        &self,
        files: &Files,
        folders: &[PathBuf],
        incident: &str,
    ) -> Result<Compared, StoreFault> {
        let indexed: Option<Listed> = self.get(&format!("{PREFIX}{incident}"))?;
        Ok(match self.index(files, folders, incident)? {
            Ok(listed) if indexed.as_ref() == Some(&listed) => Compared::Same,
            Ok(_) => Compared::Updated,
            Err(_) => Compared::Unreadable,
        })
    }

    /// Reads an incident from its journal, puts away what is not here yet, and brings the index up to date. What is inside
    /// is why it could not be read.
    pub fn index(
        &self,
        files: &Files,
        folders: &[PathBuf],
        incident: &str,
    ) -> Result<io::Result<Listed>, StoreFault> {
        match self.read(folders, incident) {
            Ok(readback) => {
                let listed = Listed::of(&readback, files.of(incident).to_vec());
                self.put(&readback, &listed)?;
                Ok(Ok(listed))
            }
            Err(error) => Ok(Err(error)),
        }
    }

    fn put(&self, readback: &Readback, listed: &Listed) -> Result<(), StoreFault> {
        let lines: Vec<String> = readback.records.iter().map(|it| it.text.clone()).collect();
        let incident = &readback.incident;
        let key = format!("{PREFIX}{incident}");
        let before = self.get::<Listed>(&key)?;
        self.add(incident, &lines)?;
        if before.as_ref() == Some(listed) {
            return Ok(());
        }
        let before = before.map(|it| it.records);
        self.lists().put(&[pair(&key, listed)?])?;
        let grown = listed.records.saturating_sub(before.unwrap_or(0));
        self.grow(u64::from(before.is_none()), grown);
        Ok(())
    }

    fn grow(&self, incidents: u64, events: u64) {
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        *counts = Counts {
            incidents: counts.incidents.saturating_add(incidents),
            events: counts.events.saturating_add(events),
            layout: LAYOUT,
        };
    }

    /// Notes how much there is, once all incidents were compared, and lets go of generations that nobody needs any more.
    pub fn settle(&self) -> Result<(), StoreFault> {
        self.keep_counts()?;
        generations::prune(&self.folder, self.generation);
        Ok(())
    }

    /// Makes a new generation from the journals, and from the copies of the one before where it can still be used. `tell`
    /// hears after each incident how many are done, and says whether to go on.
    pub fn rebuild(
        store: &Path,
        prober: &Prober,
        folders: &[PathBuf],
        mut tell: impl FnMut(usize) -> bool,
    ) -> Result<(History, Rebuilt), StoreFault> {
        let history = History::begin(store, prober)?;
        history.open_events(prober)?;
        let files = Files::look(folders).map_err(|error| {
            StoreFault::disk(format!(
                "The folder of the journals cannot be read: {error}."
            ))
        })?;
        let names = history.incidents(&files)?;
        let rebuilt = history.bring_in(&files, folders, names, &mut tell)?;
        history.settle()?;
        Ok((history, rebuilt))
    }

    /// The incidents whose files are not those from which the index was made.
    pub fn behind(&self, files: &Files) -> Result<Vec<String>, StoreFault> {
        let indexed = self.indexed()?;
        let is_known = |it: &&String| {
            let own = indexed.get(*it);
            own.is_some_and(|own| own.files == files.of(it))
        };
        let behind = files.incidents().filter(|it| !is_known(it));
        Ok(behind.cloned().collect())
    }

    /// Reads many incidents from their journals and puts them away together. `tell` hears after each how many are done, and
    /// says whether to go on.
    pub fn bring_in(
        &self,
        files: &Files,
        folders: &[PathBuf],
        incidents: Vec<String>,
        tell: &mut dyn FnMut(usize) -> bool,
    ) -> Result<Rebuilt, StoreFault> {
        let listing = Listing::of(&RealDisk, folders);
        let mut rebuilt = Rebuilt::default();
        let mut waiting = Waiting::default();
        for (done, incident) in incidents.into_iter().enumerate() {
            // What is here already, also in the generation before, fills gaps of the journals as it did before.
            let mut lines = self.copies(&incident)?;
            match read_with(&listing, &incident, lines.clone()) {
                Ok(readback) => {
                    let listed = Listed::of(&readback, files.of(&incident).to_vec());
                    lines.extend(readback.records.into_iter().map(|it| it.text));
                    let key = format!("{PREFIX}{incident}");
                    let before = self.get::<Listed>(&key)?.map(|it| it.records);
                    waiting.lists.push(pair(&key, &listed)?);
                    let grown = listed.records.saturating_sub(before.unwrap_or(0));
                    self.grow(u64::from(before.is_none()), grown);
                    rebuilt.incidents.push(listed);
                }
                Err(error) => rebuilt
                    .unreadable
                    .push((incident.clone(), error.to_string())),
            }
            waiting.events.extend(self.missing(&incident, &lines)?);
            if waiting.events.len() >= TOGETHER {
                waiting.put(self)?;
            }
            if !tell(done + 1) {
                break;
            }
        }
        waiting.put(self)?;
        Ok(rebuilt)
    }
}

/// A sync takes longer than all else, so a new generation is put away in large parts.
const TOGETHER: usize = 5_000;

/// What is to be put at once.
#[derive(Default)]
struct Waiting {
    events: Vec<Pair>,
    lists: Vec<Pair>,
}

impl Waiting {
    /// The events first: an index that tells of lines that are not here would mean damage.
    fn put(&mut self, history: &History) -> Result<(), StoreFault> {
        history.events()?.put(&std::mem::take(&mut self.events))?;
        history.lists().put(&std::mem::take(&mut self.lists))
    }
}
