//! Runs a scripted drill through the real program's `rehearse` and holds its record against what it called saved.

use crate::real::program;
use crate::support::tablet::Tablet;
use groundward::incident::{Record, State};
use groundward::journal::disk::RealDisk;
use groundward::journal::read;
use std::path::{Path, PathBuf};
use std::process::Command;

pub(crate) fn script() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join("scripts")
        .join("silo-3-boom-lift.txt")
}

/// The command that plays the script; `command` leads to the program.
pub(crate) fn rehearse(
    command: Command,
    data: &Path,
    fallback: Option<&Path>,
    pace_ms: u64,
) -> Command {
    play(&script(), command, data, fallback, pace_ms)
}

/// Plays any script.
pub(crate) fn play(
    script: &Path,
    mut command: Command,
    data: &Path,
    fallback: Option<&Path>,
    pace_ms: u64,
) -> Command {
    command.args(["rehearse", "--demo", "--announce", "--pace"]);
    command.arg(pace_ms.to_string()).arg("--script").arg(script);
    command.arg("--data").arg(data);
    if let Some(fallback) = fallback {
        command.arg("--fallback").arg(fallback);
    }
    command
}

pub(crate) fn start(data: &Path, fallback: Option<&Path>, pace_ms: u64) -> Tablet {
    Tablet::listen_to(rehearse(program(), data, fallback, pace_ms))
}

/// The folders of a record with its journals.
pub(crate) fn folders(record: &Path, fallback: Option<&Path>) -> Vec<PathBuf> {
    let below = record.join("journals-fallback");
    vec![
        record.join("journals"),
        fallback.map_or(below, Path::to_owned),
    ]
}

/// Reads a record back and holds it against what was called saved: everything up to there is here, once and in order,
/// nothing counts as altered, and it replays. The answer is how many records there are.
#[track_caller]
pub(crate) fn nothing_is_lost(
    folders: &[PathBuf],
    saved: Option<&(String, u64)>,
    story: &str,
) -> usize {
    let Some((id, saved)) = saved else { return 0 };
    let found = read::read(&RealDisk, folders, id)
        .unwrap_or_else(|error| panic!("{story}: {saved} was called saved, and {error}"));
    assert!(found.problems.is_empty(), "{story}: {:?}", found.problems);
    let in_order = (0..).zip(&found.records).all(|(seq, it)| it.seq == seq);
    assert!(in_order, "{story}: a number is missing or twice");
    assert!(
        found.records.len() as u64 > *saved,
        "{story}: {saved} was called saved, {} records are here",
        found.records.len()
    );
    let records: Vec<Record> = found
        .records
        .iter()
        .map(|it| Record::from_json(&it.text).expect("it was written by us"))
        .collect();
    let count = records.len();
    State::replay(records);
    count
}

/// What `log verify` says of all incidents of a record, which must be that they are intact.
#[track_caller]
pub(crate) fn verified(record: &Path, fallback: Option<&Path>, story: &str) -> String {
    let mut command = program();
    command.args(["log", "verify", "--data"]).arg(record);
    if let Some(fallback) = fallback {
        command.arg("--fallback").arg(fallback);
    }
    let output = command.output().expect("the program runs");
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(0), "{story}: {said}");
    assert!(!said.contains("ALTERED"), "{story}: {said}");
    said
}
