//! Says how a ladder of methods will likely go, and until when each method should be tried before the next one.
//!
//! A method is tried until the casualty is off the harness, until its failing shows, or until its change-by time comes while
//! it can still be left; then the next one starts. A change-by time depends on the method and its actual start alone, so
//! nothing is decided on what nobody could know by then. `deciding` chooses the times on one set of draws; they are valued on
//! other, fresh draws, so that no luck in choosing is passed on as a promise.
//! Limits: the order of the methods is given; a method in it is tried for at least 30 s; after the end of all worth nothing
//! changes any more. Where the casualty is in somebody's hands already, the aim is to be off the harness.

use serde::{Deserialize, Serialize};

use crate::units::{Millis, Ratio};

use super::course::{self, Chance, Courses, Ladder};
use super::{deciding, whole};

/// A method in the order is given at least this long, because a prompt at the moment of its start would be noise.
pub(super) const FAIR_TRY: Millis = Millis::from_seconds(30);
/// Number of the first fresh draw; the deciding ones count from zero.
const FRESH: u32 = 1 << 31;
/// How wide a bar is, in milliseconds.
const BAR_MS: usize = 30_000;
/// There are at most this many bars before the last, a day of them, however late a plan says that all worth ends.
const BARS_MAX: usize = 2_880;
/// How much of the worth hands on the casualty make up, where they are the aim; the rest only breaks ties.
const HANDS_SHARE: f32 = 0.99;

/// What the rescue is after.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Aim {
    /// The casualty off the harness soon.
    #[default]
    OffHarness,
    /// Not answering, or in danger: hands on the casualty soonest, then off the harness.
    Hands,
}

/// How much a time is worth: all of it to the target, falling evenly to nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Worth {
    /// The plan's time from the fall to off the harness.
    pub target: Millis,
    /// When it is worth nothing any more, since the fall.
    pub ends: Millis,
    /// What is valued.
    pub aim: Aim,
}

/// How much chance is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sampling {
    /// Start of all draws.
    pub seed: u64,
    /// How far the crew's speed may spread: from one less this to one plus twice this. Zero ties nothing.
    pub crew_spread: Ratio,
    /// A factor on all human times, e.g. for darkness; one million is none.
    pub slower: Ratio,
    /// Draws on which the change-by times are chosen.
    pub decide_on: u32,
    /// Fresh draws on which they are valued.
    pub value_on: u32,
}

/// What holds for one method when it starts at one time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Start {
    /// The start, since the fall.
    pub at: Millis,
    /// When to change to the next method unless committed, since the fall; the end of all worth means never.
    pub change_by: Millis,
    /// How likely this method alone has the casualty off the harness by the target.
    pub chance: Ratio,
}

/// When to change, for every method and start.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Changes {
    /// The end of all worth, since the fall: a change-by time that is not before it means never.
    pub ends: Millis,
    /// For each attempt its starts in order: the known one of the first attempt, a grid for the others.
    pub by: Vec<Vec<Start>>,
}

impl Changes {
    /// The change-by time of an attempt that starts at this time since the fall; `None` where it is not to be left.
    ///
    /// Between two starts whose times are alike it is drawn evenly; where they differ much, the nearer one's patience holds.
    pub fn change_by(&self, attempt: usize, start: Millis) -> Option<Millis> {
        let starts = self.by.get(attempt)?;
        let above = starts.partition_point(|it| it.at <= start);
        let before = &starts.get(above.saturating_sub(1))?;
        let after = starts.get(above).unwrap_or(before);
        if before.at == start {
            return (before.change_by < self.ends).then_some(before.change_by);
        }
        let gap = after.at.0 - before.at.0;
        let since = start.0 - before.at.0;
        let wait = |it: &Start| it.change_by.0 - it.at.0;
        let never = |it: &Start| it.change_by >= self.ends;
        let near = if 2 * since <= gap || gap == 0 {
            before
        } else {
            after
        };
        if never(near) {
            return None;
        }
        let alike =
            (wait(after) - wait(before)).abs() <= 2 * gap && !never(before) && !never(after);
        let wait = if alike && (0..gap).contains(&since) {
            wait(before) + (wait(after) - wait(before)) * since / gap
        } else {
            wait(near)
        };
        let by = Millis(start.0 + wait.max(FAIR_TRY.0));
        (by < self.ends).then_some(by)
    }
}

