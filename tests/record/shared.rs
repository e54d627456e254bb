//! Checks that an incident told without names names nobody, tells of nobody's health, and still replays.

use super::bundle::{key, made};
use groundward::incident::{Event, Opening, PlanStanding, Record, State};
use groundward::journal::bundle::Form;
use groundward::journal::chain::{Chain, FIRST_PREV};
use groundward::journal::disk::RealDisk;
use groundward::journal::read;
use groundward::plan;
use groundward::review;
use groundward::signal::Entry;
use groundward::words::Language;
use serde_json::{Value, json};
use std::path::Path;

pub(super) const GOLDEN: [&str; 2] = ["20261125T194636Z-7adc", "20261126T013609Z-6779"];

pub(super) fn golden(incident: &str) -> Vec<Record> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden");
    let found = read::read(&RealDisk, &[folder], incident).expect("the golden journal is there");
    let read = |it: &read::Record| Record::from_json(&it.text).expect("it can be read");
    found.records.iter().map(read).collect()
}

fn opening(records: &[Record]) -> &Opening {
    match &records[0].event {
        Event::Opened(opening) => opening,
        other => panic!("it begins with {other:?}"),
    }
}

/// What a reviewer writes names whom it will: none of it is shown.
#[test]
fn what_reviewers_wrote_by_hand_is_left_out() {
    let mut records = golden(GOLDEN[0]);
    let after: Vec<Event> = [
        json!({"kind": "reviewed", "body": {"text": "Alma was pale", "by": "Alma Quist"}}),
        json!({"kind": "found", "body": {"nature": "danger", "text": "Alma stood there", "by": "Alma Quist"}}),
        json!({"kind": "task-set", "body": {"text": "Ask Alma", "owner": {"named": "Alma Quist"}, "due": "2031-06-30", "by": "Alma Quist"}}),
        json!({"kind": "task-done", "body": {"task": 1, "by": "Alma Quist"}}),
    ]
    .into_iter()
    .map(|it| serde_json::from_value(it).expect("it is an event"))
    .collect();
    for event in after {
        let mut record = records.last().expect("there are some").clone();
        record.seq += 1;
        record.event = event;
        records.push(record);
    }
    let told = |records: &[Record]| {
        let lines = review::lines(records, Language::English).into_iter();
        let texts: Vec<String> = lines.map(|it| it.who + " " + &it.text).collect();
        texts.join("\n")
    };
    assert_eq!(
        told(&records).matches("Alma").count(),
        8,
        "{}",
        told(&records)
    );
    let shared = review::shared(&records);
    let said: Vec<String> = shared.iter().map(Record::to_json).collect();
    assert!(!said.join("\n").contains("Alma") && !told(&shared).contains("Alma"));
    let is_task = |it: &&Record| it.event.is_afterwards();
    assert_eq!(
        shared.iter().filter(is_task).count(),
        2,
        "the task and its end stay"
    );
}

/// The words of a text, in small letters: runs of letters, digits and hyphens.
fn words(text: &str) -> impl Iterator<Item = String> + '_ {
    let is_part = |it: char| it.is_alphanumeric() || it == '-';
    let parts = text.split(move |it| !is_part(it));
    parts.map(|it| it.trim_matches('-').to_lowercase())
}

/// Nobody's name or id and no condition stands anywhere in what is shown.
pub(super) fn names_nobody(shown: &str, of: &[Record]) {
    let opening = opening(of);
    let plan = plan::fit(&opening.plan_name, &opening.plan).expect("it was fit");
    let people = plan.responders.iter().flat_map(|it| [&it.id, &it.name]);
    let people: Vec<String> = people.map(|it| it.to_lowercase()).collect();
    let conditions = ["talking", "unwell", "not-answering"];
    for word in words(shown) {
        assert!(!people.contains(&word), "{word} is named");
        assert!(!conditions.contains(&word.as_str()), "{word} is said");
    }
}

#[test]
fn a_shared_rescue_names_nobody_and_tells_of_nobodys_health() {
    for incident in GOLDEN {
        let records = golden(incident);
        let shared = review::shared(&records);
        let said: Vec<String> = shared.iter().map(Record::to_json).collect();
        // The plan's methods ask something of the casualty, which says nothing of this one.
        let plan = opening(&shared).plan.clone();
        let without_plan =
            |it: &String| it.replace(&serde_json::to_string(&plan).expect("it is a text"), "");
        let said: Vec<String> = said.iter().map(without_plan).collect();
        names_nobody(&said.join("\n"), &records);
        let all = |it: &Record| {
            !matches!(
                it.event,
                Event::ConditionReported { .. }
                    | Event::AftercareAnswered { .. }
                    | Event::HandedOver { .. }
                    | Event::CareRefused {}
            )
        };
        assert!(shared.iter().all(all) && !records.iter().all(all));
        for language in Language::ALL_SPOKEN {
            let lines = review::lines(&shared, language);
            let told: Vec<&str> = lines.iter().flat_map(|it| [&*it.text, &*it.who]).collect();
            names_nobody(&told.join("\n"), &records);
            assert!(told.iter().any(|it| it.contains("person-1")));
        }
    }
}

