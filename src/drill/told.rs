//! Makes the sentences of an outcome, grouped as people talk about it: milestones, decisions, orders, prompts, surprises.
//!
//! Facts and times, each beside what the plan expected. No name, no share as a figure of merit, no word on how well it went.

use super::decisions::{Decision, Departure, Named};
use super::marks::{Mark, Reached};
use super::met::Met;
use super::result::Outcome;
use super::unanswered::Stood;
use crate::incident::Inject;
use crate::units::Millis;
use crate::words::{Id, Language, Message, Phrase, clock, wind};

/// Sentences that belong together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// What they are about.
    pub heading: Id,
    /// The sentences, still without a language.
    pub lines: Vec<Phrase>,
}

impl Group {
    /// The sentences in a language.
    pub fn messages(&self, language: Language) -> Vec<Message> {
        self.lines.iter().map(|it| it.message(language)).collect()
    }
}

impl Outcome {
    /// Everything in sentences: milestones, decisions, orders, prompts, surprises.
    pub fn told(&self) -> Vec<Group> {
        let groups = [
            (Id::OutcomeMarks, self.marks_told()),
            (Id::OutcomeDecisions, self.decisions_told()),
            (Id::OutcomeOrders, self.orders_told()),
            (Id::OutcomePrompts, self.prompts_told()),
            (Id::OutcomeSurprises, self.surprises_told()),
        ];
        let told = groups.into_iter();
        told.map(|(heading, lines)| Group { heading, lines })
            .collect()
    }

    fn marks_told(&self) -> Vec<Phrase> {
        let mut lines: Vec<Phrase> = self.marks.iter().map(|it| self.mark_told(it)).collect();
        if let Some(at) = self.stands_ms {
            lines.push(Phrase::with(Id::OutcomeStands, [time(at)]));
        }
        if let Some(at) = self.turned_real_ms {
            lines.push(Phrase::with(Id::OutcomeReal, [time(at)]));
        }
        lines
    }

    fn mark_told(&self, mark: &Reached) -> Phrase {
        let name = self.mark_name(mark);
        let Some(at) = mark.fall_ms else {
            return Phrase::with(Id::OutcomeNotReached, [name]);
        };
        let at_least = if mark.at_least { "\u{2265}" } else { "" };
        let at: Phrase = format!("{at_least}{}", clock(Millis(at))).into();
        match (mark.planned_ms, mark.target_ms) {
            (None, None) => Phrase::with(Id::OutcomeMark, [name, at]),
            (Some(planned), None) => Phrase::with(Id::OutcomeMarkPlan, [name, at, time(planned)]),
            (None, Some(target)) => Phrase::with(Id::OutcomeMarkTarget, [name, at, time(target)]),
            (Some(planned), Some(target)) => {
                Phrase::with(Id::OutcomeMarkBoth, [name, at, time(planned), time(target)])
            }
        }
    }

    /// The name of a milestone; with the number of the casualty where there are several.
    pub(super) fn mark_name(&self, mark: &Reached) -> Phrase {
        let name = Phrase::of(match mark.mark {
            Mark::Started => Id::OutcomeStarted,
            Mark::AllStopped => Id::OutcomeAllStopped,
            Mark::CallPassed => Id::OutcomeCallPassed,
            Mark::CallMade => Id::OutcomeCallMade,
            Mark::FirstOrders => Id::OutcomeFirstOrders,
            Mark::MadeSafe => Id::OutcomeMadeSafe,
            Mark::FirstContact => Id::OutcomeContact,
            Mark::OffHarness => Id::OutcomeOff,
            Mark::Landed => Id::OutcomeLanded,
            Mark::Aftercare => Id::OutcomeCare,
            Mark::HandedOver => Id::OutcomeHanded,
        });
        let several = self.marks.iter().any(|it| it.casualty > 1);
        match several && mark.casualty > 0 {
            true => Phrase::with(Id::OutcomeOf, [name, mark.casualty.to_string().into()]),
            false => name,
        }
    }

    fn decisions_told(&self) -> Vec<Phrase> {
        match self.decisions.is_empty() {
            true => vec![Phrase::of(Id::OutcomeAdvised)],
            false => self.decisions.iter().map(decision_told).collect(),
        }
    }

    fn orders_told(&self) -> Vec<Phrase> {
        let orders = &self.orders;
        let number = |it: u32| Phrase::from(it.to_string());
        if orders.passed == 0 {
            return vec![Phrase::of(Id::OutcomeNoOrders)];
        }
        let of_passed = |id, it: u32| Phrase::with(id, [number(it), number(orders.passed)]);
        let mut lines = vec![
            Phrase::with(
                Id::OutcomeGiven,
                [number(orders.given), number(orders.passed)],
            ),
            of_passed(Id::OutcomeHeard, orders.read_back),
        ];
        if let (Some(middle), Some(slowest)) = (orders.middle_ms, orders.slowest_ms) {
            lines.push(Phrase::with(
                Id::OutcomeHeardTime,
                [time(middle), time(slowest)],
            ));
        }
        lines.push(of_passed(Id::OutcomeAnswered, orders.answered));
        lines
    }

