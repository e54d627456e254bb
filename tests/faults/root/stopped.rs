//! Stops one thread of the running program, as a deadlock or an endless loop in it would, and lets it go again.

use super::runs;
use crate::faults::hand::{Hand, Mark, on_the_program};
use crate::faults::rehearsal::{folders, nothing_is_lost, verified};
use crate::support::tablet::Tablet;
use groundward::words::{Id, Message};
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const POSITION: &str = "Silo 3 roof, east hatch";
const PATIENCE: Duration = Duration::from_secs(30);

/// Stops a thread until its input ends. The constants are those of Linux: SEIZE, INTERRUPT, DETACH, and "any child".
const STOP: &str = "
import ctypes, os, sys
thread = int(sys.argv[1])
call = ctypes.CDLL(None, use_errno=True).ptrace
call.argtypes = [ctypes.c_long, ctypes.c_long, ctypes.c_void_p, ctypes.c_void_p]
for request in (0x4206, 0x4207):
    if call(request, thread, None, None) != 0:
        sys.exit('ptrace: ' + os.strerror(ctypes.get_errno()))
os.waitpid(thread, 0x40000000)
print('stopped', flush=True)
sys.stdin.read()
call(17, thread, None, None)
";

/// One thread of a program that does not run, until this is dropped.
struct Stopped(Child);

impl Stopped {
    fn thread(name: &str, program: u32) -> Stopped {
        let tasks = format!("/proc/{program}/task");
        let named = std::fs::read_dir(&tasks)
            .expect("the program runs")
            .filter_map(Result::ok)
            .find(|it| {
                let comm = std::fs::read_to_string(it.path().join("comm"));
                comm.is_ok_and(|comm| comm.trim() == name)
            });
        let thread = named.unwrap_or_else(|| panic!("the program has no thread called {name}"));
        let mut child = Command::new("python3")
            .args(["-c", STOP])
            .arg(thread.file_name())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("Python is installed by .ci/setup");
        let mut said = String::new();
        BufReader::new(child.stdout.as_mut().expect("it is piped"))
            .read_line(&mut said)
            .expect("it says when it stands");
        assert_eq!(said.trim(), "stopped", "{name} cannot be stopped");
        Stopped(child)
    }
}

impl Drop for Stopped {
    fn drop(&mut self) {
        drop(self.0.stdin.take());
        let _ = self.0.wait();
    }
}

/// Waits while the notice that the program does not answer stands, or while it does not.
#[track_caller]
fn wait_for_notice(hand: &Hand, stands: bool) {
    let patience = Instant::now() + PATIENCE;
    while hand.notice_stands(&Message::of(Id::NoticeEngine), true) != stands {
        assert!(
            Instant::now() < patience,
            "the notice that the program does not answer should stand: {stands}"
        );
        std::thread::sleep(Duration::from_millis(30));
    }
}

#[test]
fn a_stopped_engine_is_said_the_clock_counts_on_and_touches_are_taken_afterwards() {
    if !runs(
        "faults::root::stopped::a_stopped_engine_is_said_the_clock_counts_on_and_touches_are_taken_afterwards",
    ) {
        return;
    }
    let folder = tempfile::tempdir().expect("there is room");
    let mut hand = on_the_program(folder.path());
    hand.hang(POSITION);
    hand.answer();
    hand.wait_for_mark(Mark::Saved);
    let mut changes_until_said = Vec::new();
    for _ in 0..3 {
        let place = hand.clock_place();
        let before = hand.tablet().saved();
        assert!(!hand.notice_stands(&Message::of(Id::NoticeEngine), true));
        let stopped = Stopped::thread("engine", hand.tablet().id());
        // The seconds that the screen itself counts until it says so.
        let notice = Message::of(Id::NoticeEngine);
        let patience = Instant::now() + PATIENCE;
        let (mut seconds, mut last) = (0, hand.screen.picture());
        while !hand.notice_stands(&notice, true) {
            assert!(Instant::now() < patience, "it is never said");
            let now = hand.screen.picture();
            if crate::faults::hand::differ(&last, &now, place) > 0 {
                (seconds, last) = (seconds + 1, now);
            }
        }
        changes_until_said.push(seconds);
        // The engine stands, and the time on the screen goes on.
        let until = Instant::now() + PATIENCE;
        let counted = hand.clock_changes(place, |changes| changes < 3 && Instant::now() < until);
        assert_eq!(counted, 3, "the time on the screen stands still");
        assert!(hand.notice_stands(&notice, true));
        // A touch now has nobody to take it, and is taken when there is somebody again.
        let (at, held, _) = hand.next_key();
        hand.screen.touch(at, held);
        std::thread::sleep(Duration::from_millis(300));
        assert_eq!(hand.tablet().saved(), before, "nobody took it yet");
        drop(stopped);
        wait_for_notice(&hand, false);
        hand.follow();
        hand.wait_for_mark(Mark::Saved);
    }
    let saved = hand.tablet.take().and_then(Tablet::kill);
    let here = nothing_is_lost(
        &folders(&hand.data, None),
        saved.as_ref(),
        "a stopped engine",
    );
    verified(&hand.data, None, "a stopped engine");
    // At most two seconds go by on the screen's own clock, and the beginning of a third may be seen.
    assert!(
        changes_until_said.iter().all(|it| *it <= 3),
        "{changes_until_said:?}"
    );
    println!(
        "3 times the engine stood still: the screen counted {changes_until_said:?} seconds until it said so; {here} records, \
         no touch and no record lost"
    );
}

#[test]
fn a_stopped_journal_holds_nothing_up_and_is_not_called_saved() {
    if !runs("faults::root::stopped::a_stopped_journal_holds_nothing_up_and_is_not_called_saved") {
        return;
    }
    let folder = tempfile::tempdir().expect("there is room");
    let mut hand = on_the_program(folder.path());
    hand.hang(POSITION);
    hand.wait_for_mark(Mark::Saved);
    let before = hand.tablet().saved();
    let stopped = Stopped::thread("journal", hand.tablet().id());
    let mut answers = 0;
    for _ in 0..6 {
        hand.answer();
        answers += 1;
        assert_ne!(hand.mark(), Mark::Saved, "nobody saves");
    }
    assert_eq!(hand.tablet().saved(), before);
    assert!(!hand.notice_stands(&Message::of(Id::NoticeEngine), true));
    drop(stopped);
    hand.wait_for_mark(Mark::Saved);
    let saved = hand.tablet.take().and_then(Tablet::kill);
    let here = nothing_is_lost(
        &folders(&hand.data, None),
        saved.as_ref(),
        "a stopped journal",
    );
    verified(&hand.data, None, "a stopped journal");
    let before = before.map_or(0, |it| it.1 + 1);
    println!(
        "{answers} answers while the journal stood still: {before} records before, {here} after, 0 lost"
    );
    assert!(
        here as u64 > before + answers,
        "the answers are in the record"
    );
}
