//! Plays a drill at a table: once, told line by line to be read aloud, or many times to test a plan.
//!
//! Time is computed and never waited for, except where a pace is asked for. The same seed plays the same drill. What is kept
//! of it goes into a record of its own, never among drills with people or rescues.

use super::drills::{Fit, TABLE_TOPS, place, print_json, told, told_json};
use super::drills_learn::time;
use super::drills_scenarios::{scenario, surprises};
use super::plans::PlanArgument;
use super::ready::{in_hundred, language, person};
use super::{Format, print};
use crate::clock::Clock;
use crate::drill::{Debrief, Outcome, Quarters, Run, Scenario, Table, TableTop, Tried, try_once};
use crate::incident::{Event, Moment, Record, State};
use crate::journal::chain::sha256_hex;
use crate::journal::disk::RealDisk;
use crate::journal::lock::DataLock;
use crate::journal::writer::Writer;
use crate::plan::Plan;
use crate::review::{self, Line};
use crate::signal::Entry;
use crate::units::Millis;
use crate::words::Language;
use chrono::DateTime;
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// What to play.
#[derive(Clone, Debug, Args)]
pub(super) struct AtTable {
    #[command(flatten)]
    plan: PlanArgument,
    /// Scenario file, or the name of one that is built in.
    #[arg(long, value_name = "SCENARIO")]
    scenario: String,
    /// What draws all times: the same number plays the same drill. By default that of the scenario, or 1.
    #[arg(long, value_name = "N")]
    seed: Option<u32>,
    /// Play it so many times, each with the next seed, and say how it went.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=RUNS_MAX))]
    runs: Option<u64>,
    /// Wait this many milliseconds after each line, to read it aloud.
    #[arg(long, value_name = "MS", default_value_t = 0, conflicts_with = "runs")]
    pace: u64,
    /// Who is in command, by id or name.
    #[arg(long, value_name = "NAME")]
    in_command: Option<String>,
    /// Also keep it: in a record of its own below this data folder.
    #[arg(long, value_name = "DIR", conflicts_with = "runs")]
    data: Option<PathBuf>,
    /// Language of what is told.
    #[arg(long, value_name = "LANGUAGE", default_value = "en", value_parser = language)]
    language: Language,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// More runs say nothing that these do not.
const RUNS_MAX: u64 = 10_000;

/// Plays it; the answer is the exit code.
pub(super) fn at_table(options: &AtTable) -> Result<u8, String> {
    let now = Clock::new().read();
    let (name, bytes) = options.plan.bytes()?;
    let fit = Fit::of(name, bytes, now.day())?;
    let scenario = scenario(&fit.plan, &options.scenario)?;
    let seed = options.seed.or(scenario.seed).unwrap_or(1);
    let seed = u64::from(seed);
    let in_command = options.in_command.as_ref();
    let in_command = in_command.map(|it| person(&fit.plan, it)).transpose()?;
    let sha = sha256_hex(fit.text.as_bytes());
    let table = Table {
        in_command,
        language: options.language,
        ..Table::new(&fit.name, &fit.text, &sha, now)
    };
    match options.runs {
        Some(runs) => {
            let tried = tried(&table, &scenario, seed, runs);
            if tried.is_empty() {
                return Err(unplayable(&fit));
            }
            Ok(match options.format {
                Format::Text => print(&many_text(&fit.plan, &scenario, &tried, seed)),
                Format::Json => print_json(&many_json(&fit.plan, &scenario, &tried, seed)),
            })
        }
        None => once(options, &fit, &table, &scenario, seed),
    }
}

fn unplayable(fit: &Fit) -> String {
    format!(
        "{} cannot be played; `groundward check` says what to mend",
        fit.name
    )
}

/// Plays one run and tells it.
fn once(
    options: &AtTable,
    fit: &Fit,
    table: &Table,
    scenario: &Scenario,
    seed: u64,
) -> Result<u8, String> {
    let incident = incident_id(&table.start, seed);
    let exercise = scenario.at_a_table(seed);
    let play = TableTop::new(table, &incident, scenario, exercise, seed);
    let mut play = play.ok_or_else(|| unplayable(fit))?;
    let records = play.play();
    let run = play.played();
    // Before anything is told, so that whoever stops listening has it all the same.
    let head = options
        .data
        .as_deref()
        .map(|folder| keep(folder, &incident, &records))
        .transpose()?;
    let state = State::replay(records.iter().cloned());
    let outcome = Outcome::of(&state);
    let debrief = Debrief::of(&outcome);
    let lines = review::lines(&records, options.language);
    let lines: Vec<(&Line, bool)> = lines
        .iter()
        .zip(&records)
        .map(|(line, record)| (line, !line.inner && is_told(&record.event)))
        .collect();
    if options.format == Format::Json {
        let lines = lines.iter().map(|(it, aloud)| {
            json!({ "seq": it.seq, "elapsed": it.elapsed, "who": it.who, "text": it.text, "aloud": aloud })
        });
        return Ok(print_json(&json!({
            "format": 1,
            "scenario": scenario.name,
            "position": scenario.position,
            "invented": fit.plan.site.invented,
            "seed": seed,
            "incident": head.is_some().then_some(&incident),
            "head": head,
            "run": run_json(&run),
            "lines": lines.collect::<Vec<_>>(),
            "outcome": outcome,
            "debrief": debrief,
            "told": told_json(&outcome, &debrief, options.language),
        })));
    }
    let mut printed = print(&opening(&fit.plan, scenario, seed, options.language));
    for (line, _) in lines.iter().filter(|(_, aloud)| *aloud) {
        printed = printed.max(print(&format!("{:>8}  {}\n", line.elapsed, line.text)));
        std::thread::sleep(Duration::from_millis(options.pace));
    }
    let mut end = told(&outcome, &debrief, options.language);
    end.push_str(&run_text(&fit.plan, &scenario.position, &run));
    if let Some(head) = &head {
        // Writing to a string cannot fail.
        let _ = writeln!(end, "incident {incident}\nhead {head}");
    }
    end.push_str(CAUTION);
    Ok(printed.max(print(&end)))
}

/// What only concerns the computation is not read aloud.
fn is_told(event: &Event) -> bool {
    !matches!(event, Event::ForecastAdopted { .. })
}

const CAUTION: &str = "\nNobody climbed: times and chances are the plan's own and those assumed for the crew. No time in suspension is safe.\n";

/// What is played, for whoever reads it aloud.
fn opening(plan: &Plan, scenario: &Scenario, seed: u64, language: Language) -> String {
    let at = place(plan, &scenario.position);
    let surprises = surprises(plan, scenario, language);
    let planned = match surprises.is_empty() {
        true => "  no surprises\n".to_owned(),
        false => surprises,
    };
    format!(
        "DRILL AT A TABLE, {}: {}, at {at}, seed {seed}\n{planned}\n",
        plan.site.name, scenario.name
    )
}

fn run_text(plan: &Plan, position: &str, run: &Run) -> String {
    let by = run.by.as_ref().map(|id| method(plan, position, id));
    let end = match (&by, run.outside, run.off) {
        (_, _, None) => "The casualty still hung when the play ended.".to_owned(),
        (Some(by), _, Some(_)) => format!("Off the harness by {by}."),
        (None, true, _) => "Off the harness by rescuers from outside.".to_owned(),
        (None, false, _) => "Off the harness.".to_owned(),
    };
    let target = plan.policy.target;
    format!(
        "\n{end} First contact {}, off the harness {} (target {}), at the landing place {}, from the fall.\n",
        time(run.contact),
        time(run.off),
        time(Some(target)),
        time(run.landed)
    )
}

fn method(plan: &Plan, position: &str, id: &str) -> String {
    let found = plan.position(position).and_then(|it| it.method(id));
    found.map_or_else(|| id.to_owned(), |it| it.name.clone())
}

fn run_json(run: &Run) -> Value {
    let ms = |it: Option<Millis>| it.map(|it| it.0);
    json!({
        "contact_ms": ms(run.contact),
        "off_ms": ms(run.off),
        "landed_ms": ms(run.landed),
        "by": run.by,
        "outside": run.outside,
        "stood_down": run.stood_down,
    })
}

/// A name that sorts by time, as those of incidents do.
fn incident_id(now: &Moment, seed: u64) -> String {
    let wall = DateTime::from_timestamp_millis(now.wall_ms).unwrap_or_default();
    let drawn = sha256_hex(format!("{} {} {seed}", now.boot_id, now.boot_ms).as_bytes());
    let drawn: String = drawn.chars().take(4).collect();
    format!("{}-{drawn}", wall.format("%Y%m%dT%H%M%SZ"))
}

/// Writes the journal of a play; the answer is its head.
fn keep(folder: &Path, incident: &str, records: &[Record]) -> Result<String, String> {
    let record = folder.join(TABLE_TOPS);
    let _lock = DataLock::take(&record).map_err(|why| why.to_string())?;
    let cannot = |why: String| format!("it cannot be kept in {}: {why}", record.display());
    let folders = vec![record.join("journals"), record.join("journals-fallback")];
    let mut writer = Writer::create(Arc::new(RealDisk), folders, incident)
        .map_err(|error| cannot(error.to_string()))?;
    let entries: Vec<Entry> = records
        .iter()
        .map(|it| Entry {
            seq: it.seq,
            json: it.to_json(),
        })
        .collect();
    writer.append(&entries).map_err(|why| cannot(why.0))?;
    let saved = writer.close().map_err(|why| cannot(why.0))?;
    Ok(saved.map_or_else(String::new, |it| it.head))
}

/// Plays it many times on all cores.
fn tried(table: &Table, scenario: &Scenario, seed: u64, runs: u64) -> Tried {
    let next = AtomicU64::new(0);
    let tried: Mutex<Tried> = Mutex::default();
    let shown = std::io::stderr().is_terminal();
    let threads = std::thread::available_parallelism().map_or(1, |it| it.get().min(8));
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= runs {
                        return;
                    }
                    let seed = seed.saturating_add(index);
                    let Some(run) = try_once(table, scenario, seed) else {
                        return;
                    };
                    let mut tried = tried.lock().unwrap_or_else(PoisonError::into_inner);
                    tried.add(seed, run);
                    if shown {
                        eprint!("\rplayed {} of {runs} ", tried.len());
                    }
                }
            });
        }
    });
    if shown {
        eprintln!();
    }
    tried.into_inner().unwrap_or_else(PoisonError::into_inner)
}

