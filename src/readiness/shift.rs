//! Holds what is declared at the start of a shift, and says what is missing before it binds.
//!
//! Pure: what somebody says comes in as a `Declare`, the time as a number. A signed shift holds until it ends or until
//! something changes; what is then missing is said again. Nothing here stops an activation: whoever hangs is rescued by
//! whoever is there. Limits: it knows what was said, not what is so.

use serde::{Deserialize, Serialize};

use super::standing::{Grade, Standing};
use crate::plan::{Plan, Position};
use crate::units::Speed;
use crate::words::{Id, Message};

/// A shift as it was declared on the tablet.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, rename_all = "kebab-case")]
pub struct Shift {
    /// Where people work at height.
    pub in_use: Vec<InUse>,
    /// Mean wind.
    pub wind: Option<Speed>,
    /// Gusts; never below the mean wind.
    pub gust: Option<Speed>,
    /// How well one sees.
    pub light: Option<Light>,
    /// Whether there is lightning near.
    pub lightning: Option<bool>,
    /// Who holds each rescue qualification today, and with the empty one who is in command.
    pub holders: Vec<Holder>,
    /// Kit that was touched and counted.
    pub counted: Vec<Counted>,
    /// Everybody answered on the radio.
    pub radio: bool,
    /// Tablet and radios are charged for the shift.
    pub battery: bool,
    /// Responder ids of those who heard the briefing.
    pub heard: Vec<String>,
    /// People on site whom the plan does not know.
    pub visitors: Vec<Visitor>,
    /// Who signed it; none where nobody has, or where something changed since.
    pub signed: Option<Signature>,
    /// What changed since it was signed first, in order.
    pub changes: Vec<Changed>,
    /// Who lets people work where it is not ready, and why.
    pub allowed: Vec<Allowance>,
    /// True from the first signature to the end of the shift: people may be at work.
    pub begun: bool,
    /// Position ids where people work and rescue was lost, until work there has stopped or rescue is back.
    pub lost: Vec<String>,
}

/// A position where people work today.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, rename_all = "kebab-case")]
pub struct InUse {
    /// Position id.
    pub position: String,
    /// Number of the permit to work.
    pub permit: String,
    /// Responder ids, or ids of visitors, of those who work there.
    pub workers: Vec<String>,
    /// Who watches them.
    pub watcher: Option<String>,
}

/// How well one sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Light {
    /// By day.
    Day,
    /// In the dark, with the way and the place lit.
    Lit,
    /// In the dark.
    Dark,
}

/// Somebody who holds a rescue qualification for the shift.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Holder {
    /// The qualification, as the plan's roles name it.
    pub qualification: String,
    /// Responder id.
    pub responder: String,
}

/// Kit that was touched and counted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Counted {
    /// Station id.
    pub station: String,
    /// Kit id.
    pub item: String,
    /// How many are there and whole.
    pub count: u32,
}

/// Somebody on site whom the plan does not know. No qualification is assumed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Visitor {
    /// An id that no responder of the plan has.
    pub id: String,
    /// Name as spoken, e.g. `Visitor 2`.
    pub name: String,
    /// Place id of where this person is.
    pub place: String,
}

/// Who signed, when, and until when it holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Signature {
    /// Responder id of a competent person.
    pub by: String,
    /// Wall clock, ms since 1970.
    pub wall_ms: i64,
    /// Wall clock at which the shift ends.
    pub until_ms: i64,
}

/// Something that changed in a shift.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Changed {
    /// What.
    pub what: Change,
    /// Wall clock, ms since 1970.
    pub wall_ms: i64,
}

/// What can change in a shift.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Change {
    /// Somebody left the site.
    Left {
        /// Responder id.
        responder: String,
    },
    /// Kit is not where it is kept: moved, lent, broken, a lift driven away.
    KitGone {
        /// Station id.
        station: String,
        /// Kit id.
        item: String,
    },
    /// The wind is now this strong, gusts counted.
    Wind {
        /// How strong.
        speed: Speed,
    },
    /// Lightning is near.
    Lightning,
}

/// Who lets people work where it is not ready.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Allowance {
    /// Position id.
    pub position: String,
    /// Responder id.
    pub by: String,
    /// Why.
    pub reason: Reason,
    /// Wall clock, ms since 1970.
    pub wall_ms: i64,
}

/// Why people work where it is not ready. Each is a fact that somebody can be asked about afterwards.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// They are there only to come down.
    ComingDown,
    /// They make the place safe.
    MakingSafe,
    /// A rescue crew from outside stands by here.
    OutsideStandsBy,
    /// What is missing is on its way.
    OnItsWay,
}

