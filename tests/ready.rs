//! Asks the program itself how ready a site is: its answers for people and programs, its exit codes, its one-line mistakes.

use std::path::Path;
use std::process::Command;

use groundward::plan::{DEMO, read_on};
use serde_json::Value;

use crate::support::day;

/// The day on which the demo site is looked at.
const DAY: &str = "2026-11-25";

/// Exit code, standard output and standard error of `groundward ready`.
fn ready(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_groundward"))
        .args(["ready", "--demo", "--date", DAY])
        .args(arguments)
        .output()
        .expect("the program starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("it writes UTF-8");
    let code = output.status.code().expect("it ends by itself");
    (code, text(output.stdout), text(output.stderr))
}

fn json(arguments: &[&str]) -> (i32, Value) {
    let (code, out, _) = ready(&[arguments, &["--format", "json"]].concat());
    (
        code,
        serde_json::from_str(&out).expect("it is one JSON object"),
    )
}

fn position<'v>(said: &'v Value, id: &str) -> &'v Value {
    let all = said["positions"].as_array().expect("there are positions");
    let found = all.iter().find(|it| it["id"] == id);
    found.unwrap_or_else(|| panic!("{id} is not in it"))
}

#[test]
fn a_program_gets_every_position_with_numbers_that_belong_together() {
    let plan = read_on("demo", DEMO.as_bytes(), day())
        .plan
        .expect("it is fit");
    let (code, said) = json(&[]);
    assert_eq!(code, 1, "two places of the demo are not ready");
    assert_eq!(
        (&said["format"], &said["invented"]),
        (&1.into(), &true.into())
    );
    assert_eq!(said["target_ms"], plan.policy.target.0);
    let all = said["positions"].as_array().expect("there are positions");
    assert_eq!(all.len(), plan.positions.len());
    for (it, planned) in all.iter().zip(&plan.positions) {
        assert_eq!(it["id"], planned.id.as_str());
        let methods = it["methods"].as_array().expect("a list");
        assert_eq!(methods.len(), planned.methods.len());
        let Some(draws) = it["distribution"]["draws"].as_array() else {
            assert_eq!(it["grade"], "not-ready");
            continue;
        };
        let draws: Vec<i64> = draws
            .iter()
            .map(|it| it.as_i64().expect("a count"))
            .collect();
        let whole: i64 = draws.iter().sum();
        assert_eq!(whole, 10_000);
        // Bars of 30 s and the chance by the target tell the same: 9 min are 18 bars.
        let by_target: i64 = draws[..18].iter().sum();
        let chance = it["expected"]["chance_ppm"].as_i64().expect("a chance");
        assert_eq!(by_target * 100, chance, "{it}");
        let shares = methods.iter().filter_map(|it| it["share_ppm"].as_i64());
        let never = it["distribution"]["never_ppm"].as_i64().expect("a share");
        let all: i64 = shares.sum::<i64>() + never;
        assert!((999_990..=1_000_010).contains(&all), "{all}");
        let (likely, bad) = (&it["expected"]["likely_ms"], &it["expected"]["bad_day_ms"]);
        assert!(bad.is_null() || likely.as_i64() <= bad.as_i64());
    }
}

#[test]
fn the_same_question_gets_the_same_answer() {
    assert_eq!(ready(&["--format", "json"]), ready(&["--format", "json"]));
}

#[test]
fn the_exit_code_is_that_of_the_places_asked_for() {
    assert_eq!(ready(&["--position", "silo7"]).0, 0);
    assert_eq!(ready(&["--position", "Silo 7 wall, painting ropes"]).0, 0);
    assert_eq!(ready(&["--position", "canopy"]).0, 1);
}

