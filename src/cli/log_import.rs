//! Takes the records of other tablets over into one, as often as somebody likes.
//!
//! A source is the data folder of a tablet, a folder of journals or of bundles, or a bundle. All of them are looked for before
//! anything is written. What is new is copied, what went on is continued, what parts from the record here is kept beside it
//! and named; an altered one is refused unless it is asked for. Who signed a bundle is remembered, and a key that is not
//! known here is named. Afterwards the store is brought up to date, so that the list is quick.

use super::log::prober;
use super::{DataFolder, Format, print, say_error};
use crate::history::{Files, History};
use crate::journal::bundle::{BEGINS, Form};
use crate::journal::device::{DeviceKey, KNOWN_FILE, PublicKey, known_keys};
use crate::journal::disk::RealDisk;
use crate::journal::import::{Came, Import, Offered};
use crate::journal::is_incident_id;
use crate::journal::listing::Listing;
use crate::journal::lock::DataLock;
use crate::journal::origins::Origins;
use crate::journal::read::Readback;
use crate::store::{Cause, StoreFault};
use clap::Args;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// What to take over, and where.
#[derive(Clone, Debug, Args)]
pub(super) struct Options {
    /// Data folder of a tablet, a folder of journals or bundles, or a bundle.
    #[arg(required = true, value_name = "FOLDER|BUNDLE")]
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

/// Where records come from.
struct Source<'a> {
    path: &'a Path,
    journals: Listing,
    bundles: Vec<PathBuf>,
}

/// One incident of a source and what became of it.
struct Row {
    incident: String,
    came: Result<Came, String>,
    /// The last record that is here of one that has not ended.
    running: Option<u64>,
    signer: Option<Signer>,
}

