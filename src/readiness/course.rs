//! Describes the methods of one position as attempts, and draws how each of them would go.
//!
//! An attempt is a row of tasks for which people arrive. All that can happen in one draw (off the harness or the failing
//! shows, first contact, the first commitment) happens at max(start + D, C) for two constants, D from work that begins with
//! the attempt and C from people who left with the orders. So a draw is kept as three such lines, and asking how it goes
//! from any other start costs an addition and a comparison. Times are `f32` milliseconds since the fall: whole
//! milliseconds stay exact in them for more than four hours, so that fixed times give exact sums.
//! Limits: the failing task is chosen evenly among those that say when a failing shows; people of whom nothing is known
//! but that they should have been there by now are taken to arrive now.

use crate::plan::ThreePoint;
use crate::units::{Millis, Ratio};

use super::draws::{Spread, Stream, name_of};
use super::whole;

/// One method, from its start to off the harness.
#[derive(Clone, Debug, PartialEq)]
pub struct Attempt {
    /// Its stable name, e.g. `silo3/boom-lift`; draws hang on it, never on its place in the ladder.
    pub name: String,
    /// How likely it works once it is tried.
    pub success: Ratio,
    /// Who has to come first.
    pub arrivals: Vec<Arrival>,
    /// What is done, one after another; the casualty is off the harness at the end of the last one.
    pub tasks: Vec<Task>,
}

/// Somebody, or a piece of kit with somebody, that a task waits for.
#[derive(Clone, Debug, PartialEq)]
pub struct Arrival {
    /// The stable name of the person: all ways of one person are slow or quick together.
    pub who: String,
    /// How long the way takes.
    pub way: ThreePoint,
    /// When it begins.
    pub sent: Sent,
    /// Index of the first task that waits for it.
    pub task: usize,
}

/// When somebody leaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sent {
    /// Is there already; the way counts for nothing.
    There,
    /// Leaves with the orders, once they are given.
    AtOnce,
    /// Has the order and is on the way: what is left of it begins now.
    OnTheWay,
    /// Works in an earlier method, so leaves when this one starts.
    AtStart,
}

/// One piece of work of an attempt.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// Its name, stable within the attempt.
    pub name: String,
    /// How long it takes.
    pub time: ThreePoint,
    /// What was already spent on it, in the first attempt's first task only: it takes at least that.
    pub elapsed: Millis,
    /// How long after its start a failing shows, where that is known.
    pub fails_after: Option<Millis>,
    /// What is tried inside the method once the failing has shown, by name, one after another.
    pub fallback: Vec<(String, ThreePoint)>,
    /// True when from its start on the method cannot be left.
    pub committed: bool,
    /// True when its end is first contact.
    pub contact: bool,
}

/// The methods of a position in their order, from now on.
#[derive(Clone, Debug, PartialEq)]
pub struct Ladder {
    /// The methods, in the order in which they are tried.
    pub attempts: Vec<Attempt>,
    /// Now, since the fall.
    pub now: Millis,
    /// When the orders went out, since the fall.
    pub ordered: Millis,
    /// How long it takes to give them.
    pub order_time: ThreePoint,
    /// When the first attempt started, since the fall: now, or before it with the tasks that remain.
    pub started: Millis,
    /// True when the first attempt is committed already.
    pub committed: bool,
}

/// Something that happens at max(start + `after`, `not_before`), for each draw; `not_before` is infinite where it never does.
#[derive(Clone, Debug, Default)]
pub(super) struct Line {
    after: Vec<f32>,
    not_before: Vec<f32>,
}

impl Line {
    fn with_room(count: usize) -> Line {
        Line {
            after: Vec::with_capacity(count),
            not_before: Vec::with_capacity(count),
        }
    }

    fn push(&mut self, point: Point) {
        self.after.push(point.after);
        self.not_before.push(point.not_before);
    }

    /// When it happens in this draw if the attempt starts then.
    #[inline]
    pub(super) fn at(&self, draw: usize, start: f32) -> f32 {
        (start + self.after[draw]).max(self.not_before[draw])
    }
}

/// A moment of one draw, as a line over the start.
#[derive(Clone, Copy)]
struct Point {
    after: f32,
    not_before: f32,
}

impl Point {
    const START: Point = Point {
        after: 0.0,
        not_before: f32::NEG_INFINITY,
    };
    const NEVER: Point = Point {
        after: 0.0,
        not_before: f32::INFINITY,
    };

