//! Reads incidents back from their files, and names everything that is not as it was written.
//!
//! A damaged record must not hide the whole ones after it, and a write that a power cut stopped must not look like an
//! alteration. So every line is judged by itself first, then segments are merged by sequence number, then the chain is
//! walked. What stands at the end of a file that was never closed and can only be a stopped write (no end, or holes of
//! padding or NUL where sectors did not arrive) is a torn tail: a note, never a record. In a closed file nothing is.
//!
//! Limits: whoever cuts records off the end, or blanks the end of an unfinished file from some record on, makes a file
//! that a power cut could have made. The head hash kept elsewhere shows both.

use super::chain::{self, Broken, FIRST_PREV, Sealed};
use super::disk::Disk;
use super::listing::Listing;
use super::parse_segment_name;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::PathBuf;
use std::{fmt, io};

/// One incident as its files tell it.
#[derive(Debug, Clone)]
pub struct Readback {
    /// The incident's name.
    pub incident: String,
    /// Every whole record, once, by sequence number.
    pub records: Vec<Record>,
    /// The hash of the last record, [`FIRST_PREV`] if there is none.
    pub head: String,
    /// Whether the file with the last record was cut to its length, as happens at stand-down.
    pub closed: bool,
    /// The files, oldest first.
    pub segments: Vec<Segment>,
    /// The names of the files that hold torn tails found when the incident was taken up again.
    pub set_aside: Vec<String>,
    /// Everything that is wrong. Empty means that what stands here is what was written.
    pub problems: Vec<Problem>,
    /// The numbers of the records that are missing or damaged in the files and came from a copy (`fill`).
    pub filled: Vec<u64>,
}

/// One file of an incident.
#[derive(Debug, Clone)]
pub struct Segment {
    /// Where it is.
    pub path: PathBuf,
    /// Its number in the incident, from 1.
    pub number: u32,
    /// The first whole record in it.
    pub first_seq: Option<u64>,
    /// A write that was stopped, at its end.
    pub torn: Option<Torn>,
}

/// One record where it was found first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Its number in the incident.
    pub seq: u64,
    /// Its kind, known or not.
    pub kind: String,
    /// The hash of the record before it.
    pub prev: String,
    /// Its own hash.
    pub sha: String,
    /// The whole line, hashes included.
    pub text: String,
    /// The name of its file.
    pub file: String,
    /// Where the line begins in the file.
    pub offset_bytes: u64,
    /// The line's number in the file, from 1.
    pub line: u64,
}

/// Bytes of a write that was stopped before its end. They were never acknowledged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Torn {
    /// The name of the file.
    pub file: String,
    /// The last whole record before them.
    pub after_seq: Option<u64>,
    /// Where they begin.
    pub offset_bytes: u64,
    /// How many there are, holes included.
    pub len_bytes: u64,
    /// How many whole records are among them, behind a hole.
    pub whole_records: usize,
}

/// Something that is not as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The name of the file.
    pub file: String,
    /// The record concerned, or the one before it; 0 if there is none.
    pub seq: u64,
    /// One plain sentence.
    pub what: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, record {}: {}", self.file, self.seq, self.what)
    }
}

impl fmt::Display for Torn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: a stopped write left {} bytes ",
            self.file, self.len_bytes
        )?;
        match self.after_seq {
            Some(seq) => write!(f, "after record {seq}, ")?,
            None => write!(f, "before any record, ")?,
        }
        if self.whole_records > 0 {
            write!(
                f,
                "{} whole records behind a hole among them, ",
                self.whole_records
            )?;
        }
        write!(f, "which count as not saved")
    }
}

impl Readback {
    /// The notes: writes that were stopped. They are no alteration.
    pub fn torn(&self) -> impl Iterator<Item = &Torn> {
        self.segments
            .iter()
            .filter_map(|segment| segment.torn.as_ref())
    }
}

/// The incident to which a file of this name belongs, if it is one of records.
pub fn owner(name: &str) -> Option<&str> {
    parse_segment_name(name).map(|(incident, _)| incident)
}

/// The names of all incidents in these folders, oldest first because names begin with the time.
///
/// A folder that cannot be read is passed over as long as another one can be.
pub fn list(disk: &dyn Disk, folders: &[PathBuf]) -> io::Result<Vec<String>> {
    let listing = Listing::of(disk, folders);
    let names = listing.incidents()?;
    Ok(names.into_iter().map(str::to_owned).collect())
}

