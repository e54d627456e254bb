//! Makes pictures of what drills taught: where every dot, band, line and step lies, for a screen and a report alike.
//!
//! Places are whole thousandths of a room, from its left and from its top, so that both draw the same picture and a test can hold
//! it against figures computed apart. Nothing is summed up here: band and median are those of the summary, so what is seen is
//! what is read. Below the number of drills that is enough there is no summary, and so nothing but dots. The line of a trend
//! goes at the trend's slope through the middle of the days, with half of the drills above it; its fan shows how sure the
//! slope is, not how far the drills lie apart.

use super::learn::{Learned, Timed};
use super::statistics::{CurveStep, Span, Summary, TREND_DAYS_MS, TREND_MAX, Trend};
use super::statistics::{percentile, summary};
use crate::units::{Millis, Ratio};
use std::fmt::Write;

/// The side of the room, in the thousandths that places are counted in.
const SIDE: i64 = 1_000;
/// How far the first and the last dot stay from the edges, so that they are drawn whole.
const INSET: i64 = 30;
const ALL: i64 = 1_000_000;
const HALF: Ratio = Ratio(500_000);

/// A place in a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spot {
    /// Thousandths of the room from its left.
    pub x: i64,
    /// Thousandths of the room from its top.
    pub y: i64,
}

/// One time of one drill.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dot {
    /// Where it lies.
    pub at: Spot,
    /// True where it came to its end; else it took at least so long.
    pub ended: bool,
}

/// A time that is written beside a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tick {
    /// The time.
    pub time: Millis,
    /// How far along the scale it is, in thousandths from zero.
    pub at: i64,
}

/// A scale of times from zero to a round figure that holds them all.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scale {
    /// The longest time that has room.
    pub top: Millis,
    /// What is written beside it, from zero to the top.
    pub ticks: Vec<Tick>,
}

/// What half of the drills lie in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Band {
    /// The lower quartile, in thousandths from the top.
    pub lower: i64,
    /// The upper quartile; none where too many were broken off to say, and the band is open above.
    pub upper: Option<i64>,
}

/// All times of one subject over the days.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dots {
    /// Times, from the bottom to the top.
    pub scale: Scale,
    /// Wall clock of the first and of the last drill, ms since 1970; none where there is none.
    pub days: Option<(i64, i64)>,
    /// Every time, the oldest first.
    pub dots: Vec<Dot>,
    /// Between the quartiles.
    pub band: Option<Band>,
    /// The median, in thousandths from the top.
    pub median: Option<i64>,
    /// Where the line of the trend begins and ends.
    pub trend: Option<[Spot; 2]>,
    /// What the line of the trend may sweep over, as areas with their corners in order.
    pub fan: Vec<Vec<Spot>>,
}

/// The share that takes longer, over time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Curve {
    /// Times, from the left to the right.
    pub scale: Scale,
    /// The corners of the steps, from nobody done to as far as anything is known.
    pub steps: Vec<Spot>,
    /// The corners of what the share lies in, in order; empty where nothing can be said.
    pub limits: Vec<Spot>,
    /// Where on the steps one was broken off.
    pub broken_off: Vec<Spot>,
}

/// The size of what a path is drawn in, in the units of its text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Room {
    /// From its left to its right.
    pub wide: i64,
    /// From its top to its bottom.
    pub high: i64,
}

/// The time in whole seconds that a scale ends with, and the step between what is written beside it.
fn round_figures() -> impl Iterator<Item = (i64, i64)> {
    let seconds = [(1, 1), (2, 1), (5, 1), (10, 2), (20, 5), (50, 10)];
    let first_minutes = [(60, 15), (120, 30)];
    let minutes = [(5, 1), (10, 2), (20, 5), (50, 10)];
    let hundreds = std::iter::successors(Some(100_i64), |it| it.checked_mul(10));
    let hundreds = hundreds.flat_map(|it| [(it, it / 5), (2 * it, it / 2), (5 * it, it)]);
    let minutes = minutes.into_iter().chain(hundreds);
    let minutes = minutes.map_while(|(top, step)| Some((top.checked_mul(60)?, step * 60)));
    seconds.into_iter().chain(first_minutes).chain(minutes)
}

