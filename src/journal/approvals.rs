//! Keeps who approved which plan, and when: one chained line an approval, in a file of its own beside the journals.
//!
//! A changed plan is not approved until a named competent person signs it, so an approval is a record like those of an
//! incident: plain text, sealed by `chain`, never edited. Limits: there are few of them, so the file is read and written as
//! a whole; a line that does not hold ends what is believed, and an approval that cannot be written is none.

use super::chain::{Chain, FIRST_PREV, check};
use super::disk::replace;
use crate::incident::PlanApproval;
use crate::signal::Entry;
use serde::Deserialize;
use serde_json::json;
use std::io::{self, ErrorKind};
use std::path::Path;

/// The file in the data folder.
const FILE: &str = "approvals.jsonl";

/// What the file holds.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Approvals {
    /// Whole approvals, the oldest first.
    pub all: Vec<PlanApproval>,
    /// Hash of the last of them.
    head: Option<String>,
    /// Number of the first line that does not hold, from 1.
    pub broken_line: Option<usize>,
}

#[derive(Deserialize)]
struct Line {
    body: PlanApproval,
}

/// Reads the approvals kept in a folder; none where there is no file yet.
pub fn read(folder: &Path) -> io::Result<Approvals> {
    let bytes = match std::fs::read(folder.join(FILE)) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Approvals::default()),
        Err(error) => return Err(error),
    };
    Ok(of(&bytes))
}

/// The approvals in the bytes of the file, up to the first line that does not hold.
pub fn of(bytes: &[u8]) -> Approvals {
    let mut approvals = Approvals::default();
    let lines = bytes
        .split(|byte| *byte == b'\n')
        .filter(|line| !line.is_empty());
    for (number, line) in (1..).zip(lines) {
        let prev = approvals.head.as_deref().unwrap_or(FIRST_PREV);
        let sealed = check(line, prev);
        let approval = serde_json::from_slice::<Line>(line);
        let (Ok(sealed), Ok(approval)) = (sealed, approval) else {
            approvals.broken_line = Some(number);
            break;
        };
        approvals.head = Some(sealed.sha);
        approvals.all.push(approval.body);
    }
    approvals
}

/// Adds an approval durably, and gives all of them.
pub fn add(folder: &Path, approval: &PlanApproval) -> io::Result<Approvals> {
    let approvals = read(folder)?;
    if let Some(line) = approvals.broken_line {
        let why = format!("{FILE} is damaged at line {line}: put it aside, then approve again");
        return Err(io::Error::new(ErrorKind::InvalidData, why));
    }
    let mut chain = Chain::after(approvals.head.as_deref().unwrap_or(FIRST_PREV));
    let entry = Entry {
        seq: u64::try_from(approvals.all.len()).unwrap_or(u64::MAX),
        json: json!({ "v": 1, "seq": approvals.all.len() + 1, "kind": "plan-approved", "body": approval }).to_string(),
    };
    let mut bytes = match std::fs::read(folder.join(FILE)) {
        Err(error) if error.kind() == ErrorKind::NotFound => Vec::new(),
        read => read?,
    };
    bytes.extend(chain.seal(&entry).as_bytes());
    bytes.push(b'\n');
    replace(&folder.join(FILE), &bytes)?;
    read(folder)
}
