//! Measures the first frame of the real program beside an empty window of the same toolkit, and what an idle screen takes.
//!
//! A tablet that was switched off is opened in a hurry, and one that hangs on a wall must not run warm. Both programs
//! open on a screen without a monitor whose frame buffer is a file, so that the picture is watched from outside as an
//! eye would; the empty window is this bench once more, with an argument. They take turns, and what counts is how they
//! compare. Then the program is left alone, on standby and with the clock of an incident running.
//!
//! Limits: X11 and the software renderer, with everything on disk read before. Needs what `.ci/setup` installs.

use std::fs::{self, File};
use std::io::{BufRead, BufReader};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

const WIDTH: u32 = 1280;
const HEIGHT: u32 = 800;
/// The first turn of each is not counted.
const TURNS: usize = 12;
const FIRST_FRAME_RATIO_MAX: f64 = 1.5;
const IDLE_PERCENT_MAX: f64 = 2.0;

const LOOK_EVERY: Duration = Duration::from_micros(500);
/// A picture that stays the same for this long is finished.
const QUIET: Duration = Duration::from_millis(1_000);
const PATIENCE: Duration = Duration::from_secs(30);
/// From the first frame until a program counts as idle.
const SETTLE: Duration = Duration::from_secs(6);
const IDLE: Duration = Duration::from_secs(20);

/// The argument with which this bench is the empty window.
const EMPTY: &str = "--empty-window";

#[allow(missing_docs, unreachable_pub, clippy::all, clippy::unwrap_used)]
mod empty {
    slint::slint! {
        export component Empty inherits Window { background: #10202b; }
    }
}

fn main() {
    if std::env::args().any(|argument| argument == EMPTY) {
        return show_empty_window();
    }
    let folder = tempfile::tempdir().expect("a folder");
    let screen = Screen::start(folder.path());
    let standby = folder.path().join("standby");
    compare_first_frames(&screen, &standby);
    let idle = idle_percent(&screen, &standby);
    println!(
        "idle on standby: {idle:.2} % of one core over {} s",
        IDLE.as_secs()
    );
    let running = begin_incident(folder.path());
    let idle = idle_percent(&screen, &running);
    // The program writes its clock down every few seconds; if it did not, this was not about a running clock.
    assert!(
        clock_marks(&running) >= IDLE.as_secs() / 10,
        "no clock was running"
    );
    println!(
        "idle with the clock of an incident running: {idle:.2} % of one core over {} s; at most {IDLE_PERCENT_MAX} %: {}",
        IDLE.as_secs(),
        verdict(idle <= IDLE_PERCENT_MAX)
    );
}

fn show_empty_window() {
    use slint::ComponentHandle;
    let window = empty::Empty::new().expect("there is a screen");
    window
        .window()
        .set_size(slint::LogicalSize::new(WIDTH as f32, HEIGHT as f32));
    window.run().expect("the window opens");
}

fn verdict(holds: bool) -> &'static str {
    if holds { "holds" } else { "DOES NOT HOLD" }
}

fn compare_first_frames(screen: &Screen, data: &Path) {
    let own = std::env::current_exe().expect("this bench is a program");
    let (mut ours, mut finished, mut empty) = (Vec::new(), Vec::new(), Vec::new());
    for turn in 0..TURNS {
        let program = screen.open(&mut tablet(data)).until_quiet();
        let window = screen.open(Command::new(&own).arg(EMPTY)).until_quiet();
        if turn > 0 {
            ours.push(program.first);
            finished.push(program.last);
            empty.push(window.first);
        }
    }
    let [ours, finished, empty] = [ours, finished, empty].map(median_ms);
    let ratio = ours / empty;
    println!(
        "first frame after the start, median of {} turns:",
        TURNS - 1
    );
    println!("groundward     {ours:7.1} ms (last change of the picture after {finished:.1} ms)");
    println!("empty window   {empty:7.1} ms");
    println!(
        "ratio {ratio:.2}; at most {FIRST_FRAME_RATIO_MAX}: {}",
        verdict(ratio <= FIRST_FRAME_RATIO_MAX)
    );
}

fn median_ms(mut times: Vec<Duration>) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64() * 1e3
}

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_groundward"))
}

fn tablet(data: &Path) -> Command {
    let mut command = program();
    command
        .args([
            "run",
            "--demo",
            "--drill",
            "--size",
            &format!("{WIDTH}x{HEIGHT}"),
            "--data",
        ])
        .arg(data);
    command
}

/// Leaves a record in which an incident has just begun, and says where; a program opened on it takes the incident up.
fn begin_incident(folder: &Path) -> PathBuf {
    let script = folder.join("begun.txt");
    fs::write(&script, "0:00 hang silo3\n0:01 answer\n").expect("it can be written");
    let mut command = program();
    command
        .args(["rehearse", "--demo", "--script"])
        .arg(&script)
        .arg("--data")
        .arg(folder);
    let played = command
        .stdout(Stdio::null())
        .status()
        .expect("the program runs");
    assert!(played.success(), "the rehearsal went wrong");
    folder.join("rehearsals")
}

/// How often the clock was written down in the journals there.
fn clock_marks(data: &Path) -> u64 {
    let files = fs::read_dir(data.join("journals")).expect("the journals are there");
    let texts = files.map(|file| fs::read_to_string(file.expect("it is listed").path()));
    let marks = |text: String| text.matches("\"kind\":\"clock-marked\"").count() as u64;
    texts
        .map(|text| marks(text.expect("a journal is text")))
        .sum()
}

