//! Puts together what is expected of every method at a position: who goes, how long it takes, when to change.
//!
//! First each method is looked at alone, which gives the order they are tried in. Then crews for the whole ladder are
//! listed, each is valued by the forecast, and the best of them is looked at closely. The crew of a method that runs is kept,
//! and orders that stand are changed only for something that is worth it. In an incident people leave from where they are by
//! their orders, and no way leads along what is blocked. Pure: the same plan and basis give the same forecast everywhere.
//! Limits: whoever has no order leaves from where they usually are; a method for which nobody is left in a role counts for
//! nothing.

use super::basis::{Basis, Depth};
use super::changes::{Lone, Prospect, Sampling, Worth, prospect, values};
use super::course::{Arrival, Attempt, Ladder, Sent, Task};
use super::model::{
    Forecast, LadderForecast, MethodForecast, NEVER, Paper, Posting, StartForecast,
};
use super::order::{Candidate, in_order};
use super::pool::{Admit, Pool};
use super::staffing::{Choice, Problem, solve};
use super::staging::{Job, LadderCrew};
use super::steps::{needed_at, release, still_works};
use super::terrain::{Terrain, passable, turned};
use crate::plan::{Method, Milestone, Plan, Position, Role, Step};
use crate::units::{Millis, Ratio};

/// The forecast for a position; none where the plan has no such position.
pub fn outlook(plan: &Plan, basis: &Basis, depth: Depth) -> Option<Forecast> {
    let basis = &basis.bounded();
    let plan = passable(plan, basis);
    let turned = turned(&plan);
    let terrain = Terrain::toward(&plan, &turned, basis);
    Outlook::on(&terrain, basis, depth, None).map(|it| it.forecast)
}

/// A forecast with everything it was made from.
#[derive(Clone, Debug)]
pub struct Outlook {
    /// For the record and the screen.
    pub forecast: Forecast,
    /// What the whole ladder gives; none where no method can be tried.
    pub prospect: Option<Prospect>,
    /// The ladder it was computed from.
    pub(super) ladder: Option<Ladder>,
    /// Who was chosen for it, to be kept as a candidate when something is changed.
    pub(super) crews: Option<Vec<Vec<Posting>>>,
}

impl Outlook {
    /// Looks at a position with one basis. What was found before, for nearly the same, stays a candidate.
    pub fn new(
        terrain: &Terrain<'_>,
        basis: &Basis,
        depth: Depth,
        incumbent: Option<&Outlook>,
    ) -> Option<Outlook> {
        if basis.blocked.is_empty() {
            return Outlook::on(terrain, basis, depth, incumbent);
        }
        let plan = passable(terrain.plan, basis);
        Outlook::on(&Terrain::new(&plan), basis, depth, incumbent)
    }

    fn on(
        terrain: &Terrain<'_>,
        basis: &Basis,
        depth: Depth,
        incumbent: Option<&Outlook>,
    ) -> Option<Outlook> {
        let position = terrain.plan.position(&basis.position)?;
        let pool = Pool::new(terrain, position, basis);
        Some(Study { pool, basis, depth }.make(terrain.plan, incumbent))
    }

    /// What every fresh draw is worth; empty where no method can be tried.
    pub(super) fn values(&self, plan: &Plan, basis: &Basis, depth: Depth) -> Vec<f32> {
        let worth = worth(plan, basis);
        let sampling = sampling(plan, basis, depth);
        match (&self.ladder, &self.prospect) {
            (Some(ladder), Some(prospect)) => values(ladder, &prospect.changes, &worth, &sampling),
            _ => Vec::new(),
        }
    }
}

pub(super) fn worth(plan: &Plan, basis: &Basis) -> Worth {
    Worth {
        target: plan.policy.target,
        ends: plan.policy.value_ends,
        aim: basis.aim,
    }
}

pub(super) fn sampling(plan: &Plan, basis: &Basis, depth: Depth) -> Sampling {
    Sampling {
        seed: basis.seed,
        crew_spread: plan.policy.crew_spread,
        slower: match basis.dark {
            true => plan.policy.dark_factor,
            false => Ratio(1_000_000),
        },
        decide_on: depth.decide_on,
        value_on: depth.value_on,
    }
}

