//! Keeps the incident's own time line: milliseconds since activation, whatever the clocks of the machine do.
//!
//! A reading of the boot clock carries it on; after a restart of the machine a `Resumed` event says where it stands.
//! Takes every reading as an argument and asks no clock.

use crate::units::Millis;
use chrono::{DateTime, NaiveDate};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// The clocks of the machine, read together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moment {
    /// Wall clock, milliseconds since 1970 in UTC.
    pub wall_ms: i64,
    /// Offset of local time from UTC, minutes.
    pub offset_min: i32,
    /// Time since the machine started, suspend included.
    pub boot_ms: i64,
    /// Which start of the machine that was.
    pub boot_id: Arc<str>,
}

impl Moment {
    /// The day on the calendar of the place.
    pub fn day(&self) -> NaiveDate {
        let local_ms = self
            .wall_ms
            .saturating_add(i64::from(self.offset_min) * 60_000);
        DateTime::from_timestamp_millis(local_ms).map_or(NaiveDate::MAX, |it| it.date_naive())
    }
}

/// How the time line was carried over a restart of the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Carried {
    /// The machine had not restarted: the boot clock counted on.
    BootClock,
    /// The machine restarted; the wall clock moved by a plausible step.
    WallClock,
    /// The machine restarted and the wall clock cannot be believed: the time shown is the least it can be.
    AtLeast,
}

/// A wall-clock step over a restart is believed up to this length.
pub const WALL_STEP_MAX_MS: i64 = 24 * 3_600_000;

/// Where the incident's time line stands against the boot clock.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimeLine {
    boot_id: Arc<str>,
    boot_ms: i64,
    at: Millis,
    last: Millis,
    /// True once the time line is only a lower bound.
    pub at_least: bool,
}

impl TimeLine {
    /// Begins at an activation.
    pub fn starting(now: &Moment) -> TimeLine {
        TimeLine {
            boot_id: now.boot_id.clone(),
            boot_ms: now.boot_ms,
            ..TimeLine::default()
        }
    }

    /// Time since activation at a reading. Never before what was reported already; a reading of another boot adds nothing.
    pub fn at(&self, now: &Moment) -> Millis {
        if now.boot_id != self.boot_id {
            return self.last;
        }
        Millis(
            self.at
                .0
                .saturating_add(now.boot_ms.saturating_sub(self.boot_ms)),
        )
        .max(self.last)
    }

    /// The latest time reported.
    pub fn reached_at(&self) -> Millis {
        self.last
    }

    /// Notes that something happened at `at`, which later readings may not go below.
    pub fn reached(&mut self, at: Millis) {
        self.last = self.last.max(at);
    }

    /// Sets the line anew after a restart.
    pub fn carry(&mut self, now: &Moment, at: Millis, carried: Carried) {
        self.boot_id = now.boot_id.clone();
        self.boot_ms = now.boot_ms;
        self.at = at.max(self.last);
        self.last = self.at;
        self.at_least |= carried == Carried::AtLeast;
    }

    /// Says how to carry on at `now`, given the last reading in the record: at what time, and how sure that is.
    pub fn carried(&self, last: &Moment, now: &Moment, since_start_ms: i64) -> (Millis, Carried) {
        if now.boot_id == self.boot_id {
            return (self.at(now), Carried::BootClock);
        }
        let step = now.wall_ms.saturating_sub(last.wall_ms);
        if (0..=WALL_STEP_MAX_MS).contains(&step) {
            (Millis(self.last.0.saturating_add(step)), Carried::WallClock)
        } else {
            (
                Millis(self.last.0.saturating_add(since_start_ms.max(0))),
                Carried::AtLeast,
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moment(boot: &str, boot_ms: i64, wall_ms: i64) -> Moment {
        Moment {
            wall_ms,
            offset_min: 0,
            boot_ms,
            boot_id: boot.into(),
        }
    }

    #[test]
    fn a_wall_clock_step_changes_nothing_within_one_boot() {
        let line = TimeLine::starting(&moment("a", 1_000, 0));
        assert_eq!(line.at(&moment("a", 61_000, -9_999_999)), Millis(60_000));
    }

    #[test]
    fn a_new_boot_is_carried_by_the_wall_clock_where_its_step_is_plausible() {
        let mut line = TimeLine::starting(&moment("a", 1_000, 50_000));
        line.reached(Millis(20_000));
        let last = moment("a", 21_000, 70_000);
        assert_eq!(
            line.carried(&last, &moment("b", 500, 130_000), 500),
            (Millis(80_000), Carried::WallClock)
        );
        assert_eq!(
            line.carried(&last, &moment("b", 500, 69_999), 500),
            (Millis(20_500), Carried::AtLeast)
        );
        assert_eq!(
            line.carried(&last, &moment("b", 500, 70_000 + WALL_STEP_MAX_MS + 1), 500)
                .1,
            Carried::AtLeast
        );
    }

    #[test]
    fn time_never_runs_backwards() {
        let mut line = TimeLine::starting(&moment("a", 1_000, 0));
        line.reached(Millis(9_000));
        assert_eq!(line.at(&moment("a", 2_000, 0)), Millis(9_000));
        assert_eq!(line.at(&moment("elsewhere", 2_000, 0)), Millis(9_000));
        line.carry(&moment("b", 10, 0), Millis(3_000), Carried::AtLeast);
        assert_eq!(line.at(&moment("b", 10, 0)), Millis(9_000));
        assert!(line.at_least);
    }
}
