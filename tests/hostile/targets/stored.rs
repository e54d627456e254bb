//! Takes what the store of the record holds: lines put away, the texts that they name, and what sums incidents up.

use groundward::history::History;
use groundward::store::{MemoryStore, Store};
use std::path::Path;

const INCIDENT: &str = "20261125T183012Z-4f2a";

/// One value a line: in turn a line of an incident, the text that a line names, and an entry of the index.
pub(super) fn stored(bytes: &[u8]) {
    let (lists, events) = (MemoryStore::default(), MemoryStore::default());
    let values = bytes.split(|byte| *byte == b'\n').take(24).enumerate();
    for (number, value) in values {
        let (store, key): (&dyn Store, String) = match number % 3 {
            0 => (&events, format!("event/{INCIDENT}/{number:010}")),
            1 => (&events, format!("text/{}", "0".repeat(64))),
            _ => (&lists, format!("incident/3/{number}")),
        };
        // A line that names a text has a newline of its own, which is written as a bar here.
        let value = value
            .iter()
            .map(|byte| if *byte == b'|' { b'\n' } else { *byte });
        store
            .put(&[(key, value.collect())])
            .expect("memory takes it");
    }
    let history = History::over(Path::new("nowhere"), 1, Box::new(lists));
    history.use_events(Box::new(events));
    let copies = history.copies(INCIDENT).expect("memory is read");
    // What is put away again is what was read, or the number of its record was there before.
    let anew = History::over(Path::new("nowhere"), 1, Box::new(MemoryStore::default()));
    anew.use_events(Box::new(MemoryStore::default()));
    anew.add(INCIDENT, &copies).expect("memory takes it");
    for copy in anew.copies(INCIDENT).expect("memory is read") {
        assert!(copies.contains(&copy), "{copy}");
    }
    let listed = history.list(&[]).expect("there is no folder to fail");
    let again = history.list(&[]).expect("there is no folder to fail");
    assert_eq!(listed, again);
}
