//! Says of every position whether it can be rescued from today, how long that takes, and what would help most.
//!
//! For programs it is one JSON object, whose shape the README gives; for a desk one HTML file with plots. The answer is the
//! exit code: 0 every position asked for is ready, 1 one is not, 2 it could not be looked at.

use super::plans::PlanArgument;
use super::{Format, print, say_error};
use crate::clock::Clock;
use crate::compute::{looks, what_ifs};
use crate::journal::disk::replace;
use crate::plan::{Plan, Position, read_on};
use crate::readiness::{Conditions, Depth, Grade, Look, WhatIfs};
use crate::report::readiness::{PlaceLook, ReadinessReport, readiness_html};
use crate::units::{Millis, Ratio, Speed};
use crate::words::{Language, clock, date_and_time, wind};
use chrono::NaiveDate;
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use std::io::IsTerminal;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

/// What to look at.
#[derive(Clone, Debug, Args)]
pub(super) struct Options {
    #[command(flatten)]
    plan: PlanArgument,
    /// Only this position, by id or name, with who goes and when to change.
    #[arg(long, value_name = "NAME")]
    position: Option<String>,
    /// The day, as YEAR-MONTH-DAY; today where it is not said.
    #[arg(long, value_name = "DAY")]
    date: Option<NaiveDate>,
    /// Wind with its gusts, in metres a second, or with a unit: `12.5`, `25 kn`.
    #[arg(long, value_name = "M/S", value_parser = super::fit::speed)]
    wind: Option<Speed>,
    /// It is dark.
    #[arg(long)]
    dark: bool,
    /// Somebody who is not there, by id or name. May be given several times.
    #[arg(long, value_name = "NAME")]
    absent: Vec<String>,
    /// Kit that is not there, by id, name or kind. May be given several times.
    #[arg(long, value_name = "ITEM")]
    without: Vec<String>,
    /// Also find out what would help most at the ten worst positions.
    #[arg(long)]
    what_if: bool,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Also write a report with plots: one HTML file.
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
    /// Language of the report.
    #[arg(long, value_name = "LANGUAGE", default_value = "en", value_parser = language)]
    language: Language,
}

/// A language asked for by its tag.
pub(super) fn language(text: &str) -> Result<Language, String> {
    let mut all = Language::ALL_SPOKEN.into_iter();
    all.find(|it| it.tag() == text)
        .ok_or_else(|| "the languages are en and es".to_owned())
}

pub(super) fn run(options: &Options) -> u8 {
    match ready(options) {
        Ok(code) => code,
        Err(why) => {
            say_error(&why);
            2
        }
    }
}

