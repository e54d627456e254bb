//! Lists, shows and verifies the record, and makes the store of it anew; `log_review` adds to it, `log_tasks` lists what
//! is to be done.
//!
//! The files are what counts. Where the store can be opened (no other program uses it, and it is whole) a list comes
//! quickly from its index, and what a file lost is filled from its copies and marked.

use super::log_review::{self, Done, NewFinding, NewRemark, NewTask};
use super::log_tasks::{self, Tasks};
use super::proof::{self, BundleOptions, CheckOptions};
use super::{DataFolder, Format, log_import, log_list, say_error};
use crate::history::{Gathered, Handle, History, Listed, records};
use crate::incident::{Event, Record};
use crate::journal::disk::RealDisk;
use crate::journal::is_incident_id;
use crate::journal::listing::Listing;
use crate::journal::lock::DataLock;
use crate::journal::read::Readback;
use crate::review;
use crate::store::probe::Prober;
use crate::words::{Language, clock, seconds};
use clap::Subcommand;
use serde_json::{Value, json};
use std::cell::OnceCell;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What to do with the record.
#[derive(Clone, Debug, Subcommand)]
pub(super) enum LogCommand {
    /// List the incidents, or those that are looked for.
    List(Box<log_list::Options>),
    /// Sum the incidents up beside each other: how many, how long people hung, what changes, what is overdue.
    Trends(Box<log_list::Trends>),
    /// Take over what other tablets recorded; doing it again changes nothing.
    Import(log_import::Options),
    /// Show one incident.
    Show {
        /// Which incident.
        id: String,
        #[command(flatten)]
        data: DataFolder,
        /// How to say it; `json` prints the records as they stand in the file.
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
    /// Check the chain of one incident, or of all, or a bundle.
    Verify {
        /// Which incident, or the file of a bundle; all incidents without one.
        #[arg(value_name = "ID|BUNDLE")]
        id: Option<String>,
        #[command(flatten)]
        check: CheckOptions,
        #[command(flatten)]
        data: DataFolder,
        /// How to say it.
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
    /// Hand an incident out as one signed file that proves itself.
    Bundle(BundleOptions),
    /// Print the public key of this tablet, with which its bundles are checked.
    Key {
        #[command(flatten)]
        data: DataFolder,
        /// How to say it.
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
    /// Add what a reviewer says of an incident that has ended.
    Remark(NewRemark),
    /// Add what a reviewer found.
    Finding(NewFinding),
    /// Add what is to be done, by whom and by when.
    Task(NewTask),
    /// Say that something is done.
    Done(Done),
    /// Say that it is not done after all.
    Reopen(Done),
    /// List what is to be done after drills and rescues, the overdue first.
    Tasks(Tasks),
    /// Make the store of the record anew from its files, after it was damaged.
    Rebuild {
        #[command(flatten)]
        data: DataFolder,
    },
}

pub(super) fn log(command: &LogCommand) -> u8 {
    let (data, outcome) = match command {
        LogCommand::List(options) => (options.data(), log_list::list(options)),
        LogCommand::Trends(options) => (options.data(), log_list::trends(options)),
        LogCommand::Import(options) => return log_import::import(options),
        LogCommand::Show { id, data, format } => (data, show(data, id, *format)),
        LogCommand::Verify {
            id,
            check,
            data,
            format,
        } => match bundle_path(data, id.as_deref(), check) {
            Some(path) => return proof::verify(data, path, check, *format),
            None => (data, verify(data, id.as_deref(), *format)),
        },
        LogCommand::Bundle(options) => return proof::make(options),
        LogCommand::Key { data, format } => return proof::key(data, *format),
        LogCommand::Rebuild { data } => (data, rebuild(data)),
        LogCommand::Remark(options) => return answer(log_review::remark(options)),
        LogCommand::Finding(options) => return answer(log_review::finding(options)),
        LogCommand::Task(options) => return answer(log_review::task(options)),
        LogCommand::Done(options) => return answer(log_review::done(options)),
        LogCommand::Reopen(options) => return answer(log_review::reopen(options)),
        LogCommand::Tasks(options) => return answer(log_tasks::tasks(options)),
    };
    outcome.unwrap_or_else(|error| {
        // A reader that has seen enough, such as a pager, is no fault of the record.
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            return 0;
        }
        say_error(&format!(
            "the record in {} cannot be read: {error}",
            data.folder().display()
        ));
        2
    })
}

/// The file to check, where what is named is no incident of the record but a file.
fn bundle_path<'n>(
    data: &DataFolder,
    named: Option<&'n str>,
    check: &CheckOptions,
) -> Option<&'n Path> {
    let path = Path::new(named?);
    let is_bundle = |path: &&Path| {
        check.ask_of_a_bundle()
            || !is_incident_id(named.unwrap_or_default())
            || (path.is_file()
                && Shelf::open(data)
                    .find(named.unwrap_or_default())
                    .is_ok_and(|it| it.is_none()))
    };
    Some(path).filter(is_bundle)
}

