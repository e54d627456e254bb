//! Checks what is due to be drilled, and in which order it is said.

use chrono::{NaiveDate, TimeDelta};
use groundward::drill::{Lesson, Overdue, PartTaken, Played, Span, Undrilled, due};
use groundward::plan::{self, Plan};
use groundward::units::Millis;

fn day() -> NaiveDate {
    crate::support::day()
}

/// The invented site with two positions, drilled this many days ago, and the default interval of 180 days.
fn plan(ago: [Option<i64>; 2]) -> Plan {
    let read = plan::read("grain-terminal.toml", plan::DEMO.as_bytes());
    let mut plan = read.plan.expect("it is fit");
    plan.policy.drill_every = Millis(180 * 86_400_000);
    plan.positions.truncate(2);
    for (position, ago) in plan.positions.iter_mut().zip(ago) {
        position.last_drill = ago.map(|ago| day() - TimeDelta::days(ago));
    }
    plan
}

/// A drill so many days ago in which the casualty came off the harness, with people in roles: responder, qualification.
fn drilled(plan: &Plan, position: usize, ago: i64, parts: &[(&str, &str)]) -> Lesson {
    let at = day() - TimeDelta::days(ago);
    let noon = at.and_hms_opt(12, 0, 0).expect("it is a time of day");
    let part = |(responder, name): &(&str, &str)| PartTaken {
        responder: (*responder).to_owned(),
        method: "any".to_owned(),
        role: "any".to_owned(),
        qualification: Some((*name).to_owned()),
    };
    Lesson {
        incident: format!("drill-{position}-{ago}"),
        started_ms: noon.and_utc().timestamp_millis(),
        position: Some(plan.positions[position].id.clone()),
        off: Some(Span::ended(Millis(400_000))),
        parts: parts.iter().map(part).collect(),
        ..Lesson::default()
    }
}

fn positions(plan: &Plan, found: &[Overdue]) -> Vec<(usize, Option<i64>)> {
    let index = |id: &String| {
        plan.positions
            .iter()
            .position(|it| it.id == *id)
            .expect("it is one")
    };
    found
        .iter()
        .filter_map(|it| match &it.what {
            Undrilled::Position(id) => Some((index(id), it.days)),
            Undrilled::Qualified { .. } => None,
        })
        .collect()
}

#[test]
fn a_position_is_due_the_day_after_the_interval_has_passed() {
    for (ago, expected) in [(179, None), (180, None), (181, Some(1)), (400, Some(220))] {
        let plan = plan([Some(ago), Some(1)]);
        let found = positions(&plan, &due(&plan, &[], day()));
        assert_eq!(
            found,
            expected
                .map(|days| (0, Some(days)))
                .into_iter()
                .collect::<Vec<_>>()
        );
    }
}

#[test]
fn what_was_never_drilled_comes_first_and_then_the_longest_overdue() {
    let plan_1 = plan([Some(300), None]);
    assert_eq!(
        positions(&plan_1, &due(&plan_1, &[], day())),
        [(1, None), (0, Some(120))]
    );
    let plan_2 = plan([Some(300), Some(301)]);
    assert_eq!(
        positions(&plan_2, &due(&plan_2, &[], day())),
        [(1, Some(121)), (0, Some(120))]
    );
    let all = due(&plan_2, &[], day());
    let days: Vec<Option<NaiveDate>> = all.iter().map(|it| it.last).collect();
    assert!(days.is_sorted(), "{days:?}");
    assert!(
        all.len() > 2,
        "nobody is known to have drilled what they are qualified for"
    );
}

#[test]
fn only_a_drill_that_was_played_to_the_end_counts() {
    let plan = plan([Some(300), Some(1)]);
    let is_due = |lesson: &Lesson| {
        let found = due(&plan, std::slice::from_ref(lesson), day());
        !positions(&plan, &found).is_empty()
    };
    let whole = drilled(&plan, 0, 10, &[]);
    assert!(!is_due(&whole));
    assert!(
        is_due(&drilled(&plan, 0, 200, &[])),
        "longer ago than the interval"
    );
    assert!(is_due(&drilled(&plan, 1, 10, &[])), "somewhere else");
    assert!(
        is_due(&drilled(&plan, 0, -10, &[])),
        "a clock that was wrong"
    );
    let off = Some(Span::broken_off(Millis(400_000)));
    assert!(is_due(&Lesson {
        off,
        ..whole.clone()
    }));
    assert!(is_due(&Lesson {
        played: Played::TableTop,
        ..whole.clone()
    }));
    assert!(is_due(&Lesson {
        played: Played::Rescue,
        ..whole
    }));
}

#[test]
fn a_person_is_due_in_each_qualification_that_roles_ask_for() {
    let plan = plan([Some(1), Some(1)]);
    let roles = plan
        .positions
        .iter()
        .flat_map(|it| &it.methods)
        .flat_map(|it| &it.roles);
    let asked: Vec<&str> = roles.filter_map(|it| it.qualification.as_deref()).collect();
    let mut expected: Vec<(String, String)> = plan
        .responders
        .iter()
        .flat_map(|person| {
            person
                .qualifications
                .iter()
                .map(move |it| (person.id.clone(), it.name.clone()))
        })
        .filter(|it| asked.contains(&it.1.as_str()))
        .collect();
    expected.sort();
    let people = |lessons: &[Lesson]| -> Vec<(String, String)> {
        let found = due(&plan, lessons, day());
        let people = found.into_iter().filter_map(|it| match it.what {
            Undrilled::Qualified {
                responder,
                qualification,
            } => Some((responder, qualification)),
            Undrilled::Position(_) => None,
        });
        people.collect()
    };
    assert!(expected.len() > 3);
    assert_eq!(people(&[]), expected);
    let (responder, name) = expected.remove(0);
    let recent = drilled(&plan, 0, 10, &[(&responder, &name)]);
    assert_eq!(people(&[recent]), expected);
    // What was drilled too long ago comes after what never was.
    let old = drilled(&plan, 0, 190, &[(&responder, &name)]);
    expected.push((responder, name));
    assert_eq!(people(&[old]), expected);
}
