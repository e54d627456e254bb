//! Says which cue comes next, and how long it is quiet: the most urgent first, three in a round, and silence after.
//!
//! What is wanted is written down by whoever wants it, and the thread that plays waits here for its next turn. Nothing
//! asks for the time: a cue's length comes from its file, and the rest is waiting.

use std::cmp::Reverse;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::{CUE_GAP_MS, CUE_REPEAT_MS, Manner};
use crate::cue::Cue;

/// How many different cues can be wanted at once. There is no queue: a cue is wanted or it is not.
pub const CUES_WANTED_MAX: usize = Cue::ALL.len();

/// How many cues a round has: nobody keeps more apart, and the radio needs the rest of the time.
pub const CUES_HEARD_MAX: usize = 3;

/// The pace of the program; the tests have their own.
pub(super) const PACE: Pace = Pace {
    repeat: Duration::from_millis(CUE_REPEAT_MS),
    gap: Duration::from_millis(CUE_GAP_MS),
};

/// What is wanted, and the bell that says it has changed.
#[derive(Debug, Default)]
pub(super) struct Shared {
    wish: Mutex<Wish>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct Wish {
    /// The cues to be heard, in the order in which they were asked for.
    cues: Vec<Cue>,
    /// What sounded up to now has to end, even if the same cue has been asked for again since.
    hush: bool,
    manner: Manner,
    closing: bool,
}

impl Wish {
    /// Returns the most urgent cue that this round still owes, of two alike the one that was asked for first.
    ///
    /// A round that is full is opened again only for a cue more urgent than one of those that filled it.
    fn due(&self, round: &Round) -> Option<Cue> {
        let mut ranked = self.cues.clone();
        ranked.sort_by_key(|cue| {
            let rank = (*cue == Cue::Danger, cue.urgency());
            Reverse(rank)
        });
        ranked.into_iter().find(|cue| {
            let before = round.heard.iter();
            let before = before.filter(|heard| heard.urgency() >= cue.urgency());
            !round.heard.contains(cue) && before.count() < CUES_HEARD_MAX
        })
    }

    /// Returns the cue that has to start now: when another sounds, only danger does not wait for its end.
    fn starting(&self, round: &Round) -> Option<Cue> {
        self.due(round)
            .filter(|cue| round.sounding.is_none() || *cue == Cue::Danger)
    }
}

/// How the cues follow each other.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    /// From one round to the next; a long one is followed by silence of at least half as long as this.
    pub(super) repeat: Duration,
    pub(super) gap: Duration,
}

/// The cues that are heard one after the other, and the silence after them.
#[derive(Debug, Default)]
pub(super) struct Round {
    /// What has been heard in it, or is sounding.
    heard: Vec<Cue>,
    /// What is sounding, and for how long.
    sounding: Option<(Cue, Duration)>,
    /// How long its cues took.
    length: Duration,
}

impl Round {
    /// A cue has started.
    pub(super) fn begin(&mut self, cue: Cue, length: Duration) {
        self.heard.push(cue);
        self.sounding = Some((cue, length));
    }

    /// Returns how long to wait for a change: until what sounds has ended, or until the next round.
    fn wait(&self, pace: Pace) -> Duration {
        match self.sounding {
            Some((_, length)) => length + pace.gap,
            None if self.heard.is_empty() => Duration::MAX,
            None => pace.repeat.saturating_sub(self.length).max(pace.repeat / 2),
        }
    }
}

/// What the thread has to do next.
#[derive(Debug)]
pub(super) enum Turn {
    Hush,
    Sound {
        cue: Cue,
        manner: Manner,
        /// What sounds up to now is ended for it.
        cut: bool,
    },
    End,
}

impl Shared {
    pub(super) fn want(&self, cue: Cue) {
        let mut wish = self.wish();
        if !wish.cues.contains(&cue) && wish.cues.len() < CUES_WANTED_MAX {
            wish.cues.push(cue);
            self.changed.notify_one();
        }
    }

    pub(super) fn hush(&self) {
        let mut wish = self.wish();
        if !wish.cues.is_empty() {
            wish.cues.clear();
            wish.hush = true;
            self.changed.notify_one();
        }
    }

    pub(super) fn set_loud(&self, loud: bool) {
        self.wish().manner.loud = loud;
    }

    /// What sounds as a drill's ends when it is none any more, and begins anew without the mark.
    pub(super) fn set_drill(&self, drill: bool) {
        let mut wish = self.wish();
        let ends = wish.manner.drill && !drill;
        wish.manner.drill = drill;
        if ends && !wish.cues.is_empty() {
            wish.hush = true;
            self.changed.notify_one();
        }
    }

    pub(super) fn close(&self) {
        self.wish().closing = true;
        self.changed.notify_one();
    }

    fn wish(&self) -> MutexGuard<'_, Wish> {
        // The holders only set fields, so what a panicking one leaves behind is whole.
        self.wish.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits until something has to start or end.
    pub(super) fn next_turn(&self, round: &mut Round, pace: Pace) -> Turn {
        loop {
            let (mut wish, waited) = self
                .changed
                .wait_timeout_while(self.wish(), round.wait(pace), |wish| {
                    !wish.closing && !wish.hush && wish.starting(round).is_none()
                })
                .unwrap_or_else(PoisonError::into_inner);
            if wish.closing {
                return Turn::End;
            }
            if wish.hush {
                wish.hush = false;
                *round = Round::default();
                return Turn::Hush;
            }
            if waited.timed_out() {
                match round.sounding.take() {
                    Some((cue, length)) => {
                        round.length += length + pace.gap;
                        if !cue.repeats() {
                            wish.cues.retain(|wanted| *wanted != cue);
                        }
                    }
                    None => *round = Round::default(),
                }
            }
            if let Some(cue) = wish.starting(round) {
                let cut = round.sounding.take();
                // What is cut off has not been heard, so the round owes it still.
                round
                    .heard
                    .retain(|heard| cut.is_none_or(|cut| cut.0 != *heard));
                return Turn::Sound {
                    cue,
                    manner: wish.manner,
                    cut: cut.is_some(),
                };
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_round_is_followed_by_time_to_speak() {
        let length = Duration::from_millis(2_500);
        let mut round = Round::default();
        assert_eq!(round.wait(PACE), Duration::MAX, "nothing is wanted");
        round.begin(Cue::Danger, length);
        assert_eq!(round.wait(PACE), length + PACE.gap);
        round.sounding = None;
        round.length = Duration::from_millis(900);
        assert_eq!(round.wait(PACE), Duration::from_millis(4_100));
        round.length = Duration::from_millis(7_000);
        assert_eq!(round.wait(PACE), Duration::from_millis(2_500));
    }
}