#[test]
fn a_shared_plan_is_a_plan_and_names_nobody() {
    for incident in GOLDEN {
        let records = golden(incident);
        let shared = review::shared(&records);
        let (before, after) = (opening(&records), opening(&shared));
        assert_eq!(after.plan_standing, PlanStanding::Fit);
        let reading = plan::read("", after.plan.as_bytes());
        let (was, is) = (
            plan::fit("", &before.plan).expect("it was fit"),
            reading.plan.expect("it is a plan"),
        );
        let people = was.responders.iter().flat_map(|it| [&it.id, &it.name]);
        let people: Vec<String> = people.map(|it| it.to_lowercase()).collect();
        for word in words(&after.plan) {
            assert!(!people.contains(&word), "{word} is named in the plan");
        }
        assert!(!after.plan.contains('#'));
        assert_eq!(is.responders.len(), was.responders.len());
        assert!(is.responders.iter().all(|it| it.id == it.name));
        assert_eq!(is.positions.len(), was.positions.len());
        assert_eq!(is.positions[0].methods, was.positions[0].methods);
        assert_eq!(is.site.approved_by, None);
    }
}

#[test]
fn a_shared_rescue_has_the_same_times() {
    for incident in GOLDEN {
        let records = golden(incident);
        let shared = review::shared(&records);
        assert!(
            shared
                .windows(2)
                .all(|pair| pair[0].seq < pair[1].seq && pair[0].elapsed.0 >= 0)
        );
        let times = |records: &[Record]| {
            let state = State::replay(records.to_vec());
            let casualties = state.facts.casualties.iter();
            let times: Vec<_> = casualties
                .map(|it| (it.contact, it.off, it.landed))
                .collect();
            (
                times,
                state.facts.stood_down,
                state.facts.command.by.is_some(),
            )
        };
        assert_eq!(times(&shared), times(&records));
        // The same person has the same pseudonym throughout.
        let by = |records: &[Record]| -> Vec<Option<String>> {
            let orders = records.iter().filter_map(|it| match &it.event {
                Event::OrderGiven { posting, .. } => Some(posting.responder.clone()),
                _ => None,
            });
            let all: Vec<String> = orders.collect();
            let first = |it: &String| all.iter().position(|one| one == it);
            all.iter()
                .map(|it| first(it).map(|at| at.to_string()))
                .collect()
        };
        assert_eq!(by(&shared), by(&records));
    }
}

/// The first record of a golden journal, with more people in it, and these after it.
fn with_people(after: &[Value]) -> (Vec<Record>, Vec<String>) {
    let first = &golden(GOLDEN[0])[0];
    let mut opened: Value = serde_json::from_str(&first.to_json()).expect("it is JSON");
    opened["body"]["approval"] = json!({
        "plan_sha": "0", "plan_name": "Hill.toml", "site": "at Hill's", "revision": "1", "by": "ines", "name": "Ines",
        "wall_ms": 1, "offset_min": 0,
    });
    opened["body"]["shift"] = json!({
        "in-use": [{ "position": "silo3", "permit": "for Olga Hill", "workers": ["visitor-1"], "watcher": "sef" }],
        "visitors": [{ "id": "visitor-1", "name": "Olga Hill", "place": "yard" }],
        "signed": { "by": "ines", "wall-ms": 1, "until-ms": 2 },
    });
    let mut values = vec![opened.clone()];
    for (seq, it) in (1..).zip(after) {
        let mut value = opened.clone();
        value["seq"] = json!(seq);
        for (name, member) in it.as_object().expect("they are objects") {
            value[name.as_str()] = member.clone();
        }
        values.push(value);
    }
    let records = values
        .iter()
        .map(|it| Record::from_json(&it.to_string()).expect("it can be read"));
    let mut chain = Chain::after(FIRST_PREV);
    let lines = values.iter().map(|it| {
        let json = it.to_string();
        chain.seal(&Entry { seq: 0, json })
    });
    (records.collect(), lines.collect())
}

/// All that both shared forms show, but for the plan of the records.
fn shown(records: &[Record], lines: &[String]) -> [String; 2] {
    let bundle = String::from_utf8(made(lines, Form::Shared, &key())).expect("it is text");
    let shared = review::shared(records);
    let plan = serde_json::to_string(&opening(&shared).plan).expect("it is a text");
    let told: Vec<String> = shared.iter().map(Record::to_json).collect();
    [bundle, told.join("\n").replace(&plan, "")]
}

#[test]
fn what_a_newer_program_adds_is_hidden() {
    let (records, lines) = with_people(&[
        json!({ "kind": "wind-reported", "body": { "mm_s": 4711, "felt": "sesame" } }),
        json!({ "kind": "wind-felt", "body": { "mm_s": 4712 } }),
        json!({ "kind": "off-harness", "v": 2, "body": { "how": "sesame" } }),
        json!({ "kind": "noted", "body": { "note": "sesame" } }),
        json!({ "kind": "stood-down", "body": {}, "sesame": 1 }),
    ]);
    let [bundle, told] = shown(&records, &lines);
    for (text, name) in [(&bundle, "the bundle"), (&told, "the records")] {
        for hidden in ["sesame", "wind-felt", "4712", "off-harness"] {
            assert!(!text.contains(hidden), "{hidden} is shown in {name}");
        }
        assert!(
            text.contains("wind-reported") && text.contains("4711") && text.contains("stood-down")
        );
    }
}
