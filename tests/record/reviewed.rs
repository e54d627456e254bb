//! Checks what a review adds to a record: that it is sealed, refers to what is there, changes nothing that is known of the
//! incident, and survives two programs and a kill at any moment.

use super::chain::redo;
use crate::drills::{groundward, json, record, refused};
use groundward::drill::{Debrief, Lesson, Outcome};
use groundward::history::records;
use groundward::incident::{
    ABOUT_MAX, Amiss, Event, Finding, NAME_CHARS_MAX, Name, Nature, OwnWords, Owner, Record,
    Remark, State, Task, Unfit, WORDS_CHARS_MAX,
};
use groundward::journal::addition::{NotAdded, added};
use groundward::journal::disk::{Disk, RealDisk};
use groundward::journal::lock::DataLock;
use groundward::journal::read::{Readback, read};
use groundward::plan::DEMO;
use groundward::review::{Digest, lines, remarks, tasks};
use groundward::signal::Addition;
use groundward::words::Language;
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Arc, OnceLock};
use std::time::Duration;
use tempfile::{TempDir, tempdir};

const INCIDENT: &str = "20261001T090000Z-silo3";

/// The journal of a drill that has ended, played once for all of these tests.
fn played() -> &'static [u8] {
    static PLAYED: OnceLock<Vec<u8>> = OnceLock::new();
    PLAYED.get_or_init(|| {
        let data = record(DEMO, "silo3", 1, false);
        fs::read(file(data.path())).expect("it was written")
    })
}

fn ended() -> TempDir {
    let data = tempdir().expect("a folder can be made");
    let journals = data.path().join("journals");
    fs::create_dir(&journals).expect("a folder can be made");
    fs::write(file(data.path()), played()).expect("it can be written");
    data
}

fn file(data: &Path) -> PathBuf {
    data.join("journals").join(format!("{INCIDENT}.jsonl"))
}

fn read_back(data: &Path) -> Readback {
    read(&RealDisk, &[data.join("journals")], INCIDENT).expect("it is there")
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a plain name")
}

/// Says it at the desk; the answer is the number of the record and the new head.
#[track_caller]
fn say(data: &TempDir, command: &str, more: &[&str]) -> (u64, String) {
    let base = ["log", command, INCIDENT, "--by", "Oda", "--data"];
    let (code, said) = json(&[&base[..], &[text(data.path())], more].concat());
    assert_eq!(code, 0, "{said}");
    let head = said["head"].as_str().expect("a head").to_owned();
    (said["number"].as_u64().expect("a number"), head)
}

/// Python's Unicode database says which characters are controls, break a line or format its direction (UAX 9).
#[test]
fn only_characters_that_show_as_they_stand_are_taken() {
    let script = "import sys, unicodedata as u\n\
        turning = {'LRE','RLE','PDF','LRO','RLO','LRI','RLI','FSI','PDI'}\n\
        print(*[c for c in range(0x110000) if not 0xd800 <= c < 0xe000 and (u.category(chr(c)) in ('Cc','Zl','Zp') \
        or u.bidirectional(chr(c)) in turning or c in (0x61c, 0x200e, 0x200f, 0xfeff))])";
    let output = Command::new("python3")
        .args(["-c", script])
        .output()
        .expect("python3 is installed for this check");
    let expected: BTreeSet<u32> = String::from_utf8(output.stdout)
        .expect("it prints text")
        .split_whitespace()
        .map(|it| it.parse().expect("a number"))
        .collect();
    assert!(expected.len() > 70, "{}", expected.len());
    let refused: BTreeSet<u32> = ('\0'..=char::MAX)
        .filter(|it| OwnWords::new(&format!("a{it}b")).is_err())
        .map(u32::from)
        .collect();
    assert_eq!(refused, expected);
    assert_eq!(OwnWords::new(" \u{a0} "), Err(Unfit::Empty));
    let long = |count: usize| "ñ".repeat(count);
    assert!(OwnWords::new(&long(WORDS_CHARS_MAX)).is_ok());
    assert_eq!(
        OwnWords::new(&long(WORDS_CHARS_MAX + 1)),
        Err(Unfit::Long(WORDS_CHARS_MAX + 1, WORDS_CHARS_MAX))
    );
    assert!(Name::new(&long(NAME_CHARS_MAX + 1)).is_err());
    assert_eq!(
        OwnWords::new("  Bram slipped  ").map(String::from),
        Ok("Bram slipped".to_owned())
    );
}

