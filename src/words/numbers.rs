//! Writes times and lengths as people read them at a glance.
//!
//! Durations are floored to whole seconds, so a clock never shows a second that has not passed.

use crate::units::{Millimetres, Millis, Speed};
use chrono::{DateTime, FixedOffset};

/// Minutes and seconds, `3:07`; from one hour on `1:03:07`. Negative durations read as zero.
pub fn clock(duration: Millis) -> String {
    let total = duration.0.max(0) / 1_000;
    let (hours, minutes, seconds) = (total / 3_600, total / 60 % 60, total % 60);
    if hours > 0 {
        format!("{hours}:{minutes:02}:{seconds:02}")
    } else {
        format!("{minutes}:{seconds:02}")
    }
}

/// Time passed, as on the condition tile: `0:40`.
pub fn ago(since: Millis, now: Millis) -> String {
    clock(Millis(now.0.saturating_sub(since.0)))
}

/// Whole seconds to go, rounded up so that nobody is expected early: `40 s`; from 100 s on minutes and seconds.
pub fn seconds(duration: Millis) -> String {
    let total = duration.0.max(0).saturating_add(999) / 1_000;
    if total < 100 {
        format!("{total} s")
    } else {
        clock(Millis(total * 1_000))
    }
}

/// A length in metres with at most one decimal: `27 m`, `1.8 m`.
pub fn metres(length: Millimetres) -> String {
    let tenths = (length.0.saturating_add(if length.0 < 0 { -50 } else { 50 })) / 100;
    if tenths % 10 == 0 {
        format!("{} m", tenths / 10)
    } else {
        format!("{}.{} m", tenths / 10, (tenths % 10).abs())
    }
}

/// A wind as it is read from a meter, in metres a second, rounded up to a tenth so that none is told too low: `12.5 m/s`.
pub fn wind(speed: Speed) -> String {
    let tenths = speed.0.max(0).saturating_add(99) / 100;
    match tenths % 10 {
        0 => format!("{} m/s", tenths / 10),
        rest => format!("{}.{rest} m/s", tenths / 10),
    }
}

/// Hours and minutes on the wall clock of the place: `14:02`.
pub fn wall_time(wall_ms: i64, offset_min: i32) -> String {
    let offset = FixedOffset::east_opt(offset_min.saturating_mul(60));
    match (DateTime::from_timestamp_millis(wall_ms), offset) {
        (Some(utc), Some(offset)) => utc.with_timezone(&offset).format("%H:%M").to_string(),
        _ => "--:--".to_owned(),
    }
}

/// Day and time on the wall clock of the place: `2026-11-25 14:02`.
pub fn date_and_time(wall_ms: i64, offset_min: i32) -> String {
    let local_ms = wall_ms.saturating_add(i64::from(offset_min) * 60_000);
    let day = DateTime::from_timestamp_millis(local_ms).map(|it| it.format("%Y-%m-%d").to_string());
    format!(
        "{} {}",
        day.unwrap_or_default(),
        wall_time(wall_ms, offset_min)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_shows_only_what_has_passed() {
        for (ms, shown) in [
            (0, "0:00"),
            (999, "0:00"),
            (1_000, "0:01"),
            (59_999, "0:59"),
            (217_000, "3:37"),
            (3_599_999, "59:59"),
            (3_600_000, "1:00:00"),
            (-5, "0:00"),
            (i64::MAX, "2562047788015:12:55"),
        ] {
            assert_eq!(clock(Millis(ms)), shown);
        }
    }

    #[test]
    fn seconds_to_go_are_rounded_up() {
        assert_eq!(seconds(Millis(39_001)), "40 s");
        assert_eq!(seconds(Millis(0)), "0 s");
        assert_eq!(seconds(Millis(100_000)), "1:40");
    }

    #[test]
    fn metres_keep_one_decimal() {
        assert_eq!(metres(Millimetres(27_000)), "27 m");
        assert_eq!(metres(Millimetres(1_829)), "1.8 m");
        assert_eq!(metres(Millimetres(-1_800)), "-1.8 m");
    }

    #[test]
    fn a_wind_is_never_told_too_low() {
        assert_eq!(wind(Speed(12_500)), "12.5 m/s");
        assert_eq!(wind(Speed(12_401)), "12.5 m/s");
        assert_eq!(wind(Speed(9_000)), "9 m/s");
    }

    /// RFC 3339 section 5.8: 1996-12-19T16:39:57-08:00 is 851042397 s after the epoch.
    #[test]
    fn wall_time_is_that_of_the_place() {
        assert_eq!(wall_time(851_042_397_000, -480), "16:39");
        assert_eq!(wall_time(851_042_397_000, 0), "00:39");
        assert_eq!(wall_time(0, 1_000_000), "--:--");
    }
}
