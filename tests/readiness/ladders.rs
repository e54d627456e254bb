//! Makes random ladders, and plays their draws step by step in absolute time, as slowly and plainly as possible.
//!
//! The program keeps a draw as straight lines over the start; the play here walks through the tasks instead, with the same
//! draws, so that both must agree draw by draw.

use groundward::plan::ThreePoint;
use groundward::readiness::{
    Aim, Arrival, Attempt, Changes, Ladder, Sampling, Sent, Spread, Start, Task, Worth, name_of,
    uniform,
};
use groundward::units::{Millis, Ratio};

use crate::support::Chance;

/// Number of the first fresh draw, as `values` counts them.
pub(crate) const FRESH: u32 = 1 << 31;

pub(crate) fn seconds(short: i64, likely: i64, long: i64) -> ThreePoint {
    ThreePoint {
        short: Millis(short * 1_000),
        likely: Millis(likely * 1_000),
        long: Millis(long * 1_000),
    }
}

pub(crate) fn fixed(time: i64) -> ThreePoint {
    seconds(time, time, time)
}

pub(crate) fn task(name: &str, time: ThreePoint) -> Task {
    Task {
        name: name.to_owned(),
        time,
        elapsed: Millis::ZERO,
        fails_after: None,
        fallback: Vec::new(),
        committed: false,
        contact: false,
    }
}

pub(crate) fn attempt(name: &str, success: i64, tasks: Vec<Task>) -> Attempt {
    Attempt {
        name: name.to_owned(),
        success: Ratio(success),
        arrivals: Vec::new(),
        tasks,
    }
}

/// A ladder that begins with the fall, its orders given at once.
pub(crate) fn ladder(attempts: Vec<Attempt>) -> Ladder {
    Ladder {
        attempts,
        now: Millis::ZERO,
        ordered: Millis::ZERO,
        order_time: fixed(0),
        started: Millis::ZERO,
        committed: false,
    }
}

pub(crate) fn worth(aim: Aim) -> Worth {
    Worth {
        target: Millis::from_seconds(540),
        ends: Millis::from_seconds(1_800),
        aim,
    }
}

pub(crate) fn sampling(seed: u64, decide_on: u32, value_on: u32) -> Sampling {
    Sampling {
        seed,
        crew_spread: Ratio(200_000),
        slower: Ratio(1_000_000),
        decide_on,
        value_on,
    }
}

/// A random time with three points, in whole tenths of a second.
pub(crate) fn any_time(chance: &mut Chance, most: u64) -> ThreePoint {
    let mut points = [0; 3].map(|_| 1_000 + 100 * chance.below(most * 10) as i64);
    points.sort_unstable();
    ThreePoint {
        short: Millis(points[0]),
        likely: Millis(points[1]),
        long: Millis(points[2]),
    }
}

/// A random method with up to so many tasks, each of up to so many seconds.
pub(crate) fn any_attempt(chance: &mut Chance, name: &str, most: u64, long: u64) -> Attempt {
    let count = 1 + chance.below(most);
    let committed = chance.below(count + 1);
    let contact = chance.below(count + 1);
    let tasks = (0..count)
        .map(|number| Task {
            fails_after: (!chance.one_in(3))
                .then(|| Millis::from_seconds(5 + chance.below(long) as i64)),
            fallback: (0..chance.below(4).saturating_sub(1))
                .map(|step| (format!("step {step}"), any_time(chance, long / 2)))
                .collect(),
            committed: number == committed,
            contact: number == contact,
            ..task(&format!("task {number}"), any_time(chance, long))
        })
        .collect();
    let arrivals = (0..chance.below(3))
        .map(|who| Arrival {
            who: format!("{who}"),
            way: any_time(chance, 2 * long),
            sent: [Sent::There, Sent::AtOnce, Sent::OnTheWay, Sent::AtStart]
                [chance.below(4) as usize],
            task: chance.below(count) as usize,
        })
        .collect();
    Attempt {
        arrivals,
        tasks,
        ..attempt(name, 100_000 + chance.below(900_001) as i64, Vec::new())
    }
}

