//! Brings a part of a level onto a sketch: one scale for both axes, lines cut at its edge, dashes, room for marks and words.
//!
//! Everything is in the units of the room that the screen gives, with its upper left corner at zero. What has no room is
//! left out by whoever asked; nothing here knows what a mark means.

use crate::units::Millimetres;

/// A point of the sketch: to the right and down.
pub(super) type Point = (f64, f64);

/// The room that a sketch has.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Room {
    pub(super) width: f64,
    pub(super) height: f64,
    /// The unit of the layout.
    pub(super) unit: f64,
    /// The size of the smallest letters.
    pub(super) letter: f64,
}

/// A rectangle, by its middle and its sides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Area {
    pub(super) at: Point,
    pub(super) size: Point,
}

impl Area {
    pub(super) fn new(at: Point, size: Point) -> Area {
        Area { at, size }
    }

    fn left(&self) -> f64 {
        self.at.0 - self.size.0 / 2.0
    }

    fn top(&self) -> f64 {
        self.at.1 - self.size.1 / 2.0
    }

    /// True where the two have a point in common inside.
    pub(super) fn meets(&self, other: &Area) -> bool {
        let near = |a: f64, b: f64, room: f64| (a - b).abs() < room / 2.0;
        near(self.at.0, other.at.0, self.size.0 + other.size.0)
            && near(self.at.1, other.at.1, self.size.1 + other.size.1)
    }

    /// The part of a line inside.
    pub(super) fn cut(&self, from: Point, to: Point) -> Option<(Point, Point)> {
        let along = (to.0 - from.0, to.1 - from.1);
        let (mut first, mut last) = (0.0_f64, 1.0_f64);
        for (step, start, low, size) in [
            (along.0, from.0, self.left(), self.size.0),
            (along.1, from.1, self.top(), self.size.1),
        ] {
            let (below, above) = (low - start, low + size - start);
            if step == 0.0 {
                if below > 0.0 || above < 0.0 {
                    return None;
                }
                continue;
            }
            let (one, other) = (below / step, above / step);
            first = first.max(one.min(other));
            last = last.min(one.max(other));
        }
        let at = |part: f64| (from.0 + part * along.0, from.1 + part * along.1);
        (first < last).then(|| (at(first), at(last)))
    }
}

impl Room {
    /// All of it.
    pub(super) fn area(&self) -> Area {
        let size = (self.width, self.height);
        Area::new((size.0 / 2.0, size.1 / 2.0), size)
    }

    /// True where an area is inside as a whole.
    pub(super) fn holds(&self, area: &Area) -> bool {
        // A rounding of the screen is no overlap.
        let slack = 0.01;
        area.left() >= -slack
            && area.top() >= -slack
            && area.left() + area.size.0 <= self.width + slack
            && area.top() + area.size.1 <= self.height + slack
    }

    /// The line as commands of a path, as far as it is inside.
    pub(super) fn line(&self, path: &mut String, from: Point, to: Point) {
        if let Some((from, to)) = self.area().cut(from, to) {
            *path += &format!("M {:.1} {:.1} L {:.1} {:.1} ", from.0, from.1, to.0, to.1);
        }
    }

    /// A line of several points as dashes that begin at its start, so that they stay where they are while more and more of it
    /// is left out: `from` is how much of it.
    pub(super) fn dashes(&self, path: &mut String, line: &[Point], from: f64, dash: f64, gap: f64) {
        let mut gone = 0.0;
        for pair in line.windows(2) {
            let (start, end) = (pair[0], pair[1]);
            // Only what is inside is gone through: a plan may be far larger than the sketch of it.
            let long = distance(start, end);
            if let Some((first, last)) = self.area().cut(start, end) {
                let (near, far) = (gone + distance(start, first), gone + distance(start, last));
                let mut index = (near / (dash + gap)).floor();
                while index * (dash + gap) < far {
                    let begin = (index * (dash + gap)).max(near).max(from);
                    let stop = (index * (dash + gap) + dash).min(far);
                    if begin < stop {
                        let at = |it: f64| between(start, end, (it - gone) / long);
                        let (a, b) = (at(begin), at(stop));
                        *path += &format!("M {:.1} {:.1} L {:.1} {:.1} ", a.0, a.1, b.0, b.1);
                    }
                    index += 1.0;
                }
            }
            gone += long;
        }
    }

    /// Bars across a line, as a ladder or stairs have steps.
    pub(super) fn bars(&self, path: &mut String, from: Point, to: Point, pitch: f64, wide: f64) {
        let Some((from, to)) = self.area().cut(from, to) else {
            return;
        };
        let long = distance(from, to);
        let (x, y) = ((to.0 - from.0) / long, (to.1 - from.1) / long);
        let count = (long / pitch).floor();
        let mut index = 0.5;
        while index < count {
            let at = between(from, to, index * pitch / long);
            let half = (-y * wide / 2.0, x * wide / 2.0);
            self.line(
                path,
                (at.0 - half.0, at.1 - half.1),
                (at.0 + half.0, at.1 + half.1),
            );
            index += 1.0;
        }
    }
}

