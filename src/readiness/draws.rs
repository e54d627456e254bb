//! Draws how long a piece of work takes, the same on every machine.
//!
//! A time with three points is a beta-PERT with lambda 4: shortest + range x Q, Q the quantile of Beta(1 + 4x, 5 - 4x) where
//! x is the place of the likeliest in the range. Q comes from one table: x in sixteenths, so that all exponents are
//! quarters and the density needs square roots only, and below the median share sixteen steps to each halving of the
//! share, so that the steep ends are met as well as the middle; above it the table is read mirrored.
//! A uniform is a hash of seed, name of the quantity and number of the draw, so a draw depends on no thread, no order, and
//! no quantity that somebody adds. Nothing here calls a function that machines round differently.
//! Limits: a share is one of 2^24; quantiles are within 0.001 of the range (measured against SciPy in the tests).

use std::sync::LazyLock;

use super::whole;
use crate::plan::ThreePoint;
use crate::units::Ratio;

/// How many equally likely shares there are.
const SHARES: u32 = 1 << 24;
/// Steps of the table to each halving of the share.
const STEPS: usize = 16;
const STEP_BITS: u32 = 23 - STEPS.trailing_zeros();
/// From half a share to half of all shares.
const ENTRIES: usize = STEPS * 24 + 1;
/// The likeliest value is tabled at this many equal distances.
const SHAPES: usize = 16;
/// Pieces of the integral that the table is made from.
const PIECES: usize = 1_024;

const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

