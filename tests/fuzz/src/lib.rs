//! Gathers the modules of the program that take bytes in, so that they can be fuzzed without building a screen.
//!
//! Each is the program's own file. What is missing here are the edges to screen, sound and threads; nothing that reads
//! needs them.

#[path = "../../../src/units/mod.rs"]
pub mod units;
#[path = "../../../src/words/mod.rs"]
pub mod words;

#[path = "../../../src/plan/mod.rs"]
pub mod plan;

#[path = "../../../src/readiness/mod.rs"]
pub mod readiness;

#[path = "../../../src/incident/mod.rs"]
pub mod incident;

#[path = "../../../src/cue.rs"]
pub mod cue;

#[path = "../../../src/drill/mod.rs"]
pub mod drill;

#[path = "../../../src/review/mod.rs"]
pub mod review;

#[path = "../../../src/signal.rs"]
pub mod signal;

#[path = "../../../src/journal/mod.rs"]
pub mod journal;

#[path = "../../../src/store/mod.rs"]
pub mod store;

#[path = "../../../src/history/mod.rs"]
pub mod history;

/// The parts of the command line that read files.
#[path = "../../../src/cli"]
pub mod cli {
    pub mod drawings;
    pub mod script;
}
