//! Changes one thing in a built-in plan, a thousand times, and asks where the reader says that something is wrong.
//!
//! A trainer mends a plan by going where a finding points, so a finding that a slip of the pen brings about has to point
//! at that slip. It may point elsewhere only where one of the relations below holds between the two; which kinds may be
//! brought about from afar, and by what, is listed. A finding counts as new when the plan without the change has none of
//! its kind at its place.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use groundward::cli::Format;
use groundward::cli::check::check as check_command;
use groundward::plan::{DEMO, DEMO_BRIDGE, Finding, Kind, Level, Reading, read};

use super::slips::{Edited, Slips};
use crate::support::day;

/// Kinds that a change elsewhere may bring about, because they compare things that stand apart, and the beginnings of the
/// paths that a finding of that kind needs. `*` is any one part; `TABLE`, `METHOD` and `POSITION` are those around the
/// finding itself.
const NEEDS: &[(Kind, &[&str])] = &[
    // Ways, people and kit decide who gets where, and how soon.
    (
        Kind::UnreachablePlace,
        &["link", "place", "responder", "station"],
    ),
    (Kind::AedFar, &["link", "place", "station", "policy"]),
    (Kind::KitNowhere, &["station"]),
    (Kind::KitOutOfService, &["station"]),
    (Kind::KitShort, &["station", "METHOD.role"]),
    (Kind::NoHolder, &["responder"]),
    (Kind::RescuerWorksThere, &["responder", "POSITION.workers"]),
    (Kind::CrewTooSmall, &["responder", "POSITION.workers"]),
    (
        Kind::PromptTooLong,
        &[
            "responder",
            "METHOD.role",
            "TABLE.who",
            "TABLE.by",
            "METHOD.step",
        ],
    ),
    // What the site lists.
    (Kind::LandingNotListed, &["site.landing_places"]),
    (Kind::NoCommonLanguage, &["site.languages"]),
    (
        Kind::DeadSpot,
        &[
            "radio.dead_spots",
            "POSITION.noticed_by",
            "POSITION.watched_by",
        ],
    ),
    (Kind::OutsideWithoutAgreement, &["outside_rescue"]),
    (Kind::OutsideNotCapable, &["outside_rescue"]),
    // Two keys of one table.
    (Kind::RiseOverLength, &["TABLE.length"]),
    (Kind::WayTooFast, &["TABLE.length", "TABLE.kind"]),
    (Kind::DatesReversed, &["TABLE"]),
    (Kind::DecelerationLong, &["policy.deceleration"]),
    (Kind::ArrestForceHigh, &["policy.arrest_force"]),
    (Kind::FreeFallContradicts, &["TABLE"]),
    (Kind::FreeFallLong, &["TABLE", "policy.free_fall"]),
    (Kind::ClearanceShort, &["TABLE", "policy"]),
    (Kind::AnchorageWeak, &["TABLE", "policy"]),
    (Kind::ContactNotNear, &["TABLE.near"]),
    (Kind::ExposedNotNear, &["TABLE.near"]),
    (Kind::FailsAfterLongest, &["TABLE.time"]),
    (Kind::PolicyOrder, &["policy.target"]),
    // What a position says of its people and its place.
    (Kind::HazardByWorker, &["POSITION.workers"]),
    (Kind::WatcherWorksThere, &["POSITION.workers"]),
    (
        Kind::WorksAlone,
        &["POSITION.workers", "responder.*.may_work_alone"],
    ),
    (Kind::MoreWorkersThanPeople, &["POSITION.workers"]),
    (
        Kind::HeavierThanHeaviest,
        &["POSITION.heaviest", "responder.*.mass"],
    ),
    (Kind::TooHeavy, &["policy.person_mass"]),
    (Kind::SameAnchorage, &["POSITION.anchorage"]),
    (
        Kind::LoweringUncontrolled,
        &["POSITION.ground", "POSITION.ground_control"],
    ),
    (
        Kind::RopeDescentHigh,
        &["POSITION.method", "policy.rope_descent"],
    ),
    (
        Kind::NoRetrieval,
        &["TABLE.retrieval", "policy.entry_depth"],
    ),
    (Kind::EntryNotAllowed, &["POSITION.confined_space"]),
    (Kind::EntryWithoutSpace, &["POSITION.confined_space"]),
    (Kind::RungOrder, &["POSITION.method"]),
    // The course of a method is what its steps and roles make together.
    (Kind::ChangeAfterTarget, &["policy.target"]),
    (Kind::ChangeBeforeLikely, &["METHOD.step"]),
    (Kind::MilestoneOrder, &["METHOD.step"]),
    (Kind::CommittedGap, &["METHOD.step"]),
    (Kind::NoRescuerAnchorage, &["METHOD.step"]),
    (Kind::ControllerExposed, &["METHOD.step"]),
    (Kind::ExposedWithoutSecondPerson, &["METHOD.role"]),
];

