//! Holds the files of a data folder in memory, so that reading a journal back needs no disk.

use groundward::journal::disk::{Disk, DiskFile};
use std::collections::BTreeMap;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// Files that can be read and not written.
#[derive(Default)]
pub(super) struct Folder {
    files: BTreeMap<PathBuf, Vec<u8>>,
}

impl Folder {
    /// Puts bytes at the end of a file, which is there from then on.
    pub(super) fn append(&mut self, path: &Path, bytes: &[u8]) {
        let file = self.files.entry(path.to_owned()).or_default();
        file.extend_from_slice(bytes);
    }
}

fn refused<T>() -> io::Result<T> {
    Err(ErrorKind::ReadOnlyFilesystem.into())
}

impl Disk for Folder {
    fn create(&self, _: &Path) -> io::Result<Box<dyn DiskFile>> {
        refused()
    }

    fn open(&self, _: &Path) -> io::Result<Box<dyn DiskFile>> {
        refused()
    }

    fn remove(&self, _: &Path) -> io::Result<()> {
        refused()
    }

    fn sync_folder(&self, _: &Path) -> io::Result<()> {
        refused()
    }

    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        let file = self.files.get(path).cloned();
        file.ok_or_else(|| ErrorKind::NotFound.into())
    }

    fn names(&self, folder: &Path) -> io::Result<Vec<String>> {
        let inside = self.files.keys().filter(|it| it.parent() == Some(folder));
        let names = inside.filter_map(|it| it.file_name()?.to_str());
        Ok(names.map(str::to_owned).collect())
    }
}
