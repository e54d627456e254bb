//! Prepares drills, says what came of them, and learns from them. Pure: files and screens are other modules' business.

mod calibrate;
mod crew;
mod debrief;
mod decisions;
mod due;
mod learn;
mod lesson;
mod marks;
mod met;
mod named;
mod orders;
mod pace;
mod plot;
mod propose;
mod result;
mod scenario;
mod scenario_file;
mod scenario_text;
mod spoken;
mod stands;
mod statistics;
mod steps;
mod surprises;
mod table_top;
mod told;
mod tries;
mod unanswered;

pub use calibrate::{Figure, Measured, Verdict, beside, calibrate, edits, touched};
pub use crew::{Crew, Move, Touch};
pub use debrief::Debrief;
pub use decisions::{Decision, Departure, Named};
pub use due::{Overdue, Undrilled, due};
pub use learn::{Learned, Subject, Timed, Whose, learned};
pub(crate) use lesson::Followed;
pub use lesson::{Lesson, PartTaken, Passed, Played, StepTaken, WayGone};
pub use marks::{Mark, Reached};
pub use met::Met;
pub use orders::Orders;
pub use pace::Pace;
pub use plot::{Band, Curve, Dot, Dots, Room, Scale, Spot, Tick, curve_of, dots, placed, stepped};
pub use propose::{Proposal, propose};
pub use result::{Checks, Outcome};
pub use scenario::{
    Fault, PLAYED_MAX, Planned, SURPRISES_MAX, Scenario, WIND_MAX, When, check, drawn,
};
pub use scenario_file::{BUILT_IN, SCENARIO_BYTES_MAX, read, read_for};
pub(crate) use stands::{comes_by_itself, whole};
pub use statistics::{
    Between, COVERAGE, CurveStep, Span, Summary, Trend, curve, percentile, summary, trend,
};
pub use table_top::{Happening, Run, Table, TableTop};
pub use told::Group;
pub(crate) use told::decision_told;
pub use tries::{Quarters, Tried, try_once, try_plan};
pub(crate) use unanswered::stood;
pub use unanswered::{Ended, Prompts, Stood};
