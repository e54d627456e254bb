//! Says what is different between two plans, for people and for programs.
//!
//! A change is plain data: where it stands in both plans, what it is about by names that are spoken, and what happened.
//! Text and JSON are made from the same list, so that they cannot differ.

use std::fmt;

use serde_json::{Value, json};

/// What a change is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Area {
    /// A place of work.
    Position,
    /// Somebody who can be sent.
    Person,
    /// Where kit is kept.
    Station,
    /// The site as a whole: header, settings, places, ways, help from outside.
    Site,
}

/// One difference between two plans.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// What it is about.
    pub area: Area,
    /// Where it stands in the first plan, as a dotted path; nothing where the thing is new.
    pub was_at: Option<String>,
    /// Where it stands in the second plan; nothing where the thing is gone.
    pub at: Option<String>,
    /// What it is about, by names that are spoken, e.g. `Silo 3 roof, east hatch: ladder`.
    pub subject: String,
    /// Which of its keys, as one says it, e.g. `likely time`.
    pub key: Option<String>,
    /// What happened.
    pub what: What,
}

/// What happened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    /// It is new; the value, where it is one of a list.
    Added(Option<String>),
    /// It is gone; the value, where it was one of a list.
    Removed(Option<String>),
    /// A key says something else, each as it is written; nothing where it is left out and has no default.
    Changed {
        /// In the first plan.
        was: Option<String>,
        /// In the second.
        now: Option<String>,
    },
    /// It stands elsewhere among its like, counted from 1.
    Moved {
        /// In the first plan.
        was: usize,
        /// In the second.
        now: usize,
    },
    /// It has another id.
    Renamed {
        /// In the first plan.
        was: String,
        /// In the second.
        now: String,
    },
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let colon = if self.subject.is_empty() { "" } else { ": " };
        write!(f, "{}{colon}", self.subject)?;
        let key = self.key.as_deref().unwrap_or_default();
        let or_left_out =
            |value: &Option<String>| value.clone().unwrap_or_else(|| "left out".to_owned());
        match &self.what {
            What::Added(None) => write!(f, "added"),
            What::Removed(None) => write!(f, "removed"),
            What::Added(Some(value)) => write!(f, "{key}: {value} added"),
            What::Removed(Some(value)) => write!(f, "{key}: {value} removed"),
            What::Changed { was, now } => {
                write!(f, "{key} {}, was {}", or_left_out(now), or_left_out(was))
            }
            What::Moved { was, now } => write!(f, "now number {now}, was {was}"),
            What::Renamed { was, now } => write!(f, "id {now}, was {was}"),
        }
    }
}

/// The changes as lines for people, grouped by what they are about.
pub fn in_words(changes: &[Change]) -> String {
    let mut out = String::new();
    for group in changes.chunk_by(|a, b| a.area == b.area) {
        out.push_str(match group[0].area {
            Area::Position => "Positions\n",
            Area::Person => "People\n",
            Area::Station => "Stations\n",
            Area::Site => "Site\n",
        });
        for change in group {
            out.push_str(&format!("  {change}\n"));
        }
    }
    out
}

/// The changes for programs: a list of `{"about", "what", "was_at", "at", "key", "was", "now", "said"}`.
pub fn in_json(changes: &[Change]) -> Value {
    let change = |change: &Change| {
        let (what, was, now) = match &change.what {
            What::Added(value) => ("added", Value::Null, json!(value)),
            What::Removed(value) => ("removed", json!(value), Value::Null),
            What::Changed { was, now } => ("changed", json!(was), json!(now)),
            What::Moved { was, now } => ("moved", json!(was), json!(now)),
            What::Renamed { was, now } => ("renamed", json!(was), json!(now)),
        };
        let about = match change.area {
            Area::Position => "position",
            Area::Person => "person",
            Area::Station => "station",
            Area::Site => "site",
        };
        json!({
            "about": about,
            "what": what,
            "was_at": change.was_at,
            "at": change.at,
            "key": change.key,
            "was": was,
            "now": now,
            "said": change.to_string(),
        })
    };
    changes.iter().map(change).collect()
}
