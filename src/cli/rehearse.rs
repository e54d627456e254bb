//! Plays a scripted incident through the same engine at full speed and writes the same journal.
//!
//! A script is plain text, one line per touch: the time since activation and what is touched, `0:12 answer`. What is
//! wrong with a script is said all at once, before anything is played. Time is computed, never waited for.

use super::plans::PlanArgument;
use super::run::{announce, copied};
use super::script::{Line, parse, touch};
use super::{DataFolder, say_error};
use crate::clock::Clock;
use crate::engine::Engine;
use crate::history::Handle;
use crate::incident::{Facts, Moment, prompt};
use crate::journal::disk::RealDisk;
use crate::journal::lock::DataLock;
use crate::journal::writer::{Saved, Writer};
use crate::readiness::{Depth, outlook};
use crate::settings::Keeper;
use crate::signal::{Effect, Input, JournalReport, LoadedPlan};
use crate::store::probe::Prober;
use crate::units::Millis;
use crate::words::{Id, Language, clock, label};
use clap::Args;
use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

/// What to rehearse.
#[derive(Clone, Debug, Args)]
pub(super) struct Options {
    #[command(flatten)]
    plan: PlanArgument,
    /// The script.
    #[arg(long, value_name = "FILE")]
    script: PathBuf,
    #[command(flatten)]
    data: DataFolder,
    /// Wait this many milliseconds after each touch, to watch it.
    #[arg(long, value_name = "MS", default_value_t = 0)]
    pace: u64,
    /// Print a line whenever more of the record is durable: `saved INCIDENT SEQ`.
    #[arg(long)]
    announce: bool,
}

/// A script may be this long.
const SCRIPT_BYTES_MAX: u64 = 1 << 20;

pub(super) fn rehearse(options: &Options) -> u8 {
    match prepare(options)
        .and_then(|(plan, lines)| Stage::set(options, plan).map(|stage| (stage, lines)))
    {
        Ok((stage, lines)) => stage.play(&lines),
        Err(sentences) => {
            for sentence in sentences {
                say_error(&sentence);
            }
            2
        }
    }
}

type Sentences = Vec<String>;

fn prepare(options: &Options) -> Result<(LoadedPlan, Vec<Line>), Sentences> {
    let (name, bytes) = options.plan.bytes().map_err(|why| vec![why])?;
    let plan = LoadedPlan::choose(Some((&name, &bytes)), None, None, Clock::new().read().day());
    if let Some(why) = &plan.in_use.refused {
        return Err(vec![format!(
            "the plan cannot be used: {why}; `groundward check` says more"
        )]);
    }
    let script = &options.script;
    let cannot =
        |error: std::io::Error| vec![format!("{} cannot be read: {error}", script.display())];
    if std::fs::metadata(script).map_err(cannot)?.len() > SCRIPT_BYTES_MAX {
        return Err(vec![format!(
            "{} is longer than a script may be (1 MiB)",
            script.display()
        )]);
    }
    let text = std::fs::read_to_string(script).map_err(cannot)?;
    let lines = parse(&text).map_err(|all| {
        all.into_iter()
            .map(|m| format!("{}, {m}", script.display()))
            .collect::<Vec<_>>()
    })?;
    Ok((plan, lines))
}

/// A rehearsal being played.
struct Stage {
    engine: Engine,
    start: Moment,
    at: Millis,
    folders: Vec<PathBuf>,
    writer: Option<Writer>,
    keeper: Option<Keeper>,
    incident: Option<String>,
    answers: VecDeque<Input>,
    pace: Duration,
    announce: bool,
    announced: Option<(String, u64)>,
    shown: Option<u64>,
    _lock: DataLock,
}

impl Stage {
    /// A rehearsal has a record of its own, so that a tablet never takes one up as its running incident.
    fn set(options: &Options, plan: LoadedPlan) -> Result<Stage, Sentences> {
        let folder: PathBuf = Path::new(&options.data.folder()).join("rehearsals");
        let lock = DataLock::take(&folder).map_err(|why| vec![why.to_string()])?;
        let journals = options.data.journals(&folder);
        let prober = Prober::new(std::env::current_exe().ok());
        // The journal is what counts; without a store the lists come from there.
        let store = folder.join("store");
        let keeper = Keeper::start(&store, journals.clone(), prober, Handle::default(), drop);
        Ok(Stage {
            engine: Engine::new(plan, true),
            start: Clock::new().read(),
            at: Millis::ZERO,
            folders: journals,
            writer: None,
            keeper: keeper.ok(),
            incident: None,
            answers: VecDeque::new(),
            pace: Duration::from_millis(options.pace),
            announce: options.announce,
            announced: None,
            shown: None,
            _lock: lock,
        })
    }

    fn now(&self) -> Moment {
        Moment {
            wall_ms: self.start.wall_ms.saturating_add(self.at.0),
            boot_ms: self.start.boot_ms.saturating_add(self.at.0),
            ..self.start.clone()
        }
    }

