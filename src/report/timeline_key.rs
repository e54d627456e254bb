//! Explains a timeline below it: what each bar and sign means, and what the record says at each number.
//!
//! Only what is seen is explained. Lines are broken between words, and inside one where it alone is too long.

use super::drawing::{Anchor, Ink, Shape};
use super::timeline::{Frame, LEADING, TimelineDrawing, line, words};
use super::timeline_signs::{self as signs, Bar};
use crate::review::timeline::Planned;
use crate::words::{Id, clock};

/// A column of the numbered lines is at least so wide, in parts of the size of letters.
const COLUMN_LEAST: f32 = 28.0;

/// A sign and what it means, before they have their place.
struct Entry<'a> {
    draw: Box<dyn Fn(f32, &Bar) -> Vec<Shape> + 'a>,
    text: String,
}

/// Writes both parts below a picture that is this high; returns how high it is with them.
pub(super) fn write(
    drawing: &TimelineDrawing<'_>,
    shapes: &mut Vec<Shape>,
    frame: &Frame,
    top: f32,
) -> f32 {
    let size = frame.size;
    let y = explained(drawing, shapes, frame, top + size * 0.6);
    numbered(drawing, shapes, frame, y + size * 0.6)
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
        };
        shapes.extend((entry.draw)(x + size * 1.3, &bar));
        let text = drawing.cut(&entry.text, size, false, frame.width - sign);
        let at = [x + sign, y + size * 1.02];
        shapes.push(words(&text, at, Anchor::Start, size, Ink::Soft));
        x += column;
    }
    y + size * LEADING * 1.25
}

/// What the record says at each number, in columns that are read from top to bottom.
fn numbered(
    drawing: &TimelineDrawing<'_>,
    shapes: &mut Vec<Shape>,
    frame: &Frame,
    top: f32,
) -> f32 {
    let size = frame.size;
    let scale = drawing.scale(frame);
    let marks = drawing.keyed(&scale);
    if marks.is_empty() {
        return top;
    }
    let columns = (frame.width / (size * COLUMN_LEAST)).floor().max(1.0);
    let column = frame.width / columns;
    let widest = |texts: &mut dyn Iterator<Item = String>| {
        texts.fold(0.0_f32, |most, it| most.max(drawing.wide(&it, size, false)))
    };
    let numbers = widest(&mut marks.iter().map(|it| it.record.to_string()));
    let times = widest(&mut marks.iter().map(|it| clock(it.at)));
    let text_x = numbers + times + size * 1.4;
    let room = column - text_x - size * 1.2;
    let entries: Vec<(String, String, Vec<String>)> = marks
        .iter()
        .map(|mark| {
            let text = drawing.line(mark);
            let lines = wrapped(drawing, &text, size, false, room);
            (mark.record.to_string(), clock(mark.at), lines)
        })
        .collect();
    let note = drawing.label(Id::TimelineInRecord);
    let y = top + size;
    let note = drawing.cut(&note, size, false, frame.width);
    shapes.push(words(&note, [0.0, y], Anchor::Start, size, Ink::Soft));
    let first = y + size * LEADING * 0.5;
    let lines: usize = entries.iter().map(|it| it.2.len().max(1)).sum();
    let each = (lines as f32 / columns).ceil();
    let (mut x, mut row, mut deepest) = (0.0, 0.0_f32, 0.0_f32);
    let mut number = 1.0;
    for (seq, time, lines) in entries {
        let high = lines.len().max(1) as f32;
        // The last column takes what is left.
        if row > 0.0 && row + high > each && number < columns {
            (x, row, number) = (x + column, 0.0, number + 1.0);
        }
        let base = first + (row + 1.0) * size * LEADING;
        let at = [x + numbers, base];
        shapes.push(words(&seq, at, Anchor::End, size, Ink::Text));
        let at = [x + numbers + times + size * 0.7, base];
        shapes.push(words(&time, at, Anchor::End, size, Ink::Soft));
        for (text, line) in lines.iter().zip(0_u16..) {
            let at = [x + text_x, base + f32::from(line) * size * LEADING];
            shapes.push(words(text, at, Anchor::Start, size, Ink::Text));
        }
        row += high;
        deepest = deepest.max(row);
    }
    first + (deepest + 0.6) * size * LEADING
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
