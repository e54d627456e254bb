//! Gives the orders: to the crew of the method that runs, to those who stand ready for later ones, to the standing roles.
//!
//! What is wanted is worked out whole each time, from the numbers acted on, and only what differs from the orders that
//! stand is ordered anew, with what stood before beside it. Nobody is on two orders: whoever has a role in an earlier method
//! comes on to a later one when that has ended. Until it is safe, nobody is sent past the approach point. Pure.

use super::case::Case;
use super::decide::Draft;
use super::event::{Event, Given};
use super::state::{Facts, Order};
use crate::readiness::{Left, Ordered, Passing, Posting};
use crate::units::Millis;
use std::collections::BTreeSet;

/// An order that should stand.
struct Want {
    casualty: u16,
    /// Empty for a standing role.
    method: String,
    posting: Posting,
}

impl Want {
    /// True where this is ordered already and can be carried out as it was ordered.
    fn stands_as(&self, order: &Order, facts: &Facts) -> bool {
        order.casualty == self.casualty
            && order.method == self.method
            && order.posting.same_order(&self.posting)
            && (order.there.is_some() || facts.can_pass(&order.posting.way))
    }
}

/// What dispatch does with those for whom there is no order any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Others {
    /// They go on, because the numbers may be older than what is known by now.
    GoOn,
    /// Their order is withdrawn.
    StandBy,
}

impl Draft<'_> {
    /// Orders what the numbers acted on ask for and does not stand yet.
    pub(super) fn dispatch(&mut self, others: Others) {
        if self.facts().danger.is_some() {
            return;
        }
        let wanted = wanted(self.facts());
        for responder in idle(self.facts(), &wanted, others) {
            self.push(Event::OrderWithdrawn { responder });
        }
        for want in wanted {
            let facts = self.facts();
            // Whoever is on a way that is blocked now is sent anew by the numbers that know of it, never over the same way.
            let stands = facts.orders.iter().any(|it| want.stands_as(it, facts));
            if stands || !facts.can_pass(&want.posting.way) {
                continue;
            }
            let now = self.at();
            let posting = onward(facts, &want, now);
            let instead = instead(facts, &want);
            let event = match want.method.is_empty() {
                true => Event::TaskGiven { posting, instead },
                false => Event::OrderGiven {
                    method: want.method,
                    posting,
                    instead,
                },
            };
            self.push_for(want.casualty, event);
        }
    }

    /// After a slip was taken back: an order that stands again may ask for a piece for which somebody else was sent since. The
    /// newer order keeps it.
    pub(super) fn leave_pieces_to_newer_orders(&mut self) {
        let facts = self.facts();
        let mut newest: Vec<&Order> = facts.orders.iter().collect();
        newest.sort_by_key(|it| std::cmp::Reverse(it.number));
        let mut taken = Vec::new();
        let mut idle = Vec::new();
        for order in newest {
            let Some(own) = piece(&order.posting) else {
                continue;
            };
            if taken.iter().filter(|it| **it == own).count() >= facts.pieces(own) {
                idle.push(order.posting.responder.clone());
            } else {
                taken.push(own);
            }
        }
        for responder in idle {
            self.push(Event::OrderWithdrawn { responder });
        }
    }
}

/// Those whose order is wanted no more: all of them, or only those who are to bring a piece of which none would be left for
/// whoever needs it now.
fn idle(facts: &Facts, wanted: &[Want], others: Others) -> Vec<String> {
    let named: BTreeSet<&str> = wanted
        .iter()
        .map(|it| it.posting.responder.as_str())
        .collect();
    // Every piece that is spoken for: by what is wanted now, then by those who go on.
    let mut taken: Vec<_> = wanted.iter().filter_map(|it| piece(&it.posting)).collect();
    let mut idle = Vec::new();
    let rest = facts.orders.iter();
    for order in rest.filter(|it| !named.contains(it.posting.responder.as_str())) {
        let case = facts.case_of(order.casualty);
        let known = case.casualty.forecast.is_some() || case.casualty.off.is_some();
        let own = piece(&order.posting);
        let in_the_way = own.is_some_and(|own| {
            let spoken_for = taken.iter().filter(|it| **it == own).count();
            spoken_for >= facts.pieces(own)
        });
        if in_the_way || known && others == Others::StandBy {
            idle.push(order.posting.responder.clone());
        } else {
            taken.extend(own);
        }
    }
    idle
}

