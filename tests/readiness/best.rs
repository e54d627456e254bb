//! Tries the chosen changes against all there are: every row of waits on a grid of 10 s, for small ladders.
//!
//! The best row is found on the deciding draws with the plain play, then both are valued on the same fresh draws.

use groundward::readiness::{Aim, prospect, values};

use super::ladders::{any_ladder, draw, patience, play, sampling, worth, worth_of};
use crate::support::Chance;

/// Waits in milliseconds, and no end: methods of these ladders are mostly over in 240 s.
fn waits() -> Vec<Option<i64>> {
    let some = (3..=24).map(|tens| Some(tens * 10_000));
    some.chain([None]).collect()
}

/// How much the best row of waits is worth above the chosen changes on fresh draws, and the standard error of that.
fn missed(chance: &mut Chance, methods: u64, aim: Aim, decide_on: u32) -> (f64, f64) {
    let ladder = any_ladder(chance, methods, 2, 90);
    let mut worth = worth(aim);
    // A close target, so that when to change matters.
    worth.target.0 = 120_000 + chance.below(240_000) as i64;
    worth.ends.0 = worth.target.0 + 240_000;
    let sampling = sampling(chance.next(), decide_on, 3_000);
    let drawn: Vec<Vec<_>> = (0..decide_on)
        .map(|number| {
            let methods = 0..ladder.attempts.len();
            methods
                .map(|it| draw(&ladder, it, &sampling, number))
                .collect()
        })
        .collect();
    let mut best = (f64::NEG_INFINITY, Vec::new());
    let mut rows: Vec<Vec<Option<i64>>> = vec![Vec::new()];
    for _ in 1..methods {
        rows = rows
            .iter()
            .flat_map(|row| {
                waits()
                    .into_iter()
                    .map(move |wait| [&row[..], &[wait]].concat())
            })
            .collect();
    }
    for row in rows {
        let change_by = |attempt: usize, start: f32| {
            let by = row[attempt].map_or(f32::INFINITY, |wait| start + wait as f32);
            if by < worth.ends.0 as f32 {
                by
            } else {
                f32::INFINITY
            }
        };
        let total: f64 = (drawn.iter())
            .map(|drawn| worth_of(play(&ladder, drawn, &change_by), &worth))
            .sum();
        if total > best.0 {
            best = (total, row);
        }
    }
    best.1.push(None);
    let found = prospect(&ladder, &worth, &sampling, None);
    let ours = values(&ladder, &found.changes, &worth, &sampling);
    let theirs = values(&ladder, &patience(&worth, &best.1), &worth, &sampling);
    let (missed, error) = super::changes::paired(&theirs, &ours);
    // Both were chosen on the deciding draws, which are few: their luck is part of the error.
    (
        missed,
        error * (1.0 + 3_000.0 / f64::from(decide_on)).sqrt(),
    )
}

fn never_misses_much(seed: u64, methods: u64, instances: u64, decide_on: u32) {
    let mut chance = Chance(seed);
    let mut sum = 0.0;
    for instance in 0..instances {
        let aim = [Aim::OffHarness, Aim::Hands][instance as usize % 2];
        let (missed, error) = missed(&mut chance, methods, aim, decide_on);
        let allowed = 0.01_f64.max(3.0 * error);
        assert!(missed <= allowed, "{instance}: {missed} more, +/- {error}");
        sum += missed;
    }
    // What single ladders may miss is the luck of few deciding draws; it must not add up.
    assert!(sum / (instances as f64) < 0.001, "{sum}");
}

#[test]
fn no_wait_of_the_first_of_two_methods_is_better() {
    never_misses_much(41, 2, 350, 600);
}

#[test]
fn no_waits_of_the_first_two_of_three_methods_are_better() {
    never_misses_much(42, 3, 150, 500);
}
