//! Runs whole incidents over the production engine and the production journal writer with a seeded crew that makes
//! mistakes, on a disk that lies and a machine that crashes, and checks the rules after every input.
//!
//! Faults: crash, torn tail, failing sync, clock step, double tap. Repeat one run with
//! `GROUNDWARD_SEED=7 cargo test simulate`; more of them with `GROUNDWARD_RUNS=10000`, others with `GROUNDWARD_FROM=200`.

use crate::desk::Desk;
use crate::record::lying::{Fault, LyingDisk, Tear};
use crate::support::Chance;
use crate::support::plans::plan_toml;
use groundward::engine::Engine;
use groundward::incident::{
    Act, Aftercare, CareTaker, Closing, Condition, Event, Facts, Moment, Note, Pick, Prompt,
    Record, Report, State, Stop, Teller, prompt, to_say,
};
use groundward::journal::writer::Writer;
use groundward::readiness::{Depth, outlook};
use groundward::signal::LoadedPlan;
use groundward::signal::{Effect, Entry, Input, JournalReport, Tap};
use groundward::units::{Millis, Speed};
use groundward::words::{Id, Language};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

const RUNS: u64 = 150;
const MOVES: u64 = 90;

#[test]
fn simulated_incidents_keep_the_rules() {
    let setting = |name: &str| std::env::var(name).ok().and_then(|v| v.parse::<u64>().ok());
    let seeds: Vec<u64> = match setting("GROUNDWARD_SEED") {
        Some(seed) => vec![seed],
        None => {
            let from = setting("GROUNDWARD_FROM").unwrap_or(0);
            (from..from + setting("GROUNDWARD_RUNS").unwrap_or(RUNS)).collect()
        }
    };
    let mut tally = Tally::default();
    for seed in &seeds {
        let outcome = std::panic::catch_unwind(|| World::new(*seed).live());
        match outcome {
            Ok(run) => tally.add(&run),
            Err(panic) => {
                eprintln!("repeat with: GROUNDWARD_SEED={seed} cargo test simulate");
                std::panic::resume_unwind(panic);
            }
        }
    }
    eprintln!("{} runs: {tally:?}", seeds.len());
    if seeds.len() as u64 >= RUNS {
        tally.assert_every_fault_was_met();
    }
}

/// What was met, so that a simulator that simulates nothing fails.
#[derive(Clone, Debug, Default)]
struct Tally {
    crashes: u64,
    torn: u64,
    failed_syncs: u64,
    clock_steps: u64,
    reboots: u64,
    double_taps: u64,
    corrections: u64,
    released: u64,
    stood_down: u64,
    dangers: u64,
    changes: u64,
    casualties: u64,
    rescuers_down: u64,
    ties: u64,
    stops: u64,
    went_on: u64,
    commands: u64,
    outside: u64,
    lapses: u64,
    withdrawn: u64,
    ordered: u64,
    changed_orders: u64,
    unprompted: u64,
    entries: u64,
    handovers: u64,
}

impl Tally {
    fn add(&mut self, other: &Tally) {
        self.crashes += other.crashes;
        self.torn += other.torn;
        self.failed_syncs += other.failed_syncs;
        self.clock_steps += other.clock_steps;
        self.reboots += other.reboots;
        self.double_taps += other.double_taps;
        self.corrections += other.corrections;
        self.released += other.released;
        self.stood_down += other.stood_down;
        self.dangers += other.dangers;
        self.changes += other.changes;
        self.handovers += other.handovers;
        self.entries += other.entries;
        self.withdrawn += other.withdrawn;
        self.ordered += other.ordered;
        self.changed_orders += other.changed_orders;
        self.unprompted += other.unprompted;
        self.lapses += other.lapses;
        self.outside += other.outside;
        self.commands += other.commands;
        self.went_on += other.went_on;
        self.stops += other.stops;
        self.ties += other.ties;
        self.rescuers_down += other.rescuers_down;
        self.casualties += other.casualties;
    }

