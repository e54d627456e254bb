//! Turns the clocks of the machine under the real program: suspend, reboot, a dead real-time clock, wrong and stepping wall
//! clocks, the change of summer time, midnight, years ahead.
//!
//! The boot clock is shifted by a time namespace, the boot id is another file mounted over it, the wall clock is libfaketime's.
//! What the screen shows is read off its picture. Truth is how long the test itself has waited, and what it added.

use super::runs;
use crate::faults::hand::{Hand, Mark, Place, differ, on_the_program, place_of_clock};
use crate::faults::rehearsal::{folders, nothing_is_lost, play, rehearse, script, verified};
use crate::real::{on_disk, program};
use crate::support::tablet::{HEIGHT, Screen, Tablet, WIDTH};
use crate::twin::Twin;
use groundward::engine::Engine;
use groundward::incident::{Carried, Event, Moment, Record, State};
use groundward::signal::{LoadedPlan, Notice, Snapshot};
use groundward::units::Millis;
use groundward::words::{Id, Message, clock};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant, UNIX_EPOCH};

const PATIENCE: Duration = Duration::from_secs(40);
const HOUR_S: i64 = 3_600;
const DAY_S: i64 = 24 * HOUR_S;
/// What starting and looking may take, on a machine that does other things as well.
const SLACK_S: i64 = 30;
/// What a reboot is taken to last.
const BOOT_S: i64 = 60;

fn wall_s() -> i64 {
    let since = UNIX_EPOCH.elapsed().expect("it is after 1970");
    i64::try_from(since.as_secs()).expect("it fits")
}

fn boot_s() -> i64 {
    groundward::clock::Clock::new().read().boot_ms / 1_000
}

/// The library that fakes the wall clock, wherever Debian puts it for this kind of machine.
fn faketime() -> PathBuf {
    let libraries = std::fs::read_dir("/usr/lib").expect("it is there");
    libraries
        .filter_map(Result::ok)
        .map(|it| it.path().join("faketime").join("libfaketimeMT.so.1"))
        .find(|path| path.is_file())
        .expect("libfaketime is installed by .ci/setup")
}

/// Clocks that differ from those of this machine.
#[derive(Clone, Debug, Default)]
struct World {
    /// How much further the boot clock is.
    boot_ahead_s: Option<i64>,
    /// Another start of the machine.
    rebooted: bool,
    /// How much further the wall clock is.
    wall_ahead_s: Option<i64>,
    /// A file that says so, where it is to change while the program runs.
    wall_file: Option<PathBuf>,
    /// Where local time is.
    zone: Option<&'static str>,
}

impl World {
    /// The program in it; `folder` takes what that needs.
    fn program(&self, folder: &Path) -> Command {
        let own = program();
        let own = own.get_program();
        let mut command = if self.rebooted || self.boot_ahead_s.is_some() {
            let boot_id = folder.join("boot-id");
            let number = wall_s().unsigned_abs() + u64::from(std::process::id());
            let text = format!(
                "{:08x}-0000-4000-8000-{number:012x}\n",
                folder.as_os_str().len()
            );
            std::fs::write(&boot_id, text).expect("there is room");
            let mut command = Command::new("unshare");
            command.args(["-r", "-T", "-m"]);
            // After a reboot the clock of the boot has only just begun.
            let since_boot = self.rebooted.then(|| 1 - boot_s());
            if let Some(ahead) = since_boot.or(self.boot_ahead_s) {
                command.args(["--boottime", &ahead.to_string()]);
            }
            let mount = "[ -z \"$1\" ] || mount --bind \"$1\" /proc/sys/kernel/random/boot_id || exit 9\nshift\nexec \"$@\"";
            command.args(["sh", "-c", mount, "sh"]);
            match self.rebooted {
                true => command.arg(boot_id),
                false => command.arg(""),
            };
            command.arg(own);
            command
        } else {
            Command::new(own)
        };
        if self.wall_ahead_s.is_some() || self.wall_file.is_some() {
            command.env("LD_PRELOAD", faketime());
            for keep in [
                "DONT_FAKE_MONOTONIC",
                "FAKETIME_DONT_FAKE_MONOTONIC",
                "NO_FAKE_STAT",
            ] {
                command.env(keep, "1");
            }
        }
        if let Some(ahead) = self.wall_ahead_s {
            command.env("FAKETIME", format!("{ahead:+}"));
        }
        if let Some(file) = &self.wall_file {
            command.env("FAKETIME_TIMESTAMP_FILE", file);
            command.env("FAKETIME_NO_CACHE", "1");
        }
        if let Some(zone) = self.zone {
            command.env("TZ", zone);
        }
        command
    }
}

