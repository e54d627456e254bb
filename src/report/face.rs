//! Measures text in the bundled faces, so that lines are broken before they are drawn.
//!
//! It shapes with the same library as the writer of pages, so a line is as wide on paper as it was measured here. One script
//! from left to right; letters that the faces do not have are measured as the empty box that paper then shows.

use std::cell::RefCell;
use std::collections::{BTreeSet, HashMap};

use rustybuzz::UnicodeBuffer;

/// B612, drawn for cockpits: letters that are told apart in bad light. Licence beside the files.
pub(super) const REGULAR: &[u8] = include_bytes!("../../ui/fonts/B612-Regular.otf");
pub(super) const BOLD: &[u8] = include_bytes!("../../ui/fonts/B612-Bold.otf");

/// Height of capitals, in parts of the size.
pub(super) const CAPITAL: f32 = 0.75;

/// The two weights, with the widths measured so far.
pub struct Faces {
    faces: [rustybuzz::Face<'static>; 2],
    known: RefCell<[HashMap<String, f32>; 2]>,
}

impl Faces {
    /// Reads the faces.
    #[allow(clippy::new_without_default)]
    pub fn new() -> Faces {
        let face = |bytes| {
            rustybuzz::Face::from_slice(bytes, 0)
                .expect("the bundled faces are read by every test of the cards")
        };
        Faces {
            faces: [face(REGULAR), face(BOLD)],
            known: RefCell::default(),
        }
    }

    /// How wide a text is, in parts of its size.
    pub fn width(&self, text: &str, strong: bool) -> f32 {
        let weight = usize::from(strong);
        if let Some(known) = self.known.borrow()[weight].get(text) {
            return *known;
        }
        let face = &self.faces[weight];
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(text);
        buffer.guess_segment_properties();
        buffer.set_direction(rustybuzz::Direction::LeftToRight);
        let shaped = rustybuzz::shape(face, &[], buffer);
        let units: i32 = shaped.glyph_positions().iter().map(|it| it.x_advance).sum();
        let width = units as f32 / face.units_per_em() as f32;
        self.known.borrow_mut()[weight].insert(text.to_owned(), width);
        width
    }

    /// The letters that the bundled faces do not have.
    pub(super) fn missing(&self, text: &str) -> BTreeSet<char> {
        let has = |letter: &char| self.faces[0].glyph_index(*letter).is_some();
        text.chars().filter(|letter| !has(letter)).collect()
    }
}