/// A random ladder of so many methods, before anything was done.
pub(crate) fn any_ladder(chance: &mut Chance, methods: u64, tasks: u64, long: u64) -> Ladder {
    let attempts = (0..methods)
        .map(|method| any_attempt(chance, &format!("place/method {method}"), tasks, long))
        .collect();
    Ladder {
        order_time: seconds(3, 6, 15),
        ..ladder(attempts)
    }
}

/// Takes a ladder to a later moment: some time after the fall, the first task begun.
pub(crate) fn begun(chance: &mut Chance, ladder: &mut Ladder) {
    ladder.ordered = Millis::from_seconds(chance.below(60) as i64);
    ladder.started = ladder.ordered;
    ladder.now = Millis(ladder.started.0 + 1_000 * chance.below(400) as i64);
    let since = (ladder.now.0 - ladder.started.0) as u64;
    if let Some(task) = ladder.attempts[0].tasks.first_mut() {
        task.elapsed = Millis(chance.below(since + 1) as i64);
    }
    ladder.committed = chance.one_in(4);
}

/// Random changes for a ladder, on the starts that the program uses.
pub(crate) fn any_changes(chance: &mut Chance, ladder: &Ladder, worth: &Worth) -> Changes {
    let mut start = |at: i64| Start {
        at: Millis(at),
        change_by: if chance.one_in(4) {
            worth.ends
        } else {
            Millis(at + 30_000 + chance.below(400_000) as i64).min(worth.ends)
        },
        chance: Ratio::ZERO,
    };
    let grid: Vec<i64> = (0..18).chain((18..=60).step_by(2)).collect();
    let by = (0..ladder.attempts.len())
        .map(|attempt| match attempt {
            0 => vec![start(ladder.started.0)],
            _ => grid.iter().map(|at| start(at * 30_000)).collect(),
        })
        .collect();
    Changes {
        ends: worth.ends,
        by,
    }
}

/// Changes that give every method the same patience from any start; `None` for no end of it.
pub(crate) fn patience(worth: &Worth, waits: &[Option<i64>]) -> Changes {
    let start = |at: i64, wait: Option<i64>| Start {
        at: Millis(at),
        change_by: wait.map_or(worth.ends, |wait| Millis(at + wait).min(worth.ends)),
        chance: Ratio::ZERO,
    };
    Changes {
        ends: worth.ends,
        by: waits
            .iter()
            .map(|wait| (0..=180).map(|row| start(row * 10_000, *wait)).collect())
            .collect(),
    }
}

/// Everything that is drawn for one attempt in one draw.
pub(crate) struct Drawn {
    works: bool,
    /// Index of the task that fails.
    failing: Option<usize>,
    times: Vec<f32>,
    /// How long after its start the failing of a task shows, its fallback included.
    shows: Vec<f32>,
    /// When people arrive since the fall, or since the start where they come from an earlier method.
    ways: Vec<f32>,
}

