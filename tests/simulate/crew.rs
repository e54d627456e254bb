//! Moves the life on: what the crew does next, how time goes by, what breaks.
//!
//! A crew mostly answers the prompt. Between that it touches what it should not, twice or too late, waits, closes the lid;
//! and the machine, its disk and its clocks do what such things do.

use super::tally::Met;
use super::world::{World, folders};
use crate::record::lying::Fault;
use groundward::incident::{Pick, Prompt, prompt};
use groundward::signal::{Input, Tap};

impl World {
    pub(super) fn make_a_move(&mut self) {
        let (answers, faults) = (8 * self.crew.answers, 2 * self.crew.faults);
        let kinds = [
            (answers, World::answer as fn(&mut World)),
            (8, World::touch_beside),
            (7, World::pass),
            (2, World::double_tap),
            (2, World::undo),
            (3, World::deliver_late),
            (2, World::touch_late),
            (1, World::change_clock),
            (1, World::suspend),
            (1, World::touch_another_page),
            (1, World::write_again),
            (faults, World::break_disk),
            (faults, World::heal_disk),
            (faults, World::crash),
        ];
        let all: u64 = kinds.iter().map(|it| it.0).sum();
        let mut drawn = self.chance.below(all);
        for (weight, make) in kinds {
            if drawn < weight {
                return make(self);
            }
            drawn -= weight;
        }
    }

    pub(super) fn pass(&mut self) {
        let end = self
            .chance
            .among(&[800, 15_000, 15_000, 15_000, 90_000, 400_000]);
        let ms = self.chance.below(end) as i64;
        self.pass_ms(ms);
    }

    pub(super) fn pass_ms(&mut self, ms: i64) {
        let end = self.machine.now.boot_ms + ms;
        while let Some(wait) = self.engine.next_wake(&self.machine.now) {
            assert!(wait.0 > 0, "a wake-up is never in the past");
            if self.machine.now.boot_ms + wait.0 > end {
                break;
            }
            self.machine.tick(wait.0, &mut self.tally);
            self.take(Input::Wake);
        }
        self.machine
            .tick(end - self.machine.now.boot_ms, &mut self.tally);
    }

    /// The lid is closed: time goes by and nothing runs. The boot clock counts it, and the machine is the same.
    pub(super) fn suspend(&mut self) {
        self.tally.meet(Met::Suspends);
        let end = self.chance.among(&[5_000, 120_000, 3_600_000]);
        let ms = self.chance.below(end) as i64;
        self.machine.tick(ms, &mut self.tally);
        self.take(Input::Wake);
    }

    pub(super) fn change_clock(&mut self) {
        if self.chance.one_in(3) {
            self.machine
                .change_offset(&mut self.chance, &mut self.tally);
        } else {
            self.machine.step_wall(&mut self.chance, &mut self.tally);
        }
        self.take(Input::Wake);
    }

    pub(super) fn prompt(&self) -> Prompt {
        let facts = &self.engine.state().facts;
        prompt(facts, facts.line.reached_at()).expect("an incident has a prompt")
    }

    pub(super) fn some_answer(&mut self) -> Tap {
        let prompt = self.prompt();
        let mut picks = Vec::new();
        // A crew mostly does what the big answer says.
        picks.extend(prompt.main.iter().flat_map(|_| [Pick::Main; 6]));
        picks.extend(prompt.small.iter().map(|_| Pick::Small));
        picks.extend(prompt.other.iter().map(|_| Pick::Other));
        picks.extend((0..prompt.options.len()).map(Pick::Option));
        assert!(!picks.is_empty(), "no way forward from {prompt:?}");
        let shown = self.engine.state().facts.shown.as_ref();
        Tap::Answer {
            prompt: shown.expect("a prompt is shown").number,
            pick: self.chance.among(&picks),
        }
    }

    pub(super) fn answer(&mut self) {
        let tap = self.some_answer();
        self.take(Input::Tap(tap));
    }

    pub(super) fn double_tap(&mut self) {
        self.tally.meet(Met::DoubleTaps);
        let tap = self.some_answer();
        self.take(Input::Tap(tap.clone()));
        let after_one = self.engine.state().log.len();
        self.take(Input::Tap(tap));
        let after_two = self.engine.state().log.len();
        assert_eq!(after_two, after_one, "the second touch does nothing");
    }

    pub(super) fn touch_beside(&mut self) {
        let act = self.some_act();
        self.take(Input::Tap(Tap::Do(act)));
    }

    pub(super) fn touch_another_page(&mut self) {
        let tap = self.some_tap();
        self.take(Input::Tap(tap));
        if self.chance.one_in(20) {
            self.swap_plan();
        }
    }

    /// A finger that comes down on what stood there a while ago.
    pub(super) fn touch_late(&mut self) {
        if self.chance.one_in(2) {
            let tap = match self.chance.one_in(2) {
                true => self.some_answer(),
                false => Tap::Do(self.some_act()),
            };
            self.fingers.push(tap);
        } else {
            for tap in std::mem::take(&mut self.fingers) {
                self.tally.meet(Met::LateTaps);
                self.take(Input::Tap(tap));
            }
        }
    }

    pub(super) fn undo(&mut self) {
        let state = self.engine.state();
        let length = state.log.len() as u64;
        let shown = state.facts.undo.as_ref().map(|it| it.cause);
        let cause = if self.chance.one_in(5) {
            self.tally.meet(Met::StaleUndos);
            self.chance.below(length + 2)
        } else if let Some(cause) = shown {
            cause
        } else {
            return;
        };
        self.take(Input::Tap(Tap::Undo { cause }));
    }

    pub(super) fn deliver_late(&mut self) {
        for input in std::mem::take(&mut self.late) {
            self.tally.meet(Met::LateForecasts);
            if self.chance.one_in(6) {
                self.tally.meet(Met::DoubleForecasts);
                self.take(input.clone());
            }
            self.take(input);
        }
        while let Some(report) = self.reports.pop_front() {
            self.tally.meet(Met::LateReports);
            self.take(report);
        }
    }

    pub(super) fn heal_disk(&mut self) {
        self.tally.meet(Met::HealedDisks);
        self.disk.heal();
    }

    pub(super) fn break_disk(&mut self) {
        let call = self.disk.calls() + 1 + self.chance.below(6) as usize;
        let fault = match self.chance.below(7) {
            0 => Fault::From(call),
            1 => Fault::FolderFrom(call, folders().remove(0)),
            2 => Fault::EverySync,
            3 => Fault::EveryFolderSync,
            4 => {
                self.tally.meet(Met::FullDisks);
                Fault::Full(self.chance.below(200_000) as usize)
            }
            _ => Fault::Once(call),
        };
        self.disk.fail(fault);
    }
}
