//! Compares the reader with its own schema, as a validator of another maker in another language applies it.
//!
//! Whatever the reader accepts, the schema accepts, so that an editor that knows the schema never marks a sound plan; and
//! what the schema refuses, the reader refuses with a finding. The other way round does not hold and is not asked: that a
//! name leads nowhere is beyond a schema.

use std::env;
use std::io::Write;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use groundward::plan::{BARE, DEMO, DEMO_BRIDGE, Kind, Level, read, schema};

use super::slips::{Edited, Slips};
use crate::support::plans::plan_toml;

/// The first Python on the path that has the validator: a machine may have one for each of several purposes.
fn python() -> PathBuf {
    let path = env::var_os("PATH").unwrap_or_default();
    let knows = |python: &PathBuf| {
        let tried = Command::new(python)
            .args(["-c", "import jsonschema, tomllib"])
            .stderr(Stdio::null())
            .status();
        tried.is_ok_and(|status| status.success())
    };
    env::split_paths(&path)
        .map(|folder| folder.join("python3"))
        .find(knows)
        .expect("a python3 with jsonschema and tomllib is installed for this check")
}

/// What the validator says of each plan file.
fn judged(plans: &[&str]) -> Vec<String> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/plan/schema.py");
    let mut child = Command::new(python())
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("what was found can be started");
    let schema = schema().to_string();
    let lines = [&*schema].into_iter().chain(plans.iter().copied());
    let lines: Vec<String> = lines
        .map(|text| serde_json::to_string(text).expect("a text can be written as JSON") + "\n")
        .collect();
    let mut stdin = child.stdin.take().expect("the input was asked for");
    // Whoever answers line by line waits when nobody reads, so both ends are held at once.
    let writing = std::thread::spawn(move || stdin.write_all(lines.concat().as_bytes()));
    let output = child.wait_with_output().expect("the validator ends");
    assert!(output.status.success(), "the schema is not valid");
    let written = writing.join().expect("the writer does not panic");
    written.expect("the validator reads to the end");
    let said = String::from_utf8(output.stdout).expect("the validator writes text");
    let said: Vec<String> = said.lines().map(str::to_owned).collect();
    assert_eq!(said.len(), plans.len());
    said
}

#[test]
fn the_schema_accepts_the_built_in_plans_and_a_hundred_made_ones() {
    let made: Vec<String> = (0..100).map(plan_toml).collect();
    let all = [DEMO, DEMO_BRIDGE, BARE].into_iter();
    let all: Vec<&str> = all.chain(made.iter().map(String::as_str)).collect();
    for (plan, said) in all.iter().zip(judged(&all)) {
        assert_eq!(said, "accepts", "{plan}");
    }
}

/// The plan with each of its positions alone: as many keys, and a third of the time to judge it.
fn by_position(plan: &str) -> Vec<String> {
    let is_position = |at: &usize| {
        let header = plan[at + 1..].lines().next().unwrap_or_default();
        header.matches('.').count() == 1
    };
    let found = plan.match_indices("\n[position.").map(|(at, _)| at);
    let starts: Vec<usize> = found.filter(is_position).collect();
    let ends = starts[1..].iter().copied().chain([plan.len()]);
    let sections = starts
        .iter()
        .zip(ends)
        .map(|(start, end)| &plan[*start..end]);
    sections
        .map(|section| format!("{}{section}", &plan[..starts[0]]))
        .collect()
}

#[track_caller]
fn compare(plan: &str, numbers: Range<u64>) {
    let (plans, count) = (by_position(plan), numbers.end - numbers.start);
    assert!(
        plans
            .iter()
            .all(|plan| read("part.toml", plan.as_bytes()).plan.is_some())
    );
    let slips: Vec<Slips> = plans.iter().map(|plan| Slips::of(plan)).collect();
    let edited = numbers.zip(slips.iter().cycle());
    let edited: Vec<Edited> = edited.map(|(number, slips)| slips.slip(number)).collect();
    let texts: Vec<&str> = edited.iter().map(|it| it.text.as_str()).collect();
    let (mut by_schema, mut by_reader) = (0_u64, 0_u64);
    for (edited, said) in edited.iter().zip(judged(&texts)) {
        let findings = read("slip.toml", edited.text.as_bytes()).findings;
        let errors: Vec<_> = findings
            .iter()
            .filter(|it| it.level == Level::Error)
            .collect();
        by_reader += u64::from(!errors.is_empty());
        if said == "no TOML" {
            let toml = [Kind::Syntax, Kind::DuplicateId].map(Kind::id);
            assert!(
                errors.iter().any(|it| toml.contains(&it.id)),
                "{} is TOML only for the reader: {errors:#?}",
                edited.slip
            );
        } else if said != "accepts" {
            assert!(
                !errors.is_empty(),
                "{} is refused by the schema alone: {said}",
                edited.slip
            );
            by_schema += 1;
        }
    }
    // A schema that accepts anything would pass all of this.
    assert!(
        by_schema * 4 > count,
        "the schema refuses {by_schema} of {count}"
    );
    assert!(
        by_reader > by_schema,
        "the reader refuses {by_reader} of {count}"
    );
}

#[test]
fn whenever_the_schema_refuses_a_slip_the_reader_does() {
    compare(DEMO, 2_000..2_500);
}

#[test]
fn whenever_the_schema_refuses_a_slip_on_the_bridge_the_reader_does() {
    compare(DEMO_BRIDGE, 2_500..3_000);
}
