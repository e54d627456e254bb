//! Lives the life of one tablet: shifts, incidents, crashes, broken disks and clocks, over the production engine and the
//! production journal writer, with everything outside them simulated.
//!
//! One seed is one life of several incidents; everything in it follows from the seed, so any failure can be repeated. What
//! must hold after every input stands in `rules`.

use super::machine::Machine;
use super::tally::{Met, Tally};
use crate::record::lying::LyingDisk;
use crate::support::odd::odd_plan_toml;
use crate::support::plans::plan_toml;
use crate::support::{Chance, day};
use groundward::engine::Engine;
use groundward::incident::{
    Act, Exercise, Hanging, Inject, LIVE_HANG_MAX, OtherWork, Pick, Record,
};
use groundward::journal::read;
use groundward::journal::writer::Writer;
use groundward::signal::{Entry, Input, Kept, LoadedPlan, Prepare, Tap};
use groundward::units::Millis;
use std::collections::{BTreeMap, VecDeque};
use std::path::PathBuf;
use std::sync::LazyLock;

/// A real forecast costs what a hundred invented ones do, so that only some lives get them.
const REAL_LIVES_ONE_IN: u64 = 20;

/// One tablet, its crew and its surroundings.
pub(super) struct World {
    pub(super) chance: Chance,
    pub(super) engine: Engine,
    pub(super) machine: Machine,
    /// The plan on standby.
    pub(super) plan: LoadedPlan,
    pub(super) tally: Tally,
    /// True where forecasts are computed and not invented.
    pub(super) real: bool,
    pub(super) handed: Vec<Handed>,
    /// The last record that the writer called durable.
    pub(super) acknowledged: Option<u64>,
    /// Time since the fall as last shown, by casualty.
    pub(super) elapsed: BTreeMap<u16, i64>,
    pub(super) truth: Truth,
    pub(super) trace: bool,
    pub(super) crew: Crew,
    pub(super) disk: LyingDisk,
    pub(super) writer: Option<Writer>,
    pub(super) incident: Option<String>,
    /// Records that the journal's thread has not come to yet.
    pub(super) waiting: Vec<Entry>,
    /// What the journal said and nobody was told yet, in its order.
    pub(super) reports: VecDeque<Input>,
    /// Answers that are still being computed.
    pub(super) late: Vec<Input>,
    /// Touches that are still on their way.
    pub(super) fingers: Vec<Tap>,
    pub(super) kept: Kept,
    pub(super) store_works: bool,
    pub(super) boots_in_incident: u64,
}

/// A record handed to the journal, and what was true then.
pub(super) struct Handed {
    pub(super) entry: Entry,
    pub(super) true_ms: i64,
    pub(super) wall_error: i64,
    pub(super) shown_error: i64,
    pub(super) at_least: bool,
}

/// What the time line of the running incident should show, from what really happened.
#[derive(Clone, Copy, Default)]
pub(super) struct Truth {
    /// When the incident was activated.
    pub(super) began_ms: i64,
    /// By how much the time shown is ahead of the truth: nothing while the machine runs, the wall clock's own error where
    /// that was believed over a restart.
    pub(super) error_ms: i64,
    /// True once only a lower bound is shown.
    pub(super) at_least: bool,
}

/// What a crew is like.
#[derive(Clone, Copy)]
pub(super) struct Crew {
    /// So many answers to the prompt for each other move.
    pub(super) answers: u64,
    /// So many crashes and broken disks.
    pub(super) faults: u64,
    /// Adds casualties by the dozen.
    pub(super) disaster: bool,
}

pub(super) fn folders() -> Vec<PathBuf> {
    vec![PathBuf::from("journals"), PathBuf::from("fallback")]
}

fn load(text: &str) -> LoadedPlan {
    LoadedPlan::choose(Some(("plan.toml", text.as_bytes())), None, None, day())
}

/// The grain terminal.
pub(super) fn demo() -> LoadedPlan {
    load(groundward::plan::DEMO)
}

pub(super) fn some_plan(chance: &mut Chance) -> LoadedPlan {
    static BUILT_IN: LazyLock<[LoadedPlan; 3]> = LazyLock::new(|| {
        use groundward::plan::{BARE, DEMO, DEMO_BRIDGE};
        [load(DEMO), load(DEMO_BRIDGE), load(BARE)]
    });
    let plan = match chance.below(12) {
        kind @ 0..=2 => BUILT_IN[kind as usize].clone(),
        3..=5 => load(&plan_toml(chance.next())),
        _ => load(&odd_plan_toml(chance.next())),
    };
    assert!(plan.in_use.refused.is_none(), "{:?}", plan.in_use.refused);
    plan
}

