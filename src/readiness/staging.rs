//! Staffs a whole ladder: who does what in every method, so that a later one stands ready while an earlier one is tried.
//!
//! Methods compete for people and kit, and which of them should have the best is for the forecast to say. So this lists
//! candidates: for every order in which the methods may choose, each takes the best crew of who and what is left. Where
//! nobody free can fill a role, somebody comes on from an earlier method of the ladder once that one has ended, with a
//! fresh piece of kit or, where none is left, with the piece in hand. Candidates that are in nothing better than another
//! go. Limits: only the first four methods change places, the others choose after them; a crew that is second best for
//! the method that chooses is never tried, so a better one for the whole ladder can be missed.

use std::collections::BTreeSet;

use super::staffing::{Choice, Cost, Problem, solve};
use crate::units::Millis;

/// So many methods change places; with four there are 24 orders.
const CHANGING_PLACES: usize = 4;

/// A method of the ladder and a role in it.
pub type Post = (usize, usize);

/// A ladder to staff.
#[derive(Clone)]
pub struct Stage<'a> {
    /// For every method in the order of the ladder and every role in it, the choices there are for people as they stand now.
    pub methods: Vec<Vec<Vec<Choice>>>,
    /// How many pieces each stock has.
    pub stock: Vec<u32>,
    /// Who is used only if nobody else can be.
    pub keep_free: Option<usize>,
    /// From standing in one role to being ready in a role of a later method, by way of a stock; none where no way leads.
    pub onward: &'a dyn Fn(Post, Post, Option<usize>) -> Option<Millis>,
}

/// What one person does in one method.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Job {
    /// Who, with what kit, and how long until ready: from now, or from the end of the method before. Whoever comes on
    /// with the piece in hand draws on no stock.
    pub choice: Choice,
    /// The earlier method in which this person works before, if any; the last of them where there are several.
    pub after: Option<usize>,
}

/// Who does what in every method of a ladder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LadderCrew {
    /// For every method and role the job, or nothing where nobody is left for it.
    pub methods: Vec<Vec<Option<Job>>>,
    /// True where every method has the best crew of what was left to it.
    pub proved: bool,
}

/// What makes one method's crew better than another's; less is better in each.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Measure {
    cost: Cost,
    coming_on: usize,
}

impl Measure {
    fn of(jobs: &[Option<Job>], keep_free: Option<usize>) -> Measure {
        Measure {
            cost: Cost::of(jobs.iter().map(|job| Some((*job)?.choice)), keep_free),
            coming_on: jobs
                .iter()
                .flatten()
                .filter(|job| job.after.is_some())
                .count(),
        }
    }

    fn no_worse(&self, other: &Measure) -> bool {
        self.cost.unfilled <= other.cost.unfilled
            && self.cost.keeps_nobody_free <= other.cost.keeps_nobody_free
            && self.coming_on <= other.coming_on
            && self.cost.latest <= other.cost.latest
            && self.cost.sum <= other.cost.sum
    }
}

/// The crews among which a forecast chooses, none in every respect as good as another before it.
///
/// The first is that in which the methods choose in the order of the ladder. It always stays, so there the first method
/// has the crew that it has alone.
pub fn ladder_crews(stage: &Stage<'_>) -> Vec<LadderCrew> {
    let mut listing = Listing::new(stage);
    listing.staff(&mut Vec::new(), listing.nobody());
    let listed = &listing.listed;
    let goes = |index: usize| {
        let mut others = listed.iter().enumerate();
        let own = &listed[index].1;
        index > 0
            && others.any(|(other, (_, measures))| {
                let no_worse = measures.iter().zip(own).all(|(it, own)| it.no_worse(own));
                other != index && no_worse && (measures != own || other < index)
            })
    };
    let stay = (0..listed.len()).filter(|index| !goes(*index));
    stay.map(|index| listed[index].0.clone()).collect()
}

/// The choices without those that never come into question: of each stock only as many people as the whole ladder has
/// roles, because at least one of them is left whenever somebody after them could be sent.
fn nearest(stage: &Stage<'_>) -> Vec<Vec<Vec<Choice>>> {
    let roles = stage.methods.iter().map(Vec::len).sum();
    let near = |choices: &Vec<Choice>| {
        let mut sorted = choices.clone();
        sorted.sort_unstable_by_key(|it| {
            let kept_free = Some(it.person) == stage.keep_free;
            (it.stock, kept_free, it.time, it.person)
        });
        let mut found: Vec<Choice> = Vec::with_capacity(sorted.len());
        let mut people: Vec<usize> = Vec::new();
        for choice in sorted {
            if found.last().is_none_or(|last| last.stock != choice.stock) {
                people.clear();
            }
            if people.len() < roles && !people.contains(&choice.person) {
                people.push(choice.person);
                found.push(choice);
            }
        }
        found
    };
    let methods = stage.methods.iter();
    methods
        .map(|roles| roles.iter().map(near).collect())
        .collect()
}