/// Lays the record out as the screen should show it, and finds which time it is that stands there.
struct Reader {
    twin: Twin,
    standby: Snapshot,
}

impl Reader {
    fn new() -> Reader {
        let plan = ("site.toml", groundward::plan::DEMO.as_bytes());
        let loaded = LoadedPlan::choose(Some(plan), None, None, crate::support::day());
        let nowhere = Moment {
            wall_ms: 0,
            offset_min: 0,
            boot_ms: 0,
            boot_id: "none".into(),
        };
        Reader {
            twin: Twin::new(WIDTH, HEIGHT, 10.1),
            standby: Engine::new(loaded, true).snapshot(&nowhere),
        }
    }

    /// The running time on the screen in whole seconds, looked for from here on; and whether "at least" is said with it.
    fn shown_s(&self, screen: &Screen, state: &State, from_s: i64) -> (i64, bool) {
        let patience = Instant::now() + PATIENCE;
        let (mut real, mut nearest) = (screen.picture(), (u32::MAX, 0));
        let mut without = None;
        while Instant::now() < patience {
            real = screen.picture();
            for second in from_s..from_s + 12 {
                let (laid_out, clock_place, notice) = self.lay_out(state, second, second);
                let area = clock_place.2 * clock_place.3;
                // Another digit is another hundredth of the place at least.
                let apart = differ(&real, &laid_out, clock_place);
                nearest = nearest.min((apart, second));
                if apart * 400 < area {
                    // The sentence is as old as what the engine said last.
                    let lost = notice.is_some()
                        && (from_s..=second).rev().any(|said_s| {
                            let (laid_out, _, notice) = self.lay_out(state, second, said_s);
                            let it = notice.expect("it was there before");
                            differ(&real, &laid_out, it) * 50 < it.2 * it.3
                        });
                    if lost || !state.facts.line.at_least {
                        return (second, lost);
                    }
                    // The sentence may come a frame after the time.
                    without = Some(second);
                }
            }
        }
        let (laid_out, place, _) = self.lay_out(state, without.unwrap_or(from_s), from_s);
        for (name, picture) in [("shown", &real), ("laid-out", &laid_out)] {
            let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("time-{name}.png"));
            let bytes: Vec<u8> = picture.iter().flatten().copied().collect();
            crate::screens::write(&path, &bytes, (WIDTH, HEIGHT));
        }
        if let Some(second) = without {
            return (second, false);
        }
        panic!(
            "the time on the screen is none from {from_s} s on, at {place:?}, nearest {nearest:?}; pictures of both are kept"
        );
    }

    /// The picture at a second, where the time stands in it, and where the notice does that it was lost.
    fn lay_out(
        &self,
        state: &State,
        second: i64,
        said_s: i64,
    ) -> (Vec<[u8; 3]>, Place, Option<Place>) {
        let last = state.log.last().map(|it| (it.now.clone(), it.elapsed));
        let (mut now, elapsed) = last.expect("it has records");
        now.boot_ms += second * 1_000 + 500 - elapsed.0;
        let mut snapshot = Snapshot {
            facts: Arc::new(state.facts.clone()),
            ..self.standby.clone()
        };
        let lost = Message::with(Id::NoticeClockLost, [&clock(Millis(said_s * 1_000))]);
        if state.facts.line.at_least {
            snapshot.notices = vec![Notice {
                message: lost.clone(),
                grave: true,
            }];
        }
        self.twin.show(&Arc::new(snapshot), &now);
        let clock_place = place_of_clock(&self.twin);
        let english = groundward::words::Language::English;
        let notice = state
            .facts
            .line
            .at_least
            .then(|| self.twin.place_of(&lost.text(english)));
        (self.twin.picture(), clock_place, notice)
    }
}

fn copy_folder(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("there is room");
    for entry in std::fs::read_dir(from).expect("it is there") {
        let entry = entry.expect("it is listed");
        let target = to.join(entry.file_name());
        match entry.file_type().expect("it has one").is_dir() {
            true => copy_folder(&entry.path(), &target),
            false => drop(std::fs::copy(entry.path(), target).expect("there is room")),
        }
    }
}

