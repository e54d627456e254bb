//! Proposes drills where a plan is weakest, and reads the scenario that somebody names.
//!
//! Each proposal says why, and becomes a file that any editor can change. A file that is there already is never written
//! over, because a trainer may have worked on it.

use super::drills::{Fit, place, print_json};
use super::plans::KnownPlan;
use super::ready::language;
use super::{DataFolder, Format, print};
use crate::clock::Clock;
use crate::compute::looks;
use crate::drill::{self, BUILT_IN, Fault, Proposal, SCENARIO_BYTES_MAX, Scenario, When, read_for};
use crate::journal::disk::replace;
use crate::plan::Plan;
use crate::readiness::{Conditions, Depth};
use crate::words::{Language, clock};
use chrono::NaiveDate;
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

/// For which plan to propose drills.
#[derive(Clone, Debug, Args)]
pub(super) struct Propose {
    #[command(flatten)]
    plan: KnownPlan,
    #[command(flatten)]
    data: DataFolder,
    /// The day, as YEAR-MONTH-DAY; today where it is not said.
    #[arg(long, value_name = "DAY")]
    on: Option<NaiveDate>,
    /// Write each as a scenario file into this folder.
    #[arg(long, value_name = "DIR")]
    write_to: Option<PathBuf>,
    /// Language of the names and reasons.
    #[arg(long, value_name = "LANGUAGE", default_value = "en", value_parser = language)]
    language: Language,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Says what to drill; the answer is the exit code.
pub(super) fn propose(options: &Propose) -> Result<u8, String> {
    let today = Clock::new().read().day();
    let day = options.on.unwrap_or(today);
    let (name, bytes) = options.plan.bytes(&options.data.folder())?;
    let Fit { plan, .. } = Fit::of(name, bytes, day)?;
    let conditions = Conditions::everybody(&plan, day);
    let looks = looks(&plan, &conditions, Depth::SITE, &AtomicBool::new(false));
    let looks = looks.unwrap_or_default();
    let all = drill::propose(&plan, &conditions, &looks, options.language);
    let files: Vec<String> = all
        .iter()
        .enumerate()
        .map(|(index, it)| format!("{:02}-{}.toml", index + 1, it.scenario.position))
        .collect();
    if let Some(folder) = &options.write_to {
        write(folder, &files, &all, options.language)?;
    }
    let language = options.language;
    Ok(match options.format {
        Format::Text => {
            let mut out = format!("{}, {day}: what to drill next\n", plan.site.name);
            for (proposal, file) in all.iter().zip(&files) {
                out.push_str(&proposed(&plan, proposal, language));
                if let Some(folder) = &options.write_to {
                    // Writing to a string cannot fail.
                    let _ = writeln!(out, "  file: {}", folder.join(file).display());
                }
            }
            if all.is_empty() {
                out.push_str("\nNo position has a method yet, so there is nothing to drill.\n");
            }
            print(&out)
        }
        Format::Json => {
            let rows = all.iter().zip(&files).map(|(it, file)| {
                let folder = options.write_to.as_ref();
                let file = folder.map(|it| it.join(file).display().to_string());
                json!({
                    "name": it.scenario.name,
                    "position": it.scenario.position,
                    "why": it.why.text(language),
                    "scenario": it.scenario.to_toml(),
                    "file": file,
                })
            });
            print_json(&json!({
                "format": 1,
                "site": plan.site.name,
                "invented": plan.site.invented,
                "day": day.to_string(),
                "proposed": rows.collect::<Vec<Value>>(),
            }))
        }
    })
}

/// Writes all of them, or none where one is there already.
fn write(
    folder: &Path,
    files: &[String],
    all: &[Proposal],
    language: Language,
) -> Result<(), String> {
    let there = files.iter().map(|it| folder.join(it));
    if let Some(file) = there.into_iter().find(|it| it.symlink_metadata().is_ok()) {
        return Err(format!(
            "{} is there already; name another folder, or move it away first",
            file.display()
        ));
    }
    std::fs::create_dir_all(folder)
        .map_err(|error| format!("{} cannot be made: {error}", folder.display()))?;
    for (proposal, file) in all.iter().zip(files) {
        let file = folder.join(file);
        let why = proposal.why.text(language);
        // A name in the plan may have more than one line; in the file it is a comment and stays one.
        let why = why.lines().collect::<Vec<_>>().join(" ");
        let text = format!("# {why}\n\n{}", proposal.scenario.to_toml());
        replace(&file, text.as_bytes())
            .map_err(|error| format!("{} cannot be written: {error}", file.display()))?;
    }
    Ok(())
}

fn proposed(plan: &Plan, proposal: &Proposal, language: Language) -> String {
    let scenario = &proposal.scenario;
    let mut out = format!(
        "\n{}, at {}\n  {}\n",
        scenario.name,
        place(plan, &scenario.position),
        proposal.why.text(language)
    );
    out.push_str(&surprises(plan, scenario, language));
    out
}

/// The surprises of a scenario, a line each, as whoever controls the drill says them.
pub(super) fn surprises(plan: &Plan, scenario: &Scenario, language: Language) -> String {
    let lines = scenario.surprises.iter().map(|it| {
        let when = match it.when {
            When::At(at) => clock(at),
            When::Between(from, to) => format!("{} to {}", clock(from), clock(to)),
        };
        format!("  {when}: {}\n", it.inject.said(plan).text(language))
    });
    lines.collect()
}

/// The scenario in a file, or one of those that are built in, by its name with or without `.toml`.
pub(super) fn scenario(plan: &Plan, asked: &str) -> Result<Scenario, String> {
    let path = Path::new(asked);
    let mut built_in = BUILT_IN.iter();
    let known =
        built_in.find(|(name, _)| *name == asked || name.strip_suffix(".toml") == Some(asked));
    let bytes = match known {
        // A file of that name is what somebody sees before them.
        Some((_, text)) if !path.exists() => text.as_bytes().to_vec(),
        _ => bytes(path).map_err(|why| {
            let names = BUILT_IN.map(|(name, _)| name.trim_end_matches(".toml"));
            format!("{why}; built in are {}", names.join(", "))
        })?,
    };
    read_for(plan, asked, &bytes).map_err(|faults| {
        let told: Vec<String> = faults.iter().map(|it| fault(asked, it)).collect();
        told.join("\n")
    })
}

/// A fault with where it is and what to do about it, in one line.
fn fault(file: &str, fault: &Fault) -> String {
    let line = fault.line.map_or_else(String::new, |it| format!(":{it}"));
    let place = match fault.place.as_str() {
        "" => String::new(),
        place => format!("{place}: "),
    };
    format!("{file}{line}: {place}{}; {}", fault.message, fault.help)
}

/// Reads a scenario file, and not more of it than one may have.
fn bytes(path: &Path) -> Result<Vec<u8>, String> {
    let cannot = |error| format!("{} cannot be read: {error}", path.display());
    let most = u64::try_from(SCENARIO_BYTES_MAX).unwrap_or(u64::MAX);
    let mut bytes = Vec::new();
    File::open(path)
        .map_err(cannot)?
        .take(most.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(cannot)?;
    Ok(bytes)
}
