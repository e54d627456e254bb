//! Takes bytes that come from outside into the program, one function for each door they can come through.
//!
//! Each says what must hold whatever the bytes are; that nothing panics, hangs or blows up is watched by whoever calls it.
//! The tests here call them on mutated corpora, the fuzz crate beside with inputs of its own, so this file uses nothing but
//! the program and serde_json. Whoever adds an input to the program adds its target to `TARGETS` and seeds to `corpora`.

pub(crate) mod drawings;
mod files;
mod folder;
mod kept;
mod plans;
mod quantities;
pub(crate) mod records;
mod scenarios;
mod scripts;
mod stored;

use chrono::NaiveDate;
use groundward::incident::Moment;
use groundward::plan::Plan;
use std::sync::LazyLock;

/// A door to the program.
#[derive(Clone, Copy)]
pub(crate) struct Target {
    /// Its name, which is that of its folder of corpora and of its fuzz target.
    pub(crate) name: &'static str,
    /// Takes the bytes in, uses what came of them, and panics where something does not hold.
    pub(crate) takes: fn(&[u8]),
    /// How many mutated inputs an ordinary test run tries.
    pub(crate) cases: u32,
}

/// All doors.
pub(crate) const TARGETS: &[Target] = &[
    target("plan", plans::plan, 4_000),
    target("plan-edit", plans::edited, 2_000),
    target("plan-diff", plans::compared, 1_500),
    target("journal-line", files::line, 20_000),
    target("journal-files", files::files, 8_000),
    target("approvals", files::approvals, 12_000),
    target("bundle", files::bundle, 4_000),
    target("records", records::records, 1_200),
    target("kept", kept::kept, 12_000),
    target("stored", stored::stored, 6_000),
    target("script", scripts::script, 12_000),
    target("scenario", scenarios::scenario, 3_000),
    target("drawing", drawings::drawing, 12_000),
    target("quantity", quantities::quantity, 4_000),
];

const fn target(name: &'static str, takes: fn(&[u8]), cases: u32) -> Target {
    Target { name, takes, cases }
}

/// The target with this name.
pub(crate) fn named(name: &str) -> Option<&'static Target> {
    TARGETS.iter().find(|it| it.name == name)
}

/// A small plan that is fit, for what is used together with one.
pub(crate) fn small_plan() -> &'static Plan {
    static PLAN: LazyLock<Plan> = LazyLock::new(|| {
        let text = include_bytes!("../../plan/sound.toml");
        let read = groundward::plan::read("sound.toml", text);
        read.plan
            .expect("the plan of the tests of the reader is fit")
    });
    &PLAN
}

/// The day on which things are looked at.
fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, 25).expect("it is a day of the calendar")
}

/// Readings of the clocks from the end of one range to the end of the other.
fn moments() -> [Moment; 4] {
    [
        (1_780_000_000_000, 120, 500_000),
        (0, 0, 0),
        (i64::MIN, i32::MIN, i64::MIN),
        (i64::MAX, i32::MAX, i64::MAX),
    ]
    .map(|(wall_ms, offset_min, boot_ms)| Moment {
        wall_ms,
        offset_min,
        boot_ms,
        boot_id: "boot-1".into(),
    })
}
