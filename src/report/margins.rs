//! Writes the head and the foot of a page: which position, which plan, which page, and the cautions.
//!
//! They are the same on every page and must never push the rescue off it, so a very long name is shortened here with dots;
//! the parts of the card give it in full.

use super::cards::{Card, Run};
use super::face::{CAPITAL, Faces};
use super::layout::Page;
use super::pieces::{self, LEADING, Op, Sizes};
use crate::words::{Id, Message};

/// Most rows of a name, a place or a site.
const TITLE_ROWS: usize = 2;
/// The smallest size of the position's name.
const TITLE_SIZE_MIN: f32 = 12.0;
/// Most rows of one text of the foot.
const FOOT_ROWS: usize = 3;

/// A strip of a page that belongs together.
pub(super) struct Strip {
    pub(super) what: What,
    pub(super) ops: Vec<Op>,
}

/// What a strip of the head or foot is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    /// The name of the position.
    Title,
    /// Anything else that is read.
    Text,
    /// A rule or frame.
    Drawing,
}

/// The size at which the name of the position takes at most two rows.
pub(super) fn title_size(card: &Card, sizes: &Sizes, width: f32, faces: &Faces) -> f32 {
    let mut size = sizes.title;
    let runs = [Run {
        strong: true,
        text: card.name.clone(),
    }];
    while size > TITLE_SIZE_MIN {
        let (high, _) = pieces::paragraph(&runs, size, width, faces);
        if high <= size * LEADING * (TITLE_ROWS as f32 + 0.1) {
            break;
        }
        size -= 0.5;
    }
    size
}

/// The head of a page: its height and what stands in it. Without a title it is one row.
pub(super) fn head(
    card: &Card,
    sizes: &Sizes,
    title: Option<f32>,
    width: f32,
    faces: &Faces,
) -> (f32, Vec<Strip>) {
    let small = sizes.body;
    let mut strips = Vec::new();
    let line = small * CAPITAL + 2.0;
    strips.push(Strip {
        what: What::Text,
        ops: vec![word(0.0, line, small, true, &card.kicker)],
    });
    let mut end = width;
    if let Some(mark) = &card.invented {
        let left = width - faces.width(mark, true) * small - 5.0;
        let (top, bottom) = (line - small * CAPITAL - 3.2, line + 3.2);
        strips.push(Strip {
            what: What::Text,
            ops: vec![word(left, line, small, true, mark)],
        });
        end = left - 5.0;
        let points = vec![
            [end, top],
            [width - 0.5, top],
            [width - 0.5, bottom],
            [end, bottom],
        ];
        let frame = Op::Stroke {
            points,
            width: 1.0,
            dash: None,
            closed: true,
        };
        strips.push(Strip {
            what: What::Drawing,
            ops: vec![frame],
        });
    }
    let mut y = line + 4.0;
    let Some(title) = title else {
        let left = faces.width(&card.kicker, true) * small + small;
        let size = sizes.heading;
        let ops = shortened(&card.name, true, size, end - left - small, 1, faces).1;
        let up = line - size * (LEADING + CAPITAL) / 2.0;
        strips.push(Strip {
            what: What::Title,
            ops: ops.iter().map(|op| op.moved(left, up)).collect(),
        });
        return (y, strips);
    };
    let (high, ops) = shortened(&card.name, true, title, width, TITLE_ROWS, faces);
    strips.push(Strip {
        what: What::Title,
        ops: ops.iter().map(|op| op.moved(0.0, y)).collect(),
    });
    y += high + 1.0;
    let size = sizes.lead;
    let (high, ops) = shortened(&card.place, true, size, width, TITLE_ROWS, faces);
    let place = Strip {
        what: What::Text,
        ops: ops.iter().map(|op| op.moved(0.0, y)).collect(),
    };
    // The site stands at the right of the place where both have room, else below it.
    let x = width - faces.width(&card.site, false) * size;
    if high <= size * LEADING * 1.1 && place.end(faces) + 2.0 * size <= x {
        let line = y + size * (LEADING + CAPITAL) / 2.0;
        strips.push(place);
        strips.push(Strip {
            what: What::Text,
            ops: vec![word(x, line, size, false, &card.site)],
        });
        return (y + high, strips);
    }
    strips.push(place);
    y += high;
    let (high, ops) = shortened(&card.site, false, size, width, TITLE_ROWS, faces);
    strips.push(Strip {
        what: What::Text,
        ops: ops.iter().map(|op| op.moved(0.0, y)).collect(),
    });
    (y + high, strips)
}

