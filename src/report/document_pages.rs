//! Puts the lines of a report onto pages: nothing is cut, nothing lies on another thing, and no line stands alone.
//!
//! What must stand together goes to the next page together, unless it is more than a page. A table that goes on has the
//! heads of its columns above it again. A wide picture has a page across to itself, without a page left empty before it.

use super::Paper;
use super::document::Document;
use super::document_lines::{Lines, Piece, Room, lines};
use super::face::Faces;

/// White edge, in points: a hole punch takes 12 mm of it.
pub(super) const MARGIN: f32 = 40.0;
/// Room for what every page repeats, above and below.
pub(super) const HEAD: f32 = 30.0;
pub(super) const FOOT: f32 = 32.0;

/// A piece on a page.
#[derive(Clone, Debug)]
pub(super) struct Placed<'a> {
    /// From the top of what can be used.
    pub(super) y: f32,
    pub(super) piece: Piece<'a>,
    /// True for the heads of a table that stood on an earlier page.
    pub(super) again: bool,
}

/// A page.
#[derive(Clone, Debug, Default)]
pub(super) struct Page<'a> {
    pub(super) across: bool,
    pub(super) placed: Vec<Placed<'a>>,
}

/// Width and height of a page.
pub(super) fn size(paper: Paper, across: bool) -> (f32, f32) {
    let (width, height) = paper.points();
    if across {
        (height, width)
    } else {
        (width, height)
    }
}

/// What of a page can be used.
pub(super) fn room(paper: Paper, across: bool) -> Room {
    let (width, height) = size(paper, across);
    Room {
        width: width - 2.0 * MARGIN,
        height: height - 2.0 * MARGIN - HEAD - FOOT,
    }
}

/// The pages of a report.
pub(super) fn pages<'a>(document: &'a Document, paper: Paper, faces: &Faces) -> Vec<Page<'a>> {
    let [upright, across] = [false, true].map(|it| room(paper, it));
    let Lines { pieces, heads } = lines(document, upright, across, faces);
    let mut flow = Flow {
        rooms: [upright.height, across.height],
        heads: &heads,
        pages: vec![Page::default()],
        y: 0.0,
    };
    // A picture stands behind what follows it up to the end of the page, so that no page is left half empty.
    let mut waiting: Vec<Vec<Piece<'a>>> = Vec::new();
    for chain in chains(pieces) {
        let across = chain.iter().any(|it| it.across);
        if across || chain.iter().any(Piece::is_picture) && !flow.fits(&chain) {
            waiting.push(chain);
            continue;
        }
        if !waiting.is_empty() && !flow.fits(&chain) {
            waiting.drain(..).for_each(|it| flow.picture(it));
        }
        flow.chain(chain);
    }
    waiting.into_iter().for_each(|it| flow.picture(it));
    // After a page across another one was begun, for nothing.
    if flow.pages.len() > 1 && flow.is_top() {
        flow.pages.pop();
    }
    flow.pages
}

/// Pieces that must stand together.
fn chains(pieces: Vec<Piece<'_>>) -> Vec<Vec<Piece<'_>>> {
    let mut all = Vec::new();
    let mut chain = Vec::new();
    for piece in pieces {
        let ends = !piece.keep;
        chain.push(piece);
        if ends {
            all.push(std::mem::take(&mut chain));
        }
    }
    if !chain.is_empty() {
        all.push(chain);
    }
    all
}

/// Pages as they fill.
struct Flow<'a, 'h> {
    /// How high a page is, upright and across.
    rooms: [f32; 2],
    heads: &'h [Vec<Piece<'a>>],
    pages: Vec<Page<'a>>,
    /// Where the next piece goes.
    y: f32,
}

fn height(chain: &[Piece<'_>]) -> f32 {
    chain.iter().map(|it| it.gap + it.height).sum()
}

impl<'a> Flow<'a, '_> {
    fn left(&self) -> f32 {
        self.rooms[usize::from(self.pages.last().is_some_and(|it| it.across))] - self.y
    }

    fn is_top(&self) -> bool {
        self.pages.last().is_none_or(|it| it.placed.is_empty())
    }

    fn fits(&self, chain: &[Piece<'_>]) -> bool {
        let gap = if self.is_top() {
            chain.first().map_or(0.0, |it| it.gap)
        } else {
            0.0
        };
        height(chain) - gap <= self.left()
    }

    fn turn(&mut self, across: bool) {
        if self.is_top() {
            if let Some(page) = self.pages.last_mut() {
                page.across = across;
            }
        } else {
            self.pages.push(Page {
                across,
                placed: Vec::new(),
            });
        }
        self.y = 0.0;
    }

    fn chain(&mut self, chain: Vec<Piece<'a>>) {
        if !self.fits(&chain) && !self.is_top() {
            self.turn(false);
        }
        for piece in chain {
            // Only what is more than a page is parted here.
            if piece.height + piece.gap > self.left() && !self.is_top() {
                self.turn(false);
            }
            if let Some(heads) = piece.heads.filter(|_| self.is_top()) {
                let heads: &[Piece<'a>] = &self.heads[heads];
                heads.iter().for_each(|it| self.place(it.clone(), true));
            }
            self.place(piece, false);
        }
    }

    /// A picture on top of a page, or on a page across and an upright page after it.
    fn picture(&mut self, chain: Vec<Piece<'a>>) {
        if !chain.iter().any(|it| it.across) {
            return self.chain(chain);
        }
        self.turn(true);
        chain.into_iter().for_each(|it| self.place(it, false));
        self.turn(false);
    }

    fn place(&mut self, piece: Piece<'a>, again: bool) {
        let gap = if self.is_top() { 0.0 } else { piece.gap };
        let y = self.y + gap;
        self.y = y + piece.height;
        if let Some(page) = self.pages.last_mut() {
            page.placed.push(Placed { y, piece, again });
        }
    }
}
