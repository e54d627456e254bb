//! Holds every account to what must be so of each: it names records that are there, in order, and leaves none out.
//!
//! The journals are those whose stories were read, every beginning of them, some with records missing or of kinds that nobody knows,
//! and plays of a crew that touches whatever chance says.

use super::journals::{at_a_table, journals};
use crate::drill::played::{Play, exercise};
use groundward::drill::Named;
use groundward::incident::{Event, Record};
use groundward::review::Account;
use groundward::review::account::{GapKind, OpenKind, Stage, TryEnd};
use groundward::units::Millis;
use groundward::words::Language;
use std::collections::BTreeSet;

/// Kinds that a story folds away: the program's own.
const FOLDED: [&str; 4] = [
    "prompt-shown",
    "clock-marked",
    "forecast-adopted",
    "came-due",
];

/// What must be so of the account of any journal.
fn check(records: &[Record], account: &Account) {
    let seqs: BTreeSet<u64> = records.iter().map(|it| it.seq).collect();
    let known = |about: &[u64], what: &str| {
        assert!(!about.is_empty(), "{what} rests on nothing");
        for seq in about {
            assert!(seqs.contains(seq), "{what} names record {seq}");
        }
    };
    for chapter in &account.chapters {
        assert!(!chapter.sentences.is_empty());
        assert!(chapter.sentences.is_sorted_by_key(|it| it.at));
        for sentence in &chapter.sentences {
            for language in Language::ALL_SPOKEN {
                let text = sentence.text.text(language);
                let ends = text.ends_with(['.', '?', '!']);
                assert!(ends && !text.contains('{'), "{text}");
                assert!(
                    !text.contains("(0:00)") || sentence.at < Millis(60_000),
                    "{text}"
                );
            }
            known(&sentence.about, &sentence.text.text(Language::English));
        }
    }
    for measure in account.measures.iter().filter(|it| it.at.is_some()) {
        known(&measure.about, &format!("{measure:?}"));
    }
    for it in &account.tries {
        known(&it.about, &format!("{it:?}"));
        assert!(it.from <= it.to && it.to <= account.whole);
    }
    for it in &account.estimates {
        assert!(it.actual.time >= Millis::ZERO, "{it:?}");
        assert!(it.about.iter().all(|seq| seqs.contains(seq)), "{it:?}");
    }
    for it in &account.advice {
        known(&it.about, &format!("{it:?}"));
        assert!(it.done_at.is_none_or(|at| at >= it.at), "{it:?}");
    }
    for it in &account.open {
        known(&it.about, &format!("{it:?}"));
        assert!(it.to.is_none_or(|to| to >= it.from), "{it:?}");
    }
    for it in &account.gaps {
        known(&it.about, &format!("{it:?}"));
        assert!(it.from <= it.to, "{it:?}");
    }
}

/// Every record that is not the program's own is told by some sentence.
fn check_told(records: &[Record], account: &Account) {
    let sentences = account.chapters.iter().flat_map(|it| &it.sentences);
    let told: BTreeSet<u64> = sentences.flat_map(|it| it.about.clone()).collect();
    for record in records {
        let folded = FOLDED.contains(&record.event.kind().as_str());
        assert!(
            folded || told.contains(&record.seq),
            "record {} is told nowhere: {:?}",
            record.seq,
            record.event
        );
    }
}

#[test]
fn every_account_names_records_that_are_there_and_leaves_none_out() {
    for (name, records) in journals() {
        let account = Account::of(&records).expect(name);
        check(&records, &account);
        check_told(&records, &account);
    }
}

#[test]
fn every_beginning_of_a_journal_is_told() {
    for (_, records) in journals() {
        assert_eq!(Account::of(&[]), None);
        // Each of the first records, then one of many, so that the long ones end as well.
        for length in (1..=records.len()).filter(|it| *it < 30 || it % 37 == 0) {
            let beginning = &records[..length];
            let account = Account::of(beginning).expect("it was opened");
            check(beginning, &account);
            check_told(beginning, &account);
        }
    }
}

#[test]
fn a_journal_with_holes_and_kinds_that_nobody_knows_is_told() {
    let records = at_a_table();
    for step in [2, 3, 5, 11] {
        let holes: Vec<Record> = records
            .iter()
            .enumerate()
            .filter(|(index, _)| *index == 0 || index % step != 1)
            .map(|it| it.1.clone())
            .collect();
        let account = Account::of(&holes).expect("it was opened");
        check(&holes, &account);
        let missing = |it: &&groundward::review::account::Gap| it.kind == GapKind::Missing;
        assert_eq!(
            account.gaps.iter().filter(missing).count(),
            holes
                .windows(2)
                .filter(|it| it[1].seq > it[0].seq + 1)
                .count(),
        );
        let mut strange = records.clone();
        for record in strange.iter_mut().skip(1).step_by(step) {
            let line = record
                .to_json()
                .replacen("\"kind\":\"", "\"kind\":\"newer-", 1);
            *record = Record::from_json(&line).expect("it is a record");
        }
        let account = Account::of(&strange).expect("it was opened");
        check(&strange, &account);
        check_told(&strange, &account);
        let unknown = account.gaps.iter().find(|it| it.kind == GapKind::Unknown);
        let unknown = unknown.expect("it says so");
        assert_eq!(unknown.about.len(), (records.len() - 1).div_ceil(step));
    }
}

