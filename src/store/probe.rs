//! Has another process open a store first, because sled's `open` can hang for ever on a damaged one.
//!
//! A thread that hangs cannot be ended, and would keep a core busy through a rescue; a process can be killed. It reads
//! every key and value, so a panic that waits behind the opening is met there too.
//!
//! Limits: where no process can be started the store is opened untried, by a thread with a deadline.

use super::{Cause, DiskStore, StoreFault};
use rustix::process::{Signal, set_parent_process_death_signal};
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::Duration;

/// The command that answers a probe.
pub const COMMAND: &str = "store-probe";
/// Every store gets this long, and a second more for so many bytes: a slow disk reads that much at least.
const PATIENCE: Duration = Duration::from_secs(5);
const BYTES_PER_SECOND: u64 = 16 * 1024 * 1024;
/// How often it is looked whether the other process has ended.
const LOOK_EVERY: Duration = Duration::from_millis(2);
/// How the answers begin.
const KEYS: &str = "keys ";
const IN_USE: &str = "in-use ";
const DISK: &str = "disk ";

/// Tries stores in another process.
#[derive(Clone, Debug)]
pub struct Prober {
    program: Option<PathBuf>,
    patience: Duration,
}

impl Prober {
    /// Uses this program, which has to know [`COMMAND`]; without one nothing is tried.
    pub fn new(program: Option<PathBuf>) -> Prober {
        Prober {
            program,
            patience: PATIENCE,
        }
    }

    /// Waits this long for a small store, instead of the usual time.
    pub fn with_patience(self, patience: Duration) -> Prober {
        Prober { patience, ..self }
    }

    /// Opens the store in this folder, after another process did so. A folder that is not there is made.
    pub fn open(&self, folder: &Path) -> Result<DiskStore, StoreFault> {
        let patience = self.patience_for(folder);
        if folder.exists() {
            self.probe(folder, patience)?;
        }
        DiskStore::open(folder, patience)
    }

    /// How long a store may take, by how much there is of it.
    fn patience_for(&self, folder: &Path) -> Duration {
        let bytes = fs::metadata(folder.join("db")).map_or(0, |file| file.len());
        self.patience
            .saturating_add(Duration::from_secs(bytes / BYTES_PER_SECOND))
    }

    fn probe(&self, folder: &Path, patience: Duration) -> Result<(), StoreFault> {
        let Some(program) = &self.program else {
            return Ok(());
        };
        let child = Command::new(program)
            .arg(COMMAND)
            .arg(folder)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn();
        let Ok(mut child) = child else {
            return Ok(());
        };
        let sentence =
            |why: &str| format!("The store in {} cannot be used: {why}.", folder.display());
        if !ends_within(&mut child, patience) {
            // It may have ended meanwhile; either way it is gone after this.
            let _ = child.kill();
            let _ = child.wait();
            let late = format!("it did not open within {} s", patience.as_secs());
            return Err(StoreFault::damaged(sentence(&late)));
        }
        let mut said = String::new();
        if let Some(mut out) = child.stdout.take() {
            // What cannot be read was not said.
            let _ = out.read_to_string(&mut said);
        }
        let said = said.trim();
        if said.starts_with(KEYS) {
            Ok(())
        } else if let Some(what) = said.strip_prefix(IN_USE) {
            Err(StoreFault {
                cause: Cause::InUse,
                what: what.to_owned(),
            })
        } else if let Some(what) = said.strip_prefix(DISK) {
            Err(StoreFault::disk(what))
        } else {
            Err(StoreFault::damaged(sentence("it is damaged")))
        }
    }
}

/// True once a process has ended; false where it still runs after `patience`.
fn ends_within(child: &mut Child, patience: Duration) -> bool {
    let looks = patience.as_millis() / LOOK_EVERY.as_millis();
    for _ in 0..=looks {
        match child.try_wait() {
            Ok(None) => thread::sleep(LOOK_EVERY),
            Ok(Some(_)) | Err(_) => return true,
        }
    }
    false
}

/// Answers a probe, in the other process: the line to print. What panics ends that process, which is an answer too.
pub fn answer(folder: &Path) -> String {
    // Whoever asked may be killed meanwhile, and what is held open here would be in the way of the next start.
    let _ = set_parent_process_death_signal(Some(Signal::KILL));
    let tried = DiskStore::open(folder, Duration::MAX).and_then(|store| store.read_through());
    match tried {
        Ok(keys) => format!("{KEYS}{keys}"),
        Err(StoreFault { cause, what }) => match cause {
            Cause::InUse => format!("{IN_USE}{what}"),
            Cause::Disk => format!("{DISK}{what}"),
            Cause::Damaged => what,
        },
    }
}