/// Reads one incident from all its files. Fails only if there is none; anything else is among the problems.
pub fn read(disk: &dyn Disk, folders: &[PathBuf], incident: &str) -> io::Result<Readback> {
    Listing::of(disk, folders).read(disk, incident)
}

/// Reads one incident from what could have been its only file.
pub fn read_bytes(incident: &str, file: &str, bytes: Vec<u8>) -> Readback {
    let loaded = Loaded {
        number: 1,
        path: PathBuf::from(file),
        data: Ok(bytes),
    };
    read_loaded(incident, &[loaded], Vec::new(), &[])
}

/// One file of an incident with what is in it.
#[derive(Debug)]
pub(super) struct Loaded {
    pub(super) number: u32,
    pub(super) path: PathBuf,
    pub(super) data: io::Result<Vec<u8>>,
}

impl Loaded {
    /// The name of the file.
    pub(super) fn name(&self) -> &str {
        let name = self.path.file_name().and_then(|it| it.to_str());
        name.unwrap_or_default()
    }
}

/// Reads one incident from these files, sorted by their numbers, and names the folders that could not be looked into.
pub(super) fn read_loaded(
    incident: &str,
    found: &[Loaded],
    set_aside: Vec<String>,
    faults: &[(PathBuf, io::Error)],
) -> Readback {
    let mut readback = Readback {
        incident: incident.to_owned(),
        records: Vec::new(),
        head: FIRST_PREV.to_owned(),
        closed: false,
        segments: Vec::new(),
        set_aside,
        problems: Vec::new(),
        filled: Vec::new(),
    };
    let unreadable = |file: String, error: &io::Error| Problem {
        file,
        seq: 0,
        what: format!("This cannot be read: {error}."),
    };
    readback.problems.extend(
        faults
            .iter()
            .map(|(folder, error)| unreadable(folder.display().to_string(), error)),
    );

    let mut merged: BTreeMap<u64, Record> = BTreeMap::new();
    // The last records of the files that were cut. Files that a failing disk would not remove may have higher numbers.
    let mut cut: Vec<u64> = Vec::new();
    for file in found {
        let data = file.data.as_deref().unwrap_or_else(|error| {
            let name = file.name().to_owned();
            readback.problems.push(unreadable(name, error));
            &[]
        });
        let scan = Scan::of(file.name(), data);
        let last = scan.records.last().map(|record| record.seq);
        cut.extend(last.filter(|_| scan.closed));
        readback.problems.extend(scan.problems);
        readback.segments.push(Segment {
            path: file.path.clone(),
            number: file.number,
            first_seq: scan.records.first().map(|record| record.seq),
            torn: scan.torn,
        });
        for record in scan.records {
            match merged.get(&record.seq) {
                None => drop(merged.insert(record.seq, record)),
                Some(other) if other.sha == record.sha => {}
                Some(other) => readback.problems.push(Problem {
                    seq: record.seq,
                    what: format!(
                        "It is not the same record as in {}, line {}.",
                        other.file, other.line
                    ),
                    file: record.file,
                }),
            }
        }
    }
    readback.records = merged.into_values().collect();
    if let Some(last) = readback.records.last() {
        readback.head.clone_from(&last.sha);
        readback.closed = cut.contains(&last.seq);
    }
    let broken_links = check_links(&readback.records, &readback.problems);
    readback.problems.extend(broken_links);
    readback
}

/// A power cut leaves whole sectors of a write; those of every disk are a multiple of this.
const SECTOR_BYTES: usize = 512;

/// Walks the merged records: numbers without gaps, each naming the hash of the one before it.
fn check_links(records: &[Record], known: &[Problem]) -> Vec<Problem> {
    let mut problems = Vec::new();
    let mut before: Option<&Record> = None;
    for record in records {
        let first_missing = before.map_or(0, |before| before.seq.saturating_add(1));
        let prev = before.map_or(FIRST_PREV, |before| &before.sha);
        let follows = before.is_none() || record.seq == first_missing;
        // A record already named as damaged is missing for that reason: saying so again would help nobody.
        let explained = known
            .iter()
            .any(|problem| (first_missing..record.seq).contains(&problem.seq));
        let what = match before {
            _ if record.prev == prev && follows => None,
            _ if explained => None,
            None => Some("The records before this one are missing.".to_owned()),
            Some(_) if !follows => Some(format!(
                "Missing before this: {}.",
                range(first_missing, record.seq - 1)
            )),
            Some(_) => Some(format!(
                "This record does not follow record {}: one of the two was replaced.",
                record.seq - 1
            )),
        };
        problems.extend(what.map(|what| Problem {
            file: record.file.clone(),
            seq: record.seq,
            what,
        }));
        before = Some(record);
    }
    problems
}

