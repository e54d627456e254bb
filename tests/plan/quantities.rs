//! Compares quantities as they are read with exact fractions, limits with the published pairs, and says what is refused.
//!
//! The oracle knows each unit as a fraction from the text that defines it, and whole numbers without an end (`Natural`
//! below), so it shares neither a table nor an arithmetic with the reader. Rounding is checked by what it means, halves
//! away from zero, and not by a formula.

use std::cmp::Ordering;

use groundward::units::{
    Grams, Limit, Millimetres, Millis, Misread, Newtons, Quantity, Ratio, Speed, Written,
    both_readings, read, read_signed,
};
use proptest::prelude::*;

/// A unit: its sign, and its size in base units as numerator and denominator.
type Unit = (&'static str, u64, u64);

/// In milliseconds. The International System of Units (SI Brochure, 9th edition, table 8): 1 min = 60 s, 1 h = 60 min,
/// 1 d = 24 h.
const DURATIONS: &[Unit] = &[
    ("d", 24 * 60 * 60 * 1_000, 1),
    ("h", 60 * 60 * 1_000, 1),
    ("min", 60 * 1_000, 1),
    ("s", 1_000, 1),
];
/// In millimetres. International yard and pound agreement of 1959: 1 ft = 0.3048 m exactly, 12 in = 1 ft.
const LENGTHS: &[Unit] = &[
    ("m", 1_000, 1),
    ("ft", 3_048, 10),
    ("in", 3_048, 10 * 12),
    ("cm", 10, 1),
    ("mm", 1, 1),
];
/// In newtons. The pound of 1959 under standard gravity, 9.80665 m/s2 (3rd General Conference on Weights and Measures,
/// 1901): 1 lbf = 4.4482216152605 N exactly, row K2 of the published figures.
const FORCES: &[Unit] = &[
    ("kN", 1_000, 1),
    ("lbf", 44_482_216_152_605, 10_000_000_000_000),
    ("N", 1, 1),
];
/// In grams. International yard and pound agreement of 1959: 1 lb = 0.45359237 kg exactly.
const MASSES: &[Unit] = &[("kg", 1_000, 1), ("lb", 45_359_237, 100_000), ("g", 1, 1)];
/// In millimetres a second. First International Extraordinary Hydrographic Conference, 1929: a nautical mile is 1852 m,
/// and a knot one of them an hour. Mile: 5,280 ft of 1959, which is 1609.344 m.
const SPEEDS: &[Unit] = &[
    ("m/s", 1_000, 1),
    ("kn", 1_852_000, 3_600),
    ("mph", 1_609_344, 3_600),
    ("km/h", 1_000_000, 3_600),
];
/// In parts per million.
const RATIOS: &[Unit] = &[("x", 1_000_000, 1), ("%", 10_000, 1)];

/// Largest quantity that is kept, in base units.
const MOST: u64 = 1_000_000_000_000;

/// A whole number without an end, least digit first, in the base 2^32.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Natural(Vec<u32>);

impl Natural {
    fn of(number: u64) -> Natural {
        Natural(vec![number as u32, (number >> 32) as u32]).trimmed()
    }

    /// Reads decimal digits.
    fn read(digits: &str) -> Natural {
        digits.bytes().fold(Natural::of(0), |sum, digit| {
            sum.times(&Natural::of(10))
                .plus(&Natural::of(u64::from(digit - b'0')))
        })
    }

    fn trimmed(mut self) -> Natural {
        while self.0.last() == Some(&0) {
            self.0.pop();
        }
        self
    }

    fn plus(&self, other: &Natural) -> Natural {
        let (mut sum, mut carry) = (Vec::new(), 0);
        for at in 0..=self.0.len().max(other.0.len()) {
            let digit = |of: &Natural| u64::from(of.0.get(at).copied().unwrap_or(0));
            carry += digit(self) + digit(other);
            sum.push(carry as u32);
            carry >>= 32;
        }
        Natural(sum).trimmed()
    }

    fn times(&self, other: &Natural) -> Natural {
        let mut product = vec![0_u32; self.0.len() + other.0.len() + 1];
        for (i, a) in self.0.iter().enumerate() {
            let mut carry = 0;
            for (j, b) in other.0.iter().chain([&0]).enumerate() {
                carry += u64::from(*a) * u64::from(*b) + u64::from(product[i + j]);
                product[i + j] = carry as u32;
                carry >>= 32;
            }
        }
        Natural(product).trimmed()
    }
}

impl PartialOrd for Natural {
    fn partial_cmp(&self, other: &Natural) -> Option<Ordering> {
        let by_length = self.0.len().cmp(&other.0.len());
        Some(by_length.then_with(|| self.0.iter().rev().cmp(other.0.iter().rev())))
    }
}

/// A fraction that is not below zero.
#[derive(Clone, Debug)]
struct Fraction(Natural, Natural);

impl Fraction {
    fn plus(&self, other: &Fraction) -> Fraction {
        let across = self.0.times(&other.1).plus(&other.0.times(&self.1));
        Fraction(across, self.1.times(&other.1))
    }

    /// True for the nearest whole number; of two that are as near, for the one farther from zero.
    fn rounds_to(&self, whole: u64) -> bool {
        let Fraction(numerator, denominator) = self;
        let two = Natural::of(2);
        let (twice, exact) = (
            Natural::of(whole).times(&two).times(denominator),
            numerator.times(&two),
        );
        // whole - 1/2 <= exact < whole + 1/2, all of it times 2 and the denominator.
        twice <= exact.plus(denominator) && exact < twice.plus(denominator)
    }
}

/// A number as somebody writes it, with its unit.
#[derive(Clone, Debug)]
struct Part {
    whole: u64,
    decimals: String,
    unit: usize,
    space: bool,
}

impl Part {
    fn any() -> impl Strategy<Value = Part> {
        let whole = prop_oneof![0..100_u64, 0..1_000_000_u64, 0..1_000_000_000_000_u64];
        let decimals = prop_oneof![Just(String::new()), "[0-9]{1,9}", "[0-9]{0,3}5"];
        (whole, decimals, 0..5_usize, any::<bool>()).prop_map(|(whole, decimals, unit, space)| {
            Part {
                whole,
                decimals,
                unit,
                space,
            }
        })
    }

    fn written(&self, sign: &str) -> String {
        let point = if self.decimals.is_empty() { "" } else { "." };
        let space = if self.space { " " } else { "" };
        format!("{}{point}{}{space}{sign}", self.whole, self.decimals)
    }

    fn size(&self, (_, numerator, denominator): Unit) -> Fraction {
        let digits = Natural::read(&format!("{}{}", self.whole, self.decimals));
        let scale = Natural::read(&format!("1{}", "0".repeat(self.decimals.len())));
        Fraction(
            digits.times(&Natural::of(numerator)),
            scale.times(&Natural::of(denominator)),
        )
    }
}

/// Compares one number with a unit, and its mirror image, with what it means.
fn agrees<Q: Quantity>(units: &[Unit], part: &Part) {
    let unit = units[part.unit % units.len()];
    compare::<Q>(&part.written(unit.0), &part.size(unit), unit.0);
}

/// Compares several parts, the largest unit first, with their sum.
fn agrees_in_sum<Q: Quantity>(units: &[Unit], parts: &[Part]) {
    let picked: Vec<(Unit, &Part)> = units
        .iter()
        .copied()
        .zip(parts)
        .filter(|(_, it)| it.unit > 1)
        .collect();
    let Some(((first, _, _), _)) = picked.first() else {
        return;
    };
    let text: Vec<String> = picked
        .iter()
        .map(|(unit, part)| part.written(unit.0))
        .collect();
    let nothing = Fraction(Natural::of(0), Natural::of(1));
    let sum = picked
        .iter()
        .fold(nothing, |sum, (unit, part)| sum.plus(&part.size(*unit)));
    compare::<Q>(&text.join(" "), &sum, first);
}

#[track_caller]
fn compare<Q: Quantity>(text: &str, exact: &Fraction, unit: &str) {
    match read::<Q>(text) {
        Ok(written) => {
            let base = written.value.base();
            let size = u64::try_from(base).expect("nothing here is below zero");
            assert!(exact.rounds_to(size), "{text} is not {size}");
            assert!(size <= MOST);
            assert_eq!((written.unit, &*written.text), (unit, text));
            let mirrored = read_signed::<Q>(&format!("-{text}")).map(|it| it.value.base());
            assert_eq!(mirrored, Ok(-base), "-{text}");
            let refused = read::<Q>(&format!("-{text}")).map(|it| it.value.base());
            assert_eq!(refused, Err(Misread::Negative), "-{text}");
        }
        Err(misread) => {
            assert_eq!(misread, Misread::TooLarge, "{text}");
            // The largest size that still rounds to what is kept is half a unit above it.
            let most = Natural::of(2 * MOST + 1).times(&exact.1);
            assert!(exact.0.times(&Natural::of(2)) >= most, "{text} was refused");
        }
    }
}

/// The quantities have the units of the oracle and no others, and from the largest to the smallest.
#[test]
fn every_unit_is_known_to_the_oracle() {
    fn same<Q: Quantity>(units: &[Unit]) {
        let mut known: Vec<_> = Q::UNITS.to_vec();
        known.sort_by_key(|unit| std::cmp::Reverse(unit.parts));
        let (ours, oracle): (Vec<&str>, Vec<&str>) = (
            known.iter().map(|unit| unit.sign).collect(),
            units.iter().map(|unit| unit.0).collect(),
        );
        assert_eq!(ours, oracle, "{}", Q::NAME);
    }
    same::<Millis>(DURATIONS);
    same::<Millimetres>(LENGTHS);
    same::<Newtons>(FORCES);
    same::<Grams>(MASSES);
    same::<Speed>(SPEEDS);
    same::<Ratio>(RATIOS);
}

proptest! {
    #[test]
    fn one_number_agrees_with_exact_fractions(part in Part::any()) {
        agrees::<Millis>(DURATIONS, &part);
        agrees::<Millimetres>(LENGTHS, &part);
        agrees::<Newtons>(FORCES, &part);
        agrees::<Grams>(MASSES, &part);
        agrees::<Speed>(SPEEDS, &part);
        agrees::<Ratio>(RATIOS, &part);
    }

    #[test]
    fn mixed_units_are_added_exactly_and_rounded_once(parts in prop::collection::vec(Part::any(), 5)) {
        agrees_in_sum::<Millis>(DURATIONS, &parts);
        agrees_in_sum::<Millimetres>(LENGTHS, &parts);
        agrees_in_sum::<Newtons>(FORCES, &parts);
        agrees_in_sum::<Grams>(MASSES, &parts);
        agrees_in_sum::<Speed>(SPEEDS, &parts);
        agrees_in_sum::<Ratio>(RATIOS, &parts);
    }

    #[test]
    fn a_smaller_unit_never_stands_before_a_larger_one(part in Part::any(), first in 0..5_usize, second in 0..5_usize) {
        let (first, second) = (LENGTHS[first], LENGTHS[second]);
        let part = Part { whole: part.whole % 1_000, ..part };
        let text = format!("{} {}", part.written(first.0), part.written(second.0));
        let larger = u128::from(first.1) * u128::from(second.2) > u128::from(second.1) * u128::from(first.2);
        let refused = Misread::Order { unit: second.0.to_owned() };
        let found = read::<Millimetres>(&text).map(|it| it.value);
        prop_assert_eq!(found.err(), (!larger).then_some(refused), "{}", text);
    }

    #[test]
    fn room_around_numbers_and_units_means_nothing(part in Part::any(), before in "[ \\t]{0,3}", between in "[ \\t]{0,3}", after in "[ \\t]{0,3}") {
        let (sign, ..) = FORCES[part.unit % FORCES.len()];
        let tight = Part { space: false, ..part };
        let number = tight.written("");
        let roomy = format!("{before}{number}{between}{sign}{after}");
        let value = |text: &str| read::<Newtons>(text).map(|it| it.value);
        prop_assert_eq!(value(&roomy), value(&tight.written(sign)));
    }

    #[test]
    fn a_limit_is_compared_in_the_units_of_what_is_held_against_it(feet in 0..20_000_i64, metres in 0..20_000_i64, value in 0..20_000_i64) {
        // Hundredths of a foot or metre; the pair need not be one of the published ones.
        let text = |hundredths: i64, unit: &str| format!("{}.{:02} {unit}", hundredths / 100, hundredths % 100);
        let limit = pair::<Millimetres>(&[&text(feet, "ft"), &text(metres, "m")]);
        let held = |unit: &str| written::<Millimetres>(&text(value, unit));
        prop_assert_eq!(limit.exceeded(&held("ft")).is_some(), held("ft").value > limit.given[0].value);
        prop_assert_eq!(limit.exceeded(&held("m")).is_some(), held("m").value > limit.given[1].value);
        prop_assert_eq!(limit.missed(&held("ft"), 2).is_some(), held("ft").value.0 < 2 * limit.given[0].value.0);
        let lenient = limit.given.iter().map(|it| it.value).max();
        prop_assert_eq!(limit.exceeded_by(held("m").value).is_some(), Some(held("m").value) > lenient);
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC*") {
        let _ = read_signed::<Millis>(&text);
        let _ = read_signed::<Newtons>(&text);
    }
}

fn written<Q: Quantity>(text: &str) -> Written<Q> {
    read(text).unwrap_or_else(|misread| panic!("{text}: {misread}"))
}

fn pair<Q: Quantity>(figures: &[&str]) -> Limit<Q> {
    Limit {
        given: figures.iter().map(|text| written(text)).collect(),
    }
}

/// What may not be above a limit: each passes or exceeds the figure that is named.
#[track_caller]
fn at_most<Q: Quantity>(limit: &Limit<Q>, passes: &[&str], exceeds: &[(&str, &str)]) {
    for text in passes {
        assert!(limit.exceeded(&written(text)).is_none(), "{text} passes");
    }
    for (text, figure) in exceeds {
        let found = limit.exceeded(&written(text)).map(|it| it.text.as_str());
        assert_eq!(found, Some(*figure), "{text}");
    }
}

#[test]
fn an_anchorage_is_held_to_five_thousand_pounds_or_twenty_two_point_two_kilonewtons() {
    // K1: 29 CFR 1926.502(d)(15), for each person attached. 5,000 lbf are 22.241 kN, and both sides of the pair pass.
    let limit = pair::<Newtons>(&["5000 lbf", "22.2 kN"]);
    let missed = |text: &str, persons: i64| {
        limit
            .missed(&written(text), persons)
            .map(|it| it.text.clone())
    };
    for text in ["5000 lbf", "22.2 kN", "22200 N", "22.25 kN", "10000 lbf"] {
        assert_eq!(missed(text, 1), None, "{text} passes");
    }
    for (text, figure) in [
        ("22 kN", "22.2 kN"),
        ("22199 N", "22.2 kN"),
        ("4999 lbf", "5000 lbf"),
        ("3600 lbf", "5000 lbf"),
    ] {
        assert_eq!(missed(text, 1).as_deref(), Some(figure), "{text}");
    }
    assert_eq!(missed("10000 lbf", 2), None);
    assert_eq!(missed("44.4 kN", 2), None);
    assert_eq!(missed("44.3 kN", 2).as_deref(), Some("22.2 kN"));
    assert_eq!(missed("10000 lbf", 3).as_deref(), Some("5000 lbf"));
}

#[test]
fn what_arrests_a_fall_is_held_to_the_published_pairs() {
    // K2: 29 CFR 1926.502(d)(16).
    at_most::<Newtons>(
        &pair(&["1800 lbf", "8 kN"]),
        &["1800 lbf", "8 kN", "8000 N", "6 kN"],
        &[
            ("1801 lbf", "1800 lbf"),
            ("8.01 kN", "8 kN"),
            ("8001 N", "8 kN"),
        ],
    );
    let free_fall = pair::<Millimetres>(&["6 ft", "1.8 m"]);
    at_most(
        &free_fall,
        &["6 ft", "1.8 m", "72 in", "5 ft 12 in", "180 cm", "1800 mm"],
        &[
            ("1.83 m", "1.8 m"),
            ("1801 mm", "1.8 m"),
            ("6.1 ft", "6 ft"),
            ("6 ft 1 in", "6 ft"),
        ],
    );
    // 6 ft are 1828.8 mm, which are kept as 1829: what is computed is compared with the lenient side.
    assert!(free_fall.exceeded_by(Millimetres(1_829)).is_none());
    let exceeded = free_fall.exceeded_by(Millimetres(1_830));
    assert_eq!(exceeded.map(|it| it.text.as_str()), Some("6 ft"));
    at_most::<Millimetres>(
        &pair(&["3.5 ft", "1.07 m"]),
        &["3.5 ft", "3 ft 6 in", "42 in", "1.07 m", "1070 mm"],
        &[
            ("3.6 ft", "3.5 ft"),
            ("1.08 m", "1.07 m"),
            ("43 in", "3.5 ft"),
        ],
    );
}

#[test]
fn people_and_ropes_are_held_to_the_published_pairs() {
    // K4: test criteria of 29 CFR 1926.502 and 1910.140.
    let person = pair::<Grams>(&["310 lb", "140 kg"]);
    at_most(
        &person,
        &["310 lb", "140 kg", "140000 g"],
        &[("311 lb", "310 lb"), ("140.1 kg", "140 kg")],
    );
    // 310 lb are 140.614 kg: the lenient side for what was added up.
    assert!(person.exceeded_by(Grams(140_614)).is_none());
    assert!(person.exceeded_by(Grams(140_615)).is_some());
    // K14: 29 CFR 1910.27(b)(2)(i), rope descent, and 1910.146(k)(3)(ii), vertical entry, which has no metric figure.
    let descent = pair::<Millimetres>(&["300 ft", "91 m"]);
    at_most(
        &descent,
        &["300 ft", "91 m"],
        &[("301 ft", "300 ft"), ("91.1 m", "91 m")],
    );
    assert!(descent.exceeded_by(Millimetres(91_440)).is_none());
    assert!(descent.exceeded_by(Millimetres(91_441)).is_some());
    at_most::<Millimetres>(
        &pair(&["5 ft"]),
        &["5 ft", "1.5 m", "1.524 m", "60 in"],
        &[("5.01 ft", "5 ft"), ("1.525 m", "5 ft")],
    );
}

#[track_caller]
fn is<Q: Quantity + PartialEq + std::fmt::Debug>(text: &str, expected: Q) {
    assert_eq!(
        read_signed::<Q>(text).map(|it| it.value),
        Ok(expected),
        "{text}"
    );
}

#[test]
fn quantities_are_read_as_the_trade_writes_them() {
    is("90 s", Millis(90_000));
    is("9 min", Millis(540_000));
    is("2 min 30 s", Millis(150_000));
    is("1 h", Millis(3_600_000));
    is("1.5 m", Millimetres(1_500));
    is("6 ft 6 in", Millimetres(1_981));
    is("-0.5 m", Millimetres(-500));
    is("  200 ft ", Millimetres(60_960));
    is("180 d", Millis(15_552_000_000));
    is("1 d 2 h 3 min 4.5 s", Millis(93_784_500));
    is("5 ft 6 in", Millimetres(1_676));
    is("1.2 m/s", Speed(1_200));
    is("36 km/h", Speed(10_000));
    is("10 kn", Speed(5_144));
    is("25 mph", Speed(11_176));
    is("90 %", Ratio(900_000));
    is("3 x", Ratio(3_000_000));
}

#[test]
fn published_limits_come_out_as_published() {
    // K1 and K2, 29 CFR 1926.502(d)(15) and (16): the pairs 5,000 lbf / 22.2 kN, 1,800 lbf / 8 kN, 6 ft / 1.8 m,
    // 3.5 ft / 1.07 m; K4: 310 lb / 140 kg.
    is("5000 lbf", Newtons(22_241));
    is("22.2 kN", Newtons(22_200));
    is("1800 lbf", Newtons(8_007));
    is("6 ft", Millimetres(1_829));
    is("3.5 ft", Millimetres(1_067));
    is("310 lb", Grams(140_614));
    // One pound-force is 4.4482216152605 N: ten million million of them show every digit.
    is("100000000000 lbf", Newtons(444_822_161_526));
}

#[test]
fn halves_are_rounded_away_from_zero() {
    is("0.5 mm", Millimetres(1));
    is("-0.5 mm", Millimetres(-1));
    is("0.499999999 mm", Millimetres(0));
    is("2.5 mm", Millimetres(3));
    is("0.0015 s", Millis(2));
    is("-0.0015 s", Millis(-2));
    // 1.25 in are 31.75 mm, and half a foot and a half inch 165.1 mm.
    is("1.25 in", Millimetres(32));
    is("0.5 ft 0.5 in", Millimetres(165));
    // Rounded once, at the end: two halves are one whole, not two.
    is("0.05 cm 0.5 mm", Millimetres(1));
    is("0.00005 %", Ratio(1));
}

#[track_caller]
fn refuses(text: &str, expected: Misread) {
    assert_eq!(
        read::<Millis>(text).map(|it| it.value),
        Err(expected),
        "{text}"
    );
}

#[test]
fn what_is_no_quantity_is_refused_in_plain_words() {
    let unit = |unit: &str| Misread::UnknownUnit {
        unit: unit.to_owned(),
    };
    let number = |text: &str| Misread::NotANumber {
        text: text.to_owned(),
    };
    refuses("", Misread::Empty);
    refuses(" - ", Misread::Empty);
    refuses(
        "90",
        Misread::NoUnit {
            number: "90".to_owned(),
        },
    );
    refuses(
        "2 min 30",
        Misread::NoUnit {
            number: "30".to_owned(),
        },
    );
    refuses("90 m", unit("m"));
    refuses("90 seconds", unit("seconds"));
    refuses("1e3 s", unit("e"));
    refuses("2,5 s", number("2,5"));
    refuses("2. s", number("2."));
    refuses(".5 s", number(".5"));
    refuses("s", number("s"));
    refuses("soon", number("soon"));
    refuses(
        "30 s 2 min",
        Misread::Order {
            unit: "min".to_owned(),
        },
    );
    refuses(
        "2 s 2 s",
        Misread::Order {
            unit: "s".to_owned(),
        },
    );
    refuses("-3 s", Misread::Negative);
    refuses("1234567890123 s", Misread::TooLarge);
    refuses("0.1234567890 s", Misread::TooLarge);
    refuses("1000000001 s", Misread::TooLarge);
}

#[test]
fn a_bare_number_is_answered_with_both_readings() {
    let help = Misread::NoUnit {
        number: "12".to_owned(),
    }
    .help::<Millimetres>();
    assert_eq!(
        help,
        "write \"12 m\" if metres are meant, or \"12 ft\" if feet are meant"
    );
    assert_eq!(help, both_readings::<Millimetres>("12"));
    assert!(both_readings::<Millis>("90").contains("\"90 s\""));
    assert!(both_readings::<Newtons>("22").contains("\"22 lbf\""));
    assert!(both_readings::<Grams>("80").contains("\"80 kg\""));
}

#[test]
fn sums_stop_at_the_ends_of_the_range() {
    assert_eq!(Millis(i64::MAX).saturating_add(Millis(1)), Millis(i64::MAX));
    assert_eq!(Millis(i64::MIN).saturating_sub(Millis(1)), Millis(i64::MIN));
    assert_eq!(Millis::from_seconds(i64::MAX), Millis(i64::MAX));
}
