//! Keeps the store on the disk with sled, and keeps sled's ways of failing away from the program.
//!
//! On a damaged folder sled's `open` can hang for ever or panic, so it runs on a thread of its own with a deadline, and
//! every call is caught. Its `flush` ends in a system call that does not reach the disk, so an own handle of its one
//! database file is synced after each flush, and the folder once after it was made.
//!
//! Limits: sled may open a damaged folder with values missing and say nothing. That all are gone is noticed here; that
//! some are must be noticed by whoever can compare. A thread that hangs in `open` stays until the program ends. Each
//! generation of the store has a folder of its own, so that a damaged one can be left as it is beside the one that
//! replaces it; the first is all there is so far.

use super::{Store, StoreFault};
use std::any::Any;
use std::fs::{self, File};
use std::io;
use std::panic::{self, AssertUnwindSafe};
use std::path::Path;
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

/// How long the store may take to open before the program goes on without it.
pub const OPEN_DEADLINE: Duration = Duration::from_secs(2);

/// The folder of the first generation.
const GENERATION: &str = "1";
/// The first key of a store, and the file that says since when it must be there: sled may open a damaged folder empty.
const MADE_KEY: &str = "store/made";
const MADE_FILE: &str = "made";
/// Settings and a roll call are a few kilobytes.
const CACHE_BYTES: u64 = 1024 * 1024;

/// A store in a folder.
#[derive(Debug)]
pub struct DiskStore {
    db: sled::Db,
    /// The file that sled writes values to, opened once more for the sync that sled does not do.
    file: File,
}

impl DiskStore {
    /// Opens the store below this folder, making it if it is missing. Waits for [`OPEN_DEADLINE`] at most.
    pub fn open(folder: &Path) -> Result<Self, StoreFault> {
        let generation = folder.join(GENERATION);
        let (done, opened) = mpsc::sync_channel(1);
        let path = generation.clone();
        thread::Builder::new()
            .name("store-open".into())
            // Nobody listens any more after the deadline, and then the store is closed again.
            .spawn(move || drop(done.send(caught(|| Self::open_generation(&path)))))
            .map_err(|error| unusable(&generation, &error.to_string()))?;
        match opened.recv_timeout(OPEN_DEADLINE) {
            Ok(Ok(store)) => Ok(store),
            Ok(Err(why)) => Err(unusable(&generation, &why)),
            Err(_) => Err(unusable(
                &generation,
                &format!("it did not open within {} s", OPEN_DEADLINE.as_secs()),
            )),
        }
    }

    fn open_generation(path: &Path) -> Result<Self, String> {
        let text = |error: io::Error| error.to_string();
        fs::create_dir_all(path).map_err(text)?;
        let db = sled::Config::new()
            .path(path)
            .cache_capacity(CACHE_BYTES)
            .open()
            .map_err(|error| plain(&error))?;
        let file = File::open(path.join("db")).map_err(text)?;
        let store = Self { db, file };
        let made = path.join(MADE_FILE);
        if !made.exists() {
            store
                .db
                .insert(MADE_KEY, MADE_FILE)
                .map_err(|error| plain(&error))?;
            store.flush()?;
            File::create(&made).map_err(text)?;
            for folder in path
                .ancestors()
                .take(3)
                .filter(|folder| !folder.as_os_str().is_empty())
            {
                File::open(folder)
                    .and_then(|folder| folder.sync_all())
                    .map_err(text)?;
            }
        }
        match store.db.get(MADE_KEY).map_err(|error| plain(&error))? {
            Some(_) => Ok(store),
            None => Err("it came up without its values".to_owned()),
        }
    }

    fn flush(&self) -> Result<(), String> {
        self.db.flush().map_err(|error| plain(&error))?;
        self.file.sync_all().map_err(|error| error.to_string())
    }
}

impl Store for DiskStore {
    fn get(&self, key: &str) -> Result<Option<Vec<u8>>, StoreFault> {
        let found = caught(|| self.db.get(key).map_err(|error| plain(&error)));
        found
            .map(|value| value.map(|bytes| bytes.to_vec()))
            .map_err(|why| StoreFault(format!("{key} cannot be read: {why}.")))
    }

    fn put(&self, key: &str, value: &[u8]) -> Result<(), StoreFault> {
        let put = || {
            self.db
                .insert(key, value)
                .map_err(|error| plain(&error))
                .and_then(|_| self.flush())
        };
        caught(put).map_err(|why| StoreFault(format!("{key} cannot be stored: {why}.")))
    }

    fn remove(&self, key: &str) -> Result<(), StoreFault> {
        let remove = || {
            self.db
                .remove(key)
                .map_err(|error| plain(&error))
                .and_then(|_| self.flush())
        };
        caught(remove).map_err(|why| StoreFault(format!("{key} cannot be removed: {why}.")))
    }

    fn scan(&self, prefix: &str) -> Result<Vec<(String, Vec<u8>)>, StoreFault> {
        let scan = || {
            let pairs = self.db.scan_prefix(prefix).map(|pair| {
                let (key, value) = pair.map_err(|error| plain(&error))?;
                Ok((String::from_utf8_lossy(&key).into_owned(), value.to_vec()))
            });
            pairs.collect()
        };
        caught(scan)
            .map_err(|why| StoreFault(format!("What begins with {prefix} cannot be read: {why}.")))
    }
}

/// Runs a call into sled; a panic in it is one more way to fail.
fn caught<T>(call: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    let broke = |_: Box<dyn Any + Send>| Err("it is damaged".to_owned());
    panic::catch_unwind(AssertUnwindSafe(call)).unwrap_or_else(broke)
}

/// What a person can make of sled's errors, whose own texts are for its authors.
fn plain(error: &sled::Error) -> String {
    match error {
        sled::Error::Io(error) if error.kind() == std::io::ErrorKind::StorageFull => {
            "the disk is full".to_owned()
        }
        sled::Error::Io(error) if error.to_string().contains("could not acquire lock") => {
            "another program uses it".to_owned()
        }
        sled::Error::Io(error) => error.to_string(),
        _ => "it is damaged".to_owned(),
    }
}

fn unusable(generation: &Path, why: &str) -> StoreFault {
    let path = generation.display();
    StoreFault(format!(
        "Settings and roll call are not kept this time: the store in {path} cannot be used, because {why}."
    ))
}
