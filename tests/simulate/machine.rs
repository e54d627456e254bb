//! Stands in for the tablet's clocks and knows what they do not: the true time.
//!
//! The wall clock steps, its battery dies, its offset changes, and it may stand years ahead; the boot clock counts through
//! suspend and begins anew with every start of the machine.

use super::tally::{Met, Tally};
use crate::support::Chance;
use groundward::incident::Moment;

const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR_MS;
/// Where a clock without a battery begins: midnight of the first day of 1970, or a day that the maker chose.
const DEAD_CLOCKS: [i64; 3] = [0, 946_684_800_000, 1_609_459_200_000];
/// Moments that clocks and calendars find hard.
const HARD_MOMENTS: [i64; 8] = [
    // 23:59:30 on an ordinary day and on the last of a year.
    1_780_012_770_000,
    1_798_761_570_000,
    // Around the days on which clocks are put forward and back in many lands.
    1_774_745_940_000,
    1_792_889_940_000,
    // Before and after the 32nd bit of the seconds, a leap day, and 2099.
    2_147_483_617_000,
    2_147_483_700_000,
    1_835_395_170_000,
    4_070_908_740_000,
];

/// The clocks of a tablet.
pub(super) struct Machine {
    pub(super) now: Moment,
    /// Time as it really goes by, from some beginning.
    pub(super) true_ms: i64,
    boots: u64,
}

impl Machine {
    pub(super) fn new(chance: &mut Chance) -> Machine {
        let wall_ms = match chance.below(3) {
            0 => chance.among(&HARD_MOMENTS) - chance.below(120_000) as i64,
            1 => 1_780_000_000_000 + chance.below(400 * DAY_MS as u64) as i64,
            _ => 1_780_000_000_000,
        };
        Machine {
            now: Moment {
                wall_ms,
                offset_min: chance.among(&[0, 60, 120, -300, 345, 825, -570]),
                boot_ms: chance.below(30 * DAY_MS as u64) as i64,
                boot_id: "boot-0".into(),
            },
            true_ms: 0,
            boots: 0,
        }
    }

    /// By how much the wall clock is ahead of the truth, from some beginning.
    pub(super) fn wall_error(&self) -> i64 {
        self.now.wall_ms - self.true_ms
    }

    pub(super) fn tick(&mut self, ms: i64, tally: &mut Tally) {
        let day = self.now.day();
        self.now.boot_ms += ms;
        self.now.wall_ms += ms;
        self.true_ms += ms;
        if self.now.day() != day {
            tally.meet(Met::Midnights);
        }
    }

    /// Somebody, or a time server, sets the wall clock.
    pub(super) fn step_wall(&mut self, chance: &mut Chance, tally: &mut Tally) {
        tally.meet(Met::ClockSteps);
        let most = chance.among(&[2_000, 90_000, 2 * HOUR_MS, 3 * DAY_MS, 4_000 * DAY_MS]);
        let by = chance.below(most as u64) as i64;
        if chance.one_in(2) {
            self.now.wall_ms = (self.now.wall_ms - by).max(0);
        } else {
            self.now.wall_ms = (self.now.wall_ms + by).min(HARD_MOMENTS[7] + 1_000 * DAY_MS);
            if by > 700 * DAY_MS {
                tally.meet(Met::YearsAhead);
            }
        }
    }

    /// Summer time begins or ends, or the tablet crosses a border.
    pub(super) fn change_offset(&mut self, chance: &mut Chance, tally: &mut Tally) {
        tally.meet(Met::OffsetChanges);
        self.now.offset_min += chance.among(&[60, -60, 30, -120]);
        self.now.offset_min = self.now.offset_min.clamp(-720, 840);
    }

    /// The machine starts again after a while, with or without a clock that went on.
    pub(super) fn reboot(&mut self, chance: &mut Chance, tally: &mut Tally) {
        tally.meet(Met::Reboots);
        let away = match chance.below(8) {
            0 => chance.below(2 * DAY_MS as u64) as i64,
            1 => 0,
            _ => chance.below(240_000) as i64,
        };
        let up = 1_500 + chance.below(40_000) as i64;
        self.tick(away + up, tally);
        self.boots += 1;
        self.now.boot_id = format!("boot-{}", self.boots).into();
        self.now.boot_ms = up;
        if chance.one_in(4) {
            tally.meet(Met::RebootsWithDeadClock);
            self.now.wall_ms = chance.among(&DEAD_CLOCKS) + self.now.boot_ms;
        } else if chance.one_in(6) {
            // A cheap clock gains or loses a little.
            self.now.wall_ms += chance.below(8_000) as i64 - 4_000;
        }
    }
}
