//! Checks the chain against its standard, against another language, and against any byte that changes.

use super::{INCIDENT, PLAYED, entries, entry, lines, play};
use groundward::journal::chain::{Broken, Chain, FIRST_PREV, check, sha256_hex};
use groundward::journal::disk::RealDisk;
use groundward::journal::read;
use groundward::journal::writer::Writer;
use groundward::signal::Entry;
use proptest::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

#[test]
fn sha_256_is_that_of_fips_180_4() {
    let vectors = [
        (
            "",
            "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        ),
        (
            "abc",
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
        ),
    ];
    for (text, sha) in vectors {
        assert_eq!(sha256_hex(text.as_bytes()), sha);
    }
}

#[test]
fn a_line_ends_with_prev_and_the_hash_of_its_own_bytes() {
    let mut chain = Chain::after(FIRST_PREV);
    let first = chain.seal(&Entry {
        seq: 1,
        json: r#"{"v":1,"seq":1,"kind":"opened"}"#.into(),
    });
    let covered = format!(r#"{{"v":1,"seq":1,"kind":"opened","prev":"{FIRST_PREV}""#);
    assert_eq!(
        first,
        format!(r#"{covered},"sha":"{}"}}"#, sha256_hex(covered.as_bytes()))
    );
    let sealed = check(first.as_bytes(), FIRST_PREV).expect("it was just sealed");
    assert_eq!(
        (sealed.seq, sealed.kind.as_str(), sealed.sha.as_str()),
        (1, "opened", chain.head())
    );
    assert_eq!(
        check(first.as_bytes(), &"1".repeat(64)),
        Err(Broken::WrongPrev)
    );
}

#[test]
fn an_entry_that_was_laid_out_over_lines_stays_one_line() {
    let json = serde_json::to_string_pretty(&serde_json::json!({"v": 1, "seq": 3, "kind": "a\nb"}))
        .expect("it is JSON");
    let line = Chain::after(FIRST_PREV).seal(&Entry {
        seq: 3,
        json: json + "\n",
    });
    assert!(!line.contains('\n'));
    assert_eq!(
        check(line.as_bytes(), FIRST_PREV).map(|sealed| sealed.kind),
        Ok("a\nb".to_owned())
    );
}

#[track_caller]
pub(super) fn redo(files: &[PathBuf]) -> String {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/record/chain.py");
    let output = Command::new("python3")
        .arg(script)
        .args(files)
        .output()
        .expect("python3 is installed for this check");
    String::from_utf8(output.stdout).expect("the script prints text")
}

#[test]
fn the_chain_redone_by_another_language_is_the_same() {
    let folder = tempfile::tempdir().expect("there is room");
    let folders = vec![folder.path().to_owned()];
    let mut writer =
        Writer::create(Arc::new(RealDisk), folders.clone(), INCIDENT).expect("the name is good");
    assert_eq!(play(&mut writer), PLAYED);
    let found = read::read(&RealDisk, &folders, INCIDENT).expect("it was written");
    let file = found.segments[0].path.clone();
    assert_eq!(
        redo(std::slice::from_ref(&file)),
        format!("ok {PLAYED} {}\n", found.head)
    );

    // Two segments that overlap, and one bit of the fourth record.
    let all = lines(&entries(1..=6));
    let (three, four) = (lines(&entries(1..=3)).len(), lines(&entries(1..=4)).len());
    let second = folder.path().join("second.jsonl");
    fs::write(&file, &all[..four])
        .and_then(|()| fs::write(&second, &all[three..]))
        .expect("there is room");
    assert!(redo(&[file.clone(), second.clone()]).starts_with("ok 6 "));
    let mut altered = all.clone();
    altered[three + 40] ^= 1;
    fs::write(&file, &altered).expect("there is room");
    assert_eq!(
        redo(std::slice::from_ref(&file)),
        format!("bad {} 4 altered\n", file.display())
    );
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Sealing and checking agree for any text, and no byte of the line can be another one.
    #[test]
    fn no_byte_of_a_line_can_be_another(
        said in any::<String>(), seq in any::<u64>(), at in any::<prop::sample::Index>(), other in any::<u8>(),
    ) {
        let json = serde_json::json!({"v": 1, "seq": seq, "kind": "said", "body": {"said": said}}).to_string();
        let line = Chain::after(FIRST_PREV).seal(&Entry { seq, json });
        prop_assert_eq!(check(line.as_bytes(), FIRST_PREV).map(|sealed| sealed.seq), Ok(seq));
        let mut bytes = line.into_bytes();
        let at = at.index(bytes.len());
        prop_assume!(bytes[at] != other);
        bytes[at] = other;
        prop_assert!(check(&bytes, FIRST_PREV).is_err());
    }

    #[test]
    fn a_line_cut_anywhere_is_no_record(text_bytes in 0usize..300, keep in any::<prop::sample::Index>()) {
        let line = Chain::after(FIRST_PREV).seal(&entry(1, text_bytes));
        prop_assert!(check(&line.as_bytes()[..keep.index(line.len())], FIRST_PREV).is_err());
    }
}