    fn assert_every_fault_was_met(&self) {
        assert!(
            self.unprompted * 50 <= self.ordered,
            "{} of {} orders changed for no reason but a better crew",
            self.unprompted,
            self.ordered
        );
        for (what, count) in [
            ("crashes", self.crashes),
            ("torn tails", self.torn),
            ("failed syncs", self.failed_syncs),
            ("clock steps", self.clock_steps),
            ("reboots", self.reboots),
            ("double taps", self.double_taps),
            ("corrections", self.corrections),
            ("releases", self.released),
            ("stand-downs", self.stood_down),
            ("dangers", self.dangers),
            ("changes of method", self.changes),
            ("further casualties", self.casualties),
            ("rescuers who fell", self.rescuers_down),
            ("ties before an exposed step", self.ties),
            ("called stops", self.stops),
            ("decisions to go on", self.went_on),
            ("changes of command", self.commands),
            ("leads from outside", self.outside),
            ("lapsed checks", self.lapses),
            ("orders taken back", self.withdrawn),
            ("changed orders", self.changed_orders),
            ("entry conditions", self.entries),
            ("hand-overs", self.handovers),
        ] {
            assert!(count > 0, "no {what} in {RUNS} runs");
        }
    }
}

struct World {
    chance: Chance,
    plan: LoadedPlan,
    engine: Engine,
    now: Moment,
    disk: LyingDisk,
    writer: Option<Writer>,
    incident: Option<String>,
    /// Lines handed to the writer, by sequence number, as the engine made them.
    handed: Vec<Entry>,
    acknowledged: Option<u64>,
    late: Vec<Input>,
    /// Time since the fall as last shown, by casualty.
    elapsed: BTreeMap<u16, i64>,
    tally: Tally,
}

fn folders() -> Vec<PathBuf> {
    vec![PathBuf::from("journals"), PathBuf::from("fallback")]
}

impl World {
    fn new(seed: u64) -> World {
        let mut chance = Chance(seed);
        let text = match chance.below(6) {
            0 => groundward::plan::DEMO.to_owned(),
            1 => groundward::plan::BARE.to_owned(),
            2 => groundward::plan::DEMO_BRIDGE.to_owned(),
            _ => plan_toml(chance.next()),
        };
        let plan = LoadedPlan::choose(
            Some(("plan.toml", text.as_bytes())),
            None,
            None,
            crate::support::day(),
        );
        assert!(
            plan.in_use.refused.is_none(),
            "seed {seed}: {:?}",
            plan.in_use.refused
        );
        World {
            engine: Engine::new(plan.clone(), chance.one_in(2)),
            chance,
            plan,
            now: Moment {
                wall_ms: 1_780_000_000_000,
                offset_min: 60,
                boot_ms: 90_000,
                boot_id: "boot-0".into(),
            },
            disk: LyingDisk::default(),
            writer: None,
            incident: None,
            handed: Vec::new(),
            acknowledged: None,
            late: Vec::new(),
            elapsed: BTreeMap::new(),
            tally: Tally::default(),
        }
    }

    fn live(mut self) -> Tally {
        self.hang();
        for _ in 0..MOVES {
            match self.chance.below(24) {
                0 => self.crash(),
                1 => self.step_wall_clock(),
                2 => self.break_disk(),
                3 => self.disk.heal(),
                4..=9 => self.pass(),
                10 => self.double_tap(),
                11..=13 => self.touch_beside(),
                14 => self.undo(),
                15 => self.deliver_late(),
                _ => self.answer(),
            }
            if !self.engine.state().facts.is_open() {
                self.tally.stood_down += 1;
                self.take(Input::Tap(Tap::Do(Act::Leave)));
                self.hang();
            }
        }
        // Whatever happened, a healed disk holds everything that was said to be saved.
        self.disk.heal();
        self.crash();
        self.tally
    }

    fn hang(&mut self) {
        let ids: Vec<String> = self
            .plan
            .in_use
            .plan
            .positions
            .iter()
            .map(|p| p.id.clone())
            .collect();
        let position = (!self.chance.one_in(3))
            .then(|| ids[self.chance.below(ids.len() as u64) as usize].clone());
        self.pass_ms(1_500);
        self.elapsed.clear();
        self.take(Input::Tap(Tap::Activate { position }));
        assert!(
            self.engine.state().facts.is_open(),
            "activation always works"
        );
    }

    fn pass(&mut self) {
        let ms = match self.chance.below(5) {
            0 => self.chance.below(200_000),
            _ => self.chance.below(15_000),
        };
        self.pass_ms(ms as i64);
    }

    fn pass_ms(&mut self, ms: i64) {
        let end = self.now.boot_ms + ms;
        while let Some(wait) = self.engine.next_wake(&self.now) {
            assert!(wait.0 > 0, "a wake-up is never in the past");
            if self.now.boot_ms + wait.0 > end {
                break;
            }
            self.tick(wait.0);
            self.take(Input::Wake);
        }
        self.tick(end - self.now.boot_ms);
    }

