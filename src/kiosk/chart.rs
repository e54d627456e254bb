//! Puts the marks, lines and words of a level on its sketch, the most important first, so that nothing lies over anything else.
//!
//! A mark stands at its place, or as near to it as there is room, with a line to where it belongs. Words stand beside their
//! mark. What has no room after all that comes before it is left out; casualty, kit and the ends of the way come first.

use super::canvas::{Area, Point, Room, Scale, Taken, between, distance};
use super::level::Scene;
use super::ui::{LevelMap, LevelMark, LevelSign, LevelWord, Tone};
use super::{crew_sheets, way};
use crate::incident::{Case, Order};
use crate::plan::{Link, LinkKind};
use crate::readiness::Passing;
use crate::report::face::Faces;
use crate::units::Millimetres;
use crate::words::{Id, seconds};
use std::collections::BTreeSet;

/// A mark is at most this far from its place, in units of the layout.
const MOVED_MAX: f64 = 22.0;
/// One that only says how one comes to another level stands this near.
const NEAR: f64 = 6.0;
/// Words that must be said are at most this far from their mark.
const FAR: f64 = 40.0;

/// The sketch while it is filled.
pub(super) struct Chart<'r> {
    room: &'r Room,
    scale: Scale,
    small: bool,
    taken: Taken,
    pub(super) marks: Vec<LevelMark>,
    pub(super) words: Vec<LevelWord>,
    pub(super) map: LevelMap,
    faces: Faces,
}

/// Words that belong to a mark, and how they are drawn.
struct Said {
    mark: Area,
    text: String,
    tone: Tone,
    strong: bool,
    must: bool,
}

