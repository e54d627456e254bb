//! Runs what may take long on tokio's blocking pool and answers the engine with an input.
//!
//! The engine never waits for any of it: until an answer comes the last numbers stand, and one made for something else
//! by then is refused there.

use crate::incident::State;
use crate::journal::disk::RealDisk;
use crate::journal::read::{self, Readback};
use crate::plan::Plan;
use crate::readiness::{Basis, Conditions, Depth, Look, Site, Trials, WhatIfs, outlook};
use crate::review;
use crate::signal::{Input, LogEntry, LogRow};
use crate::words::{Language, date_and_time};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::runtime::Handle;
use tokio::sync::mpsc::Sender;

/// The log screen shows this many incidents; the command line lists all.
const LOG_SHOWN_MAX: usize = 60;

/// Long computations, and where their answers go.
#[derive(Clone, Debug)]
pub struct Compute {
    pool: Handle,
    answers: Sender<Input>,
    folders: Vec<PathBuf>,
    /// True once the present look at the site, and the present question of what would help, are not wanted any more.
    site_over: Arc<AtomicBool>,
    what_ifs_over: Arc<AtomicBool>,
}

impl Compute {
    /// Uses this pool; journals are in these folders.
    pub fn new(pool: Handle, answers: Sender<Input>, folders: Vec<PathBuf>) -> Compute {
        Compute {
            pool,
            answers,
            folders,
            site_over: Arc::default(),
            what_ifs_over: Arc::default(),
        }
    }

    /// Does some work on the pool; what it gives is an input of the engine.
    pub fn answer(&self, work: impl FnOnce() -> Option<Input> + Send + 'static) {
        let answers = self.answers.clone();
        self.pool.spawn_blocking(move || {
            if let Some(input) = work() {
                // An engine that has ended needs no answer.
                drop(answers.blocking_send(input));
            }
        });
    }

    /// Makes a forecast.
    pub fn forecast(&self, basis: Basis, plan: Arc<Plan>) {
        self.answer(move || {
            let forecast = outlook(&plan, &basis, Depth::LIVE)?;
            Some(Input::Forecast {
                basis: Box::new(basis),
                forecast,
            })
        });
    }

    /// Looks at all positions. One look at a time: a newer one ends the one before.
    pub fn standings(&mut self, conditions: Conditions, plan: Arc<Plan>) {
        let over = renew(&mut self.site_over);
        self.answer(move || {
            let looks = looks(&plan, &conditions, Depth::SITE, &over);
            let standings = looks?.into_iter().map(|it| it.standing).collect();
            Some(Input::Standings {
                conditions,
                plan,
                standings,
            })
        });
    }

    /// Finds out what would help most, and tells how far it is.
    pub fn what_ifs(&mut self, conditions: Conditions, plan: Arc<Plan>) {
        let over = renew(&mut self.what_ifs_over);
        let answers = self.answers.clone();
        self.answer(move || {
            let looks = looks(&plan, &conditions, Trials::DEPTH, &over)?;
            let tell = |found: &WhatIfs| {
                // A queue that is full has no room for how far something is; the end of it waits below.
                drop(answers.try_send(Input::WhatIfs(found.clone())));
            };
            let found = what_ifs(&plan, &conditions, &looks, &over, tell);
            (!over.load(Ordering::Acquire)).then_some(Input::WhatIfs(found))
        });
    }

    /// Gives up looking for what would help.
    pub fn stop_what_ifs(&self) {
        self.what_ifs_over.store(true, Ordering::Release);
    }

    /// Leaves all cores to a rescue.
    pub fn stop_looking_ahead(&self) {
        self.site_over.store(true, Ordering::Release);
        self.stop_what_ifs();
    }

    /// Reads the list of incidents.
    pub fn log(&self, language: Language) {
        let folders = self.folders.clone();
        self.answer(move || Some(Input::Log(log(&folders, language))));
    }

    /// Reads the lines of one incident.
    pub fn incident(&self, incident: String, language: Language) {
        let folders = self.folders.clone();
        self.answer(move || Some(Input::LogRows(rows(&folders, &incident, language))));
    }
}

