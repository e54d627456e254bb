//! Draws the bars, signs and pins of a timeline, each of a shape of its own.
//!
//! What was planned is open with a broken edge, what was done is full. A mark that was taken back is open and struck through.

use super::drawing::{Ink, Paint, Shape, Spot};
use super::timeline::line;
use crate::incident::Condition;
use crate::readiness::Posting;
use crate::review::Sign;
use crate::review::timeline::{Ended, Kind, Planned};
use crate::words::Id;

/// Where the bar of a track lies.
pub(super) struct Bar {
    pub(super) top: f32,
    pub(super) height: f32,
    /// The size of signs, which is that of the letters around.
    pub(super) size: f32,
    /// Height of letters on it.
    pub(super) letters: f32,
}

/// What a span is, where its kind alone says it.
pub(super) fn kind(kind: Kind) -> Id {
    match kind {
        Kind::Hanging => Id::TimelineKeyHanging,
        Kind::ComingDown => Id::TimelineKeyDown,
        Kind::Was(_) => Id::TimelineKeyCondition,
        Kind::NotChecked => Id::TimelineKeyNotChecked,
        Kind::Planned => Id::TimelineKeyPlanned,
        Kind::Tried => Id::TimelineKeyTried,
        Kind::Committed => Id::TimelineKeyCommitted,
        Kind::Fallback => Id::TimelineKeyFallback,
        Kind::Ordered => Id::TimelineKeyOrdered,
        Kind::Going => Id::TimelineKeyGoing,
        Kind::There => Id::TimelineKeyThere,
        Kind::Calling => Id::TimelineKeyCalling,
        Kind::Coming => Id::TimelineKeyComing,
        Kind::OutsideLeads => Id::TimelineKeyOutside,
        Kind::Danger => Id::TimelineKeyDanger,
        Kind::Asked(Ended::Answered | Ended::Stood) => Id::TimelineKeyAnswered,
        Kind::Asked(Ended::GaveWay | Ended::TakenBack) => Id::TimelineKeyGaveWay,
        Kind::Away => Id::TimelineKeyAway,
        Kind::Closing => Id::TimelineKeyClosing,
    }
}

/// What a sign says.
pub(super) fn sign(sign: Sign) -> Id {
    match sign {
        Sign::Tick => Id::TimelineSignTick,
        Sign::Step => Id::TimelineSignStep,
        Sign::Reached => Id::TimelineSignReached,
        Sign::Failed => Id::TimelineSignFailed,
        Sign::Late => Id::TimelineSignLate,
        Sign::Fell => Id::TimelineSignFell,
        Sign::Began => Id::TimelineSignBegan,
        Sign::Changed => Id::TimelineSignChanged,
        Sign::Order => Id::TimelineSignOrder,
        Sign::Said => Id::TimelineSignSaid,
        Sign::Alarm => Id::TimelineSignAlarm,
        Sign::Note => Id::TimelineSignNote,
        Sign::Surprise => Id::TimelineSignSurprise,
        Sign::Real => Id::TimelineSignReal,
        Sign::Fault => Id::TimelineSignFault,
        Sign::Back => Id::TimelineSignBack,
    }
}

/// What a pin says; the target says its time where it stands.
pub(super) fn planned(what: Planned) -> Id {
    match what {
        Planned::Target => Id::TimelineTarget,
        Planned::ChangeBy => Id::TimelinePinChangeBy,
        Planned::Likely => Id::TimelinePinLikely,
        Planned::Help => Id::TimelinePinHelp,
    }
}

/// The name of a task that no method has.
pub(super) fn task(role: &str) -> Option<Id> {
    match role {
        Posting::FIRST_AID => Some(Id::TaskFirstAid),
        Posting::TALKER => Some(Id::TaskTalker),
        Posting::GUIDE => Some(Id::TaskGuide),
        Posting::RADIO => Some(Id::TaskRadio),
        _ => None,
    }
}

