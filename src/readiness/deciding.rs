//! Chooses until when each method of a ladder is tried, on draws of all of them together.
//!
//! Backwards over the methods: for each start, the change-by time with the best mean over the draws, where each draw goes on
//! as it does under the times already chosen for the later methods. That is dynamic programming on joint draws.
//! The classical form, with independent distributions for each method, was left out: it forgets that a crew which was slow at
//! the first method will be slow at the next, and it takes as much work.
//! Neighbouring times are judged together, so that no time wins by the luck of a few draws. Moving the times by single
//! seconds, or a table as a whole, on the same draws was tried: it lowered the mean worth on fresh draws, by more where the
//! draws were few; judging neighbours together raised it as much as half again as many draws do.
//! Limits: times lie on a grid of 10 s to the target and 30 s after it, starts on one of 30 s and 60 s; a table is made for all
//! draws, not only for those in which the earlier methods did not work.

use crate::units::{Millis, Ratio};

use super::changes::{Changes, Drawn, FAIR_TRY, Start, Worth, ends};
use super::whole;

/// Means this near to the best count as equal; the earlier change is then taken.
const TIE: f32 = 0.000_01;
/// First steps to the target and after it, and the most steps there are on each side.
const STEPS: (i64, i64, i64) = (10_000, 30_000, 64);
const START_STEPS: (i64, i64, i64) = (30_000, 60_000, 64);

/// How many steps cover a length.
fn steps_over(length: i64, step: i64) -> i64 {
    (length.max(0) + step - 1) / step
}

/// Times in two even runs, since the fall: to the target, and after it.
struct Grid {
    times: Vec<f32>,
    step: f32,
    late_step: f32,
    /// How many steps the first run has.
    turn: usize,
}

impl Grid {
    fn new(now: Millis, worth: &Worth, (step, late_step, most): (i64, i64, i64)) -> Grid {
        let wide_enough = |step: i64, length: i64| {
            let times = (length.max(0) / most).div_euclid(step) + 1;
            step * times
        };
        let step = wide_enough(step, worth.target.0 - now.0);
        let from = now.0.div_euclid(step) * step;
        let turn = steps_over(worth.target.0 - from, step);
        let turned = from + turn * step;
        let late_step = wide_enough(late_step, ends(worth).0 - turned);
        // Two times at least, so that something lies between them even past the end of all worth.
        let rest = steps_over(ends(worth).0 - turned, late_step).max(1);
        let early = (0..turn).map(|it| from + it * step);
        let late = (0..=rest).map(|it| turned + it * late_step);
        Grid {
            times: early.chain(late).map(|time| time as f32).collect(),
            step: step as f32,
            late_step: late_step as f32,
            turn: usize::try_from(turn).unwrap_or_default(),
        }
    }

    /// How many steps, with a fraction, lie before a time; held at both ends.
    #[inline]
    fn place(&self, time: f32) -> f32 {
        let turned = self.times[self.turn];
        let place = if time < turned {
            (time - self.times[0]) / self.step
        } else {
            self.turn as f32 + (time - turned) / self.late_step
        };
        place.clamp(0.0, (self.times.len() - 1) as f32)
    }

    /// The first of its times that is not before this one; their number where none is.
    #[inline]
    fn first_from(&self, time: f32) -> usize {
        let mut index = whole::index(self.place(time));
        while index < self.times.len() && self.times[index] < time {
            index += 1;
        }
        index
    }
}

/// What is still to be had, in each draw, when an attempt starts at each time of the grid.
struct Ahead {
    /// Nobody has touched the casualty yet.
    untouched: Vec<f32>,
    /// Somebody has, and that was counted; the same numbers where hands are not the aim.
    touched: Option<Vec<f32>>,
    width: usize,
}

impl Ahead {
    /// After the last attempt there is nothing.
    fn nothing(draws: usize, width: usize, hands: bool) -> Ahead {
        Ahead {
            untouched: vec![0.0; draws * width],
            touched: hands.then(|| vec![0.0; draws * width]),
            width,
        }
    }

    fn row(&self, draw: usize, touched: bool) -> &[f32] {
        let all = match &self.touched {
            Some(values) if touched => values,
            _ => &self.untouched,
        };
        &all[draw * self.width..][..self.width]
    }

