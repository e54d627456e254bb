//! Groundward helps a crew bring a suspended worker to the ground.
//!
//! The map of the house, from the bottom up. Pure, functions of their arguments: [`units`] and [`words`], [`plan`],
//! [`readiness`], [`incident`], [`cue`], [`review`], [`report`]. What goes between: [`signal`]. Edges, which never import each other:
//! [`journal`], [`store`], [`sound`], [`kiosk`], [`clock`]. The shell: [`engine`], [`compute`], [`settings`], [`cli`].
//! A module uses only what stands before it here; `tests/house.rs` proves it.

pub mod units;
pub mod words;

pub mod plan;

pub mod readiness;

pub mod incident;

pub mod cue;

pub mod review;

pub mod report;

pub mod signal;

pub mod clock;
pub mod journal;
pub mod kiosk;
pub mod sound;
pub mod store;

pub mod cli;
pub mod compute;
pub mod engine;
pub mod settings;

pub use cli::main;
