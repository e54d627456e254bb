//! Changes a journal in every way a bit, a hand or a power cut can, and asks for the name of what was changed.

use super::lying::LyingDisk;
use super::{INCIDENT, entries, entry, lines};
use groundward::journal::chain::{Chain, FIRST_PREV};
use groundward::journal::read::{self, Problem, Readback};
use groundward::journal::writer::Writer;
use proptest::prelude::*;
use std::path::Path;
use std::sync::Arc;

const RECORDS: u64 = 6;
const FILE: &str = "20261125T183012Z-4f2a.jsonl";

fn read_file(data: &[u8]) -> Readback {
    read_files(&[(FILE, data)])
}

fn read_files(files: &[(&str, &[u8])]) -> Readback {
    let folder = Path::new("/data");
    let disk = LyingDisk::default();
    for (name, data) in files {
        disk.place(&folder.join(name), data);
    }
    read::read(&disk, &[folder.to_owned()], INCIDENT).expect("there is a file")
}

/// Six records from number 1, with short texts, so that every bit can be turned.
fn six() -> Vec<u8> {
    six_from(1)
}

fn six_from(first: u64) -> Vec<u8> {
    lines(
        &(first..first + RECORDS)
            .map(|seq| entry(seq, seq as usize * 9))
            .collect::<Vec<_>>(),
    )
}

/// The number of the record a byte belongs to, its newline included; the last one for padding.
fn owner(data: &[u8], at: usize, first: u64) -> u64 {
    let lines_before = data[..at].iter().filter(|byte| **byte == b'\n').count() as u64;
    first + lines_before.min(RECORDS - 1)
}

/// True for a byte of the padding behind all records that is the first of a sector.
fn is_padding_where_a_sector_begins(data: &[u8], at: usize) -> bool {
    at > 0 && at.is_multiple_of(512) && data[at - 1..].iter().all(|byte| *byte == b'\n')
}

#[track_caller]
fn every_bit_is_named(data: &[u8], first: u64) {
    assert_eq!(read_file(data).problems, []);
    let mut flipped = data.to_vec();
    for at in 0..data.len() {
        for bit in 0..8 {
            flipped[at] ^= 1 << bit;
            let found = read_file(&flipped);
            let seq = owner(data, at, first);
            if is_padding_where_a_sector_begins(data, at) {
                // A stopped write may leave just this, so it is a note where it looks like one; it never goes unseen.
                assert_eq!(found.problems.len() + found.torn().count(), 1);
                flipped[at] ^= 1 << bit;
                continue;
            }
            let first = found
                .problems
                .first()
                .unwrap_or_else(|| panic!("byte {at} bit {bit} of record {seq} goes unseen"));
            assert_eq!(first.file, FILE);
            assert!(
                first.seq == seq || first.seq + 1 == seq,
                "byte {at} bit {bit} of record {seq}: {first}"
            );
            assert_eq!(
                found.problems.len(),
                1,
                "byte {at} bit {bit}: one change, one problem"
            );
            assert!(
                found.records.len() as u64 >= RECORDS - 1,
                "byte {at} bit {bit} hides whole records"
            );
            flipped[at] ^= 1 << bit;
        }
    }
}

#[test]
fn every_bit_of_a_closed_journal_is_named() {
    every_bit_is_named(&six_from(0), 0);
}

#[test]
fn the_only_record_that_is_damaged_has_its_number() {
    let mut data = lines(&[entry(0, 30)]);
    data[20] ^= 1;
    assert_eq!(
        read_file(&data)
            .problems
            .iter()
            .map(|problem| problem.seq)
            .collect::<Vec<_>>(),
        [0]
    );
}

#[test]
fn every_bit_of_an_open_journal_and_its_padding_is_named() {
    every_bit_is_named(&[six(), vec![b'\n'; 600]].concat(), 1);
}

#[track_caller]
fn names(data: &[u8], expected: &[(u64, &str)]) {
    let found: Vec<(u64, String)> = read_file(data)
        .problems
        .into_iter()
        .map(|problem| (problem.seq, problem.what))
        .collect();
    let found: Vec<(u64, &str)> = found
        .iter()
        .map(|(seq, what)| (*seq, what.as_str()))
        .collect();
    assert_eq!(found, expected);
}