/// Waits until the incident has more records than these.
fn wait_for_more(data: &Path, tablet: &Tablet, than: usize) -> Vec<Record> {
    let patience = Instant::now() + PATIENCE;
    while Instant::now() < patience {
        if let Some((id, _)) = tablet.saved() {
            let records = on_disk(data, &id);
            if records.len() > than {
                return records;
            }
        }
        std::thread::sleep(Duration::from_millis(30));
    }
    panic!("the record does not go on: {}", tablet.complaints());
}

#[test]
fn over_suspend_reboot_and_a_dead_clock_the_time_shown_is_true_within_its_bound() {
    if !runs(
        "faults::root::time::over_suspend_reboot_and_a_dead_clock_the_time_shown_is_true_within_its_bound",
    ) {
        return;
    }
    let folder = tempfile::tempdir().expect("there is room");
    let mut hand = on_the_program(folder.path());
    hand.hang("Silo 3 roof, east hatch");
    let hung = Instant::now();
    hand.answer();
    hand.wait_for_mark(Mark::Saved);
    let (id, _) = hand
        .tablet
        .take()
        .and_then(Tablet::kill)
        .expect("it was saved");
    let base = hand.data.clone();
    let before = on_disk(&base, &id);
    let last_s = before.last().expect("there are records").elapsed.0 / 1_000;
    let dead = 60 - wall_s();
    let suspended = |boot_ahead_s, wall_ahead_s| World {
        boot_ahead_s: Some(boot_ahead_s),
        wall_ahead_s: Some(wall_ahead_s),
        ..World::default()
    };
    let rebooted = |wall_ahead_s| World {
        rebooted: true,
        wall_ahead_s: Some(wall_ahead_s),
        ..World::default()
    };
    use Carried::{AtLeast, BootClock, WallClock};
    // What happened and the clocks afterwards; how the time is carried; how much more has really passed than the test
    // waited; how far the wall clock is wrong about that. A reboot takes its time, too.
    let cases = [
        (
            "suspended for 15 minutes",
            suspended(900, 900),
            BootClock,
            900,
            0,
        ),
        (
            "suspended for 3 days",
            suspended(3 * DAY_S, 3 * DAY_S),
            BootClock,
            3 * DAY_S,
            0,
        ),
        (
            "suspended, the wall clock fell back",
            suspended(900, dead),
            BootClock,
            900,
            0,
        ),
        ("rebooted", rebooted(BOOT_S), WallClock, BOOT_S, 0),
        ("off for an hour", rebooted(HOUR_S), WallClock, HOUR_S, 0),
        (
            "rebooted, the clock is 2 hours ahead",
            rebooted(2 * HOUR_S),
            WallClock,
            BOOT_S,
            2 * HOUR_S - BOOT_S,
        ),
        (
            "rebooted with a dead clock",
            rebooted(dead),
            AtLeast,
            BOOT_S,
            0,
        ),
        (
            "off for an hour with a dead clock",
            rebooted(dead),
            AtLeast,
            HOUR_S,
            0,
        ),
        (
            "rebooted, the clock is an hour behind",
            rebooted(-HOUR_S),
            AtLeast,
            BOOT_S,
            0,
        ),
        (
            "off for 25 hours",
            rebooted(25 * HOUR_S),
            AtLeast,
            25 * HOUR_S,
            0,
        ),
        (
            "rebooted, the clock says 2100",
            rebooted(74 * 365 * DAY_S),
            AtLeast,
            BOOT_S,
            0,
        ),
    ];
    let reader = Reader::new();
    for (number, (what, world, carried, passed_s, wrong_s)) in cases.iter().enumerate() {
        let data = folder.path().join(format!("case-{number}"));
        copy_folder(&base, &data);
        hand.data.clone_from(&data);
        hand.start_program(world.program(folder.path()));
        let records = wait_for_more(&data, hand.tablet(), before.len());
        let resumed = &records[before.len()];
        let Event::Resumed {
            carried: how,
            at_ms,
            before: was,
            after: is,
            least_ms,
            most_ms,
        } = &resumed.event
        else {
            panic!("{what}: it goes on where it was: {resumed:?}");
        };
        assert_eq!(how, carried, "{what}: {was:?} {is:?}");
        assert_eq!(*at_ms, resumed.elapsed.0, "{what}");
        assert_eq!(was.boot == is.boot, !world.rebooted, "{what}");
        let state = State::replay(records.clone());
        let (shown_s, lost) = reader.shown_s(&hand.screen, &state, at_ms / 1_000);
        let true_s = i64::try_from(hung.elapsed().as_secs()).expect("it is short") + passed_s;
        // The bounds that the record names hold, but for the moment between the touch and the test's own watch.
        let least_s = least_ms.expect("it knows how long the machine is up") / 1_000;
        assert!(
            least_s <= true_s + 5,
            "{what}: at least {least_s} s, {true_s} s are true"
        );
        if let Some(most_ms) = most_ms {
            assert!(
                most_ms / 1_000 + SLACK_S >= true_s,
                "{what}: at most {most_ms} ms, {true_s} s are true"
            );
        }
        // The first touch that was held may have begun up to a few seconds before the test knew of it.
        match carried {
            Carried::BootClock | Carried::WallClock => {
                let apart = shown_s - wrong_s - true_s;
                assert!(
                    (-SLACK_S..=SLACK_S).contains(&apart),
                    "{what}: {shown_s} s are shown, {true_s} s are true"
                );
                assert!(
                    apart >= -2,
                    "{what}: {shown_s} s are shown, at least {true_s} s are true"
                );
                assert!(!lost && !state.facts.line.at_least, "{what}");
            }
            Carried::AtLeast => {
                assert!(
                    shown_s <= true_s + 5,
                    "{what}: at least {shown_s} s are said, {true_s} s are true"
                );
                assert!(
                    lost,
                    "{what}: the screen does not say that the clock was lost"
                );
            }
        }
        assert!(
            shown_s >= last_s,
            "{what}: the time ran backwards, {last_s} s to {shown_s} s"
        );
        let saved = hand.tablet.take().and_then(Tablet::kill);
        nothing_is_lost(&folders(&data, None), saved.as_ref(), what);
        verified(&data, None, what);
        println!(
            "{what}: {how:?}, {shown_s} s shown, {true_s} s true{}",
            if lost { ", \"at least\"" } else { "" }
        );
    }
}