/// Draws one attempt; with time already spent on a task it draws nothing that could be compared, so none may be.
pub(crate) fn draw(ladder: &Ladder, number: usize, sampling: &Sampling, draw: u32) -> Drawn {
    let seed = sampling.seed;
    let of = |name: &str, time: &ThreePoint| Spread::of(time).draw(seed, name_of(name), draw);
    let slower = sampling.slower.0 as f32 / 1e6;
    let crew = Spread::of_crew(sampling.crew_spread).draw(seed, name_of("crew"), draw);
    let speed = crew * slower;
    let attempt = &ladder.attempts[number];
    let name = &attempt.name;
    let chance = |what: &str| uniform(seed, name_of(&format!("{name}/{what}")), draw);
    let works = chance("works") < attempt.success.0 as f64 / 1e6;
    let showing: Vec<usize> = (0..attempt.tasks.len())
        .filter(|task| attempt.tasks[*task].fails_after.is_some())
        .collect();
    let failing = if works {
        None
    } else if showing.is_empty() {
        attempt.tasks.len().checked_sub(1)
    } else {
        let each = 1.0 / showing.len() as f64;
        let chosen = (0..showing.len()).find(|it| chance("fails") < (*it + 1) as f64 * each);
        Some(showing[chosen.unwrap_or(showing.len() - 1)])
    };
    let mut drawn = Drawn {
        works,
        failing,
        times: Vec::new(),
        shows: Vec::new(),
        ways: Vec::new(),
    };
    for task in &attempt.tasks {
        assert_eq!(task.elapsed, Millis::ZERO);
        let name = format!("{name}/{}", task.name);
        drawn.times.push(of(&name, &task.time) * speed);
        let mut shows = match task.fails_after {
            Some(after) => after.0 as f32,
            None => task.time.long.0 as f32 * speed,
        };
        for (step, time) in &task.fallback {
            shows += of(&format!("{name}/{step}"), time) * speed;
        }
        drawn.shows.push(shows);
    }
    let orders = of("orders", &ladder.order_time) * speed;
    for arrival in &attempt.arrivals {
        let way = of(&format!("way/{}", arrival.who), &arrival.way) * speed;
        drawn.ways.push(match arrival.sent {
            Sent::There => 0.0,
            Sent::AtStart => way,
            Sent::OnTheWay => ladder.now.0 as f32 + way,
            Sent::AtOnce => (ladder.ordered.0 as f32 + orders + way).max(ladder.now.0 as f32),
        });
    }
    drawn
}

/// How one play ended: off the harness and first contact, infinite where never.
#[derive(Clone, Copy)]
pub(crate) struct Played {
    pub(crate) off: f32,
    pub(crate) contact: f32,
}

/// Plays one draw; `change_by` says for an attempt and its start when it is left, infinite where never.
pub(crate) fn play(
    ladder: &Ladder,
    drawn: &[Drawn],
    change_by: &dyn Fn(usize, f32) -> f32,
) -> Played {
    let mut clock = ladder.now.0 as f32;
    let mut contact = f32::INFINITY;
    for (number, attempt) in ladder.attempts.iter().enumerate() {
        let start = clock;
        let drawn = &drawn[number];
        let last = number + 1 == ladder.attempts.len();
        let change = if last {
            f32::INFINITY
        } else {
            change_by(number, start)
        };
        let mut committed = number == 0 && ladder.committed;
        let mut left = false;
        let mut touched = None;
        for (index, task) in attempt.tasks.iter().enumerate() {
            for (arrival, way) in attempt.arrivals.iter().zip(&drawn.ways) {
                if arrival.task == index {
                    let there = match arrival.sent {
                        Sent::There => start,
                        Sent::AtOnce | Sent::OnTheWay => *way,
                        Sent::AtStart => start + way,
                    };
                    clock = clock.max(there);
                }
            }
            if !committed && clock > change {
                left = true;
                break;
            }
            committed |= task.committed;
            let fails = drawn.failing == Some(index);
            let ends = clock
                + if fails {
                    drawn.shows[index]
                } else {
                    drawn.times[index]
                };
            if !committed && ends > change {
                left = true;
                break;
            }
            clock = ends;
            if fails {
                break;
            }
            if task.contact {
                touched = Some(clock);
            }
        }
        if drawn.works && !left {
            touched = touched.or(Some(clock));
        }
        contact = contact.min(touched.unwrap_or(f32::INFINITY));
        if left {
            clock = change;
        } else if drawn.works {
            return Played {
                off: clock,
                contact,
            };
        }
    }
    Played {
        off: f32::INFINITY,
        contact,
    }
}

/// What a play is worth.
pub(crate) fn worth_of(played: Played, worth: &Worth) -> f64 {
    let (target, ends) = (worth.target.0 as f64, worth.ends.0 as f64);
    let off = f64::from(played.off);
    let off = if off <= target {
        1.0
    } else if off < ends {
        (ends - off) / (ends - target)
    } else {
        0.0
    };
    match worth.aim {
        Aim::OffHarness => off,
        Aim::Hands => {
            let contact = f64::from(played.contact);
            0.99 * (1.0 - contact.min(ends) / ends) + 0.01 * off
        }
    }
}