impl Reason {
    /// All of them.
    pub const ALL: [Reason; 4] = [
        Reason::ComingDown,
        Reason::MakingSafe,
        Reason::OutsideStandsBy,
        Reason::OnItsWay,
    ];

    /// In words.
    pub fn message(self) -> Message {
        Message::of(match self {
            Reason::ComingDown => Id::AllowComingDown,
            Reason::MakingSafe => Id::AllowMakingSafe,
            Reason::OutsideStandsBy => Id::AllowOutside,
            Reason::OnItsWay => Id::AllowOnItsWay,
        })
    }
}

/// What somebody says at the start of a shift, or in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Declare {
    /// People work at this position today, or not any more.
    Use(String),
    /// Number of the permit for a position.
    Permit(String, String),
    /// This person works at a position, or not: position, responder.
    Works(String, String),
    /// This person watches a position: position, responder.
    Watches(String, String),
    /// Mean wind.
    Wind(Speed),
    /// Gusts.
    Gust(Speed),
    /// How well one sees.
    Light(Light),
    /// Whether lightning is near.
    Lightning(bool),
    /// This person holds a qualification today: qualification, responder.
    Holds(String, String),
    /// Kit was touched and counted.
    Count(Counted),
    /// All kit of a station was touched and is whole: station.
    CountAll(String),
    /// Everybody answered on the radio, or not yet.
    Radio(bool),
    /// Everything is charged, or not yet.
    Battery(bool),
    /// This person heard the briefing, or not.
    Heard(String),
    /// Somebody whom the plan does not know is at this place.
    Visits(String),
    /// A visitor left.
    VisitorLeft(String),
    /// A competent person signs: responder.
    Sign(String),
    /// People may work at a position that is not ready: position, who says so, why.
    Allow(String, String, Reason),
    /// Something changed.
    Changed(Change),
    /// The shift is over.
    End,
}

/// A part of the check at the start of a shift.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Part {
    /// Where people work, with permit, workers and watcher.
    Places,
    /// Wind, gusts, light, lightning.
    Weather,
    /// Who holds each rescue qualification.
    Crew,
    /// Kit touched and counted.
    Kit,
    /// Everybody answered on the radio.
    Radio,
    /// Everything is charged.
    Battery,
    /// Everybody heard the briefing.
    Briefing,
    /// Every place in use is ready, or somebody lets people work there.
    Ready,
}

impl Part {
    /// All of them, in the order in which they are gone through.
    pub const ALL: [Part; 8] = [
        Part::Places,
        Part::Weather,
        Part::Crew,
        Part::Kit,
        Part::Radio,
        Part::Battery,
        Part::Briefing,
        Part::Ready,
    ];
}

/// The clock of the tablet, for a signature.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    /// Wall clock, ms since 1970.
    pub wall_ms: i64,
    /// The day.
    pub day: chrono::NaiveDate,
}

/// What a shift is looked at with.
#[derive(Clone, Copy, Debug)]
pub struct Scope<'a> {
    /// The plan in use.
    pub plan: &'a Plan,
    /// Responder ids of those on site.
    pub present: &'a [String],
    /// Position ids of those that are not ready today.
    pub not_ready: &'a [String],
}

