//! Breaks the parts of a card into lines of a given width and type size, each a piece that a page can take.
//!
//! A piece knows its height, the room it wants above it and whether it must stand with the next one; `layout` decides where
//! it goes. Sizes run between a floor, which is still read at arm's length, and what a sparse card can afford.

use super::cards::{Entry, Kind, Line, Mark, Part, Run, Style};
use super::face::{CAPITAL, Faces};
use super::map;

/// One thing to draw; lengths in points, y downwards.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Op {
    /// A text, `y` at its baseline.
    Text {
        x: f32,
        y: f32,
        size: f32,
        strong: bool,
        white: bool,
        text: String,
    },
    /// A filled shape.
    Fill { points: Vec<[f32; 2]>, white: bool },
    /// A line, through all points.
    Stroke {
        points: Vec<[f32; 2]>,
        width: f32,
        dash: Option<[f32; 2]>,
        closed: bool,
    },
    /// A circle, filled or as a ring.
    Circle {
        x: f32,
        y: f32,
        radius: f32,
        ring: Option<f32>,
    },
}

impl Op {
    pub(super) fn rectangle(x: f32, y: f32, width: f32, height: f32) -> Op {
        let points = vec![
            [x, y],
            [x + width, y],
            [x + width, y + height],
            [x, y + height],
        ];
        Op::Fill {
            points,
            white: false,
        }
    }

    pub(super) fn moved(&self, dx: f32, dy: f32) -> Op {
        let mut op = self.clone();
        match &mut op {
            Op::Text { x, y, .. } | Op::Circle { x, y, .. } => {
                *x += dx;
                *y += dy;
            }
            Op::Fill { points, .. } | Op::Stroke { points, .. } => {
                for [x, y] in points {
                    *x += dx;
                    *y += dy;
                }
            }
        }
        op
    }
}

/// Type sizes in points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sizes {
    pub(super) title: f32,
    pub(super) heading: f32,
    pub(super) method: f32,
    pub(super) loud: f32,
    pub(super) lead: f32,
    pub(super) body: f32,
    pub(super) step: f32,
    pub(super) table: f32,
    pub(super) foot: f32,
    /// Height that a sketch may have, in parts of its width.
    pub(super) sketch: f32,
}

/// Leading, in parts of the size.
pub(super) const LEADING: f32 = 1.2;
/// Room above a part, in parts of the heading's size.
pub(super) const PART_GAP: f32 = 0.62;
/// Height of a heading, in parts of its size.
pub(super) const HEADING: f32 = 1.5;
/// Room above an entry, in parts of its size.
pub(super) const ENTRY_GAP: f32 = 0.22;
/// Where the text of a held step begins: after the bar.
pub(super) const BAR: f32 = 6.0;
pub(super) const BAR_WIDTH: f32 = 2.6;
/// Where the text of an item begins, in parts of its size.
pub(super) const INDENT: f32 = 1.55;
/// Room between two columns of a table.
pub(super) const TABLE_GUTTER: f32 = 7.0;

impl Sizes {
    /// The sizes between the floor (0) and the largest (1). The floor of steps is 7 points, x-height 1.36 mm.
    pub(super) fn at(scale: f32) -> Sizes {
        let between = |floor: f32, largest: f32| floor + (largest - floor) * scale;
        Sizes {
            title: between(23.0, 33.0),
            heading: between(11.0, 17.5),
            method: between(8.6, 14.0),
            loud: between(20.0, 30.0),
            lead: between(8.6, 13.5),
            body: between(7.5, 12.0),
            step: between(7.0, 11.5),
            table: between(7.0, 9.0),
            foot: between(6.4, 7.4),
            sketch: between(0.36, 0.72),
        }
    }

    pub(super) fn of(&self, style: Style) -> f32 {
        match style {
            Style::Loud => self.loud,
            Style::Lead => self.lead,
            Style::Body => self.body,
            Style::Step => self.step,
        }
    }
}

/// A line of a part, broken and measured.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    pub(super) height: f32,
    /// Room above it, left out at the top of a column.
    pub(super) gap: f32,
    /// True where it must stand with the next piece.
    pub(super) keep: bool,
    /// The part it belongs to.
    pub(super) part: usize,
    /// The line of the part; none for the heading.
    pub(super) line: Option<usize>,
    /// True where the line begins.
    pub(super) starts: bool,
    /// The row of a table.
    pub(super) row: Option<usize>,
    /// Width that it was set to.
    pub(super) width: f32,
    pub(super) ops: Vec<Op>,
}

impl Piece {
    fn new(height: f32, width: f32, ops: Vec<Op>) -> Piece {
        Piece {
            height,
            gap: 0.0,
            keep: false,
            part: 0,
            line: None,
            starts: true,
            row: None,
            width,
            ops,
        }
    }
}

