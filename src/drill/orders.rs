//! Measures how orders were passed on: how many were said, how many of those were read back, and how long that took.
//!
//! Counts orders and names nobody. An order that was neither said nor answered was passed on to nobody: it was given and ended
//! before that, and no read-back is missing for it.

use super::stands::Standing;
use super::unanswered::count;
use crate::incident::{Event, Facts, Report};
use crate::units::Millis;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// How orders were passed on.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Orders {
    /// Orders and standing tasks given.
    pub given: u32,
    /// How many of them were said over the radio, or answered.
    pub passed: u32,
    /// How many of those were read back.
    pub read_back: u32,
    /// How many of those were answered in any way: read back, on the way, there.
    pub answered: u32,
    /// From an order being said, else given, to its being read back: as long or less in half of them, ms.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub middle_ms: Option<i64>,
    /// The longest of them, ms.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slowest_ms: Option<i64>,
}

/// What became of one order.
#[derive(Default)]
struct One {
    given: Millis,
    said: Option<Millis>,
    heard: Option<Millis>,
    answered: bool,
}

/// What became of the orders so far, by the numbers of their records.
#[derive(Default)]
pub(super) struct Passed {
    all: BTreeMap<u64, One>,
}

impl Passed {
    /// Takes in a record; `facts` are what is known after it.
    pub(super) fn take(&mut self, facts: &Facts, standing: &Standing<'_>) {
        let at = standing.at;
        match &standing.record.event {
            Event::OrderGiven { .. } | Event::TaskGiven { .. } => {
                let one = One {
                    given: at,
                    ..One::default()
                };
                self.all.insert(standing.record.seq, one);
            }
            Event::WordsSaid { orders, .. } => {
                for number in orders {
                    if let Some(one) = self.all.get_mut(number) {
                        one.said.get_or_insert(at);
                    }
                }
            }
            Event::ResponderReported { responder, report } => {
                let on = |it: &&crate::incident::Order| it.posting.responder == *responder;
                let number = facts.orders.iter().find(on).map(|it| it.number);
                let Some(one) = number.and_then(|it| self.all.get_mut(&it)) else {
                    return;
                };
                if *report == Report::Heard {
                    one.heard.get_or_insert(at);
                }
                one.answered |= matches!(report, Report::Heard | Report::OnTheWay | Report::There);
            }
            _ => {}
        }
    }

    pub(super) fn orders(self) -> Orders {
        let passed: Vec<One> = self.all.into_values().collect();
        let given = count(passed.len());
        let passed: Vec<One> = passed
            .into_iter()
            .filter(|it| it.said.is_some() || it.answered)
            .collect();
        let took = |it: &One| {
            Some(
                it.heard?
                    .0
                    .saturating_sub(it.said.unwrap_or(it.given).0)
                    .max(0),
            )
        };
        let mut times: Vec<i64> = passed.iter().filter_map(took).collect();
        times.sort_unstable();
        Orders {
            given,
            passed: count(passed.len()),
            read_back: count(times.len()),
            answered: count(passed.iter().filter(|it| it.answered).count()),
            middle_ms: times.get(times.len().saturating_sub(1) / 2).copied(),
            slowest_ms: times.last().copied(),
        }
    }
}
