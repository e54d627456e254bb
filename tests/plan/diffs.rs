//! Compares plans, and looks for what is told without need and for what is not told.
//!
//! What a comparison must be whatever the plans are, is tried on plans made from a number and on random edits of the
//! built-in ones: nothing between a plan and itself, the mirror image the other way round, one line for one change.

use std::collections::BTreeMap;

use groundward::plan::{Area, Change, DEMO, Edit, What, diff, in_json, in_words, read};

use super::by_values::{AWKWARD, accepted, done, files, ids, item, remove, rename, set, table};
use crate::support::plans::plan_toml;

#[track_caller]
fn changes(a: &str, b: &str) -> Vec<Change> {
    diff(a, b).expect("both are TOML")
}

/// The lines for people, without the headings.
#[track_caller]
fn lines(a: &str, b: &str) -> Vec<String> {
    changes(a, b).iter().map(ToString::to_string).collect()
}

#[track_caller]
fn after(text: &str, edits: &[Edit]) -> String {
    done(text, edits).text
}

/// The text after replacements that must be possible.
#[track_caller]
fn with(text: &str, swaps: &[(&str, &str)]) -> String {
    swaps.iter().fold(text.to_owned(), |text, (from, to)| {
        assert_eq!(text.matches(from).count(), 1, "{from:?}");
        text.replacen(from, to, 1)
    })
}

#[track_caller]
fn mean_the_same(a: &str, b: &str) {
    assert_eq!(lines(a, b), Vec::<String>::new());
    assert_eq!(lines(b, a), Vec::<String>::new());
}

/// A change as it looks from the other side; what it is called follows the plan it is in, and is left out.
fn mirrored(change: &Change) -> Change {
    let what = match change.what.clone() {
        What::Added(value) => What::Removed(value),
        What::Removed(value) => What::Added(value),
        What::Changed { was, now } => What::Changed { was: now, now: was },
        What::Moved { was, now } => What::Moved { was: now, now: was },
        What::Renamed { was, now } => What::Renamed { was: now, now: was },
    };
    Change {
        was_at: change.at.clone(),
        at: change.was_at.clone(),
        what,
        ..unnamed(change)
    }
}

fn unnamed(change: &Change) -> Change {
    Change {
        subject: String::new(),
        ..change.clone()
    }
}

fn sorted(mut changes: Vec<Change>) -> Vec<String> {
    changes.sort_by_key(|it| (it.area, it.at.clone(), it.was_at.clone(), it.key.clone()));
    let mut shown: Vec<String> = changes.iter().map(|it| format!("{it:?}")).collect();
    shown.sort();
    shown
}

#[track_caller]
fn mirrors(a: &str, b: &str) {
    let there: Vec<Change> = changes(a, b).iter().map(mirrored).collect();
    let back: Vec<Change> = changes(b, a).iter().map(unnamed).collect();
    assert_eq!(sorted(there), sorted(back));
}

#[test]
fn a_plan_means_the_same_as_itself() {
    for (_, text) in files() {
        mean_the_same(&text, &text);
    }
    for seed in 0..20 {
        mean_the_same(&plan_toml(seed), &plan_toml(seed));
    }
    let [plain, crlf] = [&files()[3].1, &files()[4].1].map(Clone::clone);
    mean_the_same(&plain, &crlf);
}

