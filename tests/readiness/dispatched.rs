//! Makes small invented sites with orders under way, and says in the plainest way where everybody is and what they carry.
//!
//! The program keeps ways and stocks in tables of its own; here every question is answered from the orders alone, slowly,
//! so that both must agree.

use groundward::plan::{Link, Plan, link_time};
use groundward::readiness::{Basis, Forecast, Left, Ordered, Posting, Underway};
use groundward::units::Millis;

use super::{SITE, fit};
use crate::support::Chance;

const SKILLS: [&str; 3] = ["rope", "lift", "first aid"];
const KINDS: [&str; 3] = ["ladder", "rope set", "winch"];

/// What a random site is made from.
#[derive(Clone, Copy)]
pub(crate) struct Size {
    pub(crate) people: u64,
    pub(crate) methods: u64,
    pub(crate) roles: u64,
}

/// A small site: places in a tree with some more ways, three stations, one position. No two ways join the same places.
pub(crate) fn site(chance: &mut Chance, size: Size) -> Plan {
    let places = 8 + chance.below(5);
    let mut text = SITE.replace("[site]", "[site]\nmeeting_place = \"p0\"");
    for place in 0..places {
        text += &format!("[place.p{place}]\nname = \"place {place}\"\nlevel = \"0\"\n");
    }
    let mut joined: Vec<(u64, u64)> = (1..places).map(|to| (chance.below(to), to)).collect();
    for _ in 0..chance.below(5) {
        let (one, other) = (chance.below(places), chance.below(places));
        let pair = (one.min(other), one.max(other));
        if one != other && !joined.contains(&pair) {
            joined.push(pair);
        }
    }
    for (number, (from, to)) in joined.iter().enumerate() {
        let (length, rise) = (5 + chance.below(60), chance.below(5));
        text += &format!(
            "[link.l{number}]\nfrom = \"p{from}\"\nto = \"p{to}\"\nkind = \"stairs\"\nlength = \"{length} m\"\nrise = \"{rise} m\"\n"
        );
        if chance.one_in(12) {
            text += "closed = \"dug up\"\n";
        }
    }
    for station in 0..3 {
        text += &format!(
            "[station.s{station}]\nname = \"station {station}\"\nplace = \"p{}\"\n[station.s{station}.kit.aed]\nname = \"AED {station}\"\nkind = \"AED\"\n",
            chance.below(places)
        );
        for (number, kind) in KINDS.iter().enumerate() {
            let count = chance.below(3);
            if count > 0 {
                text += &format!(
                    "[station.s{station}.kit.k{number}]\nname = \"{kind} {station}\"\nkind = \"{kind}\"\ncount = {count}\n"
                );
            }
        }
    }
    for person in 0..size.people {
        let held: Vec<String> = SKILLS
            .iter()
            .filter(|_| !chance.one_in(3))
            .map(|skill| format!("\"{skill}\""))
            .collect();
        text += &format!(
            "[responder.r{person}]\nname = \"Person {person}\"\nplace = \"p{}\"\nqualifications = [{}]\n",
            chance.below(places),
            held.join(", ")
        );
    }
    text += &format!(
        "[position.w]\nname = \"Work\"\nplace = \"p{}\"\napproach = \"p{}\"\nlanding = \"p{}\"\n",
        chance.below(places),
        chance.below(places),
        chance.below(places)
    );
    for method in 0..size.methods {
        let head = format!("position.w.method.m{method}");
        text += &format!(
            "[{head}]\nname = \"way {method}\"\nrung = \"pick-off\"\nsuccess = \"70 %\"\ndrills = 6\nchange_after = \"300 s\"\n"
        );
        for role in 0..1 + chance.below(size.roles) {
            text += &format!(
                "[{head}.role.a{role}]\nplace = \"p{}\"\n",
                chance.below(places)
            );
            if !chance.one_in(3) {
                text += &format!("qualification = \"{}\"\n", SKILLS[chance.below(2) as usize]);
            }
            if !chance.one_in(3) {
                text += &format!("kit = \"{}\"\n", KINDS[chance.below(3) as usize]);
            }
        }
        text += &format!(
            "[[{head}.step]]\nsay = \"x\"\ndone = \"x\"\ntime = [\"20 s\", \"40 s\", \"90 s\"]\nfails_after = \"60 s\"\n[[{head}.step]]\nsay = \"y\"\ndone = \"y\"\ntime = [\"10 s\", \"20 s\", \"40 s\"]\nmilestone = \"off-harness\"\n"
        );
    }
    fit(&text)
}

