//! Proposes what to talk about after a drill or a rescue: what went as planned, what did not, three questions, what to do next.
//!
//! The questions are open, about the system and the team, and never about who. They are chosen by what stood out most in the
//! journal, measured in time; always three, the same for the same journal. What to do next is a choice to touch: who sees to it
//! and by when is for people to say.

use super::decisions::{Decision, Departure};
use super::marks::Mark;
use super::result::Outcome;
use super::told::{Group, decision_told, met_name, spoken, stood_told, time};
use super::unanswered::Stood;
use crate::words::{Id, Phrase};
use serde::{Deserialize, Serialize};

/// Later than planned by this is worth a word. A judgement without a source.
const WORTH_A_WORD_MS: i64 = 10_000;
/// A prompt that stood this much longer than its step takes is worth a word. A judgement without a source.
const STOOD_LONG_MS: i64 = 20_000;
/// How much an order without a read-back weighs beside a delay. A judgement without a source.
const UNHEARD_MS: i64 = 15_000;
/// How much a surprise without an answer on record, or a milestone not reached, weighs beside a delay. A judgement.
const MISSING_MS: i64 = 120_000;
/// How much going on after a stop weighs beside a delay. A judgement.
const STOP_MS: i64 = 300_000;
/// How much a decision without a time of its own weighs beside a delay. A judgement.
const DECISION_MS: i64 = 30_000;
/// So many touches taken back are worth a question. A judgement.
const TAKEN_BACK: u32 = 3;
/// What one of them weighs beside a delay. A judgement.
const TAKEN_BACK_MS: i64 = 5_000;

/// What to talk about.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Debrief {
    /// What went as planned.
    pub well: Vec<Phrase>,
    /// What did not.
    pub other: Vec<Phrase>,
    /// Three questions, what stood out most first.
    pub questions: [Phrase; 3],
    /// What could be done next, to choose from.
    pub suggested: Vec<Phrase>,
}

/// Something that was not as planned.
struct Finding {
    /// How much it stood out, ms.
    weight_ms: i64,
    /// What it was; none where another finding says so already.
    fact: Option<Phrase>,
    question: Phrase,
    suggested: Phrase,
}

impl Debrief {
    /// What to talk about after this.
    pub fn of(outcome: &Outcome) -> Debrief {
        let findings = findings(outcome);
        let facts = findings.iter().filter_map(|it| it.fact.clone());
        let other: Vec<Phrase> = facts.collect();
        let mut ranked: Vec<&Finding> = findings.iter().collect();
        // The sort keeps the order in which a rescue goes among those that stood out alike.
        ranked.sort_by_key(|it| std::cmp::Reverse(it.weight_ms));
        let mut questions: Vec<&Phrase> = Vec::new();
        let always = [Id::AskHelped, Id::AskElsewhere, Id::AskPlan].map(Phrase::of);
        for question in ranked.iter().map(|it| &it.question).chain(&always) {
            // Two questions of one kind lead to the same talk.
            if questions.iter().all(|it| it.id() != question.id()) {
                questions.push(question);
            }
        }
        let mut suggested: Vec<Phrase> = Vec::new();
        for finding in ranked {
            if !suggested.contains(&finding.suggested) {
                suggested.push(finding.suggested.clone());
            }
        }
        suggested.push(Phrase::of(Id::TaskDrill));
        Debrief {
            well: well(outcome),
            other,
            // The three that are always there fill what is left.
            questions: std::array::from_fn(|index| {
                let chosen = questions.get(index).copied();
                chosen.unwrap_or(&always[index]).clone()
            }),
            suggested,
        }
    }
}

impl Debrief {
    /// Everything in sentences: what went as planned, what did not, what to talk about, what could be done next.
    pub fn told(&self) -> Vec<Group> {
        let groups = [
            (Id::DebriefWell, &self.well[..]),
            (Id::DebriefOther, &self.other),
            (Id::DebriefAsk, &self.questions),
            (Id::DebriefDo, &self.suggested),
        ];
        let told = groups.into_iter();
        told.map(|(heading, lines)| Group {
            heading,
            lines: lines.to_vec(),
        })
        .collect()
    }
}

/// What went as planned.
fn well(outcome: &Outcome) -> Vec<Phrase> {
    let mut lines = Vec::new();
    for mark in &outcome.marks {
        let name = || outcome.mark_name(mark);
        let in_time = |late: Option<i64>| late.is_some_and(|it| it < WORTH_A_WORD_MS);
        if in_time(mark.late_ms()) {
            lines.push(Phrase::with(Id::DebriefWithin, [name()]));
        }
        if mark.past_target_ms().is_some_and(|it| it <= 0) && !mark.at_least {
            lines.push(Phrase::with(Id::DebriefBefore, [name()]));
        }
    }
    if outcome.decisions.is_empty() && !outcome.marks.is_empty() {
        lines.push(Phrase::of(Id::OutcomeAdvised));
    }
    let orders = &outcome.orders;
    if orders.passed > 0 && orders.read_back == orders.passed {
        lines.push(Phrase::of(Id::DebriefAllHeard));
    }
    if outcome.checks.late == 0 && !outcome.marks.is_empty() {
        lines.push(Phrase::of(Id::DebriefChecked));
    }
    for met in &outcome.surprises {
        if let Some(after) = met.answered_ms {
            lines.push(Phrase::with(Id::OutcomeMet, [met_name(met), time(after)]));
        }
    }
    lines
}

