//! Stands in for the journal's thread, and lets the program, the machine and the power fail under it.
//!
//! After every crash what was called saved is there, what is there is what was handed over, nothing is called altered, and
//! the time goes on as it truly did, or as the wall clock has it, or as a lower bound that says so.

use super::tally::Met;
use super::world::{Handed, World, folders, some_plan};
use crate::record::lying::Tear;
use crate::record::proof::holds;
use groundward::engine::Engine;
use groundward::incident::{Carried, Event, Record};
use groundward::journal::chain::{Chain, FIRST_PREV};
use groundward::journal::read;
use groundward::journal::writer::{Outcome, Writer};
use groundward::signal::{Entry, Input, JournalReport};
use std::sync::Arc;

/// One in so many incidents is handed out; by its length, so that no seed lives another life for it.
const HANDED_OUT_EVERY: usize = 37;

impl World {
    pub(super) fn open_journal(&mut self, incident: String) {
        let disk = Arc::new(self.disk.clone());
        let mut writer = Writer::create(disk, folders(), &incident).expect("the id is fit");
        self.handed.clear();
        self.waiting.clear();
        self.reports.clear();
        self.acknowledged = None;
        self.incident = Some(incident);
        // Its file may be made before the first record comes.
        if self.chance.one_in(2) {
            let _ = writer.retry();
        }
        self.writer = Some(writer);
    }

    pub(super) fn hand_over(&mut self, entries: &[Entry]) {
        let facts = &self.engine.state().facts;
        for entry in entries {
            self.handed.push(Handed {
                entry: entry.clone(),
                true_ms: self.machine.true_ms,
                wall_error: self.machine.wall_error(),
                shown_error: self.truth.error_ms,
                at_least: facts.line.at_least,
            });
        }
        self.waiting.extend(entries.iter().cloned());
    }

    /// The journal's thread writes what waits.
    pub(super) fn write(&mut self) -> Option<Input> {
        let waiting = std::mem::take(&mut self.waiting);
        let outcome = self.writer.as_mut()?.append(&waiting);
        let report = self.report_of(outcome)?;
        match self.chance.below(10) {
            0 => {
                self.tally.meet(Met::LostReports);
                None
            }
            1..=2 => {
                self.reports.push_back(report);
                None
            }
            // The reports come in their order.
            _ => {
                self.reports.push_back(report);
                self.reports.pop_front()
            }
        }
    }

    pub(super) fn report_of(&mut self, outcome: Outcome) -> Option<Input> {
        let incident = self.incident.clone()?;
        Some(Input::Journal(match outcome {
            Ok(saved) => {
                let saved = saved?;
                self.acknowledged = Some(saved.seq);
                JournalReport::Saved {
                    incident,
                    seq: saved.seq,
                    head: saved.head,
                }
            }
            Err(why) => {
                self.tally.meet(Met::FailedSyncs);
                let why = why.0;
                JournalReport::Failing { incident, why }
            }
        }))
    }

    /// The journal's thread tries again what failed.
    pub(super) fn write_again(&mut self) {
        if let Some(report) = self.write() {
            self.take(report);
        }
    }

    /// Whether the disk really holds this record, whoever said so.
    pub(super) fn is_durable(&self, seq: u64) -> bool {
        let Some(incident) = &self.incident else {
            return false;
        };
        let image = self.disk.after_power_cut(Tear::Nothing);
        let found = read::read(&image, &folders(), incident);
        found.is_ok_and(|it| it.records.len() as u64 > seq)
    }

    /// The program dies, perhaps the machine too; what was called saved is there, and the incident goes on.
    pub(super) fn crash(&mut self) {
        self.tally.meet(Met::Crashes);
        let Some(incident) = self.incident.clone() else {
            return;
        };
        if self.trace {
            eprintln!("{} crash", self.machine.true_ms);
        }
        self.writer = None;
        self.late.clear();
        self.fingers.clear();
        self.reports.clear();
        self.waiting.clear();
        if self.chance.one_in(2) {
            self.tally.meet(Met::PowerCuts);
            let tear = self.some_tear();
            self.disk = self.disk.after_power_cut(tear);
            if self.chance.one_in(2) {
                self.machine.reboot(&mut self.chance, &mut self.tally);
                self.boots_in_incident += 1;
            }
        }
        if !self.chance.one_in(6) {
            self.disk.heal();
        }
        let disk = Arc::new(self.disk.clone());
        let (writer, found) = match Writer::resume(disk, folders(), &incident) {
            Ok(resumed) => resumed,
            Err(_) => {
                assert_eq!(self.acknowledged, None, "a saved incident has a file");
                return self.start_over();
            }
        };
        assert!(
            found.problems.is_empty(),
            "a crash is no alteration: {:?}",
            found.problems
        );
        self.tally
            .count(Met::TornTails, found.torn().count() as u64);
        let here = found.records.len();
        if let Some(saved) = self.acknowledged {
            assert!(
                here as u64 > saved,
                "records up to {saved} were called saved, {here} are here"
            );
        }
        assert!(here <= self.handed.len(), "more than was handed over");
        let mut records = Vec::with_capacity(here);
        for (line, handed) in found.records.iter().zip(&self.handed) {
            let record = Record::from_json(&line.text).expect("it was written by us");
            // What is read back is what was handed over, byte for byte, with its hashes behind.
            let object = handed.entry.json.strip_suffix('}');
            let same = line.text.starts_with(object.expect("an object ends so"));
            assert!(same, "{} is not {}", line.text, handed.entry.json);
            records.push(record);
        }
        if here < self.handed.len() {
            self.tally.meet(Met::LostRecords);
        }
        self.handed.truncate(here);
        self.writer = Some(writer);
        let over = records
            .iter()
            .any(|it| matches!(it.event, Event::StoodDown {}));
        if records.is_empty() || over {
            return self.start_over();
        }
        self.resume(records);
    }

