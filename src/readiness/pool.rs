//! Gathers who can be sent, which kit fits, and how far everybody is, for one position; makes postings of who was chosen.
//!
//! A stock is one kind of piece at one station. Pieces that are out of service, gone, or cannot physically do what a role
//! needs are no choice for it; a paper that ran out is one, and is said. A piece in hand is a stock of one that only its
//! holder draws on. In an incident people set out from where they are by their orders, else from where they usually are.
//! Limits: nobody hands a piece over to somebody else.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::basis::{Basis, Ordered};
use super::fit::{Fitting, Today, Unfit, physical};
use super::model::{Paper, Posting};
use super::passing::Passages;
use super::staffing::Choice;
use super::stocks::{Stock, stocks};
use super::terrain::Terrain;
use super::whereabouts::{Lead, leads, order_of};
use crate::plan::{KitItem, Method, Position, Responder, Role, ThreePoint, Ways};

/// Whom to count besides those who are free and whose papers hold, as their kit's do.
#[derive(Clone, Copy)]
pub(super) struct Admit {
    /// Those who are on a standing role.
    pub(super) posted: bool,
    /// Those who have another task.
    pub(super) busy: bool,
    /// Those whose papers ran out, or their kit's, also where there are others for the role.
    pub(super) lapsed: bool,
}

impl Admit {
    /// From the least to all: whoever is on a standing role or has another task only where nobody else can, a paper that
    /// ran out only where no other crew is there.
    pub(super) const WIDER: [Admit; 6] = [
        Admit::of(false, false, false),
        Admit::of(false, false, true),
        Admit::of(true, false, false),
        Admit::of(true, false, true),
        Admit::of(true, true, false),
        Admit::of(true, true, true),
    ];

    const fn of(posted: bool, busy: bool, lapsed: bool) -> Admit {
        Admit {
            posted,
            busy,
            lapsed,
        }
    }
}

/// A stock, and why it does not fit, if so.
type Judged = (usize, Option<Unfit>);

/// The people and the kit for one position.
pub(super) struct Pool<'t, 'p> {
    pub(super) terrain: &'t Terrain<'p>,
    pub(super) basis: &'t Basis,
    pub(super) position: &'p Position,
    fitting: Fitting<'p>,
    today: Today,
    /// For every method and role the stocks of the kind it brings, each with why it does not fit, if so.
    pieces: Vec<Vec<Vec<Judged>>>,
    /// In the order of their names, because that breaks ties.
    pub(super) people: Vec<&'p Responder>,
    pub(super) keep_free: Option<usize>,
    /// Who has another task, by what was said.
    pub(super) reserved: Vec<bool>,
    /// Who is on a standing role, and leaves it only where a method needs them.
    pub(super) posted: Vec<bool>,
    pub(super) stocks: Vec<Stock<'t, 'p>>,
    /// How everybody can set out.
    leads: Vec<Vec<Lead<'t>>>,
    /// From where roles stand, where people are by now, and where kit lies, as far as the terrain has no times from there.
    more: Option<Ways<'p>>,
    /// In an incident, the ways place by place.
    passages: Option<Passages<'t, 'p>>,
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
        let posted = people.iter().map(|it| {
            let order = order_of(basis, &it.id).filter(|order| !order.ended);
            order.is_some_and(|order| order.method.is_empty())
        });
        let roles = || position.methods.iter().flat_map(|it| &it.roles);
        let wanted = |kind: &str| {
            kind == KitItem::AED || roles().any(|role| role.kit.as_deref() == Some(kind))
        };
        let stocks = stocks(plan, basis, &people, wanted);
        let leads = people.iter().map(|person| {
            let order = order_of(basis, &person.id);
            let leads = order.map_or(Vec::new(), |order| leads(plan, basis, order));
            match leads.is_empty() {
                true => vec![Lead::at(&person.place)],
                false => leads,
            }
        });
        let leads: Vec<Vec<Lead<'t>>> = leads.collect();
        let ordered = leads.iter().zip(&people);
        let ordered = ordered.filter(|(_, person)| order_of(basis, &person.id).is_some());
        let moved = ordered.flat_map(|(leads, _)| leads.iter().map(|lead| lead.place));
        let moved = moved.chain(stocks.iter().filter_map(|it| it.lies));
        let stands = roles().map(|role| role.place.as_str());
        let starts: Vec<&str> = moved.chain(stands).collect();
        let more = terrain.more(&starts);
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
        Pool {
            reserved: reserved.collect(),
            posted: posted.collect(),
            stocks,
            leads,
            more,
            passages: (!basis.ready).then(|| Passages::new(plan, &terrain.routes)),
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
        self.stocks.iter().map(|it| it.count).collect()
    }

