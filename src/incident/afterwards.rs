//! Names what is written into the record of an incident after it has ended: what whoever reviews it says and finds, and what
//! is to be done about it, by whom and by when.
//!
//! It goes into the same chain, so that nobody can say afterwards that something else was decided. Nothing of it changes
//! what is known of the incident: it moves no clock, gives no order and is never taken back, only followed by more. Who
//! reviews is often nobody of the plan, so beside the record's own `who` stands a name.

use super::event::Event;
use super::written::{Name, OwnWords};
use crate::words::Phrase;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Who sees to something.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Owner {
    /// This responder, by id.
    Responder(String),
    /// Whoever holds this role, as it is called.
    Role(String),
    /// Somebody who is not of the plan, by name.
    Named(Name),
}

/// Something that is to be done.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Task {
    /// What.
    pub text: Phrase,
    /// Who sees to it.
    pub owner: Owner,
    /// By when.
    #[serde(with = "day")]
    pub due: NaiveDate,
    /// Number of the record of the finding that it comes from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<u64>,
    /// Who set it, where that is not whom the record names.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<Name>,
}

/// Most records that one remark or finding is about.
pub const ABOUT_MAX: usize = 64;

/// What a reviewer says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remark {
    /// In their own words.
    pub text: OwnWords,
    /// Numbers of the records that it is about; none means the whole incident.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub about: Vec<u64>,
    /// Number of the remark or finding that this answers or corrects, which stays as it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answers: Option<u64>,
    /// Who says it, where that is not whom the record names.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<Name>,
}

/// What a reviewer found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// What it is.
    pub nature: Nature,
    /// What is said of it.
    #[serde(flatten)]
    pub remark: Remark,
}

/// What a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Nature {
    /// It worked well: keep it.
    WorkedWell,
    /// It could go better.
    ToBeBetter,
    /// Somebody was in danger, or could be next time.
    Danger,
    /// Nobody can say yet.
    Unknown,
}

/// Why something cannot be added: what it speaks of is not there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Amiss {
    /// There is no record with this number.
    NoRecord(u64),
    /// The record with this number sets nothing to be done.
    NoTask(u64),
    /// The record with this number is no finding.
    NoFinding(u64),
    /// The record with this number is neither a remark nor a finding.
    NoRemark(u64),
    /// It is about more records than one remark may be.
    AboutTooMany(usize),
}

impl Event {
    /// True for what is written after the end and changes nothing that is known of the incident, not even how long it took.
    pub fn is_afterwards(&self) -> bool {
        matches!(
            self,
            Event::TaskSet(_)
                | Event::TaskDone { .. }
                | Event::TaskOpen { .. }
                | Event::Reviewed(_)
                | Event::Found(_)
        )
    }

    /// Who said it after the end, where that is not whom the record names.
    pub fn by(&self) -> Option<&Name> {
        match self {
            Event::TaskSet(task) => task.by.as_ref(),
            Event::TaskDone { by, .. } | Event::TaskOpen { by, .. } => by.as_ref(),
            _ => self.remark().and_then(|it| it.by.as_ref()),
        }
    }

    /// What a reviewer says with it.
    pub fn remark(&self) -> Option<&Remark> {
        match self {
            Event::Reviewed(remark) => Some(remark),
            Event::Found(finding) => Some(&finding.remark),
            _ => None,
        }
    }

    /// Whether what it speaks of is there; `kind` says what the record with a number is.
    pub fn amiss<'a>(&self, kind: impl Fn(u64) -> Option<&'a str>) -> Result<(), Amiss> {
        let is_one_of = |number: u64, kinds: &[&str], or: fn(u64) -> Amiss| match kind(number) {
            None => Err(Amiss::NoRecord(number)),
            Some(kind) if kinds.contains(&kind) => Ok(()),
            Some(_) => Err(or(number)),
        };
        match self {
            Event::TaskSet(Task {
                from: Some(from), ..
            }) => is_one_of(*from, &["found"], Amiss::NoFinding)?,
            Event::TaskDone { task, .. } | Event::TaskOpen { task, .. } => {
                is_one_of(*task, &["task-set"], Amiss::NoTask)?;
            }
            _ => {}
        }
        let Some(remark) = self.remark() else {
            return Ok(());
        };
        if let Some(answered) = remark.answers {
            is_one_of(answered, &["reviewed", "found"], Amiss::NoRemark)?;
        }
        if remark.about.len() > ABOUT_MAX {
            return Err(Amiss::AboutTooMany(remark.about.len()));
        }
        let mut about = remark.about.iter();
        match about.find(|it| kind(**it).is_none()) {
            Some(number) => Err(Amiss::NoRecord(*number)),
            None => Ok(()),
        }
    }
}

impl fmt::Display for Amiss {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Amiss::NoRecord(number) => write!(f, "it has no record {number}"),
            Amiss::NoTask(number) => write!(f, "its record {number} sets nothing to be done"),
            Amiss::NoFinding(number) => write!(f, "its record {number} is no finding"),
            Amiss::NoRemark(number) => {
                write!(f, "its record {number} is neither a remark nor a finding")
            }
            Amiss::AboutTooMany(count) => write!(
                f,
                "it is about {count} records and {ABOUT_MAX} are the most; name the first and the last"
            ),
        }
    }
}

/// A day of the calendar as `2026-11-25`.
mod day {
    use chrono::NaiveDate;
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub(super) fn serialize<S: Serializer>(day: &NaiveDate, out: S) -> Result<S::Ok, S::Error> {
        out.serialize_str(&day.format("%Y-%m-%d").to_string())
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<NaiveDate, D::Error> {
        let text = String::deserialize(from)?;
        let day = NaiveDate::parse_from_str(&text, "%Y-%m-%d");
        day.map_err(|_| D::Error::custom("a day is written as 2026-11-25"))
    }
}
