//! Tries ways and their times against published figures, a textbook and NetworkX.
//!
//! Figures have their source beside them. Random plans come from a seed, so that a failing run can be repeated.

use std::collections::BTreeMap;

use groundward::plan::{Plan, Routes, link_time, link_times, reference, schema};
use groundward::units::Millis;
use serde_json::{Value, json};

use super::{SITE, fit};
use crate::support::{Chance, oracle};

/// A plan of places and ways alone: from, to, and the lines that say how.
fn ways(links: &[(&str, &str, &str)]) -> Plan {
    let mut text = SITE.to_owned();
    let mut places: Vec<&str> = links
        .iter()
        .flat_map(|(from, to, _)| [*from, *to])
        .collect();
    places.sort_unstable();
    places.dedup();
    for place in places {
        text += &format!("[place.{place}]\nname = \"place {place}\"\nlevel = \"0\"\n");
    }
    for (number, (from, to, how)) in links.iter().enumerate() {
        text += &format!("[link.l{number}]\nfrom = \"{from}\"\nto = \"{to}\"\n{how}\n");
    }
    fit(&text)
}

fn route(plan: &Plan, from: &str, to: &str) -> Option<(i64, String)> {
    let route = Routes::new(plan).between(from, to)?;
    Some((route.time.0, route.links.join(" ")))
}

#[test]
fn walking_speeds_are_the_published_ones() {
    // T1: IMO MSC.1/Circ.1238, tables 1.1 and 1.3: level 1.2, stairs down 1.0, stairs up 0.8 m/s, so 60 m take
    // 50.0, 60.0 and 75.0 s.
    let plan = ways(&[
        ("a", "b", "kind = \"walk\"\nlength = \"60 m\""),
        (
            "b",
            "c",
            "kind = \"stairs\"\nlength = \"60 m\"\nrise = \"30 m\"",
        ),
        (
            "d",
            "c",
            "kind = \"stairs\"\nlength = \"60 m\"\nrise = \"-30 m\"",
        ),
    ]);
    let times = |index: usize| {
        [true, false].map(|forwards| link_time(&plan.links[index], &plan.policy, forwards).0)
    };
    assert_eq!(times(0), [50_000, 50_000]);
    assert_eq!(times(1), [75_000, 60_000]);
    assert_eq!(times(2), [60_000, 75_000]);
    assert_eq!(
        route(&plan, "a", "d"),
        Some((50_000 + 75_000 + 75_000, "l0 l1 l2".to_owned()))
    );
    assert_eq!(
        route(&plan, "d", "a"),
        Some((60_000 + 60_000 + 50_000, "l2 l1 l0".to_owned()))
    );
}

#[test]
fn paces_without_a_published_figure_say_so() {
    let about = |key: &str| {
        let schema = schema();
        let about = &schema["$defs"]["Policy"]["properties"][key]["description"];
        about
            .as_str()
            .expect("every setting says what it is")
            .to_owned()
    };
    for key in [
        "ladder_up_speed",
        "scaffold_down_speed",
        "hoist_speed",
        "vehicle_wait",
    ] {
        assert!(about(key).ends_with("Assumed, measure yours."), "{key}");
    }
    assert!(about("walk_speed").contains("IMO") && about("stairs_up_speed").contains("IMO"));
    assert!(reference().contains("IMO MSC.1/Circ.1238, tables 1.1 and 1.3."));
}

#[test]
fn a_plan_may_set_its_own_speeds_and_close_a_way() {
    let slow = ways(&[(
        "a",
        "b",
        "kind = \"walk\"\nlength = \"60 m\"\n[policy]\nwalk_speed = \"0.92 m/s\"",
    )]);
    // T2: TCRP-NCHRP 2005, 0.92 m/s: 60 m take 65.2 s.
    assert_eq!(link_time(&slow.links[0], &slow.policy, true).0, 65_218);
    let shut = ways(&[(
        "a",
        "b",
        "kind = \"walk\"\nlength = \"60 m\"\nclosed = \"flooded\"",
    )]);
    assert_eq!(route(&shut, "a", "b"), None);
}

