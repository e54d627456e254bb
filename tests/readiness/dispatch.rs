//! Tries re-planning from where people are, with random losses: what is kept, what is filled, which ways are taken.
//!
//! Sites come from seeds, so that a failing run can be repeated. NetworkX says how long the ways are, SciPy how many roles
//! can be filled, and on small sites all crews are tried for the fewest orders that have to change.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use groundward::plan::{KitItem, Plan, Role, link_time};
use groundward::readiness::{
    Basis, Choice, Forecast, Left, MethodForecast, Ordered, Outlook, Passing, Posting, Problem,
    Terrain,
};
use groundward::units::Millis;
use serde_json::{Value, json};

use super::dispatched::{
    Size, carried, disturb, order_of, ordered, orders, running, site, starts, step,
};
use super::staffing::all_crews;
use super::{FEW, SITE, everybody, expect, fit, of, without_spread};
use crate::support::{Chance, oracle};

const INSTANCES: u64 = 500;
const SIZE: Size = Size {
    people: 9,
    methods: 3,
    roles: 3,
};

fn first_basis(chance: &mut Chance, plan: &Plan) -> Basis {
    let person = |chance: &mut Chance| {
        let index = chance.below(plan.responders.len() as u64);
        plan.responders[index as usize].id.clone()
    };
    Basis {
        in_command: chance.one_in(2).then(|| person(chance)),
        reserved: (0..chance.below(2)).map(|_| person(chance)).collect(),
        since_fall: Millis::from_seconds(30),
        seed: chance.next(),
        ..everybody(plan, "w")
    }
}

/// Something that was re-planned: with what, and what came of it.
#[derive(Debug)]
struct Replanned {
    plan: Plan,
    basis: Basis,
    forecast: Forecast,
}

/// Random sites, each planned once and then twice more in the middle of things; made once for all tests that look at them.
static REPLANNED: LazyLock<Vec<Replanned>> = LazyLock::new(|| {
    let mut chance = Chance(71);
    let mut all = Vec::new();
    for _ in 0..INSTANCES {
        let plan = site(&mut chance, SIZE);
        let mut basis = first_basis(&mut chance, &plan);
        let mut forecast = expect(&plan, &basis);
        for _ in 0..2 {
            basis.ordered = ordered(&forecast, &basis.ordered);
            disturb(&mut chance, &plan, &mut basis);
            basis.underway = match chance.one_in(3) {
                true => running(&forecast, &basis),
                false => None,
            };
            forecast = expect(&plan, &basis);
            all.push(Replanned {
                plan: plan.clone(),
                basis: basis.clone(),
                forecast: forecast.clone(),
            });
        }
    }
    all
});

fn in_order(forecast: &Forecast) -> impl Iterator<Item = &MethodForecast> {
    forecast.order.iter().map(|id| of(forecast, id))
}

fn role_of<'p>(plan: &'p Plan, method: &str, posting: &Posting) -> &'p Role {
    let method = plan.positions[0].method(method).expect("it has the method");
    method.role(&posting.role).expect("it has the role")
}

fn standing(forecast: &Forecast) -> impl Iterator<Item = &Posting> {
    forecast
        .first_aider
        .as_deref()
        .into_iter()
        .chain(&forecast.standing)
}

#[test]
fn nobody_is_in_two_places_and_everybody_can_do_what_they_are_sent_for() {
    for (number, it) in REPLANNED.iter().enumerate() {
        let (plan, basis, forecast) = (&it.plan, &it.basis, &it.forecast);
        for method in &forecast.methods {
            let people: BTreeSet<&str> = method.crew.iter().map(|it| &*it.responder).collect();
            assert_eq!(people.len(), method.crew.len(), "{number}: two roles");
            for posting in &method.crew {
                let role = role_of(plan, &method.method, posting);
                let person = plan.responder(&posting.responder).expect("in the plan");
                assert_eq!(posting.place, role.place);
                assert!(
                    role.qualification
                        .as_ref()
                        .is_none_or(|it| person.holds(it))
                );
                assert!(
                    !basis.excluded.contains(&person.id),
                    "{number}: {}",
                    person.id
                );
                assert_eq!(posting.kit.is_some(), role.kit.is_some(), "{number}");
                assert_eq!(posting.fetch_ms.is_some(), posting.kit.is_some());
            }
        }
        let crews: BTreeSet<&str> = in_order(forecast)
            .flat_map(|it| &it.crew)
            .map(|it| &*it.responder)
            .collect();
        let mut beside = BTreeSet::new();
        for posting in standing(forecast) {
            let id = posting.responder.as_str();
            assert!(beside.insert(id), "{number}: {id} has two standing roles");
            assert!(!basis.excluded.iter().any(|it| it == id));
            assert!(!basis.reserved.iter().any(|it| it == id));
            assert_ne!(basis.in_command.as_deref(), Some(id));
            let aids = posting.role == Posting::FIRST_AID;
            assert!(aids || !crews.contains(id), "{number}: {id} has a role");
        }
        // Every standing role has somebody or is said to have nobody; the radio only where somebody is left.
        for role in [Posting::FIRST_AID, Posting::TALKER, Posting::GUIDE] {
            let manned = standing(forecast).any(|it| it.role == role);
            assert_ne!(
                manned,
                forecast.unmanned.iter().any(|it| it == role),
                "{number}"
            );
        }
    }
}

