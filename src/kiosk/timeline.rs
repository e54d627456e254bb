//! Fills the page of an incident along its line of time: which part of it is seen, which event was stepped to, and the picture.
//!
//! The picture is the one of the reports, laid out for the room that the screen has, without numbers and key: the event that
//! was stepped to is told in words below. Shapes that are drawn alike become one path, in layers, so that the screen draws few;
//! broken edges are cut into dashes here, because the screen has none.

use super::canvas::Room;
use super::sight::Sight;
use super::ui::{Screen, TimeInk, TimeLayer, TimeWord, TimelineWords};
use super::view::View;
use crate::report::drawing::{Anchor, Drawing, Ink, Paint, Shape, Spot, Text};
use crate::report::face::Faces;
use crate::report::timeline::{Frame, TimelineDrawing};
use crate::review::timeline::Timeline;
use crate::units::Millis;
use crate::words::{Id, clock};
use std::collections::BTreeMap;
use std::fmt::Write;

/// The least time that is seen at once.
const LEAST: Millis = Millis::from_seconds(30);
/// Lengths of a dash and of the gap after it.
const DASH: f32 = 7.0;
const GAP: f32 = 5.0;

/// Which part is looked at.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Seen {
    /// How often the time that is seen was halved.
    halved: u8,
    /// Which event was stepped to, in their order.
    step: Option<usize>,
    /// Which group of tracks was turned to since.
    part: Option<usize>,
}

/// What the keys of the page do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turn {
    Closer,
    Wider,
    Before,
    After,
    Tracks,
}

/// The time that is seen at once.
fn span(timeline: &Timeline, halved: u8) -> Millis {
    let all = timeline.ends.0.max(LEAST.0);
    Millis(all >> halved.min(62))
}

impl Seen {
    /// After a key was touched.
    pub(super) fn turned(&self, turn: Turn, timeline: &Timeline, part: usize) -> Seen {
        let mut seen = self.clone();
        let last = timeline.moments().len().saturating_sub(1);
        match turn {
            Turn::Closer if self.may_halve(timeline) => seen.halved += 1,
            Turn::Closer => {}
            Turn::Wider => seen.halved = seen.halved.saturating_sub(1),
            Turn::Before => seen.step = Some(seen.step.map_or(0, |it| it.saturating_sub(1))),
            Turn::After => seen.step = Some(seen.step.map_or(0, |it| (it + 1).min(last))),
            Turn::Tracks => seen.part = Some(part + 1),
        }
        if turn != Turn::Tracks {
            seen.part = None;
        }
        seen
    }

    fn may_halve(&self, timeline: &Timeline) -> bool {
        span(timeline, self.halved).0 / 2 >= LEAST.0
    }

    /// The first and the last time that are seen: the event that was stepped to lies in the middle, where it can.
    fn window(&self, timeline: &Timeline, at: Option<Millis>) -> [Millis; 2] {
        let wide = span(timeline, self.halved).0;
        let most = (timeline.ends.0.max(LEAST.0) - wide).max(0);
        let from = at.map_or(0, |at| (at.0 - wide / 2).clamp(0, most));
        [Millis(from), Millis(from + wide)]
    }
}

pub(super) fn fill(
    view: &mut View,
    sight: Sight<'_>,
    open: Option<&str>,
    seen: &Seen,
    room: &Room,
) {
    view.screen = Screen::Timeline;
    let read = &sight.snapshot.log_read;
    let Some(timeline) = read
        .timeline
        .as_ref()
        .filter(|_| open == Some(&read.incident))
    else {
        return;
    };
    let moments = timeline.moments();
    let event = seen.step.and_then(|step| moments.get(step)).copied();
    let [from, to] = seen.window(timeline, event.map(|it| it.0));
    let faces = Faces::new();
    let drawing = TimelineDrawing {
        timeline,
        lines: &read.lines,
        language: sight.language(),
        faces: &faces,
    };
    let frame = Frame {
        width: room.width as f32,
        size: room.letter as f32,
        from,
        to,
        key: false,
    };
    let parts = drawing.pages(&frame, room.height as f32);
    let at = match (seen.part, event) {
        (Some(part), _) => part % parts.len().max(1),
        (None, Some((_, record))) => parts.iter().position(|it| tells(it, record)).unwrap_or(0),
        (None, None) => 0,
    };
    let Some(picture) = parts.get(at) else {
        return;
    };
    let scale = drawing.scale(&frame);
    let number = |it: usize| it.to_string();
    view.timeline = TimelineWords {
        title: title(sight, &drawing, [from, to]),
        told: picture.title.as_str().into(),
        event: match event {
            None => sight.label(Id::TimelineStep),
            Some((time, record)) => {
                let line = read.lines.iter().find(|it| it.seq == record);
                let text = line.map_or("", |it| it.text.as_str());
                let step = seen.step.unwrap_or_default() + 1;
                sight.with(
                    Id::TimelineEvent,
                    [
                        &number(step),
                        &number(moments.len()),
                        &clock(time),
                        &record.to_string(),
                        text,
                    ],
                )
            }
        },
        part: match parts.len() {
            0 | 1 => Default::default(),
            all => sight.with(Id::TimelinePart, [&number(at + 1), &number(all)]),
        },
        cursor: event.map_or(-1.0, |(time, _)| scale.x(time)),
        closer: seen.may_halve(timeline),
        wider: seen.halved > 0,
        before: seen.step.is_some_and(|it| it > 0),
        after: seen.step.is_none_or(|it| it + 1 < moments.len()),
    };
    view.timeline_part = at;
    let mut layers = Layers::default();
    layers.all(&picture.shapes, None);
    view.timeline_layers = layers.made();
    view.timeline_words = words(picture, &faces);
}