    fn tick(&mut self, ms: i64) {
        self.now.boot_ms += ms;
        self.now.wall_ms += ms;
    }

    fn prompt(&self) -> Prompt {
        let facts = &self.engine.state().facts;
        prompt(facts, facts.line.reached_at()).expect("an incident has a prompt")
    }

    fn answer(&mut self) {
        let pick = self.some_pick();
        let number = self
            .engine
            .state()
            .facts
            .shown
            .as_ref()
            .expect("a prompt is shown")
            .number;
        self.take(Input::Tap(Tap::Answer {
            prompt: number,
            pick,
        }));
    }

    fn some_pick(&mut self) -> Pick {
        let prompt = self.prompt();
        let mut picks = Vec::new();
        // A crew mostly does what the big answer says.
        picks.extend(prompt.main.iter().flat_map(|_| [Pick::Main; 5]));
        picks.extend(prompt.small.iter().map(|_| Pick::Small));
        picks.extend(prompt.other.iter().map(|_| Pick::Other));
        picks.extend((0..prompt.options.len()).map(Pick::Option));
        assert!(
            !picks.is_empty(),
            "a way forward from `{}`",
            prompt.message.text(Language::English)
        );
        picks[self.chance.below(picks.len() as u64) as usize]
    }

    fn double_tap(&mut self) {
        self.tally.double_taps += 1;
        let pick = self.some_pick();
        let number = self
            .engine
            .state()
            .facts
            .shown
            .as_ref()
            .expect("a prompt is shown")
            .number;
        self.take(Input::Tap(Tap::Answer {
            prompt: number,
            pick,
        }));
        let after_one = self.engine.state().log.len();
        self.take(Input::Tap(Tap::Answer {
            prompt: number,
            pick,
        }));
        assert_eq!(
            self.engine.state().log.len(),
            after_one,
            "the second touch does nothing"
        );
    }

    fn touch_beside(&mut self) {
        let facts = &self.engine.state().facts;
        let methods: Vec<String> = facts.methods().iter().map(|m| m.id.clone()).collect();
        let positions: Vec<String> = self
            .plan
            .in_use
            .plan
            .positions
            .iter()
            .map(|p| p.id.clone())
            .collect();
        let people: Vec<String> = self
            .plan
            .in_use
            .plan
            .responders
            .iter()
            .map(|p| p.id.clone())
            .collect();
        let mut some = |ids: &[String]| {
            ids.get(self.chance.below(ids.len().max(1) as u64) as usize)
                .cloned()
        };
        let (method, position, person) = (some(&methods), some(&positions), some(&people));
        let person_or_none = person.clone();
        let person = person.unwrap_or_default();
        let act = match self.chance.below(68) {
            0..=3 => Act::Report(Condition::Talking),
            4 => Act::Report(Condition::Unwell),
            5 => Act::Report(Condition::NotAnswering),
            6 => Act::Report(Condition::Stuck),
            7 => Act::CallMade,
            8 => Act::Contact,
            9 => Act::OffHarness,
            10 => Act::StillHanging,
            11 => Act::Danger,
            12 => Act::DangerOver(None),
            13 => Act::SetFall {
                ago: Millis(self.chance.below(900_000) as i64),
                at_least: self.chance.one_in(2),
            },
            14 => Act::ChoosePosition(position.filter(|_| self.chance.one_in(2))),
            15 => Act::BeginClosing,
            16 => Act::Care(Aftercare::Watch, false),
            17 => Act::Close(Closing::Counted),
            18 => Act::StepDone,
            19 => Act::NotWorking,
            20 => Act::AddCasualty,
            21 => Act::RescuerDown(person),
            22 => Act::NameCasualty(person_or_none.filter(|_| self.chance.one_in(2))),
            23 | 24 => Act::WorkOn(1 + self.chance.below(3) as u16),
            25 => Act::InDanger(self.chance.one_in(2)),
            26 => Act::TakeCommand,
            27 => Act::BriefHeard,
            28 => Act::NameCommand(person_or_none),
            29 | 30 => Act::Wind(Speed(self.chance.below(20_000) as i64)),
            31..=33 => Act::Stop(match self.chance.below(3) {
                0 => Stop::Wind,
                line => Stop::Line(line as usize - 1),
            }),
            34 => Act::GoOn,
            35 => Act::PutBack(method.unwrap_or_default()),
            36 => Act::Responder(person, Report::There),
            37 => Act::Responder(person, Report::Cannot),
            38 => Act::Responder(person, Report::CanAgain),
            39 => Act::OutsideLeads,
            40 => Act::CrewLeads,
            41 => Act::AskOutside,
            42 => Act::CallFailed,
            43 => Act::CallByNext,
            44 => Act::HelpIn(
                Millis(self.chance.below(900_000) as i64),
                Teller::Dispatcher,
            ),
            45 => Act::TiedOff,
            46 => Act::RefuseCare,
            47 => Act::HandOver(1 + self.chance.below(2) as u16, CareTaker::Ambulance),
            48 => Act::Note(Note::ReliefStraps),
            49 => Act::KitGone {
                kit: "ladder".to_owned(),
                station: "c".to_owned(),
                by: None,
            },
            50 => Act::Speak(if self.chance.one_in(2) {
                Language::Spanish
            } else {
                Language::English
            }),
            51..=53 => Act::EntryMet(self.chance.below(6) as usize),
            54 => Act::GroundHeld,
            55..=58 => Act::Said(
                to_say(&self.engine.state().facts)
                    .map(|it| it.orders)
                    .unwrap_or_default(),
            ),
            59 => Act::Responder(person, Report::Heard),
            60 => Act::Responder(person, Report::OnTheWay),
            61 => Act::Responder(person, Report::Late),
            62 => Act::Responder(person, Report::Lost),
            63 => Act::Responder(person, Report::Hurt),
            64 => Act::BlockWay(
                ["silo-hoist", "silo-stair"][self.chance.below(2) as usize].to_owned(),
            ),
            65 => Act::OpenWay("silo-hoist".to_owned()),
            _ => Act::GoStraight(method.unwrap_or_default()),
        };
        self.take(Input::Tap(Tap::Do(act)));
    }

