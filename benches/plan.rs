//! Measures reading plan files that nobody would write, as large as a plan may be, and ordinary ones, beside a baseline.
//!
//! Bytes may come from a stick somebody found, and a screen that waits for them is no help when somebody hangs: whatever
//! is in 8 MiB, the answer may take a second. Each worst shape is read twice: as long as a file may be, where most are
//! refused by a limit, and cut to just below that limit, where the parser and the checks do their work. Beside it stands
//! a look at every byte of the same file. Ordinary plans stand beside merely parsing the same bytes as TOML.
//!
//! Limits: shapes that nobody has thought of are not here; memory is what the table above says of the costliest shapes.

use divan::{AllocProfiler, Bencher, black_box};
use groundward::plan::{BYTES_MAX, DEMO, DEMO_BRIDGE, Kind, Reading, read};
use std::hint;
use std::time::{Duration, Instant};
use toml::de::DeTable;

#[path = "../tests/plan/worst.rs"]
mod worst;

#[global_allocator]
static ALLOCATOR: AllocProfiler = AllocProfiler::system();

/// In turn, each side this often; the median counts.
const TURNS: usize = 5;
/// Whatever the bytes are, an answer takes at most this.
const LIMIT_S: f64 = 1.0;
/// Plans are small: that many are read for one measurement.
const PLANS: usize = 20;

fn main() {
    divan::main();
    println!();
    let mut slowest: (f64, String) = (0.0, String::new());
    for shape in worst::shapes() {
        let whole = shape.made(BYTES_MAX);
        let mut note = |what: String, text: &str| {
            let took_s = compare(&what, Some(LIMIT_S), || read_one(text), || look_at(text));
            if took_s > slowest.0 {
                slowest = (took_s, what);
            }
        };
        note(format!("{}, {}", shape.name, size(&whole)), &whole);
        let below = below_limit(&whole);
        if below.len() < whole.len() {
            note(format!("{}, cut to {}", shape.name, size(below)), below);
        }
    }
    println!("the slowest: {} with {:.3} s\n", slowest.1, slowest.0);

    for (name, plan) in [("grain terminal", DEMO), ("bridge", DEMO_BRIDGE)] {
        let what = format!("the plan of the {name}, read {PLANS} times");
        compare(
            &what,
            None,
            || (0..PLANS).for_each(|_| read_one(plan)),
            || (0..PLANS).for_each(|_| parse(plan)),
        );
    }
    for name in ["places", "kit", "steps", "positions"] {
        let shape = shape(name).made(BYTES_MAX);
        let text = below_limit(&shape);
        let what = format!("{name}, {}, beside parsing", size(text));
        compare(&what, Some(LIMIT_S), || read_one(text), || parse(text));
    }
}

/// Those that took the most time or memory when they were looked for.
const COSTLY: [&str; 6] = [
    "deep dotted keys",
    "deep headers",
    "no key",
    "positions",
    "names that nearly exist",
    "a list of names that lead nowhere",
];

#[divan::bench(args = COSTLY, sample_count = 5, sample_size = 1)]
fn just_below_the_limits(bencher: Bencher, name: &str) {
    let whole = shape(name).made(BYTES_MAX);
    bencher.bench(|| read_one(below_limit(&whole)));
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn the_plan_of_the_grain_terminal(bencher: Bencher) {
    bencher.bench(|| read_one(DEMO));
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn the_same_merely_parsed(bencher: Bencher) {
    bencher.bench(|| parse(DEMO));
}

fn shape(name: &str) -> worst::Shape {
    let found = worst::shapes().into_iter().find(|shape| shape.name == name);
    found.unwrap_or_else(|| panic!("there is no shape {name}"))
}

fn reading(text: &str) -> Reading {
    read("worst.toml", black_box(text).as_bytes())
}

fn read_one(text: &str) {
    black_box(reading(text));
}

fn parse(text: &str) {
    black_box(DeTable::parse_recoverable(black_box(text)));
}

/// What any reader does at the least.
fn look_at(text: &str) {
    let bytes = black_box(text).bytes();
    black_box(bytes.filter(|byte| *byte == b'\n').count());
}

/// The file up to the last line, or item of a list, before what is too many.
fn below_limit(text: &str) -> &str {
    let found = reading(text).findings;
    let too_many = found.iter().find(|it| it.id == Kind::TooManyParts.id());
    let Some(end) = too_many.map(|it| it.span.start) else {
        return text;
    };
    let cut = text[..end].rfind(['\n', ',']);
    &text[..cut.map_or(end, |at| at + 1)]
}

fn size(text: &str) -> String {
    format!("{:.1} MiB", text.len() as f64 / 1_048_576.0)
}

/// Prints medians of both sides taken in turn, how they compare, and whether a limit in seconds holds.
fn compare(what: &str, limit_s: Option<f64>, ours: impl Fn(), baseline: impl Fn()) -> f64 {
    let taken = |work: &dyn Fn()| {
        let begun = Instant::now();
        hint::black_box(work)();
        begun.elapsed()
    };
    let (mut our_times, mut base_times) = (Vec::new(), Vec::new());
    for _ in 0..TURNS {
        our_times.push(taken(&ours));
        base_times.push(taken(&baseline));
    }
    let (ours_s, base_s) = (median_s(our_times), median_s(base_times));
    print!(
        "{what}: {ours_s:.3} s, baseline {base_s:.4} s, ratio {:.1}",
        ours_s / base_s
    );
    match limit_s {
        Some(limit_s) if ours_s <= limit_s => println!("; at most {limit_s} s: holds"),
        Some(limit_s) => println!("; at most {limit_s} s: DOES NOT HOLD"),
        None => println!(),
    }
    ours_s
}

fn median_s(mut times: Vec<Duration>) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64()
}
