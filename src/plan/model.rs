//! Says what a rescue plan is once it has been read: plain values, every reference resolved to an id that exists.
//!
//! The reader (`read.rs`) makes these from TOML; everything that decides takes them as arguments. Lists keep the
//! order of the file, because a crew reads positions and steps in the order its trainer wrote them.

use crate::units::{Millimetres, Millis};

/// A whole rescue plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// What the site is called and how it is reached.
    pub site: Site,
    /// The settings of this plan; a setting the file leaves out has its default.
    pub policy: Policy,
    /// Named points where people or kit can be.
    pub places: Vec<Place>,
    /// Ways between two places.
    pub links: Vec<Link>,
    /// Where kit is kept.
    pub stations: Vec<Station>,
    /// People who can be sent.
    pub responders: Vec<Responder>,
    /// Where somebody works at height.
    pub positions: Vec<Position>,
}

/// The site as the emergency services would need it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Site {
    /// Name in full.
    pub name: String,
    /// Revision of the plan, as its author counts it.
    pub revision: String,
    /// Number to dial for the emergency services.
    pub emergency_number: String,
    /// Where the emergency services are met.
    pub meeting_point: String,
    /// True where the plan marks itself as an invented example.
    pub invented: bool,
}

/// Settings with defaults; each is a judgement unless its comment names a row of the published figures.
#[derive(Clone, Debug, PartialEq)]
pub struct Policy {
    /// From the fall to off the harness: a mark on the drop line (default 9 min, Hsiao et al. 2012).
    pub target: Millis,
    /// From the fall to a responder's touch (default 6 min, ANSI/ASSE Z359.2-2007).
    pub first_contact: Millis,
    /// After this an unconfirmed emergency call goes to the next free person (default 60 s).
    pub call_confirm: Millis,
    /// After this the prompt for the call gives way to the rescue (default 10 s).
    pub call_gives_way: Millis,
    /// After this a condition counts as not checked (default 60 s).
    pub check_every: Millis,
    /// After this a question answered "not yet" is asked again (default 20 s).
    pub ask_again: Millis,
}

/// A named point where people or kit can be.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Table key.
    pub id: String,
    /// Name as spoken.
    pub name: String,
    /// Level as spoken, e.g. `5`.
    pub level: String,
}

/// A way between two places, usable in both directions.
#[derive(Clone, Debug, PartialEq)]
pub struct Link {
    /// Table key.
    pub id: String,
    /// Place id at the lower or nearer end.
    pub from: String,
    /// Place id at the other end.
    pub to: String,
    /// What kind of way it is.
    pub kind: LinkKind,
    /// Distance travelled along the way.
    pub length: Millimetres,
    /// Height gained from `from` to `to`; negative where it goes down.
    pub rise: Millimetres,
    /// Measured time, which goes before the computed one.
    pub time: Option<ThreePoint>,
}

/// Kinds of ways.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LinkKind {
    /// Level or sloping ground.
    Walk,
    /// Stairs.
    Stairs,
    /// A fixed ladder.
    FixedLadder,
    /// The stair tower of a scaffold.
    ScaffoldStair,
    /// A hoist or lift for persons.
    Hoist,
    /// A vehicle.
    Vehicle,
}

/// Where kit is kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Station {
    /// Table key.
    pub id: String,
    /// Name as spoken, e.g. `station C`.
    pub name: String,
    /// Place id.
    pub place: String,
    /// What is kept here.
    pub kit: Vec<KitItem>,
}

/// Something kept at a station.
#[derive(Clone, Debug, PartialEq)]
pub struct KitItem {
    /// Table key, unique within the station.
    pub id: String,
    /// Name as spoken, e.g. `ladder E-2`.
    pub name: String,
    /// Kind that roles ask for, e.g. `ladder`.
    pub kind: String,
    /// How many of it.
    pub count: u32,
}

/// Somebody who can be sent.
#[derive(Clone, Debug, PartialEq)]
pub struct Responder {
    /// Table key.
    pub id: String,
    /// Name as spoken.
    pub name: String,
    /// Place id where this person usually is.
    pub place: String,
    /// Qualifications held, as the plan names them.
    pub qualifications: Vec<String>,
}

/// Where somebody works at height.
#[derive(Clone, Debug, PartialEq)]
pub struct Position {
    /// Table key.
    pub id: String,
    /// Name as spoken.
    pub name: String,
    /// Place id of the position.
    pub place: String,
    /// Place id beyond which nobody goes until it is safe.
    pub approach: String,
    /// Place id where the casualty is brought to.
    pub landing: String,
    /// Height of a hanging worker's feet above the ground.
    pub feet_above_ground: Option<Millimetres>,
    /// One line on what is below, as spoken.
    pub below: Option<String>,
    /// Responder ids of those who work here and may be the casualty.
    pub workers: Vec<String>,
    /// What can hurt a rescuer here.
    pub hazards: Vec<Hazard>,
    /// Concrete ways to do the rungs here, in the ladder's order.
    pub methods: Vec<Method>,
}

/// Something that can hurt a rescuer, and how it is made safe.
#[derive(Clone, Debug, PartialEq)]
pub struct Hazard {
    /// Table key.
    pub id: String,
    /// Name as spoken.
    pub name: String,
    /// What kind of harm.
    pub kind: HazardKind,
    /// What makes it safe, e.g. `lock off the dust fan`.
    pub task: String,
    /// The repeated finished action, e.g. `Fan is locked off`.
    pub done: String,
    /// Responder id of who does it; nobody named means the person in command asks for it.
    pub by: Option<String>,
}

