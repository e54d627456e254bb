//! Puts a production engine on a desk: time is set by hand, touches are made by name, effects are seen.
//!
//! What the engine writes is read back from its JSON after every input, and the fold of it must be what the engine knows.

use groundward::engine::Engine;
use groundward::incident::{Act, Choice, Facts, Moment, Pick, Prompt, Record, State, prompt};
use groundward::readiness::{Basis, Depth, outlook};
use groundward::signal::LoadedPlan;
use groundward::signal::{Effect, Input, JournalReport, Tap};
use groundward::units::Millis;
use groundward::words::Language;

pub(crate) struct Desk {
    pub(crate) engine: Engine,
    pub(crate) now: Moment,
    pub(crate) records: Vec<Record>,
    pub(crate) effects: Vec<Effect>,
    /// A forecast asked for and not answered yet.
    pub(crate) wanted: Vec<Input>,
    pub(crate) hold_forecasts: bool,
}

impl Desk {
    pub(crate) fn with(plan: &str) -> Desk {
        Desk::loaded(LoadedPlan::choose(
            Some(("plan.toml", plan.as_bytes())),
            None,
            None,
            crate::support::day(),
        ))
    }

    pub(crate) fn demo() -> Desk {
        Desk::with(groundward::plan::DEMO)
    }

    pub(crate) fn loaded(plan: LoadedPlan) -> Desk {
        let now = Moment {
            wall_ms: 1_780_000_000_000,
            offset_min: 120,
            boot_ms: 500_000,
            boot_id: "boot-1".into(),
        };
        Desk {
            engine: Engine::new(plan, true),
            now,
            records: vec![],
            effects: vec![],
            wanted: vec![],
            hold_forecasts: false,
        }
    }

    pub(crate) fn facts(&self) -> &Facts {
        &self.engine.state().facts
    }

    pub(crate) fn at(&self) -> Millis {
        self.facts().line.at(&self.now)
    }

    /// Time hanging, as the clock shows it.
    pub(crate) fn hanging_ms(&self) -> i64 {
        self.facts().hanging(self.at()).0
    }

    pub(crate) fn prompt(&self) -> Prompt {
        prompt(self.facts(), self.at()).expect("an incident has a prompt")
    }

    /// Everything written so far is durable.
    pub(crate) fn save(&mut self) {
        if let Some(last) = self.records.last() {
            let saved = JournalReport::Saved {
                incident: last.incident.to_string(),
                seq: last.seq,
                head: "0123456789abcdef".repeat(4),
            };
            self.take(Input::Journal(saved));
        }
    }

    pub(crate) fn text(&self) -> String {
        self.prompt().message.text(Language::English)
    }

    pub(crate) fn take(&mut self, input: Input) -> Vec<Effect> {
        let effects = self.engine.handle(input, &self.now);
        for effect in &effects {
            match effect {
                Effect::Open { .. } => self.records.clear(),
                Effect::Append(entries) => {
                    for entry in entries {
                        let record =
                            Record::from_json(&entry.json).expect("what is written can be read");
                        assert_eq!(
                            record.to_json(),
                            entry.json,
                            "a record reads back to the same bytes"
                        );
                        assert_eq!(
                            record.seq,
                            self.records.len() as u64,
                            "records are numbered without a gap"
                        );
                        self.records.push(record);
                    }
                }
                Effect::Forecast { basis, plan } => {
                    let basis: Basis = basis.clone();
                    if let Some(forecast) = outlook(plan, &basis, Depth::ROUGH) {
                        self.wanted.push(Input::Forecast {
                            basis: Box::new(basis),
                            forecast,
                        });
                    }
                }
                _ => {}
            }
        }
        self.effects.extend(effects.iter().cloned());
        if !self.hold_forecasts {
            self.deliver();
        }
        effects
    }

    /// Delivers the forecasts asked for.
    pub(crate) fn deliver(&mut self) {
        for input in std::mem::take(&mut self.wanted) {
            self.take(input);
        }
    }

    pub(crate) fn tap(&mut self, tap: Tap) -> Vec<Effect> {
        self.take(Input::Tap(tap))
    }

    pub(crate) fn hang(&mut self, position: Option<&str>) {
        self.tap(Tap::Activate {
            position: position.map(str::to_owned),
        });
        assert!(self.facts().is_open(), "activation always works");
        self.pass(600);
    }

    pub(crate) fn act(&mut self, act: Act) {
        self.tap(Tap::Do(act));
    }

    pub(crate) fn pick(&mut self, pick: Pick) {
        let number = self
            .facts()
            .shown
            .as_ref()
            .expect("a prompt is shown")
            .number;
        self.tap(Tap::Answer {
            prompt: number,
            pick,
        });
    }

    pub(crate) fn answer(&mut self) {
        assert!(
            self.prompt().main.is_some(),
            "`{}` has no big answer",
            self.text()
        );
        self.pick(Pick::Main);
    }

    pub(crate) fn choose(&mut self, label: &str) {
        let options = self.prompt().options;
        let index = options
            .iter()
            .position(|c| said(c) == label)
            .unwrap_or_else(|| panic!("nothing says {label}: {options:?}"));
        self.pick(Pick::Option(index));
    }

    /// Lets time pass, with every wake-up the engine asks for.
    pub(crate) fn pass(&mut self, ms: i64) {
        let end = self.now.boot_ms + ms;
        while let Some(wait) = self.engine.next_wake(&self.now) {
            assert!(wait.0 > 0, "a wake-up is never in the past");
            if self.now.boot_ms + wait.0 > end {
                break;
            }
            self.set_boot(self.now.boot_ms + wait.0);
            self.take(Input::Wake);
        }
        self.set_boot(end);
    }

    fn set_boot(&mut self, boot_ms: i64) {
        self.now.wall_ms += boot_ms - self.now.boot_ms;
        self.now.boot_ms = boot_ms;
    }

    /// Answers with the big answer until the prompt says this.
    pub(crate) fn answer_until(&mut self, text: &str) {
        for _ in 0..60 {
            if self.text() == text {
                return;
            }
            self.pass(1_000);
            if self.prompt().main.is_some() {
                self.answer()
            } else {
                self.pick(Pick::Option(0))
            }
        }
        panic!("`{text}` never came; the prompt is `{}`", self.text());
    }

    /// Texts of the prompts shown so far.
    pub(crate) fn shown(&self) -> Vec<String> {
        use groundward::incident::Event::PromptShown;
        let text = |r: &Record| {
            if let PromptShown { text, .. } = &r.event {
                Some(text.clone())
            } else {
                None
            }
        };
        self.records.iter().filter_map(text).collect()
    }

    /// Replay equals live.
    pub(crate) fn assert_replays(&self) {
        let replayed = State::replay(self.records.clone());
        assert_eq!(replayed.facts, self.engine.state().facts);
    }
}

pub(crate) fn said(choice: &Choice) -> String {
    choice.label.text(Language::English)
}
