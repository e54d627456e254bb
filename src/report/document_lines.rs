//! Breaks a report into lines of a given width, each a piece that a page can take.
//!
//! A piece knows its height, the room it wants above it and whether it must stand with the next one; `document_pages` decides
//! where it goes. Each text knows its place in the report, so that whoever listens to the paper hears what stands where.
//! A word that is longer than a line is cut between letters; nothing else ever is.

use super::document::{Block, Document, Kind, Row, Span, Table, Tone};
use super::document_html::QUIET_ZONE;
use super::document_rows::{Op, Place, Setting, end, rows};
use super::drawing::{Drawing, Ink};
use super::face::Faces;
use super::pieces::{LEADING, TABLE_GUTTER, baseline, column_widths};

/// Sizes of letters, in points. The smallest is read at arm's length.
pub(super) const BODY: f32 = 9.6;
const TITLE: f32 = 21.0;
const HEADING: f32 = 14.5;
const LESSER: f32 = 11.2;
const LOUD: f32 = 12.5;
const TABLE: f32 = 8.2;
/// Room above a paragraph, and below what is in a frame.
const GAP: f32 = 4.6;
/// Room above a heading.
const HEADING_GAP: f32 = 17.0;
/// Where the text of a point begins.
const INDENT: f32 = 11.0;
/// Where the text in a frame begins, and how thick the frame is.
const FRAME: f32 = 10.0;
const FRAME_WEIGHT: f32 = 1.6;
/// The part of the width in which the names of pairs stand.
const NAMES: f32 = 0.27;
/// The side of a code: 36 mm, for a camera at arm's length.
const CODE: f32 = 102.0;
/// A text of so many rows or fewer is never parted.
const WHOLE_ROWS: usize = 4;
/// So many rows of facts or fewer are never parted.
const FACTS: usize = 30;
/// A picture that is so much wider than high gets a page across.
const ACROSS: f32 = 1.2;

/// Rows of a table: what it shows, the heads of its columns, and its own from here.
pub(super) const CAPTION: usize = 0;
pub(super) const HEADS: usize = 1;
pub(super) const ROWS: usize = 2;

/// A line, broken and measured.
#[derive(Clone, Debug, Default)]
pub(super) struct Piece<'a> {
    pub(super) height: f32,
    /// Room above it, left out at the top of a page.
    pub(super) gap: f32,
    /// True where it must stand with the next piece.
    pub(super) keep: bool,
    pub(super) ops: Vec<Op<'a>>,
    /// The heads of the columns above it, which a new page repeats.
    pub(super) heads: Option<usize>,
    /// The record that begins here.
    pub(super) record: Option<u64>,
    /// What begins here, with its level.
    pub(super) heading: Option<(u8, &'a str)>,
    /// True for what has a page across to itself.
    pub(super) across: bool,
}

impl Piece<'_> {
    /// True for a picture.
    pub(super) fn is_picture(&self) -> bool {
        self.ops.iter().any(|op| matches!(op, Op::Picture { .. }))
    }
}

/// The size of a page inside its margins.
#[derive(Clone, Copy)]
pub(super) struct Room {
    pub(super) width: f32,
    pub(super) height: f32,
}

/// The pieces of a report, and the heads of its tables.
pub(super) struct Lines<'a> {
    pub(super) pieces: Vec<Piece<'a>>,
    pub(super) heads: Vec<Vec<Piece<'a>>>,
}

/// Breaks a report for pages of which this much can be used, upright and across.
pub(super) fn lines<'a>(
    document: &'a Document,
    upright: Room,
    across: Room,
    faces: &Faces,
) -> Lines<'a> {
    let mut setter = Setter {
        upright,
        across,
        faces,
        lines: Lines {
            pieces: Vec::new(),
            heads: Vec::new(),
        },
    };
    let title = [Span::Text(document.title.clone())];
    let place = Place {
        row: 1,
        ..Place::default()
    };
    let setting = setter.setting(TITLE, true);
    setter.paragraph(&title, setting, place, 0.0, GAP);
    for (index, block) in document.blocks.iter().enumerate() {
        setter.block(block, index + 1);
    }
    setter.lines
}

