//! Measures ways and staffing on a large invented site, beside NetworkX and SciPy doing the same in the same run.
//!
//! Whoever stands in front of the tablet waits for these answers while somebody hangs: all stations to all positions may
//! take 20 ms, and who goes 50 ms, whatever the site. The other side reports its own time without its start and without
//! reading the problem. Ours finds more than the assignment that SciPy is asked for: the earliest latest, then the least
//! sum, then the names. Limits: the sites are random, so a real one can be harder; then the answer says that it is not
//! proved.

use divan::{AllocProfiler, Bencher, black_box};
use groundward::plan::{Plan, Routes, read};
use groundward::readiness::{Choice, Problem, STEPS_MAX, solve};
use groundward::units::Millis;
use serde_json::json;
use std::time::Instant;

#[path = "../tests/support/oracle.rs"]
mod oracle;
#[path = "../tests/readiness/sites.rs"]
mod sites;

#[global_allocator]
static ALLOCATOR: AllocProfiler = AllocProfiler::system();

/// Each side this often; the median counts.
const TURNS: usize = 15;
const PLACES: usize = 1_000;
const LINKS: usize = 3_000;
const STATIONS: usize = 12;
const POSITIONS: usize = 200;
/// All stations to all positions take at most this.
const WAYS_LIMIT_MS: f64 = 20.0;
const TABLES: usize = 200;
const CASES: usize = 1_000;
/// Who goes takes at most this.
const CREW_LIMIT_MS: f64 = 50.0;
/// So many of the cases are proved at least.
const PROVED_MIN: usize = CASES * 99 / 100;

fn main() {
    divan::main();
    println!();
    compare_ways();
    compare_assignments();
    staff_all();
}

/// A number below another (splitmix64).
fn chance(seed: u64) -> impl FnMut(usize) -> usize {
    let mut state = seed;
    move |end| {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((mixed ^ (mixed >> 31)) % end as u64).expect("it is below a usize")
    }
}

/// A site of a thousand places: a way to each from one before it, and the rest between any two.
fn large_site() -> Plan {
    let mut below = chance(5);
    let mut text = "format = 1\n[site]\nname = \"Invented\"\nrevision = \"1\"\nemergency_number = \"112\"\nmeeting_point = \"gate\"\n".to_owned();
    for place in 0..PLACES {
        text += &format!("[place.p{place}]\nname = \"place {place}\"\nlevel = \"0\"\n");
    }
    for link in 0..LINKS {
        let to = if link + 1 < PLACES {
            link + 1
        } else {
            1 + below(PLACES - 1)
        };
        let from = below(to);
        let (length, rise) = (1 + below(60), below(9));
        text += &format!(
            "[link.l{link}]\nfrom = \"p{from}\"\nto = \"p{to}\"\nkind = \"stairs\"\nlength = \"{length} m\"\nrise = \"{rise} m\"\n"
        );
    }
    let reading = read("invented.toml", text.as_bytes());
    reading
        .plan
        .unwrap_or_else(|| panic!("{:#?}", reading.findings))
}

fn names(count: usize, step: usize) -> Vec<String> {
    (0..count).map(|it| format!("p{}", it * step)).collect()
}

/// Stations to positions, from the ways laid out to the last time read.
fn all_times(plan: &Plan, stations: &[&str], positions: &[&str]) -> i64 {
    let table = Routes::new(plan).table(stations);
    let pairs = stations
        .iter()
        .flat_map(|from| positions.iter().map(move |to| (from, to)));
    let times = pairs.map(|(from, to)| table.likely(from, to).map_or(0, |time| time.0));
    times.sum()
}

const NETWORKX: &str = r#"
import json, sys, time
import networkx
asked = json.load(sys.stdin)
times = []
for turn in range(asked["turns"]):
    begun = time.perf_counter()
    graph = networkx.DiGraph()
    for start, end, cost in asked["edges"]:
        if not graph.has_edge(start, end) or graph[start][end]["weight"] > cost:
            graph.add_edge(start, end, weight=cost)
    total = 0
    for start in asked["stations"]:
        lengths = networkx.single_source_dijkstra_path_length(graph, start)
        total += sum(lengths.get(end, 0) for end in asked["positions"])
    times.append(time.perf_counter() - begun)
