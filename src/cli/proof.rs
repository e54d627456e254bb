//! Hands incidents out as signed bundles, says which key signs, and checks bundles that came from elsewhere.
//!
//! What is written takes its place in one step and never that of a file that is there, unless that is asked for. A bundle
//! is held against itself, against the keys that are known here and, where the incident is in the record, against that.

use super::log::Shelf;
use super::{DataFolder, Format, say_error};
use crate::clock::Clock;
use crate::history::records;
use crate::incident::{Event, Record};
use crate::journal::bundle::{BYTES_MAX, Form, Header, Source, Standing, bundle};
use crate::journal::checked::{Checked, Verdict, against, check};
use crate::journal::device::{DeviceKey, KNOWN_FILE, PublicKey, known_keys};
use crate::journal::disk::replace;
use crate::journal::read::Readback;
use crate::words::date_and_time;
use clap::Args;
use serde_json::{Value, json};
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// What to hand out.
#[derive(Clone, Debug, Args)]
pub(super) struct BundleOptions {
    /// Which incident.
    id: String,
    /// File to write.
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Write over a file that is there.
    #[arg(long)]
    replace: bool,
    /// Without names and anybody's health; it still proves itself.
    #[arg(long)]
    shared: bool,
    /// Sign a record that was altered, too; the bundle says so.
    #[arg(long)]
    even_altered: bool,
    #[command(flatten)]
    data: DataFolder,
}

/// How to check a bundle.
#[derive(Clone, Debug, Default, Args)]
pub(super) struct CheckOptions {
    /// The public key of whoever should have signed it: 64 hexadecimal digits, or a file with them.
    #[arg(long, value_name = "PUBLIC")]
    pub(super) key: Option<String>,
    /// A full bundle of the same incident, to hold a shared one against.
    #[arg(long, value_name = "FULL")]
    pub(super) against: Option<PathBuf>,
}

impl CheckOptions {
    /// True where something is asked that only a bundle can answer.
    pub(super) fn ask_of_a_bundle(&self) -> bool {
        self.key.is_some() || self.against.is_some()
    }
}

/// Makes the key of the tablet where there is none yet, and says what is wrong with it. On a thread of its own: a rescue
/// waits for neither a disk nor chance.
pub(super) fn prepare_key(folder: &Path) {
    let folder = folder.to_owned();
    let made = move || match DeviceKey::open_or_make(&folder) {
        Ok(_) => {}
        Err(fault) => say_error(&fault.to_string()),
    };
    // Without a thread the key is made by whatever signs first.
    let _ = std::thread::Builder::new()
        .name("key".to_owned())
        .spawn(made);
}

/// Prints the public key; makes one where there is none.
pub(super) fn key(data: &DataFolder, format: Format) -> u8 {
    let key = match DeviceKey::open_or_make(&data.folder()) {
        Ok(key) => key.public(),
        Err(fault) => {
            say_error(&fault.to_string());
            return 2;
        }
    };
    let (hex, fingerprint) = (key.hex(), key.fingerprint());
    super::print(&match format {
        Format::Json => format!(
            "{}\n",
            json!({ "algorithm": "ed25519", "key": hex, "fingerprint": fingerprint })
        ),
        Format::Text => format!(
            "{hex}\nfingerprint: {fingerprint}\n\n\
             This is the public key of this tablet. Keep it where the tablet is not: write the fingerprint into the paper log, or send\n\
             the line above to whoever will check bundles, who puts it into the file `{KNOWN_FILE}` of their data folder. Read the\n\
             fingerprint to each other over a voice you know before you trust a key that was sent.\n"
        ),
    })
}

/// Writes a bundle.
pub(super) fn make(options: &BundleOptions) -> u8 {
    match written(options) {
        Ok(said) => super::print(&said),
        Err((code, why)) => {
            say_error(&why);
            code
        }
    }
}

type Refused = (u8, String);

