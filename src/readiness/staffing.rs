//! Decides who holds which role: the crew that is ready first, with the people and the kit there are.
//!
//! In this order: as many roles as possible are filled; whoever is to be kept free is used only if nobody else can; the
//! last to be ready is ready as early as possible; then the sum of all times is least; then, role by role, the person
//! with the smaller number wins, and then the stock with the smaller one. So there is one best crew, whatever the order
//! in which choices are listed. Each aim is met in turn and then holds for the next, by the search in `placing`. Before
//! it, two easier problems bound the latest time from below: people without the limits of stocks, and stocks without
//! the limits of people. Limits: after [`STEPS_MAX`] steps it answers the best crew found so far, says that it is not
//! proved, and how early the last could be ready at best; times above [`LONGEST`] count as that long.

use super::placing::{Aim, Pick, Placer, Placing, Task};
use crate::units::Millis;

/// Most steps of a search; a step is a look at one cost. Counted, not timed, so that every machine gives the same answer.
pub const STEPS_MAX: u64 = 10_000_000;

/// The longest time that is told from a longer one: above thirty years.
pub const LONGEST: Millis = Millis(1_000_000_000_000);

/// The share of the steps that may go into one question, of which a search asks several.
const SHARE: u64 = 6;

/// The share that goes into a first look at it.
const GLANCE: u64 = 100;

/// One way for one person to be ready in one role.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Which person; the number is their rank by name.
    pub person: usize,
    /// Which stock of kit it draws on, an index into [`Problem::stock`].
    pub stock: Option<usize>,
    /// From the order to being ready.
    pub time: Millis,
}

/// Roles to fill.
#[derive(Clone, Debug, Default)]
pub struct Problem {
    /// For every role, the choices there are.
    pub roles: Vec<Vec<Choice>>,
    /// How many pieces each stock has.
    pub stock: Vec<u32>,
    /// Who is used only if nobody else can be.
    pub keep_free: Option<usize>,
}

/// Who holds which role.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Crew {
    /// For every role what was chosen, or nothing where nobody is left for it.
    pub chosen: Vec<Option<Choice>>,
    /// False where the search ended before it had shown that no crew is better.
    pub proved: bool,
    /// No crew that fills as many roles has its last person ready before this.
    pub bound: Millis,
}

/// What makes one crew better than another; less is better, the first difference decides.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Cost {
    pub(super) unfilled: usize,
    pub(super) keeps_nobody_free: bool,
    pub(super) latest: Millis,
    pub(super) sum: Millis,
}

impl Cost {
    pub(super) fn of(
        chosen: impl IntoIterator<Item = Option<Choice>>,
        keep_free: Option<usize>,
    ) -> Cost {
        let mut cost = Cost::default();
        for choice in chosen {
            let Some(choice) = choice else {
                cost.unfilled += 1;
                continue;
            };
            cost.keeps_nobody_free |= Some(choice.person) == keep_free;
            cost.latest = cost.latest.max(choice.time);
            cost.sum = cost.sum.saturating_add(choice.time);
        }
        cost
    }
}

/// Finds the best crew.
pub fn solve(problem: &Problem) -> Crew {
    let task = laid_out(problem);
    let mut staffing = Staffing {
        placer: Placer::new(task.pieces.len()),
        best: quick(&task, problem.keep_free),
        task,
        keep_free: problem.keep_free,
        proved: true,
    };
    staffing.fill();
    staffing.keep_one_free();
    let bound = staffing.be_early();
    staffing.lessen_sum();
    staffing.put_names_in_order();
    Crew {
        chosen: chosen(&staffing.best).collect(),
        proved: staffing.proved,
        bound,
    }
}

fn chosen(placing: &Placing) -> impl Iterator<Item = Option<Choice>> + '_ {
    placing.iter().map(|pick| Some((*pick)?.choice))
}

