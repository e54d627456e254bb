//! Walks through the pages of the site and of a shift by touch, and plays what a crew does there at the start of a day.
//!
//! The times are made up here, so that these pictures do not change when the computation of them is tuned; papers,
//! people and kit are looked at by the production code.

use super::{SCREENS, Tablet};
use groundward::kiosk::State;
use groundward::readiness::{Declare, Expected, Gain, Grade, Light, Standing, WhatIfs, standings};
use groundward::signal::{Effect, Input, Tap};
use groundward::units::{Millis, Ratio, Speed};
use groundward::words::{Id, Message};
use i_slint_backend_testing::ElementHandle;
use slint::{Global, Model};

/// Answers what the engine asks of the site.
pub(super) fn answer(tablet: &mut Tablet, effect: &Effect) {
    match effect {
        Effect::Standings { conditions, plan } => {
            let mut all = standings(plan, conditions);
            for (index, it) in all.iter_mut().enumerate() {
                time(it, i64::try_from(index).expect("few positions"));
            }
            tablet.desk.take(Input::Standings {
                conditions: conditions.clone(),
                plan: plan.clone(),
                standings: all,
            });
        }
        Effect::WhatIfs { .. } => {
            tablet.desk.take(Input::WhatIfs(gains()));
        }
        _ => {}
    }
}

fn time(standing: &mut Standing, index: i64) {
    let likely = Millis::from_seconds(260 + 17 * index);
    let bad_day = Millis::from_seconds(410 + 29 * index);
    standing.expected = Some(Expected {
        likely: Some(likely),
        bad_day: (index != 5).then_some(bad_day),
        contact: Some(Millis::from_seconds(130 + 11 * index)),
        chance: Ratio(970_000 - 41_000 * index),
        assumed: index % 2 == 0,
    });
    if standing.grade == Grade::Ready {
        let line = Message::with(Id::ReadyStep, ["boom lift to the hatch", "2:40"]);
        standing.line = Some(line);
        if bad_day > Millis::from_seconds(540) {
            standing.grade = Grade::Slow;
        }
    }
}

fn gains() -> WhatIfs {
    let gain = |what: &str, gain, error, at: &str| Gain {
        what: Message::written(what),
        gain: Ratio(gain),
        error: Ratio(error),
        at: at.to_owned(),
    };
    WhatIfs {
        done: 120,
        all: 340,
        ended: false,
        gains: vec![
            gain(
                "One more for hub climbing at Gallery door",
                124_400,
                11_000,
                "Ship loader, boom tip",
            ),
            gain(
                "Boom lift at station B",
                81_000,
                9_000,
                "Lighting mast 7, towpath",
            ),
            gain(
                "A drill at Rail intake tower, over the canopy",
                22_000,
                7_000,
                "Rail intake tower, over the canopy",
            ),
            gain(
                "Longer rope: ropes 3 at station E",
                4_000,
                7_000,
                "Ship loader, boom tip",
            ),
            gain("Opened: stair 2", 0, 0, "Silo 3 roof, east hatch"),
            gain(
                "Haul system at station F",
                -2_000,
                3_000,
                "Grain dryer, exhaust stack",
            ),
        ],
    }
}

fn say(tablet: &mut Tablet, said: Declare) {
    for effect in tablet.desk.tap(Tap::Declare(said)) {
        answer(tablet, &effect);
    }
}

/// The first control whose label begins like this.
fn label(tablet: &Tablet, begins: &str) -> String {
    let labels = tablet.controls().into_iter();
    let mut labels = labels.filter_map(|it| it.accessible_label());
    let label = labels.find(|it| it.starts_with(begins));
    label
        .unwrap_or_else(|| panic!("something begins with {begins}"))
        .to_string()
}