/// A plan file that was damaged, with or without an older one that is fit.
fn refused_plan(chance: &mut Chance, last_fit: &LoadedPlan) -> LoadedPlan {
    let whole = &last_fit.text;
    let mut cut = chance.below(whole.len() as u64) as usize;
    while !whole.is_char_boundary(cut) {
        cut -= 1;
    }
    let broken = format!("{}\n[site\n", &whole[..cut]);
    let last = ("last.toml", whole.as_bytes());
    let last = (!chance.one_in(3)).then_some(last);
    let plan = LoadedPlan::choose(Some(("plan.toml", broken.as_bytes())), last, None, day());
    assert!(plan.in_use.refused.is_some(), "a broken file is refused");
    plan
}

impl World {
    pub(super) fn new(seed: u64) -> World {
        let mut chance = Chance(seed);
        let plan = some_plan(&mut chance);
        let mut machine = Machine::new(&mut chance);
        let disk = LyingDisk::default();
        disk.reserve(chance.among(&[2_048, 4_096, 32_768]));
        let mut tally = Tally::default();
        machine.tick(1, &mut tally);
        World {
            engine: Engine::new(plan.clone(), chance.one_in(2)),
            real: chance.one_in(REAL_LIVES_ONE_IN),
            crew: Crew {
                answers: chance.among(&[1, 3, 6]),
                faults: chance.among(&[0, 1, 1, 3]),
                disaster: chance.one_in(150),
            },
            store_works: !chance.one_in(3),
            chance,
            machine,
            plan,
            tally,
            disk,
            handed: Vec::new(),
            acknowledged: None,
            elapsed: BTreeMap::new(),
            truth: Truth::default(),
            trace: std::env::var_os("GROUNDWARD_TRACE").is_some(),
            writer: None,
            incident: None,
            waiting: Vec::new(),
            reports: VecDeque::new(),
            late: Vec::new(),
            fingers: Vec::new(),
            kept: Kept::default(),
            boots_in_incident: 0,
        }
    }

    pub(super) fn live(mut self) -> Tally {
        self.open_store();
        for _ in 0..1 + self.chance.below(10) {
            self.stand_by();
            self.hang();
            let moves = match self.chance.below(20) {
                0..=10 => 2 + self.chance.below(12),
                11..=18 => 8 + self.chance.below(40),
                _ => 40 + self.chance.below(160),
            };
            if self.crew.disaster {
                self.add_many();
            }
            for _ in 0..moves {
                self.make_a_move();
                if !self.is_open() {
                    break;
                }
            }
            self.finish();
            self.hand_out();
        }
        self.tally
    }

    pub(super) fn is_open(&self) -> bool {
        self.engine.state().facts.is_open()
    }

    /// What was kept comes from the store, or why it does not.
    pub(super) fn open_store(&mut self) {
        let kept = match self.chance.below(4) {
            _ if !self.store_works => {
                self.tally.meet(Met::StoresMissing);
                Err("the store does not open".to_owned())
            }
            // It hangs, and nobody ever hears of it.
            0 => return,
            _ => {
                self.tally.meet(Met::StoresRead);
                Ok(self.kept.clone())
            }
        };
        self.take(Input::Kept(kept));
    }

    fn stand_by(&mut self) {
        if self.chance.one_in(3) {
            for _ in 0..self.chance.below(6) {
                let tap = self.some_tap();
                if !matches!(tap, Tap::Activate { .. } | Tap::BeginDrill) {
                    self.take(Input::Tap(tap));
                }
            }
        }
        if self.chance.one_in(8) {
            self.swap_plan();
        }
    }

    pub(super) fn swap_plan(&mut self) {
        let plan = if self.chance.one_in(3) {
            self.tally.meet(Met::RefusedPlans);
            refused_plan(&mut self.chance, &self.plan)
        } else {
            self.tally.meet(Met::SwappedPlans);
            some_plan(&mut self.chance)
        };
        self.plan = plan.clone();
        self.take(Input::Plan(Box::new(plan)));
    }

    /// Somebody hangs. Whatever the state of the tablet, this works.
    fn hang(&mut self) {
        let positions = &self.plan.in_use.plan.positions;
        let ids: Vec<String> = positions.iter().map(|it| it.id.clone()).collect();
        let position = match self.chance.below(4) {
            0 => None,
            1 if self.chance.one_in(8) => Some("none-such".to_owned()),
            _ => ids
                .get(self.chance.below(ids.len().max(1) as u64) as usize)
                .cloned(),
        };
        self.machine.tick(1_500, &mut self.tally);
        self.elapsed.clear();
        self.boots_in_incident = 0;
        if self.chance.one_in(3) {
            self.begin_drill();
        }
        if !self.is_open() {
            self.take(Input::Tap(Tap::Activate { position }));
        }
        assert!(self.is_open(), "activation always works");
        self.tally.meet(Met::Activations);
        let opened = self.engine.state().facts.opened.as_ref();
        if opened.is_some_and(|it| !it.visitors.is_empty()) {
            self.tally.meet(Met::Visitors);
        }
    }

