//! Holds the fall arithmetic of a plan to published worked examples, and its limits to the pairs as published.
//!
//! Local codes and the maker's instructions go first; these are the defaults of the policy.

use groundward::plan::{Kind, Policy, free_fall, read_on, swing_drop};
use groundward::units::{Millimetres, Written, read as quantity};

use crate::support::day;

const SOUND: &str = include_str!("sound.toml");

fn length(text: &str) -> Millimetres {
    let written: Written<Millimetres> = quantity(text).expect("it is a length");
    written.value
}

/// The ids that are found after some changes of the sound plan.
fn found(changes: &[(&str, &str)]) -> Vec<&'static str> {
    let text = changes.iter().fold(SOUND.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replacen(from, to, 1)
    });
    let findings = read_on("site.toml", text.as_bytes(), day()).findings;
    findings.iter().map(|finding| finding.id).collect()
}

#[test]
fn the_free_fall_follows_from_lanyard_and_anchorage() {
    // K6: mechanics, set-up as in the OSHA Technical Manual: a 6 ft lanyard falls 2, 6 and 11 ft.
    let lanyard = length("6 ft");
    assert_eq!(free_fall(lanyard, length("4 ft")), Millimetres(610));
    assert_eq!(free_fall(lanyard, Millimetres::ZERO), length("6 ft"));
    let below = Millimetres(-length("5 ft").0);
    assert_eq!(free_fall(lanyard, below), length("11 ft"));
    assert_eq!(
        free_fall(lanyard, length("7 ft")),
        Millimetres::ZERO,
        "never below nothing"
    );
    // Level with the ring 6 ft pass, although they are more than the 1.8 m of the same limit.
    assert_eq!(found(&[]), [] as [&str; 0]);
    assert_eq!(
        found(&[("length = \"6 ft\"", "length = \"1.8 m\"")]),
        [] as [&str; 0]
    );
    let metres = [("length = \"6 ft\"", "length = \"1.83 m\"")];
    assert!(found(&metres).contains(&Kind::FreeFallLong.id()));
    let deep = [(
        "anchor_above_ring = \"0 ft\"",
        "anchor_above_ring = \"-5 ft\"",
    )];
    assert!(
        found(&deep).contains(&Kind::FreeFallLong.id()),
        "11 ft are refused"
    );
}

#[test]
fn the_swing_adds_what_geometry_says() {
    // K7: H 12 ft, x 5 ft: 13 - 12 = 1.00 ft.
    let drop = swing_drop(length("12 ft"), length("5 ft"));
    assert!((drop.0 - length("1 ft").0).abs() <= 1, "{drop:?}");
    assert_eq!(
        swing_drop(length("12 ft"), Millimetres::ZERO),
        Millimetres::ZERO
    );
}

#[test]
fn the_clearance_is_the_worked_example() {
    // K5: OSHA Technical Manual, section V chapter 4: 6 + 3.5 + 1 + 5 + 3 = 18.5 ft.
    let policy = Policy::default();
    let parts = ["6 ft", "3.5 ft"].map(length).map(|it| it.0);
    let sum = parts[0]
        + parts[1]
        + policy.ring_shift.0
        + policy.ring_height.0
        + policy.clearance_margin.0;
    assert!((sum - length("18.5 ft").0).abs() <= 2, "{sum}");
    let with = |clearance: &str| {
        found(&[(
            "clearance = \"18.5 ft\"",
            &format!("clearance = \"{clearance}\""),
        )])
    };
    assert_eq!(with("18.5 ft"), [] as [&str; 0]);
    assert_eq!(with("18.4 ft"), [Kind::ClearanceShort.id()]);
}

