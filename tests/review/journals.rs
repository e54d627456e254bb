//! Gathers the journals of which accounts are tried: the golden ones, rehearsals from scripts, a play at a table, a drill turned real.

use crate::desk::Desk;
use crate::scenarios::{Scenario, TABLE, play, play_on, scenarios};
use groundward::cli::script::parse;
use groundward::drill::{BUILT_IN, Table, TableTop, read};
use groundward::engine::Engine;
use groundward::incident::{Act, Moment, Record};
use groundward::journal::disk::RealDisk;
use groundward::plan::DEMO;
use groundward::readiness::Depth;
use groundward::signal::LoadedPlan;
use std::path::Path;

const BOOM_LIFT: &str = include_str!("../scripts/silo-3-boom-lift.txt");
const TURNS: &str = include_str!("../scripts/turns.txt");

/// What came of an incident, by a name of its own.
pub(crate) fn journals() -> Vec<(&'static str, Vec<Record>)> {
    vec![
        ("golden-boom-lift", golden("20261125T194636Z-7adc")),
        ("golden-turns", golden("20261126T013609Z-6779")),
        ("boom-lift", rescue(BOOM_LIFT)),
        ("turns", rescue(TURNS)),
        (
            "basket",
            scenario("lift fails with the casualty in the basket"),
        ),
        ("no-plan", scenario("plan missing")),
        ("at-a-table", at_a_table()),
        ("turned-real", turned_real()),
        ("restarted", restarted()),
    ]
}

fn golden(incident: &str) -> Vec<Record> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden");
    let found = groundward::journal::read::read(&RealDisk, &[folder], incident);
    let found = found.expect("the golden journal is there");
    let lines = found.records.iter();
    lines
        .map(|it| Record::from_json(&it.text).expect("it can be read"))
        .collect()
}

fn plan() -> LoadedPlan {
    let bytes = ("plan.toml", DEMO.as_bytes());
    LoadedPlan::choose(Some(bytes), None, None, crate::support::day())
}

fn lines(script: &str) -> Scenario {
    Scenario {
        name: "rehearsal".to_owned(),
        plan: "demo".to_owned(),
        lines: parse(script).expect("the script is right"),
        before: 0,
    }
}

/// A tablet that is not kept for drills.
fn tablet() -> Desk {
    Desk {
        engine: Engine::new(plan(), false),
        ..Desk::demo()
    }
}

/// A rescue, as a script has it.
fn rescue(script: &str) -> Vec<Record> {
    let played = play_on(tablet(), &lines(script));
    played.expect("it goes as the script says").records
}

fn scenario(name: &str) -> Vec<Record> {
    let all = scenarios(TABLE);
    let scenario = all.iter().find(|it| it.name == name);
    let scenario = scenario.expect("the table has it");
    play(scenario).expect("it goes as the table says").records
}

/// Two hang in the gallery, played by a simulated crew.
pub(crate) fn at_a_table() -> Vec<Record> {
    let found = BUILT_IN.iter().find(|it| it.0 == "gallery-two-hang.toml");
    let (name, text) = found.expect("it is built in");
    let scenario = read(name, text.as_bytes()).expect("it is right");
    let start = Moment {
        wall_ms: 1_780_000_000_000,
        offset_min: 120,
        boot_ms: 500_000,
        boot_id: "boot-1".into(),
    };
    let table = Table {
        depth: Depth::ROUGH,
        in_command: Some("tove".to_owned()),
        ..Table::new("plan.toml", DEMO, "", start)
    };
    let exercise = scenario.at_a_table(3);
    let play = TableTop::new(&table, "at-a-table", &scenario, exercise, 3);
    play.expect("the plan is fit").play()
}

const DRILL: &str = "0:00 hang silo3\n0:04 touch It is safe\n0:08 answer\n0:12 touch Answers well\n0:20 answer\n\
                     0:40 touch Casualty stands in the straps\n";
const REAL: &str = "0:00 hang silo3\n0:01 touch It is safe\n0:06 answer\n0:10 unwell\n0:20 answer\n0:40 call-made\n1:30 off-harness\n";

/// A drill in which somebody is hurt: the stop word, and a rescue from there on.
fn turned_real() -> Vec<Record> {
    let mut desk = play_on(Desk::demo(), &lines(DRILL)).expect("it goes as the script says");
    desk.pass(5_000);
    desk.act(Act::Real);
    desk.pass(2_000);
    let mut rest = lines(REAL);
    // Somebody hangs already.
    rest.lines.remove(0);
    let played = play_on(desk, &rest);
    played.expect("it goes as the script says").records
}

/// The tablet loses its power and its clock in the middle of the boom lift, and goes on.
fn restarted() -> Vec<Record> {
    let whole = lines(BOOM_LIFT).lines;
    let start = Desk::demo().now.boot_ms;
    let (first, mut then) = (whole.clone(), whole);
    let cut = |at: i64| at <= 150_000;
    let first = Scenario {
        lines: first.into_iter().filter(|it| cut(it.at.0)).collect(),
        ..lines(DRILL)
    };
    let mut desk = play_on(tablet(), &first).expect("it goes as the script says");
    // Off for some time, nobody knows how long; the clock of the day begins again.
    desk.now = Moment {
        wall_ms: 0,
        boot_ms: 9_000,
        boot_id: "boot-2".into(),
        ..desk.now
    };
    let records = desk.records.clone();
    let (engine, effects) = Engine::resume(plan(), false, records, &desk.now, 9_000);
    desk.engine = engine;
    for effect in effects {
        if let groundward::signal::Effect::Append(entries) = effect {
            let read = entries.iter().map(|it| Record::from_json(&it.json));
            desk.records
                .extend(read.map(|it| it.expect("what is written can be read")));
        }
    }
    let left = desk.now.boot_ms;
    then.retain(|it| !cut(it.at.0));
    for line in &mut then {
        line.at.0 -= 150_000;
    }
    // The clock shows the least that it can be, so no line of the script that looks at it holds.
    then.retain(|it| !matches!(it.action, groundward::cli::script::Action::Check(_)));
    assert!(left < start);
    let rest = Scenario {
        lines: then,
        ..lines(DRILL)
    };
    play_on(desk, &rest).expect("it goes on").records
}
