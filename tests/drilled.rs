//! Prepares a drill by touch on a tablet that is there for rescues, plays it with its surprises, and kills it in the middle.
//!
//! What the pages of Standby show is laid out by an engine that is touched like the real one; in the drill the journal says
//! what stands there, as in `drive`. The surprises come at their times of the real clock, so this takes about a minute.

use crate::drive::Drill;
use crate::real::{on_disk, program};
use crate::support::tablet::{HEIGHT, WIDTH};
use groundward::engine::Engine;
use groundward::incident::{Event, Hanging, Moment, OtherWork, Record};
use groundward::signal::{Effect, Input, LoadedPlan, LogEntry};
use groundward::words::{Id, Language, label};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Two surprises within the first minute.
const SCENARIO: &str = "Silo 3: cut off";
const PLACE: &str = "Silo 3 roof, east hatch";

const PATIENCE: Duration = Duration::from_secs(30);

fn say(id: Id) -> String {
    label(id, Language::English)
}

/// The pages of Standby, touched on the real screen and laid out here.
struct Preparing {
    drill: Drill,
    engine: Engine,
    now: Moment,
    /// How many touches the engine here has had.
    taken: usize,
}

impl Preparing {
    fn start(folder: &Path, kills: u32) -> Preparing {
        let demo = groundward::plan::DEMO.as_bytes();
        let day = crate::support::day();
        let plan = LoadedPlan::choose(Some(("site.toml", demo)), None, None, day);
        let now = Moment {
            wall_ms: 0,
            offset_min: 0,
            boot_ms: 0,
            boot_id: "none".into(),
        };
        let mut engine = Engine::new(plan.clone(), false);
        engine.new_day(&now);
        let drill = Drill::for_rescues(plan, folder, kills);
        let preparing = Preparing {
            drill,
            engine,
            now,
            taken: 0,
        };
        preparing.show();
        preparing.drill.wait_for_window();
        std::thread::sleep(Duration::from_millis(600));
        preparing
    }

    fn show(&self) {
        let snapshot = Arc::new(self.engine.snapshot(&self.now));
        self.drill.twin.show(&snapshot, &self.now);
    }

    /// One touch, here and there; the real screen then shows the page that is laid out here.
    fn touch(&mut self, words: &str) {
        self.drill.turn_to(words);
        let label = self.drill.twin.label_beginning(words);
        self.drill.touch(&label, false);
        self.drill.twin.press(&label);
        for tap in self.drill.twin.sent().split_off(self.taken) {
            self.taken += 1;
            for effect in self.engine.handle(Input::Tap(tap), &self.now) {
                if let Effect::ReadLog = effect {
                    let log = self.log();
                    self.engine.handle(Input::Log(log), &self.now);
                }
            }
        }
        self.show();
        self.looks_alike(words);
    }

    /// What stands under the strip is the same on both but for what the machine itself brings.
    fn looks_alike(&self, after: &str) {
        let laid_out = self.drill.twin.picture();
        let from = (HEIGHT / 8 * WIDTH) as usize;
        let patience = Instant::now() + PATIENCE;
        loop {
            let real = self.drill.screen.picture();
            let far = |(a, b): (&[u8; 3], &[u8; 3])| (0..3).any(|it| a[it].abs_diff(b[it]) > 40);
            let pixels = real[from..].iter().zip(&laid_out[from..]);
            let differ = pixels.filter(|it| far(*it)).count();
            if differ * 50 < real.len() {
                self.drill.keep_to_look_at(&real);
                return;
            }
            if Instant::now() > patience {
                self.drill.keep_to_look_at(&real);
                self.drill.keep_to_look_at(&laid_out);
                panic!("after `{after}` {differ} pixels are not as they were laid out");
            }
            std::thread::sleep(Duration::from_millis(150));
        }
    }

    /// The log as the program lists it.
    fn log(&self) -> Vec<LogEntry> {
        let listed = said(&["log", "list", "--format", "json"], &self.drill.data);
        let listed: serde_json::Value = serde_json::from_str(&listed).expect("it is JSON");
        let text = |it: &serde_json::Value| it.as_str().unwrap_or_default().to_owned();
        let entries = listed.as_array().expect("it is a list").iter();
        let entry = |it: &serde_json::Value| LogEntry {
            incident: text(&it["incident"]),
            when: text(&it["when"]),
            place: text(&it["place"]),
            drill: it["drill"] == true,
            closed: it["closed"] == true,
            hung: it["hung"].as_str().map(str::to_owned),
            intact: it["intact"] == true,
            filled: it["filled"] == true,
            tasks: Vec::new(),
            drilled: None,
        };
        entries.map(entry).collect()
    }

    /// Prepares the scenario and holds what begins it, once.
    fn begin(&mut self) {
        for id in [
            Id::StandbyTablet,
            Id::DrillTile,
            Id::DrillOthersTile,
            Id::DrillOthersCovered,
            Id::DrillScenario,
        ] {
            self.touch(&say(id));
        }
        self.touch(SCENARIO);
        assert!(self.drill.saved().is_none(), "a drill began by itself");
        let begin = self.drill.twin.label_beginning(&say(Id::DrillBegin));
        // A short touch begins nothing.
        self.drill.touch(&begin, false);
        std::thread::sleep(Duration::from_millis(500));
        assert!(self.drill.saved().is_none(), "a short touch began it");
        self.drill.touch(&begin, true);
        // Here too the page is left; what stands there from now on is what the journal tells of.
        self.drill.twin.press(&begin);
        self.taken = self.drill.twin.sent().len();
        self.drill
            .wait_for("a crew", |s| s.facts.casualty().forecast.is_some());
    }
}

