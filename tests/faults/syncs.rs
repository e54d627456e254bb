//! Lets each sync of the real program fail in turn, and each call of the journal's thread below the engine.
//!
//! `record::writer` does the same for the writer alone, with power cuts after each call: that is where every torn state is
//! looked at. Here it is asked whether the parts above it say what is true. `GROUNDWARD_SYNCS` says how many of the syncs
//! of the scripted drill are tried; the ordinary run takes the first and the last ones and some between, 0 takes all.

use super::rehearsal::{folders, nothing_is_lost, rehearse, verified};
use super::shim::{counted, program_on_disk};
use super::times;
use crate::record::lying::{Fault, LyingDisk, Tear};
use crate::support::tablet::Tablet;
use groundward::journal::read;
use groundward::journal::thread::JournalThread;
use groundward::signal::{Entry, JournalReport};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc;
use std::time::Duration;

/// Plays the drill so that the nth call that makes something durable below `only` fails, for some n or for all.
fn one_fails(only: &str, wanted: u64) -> (usize, usize, usize) {
    let folder = tempfile::tempdir().expect("there is room");
    let count = folder.path().join("count");
    let count_word = count.to_string_lossy().into_owned();
    let play = |nth: usize| {
        let record = folder.path().join(format!("sync-{nth}"));
        let nth = nth.to_string();
        let disk = [
            ("FAULT_NTH", &*nth),
            ("FAULT_COUNT", &*count_word),
            ("FAULT_ONLY", only),
        ];
        let command = rehearse(program_on_disk(&disk), &record, None, 0);
        (Tablet::listen_to(command).wait(), record)
    };
    play(0);
    let syncs = counted(&count);
    let wanted = usize::try_from(wanted).expect("it is small");
    let tried: Vec<usize> = (1..=syncs)
        .filter(|n| {
            let far = (syncs / (wanted / 2).max(1)).max(1);
            wanted == 0 || *n <= wanted / 4 || n + wanted / 4 > syncs || n % far == 0
        })
        .collect();
    let mut segments = 0;
    for nth in &tried {
        let ((code, saved, said), data) = play(*nth);
        let story = format!("sync {nth} of {syncs} below {only} failed");
        // What fails last, when the file is cut to its length, is said; everything is saved by then.
        let told = code == Some(2) && said.contains("The log is saved but cannot be closed");
        assert!(code == Some(0) || told, "{story}: {code:?}, {said}");
        let record = data.join("rehearsals");
        let folders = folders(&record, None);
        let here = nothing_is_lost(&folders, saved.as_ref(), &story);
        let last = saved.as_ref().map(|(_, seq)| seq + 1);
        assert_eq!(last, Some(here as u64), "{story}: all is saved at the end");
        let names = folders.iter().filter_map(|it| std::fs::read_dir(it).ok());
        segments += usize::from(names.flatten().count() > 1);
        verified(&record, None, &story);
        std::fs::remove_dir_all(data).expect("it is there");
    }
    println!(
        "{} of {syncs} syncs below {only} failed in turn, 0 records lost; {segments} times a second file was begun",
        tried.len()
    );
    (syncs, tried.len(), segments)
}

#[test]
fn whichever_sync_of_the_journal_fails_nothing_called_saved_is_lost() {
    let (syncs, tried, segments) = one_fails("/journals", times("GROUNDWARD_SYNCS", 16));
    assert!(syncs > 100, "a drill makes only {syncs} things durable");
    // A file whose very first sync fails leaves nothing behind, so not every failure shows in the end.
    assert!(segments * 2 > tried, "most failures went unnoticed");
}

#[test]
fn whichever_sync_of_the_store_fails_the_journal_has_everything() {
    let (syncs, ..) = one_fails("/store", times("GROUNDWARD_SYNCS", 6));
    assert!(syncs > 0, "the store makes nothing durable");
}

fn entries(seqs: std::ops::RangeInclusive<u64>) -> Vec<Entry> {
    seqs.map(|seq| Entry {
        seq,
        json: format!(r#"{{"v":1,"seq":{seq},"kind":"step-done","body":{{}}}}"#),
    })
    .collect()
}

const INCIDENT: &str = "20261125T183012Z-4f2a";
const LAST: u64 = 8;

/// Opens or takes up an incident on a disk, writes it to its end and closes it; what stood on the disk, after a power cut
/// in the very moment, each time the thread called something saved.
fn journal(disk: &LyingDisk, takes_up: bool) -> (Vec<(u64, LyingDisk)>, bool) {
    let (sender, reports) = mpsc::channel();
    let seen = disk.clone();
    let report = move |report: JournalReport, _| {
        // Looked at here, on the journal's thread, before anything else happens to the disk.
        let cut = seen.after_power_cut(Tear::Nothing);
        sender.send((report, cut)).expect("the test listens");
    };
    let journal = JournalThread::spawn_on(Arc::new(disk.clone()), folders_of_it(), report)
        .expect("there is room for a thread");
    let first = if takes_up { 4 } else { 0 };
    if takes_up {
        journal.resume(INCIDENT);
    } else {
        journal.open(INCIDENT);
    }
    for seq in first..=LAST {
        journal.append(entries(seq..=seq));
    }
    journal.close();
    let (mut saved, mut closed) = (Vec::new(), false);
    while !closed {
        let (report, cut) = reports
            .recv_timeout(Duration::from_secs(30))
            .expect("a fault that passes holds nothing up");
        match report {
            JournalReport::Saved { seq, .. } => saved.push((seq, cut)),
            JournalReport::Closed { .. } => closed = true,
            _ => {}
        }
    }
    (saved, closed)
}

fn folders_of_it() -> Vec<PathBuf> {
    ["journal", "fallback"].map(PathBuf::from).to_vec()
}

#[test]
fn whichever_call_below_the_journals_thread_fails_saved_means_durable() {
    let mut tried = 0;
    for takes_up in [false, true] {
        let begun = || {
            let disk = LyingDisk::default();
            if takes_up {
                let (sender, _reports) = mpsc::channel();
                let report = move |it, _| drop(sender.send(it));
                let journal =
                    JournalThread::spawn_on(Arc::new(disk.clone()), folders_of_it(), report)
                        .expect("there is room for a thread");
                journal.open(INCIDENT);
                journal.append(entries(0..=3));
                drop(journal);
            }
            disk
        };
        let calls = {
            let disk = begun();
            let before = disk.calls();
            journal(&disk, takes_up);
            disk.calls() - before
        };
        for call in 1..=calls {
            let disk = begun();
            disk.fail(Fault::Once(disk.calls() + call));
            let (saved, closed) = journal(&disk, takes_up);
            let story = format!("call {call} of {calls} failed, taken up: {takes_up}");
            assert!(closed, "{story}");
            assert_eq!(saved.last().map(|it| it.0), Some(LAST), "{story}");
            for (seq, cut) in saved {
                let found = read::read(&cut, &folders_of_it(), INCIDENT)
                    .unwrap_or_else(|error| panic!("{story}: {seq} was called saved, and {error}"));
                assert_eq!(found.problems, [], "{story}");
                assert!(
                    found.records.len() as u64 > seq,
                    "{story}: {seq} is not durable"
                );
            }
            tried += 1;
        }
    }
    println!("{tried} calls failed in turn, each record called saved was durable in that moment");
}
