//! Holds the ways and heights of a plan, which are the same for every position and everybody.
//!
//! For a whole site the times are kept from where people usually are and from where kit is kept. For one incident people may
//! be anywhere, but there are few places to go to; so there the times are kept towards those, found on the same ways turned
//! round. Both say the same. Limits: towards other places a terrain for one incident knows no time.

use std::borrow::Cow;
use std::sync::Arc;

use super::basis::Basis;
use super::hang::Elevations;
use crate::plan::{Plan, Routes, ThreePoint, Ways};

/// What is the same for every position of a plan: its ways and heights.
pub struct Terrain<'p> {
    pub(super) plan: &'p Plan,
    pub(super) routes: Arc<Routes<'p>>,
    ways: Arc<Known<'p>>,
    pub(super) elevations: Arc<Elevations<'p>>,
}

/// The times that are kept.
enum Known<'p> {
    /// From some places to all.
    From(Ways<'p>),
    /// From all places to some, along the ways turned round.
    Toward(Ways<'p>),
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
            ways: Arc::new(Known::From(routes.table(&starts))),
            elevations: Arc::new(Elevations::of(plan)),
            routes: Arc::new(routes),
        }
    }

    /// The same for one incident, with the same plan turned round beside it.
    pub(super) fn toward(plan: &'p Plan, turned: &'p Plan, basis: &Basis) -> Terrain<'p> {
        let position = plan.position(&basis.position);
        let roles = position.iter().flat_map(|it| &it.methods);
        let roles = roles.flat_map(|it| &it.roles).map(|it| &it.place);
        let near = position.iter().flat_map(|it| [&it.approach, &it.landing]);
        let stations = plan.stations.iter().map(|it| &it.place);
        let left = basis.left.iter().filter_map(|it| it.place.as_ref());
        let command = basis.in_command.as_ref();
        let command = command.and_then(|it| plan.responder(it));
        let goals = roles
            .chain(near)
            .chain(stations)
            .chain(left)
            .chain(command.map(|it| &it.place))
            .chain(&plan.site.meeting_place);
        let goals: Vec<&str> = goals.map(String::as_str).collect();
        Terrain {
            plan,
            ways: Arc::new(Known::Toward(Routes::new(turned).table(&goals))),
            elevations: Arc::new(Elevations::of(plan)),
            routes: Arc::new(Routes::new(plan)),
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

    /// How long the quickest way between two places takes; none where no way leads, or where that is not kept.
    pub(super) fn time(&self, from: &str, to: &str) -> Option<ThreePoint> {
        match &*self.ways {
            Known::From(ways) => ways.time(from, to),
            Known::Toward(ways) => ways.time(to, from),
        }
    }

    /// The times from more places, where they are not kept from everywhere.
    pub(super) fn more(&self, starts: &[&str]) -> Option<Ways<'p>> {
        match &*self.ways {
            Known::From(_) => Some(self.routes.table(starts)),
            Known::Toward(_) => None,
        }
    }
}

/// A plan whose ways each lead the other way round: so long as from one end before, it takes from the other now.
pub(super) fn turned(plan: &Plan) -> Plan {
    let mut turned = plan.clone();
    for link in &mut turned.links {
        std::mem::swap(&mut link.from, &mut link.to);
    }
    turned
}

/// The plan without the ways that were found blocked.
pub(super) fn passable<'p>(plan: &'p Plan, basis: &Basis) -> Cow<'p, Plan> {
    if basis.blocked.is_empty() {
        return Cow::Borrowed(plan);
    }
    let mut passable = plan.clone();
    let links = passable.links.iter_mut();
    for link in links.filter(|it| basis.blocked.contains(&it.id)) {
        link.closed.get_or_insert_default();
    }
    Cow::Owned(passable)
}
