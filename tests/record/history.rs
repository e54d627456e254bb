//! Damages the store in every way that was thought of, the journals at every byte, and both at once: lists come back
//! complete, gaps are filled and marked, and what nobody has is named.

use super::{entries, lines};
use groundward::history::{Files, Handle, History, list_without_store};
use groundward::journal::chain::{Chain, FIRST_PREV};
use groundward::journal::disk::RealDisk;
use groundward::journal::writer::Writer;
use groundward::settings::{Keeper, Order};
use groundward::signal::{Input, Kept, Settings, Theme};
use groundward::store::probe::Prober;
use groundward::store::{Cause, MemoryStore, Store, generations};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

/// How long anything may take before a test says that it never comes.
const NEVER: Duration = Duration::from_secs(60);

fn prober() -> Prober {
    let program = PathBuf::from(env!("CARGO_BIN_EXE_groundward"));
    Prober::new(Some(program)).with_patience(Duration::from_secs(1))
}

fn names() -> Vec<String> {
    (1..=5)
        .map(|n| format!("20261125T18301{n}Z-000{n}"))
        .collect()
}

/// A data folder with a few closed incidents.
struct Site {
    data: tempfile::TempDir,
}

impl Site {
    fn new() -> Site {
        let site = Site {
            data: tempfile::tempdir().expect("there is room"),
        };
        for (n, incident) in (3_u64..).zip(names()) {
            let mut writer = Writer::create(Arc::new(RealDisk), site.journals(), &incident)
                .expect("the name is good");
            writer.append(&entries(1..=n * 4)).expect("there is room");
            writer.close().expect("there is room");
        }
        site
    }

    fn store(&self) -> PathBuf {
        self.data.path().join("store")
    }

    fn journals(&self) -> Vec<PathBuf> {
        vec![self.data.path().join("journals")]
    }

    fn journal(&self, incident: &str) -> PathBuf {
        self.journals()[0].join(format!("{incident}.jsonl"))
    }

    /// Starts the keeper as a tablet does.
    fn keeper(&self) -> (Keeper, Handle, Receiver<Input>) {
        let (sender, inputs) = mpsc::channel();
        let handle = Handle::default();
        let report = move |input| drop(sender.send(input));
        let keeper = Keeper::start(
            &self.store(),
            self.journals(),
            prober(),
            handle.clone(),
            report,
        );
        (keeper.expect("there is a thread"), handle, inputs)
    }

