//! Writes rescue cards as a PDF: real text in the bundled faces, tagged for who listens to it, an entry a position.
//!
//! The bytes follow from the cards and the paper alone. Only black and white are used, so that a copy of a copy says the
//! same. Letters that the bundled faces do not have are shown as empty boxes; [`missing`] names them.

use std::collections::BTreeSet;
use std::num::NonZeroU16;
use std::rc::Rc;

use krilla::Document;
use krilla::color::luma;
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Transform};
use krilla::metadata::Metadata;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ContentTag, Identifier, SpanTag, Tag, TagGroup, TagTree};
use krilla::text::{Font, TextDirection};

use super::Paper;
use super::cards::{Card, Kind, Line};
use super::face::{BOLD, Faces, REGULAR};
use super::layout::{self, BAND_GAP, Frame, GUTTER, MARGIN, Page};
use super::margins::{self, Strip, What};
use super::pieces::{Op, Piece};
use crate::words::Language;

/// The cards as a PDF, one page a position where it fits.
///
/// # Errors
/// Says why the pages cannot be written; no plan is known that does this.
pub fn cards(cards: &[Card], paper: Paper) -> Result<Vec<u8>, String> {
    let faces = Faces::new();
    let pages = layout::pages(cards, paper, &faces);
    let (width, height) = paper.points();
    let settings = PageSettings::from_wh(width, height).ok_or("the paper has no size")?;
    let [regular, bold] = [REGULAR, BOLD].map(|bytes| Font::new(bytes.into(), 0));
    let fonts = [
        regular.ok_or("the bundled face cannot be read")?,
        bold.ok_or("the bundled face cannot be read")?,
    ];

    let mut document = Document::new();
    let language = cards
        .first()
        .map_or_else(Language::default, |card| card.language);
    let title = Card::title(cards);
    document.set_metadata(
        Metadata::new()
            .title(title)
            .language(language.tag().to_owned()),
    );

    let mut outline = Outline::new();
    let mut tree = TagTree::new();
    let mut groups = Groups::default();
    for (index, page) in pages.iter().enumerate() {
        let card = &cards[page.card];
        if page.number == 1 {
            let top = XyzDestination::new(index, Point::from_xy(0.0, 0.0));
            outline.push_child(OutlineNode::new(card.name.clone(), top));
        }
        let mut started = document.start_page_with(settings.clone());
        let mut surface = started.surface();
        surface.push_transform(&Transform::from_translate(MARGIN, MARGIN));
        let mut brush = Brush {
            surface: &mut surface,
            fonts: &fonts,
            groups: &mut groups,
        };
        let words = margins::page_words(card, page, index + 1, pages.len());
        brush.page(card, page, Frame::of(paper), &words, &faces);
        surface.pop();
        surface.finish();
        started.finish();
    }
    for group in groups.done {
        tree.push(group.1);
    }
    document.set_outline(outline);
    document.set_tag_tree(tree);
    document
        .finish()
        .map_err(|error| format!("the pages cannot be written: {error:?}"))
}

/// The letters of some cards that the PDF cannot show.
pub fn missing(cards: &[Card]) -> BTreeSet<char> {
    let faces = Faces::new();
    let texts = cards.iter().flat_map(Card::texts);
    texts.flat_map(|text| faces.missing(&text)).collect()
}

/// Which line of which card something belongs to.
type Key = (usize, usize, Option<usize>);

/// What is read aloud, in order; the rows of one line are one group.
#[derive(Default)]
struct Groups {
    done: Vec<(Option<Key>, TagGroup)>,
}

impl Groups {
    fn add(&mut self, key: Option<Key>, id: Identifier, tag: impl FnOnce() -> TagGroup) {
        let open = self
            .done
            .last_mut()
            .filter(|(last, _)| key.is_some() && *last == key);
        match open {
            Some((_, group)) => group.push(id),
            None => {
                let mut group = tag();
                group.push(id);
                self.done.push((key, group));
            }
        }
    }
}

fn heading(level: u16) -> TagGroup {
    let level = NonZeroU16::new(level).unwrap_or(NonZeroU16::MIN);
    TagGroup::new(Tag::Hn(level, None))
}

/// Draws on a page.
struct Brush<'a, 's> {
    surface: &'a mut Surface<'s>,
    fonts: &'a [Font; 2],
    groups: &'a mut Groups,
}

impl Brush<'_, '_> {
    fn page(&mut self, card: &Card, page: &Page, frame: Frame, words: &str, faces: &Faces) {
        let (mut y, strips) = margins::head(card, &page.sizes, page.title, frame.width, faces);
        for strip in &strips {
            // The head of a further page is told once, on the first.
            self.strip(strip, 0.0, page.number == 1);
        }
        for (i, band) in page.bands.iter().enumerate() {
            y += if i == 0 { BAND_GAP } else { page.band_gap };
            y = self.column(card, page, &band.head, 0.0, y, !band.continued);
            y += band.gap_below_head();
            let wide = frame.column(band.columns.len());
            let mut end = y;
            for (i, column) in band.columns.iter().enumerate() {
                let x = i as f32 * (wide + GUTTER);
                end = end.max(self.column(card, page, column, x, y, true));
            }
            y = end;
        }
        debug_assert!(
            y <= frame.height + BAND_GAP,
            "the layout left a page too full"
        );
        let (high, strips) = margins::foot(card, words, &page.sizes, frame.width, faces);
        for strip in &strips {
            self.strip(strip, frame.height - high, page.number == 1);
        }
    }

