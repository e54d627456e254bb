//! Adds to an incident that has ended what a review says: remarks, findings, what is to be done, and that it is done.
//!
//! Whoever reviews sits at a desk, days later, and is often nobody of the plan: they give their name, and it stands in the
//! record beside `desk`. What is added is sealed like everything before it and nothing is ever taken back: a correction is
//! a remark that names what it corrects. The head changes with each addition, so it is printed, to be kept elsewhere.
//!
//! Limits: nobody checks that a name is the person's own; the system's users and the data folder's rights do that.

use super::drills::{print_json, unreadable};
use super::log_list::day;
use super::{DataFolder, Format, print};
use crate::clock::Clock;
use crate::history::records;
use crate::incident::{
    Event, Finding, Name, Nature, OwnWords, Owner, Remark, State, Task, Unfit, Written,
};
use crate::journal::addition::{NotAdded, added};
use crate::journal::disk::{Disk, RealDisk};
use crate::journal::is_incident_id;
use crate::journal::lock::{DataLock, LockRefused};
use crate::journal::read;
use crate::signal::Addition;
use crate::words::Phrase;
use chrono::NaiveDate;
use clap::{Args, ValueEnum};
use serde_json::json;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Whom the record names where no tablet wrote it.
const DESK: &str = "desk";

/// To which incident, and who says it.
#[derive(Clone, Debug, Args)]
struct To {
    /// Which incident.
    id: String,
    /// Name of whoever says it, for the record.
    #[arg(long, value_name = "NAME", value_parser = written::<{ crate::incident::NAME_CHARS_MAX }>)]
    by: Name,
    #[command(flatten)]
    data: DataFolder,
    /// How to say what was written.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// What is said.
#[derive(Clone, Debug, Args)]
struct Said {
    /// Records that it is about, by their numbers in `log show`; the whole incident without any.
    #[arg(long, value_name = "N,N", value_delimiter = ',')]
    about: Vec<u64>,
    /// The remark or finding that it answers or corrects, by its number; that one stays as it is.
    #[arg(long, value_name = "N")]
    answers: Option<u64>,
    /// What is said, in quotes: one line.
    #[arg(value_parser = written::<{ crate::incident::WORDS_CHARS_MAX }>)]
    text: OwnWords,
}

/// A remark to be added.
#[derive(Clone, Debug, Args)]
pub(super) struct NewRemark {
    #[command(flatten)]
    to: To,
    #[command(flatten)]
    said: Said,
}

/// A finding to be added.
#[derive(Clone, Debug, Args)]
pub(super) struct NewFinding {
    #[command(flatten)]
    to: To,
    /// What it is.
    #[arg(long, value_enum)]
    nature: Kind,
    #[command(flatten)]
    said: Said,
}

/// Something to be done.
#[derive(Clone, Debug, Args)]
pub(super) struct NewTask {
    #[command(flatten)]
    to: To,
    /// Who sees to it: somebody of the incident's plan by id or name, or any other name.
    #[arg(long, value_name = "NAME", value_parser = written::<{ crate::incident::NAME_CHARS_MAX }>)]
    owner: Name,
    /// By when, as YEAR-MONTH-DAY.
    #[arg(long, value_name = "DAY", value_parser = day)]
    due: NaiveDate,
    /// The finding that it comes from, by its number.
    #[arg(long, value_name = "N")]
    from: Option<u64>,
    /// What is to be done, in quotes: one line.
    #[arg(value_parser = written::<{ crate::incident::WORDS_CHARS_MAX }>)]
    text: OwnWords,
}

/// Something that is done, or is not after all.
#[derive(Clone, Debug, Args)]
pub(super) struct Done {
    #[command(flatten)]
    to: To,
    /// Number of the record that set it, as `log tasks` says it.
    number: u64,
}

/// What a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// It worked well: keep it.
    WorkedWell,
    /// It could go better.
    ToBeBetter,
    /// Somebody was in danger, or could be next time.
    Danger,
    /// Nobody can say yet.
    Unknown,
}

fn written<const CHARS_MAX: usize>(text: &str) -> Result<Written<CHARS_MAX>, Unfit> {
    Written::new(text)
}

impl Said {
    fn remark(&self, to: &To) -> Remark {
        Remark {
            text: self.text.clone(),
            about: self.about.clone(),
            answers: self.answers,
            by: Some(to.by.clone()),
        }
    }
}

/// Adds a remark; the answer is the exit code.
pub(super) fn remark(new: &NewRemark) -> Result<u8, String> {
    add(&new.to, |_| Event::Reviewed(new.said.remark(&new.to)))
}

