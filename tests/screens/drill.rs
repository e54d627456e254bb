//! Prepares drills by touch and plays what only a drill has: a surprise, a living person who is let stand, the stop word.

use super::{SCREENS, Tablet, in_language};
use groundward::drill::{Learned, Lesson, Played, Span};
use groundward::incident::{
    Act, Condition, Event, Exercise, Inject, Moment, Owner, Surprise, Task,
};
use groundward::kiosk::State;
use groundward::review::Carried;
use groundward::signal::{Addition, Input, JournalReport, Prepare, Prepared, Tap};
use groundward::units::Millis;
use groundward::words::{Id, Language, Phrase, label};
use i_slint_backend_testing::ElementHandle;
use slint::{ComponentHandle, Global};
use std::collections::BTreeSet;
use std::sync::Arc;

/// Through the page on which a drill is prepared, with a living person, until nothing is open.
pub(super) fn walk(tablet: &mut Tablet, at: &mut impl FnMut(&Tablet, &str)) {
    tablet.activate("Tablet");
    tablet.activate("Drill");
    at(tablet, "drill");
    tablet.activate("Who hangs");
    at(tablet, "drill who");
    tablet.activate("A living person");
    at(tablet, "drill guards");
    tablet.activate("Second line, independent of the first");
    tablet.activate("They can stand at any time");
    tablet.activate("A watcher with no other task");
    at(tablet, "drill watcher");
    tablet.activate("Bram");
    tablet.activate("Longest hang");
    at(tablet, "drill limit");
    tablet.activate("2:00");
    tablet.activate("Back");
    tablet.activate("Other work at height");
    at(tablet, "drill others");
    tablet.activate("has stopped");
    tablet.activate("Where");
    at(tablet, "drill place");
    tablet.activate("Silo 3 roof, east hatch");
    tablet.activate("Scenario");
    at(tablet, "drill scenario");
    tablet.activate("Back");
    tablet.activate("Who plays");
    at(tablet, "drill crew");
    tablet.activate("Sef");
    tablet.activate("Back");
    tablet.activate("Wind and light");
    at(tablet, "drill wind and light");
    tablet.activate("dark, not lit");
    tablet.activate("How strong is the wind?");
    at(tablet, "drill wind");
    tablet.activate("12\u{a0}m/s");
    tablet.activate("Back");
    tablet.activate("Surprises");
    tablet.activate("One more");
    at(tablet, "drill surprise");
    tablet.activate("Kit is missing");
    at(tablet, "drill surprise which");
    tablet.activate("Back");
    tablet.activate("The wind rises");
    tablet.activate("16\u{a0}m/s");
    at(tablet, "drill surprise when");
    tablet.activate("2:00");
    at(tablet, "drill surprises");
    tablet.activate("Back");
    reach(tablet, "What is due");
    at(tablet, "drill due");
    tablet.activate("Back");
    at(tablet, "drill ready");
    reach(tablet, "What drills have shown");
    at(tablet, "learned");
    tablet.activate("Back");
    tablet.activate("Back");
}

/// Activates a control that may stand on the next page of a list.
fn reach(tablet: &mut Tablet, label: &str) {
    let there = tablet.controls().iter().any(|it| {
        let text = it.accessible_label().unwrap_or_default();
        text.starts_with(&format!("{label}, "))
    });
    if !there {
        tablet.activate("More");
    }
    tablet.activate(label);
}

/// From the log to what is to be done, until that is done.
pub(super) fn afterwards(tablet: &mut Tablet, at: &mut impl FnMut(&Tablet, &str)) {
    let old = addition("20310401T080000Z-0001", Id::TaskTaken, "2026-01-31");
    add(tablet, &old);
    tablet.activate("Log");
    tablet.activate("To be done");
    at(tablet, "tasks");
    tablet.activate("Back");
    tablet.activate("2031-05-12 14:02, Silo 3 roof, west hatch");
    tablet.activate("To be done");
    at(tablet, "tasks of one");
    tablet.activate("Practise the emergency call");
    at(tablet, "task who");
    tablet.activate("Bram");
    at(tablet, "task when");
    tablet.activate("In 14 days");
    tablet.activate("Practise the emergency call");
    at(tablet, "task");
    tablet.activate("It is done");
    at(tablet, "task done");
    tablet.activate("Back");
    tablet.activate("Back");
    tablet.activate("Back");
}