fn ready(options: &Options) -> Result<u8, String> {
    let (name, bytes) = options.plan.bytes()?;
    let now = Clock::new().read();
    let day = options.date.unwrap_or_else(|| now.day());
    let reading = read_on(&name, &bytes, day);
    let mut plan = reading
        .plan
        .ok_or_else(|| format!("{name} is not fit to use; `groundward check` says what to mend"))?;
    let mut absent = Vec::new();
    for who in &options.absent {
        absent.push(person(&plan, who)?);
    }
    for item in &options.without {
        take_away(&mut plan, item)?;
    }
    let only = options
        .position
        .as_ref()
        .map(|it| position(&plan, it))
        .transpose()?;
    if let Some(only) = &only {
        plan.positions.retain(|it| it.id == *only);
    }
    let mut conditions = Conditions::everybody(&plan, day);
    conditions.present.retain(|id| !absent.contains(id));
    conditions.wind = options.wind;
    conditions.light = options.dark.then_some(crate::readiness::Light::Dark);
    let never = AtomicBool::new(false);
    let looks = looks(&plan, &conditions, Depth::SITE, &never).unwrap_or_default();
    let what_ifs = options.what_if.then(|| {
        let shown = std::io::stderr().is_terminal();
        let found = what_ifs(&plan, &conditions, &looks, &never, |found| {
            if shown {
                eprint!("\rtried {} of {} ", found.done, found.all);
            }
        });
        if shown {
            eprintln!();
        }
        found
    });
    if let Some(file) = &options.report {
        let made_at = date_and_time(now.wall_ms, now.offset_min);
        let seen: Vec<_> = looks.iter().map(|it| PlaceLook::of(&plan, it)).collect();
        let program = concat!("Groundward ", env!("CARGO_PKG_VERSION"));
        let report = ReadinessReport {
            plan: &plan,
            plan_name: &name,
            conditions: &conditions,
            looks: &seen,
            what_ifs: what_ifs.as_ref(),
            language: options.language,
            program,
            made_at: &made_at,
        };
        replace(file, &readiness_html(&report))
            .map_err(|error| format!("{} cannot be written: {error}", file.display()))?;
    }
    let said = match options.format {
        Format::Text => text(
            &plan,
            &conditions,
            &looks,
            what_ifs.as_ref(),
            only.is_some(),
        ),
        Format::Json => {
            let mut said =
                json_of(options, &plan, &conditions, &looks, what_ifs.as_ref()).to_string();
            said.push('\n');
            said
        }
    };
    let printed = print(&said);
    let all_ready = looks.iter().all(|it| it.standing.grade != Grade::NotReady);
    Ok(printed.max(u8::from(!all_ready)))
}

/// The id of somebody asked for by id or name.
pub(super) fn person(plan: &Plan, asked: &str) -> Result<String, String> {
    let found = plan
        .responders
        .iter()
        .find(|it| it.id == asked || it.name == asked);
    found.map(|it| it.id.clone()).ok_or_else(|| {
        let names: Vec<_> = plan.responders.iter().map(|it| it.name.as_str()).collect();
        format!(
            "nobody in the plan is called {asked}; there are {}",
            names.join(", ")
        )
    })
}

/// The id of a position asked for by id or name.
pub(super) fn position(plan: &Plan, asked: &str) -> Result<String, String> {
    let found = plan
        .positions
        .iter()
        .find(|it| it.id == asked || it.name == asked);
    found.map(|it| it.id.clone()).ok_or_else(|| {
        let ids: Vec<_> = plan.positions.iter().map(|it| it.id.as_str()).collect();
        format!(
            "no position of the plan is called {asked}; there are {}",
            ids.join(", ")
        )
    })
}

fn take_away(plan: &mut Plan, asked: &str) -> Result<(), String> {
    let mut found = false;
    for item in plan.stations.iter_mut().flat_map(|it| &mut it.kit) {
        if item.id == asked || item.name == asked || item.kind == asked {
            item.out_of_service = Some("left out of this look".to_owned());
            found = true;
        }
    }
    match found {
        true => Ok(()),
        false => {
            let kit = plan.stations.iter().flat_map(|it| &it.kit);
            let mut kinds: Vec<_> = kit.map(|it| it.kind.as_str()).collect();
            kinds.sort_unstable();
            kinds.dedup();
            Err(format!(
                "no kit in the plan is called {asked}; the kinds are {}",
                kinds.join(", ")
            ))
        }
    }
}

/// Worst first: not ready, slow, ready; then by the bad day.
fn worst_first(looks: &[Look]) -> Vec<&Look> {
    let mut order: Vec<&Look> = looks.iter().collect();
    let bad_day = |it: &Look| it.standing.expected.and_then(|it| it.bad_day);
    order.sort_by(|a, b| {
        let grades = b.standing.grade.cmp(&a.standing.grade);
        let long = |it: &Look| bad_day(it).map_or(i64::MAX, |it| it.0);
        grades.then_with(|| long(b).cmp(&long(a)))
    });
    order
}

/// The word for a grade in English.
pub(super) fn word(grade: Grade) -> &'static str {
    match grade {
        Grade::Ready => "ready",
        Grade::Slow => "slow",
        Grade::NotReady => "not ready",
    }
}