#[test]
fn another_way_to_say_the_same_is_no_difference() {
    let same = with(
        AWKWARD,
        &[
            ("\"1200 cm\"", "\"12 m\""),
            ("change_after = \"3 min 30 s\"", "change_after = \"210 s\""),
            (
                "[\"20 s\", \"40 s\", \"80 s\"]\n\n    # Indented",
                "[\"20 s\",\n  '40 s', # likely\n \"1 min 20 s\"]\n\n    # Else",
            ),
            (
                "kit.ladder = { name = \"ladder 1\"",
                "kit.ladder = { count = 1, name = \" ladder 1 \"",
            ),
            (
                "height_capable = true",
                "height_capable = true, arrival = [\"10 min\", \"20 min\", \"1800 s\"]",
            ),
            ("rise = \"10 m\"", "rise = \"1000 cm\", no_litter = false"),
            ("walk . length", "walk . rise = \"0 ft\"\nwalk . length"),
            ("strength = \"5000 lbf\"", "strength = '5000.0 lbf'"),
            (
                "needs = [\"answering\", \"climbing\"]",
                "needs = [\"climbing\", \"answering\"]\nlowers = false",
            ),
            ("languages = []\n", ""),
            (
                "[site]\n",
                "[policy]\ntarget = \"540 s\"\nfree_fall = [\"6 ft\", \"180 cm\"]\norder_time = [\"3 s\", \"6 s\", \"15 s\"]\n\n[site]\n",
            ),
            (
                "\"abe\", # the first\n\n    # the second\n    \"bea\"",
                "\"bea\", \"abe\"",
            ),
            (
                "qualifications = [\"boom lift\"]",
                "qualifications = [{ name = \"boom lift\" }]",
            ),
            ("[\"0 m\", \"-2 m\"]", "[\"0 in\", \"-200 cm\"]"),
        ],
    );
    let arrival = with(
        AWKWARD,
        &[(
            "height_capable = true",
            "height_capable = true, arrival = [\"10 min\", \"20 min\", \"30 min\"]",
        )],
    );
    mean_the_same(&arrival, &same);
}

#[test]
fn feet_are_not_metres_where_limits_are_published_in_both() {
    // 6 ft is within a limit of 6 ft, and 1.8288 m is not within 1.8 m: figures.md, K2 and K6.
    let metric = with(
        AWKWARD,
        &[("strength = \"5000 lbf\"", "strength = \"22.2411 kN\"")],
    );
    assert_eq!(
        lines(AWKWARD, &metric),
        ["Roof edge: anchorage: strength 22.2411 kN, was 5000 lbf"]
    );
    let feet = with(AWKWARD, &[("\"1200 cm\"", "\"39 ft 4.4409 in\"")]);
    mean_the_same(AWKWARD, &feet);
}

#[test]
fn the_order_of_tables_and_comments_are_no_difference() {
    for text in [DEMO.to_owned(), plan_toml(3)] {
        let mut blocks: Vec<String> = Vec::new();
        for line in text.lines().filter(|line| !line.starts_with('#')) {
            if line.starts_with('[') || blocks.is_empty() {
                blocks.push(String::new());
            }
            if let Some(last) = blocks.last_mut() {
                last.push_str(&format!("{line}\n"));
            }
        }
        // Steps and methods keep their order; all else may stand anywhere below the first lines.
        let root = blocks.remove(0);
        let (mut methods, mut tables): (Vec<String>, Vec<String>) =
            blocks.into_iter().partition(|it| {
                it.lines()
                    .next()
                    .is_some_and(|header| header.contains(".method."))
            });
        tables.sort();
        tables.append(&mut methods);
        mean_the_same(&text, &format!("{root}{}", tables.concat()));
    }
}

#[test]
fn the_order_of_methods_means_something_within_a_rung_only() {
    let two = table(
        "position.roof.method.crane",
        &[
            ("name", "\"crane\""),
            ("rung", "\"mechanically-aided\""),
            ("change_after", "\"4 min\""),
        ],
    );
    let step = table(
        "position.roof.method.crane.step",
        &[
            ("say", "\"lift\""),
            ("done", "\"Lifted\""),
            ("time", "[\"1 s\", \"2 s\", \"3 s\"]"),
            ("milestone", "\"off-harness\""),
        ],
    );
    let text = after(AWKWARD, &[two, step]);
    let start = text
        .find("[position.roof.method.crane]")
        .expect("it is there");
    let end = start
        + text[start..]
            .find("\n\n[site]")
            .or_else(|| text[start..].find("\n# The end"))
            .expect("it ends");
    let block = text[start..end].to_owned();
    let first = text.replace(&block, "");
    let first = with(
        &first,
        &[(
            "[position.roof.method]\n",
            &format!("{block}\n\n[position.roof.method]\n"),
        )],
    );
    assert_eq!(
        read("site.toml", first.as_bytes())
            .plan
            .map(|it| it.positions[0].methods.len()),
        Some(3)
    );
    assert_eq!(
        lines(&text, &first),
        [
            "Roof edge: order of the methods for mechanically-aided crane, boom lift, was boom lift, crane"
        ]
    );
    mirrors(&text, &first);
}

