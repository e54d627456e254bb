//! Says what would help most: one change at a time, valued on the same draws with and without it.
//!
//! One more qualified person at each usual place, each kind of kit at each station, longer ropes and ladders from the plan's
//! own list, a closed way opened, a drill that would take the place of assumed times: each is tried at the ten positions that
//! are worst. Crews and change-by times from before stay candidates, so no change can look harmful by chance. Limits: one
//! change at a time; a drill is taken to confirm the likely times and to halve their spread, which nobody can know before.

use super::basis::Depth;
use super::site::{Conditions, Look, Site};
use super::whole;
use crate::plan::{Holding, KitItem, Plan, Position, ThreePoint};
use crate::units::{Millis, Ratio};
use crate::words::{Id, Message};

/// So many positions are looked at.
const WORST: usize = 10;
/// Id of what is added; no plan has it, because ids have no space.
const ADDED: &str = "what if";

/// What one change would bring at the positions that are worst.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gain {
    /// The change, in words.
    pub what: Message,
    /// What it adds to the mean value of a rescue there; negative where it takes away.
    pub gain: Ratio,
    /// Standard error of that, from pairs of draws.
    pub error: Ratio,
    /// Name of the position where it helps most.
    pub at: String,
}

impl Gain {
    /// True where the gain is at least two standard errors, and one rescue in two thousand.
    pub fn is_measurable(&self) -> bool {
        const LEAST: i64 = 500;
        self.gain.0 >= LEAST && self.gain.0 >= self.error.0.saturating_mul(2)
    }
}

/// The changes that were tried, best first.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WhatIfs {
    /// How many have been tried.
    pub done: u32,
    /// How many there are.
    pub all: u32,
    /// True once no more is tried: all were, or somebody stopped it.
    pub ended: bool,
    /// Those that were tried, best first.
    pub gains: Vec<Gain>,
}

impl WhatIfs {
    /// Adds one that was tried, in its place.
    pub fn add(&mut self, gain: Gain) {
        let key = |it: &Gain| (!it.is_measurable(), -it.gain.0);
        let place = self.gains.partition_point(|it| key(it) <= key(&gain));
        self.gains.insert(place, gain);
        self.done = self.done.saturating_add(1);
        self.ended |= self.done >= self.all;
    }
}

/// Something that could be different.
#[derive(Clone, Debug)]
enum Change {
    Person {
        qualification: String,
        place: String,
    },
    Kit {
        item: Box<KitItem>,
        station: String,
    },
    Open {
        link: String,
    },
    Drill {
        position: String,
        method: String,
    },
}

/// The changes to try at the worst positions of a site.
pub struct Trials {
    /// Only with those positions, because nothing else is looked at.
    plan: Plan,
    conditions: Conditions,
    changes: Vec<Change>,
    before: Vec<(Look, Vec<f32>)>,
}

impl Trials {
    /// How a site is looked at for this.
    pub const DEPTH: Depth = Depth {
        choose_on: 100,
        decide_on: 200,
        value_on: 2_000,
    };

    /// Finds the worst positions of a site that was looked at, and what could be different there.
    pub fn new(plan: &Plan, conditions: &Conditions, looks: &[Look]) -> Trials {
        let mut order: Vec<usize> = (0..looks.len().min(plan.positions.len())).collect();
        let worth = |look: &Look| look.prospect.as_ref().map_or(0.0, |it| it.value);
        order.sort_by(|a, b| {
            let (a, b) = (&looks[*a], &looks[*b]);
            let grades = b.standing.grade.cmp(&a.standing.grade);
            grades.then(worth(a).total_cmp(&worth(b)))
        });
        order.truncate(WORST);
        let mut plan = plan.clone();
        let all = std::mem::take(&mut plan.positions);
        plan.positions = order.iter().map(|index| all[*index].clone()).collect();
        let conditions = conditions.clone();
        let before = {
            let site = Site::new(&plan, &conditions, Trials::DEPTH);
            let looks = (0..site.len()).map(|index| {
                let look = site.look(index);
                let values = site.values(index, &look);
                (look, values)
            });
            looks.collect()
        };
        Trials {
            changes: changes(&plan),
            plan,
            conditions,
            before,
        }
    }

