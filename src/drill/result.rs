//! Says what came of a drill or a rescue: facts of the whole team, each time beside what the plan expected, and no grade.
//!
//! Names nobody. Times are kept on the incident's own line and, apart from that, since the fall, which may be known only as
//! "at least". Numbers and ids only, so that it is read in any language; `told.rs` makes the sentences. What was taken back
//! does not count, nor what follows once a drill has turned real.

use super::decisions::Decision;
use super::marks::{self, Reached};
use super::met::{self, Met};
use super::stands::{Part, Standing, part, whole};
use super::unanswered::{Prompts, count, stood};
use super::{decisions::Watch, orders::Orders, orders::Passed};
use crate::incident::{Aftercare, Due, Event, State, Whereabouts};
use crate::readiness::Forecast;
use crate::units::Millis;
use crate::words::Id;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Checks of a casualty that came late.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Checks {
    /// How often a check was due and nobody had said anything.
    pub late: u32,
    /// How often nobody had for two intervals.
    pub lost: u32,
    /// The longest time from a check being due to an answer, ms.
    pub longest_ms: i64,
}

/// What came of a drill or a rescue.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Outcome {
    /// Incident id.
    pub incident: String,
    /// True where it began as a drill.
    pub drill: bool,
    /// Name of the scenario; empty where there is none.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub scenario: String,
    /// Position id of the first casualty, where the plan knows it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub position: Option<String>,
    /// When the drill turned real, ms since activation: nothing after that is counted here.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub turned_real_ms: Option<i64>,
    /// True once stood down.
    pub closed: bool,
    /// From activation to the end of what is counted, ms.
    pub whole_ms: i64,
    /// When a living person who hung in the drill stood, ms since activation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stands_ms: Option<i64>,
    /// What was reached when: first what is the same for all, then casualty by casualty.
    pub marks: Vec<Reached>,
    /// Decisions that were not what was advised, in the order in which they were made.
    pub decisions: Vec<Decision>,
    /// How orders were passed on.
    pub orders: Orders,
    /// How long prompts stood.
    pub prompts: Prompts,
    /// The surprises.
    pub surprises: Vec<Met>,
    /// Checks of the casualties.
    pub checks: Checks,
    /// How many touches were taken back.
    pub corrections: u32,
}

/// What is gathered record by record.
#[derive(Default)]
pub(super) struct Course {
    /// What counts, folded.
    pub(super) state: State,
    /// The first forecast adopted for each casualty where they hang, and when they fell as known then.
    pub(super) forecasts: BTreeMap<u16, (Forecast, Millis)>,
    /// The first method begun for each casualty where they hang, and when.
    pub(super) begun: BTreeMap<u16, (String, Millis)>,
    /// When the first order was given.
    pub(super) ordered: Option<Millis>,
    /// When the call was first passed on.
    pub(super) passed: Option<Millis>,
    /// When the first question of aftercare was answered for each casualty.
    pub(super) cared: BTreeMap<u16, Millis>,
    /// From when on the line is a lower bound.
    pub(super) at_least_from: Option<Millis>,
    /// How long the step behind a prompt likely takes, by the number of the prompt's record.
    expected: BTreeMap<u64, Millis>,
    /// When a check came due for each casualty that waits for one.
    waiting: BTreeMap<u16, Millis>,
    checks: Checks,
}

impl Outcome {
    /// What came of the incident so far.
    pub fn of(state: &State) -> Outcome {
        Outcome::on(&part(&state.log))
    }

    /// The same with what follows once a drill has turned real, for whoever tells all of it.
    pub fn whole(state: &State) -> Outcome {
        Outcome::on(&whole(&state.log))
    }

    fn on(part: &Part<'_>) -> Outcome {
        let mut course = Course::default();
        let mut watch = Watch::default();
        let mut passed = Passed::default();
        for standing in part.counting() {
            watch.pass_time(&course.state.facts, standing.at);
            watch.before(&course.state.facts, standing);
            course.state.apply(standing.record.as_ref().clone());
            watch.after(&course.state.facts, standing);
            passed.take(&course.state.facts, standing);
            course.take(standing);
        }
        watch.pass_time(&course.state.facts, part.end);
        course.end_waiting(None, part.end);
        let mut decisions = watch.finish();
        decisions.extend(Decision::on_the_call(&course.state.facts, part.end));
        decisions.sort_by_key(|it| it.at_ms);
        let orders = passed.orders();
        let prompts = Prompts::of(stood(part, &course.expected));
        course.outcome(part, decisions, orders, prompts)
    }
}

