//! Seals records into a hash chain, and tells a whole line from a damaged one.
//!
//! A line is the record's JSON object with two members added at its end: `prev`, the hash of the line before it, and
//! `sha`, the SHA-256 of this line's own bytes up to `,"sha"`. So every byte of a line is covered by its own hash, by
//! the fixed form of its end, or by both, and leaving out or swapping lines breaks `prev`. The form is plain enough to
//! be redone in ten lines of any language (`tests/record/chain.py` does it).
//!
//! Limits: pure text work. It trusts no line, but it knows neither files nor which of two valid chains is the true one.

use crate::signal::Entry;
use serde::Deserialize;
use sha2::{Digest, Sha256};
use std::fmt;

/// What `prev` says in the first record of an incident.
pub const FIRST_PREV: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// The end of every line; `#` stands for a lower-case hexadecimal digit.
const SEAL: &[u8] = concat!(
    ",\"prev\":\"",
    "################################################################",
    "\",\"sha\":\"",
    "################################################################",
    "\"}"
)
.as_bytes();
/// How many bytes of the end are not covered by the hash: `,"sha":"`, 64 digits, `"}`.
const UNCOVERED_BYTES: usize = 8 + 64 + 2;

/// Seals one record after the other.
#[derive(Debug, Clone)]
pub struct Chain {
    head: String,
}

impl Chain {
    /// A chain whose next record follows the one with this hash ([`FIRST_PREV`] if there is none).
    pub fn after(head: &str) -> Self {
        Self {
            head: head.to_owned(),
        }
    }

    /// The hash of the last record sealed.
    pub fn head(&self) -> &str {
        &self.head
    }

    /// The entry as a line without its newline. A newline between the entry's tokens becomes a space: one record is
    /// one line whatever the entry's author did, and JSON strings hold no raw newline.
    pub fn seal(&mut self, entry: &Entry) -> String {
        let object = entry.json.trim_end().replace('\n', " ");
        let open = object.strip_suffix('}').unwrap_or(&object);
        let covered = format!("{open},\"prev\":\"{}\"", self.head);
        self.head = sha256_hex(covered.as_bytes());
        format!("{covered},\"sha\":\"{}\"}}", self.head)
    }
}

/// What a whole line says about itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sealed {
    /// The record's number in its incident.
    pub seq: u64,
    /// The record's kind, which this version may or may not know.
    pub kind: String,
    /// The hash of the record before it.
    pub prev: String,
    /// The hash of this record.
    pub sha: String,
}

/// Why a line is not the record that was sealed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Broken {
    /// Some bytes are no text.
    NotUtf8,
    /// The line does not end as every record does.
    NoSeal,
    /// The hash is not that of the text before it.
    Altered,
    /// The hash is right, but the text is no JSON object with a sequence number and a kind.
    NotARecord,
    /// The record is whole, but it does not follow the one before it.
    WrongPrev,
}

impl fmt::Display for Broken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotUtf8 => "it is not UTF-8 text",
            Self::NoSeal => "it does not end with its hashes as every record does",
            Self::Altered => "its hash is not the hash of its text",
            Self::NotARecord => "it is not a JSON object with a sequence number and a kind",
            Self::WrongPrev => "it names another record before it than the one that is there",
        })
    }
}

/// Reads a line by itself: everything but whether it follows the record before it.
pub fn inspect(line: &[u8]) -> Result<Sealed, Broken> {
    #[derive(Deserialize)]
    struct Named {
        seq: u64,
        kind: String,
    }
    let text = std::str::from_utf8(line).map_err(|_| Broken::NotUtf8)?;
    if seal_misses(line) != Some(0) {
        return Err(Broken::NoSeal);
    }
    let sha = &text[text.len() - 66..text.len() - 2];
    if sha256_hex(&line[..line.len() - UNCOVERED_BYTES]) != sha {
        return Err(Broken::Altered);
    }
    let named: Named = serde_json::from_str(text).map_err(|_| Broken::NotARecord)?;
    let prev_at = text.len() - SEAL.len() + 9;
    Ok(Sealed {
        seq: named.seq,
        kind: named.kind,
        prev: text[prev_at..prev_at + 64].to_owned(),
        sha: sha.to_owned(),
    })
}

/// Reads a line that must follow the record with the hash `prev`.
pub fn check(line: &[u8], prev: &str) -> Result<Sealed, Broken> {
    let sealed = inspect(line)?;
    if sealed.prev == prev {
        Ok(sealed)
    } else {
        Err(Broken::WrongPrev)
    }
}

/// Whether a line goes to the end of a record with at most one byte of that end wrong. A line cut short never does,
/// so this tells a record that was altered from one that was never written to its end.
pub(super) fn is_nearly_sealed(line: &[u8]) -> bool {
    seal_misses(line).is_some_and(|misses| misses <= 1)
}

/// Where the first whole seal in these bytes ends. A line with more than one held two records whose newline is gone.
pub(super) fn first_seal_end(bytes: &[u8]) -> Option<usize> {
    let start = bytes
        .windows(SEAL.len())
        .position(|window| window.starts_with(b",\"prev\":\"") && misses(window) == 0)?;
    Some(start + SEAL.len())
}

/// How many bytes at the end of a line are not as in every record; `None` if the line is too short to have an end.
fn seal_misses(line: &[u8]) -> Option<usize> {
    line.len()
        .checked_sub(SEAL.len())
        .map(|start| misses(&line[start..]))
}

fn misses(window: &[u8]) -> usize {
    let fits = |(byte, form): (&u8, &u8)| match form {
        b'#' => matches!(byte, b'0'..=b'9' | b'a'..=b'f'),
        _ => byte == form,
    };
    window.iter().zip(SEAL).filter(|pair| !fits(*pair)).count()
}

/// SHA-256 in lower-case hexadecimal digits.
pub fn sha256_hex(bytes: &[u8]) -> String {
    let half =
        |bytes: &[u8]| u128::from_be_bytes(bytes.try_into().expect("half of 32 bytes is 16 bytes"));
    let digest = Sha256::digest(bytes);
    format!("{:032x}{:032x}", half(&digest[..16]), half(&digest[16..]))
}
