//! Keeps every event and an index of all incidents in the store, and holds both against the journals.
//!
//! The journals are the record of truth and the store is what makes a thousand of them quick to list; but a copy of every
//! line is worth something by itself, because it fills what is damaged in a journal and shows one that was written anew.
//! So nothing here is ever overwritten by another line of the same number. A store that is damaged, or came up short, is
//! left as it is, and a new generation is made from the journals. `lines` is how a line is put away, `list` how incidents
//! are listed, `compare` holds the store against the journals and makes it anew.
//!
//! Limits: whatever is asked may wait for a disk. Without a store everything is read from the journals, only slower.

mod compare;
mod lessons;
mod lines;
mod list;

pub use compare::{Compared, Rebuilt};
pub use lessons::{Gathered, LeftOut};
pub use list::{Files, Listed, list_without_store, records};

use crate::journal::disk::RealDisk;
use crate::journal::listing::Listing;
use crate::journal::read::{self, Readback};
use crate::store::probe::Prober;
use crate::store::{Cause, Store, StoreFault, generations, get_json, pair};
use serde::{Deserialize, Serialize};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// The store of one tablet, one generation of it.
pub struct History {
    folder: PathBuf,
    generation: u32,
    lists: Box<dyn Store>,
    /// Opened after the lists, because it may be a thousand times larger.
    events: OnceLock<Box<dyn Store>>,
    /// The events of the generation before, where they can be read: a copy proves itself, whatever is damaged around it.
    older: OnceLock<Box<dyn Store>>,
    counts: Mutex<Counts>,
}

/// How much there must be at least; kept beside the databases, because a damaged one may come up short and say nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Counts {
    incidents: u64,
    events: u64,
    /// The layout of the index that was counted: another one is made anew from the journals, and nothing of it is missing.
    #[serde(default)]
    layout: u32,
}

const COUNTS_FILE: &str = "counts.json";

/// A store that was opened.
#[derive(Debug)]
pub struct Opened {
    /// The store.
    pub history: History,
    /// Why the generation before was left, where it was.
    pub left: Option<String>,
}

impl std::fmt::Debug for History {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "History({}/{})", self.folder.display(), self.generation)
    }
}

impl History {
    /// Opens the lists of the newest generation below this folder; where that is damaged, begins the next one.
    pub fn open(store: &Path, prober: &Prober) -> Result<Opened, StoreFault> {
        let newest = newest(store)?;
        match Self::open_generation(store, newest.unwrap_or(1), prober) {
            Ok(history) => Ok(Opened {
                history,
                left: None,
            }),
            Err(fault) if fault.cause == Cause::Damaged => {
                let history = Self::begin(store, prober)?;
                Ok(Opened {
                    history,
                    left: Some(fault.what),
                })
            }
            Err(fault) => Err(fault),
        }
    }

    /// Opens the lists of the newest generation to look at them; none where nothing was ever kept.
    pub fn look(store: &Path, prober: &Prober) -> Result<Option<History>, StoreFault> {
        let newest = newest(store)?;
        newest
            .map(|newest| Self::open_generation(store, newest, prober))
            .transpose()
    }

    /// Begins a generation after all that are there, with the copies of the newest of those.
    pub fn begin(store: &Path, prober: &Prober) -> Result<History, StoreFault> {
        let newest = newest(store)?.unwrap_or(0);
        let history = Self::open_generation(store, newest.saturating_add(1), prober)?;
        let events = generations::events(store, newest);
        if events.exists()
            && let Ok(older) = prober.open(&events)
        {
            history.use_older(Box::new(older));
        }
        Ok(history)
    }

    /// Uses these events of an older generation to fill gaps.
    pub fn use_older(&self, older: Box<dyn Store>) {
        drop(self.older.set(older));
    }

    fn open_generation(
        store: &Path,
        generation: u32,
        prober: &Prober,
    ) -> Result<History, StoreFault> {
        let lists = prober.open(&generations::lists(store, generation))?;
        let history = Self::over(store, generation, Box::new(lists));
        let held = history.lists.count(list::PREFIX)?;
        let due = history.counts().incidents;
        if held < due {
            return Err(history.short("incidents", held, due));
        }
        Ok(history)
    }

    /// A history over stores that are open already.
    pub fn over(store: &Path, generation: u32, lists: Box<dyn Store>) -> History {
        let counts = std::fs::read(store.join(generation.to_string()).join(COUNTS_FILE)).ok();
        let counts = counts.and_then(|bytes| serde_json::from_slice::<Counts>(&bytes).ok());
        let counts = counts.filter(|it| it.layout == list::LAYOUT);
        History {
            folder: store.to_owned(),
            generation,
            lists,
            events: OnceLock::new(),
            older: OnceLock::new(),
            counts: Mutex::new(counts.unwrap_or_default()),
        }
    }