/// A word in one weight.
#[derive(Clone)]
struct Word<'a> {
    text: &'a str,
    strong: bool,
}

/// Words broken into rows.
struct Rows(Vec<Vec<(f32, bool, String)>>);

/// Breaks runs into rows of a width; a word that is longer than a row is cut.
fn broken(runs: &[Run], size: f32, width: f32, faces: &Faces) -> Rows {
    let mut rows: Vec<Vec<(f32, bool, String)>> = Vec::new();
    let mut row: Vec<(f32, bool, String)> = Vec::new();
    let mut x = 0.0;
    let words = runs.iter().flat_map(|run| {
        let strong = run.strong;
        run.text
            .split(' ')
            .filter(|word| !word.is_empty())
            .map(move |text| Word { text, strong })
    });
    for word in words {
        let mut rest = word.text;
        while !rest.is_empty() {
            let wide = faces.width(rest, word.strong) * size;
            let space = if row.is_empty() {
                0.0
            } else {
                faces.width(" ", word.strong) * size
            };
            if x + space + wide <= width {
                let joins = row.last().is_some_and(|last| last.1 == word.strong);
                match row.last_mut().filter(|_| joins) {
                    Some((start, strong, text)) => {
                        text.push(' ');
                        text.push_str(rest);
                        x = *start + faces.width(text, *strong) * size;
                    }
                    None => {
                        row.push((x + space, word.strong, rest.to_owned()));
                        x += space + wide;
                    }
                }
                rest = "";
            } else if row.is_empty() {
                let fits = |end: &usize| faces.width(&rest[..*end], word.strong) * size <= width;
                let ends = rest
                    .char_indices()
                    .map(|(start, letter)| start + letter.len_utf8());
                let first = rest.chars().next().map_or(rest.len(), char::len_utf8);
                let end = ends.take_while(fits).last().unwrap_or(first);
                rows.push(vec![(0.0, word.strong, rest[..end].to_owned())]);
                rest = &rest[end..];
            } else {
                rows.push(std::mem::take(&mut row));
                x = 0.0;
            }
        }
    }
    if !row.is_empty() {
        rows.push(row);
    }
    Rows(rows)
}

impl Rows {
    fn ops(row: &[(f32, bool, String)], x: f32, baseline: f32, size: f32) -> Vec<Op> {
        let op = |(start, strong, text): &(f32, bool, String)| Op::Text {
            x: x + start,
            y: baseline,
            size,
            strong: *strong,
            white: false,
            text: text.clone(),
        };
        row.iter().map(op).collect()
    }
}

/// How far below the top of a row its baseline is.
pub(super) fn baseline(size: f32) -> f32 {
    size * (LEADING + CAPITAL) / 2.0
}

/// Breaks a text into rows and draws them below each other; gives their height too.
pub(super) fn paragraph(runs: &[Run], size: f32, width: f32, faces: &Faces) -> (f32, Vec<Op>) {
    let rows = broken(runs, size, width, faces).0;
    let mut ops = Vec::new();
    for (i, row) in rows.iter().enumerate() {
        ops.extend(Rows::ops(
            row,
            0.0,
            i as f32 * size * LEADING + baseline(size),
            size,
        ));
    }
    (rows.len() as f32 * size * LEADING, ops)
}

/// The pieces of one part.
pub(super) fn part(
    part: &Part,
    index: usize,
    width: f32,
    sizes: &Sizes,
    faces: &Faces,
) -> Vec<Piece> {
    let mut pieces = heading(part, index, width, sizes, faces);
    let mut held = false;
    for (number, line) in part.lines.iter().enumerate() {
        let broken = match line {
            Line::Entry(it) => {
                let pieces = entry(it, held, width, sizes, faces);
                held = it.held;
                pieces
            }
            Line::Table { head, rows } => table(head, rows, width, sizes, faces),
            Line::Sketch(it) => {
                // It is drawn once its size is settled.
                let height = map::height(it, width, width * sizes.sketch, sizes.table, faces);
                vec![Piece {
                    gap: sizes.table,
                    ..Piece::new(height, width, Vec::new())
                }]
            }
        };
        pieces.extend(broken.into_iter().map(|piece| Piece {
            part: index,
            line: Some(number),
            ..piece
        }));
    }
    if let Some(first) = pieces.first_mut() {
        first.gap = sizes.heading * PART_GAP;
    }
    pieces
}

