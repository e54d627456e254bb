//! Throws bytes that nobody would write at every door of the program: no panic, no hang, no blow-up, whatever they are.
//!
//! Each test runs the kept corpora of one target, then mutations of them from a fresh seed, in a child process with limits
//! on its memory and on the processor time of every single input. A failing input is made small, kept in the target folder,
//! and named with the command that tries it again: put it into the corpora under a name that says what it is.

mod bombs;
mod extremes;
mod mutation;
mod targets;

use mutation::{Seeds, mutated};
use proptest::test_runner::{Config, RngAlgorithm, TestError, TestRng, TestRunner};
use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
use rustix::time::{ClockId, clock_gettime};
use std::collections::BTreeSet;
use std::fs::{self, File};
use std::hash::{BuildHasher, RandomState};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};
use std::process::Command;
use targets::{TARGETS, Target};

/// Set in the child that takes the inputs.
const CHILD: &str = "GROUNDWARD_HOSTILE_CHILD";
/// Repeats the inputs of a run that printed its seed.
const SEED: &str = "GROUNDWARD_HOSTILE_SEED";
/// Tries so many times as many inputs.
const TIMES: &str = "GROUNDWARD_HOSTILE_TIMES";

/// One input may take this much processor time; the slowest seen takes well below a tenth of it.
const INPUT_CPU_SECONDS: u64 = 10;
/// All inputs of a target together may make the process this much larger. No input is larger than 64 KiB; a drawing of the
/// largest size that is read needs 16 MiB for its shades.
const GROWTH_BYTES: u64 = 96 * 1024 * 1024;

/// One test for each target, so that they run side by side and each can be asked for by its name.
macro_rules! tests {
    ($($test:ident = $name:literal),+ $(,)?) => {
        $(#[test]
        fn $test() {
            withstands($name, stringify!($test));
        })+

        const TESTED: &[&str] = &[$($name),+];
    };
}

tests! {
    plan = "plan",
    plan_edit = "plan-edit",
    plan_diff = "plan-diff",
    journal_line = "journal-line",
    journal_files = "journal-files",
    approvals = "approvals",
    bundle = "bundle",
    records = "records",
    kept = "kept",
    script = "script",
    scenario = "scenario",
    stored = "stored",
    drawing = "drawing",
    quantity = "quantity",
}

#[test]
fn every_target_has_a_test_seeds_and_a_fuzz_target() {
    let names =
        |all: &[&str]| -> BTreeSet<String> { all.iter().map(|it| (*it).to_owned()).collect() };
    let inside = |folder: PathBuf| -> BTreeSet<String> {
        let entries = fs::read_dir(&folder).unwrap_or_else(|error| panic!("{folder:?}: {error}"));
        let paths = entries.map(|it| it.expect("a folder of the repository can be listed").path());
        paths
            .map(|it| {
                it.file_stem()
                    .expect("every file has a name")
                    .to_string_lossy()
                    .into_owned()
            })
            .collect()
    };
    let targets: Vec<&str> = TARGETS.iter().map(|it| it.name).collect();
    assert_eq!(names(TESTED), names(&targets));
    assert_eq!(inside(tests_folder().join("corpora")), names(&targets));
    assert_eq!(
        inside(tests_folder().join("fuzz/fuzz_targets")),
        names(&targets)
    );
    for name in targets {
        assert!(!kept_inputs(name).is_empty(), "{name} has no seeds");
    }
}

/// The watch that the other tests rely on sees a hang, a blow-up and a panic.
#[test]
fn the_watch_sees_what_it_is_for() {
    for (fault, sign) in [
        ("hang", "signal: 24"),
        ("blow-up", "memory allocation"),
        ("panic", "a panic on purpose"),
    ] {
        if std::env::var(CHILD).as_deref() == Ok(fault) {
            limit_growth();
            limit_time(1);
            match fault {
                "hang" => loop {
                    std::hint::spin_loop();
                },
                "blow-up" => drop(std::hint::black_box(vec![1_u8; 512 * 1024 * 1024])),
                _ => panic!("a panic on purpose"),
            }
            return;
        }
        if std::env::var_os(CHILD).is_none() {
            let (well, said) = child("the_watch_sees_what_it_is_for", fault);
            assert!(!well, "a {fault} was not noticed");
            assert!(
                said.contains(sign),
                "a {fault} looks like something else: {said}"
            );
        }
    }
}

/// Runs a target in a child under limits; in the child, takes the inputs.
fn withstands(name: &str, test: &str) {
    let target = targets::named(name).expect("every test names a target");
    if std::env::var_os(CHILD).is_some() {
        takes_all(target);
        return;
    }
    let (well, said) = child(test, name);
    let file = last_input(name);
    assert!(
        well,
        "{name} does not withstand {file:?}. Try it again with\n  cp {} {}/a-name-that-says-what && cargo test --test all -- hostile::{test}\n{said}",
        file.display(),
        corpora(name).display(),
    );
}

