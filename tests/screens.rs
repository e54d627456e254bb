//! Plays the screens as a person does: by label and role, with glove-sized touches, held touches, keys; then looks.
//!
//! The window is the program's own, filled by the production engine through the production presenter; only the
//! backend is a headless one with set time. A picture of each screen in both themes and both orientations is compared
//! with the one in `tests/pictures`; `GROUNDWARD_PICTURES=renew` draws them anew, to be looked at before they are kept.

mod drill;
mod level;
mod log;
mod pages;
mod site;
mod timeline;
mod writing;

use super::desk::Desk;
use super::twin::Twin;
use groundward::incident::{Act, CareTaker, Condition, Facts};
use groundward::kiosk::{App, Metrics, Presenter, State, Theme};
use groundward::review::timeline::Timeline;
use groundward::review::{self, Carried, Remarked};
use groundward::signal::{Effect, Input, LoadedPlan, LogEntry, LogRead, LogRow, Snapshot, Tap};
use groundward::words::{Id, Language, Phrase};
use i_slint_backend_testing::{
    AccessibleRole, ElementHandle, ElementQuery, TestingBackend, TestingBackendOptions,
};
use slint::platform::{PointerEventButton, WindowEvent};
use slint::{ComponentHandle, Global, LogicalPosition, Model, PhysicalSize};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::rc::Rc;
use std::sync::Arc;
use std::time::Duration;

/// Width and height in pixels, diagonal in inches.
type Screen = (u32, u32, f32);

const SCREENS: [Screen; 10] = [
    (1280, 800, 8.0),
    (800, 1280, 8.0),
    (1280, 800, 10.1),
    (800, 1280, 10.1),
    (1920, 1200, 8.0),
    (1200, 1920, 8.0),
    (1920, 1200, 10.1),
    (1200, 1920, 10.1),
    (1920, 1200, 12.0),
    (1200, 1920, 12.0),
];

const TOUCH_MM_MIN: f32 = 20.0;
const GAP_MM_MIN: f32 = 5.0;
const CONTRAST_MIN: f64 = 7.0;
/// A pixel that is cut by the grid of the screen counts as whole.
const ROUNDING_PX: f32 = 1.0;

/// A tablet without a screen of glass.
struct Tablet {
    desk: Desk,
    app: App,
    presenter: Rc<Presenter>,
    taps: Rc<RefCell<Vec<Tap>>>,
    size: (u32, u32),
    px_per_mm: f32,
    /// What is to be done after the incident called west, as its record would say it.
    tasks: Vec<Carried>,
    /// What was said of any incident that is read.
    remarks: Vec<Remarked>,
}

impl Tablet {
    fn new((width, height, inches): Screen) -> Tablet {
        let backend = TestingBackend::new(TestingBackendOptions {
            mock_time: true,
            threading: false,
            renderer_name: Some("software".into()),
        });
        // A test that runs on a thread of an earlier one finds the backend there.
        let _ = slint::platform::set_platform(Box::new(backend));
        let app = App::new().expect("a headless window can be made");
        let taps = Rc::new(RefCell::new(Vec::new()));
        let presenter = Presenter::new(&app, {
            let taps = taps.clone();
            move |tap| taps.borrow_mut().push(tap)
        });
        let px_per_mm = (width as f32).hypot(height as f32) / (inches * 25.4);
        Metrics::get(&app).set_mm(px_per_mm);
        app.window().set_size(PhysicalSize::new(width, height));
        app.show().expect("a headless window can be shown");
        let mut tablet = Tablet {
            desk: Desk::demo(),
            app,
            presenter,
            taps,
            size: (width, height),
            px_per_mm,
            tasks: Vec::new(),
            remarks: Vec::new(),
        };
        tablet.refresh();
        tablet
    }

