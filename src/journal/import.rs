//! Takes the records of other tablets over, and never overwrites one with another.
//!
//! A chain makes that simple: of two records of one incident, one is the beginning of the other, or they part at a number
//! that can be named. What went on is put behind what is known; what parts is kept beside, in a data folder of its own below
//! `conflicts`, where it can be shown and verified. Whatever is written is whole and synced before it has its name, so that
//! a run that was killed is completed by the next one, and a run without news writes nothing.
//!
//! Limits: an incident arrives as one file of its whole records; padding and stopped writes stay where they were. Which of
//! two chains is the true one nobody can tell from the chains.

use super::bundle::{Header, Standing};
use super::checked::Checked;
use super::disk::{Disk, RealDisk, put};
use super::listing::Listing;
use super::read::{Problem, Readback, Record, read_bytes};
use super::{chain, segment_name};
use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Where the records that part from others are kept, below the data folder.
pub const CONFLICTS: &str = "conflicts";
/// How much of a hash tells two of them apart.
const NAME_DIGITS: usize = 12;

/// What an incident looks like elsewhere.
#[derive(Debug)]
pub struct Offered {
    /// Its records.
    pub readback: Readback,
    /// Its files as they are, by name.
    pub files: Vec<(String, Vec<u8>)>,
}

/// What became of one incident.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Came {
    /// It was not here.
    New {
        /// How many records it has.
        records: usize,
    },
    /// It went on, or something was added to it.
    Grown {
        /// The last record known so far.
        after: u64,
        /// The last one now.
        to: u64,
    },
    /// All of it was here.
    Known,
    /// No record of it was whole yet.
    Empty,
    /// It parts from what is here; nothing here was changed.
    Parts {
        /// The first record that is another one.
        at: u64,
        /// The data folder in which the other is kept.
        beside: PathBuf,
    },
    /// What is here was altered, so nothing is put behind it.
    HereAltered {
        /// What is wrong with it first.
        what: Problem,
        /// The data folder in which the other is kept.
        beside: PathBuf,
    },
    /// It was altered and is left where it is.
    Refused {
        /// What is wrong with it first.
        what: Problem,
    },
    /// It was altered and was taken over as it is.
    Altered {
        /// What is wrong with it first.
        what: Problem,
        /// The data folder in which it is kept, where another record of the incident is here.
        beside: Option<PathBuf>,
    },
}

/// Where records are taken over into.
#[derive(Debug)]
pub struct Import {
    data: PathBuf,
    /// The first is written into; the incident may be in any.
    folders: Vec<PathBuf>,
    here: Listing,
    /// What was taken over in this run and is not in the listing.
    fresh: BTreeSet<String>,
    /// Folders in which names are not durable yet.
    unsynced: BTreeSet<PathBuf>,
    even_altered: bool,
}

impl Offered {
    /// What files that were found before have.
    ///
    /// # Errors
    ///
    /// Where a file cannot be read: then nothing of the incident is taken over.
    pub fn from_files(listing: &Listing, incident: &str) -> io::Result<Offered> {
        let (readback, loaded) = listing.read_with_files(&RealDisk, incident)?;
        let files = loaded.into_iter().map(|it| {
            let name = it.name().to_owned();
            Ok((name, it.data?))
        });
        let files = files.collect::<io::Result<_>>()?;
        Ok(Offered { readback, files })
    }

    /// What a bundle has, in the full form. What is wrong with the bundle is wrong with what it has.
    pub fn from_bundle(header: &Header, checked: &Checked, file: &str) -> Offered {
        let name = segment_name(&header.incident, 1);
        let lines = checked.lines.iter();
        let bytes = lines.flat_map(|it| [it.as_bytes(), b"\n"]);
        let bytes = bytes.collect::<Vec<_>>().concat();
        let mut readback = read_bytes(&header.incident, &name, bytes.clone());
        let faults = checked.faults.iter().map(|it| Problem {
            file: file.to_owned(),
            seq: it.seq.unwrap_or(0),
            what: format!("{} (line {})", it.what, it.line),
        });
        let mut problems: Vec<Problem> = faults.collect();
        if problems.is_empty() && header.standing == Standing::Altered {
            problems.push(Problem {
                file: file.to_owned(),
                seq: 0,
                what: "It was altered when it was signed, and says so.".to_owned(),
            });
        }
        problems.append(&mut readback.problems);
        readback.problems = problems;
        Offered {
            readback,
            files: vec![(name, bytes)],
        }
    }
}

