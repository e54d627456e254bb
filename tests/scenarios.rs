//! Plays every scenario of `scenarios.txt` on the production engine: prompts, orders, refusals and the clock, to the second.
//!
//! The table is read by the same reader as a rehearsal, so whatever stands in it can be touched on a tablet.

use crate::desk::Desk;
use groundward::cli::script::{Action, Line, parse, touch};
use groundward::signal::LoadedPlan;

pub(crate) const TABLE: &str = include_str!("scenarios.txt");

/// What the issue of a rescue can be; each of these has a scenario.
const KINDS: [&str; 20] = [
    "well and talking",
    "signs of pre-syncope",
    "not answering",
    "tangled",
    "shock from power",
    "smoke",
    "silo with bad air",
    "over water",
    "two on one line",
    "rescuer falls",
    "the crew lead is the casualty",
    "wind over the limit in the middle of a pick-off",
    "lift fails with the casualty in the basket",
    "tablet handed over at 5:00",
    "plan missing",
    "place not on the list",
    "found hanging, time unknown",
    "off the harness marked by mistake",
    "casualty refuses care",
    "fire service takes over",
];

/// A scenario: its name, its plan, its lines, and how many lines of the table stand before it.
pub(crate) struct Scenario {
    pub(crate) name: String,
    pub(crate) plan: String,
    pub(crate) lines: Vec<Line>,
    pub(crate) before: usize,
}

/// All scenarios of a table.
pub(crate) fn scenarios(table: &str) -> Vec<Scenario> {
    let mut all = Vec::new();
    let heads: Vec<(usize, &str)> = table
        .lines()
        .enumerate()
        .filter_map(|(index, line)| Some((index, line.strip_prefix("== ")?)))
        .collect();
    let lines: Vec<&str> = table.lines().collect();
    for (index, (start, head)) in heads.iter().enumerate() {
        let end = heads.get(index + 1).map_or(lines.len(), |(at, _)| *at);
        let (name, plan) = head.rsplit_once(", ").expect("a name and a plan");
        let body = lines[start + 1..end].join("\n");
        let parsed = parse(&body).unwrap_or_else(|why| panic!("{name}: {why:?}"));
        all.push(Scenario {
            name: name.to_owned(),
            plan: plan.to_owned(),
            lines: parsed,
            before: start + 1,
        });
    }
    all
}

/// Plays one, and says in which line of the table something else was there.
pub(crate) fn play(scenario: &Scenario) -> Result<Desk, String> {
    let desk = match scenario.plan.as_str() {
        "bare" => Desk::loaded(LoadedPlan::choose(None, None, None, crate::support::day())),
        _ => Desk::demo(),
    };
    play_on(desk, scenario)
}

/// Plays one on a desk that is there already.
pub(crate) fn play_on(mut desk: Desk, scenario: &Scenario) -> Result<Desk, String> {
    let start = desk.now.boot_ms;
    for line in &scenario.lines {
        let place = |why: String| {
            let line = scenario.before + line.number;
            format!("scenarios.txt line {line} ({}): {why}", scenario.name)
        };
        let wait = start + line.at.0 - desk.now.boot_ms;
        desk.pass(wait);
        let before = desk.records.len();
        let tap = touch(&line.action, desk.facts(), desk.at()).map_err(place)?;
        let Some(tap) = tap else { continue };
        desk.tap(tap);
        let had_effect = match line.action {
            Action::Hang(_) => true,
            _ => desk.records.len() > before,
        };
        if had_effect == line.refused {
            let text = desk.text();
            let said = if line.refused {
                "it should have been refused"
            } else {
                "it had no effect"
            };
            return Err(place(format!("{said}; the prompt is `{text}`")));
        }
    }
    desk.assert_replays();
    Ok(desk)
}

#[test]
fn every_scenario_goes_as_the_table_says() {
    let wrong: Vec<String> = scenarios(TABLE)
        .iter()
        .filter_map(|it| play(it).err())
        .collect();
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn every_kind_of_rescue_has_a_scenario_with_prompts_orders_refusals_and_the_clock() {
    let all = scenarios(TABLE);
    for kind in KINDS {
        let scenario = all.iter().find(|it| it.name == kind);
        let scenario = scenario.unwrap_or_else(|| panic!("no scenario for {kind}"));
        let clock = |line: &Line| matches!(&line.action, Action::Check(check) if format!("{check:?}").starts_with("Clock"));
        assert!(
            scenario.lines.iter().any(clock),
            "{kind} never looks at the clock"
        );
    }
}

#[test]
fn a_scenario_that_goes_otherwise_is_named_with_its_line() {
    let table = "# nothing\n== wrong, demo\n0:00 hang silo3\n0:02 expect Something else.\n";
    let why = play(&scenarios(table)[0]).err().expect("it goes otherwise");
    assert!(why.starts_with("scenarios.txt line 4 (wrong)"), "{why}");
    let table = "== wrong, demo\n0:00 hang silo3\n0:02 refused touch It is safe\n";
    let why = play(&scenarios(table)[0]).err().expect("it is not refused");
    assert!(why.contains("should have been refused"), "{why}");
}
