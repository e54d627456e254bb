//! Says how long everything took in the drills so far: quarters, halves, how sure that is, and whether it becomes quicker.
//!
//! Below the number of drills that the policy asks for nothing is summed up. Times broken off are counted as such; where too
//! many were, a dash stands instead of a time that nobody knows. For a desk there is one HTML file with plots, of drills alone.

use super::drills::{Fit, Gathered, is_same_file, print_json};
use super::plans::KnownPlan;
use super::ready::{language, position};
use super::{DataFolder, Format, print};
use crate::clock::Clock;
use crate::drill::{Between, Learned, Played, Subject, Summary, Trend, Whose, learned};
use crate::journal::disk::replace;
use crate::plan::Plan;
use crate::report::learning::{LearningReport, learning_html};
use crate::units::Millis;
use crate::words::{Language, clock, date_and_time};
use clap::{Args, ValueEnum};
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Of what to say how long it took.
#[derive(Clone, Debug, Args)]
pub(super) struct Learn {
    #[command(flatten)]
    plan: KnownPlan,
    #[command(flatten)]
    data: DataFolder,
    /// Only this position, by id or name.
    #[arg(long, value_name = "NAME")]
    position: Option<String>,
    /// What is counted; they are never mixed.
    #[arg(long, value_enum, default_value_t)]
    of: Of,
    /// Only what was played in the dark.
    #[arg(long)]
    dark: bool,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Also write a report with plots: one HTML file.
    #[arg(long, value_name = "FILE.html")]
    write_to: Option<PathBuf>,
    /// Language of the report.
    #[arg(long, value_name = "LANGUAGE", default_value = "en", value_parser = language)]
    language: Language,
}

/// What is counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum Of {
    /// Drills in which people moved.
    #[default]
    Drills,
    /// Drills at a table.
    TableTops,
    /// Rescues.
    Rescues,
}

impl Of {
    fn played(self) -> Played {
        match self {
            Of::Drills => Played::Drill,
            Of::TableTops => Played::TableTop,
            Of::Rescues => Played::Rescue,
        }
    }

    fn word(self) -> &'static str {
        match self {
            Of::Drills => "drills",
            Of::TableTops => "drills at a table",
            Of::Rescues => "rescues",
        }
    }
}

/// Says what was learned; the answer is the exit code.
pub(super) fn learn(options: &Learn) -> Result<u8, String> {
    let played = options.of.played();
    if let Some(file) = &options.write_to {
        can_be_written(file, played)?;
    }
    let now = Clock::new().read();
    let folder = options.data.folder();
    let plan_file = options.plan.file(&folder);
    if let (Some(file), Some(plan)) = (&options.write_to, &plan_file)
        && is_same_file(file, plan)
    {
        let file = file.display();
        return Err(format!(
            "{file} is the plan itself, which is never written over; give another name"
        ));
    }
    let (name, bytes) = options.plan.bytes(&folder)?;
    let Fit { name, plan, .. } = Fit::of(name, bytes, now.day())?;
    let only = options
        .position
        .as_ref()
        .map(|it| position(&plan, it))
        .transpose()?;
    let mut gathered = Gathered::of(&options.data, &plan.site.name)?;
    if options.dark {
        gathered.lessons.retain(|it| it.dark);
    }
    let enough = plan.policy.drills_enough;
    let mut all = learned(&gathered.lessons, played, enough);
    if let Some(only) = &only {
        all.retain(|it| it.whose == Whose::Position(only.clone()));
    }
    let count = gathered.lessons.iter().filter(|it| it.played == played);
    let count = count.count();
    if let Some(file) = &options.write_to {
        let html = learning_html(&LearningReport {
            plan: &plan,
            plan_name: &name,
            learned: &all,
            played,
            drills: count,
            enough,
            only: only.as_deref(),
            in_the_dark: options.dark,
            altered: &gathered.altered,
            unread: &gathered.unread,
            elsewhere: gathered.elsewhere,
            language: options.language,
            program: concat!("Groundward ", env!("CARGO_PKG_VERSION")),
            made_at: &date_and_time(now.wall_ms, now.offset_min),
            offset_min: now.offset_min,
        });
        replace(file, &html)
            .map_err(|error| format!("{} cannot be written: {error}", file.display()))?;
    }
    Ok(match options.format {
        Format::Text => {
            let dark = if options.dark { ", in the dark" } else { "" };
            let of = options.of.word();
            let mut out = format!("{}, {of}{dark}: {count}\n", plan.site.name);
            out.push_str(&text(&plan, &all, enough));
            print(&(out + &gathered.notes()))
        }
        Format::Json => {
            let rows: Vec<Value> = all.iter().map(|it| row_json(&plan, it)).collect();
            print_json(&json!({
                "format": 1,
                "site": plan.site.name,
                "invented": plan.site.invented,
                "of": options.of.word(),
                "dark": options.dark,
                "count": count,
                "enough": enough,
                "learned": rows,
                "left_out": gathered.left_out,
            }))
        }
    })
}

