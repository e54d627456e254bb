//! Holds the sums over many incidents against sums made by hand, the interval of a share against SciPy, and the words of
//! the command line against what may never be said.

use crate::support::oracle;
use chrono::NaiveDate;
use groundward::drill::{Played, Span, share_between, summary};
use groundward::incident::{Owner, Task};
use groundward::review::{By, Carried, Digest, Hung, Side, trends};
use groundward::units::Millis;
use groundward::words::Phrase;
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

const ENOUGH: u32 = 5;
const TARGET_MS: i64 = 9 * 60_000;

/// Wilson's score interval as SciPy has it.
const WILSON: &str = r"
import json, sys
from scipy.stats import binomtest
answers = []
for part, of in json.load(sys.stdin):
    it = binomtest(part, of).proportion_ci(confidence_level=0.95, method='wilson')
    answers.append([it.low, it.high])
print(json.dumps(answers))
";

#[test]
fn the_interval_of_a_share_is_that_of_scipy() {
    let all: Vec<(u32, u32)> = (1..=40_u32)
        .flat_map(|of| (0..=of).map(move |part| (part, of)))
        .chain([(3, 1_000), (999, 1_000), (5_000, 10_000)])
        .collect();
    let answers = oracle::ask(WILSON, &json!(all));
    for ((part, of), answer) in all.iter().zip(answers.as_array().expect("a list")) {
        let (low, high) = share_between(*part, *of).expect("there are some");
        for (own, expected) in [(low, &answer[0]), (high, &answer[1])] {
            let off = own.0 as f64 - expected.as_f64().expect("a share") * 1e6;
            assert!(off.abs() <= 0.6, "{part} of {of}: {own:?} {expected}");
        }
    }
    assert_eq!(share_between(0, 0), None);
}

fn today() -> NaiveDate {
    "2026-12-01".parse().expect("it is a day")
}

fn hung() -> impl Strategy<Value = Hung> {
    let position = option::of(select(vec!["silo3", "mast-7"]));
    let methods = vec(select(vec!["ladder", "boom-lift", "descent"]), 0..3);
    let times = (option::weighted(0.8, 1..20_i64), 1..20_i64, any::<bool>());
    (position, methods, times).prop_map(|(position, methods, (off, hung, at_least))| Hung {
        position: position.map(str::to_owned),
        place: position.map(|it| format!("The {it}")),
        at_least,
        off_ms: off.map(|it| it * 60_000),
        hung_ms: off.is_none().then_some(hung * 60_000),
        methods: methods.into_iter().map(str::to_owned).collect(),
        ..Hung::default()
    })
}

fn digest() -> impl Strategy<Value = Digest> {
    let task = (any::<bool>(), any::<bool>()).prop_map(|(done, overdue)| Carried {
        number: 1,
        task: Task {
            text: Phrase::Written("Paint the hatch".to_owned()),
            owner: Owner::Role("foreman".to_owned()),
            due: match overdue {
                true => "2026-11-30".parse().expect("it is a day"),
                false => today(),
            },
            from: None,
            by: None,
        },
        by: "tablet".to_owned(),
        set_ms: 0,
        done_ms: done.then_some(1),
    });
    let kind = (any::<bool>(), any::<bool>());
    let site = select(vec!["North terminal", "South terminal"]);
    (site, 0..90_i64, kind, vec(hung(), 0..3), vec(task, 0..3)).prop_map(
        |(site, day, (drill, table_top), casualties, tasks)| Digest {
            started_ms: 1_787_000_000_000 + day * 86_400_000,
            site: site.to_owned(),
            drill,
            table_top: drill && table_top,
            closed: true,
            target_ms: TARGET_MS,
            casualties,
            tasks,
            ..Digest::default()
        },
    )
}

/// What somebody has in common with others, as the manual says it.
fn key(by: By, digest: &Digest, hung: Option<&Hung>) -> Vec<String> {
    let text = |it: Option<&String>| it.cloned().unwrap_or_default();
    match by {
        By::Site => vec![digest.site.clone()],
        By::Position => vec![
            digest.site.clone(),
            text(hung.and_then(|it| it.position.as_ref())),
        ],
        By::Month => {
            let at = chrono::DateTime::from_timestamp_millis(digest.started_ms);
            vec![at.expect("it is a time").format("%Y-%m").to_string()]
        }
        By::Method => vec![text(hung.and_then(|it| it.methods.last()))],
    }
}

