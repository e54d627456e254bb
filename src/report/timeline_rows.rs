//! Draws one track of a timeline: its name, what went on, the signs, and the numbers above them.
//!
//! A number goes into the lowest row above the bar where it meets no other, the most needed first. On a bar something is
//! written only where no sign and nothing else stands.

use super::drawing::{Anchor, Ink, Shape, Spot, Text};
use super::timeline::{Frame, LEADING, Scale, TimelineDrawing, is_clock, line, seen, words};
use super::timeline_key as key;
use super::timeline_signs as signs;
use crate::review::condition;
use crate::review::timeline::{Kind, Mark, Pin, Planned, Span, Track};
use crate::words::{Id, clock};

/// Numbers stand in so many rows at most above what they are of.
const ROWS_MAX: usize = 4;

// Heights in parts of the size of letters.
const BAR: f32 = 1.5;
const GAP: f32 = 0.45;
/// What stands above a bar or on it is a little smaller, where there is a key; on a screen everything is as small as it may be.
fn small(frame: &Frame) -> f32 {
    if frame.key { 0.9 } else { 1.0 }
}

/// A row of the picture, before it has its place.
pub(super) struct Row<'t> {
    track: &'t Track,
    names: Vec<String>,
    strong: bool,
    /// Texts above the bar: the row from the bottom, where it begins, how wide it is, and what it says.
    above: Vec<Above>,
    rows: usize,
}

struct Above {
    row: usize,
    left: f32,
    width: f32,
    text: String,
    /// Where it points to.
    x: f32,
}