    /// Hands touches to the engine and shows what has become of it.
    fn refresh(&mut self) {
        loop {
            let taps: Vec<Tap> = self.taps.borrow_mut().drain(..).collect();
            if taps.is_empty() {
                break;
            }
            for tap in taps {
                for effect in self.desk.tap(tap) {
                    self.answer_effect(&effect);
                }
            }
        }
        self.save();
        // As the engine's own loop does before it shows anything.
        for effect in self.desk.engine.new_day(&self.desk.now) {
            site::answer(self, &effect);
        }
        let snapshot = Arc::new(self.desk.engine.snapshot(&self.desk.now));
        self.presenter.show(&snapshot, &self.desk.now, false);
        self.turn(20);
    }

    fn answer_effect(&mut self, effect: &Effect) {
        let entry = |incident: &str, drill, intact| LogEntry {
            incident: incident.to_owned(),
            when: "2031-05-12 14:02".to_owned(),
            place: format!("Silo 3 roof, {incident} hatch"),
            drill,
            closed: true,
            hung: Some("6:58".to_owned()),
            intact,
            filled: !intact,
            drilled: None,
            tasks: match incident {
                "west" => self.tasks.clone(),
                _ => Vec::new(),
            },
        };
        match effect {
            Effect::ReadLog => {
                let log = ["east", "west", "north", "south"];
                let log = log
                    .iter()
                    .enumerate()
                    .map(|(i, id)| entry(id, i % 2 == 1, i != 2))
                    .collect();
                self.desk.take(Input::Log(log));
            }
            Effect::FindLog(filter) => log::answer(self, filter),
            Effect::ReadIncident { incident } => {
                let records = super::timeline::turns();
                let row = |i: u64| LogRow {
                    seq: Some(i),
                    elapsed: format!("0:{i:02}"),
                    text: format!(
                        "Row {i} of the record, with words enough to need a second line on a narrow screen"
                    ),
                    who: "Ines".to_owned(),
                    heading: false,
                };
                self.desk.take(Input::LogRows(LogRead {
                    incident: incident.clone(),
                    rows: (0..20).map(row).collect(),
                    remarks: self.remarks.clone(),
                    suggested: [Id::TaskCall, Id::TaskUnheard, Id::TaskChecks, Id::TaskDrill]
                        .map(Phrase::of)
                        .to_vec(),
                    timeline: Timeline::of(&records),
                    lines: review::lines(&records, Language::English),
                }));
            }
            Effect::KeepApproval(approval) => {
                self.desk.take(Input::Approvals(Ok(vec![approval.clone()])));
            }
            Effect::ReadPlan => {
                let text = groundward::plan::DEMO.replace("revision = \"", "revision = \"9");
                let plan = Some(("plan.toml", text.as_bytes()));
                let plan = LoadedPlan::choose(plan, None, None, crate::support::day());
                self.desk.take(Input::Plan(Box::new(plan)));
            }
            Effect::Add(addition) => drill::add(self, addition),
            Effect::Learn { .. } => {
                self.desk.take(Input::Learned(drill::learned()));
            }
            effect => site::answer(self, effect),
        }
    }

    /// Everything written is durable.
    fn save(&mut self) {
        self.desk.save();
    }

    /// Lets the screen's own time pass.
    fn turn(&self, ms: u64) {
        for _ in 0..ms.div_ceil(10) {
            i_slint_backend_testing::mock_elapsed_time(Duration::from_millis(10));
        }
    }

    /// Lets time pass for the engine and the screen.
    fn pass(&mut self, ms: i64) {
        self.desk.pass(ms);
        self.refresh();
    }

    /// Everything that can be touched now.
    fn controls(&self) -> Vec<ElementHandle> {
        ElementQuery::from_root(&self.app)
            .match_accessible_role(AccessibleRole::Button)
            .find_all()
    }

