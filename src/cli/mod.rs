//! Reads the command line and hands over to the command that was asked for.
//!
//! Exit codes are the same everywhere: 0 all well, 1 something is wrong with what was looked at, 2 it could not be
//! looked at.

mod amend;
mod cards;
pub mod check;
pub mod drawings;
mod drills;
mod drills_calibrate;
mod drills_learn;
mod drills_scenarios;
mod drills_table;
mod drills_tasks;
mod explain;
pub mod fit;
mod log;
mod log_import;
mod log_list;
mod plans;
mod proof;
mod ready;
mod rehearse;
mod run;
pub mod script;

use crate::store::probe;
use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::{Path, PathBuf};

/// Helps a crew bring a suspended worker to the ground.
#[derive(Debug, Parser)]
#[command(name = "groundward", version, about, long_about = None, after_help = CAUTION)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

const CAUTION: &str = "Groundward assists. Training, the local rescue plan, the makers' instructions, local codes and the emergency \
services decide.";

#[derive(Debug, Subcommand)]
enum Command {
    /// Open the tablet's screen.
    Run(run::Options),
    /// Say everything that is wrong with a plan.
    Check {
        #[command(flatten)]
        plan: plans::PlanArgument,
        /// How to say it.
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
    /// Change a plan, or compare two, in the plan's own words.
    #[command(subcommand)]
    Plan(amend::PlanCommand),
    /// Print a rescue card for every position, to hang where the kit is.
    Cards(cards::Options),
    /// Say whether the kit at hand fits at a position, with every figure and where its limit comes from.
    Fit(fit::Options),
    /// Say of every position whether it can be rescued from today, how long it takes, and what would help most.
    Ready(ready::Options),
    /// Say what drills taught and what is due, and play one at a table.
    #[command(subcommand)]
    Drills(drills::DrillsCommand),
    /// List everything that a check can find, or explain one finding.
    Findings {
        /// Which one, e.g. `bare-number`.
        id: Option<String>,
        /// How to say it.
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
    /// Print the JSON Schema of a plan file, or with `--format text` a reference of every key.
    Schema {
        /// How to say it.
        #[arg(long, value_enum, default_value_t = Format::Json)]
        format: Format,
    },
    /// Look at the record.
    #[command(subcommand)]
    Log(log::LogCommand),
    /// Play a scripted incident at full speed and write its journal.
    Rehearse(rehearse::Options),
    /// Open a store and read it through, so that what hangs or breaks on a damaged one is not the tablet.
    #[command(name = probe::COMMAND, hide = true)]
    StoreProbe {
        /// Folder of the store.
        folder: PathBuf,
    },
}

/// The last plan that was fit, kept beside the record.
const LAST_FIT: &str = "last-fit-plan.toml";

/// How a command says what it found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people.
    #[default]
    Text,
    /// For programs.
    Json,
}

/// Where the record is.
#[derive(Clone, Debug, Args)]
pub struct DataFolder {
    /// Folder of the record, the settings and the last plan that was fit; by default `groundward` in the user's data folder.
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Folder of the journals for when the usual one fails, best on another disk; by default one below the data folder.
    #[arg(long, value_name = "DIR")]
    fallback: Option<PathBuf>,
}

impl DataFolder {
    /// The folders of the journals of a record kept in `record`: the usual one and the one for when that fails.
    fn journals(&self, record: &Path) -> Vec<PathBuf> {
        let fallback = self.fallback.clone();
        vec![
            record.join("journals"),
            fallback.unwrap_or_else(|| record.join("journals-fallback")),
        ]
    }

    /// The folders in which no second program may write: that of the record, and another one for its journals. A data folder
    /// that cannot be written to takes no lock, and two programs would then share the other one.
    fn own<'a>(&'a self, record: &'a Path) -> impl Iterator<Item = &'a Path> {
        std::iter::once(record).chain(self.fallback.as_deref())
    }

    /// The folder asked for, or the user's own.
    fn folder(&self) -> PathBuf {
        let named = |name: &str| {
            std::env::var_os(name)
                .filter(|v| !v.is_empty())
                .map(PathBuf::from)
        };
        self.data.clone().unwrap_or_else(|| {
            named("XDG_DATA_HOME")
                .or_else(|| named("HOME").map(|home| home.join(".local").join("share")))
                .unwrap_or_else(std::env::temp_dir)
                .join("groundward")
        })
    }
}

/// Runs the program; the answer is its exit code.
pub fn main() -> u8 {
    let line = match CommandLine::try_parse() {
        Ok(line) => line,
        Err(error) => {
            // clap prints help to standard output and mistakes to standard error.
            let _ = error.print();
            return if error.use_stderr() { 2 } else { 0 };
        }
    };
    match line.command {
        Command::Run(options) => run::run(&options),
        Command::Check { plan, format } => plans::check(&plan, format),
        Command::Plan(command) => amend::amend(&command),
        Command::Cards(options) => cards::cards(&options),
        Command::Fit(options) => fit::run(&options),
        Command::Ready(options) => ready::run(&options),
        Command::Drills(command) => drills::drills(&command),
        Command::Findings { id, format } => explain::findings(id.as_deref(), format),
        Command::Schema { format } => explain::schema(format),
        Command::Log(command) => log::log(&command),
        Command::Rehearse(options) => rehearse::rehearse(&options),
        Command::StoreProbe { folder } => print(&probe::answer(&folder)),
    }
}

/// Prints to standard output; a reader that has seen enough, such as a pager, is no fault.
fn print(text: &str) -> u8 {
    use std::io::{ErrorKind, Write};
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            say_error(&format!("nothing can be printed: {error}"));
            2
        }
        _ => 0,
    }
}

/// Says one sentence to standard error.
fn say_error(sentence: &str) {
    eprintln!("groundward: {sentence}");
}