#[test]
fn a_change_is_told_by_its_key_with_both_values_as_written() {
    let one = |edit: Edit| lines(AWKWARD, &after(AWKWARD, &[edit])).join("\n");
    let step = "Roof edge: ladder: step 2 \"ask for a hand on the ladder\"";
    assert_eq!(
        one(set(
            "position.roof.method.ladder.step.2.time",
            "[\"5 s\", \"12 s\", \"30 s\"]"
        )),
        format!("{step}: likely time 12 s, was 10 s")
    );
    assert_eq!(
        one(set("position.roof.method.ladder.step.2.near", "false")),
        format!("{step}: near false, was true")
    );
    assert_eq!(
        one(remove("position.roof.method.ladder.step.2.near")),
        format!("{step}: near false (left out), was true")
    );
    assert_eq!(
        one(set(
            "position.roof.method.ladder.step.2.caution",
            "\"Slowly.\""
        )),
        format!("{step}: caution \"Slowly.\", was left out")
    );
    assert_eq!(
        one(set(
            "position.roof.method.ladder.step.2.fallback.1.who",
            "\"first\""
        )),
        format!(
            "{step}: if that fails 1 \"call through the loudhailer\": role \"first\", was left out"
        )
    );
    assert_eq!(
        one(set("position.roof.method.ladder.change_after", "\"4 min\"")),
        "Roof edge: ladder: change-by time 4 min, was 3 min 30 s"
    );
    assert_eq!(
        one(set("position.roof.method.ladder.rung", "\"pick-off\"")),
        "Roof edge: ladder: rung pick-off, was assisted-self-rescue"
    );
    assert_eq!(
        one(set("position.roof.hazard.fan.proof", "\"tried\"")),
        "Roof edge: hazard fan: proof \"tried\", was left out"
    );
    assert_eq!(
        one(set("position.roof.approach", "\"gate\"")),
        "Roof edge: approach \"gate\", was \"stair-head\""
    );
    assert_eq!(
        one(set("position.roof.name", "\"Edge\"")),
        "Edge: name \"Edge\", was \"Roof edge\""
    );
    assert_eq!(
        one(remove("position.roof.anchorage")),
        "Roof edge: anchorage: removed"
    );
    assert_eq!(
        one(table("position.roof.arrest", &[("kind", "\"lanyard\"")])),
        "Roof edge: arrest: added"
    );
    assert_eq!(
        one(set(
            "responder.abe.qualifications.2.until",
            "\"2037-01-01\""
        )),
        "Abe: qualification \"first aid\": until 2037-01-01, was 2036-05-31"
    );
    assert_eq!(
        one(remove("responder.abe.qualifications.1")),
        "Abe: qualification \"boom lift\": removed"
    );
    assert_eq!(
        one(set("responder.abe.qualifications.1", "\"crane\"")),
        "Abe: qualification \"crane\": name \"crane\", was \"boom lift\""
    );
    assert_eq!(
        one(set("station.a.kit.lift.count", "2")),
        "station A: boom lift 1: count 2, was 1 (left out)"
    );
    assert_eq!(
        one(set("site.invented", "false")),
        "site: invented false, was true"
    );
    assert_eq!(
        one(set("policy.target", "\"8 min\"")),
        "policy: target 8 min, was 9 min (left out)"
    );
    assert_eq!(
        one(set("policy.free_fall", "\"5 ft\"")),
        "policy: free fall 5 ft, was 6 ft or 1.8 m (left out)"
    );
    assert_eq!(
        one(set("policy.order_time", "[\"3 s\", \"7 s\", \"15 s\"]")),
        "policy: likely order time 7 s, was 6 s (left out)"
    );
    assert_eq!(
        one(set("place.gate.at", "[\"1 m\", \"-2 m\"]")),
        "the gate: at 1 m, -2 m, was 0 m, -2 m"
    );
    assert_eq!(
        one(set("link.stair.closed", "\"wet paint\"")),
        "stairs from the gate to the stair head: closed \"wet paint\", was left out"
    );
    assert_eq!(
        one(set(
            "outside_rescue.brigade.arrival",
            "[\"8 min\", \"9 min\", \"20 min\"]"
        )),
        "fire service: arrival 8 min, 9 min, 20 min, was left out"
    );
    assert_eq!(
        one(table("outside_rescue.boat", &[("name", "\"lifeboat\"")])),
        "lifeboat: added"
    );
    assert_eq!(
        one(set("position.roof.workers.1", "\"dee\"")),
        "Roof edge: workers \"dee\", was \"abe\""
    );
    assert_eq!(
        one(item(
            "position.roof.method.ladder.stop_if",
            "\"wind rises\""
        )),
        "Roof edge: ladder: stop if: \"wind rises\" added"
    );
    assert_eq!(
        one(remove("position.roof.method.ladder.needs.1")),
        "Roof edge: ladder: needs: answering removed"
    );
}

