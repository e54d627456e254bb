//! Says whether the kit fits at a position: where the casualty hangs, then every judgement with its figures and source.
//!
//! For programs it is one JSON object: `{"file", "position", "fits", "heights": {"feet_above_ground", "feet_above_landing_mm",
//! "below_edge_mm", "swing_mm", "clearance", "clearance_needed_mm", "places": [{"place", "level", "ring_mm", "feet_mm"}]},
//! "verdicts": [{"rule", "outcome", "method", "role", "station", "item", "name", "figure", "limit", "margin", "source",
//! "unfit"}]}`. Exit codes: 0 every method works with the best kit at hand, 1 a method cannot work or is last choice, or the
//! plan is not fit, 2 it could not be looked at.

use chrono::NaiveDate;
use clap::Args;
use serde_json::json;

use super::{Format, plans, print, say_error};
use crate::clock::Clock;
use crate::plan::{self, Kind, Plan, Position};
use crate::readiness::{Above, Elevations, Fitting, Hang, Outcome, Today, Verdict, at_best};
use crate::units::{Millimetres, Speed};
use crate::words::metres;

/// What to look at.
#[derive(Clone, Debug, Args)]
#[command(allow_missing_positional = true)]
pub(super) struct Options {
    #[command(flatten)]
    plan: plans::PlanArgument,
    /// Id or name of the position.
    position: String,
    /// Wind or gust, whichever is higher; a number alone is in metres a second.
    #[arg(long, value_name = "M/S", value_parser = speed)]
    wind: Option<Speed>,
    /// Day by which papers are judged; today where it is left out.
    #[arg(long, value_name = "DAY")]
    on: Option<NaiveDate>,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Reads a wind, in metres a second where no unit is given, because the option's own name says so.
pub(super) fn speed(text: &str) -> Result<Speed, String> {
    let alone = text.trim().parse::<f64>().is_ok();
    let written = match alone {
        true => crate::units::read::<Speed>(&format!("{} m/s", text.trim())),
        false => crate::units::read::<Speed>(text),
    };
    written
        .map(|it| it.value)
        .map_err(|why| format!("{why}; {}", why.help::<Speed>()))
}

/// Looks at a position and prints what was found; the answer is the exit code.
pub(super) fn run(options: &Options) -> u8 {
    let today = Today {
        wind: options.wind,
        day: Some(options.on.unwrap_or_else(|| Clock::new().read().day())),
    };
    let looked = options.plan.bytes().map_err(|why| (2, why));
    let said = looked
        .and_then(|(name, bytes)| fit(&name, &bytes, &options.position, &today, options.format));
    match said {
        Ok((code, text)) => print(&text).max(code),
        Err((code, why)) => {
            say_error(&why);
            code
        }
    }
}

/// What is said of a position of a plan file, and the exit code; or the exit code and why nothing can be said.
pub fn fit(
    name: &str,
    bytes: &[u8],
    position: &str,
    today: &Today,
    format: Format,
) -> Result<(u8, String), (u8, String)> {
    let reading = plan::read(name, bytes);
    let Some(plan) = &reading.plan else {
        let unreadable = [Kind::NotUtf8.id(), Kind::TooLarge.id()];
        let found = reading.findings.iter();
        let code = match found.map(|it| it.id).any(|id| unreadable.contains(&id)) {
            true => 2,
            false => 1,
        };
        let why = format!("{name} is not fit to use; `groundward check` says what is wrong");
        return Err((code, why));
    };
    let position = chosen(plan, name, position).map_err(|why| (2, why))?;
    let elevations = Elevations::of(plan);
    let fitting = Fitting::with(plan, position, &elevations);
    let above = fitting.hang().above(plan, position, &elevations);
    let verdicts = fitting.table(today);
    let fits = at_best(&verdicts) < Outcome::Paper;
    let said = match format {
        Format::Text => text(plan, position, fitting.hang(), &above, &verdicts, fits),
        Format::Json => json(name, position, fitting.hang(), &above, &verdicts, fits),
    };
    Ok((u8::from(!fits), said))
}

/// The position of this id or name.
fn chosen<'p>(plan: &'p Plan, file: &str, wanted: &str) -> Result<&'p Position, String> {
    let same = |it: &&Position| it.name.to_lowercase() == wanted.trim().to_lowercase();
    let found = plan.position(wanted);
    found
        .or_else(|| plan.positions.iter().find(same))
        .ok_or_else(|| {
            let all = plan.positions.iter();
            let names: Vec<String> = all.map(|it| format!("`{}` ({})", it.id, it.name)).collect();
            match names.is_empty() {
                true => format!("{file} has no position"),
                false => format!(
                    "no position `{wanted}` in {file}; there are {}",
                    names.join(", ")
                ),
            }
        })
}