/// Says everything that a shift at one position asks for, except who signs.
fn fill_in(tablet: &mut Tablet, position: &str) {
    let snapshot = tablet.desk.engine.snapshot(&tablet.desk.now);
    let plan = snapshot.plan.plan.clone();
    let place = plan.position(position).expect("it is in the plan");
    if !snapshot
        .shift
        .in_use
        .iter()
        .any(|it| it.position == position)
    {
        say(tablet, Declare::Use(position.to_owned()));
    }
    say(
        tablet,
        Declare::Permit(position.to_owned(), "2231-B".to_owned()),
    );
    let people = || plan.responders.iter().map(|it| it.id.clone());
    if place.workers.is_empty() {
        let visitor = snapshot.shift.visitors.first().expect("somebody visits");
        say(
            tablet,
            Declare::Works(position.to_owned(), visitor.id.clone()),
        );
    }
    let watcher = people()
        .find(|id| !place.workers.contains(id))
        .expect("somebody is free");
    say(tablet, Declare::Watches(position.to_owned(), watcher));
    say(tablet, Declare::Wind(Speed(6_000)));
    say(tablet, Declare::Gust(Speed(9_000)));
    say(tablet, Declare::Light(Light::Day));
    say(tablet, Declare::Lightning(false));
    let shift = tablet.desk.engine.snapshot(&tablet.desk.now).shift;
    for needed in shift.needed(&plan) {
        let holds = |id: &String| {
            let person = plan.responder(id).expect("it is in the plan");
            let mut held = person.qualifications.iter();
            held.any(|it| {
                it.name == needed && it.until.is_none_or(|it| it >= tablet.desk.now.day())
            })
        };
        if let Some(holder) = people().find(holds) {
            say(tablet, Declare::Holds(needed, holder));
        }
    }
    for station in shift.stations(&plan) {
        say(tablet, Declare::CountAll(station.to_owned()));
    }
    say(tablet, Declare::Radio(true));
    say(tablet, Declare::Battery(true));
    let heard = tablet.desk.engine.snapshot(&tablet.desk.now).shift;
    let visitors = heard.visitors.iter().map(|it| it.id.clone());
    for id in people().chain(visitors) {
        if !heard.heard.contains(&id) {
            say(tablet, Declare::Heard(id));
        }
    }
    tablet.refresh();
}