#[test]
fn the_example_of_a_line_is_told_so() {
    let plan = read("site.toml", DEMO.as_bytes())
        .plan
        .expect("the demo is fit");
    let method = plan
        .position("silo3")
        .and_then(|it| it.method("ladder"))
        .expect("it is there");
    let (index, step) = (1..).zip(&method.steps).nth(2).expect("it has three steps");
    let name = &plan.position("silo3").expect("it is there").name;
    let was = step.time.likely.0 / 1_000;
    let path = format!("position.silo3.method.ladder.step.{index}.time.2");
    let text = after(DEMO, &[set(&path, &format!("\"{} s\"", was + 1))]);
    let [change] = &changes(DEMO, &text)[..] else {
        panic!("one change")
    };
    assert_eq!(
        change.to_string(),
        format!(
            "{name}: ladder: step 3 \"{}\": likely time {} s, was {was} s",
            step.say,
            was + 1
        )
    );
    assert_eq!(
        (change.area, change.at.as_deref(), change.was_at.as_deref()),
        (Area::Position, Some(path.as_str()), Some(path.as_str()))
    );
}

#[test]
fn one_step_more_or_less_or_elsewhere_is_one_line() {
    let step = [
        ("say", "\"wait for calm\""),
        ("done", "\"It is calm\""),
        ("time", "[\"1 s\", \"2 s\", \"3 s\"]"),
    ];
    for number in 1..=4 {
        let text = after(
            AWKWARD,
            &[table(
                &format!("position.roof.method.ladder.step.{number}"),
                &step,
            )],
        );
        assert_eq!(
            lines(AWKWARD, &text),
            [format!(
                "Roof edge: ladder: step {number} \"wait for calm\": added"
            )]
        );
        assert_eq!(
            lines(&text, AWKWARD),
            [format!(
                "Roof edge: ladder: step {number} \"wait for calm\": removed"
            )]
        );
    }
    let steps: Vec<&str> = AWKWARD
        .lines()
        .filter(|line| line.starts_with("    { "))
        .collect();
    let [first, second, third] = steps[..] else {
        panic!("{steps:?}")
    };
    let in_order = |order: [&str; 3]| {
        let lines = order.map(|step| {
            format!(
                "{},\n",
                step.trim_end_matches("# careful")
                    .trim_end()
                    .trim_end_matches(',')
            )
        });
        let start = AWKWARD.find(first).expect("it is there");
        let end = AWKWARD.find(third).expect("it is there") + third.len() + 1;
        format!("{}{}{}", &AWKWARD[..start], lines.concat(), &AWKWARD[end..])
    };
    mean_the_same(AWKWARD, &in_order([first, second, third]));
    let last_first = in_order([third, first, second]);
    assert_eq!(
        lines(AWKWARD, &last_first),
        ["Roof edge: boom lift: step 1 \"come down\": now number 1, was 3"]
    );
    assert_eq!(
        lines(AWKWARD, &in_order([second, third, first])),
        ["Roof edge: boom lift: step 3 \"bring the basket up\": now number 3, was 1"]
    );
    for order in [
        [second, first, third],
        [third, second, first],
        [first, third, second],
    ] {
        let moved = in_order(order);
        assert!((1..=2).contains(&lines(AWKWARD, &moved).len()));
        mirrors(AWKWARD, &moved);
    }
    // Said otherwise, it is still the same step.
    let said = with(
        AWKWARD,
        &[("say = \"come down\"", "say = \"lower the basket\"")],
    );
    assert_eq!(
        lines(AWKWARD, &said),
        [
            "Roof edge: boom lift: step 3 \"lower the basket\": say \"lower the basket\", was \"come down\""
        ]
    );
    let more = with(
        &said,
        &[(
            "[\"20 s\", \"40 s\", \"90 s\"], milestone = \"landing\"",
            "[\"20 s\", \"50 s\", \"90 s\"], milestone = \"landing\"",
        )],
    );
    assert_eq!(lines(AWKWARD, &more).len(), 2);
    // Said and answered otherwise, it is another one.
    let other = with(&more, &[("done = \"At the gate\"", "done = \"Down\"")]);
    assert_eq!(
        lines(AWKWARD, &other),
        [
            "Roof edge: boom lift: step 3 \"lower the basket\": added",
            "Roof edge: boom lift: step 3 \"come down\": removed"
        ]
    );
}