/// The piece that an order asks for: station id and name as spoken.
fn piece(posting: &Posting) -> Option<(&str, &str)> {
    posting.station.as_deref().zip(posting.kit.as_deref())
}

/// Every order that should stand, the most pressing first, each person once.
fn wanted(facts: &Facts) -> Vec<Want> {
    let mut cases: Vec<Case<'_>> = facts.cases().collect();
    cases.sort_by_key(|it| (it.number != facts.case().number, it.number));
    let mut list = List {
        facts,
        free: facts.free_people().into_iter().collect(),
        wants: Vec::new(),
    };
    for case in &cases {
        list.running(*case);
        list.first_aider(*case);
    }
    for case in &cases {
        list.standing(*case);
        list.staged(*case);
    }
    list.wants
}

struct List<'a> {
    facts: &'a Facts,
    /// People who can be ordered and have nothing to do yet.
    free: BTreeSet<String>,
    wants: Vec<Want>,
}

impl List<'_> {
    /// Adds an order, unless its person is taken or may not hold the role, or it is known by now that the way is blocked or
    /// the kit is gone: then the numbers are older than that, and the next ones say who goes instead.
    fn add(&mut self, case: Case<'_>, method: &str, posting: Posting) {
        let facts = self.facts;
        let stands = facts.order_of(&posting.responder).is_some_and(|it| {
            it.casualty == case.number && it.method == method && it.posting.same_order(&posting)
        });
        let known = facts.can_pass(&posting.way) && facts.is_there(&posting);
        if !(stands || known) || !case.may_hold(method, &posting) {
            return;
        }
        // Of every piece no more are asked for than there are; the more pressing order has it.
        let left = piece(&posting).is_none_or(|own| {
            let asked = self
                .wants
                .iter()
                .filter(|it| piece(&it.posting) == Some(own));
            asked.count() < facts.pieces(own)
        });
        if !left {
            return;
        }
        if self.free.remove(&posting.responder) {
            self.wants.push(Want {
                casualty: case.number,
                method: method.to_owned(),
                posting,
            });
        }
    }

    /// The crew of the method that runs; off the harness only those who are on it already, because they bring down.
    fn running(&mut self, case: Case<'_>) {
        let Some(running) = &case.casualty.running else {
            return;
        };
        if case.casualty.landed.is_some() {
            return;
        }
        let orders = self.facts.orders.iter();
        let own = orders.filter(|it| it.casualty == case.number && it.method == running.method);
        if case.casualty.off.is_some() {
            for order in own {
                self.add(case, &running.method, order.posting.clone());
            }
            return;
        }
        let Some(expected) = case.forecast_of(&running.method) else {
            return;
        };
        for posting in &expected.crew {
            let sent = case.as_far_as_it_is_safe(&running.method, posting);
            self.add(case, &running.method, sent);
        }
    }

    /// One first aider with an AED for everybody, from the first orders on.
    fn first_aider(&mut self, case: Case<'_>) {
        let planned = case.casualty.forecast.as_ref();
        let planned = planned.and_then(|it| it.first_aider.as_deref());
        self.task(case, Posting::FIRST_AID, planned);
    }

    fn standing(&mut self, case: Case<'_>) {
        for role in [Posting::TALKER, Posting::GUIDE, Posting::RADIO] {
            let forecast = case.casualty.forecast.as_ref();
            let mut planned = forecast.into_iter().flat_map(|it| &it.standing);
            let planned = planned.find(|it| it.role == role);
            self.task(case, role, planned);
        }
    }

    /// A standing role: whoever is on it stays, else the one whom the numbers name.
    fn task(&mut self, case: Case<'_>, role: &str, planned: Option<&Posting>) {
        let shared = role != Posting::TALKER;
        let same = |casualty: u16, method: &str, posting: &Posting| {
            method.is_empty() && posting.role == role && (shared || casualty == case.number)
        };
        let filled = |it: &Want| same(it.casualty, &it.method, &it.posting);
        // Nobody talks with somebody who is reached, and nobody begins to care for the second time.
        let over = role == Posting::TALKER
            && (case.casualty.contact.is_some() || case.casualty.off.is_some());
        if over || self.wants.iter().any(filled) {
            return;
        }
        let mut orders = self.facts.orders.iter();
        let standing = orders.find(|it| same(it.casualty, &it.method, &it.posting));
        if let Some(order) = standing.filter(|it| self.free.contains(&it.posting.responder)) {
            let number = order.casualty;
            // Elsewhere only where the numbers send the same person elsewhere.
            let moved = planned
                .filter(|it| number == case.number && it.responder == order.posting.responder);
            let posting = moved.unwrap_or(&order.posting).clone();
            self.add(self.facts.case_of(number), "", posting);
            return;
        }
        // The numbers may be older than what is known by now.
        let idle = |it: &&Posting| {
            let busy = self.facts.order_of(&it.responder);
            busy.is_none_or(|order| role == Posting::FIRST_AID && !order.method.is_empty())
                && self.facts.caller() != Some(&it.responder)
                && self.facts.command.by.as_ref() != Some(&it.responder)
        };
        let begins = case.casualty.off.is_none() || role == Posting::FIRST_AID;
        if let Some(posting) = planned.filter(idle).filter(|_| begins) {
            self.add(case, "", posting.clone());
        }
    }

    /// Those who stand ready for later methods, from the moment at which one runs: until then nobody knows which is the first.
    fn staged(&mut self, case: Case<'_>) {
        let casualty = case.casualty;
        if casualty.running.is_none() || casualty.off.is_some() {
            return;
        }
        for (place, method) in case.left_in_order().enumerate() {
            // Nobody stands ready for a method that lacks somebody, unless it is the next all the same.
            let lacks = case
                .forecast_of(&method.id)
                .is_none_or(|it| !it.unfilled.is_empty());
            if lacks && place > 0 {
                continue;
            }
            for posting in case.forecast_of(&method.id).iter().flat_map(|it| &it.crew) {
                let sent = case.as_far_as_it_is_safe(&method.id, posting);
                self.add(case, &method.id, sent);
            }
        }
    }
}