/// Adds a finding; the answer is the exit code.
pub(super) fn finding(new: &NewFinding) -> Result<u8, String> {
    let nature = match new.nature {
        Kind::WorkedWell => Nature::WorkedWell,
        Kind::ToBeBetter => Nature::ToBeBetter,
        Kind::Danger => Nature::Danger,
        Kind::Unknown => Nature::Unknown,
    };
    let remark = new.said.remark(&new.to);
    add(&new.to, |_| Event::Found(Finding { nature, remark }))
}

/// Adds what is to be done; the answer is the exit code.
pub(super) fn task(new: &NewTask) -> Result<u8, String> {
    add(&new.to, |state| {
        Event::TaskSet(Task {
            text: Phrase::Written(new.text.to_string()),
            owner: owner(state, &new.owner),
            due: new.due,
            from: new.from,
            by: Some(new.to.by.clone()),
        })
    })
}

/// Says that something is done; the answer is the exit code.
pub(super) fn done(it: &Done) -> Result<u8, String> {
    let (task, by) = (it.number, Some(it.to.by.clone()));
    add(&it.to, |_| Event::TaskDone { task, by })
}

/// Says that it is not done after all; the answer is the exit code.
pub(super) fn reopen(it: &Done) -> Result<u8, String> {
    let (task, by) = (it.number, Some(it.to.by.clone()));
    add(&it.to, |_| Event::TaskOpen { task, by })
}

/// Somebody of the plan that the incident was opened with, or else the name as it is.
fn owner(state: &State, name: &Name) -> Owner {
    let opened = state.facts.opened.as_ref();
    let mut people = opened.iter().flat_map(|it| &it.plan.responders);
    let of_plan = people.find(|it| it.id == name.as_str() || it.name == name.as_str());
    match of_plan {
        Some(person) => Owner::Responder(person.id.clone()),
        None => Owner::Named(name.clone()),
    }
}

/// Adds an event to an incident, with the data folder held, and says what was written.
fn add(to: &To, event: impl FnOnce(&State) -> Event) -> Result<u8, String> {
    let id = &to.id;
    let folder = to.data.folder();
    let folders = to.data.journals(&folder);
    let state = state(&folder, &folders, id)?;
    let _locks = hold(&to.data, &folder)?;
    let event = event(&state);
    let kind = event.kind();
    let addition = Addition {
        incident: id.clone(),
        now: Clock::new().read(),
        who: DESK.to_owned(),
        event,
    };
    let disk: Arc<dyn Disk> = Arc::new(RealDisk);
    let (saved, _) = added(&disk, &folders, addition).map_err(|why| refusal(id, &why))?;
    Ok(match to.format {
        Format::Text => print(&format!(
            "{id}: record {} written\nhead {}\nKeep this head elsewhere: it shows whether anything was cut off later.\n",
            saved.seq, saved.head
        )),
        Format::Json => print_json(&json!({
            "format": 1,
            "incident": id,
            "number": saved.seq,
            "kind": kind,
            "head": saved.head,
        })),
    })
}

/// What is known of the incident, before anything is held or made for it.
fn state(folder: &Path, folders: &[PathBuf], id: &str) -> Result<State, String> {
    let missing = || {
        format!(
            "there is no incident {id} in {}; `groundward log list` names those there are",
            folder.display()
        )
    };
    if !is_incident_id(id) {
        return Err(missing());
    }
    match read::read(&RealDisk, folders, id) {
        Ok(readback) => Ok(State::replay(records(&readback))),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Err(missing()),
        Err(error) => Err(unreadable(folder, &error)),
    }
}

/// Keeps every other program from writing meanwhile.
fn hold(data: &DataFolder, folder: &Path) -> Result<Vec<DataLock>, String> {
    let each = data.own(folder).map(|own| {
        DataLock::take(own).map_err(|why| match why {
            LockRefused::InUse(folder) => format!(
                "another Groundward uses the folder {}; close it, or write this on its screen under Log, To be done",
                folder.display()
            ),
            why @ LockRefused::Failed(..) => why.to_string(),
        })
    });
    each.collect()
}

fn refusal(id: &str, why: &NotAdded) -> String {
    match why {
        NotAdded::NotEnded => {
            format!("{id} has not ended yet; stand it down on the tablet, then add this")
        }
        NotAdded::Altered => format!(
            "the record of {id} was altered, so nothing is added to it; `groundward log verify {id}` says where"
        ),
        NotAdded::Amiss(amiss) => {
            format!(
                "nothing is added to {id}: {amiss}; `groundward log show {id}` lists its records"
            )
        }
        other => {
            let why = other.to_string();
            format!("nothing is added to {id}: {}", why.trim_end_matches('.'))
        }
    }
}
