//! Proposes scenarios where a plan is weakest, each with the one sentence that says why.
//!
//! Weak is a position whose bad day is the longest, or that is not ready at all; what a rescue there hangs on is the method
//! that brings most casualties down, the people and the kit of which there are fewest, and the wind. One surprise each, so
//! that a team learns one thing at a time. The same plan and day give the same proposals in the same order. Limits: a
//! position without a method has nothing to drill; what nobody measured is weighed as the plan assumes it.

use std::cmp::Reverse;

use super::scenario::{Planned, Scenario, When};
use crate::incident::Inject;
use crate::plan::{Method, Plan, Position};
use crate::readiness::{Conditions, Look, Posting};
use crate::units::{Millis, Ratio, Speed};
use crate::words::{Id, Language, Message, clock, wind};

/// A scenario and why it is proposed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proposal {
    /// The scenario, with a name in the language that was asked for.
    pub scenario: Scenario,
    /// Why, in a sentence.
    pub why: Message,
}

/// So many positions are looked at, the worst first.
const WORST: usize = 5;
/// People or pieces are scarce where there are at most this many.
const SCARCE: usize = 2;
/// A rescue hangs on a method that brings at least this share of the casualties down.
const HANGS_ON: Ratio = Ratio(500_000);
/// Above the limit of a method by this much, so that nobody argues with the gauge.
const OVER_LIMIT: Speed = Speed(1_500);

/// When a surprise comes: after the first orders, before the first method is likely done.
const EARLY: When = When::Between(Millis::from_seconds(45), Millis::from_seconds(105));
/// When something breaks: while the first method is at work.
const AT_WORK: When = When::Between(Millis::from_seconds(90), Millis::from_seconds(210));

/// Proposes scenarios for the positions where a site stands worst; `looks` are in the order of the plan's positions.
pub fn propose(
    plan: &Plan,
    conditions: &Conditions,
    looks: &[Look],
    language: Language,
) -> Vec<Proposal> {
    let mut order: Vec<(&Position, &Look)> = plan
        .positions
        .iter()
        .zip(looks)
        .filter(|(position, _)| !position.methods.is_empty())
        .collect();
    order.sort_by_key(|(position, look)| {
        let expected = look.standing.expected;
        let bad_day = expected.and_then(|it| it.bad_day);
        let chance = expected.map_or(Ratio(0), |it| it.chance);
        // Without a bad day fewer than nine of ten succeed, which is worse than any time.
        let late = bad_day.map_or(i64::MAX, |it| it.0);
        (
            Reverse(look.standing.grade),
            Reverse(late),
            chance,
            position.id.clone(),
        )
    });
    let mut proposals: Vec<Proposal> = Vec::new();
    for (position, look) in order.into_iter().take(WORST) {
        let spot = Spot {
            plan,
            conditions,
            position,
            look,
            language,
        };
        for proposal in spot.proposals() {
            let same = |it: &Proposal| {
                it.scenario.position == proposal.scenario.position
                    && it.scenario.surprises == proposal.scenario.surprises
            };
            if !proposals.iter().any(same) {
                proposals.push(proposal);
            }
        }
    }
    proposals
}

/// One position that stands badly.
struct Spot<'a> {
    plan: &'a Plan,
    conditions: &'a Conditions,
    position: &'a Position,
    look: &'a Look,
    language: Language,
}