#[test]
fn a_text_that_nobody_could_enter_is_not_believed_when_it_is_read() {
    let data = ended();
    say(&data, "remark", &["the gate was shut"]);
    let back = read_back(data.path());
    let line = &back.records.last().expect("it was added").text;
    for bad in ["gate\\u202eshut", "gate\\nshut", ""] {
        let bad = line.replace("the gate was shut", bad);
        let read = Record::from_json(&bad).expect("it is a record");
        assert!(
            matches!(&read.event, Event::Unknown { kind, .. } if kind == "reviewed"),
            "{read:?}"
        );
    }
}

/// What stood there stays byte for byte; another program, in another language, finds the chain whole.
#[test]
fn a_review_at_a_desk_is_sealed_and_told() {
    let data = ended();
    let before = State::replay(records(&read_back(data.path())));
    let end = before.log.last().expect("it has records").seq;
    let (remark, _) = say(&data, "remark", &["--about", "3,4", "the gate was shut"]);
    assert_eq!(remark, end + 1);
    let danger = [
        "--nature",
        "danger",
        "--about",
        "5",
        "nobody watched the edge",
    ];
    let (finding, _) = say(&data, "finding", &danger);
    let answer = ["--answers", &remark.to_string(), "it was the north gate"];
    let (answer, _) = say(&data, "remark", &answer);
    let due = ["--due", "2026-12-01", "--owner"];
    let from = ["--from", &finding.to_string()];
    let watch = [&due[..], &["Bram"], &from, &["name a watcher"]].concat();
    let (watch, _) = say(&data, "task", &watch);
    let hinge = [&due[..], &["Hinge works"], &["mend the gate"]].concat();
    let (hinge, _) = say(&data, "task", &hinge);
    say(&data, "done", &[&watch.to_string()]);
    say(&data, "done", &[&hinge.to_string()]);
    let (last, head) = say(&data, "reopen", &[&hinge.to_string()]);

    let bytes = fs::read(file(data.path())).expect("it is there");
    assert!(
        bytes.starts_with(played()),
        "nothing that stood there moved"
    );
    let count = last + 1 - read_back(data.path()).records[0].seq;
    assert_eq!(redo(&[file(data.path())]), format!("ok {count} {head}\n"));
    let folder = text(data.path());
    let (code, shown, _) = groundward(&["log", "show", INCIDENT, "--data", folder]);
    assert_eq!(code, 0);
    assert!(shown.contains(&format!("head {head}")), "{shown}");
    for says in [
        "Oda           Remark: the gate was shut (records 3, 4)".to_owned(),
        "Finding, danger: nobody watched the edge (records 5)".to_owned(),
        format!("Remark on {remark}: it was the north gate"),
        format!("To be done: name a watcher - Bram, by 2026-12-01 (from finding {finding})"),
        "To be done: mend the gate - Hinge works, by 2026-12-01".to_owned(),
        "Open again: mend the gate".to_owned(),
    ] {
        assert!(shown.contains(&says), "{says:?} is not in {shown}");
    }
    let all = records(&read_back(data.path()));
    for line in lines(&all, Language::Spanish) {
        let text = &line.text;
        assert!(!text.contains('{') && !text.contains("Finding"), "{text}");
    }
    let said = remarks(&all);
    let short: Vec<_> = said
        .iter()
        .map(|it| {
            (
                it.number,
                it.nature,
                it.answers,
                it.answered.as_slice(),
                it.tasks.as_slice(),
            )
        })
        .collect();
    assert_eq!(
        short,
        [
            (remark, None, None, &[answer][..], &[][..]),
            (finding, Some(Nature::Danger), None, &[], &[watch]),
            (answer, None, Some(remark), &[], &[]),
        ]
    );
    assert_eq!(
        (said[0].by.as_deref(), said[0].who.as_str()),
        (Some("Oda"), "desk")
    );
    let set = tasks(&all);
    assert_eq!(set[0].task.owner, Owner::Responder("bram".to_owned()));
    assert!(matches!(&set[1].task.owner, Owner::Named(it) if it.as_str() == "Hinge works"));
    assert!(set[0].done_ms.is_some() && set[1].done_ms.is_none());
}