fn joined(lines: &[&[u8]]) -> Vec<u8> {
    lines
        .iter()
        .flat_map(|line| [*line, b"\n"])
        .collect::<Vec<_>>()
        .concat()
}

#[test]
fn what_a_hand_changes_is_named_in_one_sentence() {
    let whole = six();
    let line: Vec<&[u8]> = whole
        .strip_suffix(b"\n")
        .expect("lines end")
        .split(|byte| *byte == b'\n')
        .collect();
    let (a, b, c, d, e, f) = (line[0], line[1], line[2], line[3], line[4], line[5]);
    names(
        &joined(&[a, b, d, e, f]),
        &[(4, "Missing before this: record 3.")],
    );
    names(
        &joined(&[a, b, e, f]),
        &[(5, "Missing before this: records 3 to 4.")],
    );
    names(
        &joined(&[b, c, d, e, f]),
        &[(2, "The records before this one are missing.")],
    );
    names(
        &joined(&[a, c, b, d, e, f]),
        &[(
            2,
            "This record stands after record 3, where it was not written.",
        )],
    );
    names(
        &joined(&[a, b, b, c, d, e, f]),
        &[(
            2,
            "This record stands after record 2, where it was not written.",
        )],
    );
    names(
        &joined(&[a, b, b"hello", c, d, e, f]),
        &[(2, "After this record stand bytes that belong to no record.")],
    );
    names(
        &joined(&[b"hello", a, b]),
        &[(
            1,
            "Before this record stand bytes that belong to no record.",
        )],
    );
    names(
        &joined(&[a, b"x", b"y", d, e, f]),
        &[(
            2,
            "Altered or damaged: records 2 to 3; it does not end with its hashes as every record does.",
        )],
    );
    names(
        &joined(&[a, b, b"\xff\xfe", d, e, f]),
        &[(3, "Altered or damaged: record 3; it is not UTF-8 text.")],
    );

    let third =
        Chain::after(std::str::from_utf8(&b[b.len() - 66..b.len() - 2]).expect("it is text"))
            .seal(&entry(3, 1));
    names(
        &joined(&[a, b, third.as_bytes(), d, e, f]),
        &[(
            4,
            "This record does not follow record 3: one of the two was replaced.",
        )],
    );
}

#[test]
fn a_closed_journal_that_loses_part_of_its_last_line_is_named() {
    let whole = six();
    for cut in 1..60 {
        let found = read_file(&whole[..whole.len() - cut]);
        // Without its newline alone the record is whole.
        assert_eq!(
            found.problems.len(),
            usize::from(cut > 1),
            "{cut} bytes cut off"
        );
    }
}

#[test]
fn segments_are_merged_where_they_agree_and_named_where_they_do_not() {
    let whole = six();
    let after = |seq: u64| {
        lines(
            &(1..=seq)
                .map(|seq| entry(seq, seq as usize * 9))
                .collect::<Vec<_>>(),
        )
        .len()
    };
    let first = [&whole[..after(4)], b"\n\n\n"].concat();
    let second = "20261125T183012Z-4f2a.2.jsonl";
    let found = read_files(&[(FILE, &first), (second, &whole[after(2)..])]);
    assert_eq!(
        (found.problems.len(), found.records.len(), found.closed),
        (0, 6, true)
    );
    assert_eq!(
        (
            found.records[3].file.as_str(),
            found.records[4].file.as_str()
        ),
        (FILE, second)
    );

    // The first file was left in the middle of a write; what it holds of record 5 is a note.
    let torn = [&whole[..after(4) + 50], b"\n\n\n"].concat();
    let found = read_files(&[(FILE, &torn), (second, &whole[after(2)..])]);
    assert_eq!(
        (
            found.problems.len(),
            found.records.len(),
            found.torn().count()
        ),
        (0, 6, 1)
    );

    let mut chain = Chain::after(FIRST_PREV);
    let other: String = (1..=6)
        .map(|seq| chain.seal(&entry(seq, if seq == 4 { 7 } else { seq as usize * 9 })) + "\n")
        .collect();
    let found = read_files(&[(FILE, &first), (second, &other.as_bytes()[after(2)..])]);
    assert_eq!(found.problems.len(), 2, "{:?}", found.problems);
    let different = Problem {
        file: second.into(),
        seq: 4,
        what: format!("It is not the same record as in {FILE}, line 4."),
    };
    assert_eq!(found.problems[0], different);
}