#[test]
fn what_only_has_another_id_is_renamed_and_its_references_with_it() {
    for text in [AWKWARD.to_owned(), plan_toml(11)] {
        for path in ids(&text) {
            let id = path.rsplit('.').next().expect("it has an id").to_owned();
            let renamed = after(&text, &[rename(&path, "zz-new")]);
            let [change] = &changes(&text, &renamed)[..] else {
                panic!("{path}: {:#?}", lines(&text, &renamed))
            };
            assert_eq!(
                change.what,
                What::Renamed {
                    was: id,
                    now: "zz-new".to_owned()
                },
                "{path}"
            );
            assert_eq!(change.was_at.as_deref(), Some(path.as_str()));
            mirrors(&text, &renamed);
        }
    }
    // What has its name still is told key by key; what has not is another thing.
    let text = after(
        AWKWARD,
        &[
            rename("position.roof", "edge"),
            set("position.edge.people", "2"),
        ],
    );
    assert_eq!(
        lines(AWKWARD, &text),
        [
            "Roof edge: id edge, was roof",
            "Roof edge: people 2, was left out"
        ]
    );
    let text = after(
        AWKWARD,
        &[
            rename("position.roof", "edge"),
            set("position.edge.name", "\"Edge\""),
        ],
    );
    assert_eq!(lines(AWKWARD, &text), ["Edge: added", "Roof edge: removed"]);
    // A reference that changes beside a renaming is told.
    let text = after(
        AWKWARD,
        &[
            rename("place.roof", "top"),
            set("position.roof.landing", "\"top\""),
        ],
    );
    assert_eq!(
        lines(AWKWARD, &text),
        [
            "Roof edge: landing \"top\", was \"gate\"",
            "the roof: id top, was roof"
        ]
    );
}

#[test]
fn random_edits_are_told_the_same_from_both_sides() {
    for (what, text) in [
        &files()[3],
        &("made".to_owned().leak() as &str, plan_toml(5)),
    ] {
        let edits = accepted(text, 7_000..7_090);
        let texts: Vec<&String> = edits.iter().map(|(_, _, edited)| &edited.text).collect();
        for (index, pair) in texts.windows(3).enumerate() {
            println!("{what}, {index}");
            mirrors(text, pair[0]);
            mirrors(pair[0], pair[2]);
        }
    }
}

#[test]
fn whole_plans_are_told_the_same_from_both_sides() {
    for seed in 0..30 {
        mirrors(&plan_toml(seed), &plan_toml(seed + 1));
    }
    mirrors(DEMO, AWKWARD);
    mirrors(AWKWARD, "format = 1\n");
    mirrors("", "format = 1\n");
}

#[test]
fn equal_plans_and_only_those_are_told_as_the_same() {
    // Against the reader's own plans: what is the same there is no difference here, and the other way round.
    let plans: BTreeMap<u64, String> = (0..12).map(|seed| (seed, plan_toml(seed))).collect();
    for (seed, text) in &plans {
        for (_, edit, edited) in accepted(text, seed * 100..seed * 100 + 12) {
            let [was, now] =
                [text, &edited.text].map(|text| read("site.toml", text.as_bytes()).plan);
            assert_eq!(
                was == now,
                edited.changes.is_empty(),
                "{seed}: {edit:?}: {:?}",
                edited.changes
            );
        }
    }
}