pub(super) struct Listing<'l, 'a> {
    pub(super) stage: &'l Stage<'a>,
    near: Vec<Vec<Vec<Choice>>>,
    /// For every stock the only person who ever draws on it, such as whoever has that piece in hand.
    only: Vec<Option<usize>>,
    listed: Vec<(LadderCrew, Vec<Measure>)>,
}

impl<'l, 'a> Listing<'l, 'a> {
    pub(super) fn new(stage: &'l Stage<'a>) -> Listing<'l, 'a> {
        let mut only: Vec<Option<usize>> = vec![None; stage.stock.len()];
        let mut seen = vec![false; stage.stock.len()];
        for choice in stage.methods.iter().flatten().flatten() {
            let Some(stock) = choice.stock.filter(|it| *it < only.len()) else {
                continue;
            };
            only[stock] = match seen[stock] {
                false => Some(choice.person),
                true => only[stock].filter(|only| *only == choice.person),
            };
            seen[stock] = true;
        }
        Listing {
            stage,
            near: nearest(stage),
            only,
            listed: Vec::new(),
        }
    }

    /// A ladder with nobody in it.
    pub(super) fn nobody(&self) -> LadderCrew {
        let methods = self.stage.methods.iter();
        LadderCrew {
            methods: methods.map(|it| vec![None; it.len()]).collect(),
            proved: true,
        }
    }

    /// Lets the methods that have not chosen yet choose, in every order.
    fn staff(&mut self, chose: &mut Vec<usize>, crew: LadderCrew) {
        let methods = self.stage.methods.len();
        if chose.len() == methods {
            self.list(crew);
            return;
        }
        let next = match methods.min(CHANGING_PLACES) {
            changing if chose.len() < changing => 0..changing,
            _ => chose.len()..chose.len() + 1,
        };
        for method in next {
            if !chose.contains(&method) {
                let mut with = crew.clone();
                self.choose(method, &mut with, &|_| true);
                chose.push(method);
                self.staff(chose, with);
                chose.pop();
            }
        }
    }

    fn list(&mut self, crew: LadderCrew) {
        let same = |it: &&mut (LadderCrew, _)| it.0.methods == crew.methods;
        if let Some((listed, _)) = self.listed.iter_mut().find(same) {
            listed.proved |= crew.proved;
            return;
        }
        let keep_free = self.stage.keep_free;
        let measures = crew.methods.iter().map(|jobs| Measure::of(jobs, keep_free));
        let measures = measures.collect();
        self.listed.push((crew, measures));
    }

    /// Gives a method the best crew of who and what is left. Roles that somebody has already stay theirs.
    pub(super) fn choose(&self, method: usize, crew: &mut LadderCrew, may: &dyn Fn(usize) -> bool) {
        let jobs = || crew.methods.iter().flatten().flatten();
        let taken: BTreeSet<usize> = jobs().map(|job| job.choice.person).collect();
        let mut left = self.stage.stock.clone();
        for stock in jobs().filter_map(|job| job.choice.stock) {
            left[stock] -= 1;
        }
        let held = crew.methods[method].clone();
        let settled = held.iter().flatten().count();
        let free = |choice: &&Choice| !taken.contains(&choice.person) && may(choice.person);
        let near = self.near[method].iter().zip(&held);
        let roles: Vec<Vec<Choice>> = near
            .map(|(choices, job)| match job {
                Some(_) => Vec::new(),
                None => choices.iter().filter(free).copied().collect(),
            })
            .collect();
        let ask = |roles: &[Vec<Choice>], stock: &[u32]| {
            solve(&Problem {
                roles: roles.to_vec(),
                stock: stock.to_vec(),
                keep_free: self.stage.keep_free,
            })
        };
        let cost = |chosen: &[Option<Choice>]| {
            let cost = Cost::of(chosen.iter().copied(), self.stage.keep_free);
            (cost.unfilled - settled, cost.keeps_nobody_free)
        };
        let alone = ask(&roles, &left);
        let mut proved = alone.proved;
        let mut chosen: Vec<Option<Job>> = without_before(&alone.chosen);
        if cost(&alone.chosen) > (0, false) {
            let mut comers = self.comers(method, crew, &left);
            for (comers, job) in comers.iter_mut().zip(&held) {
                comers.retain(|comer| {
                    let person = comer.job.choice.person;
                    let same = |it: &Job| it.choice.person == person;
                    job.is_none() && !held.iter().flatten().any(same)
                });
            }
            let longest = comers.iter().flatten().map(|comer| comer.job.choice.time);
            let longest = longest
                .chain(roles.iter().flatten().map(|it| it.time))
                .max();
            // Whoever comes on counts as later than anybody free, and with the piece in hand as later still, so that as few
            // as possible do.
            let later = longest.unwrap_or_default().saturating_add(Millis(1));
            let mut all = roles.clone();
            for (choices, comers) in all.iter_mut().zip(&comers) {
                choices.extend(comers.iter().map(|comer| comer.counted_as(later)));
            }
            let together = ask(&all, &left);
            if cost(&together.chosen) < cost(&alone.chosen) {
                // Who comes on is settled; the rest is the best crew for what they leave.
                let mut rest = roles;
                for (role, choice) in together.chosen.iter().enumerate() {
                    let same = |it: &&Comer| Some(it.counted_as(later)) == *choice;
                    if let Some(comer) = comers[role].iter().find(same) {
                        chosen[role] = Some(comer.job);
                        rest[role].clear();
                        if let Some(stock) = comer.job.choice.stock {
                            left[stock] -= 1;
                        }
                    } else {
                        chosen[role] = None;
                    }
                }
                let others = ask(&rest, &left);
                for (chosen, other) in chosen.iter_mut().zip(without_before(&others.chosen)) {
                    *chosen = chosen.or(other);
                }
                proved = together.proved && others.proved;
            }
        }
        for (chosen, held) in chosen.iter_mut().zip(held) {
            *chosen = held.or(*chosen);
        }
        crew.methods[method] = chosen;
        crew.proved &= proved;
    }