impl Shift {
    /// Takes what somebody says. True where it changed something.
    pub fn declare(&mut self, said: Declare, scope: Scope<'_>, clock: Clock) -> bool {
        let before = self.clone();
        match said {
            Declare::Use(position) => self.swap_use(&position, scope.plan),
            Declare::Permit(position, permit) => {
                if let Some(place) = self.place_mut(&position) {
                    place.permit = permit;
                }
            }
            Declare::Works(position, person) => {
                if let Some(place) = self.place_mut(&position) {
                    swap(&mut place.workers, person);
                }
            }
            Declare::Watches(position, person) => {
                if let Some(place) = self.place_mut(&position) {
                    place.watcher = Some(person);
                }
            }
            Declare::Wind(speed) => {
                self.wind = Some(speed);
                self.gust = self.gust.map(|gust| gust.max(speed));
            }
            Declare::Gust(speed) => self.gust = Some(speed.max(self.wind.unwrap_or(speed))),
            Declare::Light(light) => self.light = Some(light),
            Declare::Lightning(near) => self.lightning = Some(near),
            Declare::Holds(qualification, responder) => {
                self.holders.retain(|it| it.qualification != qualification);
                self.holders.push(Holder {
                    qualification,
                    responder,
                });
            }
            Declare::Count(counted) => self.count(counted),
            Declare::CountAll(station) => {
                let kept = scope.plan.station(&station);
                for item in kept.into_iter().flat_map(|it| &it.kit) {
                    if item.in_service() {
                        self.count(Counted {
                            station: station.clone(),
                            item: item.id.clone(),
                            count: item.count,
                        });
                    }
                }
            }
            Declare::Radio(answered) => self.radio = answered,
            Declare::Battery(charged) => self.battery = charged,
            Declare::Heard(person) => swap(&mut self.heard, person),
            Declare::Visits(place) => self.visits(place, scope.plan),
            Declare::VisitorLeft(id) => {
                self.visitors.retain(|it| it.id != id);
                self.forget(&id);
            }
            Declare::Allow(position, by, reason) => {
                self.allowed.retain(|it| it.position != position);
                self.allowed.push(Allowance {
                    position,
                    by,
                    reason,
                    wall_ms: clock.wall_ms,
                });
                // Whoever signed has not read this.
                self.signed = None;
            }
            Declare::Changed(what) => self.changed(what, clock),
            Declare::Sign(by) => {
                if self.may_sign(&by, scope, clock.day) {
                    let length = scope.plan.policy.shift_length;
                    self.signed = Some(Signature {
                        by,
                        wall_ms: clock.wall_ms,
                        until_ms: clock.wall_ms.saturating_add(length.0),
                    });
                    self.begun = true;
                }
                return *self != before;
            }
            Declare::End => *self = Shift::default(),
        }
        let different = *self != before;
        if different {
            // A signature is for what was there when it was given.
            self.signed = None;
        }
        different
    }

    /// Notes where rescue was lost or came back, from how the positions stood and stand. True where one was lost.
    pub fn note(&mut self, before: &[Standing], now: &[Standing]) -> bool {
        let grade =
            |all: &[Standing], id: &str| all.iter().find(|it| it.position == id).map(|it| it.grade);
        let not_ready = |id: &str| grade(now, id) == Some(Grade::NotReady);
        self.lost.retain(|id| not_ready(id));
        let used = self.in_use.iter().map(|it| it.position.as_str());
        let lost = used.filter(|id| {
            let stood = grade(before, id).is_some_and(|it| it != Grade::NotReady);
            self.begun && stood && not_ready(id) && self.allowance(id).is_none()
        });
        let lost: Vec<String> = lost
            .filter(|id| !self.lost.iter().any(|it| it == id))
            .map(str::to_owned)
            .collect();
        let any = !lost.is_empty();
        self.lost.extend(lost);
        any
    }

    /// True while it is signed and its time has not run out.
    pub fn holds(&self, wall_ms: i64) -> bool {
        self.signed
            .as_ref()
            .is_some_and(|it| (it.wall_ms..it.until_ms).contains(&wall_ms))
    }

    /// What the first open point of a part is; none where nothing is missing.
    pub fn missing(&self, part: Part, scope: Scope<'_>, day: chrono::NaiveDate) -> Option<Message> {
        match part {
            Part::Places => self.place_lacks(scope),
            Part::Weather => {
                let said = [
                    (self.wind.is_some(), Id::ShiftNoWind),
                    (self.gust.is_some(), Id::ShiftNoGust),
                    (self.light.is_some(), Id::ShiftNoLight),
                    (self.lightning.is_some(), Id::ShiftNoLightning),
                ];
                let open = said.iter().find(|(said, _)| !said);
                open.map(|(_, id)| Message::of(*id))
            }
            Part::Crew => self.crew_lacks(scope, day),
            Part::Kit => {
                let needed = self.stations(scope.plan);
                let open = needed
                    .into_iter()
                    .find(|id| !self.is_counted(id, scope.plan));
                let name = |id| scope.plan.station(id).map_or(id, |it| it.name.as_str());
                open.map(|id| Message::with(Id::ShiftNotCounted, [name(id)]))
            }
            Part::Radio => (!self.radio).then(|| Message::of(Id::ShiftNoRadio)),
            Part::Battery => (!self.battery).then(|| Message::of(Id::ShiftNoBattery)),
            Part::Briefing => {
                let all = scope.present.iter().map(String::as_str);
                let all = all.chain(self.visitors.iter().map(|it| it.id.as_str()));
                let mut missing = all.filter(|id| !self.heard.iter().any(|heard| heard == id));
                let first = missing.next()?;
                let others = missing.count();
                let name = self.name(first, scope.plan);
                Some(match others {
                    0 => Message::with(Id::ShiftNotHeard, [name]),
                    _ => Message::with(Id::ShiftNotHeardMore, [name, &others.to_string()]),
                })
            }
            Part::Ready => {
                let open = self
                    .in_use
                    .iter()
                    .find(|it| self.blocks(&it.position, scope))?;
                let position = scope.plan.position(&open.position)?;
                Some(Message::with(Id::ShiftNotReady, [&position.name]))
            }
        }
    }

