//! Plays a scripted incident through the same engine at full speed and writes the same journal.
//!
//! A script is plain text, one line per touch: the time since activation and what is touched, `0:12 answer`. What is
//! wrong with a script is said all at once, before anything is played. Time is computed, never waited for.

use super::plans::PlanArgument;
use super::run::announce;
use super::{DataFolder, say_error};
use crate::clock::Clock;
use crate::engine::Engine;
use crate::incident::{Act, Condition, Moment, Pick, Prompt, prompt};
use crate::journal::disk::RealDisk;
use crate::journal::lock::DataLock;
use crate::journal::writer::{Saved, Writer};
use crate::readiness::outlook;
use crate::signal::{Effect, Input, JournalReport, LoadedPlan, Tap};
use crate::units::Millis;
use crate::words::{Language, clock};
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

/// One line of a script.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Line {
    /// Its number in the file, from 1.
    pub(super) number: usize,
    /// When, since activation.
    pub(super) at: Millis,
    /// What.
    pub(super) action: Action,
}

/// What a line does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Action {
    /// Somebody hangs, at this position if one is named.
    Hang(Option<String>),
    /// Touch an answer of the prompt.
    Touch(Pick),
    /// Touch the answer of the list that says this.
    Choose(String),
    /// Touch something beside the prompt.
    Do(Act),
    /// Take the last touch back.
    Undo,
    /// The prompt must say this now.
    Expect(String),
}