/// How one method would go without the others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lone {
    /// How likely it has the casualty off by the target when it starts now, or did.
    pub chance: Ratio,
    /// How often it works at all.
    pub works: Ratio,
    /// Off the harness in half of the draws in which it works, since the fall.
    pub p50: Option<Millis>,
    /// Off the harness in nine of ten draws in which it works, since the fall.
    pub p90: Option<Millis>,
    /// First contact in half of all draws, since the fall.
    pub contact_p50: Option<Millis>,
    /// Mean time to first contact, each held at the end of all worth.
    pub hands_mean: Millis,
}

/// How the whole ladder will likely go.
#[derive(Clone, Debug, PartialEq)]
pub struct Prospect {
    /// Mean worth, from 0 to 1.
    pub value: f64,
    /// Its standard error.
    pub value_error: f64,
    /// How likely the casualty is off the harness by the target.
    pub chance: Ratio,
    /// Its standard error.
    pub chance_error: Ratio,
    /// Off the harness in half of the draws, since the fall; `None` when fewer than half get there.
    pub p50: Option<Millis>,
    /// Off the harness in nine of ten draws, since the fall; `None` when fewer get there.
    pub p90: Option<Millis>,
    /// First contact in half of the draws, since the fall.
    pub contact_p50: Option<Millis>,
    /// The share of draws that each method ended.
    pub shares: Vec<Ratio>,
    /// The share of draws that none ended.
    pub never: Ratio,
    /// Draws by their time off the harness, 30 s each up to the end of all worth; the last one is later or never.
    pub bars: Vec<u32>,
    /// Each method without the others.
    pub alone: Vec<Lone>,
    /// When to change.
    pub changes: Changes,
}

/// What times are worth, in the numbers of the draws.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    target: f32,
    /// When nothing is worth anything any more.
    pub(super) ends: f32,
    /// Share of the worth that hands on the casualty make up.
    pub(super) hands_share: f32,
}

impl Scale {
    pub(super) fn of(worth: &Worth) -> Scale {
        Scale {
            target: worth.target.0 as f32,
            ends: ends(worth).0 as f32,
            hands_share: match worth.aim {
                Aim::OffHarness => 0.0,
                Aim::Hands => HANDS_SHARE,
            },
        }
    }

    /// The part that being off the harness then adds.
    #[inline]
    pub(super) fn off(&self, off: f32) -> f32 {
        let worth = ((self.ends - off) / (self.ends - self.target)).clamp(0.0, 1.0);
        (1.0 - self.hands_share) * worth
    }

    /// The part that first contact then adds.
    #[inline]
    pub(super) fn hands(&self, contact: f32) -> f32 {
        self.hands_share * (1.0 - contact.min(self.ends) / self.ends)
    }
}

/// The end of all worth; never before the target, so that the fall between them has a length.
pub(super) fn ends(worth: &Worth) -> Millis {
    worth.ends.max(Millis(worth.target.0.saturating_add(1)))
}

/// How one draw went.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Run {
    /// Off the harness, or never.
    off: f32,
    /// First contact, or never.
    contact: f32,
    /// The attempt that did it.
    by: Option<usize>,
}

/// A ladder with what was drawn for it.
pub(super) struct Drawn<'a> {
    pub(super) ladder: &'a Ladder,
    pub(super) courses: Courses,
    pub(super) scale: Scale,
}

