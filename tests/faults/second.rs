//! Starts a second program on data that one already uses.

use super::hand::Hand;
use super::rehearsal::{folders, nothing_is_lost, rehearse};
use crate::real::program;
use crate::support::tablet::Tablet;
use std::path::Path;

/// One sentence, exit code 2, and the first one goes on as if nothing had happened.
#[test]
fn a_second_program_is_turned_away_and_the_first_one_is_not_disturbed() {
    let folder = tempfile::tempdir().expect("there is room");
    let fallback = folder.path().join("other-disk");
    let data = folder.path().join("data");
    let mut hand = Hand::start(program(), folder.path(), &data, Some(&fallback));
    hand.hang("Silo 3 roof, east hatch");
    let sentence = |used: &Path| {
        let used = used.display();
        format!(
            "groundward: another Groundward uses the folder {used}; close it or give this one another folder\n"
        )
    };
    for round in 0..5 {
        let mut second = program();
        second.args(["run", "--demo", "--data"]).arg(&hand.data);
        hand.screen.lend_to(&mut second);
        let (code, _, said) = Tablet::listen_to(second).wait();
        assert_eq!((code, said), (Some(2), sentence(&data)), "round {round}");
        hand.answer();
    }
    // A data folder of its own does not help where the journals would meet in the other folder.
    let mut second = program();
    second
        .args(["run", "--demo", "--data"])
        .arg(folder.path().join("data-2"))
        .arg("--fallback")
        .arg(&fallback);
    hand.screen.lend_to(&mut second);
    let (code, _, said) = Tablet::listen_to(second).wait();
    assert_eq!((code, said), (Some(2), sentence(&fallback)));
    // A rehearsal keeps a record of its own below the tablet's and may be played beside it; another one beside that not.
    let slow = Tablet::listen_to(rehearse(program(), &hand.data, None, 60));
    while slow.saved().is_none() {
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    let (code, _, said) = Tablet::listen_to(rehearse(program(), &hand.data, None, 0)).wait();
    let rehearsals = data.join("rehearsals");
    assert_eq!((code, said), (Some(2), sentence(&rehearsals)));
    // A tablet on the record of that rehearsal is turned away as well.
    let mut second = program();
    second.args(["run", "--demo", "--data"]).arg(&rehearsals);
    hand.screen.lend_to(&mut second);
    let (code, _, said) = Tablet::listen_to(second).wait();
    assert_eq!((code, said), (Some(2), sentence(&rehearsals)));
    let (code, rehearsed, said) = slow.wait();
    assert_eq!(code, Some(0), "{said}");
    let of_rehearsal = folders(&rehearsals, None);
    assert!(nothing_is_lost(&of_rehearsal, rehearsed.as_ref(), "the rehearsal") > 200);

    hand.answer();
    hand.wait_for_mark(super::hand::Mark::Saved);
    let saved = hand.tablet.take().and_then(Tablet::kill);
    let here = nothing_is_lost(
        &folders(&data, Some(&fallback)),
        saved.as_ref(),
        "the first program",
    );
    println!("8 second programs turned away, {here} records of the first one, 0 lost");
}
