//! Keeps, beside records that came as signed bundles, which keys signed them: one line an incident and key.
//!
//! A chain says what was written and a signature by whose tablet; once the records stand among others only this file knows.
//! Limits: whoever can write the data folder can write this file; the bundle is the proof, this says which to ask for. A
//! record that was copied from a folder has no line here.

use super::device::PublicKey;
use super::disk::replace;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::io::{self, ErrorKind};
use std::path::Path;

/// The file in the data folder.
pub const FILE: &str = "origins.jsonl";

/// One incident that one key signed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Origin {
    /// Incident id.
    pub incident: String,
    /// The public key, 64 hexadecimal digits.
    pub key: String,
    /// How many records the longest bundle had.
    pub records: u64,
    /// Hash of the last of them.
    pub head: String,
}

/// What a data folder knows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origins {
    all: BTreeMap<(String, String), Origin>,
    changed: bool,
}

impl Origins {
    /// Reads what a data folder knows; a line that is none is left out.
    ///
    /// # Errors
    ///
    /// Where the file is there and cannot be read.
    pub fn read(data: &Path) -> io::Result<Origins> {
        let text = match std::fs::read_to_string(data.join(FILE)) {
            Err(error) if error.kind() == ErrorKind::NotFound => String::new(),
            read => read?,
        };
        let origins = text.lines().filter_map(|it| serde_json::from_str(it).ok());
        let keyed = origins.map(|it: Origin| ((it.incident.clone(), it.key.clone()), it));
        Ok(Origins {
            all: keyed.collect(),
            changed: false,
        })
    }

    /// Notes a bundle; a shorter one of the same key says nothing new.
    pub fn note(&mut self, incident: &str, key: PublicKey, records: u64, head: &str) {
        let origin = Origin {
            incident: incident.to_owned(),
            key: key.hex(),
            records,
            head: head.to_owned(),
        };
        let place = (origin.incident.clone(), origin.key.clone());
        let known = self.all.get(&place).map(|it| it.records);
        if known.is_none_or(|known| known < records) {
            self.all.insert(place, origin);
            self.changed = true;
        }
    }

    /// The keys that signed an incident.
    pub fn of(&self, incident: &str) -> impl Iterator<Item = &Origin> {
        let from = (incident.to_owned(), String::new());
        let own = self.all.range(from..);
        own.map(|it| it.1)
            .take_while(move |it| it.incident == incident)
    }

    /// Writes what was noted, where anything is new.
    ///
    /// # Errors
    ///
    /// Where it cannot be written.
    pub fn keep(&mut self, data: &Path) -> io::Result<()> {
        if !self.changed {
            return Ok(());
        }
        let mut bytes = Vec::new();
        for origin in self.all.values() {
            serde_json::to_writer(&mut bytes, origin)?;
            bytes.push(b'\n');
        }
        replace(&data.join(FILE), &bytes)?;
        self.changed = false;
        Ok(())
    }
}