/// Central European rules without the names of any place: forward on the last Sunday of March, back on that of October.
const ZONE: &str = "<+01>-1<+02>,M3.5.0,M10.5.0/3";

/// Seconds since 1970 at a moment in UTC.
fn utc(text: &str) -> i64 {
    let parsed = chrono::DateTime::parse_from_rfc3339(text).expect("it is a moment");
    parsed.timestamp()
}

#[test]
fn steps_of_the_wall_clock_change_nothing_while_the_program_runs() {
    if !runs("faults::root::time::steps_of_the_wall_clock_change_nothing_while_the_program_runs") {
        return;
    }
    let folder = tempfile::tempdir().expect("there is room");
    let wall_file = folder.path().join("wall");
    let set = |wanted: i64| {
        let new = folder.path().join("wall-new");
        std::fs::write(&new, format!("{:+}\n", wanted - wall_s())).expect("there is room");
        std::fs::rename(&new, &wall_file).expect("it can be put in its place");
    };
    // Two seconds before each turn, so that the clock runs over it by itself; then steps.
    let turns = [
        ("midnight", "2026-06-30T21:59:58Z"),
        ("the end of summer time", "2026-10-25T00:59:58Z"),
        ("the beginning of summer time", "2027-03-28T00:59:58Z"),
        ("the end of a leap day", "2028-02-29T22:59:58Z"),
        ("the last second of 31 bits", "2038-01-19T03:14:06Z"),
        ("the turn of a century", "2099-12-31T22:59:58Z"),
        ("three hours back", "2099-12-31T20:00:00Z"),
        ("1970", "1970-01-01T00:01:00Z"),
        ("today", "2026-11-25T12:00:00Z"),
    ];
    set(utc("2026-06-30T10:00:00Z"));
    let world = World {
        wall_file: Some(wall_file.clone()),
        zone: Some(ZONE),
        ..World::default()
    };
    let data = folder.path().join("data");
    let mut hand = Hand::start(world.program(folder.path()), folder.path(), &data, None);
    hand.hang("Silo 3 roof, east hatch");
    let hung = Instant::now();
    let mut seen = Vec::new();
    for (what, when) in turns {
        set(utc(when));
        let (id, _) = hand.tablet().saved().expect("it was saved");
        let count = on_disk(&data, &id).len();
        // A mark of the clock before the turn and one after it, or an answer.
        std::thread::sleep(Duration::from_millis(1_200));
        hand.answer();
        std::thread::sleep(Duration::from_millis(1_500));
        hand.answer();
        hand.wait_for_mark(Mark::Saved);
        let records = wait_for_more(&data, hand.tablet(), count + 1);
        seen.push((what, records.last().expect("there are records").now.clone()));
    }
    let (id, _) = hand.tablet().saved().expect("it was saved");
    let records = on_disk(&data, &id);
    let first = &records[0];
    let mut walls = std::collections::BTreeSet::new();
    for record in &records {
        let by_boot = record.now.boot_ms - first.now.boot_ms;
        let apart = record.elapsed.0 - first.elapsed.0 - by_boot;
        assert!(
            apart.abs() <= 1,
            "record {}: {apart} ms apart from the boot clock",
            record.seq
        );
        walls.insert(record.now.wall_ms / 1_000 / HOUR_S);
    }
    assert!(records.windows(2).all(|it| it[1].elapsed >= it[0].elapsed));
    assert!(
        walls.len() >= turns.len(),
        "the wall clock did not step: {walls:?}"
    );
    for ((what, when), (_, now)) in turns.iter().zip(&seen) {
        let apart = now.wall_ms / 1_000 - utc(when);
        assert!(
            (0..60).contains(&apart),
            "{what}: the record says {apart} s after {when}"
        );
        let offset = match *what {
            "midnight" | "the beginning of summer time" => 120,
            _ => 60,
        };
        assert_eq!(now.offset_min, offset, "{what}: local time");
    }
    let state = State::replay(records.clone());
    let reader = Reader::new();
    let from_s = records.last().map_or(0, |it| it.elapsed.0 / 1_000);
    let (shown_s, lost) = reader.shown_s(&hand.screen, &state, from_s);
    let true_s = i64::try_from(hung.elapsed().as_secs()).expect("it is short");
    assert!(
        (-1..=6).contains(&(shown_s - true_s)) && !lost,
        "{shown_s} s are shown, {true_s} s are true"
    );
    let saved = hand.tablet.take().and_then(Tablet::kill);
    let here = nothing_is_lost(
        &folders(&data, None),
        saved.as_ref(),
        "a stepping wall clock",
    );
    verified(&data, None, "a stepping wall clock");
    println!(
        "{} turns and steps of the wall clock: {here} records, {shown_s} s shown, {true_s} s true",
        turns.len()
    );
}