    /// The one control whose label begins like this.
    #[track_caller]
    fn control(&self, label: &str) -> ElementHandle {
        let begins = |c: &ElementHandle| {
            c.accessible_label()
                .is_some_and(|l| l == label || l.starts_with(&format!("{label}, ")))
        };
        let all = self.controls();
        let mut found: Vec<_> = all.iter().filter(|c| begins(c)).cloned().collect();
        let labels: Vec<_> = all
            .iter()
            .filter_map(ElementHandle::accessible_label)
            .collect();
        assert_eq!(
            found.len(),
            1,
            "one control says `{label}`; there are {labels:?}"
        );
        found.remove(0)
    }

    #[track_caller]
    fn says(&self, text: &str) {
        let found = ElementHandle::find_by_accessible_label(&self.app, text).count();
        assert_eq!(found, 1, "`{text}` stands on the screen once");
    }

    /// Does what a screen reader does.
    #[track_caller]
    fn activate(&mut self, label: &str) {
        self.control(label).invoke_accessible_default_action();
        self.refresh();
    }

    /// Puts a finger on a control for so long.
    #[track_caller]
    fn touch(&mut self, label: &str, ms: u64) {
        let control = self.control(label);
        let (at, size) = (control.absolute_position(), control.size());
        let position = LogicalPosition::new(at.x + size.width / 2.0, at.y + size.height / 2.0);
        let window = self.app.window();
        let button = PointerEventButton::Left;
        window.dispatch_event(WindowEvent::PointerMoved { position });
        window.dispatch_event(WindowEvent::PointerPressed { position, button });
        self.turn(ms);
        self.app
            .window()
            .dispatch_event(WindowEvent::PointerReleased { position, button });
        self.refresh();
    }

    fn key(&mut self, text: &str, ms: u64) {
        self.app
            .window()
            .dispatch_event(WindowEvent::KeyPressed { text: text.into() });
        self.turn(ms);
        self.app
            .window()
            .dispatch_event(WindowEvent::KeyReleased { text: text.into() });
        self.refresh();
    }

    /// Draws the screen as it is to a file, to be looked at.
    fn look(&self, name: &str) {
        let picture = self.app.window().take_snapshot().expect("it draws");
        let rgb: Vec<u8> = picture
            .as_slice()
            .iter()
            .flat_map(|p| [p.r, p.g, p.b])
            .collect();
        let (width, height) = self.size;
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
        let name = name.replace(' ', "-");
        write(
            &folder.join(format!("{name}-{width}x{height}.png")),
            &rgb,
            self.size,
        );
    }

    /// Checks every touch on the screen as it is.
    #[track_caller]
    fn fits_gloves(&self, scene: &str) {
        let size = self.app.window().size();
        assert_eq!(
            (size.width, size.height),
            self.size,
            "{scene}: the content makes the window no larger"
        );
        let mut labels = BTreeMap::new();
        let mut boxes = Vec::new();
        for control in self.controls() {
            let label = control.accessible_label().unwrap_or_default().to_string();
            assert!(!label.is_empty(), "{scene}: every control has a label");
            *labels.entry(label.clone()).or_insert(0) += 1;
            let (at, size) = (control.absolute_position(), control.size());
            let least = TOUCH_MM_MIN * self.px_per_mm - ROUNDING_PX;
            assert!(
                size.width >= least && size.height >= least,
                "{scene}: `{label}` is {:.1} x {:.1} mm",
                size.width / self.px_per_mm,
                size.height / self.px_per_mm
            );
            let (right, bottom) = (at.x + size.width, at.y + size.height);
            let (width, height) = (
                self.size.0 as f32 + ROUNDING_PX,
                self.size.1 as f32 + ROUNDING_PX,
            );
            assert!(
                at.x >= -ROUNDING_PX && at.y >= -ROUNDING_PX,
                "{scene}: `{label}` is inside"
            );
            assert!(
                right <= width && bottom <= height,
                "{scene}: `{label}` is inside"
            );
            boxes.push((label, at.x, at.y, right, bottom));
        }
        assert!(!boxes.is_empty(), "{scene}: something can be touched");
        for (label, count) in labels {
            assert_eq!(count, 1, "{scene}: one control says `{label}`");
        }
        for (i, a) in boxes.iter().enumerate() {
            for b in &boxes[i + 1..] {
                let across = (b.1 - a.3).max(a.1 - b.3);
                let down = (b.2 - a.4).max(a.2 - b.4);
                let gap = across.max(down);
                assert!(
                    gap >= GAP_MM_MIN * self.px_per_mm - ROUNDING_PX,
                    "{scene}: `{}` and `{}` are {:.1} mm apart",
                    a.0,
                    b.0,
                    gap / self.px_per_mm
                );
            }
        }
    }
}

