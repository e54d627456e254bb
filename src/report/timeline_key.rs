//! Explains a timeline below it: what each bar and sign means, and what the record says at each number.
//!
//! Only what is seen is explained. Lines are broken between words, and inside one where it alone is too long.

use super::drawing::{Anchor, Drawing, Ink, Shape};
use super::timeline::{Frame, LEADING, TimelineDrawing, line, words};
use super::timeline_signs::{self as signs, Bar};
use crate::review::timeline::{Mark, Planned};
use crate::words::{Id, clock};

/// A column of the numbered lines is at least so wide, in parts of the size of letters.
const COLUMN_LEAST: f32 = 28.0;

/// Draws a sign at a place along a bar.
type Draw<'a> = Box<dyn Fn(f32, &Bar) -> Vec<Shape> + 'a>;

/// A sign and what it means, before they have their place.
struct Entry<'a> {
    draw: Draw<'a>,
    text: String,
}

/// Writes both parts, or the signs alone, below a picture that is this high; returns how high it is with them.
pub(super) fn write(
    drawing: &TimelineDrawing<'_>,
    shapes: &mut Vec<Shape>,
    frame: &Frame,
    top: f32,
    with_lines: bool,
) -> f32 {
    let size = frame.size;
    let y = explained(drawing, shapes, frame, top + size * 0.6);
    if !with_lines {
        return y;
    }
    let columns = Columns::of(drawing, frame);
    let told = columns.told(drawing, &drawing.keyed(&drawing.scale(frame)));
    columns.write(drawing, shapes, &told, y + size * 0.6)
}

/// Writes the signs alone below a picture that is this high; returns how high it is with them.
pub(super) fn write_signs(
    drawing: &TimelineDrawing<'_>,
    shapes: &mut Vec<Shape>,
    frame: &Frame,
    top: f32,
) -> f32 {
    explained(drawing, shapes, frame, top + frame.size * 0.6)
}

/// Both parts on pages of their own, none higher than this.
pub(super) fn pages(drawing: &TimelineDrawing<'_>, frame: &Frame, height: f32) -> Vec<Drawing> {
    let columns = Columns::of(drawing, frame);
    let told = columns.told(drawing, &drawing.keyed(&drawing.scale(frame)));
    let mut rest = told.as_slice();
    let mut pages = Vec::new();
    while pages.is_empty() || !rest.is_empty() {
        let mut page = drawing.blank(frame.width, height);
        let top = match pages.is_empty() {
            true => explained(drawing, &mut page.shapes, frame, 0.0) + frame.size * 0.6,
            false => 0.0,
        };
        let count = columns.fit(rest, height - top);
        let (now, later) = rest.split_at(count.max(usize::from(!pages.is_empty())));
        page.height = columns.write(drawing, &mut page.shapes, now, top);
        pages.push(page);
        rest = later;
    }
    pages
}

fn explained(
    drawing: &TimelineDrawing<'_>,
    shapes: &mut Vec<Shape>,
    frame: &Frame,
    top: f32,
) -> f32 {
    let size = frame.size;
    let used = drawing.used(&drawing.scale(frame));
    let kinds = used.kinds.iter().map(|kind| Entry {
        draw: Box::new(move |x, bar| signs::span(*kind, x - size * 1.1, x + size * 1.1, bar)),
        text: drawing.label(signs::kind(*kind)),
    });
    let pins = used.pins.keys().map(|pin| Entry {
        draw: Box::new(move |x, bar| signs::pin(*pin, x, bar)),
        text: match pin {
            Planned::Target => {
                let target = clock(drawing.timeline.target);
                drawing.voice().say(Id::TimelineTarget, [&target])
            }
            other => drawing.label(signs::planned(*other)),
        },
    });
    let marks = used.signs.keys().map(|sign| Entry {
        draw: Box::new(move |x, bar| signs::mark(*sign, false, x, bar)),
        text: drawing.label(signs::sign(*sign)),
    });
    let back = used.taken_back.then(|| Entry {
        draw: Box::new(|x, bar: &Bar| {
            let y = bar.top + bar.height / 2.0;
            let half = bar.size * 0.65;
            vec![line([x - half, y], [x + half, y], Ink::Text, 0.9, false)]
        }),
        text: drawing.label(Id::TimelineTakenBackKey),
    });
    let all: Vec<Entry<'_>> = kinds.chain(pins).chain(marks).chain(back).collect();
    let (sign, gap) = (size * 3.0, size * 1.4);
    let widths = all
        .iter()
        .map(|it| sign + drawing.wide(&it.text, size, false) + gap);
    let columns = widths.clone().fold(1.0_f32, f32::max);
    let columns = (frame.width / columns).floor().max(1.0);
    let column = frame.width / columns;
    let (mut x, mut y) = (0.0, top);
    for entry in all {
        if x + column > frame.width + 0.5 {
            (x, y) = (0.0, y + size * LEADING * 1.25);
        }
        let bar = Bar {
            top: y + size * 0.12,
            height: size * 1.1,
            size: size * 0.9,
            letters: size,
        };
        shapes.extend((entry.draw)(x + size * 1.3, &bar));
        let text = drawing.cut(&entry.text, size, false, frame.width - sign);
        let at = [x + sign, y + size * 1.02];
        shapes.push(words(&text, at, Anchor::Start, size, Ink::Soft));
        x += column;
    }
    y + size * LEADING * 1.25
}