/// Goes from standby through every page and sheet, and ends the shift again.
pub(super) fn walk(tablet: &mut Tablet, at: &mut impl FnMut(&Tablet, &str)) {
    tablet.activate(&label(tablet, "Readiness"));
    at(tablet, "readiness");
    tablet.activate(&label(tablet, "1 "));
    at(tablet, "one place");
    let way = if tablet.control("Lower").accessible_enabled() == Some(true) {
        "Lower"
    } else {
        "Higher"
    };
    tablet.activate(way);
    at(tablet, "another level");
    tablet.activate("Back");
    tablet.activate("What would help");
    at(tablet, "what would help");
    tablet.activate("Stop");
    at(tablet, "help stopped");
    tablet.activate("Back");
    tablet.activate("Back");

    tablet.activate(&label(tablet, "On shift"));
    at(tablet, "shift");
    tablet.activate(&label(tablet, "Places in use"));
    at(tablet, "places");
    tablet.activate("Silo 3 roof, east hatch");
    at(tablet, "place in use");
    tablet.activate(&label(tablet, "Permit number"));
    for key in ["2", "2", "3", "1"] {
        tablet.activate(key);
    }
    at(tablet, "permit");
    tablet.activate("Letters");
    tablet.activate("B");
    at(tablet, "letters");
    tablet.activate("Back");
    tablet.activate("Back");
    tablet.activate(&label(tablet, "Who works here"));
    at(tablet, "workers");
    tablet.activate("Back");
    tablet.activate(&label(tablet, "Who watches"));
    at(tablet, "watcher");
    tablet.activate("Back");
    tablet.activate("Back");
    tablet.activate("Back");
    tablet.activate(&label(tablet, "Weather"));
    at(tablet, "weather");
    tablet.activate(&label(tablet, "Mean wind"));
    at(tablet, "mean wind");
    tablet.activate("6\u{a0}m/s");
    tablet.activate(&label(tablet, "Gusts"));
    at(tablet, "gusts");
    tablet.activate("9\u{a0}m/s");
    tablet.activate("Back");
    tablet.activate(&label(tablet, "Rescue crew"));
    at(tablet, "crew");
    let first = tablet.controls()[0]
        .accessible_label()
        .expect("a qualification");
    tablet.activate(&first);
    at(tablet, "holder");
    tablet.activate("Back");
    tablet.activate("Back");
    tablet.activate(&label(tablet, "Kit, "));
    at(tablet, "kit");
    tablet.activate(&label(tablet, "Station A"));
    at(tablet, "station");
    let item = tablet.controls()[1].accessible_label().expect("an item");
    tablet.activate(&item);
    at(tablet, "count");
    tablet.activate("Back");
    tablet.activate("Back");
    tablet.activate("Back");
    for part in ["Radio check", "Battery", "Briefing"] {
        tablet.activate(&label(tablet, part));
        at(tablet, part);
        tablet.activate("Back");
    }
    tablet.activate(&label(tablet, "People"));
    at(tablet, "shift people");
    tablet.activate(&label(tablet, "A visitor"));
    at(tablet, "visitor");
    let place = tablet.controls()[0].accessible_label().expect("a place");
    tablet.activate(&place);
    tablet.activate("Back");
    // A place that is not ready, and the ways out of it.
    let unready = tablet.desk.engine.snapshot(&tablet.desk.now);
    let unready = unready
        .standings
        .iter()
        .find(|it| it.grade == Grade::NotReady);
    let unready = unready
        .expect("one of the demo is not ready")
        .position
        .clone();
    say(tablet, Declare::Use(unready.clone()));
    tablet.refresh();
    tablet.activate(&label(tablet, "Rescue ready"));
    at(tablet, "in use, not ready");
    let first = tablet.controls()[0].accessible_label().expect("a place");
    tablet.activate(&first);
    at(tablet, "who allows it");
    tablet.activate("Ines");
    at(tablet, "why");
    tablet.activate("Outside rescue stands by here");
    tablet.activate("Back");
    fill_in(tablet, &unready);
    fill_in(tablet, "silo3");
    at(tablet, "shift to sign");
    tablet.activate(&label(tablet, "Sign"));
    at(tablet, "sign");
    tablet.activate(&label(tablet, "Ines signs"));
    at(tablet, "shift signed");
    tablet.activate("Back");
    at(tablet, "standby signed");
    tablet.activate("Something changed");
    at(tablet, "changed");
    for sheet in ["Somebody left", "Kit is gone", "Wind"] {
        tablet.activate(sheet);
        at(tablet, sheet);
        tablet.activate("Back");
    }
    tablet.activate("Lightning is near");
    at(tablet, "shift lost");
    tablet.activate(&label(tablet, "Weather"));
    at(tablet, "shift lost, weather");
    tablet.activate("Back");
    tablet.activate("Back");
    at(tablet, "standby lost");
    tablet.activate(&label(tablet, "Readiness"));
    at(tablet, "readiness lost");
    tablet.activate(&label(tablet, "Work has stopped"));
    tablet.activate("Back");
    at(tablet, "standby lapsed");
    say(tablet, Declare::End);
    tablet.refresh();
}

/// What a finger does: touches are counted, so that a promise on their number is kept.
fn touch(tablet: &mut Tablet, begins: &str) {
    let label = label(tablet, begins);
    tablet.touch(&label, 80);
}

fn shift(tablet: &Tablet) -> std::sync::Arc<groundward::readiness::Shift> {
    tablet.desk.engine.snapshot(&tablet.desk.now).shift
}