impl Import {
    /// Takes over into a data folder, whose lock whoever calls holds; `folders` are those of its journals.
    pub fn into(data: &Path, folders: &[PathBuf], even_altered: bool) -> Import {
        Import {
            data: data.to_owned(),
            folders: folders.to_vec(),
            here: Listing::of(&RealDisk, folders),
            fresh: BTreeSet::new(),
            unsynced: BTreeSet::new(),
            even_altered,
        }
    }

    /// Takes an incident over from files that were found before. One whose only file is here byte for byte is not read
    /// further: whatever it is, it is known.
    ///
    /// # Errors
    ///
    /// Where something cannot be read or written.
    pub fn take_from(&mut self, listing: &Listing, incident: &str) -> io::Result<Came> {
        self.see_anew(incident);
        let mut there = listing.files(incident);
        let mut here = self.here.files(incident);
        if let (Some(one), None, Some(other), None) =
            (there.next(), there.next(), here.next(), here.next())
            && one.file_name() == other.file_name()
            && is_same(one, other)?
        {
            return Ok(Came::Known);
        }
        drop((there, here));
        self.take(&Offered::from_files(listing, incident)?)
    }

    /// Takes an incident over.
    ///
    /// # Errors
    ///
    /// Where something cannot be read or written.
    pub fn take(&mut self, offered: &Offered) -> io::Result<Came> {
        let incident = &offered.readback.incident;
        self.see_anew(incident);
        match offered.readback.problems.first() {
            Some(what) if self.even_altered => self.take_altered(offered, what),
            Some(what) => Ok(Came::Refused { what: what.clone() }),
            None => self.take_whole(offered),
        }
    }

    /// Makes the names of everything that was taken over durable.
    ///
    /// # Errors
    ///
    /// Where a folder cannot be synced.
    pub fn finish(&mut self) -> io::Result<()> {
        for folder in std::mem::take(&mut self.unsynced) {
            RealDisk.sync_folder(&folder)?;
        }
        Ok(())
    }

    /// Two sources may have the same incident: the second sees what the first brought.
    fn see_anew(&mut self, incident: &str) {
        if self.fresh.remove(incident) {
            self.here = Listing::of(&RealDisk, &self.folders);
            self.fresh.clear();
        }
    }

