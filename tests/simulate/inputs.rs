//! Gives the engine its inputs, counts what comes of them, and stands in for everything outside that carries it out.
//!
//! Every effect is matched by name, so that whoever adds one has to say what the world does with it. Answers come at once,
//! late, twice, for something else, or never.

use super::invented;
use super::kinds;
use super::tally::Met;
use super::world::{Truth, World};
use groundward::incident::{Act, Event, Record, prompt};
use groundward::journal::writer::Writer;
use groundward::readiness::{Depth, Grade, WhatIfs, outlook, standings};
use groundward::signal::{Effect, Input, JournalReport, LogFound, LogRead, ScenarioFile, Tap};
use std::collections::VecDeque;
use std::sync::Arc;

impl World {
    /// Gives the engine an input, and then whatever came of it.
    pub(super) fn take(&mut self, input: Input) {
        let mut queue = VecDeque::from([input]);
        while let Some(input) = queue.pop_front() {
            let effects = self.handle(input);
            for effect in effects {
                queue.extend(self.carry_out(effect));
            }
            self.check_snapshot();
        }
    }

    pub(super) fn handle(&mut self, input: Input) -> Vec<Effect> {
        if self.trace {
            eprintln!("{} {input:?}", self.machine.true_ms);
        }
        self.tally.meet(Met::Inputs);
        let was_open = self.is_open();
        let act = self.act_of(&input);
        let activates = matches!(input, Input::Tap(Tap::Activate { .. } | Tap::BeginDrill));
        if let Input::Tap(tap) = &input {
            self.tally.kind(kinds::tap::of(tap));
            if let Tap::Prepare(what) = tap {
                self.tally.kind(kinds::prepare::of(what));
            }
            if let Tap::Declare(said) = tap {
                self.tally.kind(kinds::declare::of(said));
                if let groundward::readiness::Declare::Changed(what) = said {
                    self.tally.kind(kinds::change::of(what));
                }
            }
        }
        let before = self.engine.state().log.len();
        let effects = self.engine.handle(input, &self.machine.now);
        let opened = activates && !was_open && self.is_open();
        if opened {
            self.truth = Truth {
                began_ms: self.machine.true_ms,
                ..Truth::default()
            };
        }
        let log = &self.engine.state().log;
        let from = if opened { 0 } else { before.min(log.len()) };
        let new: Vec<Arc<Record>> = log[from..].to_vec();
        if let Some(act) = act
            && (!new.is_empty() || log.len() < before)
        {
            self.tally.kind(kinds::act::of(&act));
        }
        self.count(&new);
        self.check(&new);
        effects
    }

    /// What a touch asks for.
    pub(super) fn act_of(&self, input: &Input) -> Option<Act> {
        match input {
            Input::Tap(Tap::Do(act)) => Some(act.clone()),
            Input::Tap(Tap::Answer { pick, .. }) => {
                let facts = &self.engine.state().facts;
                let asked = prompt(facts, facts.line.reached_at())?;
                Some(asked.choice(*pick)?.act.clone())
            }
            _ => None,
        }
    }

    pub(super) fn count(&mut self, new: &[Arc<Record>]) {
        self.tally.count(Met::Records, new.len() as u64);
        for record in new {
            self.tally.kind(kinds::event::of(&record.event));
            match &record.event {
                Event::ResponderReported { report, .. } => {
                    self.tally.kind(kinds::report::of(report))
                }
                Event::Noted { note } => self.tally.kind(kinds::note::of(note)),
                Event::StopCalled { what, .. } => self.tally.kind(kinds::stop::of(what)),
                Event::HandedOver { to } => self.tally.kind(kinds::taker::of(to)),
                Event::StandDownAnswered { item } => self.tally.kind(kinds::closing::of(item)),
                Event::AftercareAnswered { item, .. } => self.tally.kind(kinds::care::of(item)),
                Event::ConditionReported { condition } => {
                    self.tally.kind(kinds::condition::of(condition));
                }
                Event::HelpExpected {
                    said_by: Some(by), ..
                } => self.tally.kind(kinds::teller::of(by)),
                Event::CameDue { what } => self.tally.kind(kinds::due::of(what)),
                Event::CasualtyAdded { rescuer: true, .. } => self.tally.meet(Met::RescuersDown),
                Event::OrderGiven { instead, .. } | Event::TaskGiven { instead, .. } => {
                    let changed = u64::from(!instead.is_empty());
                    self.tally.count(Met::ChangedOrders, changed);
                    if self.real {
                        self.tally.count(Met::ChangedByRealNumbers, changed);
                    }
                }
                _ => {}
            }
        }
    }