/// A number for a name (FNV-1a, 64 bits).
pub fn name_of(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

/// Scatters the bits (the finish of splitmix64).
const fn scatter(bits: u64) -> u64 {
    let bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    bits ^ (bits >> 31)
}

/// All draws of one quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stream(u64);

impl Stream {
    pub(super) fn new(seed: u64, name: u64) -> Stream {
        Stream(scatter(scatter(seed.wrapping_add(GOLDEN)) ^ name))
    }

    /// Which of the equally likely shares a draw is.
    pub(super) fn share(self, draw: u32) -> u32 {
        let position = u64::from(draw).wrapping_add(1).wrapping_mul(GOLDEN);
        u32::try_from(scatter(self.0.wrapping_add(position)) >> 40)
            .expect("twenty-four bits are left")
    }

    /// A draw between zero and one, never one of them.
    pub(super) fn uniform(self, draw: u32) -> f64 {
        (f64::from(self.share(draw)) + 0.5) / f64::from(SHARES)
    }
}

/// A draw between zero and one, never one of them: a function of seed, name (see [`name_of`]) and number alone.
pub fn uniform(seed: u64, name: u64, draw: u32) -> f64 {
    Stream::new(seed, name).uniform(draw)
}

/// A beta-PERT, ready for many draws: its quantiles, in the unit of the three points.
#[derive(Clone, Debug)]
pub struct Spread {
    /// At the shares of the table, from the smallest to the median share.
    low: [f32; ENTRIES],
    /// At one less those shares.
    high: [f32; ENTRIES],
}

impl Spread {
    /// The spread of a time; its quantiles are milliseconds.
    pub fn of(time: &ThreePoint) -> Spread {
        let short = time.short.0;
        Spread::between(
            short as f32,
            time.long.0.saturating_sub(short) as f32,
            time.likely.0.saturating_sub(short) as f32,
        )
    }

    /// The spread of the crew's speed around one; a spread of zero is exactly one.
    pub fn of_crew(spread: Ratio) -> Spread {
        let spread = spread.0.clamp(0, 900_000) as f32 / 1_000_000.0;
        Spread::between(1.0 - spread, 3.0 * spread, spread)
    }

    fn between(shortest: f32, range: f32, likeliest: f32) -> Spread {
        let range = range.max(0.0);
        let place = if range > 0.0 {
            (likeliest / range).clamp(0.0, 1.0)
        } else {
            0.5
        };
        let row = whole::index(place * SHAPES as f32).min(SHAPES - 1);
        let after = place * SHAPES as f32 - row as f32;
        let mixed = |one: &[f32; ENTRIES], next: &[f32; ENTRIES], entry: usize| {
            one[entry] + (next[entry] - one[entry]) * after
        };
        let table = &*QUANTILES;
        // Above the median share: Q(x, 1 - u) = 1 - Q(1 - x, u).
        let (mirror, mirror_next) = (&table[SHAPES - row], &table[SHAPES - row - 1]);
        Spread {
            low: std::array::from_fn(|entry| {
                shortest + range * mixed(&table[row], &table[row + 1], entry)
            }),
            high: std::array::from_fn(|entry| {
                shortest + range * (1.0 - mixed(mirror, mirror_next, entry))
            }),
        }
    }

    /// The quantile at one of the equally likely shares.
    #[inline]
    pub(super) fn at(&self, share: u32) -> f32 {
        let lower = share < SHARES / 2;
        let (table, distance) = if lower {
            (&self.low, share)
        } else {
            (&self.high, SHARES - 1 - share)
        };
        // The bits of a float count halvings and equal steps between them, which is just how the table is laid out.
        let bits = (distance as f32 + 0.5).to_bits() - 0.5_f32.to_bits();
        let entry = (bits >> STEP_BITS) as usize;
        let after = (bits & ((1 << STEP_BITS) - 1)) as f32 / (1_u32 << STEP_BITS) as f32;
        table[entry] + (table[entry + 1] - table[entry]) * after
    }

    /// The quantile at a share between zero and one.
    pub fn quantile(&self, share: f64) -> f32 {
        let share = whole::index(share * f64::from(SHARES));
        self.at(u32::try_from(share).unwrap_or(SHARES).min(SHARES - 1))
    }

    /// The quantile at a share of what is left above a value that is known to be passed.
    pub(super) fn at_beyond(&self, share: u32, passed: f32) -> f32 {
        let (mut below, mut above) = (0, SHARES);
        while below < above {
            let middle = below + (above - below) / 2;
            if self.at(middle) < passed {
                below = middle + 1;
            } else {
                above = middle;
            }
        }
        if below == SHARES {
            return passed;
        }
        let left = u64::from(SHARES - below) * u64::from(share) / u64::from(SHARES);
        let share = below + u32::try_from(left).expect("it is below the number of shares");
        self.at(share).max(passed)
    }

    /// A draw: a function of seed, name (see [`name_of`]) and number alone.
    pub fn draw(&self, seed: u64, name: u64, draw: u32) -> f32 {
        self.at(Stream::new(seed, name).share(draw))
    }
}

/// Quantiles of Beta(1 + x/4, 5 - x/4) for x of 0 to 16 in the row, at the shares of the entries.
static QUANTILES: LazyLock<[[f32; ENTRIES]; SHAPES + 1]> =
    LazyLock::new(|| std::array::from_fn(quantiles));

fn fourth_root(value: f64) -> f64 {
    value.sqrt().sqrt()
}

/// A power with a whole, not negative exponent.
fn power(base: f64, exponent: usize) -> f64 {
    (0..exponent).fold(1.0, |product, _| product * base)
}

/// Integrates r^(4 + first) (1 - r^4)^(second / 4), r from zero to each of the equal steps that end at t = r^4 = 1/2.
///
/// That is the beta density in r = t^(1/4) but for a constant, and in r it has no steep end.
fn masses(first: usize, second: usize) -> Vec<f64> {
    let step = fourth_root(0.5) / PIECES as f64;
    let density = |r: f64| power(r, first + 3) * power(fourth_root(1.0 - r * r * r * r), second);
    let mut sum = 0.0;
    let mut masses = vec![0.0];
    for piece in 0..PIECES {
        let from = step * piece as f64;
        // Simpson's rule.
        sum +=
            (density(from) + 4.0 * density(from + step / 2.0) + density(from + step)) * step / 6.0;
        masses.push(sum);
    }
    masses
}

/// Where the mass is reached, as t between 0 and 1/2.
fn reached(masses: &[f64], mass: f64) -> f64 {
    let above = masses.partition_point(|it| *it < mass).clamp(1, PIECES);
    let (from, to) = (masses[above - 1], masses[above]);
    let r = (above as f64 - 1.0 + (mass - from) / (to - from)) / PIECES as f64;
    r * r * r * r / 2.0
}

fn quantiles(shape: usize) -> [f32; ENTRIES] {
    let left = masses(shape, SHAPES - shape);
    let right = masses(SHAPES - shape, shape);
    let (left_mass, right_mass) = (left[PIECES], right[PIECES]);
    std::array::from_fn(|entry| {
        let steps = u32::try_from(entry).expect("a table has a few hundred entries");
        let start = f32::from_bits(0.5_f32.to_bits() + (steps << STEP_BITS));
        let share = f64::from(start) / f64::from(SHARES);
        let mass = share * (left_mass + right_mass);
        if mass <= left_mass {
            whole::single(reached(&left, mass))
        } else {
            whole::single(1.0 - reached(&right, left_mass + right_mass - mass))
        }
    })
}
