//! Lists, shows and verifies the record, from its files alone.

use super::{DataFolder, Format, say_error};
use crate::compute::{entry, records};
use crate::incident::Record;
use crate::journal::disk::RealDisk;
use crate::journal::read::{self, Readback};
use crate::review;
use crate::words::{Language, seconds};
use clap::Subcommand;
use serde_json::{Value, json};
use std::io::Write;
use std::path::PathBuf;

/// What to do with the record.
#[derive(Clone, Debug, Subcommand)]
pub(super) enum LogCommand {
    /// List the incidents, oldest first.
    List {
        #[command(flatten)]
        data: DataFolder,
        /// How to say it.
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
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
    /// Check the chain of one incident, or of all.
    Verify {
        /// Which incident; all without one.
        id: Option<String>,
        #[command(flatten)]
        data: DataFolder,
        /// How to say it.
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
}

pub(super) fn log(command: &LogCommand) -> u8 {
    let (data, outcome) = match command {
        LogCommand::List { data, format } => (data, list(data, *format)),
        LogCommand::Show { id, data, format } => (data, show(data, id, *format)),
        LogCommand::Verify { id, data, format } => (data, verify(data, id.as_deref(), *format)),
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

fn folders(data: &DataFolder) -> Vec<PathBuf> {
    data.journals(&data.folder())
}

/// The incidents, none where nothing was ever recorded.
fn incidents(folders: &[PathBuf]) -> std::io::Result<Vec<String>> {
    if folders.iter().any(|f| f.exists()) {
        read::list(&RealDisk, folders)
    } else {
        Ok(Vec::new())
    }
}

fn readback(folders: &[PathBuf], id: &str) -> std::io::Result<Option<Readback>> {
    match read::read(&RealDisk, folders, id) {
        Ok(readback) => Ok(Some(readback)),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            say_error(&format!(
                "there is no incident {id} in this record; `groundward log list` names those there are"
            ));
            Ok(None)
        }
        Err(error) => Err(error),
    }
}

fn list(data: &DataFolder, format: Format) -> std::io::Result<u8> {
    let folders = folders(data);
    let mut out = std::io::stdout().lock();
    let mut rows = Vec::new();
    for id in incidents(&folders)? {
        let readback = read::read(&RealDisk, &folders, &id)?;
        rows.push((entry(&readback, Language::English), readback.records.len()));
    }
    if format == Format::Json {
        let rows: Vec<Value> = rows
            .into_iter()
            .map(|(e, records)| {
                json!({ "incident": e.incident, "when": e.when, "place": e.place, "drill": e.drill, "closed": e.closed,
                        "hung": e.hung, "intact": e.intact, "records": records })
            })
            .collect();
        writeln!(out, "{}", Value::from(rows))?;
        return Ok(0);
    }
    if rows.is_empty() {
        writeln!(
            out,
            "No incident is recorded in {}.",
            data.folder().display()
        )?;
    }
    for (e, records) in rows {
        let kind = if e.drill { "drill" } else { "rescue" };
        let end = if e.closed {
            "stood down"
        } else {
            "not stood down"
        };
        let hung = e.hung.map_or_else(String::new, |h| format!(", hung {h}"));
        let whole = if e.intact { "intact" } else { "ALTERED" };
        writeln!(
            out,
            "{}  {}  {kind}  {}  {records} records, {end}{hung}, {whole}",
            e.incident, e.when, e.place
        )?;
    }
    Ok(0)
}

fn show(data: &DataFolder, id: &str, format: Format) -> std::io::Result<u8> {
    let Some(readback) = readback(&folders(data), id)? else {
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
    for line in review::lines(&records, Language::English) {
        if !line.inner {
            writeln!(
                out,
                "{:>5}  {:>8}  {:<12}  {}",
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

/// Prints notes and problems; the answer is the exit code.
fn report(readback: &Readback, out: &mut impl Write) -> std::io::Result<u8> {
    for torn in readback.torn() {
        writeln!(out, "note: {torn}")?;
    }
    for problem in &readback.problems {
        writeln!(out, "ALTERED: {problem}")?;
    }
    Ok(u8::from(!readback.problems.is_empty()))
}

fn verify(data: &DataFolder, id: Option<&str>, format: Format) -> std::io::Result<u8> {
    let folders = folders(data);
    let ids = match id {
        Some(id) => vec![id.to_owned()],
        None => incidents(&folders)?,
    };
    let mut out = std::io::stdout().lock();
    let mut worst = 0;
    let mut rows = Vec::new();
    for id in &ids {
        let Some(readback) = readback(&folders, id)? else {
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
        writeln!(
            out,
            "{id}: {state}, {count} records, head {}",
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

fn verified(readback: &Readback) -> Value {
    let problems: Vec<Value> = readback
        .problems
        .iter()
        .map(|p| json!({ "file": p.file, "seq": p.seq, "what": p.what }))
        .collect();
    let notes: Vec<String> = readback.torn().map(ToString::to_string).collect();
    json!({ "incident": readback.incident, "intact": problems.is_empty(), "records": readback.records.len(),
            "head": readback.head, "problems": problems, "notes": notes })
}