    /// For every role of a method who could hold it and how.
    pub(super) fn choices(&self, method: &Method, admit: Admit) -> Vec<Vec<Choice>> {
        let roles = method.roles.iter();
        let choices = roles.map(|role| {
            let all = self.role(method, role, admit);
            let holds = |choice: &&Choice| self.papers(role, choice).next().is_none();
            let sound: Vec<Choice> = all.iter().filter(holds).copied().collect();
            match admit.lapsed || sound.is_empty() {
                true => all,
                false => sound,
            }
        });
        choices.collect()
    }

    fn role(&self, method: &Method, role: &Role, admit: Admit) -> Vec<Choice> {
        let stocks = self.stocks_for(method, role);
        let may = |person: usize| {
            (admit.busy || !self.reserved[person]) && (admit.posted || !self.posted[person])
        };
        let able = self
            .people
            .iter()
            .enumerate()
            .filter(|(person, responder)| {
                let needed = role.qualification.as_ref();
                may(*person) && needed.is_none_or(|it| responder.holds(it))
            });
        let mut choices = Vec::new();
        for (person, _) in able {
            let in_hand = |stock: &Option<usize>| {
                stock.is_some_and(|stock| self.stocks[stock].holder == Some(person))
            };
            // Nobody goes back for a piece like the one in hand.
            let brings = stocks.iter().any(in_hand);
            for stock in stocks.iter().filter(|it| !brings || in_hand(it)) {
                let time = self.way(person, *stock, &role.place);
                choices.extend(time.map(|time| Choice {
                    person,
                    stock: *stock,
                    time: time.likely,
                }));
            }
        }
        choices
    }

