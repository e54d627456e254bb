//! Says what a forecast is: who does what in each method at a position, how long it likely takes, until when to try.
//!
//! A forecast is adopted into the record as an event, so that a replay needs neither the plan's arithmetic nor the
//! people of that day. Numbers are whole milliseconds for the same reason.

use serde::{Deserialize, Serialize};

use super::fit::Unfit;
use crate::units::{Millis, Ratio};

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
    /// Standing roles beside the methods: who talks with the casualty, who meets the help, who has the radio.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub standing: Vec<Posting>,
    /// Standing roles for which nobody is left.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unmanned: Vec<String>,
    /// Method ids in the order in which they were computed to be tried, the running one first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub order: Vec<String>,
    /// What the whole ladder gives.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ladder: Option<LadderForecast>,
}

/// What the methods in their order give together, from the fall.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LadderForecast {
    /// Chance to be off the harness by the target.
    pub chance: Ratio,
    /// Off the harness in half of the draws.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub likely_ms: Option<i64>,
    /// Off the harness in nine of ten draws.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bad_day_ms: Option<i64>,
    /// First contact in half of the draws.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub contact_ms: Option<i64>,
    /// Draws in which no method works.
    pub never: Ratio,
}

/// What is expected of one method.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MethodForecast {
    /// Method id.
    pub method: String,
    /// From its start to the change-by time, where it started when this was made; `starts` goes before it.
    pub change_after_ms: i64,
    /// Where that figure comes from: `computed`, or `plan` where nothing could be.
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
    /// Why it cannot physically work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unfit: Option<Unfit>,
    /// When to change by and how likely it meets the target, for every start: ms since the fall, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub starts: Vec<StartForecast>,
    /// How likely it works at all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub works: Option<Ratio>,
    /// From its start to off the harness in nine of ten draws in which it works.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bad_day_ms: Option<i64>,
    /// Draws of the whole ladder in which this method has the casualty off the harness.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub share: Option<Ratio>,
    /// True where its times rest on fewer drills than the policy asks for.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub assumed: bool,
}

/// What is expected of a method that starts at some time since the fall: that time and the change-by time in ms since the
/// fall (none where it is never to be left), and the chance that it alone meets the target, in millionths.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StartForecast(pub i64, pub Option<i64>, pub i64);

/// A method in its turn, where every one before it was tried until its change-by time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turn<'f> {
    /// What is expected of it.
    pub method: &'f MethodForecast,
    /// When it starts, since the fall.
    pub from: Millis,
    /// When to change to the next one, since the fall; none where it is not to be left.
    pub change_by: Option<Millis>,
}

impl Forecast {
    /// The methods in their order, the first from this time since the fall on. What comes after one that is not to be left
    /// is not planned.
    pub fn turns(&self, from: Millis) -> Vec<Turn<'_>> {
        let mut turns = Vec::new();
        let mut from = from;
        for id in &self.order {
            let Some(method) = self.methods.iter().find(|it| it.method == *id) else {
                continue;
            };
            let change_by = Some(method.change_by(from)).filter(|it| *it < NEVER);
            turns.push(Turn {
                method,
                from,
                change_by,
            });
            match change_by {
                Some(by) => from = by,
                None => break,
            }
        }
        turns
    }
}

impl MethodForecast {
    /// The row for a start at this time since the fall: the last one not after it, else the first.
    fn row(&self, since_fall: Millis) -> Option<&StartForecast> {
        let after = self.starts.partition_point(|row| row.0 <= since_fall.0);
        self.starts.get(after.saturating_sub(1))
    }

    /// By when to change, since the fall, where it starts at this time since the fall. Further than anybody waits where it
    /// is never to be left for another.
    ///
    /// Between two starts it goes as the computed changes do, because those are what was valued: drawn evenly where both
    /// are alike, else with the patience of the nearer one.
    pub fn change_by(&self, started: Millis) -> Millis {
        let Some(before) = self.row(started) else {
            return started.saturating_add(Millis(self.change_after_ms));
        };
        let mut later = self.starts.iter().filter(|row| row.0 > started.0);
        let after = later.next().filter(|_| before.0 < started.0);
        let by = match after {
            Some(after) => between(before, after, started.0),
            None => before.1,
        };
        by.map_or(NEVER, |by| {
            let shown = by.saturating_sub(by.rem_euclid(SHOWN_STEP_MS));
            Millis(shown).max(started.saturating_add(FAIR_TRY))
        })
    }

    /// How likely it alone meets the target, where it starts at this time since the fall.
    pub fn chance(&self, started: Millis) -> Option<Ratio> {
        self.row(started).map(|row| Ratio(row.2))
    }
}

/// When to change where a method starts between two starts.
fn between(before: &StartForecast, after: &StartForecast, started: i64) -> Option<i64> {
    // The rows may come from any record, so nothing here may be too large: all of it has room in twice as many bits.
    let (from, to, started) = (
        i128::from(before.0),
        i128::from(after.0),
        i128::from(started),
    );
    let (gap, since) = (to - from, started - from);
    let wait = |row: &StartForecast| row.1.map(|by| i128::from(by) - i128::from(row.0));
    let drawn = wait(before).zip(wait(after)).and_then(|(one, other)| {
        let alike = (other - one).abs() <= 2 * gap;
        alike.then(|| one + (other - one).saturating_mul(since) / gap)
    });
    let near = if 2 * since <= gap { before } else { after };
    let wait = match wait(near) {
        Some(own) => drawn.unwrap_or(own),
        None => return None,
    };
    let by = started + wait;
    Some(i64::try_from(by).unwrap_or(if by < 0 { i64::MIN } else { i64::MAX }))
}

/// Later than any rescue.
pub const NEVER: Millis = Millis(i64::MAX / 4);
/// Shown times are whole multiples of this, rounded down.
const SHOWN_STEP_MS: i64 = 5_000;
/// A method in the order is given at least this long.
pub const FAIR_TRY: Millis = Millis::from_seconds(30);

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
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
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
    /// The place where that kit lies, where it is not at its station any more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lies: Option<String>,
    /// From the order to having the kit in hand; 0 where it is in hand already.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fetch_ms: Option<i64>,
    /// The places along the way, the first and the last included; where it was made for an incident.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub way: Vec<Passing>,
    /// Where that way begins between two places: the one that lies behind, and when it was left, as a negative time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub behind: Option<Passing>,
}

/// A place on somebody's way, by its id, and when it is passed in ms from the order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Passing(pub String, pub i64);

impl Posting {
    /// The role of the first aider at the landing place, who belongs to no method.
    pub const FIRST_AID: &str = "first-aid";
    /// The role of whoever talks with the casualty.
    pub const TALKER: &str = "talker";
    /// The role of whoever meets the help from outside.
    pub const GUIDE: &str = "gate-guide";
    /// The role of whoever passes the orders on over the radio, beside the person in command.
    pub const RADIO: &str = "radio";

    /// True where both send the same person with the same piece of kit to the same place for the same task, whatever the
    /// way. A piece of the same name from another station is another one.
    pub fn same_order(&self, other: &Posting) -> bool {
        self.role == other.role
            && self.responder == other.responder
            && self.kit == other.kit
            && self.station == other.station
            && self.place == other.place
    }
}
