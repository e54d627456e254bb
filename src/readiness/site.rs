//! Looks at every position of the site with the people, kit, wind and light of a day.
//!
//! A casualty may stop answering, so only methods that ask nothing of them count, and only those whose papers hold: a bad
//! day is when nine of ten rescues are done. One position needs nothing of another, so whoever has threads may share the
//! positions among them. Limits: one casualty at a time; people leave from where they usually are; how long it takes to
//! make the place safe is not in the plan.

use chrono::{Datelike, NaiveDate};

use super::basis::{Basis, Depth};
use super::changes::{Aim, Prospect};
use super::model::{Forecast, MethodForecast, Paper};
use super::outlook::Outlook;
use super::shift::Light;
use super::standing::{Expected, Grade, Standing, standings};
use super::steps::release;
use super::terrain::Terrain;
use crate::plan::{Method, Plan, Position};
use crate::units::{Millis, Speed};
use crate::words::{Id, Message, clock};

/// What the site is looked at with, besides the plan.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Conditions {
    /// The day, by which papers are judged.
    pub day: NaiveDate,
    /// Responder ids of those on site.
    pub present: Vec<String>,
    /// Responder id of the person in command.
    pub in_command: Option<String>,
    /// Wind, gusts counted; none where nobody said.
    pub wind: Option<Speed>,
    /// How well one sees; none counts as day.
    pub light: Option<Light>,
    /// Lightning is near.
    pub lightning: bool,
    /// Kinds of kit that are not where they are kept, each with its station.
    pub gone: Vec<(String, String)>,
    /// Who works at a position today, where that is not whom the plan names: position, responder ids.
    pub workers: Vec<(String, Vec<String>)>,
    /// Seed of the draws.
    pub seed: u64,
}

impl Conditions {
    /// A day with all people of the plan there and nothing said of the weather.
    pub fn everybody(plan: &Plan, day: NaiveDate) -> Conditions {
        Conditions {
            day,
            present: plan.responders.iter().map(|it| it.id.clone()).collect(),
            ..Conditions::default()
        }
    }

    /// Who may hang at a position.
    pub fn workers<'a>(&'a self, position: &'a Position) -> &'a [String] {
        let named = self.workers.iter().find(|(id, _)| *id == position.id);
        named.map_or(&position.workers, |(_, workers)| workers)
    }
}

/// How a position stands, with everything that was computed for it.
#[derive(Clone, Debug)]
pub struct Look {
    /// The short of it.
    pub standing: Standing,
    /// Who goes, how long each method takes, when to change.
    pub forecast: Forecast,
    /// What the whole ladder gives; none where no method counts.
    pub prospect: Option<Prospect>,
    /// The same, to be compared with when something is changed.
    pub(super) outlook: Outlook,
}

/// A site on a day.
pub struct Site<'p> {
    plan: &'p Plan,
    conditions: &'p Conditions,
    terrain: Terrain<'p>,
    quick: Vec<Standing>,
    depth: Depth,
}

