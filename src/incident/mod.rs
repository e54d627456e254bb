//! Decides what a rescue needs next, from what is known and nothing else.
//!
//! `decide` turns a wish and the clocks into records, `State::apply` folds records into what is known, `prompt` says the
//! one thing to do, `next_wakeup` says when to look again. No clock, disk, sound, thread or screen is reached from here.

// What is computed here may come from any file and any clock, so every sum, difference and product says how it stays in range.
#![warn(clippy::arithmetic_side_effects)]

mod act;
mod afterwards;
mod aloud;
mod apply;
mod approach;
mod brief;
mod care;
mod case;
mod decide;
mod dispatch;
mod drilled;
mod event;
mod exercise;
mod ladder;
mod loaded;
mod orders;
mod people;
mod prompt;
mod radio;
mod state;
mod time;
mod working;
mod written;

pub use act::Act;
pub use afterwards::{ABOUT_MAX, Amiss, Finding, Nature, Owner, Remark, Task};
pub use aloud::{call_card, call_made, handover};
pub(crate) use apply::stays;
pub use brief::lines as brief;
pub use case::Case;
pub use decide::{Command, Decision, Refusal, Wanted, decide, next_wakeup};
pub use event::{
    Aftercare, CareTaker, Closing, Condition, Due, Event, Given, NotARecord, Note, Opening,
    PlanApproval, PlanStanding, Reading, Record, Report, Stop, Teller, Why,
};
pub use exercise::{
    Exercise, Guards, Hanging, Inject, LIVE_HANG_MAX, OtherWork, Setting, Surprise,
};
pub use ladder::Verdict;
pub use loaded::loaded;
pub use prompt::{Choice, Pick, Prompt, past_target, prompt, target_mark};
pub use radio::{ToSay, order_in_words, to_say};
pub use state::{
    ANSWER_GUARD, CHANGE_NEAR, CLOCK_MARK_EVERY, Call, Casualty, FORECAST_WAIT, Facts, Former,
    Handing, MORE_TIME, MORE_TIME_MAX, Opened, Order, Running, Scene, Securing, Shown, State,
    UNDO_SHOWN, Undo, Whereabouts, Window,
};
pub use time::{Carried, Carry, Moment, TimeLine, WALL_STEP_MAX_MS};
pub use written::{NAME_CHARS_MAX, Name, OwnWords, Unfit, WORDS_CHARS_MAX, Written};
