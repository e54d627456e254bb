//! Measures re-planning in the middle of a rescue on a large invented site, beside SciPy and NetworkX doing parts of it.
//!
//! 60 responders, 12 roles in the four methods of a position, 1,000 places, 3,000 ways: half of those who were ordered are
//! under way, one is lost, one kind of kit is missing at a station. Whoever stands in front of the tablet waits for this, so
//! it may take 100 ms in all, the ways included. The other side finds the ways from everybody to everywhere and staffs each
//! method by itself, without the start of Python and without any forecast, which is the largest part of ours. Limits: a made
//! site is more even than a real one.

use groundward::plan::{Plan, Routes, link_time, read};
use groundward::readiness::{Basis, Depth, Forecast, Ordered, Posting, outlook};
use groundward::units::Millis;
use serde_json::{Value, json};
use std::fmt::Write;
use std::hint::black_box;
use std::time::{Duration, Instant};

#[path = "../tests/support/oracle.rs"]
mod oracle;

const PLACES: usize = 1_000;
const LINKS: usize = 3_000;
const PEOPLE: usize = 60;
const STATIONS: usize = 12;
const POSITIONS: usize = 50;
const SKILLS: [&str; 4] = ["rope rescue", "height rescue", "boom lift", "first aid"];
const KINDS: [&str; 4] = ["rope set", "ladder", "boom lift", "litter"];
/// One re-plan takes at most this.
const LIMIT_MS: f64 = 100.0;

fn main() {
    // cargo asks every bench for its tests, and this one has none.
    if std::env::args().any(|it| it == "--test") {
        return;
    }
    let plan = plan();
    let mut chance = Chance(6);
    let mut firsts = Times::default();
    let mut again = Times::default();
    let mut blocked = Times::default();
    let (mut orders, mut changed) = (0, 0);
    let mut middles = Vec::new();
    for position in &plan.positions {
        let mut basis = Basis {
            position: position.id.clone(),
            present: plan.responders.iter().map(|it| it.id.clone()).collect(),
            excluded: position.workers.clone(),
            in_command: Some("r0".to_owned()),
            casualty: 1,
            since_fall: Millis(95_000),
            seed: 7,
            ..Basis::default()
        };
        let first = firsts.of(|| expect(&plan, &basis));
        middle(&mut chance, &mut basis, &first);
        let next = again.of(|| expect(&plan, &basis));
        let stands = |it: &&Ordered| {
            let methods = next.methods.iter().filter(|of| of.method == it.method);
            let mut same = methods.flat_map(|it| &it.crew);
            it.method.is_empty() || same.any(|now| now.same_order(&it.posting))
        };
        orders += basis.ordered.len();
        changed += basis.ordered.iter().filter(|it| !stands(it)).count();
        let ways = basis
            .ordered
            .iter()
            .flat_map(|it| it.posting.way.windows(2));
        let joins = |from: &str, to: &str| {
            let mut links = plan.links.iter();
            links.find(|it| (it.from == from && it.to == to) || (it.from == to && it.to == from))
        };
        let link = ways.filter_map(|it| joins(&it[0].0, &it[1].0)).next();
        basis.blocked.extend(link.map(|it| it.id.clone()));
        blocked.of(|| expect(&plan, &basis));
        middles.push(basis);
    }
    println!("{POSITIONS} positions, {PEOPLE} people, 12 roles, {PLACES} places, {LINKS} links");
    firsts.say("first planning");
    again.say("re-planning, one lost, kit missing");
    blocked.say("the same with a way blocked");
    println!(
        "re-planning to first planning: {:.2}; {changed} of {orders} orders changed",
        again.mean_ms() / firsts.mean_ms()
    );
    compare(&plan, &middles, &again);
}

fn expect(plan: &Plan, basis: &Basis) -> Forecast {
    let found = outlook(plan, black_box(basis), Depth::LIVE);
    found.expect("the position is in the plan")
}

