//! Gathers all tests from outside into one binary, so that the program is linked once.

mod approval;
mod cards;
mod clocks;
mod cues;
mod desk;
mod drive;
mod golden;
mod heard;
mod house;
mod plan;
mod properties;
mod readiness;
mod real;
mod record;
mod rules;
mod scenarios;
mod screens;
mod simulate;
mod standing;
mod support;
mod texts;
mod thread;
mod touched;
mod turns;
mod twin;