/// Who signed a bundle.
struct Signer {
    key: PublicKey,
    /// Whose key that is, where it is known here.
    whose: Option<String>,
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
    let sources = options.sources.iter();
    let sources: Vec<Source<'_>> = sources
        .map(|it| Source::find(it, &data))
        .collect::<Result<_, String>>()?;
    let mut locks = Vec::new();
    for folder in options.data.own(&data) {
        locks.push(DataLock::take(folder).map_err(|why| why.to_string())?);
    }
    let mut taking = Taking {
        import: Import::into(&data, &folders, options.even_altered),
        known: keys(&data),
        origins: BTreeMap::new(),
        data: data.clone(),
    };
    let mut all: Vec<(&Path, Vec<Row>)> = Vec::new();
    for source in &sources {
        let incidents = source.journals.incidents().unwrap_or_default().into_iter();
        let rows = incidents.map(|it| taking.files(&source.journals, it));
        let mut rows: Vec<Row> = rows.collect();
        rows.extend(source.bundles.iter().map(|it| taking.bundle(it)));
        all.push((source.path, rows));
    }
    taking.finish().map_err(|error| {
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

impl<'a> Source<'a> {
    fn find(path: &'a Path, data: &Path) -> Result<Source<'a>, String> {
        let name = path.display();
        let help = "give the data folder of a tablet, a folder of journals or bundles, or a bundle";
        let unreadable = |error| format!("{name} cannot be read: {error}");
        if begins_as_bundle(path) {
            return Ok(Source {
                path,
                journals: Listing::default(),
                bundles: vec![path.to_owned()],
            });
        }
        if !path.is_dir() {
            return Err(format!("{name} is no folder and no bundle; {help}"));
        }
        let real = |path: &Path| path.canonicalize().ok();
        let own = [data.to_owned(), data.join("journals")];
        let is_own = |it: &PathBuf| real(it).is_some() && real(it) == real(path);
        if own.iter().any(is_own) {
            return Err(format!(
                "{name} is the record itself; give --data another folder to take it over into"
            ));
        }
        let journals = path.join("journals");
        let source = match journals.is_dir() {
            true => Source {
                path,
                journals: Listing::of(&RealDisk, &[journals, path.join("journals-fallback")]),
                bundles: Vec::new(),
            },
            false => Source {
                path,
                journals: Listing::of(&RealDisk, &[path.to_owned()]),
                bundles: bundles(path).map_err(unreadable)?,
            },
        };
        let incidents = source.journals.incidents().map_err(unreadable)?;
        if incidents.is_empty() && source.bundles.is_empty() {
            return Err(format!("no incident is in {name}; {help}"));
        }
        Ok(source)
    }
}

/// The bundles in a folder, by name.
fn bundles(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in folder.read_dir()? {
        let path = entry?.path();
        if begins_as_bundle(&path) {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

fn begins_as_bundle(path: &Path) -> bool {
    let mut begins = vec![0; BEGINS.len()];
    let read = File::open(path).and_then(|mut file| file.read_exact(&mut begins));
    read.is_ok() && begins == BEGINS.as_bytes()
}

/// The keys that are known here, with whose they are.
fn keys(data: &Path) -> Vec<(PublicKey, String)> {
    // A key of one's own that cannot be read signs nothing that comes from elsewhere.
    let own = DeviceKey::open(data).ok().flatten();
    let own = own.map(|it| (it.public(), "this tablet".to_owned()));
    let mut known = known_keys(data);
    known.extend(own);
    known
}

/// Takes records over and notes where they came from.
struct Taking {
    import: Import,
    known: Vec<(PublicKey, String)>,
    /// By the data folder of the record, which for a conflict is one beside.
    origins: BTreeMap<PathBuf, Origins>,
    data: PathBuf,
}

impl Taking {
    fn files(&mut self, listing: &Listing, incident: &str) -> Row {
        let came = self.import.take_from(listing, incident);
        // What was here byte for byte was closed, and need not be read again to say so.
        let running = match &came {
            Ok(Came::New { .. } | Came::Grown { .. }) => listing.read(&RealDisk, incident).ok(),
            _ => None,
        };
        Row {
            incident: incident.to_owned(),
            came: came.map_err(|error| error.to_string()),
            running: running.and_then(|it| still_runs(&it)),
            signer: None,
        }
    }

    fn bundle(&mut self, path: &Path) -> Row {
        let file = path.file_name().map(|it| it.to_string_lossy());
        let mut row = Row {
            incident: file.unwrap_or_default().into_owned(),
            came: Ok(Came::Empty),
            running: None,
            signer: None,
        };
        if let Err(why) = self.bundle_into(path, &mut row) {
            row.came = Err(why);
        }
        row
    }

    fn bundle_into(&mut self, path: &Path, row: &mut Row) -> Result<(), String> {
        let checked = super::proof::read(path)?;
        let header = checked.header.as_ref();
        let header = header.ok_or("its header cannot be read")?;
        if header.form == Form::Shared {
            return Err("it is a shared bundle, without the record; ask for the full one".into());
        }
        // The name becomes that of a file.
        if !is_incident_id(&header.incident) {
            return Err("its header names no incident".into());
        }
        let offered = Offered::from_bundle(header, &checked, &row.incident);
        row.incident.clone_from(&header.incident);
        let came = self.import.take(&offered);
        let came = came.map_err(|error| error.to_string())?;
        row.running = match came {
            Came::New { .. } | Came::Grown { .. } => still_runs(&offered.readback),
            _ => None,
        };
        if let Some(key) = header.public_key().filter(|_| checked.signed) {
            let whose = self.known.iter().find(|it| it.0 == key);
            row.signer = Some(Signer {
                key,
                whose: whose.map(|it| it.1.clone()),
            });
            let place = match &came {
                Came::Refused { .. } | Came::Empty => None,
                Came::Parts { beside, .. } | Came::HereAltered { beside, .. } => Some(beside),
                Came::Altered { beside, .. } => Some(beside.as_ref().unwrap_or(&self.data)),
                Came::New { .. } | Came::Grown { .. } | Came::Known => Some(&self.data),
            };
            if let Some(place) = place {
                let origins = match self.origins.get_mut(place) {
                    Some(origins) => origins,
                    None => {
                        let read = Origins::read(place).map_err(|error| error.to_string())?;
                        self.origins.entry(place.clone()).or_insert(read)
                    }
                };
                origins.note(&header.incident, key, header.records, &header.head);
            }
        }
        row.came = Ok(came);
        Ok(())
    }

    fn finish(&mut self) -> io::Result<()> {
        self.import.finish()?;
        for (data, origins) in &mut self.origins {
            origins.keep(data)?;
        }
        Ok(())
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
        let is_known = self.signer.as_ref().is_none_or(|it| it.whose.is_some());
        is_known
            && matches!(
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
        let unknown = self.signer.as_ref().filter(|it| it.whose.is_none());
        let unknown = unknown.map(|it| {
            let (key, fingerprint) = (it.key.hex(), it.key.fingerprint());
            format!("UNKNOWN SIGNER of {id}: key {key}, fingerprint {fingerprint}; once you know whose it is, put it into `{KNOWN_FILE}`")
        });
        let all: Vec<String> = said.into_iter().chain(running).chain(unknown).collect();
        (!all.is_empty()).then(|| all.join("\n  "))
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
            let signer = self.signer.as_ref();
            let signer = signer.map(|it| json!({ "key": it.key.hex(), "whose": it.whose }));
            row.insert("signer".to_owned(), json!(signer));
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