    fn undo(&mut self) {
        if let Some(undo) = self.engine.state().facts.undo.clone() {
            self.take(Input::Tap(Tap::Undo { cause: undo.cause }));
        }
    }

    fn deliver_late(&mut self) {
        for input in std::mem::take(&mut self.late) {
            self.take(input);
        }
    }

    fn step_wall_clock(&mut self) {
        self.tally.clock_steps += 1;
        self.now.wall_ms += self.chance.below(8_000_000) as i64 - 4_000_000;
    }

    fn break_disk(&mut self) {
        let call = self.disk.calls() + 1 + self.chance.below(6) as usize;
        self.disk.fail(match self.chance.below(4) {
            0 => Fault::From(call),
            1 => Fault::FolderFrom(call, folders().remove(0)),
            2 => Fault::EverySync,
            _ => Fault::Once(call),
        });
    }

    fn take(&mut self, input: Input) {
        let mut queue = vec![input];
        while let Some(input) = queue.pop() {
            let before = self.engine.state().log.len();
            let effects = self.engine.handle(input, &self.now);
            let log = &self.engine.state().log;
            let new: Vec<Record> = log
                .iter()
                .skip(before.min(log.len()))
                .map(|r| Record::clone(r))
                .collect();
            for effect in effects {
                queue.extend(self.carry_out(effect));
            }
            self.check(&new);
        }
    }

    fn carry_out(&mut self, effect: Effect) -> Option<Input> {
        match effect {
            Effect::Open { incident } => {
                self.writer = Some(
                    Writer::create(Arc::new(self.disk.clone()), folders(), &incident)
                        .expect("the id is fit"),
                );
                self.incident = Some(incident);
                self.handed.clear();
                self.acknowledged = None;
                None
            }
            Effect::Append(entries) => {
                self.handed.extend(entries.iter().cloned());
                let incident = self.incident.clone().expect("a journal is open");
                match self
                    .writer
                    .as_mut()
                    .expect("a journal is open")
                    .append(&entries)
                {
                    Ok(Some(saved)) => {
                        self.acknowledged = Some(saved.seq);
                        Some(Input::Journal(JournalReport::Saved {
                            incident,
                            seq: saved.seq,
                            head: saved.head,
                        }))
                    }
                    Ok(None) => None,
                    Err(why) => {
                        self.tally.failed_syncs += 1;
                        Some(Input::Journal(JournalReport::Failing {
                            incident,
                            why: why.0,
                        }))
                    }
                }
            }
            Effect::Forecast { basis, plan } => {
                let input = outlook(&plan, &basis, Depth::ROUGH).map(|forecast| Input::Forecast {
                    basis: Box::new(basis),
                    forecast,
                });
                if self.chance.one_in(2) {
                    input
                } else {
                    self.late.extend(input);
                    None
                }
            }
            Effect::Close => {
                // A closing that fails is tried again by the thread; here the crash finds it open.
                let _ = self.writer.as_mut().map(Writer::close);
                None
            }
            _ => None,
        }
    }

