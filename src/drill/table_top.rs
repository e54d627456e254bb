//! Plays a scenario at a table: a simulated crew on the production core, step by step, with nobody in a harness.
//!
//! Time is computed and never waited for, so that a screen may play it at any speed and a test thousands of it. What comes
//! out are the records of a drill like any other: they can be kept, reviewed and replayed. The same seed gives the same
//! records. Limits: a forecast is there at once; the crew is as `crew` says; it ends at a limit where nobody can be reached.

use std::sync::Arc;

use super::crew::{Crew, Move, Touch};
use super::pace::Pace;
use super::scenario::{PLAYED_MAX, Scenario};
use crate::incident::{
    Command, Decision, Exercise, Moment, Opening, PlanStanding, Record, State, Wanted, decide,
    next_wakeup,
};
use crate::plan::{Plan, fit};
use crate::readiness::{Depth, outlook};
use crate::units::Millis;
use crate::words::Language;

/// What a scenario is played on and how.
#[derive(Clone, Debug)]
pub struct Table {
    /// File name of the plan.
    pub plan_name: String,
    /// The plan's text.
    pub plan_text: String,
    /// SHA-256 of that text, 64 hex digits.
    pub plan_sha: String,
    /// Responder id of the person in command; none where nobody is named.
    pub in_command: Option<String>,
    /// Language on the screen.
    pub language: Language,
    /// The clocks at activation.
    pub start: Moment,
    /// How quick the crew is with what the plan gives no time for.
    pub pace: Pace,
    /// How closely forecasts are computed.
    pub depth: Depth,
    /// It ends this long after activation, whatever has come of it.
    pub limit: Millis,
}

impl Table {
    /// A table for this plan, with a crew that has drilled, closely computed, for two hours at most.
    pub fn new(plan_name: &str, plan_text: &str, plan_sha: &str, start: Moment) -> Table {
        Table {
            plan_name: plan_name.to_owned(),
            plan_text: plan_text.to_owned(),
            plan_sha: plan_sha.to_owned(),
            in_command: None,
            language: Language::default(),
            start,
            pace: Pace::ASSUMED,
            depth: Depth::LIVE,
            limit: Millis(2 * PLAYED_MAX.0),
        }
    }

    /// The plan; none where its text is not fit.
    pub fn plan(&self) -> Option<Arc<Plan>> {
        fit(&self.plan_name, &self.plan_text)
    }

    /// The first record of a play.
    fn opening(
        &self,
        plan: &Plan,
        incident: &str,
        scenario: &Scenario,
        exercise: Exercise,
    ) -> Opening {
        let present = scenario.present(plan);
        Opening {
            incident: incident.to_owned(),
            drill: true,
            // What forecasts draw hangs on the scenario, so that plays of it differ by their crew and by nothing else.
            seed: u64::from(scenario.seed.unwrap_or_default()),
            exercise: Some(Box::new(exercise)),
            program: env!("CARGO_PKG_VERSION").to_owned(),
            plan_format: 1,
            plan_name: self.plan_name.clone(),
            plan_standing: PlanStanding::Fit,
            plan_sha: self.plan_sha.clone(),
            plan: self.plan_text.clone(),
            language: self.language,
            in_command: self.in_command.clone().filter(|id| present.contains(id)),
            roll_call: present,
            approval: None,
            shift: Some(Box::new(scenario.shift())),
        }
    }
}

/// What one step of a play brought.
#[derive(Clone, Debug, PartialEq)]
pub struct Happening {
    /// When, since activation.
    pub at: Millis,
    /// What was touched; none where the time brought it.
    pub touch: Option<Touch>,
    /// Index of the surprise that the crew reacted to with it.
    pub surprise: Option<usize>,
    /// The records that came of it, at least one.
    pub records: Vec<Record>,
}

/// How one run went for the first casualty. Times are since the fall.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Run {
    /// First contact.
    pub contact: Option<Millis>,
    /// Off the harness.
    pub off: Option<Millis>,
    /// At the landing place.
    pub landed: Option<Millis>,
    /// Method id of what brought the casualty off the harness; none where rescuers from outside did, or nobody.
    pub by: Option<String>,
    /// True where rescuers from outside led by then.
    pub outside: bool,
    /// True where it was played to its end.
    pub stood_down: bool,
}

/// Steps of one play; more would be a loop.
const STEPS_MAX: usize = 20_000;

/// A play at a table.
#[derive(Clone, Debug)]
pub struct TableTop {
    state: State,
    crew: Crew,
    start: Moment,
    at: Millis,
    depth: Depth,
    limit: Millis,
    /// What opens it, until it was.
    first: Option<(Box<Opening>, String)>,
    steps: usize,
}

