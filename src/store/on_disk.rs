//! Keeps a store on the disk with sled, and keeps sled's ways of failing away from the program.
//!
//! On a damaged folder sled's `open` can hang for ever or panic, so it runs on a thread of its own with a deadline, and
//! every call is caught. Its `flush` ends in a system call that does not reach the disk, so an own handle of its one
//! database file is synced after each flush, and the folder once after it was made.
//!
//! Limits: sled may open a damaged folder with values missing and say nothing. That all are gone is noticed here; that
//! some are must be noticed by whoever can compare. A thread that hangs in `open` stays until the program ends: have
//! `probe` try the folder in another process first.

use super::{Cause, Store, StoreFault};
use std::any::Any;
use std::fs::{self, File};
use std::io;
use std::ops::Deref;
use std::panic::{self, AssertUnwindSafe};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

/// The first key of a store, and the file that says since when it must be there: sled may open a damaged folder empty.
const MADE_KEY: &str = "store/made";
const MADE_FILE: &str = "made";
/// Enough for the index; events are read an incident at a time.
const CACHE_BYTES: u64 = 8 * 1024 * 1024;

/// A store in a folder.
#[derive(Debug)]
pub struct DiskStore {
    db: ManuallyKept,
    /// The file that sled writes values to, opened once more for the sync that sled does not do.
    file: File,
}

impl DiskStore {
    /// Opens the store in this folder, making it if it is missing. Waits for `patience` at most.
    pub fn open(folder: &Path, patience: Duration) -> Result<Self, StoreFault> {
        let (done, opened) = mpsc::sync_channel(1);
        let path = folder.to_owned();
        thread::Builder::new()
            .name("store-open".into())
            // Nobody listens any more after the deadline, and then the store is closed again.
            .spawn(move || drop(done.send(caught(|| Self::open_here(&path)))))
            .map_err(|error| unusable(folder, &Broken::of_disk(&error)))?;
        match opened.recv_timeout(patience) {
            Ok(Ok(store)) => Ok(store),
            Ok(Err(why)) => Err(unusable(folder, &why)),
            Err(_) => Err(unusable(folder, &Broken::late(patience))),
        }
    }

    fn open_here(path: &Path) -> Result<Self, Broken> {
        let made = path.join(MADE_FILE);
        let was_made = made.exists();
        if was_made && !path.join("db").exists() {
            return Err(Broken::damaged("its file is missing"));
        }
        fs::create_dir_all(path).map_err(|error| Broken::of_disk(&error))?;
        let db = sled::Config::new()
            .path(path)
            .cache_capacity(CACHE_BYTES)
            .open()
            .map_err(|error| plain(&error))?;
        let file = File::open(path.join("db")).map_err(|error| Broken::of_disk(&error))?;
        let store = Self {
            db: ManuallyKept::new(db),
            file,
        };
        if !was_made {
            store
                .db
                .insert(MADE_KEY, MADE_FILE)
                .map_err(|error| plain(&error))?;
            store.flush()?;
            File::create(&made).map_err(|error| Broken::of_disk(&error))?;
            for folder in path
                .ancestors()
                .take(3)
                .filter(|folder| !folder.as_os_str().is_empty())
            {
                File::open(folder)
                    .and_then(|folder| folder.sync_all())
                    .map_err(|error| Broken::of_disk(&error))?;
            }
        }
        match store.db.get(MADE_KEY).map_err(|error| plain(&error))? {
            Some(_) => Ok(store),
            None => Err(Broken::damaged("it came up without its values")),
        }
    }

    /// Reads every value; how many there are.
    pub fn read_through(&self) -> Result<u64, StoreFault> {
        let read = || {
            self.db.iter().try_fold(0_u64, |count, pair| {
                pair.map(|_| count + 1).map_err(|error| plain(&error))
            })
        };
        self.db
            .noted(caught(read))
            .map_err(|why| why.says("What is stored cannot be read"))
    }

    fn flush(&self) -> Result<(), Broken> {
        self.db.flush().map_err(|error| plain(&error))?;
        self.file
            .sync_all()
            .map_err(|error| Broken::of_disk(&error))
    }
}

impl Store for DiskStore {
    fn get(&self, key: &str) -> Result<Option<Vec<u8>>, StoreFault> {
        let found = caught(|| self.db.get(key).map_err(|error| plain(&error)));
        self.db
            .noted(found)
            .map(|value| value.map(|bytes| bytes.to_vec()))
            .map_err(|why| why.says(&format!("{key} cannot be read")))
    }

    fn put(&self, pairs: &[(String, Vec<u8>)]) -> Result<(), StoreFault> {
        let put = || {
            let mut batch = sled::Batch::default();
            for (key, value) in pairs {
                batch.insert(key.as_bytes(), value.as_slice());
            }
            self.db.apply_batch(batch).map_err(|error| plain(&error))?;
            self.flush()
        };
        self.db.noted(caught(put)).map_err(|why| {
            let first = pairs.first().map_or("nothing", |(key, _)| key);
            why.says(&format!("{first} cannot be stored"))
        })
    }