impl TimelineDrawing<'_> {
    /// Breaks a name into two lines at most, the second cut where it is still too long.
    fn broken(&self, name: &str, size: f32, strong: bool, room: f32) -> Vec<String> {
        let mut lines = key::wrapped(self, name, size, strong, room);
        if lines.len() > 2 {
            lines.truncate(2);
            if let Some(last) = lines.last_mut() {
                *last = self.cut(&format!("{last}\u{2026}"), size, strong, room);
            }
        }
        lines
    }

    /// A text without what it has too much at its end.
    pub(super) fn cut(&self, text: &str, size: f32, strong: bool, room: f32) -> String {
        if self.wide(text, size, strong) <= room {
            return text.to_owned();
        }
        let mut letters: Vec<char> = text.trim_end_matches('\u{2026}').chars().collect();
        while letters.pop().is_some() {
            let short: String = letters.iter().collect::<String>() + "\u{2026}";
            if self.wide(&short, size, strong) <= room {
                return short;
            }
        }
        String::new()
    }

    pub(super) fn row<'t>(&self, track: &'t Track, frame: &Frame, scale: &Scale) -> Row<'t> {
        let size = frame.size;
        let strong = is_clock(track);
        let names = self.broken(&self.name(track), size, strong, scale.left - size);
        let mut row = Row {
            track,
            names,
            strong,
            above: Vec::new(),
            rows: 0,
        };
        for (text, x) in self.wanted_above(track, frame, scale) {
            let width = self.wide(&text, size * small(frame), false);
            let right = scale.left + scale.width;
            let left = (x - width / 2.0).clamp(scale.left, (right - width).max(scale.left));
            let apart = size * 0.3;
            let free = |at: usize| {
                row.above.iter().all(|it| {
                    it.row != at
                        || it.left + it.width + apart <= left
                        || left + width + apart <= it.left
                })
            };
            if let Some(at) = (0..ROWS_MAX).find(|at| free(*at)) {
                row.rows = row.rows.max(at + 1);
                row.above.push(Above {
                    row: at,
                    left,
                    width,
                    text,
                    x,
                });
            }
        }
        row
    }

    /// The texts that want to stand above a track, the most needed first, each with where it points to.
    fn wanted_above(&self, track: &Track, frame: &Frame, scale: &Scale) -> Vec<(String, f32)> {
        let target = track.pins.iter().filter(|it| it.what == Planned::Target);
        let target = target.filter(|it| scale.shows(it.at)).map(|pin| {
            let said = clock(self.timeline.target);
            let said = self.voice().say(Id::TimelineTarget, [&said]);
            (said, scale.x(pin.at))
        });
        let mut marks: Vec<&Mark> = track
            .marks
            .iter()
            .filter(|it| frame.key && scale.shows(it.at) && it.sign.weight() > 0)
            .collect();
        marks.sort_by_key(|it| (std::cmp::Reverse(it.sign.weight()), it.at));
        let numbers = marks
            .iter()
            .map(|it| (it.record.to_string(), scale.x(it.at)));
        target.chain(numbers).collect()
    }

    pub(super) fn draw_row(
        &self,
        shapes: &mut Vec<Shape>,
        row: &Row<'_>,
        frame: &Frame,
        scale: &Scale,
        [y, height]: [f32; 2],
    ) {
        let size = frame.size;
        let right = scale.left + scale.width;
        let weight = if row.strong { 1.0 } else { 0.4 };
        shapes.push(line([0.0, y], [right, y], Ink::Line, weight, false));
        let bar_top = y + height - size * (BAR + GAP * 0.5);
        let first = y + (height - row.names.len() as f32 * size * LEADING) / 2.0;
        for (name, index) in row.names.iter().zip(0_u8..) {
            let base = first + size * LEADING * f32::from(index) + size * 1.02;
            shapes.push(Shape::Text(Text {
                at: Spot { x: 0.0, y: base },
                anchor: Anchor::Start,
                size,
                strong: row.strong,
                ink: Ink::Text,
                text: name.clone(),
            }));
        }
        let bar = signs::Bar {
            top: bar_top,
            height: size * BAR,
            size,
            letters: size * small(frame),
        };
        let mut taken: Vec<[f32; 2]> = row
            .track
            .marks
            .iter()
            .filter(|it| scale.shows(it.at))
            .map(|it| scale.x(it.at))
            .chain(
                row.track
                    .pins
                    .iter()
                    .filter(|it| scale.shows(it.at))
                    .map(|it| scale.x(it.at)),
            )
            .map(|x| [x - size * 0.6, x + size * 0.6])
            .collect();
        for span in row.track.spans.iter().filter(|it| seen(it, scale)) {
            let told = self.span_told(span);
            let (from, to) = (scale.x(span.from), scale.x(span.to));
            let mut drawn = signs::span(span.kind, from, to, &bar);
            self.name_in_bar(&mut drawn, span, [from, to], &bar, &mut taken);
            shapes.push(group(&span.records, told, drawn));
        }
        for pin in row.track.pins.iter().filter(|it| scale.shows(it.at)) {
            let told = self.pin_told(pin);
            let drawn = signs::pin(pin.what, scale.x(pin.at), &bar);
            shapes.push(group(&pin.records, told, drawn));
        }
        let mut marks: Vec<&Mark> = row.track.marks.iter().collect();
        // What matters more lies on what happened at the same time.
        marks.sort_by_key(|it| it.sign.weight());
        for mark in marks.into_iter().filter(|it| scale.shows(it.at)) {
            let told = format!("{} {}", clock(mark.at), self.line(mark));
            let drawn = signs::mark(mark.sign, mark.taken_back, scale.x(mark.at), &bar);
            shapes.push(group(&[mark.record], told, drawn));
        }
        for above in &row.above {
            let rows = f32::from(u8::try_from(above.row).unwrap_or(0));
            let base = bar_top - size * 0.2 - rows * size * LEADING * small(frame);
            if above.row > 0 {
                let to = [above.x, bar_top];
                shapes.push(line(
                    [above.x, base + size * 0.12],
                    to,
                    Ink::Line,
                    0.4,
                    false,
                ));
            }
        }
        for above in &row.above {
            let rows = f32::from(u8::try_from(above.row).unwrap_or(0));
            let base = bar_top - size * 0.2 - rows * size * LEADING * small(frame);
            let at = [above.left, base];
            shapes.push(words(
                &above.text,
                at,
                Anchor::Start,
                size * small(frame),
                Ink::Text,
            ));
        }
    }

    fn span_told(&self, span: &Span) -> String {
        let (from, to) = (clock(span.from), clock(span.to));
        let what = self.kind(span);
        self.voice().say(Id::TimelineFromTo, [&from, &to, &what])
    }

    fn pin_told(&self, pin: &Pin) -> String {
        let what = match pin.what {
            Planned::Target => {
                let said = clock(self.timeline.target);
                self.voice().say(Id::TimelineTarget, [&said])
            }
            other => self.label(signs::planned(other)),
        };
        format!("{} {what}", clock(pin.at))
    }

    /// What is written on a span.
    fn on_bar(&self, span: &Span) -> Option<String> {
        let long = clock(span.to.saturating_sub(span.from));
        match span.kind {
            Kind::Hanging => {
                let hung = self.timeline.hung.iter().find(|it| it.fell == span.from);
                let id = match (span.open, hung.is_some_and(|it| it.at_least)) {
                    (true, _) => Id::TimelineHangs,
                    (false, true) => Id::TimelineHungLeast,
                    (false, false) => Id::TimelineHung,
                };
                Some(self.voice().say(id, [&long]))
            }
            Kind::Was(is) => Some(self.label(condition(is))),
            Kind::Ordered | Kind::Going | Kind::There => Some(self.span_name(span)),
            Kind::Asked(_) | Kind::Danger | Kind::Away | Kind::Calling | Kind::Tried => Some(long),
            Kind::OutsideLeads => Some(self.label(Id::TimelineKeyOutside)),
            _ => None,
        }
        .filter(|it| !it.is_empty())
    }

    /// Writes on a span where nothing else stands.
    fn name_in_bar(
        &self,
        drawn: &mut Vec<Shape>,
        span: &Span,
        [from, to]: [f32; 2],
        bar: &signs::Bar,
        taken: &mut Vec<[f32; 2]>,
    ) {
        let Some(text) = self.on_bar(span) else {
            return;
        };
        let size = bar.letters;
        let wide = self.wide(&text, size, false);
        let pad = bar.size * 0.3;
        let mut starts = vec![from + pad];
        starts.extend(taken.iter().map(|it| it[1] + pad).filter(|it| *it > from));
        starts.sort_by(f32::total_cmp);
        let fits = |start: &f32| {
            let (left, right) = (*start - pad, *start + wide + pad);
            right <= to
                && taken
                    .iter()
                    .all(|it| it[1] <= left + pad * 0.5 || right <= it[0])
        };
        let Some(start) = starts.into_iter().find(fits) else {
            return;
        };
        taken.push([start - pad, start + wide + pad]);
        let base = bar.top + bar.height / 2.0 + size * 0.36;
        let ink = signs::ink_on(span.kind);
        drawn.push(words(&text, [start, base], Anchor::Start, size, ink));
    }
}

impl Row<'_> {
    pub(super) fn height(&self, size: f32) -> f32 {
        let rows = self.rows as f32 * LEADING;
        let names = self.names.len() as f32 * LEADING + 0.2;
        size * (rows + BAR + GAP).max(names)
    }
}

fn group(records: &[u64], told: String, shapes: Vec<Shape>) -> Shape {
    Shape::Group {
        records: records.to_vec(),
        told,
        shapes,
    }
}
