//! Draws an incident along one line of time, as wide as it is asked for and as high as it needs.
//!
//! Time runs from left to right since the first fall. Each track has a row for what went on and rows above it for numbers, so
//! that no two texts meet; a mark that is left without a number there still has its line in the key. A number is that of the
//! line in the record. Signs and bars differ by shape before they differ by colour, and only those that are seen are
//! explained below. Limits: the picture grows with the number of people and methods; it is not squeezed until it is unreadable.

use super::compose::Voice;
use super::drawing::{Anchor, Drawing, Ink, Paint, Shape, Spot, Text};
use super::face::Faces;
use super::timeline_key as key;
use super::timeline_rows::Row;
use super::timeline_signs as signs;
use crate::review::timeline::{About, Kind, Mark, Of, Planned, Span, Timeline, Track};
use crate::review::{Line, Sign, condition};
use crate::units::Millis;
use crate::words::{Id, Language, clock, label};
use std::collections::BTreeMap;

/// Steps of the axis in seconds; the first that gives few enough labels is taken.
const STEPS_S: [i64; 14] = [
    5, 10, 15, 30, 60, 120, 180, 300, 600, 900, 1_800, 3_600, 14_400, 86_400,
];
/// The part of the width that names of tracks may take.
const NAMES_MOST: f32 = 0.22;

/// From one line of letters to the next, in parts of their size.
pub(super) const LEADING: f32 = 1.35;
/// Both axes.
const HEAD: f32 = 2.0 * LEADING + 0.9;
/// The upper one, and an edge below.
const SHORT_HEAD: f32 = LEADING + 0.8;

/// What is drawn, and in what words.
#[derive(Clone, Copy)]
pub struct TimelineDrawing<'a> {
    /// The incident.
    pub timeline: &'a Timeline,
    /// Its lines, in the reader's words.
    pub lines: &'a [Line],
    /// The reader's language.
    pub language: Language,
    /// To measure with.
    pub faces: &'a Faces,
}

/// Which part of it, and how large.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// How wide the picture is.
    pub width: f32,
    /// Height of its letters.
    pub size: f32,
    /// The first time that is seen, since the first fall.
    pub from: Millis,
    /// The last one.
    pub to: Millis,
    /// True with signs explained and numbers told below it. Without, there are no numbers, and the axis stands above alone.
    pub key: bool,
}

/// Where times lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Where the first time lies.
    pub left: f32,
    /// How much lies right of it.
    pub width: f32,
    /// The first time.
    pub from: Millis,
    /// The last one.
    pub to: Millis,
}

impl Frame {
    /// The whole incident, with its key.
    pub fn whole(timeline: &Timeline, width: f32, size: f32) -> Frame {
        Frame {
            width,
            size,
            from: Millis::ZERO,
            to: timeline.ends,
            key: true,
        }
    }
}

impl Scale {
    /// Where a time lies; what is outside lies at the edge.
    pub fn x(&self, at: Millis) -> f32 {
        let all = (self.to.0.saturating_sub(self.from.0)).max(1) as f32;
        let part = at.0.saturating_sub(self.from.0) as f32 / all;
        self.left + self.width * part.clamp(0.0, 1.0)
    }

    pub(super) fn shows(&self, at: Millis) -> bool {
        self.from <= at && at <= self.to
    }
}

