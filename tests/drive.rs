//! Plays whole drills on the real program by touch, under a screen without a monitor, and kills it in the middle.
//!
//! The driver knows no screen. It reads the journal to see which prompt stands, lays the same state out headless to learn
//! where the control with that label is, touches the real window there, and compares the prompt's picture with the one
//! laid out. So a screen wired to one plan fails on the next.

use crate::real::on_disk;
use crate::support::Chance;
use crate::support::plans::plan_toml;
use crate::support::tablet::{HEIGHT, Screen, Tablet, WIDTH};
use crate::twin::Twin;
use groundward::engine::Engine;
use groundward::incident::{
    Act, Choice, Condition, Event, Moment, Pick, Prompt, State, prompt, to_say,
};
use groundward::signal::LoadedPlan;
use groundward::signal::{Snapshot, Tap};
use groundward::words::{Id, Language};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

const PATIENCE: Duration = Duration::from_secs(30);

/// One drill being played.
pub(crate) struct Drill {
    pub(crate) screen: Screen,
    tablet: Option<Tablet>,
    pub(crate) twin: Twin,
    standby: Snapshot,
    /// Every incident that is begun is a drill; otherwise a drill is prepared.
    kept_for_drills: bool,
    plan: PathBuf,
    pub(crate) data: PathBuf,
    chance: Chance,
    kills_left: u32,
    killed_at: u64,
    compared: u32,
}

impl Drill {
    pub(crate) fn start(text: &str, folder: &Path, kills: u32) -> Drill {
        let plan = folder.join("site.toml");
        std::fs::write(&plan, text).expect("it can be written");
        let loaded = LoadedPlan::choose(
            Some(("site.toml", text.as_bytes())),
            None,
            None,
            crate::support::day(),
        );
        assert!(
            loaded.in_use.refused.is_none(),
            "{:?}",
            loaded.in_use.refused
        );
        Drill::with(loaded, plan, folder, kills, true)
    }

    /// On Standby of a tablet that is there for rescues, with this plan.
    pub(crate) fn for_rescues(loaded: LoadedPlan, folder: &Path, kills: u32) -> Drill {
        let plan = folder.join("site.toml");
        std::fs::write(&plan, loaded.text.as_bytes()).expect("it can be written");
        Drill::with(loaded, plan, folder, kills, false)
    }

    /// The tablet of a site that has no plan: the file that it asks for is not there.
    pub(crate) fn without_a_plan(folder: &Path) -> Drill {
        let loaded = LoadedPlan::choose(None, None, None, crate::support::day());
        Drill::with(loaded, folder.join("missing.toml"), folder, 0, true)
    }

    fn with(
        loaded: LoadedPlan,
        plan: PathBuf,
        folder: &Path,
        kills: u32,
        kept_for_drills: bool,
    ) -> Drill {
        let nowhere = Moment {
            wall_ms: 0,
            offset_min: 0,
            boot_ms: 0,
            boot_id: "none".into(),
        };
        let standby = Engine::new(loaded, kept_for_drills).snapshot(&nowhere);
        let screen = Screen::start();
        let data = folder.join("data");
        let tablet = Some(start(&screen, &plan, &data, kept_for_drills));
        let twin = Twin::new(WIDTH, HEIGHT, 10.1);
        Drill {
            screen,
            tablet,
            twin,
            standby,
            kept_for_drills,
            plan,
            data,
            chance: Chance(11),
            kills_left: kills,
            killed_at: 0,
            compared: 0,
        }
    }

    pub(crate) fn saved(&self) -> Option<(String, u64)> {
        self.tablet.as_ref().expect("the program runs").saved()
    }

    /// The state that the journal tells of.
    pub(crate) fn state(&self) -> Option<State> {
        let (id, _) = self.saved()?;
        Some(State::replay(on_disk(&self.data, &id)))
    }

    /// Waits for a state of which this is true.
    pub(crate) fn wait_for(&self, what: &str, holds: impl Fn(&State) -> bool) -> State {
        let patience = Instant::now() + PATIENCE;
        while Instant::now() < patience {
            if let Some(state) = self.state().filter(|s| holds(s)) {
                return state;
            }
            std::thread::sleep(Duration::from_millis(60));
        }
        let shown = self.state().and_then(|s| s.facts.shown.clone());
        panic!("{what} never came; on the screen is {shown:?}");
    }

