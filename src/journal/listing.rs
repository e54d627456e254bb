//! Finds the files of incidents in folders, once for however many of them are to be read.
//!
//! A folder of ten thousand incidents takes milliseconds to list, and whoever reads all of them must not do that ten
//! thousand times. A folder that cannot be looked into is passed over and named with each incident that is read.
//!
//! Limits: what comes into a folder afterwards is not seen.

use super::disk::Disk;
use super::parse_segment_name;
use super::read::{Loaded, Readback, read_loaded};
use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

/// What is in some folders.
#[derive(Debug, Default)]
pub struct Listing {
    all: BTreeMap<String, Found>,
    /// Folders that could not be looked into.
    faults: Vec<(PathBuf, io::Error)>,
}

/// The files of one incident.
#[derive(Debug, Default)]
struct Found {
    segments: Vec<(u32, PathBuf)>,
    set_aside: Vec<String>,
}

impl Listing {
    /// Looks into these folders; a missing one is empty.
    pub fn of(disk: &dyn Disk, folders: &[PathBuf]) -> Listing {
        let mut listing = Listing::default();
        for folder in folders {
            match disk.names(folder) {
                Ok(names) => names.iter().for_each(|it| listing.add(folder, it)),
                Err(error) => listing.faults.push((folder.clone(), error)),
            }
        }
        for found in listing.all.values_mut() {
            // Files of one number stay in the order of their folders.
            found.segments.sort_by_key(|it| it.0);
            found.set_aside.sort();
        }
        listing
    }

    fn add(&mut self, folder: &Path, name: &str) {
        let (segment, torn) = name
            .split_once(".torn-")
            .map_or((name, false), |(stem, _)| (stem, true));
        let Some((incident, number)) = parse_segment_name(segment) else {
            return;
        };
        let found = match self.all.get_mut(incident) {
            Some(found) => found,
            None => self.all.entry(incident.to_owned()).or_default(),
        };
        match torn {
            true => found.set_aside.push(name.to_owned()),
            false => found.segments.push((number, folder.join(name))),
        }
    }

    /// The names of all incidents, oldest first because names begin with the time.
    ///
    /// # Errors
    ///
    /// Where there is none and a folder could not be looked into.
    pub fn incidents(&self) -> io::Result<Vec<&str>> {
        let with_files = self.all.iter().filter(|it| !it.1.segments.is_empty());
        let names: Vec<&str> = with_files.map(|it| it.0.as_str()).collect();
        match self.faults.first() {
            Some((_, error)) if names.is_empty() => Err(again(error)),
            _ => Ok(names),
        }
    }

    /// The files of an incident, in the order of their numbers; none where it is not here.
    pub fn files(&self, incident: &str) -> impl Iterator<Item = &Path> {
        let found = self.all.get(incident).into_iter();
        found.flat_map(|it| &it.segments).map(|it| it.1.as_path())
    }

    /// Reads one incident from all its files. Fails only if there is none; anything else is among the problems.
    pub fn read(&self, disk: &dyn Disk, incident: &str) -> io::Result<Readback> {
        self.read_with_files(disk, incident).map(|it| it.0)
    }

    /// The same, with the files that it was read from.
    pub(super) fn read_with_files(
        &self,
        disk: &dyn Disk,
        incident: &str,
    ) -> io::Result<(Readback, Vec<Loaded>)> {
        let found = self.all.get(incident);
        let Some(found) = found.filter(|it| !it.segments.is_empty()) else {
            return Err(self.faults.first().map_or_else(
                || {
                    let why = format!("there is no incident {incident}");
                    io::Error::new(io::ErrorKind::NotFound, why)
                },
                |(_, error)| again(error),
            ));
        };
        let load = |(number, path): &(u32, PathBuf)| Loaded {
            number: *number,
            path: path.clone(),
            data: disk.read(path),
        };
        let files: Vec<Loaded> = found.segments.iter().map(load).collect();
        let readback = read_loaded(incident, &files, found.set_aside.clone(), &self.faults);
        Ok((readback, files))
    }
}

/// The same error once more.
fn again(error: &io::Error) -> io::Error {
    io::Error::new(error.kind(), error.to_string())
}
