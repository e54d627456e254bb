//! Staffs a ladder again so that as few orders as possible change: whoever is on the way stays on it, vacant roles are filled.
//!
//! Everybody who was told something else once more is late, and one more chance to be misheard. So orders that stand are
//! kept, and vacant roles go first to those who have no order, then to those who come on from an earlier method. Somebody is
//! taken from another role of the same or a later method, or from another task, only where a role would otherwise stay
//! empty or take the person in command; then as few as possible are. Limits: where two are not enough, those who need not
//! be moved are left out one by one, so sometimes more are moved than it takes.

use super::staffing::Choice;
use super::staging::{Job, LadderCrew, Listing, Post, Stage};

/// Somebody who could be taken from elsewhere.
#[derive(Clone, Copy)]
enum Unit {
    /// From another role of the ladder.
    Post(Post),
    /// From a task beside the methods.
    Person(usize),
}

/// The crew in which the orders that stand are kept: for every method and role the choice that one stands for, if any.
/// Who has a task beside the methods is asked last; neither they nor those who have a role are moved unless it is said.
pub(super) fn kept_crew(
    stage: &Stage<'_>,
    orders: &[Vec<Option<Choice>>],
    busy: &[usize],
    move_others: bool,
) -> LadderCrew {
    let listing = Listing::new(stage);
    let mut crew = listing.nobody();
    for (method, held) in orders.iter().enumerate() {
        for (role, choice) in held.iter().enumerate() {
            put(stage, &mut crew, (method, role), *choice);
        }
    }
    let mut busy = busy.to_vec();
    for method in 0..stage.methods.len() {
        fill(&listing, method, &mut crew, &mut busy, move_others);
    }
    crew
}

/// Keeps an order where the person is free and the piece is there.
fn put(stage: &Stage<'_>, crew: &mut LadderCrew, (method, role): Post, choice: Option<Choice>) {
    let Some(choice) = choice.filter(|_| crew.methods[method][role].is_none()) else {
        return;
    };
    let jobs = || crew.methods.iter().flatten().flatten();
    let drawn = |stock: usize| jobs().filter(|it| it.choice.stock == Some(stock)).count();
    let left = |stock: usize| drawn(stock) < stage.stock.get(stock).map_or(0, |it| *it as usize);
    let taken = jobs().any(|it| it.choice.person == choice.person);
    if !taken && choice.stock.is_none_or(left) {
        crew.methods[method][role] = Some(Job {
            choice,
            after: None,
        });
    }
}

/// What a method lacks: roles without anybody, and whether it takes the person who is to be kept free.
fn lacks(stage: &Stage<'_>, crew: &LadderCrew, method: usize) -> (usize, bool) {
    let jobs = &crew.methods[method];
    let mut held = jobs.iter().flatten();
    (
        jobs.iter().filter(|it| it.is_none()).count(),
        held.any(|it| Some(it.choice.person) == stage.keep_free),
    )
}

/// When the last of a method is ready, and the sum of all.
fn times(crew: &LadderCrew, method: usize) -> (i64, i64) {
    let times = || {
        crew.methods[method]
            .iter()
            .flatten()
            .map(|it| it.choice.time.0)
    };
    (
        times().max().unwrap_or(0),
        times().fold(0, i64::saturating_add),
    )
}

/// Fills the vacant roles of a method; whoever is taken from another task for it is not busy any more.
fn fill(
    listing: &Listing<'_, '_>,
    method: usize,
    crew: &mut LadderCrew,
    busy: &mut Vec<usize>,
    move_others: bool,
) {
    let stage = listing.stage;
    let with = |units: &[Unit]| {
        let mut with = crew.clone();
        let mut free: Vec<usize> = Vec::new();
        for unit in units {
            match unit {
                Unit::Post((method, role)) => with.methods[*method][*role] = None,
                Unit::Person(person) => free.push(*person),
            }
        }
        listing.choose(method, &mut with, &|person| {
            !busy.contains(&person) || free.contains(&person)
        });
        // Whoever was not needed after all goes on.
        for unit in units {
            if let Unit::Post(post) = *unit {
                let before = crew.methods[post.0][post.1];
                put(stage, &mut with, post, before.map(|it| it.choice));
            }
        }
        with
    };
    let mut best = with(&[]);
    if move_others && lacks(stage, &best, method) > (0, false) {
        let posts = (method..stage.methods.len()).flat_map(|later| {
            let roles = crew.methods[later].iter().enumerate();
            let held = roles.filter(|(_, job)| job.is_some());
            held.map(move |(role, _)| Unit::Post((later, role)))
        });
        let persons = busy.iter().map(|it| Unit::Person(*it));
        let units: Vec<Unit> = posts.chain(persons).collect();
        let least = lacks(stage, &with(&units), method);
        if least < lacks(stage, &best, method) {
            let enough = |units: &[Unit]| {
                let with = with(units);
                (lacks(stage, &with, method) == least).then_some(with)
            };
            best = fewest(method, units, enough).unwrap_or(best);
        }
    }
    *crew = best;
    let works = |person: usize| {
        let mut jobs = crew.methods.iter().flatten().flatten();
        jobs.any(|it| it.choice.person == person)
    };
    busy.retain(|it| !works(*it));
}

/// The best of the ways to take one from elsewhere, else of those to take two; else as many as it needs.
fn fewest(
    method: usize,
    units: Vec<Unit>,
    enough: impl Fn(&[Unit]) -> Option<LadderCrew>,
) -> Option<LadderCrew> {
    let best = |sets: &mut dyn Iterator<Item = Vec<Unit>>| {
        let found = sets.filter_map(|units| enough(&units));
        found.min_by_key(|it| times(it, method))
    };
    let firsts = || units.iter().enumerate();
    let one = best(&mut firsts().map(|(_, unit)| vec![*unit]));
    let two = || {
        let others = |first: usize| units[first + 1..].iter();
        best(&mut firsts().flat_map(|(first, one)| others(first).map(|other| vec![*one, *other])))
    };
    one.or_else(two).or_else(|| {
        let mut needed = units.clone();
        let mut best = None;
        for index in (0..units.len()).rev() {
            let unit = needed.remove(index);
            match enough(&needed) {
                Some(crew) => best = Some(crew),
                None => needed.insert(index, unit),
            }
        }
        best.or_else(|| enough(&needed))
    })
}
