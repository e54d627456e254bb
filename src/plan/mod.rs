//! Reads rescue plans: bytes in, a plan and everything that is wrong with it out.
//!
//! `model` says what a plan is, `read` makes one (`fields` reads one table, `check` judges the whole), `findings` names
//! what can be wrong. Two plans are built in: an invented site to try the program with, and the plan that serves when
//! there is none, so that an activation never has to wait for a file.

use std::cell::RefCell;
use std::sync::{Arc, LazyLock};

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

/// The plan in this text, where it is fit.
///
/// The last one is kept: an activation, every replay of its record and most incidents of a log ask for the same text
/// again, and reading it is the longest part of each.
pub fn fit(name: &str, text: &str) -> Option<Arc<Plan>> {
    thread_local! {
        static LAST: RefCell<Option<(String, Arc<Plan>)>> = const { RefCell::new(None) };
    }
    let kept = LAST.with_borrow(|last| {
        let same = last.as_ref().filter(|(of, _)| of == text);
        same.map(|(_, plan)| plan.clone())
    });
    kept.or_else(|| {
        let plan = Arc::new(read(name, text.as_bytes()).plan?);
        LAST.set(Some((text.to_owned(), plan.clone())));
        Some(plan)
    })
}
