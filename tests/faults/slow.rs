//! Gives the program a disk that takes its time, down to one that never answers, and plays a drill on it by touch.
//!
//! Nothing may wait for it: prompts, touches, the running time and the drawing of the screen go on as on a quick disk, and
//! the mark says "Saving" until it is true that everything is saved. Frames are compared with those on a quick disk; no
//! time is asserted.

use super::hand::{Hand, Mark, on_the_program};
use super::rehearsal::{folders, nothing_is_lost, verified};
use super::shim::{counted, program_on_disk};
use crate::real::program;
use crate::support::tablet::Tablet;
use std::time::Duration;

const POSITION: &str = "Silo 3 roof, east hatch";

/// Holds a key whose edge fills meanwhile, and counts how often the screen is drawn.
fn frames_of_a_held_key(hand: &mut Hand) -> u32 {
    hand.wait_for_prompt();
    // Let go too early, it does nothing.
    let held = hand.twin.middle_of("I TAKE COMMAND");
    let rows = (u32::try_from(held.1).expect("it is on the screen") - 20, 40);
    hand.screen.press(held);
    let frames = hand.screen.frames(rows, Duration::from_millis(450));
    hand.screen.release();
    std::thread::sleep(Duration::from_millis(150));
    frames
}

/// Everything that the hand did is in the record, and nothing that was called saved is missing.
fn all_is_there(hand: &mut Hand, story: &str) -> usize {
    hand.wait_for_mark(Mark::Saved);
    let saved = hand.tablet.take().and_then(Tablet::kill);
    let here = nothing_is_lost(&folders(&hand.data, None), saved.as_ref(), story);
    verified(&hand.data, None, story);
    here
}

#[test]
fn a_drill_goes_on_while_the_disk_does_not_answer_and_all_is_saved_when_it_does() {
    let folder = tempfile::tempdir().expect("there is room");
    let (gate, count) = (folder.path().join("gate"), folder.path().join("count"));
    let words = [
        ("FAULT_GATE", gate.to_string_lossy()),
        ("FAULT_COUNT", count.to_string_lossy()),
    ];
    let words: Vec<(&str, &str)> = words.iter().map(|(key, value)| (*key, &**value)).collect();

    std::fs::write(&gate, "").expect("it can be written");
    // From the very start: not even the plan is kept yet, and the lock is the only thing on the disk.
    let data = folder.path().join("data");
    let mut hand = Hand::start(program_on_disk(&words), folder.path(), &data, None);
    hand.hang(POSITION);
    assert_eq!(hand.mark(), Mark::Saving);
    // A quick disk beside it at the same time, because how fast this machine draws changes.
    let mut beside = Hand::start(program(), folder.path(), &folder.path().join("quick"), None);
    beside.hang(POSITION);
    let (mut slow, mut quick) = (0, 0);
    for _ in 0..5 {
        slow += frames_of_a_held_key(&mut hand);
        quick += frames_of_a_held_key(&mut beside);
    }
    drop(beside);
    let place = hand.clock_place();
    let changes = hand.clock_changes(place, |changes| changes < 2);
    hand.play(&mut |hand, step| {
        if step % 8 == 0 {
            // After a while it says in so many words that nothing is saved.
            assert_ne!(hand.mark(), Mark::Saved, "step {step}");
        }
    });
    assert_eq!(hand.tablet().saved(), None, "nothing was durable");
    let (waited, touches, records) = (counted(&count), hand.touches, hand.records());
    assert!(
        waited > 0,
        "the program asked for nothing to be made durable"
    );

    std::fs::remove_file(&gate).expect("it is there");
    let here = all_is_there(&mut hand, "after the disk answered");
    println!(
        "{touches} touches while {waited} calls waited for the disk: {here} records afterwards ({records} by the hand's own \
         engine), 0 lost; the time went on {changes} times; {slow} frames, {quick} on a quick disk"
    );
    assert!(
        here >= records.saturating_sub(8),
        "{here} records, not {records}"
    );
    assert!(
        slow * 2 > quick,
        "{slow} frames on the slow disk, {quick} on a quick one"
    );
    assert!(quick >= 5, "the held key is not drawn: {quick} frames");
}

/// A second and a half for each call: the mark follows behind, and is never ahead of the disk.
#[test]
fn with_seconds_for_each_sync_the_mark_stays_behind_the_disk() {
    let folder = tempfile::tempdir().expect("there is room");
    // What has been kept before needs no sync, so the incident is begun on a quick disk.
    let mut hand = on_the_program(folder.path());
    hand.hang(POSITION);
    hand.wait_for_mark(Mark::Saved);
    let _ = hand.tablet.take().and_then(Tablet::kill);
    hand.start_program(program_on_disk(&[("FAULT_WAIT", "1500")]));
    hand.wait_for_prompt();
    let mut seen = Vec::new();
    for _ in 0..4 {
        hand.answer();
        // The announcement first: it may only be behind what the files hold a moment later.
        let saved = hand.tablet().saved();
        nothing_is_lost(
            &folders(&hand.data, None),
            saved.as_ref(),
            "while it is slow",
        );
        seen.push((saved.map(|it| it.1), hand.mark()));
    }
    assert!(
        seen.iter().any(|it| it.1 == Mark::Saving),
        "it was never behind: {seen:?}"
    );
    let here = all_is_there(&mut hand, "seconds for each sync");
    println!(
        "4 answers at a second and a half a sync: {here} records, 0 lost; called saved meanwhile: {seen:?}"
    );
}