/// Runs a test of this file by itself, with this word for it; whether it ended well, and what it said.
fn child(test: &str, word: &str) -> (bool, String) {
    let program = std::env::current_exe().expect("a test knows its own program");
    let output = Command::new(program)
        .args([
            "--exact",
            &format!(
                "{}::{test}",
                module_path!().split_once("::").map_or("hostile", |it| it.1)
            ),
            "--nocapture",
        ])
        .env(CHILD, word)
        .env("RUST_BACKTRACE", "0")
        .output()
        .expect("a test can run its own program");
    let said =
        [&output.stdout[..], &output.stderr[..]].map(|it| String::from_utf8_lossy(it).into_owned());
    let said = format!("{}\n{}\n{}", said[0], said[1], output.status);
    assert!(said.contains("running 1 test"), "no test ran: {said}");
    (output.status.success(), said)
}

/// The kept inputs, then mutations of them.
fn takes_all(target: &'static Target) {
    limit_growth();
    let taker = Taker::new(target);
    let inputs = kept_inputs(target.name);
    for (path, bytes) in &inputs {
        println!("takes {}", path.display());
        taker.takes(bytes);
    }
    let seed = std::env::var(SEED).ok().and_then(|it| it.parse().ok());
    let seed: u64 = seed.unwrap_or_else(|| RandomState::new().hash_one(target.name));
    let cases = target.cases.saturating_mul(times());
    println!("{}: {cases} inputs, {SEED}={seed}", target.name);
    let seeds = Seeds::new(inputs.into_iter().map(|(_, bytes)| bytes).collect());
    let config = Config {
        cases,
        failure_persistence: None,
        max_shrink_iters: 4_000,
        ..Config::default()
    };
    let mut key = [0; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    let mut runner =
        TestRunner::new_with_rng(config, TestRng::from_seed(RngAlgorithm::ChaCha, &key));
    let hook = std::panic::take_hook();
    // What a panic says is wanted once, of the smallest input.
    std::panic::set_hook(Box::new(|_| {}));
    let found = runner.run(&mutated(seeds.len()), |recipe| {
        taker.takes(&seeds.made(&recipe));
        Ok(())
    });
    std::panic::set_hook(hook);
    match found {
        Ok(()) => {}
        Err(TestError::Fail(why, recipe)) => {
            let bytes = seeds.made(&recipe);
            println!("{why}: {recipe:?}\n{}", bytes.escape_ascii());
            taker.takes(&bytes);
            panic!("the smallest input that failed does not fail when it is taken again");
        }
        Err(TestError::Abort(why)) => panic!("no inputs could be made: {why}"),
    }
}

/// How many times as many inputs are tried as in an ordinary run.
fn times() -> u32 {
    let times = std::env::var(TIMES).ok().and_then(|it| it.parse().ok());
    times.unwrap_or(1)
}

/// Takes the inputs of a target one after the other, each in a file before it can do any harm.
struct Taker {
    target: &'static Target,
    /// Kept open: a file system may write out one that was emptied as soon as it is closed, thousands of times over.
    last: File,
}

impl Taker {
    fn new(target: &'static Target) -> Taker {
        let last = File::create(last_input(target.name));
        Taker {
            target,
            last: last.expect("the target folder can be written to"),
        }
    }

    fn takes(&self, bytes: &[u8]) {
        let written = self.last.write_all_at(bytes, 0);
        let written = written.and_then(|()| self.last.set_len(bytes.len() as u64));
        written.expect("the target folder can be written to");
        limit_time(INPUT_CPU_SECONDS);
        (self.target.takes)(bytes);
    }
}

fn last_input(name: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("hostile-{name}"))
}

fn tests_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests")
}

fn corpora(name: &str) -> PathBuf {
    tests_folder().join("corpora").join(name)
}

/// The corpora of a target, in the order of their names.
fn kept_inputs(name: &str) -> Vec<(PathBuf, Vec<u8>)> {
    let folder = corpora(name);
    let entries = fs::read_dir(&folder).unwrap_or_else(|error| panic!("{folder:?}: {error}"));
    let mut paths: Vec<PathBuf> = entries
        .map(|it| it.expect("a folder of the repository can be listed").path())
        .collect();
    paths.sort();
    let read = |path: PathBuf| {
        let bytes = fs::read(&path).expect("a file of the repository can be read");
        (path, bytes)
    };
    paths.into_iter().map(read).collect()
}

/// From here on this process may grow by so much and no more.
fn limit_growth() {
    let status =
        fs::read_to_string("/proc/self/status").expect("Linux tells how large a process is");
    let data = status.lines().find_map(|it| it.strip_prefix("VmData:"));
    let kib = data.and_then(|it| it.trim().strip_suffix(" kB")?.parse::<u64>().ok());
    let most = kib.expect("Linux tells how large a process is") * 1024 + GROWTH_BYTES;
    set_limit(Resource::Data, most);
}

/// The next input may take this much processor time.
fn limit_time(seconds: u64) {
    let used = clock_gettime(ClockId::ProcessCPUTime).tv_sec;
    let used = u64::try_from(used).expect("a process has used some time and not less than none");
    set_limit(Resource::Cpu, used + seconds + 1);
}

fn set_limit(resource: Resource, most: u64) {
    let limit = Rlimit {
        current: Some(most),
        ..getrlimit(resource)
    };
    setrlimit(resource, limit).expect("a process may limit itself");
}
