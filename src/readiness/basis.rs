//! Says what a forecast is made from, besides the plan.
//!
//! Whatever is reported in an incident and bears on the numbers is in here, so that two equal ones give the same forecast
//! and one that has changed shows that the numbers are old. Only the passing of time makes none old.

use serde::{Deserialize, Serialize};

use super::changes::Aim;
use super::model::Posting;
use super::staffing::LONGEST;
use crate::units::{Millis, Speed};

/// What a forecast is made from, besides the plan.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Basis {
    /// Position id.
    pub position: String,
    /// Responder ids of those on site.
    pub present: Vec<String>,
    /// Responder id of the person in command, who gets a role only if nobody else can hold it.
    pub in_command: Option<String>,
    /// Responder ids of those who may be the casualty, and so get no role.
    pub excluded: Vec<String>,
    /// Responder ids of those who have another task now, such as the emergency call: they get a role of a method only
    /// where it cannot be filled without them, because nobody can be in two places.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reserved: Vec<String>,
    /// Which casualty it is for, from 1.
    #[serde(default)]
    pub casualty: u16,
    /// How many records there were when it was asked for, so that older numbers never take the place of newer ones.
    #[serde(default)]
    pub asked: u64,
    /// Kinds of kit that were found missing, each with its station.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gone: Vec<(String, String)>,
    /// Ways that were found blocked, by link id.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub blocked: Vec<String>,
    /// Kit that is not where it is kept, because somebody took it who cannot bring it any more.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left: Vec<Left>,
    /// Everybody who was ordered somewhere, as far as is known of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub ordered: Vec<Ordered>,
    /// The day on the calendar, counted from the common era, by which papers are judged; 0 judges none.
    #[serde(default)]
    pub day: i32,
    /// How long the casualty has been hanging.
    #[serde(default)]
    pub since_fall: Millis,
    /// What is wanted soonest.
    #[serde(default)]
    pub aim: Aim,
    /// Methods that are not to be tried: ruled out, or tried before.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub out: Vec<String>,
    /// The method that runs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub underway: Option<Underway>,
    /// Wind, gusts counted, where somebody said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wind: Option<Speed>,
    /// True in the dark.
    #[serde(default)]
    pub dark: bool,
    /// Seed of the draws.
    #[serde(default)]
    pub seed: u64,
    /// True where a method whose papers do not hold counts as none: when looking ahead, never in an incident.
    #[serde(default)]
    pub ready: bool,
}

/// A piece of kit that was taken from its station by somebody who cannot bring it any more.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Left {
    /// Station id that it was taken from.
    pub station: String,
    /// Its name as spoken.
    pub kit: String,
    /// The place where it lies now; none where nobody knows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
}

/// Somebody who was ordered somewhere.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ordered {
    /// For the casualty with this number.
    pub casualty: u16,
    /// Method id; empty for a standing role.
    pub method: String,
    /// The order.
    pub posting: Posting,
    /// How long ago it was understood, as far as is known; where it has ended, how long it was under way.
    pub ago: Millis,
    /// True where it stands no more: this person is free again.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub ended: bool,
    /// True where somebody said that this person is there.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub there: bool,
    /// True where somebody said that this person is later than expected: nothing is known of how far they came.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub late: bool,
    /// Kit in hand from an order before this one: station id and name as spoken.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<(String, String)>,
}

/// A method that runs.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Underway {
    /// Method id.
    pub method: String,
    /// When it began, since the fall.
    pub started: Millis,
    /// Index of the step being done.
    pub step: usize,
    /// When that began, since the fall.
    pub step_since: Millis,
    /// True once it must not be left.
    pub committed: bool,
    /// Who was sent for it and can still go; they are not exchanged for others.
    pub crew: Vec<Posting>,
}

impl Basis {
    /// True where both ask for the same, however much later, whoever has another task by now, and however far those who
    /// were ordered came meanwhile; that somebody is late is another question.
    pub fn asks_as(&self, other: &Basis) -> bool {
        // Named one by one, so that whoever adds a field has to say whether it makes numbers old.
        let Basis {
            position,
            present,
            in_command,
            excluded,
            reserved: _,
            casualty,
            asked: _,
            gone,
            blocked,
            left,
            ordered: _,
            day,
            since_fall: _,
            aim,
            out,
            underway,
            wind,
            dark,
            seed,
            ready,
        } = self;
        let same = (position, casualty, day, aim, wind, dark, seed, ready)
            == (
                &other.position,
                &other.casualty,
                &other.day,
                &other.aim,
                &other.wind,
                &other.dark,
                &other.seed,
                &other.ready,
            );
        same && (in_command, underway) == (&other.in_command, &other.underway)
            && (present, excluded, out) == (&other.present, &other.excluded, &other.out)
            && (gone, blocked, left) == (&other.gone, &other.blocked, &other.left)
            && self.late().eq(other.late())
    }

    /// The same with every time in the range that a forecast can be computed in: a damaged record may hold any number.
    pub(super) fn bounded(&self) -> Basis {
        let time = |it: Millis| it.clamp(Millis(-LONGEST.0), LONGEST);
        let ms = |it: i64| time(Millis(it)).0;
        let posting = |it: &mut Posting| {
            it.travel_ms = ms(it.travel_ms);
            it.fetch_ms = it.fetch_ms.map(ms);
            let passed = it.way.iter_mut().chain(&mut it.behind);
            passed.for_each(|it| it.1 = ms(it.1));
        };
        let mut basis = self.clone();
        basis.since_fall = time(basis.since_fall);
        for ordered in &mut basis.ordered {
            ordered.ago = time(ordered.ago);
            posting(&mut ordered.posting);
        }
        if let Some(underway) = &mut basis.underway {
            underway.started = time(underway.started);
            underway.step_since = time(underway.step_since);
            underway.crew.iter_mut().for_each(posting);
        }
        basis
    }

    /// Those who are late, and nothing else of them.
    fn late(&self) -> impl Iterator<Item = &str> {
        let late = self.ordered.iter().filter(|it| it.late);
        late.map(|it| it.posting.responder.as_str())
    }
}

/// How many draws a forecast is made from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Depth {
    /// For the choice among crews.
    pub choose_on: u32,
    /// For the change-by times.
    pub decide_on: u32,
    /// Fresh ones, for what is reported.
    pub value_on: u32,
}

impl Depth {
    /// For an incident: well under 50 ms on a tablet.
    pub const LIVE: Depth = Depth {
        choose_on: 300,
        decide_on: 1_000,
        value_on: 4_000,
    };
    /// For the whole site.
    pub const SITE: Depth = Depth {
        choose_on: 200,
        decide_on: 500,
        value_on: 10_000,
    };
    /// For tests and rehearsals that play thousands of moves, where only the order of events matters.
    pub const ROUGH: Depth = Depth {
        choose_on: 64,
        decide_on: 64,
        value_on: 128,
    };
}