fn written(options: &BundleOptions) -> Result<String, Refused> {
    let (id, output) = (&options.id, &options.output);
    let folder = options.data.folder();
    let cannot = |why: String| (2, why);
    if output.exists() && !options.replace {
        return Err(cannot(format!(
            "{} is there already and stays as it is; give another name, or --replace",
            output.display()
        )));
    }
    let found = Shelf::open_in(&options.data, &folder).find(id);
    let found = found.map_err(|error| {
        cannot(format!(
            "the record in {} cannot be read: {error}",
            folder.display()
        ))
    })?;
    let found = found.ok_or_else(|| {
        cannot(format!(
            "there is no incident {id} in this record; `groundward log list` names those there are"
        ))
    })?;
    let is_altered = !found.problems.is_empty();
    if is_altered && !options.even_altered {
        let why = format!(
            "{id} was altered, so it is not signed; `groundward log verify {id}` says where, and --even-altered signs what is there and says so in it"
        );
        return Err((1, why));
    }
    let key = DeviceKey::open_or_make(&folder).map_err(|fault| cannot(fault.to_string()))?;
    let lines: Vec<&str> = found.records.iter().map(|it| it.text.as_str()).collect();
    let source = Source {
        incident: id,
        lines: &lines,
        standing: match is_altered {
            true => Standing::Altered,
            false => Standing::Intact,
        },
        program: env!("CARGO_PKG_VERSION"),
        made_ms: Clock::new().read().wall_ms,
    };
    let form = match options.shared {
        true => Form::Shared,
        false => Form::Full,
    };
    let made = bundle(&source, form, &key);
    let made = made.map_err(|why| cannot(format!("{id} cannot be made into a bundle: {why}")))?;
    replace(output, &made)
        .map_err(|error| cannot(format!("{} cannot be written: {error}", output.display())))?;
    Ok(summary(&found, output, form, key.public()))
}

fn summary(found: &Readback, output: &Path, form: Form, key: PublicKey) -> String {
    let (path, count) = (output.display(), found.records.len());
    let records: Vec<Record> = records(found);
    let of = super::log::kind(&found.incident, &records);
    let kept_back = match form {
        Form::Full => "",
        Form::Shared => {
            "Names and health are not in it. Times, places and the number of people are; local law decides who may see it.\n"
        }
    };
    let ended = |it: &Record| matches!(it.event, Event::StoodDown {});
    let end = match records.iter().any(ended) {
        true => "",
        false => "It is not stood down yet: a later bundle has what comes.\n",
    };
    format!(
        "{path}: {of}, {count} records, head {}\n{kept_back}{end}signed by this tablet, key {}, fingerprint {}\n",
        found.head,
        key.hex(),
        key.fingerprint()
    )
}

/// Who signed a bundle.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Signer {
    Own,
    Given,
    Known(String),
    Unknown,
    /// The key given is another.
    Other,
}

impl Signer {
    fn is_known(&self) -> bool {
        !matches!(self, Signer::Unknown | Signer::Other)
    }

    fn id(&self) -> &'static str {
        match self {
            Signer::Own => "this-tablet",
            Signer::Given => "given",
            Signer::Known(_) => "known",
            Signer::Unknown => "unknown",
            Signer::Other => "other-than-given",
        }
    }
}

/// How a bundle stands to the record that is here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Here {
    /// The incident is not in this record.
    Absent,
    /// The bundle's last record is on its chain.
    Same,
    /// It is not: one of the two was written anew.
    Another,
}

/// Checks a bundle; the answer is the exit code.
pub(super) fn verify(data: &DataFolder, path: &Path, options: &CheckOptions, format: Format) -> u8 {
    match verified(data, path, options, format) {
        Ok((said, code)) => super::print(&said).max(code),
        Err(why) => {
            say_error(&why);
            2
        }
    }
}

