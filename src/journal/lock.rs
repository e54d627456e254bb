//! Keeps a second Groundward off a data folder.
//!
//! Two programs writing one journal would overwrite each other's records. The kernel drops this lock with the process
//! that holds it, also when that process is killed, so a lock is never left behind.
//!
//! Limits: it binds programs that ask for it. Commands that only read do not need it. A network file system may not
//! pass it on to other machines.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};
use std::{fmt, io};

/// The right to write in a data folder, for as long as this value lives.
#[derive(Debug)]
pub struct DataLock {
    _file: File,
}

/// Why the data folder cannot be used.
#[derive(Debug)]
pub enum LockRefused {
    /// Another program holds this folder.
    InUse(PathBuf),
    /// The lock file in this folder cannot be made or locked.
    Failed(PathBuf, io::Error),
}

impl DataLock {
    /// Takes the lock, making the folder if it is missing, without waiting.
    pub fn take(folder: &Path) -> Result<Self, LockRefused> {
        let failed = |error| LockRefused::Failed(folder.to_owned(), error);
        fs::create_dir_all(folder).map_err(failed)?;
        let file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(folder.join("lock"))
            .map_err(failed)?;
        match file.try_lock() {
            Ok(()) => Ok(Self { _file: file }),
            Err(TryLockError::WouldBlock) => Err(LockRefused::InUse(folder.to_owned())),
            Err(TryLockError::Error(error)) => Err(failed(error)),
        }
    }
}

impl fmt::Display for LockRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::InUse(folder) => write!(
                f,
                "another Groundward uses the folder {}; close it or give this one another folder",
                folder.display()
            ),
            Self::Failed(folder, error) => write!(
                f,
                "the folder {} cannot be used: {error}; give another folder",
                folder.display()
            ),
        }
    }
}

impl std::error::Error for LockRefused {}