    fn play(mut self, lines: &[Line]) -> u8 {
        for line in lines {
            if let Err(why) = self.pass_time(line.at).and_then(|()| self.touch(line)) {
                say_error(&format!("line {}: {why}", line.number));
                return 1;
            }
            std::thread::sleep(self.pace);
        }
        let head = match self.writer.as_mut().map(Writer::close) {
            Some(Ok(saved)) => saved.map(|s| s.head),
            Some(Err(why)) => {
                say_error(&why.0);
                return 2;
            }
            None => None,
        };
        let incident = self.incident.take().unwrap_or_default();
        let closed = JournalReport::Closed {
            incident: incident.clone(),
            head: head.clone().unwrap_or_default(),
        };
        self.copy(&closed, Vec::new());
        println!("incident {incident}\nhead {}", head.unwrap_or_default());
        0
    }

    /// Lets the engine do what it does by itself up to a time.
    fn pass_time(&mut self, until: Millis) -> Result<(), String> {
        loop {
            let wake = self
                .engine
                .next_wake(&self.now())
                .map(|wait| self.at.saturating_add(wait));
            match wake {
                Some(wake) if wake <= until && self.incident.is_some() => {
                    self.at = wake;
                    self.take(Input::Wake)?;
                }
                _ => {
                    self.at = until;
                    return Ok(());
                }
            }
        }
    }

    fn touch(&mut self, line: &Line) -> Result<(), String> {
        let before = self.engine.state().log.len();
        let facts = &self.engine.state().facts;
        let at = facts.line.at(&self.now());
        let Some(tap) = touch(&line.action, facts, at)? else {
            return Ok(());
        };
        let text = prompt(facts, at).map(|p| p.message.text(language(facts)));
        let text = text.unwrap_or_default();
        self.take(Input::Tap(tap))?;
        match (self.engine.state().log.len() == before, line.refused) {
            (true, false) => Err(format!("that has no effect here; the prompt is `{text}`")),
            (false, true) => Err(format!(
                "that should have had no effect; the prompt was `{text}`"
            )),
            _ => Ok(()),
        }
    }

    fn take(&mut self, input: Input) -> Result<(), String> {
        self.answers.push_back(input);
        while let Some(input) = self.answers.pop_front() {
            let now = self.now();
            for effect in self.engine.handle(input, &now) {
                self.carry_out(effect)?;
            }
        }
        if self.announce {
            announce(&self.engine.snapshot(&self.now()), &mut self.announced);
        }
        self.tell();
        Ok(())
    }

    /// Prints each prompt as it comes.
    fn tell(&mut self) {
        let facts = &self.engine.state().facts;
        let Some(shown) = &facts.shown else { return };
        if self.shown != Some(shown.number) && !self.announce {
            // Whoever reads along must never take it for a rescue, from its first line on.
            if self.shown.is_none() && facts.is_drill() {
                println!("{}", label(Id::DrillMark, language(facts)));
            }
            self.shown = Some(shown.number);
            let at = facts.line.at(&self.now());
            let text = prompt(facts, at)
                .map(|p| p.message.text(language(facts)))
                .unwrap_or_default();
            println!("{:>7}  {text}", clock(facts.since_fall(at)));
        }
    }

    fn copy(&self, report: &JournalReport, lines: Vec<String>) {
        if let Some(keeper) = &self.keeper {
            copied(|order| keeper.tell(order), report, lines);
        }
    }

    fn carry_out(&mut self, effect: Effect) -> Result<(), String> {
        match effect {
            Effect::Open { incident } => {
                let writer = Writer::create(Arc::new(RealDisk), self.folders.clone(), &incident);
                self.writer = Some(writer.map_err(|e| e.to_string())?);
                self.incident = Some(incident);
            }
            Effect::Append(entries) => {
                let (Some(writer), Some(incident)) = (&mut self.writer, &self.incident) else {
                    return Ok(());
                };
                let report = match writer.append(&entries) {
                    Ok(Some(Saved { seq, head })) => JournalReport::Saved {
                        incident: incident.clone(),
                        seq,
                        head,
                    },
                    Ok(None) => return Ok(()),
                    Err(why) => JournalReport::Failing {
                        incident: incident.clone(),
                        why: why.0,
                    },
                };
                let lines = writer.take_copies();
                self.copy(&report, lines);
                self.answers.push_back(Input::Journal(report));
            }
            Effect::Forecast { basis, plan } => {
                if let Some(forecast) = outlook(&plan, &basis, Depth::LIVE) {
                    self.answers.push_back(Input::Forecast {
                        basis: Box::new(basis),
                        forecast,
                    });
                }
            }
            Effect::Standings { .. }
            | Effect::WhatIfs { .. }
            | Effect::StopWhatIfs
            | Effect::Close
            | Effect::Play(_)
            | Effect::Silence
            | Effect::Louder(_)
            | Effect::Drill(_)
            | Effect::Keep(_)
            | Effect::ReadLog
            | Effect::FindLog(_)
            | Effect::ReadIncident { .. }
            | Effect::ReadPlan
            | Effect::Add(_)
            | Effect::Learn { .. }
            | Effect::ReadScenarios
            | Effect::KeepApproval(_) => {}
        }
        Ok(())
    }
}

fn language(facts: &Facts) -> Language {
    facts
        .opened
        .as_ref()
        .map_or_else(Language::default, |o| o.language)
}
