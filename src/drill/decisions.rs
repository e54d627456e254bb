//! Finds the decisions that were not what was advised: held on, changed early, another method, more time, a stop overridden.
//!
//! What was advised is what the program asked for on the screen at that moment. Nobody knows from the record who was right:
//! these are facts to talk about. No time counts while a method is committed, in danger, or while others lead.

use super::stands::Standing;
use crate::incident::{Case, Event, Facts, Why};
use crate::readiness::NEVER;
use crate::units::Millis;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Advice followed within this is followed at once. A judgement without a source.
const AT_ONCE: Millis = Millis::from_seconds(10);

/// How a decision was not what was advised.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Departure {
    /// A method went on after the advice to change it.
    HeldOn,
    /// A method was left before the time advised, and nobody had said that it did not work.
    ChangedEarly,
    /// Another method than the next of the ladder was begun.
    WentStraight,
    /// The change was put off.
    MoreTime,
    /// The emergency call was made later than the plan asks, or not at all.
    CallLate,
    /// A method went on after something had stopped it.
    StopOverridden,
    /// A method that was ruled out was put back.
    PutBack,
}

/// A method, and what people call it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Named {
    /// Method id.
    pub id: String,
    /// Its name as spoken.
    pub name: String,
}

/// A decision that was not what was advised.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Decision {
    /// How.
    pub what: Departure,
    /// For which casualty, from 1; 0 where it concerns all.
    pub casualty: u16,
    /// When, ms since activation.
    pub at_ms: i64,
    /// By how much, ms; none where no time was advised, or the call was not made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by_ms: Option<i64>,
    /// The method that was tried, left or begun.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<Named>,
    /// The method it was left for, or that was next on the ladder.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub other: Option<Named>,
}

impl Decision {
    /// The emergency call, where it was made later than the plan asks.
    pub(super) fn on_the_call(facts: &Facts, end: Millis) -> Option<Decision> {
        let ordered = facts.call.ordered.first()?.1;
        let by = ordered.saturating_add(facts.policy().call_confirm);
        let made = facts.call.confirmed;
        (made.unwrap_or(end) > by).then(|| Decision {
            what: Departure::CallLate,
            casualty: 0,
            at_ms: made.unwrap_or(end).0,
            by_ms: made.map(|it| it.0.saturating_sub(by.0)),
            method: None,
            other: None,
        })
    }
}

/// A method that runs for one casualty.
struct Run {
    method: Named,
    started: Millis,
    /// By when it was advised to change, before anybody put that off.
    advised: Millis,
    /// How long it went on after the advice.
    held: Millis,
}

/// What was advised when a method was left.
struct Left {
    cause: u64,
    advised: Millis,
    due: bool,
    from: Named,
    next: Option<Named>,
}

/// Watches the methods go by.
#[derive(Default)]
pub(super) struct Watch {
    reached: Millis,
    runs: BTreeMap<u16, Run>,
    left: Option<Left>,
    /// Casualties whose method was said not to work.
    not_working: BTreeSet<u16>,
    found: Vec<Decision>,
}

impl Watch {
    /// The time from what was looked at last to `at`, in which `facts` held.
    pub(super) fn pass_time(&mut self, facts: &Facts, at: Millis) {
        for case in facts.cases() {
            let Some(run) = self.runs.get_mut(&case.number) else {
                continue;
            };
            let waits = facts.danger.is_none() && facts.outside.leads.is_none();
            let open = facts.is_open() && facts.closing.is_none();
            if !waits || !open || case.committed() || case.next_method().is_none() {
                continue;
            }
            let from = match is_out(case) {
                true => self.reached,
                false => self.reached.max(run.advised),
            };
            run.held = run
                .held
                .saturating_add(at.saturating_sub(from).max(Millis::ZERO));
        }
        self.reached = self.reached.max(at);
    }

