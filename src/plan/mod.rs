//! Reads rescue plans: bytes in, a plan and everything that is wrong with it out.
//!
//! `model` says what a plan is, each table once (`source`), so that reader and schema (`describe`) cannot differ. `read` makes
//! one (`fields` reads one table, `check` and its neighbours judge the whole), `findings` names what can be wrong. Three
//! plans are built in: two invented sites to try the program with, and the one that serves when there is none, so that an
//! activation never has to wait for a file.

use std::cell::RefCell;
use std::sync::{Arc, LazyLock};

mod align;
mod change;
mod check;
mod dates;
mod describe;
mod diff;
mod drawings;
mod edit;
mod fields;
mod figures;
mod findings;
mod gaps;
mod gathered;
mod model;
mod nameless;
mod outline;
mod positions;
mod read;
mod refusal;
mod routes;
mod shape;
mod source;
mod splice;
mod tell;
mod told;
mod values;

pub use change::{Area, Change, What, in_json, in_words};
pub use describe::{reference, schema};
pub use diff::{Unread, diff};
pub use edit::{Edit, Edited, Values, edit, edit_on};
pub use figures::{free_fall, swing_drop};
pub use findings::{FINDINGS_MAX, Finding, Kind, Level, Related};
pub use gathered::Reference;
pub use model::{
    Anchorage, Arrest, ArrestKind, ConfinedSpace, DescentClass, Drawing, Fallback, FirstAid,
    Ground, Hazard, HazardKind, Holding, KitItem, Link, LinkKind, Method, Milestone, Need,
    OutsideRescue, Place, Plan, Policy, Position, Radio, Responder, Role, Rung, Site, Station,
    Step, ThreePoint,
};
pub use nameless::nameless;
pub use read::{BYTES_MAX, LEVELS_MAX, PARTS_MAX, Reading, TABLES_MAX, read, read_on};
pub use refusal::Refusal;
pub use routes::{Pace, Route, Routes, Ways, link_time, link_times, pace};

/// An invented site to learn and drill with.
pub const DEMO: &str = include_str!("grain-terminal.toml");

/// Another one, a moving work front above water.
pub const DEMO_BRIDGE: &str = include_str!("bridge-repaint.toml");

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
