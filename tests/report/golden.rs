//! Makes reports of the golden journals, as they are, and with anything a record could hold in the place of their texts.

use groundward::incident::Record;
use groundward::journal::disk::RealDisk;
use groundward::journal::read;
use groundward::report::document::Document;
use groundward::report::incident::IncidentReport;
use groundward::words::Language;
use serde_json::Value;
use std::path::Path;

/// A quiet drill with one casualty, and a long one with three, outside help and command changing hands.
pub(crate) const QUIET: &str = "20261125T194636Z-7adc";
pub(crate) const LONG: &str = "20261126T013609Z-6779";

/// What may be wrong with a record.
pub(crate) const PROBLEM: &str = "x.jsonl, record 17: its bytes are not those that were sealed";

/// A journal that a report can be made of.
pub(crate) struct Golden {
    pub(crate) incident: String,
    pub(crate) records: Vec<Record>,
    pub(crate) head: String,
}

impl Golden {
    pub(crate) fn of(incident: &str) -> Golden {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden");
        let found =
            read::read(&RealDisk, &[folder], incident).expect("the golden journal is there");
        let lines = found.records.iter();
        let records = lines.map(|it| Record::from_json(&it.text).expect("it can be read"));
        Golden {
            incident: incident.to_owned(),
            records: records.collect(),
            head: found.head,
        }
    }

    /// Only its first records.
    pub(crate) fn begun(mut self, count: usize) -> Golden {
        self.records.truncate(count);
        self
    }

    /// The same as a rescue, as if it had never been a drill.
    pub(crate) fn rescued(mut self) -> Golden {
        let line = self.records[0].to_json();
        let mut line: Value = serde_json::from_str(&line).expect("it is JSON");
        line["body"]["drill"] = Value::Bool(false);
        self.records[0] = Record::from_json(&line.to_string()).expect("it can be read");
        self
    }

    /// Another text in the place of each that stands in these records, except for the first, which holds the plan.
    pub(crate) fn with_texts(mut self, text: &str, chosen: impl Fn(usize) -> bool) -> Golden {
        for (at, record) in self.records.iter_mut().enumerate().skip(1) {
            if !chosen(at) {
                continue;
            }
            let mut line: Value = serde_json::from_str(&record.to_json()).expect("it is JSON");
            replace(&mut line["body"], text);
            line["who"] = Value::String(text.to_owned());
            if let Ok(changed) = Record::from_json(&line.to_string()) {
                *record = changed;
            }
        }
        self
    }

    pub(crate) fn document(&self, language: Language, problems: &[&str]) -> Document {
        let problems: Vec<String> = problems.iter().map(|it| (*it).to_owned()).collect();
        IncidentReport {
            incident: &self.incident,
            records: &self.records,
            count: self.records.len(),
            head: &self.head,
            problems: &problems,
            filled: &[],
            reminders: None,
            language,
            shared: false,
            program: "Groundward 0.1.0",
            made_at: "2026-11-26 20:00",
        }
        .document()
    }
}

fn replace(value: &mut Value, with: &str) {
    match value {
        Value::String(text) => with.clone_into(text),
        Value::Array(all) => all.iter_mut().for_each(|it| replace(it, with)),
        Value::Object(all) => all.values_mut().for_each(|it| replace(it, with)),
        _ => {}
    }
}
