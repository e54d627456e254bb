//! Fills the sketch of a level in a running incident: where the casualty, the kit, the ways and the people are.
//!
//! One level from above, as near as what matters to the order that is looked at allows: the casualty, the approach point,
//! the landing place, the kit, the way. Which marks there are is said here in the order in which they matter; what has no
//! room after those before it is left out, so nothing lies over anything else. Small, it has ways, kit and casualty only.

use super::canvas::{Room, Scale};
use super::chart::Chart;
use super::sight::{Sight, capital};
use super::ui::LevelMap;
use super::view::View;
use super::{crew_sheets, people, way};
use crate::incident::{Case, Facts, Order, Whereabouts};
use crate::plan::{Place, Plan};
use crate::units::Millimetres;
use crate::words::{Id, seconds};
use std::collections::BTreeSet;

/// At least this much of the site is seen, in millimetres.
const SEEN_LEAST: f64 = 24_000.0;
/// The room for marks and words around what matters, at the sides and above and below.
const AROUND: (f64, f64) = (16.0, 11.0);

/// Which order is looked at, and on which level if one was chosen.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Looking<'a> {
    pub(super) responder: &'a str,
    pub(super) level: Option<&'a str>,
}

impl<'a> Looking<'a> {
    /// From what the page is about.
    pub(super) fn of(about: &'a [String]) -> Looking<'a> {
        Looking {
            responder: about.first().map_or("", String::as_str),
            level: about.get(1).map(String::as_str),
        }
    }
}

/// The order that is looked at: of that person, else of whoever does the step that is on the screen, else the first.
fn order<'a>(facts: &'a Facts, looking: Looking<'_>) -> Option<&'a Order> {
    if !looking.responder.is_empty() {
        return facts.order_of(looking.responder);
    }
    let step = facts.step().and_then(|(running, method, step)| {
        let fallback = running.fallback.and_then(|it| step.fallback.get(it));
        let role = fallback
            .and_then(|it| it.role.as_ref())
            .or(step.role.as_ref());
        let posting = facts.posting(&method.id, role?)?;
        facts.order_of(&posting.responder)
    });
    step.or_else(|| facts.orders.iter().find(|it| facts.works(it)))
        .or(facts.orders.first())
}

/// What the sketch is made from.
pub(super) struct Scene<'a> {
    pub(super) sight: Sight<'a>,
    pub(super) facts: &'a Facts,
    pub(super) plan: &'a Plan,
    /// The order that is looked at.
    pub(super) order: Option<&'a Order>,
    /// The casualty of that order, else the one worked on.
    pub(super) case: Case<'a>,
    pub(super) level: &'a str,
}

impl<'a> Scene<'a> {
    fn of(sight: Sight<'a>, looking: Looking<'_>) -> Option<Scene<'a>> {
        let facts = sight.facts();
        let plan: &Plan = &facts.opened.as_ref()?.plan;
        let order = order(facts, looking);
        let case = order.map_or(facts.case(), |it| facts.case_of(it.casualty));
        let mut scene = Scene {
            sight,
            facts,
            plan,
            order,
            case,
            level: "",
        };
        let levels = scene.levels();
        let chosen = levels.iter().find(|it| looking.level == Some(**it));
        let first = scene.acts_on().filter(|it| levels.contains(it));
        scene.level = chosen.copied().or(first).or(levels.first().copied())?;
        Some(scene)
    }

    /// Levels that have a place with coordinates, from the lowest up; those that are no numbers come last, by name.
    fn levels(&self) -> Vec<&'a str> {
        let drawn = self.plan.places.iter().filter(|it| it.at.is_some());
        let mut levels: Vec<&str> = drawn.map(|it| it.level.as_str()).collect();
        levels.sort_by_key(|it| (it.parse::<i64>().unwrap_or(i64::MAX), *it));
        levels.dedup();
        levels
    }

    /// The level on which whoever is looked at acts next: where the kit is until it is in hand, then where they are sent.
    fn acts_on(&self) -> Option<&'a str> {
        let place = match self.order {
            Some(order) if way::fetches(self.facts, order, self.sight.at()) => {
                way::kit_place(self.plan, order)
            }
            Some(order) => self.plan.place(&order.posting.place),
            None => self.place(&self.case.position()?.place),
        };
        Some(&place?.level)
    }

    pub(super) fn place(&self, id: &str) -> Option<&'a Place> {
        self.plan.place(id)
    }

    /// A place of this level that has coordinates.
    pub(super) fn here(&self, id: &str) -> Option<(&'a Place, [Millimetres; 2])> {
        let place = self.place(id).filter(|it| it.level == self.level)?;
        Some((place, place.at?))
    }

    /// Those on an order together with the one who is looked at, that one first.
    pub(super) fn crew(&self) -> impl Iterator<Item = &'a Order> {
        let own = self.order;
        let with = move |it: &&Order| {
            own.is_some_and(|own| {
                it.number != own.number
                    && it.casualty == own.casualty
                    && it.method == own.method
                    && !own.method.is_empty()
            })
        };
        own.into_iter().chain(self.facts.orders.iter().filter(with))
    }

    pub(super) fn hangs_at(&self, case: &Case<'a>) -> Option<&'a Place> {
        match &case.casualty.place {
            Whereabouts::Known(_) if case.casualty.landed.is_none() => {
                self.place(&case.position()?.place)
            }
            _ => None,
        }
    }

    pub(super) fn landing(&self) -> Option<&'a str> {
        let position = self.case.position()?;
        let running = self.case.casualty.running.as_ref();
        let method = running.and_then(|it| self.case.method(&it.method));
        let own = method.and_then(|it| it.landing.as_deref());
        Some(own.unwrap_or(&position.landing))
    }

    /// Ids of the places that matter to this order.
    fn matters(&self) -> BTreeSet<&'a str> {
        let mut ids: BTreeSet<&str> = BTreeSet::new();
        ids.extend(self.hangs_at(&self.case).map(|it| it.id.as_str()));
        if let Some(position) = self.case.position() {
            ids.insert(&position.approach);
        }
        ids.extend(self.landing());
        for order in self.crew() {
            ids.extend(order.posting.way.iter().map(|it| it.0.as_str()));
            ids.insert(&order.posting.place);
            ids.extend(way::kit_place(self.plan, order).map(|it| it.id.as_str()));
        }
        ids
    }

    /// The part of the level that is shown: what matters of it, else all of it.
    fn scale(&self, room: &Room, small: bool) -> Option<Scale> {
        let matters = self.matters();
        let points = |which: &dyn Fn(&&Place) -> bool| -> Vec<[Millimetres; 2]> {
            let here = self.plan.places.iter().filter(|it| it.level == self.level);
            here.filter(which).filter_map(|it| it.at).collect()
        };
        let mut all = points(&|it| matters.contains(it.id.as_str()));
        if all.is_empty() {
            all = points(&|_| true);
        }
        let around = if small { (5.5, 5.5) } else { AROUND };
        let around = (around.0 * room.unit, around.1 * room.unit);
        Scale::around(&all, SEEN_LEAST, room, around)
    }
}

