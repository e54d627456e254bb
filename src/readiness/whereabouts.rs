//! Works out where people are and what they carry, from the orders that they are on.
//!
//! A tablet sees nobody. It knows when an order was understood and which places its way passes, and so where somebody is by
//! now if all goes as expected. Whoever is between two places can go on or turn back, except over a way that is blocked:
//! whoever is on it can only turn back. Limits: everybody is taken to come along as a likely day has it; whoever is late
//! is taken to be where the way began, because nobody knows better.

use super::basis::{Basis, Ordered};
use crate::plan::{Link, Plan, ThreePoint, link_time, link_times};
use crate::units::Millis;

/// How somebody can set out: the first place they reach, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Lead<'t> {
    /// The place, by its id.
    pub(super) place: &'t str,
    /// From now until there.
    pub(super) time: ThreePoint,
    /// The place on the other side of them, and how long ago they would have left it.
    pub(super) behind: Option<(&'t str, Millis)>,
}

impl<'t> Lead<'t> {
    /// Somebody who is at a place.
    pub(super) fn at(place: &'t str) -> Lead<'t> {
        Lead {
            place,
            time: ThreePoint::default(),
            behind: None,
        }
    }
}

/// What is known of somebody: the order they are on, else the last one that they were on.
pub(super) fn order_of<'t>(basis: &'t Basis, responder: &str) -> Option<&'t Ordered> {
    let own = || {
        let ordered = basis.ordered.iter();
        ordered.filter(|it| it.posting.responder == responder)
    };
    own().find(|it| !it.ended).or_else(|| own().next_back())
}

/// How somebody on an order can set out from where they are; nothing where the order does not tell.
pub(super) fn leads<'t>(plan: &Plan, basis: &'t Basis, order: &'t Ordered) -> Vec<Lead<'t>> {
    let posting = &order.posting;
    let at = |place: &'t str| vec![Lead::at(place)];
    if order.there {
        return at(&posting.place);
    }
    let Some(last) = posting.way.last() else {
        return Vec::new();
    };
    let ago = if order.late { 0 } else { order.ago.0.max(0) };
    if ago >= last.1 {
        return at(&posting.place);
    }
    let next = posting.way.partition_point(|it| it.1 <= ago);
    let Some(ahead) = posting.way.get(next) else {
        return at(&posting.place);
    };
    let passed = next.checked_sub(1).map(|before| &posting.way[before]);
    let on = Lead {
        place: &ahead.0,
        time: alike(Millis(ahead.1 - ago)),
        behind: None,
    };
    let Some(behind) = passed.or(posting.behind.as_ref()) else {
        return vec![on];
    };
    if behind.1 >= ago {
        return at(&behind.0);
    }
    let (spent, left) = (Millis(ago - behind.1), Millis(ahead.1 - ago));
    let link = link_between(
        plan,
        basis,
        (&behind.0, &ahead.0),
        Millis(ahead.1 - behind.1),
    );
    let spread = |time: Millis| {
        let times = link.map(|(link, _)| link_times(link, &plan.policy, true));
        times.map_or(alike(time), |times| share(times, time))
    };
    let blocked = link.is_some_and(|(_, blocked)| blocked);
    let on = Lead {
        time: spread(left),
        behind: Some((&behind.0, spent)),
        ..on
    };
    let back = Lead {
        place: &behind.0,
        time: spread(spent),
        behind: Some((&ahead.0, left)),
    };
    match blocked {
        true => vec![back],
        false => vec![on, back],
    }
}

/// What somebody on an order has in hand: station id and name as spoken.
pub(super) fn carried(order: &Ordered) -> Vec<(&str, &str)> {
    let held = order.holds.iter();
    let mut carried: Vec<(&str, &str)> = held.map(|(station, kit)| (&**station, &**kit)).collect();
    let posting = &order.posting;
    // Of whoever is late nobody knows whether they have been at the station yet.
    let ago = if order.late { Millis::ZERO } else { order.ago };
    let fetched = order.there || posting.fetch_ms.is_some_and(|fetch| ago.0 >= fetch);
    if let (true, Some(station), Some(kit)) = (fetched, &posting.station, &posting.kit)
        && !carried.contains(&(station, kit))
    {
        carried.push((station, kit));
    }
    carried
}

/// The way between two places that takes so long, and whether it is blocked. Of several alike it is the blocked one,
/// because going on along it would lead nowhere.
fn link_between<'p>(
    plan: &'p Plan,
    basis: &Basis,
    (from, to): (&str, &str),
    time: Millis,
) -> Option<(&'p Link, bool)> {
    let blocked = |link: &Link| basis.blocked.contains(&link.id);
    let takes = |link: &Link| {
        let forwards = link.from == from;
        link_time(link, &plan.policy, forwards) == time
    };
    let joins = |it: &&Link| (it.from == from && it.to == to) || (it.from == to && it.to == from);
    let links = plan.links.iter().filter(joins);
    let best = links.min_by_key(|it| (!takes(it), !blocked(it)))?;
    Some((best, blocked(best)))
}

/// So much of a way, with as much spread.
fn share(times: ThreePoint, likely: Millis) -> ThreePoint {
    let of = |time: Millis| {
        let part = i128::from(time.0) * i128::from(likely.0) / i128::from(times.likely.0.max(1));
        Millis(i64::try_from(part).unwrap_or(i64::MAX))
    };
    ThreePoint {
        short: of(times.short).min(likely),
        likely,
        long: of(times.long).max(likely),
    }
}

fn alike(time: Millis) -> ThreePoint {
    ThreePoint {
        short: time,
        likely: time,
        long: time,
    }
}
