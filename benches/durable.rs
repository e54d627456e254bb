//! Measures the time from a touch to its durable records, beside a bare write and fdatasync of as many bytes.
//!
//! A crew believes the saved mark, so the mark must come at once, and how soon it can come is up to the disk. So both
//! are measured in turn on the same folder in the same run, and what counts is how they compare. The touch goes the
//! tablet's own way: the input queue, the engine on its thread, the journal on its own, and the report back into a
//! published snapshot that says "saved".
//!
//! Limits: the folder is in the build's own one, since a temporary folder is often in memory, where a sync costs
//! nothing. Nothing is drawn.

use groundward::clock::Clock;
use groundward::engine::{self, Edges, Engine};
use groundward::incident::{Act, Condition};
use groundward::journal::chain::{Chain, FIRST_PREV};
use groundward::journal::disk::{Disk, RealDisk};
use groundward::journal::thread::JournalThread;
use groundward::plan;
use groundward::signal::LoadedPlan;
use groundward::signal::{Effect, Entry, INPUTS_MAX, Input, Saved, Slot, Snapshot, Tap};
use std::fs::File;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::sync::mpsc::{self, Receiver};
use std::thread;
use std::time::{Duration, Instant};

/// Touches that are not counted, while files and threads come up.
const WARM_UPS: usize = 30;
const TOUCHES: usize = 900;
/// A disk that takes this long is broken.
const PATIENCE: Duration = Duration::from_secs(60);

/// What the engine's edge saw.
enum Seen {
    /// Records of a touch went to the journal, up to this number and with this many bytes of JSON in so many lines.
    Handed {
        seq: u64,
        json_bytes: usize,
        lines: usize,
    },
    /// A snapshot was published that says that all is saved up to this number.
    Saved { seq: u64, at: Instant },
}

/// The edges of a tablet, as far as the record is concerned.
struct Watched {
    journal: JournalThread,
    seen: mpsc::Sender<Seen>,
}

impl Edges for Watched {
    fn carry_out(&mut self, effect: Effect) {
        match effect {
            Effect::Open { incident } => self.journal.open(&incident),
            Effect::Append(entries) => {
                // The clock is written down by itself every few seconds, which is nobody's touch.
                if entries
                    .iter()
                    .any(|entry| !entry.json.contains("\"kind\":\"clock-marked\""))
                {
                    self.tell(Seen::Handed {
                        seq: entries.last().map_or(0, |entry| entry.seq),
                        json_bytes: entries.iter().map(|entry| entry.json.len()).sum(),
                        lines: entries.len(),
                    });
                }
                self.journal.append(entries);
            }
            _ => {}
        }
    }

    fn published(&mut self, snapshot: &Snapshot, _tell: bool) {
        if let Saved::Yes(seq) = snapshot.saved {
            self.tell(Seen::Saved {
                seq,
                at: Instant::now(),
            });
        }
    }
}

impl Watched {
    fn tell(&self, seen: Seen) {
        // The bench has ended, and with it whoever listened.
        let _ = self.seen.send(seen);
    }
}

/// A running engine that is touched from outside.
struct Tablet {
    inputs: tokio::sync::mpsc::Sender<Input>,
    seen: Receiver<Seen>,
    engine: thread::JoinHandle<()>,
    /// What the chain adds to the JSON of a record, with the newline.
    seal_bytes: usize,
}

impl Tablet {
    fn start(folder: &Path) -> Tablet {
        let (inputs, queue) = tokio::sync::mpsc::channel(INPUTS_MAX);
        let (tell, seen) = mpsc::channel();
        let (reports, folders) = (inputs.clone(), vec![folder.to_owned()]);
        let engine = thread::spawn(move || {
            let journal = JournalThread::spawn(folders, move |report, _| {
                drop(reports.blocking_send(Input::Journal(report)))
            });
            let mut edges = Watched {
                journal: journal.expect("the journal's thread starts"),
                seen: tell,
            };
            let plan = LoadedPlan::choose(
                Some(("demo.toml", plan::DEMO.as_bytes())),
                None,
                None,
                chrono::NaiveDate::MIN,
            );
            let (engine, slot, clock) = (Engine::new(plan, true), Slot::default(), Clock::new());
            let runtime = tokio::runtime::Builder::new_current_thread()
                .enable_time()
                .build()
                .expect("tokio starts");
            runtime.block_on(engine::run(
                engine,
                Vec::new(),
                queue,
                &slot,
                || clock.read(),
                &mut edges,
            ));
        });
        let empty = Entry {
            seq: 0,
            json: "{}".to_owned(),
        };
        let seal_bytes = Chain::after(FIRST_PREV).seal(&empty).len() + 1 - empty.json.len();
        Tablet {
            inputs,
            seen,
            engine,
            seal_bytes,
        }
    }