    pub(crate) fn show(&self, state: &State) {
        let last = state
            .log
            .last()
            .map(|r| r.now.clone())
            .expect("an incident has records");
        let snapshot = Snapshot {
            facts: Arc::new(state.facts.clone()),
            drill: state.facts.opened.as_ref().is_some_and(|it| it.drill),
            ..self.standby.clone()
        };
        self.twin.show(&Arc::new(snapshot), &last);
    }

    pub(crate) fn touch(&self, label: &str, held: bool) {
        self.screen.touch(self.twin.middle_of(label), held);
    }

    fn hang(&mut self) {
        let position = self.standby.plan.plan.positions[0].name.clone();
        self.hang_at(&position);
        self.wait_for("a crew", |s| s.facts.casualty().forecast.is_some());
    }

    /// Holds this on Standby, on whichever page it stands.
    pub(crate) fn hang_at(&mut self, position: &str) {
        let nowhere = Moment {
            wall_ms: 0,
            offset_min: 0,
            boot_ms: 0,
            boot_id: "none".into(),
        };
        self.twin.show(&Arc::new(self.standby.clone()), &nowhere);
        self.wait_for_window();
        std::thread::sleep(Duration::from_millis(600));
        self.turn_to(position);
        let patience = Instant::now() + PATIENCE;
        while self.saved().is_none() {
            assert!(
                Instant::now() < patience,
                "holding the position starts nothing"
            );
            // The window may not have been there yet.
            self.touch(position, true);
            std::thread::sleep(Duration::from_millis(300));
        }
    }

    /// Turns the page, here and there, until a control begins with this.
    pub(crate) fn turn_to(&self, words: &str) {
        for _ in 0..12 {
            if self.twin.has(words) {
                return;
            }
            self.touch("More", false);
            self.twin.press("More");
            std::thread::sleep(Duration::from_millis(300));
        }
        panic!("`{words}` stands on no page");
    }

    /// Touches as often as a person would until something has come of it.
    pub(crate) fn touch_until(&self, label: &str, held: bool, done: impl Fn(&State) -> bool) {
        self.wait_for_window();
        let patience = Instant::now() + PATIENCE;
        while Instant::now() < patience {
            self.touch(label, held);
            let look_until = Instant::now() + Duration::from_secs(3);
            while Instant::now() < look_until {
                if self.state().is_some_and(|s| done(&s)) {
                    return;
                }
                std::thread::sleep(Duration::from_millis(50));
            }
        }
        self.keep_to_look_at(&self.screen.picture());
        panic!("touching `{label}` has no effect");
    }

    /// After a start the record goes on before the window stands.
    pub(crate) fn wait_for_window(&self) {
        self.screen
            .xdotool(&["search", "--sync", "--onlyvisible", "--name", "groundward"]);
    }

    /// Something beside the prompt: a tile is touched by the beginning of what it says, then the choices of its sheets.
    pub(crate) fn path(&mut self, labels: &[&str], done: impl Fn(&State) -> bool) {
        let state = self.state().expect("an incident runs");
        self.show(&state);
        self.wait_for_window();
        let (last, ways) = labels.split_last().expect("something is touched");
        for label in ways {
            self.turn_to(label);
            let label = self.twin.label_beginning(label);
            self.touch(&label, false);
            self.twin.press(&label);
            self.show(&state);
            std::thread::sleep(Duration::from_millis(400));
        }
        self.turn_to(last);
        let last = self.twin.label_beginning(last);
        // What needs holding shows it by what it does: a short touch on it does nothing. A held DANGER is the stop word.
        self.touch_until(&last, !last.starts_with("DANGER"), done);
        self.twin.press(&last);
    }

    /// One answer of the prompt, by what it says; the prompt must be there.
    pub(crate) fn says(&mut self, label: &str, done: impl Fn(&State) -> bool) {
        let patience = Instant::now() + PATIENCE;
        loop {
            let state = self.state().expect("an incident runs");
            let facts = &state.facts;
            let asked = prompt(facts, facts.line.reached_at()).expect("it has a prompt");
            if asked
                .choices()
                .any(|c| c.label.text(language(facts)) == label)
            {
                self.show(&state);
                self.compare(&asked);
                self.turn_to(label);
                break;
            }
            assert!(
                Instant::now() < patience,
                "`{label}` never came; there is {asked:?}"
            );
            std::thread::sleep(Duration::from_millis(60));
        }
        self.touch_until(label, true, done);
    }