/// The order as it begins now. Who is on the way to the same role already has come as far as they have: of the whole way
/// only the rest is left.
fn onward(facts: &Facts, want: &Want, now: Millis) -> Posting {
    let mut posting = want.posting.clone();
    let same = facts.order_of(&posting.responder).filter(|it| {
        it.casualty == want.casualty
            && it.method == want.method
            && it.posting.role == posting.role
            && it.posting.kit == posting.kit
            && posting.way.starts_with(&it.posting.way)
            && !it.posting.way.is_empty()
    });
    let Some(order) = same else {
        return posting;
    };
    let passing = facts.policy().order_time.likely;
    let gone = match order.there {
        Some(_) => order.posting.travel_ms,
        None => {
            let since = now.saturating_sub(order.understood(passing));
            since.0.min(order.posting.travel_ms).max(0)
        }
    };
    let left = posting.way.iter().filter(|it| it.1 >= gone);
    let rest: Vec<Passing> = left
        .map(|it| Passing(it.0.clone(), it.1.saturating_sub(gone)))
        .collect();
    posting.way = rest;
    // Once a place is passed, that is what lies behind.
    let passed = want.posting.way.iter().rev().find(|it| it.1 < gone);
    let behind = passed.or(want.posting.behind.as_ref());
    posting.behind = behind.map(|it| Passing(it.0.clone(), it.1.saturating_sub(gone)));
    posting.travel_ms = posting.travel_ms.saturating_sub(gone).max(0);
    posting.fetch_ms = posting
        .fetch_ms
        .map(|fetch| fetch.saturating_sub(gone).max(0));
    posting
}