const CAUTION: &str = "\
Local codes and the makers' instructions go before every line here, and a competent person decides.
What fits on paper is tried on the kit itself. A last choice is a matter of papers and never stops
a rescue.
";

/// Widths of the columns, which with a space between them make 100.
const WIDTHS: [usize; 7] = [12, 17, 24, 15, 13, 9, 4];

fn text(
    plan: &Plan,
    position: &Position,
    hang: &Hang,
    above: &[Above],
    verdicts: &[Verdict],
    fits: bool,
) -> String {
    let mut out = format!("{}\n\nWhere the casualty hangs\n", position.name);
    heights(&mut out, plan, hang, above);
    let mut sources: Vec<&str> = Vec::new();
    let methods = position.methods.iter();
    let sections = std::iter::once((None, "Set-up"))
        .chain(methods.map(|it| (Some(it.id.as_str()), it.name.as_str())));
    for (method, title) in sections {
        let mut rows: Vec<&Verdict> = verdicts
            .iter()
            .filter(|it| it.method.as_deref() == method)
            .collect();
        if rows.is_empty() && method.is_none() {
            continue;
        }
        // Those alike keep the order of the plan.
        rows.sort_by_key(|it| std::cmp::Reverse(it.outcome));
        out += &format!("\n{}{}\n", title[..1].to_uppercase(), &title[1..]);
        match rows.is_empty() {
            true => out += "  nothing to judge\n",
            false => cells(
                &mut out,
                &["outcome", "rule", "about", "has", "needs", "left", "by"].map(str::to_owned),
            ),
        }
        for row in rows {
            let source = sources.iter().position(|it| *it == row.source);
            let source = source.unwrap_or_else(|| {
                sources.push(row.source);
                sources.len() - 1
            });
            let station = row.station.as_deref().and_then(|id| plan.station(id));
            let about = match station {
                Some(station) => format!("{}, {}", row.name, station.name),
                None => row.name.clone(),
            };
            cells(
                &mut out,
                &[
                    outcome(row.outcome).to_owned(),
                    row.rule.spelled().replace('-', " "),
                    about,
                    row.figure.clone(),
                    row.limit.clone(),
                    row.margin.clone(),
                    format!("[{}]", source + 1),
                ],
            );
        }
    }
    out += "\n";
    for (number, source) in (1..).zip(&sources) {
        out += &format!("[{number}] {source}\n");
    }
    out += match fits {
        true => "\nEvery method works on paper with the best kit at hand.\n",
        false => {
            "\nNot every method works, even with the best kit at hand: the worst lines say why.\n"
        }
    };
    out + CAUTION
}

/// A verdict in words.
fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Fits => "fits",
        Outcome::NotSaid => "not said",
        Outcome::Caution => "look at it",
        Outcome::Paper => "last choice",
        Outcome::Physical => "CANNOT WORK",
    }
}

