//! Keeps a second Groundward off a data folder.
//!
//! Two programs writing one journal would overwrite each other's records. The kernel drops this lock with the process
//! that holds it, also when that process is killed, so a lock is never left behind.
//!
//! Limits: it binds programs that ask for it. Commands that only read do not need it. A network file system may not
//! pass it on to other machines.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::path::Path;
use std::{fmt, io};

/// The right to write in a data folder, for as long as this value lives.
#[derive(Debug)]
pub struct DataLock {
    _file: File,
}

/// Why the data folder cannot be used.
#[derive(Debug)]
pub enum LockRefused {
    /// Another program holds it.
    InUse,
    /// The lock file cannot be made or locked.
    Failed(io::Error),
}

impl DataLock {
    /// Takes the lock, making the folder if it is missing, without waiting.
    pub fn take(folder: &Path) -> Result<Self, LockRefused> {
        fs::create_dir_all(folder).map_err(LockRefused::Failed)?;
        let file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(folder.join("lock"))
            .map_err(LockRefused::Failed)?;
        match file.try_lock() {
            Ok(()) => Ok(Self { _file: file }),
            Err(TryLockError::WouldBlock) => Err(LockRefused::InUse),
            Err(TryLockError::Error(error)) => Err(LockRefused::Failed(error)),
        }
    }
}

impl fmt::Display for LockRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::InUse => f.write_str(
                "another Groundward uses this data folder; close it or give --data another folder",
            ),
            Self::Failed(error) => write!(
                f,
                "the data folder cannot be used: {error}; give --data another folder"
            ),
        }
    }
}

impl std::error::Error for LockRefused {}
