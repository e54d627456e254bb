//! Fills what is missing or damaged in an incident's files from copies of its records kept elsewhere.
//!
//! A copy proves itself: a line is taken only if it is whole and the hash of its neighbour before or after names it, so
//! what is filled in is what was written, whoever kept it. Copies behind the last record of the files are taken as far as
//! their chain goes on from there: that shows a tail that was cut, which the files alone cannot.
//!
//! Limits: the problems of the files stay problems; a gap that was filled is marked and is still an alteration. Where a
//! record was exchanged for another whole one, the file's stands and that is a problem by itself.

use super::chain::{self, FIRST_PREV};
use super::read::{Problem, Readback, Record, range};
use std::collections::BTreeMap;

/// What filled records name in place of a file.
pub const COPY: &str = "copy in the store";

impl Readback {
    /// An incident of which no file is left.
    pub fn without_files(incident: &str) -> Readback {
        Readback {
            incident: incident.to_owned(),
            records: Vec::new(),
            head: FIRST_PREV.to_owned(),
            closed: false,
            segments: Vec::new(),
            set_aside: Vec::new(),
            problems: vec![Problem {
                file: format!("{incident}.jsonl"),
                seq: 0,
                what: "The file is missing.".to_owned(),
            }],
            filled: Vec::new(),
        }
    }

    /// Takes from these copies, in any order, what is missing between, before and after the records read.
    pub fn fill(&mut self, copies: impl IntoIterator<Item = String>) {
        let last_in_files = self.records.last().map(|record| record.seq);
        let mut all: BTreeMap<u64, Record> = std::mem::take(&mut self.records)
            .into_iter()
            .map(|record| (record.seq, record))
            .collect();
        let mut offered: BTreeMap<u64, Record> = BTreeMap::new();
        for copy in copies.into_iter().filter_map(copy) {
            match all.get(&copy.seq) {
                None => drop(offered.insert(copy.seq, copy)),
                Some(record) if record.sha == copy.sha => {}
                // Only what was durable is copied, so it was this record that changed afterwards.
                Some(record) => self.problems.push(Problem {
                    file: record.file.clone(),
                    seq: record.seq,
                    what: "The copy in the store is another record: this one was written anew."
                        .to_owned(),
                }),
            }
        }
        let numbers: Vec<u64> = offered.keys().copied().collect();
        let mut take = |seq: u64, fits: &dyn Fn(&Record, &BTreeMap<u64, Record>) -> bool| {
            if offered.get(&seq).is_some_and(|copy| fits(copy, &all))
                && let Some(copy) = offered.remove(&seq)
            {
                all.insert(seq, copy);
                self.filled.push(seq);
            }
        };
        for seq in &numbers {
            take(*seq, &|copy, all| {
                let before = all.range(..seq).next_back().map(|(_, before)| before);
                match before {
                    None => copy.prev == FIRST_PREV,
                    Some(before) => before.seq + 1 == *seq && copy.prev == before.sha,
                }
            });
        }
        for seq in numbers.iter().rev() {
            take(*seq, &|copy, all| {
                let after = seq.checked_add(1).and_then(|next| all.get(&next));
                after.is_some_and(|after| after.prev == copy.sha)
            });
        }
        self.filled.sort_unstable();
        self.records = all.into_values().collect();
        if let Some(last) = self.records.last() {
            self.head.clone_from(&last.sha);
        }
        let behind = |seq: &&u64| last_in_files.is_some_and(|last| **seq > last);
        if let (Some(last), Some(first), Some(end)) = (
            last_in_files,
            self.filled.iter().find(behind),
            self.filled.last(),
        ) {
            self.problems.push(Problem {
                file: self
                    .segments
                    .last()
                    .and_then(|segment| segment.path.file_name()?.to_str().map(str::to_owned))
                    .unwrap_or_default(),
                seq: last,
                what: format!("Missing after this: {}.", range(*first, *end)),
            });
        }
    }

    /// What was filled in, as a note; nothing where nothing was.
    pub fn filled_in(&self) -> Option<String> {
        let mut runs: Vec<(u64, u64)> = Vec::new();
        for seq in &self.filled {
            match runs.last_mut() {
                Some((_, last)) if *last + 1 == *seq => *last = *seq,
                _ => runs.push((*seq, *seq)),
            }
        }
        let runs: Vec<String> = runs
            .iter()
            .map(|(first, last)| range(*first, *last))
            .collect();
        (!runs.is_empty()).then(|| {
            format!(
                "{} came from the copy in the store; their hashes fit",
                runs.join(", ")
            )
        })
    }
}

fn copy(text: String) -> Option<Record> {
    let sealed = chain::inspect(text.as_bytes()).ok()?;
    Some(Record {
        seq: sealed.seq,
        kind: sealed.kind,
        prev: sealed.prev,
        sha: sealed.sha,
        text,
        file: COPY.to_owned(),
        offset_bytes: 0,
        line: 0,
    })
}