    /// Waits until the store holds every line of every journal; true where it had to be made anew for that.
    #[track_caller]
    fn is_complete(&self, handle: &Handle, story: &str) {
        let listed = list_without_store(&self.journals()).expect("the journals are read");
        let patience = Instant::now() + NEVER;
        loop {
            let all = handle.get().is_some_and(|history| {
                history.list(&self.journals()).is_ok_and(|it| it == listed)
                    && names().iter().all(|incident| {
                        let file = fs::read_to_string(self.journal(incident));
                        let file = file.expect("the journal is there");
                        history
                            .copies(incident)
                            .is_ok_and(|copies| copies.iter().map(String::as_str).eq(file.lines()))
                    })
            });
            if all {
                return;
            }
            assert!(Instant::now() < patience, "{story}: it never was complete");
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

fn copy_folder(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("there is room");
    for entry in fs::read_dir(from).expect("it is listed").flatten() {
        let to = to.join(entry.file_name());
        match entry.path().is_dir() {
            true => copy_folder(&entry.path(), &to),
            false => drop(fs::copy(entry.path(), to).expect("there is room")),
        }
    }
}

fn kept() -> Kept {
    Kept {
        settings: Settings {
            theme: Theme::Light,
            louder: true,
            ..Settings::default()
        },
        ..Kept::default()
    }
}

/// What the keeper says was kept, and what it said of the store before.
fn told(inputs: &Receiver<Input>) -> Kept {
    loop {
        match inputs.recv_timeout(NEVER).expect("it says what was kept") {
            Input::Kept(Ok(kept)) => return kept,
            Input::Store(_) => {}
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn the_store_holds_every_line_after_a_start_and_after_a_second_one_without_reading_again() {
    let site = Site::new();
    let (keeper, handle, inputs) = site.keeper();
    site.is_complete(&handle, "the first start");
    assert_eq!(told(&inputs), Kept::default());
    keeper.tell(Order::Keep(Box::new(kept())));
    drop(keeper);
    assert!(
        handle.get().is_none(),
        "nobody reads a store that is closed"
    );

    let (keeper, handle, inputs) = site.keeper();
    assert_eq!(told(&inputs), kept());
    site.is_complete(&handle, "the second start");
    drop((keeper, handle));
    assert_eq!(generations::all(&site.store()).expect("it is listed"), [1]);
}

/// A disk that forgets leaves length and time of change as they were.
#[test]
fn a_journal_that_changed_and_looks_unchanged_is_found_without_being_asked() {
    let site = Site::new();
    let (keeper, handle, _inputs) = site.keeper();
    site.is_complete(&handle, "the start");
    drop((keeper, handle));
    let file = site.journal(&names()[1]);
    let changed = fs::metadata(&file).and_then(|it| it.modified());
    let mut bytes = fs::read(&file).expect("it is there");
    bytes[300] ^= 4;
    fs::write(&file, &bytes).expect("there is room");
    let opened = fs::OpenOptions::new().write(true).open(&file);
    let opened = opened.expect("it is there");
    opened
        .set_modified(changed.expect("files have times here"))
        .expect("it can be set");
    let (_keeper, handle, _inputs) = site.keeper();
    let patience = Instant::now() + NEVER;
    let finds = |intact: bool| {
        handle.get().is_some_and(|history| {
            let all = history.list(&site.journals()).expect("it is listed");
            all[1].intact == intact && all[1].records == 16
        })
    };
    while !finds(true) {
        assert!(
            Instant::now() < patience,
            "the list never came from the index"
        );
    }
    while !finds(false) {
        assert!(Instant::now() < patience, "it never was found");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn lines_of_a_running_incident_come_in_as_they_become_durable() {
    let site = Site::new();
    let (keeper, handle, _inputs) = site.keeper();
    site.is_complete(&handle, "the start");
    let incident = "20261126T000000Z-0001";
    let mut writer =
        Writer::create(Arc::new(RealDisk), site.journals(), incident).expect("the name is good");
    for seq in 1..=6 {
        writer.append(&entries(seq..=seq)).expect("there is room");
        keeper.tell(Order::Copy {
            incident: incident.to_owned(),
            lines: writer.take_copies(),
        });
    }
    let history = handle.get().expect("it is open");
    let text = String::from_utf8(lines(&entries(1..=6))).expect("it is text");
    let patience = Instant::now() + NEVER;
    while history.copies(incident).map(|it| it.join("\n") + "\n") != Ok(text.clone()) {
        assert!(Instant::now() < patience, "the lines never came");
        std::thread::sleep(Duration::from_millis(5));
    }
    // A record cut off the end of a running file is known from the copy.
    let file = site.journal(incident);
    let whole = fs::read(&file).expect("it is there");
    let cut = lines(&entries(1..=5)).len();
    fs::write(&file, &whole[..cut]).expect("there is room");
    let read = history
        .read(&site.journals(), incident)
        .expect("it is read");
    assert_eq!((read.records.len(), read.filled.clone()), (6, vec![6]));
    assert!(
        read.problems
            .iter()
            .any(|it| it.what == "Missing after this: record 6."),
        "{:?}",
        read.problems
    );
}

/// One way to damage the bytes of a file.
type Change = Box<dyn Fn(&mut Vec<u8>)>;
/// One way to damage a folder that a store is in.
type Damage = Box<dyn Fn(&Path)>;

fn at_file(name: &'static str, change: impl Fn(&mut Vec<u8>) + 'static) -> Damage {
    Box::new(move |folder| {
        let path = folder.join(name);
        let mut bytes = fs::read(&path).expect("it is there");
        change(&mut bytes);
        fs::write(&path, bytes).expect("there is room");
    })
}

fn damages() -> Vec<(String, Damage)> {
    let mut all: Vec<(String, Damage)> = Vec::new();
    for name in [
        "1/lists/db",
        "1/events/db",
        "1/lists/conf",
        "1/events/conf",
        "1/counts.json",
    ] {
        let mut add = |what: &str, change: Change| {
            all.push((format!("{name} {what}"), at_file(name, change)));
        };
        for part in 0..6_usize {
            add(
                &format!("with a bit flipped in part {part}"),
                Box::new(move |bytes| {
                    let used = bytes.iter().rposition(|byte| *byte != 0).unwrap_or(0) + 1;
                    let at = used * (2 * part + 1) / 12;
                    bytes[at] ^= 1 << (part % 8);
                }),
            );
        }
        for part in 0..4_usize {
            add(
                &format!("with a block of zeros in part {part}"),
                Box::new(move |bytes| {
                    let used = bytes.iter().rposition(|byte| *byte != 0).unwrap_or(0) + 1;
                    let from = used * part / 4 / 4096 * 4096;
                    let to = (from + 4096).min(bytes.len());
                    bytes[from..to].fill(0);
                }),
            );
        }
        for part in 0..4_usize {
            add(
                &format!("cut to {part} quarters"),
                Box::new(move |bytes| bytes.truncate(bytes.len() * part / 4)),
            );
        }
        add(
            "full of noise",
            Box::new(|bytes| {
                for (at, byte) in bytes.iter_mut().enumerate() {
                    *byte = (at * 131 % 251) as u8;
                }
            }),
        );
        let gone: Damage = Box::new(move |folder| {
            fs::remove_file(folder.join(name)).expect("it was there");
        });
        all.push((format!("{name} removed"), gone));
    }
    for name in ["1/lists", "1/events", "1"] {
        let gone: Damage = Box::new(move |folder| {
            fs::remove_dir_all(folder.join(name)).expect("it was there");
        });
        all.push((format!("{name} removed"), gone));
        let emptied: Damage = Box::new(move |folder| {
            fs::remove_dir_all(folder.join(name)).expect("it was there");
            fs::create_dir(folder.join(name)).expect("there is room");
        });
        all.push((format!("{name} emptied"), emptied));
    }
    let all_gone: Damage = Box::new(|folder| fs::remove_dir_all(folder).expect("it was there"));
    all.push(("everything removed".to_owned(), all_gone));
    all
}

#[test]
fn a_store_damaged_in_any_way_comes_back_complete_from_the_journals() {
    let site = Site::new();
    let whole = tempfile::tempdir().expect("there is room");
    {
        let (keeper, handle, inputs) = site.keeper();
        site.is_complete(&handle, "the start");
        told(&inputs);
        keeper.tell(Order::Keep(Box::new(kept())));
    }
    copy_folder(&site.store(), whole.path());
    let mut anew = 0;
    let all = damages();
    for (story, damage) in &all {
        fs::remove_dir_all(site.store()).expect("it was there");
        copy_folder(whole.path(), &site.store());
        damage(&site.store());
        let (keeper, handle, inputs) = site.keeper();
        site.is_complete(&handle, story);
        if story != "everything removed" {
            assert_eq!(told(&inputs), kept(), "{story}: what was set is kept");
        }
        drop(keeper);
        let left = generations::all(&site.store()).expect("it is listed");
        anew += usize::from(left.len() > 1);
        // What was left is left as it was.
        assert!(left.len() <= 1 + generations::LEFT_MAX, "{story}: {left:?}");
    }
    eprintln!("{} damages, {anew} stores made anew", all.len());
    assert!(anew > 10, "so few damages were noticed: {anew}");
}

/// A store that lost some of its keys and opens without a word.
#[test]
fn a_store_that_came_up_short_is_left_and_made_anew() {
    for prefix in [
        "incident/3/20261125T183013Z-0003",
        "event/20261125T183012Z-0002/0000000004",
    ] {
        let site = Site::new();
        let (keeper, handle, _inputs) = site.keeper();
        site.is_complete(&handle, "the start");
        drop((keeper, handle));
        let folder = match prefix.starts_with("event") {
            true => generations::events(&site.store(), 1),
            false => generations::lists(&site.store(), 1),
        };
        {
            let store = Prober::new(None).open(&folder).expect("it opens");
            assert_eq!(store.count(prefix), Ok(1));
            store.remove(prefix).expect("there is room");
        }
        let (keeper, handle, inputs) = site.keeper();
        site.is_complete(&handle, prefix);
        let said: Vec<Input> = inputs.try_iter().collect();
        let said = said.iter().find_map(|it| match it {
            Input::Store(why) => Some(why.clone()),
            _ => None,
        });
        assert!(
            said.is_some_and(|why| why.contains(" came up with ")),
            "{prefix}"
        );
        drop((keeper, handle));
        assert_eq!(
            generations::all(&site.store()).expect("it is listed"),
            [1, 2]
        );
    }
}

#[test]
fn only_two_damaged_generations_are_left() {
    let site = Site::new();
    for start in 1..=4_u32 {
        let (keeper, handle, _inputs) = site.keeper();
        site.is_complete(&handle, "a start");
        let settled = site.store().join(format!("{start}/counts.json"));
        let patience = Instant::now() + NEVER;
        while !settled.exists() {
            assert!(
                Instant::now() < patience,
                "generation {start} never settled"
            );
            std::thread::sleep(Duration::from_millis(5));
        }
        drop((keeper, handle));
        let db = generations::lists(&site.store(), start).join("db");
        fs::write(db, b"not a store").expect("there is room");
    }
    let left = generations::all(&site.store()).expect("it is listed");
    assert!(
        left.len() <= 1 + generations::LEFT_MAX && left.contains(&4),
        "{left:?}"
    );
}

#[test]
fn without_a_store_lists_come_from_the_journals_and_settings_are_kept_beside() {
    let site = Site::new();
    fs::create_dir_all(site.store()).expect("there is room");
    // A file where the folder of the generation would have to be.
    fs::write(site.store().join("1"), b"in the way").expect("there is room");
    for start in 0..2 {
        let (keeper, handle, inputs) = site.keeper();
        let kept_before = told(&inputs);
        assert_eq!(
            kept_before,
            if start == 0 { Kept::default() } else { kept() }
        );
        assert!(handle.get().is_none());
        let listed = handle
            .list(&site.journals())
            .expect("the journals are read");
        assert_eq!(listed.len(), names().len());
        assert!(listed.iter().all(|it| it.intact));
        keeper.tell(Order::Keep(Box::new(kept())));
    }
}

#[test]
fn a_store_that_another_program_uses_is_not_called_damaged() {
    let site = Site::new();
    let first = History::open(&site.store(), &prober()).expect("it opens");
    let second = History::open(&site.store(), &prober()).expect_err("it is in use");
    assert_eq!(second.cause, Cause::InUse, "{second}");
    drop(first);
    assert_eq!(generations::all(&site.store()).expect("it is listed"), [1]);
}

/// A history in memory with the copies of one incident.
fn copies_of(incident: &str, copies: &[String]) -> History {
    let history = History::over(Path::new("nowhere"), 1, Box::new(MemoryStore::default()));
    history.use_events(Box::new(MemoryStore::default()));
    history.add(incident, copies).expect("memory takes it");
    history
}

fn sealed(count: u64) -> Vec<String> {
    let text = String::from_utf8(lines(&entries(1..=count))).expect("it is text");
    text.lines().map(str::to_owned).collect()
}

#[test]
fn a_journal_damaged_at_any_byte_says_where_and_the_copy_fills_the_gap() {
    let data = tempfile::tempdir().expect("there is room");
    let folders = vec![data.path().to_owned()];
    let incident = "20261125T183012Z-4f2a";
    let file = data.path().join(format!("{incident}.jsonl"));
    let lines = sealed(5);
    let whole = lines.join("\n") + "\n";
    let history = copies_of(incident, &lines);
    let mut filled = 0;
    for at in 0..whole.len() {
        for bit in [0, 3, 6] {
            let mut bytes = whole.clone().into_bytes();
            bytes[at] ^= 1 << bit;
            fs::write(&file, &bytes).expect("there is room");
            let read = history.read(&folders, incident).expect("it is read");
            let texts: Vec<&String> = read.records.iter().map(|it| &it.text).collect();
            assert_eq!(
                texts,
                lines.iter().collect::<Vec<_>>(),
                "byte {at} bit {bit}"
            );
            // The last newline is no part of a record: a file without it holds everything.
            let is_end = at + 1 == whole.len();
            assert!(!read.problems.is_empty() || is_end, "byte {at} bit {bit}");
            filled += read.filled.len();
        }
    }
    assert!(filled > 2 * whole.len(), "{filled} gaps were filled");
}

#[test]
fn what_neither_the_journal_nor_the_copy_has_is_named_and_the_rest_is_shown() {
    let data = tempfile::tempdir().expect("there is room");
    let folders = vec![data.path().to_owned()];
    let incident = "20261125T183012Z-4f2a";
    let lines = sealed(9);
    let damaged = |line: &String| line.replace("step-done", "step-gone");
    let mut journal: Vec<String> = lines.clone();
    for at in [2, 3, 6] {
        journal[at] = damaged(&lines[at]);
    }
    fs::write(
        data.path().join(format!("{incident}.jsonl")),
        journal.join("\n") + "\n",
    )
    .expect("there is room");
    // The copy lost record 4 too (the one at index 3), and one of its lines is noise.
    let copies: Vec<String> = lines
        .iter()
        .enumerate()
        .filter(|(at, _)| *at != 3)
        .map(|it| it.1.clone())
        .collect();
    let read = copies_of(incident, &copies)
        .read(&folders, incident)
        .expect("it is read");
    let numbers: Vec<u64> = read.records.iter().map(|it| it.seq).collect();
    assert_eq!(
        (numbers, read.filled.clone()),
        (vec![1, 2, 3, 5, 6, 7, 8, 9], vec![3, 7])
    );
    let named: BTreeMap<u64, &str> = read
        .problems
        .iter()
        .map(|it| (it.seq, it.what.as_str()))
        .collect();
    assert!(
        named[&3].contains("records 3 to 4") && named[&7].contains("record 7"),
        "{named:?}"
    );
    assert_eq!(
        read.filled_in().as_deref(),
        Some("record 3, record 7 came from the copy in the store; their hashes fit")
    );
}

#[test]
fn a_journal_that_was_written_anew_differs_from_its_copy() {
    let data = tempfile::tempdir().expect("there is room");
    let folders = vec![data.path().to_owned()];
    let incident = "20261125T183012Z-4f2a";
    let mut other = entries(1..=5);
    other[2].json = other[2].json.replace("step-done", "step-gone");
    let mut chain = Chain::after(FIRST_PREV);
    let anew: Vec<String> = other.iter().map(|entry| chain.seal(entry)).collect();
    fs::write(
        data.path().join(format!("{incident}.jsonl")),
        anew.join("\n") + "\n",
    )
    .expect("there is room");
    let history = copies_of(incident, &sealed(5));
    let read = history.read(&folders, incident).expect("it is read");
    let named: Vec<u64> = read.problems.iter().map(|it| it.seq).collect();
    assert_eq!(named, [3, 4, 5], "the chain alone would be whole");
    // Nor does the next comparison put it over the copy.
    let files = Files::look(&folders).expect("it is listed");
    let listed = history
        .index(&files, &folders, incident)
        .expect("memory takes it");
    assert!(!listed.expect("it is read").intact);
    assert_eq!(history.copies(incident), Ok(sealed(5)));
}

#[test]
fn an_incident_whose_file_is_gone_is_listed_from_its_copy() {
    let data = tempfile::tempdir().expect("there is room");
    let folders = vec![data.path().join("journals")];
    let incident = "20261125T183012Z-4f2a";
    fs::create_dir_all(&folders[0]).expect("there is room");
    let file = folders[0].join(format!("{incident}.jsonl"));
    fs::write(&file, lines(&entries(1..=5))).expect("there is room");
    let history = copies_of(incident, &sealed(5));
    let files = Files::look(&folders).expect("it is listed");
    let before = history
        .index(&files, &folders, incident)
        .expect("memory takes it")
        .expect("it is read");
    assert!(before.intact);
    fs::remove_file(&file).expect("it was there");
    let listed = history.list(&folders).expect("it is listed");
    assert_eq!(listed.len(), 1);
    assert_eq!(
        (listed[0].intact, listed[0].records, listed[0].filled),
        (false, 5, 5)
    );
    assert_eq!(listed[0].head, before.head);
}

#[test]
fn a_rebuild_keeps_what_only_the_generation_before_had() {
    let site = Site::new();
    let (keeper, handle, _inputs) = site.keeper();
    site.is_complete(&handle, "the start");
    drop((keeper, handle));
    // The second record of one journal is damaged, and another journal is gone altogether.
    let file = site.journal(&names()[0]);
    let whole = fs::read(&file).expect("it is there");
    let mut bytes = whole.clone();
    bytes[lines(&entries(1..=1)).len() + 40] ^= 1;
    fs::write(&file, &bytes).expect("there is room");
    fs::remove_file(site.journal(&names()[2])).expect("it was there");

    // The index is damaged too, so that nothing but the lines themselves is left of it.
    let db = generations::lists(&site.store(), 1).join("db");
    fs::write(db, b"not a store").expect("there is room");
    let mut told = 0;
    let made = History::rebuild(&site.store(), &prober(), &site.journals(), |done| {
        told = done;
        true
    });
    let (history, rebuilt) = made.expect("it is made");
    assert_eq!((history.generation(), told), (2, names().len()));
    assert!(rebuilt.unreadable.is_empty());
    let filled: Vec<(bool, u64)> = rebuilt
        .incidents
        .iter()
        .map(|it| (it.intact, it.filled))
        .collect();
    assert_eq!(
        filled,
        [(false, 1), (true, 0), (false, 20), (true, 0), (true, 0)]
    );
    let text = String::from_utf8(whole).expect("it is text");
    let copies = history.copies(&names()[0]).expect("it is read");
    assert!(copies.iter().map(String::as_str).eq(text.lines()));
    assert_eq!(history.copies(&names()[2]).map(|it| it.len()), Ok(20));
    // And it opens as complete as it was made.
    drop(history);
    let again = History::open(&site.store(), &prober()).expect("it opens");
    assert!(again.left.is_none());
    again
        .history
        .open_events(&prober())
        .expect("nothing is short");
}

/// The index, a journal and a line of the copy: what any of them still has is shown by the next start.
#[test]
fn a_damaged_index_costs_no_copy_that_fills_a_damaged_journal() {
    let site = Site::new();
    let (keeper, handle, _inputs) = site.keeper();
    site.is_complete(&handle, "the start");
    drop((keeper, handle));
    let file = site.journal(&names()[0]);
    let mut bytes = fs::read(&file).expect("it is there");
    bytes[lines(&entries(1..=1)).len() + 40] ^= 1;
    fs::write(&file, &bytes).expect("there is room");
    let db = generations::lists(&site.store(), 1).join("db");
    fs::write(db, b"not a store").expect("there is room");
    let (_keeper, handle, _inputs) = site.keeper();
    let patience = Instant::now() + NEVER;
    let is_filled = || {
        let all = handle.get()?.list(&site.journals()).ok()?;
        let first = all.first()?;
        Some((first.intact, first.records, first.filled) == (false, 12, 1))
    };
    while is_filled() != Some(true) {
        assert!(Instant::now() < patience, "the gap never was filled");
        std::thread::sleep(Duration::from_millis(5));
    }
}
