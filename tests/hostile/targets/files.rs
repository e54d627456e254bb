//! Takes what stands in the data folder: a line of a journal, whole journals in several files, the approvals.
//!
//! A mutated line never has the right hash, so that nothing behind the hash would ever be reached. In the last two a line that
//! begins with `+` is therefore sealed after the one before it; everything else stands as it is.

use super::folder::Folder;
use groundward::incident::{Record, State};
use groundward::journal::chain::{Chain, FIRST_PREV, check, inspect};
use groundward::journal::checked::{self, Verdict};
use groundward::journal::device::DeviceKey;
use groundward::journal::read::{Readback, list, read};
use groundward::journal::{approvals, is_incident_id};
use groundward::signal::Entry;
use std::path::PathBuf;

/// One line of a journal.
pub(super) fn line(bytes: &[u8]) {
    if let Ok(sealed) = inspect(bytes) {
        assert_eq!(check(bytes, &sealed.prev), Ok(sealed));
    }
    if let Ok(text) = str::from_utf8(bytes) {
        let _ = is_incident_id(text);
        // The same text as a record: what is read back is written the same again.
        let entry = Entry {
            seq: 0,
            json: text.to_owned(),
        };
        let sealed = Chain::after(FIRST_PREV).seal(&entry);
        assert!(!sealed.contains('\n'));
        if let (Ok(whole), Ok(record)) = (inspect(sealed.as_bytes()), Record::from_json(&sealed)) {
            assert_eq!((whole.seq, whole.prev.as_str()), (record.seq, FIRST_PREV));
        }
    }
}

/// The files of a data folder: a line `=NAME` begins the next one, in the second folder where a `/` stands before the name. A line
/// that begins with `*` is sealed and is a copy of a record kept elsewhere.
pub(super) fn files(bytes: &[u8]) {
    let folders = [PathBuf::from("first"), PathBuf::from("second")];
    let mut disk = Folder::default();
    let mut path = folders[0].join("20261126T090000Z-0001.jsonl");
    let mut chain = Chain::after(FIRST_PREV);
    let mut copies = Vec::new();
    for line in bytes.split_inclusive(|byte| *byte == b'\n') {
        if let Some(json) = line.strip_prefix(b"*") {
            copies.push(sealed(json, &mut chain));
            continue;
        }
        if let Some(name) = line.strip_prefix(b"=") {
            let name = String::from_utf8_lossy(name.trim_ascii());
            path = match name.strip_prefix('/') {
                Some(name) => folders[1].join(name),
                None => folders[0].join(&*name),
            };
        }
        disk.append(&path, &written(line, &mut chain));
    }
    let known = list(&disk, &folders).expect("a folder in memory can be listed");
    for incident in &known {
        let found = read(&disk, &folders, incident).expect("an incident that is listed is there");
        for found in [found.clone(), filled(found, &copies)] {
            holds(&found);
        }
    }
    let lost = filled(Readback::without_files("lost"), &copies);
    holds(&lost);
    assert!(read(&disk, &folders, "no-such-incident").is_err());
}

fn filled(mut found: Readback, copies: &[String]) -> Readback {
    found.fill(copies.iter().cloned());
    found
}

/// What must hold of every incident that is read back.
fn holds(found: &Readback) {
    let mut numbers = found.records.iter().map(|it| it.seq);
    assert!(
        numbers
            .clone()
            .zip(numbers.by_ref().skip(1))
            .all(|(a, b)| a < b)
    );
    for record in &found.records {
        let sealed = inspect(record.text.as_bytes()).expect("a record that is kept is whole");
        assert_eq!((sealed.seq, sealed.sha), (record.seq, record.sha.clone()));
    }
    for problem in &found.problems {
        assert!(!problem.what.is_empty() && !problem.to_string().is_empty());
    }
    let records = found.records.iter();
    let told = records.filter_map(|it| Record::from_json(&it.text).ok());
    let _ = State::replay(told);
}

fn sealed(json: &[u8], chain: &mut Chain) -> String {
    let json = String::from_utf8_lossy(json).trim().to_owned();
    chain.seal(&Entry { seq: 0, json })
}

/// What a line of a corpus stands for.
fn written(line: &[u8], chain: &mut Chain) -> Vec<u8> {
    match line.first() {
        Some(b'=') => Vec::new(),
        Some(b'+') => {
            let mut sealed = sealed(&line[1..], chain).into_bytes();
            sealed.push(b'\n');
            sealed
        }
        _ => line.to_vec(),
    }
}

/// The file of approvals.
pub(super) fn approvals(bytes: &[u8]) {
    let mut chain = Chain::after(FIRST_PREV);
    let lines = bytes.split_inclusive(|byte| *byte == b'\n');
    let file: Vec<u8> = lines.flat_map(|it| written(it, &mut chain)).collect();
    let found = approvals::of(&file);
    let all = file.split(|byte| *byte == b'\n');
    let lines = all.filter(|line| !line.is_empty()).count();
    match found.broken_line {
        Some(number) => assert!(found.all.len() + 1 == number && number <= lines),
        None => assert_eq!(found.all.len(), lines),
    }
}

/// A bundle that came from elsewhere, or the file of a key.
pub(super) fn bundle(bytes: &[u8]) {
    let mut chain = Chain::after(FIRST_PREV);
    let lines = bytes.split_inclusive(|byte| *byte == b'\n');
    let file: Vec<u8> = lines.flat_map(|it| written(it, &mut chain)).collect();
    if let Some(found) = checked::check(&file) {
        // Nobody without the key signs what is made up here.
        assert!(found.verdict != Verdict::Intact && !found.faults.is_empty());
        let _ = checked::against(&found, &found);
        for fault in found.faults {
            assert!(!fault.to_string().is_empty());
        }
    }
    if let Some(key) = DeviceKey::of(bytes) {
        assert!(key.public().verifies(bytes, &key.sign(bytes)));
    }
}