    /// Takes in a record; `facts` are what is known before it.
    pub(super) fn before(&mut self, facts: &Facts, standing: &Standing<'_>) {
        let record = standing.record;
        let case = facts.case_of(record.casualty);
        let number = case.number;
        let found = |what, by_ms, method, other| Decision {
            what,
            casualty: number,
            at_ms: standing.at.0,
            by_ms,
            method: Some(method),
            other,
        };
        match &record.event {
            Event::MoreTimeTaken {
                method,
                change_by_ms,
            } => {
                let before = case.casualty.running.as_ref().map(|it| it.change_by.0);
                let more = before.map(|it| change_by_ms.saturating_sub(it));
                let method = named(case, method);
                self.found
                    .push(found(Departure::MoreTime, more, method, None));
            }
            Event::WentOn { method } => {
                let method = named(case, method);
                self.found
                    .push(found(Departure::StopOverridden, None, method, None));
            }
            Event::MethodPutBack { method } => {
                let method = named(case, method);
                self.found
                    .push(found(Departure::PutBack, None, method, None));
            }
            Event::NotWorkingReported { .. } => _ = self.not_working.insert(number),
            Event::StepDone { .. } | Event::FallbackStarted { .. } => {
                self.not_working.remove(&number);
            }
            Event::MethodChanged { from, .. } => {
                let run = self.runs.get(&number);
                self.left = run.map(|run| Left {
                    cause: record.cause,
                    advised: run.advised,
                    due: is_out(case) || standing.at >= run.advised,
                    from: named(case, from),
                    next: case.next_method().map(|it| named(case, &it.id)),
                });
            }
            Event::MethodStarted { method, why } => {
                let left = self.left.take().filter(|it| it.cause == record.cause);
                let said = self.not_working.remove(&number);
                let next = match &left {
                    Some(left) => left.next.clone(),
                    None => case.next_method().map(|it| named(case, &it.id)),
                };
                let straight =
                    *why == Why::Straight && next.as_ref().is_none_or(|it| it.id != *method);
                let to = named(case, method);
                if straight {
                    self.found
                        .push(found(Departure::WentStraight, None, to, next));
                } else if let Some(left) = left.filter(|it| !it.due && !said) {
                    let timed = left.advised.0 < NEVER.0 / 2;
                    let early = left.advised.0.saturating_sub(standing.at.0);
                    let by = timed.then_some(early);
                    self.found
                        .push(found(Departure::ChangedEarly, by, left.from, Some(to)));
                }
            }
            _ => {}
        }
    }

    /// Takes in what is known after a record.
    pub(super) fn after(&mut self, facts: &Facts, standing: &Standing<'_>) {
        for case in facts.cases() {
            let hangs = case.casualty.off.is_none();
            let running = case.casualty.running.as_ref().filter(|_| hangs);
            let same = |run: &Run| {
                running.is_some_and(|it| it.method == run.method.id && it.started == run.started)
            };
            if self.runs.get(&case.number).is_some_and(|run| !same(run)) {
                self.end(case.number, standing.at);
            }
            let Some(running) = running else { continue };
            let run = self.runs.entry(case.number).or_insert_with(|| Run {
                method: named(case, &running.method),
                started: running.started,
                advised: running.change_by,
                held: Millis::ZERO,
            });
            // What was advised is the time before anybody put it off.
            if running.more == 0 {
                run.advised = running.change_by;
            }
        }
    }

    /// A method is left, or has them off the harness.
    fn end(&mut self, number: u16, at: Millis) {
        let ended = self.runs.remove(&number);
        if let Some(run) = ended.filter(|it| it.held >= AT_ONCE) {
            self.found.push(Decision {
                what: Departure::HeldOn,
                casualty: number,
                at_ms: at.0,
                by_ms: Some(run.held.0),
                method: Some(run.method),
                other: None,
            });
        }
    }

    /// Everything found.
    pub(super) fn finish(mut self) -> Vec<Decision> {
        let running: Vec<u16> = self.runs.keys().copied().collect();
        for number in running {
            self.end(number, self.reached);
        }
        self.found
    }
}

/// True where what is known rules the running method out.
fn is_out(case: Case<'_>) -> bool {
    let running = case.casualty.running.as_ref();
    let method = running.and_then(|it| case.method(&it.method));
    method.is_some_and(|it| case.verdict(it).is_out())
}

fn named(case: Case<'_>, id: &str) -> Named {
    let method = case.method(id);
    Named {
        id: id.to_owned(),
        name: method.map_or_else(|| id.to_owned(), |it| it.name.clone()),
    }
}