times.sort()
print(json.dumps({"total": total, "ms": times[len(times) // 2] * 1000}))
"#;

fn compare_ways() {
    let plan = large_site();
    let (stations, positions) = (names(STATIONS, 83), names(POSITIONS, 5));
    let stations: Vec<&str> = stations.iter().map(String::as_str).collect();
    let positions: Vec<&str> = positions.iter().map(String::as_str).collect();
    let edges = plan.links.iter().flat_map(|link| {
        let time = |forwards| groundward::plan::link_time(link, &plan.policy, forwards).0;
        [
            json!([link.from, link.to, time(true)]),
            json!([link.to, link.from, time(false)]),
        ]
    });
    let edges: Vec<_> = edges.collect();
    let asked =
        json!({"turns": TURNS, "edges": edges, "stations": stations, "positions": positions});
    let theirs = oracle::ask(NETWORKX, &asked);
    let total = all_times(&plan, &stations, &positions);
    assert_eq!(
        theirs["total"].as_i64(),
        Some(total),
        "both find the same times"
    );
    let ours_ms = median_ms(|| {
        black_box(all_times(black_box(&plan), &stations, &positions));
    });
    report(
        &format!("{STATIONS} stations to {POSITIONS} positions, {PLACES} places, {LINKS} links"),
        ours_ms,
        "NetworkX",
        theirs["ms"].as_f64(),
        WAYS_LIMIT_MS,
    );
}

const SCIPY: &str = r#"
import json, sys, time
import numpy
from scipy.optimize import linear_sum_assignment
asked = json.load(sys.stdin)
tables = [numpy.array(rows, dtype=float) for rows in asked["tables"]]

def least_sum(table):
    linear_sum_assignment(table)

def latest_then_sum(table):
    latest = numpy.unique(table)
    low, high = 0, len(latest) - 1
    while low < high:
        middle = (low + high) // 2
        late = (table > latest[middle]).astype(float)
        rows, columns = linear_sum_assignment(late)
        if late[rows, columns].sum() == 0:
            high = middle
        else:
            low = middle + 1
    linear_sum_assignment(numpy.where(table <= latest[low], table, 1e9))

def median_ms(work):
    times = []
    for turn in range(asked["turns"]):
        begun = time.perf_counter()
        for table in tables:
            work(table)
        times.append(time.perf_counter() - begun)
    times.sort()
    return times[len(times) // 2] * 1000

print(json.dumps({"sum": median_ms(least_sum), "both": median_ms(latest_then_sum)}))
"#;

/// Twelve roles that any of sixty people can hold.
fn tables() -> Vec<Vec<Vec<i64>>> {
    let mut below = chance(7);
    let mut row = || {
        (0..60)
            .map(|_| i64::try_from(below(600_000)).expect("it is small"))
            .collect()
    };
    (0..TABLES)
        .map(|_| (0..12).map(|_| row()).collect())
        .collect()
}

fn problem(rows: &[Vec<i64>]) -> Problem {
    let choice = |(person, time): (usize, &i64)| Choice {
        person,
        stock: None,
        time: Millis(*time),
    };
    let role = |row: &Vec<i64>| row.iter().enumerate().map(choice).collect();
    Problem {
        roles: rows.iter().map(role).collect(),
        ..Problem::default()
    }
}

fn compare_assignments() {
    let tables = tables();
    let theirs = oracle::ask(SCIPY, &json!({"turns": TURNS, "tables": tables}));
    let problems: Vec<Problem> = tables.iter().map(|rows| problem(rows)).collect();
    let ours_ms = median_ms(|| {
        for problem in &problems {
            black_box(solve(black_box(problem)));
        }
    });
    let what = format!("{TABLES} assignments of 12 roles to 60 people");
    let limit_ms = CREW_LIMIT_MS * TABLES as f64;
    for (other, key) in [
        ("SciPy, least sum alone", "sum"),
        ("SciPy, latest by halving, then sum", "both"),
    ] {
        report(&what, ours_ms, other, theirs[key].as_f64(), limit_ms);
    }
}

fn cases() -> Vec<Problem> {
    let mut below = chance(11);
    (0..CASES)
        .map(|_| sites::Site::large(&mut below).problem(&mut below))
        .collect()
}

/// The cases one by one, because the slowest counts.
fn staff_all() {
    let (mut times_ms, mut proved, mut unfilled) = (Vec::new(), 0, 0);
    for problem in cases() {
        let begun = Instant::now();
        let crew = black_box(solve(black_box(&problem)));
        times_ms.push(begun.elapsed().as_secs_f64() * 1e3);
        proved += usize::from(crew.proved);
        unfilled += usize::from(crew.chosen.contains(&None));
    }
    times_ms.sort_by(f64::total_cmp);
    let at = |share: usize| times_ms[(CASES - 1) * share / 100];
    println!(
        "{CASES} crews of 12 roles, 60 people, 12 stations with 0 to 2 of a kind: median {:.2} ms, 99 % {:.2} ms, slowest {:.2} ms; at most {CREW_LIMIT_MS} ms: {}",
        at(50),
        at(99),
        at(100),
        holds(at(100) <= CREW_LIMIT_MS)
    );
    println!(
        "proved within {STEPS_MAX} steps: {proved} of {CASES}, {unfilled} of them with a role that nobody or nothing is left for; at least {PROVED_MIN}: {}",
        holds(proved >= PROVED_MIN)
    );
}

fn median_ms(work: impl Fn()) -> f64 {
    let mut times_ms: Vec<f64> = (0..TURNS)
        .map(|_| {
            let begun = Instant::now();
            work();
            begun.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    times_ms.sort_by(f64::total_cmp);
    times_ms[TURNS / 2]
}

fn report(what: &str, ours_ms: f64, other: &str, theirs_ms: Option<f64>, limit_ms: f64) {
    let theirs_ms = theirs_ms.expect("the other side says how long it took");
    println!(
        "{what}: {ours_ms:.2} ms, {other} {theirs_ms:.2} ms, ratio {:.2}; at most {limit_ms} ms: {}",
        ours_ms / theirs_ms,
        holds(ours_ms <= limit_ms)
    );
}

fn holds(it: bool) -> &'static str {
    if it { "holds" } else { "DOES NOT HOLD" }
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn ways_from_all_stations(bencher: Bencher) {
    let plan = large_site();
    let stations = names(STATIONS, 83);
    let stations: Vec<&str> = stations.iter().map(String::as_str).collect();
    bencher.bench(|| black_box(Routes::new(&plan).table(&stations)));
}

#[divan::bench(sample_count = 10, sample_size = 10)]
fn one_assignment_of_12_to_60(bencher: Bencher) {
    let problem = problem(&tables()[0]);
    bencher.bench(|| black_box(solve(&problem)));
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn a_hundred_crews_with_kit(bencher: Bencher) {
    let cases = cases();
    bencher.bench(|| {
        cases
            .iter()
            .take(100)
            .for_each(|it| drop(black_box(solve(it))))
    });
}
