//! Holds what several test modules need: plans made from a seed, and a seeded source of chance.

pub(crate) mod odd;
pub(crate) mod oracle;
pub(crate) mod pinned;
pub(crate) mod plans;
pub(crate) mod tablet;

/// The day on which the built-in plans are looked at, whenever the tests run.
pub(crate) fn day() -> chrono::NaiveDate {
    "2026-11-25".parse().expect("it is a day of the calendar")
}

/// A small seeded generator (splitmix64), so that a failing run can be repeated from one number.
#[derive(Clone, Debug)]
pub(crate) struct Chance(pub(crate) u64);

impl Chance {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `end`.
    pub(crate) fn below(&mut self, end: u64) -> u64 {
        self.next() % end.max(1)
    }

    /// One of these.
    pub(crate) fn among<T: Copy>(&mut self, these: &[T]) -> T {
        these[self.below(these.len() as u64) as usize]
    }

    /// True once in `n` times.
    pub(crate) fn one_in(&mut self, n: u64) -> bool {
        self.below(n) == 0
    }
}
