//! Keeps journals of every version readable: what an older program wrote is verified, replayed and told today.
//!
//! The files never change. The first is a rehearsal at silo 3 as format version 1 first wrote it, the second that of
//! `tests/scripts/turns.txt`, with the kinds that came to version 1 with several casualties, command and outside lead.

use groundward::incident::{Event, Record, State};
use groundward::journal::disk::RealDisk;
use groundward::journal::read;
use groundward::review;
use groundward::words::Language;
use std::path::Path;

const VERSION_1: &str = "20261125T194636Z-7adc";
const VERSION_1_TURNS: &str = "20261126T013609Z-6779";

fn records(incident: &str) -> (Vec<Record>, Vec<String>) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join("golden");
    let found = read::read(&RealDisk, &[folder], incident).expect("the golden journal is there");
    assert!(
        found.problems.is_empty() && found.closed,
        "{:?}",
        found.problems
    );
    let texts: Vec<String> = found.records.iter().map(|r| r.text.clone()).collect();
    (
        texts
            .iter()
            .map(|t| Record::from_json(t).expect("it can be read"))
            .collect(),
        texts,
    )
}

#[test]
fn a_journal_of_version_1_replays_to_the_same_rescue() {
    let (records, texts) = records(VERSION_1);
    for (record, text) in records.iter().zip(&texts) {
        assert!(
            !matches!(record.event, Event::Unknown { .. }),
            "record {} is not known any more",
            record.seq
        );
        let own = record.to_json();
        let own = own.trim_end_matches('}');
        assert!(
            text.starts_with(own),
            "record {} would be written differently today",
            record.seq
        );
    }
    let state = State::replay(records);
    let casualty = state.facts.casualty();
    assert_eq!(casualty.contact.map(|t| t.0), Some(230_000));
    assert_eq!(casualty.off.map(|(t, _)| t.0), Some(305_000));
    assert_eq!(casualty.landed.map(|t| t.0), Some(390_000));
    assert_eq!(state.facts.stood_down.map(|t| t.0), Some(630_000));
    let tried: Vec<&str> = state
        .facts
        .casualty()
        .windows
        .iter()
        .map(|w| w.method.as_str())
        .collect();
    assert_eq!(tried, ["self", "ladder"]);
}

#[test]
fn a_journal_with_every_turn_replays_and_is_told_in_both_languages() {
    let (records, texts) = records(VERSION_1_TURNS);
    for (record, text) in records.iter().zip(&texts) {
        let own = record.to_json();
        assert!(
            text.starts_with(own.trim_end_matches('}')),
            "record {} would be written differently today",
            record.seq
        );
        assert!(!matches!(record.event, Event::Unknown { .. }));
    }
    let state = State::replay(records.clone());
    let casualties = &state.facts.casualties;
    assert_eq!(casualties.len(), 3);
    assert!(casualties[2].rescuer && casualties[0].refused.is_some());
    let off: Vec<Option<i64>> = casualties
        .iter()
        .map(|it| it.off.map(|(t, _)| t.0))
        .collect();
    assert_eq!(off, [Some(160_000), Some(175_000), Some(185_000)]);
    assert!(casualties.iter().all(|it| it.handed.is_some()));
    for language in Language::ALL_SPOKEN {
        let lines = review::lines(&records, language);
        assert!(
            lines
                .iter()
                .all(|l| !l.text.trim().is_empty() && !l.text.contains('{'))
        );
    }
}

#[test]
fn a_journal_of_version_1_is_told_in_words() {
    let (records, _) = records(VERSION_1);
    let lines = review::lines(&records, Language::English);
    let told = |text: &str| {
        lines
            .iter()
            .find(|l| l.text == text)
            .map(|l| l.elapsed.as_str())
    };
    assert_eq!(told("Changed from ladder to boom lift"), Some("2:20"));
    assert_eq!(told("Off the harness"), Some("5:05"));
    assert!(lines.iter().all(|l| !l.text.trim().is_empty()));
}

/// A newer program's record: its kind, and a known kind in another version, are kept as they are.
#[test]
fn what_a_newer_program_wrote_is_kept_and_shown() {
    let (records, texts) = records(VERSION_1);
    let newer = texts[9].replacen("\"kind\":\"", "\"kind\":\"newer-", 1);
    let record = Record::from_json(&newer).expect("it is a record");
    assert!(matches!(&record.event, Event::Unknown { kind, .. } if kind.starts_with("newer-")));
    assert!(newer.starts_with(record.to_json().trim_end_matches('}')));
    let other = texts[9].replacen("{\"v\":1,", "{\"v\":2,", 1);
    let record_2 = Record::from_json(&other).expect("it is a record");
    assert!(matches!(record_2.event, Event::Unknown { .. }));
    let mut all = records;
    all.push(Record {
        seq: all.len() as u64,
        ..record
    });
    let lines = review::lines(&all, Language::English);
    assert!(
        lines.last().is_some_and(
            |l| l.text.contains("newer-") && l.text.contains("not known to this version")
        )
    );
}