    pub(super) fn carry_out(&mut self, effect: Effect) -> Option<Input> {
        self.tally.kind(kinds::effect::of(&effect));
        match effect {
            Effect::Open { incident } => {
                self.open_journal(incident);
                None
            }
            Effect::Append(entries) => {
                self.hand_over(&entries);
                // The journal has a thread of its own, which may be behind.
                match self.chance.one_in(8) {
                    true => None,
                    false => self.write(),
                }
            }
            Effect::Close => {
                let first = self.write();
                // A closing that fails is tried again by the thread; here the crash finds it open.
                let closed = self.writer.as_mut().map(Writer::close);
                match (closed, first) {
                    (Some(Ok(Some(saved))), _) => {
                        let incident = self.incident.clone()?;
                        let head = saved.head;
                        Some(Input::Journal(JournalReport::Closed { incident, head }))
                    }
                    (_, first) => first,
                }
            }
            Effect::Forecast { basis, plan } => self.forecast(basis, &plan),
            Effect::Standings { conditions, plan } => {
                let mut found = standings(&plan, &conditions);
                for standing in &mut found {
                    if self.chance.one_in(3) {
                        let grades = [Grade::Ready, Grade::Slow, Grade::NotReady];
                        standing.grade = self.chance.among(&grades);
                    }
                }
                let input = Input::Standings {
                    conditions,
                    plan,
                    standings: found,
                };
                self.sooner_or_later(input)
            }
            Effect::WhatIfs { .. } => self.sooner_or_later(Input::WhatIfs(WhatIfs::default())),
            Effect::Keep(kept) => {
                self.kept = kept;
                None
            }
            Effect::ReadLog => self.sooner_or_later(Input::Log(Vec::new())),
            Effect::FindLog(filter) => self.sooner_or_later(Input::LogFound(LogFound {
                filter: *filter,
                ..LogFound::default()
            })),
            Effect::ReadIncident { .. } => self.sooner_or_later(Input::LogRows(LogRead::default())),
            Effect::ReadPlan => {
                let same = Box::new(self.plan.clone());
                self.sooner_or_later(Input::Plan(same))
            }
            Effect::Learn { .. } => self.sooner_or_later(Input::Learned(Vec::new())),
            Effect::ReadScenarios => {
                let files = vec![
                    ScenarioFile {
                        name: "bad.toml".to_owned(),
                        bytes: Ok(vec![0xff]),
                    },
                    ScenarioFile {
                        name: "gone.toml".to_owned(),
                        bytes: Err("it is gone".to_owned()),
                    },
                ];
                self.sooner_or_later(Input::Scenarios(files))
            }
            Effect::Add(addition) => {
                let incident = addition.incident;
                let report = match self.chance.one_in(3) {
                    true => JournalReport::NotAdded {
                        incident,
                        why: "it has not ended yet".to_owned(),
                    },
                    false => JournalReport::Closed {
                        incident,
                        head: "0".repeat(64),
                    },
                };
                self.sooner_or_later(Input::Journal(report))
            }
            Effect::KeepApproval(approval) => {
                let answer = match self.chance.one_in(4) {
                    true => Err("the approvals cannot be read".to_owned()),
                    false => Ok(vec![approval]),
                };
                self.sooner_or_later(Input::Approvals(answer))
            }
            Effect::Play(_) => self
                .chance
                .one_in(8)
                .then(|| Input::Sound(Err("no device".to_owned()))),
            Effect::StopWhatIfs | Effect::Silence | Effect::Louder(_) | Effect::Drill(_) => None,
        }
    }

    pub(super) fn sooner_or_later(&mut self, input: Input) -> Option<Input> {
        match self.chance.below(4) {
            0 => self.late.push(input),
            // It never comes.
            1 => {}
            _ => return Some(input),
        }
        None
    }

    pub(super) fn forecast(
        &mut self,
        basis: groundward::readiness::Basis,
        plan: &groundward::plan::Plan,
    ) -> Option<Input> {
        let forecast = if self.real {
            self.tally.meet(Met::Forecasts);
            outlook(plan, &basis, Depth::ROUGH)?
        } else {
            self.tally.meet(Met::InventedForecasts);
            invented::forecast(&mut self.chance, plan, &basis)?
        };
        let mut basis = Box::new(basis);
        if self.chance.one_in(40) {
            // Numbers for something that nobody asked for like this.
            self.tally.meet(Met::ForeignForecasts);
            match self.chance.below(4) {
                0 => basis.casualty = basis.casualty.wrapping_add(self.chance.below(4) as u16),
                1 => basis.position = "elsewhere".to_owned(),
                2 => basis.asked = self.chance.below(2_000),
                _ => basis.present.clear(),
            }
        }
        let input = Input::Forecast { basis, forecast };
        match self.chance.below(10) {
            0 => {
                self.tally.meet(Met::LostForecasts);
                None
            }
            1..=3 => {
                self.late.push(input);
                None
            }
            _ => Some(input),
        }
    }
}