#[test]
fn a_visitor_is_added_in_four_touches_and_asked_for_nothing() {
    let mut tablet = Tablet::new(SCREENS[0]);
    touch(&mut tablet, "On shift");
    touch(&mut tablet, "People");
    touch(&mut tablet, "A visitor");
    touch(&mut tablet, "The yard");
    let shift = shift(&tablet);
    assert_eq!(shift.visitors.len(), 1);
    assert_eq!(shift.visitors[0].place, "yard");
    assert!(shift.holders.is_empty(), "no qualification is assumed");
    tablet.control(&format!("{}, visitor at the yard", shift.visitors[0].name));
}

#[test]
fn a_permit_number_is_typed_key_by_key_and_a_key_too_many_is_taken_back() {
    let mut tablet = Tablet::new(SCREENS[1]);
    touch(&mut tablet, "On shift");
    touch(&mut tablet, "Places in use");
    touch(&mut tablet, "Silo 3 roof");
    touch(&mut tablet, "Permit number");
    for key in ["4", "0", "7"] {
        tablet.touch(key, 80);
    }
    touch(&mut tablet, "Letters");
    for key in ["B", "C", "Delete"] {
        tablet.touch(key, 80);
    }
    assert_eq!(shift(&tablet).in_use[0].permit, "407B");
    tablet.says("Permit number: 407B");
    for _ in 0..12 {
        tablet.activate("A");
        if tablet.control("A").accessible_enabled() == Some(false) {
            break;
        }
    }
    assert_eq!(shift(&tablet).in_use[0].permit.len(), 12, "and no longer");
}

/// The check binds: nobody can sign while a part is open, a short touch does not sign, a held one of a competent person does.
#[test]
fn a_shift_is_signed_by_a_held_touch_once_nothing_is_open() {
    let mut tablet = Tablet::new(SCREENS[0]);
    touch(&mut tablet, "On shift");
    touch(&mut tablet, "Sign");
    let sign = label(&tablet, "Ines signs");
    assert_eq!(tablet.control(&sign).accessible_enabled(), Some(false));
    tablet.touch(&sign, 900);
    assert_eq!(shift(&tablet).signed, None);
    fill_in(&mut tablet, "silo3");
    tablet.touch(&sign, 600);
    assert_eq!(shift(&tablet).signed, None, "0.6 s is too short");
    tablet.touch(&sign, 900);
    let shift = shift(&tablet);
    assert_eq!(shift.signed.as_ref().map(|it| it.by.as_str()), Some("ines"));
    // 2026-05-28 22:26 at the place of the desk, and the plan's twelve hours.
    tablet.says("Shift signed by Ines until 10:26");
    assert!(
        tablet.controls().iter().all(|it| it
            .accessible_label()
            .is_none_or(|it| !it.starts_with("Rua signs"))),
        "who is not named as competent is not offered"
    );
}

/// From standby: one touch to what changed, one more to the lift; the alarm stands on every page, with one answer.
#[test]
fn a_lift_that_is_gone_takes_two_touches_and_the_alarm_is_answered_by_one() {
    let mut tablet = Tablet::new(SCREENS[2]);
    fill_in(&mut tablet, "silo3");
    say(&mut tablet, Declare::Sign("ines".to_owned()));
    tablet.refresh();
    touch(&mut tablet, "Something changed");
    touch(&mut tablet, "Boom lift 1 is gone");
    let gone = shift(&tablet);
    assert_eq!(
        gone.gone(&tablet.desk.engine.snapshot(&tablet.desk.now).plan.plan)
            .len(),
        1
    );
    assert_eq!(gone.signed, None, "it no longer holds");
    touch(&mut tablet, "Something changed");
    touch(&mut tablet, "Lightning is near");
    assert_eq!(shift(&tablet).lost, ["silo3"]);
    let alarm = "Silo 3 roof, east hatch: rescue lost, stop work";
    tablet.says(alarm);
    touch(&mut tablet, "Back");
    tablet.says(alarm);
    touch(&mut tablet, "Readiness");
    tablet.says(alarm);
    touch(&mut tablet, "Work has stopped");
    assert!(shift(&tablet).lost.is_empty());
    assert_eq!(
        ElementHandle::find_by_accessible_label(&tablet.app, alarm).count(),
        0
    );
    // Somebody hangs: reached from here too.
    touch_long(&mut tablet, "START THE DRILL");
    assert!(tablet.desk.facts().is_open());
}

