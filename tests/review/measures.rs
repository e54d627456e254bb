//! Holds the milestones to a second opinion: Python reads the journal's own lines and computes them anew.

use super::journals::journals;
use crate::support::oracle;
use groundward::incident::Record;
use groundward::review::Account;
use groundward::review::account::Stage;
use serde_json::{Value, json};

/// What the script calls each milestone, and whether it is the same for all.
const STAGES: [(Stage, &str, bool); 15] = [
    (Stage::Alarm, "alarm", true),
    (Stage::OthersStopped, "others", true),
    (Stage::CallOrdered, "ordered", true),
    (Stage::CallPassed, "passed", true),
    (Stage::CallMade, "made", true),
    (Stage::FirstOrder, "order", true),
    (Stage::SafeToGoNear, "safe", false),
    (Stage::Voice, "voice", false),
    (Stage::FirstMethod, "method", false),
    (Stage::FirstContact, "contact", false),
    (Stage::OffHarness, "off", false),
    (Stage::Landed, "landed", false),
    (Stage::Aftercare, "care", false),
    (Stage::HandedOver, "handed", false),
    (Stage::StoodDown, "down", true),
];

#[test]
fn the_milestones_are_those_that_python_finds_in_the_lines() {
    let journals = journals();
    let lines =
        |records: &[Record]| -> Vec<String> { records.iter().map(Record::to_json).collect() };
    let all: Vec<Vec<String>> = journals.iter().map(|it| lines(&it.1)).collect();
    let found = oracle::ask(include_str!("measures.py"), &json!(all));
    let (mut compared, mut reached) = (0, 0);
    for (index, (name, records)) in journals.iter().enumerate() {
        let account = Account::of(records).expect("it was opened");
        for measure in &account.measures {
            let known = STAGES.iter().find(|it| it.0 == measure.stage);
            let (_, key, shared) = known.expect("every stage has a name");
            let number = measure.casualty.max(1).to_string();
            let each = &found[index]["each"][&number];
            let line = match shared {
                true => &found[index]["shared"][key],
                false => &each[key],
            };
            let own = measure.at.map_or(Value::Null, |at| json!(at.0));
            assert_eq!(&own, line, "{name}: {key} of casualty {number}");
            if let Some(since_fall) = measure.since_fall {
                let fell = each["fell"].as_i64().expect("everybody fell");
                let at = line.as_i64().expect("it was reached");
                assert_eq!(since_fall.0, at - fell, "{name}: {key} since the fall");
                reached += 1;
            }
            compared += 1;
        }
    }
    assert!(compared > 130 && reached > 90, "{compared}, {reached}");
}
