//! Runs the real program as its users do: from the command line, twice at once, without a screen.

use groundward::incident::{Record, State};
use groundward::journal::disk::RealDisk;
use groundward::journal::read;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

pub(crate) fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_groundward"))
}

fn script() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join("scripts")
        .join("silo-3-boom-lift.txt")
}

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn err(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn rehearse(data: &Path, script: &Path) -> Output {
    let mut command = program();
    command
        .args(["rehearse", "--demo", "--script"])
        .arg(script)
        .arg("--data")
        .arg(data);
    command.output().expect("the program runs")
}

fn log(data: &Path, words: &[&str]) -> Output {
    program()
        .arg("log")
        .args(words)
        .arg("--data")
        .arg(data)
        .output()
        .expect("the program runs")
}

fn journal_of(data: &Path) -> (String, PathBuf) {
    let folder = data.join("journals");
    let names: Vec<String> = std::fs::read_dir(&folder)
        .expect("there is a journal folder")
        .map(|e| {
            e.expect("it can be listed")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    assert_eq!(names.len(), 1, "{names:?}");
    (
        names[0].trim_end_matches(".jsonl").to_owned(),
        folder.join(&names[0]),
    )
}

#[test]
fn check_says_by_its_exit_code_whether_a_plan_is_fit() {
    let folder = tempfile::tempdir().expect("a folder");
    let check = |words: &[&str]| {
        program()
            .arg("check")
            .args(words)
            .output()
            .expect("the program runs")
    };
    assert_eq!(check(&["--demo"]).status.code(), Some(0));
    let broken = folder.path().join("broken.toml");
    std::fs::write(&broken, "format = 1\n[site]\nname = 5\n").expect("it can be written");
    let said = check(&[&broken.to_string_lossy()]);
    assert_eq!(said.status.code(), Some(1));
    assert!(out(&said).contains("broken.toml:3:8"), "{}", out(&said));
    let missing = check(&["no-such-plan.toml"]);
    assert_eq!(missing.status.code(), Some(2));
    assert!(
        err(&missing).contains("no-such-plan.toml"),
        "{}",
        err(&missing)
    );
    std::fs::write(&broken, [0xff, 0xfe]).expect("it can be written");
    assert_eq!(check(&[&broken.to_string_lossy()]).status.code(), Some(2));
    let json = check(&["--demo", "--format", "json"]);
    let value: serde_json::Value = serde_json::from_slice(&json.stdout).expect("it is JSON");
    assert_eq!(value["fit"], true);
}

#[test]
fn a_rehearsal_writes_a_journal_that_lists_shows_and_verifies() {
    let data = tempfile::tempdir().expect("a folder");
    let played = rehearse(data.path(), &script());
    assert_eq!(played.status.code(), Some(0), "{}", err(&played));
    let data = data.path().join("rehearsals");
    let (id, file) = journal_of(&data);
    assert!(
        out(&log(&data, &["list"])).contains("stood down, hung 5:05, intact"),
        "{}",
        out(&log(&data, &["list"]))
    );
    let shown = out(&log(&data, &["show", &id]));
    for line in [
        "Somebody hangs at Silo 3 roof, east hatch",
        "Not working: ladder",
        "Off the harness",
        "Stood down",
    ] {
        assert!(shown.contains(line), "{line} is missing in\n{shown}");
    }
    let json = out(&log(&data, &["show", &id, "--format", "json"]));
    let records: Vec<Record> = json
        .lines()
        .map(|l| Record::from_json(l).expect("each line is a record"))
        .collect();
    let state = State::replay(records);
    assert_eq!(state.facts.casualty().off.map(|(t, _)| t.0), Some(305_000));

    let verified = log(&data, &["verify"]);
    assert_eq!(verified.status.code(), Some(0), "{}", out(&verified));
    // One bit in the middle of record 20.
    let mut bytes = std::fs::read(&file).expect("the journal is there");
    let at = String::from_utf8_lossy(&bytes)
        .find("\"seq\":20,")
        .expect("there is a record 20");
    bytes[at + 30] ^= 1;
    std::fs::write(&file, &bytes).expect("it can be written");
    let verified = log(&data, &["verify", &id]);
    assert_eq!(verified.status.code(), Some(1));
    let said = out(&verified);
    assert!(said.contains(&format!("{id}.jsonl, record 20")), "{said}");
    assert_eq!(
        log(&data, &["verify", "20000101T000000Z-0000"])
            .status
            .code(),
        Some(2)
    );
}

#[test]
fn what_is_wrong_with_a_script_is_said_at_once_and_nothing_is_played() {
    let data = tempfile::tempdir().expect("a folder");
    let bad = data.path().join("bad.txt");
    std::fs::write(&bad, "0:00 hang silo3\n0:61 answer\n0:10 wave\n").expect("it can be written");
    let said = rehearse(data.path(), &bad);
    assert_eq!(said.status.code(), Some(2));
    assert!(
        err(&said).contains("line 2") && err(&said).contains("line 3"),
        "{}",
        err(&said)
    );
    assert!(!data.path().join("rehearsals").exists());
    std::fs::write(&bad, "0:00 hang silo3\n0:10 expect Stand down\n").expect("it can be written");
    let said = rehearse(data.path(), &bad);
    assert_eq!(said.status.code(), Some(1));
    assert!(
        err(&said).contains("line 2: the prompt is `Stop work. Is it safe to go near?`"),
        "{}",
        err(&said)
    );
}

#[test]
fn without_a_screen_one_sentence_names_what_works() {
    let data = tempfile::tempdir().expect("a folder");
    let mut command = program();
    command.args(["run", "--demo", "--data"]).arg(data.path());
    let said = command
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .output()
        .expect("the program runs");
    assert_eq!(said.status.code(), Some(2));
    let lines: Vec<String> = err(&said)
        .lines()
        .filter(|l| l.starts_with("groundward:"))
        .map(str::to_owned)
        .collect();
    assert_eq!(lines.len(), 1, "{}", err(&said));
    for command in ["groundward check", "groundward log", "groundward rehearse"] {
        assert!(lines[0].contains(command), "{}", lines[0]);
    }
}

#[test]
fn a_second_program_on_the_same_record_is_turned_away_in_one_sentence() {
    let data = tempfile::tempdir().expect("a folder");
    let first = groundward::journal::lock::DataLock::take(&data.path().join("rehearsals"))
        .expect("nobody holds it");
    let said = rehearse(data.path(), &script());
    assert_eq!(said.status.code(), Some(2));
    assert!(
        err(&said).contains("another Groundward uses the folder"),
        "{}",
        err(&said)
    );
    drop(first);
    assert_eq!(rehearse(data.path(), &script()).status.code(), Some(0));
}

/// The records of an incident that are on the disk; the chain must hold.
pub(crate) fn on_disk(data: &Path, id: &str) -> Vec<Record> {
    let folders = [data.join("journals"), data.join("journals-fallback")];
    let found = read::read(&RealDisk, &folders, id).expect("a saved incident has a file");
    assert!(found.problems.is_empty(), "{:?}", found.problems);
    found
        .records
        .iter()
        .map(|r| Record::from_json(&r.text).expect("it was written by us"))
        .collect()
}
