//! Finds who has a task beside the methods: first aid, talking with the casualty, meeting the help, the radio.
//!
//! They take nobody whom a method needs, and whoever is on such a task stays on it as long as they can. Only the first
//! aider may be somebody who stands ready for a late method, because a casualty on the ground without one is worse. Limits:
//! who is good at talking is not known; whoever watches the place goes first, then whoever shares a language.

use super::model::{MethodForecast, Posting};
use super::pool::Pool;
use super::staffing::Choice;
use super::whereabouts::order_of;
use crate::plan::KitItem;

/// The tasks beside the methods.
#[derive(Default)]
pub(super) struct Beside {
    pub(super) first_aider: Option<Box<Posting>>,
    pub(super) standing: Vec<Posting>,
    /// Those for which nobody is left.
    pub(super) unmanned: Vec<String>,
}

/// What the methods need.
struct Needed {
    /// For every person the earliest place in the order of a method whose crew they are in.
    place: Vec<Option<usize>>,
    /// How many pieces of every stock.
    pieces: Vec<u32>,
}

impl Pool<'_, '_> {
    /// Who has which task beside these methods, which are tried in this order.
    pub(super) fn beside(&self, methods: &[MethodForecast], order: &[String]) -> Beside {
        let crews: Vec<&MethodForecast> = order
            .iter()
            .filter_map(|id| methods.iter().find(|it| it.method == *id))
            .collect();
        let place = |id: &str| {
            let mut crews = crews.iter();
            crews.position(|it| it.crew.iter().any(|posting| posting.responder == id))
        };
        let mut needed = Needed {
            place: self.people.iter().map(|it| place(&it.id)).collect(),
            pieces: vec![0; self.stocks.len()],
        };
        for posting in crews.iter().flat_map(|it| &it.crew) {
            let brought = self.choice(posting, &posting.place);
            if let Some(stock) = brought.and_then(|it| it.stock) {
                needed.pieces[stock] += 1;
            }
        }
        let mut beside = Beside {
            first_aider: self.first_aider(&needed).map(Box::new),
            ..Beside::default()
        };
        if self.basis.ready {
            return beside;
        }
        if beside.first_aider.is_none() {
            beside.unmanned.push(Posting::FIRST_AID.to_owned());
        }
        let plan = self.terrain.plan;
        let command = self.basis.in_command.as_ref();
        let command = command.and_then(|id| plan.responder(id));
        let places = [
            (Posting::TALKER, Some(&self.position.approach)),
            (Posting::GUIDE, plan.site.meeting_place.as_ref()),
            (Posting::RADIO, command.map(|it| &it.place)),
        ];
        for (role, place) in places {
            let Some(place) = place else { continue };
            match self.free_for(role, place, &needed, &beside) {
                Some(posting) => beside.standing.push(posting),
                None if role == Posting::RADIO => {}
                None => beside.unmanned.push(role.to_owned()),
            }
        }
        beside
    }

    /// True for whoever may have this task beside the methods: whoever has another one keeps that.
    fn may(&self, person: usize, role: &str) -> bool {
        !self.reserved[person]
            && Some(person) != self.keep_free
            && (!self.posted[person] || self.is_on(role, person))
    }

    /// The person who is on such a task already.
    fn is_on(&self, role: &str, person: usize) -> bool {
        let order = order_of(self.basis, &self.people[person].id);
        self.posted[person] && order.is_some_and(|it| it.posting.role == role)
    }

    /// Somebody for a task at a place, of those who have none.
    fn free_for(
        &self,
        role: &str,
        place: &str,
        needed: &Needed,
        beside: &Beside,
    ) -> Option<Posting> {
        let taken = |id: &str| {
            let others = beside.standing.iter().chain(beside.first_aider.as_deref());
            others.into_iter().any(|it| it.responder == id)
        };
        let free = (0..self.people.len()).filter(|person| {
            self.may(*person, role)
                && needed.place[*person].is_none()
                && !taken(&self.people[*person].id)
        });
        let talks = role == Posting::TALKER;
        let ways = free.filter_map(|person| {
            let time = self.way(person, None, place)?.likely;
            let rank = (
                !self.is_on(role, person),
                talks && !self.watches(person),
                talks && !self.speaks(person),
                time,
                person,
            );
            Some((
                rank,
                Choice {
                    person,
                    stock: None,
                    time,
                },
            ))
        });
        let (_, choice) = ways.min_by_key(|(rank, _)| *rank)?;
        Some(self.task(role, &choice, place))
    }

    fn watches(&self, person: usize) -> bool {
        self.position.watched_by.contains(&self.people[person].id)
    }

    /// True for whoever shares a language with somebody who works there.
    fn speaks(&self, person: usize) -> bool {
        let workers = self.position.workers.iter();
        let workers = workers.filter_map(|id| self.terrain.plan.responder(id));
        let mut spoken = workers.flat_map(|it| &it.languages);
        spoken.any(|it| self.people[person].languages.contains(it))
    }

    /// Somebody trained in first aid whom no method needs, else whom only the last ones do, by way of the nearest AED to
    /// the landing place; without an AED they go all the same.
    fn first_aider(&self, needed: &Needed) -> Option<Posting> {
        let landing = &self.position.landing;
        let aeds: Vec<usize> = (0..self.stocks.len())
            .filter(|it| {
                let stock = &self.stocks[*it];
                stock.item.kind == KitItem::AED && stock.count > needed.pieces[*it]
            })
            .collect();
        let people = self.people.iter().enumerate();
        let trained = people
            .filter(|(index, it)| self.may(*index, Posting::FIRST_AID) && it.gives_first_aid());
        let ways = trained.filter_map(|(person, it)| {
            let with = |stock: Option<usize>| {
                let time = self.way(person, stock, landing)?.likely;
                Some(Choice {
                    person,
                    stock,
                    time,
                })
            };
            let on = self.is_on(Posting::FIRST_AID, person);
            // Whoever is on the way with or to one keeps to that.
            let order = order_of(self.basis, &it.id).filter(|_| on);
            let own = order.and_then(|it| self.choice(&it.posting, landing));
            let own = own.filter(|it| it.stock.is_some_and(|stock| aeds.contains(&stock)));
            let nearest = || {
                let found = aeds.iter().filter_map(|stock| with(Some(*stock)));
                found.min_by_key(|it| it.time)
            };
            let choice = own.or_else(nearest).or_else(|| with(None))?;
            let last = needed.place[person].unwrap_or(usize::MAX);
            let rank = (usize::MAX - last, !on, choice.time);
            Some((rank, choice))
        });
        let (_, choice) = ways.min_by_key(|(rank, _)| *rank)?;
        Some(self.task(Posting::FIRST_AID, &choice, landing))
    }
}
