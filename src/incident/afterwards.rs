//! Names what is written into the record of an incident after it has ended: what is to be done about it, by whom and by when.
//!
//! It goes into the same chain, so that nobody can say afterwards that something else was decided. Nothing of it changes
//! what is known of the incident: it moves no clock, gives no order and is never taken back, only followed by more.

use crate::words::Phrase;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// Who sees to something.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Owner {
    /// This responder, by id.
    Responder(String),
    /// Whoever holds this role, as it is called.
    Role(String),
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
