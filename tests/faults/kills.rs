//! Kills the program at random moments and starts it again: SIGKILL, as a battery pulled out under it would feel to it.
//!
//! Four of five kills hit a scripted drill, so that many fall into writes and syncs; one of five hits the tablet itself
//! with its threads, while a finger is on the screen, and it has to go on in the running incident afterwards.
//! `GROUNDWARD_KILLS` says how many; the ordinary run has 50, the long one 500.

use super::hand::on_the_program;
use super::rehearsal::{folders, nothing_is_lost, start, verified};
use super::{fresh, times};
use crate::real::program;
use groundward::journal::disk::RealDisk;
use groundward::journal::read;
use std::time::Duration;

fn kills() -> u64 {
    times("GROUNDWARD_KILLS", 50)
}

#[test]
fn a_scripted_drill_killed_at_random_moments_loses_nothing_called_saved() {
    let mut chance = fresh("kills in a scripted drill");
    let kills = kills() * 4 / 5;
    let (mut cut_short, mut lost_nothing, mut torn, mut ahead) = (0, 0, 0, 0);
    for kill in 0..kills {
        let folder = tempfile::tempdir().expect("there is room");
        let pace_ms = chance.below(12);
        let tablet = start(folder.path(), None, pace_ms);
        // Two of three are counted from the first record called saved, so that a busy machine is killed late enough too.
        let patience = std::time::Instant::now() + Duration::from_secs(40);
        while kill % 3 > 0 && tablet.saved().is_none() && std::time::Instant::now() < patience {
            std::thread::sleep(Duration::from_millis(1));
        }
        std::thread::sleep(Duration::from_micros(chance.below(1_600_000)));
        let saved = tablet.kill();
        let record = folder.path().join("rehearsals");
        let folders = folders(&record, None);
        let story = format!("kill {kill} of {kills}");
        let here = nothing_is_lost(&folders, saved.as_ref(), &story);
        cut_short += u64::from(saved.is_some());
        lost_nothing += saved.as_ref().map_or(0, |(_, seq)| seq + 1);
        ahead += u64::from(saved.as_ref().is_some_and(|(_, seq)| here as u64 > seq + 1));
        if let Some((id, _)) = &saved {
            let found = read::read(&RealDisk, &folders, id).expect("it was read before");
            torn += found.torn().count();
            verified(&record, None, &story);
        }
    }
    println!(
        "{kills} kills, {cut_short} after something was called saved: {lost_nothing} records called saved, 0 lost; \
         {ahead} times more was there than called saved, {torn} torn tails"
    );
    assert!(
        cut_short * 2 > kills,
        "most kills came too early to show anything"
    );
}

#[test]
fn the_tablet_killed_under_a_finger_goes_on_and_loses_nothing_called_saved() {
    let mut chance = fresh("kills of the tablet");
    let kills = (kills() / 5).max(1);
    let folder = tempfile::tempdir().expect("there is room");
    let mut hand = on_the_program(folder.path());
    let (mut called, mut drills, mut before) = (0, 0, None::<(String, usize)>);
    let mut keys = None;
    for kill in 0..kills {
        let story = format!("kill {kill} of {kills}");
        if before.is_none() {
            hand.hang("Silo 3 roof, east hatch");
            drills += 1;
            keys.get_or_insert_with(|| {
                let main = hand.next_key().0;
                hand.answer();
                (main, hand.next_key().0)
            });
        }
        // What the finger hits is whatever stands there by now: the record has to hold what came of it.
        let (main, option) = keys.expect("it was found with the first drill");
        let rounds = chance.below(4);
        for _ in 0..rounds {
            for (x, y) in [main, option] {
                hand.screen.xdotool(&[
                    "mousemove",
                    &x.to_string(),
                    &y.to_string(),
                    "click",
                    "--repeat",
                    "4",
                    "--delay",
                    "25",
                    "1",
                ]);
            }
        }
        hand.screen.press(main);
        std::thread::sleep(Duration::from_micros(chance.below(900_000)));
        let saved = hand.tablet.take().and_then(|it| it.kill());
        hand.screen.release();
        let folders = folders(&hand.data, None);
        let here = nothing_is_lost(&folders, saved.as_ref(), &story);
        verified(&hand.data, None, &story);
        called += saved.as_ref().map_or(0, |(_, seq)| seq + 1);
        // The incident that ran is taken up, with everything that it had.
        if let (Some((id, count)), Some((now, _))) = (&before, &saved) {
            assert!(
                id == now && here > *count,
                "{story}: {id} became {now}, {count} records {here}"
            );
        }
        let (id, _) = saved.expect("something was saved");
        let found = read::read(&RealDisk, &folders, &id).expect("it was read before");
        let over = found.records.iter().any(|it| it.kind == "stood-down");
        before = (!over).then_some((id, here));
        if over {
            std::fs::remove_dir_all(&hand.data).expect("it can be removed");
            hand.forget();
        }
        hand.start_program(program());
        if before.is_some() {
            let patience = std::time::Instant::now() + Duration::from_secs(40);
            while hand.tablet().saved().is_none() {
                assert!(
                    std::time::Instant::now() < patience,
                    "{story}: it does not go on"
                );
                std::thread::sleep(Duration::from_millis(20));
            }
        }
    }
    println!(
        "{kills} kills of the tablet in {drills} drills: {called} records called saved, 0 lost"
    );
}
