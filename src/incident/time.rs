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
            .saturating_add(i64::from(self.offset_min).saturating_mul(60_000));
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
/// So much less than the boot clock may the wall clock say: it is set again and again by small steps.
const WALL_SLIP_MS: i64 = 2_000;

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

    /// Says how to carry on at `now`, given the last reading in the record.
    ///
    /// After a restart of the machine the boot clock has counted nothing but time since the last record, so that much went
    /// by at least. The wall clock is believed where it says no less than that and no more than a day.
    pub fn carried(&self, last: &Moment, now: &Moment, since_start_ms: i64) -> Carry {
        if now.boot_id == self.boot_id {
            let at = self.at(now);
            return Carry {
                at,
                how: Carried::BootClock,
                least: at,
                most: Some(at),
            };
        }
        let up = now.boot_ms.max(since_start_ms).max(0);
        let least = Millis(self.last.0.saturating_add(up));
        let step = now.wall_ms.saturating_sub(last.wall_ms);
        let is_plausible = (up.saturating_sub(WALL_SLIP_MS)..=WALL_STEP_MAX_MS).contains(&step);
        let (at, how) = if step >= 0 && is_plausible {
            let by_wall = Millis(self.last.0.saturating_add(step));
            (by_wall.max(least), Carried::WallClock)
        } else {
            (least, Carried::AtLeast)
        };
        Carry {
            at,
            how,
            least,
            most: None,
        }
    }
}

/// Where the time line goes on after the program started again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Carry {
    /// The time taken.
    pub at: Millis,
    /// From which clock.
    pub how: Carried,
    /// It cannot be earlier.
    pub least: Millis,
    /// It cannot be later; none where no clock says so.
    pub most: Option<Millis>,
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
        let carry = |boot_ms, wall_ms| {
            let carry = line.carried(&last, &moment("b", boot_ms, wall_ms), 300);
            assert_eq!((carry.least.0, carry.most), (20_000 + boot_ms, None));
            (carry.at, carry.how)
        };
        assert_eq!(carry(500, 130_000), (Millis(80_000), Carried::WallClock));
        assert_eq!(carry(500, 69_999), (Millis(20_500), Carried::AtLeast));
        let late = 70_000 + WALL_STEP_MAX_MS;
        assert_eq!(carry(500, late).1, Carried::WallClock);
        assert_eq!(carry(500, late + 1).1, Carried::AtLeast);
        // Two seconds less than the machine has been up is a clock being set; more is a clock that is wrong.
        assert_eq!(carry(9_000, 77_000), (Millis(29_000), Carried::WallClock));
        assert_eq!(carry(9_000, 76_999), (Millis(29_000), Carried::AtLeast));
        // A clock that was lost says the year that its chip begins with.
        assert_eq!(carry(9_000, 0), (Millis(29_000), Carried::AtLeast));
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