    /// True where this person may sign now.
    pub fn may_sign(&self, by: &str, scope: Scope<'_>, day: chrono::NaiveDate) -> bool {
        let competent = scope.plan.responder(by).is_some_and(|it| it.competent);
        competent
            && scope.present.iter().any(|id| id == by)
            && Part::ALL
                .iter()
                .all(|part| self.missing(*part, scope, day).is_none())
    }

    /// True where this person works at height with nobody else there.
    pub fn works_alone(&self, person: &str) -> bool {
        let mut used = self.in_use.iter();
        used.any(|it| it.workers.len() == 1 && it.workers[0] == person)
    }

    /// True where this person can hold a rescue qualification in this shift.
    pub fn may_hold(
        &self,
        qualification: &str,
        person: &str,
        scope: Scope<'_>,
        day: chrono::NaiveDate,
    ) -> bool {
        let here = scope.present.iter().any(|id| id == person) && !self.works_alone(person);
        here && scope.plan.responder(person).is_some_and(|person| {
            let mut held = person.qualifications.iter();
            held.any(|it| it.name == qualification && it.until.is_none_or(|until| until >= day))
        })
    }

    /// Who lets people work at a position that is not ready.
    pub fn allowance(&self, position: &str) -> Option<&Allowance> {
        self.allowed.iter().find(|it| it.position == position)
    }

    /// The wind that kit and methods are judged by: the gusts where they are known.
    pub fn wind_that_counts(&self) -> Option<Speed> {
        self.gust.max(self.wind)
    }

    /// Kinds of kit that are not all there, each with its station.
    pub fn gone(&self, plan: &Plan) -> Vec<(String, String)> {
        let short = self.counted.iter().filter_map(|counted| {
            let station = plan.station(&counted.station)?;
            let item = station.kit.iter().find(|it| it.id == counted.item)?;
            (counted.count < item.count).then(|| (item.kind.clone(), station.id.clone()))
        });
        let mut gone: Vec<_> = short.collect();
        gone.sort();
        gone.dedup();
        gone
    }

    /// Qualifications that the methods at the positions in use need, each once, in the order of their names.
    pub fn needed(&self, plan: &Plan) -> Vec<String> {
        let positions = self.positions(plan);
        let methods = positions.iter().flat_map(|it| &it.methods);
        let roles = methods.flat_map(|it| &it.roles);
        let mut needed: Vec<String> = roles.filter_map(|it| it.qualification.clone()).collect();
        needed.sort();
        needed.dedup();
        needed
    }

