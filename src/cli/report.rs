//! Writes the report of one incident to a file: for people to read and print, for programs, or for help from outside.
//!
//! It is made from the record alone and changes nothing in it. A record that was altered is reported all the same, and the
//! report says so: nobody is helped by a silence.

use super::cards::PaperName;
use super::log::Shelf;
use super::ready::language;
use super::{DataFolder, say_error};
use crate::clock::{Clock, offset_min_at};
use crate::history::records;
use crate::incident::{Event, Record};
use crate::journal::disk;
use crate::journal::read::Readback;
use crate::plan;
use crate::report::activity::ActivityLog;
use crate::report::document::Document;
use crate::report::incident::IncidentReport;
use crate::report::record_table::csv;
use crate::report::reminders::Reminders;
use crate::report::{document_html, document_pdf};
use crate::review;
use crate::words::{Language, date_and_time};
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Which report to write.
#[derive(Clone, Debug, Args)]
pub(super) struct Options {
    /// Which incident; `groundward log list` names them.
    id: String,
    #[command(flatten)]
    data: DataFolder,
    /// What to write.
    #[arg(long = "as", value_enum)]
    form: Form,
    /// File to write.
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Write over a file that is there.
    #[arg(long)]
    replace: bool,
    /// Language; that of the screen in the incident where none is named.
    #[arg(long, value_name = "LANGUAGE", value_parser = language)]
    language: Option<Language>,
    /// Size of the paper.
    #[arg(long, value_enum, default_value_t)]
    paper: PaperName,
    /// Without names and without anybody's health, for people outside.
    #[arg(long)]
    shared: bool,
    /// Who prepares it, for the activity log.
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
}

/// What a report is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Form {
    /// For a browser: one file that asks for nothing.
    Html,
    /// For paper.
    Pdf,
    /// A table of the record: RFC 4180, one row a record.
    Csv,
    /// The sealed lines of the record, byte for byte: JSON Lines.
    Jsonl,
    /// An activity log in the parts of form ICS 214, as text.
    Activity,
}

/// Writes the report and says what was written; the answer is the exit code.
pub(super) fn report(options: &Options) -> u8 {
    match write(options) {
        Ok(code) => code,
        Err(why) => {
            say_error(&why);
            2
        }
    }
}

fn write(options: &Options) -> Result<u8, String> {
    let path = options.output.display();
    if options.output.exists() && !options.replace {
        return Err(format!(
            "{path} is there already; name another file, or add --replace to write over it"
        ));
    }
    if options.shared && options.form == Form::Jsonl {
        return Err(
            "the sealed lines hold names and cannot go without them; `groundward log bundle --shared` makes a form that can be checked"
                .to_owned(),
        );
    }
    let folder = options.data.folder();
    let shelf = Shelf::open_in(&options.data, &folder);
    let found = shelf.find(&options.id).map_err(|error| {
        let folder = folder.display();
        format!("the record in {folder} cannot be read: {error}")
    })?;
    let Some(readback) = found else {
        return Err(format!(
            "there is no incident {} in this record; `groundward log list` names those there are",
            options.id
        ));
    };
    let subject = Subject::of(options, &readback);
    let bytes = subject.bytes()?;
    disk::replace(&options.output, &bytes)
        .map_err(|error| format!("{path} cannot be written: {error}"))?;
    let count = readback.records.len();
    println!("Wrote {path}: {count} records, head {}.", readback.head);
    for problem in &readback.problems {
        say_error(&format!("ALTERED: {problem}"));
    }
    Ok(u8::from(!readback.problems.is_empty()))
}

/// What is reported.
struct Subject<'a> {
    options: &'a Options,
    readback: &'a Readback,
    records: Vec<Record>,
    language: Language,
}

impl<'a> Subject<'a> {
    fn of(options: &'a Options, readback: &'a Readback) -> Subject<'a> {
        let mut records = records(readback);
        if options.shared {
            records = review::shared(&records);
        }
        let spoken = records.iter().find_map(|it| match &it.event {
            Event::Opened(opening) => Some(opening.language),
            _ => None,
        });
        Subject {
            options,
            readback,
            language: options.language.or(spoken).unwrap_or_default(),
            records,
        }
    }

    fn bytes(&self) -> Result<Vec<u8>, String> {
        Ok(match self.options.form {
            Form::Html => document_html::html(&self.document()),
            Form::Pdf => self.pdf()?,
            Form::Csv => csv(&self.records, &self.hashes(), self.language),
            Form::Jsonl => self.sealed(),
            Form::Activity => self.activity(),
        })
    }

    fn document(&self) -> Document {
        let problems: Vec<String> = self
            .readback
            .problems
            .iter()
            .map(ToString::to_string)
            .collect();
        let plan = self.records.iter().find_map(|it| match &it.event {
            Event::Opened(opening) => plan::read(&opening.plan_name, opening.plan.as_bytes()).plan,
            _ => None,
        });
        let reminders = Reminders::of(&self.records, plan.as_ref(), &offset_min_at);
        IncidentReport {
            incident: &self.readback.incident,
            records: &self.records,
            count: self.readback.records.len(),
            head: &self.readback.head,
            problems: &problems,
            filled: &self.readback.filled,
            reminders: reminders.as_ref(),
            language: self.language,
            shared: self.options.shared,
            program: concat!("Groundward ", env!("CARGO_PKG_VERSION")),
            made_at: &made_at(),
        }
        .document()
    }

    /// The pages; letters that the bundled face lacks are named, as an empty box stands in their place.
    fn pdf(&self) -> Result<Vec<u8>, String> {
        let document = self.document();
        let missing = document_pdf::missing(&document);
        if !missing.is_empty() {
            let letters: Vec<String> = missing.iter().map(char::to_string).collect();
            say_error(&format!(
                "the bundled typeface has no {}; an empty box stands there in the PDF, use --as html instead",
                letters.join(" ")
            ));
        }
        document_pdf::pdf(&document, self.options.paper.into())
    }

    /// The hashes of the records that this program can read, in their order.
    fn hashes(&self) -> Vec<String> {
        let all = &self.readback.records;
        let mut hashes = Vec::with_capacity(self.records.len());
        for record in &self.records {
            let found = all.binary_search_by_key(&record.seq, |it| it.seq);
            hashes.push(found.map_or_else(|_| String::new(), |at| all[at].sha.clone()));
        }
        hashes
    }

    fn sealed(&self) -> Vec<u8> {
        let lines = self.readback.records.iter();
        let lines: Vec<String> = lines.map(|it| format!("{}\n", it.text)).collect();
        lines.concat().into_bytes()
    }

    fn activity(&self) -> Vec<u8> {
        let log = ActivityLog {
            records: &self.records,
            by: self.options.by.as_deref(),
            made_at: &made_at(),
            language: self.language,
        };
        log.text().into_bytes()
    }
}

/// When a report is made, by the clock of the desk.
fn made_at() -> String {
    let now = Clock::new().read();
    date_and_time(now.wall_ms, offset_min_at(now.wall_ms))
}