    /// Kills the program, checks that nothing called saved is lost, and starts it again.
    pub(crate) fn kill(&mut self, before: &State) {
        let (id, saved) = self
            .tablet
            .take()
            .and_then(Tablet::kill)
            .expect("something was saved");
        let records = on_disk(&self.data, &id);
        assert!(
            records.len() as u64 > saved,
            "{saved} was called saved, {} records are here",
            records.len()
        );
        let elapsed = records.last().map_or(0, |r| r.elapsed.0);
        assert!(elapsed >= before.log.last().map_or(0, |r| r.elapsed.0));
        let again = start(&self.screen, &self.plan, &self.data, self.kept_for_drills);
        self.tablet = Some(again);
        let count = records.len();
        let after = self.wait_for("the running incident", |s| s.log.len() > count);
        let resumed = &after.log[count];
        assert_eq!(resumed.event.kind(), "resumed", "it goes on where it was");
        assert!(
            resumed.elapsed.0 >= elapsed,
            "the clock went on: {} after {elapsed}",
            resumed.elapsed.0
        );
        self.kills_left -= 1;
        self.killed_at = self.saved().map_or(0, |(_, seq)| seq);
    }

    /// The prompt's headline stands on the real screen as it was laid out.
    fn compare(&mut self, asked: &Prompt) {
        let facts = self.state().expect("an incident runs").facts;
        let headline = asked.message.text(language(&facts));
        let (x, y, width, height) = self.twin.place_of(&headline);
        let laid_out = self.twin.picture();
        let patience = Instant::now() + PATIENCE;
        loop {
            let real = self.screen.picture();
            let mut differ = 0;
            for row in y..y + height {
                for column in x..x + width {
                    let at = (row * WIDTH + column) as usize;
                    let far = |a: u8, b: u8| a.abs_diff(b) > 40;
                    let (a, b) = (real[at], laid_out[at]);
                    differ += u32::from(far(a[0], b[0]) || far(a[1], b[1]) || far(a[2], b[2]));
                }
            }
            if differ * 50 < width * height {
                self.compared += 1;
                self.keep_to_look_at(&real);
                return;
            }
            assert!(
                Instant::now() < patience,
                "`{headline}` is not what stands on the screen ({differ} pixels differ)"
            );
            std::thread::sleep(Duration::from_millis(150));
        }
    }

    /// Keeps what stands on the real screen, for eyes, where somebody asks for it.
    pub(crate) fn keep_to_look_at(&self, picture: &[[u8; 3]]) {
        if !std::env::var("GROUNDWARD_PICTURES").is_ok_and(|v| v == "look") {
            return;
        }
        static KEPT: AtomicU32 = AtomicU32::new(0);
        let name = format!("driven-{:03}.png", KEPT.fetch_add(1, Ordering::Relaxed));
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        let rgb: Vec<u8> = picture.iter().flatten().copied().collect();
        crate::screens::write(&path, &rgb, (WIDTH, HEIGHT));
    }

    /// Leaves a page or a sheet; nothing comes of it in the record.
    fn leave(&mut self, key: &str) {
        let state = self.state().expect("an incident runs");
        self.show(&state);
        self.touch(key, false);
        self.twin.press(key);
        std::thread::sleep(Duration::from_millis(400));
    }

    /// Touches what says that the words were said until nothing is left to say for the first time; how often that was.
    pub(crate) fn say_everything(&mut self) -> usize {
        for count in 0..20 {
            let state = self.state().expect("an incident runs");
            let Some(words) = to_say(&state.facts).filter(|it| it.again.is_none()) else {
                return count;
            };
            let said = words.orders[0];
            self.show(&state);
            self.keep_to_look_at(&self.screen.picture());
            let done = |s: &State| !to_say(&s.facts).is_some_and(|it| it.orders.contains(&said));
            // What must be looked at under the prompt goes before the words; they are on the page of the people then.
            match self.twin.has("Said") {
                true => self.path(&["Said"], done),
                false => {
                    self.path(&["PEOPLE", "Said"], done);
                    self.leave("Back");
                }
            }
        }
        panic!("it is never all said");
    }