/// Walks through the screens and calls back at each scene.
fn walk(tablet: &mut Tablet, mut at: impl FnMut(&Tablet, &str)) {
    at(tablet, "standby");
    tablet.activate("Plan");
    at(tablet, "plan");
    tablet.activate("Back");
    tablet.activate("Tablet");
    at(tablet, "tablet");
    tablet.activate("Back");
    tablet.activate("Log");
    at(tablet, "log");
    log::walk(tablet, &mut at);
    tablet.activate("2031-05-12 14:02, Silo 3 roof, east hatch");
    at(tablet, "log rows");
    tablet.activate("Timeline");
    at(tablet, "timeline");
    tablet.activate("Closer");
    tablet.activate("Closer");
    for _ in 0..12 {
        tablet.activate("Next event");
    }
    at(tablet, "timeline near");
    tablet.activate("Back");
    tablet.activate("Back");
    tablet.activate("Back");
    drill::afterwards(tablet, &mut at);
    writing::walk(tablet, &mut at);
    drill::walk(tablet, &mut at);
    site::walk(tablet, &mut at);

    let held = tablet
        .controls()
        .remove(0)
        .accessible_label()
        .unwrap_or_default();
    tablet.activate(&held);
    tablet.pass(9_000);
    at(tablet, "first");
    tablet.activate("Where?");
    at(tablet, "where");
    tablet.activate("Silo 3 roof, east hatch");
    tablet.pass(1_000);
    tablet.activate("It is safe");
    at(tablet, "undo");
    tablet.pass(11_000);
    at(tablet, "voice");
    tablet.activate("Answers well");
    tablet.pass(11_000);
    while !tablet.controls().iter().any(|c| {
        c.accessible_label()
            .is_some_and(|l| l.starts_with("Not working"))
    }) {
        tablet.desk.answer();
        tablet.pass(11_000);
    }
    tablet.desk.act(Act::Report(Condition::Talking));
    tablet.desk.act(Act::OthersStopped);
    tablet.pass(11_000);
    at(tablet, "rescue");
    tablet.activate("TALKING");
    at(tablet, "condition");
    tablet.activate("Who hangs?");
    at(tablet, "naming");
    tablet.activate("Back");
    tablet.activate("OTHER WAY");
    at(tablet, "other way");
    tablet.activate("Report something");
    at(tablet, "more");
    for sheet in [
        "It must stop",
        "Wind",
        "Note",
        "Time of the fall",
        "Language",
    ] {
        tablet.activate(sheet);
        at(tablet, sheet);
        tablet.activate("Back");
        tablet.activate("OTHER WAY");
        tablet.activate("Report something");
    }
    tablet.activate("Back");
    tablet.activate("CALL 112");
    at(tablet, "call");
    tablet.activate("Call is made");
    tablet.pass(11_000);
    tablet.activate("PEOPLE");
    at(tablet, "people");
    let name = pages::somebody(tablet);
    tablet.activate(&name);
    at(tablet, "person");
    tablet.activate("Back");
    tablet.activate("Back");
    pages::walk(tablet, &mut at);
    tablet.activate("DANGER");
    at(tablet, "danger");
    let over = tablet
        .controls()
        .into_iter()
        .find_map(|c| c.accessible_label().filter(|l| l.starts_with("Over: ")));
    tablet.activate(&over.expect("somebody can say that the danger is over"));
    tablet.pass(1_000);
    tablet.activate("I TAKE COMMAND");
    at(tablet, "brief");
    tablet.activate("I have it");
    tablet.pass(1_000);
    at(tablet, "who commands");
    tablet.activate("Tove");
    tablet.pass(200_000);
    at(tablet, "change");
    tablet.desk.act(Act::Report(Condition::Talking));
    tablet.desk.act(Act::GoStraight("boom-lift".to_owned()));
    tablet.desk.answer();
    tablet.desk.answer();
    tablet.pass(11_000);
    at(tablet, "tie");
    tablet.desk.act(Act::AddCasualty);
    tablet.desk.act(Act::Report(Condition::NotAnswering));
    tablet.pass(11_000);
    at(tablet, "several");
    tablet.activate("NO ANSWER");
    tablet.activate("Casualties: 2");
    at(tablet, "casualties");
    tablet.activate("Back");
    tablet.desk.act(Act::OutsideLeads);
    tablet.pass(11_000);
    at(tablet, "outside leads");
    tablet.desk.act(Act::CrewLeads);
    tablet.pass(11_000);
    tablet.activate("OTHER WAY");
    tablet.activate("Off the harness");
    tablet.pass(14_000);
    at(tablet, "aftercare");
    tablet.activate("CALL MADE");
    tablet.activate("Handover card");
    at(tablet, "handover");
    tablet.activate("Back");
    tablet.desk.act(Act::WorkOn(2));
    tablet.desk.act(Act::OffHarness);
    tablet.pass(14_000);
    tablet.activate("OTHER WAY");
    tablet.activate("Stand down");
    at(tablet, "closing");
    tablet.desk.answer();
    tablet.desk.answer();
    tablet.refresh();
    at(tablet, "handing over");
    tablet.desk.act(Act::HandOver(1, CareTaker::Ambulance));
    tablet.desk.act(Act::HandOver(2, CareTaker::Doctor));
    tablet.refresh();
    at(tablet, "kit withdrawn");
    tablet.desk.answer_until("Stood down. Write this down:");
    tablet.refresh();
    at(tablet, "closed");
    drill::play(tablet, &mut at);
}