    /// For every role of a method who could come on to it from an earlier one.
    fn comers(&self, method: usize, crew: &LadderCrew, left: &[u32]) -> Vec<Vec<Comer>> {
        let works = |jobs: &[Option<Job>], person: usize| {
            let mut jobs = jobs.iter();
            jobs.position(|job| job.is_some_and(|job| job.choice.person == person))
        };
        let come = |(role, choices): (usize, &Vec<Choice>)| {
            let people: BTreeSet<usize> = choices.iter().map(|it| it.person).collect();
            let stocks: BTreeSet<Option<usize>> = choices.iter().map(|it| it.stock).collect();
            let mut comers = Vec::new();
            for person in people {
                let later = &crew.methods[method + 1..];
                if later.iter().any(|jobs| works(jobs, person).is_some()) {
                    continue;
                }
                let before = (0..method)
                    .rev()
                    .find_map(|before| Some((before, works(&crew.methods[before], person)?)));
                let Some(from) = before else {
                    continue;
                };
                let mut comes = |stock: Option<usize>, in_hand: bool| {
                    let time = (self.stage.onward)(from, (method, role), stock);
                    comers.extend(time.map(|time| Comer {
                        job: Job {
                            choice: Choice {
                                person,
                                stock,
                                time,
                            },
                            after: Some(from.0),
                        },
                        in_hand,
                    }));
                };
                for stock in &stocks {
                    let there = |it: usize| {
                        let own = self
                            .only
                            .get(it)
                            .is_some_and(|it| it.is_none_or(|it| it == person));
                        own && left[it] > 0
                    };
                    if stock.is_none_or(there) {
                        comes(*stock, false);
                    }
                }
                if !stocks.contains(&None) && stocks.contains(&in_hand(crew, method, person)) {
                    comes(None, true);
                }
            }
            comers
        };
        self.stage.methods[method]
            .iter()
            .enumerate()
            .map(come)
            .collect()
    }
}

/// The stock from which a person has a piece in hand when coming on to a method: the last that was fetched before.
fn in_hand(crew: &LadderCrew, method: usize, person: usize) -> Option<usize> {
    let jobs = crew.methods[..method].iter().rev().flatten().flatten();
    let mut own = jobs.filter(|job| job.choice.person == person);
    own.find_map(|job| job.choice.stock)
}

fn without_before(chosen: &[Option<Choice>]) -> Vec<Option<Job>> {
    let job = |choice: &Choice| Job {
        choice: *choice,
        after: None,
    };
    chosen.iter().map(|it| it.as_ref().map(job)).collect()
}

/// Somebody who could come on from an earlier method.
struct Comer {
    job: Job,
    /// True where it is with the piece in hand.
    in_hand: bool,
}

impl Comer {
    fn counted_as(&self, later: Millis) -> Choice {
        let own = self.job.choice;
        let time = own.time.saturating_add(later);
        let later = if self.in_hand { later } else { Millis::ZERO };
        Choice {
            time: time.saturating_add(later),
            ..own
        }
    }
}
