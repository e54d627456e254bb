//! Changes a plan file from the command line, and says what is different between two of them.
//!
//! Only the bytes that are meant change; what an edit did is said in the plan's own words, with the findings it brought.
//! The new file is written beside the old one and takes its place in one step, so that a crash leaves one of the two.
//! Exit codes of an edit: 0 done, 1 refused, 2 could not be read or written; of `diff`: 0 both mean the same, 1 they
//! differ, 2 could not be read.

use std::fs::{self, File, OpenOptions};
use std::io::{Read, Write};
use std::os::unix::fs::{MetadataExt, OpenOptionsExt, fchown};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use serde_json::{Value, json};

use super::{Format, say_error};
use crate::clock::Clock;
use crate::plan::{self, Edit, Edited, Finding, Refusal};

/// What to do with a plan file.
#[derive(Debug, Subcommand)]
pub(super) enum PlanCommand {
    /// Give a key another value, e.g. `station.a.kit.lift-1.wind_max "12 m/s"`.
    Set {
        #[command(flatten)]
        file: PlanFile,
        /// Dotted path, as findings name it; items of lists are counted from 1.
        path: String,
        /// The new value; texts and quantities need no quotes of their own.
        #[arg(allow_hyphen_values = true)]
        value: String,
    },
    /// Add a table, or an item to a list.
    Add {
        #[command(flatten)]
        file: PlanFile,
        /// Dotted path of what is new; the path of a list adds at its end.
        path: String,
        /// `key=value` for each key of a table, or the one value of a list.
        #[arg(allow_hyphen_values = true)]
        values: Vec<String>,
    },
    /// Remove keys, tables with everything in them, or items of lists.
    Remove {
        #[command(flatten)]
        file: PlanFile,
        /// Dotted paths, all as they are before anything is removed.
        #[arg(required = true)]
        paths: Vec<String>,
    },
    /// Give something another id, wherever it is named.
    Rename {
        #[command(flatten)]
        file: PlanFile,
        /// Dotted path of it.
        path: String,
        /// The new id.
        to: String,
    },
    /// Say why a piece of kit must not be used.
    OutOfService {
        #[command(flatten)]
        file: PlanFile,
        /// Dotted path of the piece, e.g. `station.a.kit.lift-1`.
        path: String,
        /// Why, e.g. "rope cut, sent away".
        why: String,
    },
    /// Say that a piece of kit may be used again.
    InService {
        #[command(flatten)]
        file: PlanFile,
        /// Dotted path of the piece.
        path: String,
    },
    /// Say what is different between two plans.
    Diff {
        /// The plan as it was.
        #[arg(value_name = "OLD")]
        was: PathBuf,
        /// The plan as it is.
        #[arg(value_name = "NEW")]
        now: PathBuf,
        /// How to say it.
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
}

/// Which file is changed, and how.
#[derive(Clone, Debug, Args)]
pub(super) struct PlanFile {
    /// Plan file.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Say what would change, and write nothing.
    #[arg(long)]
    dry_run: bool,
    /// How to say it.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Does what was asked; the answer is the exit code.
pub(super) fn amend(command: &PlanCommand) -> u8 {
    let one = |edit: Edit| Ok(vec![edit]);
    let (file, edits) = match command {
        PlanCommand::Set { file, path, value } => (file, one(Edit::set(path, value))),
        PlanCommand::Add { file, path, values } => {
            (file, Edit::add(path, values).map(|edit| vec![edit]))
        }
        PlanCommand::Remove { file, paths } => (file, Ok(from_the_end(paths))),
        PlanCommand::Rename { file, path, to } => {
            let (path, to) = (path.clone(), to.clone());
            (file, one(Edit::Rename { path, to }))
        }
        PlanCommand::OutOfService { file, path, why } => {
            let (path, why) = (path.clone(), why.clone());
            (file, one(Edit::OutOfService { path, why }))
        }
        PlanCommand::InService { file, path } => {
            (file, one(Edit::InService { path: path.clone() }))
        }
        PlanCommand::Diff { was, now, format } => return diff(was, now, *format),
    };
    match change(file, edits) {
        Ok(verdict) => verdict,
        Err(why) => {
            say_error(&why);
            2
        }
    }
}

/// Removals in an order in which none of them renumbers what the next one names.
fn from_the_end(paths: &[String]) -> Vec<Edit> {
    let parts = |path: &String| -> Vec<(usize, String)> {
        let parts = path
            .split('.')
            .map(|part| (part.parse().unwrap_or(0), part.to_owned()));
        parts.collect()
    };
    let mut paths = paths.to_vec();
    paths.sort_by_key(|path| std::cmp::Reverse(parts(path)));
    paths.dedup();
    paths
        .into_iter()
        .map(|path| Edit::Remove { path })
        .collect()
}

/// Edits the file; the error is a sentence why it could not be read or written.
fn change(file: &PlanFile, edits: Result<Vec<Edit>, Refusal>) -> Result<u8, String> {
    let text = text_of(&file.file)?;
    let name = name_of(&file.file);
    let today = Clock::new().read().day();
    let edited = match edits.and_then(|edits| plan::edit_on(&name, &text, &edits, today)) {
        Ok(edited) => edited,
        Err(refusal) => {
            if file.format == Format::Json {
                say(
                    &json!({ "file": name, "written": false, "refused": refusal.to_string() })
                        .to_string(),
                );
            }
            say_error(&format!("{name} is not changed: {refusal}"));
            return Ok(if matches!(refusal, Refusal::Unreadable { .. }) {
                2
            } else {
                1
            });
        }
    };
    let written = edited.text != text && !file.dry_run;
    if written {
        save(&file.file, &text, &edited.text)
            .map_err(|why| format!("{} cannot be written: {why}", file.file.display()))?;
    }
    match file.format {
        Format::Text => say(&in_words(&name, &text, &edited, file.dry_run)),
        Format::Json => {
            let findings: Vec<Value> = edited.findings.iter().map(finding).collect();
            let changes = plan::in_json(&edited.changes);
            let comments = &edited.comments;
            let all = json!({ "file": name, "written": written, "changes": changes, "comments": comments, "findings": findings });
            say(&all.to_string());
        }
    }
    Ok(0)
}

fn in_words(name: &str, before: &str, edited: &Edited, dry_run: bool) -> String {
    let mut said = plan::in_words(&edited.changes);
    for comment in &edited.comments {
        let shown = if comment.contains(char::is_control) {
            comment.escape_debug().to_string()
        } else {
            comment.clone()
        };
        said.push_str(&format!("Removed with it: {shown}\n"));
    }
    for Finding {
        id,
        level,
        message,
        help,
        line,
        column,
        ..
    } in &edited.findings
    {
        said.push_str(&format!(
            "{name}:{line}:{column}: {}[{id}]: {message}\n  = {help}\n",
            level.word()
        ));
    }
    let verdict = match (edited.text == before, dry_run) {
        (true, _) => "says that already; nothing was written",
        (false, true) => "would be changed; nothing was written",
        (false, false) => "is changed",
    };
    said + &format!("{name} {verdict}.")
}

fn finding(finding: &Finding) -> Value {
    json!({
        "id": finding.id,
        "level": finding.level.word(),
        "line": finding.line,
        "column": finding.column,
        "place": finding.place,
        "message": finding.message,
        "help": finding.help,
    })
}

fn diff(was: &Path, now: &Path, format: Format) -> u8 {
    let read = || Ok::<_, String>((text_of(was)?, text_of(now)?));
    let changes =
        read().and_then(|(was, now)| plan::diff(&was, &now).map_err(|unread| unread.to_string()));
    match changes {
        Ok(changes) => {
            match format {
                Format::Text if changes.is_empty() => say("Both plans mean the same."),
                Format::Text => say(plan::in_words(&changes).trim_end()),
                Format::Json => {
                    let all =
                        json!({ "same": changes.is_empty(), "changes": plan::in_json(&changes) });
                    say(&all.to_string());
                }
            }
            u8::from(!changes.is_empty())
        }
        Err(why) => {
            say_error(&why);
            2
        }
    }
}

/// Says something to standard output; a reader that has seen enough, such as a pager, is no fault.
fn say(what: &str) {
    let _ = writeln!(std::io::stdout(), "{what}");
}

fn name_of(path: &Path) -> String {
    path.file_name()
        .unwrap_or(path.as_os_str())
        .to_string_lossy()
        .into_owned()
}

/// The text of a plan file, and not more of it than a plan may have.
fn text_of(path: &Path) -> Result<String, String> {
    let cannot = |why: &dyn std::fmt::Display| format!("{} cannot be read: {why}", path.display());
    let most = u64::try_from(plan::BYTES_MAX)
        .unwrap_or(u64::MAX)
        .saturating_add(1);
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(|error| cannot(&error))?;
    file.take(most)
        .read_to_end(&mut bytes)
        .map_err(|error| cannot(&error))?;
    if bytes.len() > plan::BYTES_MAX {
        return Err(cannot(&format!(
            "it has more than the {} bytes a plan may have",
            plan::BYTES_MAX
        )));
    }
    String::from_utf8(bytes).map_err(|_| cannot(&"it is not UTF-8 text"))
}

/// Writes a file beside the old one, with its owner and permissions, and lets it take its place.
fn save(path: &Path, before: &str, after: &str) -> Result<(), String> {
    // A link stays a link: what it leads to is replaced.
    let target = fs::canonicalize(path).map_err(|error| error.to_string())?;
    let old = fs::metadata(&target).map_err(|error| error.to_string())?;
    if !old.is_file() {
        return Err("it is not a file".to_owned());
    }
    if old.permissions().readonly() {
        return Err("it is write-protected".to_owned());
    }
    let beside = target.with_file_name(format!(".{}.{}.new", name_of(&target), std::process::id()));
    let write = || {
        let mut file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(0o600)
            .open(&beside)?;
        file.write_all(after.as_bytes())?;
        let new = file.metadata()?;
        if (new.uid(), new.gid()) != (old.uid(), old.gid()) {
            // Only an administrator can give a file away; anybody else's becomes the editor's own.
            let _ = fchown(&file, Some(old.uid()), Some(old.gid()));
        }
        file.set_permissions(old.permissions())?;
        file.sync_all()
    };
    let swap = || {
        write().map_err(|error| error.to_string())?;
        let there = fs::read(&target).map_err(|error| error.to_string())?;
        if there != before.as_bytes() {
            return Err("somebody else has changed it meanwhile: try again".to_owned());
        }
        fs::rename(&beside, &target).map_err(|error| error.to_string())
    };
    swap().inspect_err(|_| {
        // What is left beside it is of no use; whoever cannot remove it either is told why it was not written.
        let _ = fs::remove_file(&beside);
    })?;
    // Where a folder cannot be synced, a crash still leaves the old file or the new one.
    let _ = target.parent().map(|folder| File::open(folder)?.sync_all());
    Ok(())
}