/// A share in whole numbers out of a hundred.
pub(super) fn in_hundred(share: Ratio) -> String {
    format!("{} in 100", share.0.saturating_add(5_000) / 10_000)
}

fn text(
    plan: &Plan,
    conditions: &Conditions,
    looks: &[Look],
    what_ifs: Option<&WhatIfs>,
    closely: bool,
) -> String {
    let mut out = String::new();
    let time = |time: Option<Millis>| time.map_or("-".to_owned(), clock);
    let name = |id: &str| {
        plan.position(id)
            .map_or(id.to_owned(), |it| it.name.clone())
    };
    let wind = conditions.wind.map_or("not said".to_owned(), wind);
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "{}, {}, wind {wind}, {} of {} people there\n",
        plan.site.name,
        conditions.day,
        conditions.present.len(),
        plan.responders.len()
    );
    let widest = looks
        .iter()
        .map(|it| name(&it.standing.position).chars().count());
    let widest = widest.max().unwrap_or(0).clamp(8, 36);
    let _ = writeln!(
        out,
        "{:widest$}  {:9}  {:>7}  {:>7}  {:>7}  {:>9}  why",
        "position", "", "contact", "likely", "bad day", "by target"
    );
    for look in worst_first(looks) {
        let standing = &look.standing;
        let expected = standing.expected;
        let line = standing.line.as_ref();
        let assumed = expected.is_some_and(|it| it.assumed);
        let _ = writeln!(
            out,
            "{:widest$}  {:9}  {:>7}  {:>7}  {:>7}  {:>9}  {}{}",
            name(&standing.position),
            word(standing.grade),
            time(expected.and_then(|it| it.contact)),
            time(expected.and_then(|it| it.likely)),
            time(expected.and_then(|it| it.bad_day)),
            expected.map_or("-".to_owned(), |it| in_hundred(it.chance)),
            line.map_or_else(String::new, |it| it.text(Language::English)),
            if assumed { " (assumed)" } else { "" },
        );
        if closely && let Some(position) = plan.position(&standing.position) {
            close_look(&mut out, plan, position, look);
        }
    }
    if let Some(what_ifs) = what_ifs {
        let _ = writeln!(
            out,
            "\nWhat would help most at the worst positions, in rescues out of 100:"
        );
        for gain in what_ifs.gains.iter().filter(|it| it.is_measurable()) {
            let parts = |it: Ratio| it.0 as f64 / 10_000.0;
            let _ = writeln!(
                out,
                "  {:+5.1} ± {:.1}  {}, most at {}",
                parts(gain.gain),
                parts(gain.error),
                gain.what.text(Language::English),
                gain.at
            );
        }
        let rest = what_ifs
            .gains
            .iter()
            .filter(|it| !it.is_measurable())
            .count();
        let _ = writeln!(out, "  no measurable gain from {rest} other changes");
    }
    out.push_str(
        "\nTimes are from the fall, for a casualty who cannot help, computed from the plan's own figures. No time in\n\
         suspension is safe. Local codes, the makers' instructions, trained people and the emergency services decide.\n",
    );
    out
}

/// Who goes in which method, and when to change.
fn close_look(out: &mut String, plan: &Plan, position: &Position, look: &Look) {
    let policy = &plan.policy;
    for turn in look.forecast.turns(policy.alarm_time) {
        let method = position.method(&turn.method.method);
        let change = match turn.change_by {
            Some(by) => format!("change by {}", clock(by)),
            None => "stay with it".to_owned(),
        };
        let share = turn.method.share.map_or_else(String::new, in_hundred);
        let _ = writeln!(
            out,
            "    {} from {}, {change}; ends {share} rescues{}",
            method.map_or(turn.method.method.as_str(), |it| it.name.as_str()),
            clock(turn.from),
            if turn.method.assumed {
                " (assumed)"
            } else {
                ""
            }
        );
        for posting in &turn.method.crew {
            let who = plan.responder(&posting.responder);
            let place = plan.place(&posting.place);
            let kit = match (
                &posting.kit,
                posting.station.as_ref().and_then(|it| plan.station(it)),
            ) {
                (Some(kit), Some(station)) => format!(" with {kit} from {}", station.name),
                _ => String::new(),
            };
            let _ = writeln!(
                out,
                "      {}: {}{kit}, to {}, {}",
                posting.role,
                who.map_or(posting.responder.as_str(), |it| it.name.as_str()),
                place.map_or(posting.place.as_str(), |it| it.name.as_str()),
                clock(Millis(posting.travel_ms))
            );
        }
    }
}

