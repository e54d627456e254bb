//! Folds what concerns orders: who is on which, what was said of them, how far those came who are on none any more.
//!
//! An order that ends is kept as the last one of its person, because whoever was on it is still where it brought them, with
//! what they had in hand.

use super::event::{Given, Record, Report};
use super::state::{Facts, Former, Order};
use crate::readiness::Posting;
use crate::units::Millis;

impl Facts {
    /// What was said of a responder.
    pub(super) fn report_of(&mut self, responder: &str, report: Report, at: Millis) {
        for list in [
            &mut self.cannot,
            &mut self.lost,
            &mut self.hurt,
            &mut self.late,
        ] {
            list.retain(|id| id != responder);
        }
        let order = self
            .orders
            .iter_mut()
            .find(|it| it.posting.responder == responder);
        if let Some(order) = order {
            match report {
                Report::Heard => _ = order.heard.get_or_insert(at),
                Report::OnTheWay => _ = order.going.get_or_insert(at),
                Report::There => _ = order.there.get_or_insert(at),
                // Whoever is late was heard of, and is not there.
                Report::Late => (order.heard, order.there) = (order.heard.or(Some(at)), None),
                Report::Cannot | Report::Lost | Report::Hurt | Report::CanAgain => {}
            }
            order.unanswered &= !order.is_answered();
        }
        let name = || responder.to_owned();
        match report {
            Report::Late => self.late.push(name()),
            Report::Lost => self.lost.push(name()),
            Report::Hurt => self.hurt.push(name()),
            _ => {}
        }
        if matches!(report, Report::Cannot | Report::Lost | Report::Hurt) {
            self.cannot.push(name());
            self.end_order_of(responder, at);
        }
    }

    /// Whoever found that such a piece is not there has none, whatever was expected; where nobody says who found it, that is
    /// everybody who was to fetch one there and did not say since that they brought it.
    pub(super) fn did_not_fetch(&mut self, kit: &str, station: &str, by: Option<&str>) {
        let plan = self.opened.as_ref().map(|it| it.plan.clone());
        let kept = plan.as_ref().and_then(|plan| plan.station(station));
        let of_kind = |name: &str| {
            let mut items = kept.into_iter().flat_map(|it| &it.kit);
            items.any(|it| it.name == name && it.kind == kit)
        };
        let former = self.former.iter_mut().map(|it| &mut it.order);
        for order in self.orders.iter_mut().chain(former) {
            let found = by.map_or(order.there.is_none(), |by| order.posting.responder == by);
            if !found {
                continue;
            }
            order
                .holds
                .retain(|(from, name)| from != station || !of_kind(name));
            let from_there = order.posting.station.as_deref() == Some(station);
            let asked = order.posting.kit.as_deref().is_some_and(of_kind);
            order.empty_handed |= from_there && asked && order.posting.lies.is_none();
        }
    }

    pub(super) fn numbered<'a>(
        &'a mut self,
        numbers: &'a [u64],
    ) -> impl Iterator<Item = &'a mut Order> {
        let orders = self.orders.iter_mut();
        orders.filter(|it| numbers.contains(&it.number))
    }

    /// Whoever was on an order is on none; how far they came, and with what, stays known.
    pub(super) fn end_order_of(&mut self, responder: &str, at: Millis) {
        let on = |it: &Order| it.posting.responder == responder;
        let Some(index) = self.orders.iter().position(on) else {
            return;
        };
        let order = self.orders.remove(index);
        self.former
            .retain(|it| it.order.posting.responder != responder);
        self.former.push(Former {
            order,
            ended: at,
            replaced: false,
            to_tell: None,
        });
        self.late.retain(|id| id != responder);
    }

    pub(super) fn end_orders_of_those_who_may_hang(&mut self, at: Millis) {
        let hang = self.may_hang();
        let on = self.orders.iter().map(|it| it.posting.responder.clone());
        let gone: Vec<String> = on
            .filter(|id| hang.contains(id) || self.cannot.contains(id))
            .collect();
        for responder in gone {
            self.end_order_of(&responder, at);
        }
    }

    /// An order takes the place of the one before: nobody is on two.
    pub(super) fn give(
        &mut self,
        record: &Record,
        method: &str,
        posting: &Posting,
        instead: &[Given],
        at: Millis,
    ) {
        self.end_order_of(&posting.responder, at);
        let passing = self.policy().order_time.likely;
        let own = |it: &Former| it.order.posting.responder == posting.responder;
        let before = self.former.iter().position(own);
        let before = before.map(|index| self.former.remove(index));
        let holds = before.as_ref().map_or_else(Vec::new, |former| {
            former.order.in_hand(passing, former.ended)
        });
        let mut changed = before.is_some_and(|it| it.ended == at && it.order.is_told());
        for former in &mut self.former {
            let it = &former.order;
            let same = it.casualty == record.casualty
                && it.method == method
                && it.posting.role == posting.role;
            changed |= same && !former.replaced && it.is_told();
            former.replaced |= same;
        }
        self.orders.push(Order {
            casualty: record.casualty,
            method: method.to_owned(),
            posting: posting.clone(),
            at,
            number: record.seq,
            instead: instead.to_vec(),
            changed,
            holds,
            said: None,
            heard: None,
            going: None,
            there: None,
            unanswered: false,
            empty_handed: false,
        });
        self.late.retain(|id| *id != posting.responder);
    }

    /// Whoever did a step is where the order sent them, as far as they may have gone.
    pub(super) fn there_by_step(&mut self, casualty: u16, method: &str, step: usize, at: Millis) {
        let case = self.case_of(casualty);
        let running = case.casualty.running.as_ref();
        let done = case.method(method).and_then(|it| it.steps.get(step));
        let Some((fallback, done)) = running.map(|it| it.fallback).zip(done) else {
            return;
        };
        let tried = fallback.and_then(|it| done.fallback.get(it));
        let role = tried.and_then(|it| it.role.as_ref()).or(done.role.as_ref());
        let Some(role) = role.cloned() else {
            return;
        };
        let own = |it: &&mut Order| {
            it.casualty == casualty && it.method == method && it.posting.role == role
        };
        if let Some(order) = self.orders.iter_mut().find(own) {
            order.there.get_or_insert(at);
            order.unanswered = false;
            let responder = order.posting.responder.clone();
            self.late.retain(|id| *id != responder);
        }
    }
}
