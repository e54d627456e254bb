//! Gathers who can be sent, which kit fits, and how far everybody is, for one position; makes postings of who was chosen.
//!
//! A stock is one kind of piece at one station. Pieces that are out of service, gone, or cannot physically do what a role
//! needs are no choice for it; a paper that ran out is one, and is said. Limits: kit is taken from where it is kept.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::NaiveDate;

use super::basis::Basis;
use super::fit::{Fitting, Today, Unfit, physical};
use super::hang::Elevations;
use super::model::{MethodForecast, Paper, Posting};
use super::staffing::Choice;
use crate::plan::{
    KitItem, Method, Plan, Position, Responder, Role, Routes, Station, ThreePoint, Ways,
};
use crate::units::Millis;

/// What is the same for every position of a plan: its ways and heights.
pub struct Terrain<'p> {
    pub(super) plan: &'p Plan,
    routes: Arc<Routes<'p>>,
    /// From where people are and where kit is kept.
    ways: Arc<Ways<'p>>,
    elevations: Arc<Elevations<'p>>,
}

impl<'p> Terrain<'p> {
    /// Looks at the ways and heights of a plan.
    pub fn new(plan: &'p Plan) -> Terrain<'p> {
        let routes = Routes::new(plan);
        let people = plan.responders.iter().map(|it| it.place.as_str());
        let stations = plan.stations.iter().map(|it| it.place.as_str());
        let starts: Vec<&str> = people.chain(stations).collect();
        Terrain {
            plan,
            ways: Arc::new(routes.table(&starts)),
            elevations: Arc::new(Elevations::of(plan)),
            routes: Arc::new(routes),
        }
    }

    /// The same ways with another plan, whose places and links are the same.
    pub(super) fn beside<'q>(&self, plan: &'q Plan) -> Terrain<'q>
    where
        'p: 'q,
    {
        Terrain {
            plan,
            ways: self.ways.clone(),
            elevations: self.elevations.clone(),
            routes: self.routes.clone(),
        }
    }
}

/// Pieces of one kit item at its station.
#[derive(Clone, Copy)]
pub(super) struct Stock<'p> {
    station: &'p Station,
    item: &'p KitItem,
}

/// Whom to count besides those who are free and whose papers hold, as their kit's do.
#[derive(Clone, Copy)]
pub(super) struct Admit {
    /// Those who have another task.
    pub(super) busy: bool,
    /// Those whose papers ran out, or their kit's, also where there are others for the role.
    pub(super) lapsed: bool,
}

impl Admit {
    /// From the least to all: whoever has another task only where nobody else can, a paper that ran out only where no other
    /// crew is there.
    pub(super) const WIDER: [Admit; 4] = [
        Admit {
            busy: false,
            lapsed: false,
        },
        Admit {
            busy: false,
            lapsed: true,
        },
        Admit {
            busy: true,
            lapsed: false,
        },
        Admit {
            busy: true,
            lapsed: true,
        },
    ];
}

/// A stock, and why it does not fit, if so.
type Judged = (usize, Option<Unfit>);

/// The people and the kit for one position.
pub(super) struct Pool<'t, 'p> {
    pub(super) terrain: &'t Terrain<'p>,
    basis: &'t Basis,
    pub(super) position: &'p Position,
    fitting: Fitting<'p>,
    today: Today,
    /// For every method and role the stocks of the kind it brings, each with why it does not fit, if so.
    pieces: Vec<Vec<Vec<Judged>>>,
    /// In the order of their names, because that breaks ties.
    pub(super) people: Vec<&'p Responder>,
    pub(super) keep_free: Option<usize>,
    reserved: Vec<bool>,
    pub(super) stocks: Vec<Stock<'p>>,
    /// From where roles stand.
    onward: Ways<'p>,
}

