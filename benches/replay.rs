//! Measures reading records back and folding them into what is known, beside merely parsing the same lines as JSON.
//!
//! A tablet that restarts in the middle of a rescue does this before it can show anything, and the log does it for every
//! incident it lists. Two shapes of 100,000 events: one incident without end, and many drills, each of which brings its
//! plan along to be read. Below the table of single measurements, both sides are measured in turn and compared.
//!
//! Limits: the records are those of one scripted drill on the demo site, again and again with higher numbers and later
//! times.

use divan::black_box;
use groundward::engine::Engine;
use groundward::incident::{Event, Moment, Pick, Record, State, prompt};
use groundward::plan::{self, DEMO};
use groundward::readiness::{Depth, outlook};
use groundward::signal::LoadedPlan;
use groundward::signal::{Effect, Input, Tap};
use groundward::units::Millis;
use std::hint;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

const EVENTS: usize = 100_000;
/// In turn, each side this often; the median counts.
const TURNS: usize = 5;
/// Plans are small: that many are read for one measurement.
const PLANS: usize = 50;

/// One drill from the activation to the end, as the journal holds it but for the chain.
static DRILL: LazyLock<Vec<Record>> = LazyLock::new(|| Drill::played().records);
static DRILL_LINES: LazyLock<Vec<String>> =
    LazyLock::new(|| DRILL.iter().map(Record::to_json).collect());
/// One incident with all the events.
static LONG_LINES: LazyLock<Vec<String>> =
    LazyLock::new(|| long().iter().map(Record::to_json).collect());