struct Setter<'a, 'f> {
    upright: Room,
    across: Room,
    faces: &'f Faces,
    lines: Lines<'a>,
}

impl<'a> Setter<'a, '_> {
    fn setting(&self, size: f32, strong: bool) -> Setting {
        Setting {
            size,
            strong,
            ink: Ink::Text,
            width: self.upright.width,
        }
    }

    fn block(&mut self, block: &'a Block, index: usize) {
        let place = Place {
            block: index,
            ..Place::default()
        };
        match block {
            Block::Heading { level, text, .. } => self.heading(*level, text, place),
            Block::Paragraph { tone, spans } => {
                let setting = match tone {
                    Tone::Plain => self.setting(BODY, false),
                    Tone::Loud => self.setting(LOUD, true),
                    Tone::Quiet => Setting {
                        ink: Ink::Soft,
                        ..self.setting(BODY, false)
                    },
                };
                self.paragraph(spans, setting, place, 0.0, GAP);
            }
            Block::Points(points) => {
                for (row, spans) in points.iter().enumerate() {
                    self.point(spans, Place { row, ..place }, 0.0);
                }
            }
            Block::Pairs(pairs) => {
                let first = self.lines.pieces.len();
                for (row, (name, spans)) in pairs.iter().enumerate() {
                    self.pair(name, spans, Place { row, ..place });
                }
                // Facts that are few are read together.
                let rows = &mut self.lines.pieces[first..];
                if let Some((_, before)) = rows.split_last_mut().filter(|it| it.1.len() <= FACTS) {
                    before.iter_mut().for_each(|it| it.keep = true);
                }
            }
            Block::Caution { heading, lines } => self.caution(heading, lines, place),
            Block::Table(table) => self.table(table, place),
            Block::Figure(drawing) => self.figure(drawing, place),
            Block::Groups { name, groups } => self.groups(name, groups, place),
            Block::Code { told, cells } => self.code(told, cells, place),
        }
    }

    /// A text from an indent on, its rows kept together where they are few.
    fn paragraph(
        &mut self,
        spans: &[Span],
        setting: Setting,
        place: Place,
        indent: f32,
        gap: f32,
    ) -> usize {
        let setting = Setting {
            width: setting.width - indent,
            ..setting
        };
        let rows = rows(spans, setting, place, self.faces);
        let (count, last) = (rows.len(), rows.len().saturating_sub(1));
        for (i, mut ops) in rows.into_iter().enumerate() {
            ops.iter_mut().for_each(|op| op.shift(indent, 0.0));
            let keep = i < last && (count <= WHOLE_ROWS || i == 0 || i + 1 == last);
            self.lines.pieces.push(Piece {
                height: setting.size * LEADING,
                gap: if i == 0 { gap } else { 0.0 },
                keep,
                ops,
                ..Piece::default()
            });
        }
        count
    }

    fn heading(&mut self, level: u8, text: &'a str, place: Place) {
        let spans = [Span::Text(text.to_owned())];
        let size = if level == 2 { HEADING } else { LESSER };
        let gap = if level == 2 { HEADING_GAP } else { GAP * 2.2 };
        let first = self.lines.pieces.len();
        self.paragraph(&spans, self.setting(size, true), place, 0.0, gap);
        let width = self.upright.width;
        for piece in &mut self.lines.pieces[first..] {
            piece.keep = true;
        }
        if let Some(piece) = self.lines.pieces.get_mut(first) {
            piece.heading = Some((level, text));
            if level == 2 {
                // The rule stands above the letters and takes room of its own.
                let rule = FRAME_WEIGHT + GAP / 2.0;
                piece.ops.iter_mut().for_each(|op| op.shift(0.0, rule));
                piece.height += rule;
                piece.ops.push(Op::Area {
                    x: 0.0,
                    y: 0.0,
                    width,
                    height: FRAME_WEIGHT,
                    ink: Ink::Text,
                });
            }
        }
    }

    fn point(&mut self, spans: &[Span], place: Place, indent: f32) {
        let first = self.lines.pieces.len();
        let setting = Setting {
            width: self.upright.width - indent,
            ..self.setting(BODY, false)
        };
        self.paragraph(spans, setting, place, indent + INDENT, GAP * 0.6);
        if let Some(piece) = self.lines.pieces.get_mut(first) {
            let side = 2.6;
            piece.ops.push(Op::Area {
                x: indent + 3.0,
                y: baseline(BODY) - BODY * 0.375 - side / 2.0,
                width: side,
                height: side,
                ink: Ink::Text,
            });
        }
    }

    /// A name and beside it what it is, a thin rule below.
    fn pair(&mut self, name: &str, spans: &[Span], place: Place) {
        let names = self.upright.width * NAMES;
        let name = [Span::Text(name.to_owned())];
        let left = Setting {
            ink: Ink::Soft,
            width: names - TABLE_GUTTER,
            ..self.setting(BODY, false)
        };
        let left = rows(&name, left, place, self.faces);
        let right = Setting {
            width: self.upright.width - names,
            ..self.setting(BODY, false)
        };
        let right = rows(spans, right, Place { cell: 1, ..place }, self.faces);
        let first = self.beside(vec![(0.0, left), (names, right)], BODY, GAP * 0.4);
        self.lines.pieces[first].gap = if place.row == 0 { GAP } else { 0.0 };
    }

    /// Columns of rows beside each other, a thin rule below the last; gives where the first of them is.
    fn beside(&mut self, columns: Vec<(f32, Vec<Vec<Op<'a>>>)>, size: f32, air: f32) -> usize {
        let first = self.lines.pieces.len();
        let count = columns.iter().map(|it| it.1.len()).max();
        let count = count.unwrap_or(0).max(1);
        for i in 0..count {
            let above = if i == 0 { air } else { 0.0 };
            let below = if i + 1 == count { air } else { 0.0 };
            let height = size * LEADING + above + below;
            let mut ops = Vec::new();
            for (x, rows) in &columns {
                for op in rows.get(i).into_iter().flatten() {
                    let mut op = op.clone();
                    op.shift(*x, above);
                    ops.push(op);
                }
            }
            if i + 1 == count {
                ops.push(Op::Area {
                    x: 0.0,
                    y: height - 0.4,
                    width: self.upright.width,
                    height: 0.4,
                    ink: Ink::Line,
                });
            }
            let keep = i + 1 < count && (count <= WHOLE_ROWS || i == 0 || i + 2 == count);
            self.lines.pieces.push(Piece {
                height,
                keep,
                ops,
                ..Piece::default()
            });
        }
        first
    }

    fn caution(&mut self, heading: &'a str, lines: &'a [Vec<Span>], place: Place) {
        let first = self.lines.pieces.len();
        let title = [Span::Text(heading.to_owned())];
        let inner = self.upright.width - FRAME;
        let setting = Setting {
            width: inner,
            ..self.setting(LESSER, true)
        };
        self.paragraph(&title, setting, place, FRAME, GAP * 3.0);
        for (row, spans) in lines.iter().enumerate() {
            let row = Place {
                row: row + 1,
                ..place
            };
            let narrow = Room {
                width: inner,
                ..self.upright
            };
            let whole = std::mem::replace(&mut self.upright, narrow);
            self.point(spans, row, FRAME);
            self.upright = whole;
        }
        self.framed(first);
    }

    /// A frame round all pieces from one on, open where a page ends.
    fn framed(&mut self, first: usize) {
        let width = self.upright.width;
        let count = self.lines.pieces.len() - first;
        for (i, piece) in self.lines.pieces[first..].iter_mut().enumerate() {
            let (top, bottom) = (i == 0, i + 1 == count);
            if top {
                piece.ops.iter_mut().for_each(|op| op.shift(0.0, GAP));
                piece.height += GAP;
            }
            if bottom {
                piece.height += GAP * 1.4;
            }
            piece.keep = !bottom;
            let above = if top { 0.0 } else { piece.gap };
            let area = |x: f32, y: f32, width: f32, height: f32| Op::Area {
                x,
                y,
                width,
                height,
                ink: Ink::Text,
            };
            let high = piece.height + above;
            piece.ops.push(area(0.0, -above, FRAME_WEIGHT, high));
            piece
                .ops
                .push(area(width - FRAME_WEIGHT, -above, FRAME_WEIGHT, high));
            if top {
                piece.ops.push(area(0.0, 0.0, width, FRAME_WEIGHT));
            }
            if bottom {
                let y = piece.height - FRAME_WEIGHT;
                piece.ops.push(area(0.0, y, width, FRAME_WEIGHT));
            }
        }
    }

    fn table(&mut self, table: &'a Table, place: Place) {
        let caption = [Span::Text(table.caption.clone())];
        let quiet = Setting {
            ink: Ink::Soft,
            ..self.setting(TABLE, false)
        };
        let at = Place {
            row: CAPTION,
            ..place
        };
        let first = self.lines.pieces.len();
        self.paragraph(&caption, quiet, at, 0.0, GAP);
        for piece in &mut self.lines.pieces[first..] {
            piece.keep = true;
        }
        let names: Vec<String> = table.columns.iter().map(|it| it.name.clone()).collect();
        let texts = table.rows.iter().map(|row| {
            let cells = row.cells.iter().map(|cell| super::document::plain(cell));
            cells.collect::<Vec<String>>()
        });
        let texts: Vec<Vec<String>> = texts.collect();
        let widths = self.widths(table, &names, &texts);
        let head = Row {
            cells: names.into_iter().map(|it| vec![Span::Text(it)]).collect(),
            ..Row::default()
        };
        let at = Place {
            row: HEADS,
            ..place
        };
        let first = self.row(table, &head, &widths, at, true);
        let heads = self.lines.heads.len();
        for piece in &mut self.lines.pieces[first..] {
            piece.keep = true;
        }
        self.lines.heads.push(self.lines.pieces[first..].to_vec());
        let count = table.rows.len();
        for (i, row) in table.rows.iter().enumerate() {
            let at = Place {
                row: ROWS + i,
                ..place
            };
            let first = self.row(table, row, &widths, at, false);
            for piece in &mut self.lines.pieces[first..] {
                piece.heads = Some(heads);
            }
            self.lines.pieces[first].record = row.record;
            // No row of a table stands alone on a page.
            if let Some(last) = self.lines.pieces.last_mut().filter(|_| i + 2 == count) {
                last.keep = true;
            }
        }
    }

    /// Figures get what they need, half of the table at most, and words share the rest.
    fn widths(&self, table: &Table, names: &[String], texts: &[Vec<String>]) -> Vec<f32> {
        let room = self.upright.width;
        let is_words = |it: &usize| table.columns[*it].kind != Kind::Figures;
        let (words, figures): (Vec<usize>, Vec<usize>) = (0..names.len()).partition(is_words);
        let needed = |column: &usize| {
            let cells = texts.iter().filter_map(|row| row.get(*column));
            let cells = cells.map(|cell| self.faces.width(cell, false));
            cells.fold(self.faces.width(&names[*column], true), f32::max) * TABLE + 0.5
        };
        let each: Vec<f32> = figures.iter().map(needed).collect();
        let gutters = TABLE_GUTTER * figures.len() as f32;
        let taken: f32 = each.iter().sum::<f32>() + gutters;
        if words.is_empty() || taken > room * 0.5 {
            return column_widths(names, texts, room, TABLE, self.faces);
        }
        let only = |row: &[String]| {
            words
                .iter()
                .filter_map(|it| row.get(*it).cloned())
                .collect()
        };
        let rows: Vec<Vec<String>> = texts.iter().map(|it| only(it)).collect();
        let heads: Vec<String> = only(names);
        let left = room - taken;
        let mut shared: Vec<f32> = words.iter().map(needed).collect();
        let spare = left - shared.iter().sum::<f32>() - TABLE_GUTTER * (words.len() - 1) as f32;
        match shared.last_mut().filter(|_| spare >= 0.0) {
            // What is said last is what is said most.
            Some(last) => *last += spare,
            None => shared = column_widths(&heads, &rows, left, TABLE, self.faces),
        }
        let mut widths = vec![0.0; names.len()];
        let all = words.iter().zip(shared).chain(figures.iter().zip(each));
        all.for_each(|(column, width)| widths[*column] = width);
        widths
    }

    /// A row of a table; gives where its first piece is.
    fn row(
        &mut self,
        table: &Table,
        row: &Row,
        widths: &[f32],
        place: Place,
        is_head: bool,
    ) -> usize {
        let mut x = 0.0;
        let mut columns = Vec::new();
        let cells = table.columns.iter().zip(&row.cells).zip(widths);
        for (cell, ((column, spans), width)) in cells.enumerate() {
            let setting = Setting {
                size: TABLE,
                strong: is_head || column.kind == Kind::Head && !row.quiet,
                ink: if row.quiet { Ink::Soft } else { Ink::Text },
                width: *width,
            };
            let mut set = rows(spans, setting, Place { cell, ..place }, self.faces);
            if column.kind == Kind::Figures {
                for row in &mut set {
                    let spare = width - end(row, self.faces);
                    row.iter_mut().for_each(|op| op.shift(spare, 0.0));
                }
            }
            columns.push((x, set));
            x += width + TABLE_GUTTER;
        }
        let first = self.beside(columns, TABLE, 1.4);
        if is_head && let Some(Op::Area { height, ink, .. }) = self.last_op() {
            (*height, *ink) = (0.9, Ink::Text);
        }
        first
    }

    fn last_op(&mut self) -> Option<&mut Op<'a>> {
        self.lines.pieces.last_mut()?.ops.last_mut()
    }

    fn figure(&mut self, drawing: &'a Drawing, place: Place) {
        let across = drawing.width > drawing.height * ACROSS && drawing.width > self.upright.width;
        let room = if across { self.across } else { self.upright };
        let title = [Span::Text(drawing.title.clone())];
        let setting = Setting {
            width: room.width,
            ..self.setting(BODY, true)
        };
        let first = self.lines.pieces.len();
        self.paragraph(&title, setting, place, 0.0, GAP);
        for piece in &mut self.lines.pieces[first..] {
            (piece.keep, piece.across) = (true, across);
        }
        // A heading right above goes with it.
        let with = self.lines.pieces.iter().rev().take_while(|it| it.keep);
        let above: f32 = with.map(|it| it.gap + it.height).sum::<f32>() + 2.0 * GAP;
        let fits = (room.width / drawing.width).min((room.height - above) / drawing.height);
        let scale = fits.clamp(0.05, 1.4);
        self.lines.pieces.push(Piece {
            height: drawing.height * scale,
            gap: GAP,
            across,
            ops: vec![Op::Picture {
                drawing,
                scale,
                place: Place { row: 1, ..place },
            }],
            ..Piece::default()
        });
    }

    fn groups(&mut self, name: &str, groups: &[String], place: Place) {
        let spans = [
            Span::Strong(format!("{name} ")),
            Span::Text(groups.join(" ")),
        ];
        let first = self.lines.pieces.len();
        self.paragraph(&spans, self.setting(BODY, false), place, 0.0, GAP);
        // Hashes and the code of one of them are held against each other, so they stand together.
        for piece in &mut self.lines.pieces[first..] {
            piece.keep = true;
        }
    }

    fn code(&mut self, told: &str, cells: &'a [Vec<bool>], place: Place) {
        let spans = [Span::Text(told.to_owned())];
        let quiet = Setting {
            ink: Ink::Soft,
            ..self.setting(TABLE, false)
        };
        self.lines.pieces.push(Piece {
            height: CODE,
            gap: GAP,
            keep: true,
            ops: vec![Op::Code {
                cells,
                side: CODE / (cells.len() + 2 * QUIET_ZONE) as f32,
                place,
            }],
            ..Piece::default()
        });
        self.paragraph(&spans, quiet, Place { row: 1, ..place }, 0.0, 0.0);
    }
}
