//! Takes the right to write away: a read-only disk from the start, one that turns read-only under the program, and a
//! folder of somebody else's.

use super::mounts::{Mounted, make_ext4, quick_folder};
use super::runs;
use crate::faults::hand::{Hand, Mark};
use crate::faults::refused::goes_on;
use crate::faults::rehearsal::{folders, nothing_is_lost, start, verified};
use crate::real::program;
use crate::support::tablet::Tablet;
use std::os::unix::fs::{PermissionsExt, chown};
use std::process::Command;
use std::time::Duration;

const POSITION: &str = "Silo 3 roof, east hatch";

#[test]
fn on_a_read_only_disk_the_rescue_goes_on_and_nothing_is_called_saved() {
    if !runs(
        "faults::root::refused::on_a_read_only_disk_the_rescue_goes_on_and_nothing_is_called_saved",
    ) {
        return;
    }
    let folder = quick_folder();
    let image = folder.path().join("image");
    make_ext4(&image, 8);
    let disk = Mounted::image(&image, "ro");
    let data = disk.path().join("data");
    goes_on(program(), &data, None, "Read-only file system");
    let other = tempfile::tempdir().expect("there is room");
    goes_on(
        program(),
        &data,
        Some(other.path()),
        "Read-only file system",
    );
    let (code, _, said) = start(&data, None, 0).wait();
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!((code, lines.len()), (Some(2), 1), "{said}");
    println!("a read-only disk: the rescue went on, with and without another folder");
}

/// What a kernel does with a disk that answers with errors: it aborts and refuses every further write.
#[test]
fn a_disk_that_turns_read_only_loses_nothing_that_was_called_saved() {
    if !runs(
        "faults::root::refused::a_disk_that_turns_read_only_loses_nothing_that_was_called_saved",
    ) {
        return;
    }
    let mut tried = 0;
    for elsewhere in [true, false] {
        for wait_ms in [250, 700] {
            let folder = quick_folder();
            let image = folder.path().join("image");
            make_ext4(&image, 12);
            let disk = Mounted::image(&image, "");
            let other = tempfile::tempdir().expect("there is room");
            let fallback = elsewhere.then(|| other.path().join("journals"));
            let drill = start(disk.path(), fallback.as_deref(), 30);
            while drill.saved().is_none() {
                std::thread::sleep(Duration::from_millis(5));
            }
            std::thread::sleep(Duration::from_millis(wait_ms));
            disk.remount("abort");
            let (code, saved, said) = drill.wait();
            let story = format!("read-only after {wait_ms} ms, another folder: {elsewhere}");
            if elsewhere {
                assert_eq!(code, Some(0), "{story}: {said}");
            } else {
                assert_eq!(code, Some(2), "{story}: {said}");
                assert!(said.contains("cannot be saved"), "{story}: {said}");
            }
            // The disk as the next start of the machine finds it.
            drop(disk);
            let disk = Mounted::image(&image, "");
            let record = disk.path().join("rehearsals");
            let folders = folders(&record, fallback.as_deref());
            let here = nothing_is_lost(&folders, saved.as_ref(), &story);
            if elsewhere {
                assert_eq!(saved.map(|it| it.1 + 1), Some(here as u64), "{story}");
            }
            verified(&record, fallback.as_deref(), &story);
            tried += 1;
        }
    }
    // And on the tablet itself: the mark turns, and the rescue goes on.
    let folder = quick_folder();
    let image = folder.path().join("image");
    make_ext4(&image, 24);
    let disk = Mounted::image(&image, "");
    let plans = tempfile::tempdir().expect("there is room");
    let mut hand = Hand::start(program(), plans.path(), &disk.path().join("data"), None);
    hand.hang(POSITION);
    hand.wait_for_mark(Mark::Saved);
    disk.remount("abort");
    hand.answer();
    hand.wait_for_mark(Mark::NotSaved);
    hand.answer();
    hand.answer();
    let saved = hand.tablet.take().and_then(Tablet::kill);
    drop(disk);
    let disk = Mounted::image(&image, "");
    let folders = folders(&disk.path().join("data"), None);
    let here = nothing_is_lost(&folders, saved.as_ref(), "the tablet's disk");
    println!(
        "{} disks turned read-only, 0 records called saved lost; {here} of the tablet's were there",
        tried + 1
    );
}

/// The program as somebody who may not write where others own the folder.
fn without_rights() -> Command {
    let mut command = Command::new("setpriv");
    let rights = "-dac_override,-dac_read_search,-fowner,-chown";
    command
        .args(["--bounding-set", rights])
        .arg(program().get_program());
    command
}

#[test]
fn in_a_folder_of_somebody_else_the_rescue_goes_on_and_nothing_is_called_saved() {
    if !runs(
        "faults::root::refused::in_a_folder_of_somebody_else_the_rescue_goes_on_and_nothing_is_called_saved",
    ) {
        return;
    }
    let folder = tempfile::tempdir().expect("there is room");
    let data = folder.path().join("data");
    for mode in [0o555, 0o000] {
        let _ = std::fs::remove_dir_all(&data);
        std::fs::create_dir_all(data.join("journals")).expect("there is room");
        for path in [data.join("journals"), data.clone()] {
            // Debian's user that owns nothing.
            chown(&path, Some(65_534), Some(65_534)).expect("root may");
            std::fs::set_permissions(&path, PermissionsExt::from_mode(mode)).expect("root may");
        }
        goes_on(without_rights(), &data, None, "Permission denied");
    }
    let other = tempfile::tempdir().expect("there is room");
    let fallback = Some(other.path());
    goes_on(without_rights(), &data, fallback, "Permission denied");
    println!(
        "a folder of somebody else, readable and not: the rescue went on, with and without another folder"
    );
}
