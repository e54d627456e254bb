//! Tries who goes against trying everything, SciPy's two solvers and textbook tables.
//!
//! Figures have their source beside them. Random problems come from a seed or are drawn by proptest, so that a failing
//! run can be repeated.

use groundward::readiness::{Choice, Crew, Problem, STEPS_MAX, solve};
use groundward::units::Millis;
use proptest::prelude::*;
use serde_json::{Value, json};

use super::sites::Site;
use crate::support::{Chance, oracle};

/// What decides between crews, most important first: unfilled roles, the one to keep free used, latest, sum.
pub(super) type Cost = (usize, bool, i64, i64);
/// The names, role by role; a role that nobody holds comes last.
type Names = Vec<(usize, Option<usize>)>;

pub(super) fn cost(chosen: &[Option<Choice>], keep_free: Option<usize>) -> Cost {
    let held = || chosen.iter().flatten();
    (
        chosen.iter().filter(|choice| choice.is_none()).count(),
        held().any(|choice| Some(choice.person) == keep_free),
        held().map(|choice| choice.time.0).max().unwrap_or(0),
        held().map(|choice| choice.time.0).sum(),
    )
}

fn names(chosen: &[Option<Choice>]) -> Names {
    let name = |it: &Option<Choice>| it.map_or((usize::MAX, None), |it| (it.person, it.stock));
    chosen.iter().map(name).collect()
}

pub(super) fn allowed(problem: &Problem, chosen: &[Option<Choice>]) -> bool {
    let held: Vec<&Choice> = chosen.iter().flatten().collect();
    let twice = held
        .iter()
        .enumerate()
        .any(|(i, a)| held[..i].iter().any(|b| a.person == b.person));
    let drawn = |stock: usize| {
        held.iter()
            .filter(|choice| choice.stock == Some(stock))
            .count()
    };
    !twice && (0..problem.stock.len()).all(|stock| drawn(stock) <= problem.stock[stock] as usize)
}

/// All crews that are allowed.
pub(super) fn all_crews(problem: &Problem) -> Vec<Vec<Option<Choice>>> {
    let mut crews: Vec<Vec<Option<Choice>>> = vec![Vec::new()];
    for choices in &problem.roles {
        let options: Vec<Option<Choice>> = std::iter::once(None)
            .chain(choices.iter().copied().map(Some))
            .collect();
        crews = crews
            .iter()
            .flat_map(|crew| {
                options
                    .iter()
                    .map(move |option| [crew.as_slice(), &[*option]].concat())
            })
            .collect();
        crews.retain(|crew| allowed(problem, crew));
    }
    crews
}

fn small_problem() -> impl Strategy<Value = Problem> {
    let choice =
        (0..5_usize, prop::option::of(0..3_usize), 0..6_i64).prop_map(|(person, stock, time)| {
            Choice {
                person,
                stock,
                time: Millis(time * 1_000),
            }
        });
    let roles = prop::collection::vec(prop::collection::vec(choice, 0..7), 0..5);
    (
        roles,
        prop::collection::vec(0..3_u32, 3),
        prop::option::of(0..5_usize),
    )
        .prop_map(|(roles, stock, keep_free)| Problem {
            roles,
            stock,
            keep_free,
        })
}

/// Everybody can do everything with any piece, and there are few of each: many crews are nearly the same.
fn crowded_problem() -> impl Strategy<Value = Problem> {
    let times = prop::collection::vec(prop::collection::vec(0..4_i64, 12), 3..=4);
    let role = |times: Vec<i64>| {
        let choice = |(pair, time): (usize, i64)| Choice {
            person: pair / 3,
            stock: Some(pair % 3),
            time: Millis(time),
        };
        times.into_iter().enumerate().map(choice).collect()
    };
    (times, prop::collection::vec(0..3_u32, 3)).prop_map(move |(times, stock)| Problem {
        roles: times.into_iter().map(role).collect(),
        stock,
        keep_free: None,
    })
}

