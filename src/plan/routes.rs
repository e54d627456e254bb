//! Finds the quickest way between two places of a plan, and how long it takes.
//!
//! A measured time goes before a computed one. Computed times come from the speeds in the plan's policy, whose defaults are
//! published walking speeds where there are any; for ladders, scaffold stairs, hoists and vehicles none was found, so those
//! are assumptions and say so. A closed way is no way. Limits: what is carried, crowds, weather and tiredness are not counted.

use std::collections::BTreeMap;

use petgraph::algo::{astar, dijkstra};
use petgraph::graph::{DiGraph, NodeIndex};

use super::model::{Link, LinkKind, Plan, Policy};
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

/// A way from one place to another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Route {
    /// How long it takes.
    pub time: Millis,
    /// Ids of the links along it, in order.
    pub links: Vec<String>,
}

/// All ways of a plan.
pub struct Routes<'p> {
    /// Nodes are places in the order of the plan; an edge has its milliseconds and the index of its link.
    graph: DiGraph<&'p str, (i64, usize)>,
    nodes: BTreeMap<&'p str, NodeIndex>,
    links: &'p [Link],
}

impl<'p> Routes<'p> {
    /// Lays out the ways of a plan.
    pub fn new(plan: &'p Plan) -> Routes<'p> {
        let mut graph = DiGraph::new();
        let nodes: BTreeMap<_, _> = plan
            .places
            .iter()
            .map(|place| (place.id.as_str(), graph.add_node(place.id.as_str())))
            .collect();
        for (index, link) in plan.links.iter().enumerate() {
            if link.closed.is_some() {
                continue;
            }
            if let (Some(from), Some(to)) =
                (nodes.get(link.from.as_str()), nodes.get(link.to.as_str()))
            {
                graph.add_edge(*from, *to, (link_time(link, &plan.policy, true).0, index));
                graph.add_edge(*to, *from, (link_time(link, &plan.policy, false).0, index));
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
        let (time_ms, nodes) = astar(
            &self.graph,
            start,
            |node| node == goal,
            |edge| edge.weight().0,
            |_| 0,
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
            time: Millis(time_ms),
            links: links.collect(),
        })
    }

    /// The times from one place to every place that a way leads to.
    pub fn times_from(&self, place: &str) -> BTreeMap<&'p str, Millis> {
        self.times_from_any(&[place])
    }

    /// The times to every place from the nearest of some.
    pub fn times_from_any(&self, places: &[&str]) -> BTreeMap<&'p str, Millis> {
        let starts: Vec<NodeIndex> = places
            .iter()
            .filter_map(|place| self.nodes.get(place).copied())
            .collect();
        let Some(first) = starts.first() else {
            return BTreeMap::new();
        };
        if let [start] = starts[..] {
            return self.times(&self.graph, start);
        }
        // One more node that is no time away from each of them makes one start of several.
        let mut graph = self.graph.clone();
        let start = graph.add_node(self.graph[*first]);
        for node in starts {
            graph.add_edge(start, node, (0, usize::MAX));
        }
        self.times(&graph, start)
    }

    fn times(
        &self,
        graph: &DiGraph<&'p str, (i64, usize)>,
        start: NodeIndex,
    ) -> BTreeMap<&'p str, Millis> {
        let times = dijkstra(graph, start, None, |edge| edge.weight().0);
        times
            .into_iter()
            .map(|(node, time_ms)| (graph[node], Millis(time_ms)))
            .collect()
    }
}
