//! Steps through an incident along its line of time: every event is told, none twice, and what is seen lies in its room.

use super::{SCREENS, Tablet};
use groundward::kiosk::{State, TimelineRoom};
use groundward::review::{self, timeline::Timeline};
use groundward::words::Language;
use slint::platform::{Key, WindowEvent};
use slint::{ComponentHandle, Global, Model, SharedString};

fn opened(screen: super::Screen) -> Tablet {
    let mut tablet = Tablet::new(screen);
    tablet.activate("Log");
    tablet.activate("2031-05-12 14:02, Silo 3 roof, east hatch");
    tablet.activate("Timeline");
    tablet
}

fn key(tablet: &mut Tablet, text: impl Into<SharedString>) {
    let text = text.into();
    let window = tablet.app.window();
    window.dispatch_event(WindowEvent::KeyPressed { text: text.clone() });
    window.dispatch_event(WindowEvent::KeyReleased { text });
    tablet.refresh();
}

/// What is seen lies in the room, and the cursor on the line of time.
fn fits(tablet: &Tablet) {
    let (state, room) = (State::get(&tablet.app), TimelineRoom::get(&tablet.app));
    let words = state.get_timeline_words();
    assert!(words.row_count() > 0, "there are words on the picture");
    for word in words.iter() {
        let right = word.left + word.width;
        assert!(
            word.left >= -0.1 && right <= room.get_width() + 0.1,
            "{}",
            word.text
        );
        assert!(word.base <= room.get_height(), "{}", word.text);
    }
    let cursor = state.get_timeline().cursor;
    assert!(cursor <= room.get_width());
}

#[test]
fn every_event_is_stepped_to_in_order_and_told_as_in_the_record() {
    for screen in [SCREENS[0], SCREENS[1]] {
        let mut tablet = opened(screen);
        let records = crate::timeline::turns();
        let timeline = Timeline::of(&records).expect("an incident began");
        let lines = review::lines(&records, Language::English);
        tablet.activate("Closer");
        tablet.activate("Closer");
        for (number, (_, record)) in (1..).zip(timeline.moments()) {
            tablet.activate("Next event");
            fits(&tablet);
            let shown = State::get(&tablet.app).get_timeline();
            let line = lines.iter().find(|it| it.seq == record);
            let text = &line.expect("each record has a line").text;
            assert!(shown.event.ends_with(text.as_str()), "{}", shown.event);
            assert!(shown.event.starts_with(&format!("{number} of ")));
            assert!(shown.cursor >= 0.0);
        }
        assert!(!State::get(&tablet.app).get_timeline().after);
    }
}

#[test]
fn keys_on_a_desk_do_the_same_as_those_on_the_screen_and_there_is_a_way_back_out() {
    let mut tablet = opened(SCREENS[2]);
    let shown = |tablet: &Tablet| State::get(&tablet.app).get_timeline();
    let whole = shown(&tablet);
    assert!(whole.closer && !whole.wider && !whole.before);
    key(&mut tablet, Key::RightArrow);
    assert!(shown(&tablet).event.starts_with("1 of "));
    key(&mut tablet, Key::RightArrow);
    key(&mut tablet, Key::RightArrow);
    key(&mut tablet, Key::LeftArrow);
    assert!(shown(&tablet).event.starts_with("2 of "));
    let mut halved = 0;
    while shown(&tablet).closer {
        key(&mut tablet, "+");
        fits(&tablet);
        halved += 1;
    }
    // Seven and a half minutes, down to no less than half a minute.
    assert_eq!(halved, 3);
    while shown(&tablet).wider {
        key(&mut tablet, "-");
        halved -= 1;
    }
    assert_eq!(halved, 0);
    assert_eq!(shown(&tablet).title, whole.title);
    tablet.activate("Back");
    tablet.activate("To be done");
}
