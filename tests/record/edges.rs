//! Drives the journal's thread, the real disk and the lock as the engine does.

use super::lying::{Fault, LyingDisk};
use super::{INCIDENT, entries, folders, lines};
use crate::desk::Desk;
use groundward::incident::{Act, Event, Moment, Owner, Record, Task};
use groundward::journal::disk::{Disk, DiskFile, RealDisk};
use groundward::journal::lock::{DataLock, LockRefused};
use groundward::journal::read;
use groundward::journal::thread::JournalThread;
use groundward::journal::writer::Writer;
use groundward::signal::{Addition, Entry, JournalReport};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};
use std::{fs, io, thread};

fn spawn(
    disk: impl Disk + 'static,
    folders: Vec<PathBuf>,
) -> (JournalThread, Receiver<JournalReport>) {
    let (sender, reports) = mpsc::channel();
    let report = move |report, _| sender.send(report).expect("the test listens");
    (
        JournalThread::spawn_on(Arc::new(disk), folders, report)
            .expect("there is room for a thread"),
        reports,
    )
}

/// Waits for the next report, as one line.
#[track_caller]
fn next(reports: &Receiver<JournalReport>) -> String {
    match reports
        .recv_timeout(Duration::from_secs(20))
        .expect("a report comes")
    {
        JournalReport::Saved { seq, .. } => format!("saved {seq}"),
        JournalReport::Failing { why, .. } => format!("failing: {why}"),
        JournalReport::Closed { .. } => "closed".to_owned(),
        JournalReport::NotAdded { why, .. } => format!("not added: {why}"),
    }
}

#[test]
fn an_incident_is_opened_saved_taken_up_and_closed() {
    let data = tempfile::tempdir().expect("there is room");
    let folders = vec![data.path().join("deep/journal")];
    let path = folders[0].join(format!("{INCIDENT}.jsonl"));
    let (journal, reports) = spawn(RealDisk, folders.clone());
    journal.open(INCIDENT);
    journal.append(entries(1..=3));
    while next(&reports) != "saved 3" {}
    assert_eq!(
        fs::metadata(&path).expect("it is there").len(),
        4 * 1024 * 1024
    );
    drop(journal);

    let (journal, reports) = spawn(RealDisk, folders.clone());
    journal.resume(INCIDENT);
    journal.append(entries(4..=5));
    journal.close();
    while next(&reports) != "closed" {}
    drop(journal);
    assert_eq!(
        fs::read(&path).expect("it is there"),
        lines(&entries(1..=5))
    );
    assert_eq!(
        read::list(&RealDisk, &folders).expect("it is listed"),
        [INCIDENT]
    );
}

/// A disk that takes its time for each sync.
struct SlowDisk(LyingDisk);
struct SlowFile(Box<dyn DiskFile>);
const SYNC_TIME: Duration = Duration::from_millis(150);

impl Disk for SlowDisk {
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(SlowFile(self.0.create(path)?)))
    }
    fn open(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(SlowFile(self.0.open(path)?)))
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        self.0.remove(path)
    }
    fn sync_folder(&self, folder: &Path) -> io::Result<()> {
        self.0.sync_folder(folder)
    }
    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        self.0.read(path)
    }
    fn names(&self, folder: &Path) -> io::Result<Vec<String>> {
        self.0.names(folder)
    }
}

impl DiskFile for SlowFile {
    fn write_at(&mut self, bytes: &[u8], offset_bytes: u64) -> io::Result<()> {
        self.0.write_at(bytes, offset_bytes)
    }
    fn sync_data(&mut self) -> io::Result<()> {
        thread::sleep(SYNC_TIME);
        self.0.sync_data()
    }
    fn set_len(&mut self, len_bytes: u64) -> io::Result<()> {
        self.0.set_len(len_bytes)
    }
}

#[test]
fn a_slow_disk_makes_nobody_wait_and_records_share_its_syncs() {
    let (journal, reports) = spawn(SlowDisk(LyingDisk::default()), folders());
    journal.open(INCIDENT);
    let begun = Instant::now();
    for seq in 1..=60 {
        journal.append(entries(seq..=seq));
    }
    assert!(
        begun.elapsed() < SYNC_TIME,
        "handing over took {:?}",
        begun.elapsed()
    );
    let mut count = 1;
    while next(&reports) != "saved 60" {
        count += 1;
    }
    assert!(count <= 6, "60 records took {count} reports");
}