/// The level above or below the one that is shown.
pub(super) fn next_level(sight: Sight<'_>, looking: Looking<'_>, up: bool) -> Option<String> {
    let scene = Scene::of(sight, looking)?;
    let levels = scene.levels();
    let index = levels.iter().position(|it| *it == scene.level)?;
    let next = if up { index + 1 } else { index.checked_sub(1)? };
    levels.get(next).map(|it| (*it).to_owned())
}

/// What the head of the page says: who, and what about.
pub(super) fn head(sight: Sight<'_>, looking: Looking<'_>) -> slint::SharedString {
    match order(sight.facts(), looking) {
        Some(order) => {
            let name = sight.facts().name(&order.posting.responder);
            sight.with(
                Id::SketchHead,
                [name, &crew_sheets::task_in_short(sight, order)],
            )
        }
        None => sight.label(Id::SketchNobody),
    }
}

/// Fills the sketch, and beside it the way in words. `small`, there are no names on it.
pub(super) fn fill(
    view: &mut View,
    sight: Sight<'_>,
    room: &Room,
    looking: Looking<'_>,
    small: bool,
) {
    let Some(scene) = Scene::of(sight, looking) else {
        view.level_lines = order(sight.facts(), looking)
            .map_or_else(Vec::new, |order| way::in_words(sight, order));
        view.level_map.none = sight.label(Id::SketchNone);
        return;
    };
    if let Some(order) = scene.order {
        let left = crew_sheets::to_go(sight, order);
        view.level_map.seconds = match left {
            Some(left) => sight.with(Id::SketchToGo, [&seconds(left).replace(' ', "\u{a0}")]),
            None => capital(&people::note(sight, &order.posting.responder).0),
        };
        view.level_lines = way::in_words(sight, order);
    }
    let levels = scene.levels();
    view.level = sight.with(Id::LevelName, [scene.level]);
    view.level_above = levels.last() != Some(&scene.level);
    view.level_below = levels.first() != Some(&scene.level);
    let Some(scale) = scene.scale(room, small) else {
        return;
    };
    let mut chart = Chart::new(room, scale, small);
    chart.all(&scene);
    let Chart {
        marks, words, map, ..
    } = chart;
    view.level_marks = marks;
    view.level_words = words;
    view.level_map = LevelMap {
        seconds: view.level_map.seconds.clone(),
        ..map
    };
    view.level_picture = picture(&scene, room, &scale);
}

/// Which part of which drawing lies where under the sketch.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Placed {
    /// Index among the drawings of the plan; none where the level has none.
    pub(super) drawing: Option<usize>,
    /// Left, top, width and height of the whole drawing, in units of the room; it may be larger than that.
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) width: f64,
    pub(super) height: f64,
}

fn picture(scene: &Scene<'_>, room: &Room, scale: &Scale) -> Placed {
    let in_use = &scene.sight.snapshot.plan;
    // A running incident has the plan that it began with; pictures belong to the one whose file was read last.
    if in_use.plan.drawings != scene.plan.drawings {
        return Placed::default();
    }
    let mut drawings = in_use.drawings.all.iter().enumerate();
    let Some((index, drawing)) = drawings.find(|(_, it)| it.level == scene.level) else {
        return Placed::default();
    };
    let (low, high) = (
        scale.point(drawing.south_west),
        scale.point(drawing.north_east),
    );
    let seen = low.0 < room.width && high.0 > 0.0 && high.1 < room.height && low.1 > 0.0;
    Placed {
        drawing: Some(index).filter(|_| seen),
        left: low.0,
        top: high.1,
        width: high.0 - low.0,
        height: low.1 - high.1,
    }
}
