//! Keeps settings, the roll call and the shift over a restart, and the store up to date with the journals.
//!
//! One thread owns the store, because opening it may hang and writing may wait. What somebody set is written to the store
//! and to a small file beside it, so that a damaged store costs nobody the roll call. Lines come after they are durable
//! in the journal; while an incident runs, nothing else is done with the disk. Otherwise the incidents are held against
//! their journals one at a time, between two orders, and then every journal is read through once more, without haste.
//!
//! Limits: a full queue drops lines, which the next comparison brings in again.

use crate::history::{Compared, Files, Handle, History};
use crate::journal::disk::replace;
use crate::readiness::Shift;
use crate::signal::{Input, Kept, RollCall, Settings};
use crate::store::probe::Prober;
use crate::store::{Cause, StoreFault, pair};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TryRecvError, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// So many orders may wait. A rescue makes a few a second.
const ORDERS_MAX: usize = 1_024;
/// What was set, in the store and in the file beside it.
const KEPT_KEY: &str = "kept/1";
const KEPT_FILE: &str = "kept.json";
/// So many generations are left in one run before the program goes on without a store.
const LEFT_MAX: u32 = 2;
/// How long it rests between two journals that it reads through.
const READ_EVERY: Duration = Duration::from_millis(200);
/// How long the end of the program waits for the store to be closed.
const CLOSE_PATIENCE: Duration = Duration::from_secs(3);

/// Keeps things on a thread of its own.
#[derive(Debug)]
pub struct Keeper {
    orders: Option<SyncSender<Order>>,
    ended: Receiver<()>,
    thread: Option<JoinHandle<()>>,
}

/// What the keeper is told.
#[derive(Debug)]
pub enum Order {
    /// Keep this over a restart.
    Keep(Box<Kept>),
    /// These lines of an incident are durable.
    Copy {
        /// Incident id.
        incident: String,
        /// Sealed lines.
        lines: Vec<String>,
    },
    /// This incident is over and its file closed.
    Closed {
        /// Incident id.
        incident: String,
    },
}

/// What is kept, with a number that grows, so that of two copies the newer one is known.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
struct Numbered {
    number: u64,
    settings: Settings,
    roll_call: RollCall,
    shift: Shift,
}

impl Keeper {
    /// Opens the store below `folder`, hands it out through `handle`, and reports what was kept or why nothing can be.
    pub fn start(
        folder: &Path,
        journals: Vec<PathBuf>,
        prober: Prober,
        handle: Handle,
        report: impl Fn(Input) + Send + 'static,
    ) -> std::io::Result<Keeper> {
        let (orders, queue) = sync_channel(ORDERS_MAX);
        let (end, ended) = sync_channel(1);
        let folder = folder.to_owned();
        let thread = std::thread::Builder::new()
            .name("keeper".to_owned())
            .spawn(move || {
                let mut work = Work {
                    folder,
                    journals,
                    prober,
                    handle,
                    report,
                    number: 0,
                    running: None,
                    todo: Vec::new(),
                    unread: Vec::new(),
                    files: Files::default(),
                    changed: false,
                    left: 0,
                };
                work.start();
                work.serve(&queue);
                work.handle.set(None);
                // Whoever waited for it may have gone.
                let _ = end.send(());
            })?;
        Ok(Keeper {
            orders: Some(orders),
            ended,
            thread: Some(thread),
        })
    }

    /// Tells the keeper something, without waiting.
    pub fn tell(&self, order: Order) {
        if let Some(orders) = &self.orders {
            // What finds no room comes in with the next change or comparison.
            let _ = orders.try_send(order);
        }
    }

    /// Another way to tell it something, for another thread.
    pub fn teller(&self) -> impl Fn(Order) + Send + 'static {
        let orders = self.orders.clone();
        move |order| {
            if let Some(orders) = &orders {
                let _ = orders.try_send(order);
            }
        }
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        self.orders = None;
        // A store that hangs must not keep the program from ending.
        let ended = self.ended.recv_timeout(CLOSE_PATIENCE);
        if ended != Err(RecvTimeoutError::Timeout)
            && let Some(thread) = self.thread.take()
        {
            // A keeper that panicked has nothing left to keep.
            let _ = thread.join();
        }
    }
}

/// The keeper's thread.
struct Work<R> {
    folder: PathBuf,
    journals: Vec<PathBuf>,
    prober: Prober,
    handle: Handle,
    report: R,
    number: u64,
    /// The incident that runs: nothing but its lines is written meanwhile.
    running: Option<String>,
    /// Incidents still to be held against their journals, the newest last.
    todo: Vec<String>,
    /// Incidents whose journals are still to be read through, the newest last.
    unread: Vec<String>,
    /// The files as they were when that began.
    files: Files,
    /// True once one of them was not the same.
    changed: bool,
    /// Generations that were left since the program began.
    left: u32,
}

impl<R: Fn(Input)> Work<R> {
    fn start(&mut self) {
        let opened = History::open(&self.folder, &self.prober);
        let history = match opened {
            Ok(opened) => {
                if let Some(why) = opened.left {
                    (self.report)(Input::Store(why));
                }
                Some(Arc::new(opened.history))
            }
            Err(fault) => {
                (self.report)(Input::Store(fault.what));
                None
            }
        };
        let kept = self.read_kept(history.as_deref());
        self.number = kept.number;
        (self.report)(Input::Kept(Ok(Kept {
            settings: kept.settings,
            roll_call: kept.roll_call,
            shift: kept.shift,
        })));
        if let Some(history) = history {
            self.handle.set(Some(history.clone()));
            let opened = history.open_events(&self.prober);
            self.settle(opened);
            self.look();
        }
    }