/// Ends what a flag stands for, and puts another in its place.
fn renew(flag: &mut Arc<AtomicBool>) -> Arc<AtomicBool> {
    flag.store(true, Ordering::Release);
    *flag = Arc::default();
    flag.clone()
}

/// Threads for a long computation: as many as there are cores, within reason.
fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, |cores| cores.get().min(8))
}

/// Looks at all positions of a plan on all cores, in the order of the plan; none where it was called off.
pub fn looks(
    plan: &Plan,
    conditions: &Conditions,
    depth: Depth,
    over: &AtomicBool,
) -> Option<Vec<Look>> {
    let site = Site::new(plan, conditions, depth);
    let next = AtomicUsize::new(0);
    let found: Mutex<Vec<(usize, Look)>> = Mutex::default();
    std::thread::scope(|scope| {
        for _ in 0..threads().min(site.len()) {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= site.len() || over.load(Ordering::Acquire) {
                        return;
                    }
                    let look = site.look(index);
                    let mut found = found.lock().unwrap_or_else(PoisonError::into_inner);
                    found.push((index, look));
                }
            });
        }
    });
    if over.load(Ordering::Acquire) {
        return None;
    }
    let mut found = found.into_inner().unwrap_or_else(PoisonError::into_inner);
    found.sort_by_key(|(index, _)| *index);
    Some(found.into_iter().map(|(_, look)| look).collect())
}

/// Tries what would help on all cores, and tells after each trial how far it is.
pub fn what_ifs(
    plan: &Plan,
    conditions: &Conditions,
    looks: &[Look],
    over: &AtomicBool,
    tell: impl Fn(&WhatIfs) + Sync,
) -> WhatIfs {
    let trials = Trials::new(plan, conditions, looks);
    let next = AtomicUsize::new(0);
    let found = Mutex::new(WhatIfs {
        all: u32::try_from(trials.len()).unwrap_or(u32::MAX),
        ended: trials.is_empty(),
        ..WhatIfs::default()
    });
    std::thread::scope(|scope| {
        for _ in 0..threads().min(trials.len()) {
            scope.spawn(|| {
                let bench = trials.bench();
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= trials.len() || over.load(Ordering::Acquire) {
                        return;
                    }
                    let gain = bench.look(index);
                    let mut found = found.lock().unwrap_or_else(PoisonError::into_inner);
                    found.add(gain);
                    tell(&found);
                }
            });
        }
    });
    let mut found = found.into_inner().unwrap_or_else(PoisonError::into_inner);
    found.ended = true;
    found
}

/// The records of a readback that this program can read.
pub fn records(readback: &Readback) -> Vec<crate::incident::Record> {
    readback
        .records
        .iter()
        .filter_map(|r| crate::incident::Record::from_json(&r.text).ok())
        .collect()
}

/// One incident for a list.
pub fn entry(readback: &Readback, language: Language) -> LogEntry {
    let state = State::replay(records(readback));
    let summary = review::summary(&state, language);
    let started = state.log.first().map(|r| r.now.clone());
    LogEntry {
        incident: readback.incident.clone(),
        when: started.map_or_else(String::new, |m| date_and_time(m.wall_ms, m.offset_min)),
        place: summary.place,
        drill: summary.drill,
        closed: summary.closed,
        hung: summary.hung,
        intact: readback.problems.is_empty(),
    }
}

fn log(folders: &[PathBuf], language: Language) -> Vec<LogEntry> {
    let mut incidents = read::list(&RealDisk, folders).unwrap_or_default();
    incidents.reverse();
    incidents
        .iter()
        .take(LOG_SHOWN_MAX)
        .filter_map(|id| read::read(&RealDisk, folders, id).ok())
        .map(|readback| entry(&readback, language))
        .collect()
}

fn rows(folders: &[PathBuf], incident: &str, language: Language) -> Vec<LogRow> {
    let Ok(readback) = read::read(&RealDisk, folders, incident) else {
        return Vec::new();
    };
    review::lines(&records(&readback), language)
        .into_iter()
        .filter(|line| !line.inner)
        .map(|line| LogRow {
            elapsed: line.elapsed,
            text: line.text,
            who: line.who,
        })
        .collect()
}
