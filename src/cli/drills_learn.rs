//! Says how long everything took in the drills so far: quarters, halves, how sure that is, and whether it becomes quicker.
//!
//! Below the number of drills that the policy asks for nothing is summed up. Times broken off are counted as such; where too
//! many were, a dash stands instead of a time that nobody knows.

use super::drills::{Fit, Gathered, place, print_json};
use super::plans::KnownPlan;
use super::ready::position;
use super::{DataFolder, Format, print};
use crate::clock::Clock;
use crate::drill::{Between, Learned, Played, Subject, Summary, Trend, Whose, learned};
use crate::plan::Plan;
use crate::units::Millis;
use crate::words::clock;
use clap::{Args, ValueEnum};
use serde_json::{Value, json};
use std::fmt::Write;

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
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
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
    let today = Clock::new().read().day();
    let (name, bytes) = options.plan.bytes(&options.data.folder())?;
    let Fit { plan, .. } = Fit::of(name, bytes, today)?;
    let only = options
        .position
        .as_ref()
        .map(|it| position(&plan, it))
        .transpose()?;
    let gathered = Gathered::of(&options.data, &plan.site.name)?;
    let played = options.of.played();
    let enough = plan.policy.drills_enough;
    let mut all = learned(&gathered.lessons, played, enough);
    if let Some(only) = only {
        all.retain(|it| it.whose == Whose::Position(only.clone()));
    }
    let count = gathered.lessons.iter().filter(|it| it.played == played);
    let count = count.count();
    Ok(match options.format {
        Format::Text => {
            let mut out = format!("{}, {}: {count}\n", plan.site.name, options.of.word());
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
                "count": count,
                "enough": enough,
                "learned": rows,
                "left_out": gathered.left_out,
            }))
        }
    })
}

fn person(plan: &Plan, id: &str) -> String {
    plan.responder(id)
        .map_or_else(|| id.to_owned(), |it| it.name.clone())
}

fn whose(plan: &Plan, whose: &Whose) -> String {
    match whose {
        Whose::Site => "The whole site".to_owned(),
        Whose::Position(id) => place(plan, id),
        Whose::Command(id) => format!("{} in command", person(plan, id)),
        Whose::Crew(ids) => {
            let names: Vec<String> = ids.iter().map(|id| person(plan, id)).collect();
            format!("Crew of {}", names.join(", "))
        }
    }
}

/// What was timed, in words; a method is named as at its position.
fn subject(plan: &Plan, learned: &Learned) -> String {
    let at = |id: &str| plan.place(id).map_or(id.to_owned(), |it| it.name.clone());
    match &learned.subject {
        Subject::Call => "emergency call made".to_owned(),
        Subject::Safe => "clear to go near".to_owned(),
        Subject::Contact => "first contact".to_owned(),
        Subject::Off => "off the harness".to_owned(),
        Subject::Landed => "at the landing place".to_owned(),
        Subject::Step { method, step, say } => {
            let position = match &learned.whose {
                Whose::Position(id) => plan.position(id),
                Whose::Site | Whose::Command(_) | Whose::Crew(_) => None,
            };
            let name = position.and_then(|it| it.method(method));
            let name = name.map_or(method.as_str(), |it| it.name.as_str());
            format!("{name}, step {}: {say}", step + 1)
        }
        Subject::Way { from, station, to } => {
            let via = station.as_deref().map_or_else(String::new, |id| {
                let name = plan.station(id).map_or(id, |it| it.name.as_str());
                format!(" by {name}")
            });
            format!("way from {} to {}{via}", at(from), at(to))
        }
        Subject::Said => "order said".to_owned(),
        Subject::Heard => "order read back".to_owned(),
    }
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

fn every_month(trend: Option<&Trend>) -> String {
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
                whose(plan, &it.whose),
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
        "median_between": summary.median_between.map(|it| json!({
            "low_ms": it.low.0,
            "high_ms": ms(it.high),
            "coverage_ppm": it.coverage.0,
            "exact": it.exact,
        })),
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