/// How many pieces there are at a station by the orders: those of the plan without those taken or gone.
fn at_station(plan: &Plan, basis: &Basis, station: &str, kit: &str) -> i64 {
    let kept = plan.station(station).expect("in the plan");
    let item: &KitItem = kept
        .kit
        .iter()
        .find(|it| it.name == kit)
        .expect("it is kept there");
    if basis
        .gone
        .iter()
        .any(|(kind, at)| *kind == item.kind && at == station)
    {
        return 0;
    }
    let piece = |it: &(String, String)| it.0 == station && it.1 == kit;
    let free = |it: &&Ordered| !it.ended || !basis.excluded.contains(&it.posting.responder);
    let held = basis.ordered.iter().filter(free).flat_map(carried);
    let left = |it: &&Left| it.station == station && it.kit == kit;
    let taken = held.filter(piece).count() + basis.left.iter().filter(left).count();
    (i64::from(item.count) - taken as i64).max(0)
}

#[test]
fn no_piece_is_sent_for_twice_and_whoever_has_one_never_goes_back_for_it() {
    let (mut in_hand, mut lying) = (0, 0);
    for (number, it) in REPLANNED.iter().enumerate() {
        let (plan, basis) = (&it.plan, &it.basis);
        let crews = in_order(&it.forecast).flat_map(|it| &it.crew);
        let mut drawn: BTreeMap<(&str, &str, Option<&str>), i64> = BTreeMap::new();
        for posting in crews.chain(it.forecast.first_aider.as_deref()) {
            let (Some(station), Some(kit)) = (&posting.station, &posting.kit) else {
                continue;
            };
            let piece = (station.clone(), kit.clone());
            let order = order_of(basis, &posting.responder);
            let has = order.is_some_and(|it| carried(it).contains(&piece));
            if has && posting.fetch_ms == Some(0) && posting.lies.is_none() {
                in_hand += 1;
                continue;
            }
            // Whoever comes on from another role may fetch one more; nobody else goes back.
            let comes_on = in_order(&it.forecast)
                .flat_map(|it| &it.crew)
                .filter(|it| it.responder == posting.responder)
                .count()
                > 1;
            let has = order.is_some_and(|it| carried(it).iter().any(|it| it.1 == *kit));
            assert!(comes_on || !has, "{number}: {posting:?}");
            let key = (station.as_str(), kit.as_str(), posting.lies.as_deref());
            *drawn.entry(key).or_default() += 1;
        }
        for ((station, kit, lies), count) in drawn {
            let there = match lies {
                None => at_station(plan, basis, station, kit),
                Some(place) => {
                    lying += 1;
                    let left = basis.left.iter().filter(|it| {
                        it.station == station && it.kit == kit && it.place.as_deref() == Some(place)
                    });
                    left.count() as i64
                }
            };
            assert!(
                count <= there,
                "{number}: {count} of {there} {kit} at {station}"
            );
        }
    }
    assert!(
        in_hand > 200 && lying > 5,
        "{in_hand} in hand, {lying} lying"
    );
}

