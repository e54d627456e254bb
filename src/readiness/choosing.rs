//! Chooses the crews for a whole ladder: candidates are listed, each is valued by the forecast, the best is taken.
//!
//! What was found before something was changed stays a candidate and is given up only for something worth more on the same
//! draws; so one more person, nearer kit or shorter work cannot look harmful by chance. So does, in an incident, the crew
//! in which all orders that stand are kept; and of crews worth as much the one that changes the fewest orders is taken.
//! Limits: other crews than the listed ones are not thought of, and only the most promising get change-by times of their own.

use super::basis::Depth;
use super::changes::{Changes, Prospect, prospect, values};
use super::course::Ladder;
use super::keeping::kept_crew;
use super::model::Posting;
use super::outlook::{Alone, Found, Outlook, Study, sampling, worth};
use super::staffing::Choice;
use super::staging::{Job, LadderCrew, Stage, ladder_crews};
use crate::plan::{Method, Plan};

/// So many crews are valued with change-by times of their own.
const LOOKED_AT_CLOSELY: usize = 3;
/// So much more than the crew in which the first methods choose first another one has to be worth: half a rescue in a hundred.
const WORTH_ANOTHER: f64 = 0.005;

/// How many roles of a ladder nobody holds.
fn vacant(crew: &LadderCrew) -> usize {
    let roles = crew.methods.iter().flatten();
    roles.filter(|job| job.is_none()).count()
}

/// True where the first is worth so much more than the second on the same draws that chance does not explain it.
fn surely_more(one: &[f32], other: &[f32]) -> bool {
    let count = one.len().max(1) as f64;
    let gains = || {
        one.iter()
            .zip(other)
            .map(|(a, b)| f64::from(*a) - f64::from(*b))
    };
    let mean = gains().sum::<f64>() / count;
    let spread = gains().map(|it| (it - mean).powi(2)).sum::<f64>() / count;
    mean > WORTH_ANOTHER + 2.0 * (spread / count).sqrt()
}

/// The orders that stand for a ladder.
struct Orders {
    /// For every method and role the choice that the order for it stands for.
    standing: Vec<Vec<Option<Choice>>>,
    /// Who has another task.
    busy: Vec<usize>,
}

