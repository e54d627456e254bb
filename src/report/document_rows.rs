//! Breaks the texts of a report into rows of a given width, each text still knowing where in the report it stands.
//!
//! Words part at spaces alone, so that a no-break space holds. A stretch in one look is one text, measured as a whole by the
//! shaper that paper uses, so that it is as wide there as here.

use super::document::Span;
use super::drawing::{Drawing, Ink};
use super::face::Faces;
use super::pieces::baseline;

/// Where something stands in the report: block, row and cell. The title is block 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Place {
    pub(super) block: usize,
    pub(super) row: usize,
    pub(super) cell: usize,
}

/// One thing to draw; lengths in points from the top left of its piece.
#[derive(Clone, Debug)]
pub(super) enum Op<'a> {
    /// Letters, `y` at the line that they stand on.
    Text {
        x: f32,
        y: f32,
        size: f32,
        strong: bool,
        ink: Ink,
        text: String,
        /// The record that it leads to.
        record: Option<u64>,
        place: Place,
    },
    /// A filled rectangle.
    Area {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
        ink: Ink,
    },
    /// A picture, this much of its size.
    Picture {
        drawing: &'a Drawing,
        scale: f32,
        place: Place,
    },
    /// A code, its white edge included.
    Code {
        cells: &'a [Vec<bool>],
        side: f32,
        place: Place,
    },
}

/// A stretch of a row in one look.
#[derive(Clone, Debug)]
struct Bit {
    x: f32,
    strong: bool,
    record: Option<u64>,
    text: String,
}

/// How a text is set.
#[derive(Clone, Copy)]
pub(super) struct Setting {
    pub(super) size: f32,
    pub(super) strong: bool,
    pub(super) ink: Ink,
    pub(super) width: f32,
}

/// The rows of a text, each as something to draw, and how high they are.
pub(super) fn rows<'a>(
    spans: &[Span],
    setting: Setting,
    place: Place,
    faces: &Faces,
) -> Vec<Vec<Op<'a>>> {
    let broken = broken(spans, setting, faces);
    let last = broken.len().saturating_sub(1);
    let each = broken.into_iter().enumerate().map(|(number, row)| {
        let end = row.len().saturating_sub(1);
        let bits = row.into_iter().enumerate().map(|(i, bit)| {
            // A row ends in a space, so that whoever copies or hears the text gets two words.
            let space = if number < last && i == end { " " } else { "" };
            Op::Text {
                x: bit.x,
                y: baseline(setting.size),
                size: setting.size,
                strong: bit.strong,
                ink: if bit.record.is_some() {
                    Ink::Done
                } else {
                    setting.ink
                },
                text: bit.text + space,
                record: bit.record,
                place,
            }
        });
        bits.collect()
    });
    each.collect()
}

/// Where a row of texts ends.
pub(super) fn end(row: &[Op<'_>], faces: &Faces) -> f32 {
    row.iter().fold(0.0, |end, op| match op {
        Op::Text {
            x,
            size,
            strong,
            text,
            ..
        } => (x + faces.width(text.trim_end(), *strong) * size).max(end),
        _ => end,
    })
}

/// Words between spaces, each of stretches in one look.
fn words(spans: &[Span], strong: bool) -> Vec<Vec<Bit>> {
    let mut words: Vec<Vec<Bit>> = vec![Vec::new()];
    for span in spans {
        let (text, strong, record) = match span {
            Span::Text(text) => (text.clone(), strong, None),
            Span::Strong(text) => (text.clone(), true, None),
            Span::Record(number) => (number.to_string(), strong, Some(*number)),
        };
        for (i, part) in text.split(' ').enumerate() {
            if i > 0 {
                words.push(Vec::new());
            }
            if let Some(word) = words.last_mut().filter(|_| !part.is_empty()) {
                word.push(Bit {
                    x: 0.0,
                    strong,
                    record,
                    text: part.to_owned(),
                });
            }
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

/// Breaks a text into rows; a word that is longer than a row is cut.
fn broken(spans: &[Span], setting: Setting, faces: &Faces) -> Vec<Vec<Bit>> {
    let wide = |bit: &Bit| faces.width(&bit.text, bit.strong) * setting.size;
    let space = faces.width(" ", setting.strong) * setting.size;
    let mut rows: Vec<Vec<Bit>> = Vec::new();
    let mut row: Vec<Bit> = Vec::new();
    let mut x = 0.0;
    for word in words(spans, setting.strong) {
        let width: f32 = word.iter().map(wide).sum();
        if !row.is_empty() && x + space + width > setting.width {
            rows.push(std::mem::take(&mut row));
            x = 0.0;
        }
        if !row.is_empty() {
            let text = " ".to_owned();
            let before = row.last().filter(|it| it.record.is_none());
            let gap = Bit {
                x,
                strong: before.map_or(setting.strong, |it| it.strong),
                record: None,
                text,
            };
            x = add(&mut row, x, gap, setting.size, faces);
        }
        if width <= setting.width {
            for bit in word {
                x = add(&mut row, x, bit, setting.size, faces);
            }
            continue;
        }
        for bit in word {
            for letter in bit.text.chars() {
                let text = letter.to_string();
                let width = faces.width(&text, bit.strong) * setting.size;
                if x + width > setting.width && !row.is_empty() {
                    rows.push(std::mem::take(&mut row));
                    x = 0.0;
                }
                match row.last_mut().filter(|it| it.joins(&bit)) {
                    Some(last) => last.text.push(letter),
                    None => row.push(Bit {
                        x,
                        text,
                        ..bit.clone()
                    }),
                }
                x += width;
            }
        }
    }
    if !row.is_empty() {
        rows.push(row);
    }
    rows
}

impl Bit {
    fn joins(&self, other: &Bit) -> bool {
        self.strong == other.strong && self.record == other.record
    }
}

/// A stretch behind what stands in a row; where the row ends then.
fn add(row: &mut Vec<Bit>, x: f32, bit: Bit, size: f32, faces: &Faces) -> f32 {
    let width = faces.width(&bit.text, bit.strong) * size;
    match row.last_mut().filter(|it| it.joins(&bit)) {
        Some(last) => {
            last.text.push_str(&bit.text);
            last.x + faces.width(&last.text, last.strong) * size
        }
        None => {
            row.push(Bit { x, ..bit });
            x + width
        }
    }
}

impl Op<'_> {
    /// Moves it.
    pub(super) fn shift(&mut self, by: f32, down: f32) {
        match self {
            Op::Text { x, y, .. } | Op::Area { x, y, .. } => {
                *x += by;
                *y += down;
            }
            Op::Picture { .. } | Op::Code { .. } => {}
        }
    }
}