    /// How many changes there are.
    pub fn len(&self) -> usize {
        self.changes.len()
    }

    /// True where nothing could be different.
    pub fn is_empty(&self) -> bool {
        self.changes.is_empty()
    }

    /// Prepares what the trials share; one for each thread.
    pub fn bench(&self) -> Bench<'_> {
        Bench {
            trials: self,
            site: Site::new(&self.plan, &self.conditions, Trials::DEPTH),
        }
    }

    /// What is different, in words.
    fn message(&self, change: &Change) -> Message {
        let place = |id: &str| {
            self.plan
                .place(id)
                .map_or(id.to_owned(), |it| it.name.clone())
        };
        let station = |id: &str| {
            self.plan
                .station(id)
                .map_or(id.to_owned(), |it| it.name.clone())
        };
        match change {
            Change::Person {
                qualification,
                place: at,
            } => Message::with(Id::WhatPerson, [qualification, &place(at)]),
            Change::Kit { item, station: at } => {
                Message::with(Id::WhatKit, [&item.name, &station(at)])
            }
            Change::Open { link } => {
                let link = self.plan.links.iter().find(|it| it.id == *link);
                let ends =
                    link.map_or_else(Default::default, |it| (place(&it.from), place(&it.to)));
                Message::with(Id::WhatOpen, [&ends.0, &ends.1])
            }
            Change::Drill { position, method } => {
                let position = self.plan.position(position);
                let method = position.and_then(|it| it.method(method));
                let names = [
                    method.map_or("", |it| it.name.as_str()),
                    position.map_or("", |it| it.name.as_str()),
                ];
                Message::with(Id::WhatDrill, names)
            }
        }
    }
}

/// Where trials are made.
pub struct Bench<'t> {
    trials: &'t Trials,
    site: Site<'t>,
}

impl Bench<'_> {
    /// Tries one change.
    pub fn look(&self, index: usize) -> Gain {
        let trials = self.trials;
        let change = &trials.changes[index];
        let (plan, conditions) = apply(change, &trials.plan, &trials.conditions);
        let ways_change = matches!(change, Change::Open { .. });
        let site = match ways_change {
            true => Site::new(&plan, &conditions, Trials::DEPTH),
            false => self.site.beside(&plan, &conditions),
        };
        let (mut gain, mut variance, mut most, mut at) = (0.0, 0.0, f64::NEG_INFINITY, "");
        for (index, (look, before)) in trials.before.iter().enumerate() {
            let now = site.look_beside(index, Some(look));
            let values = site.values(index, &now);
            let (mean, of_mean) = difference(&values, before);
            gain += mean;
            variance += of_mean;
            if mean > most {
                (most, at) = (mean, plan.positions[index].name.as_str());
            }
        }
        let count = trials.before.len().max(1) as f64;
        Gain {
            what: trials.message(change),
            gain: whole::parts(gain / count),
            error: whole::parts(variance.sqrt() / count),
            at: at.to_owned(),
        }
    }
}

/// Mean of the differences draw by draw, and the variance of that mean. Where no method can be tried every draw is worth
/// nothing.
fn difference(now: &[f32], before: &[f32]) -> (f64, f64) {
    let count = now.len().max(before.len());
    if count < 2 {
        return (0.0, 0.0);
    }
    let at = |values: &[f32], index: usize| f64::from(values.get(index).copied().unwrap_or(0.0));
    let differences = || (0..count).map(|index| at(now, index) - at(before, index));
    let mean = differences().sum::<f64>() / count as f64;
    let squares: f64 = differences().map(|it| (it - mean) * (it - mean)).sum();
    let variance = squares / (count - 1) as f64;
    (mean, variance / count as f64)
}

