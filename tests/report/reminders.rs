//! Deadlines of reporting reminders, against Python's calendar with the time zone database.

use crate::report::Played;
use crate::support::oracle;
use groundward::incident::{Event, Record};
use groundward::plan::{self, DEMO, Plan};
use groundward::report::reminders::Reminders;
use groundward::words::Language;
use serde_json::json;
use std::fs;

/// 29 CFR 1904.39(a): a death within eight hours, in-patient hospitalisation, amputation or loss of an eye within 24 hours
/// of learning of it (R6, read). Hours that pass, by the time zone database: 2026-11-01 07:00 UTC the clocks of Chicago went
/// back, 2026-03-08 08:00 UTC forward.
const DEADLINES: &str = r#"
import json, sys
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo
zone, out = ZoneInfo("America/Chicago"), []
for ms in json.load(sys.stdin):
    start = datetime.fromtimestamp(ms / 1000, timezone.utc)
    row = []
    for hours in (8, 24):
        by = (start + timedelta(hours=hours)).astimezone(zone)
        sign = by.strftime("%z")
        row.append([int(by.timestamp() * 1000), int(by.utcoffset().total_seconds() // 60), by.strftime("%Y-%m-%d %H:%M ") + f"(UTC{sign[:3]}:{sign[3:]})"])
    out.append(row)
json.dump(out, sys.stdout)
"#;

/// Minutes ahead of UTC in Chicago in 2026.
fn chicago(wall_ms: i64) -> i32 {
    let (forward, back) = (1_772_956_800_000, 1_793_516_400_000);
    if (forward..back).contains(&wall_ms) {
        -300
    } else {
        -360
    }
}

fn plan_in(land: Option<&str>) -> Plan {
    let read = plan::read("grain-terminal.toml", DEMO.as_bytes());
    let mut plan = read.plan.expect("the built-in plan is fit");
    plan.site.jurisdiction = land.map(str::to_owned);
    plan
}

/// The records of a rehearsal, as of a rescue or of a drill, moved so that it began at this time.
fn records(drill: bool, began_ms: i64) -> Vec<Record> {
    let played = Played::of("silo-3-boom-lift.txt");
    let (_, _, sealed) = played.report("jsonl", &[]);
    let text = fs::read_to_string(sealed).expect("it was written");
    let mut records: Vec<Record> = text
        .lines()
        .map(|it| Record::from_json(it).expect("it is a record"))
        .collect();
    let by = began_ms - records[0].now.wall_ms;
    for record in &mut records {
        record.now.wall_ms += by;
        if let Event::Opened(opening) = &mut record.event {
            opening.drill = drill;
        }
    }
    records
}

#[test]
fn deadlines_are_hours_that_pass_whatever_the_clocks_on_the_wall_do() {
    let starts: [i64; 4] = [
        1_793_496_600_000, // 2026-10-31 20:30 in Chicago, the night in which the clocks go back
        1_772_940_000_000, // 2026-03-07 21:20 there, the night in which they go forward
        1_790_000_000_000,
        1_772_956_799_000,
    ];
    let expected = oracle::ask(DEADLINES, &json!(starts));
    let plan = plan_in(Some("Illinois, United States"));
    for (at, start) in starts.into_iter().enumerate() {
        let records = records(false, start);
        let activated = records
            .iter()
            .find(|it| matches!(it.event, Event::Activated { .. }))
            .expect("it was activated");
        assert_eq!(activated.now.wall_ms, start);
        let reminders = Reminders::of(&records, Some(&plan), &chicago).expect("it is a rescue");
        let found: Vec<_> = reminders
            .each
            .iter()
            .map(|it| json!([it.by_wall_ms, it.by_offset_min, it.by()]))
            .collect();
        assert_eq!(json!(found), expected[at]);
        for language in Language::ALL_SPOKEN {
            let text = reminders.each[0].text(language);
            assert!(
                text.contains("1904.39") && text.contains(&reminders.each[0].by()),
                "{text}"
            );
        }
    }
}

#[test]
fn no_rule_is_claimed_for_a_land_that_is_not_known_and_none_for_a_drill() {
    let rescue = records(false, 1_790_000_000_000);
    for plan in [
        Some(plan_in(None)),
        Some(plan_in(Some("the land of Pellow"))),
        None,
    ] {
        let reminders = Reminders::of(&rescue, plan.as_ref(), &chicago).expect("it is a rescue");
        assert!(reminders.each.is_empty());
        let said = reminders.defers.text(Language::English);
        assert!(said.contains("Local law"), "{said}");
    }
    let plan = plan_in(Some("US"));
    let drill = records(true, 1_790_000_000_000);
    assert_eq!(Reminders::of(&drill, Some(&plan), &chicago), None);
    // From the stop word on it is a rescue, and nobody can have learned of it earlier.
    let mut real = drill;
    let last = real.last_mut().expect("there are records");
    last.event = Event::RealCalled {};
    let called = last.now.wall_ms;
    let reminders = Reminders::of(&real, Some(&plan), &chicago).expect("it became a rescue");
    assert_eq!(reminders.each[0].by_wall_ms, called + 8 * 3_600_000);
}