fn answer(outcome: Result<u8, String>) -> u8 {
    outcome.unwrap_or_else(|why| {
        why.lines().for_each(say_error);
        2
    })
}

fn folders(data: &DataFolder) -> Vec<PathBuf> {
    data.journals(&data.folder())
}

/// The record, and the store of it where that can be used just now.
pub(super) struct Shelf {
    folders: Vec<PathBuf>,
    store: Handle,
    /// The files, looked for once.
    files: OnceCell<Listing>,
    /// Held as long as the store is open, so that no tablet begins to write meanwhile.
    _lock: Option<DataLock>,
}

impl Shelf {
    pub(super) fn open(data: &DataFolder) -> Shelf {
        Shelf::open_in(data, &data.folder())
    }

    /// The record that is kept in this folder, such as one below the data folder.
    pub(super) fn open_in(data: &DataFolder, folder: &Path) -> Shelf {
        let store = folder.join("store");
        let mut shelf = Shelf {
            folders: data.journals(folder),
            store: Handle::default(),
            files: OnceCell::new(),
            _lock: None,
        };
        if !store.exists() {
            return shelf;
        }
        // A tablet that runs has the store, and a damaged one is read by nobody: the files say it all.
        if let Ok(lock) = DataLock::take(folder) {
            let history = History::look(&store, &prober()).ok().flatten();
            shelf.store.set(history.map(Arc::new));
            shelf._lock = Some(lock);
        }
        shelf
    }

    /// What is in it, the oldest first.
    pub(super) fn list(&self) -> std::io::Result<Vec<Listed>> {
        self.store.list(&self.folders)
    }

    /// What the drills of a site teach.
    pub(super) fn lessons(&self, site: &str) -> std::io::Result<Gathered> {
        self.store.lessons(&self.folders, site)
    }

    /// One incident; where there is none of this name, that is said.
    fn read(&self, id: &str) -> std::io::Result<Option<Readback>> {
        let found = self.find(id)?;
        if found.is_none() {
            say_error(&format!(
                "there is no incident {id} in this record; `groundward log list` names those there are"
            ));
        }
        Ok(found)
    }

    /// One incident, or none where there is none of this name.
    pub(super) fn find(&self, id: &str) -> std::io::Result<Option<Readback>> {
        let files = self
            .files
            .get_or_init(|| Listing::of(&RealDisk, &self.folders));
        let read = files.read(&RealDisk, id);
        let Some(history) = self.store.get() else {
            return found(read);
        };
        // A whole file that ends as the index says needs no copies, and they may be a million.
        let is_known = |it: &Readback| {
            it.problems.is_empty() && history.head(id).as_deref() == Some(it.head.as_str())
        };
        if read.as_ref().is_ok_and(is_known) || history.open_events(&prober()).is_err() {
            return found(read);
        }
        found(history.read(&self.folders, id))
    }
}

fn found(read: std::io::Result<Readback>) -> std::io::Result<Option<Readback>> {
    match read {
        Ok(readback) => Ok(Some(readback)),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    }
}

pub(super) fn prober() -> Prober {
    Prober::new(std::env::current_exe().ok())
}

fn show(data: &DataFolder, id: &str, format: Format) -> std::io::Result<u8> {
    let Some(readback) = Shelf::open(data).read(id)? else {
        return Ok(2);
    };
    let mut out = std::io::stdout().lock();
    if format == Format::Json {
        for record in &readback.records {
            writeln!(out, "{}", record.text)?;
        }
        return Ok(u8::from(!readback.problems.is_empty()));
    }
    let records: Vec<Record> = records(&readback);
    writeln!(out, "{}", kind(&readback.incident, &records))?;
    for line in review::lines(&records, Language::English) {
        if !line.inner {
            let filled = readback.filled.binary_search(&line.seq).is_ok();
            let mark = if filled { "*" } else { "" };
            writeln!(
                out,
                "{mark:>1}{:>4}  {:>8}  {:<12}  {}",
                line.seq, line.elapsed, line.who, line.text
            )?;
        }
    }
    if let Some(passing) = review::passing(&records) {
        let half = seconds(passing.middle);
        let slowest = seconds(passing.slowest);
        writeln!(
            out,
            "orders said over the radio: {}, half of them within {half}, the slowest after {slowest}; answered: {}",
            passing.said, passing.answered
        )?;
    }
    writeln!(out, "head {}", readback.head)?;
    report(&readback, &mut out)
}