#[test]
fn a_measured_time_goes_before_a_computed_one() {
    let measured = "kind = \"walk\"\nlength = \"60 m\"\ntime = [\"10 s\", \"20 s\", \"90 s\"]";
    let plan = ways(&[
        ("a", "b", measured),
        ("a", "b", "kind = \"walk\"\nlength = \"30 m\""),
    ]);
    assert_eq!(route(&plan, "a", "b"), Some((20_000, "l0".to_owned())));
}

#[test]
fn the_shortest_path_is_the_textbook_one() {
    // P2: edges 1-2:7 1-3:9 1-6:14 2-3:10 2-4:15 3-4:11 3-6:2 4-5:6 5-6:9; from 1 to 5 it is 20 by 1-3-6-5.
    let edges = [
        ("1", "2", 7),
        ("1", "3", 9),
        ("1", "6", 14),
        ("2", "3", 10),
        ("2", "4", 15),
        ("3", "4", 11),
        ("3", "6", 2),
        ("4", "5", 6),
        ("5", "6", 9),
    ];
    let how = edges.map(|(_, _, cost)| {
        format!(
            "kind = \"walk\"\nlength = \"1 m\"\ntime = [\"{cost} s\", \"{cost} s\", \"{cost} s\"]"
        )
    });
    let links: Vec<_> = edges
        .iter()
        .zip(&how)
        .map(|((from, to, _), how)| (*from, *to, how.as_str()))
        .collect();
    let plan = ways(&links);
    assert_eq!(
        route(&plan, "1", "5"),
        Some((20_000, "l1 l6 l8".to_owned()))
    );
    assert_eq!(
        Routes::new(&plan)
            .times_from("1")
            .into_iter()
            .map(|(to, time)| (to, time.0 / 1_000))
            .collect::<Vec<_>>(),
        [
            ("1", 0),
            ("2", 7),
            ("3", 9),
            ("4", 20),
            ("5", 20),
            ("6", 11)
        ]
    );
}

#[test]
fn where_no_way_leads_there_is_none() {
    let plan = ways(&[
        ("a", "b", "kind = \"walk\"\nlength = \"1 m\""),
        ("c", "d", "kind = \"walk\"\nlength = \"1 m\""),
    ]);
    assert_eq!(route(&plan, "a", "c"), None);
    assert_eq!(route(&plan, "a", "nowhere"), None);
    assert_eq!(route(&plan, "a", "a"), Some((0, String::new())));
}

#[test]
fn a_slow_person_takes_longer_as_published_and_a_measured_time_stays_as_it_is() {
    let plan = ways(&[
        ("a", "b", "kind = \"walk\"\nlength = \"60 m\""),
        (
            "b",
            "c",
            "kind = \"hoist\"\nlength = \"6 m\"\nrise = \"6 m\"\ntime = [\"10 s\", \"20 s\", \"90 s\"]",
        ),
    ]);
    let times = |index: usize| {
        let times = link_times(&plan.links[index], &plan.policy, true);
        [times.short.0, times.likely.0, times.long.0]
    };
    // T1 and T2: 60 m at 1.2 m/s take 50.0 s, and at 0.92 m/s (TCRP-NCHRP 2005) 65.2 s. The short time is judgement: as much
    // shorter in proportion, 50 s x 0.92 / 1.2.
    assert_eq!(times(0), [38_333, 50_000, 65_218]);
    assert_eq!(times(1), [10_000, 20_000, 90_000]);
    let route = Routes::new(&plan).between("a", "c").expect("a way leads");
    assert_eq!(
        [
            route.times.short.0,
            route.times.likely.0,
            route.times.long.0
        ],
        [48_333, 70_000, 155_218]
    );
    assert_eq!(route.time, route.times.likely);
}