fn addition(incident: &str, text: Id, due: &str) -> Addition {
    Addition {
        incident: incident.to_owned(),
        now: Moment {
            wall_ms: 1_770_000_000_000,
            offset_min: 60,
            boot_ms: 1,
            boot_id: "boot-0".into(),
        },
        who: "ines".to_owned(),
        event: Event::TaskSet(Task {
            text: Phrase::of(text),
            owner: Owner::Responder("ines".to_owned()),
            due: due.parse().expect("it is a day"),
            from: None,
            by: None,
        }),
    }
}

/// Does what the journal does with an addition: here it is the list of the incident alone.
pub(super) fn add(tablet: &mut Tablet, addition: &Addition) {
    let set_ms = addition.now.wall_ms;
    match &addition.event {
        Event::TaskSet(task) => {
            let number = 90 + tablet.tasks.len() as u64;
            tablet.tasks.push(Carried {
                number,
                task: task.clone(),
                by: addition.who.clone(),
                set_ms,
                done_ms: None,
            });
        }
        Event::TaskDone { task, .. } => {
            let mut tasks = tablet.tasks.iter_mut();
            let it = tasks.find(|it| it.number == *task);
            it.expect("there is such a task").done_ms = Some(set_ms);
        }
        said => tablet
            .remarks
            .push(super::writing::said(tablet, said, set_ms)),
    }
    let incident = addition.incident.clone();
    let head = "0".repeat(64);
    let closed = JournalReport::Closed { incident, head };
    for effect in tablet.desk.take(Input::Journal(closed)) {
        tablet.answer_effect(&effect);
    }
    tablet.refresh();
}

/// What seven made-up drills at one place taught, the last of which was broken off, and two at another.
pub(super) fn learned() -> Vec<Learned> {
    let day = 86_400_000;
    let drill = |number: i64, position: &str, seconds: i64, ended: bool| Lesson {
        incident: format!("2031010{number}T080000Z-{position}"),
        started_ms: 1_925_000_000_000 + number * 13 * day,
        position: Some(position.to_owned()),
        contact: Some(Span::ended(Millis::from_seconds(seconds / 2))),
        off: Some(Span {
            time: Millis::from_seconds(seconds),
            ended,
        }),
        ..Lesson::default()
    };
    let silo = [(0, 520), (1, 505), (2, 470), (3, 480), (4, 425), (5, 430)];
    let silo = silo.map(|(number, seconds)| drill(number, "silo3", seconds, true));
    let other = [drill(1, "intake", 380, true), drill(4, "intake", 350, true)];
    let broken = drill(6, "silo3", 300, false);
    let all: Vec<Lesson> = silo.into_iter().chain(other).chain([broken]).collect();
    groundward::drill::learned(&all, Played::Drill, 5)
}

