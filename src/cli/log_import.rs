//! Takes the records of other tablets over into one, as often as somebody likes.
//!
//! A source is the data folder of a tablet, or a folder of journals. All of them are looked for before anything is written.
//! What is new is copied, what went on is continued, what parts from the record here is kept beside it and named; an
//! altered one is refused unless it is asked for. Afterwards the store is brought up to date, so that the list is quick.

use super::log::prober;
use super::{DataFolder, Format, print, say_error};
use crate::history::{Files, History};
use crate::journal::disk::RealDisk;
use crate::journal::import::{Came, Import};
use crate::journal::listing::Listing;
use crate::journal::lock::DataLock;
use crate::journal::read::Readback;
use crate::store::{Cause, StoreFault};
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// What to take over, and where.
#[derive(Clone, Debug, Args)]
pub(super) struct Options {
    /// Data folder of a tablet, or a folder of journals.
    #[arg(required = true, value_name = "FOLDER")]
    sources: Vec<PathBuf>,
    #[command(flatten)]
    data: DataFolder,
    /// Take altered records over as they are, too.
    #[arg(long)]
    even_altered: bool,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// One incident of a source and what became of it.
struct Row {
    incident: String,
    came: Result<Came, String>,
    /// The last record that is here of one that has not ended.
    running: Option<u64>,
}

/// Takes them over; the answer is the exit code.
pub(super) fn import(options: &Options) -> u8 {
    match imported(options) {
        Ok(code) => code,
        Err(why) => {
            say_error(&why);
            2
        }
    }
}

fn imported(options: &Options) -> Result<u8, String> {
    let data = options.data.folder();
    let folders = options.data.journals(&data);
    let found: Vec<(&Path, Listing)> = options
        .sources
        .iter()
        .map(|source| Ok((source.as_path(), look(source, &data)?)))
        .collect::<Result<_, String>>()?;
    let mut locks = Vec::new();
    for folder in options.data.own(&data) {
        locks.push(DataLock::take(folder).map_err(|why| why.to_string())?);
    }
    let mut import = Import::into(&data, &folders, options.even_altered);
    let mut all: Vec<(&Path, Vec<Row>)> = Vec::new();
    for (source, listing) in &found {
        let incidents = listing.incidents().unwrap_or_default().into_iter();
        let rows = incidents.map(|it| row(&mut import, listing, it));
        all.push((source, rows.collect()));
    }
    import.finish().map_err(|error| {
        format!(
            "what was taken over may not be durable in {}: {error}; do it again",
            data.display()
        )
    })?;
    let store = up_to_date(&data.join("store"), &folders);
    let printed = match options.format {
        Format::Text => print(&text(&all)),
        Format::Json => print(&format!("{}\n", as_json(&all))),
    };
    if let Err(fault) = store {
        say_error(&format!(
            "everything was taken over, and lists are slow until `groundward log rebuild` could make the store anew: {}",
            fault.what
        ));
    }
    let is_well = all.iter().flat_map(|it| &it.1).all(Row::is_well);
    Ok(printed.max(u8::from(!is_well)))
}

/// The journals of a source.
fn look(source: &Path, data: &Path) -> Result<Listing, String> {
    let name = source.display();
    if !source.is_dir() {
        return Err(format!(
            "{name} is no folder; give the data folder of a tablet or a folder of journals"
        ));
    }
    let real = |path: &Path| path.canonicalize().ok();
    let own = [data.to_owned(), data.join("journals")];
    if own
        .iter()
        .any(|it| real(it).is_some() && real(it) == real(source))
    {
        return Err(format!(
            "{name} is the record itself; give --data another folder to take it over into"
        ));
    }
    let journals = source.join("journals");
    let folders = match journals.is_dir() {
        true => vec![journals, source.join("journals-fallback")],
        false => vec![source.to_owned()],
    };
    let listing = Listing::of(&RealDisk, &folders);
    let incidents = listing.incidents().map(|it| it.len());
    match incidents {
        Err(error) => Err(format!("{name} cannot be read: {error}")),
        Ok(0) => Err(format!(
            "no incident is in {name}; give the data folder of a tablet or a folder of journals"
        )),
        Ok(_) => Ok(listing),
    }
}

fn row(import: &mut Import, listing: &Listing, incident: &str) -> Row {
    let came = import.take_from(listing, incident);
    // What was here byte for byte was closed, and need not be read again to say so.
    let running = match &came {
        Ok(Came::New { .. } | Came::Grown { .. }) => listing.read(&RealDisk, incident).ok(),
        _ => None,
    };
    Row {
        incident: incident.to_owned(),
        came: came.map_err(|error| error.to_string()),
        running: running.and_then(|it| still_runs(&it)),
    }
}

/// The last record of an incident that was not stood down.
fn still_runs(readback: &Readback) -> Option<u64> {
    let mut records = readback.records.iter();
    let last = records.clone().next_back()?;
    let is_over = records.any(|it| it.kind == "stood-down");
    (!is_over).then_some(last.seq)
}

/// Brings the store up to date with the journals, and makes it where there is none.
fn up_to_date(store: &Path, folders: &[PathBuf]) -> Result<(), StoreFault> {
    let prober = prober();
    let brought = History::open(store, &prober).and_then(|opened| {
        let history = opened.history;
        let files = Files::look(folders)
            .map_err(|error| StoreFault::disk(format!("The journals cannot be read: {error}.")))?;
        let behind = history.behind(&files)?;
        if behind.is_empty() {
            return Ok(());
        }
        history.open_events(&prober)?;
        history.bring_in(&files, folders, behind, &mut |_| true)?;
        history.settle()
    });
    match brought {
        Err(fault) if fault.cause == Cause::Damaged => {
            History::rebuild(store, &prober, folders, |_| true).map(|_| ())
        }
        brought => brought,
    }
}

impl Row {
    fn is_well(&self) -> bool {
        matches!(
            self.came,
            Ok(Came::New { .. } | Came::Grown { .. } | Came::Known | Came::Empty)
        )
    }