    /// The newer of the two copies of what was kept.
    fn read_kept(&self, history: Option<&History>) -> Numbered {
        let stored: Option<Numbered> = history.and_then(|it| it.get(KEPT_KEY).ok().flatten());
        let beside = std::fs::read(self.folder.join(KEPT_FILE)).ok();
        let beside = beside.and_then(|bytes| serde_json::from_slice::<Numbered>(&bytes).ok());
        let all = stored.into_iter().chain(beside);
        all.max_by_key(|it| it.number).unwrap_or_default()
    }

    /// Lists what is to be held against the journals.
    fn look(&mut self) {
        let Some(history) = self.handle.get() else {
            return;
        };
        self.files = Files::look(&self.journals).unwrap_or_default();
        self.todo = history.incidents(&self.files).unwrap_or_default();
        self.unread.clone_from(&self.todo);
    }

    fn serve(&mut self, orders: &Receiver<Order>) {
        loop {
            let order = match (&self.running, self.todo.is_empty(), self.unread.is_empty()) {
                (None, false, _) => orders.try_recv(),
                (None, true, false) => match orders.recv_timeout(READ_EVERY) {
                    Err(RecvTimeoutError::Timeout) => Err(TryRecvError::Empty),
                    other => other.map_err(|_| TryRecvError::Disconnected),
                },
                _ => orders.recv().map_err(|_| TryRecvError::Disconnected),
            };
            match order {
                Ok(order) => self.take(order),
                Err(TryRecvError::Empty) if self.todo.is_empty() => self.read_one(),
                Err(TryRecvError::Empty) => self.compare_one(false),
                Err(TryRecvError::Disconnected) => return,
            }
        }
    }

    fn take(&mut self, order: Order) {
        match order {
            Order::Keep(kept) => self.keep(*kept),
            Order::Copy { incident, lines } => {
                if let Some(history) = self.handle.get() {
                    let added = history.add(&incident, &lines);
                    self.settle(added);
                }
                self.running = Some(incident);
            }
            Order::Closed { incident } => {
                self.running = None;
                self.files = Files::look(&self.journals).unwrap_or_default();
                self.todo.push(incident);
                self.compare_one(true);
            }
        }
    }

    fn keep(&mut self, kept: Kept) {
        self.number = self.number.saturating_add(1);
        let numbered = Numbered {
            number: self.number,
            settings: kept.settings,
            roll_call: kept.roll_call,
            shift: kept.shift,
        };
        let Ok(pair) = pair(KEPT_KEY, &numbered) else {
            return;
        };
        let beside = std::fs::create_dir_all(&self.folder)
            .and_then(|()| replace(&self.folder.join(KEPT_FILE), &pair.1));
        let stored = self.handle.get().map(|it| it.lists().put(&[pair]));
        let is_stored = matches!(stored, Some(Ok(())));
        if let Some(stored) = stored {
            self.settle(stored);
        }
        if let (Err(error), false) = (beside, is_stored) {
            (self.report)(Input::Kept(Err(format!("{error}."))));
        }
    }

    /// Holds the next incident against its journal; `is_over` says that it has just ended.
    fn compare_one(&mut self, is_over: bool) {
        let (Some(incident), Some(history)) = (self.todo.pop(), self.handle.get()) else {
            self.todo.clear();
            return;
        };
        let compared = history.compare(&self.files, &self.journals, &incident);
        self.changed |= matches!(compared, Ok(Compared::Updated));
        self.settle(compared.map(|_| ()));
        // What is left to compare may be thousands, so the end of an incident settles by itself.
        if self.changed && (self.todo.is_empty() || is_over) {
            self.changed = false;
            let settled = history.settle();
            self.settle(settled);
        }
    }

    fn read_one(&mut self) {
        if let (Some(incident), Some(history)) = (self.unread.pop(), self.handle.get()) {
            let read = history.read_through(&self.files, &self.journals, &incident);
            self.settle(read.map(|_| ()));
        }
    }

    /// Makes the store anew where it turned out to be damaged, and goes on without one where that does not help.
    fn settle(&mut self, outcome: Result<(), StoreFault>) {
        let Err(fault) = outcome else { return };
        (self.report)(Input::Store(fault.what));
        let before = self.handle.get();
        self.handle.set(None);
        // What keeps getting damaged is a disk and not a store.
        if fault.cause != Cause::Damaged || self.left >= LEFT_MAX {
            return;
        }
        self.left += 1;
        let kept = self.read_kept(before.as_deref());
        drop(before);
        let begun = History::begin(&self.folder, &self.prober)
            .and_then(|history| history.open_events(&self.prober).map(|()| history));
        match begun {
            Ok(history) => {
                // The file beside has it too, should this fail.
                let _ = pair(KEPT_KEY, &kept).and_then(|pair| history.lists().put(&[pair]));
                self.handle.set(Some(Arc::new(history)));
                self.look();
            }
            Err(fault) => (self.report)(Input::Store(fault.what)),
        }
    }
}
