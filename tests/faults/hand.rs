//! Plays a drill on the real screen by touch without reading the record, because in a fault there may be none to read.
//!
//! The hand keeps an engine of its own beside the program, gives it the same touches at the same time, and holds every
//! prompt on the real screen against the one that its own engine asks. Limits: what two machines may rightly tell apart,
//! such as the seed of a forecast, must not change the prompts of the drill that is played.

use crate::real::program;
use crate::support::tablet::{HEIGHT, Screen, Tablet, WIDTH};
use crate::twin::Twin;
use groundward::clock::Clock;
use groundward::engine::Engine;
use groundward::incident::{Act, Pick, Prompt, prompt};
use groundward::readiness::{Depth, outlook};
use groundward::signal::{Effect, Input, JournalReport, LoadedPlan, Notice, Saved, Snapshot, Tap};
use groundward::words::{Id, Language, Message};
use i_slint_backend_testing::ElementHandle;
use slint::Global;
use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

const PATIENCE: Duration = Duration::from_secs(40);
/// So long a busy machine may take to draw what a touch brought about, before it is touched again.
const AGAIN: Duration = Duration::from_secs(8);

/// Left, top, width, height in pixels.
pub(crate) type Place = (u32, u32, u32, u32);

/// What the mark in the corner of the screen says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mark {
    Saved,
    Saving,
    NotSaved,
}

pub(crate) struct Hand {
    pub(crate) screen: Screen,
    pub(crate) tablet: Option<Tablet>,
    pub(crate) twin: Twin,
    pub(crate) data: PathBuf,
    pub(crate) touches: u32,
    fallback: Option<PathBuf>,
    plan: PathBuf,
    engine: Engine,
    clock: Clock,
}

impl Hand {
    /// A tablet with the built-in plan on this data folder; `command` leads to the program.
    pub(crate) fn start(
        command: Command,
        folder: &Path,
        data: &Path,
        fallback: Option<&Path>,
    ) -> Hand {
        let plan = folder.join("site.toml");
        std::fs::write(&plan, groundward::plan::DEMO).expect("it can be written");
        let clock = Clock::new();
        let mut hand = Hand {
            screen: Screen::start(),
            tablet: None,
            twin: Twin::new(WIDTH, HEIGHT, 10.1),
            data: data.to_owned(),
            touches: 0,
            fallback: fallback.map(Path::to_owned),
            plan,
            engine: standby(&clock),
            clock,
        };
        hand.start_program(command);
        hand
    }

    pub(crate) fn start_program(&mut self, command: Command) {
        self.tablet = Some(Tablet::start_with(
            command,
            &self.screen,
            &self.plan,
            &self.data,
            self.fallback.as_deref(),
        ));
        self.screen.wait_for_window();
    }

    /// The program is on standby again, with nothing before it.
    pub(crate) fn forget(&mut self) {
        self.engine = standby(&self.clock);
    }

    pub(crate) fn tablet(&self) -> &Tablet {
        self.tablet.as_ref().expect("the program runs")
    }

    /// How many records the program should have made, as far as the hand can tell.
    pub(crate) fn records(&self) -> usize {
        self.engine.state().log.len()
    }

    pub(crate) fn is_open(&self) -> bool {
        self.engine.state().facts.is_open()
    }

    /// Gives the hand's own engine something, and the time that has passed.
    fn take(&mut self, input: Option<Input>) {
        let mut inputs: VecDeque<Input> = input.into_iter().collect();
        loop {
            let now = self.clock.read();
            let due = self.engine.next_wake(&now).is_some_and(|w| w.0 <= 0);
            let input = match inputs.pop_front() {
                Some(input) => input,
                None if due => Input::Wake,
                None => return,
            };
            for effect in self.engine.handle(input, &now) {
                match effect {
                    Effect::Forecast { basis, plan } => {
                        let forecast = outlook(&plan, &basis, Depth::LIVE);
                        inputs.extend(forecast.map(|forecast| Input::Forecast {
                            basis: Box::new(basis),
                            forecast,
                        }));
                    }
                    // On the hand's own tablet everything is saved at once, so that its screen never says otherwise.
                    Effect::Append(_) => inputs.extend(self.saved()),
                    _ => {}
                }
            }
        }
    }

