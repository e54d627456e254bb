//! Says what came of a drill, and what is due; hands over to the commands that learn, propose and play.
//!
//! All of them read the record as it stands in its files and write none of it. Drills of another site are left out, and
//! so is a record that was altered: what nobody can trust teaches nothing.

use super::drills_calibrate::{self, Calibrate};
use super::drills_learn::{self, Learn};
use super::drills_scenarios::{self, Propose};
use super::drills_table::{self, AtTable};
use super::log::{Shelf, report};
use super::plans::KnownPlan;
use super::ready::language;
use super::{DataFolder, Format, print, say_error};
use crate::clock::Clock;
use crate::drill::{Debrief, Lesson, Outcome, Overdue, Undrilled, due};
use crate::history::{LeftOut, records};
use crate::incident::State;
use crate::journal::is_incident_id;
use crate::journal::read::Readback;
use crate::plan::{Plan, read_on};
use crate::words::{Id, Language, label};
use chrono::NaiveDate;
use clap::{Args, Subcommand};
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// What to do about drills.
#[derive(Clone, Debug, Subcommand)]
pub(super) enum DrillsCommand {
    /// Say what came of one drill, and what to talk about afterwards.
    Result(Incident),
    /// Say how long everything took in the drills so far, and whether it becomes quicker.
    Learn(Learn),
    /// Hold the times of drills against those of the plan, and propose new ones.
    Calibrate(Calibrate),
    /// List the positions and the people that were not drilled for longer than the plan's policy asks.
    Due(WhatIsDue),
    /// Propose drills for the weakest spots of a plan.
    Propose(Propose),
    /// Play a drill at a table, with a crew that is computed and nobody who climbs.
    TableTop(AtTable),
}

/// Which drill.
#[derive(Clone, Debug, Args)]
pub(super) struct Incident {
    /// Which incident; one that was rehearsed or played at a table is found too.
    id: String,
    #[command(flatten)]
    data: DataFolder,
    /// Language of the sentences.
    #[arg(long, value_name = "LANGUAGE", default_value = "en", value_parser = language)]
    language: Language,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Of which plan and day to say what is due.
#[derive(Clone, Debug, Args)]
pub(super) struct WhatIsDue {
    #[command(flatten)]
    plan: KnownPlan,
    #[command(flatten)]
    data: DataFolder,
    /// The day, as YEAR-MONTH-DAY; today where it is not said.
    #[arg(long, value_name = "DAY")]
    on: Option<NaiveDate>,
    /// End with exit code 1 where anything is due.
    #[arg(long)]
    strict: bool,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Does what was asked; the answer is the exit code.
pub(super) fn drills(command: &DrillsCommand) -> u8 {
    let outcome = match command {
        DrillsCommand::Result(incident) => result(incident),
        DrillsCommand::Learn(options) => drills_learn::learn(options),
        DrillsCommand::Calibrate(options) => drills_calibrate::calibrate(options),
        DrillsCommand::Due(options) => what_is_due(options),
        DrillsCommand::Propose(options) => drills_scenarios::propose(options),
        DrillsCommand::TableTop(options) => drills_table::at_table(options),
    };
    outcome.unwrap_or_else(|why| {
        // A file with several mistakes has a line for each.
        why.lines().for_each(say_error);
        2
    })
}

/// Records below the data folder that are no record of drills with people.
const BELOW: [&str; 2] = [REHEARSALS, TABLE_TOPS];
/// Where rehearsals are kept.
const REHEARSALS: &str = "rehearsals";
/// Where drills at a table are kept.
pub(super) const TABLE_TOPS: &str = "table-tops";

pub(super) fn unreadable(folder: &Path, error: &std::io::Error) -> String {
    format!("the record in {} cannot be read: {error}", folder.display())
}

/// A plan that is fit, with the name and the text of its file.
pub(super) struct Fit {
    pub(super) name: String,
    pub(super) text: String,
    pub(super) plan: Plan,
}

impl Fit {
    /// Reads a plan for a day; the error says why it cannot be used.
    pub(super) fn of(name: String, bytes: Vec<u8>, day: NaiveDate) -> Result<Fit, String> {
        let text = String::from_utf8(bytes).map_err(|_| format!("{name} is not UTF-8 text"))?;
        let plan = read_on(&name, text.as_bytes(), day).plan;
        let plan = plan.ok_or_else(|| {
            format!("{name} is not fit to use; `groundward check` says what to mend")
        })?;
        Ok(Fit { name, text, plan })
    }
}

/// What the record has of the drills at a site.
#[derive(Default)]
pub(super) struct Gathered {
    /// What each incident of the site teaches.
    pub(super) lessons: Vec<Lesson>,
    /// How many incidents of other sites are there.
    pub(super) elsewhere: usize,
    /// What was left out and why, one sentence each.
    pub(super) left_out: Vec<String>,
    /// Incident ids of what was left out because it was altered.
    pub(super) altered: Vec<String>,
    /// Incident ids of what cannot be read.
    pub(super) unread: Vec<String>,
}

impl Gathered {
    /// Reads the whole record, as far as it is of this site.
    pub(super) fn of(data: &DataFolder, site: &str) -> Result<Gathered, String> {
        let folder = data.folder();
        let shelf = Shelf::open_in(data, &folder);
        let found = shelf.lessons(site);
        let found = found.map_err(|error| unreadable(&folder, &error))?;
        let mut all = Gathered {
            lessons: found.lessons,
            elsewhere: found.elsewhere,
            ..Gathered::default()
        };
        for (id, why) in found.left_out {
            match why {
                LeftOut::Altered => all.leave_out_altered(&id),
                LeftOut::Unreadable(error) => {
                    let why = format!("{id} is left out: it cannot be read: {error}");
                    all.left_out.push(why);
                    all.unread.push(id);
                }
            }
        }
        Ok(all)
    }