    /// What a person reads about it; nothing where there is nothing to say.
    fn said(&self) -> Option<String> {
        let id = &self.incident;
        let kept = |it: &Path| {
            let data = it.display();
            format!("the other is kept: `groundward log show {id} --data {data}`")
        };
        let said = match &self.came {
            Ok(Came::New { .. } | Came::Known) => None,
            Ok(Came::Grown { after, to }) => Some(format!(
                "{id} went on: records {} to {to} were added",
                after.saturating_add(1)
            )),
            Ok(Came::Empty) => Some(format!("{id} has no whole record yet")),
            Ok(Came::Parts { at, beside }) => Some(format!(
                "CONFLICT: {id} parts from the record here at record {at}; nothing here was changed, {}",
                kept(beside)
            )),
            Ok(Came::HereAltered { what, beside }) => Some(format!(
                "ALTERED HERE: {id}: {what}; nothing here was changed, {}",
                kept(beside)
            )),
            Ok(Came::Refused { what }) => Some(format!(
                "ALTERED, not taken over: {id}: {what}; --even-altered takes it over as it is"
            )),
            Ok(Came::Altered { what, beside }) => {
                let beside = beside.as_ref().map(|it| format!("; {}", kept(it)));
                Some(format!(
                    "ALTERED, taken over as it is: {id}: {what}{}",
                    beside.unwrap_or_default()
                ))
            }
            Err(why) => Some(format!("cannot be taken over: {id}: {why}")),
        };
        let running = self.running.map(|seq| {
            format!("{id} was not stood down there: it is here up to record {seq}; take it over again afterwards")
        });
        let both: Vec<String> = said.into_iter().chain(running).collect();
        (!both.is_empty()).then(|| both.join("\n  "))
    }

    fn word(&self) -> &'static str {
        match &self.came {
            Ok(Came::New { .. }) => "new",
            Ok(Came::Grown { .. }) => "went-on",
            Ok(Came::Known) => "known",
            Ok(Came::Empty) => "empty",
            Ok(Came::Parts { .. }) => "conflict",
            Ok(Came::HereAltered { .. }) => "altered-here",
            Ok(Came::Refused { .. }) => "altered-refused",
            Ok(Came::Altered { .. }) => "altered",
            Err(_) => "failed",
        }
    }

    fn json(&self, source: &Path) -> Value {
        let mut row = json!({ "source": source.display().to_string(), "incident": self.incident, "came": self.word() });
        let whats = match &self.came {
            Ok(Came::New { records }) => json!({ "records": records }),
            Ok(Came::Grown { after, to }) => json!({ "after": after, "to": to }),
            Ok(Came::Parts { at, beside }) => {
                json!({ "at": at, "beside": beside.display().to_string() })
            }
            Ok(Came::HereAltered { what, beside }) => {
                json!({ "what": what.to_string(), "beside": beside.display().to_string() })
            }
            Ok(Came::Refused { what }) => json!({ "what": what.to_string() }),
            Ok(Came::Altered { what, beside }) => {
                let beside = beside.as_ref().map(|it| it.display().to_string());
                json!({ "what": what.to_string(), "beside": beside })
            }
            Err(why) => json!({ "what": why }),
            Ok(Came::Known | Came::Empty) => json!({}),
        };
        if let (Value::Object(row), Value::Object(more)) = (&mut row, whats) {
            row.extend(more);
            row.insert("running_up_to".to_owned(), json!(self.running));
        }
        row
    }
}

fn text(all: &[(&Path, Vec<Row>)]) -> String {
    let mut out = String::new();
    for (source, rows) in all {
        let count = |word: &str| rows.iter().filter(|it| it.word() == word).count();
        let (new, grown, known) = (count("new"), count("went-on"), count("known"));
        // Writing to a string cannot fail.
        let _ = write!(
            out,
            "{}: {} incidents: {new} new, {grown} went on, {known} known",
            source.display(),
            rows.len()
        );
        let nothing = rows.iter().all(|it| it.word() == "known");
        out.push_str(if nothing { "; nothing changed\n" } else { "\n" });
        for said in rows.iter().filter_map(Row::said) {
            let _ = writeln!(out, "  {said}");
        }
    }
    out
}

fn as_json(all: &[(&Path, Vec<Row>)]) -> Value {
    let each = all.iter();
    let rows = each.flat_map(|(source, rows)| rows.iter().map(|it| it.json(source)));
    json!({ "format": 1, "incidents": rows.collect::<Vec<_>>() })
}