#[test]
fn a_failure_is_said_once_and_tried_again_by_itself() {
    let disk = LyingDisk::failing(Fault::From(1));
    let (journal, reports) = spawn(disk.clone(), folders());
    journal.open(INCIDENT);
    assert_eq!(
        next(&reports),
        "failing: The log cannot be saved in /data/journal: the disk does not answer. \
         The log cannot be saved in /fallback: the disk does not answer."
    );
    for seq in 1..=5 {
        journal.append(entries(seq..=seq));
    }
    thread::sleep(Duration::from_millis(200));
    disk.heal();
    assert_eq!(next(&reports), "saved 5");
    journal.close();
    assert_eq!(next(&reports), "closed");
}

#[test]
fn an_incident_that_cannot_be_saved_is_not_lost_behind_the_next_one() {
    let disk = LyingDisk::failing(Fault::From(1));
    let (journal, reports) = spawn(disk.clone(), folders());
    journal.open(INCIDENT);
    journal.append(entries(1..=3));
    journal.close();
    journal.open("20261125T190000Z-0001");
    journal.append(entries(1..=2));
    assert!(next(&reports).starts_with("failing"));
    assert!(next(&reports).starts_with("failing"));
    disk.heal();
    drop(journal);
    let all = read::list(&disk, &folders()).expect("they are listed");
    let counts: Vec<usize> = all
        .iter()
        .map(|id| read::read(&disk, &folders(), id).map_or(0, |found| found.records.len()))
        .collect();
    assert_eq!((all.len(), counts), (2, vec![3, 2]));
}

#[test]
fn dropping_the_thread_saves_what_was_handed_over() {
    let disk = LyingDisk::default();
    let (journal, _reports) = spawn(SlowDisk(disk.clone()), folders());
    journal.open(INCIDENT);
    journal.append(entries(1..=9));
    drop(journal);
    assert_eq!(
        read::read(&disk, &folders(), INCIDENT)
            .expect("it is there")
            .records
            .len(),
        9
    );
}

#[test]
fn a_data_folder_has_one_writer() {
    let data = tempfile::tempdir().expect("there is room");
    let folder = data.path().join("not/made/yet");
    let lock = DataLock::take(&folder).expect("nobody holds it");
    let refused = DataLock::take(&folder).expect_err("it is held");
    assert!(matches!(&refused, LockRefused::InUse(which) if *which == folder));
    assert_eq!(
        refused.to_string(),
        format!(
            "another Groundward uses the folder {}; close it or give this one another folder",
            folder.display()
        )
    );
    drop(lock);
    DataLock::take(&folder).expect("it is free again");
}

/// An incident as the program itself writes one, in a folder of its own, and the name of its file.
fn stood_down(disk: Arc<dyn Disk>, data: &Path) -> (Vec<PathBuf>, PathBuf, String) {
    let mut desk = Desk::demo();
    desk.hang(Some("silo3"));
    desk.act(Act::OffHarness);
    desk.act(Act::BeginClosing);
    desk.act(Act::StandDown);
    let incident = desk.records[0].incident.to_string();
    let folders = vec![data.join("journal")];
    let mut writer =
        Writer::create(disk, folders.clone(), &incident).expect("the name is one of an incident");
    let entries: Vec<Entry> = desk
        .records
        .iter()
        .map(|it| Entry {
            seq: it.seq,
            json: it.to_json(),
        })
        .collect();
    writer.append(&entries).expect("the disk is well");
    writer.close().expect("the disk is well");
    let path = folders[0].join(format!("{incident}.jsonl"));
    (folders, path, incident)
}

fn set() -> Event {
    Event::TaskSet(Task {
        text: "mend the hoist".into(),
        owner: Owner::Role("rope lead".to_owned()),
        due: "2031-06-01".parse().expect("it is a day"),
        from: None,
        by: None,
    })
}

fn addition(incident: &str) -> Box<Addition> {
    Box::new(Addition {
        incident: incident.to_owned(),
        now: Moment {
            wall_ms: 1_800_000_000_000,
            offset_min: 0,
            boot_ms: 7,
            boot_id: "weeks later".into(),
        },
        who: "ines".to_owned(),
        event: set(),
    })
}