    fn remove(&self, key: &str) -> Result<(), StoreFault> {
        let remove = || {
            self.db
                .remove(key)
                .map_err(|error| plain(&error))
                .and_then(|_| self.flush())
        };
        self.db
            .noted(caught(remove))
            .map_err(|why| why.says(&format!("{key} cannot be removed")))
    }

    fn scan(&self, prefix: &str) -> Result<Vec<(String, Vec<u8>)>, StoreFault> {
        let scan = || {
            let pairs = self.db.scan_prefix(prefix).map(|pair| {
                let (key, value) = pair.map_err(|error| plain(&error))?;
                Ok((String::from_utf8_lossy(&key).into_owned(), value.to_vec()))
            });
            pairs.collect()
        };
        self.db
            .noted(caught(scan))
            .map_err(|why| why.says(&format!("What begins with {prefix} cannot be read")))
    }

    fn next(&self, key: &str) -> Result<Option<String>, StoreFault> {
        let next = || {
            let after = self.db.get_gt(key).map_err(|error| plain(&error))?;
            Ok(after.map(|(key, _)| String::from_utf8_lossy(&key).into_owned()))
        };
        self.db
            .noted(caught(next))
            .map_err(|why| why.says(&format!("What follows {key} cannot be read")))
    }

    fn count(&self, prefix: &str) -> Result<u64, StoreFault> {
        let count = || {
            self.db
                .scan_prefix(prefix)
                .keys()
                .try_fold(0_u64, |count, key| {
                    key.map(|_| count + 1).map_err(|error| plain(&error))
                })
        };
        self.db
            .noted(caught(count))
            .map_err(|why| why.says(&format!("What begins with {prefix} cannot be counted")))
    }
}

/// What a call into sled met.
#[derive(Debug)]
struct Broken {
    cause: Cause,
    why: String,
}

impl Broken {
    fn damaged(why: &str) -> Broken {
        Broken {
            cause: Cause::Damaged,
            why: why.to_owned(),
        }
    }

    fn late(patience: Duration) -> Broken {
        Broken::damaged(&format!(
            "it did not open within {} s",
            patience.as_secs().max(1)
        ))
    }

    fn of_disk(error: &io::Error) -> Broken {
        let why = match error.kind() {
            io::ErrorKind::StorageFull => "the disk is full".to_owned(),
            _ => error.to_string(),
        };
        Broken {
            cause: Cause::Disk,
            why,
        }
    }

    fn says(&self, what: &str) -> StoreFault {
        StoreFault {
            cause: self.cause,
            what: format!("{what}: {}.", self.why),
        }
    }
}

/// The database, which is let go of only where its disk is well: sled's own end panics where the last sync fails, and
/// twice over, which would end the program in the middle of a rescue. What is kept for good is a little memory.
#[derive(Debug)]
struct ManuallyKept {
    db: Option<sled::Db>,
    failed: AtomicBool,
}

impl ManuallyKept {
    fn new(db: sled::Db) -> ManuallyKept {
        ManuallyKept {
            db: Some(db),
            failed: AtomicBool::new(false),
        }
    }

    /// Notes a call that failed.
    fn noted<T>(&self, outcome: Result<T, Broken>) -> Result<T, Broken> {
        if outcome.is_err() {
            self.failed.store(true, Ordering::Release);
        }
        outcome
    }
}

impl Deref for ManuallyKept {
    type Target = sled::Db;

    fn deref(&self) -> &sled::Db {
        self.db.as_ref().expect("it is taken out by the drop alone")
    }
}

impl Drop for DiskStore {
    fn drop(&mut self) {
        // Asked of our own handle first, where a failing sync is an answer and no panic.
        let synced = self.file.sync_all();
        if synced.is_err() {
            self.db.failed.store(true, Ordering::Release);
        }
    }
}

impl Drop for ManuallyKept {
    fn drop(&mut self) {
        let well = !self.failed.load(Ordering::Acquire) && self.flush().is_ok();
        if !well {
            std::mem::forget(self.db.take());
        }
    }
}

/// Runs a call into sled; a panic in it is one more way to fail.
fn caught<T>(call: impl FnOnce() -> Result<T, Broken>) -> Result<T, Broken> {
    let broke = |_: Box<dyn Any + Send>| Err(Broken::damaged("it is damaged"));
    panic::catch_unwind(AssertUnwindSafe(call)).unwrap_or_else(broke)
}

/// What a person can make of sled's errors, whose own texts are for its authors.
fn plain(error: &sled::Error) -> Broken {
    match error {
        sled::Error::Io(error) if error.to_string().contains("could not acquire lock") => Broken {
            cause: Cause::InUse,
            why: "another program uses it".to_owned(),
        },
        // What is short, or says that it is something else, is content and not the disk.
        sled::Error::Io(error)
            if matches!(
                error.kind(),
                io::ErrorKind::UnexpectedEof | io::ErrorKind::InvalidData | io::ErrorKind::Other
            ) =>
        {
            Broken::damaged("it is damaged")
        }
        sled::Error::Io(error) => Broken::of_disk(error),
        _ => Broken::damaged("it is damaged"),
    }
}

fn unusable(folder: &Path, why: &Broken) -> StoreFault {
    why.says(&format!("The store in {} cannot be used", folder.display()))
}
