//! Counts the kit there is: at its stations, in somebody's hands, and where it was left.
//!
//! A piece that somebody took is not at its station any more. Whoever has it can use it without a detour and nobody else
//! can; one that was left lies where it is for anybody. A piece that is ordered and not fetched yet still is stock. Limits:
//! a piece in the hands of somebody who cannot be sent is no stock.

use super::basis::{Basis, Ordered};
use super::whereabouts::{carried, order_of};
use crate::plan::{KitItem, Plan, Responder, Station};

/// Pieces of one kit item at its station, in somebody's hands, or where they were left.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stock<'t, 'p> {
    /// Where they are kept.
    pub(super) station: &'p Station,
    pub(super) item: &'p KitItem,
    /// How many there are.
    pub(super) count: u32,
    /// The place where they lie, where that is not the station.
    pub(super) lies: Option<&'t str>,
    /// The person who has them in hand.
    pub(super) holder: Option<usize>,
}

impl<'t, 'p> Stock<'t, 'p> {
    /// Where one has to go for a piece; nowhere where it is in hand.
    pub(super) fn place(&self) -> Option<&str> {
        match self.holder {
            Some(_) => None,
            None => Some(self.lies.unwrap_or(&self.station.place)),
        }
    }

    fn is(&self, station: &str, kit: &str) -> bool {
        self.station.id == station && self.item.name == kit
    }

    /// Where two are as near, the name decides and not the order of the file.
    fn key(&self) -> [&'p str; 4] {
        let (station, item) = (self.station, self.item);
        [&station.name, &station.id, &item.name, &item.id]
    }
}

/// The stocks of the kinds that are wanted: first what is in hand, then what was left somewhere, then what is kept.
pub(super) fn stocks<'t, 'p>(
    plan: &'p Plan,
    basis: &'t Basis,
    people: &[&Responder],
    wanted: impl Fn(&str) -> bool,
) -> Vec<Stock<'t, 'p>> {
    let gone = |station: &Station, item: &KitItem| {
        let mut gone = basis.gone.iter();
        gone.any(|(kind, at)| *kind == item.kind && *at == station.id)
    };
    let all = plan.stations.iter().flat_map(|station| {
        let kit = station.kit.iter();
        kit.map(move |item| Stock {
            station,
            item,
            count: item.count,
            lies: None,
            holder: None,
        })
    });
    let mut kept: Vec<Stock<'t, 'p>> = all
        .filter(|it| it.item.in_service() && wanted(&it.item.kind))
        .collect();
    kept.sort_by_key(Stock::key);
    let mut elsewhere: Vec<Stock<'t, 'p>> = Vec::new();
    let mut moved = |taken: &[Stock<'t, 'p>], station: &str, kit: &str, lies, holder| {
        let Some(own) = taken.iter().find(|it| it.is(station, kit)) else {
            return;
        };
        let same =
            |it: &&mut Stock<'t, 'p>| it.is(station, kit) && it.lies == lies && it.holder == holder;
        match elsewhere.iter_mut().find(same) {
            Some(there) => there.count = there.count.saturating_add(1),
            None => elsewhere.push(Stock {
                count: 1,
                lies,
                holder,
                ..*own
            }),
        }
    };
    let mut taken: Vec<(&str, &str)> = Vec::new();
    let mut for_others: Vec<(&str, &str)> = Vec::new();
    for order in latest(basis) {
        let id = &order.posting.responder;
        let holder = people.iter().position(|it| it.id == *id);
        if order.ended && holder.is_none() {
            // What they carried is said to be left, if it is known of.
            continue;
        }
        let carried = carried(order);
        for (station, kit) in &carried {
            taken.push((station, kit));
            if holder.is_some() {
                moved(&kept, station, kit, None, holder);
            }
        }
        if order.casualty != basis.casualty {
            for_others.extend(carried);
        }
    }
    for left in &basis.left {
        let piece = (left.station.as_str(), left.kit.as_str());
        let same = for_others.iter().position(|it| *it == piece);
        match (&left.place, same) {
            // The same piece in the hands of somebody who works for another casualty is not taken twice.
            (None, Some(same)) => {
                for_others.swap_remove(same);
                continue;
            }
            (None, None) => {}
            (Some(place), _) => moved(&kept, piece.0, piece.1, Some(place.as_str()), None),
        }
        taken.push(piece);
    }
    for (station, kit) in taken {
        let mut kept = kept.iter_mut();
        if let Some(stock) = kept.find(|it| it.count > 0 && it.is(station, kit)) {
            stock.count -= 1;
        }
    }
    kept.retain(|it| !gone(it.station, it.item));
    elsewhere.sort_by_key(|it| (it.holder.is_none(), it.holder, it.key(), it.lies));
    elsewhere.extend(kept);
    elsewhere
}

/// What is known of everybody who was ordered somewhere, once for each.
fn latest(basis: &Basis) -> impl Iterator<Item = &Ordered> {
    basis.ordered.iter().filter(|it| {
        let last = order_of(basis, &it.posting.responder);
        last.is_some_and(|last| std::ptr::eq(last, *it))
    })
}