/// What a power cut leaves of record 6, in an open file behind five whole ones.
#[track_caller]
fn is_torn(tail: &[u8]) {
    let five = lines(&entries(1..=5));
    let found = read_file(&[&five, tail, &[b'\n'; 700]].concat());
    assert_eq!(
        (
            found.records.len(),
            found.problems.len(),
            found.torn().count()
        ),
        (5, 0, 1),
        "{:?}",
        found.problems
    );
    let torn = found.torn().next().expect("there is one");
    assert_eq!(
        (torn.after_seq, torn.offset_bytes >= five.len() as u64),
        (Some(5), true)
    );
}

#[test]
fn what_a_power_cut_leaves_is_a_note_and_no_problem() {
    let six = lines(&[entry(1, 1500), entry(2, 3)]);
    let holes = |from: usize, to: usize, byte: u8| {
        let mut tail = six.clone();
        tail[from..to].fill(byte);
        tail
    };
    is_torn(&six[..1]);
    is_torn(&six[..800]);
    is_torn(&lines(&[entry(6, 10)])[..250]);
    for byte in [b'\n', 0] {
        is_torn(&holes(300, 812, byte)[..lines(&[entry(1, 1500)]).len()]);
    }
    is_torn(&holes(0, 1, b'\n'));
    is_torn(&holes(0, 900, b'\n'));
    is_torn(&holes(300, 812, b'\n'));
}

#[test]
fn blank_lines_are_padding_wherever_they_stand() {
    let five = lines(&entries(1..=5));
    let second = lines(&entries(1..=1)).len();
    for data in [
        [b"\n\n", &five[..], b"\n\n\n"].concat(),
        [&five[..second], b"\n\n\n", &five[second..]].concat(),
    ] {
        let found = read_file(&data);
        assert_eq!(
            (
                found.records.len(),
                found.problems.len(),
                found.torn().count()
            ),
            (5, 0, 0)
        );
    }
}

#[test]
fn records_tell_where_they_stand() {
    let whole = six();
    let found = read_file(&whole);
    for record in &found.records {
        let at = record.offset_bytes as usize;
        assert!(whole[at..].starts_with(record.text.as_bytes()));
        assert_eq!(
            (record.line, record.file.as_str(), record.kind.as_str()),
            (record.seq, FILE, "step-done")
        );
    }
    assert_eq!(found.head, found.records[5].sha);
}

#[test]
fn a_zeroed_block_does_not_hide_what_stands_behind_it() {
    let mut data = [lines(&entries(1..=14)), vec![b'\n'; 900]].concat();
    data[1024..2048].fill(0);
    let found = read_file(&data);
    assert_eq!(found.problems.len(), 1, "{:?}", found.problems);
    assert_eq!(found.records.last().map(|record| record.seq), Some(14));
    assert_eq!(found.torn().count(), 0);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Nothing that can stand in a file stops the reader, or the writer that takes the incident up.
    #[test]
    fn garbage_is_read_without_harm(
        pieces in prop::collection::vec(
            prop_oneof![
                prop::collection::vec(any::<u8>(), 0..40),
                prop::collection::vec(prop::sample::select(b"\n\n\n\0{\"}J".to_vec()), 0..40),
                (0usize..1500, 0usize..1500).prop_map(|(from, len)| six().into_iter().skip(from).take(len).collect()),
            ],
            0..8,
        ),
    ) {
        let data = pieces.concat();
        let disk = LyingDisk::default();
        let folders = [Path::new("/data").to_owned()];
        disk.place(&folders[0].join(FILE), &data);
        let before = read::read(&disk, &folders, INCIDENT).expect("there is a file");
        let (mut writer, _) = Writer::resume(Arc::new(disk.clone()), folders.to_vec(), INCIDENT).expect("it is read");
        let seq = before.records.last().map_or(1, |record| record.seq + 1);
        prop_assert!(writer.append(&[entry(seq, 5)]).is_ok());
        let after = read::read(&disk, &folders, INCIDENT).expect("there is a file");
        prop_assert_eq!(after.records.len(), before.records.len() + 1);
        prop_assert_eq!(after.problems.len(), before.problems.len());
    }
}
