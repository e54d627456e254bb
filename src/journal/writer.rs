//! Puts the records of one incident on a disk, and says "saved" only of what is durable.
//!
//! Room is reserved before a disk can fill: a file begins as newlines, and records overwrite them from the front. After
//! a failed write or sync nobody knows what the disk holds (the kernel may call a page clean that never arrived), so
//! that file is left and a new segment begins with every record not yet acknowledged, the same bytes again. What is not
//! acknowledged stays in memory and is tried again with each call; nothing is dropped.
//!
//! Limits: synchronous, no thread and no clock, so that a simulator can run it. A file left after a failure keeps its
//! padding. Of files that never acknowledged anything only the latest is kept, or a broken disk would be filled.

use super::chain::{Chain, FIRST_PREV};
use super::disk::{Disk, DiskFile};
use super::read::{self, Readback, Torn};
use super::{is_incident_id, segment_name};
use crate::signal::Entry;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What a file reserves when the usual step does not fit any more; the usual step is a multiple of it.
pub(super) const SMALL_RESERVE_BYTES: u64 = 64 * 1024;

/// Writes one incident.
pub struct Writer {
    disk: Arc<dyn Disk>,
    folders: Vec<PathBuf>,
    incident: String,
    chain: Chain,
    /// Sealed and not acknowledged. Grows with the incident's records at most, and empties with each success.
    pending: Vec<Line>,
    saved: Option<Saved>,
    segment: Option<OpenSegment>,
    /// The highest segment number in use.
    number: u32,
    /// The latest file that has acknowledged nothing.
    unproven: Option<PathBuf>,
    /// Lines acknowledged and not yet taken by whoever keeps a copy.
    copies: Vec<String>,
}

/// The last record that is durable: it and everything before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saved {
    /// Its sequence number.
    pub seq: u64,
    /// Its hash.
    pub head: String,
}

/// Why records are not durable yet: plain sentences, the same as long as the reason is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failing(pub String);

/// All records handed over are durable, up to the one named (`None` before the first); or some are not.
pub type Outcome = Result<Option<Saved>, Failing>;

struct Line {
    saved: Saved,
    text: String,
}

impl Writer {
    /// A writer for a new incident. Nothing is on the disk before the first [`append`](Self::append) or
    /// [`retry`](Self::retry), because activation waits for no disk.
    pub fn create(disk: Arc<dyn Disk>, folders: Vec<PathBuf>, incident: &str) -> io::Result<Self> {
        if !is_incident_id(incident) {
            return Err(io::Error::new(
                io::ErrorKind::InvalidInput,
                format!("{incident:?} cannot name an incident"),
            ));
        }
        Ok(Self {
            disk,
            folders,
            incident: incident.to_owned(),
            chain: Chain::after(FIRST_PREV),
            pending: Vec::new(),
            saved: None,
            segment: None,
            number: 0,
            unproven: None,
            copies: Vec::new(),
        })
    }

    /// A writer that continues an incident after the last whole record on the disk, and what was found there.
    ///
    /// What the files show may be in memory only: the program may have been stopped between a failed sync and the new
    /// segment. So every record counts as unacknowledged, and the first call writes them all again. That happens in
    /// place where the last file holds just these bytes already, because a program that is started over and over must
    /// not fill the disk; a torn tail is moved into a file beside first. Otherwise (several segments, a damaged record)
    /// a new segment is begun and all files are left as they are.
    pub fn resume(
        disk: Arc<dyn Disk>,
        folders: Vec<PathBuf>,
        incident: &str,
    ) -> io::Result<(Self, Readback)> {
        let found = read::read(&*disk, &folders, incident)?;
        let mut writer = Self::create(disk, folders, incident)?;
        writer.chain = Chain::after(&found.head);
        writer.number = found.segments.last().map_or(0, |segment| segment.number);
        let lines = found.records.iter().map(|record| Line {
            saved: Saved {
                seq: record.seq,
                head: record.sha.clone(),
            },
            text: record.text.clone(),
        });
        writer.pending = lines.collect();
        writer.segment = found.segments.last().and_then(|last| writer.reopen(last));
        Ok((writer, found))
    }