/// One method as it was looked at alone.
pub(super) struct Alone<'p> {
    pub(super) method: &'p Method,
    pub(super) choices: Vec<Vec<Choice>>,
    crew: Vec<Option<Choice>>,
    lone: Option<Lone>,
    papers: Vec<Paper>,
    unfit: Option<super::fit::Unfit>,
    no_kit: Vec<String>,
}

impl Alone<'_> {
    fn is_filled(&self) -> bool {
        self.crew.iter().all(Option::is_some)
    }

    /// True where it can be tried at all.
    fn is_possible(&self) -> bool {
        self.unfit.is_none() && self.no_kit.is_empty()
    }
}

/// A method of the ladder and who does what in it.
pub(super) type Rung<'a> = (&'a Method, &'a [Option<Job>]);

/// Where somebody who comes on works before: the role in the method that they come on from.
fn comes_from<'a>(job: &Job, rungs: &[Rung<'a>]) -> Option<&'a Role> {
    let (before, held) = rungs.get(job.after?)?;
    let same = |it: &Option<Job>| it.is_some_and(|it| it.choice.person == job.choice.person);
    before.roles.get(held.iter().position(same)?)
}

/// A method's place in the ladder, and what was computed for that.
struct Row<'a> {
    place: usize,
    prospect: &'a Prospect,
    jobs: &'a [Option<Job>],
    /// The whole ladder, for those who come on.
    rungs: &'a [Rung<'a>],
    /// True where it must not be left, so no time to leave it is said.
    committed: bool,
}

impl Row<'_> {
    /// When to change, for every start.
    fn starts(&self, ends: Millis) -> Vec<StartForecast> {
        let last = self.place + 1 == self.prospect.changes.by.len();
        let rows = self
            .prospect
            .changes
            .by
            .get(self.place)
            .into_iter()
            .flatten();
        rows.map(|row| {
            let leaves = !last && !self.committed && row.change_by < ends;
            StartForecast(row.at.0, leaves.then_some(row.change_by.0), row.chance.0)
        })
        .collect()
    }
}

/// Who does what in the whole ladder, as the computation sees it, and what that gives.
pub(super) type Found = (LadderCrew, Ladder, Prospect);

pub(super) struct Study<'t, 'p> {
    pub(super) pool: Pool<'t, 'p>,
    pub(super) basis: &'t Basis,
    pub(super) depth: Depth,
}

