//! Compares quantities as they are read with exact fractions, and says what is refused.

use groundward::units::{
    Grams, Millimetres, Millis, Misread, Newtons, Quantity, both_readings, read, read_signed,
};
use proptest::prelude::*;

/// Units as exact fractions of the base unit: sign, numerator, denominator. The pound-force is row K2 of the published
/// figures; foot, inch and pound are by the international yard and pound agreement of 1959.
const DURATIONS: [(&str, i128, i128); 3] =
    [("s", 1_000, 1), ("min", 60_000, 1), ("h", 3_600_000, 1)];
const LENGTHS: [(&str, i128, i128); 5] = [
    ("m", 1_000, 1),
    ("cm", 10, 1),
    ("mm", 1, 1),
    ("ft", 3_048, 10),
    ("in", 254, 10),
];
const FORCES: [(&str, i128, i128); 3] = [
    ("N", 1, 1),
    ("kN", 1_000, 1),
    ("lbf", 44_482_216_152_605, 10_000_000_000_000),
];
const MASSES: [(&str, i128, i128); 3] =
    [("g", 1, 1), ("kg", 1_000, 1), ("lb", 45_359_237, 100_000)];

/// The whole number nearest to an exact fraction, halves away from zero, by the definition and not by a formula.
fn is_nearest(base: i128, numerator: i128, denominator: i128) -> bool {
    let (twice, exact) = (2 * base * denominator, 2 * numerator);
    exact - denominator < twice && twice <= exact + denominator
}

fn agrees<Q: Quantity + std::fmt::Debug>(
    units: &[(&str, i128, i128)],
    whole: u64,
    fraction: &str,
    unit: usize,
    space: bool,
) {
    let (sign, numerator, denominator) = units[unit % units.len()];
    let number = if fraction.is_empty() {
        whole.to_string()
    } else {
        format!("{whole}.{fraction}")
    };
    let text = format!("{number}{}{sign}", if space { " " } else { "" });
    let digits: i128 = format!("{whole}{fraction}")
        .parse()
        .expect("it is made of digits");
    let scale = 10_i128.pow(u32::try_from(fraction.len()).expect("a handful of digits fits"));
    match read::<Q>(&text) {
        Ok(written) => {
            let base = i128::from(written.value.base());
            assert!(
                is_nearest(base, digits * numerator, scale * denominator),
                "{text}: {base}"
            );
            assert_eq!(written.unit, sign);
            assert_eq!(written.text, text);
            let below =
                read_signed::<Q>(&format!("-{text}")).expect("its mirror image can be read");
            assert_eq!(i128::from(below.value.base()), -base, "-{text}");
        }
        Err(misread) => {
            assert_eq!(misread, Misread::TooLarge, "{text}");
            assert!(
                digits * numerator > 999_999_999_999 * scale * denominator,
                "{text} was refused"
            );
        }
    }
}

proptest! {
    #[test]
    fn reading_agrees_with_exact_fractions(
        whole in prop_oneof![0..1_000_u64, 0..1_000_000_000_000_u64],
        fraction in "[0-9]{0,9}",
        unit in 0..5_usize,
        space: bool,
    ) {
        agrees::<Millis>(&DURATIONS, whole, &fraction, unit, space);
        agrees::<Millimetres>(&LENGTHS, whole, &fraction, unit, space);
        agrees::<Newtons>(&FORCES, whole, &fraction, unit, space);
        agrees::<Grams>(&MASSES, whole, &fraction, unit, space);
    }

    #[test]
    fn parts_add_up_before_they_are_rounded(hours in 0..99_i64, minutes in 0..99_i64, seconds in 0..99_i64, tenths in 0..9_i64) {
        let text = format!("{hours} h {minutes}min {seconds}.{tenths} s");
        let expected = ((hours * 60 + minutes) * 60 + seconds) * 1_000 + tenths * 100;
        prop_assert_eq!(read::<Millis>(&text).map(|it| it.value), Ok(Millis(expected)));
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC*") {
        let _ = read_signed::<Millis>(&text);
        let _ = read_signed::<Newtons>(&text);
    }
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