const WAYS: &str = r#"
import json, sys
import networkx
answers = []
for asked in json.load(sys.stdin):
    graph = networkx.DiGraph()
    for start, end, cost in asked["edges"]:
        graph.add_edge(start, end, weight=cost)
    def lengths(start):
        if start not in graph:
            return {start: 0}
        return networkx.single_source_dijkstra_path_length(graph, start)
    found = []
    for starts, by, to in asked["ways"]:
        best = None
        for start, time in starts:
            first = lengths(start)
            if by is None:
                way = first.get(to)
            else:
                way = first[by] + lengths(by)[to] if by in first and to in lengths(by) else None
            if way is not None and (best is None or time + way < best):
                best = time + way
        found.append(best)
    answers.append(found)
print(json.dumps(answers))
"#;

/// Where the piece for an order lies.
fn fetched_at(plan: &Plan, posting: &Posting) -> Option<String> {
    let station = plan.station(posting.station.as_ref()?)?;
    Some(
        posting
            .lies
            .clone()
            .unwrap_or_else(|| station.place.clone()),
    )
}

/// Every order of a forecast with where it can begin.
fn begun(it: &Replanned) -> Vec<(&Posting, Vec<(String, i64)>)> {
    let mut before: BTreeMap<&str, &str> = BTreeMap::new();
    let mut all = Vec::new();
    for method in in_order(&it.forecast) {
        for posting in &method.crew {
            let from = match before.get(posting.responder.as_str()) {
                Some(place) => vec![((*place).to_owned(), 0)],
                None => starts(&it.plan, &it.basis, &posting.responder),
            };
            all.push((posting, from));
        }
        before.extend(method.crew.iter().map(|it| (&*it.responder, &*it.place)));
    }
    all.extend(standing(&it.forecast).map(|posting| {
        let from = starts(&it.plan, &it.basis, &posting.responder);
        (posting, from)
    }));
    all
}

#[test]
fn every_way_is_real_and_as_long_as_networkx_says() {
    let all = &*REPLANNED;
    let asked = all.iter().map(|it| {
        let (plan, basis) = (&it.plan, &it.basis);
        let open = plan.links.iter();
        let open = open.filter(|it| it.closed.is_none() && !basis.blocked.contains(&it.id));
        let edges = open.flat_map(|link| {
            let time = |forwards| link_time(link, &plan.policy, forwards).0;
            [
                json!([link.from, link.to, time(true)]),
                json!([link.to, link.from, time(false)]),
            ]
        });
        let ways = begun(it).into_iter().map(|(posting, from)| {
            let by = fetched_at(plan, posting).filter(|_| posting.fetch_ms != Some(0));
            json!([from, by, posting.place])
        });
        json!({"edges": edges.collect::<Vec<_>>(), "ways": ways.collect::<Vec<_>>()})
    });
    let asked: Vec<Value> = asked.collect();
    let answers = oracle::ask(WAYS, &json!(asked));
    let (mut between, mut late, mut back) = (0, 0, 0);
    for (number, it) in all.iter().enumerate() {
        for (index, (posting, from)) in begun(it).into_iter().enumerate() {
            let what = || format!("{number}: {posting:?} from {from:?}");
            assert_eq!(
                Some(posting.travel_ms),
                answers[number][index].as_i64(),
                "{}",
                what()
            );
            let first = posting.way.first().expect("every order has a way");
            assert!(from.contains(&(first.0.clone(), first.1)), "{}", what());
            let end = Passing(posting.place.clone(), posting.travel_ms);
            assert_eq!(posting.way.last(), Some(&end), "{}", what());
            for pair in posting.way.windows(2) {
                let time = step(&it.plan, &it.basis, &pair[0].0, &pair[1].0);
                assert_eq!(time, Some(pair[1].1 - pair[0].1), "{}", what());
            }
            let order = order_of(&it.basis, &posting.responder);
            let at = fetched_at(&it.plan, posting);
            if let (Some(fetch), Some(at)) = (posting.fetch_ms, at) {
                let piece = posting.station.clone().zip(posting.kit.clone());
                let has =
                    order.is_some_and(|it| carried(it).iter().any(|it| Some(it) == piece.as_ref()));
                let fetches = posting.way.contains(&Passing(at, fetch));
                assert!(fetches || (has && fetch == 0), "{}", what());
            }
            between += usize::from(first.1 > 0);
            late += usize::from(order.is_some_and(|it| it.late));
            let ahead = posting.behind.as_ref().and_then(|behind| {
                let way = &order?.posting.way;
                let at = |place: &str| way.iter().position(|it| it.0 == place);
                Some(at(&behind.0)? > at(&first.0)?)
            });
            back += usize::from(ahead == Some(true));
        }
    }
    assert!(
        between > 200 && late > 50 && back > 20,
        "{between} between two places, {late} late, {back} turned back"
    );
}