/// What did not, in the order in which a rescue goes.
fn findings(outcome: &Outcome) -> Vec<Finding> {
    let mut found = Vec::new();
    found.extend(outcome.decisions.iter().map(on_decision));
    marks(outcome, &mut found);
    let orders = &outcome.orders;
    let unheard = orders.passed.saturating_sub(orders.read_back);
    if unheard > 0 {
        let number = unheard.to_string();
        found.push(Finding {
            weight_ms: i64::from(unheard).saturating_mul(UNHEARD_MS),
            fact: Some(Phrase::with(Id::DebriefUnheard, [number.into()])),
            question: Phrase::of(Id::AskUnheard),
            suggested: Phrase::of(Id::TaskUnheard),
        });
    }
    let stood = outcome.prompts.most_over.as_ref();
    found.extend(
        stood
            .filter(|it| it.over_ms() >= STOOD_LONG_MS)
            .map(on_prompt),
    );
    for met in &outcome.surprises {
        let name = || met_name(met);
        let Some(_) = met.given_ms else { continue };
        found.push(Finding {
            weight_ms: met.answered_ms.unwrap_or(MISSING_MS),
            fact: (met.answered_ms.is_none()).then(|| Phrase::with(Id::OutcomeUnmet, [name()])),
            question: Phrase::with(Id::AskMet, [name()]),
            suggested: Phrase::with(Id::TaskMet, [name()]),
        });
    }
    let checks = &outcome.checks;
    if checks.late > 0 {
        let number = checks.late.to_string();
        let fact = Phrase::with(Id::OutcomeChecks, [number.into(), time(checks.longest_ms)]);
        found.push(Finding {
            weight_ms: checks.longest_ms,
            fact: Some(fact),
            question: Phrase::of(Id::AskChecks),
            suggested: Phrase::of(Id::TaskChecks),
        });
    }
    if outcome.corrections >= TAKEN_BACK {
        let number = outcome.corrections.to_string();
        found.push(Finding {
            weight_ms: i64::from(outcome.corrections).saturating_mul(TAKEN_BACK_MS),
            fact: Some(Phrase::with(Id::OutcomeTaken, [number.into()])),
            question: Phrase::of(Id::AskTaken),
            suggested: Phrase::of(Id::TaskTaken),
        });
    }
    found
}

fn on_decision(decision: &Decision) -> Finding {
    let method = || spoken(decision.method.as_ref());
    let by = decision.by_ms.unwrap_or(DECISION_MS);
    let (weight_ms, question, suggested) = match decision.what {
        Departure::HeldOn | Departure::MoreTime => (by, Id::AskHeldOn, Id::TaskChange),
        Departure::ChangedEarly => (by, Id::AskEarly, Id::TaskChange),
        Departure::WentStraight => (DECISION_MS, Id::AskStraight, Id::TaskChange),
        Departure::PutBack => (DECISION_MS, Id::AskWentOn, Id::TaskStops),
        Departure::StopOverridden => (STOP_MS, Id::AskWentOn, Id::TaskStops),
        Departure::CallLate => {
            return Finding {
                weight_ms: decision.by_ms.unwrap_or(MISSING_MS),
                fact: Some(decision_told(decision)),
                question: Phrase::of(Id::AskCall),
                suggested: Phrase::of(Id::TaskCall),
            };
        }
    };
    Finding {
        weight_ms,
        fact: Some(decision_told(decision)),
        question: Phrase::with(question, [method()]),
        suggested: Phrase::with(suggested, [method()]),
    }
}

/// Milestones later than planned, past their target, or not reached. How late the call was is said with the decisions.
fn marks(outcome: &Outcome, found: &mut Vec<Finding>) {
    for mark in outcome.marks.iter().filter(|it| it.mark != Mark::CallMade) {
        let name = || outcome.mark_name(mark);
        let late = mark.late_ms().filter(|it| *it >= WORTH_A_WORD_MS);
        let past = mark.past_target_ms().filter(|it| *it > 0);
        let wanted = mark.planned_ms.is_some() || mark.target_ms.is_some();
        let (weight_ms, fact, question) = match (late, past) {
            (Some(late), _) => {
                let fact = Phrase::with(Id::DebriefLate, [name(), time(late)]);
                (late, fact, Id::AskLate)
            }
            (None, Some(past)) => {
                let fact = Phrase::with(Id::DebriefPast, [name(), time(past)]);
                (past, fact, Id::AskLate)
            }
            // Who was not in need of it, or had it before the record began, is not on record either.
            (None, None) if mark.fall_ms.is_none() && wanted => {
                let fact = Phrase::with(Id::OutcomeNotReached, [name()]);
                (MISSING_MS, fact, Id::AskNotReached)
            }
            (None, None) => continue,
        };
        found.push(Finding {
            weight_ms,
            fact: Some(fact),
            question: Phrase::with(question, [name()]),
            suggested: Phrase::with(Id::TaskMark, [name()]),
        });
    }
}

fn on_prompt(stood: &Stood) -> Finding {
    let words = || stood.words.clone();
    let (question, suggested) = match stood.expected_ms {
        Some(_) => (Id::AskStep, Id::TaskStep),
        None => (Id::AskStood, Id::TaskPrompt),
    };
    Finding {
        weight_ms: stood.over_ms(),
        fact: Some(stood_told(stood)),
        question: Phrase::with(question, [words()]),
        suggested: Phrase::with(suggested, [words()]),
    }
}