    /// The program dies, perhaps the machine too; what was called saved is there, and the incident goes on.
    fn crash(&mut self) {
        self.tally.crashes += 1;
        let Some(incident) = self.incident.clone() else {
            return;
        };
        self.writer = None;
        self.late.clear();
        if self.chance.one_in(2) {
            let tear = self.some_tear();
            self.disk = self.disk.after_power_cut(tear);
            if self.chance.one_in(2) {
                self.tally.reboots += 1;
                let away = self.chance.below(120_000) as i64;
                self.now.wall_ms += away;
                self.now.boot_ms = 2_000;
                self.now.boot_id = format!("boot-{}", self.tally.reboots).into();
            }
        }
        self.disk.heal();
        let disk = Arc::new(self.disk.clone());
        let (writer, found) = match Writer::resume(disk, folders(), &incident) {
            Ok(resumed) => resumed,
            Err(_) => {
                assert_eq!(self.acknowledged, None, "a saved incident has a file");
                self.engine = Engine::new(self.plan.clone(), true);
                self.hang();
                return;
            }
        };
        assert!(
            found.problems.is_empty(),
            "a crash is no alteration: {:?}",
            found.problems
        );
        self.tally.torn += found.torn().count() as u64;
        let records: Vec<Record> = found
            .records
            .iter()
            .map(|r| Record::from_json(&r.text).expect("it was written by us"))
            .collect();
        if let Some(saved) = self.acknowledged {
            assert!(
                records.len() as u64 > saved,
                "records up to {saved} were called saved, {} are here",
                records.len()
            );
        }
        for (record, entry) in records.iter().zip(&self.handed) {
            assert_eq!(
                record.to_json(),
                entry.json,
                "what is read back is what was handed over"
            );
        }
        if records.is_empty() {
            self.engine = Engine::new(self.plan.clone(), true);
            self.hang();
            return;
        }
        let over = records
            .iter()
            .any(|r| matches!(r.event, Event::StoodDown {}));
        self.handed.truncate(records.len());
        self.writer = Some(writer);
        // The clock goes on from what the record says, which may lie a little before what was shown.
        self.elapsed.clear();
        let (engine, effects) = if over {
            (Engine::new(self.plan.clone(), true), Vec::new())
        } else {
            Engine::resume(self.plan.clone(), true, records, &self.now, 2_000)
        };
        self.engine = engine;
        if over {
            self.hang();
            return;
        }
        for effect in effects {
            if let Some(input) = self.carry_out(effect) {
                self.take(input);
            }
        }
        self.check(&[]);
    }

    fn some_tear(&mut self) -> Tear {
        let cut = self.chance.below(self.disk.unsynced_bytes() as u64 + 1) as usize;
        match self.chance.below(3) {
            0 => Tear::Nothing,
            1 => Tear::LastWriteTo(cut),
            _ => Tear::Sectors(self.chance.next()),
        }
    }

