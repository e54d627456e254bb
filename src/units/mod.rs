//! Reads quantities that are written with a unit and keeps them as whole milliseconds, millimetres, newtons or grams.
//!
//! A number without a unit has cost lives and spacecraft, so nothing here accepts one. Arithmetic is exact (fractions of
//! 128-bit integers) and rounds once, to the nearest whole base unit, halves away from zero; whole units are what the
//! record stores, so a replay on another machine gives the same digits. Formatting for people is the task of `words`.
//! Limits: twelve digits before and nine after the decimal point, results up to 10^12 base units.

// What is computed here may come from any file and any clock, so every sum, difference and product says how it stays in range.
#![warn(clippy::arithmetic_side_effects)]

use std::fmt;

use serde::{Deserialize, Serialize};

/// A kind of quantity that can be read from text.
pub trait Quantity: Copy {
    /// What it is called in a sentence, e.g. `duration`.
    const NAME: &'static str;
    /// The units it can be written in, largest first within each system.
    const UNITS: &'static [Unit];
    /// How many parts of [`Unit::parts`] make one base unit.
    const PARTS_PER_BASE: i128;
    /// The two units a bare number most likely means, each with its plural name.
    const READINGS: [(&'static str, &'static str); 2];
    /// Makes it from whole base units.
    fn from_base(base: i64) -> Self;
    /// Its size in whole base units.
    fn base(self) -> i64;
}

/// A unit as it is written, and its exact size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unit {
    /// The sign, e.g. `ft`.
    pub sign: &'static str,
    /// Its size, counted in parts of the base unit so that it is a whole number.
    pub parts: i128,
}

macro_rules! quantity {
    ($(#[$doc:meta])* $type:ident, $name:literal, per $per:literal, [$($sign:literal = $parts:literal),+],
     $first:literal $first_name:literal, $second:literal $second_name:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $type(pub i64);

        impl $type {
            /// Nothing of it.
            pub const ZERO: $type = $type(0);

            /// The sum, held at the ends of the range.
            #[must_use]
            pub const fn saturating_add(self, other: $type) -> $type {
                $type(self.0.saturating_add(other.0))
            }

            /// The difference, held at the ends of the range.
            #[must_use]
            pub const fn saturating_sub(self, other: $type) -> $type {
                $type(self.0.saturating_sub(other.0))
            }
        }

        impl Quantity for $type {
            const NAME: &'static str = $name;
            const UNITS: &'static [Unit] = &[$(Unit { sign: $sign, parts: $parts }),+];
            const PARTS_PER_BASE: i128 = $per;
            const READINGS: [(&'static str, &'static str); 2] =
                [($first, $first_name), ($second, $second_name)];

            fn from_base(base: i64) -> $type {
                $type(base)
            }

            fn base(self) -> i64 {
                self.0
            }
        }
    };
}

quantity!(
    /// A duration or a point in time, in milliseconds.
    Millis, "duration", per 1,
    ["d" = 86_400_000, "h" = 3_600_000, "min" = 60_000, "s" = 1_000], "s" "seconds", "min" "minutes"
);
quantity!(
    /// A length in millimetres; a foot is exactly 304.8 of them, an inch 25.4.
    Millimetres, "length", per 10,
    ["m" = 10_000, "cm" = 100, "mm" = 10, "ft" = 3_048, "in" = 254], "m" "metres", "ft" "feet"
);
quantity!(
    /// A force in newtons; a pound-force is exactly 4.4482216152605 of them.
    Newtons, "force", per 10_000_000_000_000,
    ["kN" = 10_000_000_000_000_000, "N" = 10_000_000_000_000, "lbf" = 44_482_216_152_605],
    "kN" "kilonewtons", "lbf" "pounds-force"
);
quantity!(
    /// A mass in grams; a pound is exactly 453.59237 of them.
    Grams, "mass", per 100_000,
    ["kg" = 100_000_000, "g" = 100_000, "lb" = 45_359_237], "kg" "kilograms", "lb" "pounds"
);

quantity!(
    /// A speed in millimetres a second; a kilometre an hour is exactly 2500/9 of them, a knot 4630/9.
    Speed, "speed", per 900,
    ["m/s" = 900_000, "kn" = 463_000, "mph" = 402_336, "km/h" = 250_000], "m/s" "metres a second", "km/h" "kilometres an hour"
);
quantity!(
    /// A ratio in parts per million: a share such as `80 %`, or a factor such as `3 x`.
    Ratio, "ratio", per 1,
    ["x" = 1_000_000, "%" = 10_000], "%" "per cent", "x" "times"
);

impl Millis {
    /// A whole number of seconds.
    pub const fn from_seconds(seconds: i64) -> Millis {
        Millis(seconds.saturating_mul(1_000))
    }
}

/// A quantity together with how it was written, so that a limit can be compared in the unit it was given in.
#[derive(Clone, Debug)]
pub struct Written<Q> {
    /// The quantity, rounded to whole base units.
    pub value: Q,
    /// The unit of its first part.
    pub unit: &'static str,
    /// The text as it stood.
    pub text: String,
}

/// Two are equal when they mean the same in the same unit; how many zeros somebody wrote is no difference.
impl<Q: PartialEq> PartialEq for Written<Q> {
    fn eq(&self, other: &Written<Q>) -> bool {
        self.value == other.value && self.unit == other.unit
    }
}

/// True for the units of feet and pounds.
pub(crate) fn is_imperial(unit: &str) -> bool {
    ["ft", "in", "lbf", "lb", "mph"].contains(&unit)
}

/// A limit as it was published: one figure, or the same one in feet or pounds and in metric units.
///
/// Published pairs are rounded (6 ft is not 1.8 m), so a figure is compared with the one in its own system of units, and a
/// computed one, which has no unit of its own, with the more lenient.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit<Q> {
    /// The figures, at least one.
    pub given: Vec<Written<Q>>,
}