/// Share of one core that the program takes while nobody touches it.
fn idle_percent(screen: &Screen, data: &Path) -> f64 {
    let opened = screen.open(&mut tablet(data));
    opened.until_first_frame();
    thread::sleep(SETTLE);
    let (before, begun) = (processor_time(&opened.child), Instant::now());
    thread::sleep(IDLE);
    let (after, lasted) = (processor_time(&opened.child), begun.elapsed());
    (after - before).as_secs_f64() / lasted.as_secs_f64() * 100.0
}

/// What all threads of a process have taken so far, theirs and the system's for them.
fn processor_time(child: &Child) -> Duration {
    /// The kernel's unit for this file on every machine that Debian runs on: a hundredth of a second.
    const TICK_MS: u64 = 10;
    let stat =
        fs::read_to_string(format!("/proc/{}/stat", child.id())).expect("the program still runs");
    // The name in brackets comes second and may hold anything; the two times are the 12th and 13th behind it.
    let behind_name = stat.rsplit_once(')').expect("the name is in brackets").1;
    let ticks = behind_name
        .split_whitespace()
        .skip(11)
        .take(2)
        .map(|t| t.parse::<u64>().expect("a number"));
    Duration::from_millis(ticks.sum::<u64>() * TICK_MS)
}

/// A screen without a monitor, whose pixels are in a file.
struct Screen {
    server: Child,
    display: String,
    pixels: File,
    pixels_at: u64,
    line_bytes: u64,
}

impl Screen {
    fn start(folder: &Path) -> Screen {
        let mut server = Command::new("Xvfb")
            .args([
                "-displayfd",
                "1",
                "-nolisten",
                "tcp",
                "-screen",
                "0",
                &format!("{WIDTH}x{HEIGHT}x24"),
                "-fbdir",
            ])
            .arg(folder)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("Xvfb is installed by .ci/setup");
        let mut number = String::new();
        BufReader::new(server.stdout.as_mut().expect("it is piped"))
            .read_line(&mut number)
            .expect("Xvfb names its display");
        assert!(!number.trim().is_empty(), "Xvfb did not start");
        // The file is an X window dump: a header of big-endian words that gives its own length, a table of colours of
        // twelve bytes each, then the lines.
        let pixels = File::open(folder.join("Xvfb_screen0")).expect("Xvfb keeps its pixels there");
        let word = |index: u64| {
            let mut bytes = [0; 4];
            pixels
                .read_exact_at(&mut bytes, index * 4)
                .expect("the header is whole");
            u64::from(u32::from_be_bytes(bytes))
        };
        let (header_bytes, line_bytes, colours) = (word(0), word(12), word(19));
        let (display, pixels_at) = (format!(":{}", number.trim()), header_bytes + colours * 12);
        Screen {
            server,
            display,
            pixels,
            pixels_at,
            line_bytes,
        }
    }

    /// Some lines of the picture, spread over all of it: enough to see every change that matters, and quick to read.
    fn look(&self) -> Vec<u8> {
        const LINES_APART: u64 = 24;
        let mut picture =
            vec![0; (u64::from(HEIGHT).div_ceil(LINES_APART) * self.line_bytes) as usize];
        for (line, into) in (0..)
            .step_by(LINES_APART as usize)
            .zip(picture.chunks_mut(self.line_bytes as usize))
        {
            self.pixels
                .read_exact_at(into, self.pixels_at + line * self.line_bytes)
                .expect("the picture is whole");
        }
        picture
    }

    fn open(&self, command: &mut Command) -> Opened<'_> {
        command
            .env("DISPLAY", &self.display)
            .env("SLINT_BACKEND", "winit-software")
            .env_remove("WAYLAND_DISPLAY");
        command.stdout(Stdio::null()).stderr(Stdio::null());
        let (bare, begun) = (self.look(), Instant::now());
        let child = command.spawn().expect("the program runs");
        Opened {
            screen: self,
            bare,
            begun,
            child,
        }
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        end(&mut self.server);
    }
}

fn end(child: &mut Child) {
    // It may have ended by itself, and then there is nothing to do.
    let _ = child.kill();
    let _ = child.wait();
}

/// A program that was started on a bare screen.
struct Opened<'a> {
    screen: &'a Screen,
    bare: Vec<u8>,
    begun: Instant,
    child: Child,
}

/// When the picture changed, from the start of the program.
struct Changes {
    first: Duration,
    last: Duration,
}

impl Opened<'_> {
    fn until_first_frame(&self) -> (Duration, Vec<u8>) {
        loop {
            let picture = self.screen.look();
            let passed = self.begun.elapsed();
            if picture != self.bare {
                return (passed, picture);
            }
            assert!(passed < PATIENCE, "no window came");
            thread::sleep(LOOK_EVERY);
        }
    }

    /// Waits until the picture stays as it is, and ends the program.
    fn until_quiet(self) -> Changes {
        let (first, mut picture) = self.until_first_frame();
        let mut last = first;
        while self.begun.elapsed() < last + QUIET {
            thread::sleep(LOOK_EVERY);
            let now = self.screen.look();
            if now != picture {
                (last, picture) = (self.begun.elapsed(), now);
                assert!(last < PATIENCE, "the picture never stays as it is");
            }
        }
        Changes { first, last }
    }
}

impl Drop for Opened<'_> {
    fn drop(&mut self) {
        end(&mut self.child);
        let patience = Instant::now() + PATIENCE;
        while self.screen.look() != self.bare && Instant::now() < patience {
            thread::sleep(LOOK_EVERY);
        }
    }
}