    /// Touches, and says how long it took until all of it was saved and how many bytes that were.
    fn touch(&self, tap: Tap) -> (Duration, usize) {
        let touched = Instant::now();
        self.inputs
            .blocking_send(Input::Tap(tap))
            .expect("the engine runs");
        let mut handed = None;
        loop {
            match self
                .seen
                .recv_timeout(PATIENCE)
                .expect("every touch here is recorded and saved")
            {
                Seen::Handed {
                    seq,
                    json_bytes,
                    lines,
                } => handed = Some((seq, json_bytes + lines * self.seal_bytes)),
                Seen::Saved { seq, at } => {
                    if let Some((_, bytes)) = handed.filter(|(last, _)| seq >= *last) {
                        return (at.duration_since(touched), bytes);
                    }
                }
            }
        }
    }

    fn stop(self) {
        self.inputs
            .blocking_send(Input::Stop)
            .expect("the engine runs");
        self.engine.join().expect("the engine ends well");
    }
}

/// A file as the journal prepares it, and nothing but the two system calls.
struct Bare {
    file: File,
    end_bytes: u64,
}

impl Bare {
    fn new(folder: &Path) -> Bare {
        let file = File::create_new(folder.join("bare")).expect("a file can be made");
        let room = usize::try_from(RealDisk.reserve_bytes()).expect("it fits into memory");
        file.write_all_at(&vec![b'\n'; room], 0)
            .expect("it can be written");
        file.sync_all().expect("it can be synced");
        Bare { file, end_bytes: 0 }
    }

    fn save(&mut self, bytes: usize) -> Duration {
        let line = vec![b'x'; bytes];
        let begun = Instant::now();
        self.file
            .write_all_at(&line, self.end_bytes)
            .expect("it can be written");
        self.file.sync_data().expect("it can be synced");
        self.end_bytes += bytes as u64;
        begun.elapsed()
    }
}

/// Touches that do something at any time in any incident, one record the first and two each of the others.
fn touches() -> impl Iterator<Item = Tap> {
    [
        Act::Report(Condition::Talking),
        Act::Danger,
        Act::DangerOver(None),
    ]
    .into_iter()
    .cycle()
    .map(Tap::Do)
}

/// The value that this share of all values does not exceed, in milliseconds.
fn quantile_ms(times: &[Duration], share: f64) -> f64 {
    let mut sorted = times.to_vec();
    sorted.sort();
    let rank = (share * sorted.len() as f64).ceil() as usize;
    sorted[rank.clamp(1, sorted.len()) - 1].as_secs_f64() * 1e3
}

fn main() {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let tablet = Tablet::start(folder.path());
    tablet.touch(Tap::Activate { position: None });
    // A call that is not confirmed would be given to the next person while this runs.
    tablet.touch(Tap::Do(Act::CallMade));
    let mut bare = Bare::new(folder.path());
    let (mut touched, mut written, mut bytes) = (Vec::new(), Vec::new(), 0);
    for (number, tap) in touches().take(WARM_UPS + TOUCHES).enumerate() {
        let (tap_time, tap_bytes) = tablet.touch(tap);
        let bare_time = bare.save(tap_bytes);
        if number >= WARM_UPS {
            touched.push(tap_time);
            written.push(bare_time);
            bytes += tap_bytes;
        }
    }
    tablet.stop();

    let [touch_p50, touch_p99] = [0.5, 0.99].map(|share| quantile_ms(&touched, share));
    let [bare_p50, bare_p99] = [0.5, 0.99].map(|share| quantile_ms(&written, share));
    let limit = 2.0 * bare_p99 + 1.0;
    println!(
        "touch to durable records: {TOUCHES} touches, {} bytes each on average, every one beside",
        bytes / TOUCHES
    );
    println!("a bare write and fdatasync of as many bytes in the same folder");
    println!("            p50 ms    p99 ms");
    println!("touch     {touch_p50:8.3}  {touch_p99:8.3}");
    println!("bare      {bare_p50:8.3}  {bare_p99:8.3}");
    println!(
        "ratio     {:8.2}  {:8.2}",
        touch_p50 / bare_p50,
        touch_p99 / bare_p99
    );
    let verdict = if touch_p99 <= limit {
        "holds"
    } else {
        "DOES NOT HOLD"
    };
    println!("p99 <= 2 x bare p99 + 1 ms: {touch_p99:.3} <= {limit:.3}: {verdict}");
}
