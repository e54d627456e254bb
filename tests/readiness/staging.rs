//! Tries the crews of whole ladders: the rules that every one keeps, and all crews of tiny ladders as a comparison.
//!
//! What is proved: whichever method chooses first, some listed crew staffs it as well as if it were alone; and of all
//! crews that staff it just as `solve` does, none staffs the other method better than some listed crew that is as good for
//! both. A crew that is second best for the one that chooses first may be better for the whole ladder, and is not listed.

use groundward::readiness::{Choice, Job, LadderCrew, Post, Problem, Stage, ladder_crews, solve};
use groundward::units::Millis;
use proptest::prelude::*;

use super::staffing::{Cost, all_crews, allowed, cost};

const PEOPLE: usize = 6;
const STOCKS: usize = 3;

/// A ladder without its ways onward.
#[derive(Clone, Debug)]
struct Ladder {
    methods: Vec<Vec<Vec<Choice>>>,
    stock: Vec<u32>,
    keep_free: Option<usize>,
}

fn ladder(
    people: usize,
    methods: impl Into<prop::collection::SizeRange>,
    roles: impl Into<prop::collection::SizeRange>,
) -> impl Strategy<Value = Ladder> {
    let choice = move |kit: bool| {
        let stock = if kit {
            (0..STOCKS).prop_map(Some).boxed()
        } else {
            Just(None).boxed()
        };
        (0..people, stock, 0..60_i64).prop_map(|(person, stock, time)| Choice {
            person,
            stock,
            time: Millis(time),
        })
    };
    // A role brings kit or it does not, as in a plan.
    let role = any::<bool>().prop_flat_map(move |kit| prop::collection::vec(choice(kit), 0..8));
    let method = prop::collection::vec(role, roles);
    (
        prop::collection::vec(method, methods),
        prop::collection::vec(0..3_u32, STOCKS),
        prop::option::of(0..people),
    )
        .prop_map(|(methods, stock, keep_free)| Ladder {
            methods,
            stock,
            keep_free,
        })
}

/// Some way onward for most pairs, always the same for the same pair.
fn onward(from: Post, to: Post, stock: Option<usize>) -> Option<Millis> {
    let stock = stock.map_or(7, |stock| stock + 1);
    let mixed = from.0 * 31 + from.1 * 17 + to.0 * 13 + to.1 * 5 + stock * 11;
    (!mixed.is_multiple_of(9)).then_some(Millis(i64::try_from(mixed % 50).expect("it is small")))
}

fn nowhere(_: Post, _: Post, _: Option<usize>) -> Option<Millis> {
    None
}

type Onward = fn(Post, Post, Option<usize>) -> Option<Millis>;

fn crews(ladder: &Ladder, onward: Onward) -> Vec<LadderCrew> {
    ladder_crews(&Stage {
        methods: ladder.methods.clone(),
        stock: ladder.stock.clone(),
        keep_free: ladder.keep_free,
        onward: &onward,
    })
}

fn choices(jobs: &[Option<Job>]) -> Vec<Option<Choice>> {
    jobs.iter().map(|job| job.map(|job| job.choice)).collect()
}

fn alone(ladder: &Ladder, method: usize) -> Problem {
    Problem {
        roles: ladder.methods[method].clone(),
        stock: ladder.stock.clone(),
        keep_free: ladder.keep_free,
    }
}

/// Where a person works before a method: the last earlier post.
fn before(crew: &LadderCrew, method: usize, person: usize) -> Option<Post> {
    let holds = |job: &Option<Job>| job.is_some_and(|job| job.choice.person == person);
    (0..method)
        .rev()
        .find_map(|earlier| Some((earlier, crew.methods[earlier].iter().position(holds)?)))
}

/// The stock of the last piece that a person fetched before a method.
fn in_hand(crew: &LadderCrew, method: usize, person: usize) -> Option<usize> {
    let jobs = crew.methods[..method].iter().rev().flatten().flatten();
    let mut own = jobs.filter(|job| job.choice.person == person);
    own.find_map(|job| job.choice.stock)
}

