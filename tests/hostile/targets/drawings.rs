//! Takes the drawings beside a plan: PNG files, also with their check sums put right, so that a changed byte gets past them.

use groundward::cli::drawings::shades;

/// A PNG file.
pub(super) fn drawing(bytes: &[u8]) {
    for bytes in [bytes, &with_check_sums(bytes)] {
        if let Ok((dark, [width, height])) = shades(bytes) {
            assert_eq!(dark.len(), width * height);
            assert!(dark.len() <= 2_048 * 2_048);
        }
    }
}

/// The same file with the check sum of every chunk as it should be.
fn with_check_sums(bytes: &[u8]) -> Vec<u8> {
    let mut mended = bytes.to_vec();
    let mut at = 8;
    while let Some(length) = mended.get(at..at + 4) {
        let length = u32::from_be_bytes(length.try_into().expect("four bytes were asked for"));
        let length = usize::try_from(length).expect("a tablet counts in 32 bits at least");
        let Some(sum_at) = at.checked_add(8).and_then(|it| it.checked_add(length)) else {
            break;
        };
        let Some(chunk) = mended.get(at + 4..sum_at) else {
            break;
        };
        let sum = check_sum(chunk).to_be_bytes();
        match mended.get_mut(sum_at..sum_at + 4) {
            Some(place) => place.copy_from_slice(&sum),
            None => break,
        }
        at = sum_at + 4;
    }
    mended
}

/// CRC-32 as the PNG standard defines it.
pub(crate) fn check_sum(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| match sum & 1 {
            1 => sum >> 1 ^ 0xedb8_8320,
            _ => sum >> 1,
        })
    })
}
