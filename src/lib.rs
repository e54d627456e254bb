//! Groundward helps a crew bring a suspended worker to the ground.
//!
//! The map of the house, from the bottom up. Pure, functions of their arguments: [`units`] and [`words`], [`plan`],
//! [`readiness`], [`incident`], [`cue`], [`review`], [`report`]. What goes between: [`signal`]. Edges, which never import each other:
//! [`journal`], [`store`], [`sound`], [`kiosk`], [`clock`], [`awake`]. The shell: [`engine`], [`compute`], [`settings`], [`history`], [`cli`].
//! A module uses only what stands before it here; `tests/house.rs` proves it.

// A cast that loses digits or a sign is meant where somebody wrote why, and nowhere else.
#![warn(
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    clippy::cast_sign_loss
)]

pub mod units;
pub mod words;

pub mod plan;

pub mod readiness;

pub mod incident;

pub mod cue;
pub mod drill;

pub mod review;

pub mod report;

pub mod signal;

pub mod awake;
pub mod clock;
pub mod journal;
pub mod kiosk;
pub mod sound;
pub mod store;

pub mod cli;
pub mod compute;
pub mod engine;
pub mod history;
pub mod settings;

pub use cli::main;
