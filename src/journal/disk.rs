//! Names the few things the journal asks of a file system, and asks them of the real one.
//!
//! Durability cannot be tested on a disk that works. With these verbs in between, a test disk can lose what was not
//! synced, tear a write, or fail at the nth call, and the writer above it is the one that goes on the tablet.
//!
//! Limits: errors are `io::Error` as the system gives them. The real disk believes what fdatasync answers.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::FileExt;
use std::path::Path;

/// What the journal asks of a file system.
pub trait Disk: Send + Sync {
    /// Makes a new, empty file, and its folder if that is missing. Fails with `AlreadyExists` if the file is there.
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>>;
    /// Opens a file that is there for writing, unchanged.
    fn open(&self, path: &Path) -> io::Result<Box<dyn DiskFile>>;
    /// Removes a file.
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// Makes the names in a folder durable.
    fn sync_folder(&self, folder: &Path) -> io::Result<()>;
    /// The whole content of a file.
    fn read(&self, path: &Path) -> io::Result<Vec<u8>>;
    /// The names of the files in a folder; none if the folder is missing.
    fn names(&self, folder: &Path) -> io::Result<Vec<String>>;
    /// The step in which a journal file reserves room.
    fn reserve_bytes(&self) -> u64 {
        4 * 1024 * 1024
    }
}

/// A file open for writing.
pub trait DiskFile: Send {
    /// Writes all these bytes at an offset.
    fn write_at(&mut self, bytes: &[u8], offset_bytes: u64) -> io::Result<()>;
    /// Makes everything written so far durable, with the length that is needed to read it.
    fn sync_data(&mut self) -> io::Result<()>;
    /// Cuts the file.
    fn set_len(&mut self, len_bytes: u64) -> io::Result<()>;
}

/// Puts these bytes in the place of a file, whole or not at all: written beside it, synced, renamed over it.
/// Its folder has to be there, so that a mistyped one is noticed.
pub fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    put(path, bytes)?;
    File::open(folder_of(path))?.sync_all()
}

fn folder_of(path: &Path) -> &Path {
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    folder.unwrap_or(Path::new("."))
}

/// The same for one of many files: its name is durable once its folder was synced, by whoever puts the last of them.
pub fn put(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = folder_of(path);
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".new");
    let beside = folder.join(name);
    let mut file = File::create(&beside)?;
    // Whoever could read or write the file before can do so afterwards.
    if let Ok(before) = fs::metadata(path) {
        file.set_permissions(before.permissions())?;
    }
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(&beside, path)
}

/// The file system of this machine.
#[derive(Debug, Clone, Copy)]
pub struct RealDisk;

impl Disk for RealDisk {
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        if let Some(folder) = path.parent().filter(|folder| !folder.is_dir()) {
            fs::create_dir_all(folder)?;
            if let Some(above) = folder
                .parent()
                .filter(|above| !above.as_os_str().is_empty())
            {
                self.sync_folder(above)?;
            }
        }
        Ok(Box::new(
            OpenOptions::new().write(true).create_new(true).open(path)?,
        ))
    }

    fn open(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(OpenOptions::new().write(true).open(path)?))
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    fn sync_folder(&self, folder: &Path) -> io::Result<()> {
        File::open(folder)?.sync_all()
    }

    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        fs::read(path)
    }

    fn names(&self, folder: &Path) -> io::Result<Vec<String>> {
        let entries = match fs::read_dir(folder) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            other => other?,
        };
        // A name that is not UTF-8 is none of ours.
        entries
            .filter_map(|entry| {
                entry
                    .map(|entry| entry.file_name().into_string().ok())
                    .transpose()
            })
            .collect()
    }
}

impl DiskFile for File {
    fn write_at(&mut self, bytes: &[u8], offset_bytes: u64) -> io::Result<()> {
        self.write_all_at(bytes, offset_bytes)
    }

    fn sync_data(&mut self) -> io::Result<()> {
        File::sync_data(self)
    }

    fn set_len(&mut self, len_bytes: u64) -> io::Result<()> {
        File::set_len(self, len_bytes)
    }
}