    /// From Standby until the incident is stood down.
    fn play(&mut self) -> State {
        self.hang();
        self.play_on()
    }

    /// Plays until the incident is stood down.
    pub(crate) fn play_on(&mut self) -> State {
        let (mut called, mut asked_once) = (false, false);
        for touches in 0..400 {
            let state = self.state().expect("an incident runs");
            if !state.facts.is_open() {
                return state;
            }
            let new = self
                .saved()
                .map_or(0, |(_, seq)| seq.saturating_sub(self.killed_at));
            if self.kills_left > 0 && new >= 10 {
                self.kill(&state);
                continue;
            }
            let committed_or_off = state.facts.committed() || state.facts.casualty().off.is_some();
            if !called && touches > 2 {
                called = true;
                self.path(&["CALL", "Call is made"], |s| {
                    s.facts.call.confirmed.is_some()
                });
                continue;
            }
            if called && !asked_once && !committed_or_off {
                asked_once = true;
                self.path(
                    &[
                        "OTHER WAY",
                        "Report something",
                        "Note",
                        "Stands in relief straps",
                    ],
                    |s| !s.facts.notes.is_empty(),
                );
                continue;
            }
            self.answer(&state);
        }
        panic!("the drill does not end");
    }

    fn answer(&mut self, state: &State) {
        self.show(state);
        let facts = &state.facts;
        let asked = prompt(facts, facts.line.reached_at()).expect("an incident has a prompt");
        let number = facts.shown.as_ref().map_or(0, |s| s.number);
        if self.chance.one_in(3) {
            self.compare(&asked);
        }
        let released = facts.casualty().off.is_some();
        let give_up = !released && facts.casualty().windows.len() < 2 && self.chance.one_in(5);
        let choice: Choice = match (&asked.main, &asked.other, &asked.small) {
            (_, Some(other), _) if give_up && other.act == Act::NotWorking => other.clone(),
            (_, _, Some(small)) if small.act == Act::BeginClosing => small.clone(),
            (Some(main), _, _) => main.clone(),
            _ => asked
                .choice(Pick::Option(0))
                .cloned()
                .expect("a way forward"),
        };
        let label = choice.label.text(Language::English);
        self.wait_for_window();
        self.touch(&label, choice.held);
        // The same touch may be needed once more where the prompt came up by itself under the finger.
        let patience = Instant::now() + Duration::from_secs(3);
        while Instant::now() < patience {
            let now = self
                .state()
                .and_then(|s| s.facts.shown.clone())
                .map_or(0, |s| s.number);
            if now != number || self.state().is_some_and(|s| !s.facts.is_open()) {
                return;
            }
            std::thread::sleep(Duration::from_millis(40));
        }
    }
}

fn start(screen: &Screen, plan: &Path, data: &Path, kept_for_drills: bool) -> Tablet {
    match kept_for_drills {
        true => Tablet::start(screen, plan, data),
        false => Tablet::start_for_rescues(screen, plan, data),
    }
}

pub(crate) fn language(facts: &groundward::incident::Facts) -> Language {
    facts
        .opened
        .as_ref()
        .map_or_else(Language::default, |o| o.language)
}

fn drill(text: &str, kills: u32) {
    let folder = tempfile::tempdir().expect("a folder");
    let mut drill = Drill::start(text, folder.path(), kills);
    let state = drill.play();
    assert_eq!(
        drill.kills_left, 0,
        "the drill was over before it was killed often enough"
    );
    assert!(
        drill.compared > 3,
        "the screen was looked at only {} times",
        drill.compared
    );
    assert!(state.facts.casualty().off.is_some() && state.facts.casualty().landed.is_some());
    let (id, _) = drill.saved().expect("it was saved");
    let records = on_disk(&drill.data, &id);
    assert!(
        records.windows(2).all(|w| w[1].elapsed >= w[0].elapsed),
        "the clock never ran backwards"
    );
    // Back to standby by touch, and the next incident can begin.
    drill.show(&state);
    drill.touch("To standby", false);
    std::thread::sleep(Duration::from_millis(600));
    let standby = Arc::new(drill.standby.clone());
    drill.twin.show(&standby, &records[0].now);
    drill.twin.press("Log");
    assert!(
        matches!(drill.twin.sent().last(), Some(Tap::ReadLog)),
        "the twin is on standby"
    );
}