/// True where a path begins as a pattern says; the pattern may name tables around another path.
fn begins_with(path: &str, pattern: &str, place: &str) -> bool {
    let around = |parts: usize| place.split('.').take(parts).collect::<Vec<_>>().join(".");
    let table = place.rsplit_once('.').map_or("", |(table, _)| table);
    let pattern = pattern
        .replace("TABLE", table)
        .replace("METHOD", &around(4))
        .replace("POSITION", &around(2));
    let mut parts = path.split('.');
    pattern
        .split('.')
        .all(|want| parts.next().is_some_and(|part| want == "*" || want == part))
}

/// Which relation holds between a new finding and a change; nothing where none does.
fn relation(finding: &Finding, edited: &Edited, reading: &Reading) -> Option<&'static str> {
    let meets = |span: &Range<usize>, other: &Range<usize>| {
        span.start <= other.end && other.start <= span.end
    };
    if meets(&finding.span, &edited.lines) {
        return Some("it covers the change or its line");
    }
    if finding
        .related
        .iter()
        .any(|other| meets(&other.span, &edited.lines))
    {
        return Some("it names the change as related");
    }
    if !edited.orphans.is_empty() && meets(&finding.span, &edited.orphans) {
        return Some("it stands in what belongs to the changed line");
    }
    let place = &*finding.place;
    let within = |path: &str, above: &str| {
        path == above
            || path
                .strip_prefix(above)
                .is_some_and(|rest| rest.starts_with('.'))
    };
    if edited.paths.iter().any(|path| within(place, path)) {
        return Some("it is about what was changed, or something in it");
    }
    if !place.is_empty() && edited.paths.iter().any(|path| within(path, place)) {
        return Some("it is about a table around the change");
    }
    let named = reading.references.iter().filter(|it| it.at == place);
    if named.into_iter().any(|it| {
        edited
            .paths
            .iter()
            .any(|path| within(&it.target, path) || within(path, &it.target))
    }) {
        return Some("it names what was changed");
    }
    let until = finding.related.iter().map(|other| other.span.end).max();
    if finding.id == Kind::Syntax.id()
        && until.is_some_and(|until| meets(&(finding.span.start..until), &edited.lines))
    {
        return Some("it opens a list in which the change is");
    }
    let needs = NEEDS.iter().find(|(kind, _)| kind.id() == finding.id)?.1;
    let needed = edited.paths.iter().any(|path| {
        needs
            .iter()
            .any(|pattern| begins_with(path, pattern, place))
    });
    needed.then_some("it needs what was changed")
}

/// Slips after which a plan can never be used, whatever they happen to.
const ALWAYS_REFUSED: [&str; 6] = [
    "no unit",
    "a bare number",
    "an empty value",
    "a date that does not exist",
    "a misspelled key",
    "a quote too few",
];

#[track_caller]
fn check(plan: &str, numbers: Range<u64>) {
    let slips = Slips::of(plan);
    let key = |it: &Finding| (it.id, it.place.clone());
    let read = |text: &str| read("slip.toml", text.as_bytes());
    let before: BTreeSet<_> = read(plan).findings.iter().map(key).collect();
    let (mut unexplained, mut relations) = (Vec::new(), BTreeMap::new());
    let (mut refused, count) = (0, numbers.end - numbers.start);
    for number in numbers {
        let edited = slips.slip(number);
        let (slip, reading) = (edited.slip, read(&edited.text));
        let new = reading
            .findings
            .iter()
            .filter(|it| !before.contains(&key(it)));
        for finding in new.clone() {
            match relation(finding, &edited, &reading) {
                Some(relation) => *relations.entry(relation).or_insert(0) += 1,
                None => unexplained.push(format!(
                    "{number}, {slip} at {:?}: {finding:?}",
                    edited.paths
                )),
            }
        }
        // What is not refused is another plan that can be used, or the same one.
        let errors = new.clone().filter(|it| it.level == Level::Error).count();
        assert_eq!(
            reading.plan.is_none(),
            errors > 0,
            "{number}, {slip} at {:?}",
            edited.paths
        );
        assert!(
            errors > 0 || !ALWAYS_REFUSED.contains(&slip),
            "{number}, {slip} at {:?} is not refused",
            edited.paths
        );
        refused += u64::from(errors > 0);
    }
    assert!(unexplained.is_empty(), "{unexplained:#?}");
    // Most slips are errors, and most findings stand on the very line; else this would prove little.
    assert!(refused * 2 > count, "{refused} of {count} are refused");
    let all: usize = relations.values().sum();
    assert!(
        relations["it covers the change or its line"] * 3 > all * 2,
        "{relations:#?}"
    );
}

#[test]
fn slips_in_the_plan_of_the_grain_terminal() {
    check(DEMO, 0..500);
}

