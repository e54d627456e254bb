//! Writes records on a thread of its own, so that no rescue waits for a disk.
//!
//! Everything queued goes down with one sync: while a slow disk takes its seconds, records gather and then share the
//! next. What cannot be saved is kept and tried again, and said once for each reason.
//!
//! Limits: the queue has no bound of its own. It holds records of running incidents only, which come at the speed of
//! fingers and clock marks and which the program keeps in memory anyway; refusing one would lose it. Dropping the
//! thread waits for a last try, and so for as long as the disk takes to answer.

use super::addition::{NotAdded, added};
use super::chain::FIRST_PREV;
use super::disk::{Disk, RealDisk};
use super::writer::{Failing, Saved, Writer};
use crate::signal::{Addition, Entry, JournalReport};
use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// How long after a failure the next try is made, if no new record comes before.
const RETRY_INTERVAL: Duration = Duration::from_secs(2);

/// The journal as the engine sees it. No method waits.
pub struct JournalThread {
    orders: Option<Sender<Order>>,
    thread: Option<JoinHandle<()>>,
}

enum Order {
    Open(String),
    Resume(String),
    Append(Vec<Entry>),
    Close,
    Add(Box<Addition>),
}

impl JournalThread {
    /// Starts the thread. Files go to the first folder, to the next one if that fails, and so on. With a report come the
    /// lines that became durable with it, for whoever keeps a copy.
    pub fn spawn(
        folders: Vec<PathBuf>,
        report: impl Fn(JournalReport, Vec<String>) + Send + 'static,
    ) -> io::Result<Self> {
        Self::spawn_on(Arc::new(RealDisk), folders, report)
    }

    /// The same on another disk.
    pub fn spawn_on(
        disk: Arc<dyn Disk>,
        folders: Vec<PathBuf>,
        report: impl Fn(JournalReport, Vec<String>) + Send + 'static,
    ) -> io::Result<Self> {
        let (orders, queue) = mpsc::channel();
        let thread = thread::Builder::new()
            .name("journal".into())
            .spawn(move || run(&disk, &folders, &queue, &report))?;
        Ok(Self {
            orders: Some(orders),
            thread: Some(thread),
        })
    }

    /// Begins a new incident: its file is made now, before there is a record.
    pub fn open(&self, incident: &str) {
        self.order(Order::Open(incident.to_owned()));
    }

    /// Takes up an incident that is on the disk, after its last whole record.
    pub fn resume(&self, incident: &str) {
        self.order(Order::Resume(incident.to_owned()));
    }

    /// Hands over records of the incident opened or resumed last.
    pub fn append(&self, entries: Vec<Entry>) {
        self.order(Order::Append(entries));
    }

    /// Closes the incident opened or resumed last, once all its records are saved.
    pub fn close(&self) {
        self.order(Order::Close);
    }

    /// Adds a record to an incident that has ended. It is tried once: whoever asked for it is told how that went.
    pub fn add(&self, addition: Box<Addition>) {
        self.order(Order::Add(addition));
    }

    fn order(&self, order: Order) {
        if let Some(orders) = &self.orders {
            // The thread ends only when this sender is dropped.
            let _ = orders.send(order);
        }
    }
}

impl Drop for JournalThread {
    fn drop(&mut self) {
        drop(self.orders.take());
        if let Some(thread) = self.thread.take() {
            // A panic there was reported when it happened, and there is nobody here to tell.
            let _ = thread.join();
        }
    }
}

fn run(
    disk: &Arc<dyn Disk>,
    folders: &[PathBuf],
    queue: &Receiver<Order>,
    report: &dyn Fn(JournalReport, Vec<String>),
) {
    let mut incidents: Vec<Incident> = Vec::new();
    loop {
        let waited = if incidents.iter().any(|incident| incident.failing.is_some()) {
            queue.recv_timeout(RETRY_INTERVAL)
        } else {
            queue.recv().map_err(|_| RecvTimeoutError::Disconnected)
        };
        let last_round = matches!(waited, Err(RecvTimeoutError::Disconnected));
        for order in waited.into_iter().chain(queue.try_iter()) {
            match order {
                Order::Open(incident) => incidents.push(Incident::new(incident, false)),
                Order::Resume(incident) => incidents.push(Incident::new(incident, true)),
                Order::Append(entries) => incidents
                    .last_mut()
                    .map_or((), |last| last.waiting.extend(entries)),
                Order::Close => incidents.last_mut().map_or((), |last| last.closing = true),
                Order::Add(addition) => {
                    let open = incidents.iter().any(|it| it.name == addition.incident);
                    add(disk, folders, *addition, open, report);
                }
            }
        }
        incidents.retain_mut(|incident| !incident.settle(disk, folders, report));
        if last_round {
            return;
        }
    }
}

