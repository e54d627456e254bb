//! Lists what is to be done after drills and rescues: who sees to it, by when, and what is overdue.
//!
//! Read from the records and never written here: a task is set and said to be done on the tablet, by somebody with a name.
//! Of a record that was altered nothing is listed, because nobody can say what was decided.

use super::drills::{person, print_json, unreadable};
use super::log::Shelf;
use super::plans::KnownPlan;
use super::ready::language;
use super::{DataFolder, Format, print};
use crate::clock::Clock;
use crate::incident::Owner;
use crate::plan::Plan;
use crate::review::{Carried, open};
use crate::words::{Language, date_and_time};
use chrono::NaiveDate;
use clap::Args;
use serde_json::json;
use std::fmt::Write;

/// Which tasks.
#[derive(Clone, Debug, Args)]
pub(super) struct Tasks {
    #[command(flatten)]
    plan: KnownPlan,
    #[command(flatten)]
    data: DataFolder,
    /// The day, as YEAR-MONTH-DAY; today where it is not said.
    #[arg(long, value_name = "DAY")]
    on: Option<NaiveDate>,
    /// List those that are done, too.
    #[arg(long)]
    all: bool,
    /// End with exit code 1 where anything is overdue.
    #[arg(long)]
    strict: bool,
    /// Language of the tasks.
    #[arg(long, value_name = "LANGUAGE", default_value = "en", value_parser = language)]
    language: Language,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Lists them; the answer is the exit code.
pub(super) fn tasks(options: &Tasks) -> Result<u8, String> {
    let folder = options.data.folder();
    let (name, bytes) = options.plan.bytes(&folder)?;
    let now = Clock::new().read();
    let day = options.on.unwrap_or(now.day());
    let plan = super::drills::Fit::of(name, bytes, day)?.plan;
    let listed = Shelf::open_in(&options.data, &folder).list();
    let listed = listed.map_err(|error| unreadable(&folder, &error))?;
    let (whole, altered): (Vec<_>, Vec<_>) = listed.iter().partition(|it| it.intact);
    let each = || {
        let whole = whole.iter();
        whole.map(|it| (it.incident.as_str(), it.digest.tasks.as_slice()))
    };
    let mut rows = open(each());
    if options.all {
        let done = each().flat_map(|(id, tasks)| tasks.iter().map(move |it| (id, it)));
        rows.extend(done.filter(|it| it.1.done_ms.is_some()));
    }
    let overdue = rows.iter().filter(|it| it.1.is_overdue(day)).count();
    let printed = match options.format {
        Format::Text => {
            let mut out = format!("{day}, open: {}, overdue: {overdue}\n", open(each()).len());
            for (incident, it) in &rows {
                // Writing to a string cannot fail.
                let _ = writeln!(
                    out,
                    "  {:10}  {:7}  {}: {}  ({incident})",
                    it.task.due,
                    state(it, day),
                    owner(&plan, &it.task.owner),
                    it.task.text.text(options.language),
                );
            }
            for it in &altered {
                let id = &it.incident;
                let _ = writeln!(
                    out,
                    "{id} is left out: it was altered; `groundward log verify {id}` says where"
                );
            }
            print(&out)
        }
        Format::Json => {
            let rows = rows.iter().map(|(incident, it)| {
                json!({
                    "incident": incident,
                    "number": it.number,
                    "text": it.task.text.text(options.language),
                    "owner": it.task.owner,
                    "name": owner(&plan, &it.task.owner),
                    "due": it.task.due.to_string(),
                    "overdue": it.is_overdue(day),
                    "set_by": it.by,
                    "set": date_and_time(it.set_ms, now.offset_min),
                    "done": it.done_ms.map(|at| date_and_time(at, now.offset_min)),
                })
            });
            let left_out: Vec<&String> = altered.iter().map(|it| &it.incident).collect();
            print_json(&json!({
                "format": 1,
                "day": day.to_string(),
                "tasks": rows.collect::<Vec<_>>(),
                "left_out": left_out,
            }))
        }
    };
    Ok(printed.max(u8::from(options.strict && overdue > 0)))
}

fn state(it: &Carried, day: NaiveDate) -> &'static str {
    match (it.done_ms, it.is_overdue(day)) {
        (Some(_), _) => "done",
        (None, true) => "overdue",
        (None, false) => "open",
    }
}

fn owner(plan: &Plan, owner: &Owner) -> String {
    match owner {
        Owner::Responder(id) => person(plan, id),
        Owner::Role(role) => role.clone(),
    }
}