/// The best crew by trying all.
fn best(problem: &Problem) -> Option<(Cost, Names)> {
    let rank = |crew: &Vec<Option<Choice>>| (cost(crew, problem.keep_free), names(crew));
    all_crews(problem).iter().map(rank).min()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]

    #[test]
    fn among_many_nearly_equal_crews_it_is_the_best(problem in crowded_problem()) {
        let crew = solve(&problem);
        prop_assert!(crew.proved);
        prop_assert_eq!(Some((cost(&crew.chosen, None), names(&crew.chosen))), best(&problem));
    }

    #[test]
    fn a_crew_is_the_best_of_all_down_to_the_names(problem in small_problem()) {
        let crew = solve(&problem);
        prop_assert!(crew.proved);
        prop_assert!(allowed(&problem, &crew.chosen));
        for (choice, choices) in crew.chosen.iter().zip(&problem.roles) {
            prop_assert!(choice.is_none_or(|choice| choices.contains(&choice)));
        }
        let rank = (cost(&crew.chosen, problem.keep_free), names(&crew.chosen));
        prop_assert_eq!(Some(rank), best(&problem));
        prop_assert_eq!(crew.bound.0, cost(&crew.chosen, None).2);
    }

    #[test]
    fn the_order_in_which_choices_are_listed_does_not_matter(problem in small_problem()) {
        let mut reversed = problem.clone();
        reversed.roles.iter_mut().for_each(|choices| choices.reverse());
        prop_assert_eq!(solve(&problem), solve(&reversed));
    }
}

/// A problem in which row `r` is a role, column `c` a person, and the entry how long that one takes.
fn table(rows: &[&[i64]]) -> Problem {
    let choices = |row: &&[i64]| {
        let choice = |(person, time): (usize, &i64)| Choice {
            person,
            stock: None,
            time: Millis(*time),
        };
        row.iter().enumerate().map(choice).collect()
    };
    Problem {
        roles: rows.iter().map(choices).collect(),
        ..Problem::default()
    }
}

#[test]
fn assignments_with_known_sums_come_out_where_the_latest_agrees() {
    // P1 (textbook; SciPy's test suite) minimises the sum alone. In these two of its three tables a crew of that least
    // sum also has the earliest latest, so our order of aims must give the same sum.
    let sum = |crew: &Crew| cost(&crew.chosen, None).3;
    let first = solve(&table(&[&[4, 1, 3], &[2, 0, 5], &[3, 2, 2]]));
    assert_eq!(sum(&first), 5);
    let second = solve(&table(&[
        &[400, 150, 400, 1],
        &[400, 450, 600, 2],
        &[300, 225, 300, 3],
    ]));
    assert_eq!(sum(&second), 452);
    // In the third the least sum, 15, has somebody ready only after 8; a crew with the sum 16 is ready after 7.
    let crew = solve(&table(&[&[8, 4, 7], &[5, 2, 3], &[9, 4, 8]]));
    assert_eq!(cost(&crew.chosen, None), (0, false, 7, 16));
}

#[test]
fn the_earlier_name_wins_between_equals() {
    let crew = solve(&table(&[&[5, 5, 5], &[5, 5, 5]]));
    let people: Vec<_> = names(&crew.chosen).into_iter().map(|it| it.0).collect();
    assert_eq!(people, [0, 1]);
}

const ASSIGNMENT: &str = r#"
import json, sys
import numpy
from scipy.optimize import linear_sum_assignment
answers = []
for rows in json.load(sys.stdin):
    costs = numpy.array(rows, dtype=float)
    def least(costs):
        r, c = linear_sum_assignment(costs)
        return costs[r, c].sum()
    for latest in numpy.unique(costs):
        within = numpy.where(costs <= latest, costs, 1e6)
        if least(within) < 1e6:
            break
    answers.append([int(least(costs)), int(latest), int(least(within))])
print(json.dumps(answers))
"#;

