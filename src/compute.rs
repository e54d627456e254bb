//! Runs what may take long on tokio's blocking pool and answers the engine with an input.
//!
//! The engine never waits for any of it: until an answer comes the last numbers stand, and one made for something else
//! by then is refused there.

use crate::incident::State;
use crate::journal::disk::RealDisk;
use crate::journal::read::{self, Readback};
use crate::plan::Plan;
use crate::readiness::{Basis, outlook};
use crate::review;
use crate::signal::{Input, LogEntry, LogRow};
use crate::words::{Language, date_and_time};
use std::path::PathBuf;
use std::sync::Arc;
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
}

impl Compute {
    /// Uses this pool; journals are in these folders.
    pub fn new(pool: Handle, answers: Sender<Input>, folders: Vec<PathBuf>) -> Compute {
        Compute {
            pool,
            answers,
            folders,
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
            outlook(&plan, &basis).map(|forecast| Input::Forecast { basis, forecast })
        });
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