impl<'a> Drawn<'a> {
    fn new(
        ladder: &'a Ladder,
        worth: &Worth,
        sampling: &Sampling,
        first: u32,
        count: u32,
    ) -> Drawn<'a> {
        let chance = Chance {
            seed: sampling.seed,
            crew_spread: sampling.crew_spread,
            slower: sampling.slower,
            first,
            count,
        };
        Drawn {
            ladder,
            courses: course::courses(ladder, &chance),
            scale: Scale::of(worth),
        }
    }

    /// When an attempt that starts then is left in favour of the next one, unless committed; infinite where never.
    pub(super) fn change_at(&self, changes: &Changes, attempt: usize, start: f32) -> f32 {
        if attempt + 1 >= self.courses.each.len() {
            return f32::INFINITY;
        }
        let by = if attempt == 0 {
            // Its start is known, and a change that is overdue can come now at the earliest.
            let by = changes.change_by(0, self.ladder.started);
            by.map(|by| by.max(self.ladder.now))
        } else {
            changes.change_by(attempt, whole::down(start))
        };
        by.map_or(f32::INFINITY, |by| by.0 as f32)
    }

    /// Plays one draw from the start of the ladder.
    fn run(&self, changes: &Changes, draw: usize) -> Run {
        let mut start = self.courses.base;
        let mut contact = f32::INFINITY;
        for (attempt, course) in self.courses.each.iter().enumerate() {
            let end = course.end.at(draw, start);
            let touched = course.contact.at(draw, start);
            let change = self.change_at(changes, attempt, start);
            if course.commit.at(draw, start).min(end) > change {
                if touched <= change {
                    contact = contact.min(touched);
                }
                start = change;
                continue;
            }
            contact = contact.min(touched);
            if course.works[draw] {
                return Run {
                    off: end,
                    contact,
                    by: Some(attempt),
                };
            }
            start = end;
        }
        Run {
            off: f32::INFINITY,
            contact,
            by: None,
        }
    }

    fn worth_of(&self, run: &Run) -> f32 {
        self.scale.off(run.off) + self.scale.hands(run.contact)
    }

    fn runs(&self, changes: &Changes) -> Vec<Run> {
        (0..self.courses.draws)
            .map(|draw| self.run(changes, draw))
            .collect()
    }

    /// The worth of all draws together.
    pub(super) fn total(&self, changes: &Changes) -> f64 {
        (0..self.courses.draws)
            .map(|draw| f64::from(self.worth_of(&self.run(changes, draw))))
            .sum()
    }

    /// When an attempt would start without the others.
    fn lone_start(&self, attempt: usize) -> f32 {
        if attempt == 0 {
            self.courses.base
        } else {
            self.ladder.now.0 as f32
        }
    }

    /// How likely an attempt that starts then works by the target, without the others.
    pub(super) fn chance(&self, attempt: usize, start: f32) -> Ratio {
        let course = &self.courses.each[attempt];
        let by =
            |draw: &usize| course.works[*draw] && course.end.at(*draw, start) <= self.scale.target;
        share(
            (0..self.courses.draws).filter(by).count(),
            self.courses.draws,
        )
    }

    fn lone(&self, attempt: usize) -> Lone {
        let course = &self.courses.each[attempt];
        let start = self.lone_start(attempt);
        let draws = self.courses.draws;
        let mut offs: Vec<f32> = (0..draws)
            .filter(|draw| course.works[*draw])
            .map(|draw| course.end.at(draw, start))
            .collect();
        let mut contacts: Vec<f32> = (0..draws)
            .map(|draw| course.contact.at(draw, start))
            .collect();
        let held = contacts.iter().map(|it| f64::from(it.min(self.scale.ends)));
        Lone {
            hands_mean: whole::rounded(held.sum::<f64>() / draws.max(1) as f64),
            chance: self.chance(attempt, start),
            works: share(offs.len(), draws),
            p50: reached_by(&mut offs, 50),
            p90: reached_by(&mut offs, 90),
            contact_p50: reached_by(&mut contacts, 50),
        }
    }
}

fn share(count: usize, of: usize) -> Ratio {
    let whole = |it: usize| i128::try_from(it).unwrap_or(i128::MAX);
    let (count, of) = (whole(count), whole(of.max(1)));
    let parts = (count.saturating_mul(1_000_000)).saturating_add(of / 2) / of;
    Ratio(i64::try_from(parts).unwrap_or(i64::MAX))
}

/// The time by which so many of a hundred are there; `None` where fewer ever are.
fn reached_by(times: &mut [f32], of_hundred: usize) -> Option<Millis> {
    let place = (times.len() * of_hundred).div_ceil(100).checked_sub(1)?;
    let (_, time, _) = times.select_nth_unstable_by(place, f32::total_cmp);
    time.is_finite().then(|| whole::rounded(*time))
}

