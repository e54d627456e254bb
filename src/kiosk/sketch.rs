//! Draws one level of the site from above: where each mark stands, which names have room, which ways there are.
//!
//! The sketch is 300 x 200 whatever the screen, and the whole site has one scale, so that a level does not move when
//! another is chosen. No two marks overlap: the worst stands where it is, each other as near to its place as there is
//! room. With more marks than have room for numbers they are small, but for the one that is looked at.

use super::readiness::{Numbered, grade};
use super::sight::Sight;
use super::ui::{SiteMark, Spot};
use super::view::View;
use crate::plan::{Place, Plan};
use crate::units::Millimetres;
use crate::words::Id;

const WIDTH: f32 = 300.0;
const HEIGHT: f32 = 200.0;
/// A mark with its number, and the gap to the next.
const MARK: (f32, f32) = (68.0, 46.0);
/// A small mark with its gap; they stand on a grid of this pitch.
const SMALL: f32 = 16.2;
/// More marks than this on a level have no numbers.
const NUMBERED_MAX: usize = 9;
/// Marks are moved by this much where they would overlap.
const STEP: f32 = 5.0;
/// The arrow to the north stands in the upper right corner.
const NORTH: (f32, f32) = (36.0, 56.0);
/// A letter of a name, at the smallest tablet, and the height of a line.
const LETTER: f32 = 14.0;
const LINE: f32 = 32.0;

/// Something that takes room: its middle, width and height.
type Taken = ((f32, f32), (f32, f32));

/// Fills the sketch, and says how many positions have no place on any level.
pub(super) fn fill(
    view: &mut View,
    sight: Sight<'_>,
    all: &[Numbered<'_>],
    one: Option<&Numbered<'_>>,
    chosen: Option<&str>,
) -> usize {
    let plan = &sight.snapshot.plan.plan;
    let level_of = |it: &Numbered<'_>| Some(drawn(plan, &it.position.place)?.0.level.as_str());
    let undrawn = all.iter().filter(|it| level_of(it).is_none()).count();
    let levels = levels(all.iter().filter_map(level_of));
    let Some(scale) = Scale::of(plan) else {
        return undrawn;
    };
    let chosen = chosen.filter(|it| levels.contains(it));
    let first = || {
        one.and_then(level_of)
            .or_else(|| all.iter().find_map(level_of))
    };
    let Some(level) = chosen.or_else(first) else {
        return undrawn;
    };
    view.level = sight.with(Id::LevelName, [level]);
    view.level_above = levels.last() != Some(&level);
    view.level_below = levels.first() != Some(&level);

    let here: Vec<_> = all
        .iter()
        .filter(|it| level_of(it) == Some(level))
        .collect();
    let looked_at = |it: &Numbered<'_>| one.is_some_and(|one| one.number == it.number);
    let small = here.len() > NUMBERED_MAX;
    let mut taken: Vec<Taken> = vec![((WIDTH - NORTH.0 / 2.0, NORTH.1 / 2.0), NORTH)];
    // Who is looked at comes first, and then the worst.
    let (before, after): (Vec<_>, Vec<_>) = here.into_iter().partition(|it| looked_at(it));
    for it in before.into_iter().chain(after) {
        let Some((_, at)) = drawn(plan, &it.position.place) else {
            continue;
        };
        let chosen = looked_at(it);
        let small = small && !chosen;
        let at = match small {
            true => free_cell(scale.point(at), &taken),
            false => free_spot(scale.point(at), &taken),
        };
        taken.push((at, if small { (SMALL, SMALL) } else { MARK }));
        view.site_marks.push(SiteMark {
            x: at.0 / WIDTH,
            y: at.1 / HEIGHT,
            number: it.number.to_string().into(),
            grade: grade(it.standing.grade),
            chosen,
            small,
        });
    }
    // What is drawn last lies over the others.
    view.site_marks.reverse();
    surroundings(view, plan, level, &scale, taken, small);
    undrawn
}

/// Levels from the lowest up; those that are no numbers come last, by name.
fn levels<'a>(all: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let mut levels: Vec<_> = all.collect();
    levels.sort_by_key(|it| (it.parse::<i64>().unwrap_or(i64::MAX), *it));
    levels.dedup();
    levels
}

/// The level above or below the one that stands on the sketch.
pub(super) fn next_level(
    sight: Sight<'_>,
    all: &[Numbered<'_>],
    shown: &str,
    up: bool,
) -> Option<String> {
    let plan = &sight.snapshot.plan.plan;
    let of = |it: &Numbered<'_>| Some(drawn(plan, &it.position.place)?.0.level.as_str());
    let levels = levels(all.iter().filter_map(of));
    let named = |it: &&str| sight.with(Id::LevelName, [it]) == shown;
    let index = levels.iter().position(named)?;
    let next = if up { index + 1 } else { index.checked_sub(1)? };
    levels.get(next).map(|it| (*it).to_owned())
}

/// A place that has coordinates, and these.
fn drawn<'a>(plan: &'a Plan, id: &str) -> Option<(&'a Place, [Millimetres; 2])> {
    let place = plan.place(id)?;
    Some((place, place.at?))
}

