//! Keeps the tablet from going to sleep while an incident runs.
//!
//! A tablet that sleeps shows nothing and prompts nothing. The login manager takes a wish to stay awake for as long as a
//! process of its own lives, and that process is given a pipe to read: the pipe ends with this program, also when it is
//! killed, and so does the wish.
//!
//! Limits: where there is no login manager to ask, the tablet's own settings decide; the clock goes on in any case.

use std::process::{Child, Command, Stdio};

/// A wish to stay awake.
#[derive(Debug, Default)]
pub struct Awake {
    held: Option<Child>,
    cannot: bool,
}

impl Awake {
    /// Asks to stay awake, or not any more. Asking twice is asking once.
    pub fn keep(&mut self, wanted: bool) {
        match (wanted, self.held.is_some()) {
            (true, false) if !self.cannot => {
                self.held = ask();
                self.cannot = self.held.is_none();
            }
            (false, true) => self.let_go(),
            _ => {}
        }
    }

    fn let_go(&mut self) {
        if let Some(mut child) = self.held.take() {
            drop(child.stdin.take());
            // It ends by itself when its pipe does; this only keeps it from staying on as a dead process.
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

impl Drop for Awake {
    fn drop(&mut self) {
        self.let_go();
    }
}

fn ask() -> Option<Child> {
    Command::new("systemd-inhibit")
        .args([
            "--what=sleep:idle:handle-lid-switch",
            "--who=Groundward",
            "--why=Somebody hangs",
            "cat",
        ])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .ok()
}
