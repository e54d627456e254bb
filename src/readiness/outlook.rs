//! Puts together what is expected of every method at a position with the people who are there.
//!
//! The likely time is that of the last to arrive plus the likely times of the steps up to off the harness, one after the
//! other; the change-by time is the plan's. Limits: spread, chance and the best moment to change come with the computed
//! forecast, and one job a person does before another is not counted yet.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::model::{Forecast, MethodForecast, Paper, Posting};
use super::staffing::{Choice, Problem, solve};
use crate::plan::{KitItem, Method, Milestone, Plan, Position, Responder, Role, Routes};
use crate::units::Millis;

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
    /// Kinds of kit that were found missing, each with its station.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gone: Vec<(String, String)>,
    /// The day on the calendar, counted from the common era, by which papers are judged; 0 judges none.
    #[serde(default)]
    pub day: i32,
}

impl Basis {
    /// True where both ask for the same, whoever has another task by now.
    pub fn asks_as(&self, other: &Basis) -> bool {
        let without = |basis: &Basis| Basis {
            reserved: Vec::new(),
            ..basis.clone()
        };
        without(self) == without(other)
    }
}

/// The forecast for a position; none where the plan has no such position.
pub fn outlook(plan: &Plan, basis: &Basis) -> Option<Forecast> {
    let position = plan.position(&basis.position)?;
    let pool = Pool::new(plan, basis);
    let methods: Vec<_> = position.methods.iter().map(|it| pool.expect(it)).collect();
    let first_aider = pool.first_aider(position, &methods);
    Some(Forecast {
        position: position.id.clone(),
        methods,
        first_aider,
    })
}

/// The people who can be sent, and how far they are from everything.
struct Pool<'p> {
    plan: &'p Plan,
    basis: &'p Basis,
    /// In the order of their names, because that breaks ties.
    people: Vec<&'p Responder>,
    keep_free: Option<usize>,
    reserved: Vec<bool>,
    /// Times from where people are and where kit is kept.
    times: BTreeMap<&'p str, BTreeMap<&'p str, Millis>>,
}

