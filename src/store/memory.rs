//! Stands in for the store on the disk when that cannot be used, so that a shift can go on without it.
//!
//! Limits: forgets everything with the program.

use super::{Store, StoreFault};
use std::collections::BTreeMap;
use std::ops::Bound;
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

    fn put(&self, pairs: &[(String, Vec<u8>)]) -> Result<(), StoreFault> {
        self.values().extend(pairs.iter().cloned());
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

    fn next(&self, key: &str) -> Result<Option<String>, StoreFault> {
        let after = (Bound::Excluded(key.to_owned()), Bound::Unbounded);
        let values = self.values();
        Ok(values.range(after).next().map(|(key, _)| key.clone()))
    }

    fn count(&self, prefix: &str) -> Result<u64, StoreFault> {
        let values = self.values();
        let found = values.keys().filter(|key| key.starts_with(prefix));
        Ok(found.count() as u64)
    }
}