#[test]
fn slips_in_the_plan_of_the_bridge() {
    check(DEMO_BRIDGE, 500..1_000);
}

/// What stands where a finding of this kind points, and at its related places with their labels.
#[track_caller]
fn points_at(text: &str, kind: Kind, at: &str, beside: &[(&str, &str)]) {
    let findings = read("small.toml", text.as_bytes()).findings;
    let found: Vec<&Finding> = findings.iter().filter(|it| it.id == kind.id()).collect();
    let [finding] = found[..] else {
        panic!("one {} is expected: {findings:#?}", kind.id());
    };
    assert_eq!(&text[finding.span.clone()], at);
    let others = finding.related.iter();
    let others: Vec<(usize, &str)> = others.map(|it| (it.line, it.label.as_str())).collect();
    let expected = beside.iter().map(|(marked, label)| {
        let before = &text[..text.find(marked).expect("the related place is in the text")];
        (before.matches('\n').count() + 1, *label)
    });
    assert_eq!(others, expected.collect::<Vec<_>>());
}

#[test]
fn the_second_of_two_points_at_the_first() {
    let twice = "[place.yard]\nname = \"yard\"\n[place.roof]\nname = \"roof\"\n[place.yard]\n";
    let first = ("[place.yard]", "the first `yard`");
    points_at(twice, Kind::DuplicateId, "yard", &[first]);
    let twice = "[place.yard]\nname = \"yard\"\nlevel = \"0\"\nname = \"roof\"\n";
    points_at(
        twice,
        Kind::DuplicateId,
        "name",
        &[("name", "the first `name`")],
    );
    // In the middle of a line the parser's word has to do.
    points_at("a = { x = 1, x = 2 }\n", Kind::DuplicateId, "x", &[]);

    let alike = "[place.a]\nname = \"Yard\"\n[place.b]\nname = \"yard\"\n";
    points_at(
        alike,
        Kind::SameName,
        "\"yard\"",
        &[("\"Yard\"", "`a` is called that")],
    );
    let listed = "[site]\nlanding_places = [\"a\"]\n[responder.r]\nlanguages = [\n\"en\",\n\"pt\",\n\"en\",\n]\n";
    points_at(
        listed,
        Kind::RepeatedEntry,
        "\"en\"",
        &[("\"en\"", "`en` stands here")],
    );
}

#[test]
fn a_name_that_leads_nowhere_points_at_the_one_that_is_probably_meant() {
    let text = "[place.yard]\nname = \"yard\"\n[station.a]\nplace = \"yrad\"\n";
    let meant = ("[place.yard]", "`yard` is here");
    points_at(text, Kind::DanglingReference, "\"yrad\"", &[meant]);
    let text = text.replace("yrad", "somewhere else");
    points_at(&text, Kind::DanglingReference, "\"somewhere else\"", &[]);
}

#[test]
fn a_list_that_is_not_closed_is_one_finding_and_hides_nothing_below() {
    let open = [
        ("fallback = [\n    { say = \"x\" },\n", "[", "near"),
        ("time = [\"1 s\", \"2 s]\n", "[", "2 s"),
        ("fallback = [{ say = \"x\", done = \"y\n", "[", "done"),
    ];
    for (line, at, wrong) in open {
        let text = format!("{line}near = true\n\n[place.yard]\nname = 3\n\n[[step]]\ntime = []\n");
        let wrong = (wrong, "from here on it does not go on as one");
        let findings = read("small.toml", text.as_bytes()).findings;
        assert!(
            findings.iter().any(|it| it.place == "place.yard.name"),
            "{findings:#?}"
        );
        assert!(
            findings.iter().any(|it| it.place == "step"),
            "{findings:#?}"
        );
        points_at(&text, Kind::Syntax, at, &[wrong]);
    }
}

#[test]
fn the_command_shows_the_related_place() {
    let plan = "[place.yard]\nname = \"yard\"\n[station.a]\nplace = \"yrad\"\n";
    let said = |format| {
        let mut out = Vec::new();
        check_command(
            "small.toml",
            plan.as_bytes(),
            day(),
            format,
            false,
            &mut out,
        );
        String::from_utf8(out).expect("what is said is text")
    };
    let text = said(Format::Text);
    let (_, below) = text
        .split_once("error[dangling-reference]")
        .expect("it is found");
    assert!(
        below.contains("[place.yard]") && below.contains("`yard` is here"),
        "{text}"
    );
    let all: serde_json::Value = serde_json::from_str(&said(Format::Json)).expect("it is JSON");
    let findings = all["findings"].as_array().expect("there are findings");
    let dangling = findings.iter().find(|it| it["id"] == "dangling-reference");
    let related = &dangling.expect("it is found")["related"];
    let expected = serde_json::json!([{ "line": 1, "column": 8, "label": "`yard` is here" }]);
    assert_eq!(related, &expected);
}