#[test]
fn every_touch_suits_a_glove_on_every_screen() {
    for screen in SCREENS {
        let mut tablet = Tablet::new(screen);
        let mut scenes = 0;
        walk(&mut tablet, |tablet, scene| {
            tablet.fits_gloves(&format!("{screen:?} {scene}"));
            scenes += 1;
        });
        assert_eq!(scenes, 132);
    }
}

#[test]
fn every_touch_suits_a_glove_in_every_language() {
    for screen in [SCREENS[0], SCREENS[1]] {
        let mut tablet = Tablet::new(screen);
        walk(&mut tablet, |tablet, scene| {
            for language in [Language::English, Language::Spanish, Language::Pseudo] {
                let snapshot = tablet.desk.engine.snapshot(&tablet.desk.now);
                let other = in_language(&snapshot, language);
                tablet.presenter.show(&other, &tablet.desk.now, false);
                tablet.turn(20);
                tablet.fits_gloves(&format!("{screen:?} {scene} in {}", language.name()));
                if std::env::var("GROUNDWARD_PICTURES").is_ok_and(|v| v == "look") {
                    tablet.look(&format!("{scene}-{}", language.tag()));
                }
            }
            let snapshot = Arc::new(tablet.desk.engine.snapshot(&tablet.desk.now));
            tablet.presenter.show(&snapshot, &tablet.desk.now, false);
            tablet.turn(20);
        });
    }
}

/// The same moment in another language.
fn in_language(snapshot: &Snapshot, language: Language) -> Arc<Snapshot> {
    let mut other = snapshot.clone();
    other.settings.language = language;
    let mut facts = Facts::clone(&other.facts);
    if let Some(opened) = &mut facts.opened {
        opened.language = language;
    }
    other.facts = Arc::new(facts);
    Arc::new(other)
}