#[test]
fn without_kit_sums_are_those_of_scipy() {
    let mut chance = Chance(52);
    let mut tables: Vec<Vec<Vec<i64>>> = vec![
        vec![vec![8, 4, 7], vec![5, 2, 3], vec![9, 4, 8]],
        vec![vec![4, 1, 3], vec![2, 0, 5], vec![3, 2, 2]],
        vec![
            vec![400, 150, 400, 1],
            vec![400, 450, 600, 2],
            vec![300, 225, 300, 3],
        ],
    ];
    for _ in 0..500 {
        let (roles, more) = (1 + chance.below(12), chance.below(30));
        let time = |chance: &mut Chance| i64::try_from(chance.below(200)).expect("it is small");
        let row = |chance: &mut Chance| (0..roles + more).map(|_| time(chance)).collect();
        tables.push((0..roles).map(|_| row(&mut chance)).collect());
    }
    let answers = oracle::ask(ASSIGNMENT, &json!(tables));
    // P1: the known least sums.
    for (number, sum) in [15, 5, 452].into_iter().enumerate() {
        assert_eq!(answers[number][0].as_i64(), Some(sum));
    }
    for (number, rows) in tables.iter().enumerate() {
        let rows: Vec<&[i64]> = rows.iter().map(Vec::as_slice).collect();
        let crew = solve(&table(&rows));
        let (unfilled, _, latest, sum) = cost(&crew.chosen, None);
        assert!(crew.proved && unfilled == 0, "table {number}");
        assert_eq!(
            (Some(latest), Some(sum)),
            (answers[number][1].as_i64(), answers[number][2].as_i64()),
            "table {number}"
        );
    }
}

/// Solves in stages, each with what the one before reached as a limit.
const MILP: &str = r#"
import json, sys
import numpy
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix

def solve(choices, roles, stock, latest=None, filled=None):
    choices = [it for it in choices if latest is None or it[3] <= latest]
    if not choices:
        return None
    n = len(choices)
    rows, columns = [], []
    people = {}
    for i, (role, person, kit, time) in enumerate(choices):
        own = [role, roles + people.setdefault(person, len(people))]
        rows += own
        columns += [i, i]
    base = roles + len(people)
    for i, (role, person, kit, time) in enumerate(choices):
        if kit is not None:
            rows.append(base + kit)
            columns.append(i)
    count = base + len(stock)
    matrix = csr_matrix((numpy.ones(len(rows)), (rows, columns)), shape=(count, n))
    limits = [LinearConstraint(matrix, -numpy.inf, numpy.array([1] * base + stock))]
    if filled is None:
        costs = -numpy.ones(n)
    else:
        limits.append(LinearConstraint(numpy.ones((1, n)), filled, filled))
        costs = numpy.array([it[3] for it in choices], dtype=float)
    found = milp(costs, integrality=numpy.ones(n), bounds=Bounds(0, 1), constraints=limits, options={"mip_rel_gap": 0})
    return round(found.fun) if found.status == 0 else None

answers = []
for roles, stock, choices in json.load(sys.stdin):
    filled = -(solve(choices, roles, stock) or 0)
    if filled == 0:
        answers.append([roles, 0, 0])
        continue
    times = sorted({it[3] for it in choices})
    low, high = 0, len(times) - 1
    while low < high:
        middle = (low + high) // 2
        if -(solve(choices, roles, stock, times[middle]) or 0) == filled:
            high = middle
        else:
            low = middle + 1
    answers.append([roles - filled, times[low], solve(choices, roles, stock, times[low], filled)])
print(json.dumps(answers))
"#;