fn many_text(plan: &Plan, scenario: &Scenario, tried: &Tried, seed: u64) -> String {
    let runs = tried.len();
    let mut out = format!(
        "DRILL AT A TABLE, {}: {}, at {}, {runs} runs from seed {seed}\n\n",
        plan.site.name,
        scenario.name,
        place(plan, &scenario.position)
    );
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "{:20}  {:>9}  {:>7}  {:>7}  {:>7}",
        "from the fall", "a quarter", "half", "3 of 4", "9 of 10"
    );
    let rows = [
        ("first contact", tried.contact()),
        ("off the harness", tried.off()),
        ("at the landing place", tried.landed()),
    ];
    for (name, it) in rows {
        let _ = writeln!(
            out,
            "{name:20}  {:>9}  {:>7}  {:>7}  {:>7}",
            time(it.lower),
            time(it.median),
            time(it.upper),
            time(it.bad_day)
        );
    }
    let target = plan.policy.target;
    let _ = writeln!(
        out,
        "\nOff the harness by the target of {}: {}",
        time(Some(target)),
        in_hundred(tried.off_by(target))
    );
    for (id, count) in tried.methods() {
        let name = method(plan, &scenario.position, &id);
        let _ = writeln!(out, "  by {name}: {count} of {runs}");
    }
    let _ = writeln!(
        out,
        "  by rescuers from outside: {}",
        in_hundred(tried.outside())
    );
    let _ = writeln!(
        out,
        "  still hanging when the play ended: {}",
        in_hundred(tried.never())
    );
    out + CAUTION
}

