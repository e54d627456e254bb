//! Plays incidents over the production `decide`, from chance or by hand, and keeps the lines of their journals.
//!
//! Touches that do not apply are refused by `decide` and leave nothing, so a play may try anything.

use crate::support::Chance;
use groundward::incident::{
    Act, CareTaker, Command, Condition, Exercise, Inject, Moment, Note, Opening, OtherWork, Pick,
    PlanStanding, Record, Report, State, Surprise, Teller, Wanted, decide, next_wakeup, prompt,
};
use groundward::plan::{DEMO, Plan};
use groundward::readiness::{Depth, outlook};
use groundward::units::{Millis, Speed};
use groundward::words::Language;

/// A play of one incident.
pub(crate) struct Play {
    pub(crate) state: State,
    pub(crate) lines: Vec<String>,
    now: Moment,
    chance: Chance,
    forecasts: usize,
}

/// Every kind of surprise, a minute apart, on the built-in plan.
pub(crate) fn exercise() -> Exercise {
    let injects = [
        Inject::RadioLost {},
        Inject::SelfRescueFails {},
        Inject::KitMissing {
            kit: "ladder".to_owned(),
            station: "workshop".to_owned(),
        },
        Inject::MethodFails {
            method: "ladder".to_owned(),
        },
        Inject::ResponderCannot {
            responder: "rua".to_owned(),
        },
        Inject::StopsAnswering {},
        Inject::Wind {
            speed: Speed(14_000),
        },
        Inject::AmbulanceDelayed {
            by: Millis(300_000),
        },
        Inject::WrongGate {},
        Inject::SecondCasualty {},
    ];
    let at = |(index, inject): (i32, Inject)| Surprise {
        at: Millis(20_000 + 30_000 * i64::from(index)),
        inject,
    };
    Exercise {
        scenario: "All at once (invented)".to_owned(),
        seed: 3,
        others: Some(OtherWork::Stopped),
        surprises: (0..).zip(injects).map(at).collect(),
        ..Exercise::default()
    }
}

impl Play {
    /// Somebody hangs at silo 3 of the built-in plan, in a drill played like this, or in a rescue.
    pub(crate) fn begin(seed: u64, exercise: Option<Exercise>, forecasts: usize) -> Play {
        let plan: std::sync::Arc<Plan> =
            groundward::plan::fit("plan.toml", DEMO).expect("the built-in plan is fit");
        let opening = Opening {
            incident: format!("20261126T120000Z-{seed:04x}"),
            drill: exercise.is_some(),
            exercise: exercise.map(Box::new),
            program: "test".to_owned(),
            plan_format: 1,
            plan_name: "plan.toml".to_owned(),
            plan_standing: PlanStanding::Fit,
            plan_sha: String::new(),
            plan: DEMO.to_owned(),
            language: Language::English,
            in_command: plan.responders.first().map(|it| it.id.clone()),
            roll_call: plan.responders.iter().map(|it| it.id.clone()).collect(),
            seed,
            approval: None,
            shift: None,
        };
        let mut play = Play {
            state: State::default(),
            lines: Vec::new(),
            now: Moment {
                wall_ms: 1_780_000_000_000,
                offset_min: 60,
                boot_ms: 40_000,
                boot_id: "boot-1".into(),
            },
            chance: Chance(seed),
            forecasts,
        };
        play.command(Command::Activate {
            opening: Box::new(opening),
            position: Some("silo3".to_owned()),
        });
        play
    }

    pub(crate) fn at(&self) -> Millis {
        self.state.facts.line.at(&self.now)
    }

    fn command(&mut self, command: Command) {
        let Ok(decision) = decide(&self.state, command, &self.now) else {
            return;
        };
        for record in decision.records {
            let line = record.to_json();
            let read = Record::from_json(&line).expect("what is written can be read");
            self.state.apply(read);
            self.lines.push(line);
        }
        for wanted in decision.wanted {
            let Wanted::Forecast(basis) = wanted else {
                continue;
            };
            let plan = self.state.facts.opened.as_ref().map(|it| it.plan.clone());
            if self.forecasts == 0 {
                continue;
            }
            self.forecasts -= 1;
            let forecast = plan.and_then(|plan| outlook(&plan, &basis, Depth::ROUGH));
            if let Some(forecast) = forecast {
                self.command(Command::Adopt { basis, forecast });
            }
        }
    }

    pub(crate) fn act(&mut self, act: Act) {
        self.command(Command::Do(act));
    }

    pub(crate) fn pick(&mut self, pick: Pick) {
        if let Some(shown) = &self.state.facts.shown {
            let prompt = shown.number;
            self.command(Command::Answer { prompt, pick });
        }
    }