/// Adds a record after the end of an incident, and says so or why not.
fn add(
    disk: &Arc<dyn Disk>,
    folders: &[PathBuf],
    addition: Addition,
    open: bool,
    report: &dyn Fn(JournalReport, Vec<String>),
) {
    let incident = addition.incident.clone();
    let added = match open {
        true => Err(NotAdded::NotEnded),
        false => added(disk, folders, addition),
    };
    match added {
        Ok((Saved { seq, head }, lines)) => {
            let saved = JournalReport::Saved {
                incident: incident.clone(),
                seq,
                head: head.clone(),
            };
            report(saved, lines);
            report(JournalReport::Closed { incident, head }, Vec::new());
        }
        Err(why) => {
            let why = why.to_string();
            report(JournalReport::NotAdded { incident, why }, Vec::new());
        }
    }
}

/// One incident until it is closed. Usually there is one; a second one while an earlier cannot be saved.
struct Incident {
    name: String,
    on_disk: bool,
    writer: Option<Writer>,
    waiting: Vec<Entry>,
    closing: bool,
    saved: Option<Saved>,
    failing: Option<String>,
}

impl Incident {
    fn new(name: String, on_disk: bool) -> Self {
        Self {
            name,
            on_disk,
            writer: None,
            waiting: Vec::new(),
            closing: false,
            saved: None,
            failing: None,
        }
    }

    /// Brings the disk up to date and reports what changed; true when nothing is left to do for this incident.
    fn settle(
        &mut self,
        disk: &Arc<dyn Disk>,
        folders: &[PathBuf],
        report: &dyn Fn(JournalReport, Vec<String>),
    ) -> bool {
        let incident = self.name.clone();
        let result = self.save(disk, folders).and_then(|saved| {
            if let Some(Saved { seq, head }) = saved.clone().filter(|_| saved != self.saved) {
                let saved = JournalReport::Saved {
                    incident: incident.clone(),
                    seq,
                    head,
                };
                let lines = self.writer.as_mut().map(Writer::take_copies);
                report(saved, lines.unwrap_or_default());
            }
            self.saved = saved;
            match &mut self.writer {
                Some(writer) if self.closing => writer.close().map(|_| true),
                _ => Ok(false),
            }
        });
        let closed = *result.as_ref().unwrap_or(&false);
        let failing = result.err().map(|Failing(why)| why);
        if let Some(why) = failing.clone().filter(|_| failing != self.failing) {
            report(JournalReport::Failing { incident, why }, Vec::new());
        } else if closed {
            let head = self
                .saved
                .take()
                .map_or_else(|| FIRST_PREV.to_owned(), |saved| saved.head);
            report(JournalReport::Closed { incident, head }, Vec::new());
        }
        self.failing = failing;
        closed
    }

    fn save(
        &mut self,
        disk: &Arc<dyn Disk>,
        folders: &[PathBuf],
    ) -> Result<Option<Saved>, Failing> {
        let writer =
            match &mut self.writer {
                Some(writer) => writer,
                None => {
                    let begun = if self.on_disk {
                        Writer::resume(disk.clone(), folders.to_vec(), &self.name)
                            .map(|(writer, _)| writer)
                    } else {
                        Writer::create(disk.clone(), folders.to_vec(), &self.name)
                    };
                    self.writer.insert(begun.map_err(|error| {
                        Failing(format!("The log cannot be taken up: {error}."))
                    })?)
                }
            };
        writer.append(&std::mem::take(&mut self.waiting))
    }
}