impl<Q: Quantity> Limit<Q> {
    /// The figures that something written in this unit is compared with.
    fn for_unit(&self, unit: Option<&str>) -> impl Iterator<Item = &Written<Q>> {
        let alike =
            move |it: &&Written<Q>| unit.is_some_and(|u| is_imperial(it.unit) == is_imperial(u));
        let own = self.given.iter().any(|it| alike(&it));
        self.given.iter().filter(move |it| !own || alike(it))
    }

    /// The figure that is exceeded, for a limit that nothing may be above.
    pub fn exceeded(&self, written: &Written<Q>) -> Option<&Written<Q>> {
        let most = self
            .for_unit(Some(written.unit))
            .max_by_key(|it| it.value.base())?;
        (written.value.base() > most.value.base()).then_some(most)
    }

    /// The figure that is not reached, for a limit that nothing may be below; `times` of it where several share.
    pub fn missed(&self, written: &Written<Q>, times: i64) -> Option<&Written<Q>> {
        let least = self
            .for_unit(Some(written.unit))
            .min_by_key(|it| it.value.base())?;
        (written.value.base() < least.value.base().saturating_mul(times)).then_some(least)
    }

    /// The figure that a computed value exceeds.
    pub fn exceeded_by(&self, computed: Q) -> Option<&Written<Q>> {
        let most = self.for_unit(None).max_by_key(|it| it.value.base())?;
        (computed.base() > most.value.base()).then_some(most)
    }
}

/// Why a text is not a quantity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Misread {
    /// There is nothing in it.
    Empty,
    /// A number stands alone.
    NoUnit {
        /// The number as written.
        number: String,
    },
    /// The unit is not one of this quantity.
    UnknownUnit {
        /// The unit as written.
        unit: String,
    },
    /// A number was expected where this stands.
    NotANumber {
        /// What stands there.
        text: String,
    },
    /// A unit is not smaller than the one before it.
    Order {
        /// The unit that comes too late.
        unit: String,
    },
    /// It is below zero where that makes no sense.
    Negative,
    /// It has more digits than this program keeps.
    TooLarge,
}

impl fmt::Display for Misread {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Misread::Empty => write!(f, "it is empty"),
            Misread::NoUnit { number } => write!(f, "the number {number} has no unit"),
            Misread::UnknownUnit { unit } => write!(f, "the unit `{unit}` is not known here"),
            Misread::NotANumber { text } => write!(f, "`{text}` is not a number"),
            Misread::Order { unit } => write!(f, "`{unit}` does not follow a larger unit"),
            Misread::Negative => write!(f, "it is below zero"),
            Misread::TooLarge => write!(f, "it has too many digits"),
        }
    }
}

impl std::error::Error for Misread {}

impl Misread {
    /// What to write instead, in one line.
    pub fn help<Q: Quantity>(&self) -> String {
        match self {
            Misread::NoUnit { number } => both_readings::<Q>(number),
            Misread::Negative => "write it without the minus sign".to_owned(),
            Misread::TooLarge => "use a larger unit or fewer digits".to_owned(),
            Misread::Order { .. } => "write the largest unit first, e.g. \"2 min 30 s\"".to_owned(),
            Misread::Empty | Misread::UnknownUnit { .. } | Misread::NotANumber { .. } => {
                let signs: Vec<_> = Q::UNITS.iter().map(|unit| unit.sign).collect();
                format!(
                    "write a {} as a number and one of the units {}",
                    Q::NAME,
                    signs.join(", ")
                )
            }
        }
    }
}