    fn prompts_told(&self) -> Vec<Phrase> {
        let mut lines: Vec<Phrase> = self.prompts.longest.iter().map(stood_told).collect();
        lines.push(match self.checks.late {
            0 => Phrase::of(Id::DebriefChecked),
            late => Phrase::with(
                Id::OutcomeChecks,
                [late.to_string().into(), time(self.checks.longest_ms)],
            ),
        });
        if self.corrections > 0 {
            let number = self.corrections.to_string();
            lines.push(Phrase::with(Id::OutcomeTaken, [number.into()]));
        }
        lines
    }

    fn surprises_told(&self) -> Vec<Phrase> {
        match self.surprises.is_empty() {
            true => vec![Phrase::of(Id::OutcomeNoSurprises)],
            false => self.surprises.iter().map(met_told).collect(),
        }
    }
}

/// A time as a clock shows it.
pub(super) fn time(ms: i64) -> Phrase {
    clock(Millis(ms)).into()
}

/// The name of a method as spoken.
pub(super) fn spoken(method: Option<&Named>) -> Phrase {
    method.map_or("-", |it| it.name.as_str()).into()
}

pub(crate) fn decision_told(decision: &Decision) -> Phrase {
    let method = spoken(decision.method.as_ref());
    let other = decision.other.as_ref();
    let by = decision.by_ms.map(time);
    match (decision.what, by) {
        (Departure::HeldOn, by) => {
            Phrase::with(Id::OutcomeHeldOn, [method, by.unwrap_or_else(|| time(0))])
        }
        (Departure::ChangedEarly, Some(by)) => {
            Phrase::with(Id::OutcomeEarly, [method, spoken(other), by])
        }
        (Departure::ChangedEarly, None) => Phrase::with(Id::OutcomeLeft, [method, spoken(other)]),
        (Departure::WentStraight, _) => match other {
            Some(next) => Phrase::with(Id::OutcomeStraight, [method, spoken(Some(next))]),
            None => Phrase::with(Id::OutcomeStraightOnly, [method]),
        },
        (Departure::MoreTime, by) => {
            Phrase::with(Id::OutcomeMore, [by.unwrap_or_else(|| time(0)), method])
        }
        (Departure::CallLate, Some(by)) => Phrase::with(Id::OutcomeCallLate, [by]),
        (Departure::CallLate, None) => Phrase::of(Id::OutcomeCallNone),
        (Departure::StopOverridden, _) => Phrase::with(Id::OutcomeWentOn, [method]),
        (Departure::PutBack, _) => Phrase::with(Id::OutcomePutBack, [method]),
    }
}

pub(super) fn stood_told(stood: &Stood) -> Phrase {
    let (so_long, words) = (time(stood.stood_ms), stood.words.clone());
    match stood.expected_ms {
        Some(expected) => Phrase::with(Id::OutcomeStep, [so_long, time(expected), words]),
        None => Phrase::with(Id::OutcomeStood, [so_long, words]),
    }
}

fn met_told(met: &Met) -> Phrase {
    let name = met_name(met);
    match (met.given_ms, met.answered_ms) {
        (None, _) => Phrase::with(Id::OutcomeNotGiven, [name]),
        (Some(_), None) => Phrase::with(Id::OutcomeUnmet, [name]),
        (Some(_), Some(after)) => Phrase::with(Id::OutcomeMet, [name, time(after)]),
    }
}

/// What a surprise was, without a person's name.
pub(super) fn met_name(met: &Met) -> Phrase {
    let about = || Phrase::from(met.about.as_str());
    match &met.inject {
        Inject::StopsAnswering {} => Phrase::of(Id::MetStopsAnswering),
        Inject::KitMissing { .. } => Phrase::with(Id::MetKitMissing, [about()]),
        Inject::ResponderCannot { .. } => Phrase::of(Id::MetResponderCannot),
        Inject::MethodFails { .. } => Phrase::with(Id::MetMethodFails, [about()]),
        Inject::SelfRescueFails {} => Phrase::of(Id::MetSelfRescue),
        Inject::Wind { speed } => {
            let wind = Phrase::from(wind(*speed));
            Phrase::with(Id::MetWind, [wind])
        }
        Inject::RadioLost {} => Phrase::of(Id::MetRadioLost),
        Inject::AmbulanceDelayed { .. } => Phrase::of(Id::MetAmbulance),
        Inject::WrongGate {} => Phrase::of(Id::MetWrongGate),
        Inject::SecondCasualty {} => Phrase::of(Id::MetSecond),
    }
}
