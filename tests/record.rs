//! Checks the record from outside: what is acknowledged is read back after every crash and fault, and what was changed
//! is named.

mod bundle;
mod chain;
mod edges;
mod filter;
mod flips;
mod history;
mod import;
pub(crate) mod lying;
pub(crate) mod proof;
mod reviewed;
mod shared;
mod store;
mod trends;
mod writer;

use groundward::journal::chain::{Chain, FIRST_PREV};
use groundward::journal::writer::{Outcome, Writer};
use groundward::signal::Entry;
use std::path::PathBuf;

const INCIDENT: &str = "20261125T183012Z-4f2a";

/// A record with text of a given length in it, with the bytes that are hard to tell from padding among them.
fn entry(seq: u64, text_bytes: usize) -> Entry {
    let text: String = "J*\\n{\"}é "
        .replace(['"', '\\'], "'")
        .chars()
        .cycle()
        .take(text_bytes)
        .collect();
    let json = format!(
        r#"{{"v":1,"seq":{seq},"kind":"step-done","body":{{"said":"{text}","sha":"{FIRST_PREV}"}}}}"#
    );
    Entry { seq, json }
}

fn entries(seqs: std::ops::RangeInclusive<u64>) -> Vec<Entry> {
    seqs.map(|seq| entry(seq, (seq as usize * 97) % 700))
        .collect()
}

/// The lines of a whole journal, as the writer would put them down.
fn lines(entries: &[Entry]) -> Vec<u8> {
    let mut chain = Chain::after(FIRST_PREV);
    entries
        .iter()
        .flat_map(|entry| (chain.seal(entry) + "\n").into_bytes())
        .collect()
}

fn folders() -> Vec<PathBuf> {
    vec![PathBuf::from("/data/journal"), PathBuf::from("/fallback")]
}

#[track_caller]
fn saved(outcome: &Outcome) -> u64 {
    outcome
        .as_ref()
        .expect("the disk is well")
        .as_ref()
        .expect("there are records")
        .seq
}

/// Opens an incident, writes it in groups of different sizes and closes it, whatever the disk answers; the last record
/// that was acknowledged.
fn play(writer: &mut Writer) -> u64 {
    let mut acknowledged = 0;
    let mut note = |outcome: Outcome| {
        if let Ok(Some(saved)) = outcome {
            acknowledged = saved.seq;
        }
    };
    note(writer.retry());
    for group in [1..=1, 2..=4, 5..=5, 6..=13, 14..=14] {
        note(writer.append(&entries(group)));
    }
    note(writer.close());
    acknowledged
}
const PLAYED: u64 = 14;