impl Course {
    fn take(&mut self, standing: &Standing<'_>) {
        let (record, at) = (standing.record, standing.at);
        let number = record.casualty;
        if standing.at_least {
            self.at_least_from.get_or_insert(at);
        }
        match &record.event {
            Event::PositionChosen { .. } => {
                self.forecasts.remove(&number);
                self.begun.remove(&number);
            }
            Event::ForecastAdopted { forecast, .. } => {
                let fell = self.state.facts.case_of(number).casualty.fell;
                let first = || (forecast.clone(), fell);
                self.forecasts.entry(number).or_insert_with(first);
            }
            Event::MethodStarted { method, .. } => {
                let first = || (method.clone(), at);
                self.begun.entry(number).or_insert_with(first);
            }
            Event::OrderGiven { .. } | Event::TaskGiven { .. } => {
                self.ordered.get_or_insert(at);
            }
            Event::CallPassed {} => _ = self.passed.get_or_insert(at),
            // In the drill nobody was called.
            Event::RealCalled {} => self.passed = None,
            Event::AftercareAnswered { item, .. } => {
                self.cared.entry(number).or_insert(at);
                if matches!(item, Aftercare::Watch | Aftercare::LookAgain) {
                    self.end_waiting(Some(number), at);
                }
            }
            Event::CameDue { what } => self.came_due(number, *what, at),
            Event::ConditionReported { .. } | Event::OffHarness {} | Event::HandedOver { .. } => {
                self.end_waiting(Some(number), at);
            }
            Event::PromptShown { message, .. } => {
                if let Some(likely) = self.step_behind(message) {
                    self.expected.insert(record.seq, likely);
                }
            }
            _ => {}
        }
    }

    fn came_due(&mut self, number: u16, what: Due, at: Millis) {
        match what {
            Due::CheckDue | Due::CareCheck => self.checks.late = self.checks.late.saturating_add(1),
            Due::CheckLost => self.checks.lost = self.checks.lost.saturating_add(1),
            _ => return,
        }
        self.waiting.entry(number).or_insert(at);
    }

    /// A check that was due was answered, or needs none any more; of everybody where no number is given.
    fn end_waiting(&mut self, number: Option<u16>, at: Millis) {
        let longest = &mut self.checks.longest_ms;
        self.waiting.retain(|it, since| {
            let ends = number.is_none_or(|number| number == *it);
            if ends {
                *longest = (*longest).max(at.0.saturating_sub(since.0));
            }
            !ends
        });
    }

    /// How long the step likely takes that a prompt asks for.
    fn step_behind(&self, message: &str) -> Option<Millis> {
        let steps = [Id::Step, Id::StepBy, Id::ToLanding, Id::ToLandingGeneric];
        let asks = steps.iter().any(|id| id.as_str() == message);
        let (running, _, step) = self.state.facts.step().filter(|_| asks)?;
        match running.fallback {
            Some(index) => Some(step.fallback.get(index)?.time?.likely),
            None => Some(step.time.likely),
        }
    }

    fn outcome(
        self,
        part: &Part<'_>,
        decisions: Vec<Decision>,
        orders: Orders,
        prompts: Prompts,
    ) -> Outcome {
        let facts = &self.state.facts;
        let opened = facts.opened.as_ref();
        let first = facts.casualties.first();
        let position = first.and_then(|it| match &it.place {
            Whereabouts::Known(id) => Some(id.clone()),
            Whereabouts::Unknown | Whereabouts::NotListed => None,
        });
        let exercise = opened.and_then(|it| it.exercise.as_deref());
        let events = part.counting().map(|it| &it.record.event);
        let corrections = events.filter(|it| matches!(it, Event::Corrected { .. }));
        Outcome {
            incident: opened.map_or_else(String::new, |it| it.incident.to_string()),
            drill: opened.is_some_and(|it| it.drill),
            scenario: exercise.map_or_else(String::new, |it| it.scenario.clone()),
            position,
            turned_real_ms: part.turned_real.map(|it| it.0),
            closed: facts.stood_down.is_some(),
            whole_ms: part.end.0,
            stands_ms: facts.played.stands.map(|it| it.0),
            marks: marks::reached(&self),
            decisions,
            orders,
            prompts,
            surprises: met::met(part, exercise, facts),
            corrections: count(corrections.count()),
            checks: self.checks,
        }
    }
}