impl Scale {
    /// The smallest scale that holds a time.
    pub fn holding(longest: Millis) -> Scale {
        let fits = |(top, step): (i64, i64)| {
            let top = top.checked_mul(1_000)?;
            (top >= longest.0).then_some((top, step * 1_000))
        };
        // What is longer than every round figure, some hundred million years, stands at the top of the last one.
        let last = (i64::MAX, i64::MAX);
        let (top, step) = round_figures().find_map(fits).unwrap_or(last);
        let top = Millis(top);
        let times = (0..=top.0 / step).map(|it| Millis(it * step));
        let ticks = times.map(|time| Tick {
            time,
            at: part(time.0.into(), top.0.into()),
        });
        Scale {
            top,
            ticks: ticks.collect(),
        }
    }

    fn of(spans: impl Iterator<Item = Millis>) -> Scale {
        Scale::holding(spans.max().unwrap_or(Millis::ZERO))
    }

    /// How far along a time is, in thousandths from zero; what is beyond either end stands at that end.
    fn along(&self, time: Millis) -> i64 {
        part(time.0.clamp(0, self.top.0).into(), self.top.0.into())
    }

    /// How far below the top a time is, in thousandths.
    fn below(&self, time: Millis) -> i64 {
        SIDE - self.along(time)
    }

    /// The level lines of a picture whose times go upwards.
    pub fn levels_path(&self, room: Room) -> String {
        let levels = self.ticks.iter().map(|it| SIDE - it.at);
        let lines = levels.map(|y| room.line(&[Spot { x: 0, y }, Spot { x: SIDE, y }]));
        lines.collect::<Vec<_>>().join(" ")
    }

    /// The upright lines of a picture whose times go to the right.
    pub fn uprights_path(&self, room: Room) -> String {
        let uprights = self.ticks.iter().map(|it| it.at);
        let lines = uprights.map(|x| room.line(&[Spot { x, y: 0 }, Spot { x, y: SIDE }]));
        lines.collect::<Vec<_>>().join(" ")
    }
}

/// Thousandths of a whole, to the nearest one; a whole of nothing has none.
fn part(part: i128, of: i128) -> i64 {
    let sides = part.saturating_mul(2 * i128::from(SIDE));
    let thousandths = sides.saturating_add(of).div_euclid(2 * of.max(1));
    let far = i128::from(i64::MAX);
    i64::try_from(thousandths.clamp(-far, far)).unwrap_or(i64::MAX)
}

/// Where the days lie, from the left.
struct Days {
    first: i64,
    last: i64,
}

impl Days {
    /// Drills that all began at one moment stand in the middle.
    fn x(&self, day: i64) -> i64 {
        let (done, all) = (self.since(day), self.since(self.last));
        if all == 0 {
            return SIDE / 2;
        }
        let room = i128::from(SIDE - 2 * INSET);
        INSET + part(done * room, all * i128::from(SIDE))
    }

    fn since(&self, day: i64) -> i128 {
        i128::from(day) - i128::from(self.first)
    }
}

/// The picture of what was learned of one subject.
pub fn dots(learned: &Learned) -> Dots {
    placed(
        &learned.times,
        learned.summary.as_ref(),
        learned.trend.as_ref(),
    )
}