#[test]
fn what_is_to_be_done_is_one_list_over_drills_and_rescues() {
    let data = ended();
    let folder = text(data.path());
    let due = |day: &'static str, what: &'static str| ["--owner", "Oda", "--due", day, what];
    let (early, _) = say(&data, "task", &due("2026-11-01", "mend the gate"));
    let (late, _) = say(&data, "task", &due("2027-01-01", "paint the gate"));
    let listed = |more: &[&str]| {
        let base = ["log", "tasks", "--data", folder, "--on", "2026-12-01"];
        let (code, said) = json(&[&base[..], more].concat());
        let rows = said["tasks"].as_array().expect("a list").iter();
        let numbers: Vec<u64> = rows.filter_map(|it| it["number"].as_u64()).collect();
        (code, numbers)
    };
    assert_eq!(listed(&[]), (0, vec![early, late]));
    assert_eq!(listed(&["--overdue", "--strict"]), (1, vec![early]));
    say(&data, "done", &[&early.to_string()]);
    assert_eq!(listed(&["--overdue", "--strict"]), (0, vec![]));
    assert_eq!(listed(&["--all"]), (0, vec![late, early]));
    refused(
        &["log", "tasks", "none.toml", "--data", folder],
        &["none.toml"],
    );
}

#[test]
fn what_cannot_be_added_is_said_and_nothing_is_written() {
    let data = ended();
    let folder = text(data.path());
    let base = ["log", "remark", INCIDENT, "--by", "Oda", "--data", folder];
    let tried = |more: &[&str], says: &[&str]| {
        refused(&[&base[..], more].concat(), says);
        assert_eq!(fs::read(file(data.path())).expect("it is there"), played());
    };
    tried(&["--about", "99999", "x"], &["no record 99999", "log show"]);
    tried(
        &["--answers", "3", "x"],
        &["record 3 is neither a remark nor a finding"],
    );
    let done = [
        "log", "done", INCIDENT, "3", "--by", "Oda", "--data", folder,
    ];
    refused(&done, &["record 3 sets nothing to be done"]);
    let task = ["--owner", "Oda", "--due", "2026-12-01", "--from", "3", "x"];
    let task = [&["log", "task"], &base[2..], &task].concat();
    refused(&task, &["record 3 is no finding"]);
    let gone = [
        "log",
        "remark",
        "20310101T000000Z-none",
        "--by",
        "Oda",
        "x",
        "--data",
        folder,
    ];
    refused(&gone, &["no incident 20310101T000000Z-none", "log list"]);
    // A folder that is not there is not made for a question.
    let nowhere = data.path().join("nowhere");
    let elsewhere = [&base[..6], &[text(&nowhere), "x"]].concat();
    refused(&elsewhere, &["no incident"]);
    assert!(!nowhere.exists());
    for bad in ["", "a\u{202e}b", "a\nb", &"x".repeat(WORDS_CHARS_MAX + 1)] {
        let (code, out, error) = groundward(&[&base[..], &[bad]].concat());
        assert_eq!((code, out.as_str()), (2, ""), "{bad:?}");
        assert!(error.contains("TEXT"), "{error}");
    }
    // A tablet runs on this folder.
    let lock = DataLock::take(data.path()).expect("nobody holds it");
    tried(
        &["x"],
        &["another Groundward uses the folder", "To be done"],
    );
    drop(lock);
    let mut bytes = played().to_vec();
    bytes[40] ^= 1;
    fs::write(file(data.path()), &bytes).expect("it can be written");
    refused(
        &[&base[..], &["x"]].concat(),
        &["was altered", "log verify"],
    );
    // One line less is the end: nobody stood it down.
    let whole = String::from_utf8(played().to_vec()).expect("it is text");
    let at = whole.find("\"kind\":\"stood-down\"").expect("it ended");
    let start = whole[..at].rfind('\n').expect("it is not the first") + 1;
    fs::write(file(data.path()), &whole[..start]).expect("it can be written");
    refused(
        &[&base[..], &["x"]].concat(),
        &["has not ended yet", "stand it down"],
    );
}

