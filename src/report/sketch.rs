//! Takes the sketch of the site for one position from a plan: the position, the approach point, landing places, kit, ways.
//!
//! Nothing is on it that a rescue here does not use: of each kind of kit the nearest station, and the ways between. Where a
//! place has no coordinates there is no sketch, and the ways are told in words.

use std::collections::BTreeSet;

use super::cards::{Line, Mark, Run, Sign, Sketch, Spot, Style, Way};
use super::compose::{SHOWN_TO_ALL, Source, item};
use crate::plan::{Link, LinkKind, Place, Station};
use crate::units::Millimetres;
use crate::words::Id;

/// Places nearer to each other than this part of the site's extent share a point.
const SAME_SPOT: i64 = 30;

/// The sketch for a position; none where a place that matters has no coordinates, or all are at one spot.
pub(super) fn of(source: &Source<'_>) -> Option<Sketch> {
    let stations = stations(source);
    let links = links(source, &stations);
    let plan = source.plan;
    let mut ids: Vec<&str> = vec![&source.position.place, &source.position.approach];
    ids.extend(landings(source));
    ids.extend(stations.iter().map(|station| station.place.as_str()));
    ids.extend(
        links
            .iter()
            .flat_map(|link| [link.from.as_str(), link.to.as_str()]),
    );
    let mut places: Vec<(&Place, [i64; 2])> = Vec::new();
    for id in ids {
        let place = plan.place(id)?;
        let [east, north] = place.at?;
        if !places.iter().any(|(known, _)| known.id == place.id) {
            places.push((place, [east.0, north.0]));
        }
    }
    let extent = |axis: usize| {
        let all = || places.iter().map(|(_, at)| at[axis]);
        all()
            .max()
            .unwrap_or(0)
            .saturating_sub(all().min().unwrap_or(0))
    };
    let near = extent(0).max(extent(1)) / SAME_SPOT;
    let mut spots: Vec<Spot> = Vec::new();
    let mut levels: Vec<f64> = Vec::new();
    let mut spot_of: Vec<(&str, usize)> = Vec::new();
    for (place, at) in &places {
        let (sign, label) = told(source, place, &stations);
        let apart = |spot: &Spot| {
            (0..2)
                .map(|i| spot.at_mm[i].saturating_sub(at[i]).saturating_abs())
                .max()
        };
        let index = match spots.iter().position(|spot| apart(spot) <= Some(near)) {
            Some(index) => {
                spots[index].sign = spots[index].sign.min(sign);
                // The upper level stands above the lower one.
                let above = level(&place.level) > levels[index];
                let at = if above { 0 } else { spots[index].label.len() };
                spots[index].label.splice(at..at, label);
                levels[index] = levels[index].max(level(&place.level));
                index
            }
            None => {
                spots.push(Spot {
                    at_mm: *at,
                    sign,
                    label,
                });
                levels.push(level(&place.level));
                spots.len() - 1
            }
        };
        spot_of.push((place.id.as_str(), index));
    }
    let spot = |id: &str| {
        spot_of
            .iter()
            .find(|(known, _)| *known == id)
            .map(|(_, index)| *index)
    };
    let mut ways: Vec<Way> = Vec::new();
    let mut inside: Vec<Vec<String>> = vec![Vec::new(); spots.len()];
    for link in links {
        let (Some(from), Some(to)) = (spot(&link.from), spot(&link.to)) else {
            continue;
        };
        let label =
            (link.rise.0 != 0 || link.kind != LinkKind::Walk).then(|| way_label(source, link));
        if from == to {
            inside[from].extend(label);
        } else {
            ways.push(Way {
                from,
                to,
                kind: link.kind,
                label,
            });
        }
    }
    for (spot, ways) in spots
        .iter_mut()
        .zip(&inside)
        .filter(|(_, ways)| !ways.is_empty())
    {
        spot.label.push(Run {
            strong: false,
            text: source.voice.list(ways),
        });
    }
    (spots.len() > 1).then(|| Sketch {
        about: source.voice.say(Id::CardSketchAbout, []),
        north: source.voice.say(Id::CardSketchNorth, []),
        spots,
        ways,
    })
}

/// The stations from which each kind of kit is fetched: the nearest to where it is used, each once.
fn stations<'p>(source: &Source<'p>) -> Vec<&'p Station> {
    let roles = source
        .position
        .methods
        .iter()
        .flat_map(|method| &method.roles);
    let asked =
        roles.filter_map(|role| role.kit.as_deref().map(|kind| (kind, role.place.as_str())));
    let for_all = SHOWN_TO_ALL.map(|kind| (kind, source.position.landing.as_str()));
    let mut all: Vec<&Station> = Vec::new();
    for (kind, place) in asked.chain(for_all) {
        if let Some((station, _)) = source.nearest(kind, place).first()
            && !all.iter().any(|it| it.id == station.id)
        {
            all.push(station);
        }
    }
    all
}

/// The landing places of the position and of its methods.
fn landings<'p>(source: &Source<'p>) -> Vec<&'p str> {
    let position = source.position;
    let methods = position
        .methods
        .iter()
        .filter_map(|method| method.landing.as_deref());
    std::iter::once(position.landing.as_str())
        .chain(methods)
        .collect()
}

