//! Reads the drawings of a plan: PNG files in its folder, as shades of grey.
//!
//! A drawing lies under the sketch of a level and is never needed: whatever is wrong with a file is one sentence, and the
//! sketch does without. Bounded: so many files, bytes and pixels; what is larger than a screen has use for is made smaller.

use crate::plan::{Drawing, Plan};
use crate::signal::{Drawings, Drawn};
use std::io::{Cursor, Read};
use std::path::Path;

/// A file has at most this many bytes.
const BYTES_MAX: u64 = 8 * 1_024 * 1_024;
/// A drawing has at most this many pixels a side.
const SIDE_MAX: u32 = 4_096;
/// It is kept with at most this many.
const KEPT_SIDE_MAX: usize = 2_048;
/// At most this many drawings are read.
const DRAWINGS_MAX: usize = 24;

/// Reads the drawings of a plan from its folder; without one there are none.
pub fn read(plan: &Plan, folder: Option<&Path>) -> Drawings {
    let mut drawings = Drawings::default();
    let Some(folder) = folder else {
        return drawings;
    };
    for (index, drawing) in plan.drawings.iter().enumerate() {
        let read = match index < DRAWINGS_MAX {
            true => one(drawing, folder),
            false => Err(format!("only the first {DRAWINGS_MAX} drawings are used")),
        };
        match read {
            Ok(drawn) => drawings.all.push(drawn),
            Err(why) => drawings.trouble.push((drawing.file.clone(), why)),
        }
    }
    drawings
}

fn one(drawing: &Drawing, folder: &Path) -> Result<Drawn, String> {
    let (Some(south_west), Some(north_east)) = (drawing.south_west, drawing.north_east) else {
        return Err("the plan does not say where its corners are".to_owned());
    };
    if south_west[0] >= north_east[0] || south_west[1] >= north_east[1] {
        return Err("its corners are not south-west and north-east of each other".to_owned());
    }
    // The plan names a file beside it and nothing else.
    if !drawing.is_beside() {
        return Err("it is not the name of a PNG file beside the plan".to_owned());
    }
    let mut bytes = Vec::new();
    let file = std::fs::File::open(folder.join(&drawing.file))
        .map_err(|error| format!("it cannot be opened, put it beside the plan ({error})"))?;
    file.take(BYTES_MAX + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| format!("it cannot be read ({error})"))?;
    if bytes.len() as u64 > BYTES_MAX {
        return Err("it has more than 8 MiB, make it smaller".to_owned());
    }
    let (dark, size) = shades(&bytes)?;
    Ok(Drawn {
        level: drawing.level.clone(),
        south_west,
        north_east,
        size,
        dark,
    })
}

/// How dark each pixel of a PNG file is, row by row from the upper left, and how many columns and rows there are.
///
/// # Errors
///
/// What is wrong with the file, to be put after its name.
pub fn shades(bytes: &[u8]) -> Result<(Vec<u8>, [usize; 2]), String> {
    let (dark, size) = decode(bytes)?;
    Ok(smaller(dark, size))
}

/// How dark each pixel is.
fn decode(bytes: &[u8]) -> Result<(Vec<u8>, [usize; 2]), String> {
    let broken = |error: png::DecodingError| format!("it is no PNG that can be read ({error})");
    let mut decoder = png::Decoder::new(Cursor::new(bytes));
    // What is not looked at is not unpacked either: a few bytes of it can unfold to a thousand times as many.
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    decoder.set_transformations(png::Transformations::EXPAND | png::Transformations::STRIP_16);
    let mut reader = decoder.read_info().map_err(broken)?;
    let (width, height) = (reader.info().width, reader.info().height);
    if width > SIDE_MAX || height > SIDE_MAX {
        return Err(format!(
            "it is {width} x {height} pixels, make no side longer than {SIDE_MAX}"
        ));
    }
    let size = reader
        .output_buffer_size()
        .ok_or_else(|| "it is too large".to_owned())?;
    let mut pixels = vec![0; size];
    let info = reader.next_frame(&mut pixels).map_err(broken)?;
    let channels = info.color_type.samples();
    let shade = |pixel: &[u8]| {
        let (light, seen) = match *pixel {
            [grey] => (u32::from(grey), 255),
            [grey, alpha] => (u32::from(grey), u32::from(alpha)),
            [red, green, blue] => (light(red, green, blue), 255),
            [red, green, blue, alpha] => (light(red, green, blue), u32::from(alpha)),
            _ => (255, 0),
        };
        u8::try_from((255 - light) * seen / 255).unwrap_or(u8::MAX)
    };
    let dark = pixels.chunks_exact(channels).map(shade).collect();
    Ok((dark, [width as usize, height as usize]))
}

/// How light a colour looks, after ITU-R BT.601.
fn light(red: u8, green: u8, blue: u8) -> u32 {
    (299 * u32::from(red) + 587 * u32::from(green) + 114 * u32::from(blue)) / 1_000
}

/// The mean of neighbours, where there are more pixels than are kept.
fn smaller(dark: Vec<u8>, [width, height]: [usize; 2]) -> (Vec<u8>, [usize; 2]) {
    if width.max(height) <= KEPT_SIDE_MAX {
        return (dark, [width, height]);
    }
    let half = |it: usize| it.div_ceil(2);
    let size = [half(width), half(height)];
    let mut kept = Vec::with_capacity(size[0] * size[1]);
    for y in 0..size[1] {
        for x in 0..size[0] {
            let rows = 2 * y..(2 * y + 2).min(height);
            let columns = 2 * x..(2 * x + 2).min(width);
            let all = rows.flat_map(|row| columns.clone().map(move |column| (row, column)));
            let (sum, count) = all.fold((0, 0), |(sum, count), (row, column)| {
                (sum + u32::from(dark[row * width + column]), count + 1)
            });
            kept.push(u8::try_from(sum / count).unwrap_or(u8::MAX));
        }
    }
    (kept, size)
}