    /// The value at a place of the grid, drawn evenly between its times.
    #[inline]
    fn at(&self, draw: usize, touched: bool, place: f32) -> f32 {
        let row = self.row(draw, touched);
        let index = whole::index(place).min(self.width - 2);
        let after = place - index as f32;
        row[index] + (row[index + 1] - row[index]) * after
    }
}

/// Chooses the changes for what was drawn.
pub(super) fn decide(drawn: &Drawn, worth: &Worth, incumbent: Option<&Changes>) -> Changes {
    let ladder = drawn.ladder;
    let never = ends(worth);
    let starts = Grid::new(ladder.now, worth, START_STEPS);
    let start_at = |at: Millis| Start {
        at,
        change_by: never,
        chance: Ratio::ZERO,
    };
    let mut changes = Changes {
        ends: never,
        by: (0..ladder.attempts.len())
            .map(|attempt| match attempt {
                0 => vec![start_at(ladder.started)],
                _ => (starts.times.iter())
                    .map(|at| start_at(whole::down(*at)))
                    .collect(),
            })
            .collect(),
    };
    if ladder.attempts.len() < 2 || drawn.courses.draws == 0 {
        return changes;
    }
    let patient = changes.clone();

    let grid = Grid::new(ladder.now, worth, STEPS);
    let hands = drawn.scale.hands_share > 0.0;
    let mut ahead = Ahead::nothing(drawn.courses.draws, grid.times.len(), hands);
    for attempt in (0..ladder.attempts.len()).rev() {
        let last = attempt + 1 == ladder.attempts.len();
        let rows = if last { 0 } else { changes.by[attempt].len() };
        for row in 0..rows {
            let at = changes.by[attempt][row].at;
            let fair = at.saturating_add(FAIR_TRY);
            let (begun, earliest) = match attempt {
                0 => (drawn.courses.base, fair.max(ladder.now)),
                _ => (at.0 as f32, fair),
            };
            let by = best_change(drawn, &grid, &ahead, attempt, begun, earliest.0 as f32);
            changes.by[attempt][row].change_by = by.map_or(never, whole::down);
        }
        if attempt > 0 {
            ahead = values_at(drawn, &grid, &ahead, attempt, &changes);
        }
    }

    let mut total = drawn.total(&changes);
    for other in [Some(&patient), incumbent].into_iter().flatten() {
        let others = drawn.total(other);
        if others > total + f64::from(TIE) * drawn.courses.draws as f64 {
            total = others;
            changes = other.clone();
        }
    }
    changes
}

/// The change-by time of one attempt and start with the best mean, or none where it is best never left.
fn best_change(
    drawn: &Drawn,
    grid: &Grid,
    ahead: &Ahead,
    attempt: usize,
    start: f32,
    earliest: f32,
) -> Option<f32> {
    let course = &drawn.courses.each[attempt];
    let scale = &drawn.scale;
    let hands = scale.hands_share > 0.0;
    let first = grid.first_from(earliest);
    // The last time of the grid is the end of all worth.
    let candidates = grid.times.len() - 1;
    if first >= candidates {
        return None;
    }
    // For each candidate: the draws that change then, and those that no longer can from then on.
    let mut changed = vec![0.0_f32; candidates];
    let mut held = vec![0.0_f32; candidates + 1];
    // The earliest moment is one too, wherever it lies: a change that is due must not wait for the grid at every new look.
    let mut at_earliest = 0.0_f32;
    let earliest_place = grid.place(earliest);
    for draw in 0..drawn.courses.draws {
        let end = course.end.at(draw, start);
        let contact = if hands {
            course.contact.at(draw, start)
        } else {
            f32::INFINITY
        };
        let counted = scale.hands(contact);
        let stays = if course.works[draw] {
            scale.off(end) + counted
        } else {
            counted + ahead.at(draw, contact <= end, grid.place(end))
        };
        let bound = course.commit.at(draw, start).min(end);
        at_earliest += if bound <= earliest {
            stays
        } else if contact <= earliest {
            counted + ahead.at(draw, true, earliest_place)
        } else {
            ahead.at(draw, false, earliest_place)
        };
        let bound = grid.first_from(bound).clamp(first, candidates);
        held[bound] += stays;
        let touched = grid.first_from(contact).clamp(first, bound);
        let row = ahead.row(draw, false);
        for (sum, value) in changed[first..touched].iter_mut().zip(&row[first..touched]) {
            *sum += value;
        }
        let row = ahead.row(draw, true);
        for (sum, value) in changed[touched..bound].iter_mut().zip(&row[touched..bound]) {
            *sum += value + counted;
        }
    }
    let mut times = vec![earliest];
    let mut totals = vec![at_earliest];
    let mut holding = 0.0;
    for candidate in first..candidates {
        holding += held[candidate];
        times.push(grid.times[candidate]);
        totals.push(changed[candidate] + holding);
    }
    totals.push(holding + held[candidates]);
    times.get(steadiest(&totals, drawn.courses.draws)).copied()
}