/// A run of records in words.
pub(super) fn range(first: u64, last: u64) -> String {
    if first >= last {
        format!("record {first}")
    } else {
        format!("records {first} to {last}")
    }
}

/// A run of bytes in a file: one whole record, or something else.
struct Piece {
    at: Range<usize>,
    line: u64,
    sealed: Result<Sealed, Broken>,
}

/// One file taken apart.
struct Scan {
    records: Vec<Record>,
    torn: Option<Torn>,
    closed: bool,
    problems: Vec<Problem>,
}

impl Scan {
    fn of(file: &str, data: &[u8]) -> Self {
        let pieces = pieces(data);
        // A closed file ends with its last record and one newline. Padding that a power cut stopped may end with one too,
        // behind a hole of NUL.
        let end = data.strip_suffix(b"\n").unwrap_or(data).last();
        let closed =
            pieces.iter().any(|piece| piece.sealed.is_ok()) && !matches!(end, Some(b'\n' | b'\0'));
        let torn_from = if closed {
            None
        } else {
            torn_from(data, &pieces)
        };
        let (kept, torn) = pieces.split_at(torn_from.unwrap_or(pieces.len()));

        let records: Vec<Record> = kept
            .iter()
            .filter_map(|piece| {
                let sealed = piece.sealed.clone().ok()?;
                Some(Record {
                    seq: sealed.seq,
                    kind: sealed.kind,
                    prev: sealed.prev,
                    sha: sealed.sha,
                    text: String::from_utf8_lossy(&data[piece.at.clone()]).into_owned(),
                    file: file.to_owned(),
                    offset_bytes: piece.at.start as u64,
                    line: piece.line,
                })
            })
            .collect();
        let torn = torn.first().zip(torn.last()).map(|(first, last)| Torn {
            file: file.to_owned(),
            after_seq: records.last().map(|record| record.seq),
            offset_bytes: first.at.start as u64,
            len_bytes: (last.at.end - first.at.start) as u64,
            whole_records: torn.iter().filter(|piece| piece.sealed.is_ok()).count(),
        });
        Self {
            records,
            torn,
            closed,
            problems: problems(file, data, kept),
        }
    }
}

/// Takes a file apart into lines, and a line that is no record into what is left of records whose newline is gone.
fn pieces(data: &[u8]) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut start = 0;
    let mut line = 1;
    while let Some(skipped) = data[start..].iter().position(|byte| *byte != b'\n') {
        start += skipped;
        line += skipped as u64;
        let end = data[start..]
            .iter()
            .position(|byte| *byte == b'\n')
            .map_or(data.len(), |len| start + len);
        let whole = chain::inspect(&data[start..end]);
        if whole.is_ok() {
            pieces.push(Piece {
                at: start..end,
                line,
                sealed: whole,
            });
        } else {
            salvage(data, start..end, line, &mut pieces);
        }
        start = end;
    }
    pieces
}

fn salvage(data: &[u8], mut rest: Range<usize>, line: u64, pieces: &mut Vec<Piece>) {
    while !rest.is_empty() {
        let end =
            chain::first_seal_end(&data[rest.clone()]).map_or(rest.end, |len| rest.start + len);
        let open = data[rest.start..end]
            .iter()
            .position(|byte| *byte == b'{')
            .map_or(rest.start, |skip| rest.start + skip);
        let sealed = chain::inspect(&data[open..end]);
        // Where the rest is whole, what stands before its brace is all that is stray.
        let begin = if sealed.is_ok() { open } else { rest.start };
        if begin > rest.start {
            pieces.push(Piece {
                at: rest.start..begin,
                line,
                sealed: Err(Broken::NoSeal),
            });
        }
        pieces.push(Piece {
            at: begin..end,
            line,
            sealed,
        });
        rest.start = end;
    }
}

