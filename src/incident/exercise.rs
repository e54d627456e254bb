//! Names what a drill is made of: who hangs, how that person is guarded, and which surprises come when.
//!
//! All of it is decided before the drill begins and written into its first record, so that a drill can be played again.
//! A live person is guarded by more than a manikin, and is never played motionless.

use crate::plan::Plan;
use crate::readiness::Light;
use crate::units::{Millis, Speed};
use crate::words::{Id, Message, clock, wind};
use serde::{Deserialize, Serialize};

/// Nobody living hangs longer than this in a drill, whatever a plan says.
pub const LIVE_HANG_MAX: Millis = Millis(5 * 60 * 1_000);

/// Who hangs in a drill.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Hanging {
    /// A manikin.
    #[default]
    Manikin,
    /// A living person.
    Live(Guards),
}

/// What guards a living person who hangs in a drill. All of it is in place before the drill begins.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Guards {
    /// They hang on a second line as well, independent of the first.
    pub second_line: bool,
    /// They can stand whenever they want to.
    pub can_stand: bool,
    /// Responder id of who watches them and does nothing else.
    pub watcher: Option<String>,
    /// After this long they are let stand.
    #[serde(rename = "limit_ms")]
    pub limit: Millis,
}

impl Guards {
    /// What is missing before a living person may hang; empty where nothing is.
    pub fn missing(&self, in_command: Option<&str>) -> Vec<Id> {
        let mut missing = Vec::new();
        if !self.second_line {
            missing.push(Id::LiveSecondLine);
        }
        if !self.can_stand {
            missing.push(Id::LiveCanStand);
        }
        if self.watcher.is_none() || self.watcher.as_deref() == in_command {
            missing.push(Id::LiveWatcher);
        }
        if self.limit <= Millis::ZERO || self.limit > LIVE_HANG_MAX {
            missing.push(Id::LiveLimit);
        }
        missing
    }
}

/// What the other work at height on the site does during a drill, because the drill uses its rescue kit and people.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OtherWork {
    /// It has rescue kit and people of its own meanwhile.
    Covered,
    /// It has stopped.
    Stopped,
}

/// A surprise in a drill.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Inject {
    /// The casualty answers no more. Only with a manikin.
    StopsAnswering {},
    /// Kit of this kind is not at this station.
    KitMissing {
        /// Kind of kit.
        kit: String,
        /// Station id.
        station: String,
    },
    /// This responder cannot go on.
    ResponderCannot {
        /// Responder id.
        responder: String,
    },
    /// What this method needs fails in the middle of it: the lift, the hoist, the ladder.
    MethodFails {
        /// Method id at the position of the drill.
        method: String,
    },
    /// The casualty cannot rescue themselves after all.
    SelfRescueFails {},
    /// The wind rises to this, in mm/s.
    Wind {
        /// Gusts counted.
        speed: Speed,
    },
    /// The radio is lost.
    RadioLost {},
    /// The ambulance comes this much later.
    AmbulanceDelayed {
        /// How much later.
        #[serde(rename = "by_ms")]
        by: Millis,
    },
    /// The ambulance stands at the wrong gate.
    WrongGate {},
    /// Somebody else hangs too. Only with a manikin.
    SecondCasualty {},
}

impl Inject {
    /// What whoever controls the drill says to the crew.
    pub fn said(&self, plan: &Plan) -> Message {
        match self {
            Inject::StopsAnswering {} => Message::of(Id::InjectStopsAnswering),
            Inject::KitMissing { kit, station } => {
                let name = plan
                    .station(station)
                    .map_or(station.as_str(), |it| &it.name);
                Message::with(Id::InjectKitMissing, [kit.as_str(), name])
            }
            Inject::ResponderCannot { responder } => {
                let name = plan
                    .responder(responder)
                    .map_or(responder.as_str(), |it| &it.name);
                Message::with(Id::InjectResponderCannot, [name])
            }
            Inject::MethodFails { method } => {
                let mut methods = plan.positions.iter().flat_map(|it| &it.methods);
                let name = methods.find(|it| it.id == *method);
                let name = name.map_or(method.as_str(), |it| &it.name);
                Message::with(Id::InjectMethodFails, [name])
            }
            Inject::SelfRescueFails {} => Message::of(Id::InjectSelfRescueFails),
            Inject::Wind { speed } => Message::with(Id::InjectWind, [&wind(*speed)]),
            Inject::RadioLost {} => Message::of(Id::InjectRadioLost),
            Inject::AmbulanceDelayed { by } => {
                Message::with(Id::InjectAmbulanceDelayed, [&clock(*by)])
            }
            Inject::WrongGate {} => Message::of(Id::InjectWrongGate),
            Inject::SecondCasualty {} => Message::of(Id::InjectSecondCasualty),
        }
    }

    /// True where it may be played while a living person hangs: nobody living is played motionless, and nobody else is hung up
    /// without the guards.
    pub fn suits_a_living_person(&self) -> bool {
        !matches!(self, Inject::StopsAnswering {} | Inject::SecondCasualty {})
    }
}

/// A surprise and when it comes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Surprise {
    /// Since activation. Whatever was to be drawn has been drawn.
    #[serde(rename = "at_ms")]
    pub at: Millis,
    /// What comes.
    #[serde(flatten)]
    pub inject: Inject,
}

/// The conditions that a drill plays where they are not those of the day. What is worse of both counts.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Setting {
    /// Time of the day that is played, in minutes since midnight.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_min: Option<u16>,
    /// How well one sees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub light: Option<Light>,
    /// Wind, gusts counted, in mm/s.
    #[serde(rename = "wind_mm_s", skip_serializing_if = "Option::is_none")]
    pub wind: Option<Speed>,
    /// Responder ids of those who play; none where everybody on shift does. Whoever is in command always does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crew: Option<Vec<String>>,
}

/// How a drill is played.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Exercise {
    /// Name of the scenario; empty where there is none.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub scenario: String,
    /// What drew the times of its surprises.
    pub seed: u64,
    /// Who hangs.
    pub hanging: Hanging,
    /// What the other work at height does meanwhile; none where nobody said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub others: Option<OtherWork>,
    /// In which conditions.
    #[serde(skip_serializing_if = "is_as_it_is")]
    pub setting: Setting,
    /// The surprises, the earliest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub surprises: Vec<Surprise>,
    /// True where nobody climbs: it is played at a table.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub table_top: bool,
}

fn is_as_it_is(setting: &Setting) -> bool {
    *setting == Setting::default()
}

impl Exercise {
    /// The guards of a living person, where one hangs.
    pub fn guards_mut(&mut self) -> Option<&mut Guards> {
        match &mut self.hanging {
            Hanging::Live(guards) => Some(guards),
            Hanging::Manikin => None,
        }
    }

    /// Why it must not begin like this; empty where it may.
    pub fn refused(&self, in_command: Option<&str>) -> Vec<Message> {
        let mut why: Vec<Message> = Vec::new();
        if self.others.is_none() && !self.table_top {
            why.push(Message::of(Id::DrillOthers));
        }
        if let Hanging::Live(guards) = &self.hanging {
            why.extend(guards.missing(in_command).into_iter().map(Message::of));
            if self
                .surprises
                .iter()
                .any(|it| !it.inject.suits_a_living_person())
            {
                why.push(Message::of(Id::LiveNeverMotionless));
            }
        }
        why
    }
}