/// One kind in one group, counted by hand.
#[derive(Default)]
struct Counted {
    incidents: BTreeSet<usize>,
    spans: Vec<Span>,
    not_off: u32,
    past: u32,
    not_past: u32,
    unknown: u32,
    days: BTreeSet<i64>,
}

type ByHand = BTreeMap<(Vec<String>, Played), Counted>;

fn by_hand(all: &[Digest], by: By) -> ByHand {
    let mut found = ByHand::new();
    for (number, digest) in all.iter().enumerate() {
        let played = match (digest.drill, digest.table_top) {
            (false, _) => Played::Rescue,
            (true, true) => Played::TableTop,
            (true, false) => Played::Drill,
        };
        if digest.casualties.is_empty() {
            let own = found.entry((key(by, digest, None), played)).or_default();
            own.incidents.insert(number);
        }
        for it in &digest.casualties {
            let own = found
                .entry((key(by, digest, Some(it)), played))
                .or_default();
            own.incidents.insert(number);
            own.days.insert(digest.started_ms / 86_400_000);
            let ms = it.off_ms.or(it.hung_ms).expect("one of them is there");
            let is_known = it.off_ms.is_some() && !it.at_least;
            own.spans.push(match is_known {
                true => Span::ended(Millis(ms)),
                false => Span::broken_off(Millis(ms)),
            });
            own.not_off += u32::from(it.off_ms.is_none());
            own.past += u32::from(ms > TARGET_MS);
            own.not_past += u32::from(ms <= TARGET_MS && is_known);
            own.unknown += u32::from(ms <= TARGET_MS && !is_known);
        }
    }
    found
}