    fn leave_out_altered(&mut self, id: &str) {
        self.left_out.push(format!(
            "{id} is left out: it was altered; `groundward log verify {id}` says where"
        ));
        self.altered.push(id.to_owned());
    }

    /// What was left out, in lines of their own.
    pub(super) fn notes(&self) -> String {
        let elsewhere = match self.elsewhere {
            0 => None,
            1 => Some("One incident of another site is left out.".to_owned()),
            many => Some(format!("{many} incidents of other sites are left out.")),
        };
        let lines = self.left_out.iter().cloned().chain(elsewhere);
        lines.map(|line| line + "\n").collect()
    }
}

fn state(readback: &Readback) -> State {
    State::replay(records(readback))
}

/// A JSON value as one line.
pub(super) fn print_json(value: &Value) -> u8 {
    print(&format!("{value}\n"))
}

/// Says what came of one incident.
fn result(options: &Incident) -> Result<u8, String> {
    let id = &options.id;
    let readback = if is_incident_id(id) {
        found(options)?
    } else {
        None
    };
    let readback = readback.ok_or_else(|| {
        format!(
            "there is no incident {id} in this record; `groundward log list` names those there are"
        )
    })?;
    let state = state(&readback);
    if state.facts.opened.is_none() {
        return Err(format!(
            "nothing can be said of {id}: how it began is not on record; `groundward log verify {id}` says more"
        ));
    }
    let outcome = Outcome::of(&state);
    let debrief = Debrief::of(&outcome);
    let printed = match options.format {
        Format::Json => print_json(&json!({
            "format": 1,
            "intact": readback.problems.is_empty(),
            "outcome": outcome,
            "debrief": debrief,
            "told": told_json(&outcome, &debrief, options.language),
        })),
        Format::Text => {
            let mut out = headline(&state, &outcome);
            out.push_str(&told(&outcome, &debrief, options.language));
            let mut notes = Vec::new();
            // Writing to memory cannot fail.
            let _ = report(&readback, &mut notes);
            out.push_str(&String::from_utf8_lossy(&notes));
            print(&out)
        }
    };
    Ok(printed.max(u8::from(!readback.problems.is_empty())))
}

/// The incident asked for, in the record or below it.
fn found(options: &Incident) -> Result<Option<Readback>, String> {
    let folder = options.data.folder();
    let below = BELOW.into_iter().map(|it| folder.join(it));
    for record in std::iter::once(folder.clone()).chain(below) {
        let found = Shelf::open_in(&options.data, &record).find(&options.id);
        if let Some(readback) = found.map_err(|error| unreadable(&record, &error))? {
            return Ok(Some(readback));
        }
    }
    Ok(None)
}

/// What it was and where, in one line.
fn headline(state: &State, outcome: &Outcome) -> String {
    let opened = state.facts.opened.as_ref();
    let at_table = opened
        .and_then(|it| it.exercise.as_ref())
        .is_some_and(|it| it.table_top);
    let kind = match (outcome.drill, at_table) {
        (false, _) => "rescue",
        (true, true) => "drill at a table",
        (true, false) => "drill",
    };
    let scenario = match outcome.scenario.as_str() {
        "" => String::new(),
        name => format!(", {name}"),
    };
    let position = outcome.position.as_deref();
    let name = position.map(|id| opened.map_or_else(|| id.to_owned(), |it| place(&it.plan, id)));
    let at = name.map_or_else(String::new, |name| format!(", at {name}"));
    let end = if outcome.closed {
        ""
    } else {
        ", not stood down"
    };
    format!("{}: {kind}{scenario}{at}{end}\n", outcome.incident)
}

/// The name of a position.
pub(super) fn place(plan: &Plan, id: &str) -> String {
    plan.position(id)
        .map_or_else(|| id.to_owned(), |it| it.name.clone())
}

/// The groups of an outcome and what to talk about, each with its heading.
fn groups(outcome: &Outcome, debrief: &Debrief, language: Language) -> Vec<(String, Vec<String>)> {
    let told = outcome.told().into_iter().map(|it| (it.heading, it.lines));
    let talk = [
        (Id::DebriefWell, debrief.well.clone()),
        (Id::DebriefOther, debrief.other.clone()),
        (Id::DebriefAsk, debrief.questions.to_vec()),
        (Id::DebriefDo, debrief.suggested.clone()),
    ];
    let all = told.chain(talk).filter(|(_, lines)| !lines.is_empty());
    all.map(|(heading, lines)| {
        let lines = lines.iter().map(|it| it.text(language)).collect();
        (label(heading, language), lines)
    })
    .collect()
}

/// An outcome for people.
pub(super) fn told(outcome: &Outcome, debrief: &Debrief, language: Language) -> String {
    let mut out = String::new();
    for (heading, lines) in groups(outcome, debrief, language) {
        // Writing to a string cannot fail.
        let _ = writeln!(out, "\n{heading}");
        for line in lines {
            let _ = writeln!(out, "  {line}");
        }
    }
    out
}

/// The same sentences for a program.
pub(super) fn told_json(outcome: &Outcome, debrief: &Debrief, language: Language) -> Value {
    let groups = groups(outcome, debrief, language).into_iter();
    let groups = groups.map(|(heading, lines)| json!({ "heading": heading, "lines": lines }));
    groups.collect()
}

/// Lists what was not drilled for too long.
fn what_is_due(options: &WhatIsDue) -> Result<u8, String> {
    let today = Clock::new().read().day();
    let (name, bytes) = options.plan.bytes(&options.data.folder())?;
    let day = options.on.unwrap_or(today);
    let Fit { plan, .. } = Fit::of(name, bytes, day)?;
    let gathered = Gathered::of(&options.data, &plan.site.name)?;
    let overdue = due(&plan, &gathered.lessons, day);
    let printed = match options.format {
        Format::Text => print(&due_text(&plan, &overdue, day, &gathered)),
        Format::Json => {
            let rows = overdue.iter().map(|it| due_json(&plan, it));
            print_json(&json!({
                "format": 1,
                "site": plan.site.name,
                "invented": plan.site.invented,
                "day": day.to_string(),
                "every_ms": plan.policy.drill_every.0,
                "due": rows.collect::<Vec<_>>(),
                "left_out": gathered.left_out,
            }))
        }
    };
    let is_due = options.strict && !overdue.is_empty();
    Ok(printed.max(u8::from(is_due)))
}

pub(super) fn person(plan: &Plan, id: &str) -> String {
    plan.responder(id)
        .map_or_else(|| id.to_owned(), |it| it.name.clone())
}

fn due_text(plan: &Plan, overdue: &[Overdue], day: NaiveDate, gathered: &Gathered) -> String {
    let every = plan.policy.drill_every.0 / 86_400_000;
    let mut out = format!("{}, {day}, a drill every {every} days\n", plan.site.name);
    let row = |it: &Overdue| {
        let name = match &it.what {
            Undrilled::Position(id) => place(plan, id),
            Undrilled::Qualified {
                responder,
                qualification,
            } => format!("{}: {qualification}", person(plan, responder)),
        };
        match (it.days, it.last) {
            (Some(days), Some(last)) => format!("  {days:>5} days over  {name}, last {last}\n"),
            _ => format!("  no drill known   {name}\n"),
        }
    };
    let is_place = |it: &&Overdue| matches!(it.what, Undrilled::Position(_));
    let (places, people): (Vec<&Overdue>, Vec<&Overdue>) = overdue.iter().partition(is_place);
    for (heading, rows) in [("Positions", places), ("People", people)] {
        let _ = write!(out, "\n{heading}\n");
        if rows.is_empty() {
            out.push_str("  nothing is due\n");
        }
        rows.into_iter().for_each(|it| out.push_str(&row(it)));
    }
    out.push_str("\nOf people only the drills in this record are known.\n");
    out + &gathered.notes()
}

fn due_json(plan: &Plan, overdue: &Overdue) -> Value {
    let mut row = match &overdue.what {
        Undrilled::Position(id) => json!({ "position": id, "name": place(plan, id) }),
        Undrilled::Qualified {
            responder,
            qualification,
        } => {
            json!({ "responder": responder, "name": person(plan, responder), "qualification": qualification })
        }
    };
    row["last"] = json!(overdue.last.map(|it| it.to_string()));
    row["days_over"] = json!(overdue.days);
    row
}

/// True where both are the same file, by whatever name.
pub(super) fn is_same_file(one: &Path, other: &Path) -> bool {
    let real = |path: &Path| -> Option<PathBuf> { path.canonicalize().ok() };
    one == other || real(one).is_some_and(|one| real(other) == Some(one))
}