    /// Seals these entries and makes everything not yet durable so, with one sync if the disk is well.
    pub fn append(&mut self, entries: &[Entry]) -> Outcome {
        for entry in entries {
            let text = self.chain.seal(entry);
            self.pending.push(Line {
                saved: Saved {
                    seq: entry.seq,
                    head: self.chain.head().to_owned(),
                },
                text,
            });
        }
        self.retry()
    }

    /// Makes everything not yet durable so; makes the file if there is none.
    pub fn retry(&mut self) -> Outcome {
        if let Some(mut segment) = self.segment.take()
            && (self.pending.is_empty() || segment.save(&self.pending).is_ok())
        {
            self.segment = Some(segment);
            return Ok(self.acknowledge());
        }
        let mut reasons = Vec::new();
        for folder in self.folders.clone() {
            let usual = self.begin_segment(&folder, self.disk.reserve_bytes());
            match usual.or_else(|_| self.begin_segment(&folder, SMALL_RESERVE_BYTES)) {
                Ok(()) => return Ok(self.acknowledge()),
                Err(error) => reasons.push(format!(
                    "The log cannot be saved in {}: {error}.",
                    folder.display()
                )),
            }
        }
        Err(Failing(reasons.join(" ")))
    }

    /// Saves what is left and cuts the padding off the file. The next call tries again if this one failed.
    pub fn close(&mut self) -> Outcome {
        let saved = self.retry()?;
        if let Some(segment) = &mut self.segment {
            segment.cut(&*self.disk).map_err(|error| {
                Failing(format!("The log is saved but cannot be closed: {error}."))
            })?;
        }
        Ok(saved)
    }

    fn acknowledge(&mut self) -> Option<Saved> {
        if let Some(last) = self.pending.last() {
            self.unproven = None;
            self.saved = Some(last.saved.clone());
        }
        self.copies
            .extend(self.pending.drain(..).map(|line| line.text));
        self.saved.clone()
    }

    /// The lines that became durable since this was called last. Whoever keeps no copy may leave them.
    pub fn take_copies(&mut self) -> Vec<String> {
        std::mem::take(&mut self.copies)
    }

    /// Begins a file with all that is pending. One that fails at its last sync stays, unproven: if the program is
    /// killed now, it may hold what nothing else does.
    fn begin_segment(&mut self, folder: &Path, reserve_bytes: u64) -> io::Result<()> {
        let (number, path, file) = self.create_file(folder)?;
        let mut segment = OpenSegment {
            file,
            path,
            end_bytes: 0,
            reserved_bytes: 0,
            reserve_bytes,
        };
        if let Err(error) = segment.write(&self.pending) {
            // A file that cannot be removed either stays as padding, which readers skip.
            let _ = self.disk.remove(&segment.path);
            return Err(error);
        }
        self.number = number;
        if let Some(older) = self.unproven.replace(segment.path.clone()) {
            let _ = self.disk.remove(&older);
        }
        segment.file.sync_data()?;
        self.disk.sync_folder(folder)?;
        self.segment = Some(segment);
        Ok(())
    }

    fn create_file(&self, folder: &Path) -> io::Result<(u32, PathBuf, Box<dyn DiskFile>)> {
        let mut number = self.number;
        loop {
            number += 1;
            let path = folder.join(segment_name(&self.incident, number));
            match self.disk.create(&path) {
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(error),
                Ok(file) => return Ok((number, path, file)),
            }
        }
    }