impl<'r> Chart<'r> {
    pub(super) fn new(room: &'r Room, scale: Scale, small: bool) -> Chart<'r> {
        Chart {
            room,
            scale,
            small,
            taken: Taken::new(*room),
            marks: Vec::new(),
            words: Vec::new(),
            map: LevelMap::default(),
            faces: Faces::new(),
        }
    }

    pub(super) fn all(&mut self, scene: &Scene<'_>) {
        let unit = self.room.unit;
        if !self.small {
            // The name of the level and the arrow to the north have their corners.
            let name =
                self.wide(&scene.sight.with(Id::LevelName, [scene.level]), true) + 2.4 * unit;
            let high = 1.9 * self.room.letter;
            self.taken
                .take(Area::new((name / 2.0, high / 2.0), (name, high)));
            self.map.name_width = (name / self.room.width) as f32;
            let north = (6.2 * unit, 10.6 * unit);
            let at = (self.room.width - north.0 / 2.0, north.1 / 2.0);
            self.taken.take(Area::new(at, north));
        }
        self.links(scene);
        let said = self.signs(scene);
        for said in said {
            self.say(&said);
        }
        if !self.small {
            self.names(scene, true);
            for said in self.stations(scene) {
                self.say(&said);
            }
            self.stairs(scene);
            self.names(scene, false);
        }
        // What is drawn last lies over the others.
        self.marks.reverse();
    }

    fn wide(&self, text: &str, strong: bool) -> f64 {
        f64::from(self.faces.width(text, strong)) * self.room.letter
    }

    /// The ways of the level, those of the crew, and that of the order.
    fn links(&mut self, scene: &Scene<'_>) {
        let (mut ways, mut shut, mut bars) = (String::new(), String::new(), String::new());
        for link in &scene.plan.links {
            let (Some((_, from)), Some((_, to))) = (scene.here(&link.from), scene.here(&link.to))
            else {
                continue;
            };
            let (from, to) = (self.scale.point(from), self.scale.point(to));
            if way::is_shut(scene.facts, link) {
                let dash = 0.8 * self.room.unit;
                self.room.dashes(&mut shut, &[from, to], 0.0, dash, dash);
                continue;
            }
            self.room.line(&mut ways, from, to);
            if !matches!(
                link.kind,
                LinkKind::Walk | LinkKind::Vehicle | LinkKind::Hoist
            ) {
                let pitch = 1.6 * self.room.unit;
                self.room
                    .bars(&mut bars, from, to, pitch, 2.4 * self.room.unit);
            }
        }
        let (mut others, mut under, mut route) = (String::new(), String::new(), String::new());
        let unit = self.room.unit;
        for order in scene.crew().skip(1) {
            for piece in pieces(scene, &order.posting.way) {
                let line: Vec<Point> = piece.iter().map(|it| self.scale.point(it.1)).collect();
                self.room
                    .dashes(&mut others, &line, 0.0, 1.2 * unit, 1.2 * unit);
            }
        }
        if let Some(order) = scene.order {
            let along = way::along(scene.facts, order, scene.sight.at());
            for piece in pieces(scene, &order.posting.way) {
                let line: Vec<Point> = piece.iter().map(|it| self.scale.point(it.1)).collect();
                for pair in line.windows(2) {
                    self.room.line(&mut under, pair[0], pair[1]);
                    self.taken.lines.push((pair[0], pair[1]));
                }
                let gone = along.map_or(0.0, |it| {
                    let legs = piece.iter().zip(line.windows(2));
                    legs.map(|((leg, _), pair)| {
                        let part = match leg.cmp(&it.leg) {
                            std::cmp::Ordering::Less => 1.0,
                            std::cmp::Ordering::Equal => it.part,
                            std::cmp::Ordering::Greater => 0.0,
                        };
                        part * distance(pair[0], pair[1])
                    })
                    .sum()
                });
                self.room
                    .dashes(&mut route, &line, gone, 2.6 * unit, 1.5 * unit);
            }
        }
        self.map.ways = ways.into();
        self.map.shut = shut.into();
        self.map.bars = bars.into();
        self.map.others = others.into();
        self.map.under = under.into();
        self.map.route = route.into();
    }

    /// Puts a mark at a point or near it, with a line to where it belongs.
    fn mark(&mut self, sign: LevelSign, at: Point, size: Point, text: &str) -> Option<Area> {
        // What is beside the matter is left out before it crowds what is not.
        let far = match sign {
            LevelSign::Stairs | LevelSign::Ladder | LevelSign::Hoist => NEAR,
            _ => MOVED_MAX,
        };
        let factor = if self.small { 0.8 } else { 1.0 };
        let size = (size.0 * factor, size.1 * factor);
        let area = self.taken.near(at, size, far * self.room.unit)?;
        if distance(area.at, at) > 0.5 * self.room.unit {
            let mut path = String::from(std::mem::take(&mut self.map.leaders));
            self.room.line(&mut path, at, area.at);
            self.map.leaders = path.into();
        }
        self.taken.take(area);
        self.marks.push(LevelMark {
            sign,
            x: (area.at.0 / self.room.width) as f32,
            y: (area.at.1 / self.room.height) as f32,
            width: (area.size.0 / self.room.width) as f32,
            height: (area.size.1 / self.room.height) as f32,
            text: text.into(),
            ..LevelMark::default()
        });
        Some(area)
    }

    fn inside(&self, at: Point) -> bool {
        self.room.holds(&Area::new(at, (0.0, 0.0)))
    }

    /// The marks in the order in which they matter, and what is to be said of each.
    fn signs(&mut self, scene: &Scene<'_>) -> Vec<Said> {
        let mut said = Vec::new();
        self.casualties(scene, &mut said);
        if !self.small {
            self.points(scene, &mut said);
        }
        self.ends(scene, &mut said);
        self.changes(scene, &mut said);
        self.people(scene, &mut said);
        if !self.small {
            self.crosses(scene);
        }
        said
    }

    fn casualties(&mut self, scene: &Scene<'_>, said: &mut Vec<Said>) {
        let mut cases: Vec<Case<'_>> = scene.facts.cases().collect();
        cases.sort_by_key(|it| (it.number != scene.case.number, it.number));
        let several = cases.len() > 1;
        for case in cases {
            let Some((_, at)) = scene.hangs_at(&case).and_then(|it| scene.here(&it.id)) else {
                continue;
            };
            let at = self.scale.point(at);
            if !self.inside(at) {
                continue;
            }
            let unit = self.room.unit;
            let number = case.number.to_string();
            let text = if several { number.as_str() } else { "" };
            let size = (8.0 * unit, 8.0 * unit);
            let Some(mark) = self.mark(LevelSign::Casualty, at, size, text) else {
                continue;
            };
            let name = case.casualty.who.as_deref().map(|it| scene.facts.name(it));
            let text = match name {
                Some(name) => name.to_owned(),
                None if several => scene.sight.with(Id::CasualtyNumber, [&number]).into(),
                None => scene.sight.label(Id::SketchCasualty).into(),
            };
            said.push(Said {
                mark,
                text,
                tone: Tone::Bad,
                strong: true,
                must: true,
            });
        }
    }

    /// Where the kit of the order is, and where its way ends.
    fn ends(&mut self, scene: &Scene<'_>, said: &mut Vec<Said>) {
        let Some(order) = scene.order else { return };
        let unit = self.room.unit;
        let at = way::kit_place(scene.plan, order).and_then(|it| scene.here(&it.id));
        if let (Some((_, at)), Some(kit)) = (at, order.posting.kit.as_ref()) {
            let station = order.posting.station.as_ref();
            let station = station.and_then(|it| scene.plan.station(it));
            let station = station.filter(|_| order.posting.lies.is_none());
            let letter = station.map_or(String::new(), |it| letter(&it.name));
            let size = (7.0 * unit, 7.0 * unit);
            if let Some(mark) = self.mark(LevelSign::Station, self.scale.point(at), size, &letter) {
                let text = match station {
                    Some(station) if letter.is_empty() => format!("{kit}, {}", station.name),
                    _ => kit.clone(),
                };
                said.push(Said {
                    mark,
                    text,
                    tone: Tone::Plain,
                    strong: true,
                    must: true,
                });
            }
        }
        let end = Some(order.posting.place.as_str());
        let position = scene.case.position().filter(|_| !self.small);
        let told = position.is_some_and(|it| end == Some(&it.approach) || end == scene.landing());
        let hangs = scene.hangs_at(&scene.case).map(|it| it.id.as_str());
        // Where it has a mark already that says more, it needs none of its own.
        if let Some((place, at)) = end
            .filter(|_| !told && end != hangs)
            .and_then(|it| scene.here(it))
        {
            let point = self.scale.point(at);
            let size = (4.4 * unit, 4.4 * unit);
            if let Some(mark) = self.mark(LevelSign::End, point, size, "") {
                said.push(Said {
                    mark,
                    text: place.name.clone(),
                    tone: Tone::Plain,
                    strong: false,
                    must: true,
                });
            }
        }
    }

    /// Where the way leaves the level, and where it comes to it.
    fn changes(&mut self, scene: &Scene<'_>, said: &mut Vec<Said>) {
        let Some(order) = scene.order else { return };
        let unit = self.room.unit;
        let gone = way::along(scene.facts, order, scene.sight.at()).map_or(0, |it| it.leg);
        for (leg, pair) in order.posting.way.windows(2).enumerate() {
            let ends = (scene.place(&pair[0].0), scene.place(&pair[1].0));
            let (Some(from), Some(to)) = ends else {
                continue;
            };
            if from.level == to.level {
                continue;
            }
            let leaves = from.level == scene.level;
            let near = if leaves { from } else { to };
            let Some((_, at)) = scene.here(&near.id) else {
                continue;
            };
            let Some(by) = way::link(scene.facts, scene.plan, &from.id, &to.id) else {
                continue;
            };
            let up = way::rise(by).0 >= 0;
            let sign = match (up, leaves) {
                (true, true) => LevelSign::Up,
                (false, true) => LevelSign::Down,
                (_, false) => stair(by.0.kind),
            };
            let size = (6.4 * unit, 6.4 * unit);
            let Some(mark) = self.mark(sign, self.scale.point(at), size, "") else {
                continue;
            };
            let text = match leaves {
                true => way::to_level(scene.sight, by, &to.level),
                false => {
                    let kind = scene.sight.label(crate::report::kind_of_way(by.0.kind));
                    scene.sight.with(Id::WayFrom, [&kind, &from.level])
                }
            };
            said.push(Said {
                mark,
                text: text.into(),
                tone: if leaves && leg >= gone {
                    Tone::Caution
                } else {
                    Tone::Quiet
                },
                strong: leaves && leg >= gone,
                must: true,
            });
        }
    }

    /// The approach point and the landing place.
    fn points(&mut self, scene: &Scene<'_>, said: &mut Vec<Said>) {
        let Some(position) = scene.case.position() else {
            return;
        };
        let unit = self.room.unit;
        let landing = scene.landing().unwrap_or(&position.landing);
        for (sign, id, text) in [
            (
                LevelSign::Approach,
                position.approach.as_str(),
                Id::SketchApproach,
            ),
            (LevelSign::Landing, landing, Id::SketchLanding),
        ] {
            let Some((_, at)) = scene.here(id) else {
                continue;
            };
            let size = (6.0 * unit, 6.0 * unit);
            if let Some(mark) = self.mark(sign, self.scale.point(at), size, "") {
                said.push(Said {
                    mark,
                    text: scene.sight.label(text).into(),
                    tone: Tone::Plain,
                    strong: false,
                    must: false,
                });
            }
        }
    }

    /// Who is on the way or there: the one who is looked at first.
    fn people(&mut self, scene: &Scene<'_>, said: &mut Vec<Said>) {
        let own = scene.order.map(|it| it.number);
        let others = scene
            .facts
            .orders
            .iter()
            .filter(|it| Some(it.number) != own);
        let cannot = |it: &&Order| !scene.facts.cannot.contains(&it.posting.responder);
        let unit = self.room.unit;
        for order in scene.order.into_iter().chain(others).filter(cannot) {
            let looked_at = Some(order.number) == own;
            if self.small && !looked_at {
                continue;
            }
            let along = way::along(scene.facts, order, scene.sight.at());
            let here = along.filter(|it| it.level() == scene.level);
            let Some(at) = here.and_then(|it| it.at()) else {
                continue;
            };
            let at = self.scale.spot(at);
            if !self.inside(at) {
                continue;
            }
            let name = scene.facts.name(&order.posting.responder);
            let sign = match (looked_at, order.there.is_some()) {
                (true, _) => LevelSign::Own,
                (false, false) => LevelSign::Going,
                (false, true) => LevelSign::There,
            };
            let size = (5.6 * unit, 5.6 * unit);
            let Some(mark) = self.mark(sign, at, size, &initials(name)) else {
                continue;
            };
            let text = match (order.there, crew_sheets::to_go(scene.sight, order)) {
                (None, Some(left)) => format!("{name} {}", seconds(left)).replace(' ', "\u{a0}"),
                (None, None) => name.to_owned(),
                (Some(_), _) => scene.sight.with(Id::SketchThere, [name]).into(),
            };
            said.push(Said {
                mark,
                text,
                tone: if looked_at {
                    Tone::Caution
                } else {
                    Tone::Plain
                },
                strong: looked_at,
                must: looked_at,
            });
        }
    }

    /// A cross over each way that nobody can pass: in its middle, or over what leads to another level.
    fn crosses(&mut self, scene: &Scene<'_>) {
        let size = (4.6 * self.room.unit, 4.6 * self.room.unit);
        for link in &scene.plan.links {
            if !way::is_shut(scene.facts, link) {
                continue;
            }
            match (scene.here(&link.from), scene.here(&link.to)) {
                (Some((_, from)), Some((_, to))) => {
                    let (from, to) = (self.scale.point(from), self.scale.point(to));
                    if let Some((from, to)) = self.room.area().cut(from, to) {
                        self.mark(LevelSign::Shut, between(from, to, 0.5), size, "");
                    }
                }
                (Some((_, at)), None) | (None, Some((_, at))) => {
                    let at = self.scale.point(at);
                    let drawn =
                        self.inside(at) && self.mark(stair(link.kind), at, size, "").is_some();
                    if let Some(mark) = self.marks.last_mut().filter(|_| drawn) {
                        mark.crossed = true;
                    }
                }
                (None, None) => {}
            }
        }
    }

    /// The stations of the others.
    fn stations(&mut self, scene: &Scene<'_>) -> Vec<Said> {
        let mut said = Vec::new();
        let own = scene.order.and_then(|it| it.posting.station.as_deref());
        let sent: BTreeSet<&str> = scene
            .crew()
            .filter_map(|it| it.posting.station.as_deref())
            .collect();
        let mut stations: Vec<_> = scene.plan.stations.iter().collect();
        stations.sort_by_key(|it| !sent.contains(it.id.as_str()));
        for station in stations
            .into_iter()
            .filter(|it| Some(it.id.as_str()) != own)
        {
            let Some((_, at)) = scene.here(&station.place) else {
                continue;
            };
            let at = self.scale.point(at);
            if !self.inside(at) {
                continue;
            }
            let letter = letter(&station.name);
            let size = (5.4 * self.room.unit, 5.4 * self.room.unit);
            let mark = self.mark(LevelSign::Store, at, size, &letter);
            if let Some(mark) = mark.filter(|_| letter.is_empty()) {
                said.push(Said {
                    mark,
                    text: station.name.clone(),
                    tone: Tone::Quiet,
                    strong: false,
                    must: false,
                });
            }
        }
        said
    }

    /// The ways to other levels that the order does not take, by their kind.
    fn stairs(&mut self, scene: &Scene<'_>) {
        let mut drawn: BTreeSet<(&str, LinkKind)> = BTreeSet::new();
        let size = (4.6 * self.room.unit, 4.6 * self.room.unit);
        let taken = |link: &Link| {
            let way = scene.order.map_or(&[][..], |it| &it.posting.way);
            way.windows(2).any(|it| {
                it[0].0 == link.from && it[1].0 == link.to
                    || it[0].0 == link.to && it[1].0 == link.from
            })
        };
        for link in &scene.plan.links {
            let ends = (scene.here(&link.from), scene.here(&link.to));
            let ((Some((place, at)), None) | (None, Some((place, at)))) = ends else {
                continue;
            };
            let level_way = matches!(link.kind, LinkKind::Walk | LinkKind::Vehicle);
            let shut = way::is_shut(scene.facts, link);
            if level_way || shut || taken(link) || !drawn.insert((place.id.as_str(), link.kind)) {
                continue;
            }
            let at = self.scale.point(at);
            if self.inside(at) {
                self.mark(stair(link.kind), at, size, "");
            }
        }
    }

    /// Places as points, named where that has room: those of the way, or all others.
    fn names(&mut self, scene: &Scene<'_>, of_way: bool) {
        let way = scene.order.map_or(&[][..], |it| &it.posting.way);
        let on_way = |id: &str| way.iter().any(|it| it.0 == id);
        let size = (1.6 * self.room.unit, 1.6 * self.room.unit);
        let places = scene.plan.places.iter();
        for place in places.filter(|it| on_way(&it.id) == of_way) {
            let Some((_, at)) = scene.here(&place.id) else {
                continue;
            };
            let dot = Area::new(self.scale.point(at), size);
            let free = self.taken.is_free(&dot);
            if !self.inside(dot.at) {
                continue;
            }
            if free {
                self.taken.take(dot);
                self.marks.push(LevelMark {
                    sign: LevelSign::Place,
                    x: (dot.at.0 / self.room.width) as f32,
                    y: (dot.at.1 / self.room.height) as f32,
                    width: (size.0 / self.room.width) as f32,
                    height: (size.1 / self.room.height) as f32,
                    ..LevelMark::default()
                });
                self.say(&Said {
                    mark: dot,
                    text: place.name.clone(),
                    tone: Tone::Quiet,
                    strong: false,
                    must: false,
                });
            }
        }
    }

    /// Words beside a mark, where they have room.
    fn say(&mut self, said: &Said) {
        if self.small || said.text.is_empty() {
            return;
        }
        let wide = self.wide(&said.text, said.strong) + 1.2 * self.room.unit;
        let size = (wide.min(0.6 * self.room.width), 1.34 * self.room.letter);
        let beside = self.taken.beside(&said.mark, size, said.must);
        let area = beside.or_else(|| {
            // What must be said is said farther off, with a line to its mark.
            let far = self.taken.near(said.mark.at, size, FAR * self.room.unit);
            let far = far.filter(|_| said.must)?;
            let mut path = String::from(std::mem::take(&mut self.map.leaders));
            self.room.line(&mut path, said.mark.at, far.at);
            self.map.leaders = path.into();
            Some(far)
        });
        let Some(area) = area else { return };
        self.taken.take(area);
        self.words.push(LevelWord {
            x: (area.at.0 / self.room.width) as f32,
            y: (area.at.1 / self.room.height) as f32,
            width: (area.size.0 / self.room.width) as f32,
            height: (area.size.1 / self.room.height) as f32,
            text: said.text.as_str().into(),
            tone: said.tone,
            strong: said.strong,
        });
    }
}

/// The stretches of a way that are on this level, each with the indexes of its legs and where its places are.
fn pieces(scene: &Scene<'_>, way: &[Passing]) -> Vec<Vec<(usize, [Millimetres; 2])>> {
    let mut pieces: Vec<Vec<(usize, [Millimetres; 2])>> = Vec::new();
    let mut open = false;
    for (leg, passing) in way.iter().enumerate() {
        match scene.here(&passing.0) {
            Some((_, at)) if open => pieces
                .last_mut()
                .into_iter()
                .for_each(|it| it.push((leg, at))),
            Some((_, at)) => pieces.push(vec![(leg, at)]),
            None => {}
        }
        open = scene.here(&passing.0).is_some();
    }
    pieces
}

fn stair(kind: LinkKind) -> LevelSign {
    match kind {
        LinkKind::Walk | LinkKind::Stairs | LinkKind::ScaffoldStair => LevelSign::Stairs,
        LinkKind::FixedLadder => LevelSign::Ladder,
        LinkKind::Hoist | LinkKind::Vehicle => LevelSign::Hoist,
    }
}

/// What tells one station from another, where that is a letter or a number.
fn letter(station: &str) -> String {
    let last = station.split_whitespace().last().unwrap_or_default();
    match last.chars().count() {
        0..=2 => last.to_uppercase(),
        _ => String::new(),
    }
}

/// At most two letters that stand for a name.
fn initials(name: &str) -> String {
    let words = name.split_whitespace().filter_map(|it| it.chars().next());
    let letters: Vec<char> = words.collect();
    match letters.as_slice() {
        [] => String::new(),
        [one] => one.to_uppercase().collect(),
        [first, .., last] => first.to_uppercase().chain(last.to_uppercase()).collect(),
    }
}