    fn take_whole(&mut self, offered: &Offered) -> io::Result<Came> {
        let (incident, theirs) = (&offered.readback.incident, &offered.readback.records);
        let (Some(first), Some(last)) = (theirs.first(), theirs.last()) else {
            return Ok(Came::Empty);
        };
        let here = match self.here.read(&RealDisk, incident) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                self.write(&segment_name(incident, 1), &joined(theirs))?;
                return Ok(Came::New {
                    records: theirs.len(),
                });
            }
            here => here?,
        };
        if let Some(what) = here.problems.first() {
            return Ok(Came::HereAltered {
                what: what.clone(),
                beside: self.beside(incident, &first.sha, offered)?,
            });
        }
        let ours = &here.records;
        let pairs = ours.iter().zip(theirs);
        let same = pairs.take_while(|(one, other)| one.sha == other.sha);
        let same = same.count();
        if let (Some(other), true) = (theirs.get(same), same < ours.len()) {
            return Ok(Came::Parts {
                at: other.seq,
                beside: self.beside(incident, &other.sha, offered)?,
            });
        }
        if same == theirs.len() {
            return Ok(Came::Known);
        }
        self.put_behind(&here, theirs)?;
        Ok(Came::Grown {
            after: ours.last().map_or(0, |it| it.seq),
            to: last.seq,
        })
    }

    /// Puts the longer chain where the shorter one is: into its file where that holds just these records, else into one of
    /// its own behind all that are there, which stay as they are.
    fn put_behind(&mut self, here: &Readback, theirs: &[Record]) -> io::Result<()> {
        let bytes = joined(theirs);
        if let [only] = &*here.segments
            && fs::read(&only.path)? == joined(&here.records)
        {
            let folder = only.path.parent().unwrap_or(Path::new(".")).to_owned();
            put(&only.path, &bytes)?;
            self.unsynced.insert(folder);
            self.fresh.insert(here.incident.clone());
            return Ok(());
        }
        let last = here.segments.iter().map(|it| it.number).max().unwrap_or(0);
        self.write(
            &segment_name(&here.incident, last.saturating_add(1)),
            &bytes,
        )
    }

    /// Takes files over as they are.
    fn take_altered(&mut self, offered: &Offered, what: &Problem) -> io::Result<Came> {
        let incident = &offered.readback.incident;
        let here = match self.here.files(incident).next() {
            Some(_) => Some(Offered::from_files(&self.here, incident)?),
            None => None,
        };
        let altered = |beside| Came::Altered {
            what: what.clone(),
            beside,
        };
        let missing = |here: Option<&Offered>| -> Vec<(String, Vec<u8>)> {
            let known = here.map_or(&[][..], |it| &*it.files);
            let missing = offered.files.iter().filter(|it| !known.contains(it));
            missing.cloned().collect()
        };
        let missing = missing(here.as_ref());
        // What is here of it may be what a run brought that was killed; a whole record is never made an altered one.
        let is_part = here.as_ref().is_none_or(|here| {
            let is_theirs = |it| offered.files.contains(it);
            here.files.iter().all(is_theirs)
                && (missing.is_empty() || !here.readback.problems.is_empty())
        });
        if !is_part {
            let all = offered.files.iter().flat_map(|it| &it.1);
            let sha = chain::sha256_hex(&all.copied().collect::<Vec<u8>>());
            return Ok(altered(Some(self.beside(incident, &sha, offered)?)));
        }
        if missing.is_empty() {
            return Ok(Came::Known);
        }
        // The last first: without those before it, nobody takes it for a whole record.
        for (name, bytes) in missing.iter().rev() {
            self.write(name, bytes)?;
        }
        Ok(altered(None))
    }

    /// Keeps what is offered in a data folder of its own, so that the other chain can go on there too.
    fn beside(&mut self, incident: &str, sha: &str, offered: &Offered) -> io::Result<PathBuf> {
        let digits = sha.get(..NAME_DIGITS).unwrap_or(sha);
        let data = self
            .data
            .join(CONFLICTS)
            .join(format!("{incident}-{digits}"));
        let mut import = Import::into(&data, &[data.join("journals")], self.even_altered);
        import.take(offered)?;
        import.finish()?;
        Ok(data)
    }

    fn write(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let folder = self.folders.first().cloned().unwrap_or_default();
        if !folder.is_dir() {
            fs::create_dir_all(&folder)?;
            let above = folder.ancestors().skip(1).take(3);
            let above = above.filter(|it| !it.as_os_str().is_empty() && it.is_dir());
            self.unsynced.extend(above.map(Path::to_owned));
        }
        put(&folder.join(name), bytes)?;
        self.unsynced.insert(folder);
        if let Some((incident, _)) = super::parse_segment_name(name) {
            self.fresh.insert(incident.to_owned());
        }
        Ok(())
    }
}

/// Whether two files have the same bytes.
fn is_same(one: &Path, other: &Path) -> io::Result<bool> {
    let same_length = fs::metadata(one)?.len() == fs::metadata(other)?.len();
    Ok(same_length && fs::read(one)? == fs::read(other)?)
}

/// Records as a file that was closed has them.
fn joined(records: &[Record]) -> Vec<u8> {
    let lines = records.iter().flat_map(|it| [it.text.as_bytes(), b"\n"]);
    lines.collect::<Vec<_>>().concat()
}
