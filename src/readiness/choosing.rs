//! Chooses the crews for a whole ladder: candidates are listed, each is valued by the forecast, the best is taken.
//!
//! What was found before something was changed stays a candidate and is given up only for something worth more on the same
//! draws; so one more person, nearer kit or shorter work cannot look harmful by chance. Limits: other crews than the listed
//! ones are not thought of, and only the most promising get change-by times of their own.

use super::basis::Depth;
use super::changes::{Changes, Prospect, prospect, values};
use super::model::Posting;
use super::outlook::{Alone, Found, Outlook, Study, sampling, worth};
use super::staging::{Job, LadderCrew, Stage, ladder_crews};
use crate::plan::{Method, Plan};

/// So many crews are valued with change-by times of their own.
const LOOKED_AT_CLOSELY: usize = 3;
/// So much more than the crew in which the first methods choose first another one has to be worth: half a rescue in a hundred.
const WORTH_ANOTHER: f64 = 0.005;

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
            self.pool.way_onward(from, stock, to).map(|it| it.likely)
        };
        let stage = Stage {
            methods: order.iter().map(|it| alone[*it].choices.clone()).collect(),
            stock: self.pool.counts(),
            keep_free: self.pool.keep_free,
            onward: &onward,
        };
        let mut crews = ladder_crews(&stage);
        let vacant = |crew: &LadderCrew| {
            let roles = crew.methods.iter().flatten();
            roles.filter(|job| job.is_none()).count()
        };
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
            for (index, _) in ranked {
                let seen = value(&crews[index], rough, None).1;
                if seen.value > most {
                    (best, most) = (index, seen.value);
                }
            }
        }
        let changes = kept_changes.filter(|_| kept_at == Some(best));
        let (mut ladder, mut seen) = value(&crews[best], close, changes);
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
                let mut choice = self.pool.choice(posting)?;
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
                    None => {
                        let place = &self.pool.people[choice.person].place;
                        self.pool.way(place, choice.stock, role)?
                    }
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