    pub(crate) fn undo(&mut self) {
        if let Some(undo) = self.state.facts.undo.clone() {
            self.command(Command::Undo { cause: undo.cause });
        }
    }

    /// Lets time pass, with every wake-up.
    pub(crate) fn pass(&mut self, ms: i64) {
        let end = self.at().0 + ms;
        while let Some(next) = next_wakeup(&self.state.facts, self.at()).filter(|it| it.0 <= end) {
            self.set(next.0);
            self.command(Command::Wake);
        }
        self.set(end);
    }

    /// Lets time pass until this long after activation.
    pub(crate) fn until(&mut self, ms: i64) {
        let wait = ms - self.at().0;
        assert!(wait >= 0, "{ms} is over already");
        self.pass(wait);
    }

    fn set(&mut self, at: i64) {
        let by = at - self.at().0;
        self.now.boot_ms += by;
        self.now.wall_ms += by;
    }

    /// The prompt, in English.
    pub(crate) fn text(&self) -> String {
        let prompt = prompt(&self.state.facts, self.at()).expect("there is a prompt");
        prompt.message.text(Language::English)
    }

    /// Touches whatever chance says, so many times.
    pub(crate) fn at_random(&mut self, touches: usize) {
        for _ in 0..touches {
            let wait = self.chance.below(25_000) as i64;
            self.pass(wait);
            self.touch();
        }
    }

    fn touch(&mut self) {
        let facts = self.state.facts.clone();
        let on: Vec<(u64, String)> = facts
            .orders
            .iter()
            .map(|it| (it.number, it.posting.responder.clone()))
            .collect();
        let one = self.chance.below(8) as usize;
        let method = facts.methods().get(one).map(|it| it.id.clone());
        let person = on
            .get(one.min(on.len().saturating_sub(1)))
            .map(|it| it.1.clone());
        match self.chance.below(26) {
            0..=8 => match prompt(&facts, self.at()).is_some_and(|it| it.main.is_some()) {
                true => self.pick(Pick::Main),
                false => self.pick(Pick::Option(one % 4)),
            },
            9 => self.pick(Pick::Other),
            10 => self.pick(Pick::Small),
            11 => {
                if let Some(method) = method {
                    let act = self.chance.among(&[Act::GoStraight, Act::PutBack]);
                    self.act(act(method));
                }
            }
            12 => {
                let all = [
                    Condition::Talking,
                    Condition::Unwell,
                    Condition::Stuck,
                    Condition::NotAnswering,
                ];
                let condition = self.chance.among(&all);
                self.act(Act::Report(condition));
            }
            13..=15 => {
                let unsaid = facts.orders.iter().filter(|it| it.said.is_none());
                self.act(Act::Said(unsaid.map(|it| it.number).collect()));
            }
            16..=18 => {
                let all = [
                    Report::Heard,
                    Report::Heard,
                    Report::OnTheWay,
                    Report::There,
                    Report::Late,
                    Report::Cannot,
                ];
                let report = self.chance.among(&all);
                if let Some(person) = person {
                    self.act(Act::Responder(person, report));
                }
            }
            19 => self.undo(),
            20 => match one {
                0 => self.act(Act::OffHarness),
                1 | 2 => self.act(Act::Contact),
                3 => self.act(Act::StillHanging),
                _ => self.act(Act::Change),
            },
            21 => match facts.danger {
                Some(_) => self.act(Act::DangerOver(None)),
                None if one == 0 => self.act(Act::Danger),
                None => self.act(Act::MoreTime),
            },
            22 | 23 => {
                if let Some((index, _)) = facts.surprise_now() {
                    match one {
                        0 => self.act(Act::LeaveSurprise(index)),
                        _ => self.act(Act::GiveSurprise(index)),
                    }
                }
            }
            24 => {
                let ago = Millis(self.chance.below(200_000) as i64);
                let at_least = one > 4;
                match one {
                    0 => self.act(Act::AddCasualty),
                    1 => self.act(Act::Note(Note::RadioLost)),
                    2 => self.act(Act::HelpIn(ago, Teller::Dispatcher)),
                    3 => self.act(Act::HandOver(1, CareTaker::Ambulance)),
                    _ => self.act(Act::SetFall { ago, at_least }),
                }
            }
            _ => match one {
                0 if self.chance.one_in(4) => self.act(Act::Real),
                1 => self.act(Act::CallMade),
                2 => self.act(Act::CallFailed),
                3 => self.act(Act::BeginClosing),
                4 => self.act(Act::GoOn),
                5 => self.act(Act::OthersStopped),
                6 => self.act(Act::Wind(Speed(15_000))),
                _ => self.act(Act::CallPassed),
            },
        }
    }
}