/// How many roles of the methods in the order nobody has.
fn empty(forecast: &Forecast) -> usize {
    in_order(forecast).map(|it| it.unfilled.len()).sum()
}

/// What somebody was told, without the way.
type Told = (String, String, String, Option<String>, String);

fn told(forecast: &Forecast) -> BTreeSet<Told> {
    let given = orders(forecast).into_iter();
    given
        .map(|(method, it)| (method, it.role, it.responder, it.kit, it.place))
        .collect()
}

#[test]
fn where_nothing_changed_no_order_does() {
    let mut chance = Chance(74);
    let (mut compared, mut fuller, mut better) = (0, 0, 0);
    for number in 0..INSTANCES + 150 {
        let mut plan = site(&mut chance, SIZE);
        // Whoever stands beside their kit has it at once, and then nobody else can take it; so nobody does here.
        let kept: BTreeSet<String> = plan.stations.iter().map(|it| it.place.clone()).collect();
        let mut others = plan
            .places
            .iter()
            .filter(|it| !kept.contains(&it.id))
            .cycle();
        for person in plan
            .responders
            .iter_mut()
            .filter(|it| kept.contains(&it.place))
        {
            person
                .place
                .clone_from(&others.next().expect("there are three stations").id);
        }
        let mut basis = first_basis(&mut chance, &plan);
        let first = expect(&plan, &basis);
        let aids = first.first_aider.as_ref().map(|it| &it.responder);
        if in_order(&first).any(|it| it.crew.iter().any(|it| Some(&it.responder) == aids)) {
            // A role is left open because its holder is needed more for first aid: that one is filled now.
            continue;
        }
        basis.ordered = ordered(&first, &[]);
        // To start a method that lacks somebody is a change: the role is filled from wherever it can be.
        let whole = in_order(&first)
            .next()
            .is_some_and(|it| it.unfilled.is_empty());
        if number % 2 == 0 && whole {
            basis.underway = running(&first, &basis);
        }
        let again = expect(&plan, &basis);
        if empty(&again) < empty(&first) {
            fuller += 1;
            continue;
        }
        let (before, after) = (told(&first), told(&again));
        let lost: Vec<&Told> = before.difference(&after).collect();
        if !lost.is_empty() {
            // The crews that are looked at closely are few, so that now and then a better one is found later.
            let values = [
                Basis {
                    ordered: Vec::new(),
                    ..basis.clone()
                },
                basis,
            ]
            .map(|basis| {
                let found = Outlook::new(&Terrain::new(&plan), &basis, FEW, None);
                found.and_then(|it| it.prospect).map_or(0.0, |it| it.value)
            });
            assert!(
                values[1] > values[0] + 0.005,
                "{number}: {values:?} {lost:?} {after:?}"
            );
            better += 1;
            continue;
        }
        assert_eq!(before, after, "{number}");
        compared += 1;
    }
    assert!(
        compared > 500 && fuller < 20 && better < 5,
        "{compared} compared, {fuller} fuller, {better} better"
    );
}

/// Whoever can hold a role and with what, by the orders alone.
fn choices(plan: &Plan, basis: &Basis, role: &Role, pieces: &Pieces) -> Vec<Choice> {
    let mut choices = Vec::new();
    for (person, responder) in plan.responders.iter().enumerate() {
        let able = role
            .qualification
            .as_ref()
            .is_none_or(|it| responder.holds(it));
        if !able || basis.excluded.contains(&responder.id) {
            continue;
        }
        let froms = starts(plan, basis, &responder.id);
        let leads = |to: &str| froms.iter().any(|from| reaches(plan, basis, &from.0, to));
        let mut choose = |stock: Option<usize>| {
            choices.push(Choice {
                person,
                stock,
                time: Millis::ZERO,
            });
        };
        if !leads(&role.place) {
            continue;
        }
        let Some(kind) = &role.kit else {
            choose(None);
            continue;
        };
        for (stock, piece) in pieces.0.iter().enumerate() {
            let fits =
                piece.kind == *kind && piece.holder.as_ref().is_none_or(|it| *it == responder.id);
            if fits && piece.place.as_ref().is_none_or(|it| leads(it)) {
                choose(Some(stock));
            }
        }
    }
    choices
}