/// What the record says at a number.
struct Told {
    number: String,
    time: String,
    lines: Vec<String>,
}

/// Columns of numbered lines, which are read from top to bottom.
struct Columns {
    size: f32,
    /// How many there are.
    count: f32,
    width: f32,
    /// How wide the widest number and the widest time are.
    numbers: f32,
    times: f32,
}

impl Columns {
    fn of(drawing: &TimelineDrawing<'_>, frame: &Frame) -> Columns {
        let size = frame.size;
        let count = (frame.width / (size * COLUMN_LEAST)).floor().max(1.0);
        let marks = drawing.keyed(&drawing.scale(frame));
        let widest = |texts: &mut dyn Iterator<Item = String>| {
            texts.fold(0.0_f32, |most, it| most.max(drawing.wide(&it, size, false)))
        };
        Columns {
            size,
            count,
            width: frame.width / count,
            numbers: widest(&mut marks.iter().map(|it| it.record.to_string())),
            times: widest(&mut marks.iter().map(|it| clock(it.at))),
        }
    }

    /// Where the texts of a column begin.
    fn text_x(&self) -> f32 {
        self.numbers + self.times + self.size * 1.4
    }

    fn told(&self, drawing: &TimelineDrawing<'_>, marks: &[&Mark]) -> Vec<Told> {
        let room = self.width - self.text_x() - self.size * 1.2;
        let told = marks.iter().map(|mark| Told {
            number: mark.record.to_string(),
            time: clock(mark.at),
            lines: wrapped(drawing, &drawing.line(mark), self.size, false, room),
        });
        told.collect()
    }

    /// How many of these fit into this height.
    fn fit(&self, told: &[Told], height: f32) -> usize {
        let step = self.size * LEADING;
        let each = ((height - self.size * 2.0) / step - 1.0).floor();
        let (mut column, mut row) = (1.0, 0.0);
        let fits = told.iter().take_while(|it| {
            let high = it.high();
            if row + high > each {
                (column, row) = (column + 1.0, 0.0);
            }
            row += high;
            column <= self.count && row <= each
        });
        fits.count()
    }

    /// Writes them as low columns as they allow, and returns where they end.
    fn write(
        &self,
        drawing: &TimelineDrawing<'_>,
        shapes: &mut Vec<Shape>,
        told: &[Told],
        top: f32,
    ) -> f32 {
        if told.is_empty() {
            return top;
        }
        let (size, step) = (self.size, self.size * LEADING);
        let note = drawing.label(Id::TimelineInRecord);
        let note = drawing.cut(&note, size, false, self.width * self.count);
        shapes.push(words(
            &note,
            [0.0, top + size],
            Anchor::Start,
            size,
            Ink::Soft,
        ));
        let first = top + size * 1.5;
        let lines: f32 = told.iter().map(Told::high).sum();
        let mut each = (lines / self.count).ceil();
        while self.needs(told, each) > self.count {
            each += 1.0;
        }
        let (mut x, mut row, mut deepest) = (0.0, 0.0_f32, 0.0_f32);
        for it in told {
            if row > 0.0 && row + it.high() > each {
                (x, row) = (x + self.width, 0.0);
            }
            let base = first + (row + 1.0) * step;
            let at = [x + self.numbers, base];
            shapes.push(words(&it.number, at, Anchor::End, size, Ink::Text));
            let at = [x + self.numbers + self.times + size * 0.7, base];
            shapes.push(words(&it.time, at, Anchor::End, size, Ink::Soft));
            for (text, line) in it.lines.iter().zip(0_u16..) {
                let at = [x + self.text_x(), base + f32::from(line) * step];
                shapes.push(words(text, at, Anchor::Start, size, Ink::Text));
            }
            row += it.high();
            deepest = deepest.max(row);
        }
        first + deepest * step + size * 0.5
    }

    /// How many columns they take where each is so high.
    fn needs(&self, told: &[Told], each: f32) -> f32 {
        let (mut columns, mut row) = (1.0, 0.0);
        for it in told {
            if row > 0.0 && row + it.high() > each {
                (columns, row) = (columns + 1.0, 0.0);
            }
            row += it.high();
        }
        columns
    }
}

impl Told {
    /// How many lines it takes.
    fn high(&self) -> f32 {
        self.lines.len().max(1) as f32
    }
}

/// A text in lines that are no wider than the room.
pub(super) fn wrapped(
    drawing: &TimelineDrawing<'_>,
    text: &str,
    size: f32,
    strong: bool,
    room: f32,
) -> Vec<String> {
    let fits = |text: &str| drawing.wide(text, size, strong) <= room;
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let longer = lines.last().map(|it| format!("{it} {word}"));
        if let Some((last, longer)) = lines.last_mut().zip(longer)
            && fits(&longer)
        {
            *last = longer;
            continue;
        }
        let mut rest = word;
        while !fits(rest) {
            let ends = rest.char_indices().map(|(at, _)| at).skip(1);
            let fitting = ends.take_while(|end| fits(&rest[..*end])).last();
            // One letter stands, however little room there is.
            let second = rest.char_indices().nth(1).map(|(at, _)| at);
            let Some(end) = fitting.or(second) else {
                break;
            };
            lines.push(rest[..end].to_owned());
            rest = &rest[end..];
        }
        lines.push(rest.to_owned());
    }
    lines
}