/// Places times over the days, with what sums them up where there is enough of them.
pub fn placed(times: &[Timed], summary: Option<&Summary>, trend: Option<&Trend>) -> Dots {
    let mut times: Vec<&Timed> = times.iter().collect();
    times.sort();
    let scale = Scale::of(times.iter().map(|it| it.span.time));
    let ends = times.first().zip(times.last());
    let ends = ends.map(|(first, last)| (first.started_ms, last.started_ms));
    let (first, last) = ends.unwrap_or_default();
    let days = Days { first, last };
    let dots = times.iter().map(|it| Dot {
        at: Spot {
            x: days.x(it.started_ms),
            y: scale.below(it.span.time),
        },
        ended: it.span.ended,
    });
    let band = summary.and_then(|it| {
        let upper = it.upper.map(|time| scale.below(time));
        it.lower.map(|lower| Band {
            lower: scale.below(lower),
            upper,
        })
    });
    let median = summary.and_then(|it| it.median);
    let slope = summary.and(trend);
    let sweep = slope.and_then(|trend| Sweep::of(&times, trend));
    Dots {
        dots: dots.collect(),
        days: ends,
        band,
        median: median.map(|it| scale.below(it)),
        trend: sweep.as_ref().and_then(|it| it.line(&days, &scale)),
        fan: sweep.map_or_else(Vec::new, |it| it.fan(&days, &scale)),
        scale,
    }
}

/// The line of a trend before it is placed.
struct Sweep<'a> {
    trend: &'a Trend,
    /// The days that it is drawn over, ms since 1970.
    days: [i64; 2],
    /// What it turns about: the middle one of the days, and the time there.
    pivot: (i64, Millis),
}