fn verified(
    data: &DataFolder,
    path: &Path,
    options: &CheckOptions,
    format: Format,
) -> Result<(String, u8), String> {
    let checked = read(path)?;
    let mut faults: Vec<String> = checked.faults.iter().map(ToString::to_string).collect();
    let mut verdict = checked.verdict;
    if let Some(full) = &options.against {
        let other = read(full)?;
        let fault = match other.verdict {
            Verdict::Intact if verdict == Verdict::Intact => against(&checked, &other),
            Verdict::Intact => None,
            _ => {
                return Err(format!(
                    "{} does not hold by itself, so nothing is held against it; check it first",
                    full.display()
                ));
            }
        };
        if let Some(fault) = fault {
            faults.push(format!("against {}: {fault}", full.display()));
            verdict = Verdict::Altered;
        }
    }
    let signer = signer(data, &checked, options.key.as_deref())?;
    let here = here(data, &checked);
    let is_well = verdict == Verdict::Intact
        && signer.as_ref().is_some_and(Signer::is_known)
        && here != Here::Another;
    let found = Found {
        path,
        checked: &checked,
        verdict,
        faults,
        signer,
        here,
        against: options.against.as_deref(),
    };
    let said = match format {
        Format::Json => format!("{}\n", found.json()),
        Format::Text => found.text(),
    };
    Ok((said, u8::from(!is_well)))
}

/// Reads a bundle and checks it by itself.
pub(super) fn read(path: &Path) -> Result<Checked, String> {
    let shown = path.display();
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(BYTES_MAX + 1).read_to_end(&mut bytes))
        .map_err(|error| format!("{shown} cannot be read: {error}"))?;
    if u64::try_from(bytes.len()).is_ok_and(|it| it > BYTES_MAX) {
        return Err(format!(
            "{shown} is larger than {} MiB, and no bundle is",
            BYTES_MAX / 1024 / 1024
        ));
    }
    check(&bytes).ok_or_else(|| {
        format!("{shown} is no bundle; `groundward log bundle ID -o FILE` makes one")
    })
}

/// Who signed it; nobody where the signature does not hold.
fn signer(
    data: &DataFolder,
    checked: &Checked,
    given: Option<&str>,
) -> Result<Option<Signer>, String> {
    let given = given.map(given_key).transpose()?;
    let key = checked.header.as_ref().and_then(Header::public_key);
    let Some(key) = key.filter(|_| checked.signed) else {
        return Ok(None);
    };
    let folder = data.folder();
    Ok(Some(match given {
        Some(given) if given == key => Signer::Given,
        Some(_) => Signer::Other,
        None => {
            // A key that cannot be read is nobody's here, and checking needs none.
            let own = DeviceKey::open(&folder).ok().flatten();
            let known = known_keys(&folder).into_iter().find(|it| it.0 == key);
            match (own, known) {
                (Some(own), _) if own.public() == key => Signer::Own,
                (_, Some((_, whose))) => Signer::Known(whose),
                _ => Signer::Unknown,
            }
        }
    }))
}

fn given_key(given: &str) -> Result<PublicKey, String> {
    if let Some(key) = PublicKey::from_hex(given) {
        return Ok(key);
    }
    let mut text = String::new();
    let read = File::open(given).and_then(|file| file.take(4_096).read_to_string(&mut text));
    read.map_err(|error| {
        format!("{given} is neither 64 hexadecimal digits in small letters nor a file that can be read: {error}")
    })?;
    let first = text.split_whitespace().next().unwrap_or_default();
    PublicKey::from_hex(first).ok_or_else(|| {
        format!("{given} does not begin with a key of 64 hexadecimal digits in small letters")
    })
}

fn here(data: &DataFolder, checked: &Checked) -> Here {
    let Some(header) = &checked.header else {
        return Here::Absent;
    };
    let shelf = Shelf::open_in(data, &data.folder());
    match shelf.find(&header.incident) {
        Ok(Some(found)) => match found.records.iter().any(|it| it.sha == header.head) {
            true => Here::Same,
            false => Here::Another,
        },
        _ => Here::Absent,
    }
}