/// Which incident it is, and whether it was a drill, in one line.
pub(super) fn kind(incident: &str, records: &[Record]) -> String {
    let drill = records
        .iter()
        .any(|it| matches!(&it.event, Event::Opened(opening) if opening.drill));
    let real = records
        .iter()
        .find(|it| matches!(it.event, Event::RealCalled { .. }));
    match (drill, real) {
        (false, _) => format!("{incident}  rescue"),
        (true, None) => format!("{incident}  DRILL"),
        (true, Some(it)) => {
            let at = clock(it.elapsed);
            format!("{incident}  DRILL, and a rescue from {at} on")
        }
    }
}

/// Prints notes and problems; the answer is the exit code.
pub(super) fn report(readback: &Readback, out: &mut impl Write) -> std::io::Result<u8> {
    for torn in readback.torn() {
        writeln!(out, "note: {torn}")?;
    }
    for problem in &readback.problems {
        writeln!(out, "ALTERED: {problem}")?;
    }
    if let Some(filled) = readback.filled_in() {
        writeln!(out, "* filled: {filled}")?;
    }
    Ok(u8::from(!readback.problems.is_empty()))
}

fn verify(data: &DataFolder, id: Option<&str>, format: Format) -> std::io::Result<u8> {
    let shelf = Shelf::open(data);
    let ids = match id {
        Some(id) => vec![id.to_owned()],
        None => shelf.list()?.into_iter().map(|it| it.incident).collect(),
    };
    let mut out = std::io::stdout().lock();
    let mut worst = 0;
    let mut rows = Vec::new();
    for id in &ids {
        let Some(readback) = shelf.read(id)? else {
            return Ok(2);
        };
        if format == Format::Json {
            worst = worst.max(u8::from(!readback.problems.is_empty()));
            rows.push(verified(&readback));
            continue;
        }
        let count = readback.records.len();
        let state = if readback.problems.is_empty() {
            "intact"
        } else {
            "ALTERED"
        };
        let drill = if is_drill(&readback) { "DRILL, " } else { "" };
        writeln!(
            out,
            "{id}: {state}, {drill}{count} records, head {}",
            readback.head
        )?;
        worst = worst.max(report(&readback, &mut out)?);
    }
    match format {
        Format::Json => writeln!(out, "{}", Value::from(rows))?,
        Format::Text if ids.is_empty() => {
            writeln!(
                out,
                "No incident is recorded in {}.",
                data.folder().display()
            )?;
        }
        Format::Text => {}
    }
    Ok(worst)
}

/// True where the record says that it is one of a drill.
fn is_drill(readback: &Readback) -> bool {
    let opening = readback.records.iter().find(|it| it.kind == "opened");
    let opening = opening.and_then(|it| Record::from_json(&it.text).ok());
    opening.is_some_and(|it| matches!(it.event, Event::Opened(opening) if opening.drill))
}

fn verified(readback: &Readback) -> Value {
    let problems: Vec<Value> = readback
        .problems
        .iter()
        .map(|p| json!({ "file": p.file, "seq": p.seq, "what": p.what }))
        .collect();
    let notes: Vec<String> = readback.torn().map(ToString::to_string).collect();
    json!({ "incident": readback.incident, "drill": is_drill(readback), "intact": problems.is_empty(), "records": readback.records.len(),
            "head": readback.head, "problems": problems, "notes": notes, "filled": readback.filled })
}

fn rebuild(data: &DataFolder) -> std::io::Result<u8> {
    let (folder, folders) = (data.folder(), folders(data));
    let _lock = match DataLock::take(&folder) {
        Ok(lock) => lock,
        Err(why) => {
            say_error(&why.to_string());
            return Ok(2);
        }
    };
    let (store, prober) = (folder.join("store"), prober());
    let made = History::rebuild(&store, &prober, &folders, |_| true);
    let (history, rebuilt) = match made {
        Ok(made) => made,
        Err(fault) => {
            say_error(&fault.what);
            return Ok(2);
        }
    };
    let mut out = std::io::stdout().lock();
    let records: u64 = rebuilt.incidents.iter().map(|it| it.records).sum();
    writeln!(
        out,
        "generation {} of the store: {} incidents, {records} records",
        history.generation(),
        rebuilt.incidents.len()
    )?;
    let altered: Vec<&Listed> = rebuilt.incidents.iter().filter(|it| !it.intact).collect();
    for it in &altered {
        let filled = match it.filled {
            0 => String::new(),
            filled => format!(", {filled} records filled from copies"),
        };
        writeln!(
            out,
            "ALTERED: {}{filled}; `groundward log verify {}` says where",
            it.incident, it.incident
        )?;
    }
    for (incident, why) in &rebuilt.unreadable {
        writeln!(out, "cannot be read: {incident}: {why}")?;
    }
    Ok(u8::from(
        !altered.is_empty() || !rebuilt.unreadable.is_empty(),
    ))
}