#[test]
fn the_limits_are_the_published_pairs() {
    // K1, K2, K4: 29 CFR 1926.502(d)(15) and (16), 1910.140: each side of a pair passes in its own unit, and no more.
    let cases = [
        (
            "name = \"roof anchor 1\"\nstrength = \"5000 lbf\"",
            "name = \"roof anchor 1\"\nstrength = ",
            ["5000 lbf", "22.2 kN"],
            ["4999 lbf", "22.1 kN"],
            Kind::AnchorageWeak,
        ),
        (
            "force = \"6 kN\"",
            "force = ",
            ["1800 lbf", "8 kN"],
            ["1801 lbf", "8.01 kN"],
            Kind::ArrestForceHigh,
        ),
        (
            "deceleration = \"3.5 ft\"\nforce = \"6 kN\"\nclearance = \"18.5 ft\"",
            "deceleration = ",
            ["3.5 ft", "1.07 m"],
            ["3.6 ft", "1.08 m"],
            Kind::DecelerationLong,
        ),
        (
            "heaviest = \"120 kg\"",
            "heaviest = ",
            ["310 lb", "140 kg"],
            ["311 lb", "140.1 kg"],
            Kind::TooHeavy,
        ),
    ];
    for (from, key, pass, fail, kind) in cases {
        for text in pass {
            let to = format!("{key}\"{text}\"");
            assert_eq!(found(&[(from, &to)]), [] as [&str; 0], "{text}");
        }
        for text in fail {
            let to = format!("{key}\"{text}\"");
            assert_eq!(found(&[(from, &to)]), [kind.id()], "{text}");
        }
    }
    // K14: 29 CFR 1910.27(b)(2)(i), rope descent not above 300 ft (91 m): a height is computed, so the lenient one counts.
    let high = |feet: &str| {
        found(&[(
            "feet_above_ground = \"8 m\"",
            &format!("feet_above_ground = \"{feet}\""),
        )])
    };
    assert_eq!(high("91 m"), [] as [&str; 0]);
    assert_eq!(high("300 ft"), [] as [&str; 0]);
    assert_eq!(high("301 ft"), [Kind::RopeDescentHigh.id()]);
    // K14: 29 CFR 1910.146(k)(3)(ii), a vertical entry deeper than 5 ft needs mechanical retrieval.
    let space = |depth: &str| {
        let table = format!(
            "[position.edge.confined_space]\nattendant = \"rope\"\nconditions = [\"air tested\"]\ndepth = \"{depth}\"\n\n[position.edge.anchorage]"
        );
        found(&[("[position.edge.anchorage]", &table)])
    };
    assert_eq!(space("5 ft"), [] as [&str; 0]);
    assert_eq!(space("5.1 ft"), [Kind::NoRetrieval.id()]);
}

#[test]
fn connectors_lock_by_themselves() {
    // K3: 29 CFR 1926.502(d)(4) to (12).
    assert_eq!(
        found(&[("self_locking = true\n", "")]),
        [Kind::ConnectorNotLocking.id()]
    );
    // And hold 5,000 lbf; a self-retracting line that limits the free fall to 2 ft, 3,000 lbf.
    let line = |fall: &str, strength: &str| {
        let arrest = format!(
            "kind = \"self-retracting\"\nfree_fall = \"{fall}\"\nstrength = \"{strength}\""
        );
        found(&[("kind = \"lanyard\"\nlength = \"6 ft\"", &arrest)])
    };
    assert_eq!(line("2 ft", "3000 lbf"), [] as [&str; 0]);
    assert_eq!(line("2 ft", "2999 lbf"), [Kind::ConnectorWeak.id()]);
    assert_eq!(line("3 ft", "4999 lbf"), [Kind::ConnectorWeak.id()]);
    assert_eq!(line("3 ft", "5000 lbf"), [] as [&str; 0]);
}

#[test]
fn several_people_on_one_anchorage_each_need_its_strength() {
    // K1: per person attached.
    let two = |strength: &str| {
        found(&[(
            "name = \"roof anchor 1\"\nstrength = \"5000 lbf\"",
            &format!("name = \"roof anchor 1\"\npersons = 2\nstrength = \"{strength}\""),
        )])
    };
    assert_eq!(two("10000 lbf"), [] as [&str; 0]);
    assert_eq!(two("44.4 kN"), [] as [&str; 0]);
    assert_eq!(two("9999 lbf"), [Kind::AnchorageWeak.id()]);
    // Or designed by a qualified person with a factor of at least 2.
    let engineered = |factor: &str| {
        found(&[(
            "name = \"roof anchor 1\"\nstrength = \"5000 lbf\"",
            &format!("name = \"roof anchor 1\"\nengineered = \"{factor}\""),
        )])
    };
    assert_eq!(engineered("2 x"), [] as [&str; 0]);
    assert_eq!(engineered("200 %"), [] as [&str; 0]);
    assert_eq!(engineered("1.99 x"), [Kind::AnchorageWeak.id()]);
}