/// Where it happened, and which part of how much time is seen.
fn title(
    sight: Sight<'_>,
    drawing: &TimelineDrawing<'_>,
    [from, to]: [Millis; 2],
) -> slint::SharedString {
    let timeline = drawing.timeline;
    let mut log = sight.snapshot.log.iter();
    let entry = log.find(|it| it.incident == sight.snapshot.log_read.incident);
    let place = entry.map_or("", |it| it.place.as_str());
    let [from, to, ends] = [from, to, timeline.ends].map(clock);
    let part = sight.with(Id::TimelineSee, [&from, &to, &ends]);
    let since = sight.label(drawing.since());
    format!("{part} {since} · {place}").into()
}

/// True where a picture tells of a record.
fn tells(picture: &Drawing, record: u64) -> bool {
    let mut groups = picture.shapes.iter();
    groups.any(|it| matches!(it, Shape::Group { records, .. } if records == &[record]))
}

fn words(picture: &Drawing, faces: &Faces) -> Vec<TimeWord> {
    let texts = picture.flat().into_iter().filter_map(|it| match it {
        Shape::Text(text) => Some(text),
        _ => None,
    });
    let word = |text: &Text| {
        let width = faces.width(&text.text, text.strong) * text.size;
        let left = match text.anchor {
            Anchor::Start => text.at.x,
            Anchor::Middle => text.at.x - width / 2.0,
            Anchor::End => text.at.x - width,
        };
        TimeWord {
            text: text.text.as_str().into(),
            left,
            base: text.at.y,
            width,
            size: text.size,
            strong: text.strong,
            ink: ink(text.ink),
        }
    };
    texts.map(word).collect()
}

fn ink(ink: Ink) -> TimeInk {
    match ink {
        Ink::Text => TimeInk::Text,
        Ink::Soft => TimeInk::Soft,
        Ink::Line => TimeInk::Line,
        Ink::Paper => TimeInk::Paper,
        Ink::Panel => TimeInk::Panel,
        Ink::Done => TimeInk::Done,
        Ink::Planned => TimeInk::Planned,
        Ink::Warning => TimeInk::Warning,
        Ink::Danger => TimeInk::Danger,
        Ink::Casualty => TimeInk::Casualty,
        Ink::Reached => TimeInk::Reached,
    }
}

/// How far up something lies: the ground, the grid on it, what was planned, what was done, signs, and what is drawn on those.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Depth {
    Ground,
    Grid,
    Planned,
    Done,
    Edge,
    Sign,
    On,
}

/// Where a shape goes: its depth, what fills it, what runs round it, and how thick that is in tenths.
type Place = (Depth, Option<Ink>, Option<Ink>, u32);

/// Paths of what is drawn alike.
#[derive(Default)]
struct Layers(BTreeMap<Place, String>);

impl Layers {
    /// Takes in shapes; those of a group lie where what it is says.
    fn all(&mut self, shapes: &[Shape], within: Option<Depth>) {
        for shape in shapes {
            self.one(shape, within);
        }
    }