impl<'p> Study<'_, 'p> {
    fn make(&self, plan: &Plan, incumbent: Option<&Outlook>) -> Outlook {
        let position = self.pool.position;
        let alone: Vec<Alone<'p>> = position
            .methods
            .iter()
            .map(|method| self.alone(plan, method))
            .collect();
        let order = self.order(plan, position, &alone);
        let found = self.best(plan, &alone, &order, incumbent);
        let (order, found) = self.or_as_before(plan, &alone, (order, found), incumbent);
        let mut methods: Vec<MethodForecast> =
            alone.iter().map(|it| self.of_alone(it, None)).collect();
        let (mut ladder, mut seen, mut crews) = (None, None, None);
        if let Some((crew, rungs, prospect)) = found {
            let held = order.iter().map(|index| alone[*index].method);
            let held = held.zip(&crew.methods);
            let held: Vec<Rung<'_>> = held.map(|(it, jobs)| (it, jobs.as_slice())).collect();
            for (place, index) in order.iter().enumerate() {
                let jobs = &crew.methods[place];
                let underway = self.underway(alone[*index].method);
                let row = Row {
                    place,
                    committed: underway.is_some_and(|it| it.committed),
                    prospect: &prospect,
                    jobs,
                    rungs: &held,
                };
                let mut forecast = self.of_alone(&alone[*index], Some(row));
                for (role, job) in alone[*index].method.roles.iter().zip(jobs) {
                    // Whoever comes on with the piece in hand still brings it, from whichever method they fetched it for.
                    let in_hand = job.as_ref().filter(|it| it.choice.stock.is_none());
                    let comes = in_hand.is_some_and(|it| it.after.is_some()) && role.kit.is_some();
                    let mut crew = forecast.crew.iter_mut();
                    let Some(own) = crew.find(|it| comes && it.role == role.id) else {
                        continue;
                    };
                    let before = order[..place].iter().rev();
                    let mut before = before.flat_map(|before| &methods[*before].crew);
                    let before =
                        before.find(|it| it.responder == own.responder && it.kit.is_some());
                    own.kit = before.and_then(|it| it.kit.clone());
                    own.fetch_ms = (!self.basis.ready).then_some(0);
                }
                methods[*index] = forecast;
            }
            let postings = order.iter().map(|index| methods[*index].crew.clone());
            crews = Some(postings.collect());
            (ladder, seen) = (Some(rungs), Some(prospect));
        }
        let ids = order
            .iter()
            .map(|index| position.methods[*index].id.clone());
        let order: Vec<String> = ids.collect();
        let beside = self.pool.beside(&methods, &order);
        Outlook {
            forecast: Forecast {
                position: position.id.clone(),
                methods,
                first_aider: beside.first_aider,
                standing: beside.standing,
                unmanned: beside.unmanned,
                order,
                ladder: seen.as_ref().map(|it| LadderForecast {
                    chance: it.chance,
                    likely_ms: it.p50.map(|it| it.0),
                    bad_day_ms: it.p90.map(|it| it.0),
                    contact_ms: it.contact_p50.map(|it| it.0),
                    never: it.never,
                }),
            },
            prospect: seen,
            ladder,
            crews,
        }
    }

    pub(super) fn underway(&self, method: &Method) -> Option<&super::basis::Underway> {
        let underway = self.basis.underway.as_ref();
        underway.filter(|it| it.method == method.id)
    }

    /// A method by itself, as if it began now.
    fn alone(&self, plan: &Plan, method: &'p Method) -> Alone<'p> {
        let solve = |choices: &Vec<Vec<Choice>>| {
            solve(&Problem {
                roles: choices.clone(),
                stock: self.pool.counts(),
                keep_free: self.pool.keep_free,
            })
            .chosen
        };
        let mut choices = Vec::new();
        let mut crew = vec![None; method.roles.len()];
        let mut admitted = Admit::WIDER[0];
        for admit in Admit::WIDER {
            let wider = self.choices(method, admit);
            if wider != choices {
                choices = wider;
                crew = solve(&choices);
                admitted = admit;
            }
            if crew.iter().all(Option::is_some) {
                break;
            }
        }
        let free = |crew: &[Option<Choice>]| -> Vec<Option<Job>> {
            let jobs = crew.iter().map(|choice| {
                choice.map(|choice| Job {
                    choice,
                    after: None,
                })
            });
            jobs.collect()
        };
        let jobs = free(&crew);
        // The order in which methods are tried must not hang on who was given a standing role since.
        let with_posted = self.choices(
            method,
            Admit {
                posted: true,
                ..admitted
            },
        );
        let valued = match with_posted == choices {
            true => jobs.clone(),
            false => free(&solve(&with_posted)),
        };
        let papers = self.papers(method, &jobs);
        let mut alone = Alone {
            method,
            choices,
            crew,
            lone: None,
            papers,
            unfit: self.pool.unfit(method),
            no_kit: self.pool.no_kit(method),
        };
        if alone.is_possible() {
            let ladder = self.ladder(
                plan,
                vec![self.attempt(plan, method, &valued, &[])],
                Some(method),
            );
            let depth = Depth {
                decide_on: 1,
                value_on: self.depth.choose_on,
                ..self.depth
            };
            let sampling = sampling(plan, self.basis, depth);
            let seen = prospect(&ladder, &worth(plan, self.basis), &sampling, None);
            alone.lone = seen.alone.into_iter().next();
        }
        alone
    }

    /// Who could hold each role. Whoever was sent is the only choice for theirs; the others fill what is vacant.
    fn choices(&self, method: &Method, admit: Admit) -> Vec<Vec<Choice>> {
        let mut choices = self.pool.choices(method, admit);
        let crew = self.underway(method).map_or(&[][..], |it| &it.crew);
        for (role, own) in method.roles.iter().zip(&mut choices) {
            let sent = crew.iter().find(|it| it.role == role.id);
            if let Some(choice) = sent.and_then(|it| self.pool.choice(it, &role.place)) {
                *own = vec![choice];
            }
        }
        choices
    }

    fn papers(&self, method: &Method, jobs: &[Option<Job>]) -> Vec<Paper> {
        let held = method.roles.iter().zip(jobs);
        let chosen = held.filter_map(|(role, job)| Some((role, job.as_ref()?)));
        chosen
            .flat_map(|(role, job)| self.pool.papers(role, &job.choice))
            .collect()
    }

    /// Indices of the methods that can be tried, in the order in which they are; the running one first.
    fn order(&self, plan: &Plan, position: &Position, alone: &[Alone<'p>]) -> Vec<usize> {
        let running = position
            .methods
            .iter()
            .position(|method| self.underway(method).is_some());
        let open: Vec<usize> = (0..alone.len())
            .filter(|index| {
                let it = &alone[*index];
                it.is_possible()
                    && it.is_filled()
                    && Some(*index) != running
                    && (it.papers.is_empty() || !self.basis.ready)
                    && !self.basis.out.contains(&it.method.id)
            })
            .collect();
        let candidates: Vec<Candidate> = open
            .iter()
            .map(|index| {
                let it = &alone[*index];
                let lone = it.lone.as_ref();
                Candidate {
                    last: !it.papers.is_empty(),
                    earlier: running.is_some_and(|running| *index < running),
                    chance: lone.map_or(Ratio(0), |it| it.chance),
                    works: lone.map_or(Ratio(0), |it| it.works),
                    hands: lone.and_then(|it| it.contact_p50).unwrap_or(NEVER),
                    off: lone.and_then(|it| it.p50).unwrap_or(NEVER),
                }
            })
            .collect();
        let order = in_order(&candidates, self.basis.aim, plan.policy.try_floor);
        // A running method whose crew was lost still runs, and has no times.
        let runs = running.filter(|it| alone[*it].is_filled() && alone[*it].is_possible());
        runs.into_iter()
            .chain(order.into_iter().map(|index| open[index]))
            .collect()
    }

    pub(super) fn of_crew(&self, plan: &Plan, methods: &[&'p Method], crew: &LadderCrew) -> Ladder {
        let rungs: Vec<Rung<'_>> = methods
            .iter()
            .zip(&crew.methods)
            .map(|(method, jobs)| (*method, jobs.as_slice()))
            .collect();
        let attempts = rungs
            .iter()
            .map(|(method, jobs)| self.attempt(plan, method, jobs, &rungs))
            .collect();
        self.ladder(plan, attempts, methods.first().copied())
    }

    pub(super) fn ladder(
        &self,
        plan: &Plan,
        attempts: Vec<Attempt>,
        first: Option<&Method>,
    ) -> Ladder {
        let now = self.basis.since_fall;
        let underway = first.and_then(|method| self.underway(method));
        Ladder {
            attempts,
            now,
            // Where it is known who is on the way, all other orders are still to be given.
            ordered: match self.basis.ordered.is_empty() {
                true => underway.map_or(now, |it| it.started),
                false => now,
            },
            order_time: plan.policy.order_time,
            started: underway.map_or(now, |it| it.started),
            committed: underway.is_some_and(|it| it.committed),
        }
    }

    fn of_alone(&self, alone: &Alone<'p>, row: Option<Row<'_>>) -> MethodForecast {
        let method = alone.method;
        let own: Vec<Option<Job>> = alone
            .crew
            .iter()
            .map(|choice| {
                choice.map(|choice| Job {
                    choice,
                    after: None,
                })
            })
            .collect();
        let jobs = row.as_ref().map_or(&own[..], |it| it.jobs);
        let held = || method.roles.iter().zip(jobs);
        let rungs = row.as_ref().map_or(&[][..], |it| it.rungs);
        let crew = held().filter_map(|(role, job)| {
            let job = job.as_ref()?;
            let from = comes_from(job, rungs);
            Some(self.pool.posting(role, &job.choice, from))
        });
        let crew: Vec<Posting> = crew.collect();
        let unfilled = held().filter(|(_, job)| job.is_none());
        let unfilled = unfilled.map(|(role, _)| role.id.clone()).collect();
        let started = self
            .underway(method)
            .map_or(self.basis.since_fall, |it| it.started);
        let after_start = |at: Millis| at.saturating_sub(started).0;
        let lone = alone.lone.as_ref();
        let arrived = crew.iter().map(|it| it.travel_ms).max().unwrap_or(0);
        let in_order = |work: Millis| work.saturating_add(Millis(arrived)).0;
        let likely_ms = lone
            .and_then(|it| it.p50)
            .map_or_else(|| in_order(method.likely_work()), after_start);
        let contact_ms = method.likely_until(Milestone::FirstContact).map(|work| {
            let contact = lone.and_then(|it| it.contact_p50);
            contact.map_or_else(|| in_order(work), after_start)
        });
        let starts: Vec<StartForecast> = row
            .as_ref()
            .map(|it| it.starts(self.pool.terrain.plan.policy.value_ends))
            .unwrap_or_default();
        let planned = method.change_after.map_or(likely_ms, |it| it.0);
        let mut forecast = MethodForecast {
            method: method.id.clone(),
            change_after_ms: planned,
            source: if starts.is_empty() {
                "plan"
            } else {
                "computed"
            }
            .to_owned(),
            likely_ms,
            crew,
            contact_ms,
            unfilled,
            no_kit: alone.no_kit.clone(),
            papers: self.papers(method, jobs),
            unfit: alone.unfit.clone(),
            starts,
            works: lone.map(|it| it.works),
            bad_day_ms: lone.and_then(|it| it.p90).map(after_start),
            share: row
                .as_ref()
                .and_then(|it| it.prospect.shares.get(it.place))
                .copied(),
            assumed: method.drills.unwrap_or(0) < self.pool.terrain.plan.policy.drills_enough,
        };
        let change_by = forecast.change_by(started);
        if !forecast.starts.is_empty() && change_by < NEVER {
            forecast.change_after_ms = after_start(change_by);
        }
        forecast
    }

    /// True where somebody has this order already, so that nothing has to be said.
    fn is_on_it(&self, method: &Method, role: &Role, choice: &Choice) -> bool {
        let order = self.pool.order_for(method, role);
        order.is_some_and(|it| {
            it.posting.place == role.place && self.pool.is_for(&it.posting, choice)
        })
    }

    /// A method as the computation sees it: its tasks up to off the harness, and who they wait for.
    pub(super) fn attempt(
        &self,
        plan: &Plan,
        method: &Method,
        jobs: &[Option<Job>],
        ladder: &[Rung<'_>],
    ) -> Attempt {
        let underway = self.underway(method);
        let first = underway.map_or(0, |it| it.step);
        let release = release(method);
        let steps = &method.steps[..release];
        let done = &steps[..first.min(release)];
        let task = |(index, step): (usize, &Step)| Task {
            name: format!("step-{index}"),
            time: step.time,
            elapsed: match underway {
                Some(it) if index == first => self.basis.since_fall.saturating_sub(it.step_since),
                _ => Millis::ZERO,
            },
            fails_after: step.fails_after,
            fallback: step
                .fallback
                .iter()
                .enumerate()
                .map(|(number, it)| {
                    let name = format!("step-{index}-fallback-{number}");
                    (name, it.time.unwrap_or(step.time))
                })
                .collect(),
            committed: step.committed,
            contact: step.milestone == Some(Milestone::FirstContact),
        };
        let arrivals = method.roles.iter().zip(jobs).filter_map(|(role, job)| {
            let job = job.as_ref()?;
            let there = done.iter().any(|it| it.role.as_ref() == Some(&role.id));
            let person = self.pool.people[job.choice.person];
            let (way, sent) = match job.after {
                Some(_) => {
                    let before = comes_from(job, ladder)?;
                    let way = self.pool.way_onward(before, job.choice.stock, role)?;
                    (way, Sent::AtStart)
                }
                None => {
                    let way = self
                        .pool
                        .way(job.choice.person, job.choice.stock, &role.place)?;
                    let sent = match there {
                        true => Sent::There,
                        false if self.is_on_it(method, role, &job.choice) => Sent::OnTheWay,
                        false => Sent::AtOnce,
                    };
                    (way, sent)
                }
            };
            Some(Arrival {
                who: person.id.clone(),
                way,
                sent,
                task: needed_at(method, &role.id).saturating_sub(first),
            })
        });
        Attempt {
            name: format!("{}/{}", self.pool.position.id, method.id),
            success: match jobs.iter().all(Option::is_some) {
                true => still_works(
                    method.success.unwrap_or(plan.policy.assumed_success),
                    steps,
                    first,
                ),
                // Nobody is left for a role while the other methods are staffed too.
                false => Ratio(0),
            },
            arrivals: arrivals.collect(),
            tasks: steps.iter().enumerate().skip(first).map(task).collect(),
        }
    }
}