struct Piece {
    kind: String,
    count: u32,
    holder: Option<String>,
    place: Option<String>,
}

/// All kit there is: at its stations, in hand, and left somewhere.
struct Pieces(Vec<Piece>);

fn pieces(plan: &Plan, basis: &Basis) -> Pieces {
    let item = |station: &str, kit: &str| {
        let kept = plan.station(station).expect("in the plan");
        kept.kit
            .iter()
            .find(|it| it.name == kit)
            .expect("it is kept there")
    };
    let mut pieces = Vec::new();
    for station in &plan.stations {
        for kit in &station.kit {
            let count = at_station(plan, basis, &station.id, &kit.name);
            pieces.push(Piece {
                kind: kit.kind.clone(),
                count: u32::try_from(count).expect("it is small"),
                holder: None,
                place: Some(station.place.clone()),
            });
        }
    }
    for order in &basis.ordered {
        for (station, kit) in carried(order) {
            pieces.push(Piece {
                kind: item(&station, &kit).kind.clone(),
                count: 1,
                holder: Some(order.posting.responder.clone()),
                place: None,
            });
        }
    }
    for left in basis.left.iter().filter(|it| it.place.is_some()) {
        pieces.push(Piece {
            kind: item(&left.station, &left.kit).kind.clone(),
            count: 1,
            holder: None,
            place: left.place.clone(),
        });
    }
    Pieces(pieces)
}

fn reaches(plan: &Plan, basis: &Basis, from: &str, to: &str) -> bool {
    let mut seen = vec![from.to_owned()];
    let mut next = 0;
    while let Some(at) = seen.get(next).cloned() {
        for place in &plan.places {
            if !seen.contains(&place.id) && step(plan, basis, &at, &place.id).is_some() {
                seen.push(place.id.clone());
            }
        }
        next += 1;
    }
    seen.iter().any(|it| it == to)
}

const FILLED: &str = r#"
import json, sys
import numpy
from scipy.optimize import Bounds, LinearConstraint, milp
answers = []
for roles, stock, choices in json.load(sys.stdin):
    if not choices:
        answers.append(0)
        continue
    people = max(it[1] for it in choices) + 1
    matrix = numpy.zeros((roles + people + len(stock), len(choices)))
    for column, (role, person, kit) in enumerate(choices):
        matrix[role, column] = 1
        matrix[roles + person, column] = 1
        if kit is not None:
            matrix[roles + people + kit, column] = 1
    limits = LinearConstraint(matrix, -numpy.inf, numpy.array([1] * (roles + people) + stock))
    n = len(choices)
    found = milp(-numpy.ones(n), integrality=numpy.ones(n), bounds=Bounds(0, 1), constraints=limits)
    answers.append(round(-found.fun))
print(json.dumps(answers))
"#;

#[test]
fn a_role_is_empty_only_where_scipy_finds_nobody_for_it() {
    let all = &*REPLANNED;
    let mut asked = Vec::new();
    let mut ours = Vec::new();
    for it in all {
        let pieces = pieces(&it.plan, &it.basis);
        let stock: Vec<u32> = pieces.0.iter().map(|it| it.count).collect();
        for method in &it.plan.positions[0].methods {
            let runs = it
                .basis
                .underway
                .as_ref()
                .is_some_and(|it| it.method == method.id);
            if runs {
                // Whoever was sent for it keeps the role, even where another crew would be larger.
                continue;
            }
            let roles = method.roles.iter().enumerate();
            let choices = roles.flat_map(|(number, role)| {
                let choices = choices(&it.plan, &it.basis, role, &pieces);
                choices
                    .into_iter()
                    .map(move |it| json!([number, it.person, it.stock]))
            });
            asked.push(json!([
                method.roles.len(),
                stock,
                choices.collect::<Vec<_>>()
            ]));
            let forecast = of(&it.forecast, &method.id);
            let tried = it.forecast.order.contains(&method.id);
            ours.push((tried, method.roles.len(), forecast.unfilled.len()));
        }
    }
    let answers = oracle::ask(FILLED, &json!(asked));
    let mut empty = 0;
    for (number, (tried, roles, unfilled)) in ours.iter().enumerate() {
        let most = answers[number].as_u64().expect("it is a number") as usize;
        match tried {
            // A method is in the order only where it can have a whole crew by itself.
            true => assert_eq!(most, *roles, "{number}"),
            false => assert_eq!(roles - unfilled, most, "{number}"),
        }
        empty += usize::from(most < *roles);
    }
    assert!(empty > 200, "{empty} methods lack somebody");
}