/// The problem as the search wants it: one pick for each role, person and stock that can run out, and none that a better
/// one with nothing else needed stands beside.
fn laid_out(problem: &Problem) -> Task {
    let pieces_of = |stock: usize| problem.stock.get(stock).copied().unwrap_or(0);
    let there = |choice: &&Choice| choice.stock.is_none_or(|stock| pieces_of(stock) > 0);
    let mut wanted = vec![0_u32; problem.stock.len()];
    for choices in &problem.roles {
        let mut stocks: Vec<usize> = choices
            .iter()
            .filter(there)
            .filter_map(|it| it.stock)
            .collect();
        stocks.sort_unstable();
        stocks.dedup();
        stocks.into_iter().for_each(|stock| wanted[stock] += 1);
    }
    // A stock with a piece for every role that wants one cannot run out.
    let scarce: Vec<usize> = (0..wanted.len())
        .filter(|it| wanted[*it] > pieces_of(*it))
        .collect();
    let kit_of = |choice: &Choice| {
        let kit = choice
            .stock
            .and_then(|stock| scarce.binary_search(&stock).ok());
        kit.unwrap_or(scarce.len())
    };
    let mut people: Vec<usize> = problem.roles.iter().flatten().map(|it| it.person).collect();
    people.sort_unstable();
    people.dedup();
    let rows = problem.roles.iter().map(|choices| {
        let mut picks: Vec<Pick> = choices
            .iter()
            .filter(there)
            .map(|choice| Pick {
                choice: *choice,
                column: people
                    .binary_search(&choice.person)
                    .expect("the list has all people"),
                kit: kit_of(choice),
                cost: 0,
            })
            .collect();
        picks.sort_unstable_by_key(|it| (it.column, it.kit, it.choice.time, it.choice.stock));
        picks.dedup_by_key(|it| (it.column, it.kit));
        let rank = |it: &Pick| (it.choice.time, it.choice.stock);
        let unlimited = |it: &&Pick| it.kit == scarce.len();
        let free: Vec<Pick> = picks.iter().filter(unlimited).copied().collect();
        picks.retain(|pick| {
            let same = free.binary_search_by_key(&pick.column, |it| it.column);
            unlimited(&pick)
                || same.is_ok_and(|same| rank(pick) < rank(&free[same]))
                || same.is_err()
        });
        // Whoever comes after as many as there are roles could be replaced by one of them who has no role, and the crew
        // would be better.
        picks.sort_unstable_by_key(|it| {
            let choice = it.choice;
            (
                Some(choice.person) == problem.keep_free,
                choice.time,
                it.column,
            )
        });
        let mut counts = vec![0; scarce.len() + 1];
        picks.retain(|pick| {
            counts[pick.kit] += 1;
            counts[pick.kit] <= problem.roles.len()
        });
        picks.sort_unstable_by_key(name);
        picks
    });
    Task {
        rows: rows.collect(),
        columns: people.len(),
        pieces: scarce.iter().map(|stock| pieces_of(*stock)).collect(),
        spare: 0,
        empty: 0,
        settled: 0,
    }
}

/// What decides between equals.
fn name(pick: &Pick) -> (usize, Option<usize>) {
    (pick.choice.person, pick.choice.stock)
}

/// A crew without a search, to have one: the role with the fewest picks first, each with the best that is left.
fn quick(task: &Task, keep_free: Option<usize>) -> Placing {
    let mut order: Vec<usize> = (0..task.rows.len()).collect();
    order.sort_by_key(|row| task.rows[*row].len());
    let mut placing = vec![None; task.rows.len()];
    let mut taken = vec![false; task.columns];
    let mut pieces = task.pieces.clone();
    for row in order {
        let left = task.rows[row].iter().filter(|pick| {
            !taken[pick.column] && pieces.get(pick.kit).is_none_or(|pieces| *pieces > 0)
        });
        let best = left.min_by_key(|pick| {
            (
                Some(pick.choice.person) == keep_free,
                pick.choice.time,
                name(pick),
            )
        });
        if let Some(pick) = best {
            taken[pick.column] = true;
            if let Some(pieces) = pieces.get_mut(pick.kit) {
                *pieces -= 1;
            }
            placing[row] = Some(*pick);
        }
    }
    placing
}

/// Meets one aim after the other; what was reached holds from then on because all else leaves the task.
struct Staffing {
    task: Task,
    placer: Placer,
    best: Placing,
    keep_free: Option<usize>,
    proved: bool,
}

impl Staffing {
    fn cost(&self) -> Cost {
        Cost::of(chosen(&self.best), self.keep_free)
    }

    fn steps_left(&self) -> u64 {
        STEPS_MAX.saturating_sub(self.placer.steps())
    }

    /// Asks whether so few roles can stay empty with the picks that pass. What is quick comes first: counting people, counting
    /// pieces, a glance for a placing, counting both together, and only then the search to its end.
    fn ask(&mut self, spare: usize, passes: impl Fn(&Pick) -> bool) -> Answer {
        let mut task = self.task.with_rows(passing(&self.task.rows, passes));
        task.spare = spare;
        if !without_kit(&task, &mut self.placer) || !without_people(&task, &mut self.placer) {
            return Answer::No;
        }
        // That too many roles stay empty is easier to show when every empty one has a cost than when few may be empty.
        (task.spare, task.empty) = (task.rows.len(), 1);
        let limit = i64::try_from(spare).unwrap_or(i64::MAX);
        let short = (STEPS_MAX / GLANCE).min(self.steps_left());
        let mut found = self.placer.search(&task, limit, Aim::Any, short);
        if found.placing.is_none() && !found.proved {
            if self.placer.refutes(&task, limit) {
                return Answer::No;
            }
            let steps = (STEPS_MAX / SHARE).min(self.steps_left());
            found = self.placer.search(&task, limit, Aim::Any, steps);
        }
        match found.placing {
            Some(placing) => Answer::Yes(placing),
            None if found.proved => Answer::No,
            None => Answer::Open,
        }
    }

    /// Fills as many roles as possible.
    fn fill(&mut self) {
        for spare in 0..self.cost().unfilled {
            match self.ask(spare, |_| true) {
                Answer::Yes(placing) => {
                    self.best = placing;
                    break;
                }
                Answer::No => {}
                Answer::Open => self.proved = false,
            }
        }
        self.task.spare = self.cost().unfilled;
    }

