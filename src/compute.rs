//! Runs what may take long on tokio's blocking pool and answers the engine with an input.
//!
//! The engine never waits for any of it: until an answer comes the last numbers stand, and one made for something else
//! by then is refused there.

use crate::drill::{Debrief, Group, Lesson, Outcome, PartTaken, Played, Span, learned};
use crate::history::{Handle, Listed, records};
use crate::incident::{Record, State};
use crate::plan::Plan;
use crate::readiness::{Basis, Conditions, Depth, Look, Site, Trials, WhatIfs, outlook};
use crate::review::timeline::Timeline;
use crate::review::{self, Filter};
use crate::signal::{Input, LogEntry, LogFound, LogRead, LogRow};
use crate::units::Millis;
use crate::words::{Id, Language, Message, Phrase, date_and_time, label};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::mpsc::Sender;

/// Long computations, and where their answers go.
#[derive(Clone, Debug)]
pub struct Compute {
    pool: tokio::runtime::Handle,
    answers: Sender<Input>,
    folders: Vec<PathBuf>,
    history: Handle,
    /// True once the present look at the site, and the present question of what would help, are not wanted any more.
    site_over: Arc<AtomicBool>,
    what_ifs_over: Arc<AtomicBool>,
    find_over: Arc<AtomicBool>,
}

