//! Finds the quickest way between two places of a plan, and how long it takes.
//!
//! A measured time goes before a computed one. Computed times come from the speeds in the plan's policy, whose defaults are
//! published walking speeds where there are any; for ladders, scaffold stairs, hoists and vehicles none was found, so those
//! are assumptions and say so. How much longer a slow person takes is published; that a fast one is as much quicker is a
//! judgement. A closed way is no way, and one too narrow for a litter is none for a litter. Limits: crowds, weather,
//! tiredness and the weight of what is carried are not counted.

use std::collections::BTreeMap;
use std::ops::Add;

use petgraph::algo::{astar, dijkstra};
use petgraph::graph::{DiGraph, NodeIndex};

use super::model::{Link, LinkKind, Plan, Policy, ThreePoint};
use crate::units::{Millis, Speed};

/// How fast people get along a kind of way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    /// Level or upwards.
    pub up: Speed,
    /// Downwards.
    pub down: Speed,
    /// Before it moves, e.g. until the hoist has come.
    pub wait: Millis,
}

/// The pace on a kind of way that nobody has measured on the site.
pub fn pace(kind: LinkKind, policy: &Policy) -> Pace {
    let of = |up, down, wait| Pace { up, down, wait };
    match kind {
        LinkKind::Walk => of(policy.walk_speed, policy.walk_speed, Millis::ZERO),
        LinkKind::Stairs => of(
            policy.stairs_up_speed,
            policy.stairs_down_speed,
            Millis::ZERO,
        ),
        LinkKind::FixedLadder => of(
            policy.ladder_up_speed,
            policy.ladder_down_speed,
            Millis::ZERO,
        ),
        LinkKind::ScaffoldStair => of(
            policy.scaffold_up_speed,
            policy.scaffold_down_speed,
            Millis::ZERO,
        ),
        LinkKind::Hoist => of(policy.hoist_speed, policy.hoist_speed, policy.hoist_wait),
        LinkKind::Vehicle => of(
            policy.vehicle_speed,
            policy.vehicle_speed,
            policy.vehicle_wait,
        ),
    }
}

/// How long a way takes, from its `from` end or towards it.
pub fn link_time(link: &Link, policy: &Policy, forwards: bool) -> Millis {
    if let Some(measured) = link.time {
        return measured.likely;
    }
    let pace = pace(link.kind, policy);
    let rise = if forwards {
        link.rise.0
    } else {
        link.rise.0.saturating_neg()
    };
    // A plan that says nobody moves gets a millimetre a second, which no way survives.
    let speed_mm_s = if rise < 0 { pace.down } else { pace.up }.0.max(1);
    let length_mm = link.length.0.max(rise.saturating_abs());
    let moving_ms = length_mm
        .saturating_mul(1_000)
        .saturating_add(speed_mm_s - 1)
        / speed_mm_s;
    pace.wait.saturating_add(Millis(moving_ms))
}

/// How long a way takes, from its `from` end or towards it: in haste, likely, and on a bad day.
///
/// A measured time is taken as it is. A computed one is the likely time; the long one is that of somebody who walks at
/// the published slow speed, and the short one is as much shorter than likely in proportion, which is a judgement.
pub fn link_times(link: &Link, policy: &Policy, forwards: bool) -> ThreePoint {
    if let Some(measured) = link.time {
        return measured;
    }
    let likely = link_time(link, policy, forwards);
    let slow_mm_s = i128::from(policy.slow_walk_speed.0.max(1));
    // Where a plan calls a speed slow that is not, nothing is known about the spread, so there is none.
    let usual_mm_s = i128::from(policy.walk_speed.0).max(slow_mm_s);
    let likely_ms = i128::from(likely.0);
    let whole = |ms: i128| Millis(i64::try_from(ms).unwrap_or(i64::MAX));
    ThreePoint {
        short: whole(likely_ms * slow_mm_s / usual_mm_s),
        likely,
        long: whole((likely_ms * usual_mm_s + slow_mm_s - 1) / slow_mm_s),
    }
}

/// A way from one place to another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Route {
    /// How long it takes, likely.
    pub time: Millis,
    /// How long it takes in haste, likely, and on a bad day: the sums along it.
    pub times: ThreePoint,
    /// Ids of the links along it, in order.
    pub links: Vec<String>,
}

/// What ways are compared by: the likely time, then the long one, then the short one, so that which of two equally quick
/// ways is taken never depends on the order in which they are looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Cost {
    likely: Millis,
    long: Millis,
    short: Millis,
}

impl Add for Cost {
    type Output = Cost;

    fn add(self, other: Cost) -> Cost {
        Cost {
            likely: self.likely.saturating_add(other.likely),
            long: self.long.saturating_add(other.long),
            short: self.short.saturating_add(other.short),
        }
    }
}

impl From<ThreePoint> for Cost {
    fn from(times: ThreePoint) -> Cost {
        Cost {
            likely: times.likely,
            long: times.long,
            short: times.short,
        }
    }
}

impl From<Cost> for ThreePoint {
    fn from(cost: Cost) -> ThreePoint {
        ThreePoint {
            short: cost.short,
            likely: cost.likely,
            long: cost.long,
        }
    }
}

/// Nodes are places in the order of the plan; an edge has its times and the index of its link.
type Graph<'p> = DiGraph<&'p str, (Cost, usize)>;

