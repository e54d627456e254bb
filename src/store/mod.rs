//! Keeps what outlives an incident, as values under text keys: every event, the index of the lists, settings.
//!
//! The rest of the program knows this small interface, not the database under it: a damaged database must cost the
//! crew time at most, never the program and never a record, because all events stand in the journals too. One in memory
//! can stand in for it at any time. A new layout takes a new key (`settings/2`) and leaves the old value readable.
//! `on_disk` opens one database, `probe` has another process try that first, `generations` names their folders.
//!
//! Limits: "saved" never waits for anything here, nor rests on it. Calls may wait for a disk: not on the screen's thread.

pub mod generations;
mod memory;
mod on_disk;
pub mod probe;

pub use memory::MemoryStore;
pub use on_disk::DiskStore;

use serde::Serialize;
use serde::de::DeserializeOwned;
use std::fmt;

/// The key of the settings.
pub const SETTINGS_KEY: &str = "settings/1";
/// The key of today's roll call.
pub const ROLL_CALL_KEY: &str = "roll-call/1";
/// What was declared for the shift.
pub const SHIFT_KEY: &str = "shift/1";

/// Values under text keys.
pub trait Store: Send + Sync {
    /// The value under a key.
    fn get(&self, key: &str) -> Result<Option<Vec<u8>>, StoreFault>;
    /// Puts values under their keys, all or none. What was put is durable when this returns, as far as the store can be.
    fn put(&self, pairs: &[(String, Vec<u8>)]) -> Result<(), StoreFault>;
    /// Removes a key, whether or not it is there.
    fn remove(&self, key: &str) -> Result<(), StoreFault>;
    /// All keys that begin with a prefix, in order, with their values.
    fn scan(&self, prefix: &str) -> Result<Vec<(String, Vec<u8>)>, StoreFault>;
    /// The first key after this one.
    fn next(&self, key: &str) -> Result<Option<String>, StoreFault>;
    /// How many keys begin with a prefix.
    fn count(&self, prefix: &str) -> Result<u64, StoreFault>;
}

/// Why a store cannot be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// Another program has it open.
    InUse,
    /// What is there cannot be read, or not in time: another generation has to take its place.
    Damaged,
    /// The disk is full, cannot be written, or fails in another way that a new generation would meet too.
    Disk,
}

/// A call that failed: what was called, and one plain sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoreFault {
    /// What that means for the store.
    pub cause: Cause,
    /// One plain sentence.
    pub what: String,
}

impl StoreFault {
    /// A fault of the store's own content.
    pub fn damaged(what: impl Into<String>) -> StoreFault {
        StoreFault {
            cause: Cause::Damaged,
            what: what.into(),
        }
    }

    /// A fault of the disk under it.
    pub fn disk(what: impl Into<String>) -> StoreFault {
        StoreFault {
            cause: Cause::Disk,
            what: what.into(),
        }
    }
}

impl fmt::Display for StoreFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)
    }
}

impl std::error::Error for StoreFault {}

/// Reads a JSON value.
pub fn get_json<T: DeserializeOwned>(
    store: &dyn Store,
    key: &str,
) -> Result<Option<T>, StoreFault> {
    let misread =
        |error| StoreFault::damaged(format!("What is stored as {key} cannot be read: {error}."));
    store
        .get(key)?
        .map(|bytes| serde_json::from_slice(&bytes).map_err(misread))
        .transpose()
}

/// A value as JSON under its key, to be put.
pub fn pair<T: Serialize>(key: &str, value: &T) -> Result<(String, Vec<u8>), StoreFault> {
    serde_json::to_vec(value)
        .map(|bytes| (key.to_owned(), bytes))
        .map_err(|error| StoreFault::disk(format!("{key} cannot be stored: {error}.")))
}