#[test]
fn the_demo_drill_is_played_by_touch_and_killed_in_the_middle() {
    drill(groundward::plan::DEMO, 5);
}

#[test]
fn a_drill_on_a_generated_plan_is_played_by_the_same_hand() {
    drill(&plan_toml(5), 5);
}

/// Everything that can turn in a rescue, by touch: signs of pre-syncope, a note, wind, a second casualty, a rescuer who
/// falls, danger, command taken by another hand, another language, outside rescue, a slip taken back, refused care.
#[test]
fn every_turn_of_a_rescue_is_made_by_touch() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut drill = Drill::start(groundward::plan::DEMO, folder.path(), 0);
    drill.hang();
    drill.says("It is safe", |s| s.facts.casualty().scene.safe.is_some());
    drill.path(&["CALL", "Call is made"], |s| {
        s.facts.call.confirmed.is_some()
    });
    drill.says("Answers, feels unwell", |s| {
        s.facts.casualty().worst == Some(Condition::Unwell)
    });
    drill.says("Fan is locked off", |s| s.facts.may_go_near());
    drill.wait_for("the lift", |s| {
        s.facts.running().is_some_and(|r| r.method == "boom-lift")
    });
    drill.path(&["OTHER WAY", "Report something", "Wind", "8 m/s"], |s| {
        s.facts.wind.is_some()
    });
    drill.path(&["UNWELL", "Who hangs?", "Ole"], |s| {
        s.facts.casualty().named
    });
    drill.path(&["UNWELL", "One more hangs"], |s| {
        s.facts.casualties.len() == 2
    });
    let sent = drill.wait_for("a crew", |s| !s.facts.orders.is_empty());
    let rescuer = sent.facts.orders[0].posting.responder.clone();
    let name = sent.facts.name(&rescuer).to_owned();
    drill.path(&["PEOPLE", &name, "Rescuer hangs"], |s| {
        s.facts.casualties.len() == 3
    });
    drill.says("It is safe", |s| s.facts.casualty().scene.safe.is_some());
    drill.path(&["DANGER"], |s| s.facts.danger.is_some());
    drill.says("Over: outside lead decided", |s| s.facts.danger.is_none());
    drill.path(&["I TAKE COMMAND"], |s| s.facts.command.handing.is_some());
    drill.says("I have it", |s| s.facts.command.taken.is_some());
    drill.says("Somebody else", |s| s.facts.command.handing.is_none());
    drill.path(
        &["OTHER WAY", "Report something", "Language", "Español"],
        |s| language(&s.facts) == Language::Spanish,
    );
    let tile = |id| groundward::words::label(id, Language::Spanish);
    let (other, more) = (tile(Id::TileOther), tile(Id::MoreTile));
    drill.path(&[&other, &more, &tile(Id::LanguageTile), "English"], |s| {
        language(&s.facts) == Language::English
    });
    drill.path(
        &["CALL MADE", "Help from outside", "Outside rescue leads"],
        |s| s.facts.outside.leads.is_some(),
    );
    drill.says("We lead again", |s| s.facts.outside.leads.is_none());
    for _ in 0..3 {
        let before = drill.state().expect("it runs");
        let off = |s: &State| {
            s.facts
                .casualties
                .iter()
                .filter(|it| it.off.is_some())
                .count()
        };
        let count = off(&before);
        if count < 3 && before.facts.casualty().off.is_none() {
            drill.path(&["OTHER WAY", "Off the harness"], |s| off(s) > count);
        }
        let waiting = drill.state().expect("it runs").facts;
        if waiting.casualty().off.is_some() && waiting.casualty().refused.is_none() {
            let number = waiting.case().number;
            drill.path(&["OTHER WAY", "Refuses care"], |s| {
                s.facts.case_of(number).casualty.refused.is_some()
            });
        }
    }
    drill.wait_for("all three", |s| !s.facts.anybody_hangs());
    let state = drill.wait_for("everything on the disk", |_| true);
    let replayed = State::replay(
        state
            .log
            .iter()
            .map(|r| groundward::incident::Record::clone(r)),
    );
    assert_eq!(replayed.facts, state.facts);
    assert!(
        drill.compared > 6,
        "the screen was looked at {} times",
        drill.compared
    );
}