/// The drill that was prepared, with one surprise, until it is a rescue.
pub(super) fn play(tablet: &mut Tablet, at: &mut impl FnMut(&Tablet, &str)) {
    tablet.desk.answer();
    tablet.refresh();
    // The one before left its guards.
    tablet.desk.tap(Tap::Prepare(Prepare::Manikin));
    let surprises = vec![Surprise {
        at: Millis::from_seconds(40),
        inject: Inject::RadioLost {},
    }];
    tablet
        .desk
        .tap(Tap::Prepare(Prepare::Scenario(Box::new(Prepared {
            exercise: Exercise {
                scenario: "radios".to_owned(),
                surprises,
                ..Exercise::default()
            },
            position: Some("silo3".to_owned()),
        }))));
    walk(tablet, &mut |_, _| ());
    tablet.activate("Tablet");
    tablet.activate("Drill");
    tablet.activate("BEGIN");
    tablet.pass(5_000);
    tablet.activate("It is safe");
    tablet.desk.act(Act::Report(Condition::Talking));
    tablet.pass(40_000);
    at(tablet, "surprise");
    tablet.activate("OTHER WAY");
    at(tablet, "other way with a surprise");
    tablet.activate("Given");
    tablet.pass(80_000);
    at(tablet, "let stand");
    tablet.activate("They stand");
    tablet.pass(11_000);
    at(tablet, "they stand");
    tablet.activate("OTHER WAY");
    tablet.activate("REAL, REAL, REAL");
    tablet.pass(1_000);
    at(tablet, "real");
}

/// The colour behind the word in every theme, where nothing lies over it.
const GROUND: [u8; 3] = [0x5a, 0x2d, 0x8c];

/// How much of the word's place shows letters or their ground in full; the rest is the rim of letters.
const WHOLE_SHARE: f32 = 0.7;

/// Looks whether the word of a drill stands on the screen, where nothing cuts it off or lies over it.
fn says_drill(tablet: &Tablet, scene: &str, language: Language) -> bool {
    let word = label(Id::DrillMark, language);
    let found: Vec<_> = ElementHandle::find_by_accessible_label(&tablet.app, &word).collect();
    let [mark] = &found[..] else {
        assert!(found.is_empty(), "{scene}: `{word}` stands there once");
        return false;
    };
    let (at, size) = (mark.absolute_position(), mark.size());
    let (width, height) = (tablet.size.0 as f32, tablet.size.1 as f32);
    assert!(
        at.x >= 0.0 && at.y >= 0.0 && at.x + size.width <= width && at.y + size.height <= height,
        "{scene}: `{word}` is cut off"
    );
    let picture = tablet.app.window().take_snapshot().expect("it draws");
    let row = tablet.size.0 as usize;
    let (mut all, mut whole) = (0.0, 0.0);
    for y in at.y as usize..(at.y + size.height) as usize {
        for x in at.x as usize..(at.x + size.width) as usize {
            let pixel = picture.as_slice()[y * row + x];
            let pixel = [pixel.r, pixel.g, pixel.b];
            all += 1.0;
            whole += f32::from(u8::from(pixel == GROUND || pixel == [0xff; 3]));
        }
    }
    assert!(
        whole > WHOLE_SHARE * all,
        "{scene}: `{word}` is covered: {whole} of {all}"
    );
    true
}

#[test]
fn every_page_of_a_drill_says_so_in_every_language_and_none_of_a_rescue_does() {
    for screen in [SCREENS[0], SCREENS[1]] {
        let mut tablet = Tablet::new(screen);
        let (mut drills, mut rescues) = (0, 0);
        let mut screens = BTreeSet::new();
        super::walk(&mut tablet, |tablet, scene| {
            let now = &tablet.desk.now;
            let snapshot = Arc::new(tablet.desk.engine.snapshot(now));
            for language in [Language::English, Language::Spanish] {
                tablet
                    .presenter
                    .show(&in_language(&snapshot, language), now, false);
                tablet.turn(20);
                let scene = format!("{screen:?} {scene} in {}", language.name());
                assert_eq!(
                    says_drill(tablet, &scene, language),
                    snapshot.drill,
                    "{scene}"
                );
            }
            tablet.presenter.show(&snapshot, now, false);
            tablet.turn(20);
            screens.insert(format!("{:?}", State::get(&tablet.app).get_screen()));
            match snapshot.drill {
                true => drills += 1,
                false => rescues += 1,
            }
        });
        assert!(drills > 90 && rescues > 0, "{drills} and {rescues}");
        assert_eq!(screens.len(), 10, "every screen was seen: {screens:?}");
    }
}