/// What a command prints about this record; it must succeed.
fn said(words: &[&str], data: &Path) -> String {
    let output = program()
        .args(words)
        .arg("--data")
        .arg(data)
        .output()
        .expect("the program runs");
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{words:?}: {err}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn count(records: &[Record], kind: &str) -> usize {
    let is = |it: &&Record| it.event.kind() == kind;
    records.iter().filter(is).count()
}

#[test]
fn a_drill_is_prepared_and_played_by_touch_with_its_surprises_and_killed_in_the_middle() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut preparing = Preparing::start(folder.path(), 1);
    preparing.begin();
    let drill = &mut preparing.drill;
    drill.says(&say(Id::IsSafe), |s| {
        s.facts.casualty().scene.safe.is_some()
    });
    drill.wait_for("the first surprise", |s| s.facts.surprise_now().is_some());
    // The screen of a busy machine is a little behind the record.
    std::thread::sleep(Duration::from_secs(2));
    drill.keep_to_look_at(&drill.screen.picture());
    drill.path(&[&say(Id::TileOther), &say(Id::SurpriseGiven)], |s| {
        s.facts.played.given.len() == 1
    });
    let before = drill.state().expect("a drill runs");
    drill.kill(&before);
    drill.wait_for("the second surprise", |s| s.facts.surprise_now().is_some());
    std::thread::sleep(Duration::from_secs(2));
    drill.keep_to_look_at(&drill.screen.picture());
    drill.path(&[&say(Id::TileOther), &say(Id::SurpriseLeave)], |s| {
        s.facts.played.left_out.len() == 1
    });
    let state = drill.play_on();
    assert!(state.facts.casualty().off.is_some());

    let (id, _) = drill.saved().expect("it was saved");
    let records = on_disk(&drill.data, &id);
    let Event::Opened(opening) = &records[0].event else {
        panic!("it begins with {:?}", records[0].event);
    };
    let exercise = opening.exercise.as_ref().expect("how it is played");
    assert!(opening.drill && !exercise.table_top);
    assert_eq!(exercise.scenario, SCENARIO);
    assert_eq!(exercise.hanging, Hanging::Manikin);
    assert_eq!(exercise.others, Some(OtherWork::Covered));
    assert_eq!(exercise.surprises.len(), 2);
    for kind in [
        "surprise-given",
        "surprise-left-out",
        "resumed",
        "stood-down",
    ] {
        assert_eq!(count(&records, kind), 1, "{kind}");
    }
    assert_eq!(count(&records, "real-called"), 0);
    for record in &records {
        // Neither came before its time.
        if let Event::SurpriseGiven { index } | Event::SurpriseLeftOut { index } = record.event {
            assert!(record.elapsed >= exercise.surprises[index].at, "{record:?}");
        }
    }

    // It is in the log of the tablet, as a drill.
    drill.show(&state);
    drill.touch(&say(Id::ClosedDone), false);
    preparing.show();
    std::thread::sleep(Duration::from_secs(1));
    preparing.touch(&say(Id::StandbyLog));
    let log = preparing.log();
    let [entry] = &log[..] else {
        panic!("one incident is in the log: {log:?}");
    };
    assert!(entry.drill && entry.closed && entry.intact, "{entry:?}");
    let page = preparing.drill.twin.label_beginning(&entry.when);
    assert!(page.contains(PLACE), "{page}");
    preparing.drill.touch(&page, false);
    std::thread::sleep(Duration::from_secs(2));
    let drill = &preparing.drill;
    drill.keep_to_look_at(&drill.screen.picture());

    let result = said(&["drills", "result", &id], &drill.data);
    let first = result.lines().next().unwrap_or_default();
    assert_eq!(first, format!("{id}: drill, {SCENARIO}, at {PLACE}"));
    let shown = said(&["log", "show", &id], &drill.data);
    let first = shown.lines().next().unwrap_or_default();
    assert!(first.ends_with("DRILL"), "{first}");
}

#[test]
fn a_short_touch_on_danger_is_one_in_the_drill_and_a_held_one_makes_it_a_rescue() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut drill = Drill::start(groundward::plan::DEMO, folder.path(), 0);
    drill.hang_at(PLACE);
    let danger = say(Id::TileDanger);
    drill.path(&[&danger], |s| s.facts.danger.is_some());
    let state = drill.wait_for("a danger", |s| s.facts.danger.is_some());
    assert!(state.facts.is_drill(), "it is a drill still");
    let (id, _) = drill.saved().expect("it was saved");
    let records = on_disk(&drill.data, &id);
    assert_eq!(count(&records, "danger-called"), 1);
    assert_eq!(count(&records, "real-called"), 0);
    drill.keep_to_look_at(&drill.screen.picture());
    drill.says(&say(Id::DangerOverOutside), |s| s.facts.danger.is_none());

    let state = drill.state().expect("a drill runs");
    drill.show(&state);
    drill.turn_to(&danger);
    let held = drill.twin.label_beginning(&danger);
    drill.touch_until(&held, true, |s| s.facts.played.real.is_some());
    let state = drill.wait_for("a rescue", |s| s.facts.played.real.is_some());
    assert!(!state.facts.is_drill() && state.facts.is_open());
    let records = on_disk(&drill.data, &id);
    assert_eq!(count(&records, "real-called"), 1);
    assert_eq!(
        count(&records, "danger-called"),
        1,
        "a held touch is no danger besides"
    );
    std::thread::sleep(Duration::from_millis(600));
    drill.keep_to_look_at(&drill.screen.picture());
    let shown = said(&["log", "show", &id], &drill.data);
    let first = shown.lines().next().unwrap_or_default();
    assert!(first.contains("DRILL, and a rescue from"), "{first}");
}