impl<'t, 'p> Pool<'t, 'p> {
    pub(super) fn new(
        terrain: &'t Terrain<'p>,
        position: &'p Position,
        basis: &'t Basis,
    ) -> Pool<'t, 'p> {
        let plan = terrain.plan;
        let can_go =
            |it: &&Responder| basis.present.contains(&it.id) && !basis.excluded.contains(&it.id);
        let mut people: Vec<&Responder> = plan.responders.iter().filter(can_go).collect();
        people.sort_by_key(|it| (&it.name, &it.id));
        let command = basis.in_command.as_ref();
        let keep_free = people.iter().position(|it| Some(&it.id) == command);
        let reserved = people.iter().map(|it| basis.reserved.contains(&it.id));
        let roles = || position.methods.iter().flat_map(|it| &it.roles);
        let wanted = |kind: &str| roles().any(|role| role.kit.as_deref() == Some(kind));
        let gone = |station: &Station, item: &KitItem| {
            let mut gone = basis.gone.iter();
            gone.any(|(kind, at)| *kind == item.kind && *at == station.id)
        };
        let kept = plan.stations.iter().flat_map(|station| {
            let kit = station.kit.iter();
            kit.map(move |item| Stock { station, item })
        });
        let stocks = kept.filter(|it| {
            it.item.in_service() && wanted(&it.item.kind) && !gone(it.station, it.item)
        });
        let mut stocks: Vec<Stock<'p>> = stocks.collect();
        // Where two are as near, the name decides and not the order of the file.
        stocks.sort_by_key(|it| (&it.station.name, &it.station.id, &it.item.name, &it.item.id));
        let fitting = Fitting::with(plan, position, &terrain.elevations);
        let today = Today {
            wind: basis.wind,
            day: NaiveDate::from_num_days_from_ce_opt(basis.day).filter(|_| basis.day > 0),
        };
        let judge = |method: &Method, role: &Role| {
            let kept = stocks.iter().enumerate();
            let of_kind = kept.filter(|(_, it)| Some(&it.item.kind) == role.kit.as_ref());
            let judged = of_kind.map(|(index, it)| {
                let verdicts = fitting.piece(method, role, it.item, &today);
                (index, physical(&verdicts))
            });
            judged.collect()
        };
        let pieces = position.methods.iter().map(|method| {
            let roles = method.roles.iter();
            roles.map(|role| judge(method, role)).collect()
        });
        let pieces = pieces.collect();
        let stands: Vec<&str> = roles().map(|role| role.place.as_str()).collect();
        Pool {
            reserved: reserved.collect(),
            stocks,
            onward: terrain.routes.table(&stands),
            fitting,
            today,
            pieces,
            terrain,
            basis,
            position,
            people,
            keep_free,
        }
    }

    /// How many pieces each stock has.
    pub(super) fn counts(&self) -> Vec<u32> {
        self.stocks.iter().map(|it| it.item.count).collect()
    }

    /// For every role of a method who could hold it and how.
    pub(super) fn choices(&self, method: &Method, admit: Admit) -> Vec<Vec<Choice>> {
        let roles = method.roles.iter();
        let choices = roles.map(|role| {
            let all = self.role(method, role, admit.busy);
            let holds = |choice: &&Choice| self.papers(role, choice).next().is_none();
            let sound: Vec<Choice> = all.iter().filter(holds).copied().collect();
            match admit.lapsed || sound.is_empty() {
                true => all,
                false => sound,
            }
        });
        choices.collect()
    }

    fn role(&self, method: &Method, role: &Role, all: bool) -> Vec<Choice> {
        let stocks = self.stocks_for(method, role);
        let able = self
            .people
            .iter()
            .enumerate()
            .filter(|(person, responder)| {
                let needed = role.qualification.as_ref();
                (all || !self.reserved[*person]) && needed.is_none_or(|it| responder.holds(it))
            });
        let ways = able.flat_map(|(person, responder)| {
            stocks.iter().filter_map(move |stock| {
                let time = self.way(&responder.place, *stock, role)?.likely;
                Some(Choice {
                    person,
                    stock: *stock,
                    time,
                })
            })
        });
        ways.collect()
    }

    /// The stocks that a role can draw on; the one entry of none where it brings nothing.
    fn stocks_for(&self, method: &Method, role: &Role) -> Vec<Option<usize>> {
        if role.kit.is_none() {
            return vec![None];
        }
        let judged = self.judged(method, role);
        let fitting = judged.iter().filter(|(_, unfit)| unfit.is_none());
        fitting.map(|(stock, _)| Some(*stock)).collect()
    }

    /// The stocks of the kind that a role brings, each with why it does not fit, if so.
    fn judged(&self, method: &Method, role: &Role) -> &[Judged] {
        let methods = self.position.methods.iter().zip(&self.pieces);
        let mut of_method = methods.filter(|(it, _)| it.id == method.id);
        let roles = of_method
            .next()
            .map(|(it, pieces)| it.roles.iter().zip(pieces));
        let mut of_role = roles
            .into_iter()
            .flatten()
            .filter(|(it, _)| it.id == role.id);
        of_role.next().map_or(&[], |(_, judged)| judged.as_slice())
    }

    /// Why a method cannot work whoever comes, if so.
    pub(super) fn unfit(&self, method: &Method) -> Option<Unfit> {
        let own = physical(&self.fitting.method(method, &self.today));
        own.or_else(|| {
            let judged = method.roles.iter().map(|role| self.judged(method, role));
            let mut unfit = judged.filter(|all| all.iter().all(|(_, unfit)| unfit.is_some()));
            unfit.find_map(|all| all.first()?.1.clone())
        })
    }

    /// How long it takes from a place to a role, by way of a stock.
    pub(super) fn way(&self, from: &str, stock: Option<usize>, role: &Role) -> Option<ThreePoint> {
        self.by_way(&self.terrain.ways, from, stock, role)
    }