impl TableTop {
    /// Sets a scenario out; none where the plan is not fit. `chance` draws what the crew does, the exercise says which
    /// surprises come when.
    pub fn new(
        table: &Table,
        incident: &str,
        scenario: &Scenario,
        exercise: Exercise,
        chance: u64,
    ) -> Option<TableTop> {
        let plan = table.plan()?;
        let exercise = Exercise {
            table_top: true,
            ..exercise
        };
        let opening = table.opening(&plan, incident, scenario, exercise);
        Some(TableTop {
            state: State::default(),
            crew: Crew::new(&plan.policy, scenario.is_dark(), chance, table.pace),
            start: table.start.clone(),
            at: Millis::ZERO,
            depth: table.depth,
            limit: table.limit,
            first: Some((Box::new(opening), scenario.position.clone())),
            steps: 0,
        })
    }

    /// What is known now.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The crew, with the surprises that it met.
    pub fn crew(&self) -> &Crew {
        &self.crew
    }

    /// When the next thing happens, since activation; none where it is over.
    pub fn next_at(&mut self) -> Option<Millis> {
        if self.first.is_some() {
            return Some(Millis::ZERO);
        }
        let (at, _) = self.next_input()?;
        Some(at)
    }

    /// The next thing that happens; none once it is over.
    pub fn step(&mut self) -> Option<Happening> {
        if let Some((opening, position)) = self.first.take() {
            let position = Some(position);
            let command = Command::Activate { opening, position };
            let records = self.take(command)?;
            return Some(Happening {
                at: Millis::ZERO,
                touch: None,
                surprise: None,
                records,
            });
        }
        while self.steps < STEPS_MAX {
            self.steps += 1;
            let (at, done) = self.next_input()?;
            self.at = at;
            let command = match &done {
                Some(done) => done.touch.command(),
                None => Command::Wake,
            };
            let records = self.take(command).unwrap_or_default();
            if let Some(done) = &done {
                self.crew.took(done, !records.is_empty());
            }
            if !records.is_empty() {
                let surprise = done.as_ref().and_then(|it| it.surprise);
                return Some(Happening {
                    at,
                    touch: done.map(|it| it.touch),
                    surprise,
                    records,
                });
            }
        }
        None
    }

    /// Plays to the end and gives all records.
    pub fn play(&mut self) -> Vec<Record> {
        let mut records = Vec::new();
        while let Some(happening) = self.step() {
            records.extend(happening.records);
        }
        records
    }

    /// How it went so far.
    pub fn played(&self) -> Run {
        let facts = &self.state.facts;
        let Some(first) = facts.cases().next() else {
            return Run::default();
        };
        let since = |at: Millis| at.saturating_sub(first.casualty.fell);
        let off = first.casualty.off.map(|(at, _)| at);
        let led = facts.outside.leads;
        let outside = off.zip(led).is_some_and(|(off, led)| led <= off);
        let ran = first.casualty.running.as_ref().map(|it| it.method.clone());
        Run {
            contact: first.casualty.contact.map(since),
            off: off.map(since),
            landed: first.casualty.landed.map(since),
            by: ran.filter(|_| off.is_some() && !outside),
            outside,
            stood_down: facts.stood_down.is_some(),
        }
    }

    /// What comes next, the time or the crew; the time first where both come at once.
    fn next_input(&mut self) -> Option<(Millis, Option<Move>)> {
        if !self.state.facts.is_open() {
            return None;
        }
        let wake = next_wakeup(&self.state.facts, self.at);
        let done = self.crew.next(&self.state.facts);
        let next = match (wake, done) {
            (Some(wake), Some(done)) if done.at < wake => (done.at, Some(done)),
            (Some(wake), _) => (wake, None),
            (None, Some(done)) => (done.at, Some(done)),
            (None, None) => return None,
        };
        (next.0 <= self.limit).then_some((next.0.max(self.at), next.1))
    }

    fn now(&self) -> Moment {
        Moment {
            wall_ms: self.start.wall_ms.saturating_add(self.at.0),
            boot_ms: self.start.boot_ms.saturating_add(self.at.0),
            ..self.start.clone()
        }
    }

    /// Decides and takes in what comes of it, forecasts included; none where it was refused.
    fn take(&mut self, command: Command) -> Option<Vec<Record>> {
        let now = self.now();
        let Decision { records, wanted } = decide(&self.state, command, &now).ok()?;
        let mut all = records.clone();
        for record in records {
            self.state.apply(record);
        }
        for wanted in wanted {
            let Wanted::Forecast(basis) = wanted else {
                continue;
            };
            let plan = self.state.facts.opened.as_ref()?.plan.clone();
            if let Some(forecast) = outlook(&plan, &basis, self.depth) {
                let adopted = self.take(Command::Adopt { basis, forecast });
                all.extend(adopted.unwrap_or_default());
            }
        }
        Some(all)
    }
}