/// What stood before: the order of this person, and that of whoever had the role and can no more.
fn instead(facts: &Facts, want: &Want) -> Vec<Given> {
    let given = |order: &Order| Given {
        method: order.method.clone(),
        posting: order.posting.clone(),
    };
    let own = facts.order_of(&want.posting.responder).map(given);
    let role = facts.former.iter().rev().find(|it| {
        !it.replaced
            && it.order.casualty == want.casualty
            && it.order.method == want.method
            && it.order.posting.role == want.posting.role
            && it.order.posting.responder != want.posting.responder
    });
    let held = facts.orders.iter().find(|it| {
        it.casualty == want.casualty
            && it.method == want.method
            && it.posting.role == want.posting.role
            && it.posting.responder != want.posting.responder
    });
    let role = held.or(role.map(|it| &it.order)).map(given);
    own.into_iter().chain(role).collect()
}

impl Case<'_> {
    /// Where somebody is sent: until it is safe, whoever would go near waits with their kit. At the approach point where the
    /// way leads by it; where it does not, at the station, or at the landing place, where the first aider is too.
    fn as_far_as_it_is_safe(self, method: &str, posting: &Posting) -> Posting {
        let mut sent = posting.clone();
        let method = self.method(method);
        let goes_near = method.is_some_and(|it| it.goes_near(&posting.role));
        let (Some(position), Some(method)) = (self.position(), method) else {
            return sent;
        };
        let landing = [Some(&position.landing), method.landing.as_ref()];
        let lands = landing.contains(&Some(&sent.place)) && !self.touch_nothing();
        if !goes_near || self.may_go_near() || lands || sent.place == position.approach {
            return sent;
        }
        let fetched = sent.fetch_ms.unwrap_or(0);
        let plan = self.facts.opened.as_ref().map(|it| &it.plan);
        let kept = posting.station.as_ref().zip(plan);
        let station = kept.and_then(|(id, plan)| plan.station(id));
        let stop = |place: &str| {
            let passed = |it: &Passing| it.0 == place && it.1 >= fetched;
            posting.way.iter().position(passed)
        };
        let station = station.and_then(|it| Some((it.place.clone(), stop(&it.place)?)));
        let approach = stop(&position.approach).map(|index| (position.approach.clone(), index));
        match approach.or(station) {
            Some((place, index)) => {
                sent.place = place;
                sent.travel_ms = sent.way[index].1;
                sent.way.truncate(index.saturating_add(1));
            }
            None => {
                // How they get there is for the next numbers to say.
                sent.place.clone_from(&position.approach);
                sent.way.clear();
            }
        }
        sent
    }
}

impl Facts {
    /// True where no stretch of a way is blocked, or is passed by another link.
    fn can_pass(&self, way: &[Passing]) -> bool {
        let Some(plan) = self.opened.as_ref().map(|it| &it.plan) else {
            return true;
        };
        self.blocked.is_empty()
            || way.windows(2).all(|pair| {
                let (from, to) = (&pair[0].0, &pair[1].0);
                let links = plan.links.iter();
                let mut between = links.filter(|it| {
                    (it.from == *from && it.to == *to) || (it.from == *to && it.to == *from)
                });
                from == to
                    || between.any(|it| it.closed.is_none() && !self.blocked.contains(&it.id))
            })
    }

    /// True where the kit of an order is in hand, or is not known to be gone from where it is to be fetched.
    fn is_there(&self, posting: &Posting) -> bool {
        let plan = self.opened.as_ref().map(|it| &it.plan);
        let station = posting.station.as_ref();
        let (Some(plan), Some(station), Some(kit)) = (plan, station, &posting.kit) else {
            return true;
        };
        let piece = (station.clone(), kit.clone());
        let in_hand = |it: &Order, until: Millis| {
            it.posting.responder == posting.responder
                && it
                    .in_hand(self.policy().order_time.likely, until)
                    .contains(&piece)
        };
        let now = self.line.reached_at();
        let mut former = self.former.iter();
        if posting.lies.is_some()
            || self.orders.iter().any(|it| in_hand(it, now))
            || former.any(|it| in_hand(&it.order, it.ended))
        {
            return true;
        }
        let kept = plan.station(station).into_iter().flat_map(|it| &it.kit);
        let mut kinds = kept.filter(|it| it.name == *kit).map(|it| &it.kind);
        kinds.all(|kind| !self.gone.contains(&(kind.clone(), station.clone())))
    }