/// The foot of a page: its height and what stands in it, from its own top.
pub(super) fn foot(
    card: &Card,
    page: &str,
    sizes: &Sizes,
    width: f32,
    faces: &Faces,
) -> (f32, Vec<Strip>) {
    let size = sizes.foot;
    let mut strips = vec![Strip {
        what: What::Drawing,
        ops: vec![Op::rectangle(0.0, 0.0, width, 0.6)],
    }];
    let mut y = 3.0;
    for (i, text) in card.foot.iter().enumerate() {
        let (high, ops) = shortened(text, i == 0, size, width, FOOT_ROWS, faces);
        strips.push(Strip {
            what: What::Text,
            ops: ops.iter().map(|op| op.moved(0.0, y)).collect(),
        });
        y += high;
    }
    // The number goes behind the last row where there is room.
    let x = width - faces.width(page, true) * size;
    let end = strips.last().map_or(0.0, |strip| strip.end(faces));
    if end + 2.0 * size <= x {
        y -= size * LEADING;
    }
    let line = y + size * (LEADING + CAPITAL) / 2.0;
    strips.push(Strip {
        what: What::Text,
        ops: vec![word(x, line, size, true, page)],
    });
    (y + size * LEADING, strips)
}

impl Strip {
    /// Where its last text ends.
    fn end(&self, faces: &Faces) -> f32 {
        match self.ops.last() {
            Some(Op::Text {
                x,
                size,
                strong,
                text,
                ..
            }) => x + faces.width(text, *strong) * size,
            _ => 0.0,
        }
    }
}

/// What the foot says of the page: of the position where that has several, and of all.
pub(super) fn page_words(card: &Card, page: &Page, number: usize, of: usize) -> String {
    let [number, of] = [number, of].map(|it| it.to_string());
    if page.of == 1 {
        return Message::with(Id::CardPage, [&number, &of]).text(card.language);
    }
    let [own, own_of] = [page.number, page.of].map(|it| it.to_string());
    Message::with(Id::CardPageOfPosition, [&own, &own_of, &number, &of]).text(card.language)
}

fn word(x: f32, y: f32, size: f32, strong: bool, text: &str) -> Op {
    Op::Text {
        x,
        y,
        size,
        strong,
        white: false,
        text: text.to_owned(),
    }
}

/// A paragraph of at most so many rows; what is left out is marked with dots.
fn shortened(
    text: &str,
    strong: bool,
    size: f32,
    width: f32,
    rows: usize,
    faces: &Faces,
) -> (f32, Vec<Op>) {
    let most = size * LEADING * (rows as f32 + 0.1);
    let set = |text: String| pieces::paragraph(&[Run { strong, text }], size, width, faces);
    let whole = set(text.to_owned());
    if whole.0 <= most {
        return whole;
    }
    let ends: Vec<usize> = text.char_indices().map(|(i, _)| i).collect();
    let fits =
        |count: &usize| set(format!("{}\u{2026}", text[..ends[*count]].trim_end())).0 <= most;
    let mut low = 0;
    let mut high = ends.len().saturating_sub(1);
    while low < high {
        let middle = (low + high).div_ceil(2);
        if fits(&middle) {
            low = middle
        } else {
            high = middle - 1
        }
    }
    set(format!("{}\u{2026}", text[..ends[low]].trim_end()))
}
