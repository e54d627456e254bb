//! Lives whole lives of a tablet over the production engine and the production journal writer: odd plans, a crew that makes
//! mistakes, a disk that lies, clocks that jump, a machine that crashes; and checks the rules after every input.
//!
//! One seed is one life of a few incidents. Each test run lives the same fixed seeds and, for a while, fresh ones that the
//! clock of the machine gives. One life again: `GROUNDWARD_SEED=7 cargo test simulate`, told with `GROUNDWARD_TRACE=1`.
//! Others: `GROUNDWARD_FROM=200 GROUNDWARD_RUNS=1000`. A million incidents on all cores:
//! `GROUNDWARD_SOAK=1000000 cargo test --release --test all -- simulate::soak --ignored --nocapture`.

mod crew;
mod found;
mod inputs;
mod invented;
mod journal;
mod kinds;
mod machine;
mod moves;
mod rules;
mod storms;
mod tally;
mod world;

use std::ops::ControlFlow::{self, Break, Continue};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant, SystemTime};
use tally::{Met, Tally};
use world::World;

/// Lives in every test run.
const FIXED: u64 = 1_000;
/// For so long fresh lives are begun in every test run, and at least so many.
const FRESH: Duration = Duration::from_secs(8);
const FRESH_MIN: u64 = 20;

fn setting(name: &str) -> Option<u64> {
    std::env::var(name).ok().and_then(|it| it.parse().ok())
}

/// Seeds that no run had before: the clock of the machine, spread.
fn fresh_seed() -> u64 {
    let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH);
    let nanos = now.map_or(0, |it| it.as_nanos());
    // A number that is short enough to be typed again.
    (nanos / 1_000_000) as u64 % 1_000_000_000_000
}

/// Lives one life after the other on every core, from this seed on, as long as `more` says so; what was met. The first
/// seed that fails is named with the command that repeats it.
fn live_from(first: u64, more: impl Fn(u64, &Tally) -> ControlFlow<()> + Sync) -> Tally {
    let next = AtomicU64::new(first);
    let all = Mutex::new((Tally::default(), None::<u64>));
    let work = || {
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            {
                let so_far = all.lock().expect("nobody panics while counting");
                if so_far.1.is_some() || more(seed, &so_far.0).is_break() {
                    return;
                }
            }
            let outcome = std::panic::catch_unwind(|| World::new(seed).live());
            let mut so_far = all.lock().expect("nobody panics while counting");
            match outcome {
                Ok(met) => so_far.0.add(&met),
                Err(_) => so_far.1 = Some(so_far.1.map_or(seed, |it| it.min(seed))),
            }
        }
    };
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(work);
        }
    });
    let (tally, failed) = all.into_inner().expect("nobody panics while counting");
    if let Some(seed) = failed {
        panic!(
            "repeat with: GROUNDWARD_SEED={seed} cargo test --test all -- simulated --nocapture"
        );
    }
    tally
}

fn until(end: u64) -> impl Fn(u64, &Tally) -> ControlFlow<()> {
    move |seed, _| if seed < end { Continue(()) } else { Break(()) }
}

#[test]
fn simulated_incidents_keep_the_rules() {
    if let Some(seed) = setting("GROUNDWARD_SEED") {
        // On this thread, so that what it tells comes in order.
        eprintln!("{}", World::new(seed).live().line());
        return;
    }
    if let Some(runs) = setting("GROUNDWARD_RUNS") {
        let from = setting("GROUNDWARD_FROM").unwrap_or(0);
        let tally = live_from(from, until(from + runs));
        eprintln!("{}\nrarest: {:?}", tally.line(), tally.rarest(20));
        return;
    }
    let mut tally = live_from(0, until(FIXED));
    assert_eq!(
        tally.missing(),
        Vec::<String>::new(),
        "the fixed lives meet all"
    );
    let unprompted = tally.of(Met::UnpromptedOrders);
    assert!(
        unprompted * 50 <= tally.of(Met::ChangedByRealNumbers),
        "{unprompted} orders changed for no reason but a better crew"
    );
    let (begin, first) = (Instant::now(), fresh_seed());
    tally.add(&live_from(first, |seed, _| {
        let enough = seed >= first + FRESH_MIN && begin.elapsed() >= FRESH;
        if enough { Break(()) } else { Continue(()) }
    }));
    eprintln!("fresh from {first}: {}", tally.line());
}

#[test]
#[ignore = "takes hours; see the head of this file"]
fn soak() {
    let incidents = setting("GROUNDWARD_SOAK").unwrap_or(20_000);
    let first = setting("GROUNDWARD_FROM").unwrap_or_else(fresh_seed);
    eprintln!("{incidents} incidents from seed {first}");
    let (begin, minutes) = (Instant::now(), AtomicU64::new(0));
    let tally = live_from(first, |seed, so_far| {
        let minute = begin.elapsed().as_secs() / 60;
        if minutes.fetch_max(minute, Ordering::Relaxed) < minute {
            eprintln!("{minute} min, seed {seed}: {}", so_far.line());
        }
        if so_far.of(Met::Activations) < incidents {
            Continue(())
        } else {
            Break(())
        }
    });
    eprintln!("{}\nin {} s", tally.line(), begin.elapsed().as_secs());
    if tally.of(Met::Activations) >= 5_000 {
        assert_eq!(tally.missing(), Vec::<String>::new());
    }
}