    fn check(&mut self, new: &[Record]) {
        let state = self.engine.state();
        let facts = &state.facts;
        if facts.opened.is_none() {
            return;
        }
        for record in new {
            match &record.event {
                Event::Corrected { .. } => self.tally.corrections += 1,
                Event::OffHarness {} => self.tally.released += 1,
                Event::DangerCalled {} => self.tally.dangers += 1,
                Event::MethodChanged { .. } => self.tally.changes += 1,
                Event::CasualtyAdded { rescuer: false, .. } => self.tally.casualties += 1,
                Event::CasualtyAdded { rescuer: true, .. } => self.tally.rescuers_down += 1,
                Event::TiedOff { .. } => self.tally.ties += 1,
                Event::StopCalled { .. } => self.tally.stops += 1,
                Event::WentOn { .. } => self.tally.went_on += 1,
                Event::CommandNamed { .. } => self.tally.commands += 1,
                Event::OutsideTookOver {} => self.tally.outside += 1,
                Event::CameDue { .. } => self.tally.lapses += 1,
                Event::OrderWithdrawn { .. } => self.tally.withdrawn += 1,
                Event::OrderGiven { instead, .. } | Event::TaskGiven { instead, .. } => {
                    self.tally.ordered += 1;
                    self.tally.changed_orders += u64::from(!instead.is_empty());
                }
                Event::EntryConditionMet { .. } => self.tally.entries += 1,
                Event::HandedOver { .. } => self.tally.handovers += 1,
                _ => {}
            }
        }
        // Replay equals live, from the very bytes that were handed to the journal.
        if self.chance.one_in(40) {
            let records = self
                .handed
                .iter()
                .map(|e| Record::from_json(&e.json).expect("it was written by us"));
            assert_eq!(State::replay(records).facts, *facts, "replay equals live");
        }
        // Elapsed time never runs backwards, for no casualty, except where somebody said that it was wrong.
        let at = facts.line.at(&self.now);
        let set_by_hand = new.iter().any(|r| {
            matches!(
                r.event,
                Event::FallTimeSet { .. }
                    | Event::Corrected { .. }
                    | Event::CasualtyAdded { .. }
                    | Event::Opened(_)
            )
        });
        for case in facts.cases() {
            let elapsed = case.since_fall(at).0;
            let before = self.elapsed.insert(case.number, elapsed);
            assert!(
                before.is_none_or(|before| elapsed >= before) || set_by_hand,
                "the time of {} went from {before:?} to {elapsed}",
                case.number
            );
        }
        // One prompt, as recorded, with a way forward.
        let asked = prompt(facts, facts.line.reached_at()).expect("an incident has a prompt");
        let shown = facts.shown.as_ref().expect("a prompt is shown");
        assert_eq!(
            (shown.message.as_str(), &shown.args),
            (asked.message.id.as_str(), &asked.message.args)
        );
        assert!(
            asked.choices().next().is_some(),
            "a way forward from {shown:?}"
        );
        let text = asked.message.text(Language::English);
        // No text is missing in any language, and a prompt has at most nine words in each.
        for language in Language::ALL_SPOKEN {
            let text = asked.message.text(language);
            assert!(!text.contains('{') && !text.trim().is_empty(), "{text}");
            assert!(text.split_whitespace().count() <= 9, "`{text}` is too long");
            let lines = asked.lines.iter().chain(&asked.caution);
            let said = asked.choices().map(|c| &c.label);
            for line in lines.chain(said) {
                let text = line.text(language);
                assert!(!text.contains('{') && !text.trim().is_empty(), "{line:?}");
            }
        }
        assert!(
            Id::PROMPTS.contains(&asked.message.id),
            "{:?}",
            asked.message.id
        );
        if !facts.is_open() {
            return;
        }
        self.check_rules(facts, &asked, new);
        let unprompted = self.unprompted(new);
        self.tally.unprompted += unprompted;
        // Danger stands before everything.
        assert_eq!(facts.danger.is_some(), shown.message == "danger");
        // Nobody is ordered near before it is safe.
        let is_step = |act: &Act| *act == Act::StepDone;
        let steps =
            asked.main.as_ref().is_some_and(|c| is_step(&c.act)) && facts.casualty().off.is_none();
        if let (true, Some((_, _, step))) = (steps, facts.step()) {
            let near = step.near || step.exposed || step.committed || step.milestone.is_some();
            assert!(
                !near || facts.may_go_near(),
                "`{text}` goes near before it is safe"
            );
        }
        // No prompt asks to change while committed, and none offers a third minute.
        assert!(!(shown.message == "change-to" && facts.committed()));
        assert!(facts.running().as_ref().is_none_or(|r| r.more <= 2));
        // The first prompt makes safe; the call is among the first two unless danger, release or closing came between.
        let first: Vec<&str> = state
            .log
            .iter()
            .filter_map(|r| {
                if let Event::PromptShown { message, .. } = &r.event {
                    Some(message.as_str())
                } else {
                    None
                }
            })
            .take(2)
            .collect();
        assert!(
            matches!(first.first(), Some(&"safe-to-go-near")),
            "{first:?}"
        );
        let is_new = new
            .iter()
            .any(|r| matches!(r.event, Event::PromptShown { number: 2, .. }));
        if let Some(second) = first.get(1).filter(|_| is_new) {
            assert!(
                second.starts_with("call-")
                    || [
                        "danger",
                        "close-nobody-hanging",
                        "safe-to-go-near",
                        "care-safe-here",
                        "brief-title",
                        "who-commands",
                        "outside-leads",
                        "close-counted"
                    ]
                    .contains(second)
                    || facts.call.confirmed.is_some(),
                "the second prompt was {second}"
            );
        }
    }
}