    fn strip(&mut self, strip: &Strip, y: f32, told: bool) {
        let ops = strip.ops.iter().map(|op| op.moved(0.0, y));
        let id = self.tagged(ops.collect(), told && strip.what != What::Drawing);
        if let Some(id) = id {
            self.groups.add(None, id, || match strip.what {
                What::Title => heading(1),
                What::Text | What::Drawing => TagGroup::new(Tag::P),
            });
        }
    }

    /// Draws pieces below each other and gives where they end.
    fn column(
        &mut self,
        card: &Card,
        page: &Page,
        pieces: &[Rc<Piece>],
        x: f32,
        top: f32,
        told: bool,
    ) -> f32 {
        let mut y = top;
        for (i, piece) in pieces.iter().enumerate() {
            y += if i == 0 { 0.0 } else { piece.gap };
            let (drawn, read): (Vec<Op>, Vec<Op>) = piece
                .ops
                .iter()
                .map(|op| op.moved(x, y))
                .partition(|op| !matches!(op, Op::Text { .. }));
            let part = &card.parts[piece.part];
            let line = piece.line.map(|line| &part.lines[line]);
            let key = (page.card, piece.part, piece.line);
            if let Some(Line::Sketch(sketch)) = line {
                let id = self.tagged([drawn, read].concat(), told);
                let figure = || TagGroup::new(Tag::Figure(Some(sketch.about.clone())));
                id.into_iter()
                    .for_each(|id| self.groups.add(Some(key), id, figure));
            } else {
                self.tagged(drawn, false);
                let id = self.tagged(read, told);
                let group = || match (piece.line, part.kind) {
                    (None, Kind::Method) => heading(3),
                    (None, _) => heading(2),
                    (Some(_), _) => TagGroup::new(Tag::P),
                };
                id.into_iter()
                    .for_each(|id| self.groups.add(Some(key), id, group));
            }
            y += piece.height;
        }
        y
    }

    /// Draws something that is read, or only seen; what is read gets an identifier.
    fn tagged(&mut self, ops: Vec<Op>, read: bool) -> Option<Identifier> {
        if ops.is_empty() {
            return None;
        }
        let tag = if read {
            ContentTag::Span(SpanTag::empty())
        } else {
            ContentTag::Artifact(Artifact::default())
        };
        let id = self.surface.start_tagged(tag);
        for op in &ops {
            self.draw(op);
        }
        self.surface.end_tagged();
        read.then_some(id)
    }

    fn draw(&mut self, op: &Op) {
        let ink = |white: bool| {
            if white {
                luma::Color::white()
            } else {
                luma::Color::black()
            }
        };
        let fill = |white| {
            Some(Fill {
                paint: ink(white).into(),
                ..Fill::default()
            })
        };
        let stroke = |width, dash: Option<[f32; 2]>| {
            let dash = dash.map(|array| StrokeDash {
                array: array.to_vec(),
                offset: 0.0,
            });
            Some(Stroke {
                paint: ink(false).into(),
                width,
                dash,
                ..Stroke::default()
            })
        };
        let mut path = PathBuilder::new();
        match op {
            Op::Text {
                x,
                y,
                size,
                strong,
                white,
                text,
            } => {
                self.surface.set_stroke(None);
                self.surface.set_fill(fill(*white));
                let font = self.fonts[usize::from(*strong)].clone();
                let start = Point::from_xy(*x, *y);
                self.surface
                    .draw_text(start, font, *size, text, false, TextDirection::LeftToRight);
                return;
            }
            Op::Fill { points, white } => {
                self.surface.set_stroke(None);
                self.surface.set_fill(fill(*white));
                lines(&mut path, points, true);
            }
            Op::Stroke {
                points,
                width,
                dash,
                closed,
            } => {
                self.surface.set_fill(None);
                self.surface.set_stroke(stroke(*width, *dash));
                lines(&mut path, points, *closed);
            }
            Op::Circle { x, y, radius, ring } => {
                self.surface.set_fill(if ring.is_none() {
                    fill(false)
                } else {
                    fill(true)
                });
                self.surface
                    .set_stroke(ring.and_then(|width| stroke(width, None)));
                circle(&mut path, *x, *y, *radius);
            }
        }
        if let Some(path) = path.finish() {
            self.surface.draw_path(&path);
        }
    }
}

fn lines(path: &mut PathBuilder, points: &[[f32; 2]], closed: bool) {
    for (i, [x, y]) in points.iter().enumerate() {
        if i == 0 {
            path.move_to(*x, *y)
        } else {
            path.line_to(*x, *y)
        }
    }
    if closed {
        path.close();
    }
}

pub(super) fn circle(path: &mut PathBuilder, x: f32, y: f32, radius: f32) {
    // Four cubic curves; the handle length is the usual 4/3 (sqrt 2 - 1).
    let handle = radius * 0.552_285;
    path.move_to(x + radius, y);
    path.cubic_to(
        x + radius,
        y + handle,
        x + handle,
        y + radius,
        x,
        y + radius,
    );
    path.cubic_to(
        x - handle,
        y + radius,
        x - radius,
        y + handle,
        x - radius,
        y,
    );
    path.cubic_to(
        x - radius,
        y - handle,
        x - handle,
        y - radius,
        x,
        y - radius,
    );
    path.cubic_to(
        x + handle,
        y - radius,
        x + radius,
        y - handle,
        x + radius,
        y,
    );
    path.close();
}
