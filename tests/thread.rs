//! Drives the engine on its own thread, as a tablet does: nothing waits for an edge, answers of computations are inputs.

use crate::support::plans::plan_toml;
use groundward::clock::Clock;
use groundward::engine::{Edges, Engine, run};
use groundward::incident::{Act, Condition, Moment};
use groundward::readiness::{Depth, outlook};
use groundward::signal::LoadedPlan;
use groundward::signal::{Effect, INPUTS_MAX, Input, Slot, Snapshot, Tap};
use std::sync::Arc;
use std::sync::mpsc;
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{Sender, channel};

/// Edges that only take notes, and answer no forecast until they are told to.
struct Notes {
    effects: mpsc::Sender<Effect>,
    told: mpsc::Sender<()>,
}

impl Edges for Notes {
    fn carry_out(&mut self, effect: Effect) {
        self.effects.send(effect).expect("the test listens");
    }

    fn published(&mut self, _: &Snapshot, tell: bool) {
        if tell {
            self.told.send(()).expect("the test listens");
        }
    }
}

struct Tablet {
    inputs: Sender<Input>,
    slot: Arc<Slot>,
    effects: mpsc::Receiver<Effect>,
    told: mpsc::Receiver<()>,
    clock: Clock,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Tablet {
    fn start() -> Tablet {
        let text = plan_toml(3);
        let plan = LoadedPlan::choose(
            Some(("plan.toml", text.as_bytes())),
            None,
            None,
            crate::support::day(),
        );
        let (inputs, queue) = channel(INPUTS_MAX);
        let slot = Arc::new(Slot::default());
        let (effects, seen) = mpsc::channel();
        let (told, tellings) = mpsc::channel();
        let clock = Clock::new();
        let thread = std::thread::spawn({
            let (slot, clock) = (slot.clone(), clock.clone());
            move || {
                let runtime = tokio::runtime::Builder::new_current_thread()
                    .enable_time()
                    .build()
                    .expect("timers");
                let mut edges = Notes { effects, told };
                let read = move || -> Moment { clock.read() };
                runtime.block_on(run(
                    Engine::new(plan, true),
                    Vec::new(),
                    queue,
                    &slot,
                    read,
                    &mut edges,
                ));
            }
        });
        Tablet {
            inputs,
            slot,
            effects: seen,
            told: tellings,
            clock,
            thread: Some(thread),
        }
    }

    fn send(&self, input: Input) {
        self.inputs.blocking_send(input).expect("the engine lives");
    }

    /// Waits for a snapshot of which this is true.
    fn wait_for(&self, what: &str, holds: impl Fn(&Snapshot) -> bool) -> Arc<Snapshot> {
        let patience = Instant::now() + Duration::from_secs(20);
        while Instant::now() < patience {
            if let Some(snapshot) = self.slot.get().filter(|s| holds(s)) {
                return snapshot;
            }
            // The screen is told of a new snapshot; a short wait stands in for its own tick.
            let _ = self.told.recv_timeout(Duration::from_millis(20));
        }
        panic!("{what} never came");
    }
}

impl Drop for Tablet {
    fn drop(&mut self) {
        let _ = self.inputs.blocking_send(Input::Stop);
        if let Some(thread) = self.thread.take() {
            let ended = thread.join();
            assert!(
                ended.is_ok() || std::thread::panicking(),
                "the engine ends in good order"
            );
        }
    }
}

#[test]
fn a_rescue_goes_on_while_no_edge_answers() {
    let tablet = Tablet::start();
    let position = tablet.wait_for("standby", |_| true).plan.plan.positions[0]
        .id
        .clone();
    tablet.send(Input::Tap(Tap::Activate {
        position: Some(position),
    }));
    // No journal reports, no forecast comes: the prompt stands, and after the wait a method begins without a crew.
    tablet.wait_for("an incident", |s| s.facts.is_open());
    tablet.send(Input::Tap(Tap::Do(Act::Report(Condition::Talking))));
    let snapshot = tablet.wait_for("a method", |s| s.facts.running().is_some());
    assert!(snapshot.facts.casualty().forecast.is_none() && snapshot.facts.shown.is_some());
    assert!(
        matches!(snapshot.saved, groundward::signal::Saved::Saving(None)),
        "{:?}",
        snapshot.saved
    );
}

#[test]
fn the_answer_of_a_computation_is_an_input_and_a_stale_one_is_refused() {
    let tablet = Tablet::start();
    let standby = tablet.wait_for("standby", |_| true);
    let positions: Vec<String> = standby
        .plan
        .plan
        .positions
        .iter()
        .map(|p| p.id.clone())
        .collect();
    tablet.send(Input::Tap(Tap::Activate {
        position: Some(positions[0].clone()),
    }));
    let wanted = |tablet: &Tablet| loop {
        let effect = tablet
            .effects
            .recv_timeout(Duration::from_secs(20))
            .expect("a forecast is asked for");
        if let Effect::Forecast { basis, plan } = effect {
            let forecast =
                outlook(&plan, &basis, Depth::ROUGH).expect("the position is in the plan");
            break Input::Forecast {
                basis: Box::new(basis),
                forecast,
            };
        }
    };
    let stale = wanted(&tablet);
    tablet.send(Input::Tap(Tap::Do(Act::ChoosePosition(Some(
        positions[1].clone(),
    )))));
    let fresh = wanted(&tablet);
    tablet.send(stale);
    tablet.send(fresh);
    let snapshot = tablet.wait_for("a forecast", |s| s.facts.casualty().forecast.is_some());
    assert_eq!(
        snapshot
            .facts
            .casualty()
            .forecast
            .as_ref()
            .map(|f| f.position.as_str()),
        Some(positions[1].as_str())
    );
}

#[test]
fn the_heart_beats_on_standby_and_stops_with_the_engine() {
    let tablet = Tablet::start();
    tablet.wait_for("standby", |_| true);
    let beats: Vec<i64> = (0..4)
        .map(|_| {
            std::thread::sleep(Duration::from_millis(400));
            tablet.slot.last_beat_ms()
        })
        .collect();
    assert!(beats.windows(2).all(|w| w[1] > w[0]), "{beats:?}");
    let slot = tablet.slot.clone();
    let clock = tablet.clock.clone();
    drop(tablet);
    let stopped = slot.last_beat_ms();
    std::thread::sleep(Duration::from_millis(600));
    assert_eq!(slot.last_beat_ms(), stopped);
    assert!(clock.read().boot_ms - stopped >= 600);
}