#[test]
fn text_and_ground_reach_seven_to_one_in_every_look() {
    let mut tablet = Tablet::new(SCREENS[2]);
    let mut looks = 0;
    let mut check = |tablet: &Tablet| {
        let pairs = Theme::get(&tablet.app).get_pairs();
        assert!(pairs.row_count() > 8, "the pairs are listed");
        for pair in pairs.iter() {
            let contrast = contrast(pair.text.to_argb_u8(), pair.ground.to_argb_u8());
            assert!(contrast >= CONTRAST_MIN, "{}: {contrast:.2}", pair.name);
        }
        looks += 1;
    };
    check(&tablet);
    tablet.activate("Tablet");
    tablet.activate("Light");
    check(&tablet);
    tablet.activate("Dark");
    tablet.activate("Back");
    let held = tablet
        .controls()
        .remove(0)
        .accessible_label()
        .unwrap_or_default();
    tablet.activate(&held);
    tablet.activate("DANGER");
    check(&tablet);
    assert_eq!(looks, 3);
}

/// As WCAG 2.2 defines it.
fn contrast(a: slint::RgbaColor<u8>, b: slint::RgbaColor<u8>) -> f64 {
    let linear = |v: u8| {
        let v = f64::from(v) / 255.0;
        if v <= 0.040_45 {
            v / 12.92
        } else {
            ((v + 0.055) / 1.055).powf(2.4)
        }
    };
    let luminance = |c: slint::RgbaColor<u8>| {
        0.2126 * linear(c.red) + 0.7152 * linear(c.green) + 0.0722 * linear(c.blue)
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn the_contrast_of_published_pairs_comes_out() {
    let grey = |v| slint::RgbaColor {
        alpha: 255,
        red: v,
        green: v,
        blue: v,
    };
    assert!((contrast(grey(0x59), grey(0xff)) - 7.005).abs() < 0.01);
    assert!(contrast(grey(0x5a), grey(0xff)) < CONTRAST_MIN);
    assert!((contrast(grey(0), grey(255)) - 21.0).abs() < 1e-9);
}

#[test]
fn a_held_touch_needs_its_time_and_a_short_one_does_nothing() {
    let mut tablet = Tablet::new(SCREENS[2]);
    let held = tablet
        .controls()
        .remove(0)
        .accessible_label()
        .unwrap_or_default()
        .to_string();
    tablet.touch(&held, 600);
    assert!(!tablet.desk.facts().is_open(), "0.6 s is too short");
    tablet.touch(&held, 900);
    assert!(tablet.desk.facts().is_open(), "0.8 s is enough");
}

#[test]
fn a_held_place_starts_the_clock_there() {
    let mut tablet = Tablet::new(SCREENS[1]);
    tablet.touch("Silo 3 roof, east hatch", 900);
    assert!(tablet.desk.facts().position().is_some());
    tablet.says("Silo 3 roof, east hatch");
}

#[test]
fn one_touch_answers_once_and_undo_takes_it_back() {
    let mut tablet = Tablet::new(SCREENS[2]);
    tablet.touch("Silo 3 roof, east hatch", 900);
    tablet.pass(2_000);
    tablet.touch("It is safe", 80);
    assert!(tablet.desk.facts().casualty().scene.safe.is_some());
    tablet.touch("Undo", 80);
    assert!(tablet.desk.facts().casualty().scene.safe.is_none());
}

#[test]
fn a_plan_is_signed_by_a_held_touch_and_unsigned_again_when_its_file_has_changed() {
    let mut tablet = Tablet::new(SCREENS[0]);
    tablet.touch("Plan", 80);
    let signs = tablet
        .controls()
        .into_iter()
        .find_map(|c| c.accessible_label().filter(|l| l.contains("approves")))
        .expect("a competent person is on shift");
    tablet.touch(&signs, 600);
    assert_eq!(
        tablet.desk.engine.snapshot(&tablet.desk.now).approval,
        None,
        "0.6 s is too short"
    );
    tablet.touch(&signs, 900);
    let approval = tablet.desk.engine.snapshot(&tablet.desk.now).approval;
    let approval = approval.expect("0.8 s is enough");
    tablet.says(&format!(
        "Approved by {} on 2026-05-28 22:26",
        approval.name
    ));
    tablet.activate("Back");
    tablet.control("Plan, approved");
    tablet.activate("Plan");
    tablet.touch("Read the file again", 80);
    tablet.activate("Back");
    tablet.control("Plan, not approved");
}

#[test]
fn keys_alone_reach_and_hold_a_control() {
    let mut tablet = Tablet::new(SCREENS[2]);
    tablet.key("\t", 10);
    tablet.key(" ", 300);
    assert!(
        !tablet.desk.facts().is_open(),
        "a short key does nothing on a held control"
    );
    tablet.key(" ", 900);
    assert!(tablet.desk.facts().is_open());
    tablet.pass(2_000);
}

/// Every control of the rescue screen is reached by the tabulator and does what it says by the space bar, held or not.
#[test]
fn keys_alone_reach_everything_on_the_rescue_screen() {
    let mut reached: BTreeMap<String, usize> = BTreeMap::new();
    for (steps, held_ms) in (1..16).flat_map(|it| [(it, 80), (it, 900)]) {
        let mut tablet = Tablet::new(SCREENS[2]);
        tablet.desk.hang(Some("silo3"));
        tablet.desk.pass(11_000);
        tablet.refresh();
        let before = tablet.desk.records.len();
        for _ in 0..steps {
            tablet.key("\t", 10);
        }
        tablet.key(" ", held_ms);
        let sheet = State::get(&tablet.app).get_sheet().kind;
        let did: Vec<String> = tablet.desk.records[before..]
            .iter()
            .filter(|r| r.seq == r.cause)
            .map(|r| r.event.kind())
            .collect();
        *reached.entry(format!("{sheet:?} {did:?}")).or_default() += 1;
    }
    for wanted in [
        r#"None ["safe-confirmed"]"#,
        r#"None ["not-safe-yet"]"#,
        r#"None ["danger-called"]"#,
        r#"None ["real-called"]"#,
        r#"None ["command-taken"]"#,
        "Condition []",
        "Call []",
        "Ways []",
        "People []",
    ] {
        assert!(reached.contains_key(wanted), "{wanted} of {reached:?}");
    }
}

#[test]
fn the_main_job_is_done_by_touch() {
    let mut tablet = Tablet::new(SCREENS[3]);
    let held = tablet
        .controls()
        .remove(0)
        .accessible_label()
        .unwrap_or_default()
        .to_string();
    tablet.touch(&held, 900);
    tablet.pass(2_000);
    tablet.touch("Where?", 80);
    tablet.touch("Silo 3 roof, east hatch", 80);
    tablet.pass(2_000);
    tablet.touch("CALL 112", 80);
    tablet.touch("Call is made", 80);
    assert!(tablet.desk.facts().call.confirmed.is_some());
    for _ in 0..80 {
        if tablet.desk.facts().opened.is_none() {
            return;
        }
        tablet.pass(1_500);
        let prompt = tablet.desk.prompt();
        // Once the casualty is off the harness, the small answer is the one that closes.
        let small = prompt
            .small
            .filter(|_| tablet.desk.facts().casualty().off.is_some());
        let choice = small
            .or(prompt.main)
            .or(prompt.options.into_iter().next())
            .expect("there is a way forward");
        tablet.touch(
            &super::desk::said(&choice),
            if choice.held { 900 } else { 80 },
        );
    }
    panic!("the incident never came to its end: {}", tablet.desk.text());
}

const PICTURES: [&str; 42] = [
    "drill",
    "drill guards",
    "drill ready",
    "drill crew",
    "drill surprise",
    "drill surprises",
    "drill due",
    "learned",
    "tasks of one",
    "task done",
    "written remark",
    "remarks",
    "write task",
    "surprise",
    "other way with a surprise",
    "let stand",
    "real",
    "standby",
    "standby lost",
    "readiness",
    "one place",
    "what would help",
    "shift to sign",
    "plan",
    "rescue",
    "undo",
    "call",
    "people",
    "people again",
    "person",
    "talker",
    "words",
    "handover",
    "danger",
    "brief",
    "casualties",
    "aftercare",
    "closing",
    "log",
    "log rows",
    "timeline",
    "timeline near",
];

#[test]
fn the_screens_look_as_they_were_looked_at() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/pictures");
    let renew = std::env::var("GROUNDWARD_PICTURES").is_ok_and(|v| v == "renew");
    let drawn = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    let mut differing = Vec::new();
    for (screen, way) in [(SCREENS[2], "landscape"), (SCREENS[3], "portrait")] {
        for theme in ["dark", "light"] {
            let mut tablet = Tablet::new(screen);
            if theme == "light" {
                tablet.activate("Tablet");
                tablet.activate("Light");
                tablet.activate("Back");
            }
            walk(&mut tablet, |tablet, scene| {
                if !PICTURES.contains(&scene) {
                    return;
                }
                let picture = tablet
                    .app
                    .window()
                    .take_snapshot()
                    .expect("a headless window draws");
                assert_eq!((picture.width(), picture.height()), tablet.size);
                let name = format!("{}-{way}-{theme}.png", scene.replace(' ', "-"));
                let rgb: Vec<u8> = picture
                    .as_slice()
                    .iter()
                    .flat_map(|p| [p.r, p.g, p.b])
                    .collect();
                if renew {
                    write(&folder.join(&name), &rgb, tablet.size);
                } else if read(&folder.join(&name)) != Some((rgb.clone(), tablet.size)) {
                    write(&drawn.join(&name), &rgb, tablet.size);
                    differing.push(name);
                }
            });
        }
    }
    assert!(
        differing.is_empty(),
        "these screens look different; look at them in {} and renew the pictures if that is right: {differing:?}",
        drawn.display()
    );
}

pub(crate) fn write(path: &std::path::Path, rgb: &[u8], (width, height): (u32, u32)) {
    let file = std::fs::File::create(path).expect("a picture can be written");
    let mut encoder = png::Encoder::new(std::io::BufWriter::new(file), width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_compression(png::Compression::High);
    encoder.set_filter(png::Filter::NoFilter);
    let mut writer = encoder
        .write_header()
        .expect("the head of a picture can be written");
    writer
        .write_image_data(rgb)
        .expect("a picture can be written");
}

fn read(path: &std::path::Path) -> Option<(Vec<u8>, (u32, u32))> {
    let file = std::fs::File::open(path).ok()?;
    let mut reader = png::Decoder::new(std::io::BufReader::new(file))
        .read_info()
        .ok()?;
    let mut rgb = vec![0; reader.output_buffer_size()?];
    let info = reader.next_frame(&mut rgb).ok()?;
    Some((rgb, (info.width, info.height)))
}

/// The screen watches the engine's heartbeat; without one it says so, and the clock goes on from the clock alone.
#[test]
fn without_a_heartbeat_the_screen_says_so_and_the_clock_counts_on() {
    let twin = Twin::new(1280, 800, 10.1);
    let mut desk = Desk::demo();
    desk.hang(Some("silo3"));
    let snapshot = Arc::new(desk.engine.snapshot(&desk.now));
    let sentence = "The program does not answer. The clock goes on. Keep times on paper.";
    twin.show(&snapshot, &desk.now);
    assert_eq!(
        ElementHandle::find_by_accessible_label(&twin.app, sentence).count(),
        0
    );
    assert_eq!(twin.clock(), "0:00");
    let mut later = desk.now.clone();
    later.boot_ms += 95_000;
    twin.show_silent(&snapshot, &later);
    assert_eq!(
        ElementHandle::find_by_accessible_label(&twin.app, sentence).count(),
        1
    );
    assert_eq!(twin.clock(), "1:35");
}