    /// Of some incidents a bundle is made: it holds, it gives back what was recorded, and it names nobody where it must not.
    pub(super) fn hand_out(&self) {
        let is_chosen = self.handed.len() % HANDED_OUT_EVERY == 1;
        if self.handed.is_empty() || !is_chosen {
            return;
        }
        let mut chain = Chain::after(FIRST_PREV);
        let lines = self.handed.iter().map(|it| chain.seal(&it.entry));
        holds(&lines.collect::<Vec<_>>());
    }

    /// The program finds nothing to go on with.
    pub(super) fn start_over(&mut self) {
        self.engine = Engine::new(self.plan.clone(), true);
        self.incident = None;
        self.writer = None;
        self.open_store();
    }

    pub(super) fn resume(&mut self, records: Vec<Record>) {
        // The time shown goes on from what the record says; what was lost of it may have been shown.
        self.elapsed.clear();
        let last = self.handed.last().expect("there are records");
        let line_boot = records
            .last()
            .expect("there are records")
            .now
            .boot_id
            .clone();
        let (at_last, was_at_least) = (
            last.true_ms - self.truth.began_ms + last.shown_error,
            last.at_least,
        );
        let error_then = last.shown_error;
        let wall_drift = self.machine.wall_error() - last.wall_error;
        // Reading the journals takes a moment.
        let since_start_ms = self.chance.below(3_000) as i64;
        self.machine.tick(since_start_ms, &mut self.tally);
        let plan = match self.chance.one_in(16) {
            true => some_plan(&mut self.chance),
            false => self.plan.clone(),
        };
        self.plan = plan.clone();
        let from = records.len();
        let now = &self.machine.now;
        let (engine, effects) = Engine::resume(plan, true, records, now, since_start_ms);
        self.engine = engine;
        let new: Vec<Arc<Record>> = self.engine.state().log[from..].to_vec();
        let carried = new.iter().find_map(|it| match &it.event {
            Event::Resumed {
                carried, least_ms, ..
            } => Some((*carried, *least_ms)),
            _ => None,
        });
        let shown = self.engine.state().facts.line.at(now).0;
        let really = self.machine.true_ms - self.truth.began_ms;
        let (carried, least) = carried.expect("an incident goes on with a record of that");
        let least = least.expect("it says how long it is at least");
        assert!(least <= really + error_then, "never more than it can be");
        assert!(shown >= least);
        match carried {
            Carried::BootClock => {
                assert_eq!(line_boot, now.boot_id, "the machine is the same");
                self.truth.error_ms = error_then;
                self.truth.at_least = was_at_least;
            }
            Carried::WallClock => {
                self.tally.meet(Met::RebootsBelievingTheWall);
                assert_ne!(line_boot, now.boot_id, "the machine has started again");
                // Wrong by what the wall clock is wrong and by nothing else, and never less than the machine has been up.
                let up = at_last + now.boot_ms.max(since_start_ms) - really;
                self.truth.error_ms = up.max(error_then + wall_drift);
                self.truth.at_least = was_at_least;
            }
            Carried::AtLeast => {
                self.tally.meet(Met::TimesAtLeast);
                assert_ne!(line_boot, now.boot_id, "the machine has started again");
                assert!(shown >= at_last, "never less than the record says");
                assert_eq!(shown, least, "the least that it can be");
                self.truth.error_ms = shown - really;
                self.truth.at_least = true;
            }
        }
        self.count(&new);
        self.check(&new);
        for effect in effects {
            if let Some(input) = self.carry_out(effect) {
                self.take(input);
            }
        }
        self.check_snapshot();
        if self.is_open() {
            self.open_store();
        }
    }

    pub(super) fn some_tear(&mut self) -> Tear {
        let cut = self.chance.below(self.disk.unsynced_bytes() as u64 + 1) as usize;
        match self.chance.below(4) {
            0 => Tear::Nothing,
            1 => Tear::LastWriteTo(cut),
            2 => Tear::Everything,
            _ => Tear::Sectors(self.chance.next()),
        }
    }
}
