//! Fills a small file system under the real program: before a drill, at some point of it, with and without another folder,
//! and gives the room back.

use super::mounts::{Mounted, make_ext4, quick_folder};
use super::runs;
use crate::faults::hand::{Hand, Mark};
use crate::faults::rehearsal::{folders, nothing_is_lost, start, verified};
use crate::real::program;
use crate::support::tablet::Tablet;
use std::path::Path;
use std::time::Duration;

/// So much room is left, in KiB, when the drill begins. With the least nothing fits; the plan alone takes about 30; the
/// usual reserve of 4 MiB needs the most.
const ROOMS_KIB: [u64; 5] = [0, 40, 72, 330, 4_400];
const SIZE_KIB: u64 = 7_000;

/// One of each kind; images outlive their mount.
fn file_systems(folder: &Path) -> Vec<(&'static str, Mounted)> {
    let image = folder.join("image");
    make_ext4(&image, 12);
    vec![
        ("memory", Mounted::in_memory(SIZE_KIB)),
        ("ext4", Mounted::image(&image, "")),
    ]
}

#[test]
fn a_full_disk_loses_nothing_that_was_called_saved() {
    if !runs("faults::root::full::a_full_disk_loses_nothing_that_was_called_saved") {
        return;
    }
    let (mut tried, mut refused, mut here_all) = (0, 0, 0);
    for room_kib in ROOMS_KIB {
        let folder = quick_folder();
        for (kind, small) in file_systems(folder.path()) {
            for elsewhere in [true, false] {
                let other = tempfile::tempdir().expect("there is room");
                let fallback = elsewhere.then(|| other.path().join("journals"));
                let story = format!("{room_kib} KiB left on {kind}, another folder: {elsewhere}");
                let data = small.path().join(format!("data-{elsewhere}"));
                let record = data.join("rehearsals");
                // On a disk without any room not even the folder could be made, which the program would say at once.
                std::fs::create_dir_all(record.join("journals")).expect("there is room yet");
                std::fs::write(record.join("lock"), "").expect("there is room yet");
                let filled = small.fill(room_kib << 10);
                let (code, saved, said) = start(&data, fallback.as_deref(), 0).wait();
                let folders = folders(&record, fallback.as_deref());
                let here = nothing_is_lost(&folders, saved.as_ref(), &story);
                if elsewhere {
                    assert_eq!(code, Some(0), "{story}: {said}");
                    assert_eq!(saved.map(|it| it.1 + 1), Some(here as u64), "{story}");
                } else if code != Some(0) {
                    assert_eq!(code, Some(2), "{story}: {said}");
                    assert!(said.contains("No space left on device"), "{story}: {said}");
                    refused += 1;
                }
                verified(&record, fallback.as_deref(), &story);
                std::fs::remove_file(filled).expect("it is there");
                std::fs::remove_dir_all(&data).expect("it is there");
                (tried, here_all) = (tried + 1, here_all + here);
            }
        }
    }
    println!(
        "{tried} drills on a full disk, {refused} said at their end that not all is saved; {here_all} records, 0 called saved lost"
    );
    assert!(refused >= 4, "the disks were not full: {refused}");
}

#[test]
fn when_room_comes_back_everything_is_saved() {
    if !runs("faults::root::full::when_room_comes_back_everything_is_saved") {
        return;
    }
    let mut waited = 0;
    for room_kib in [0, 140, 330] {
        let folder = quick_folder();
        for (kind, small) in file_systems(folder.path()) {
            let story = format!("{room_kib} KiB left on {kind}, then room");
            let data = small.path().join("data");
            std::fs::create_dir_all(data.join("rehearsals").join("journals")).expect("room");
            std::fs::write(data.join("rehearsals").join("lock"), "").expect("room");
            let filled = small.fill(room_kib << 10);
            let drill = start(&data, None, 20);
            std::thread::sleep(Duration::from_millis(700));
            let before = drill.saved().map_or(0, |it| it.1);
            std::fs::remove_file(filled).expect("it is there");
            let (code, saved, said) = drill.wait();
            assert_eq!(code, Some(0), "{story}: {said}");
            let folders = folders(&data.join("rehearsals"), None);
            let here = nothing_is_lost(&folders, saved.as_ref(), &story);
            assert_eq!(saved.map(|it| it.1 + 1), Some(here as u64), "{story}");
            verified(&data.join("rehearsals"), None, &story);
            waited += u64::from(before == 0);
        }
    }
    println!("6 times room came back, {waited} times after nothing could be saved: all was saved");
    assert!(waited >= 2, "the disks were not full");
}

/// The reserve of an incident is taken when it begins, so a disk that fills afterwards does not matter to it.
#[test]
fn a_disk_that_fills_during_the_drill_does_not_reach_it() {
    if !runs("faults::root::full::a_disk_that_fills_during_the_drill_does_not_reach_it") {
        return;
    }
    let folder = quick_folder();
    for (kind, small) in file_systems(folder.path()) {
        let drill = start(small.path(), None, 25);
        while drill.saved().is_none() {
            std::thread::sleep(Duration::from_millis(5));
        }
        small.fill(0);
        let (code, saved, said) = drill.wait();
        assert_eq!(code, Some(0), "{kind}: {said}");
        let record = small.path().join("rehearsals");
        let here = nothing_is_lost(&folders(&record, None), saved.as_ref(), kind);
        assert_eq!(saved.map(|it| it.1 + 1), Some(here as u64), "{kind}");
        let names = std::fs::read_dir(record.join("journals")).expect("it is there");
        assert_eq!(names.count(), 1, "{kind}: the first file was enough");
        println!("{kind} filled after the activation: {here} records, 0 lost");
    }
}

/// The whole drill by touch on the real screen while nothing can be saved anywhere; then there is room.
#[test]
fn the_screen_says_not_saved_the_rescue_goes_on_and_later_all_is_saved() {
    if !runs(
        "faults::root::full::the_screen_says_not_saved_the_rescue_goes_on_and_later_all_is_saved",
    ) {
        return;
    }
    let folder = tempfile::tempdir().expect("there is room");
    let small = Mounted::in_memory(SIZE_KIB);
    let filled = small.fill(0);
    let data = small.path().join("data");
    let mut hand = Hand::start(program(), folder.path(), &data, None);
    hand.hang("Silo 3 roof, east hatch");
    hand.wait_for_mark(Mark::NotSaved);
    hand.play(&mut |hand, step| {
        if step % 8 == 0 {
            assert_eq!(hand.mark(), Mark::NotSaved, "step {step}");
        }
    });
    assert_eq!(hand.tablet().saved(), None, "nothing can be called saved");
    std::fs::remove_file(filled).expect("it is there");
    hand.wait_for_mark(Mark::Saved);
    let (touches, records) = (hand.touches, hand.records());
    let saved = hand.tablet.take().and_then(Tablet::kill);
    let here = nothing_is_lost(
        &folders(&data, None),
        saved.as_ref(),
        "after there was room",
    );
    let said = verified(&data, None, "after there was room");
    assert!(here + 8 > records, "{here} records, not {records}: {said}");
    println!("{touches} touches on a full disk, then room: {here} records, 0 lost");
}