fn same_as_milp(site: &Site, instances: usize, seed: u64) {
    let mut below = below(seed);
    let problems: Vec<Problem> = (0..instances)
        .map(|_| Problem {
            keep_free: None,
            ..site.problem(&mut below)
        })
        .collect();
    let asked = problems.iter().map(|problem| {
        let roles = problem.roles.iter().enumerate();
        let choices = roles.flat_map(|(role, choices)| {
            let there = choices
                .iter()
                .filter(|it| it.stock.is_none_or(|it| problem.stock[it] > 0));
            there.map(move |it| json!([role, it.person, it.stock, it.time.0]))
        });
        json!([
            problem.roles.len(),
            problem.stock,
            choices.collect::<Vec<Value>>()
        ])
    });
    let answers = oracle::ask(MILP, &asked.collect());
    let mut scarce = 0;
    for (number, problem) in problems.iter().enumerate() {
        let crew = solve(problem);
        let (unfilled, _, latest, sum) = cost(&crew.chosen, None);
        assert!(
            crew.proved && allowed(problem, &crew.chosen),
            "instance {number}"
        );
        assert_eq!(
            json!([unfilled, latest, sum]),
            answers[number],
            "instance {number}"
        );
        let plenty = Problem {
            stock: vec![99; problem.stock.len()],
            ..problem.clone()
        };
        scarce += usize::from(solve(&plenty).chosen != crew.chosen);
    }
    assert!(
        scarce * 2 > instances,
        "kit decides in {scarce} of {instances}"
    );
}

#[test]
fn with_stocks_of_0_to_2_crews_are_those_of_scipys_milp() {
    let site = Site {
        people: 8,
        homes: 6,
        roles: 4,
        stations: 3,
        kinds: 2,
        one_in: 3,
        width: 60,
    };
    same_as_milp(&site, 500, 53);
}

#[test]
fn on_a_larger_site_crews_are_those_of_scipys_milp() {
    let site = Site {
        people: 20,
        homes: 10,
        roles: 8,
        stations: 5,
        kinds: 2,
        one_in: 3,
        width: 60,
    };
    same_as_milp(&site, 60, 54);
}

#[test]
fn nearly_all_crews_of_a_large_site_are_proved() {
    let mut below = below(55);
    let (mut proved, mut unfilled) = (0, 0);
    for number in 0..200 {
        let problem = Site::large(&mut below).problem(&mut below);
        let crew = solve(&problem);
        assert!(allowed(&problem, &crew.chosen), "instance {number}");
        let (empty, _, latest, _) = cost(&crew.chosen, None);
        assert!(crew.bound.0 <= latest, "instance {number}");
        assert!(!crew.proved || crew.bound.0 == latest, "instance {number}");
        proved += usize::from(crew.proved);
        unfilled += empty;
    }
    // What the issue asks for is 99 %, of a thousand; the bench counts those.
    assert!(proved >= 197, "{proved} of 200");
    assert!(unfilled > 0, "some have too little kit");
}

#[test]
fn a_search_that_is_too_large_still_answers() {
    // Thirty people for thirty roles and one piece of kit in each of thirty stocks, with times that follow no map.
    let mut below = below(56);
    let role = |below: &mut dyn FnMut(usize) -> usize| -> Vec<Choice> {
        let pairs = (0..900).map(|pair| Choice {
            person: pair / 30,
            stock: Some(pair % 30),
            time: Millis::from_seconds(i64::try_from(below(1_000)).expect("it is small")),
        });
        pairs.collect()
    };
    let problem = Problem {
        roles: (0..30).map(|_| role(&mut below)).collect(),
        stock: vec![1; 30],
        keep_free: None,
    };
    let crew = solve(&problem);
    assert!(!crew.proved, "within {STEPS_MAX} steps this is too large");
    assert!(allowed(&problem, &crew.chosen) && crew.chosen.iter().all(Option::is_some));
    let latest = cost(&crew.chosen, None).2;
    assert!(Millis::ZERO < crew.bound && crew.bound.0 <= latest);
    assert_eq!(crew, solve(&problem), "steps are counted, not timed");
}

#[test]
fn times_beyond_all_sense_do_no_harm() {
    let crew = solve(&table(&[&[i64::MAX, i64::MAX], &[5, i64::MAX]]));
    assert!(crew.proved);
    let people: Vec<_> = names(&crew.chosen).into_iter().map(|it| it.0).collect();
    assert_eq!(people, [1, 0]);
}

/// Numbers below another, from a seed.
fn below(seed: u64) -> impl FnMut(usize) -> usize {
    let mut chance = Chance(seed);
    move |end| usize::try_from(chance.below(end as u64)).expect("it is below a usize")
}
