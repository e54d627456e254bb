//! Stands in for a disk that loses power, tears writes, fails at a chosen call and forgets what it could not sync.
//!
//! Each file has what programs see (live) and what is on the platter (durable) with the changes in between. After a
//! failed sync those changes are forgotten while programs still see them, as Linux does. A power cut leaves any part of
//! the changes, by whole sectors or up to any byte, and names whose folder was not synced may be missing.

use groundward::journal::disk::{Disk, DiskFile};
use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard};

const SECTOR_BYTES: usize = 512;

#[derive(Clone, Default)]
pub(crate) struct LyingDisk {
    world: Arc<Mutex<World>>,
}

#[derive(Clone, Default)]
struct World {
    files: Vec<File>,
    names: BTreeMap<PathBuf, usize>,
    durable_names: BTreeMap<PathBuf, usize>,
    calls: usize,
    fault: Fault,
    reserve_bytes: Option<u64>,
}

#[derive(Clone, Default)]
struct File {
    live: Vec<u8>,
    durable: Vec<u8>,
    unsynced: Vec<Change>,
}

#[derive(Clone)]
enum Change {
    Write(usize, Vec<u8>),
    Cut(usize),
}

/// What goes wrong, and at which call that changes something (from 1).
#[derive(Clone, Default, Debug)]
pub(crate) enum Fault {
    #[default]
    None,
    Once(usize),
    From(usize),
    FolderFrom(usize, PathBuf),
    /// The program is stopped in this call: a write may still arrive, after it nothing happens any more.
    Stop(usize),
    OnceThenStop(usize, usize),
    EverySync,
    EveryFolderSync,
    /// Room for so many bytes in all.
    Full(usize),
}

/// What of the unsynced changes a power cut leaves.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Tear {
    Nothing,
    Everything,
    /// All changes but the last write, and of that so many bytes.
    LastWriteTo(usize),
    /// Each sector and each name by the throw of a coin.
    Sectors(u64),
}

impl LyingDisk {
    pub(crate) fn failing(fault: Fault) -> Self {
        let disk = Self::default();
        disk.fail(fault);
        disk
    }

    fn world(&self) -> MutexGuard<'_, World> {
        self.world
            .lock()
            .expect("no test panics while it holds the disk")
    }

    pub(crate) fn fail(&self, fault: Fault) {
        self.world().fault = fault;
    }

    pub(crate) fn reserve(&self, bytes: u64) {
        self.world().reserve_bytes = Some(bytes);
    }

    pub(crate) fn heal(&self) {
        self.fail(Fault::None);
    }

    /// How many calls changed or synced something so far.
    pub(crate) fn calls(&self) -> usize {
        self.world().calls
    }

    /// The length of the longest write that is not synced.
    pub(crate) fn unsynced_bytes(&self) -> usize {
        let world = self.world();
        let changes = world.files.iter().flat_map(|file| &file.unsynced);
        changes
            .map(|change| {
                if let Change::Write(_, bytes) = change {
                    bytes.len()
                } else {
                    0
                }
            })
            .max()
            .unwrap_or(0)
    }

    /// The disk as the next start finds it after a power cut now.
    pub(crate) fn after_power_cut(&self, tear: Tear) -> Self {
        let world = self.world();
        let mut coin = Coin(if let Tear::Sectors(seed) = tear {
            seed
        } else {
            0
        });
        let keeps = |coin: &mut Coin| match tear {
            Tear::Nothing => false,
            Tear::Everything | Tear::LastWriteTo(_) => true,
            Tear::Sectors(_) => coin.throw(),
        };
        let mut after = World::default();
        for file in &world.files {
            let mut image = file.durable.clone();
            for (index, change) in file.unsynced.iter().enumerate() {
                match change {
                    Change::Cut(len) if keeps(&mut coin) => image.resize(*len, 0),
                    Change::Cut(_) => {}
                    Change::Write(at, bytes) => {
                        let whole = match tear {
                            Tear::LastWriteTo(len) if index + 1 == file.unsynced.len() => {
                                len.min(bytes.len())
                            }
                            _ => bytes.len(),
                        };
                        if keeps(&mut coin) {
                            // The length may arrive without the bytes, which are NUL then.
                            image.resize(image.len().max(at + whole), 0);
                        }
                        let mut from = 0;
                        while from < whole {
                            let to = whole.min((at + from + 1).next_multiple_of(SECTOR_BYTES) - at);
                            if keeps(&mut coin) {
                                put(&mut image, at + from, &bytes[from..to]);
                            }
                            from = to;
                        }
                    }
                }
            }
            after.files.push(File {
                live: image.clone(),
                durable: image,
                unsynced: Vec::new(),
            });
        }
        for (path, file) in world.names.iter().chain(&world.durable_names) {
            let is_settled = world.names.get(path) == world.durable_names.get(path);
            let is_new = world.names.get(path) == Some(file);
            if is_settled || keeps(&mut coin) == is_new {
                after.names.insert(path.clone(), *file);
            }
        }
        after.durable_names = after.names.clone();
        Self {
            world: Arc::new(Mutex::new(after)),
        }
    }

    /// Puts a file there, durable.
    pub(crate) fn place(&self, path: &Path, data: &[u8]) {
        let mut world = self.world();
        let file = world.files.len();
        world.files.push(File {
            live: data.to_vec(),
            durable: data.to_vec(),
            unsynced: Vec::new(),
        });
        world.names.insert(path.to_owned(), file);
        world.durable_names.insert(path.to_owned(), file);
    }
}

