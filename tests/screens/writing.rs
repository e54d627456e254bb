//! Writes remarks, findings and tasks on the tablet, by its own large keys and by a real keyboard, and looks what is sent.

use super::{SCREENS, Tablet};
use groundward::incident::{Event, Finding, Nature, Owner, WORDS_CHARS_MAX};
use groundward::kiosk::State;
use groundward::review::Remarked;
use groundward::signal::{Afterwards, Tap};
use groundward::words::{Id, Language, Phrase, label};
use slint::Global;

/// From what is to be done of one incident to a remark, a finding that answers it, and a task that comes of that.
pub(super) fn walk(tablet: &mut Tablet, at: &mut impl FnMut(&Tablet, &str)) {
    open(tablet);
    tablet.activate("Remarks and findings");
    at(tablet, "remarks none");
    tablet.activate("Add a remark");
    at(tablet, "write remark");
    type_by_touch(tablet, "the gate was shut");
    at(tablet, "written remark");
    tablet.activate("123");
    at(tablet, "write signs");
    tablet.activate("abc");
    tablet.activate("Written");
    at(tablet, "remark who");
    tablet.activate("About all of it");
    at(tablet, "remark about");
    tablet.activate(
        "Row 2 of the record, with words enough to need a second line on a narrow screen",
    );
    tablet.activate("These are all");
    tablet.activate("Another name");
    type_by_touch(tablet, "oda");
    at(tablet, "write name");
    tablet.activate("Written");
    tablet.activate("Remarks and findings");
    tablet.activate("Add a finding");
    at(tablet, "finding nature");
    tablet.activate("Danger");
    type_by_keyboard(tablet, "Nobody watched the edge while the gate was shut.");
    tablet.activate("Written");
    tablet.activate("Bram");
    tablet.activate("Remarks and findings");
    at(tablet, "remarks");
    tablet.activate("Danger: Nobody watched the edge while the gate was shut.");
    at(tablet, "remark");
    tablet.activate("To be done about it");
    type_by_keyboard(
        tablet,
        "Name a watcher before anybody works at the edge, tell everybody at the briefing, and put up the barrier that stands behind the store",
    );
    at(tablet, "write task");
    tablet.activate("Written");
    at(tablet, "task whoever");
    tablet.activate("Another name");
    type_by_keyboard(tablet, "Oda");
    tablet.activate("Written");
    tablet.activate("In 7 days");
    at(tablet, "tasks written");
    tablet.activate("Back");
    tablet.activate("Back");
    tablet.activate("Back");
    tablet.tasks.pop();
    tablet.remarks.clear();
}

fn open(tablet: &mut Tablet) {
    tablet.activate("Log");
    tablet.activate("2031-05-12 14:02, Silo 3 roof, west hatch");
    tablet.activate("To be done");
}

/// Touches one key after the other, on whichever page of them it is.
fn type_by_touch(tablet: &mut Tablet, text: &str) {
    for letter in text.chars() {
        let key = match letter {
            ' ' => "Space".to_owned(),
            letter => letter.to_string(),
        };
        let there = |tablet: &Tablet| {
            let mut keys = tablet.controls().into_iter();
            keys.any(|it| it.accessible_label().as_deref() == Some(key.as_str()))
        };
        for _ in 0..4 {
            if !there(tablet) {
                tablet.activate("More");
            }
        }
        tablet.touch(&key, 60);
    }
}

fn type_by_keyboard(tablet: &mut Tablet, text: &str) {
    for letter in text.chars() {
        tablet.key(&letter.to_string(), 10);
    }
}

fn field(tablet: &Tablet) -> String {
    State::get(&tablet.app).get_write_text().to_string()
}

/// What the record of the incident would say of it.
pub(super) fn said(tablet: &Tablet, event: &Event, said_ms: i64) -> Remarked {
    let remark = event.remark().expect("nothing else is added here");
    Remarked {
        number: 80 + tablet.remarks.len() as u64,
        text: remark.text.to_string(),
        nature: match event {
            Event::Found(finding) => Some(finding.nature),
            _ => None,
        },
        about: remark.about.clone(),
        answers: remark.answers,
        answered: Vec::new(),
        tasks: Vec::new(),
        by: remark.by.as_ref().map(ToString::to_string),
        who: "tablet".to_owned(),
        said_ms,
        offset_min: 60,
    }
}

/// The last thing that was said of an incident, which the screen sends and nobody took yet.
fn sent(tablet: &Tablet) -> Option<Afterwards> {
    let taps = tablet.taps.borrow();
    taps.iter().rev().find_map(|tap| match tap {
        Tap::Afterwards { what, .. } => Some(what.clone()),
        _ => None,
    })
}

/// Touches without letting the engine take what is sent.
fn touch_only(tablet: &Tablet, label: &str) {
    tablet.control(label).invoke_accessible_default_action();
    tablet.turn(20);
}