/// Whatever day it is: a drill is played, the record verifies, and the list names the local time that `date` names too.
#[test]
fn on_any_day_the_log_names_the_local_time() {
    if !runs("faults::root::time::on_any_day_the_log_names_the_local_time") {
        return;
    }
    let days = [
        "1970-01-01T00:00:30Z",
        "2026-10-25T00:59:40Z",
        "2026-10-25T01:00:20Z",
        "2027-03-28T00:59:40Z",
        "2027-03-28T01:00:20Z",
        "2026-12-31T22:59:50Z",
        "2038-01-19T03:14:00Z",
        "2100-02-28T23:30:00Z",
        "2106-02-07T06:28:10Z",
    ];
    let folder = tempfile::tempdir().expect("there is room");
    // As far as no method was chosen: which one is best depends on the papers that are in date on that day.
    let whole = std::fs::read_to_string(script()).expect("it is there");
    let script = folder.path().join("begins.txt");
    let begins: Vec<&str> = whole
        .lines()
        .take_while(|it| !it.contains("apart"))
        .collect();
    assert!(begins.len() > 6);
    std::fs::write(&script, begins.join("\n")).expect("there is room");
    for (number, day) in days.iter().enumerate() {
        let data = folder.path().join(format!("day-{number}"));
        let world = World {
            wall_ahead_s: Some(utc(day) - wall_s()),
            zone: Some(ZONE),
            ..World::default()
        };
        let played = play(&script, world.program(folder.path()), &data, None, 0);
        let (code, saved, said) = Tablet::listen_to(played).wait();
        assert_eq!(code, Some(0), "{day}: {said}");
        let record = data.join("rehearsals");
        nothing_is_lost(&folders(&record, None), saved.as_ref(), day);
        let id = saved.expect("it was saved").0;
        let stamp = day[..13].replace(['-', ':'], "");
        assert!(id.starts_with(&stamp), "{day}: the incident is called {id}");
        // The list is read elsewhere and later; what it says is the time of the place.
        let mut list = program();
        list.args(["log", "list", "--data"]).arg(&record);
        let list = list.output().expect("the program runs");
        let list = String::from_utf8_lossy(&list.stdout).into_owned();
        let records = groundward::journal::read::read(
            &groundward::journal::disk::RealDisk,
            &folders(&record, None),
            &id,
        );
        let first =
            Record::from_json(&records.expect("it is there").records[0].text).expect("ours");
        let asked = Command::new("date")
            .args([
                "-d",
                &format!("@{}", first.now.wall_ms.div_euclid(1_000)),
                "+%Y-%m-%d %H:%M",
            ])
            .env("TZ", ZONE)
            .output()
            .expect("date is there");
        let local = String::from_utf8_lossy(&asked.stdout).trim().to_owned();
        assert!(list.contains(&local), "{day}: {local} is not in {list}");
        verified(&record, None, day);
        let mut show = program();
        show.args(["log", "show", &id, "--data"]).arg(&record);
        let show = show.output().expect("the program runs");
        let show = String::from_utf8_lossy(&show.stdout).into_owned();
        assert!(
            show.contains("Somebody hangs at Silo 3 roof") && show.contains("Casualty: talking"),
            "{day}: {show}"
        );
    }
    println!(
        "{} days: drills played, listed at their local time, verified",
        days.len()
    );
}

