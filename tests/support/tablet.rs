//! Starts the real program under a screen without a monitor, touches it, and reads back what stands there.
//!
//! The server keeps its picture in a file, so that looking costs nothing and whoever counts frames does not slow them down.
//! What the program says of itself is read as it comes: what it calls saved, and its complaints.

use std::ffi::OsStr;
use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

pub(crate) const WIDTH: u32 = 1280;
pub(crate) const HEIGHT: u32 = 800;

/// A screen without a monitor.
pub(crate) struct Screen {
    server: Child,
    display: String,
    frame: File,
    /// Where the first pixel stands in that file; four bytes a pixel, blue first.
    first_pixel: u64,
    _folder: tempfile::TempDir,
}

impl Screen {
    pub(crate) fn start() -> Screen {
        let folder = tempfile::tempdir().expect("there is room");
        let mut server = Command::new("Xvfb")
            .args([
                "-displayfd",
                "1",
                "-noreset",
                "-nolisten",
                "tcp",
                "-screen",
                "0",
                &format!("{WIDTH}x{HEIGHT}x24"),
                "-fbdir",
            ])
            .arg(folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("Xvfb is installed by .ci/setup");
        let mut number = String::new();
        let out = server.stdout.as_mut().expect("it is piped");
        BufReader::new(out)
            .read_line(&mut number)
            .expect("Xvfb names its display");
        assert!(!number.trim().is_empty(), "Xvfb did not start");
        let frame = File::open(folder.path().join("Xvfb_screen0")).expect("Xvfb keeps its picture");
        let len = frame.metadata().expect("it has a length").len();
        Screen {
            server,
            display: format!(":{}", number.trim()),
            frame,
            first_pixel: len - u64::from(WIDTH * HEIGHT * 4),
            _folder: folder,
        }
    }

    /// Lets a program draw here.
    pub(crate) fn lend_to(&self, command: &mut Command) {
        command
            .env("DISPLAY", &self.display)
            .env_remove("WAYLAND_DISPLAY");
    }

    pub(crate) fn xdotool(&self, words: &[&str]) {
        let output = Command::new("xdotool")
            .args(words)
            .env("DISPLAY", &self.display)
            .output();
        assert!(
            output
                .expect("xdotool is installed by .ci/setup")
                .status
                .success(),
            "{words:?}"
        );
    }

    pub(crate) fn press(&self, (x, y): (i32, i32)) {
        self.xdotool(&[
            "mousemove",
            &x.to_string(),
            &y.to_string(),
            "mousedown",
            "1",
        ]);
    }

    pub(crate) fn release(&self) {
        self.xdotool(&["mouseup", "1"]);
    }

    pub(crate) fn touch(&self, at: (i32, i32), held: bool) {
        self.press(at);
        std::thread::sleep(Duration::from_millis(if held { 1_000 } else { 60 }));
        self.release();
    }

    /// Waits until the program's window stands.
    pub(crate) fn wait_for_window(&self) {
        self.xdotool(&["search", "--sync", "--onlyvisible", "--name", "groundward"]);
    }

    /// What stands on the screen, as red, green, blue.
    pub(crate) fn picture(&self) -> Vec<[u8; 3]> {
        let bytes = self.rows(0, HEIGHT);
        bytes.chunks_exact(4).map(|c| [c[2], c[1], c[0]]).collect()
    }

    /// Some rows as the server keeps them.
    fn rows(&self, from: u32, count: u32) -> Vec<u8> {
        let row_bytes = WIDTH * 4;
        let mut bytes = vec![0; (count * row_bytes) as usize];
        self.frame
            .read_exact_at(&mut bytes, self.first_pixel + u64::from(from * row_bytes))
            .expect("the picture is there");
        bytes
    }

    /// How often these rows were drawn anew within some time, as far as quick eyes see it.
    pub(crate) fn frames(&self, (from, count): (u32, u32), watched: Duration) -> u32 {
        let until = Instant::now() + watched;
        let mut frames = 0;
        let mut last = self.rows(from, count);
        while Instant::now() < until {
            std::thread::sleep(Duration::from_millis(4));
            let now = self.rows(from, count);
            if now != last {
                frames += 1;
                last = now;
            }
        }
        frames
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

/// Incident and last record that the saved mark reported.
pub(crate) type SavedMark = Arc<Mutex<Option<(String, u64)>>>;

/// The program, started so that it can be listened to.
pub(crate) struct Tablet {
    child: Child,
    saved: SavedMark,
    complaints: Arc<Mutex<String>>,
    listeners: Vec<JoinHandle<()>>,
}

impl Tablet {
    pub(crate) fn start(screen: &Screen, plan: &Path, data: &Path) -> Tablet {
        Tablet::start_as(crate::real::program(), screen, plan, data)
    }

    /// The same by way of another program that starts it.
    pub(crate) fn start_as(command: Command, screen: &Screen, plan: &Path, data: &Path) -> Tablet {
        Tablet::start_with(command, screen, plan, data, None)
    }

    /// The tablet that is there for rescues: a drill on it is one that somebody prepared.
    pub(crate) fn start_for_rescues(screen: &Screen, plan: &Path, data: &Path) -> Tablet {
        Tablet::run(crate::real::program(), screen, plan, data, &[])
    }

    /// The same with another folder for when the usual one fails.
    pub(crate) fn start_with(
        command: Command,
        screen: &Screen,
        plan: &Path,
        data: &Path,
        fallback: Option<&Path>,
    ) -> Tablet {
        let mut more = vec![OsStr::new("--drill")];
        if let Some(fallback) = fallback {
            more.extend([OsStr::new("--fallback"), fallback.as_os_str()]);
        }
        Tablet::run(command, screen, plan, data, &more)
    }

    fn run(
        mut command: Command,
        screen: &Screen,
        plan: &Path,
        data: &Path,
        more: &[&OsStr],
    ) -> Tablet {
        command.args(["run", "--kiosk", "--announce"]);
        command.args(["--inches", "10.1"]);
        command.arg(plan).arg("--data").arg(data).args(more);
        screen.lend_to(&mut command);
        Tablet::listen_to(command)
    }

    /// Starts any command that announces what is saved.
    pub(crate) fn listen_to(mut command: Command) -> Tablet {
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program runs");
        let saved = SavedMark::default();
        let complaints = Arc::new(Mutex::new(String::new()));
        let out = child.stdout.take().expect("it is piped");
        let err = child.stderr.take().expect("it is piped");
        let listeners = vec![
            std::thread::spawn({
                let saved = saved.clone();
                move || listen(out, &saved)
            }),
            std::thread::spawn({
                let complaints = complaints.clone();
                move || {
                    for line in BufReader::new(err).lines().map_while(Result::ok) {
                        let mut all = complaints.lock().expect("nobody panicked");
                        all.push_str(&line);
                        all.push('\n');
                    }
                }
            }),
        ];
        Tablet {
            child,
            saved,
            complaints,
            listeners,
        }
    }

    /// The process, where nothing stands between it and the test.
    pub(crate) fn id(&self) -> u32 {
        self.child.id()
    }

    /// Whether its output has ended, and so the program.
    pub(crate) fn has_ended(&self) -> bool {
        self.listeners.iter().all(JoinHandle::is_finished)
    }

    pub(crate) fn saved(&self) -> Option<(String, u64)> {
        self.saved.lock().expect("no listener panicked").clone()
    }

    /// What [`Tablet::saved`] says, for other threads.
    pub(crate) fn saved_mark(&self) -> SavedMark {
        self.saved.clone()
    }

    /// What it said to standard error so far.
    pub(crate) fn complaints(&self) -> String {
        self.complaints
            .lock()
            .expect("no listener panicked")
            .clone()
    }

    /// SIGKILL; the answer is what was called saved up to the last moment.
    pub(crate) fn kill(mut self) -> Option<(String, u64)> {
        self.child.kill().expect("it can be killed");
        self.end().1
    }

    /// Waits for its end by itself: the exit code, and what was called saved.
    pub(crate) fn wait(mut self) -> (Option<i32>, Option<(String, u64)>, String) {
        let (code, saved) = self.end();
        (code, saved, self.complaints())
    }

    fn end(&mut self) -> (Option<i32>, Option<(String, u64)>) {
        let status = self.child.wait().expect("it ends");
        for listener in self.listeners.drain(..) {
            listener.join().expect("it ends");
        }
        (status.code(), self.saved())
    }
}

impl Drop for Tablet {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn listen(out: impl Read, saved: &Mutex<Option<(String, u64)>>) {
    for line in BufReader::new(out).lines().map_while(Result::ok) {
        let mut words = line.split(' ');
        if let (Some("saved"), Some(id), Some(Ok(seq))) =
            (words.next(), words.next(), words.next().map(str::parse))
        {
            *saved.lock().expect("nobody panicked") = Some((id.to_owned(), seq));
        }
    }
}