/// Every order that a forecast leads to, each person once: the first method, the standing roles, then the later methods.
pub(crate) fn orders(forecast: &Forecast) -> Vec<(String, Posting)> {
    let crew = |id: &String| -> Vec<(String, Posting)> {
        let methods = forecast.methods.iter().filter(|it| it.method == *id);
        let crew = methods.flat_map(|it| &it.crew);
        crew.map(|it| (id.clone(), it.clone())).collect()
    };
    let standing = forecast.first_aider.as_deref();
    let standing = standing.into_iter().chain(&forecast.standing);
    let first = forecast.order.iter().take(1).flat_map(crew);
    let later = forecast.order.iter().skip(1).flat_map(crew);
    let all = first
        .chain(standing.map(|it| (String::new(), it.clone())))
        .chain(later);
    let mut given: Vec<(String, Posting)> = Vec::new();
    for (method, posting) in all {
        if given
            .iter()
            .all(|(_, it)| it.responder != posting.responder)
        {
            given.push((method, posting));
        }
    }
    given
}

/// The orders of a forecast, given now. Whoever has the same order already goes on; whoever has another keeps what they
/// carry.
pub(crate) fn ordered(forecast: &Forecast, before: &[Ordered]) -> Vec<Ordered> {
    let given = orders(forecast);
    let new = given.iter().map(|(method, posting)| {
        let was = before
            .iter()
            .find(|it| it.posting.responder == posting.responder);
        let same =
            was.filter(|it| !it.ended && it.method == *method && it.posting.same_order(posting));
        same.cloned().unwrap_or_else(|| Ordered {
            casualty: 1,
            method: method.clone(),
            posting: posting.clone(),
            ago: Millis::ZERO,
            ended: false,
            there: false,
            late: false,
            holds: was.map_or(Vec::new(), carried),
        })
    });
    let new: Vec<Ordered> = new.collect();
    let over = before.iter().filter(|it| {
        let id = &it.posting.responder;
        new.iter().all(|new| new.posting.responder != *id)
    });
    let over = over.map(|it| Ordered {
        ended: true,
        ..it.clone()
    });
    let over: Vec<Ordered> = over.collect();
    new.into_iter().chain(over).collect()
}

/// What an order says somebody has in hand: station and name.
pub(crate) fn carried(order: &Ordered) -> Vec<(String, String)> {
    let mut carried = order.holds.clone();
    if let (Some(station), Some(kit)) = (&order.posting.station, &order.posting.kit) {
        let ago = if order.late { 0 } else { order.ago.0 };
        let fetched = order.there || order.posting.fetch_ms.is_some_and(|it| it <= ago);
        let piece = (station.clone(), kit.clone());
        if fetched && !carried.contains(&piece) {
            carried.push(piece);
        }
    }
    carried
}

pub(crate) fn order_of<'b>(basis: &'b Basis, person: &str) -> Option<&'b Ordered> {
    basis
        .ordered
        .iter()
        .find(|it| it.posting.responder == person)
}