/// How a span is painted.
fn paint(kind: Kind) -> Paint {
    match kind {
        Kind::Hanging => Paint::full(Ink::Casualty),
        Kind::Tried | Kind::There | Kind::OutsideLeads => Paint::full(Ink::Done),
        Kind::Danger => Paint::full(Ink::Danger),
        Kind::ComingDown => Paint::open(Ink::Casualty, 1.0).on(Ink::Panel),
        Kind::Was(Condition::NotAnswering) => Paint::open(Ink::Danger, 2.0).on(Ink::Panel),
        Kind::Was(Condition::Unwell) => Paint::open(Ink::Warning, 1.4).on(Ink::Panel),
        Kind::Was(_) | Kind::Closing | Kind::Asked(Ended::Answered | Ended::Stood) => {
            Paint::open(Ink::Soft, 0.7).on(Ink::Panel)
        }
        Kind::NotChecked => Paint::open(Ink::Warning, 1.2).on(Ink::Paper).dashed(),
        Kind::Planned => Paint::open(Ink::Planned, 0.9).on(Ink::Paper).dashed(),
        Kind::Ordered => Paint::open(Ink::Done, 0.9).on(Ink::Paper).dashed(),
        Kind::Going | Kind::Coming => Paint::open(Ink::Done, 0.9).on(Ink::Panel),
        Kind::Calling => Paint::open(Ink::Warning, 0.9).on(Ink::Paper).dashed(),
        Kind::Asked(Ended::GaveWay | Ended::TakenBack) => {
            Paint::open(Ink::Soft, 0.7).on(Ink::Paper).dashed()
        }
        Kind::Away => Paint::open(Ink::Warning, 1.4).on(Ink::Panel),
        Kind::Committed => Paint::full(Ink::Text),
        Kind::Fallback => Paint::full(Ink::Warning),
    }
}

/// In what a text on a span is written.
pub(super) fn ink_on(kind: Kind) -> Ink {
    match paint(kind).fill {
        Some(Ink::Paper | Ink::Panel) | None => Ink::Text,
        Some(_) => Ink::Paper,
    }
}

/// How much of the bar a span takes: what was tried lies within what was planned, what is true of a part of it lies along
/// its edge.
fn part(kind: Kind) -> [f32; 2] {
    match kind {
        Kind::Tried => [0.12, 0.88],
        Kind::Committed => [0.84, 1.0],
        Kind::Fallback => [0.0, 0.16],
        Kind::Hanging | Kind::Planned => [0.0, 1.0],
        _ => [0.06, 0.94],
    }
}

/// A span between two places.
pub(super) fn span(kind: Kind, from: f32, to: f32, bar: &Bar) -> Vec<Shape> {
    let [upper, lower] = part(kind).map(|part| bar.top + bar.height * part);
    let width = (to - from).max(bar.size * 0.12);
    let mut shapes = vec![Shape::Rectangle {
        at: Spot { x: from, y: upper },
        width,
        height: lower - upper,
        paint: paint(kind),
    }];
    // Without it the end of the record would look like the time that the program did not run.
    if kind == Kind::Away {
        let to = from + width;
        shapes.push(line([from, upper], [to, lower], Ink::Warning, 1.0, false));
        shapes.push(line([from, lower], [to, upper], Ink::Warning, 1.0, false));
    }
    shapes
}

/// A planned time.
pub(super) fn pin(what: Planned, x: f32, bar: &Bar) -> Vec<Shape> {
    let (top, bottom, s) = (bar.top, bar.top + bar.height, bar.size);
    let corner = |x: f32, y: f32| Spot { x, y };
    match what {
        Planned::Target => vec![
            line(
                [x, top - s * 0.2],
                [x, bottom + s * 0.2],
                Ink::Text,
                1.6,
                false,
            ),
            line(
                [x - s * 0.3, bottom + s * 0.2],
                [x + s * 0.3, bottom + s * 0.2],
                Ink::Text,
                1.6,
                false,
            ),
        ],
        Planned::ChangeBy => vec![
            line([x, top], [x, bottom], Ink::Planned, 0.9, true),
            Shape::Polygon {
                corners: vec![
                    corner(x - s * 0.36, top),
                    corner(x + s * 0.36, top),
                    corner(x, top + s * 0.6),
                ],
                paint: Paint::open(Ink::Planned, 0.9).on(Ink::Paper),
            },
        ],
        Planned::Likely | Planned::Help => {
            let ink = if what == Planned::Help {
                Ink::Done
            } else {
                Ink::Planned
            };
            vec![
                line([x, top], [x, bottom], ink, 0.9, true),
                Shape::Polygon {
                    corners: vec![
                        corner(x - s * 0.36, bottom),
                        corner(x + s * 0.36, bottom),
                        corner(x, bottom - s * 0.6),
                    ],
                    paint: Paint::open(ink, 0.9).on(Ink::Paper),
                },
            ]
        }
    }
}

