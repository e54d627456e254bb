//! Follows an order along its way: where somebody is by now, which link leads on, and the way in words.
//!
//! Where somebody is is worked out from the time since the order was understood, never seen: whoever said that they are
//! there is there. Without a way, for orders of older records, nobody is anywhere before that.

use super::sight::Sight;
use crate::incident::{Facts, Order};
use crate::plan::{Link, Place, Plan, link_time};
use crate::report::kind_of_way;
use crate::units::{Millimetres, Millis};
use crate::words::{Id, metres};
use slint::SharedString;

/// At most this many lines tell a way.
const LINES_MAX: usize = 7;

/// Where somebody is on a way.
#[derive(Clone, Copy, Debug)]
pub(super) struct Along<'a> {
    /// Behind.
    pub(super) from: &'a Place,
    /// Ahead; the same where somebody stands.
    pub(super) to: &'a Place,
    /// How much of the stretch between is done, 0 to 1.
    pub(super) part: f64,
    /// Which stretch of the way it is.
    pub(super) leg: usize,
}

impl<'a> Along<'a> {
    /// The level where they are: on the way to another, the nearer one.
    pub(super) fn level(&self) -> &'a str {
        let near = if self.part < 0.5 { self.from } else { self.to };
        &near.level
    }

    /// How far east and north that is, in millimetres.
    pub(super) fn at(&self) -> Option<(f64, f64)> {
        let of = |place: &Place| place.at.map(|[x, y]| (x.0 as f64, y.0 as f64));
        match (of(self.from), of(self.to)) {
            (Some(from), Some(to)) => Some(super::canvas::between(from, to, self.part)),
            (from, to) => from.or(to),
        }
    }
}

/// Where somebody is by now, as far as is known.
pub(super) fn along<'a>(facts: &'a Facts, order: &'a Order, at: Millis) -> Option<Along<'a>> {
    let plan: &'a Plan = &facts.opened.as_ref()?.plan;
    let way = &order.posting.way;
    let last = way.len().saturating_sub(1);
    let stands = |place: &'a Place, leg: usize| Along {
        from: place,
        to: place,
        part: 0.0,
        leg,
    };
    if order.there.is_some() {
        return plan.place(&order.posting.place).map(|it| stands(it, last));
    }
    let gone = at.saturating_sub(order.understood(facts.policy().order_time.likely));
    // Who was ordered on between two places is still on the way to the first.
    if let (Some(behind), Some(first)) = (
        &order.posting.behind,
        way.first().filter(|it| gone.0 < it.1),
    ) {
        let (from, to) = (plan.place(&behind.0)?, plan.place(&first.0)?);
        let part = (gone.0 - behind.1) as f64 / (first.1 - behind.1).max(1) as f64;
        return Some(Along {
            from,
            to,
            part: part.clamp(0.0, 1.0),
            leg: 0,
        });
    }
    let leg = way.iter().rposition(|it| it.1 <= gone.0).unwrap_or(0);
    let here = way.get(leg)?;
    let from = plan.place(&here.0)?;
    let next = way.get(leg + 1).filter(|_| here.1 <= gone.0);
    let Some((next, to)) = next.and_then(|it| Some((it, plan.place(&it.0)?))) else {
        return Some(stands(from, leg));
    };
    // The last passing that is not after it is looked for, so the next one is later.
    let part = (gone.0 - here.1) as f64 / (next.1 - here.1).max(1) as f64;
    Some(Along {
        from,
        to,
        part: part.clamp(0.0, 1.0),
        leg,
    })
}

/// True where the kit of an order is not in hand yet, as far as is known.
pub(super) fn fetches(facts: &Facts, order: &Order, at: Millis) -> bool {
    let posting = &order.posting;
    let passing = facts.policy().order_time.likely;
    let fetched = posting.fetch_ms.map_or(posting.travel_ms, |it| it);
    let in_hand = at.saturating_sub(order.understood(passing)) >= Millis(fetched);
    posting.kit.is_some() && order.there.is_none() && !in_hand
}

/// The place where the kit of an order is.
pub(super) fn kit_place<'a>(plan: &'a Plan, order: &'a Order) -> Option<&'a Place> {
    let station = || plan.station(order.posting.station.as_ref()?);
    let place = order.posting.lies.as_deref();
    plan.place(place.or_else(|| Some(station()?.place.as_str()))?)
}