    fn later(self, by: f32) -> Point {
        Point {
            after: self.after + by,
            not_before: self.not_before + by,
        }
    }

    fn not_before(self, time: f32) -> Point {
        Point {
            not_before: self.not_before.max(time),
            ..self
        }
    }
}

/// How one attempt goes, in each draw.
#[derive(Clone, Debug)]
pub(super) struct Course {
    /// Whether it works.
    pub(super) works: Vec<bool>,
    /// Off the harness where it works; where it does not, when that shows.
    pub(super) end: Line,
    /// First contact by its people.
    pub(super) contact: Line,
    /// When it can no longer be left.
    pub(super) commit: Line,
}

/// How all attempts of a ladder go, in the same draws.
#[derive(Clone, Debug)]
pub(super) struct Courses {
    /// One for each attempt.
    pub(super) each: Vec<Course>,
    /// When the first attempt's first remaining task began, since the fall.
    pub(super) base: f32,
    /// Number of draws.
    pub(super) draws: usize,
}

/// How chance enters: the start of all draws, the draws that are wanted, and what all human times are multiplied by.
#[derive(Clone, Copy, Debug)]
pub(super) struct Chance {
    /// Start of all draws.
    pub(super) seed: u64,
    /// How far the crew's speed may spread.
    pub(super) crew_spread: Ratio,
    /// A factor on all human times.
    pub(super) slower: Ratio,
    /// Number of the first draw.
    pub(super) first: u32,
    /// How many there are.
    pub(super) count: u32,
}

impl Chance {
    fn stream(&self, name: &str) -> Stream {
        Stream::new(self.seed, name_of(name))
    }

    fn draws(&self) -> impl Iterator<Item = u32> {
        let first = self.first;
        (0..self.count).map(move |draw| first.wrapping_add(draw))
    }

    /// A human time in each draw.
    fn times(&self, name: &str, time: &ThreePoint, elapsed: f32, speed: &[f32]) -> Vec<f32> {
        let stream = self.stream(name);
        let spread = Spread::of(time);
        let drawn = self.draws().zip(speed);
        if elapsed > 0.0 {
            drawn
                .map(|(draw, speed)| {
                    let left = spread.at_beyond(stream.share(draw), elapsed / speed) * speed;
                    left.max(elapsed)
                })
                .collect()
        } else {
            drawn
                .map(|(draw, speed)| spread.at(stream.share(draw)) * speed)
                .collect()
        }
    }
}

/// Draws how the attempts of a ladder go.
pub(super) fn courses(ladder: &Ladder, chance: &Chance) -> Courses {
    let slower = chance.slower.0 as f32 / 1_000_000.0;
    let crew = Spread::of_crew(chance.crew_spread);
    let stream = chance.stream("crew");
    let speed: Vec<f32> = chance
        .draws()
        .map(|draw| crew.at(stream.share(draw)) * slower)
        .collect();
    let mut ordered = chance.times("orders", &ladder.order_time, 0.0, &speed);
    for time in &mut ordered {
        *time += ladder.ordered.0 as f32;
    }
    let under_way = ladder.attempts.first().and_then(|it| it.tasks.first());
    let elapsed = under_way.map_or(Millis::ZERO, |task| task.elapsed);
    Courses {
        each: (0..ladder.attempts.len())
            .map(|attempt| course(ladder, attempt, chance, &speed, &ordered))
            .collect(),
        base: ladder.now.saturating_sub(elapsed).0 as f32,
        draws: chance.count as usize,
    }
}

/// The arrivals that one task waits for.
#[derive(Default)]
struct Awaited {
    /// Times since the fall.
    not_before: Vec<Vec<f32>>,
    /// Times since the start of the attempt.
    after: Vec<Vec<f32>>,
}