fn heading(part: &Part, index: usize, width: f32, sizes: &Sizes, faces: &Faces) -> Vec<Piece> {
    let Some(heading) = &part.heading else {
        return Vec::new();
    };
    let (size, rule) = match part.kind {
        Kind::Method => (sizes.method, 0.6),
        Kind::Stop => (sizes.loud * 2.4, 2.4),
        _ => (sizes.heading, 1.4),
    };
    let mut runs = vec![Run {
        strong: true,
        text: heading.clone(),
    }];
    let side = size * 1.16;
    let indent = if part.number.is_some() {
        side + size * 0.45
    } else {
        0.0
    };
    let rows = broken(&runs, size, width - indent, faces).0;
    let mut pieces = Vec::new();
    // Very large letters need less air in proportion.
    let height = if part.kind == Kind::Stop {
        size * 1.1
    } else {
        size * HEADING
    };
    for (i, row) in rows.iter().enumerate() {
        let middle = rule + (height - rule) / 2.0;
        let line = middle + size * CAPITAL / 2.0;
        let mut ops = Rows::ops(row, indent, line, size);
        if i == 0 {
            ops.push(Op::rectangle(0.0, 0.0, width, rule));
            if let Some(number) = part.number {
                ops.insert(0, Op::rectangle(0.0, middle - side / 2.0, side, side));
                let text = number.to_string();
                let x = (side - faces.width(&text, true) * size) / 2.0;
                ops.insert(
                    1,
                    Op::Text {
                        x,
                        y: line,
                        size,
                        strong: true,
                        white: true,
                        text,
                    },
                );
            }
        }
        pieces.push(Piece {
            keep: true,
            part: index,
            ..Piece::new(height, width, ops)
        });
    }
    // What stands behind a heading goes on its last row where there is room, else below it.
    if let (Some(aside), Some(last)) = (&part.aside, pieces.last_mut()) {
        let small = if part.kind == Kind::Method {
            sizes.step
        } else {
            sizes.lead
        };
        let row = rows.last().and_then(|row| row.last());
        let end = indent
            + row.map_or(0.0, |(x, strong, text)| {
                x + faces.width(text, *strong) * size
            });
        let x = end + size * 0.6;
        if x + faces.width(aside, false) * small <= width {
            let line = rule + (height - rule) / 2.0 + size * CAPITAL / 2.0;
            last.ops.push(Op::Text {
                x,
                y: line,
                size: small,
                strong: false,
                white: false,
                text: aside.clone(),
            });
        } else {
            runs = vec![Run {
                strong: false,
                text: aside.clone(),
            }];
            let (height, ops) = paragraph(&runs, small, width - indent, faces);
            let ops = ops.iter().map(|op| op.moved(indent, 0.0)).collect();
            pieces.push(Piece {
                keep: true,
                part: index,
                ..Piece::new(height, width, ops)
            });
        }
    }
    pieces
}

fn entry(entry: &Entry, held_before: bool, width: f32, sizes: &Sizes, faces: &Faces) -> Vec<Piece> {
    let size = sizes.of(entry.style);
    let height = size * LEADING;
    let gap = size * ENTRY_GAP;
    let bar = if entry.style == Style::Step { BAR } else { 0.0 };
    let indent = match entry.mark {
        Mark::None => 0.0,
        Mark::Number(_) | Mark::Box => bar + size * INDENT,
        Mark::Point => size,
    };
    let rows = broken(&entry.runs, size, width - indent, faces).0;
    let last = rows.len().saturating_sub(1);
    let mut pieces = Vec::new();
    for (i, row) in rows.iter().enumerate() {
        let mut ops = Rows::ops(row, indent, baseline(size), size);
        if i == 0 {
            let mark = |x: f32, strong, text: &str| Op::Text {
                x,
                y: baseline(size),
                size,
                strong,
                white: false,
                text: text.to_owned(),
            };
            match entry.mark {
                Mark::None => {}
                Mark::Number(number) => {
                    let text = number.to_string();
                    let x = indent - size * 0.45 - faces.width(&text, true) * size;
                    ops.insert(0, mark(x.max(bar), true, &text));
                }
                Mark::Box => {
                    let side = size * 0.72;
                    let top = baseline(size) - size * CAPITAL / 2.0 - side / 2.0;
                    let points = vec![
                        [bar, top],
                        [bar + side, top],
                        [bar + side, top + side],
                        [bar, top + side],
                    ];
                    ops.push(Op::Stroke {
                        points,
                        width: 0.8,
                        dash: None,
                        closed: true,
                    });
                }
                Mark::Point => {
                    let y = baseline(size) - size * CAPITAL / 2.0;
                    ops.push(Op::Circle {
                        x: size * 0.3,
                        y,
                        radius: size * 0.16,
                        ring: None,
                    });
                }
            }
        }
        if entry.held {
            // The bar runs on through the gap between two held steps.
            let above = if i == 0 && held_before { gap } else { 0.0 };
            ops.push(Op::rectangle(0.0, -above, BAR_WIDTH, height + above));
        }
        // Short entries stay whole; of long ones at least two rows stay together at either end.
        let keep = i < last && (rows.len() <= 4 || i == 0 || i + 1 == last);
        let gap = if i == 0 { gap } else { 0.0 };
        pieces.push(Piece {
            gap,
            keep,
            starts: i == 0,
            ..Piece::new(height, width, ops)
        });
    }
    pieces
}

