//! Runs the journal's writer and reader alone through storms of faults: thousands of crashes, torn writes and failing
//! syncs in the time of a few whole incidents, so that what is rare there is common here.
//!
//! After every crash what was acknowledged is there, what is there is what was handed over, and nothing is called altered.

use crate::record::lying::{Fault, LyingDisk, Tear};
use crate::support::Chance;
use groundward::journal::writer::{Outcome, Writer};
use groundward::signal::Entry;
use std::path::PathBuf;
use std::sync::Arc;

const INCIDENT: &str = "20261125T183012Z-4f2a";

/// The chain fields and the newline, by which a line is longer than the entry.
const SEALED_BYTES: usize = 148;
const SECTOR_BYTES: usize = 512;
/// Storms in every test run; others with `GROUNDWARD_STORMS`.
const STORMS: u64 = 600;

/// A storm over one incident.
struct Storm {
    chance: Chance,
    disk: LyingDisk,
    writer: Writer,
    /// What was handed over, by sequence number from 0, as the writer seals it.
    handed: Vec<String>,
    acknowledged: Option<u64>,
    made: u64,
    crashes: u64,
    torn: u64,
}

fn folders() -> Vec<PathBuf> {
    vec![PathBuf::from("journals"), PathBuf::from("fallback")]
}

impl Storm {
    fn new(seed: u64) -> Storm {
        let mut chance = Chance(seed);
        let disk = LyingDisk::default();
        disk.reserve([512, 1_024, 2_048, 8_192][chance.below(4) as usize]);
        let writer = Writer::create(Arc::new(disk.clone()), folders(), INCIDENT);
        Storm {
            chance,
            disk,
            writer: writer.expect("the name is good"),
            handed: Vec::new(),
            acknowledged: None,
            made: 0,
            crashes: 0,
            torn: 0,
        }
    }

    fn rage(mut self) -> Storm {
        for _ in 0..60 {
            match self.chance.below(12) {
                0..=5 => self.append(),
                6 => self.fault(),
                7 => self.disk.heal(),
                8 => {
                    let outcome = self.writer.retry();
                    self.note(outcome);
                }
                9 if self.chance.one_in(3) => {
                    let outcome = self.writer.close();
                    self.note(outcome);
                }
                _ => self.crash(),
            }
        }
        self
    }

    /// A record that no other one equals, its text full of bytes that are hard to tell from padding and from ends.
    fn entry(&mut self) -> Entry {
        let seq = self.handed.len() as u64;
        self.made += 1;
        let long = match self.chance.below(8) {
            0 => self.chance.below(3_000),
            1 => 0,
            _ => self.chance.below(400),
        };
        let text = "J*é'{}, ".chars().cycle().take(long as usize);
        let text: String = text.collect();
        let made = self.made;
        let write = |text: &str| {
            format!(r#"{{"v":1,"seq":{seq},"kind":"noted","body":{{"n":{made},"t":"{text}"}}}}"#)
        };
        let mut json = write(&text);
        if self.chance.one_in(4) {
            // The line ends at the edge of a sector, or a few bytes beside it.
            let end = self
                .handed
                .iter()
                .chain([&json])
                .map(|it| it.len() + SEALED_BYTES)
                .sum::<usize>();
            let missing = end.next_multiple_of(SECTOR_BYTES) - end + self.chance.below(5) as usize;
            json = write(&(text + &"J".repeat(missing)));
        }
        self.handed.push(json.clone());
        Entry { seq, json }
    }

    fn append(&mut self) {
        let count = 1 + self.chance.below(4);
        let entries: Vec<Entry> = (0..count).map(|_| self.entry()).collect();
        let outcome = self.writer.append(&entries);
        self.note(outcome);
    }

    fn note(&mut self, outcome: Outcome) {
        if let Ok(Some(saved)) = outcome {
            assert_eq!(
                saved.seq + 1,
                self.handed.len() as u64,
                "all of it is saved"
            );
            self.acknowledged = Some(saved.seq);
        }
    }

    fn fault(&mut self) {
        let call = self.disk.calls() + 1 + self.chance.below(6) as usize;
        self.disk.fail(match self.chance.below(6) {
            0 => Fault::From(call),
            1 => Fault::FolderFrom(call, folders().remove(0)),
            2 => Fault::EverySync,
            3 => Fault::EveryFolderSync,
            4 => Fault::Full(self.chance.below(40_000) as usize),
            _ => Fault::Once(call),
        });
    }

    fn crash(&mut self) {
        self.crashes += 1;
        if self.chance.one_in(2) {
            let cut = self.chance.below(self.disk.unsynced_bytes() as u64 + 1) as usize;
            let tear = match self.chance.below(4) {
                0 => Tear::Nothing,
                1 => Tear::LastWriteTo(cut),
                _ => Tear::Sectors(self.chance.next()),
            };
            self.disk = self.disk.after_power_cut(tear);
        }
        if self.chance.one_in(2) {
            self.disk.heal();
        } else {
            self.fault();
        }
        let disk = Arc::new(self.disk.clone());
        let Ok((writer, found)) = Writer::resume(disk, folders(), INCIDENT) else {
            assert_eq!(self.acknowledged, None, "a saved incident has a file");
            let disk = Arc::new(self.disk.clone());
            let new = Writer::create(disk, folders(), INCIDENT);
            self.writer = new.expect("the name is good");
            self.handed.clear();
            return;
        };
        assert!(found.problems.is_empty(), "{:#?}", found.problems);
        self.torn += found.torn().count() as u64;
        let here = found.records.len();
        let saved = self.acknowledged.map_or(0, |seq| seq as usize + 1);
        assert!(here >= saved, "{saved} were called saved, {here} are here");
        for (record, handed) in found.records.iter().zip(&self.handed) {
            let open = handed.strip_suffix('}').expect("an object ends so");
            assert!(
                record.text.starts_with(open),
                "{} is not {open}",
                record.text
            );
        }
        assert!(here <= self.handed.len(), "more than was handed over");
        self.handed.truncate(here);
        self.writer = writer;
    }
}

#[test]
fn nothing_saved_is_lost_in_a_storm_of_faults_and_no_crash_is_called_an_alteration() {
    let setting = |name: &str| {
        std::env::var(name)
            .ok()
            .and_then(|it| it.parse::<u64>().ok())
    };
    let seeds = match setting("GROUNDWARD_SEED") {
        Some(seed) => seed..seed + 1,
        None => 0..setting("GROUNDWARD_STORMS").unwrap_or(STORMS),
    };
    let (mut crashes, mut torn) = (0, 0);
    for seed in seeds {
        let met = std::panic::catch_unwind(|| Storm::new(seed).rage()).unwrap_or_else(|panic| {
            eprintln!("repeat with: GROUNDWARD_SEED={seed} cargo test simulate::storms");
            std::panic::resume_unwind(panic)
        });
        crashes += met.crashes;
        torn += met.torn;
    }
    eprintln!("{crashes} crashes, {torn} torn tails");
    assert!(crashes > 0 && torn > 0);
}