    fn saved(&self) -> Option<Input> {
        let state = self.engine.state();
        let opened = state.facts.opened.as_ref()?;
        Some(Input::Journal(JournalReport::Saved {
            incident: opened.incident.to_string(),
            seq: state.log.last()?.seq,
            head: String::new(),
        }))
    }

    fn show(&self) -> Arc<Snapshot> {
        let now = self.clock.read();
        let snapshot = Arc::new(self.engine.snapshot(&now));
        self.twin.show(&snapshot, &now);
        snapshot
    }

    fn asked(&mut self) -> Prompt {
        self.take(None);
        let facts = &self.engine.state().facts;
        prompt(facts, facts.line.at(&self.clock.read())).expect("an incident has a prompt")
    }

    /// Waits until what is laid out at a place stands on the real screen there.
    fn wait_for(&mut self, what: &str, label: impl Fn(&mut Hand) -> String) {
        let patience = Instant::now() + PATIENCE;
        loop {
            let label = label(self);
            self.show();
            // Time that went by since it was asked may have brought another prompt.
            let place = self.twin.place_if_there(&label);
            let apart = place.map(|it| {
                let apart = differ(&self.screen.picture(), &self.twin.picture(), it);
                (apart, it.2 * it.3)
            });
            if apart.is_some_and(|(apart, area)| apart * 50 < area) {
                return;
            }
            assert!(
                Instant::now() < patience,
                "{what}: `{label}` does not stand on the screen (pixels that differ, of: {apart:?}); {}",
                self.tablet().complaints()
            );
            std::thread::sleep(Duration::from_millis(60));
        }
    }

    /// Waits until the real screen asks what the hand's own engine asks.
    pub(crate) fn wait_for_prompt(&mut self) {
        self.wait_for("the prompt", |hand| {
            hand.asked().message.text(Language::English)
        });
    }

    /// What stands on the screen once something was drawn there and it stands still.
    fn drawn(&self) -> Vec<[u8; 3]> {
        let patience = Instant::now() + PATIENCE;
        let mut before = self.screen.picture();
        loop {
            std::thread::sleep(Duration::from_millis(300));
            let now = self.screen.picture();
            let blank = vec![now[0]; now.len()];
            let drawn = differ(&blank, &now, (0, 0, WIDTH, HEIGHT)) > WIDTH * HEIGHT / 20;
            if drawn && now == before {
                return now;
            }
            assert!(
                Instant::now() < patience,
                "nothing is drawn that stands still"
            );
            before = now;
        }
    }