struct Found<'f> {
    path: &'f Path,
    checked: &'f Checked,
    verdict: Verdict,
    faults: Vec<String>,
    signer: Option<Signer>,
    here: Here,
    against: Option<&'f Path>,
}

impl Found<'_> {
    fn text(&self) -> String {
        let state = match self.verdict {
            Verdict::Intact => "intact",
            Verdict::Altered => "ALTERED",
            Verdict::Cut => "CUT",
        };
        let mut out = format!("{}: {state}", self.path.display());
        if let Some(header) = &self.checked.header {
            let (form, kept_back) = match header.form {
                Form::Full => ("full bundle", ""),
                Form::Shared => ("shared bundle", ", without names and health"),
            };
            let drill = if header.drill { "DRILL" } else { "rescue" };
            out.push_str(&format!(
                ", {form} of {}, {drill}{kept_back}, {} records, head {}, made {} UTC by the tablet's clock",
                header.incident,
                self.checked.whole,
                header.head,
                date_and_time(header.made_ms, 0)
            ));
        }
        out.push('\n');
        let state = match self.verdict {
            Verdict::Cut => "CUT",
            _ => "ALTERED",
        };
        for fault in &self.faults {
            out.push_str(&format!("{state}: {fault}\n"));
        }
        out.push_str(&self.signed());
        if let (Some(full), Verdict::Intact) = (self.against, self.verdict) {
            out.push_str(&format!("tells the same record as {}\n", full.display()));
        }
        out.push_str(match self.here {
            Here::Absent => "",
            Here::Same => "its last record stands in the journal here\n",
            Here::Another => {
                "ANOTHER RECORD: the journal of this incident here does not have the bundle's last record, so one of the two was written anew\n"
            }
        });
        out
    }

    fn signed(&self) -> String {
        let key = self.checked.header.as_ref().and_then(Header::public_key);
        let key = key.map_or_else(String::new, |it| {
            format!("{}, fingerprint {}", it.hex(), it.fingerprint())
        });
        match &self.signer {
            None => "NOT SIGNED: no signature that holds\n".to_owned(),
            Some(Signer::Own) => format!("signed by this tablet, key {key}\n"),
            Some(Signer::Given) => format!("signed by the key given, {key}\n"),
            Some(Signer::Known(whose)) if whose.is_empty() => {
                format!("signed by a known key, {key}\n")
            }
            Some(Signer::Known(whose)) => format!("signed by {whose}, known key {key}\n"),
            Some(Signer::Unknown) => format!(
                "UNKNOWN SIGNER: key {key}; ask for the fingerprint by another way, then give --key, or put it into `{KNOWN_FILE}`\n"
            ),
            Some(Signer::Other) => {
                format!("UNKNOWN SIGNER: not the key given, but {key}\n")
            }
        }
    }

    fn json(&self) -> Value {
        let state = match self.verdict {
            Verdict::Intact => "intact",
            Verdict::Altered => "altered",
            Verdict::Cut => "cut",
        };
        let here = match self.here {
            Here::Absent => "not-here",
            Here::Same => "same",
            Here::Another => "another",
        };
        let faults = self.checked.faults.iter();
        let faults: Vec<Value> = faults
            .map(|it| json!({ "line": it.line, "seq": it.seq, "what": it.what }))
            .collect();
        let known = match &self.signer {
            Some(Signer::Known(whose)) => Some(whose),
            _ => None,
        };
        json!({
            "bundle": self.path.display().to_string(), "state": state, "header": self.checked.header,
            "records": self.checked.whole, "problems": faults, "said": self.faults,
            "signer": self.signer.as_ref().map(Signer::id), "known_as": known, "journal": here,
        })
    }
}