fn table(
    head: &[String],
    rows: &[Vec<String>],
    width: f32,
    sizes: &Sizes,
    faces: &Faces,
) -> Vec<Piece> {
    let size = sizes.table;
    let widths = column_widths(head, rows, width, size, faces);
    let mut pieces = Vec::new();
    for (number, cells) in std::iter::once(head)
        .chain(rows.iter().map(Vec::as_slice))
        .enumerate()
    {
        let strong = number == 0;
        let runs = |cell: &String| {
            [Run {
                strong,
                text: cell.clone(),
            }]
        };
        let cells: Vec<Rows> = cells
            .iter()
            .zip(&widths)
            .map(|(cell, wide)| broken(&runs(cell), size, *wide, faces))
            .collect();
        // A row of the table is as many pieces as it has rows of text, so that even an endless name can be parted.
        let count = cells
            .iter()
            .map(|cell| cell.0.len())
            .max()
            .unwrap_or(0)
            .max(1);
        for i in 0..count {
            let (above, below) = (
                if i == 0 { 1.2 } else { 0.0 },
                if i + 1 == count { 1.2 } else { 0.0 },
            );
            let height = size * LEADING + above + below;
            let mut ops = Vec::new();
            let mut x = 0.0;
            for (cell, wide) in cells.iter().zip(&widths) {
                if let Some(row) = cell.0.get(i) {
                    ops.extend(Rows::ops(row, x, above + baseline(size), size));
                }
                x += wide + TABLE_GUTTER;
            }
            if i + 1 == count {
                let thin = if strong { 0.8 } else { 0.3 };
                ops.push(Op::rectangle(0.0, height - thin, width, thin));
            }
            let keep = strong || i + 1 < count && count <= 4;
            let row = number.checked_sub(1);
            pieces.push(Piece {
                keep,
                row,
                starts: i == 0,
                ..Piece::new(height, width, ops)
            });
        }
    }
    pieces
}

/// Gives every column what it needs where that is less than its share, and the rest to those that need more.
pub(super) fn column_widths(
    head: &[String],
    rows: &[Vec<String>],
    width: f32,
    size: f32,
    faces: &Faces,
) -> Vec<f32> {
    let room = width - TABLE_GUTTER * head.len().saturating_sub(1) as f32;
    let wanted = |column: usize| {
        let cells = rows
            .iter()
            .filter_map(|row| row.get(column))
            .map(|cell| faces.width(cell, false));
        cells.fold(faces.width(&head[column], true), f32::max) * size + 0.5
    };
    let mut wanted: Vec<f32> = (0..head.len()).map(wanted).collect();
    // A little too much is taken from the one column where it breaks the fewest cells, and no word.
    let excess = wanted.iter().sum::<f32>() - room;
    if excess > 0.0 {
        let broken = |column: usize| {
            let left = (wanted[column] - excess) / size;
            let cells = || rows.iter().filter_map(move |row| row.get(column));
            let words = cells().flat_map(|cell| cell.split(' '));
            let whole = words
                .chain([head[column].as_str()])
                .all(|word| faces.width(word, true) <= left);
            whole.then(|| {
                (
                    cells()
                        .filter(|cell| faces.width(cell, false) > left)
                        .count(),
                    column,
                )
            })
        };
        if let Some((_, column)) = (0..wanted.len()).filter_map(broken).min() {
            wanted[column] -= excess;
            return wanted;
        }
    }
    let mut given = vec![0.0; head.len()];
    let mut open: Vec<usize> = (0..head.len()).collect();
    let mut left = room;
    while !open.is_empty() {
        let share = left / open.len() as f32;
        let content: Vec<usize> = open
            .iter()
            .copied()
            .filter(|i| wanted[*i] <= share)
            .collect();
        if content.is_empty() {
            // Those that want more share by what they want.
            let all: f32 = open.iter().map(|i| wanted[*i]).sum();
            for i in &open {
                given[*i] = left * wanted[*i] / all;
            }
            break;
        }
        for i in content {
            given[i] = wanted[i];
            left -= wanted[i];
            open.retain(|it| *it != i);
        }
    }
    // What is left over goes between the columns, so that the table is as wide as its rule.
    let spare = room - given.iter().sum::<f32>();
    if spare > 0.0 {
        let each = spare / given.len() as f32;
        given.iter_mut().for_each(|it| *it += each);
    }
    given
}
