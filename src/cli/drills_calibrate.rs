//! Holds the times of drills against the plan, and writes what follows as a changed plan for somebody to review.
//!
//! The plan itself is never touched: the changed one is a new file beside it, made by the same edits that an author would
//! make. Readiness is computed with both, everything else alike, so that the difference is that of the times.

use super::drills::{Fit, Gathered, is_same_file, place, print_json};
use super::drills_learn::{limits, summary_json, time};
use super::plans::KnownPlan;
use super::ready::{in_hundred, word};
use super::{DataFolder, Format, print};
use crate::clock::Clock;
use crate::compute::looks;
use crate::drill::{self, Figure, Measured, Verdict, edits, touched};
use crate::journal::disk::replace;
use crate::plan::{self, Edited, Plan, ThreePoint, edit_on};
use crate::readiness::{Conditions, Depth, Look};
use crate::words::{clock, date_and_time};
use chrono::NaiveDate;
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

/// What to hold against what.
#[derive(Clone, Debug, Args)]
pub(super) struct Calibrate {
    #[command(flatten)]
    plan: KnownPlan,
    #[command(flatten)]
    data: DataFolder,
    /// Write the plan with what is proposed to this new file; the plan itself stays as it is.
    #[arg(long, value_name = "FILE")]
    write_to: Option<PathBuf>,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// A plan with what is proposed, and how it stands before and after.
struct Changed {
    edited: Edited,
    /// Position id, before, after.
    beside: Vec<(String, Look, Look)>,
}

/// Says what follows from the drills; the answer is the exit code.
pub(super) fn calibrate(options: &Calibrate) -> Result<u8, String> {
    let folder = options.data.folder();
    let today = Clock::new().read().day();
    let (name, bytes) = options.plan.bytes(&folder)?;
    let fit = Fit::of(name, bytes, today)?;
    let file = options.plan.file(&folder);
    if let Some(to) = &options.write_to {
        refuse_to_overwrite(to, file.as_deref())?;
    }
    let gathered = Gathered::of(&options.data, &fit.plan.site.name)?;
    let all = drill::calibrate(&fit.plan, &gathered.lessons);
    let chosen: Vec<&Measured> = all.iter().filter(|it| it.differs()).collect();
    let changed = match chosen.is_empty() {
        true => None,
        false => Some(changed(&fit, &chosen, today)?),
    };
    let written = match (&options.write_to, &changed) {
        (Some(to), Some(changed)) => {
            replace(to, changed.edited.text.as_bytes())
                .map_err(|error| format!("{} cannot be written: {error}", to.display()))?;
            Some(to.as_path())
        }
        _ => None,
    };
    Ok(match options.format {
        Format::Text => {
            let mut out = format!("{}, figures measured: {}\n", fit.plan.site.name, all.len());
            out.push_str(&text(&fit.plan, &all));
            if let Some(changed) = &changed {
                out.push_str(&beside_text(&fit.plan, &changed.beside));
                out.push_str(&findings(&fit.name, &changed.edited));
            }
            out.push_str(&what_now(options, file.as_deref(), written, chosen.len()));
            print(&(out + &gathered.notes()))
        }
        Format::Json => {
            let rows: Vec<Value> = all.iter().map(|it| row_json(&fit.plan, it)).collect();
            let beside = changed.iter().flat_map(|it| &it.beside);
            let beside = beside.map(|(id, before, after)| {
                json!({ "position": id, "before": look_json(before), "after": look_json(after) })
            });
            print_json(&json!({
                "format": 1,
                "site": fit.plan.site.name,
                "invented": fit.plan.site.invented,
                "measured": rows,
                "changes": changed.as_ref().map(|it| plan::in_json(&it.edited.changes)),
                "readiness": beside.collect::<Vec<_>>(),
                "written": written.map(|it| it.display().to_string()),
                "left_out": gathered.left_out,
            }))
        }
    })
}

/// Nothing that is there already is written over, least of all the plan.
fn refuse_to_overwrite(to: &Path, plan: Option<&Path>) -> Result<(), String> {
    let to_it = to.display();
    if plan.is_some_and(|plan| is_same_file(to, plan)) {
        return Err(format!(
            "{to_it} is the plan itself, which is never written over; give another name"
        ));
    }
    match to.symlink_metadata() {
        Ok(_) => Err(format!(
            "{to_it} is there already; give another name, or move it away first"
        )),
        Err(_) => Ok(()),
    }
}

/// Edits a copy of the plan, and computes how the positions concerned stand before and after.
fn changed(fit: &Fit, chosen: &[&Measured], today: NaiveDate) -> Result<Changed, String> {
    let edits = edits(&fit.plan, chosen, &evidence);
    let edited = edit_on(&fit.name, &fit.text, &edits, today).map_err(|refusal| {
        format!("what is proposed cannot be written into the plan: {refusal}")
    })?;
    let after = Fit::of(fit.name.clone(), edited.text.clone().into_bytes(), today)?;
    let ids = touched(&fit.plan, chosen);
    let look = |plan: &Plan| {
        let conditions = Conditions::everybody(plan, today);
        looks(plan, &conditions, Depth::SITE, &AtomicBool::new(false)).unwrap_or_default()
    };
    let pairs = look(&fit.plan).into_iter().zip(look(&after.plan));
    let beside = pairs
        .map(|(before, after)| (before.standing.position.clone(), before, after))
        .filter(|(id, ..)| ids.contains(&id.as_str()))
        .collect();
    Ok(Changed { edited, beside })
}

/// What the plan says of where its times come from.
fn evidence(measured: &Measured) -> String {
    format!("{}, {}", counted(measured.drills.len()), days(measured))
}

/// The days of the first and the last drill.
fn days(measured: &Measured) -> String {
    let day = |ms: i64| {
        let written = date_and_time(ms, 0);
        written.split(' ').next().unwrap_or_default().to_owned()
    };
    let (from, to) = measured.from_to_ms;
    match (day(from), day(to)) {
        (from, to) if from == to => from,
        (from, to) => format!("{from} to {to}"),
    }
}

fn name(plan: &Plan, figure: &Figure) -> String {
    match figure {
        Figure::OrderTime => "Passing an order on".to_owned(),
        Figure::Link(id) => format!("Link {id}"),
        Figure::Step {
            position,
            method,
            step,
        } => {
            let at = plan.position(position);
            let of = at.and_then(|it| it.method(method));
            let say = of.and_then(|it| it.steps.get(*step));
            format!(
                "{}, {}, step {}: {}",
                place(plan, position),
                of.map_or(method.as_str(), |it| it.name.as_str()),
                step + 1,
                say.map_or("", |it| it.say.as_str())
            )
        }
    }
}

fn points(it: &ThreePoint) -> String {
    format!(
        "{} / {} / {}",
        clock(it.short),
        clock(it.likely),
        clock(it.long)
    )
}

/// A number of drills, e.g. `7 drills`.
fn counted(drills: usize) -> String {
    match drills {
        1 => "1 drill".to_owned(),
        many => format!("{many} drills"),
    }
}

/// What was measured, in one line.
fn measured(it: &Measured) -> String {
    let broken = match it.measured.broken_off {
        0 => String::new(),
        some => format!(", {some} broken off"),
    };
    let between = it.measured.median_between.as_ref();
    format!(
        "half within {}, which is {}; {} in {}, {}{broken}",
        time(it.measured.median),
        between.map_or_else(|| "not known closer".to_owned(), limits),
        match it.measured.count {
            1 => "1 time".to_owned(),
            many => format!("{many} times"),
        },
        counted(it.drills.len()),
        days(it)
    )
}

/// What is proposed in full, then the rest in a line each.
fn text(plan: &Plan, all: &[Measured]) -> String {
    let mut out = String::new();
    for it in all {
        let Verdict::Differs(new) = &it.verdict else {
            continue;
        };
        // Writing to a string cannot fail.
        let _ = writeln!(out, "\n{}", name(plan, &it.figure));
        let _ = writeln!(
            out,
            "  plan      {}, half within {}",
            points(&it.planned),
            clock(it.planned_median)
        );
        let _ = writeln!(out, "  measured  {}", measured(it));
        let _ = writeln!(out, "  proposed  {}", points(new));
    }
    let mut list = |heading: &str, of: fn(&Verdict) -> bool, line: &dyn Fn(&Measured) -> String| {
        let mut found = all.iter().filter(|it| of(&it.verdict)).peekable();
        if found.peek().is_some() {
            let _ = writeln!(out, "\n{heading}");
        }
        for it in found {
            let _ = writeln!(out, "  {}: {}", name(plan, &it.figure), line(it));
        }
    };
    let agrees = |it: &Verdict| matches!(it, Verdict::Agrees(_));
    list("The plan agrees", agrees, &measured);
    let open = |it: &Verdict| *it == Verdict::NotReached;
    list("Too many were broken off to say", open, &measured);
    let heading = format!(
        "Not enough drills yet: {} are needed",
        plan.policy.drills_enough
    );
    let few = |it: &Verdict| *it == Verdict::TooFew;
    list(&heading, few, &|it: &Measured| counted(it.drills.len()));
    out
}

fn beside_text(plan: &Plan, beside: &[(String, Look, Look)]) -> String {
    let mut out = "\nReadiness with the plan as it is, and as proposed\n".to_owned();
    let names = beside.iter().map(|it| place(plan, &it.0));
    let widest = names.map(|it| it.chars().count()).max();
    let widest = widest.unwrap_or(0).clamp(8, 36);
    let side = |look: &Look| {
        let expected = look.standing.expected;
        format!(
            "{:9}  {:>7}  {:>7}  {:>9}",
            word(look.standing.grade),
            time(expected.and_then(|it| it.likely)),
            time(expected.and_then(|it| it.bad_day)),
            expected.map_or("-".to_owned(), |it| in_hundred(it.chance))
        )
    };
    let heads = format!(
        "{:9}  {:>7}  {:>7}  {:>9}",
        "", "likely", "bad day", "by target"
    );
    let _ = writeln!(out, "  {:widest$}  {heads}  |  {heads}", "position");
    for (id, before, after) in beside {
        let _ = writeln!(
            out,
            "  {:widest$}  {}  |  {}",
            place(plan, id),
            side(before),
            side(after)
        );
    }
    out.push_str("  No time in suspension is safe, whatever a plan expects.\n");
    out
}

fn findings(name: &str, edited: &Edited) -> String {
    let lines = edited.findings.iter().map(|it| {
        format!(
            "{name}:{}:{}: {}[{}]: {}\n  = {}\n",
            it.line,
            it.column,
            it.level.word(),
            it.id,
            it.message,
            it.help
        )
    });
    let lines: String = lines.collect();
    match lines.is_empty() {
        true => lines,
        false => format!("\nWhat the check finds where it is changed\n{lines}"),
    }
}

/// What was written and how to review it.
fn what_now(
    options: &Calibrate,
    plan: Option<&Path>,
    written: Option<&Path>,
    chosen: usize,
) -> String {
    match (&options.write_to, written, plan) {
        (_, Some(to), Some(plan)) => format!(
            "\n{to} is written for review; the plan is as it was.\n`groundward plan diff {} {to}` shows every change.\n",
            plan.display(),
            to = to.display()
        ),
        (_, Some(to), None) => format!(
            "\n{} is written for review; the plan that is built in is as it was.\n",
            to.display()
        ),
        (Some(to), None, _) => {
            format!("\nNothing is proposed; {} is not written.\n", to.display())
        }
        (None, None, _) if chosen == 0 => "\nNothing is proposed.\n".to_owned(),
        (None, None, _) => {
            "\nNothing is written; `--write-to FILE` writes the changed plan for review.\n"
                .to_owned()
        }
    }
}

fn row_json(plan: &Plan, it: &Measured) -> Value {
    let figure = match &it.figure {
        Figure::OrderTime => json!("order-time"),
        Figure::Link(id) => json!({ "link": id }),
        Figure::Step {
            position,
            method,
            step,
        } => json!({ "position": position, "method": method, "step": step + 1 }),
    };
    let ms = |it: &ThreePoint| json!([it.short.0, it.likely.0, it.long.0]);
    let verdict = match it.verdict {
        Verdict::TooFew => "too-few",
        Verdict::NotReached => "not-reached",
        Verdict::Agrees(_) => "agrees",
        Verdict::Differs(_) => "differs",
    };
    json!({
        "figure": figure,
        "name": name(plan, &it.figure),
        "planned_ms": ms(&it.planned),
        "planned_median_ms": it.planned_median.0,
        "drills": it.drills,
        "from_ms": it.from_to_ms.0,
        "to_ms": it.from_to_ms.1,
        "measured": summary_json(&it.measured),
        "verdict": verdict,
        "points_ms": it.points().as_ref().map(ms),
    })
}

fn look_json(look: &Look) -> Value {
    let expected = look.standing.expected.map(|it| {
        json!({
            "likely_ms": it.likely.map(|it| it.0),
            "bad_day_ms": it.bad_day.map(|it| it.0),
            "contact_ms": it.contact.map(|it| it.0),
            "chance_ppm": it.chance.0,
        })
    });
    json!({ "grade": look.standing.grade, "expected": expected })
}