    /// A drill is prepared, by somebody who knows how or by halves, and begun.
    fn begin_drill(&mut self) {
        for _ in 0..self.chance.below(12) {
            let what = self.some_preparation();
            self.take(Input::Tap(Tap::Prepare(what)));
        }
        if self.chance.one_in(2) {
            // Everything that a living person needs.
            let watcher = self.plan.in_use.plan.responders.first();
            let watcher = watcher.map(|it| Prepare::Watcher(it.id.clone()));
            let all = [
                Prepare::Live,
                Prepare::SecondLine(true),
                Prepare::CanStand(true),
                Prepare::Limit(Millis(150_000)),
                Prepare::Others(OtherWork::Stopped),
            ];
            for what in all.into_iter().chain(watcher) {
                self.take(Input::Tap(Tap::Prepare(what)));
            }
        }
        let prepared = self.engine.snapshot(&self.machine.now).prepared;
        self.take(Input::Tap(Tap::BeginDrill));
        if self.is_open() {
            let opened = self.engine.state().facts.opened.as_ref();
            let exercise = opened.and_then(|it| it.exercise.clone());
            assert_eq!(exercise.as_deref(), Some(&prepared.exercise));
            check_guards(&prepared.exercise);
        }
    }

    fn add_many(&mut self) {
        for _ in 0..20 + self.chance.below(30) {
            self.take(Input::Tap(Tap::Do(Act::AddCasualty)));
        }
        if self.is_open() && self.engine.state().facts.casualties.len() > 20 {
            self.tally.meet(Met::ManyCasualties);
        }
    }
    /// Ends the incident, properly or not, and looks at what its journal holds.
    fn finish(&mut self) {
        if self.is_open() && self.chance.one_in(2) {
            self.close();
        }
        self.look_back();
        let closed = self.engine.state().facts.stood_down.is_some();
        if closed {
            self.tally.meet(Met::Closed);
            self.disk.heal();
            let _ = self.write();
            let written = self.writer.as_mut().map(Writer::close);
            if let (Some(Ok(_)), Some(incident)) = (written, &self.incident) {
                let found = read::read(&self.disk, &folders(), incident).expect("it has a file");
                assert!(found.problems.is_empty(), "{:?}", found.problems);
                assert!(found.closed, "a closed journal says so");
                assert_eq!(found.records.len(), self.handed.len());
            }
            if !self.chance.one_in(5) {
                self.take(Input::Tap(Tap::Do(Act::Leave)));
            }
        } else {
            // Whatever happened, a healed disk holds everything that was said to be saved.
            self.tally.meet(Met::Abandoned);
            if self.chance.one_in(2) {
                self.disk.heal();
                self.crash();
            }
            self.start_over();
        }
        if !self.chance.one_in(4) {
            self.disk = LyingDisk::default();
            self.disk
                .reserve(self.chance.among(&[2_048, 4_096, 32_768]));
        }
        self.incident = None;
        self.writer = None;
    }

    /// Some incidents are drawn along their line of time; which, nothing else depends on.
    fn look_back(&self) {
        let log = &self.engine.state().log;
        if log.len().is_multiple_of(8) {
            let records: Vec<Record> = log.iter().map(|it| Record::clone(it)).collect();
            crate::timeline::holds(&records);
        }
    }

    /// Answers until the incident is over, as a crew does that wants to go home.
    fn close(&mut self) {
        self.take(Input::Tap(Tap::Do(Act::DangerOver(None))));
        self.take(Input::Tap(Tap::Do(Act::NameCommand(None))));
        self.take(Input::Tap(Tap::Do(Act::BeginClosing)));
        let most = 60 + 2 * self.engine.state().facts.casualties.len();
        for _ in 0..most {
            if !self.is_open() {
                return;
            }
            let prompt = self.prompt();
            let pick = match prompt.main {
                Some(_) => Pick::Main,
                None => Pick::Option(0),
            };
            let number = self.engine.state().facts.shown.as_ref();
            let number = number.expect("a prompt is shown").number;
            self.machine.tick(600, &mut self.tally);
            self.take(Input::Tap(Tap::Answer {
                prompt: number,
                pick,
            }));
        }
        panic!(
            "{most} answers, and the incident is not over: {:?}",
            self.prompt()
        );
    }
}

/// Nobody living hangs in a drill without what guards them, and nothing in it is for a manikin only.
fn check_guards(exercise: &Exercise) {
    assert!(exercise.others.is_some());
    let Hanging::Live(guards) = &exercise.hanging else {
        return;
    };
    assert!(guards.second_line && guards.can_stand && guards.watcher.is_some());
    assert!(guards.limit > Millis::ZERO && guards.limit <= LIVE_HANG_MAX);
    let motionless =
        |it: &Inject| matches!(it, Inject::StopsAnswering {} | Inject::SecondCasualty {});
    assert!(!exercise.surprises.iter().any(|it| motionless(&it.inject)));
}