/// Reads a script; every mistake in it is named with its line.
pub(super) fn parse(text: &str) -> Result<Vec<Line>, Vec<String>> {
    let mut lines: Vec<Line> = Vec::new();
    let mut mistakes = Vec::new();
    for (index, raw) in text.lines().enumerate() {
        let number = index + 1;
        let line = raw.split('#').next().unwrap_or_default().trim();
        if line.is_empty() {
            continue;
        }
        let (time, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
        match (time_of(time), action_of(rest.trim())) {
            (Some(at), Some(action)) => {
                if lines.last().is_some_and(|l| l.at > at) {
                    mistakes.push(format!("line {number}: {time} is earlier than the line before; put the lines in order"));
                }
                lines.push(Line { number, at, action });
            }
            (None, _) => mistakes.push(format!(
                "line {number}: `{time}` is no time; write minutes and seconds such as 1:05"
            )),
            (_, None) => mistakes.push(format!(
                "line {number}: `{}` is not something to touch; the README lists what is",
                rest.trim()
            )),
        }
    }
    if !lines
        .first()
        .is_some_and(|l| matches!(l.action, Action::Hang(_)))
    {
        mistakes.push("the first line must be `0:00 hang` or `0:00 hang POSITION`".to_owned());
    }
    if mistakes.is_empty() {
        Ok(lines)
    } else {
        Err(mistakes)
    }
}

fn time_of(text: &str) -> Option<Millis> {
    let (minutes, seconds) = text.split_once(':')?;
    let (minutes, seconds) = (minutes.parse::<u32>().ok()?, seconds.parse::<u32>().ok()?);
    (seconds < 60 && minutes <= 24 * 60)
        .then(|| Millis::from_seconds(i64::from(minutes) * 60 + i64::from(seconds)))
}

fn action_of(text: &str) -> Option<Action> {
    let (word, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let rest = rest.trim();
    let bare = |action: Action| rest.is_empty().then_some(action);
    let named = || (!rest.is_empty()).then(|| rest.to_owned());
    match word {
        "hang" => Some(Action::Hang(named())),
        "answer" => bare(Action::Touch(Pick::Main)),
        "small" => bare(Action::Touch(Pick::Small)),
        "apart" => bare(Action::Touch(Pick::Other)),
        "choose" => named().map(Action::Choose),
        "undo" => bare(Action::Undo),
        "expect" => named().map(Action::Expect),
        "talking" => bare(Action::Do(Act::Report(Condition::Talking))),
        "unwell" => bare(Action::Do(Act::Report(Condition::Unwell))),
        "no-answer" => bare(Action::Do(Act::Report(Condition::NotAnswering))),
        "call-made" => bare(Action::Do(Act::CallMade)),
        "touching" => bare(Action::Do(Act::Contact)),
        "off-harness" => bare(Action::Do(Act::OffHarness)),
        "still-hanging" => bare(Action::Do(Act::StillHanging)),
        "danger" => bare(Action::Do(Act::Danger)),
        "danger-over" => Some(Action::Do(Act::DangerOver(named()))),
        "straight" => named().map(|method| Action::Do(Act::GoStraight(method))),
        "place" => Some(Action::Do(Act::ChoosePosition(named()))),
        "fell" if rest == "unknown" => Some(Action::Do(Act::SetFall {
            ago: Millis::ZERO,
            at_least: true,
        })),
        "fell" => time_of(rest).map(|ago| {
            Action::Do(Act::SetFall {
                ago,
                at_least: false,
            })
        }),
        "stand-down" => bare(Action::Do(Act::BeginClosing)),
        _ => None,
    }
}

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
        Ok(Stage {
            engine: Engine::new(plan, true),
            start: Clock::new().read(),
            at: Millis::ZERO,
            folders: options.data.journals(&folder),
            writer: None,
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
        let incident = self.incident.unwrap_or_default();
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

    fn prompt(&self) -> Option<Prompt> {
        let facts = &self.engine.state().facts;
        prompt(facts, facts.line.at(&self.now()))
    }

    fn touch(&mut self, line: &Line) -> Result<(), String> {
        let before = self.engine.state().log.len();
        let shown = self
            .engine
            .state()
            .facts
            .shown
            .as_ref()
            .map_or(0, |s| s.number);
        let text = self
            .prompt()
            .map(|p| p.message.text(Language::English))
            .unwrap_or_default();
        let tap = match &line.action {
            Action::Hang(position) => Tap::Activate {
                position: position.clone(),
            },
            Action::Touch(pick) => Tap::Answer {
                prompt: shown,
                pick: *pick,
            },
            Action::Choose(label) => {
                let options = self.prompt().map(|p| p.options).unwrap_or_default();
                let index = options
                    .iter()
                    .position(|c| c.label.text(Language::English) == *label);
                let index = index.ok_or_else(|| {
                    format!("nothing in the list says `{label}`; the prompt is `{text}`")
                })?;
                Tap::Answer {
                    prompt: shown,
                    pick: Pick::Option(index),
                }
            }
            Action::Do(act) => Tap::Do(act.clone()),
            Action::Undo => {
                let undo = self
                    .engine
                    .state()
                    .facts
                    .undo
                    .as_ref()
                    .ok_or("there is nothing to take back")?;
                Tap::Undo { cause: undo.cause }
            }
            Action::Expect(expected) if *expected == text => return Ok(()),
            Action::Expect(expected) => {
                return Err(format!("the prompt is `{text}` and not `{expected}`"));
            }
        };
        self.take(Input::Tap(tap))?;
        if self.engine.state().log.len() == before {
            return Err(format!("that has no effect here; the prompt is `{text}`"));
        }
        Ok(())
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
            self.shown = Some(shown.number);
            let at = facts.line.at(&self.now());
            let text = prompt(facts, at)
                .map(|p| p.message.text(Language::English))
                .unwrap_or_default();
            println!("{:>7}  {text}", clock(facts.since_fall(at)));
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
                self.answers.push_back(Input::Journal(report));
            }
            Effect::Forecast { basis, plan } => {
                if let Some(forecast) = outlook(&plan, &basis) {
                    self.answers.push_back(Input::Forecast { basis, forecast });
                }
            }
            Effect::Close
            | Effect::Play(_)
            | Effect::Silence
            | Effect::Keep(_)
            | Effect::ReadLog
            | Effect::ReadIncident { .. }
            | Effect::ReadPlan
            | Effect::KeepApproval(_) => {}
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_mistake_of_a_script_is_named_with_its_line() {
        let mistakes = parse("0:00 hang\n0:99 answer\n0:10 jump\n# fine\n0:05 answer\n")
            .expect_err("it has mistakes");
        assert_eq!(mistakes.len(), 2, "{mistakes:?}");
        assert!(mistakes[0].starts_with("line 2") && mistakes[1].starts_with("line 3"));
        let mistakes = parse("0:10 hang\n0:05 answer\n").expect_err("the order is wrong");
        assert!(mistakes[0].contains("line 2"), "{mistakes:?}");
        assert!(parse("").is_err());
    }

    #[test]
    fn a_script_says_what_is_touched_when() {
        let lines = parse("0:00 hang silo # at once\n1:05 choose Another place\n2:00 fell 3:10\n")
            .expect("it is right");
        assert_eq!(lines[0].action, Action::Hang(Some("silo".to_owned())));
        assert_eq!(
            (lines[1].at, &lines[1].action),
            (Millis(65_000), &Action::Choose("Another place".to_owned()))
        );
        assert_eq!(
            lines[2].action,
            Action::Do(Act::SetFall {
                ago: Millis(190_000),
                at_least: false
            })
        );
    }
}