/// Three who were sent drop out one after another and the ladder is not where it is kept: each time the rescue is planned
/// again, what changed is to be said, and it goes on to the landing place. By touch, with a kill in the middle.
#[test]
fn three_drop_out_and_the_ladder_is_missing_and_the_rescue_goes_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut drill = Drill::start(groundward::plan::DEMO, folder.path(), 1);
    drill.hang();
    drill.says("It is safe", |s| s.facts.casualty().scene.safe.is_some());
    drill.path(&["CALL", "Call is made"], |s| {
        s.facts.call.confirmed.is_some()
    });
    drill.says("Answers well", |s| {
        s.facts.casualty().worst == Some(Condition::Talking)
    });
    drill.says("Fan is locked off", |s| s.facts.may_go_near());
    drill.wait_for("the first method", |s| s.facts.running().is_some());
    let said = drill.say_everything();
    assert!(said >= 2, "{said} broadcasts for all of them");
    let mut lost: Vec<String> = Vec::new();
    for round in 0..3 {
        let state = drill.state().expect("an incident runs");
        let facts = &state.facts;
        // Whoever brings something, of the method that runs or of a later one.
        let mut orders = facts.orders.iter().filter(|it| !it.method.is_empty());
        let order = orders
            .find(|it| it.posting.kit.is_some())
            .or_else(|| facts.orders.iter().find(|it| !it.method.is_empty()))
            .expect("somebody is left on an order");
        let id = order.posting.responder.clone();
        let key = format!("{}: Cannot", facts.name(&id));
        drill.path(&["PEOPLE", &key], |s| s.facts.cannot.contains(&id));
        drill.keep_to_look_at(&drill.screen.picture());
        drill.leave("Back");
        lost.push(id);
        if round == 1 {
            let before = drill.state().expect("an incident runs");
            drill.kill(&before);
        }
        drill.wait_for("new numbers", |s| {
            let reported = s.log.iter().rposition(
                |r| matches!(&r.event, Event::ResponderReported { responder, .. } if lost.last() == Some(responder)),
            );
            let adopted = s
                .log
                .iter()
                .rposition(|r| matches!(r.event, Event::ForecastAdopted { .. }));
            adopted > reported
        });
        drill.say_everything();
    }
    // The ladder, or whatever is brought now, is not there.
    let state = drill.state().expect("an incident runs");
    let brings = state
        .facts
        .orders
        .iter()
        .find(|it| it.posting.kit.is_some() && !it.method.is_empty() && it.there.is_none());
    let (id, kit) = match brings {
        Some(it) => (it.posting.responder.clone(), it.posting.kit.clone()),
        None => panic!("nobody brings anything any more: {:?}", state.facts.orders),
    };
    let row = format!("{}, ", state.facts.name(&id));
    drill.path(&["PEOPLE", &row, "Kit is not there"], |s| {
        !s.facts.gone.is_empty()
    });
    let state = drill.wait_for("new orders", |s| {
        s.facts
            .orders
            .iter()
            .all(|it| it.posting.responder != id || it.posting.kit != kit)
    });
    drill.say_everything();
    for record in &state.log {
        if let Event::OrderGiven { posting, .. } | Event::TaskGiven { posting, .. } = &record.event
        {
            let gone = lost.iter().position(|it| *it == posting.responder);
            let reported = |it: &groundward::incident::Record| matches!(&it.event, Event::ResponderReported { responder, .. } if *responder == posting.responder);
            let said = state.log.iter().position(|it| reported(it));
            assert!(
                gone.is_none() || said.is_some_and(|at| record.seq < at as u64),
                "{} was ordered after they dropped out",
                posting.responder
            );
        }
    }
    // It goes on to the end all the same.
    for _ in 0..200 {
        let state = drill.state().expect("an incident runs");
        if state.facts.casualty().landed.is_some() {
            break;
        }
        drill.answer(&state);
    }
    let state = drill.state().expect("an incident runs");
    assert!(state.facts.casualty().off.is_some() && state.facts.casualty().landed.is_some());
    assert_eq!(drill.kills_left, 0);
}