    /// True for whoever has another task.
    pub(super) fn is_busy(&self, person: usize) -> bool {
        self.reserved[person] || self.posted[person]
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

    /// How long it takes somebody to a place from where they are, by way of a stock.
    pub(super) fn way(&self, person: usize, stock: Option<usize>, to: &str) -> Option<ThreePoint> {
        self.quickest(person, stock, to).map(|(_, time)| time)
    }

    /// How somebody best sets out to a place, and how long it takes.
    fn quickest(
        &self,
        person: usize,
        stock: Option<usize>,
        to: &str,
    ) -> Option<(&Lead<'t>, ThreePoint)> {
        let held = stock.and_then(|stock| self.stocks[stock].holder);
        if held.is_some_and(|holder| holder != person) {
            return None;
        }
        let ways = self.leads[person].iter().filter_map(|lead| {
            let on = self.by_way(lead.place, stock, to)?;
            Some((lead, sum(lead.time, on)))
        });
        ways.min_by_key(|(_, time)| (time.likely, time.long, time.short))
    }

    /// The same from where a role stands. Of a piece in hand only its holder may ask.
    pub(super) fn way_onward(
        &self,
        from: &Role,
        stock: Option<usize>,
        role: &Role,
    ) -> Option<ThreePoint> {
        self.by_way(&from.place, stock, &role.place)
    }

    fn by_way(&self, from: &str, stock: Option<usize>, to: &str) -> Option<ThreePoint> {
        match stock.and_then(|stock| self.stocks[stock].place()) {
            None => self.time(from, to),
            Some(at) => Some(sum(self.time(from, at)?, self.time(at, to)?)),
        }
    }

    fn time(&self, from: &str, to: &str) -> Option<ThreePoint> {
        let more = || self.more.as_ref().and_then(|it| it.time(from, to));
        self.terrain.time(from, to).or_else(more)
    }

    /// The order for whoever was chosen; for whoever comes on from an earlier role, with that.
    pub(super) fn posting(&self, role: &Role, choice: &Choice, from: Option<&Role>) -> Posting {
        let posting = self.task(&role.id, choice, &role.place);
        match from {
            Some(from) => self.with_way(posting, choice.stock, Some(&Lead::at(&from.place))),
            None => posting,
        }
    }

    /// The order to go to a place for a task.
    pub(super) fn task(&self, role: &str, choice: &Choice, place: &str) -> Posting {
        let stock = choice.stock.map(|it| &self.stocks[it]);
        let posting = Posting {
            role: role.to_owned(),
            responder: self.people[choice.person].id.clone(),
            kit: stock.map(|it| it.item.name.clone()),
            station: stock.map(|it| it.station.id.clone()),
            place: place.to_owned(),
            travel_ms: choice.time.0,
            lies: stock.and_then(|it| it.lies).map(str::to_owned),
            ..Posting::default()
        };
        let lead = self.quickest(choice.person, choice.stock, place);
        self.with_way(posting, choice.stock, lead.map(|(lead, _)| lead))
    }

    /// An order with its way, place by place, in an incident.
    fn with_way(&self, posting: Posting, stock: Option<usize>, lead: Option<&Lead<'_>>) -> Posting {
        let by = stock.and_then(|stock| self.stocks[stock].place());
        let passed = self
            .passages
            .as_ref()
            .zip(lead)
            .and_then(|(passages, lead)| passages.along(lead, by, &posting.place));
        let Some(passed) = passed else {
            return posting;
        };
        Posting {
            travel_ms: passed.way.last().map_or(posting.travel_ms, |it| it.1),
            fetch_ms: stock.map(|_| passed.by.unwrap_or(0)),
            way: passed.way,
            behind: passed.behind,
            ..posting
        }
    }

    /// The choice that an order stands for, to be at a place; none where that person cannot go or the kit is not there any
    /// more. An order may lead only as far as it is safe, and the role it is for stands further on.
    pub(super) fn choice(&self, posting: &Posting, place: &str) -> Option<Choice> {
        let person = self
            .people
            .iter()
            .position(|it| it.id == posting.responder)?;
        let stock = match (&posting.station, &posting.kit) {
            (Some(station), Some(kit)) => {
                let same = |it: &Stock<'_, '_>| it.station.id == *station && it.item.name == *kit;
                let mut stocks = self.stocks.iter();
                let held = stocks.position(|it| it.holder == Some(person) && same(it));
                let mut stocks = self.stocks.iter();
                let kept = || {
                    let lies = posting.lies.as_deref();
                    stocks.position(|it| it.holder.is_none() && it.lies == lies && same(it))
                };
                Some(held.or_else(kept)?)
            }
            _ => None,
        };
        let time = self.way(person, stock, place)?.likely;
        Some(Choice {
            person,
            stock,
            time,
        })
    }

    /// The order that stands for a role of a method.
    pub(super) fn order_for(&self, method: &Method, role: &Role) -> Option<&'t Ordered> {
        let mut orders = self.basis.ordered.iter();
        orders.find(|it| {
            !it.ended
                && it.casualty == self.basis.casualty
                && it.method == method.id
                && it.posting.role == role.id
        })
    }

    /// True where an order asks for the same: of the same person, with the same piece.
    pub(super) fn is_for(&self, posting: &Posting, choice: &Choice) -> bool {
        let stock = choice.stock.map(|it| &self.stocks[it]);
        posting.responder == self.people[choice.person].id
            && posting.kit.as_ref() == stock.map(|it| &it.item.name)
            && posting.station.as_ref() == stock.map(|it| &it.station.id)
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
            kept.map(|it| u64::from(it.count)).sum()
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
}

/// One way after the other.
fn sum(one: ThreePoint, other: ThreePoint) -> ThreePoint {
    ThreePoint {
        short: one.short.saturating_add(other.short),
        likely: one.likely.saturating_add(other.likely),
        long: one.long.saturating_add(other.long),
    }
}
