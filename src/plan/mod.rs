//! Reads rescue plans: bytes in, a plan and everything that is wrong with it out.
//!
//! `model` says what a plan is, `read` makes one (`fields` reads one table, `check` judges the whole), `findings` names
//! what can be wrong. Two plans are built in: an invented site to try the program with, and the plan that serves when
//! there is none, so that an activation never has to wait for a file.

use std::sync::LazyLock;

mod check;
mod fields;
mod findings;
mod model;
mod read;

pub use findings::{FINDINGS_MAX, Finding, Kind, Level};
pub use model::{
    Fallback, Hazard, HazardKind, KitItem, Link, LinkKind, Method, Milestone, Need, Place, Plan,
    Policy, Position, Responder, Role, Rung, Site, Station, Step, ThreePoint,
};
pub use read::{BYTES_MAX, LEVELS_MAX, Reading, read};

/// An invented site to learn and drill with.
pub const DEMO: &str = include_str!("grain-terminal.toml");

/// What serves when there is no plan: the four rungs in words that fit any place.
pub const BARE: &str = include_str!("bare.toml");

/// The plan that serves when there is none, read once.
pub fn bare() -> &'static Plan {
    static READ: LazyLock<Plan> = LazyLock::new(|| {
        read("bare.toml", BARE.as_bytes())
            .plan
            .expect("the built-in plan is read without an error by a test")
    });
    &READ
}