/// The crews that are allowed for the only method, with how many orders each changes.
fn fewest_changes(plan: &Plan, basis: &Basis, told: &[Ordered]) -> Option<(usize, usize)> {
    let pieces = pieces(plan, basis);
    let method = &plan.positions[0].methods[0];
    let stock: Vec<u32> = pieces.0.iter().map(|it| it.count).collect();
    let posted = |person: usize| {
        let id = &plan.responders[person].id;
        let mut told = told.iter().filter(|it| it.posting.responder == *id);
        told.any(|it| it.method.is_empty() && !it.ended)
    };
    let best = |busy: bool| {
        let roles = method.roles.iter().map(|role| {
            let mut choices = choices(plan, basis, role, &pieces);
            choices.retain(|it| busy || !posted(it.person));
            choices
        });
        let crews = all_crews(&Problem {
            roles: roles.collect(),
            stock: stock.clone(),
            keep_free: None,
        });
        let rank = |crew: &Vec<Option<Choice>>| {
            let empty = crew.iter().filter(|it| it.is_none()).count();
            let held = |role: &str| {
                let role = method.roles.iter().position(|it| it.id == role)?;
                crew[role]
            };
            let stands = told.iter().filter(|it| !it.method.is_empty() && !it.ended);
            let changed = stands.filter(|it| {
                held(&it.posting.role)
                    .is_none_or(|choice| plan.responders[choice.person].id != it.posting.responder)
            });
            let busy = crew.iter().flatten().filter(|it| posted(it.person)).count();
            (empty, changed.count() + busy)
        };
        crews.iter().map(rank).min()
    };
    match best(false)? {
        (0, changed) => Some((0, changed)),
        _ => best(true),
    }
}

#[test]
fn as_few_orders_change_as_can_where_all_crews_are_worth_the_same() {
    let mut chance = Chance(76);
    let (mut lost, mut moved, mut several) = (0, 0, 0);
    for number in 0..INSTANCES {
        let mut plan = site(
            &mut chance,
            Size {
                people: 5,
                methods: 1,
                roles: 4,
            },
        );
        // Whoever goes, the casualty is off the harness by the target.
        without_spread(&mut plan);
        plan.policy.target = Millis::from_seconds(9_000);
        plan.policy.value_ends = Millis::from_seconds(10_000);
        let mut basis = everybody(&plan, "w");
        let first = expect(&plan, &basis);
        basis.ordered = ordered(&first, &[]);
        let method = plan.positions[0].methods[0].id.as_str();
        let of_method: Vec<usize> = (0..basis.ordered.len())
            .filter(|it| basis.ordered[*it].method == method)
            .collect();
        if of_method.is_empty() {
            continue;
        }
        for order in &mut basis.ordered {
            order.ago = Millis(chance.below(40_000) as i64);
        }
        let gone = of_method[chance.below(of_method.len() as u64) as usize];
        let gone = basis.ordered.remove(gone);
        basis.excluded.push(gone.posting.responder.clone());
        let again = expect(&plan, &basis);
        let Some((empty, changed)) = fewest_changes(&plan, &basis, &basis.ordered) else {
            continue;
        };
        let after = of(&again, method);
        assert_eq!(after.unfilled.len(), empty, "{number}");
        if !again.order.iter().any(|it| it == method) {
            // It cannot be tried any more, so nobody is ordered for it.
            continue;
        }
        let stands = |it: &&Ordered| {
            let mut crew = after.crew.iter();
            crew.any(|posting| {
                it.posting.role == posting.role && it.posting.responder == posting.responder
            })
        };
        let of_method = basis.ordered.iter().filter(|it| it.method == method);
        let posted = basis.ordered.iter().filter(|it| it.method.is_empty());
        let taken = posted.filter(|it| {
            let mut crew = after.crew.iter();
            crew.any(|posting| posting.responder == it.posting.responder)
        });
        let ours = of_method.filter(|it| !stands(it)).count() + taken.count();
        assert_eq!(
            ours, changed,
            "{number}: {:?} {:?}",
            basis.ordered, after.crew
        );
        lost += 1;
        moved += usize::from(changed > 0);
        several += usize::from(changed > 1);
    }
    assert!(
        lost > 150 && moved > 40 && several > 0,
        "{lost} {moved} {several}"
    );
}