    /// Stations that keep kit which the methods at the positions in use need, in the order of the plan.
    pub fn stations<'p>(&self, plan: &'p Plan) -> Vec<&'p str> {
        let positions = self.positions(plan);
        let roles = || {
            let methods = positions.iter().flat_map(|it| &it.methods);
            methods.flat_map(|it| &it.roles)
        };
        let needs = |kind: &str| roles().any(|role| role.kit.as_deref() == Some(kind));
        let stations = plan.stations.iter();
        let kept = stations.filter(|it| it.kit.iter().any(|it| it.in_service() && needs(&it.kind)));
        kept.map(|it| it.id.as_str()).collect()
    }

    /// True where every piece that a station keeps in service was counted.
    pub fn is_counted(&self, station: &str, plan: &Plan) -> bool {
        let counted = |item: &str| {
            let mut counted = self.counted.iter();
            counted.any(|it| it.station == station && it.item == item)
        };
        let kept = plan.station(station);
        let mut items = kept.into_iter().flat_map(|it| &it.kit);
        items.all(|it| !it.in_service() || counted(&it.id))
    }

    /// Who works at a position today: those named for the shift, else those whom the plan names.
    pub fn workers<'s>(&'s self, position: &'s Position) -> &'s [String] {
        let named = self.in_use.iter().find(|it| it.position == position.id);
        named
            .map(|it| &it.workers)
            .filter(|it| !it.is_empty())
            .unwrap_or(&position.workers)
    }

    /// The name of somebody as spoken.
    pub fn name<'s>(&'s self, id: &'s str, plan: &'s Plan) -> &'s str {
        let visitor = self.visitors.iter().find(|it| it.id == id);
        visitor
            .map(|it| &it.name)
            .or_else(|| plan.responder(id).map(|it| &it.name))
            .map_or(id, String::as_str)
    }

    fn positions<'p>(&self, plan: &'p Plan) -> Vec<&'p Position> {
        let used = self.in_use.iter();
        used.filter_map(|it| plan.position(&it.position)).collect()
    }

    fn place_mut(&mut self, position: &str) -> Option<&mut InUse> {
        self.in_use.iter_mut().find(|it| it.position == position)
    }

    fn swap_use(&mut self, position: &str, plan: &Plan) {
        let Some(planned) = plan.position(position) else {
            return;
        };
        if self.in_use.iter().any(|it| it.position == position) {
            self.in_use.retain(|it| it.position != position);
            self.allowed.retain(|it| it.position != position);
            return;
        }
        self.in_use.push(InUse {
            position: position.to_owned(),
            permit: String::new(),
            workers: planned.workers.clone(),
            watcher: None,
        });
    }

    fn count(&mut self, counted: Counted) {
        self.counted
            .retain(|it| it.station != counted.station || it.item != counted.item);
        self.counted.push(counted);
    }

    fn visits(&mut self, place: String, plan: &Plan) {
        if plan.place(&place).is_none() {
            return;
        }
        let taken =
            |id: &str| plan.responder(id).is_some() || self.visitors.iter().any(|it| it.id == id);
        let free = (1..=u32::MAX).map(|n| (n, format!("visitor-{n}")));
        let Some((number, id)) = free.into_iter().find(|(_, id)| !taken(id)) else {
            return;
        };
        self.visitors.push(Visitor {
            id,
            name: format!("Visitor {number}"),
            place,
        });
    }

    /// Takes somebody who is not here off every list.
    fn forget(&mut self, person: &str) {
        for place in &mut self.in_use {
            place.workers.retain(|id| id != person);
            place.watcher.take_if(|id| id == person);
        }
        self.holders.retain(|it| it.responder != person);
        self.heard.retain(|id| id != person);
        // An allowance goes with whoever gave it.
        self.allowed.retain(|it| it.by != person);
    }

    fn changed(&mut self, what: Change, clock: Clock) {
        match &what {
            Change::Left { responder } => self.forget(responder),
            Change::KitGone { station, item } => self.count(Counted {
                station: station.clone(),
                item: item.clone(),
                count: 0,
            }),
            Change::Wind { speed } => (self.wind, self.gust) = (Some(*speed), Some(*speed)),
            Change::Lightning => self.lightning = Some(true),
        }
        self.changes.push(Changed {
            what,
            wall_ms: clock.wall_ms,
        });
    }

    fn blocks(&self, position: &str, scope: Scope<'_>) -> bool {
        let not_ready = scope.not_ready.iter().any(|id| id == position);
        not_ready && self.allowance(position).is_none()
    }

    fn place_lacks(&self, scope: Scope<'_>) -> Option<Message> {
        if self.in_use.is_empty() {
            return Some(Message::of(Id::ShiftNoPlace));
        }
        let here =
            |id: &String| scope.present.contains(id) || self.visitors.iter().any(|it| it.id == *id);
        let known = self
            .in_use
            .iter()
            .filter_map(|it| Some((it, &scope.plan.position(&it.position)?.name)));
        let mut lacking = known.filter_map(|(place, name)| {
            let watched = place
                .watcher
                .as_ref()
                .is_some_and(|id| here(id) && !place.workers.contains(id));
            if place.permit.is_empty() {
                Some(Message::with(Id::ShiftNoPermit, [name]))
            } else if place.workers.is_empty() || !place.workers.iter().all(here) {
                Some(Message::with(Id::ShiftNoWorkers, [name]))
            } else if !watched {
                Some(Message::with(Id::ShiftNoWatcher, [name]))
            } else {
                None
            }
        });
        lacking.next()
    }

    /// Nobody who works at height with nobody else there holds a rescue qualification: whoever hangs alone rescues nobody.
    fn crew_lacks(&self, scope: Scope<'_>, day: chrono::NaiveDate) -> Option<Message> {
        let fits =
            |holder: &Holder| self.may_hold(&holder.qualification, &holder.responder, scope, day);
        let needed = self.needed(scope.plan);
        let open = needed.into_iter().find(|name| {
            let mut holders = self.holders.iter();
            !holders.any(|it| it.qualification == *name && fits(it))
        });
        open.map(|name| Message::with(Id::ShiftNobody, [&name]))
    }
}

/// Puts somebody on a list, or takes them off it.
fn swap(list: &mut Vec<String>, person: String) {
    match list.iter().position(|id| *id == person) {
        Some(index) => {
            list.remove(index);
        }
        None => list.push(person),
    }
}