/// The report says on every page that it is of drills, and it is written as HTML alone.
fn can_be_written(file: &Path, played: Played) -> Result<(), String> {
    if played == Played::Rescue {
        return Err("the report is of drills; leave out --write-to to see rescues".to_owned());
    }
    let ends = file.extension().map(|it| it.to_ascii_lowercase());
    match ends.as_deref().and_then(|it| it.to_str()) {
        Some("html" | "htm") => Ok(()),
        _ => Err(format!(
            "{} does not end in .html; the report is one HTML file, which any browser prints",
            file.display()
        )),
    }
}

fn whose(plan: &Plan, learned: &Learned) -> String {
    learned.whose_told(plan).text(Language::English)
}

/// What was timed, in words.
fn subject(plan: &Plan, learned: &Learned) -> String {
    learned.subject_told(plan).text(Language::English)
}

/// A time or a dash.
pub(super) fn time(time: Option<Millis>) -> String {
    time.map_or_else(|| "-".to_owned(), clock)
}

/// The limits of a median, and how often such limits hold it.
pub(super) fn limits(between: &Between) -> String {
    let share = between.coverage.0 / 10_000;
    let about = if between.exact { "" } else { "about " };
    let low = clock(between.low);
    match between.high {
        Some(high) => format!("{low} to {} ({about}{share} in 100)", clock(high)),
        None => format!("{low} or more ({about}{share} in 100)"),
    }
}

/// A change with its sign.
fn change(by: Millis) -> String {
    let sign = if by.0 < 0 { "-" } else { "+" };
    format!("{sign}{}", clock(Millis(by.0.saturating_abs())))
}

pub(super) fn every_month(trend: Option<&Trend>) -> String {
    let Some(trend) = trend else {
        return "-".to_owned();
    };
    let slope = change(trend.slope);
    let is_sure = match (trend.low, trend.high) {
        (Some(low), Some(high)) => low.0 > 0 || high.0 < 0,
        _ => false,
    };
    let limit = |it: Option<Millis>| it.map_or_else(|| "?".to_owned(), change);
    let (low, high) = (limit(trend.low), limit(trend.high));
    let open = if is_sure { "" } else { ", may be none" };
    format!("{slope} ({low} to {high}{open})")
}

/// The columns of one row that is summed up.
fn summed(summary: &Summary, trend: Option<&Trend>) -> [String; 5] {
    let between = summary.median_between.as_ref();
    [
        time(summary.lower),
        time(summary.median),
        time(summary.upper),
        between.map_or_else(|| "-".to_owned(), limits),
        every_month(trend),
    ]
}