/// A sign.
pub(super) fn mark(sign: Sign, taken_back: bool, x: f32, bar: &Bar) -> Vec<Shape> {
    let y = bar.top + bar.height / 2.0;
    let r = bar.size * 0.42;
    let at = |[dx, dy]: [f32; 2]| Spot {
        x: x + r * dx,
        y: y + r * dy,
    };
    let full = |ink: Ink| match taken_back {
        true => Paint::open(Ink::Soft, 0.8).on(Ink::Paper),
        // The edge keeps it apart from a bar of the same colour.
        false => Paint::open(Ink::Paper, 0.7).on(ink),
    };
    let open = |ink: Ink| match taken_back {
        true => Paint::open(Ink::Soft, 0.8).on(Ink::Paper),
        false => Paint::open(ink, 1.1).on(Ink::Paper),
    };
    let area = |corners: &[[f32; 2]], paint: Paint| Shape::Polygon {
        corners: corners.iter().map(|it| at(*it)).collect(),
        paint,
    };
    let circle = |part: f32, paint: Paint| Shape::Circle {
        middle: at([0.0, 0.0]),
        radius: r * part,
        paint,
    };
    let stroke = |from: [f32; 2], to: [f32; 2], ink: Ink, weight: f32| {
        let (from, to) = (at(from), at(to));
        line([from.x, from.y], [to.x, to.y], ink, weight, false)
    };
    let mut shapes = match sign {
        Sign::Tick => vec![stroke([0.0, -1.0], [0.0, 1.0], Ink::Soft, 0.9)],
        Sign::Step => vec![circle(0.62, full(Ink::Text))],
        Sign::Reached => vec![area(
            &[[0.0, -1.25], [1.25, 0.0], [0.0, 1.25], [-1.25, 0.0]],
            full(Ink::Reached),
        )],
        Sign::Failed => vec![
            circle(1.15, open(Ink::Danger)),
            stroke([-0.55, -0.55], [0.55, 0.55], Ink::Danger, 1.5),
            stroke([-0.55, 0.55], [0.55, -0.55], Ink::Danger, 1.5),
        ],
        Sign::Late => vec![area(
            &[[-1.1, -1.1], [1.1, -1.1], [-1.1, 1.1], [1.1, 1.1]],
            open(Ink::Warning),
        )],
        Sign::Fell => vec![area(
            &[[-1.1, -1.0], [1.1, -1.0], [0.0, 1.2]],
            full(Ink::Casualty),
        )],
        Sign::Began => vec![area(
            &[[-0.9, -1.1], [1.2, 0.0], [-0.9, 1.1]],
            full(Ink::Done),
        )],
        Sign::Changed => vec![area(
            &[
                [-1.2, -0.45],
                [0.1, -0.45],
                [0.1, -1.1],
                [1.3, 0.0],
                [0.1, 1.1],
                [0.1, 0.45],
                [-1.2, 0.45],
            ],
            open(Ink::Text),
        )],
        Sign::Order => vec![area(
            &[[-0.85, -0.85], [0.85, -0.85], [0.85, 0.85], [-0.85, 0.85]],
            full(Ink::Text),
        )],
        Sign::Said => vec![circle(0.85, open(Ink::Text))],
        Sign::Alarm => vec![
            area(&[[0.0, -1.4], [1.3, 1.0], [-1.3, 1.0]], full(Ink::Danger)),
            stroke([0.0, -0.6], [0.0, 0.3], Ink::Paper, 1.1),
            stroke([0.0, 0.5], [0.0, 0.75], Ink::Paper, 1.1),
        ],
        Sign::Note => vec![area(
            &[[-0.8, -1.0], [0.8, -1.0], [0.8, 1.0], [-0.8, 1.0]],
            open(Ink::Soft),
        )],
        Sign::Surprise => vec![area(
            &[
                [0.0, -1.4],
                [0.4, -0.4],
                [1.4, 0.0],
                [0.4, 0.4],
                [0.0, 1.4],
                [-0.4, 0.4],
                [-1.4, 0.0],
                [-0.4, -0.4],
            ],
            full(Ink::Warning),
        )],
        Sign::Real => vec![
            area(
                &[[-1.2, -1.2], [1.2, -1.2], [1.2, 1.2], [-1.2, 1.2]],
                full(Ink::Danger),
            ),
            circle(0.55, Paint::full(Ink::Paper)),
        ],
        Sign::Fault => vec![
            area(
                &[[-1.1, -1.1], [1.1, -1.1], [1.1, 1.1], [-1.1, 1.1]],
                open(Ink::Warning),
            ),
            stroke([-1.1, -1.1], [1.1, 1.1], Ink::Warning, 1.1),
        ],
        Sign::Back => vec![area(
            &[
                [1.2, -0.45],
                [-0.1, -0.45],
                [-0.1, -1.1],
                [-1.3, 0.0],
                [-0.1, 1.1],
                [-0.1, 0.45],
                [1.2, 0.45],
            ],
            open(Ink::Warning),
        )],
    };
    if taken_back {
        shapes.push(stroke([-1.5, 0.0], [1.5, 0.0], Ink::Text, 0.9));
    }
    shapes
}
