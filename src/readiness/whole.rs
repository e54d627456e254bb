//! Turns what was drawn or averaged, which are floats, into whole numbers.
//!
//! A float can be infinite, too large for what it is to become, or no number at all, and none of that may go further than
//! here: every result is in its range, what is too large is the largest, and no number is zero.

use crate::units::{Millis, Ratio};

/// A time to the nearest millisecond.
pub(super) fn rounded(time: impl Into<f64>) -> Millis {
    down(time.into().round())
}

/// A time in milliseconds, its fraction left out.
#[inline]
#[expect(
    clippy::cast_possible_truncation,
    reason = "leaving the fraction out is meant, and the cast holds at the ends of the range"
)]
pub(crate) fn down(time: impl Into<f64>) -> Millis {
    Millis(time.into() as i64)
}

/// A share as parts per million.
pub(super) fn parts(share: f64) -> Ratio {
    Ratio(rounded(share * 1_000_000.0).0)
}

/// The place in a list that so many whole steps lead to, its fraction left out; the first where it is below zero.
#[inline]
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "leaving the fraction out is meant, and the cast holds at the ends of the range"
)]
pub(crate) fn index(steps: impl Into<f64>) -> usize {
    steps.into() as usize
}

/// The nearest float of single precision: times are drawn in it because twice as many fit into a register.
#[inline]
#[expect(
    clippy::cast_possible_truncation,
    reason = "losing digits is meant, and what is too large becomes infinite, which means never"
)]
pub(super) fn single(number: f64) -> f32 {
    number as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_leaves_its_range() {
        assert_eq!(rounded(1.5), Millis(2));
        assert_eq!(down(-1.5), Millis(-1));
        for odd in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX] {
            let whole = match odd {
                _ if odd.is_nan() => 0,
                _ if odd < 0.0 => i64::MIN,
                _ => i64::MAX,
            };
            assert_eq!(
                (rounded(odd).0, down(odd).0, parts(odd).0),
                (whole, whole, whole)
            );
            assert_eq!(
                index(odd),
                usize::try_from(whole.max(0)).map_or(0, |it| if it > 0 { usize::MAX } else { 0 })
            );
        }
        assert_eq!(parts(0.25), Ratio(250_000));
        assert!(single(f64::MAX).is_infinite());
    }
}