    /// Does without the one to keep free, where that leaves no more roles unfilled.
    fn keep_one_free(&mut self) {
        let Some(person) = self.keep_free else {
            return;
        };
        let other = move |pick: &Pick| pick.choice.person != person;
        if self.cost().keeps_nobody_free {
            match self.ask(self.task.spare, other) {
                Answer::Yes(placing) => self.best = placing,
                Answer::No => return,
                Answer::Open => {
                    self.proved = false;
                    return;
                }
            }
        }
        self.task.rows = passing(&self.task.rows, other);
    }

    /// Makes the last to be ready as early as possible; answers before when nobody can be.
    fn be_early(&mut self) -> Millis {
        let picks = self.task.rows.iter().flatten();
        let mut times: Vec<Millis> = picks.map(|pick| pick.choice.time).collect();
        times.sort_unstable();
        times.dedup();
        let index_of = |cost: Cost| times.partition_point(|time| *time < cost.latest);
        // Nothing below `refuted` is possible, all from `reached` on is; below `low` it is not worth asking.
        let mut reached = index_of(self.cost());
        let mut refuted = self.relaxed(&times[..reached]);
        // The easier problems are seldom far off, so the steps from there grow until one succeeds, then halve.
        let (mut low, mut jump) = (refuted, 0);
        while low < reached {
            let asked = (low + jump).min(low + (reached - low) / 2);
            match self.ask(self.task.spare, |pick| pick.choice.time <= times[asked]) {
                Answer::Yes(placing) => {
                    self.best = placing;
                    reached = index_of(self.cost());
                    jump = times.len();
                }
                Answer::No => {
                    (low, refuted) = (asked + 1, asked + 1);
                    jump = 2 * jump + 1;
                }
                Answer::Open => {
                    low = asked + 1;
                    jump = 2 * jump + 1;
                }
            }
        }
        self.proved &= refuted == reached;
        let latest = self.cost().latest;
        self.task.rows = passing(&self.task.rows, |pick| pick.choice.time <= latest);
        times.get(refuted).copied().unwrap_or_default().min(latest)
    }

    /// The first of these times at which neither people alone nor stocks alone stand in the way, or how many there are.
    fn relaxed(&mut self, times: &[Millis]) -> usize {
        let task = &self.task;
        let placer = &mut self.placer;
        times.partition_point(|time| {
            let task = task.with_rows(passing(&task.rows, |pick| pick.choice.time <= *time));
            !without_kit(&task, placer) || !without_people(&task, placer)
        })
    }

    /// Makes the sum of the times least.
    fn lessen_sum(&mut self) {
        for pick in self.task.rows.iter_mut().flatten() {
            pick.cost = pick.choice.time.clamp(Millis(-LONGEST.0), LONGEST).0;
        }
        for (best, row) in self.best.iter_mut().zip(&self.task.rows) {
            if let Some(best) = best {
                let same = row.iter().find(|pick| pick.choice == best.choice);
                best.cost = same.map_or(best.cost, |same| same.cost);
            }
        }
        let steps = self.steps_left();
        let limit = self.sum() - 1;
        let found = self.placer.search(&self.task, limit, Aim::Least, steps);
        self.proved &= found.proved;
        if let Some(placing) = found.placing {
            self.best = placing;
        }
    }

    fn sum(&self) -> i64 {
        self.best.iter().flatten().map(|pick| pick.cost).sum()
    }

    /// Of all crews that cost the same takes the one with the earlier names, role by role.
    fn put_names_in_order(&mut self) {
        if !self.proved {
            return;
        }
        let limit = self.sum();
        self.placer.thin(&mut self.task, limit);
        for row in 0..self.task.rows.len() {
            self.task.settled = row + 1;
            // All earlier names are tried at once, so that the last of them is shown to be impossible only once.
            loop {
                if let Some(held) = self.best[row] {
                    self.task.rows[row].retain(|pick| name(pick) < name(&held));
                }
                if self.task.rows[row].is_empty() {
                    break;
                }
                let steps = self.steps_left();
                let found = self.placer.search(&self.task, limit, Aim::Any, steps);
                self.proved &= found.proved;
                match found.placing {
                    Some(placing) => self.best = placing,
                    None => break,
                }
            }
            self.task.rows[row] = self.best[row].into_iter().collect();
        }
    }
}

enum Answer {
    Yes(Placing),
    No,
    /// The steps ran out.
    Open,
}

fn passing(rows: &[Vec<Pick>], passes: impl Fn(&Pick) -> bool) -> Vec<Vec<Pick>> {
    let row = |row: &Vec<Pick>| row.iter().filter(|it| passes(it)).copied().collect();
    rows.iter().map(row).collect()
}

/// True where there would be a placing if no stock could run out.
fn without_kit(task: &Task, placer: &mut Placer) -> bool {
    placer.matches(task, task.columns, |_, pick| pick.column..pick.column + 1)
}

/// True where there would be a placing if everybody could be in several places.
fn without_people(task: &Task, placer: &mut Placer) -> bool {
    if task.pieces.is_empty() {
        return true;
    }
    placer.matches(task, task.piece_count(), |row, pick| {
        task.pieces_for(row, pick)
    })
}
