//! Plays the pages of a running incident: the words to say, the people, one person, the cards that are read aloud.

use super::{SCREENS, Tablet};
use groundward::incident::{Act, Condition, Report};

/// From the rescue screen with orders that nobody said yet, back to it.
pub(super) fn walk(tablet: &mut Tablet, at: &mut impl FnMut(&Tablet, &str)) {
    tablet.activate("TALKING");
    tablet.activate("Talk with the casualty");
    at(tablet, "talker");
    tablet.activate("Report");
    tablet.activate("Talking");
    tablet.pass(11_000);
    at(tablet, "words");
    said(tablet);
    tablet.pass(12_000);
    at(tablet, "words said");
    // Nobody answers: the orders are to be said again.
    tablet.pass(30_000);
    tablet.desk.act(Act::Report(Condition::Talking));
    tablet.pass(11_000);
    at(tablet, "words again");
    tablet.activate("CALL MADE");
    at(tablet, "call made");
    tablet.activate("Help from outside");
    at(tablet, "help from outside");
    tablet.activate("Help in 15 min");
    at(tablet, "who said so");
    tablet.activate("Dispatcher");
    tablet.activate("Back");
    tablet.activate("PEOPLE");
    at(tablet, "people again");
    let name = somebody(tablet);
    let touch = format!("{name}: Cannot");
    tablet.activate(&touch);
    at(tablet, "people cannot");
    tablet.activate(&touch);
    tablet.activate("Back");
}

/// Says everything that there is to say.
fn said(tablet: &mut Tablet) {
    for _ in 0..9 {
        let says = |tablet: &Tablet| {
            let mut all = tablet.controls().into_iter();
            all.any(|c| c.accessible_label().is_some_and(|it| it == "Said"))
        };
        if !says(tablet) {
            return;
        }
        tablet.activate("Said");
    }
}

/// The name of the first on the page of the people who is on an order.
pub(super) fn somebody(tablet: &Tablet) -> String {
    let mut all = tablet.controls().into_iter();
    let there = all.find_map(|c| {
        let label = c.accessible_label()?;
        Some(label.strip_suffix(": There")?.to_owned())
    });
    there.expect("somebody is on the way")
}

fn hanging() -> Tablet {
    let mut tablet = Tablet::new(SCREENS[0]);
    tablet.desk.hang(Some("silo3"));
    tablet.desk.act(Act::SaySafe);
    tablet.desk.act(Act::Report(Condition::Talking));
    tablet.pass(1_000);
    tablet
}

#[test]
fn what_is_said_is_what_stood_there_when_the_finger_came_down() {
    let mut tablet = hanging();
    while tablet.desk.facts().orders.is_empty() {
        tablet.desk.answer();
        tablet.pass(1_000);
    }
    let say = groundward::incident::to_say(tablet.desk.facts()).expect("there are orders to say");
    tablet.activate("PEOPLE");
    tablet.activate("Said");
    let facts = tablet.desk.facts();
    for order in &facts.orders {
        assert_eq!(
            order.said.is_some(),
            say.orders.contains(&order.number),
            "{order:?}"
        );
    }
}

#[test]
fn one_touch_says_that_somebody_is_there_or_cannot_and_the_page_stays() {
    let mut tablet = hanging();
    while tablet.desk.facts().orders.is_empty() {
        tablet.desk.answer();
        tablet.pass(1_000);
    }
    tablet.activate("PEOPLE");
    let name = somebody(&tablet);
    let people = &tablet
        .desk
        .facts()
        .opened
        .as_ref()
        .expect("it is open")
        .plan
        .responders;
    let id = people
        .iter()
        .find(|it| it.name == name)
        .map(|it| it.id.clone());
    let id = id.expect("the plan knows everybody on the page");
    tablet.touch(&format!("{name}: There"), 80);
    let order = tablet.desk.facts().order_of(&id);
    assert!(order.is_some_and(|it| it.there.is_some()));
    tablet.touch(&format!("{name}: Cannot"), 80);
    assert!(tablet.desk.facts().cannot.contains(&id));
    tablet.touch(&format!("{name}: Cannot"), 80);
    assert!(
        !tablet.desk.facts().cannot.contains(&id),
        "a second touch takes it back"
    );
}

