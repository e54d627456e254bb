//! Keeps a fault inside the program from ending a rescue.
//!
//! A mistake in this program that stops its thread would leave a crew with a dead tablet. So every input is taken with a
//! way back: where something panics, what is known is folded again from the records made before, the input is dropped,
//! and the screen says that something failed. Nothing is lost by that, because what was recorded is handed out only when
//! all of an input went well. An activation is tried once more with the generic plan, because it always works.
//!
//! Limits: an input that fails every time does nothing every time; the clock, the call and every other touch go on.

use super::Engine;
use crate::incident::{Moment, Record, State};
use crate::signal::{Effect, Input, LoadedPlan, Tap};
use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};

impl Engine {
    /// Takes one input as [`Engine::handle`] does, and survives where that does not.
    pub fn handle_guarded(&mut self, input: Input, now: &Moment) -> Vec<Effect> {
        self.attempt(input, now, Engine::handle)
    }

    /// Takes one input in the given way, and survives where that panics.
    pub fn attempt(
        &mut self,
        input: Input,
        now: &Moment,
        take: impl Fn(&mut Engine, Input, &Moment) -> Vec<Effect>,
    ) -> Vec<Effect> {
        let activates = matches!(input, Input::Tap(Tap::Activate { .. }));
        let effects = self.guarded(|engine| take(engine, input, now));
        if effects.is_some() || !activates || self.state.facts.is_open() {
            return effects.unwrap_or_default();
        }
        let generic = LoadedPlan::choose(None, None, None, now.day());
        let asked = std::mem::replace(&mut self.plan, generic);
        let again = Input::Tap(Tap::Activate { position: None });
        let effects = self.guarded(|engine| take(engine, again, now));
        self.plan = asked;
        effects.unwrap_or_default()
    }

    /// Does some work on the engine; where that panics the engine is as before, but for the notice of it.
    pub fn guarded<T>(&mut self, work: impl FnOnce(&mut Engine) -> T) -> Option<T> {
        let log = self.state.log.clone();
        let (saving, resumed, marked) = (self.saving.clone(), self.resumed, self.marked);
        match catch_unwind(AssertUnwindSafe(|| work(self))) {
            Ok(done) => Some(done),
            Err(panic) => {
                let records = log.iter().map(|record| Record::clone(record));
                self.state = State::replay(records);
                (self.saving, self.resumed, self.marked) = (saving, resumed, marked);
                self.failed = Some((self.failures().saturating_add(1), what(&*panic)));
                None
            }
        }
    }

    /// How often something failed inside.
    pub fn failures(&self) -> u32 {
        self.failed.as_ref().map_or(0, |(times, _)| *times)
    }

    /// What failed inside last, for whoever maintains this program.
    pub fn failed_inside(&self) -> Option<&str> {
        self.failed.as_ref().map(|(_, what)| what.as_str())
    }
}

fn what(panic: &(dyn Any + Send)) -> String {
    let text = panic.downcast_ref::<&str>().map(|text| (*text).to_owned());
    let text = text.or_else(|| panic.downcast_ref::<String>().cloned());
    text.unwrap_or_else(|| "it said nothing".to_owned())
}
