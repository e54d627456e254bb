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
    /// Role ids that nobody present can hold.
    pub unfilled: Vec<String>,
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
