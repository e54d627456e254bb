//! Decides what a rescue needs next, from what is known and nothing else.
//!
//! `decide` turns a wish and the clocks into records, `State::apply` folds records into what is known, `prompt` says the
//! one thing to do, `next_wakeup` says when to look again. No clock, disk, sound, thread or screen is reached from here.

mod apply;
mod decide;
mod event;
mod prompt;
mod state;
mod time;

pub use decide::{Command, Decision, Refusal, Wanted, basis_of, decide, next_wakeup};
pub use event::{
    Aftercare, Closing, Condition, Event, NotARecord, Opening, PlanApproval, PlanStanding, Reading,
    Record, Why,
};
pub use prompt::{Act, Choice, Pick, Prompt, past_target, prompt, target_mark};
pub use state::{
    ANSWER_GUARD, CLOCK_MARK_EVERY, Call, Casualty, FORECAST_WAIT, Facts, MORE_TIME, MORE_TIME_MAX,
    Opened, Running, Scene, Securing, Shown, State, UNDO_SHOWN, Undo, Whereabouts, Window,
};
pub use time::{Carried, Moment, TimeLine, WALL_STEP_MAX_MS};