#[test]
fn a_slow_speed_above_the_usual_one_gives_no_spread() {
    let plan = ways(&[(
        "a",
        "b",
        "kind = \"walk\"\nlength = \"60 m\"\n[policy]\nwalk_speed = \"0.5 m/s\"",
    )]);
    let times = link_times(&plan.links[0], &plan.policy, true);
    assert_eq!([times.short.0, times.likely.0, times.long.0], [120_000; 3]);
}

#[test]
fn a_litter_goes_round_what_is_too_narrow_for_it() {
    let plan = ways(&[
        (
            "a",
            "b",
            "kind = \"walk\"\nlength = \"12 m\"\nno_litter = true",
        ),
        ("a", "c", "kind = \"walk\"\nlength = \"12 m\""),
        ("c", "b", "kind = \"walk\"\nlength = \"12 m\""),
    ]);
    assert_eq!(route(&plan, "a", "b"), Some((10_000, "l0".to_owned())));
    let carried = Routes::for_litter(&plan).between("a", "b");
    let carried = carried.expect("a way leads round");
    assert_eq!(
        (carried.time, carried.links.join(" ")),
        (Millis(20_000), "l1 l2".to_owned())
    );
}

#[test]
fn a_table_names_each_start_once_and_knows_nothing_of_others() {
    let plan = ways(&[
        ("a", "b", "kind = \"walk\"\nlength = \"12 m\""),
        ("c", "d", "kind = \"walk\"\nlength = \"12 m\""),
    ]);
    let table = Routes::new(&plan).table(&["a", "nowhere", "a", "d"]);
    assert_eq!(table.likely("a", "b"), Some(Millis(10_000)));
    assert_eq!(table.likely("a", "a"), Some(Millis::ZERO));
    assert_eq!(table.likely("d", "c"), Some(Millis(10_000)));
    for (from, to) in [("a", "c"), ("b", "a"), ("nowhere", "a"), ("a", "nowhere")] {
        assert_eq!(table.time(from, to), None, "{from} {to}");
    }
}

const INSTANCES: u64 = 500;

/// A plan of random ways with every kind of link: measured, closed, falling, narrow, several between the same places.
fn random_ways(chance: &mut Chance) -> Plan {
    let places = 3 + chance.below(14);
    let mut links: Vec<(String, String, String)> = Vec::new();
    // Every place is at the end of some link, because the plan is made from the links.
    for from in 0..places {
        for _ in 0..1 + chance.below(2) {
            let to = (from + 1 + chance.below(places - 1)) % places;
            let kinds = [
                "walk",
                "stairs",
                "fixed-ladder",
                "scaffold-stair",
                "hoist",
                "vehicle",
            ];
            let kind = kinds[usize::try_from(chance.below(6)).expect("it is small")];
            let length = 1 + chance.below(80);
            let rise = i64::try_from(chance.below(41)).expect("it is small") - 20;
            let mut how =
                format!("kind = \"{kind}\"\nlength = \"{length} m\"\nrise = \"{rise} m\"");
            if chance.one_in(4) {
                let likely = chance.below(90);
                let (short, long) = (likely / 2, likely + chance.below(60));
                how += &format!("\ntime = [\"{short} s\", \"{likely} s\", \"{long} s\"]");
            }
            if chance.one_in(6) {
                how += "\nclosed = \"wet paint\"";
            }
            if chance.one_in(6) {
                how += "\nno_litter = true";
            }
            links.push((format!("p{from}"), format!("p{to}"), how));
        }
    }
    let links: Vec<_> = links
        .iter()
        .map(|(from, to, how)| (from.as_str(), to.as_str(), how.as_str()))
        .collect();
    ways(&links)
}