/// How far two points are apart.
pub(super) fn distance(from: Point, to: Point) -> f64 {
    (to.0 - from.0).hypot(to.1 - from.1)
}

/// The point at a part of the way from one to the other.
pub(super) fn between(from: Point, to: Point, part: f64) -> Point {
    (
        from.0 + part * (to.0 - from.0),
        from.1 + part * (to.1 - from.1),
    )
}

/// How a part of the site is brought onto the sketch: north is up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Scale {
    middle: Point,
    /// The middle of the room.
    shown_at: Point,
    /// Units of the sketch for a millimetre.
    pub(super) unit: f64,
}

impl Scale {
    /// So that all these points are inside with this much room around them, and at least so many millimetres are seen.
    pub(super) fn around(
        points: &[[Millimetres; 2]],
        least: f64,
        room: &Room,
        around: Point,
    ) -> Option<Scale> {
        let range = |axis: usize| {
            let all = points.iter().map(|it| it[axis].0 as f64);
            let ends = all.fold(None, |ends: Option<(f64, f64)>, it| {
                Some(ends.map_or((it, it), |(low, high)| (low.min(it), high.max(it))))
            });
            ends.map(|(low, high)| ((low + high) / 2.0, high - low))
        };
        let ((east, wide), (north, high)) = (range(0)?, range(1)?);
        let inner = |side: f64, around: f64| (side - 2.0 * around).max(side / 3.0);
        let width = inner(room.width, around.0);
        let height = inner(room.height, around.1);
        let unit = (width / wide.max(1.0))
            .min(height / high.max(1.0))
            .min(width.min(height) / least.max(1.0));
        Some(Scale {
            middle: (east, north),
            shown_at: (room.width / 2.0, room.height / 2.0),
            unit,
        })
    }

    /// Where a point of the site is on the sketch.
    pub(super) fn point(&self, at: [Millimetres; 2]) -> Point {
        self.spot((at[0].0 as f64, at[1].0 as f64))
    }

    /// The same for millimetres east and north.
    pub(super) fn spot(&self, at: (f64, f64)) -> Point {
        (
            self.shown_at.0 + (at.0 - self.middle.0) * self.unit,
            self.shown_at.1 - (at.1 - self.middle.1) * self.unit,
        )
    }
}

/// What is taken of a room, so that nothing is put over anything else.
#[derive(Debug)]
pub(super) struct Taken {
    room: Room,
    areas: Vec<Area>,
    /// Lines that words do not cover where they need not.
    pub(super) lines: Vec<(Point, Point)>,
}

impl Taken {
    pub(super) fn new(room: Room) -> Taken {
        Taken {
            room,
            areas: Vec::new(),
            lines: Vec::new(),
        }
    }

    pub(super) fn take(&mut self, area: Area) {
        self.areas.push(area);
    }

    pub(super) fn is_free(&self, area: &Area) -> bool {
        self.room.holds(area) && !self.areas.iter().any(|it| it.meets(area))
    }

    fn crossed(&self, area: &Area) -> bool {
        let mut lines = self.lines.iter();
        lines.any(|(from, to)| area.cut(*from, *to).is_some())
    }

    /// The free place nearest to a point for something of this size, at most so far from it.
    pub(super) fn near(&self, at: Point, size: Point, far: f64) -> Option<Area> {
        let area = |at| Area::new(at, size);
        if self.is_free(&area(at)) {
            return Some(area(at));
        }
        let step = self.room.unit;
        let rings = (far / step) as i32;
        (1..=rings).find_map(|ring| {
            let radius = f64::from(ring) * step;
            let spots = (0..16).map(|turn| {
                let angle = f64::from(turn) * std::f64::consts::TAU / 16.0;
                area((at.0 + radius * angle.cos(), at.1 + radius * angle.sin()))
            });
            let free: Vec<Area> = spots.filter(|it| self.is_free(it)).collect();
            // Beside a way rather than on it.
            let clear = free.iter().find(|it| !self.crossed(it));
            clear.or(free.first()).copied()
        })
    }

    /// Where words of this size have room beside a mark. Over a line only where they must.
    pub(super) fn beside(&self, mark: &Area, size: Point, must: bool) -> Option<Area> {
        let gap = 0.3 * self.room.unit;
        let (x, y) = (
            (mark.size.0 + size.0) / 2.0 + gap,
            (mark.size.1 + size.1) / 2.0 + gap,
        );
        // To the right, to the left, below, above; then to the corners, first those that begin or end at the mark.
        let (end, far) = ((size.0 - mark.size.0) / 2.0, 0.7 * y);
        let sides = [
            (x, 0.0),
            (-x, 0.0),
            (0.0, y),
            (0.0, -y),
            (end, y),
            (end, -y),
            (-end, y),
            (-end, -y),
            (x, far),
            (x, -far),
            (-x, far),
            (-x, -far),
        ];
        let all = sides.map(|it| Area::new((mark.at.0 + it.0, mark.at.1 + it.1), size));
        let free: Vec<Area> = all.into_iter().filter(|it| self.is_free(it)).collect();
        let clear = free.iter().find(|it| !self.crossed(it));
        clear.or(free.first().filter(|_| must)).copied()
    }
}