fn keeps_the_rules(ladder: &Ladder, crew: &LadderCrew) {
    let jobs = || crew.methods.iter().flatten().flatten();
    let left = |stock: usize| {
        let drawn = jobs().filter(|job| job.choice.stock == Some(stock)).count();
        let there = ladder.stock[stock] as usize;
        assert!(drawn <= there, "stock {stock} gives {drawn} of {there}");
        there - drawn
    };
    (0..STOCKS).for_each(|stock| assert!(left(stock) <= 2));
    for (method, held) in crew.methods.iter().enumerate() {
        for (role, job) in held.iter().enumerate() {
            let Some(job) = job else { continue };
            let person = job.choice.person;
            let same = |other: &&Option<Job>| other.is_some_and(|it| it.choice.person == person);
            assert_eq!(held.iter().filter(same).count(), 1, "one role at a time");
            let from = before(crew, method, person);
            assert_eq!(job.after, from.map(|it| it.0));
            let given = &ladder.methods[method][role];
            let Some(from) = from else {
                assert!(given.contains(&job.choice));
                continue;
            };
            assert!(given.iter().any(|it| it.person == person), "qualified");
            let way = onward(from, (method, role), job.choice.stock);
            assert_eq!(way, Some(job.choice.time));
            let carried = in_hand(crew, method, person);
            let brings = job.choice.stock.or(carried);
            assert!(
                given
                    .iter()
                    .any(|it| it.stock == job.choice.stock || it.stock == brings),
                "with what the role needs"
            );
            // Nobody comes on where somebody with nothing else to do could have gone.
            let idle = given.iter().find(|it| {
                Some(it.person) != ladder.keep_free
                    && jobs().all(|job| job.choice.person != it.person)
                    && it.stock.is_none_or(|stock| left(stock) > 0)
            });
            assert_eq!(idle, None, "method {method} role {role}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]

    #[test]
    fn every_crew_keeps_the_rules(ladder in ladder(PEOPLE, 0..6, 0..4)) {
        let crews = crews(&ladder, onward);
        prop_assert!(!crews.is_empty() && crews.iter().all(|crew| crew.proved));
        for (number, crew) in crews.iter().enumerate() {
            keeps_the_rules(&ladder, crew);
            prop_assert!(crews[..number].iter().all(|other| other.methods != crew.methods));
        }
        if let Some(first) = crews[0].methods.first() {
            let alone = solve(&alone(&ladder, 0));
            prop_assert_eq!(choices(first), alone.chosen);
        }
    }

    #[test]
    fn whichever_of_four_chooses_first_is_staffed_as_if_alone(ladder in ladder(PEOPLE, 1..6, 1..4)) {
        let crews = crews(&ladder, onward);
        for method in 0..ladder.methods.len().min(4) {
            let alone = cost(&solve(&alone(&ladder, method)).chosen, ladder.keep_free);
            let costs = crews.iter().map(|it| cost(&choices(&it.methods[method]), ladder.keep_free));
            prop_assert!(costs.min().is_some_and(|best| best <= alone));
        }
    }

    #[test]
    fn the_order_of_choices_does_not_matter_to_a_ladder(ladder in ladder(PEOPLE, 1..5, 1..4)) {
        let mut reversed = ladder.clone();
        reversed.methods.iter_mut().flatten().for_each(|choices| choices.reverse());
        prop_assert_eq!(crews(&ladder, onward), crews(&reversed, onward));
    }

    #[test]
    fn no_crew_of_a_tiny_ladder_follows_the_order_better(ladder in ladder(4, 2..=2, 2..=2)) {
        let listed: Vec<[Cost; 2]> = crews(&ladder, nowhere)
            .iter()
            .map(|crew| [0, 1].map(|method| cost(&choices(&crew.methods[method]), ladder.keep_free)))
            .collect();
        // All crews of both methods at once are those of one method with the roles of both.
        let both = Problem { roles: ladder.methods.concat(), ..alone(&ladder, 0) };
        let two = ladder.methods[0].len();
        for crew in all_crews(&both) {
            prop_assert!(allowed(&both, &crew));
            let parts = [&crew[..two], &crew[two..]];
            let costs = parts.map(|part| cost(part, ladder.keep_free));
            for (first, second) in [(0, 1), (1, 0)] {
                prop_assert!(listed.iter().any(|it| it[first] <= costs[first]));
                if solve(&alone(&ladder, first)).chosen == parts[first] {
                    let as_good = |it: &&[Cost; 2]| it[first] <= costs[first] && it[second] <= costs[second];
                    prop_assert!(listed.iter().any(|it| as_good(&it)));
                }
            }
            let better = |it: &[Cost; 2]| costs[0] <= it[0] && costs[1] <= it[1] && costs != *it;
            prop_assert!(!listed.iter().all(better), "{:?} beats {:?}", costs, listed);
        }
    }
}

fn choice(person: usize, stock: Option<usize>, seconds: i64) -> Choice {
    Choice {
        person,
        stock,
        time: Millis::from_seconds(seconds),
    }
}

#[test]
fn who_is_needed_twice_comes_on_with_the_piece_in_hand_when_none_is_left() {
    // One climber, and one ladder of the kind; both methods need both.
    let role = vec![choice(0, Some(0), 30)];
    let mut ladder = Ladder {
        methods: vec![vec![role.clone()], vec![role]],
        stock: vec![1],
        keep_free: None,
    };
    let ways: Onward =
        |_, _, stock| Some(Millis::from_seconds(if stock.is_some() { 40 } else { 5 }));
    let crews_of = |ladder: &Ladder| crews(ladder, ways);
    let second = |crew: &LadderCrew| crew.methods[1][0];
    let listed = crews_of(&ladder);
    let coming = Job {
        choice: choice(0, None, 5),
        after: Some(0),
    };
    assert_eq!(second(&listed[0]), Some(coming));
    // Sent to the second method first, nobody is left for the first; that crew stays in the list, being sooner there.
    assert_eq!(listed.len(), 2);
    assert_eq!(listed[1].methods[0], [None]);
    assert_eq!(second(&listed[1]).and_then(|it| it.after), None);
    // With a second ladder a fresh one is fetched.
    ladder.stock = vec![2];
    let fresh = Job {
        choice: choice(0, Some(0), 40),
        after: Some(0),
    };
    assert_eq!(second(&crews_of(&ladder)[0]), Some(fresh));
    // What is in hand is of no use where the role needs another kind, of which there is none.
    ladder.methods[1] = vec![vec![choice(0, Some(1), 30)]];
    ladder.stock = vec![1, 0];
    assert_eq!(second(&crews_of(&ladder)[0]), None);
}

#[test]
fn methods_that_compete_for_the_nearest_give_a_crew_for_each_order() {
    // Person 0 is near, person 1 far; each method needs one of them.
    let role = vec![choice(0, None, 10), choice(1, None, 60)];
    let ladder = Ladder {
        methods: vec![vec![role.clone()], vec![role]],
        stock: vec![],
        keep_free: None,
    };
    let people = |crew: &LadderCrew| -> Vec<usize> {
        let jobs = crew.methods.iter().flatten().flatten();
        jobs.map(|job| job.choice.person).collect()
    };
    let listed = crews(&ladder, nowhere);
    assert_eq!(
        listed.iter().map(people).collect::<Vec<_>>(),
        [vec![0, 1], vec![1, 0]]
    );
}

#[test]
fn whoever_commands_comes_to_a_ladder_last() {
    // Person 0 commands; person 1 can do both, one after the other.
    let role = vec![choice(0, None, 10), choice(1, None, 60)];
    let ladder = Ladder {
        methods: vec![vec![role.clone()], vec![role]],
        stock: vec![],
        keep_free: Some(0),
    };
    let first = &crews(&ladder, |_, _, _| Some(Millis::from_seconds(20)))[0];
    let people = first
        .methods
        .iter()
        .map(|jobs| jobs[0].map(|it| (it.choice.person, it.after)));
    assert_eq!(
        people.collect::<Vec<_>>(),
        [Some((1, None)), Some((1, Some(0)))]
    );
}

#[test]
fn the_crew_in_the_order_of_the_ladder_stays_even_where_another_is_better_in_everything() {
    // For the first method both are as good, and the earlier name goes; the second then gets the slow one.
    let ladder = Ladder {
        methods: vec![
            vec![vec![choice(0, None, 10), choice(1, None, 10)]],
            vec![vec![choice(0, None, 10), choice(1, None, 60)]],
        ],
        stock: vec![],
        keep_free: None,
    };
    let seconds = |crew: &LadderCrew| -> Vec<i64> {
        let jobs = crew.methods.iter().flatten().flatten();
        jobs.map(|job| job.choice.time.0 / 1_000).collect()
    };
    let listed = crews(&ladder, nowhere);
    assert_eq!(
        listed.iter().map(seconds).collect::<Vec<_>>(),
        [vec![10, 60], vec![10, 10]]
    );
}