fn touch_long(tablet: &mut Tablet, begins: &str) {
    let label = label(tablet, begins);
    tablet.touch(&label, 900);
}

/// The worst is first and has the number one, in the list and on the sketch.
#[test]
fn the_list_is_worst_first_and_a_touch_shows_where_a_position_is() {
    let mut tablet = Tablet::new(SCREENS[2]);
    touch(&mut tablet, "Readiness");
    let rows: Vec<_> = State::get(&tablet.app).get_site_rows().iter().collect();
    let grades = ["Not ready", "Slow", "Ready"];
    let rank = |sub: &str| grades.iter().position(|it| sub.starts_with(it));
    let ranks: Vec<_> = rows.iter().map(|row| rank(&row.sub)).collect();
    assert!(ranks.is_sorted() && !ranks.contains(&None), "{ranks:?}");
    assert_eq!(
        ranks.first(),
        Some(&Some(0)),
        "one of the demo is not ready"
    );
    assert!(rows.len() > 9);
    touch(&mut tablet, "2 ");
    let marks: Vec<_> = State::get(&tablet.app).get_site_marks().iter().collect();
    let chosen: Vec<_> = marks.iter().filter(|it| it.chosen).collect();
    assert_eq!(chosen.len(), 1);
    assert_eq!(chosen[0].number, "2");
    tablet.says(&rows[1].title);
}

/// A large site: no two marks overlap, none leaves the sketch.
#[test]
fn two_hundred_positions_on_one_level_do_not_overlap() {
    let mut plan = String::from(
        "format = 1\n[site]\nname = \"Large\"\nrevision = \"1\"\nemergency_number = \"112\"\nmeeting_point = \"gate\"\n\
         [place.yard]\nname = \"yard\"\nlevel = \"0\"\nat = [\"0 m\", \"0 m\"]\n",
    );
    for index in 0..200 {
        let (east, north) = (index * 37 % 120, index * 53 % 70);
        plan += &format!(
            "[place.p{index}]\nname = \"place {index}\"\nlevel = \"0\"\nat = [\"{east} m\", \"{north} m\"]\n\
             [link.l{index}]\nfrom = \"yard\"\nto = \"p{index}\"\nkind = \"walk\"\nlength = \"30 m\"\nrise = \"0 m\"\n\
             [position.n{index}]\nname = \"Position {index}\"\nplace = \"p{index}\"\napproach = \"yard\"\nlanding = \"yard\"\n"
        );
    }
    let mut tablet = Tablet::new(SCREENS[0]);
    tablet.desk = super::Desk::with(&plan);
    tablet.refresh();
    touch(&mut tablet, "Readiness");
    let marks: Vec<_> = State::get(&tablet.app).get_site_marks().iter().collect();
    assert_eq!(marks.len(), 200);
    assert!(marks.iter().all(|it| it.small));
    // 2.6 of 54 units across, and the sketch is half as wide again as it is high.
    let (width, height) = (2.6 / 54.0, 2.6 / 36.0);
    for (index, a) in marks.iter().enumerate() {
        assert!((0.0..=1.0).contains(&a.x) && (0.0..=1.0).contains(&a.y));
        for b in &marks[index + 1..] {
            let apart = (a.x - b.x).abs() >= width || (a.y - b.y).abs() >= height;
            assert!(apart, "{} lies on {}", a.number, b.number);
        }
    }
}