/// With a dead clock an incident has the oldest name of all; it is the one that runs, whatever else was never stood down.
#[test]
fn an_incident_begun_with_a_dead_clock_is_taken_up_among_many_others() {
    if !runs(
        "faults::root::time::an_incident_begun_with_a_dead_clock_is_taken_up_among_many_others",
    ) {
        return;
    }
    let folder = tempfile::tempdir().expect("there is room");
    let (code, saved, said) =
        Tablet::listen_to(rehearse(program(), &folder.path().join("played"), None, 0)).wait();
    assert_eq!(code, Some(0), "{said}");
    let played = folder
        .path()
        .join("played")
        .join("rehearsals")
        .join("journals");
    let begun_before = saved.expect("it was saved").0;
    let name = format!("{begun_before}.jsonl");
    let whole = std::fs::read(played.join(&name)).expect("it is there");
    let data = folder.path().join("data");
    let journals = data.join("journals");
    std::fs::create_dir_all(&journals).expect("there is room");
    for number in 0..30 {
        let path = journals.join(format!("20260101T0000{number:02}Z-0001.jsonl"));
        std::fs::write(path, &whole).expect("there is room");
    }
    // One that was given up long ago, in the form of one that runs.
    let lines = whole.split_inclusive(|byte| *byte == b'\n');
    let mut open: Vec<u8> = lines.take(30).flatten().copied().collect();
    open.resize(open.len().next_multiple_of(1 << 16), b'\n');
    std::fs::write(journals.join(&name), open).expect("there is room");

    let world = World {
        wall_ahead_s: Some(60 - wall_s()),
        ..World::default()
    };
    // The tablet takes up what was given up; it is left where it is and another one is begun in its place.
    let mut hand = Hand::start(program(), folder.path(), &data, None);
    let first = wait_for_more(&data, hand.tablet(), 30);
    let (given_up, _) = hand
        .tablet
        .take()
        .and_then(Tablet::kill)
        .expect("it was saved");
    assert_eq!(given_up, begun_before);
    assert_eq!(first[30].event.kind(), "resumed");
    let away = folder.path().join("away.jsonl");
    let open = journals.join(name);
    std::fs::rename(&open, &away).expect("it is there");
    hand.start_program(world.program(folder.path()));
    hand.hang("Silo 3 roof, east hatch");
    hand.wait_for_mark(Mark::Saved);
    let (begun, _) = hand
        .tablet
        .take()
        .and_then(Tablet::kill)
        .expect("it was saved");
    assert!(begun.starts_with("19700101T"), "{begun}");
    std::fs::rename(&away, &open).expect("it is there");
    let count = on_disk(&data, &begun).len();
    hand.start_program(world.program(folder.path()));
    let after = wait_for_more(&data, hand.tablet(), count);
    assert_eq!(hand.tablet().saved().map(|it| it.0), Some(begun.clone()));
    assert_eq!(after[count].event.kind(), "resumed");
    let saved = hand.tablet.take().and_then(Tablet::kill);
    nothing_is_lost(&folders(&data, None), saved.as_ref(), "a dead clock");
    println!("{begun} was taken up among 31 others");
}