#[test]
fn several_programs_at_once_write_one_chain() {
    let data = ended();
    let before = read_back(data.path()).records.len();
    let running: Vec<_> = (0..6)
        .map(|number| remarking(data.path(), &format!("number {number}")))
        .collect();
    let mut written = 0;
    for child in running {
        let output = child.wait_with_output().expect("it ends by itself");
        let error = String::from_utf8_lossy(&output.stderr);
        match output.status.code() {
            Some(0) => written += 1,
            _ => assert!(error.contains("another Groundward uses"), "{error}"),
        }
    }
    assert!(written > 0);
    let back = read_back(data.path());
    assert_eq!(
        (back.problems.len(), back.records.len()),
        (0, before + written)
    );
    assert!(redo(&[file(data.path())]).starts_with("ok "));
}

fn remarking(data: &Path, what: &str) -> std::process::Child {
    let folder = text(data);
    Command::new(env!("CARGO_BIN_EXE_groundward"))
        .args([
            "log", "remark", INCIDENT, "--by", "Oda", "--data", folder, what,
        ])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts")
}

/// Killed while it starts, reads, writes or syncs: what was acknowledged stays, and the next one goes on from there.
#[test]
fn a_kill_at_any_moment_costs_nothing_that_stood_there() {
    let data = ended();
    let mut least = read_back(data.path()).records.len();
    let mut killed = 0;
    for round in 0..24 {
        let mut child = remarking(data.path(), &format!("round {round}"));
        std::thread::sleep(Duration::from_millis(round * 3));
        child.kill().expect("it can be killed or has ended");
        let output = child.wait_with_output().expect("it has ended");
        killed += u32::from(output.status.code().is_none());
        least += usize::from(output.status.code() == Some(0));
        let back = read_back(data.path());
        assert!(back.problems.is_empty(), "{:?}", back.problems);
        assert!(back.records.len() >= least, "round {round}");
        least = back.records.len();
    }
    assert!(killed > 0, "none was in time");
    let (_, head) = say(&data, "remark", &["after all of it"]);
    let back = read_back(data.path());
    assert_eq!(
        (back.head.as_str(), back.records.len()),
        (head.as_str(), least + 1)
    );
}

/// The store's index was made before: it must not hide what was added at the desk, and its copies are made good.
#[test]
fn the_store_does_not_hide_what_was_added() {
    let data = ended();
    let folder = text(data.path());
    let (code, ..) = groundward(&["log", "rebuild", "--data", folder]);
    assert_eq!(code, 0);
    let (number, head) = say(
        &data,
        "finding",
        &["--nature", "unknown", "the sling was wet"],
    );
    let (_, listed) = json(&["log", "list", "--data", folder]);
    assert_eq!(listed[0]["intact"], true);
    assert_eq!(
        listed[0]["records"].as_u64(),
        Some(read_back(data.path()).records.len() as u64)
    );
    let (_, shown, _) = groundward(&["log", "show", INCIDENT, "--data", folder]);
    assert!(
        shown.contains("the sling was wet") && shown.contains(&head),
        "{shown}"
    );
    assert!(number > 0);
}

fn own(text: &str) -> OwnWords {
    OwnWords::new(text).expect("it is one plain line")
}

/// Any addition, sensible or not: numbers are those of records, of remarks, and of nothing.
fn additions() -> impl Strategy<Value = Vec<Event>> {
    let number = || prop_oneof![0..20u64, 300..420u64, Just(u64::MAX)];
    let remark = (
        "[a-zñÁ¿?,. ]{1,40}x",
        prop::collection::vec(number(), 0..4),
        prop::option::weighted(0.4, number()),
        prop::option::of(Just(Name::new("Oda").expect("a name"))),
    );
    let remark = remark.prop_map(|(text, about, answers, by)| Remark {
        text: own(&text),
        about,
        answers,
        by,
    });
    let nature = prop::sample::select(vec![
        Nature::WorkedWell,
        Nature::ToBeBetter,
        Nature::Danger,
        Nature::Unknown,
    ]);
    let task = prop::option::weighted(0.4, number()).prop_map(|from| {
        Event::TaskSet(Task {
            text: "mend the hoist".into(),
            owner: Owner::Named(Name::new("Oda").expect("a name")),
            due: "2031-06-01".parse().expect("a day"),
            from,
            by: None,
        })
    });
    let event = prop_oneof![
        remark.clone().prop_map(Event::Reviewed),
        (nature, remark).prop_map(|(nature, remark)| Event::Found(Finding { nature, remark })),
        task,
        number().prop_map(|task| Event::TaskDone { task, by: None }),
        number().prop_map(|task| Event::TaskOpen { task, by: None }),
    ];
    prop::collection::vec(event, 1..12)
}