/// The edges as anybody could work them out from the plan: from, to, milliseconds.
fn edges(plan: &Plan, litter: bool) -> Vec<(String, String, i64)> {
    let open = |it: &&groundward::plan::Link| it.closed.is_none() && !(litter && it.no_litter);
    let both = plan.links.iter().filter(open).flat_map(|link| {
        [(&link.from, &link.to, true), (&link.to, &link.from, false)].map(|(from, to, forwards)| {
            let time = link_time(link, &plan.policy, forwards);
            (from.clone(), to.clone(), time.0)
        })
    });
    both.collect()
}

const NETWORKX: &str = r#"
import json, sys
import networkx
answers = []
for instance in json.load(sys.stdin):
    graph = networkx.MultiDiGraph()
    graph.add_nodes_from(instance["places"])
    graph.add_weighted_edges_from(instance["edges"])
    answers.append({start: networkx.single_source_dijkstra_path_length(graph, start) for start in instance["starts"]})
print(json.dumps(answers))
"#;

#[test]
fn times_are_those_of_networkx() {
    let mut chance = Chance(51);
    let plans: Vec<Plan> = (0..INSTANCES).map(|_| random_ways(&mut chance)).collect();
    let places =
        |plan: &Plan| -> Vec<String> { plan.places.iter().map(|it| it.id.clone()).collect() };
    let starts = |plan: &Plan| -> Vec<String> { places(plan).into_iter().step_by(3).collect() };
    let asked: Vec<Value> = plans
        .iter()
        .flat_map(|plan| [false, true].map(|litter| (plan, litter)))
        .map(|(plan, litter)| {
            json!({"places": places(plan), "starts": starts(plan), "edges": edges(plan, litter)})
        })
        .collect();
    let answers = oracle::ask(NETWORKX, &json!(asked));
    let answers = answers.as_array().expect("an answer for every plan");
    let (mut reached, mut cut_off) = (0, 0);
    for (number, answers) in answers.iter().enumerate() {
        let plan = &plans[number / 2];
        let routes = match number % 2 {
            0 => Routes::new(plan),
            _ => Routes::for_litter(plan),
        };
        let starts = starts(plan);
        let starts: Vec<&str> = starts.iter().map(String::as_str).collect();
        let table = routes.table(&starts);
        for start in starts {
            let all = routes.times_from(start);
            for to in places(plan) {
                let theirs = answers[start][&to].as_i64().map(Millis);
                let what = format!("plan {number}, {start} to {to}");
                assert_eq!(table.likely(start, &to), theirs, "{what}");
                assert_eq!(all.get(to.as_str()).copied(), theirs, "{what}");
                let route = routes.between(start, &to);
                assert_eq!(
                    route.as_ref().map(|it| it.times),
                    table.time(start, &to),
                    "{what}"
                );
                *if route.is_some() {
                    &mut reached
                } else {
                    &mut cut_off
                } += 1;
                if let Some(route) = route {
                    assert_eq!(
                        summed(plan, start, &to, &route.links),
                        Some(route.times),
                        "{what}"
                    );
                }
            }
        }
    }
    assert!(reached > 1_000 && cut_off > 100, "{reached} {cut_off}");
}

/// What a way takes by its links, where it leads from one place to the other.
fn summed(
    plan: &Plan,
    from: &str,
    to: &str,
    links: &[String],
) -> Option<groundward::plan::ThreePoint> {
    let by_id: BTreeMap<&str, _> = plan.links.iter().map(|it| (it.id.as_str(), it)).collect();
    let mut at = from;
    let mut sum = groundward::plan::ThreePoint::default();
    for id in links {
        let link = by_id[id.as_str()];
        let forwards = link.from == at;
        at = if forwards { &link.to } else { &link.from };
        let times = link_times(link, &plan.policy, forwards);
        sum.short.0 += times.short.0;
        sum.likely.0 += times.likely.0;
        sum.long.0 += times.long.0;
    }
    (at == to).then_some(sum)
}