/// The first piece of the torn tail of a file that was not closed, if there is one.
fn torn_from(data: &[u8], pieces: &[Piece]) -> Option<usize> {
    let mut index = 0;
    // Where the next record would have been written, and what it would follow.
    let mut next_at = 0;
    let mut head: Option<&str> = None;
    while let Some(piece) = pieces.get(index) {
        let follows = match (&piece.sealed, head) {
            (Ok(sealed), Some(head)) => sealed.prev == head,
            (Ok(sealed), None) => piece.at.start == 0 || sealed.prev == FIRST_PREV,
            (Err(_), _) => false,
        };
        let next_whole = if follows {
            Some(index)
        } else {
            (index..pieces.len()).find(|at| pieces[*at].sealed.is_ok())
        };
        let Some(whole) = next_whole else {
            return is_torn_write(
                data,
                next_at,
                pieces[index].at.start..pieces[pieces.len() - 1].at.end,
            )
            .then_some(index);
        };
        // Records behind a hole of padding were written together with what is missing there, or the padding would be
        // gone. Records behind anything else were written later: something damaged what stands before them.
        if !follows && has_hole(&data[next_at..pieces[whole].at.start]) {
            return Some(index);
        }
        head = pieces[whole]
            .sealed
            .as_ref()
            .ok()
            .map(|sealed| sealed.sha.as_str());
        next_at =
            pieces[whole].at.end + usize::from(data.get(pieces[whole].at.end) == Some(&b'\n'));
        index = whole + 1;
    }
    None
}

/// Whether bytes between two records (from where a record could begin) contain a blank line.
fn has_hole(between: &[u8]) -> bool {
    between.starts_with(b"\n") || between.windows(2).any(|pair| pair == b"\n\n")
}

/// Whether the last bytes of an open file, none of them a whole record, are what a stopped write leaves.
fn is_torn_write(data: &[u8], next_at: usize, tail: Range<usize>) -> bool {
    let bytes = &data[tail.clone()];
    // One byte of padding with one bit changed is that, except where a sector begins: there it can be all that arrived of
    // the end of a write.
    let is_flipped_padding = bytes.len() == 1
        && (bytes[0] ^ b'\n').is_power_of_two()
        && !tail.start.is_multiple_of(SECTOR_BYTES);
    let begins_with_a_hole = tail.start > next_at || bytes.iter().all(|byte| *byte == 0);
    let has_a_hole = bytes
        .windows(2)
        .any(|pair| pair == b"\n\n" || pair == b"\0\0");
    let was_cut_short = bytes[0] == b'{' && !chain::is_nearly_sealed(bytes);
    !is_flipped_padding && (begins_with_a_hole || has_a_hole || was_cut_short)
}

/// What is wrong in one file, its torn tail left out.
fn problems(file: &str, data: &[u8], pieces: &[Piece]) -> Vec<Problem> {
    let mut problems = Vec::new();
    let mut before: Option<&Sealed> = None;
    let mut run: Option<(Range<usize>, Broken)> = None;
    for piece in pieces {
        match &piece.sealed {
            Err(broken) => {
                let start = run.map_or(piece.at.start, |(at, _)| at.start);
                run = Some((start..piece.at.end, *broken));
            }
            Ok(sealed) => {
                if let Some((at, broken)) = run.take() {
                    problems.push(damage(file, &data[at], broken, before, Some(sealed)));
                }
                if let Some(before) = before.filter(|before| before.seq >= sealed.seq) {
                    let what = format!(
                        "This record stands after record {}, where it was not written.",
                        before.seq
                    );
                    problems.push(Problem {
                        file: file.to_owned(),
                        seq: sealed.seq,
                        what,
                    });
                }
                before = Some(sealed);
            }
        }
    }
    if let Some((at, broken)) = run {
        problems.push(damage(file, &data[at], broken, before, None));
    }
    problems
}

/// Names a run of bytes that is no record, by the whole records around it.
fn damage(
    file: &str,
    bytes: &[u8],
    broken: Broken,
    before: Option<&Sealed>,
    after: Option<&Sealed>,
) -> Problem {
    let stray = "bytes that belong to no record";
    let next_seq = before.map_or(0, |before| before.seq.saturating_add(1));
    let (seq, what) = match (before, after) {
        (None, Some(after)) if after.prev == FIRST_PREV => {
            (after.seq, format!("Before this record stand {stray}."))
        }
        (None, Some(after)) => {
            let what = format!(
                "What stands before record {} was altered or damaged: {broken}.",
                after.seq
            );
            (after.seq.saturating_sub(1), what)
        }
        (Some(before), Some(after)) if after.prev == before.sha => {
            (before.seq, format!("After this record stand {stray}."))
        }
        (Some(_), Some(after)) => {
            let damaged = range(next_seq, after.seq.saturating_sub(1));
            (
                next_seq,
                format!("Altered or damaged: {damaged}; {broken}."),
            )
        }
        (Some(before), None) if bytes.len() == 1 => {
            (before.seq, format!("After this record stand {stray}."))
        }
        (_, None) => (
            next_seq,
            format!("What stands here was altered or damaged: {broken}."),
        ),
    };
    Problem {
        file: file.to_owned(),
        seq,
        what,
    }
}