#[test]
fn plans_with_errors_are_compared_as_far_as_they_can_be() {
    let one = |from: &str, to: &str| lines(AWKWARD, &with(AWKWARD, &[(from, to)]));
    assert_eq!(
        one("invented = true", "invented = \"yes\""),
        ["site: invented \"yes\", was true"]
    );
    assert_eq!(
        one("name = \"Bea\"", "nmae = \"Bea\""),
        [
            "bea: name left out, was \"Bea\"",
            "bea: nmae \"Bea\", was left out"
        ]
    );
    assert_eq!(
        one("change_after = \"3 min 30 s\"", "change_after = 210"),
        ["Roof edge: ladder: change-by time 210, was 3 min 30 s"]
    );
    assert_eq!(
        one(
            "workers = [\n    \"abe\", # the first\n\n    # the second\n    \"bea\"\n]",
            "workers = \"abe\""
        ),
        ["Roof edge: workers \"abe\", was a list"]
    );
    assert_eq!(
        one(
            "time = [\"20 s\", \"40 s\", \"80 s\"]\n\n    # Indented",
            "time = \"40 s\"\n\n    # Indented"
        ),
        [
            "Roof edge: ladder: step 1 \"bring the ladder to the edge\": time \"40 s\", was 20 s, 40 s, 80 s"
        ]
    );
    assert_eq!(
        one("format = 1 # the only one", "format = 2"),
        ["format 2, was 1"]
    );
    for (a, b, second) in [
        ("a = [", AWKWARD, false),
        (AWKWARD, "a = [", true),
        (AWKWARD, &"[".repeat(200)[..], true),
        (AWKWARD, "[a]\n[a]\n", true),
    ] {
        let unread = diff(a, b).expect_err("it cannot be compared");
        assert_eq!(unread.second, second);
        let which = if second {
            "the second plan cannot be read: line "
        } else {
            "the first plan cannot be read: line 1: "
        };
        assert!(unread.to_string().starts_with(which), "{unread}");
    }
}

#[test]
fn text_and_json_say_the_same_by_position_person_station_and_site() {
    let edits = [
        set("site.gate", "\"west\""),
        set("station.a.name", "\"station B\""),
        remove("responder.dee.qualifications.1"),
        item("position.roof.watched_by", "\"abe\""),
        rename("place.roof", "top"),
        set("position.roof.people", "2"),
    ];
    let found = changes(AWKWARD, &after(AWKWARD, &edits));
    let text = "\
Positions
  Roof edge: people 2, was left out
  Roof edge: watched by: \"abe\" added
People
  Dee: qualification \"boom lift\": removed
Stations
  station B: name \"station B\", was \"station A\"
Site
  site: gate \"west\", was left out
  the roof: id top, was roof
";
    assert_eq!(in_words(&found), text);
    let json = in_json(&found);
    let list = json.as_array().expect("a list");
    let said: Vec<&str> = list.iter().filter_map(|it| it["said"].as_str()).collect();
    assert_eq!(
        said,
        text.lines()
            .filter_map(|line| line.strip_prefix("  "))
            .collect::<Vec<_>>()
    );
    assert_eq!(
        list[0],
        serde_json::json!({
            "about": "position", "what": "changed", "was_at": "position.roof.people", "at": "position.roof.people",
            "key": "people", "was": null, "now": "2", "said": "Roof edge: people 2, was left out",
        })
    );
    assert_eq!(list[5]["what"], "renamed");
    assert_eq!(
        (&list[5]["was_at"], &list[5]["at"]),
        (&"place.roof".into(), &"place.top".into())
    );
    assert_eq!(
        (in_words(&[]).as_str(), in_json(&[])),
        ("", serde_json::json!([]))
    );
}

#[test]
fn nothing_from_a_plan_reaches_the_terminal_as_a_command() {
    let odd = with(AWKWARD, &[("name = \"Bea\"", "name = \"\\u001b[2J\"")]);
    assert!(in_words(&changes(AWKWARD, &odd)).contains("\\u{1b}[2J"));
    assert!(!in_words(&changes(&odd, AWKWARD)).contains('\u{1b}'));
}