#[test]
fn whatever_a_crew_touches_is_told() {
    for seed in 0..24 {
        let drill = (seed % 2 == 0).then(exercise);
        let mut play = Play::begin(seed, drill, 3);
        play.at_random(60);
        let records: Vec<Record> = play
            .lines
            .iter()
            .map(|it| Record::from_json(it).expect("it is a record"))
            .collect();
        let account = Account::of(&records).expect("it was opened");
        check(&records, &account);
        check_told(&records, &account);
        let corrections = |it: &&Record| matches!(it.event, Event::Corrected { .. });
        let found = account.open.iter();
        assert_eq!(
            found.filter(|it| it.kind == OpenKind::Correction).count(),
            records.iter().filter(corrections).count(),
        );
    }
}

/// What a person would look for first, held to what the scripts say.
#[test]
fn the_rehearsal_is_told_as_it_was_played() {
    let all = journals();
    let records = |name: &str| &all.iter().find(|it| it.0 == name).expect("it is there").1;
    let account = Account::of(records("boom-lift")).expect("it was opened");
    let at = |stage: Stage| {
        let found = account.measures.iter().find(|it| it.stage == stage);
        found.expect("every stage is there").at
    };
    // The script has them so.
    assert_eq!(at(Stage::OffHarness), Some(Millis(305_000)));
    assert_eq!(at(Stage::FirstContact), Some(Millis(230_000)));
    assert_eq!(at(Stage::CallMade), Some(Millis(70_000)));
    assert_eq!(at(Stage::StoodDown), Some(Millis(630_000)));
    let off = account
        .measures
        .iter()
        .find(|it| it.stage == Stage::OffHarness);
    let off = off.expect("it is there");
    // Nine minutes is the plan's own setting, and 5:05 is before it.
    assert_eq!(
        (off.target, off.past_target()),
        (Some(Millis(540_000)), None)
    );
    let ends: Vec<(&str, &TryEnd)> = account
        .tries
        .iter()
        .map(|it| (it.method.id.as_str(), &it.end))
        .collect();
    let [(one, first), (two, second), (three, last)] = ends[..] else {
        panic!("{ends:?}");
    };
    assert_eq!([one, two, three], ["self", "ladder", "boom-lift"]);
    let to = |end: &TryEnd| match end {
        TryEnd::Changed(Named { id, .. }) => id.clone(),
        _ => String::new(),
    };
    assert_eq!([to(first), to(second)], ["ladder", "boom-lift"]);
    assert_eq!(last, &TryEnd::OffHarness);
    // The drill that turned real was never stood down, and the tablet that lost its clock says so.
    let account = Account::of(records("turned-real")).expect("it was opened");
    assert_eq!(account.turned_real.map(|it| it.0), Some(Millis(45_000)));
    assert!(account.gaps.iter().any(|it| it.kind == GapKind::CutShort));
    let account = Account::of(records("restarted")).expect("it was opened");
    let off = account
        .measures
        .iter()
        .find(|it| it.stage == Stage::OffHarness);
    let off = off.expect("it is there");
    assert!(off.at_least && off.doubt.is_some_and(|it| it.later.is_none()));
    assert!(account.gaps.iter().any(|it| it.kind == GapKind::ClockLost));
}

/// The rehearsal ends after half a minute: what is open then is what its script had not come to.
#[test]
fn a_record_that_is_cut_short_says_what_it_leaves_open() {
    let all = journals();
    let records = &all
        .iter()
        .find(|it| it.0 == "boom-lift")
        .expect("it is there")
        .1;
    let boot = |it: &Record| it.now.boot_ms - records[0].now.boot_ms;
    let cut: Vec<Record> = records
        .iter()
        .take_while(|it| boot(it) < 30_000)
        .cloned()
        .collect();
    let account = Account::of(&cut).expect("it was opened");
    let open = |kind: OpenKind| account.open.iter().filter(|it| it.kind == kind).count();
    // The fan is locked off at 0:35, the call made at 1:10; the casualty hangs.
    assert_eq!(open(OpenKind::Hazard), 1);
    assert_eq!(open(OpenKind::Call), 1);
    assert_eq!(open(OpenKind::Hanging), 1);
    assert_eq!(open(OpenKind::Closing), 1);
    assert_eq!(open(OpenKind::HandOver), 0);
    let whole = Account::of(records).expect("it was opened");
    let never = |it: &&groundward::review::account::OpenEnd| it.to.is_none();
    assert_eq!(
        whole.open.iter().filter(never).count(),
        0,
        "{:?}",
        whole.open
    );
}