fn main() {
    divan::main();
    println!();
    compare(
        "one incident of 100,000 events",
        Some(1.0),
        replay_one_incident,
        parse_one_incident,
    );
    let drills = many_drills().count();
    compare(
        &format!("100,000 events in {drills} drills"),
        Some(1.0),
        replay_many_drills,
        parse_many_drills,
    );
    compare(
        "the demo plan, read 50 times",
        None,
        read_plans,
        parse_plans,
    );
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn replay_one_incident() {
    black_box(replay(&LONG_LINES));
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn parse_one_incident() {
    parse(&LONG_LINES);
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn replay_many_drills() {
    for lines in many_drills() {
        black_box(replay(lines));
    }
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn parse_many_drills() {
    many_drills().for_each(parse);
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn read_plans() {
    for _ in 0..PLANS {
        black_box(plan::read("demo.toml", black_box(DEMO).as_bytes()));
    }
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn parse_plans() {
    for _ in 0..PLANS {
        black_box(black_box(DEMO).parse::<toml::Table>().expect("it is TOML"));
    }
}

fn replay(lines: &[String]) -> State {
    State::replay(
        lines
            .iter()
            .map(|line| Record::from_json(line).expect("it was written by the engine")),
    )
}

fn parse(lines: &[String]) {
    for line in lines {
        black_box(serde_json::from_str::<serde_json::Value>(line).expect("it is JSON"));
    }
}

/// The lines of one drill after the other, until there are enough of them.
fn many_drills() -> impl Iterator<Item = &'static [String]> {
    let lines = &**DRILL_LINES;
    (0..EVENTS)
        .step_by(lines.len())
        .map(move |begun| &lines[..lines.len().min(EVENTS - begun)])
}

/// Prints medians of both sides taken in turn, how they compare, and whether a limit in seconds holds.
fn compare(what: &str, limit_s: Option<f64>, ours: fn(), baseline: fn()) {
    let taken = |work: fn()| {
        let begun = Instant::now();
        hint::black_box(work)();
        begun.elapsed()
    };
    let (mut our_times, mut base_times) = (Vec::new(), Vec::new());
    for _ in 0..TURNS {
        our_times.push(taken(ours));
        base_times.push(taken(baseline));
    }
    let (ours_s, base_s) = (median_s(our_times), median_s(base_times));
    print!(
        "{what}: {ours_s:.3} s, merely parsed {base_s:.3} s, ratio {:.2}",
        ours_s / base_s
    );
    match limit_s {
        Some(limit_s) if ours_s <= limit_s => println!("; at most {limit_s} s: holds"),
        Some(limit_s) => println!("; at most {limit_s} s: DOES NOT HOLD"),
        None => println!(),
    }
}

fn median_s(mut times: Vec<Duration>) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64()
}

/// One incident without end: what came between activation and stand-down, over and over.
fn long() -> Vec<Record> {
    let ended = DRILL
        .iter()
        .position(|r| matches!(r.event, Event::StandDownBegan {}))
        .expect("the drill was ended");
    let (opening, body) =
        DRILL[..ended].split_at(DRILL.iter().take_while(|r| r.cause == 0).count());
    let lasted_ms = body.last().map_or(0, |r| r.elapsed.0);
    let rounds = (0_u64..).flat_map(|round| body.iter().map(move |record| (round, record)));
    let later = rounds.map(|(round, record)| {
        let (first, by_ms) = (round * body.len() as u64, round as i64 * lasted_ms);
        let now = Moment {
            wall_ms: record.now.wall_ms + by_ms,
            boot_ms: record.now.boot_ms + by_ms,
            ..record.now.clone()
        };
        let (seq, cause, elapsed) = (
            record.seq + first,
            record.cause + first,
            Millis(record.elapsed.0 + by_ms),
        );
        Record {
            seq,
            cause,
            now,
            elapsed,
            ..record.clone()
        }
    });
    opening.iter().cloned().chain(later).take(EVENTS).collect()
}

/// A drill being played with time that is computed.
struct Drill {
    engine: Engine,
    now: Moment,
    records: Vec<Record>,
}

impl Drill {
    /// The crew gives the big answer every twelve seconds, once takes a touch back, and hands over in the end.
    fn played() -> Drill {
        let plan = LoadedPlan::choose(
            Some(("demo.toml", DEMO.as_bytes())),
            None,
            None,
            chrono::NaiveDate::MIN,
        );
        let position = plan.in_use.plan.positions.first().map(|p| p.id.clone());
        let now = Moment {
            wall_ms: 1_780_000_000_000,
            offset_min: 120,
            boot_ms: 500_000,
            boot_id: "a-boot".into(),
        };
        let mut drill = Drill {
            engine: Engine::new(plan, true),
            now,
            records: Vec::new(),
        };
        drill.take(Input::Tap(Tap::Activate { position }));
        for touch in 0.. {
            drill.pass(12_000);
            let facts = &drill.engine.state().facts;
            let (true, Some(shown)) = (facts.is_open(), &facts.shown) else {
                break;
            };
            let undo = facts.undo.as_ref().filter(|_| touch == 6).map(|u| u.cause);
            let asked =
                prompt(facts, facts.line.reached_at()).expect("a running incident has a prompt");
            let pick = match (&asked.small, &asked.main) {
                // Care goes on until somebody hands over.
                (Some(_), _) if facts.casualty().landed.is_some() => Pick::Small,
                (_, Some(_)) => Pick::Main,
                _ => Pick::Option(0),
            };
            let number = shown.number;
            drill.take(Input::Tap(Tap::Answer {
                prompt: number,
                pick,
            }));
            if let Some(cause) = undo {
                drill.take(Input::Tap(Tap::Undo { cause }));
            }
            assert!(touch < 1_000, "the drill does not come to its end");
        }
        drill
    }

    fn pass(&mut self, ms: i64) {
        let end = self.now.boot_ms + ms;
        while let Some(wait) = self
            .engine
            .next_wake(&self.now)
            .filter(|w| self.now.boot_ms + w.0 <= end)
        {
            self.set_boot(self.now.boot_ms + wait.0);
            self.take(Input::Wake);
        }
        self.set_boot(end);
    }

    fn set_boot(&mut self, boot_ms: i64) {
        self.now.wall_ms += boot_ms - self.now.boot_ms;
        self.now.boot_ms = boot_ms;
    }

    fn take(&mut self, input: Input) {
        for effect in self.engine.handle(input, &self.now) {
            match effect {
                Effect::Append(entries) => self.records.extend(entries.iter().map(|entry| {
                    Record::from_json(&entry.json).expect("it was written by the engine")
                })),
                Effect::Forecast { basis, plan } => {
                    if let Some(forecast) = outlook(&plan, &basis, Depth::ROUGH) {
                        self.take(Input::Forecast {
                            basis: Box::new(basis),
                            forecast,
                        });
                    }
                }
                _ => {}
            }
        }
    }
}