    /// The same from where a role stands.
    pub(super) fn way_onward(
        &self,
        from: &Role,
        stock: Option<usize>,
        role: &Role,
    ) -> Option<ThreePoint> {
        self.by_way(&self.onward, &from.place, stock, role)
    }

    fn by_way(
        &self,
        first: &Ways<'p>,
        from: &str,
        stock: Option<usize>,
        role: &Role,
    ) -> Option<ThreePoint> {
        match stock {
            None => first.time(from, &role.place),
            Some(stock) => {
                let station = &self.stocks[stock].station.place;
                let there = first.time(from, station)?;
                let on = self.terrain.ways.time(station, &role.place)?;
                Some(ThreePoint {
                    short: there.short.saturating_add(on.short),
                    likely: there.likely.saturating_add(on.likely),
                    long: there.long.saturating_add(on.long),
                })
            }
        }
    }

    /// The order for whoever was chosen.
    pub(super) fn posting(&self, role: &Role, choice: &Choice) -> Posting {
        let stock = choice.stock.map(|it| self.stocks[it]);
        Posting {
            role: role.id.clone(),
            responder: self.people[choice.person].id.clone(),
            kit: stock.map(|it| it.item.name.clone()),
            station: stock.map(|it| it.station.id.clone()),
            place: role.place.clone(),
            travel_ms: choice.time.0,
        }
    }

    /// The choice that an order stands for; none where that person cannot go or the kit is not there any more.
    pub(super) fn choice(&self, posting: &Posting) -> Option<Choice> {
        let person = self
            .people
            .iter()
            .position(|it| it.id == posting.responder)?;
        let stock = match (&posting.station, &posting.kit) {
            (Some(station), Some(kit)) => {
                let mut stocks = self.stocks.iter();
                let kept = stocks.position(|it| it.station.id == *station && it.item.name == *kit);
                Some(kept?)
            }
            _ => None,
        };
        Some(Choice {
            person,
            stock,
            time: Millis(posting.travel_ms),
        })
    }

    /// Papers of this person in this role, and of what they bring.
    pub(super) fn papers(&self, role: &Role, choice: &Choice) -> impl Iterator<Item = Paper> {
        let item = choice.stock.map(|it| self.stocks[it].item);
        let kit = item.and_then(|it| self.kit_paper(it));
        kit.into_iter()
            .chain(self.person_paper(self.people[choice.person], role))
    }

    /// The kinds of which a method needs more than there are in service.
    pub(super) fn no_kit(&self, method: &Method) -> Vec<String> {
        let mut wanted: BTreeMap<&str, u64> = BTreeMap::new();
        for kind in method.roles.iter().filter_map(|role| role.kit.as_deref()) {
            *wanted.entry(kind).or_default() += 1;
        }
        let there = |kind: &str| -> u64 {
            let kept = self.stocks.iter().filter(|it| it.item.kind == kind);
            kept.map(|it| u64::from(it.item.count)).sum()
        };
        let lacking = wanted
            .into_iter()
            .filter(|(kind, count)| there(kind) < *count);
        lacking.map(|(kind, _)| kind.to_owned()).collect()
    }

    fn over(&self, day: Option<NaiveDate>) -> bool {
        day.zip(self.today.day)
            .is_some_and(|(day, today)| day < today)
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
    pub(super) fn first_aider(&self, methods: &[MethodForecast]) -> Option<Box<Posting>> {
        let needed = |id: &str| {
            let in_crew = |it: &&MethodForecast| it.crew.iter().any(|p| p.responder == id);
            methods.iter().filter(in_crew).count()
        };
        let landing = &self.position.landing;
        let time = |from: &str, to: &str| self.terrain.ways.likely(from, to);
        let gone = |station: &Station| {
            let mut gone = self.basis.gone.iter();
            gone.any(|(kind, at)| kind == KitItem::AED && *at == station.id)
        };
        let stations = self.terrain.plan.stations.iter().filter_map(|station| {
            let kit = station.kit.iter();
            let aeds = kit.filter(|it| it.kind == KitItem::AED && it.in_service());
            let item = aeds.min_by_key(|it| (&it.name, &it.id))?;
            (!gone(station)).then_some((station, item))
        });
        let mut stations: Vec<_> = stations.collect();
        stations.sort_by_key(|(station, item)| (&station.name, &station.id, &item.name));
        let ways = |from: &str| {
            let by_station = stations.iter().filter_map(|(station, item)| {
                let there = time(from, &station.place)?;
                let on = time(&station.place, landing)?;
                Some((
                    there.saturating_add(on),
                    Some(station.id.clone()),
                    Some(item.name.clone()),
                ))
            });
            let with_kit = by_station.min_by_key(|(time, ..)| *time);
            with_kit.or_else(|| Some((time(from, landing)?, None, None)))
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
            place: landing.clone(),
            travel_ms: time.0,
        }))
    }
}
