//! Hands over drawings of a few kilobytes that unfold to many megabytes, or say that they do.

use super::{CHILD, child, limit_growth, limit_time};
use groundward::cli::drawings::shades;
use png::{BitDepth, ColorType, Encoder};

/// A PNG file with one colour everywhere.
fn plain(side: u32, color: ColorType, depth: BitDepth) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, side, side);
    encoder.set_color(color);
    encoder.set_depth(depth);
    let side_pixels = usize::try_from(side).expect("a side fits");
    let line = (side_pixels * color.samples() * depth as usize).div_ceil(8);
    let pixels = vec![0; line * side_pixels];
    let mut writer = encoder.write_header().expect("memory takes every header");
    writer
        .write_image_data(&pixels)
        .expect("memory takes every picture");
    writer.finish().expect("memory takes every end");
    bytes
}

/// The same file with this width and height in its header; the reader is told of it before the check sum is looked at.
fn resized(mut png: Vec<u8>, width: u32, height: u32) -> Vec<u8> {
    png[16..20].copy_from_slice(&width.to_be_bytes());
    png[20..24].copy_from_slice(&height.to_be_bytes());
    let sum = super::targets::drawings::check_sum(&png[12..29]).to_be_bytes();
    png[29..33].copy_from_slice(&sum);
    png
}

/// The same file with ten million letters in it, in a few kilobytes.
fn with_much_text() -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, 1, 1);
    let text = "a".repeat(10_000_000);
    encoder
        .add_ztxt_chunk("Comment".to_owned(), text)
        .expect("the text has no letter that PNG does not know");
    let mut writer = encoder.write_header().expect("memory takes every header");
    writer
        .write_image_data(&[0])
        .expect("memory takes every picture");
    writer.finish().expect("memory takes every end");
    bytes
}

#[test]
fn drawings_that_unfold_are_refused_or_made_smaller() {
    const TEST: &str = "bombs::drawings_that_unfold_are_refused_or_made_smaller";
    if std::env::var_os(CHILD).is_none() {
        let (well, said) = child(TEST, "bombs");
        assert!(well, "{said}");
        return;
    }
    let small = plain(8, ColorType::Grayscale, BitDepth::Eight);
    let large = plain(4_096, ColorType::Grayscale, BitDepth::One);
    let larger = plain(4_097, ColorType::Grayscale, BitDepth::One);
    let text = with_much_text();
    assert!(
        [&large, &larger, &text]
            .iter()
            .all(|it| it.len() < 64 * 1_024),
        "these are no bombs"
    );
    limit_growth();
    limit_time(60);
    let (dark, size) = shades(&large).expect("this is the largest that is read");
    assert_eq!((dark.len(), size), (2_048 * 2_048, [2_048, 2_048]));
    let why = shades(&larger).expect_err("one more is too many");
    assert!(why.contains("4097") && why.contains("4096"), "{why}");
    assert!(shades(&text).is_ok_and(|(dark, _)| dark.len() == 1));
    for (width, height) in [
        (1, u32::MAX),
        (0, 0),
        (0x7fff_ffff, 0x7fff_ffff),
        (65_535, 1),
        (8, 4_096),
        (4_096, 4_096),
    ] {
        assert!(
            shades(&resized(small.clone(), width, height)).is_err(),
            "{width} x {height}"
        );
    }
}