impl<'p> Pool<'p> {
    fn new(plan: &'p Plan, basis: &'p Basis) -> Pool<'p> {
        let can_go =
            |it: &&Responder| basis.present.contains(&it.id) && !basis.excluded.contains(&it.id);
        let mut people: Vec<&Responder> = plan.responders.iter().filter(can_go).collect();
        people.sort_by_key(|it| (&it.name, &it.id));
        let keep_free = people
            .iter()
            .position(|it| Some(&it.id) == basis.in_command.as_ref());
        let routes = Routes::new(plan);
        let starts = people
            .iter()
            .map(|it| it.place.as_str())
            .chain(plan.stations.iter().map(|it| it.place.as_str()));
        let mut times = BTreeMap::new();
        for start in starts {
            times
                .entry(start)
                .or_insert_with(|| routes.times_from(start));
        }
        let reserved = people
            .iter()
            .map(|it| basis.reserved.contains(&it.id))
            .collect();
        Pool {
            plan,
            basis,
            people,
            reserved,
            keep_free,
            times,
        }
    }

    fn expect(&self, method: &Method) -> MethodForecast {
        // A stock is all kit of one kind at one station.
        let mut stocks: Vec<(usize, &str)> = Vec::new();
        for kind in method.roles.iter().filter_map(|role| role.kit.as_deref()) {
            for station in 0..self.plan.stations.len() {
                if !stocks.contains(&(station, kind)) && self.pieces(station, kind).next().is_some()
                {
                    stocks.push((station, kind));
                }
            }
        }
        let count = |(station, kind): &(usize, &str)| {
            u32::try_from(self.pieces(*station, kind).count()).unwrap_or(u32::MAX)
        };
        let crew = |all: bool| {
            solve(&Problem {
                roles: method
                    .roles
                    .iter()
                    .map(|role| self.choices(role, &stocks, all))
                    .collect(),
                stock: stocks.iter().map(count).collect(),
                keep_free: self.keep_free,
            })
        };
        let without = crew(false);
        let found = match without.chosen.iter().all(Option::is_some) {
            true => without,
            false => crew(true),
        };

        let mut pieces: Vec<_> = stocks
            .iter()
            .map(|(station, kind)| self.pieces(*station, kind))
            .collect();
        let (mut crew, mut unfilled, mut papers) = (Vec::new(), Vec::new(), Vec::new());
        for (role, choice) in method.roles.iter().zip(found.chosen) {
            let Some(choice) = choice else {
                unfilled.push(role.id.clone());
                continue;
            };
            let piece = choice.stock.and_then(|stock| pieces[stock].next());
            papers.extend(piece.and_then(|it| self.kit_paper(it)));
            papers.extend(self.person_paper(self.people[choice.person], role));
            crew.push(Posting {
                role: role.id.clone(),
                responder: self.people[choice.person].id.clone(),
                kit: piece.map(|it| it.name.clone()),
                station: choice
                    .stock
                    .map(|stock| self.plan.stations[stocks[stock].0].id.clone()),
                place: role.place.clone(),
                travel_ms: choice.time.0,
            });
        }
        let arrived = Millis(
            crew.iter()
                .map(|posting| posting.travel_ms)
                .max()
                .unwrap_or(0),
        );
        let contact = method
            .likely_until(Milestone::FirstContact)
            .map(|work| arrived.saturating_add(work).0);
        MethodForecast {
            method: method.id.clone(),
            change_after_ms: method.change_after.0,
            source: "plan".to_owned(),
            likely_ms: arrived.saturating_add(method.likely_work()).0,
            crew,
            contact_ms: contact,
            unfilled,
            no_kit: self.no_kit(method),
            papers,
        }
    }

    /// The kinds of which a method needs more than there are in service.
    fn no_kit(&self, method: &Method) -> Vec<String> {
        let mut wanted: BTreeMap<&str, usize> = BTreeMap::new();
        for kind in method.roles.iter().filter_map(|role| role.kit.as_deref()) {
            *wanted.entry(kind).or_default() += 1;
        }
        let stations = || 0..self.plan.stations.len();
        let there = |kind: &str| stations().map(|it| self.pieces(it, kind).count()).sum();
        let lacking = wanted.into_iter().filter(|(kind, count)| {
            let there: usize = there(kind);
            there < *count
        });
        lacking.map(|(kind, _)| kind.to_owned()).collect()
    }

    fn over(&self, day: Option<chrono::NaiveDate>) -> bool {
        use chrono::Datelike;
        day.is_some_and(|day| self.basis.day > 0 && day.num_days_from_ce() < self.basis.day)
    }

    fn kit_paper(&self, item: &KitItem) -> Option<Paper> {
        let kit = item.name.clone();
        if self.over(item.inspection_due) {
            Some(Paper::Inspection { kit })
        } else if item.lacks_rating() {
            Some(Paper::Rating { kit })
        } else {
            None
        }
    }

    fn person_paper(&self, person: &Responder, role: &Role) -> Option<Paper> {
        let needed = role.qualification.as_ref()?;
        let mut held = person.qualifications.iter().filter(|it| it.name == *needed);
        held.all(|it| self.over(it.until))
            .then(|| Paper::Qualification {
                responder: person.id.clone(),
                name: needed.clone(),
            })
    }

    /// Somebody trained in first aid who is needed least in the methods, by way of the nearest AED to the landing place;
    /// without an AED they go all the same.
    fn first_aider(&self, position: &Position, methods: &[MethodForecast]) -> Option<Box<Posting>> {
        let needed = |id: &str| {
            let in_crew = |it: &&MethodForecast| it.crew.iter().any(|p| p.responder == id);
            methods.iter().filter(in_crew).count()
        };
        let stations: Vec<(usize, Option<&KitItem>)> = (0..self.plan.stations.len())
            .map(|it| (it, self.pieces(it, KitItem::AED).next()))
            .filter(|(_, item)| item.is_some())
            .collect();
        let ways = |from: &str| {
            let by_station = stations.iter().filter_map(|(station, item)| {
                let kept = &self.plan.stations[*station];
                let there = self.time(from, &kept.place)?;
                let on = self.time(&kept.place, &position.landing)?;
                Some((
                    there.saturating_add(on),
                    Some(kept.id.clone()),
                    item.map(|it| it.name.clone()),
                ))
            });
            let with_kit = by_station.min_by_key(|(time, ..)| *time);
            with_kit.or_else(|| Some((self.time(from, &position.landing)?, None, None)))
        };
        let people = self.people.iter().enumerate().filter(|(index, person)| {
            !self.reserved[*index] && Some(*index) != self.keep_free && person.gives_first_aid()
        });
        let best = people
            .filter_map(|(_, person)| Some((person, ways(&person.place)?)))
            .min_by_key(|(person, (time, ..))| (needed(&person.id), *time))?;
        let (person, (time, station, kit)) = best;
        Some(Box::new(Posting {
            role: Posting::FIRST_AID.to_owned(),
            responder: person.id.clone(),
            kit,
            station,
            place: position.landing.clone(),
            travel_ms: time.0,
        }))
    }

    /// The pieces of one kind at one station that may be used.
    fn pieces<'k>(
        &'k self,
        station: usize,
        kind: &'k str,
    ) -> impl Iterator<Item = &'p KitItem> + use<'p, 'k> {
        let kept = &self.plan.stations[station];
        let gone = self
            .basis
            .gone
            .iter()
            .any(|(lost, at)| lost == kind && *at == kept.id);
        let kept = kept
            .kit
            .iter()
            .filter(move |item| !gone && item.kind == kind && item.in_service());
        kept.flat_map(|item| (0..item.count).map(move |_| item))
    }

    /// How a role can be filled, by `all` or only by those without another task.
    fn choices(&self, role: &Role, stocks: &[(usize, &str)], all: bool) -> Vec<Choice> {
        let mut choices = Vec::new();
        for (person, responder) in self.people.iter().enumerate() {
            if self.reserved[person] && !all {
                continue;
            }
            if role
                .qualification
                .as_ref()
                .is_some_and(|needed| !responder.holds(needed))
            {
                continue;
            }
            match &role.kit {
                None => {
                    let time = self.time(&responder.place, &role.place);
                    choices.extend(time.map(|time| Choice {
                        person,
                        stock: None,
                        time,
                    }));
                }
                Some(kind) => {
                    for (stock, (station, _)) in stocks
                        .iter()
                        .enumerate()
                        .filter(|(_, (_, kept))| kept == kind)
                    {
                        let station = &self.plan.stations[*station].place;
                        let there = self.time(&responder.place, station);
                        let back = self.time(station, &role.place);
                        let time = there
                            .zip(back)
                            .map(|(there, back)| there.saturating_add(back));
                        choices.extend(time.map(|time| Choice {
                            person,
                            stock: Some(stock),
                            time,
                        }));
                    }
                }
            }
        }
        choices
    }

    fn time(&self, from: &str, to: &str) -> Option<Millis> {
        self.times.get(from)?.get(to).copied()
    }
}