/// Kinds of hazards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HazardKind {
    /// Electric supply: nobody touches anything until it is confirmed off.
    Electric,
    /// Plant that moves.
    MovingPlant,
    /// Air that cannot be breathed, or a confined space.
    Air,
    /// Water below.
    Water,
    /// Anything else.
    Other,
}

/// The four rungs of the escalation ladder, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rung {
    /// The casualty gets out alone.
    SelfRescue,
    /// The casualty gets out with something brought or lowered.
    AssistedSelfRescue,
    /// A machine or a haul or lowering system brings the casualty down without a rescuer on the line.
    MechanicallyAided,
    /// A rescuer goes to the casualty and brings them down.
    PickOff,
}

/// What the casualty must be able to do for a method.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Answer and follow a spoken order.
    Answering,
    /// Climb.
    Climbing,
    /// Hold on.
    HoldingOn,
    /// Clip or unclip alone.
    Clipping,
}

/// A concrete way to do a rung at a position.
#[derive(Clone, Debug, PartialEq)]
pub struct Method {
    /// Table key, unique within the position.
    pub id: String,
    /// Name as spoken, e.g. `boom lift`.
    pub name: String,
    /// Which rung it is.
    pub rung: Rung,
    /// Time after its start by which the person in command should decide to change.
    pub change_after: Millis,
    /// What it asks of the casualty.
    pub needs: Vec<Need>,
    /// Who it takes.
    pub roles: Vec<Role>,
    /// What is done, in order.
    pub steps: Vec<Step>,
}

/// What one responder does in a method.
#[derive(Clone, Debug, PartialEq)]
pub struct Role {
    /// Table key, unique within the method.
    pub id: String,
    /// Qualification it needs.
    pub qualification: Option<String>,
    /// Kind of kit it brings.
    pub kit: Option<String>,
    /// Place id where it stands.
    pub place: String,
}

/// One thing done.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Role id of who does it; nobody named means the person in command sees to it.
    pub role: Option<String>,
    /// What is done, as it is said after the name: verb, thing, place.
    pub say: String,
    /// The repeated finished action on the answer, e.g. `Ladder is there`.
    pub done: String,
    /// One line of caution below the prompt.
    pub caution: Option<String>,
    /// How long it takes.
    pub time: ThreePoint,
    /// True where it takes somebody past the approach point.
    pub near: bool,
    /// True while its holder is over an edge, on rope, on a ladder or in a basket.
    pub exposed: bool,
    /// True from the first connection to the casualty until the weight is on a stable surface.
    pub committed: bool,
    /// What its end means, if anything.
    pub milestone: Option<Milestone>,
    /// What is tried when it fails, before the next rung.
    pub fallback: Vec<Fallback>,
}

/// A way to get a failing step done after all.
#[derive(Clone, Debug, PartialEq)]
pub struct Fallback {
    /// Role id of who does it; the step's own where none is named.
    pub role: Option<String>,
    /// What is done.
    pub say: String,
    /// The repeated finished action.
    pub done: String,
}

/// What the end of a step means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Milestone {
    /// A responder can touch the casualty.
    FirstContact,
    /// The weight no longer hangs, confirmed by somebody in contact.
    OffHarness,
    /// The casualty is at the landing place.
    Landing,
}

/// Shortest, likeliest and longest time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ThreePoint {
    /// When all goes well.
    pub short: Millis,
    /// Likeliest.
    pub likely: Millis,
    /// On a bad day.
    pub long: Millis,
}

impl Plan {
    /// The position with this id.
    pub fn position(&self, id: &str) -> Option<&Position> {
        self.positions.iter().find(|p| p.id == id)
    }

    /// The place with this id.
    pub fn place(&self, id: &str) -> Option<&Place> {
        self.places.iter().find(|p| p.id == id)
    }

    /// The responder with this id.
    pub fn responder(&self, id: &str) -> Option<&Responder> {
        self.responders.iter().find(|r| r.id == id)
    }

    /// The station with this id.
    pub fn station(&self, id: &str) -> Option<&Station> {
        self.stations.iter().find(|s| s.id == id)
    }
}

impl Position {
    /// The method with this id.
    pub fn method(&self, id: &str) -> Option<&Method> {
        self.methods.iter().find(|m| m.id == id)
    }
}

impl Method {
    /// The likely times of its steps up to and including off the harness, one after the other.
    pub fn likely_work(&self) -> Millis {
        let release = self
            .steps
            .iter()
            .position(|step| step.milestone == Some(Milestone::OffHarness));
        let steps = &self.steps[..release.map_or(self.steps.len(), |release| release + 1)];
        steps.iter().fold(Millis::ZERO, |sum, step| {
            sum.saturating_add(step.time.likely)
        })
    }
}

impl Default for Policy {
    fn default() -> Policy {
        Policy {
            target: Millis::from_seconds(540),
            first_contact: Millis::from_seconds(360),
            call_confirm: Millis::from_seconds(60),
            call_gives_way: Millis::from_seconds(10),
            check_every: Millis::from_seconds(60),
            ask_again: Millis::from_seconds(20),
        }
    }
}