    fn one(&mut self, shape: &Shape, within: Option<Depth>) {
        match shape {
            Shape::Text(_) => {}
            Shape::Group { shapes, .. } => {
                // What went on for a while is a rectangle; signs are everything else.
                let depth = match shapes.first() {
                    Some(Shape::Rectangle { paint, .. }) => match paint.fill {
                        Some(Ink::Paper) => Depth::Planned,
                        _ => Depth::Done,
                    },
                    _ => Depth::Sign,
                };
                self.all(shapes, Some(depth));
            }
            Shape::Line {
                from,
                to,
                ink,
                weight,
                dashed,
            } => {
                let depth = within.map_or(Depth::Grid, |_| Depth::On);
                let out = self.at((depth, None, Some(*ink), tenths(*weight)));
                stroke(out, *from, *to, *dashed);
            }
            Shape::Rectangle {
                at,
                width,
                height,
                paint,
            } => {
                let corner = |x: f32, y: f32| Spot {
                    x: at.x + x,
                    y: at.y + y,
                };
                let corners = [
                    corner(0.0, 0.0),
                    corner(*width, 0.0),
                    corner(*width, *height),
                    corner(0.0, *height),
                ];
                self.area(&corners, *paint, within);
            }
            Shape::Polygon { corners, paint } => self.area(corners, *paint, within),
            Shape::Circle {
                middle,
                radius,
                paint,
            } => {
                let (left, twice) = (middle.x - radius, radius * 2.0);
                let y = middle.y;
                let path = self.at(place(*paint, within));
                add(
                    path,
                    format_args!(
                        "M {left:.1} {y:.1} a {radius:.1} {radius:.1} 0 1 0 {twice:.1} 0 a {radius:.1} {radius:.1} 0 1 0 {:.1} 0 Z ",
                        -twice
                    ),
                );
            }
        }
    }

    fn area(&mut self, corners: &[Spot], paint: Paint, within: Option<Depth>) {
        if paint.dashed {
            let edge = paint.edge.unwrap_or(Ink::Text);
            let open = Paint {
                edge: None,
                dashed: false,
                ..paint
            };
            if paint.fill.is_some() {
                self.area(corners, open, within);
            }
            let out = self.at((Depth::Edge, None, Some(edge), tenths(paint.weight)));
            let ends = corners.iter().skip(1).chain(corners.first());
            for (from, to) in corners.iter().zip(ends) {
                stroke(out, *from, *to, true);
            }
            return;
        }
        let path = self.at(place(paint, within));
        for (corner, first) in corners
            .iter()
            .zip([true].into_iter().chain(std::iter::repeat(false)))
        {
            let letter = if first { 'M' } else { 'L' };
            add(
                path,
                format_args!("{letter} {:.1} {:.1} ", corner.x, corner.y),
            );
        }
        path.push_str("Z ");
    }

    fn at(&mut self, place: Place) -> &mut String {
        self.0.entry(place).or_default()
    }

    fn made(self) -> Vec<TimeLayer> {
        let made = |((_, fill, edge, weight), commands): (Place, String)| TimeLayer {
            commands: commands.into(),
            fill: fill.map_or(TimeInk::None, ink),
            edge: edge.map_or(TimeInk::None, ink),
            weight: weight as f32 / 10.0,
        };
        self.0.into_iter().map(made).collect()
    }
}

/// Lines are thicker here than on paper, where an eye is nearer.
fn tenths(weight: f32) -> u32 {
    (weight * 18.0).round().clamp(8.0, 100.0) as u32
}

fn place(paint: Paint, within: Option<Depth>) -> Place {
    let weight = paint.edge.map_or(0, |_| tenths(paint.weight));
    (
        within.unwrap_or(Depth::Ground),
        paint.fill,
        paint.edge,
        weight,
    )
}

fn stroke(out: &mut String, from: Spot, to: Spot, dashed: bool) {
    let long = ((to.x - from.x).powi(2) + (to.y - from.y).powi(2)).sqrt();
    let (dash, step) = match dashed {
        true => (DASH, DASH + GAP),
        false => (long, long.max(1.0)),
    };
    let mut begin = 0.0;
    while begin < long {
        let at = |length: f32| {
            let part = (length / long).min(1.0);
            [
                from.x + (to.x - from.x) * part,
                from.y + (to.y - from.y) * part,
            ]
        };
        let ([x, y], [ex, ey]) = (at(begin), at(begin + dash));
        add(out, format_args!("M {x:.1} {y:.1} L {ex:.1} {ey:.1} "));
        begin += step;
    }
}

fn add(out: &mut String, arguments: std::fmt::Arguments<'_>) {
    out.write_fmt(arguments)
        .expect("a text takes everything that is written to it");
}
