//! Keeps what outlives an incident, settings and roll call, as JSON values under versioned keys.
//!
//! The rest of the program knows this small interface, not the database under it: a damaged database must cost the
//! crew their settings at most, never the program, so one in memory can stand in for it at any time. A new layout
//! takes a new key (`settings/2`) and leaves the old value readable.
//!
//! Limits: nothing here is the record of an incident. Calls may wait for a disk: not on the screen's thread.

mod memory;
mod on_disk;

pub use memory::MemoryStore;
pub use on_disk::{DiskStore, OPEN_DEADLINE};

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
pub trait Store: Send {
    /// The value under a key.
    fn get(&self, key: &str) -> Result<Option<Vec<u8>>, StoreFault>;
    /// Puts a value under a key. What was put is durable when this returns, as far as the store can be.
    fn put(&self, key: &str, value: &[u8]) -> Result<(), StoreFault>;
    /// Removes a key, whether or not it is there.
    fn remove(&self, key: &str) -> Result<(), StoreFault>;
    /// All keys that begin with a prefix, in order, with their values.
    fn scan(&self, prefix: &str) -> Result<Vec<(String, Vec<u8>)>, StoreFault>;
}

/// Why the store cannot be used: one plain sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoreFault(pub String);

impl fmt::Display for StoreFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for StoreFault {}

/// Reads a JSON value.
pub fn get_json<T: DeserializeOwned>(
    store: &dyn Store,
    key: &str,
) -> Result<Option<T>, StoreFault> {
    let misread = |error| StoreFault(format!("What is stored as {key} cannot be read: {error}."));
    store
        .get(key)?
        .map(|bytes| serde_json::from_slice(&bytes).map_err(misread))
        .transpose()
}

/// Stores a value as JSON.
pub fn put_json<T: Serialize>(store: &dyn Store, key: &str, value: &T) -> Result<(), StoreFault> {
    let bytes = serde_json::to_vec(value)
        .map_err(|error| StoreFault(format!("{key} cannot be stored: {error}.")))?;
    store.put(key, &bytes)
}