#[test]
fn danger_is_one_touch_on_every_page_and_closes_it() {
    for page in ["PEOPLE", "CALL 112"] {
        let mut tablet = hanging();
        tablet.activate(page);
        tablet.control("Back");
        tablet.touch("DANGER", 80);
        assert!(tablet.desk.facts().danger.is_some());
        let all = tablet.controls();
        let back = all
            .iter()
            .any(|c| c.accessible_label().is_some_and(|it| it == "Back"));
        assert!(!back, "the page of {page} is closed");
    }
}

#[test]
fn the_first_words_of_the_call_are_the_ones_that_were_agreed() {
    let mut tablet = hanging();
    tablet.activate("CALL 112");
    tablet.says("Person hanging in a harness at height. We need height rescue and an ambulance.");
    tablet.says("Call back: 00 555 0104");
    tablet.activate("Call is made");
    tablet.activate("CALL MADE");
    tablet.control("Did not get through");
}

#[test]
fn somebody_who_was_told_again_is_heard_by_one_touch() {
    let mut tablet = hanging();
    while tablet.desk.facts().orders.is_empty() {
        tablet.desk.answer();
        tablet.pass(1_000);
    }
    tablet.activate("PEOPLE");
    said(&mut tablet);
    tablet.pass(40_000);
    let say = groundward::incident::to_say(tablet.desk.facts());
    let who = say.and_then(|it| it.again).expect("nobody answered");
    tablet.activate("Heard");
    let order = tablet.desk.facts().order_of(&who);
    assert!(order.is_some_and(|it| it.heard.is_some()));
    tablet.desk.act(Act::Responder(who, Report::There));
}

#[test]
fn the_page_of_one_person_says_the_way_and_a_blocked_one_is_one_touch() {
    let mut tablet = hanging();
    while tablet.desk.facts().running().is_none() {
        tablet.desk.answer();
        tablet.pass(1_000);
    }
    let facts = tablet.desk.facts();
    let far = facts.orders.iter().max_by_key(|it| it.posting.way.len());
    let id = far.expect("there are orders").posting.responder.clone();
    tablet
        .desk
        .act(Act::Responder(id.clone(), Report::OnTheWay));
    tablet.refresh();
    let name = tablet.desk.facts().name(&id).to_owned();
    tablet.activate("PEOPLE");
    let shown = |tablet: &Tablet| {
        tablet.controls().iter().any(|c| {
            c.accessible_label()
                .is_some_and(|it| it.starts_with(&format!("{name}, ")))
        })
    };
    for _ in 0..9 {
        if !shown(&tablet) {
            tablet.activate("More");
        }
    }
    tablet.activate(&name);
    let all = i_slint_backend_testing::ElementQuery::from_root(&tablet.app).find_all();
    let says = |begin: &str| {
        all.iter().any(|it| {
            it.accessible_label()
                .is_some_and(|label| label.starts_with(begin))
        })
    };
    assert!(says("Way: "), "the way of {name} is said");
    tablet.activate("Way is blocked");
    let labels: Vec<_> = tablet
        .controls()
        .iter()
        .filter_map(|c| c.accessible_label())
        .collect();
    let way = labels
        .iter()
        .find(|it| it.contains(" to ") && it.contains(", "))
        .expect("a way is offered")
        .clone();
    let title = way.split(", ").next().expect("it has a title").to_owned();
    tablet.activate(&title);
    assert_eq!(tablet.desk.facts().blocked.len(), 1);
    tablet.activate(&title);
    assert!(
        tablet.desk.facts().blocked.is_empty(),
        "another touch opens it"
    );
}
