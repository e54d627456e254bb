//! Keeps the record of truth: one file per incident, one JSON object a line, each chained to the one before it.
//!
//! A crew must be able to trust what stands here after a power cut, and anybody must be able to read and check it with
//! an editor and a hash program. `chain` seals and checks lines, `disk` is all that this module asks of a file system,
//! `writer` puts records there durably, `thread` does so without making anybody wait, `read` gives them back and names
//! what is wrong, `addition` adds what is said after the end, `fill` closes gaps from copies, `lock` keeps two programs
//! apart, `approvals` keeps who signed which plan in the same form. `device` keeps the key of the tablet, `bundle` hands
//! an incident out as one signed file, whole or with parts of it hidden (`commitment`), and `checked` says whether such a
//! file is what was signed. `listing` finds the files of many incidents, `import` takes over what other tablets recorded,
//! and `origins` keeps who signed that.
//!
//! Limits: a chain shows edits. It does not show that whole records were cut off the end, nor that everything was
//! written again: for that the head hash has to leave the tablet.

pub mod addition;
pub mod approvals;
pub mod bundle;
pub mod chain;
pub mod checked;
pub mod commitment;
pub mod device;
pub mod disk;
pub mod fill;
pub mod import;
pub mod listing;
pub mod lock;
pub mod origins;
pub mod read;
pub mod thread;
pub mod writer;

use std::collections::BTreeSet;
use std::path::PathBuf;

const EXTENSION: &str = ".jsonl";

/// Whether this can be the name of an incident, and so of a file: letters, digits and hyphens only.
pub fn is_incident_id(text: &str) -> bool {
    !text.is_empty()
        && text
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
}

/// The file name of an incident's segment: the first carries the incident alone, the others their number too.
fn segment_name(incident: &str, number: u32) -> String {
    match number {
        1 => format!("{incident}{EXTENSION}"),
        _ => format!("{incident}.{number}{EXTENSION}"),
    }
}

/// The incidents that have a file as long as one that is open: padded to a whole step. By their lengths alone, so that a
/// long record costs little; a closed one may be among them by chance.
pub fn left_open(folders: &[PathBuf]) -> BTreeSet<String> {
    let entries = folders.iter().filter_map(|it| std::fs::read_dir(it).ok());
    entries
        .flatten()
        .filter_map(Result::ok)
        .filter_map(|entry| {
            let name = entry.file_name().into_string().ok()?;
            let (incident, _) = parse_segment_name(&name)?;
            let len_bytes = entry.metadata().ok()?.len();
            (len_bytes % writer::SMALL_RESERVE_BYTES == 0).then(|| incident.to_owned())
        })
        .collect()
}

/// The incident and the number of a segment, if this is the file name of one.
fn parse_segment_name(name: &str) -> Option<(&str, u32)> {
    let stem = name.strip_suffix(EXTENSION)?;
    let (incident, number) = match stem.split_once('.') {
        None => (stem, 1),
        Some((incident, number)) => (incident, number.parse().ok().filter(|number| *number > 1)?),
    };
    (is_incident_id(incident) && segment_name(incident, number) == name)
        .then_some((incident, number))
}