impl<'a> Sweep<'a> {
    /// Of the times that the trend was made from; none where too many were broken off to say where half of them lie.
    fn of(times: &[&Timed], trend: &'a Trend) -> Option<Sweep<'a>> {
        let mut dated: Vec<(i64, Span)> = times.iter().map(|it| (it.started_ms, it.span)).collect();
        dated.sort_unstable();
        let dated = &dated[dated.len().saturating_sub(TREND_MAX)..];
        let days: Vec<Millis> = dated.iter().map(|it| Millis(it.0)).collect();
        let middle = percentile(&days, HALF)?.0;
        let at = |slope: Millis, day: i64| rise(slope, middle, day);
        let level: Vec<Span> = dated
            .iter()
            .map(|(day, span)| Span {
                time: span.time.saturating_sub(at(trend.slope, *day)),
                ended: span.ended,
            })
            .collect();
        Some(Sweep {
            trend,
            days: [days.first()?.0, days.last()?.0],
            pivot: (middle, summary(&level).median?),
        })
    }

    /// Where a line of some slope through the pivot is on a day, in thousandths that may lie beyond the room.
    fn spot(&self, slope: Millis, day: i64, days: &Days, scale: &Scale) -> Spot {
        let time = self.pivot.1.saturating_add(rise(slope, self.pivot.0, day));
        Spot {
            x: days.x(day),
            y: SIDE.saturating_sub(part(time.0.into(), scale.top.0.into())),
        }
    }

    fn line(&self, days: &Days, scale: &Scale) -> Option<[Spot; 2]> {
        let ends = self.days;
        let ends = ends.map(|day| self.spot(self.trend.slope, day, days, scale));
        within(ends)
    }

    fn fan(&self, days: &Days, scale: &Scale) -> Vec<Vec<Spot>> {
        let (Some(low), Some(high)) = (self.trend.low, self.trend.high) else {
            return Vec::new();
        };
        let spot = |slope, day| self.spot(slope, day, days, scale);
        let middle = spot(self.trend.slope, self.pivot.0);
        let sides = self
            .days
            .map(|day| [middle, spot(low, day), spot(high, day)]);
        let areas = sides.map(|corners| cut_area(&corners));
        areas.into_iter().filter(|it| it.len() >= 3).collect()
    }
}

/// How much longer something takes on a day than on another, at a slope for every 30 days.
fn rise(slope: Millis, from: i64, day: i64) -> Millis {
    let gap = i128::from(day) - i128::from(from);
    let rise = gap.saturating_mul(slope.0.into()) / i128::from(TREND_DAYS_MS);
    let far = i128::from(i64::MAX);
    Millis(i64::try_from(rise.clamp(-far, far)).unwrap_or(i64::MAX))
}

/// Where the line between two places is at some height.
fn crossing(one: Spot, other: Spot, y: i64) -> Spot {
    let up = i128::from(other.y) - i128::from(one.y);
    let wide = i128::from(other.x) - i128::from(one.x);
    let along = (i128::from(y) - i128::from(one.y)) * wide;
    let x = along.checked_div(up).unwrap_or(0);
    Spot {
        x: one.x + i64::try_from(x).unwrap_or(0),
        y,
    }
}

/// The part of a line that lies in the room; none where all of it is above or below.
fn within(ends: [Spot; 2]) -> Option<[Spot; 2]> {
    let [one, other] = ends;
    let misses = |y: &dyn Fn(i64) -> bool| y(one.y) && y(other.y);
    if misses(&|y| y < 0) || misses(&|y| y > SIDE) {
        return None;
    }
    let held = |it: Spot| match it.y {
        y if y < 0 => crossing(one, other, 0),
        y if y > SIDE => crossing(one, other, SIDE),
        _ => it,
    };
    Some([held(one), held(other)])
}

/// The part of an area that lies in the room.
fn cut_area(corners: &[Spot]) -> Vec<Spot> {
    let below_top = cut(corners, 0, |it| it.y >= 0);
    let mut area = cut(&below_top, SIDE, |it| it.y <= SIDE);
    area.dedup();
    if area.len() > 1 && area.first() == area.last() {
        area.pop();
    }
    area
}

/// Cuts an area along a level line; what is kept lies on one side of it.
fn cut(corners: &[Spot], level: i64, kept: impl Fn(&Spot) -> bool) -> Vec<Spot> {
    let mut area = Vec::new();
    let next = corners.iter().cycle().skip(1);
    for (one, other) in corners.iter().zip(next) {
        if kept(one) {
            area.push(*one);
        }
        if kept(one) != kept(other) {
            area.push(crossing(*one, *other, level));
        }
    }
    area
}

/// The curve of what was learned of one subject; none where there are not enough drills yet, or none came to its end.
pub fn curve_of(learned: &Learned) -> Option<Curve> {
    let spans: Vec<Span> = learned.times.iter().map(|it| it.span).collect();
    let steps = &learned.summary.as_ref()?.curve;
    (!steps.is_empty()).then(|| stepped(&spans, steps))
}

/// Places the steps of a curve and the times that it was made from.
pub fn stepped(spans: &[Span], curve: &[CurveStep]) -> Curve {
    let scale = Scale::of(spans.iter().map(|it| it.time));
    let x = |time: Millis| scale.along(time);
    let y = |share: Ratio| part((ALL - share.0.clamp(0, ALL)).into(), ALL.into());
    let longest = spans.iter().map(|it| it.time).max();
    let end = x(longest.unwrap_or(Millis::ZERO));
    let edge = |shares: &dyn Fn(&CurveStep) -> Option<Ratio>| {
        let mut corners = Vec::new();
        let mut level = 0;
        for step in curve {
            let across = x(step.time);
            corners.push(Spot {
                x: across,
                y: level,
            });
            let Some(share) = shares(step) else {
                return corners;
            };
            level = y(share);
            corners.push(Spot {
                x: across,
                y: level,
            });
        }
        corners.push(Spot { x: end, y: level });
        corners
    };
    let mut steps = vec![Spot { x: 0, y: 0 }];
    steps.extend(edge(&|it| Some(it.left)));
    let mut limits = edge(&|it| it.high);
    let lower = edge(&|it| it.low);
    limits.extend(lower.into_iter().rev());
    // Without limits the two edges are the same place.
    if limits.iter().all(|it| it.y == 0) {
        limits.clear();
    }
    let left_at = |time: Millis| {
        let before = curve.iter().take_while(|it| it.time <= time);
        before.last().map_or(Ratio(ALL), |it| it.left)
    };
    let mut broken_off: Vec<Millis> = spans
        .iter()
        .filter(|it| !it.ended)
        .map(|it| it.time)
        .collect();
    broken_off.sort_unstable();
    let broken_off = broken_off.into_iter().map(|time| Spot {
        x: x(time),
        y: y(left_at(time)),
    });
    steps.dedup();
    Curve {
        broken_off: broken_off.collect(),
        steps,
        limits,
        scale,
    }
}

impl Room {
    /// The room in which one unit is a thousandth of each side.
    pub const THOUSAND: Room = Room {
        wide: SIDE,
        high: SIDE,
    };