    /// Holds a position on Standby.
    pub(crate) fn hang(&mut self, position: &str) {
        let tile = |hand: &mut Hand| {
            hand.show();
            hand.twin.label_beginning(position)
        };
        let label = tile(self);
        let at = self.twin.middle_of(&label);
        let id = self.engine.snapshot(&self.clock.read()).plan.plan;
        let id = id.positions.iter().find(|it| it.name == position);
        let id = id.map(|it| it.id.clone());
        assert!(id.is_some(), "{position} is in the plan");
        // A window that has only just come may not have drawn anything yet, and a finger on nothing does nothing.
        let standby = self.drawn();
        self.screen.touch(at, true);
        let activated = |now: &[[u8; 3]]| {
            let apart = differ(&standby, now, (0, HEIGHT / 4, WIDTH, HEIGHT / 2));
            apart > WIDTH * HEIGHT / 50
        };
        let patience = Instant::now() + PATIENCE;
        let mut again = Instant::now() + AGAIN;
        while !activated(&self.screen.picture()) {
            assert!(Instant::now() < patience, "holding a position does nothing");
            // A second touch on a screen that is only slow would answer the first prompt.
            if Instant::now() > again {
                self.screen.touch(at, true);
                again = Instant::now() + AGAIN;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        self.take(Some(Input::Tap(Tap::Activate { position: id })));
        self.touches += 1;
        self.wait_for_prompt();
    }

    /// The way forward of the prompt that stands: where its key is, whether it is held, and what it is.
    pub(crate) fn next_key(&mut self) -> ((i32, i32), bool, Input) {
        let asked = self.asked();
        self.show();
        let (pick, choice) = match (&asked.main, &asked.small) {
            (_, Some(small)) if small.act == Act::BeginClosing => (Pick::Small, small),
            (Some(main), _) => (Pick::Main, main),
            _ => {
                let first = asked.choice(Pick::Option(0)).expect("a way forward");
                (Pick::Option(0), first)
            }
        };
        let at = self.twin.middle_of(&choice.label.text(Language::English));
        let number = self.engine.state().facts.shown.as_ref();
        let prompt = number.map_or(0, |shown| shown.number);
        (at, choice.held, Input::Tap(Tap::Answer { prompt, pick }))
    }

    /// Answers the prompt and waits for the next one.
    pub(crate) fn answer(&mut self) {
        // Within half a second the hand's own tablet takes no answer to a prompt that came by itself, while the real one,
        // where it came a little earlier, does: then the two would part.
        std::thread::sleep(Duration::from_millis(700));
        let (at, held, tap) = self.next_key();
        let asked = self.asked().message.text(Language::English);
        let headline = self.twin.place_of(&asked);
        self.touch_until_it_changes(at, held, headline);
        self.take(Some(tap));
        if self.is_open() {
            self.wait_for_prompt();
        }
    }

    /// Touches, and once more where a busy machine took what was held for too short: a person would, too.
    fn touch_until_it_changes(&mut self, at: (i32, i32), held: bool, place: Place) {
        let before = self.screen.picture();
        for _ in 0..4 {
            self.screen.touch(at, held);
            self.touches += 1;
            let patience = Instant::now() + Duration::from_secs(4);
            while Instant::now() < patience {
                if differ(&before, &self.screen.picture(), place) * 200 > place.2 * place.3 {
                    return;
                }
                std::thread::sleep(Duration::from_millis(20));
            }
        }
        panic!("touching the prompt has no effect");
    }

    /// Gives the hand's own engine the way forward that was touched already, and waits for what is asked then.
    pub(crate) fn follow(&mut self) {
        let (_, _, tap) = self.next_key();
        self.touches += 1;
        self.take(Some(tap));
        self.wait_for_prompt();
    }

    /// Touches the way to "off the harness" beside the prompt, and waits for what is asked then.
    pub(crate) fn off_the_harness(&mut self) {
        self.take(None);
        self.show();
        let other = self.twin.label_beginning("OTHER WAY");
        self.screen.touch(self.twin.middle_of(&other), false);
        self.twin.press(&other);
        std::thread::sleep(Duration::from_millis(500));
        let off = self.twin.label_beginning("Off the harness");
        let at = self.twin.middle_of(&off);
        self.screen.touch(at, true);
        // The sheet closes here as it does there.
        self.twin.press(&off);
        self.touches += 2;
        self.take(Some(Input::Tap(Tap::Do(Act::OffHarness))));
        self.wait_for_prompt();
    }

    /// The whole drill: three answers, off the harness, and everything that is asked until it is stood down.
    pub(crate) fn play(&mut self, between: &mut dyn FnMut(&mut Hand, u32)) {
        for step in 0..120 {
            if !self.is_open() {
                return;
            }
            match step {
                3 => self.off_the_harness(),
                _ => self.answer(),
            }
            between(self, step);
        }
        panic!("the drill does not end");
    }

    /// What the saved mark on the real screen says: the one of the three that it looks like.
    pub(crate) fn mark(&mut self) -> Mark {
        self.take(None);
        let real = self.screen.picture();
        let now = self.clock.read();
        let snapshot = self.engine.snapshot(&now);
        let looks = [
            (Mark::Saved, Id::Saved, Saved::Yes(1)),
            (Mark::Saving, Id::Saving, Saved::Saving(None)),
            (Mark::NotSaved, Id::NotSaved, Saved::Failing(String::new())),
        ];
        let mut apart = looks.map(|(mark, word, saved)| {
            let snapshot = Snapshot {
                saved,
                ..snapshot.clone()
            };
            self.twin.show(&Arc::new(snapshot), &now);
            let word = groundward::words::label(word, Language::English);
            let place = self.twin.place_of(&word);
            (differ(&real, &self.twin.picture(), place), mark)
        });
        apart.sort_by_key(|(apart, _)| *apart);
        assert!(
            apart[0].0 * 3 < apart[1].0,
            "the saved mark looks like none or two of these: {apart:?}"
        );
        apart[0].1
    }

    /// Waits until the saved mark says this.
    pub(crate) fn wait_for_mark(&mut self, wanted: Mark) {
        let patience = Instant::now() + PATIENCE;
        loop {
            let mark = self.mark();
            if mark == wanted {
                return;
            }
            assert!(
                Instant::now() < patience,
                "the saved mark says {mark:?}, not {wanted:?}"
            );
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// Whether the gravest notice on the real screen is this one.
    pub(crate) fn notice_stands(&self, message: &Message, silent: bool) -> bool {
        let real = self.screen.picture();
        let now = self.clock.read();
        let other = Notice {
            message: Message::of(Id::NoticeResumed),
            grave: false,
        };
        // There may be others behind it, which are counted beside it.
        (0..3).any(|others| {
            let mut snapshot = self.engine.snapshot(&now);
            snapshot.notices = vec![other.clone(); others];
            if silent {
                self.twin.show_silent(&Arc::new(snapshot), &now);
            } else {
                let this = Notice {
                    message: message.clone(),
                    grave: true,
                };
                snapshot.notices.insert(0, this);
                self.twin.show(&Arc::new(snapshot), &now);
            }
            let place = self.twin.place_of(&message.text(Language::English));
            differ(&real, &self.twin.picture(), place) * 50 < place.2 * place.3
        })
    }

    /// The rows of the screen in which the running time stands, and how wide it is.
    pub(crate) fn clock_place(&mut self) -> Place {
        self.take(None);
        self.show();
        place_of_clock(&self.twin)
    }

    /// Counts how often the running time on the real screen changes while `during` holds.
    pub(crate) fn clock_changes(
        &mut self,
        place: Place,
        mut during: impl FnMut(u32) -> bool,
    ) -> u32 {
        let (mut changes, mut last) = (0, self.screen.picture());
        while during(changes) {
            std::thread::sleep(Duration::from_millis(50));
            let now = self.screen.picture();
            if differ(&last, &now, place) > 0 {
                changes += 1;
                last = now;
            }
        }
        changes
    }
}

/// Where the digits of the running time stand; what touches their box above and below is left out.
pub(crate) fn place_of_clock(twin: &Twin) -> Place {
    let caption = groundward::kiosk::State::get(&twin.app).get_clock_caption();
    let found = ElementHandle::find_by_accessible_label(&twin.app, &caption);
    let sizes = found.map(|it| (it.absolute_position(), it.size()));
    let (at, size) = sizes
        .max_by(|a, b| a.1.height.total_cmp(&b.1.height))
        .expect("the time stands on the screen");
    let margin = size.height / 10.0;
    (
        at.x as u32,
        (at.y + margin) as u32,
        size.width as u32,
        (size.height - 2.0 * margin) as u32,
    )
}

fn standby(clock: &Clock) -> Engine {
    let named = ("site.toml", groundward::plan::DEMO.as_bytes());
    let loaded = LoadedPlan::choose(Some(named), None, None, clock.read().day());
    Engine::new(loaded, true)
}

/// A hand on the program itself.
pub(crate) fn on_the_program(folder: &Path) -> Hand {
    Hand::start(program(), folder, &folder.join("data"), None)
}

/// How many pixels of a place differ plainly.
pub(crate) fn differ(a: &[[u8; 3]], b: &[[u8; 3]], (x, y, width, height): Place) -> u32 {
    let mut differ = 0;
    for row in y..(y + height).min(HEIGHT) {
        for column in x..(x + width).min(WIDTH) {
            let at = (row * WIDTH + column) as usize;
            let far = (0..3).any(|n| a[at][n].abs_diff(b[at][n]) > 40);
            differ += u32::from(far);
        }
    }
    differ
}