fn many_json(plan: &Plan, scenario: &Scenario, tried: &Tried, seed: u64) -> Value {
    let quarters = |it: Quarters| {
        let ms = |it: Option<Millis>| it.map(|it| it.0);
        json!({
            "lower_ms": ms(it.lower),
            "median_ms": ms(it.median),
            "upper_ms": ms(it.upper),
            "bad_day_ms": ms(it.bad_day),
        })
    };
    let methods = tried.methods().into_iter();
    let methods = methods.map(|(id, count)| json!({ "id": id, "runs": count }));
    let runs = tried.runs().iter().map(|(seed, run)| {
        let mut row = run_json(run);
        row["seed"] = json!(seed);
        row
    });
    json!({
        "format": 1,
        "scenario": scenario.name,
        "position": scenario.position,
        "invented": plan.site.invented,
        "seed": seed,
        "target_ms": plan.policy.target.0,
        "contact": quarters(tried.contact()),
        "off": quarters(tried.off()),
        "landed": quarters(tried.landed()),
        "by_target_ppm": tried.off_by(plan.policy.target).0,
        "never_ppm": tried.never().0,
        "outside_ppm": tried.outside().0,
        "methods": methods.collect::<Vec<_>>(),
        "runs": runs.collect::<Vec<_>>(),
    })
}