fn awaited(
    ladder: &Ladder,
    number: usize,
    chance: &Chance,
    speed: &[f32],
    ordered: &[f32],
) -> Vec<Awaited> {
    let attempt = &ladder.attempts[number];
    let now = ladder.now.0 as f32;
    let mut awaited: Vec<Awaited> = attempt.tasks.iter().map(|_| Awaited::default()).collect();
    for arrival in &attempt.arrivals {
        let Some(task) = awaited.get_mut(arrival.task) else {
            continue;
        };
        if arrival.sent == Sent::There {
            continue;
        }
        let mut times = chance.times(&format!("way/{}", arrival.who), &arrival.way, 0.0, speed);
        if arrival.sent == Sent::AtStart && number > 0 {
            task.after.push(times);
            continue;
        }
        for (time, ordered) in times.iter_mut().zip(ordered) {
            let left = match arrival.sent {
                Sent::AtOnce => *ordered,
                Sent::OnTheWay => now,
                // The first attempt's start is known, and it may have begun before what remains of it.
                Sent::AtStart | Sent::There => ladder.started.0 as f32,
            };
            *time = (left + *time).max(now);
        }
        task.not_before.push(times);
    }
    awaited
}

fn course(
    ladder: &Ladder,
    number: usize,
    chance: &Chance,
    speed: &[f32],
    ordered: &[f32],
) -> Course {
    let attempt = &ladder.attempts[number];
    let named = |what: &str| format!("{}/{what}", attempt.name);
    let count = chance.count as usize;
    let mut times: Vec<Vec<f32>> = Vec::new();
    let mut fallbacks: Vec<Vec<(Stream, Spread)>> = Vec::new();
    for (index, task) in attempt.tasks.iter().enumerate() {
        let before = attempt.tasks[..index].iter();
        let alike = before.filter(|it| it.name == task.name).count();
        // Two tasks of one name are two quantities; the first keeps its draws when another one comes.
        let name = if alike == 0 {
            named(&task.name)
        } else {
            format!("{}#{alike}", named(&task.name))
        };
        let elapsed = if number == 0 && index == 0 {
            task.elapsed.0 as f32
        } else {
            0.0
        };
        times.push(chance.times(&name, &task.time, elapsed, speed));
        let steps = task.fallback.iter();
        fallbacks.push(
            steps
                .map(|(step, time)| (chance.stream(&format!("{name}/{step}")), Spread::of(time)))
                .collect(),
        );
    }
    let awaited = awaited(ladder, number, chance, speed, ordered);
    let showing: Vec<usize> = (0..attempt.tasks.len())
        .filter(|task| attempt.tasks[*task].fails_after.is_some())
        .collect();
    let (works, fails) = (
        chance.stream(&named("works")),
        chance.stream(&named("fails")),
    );
    let success = attempt.success.0 as f64 / 1_000_000.0;

    let mut course = Course {
        works: Vec::with_capacity(count),
        end: Line::with_room(count),
        contact: Line::with_room(count),
        commit: Line::with_room(count),
    };
    for (index, draw) in chance.draws().enumerate() {
        let working = works.uniform(draw) < success;
        let failing = if working {
            None
        } else if showing.is_empty() {
            attempt.tasks.len().checked_sub(1)
        } else {
            let chosen = fails.uniform(draw) * showing.len() as f64;
            Some(showing[whole::index(chosen).min(showing.len() - 1)])
        };
        let mut point = Point::START;
        let mut contact = Point::NEVER;
        let mut commit = Point::NEVER;
        if number == 0 && ladder.committed {
            commit = Point::START;
        }
        for (number, task) in attempt.tasks.iter().enumerate() {
            for arrived in &awaited[number].not_before {
                point = point.not_before(arrived[index]);
            }
            for arrived in &awaited[number].after {
                point.after = point.after.max(arrived[index]);
            }
            if task.committed && commit.not_before == f32::INFINITY {
                commit = point;
            }
            if failing == Some(number) {
                let shows = match task.fails_after {
                    Some(after) => after.max(task.elapsed).0 as f32,
                    None => task.time.long.0 as f32 * speed[index],
                };
                point = point.later(shows);
                for (stream, spread) in &fallbacks[number] {
                    point = point.later(spread.at(stream.share(draw)) * speed[index]);
                }
                break;
            }
            point = point.later(times[number][index]);
            if task.contact && contact.not_before == f32::INFINITY {
                contact = point;
            }
        }
        if number == 0 {
            point = point.not_before(ladder.now.0 as f32);
        }
        if working && contact.not_before == f32::INFINITY {
            // Somebody in contact confirms that the casualty is off the harness.
            contact = point;
        }
        course.works.push(working);
        course.end.push(point);
        course.contact.push(contact);
        course.commit.push(commit);
    }
    course
}