/// The link between two places by which one goes, and whether it goes forwards: the quickest that is open.
pub(super) fn link<'a>(
    facts: &Facts,
    plan: &'a Plan,
    from: &str,
    to: &str,
) -> Option<(&'a Link, bool)> {
    let joins = plan.links.iter().filter_map(|it| {
        let forwards = it.from == from && it.to == to;
        (forwards || it.from == to && it.to == from).then_some((it, forwards))
    });
    joins.min_by_key(|(it, forwards)| (is_shut(facts, it), link_time(it, &plan.policy, *forwards)))
}

/// True where nobody can pass.
pub(super) fn is_shut(facts: &Facts, link: &Link) -> bool {
    link.closed.is_some() || facts.blocked.contains(&link.id)
}

/// How far a link goes up, walked in a direction.
pub(super) fn rise((link, forwards): (&Link, bool)) -> Millimetres {
    match forwards {
        true => link.rise,
        false => Millimetres(link.rise.0.saturating_neg()),
    }
}

/// A step of a way to another level in words: up or down, how far, by what, to where.
pub(super) fn to_level(sight: Sight<'_>, by: (&Link, bool), level: &str) -> SharedString {
    let rise = rise(by);
    let high = metres(Millimetres(rise.0.saturating_abs())).replace(' ', "\u{a0}");
    let name = sight.label(kind_of_way(by.0.kind));
    let level = sight.with(Id::WayLevel, [level]).replace(' ', "\u{a0}");
    match rise.0 {
        0 => sight.with(Id::WayOver, [&name, &level]),
        1.. => sight.with(Id::WayUp, [&high, &name, &level]),
        _ => sight.with(Id::WayDown, [&high, &name, &level]),
    }
}

/// What is left of the way of an order in words: places on one level together, each change of level a line of its own, and
/// where the kit is taken.
pub(super) fn in_words(sight: Sight<'_>, order: &Order) -> Vec<SharedString> {
    let facts = sight.facts();
    let Some(plan) = facts.opened.as_ref().map(|it| &it.plan) else {
        return Vec::new();
    };
    let way = &order.posting.way;
    let (mut lines, mut walked): (Vec<SharedString>, Option<&Place>) = (Vec::new(), None);
    let walk = |lines: &mut Vec<SharedString>, to: Option<&Place>| {
        lines.extend(to.map(|it| sight.with(Id::WayTo, [&it.name])));
    };
    let fetch = fetches(facts, order, sight.at());
    let posting = &order.posting;
    let station = posting.station.as_ref().and_then(|it| plan.station(it));
    let station = station.filter(|_| posting.lies.is_none());
    let take = |lines: &mut Vec<SharedString>, place: &Place| {
        let at = station.map_or_else(
            || place.name.clone(),
            |station| format!("{}, {}", station.name, place.name),
        );
        let kit = posting.kit.iter();
        lines.extend(kit.map(|kit| sight.with(Id::WayTake, [kit, &at])));
    };
    if !fetch {
        let kit = posting.kit.iter();
        lines.extend(kit.map(|kit| sight.with(Id::WayHas, [kit])));
    }
    let mut to_take = kit_place(plan, order).filter(|_| fetch);
    let leg = along(facts, order, sight.at()).map_or(0, |it| it.leg);
    let left = way.get(leg..).unwrap_or_default();
    let is_taken = |place: &str, to_take: &Option<&Place>| to_take.is_some_and(|it| it.id == place);
    let first = left.first().and_then(|it| plan.place(&it.0));
    if let Some(first) = first.filter(|it| is_taken(&it.id, &to_take)) {
        take(&mut lines, first);
        to_take = None;
    }
    for pair in left.windows(2) {
        let (Some(from), Some(to)) = (plan.place(&pair[0].0), plan.place(&pair[1].0)) else {
            continue;
        };
        let by = link(facts, plan, &from.id, &to.id);
        match by.filter(|_| from.level != to.level) {
            Some(by) => {
                walk(&mut lines, walked.take());
                lines.push(to_level(sight, by, &to.level));
                // Where a way ends with it, its end is said too.
                walked = Some(to);
            }
            None => walked = Some(to),
        }
        if is_taken(&to.id, &to_take) {
            walked = None;
            take(&mut lines, to);
            to_take = None;
        }
    }
    walk(&mut lines, walked);
    if let Some(place) = plan.place(&posting.place).filter(|_| left.len() < 2) {
        lines.push(sight.with(Id::WayAt, [&place.name]));
    }
    // What is far ahead can wait.
    lines.truncate(LINES_MAX);
    lines
}