/// All ways of a plan.
pub struct Routes<'p> {
    graph: Graph<'p>,
    nodes: BTreeMap<&'p str, NodeIndex>,
    links: &'p [Link],
}

impl<'p> Routes<'p> {
    /// Lays out the ways of a plan.
    pub fn new(plan: &'p Plan) -> Routes<'p> {
        Routes::along(plan, |_| true)
    }

    /// Lays out the ways that a litter passes.
    pub fn for_litter(plan: &'p Plan) -> Routes<'p> {
        Routes::along(plan, |link| !link.no_litter)
    }

    fn along(plan: &'p Plan, passes: impl Fn(&Link) -> bool) -> Routes<'p> {
        let mut graph = DiGraph::with_capacity(plan.places.len(), 2 * plan.links.len());
        let nodes: BTreeMap<_, _> = plan
            .places
            .iter()
            .map(|place| (place.id.as_str(), graph.add_node(place.id.as_str())))
            .collect();
        for (index, link) in plan.links.iter().enumerate() {
            if link.closed.is_some() || !passes(link) {
                continue;
            }
            if let (Some(from), Some(to)) =
                (nodes.get(link.from.as_str()), nodes.get(link.to.as_str()))
            {
                let times = |forwards| link_times(link, &plan.policy, forwards).into();
                graph.add_edge(*from, *to, (times(true), index));
                graph.add_edge(*to, *from, (times(false), index));
            }
        }
        Routes {
            graph,
            nodes,
            links: &plan.links,
        }
    }

    /// The quickest way, when there is one.
    pub fn between(&self, from: &str, to: &str) -> Option<Route> {
        let (start, goal) = (*self.nodes.get(from)?, *self.nodes.get(to)?);
        // With nothing known about the distance left, A* is Dijkstra's method that also keeps the path.
        let (cost, nodes) = astar(
            &self.graph,
            start,
            |node| node == goal,
            |edge| edge.weight().0,
            |_| Cost::default(),
        )?;
        let links = nodes.windows(2).filter_map(|pair| {
            let quickest = self
                .graph
                .edges_connecting(pair[0], pair[1])
                .map(|edge| *edge.weight())
                .min()?;
            Some(self.links[quickest.1].id.clone())
        });
        Some(Route {
            time: cost.likely,
            times: cost.into(),
            links: links.collect(),
        })
    }

    /// The likely times from one place to every place that a way leads to.
    pub fn times_from(&self, place: &str) -> BTreeMap<&'p str, Millis> {
        self.times_from_any(&[place])
    }

    /// The likely times to every place from the nearest of some.
    pub fn times_from_any(&self, places: &[&str]) -> BTreeMap<&'p str, Millis> {
        let starts: Vec<NodeIndex> = places
            .iter()
            .filter_map(|place| self.nodes.get(place).copied())
            .collect();
        let Some(first) = starts.first() else {
            return BTreeMap::new();
        };
        if let [start] = starts[..] {
            return times(&self.graph, start);
        }
        // One more node that is no time away from each of them makes one start of several.
        let mut graph = self.graph.clone();
        let start = graph.add_node(self.graph[*first]);
        for node in starts {
            graph.add_edge(start, node, (Cost::default(), usize::MAX));
        }
        times(&graph, start)
    }

    /// The times from each of some places to all places, for asking often; a start that is no place is left out.
    pub fn table(&self, starts: &[&str]) -> Ways<'p> {
        let rows = starts
            .iter()
            .filter_map(|place| self.nodes.get_key_value::<str>(place));
        // A map in between, so that a start that is named twice is searched from once.
        let rows: BTreeMap<&'p str, NodeIndex> = rows.map(|(id, node)| (*id, *node)).collect();
        let mut times = vec![None; rows.len() * self.graph.node_count()];
        for (row, start) in times
            .chunks_mut(self.graph.node_count().max(1))
            .zip(rows.values())
        {
            for (node, cost) in dijkstra(&self.graph, *start, None, |edge| edge.weight().0) {
                row[node.index()] = Some(ThreePoint::from(cost));
            }
        }
        Ways {
            starts: rows.into_keys().collect(),
            places: self
                .nodes
                .iter()
                .map(|(id, node)| (*id, node.index()))
                .collect(),
            times,
        }
    }
}

fn times<'p>(graph: &Graph<'p>, start: NodeIndex) -> BTreeMap<&'p str, Millis> {
    let times = dijkstra(graph, start, None, |edge| edge.weight().0);
    times
        .into_iter()
        .map(|(node, cost)| (graph[node], cost.likely))
        .collect()
}

/// The times from some places to all places of a plan.
#[derive(Clone, Debug)]
pub struct Ways<'p> {
    /// Sorted, a row of times each.
    starts: Vec<&'p str>,
    /// Sorted by id, each with its column.
    places: Vec<(&'p str, usize)>,
    times: Vec<Option<ThreePoint>>,
}

impl Ways<'_> {
    /// How long the quickest way takes; none where no way leads, or where `from` is none of the starts.
    pub fn time(&self, from: &str, to: &str) -> Option<ThreePoint> {
        let row = self.starts.binary_search(&from).ok()?;
        let place = self.places.binary_search_by_key(&to, |(id, _)| id).ok()?;
        self.times[row * self.places.len() + self.places[place].1]
    }

    /// How long the quickest way likely takes.
    pub fn likely(&self, from: &str, to: &str) -> Option<Millis> {
        Some(self.time(from, to)?.likely)
    }
}