impl TimelineDrawing<'_> {
    pub(super) fn voice(&self) -> Voice {
        Voice(self.language)
    }

    pub(super) fn label(&self, id: Id) -> String {
        label(id, self.language)
    }

    pub(super) fn wide(&self, text: &str, size: f32, strong: bool) -> f32 {
        self.faces.width(text, strong) * size
    }

    /// Where times lie in a frame: what stands left of them are the names of the tracks.
    pub fn scale(&self, frame: &Frame) -> Scale {
        let size = frame.size;
        let names = self.timeline.tracks.iter().map(|track| {
            let strong = is_clock(track);
            self.wide(&self.name(track), size, strong)
        });
        let widest = names.fold(0.0_f32, f32::max);
        let first = self.wide(&clock(frame.from), size, false);
        let since = self.wide(&self.label(self.since()), size, false) + first / 2.0;
        let since = if frame.key { since } else { first / 2.0 };
        let left = widest.min(frame.width * NAMES_MOST).max(since) + size;
        Scale {
            left,
            width: frame.width - left - size,
            from: frame.from,
            to: frame.to.max(frame.from.saturating_add(Millis(1_000))),
        }
    }

    /// The picture.
    pub fn draw(&self, frame: &Frame) -> Drawing {
        self.drawn(frame, true)
    }

    /// The picture with its signs explained, for where all lines of the record stand below it.
    pub fn draw_without_lines(&self, frame: &Frame) -> Drawing {
        self.drawn(frame, false)
    }

    fn drawn(&self, frame: &Frame, with_lines: bool) -> Drawing {
        let scale = self.scale(frame);
        let rows = self.rows(frame, &scale);
        let mut drawing = self.part(frame, &scale, &rows);
        if frame.key {
            let (shapes, top) = (&mut drawing.shapes, drawing.height);
            drawing.height = key::write(self, shapes, frame, top, with_lines);
        }
        drawing
    }

    /// The picture in as many parts as it takes for none to be higher than this, where its tracks are not too high alone. What
    /// explains it stands on the last ones.
    pub fn pages(&self, frame: &Frame, height: f32) -> Vec<Drawing> {
        let whole = self.draw(frame);
        if whole.height <= height {
            return vec![whole];
        }
        let mut pages = self.parts(frame, height);
        if frame.key {
            pages.extend(key::pages(self, frame, height));
        }
        pages
    }

    /// The same with its signs explained and without the lines of the record, for where those stand below it anyway.
    pub fn pages_without_lines(&self, frame: &Frame, height: f32) -> Vec<Drawing> {
        let bare = Frame {
            key: false,
            ..*frame
        };
        let signed = |mut drawing: Drawing| {
            let (shapes, top) = (&mut drawing.shapes, drawing.height);
            drawing.height = key::write_signs(self, shapes, frame, top);
            drawing
        };
        let whole = signed(self.draw(&bare));
        if whole.height <= height {
            return vec![whole];
        }
        let mut pages = self.parts(&bare, height);
        pages.push(signed(self.blank(frame.width, 0.0)));
        pages
    }

    /// Its tracks in as many parts as it takes.
    fn parts(&self, frame: &Frame, height: f32) -> Vec<Drawing> {
        let scale = self.scale(frame);
        let rows = self.rows(frame, &scale);
        let mut pages = Vec::new();
        let mut rest = rows.as_slice();
        while !rest.is_empty() {
            let mut used = if frame.key { HEAD } else { SHORT_HEAD } * frame.size;
            let fits = rest.iter().take_while(|row| {
                used += row.height(frame.size);
                used <= height
            });
            let (now, later) = rest.split_at(fits.count().max(1));
            pages.push(self.part(frame, &scale, now));
            rest = later;
        }
        pages
    }

    /// A picture of nothing yet.
    pub(super) fn blank(&self, width: f32, height: f32) -> Drawing {
        Drawing {
            width,
            height,
            title: self.title(),
            told: self.told(),
            shapes: Vec::new(),
        }
    }

    fn rows(&self, frame: &Frame, scale: &Scale) -> Vec<Row<'_>> {
        let tracks = self.timeline.tracks.iter();
        let tracks = tracks.filter(|it| {
            is_clock(it)
                || it.marks.iter().any(|it| scale.shows(it.at))
                || it.spans.iter().any(|it| seen(it, scale))
        });
        tracks.map(|it| self.row(it, frame, scale)).collect()
    }

    /// Some of its tracks between two axes.
    fn part(&self, frame: &Frame, scale: &Scale, rows: &[Row<'_>]) -> Drawing {
        let size = frame.size;
        let top = size * (LEADING + 0.5);
        let heights = rows.iter().map(|it| it.height(size));
        let bottom = top + heights.sum::<f32>();
        let below = if frame.key { LEADING + 0.4 } else { 0.3 };
        let mut drawing = self.blank(frame.width, bottom + size * below);
        let shapes = &mut drawing.shapes;
        self.axis(shapes, frame, scale, [top, bottom]);
        self.dangers(shapes, scale, [top, bottom]);
        let mut y = top;
        for row in rows {
            let height = row.height(size);
            self.draw_row(shapes, row, frame, scale, [y, height]);
            y += height;
        }
        drawing
    }

    fn title(&self) -> String {
        let id = match self.timeline.drill && self.timeline.turned_real.is_none() {
            true => Id::TimelineDrillTitle,
            false => Id::TimelineTitle,
        };
        self.voice().say(id, [&self.timeline.incident])
    }

    /// What is seen, in words.
    fn told(&self) -> String {
        let mut said = Vec::new();
        for track in &self.timeline.tracks {
            let name = self.name(track);
            let told = |it: &&Span| !matches!(it.kind, Kind::Asked(_) | Kind::Committed);
            let spans = track.spans.iter().filter(told).map(|span| {
                let (from, to) = (clock(span.from), clock(span.to));
                let what = format!("{name}, {}", self.kind(span));
                self.voice().say(Id::TimelineFromTo, [&from, &to, &what])
            });
            said.extend(spans);
        }
        said.push(self.label(Id::TimelineInRecord));
        said.join(" ")
    }

    /// What a span is, in words.
    pub(super) fn kind(&self, span: &Span) -> String {
        let kind = match span.kind {
            Kind::Was(is) => self.label(condition(is)),
            other => self.label(signs::kind(other)),
        };
        match span.name.as_str() {
            "" => kind,
            _ => {
                let name = self.span_name(span);
                self.voice().say(Id::TimelineNamed, [&kind, &name])
            }
        }
    }

    /// What is said of a span, in words: tasks beside the methods have a name in each language.
    pub(super) fn span_name(&self, span: &Span) -> String {
        let task = signs::task(&span.name).filter(|_| !matches!(span.kind, Kind::Asked(_)));
        task.map_or_else(|| span.name.clone(), |it| self.label(it))
    }

    /// What a record says, in words.
    pub(super) fn line(&self, mark: &Mark) -> String {
        let at = self.lines.binary_search_by_key(&mark.record, |it| it.seq);
        let found = at.ok().and_then(|it| self.lines.get(it));
        let text = found.map_or_else(String::new, |it| it.text.clone());
        match mark.taken_back {
            true => self.voice().say(Id::TimelineTakenBack, [&text]),
            false => text,
        }
    }

    /// What a track is called.
    pub(super) fn name(&self, track: &Track) -> String {
        match &track.of {
            Of::Casualty(number, About::Clock) => {
                let number_said = self.voice().say(Id::CasualtyNumber, [&number.to_string()]);
                let hung = self.timeline.hung.iter().find(|it| it.number == *number);
                match hung.and_then(|it| it.name.as_deref()) {
                    Some(name) => self.voice().say(Id::TimelineNamed, [&number_said, name]),
                    None => number_said,
                }
            }
            Of::Casualty(_, About::Condition) => self.label(Id::TimelineCondition),
            Of::Casualty(_, About::Care) => self.label(Id::TimelineCare),
            Of::Casualty(_, About::Method(..)) | Of::Responder(..) => track.name.clone(),
            Of::Danger => self.label(Id::TimelineDanger),
            Of::Scene => self.label(Id::TimelineScene),
            Of::Help => self.label(Id::TimelineHelp),
            Of::Command => self.label(Id::TimelineCommand),
            Of::Drill => self.label(Id::TimelineDrill),
            Of::Notes => self.label(Id::TimelineNotes),
            Of::Prompts => self.label(Id::TimelinePrompts),
            Of::Tablet => self.label(Id::TimelineTablet),
            Of::End => self.label(Id::TimelineEnd),
        }
    }

    fn axis(&self, shapes: &mut Vec<Shape>, frame: &Frame, scale: &Scale, [top, bottom]: [f32; 2]) {
        let size = frame.size;
        let span = scale.to.0.saturating_sub(scale.from.0).max(1);
        let widest = self.wide(&clock(scale.to), size, false) + size;
        let step = STEPS_S.into_iter().map(|it| it * 1_000);
        let step = step
            .filter(|it| *it as f32 / span as f32 * scale.width >= widest)
            .chain([i64::MAX])
            .next()
            .unwrap_or(i64::MAX);
        let mut at = match scale.from.0.rem_euclid(step) {
            0 => scale.from.0,
            over => scale.from.0.saturating_add(step - over),
        };
        let right = scale.left + scale.width;
        let mut free = 0.0;
        while at <= scale.to.0 {
            let x = scale.x(Millis(at));
            shapes.push(line([x, top], [x, bottom], Ink::Line, 0.35, false));
            let text = clock(Millis(at));
            let half = self.wide(&text, size, false) / 2.0;
            if x - half >= free && x + half <= right + size {
                let below = frame.key.then_some(bottom + size * 1.15);
                for y in [top - size * 0.45].into_iter().chain(below) {
                    shapes.push(words(&text, [x, y], Anchor::Middle, size, Ink::Soft));
                }
                free = x + half + size * 0.5;
            }
            at = match at.checked_add(step) {
                Some(next) => next,
                None => break,
            };
        }
        if !frame.key {
            return;
        }
        let since = self.label(self.since());
        shapes.push(words(
            &since,
            [0.0, top - size * 0.45],
            Anchor::Start,
            size,
            Ink::Soft,
        ));
    }

    /// What the axis counts.
    pub fn since(&self) -> Id {
        match self.timeline.at_least {
            true => Id::TimelineAxisLeast,
            false => Id::TimelineAxis,
        }
    }

    /// Danger lies behind everything, because it stopped everything.
    fn dangers(&self, shapes: &mut Vec<Shape>, scale: &Scale, [top, bottom]: [f32; 2]) {
        let tracks = self.timeline.tracks.iter();
        let danger = tracks.filter(|it| it.of == Of::Danger);
        for span in danger.flat_map(|it| &it.spans).filter(|it| seen(it, scale)) {
            let (from, to) = (scale.x(span.from), scale.x(span.to));
            shapes.push(Shape::Rectangle {
                at: Spot { x: from, y: top },
                width: to - from,
                height: bottom - top,
                paint: Paint::full(Ink::Panel),
            });
            for x in [from, to] {
                shapes.push(line([x, top], [x, bottom], Ink::Danger, 1.0, true));
            }
        }
    }

    /// The signs and kinds that a frame shows.
    pub(super) fn used(&self, scale: &Scale) -> Used {
        let mut used = Used::default();
        for track in &self.timeline.tracks {
            for mark in track.marks.iter().filter(|it| scale.shows(it.at)) {
                used.signs.insert(mark.sign, ());
                used.taken_back |= mark.taken_back;
            }
            for pin in track.pins.iter().filter(|it| scale.shows(it.at)) {
                used.pins.insert(pin.what, ());
            }
            for span in track.spans.iter().filter(|it| seen(it, scale)) {
                let id = signs::kind(span.kind);
                if !used.kinds.iter().any(|it| signs::kind(*it) == id) {
                    used.kinds.push(span.kind);
                }
            }
        }
        used
    }

    /// The marks that are told below, in the order of time, each record once.
    pub(super) fn keyed(&self, scale: &Scale) -> Vec<&Mark> {
        let marks = self.timeline.tracks.iter().flat_map(|it| &it.marks);
        let marks = marks.filter(|it| it.sign.weight() > 0 && scale.shows(it.at));
        let once: BTreeMap<u64, &Mark> = marks.map(|it| (it.record, it)).collect();
        once.into_values().collect()
    }
}

/// What a picture needs to have explained.
#[derive(Default)]
pub(super) struct Used {
    pub(super) signs: BTreeMap<Sign, ()>,
    pub(super) pins: BTreeMap<Planned, ()>,
    pub(super) kinds: Vec<Kind>,
    pub(super) taken_back: bool,
}

pub(super) fn is_clock(track: &Track) -> bool {
    matches!(track.of, Of::Casualty(_, About::Clock))
}

pub(super) fn seen(span: &Span, scale: &Scale) -> bool {
    span.to >= scale.from && span.from <= scale.to
}

pub(super) fn line(from: [f32; 2], to: [f32; 2], ink: Ink, weight: f32, dashed: bool) -> Shape {
    let spot = |[x, y]: [f32; 2]| Spot { x, y };
    Shape::Line {
        from: spot(from),
        to: spot(to),
        ink,
        weight,
        dashed,
    }
}

pub(super) fn words(text: &str, at: [f32; 2], anchor: Anchor, size: f32, ink: Ink) -> Shape {
    let [x, y] = at;
    Shape::Text(Text {
        at: Spot { x, y },
        anchor,
        size,
        strong: false,
        ink,
        text: text.to_owned(),
    })
}
