//! Works out who does what in every method at a position, and how long it likely takes.
//!
//! `staffing` finds the crew, `outlook` puts it and the ways into a forecast, which `model` defines. The ways themselves are
//! found in the plan module, whose findings ask for them too. All of it is pure: the same plan and the same people give the same forecast on every machine.

mod model;
mod outlook;
mod staffing;
mod standing;

pub use model::{Forecast, MethodForecast, Paper, Posting};
pub use outlook::{Basis, outlook};
pub use staffing::{Choice, Crew, NODES_MAX, Problem, solve};
pub use standing::{Standing, standings};