/// Places in a row, 10 s from one to the next, and a longer way round: a b c d, and b e d.
const ROW: [(&str, &str, i64); 5] = [
    ("a", "b", 10),
    ("b", "c", 10),
    ("c", "d", 10),
    ("b", "e", 30),
    ("e", "d", 30),
];

/// A plan with these people, and one method that takes whoever can climb to place d.
fn row(people: &str, more: &str) -> Plan {
    let mut text = SITE.replace("[site]", "[site]\nmeeting_place = \"a\"");
    for place in ["a", "b", "c", "d", "e"] {
        text += &format!("[place.{place}]\nname = \"place {place}\"\nlevel = \"0\"\n");
    }
    for (from, to, time) in ROW {
        text += &format!(
            "[link.{from}{to}]\nfrom = \"{from}\"\nto = \"{to}\"\nkind = \"walk\"\nlength = \"1 m\"\ntime = [\"{time} s\", \"{time} s\", \"{time} s\"]\n"
        );
    }
    text += people;
    text += &format!(
        "[position.w]\nname = \"Work\"\nplace = \"d\"\napproach = \"c\"\nlanding = \"b\"\n{more}\
         [position.w.method.m]\nname = \"m\"\nrung = \"pick-off\"\nchange_after = \"60 s\"\n\
         [position.w.method.m.role.one]\nqualification = \"climb\"\nplace = \"d\"\n\
         [[position.w.method.m.step]]\nsay = \"x\"\ndone = \"x\"\ntime = [\"1 s\", \"2 s\", \"3 s\"]\nmilestone = \"off-harness\"\n"
    );
    fit(&text)
}

fn person(id: &str, place: &str, more: &str) -> String {
    format!("[responder.{id}]\nname = \"{id}\"\nplace = \"{place}\"\n{more}\n")
}

const CLIMBS: &str = "qualifications = [\"climb\"]";

fn passings(posting: &Posting) -> Vec<(&str, i64)> {
    posting.way.iter().map(|it| (it.0.as_str(), it.1)).collect()
}

#[test]
fn whoever_is_between_two_places_goes_on_or_turns_back_and_on_a_blocked_way_only_back() {
    let plan = row(&person("x", "a", CLIMBS), "");
    let mut basis = everybody(&plan, "w");
    let first = expect(&plan, &basis);
    let order = &first.methods[0].crew[0];
    let whole = [("a", 0), ("b", 10_000), ("c", 20_000), ("d", 30_000)];
    assert_eq!(passings(order), whole);
    let sent = |ago: i64, late: bool| Ordered {
        ago: Millis(ago),
        late,
        ..ordered(&first, &[]).remove(0)
    };
    let again = |basis: &Basis| expect(&plan, basis).methods[0].crew[0].clone();
    // 4 s beyond b.
    basis.ordered = vec![sent(14_000, false)];
    let on = again(&basis);
    assert_eq!(passings(&on), [("c", 6_000), ("d", 16_000)]);
    assert_eq!(on.behind, Some(Passing("b".to_owned(), -4_000)));
    // The way ahead is blocked behind c: back past b is 64 s, on to c and back from there 76 s.
    basis.blocked = vec!["cd".to_owned()];
    let back = again(&basis);
    let round = [("b", 4_000), ("e", 34_000), ("d", 64_000)];
    assert_eq!(passings(&back), round);
    // The way that they are on is blocked, also where they were sent over it anew since.
    basis.blocked = vec!["bc".to_owned()];
    assert_eq!(passings(&again(&basis)), round);
    basis.ordered[0].posting = on;
    basis.ordered[0].ago = Millis(2_000);
    let later = [("b", 6_000), ("e", 36_000), ("d", 66_000)];
    assert_eq!(passings(&again(&basis)), later);
    // Nobody knows where somebody is who is late: the whole way may still lie before them.
    basis.blocked.clear();
    basis.ordered = vec![sent(14_000, true)];
    assert_eq!(passings(&again(&basis)), whole);
    // No way leads there at all.
    basis.blocked = vec!["ab".to_owned()];
    basis.ordered.clear();
    assert_eq!(expect(&plan, &basis).methods[0].unfilled, ["one"]);
}

