//! Keeps values in both stores, and gives the one on the disk folders that break the database under it.

use groundward::store::{
    Cause, DiskStore, MemoryStore, SETTINGS_KEY, Store, StoreFault, get_json, pair,
};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

/// Long enough for a store that opens, short enough to wait for one that hangs.
const PATIENCE: Duration = Duration::from_secs(2);

fn open(folder: &Path) -> Result<DiskStore, StoreFault> {
    DiskStore::open(folder, PATIENCE)
}

fn put(store: &dyn Store, key: &str, value: &[u8]) {
    store
        .put(&[(key.to_owned(), value.to_owned())])
        .expect("there is room");
}

#[track_caller]
fn keeps_values(store: &dyn Store) {
    assert_eq!(store.get("a/1"), Ok(None));
    for (key, value) in [
        ("a/2", "two"),
        ("a/1", "one"),
        ("b/1", "other"),
        ("a/1", "first"),
    ] {
        put(store, key, value.as_bytes());
    }
    assert_eq!(store.get("a/1"), Ok(Some(b"first".to_vec())));
    assert_eq!(
        store.scan("a/"),
        Ok(vec![
            ("a/1".into(), b"first".to_vec()),
            ("a/2".into(), b"two".to_vec())
        ])
    );
    store
        .remove("a/1")
        .and_then(|()| store.remove("a/1"))
        .expect("removing twice is no error");
    assert_eq!(store.scan("a/").map(|found| found.len()), Ok(1));
    assert_eq!((store.count("a/"), store.count("c/")), (Ok(1), Ok(0)));

    let settings = BTreeMap::from([("theme".to_owned(), 1), ("volume".to_owned(), 7)]);
    assert_eq!(
        get_json::<BTreeMap<String, i32>>(store, SETTINGS_KEY),
        Ok(None)
    );
    let stored = pair(SETTINGS_KEY, &settings).expect("it is JSON");
    store.put(&[stored]).expect("there is room");
    assert_eq!(get_json(store, SETTINGS_KEY), Ok(Some(settings)));
    let why = get_json::<Vec<u8>>(store, SETTINGS_KEY)
        .expect_err("it is no list")
        .to_string();
    assert!(
        why.starts_with("What is stored as settings/1 cannot be read: "),
        "{why}"
    );
}

#[test]
fn both_stores_keep_values() {
    keeps_values(&MemoryStore::default());
    let data = tempfile::tempdir().expect("there is room");
    keeps_values(&open(data.path()).expect("it opens"));
}

#[test]
fn values_are_there_after_the_store_is_opened_again() {
    let data = tempfile::tempdir().expect("there is room");
    put(&open(data.path()).expect("it opens"), "k", b"v");
    assert_eq!(
        open(data.path()).expect("it opens").get("k"),
        Ok(Some(b"v".to_vec()))
    );
}

/// Opens a folder that holds something else than a store: a sentence, in time.
#[track_caller]
fn is_refused(folder: &Path, cause: Cause) {
    let begun = Instant::now();
    let fault = open(folder).expect_err("it cannot be used");
    assert_eq!(fault.cause, cause, "{fault}");
    let why = fault.to_string();
    assert!(
        begun.elapsed() < PATIENCE + Duration::from_millis(500),
        "{:?}",
        begun.elapsed()
    );
    assert!(
        why.starts_with("The store in ") && why.contains(" cannot be used: "),
        "{why}"
    );
    assert!(why.ends_with('.') && !why.contains('\n'), "{why}");
}

#[test]
fn a_damaged_store_is_a_sentence_within_the_deadline() {
    type Damage = fn(&[u8]) -> Vec<u8>;
    let damages: [Damage; 3] = [
        |whole| vec![0x5a; whole.len()],
        |whole| vec![0; whole.len()],
        |_| Vec::new(),
    ];
    for damage in damages {
        let data = tempfile::tempdir().expect("there is room");
        put(&open(data.path()).expect("it opens"), "k", b"v");
        let db = data.path().join("db");
        fs::write(&db, damage(&fs::read(&db).expect("it is there"))).expect("there is room");
        is_refused(data.path(), Cause::Damaged);
    }
}

#[test]
fn whatever_is_overwritten_the_program_goes_on_in_time() {
    let data = tempfile::tempdir().expect("there is room");
    let store = open(data.path()).expect("it opens");
    for key in 0..200 {
        put(&store, &format!("key/{key}"), &[key; 300]);
    }
    drop(store);
    let db = data.path().join("db");
    let whole = fs::read(&db).expect("it is there");
    for block in 0..4 {
        let folder = tempfile::tempdir().expect("there is room");
        for file in fs::read_dir(data.path())
            .expect("it is listed")
            .flatten()
            .filter(|file| file.path().is_file())
        {
            fs::copy(file.path(), folder.path().join(file.file_name())).expect("there is room");
        }
        let mut damaged = whole.clone();
        let at = block * 16_384;
        damaged[at..at + 4096].fill(0);
        fs::write(folder.path().join("db"), damaged).expect("there is room");
        let begun = Instant::now();
        // sled may refuse it, hang, panic, or open it short: the first three are a sentence.
        if let Err(why) = open(folder.path()) {
            assert!(why.to_string().ends_with('.'), "{why}");
        }
        assert!(begun.elapsed() < PATIENCE + Duration::from_millis(500));
    }
}

#[test]
fn a_store_that_is_open_or_has_no_folder_is_a_sentence() {
    let data = tempfile::tempdir().expect("there is room");
    let _open = open(data.path()).expect("it opens");
    is_refused(data.path(), Cause::InUse);
    let file = data.path().join("file");
    fs::write(&file, b"no folder").expect("there is room");
    is_refused(&file, Cause::Disk);
}