/// The mean of some values and its standard error.
fn mean_and_error(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let count = values.clone().count().max(1) as f64;
    let mean = values.clone().sum::<f64>() / count;
    let squares: f64 = values.map(|it| (it - mean) * (it - mean)).sum();
    (mean, (squares / (count - 1.0).max(1.0) / count).sqrt())
}

/// Changes whose first method has its known start and nothing else.
fn started(changes: &Changes, drawn: &Drawn) -> Changes {
    let by = drawn.change_at(changes, 0, drawn.courses.base);
    let mut changes = changes.clone();
    if let Some(first) = changes.by.first_mut() {
        *first = vec![Start {
            at: drawn.ladder.started,
            change_by: changes.ends.min(whole::down(by)),
            chance: Ratio::ZERO,
        }];
    }
    changes
}

/// Chooses when to change and says how the ladder goes.
///
/// Changes given for the same methods in the same order stay in force where none are found that do better on the
/// fresh draws; changes for another ladder or another end of all worth are passed over.
pub fn prospect(
    ladder: &Ladder,
    worth: &Worth,
    sampling: &Sampling,
    incumbent: Option<&Changes>,
) -> Prospect {
    let deciding = Drawn::new(ladder, worth, sampling, 0, sampling.decide_on);
    let fresh = Drawn::new(ladder, worth, sampling, FRESH, sampling.value_on);
    let incumbent = incumbent
        .filter(|changes| changes.by.len() == ladder.attempts.len() && changes.ends == ends(worth))
        .map(|changes| started(changes, &deciding));
    let mut changes = deciding::decide(&deciding, worth, incumbent.as_ref());
    let mut runs = fresh.runs(&changes);
    let sum = |runs: &[Run]| -> f64 { runs.iter().map(|run| f64::from(fresh.worth_of(run))).sum() };
    if let Some(incumbent) = incumbent.filter(|it| *it != changes) {
        let before = fresh.runs(&incumbent);
        if sum(&before) > sum(&runs) {
            runs = before;
            changes = incumbent;
        }
    }
    deciding::note_chances(&deciding, &mut changes);

    let draws = runs.len();
    let worths = runs.iter().map(|run| f64::from(fresh.worth_of(run)));
    let (value, value_error) = mean_and_error(worths);
    let in_time = |run: &Run| run.off <= fresh.scale.target;
    let chances = runs.iter().map(|run| f64::from(u8::from(in_time(run))));
    let (_, chance_error) = mean_and_error(chances);
    let ended = |by: Option<usize>| share(runs.iter().filter(|run| run.by == by).count(), draws);
    let mut offs: Vec<f32> = runs.iter().map(|run| run.off).collect();
    let mut contacts: Vec<f32> = runs.iter().map(|run| run.contact).collect();
    let bars = usize::try_from(ends(worth).0.max(0)).map(|it| it.div_ceil(BAR_MS));
    let last = bars.unwrap_or(BARS_MAX).min(BARS_MAX);
    let mut bars = vec![0; last + 1];
    for off in &offs {
        let later = *off >= fresh.scale.ends;
        let bar = if later {
            last
        } else {
            whole::index(*off / BAR_MS as f32)
        };
        bars[bar.min(last)] += 1;
    }
    Prospect {
        value,
        value_error,
        chance: share(runs.iter().filter(|run| in_time(run)).count(), draws),
        chance_error: whole::parts(chance_error),
        p50: reached_by(&mut offs, 50),
        p90: reached_by(&mut offs, 90),
        contact_p50: reached_by(&mut contacts, 50),
        shares: (0..ladder.attempts.len())
            .map(|it| ended(Some(it)))
            .collect(),
        never: ended(None),
        bars,
        alone: (0..ladder.attempts.len())
            .map(|it| fresh.lone(it))
            .collect(),
        changes,
    }
}

/// What each fresh draw is worth under these changes, for comparisons draw by draw.
pub fn values(ladder: &Ladder, changes: &Changes, worth: &Worth, sampling: &Sampling) -> Vec<f32> {
    let fresh = Drawn::new(ladder, worth, sampling, FRESH, sampling.value_on);
    let runs = fresh.runs(changes);
    runs.iter().map(|run| fresh.worth_of(run)).collect()
}