impl Compute {
    /// Uses this pool; journals are in these folders, and the store is behind this handle once it is open.
    pub fn new(
        pool: tokio::runtime::Handle,
        answers: Sender<Input>,
        folders: Vec<PathBuf>,
        history: Handle,
    ) -> Compute {
        Compute {
            pool,
            answers,
            folders,
            history,
            site_over: Arc::default(),
            what_ifs_over: Arc::default(),
            find_over: Arc::default(),
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
        let (history, folders) = (self.history.clone(), self.folders.clone());
        self.answer(move || Some(Input::Log(log(&history, &folders, language))));
    }

    /// Finds incidents in the log. One search at a time: somebody who writes a word asks with each letter.
    pub fn find(&mut self, filter: Filter, language: Language) {
        let over = renew(&mut self.find_over);
        let (history, folders) = (self.history.clone(), self.folders.clone());
        self.answer(move || {
            if over.load(Ordering::Acquire) {
                return None;
            }
            Some(Input::LogFound(found(&history, &folders, filter, language)))
        });
    }

    /// Reads the lines of one incident.
    pub fn incident(&self, incident: String, language: Language) {
        let (history, folders) = (self.history.clone(), self.folders.clone());
        self.answer(move || {
            let read = read(&history, &folders, incident, language);
            Some(Input::LogRows(read))
        });
    }

    /// Finds out what drills have taught about a site.
    pub fn learn(&self, plan: Arc<Plan>) {
        let (history, folders) = (self.history.clone(), self.folders.clone());
        self.answer(move || {
            let gathered = history.lessons(&folders, &plan.site.name);
            let lessons = gathered.unwrap_or_default().lessons;
            let enough = plan.policy.drills_enough;
            Some(Input::Learned(learned(&lessons, Played::Drill, enough)))
        });
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

/// One incident for a list.
pub fn entry(listed: &Listed, language: Language) -> LogEntry {
    let digest = &listed.digest;
    LogEntry {
        incident: listed.incident.clone(),
        when: match digest.started_ms {
            0 => String::new(),
            started_ms => date_and_time(started_ms, digest.offset_min),
        },
        place: digest.place(language),
        drill: digest.drill,
        closed: digest.closed,
        hung: digest.hung(),
        intact: listed.intact,
        filled: listed.filled > 0,
        tasks: digest.tasks.clone(),
        drilled: drilled(listed).map(Box::new),
    }
}

/// What the list itself knows of a drill that came to its end: enough to say what is due.
fn drilled(listed: &Listed) -> Option<Lesson> {
    let digest = &listed.digest;
    let first = digest.casualties.first().filter(|_| digest.drill)?;
    Some(Lesson {
        incident: listed.incident.clone(),
        played: match digest.table_top {
            true => Played::TableTop,
            false => Played::Drill,
        },
        started_ms: digest.started_ms,
        offset_min: digest.offset_min,
        position: Some(first.position.clone()?),
        off: Some(Span::ended(Millis(first.off_ms?))),
        parts: digest.qualified.iter().map(part).collect(),
        ..Lesson::default()
    })
}

fn part((responder, qualification): &(String, String)) -> PartTaken {
    PartTaken {
        responder: responder.clone(),
        method: String::new(),
        role: String::new(),
        qualification: Some(qualification.clone()),
    }
}

/// All incidents, the newest first.
fn log(history: &Handle, folders: &[PathBuf], language: Language) -> Vec<LogEntry> {
    let all = history.list(folders).unwrap_or_default();
    all.iter().rev().map(|it| entry(it, language)).collect()
}

/// Those of all incidents that are wanted, the newest first, and the sites there are.
fn found(history: &Handle, folders: &[PathBuf], filter: Filter, language: Language) -> LogFound {
    let all = history.list(folders).unwrap_or_default();
    let sites: BTreeSet<&str> = all.iter().map(|it| it.digest.site.as_str()).collect();
    let sites = sites.into_iter().filter(|it| !it.is_empty());
    let wanted = all.iter().rev();
    let wanted = wanted.filter(|it| filter.admits(&it.incident, &it.digest));
    LogFound {
        // Everything is the log itself.
        entries: match filter == Filter::default() {
            true => Vec::new(),
            false => wanted.map(|it| entry(it, language)).collect(),
        },
        sites: sites.map(str::to_owned).collect(),
        filter,
    }
}

fn read(history: &Handle, folders: &[PathBuf], incident: String, language: Language) -> LogRead {
    let Ok(readback) = history.read(folders, &incident) else {
        return LogRead {
            incident,
            ..LogRead::default()
        };
    };
    let records = records(&readback);
    let (result, suggested) = result(&records, language).unwrap_or_default();
    let filled = |seq: u64| readback.filled.binary_search(&seq).is_ok();
    let lines = review::lines(&records, language);
    let outer = lines.iter().filter(|line| !line.inner);
    let told = outer.map(|line| LogRow {
        seq: Some(line.seq),
        elapsed: line.elapsed.clone(),
        text: match filled(line.seq) {
            true => Message::with(Id::LogFromCopy, [&line.text]).text(language),
            false => line.text.clone(),
        },
        who: line.who.clone(),
        heading: false,
    });
    LogRead {
        incident,
        rows: result.into_iter().chain(told).collect(),
        suggested,
        remarks: review::remarks(&records),
        timeline: Timeline::of(&records),
        lines,
    }
}

/// What to talk about after a drill and what came of it, in the rows before its record; and of every incident what could be
/// done about it.
fn result(records: &[Record], language: Language) -> Option<(Vec<LogRow>, Vec<Phrase>)> {
    let state = State::replay(records.iter().cloned());
    let opened = state.facts.opened.as_ref()?;
    let is_drill = opened.exercise.is_some() || opened.drill;
    let outcome = Outcome::of(&state);
    let debrief = Debrief::of(&outcome);
    // What could be done is a touch of its own.
    let talk = debrief.told().into_iter();
    let talk = talk.filter(|it| it.heading != Id::DebriefDo && !it.lines.is_empty());
    let row = |text: String, heading: bool| LogRow {
        text,
        heading,
        ..LogRow::default()
    };
    let rows_of = |group: Group| {
        let heading = row(label(group.heading, language), true);
        let lines = group.messages(language).into_iter();
        let lines: Vec<LogRow> = lines.map(|it| row(it.text(language), false)).collect();
        [heading].into_iter().chain(lines)
    };
    let groups = talk.chain(outcome.told());
    let rows = groups.filter(|_| is_drill).flat_map(rows_of).collect();
    Some((rows, debrief.suggested))
}