impl World {
    /// Whoever is ordered may hold the role, brings a piece that is there, and is sent over ways that are open.
    fn check_orders(&self, facts: &Facts, new: &[Record]) {
        let plan = &facts.opened.as_ref().expect("it is open").plan;
        for order in &facts.orders {
            let posting = &order.posting;
            let person = plan.responder(&posting.responder).expect("of the plan");
            let case = facts.case_of(order.casualty);
            let method = case.method(&order.method);
            let role = method.and_then(|it| it.role(&posting.role));
            let needed = role.and_then(|it| it.qualification.as_ref());
            assert!(
                needed.is_none_or(|it| person.holds(it)),
                "{} has no {needed:?} and is ordered",
                person.id
            );
            if let (Some(station), Some(kit)) = (&posting.station, &posting.kit) {
                let kept = plan.station(station).expect("of the plan");
                let item = kept.kit.iter().find(|it| it.name == *kit);
                let item = item.expect("it is kept there");
                let same = facts.orders.iter().filter(|it| {
                    it.posting.station.as_ref() == Some(station)
                        && it.posting.kit.as_ref() == Some(kit)
                });
                let asked = same.count();
                assert!(
                    asked <= item.count as usize,
                    "{asked} are to bring {kit}, of which there are {}",
                    item.count
                );
                assert!(item.in_service(), "{kit} is out of service");
            }
        }
        for record in new {
            let (Event::OrderGiven { posting, .. } | Event::TaskGiven { posting, .. }) =
                &record.event
            else {
                continue;
            };
            if let (Some(last), false) = (posting.way.last(), facts.blocked.is_empty()) {
                assert_eq!(last.0, posting.place, "the way ends where the order does");
                for pair in posting.way.windows(2) {
                    let between = plan.links.iter().filter(|it| {
                        [&it.from, &it.to] == [&pair[0].0, &pair[1].0]
                            || [&it.to, &it.from] == [&pair[0].0, &pair[1].0]
                    });
                    let mut open =
                        between.filter(|it| it.closed.is_none() && !facts.blocked.contains(&it.id));
                    assert!(
                        open.next().is_some() || pair[0].0 == pair[1].0,
                        "sent from {} to {}, where nobody passes",
                        pair[0].0,
                        pair[1].0
                    );
                }
            }
        }
        // What is to be said is short enough, and about orders that stand.
        if let Some(words) = to_say(facts) {
            for language in Language::ALL_SPOKEN {
                let text = words.text(language);
                assert!(!text.contains('{') && !text.trim().is_empty(), "{text}");
            }
            let opened = facts.opened.as_ref().expect("it is open");
            let text = words.text(opened.language);
            let long = text.split_whitespace().count() > 20;
            assert!(
                !long || words.orders.len() <= 1,
                "`{text}` has more than twenty words"
            );
        }
    }

    /// How many orders changed although nothing was reported, nothing came due, and nobody was sent beside the methods who may
    /// have stood ready for one: only because a crew was found that is worth more.
    fn unprompted(&self, new: &[Record]) -> u64 {
        let reason = |record: &Record| {
            !matches!(
                record.event,
                Event::OrderGiven { .. }
                    | Event::OrderWithdrawn { .. }
                    | Event::ForecastAdopted { .. }
                    | Event::PromptShown { .. }
                    | Event::ClockMarked {}
                    | Event::WordsSaid { .. }
                    | Event::OrdersUnanswered { .. }
            )
        };
        let log = &self.engine.state().log;
        let mut count = 0;
        for record in new {
            let (Event::OrderGiven { instead, .. } | Event::TaskGiven { instead, .. }) =
                &record.event
            else {
                continue;
            };
            let Some(before) = instead.first() else {
                continue;
            };
            let given = log.iter().rev().find(|it| match &it.event {
                Event::OrderGiven { posting, .. } | Event::TaskGiven { posting, .. } => {
                    it.seq < record.seq && *posting == before.posting
                }
                _ => false,
            });
            // What was reported since the numbers from which that order came is a reason too.
            let given = given.map_or(0, |it| it.seq);
            let mut numbers = log.iter().rev().filter(|it| it.seq <= given);
            let numbers = numbers.find(|it| matches!(it.event, Event::ForecastAdopted { .. }));
            let since = numbers.map_or(0, |it| it.seq);
            let mut between = log
                .iter()
                .filter(|it| it.seq > since && it.seq < record.seq);
            count += u64::from(!between.any(|it| reason(it)));
        }
        count
    }