fn text(plan: &Plan, all: &[Learned], enough: u32) -> String {
    let mut out = String::new();
    let names: Vec<String> = all.iter().map(|it| subject(plan, it)).collect();
    let widest = names.iter().map(|it| it.chars().count()).max();
    let widest = widest.unwrap_or(0).clamp(20, 64);
    let mut last: Option<&Whose> = None;
    for (it, name) in all.iter().zip(&names) {
        if last != Some(&it.whose) {
            last = Some(&it.whose);
            // Writing to a string cannot fail.
            let _ = writeln!(
                out,
                "\n{:w$}  {:>6}  {:>10}  {:>7}  {:>7}  {:>7}  {:26}  every 30 days",
                whose(plan, it),
                "drills",
                "broken off",
                "quarter",
                "half",
                "3 of 4",
                "half is between",
                w = widest + 2
            );
        }
        let drills = it.drills;
        let _ = write!(out, "  {name:widest$}  {drills:>6}");
        let Some(summary) = &it.summary else {
            let _ = writeln!(out, "  not enough drills yet: {enough} are needed");
            continue;
        };
        let [lower, median, upper, between, month] = summed(summary, it.trend.as_ref());
        let broken = summary.broken_off;
        let _ = writeln!(
            out,
            "  {broken:>10}  {lower:>7}  {median:>7}  {upper:>7}  {between:26}  {month}"
        );
    }
    if all.is_empty() {
        out.push_str("\nNothing was timed yet.\n");
    } else {
        out.push_str(
            "\nMilestones are timed from the fall. A dash: too little is known, or too much was broken off, to say.\n",
        );
    }
    out.push_str("No time in suspension is safe, however quick a crew has become.\n");
    out
}

pub(super) fn summary_json(summary: &Summary) -> Value {
    let ms = |it: Option<Millis>| it.map(|it| it.0);
    let between = |it: Between| {
        json!({
            "low_ms": it.low.0,
            "high_ms": ms(it.high),
            "coverage_ppm": it.coverage.0,
            "exact": it.exact,
        })
    };
    let curve = summary.curve.iter().map(|it| {
        json!({
            "ms": it.time.0,
            "at_risk": it.at_risk,
            "ended": it.ended,
            "left_ppm": it.left.0,
            "low_ppm": it.low.map(|it| it.0),
            "high_ppm": it.high.map(|it| it.0),
        })
    });
    json!({
        "times": summary.count,
        "broken_off": summary.broken_off,
        "lower_ms": ms(summary.lower),
        "median_ms": ms(summary.median),
        "upper_ms": ms(summary.upper),
        "lower_between": summary.lower_between.map(between),
        "median_between": summary.median_between.map(between),
        "upper_between": summary.upper_between.map(between),
        "curve": curve.collect::<Vec<_>>(),
    })
}

fn row_json(plan: &Plan, learned: &Learned) -> Value {
    let whose_json = match &learned.whose {
        Whose::Site => json!({ "site": plan.site.name }),
        Whose::Position(id) => json!({ "position": id }),
        Whose::Command(id) => json!({ "in_command": id }),
        Whose::Crew(ids) => json!({ "crew": ids }),
    };
    let subject_json = match &learned.subject {
        Subject::Call => json!({ "milestone": "call" }),
        Subject::Safe => json!({ "milestone": "safe" }),
        Subject::Contact => json!({ "milestone": "contact" }),
        Subject::Off => json!({ "milestone": "off" }),
        Subject::Landed => json!({ "milestone": "landed" }),
        Subject::Step { method, step, say } => {
            json!({ "method": method, "step": step + 1, "say": say })
        }
        Subject::Way { from, station, to } => {
            json!({ "from": from, "station": station, "to": to })
        }
        Subject::Said => json!({ "order": "said" }),
        Subject::Heard => json!({ "order": "read-back" }),
    };
    let times = learned.times.iter().map(|it| {
        json!({
            "incident": it.incident,
            "started_ms": it.started_ms,
            "ms": it.span.time.0,
            "ended": it.span.ended,
        })
    });
    json!({
        "whose": whose_json,
        "subject": subject_json,
        "name": subject(plan, learned),
        "drills": learned.drills,
        "positions": learned.positions,
        "times": times.collect::<Vec<_>>(),
        "summary": learned.summary.as_ref().map(summary_json),
        "trend": learned.trend.map(|it| json!({
            "ms_every_30_days": it.slope.0,
            "low_ms": it.low.map(|it| it.0),
            "high_ms": it.high.map(|it| it.0),
        })),
    })
}
