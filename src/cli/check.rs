//! Says everything that is wrong with a plan, for people with the line it is about, for programs as one JSON object.
//!
//! The object is `{"file", "fit", "errors", "warnings", "findings": [{"id", "level", "file", "line", "column", "place",
//! "message", "help", "related": [{"line", "column", "label"}]}]}`; lines and columns count from 1, columns in characters,
//! `place` is the dotted path of the table or key, and `related` names other places that have to do with it. The answer is the exit code: 0 the plan is fit, warnings or not; 1 it is not; 2 it could not be read as text.
//! A line that is long or has control characters in it is not shown, because it would spoil the terminal.

use std::io::{self, ErrorKind, Write};
use std::ops::Range;

use chrono::NaiveDate;
use codespan_reporting::diagnostic::{Diagnostic, Label, Severity};
use codespan_reporting::files::SimpleFile;
use codespan_reporting::term::{self, Config, Styles, StylesWriter, termcolor::Buffer};
use serde_json::json;

use super::Format;
use crate::plan::{self, Finding, Kind, Level, Reading};

/// Longest line that is shown, in bytes.
const LINE_SHOWN_MAX: usize = 400;

/// Checks the bytes of a plan file and writes what was found.
pub fn check(
    name: &str,
    bytes: &[u8],
    today: NaiveDate,
    format: Format,
    colour: bool,
    out: &mut dyn Write,
) -> u8 {
    let reading = plan::read_on(name, bytes, today);
    let said = match format {
        Format::Text => text(name, bytes, &reading, colour),
        Format::Json => json(name, &reading),
    };
    let unreadable = [Kind::NotUtf8, Kind::TooLarge, Kind::TooManyParts].map(Kind::id);
    let verdict = match reading.plan {
        Some(_) => 0,
        None if reading
            .findings
            .iter()
            .any(|finding| unreadable.contains(&finding.id)) =>
        {
            2
        }
        None => 1,
    };
    match said.and_then(|said| out.write_all(&said)) {
        Ok(()) => verdict,
        // A reader that has seen enough, such as a pager, is no fault of the plan.
        Err(error) if error.kind() == ErrorKind::BrokenPipe => verdict,
        Err(_) => 2,
    }
}

fn text(name: &str, bytes: &[u8], reading: &Reading, colour: bool) -> io::Result<Vec<u8>> {
    let source = bytes.utf8_chunks().next().map_or("", |chunk| chunk.valid());
    let file = SimpleFile::new(name, source);
    let mut buffer = if colour {
        Buffer::ansi()
    } else {
        Buffer::no_color()
    };
    let styles = Styles::default();
    for finding in &reading.findings {
        let Some(shown) = within_line(source, &finding.span) else {
            let Finding {
                id,
                level,
                message,
                help,
                line,
                column,
                ..
            } = finding;
            writeln!(
                buffer,
                "{name}:{line}:{column}: {}[{id}]: {message}\n  = {help}\n",
                level.word()
            )?;
            continue;
        };
        let severity = match finding.level {
            Level::Error => Severity::Error,
            Level::Warning => Severity::Warning,
            Level::Notice => Severity::Note,
        };
        let diagnostic = Diagnostic::new(severity)
            .with_code(finding.id)
            .with_message(&finding.message)
            .with_label(Label::primary((), shown))
            .with_labels_iter(finding.related.iter().filter_map(|other| {
                let shown = within_line(source, &other.span)?;
                Some(Label::secondary((), shown).with_message(&other.label))
            }))
            .with_note(&finding.help);
        let mut writer = StylesWriter::new(&mut buffer, &styles);
        term::emit_to_write_style(&mut writer, &Config::default(), &file, &diagnostic)
            .map_err(io::Error::other)?;
    }
    let verdict = if reading.plan.is_some() {
        "fit to use"
    } else {
        "not fit to use"
    };
    let [errors, warnings, notices] = counts(reading).map(|(level, count)| match count {
        1 => format!("1 {}", level.word()),
        _ => format!("{count} {}s", level.word()),
    });
    writeln!(
        buffer,
        "{name} is {verdict}: {errors}, {warnings}, {notices}."
    )?;
    Ok(buffer.into_inner())
}

/// What is shown of a span: its part in its first line; nothing where that line would spoil the terminal.
fn within_line(source: &str, span: &Range<usize>) -> Option<Range<usize>> {
    let (before, after) = source.split_at_checked(span.start)?;
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    let line_end = span.start + after.find('\n').unwrap_or(after.len());
    let line = &source[line_start..line_end];
    let is_plain = |c: char| !c.is_control() || c == '\t' || c == '\r';
    (line.len() <= LINE_SHOWN_MAX && line.chars().all(is_plain))
        .then(|| span.start..span.end.clamp(span.start, line_end))
}

fn json(name: &str, reading: &Reading) -> io::Result<Vec<u8>> {
    let finding = |finding: &Finding| {
        let related = finding.related.iter().map(
            |other| json!({ "line": other.line, "column": other.column, "label": other.label }),
        );
        let related: Vec<_> = related.collect();
        json!({
            "id": finding.id,
            "level": finding.level.word(),
            "file": name,
            "line": finding.line,
            "column": finding.column,
            "place": finding.place,
            "message": finding.message,
            "help": finding.help,
            "related": related,
        })
    };
    let [(_, errors), (_, warnings), _] = counts(reading);
    let findings: Vec<_> = reading.findings.iter().map(finding).collect();
    let all = json!({
        "file": name,
        "fit": reading.plan.is_some(),
        "errors": errors,
        "warnings": warnings,
        "findings": findings,
    });
    let mut said = serde_json::to_vec(&all)?;
    said.push(b'\n');
    Ok(said)
}

fn counts(reading: &Reading) -> [(Level, usize); 3] {
    [Level::Error, Level::Warning, Level::Notice].map(|level| {
        (
            level,
            reading
                .findings
                .iter()
                .filter(|finding| finding.level == level)
                .count(),
        )
    })
}