fn holds(side: &Side, own: &Counted, by: By) -> Result<(), TestCaseError> {
    let people = u32::try_from(own.spans.len()).expect("a few");
    prop_assert_eq!(side.incidents as usize, own.incidents.len());
    prop_assert_eq!((side.people, side.not_off), (people, own.not_off));
    let past = &side.past;
    prop_assert_eq!(
        (past.past, past.of, past.unknown),
        (own.past, own.past + own.not_past, own.unknown)
    );
    // Few are counted and nothing more.
    prop_assert_eq!(side.times.is_some(), people >= ENOUGH);
    prop_assert_eq!(past.between.is_some(), past.of >= ENOUGH);
    if people < ENOUGH || by == By::Month || own.days.len() < 2 {
        prop_assert_eq!(side.change, None);
    }
    if let Some(times) = &side.times {
        prop_assert_eq!(times, &summary(&own.spans));
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn the_sums_are_those_made_by_hand(all in vec(digest(), 0..40)) {
        let names: Vec<String> = (0..all.len()).map(|it| format!("id-{it:03}")).collect();
        for by in [By::Site, By::Position, By::Month, By::Method] {
            let each = names.iter().map(String::as_str).zip(&all);
            let groups = trends(each, by, ENOUGH, today());
            let mut expected = by_hand(&all, by);
            for group in &groups {
                let mut kinds = 0;
                for (played, side) in [
                    (Played::Rescue, &group.rescues),
                    (Played::Drill, &group.drills),
                    (Played::TableTop, &group.table_tops),
                ] {
                    let own = expected.remove(&(group.key.clone(), played));
                    kinds += u32::from(own.is_some());
                    holds(side, &own.unwrap_or_default(), by)?;
                }
                prop_assert!(kinds > 0, "a group of nobody");
            }
            prop_assert!(expected.is_empty(), "left out: {:?}", expected.keys());
            prop_assert!(groups.is_sorted_by_key(|it| &it.key));
            if matches!(by, By::Site | By::Month) {
                let open = all.iter().flat_map(|it| &it.tasks).filter(|it| it.done_ms.is_none());
                let overdue = open.clone().filter(|it| it.task.due < today()).count();
                let sums: (u32, u32) = groups.iter().fold((0, 0), |sum, it| (sum.0 + it.open_tasks, sum.1 + it.overdue_tasks));
                prop_assert_eq!((sums.0 as usize, sums.1 as usize), (open.count(), overdue));
            }
        }
    }

    #[test]
    fn the_order_of_incidents_makes_no_difference(all in vec(digest(), 0..30)) {
        let names: Vec<String> = (0..all.len()).map(|it| format!("id-{it:03}")).collect();
        let each = || names.iter().map(String::as_str).zip(&all);
        for by in [By::Site, By::Position, By::Month, By::Method] {
            let there = trends(each(), by, ENOUGH, today());
            prop_assert_eq!(there, trends(each().rev(), by, ENOUGH, today()));
        }
    }
}

/// A site that becomes quicker from month to month is seen to; the slope is the one that was put in.
#[test]
fn a_change_is_found_where_there_is_one() {
    let all: Vec<(String, Digest)> = (0..12_i64)
        .map(|number| {
            let hung = Hung {
                off_ms: Some((20 - number) * 60_000),
                ..Hung::default()
            };
            let digest = Digest {
                started_ms: 1_787_000_000_000 + number * 30 * 86_400_000,
                site: "North terminal".to_owned(),
                drill: true,
                target_ms: TARGET_MS,
                casualties: vec![hung],
                ..Digest::default()
            };
            (format!("id-{number:02}"), digest)
        })
        .collect();
    let each = all.iter().map(|it| (it.0.as_str(), &it.1));
    let groups = trends(each, By::Site, ENOUGH, today());
    let change = groups[0].drills.change.expect("there are enough");
    assert_eq!(change.slope, Millis(-60_000));
    // 20 down to 9 minutes: eleven are past a target of 9, the last is not.
    assert_eq!(
        (groups[0].drills.past.past, groups[0].drills.past.of),
        (11, 12)
    );
}

#[test]
fn the_command_line_says_what_is_known_and_calls_no_time_safe() {
    let data = tempfile::tempdir().expect("there is room");
    let folder = data.path().to_str().expect("it is text");
    let program = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_groundward"))
            .args(arguments)
            .output()
            .expect("the program starts");
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("it writes UTF-8");
        (
            output.status.code(),
            text(output.stdout),
            text(output.stderr),
        )
    };
    let script = "tests/scripts/silo-3-boom-lift.txt";
    for _ in 0..2 {
        let played = program(&["rehearse", "--demo", "--script", script, "--data", folder]);
        assert_eq!(played.0, Some(0), "{}", played.2);
    }
    let own = format!("{folder}/rehearsals");
    for by in ["site", "position", "month", "method"] {
        let asked = ["log", "trends", "--by", by, "--data", &own];
        let (code, out, error) = program(&asked);
        assert_eq!(code, Some(0), "{error}");
        assert!(out.contains("fewer than 5: only counted"), "{out}");
        let safe = out.lines().filter(|it| it.to_lowercase().contains("safe"));
        let safe: Vec<&str> = safe.collect();
        assert_eq!(
            safe,
            ["No time in suspension is safe, however short it was."]
        );
        let (_, out, _) = program(&[&asked[..], &["--format", "json"]].concat());
        let all: Value = serde_json::from_str(&out).expect("it is JSON");
        let groups = all["groups"].as_array().expect("a list");
        assert_eq!((groups.len(), &all["incidents"]), (1, &json!(2)), "{out}");
    }
    // An altered record is in no sum, and that is said.
    let journals = std::fs::read_dir(format!("{own}/journals")).expect("it is listed");
    let file = journals.flatten().next().expect("there is one").path();
    let mut bytes = std::fs::read(&file).expect("it is read");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    std::fs::write(&file, bytes).expect("there is room");
    let (code, out, _) = program(&["log", "trends", "--data", &own]);
    assert_eq!(code, Some(0));
    assert!(
        out.contains("incidents: 1\n") && out.contains("is left out: it was altered"),
        "{out}"
    );
}
