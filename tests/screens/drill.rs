//! Prepares drills by touch and plays what only a drill has: a surprise, a living person who is let stand, the stop word.

use super::{SCREENS, Tablet, in_language};
use groundward::incident::{Act, Condition, Exercise, Inject, Surprise};
use groundward::kiosk::State;
use groundward::signal::{Prepare, Prepared, Tap};
use groundward::units::Millis;
use groundward::words::{Id, Language, label};
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
    at(tablet, "drill ready");
    tablet.activate("Back");
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
        assert_eq!(screens.len(), 7, "every screen was seen: {screens:?}");
    }
}