/// Heights above every level; places of one level at one height share a line.
fn heights(out: &mut String, plan: &Plan, hang: &Hang, above: &[Above]) {
    let mut line = |what: &str, figure: &str| *out += &format!("  {what:34} {figure}\n");
    match (&hang.feet_above_ground, hang.feet_above_below) {
        (Some(given), _) => line("feet above what is below", &given.text),
        (None, Some(computed)) => line("feet above what is below", &metres(computed)),
        (None, None) => line("feet above what is below", "not said"),
    }
    let known = |length: Option<Millimetres>| length.map_or("not said".to_owned(), metres);
    line("ring below the floor of the place", &known(hang.below_edge));
    line("swing takes it deeper by", &metres(hang.swing));
    line("clearance that it needs", &known(hang.clearance_needed));
    let given = hang.clearance_given.as_ref().map(|it| it.text.as_str());
    line("clearance that there is", given.unwrap_or("not said"));
    if above.is_empty() {
        line("ring and feet above other places", "not said");
        return;
    }
    let mut rows: Vec<(&Above, Vec<&str>)> = Vec::new();
    for here in above {
        let name = plan
            .place(&here.place)
            .map_or(here.place.as_str(), |it| &it.name);
        let alike =
            |(it, _): &&mut (&Above, Vec<&str>)| it.level == here.level && it.ring == here.ring;
        match rows.iter_mut().find(alike) {
            Some((_, names)) => names.push(name),
            None => rows.push((here, vec![name])),
        }
    }
    for (here, names) in rows {
        let more = match names.len() {
            0..=2 => names.join(", "),
            count => format!("{}, {} and {} more", names[0], names[1], count - 2),
        };
        *out += &format!(
            "  level {:4} ring {:>9}, feet {:>9}   {more}\n",
            here.level,
            metres(here.ring),
            metres(here.feet)
        );
    }
}

/// A row of the table; what is wider than its column goes on below.
fn cells(out: &mut String, cells: &[String; 7]) {
    let mut columns: Vec<Vec<String>> = Vec::new();
    for (cell, width) in cells.iter().zip(WIDTHS) {
        columns.push(folded(cell, width));
    }
    let deep = columns.iter().map(Vec::len).max().unwrap_or(0);
    for row in 0..deep {
        let mut line = String::new();
        for (column, width) in columns.iter().zip(WIDTHS) {
            let cell = column.get(row).map_or("", String::as_str);
            line += &format!("{cell:width$} ");
        }
        *out += line.trim_end();
        out.push('\n');
    }
}

/// A text in lines of at most `width` letters, cut between words where that is possible.
fn folded(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for part in letters.chunks(width) {
            let part: String = part.iter().collect();
            match lines.last_mut() {
                Some(line) if line.chars().count() + 1 + part.chars().count() <= width => {
                    line.push(' ');
                    line.push_str(&part);
                }
                _ => lines.push(part),
            }
        }
    }
    lines
}

fn json(
    name: &str,
    position: &Position,
    hang: &Hang,
    above: &[Above],
    verdicts: &[Verdict],
    fits: bool,
) -> String {
    let places = above.iter().map(|it| {
        json!({ "place": it.place, "level": it.level, "ring_mm": it.ring.0, "feet_mm": it.feet.0 })
    });
    let verdict = |it: &Verdict| {
        json!({
            "rule": it.rule,
            "outcome": it.outcome,
            "method": it.method,
            "role": it.role,
            "station": it.station,
            "item": it.item,
            "name": it.name,
            "figure": it.figure,
            "limit": it.limit,
            "margin": it.margin,
            "source": it.source,
            "unfit": it.unfit,
        })
    };
    let said = json!({
        "file": name,
        "position": position.id,
        "fits": fits,
        "heights": {
            "feet_above_ground": hang.feet_above_ground.as_ref().map(|it| &it.text),
            "feet_above_landing_mm": hang.feet.first(),
            "below_edge_mm": hang.below_edge,
            "swing_mm": hang.swing,
            "clearance": hang.clearance_given.as_ref().map(|it| &it.text),
            "clearance_needed_mm": hang.clearance_needed,
            "places": places.collect::<Vec<_>>(),
        },
        "verdicts": verdicts.iter().map(verdict).collect::<Vec<_>>(),
    });
    format!("{said}\n")
}
