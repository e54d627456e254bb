//! Plays drills at a table, takes them for drills with people, and checks that calibration finds the plan's own times again.
//!
//! What is drawn is known, so whatever is measured otherwise than it is played shows. Everybody has the same pace here: that
//! of a crew is in all times of a drill at once, so that they are not as many independent ones as an interval counts.

use groundward::drill::{Figure, Lesson, Measured, Scenario, Table, TableTop, calibrate};
use groundward::incident::{Event, Moment, State};
use groundward::plan::{self, DEMO, Edit};
use groundward::readiness::Depth;

const DAY_MS: i64 = 86_400_000;

/// What a drill at a position teaches, played on this plan.
fn lesson(plan: &str, position: &str, seed: u64) -> Lesson {
    let start = Moment {
        wall_ms: 1_780_000_000_000 + seed as i64 * DAY_MS,
        offset_min: 0,
        boot_ms: 500_000,
        boot_id: "boot-1".into(),
    };
    let table = Table {
        depth: Depth::ROUGH,
        ..Table::new("plan.toml", plan, "", start)
    };
    let scenario = Scenario {
        name: "Test (invented)".to_owned(),
        position: position.to_owned(),
        ..Scenario::default()
    };
    let exercise = scenario.at_a_table(seed);
    let play = TableTop::new(&table, &format!("play-{seed}"), &scenario, exercise, seed);
    let mut records = play.expect("the plan is fit").play();
    if let Event::Opened(opening) = &mut records[0].event
        && let Some(exercise) = &mut opening.exercise
    {
        exercise.table_top = false;
    }
    Lesson::of(&State::replay(records)).expect("it was played")
}

/// True where the plan's median is further from the measured one than twice the interval reaches, which is four standard
/// deviations: by chance in one figure of 15,000. A tenth of a second is for rounding.
fn is_far(it: &Measured) -> bool {
    let (Some(median), Some(between)) = (it.measured.median, it.measured.median_between) else {
        return false;
    };
    let planned = it.planned_median.0;
    let low = 2 * between.low.0 - median.0 - 100;
    let high = between.high.map(|high| 2 * high.0 - median.0 + 100);
    planned < low || high.is_some_and(|high| planned > high)
}

#[test]
fn drills_that_go_as_planned_give_the_plan_back() {
    let one_pace = [Edit::set("policy.crew_spread", "0 %")];
    let edited = plan::edit("plan.toml", DEMO, &one_pace).expect("the plan takes it");
    let plan = edited.reading.plan.expect("it is fit");
    let positions = ["silo3", "silo5", "loader"];
    let lessons: Vec<Lesson> = (1..=60)
        .map(|seed| lesson(&edited.text, positions[seed as usize % 3], seed))
        .collect();
    let found = calibrate(&plan, &lessons);
    let enough: Vec<&Measured> = found.iter().filter(|it| it.points().is_some()).collect();
    let kinds = |kind: fn(&Figure) -> bool| enough.iter().filter(|it| kind(&it.figure)).count();
    let links = kinds(|it| matches!(it, Figure::Link(_)));
    let steps = kinds(|it| matches!(it, Figure::Step { .. }));
    assert_eq!(kinds(|it| *it == Figure::OrderTime), 1);
    assert!(links >= 5 && steps >= 20, "{links} links, {steps} steps");
    for it in &enough {
        assert!(!is_far(it), "{it:?}");
    }
    // What is stated: the interval of a median misses in one of twenty, or in as many as it says; four standard deviations more.
    let covers = |it: &&&Measured| it.measured.median_between.map(|it| it.coverage.0);
    let missed = enough.iter().filter_map(|it| covers(&it));
    let missed: f64 = missed.map(|it| 1.0 - it as f64 / 1e6).sum();
    let bound = missed + 4.0 * missed.sqrt();
    let differ: Vec<_> = enough.iter().filter(|it| it.differs()).collect();
    assert!((differ.len() as f64) <= bound, "{missed}: {differ:?}");
}