#[test]
fn wind_people_and_kit_that_are_missing_are_counted() {
    let lift = |said: &Value| {
        let methods = position(said, "silo3")["methods"].as_array().cloned();
        let methods = methods.expect("a list");
        methods
            .into_iter()
            .find(|it| it["id"] == "boom-lift")
            .expect("it has one")
    };
    let calm = lift(&json(&["--wind", "5"]).1);
    assert!(
        calm["unfit"].is_null() && calm["place_in_order"] == 0,
        "{calm}"
    );
    for wind in ["14", "14 m/s", "51 km/h"] {
        let windy = lift(&json(&["--wind", wind]).1);
        assert!(
            windy["place_in_order"].is_null() && !windy["unfit"].is_null(),
            "{windy}"
        );
    }
    let without = lift(&json(&["--without", "boom lift"]).1);
    assert_eq!(without["no_kit"], serde_json::json!(["boom lift"]));
    let (_, absent) = json(&["--absent", "Rua"]);
    assert!(!absent["present"].to_string().contains("\"rua\""));
    assert!(!absent["positions"].to_string().contains("\"rua\""));
    let likely = |said: &Value| {
        let likely = position(said, "silo3")["expected"]["likely_ms"].as_i64();
        likely.expect("half of the rescues succeed")
    };
    // Everything but the alarm takes the policy's 1.3 times as long in the dark.
    let (light, dark) = (likely(&json(&[]).1), likely(&json(&["--dark"]).1));
    assert!(
        light * 12 / 10 < dark && dark < light * 13 / 10,
        "{light} {dark}"
    );
}

#[test]
fn what_would_help_is_named_with_its_error() {
    let (_, said) = json(&["--what-if", "--absent", "rua", "--absent", "tove"]);
    let all = said["what_if"].as_array().expect("it was asked for");
    assert!(all.len() > 50);
    let best = &all[0];
    assert_eq!(best["measurable"], true);
    assert!(
        best["what"]
            .as_str()
            .is_some_and(|it| it.starts_with("one more with")),
        "{best}"
    );
    let gain = |it: &Value| it["gain_ppm"].as_i64().expect("a number");
    let measurable: Vec<i64> = all
        .iter()
        .filter(|it| it["measurable"] == true)
        .map(gain)
        .collect();
    assert!(
        measurable.is_sorted_by(|a, b| a >= b),
        "best first: {measurable:?}"
    );
}

#[test]
fn a_mistake_is_one_sentence_that_says_what_there_is() {
    for (arguments, said) in [
        (
            ["--position", "silo9"],
            "no position of the plan is called silo9; there are silo3, ",
        ),
        (
            ["--absent", "Nobody"],
            "nobody in the plan is called Nobody; there are Rua, ",
        ),
        (
            ["--without", "crane"],
            "no kit in the plan is called crane; the kinds are ",
        ),
        (
            ["--report", "no/such/folder/r.html"],
            "no/such/folder/r.html cannot be written: ",
        ),
    ] {
        let (code, out, wrong) = ready(&arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}");
        assert!(wrong.contains(said), "{wrong}");
        assert_eq!(wrong.lines().count(), 1, "{wrong}");
    }
    let (code, _, wrong) = ready(&["--wind", "strong"]);
    assert_eq!(code, 2);
    assert!(wrong.contains("strong"), "{wrong}");
}

#[test]
fn the_report_is_one_file_with_every_place() {
    let folder = tempfile::tempdir().expect("a folder can be made");
    let file = folder.path().join("readiness.html");
    let path = |it: &Path| it.to_str().expect("it is UTF-8").to_owned();
    let (code, _, wrong) = ready(&["--report", &path(&file)]);
    assert_eq!((code, wrong.as_str()), (1, ""));
    let html = std::fs::read_to_string(&file).expect("it was written");
    assert!(html.starts_with("<!doctype html>") || html.starts_with("<!DOCTYPE html>"));
    let plan = read_on("demo", DEMO.as_bytes(), day())
        .plan
        .expect("it is fit");
    for position in &plan.positions {
        assert!(html.contains(&position.name), "{}", position.name);
    }
    assert!(html.contains("<svg") && !html.contains("<script"));
}