/// The places of the level where nobody works, and the ways between its places.
fn surroundings(
    view: &mut View,
    plan: &Plan,
    level: &str,
    scale: &Scale,
    mut taken: Vec<Taken>,
    crowded: bool,
) {
    let here = |id: &str| {
        let (place, at) = drawn(plan, id)?;
        (place.level == level).then(|| scale.point(at))
    };
    let anywhere = |id: &str| Some(scale.point(drawn(plan, id)?.1));
    let (mut ways, mut others) = (String::new(), String::new());
    for link in &plan.links {
        let (Some(from), Some(to)) = (anywhere(&link.from), anywhere(&link.to)) else {
            continue;
        };
        // The ways of the other levels show what site this is, also on a level with few places.
        let on_level = here(&link.from).is_some() && here(&link.to).is_some();
        let commands = if on_level { &mut ways } else { &mut others };
        *commands += &format!("M {:.1} {:.1} L {:.1} {:.1} ", from.0, from.1, to.0, to.1);
    }
    (view.site_ways, view.other_ways) = (ways.into(), others.into());
    let worked = |id: &str| plan.positions.iter().any(|it| it.place == id);
    for place in plan.places.iter().filter(|it| !worked(&it.id)) {
        let Some(at) = here(&place.id) else { continue };
        let mut spot = Spot {
            x: at.0 / WIDTH,
            y: at.1 / HEIGHT,
            ..Spot::default()
        };
        let station = plan.stations.iter().find(|it| it.place == place.id);
        let name = station.map(|it| it.name.as_str()).filter(|_| !crowded);
        if let Some((name, left, room)) = name.and_then(|name| {
            let (left, room) = beside(at, name, &taken)?;
            Some((name, left, room))
        }) {
            taken.push(((left + room / 2.0, at.1), (room, LINE)));
            (spot.name, spot.left, spot.width) = (name.into(), left / WIDTH, room / WIDTH);
        }
        view.spots.push(spot);
    }
}

/// Where a name has room at the right of a point, or at its left; none where it has no room.
fn beside(at: (f32, f32), name: &str, taken: &[Taken]) -> Option<(f32, f32)> {
    let room = name.chars().count() as f32 * LETTER + LETTER;
    let lefts = [at.0 + 8.0, at.0 - 8.0 - room];
    lefts
        .into_iter()
        .find(|left| is_free((left + room / 2.0, at.1), (room, LINE), taken))
        .map(|left| (left, room))
}

/// How the site is brought onto the sketch.
struct Scale {
    west: f32,
    north: f32,
    /// Units of the sketch for a millimetre.
    unit: f32,
    left: f32,
    top: f32,
}

impl Scale {
    /// One for all levels; none where no place has coordinates.
    fn of(plan: &Plan) -> Option<Scale> {
        let points = || plan.places.iter().filter_map(|it| it.at);
        let range = |axis: usize| {
            let all = || points().map(move |it| it[axis].0 as f32);
            let first = all().next()?;
            Some((all().fold(first, f32::min), all().fold(first, f32::max)))
        };
        let ((west, east), (south, north)) = (range(0)?, range(1)?);
        // Marks at the edge need half of their room.
        let room = (WIDTH - MARK.0, HEIGHT - MARK.1);
        let unit = (room.0 / (east - west).max(1.0)).min(room.1 / (north - south).max(1.0));
        Some(Scale {
            west,
            north,
            unit,
            left: (WIDTH - (east - west) * unit) / 2.0,
            top: (HEIGHT - (north - south) * unit) / 2.0,
        })
    }

    /// East goes right, north goes up.
    fn point(&self, at: [Millimetres; 2]) -> (f32, f32) {
        let [east, north] = at.map(|it| it.0 as f32);
        (
            self.left + (east - self.west) * self.unit,
            self.top + (self.north - north) * self.unit,
        )
    }
}

fn is_free(at: (f32, f32), size: (f32, f32), taken: &[Taken]) -> bool {
    let inside = |at: f32, size: f32, all: f32| at >= size / 2.0 && at <= all - size / 2.0;
    // Neighbours on a grid are as far apart as they are wide, but for a rounding.
    let clear = |from: f32, to: f32, room: f32| (from - to).abs() > room - 0.1;
    let apart = |(other, room): &Taken| {
        clear(other.0, at.0, (room.0 + size.0) / 2.0)
            || clear(other.1, at.1, (room.1 + size.1) / 2.0)
    };
    inside(at.0, size.0, WIDTH) && inside(at.1, size.1, HEIGHT) && taken.iter().all(apart)
}

/// The free spot of a grid that is nearest to a point; the point itself where none is free.
fn nearest(at: (f32, f32), pitch: f32, free: impl Fn((f32, f32)) -> bool) -> (f32, f32) {
    let (columns, rows) = ((WIDTH / pitch) as i32, (HEIGHT / pitch) as i32);
    let spots = (0..columns).flat_map(|column| (0..rows).map(move |row| (column, row)));
    spots
        .map(|(column, row)| ((column as f32 + 0.5) * pitch, (row as f32 + 0.5) * pitch))
        .filter(|spot| free(*spot))
        .min_by(|a, b| {
            let far = |it: &(f32, f32)| (it.0 - at.0).powi(2) + (it.1 - at.1).powi(2);
            far(a).total_cmp(&far(b))
        })
        .unwrap_or(at)
}

fn free_spot(at: (f32, f32), taken: &[Taken]) -> (f32, f32) {
    let free = |spot| is_free(spot, MARK, taken);
    match free(at) {
        true => at,
        false => nearest(at, STEP, free),
    }
}

fn free_cell(at: (f32, f32), taken: &[Taken]) -> (f32, f32) {
    nearest(at, SMALL, |spot| is_free(spot, (SMALL, SMALL), taken))
}