fn changes(plan: &Plan) -> Vec<Change> {
    let roles = || {
        let methods = plan.positions.iter().flat_map(|it| &it.methods);
        methods.flat_map(|it| &it.roles)
    };
    let mut changes = Vec::new();
    let once = |mut all: Vec<&str>| -> Vec<String> {
        all.sort_unstable();
        all.dedup();
        all.into_iter().map(str::to_owned).collect()
    };
    let needed = once(
        roles()
            .filter_map(|it| it.qualification.as_deref())
            .collect(),
    );
    let places = once(plan.responders.iter().map(|it| it.place.as_str()).collect());
    for qualification in &needed {
        let person = |place: &String| Change::Person {
            qualification: qualification.clone(),
            place: place.clone(),
        };
        changes.extend(places.iter().map(person));
    }
    let kinds = once(roles().filter_map(|it| it.kit.as_deref()).collect());
    let kept = || plan.stations.iter().flat_map(|it| &it.kit);
    for kind in &kinds {
        let of_kind = kept().filter(|it| it.kind == *kind && it.in_service());
        // The longest there is, because a shorter one helps nobody more.
        let best = of_kind.max_by_key(|it| (it.length, it.reach));
        let considered = plan.considered.iter().filter(|it| it.kind == *kind);
        let items: Vec<&KitItem> = best.into_iter().chain(considered).collect();
        for item in items {
            let at = |station: &crate::plan::Station| Change::Kit {
                item: Box::new(item.clone()),
                station: station.id.clone(),
            };
            changes.extend(plan.stations.iter().map(at));
        }
    }
    let closed = plan.links.iter().filter(|it| it.closed.is_some());
    changes.extend(closed.map(|it| Change::Open {
        link: it.id.clone(),
    }));
    let enough = plan.policy.drills_enough;
    for position in &plan.positions {
        let assumed = position
            .methods
            .iter()
            .filter(|it| it.needs.is_empty() && it.drills.unwrap_or(0) < enough);
        changes.extend(assumed.map(|method| Change::Drill {
            position: position.id.clone(),
            method: method.id.clone(),
        }));
    }
    changes
}

fn apply(change: &Change, plan: &Plan, conditions: &Conditions) -> (Plan, Conditions) {
    let (mut plan, mut conditions) = (plan.clone(), conditions.clone());
    match change {
        Change::Person {
            qualification,
            place,
        } => {
            plan.responders.push(crate::plan::Responder {
                id: ADDED.to_owned(),
                // Last by name, so that who was there before keeps every tie.
                name: format!("\u{10ffff}{ADDED}"),
                place: place.clone(),
                qualifications: vec![Holding {
                    name: qualification.clone(),
                    until: None,
                }],
                ..Default::default()
            });
            conditions.present.push(ADDED.to_owned());
        }
        Change::Kit { item, station } => {
            let kept = plan.stations.iter_mut().find(|it| it.id == *station);
            if let Some(kept) = kept {
                kept.kit.push(KitItem {
                    id: ADDED.to_owned(),
                    count: 1,
                    inspection_due: None,
                    out_of_service: None,
                    ..KitItem::clone(item)
                });
            }
        }
        Change::Open { link } => {
            let ways = plan.links.iter_mut().filter(|it| it.id == *link);
            ways.for_each(|it| it.closed = None);
        }
        Change::Drill { position, method } => {
            let drilled = plan.positions.iter_mut().filter(|it| it.id == *position);
            drilled.for_each(|it| drill(it, method));
        }
    }
    (plan, conditions)
}

fn drill(position: &mut Position, method: &str) {
    for method in position.methods.iter_mut().filter(|it| it.id == method) {
        for step in &mut method.steps {
            step.time = halved(step.time);
        }
    }
}

fn halved(time: ThreePoint) -> ThreePoint {
    let between = |end: Millis| Millis(end.0.saturating_add(time.likely.0) / 2);
    ThreePoint {
        short: between(time.short),
        likely: time.likely,
        long: between(time.long),
    }
}
