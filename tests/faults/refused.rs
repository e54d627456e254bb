//! Gives the program a data folder that is none.

use super::hand::{Hand, Mark};
use super::rehearsal::{folders, nothing_is_lost};
use crate::real::program;
use crate::support::tablet::Tablet;
use std::path::Path;
use std::process::Command;

/// A drill on data that cannot be written: the program says why in one sentence and opens its screen, the rescue goes on,
/// and nothing is called saved unless another folder takes it.
#[track_caller]
pub(crate) fn goes_on(command: Command, data: &Path, fallback: Option<&Path>, why: &str) {
    let plans = tempfile::tempdir().expect("there is room");
    let mut hand = Hand::start(command, plans.path(), data, fallback);
    hand.hang("Silo 3 roof, east hatch");
    let wanted = match fallback {
        Some(_) => Mark::Saved,
        None => Mark::NotSaved,
    };
    hand.wait_for_mark(wanted);
    for _ in 0..3 {
        hand.answer();
    }
    hand.wait_for_mark(wanted);
    let said = hand.tablet().complaints();
    let first = said.lines().find(|line| line.starts_with("groundward:"));
    assert!(
        first.is_some_and(|line| line.contains("cannot be used") && line.contains(why)),
        "{said}"
    );
    let saved = hand.tablet.take().and_then(Tablet::kill);
    assert_eq!(saved.is_some(), fallback.is_some(), "{saved:?}");
    if let Some(fallback) = fallback {
        let folders = folders(data, Some(fallback));
        let found = groundward::journal::read::list(&groundward::journal::disk::RealDisk, &folders);
        assert_eq!(
            found.map_or(0, |it| it.len()),
            1,
            "the other folder has the incident"
        );
        nothing_is_lost(&folders[1..], saved.as_ref(), "another folder");
    }
}

#[test]
fn where_the_data_folder_is_a_file_the_rescue_goes_on() {
    let folder = tempfile::tempdir().expect("there is room");
    let data = folder.path().join("data");
    std::fs::write(&data, "no folder\n").expect("there is room");
    goes_on(program(), &data, None, "exists");
    goes_on(
        program(),
        &data,
        Some(&folder.path().join("other")),
        "exists",
    );
    assert_eq!(
        std::fs::read_to_string(&data).expect("it is there"),
        "no folder\n"
    );
    println!(
        "a file instead of the data folder: the rescue went on, with and without another folder"
    );
}