/// Everybody was ordered; half of them are somewhere on the way, one is lost, and one kind of kit is not where it is kept.
fn middle(chance: &mut Chance, basis: &mut Basis, first: &Forecast) {
    let crews = first.order.iter().flat_map(|id| {
        let methods = first.methods.iter().filter(move |it| it.method == *id);
        methods.flat_map(|it| it.crew.iter().map(|posting| (it.method.as_str(), posting)))
    });
    let standing = first
        .first_aider
        .as_deref()
        .into_iter()
        .chain(&first.standing);
    let mut all: Vec<(&str, &Posting)> = crews.chain(standing.map(|it| ("", it))).collect();
    // Whoever comes on to a later method has the order for the first.
    all.sort_by(|a, b| a.1.responder.cmp(&b.1.responder));
    all.dedup_by(|a, b| a.1.responder == b.1.responder);
    basis.since_fall = Millis(155_000);
    for (method, posting) in all {
        let gone = match chance.below(2) {
            0 => chance.below(usize::try_from(posting.travel_ms).unwrap_or(0) + 1),
            _ => 0,
        };
        basis.ordered.push(Ordered {
            casualty: 1,
            method: method.to_owned(),
            posting: posting.clone(),
            ago: Millis(i64::try_from(gone).unwrap_or(0)),
            ended: false,
            there: false,
            late: false,
            holds: Vec::new(),
        });
    }
    let with_kit = basis
        .ordered
        .iter()
        .position(|it| it.posting.station.is_some());
    if let Some(order) = with_kit.map(|it| &basis.ordered[it].posting)
        && let (Some(station), Some(kit)) = (&order.station, &order.kit)
    {
        let kind = KINDS.iter().find(|it| kit.starts_with(**it));
        basis
            .gone
            .extend(kind.map(|it| ((*it).to_owned(), station.clone())));
    }
    if !basis.ordered.is_empty() {
        let lost = basis.ordered.remove(chance.below(basis.ordered.len()));
        basis.excluded.push(lost.posting.responder);
    }
}

const THEIRS: &str = r#"
import json, sys, time
import networkx, numpy
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix
asked = json.load(sys.stdin)
ways, staffing = [], []

def fill(roles, stock, choices):
    n = len(choices)
    if not n:
        return
    people = max(it[1] for it in choices) + 1
    rows, columns = [], []
    for column, (role, person, kit, _) in enumerate(choices):
        for row in [role, roles + person] + ([roles + people + kit] if kit is not None else []):
            rows.append(row)
            columns.append(column)
    count = roles + people + len(stock)
    matrix = csr_matrix((numpy.ones(len(rows)), (rows, columns)), shape=(count, n))
    limits = LinearConstraint(matrix, -numpy.inf, numpy.array([1] * (roles + people) + stock))
    costs = numpy.array([it[3] for it in choices], dtype=float) - 1e9
    milp(costs, integrality=numpy.ones(n), bounds=Bounds(0, 1), constraints=limits)

for case in asked["cases"]:
    begun = time.perf_counter()
    graph = networkx.DiGraph()
    for start, end, cost in asked["edges"]:
        if not graph.has_edge(start, end) or graph[start][end]["weight"] > cost:
            graph.add_edge(start, end, weight=cost)
    for start in case["starts"]:
        networkx.single_source_dijkstra_path_length(graph, start)
    ways.append(time.perf_counter() - begun)
    begun = time.perf_counter()
    for roles, stock, choices in case["methods"]:
        fill(roles, stock, choices)
    staffing.append(time.perf_counter() - begun)
mean = lambda times: sum(times) / len(times) * 1000
print(json.dumps({"ways": mean(ways), "staffing": mean(staffing)}))
"#;

