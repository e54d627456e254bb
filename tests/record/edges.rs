//! Drives the journal's thread, the real disk and the lock as the engine does.

use super::lying::{Fault, LyingDisk};
use super::{INCIDENT, entries, folders, lines};
use groundward::journal::disk::{Disk, DiskFile, RealDisk};
use groundward::journal::lock::{DataLock, LockRefused};
use groundward::journal::read;
use groundward::journal::thread::JournalThread;
use groundward::signal::JournalReport;
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
