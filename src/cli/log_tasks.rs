//! Lists what is to be done after drills and rescues: who sees to it, by when, what it comes from, and what is overdue.
//!
//! One list for all incidents of a record. Of a record that was altered nothing is listed, because nobody can say what was
//! decided. Names of responders are those of the plan in use; without one their ids stand there.

use super::drills::{Fit, person, print_json, unreadable};
use super::log::Shelf;
use super::log_list::day;
use super::plans::KnownPlan;
use super::ready::language;
use super::{DataFolder, Format, print};
use crate::clock::Clock;
use crate::history::Listed;
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
    #[arg(long, value_name = "DAY", value_parser = day)]
    on: Option<NaiveDate>,
    /// List those that are done, too.
    #[arg(long)]
    all: bool,
    /// List only what is overdue.
    #[arg(long, conflicts_with = "all")]
    overdue: bool,
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
    let now = Clock::new().read();
    let day = options.on.unwrap_or(now.day());
    let plan = match options.plan.known(&folder)? {
        Some((name, bytes)) => Some(Fit::of(name, bytes, day)?.plan),
        None => None,
    };
    let plan = plan.as_ref();
    let listed = Shelf::open_in(&options.data, &folder).list();
    let listed = listed.map_err(|error| unreadable(&folder, &error))?;
    let (whole, altered): (Vec<_>, Vec<_>) = listed.iter().partition(|it| it.intact);
    let rows = rows(&whole, options, day);
    let is_open = rows.iter().filter(|it| it.1.done_ms.is_none()).count();
    let overdue = rows.iter().filter(|it| it.1.is_overdue(day)).count();
    let printed = match options.format {
        Format::Text => {
            let mut out = format!("{day}, open: {is_open}, overdue: {overdue}\n");
            for (incident, it) in &rows {
                // Writing to a string cannot fail.
                let _ = writeln!(
                    out,
                    "  {:10}  {:7}  {}: {}  ({incident}, record {}{})",
                    it.task.due,
                    state(it, day),
                    owner(plan, &it.task.owner),
                    it.task.text.text(options.language),
                    it.number,
                    it.task
                        .from
                        .map_or_else(String::new, |from| format!(", finding {from}")),
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
                    "name": owner(plan, &it.task.owner),
                    "due": it.task.due.to_string(),
                    "overdue": it.is_overdue(day),
                    "finding": it.task.from,
                    "set_by": set_by(plan, it),
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

/// The open ones first, by the day they are due.
fn rows<'a>(whole: &[&'a Listed], options: &Tasks, day: NaiveDate) -> Vec<(&'a str, &'a Carried)> {
    let each = || {
        let whole = whole.iter();
        whole.map(|it| (it.incident.as_str(), it.digest.tasks.as_slice()))
    };
    let mut rows = open(each());
    if options.overdue {
        rows.retain(|it| it.1.is_overdue(day));
    }
    if options.all {
        let done = each().flat_map(|(id, tasks)| tasks.iter().map(move |it| (id, it)));
        rows.extend(done.filter(|it| it.1.done_ms.is_some()));
    }
    rows
}

fn named(plan: Option<&Plan>, id: &str) -> String {
    plan.map_or_else(|| id.to_owned(), |plan| person(plan, id))
}

fn owner(plan: Option<&Plan>, owner: &Owner) -> String {
    match owner {
        Owner::Responder(id) => named(plan, id),
        Owner::Role(role) => role.clone(),
        Owner::Named(name) => name.to_string(),
    }
}

fn set_by(plan: Option<&Plan>, it: &Carried) -> String {
    match &it.task.by {
        Some(name) => name.to_string(),
        None => named(plan, &it.by),
    }
}