    /// How many pieces of this name a station keeps that may be used.
    fn pieces(&self, (station, kit): (&str, &str)) -> usize {
        let plan = self.opened.as_ref().map(|it| &it.plan);
        let kept = plan.and_then(|plan| plan.station(station));
        let mut items = kept.into_iter().flat_map(|it| &it.kit);
        let item = items.find(|it| it.name == kit && it.in_service());
        item.map_or(0, |it| usize::try_from(it.count).unwrap_or(usize::MAX))
    }

    /// Everybody who was ordered somewhere, as far as is known of them at this time.
    pub(super) fn ordered(&self, at: Millis) -> Vec<Ordered> {
        let passing = self.policy().order_time.likely;
        let of = |order: &Order, until: Millis, ended: bool| Ordered {
            casualty: order.casualty,
            method: order.method.clone(),
            posting: match order.empty_handed {
                true => Posting {
                    kit: None,
                    station: None,
                    lies: None,
                    fetch_ms: None,
                    ..order.posting.clone()
                },
                false => order.posting.clone(),
            },
            ago: until
                .saturating_sub(order.understood(passing))
                .max(Millis::ZERO),
            ended,
            there: order.there.is_some(),
            late: self.late.contains(&order.posting.responder),
            holds: order.in_hand(passing, until),
        };
        let now = self.orders.iter().map(|it| of(it, at, false));
        let cannot = |id: &String| self.cannot.contains(id);
        let before = self
            .former
            .iter()
            .filter(|it| !cannot(&it.order.posting.responder));
        now.chain(before.map(|it| of(&it.order, it.ended, true)))
            .collect()
    }

    /// Kit that another casualty needs: of those worked for now, and of the one who comes first.
    pub(super) fn kit_for_others(&self, number: u16) -> Vec<Left> {
        let first = self.case().number;
        let others = self
            .orders
            .iter()
            .filter(|it| it.casualty != number && (self.works(it) || it.casualty == first));
        let pieces = others.filter_map(|it| piece(&it.posting));
        pieces
            .map(|(station, kit)| Left {
                station: station.to_owned(),
                kit: kit.to_owned(),
                place: None,
            })
            .collect()
    }

    /// Kit that was taken by somebody who cannot bring it any more; it lies where that person was, where that is known.
    pub(super) fn left_kit(&self) -> Vec<Left> {
        let passing = self.policy().order_time.likely;
        let hang = self.may_hang();
        let gone = self.former.iter().filter(|it| {
            let id = &it.order.posting.responder;
            self.cannot.contains(id) || hang.contains(id)
        });
        let mut left: Vec<Left> = gone
            .flat_map(|it| {
                let place = it.order.there.map(|_| it.order.posting.place.clone());
                let held = it.order.in_hand(passing, it.ended).into_iter();
                held.map(move |(station, kit)| Left {
                    station,
                    kit,
                    place: place.clone(),
                })
            })
            .collect();
        // Somebody else has picked it up since.
        for order in self.orders.iter().filter(|it| it.posting.lies.is_some()) {
            let taken = |it: &Left| {
                it.place == order.posting.lies && Some(&it.kit) == order.posting.kit.as_ref()
            };
            let held = order.in_hand(passing, self.line.reached_at());
            if let Some(index) = left.iter().position(taken)
                && held
                    .iter()
                    .any(|(_, kit)| Some(kit) == order.posting.kit.as_ref())
            {
                left.remove(index);
            }
        }
        left
    }
}