/// Where somebody can set out from, and when they are there.
pub(crate) fn starts(plan: &Plan, basis: &Basis, person: &str) -> Vec<(String, i64)> {
    let usual = plan.responder(person).expect("it is in the plan");
    let Some(order) = order_of(basis, person) else {
        return vec![(usual.place.clone(), 0)];
    };
    let posting = &order.posting;
    if order.there {
        return vec![(posting.place.clone(), 0)];
    }
    let ago = if order.late { 0 } else { order.ago.0 };
    let passed: Vec<_> = posting.behind.iter().chain(&posting.way).collect();
    for pair in passed.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        if from.1 == ago {
            return vec![(from.0.clone(), 0)];
        }
        if from.1 < ago && ago < to.1 {
            let mut starts = vec![(from.0.clone(), ago - from.1)];
            let link = plan.links.iter().find(|it| joins(it, &from.0, &to.0));
            let link = link.expect("a way leads along links");
            if !basis.blocked.contains(&link.id) {
                starts.push((to.0.clone(), to.1 - ago));
            }
            return starts;
        }
    }
    let last = passed.last().expect("every order has a way");
    vec![(last.0.clone(), 0)]
}

pub(crate) fn joins(link: &Link, one: &str, other: &str) -> bool {
    (link.from == one && link.to == other) || (link.from == other && link.to == one)
}

/// The likely time along one open way between two places.
pub(crate) fn step(plan: &Plan, basis: &Basis, from: &str, to: &str) -> Option<i64> {
    let open = |it: &&Link| it.closed.is_none() && !basis.blocked.contains(&it.id);
    let mut links = plan.links.iter().filter(open);
    let link = links.find(|it| joins(it, from, to))?;
    Some(link_time(link, &plan.policy, link.from == from).0)
}

/// Something happens to people under way: time passes, some are there, late, lost or free again; kit is missing, ways are
/// blocked.
pub(crate) fn disturb(chance: &mut Chance, plan: &Plan, basis: &mut Basis) {
    basis.since_fall = Millis(basis.since_fall.0 + 20_000);
    let more = chance.below(60_000) as i64;
    for order in &mut basis.ordered {
        if !order.ended {
            order.ago = Millis(order.ago.0 + more);
            order.there |= chance.one_in(8);
            order.late = !order.there && chance.one_in(8);
            order.ended = chance.one_in(10);
        }
    }
    let lost = chance.below(3);
    for _ in 0..lost.min(basis.ordered.len() as u64) {
        let index = chance.below(basis.ordered.len() as u64) as usize;
        let order = basis.ordered.remove(index);
        basis.excluded.push(order.posting.responder.clone());
        let place = order.there.then(|| order.posting.place.clone());
        basis
            .left
            .extend(carried(&order).into_iter().map(|(station, kit)| Left {
                station,
                kit,
                place: place.clone(),
            }));
    }
    if chance.one_in(3) {
        let kind = KINDS[chance.below(3) as usize].to_owned();
        basis.gone.push((kind, format!("s{}", chance.below(3))));
    }
    if chance.one_in(2) {
        // Mostly one that somebody is on or about to take.
        let ways = basis
            .ordered
            .iter()
            .flat_map(|it| it.posting.way.windows(2));
        let used = ways.filter_map(|pair| {
            let joined = |it: &&Link| joins(it, &pair[0].0, &pair[1].0);
            Some(plan.links.iter().find(joined)?.id.clone())
        });
        let used: Vec<String> = used.collect();
        if !used.is_empty() {
            let link = used[chance.below(used.len() as u64) as usize].clone();
            basis.blocked.push(link);
        }
    }
}

/// The first method runs, with those of its crew who can still go.
pub(crate) fn running(forecast: &Forecast, basis: &Basis) -> Option<Underway> {
    let first = forecast.order.first()?;
    let method = forecast.methods.iter().find(|it| it.method == *first)?;
    let goes = |it: &&Posting| !basis.excluded.contains(&it.responder);
    Some(Underway {
        method: first.clone(),
        started: basis.since_fall,
        step_since: basis.since_fall,
        crew: method.crew.iter().filter(goes).cloned().collect(),
        ..Underway::default()
    })
}
