//! Writes rescue cards on paper: a page for every position of a plan, or for one, as PDF or HTML.
//!
//! The ending of the file says which. An unfit plan is refused, because paper lives longer than the plan it came from and
//! nobody checks it again. The file takes its place in one step, so that a printer never meets half of it.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use super::{plans, say_error};
use crate::journal::disk;
use crate::plan::{self, Kind, Plan, Position};
use crate::report::cards::{Card, fingerprint};
use crate::report::{Paper, html, pdf};
use crate::words::Language;

/// Most names that are offered for one that is not in the plan.
const NAMES_OFFERED_MAX: usize = 3;

/// What to print.
#[derive(Clone, Debug, Args)]
pub(super) struct Options {
    #[command(flatten)]
    plan: plans::PlanArgument,
    /// Only the card of this position, by its id or its name.
    #[arg(long, value_name = "NAME")]
    position: Option<String>,
    /// Size of the paper.
    #[arg(long, value_enum, default_value_t)]
    paper: PaperName,
    /// Language of the card's own words; what the plan says stays as it is written there.
    #[arg(long, value_enum, default_value_t)]
    language: Spoken,
    /// Cards for drills: each says DRILL at its top and bottom.
    #[arg(long)]
    drill: bool,
    /// File to write: its ending, .pdf or .html, says what it becomes.
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
}

/// A size of paper as it is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(super) enum PaperName {
    /// 210 by 297 mm.
    #[default]
    A4,
    /// 8.5 by 11 in.
    Letter,
}

/// A language as it is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum Spoken {
    /// English.
    #[default]
    En,
    /// Spanish.
    Es,
}

impl From<Spoken> for Language {
    fn from(spoken: Spoken) -> Language {
        match spoken {
            Spoken::En => Language::English,
            Spoken::Es => Language::Spanish,
        }
    }
}

impl From<PaperName> for Paper {
    fn from(name: PaperName) -> Paper {
        match name {
            PaperName::A4 => Paper::A4,
            PaperName::Letter => Paper::Letter,
        }
    }
}

/// What a file becomes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ending {
    Pdf,
    Html,
}

/// Writes the cards and says what was written.
pub(super) fn cards(options: &Options) -> u8 {
    let written = options
        .plan
        .bytes()
        .map_err(|why| (2, why))
        .and_then(|(name, bytes)| write(options, &name, &bytes));
    match written {
        Ok(said) => {
            println!("{said}");
            0
        }
        Err((code, why)) => {
            say_error(&why);
            code
        }
    }
}

fn write(options: &Options, name: &str, bytes: &[u8]) -> Result<String, (u8, String)> {
    let ending = ending(&options.output).map_err(|why| (2, why))?;
    let reading = plan::read(name, bytes);
    let Some(plan) = &reading.plan else {
        let unreadable = [Kind::NotUtf8.id(), Kind::TooLarge.id()];
        let code = if reading
            .findings
            .iter()
            .any(|it| unreadable.contains(&it.id))
        {
            2
        } else {
            1
        };
        let why = format!(
            "{name} is not fit to use, so no cards are made from it; `groundward check` says what is wrong"
        );
        return Err((code, why));
    };
    let positions = chosen(plan, name, options.position.as_deref()).map_err(|why| (2, why))?;
    let fingerprint = fingerprint(bytes);
    let cards: Vec<Card> = positions
        .iter()
        .map(|it| Card::new(plan, it, &fingerprint, options.language.into()))
        .map(|it| if options.drill { it.for_drills() } else { it })
        .collect();
    let paper = options.paper.into();
    let made = match ending {
        Ending::Pdf => pdf::cards(&cards, paper).map_err(|why| (2, why))?,
        Ending::Html => html::cards(&cards, paper),
    };
    let path = options.output.display();
    disk::replace(&options.output, &made)
        .map_err(|error| (2, format!("{path} cannot be written: {error}")))?;

    let missing = if ending == Ending::Pdf {
        pdf::missing(&cards)
    } else {
        Default::default()
    };
    if !missing.is_empty() {
        let letters: Vec<String> = missing.iter().map(char::to_string).collect();
        say_error(&format!(
            "the bundled typeface has no {}; an empty box stands there in the PDF, use an .html file instead",
            letters.join(" ")
        ));
    }
    Ok(summary(options, &positions))
}

fn summary(options: &Options, positions: &[&Position]) -> String {
    let paper = match options.paper {
        PaperName::A4 => "A4",
        PaperName::Letter => "Letter",
    };
    let kind = if options.drill { "DRILL" } else { "rescue" };
    let what = match positions {
        [one] => format!("{kind} card of {}", one.name),
        many => format!("{kind} cards of {} positions", many.len()),
    };
    let stopped: Vec<&str> = positions
        .iter()
        .filter(|it| it.methods.is_empty())
        .map(|it| it.name.as_str())
        .collect();
    let path = options.output.display();
    let mut said = format!("Wrote {path}: {what}, {paper}.");
    if !stopped.is_empty() {
        said.push_str(&format!(
            " No rescue method, so nobody works there: {}.",
            stopped.join("; ")
        ));
    }
    said
}

fn ending(path: &Path) -> Result<Ending, String> {
    let ending = path
        .extension()
        .map(|it| it.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("pdf") => Ok(Ending::Pdf),
        Some("html" | "htm") => Ok(Ending::Html),
        _ => Err(format!(
            "{} has no ending that is known: name a file that ends in .pdf or .html",
            path.display()
        )),
    }
}

/// All positions, or the one of this id or name.
fn chosen<'p>(
    plan: &'p Plan,
    file: &str,
    wanted: Option<&str>,
) -> Result<Vec<&'p Position>, String> {
    let Some(wanted) = wanted else {
        if plan.positions.is_empty() {
            return Err(format!(
                "{file} has no position, so there is no card to write"
            ));
        }
        return Ok(plan.positions.iter().collect());
    };
    let same = |position: &&Position| position.name.to_lowercase() == wanted.trim().to_lowercase();
    if let Some(found) = plan
        .position(wanted)
        .or_else(|| plan.positions.iter().find(same))
    {
        return Ok(vec![found]);
    }
    let mut nearest: Vec<(usize, &Position)> = plan
        .positions
        .iter()
        .map(|it| (likeness(wanted, &it.name).max(likeness(wanted, &it.id)), it))
        .collect();
    // A stable order: those alike keep that of the plan.
    nearest.sort_by_key(|(alike, _)| std::cmp::Reverse(*alike));
    let names = nearest
        .iter()
        .take(NAMES_OFFERED_MAX)
        .map(|(_, it)| format!("`{}` ({})", it.id, it.name));
    let names: Vec<String> = names.collect();
    Err(format!(
        "no position `{wanted}` in {file}; nearest are {}",
        names.join(", ")
    ))
}

/// How alike two names are, in thousandths: the pairs of neighbouring letters that both have.
fn likeness(one: &str, other: &str) -> usize {
    let pairs = |text: &str| {
        let letters: Vec<char> = text.to_lowercase().chars().collect();
        letters
            .windows(2)
            .map(|pair| (pair[0], pair[1]))
            .collect::<Vec<_>>()
    };
    let (one, mut other) = (pairs(one), pairs(other));
    let all = one.len() + other.len();
    let shared = one.iter().filter(|pair| {
        let found = other.iter().position(|it| it == *pair);
        found.map(|at| other.swap_remove(at)).is_some()
    });
    2_000 * shared.count() / all.max(1)
}
