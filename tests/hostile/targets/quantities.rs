//! Takes quantities as they are typed on a command line or stand in a plan and in a script.

use groundward::units::{
    Grams, Millimetres, Millis, Newtons, Quantity, Ratio, Speed, read, read_signed,
};

/// Texts of one line each.
pub(super) fn quantity(bytes: &[u8]) {
    for text in String::from_utf8_lossy(bytes).lines() {
        of::<Millis>(text);
        of::<Millimetres>(text);
        of::<Newtons>(text);
        of::<Grams>(text);
        of::<Speed>(text);
        of::<Ratio>(text);
    }
}

/// What is read lies in the range that is promised, and one that may be below zero is read the same where it is not.
fn of<Q: Quantity>(text: &str) {
    const MOST: i64 = 1_000_000_000_000;
    let signed = read_signed::<Q>(text);
    match (read::<Q>(text), &signed) {
        (Ok(plain), Ok(signed)) => {
            assert_eq!(plain.value.base(), signed.value.base());
            assert!((0..=MOST).contains(&plain.value.base()));
        }
        (Err(why), other) => {
            let _ = (why.to_string(), why.help::<Q>());
            if let Ok(signed) = other {
                assert!((-MOST..=0).contains(&signed.value.base()));
            }
        }
        (Ok(_), Err(why)) => panic!("`{text}` is no quantity below zero either: {why}"),
    }
}