/// Numbers that an event speaks of, each with the kinds it may be; an own reading, beside that of the program.
fn spoken_of(event: &Event) -> Vec<(u64, &'static [&'static str])> {
    let remark = match event {
        Event::Reviewed(remark) | Event::Found(Finding { remark, .. }) => remark,
        Event::TaskSet(task) => {
            return task
                .from
                .map(|it| (it, &["found"][..]))
                .into_iter()
                .collect();
        }
        Event::TaskDone { task, .. } | Event::TaskOpen { task, .. } => {
            return vec![(*task, &["task-set"])];
        }
        other => panic!("nobody adds {other:?}"),
    };
    let about = remark.about.iter().map(|it| (*it, &[][..]));
    let answers = remark.answers.map(|it| (it, &["reviewed", "found"][..]));
    about.chain(answers).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn whatever_is_added_stands_in_the_chain_and_changes_nothing_that_is_known(events in additions()) {
        let data = ended();
        let folders = [data.path().join("journals")];
        let disk: Arc<dyn Disk> = Arc::new(RealDisk);
        let before = State::replay(records(&read_back(data.path())));
        let mut kinds: Vec<String> = before.log.iter().map(|it| it.event.kind()).collect();
        let first = before.log[0].seq;
        let mut now = before.log[0].now.clone();
        let mut kept = Vec::new();
        for event in events {
            now.wall_ms += 86_400_000;
            let is = |number: u64| usize::try_from(number.checked_sub(first)?).ok().and_then(|at| kinds.get(at));
            let fits = spoken_of(&event).into_iter().all(|(number, may)| {
                is(number).is_some_and(|kind| may.is_empty() || may.contains(&kind.as_str()))
            });
            let addition = Addition { incident: INCIDENT.to_owned(), now: now.clone(), who: "desk".to_owned(), event: event.clone() };
            match added(&disk, &folders, addition) {
                Ok(_) => {
                    prop_assert!(fits, "{event:?}");
                    kinds.push(event.kind());
                    kept.push(event);
                }
                Err(NotAdded::Amiss(_)) => prop_assert!(!fits, "{event:?}"),
                Err(other) => prop_assert!(false, "{other}"),
            }
        }
        let bytes = fs::read(file(data.path())).expect("it is there");
        prop_assert!(bytes.starts_with(played()));
        let back = read_back(data.path());
        prop_assert!(back.problems.is_empty());
        let all = records(&back);
        let said: Vec<Event> = all[before.log.len()..].iter().map(|it| it.event.clone()).collect();
        prop_assert_eq!(&said, &kept, "it is read as it was said");
        let after = State::replay(all.iter().cloned());
        prop_assert_eq!(&after.facts, &before.facts);
        prop_assert_eq!(Outcome::of(&after), Outcome::of(&before));
        prop_assert_eq!(Lesson::of(&after), Lesson::of(&before));
        prop_assert_eq!(Debrief::of(&Outcome::of(&after)), Debrief::of(&Outcome::of(&before)));
        let digest = Digest::of(&after);
        let count = |kind: &str| kept.iter().filter(|it| it.kind() == kind).count();
        prop_assert_eq!(digest.remarks, count("reviewed") as u64);
        prop_assert_eq!(digest.findings.values().sum::<u64>(), count("found") as u64);
        prop_assert_eq!(digest.tasks.len(), count("task-set"));
        let bare = Digest { remarks: 0, findings: Default::default(), tasks: Vec::new(), ..digest };
        prop_assert_eq!(bare, Digest::of(&before), "nothing else of it differs");
        prop_assert_eq!(remarks(&all).len(), count("reviewed") + count("found"));
    }
}

#[test]
fn a_remark_is_about_no_more_records_than_a_person_reads() {
    let about = |count: usize| {
        let remark = Remark {
            text: own("all of it"),
            about: vec![1; count],
            answers: None,
            by: None,
        };
        Event::Reviewed(remark).amiss(|_| Some("step-done"))
    };
    assert_eq!(about(ABOUT_MAX), Ok(()));
    assert_eq!(
        about(ABOUT_MAX + 1),
        Err(Amiss::AboutTooMany(ABOUT_MAX + 1))
    );
}