#[test]
fn what_is_added_after_the_end_is_sealed_into_the_same_chain() {
    let data = tempfile::tempdir().expect("there is room");
    let (folders, path, incident) = stood_down(Arc::new(RealDisk), data.path());
    let before = fs::read(&path).expect("it is there");
    let records = before.iter().filter(|byte| **byte == b'\n').count() as u64;
    let (journal, reports) = spawn(RealDisk, folders.clone());
    journal.add(addition(&incident));
    assert_eq!(next(&reports), format!("saved {records}"));
    assert_eq!(next(&reports), "closed");
    journal.add(addition(&incident));
    assert_eq!(next(&reports), format!("saved {}", records + 1));
    drop(journal);
    let after = fs::read(&path).expect("it is there");
    assert!(after.starts_with(&before), "nothing before it was changed");
    let found = read::read(&RealDisk, &folders, &incident).expect("it is read");
    assert!(found.problems.is_empty() && found.closed, "{found:?}");
    assert_eq!(found.records.len() as u64, records + 2);
    let last = Record::from_json(&found.records[found.records.len() - 1].text).expect("a record");
    assert_eq!(last.event, set());
    assert_eq!(&*last.who, "ines");
}

#[test]
fn nothing_is_added_to_what_has_not_ended_was_altered_or_is_not_there() {
    let data = tempfile::tempdir().expect("there is room");
    let (folders, path, incident) = stood_down(Arc::new(RealDisk), data.path());
    let whole = fs::read_to_string(&path).expect("it is there");
    let tried = |text: &str| {
        fs::write(&path, text).expect("there is room");
        let (journal, reports) = spawn(RealDisk, folders.clone());
        journal.add(addition(&incident));
        let said = next(&reports);
        drop(journal);
        assert_eq!(fs::read_to_string(&path).expect("it is there"), text);
        said
    };
    let altered = whole.replacen("silo3", "silo4", 1);
    assert_eq!(tried(&altered), "not added: Its record was altered.");
    let open: Vec<&str> = whole.lines().take(4).collect();
    let open = open.join("\n") + "\n";
    assert_eq!(tried(&open), "not added: It has not ended yet.");
    fs::remove_file(&path).expect("it is there");
    let (journal, reports) = spawn(RealDisk, folders.clone());
    journal.add(addition(&incident));
    let said = next(&reports);
    assert!(
        said.starts_with("not added: The log cannot be taken up"),
        "{said}"
    );
    // And one that is being written now.
    journal.open("20310512T120000Z-0009");
    journal.append(entries(1..=2));
    journal.add(addition("20310512T120000Z-0009"));
    let mut said = Vec::new();
    while said.len() < 2 {
        said.push(next(&reports));
    }
    assert!(
        said.contains(&"not added: It has not ended yet.".to_owned()),
        "{said:?}"
    );
}

#[test]
fn an_addition_that_a_disk_refuses_is_said_and_the_record_stays_whole() {
    let (mut saved, mut refused) = (0, 0);
    for call in 1..=12 {
        let disk = LyingDisk::default();
        let (folders, _, incident) = stood_down(Arc::new(disk.clone()), Path::new("/data"));
        let before = read::read(&disk, &folders, &incident).expect("it is read");
        disk.fail(Fault::Once(disk.calls() + call));
        let (journal, reports) = spawn(disk.clone(), folders.clone());
        journal.add(addition(&incident));
        let said = next(&reports);
        drop(journal);
        disk.heal();
        let found = read::read(&disk, &folders, &incident).expect("it is read");
        assert!(found.problems.is_empty(), "call {call}, {said}: {found:?}");
        let kept = found.records.len() - before.records.len();
        if said.starts_with("saved") {
            assert_eq!(kept, 1, "call {call}");
            saved += 1;
        } else {
            assert!(said.starts_with("not added: "), "call {call}: {said}");
            assert!(kept <= 1, "call {call}: {kept}");
            refused += 1;
        }
    }
    // Where one file fails another is begun, and where nothing fails any more it is saved.
    assert!(saved > 0 && saved + refused == 12, "{saved}, {refused}");
}