impl World {
    /// Counts a call; an error if this is the one that fails.
    fn call(&mut self, path: &Path) -> io::Result<()> {
        self.calls += 1;
        let fails = match &self.fault {
            Fault::None | Fault::EverySync | Fault::EveryFolderSync | Fault::Full(_) => false,
            Fault::Once(call) => self.calls == *call,
            Fault::OnceThenStop(once, stop) => self.calls == *once || self.calls >= *stop,
            Fault::From(call) | Fault::Stop(call) => self.calls >= *call,
            Fault::FolderFrom(call, folder) => self.calls >= *call && path.starts_with(folder),
        };
        if fails {
            Err(io::Error::other("the disk does not answer"))
        } else {
            Ok(())
        }
    }

    /// How many calls ago the program was stopped.
    fn stopped(&self) -> Option<usize> {
        match self.fault {
            Fault::Stop(call) | Fault::OnceThenStop(_, call) => self.calls.checked_sub(call),
            _ => None,
        }
    }

    fn find(&self, path: &Path) -> io::Result<usize> {
        self.names
            .get(path)
            .copied()
            .ok_or_else(|| io::ErrorKind::NotFound.into())
    }
}

fn put(image: &mut Vec<u8>, at: usize, bytes: &[u8]) {
    image.append(&mut vec![0; (at + bytes.len()).saturating_sub(image.len())]);
    image[at..at + bytes.len()].copy_from_slice(bytes);
}

struct Coin(u64);

impl Coin {
    fn throw(&mut self) -> bool {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        self.0 >> 63 == 1
    }
}

struct Handle {
    disk: LyingDisk,
    path: PathBuf,
    file: usize,
}

impl Disk for LyingDisk {
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        let mut world = self.world();
        world.call(path)?;
        if world.names.contains_key(path) {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        let file = world.files.len();
        world.files.push(File::default());
        world.names.insert(path.to_owned(), file);
        Ok(Box::new(Handle {
            disk: self.clone(),
            path: path.to_owned(),
            file,
        }))
    }

    fn open(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        let file = self.world().find(path)?;
        Ok(Box::new(Handle {
            disk: self.clone(),
            path: path.to_owned(),
            file,
        }))
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        let mut world = self.world();
        world.call(path)?;
        world.find(path)?;
        world.names.remove(path);
        Ok(())
    }

    fn sync_folder(&self, folder: &Path) -> io::Result<()> {
        let mut world = self.world();
        world.call(folder)?;
        if matches!(world.fault, Fault::EveryFolderSync) {
            return Err(io::Error::other("the disk cannot sync"));
        }
        let world = &mut *world;
        world
            .durable_names
            .retain(|path, _| path.parent() != Some(folder));
        let here = world
            .names
            .iter()
            .filter(|(path, _)| path.parent() == Some(folder));
        world
            .durable_names
            .extend(here.map(|(path, file)| (path.clone(), *file)));
        Ok(())
    }

    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        let world = self.world();
        Ok(world.files[world.find(path)?].live.clone())
    }

    fn names(&self, folder: &Path) -> io::Result<Vec<String>> {
        let world = self.world();
        let here = world
            .names
            .keys()
            .filter(|path| path.parent() == Some(folder));
        Ok(here
            .filter_map(|path| Some(path.file_name()?.to_str()?.to_owned()))
            .collect())
    }

    fn reserve_bytes(&self) -> u64 {
        self.world().reserve_bytes.unwrap_or(2048)
    }
}

impl DiskFile for Handle {
    fn write_at(&mut self, bytes: &[u8], offset_bytes: u64) -> io::Result<()> {
        let mut world = self.disk.world();
        let mut result = world.call(&self.path);
        let needed: usize = world
            .names
            .values()
            .map(|file| world.files[*file].live.len())
            .sum::<usize>()
            + bytes.len();
        if matches!(world.fault, Fault::Full(room) if needed > room) {
            result = Err(io::ErrorKind::StorageFull.into());
        }
        // A write that fails got half-way.
        let written = match (&result, world.stopped()) {
            (Ok(()), _) | (_, Some(0)) => bytes,
            (Err(_), None) => &bytes[..bytes.len() / 2],
            (Err(_), Some(_)) => return result,
        };
        let file = &mut world.files[self.file];
        put(&mut file.live, offset_bytes as usize, written);
        file.unsynced
            .push(Change::Write(offset_bytes as usize, written.to_vec()));
        result
    }

    fn sync_data(&mut self) -> io::Result<()> {
        let mut world = self.disk.world();
        let mut result = world.call(&self.path);
        if matches!(world.fault, Fault::EverySync) {
            result = Err(io::Error::other("the disk cannot sync"));
        }
        let is_stopped = world.stopped().is_some();
        let file = &mut world.files[self.file];
        if result.is_ok() {
            // What an earlier failed sync forgot stays forgotten, though programs see it.
            for change in std::mem::take(&mut file.unsynced) {
                match change {
                    Change::Write(at, bytes) => put(&mut file.durable, at, &bytes),
                    Change::Cut(len) => file.durable.resize(len, 0),
                }
            }
        } else if !is_stopped {
            file.unsynced.clear();
        }
        result
    }

    fn set_len(&mut self, len_bytes: u64) -> io::Result<()> {
        let mut world = self.disk.world();
        world.call(&self.path)?;
        let file = &mut world.files[self.file];
        file.live.resize(len_bytes as usize, 0);
        file.unsynced.push(Change::Cut(len_bytes as usize));
        Ok(())
    }
}
