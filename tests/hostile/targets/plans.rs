//! Takes plan files: read, changed by edits that somebody typed, compared with another.

use super::day;
use groundward::plan::{
    Edit, FINDINGS_MAX, Finding, Level, diff, edit_on, in_json, in_words, read_on,
};

/// A plan file.
pub(super) fn plan(bytes: &[u8]) {
    let reading = read_on("hostile.toml", bytes, day());
    let refused = reading.findings.iter().any(|it| it.level == Level::Error);
    assert_eq!(reading.plan.is_none(), refused);
    assert!(reading.findings.len() <= FINDINGS_MAX);
    if let Ok(text) = str::from_utf8(bytes) {
        for finding in &reading.findings {
            stands_in(text, finding);
        }
    }
}

fn stands_in(text: &str, finding: &Finding) {
    let before = text.get(..finding.span.start);
    let before = before.expect("a finding starts between two characters of the file");
    assert!(finding.span.end <= text.len());
    assert_eq!(finding.line, before.matches('\n').count() + 1);
    for said in [&finding.message, &finding.help, &finding.place] {
        assert!(!said.contains(char::is_control), "{said:?}");
    }
}

/// Edits, one a line, then a line of five hyphens, then the plan.
pub(super) fn edited(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let (wishes, plan) = text.split_once("\n-----\n").unwrap_or((&text, ""));
    let edits: Vec<Edit> = wishes.lines().take(8).filter_map(edit_of).collect();
    if let Ok(edited) = edit_on("hostile.toml", plan, &edits, day()) {
        assert!(edited.findings.iter().all(|it| it.level != Level::Error));
        let again = read_on("hostile.toml", edited.text.as_bytes(), day());
        assert_eq!(again.findings, edited.reading.findings);
        let _ = (in_words(&edited.changes), in_json(&edited.changes));
    }
}

fn edit_of(line: &str) -> Option<Edit> {
    let (verb, rest) = line.split_once(' ')?;
    let (path, typed) = rest.split_once(' ').unwrap_or((rest, ""));
    let path = || path.to_owned();
    match verb {
        "set" => Some(Edit::set(&path(), typed)),
        "add" => {
            let typed: Vec<String> = typed.split(';').map(str::to_owned).collect();
            Edit::add(&path(), &typed).ok()
        }
        "remove" => Some(Edit::Remove { path: path() }),
        "rename" => Some(Edit::Rename {
            path: path(),
            to: typed.to_owned(),
        }),
        "out" => Some(Edit::OutOfService {
            path: path(),
            why: typed.to_owned(),
        }),
        "in" => Some(Edit::InService { path: path() }),
        _ => None,
    }
}

/// Two plans with a line of five hyphens between them.
pub(super) fn compared(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let (one, other) = text.split_once("\n-----\n").unwrap_or((&text, ""));
    for (a, b) in [(one, other), (other, one), (one, one)] {
        if let Ok(changes) = diff(a, b) {
            assert!(a != b || changes.is_empty(), "a plan differs from itself");
            assert!(!in_words(&changes).contains('\u{1b}'));
            let _ = in_json(&changes).to_string();
        }
    }
}