/// The earliest of the totals that is best together with its neighbours; the last total, of never, has none.
///
/// Where that one is clearly below the best of all, by more than luck explains, the best is a narrow one and taken.
fn steadiest(totals: &[f32], draws: usize) -> usize {
    let last = totals.len() - 1;
    let judged: Vec<f32> = (0..=last)
        .map(|it| {
            let before = totals[it.saturating_sub(1)];
            let after = totals[(it + 1).min(last.saturating_sub(1))];
            if it == last {
                totals[it]
            } else {
                (before + 2.0 * totals[it] + after) / 4.0
            }
        })
        .collect();
    let highest = |of: &[f32]| of.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let earliest = |of: &[f32]| {
        let enough = highest(of) - TIE * draws as f32;
        of.iter().position(|total| *total >= enough).unwrap_or(last)
    };
    let steady = earliest(&judged);
    // A worth between nothing and one spreads by a half at most, its sum over the draws by this.
    let luck = (draws as f32).sqrt() / 2.0;
    if totals[steady] + luck < highest(totals) {
        earliest(totals)
    } else {
        steady
    }
}

/// What is still to be had when this attempt starts at each time of the grid, with the changes as chosen.
fn values_at(
    drawn: &Drawn,
    grid: &Grid,
    ahead: &Ahead,
    attempt: usize,
    changes: &Changes,
) -> Ahead {
    let course = &drawn.courses.each[attempt];
    let scale = &drawn.scale;
    let hands = scale.hands_share > 0.0;
    let plan: Vec<(f32, f32, f32)> = (grid.times.iter())
        .map(|start| {
            let change = drawn.change_at(changes, attempt, *start);
            (*start, change, grid.place(change))
        })
        .collect();
    let draws = drawn.courses.draws;
    let mut untouched = Vec::with_capacity(draws * plan.len());
    let mut touched = Vec::new();
    for draw in 0..draws {
        for (start, change, change_place) in &plan {
            let end = course.end.at(draw, *start);
            let leaves = course.commit.at(draw, *start).min(end) > *change;
            let (until, place) = if leaves {
                (*change, *change_place)
            } else {
                (end, grid.place(end))
            };
            let done = !leaves && course.works[draw];
            if !hands {
                untouched.push(if done {
                    scale.off(end)
                } else {
                    ahead.at(draw, false, place)
                });
                continue;
            }
            let contact = course.contact.at(draw, *start);
            let met = contact <= until;
            let after = |touched: bool| {
                if done {
                    scale.off(end)
                } else {
                    ahead.at(draw, touched, place)
                }
            };
            let counted = if met { scale.hands(contact) } else { 0.0 };
            untouched.push(counted + after(met));
            touched.push(after(true));
        }
    }
    Ahead {
        untouched,
        touched: hands.then_some(touched),
        width: plan.len(),
    }
}

/// Writes beside each start how likely the method alone works by the target.
pub(super) fn note_chances(drawn: &Drawn, changes: &mut Changes) {
    for (attempt, starts) in changes.by.iter_mut().enumerate() {
        for start in starts {
            let begun = match attempt {
                0 => drawn.courses.base,
                _ => start.at.0 as f32,
            };
            start.chance = drawn.chance(attempt, begun);
        }
    }
}
