//! Works out who does what in every method at a position, and how long it likely takes.
//!
//! `routes` finds the ways and their times, `staffing` the crew, `outlook` puts both into a forecast, which `model`
//! defines. All of it is pure: the same plan and the same people give the same forecast on every machine.

mod model;
mod outlook;
mod routes;
mod staffing;

pub use model::{Forecast, MethodForecast, Posting};
pub use outlook::{Basis, outlook};
pub use routes::{Pace, Route, Routes, link_time, pace};
pub use staffing::{Choice, Crew, NODES_MAX, Problem, solve};