/// The links of the ways that are gone: from the kit to the approach point, on to the position, down to the landing place.
fn links<'p>(source: &Source<'p>, stations: &[&Station]) -> Vec<&'p Link> {
    let position = source.position;
    let mut trips: Vec<(&str, &str)> = vec![(&position.approach, &position.place)];
    trips.extend(
        landings(source)
            .into_iter()
            .map(|landing| (position.place.as_str(), landing)),
    );
    for station in stations {
        // To where the casualty hangs or to where it is brought, whichever is nearer.
        let goals = [position.approach.as_str(), position.landing.as_str()];
        let nearer = goals.into_iter().min_by_key(|goal| {
            source
                .routes
                .between(&station.place, goal)
                .map_or(i64::MAX, |route| route.time.0)
        });
        trips.extend(nearer.map(|goal| (station.place.as_str(), goal)));
    }
    trips.push((&position.landing, &position.approach));
    let routes = trips
        .iter()
        .filter_map(|(from, to)| source.routes.between(from, to));
    let used: BTreeSet<String> = routes.flat_map(|route| route.links).collect();
    source
        .plan
        .links
        .iter()
        .filter(|link| used.contains(&link.id))
        .collect()
}

/// A level as a number; one that is a word counts as the ground.
fn level(text: &str) -> f64 {
    text.trim().parse().unwrap_or(0.0)
}

/// How a place is drawn and what is written beside it.
fn told(source: &Source<'_>, place: &Place, stations: &[&Station]) -> (Sign, Vec<Run>) {
    let (voice, position) = (source.voice, source.position);
    let mut signs = Vec::new();
    let mut label = Vec::new();
    if place.id == position.place {
        signs.push(Sign::Position);
        label.push(voice.strong(Id::CardSketchPosition, []));
    }
    if place.id == position.approach {
        signs.push(Sign::Approach);
        label.push(voice.strong(Id::CardSketchApproach, []));
    }
    if landings(source).contains(&place.id.as_str()) {
        signs.push(Sign::Landing);
        label.push(voice.strong(Id::CardSketchLanding, []));
    }
    for station in stations.iter().filter(|station| station.place == place.id) {
        signs.push(Sign::Station);
        label.push(voice.strong(Id::CardCapital, [&station.name]));
    }
    label.push(voice.plain(Id::CardPlace, [&place.name, &place.level]));
    (signs.into_iter().min().unwrap_or(Sign::Passing), label)
}

/// A kind of way, as spoken.
pub fn kind_of_way(kind: LinkKind) -> Id {
    match kind {
        LinkKind::Walk => Id::CardWayWalk,
        LinkKind::Stairs => Id::CardWayStairs,
        LinkKind::FixedLadder => Id::CardWayFixedLadder,
        LinkKind::ScaffoldStair => Id::CardWayScaffoldStair,
        LinkKind::Hoist => Id::CardWayHoist,
        LinkKind::Vehicle => Id::CardWayVehicle,
    }
}

fn way_label(source: &Source<'_>, link: &Link) -> String {
    let name = source.voice.say(kind_of_way(link.kind), []);
    match link.rise.0.saturating_abs() {
        0 => name,
        rise => source.voice.say(
            Id::CardSketchWay,
            [&name, &source.voice.metres(Millimetres(rise))],
        ),
    }
}

/// The ways in words, for a plan without coordinates: from each station to the approach point, and on to the position.
pub(super) fn ways_in_words(source: &Source<'_>, stations: &[&Station]) -> Vec<Line> {
    let (voice, position) = (source.voice, source.position);
    let mut trips: Vec<(String, &str, &str)> = Vec::new();
    for station in stations {
        trips.push((station.name.clone(), &station.place, &position.approach));
    }
    if position.approach != position.place {
        trips.push((
            source.place(&position.approach),
            &position.approach,
            &position.place,
        ));
    }
    let told = trips
        .into_iter()
        .filter(|(_, from, to)| from != to)
        .map(|(name, from, to)| {
            let way = match source.routes.between(from, to) {
                Some(route) => legs(source, from, &route.links),
                None => voice.say(Id::CardWayNone, []),
            };
            let start = voice.strong(Id::CardWayFrom, [&name, &source.place(to)]);
            item(
                Style::Step,
                Mark::Point,
                vec![start, voice.plain(Id::CardSentence, [&way])],
            )
        });
    told.collect()
}

fn legs(source: &Source<'_>, from: &str, links: &[String]) -> String {
    let voice = source.voice;
    let mut here = from;
    let mut legs = Vec::new();
    for id in links {
        let Some(link) = source.plan.links.iter().find(|link| link.id == *id) else {
            continue;
        };
        let forwards = link.from == here;
        here = if forwards { &link.to } else { &link.from };
        let name = voice.say(kind_of_way(link.kind), []);
        let length = voice.metres(link.length);
        let rise = if forwards {
            link.rise.0
        } else {
            link.rise.0.saturating_neg()
        };
        let high = voice.metres(Millimetres(rise.saturating_abs()));
        legs.push(match rise {
            0 => voice.say(Id::CardWayFlat, [&name, &length]),
            rise if rise == link.length.0 => voice.say(Id::CardWayHigh, [&name, &high]),
            rise if rise == -link.length.0 => voice.say(Id::CardWayDeep, [&name, &high]),
            rise if rise > 0 => voice.say(Id::CardWayUp, [&name, &length, &high]),
            _ => voice.say(Id::CardWayDown, [&name, &length, &high]),
        });
    }
    voice.list(&legs)
}