impl Orders {
    /// None where nobody is ordered anywhere.
    fn of(study: &Study<'_, '_>, alone: &[Alone<'_>], order: &[usize]) -> Option<Orders> {
        if study.basis.ordered.is_empty() {
            return None;
        }
        let pool = &study.pool;
        let standing = order.iter().map(|index| {
            let (method, choices) = (alone[*index].method, &alone[*index].choices);
            let sent = study.underway(method).map_or(&[][..], |it| &it.crew);
            let roles = method.roles.iter().zip(choices).map(|(role, choices)| {
                let running = sent.iter().find(|it| it.role == role.id);
                let ordered = pool.order_for(method, role).map(|it| &it.posting);
                let choice = pool.choice(running.or(ordered)?, &role.place)?;
                choices.contains(&choice).then_some(choice)
            });
            roles.collect()
        });
        let people = 0..pool.people.len();
        Some(Orders {
            standing: standing.collect(),
            busy: people.filter(|it| pool.is_busy(*it)).collect(),
        })
    }

    /// The crew in which as many of them as possible are kept: all, unless that leaves more roles empty than it must, or one
    /// of the method that runs.
    fn kept(&self, stage: &Stage<'_>, runs: bool) -> LadderCrew {
        let still = kept_crew(stage, &self.standing, &self.busy, false);
        let moved = kept_crew(stage, &self.standing, &self.busy, true);
        let first = |crew: &LadderCrew| {
            let roles = crew.methods.first().into_iter().flatten();
            roles.filter(|job| job.is_none()).count()
        };
        let fills = vacant(&moved) < vacant(&still);
        match fills || (runs && first(&moved) < first(&still)) {
            true => moved,
            false => still,
        }
    }

    /// How many people have another task and a role all the same.
    fn busy_in(&self, crew: &LadderCrew) -> usize {
        let works = |person: &&usize| {
            let mut jobs = crew.methods.iter().flatten().flatten();
            jobs.any(|job| job.choice.person == **person)
        };
        self.busy.iter().filter(works).count()
    }

    /// How many orders would change, those who have another task counted too.
    fn changed_in(&self, crew: &LadderCrew) -> usize {
        let held = crew.methods.iter().zip(&self.standing);
        let roles = held.flat_map(|(jobs, standing)| jobs.iter().zip(standing));
        let changed = roles.filter(|(job, standing)| {
            let same = |choice: &Choice| {
                job.is_some_and(|job| {
                    (job.choice.person, job.choice.stock) == (choice.person, choice.stock)
                })
            };
            standing.as_ref().is_some_and(|choice| !same(choice))
        });
        changed.count() + self.busy_in(crew)
    }
}

impl<'p> Study<'_, 'p> {
    /// What was found in the order of the rule; or what was found before in another order, where that is worth as much on
    /// the same draws. A person who makes a first method possible puts it first, and that can be worth less than going
    /// straight to a later one as before, which whoever is in command may always do.
    pub(super) fn or_as_before(
        &self,
        plan: &Plan,
        alone: &[Alone<'p>],
        (order, found): (Vec<usize>, Option<Found>),
        incumbent: Option<&Outlook>,
    ) -> (Vec<usize>, Option<Found>) {
        let kept = incumbent.and_then(|it| {
            let ids = it.forecast.order.iter();
            let same = ids.map(|id| order.iter().find(|at| alone[**at].method.id == *id));
            let before: Vec<usize> = same.map(|at| at.copied()).collect::<Option<_>>()?;
            if before.is_empty() || before == order || self.basis.underway.is_some() {
                return None;
            }
            let methods: Vec<&Method> = before.iter().map(|at| alone[*at].method).collect();
            let crew = self.kept(it, &methods)?;
            let ladder = self.of_crew(plan, &methods, &crew);
            let changes = it.prospect.as_ref().map(|it| &it.changes);
            let sampling = sampling(plan, self.basis, self.depth);
            let seen = prospect(&ladder, &worth(plan, self.basis), &sampling, changes);
            let value = found
                .as_ref()
                .map_or(f64::NEG_INFINITY, |(.., it)| it.value);
            (seen.value >= value).then_some((before, Some((crew, ladder, seen))))
        });
        kept.unwrap_or((order, found))
    }

    /// The crews for the whole ladder that are worth most, with what they give.
    pub(super) fn best(
        &self,
        plan: &Plan,
        alone: &[Alone<'p>],
        order: &[usize],
        incumbent: Option<&Outlook>,
    ) -> Option<Found> {
        if order.is_empty() {
            return None;
        }
        let methods: Vec<&Method> = order.iter().map(|index| alone[*index].method).collect();
        let onward = |from: (usize, usize), to: (usize, usize), stock: Option<usize>| {
            let from = &methods[from.0].roles[from.1];
            let to = &methods[to.0].roles[to.1];
            let way = self.pool.way_onward(from, stock, to);
            way.map(|it| it.likely)
        };
        let stage = Stage {
            methods: order.iter().map(|it| alone[*it].choices.clone()).collect(),
            stock: self.pool.counts(),
            keep_free: self.pool.keep_free,
            onward: &onward,
        };
        let orders = Orders::of(self, alone, order);
        let mut crews = ladder_crews(&stage);
        if let Some(orders) = &orders {
            // It comes first, so that another has to be worth more.
            let runs = self.underway(methods[0]).is_some();
            let kept = orders.kept(&stage, runs);
            crews.retain(|it| it.methods != kept.methods);
            let busy = orders.busy_in(&kept);
            crews.retain(|it| vacant(it) < vacant(&kept) || orders.busy_in(it) <= busy);
            crews.insert(0, kept);
        }
        let least = crews.iter().map(vacant).min();
        crews.retain(|crew| Some(vacant(crew)) == least);
        let before = incumbent.and_then(|it| self.kept(it, &methods));
        let kept_changes: Option<&Changes> = incumbent
            .filter(|_| before.is_some())
            .and_then(|it| it.prospect.as_ref())
            .map(|it| &it.changes);
        let kept_at = before.map(|crew| {
            let listed = crews.iter().position(|it| it.methods == crew.methods);
            listed.unwrap_or_else(|| {
                crews.push(crew);
                crews.len() - 1
            })
        });
        let worth = worth(plan, self.basis);
        let value = |crew: &LadderCrew, depth: Depth, changes: Option<&Changes>| {
            let ladder = self.of_crew(plan, &methods, crew);
            let sampling = sampling(plan, self.basis, depth);
            let seen = prospect(&ladder, &worth, &sampling, changes);
            (ladder, seen)
        };
        let close = self.depth;
        let rough = Depth {
            decide_on: close.choose_on,
            value_on: close.choose_on.saturating_mul(2),
            ..close
        };
        let mut best = 0;
        if crews.len() > 1 {
            // All of them with the change-by times of the first, then the most promising with their own.
            let Prospect {
                changes: first,
                value: own,
                ..
            } = value(&crews[0], rough, None).1;
            let sampling = sampling(plan, self.basis, rough);
            let sum = |crew: &LadderCrew| -> f64 {
                let ladder = self.of_crew(plan, &methods, crew);
                let values = values(&ladder, &first, &worth, &sampling);
                values.into_iter().map(f64::from).sum()
            };
            let mut ranked: Vec<(usize, f64)> = crews.iter().map(sum).enumerate().collect();
            ranked.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
            ranked.truncate(LOOKED_AT_CLOSELY);
            // Before the target no time is worth more than another, so luck would choose a crew that is minutes slower.
            let mut most = own + WORTH_ANOTHER;
            let mut worth_it: Vec<(usize, f64)> = Vec::new();
            for (index, _) in ranked {
                let seen = value(&crews[index], rough, None).1;
                if seen.value > most {
                    (best, most) = (index, seen.value);
                }
                worth_it.push((index, seen.value));
            }
            if let Some(orders) = orders.as_ref().filter(|_| best > 0) {
                worth_it.retain(|it| it.1 > own + WORTH_ANOTHER && it.1 >= most - WORTH_ANOTHER);
                let changed = |it: &(usize, f64)| orders.changed_in(&crews[it.0]);
                worth_it.sort_by(|a, b| changed(a).cmp(&changed(b)).then(b.1.total_cmp(&a.1)));
                best = worth_it.first().map_or(best, |it| it.0);
            }
        }
        let changes = kept_changes.filter(|_| kept_at == Some(best));
        let (mut ladder, mut seen) = value(&crews[best], close, changes);
        if orders.is_some() && best > 0 {
            let (own, before) = value(&crews[0], close, None);
            let sampling = sampling(plan, self.basis, close);
            let each =
                |ladder: &Ladder, seen: &Prospect| values(ladder, &seen.changes, &worth, &sampling);
            if !surely_more(&each(&ladder, &seen), &each(&own, &before)) {
                (best, ladder, seen) = (0, own, before);
            }
        }
        if let Some(kept) = kept_at.filter(|kept| *kept != best) {
            // What was found before is given up only for something that is worth more on the same draws.
            let (own, before) = value(&crews[kept], close, kept_changes);
            if before.value >= seen.value {
                (best, ladder, seen) = (kept, own, before);
            }
        }
        Some((crews.swap_remove(best), ladder, seen))
    }

    /// The crews of before, where the same methods are tried and everybody can still go.
    fn kept(&self, before: &Outlook, methods: &[&Method]) -> Option<LadderCrew> {
        let crews = before.crews.as_ref()?;
        let same = before.forecast.order.len() == methods.len()
            && methods
                .iter()
                .zip(&before.forecast.order)
                .all(|(method, id)| method.id == *id);
        let jobs = |(place, (method, crew)): (usize, (&&Method, &Vec<Posting>))| {
            let roles = method.roles.iter();
            let jobs = roles.map(|role| {
                let Some(posting) = crew.iter().find(|it| it.role == role.id) else {
                    // Nobody was left for it before, and nobody has to be now.
                    return Some(None);
                };
                let mut choice = self.pool.choice(posting, &role.place)?;
                let earlier = (0..place).rev().find_map(|earlier| {
                    let mut held = crews[earlier].iter();
                    let held = held.find(|it| it.responder == posting.responder)?;
                    let from = methods[earlier]
                        .roles
                        .iter()
                        .find(|it| it.id == held.role)?;
                    Some((earlier, from))
                });
                let way = match earlier {
                    Some((_, from)) => self.pool.way_onward(from, choice.stock, role)?,
                    None => self.pool.way(choice.person, choice.stock, &role.place)?,
                };
                choice.time = way.likely;
                Some(Some(Job {
                    choice,
                    after: earlier.map(|(earlier, _)| earlier),
                }))
            });
            jobs.collect::<Option<Vec<_>>>()
        };
        if !same {
            return None;
        }
        let all = methods.iter().zip(crews).enumerate().map(jobs);
        Some(LadderCrew {
            methods: all.collect::<Option<Vec<_>>>()?,
            proved: true,
        })
    }
}
