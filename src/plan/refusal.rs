//! Says why an edit of a plan file is not done: where, and what to do instead.

use std::fmt;

use super::findings::{Finding, Gathered};
use super::outline::Outline;

/// Why an edit is not done. Nothing was changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The file is not one that can be edited.
    Unreadable {
        /// What is wrong with it.
        finding: Box<Finding>,
    },
    /// The path is not one.
    BadPath {
        /// As it was given.
        path: String,
    },
    /// Nothing stands there.
    NotThere {
        /// As it was given.
        path: String,
        /// What may be meant.
        near: Option<String>,
    },
    /// Something else than what the edit needs belongs there.
    Misplaced {
        /// As it was given.
        path: String,
        /// What it is, and what to do.
        is: String,
    },
    /// Something stands there already.
    IsThere {
        /// Where.
        path: String,
    },
    /// An id has characters that no id may have.
    BadId {
        /// As it was given.
        id: String,
    },
    /// A value is not one that a plan file could have.
    BadValue {
        /// Of which key.
        path: String,
        /// As it was given.
        value: String,
    },
    /// Something still names what would go.
    StillNamed {
        /// What would go.
        path: String,
        /// Where it is named: the path, and the line that this has now.
        places: Vec<(String, Option<usize>)>,
    },
    /// The plan would have errors that it does not have now.
    BringsError {
        /// All of them.
        findings: Vec<Finding>,
    },
}

impl Refusal {
    pub(super) fn is_table(path: &[String]) -> Refusal {
        let path = path.join(".");
        let is = format!(
            "is a table or a list of them: set one of its keys, such as `{path}.name`, or add or remove the whole"
        );
        Refusal::Misplaced { path, is }
    }

    pub(super) fn is_value(path: &[String]) -> Refusal {
        let is = "is a single value with nothing below it: set it".to_owned();
        Refusal::Misplaced {
            path: path.join("."),
            is,
        }
    }

    pub(super) fn needs_keys(path: &[String]) -> Refusal {
        let is = "takes a table: give its keys with their values, such as `name=\"North roof\"`"
            .to_owned();
        Refusal::Misplaced {
            path: path.join("."),
            is,
        }
    }

    pub(super) fn needs_text(path: &[String]) -> Refusal {
        let is = "is a list of single values: give one without a key".to_owned();
        Refusal::Misplaced {
            path: path.join("."),
            is,
        }
    }

    pub(super) fn needs_id(path: &[String]) -> Refusal {
        let path = path.join(".");
        let is =
            format!("holds tables that each have an id: name the new one, such as `{path}.north`");
        Refusal::Misplaced { path, is }
    }

    pub(super) fn no_item(path: &[String], count: usize) -> Refusal {
        let is = match count {
            0 => "has no items: add the first as number 1".to_owned(),
            _ => format!(
                "has the items 1 to {count}: name one of them, or add number {}",
                count + 1
            ),
        };
        Refusal::Misplaced {
            path: path.join("."),
            is,
        }
    }

    pub(super) fn not_there(outline: &Outline<'_>, path: &[String]) -> Refusal {
        // The first part that leads nowhere is the one to look at.
        let missing = (1..=path.len()).find(|depth| !outline.has(&path[..*depth]));
        let depth = missing.unwrap_or(path.len());
        let known = outline.names(&path[..depth.saturating_sub(1)]);
        let near = path
            .get(depth.wrapping_sub(1))
            .and_then(|name| Gathered::default().nearest(name, known));
        let near = near.map(|near| {
            [&path[..depth - 1], &[near.to_owned()], &path[depth..]]
                .concat()
                .join(".")
        });
        Refusal::NotThere {
            path: path.join("."),
            near,
        }
    }

    pub(super) fn unless_id(id: &str) -> Result<(), Refusal> {
        let is_id = |b: u8| b.is_ascii_alphanumeric() || b == b'-' || b == b'_';
        match (1..=64).contains(&id.len()) && id.bytes().all(is_id) {
            true => Ok(()),
            false => Err(Refusal::BadId { id: id.to_owned() }),
        }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::Unreadable { finding } => write!(
                f,
                "line {}: {}; {}",
                finding.line, finding.message, finding.help
            ),
            Refusal::BadPath { path } => {
                write!(
                    f,
                    "`{path}` is not a path: write names with dots between, such as position.roof.method.ladder.step.2.time"
                )
            }
            Refusal::NotThere {
                path,
                near: Some(near),
            } => write!(f, "there is nothing at {path}: perhaps {near} is meant"),
            Refusal::NotThere { path, near: None } => {
                write!(
                    f,
                    "there is nothing at {path}: look at the plan for what is there, and at `groundward schema --format text` for what may be"
                )
            }
            Refusal::Misplaced { path, is } => write!(f, "{path} {is}"),
            Refusal::IsThere { path } => write!(
                f,
                "{path} is there already: choose another id, or set its keys"
            ),
            Refusal::BadId { id } => {
                write!(
                    f,
                    "`{id}` cannot be an id: use at most 64 letters, digits, hyphens and underscores"
                )
            }
            Refusal::BadValue { path, value } => {
                write!(
                    f,
                    "`{value}` cannot stand at {path}: write it on one line as in a plan file, texts and quantities in quotes"
                )
            }
            Refusal::StillNamed { path, places } => {
                let place = |(at, line): &(String, Option<usize>)| match line {
                    Some(line) => format!("{at} (line {line})"),
                    None => at.clone(),
                };
                let places: Vec<String> = places.iter().map(place).collect();
                write!(
                    f,
                    "{path} is still named in {}: change or remove those too",
                    places.join(", ")
                )
            }
            Refusal::BringsError { findings } => {
                let findings: Vec<String> = findings
                    .iter()
                    .map(|it| format!("{}: {}", it.message, it.help))
                    .collect();
                write!(f, "that would bring an error: {}", findings.join("; "))
            }
        }
    }
}

impl std::error::Error for Refusal {}
