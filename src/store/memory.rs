//! Stands in for the store on the disk when that cannot be used, so that a shift can go on without it.
//!
//! Limits: forgets everything with the program.

use super::{Store, StoreFault};
use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// A store in memory.
#[derive(Debug, Default)]
pub struct MemoryStore {
    values: Mutex<BTreeMap<String, Vec<u8>>>,
}

impl MemoryStore {
    /// Each call below is one step on the map, so a panic elsewhere leaves it whole.
    fn values(&self) -> MutexGuard<'_, BTreeMap<String, Vec<u8>>> {
        self.values.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Store for MemoryStore {
    fn get(&self, key: &str) -> Result<Option<Vec<u8>>, StoreFault> {
        Ok(self.values().get(key).cloned())
    }

    fn put(&self, key: &str, value: &[u8]) -> Result<(), StoreFault> {
        self.values().insert(key.to_owned(), value.to_owned());
        Ok(())
    }

    fn remove(&self, key: &str) -> Result<(), StoreFault> {
        self.values().remove(key);
        Ok(())
    }

    fn scan(&self, prefix: &str) -> Result<Vec<(String, Vec<u8>)>, StoreFault> {
        let values = self.values();
        let found = values.iter().filter(|(key, _)| key.starts_with(prefix));
        Ok(found
            .map(|(key, value)| (key.clone(), value.clone()))
            .collect())
    }
}
