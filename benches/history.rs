//! Measures how long the list of 10,000 incidents with a million events takes to open, beside reading the same list from
//! one plain file of JSON lines, and beside reading journals.
//!
//! The list is what a manager opens; the plain file is as quick as a list on a disk can be, and the journals are what
//! there would be without a store. `cargo bench --bench history -- 1000` does it with fewer incidents.
//!
//! Limits: the incidents are one played drill on the generic plan under other names, and everything is in the memory of
//! the operating system. About 1.5 GB of disk is needed for the usual size.

use groundward::engine::Engine;
use groundward::history::{Handle, History, Listed, list_without_store};
use groundward::incident::{Moment, Pick};
use groundward::journal::chain::{Chain, FIRST_PREV};
use groundward::signal::{Effect, Entry, Input, LoadedPlan, Tap};
use groundward::store::probe::Prober;
use std::fs;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

const INCIDENTS: usize = 10_000;
/// Every incident has this many records.
const RECORDS: usize = 100;
/// In turn, each side this often; the median counts.
const TURNS: usize = 7;
/// So many journals are read for the third side.
const JOURNALS: usize = 200;

fn main() {
    let asked = std::env::args()
        .filter_map(|it| it.parse::<usize>().ok())
        .next();
    let incidents = asked.unwrap_or(INCIDENTS);
    let data = tempfile::tempdir().expect("there is room");
    let store = data.path().join("store");
    let folders = [data.path().join("journals")];
    let few = [data.path().join("few")];
    let drill = played();
    write(&folders[0], &drill, incidents);
    write(&few[0], &drill, JOURNALS.min(incidents));
    let prober = Prober::new(Some(PathBuf::from(env!("CARGO_BIN_EXE_groundward"))));

    let begun = Instant::now();
    let (history, rebuilt) =
        History::rebuild(&store, &prober, &folders, |_| true).expect("it is made");
    let made = begun.elapsed();
    assert_eq!(rebuilt.incidents.len(), incidents);
    assert!(rebuilt.incidents.iter().all(|it| it.intact));
    let plain = data.path().join("list.jsonl");
    let lines: Vec<String> = rebuilt.incidents.iter().map(line).collect();
    fs::write(&plain, lines.join("\n")).expect("there is room");
    drop((history, rebuilt));

    let open_list = || {
        let history = History::look(&store, &prober).expect("it opens");
        let handle = Handle::default();
        handle.set(history.map(Arc::new));
        let all = handle.list(&folders).expect("it is listed");
        assert_eq!(black_box(all).len(), incidents);
    };
    let read_plain = || {
        let text = fs::read_to_string(&plain).expect("it is there");
        let all: Vec<Listed> = text
            .lines()
            .map(|line| serde_json::from_str(line).expect("it was written here"))
            .collect();
        assert_eq!(black_box(all).len(), incidents);
    };
    let read_journals = || {
        let all = list_without_store(&few).expect("it is listed");
        assert_eq!(black_box(all).len(), JOURNALS.min(incidents));
    };
    let [mut opened, mut plainly, mut journals] = [(); 3].map(|()| Vec::new());
    for _ in 0..TURNS {
        opened.push(time(open_list));
        plainly.push(time(read_plain));
        journals.push(time(read_journals));
    }
    let [opened, plainly, journals] = [opened, plainly, journals].map(middle);
    let all_journals = journals.as_secs_f64() * incidents as f64 / JOURNALS.min(incidents) as f64;
    println!("{incidents} incidents, {} events", incidents * RECORDS);
    println!("made from the journals in {made:.1?}");
    println!("list opened: {opened:.0?} (another process tries the store first)");
    println!(
        "the same list from a plain file: {plainly:.0?}, ratio {:.1}",
        opened.as_secs_f64() / plainly.as_secs_f64()
    );
    println!(
        "the same list from the journals: {all_journals:.1} s by {JOURNALS} of them, ratio {:.4}",
        opened.as_secs_f64() / all_journals
    );
}

fn line(listed: &Listed) -> String {
    serde_json::to_string(listed).expect("it is JSON")
}

fn time(work: impl Fn()) -> Duration {
    let begun = Instant::now();
    work();
    begun.elapsed()
}

fn middle(mut times: Vec<Duration>) -> Duration {
    times.sort_unstable();
    times[times.len() / 2]
}

/// The records of one drill, as far as they are wanted, without chain and id.
fn played() -> Vec<Entry> {
    let day = "2026-11-25".parse().expect("it is a day of the calendar");
    let mut engine = Engine::new(LoadedPlan::choose(None, None, None, day), true);
    let mut entries = Vec::new();
    for turn in 0_i64.. {
        let now = Moment {
            wall_ms: 1_780_000_000_000 + turn * 4_000,
            offset_min: 60,
            boot_ms: 90_000 + turn * 4_000,
            boot_id: "boot".into(),
        };
        let shown = engine.state().facts.shown.as_ref().map(|it| it.number);
        let input = match shown {
            None => Input::Tap(Tap::Activate { position: None }),
            Some(_) if turn % 2 == 0 => Input::Wake,
            Some(prompt) => Input::Tap(Tap::Answer {
                prompt,
                pick: if turn % 4 == 1 {
                    Pick::Main
                } else {
                    Pick::Option(0)
                },
            }),
        };
        for effect in engine.handle(input, &now) {
            if let Effect::Append(more) = effect {
                entries.extend(more);
            }
        }
        if entries.len() >= RECORDS {
            break;
        }
    }
    entries.truncate(RECORDS);
    entries
}

/// Closed journals of that drill, each under a name of its own.
fn write(folder: &Path, drill: &[Entry], incidents: usize) {
    fs::create_dir_all(folder).expect("there is room");
    for number in 0..incidents {
        let mut chain = Chain::after(FIRST_PREV);
        let lines: Vec<String> = drill.iter().map(|entry| chain.seal(entry)).collect();
        let name = format!("20261125T183012Z-{number:06}.jsonl");
        fs::write(folder.join(name), lines.join("\n") + "\n").expect("there is room");
    }
}