    /// The rules that need more than one line.
    fn check_rules(&self, facts: &Facts, asked: &Prompt, new: &[Record]) {
        let text = asked.message.text(Language::English);
        let case = facts.case();
        // Rule 11: nobody who hangs, may hang or cannot is on an order, calls, or is named by a prompt; nobody is on two.
        let hang = facts.may_hang();
        let mut ordered: Vec<&String> = facts
            .orders
            .iter()
            .map(|it| &it.posting.responder)
            .collect();
        ordered.extend(facts.caller());
        for id in &ordered {
            assert!(!hang.contains(id), "{id} may hang and is ordered; `{text}`");
            assert!(!facts.cannot.contains(id), "{id} cannot and is ordered");
        }
        let mut once: Vec<&String> = facts
            .orders
            .iter()
            .map(|it| &it.posting.responder)
            .collect();
        once.sort();
        once.dedup();
        assert_eq!(once.len(), facts.orders.len(), "somebody is on two orders");
        self.check_orders(facts, new);
        let by_name = [
            Id::StepBy,
            Id::HazardTaskBy,
            Id::CallBy,
            Id::TieBy,
            Id::AskCasualtyBy,
            Id::CareLayFlatBy,
        ];
        if by_name.contains(&asked.message.id) {
            let names: Vec<&str> = hang.iter().map(|id| facts.name(id)).collect();
            assert!(
                !names.contains(&asked.message.args[0].as_str()),
                "`{text}` orders somebody who may hang"
            );
        }
        // Rules 2 and 9: an exposed step only when it is safe, tied off and checked; an entry only with its conditions.
        let asks_step = asked.main.as_ref().is_some_and(|c| c.act == Act::StepDone);
        let hangs = case.casualty.off.is_none();
        if let (true, Some((running, method, step))) = (asks_step, case.step()) {
            let role = case.role(running, method, step);
            let own = running
                .fallback
                .and_then(|f| step.fallback.get(f))
                .is_none();
            if step.exposed && own {
                let tied = running.tied.is_some_and(|(at, _)| at == running.step);
                assert!(tied, "`{text}` exposes somebody who is not tied off");
            }
            if let Some(space) = case.position().and_then(|p| p.confined_space.as_ref())
                && role.is_some_and(|it| it.enters)
                && (step.near || step.committed)
            {
                assert_eq!(running.entry.len(), space.conditions.len(), "`{text}`");
            }
            assert!(
                !running.held,
                "`{text}` goes on although something stopped it"
            );
            assert!(
                facts.outside.leads.is_none() || !hangs,
                "`{text}` while outside leads"
            );
            assert!(running.securing.is_none(), "`{text}` before it is secured");
        }
        if asked.main.as_ref().is_some_and(|c| c.act == Act::TiedOff) && hangs {
            assert!(facts.may_go_near(), "`{text}` before it is safe");
        }
        // Rule 8: what cannot work is not begun.
        let started = new.iter().rev().find_map(|r| match &r.event {
            Event::MethodStarted { method, .. } => Some((r.casualty, method)),
            _ => None,
        });
        if let Some((number, method)) = started {
            let case = facts.case_of(number);
            let runs = case
                .casualty
                .running
                .as_ref()
                .is_some_and(|r| r.method == *method);
            if let (true, Some(method)) = (runs, case.method(method)) {
                assert!(!case.verdict(method).is_out(), "{} was begun", method.id);
            }
        }
        // Rule 5: the worst stays the worst; nobody who does not answer is asked to help themselves.
        for case in facts.cases() {
            let now = case.casualty.condition.map(|it| it.0);
            assert!(case.casualty.worst >= now);
        }
        // Rule 10: the one worked on exists, and each has a clock of their own.
        assert!(facts.focus < facts.casualties.len().max(1));
        // The clock stands still off the harness and nowhere else.
        let (now, later) = (Millis(1_000_000_000), Millis(1_000_060_000));
        for case in facts.cases() {
            let counts = case.hanging(later) > case.hanging(now);
            assert_eq!(counts, case.casualty.off.is_none());
        }
    }
}

/// A run of the simulator's own parts on the demo site, so that a broken desk is found before a broken rescue.
#[test]
fn the_simulators_desk_plays_the_demo_site() {
    let mut desk = Desk::demo();
    desk.hang(Some("silo3"));
    desk.answer_until("Is it safe here for everybody?");
    desk.assert_replays();
}