/// Shows the two things a bare number could mean, e.g. `write "12 m" if metres are meant, or "12 ft" if feet are meant`.
pub fn both_readings<Q: Quantity>(number: &str) -> String {
    let [(first, first_name), (second, second_name)] = Q::READINGS;
    format!(
        "write \"{number} {first}\" if {first_name} are meant, or \"{number} {second}\" if {second_name} are meant"
    )
}

/// Reads a quantity that is not below zero, e.g. `2 min 30 s`.
pub fn read<Q: Quantity>(text: &str) -> Result<Written<Q>, Misread> {
    let written = read_signed::<Q>(text)?;
    if text.trim_start().starts_with('-') {
        Err(Misread::Negative)
    } else {
        Ok(written)
    }
}

/// Reads a quantity that may be below zero, e.g. the rise of a way that goes down.
pub fn read_signed<Q: Quantity>(text: &str) -> Result<Written<Q>, Misread> {
    let trimmed = text.trim();
    let (negative, mut rest) = match trimmed.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, trimmed),
    };
    if rest.is_empty() {
        return Err(Misread::Empty);
    }
    let mut sum: i128 = 0;
    let mut first: Option<Unit> = None;
    let mut last: Option<Unit> = None;
    while !rest.is_empty() {
        let number_end = rest
            .find(|c: char| !c.is_ascii_digit() && c != '.' && c != ',')
            .unwrap_or(rest.len());
        let (number, tail) = rest.split_at(number_end);
        let tail = tail.trim_start();
        let unit_end = tail
            .find(|c: char| c.is_whitespace() || c.is_ascii_digit())
            .unwrap_or(tail.len());
        let (sign, tail) = tail.split_at(unit_end);
        rest = tail.trim_start();

        let Some(nano) = nano(number)? else {
            return Err(Misread::NotANumber {
                text: if number.is_empty() { sign } else { number }.to_owned(),
            });
        };
        if sign.is_empty() {
            return Err(Misread::NoUnit {
                number: number.to_owned(),
            });
        }
        let unit = Q::UNITS
            .iter()
            .find(|unit| unit.sign == sign)
            .ok_or_else(|| Misread::UnknownUnit {
                unit: sign.to_owned(),
            })?;
        if last.is_some_and(|last| last.parts <= unit.parts) {
            return Err(Misread::Order {
                unit: sign.to_owned(),
            });
        }
        sum = nano
            .checked_mul(unit.parts)
            .and_then(|size| sum.checked_add(size))
            .ok_or(Misread::TooLarge)?;
        first = first.or(Some(*unit));
        last = Some(*unit);
    }
    let base = divide_rounding(sum, NANO.saturating_mul(Q::PARTS_PER_BASE));
    let base = i64::try_from(base)
        .ok()
        .filter(|base| *base <= MAX_BASE)
        .ok_or(Misread::TooLarge)?;
    Ok(Written {
        value: Q::from_base(if negative {
            base.saturating_neg()
        } else {
            base
        }),
        unit: first
            .expect("the loop ran at least once, so a unit was read")
            .sign,
        text: text.to_owned(),
    })
}

/// Largest size that is accepted, in base units: above thirty years, a million kilometres or a million tonnes.
const MAX_BASE: i64 = 1_000_000_000_000;
const NANO: i128 = 1_000_000_000;
const DIGITS_BEFORE_POINT_MAX: usize = 12;
const DIGITS_AFTER_POINT_MAX: usize = 9;

/// Reads an unsigned decimal as a whole number of thousand-millionths; `None` where it is not a number.
fn nano(number: &str) -> Result<Option<i128>, Misread> {
    let (whole, fraction) = number.split_once('.').unwrap_or((number, "0"));
    if whole.is_empty() || fraction.is_empty() || fraction.contains('.') {
        return Ok(None);
    }
    if whole.len() > DIGITS_BEFORE_POINT_MAX || fraction.len() > DIGITS_AFTER_POINT_MAX {
        return Err(Misread::TooLarge);
    }
    Ok(format!("{whole}{fraction:0<DIGITS_AFTER_POINT_MAX$}")
        .parse()
        .ok())
}

/// Divides two numbers that are not negative, rounding halves up, which is away from zero.
#[expect(
    clippy::arithmetic_side_effects,
    reason = "the divisor is never zero and the remainder below it, so that neither the quotient nor the differences leave the range"
)]
fn divide_rounding(dividend: i128, divisor: i128) -> i128 {
    dividend / divisor + i128::from(dividend % divisor >= divisor - dividend % divisor)
}
