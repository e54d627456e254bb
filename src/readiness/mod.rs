//! Works out who does what in every method at a position, and how long it likely takes.
//!
//! `staffing` finds the crew, `outlook` puts it and the ways into a forecast, which `model` defines. The ways themselves are
//! found in the plan module, whose findings ask for them too. All of it is pure: the same plan and the same people give the same forecast on every machine.

// Two computed floats are hardly ever the same, so nothing is decided by that.
#![warn(clippy::float_cmp)]

mod assignment;
mod basis;
mod beside;
mod changes;
mod choosing;
mod course;
mod deciding;
mod draws;
mod fit;
mod fit_lines;
mod fit_loads;
mod fit_rows;
mod hang;
mod keeping;
mod model;
mod order;
mod outlook;
mod passing;
mod placing;
mod pool;
mod prices;
mod shift;
mod site;
mod staffing;
mod staging;
mod standing;
mod steps;
mod stocks;
mod terrain;
mod what_if;
mod whereabouts;
mod whole;

pub use basis::{Basis, Depth, Left, Ordered, Underway};
pub use changes::{Aim, Changes, Lone, Prospect, Sampling, Start, Worth, prospect, values};
pub use course::{Arrival, Attempt, Ladder, Sent, Task};
pub use draws::{Spread, name_of, uniform};
pub use fit::{Fitting, Outcome, Rule, Today, Unfit, Verdict, at_best, fit, physical, piece};
pub use fit_lines::{advantage, class_energy, descent_energy, haul_pull, ladder_height, weight};
pub use hang::{Above, Elevations, Hang, hang};
pub use model::{
    FAIR_TRY, Forecast, LadderForecast, MethodForecast, NEVER, Paper, Passing, Posting,
    StartForecast, Turn,
};
pub use order::{Candidate, in_order, target_is_lost};
pub use outlook::{Outlook, outlook};
pub use shift::{
    Allowance, Change, Changed, Clock, Counted, Declare, Holder, InUse, Light, Part, Reason, Scope,
    Shift, Signature, Visitor,
};
pub use site::{Conditions, Look, Site};
pub use staffing::{Choice, Crew, LONGEST, Problem, STEPS_MAX, solve};
pub use staging::{Job, LadderCrew, Post, Stage, ladder_crews};
pub use standing::{Expected, Grade, Standing, standings};
pub(crate) use steps::needed_at;
pub use terrain::Terrain;
pub use what_if::{Bench, Gain, Trials, WhatIfs};
pub(crate) use whole::{down, index};