/// The ways from where people and kit are, and the crew of each method with the least sum of times.
fn compare(plan: &Plan, middles: &[Basis], ours: &Times) {
    let edges = plan.links.iter().flat_map(|link| {
        let time = |forwards| link_time(link, &plan.policy, forwards).0;
        [
            json!([link.from, link.to, time(true)]),
            json!([link.to, link.from, time(false)]),
        ]
    });
    let people = plan.responders.iter().map(|it| it.place.as_str());
    let stations = plan.stations.iter().map(|it| it.place.as_str());
    let starts: Vec<&str> = people.chain(stations).collect();
    let table = Routes::new(plan).table(&starts);
    let cases = middles.iter().map(|basis| {
        let position = plan.position(&basis.position).expect("it is in the plan");
        let methods = position.methods.iter().map(|method| {
            let mut stock: Vec<u32> = Vec::new();
            let mut choices: Vec<Value> = Vec::new();
            for station in &plan.stations {
                for item in &station.kit {
                    let kit = stock.len();
                    stock.push(item.count);
                    for (number, role) in method.roles.iter().enumerate() {
                        if role.kit.as_ref() != Some(&item.kind) {
                            continue;
                        }
                        for (person, it) in plan.responders.iter().enumerate() {
                            let able = role.qualification.as_ref().is_none_or(|q| it.holds(q));
                            let there = table.likely(&it.place, &station.place);
                            let on = table.likely(&station.place, &role.place);
                            if let (true, Some(there), Some(on)) = (able, there, on) {
                                choices.push(json!([number, person, kit, there.0 + on.0]));
                            }
                        }
                    }
                }
            }
            for (number, role) in method.roles.iter().enumerate() {
                for (person, it) in plan.responders.iter().enumerate() {
                    let time = table.likely(&it.place, &role.place);
                    let able = role.qualification.as_ref().is_none_or(|q| it.holds(q));
                    if let (None, true, Some(time)) = (&role.kit, able, time) {
                        choices.push(json!([number, person, Value::Null, time.0]));
                    }
                }
            }
            json!([method.roles.len(), stock, choices])
        });
        json!({"starts": starts, "methods": methods.collect::<Vec<_>>()})
    });
    let asked = json!({"edges": edges.collect::<Vec<_>>(), "cases": cases.collect::<Vec<_>>()});
    let theirs = oracle::ask(THEIRS, &asked);
    let time = |what: &str| theirs[what].as_f64().unwrap_or(f64::NAN);
    let sum = time("ways") + time("staffing");
    println!(
        "NetworkX for the ways alone: {:.1} ms; SciPy for staffing each method alone: {:.1} ms; ours for all: {:.2} of both",
        time("ways"),
        time("staffing"),
        ours.mean_ms() / sum
    );
}

/// How long something took, each time.
#[derive(Default)]
struct Times(Vec<Duration>);

impl Times {
    fn of<T>(&mut self, work: impl FnOnce() -> T) -> T {
        let begun = Instant::now();
        let done = black_box(work());
        self.0.push(begun.elapsed());
        done
    }

    fn mean_ms(&self) -> f64 {
        self.0.iter().sum::<Duration>().as_secs_f64() * 1e3 / self.0.len() as f64
    }

    fn say(&self, what: &str) {
        let worst = self.0.iter().max().map_or(0.0, |it| it.as_secs_f64() * 1e3);
        let late = if worst > LIMIT_MS {
            ", over the limit"
        } else {
            ""
        };
        println!(
            "{what}: {:.1} ms in the mean, {worst:.1} ms at most (limit {LIMIT_MS} ms{late})",
            self.mean_ms()
        );
    }
}

/// A small seeded generator, so that the site is the same every time.
struct Chance(u64);

impl Chance {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % end
    }
}

