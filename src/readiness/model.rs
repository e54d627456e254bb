//! Says what a forecast is: who does what in each method at a position, how long it likely takes, until when to try.
//!
//! A forecast is adopted into the record as an event, so that a replay needs neither the plan's arithmetic nor the
//! people of that day. Numbers are whole milliseconds for the same reason.

use serde::{Deserialize, Serialize};

/// What is expected of every method at one position with the people present.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Forecast {
    /// Position id it was made for.
    pub position: String,
    /// One entry per method, in the order of the ladder.
    pub methods: Vec<MethodForecast>,
    /// The first aider on the way to the landing place with an AED, where there is anybody to send.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_aider: Option<Box<Posting>>,
}

/// What is expected of one method.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MethodForecast {
    /// Method id.
    pub method: String,
    /// From its start to the change-by time.
    pub change_after_ms: i64,
    /// Where that figure comes from; `plan` until it is computed.
    pub source: String,
    /// From its start to off the harness, likeliest case, getting there included.
    pub likely_ms: i64,
    /// Who does what.
    pub crew: Vec<Posting>,
    /// From its start to a responder's touch, likeliest case, where a step of it ends in one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub contact_ms: Option<i64>,
    /// Role ids that nobody present can hold.
    pub unfilled: Vec<String>,
    /// Kinds of kit it needs of which too few are in service at any station.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub no_kit: Vec<String>,
    /// Papers that ran out: a reason to leave it for last, none to leave it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub papers: Vec<Paper>,
}

/// A paper that ran out, or that nobody has.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "of", rename_all = "kebab-case")]
pub enum Paper {
    /// The inspection of this kit is overdue.
    Inspection {
        /// Name as spoken.
        kit: String,
    },
    /// This kit carries people and has no rating.
    Rating {
        /// Name as spoken.
        kit: String,
    },
    /// The qualification of this person has ended.
    Qualification {
        /// Responder id.
        responder: String,
        /// The qualification.
        name: String,
    },
}

/// One responder in one role.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Posting {
    /// Role id.
    pub role: String,
    /// Responder id.
    pub responder: String,
    /// Name of the kit to bring, as spoken.
    pub kit: Option<String>,
    /// Station id where that kit is picked up.
    pub station: Option<String>,
    /// Place id to stand at.
    pub place: String,
    /// From the order to standing there, by way of the station.
    pub travel_ms: i64,
}

impl Posting {
    /// The role of the first aider at the landing place, who belongs to no method.
    pub const FIRST_AID: &str = "first-aid";
}
