//! Shades the drawing of a level for the part of it that a sketch shows, in the pixels of the screen.
//!
//! White paper is left out and black lines become shade, so the screen draws them in a colour of its own, in every theme. The
//! shade is thin, because marks and words over it matter more. It is made anew only when the sketch shows another part.

use super::canvas::Room;
use super::level::Placed;
use crate::signal::{Drawings, Drawn};
use slint::{Image, Rgba8Pixel, SharedPixelBuffer};
use std::sync::Arc;

/// So much of a black line is seen, of 255.
const SHADE: u32 = 220;
/// A picture has at most so many pixels a side.
const SIDE_MAX: f64 = 2_048.0;

/// What a shade was made from.
type Made = (Arc<Drawings>, Placed, Room, f32);

/// Keeps the last shade.
#[derive(Debug, Default)]
pub(super) struct Shade(Option<Made>);

impl Shade {
    /// The picture to be shown where it is another one than before, or that there is none any more.
    pub(super) fn of(
        &mut self,
        drawings: &Arc<Drawings>,
        placed: &Placed,
        room: &Room,
        scale: f32,
    ) -> Option<Option<Image>> {
        let same = self.0.as_ref().is_some_and(|(made, at, within, by)| {
            Arc::ptr_eq(made, drawings) && at == placed && within == room && *by == scale
        });
        let was = self.0.as_ref().is_some_and(|it| it.1.drawing.is_some());
        if same || placed.drawing.is_none() && !was {
            return None;
        }
        self.0 = Some((drawings.clone(), *placed, *room, scale));
        let drawn = placed.drawing.and_then(|it| drawings.all.get(it));
        Some(drawn.map(|it| shade(it, placed, room, f64::from(scale))))
    }
}

/// The part of a drawing that is in the room.
fn shade(drawn: &Drawn, placed: &Placed, room: &Room, scale: f64) -> Image {
    let side = |it: f64| (it * scale).round().clamp(1.0, SIDE_MAX) as usize;
    let (width, height) = (side(room.width), side(room.height));
    let mut buffer = SharedPixelBuffer::<Rgba8Pixel>::new(width as u32, height as u32);
    // Which pixels of the drawing each column and each row of the picture shows.
    let spans =
        |count: usize, all: f64, begin: f64, size: f64, pixels: usize| -> Vec<(usize, usize)> {
            let at = |index: usize| {
                let here = index as f64 / count as f64 * all;
                (here - begin) / size * pixels as f64
            };
            let bound = |it: f64| it.clamp(0.0, pixels as f64);
            (0..count)
                .map(|index| {
                    let (from, to) = (at(index), at(index + 1));
                    if to <= 0.0 || from >= pixels as f64 {
                        return (0, 0);
                    }
                    let first = (bound(from) as usize).min(pixels - 1);
                    (first, (bound(to).ceil() as usize).max(first + 1))
                })
                .collect()
        };
    let columns = spans(width, room.width, placed.left, placed.width, drawn.size[0]);
    let rows = spans(
        height,
        room.height,
        placed.top,
        placed.height,
        drawn.size[1],
    );
    let pixels = buffer.make_mut_slice();
    for (y, (top, bottom)) in rows.into_iter().enumerate() {
        for (x, (left, right)) in columns.iter().enumerate() {
            let area = (bottom - top) * (right - left);
            if area == 0 {
                continue;
            }
            let row = |row: usize| &drawn.dark[row * drawn.size[0]..][*left..*right];
            let sum: u32 = (top..bottom).flat_map(row).map(|it| u32::from(*it)).sum();
            let dark = sum / u32::try_from(area).unwrap_or(u32::MAX);
            pixels[y * width + x].a = u8::try_from(dark * SHADE / 255).unwrap_or(u8::MAX);
        }
    }
    Image::from_rgba8(buffer)
}
