//! Says when words over the radio could be begun, the same for the simulated crew and for what drills teach.
//!
//! One person speaks orders, one broadcast after the other, and whoever is ordered reads back and sets out. So what a plan's
//! `order_time` means is one order's time, from when its words could be begun to its read-back, and a way begins with that
//! read-back, as the forecast has it. Words can be begun once the last order among them was given and the words before them,
//! read-backs included, are over. Limits: no record says when a word was begun, so a pause before it is part of the time; of
//! several orders in one broadcast each counts from its beginning.

use std::collections::BTreeMap;

use super::pace::Luck;
use crate::incident::{Facts, Order, to_say};
use crate::units::Millis;

/// When the last was given, or taken back, of what these words pass on; none where nothing of it stands.
pub(super) fn given(facts: &Facts, words: &[u64]) -> Option<Millis> {
    let orders = facts.orders.iter();
    let own = orders.filter(|it| words.contains(&it.number));
    let former = facts.former.iter();
    let ended = former.filter(|it| it.to_tell.is_some_and(|it| words.contains(&it)));
    own.map(|it| it.at).chain(ended.map(|it| it.ended)).max()
}

/// What the simulated one in command says, and when.
#[derive(Clone, Debug, Default)]
pub(super) struct Words {
    /// When the words of an order were begun, by its number.
    begun: BTreeMap<u64, Millis>,
    /// When the last words were at their end.
    ended: Millis,
}

impl Words {
    /// Begins what is to be said as soon as it can be.
    pub(super) fn see(&mut self, luck: &Luck, facts: &Facts) {
        let Some(words) = to_say(facts).filter(|it| it.again.is_none()) else {
            return;
        };
        let begun = self.quiet(luck, facts);
        let begun = begun.max(given(facts, &words.orders).unwrap_or_default());
        for number in words.orders {
            self.begun.insert(number, begun);
        }
    }

    /// Words are at their end.
    pub(super) fn ended(&mut self, at: Millis) {
        self.ended = at;
    }

    /// When the words are at their end that are to be said now, and the numbers of what they pass on.
    pub(super) fn next(&self, luck: &Luck, facts: &Facts) -> Option<(Millis, Vec<u64>)> {
        let words = to_say(facts)?;
        let first = words.orders.first().copied().unwrap_or(0);
        let begun = match words.again {
            Some(_) => self.quiet(luck, facts),
            None => self.begun.get(&first).copied().unwrap_or_default(),
        };
        // The quickest of them reads back after the last word; what is only taken back is not read back.
        let standing = facts.orders.iter().map(|it| it.number);
        let own = standing.filter(|it| words.orders.contains(it));
        let spoken = own.map(|it| luck.speaking(facts, it)).min();
        let spoken = spoken.unwrap_or_else(|| luck.passing(facts, first));
        Some((begun.saturating_add(spoken), words.orders))
    }

    /// When an order is read back; none as long as it was not said.
    pub(super) fn understood(&self, luck: &Luck, facts: &Facts, order: &Order) -> Option<Millis> {
        let said = order.said?;
        let begun = self.begun.get(&order.number).copied().unwrap_or(said);
        let passed = begun.saturating_add(luck.passing(facts, order.number));
        Some(order.heard.unwrap_or_else(|| passed.max(said)))
    }

    /// When the last words and their read-backs are over.
    fn quiet(&self, luck: &Luck, facts: &Facts) -> Millis {
        let orders = facts.orders.iter();
        let now = orders.filter_map(|it| self.understood(luck, facts, it));
        let former = facts.former.iter().filter_map(|it| it.order.heard);
        now.chain(former).fold(self.ended, Millis::max)
    }
}