/// An invented site.
fn plan() -> Plan {
    let mut chance = Chance(20_310_512);
    let mut text = String::from(
        "format = 1\n[site]\nname = \"Made site (invented)\"\nrevision = \"1\"\ninvented = true\nmeeting_point = \"gate\"\nmeeting_place = \"p0\"\nemergency_number = \"112\"\n",
    );
    // Writing to a string cannot fail.
    for place in 0..PLACES {
        let _ = writeln!(
            text,
            "[place.p{place}]\nname = \"place {place}\"\nlevel = \"{}\"",
            place % 7
        );
    }
    for link in 0..LINKS {
        // A thread through all places keeps the site in one piece.
        let (from, to) = match link + 1 < PLACES {
            true => (link, link + 1),
            false => {
                let from = chance.below(PLACES);
                (from, (from + 1 + chance.below(60)) % PLACES)
            }
        };
        let (kind, rise) =
            [("walk", 0), ("stairs", 3), ("walk", 0), ("fixed-ladder", 4)][chance.below(4)];
        let _ = writeln!(
            text,
            "[link.l{link}]\nfrom = \"p{from}\"\nto = \"p{to}\"\nkind = \"{kind}\"\nlength = \"{} m\"\nrise = \"{rise} m\"",
            6 + chance.below(30)
        );
    }
    for station in 0..STATIONS {
        let _ = writeln!(
            text,
            "[station.s{station}]\nname = \"station {station}\"\nplace = \"p{}\"\n[station.s{station}.kit.aed]\nname = \"AED {station}\"\nkind = \"AED\"",
            station * 83
        );
        for (number, kind) in KINDS.iter().enumerate() {
            let count = chance.below(3);
            if count > 0 {
                let _ = writeln!(
                    text,
                    "[station.s{station}.kit.k{number}]\nname = \"{kind} {station}\"\nkind = \"{kind}\"\ncount = {count}"
                );
            }
        }
    }
    for person in 0..PEOPLE {
        let held = SKILLS.iter().filter(|_| chance.below(3) > 0);
        let held: Vec<String> = held.map(|skill| format!("\"{skill}\"")).collect();
        let _ = writeln!(
            text,
            "[responder.r{person}]\nname = \"Person {person:02}\"\nplace = \"p{}\"\nqualifications = [{}]",
            chance.below(PLACES),
            held.join(", ")
        );
    }
    for position in 0..POSITIONS {
        let at = (position * 20 + 2) % PLACES;
        let _ = writeln!(
            text,
            "[position.w{position}]\nname = \"Work {position}\"\nplace = \"p{at}\"\napproach = \"p{}\"\nlanding = \"p{}\"\nworkers = [\"r{}\"]",
            at + 1,
            at + 2,
            1 + position % (PEOPLE - 1)
        );
        for method in 0..4 {
            method_text(&mut text, &mut chance, position, at, method);
        }
    }
    let reading = read("made.toml", text.as_bytes());
    let findings = reading.findings;
    reading
        .plan
        .unwrap_or_else(|| panic!("the made plan is refused: {:?}", findings.first()))
}

fn method_text(text: &mut String, chance: &mut Chance, position: usize, at: usize, method: usize) {
    let rung = [
        "assisted-self-rescue",
        "mechanically-aided",
        "mechanically-aided",
        "pick-off",
    ][method];
    let head = format!("position.w{position}.method.m{method}");
    let _ = writeln!(
        text,
        "[{head}]\nname = \"way {method}\"\nrung = \"{rung}\"\nsuccess = \"{} %\"\ndrills = 6",
        60 + chance.below(35)
    );
    for role in 0..3 {
        let _ = writeln!(
            text,
            "[{head}.role.a{role}]\nqualification = \"{}\"\nplace = \"p{}\"",
            SKILLS[(role + method) % 3],
            (at + role) % PLACES
        );
        if role < 2 {
            let _ = writeln!(text, "kit = \"{}\"", KINDS[(role + method) % KINDS.len()]);
        }
    }
    for step in 0..7 {
        let likely = 10 + chance.below(50);
        let more = [
            "",
            "fails_after = \"90 s\"\n",
            "milestone = \"first-contact\"\n",
            "committed = true\n",
            "committed = true\n",
            "committed = true\nmilestone = \"off-harness\"\n",
            "milestone = \"landing\"\n",
        ][step];
        let _ = writeln!(
            text,
            "[[{head}.step]]\nwho = \"a{}\"\nsay = \"do part {step}\"\ndone = \"Part {step} is done\"\ntime = [\"{} s\", \"{likely} s\", \"{} s\"]\n{more}",
            step % 3,
            likely / 2,
            likely * 3
        );
    }
}