    /// The last file, ready to be overwritten with the bytes that it holds; `None` where a new one is safer.
    fn reopen(&self, last: &read::Segment) -> Option<OpenSegment> {
        let data = self.disk.read(&last.path).ok()?;
        let records = if last.first_seq.is_some() {
            joined(&self.pending)
        } else {
            Vec::new()
        };
        let rest = data.strip_prefix(records.as_slice())?;
        let mut file = self.disk.open(&last.path).ok()?;
        if rest.iter().any(|byte| *byte != b'\n') {
            self.set_aside(last.torn.as_ref()?, &last.path, &data)
                .ok()?;
        }
        // Padding that can be seen may be in memory only, where a sync failed before the program was stopped. A record that
        // a power cut stops in a file without padding would look like a closed file that was damaged, so it is written
        // again, over what was set aside too.
        let from = u64::try_from(records.len()).ok()?;
        file.write_at(&vec![b'\n'; rest.len()], from).ok()?;
        // If it was made just before the program was stopped, its name may not be durable either.
        file.sync_data().ok()?;
        self.disk.sync_folder(last.path.parent()?).ok()?;
        Some(OpenSegment {
            file,
            path: last.path.clone(),
            end_bytes: 0,
            reserved_bytes: data.len() as u64,
            reserve_bytes: self.disk.reserve_bytes(),
        })
    }

    /// Copies a torn tail into a file of its own beside the segment.
    fn set_aside(&self, torn: &Torn, segment: &Path, data: &[u8]) -> io::Result<()> {
        let from = usize::try_from(torn.offset_bytes).map_err(io::Error::other)?;
        let len = usize::try_from(torn.len_bytes).map_err(io::Error::other)?;
        let mut number = 1;
        let mut copy = loop {
            match self.disk.create(&PathBuf::from(format!(
                "{}.torn-{number}",
                segment.display()
            ))) {
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => number += 1,
                other => break other?,
            }
        };
        copy.write_at(&data[from..from + len], 0)?;
        copy.sync_data()?;
        segment
            .parent()
            .map_or(Ok(()), |folder| self.disk.sync_folder(folder))
    }
}

/// The file that is written now.
struct OpenSegment {
    file: Box<dyn DiskFile>,
    path: PathBuf,
    /// Where the next record goes.
    end_bytes: u64,
    /// How far the file is padded.
    reserved_bytes: u64,
    /// The step in which it grows.
    reserve_bytes: u64,
}

impl OpenSegment {
    fn save(&mut self, lines: &[Line]) -> io::Result<()> {
        self.write(lines)?;
        self.file.sync_data()
    }

    /// Writes lines over the padding, after making more of it where that is short. One newline always stays behind
    /// them: an open file ends with padding, and by that is known from a closed one.
    fn write(&mut self, lines: &[Line]) -> io::Result<()> {
        let bytes = joined(lines);
        let end_bytes = self.end_bytes + bytes.len() as u64;
        if end_bytes >= self.reserved_bytes {
            self.pad_to((end_bytes + 1).next_multiple_of(self.reserve_bytes))?;
        }
        self.file.write_at(&bytes, self.end_bytes)?;
        self.end_bytes = end_bytes;
        Ok(())
    }

    /// Padding is durable before a record stands in it, so that what a stopped write leaves is known by its newlines.
    fn pad_to(&mut self, len_bytes: u64) -> io::Result<()> {
        let missing_bytes =
            usize::try_from(len_bytes - self.reserved_bytes).map_err(io::Error::other)?;
        self.file
            .write_at(&vec![b'\n'; missing_bytes], self.reserved_bytes)?;
        self.file.sync_data()?;
        self.reserved_bytes = len_bytes;
        Ok(())
    }

    /// Cuts through a descriptor of its own, so that a failure here touches nothing that is saved.
    fn cut(&mut self, disk: &dyn Disk) -> io::Result<()> {
        let mut file = disk.open(&self.path)?;
        file.set_len(self.end_bytes)?;
        self.reserved_bytes = self.end_bytes;
        file.sync_data()
    }
}

fn joined(lines: &[Line]) -> Vec<u8> {
    lines
        .iter()
        .flat_map(|line| [line.text.as_bytes(), b"\n"])
        .collect::<Vec<_>>()
        .concat()
}
