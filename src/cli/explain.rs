//! Explains what the checker can find, and what a plan file may hold.
//!
//! Both come from where they are used: the findings from the list that the reader reports from, the schema from the
//! questions that it asks of a file.

use super::{Format, print, say_error};
use crate::plan::{self, Kind};
use serde_json::json;

/// Lists every finding there is, or explains one.
pub(super) fn findings(id: Option<&str>, format: Format) -> u8 {
    let kinds: Vec<Kind> = match id {
        None => Kind::ALL.to_vec(),
        Some(id) => match Kind::named(id) {
            Some(kind) => vec![kind],
            None => {
                let near: Vec<&str> = near(id);
                let hint = match near[..] {
                    [] => "`groundward findings` lists them all".to_owned(),
                    _ => format!("perhaps one of these is meant: {}", near.join(", ")),
                };
                say_error(&format!("no finding is called `{id}`; {hint}"));
                return 2;
            }
        },
    };
    let whole = id.is_some();
    let said = match format {
        Format::Text => kinds.iter().map(|kind| text(*kind, whole)).collect(),
        Format::Json => {
            let all: Vec<_> = kinds
                .iter()
                .map(|kind| {
                    json!({ "id": kind.id(), "level": kind.level().word(), "about": kind.about(), "mend": kind.mend() })
                })
                .collect();
            format!("{}\n", json!(all))
        }
    };
    print(&said)
}

fn text(kind: Kind, whole: bool) -> String {
    let (id, level) = (kind.id(), kind.level().word());
    match whole {
        true => format!(
            "{id} ({level})\n\n{}\n\nTo mend it: {}\n\n{}\n",
            kind.about(),
            kind.mend(),
            match kind.level() {
                plan::Level::Error =>
                    "An error: the plan cannot be used. The last plan that was fit is used instead; an activation never waits.",
                plan::Level::Warning =>
                    "A warning: the plan can be used, and somebody should act on this before a fall. It never stops an activation.",
                plan::Level::Notice => "A notice: worth knowing.",
            }
        ),
        false => format!("{level:8} {id:30} {}\n", kind.about()),
    }
}

/// Ids that share a word with what was asked for.
fn near(id: &str) -> Vec<&'static str> {
    let words: Vec<&str> = id
        .split(['-', '_', ' '])
        .filter(|word| word.len() > 2)
        .collect();
    let shares = |kind: &&Kind| words.iter().any(|word| kind.id().contains(word));
    Kind::ALL
        .iter()
        .filter(shares)
        .map(|kind| kind.id())
        .take(8)
        .collect()
}

/// Prints the schema of a plan file for programs, or the same as a reference for people.
pub(super) fn schema(format: Format) -> u8 {
    match format {
        Format::Text => print(&plan::reference()),
        Format::Json => print(&format!("{:#}\n", plan::schema())),
    }
}
