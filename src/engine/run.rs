//! Drives an engine: one input at a time, all its effects before the next, awake when it has to be.

use super::Engine;
use crate::incident::Moment;
use crate::signal::{CLOCK_READ_MS_MAX, Effect, Input, Slot, Snapshot};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc::Receiver;

/// What carries out the effects of the engine.
pub trait Edges {
    /// Carries out one effect; never blocks for long.
    fn carry_out(&mut self, effect: Effect);
    /// Called after a snapshot was put into the slot; `tell` is true where the screen does not know of a new one yet.
    fn published(&mut self, snapshot: &Snapshot, tell: bool);
}

/// Drives an engine until `Stop` comes or every sender is gone.
pub async fn run(
    mut engine: Engine,
    first: Vec<Effect>,
    mut inputs: Receiver<Input>,
    slot: &Slot,
    read_clock: impl Fn() -> Moment,
    edges: &mut impl Edges,
) {
    for effect in first {
        edges.carry_out(effect);
    }
    let mut changed = true;
    loop {
        let now = read_clock();
        slot.beat(now.boot_ms);
        for effect in engine.guarded(|it| it.new_day(&now)).unwrap_or_default() {
            edges.carry_out(effect);
            changed = true;
        }
        changed |= engine.guarded(|it| it.shift_turned(&now)) == Some(true);
        if changed && let Some(snapshot) = engine.guarded(|it| it.snapshot(&now)) {
            let snapshot = Arc::new(snapshot);
            let tell = slot.put(snapshot.clone());
            edges.published(&snapshot, tell);
        }
        // tokio's timers stop while the machine is suspended, so no wait is longer than the clock may go unread.
        let wake = engine.guarded(|it| it.next_wake(&now)).flatten();
        let wait = wake.map_or(CLOCK_READ_MS_MAX, |wake| {
            u64::try_from(wake.0).unwrap_or(0).min(CLOCK_READ_MS_MAX)
        });
        let input = match tokio::time::timeout(Duration::from_millis(wait), inputs.recv()).await {
            Ok(Some(Input::Stop) | None) => return,
            Ok(Some(input)) => input,
            Err(_) => {
                changed = false;
                if wake.is_none() && !engine.state().facts.is_open() {
                    continue;
                }
                Input::Wake
            }
        };
        let woken = input == Input::Wake;
        let failed = engine.failures();
        let effects = engine.handle_guarded(input, &read_clock());
        changed = !woken || !effects.is_empty() || engine.failures() != failed;
        for effect in effects {
            edges.carry_out(effect);
        }
    }
}