impl Spot<'_> {
    fn proposals(&self) -> Vec<Proposal> {
        let all = [
            self.stops_answering(),
            self.method_fails(),
            self.somebody_cannot(),
            self.kit_is_missing(),
            self.wind_rises(),
        ];
        all.into_iter().flatten().collect()
    }

    fn proposal(&self, when: When, inject: Inject, title: &Message, why: Message) -> Proposal {
        let present = &self.conditions.present;
        let everybody = self
            .plan
            .responders
            .iter()
            .all(|it| present.contains(&it.id));
        Proposal {
            scenario: Scenario {
                name: title.text(self.language),
                position: self.position.id.clone(),
                wind: self.conditions.wind,
                light: self.conditions.light,
                crew: (!everybody).then(|| present.clone()),
                surprises: vec![Planned { when, inject }],
                ..Scenario::default()
            },
            why,
        }
    }

    /// The method that the crew would try first on somebody who cannot help.
    fn first(&self) -> Option<&Method> {
        self.position.method(self.look.forecast.order.first()?)
    }

    /// Who does what in it.
    fn crew(&self) -> &[Posting] {
        let first = self.look.forecast.order.first();
        let mut methods = self.look.forecast.methods.iter();
        let own = methods.find(|it| Some(&it.method) == first);
        own.map_or(&[], |it| &it.crew)
    }

    fn stops_answering(&self) -> Option<Proposal> {
        let name = self.position.name.as_str();
        let bad_day = self.look.standing.expected.and_then(|it| it.bad_day);
        let why = match (bad_day, &self.look.standing.why_not) {
            (Some(bad_day), _) => Message::with(Id::ProposeBadDay, [name, &clock(bad_day)]),
            (None, Some(why)) => {
                Message::with(Id::ProposeNotReady, [name, &why.text(self.language)])
            }
            (None, None) => Message::with(Id::ProposeUnlikely, [name]),
        };
        let title = Message::with(Id::ProposeStopsTitle, [name]);
        Some(self.proposal(EARLY, Inject::StopsAnswering {}, &title, why))
    }

    fn method_fails(&self) -> Option<Proposal> {
        let method = self.first()?;
        let mut methods = self.look.forecast.methods.iter();
        let share = methods.find(|it| it.method == method.id)?.share?;
        if share < HANGS_ON {
            return None;
        }
        let name = self.position.name.as_str();
        let percent = (share.0 / 10_000).to_string();
        Some(self.proposal(
            AT_WORK,
            Inject::MethodFails {
                method: method.id.clone(),
            },
            &Message::with(Id::ProposeFailsTitle, [&method.name, name]),
            Message::with(Id::ProposeFails, [&percent, name, &method.name]),
        ))
    }

    /// The rarest qualification of the first method, and who was to bring it.
    fn somebody_cannot(&self) -> Option<Proposal> {
        let method = self.first()?;
        let workers = self.conditions.workers(self.position);
        let holders = |needed: &str| {
            let present = self.conditions.present.iter();
            let free = present.filter(|id| !workers.contains(id));
            free.filter(|id| self.plan.responder(id).is_some_and(|it| it.holds(needed)))
                .count()
        };
        let needed = self.crew().iter().filter_map(|posting| {
            let role = method.role(&posting.role)?;
            let needed = role.qualification.as_deref()?;
            Some((holders(needed), needed, posting.responder.as_str()))
        });
        let (count, needed, id) = needed.min()?;
        if count > SCARCE {
            return None;
        }
        let person = self.plan.responder(id)?;
        let place = self.position.name.as_str();
        Some(self.proposal(
            EARLY,
            Inject::ResponderCannot {
                responder: person.id.clone(),
            },
            &Message::with(Id::ProposeCannotTitle, [&person.name, place]),
            Message::with(
                Id::ProposeCannot,
                [&count.to_string(), needed, &person.name],
            ),
        ))
    }

    /// The rarest piece of the first method, and where it was to be fetched.
    fn kit_is_missing(&self) -> Option<Proposal> {
        let method = self.first()?;
        let pieces = |kind: &str| -> usize {
            let stations = self.plan.stations.iter();
            let kept = stations.flat_map(|it| &it.kit);
            let usable = kept.filter(|it| it.kind == kind && it.in_service());
            usable.map(|it| it.count as usize).sum()
        };
        let wanted = self.crew().iter().filter_map(|posting| {
            let kind = method.role(&posting.role)?.kit.as_deref()?;
            Some((pieces(kind), kind, posting.station.as_deref()?))
        });
        let (count, kind, station) = wanted.min()?;
        if count > SCARCE {
            return None;
        }
        let place = self.position.name.as_str();
        Some(self.proposal(
            EARLY,
            Inject::KitMissing {
                kit: kind.to_owned(),
                station: station.to_owned(),
            },
            &Message::with(Id::ProposeKitTitle, [kind, place]),
            Message::with(Id::ProposeKit, [&count.to_string(), kind, place]),
        ))
    }

    fn wind_rises(&self) -> Option<Proposal> {
        let method = self.first()?;
        let most = method.wind_max.as_ref()?.value;
        let name = self.position.name.as_str();
        Some(self.proposal(
            AT_WORK,
            Inject::Wind {
                speed: most.saturating_add(OVER_LIMIT),
            },
            &Message::with(Id::ProposeWindTitle, [name]),
            Message::with(Id::ProposeWind, [&method.name, &wind(most)]),
        ))
    }
}