#[test]
fn keys_of_glass_and_of_a_keyboard_write_into_one_field() {
    for screen in [SCREENS[0], SCREENS[1]] {
        let mut tablet = Tablet::new(screen);
        open(&mut tablet);
        tablet.activate("Remarks and findings");
        tablet.activate("Add a remark");
        type_by_touch(&mut tablet, "the gates");
        tablet.touch("Delete", 60);
        assert_eq!(
            field(&tablet),
            "The gate",
            "a sentence begins with a large letter"
        );
        type_by_keyboard(&mut tablet, " was SHUT. ");
        type_by_touch(&mut tablet, "why");
        assert_eq!(field(&tablet), "The gate was SHUT. Why");
        // The caret goes where it is set, and the keys of glass write there.
        for _ in 0..4 {
            tablet.key(&char::from(slint::platform::Key::LeftArrow).to_string(), 10);
        }
        tablet.touch("Delete", 60);
        assert_eq!(field(&tablet), "The gate was SHUT Why");
        tablet.key("\n", 10);
        tablet.says("Who says so?");
        tablet.activate("Back");
        assert_eq!(
            field(&tablet),
            "The gate was SHUT Why",
            "the way back keeps the text"
        );
    }
}

#[test]
fn a_text_that_cannot_be_taken_is_said_and_stays() {
    let mut tablet = Tablet::new(SCREENS[2]);
    open(&mut tablet);
    tablet.activate("Remarks and findings");
    tablet.activate("Add a remark");
    tablet.says("500 letters left");
    tablet.activate("Written");
    tablet.says("Write at least one word");
    let long = "é".repeat(WORDS_CHARS_MAX + 2);
    State::get(&tablet.app).set_write_text(long.as_str().into());
    tablet.activate("Written");
    tablet.says("2 letters too many");
    assert_eq!(field(&tablet), long);
    State::get(&tablet.app).set_write_text("a\u{202e}b".into());
    tablet.activate("Written");
    tablet.says("Only plain letters and signs");
    assert_eq!(sent(&tablet), None);
}

#[test]
fn what_is_sent_is_what_was_chosen() {
    let mut tablet = Tablet::new(SCREENS[3]);
    open(&mut tablet);
    tablet.activate("Remarks and findings");
    tablet.activate("Add a finding");
    tablet.activate("Worked well");
    type_by_keyboard(&mut tablet, "the sling held");
    tablet.activate("Written");
    tablet.activate("About all of it");
    tablet.activate(
        "Row 3 of the record, with words enough to need a second line on a narrow screen",
    );
    tablet.activate(
        "Row 1 of the record, with words enough to need a second line on a narrow screen",
    );
    tablet.activate(
        "Row 3 of the record, with words enough to need a second line on a narrow screen",
    );
    tablet.activate(
        "Row 0 of the record, with words enough to need a second line on a narrow screen",
    );
    tablet.activate("These are all");
    touch_only(&tablet, "Bram");
    let Some(Afterwards::Found(Finding { nature, remark })) = sent(&tablet) else {
        panic!("a finding is sent");
    };
    assert_eq!(nature, Nature::WorkedWell);
    assert_eq!(remark.text.as_str(), "the sling held");
    assert_eq!((remark.about, remark.answers), (vec![0, 1], None));
    assert_eq!(remark.by.as_ref().map(|it| it.as_str()), Some("Bram"));
    tablet.refresh();
    tablet.activate("Something else to do");
    type_by_keyboard(&mut tablet, "mend the hoist");
    tablet.activate("Written");
    tablet.activate("Another name");
    type_by_touch(&mut tablet, "hinge works");
    tablet.activate("Written");
    touch_only(&tablet, "In 3 days");
    let Some(Afterwards::Set {
        text,
        owner,
        in_days,
        from,
    }) = sent(&tablet)
    else {
        panic!("a task is sent");
    };
    assert_eq!(text, Phrase::Written("mend the hoist".to_owned()));
    assert!(
        matches!(&owner, Owner::Named(it) if it.as_str() == "Hinge Works"),
        "{owner:?}"
    );
    assert_eq!((in_days, from), (3, None));
}

/// Every letter of the language is there, on as few pages as the screen has room for, and its accents behind one more touch.
#[test]
fn the_keys_are_those_of_the_language() {
    for (screen, language, letters, accents) in [
        (
            SCREENS[0],
            Language::Spanish,
            "abcdefghijklmnñopqrstuvwxyz",
            "áéíóúü",
        ),
        (
            SCREENS[1],
            Language::English,
            "abcdefghijklmnopqrstuvwxyz",
            "áéíóúüñ",
        ),
    ] {
        let mut tablet = Tablet::new(screen);
        open(&mut tablet);
        tablet.activate("Remarks and findings");
        tablet.activate("Add a remark");
        let snapshot = tablet.desk.engine.snapshot(&tablet.desk.now);
        let snapshot = super::in_language(&snapshot, language);
        tablet.presenter.show(&snapshot, &tablet.desk.now, false);
        tablet.turn(20);
        assert_eq!(keys_on_all_pages(&tablet, language), letters);
        touch_only(&tablet, "123");
        let signs = keys_on_all_pages(&tablet, language);
        for sign in accents.chars().chain("1234567890.,".chars()) {
            assert!(signs.contains(sign), "{sign} is not in {signs}");
        }
    }
}

/// The keys of one letter, in the order in which a finger that turns the pages meets them.
fn keys_on_all_pages(tablet: &Tablet, language: Language) -> String {
    let mut seen = String::new();
    loop {
        let keys = tablet.controls().into_iter();
        let keys = keys.filter_map(|it| it.accessible_label());
        let keys = keys.filter(|it| it.chars().count() == 1);
        let page: String = keys.map(|it| it.to_string()).collect();
        if seen.starts_with(&page) {
            return seen;
        }
        seen += &page;
        touch_only(tablet, &label(Id::More, language));
    }
}