/// Who has a standing role, and which nobody has.
fn beside(plan: &Plan, basis: &Basis) -> (Vec<String>, Vec<String>) {
    let forecast = expect(plan, basis);
    let named = standing(&forecast).map(|it| format!("{} {} {}", it.role, it.responder, it.place));
    (named.collect(), forecast.unmanned.clone())
}

#[test]
fn standing_roles_go_to_those_whom_no_method_needs_in_the_order_of_their_weight() {
    let aid = "qualifications = [\"first aid\"]";
    let people = [
        person("climber", "c", CLIMBS),
        person("aider", "a", aid),
        person("near", "c", ""),
        person("speaks", "b", "languages = [\"pt\"]"),
        person("watches", "a", ""),
        person("leads", "e", ""),
        person("hangs", "d", "languages = [\"pt\", \"en\"]"),
    ]
    .concat();
    let watched = "workers = [\"hangs\"]\nwatched_by = [\"watches\"]\n";
    let plan = row(&people, watched);
    let mut basis = Basis {
        in_command: Some("leads".to_owned()),
        ..everybody(&plan, "w")
    };
    // Whoever watches talks; the gate is nearest for the one at b; the radio stands where the person in command does.
    let all = [
        "first-aid aider b",
        "talker watches c",
        "gate-guide speaks a",
        "radio near e",
    ];
    assert_eq!(
        beside(&plan, &basis),
        (all.map(str::to_owned).to_vec(), vec![])
    );
    // Without that one, whoever shares a language with the worker does, though somebody else is nearer.
    basis.excluded.push("watches".to_owned());
    let (named, unmanned) = beside(&plan, &basis);
    assert_eq!(named[1..], ["talker speaks c", "gate-guide near a"]);
    assert_eq!(
        unmanned, [""; 0],
        "nobody is left for the radio, and nothing is said of it"
    );
    // Whoever talks already goes on when a better one comes.
    basis.ordered = ordered(&expect(&plan, &basis), &[]);
    basis.excluded.retain(|it| it != "watches");
    let (named, _) = beside(&plan, &basis);
    assert_eq!(
        named[1..],
        ["talker speaks c", "gate-guide near a", "radio watches e"]
    );
    // With too few people it is said which role has nobody.
    basis.ordered.clear();
    basis
        .excluded
        .extend(["near", "speaks", "aider"].map(str::to_owned));
    let (named, unmanned) = beside(&plan, &basis);
    assert_eq!(named, ["talker watches c"]);
    assert_eq!(unmanned, ["first-aid", "gate-guide"]);
    // Where the plan names no place near the gate, nobody is missed there.
    let mut nowhere = plan.clone();
    nowhere.site.meeting_place = None;
    assert_eq!(beside(&nowhere, &basis).1, ["first-aid"]);
    // Looking ahead, nobody is given anything but first aid.
    basis.ready = true;
    assert_eq!(beside(&plan, &basis), (vec![], vec![]));
}

#[test]
fn whoever_talks_is_taken_for_a_method_only_where_nobody_else_can() {
    let people = [
        person("one", "c", CLIMBS),
        person("two", "a", CLIMBS),
        person("three", "a", ""),
    ]
    .concat();
    let plan = row(&people, "watched_by = [\"two\"]\n");
    let mut basis = everybody(&plan, "w");
    let first = expect(&plan, &basis);
    assert_eq!(first.methods[0].crew[0].responder, "one");
    assert_eq!(first.standing[0].responder, "two");
    basis.ordered = ordered(&first, &[]);
    basis.excluded.push("one".to_owned());
    basis.ordered.retain(|it| it.posting.responder != "one");
    let again = expect(&plan, &basis);
    assert_eq!(again.methods[0].crew[0].responder, "two");
    let talker = again.standing.iter().find(|it| it.role == Posting::TALKER);
    let guide = again.standing.iter().find(|it| it.role == Posting::GUIDE);
    assert_eq!(talker, None, "whoever meets the help keeps to that");
    assert_eq!(guide.map(|it| it.responder.as_str()), Some("three"));
    assert!(again.unmanned.iter().any(|it| it == Posting::TALKER));
    // And where somebody else can, they do, though they are further away.
    let more = person("four", "e", CLIMBS);
    let plan = row(&(people + &more), "watched_by = [\"two\"]\n");
    basis.present.push("four".to_owned());
    let again = expect(&plan, &basis);
    assert_eq!(again.methods[0].crew[0].responder, "four");
    assert_eq!(again.standing[0].responder, "two");
}