    /// Opens the events of this generation, once. `Damaged` says that the whole generation has to be left.
    pub fn open_events(&self, prober: &Prober) -> Result<(), StoreFault> {
        if self.events.get().is_some() {
            return Ok(());
        }
        let events = prober.open(&generations::events(&self.folder, self.generation))?;
        let held = events.count(lines::PREFIX)?;
        let due = self.counts().events;
        if held < due {
            return Err(self.short("events", held, due));
        }
        self.use_events(Box::new(events));
        Ok(())
    }

    /// Uses these events; those in use already stay.
    pub fn use_events(&self, events: Box<dyn Store>) {
        drop(self.events.set(events));
    }

    /// Which generation this is.
    pub fn generation(&self) -> u32 {
        self.generation
    }

    /// The database of lists and settings.
    pub fn lists(&self) -> &dyn Store {
        &*self.lists
    }

    fn events(&self) -> Result<&dyn Store, StoreFault> {
        let events = self.events.get();
        let events = events.ok_or_else(|| StoreFault {
            cause: Cause::InUse,
            what: "The store of the events is not open yet.".to_owned(),
        })?;
        Ok(&**events)
    }

    fn short(&self, what: &str, held: u64, due: u64) -> StoreFault {
        StoreFault::damaged(format!(
            "The store in {} came up with {held} of {due} {what}.",
            self.folder.join(self.generation.to_string()).display()
        ))
    }

    fn counts(&self) -> Counts {
        *self.counts.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Writes down how much there is, so that less is noticed.
    fn keep_counts(&self) -> Result<(), StoreFault> {
        let folder = self.folder.join(self.generation.to_string());
        let (_, bytes) = pair(COUNTS_FILE, &self.counts())?;
        crate::journal::disk::replace(&folder.join(COUNTS_FILE), &bytes).map_err(|error| {
            StoreFault::disk(format!("The store's counts cannot be kept: {error}."))
        })
    }

    /// Reads an incident from its files, and fills what is missing there from the copies kept here.
    pub fn read(&self, folders: &[PathBuf], incident: &str) -> io::Result<Readback> {
        let listing = Listing::of(&RealDisk, folders);
        self.read_in(&listing, incident)
    }

    /// The same, from folders that were looked into before.
    fn read_in(&self, listing: &Listing, incident: &str) -> io::Result<Readback> {
        let copies = self.copies(incident).unwrap_or_default();
        read_with(listing, incident, copies)
    }

    /// A value of the lists as JSON.
    pub fn get<T: serde::de::DeserializeOwned>(&self, key: &str) -> Result<Option<T>, StoreFault> {
        get_json(self.lists(), key)
    }
}

fn newest(store: &Path) -> Result<Option<u32>, StoreFault> {
    let all = generations::all(store).map_err(|error| {
        StoreFault::disk(format!(
            "The store in {} cannot be used: {error}.",
            store.display()
        ))
    })?;
    Ok(all.last().copied())
}

/// Reads an incident from its files and fills it from copies; one without files is what its copies say.
fn read_with(listing: &Listing, incident: &str, copies: Vec<String>) -> io::Result<Readback> {
    let mut readback = match listing.read(&RealDisk, incident) {
        Err(error) if error.kind() == io::ErrorKind::NotFound && !copies.is_empty() => {
            Readback::without_files(incident)
        }
        other => other?,
    };
    readback.fill(copies);
    Ok(readback)
}

/// Hands the store from the thread that opened it to whoever lists and reads.
#[derive(Clone, Debug, Default)]
pub struct Handle {
    history: Arc<Mutex<Option<Arc<History>>>>,
}

impl Handle {
    /// The store, once it is open and as long as it can be used.
    pub fn get(&self) -> Option<Arc<History>> {
        self.history
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// Puts a store in, or takes it away.
    pub fn set(&self, history: Option<Arc<History>>) {
        *self.history.lock().unwrap_or_else(PoisonError::into_inner) = history;
    }

    /// Reads an incident from its files, with copies where there is a store.
    pub fn read(&self, folders: &[PathBuf], incident: &str) -> io::Result<Readback> {
        match self.get() {
            Some(history) => history.read(folders, incident),
            None => read::read(&RealDisk, folders, incident),
        }
    }

    /// The same, from folders that were looked into before.
    fn read_in(&self, listing: &Listing, incident: &str) -> io::Result<Readback> {
        match self.get() {
            Some(history) => history.read_in(listing, incident),
            None => listing.read(&RealDisk, incident),
        }
    }

    /// All incidents, oldest first.
    pub fn list(&self, folders: &[PathBuf]) -> io::Result<Vec<Listed>> {
        match self.get().map(|history| history.list(folders)) {
            Some(Ok(all)) => Ok(all),
            // A store that fails now is one that is not there.
            Some(Err(_)) | None => list_without_store(folders),
        }
    }
}