    /// Where a place is, in the units of this room.
    pub fn at(self, spot: Spot) -> Spot {
        let scaled = |thousandths: i64, side: i64| (thousandths * side + SIDE / 2).div_euclid(SIDE);
        Spot {
            x: scaled(spot.x, self.wide),
            y: scaled(spot.y, self.high),
        }
    }

    fn line(self, corners: &[Spot]) -> String {
        let mut path = String::new();
        for (index, corner) in corners.iter().enumerate() {
            let Spot { x, y } = self.at(*corner);
            let step = if index == 0 { "M" } else { " L" };
            // Writing to a string cannot fail.
            let _ = write!(path, "{step} {x} {y}");
        }
        path
    }

    fn area(self, corners: &[Spot]) -> String {
        match corners {
            [] => String::new(),
            corners => self.line(corners) + " Z",
        }
    }

    fn marks(self, spots: impl Iterator<Item = Spot>, mark: impl Fn(Spot) -> String) -> String {
        let marks: Vec<String> = spots.map(|it| mark(self.at(it))).collect();
        marks.join(" ")
    }
}

impl Dots {
    /// The area between the quartiles; empty where there is none.
    pub fn band_path(&self, room: Room) -> String {
        let Some(band) = self.band else {
            return String::new();
        };
        let (top, bottom) = (band.upper.unwrap_or(0), band.lower);
        let corners = [(0, top), (SIDE, top), (SIDE, bottom), (0, bottom)];
        room.area(&corners.map(|(x, y)| Spot { x, y }))
    }

    /// The level line of the median; empty where there is none.
    pub fn median_path(&self, room: Room) -> String {
        let line = |y| room.line(&[Spot { x: 0, y }, Spot { x: SIDE, y }]);
        self.median.map_or_else(String::new, line)
    }

    /// The line of the trend; empty where there is none.
    pub fn trend_path(&self, room: Room) -> String {
        let trend = self.trend;
        trend.map_or_else(String::new, |ends| room.line(&ends))
    }

    /// What the line of the trend may sweep over; empty where nobody knows.
    pub fn fan_path(&self, room: Room) -> String {
        let areas: Vec<String> = self.fan.iter().map(|it| room.area(it)).collect();
        areas.join(" ")
    }

    /// A round mark for every time that came to its end, to be filled.
    pub fn ended_path(&self, room: Room, radius: i64) -> String {
        let ended = self.dots.iter().filter(|it| it.ended);
        room.marks(ended.map(|it| it.at), |Spot { x, y }| {
            let (left, across) = (x - radius, 2 * radius);
            format!(
                "M {left} {y} a {radius} {radius} 0 1 0 {across} 0 a {radius} {radius} 0 1 0 -{across} 0 Z"
            )
        })
    }

    /// An arrow upwards from every time that was broken off, to be drawn as a line: it took at least so long.
    pub fn broken_off_path(&self, room: Room, radius: i64) -> String {
        let broken_off = self.dots.iter().filter(|it| !it.ended);
        room.marks(broken_off.map(|it| it.at), |Spot { x, y }| {
            let (left, right) = (x - radius, x + radius);
            let (head, tip) = (y - radius, y - 2 * radius);
            format!("M {left} {y} L {right} {y} M {x} {y} L {x} {tip} M {left} {head} L {x} {tip} L {right} {head}")
        })
    }
}

impl Curve {
    /// The steps.
    pub fn steps_path(&self, room: Room) -> String {
        room.line(&self.steps)
    }

    /// The area that the share lies in; empty where nothing can be said.
    pub fn limits_path(&self, room: Room) -> String {
        room.area(&self.limits)
    }

    /// A short upright mark where one was broken off.
    pub fn broken_off_path(&self, room: Room, radius: i64) -> String {
        room.marks(self.broken_off.iter().copied(), |Spot { x, y }| {
            format!("M {x} {} L {x} {}", y - radius, y + radius)
        })
    }
}