fn json_of(
    options: &Options,
    plan: &Plan,
    conditions: &Conditions,
    looks: &[Look],
    what_ifs: Option<&WhatIfs>,
) -> Value {
    let positions: Vec<Value> = looks.iter().map(|look| position_json(plan, look)).collect();
    let what_ifs = what_ifs.map(|it| {
        let gains = it.gains.iter().map(|gain| {
            json!({
                "what": gain.what.text(Language::English),
                "gain_ppm": gain.gain.0,
                "error_ppm": gain.error.0,
                "measurable": gain.is_measurable(),
                "most_at": gain.at,
            })
        });
        gains.collect::<Vec<_>>()
    });
    json!({
        "format": 1,
        "site": plan.site.name,
        "revision": plan.site.revision,
        "invented": plan.site.invented,
        "day": conditions.day.to_string(),
        "wind_mm_s": conditions.wind.map(|it| it.0),
        "dark": options.dark,
        "present": conditions.present,
        "without": options.without,
        "target_ms": plan.policy.target.0,
        "value_ends_ms": plan.policy.value_ends.0,
        "positions": positions,
        "what_if": what_ifs,
    })
}

fn position_json(plan: &Plan, look: &Look) -> Value {
    let standing = &look.standing;
    let position = plan.position(&standing.position);
    let expected = standing.expected.map(|it| {
        json!({
            "likely_ms": it.likely.map(|it| it.0),
            "bad_day_ms": it.bad_day.map(|it| it.0),
            "contact_ms": it.contact.map(|it| it.0),
            "chance_ppm": it.chance.0,
            "assumed": it.assumed,
        })
    });
    let bars = look.prospect.as_ref().map(|it| {
        json!({
            "each_ms": 30_000,
            "draws": it.bars,
            "value": it.value,
            "value_error": it.value_error,
            "never_ppm": it.never.0,
        })
    });
    let turns = look.forecast.turns(plan.policy.alarm_time);
    let methods: Vec<Value> = look
        .forecast
        .methods
        .iter()
        .map(|it| {
            let turn = turns.iter().find(|turn| turn.method.method == it.method);
            json!({
                "id": it.method,
                "name": position.and_then(|p| p.method(&it.method)).map(|m| m.name.as_str()),
                "place_in_order": look.forecast.order.iter().position(|id| *id == it.method),
                "starts_ms": turn.map(|turn| turn.from.0),
                "change_by_ms": turn.and_then(|turn| turn.change_by).map(|it| it.0),
                "takes_likely_ms": it.likely_ms,
                "takes_bad_day_ms": it.bad_day_ms,
                "takes_contact_ms": it.contact_ms,
                "chance_ppm": turn.and_then(|turn| it.chance(turn.from)).map(|it| it.0),
                "works_ppm": it.works.map(|it| it.0),
                "share_ppm": it.share.map(|it| it.0),
                "assumed": it.assumed,
                "unfit": it.unfit,
                "no_kit": it.no_kit,
                "unfilled": it.unfilled,
                "papers": it.papers,
                "crew": it.crew,
            })
        })
        .collect();
    json!({
        "id": standing.position,
        "name": position.map(|it| it.name.as_str()),
        "grade": standing.grade,
        "line": standing.line.as_ref().map(|it| it.text(Language::English)),
        "expected": expected,
        "distribution": bars,
        "methods": methods,
    })
}