impl<'p> Site<'p> {
    /// Prepares what all positions share.
    pub fn new(plan: &'p Plan, conditions: &'p Conditions, depth: Depth) -> Site<'p> {
        Site {
            terrain: Terrain::new(plan),
            quick: standings(plan, conditions),
            plan,
            conditions,
            depth,
        }
    }

    /// The same ways and heights with another plan: other people, kit or times.
    pub(super) fn beside<'q>(&self, plan: &'q Plan, conditions: &'q Conditions) -> Site<'q>
    where
        'p: 'q,
    {
        Site {
            terrain: self.terrain.beside(plan),
            quick: standings(plan, conditions),
            plan,
            conditions,
            depth: self.depth,
        }
    }

    /// How many positions there are.
    pub fn len(&self) -> usize {
        self.plan.positions.len()
    }

    /// True where nobody works at height.
    pub fn is_empty(&self) -> bool {
        self.plan.positions.is_empty()
    }

    /// Looks at one position; the index is that of the plan.
    pub fn look(&self, index: usize) -> Look {
        self.look_beside(index, None)
    }

    /// The same, with what was found before something was changed as a candidate.
    pub fn look_beside(&self, index: usize, before: Option<&Look>) -> Look {
        let position = &self.plan.positions[index];
        let basis = self.basis(position);
        let before = before.map(|it| &it.outlook);
        let outlook = Outlook::new(&self.terrain, &basis, self.depth, before)
            .expect("the position is in the plan");
        let standing = self.standing(position, &self.quick[index], &outlook);
        Look {
            standing,
            forecast: outlook.forecast.clone(),
            prospect: outlook.prospect.clone(),
            outlook,
        }
    }

    /// What every fresh draw is worth at a position.
    pub fn values(&self, index: usize, look: &Look) -> Vec<f32> {
        let basis = self.basis(&self.plan.positions[index]);
        look.outlook.values(self.plan, &basis, self.depth)
    }

    fn basis(&self, position: &Position) -> Basis {
        let conditions = self.conditions;
        let needy = position.methods.iter().filter(|it| !it.needs.is_empty());
        Basis {
            position: position.id.clone(),
            present: conditions.present.clone(),
            in_command: conditions.in_command.clone(),
            excluded: conditions.workers(position).to_vec(),
            gone: conditions.gone.clone(),
            day: conditions.day.num_days_from_ce(),
            since_fall: self.plan.policy.alarm_time,
            aim: Aim::OffHarness,
            out: needy.map(|it| it.id.clone()).collect(),
            wind: conditions.wind,
            dark: conditions.light == Some(Light::Dark),
            seed: conditions.seed,
            casualty: 1,
            ready: true,
            ..Basis::default()
        }
    }

    fn standing(&self, position: &Position, quick: &Standing, outlook: &Outlook) -> Standing {
        let policy = &self.plan.policy;
        let forecast = &outlook.forecast;
        let counted = |id: &str| forecast.order.iter().any(|it| it == id);
        let assumed = forecast
            .methods
            .iter()
            .any(|it| it.assumed && counted(&it.method));
        let expected = outlook.prospect.as_ref().map(|it| Expected {
            likely: it.p50,
            bad_day: it.p90,
            contact: it.contact_p50,
            chance: it.chance,
            assumed,
        });
        let bad_day = expected.and_then(|it| it.bad_day);
        // A bad day that long makes a place not ready whatever the papers say (S9).
        let too_long = bad_day.is_none_or(|it| it >= policy.value_ends);
        let lacks = || self.first_lack(position, forecast);
        let why_not = match (&quick.why_not, &expected) {
            (Some(why), _) => Some(why.clone()),
            (None, None) => Some(lacks().unwrap_or_else(|| Message::of(Id::NotReadyHelpless))),
            (None, Some(_)) if too_long => Some(match bad_day {
                Some(bad_day) => Message::with(Id::NotReadyBadDay, [&clock(bad_day)]),
                None => Message::of(Id::NotReadyUnlikely),
            }),
            (None, Some(_)) => None,
        };
        let slow = bad_day.is_some_and(|it| it > policy.target);
        let grade = match (&why_not, slow) {
            (Some(_), _) => Grade::NotReady,
            (None, true) => Grade::Slow,
            (None, false) => Grade::Ready,
        };
        let held_back = || {
            let first = forecast.order.first()?;
            let method = position.methods.iter().find(|it| it.id == *first)?;
            let computed = forecast.methods.iter().find(|it| it.method == *first)?;
            Some(self.weakest(method, computed))
        };
        let line = why_not.clone().or_else(held_back);
        Standing {
            position: position.id.clone(),
            grade,
            why_not,
            line,
            expected,
        }
    }

    /// Why the first method that asks nothing of the casualty does not count.
    fn first_lack(&self, position: &Position, forecast: &Forecast) -> Option<Message> {
        let own = forecast.methods.iter().zip(&position.methods);
        let mut own = own.filter(|(_, method)| method.needs.is_empty());
        own.find_map(|(computed, method)| {
            if let Some(unfit) = &computed.unfit {
                return Some(unfit.message());
            }
            if let Some(kind) = computed.no_kit.first() {
                return Some(Message::with(Id::NotReadyKit, [kind]));
            }
            if let Some(role) = computed.unfilled.first() {
                let needed = method.role(role).and_then(|it| it.qualification.as_deref());
                return Some(match needed {
                    Some(needed) => Message::with(Id::NotReadyNobody, [needed]),
                    None => Message::of(Id::NotReadyTooFew),
                });
            }
            computed.papers.first().map(|paper| match paper {
                Paper::Inspection { kit } => Message::with(Id::NotReadyInspection, [kit]),
                Paper::Rating { kit } => Message::with(Id::NotReadyRating, [kit]),
                Paper::Qualification { name, .. } => Message::with(Id::NotReadyEnded, [name]),
            })
        })
    }

    /// What takes longest in a method: a way or a step.
    fn weakest(&self, method: &Method, computed: &MethodForecast) -> Message {
        let ways = computed.crew.iter().map(|it| {
            let person = self.plan.responder(&it.responder);
            let name = person.map_or(it.responder.as_str(), |it| it.name.as_str());
            (it.travel_ms, name)
        });
        let way = ways.max_by_key(|(time, _)| *time);
        let steps = method.steps[..release(method)]
            .iter()
            .map(|it| (it.time.likely.0, it.done.as_str()));
        let step = steps.max_by_key(|(time, _)| *time);
        match (way, step) {
            (Some((way, name)), Some((step, _))) if way >= step => {
                Message::with(Id::ReadyWay, [name, &clock(Millis(way))])
            }
            (_, Some((step, done))) => Message::with(Id::ReadyStep, [done, &clock(Millis(step))]),
            (Some((way, name)), None) => Message::with(Id::ReadyWay, [name, &clock(Millis(way))]),
            (None, None) => Message::of(Id::NotReadyNoMethod),
        }
    }
}
