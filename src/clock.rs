//! Reads the clocks of the machine. The only module that may ask for the time.
//!
//! The boot clock goes on during suspend, which the monotonic clock does not; its readings are only comparable within
//! one start of the machine, so each comes with the boot id. Linux only.

use crate::incident::Moment;
use rustix::time::{ClockId, clock_gettime};
use std::sync::Arc;

/// Reads all clocks at once.
#[derive(Clone, Debug)]
pub struct Clock {
    boot_id: Arc<str>,
    started_boot_ms: i64,
}

impl Clock {
    /// Notes the boot id and when the program started.
    pub fn new() -> Clock {
        let boot_id = std::fs::read_to_string("/proc/sys/kernel/random/boot_id");
        Clock {
            // Without an id no two starts can be told apart, so each start of the program counts as one of the machine.
            boot_id: boot_id
                .map_or_else(
                    |_| format!("unknown-{}", std::process::id()),
                    |id| id.trim().to_owned(),
                )
                .into(),
            started_boot_ms: boot_ms(),
        }
    }

    /// The clocks now.
    pub fn read(&self) -> Moment {
        let local = chrono::Local::now();
        Moment {
            wall_ms: local.timestamp_millis(),
            offset_min: local.offset().local_minus_utc() / 60,
            boot_ms: boot_ms(),
            boot_id: self.boot_id.clone(),
        }
    }

    /// Time since the program started.
    pub fn since_start_ms(&self) -> i64 {
        boot_ms() - self.started_boot_ms
    }
}

/// How many minutes the place's time is ahead of UTC at this moment, as the machine is set: other before than after the
/// clocks are put forward or back.
pub fn offset_min_at(wall_ms: i64) -> i32 {
    let utc = chrono::DateTime::from_timestamp_millis(wall_ms);
    utc.map_or(0, |it| {
        let local = it.with_timezone(&chrono::Local);
        local.offset().local_minus_utc() / 60
    })
}

impl Default for Clock {
    fn default() -> Clock {
        Clock::new()
    }
}

fn boot_ms() -> i64 {
    let time = clock_gettime(ClockId::Boottime);
    time.tv_sec
        .saturating_mul(1_000)
        .saturating_add(time.tv_nsec / 1_000_000)
}
