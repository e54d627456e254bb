//! Finds the quickest way between two places of a plan, and how long it takes.
//!
//! A measured time goes before a computed one. Computed times come from published walking speeds where there are any; for
//! ladders, scaffold stairs, hoists and vehicles none was found, so those are assumptions and say so. Limits: what is
//! carried, crowds, weather and tiredness are not counted yet.

use std::collections::BTreeMap;

use petgraph::algo::{astar, dijkstra};
use petgraph::graph::{DiGraph, NodeIndex};

use crate::plan::{Link, LinkKind, Plan};
use crate::units::Millis;

/// How fast people get along a kind of way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    /// Millimetres a second, level or upwards.
    pub up_mm_s: i64,
    /// Millimetres a second, downwards.
    pub down_mm_s: i64,
    /// Before it moves, e.g. until the hoist has come.
    pub wait: Millis,
    /// Where these figures come from.
    pub source: &'static str,
}

const PUBLISHED: &str = "IMO MSC.1/Circ.1238, tables 1.1 and 1.3";
const ASSUMED: &str = "assumed, measure yours";

/// The pace on a kind of way that nobody has measured on the site.
pub fn pace(kind: LinkKind) -> Pace {
    let of = |up_mm_s, down_mm_s, wait_s, source| Pace {
        up_mm_s,
        down_mm_s,
        wait: Millis::from_seconds(wait_s),
        source,
    };
    match kind {
        LinkKind::Walk => of(1_200, 1_200, 0, PUBLISHED),
        LinkKind::Stairs => of(800, 1_000, 0, PUBLISHED),
        LinkKind::FixedLadder => of(200, 250, 0, ASSUMED),
        LinkKind::ScaffoldStair => of(500, 700, 0, ASSUMED),
        LinkKind::Hoist => of(500, 500, 30, ASSUMED),
        LinkKind::Vehicle => of(3_000, 3_000, 20, ASSUMED),
    }
}

/// How long a way takes, from its `from` end or towards it.
pub fn link_time(link: &Link, forwards: bool) -> Millis {
    if let Some(measured) = link.time {
        return measured.likely;
    }
    let pace = pace(link.kind);
    let rise = if forwards {
        link.rise.0
    } else {
        link.rise.0.saturating_neg()
    };
    let speed_mm_s = if rise < 0 {
        pace.down_mm_s
    } else {
        pace.up_mm_s
    };
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
            if let (Some(from), Some(to)) =
                (nodes.get(link.from.as_str()), nodes.get(link.to.as_str()))
            {
                graph.add_edge(*from, *to, (link_time(link, true).0, index));
                graph.add_edge(*to, *from, (link_time(link, false).0, index));
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
        let Some(start) = self.nodes.get(place) else {
            return BTreeMap::new();
        };
        let times = dijkstra(&self.graph, *start, None, |edge| edge.weight().0);
        times
            .into_iter()
            .map(|(node, time_ms)| (self.graph[node], Millis(time_ms)))
            .collect()
    }
}
