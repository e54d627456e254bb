//! Reads the readiness report as a browser and a screen reader would, and holds its pictures to the figures they show.
//!
//! A small strict reader takes the file apart, so that a tag left open, an attribute without quotes or a letter that was
//! not escaped fails here; browsers forgive all of these. Positions of every look come from the built-in plans and from
//! seeds. How it looks nobody measures here: open one, light, dark and printed, after a change.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use groundward::plan::{self, Milestone, Plan, Position, ThreePoint};
use groundward::readiness::{
    Aim, Arrival, Attempt, Changes, Conditions, Expected, Gain, Grade, Ladder, Light, Lone,
    Posting, Prospect, Sampling, Sent, Standing, Start, Task, WhatIfs, Worth, prospect,
};
use groundward::report::readiness::{PlaceLook, ReadinessReport, readiness_html};
use groundward::units::{Millis, Ratio, Speed};
use groundward::words::{Id, Language, Message, clock, label};

use crate::support::Chance;

const LANGUAGES: [Language; 3] = [Language::English, Language::Spanish, Language::Pseudo];

/// Where the axis of time lies in a picture, and how high its two parts are.
const LEFT: f64 = 58.0;
const TIMES: f64 = 590.0;
const CURVE: f64 = 118.0;
const BARS: f64 = 84.0;

// ---------------------------------------------------------------------------------------------------------------
// Something to report.

static DEMO: LazyLock<Plan> = LazyLock::new(|| read("grain-terminal.toml", plan::DEMO));

fn read(name: &str, text: &str) -> Plan {
    let reading = plan::read(name, text.as_bytes());
    let findings = format!("{:?}", reading.findings);
    reading
        .plan
        .unwrap_or_else(|| panic!("{name} is fit: {findings}"))
}

/// The methods of a position one after the other, each from when its people are there; no crew is worked out.
fn ladder(position: &Position) -> Ladder {
    let way = ThreePoint {
        short: Millis::from_seconds(30),
        likely: Millis::from_seconds(70),
        long: Millis::from_seconds(150),
    };
    let attempts = position.methods.iter().map(|method| {
        let release = method
            .steps
            .iter()
            .position(|step| step.milestone == Some(Milestone::OffHarness));
        let steps = &method.steps[..release.map_or(method.steps.len(), |last| last + 1)];
        let tasks = steps.iter().enumerate().map(|(n, step)| Task {
            name: format!("step {n}"),
            time: step.time,
            elapsed: Millis::ZERO,
            fails_after: step.fails_after,
            fallback: Vec::new(),
            committed: step.committed,
            contact: step.milestone == Some(Milestone::FirstContact),
        });
        Attempt {
            name: format!("{}/{}", position.id, method.id),
            success: method.success.unwrap_or(Ratio(900_000)),
            arrivals: vec![Arrival {
                who: "somebody".to_owned(),
                way,
                sent: Sent::AtOnce,
                task: 0,
            }],
            tasks: tasks.collect(),
        }
    });
    Ladder {
        attempts: attempts.collect(),
        now: Millis::from_seconds(60),
        ordered: Millis::from_seconds(60),
        order_time: ThreePoint {
            short: Millis::from_seconds(3),
            likely: Millis::from_seconds(6),
            long: Millis::from_seconds(15),
        },
        started: Millis::from_seconds(60),
        committed: false,
    }
}

fn sampled(plan: &Plan, position: &Position, draws: u32) -> Prospect {
    let worth = Worth {
        target: plan.policy.target,
        ends: plan.policy.value_ends,
        aim: Aim::OffHarness,
    };
    let sampling = Sampling {
        seed: 7,
        crew_spread: Ratio(200_000),
        slower: Ratio(1_000_000),
        decide_on: 200,
        value_on: draws,
    };
    prospect(&ladder(position), &worth, &sampling, None)
}

/// What is computed for a position, or, at every fifth, why nothing is.
fn look(plan: &Plan, position: &Position, number: usize, draws: u32) -> PlaceLook {
    let methods = position.methods.iter().map(|it| it.name.clone()).collect();
    if number % 5 == 4 {
        return PlaceLook {
            standing: Standing {
                position: position.id.clone(),
                grade: Grade::NotReady,
                why_not: Some(Message::with(Id::NotReadyNobody, ["rope rescue"])),
                line: None,
                expected: None,
            },
            prospect: None,
            methods,
            crew: Vec::new(),
        };
    }
    let prospect = sampled(plan, position, draws);
    let grade = match prospect.p90 {
        Some(time) if time <= plan.policy.target => Grade::Ready,
        Some(time) if time < plan.policy.value_ends => Grade::Slow,
        _ => Grade::NotReady,
    };
    let person = plan.responders.get(number % plan.responders.len().max(1));
    let station = plan.stations.first();
    let crew = position.methods.iter().map(|method| {
        let posted = method.roles.iter().map(|role| Posting {
            role: role.id.clone(),
            responder: person.map_or_else(|| "nobody".to_owned(), |it| it.id.clone()),
            kit: role.kit.clone(),
            station: station.map(|it| it.id.clone()),
            place: role.place.clone(),
            travel_ms: 95_000,
            ..Posting::default()
        });
        posted.collect()
    });
    PlaceLook {
        standing: Standing {
            position: position.id.clone(),
            grade,
            why_not: None,
            line: prospect
                .p90
                .map(|time| Message::written(&format!("bad day {}", clock(time)))),
            expected: Some(Expected {
                likely: prospect.p50,
                bad_day: prospect.p90,
                contact: prospect.contact_p50,
                chance: prospect.chance,
                assumed: number.is_multiple_of(2),
            }),
        },
        crew: crew.collect(),
        prospect: Some(prospect),
        methods,
    }
}

fn looks(plan: &Plan, draws: u32) -> Vec<PlaceLook> {
    let positions = plan.positions.iter().enumerate();
    positions
        .map(|(number, position)| look(plan, position, number, draws))
        .collect()
}

fn conditions(plan: &Plan) -> Conditions {
    let present = plan.responders.iter().skip(1).map(|it| it.id.clone());
    Conditions {
        day: crate::support::day(),
        present: present.collect(),
        wind: Some(Speed(7_300)),
        light: Some(Light::Lit),
        lightning: true,
        gone: plan
            .stations
            .iter()
            .take(1)
            .map(|it| ("ladder".to_owned(), it.id.clone()))
            .collect(),
        ..Conditions::default()
    }
}

/// Gains in steps, the last of them too small to be measured.
fn gains(count: i64) -> WhatIfs {
    let gain = |number: i64| Gain {
        what: Message::written(&format!("change {number}")),
        gain: Ratio((count - number) * 2_000 - 1_000),
        error: Ratio(4_100),
        at: "North roof, hatch".to_owned(),
    };
    WhatIfs {
        done: u32::try_from(count).expect("a small count"),
        all: 340,
        ended: true,
        gains: (0..count).map(gain).collect(),
    }
}

fn made(
    plan: &Plan,
    looks: &[PlaceLook],
    what_ifs: Option<&WhatIfs>,
    language: Language,
) -> String {
    let html = readiness_html(&ReadinessReport {
        plan,
        plan_name: "site.toml",
        conditions: &conditions(plan),
        looks,
        what_ifs,
        language,
        program: "Groundward 0.1.0",
        made_at: "2026-11-25 06:40",
    });
    String::from_utf8(html).expect("HTML is UTF-8")
}

/// A report on a built-in plan with everything in it.
pub(crate) fn sample(language: Language) -> String {
    let plan = DEMO.clone();
    made(&plan, &looks(&plan, 2_000), Some(&gains(40)), language)
}

/// A prospect of one seed: any number of bars, any heights, times on the axis and past it.
fn invented(chance: &mut Chance) -> Prospect {
    let ends = Millis::from_seconds(60 + 30 * i64::try_from(chance.below(80)).expect("small"));
    let count = usize::try_from(ends.0 / 30_000).expect("small") + 1;
    let bars: Vec<u32> = (0..count)
        .map(|_| match chance.below(3) {
            0 => 0,
            _ => u32::try_from(chance.below(2_000)).expect("small"),
        })
        .collect();
    let mut time = |none_in: u64| {
        let at = Millis(i64::try_from(chance.below(3_000_000)).expect("small"));
        (!chance.one_in(none_in)).then_some(at)
    };
    let (p50, p90, contact_p50) = (time(5), time(3), time(4));
    let methods = 1 + usize::try_from(chance.below(4)).expect("small");
    let mut share = || Ratio(i64::try_from(chance.below(1_000_001)).expect("small"));
    let shares = (0..methods).map(|_| share()).collect();
    let (whole, never) = (share(), share());
    let alone = (0..methods).map(|_| Lone {
        chance: share(),
        works: Ratio(900_000),
        p50: None,
        p90: None,
        contact_p50: None,
        hands_mean: Millis::ZERO,
    });
    let alone = alone.collect();
    let mut at = Millis::from_seconds(30);
    let by = (0..methods).map(|_| {
        let wait = Millis(30_000 + i64::try_from(chance.below(400_000)).expect("small"));
        let start = Start {
            at,
            change_by: if chance.one_in(6) {
                ends
            } else {
                Millis(at.0 + wait.0)
            },
            chance: Ratio(500_000),
        };
        at = start.change_by;
        vec![start]
    });
    let by = by.collect();
    Prospect {
        value: 0.5,
        value_error: 0.01,
        chance: whole,
        chance_error: Ratio(1_000),
        p50,
        p90,
        contact_p50,
        shares,
        never,
        bars,
        alone,
        changes: Changes { ends, by },
    }
}

/// A report on one position with a prospect of one seed.
fn invented_report(seed: u64) -> (Prospect, Plan, String) {
    let mut chance = Chance(seed);
    let mut plan = DEMO.clone();
    let target = 60_000 + i64::try_from(chance.below(1_200_000)).expect("small");
    // Often where a bar ends, as plans have it.
    let odd = if chance.one_in(3) { target % 30_000 } else { 0 };
    plan.policy.target = Millis(target - target % 30_000 + odd);
    let prospect = invented(&mut chance);
    let look = PlaceLook {
        standing: Standing {
            position: plan.positions[0].id.clone(),
            grade: Grade::Slow,
            why_not: None,
            line: None,
            expected: None,
        },
        methods: (1..=prospect.shares.len())
            .map(|n| format!("way {n}"))
            .collect(),
        prospect: Some(prospect.clone()),
        crew: Vec::new(),
    };
    let html = made(&plan, &[look], None, Language::English);
    (prospect, plan, html)
}

// ---------------------------------------------------------------------------------------------------------------
// A strict reader.

#[derive(Debug, Default)]
pub(crate) struct Element {
    pub(crate) name: String,
    pub(crate) attributes: BTreeMap<String, String>,
    pub(crate) children: Vec<Element>,
    /// All text in it, that of its children included, as a reader sees it.
    pub(crate) text: String,
}

impl Element {
    pub(crate) fn attribute(&self, name: &str) -> &str {
        self.attributes.get(name).map_or("", String::as_str)
    }

    pub(crate) fn all(&self) -> Vec<&Element> {
        let inner = self.children.iter().flat_map(Element::all);
        std::iter::once(self).chain(inner).collect()
    }

    pub(crate) fn named(&self, name: &str) -> Vec<&Element> {
        let all = self.all().into_iter();
        all.filter(|it| it.name == name).collect()
    }

    /// Everything that has a class among others.
    pub(crate) fn of_class(&self, class: &str) -> Vec<&Element> {
        let has = |it: &&Element| it.attribute("class").split(' ').any(|own| own == class);
        self.all().into_iter().filter(has).collect()
    }
}

/// Elements that HTML never closes; this program writes one of them.
const NEVER_CLOSED: [&str; 1] = ["meta"];

fn plain(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('&') {
        let (name, tail) = after.split_once(';').expect("an entity ends");
        out.push_str(before);
        out.push(match name {
            "amp" => '&',
            "lt" => '<',
            "gt" => '>',
            "quot" => '"',
            "#39" => '\'',
            other => panic!("no such entity: {other:?}"),
        });
        rest = tail;
    }
    out + rest
}

/// Reads a file; panics where it is not as strict as XML would have it.
pub(crate) fn parsed(html: &str) -> Element {
    let rest = html
        .strip_prefix("<!DOCTYPE html>\n")
        .expect("it says what it is");
    let mut open: Vec<Element> = vec![Element::default()];
    let mut rest = rest;
    while let Some(at) = rest.find('<') {
        let (text, tag) = rest.split_at(at);
        assert!(!text.contains('>'), "a stray > in {text:?}");
        let last = open.last_mut().expect("there is a root");
        last.text.push_str(&plain(text));
        let (tag, after) = tag[1..].split_once('>').expect("a tag ends");
        rest = after;
        if let Some(name) = tag.strip_prefix('/') {
            let done = open.pop().expect("there is a root");
            assert_eq!(done.name, name, "closed in another order");
            let parent = open.last_mut().expect("the root is never closed");
            parent.text.push_str(&done.text);
            parent.children.push(done);
            continue;
        }
        let (tag, closed) = match tag.strip_suffix('/') {
            Some(tag) => (tag, true),
            None => (tag, false),
        };
        let (name, mut attributes) = tag.split_once(' ').unwrap_or((tag, ""));
        assert!(
            !name.is_empty() && name.chars().all(char::is_alphanumeric),
            "{name:?}"
        );
        let mut element = Element {
            name: name.to_owned(),
            ..Element::default()
        };
        while !attributes.is_empty() {
            let (key, value) = attributes.split_once("=\"").expect("a quoted value");
            let (value, more) = value.split_once('"').expect("the value ends");
            assert!(
                key.chars().all(|c| c.is_ascii_alphabetic() || c == '-'),
                "{key:?}"
            );
            let before = element.attributes.insert(key.to_owned(), plain(value));
            assert_eq!(before, None, "{key} twice in {name}");
            attributes = more.strip_prefix(' ').unwrap_or(more);
            assert!(more.is_empty() || more.starts_with(' '), "{more:?}");
        }
        if closed || NEVER_CLOSED.contains(&name) {
            open.last_mut()
                .expect("there is a root")
                .children
                .push(element);
        } else if name == "style" {
            let (style, after) = rest.split_once("</style>").expect("the style ends");
            element.text = style.to_owned();
            rest = after;
            open.last_mut()
                .expect("there is a root")
                .children
                .push(element);
        } else {
            open.push(element);
        }
    }
    assert_eq!(rest.trim(), "", "something stands behind the end");
    assert_eq!(
        open.len(),
        1,
        "left open: {:?}",
        open.last().map(|it| &it.name)
    );
    let root = open.pop().expect("there is a root");
    assert_eq!(root.children.len(), 1);
    root.children.into_iter().next().expect("there is one")
}

/// The numbers of a path or of a list.
fn numbers(text: &str) -> Vec<f64> {
    text.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
        .filter(|it| !it.is_empty())
        .map(|it| it.parse().unwrap_or_else(|_| panic!("{it:?} in {text:?}")))
        .collect()
}

fn number(element: &Element, name: &str) -> f64 {
    let text = element.attribute(name);
    text.parse().unwrap_or_else(|_| panic!("{name}={text:?}"))
}

// ---------------------------------------------------------------------------------------------------------------
// The file.

#[test]
fn the_file_is_strict_stands_alone_and_runs_nothing() {
    for (name, text) in [
        ("grain-terminal.toml", plan::DEMO),
        ("bridge-repaint.toml", plan::DEMO_BRIDGE),
        ("bare.toml", plan::BARE),
    ] {
        let plan = read(name, text);
        let looks = looks(&plan, 300);
        for language in LANGUAGES {
            let html = made(&plan, &looks, Some(&gains(30)), language);
            let root = parsed(&html);
            assert_eq!(root.attribute("lang"), language.tag());
            for element in root.all() {
                assert!(
                    !["script", "link", "img", "iframe", "object"].contains(&element.name.as_str()),
                    "{}",
                    element.name
                );
                for (key, value) in &element.attributes {
                    let inside = !matches!(key.as_str(), "href" | "src") || value.starts_with('#');
                    assert!(inside && !key.starts_with("on"), "{key}={value}");
                }
            }
            let style = &root.named("style")[0].text;
            assert!(!style.contains("@import") && !html.contains("://"));
            let mut addresses = style.match_indices("url(");
            assert!(addresses.all(|(at, _)| {
                let target = &style[at + 4..];
                target.starts_with("data:font/otf;base64,") || target.starts_with('#')
            }));
        }
    }
}

#[test]
fn what_it_points_to_is_there_and_stands_there_once() {
    let root = parsed(&sample(Language::English));
    let mut ids: Vec<&str> = root.all().iter().map(|it| it.attribute("id")).collect();
    ids.retain(|id| !id.is_empty());
    let count = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), count, "an id stands twice");
    let mut pointed = 0;
    for element in root.all() {
        let own = ["href", "aria-labelledby", "aria-describedby"].map(|it| element.attribute(it));
        for target in own.into_iter().filter(|it| !it.is_empty()) {
            assert!(ids.contains(&target.trim_start_matches('#')), "{target}");
            pointed += 1;
        }
    }
    assert!(pointed > 20, "{pointed}");
    let style = &root.named("style")[0].text;
    for (at, _) in style.match_indices("url(#") {
        let id = style[at + 5..].split(')').next().expect("it ends");
        assert!(ids.contains(&id), "{id}");
    }
}

#[test]
fn tables_pictures_and_headings_say_what_they_are() {
    for language in LANGUAGES {
        let root = parsed(&sample(language));
        let tables = root.named("table");
        assert!(tables.len() > 10);
        for table in tables {
            assert_eq!(table.children[0].name, "caption");
            assert!(!table.children[0].text.is_empty());
            let wide = table.named("thead")[0].named("th").len();
            for cell in table.named("th") {
                let scope = cell.attribute("scope");
                assert!(["col", "row"].contains(&scope), "{scope:?}");
                assert!(!cell.text.trim().is_empty());
            }
            for row in table.named("tbody")[0].named("tr") {
                assert_eq!(row.children.len(), wide, "{}", row.text);
                assert_eq!(row.children[0].attribute("scope"), "row");
            }
        }
        for picture in root.named("svg") {
            if picture.attribute("aria-hidden") == "true" {
                continue;
            }
            assert_eq!(picture.attribute("role"), "img");
            for (index, name) in ["title", "desc"].iter().enumerate() {
                assert_eq!(picture.children[index].name, *name);
                assert!(picture.children[index].text.len() > 10);
            }
        }
        let headings: Vec<u32> = root
            .all()
            .iter()
            .filter_map(|it| it.name.strip_prefix('h')?.parse().ok())
            .collect();
        assert_eq!(headings.iter().filter(|it| **it == 1).count(), 1);
        assert_eq!(headings[0], 1);
        assert!(headings.windows(2).all(|two| two[1] <= two[0] + 1));
    }
}

#[test]
fn every_position_stands_once_in_the_list_and_once_below_it_the_worst_first() {
    let plan = DEMO.clone();
    let mut looks = looks(&plan, 500);
    let count = plan.positions.len();
    assert!(count >= 5);
    let html = made(&plan, &looks, None, Language::English);
    let root = parsed(&html);
    let places = root.named("article");
    assert_eq!(places.len(), count);
    let list = root
        .all()
        .into_iter()
        .find(|it| it.attribute("id") == "list");
    let rows = list.expect("there is a list").named("tbody")[0].named("tr");
    assert_eq!(rows.len(), count);
    let named = |name: &str| {
        let positions = plan.positions.iter();
        let found = positions.filter(|it| it.name == name).count();
        assert_eq!(found, 1, "{name}");
        let look = looks.iter().find(|it| {
            let position = plan.position(&it.standing.position);
            position.expect("it is in the plan").name == name
        });
        look.expect("it was looked at")
    };
    let mut seen = Vec::new();
    for (row, place) in rows.iter().zip(&places) {
        let name = &row.children[0].text;
        assert_eq!(&place.named("h3")[0].text, name);
        let link = row.named("a")[0].attribute("href");
        assert_eq!(link.trim_start_matches('#'), place.attribute("id"));
        let look = named(name);
        let grade = match look.standing.grade {
            Grade::Ready => Id::SiteReportGradeReady,
            Grade::Slow => Id::SiteReportGradeSlow,
            Grade::NotReady => Id::SiteReportGradeNotReady,
        };
        // The word, not only the sign.
        assert_eq!(row.children[1].text, label(grade, Language::English));
        let shapes = row.named("use");
        assert_eq!(shapes.len(), 1);
        let expected = look.standing.expected;
        if let Some(expected) = expected {
            let bad_day = expected.bad_day.map(clock);
            let shown = &row.children[4].text;
            assert_eq!(shown, &bad_day.unwrap_or_else(|| "not reached".to_owned()));
            let assumed = row.children[2].text.contains("assumed");
            assert_eq!(assumed, expected.assumed);
            assert_eq!(place.of_class("assumed").len(), usize::from(assumed));
        }
        let bad_day = expected.and_then(|it| it.bad_day);
        seen.push((
            look.standing.grade,
            bad_day.map_or(i64::MAX, |it| it.0),
            name.clone(),
        ));
    }
    let mut names: Vec<_> = seen.iter().map(|it| it.2.clone()).collect();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), count);
    assert!(
        seen.windows(2)
            .all(|two| (two[0].0, two[0].1) >= (two[1].0, two[1].1))
    );
    assert!(seen[0].0 > seen[count - 1].0, "all are alike");

    // The order in which they come says nothing.
    looks.reverse();
    assert_eq!(made(&plan, &looks, None, Language::English), html);
}

#[test]
fn the_head_says_what_it_was_computed_with_and_cautions_before_any_figure() {
    let plan = DEMO.clone();
    let looks = looks(&plan, 300);
    let root = parsed(&made(&plan, &looks, None, Language::English));
    let text = root.text.replace('\u{a0}', " ");
    for said in [
        "INVENTED EXAMPLE",
        "site.toml, revision 1 of 2026-11-02",
        "2026-11-25",
        &format!("{} of {}", plan.responders.len() - 1, plan.responders.len()),
        &plan.responders[0].name,
        "7.3 m/s",
        "dark, lit",
        &format!("ladder at {}", plan.stations[0].name),
        "Made by Groundward 0.1.0, 2026-11-25 06:40.",
        "off the harness 9 min after the fall",
    ] {
        assert!(text.contains(said), "{said:?} is not said");
    }
    let figures = text
        .find("in half of the draws")
        .expect("the list explains itself");
    for caution in [
        label(Id::SiteReportCautionTimes, Language::English),
        label(Id::SiteReportCautionToday, Language::English),
        label(Id::SiteReportCaution, Language::English),
        "No time in suspension is safe.".to_owned(),
    ] {
        let at = text.find(&caution);
        assert!(at.is_some_and(|at| at < figures), "{caution:?}");
    }
    let bare = read("bare.toml", plan::BARE);
    let unsaid = readiness_html(&ReadinessReport {
        plan: &bare,
        plan_name: "bare.toml",
        conditions: &Conditions::default(),
        looks: &[],
        what_ifs: None,
        language: Language::English,
        program: "Groundward",
        made_at: "",
    });
    let unsaid = parsed(&String::from_utf8(unsaid).expect("HTML is UTF-8")).text;
    assert_eq!(unsaid.matches("not said").count(), 2, "wind and light");
    assert!(!unsaid.contains("Lightning"));
}

#[test]
fn what_a_plan_says_is_never_read_as_html() {
    let letters: Vec<char> = "<>&\"'/!-=;#ab\u{a0}é{}\\ \n\u{202e}".chars().collect();
    let mut chance = Chance(11);
    let mut plan = read("bare.toml", plan::BARE);
    let position = DEMO.positions[0].clone();
    plan.positions = vec![position];
    let base = invented(&mut Chance(3));
    for _ in 0..500 {
        let mut word = || -> String {
            let length = 1 + chance.below(24);
            let any = |_| {
                let index = usize::try_from(chance.below(letters.len() as u64));
                letters[index.expect("a small index")]
            };
            (0..length).map(any).collect()
        };
        let hostile = format!("<script>{}</script>", word());
        plan.site.name = hostile.clone();
        plan.positions[0].name = word();
        let look = PlaceLook {
            standing: Standing {
                position: plan.positions[0].id.clone(),
                grade: Grade::Slow,
                why_not: None,
                line: Some(Message::with(Id::NotReadyKit, [&word()])),
                expected: None,
            },
            prospect: Some(base.clone()),
            methods: base.shares.iter().map(|_| word()).collect(),
            crew: base
                .shares
                .iter()
                .map(|_| {
                    vec![Posting {
                        role: word(),
                        responder: word(),
                        kit: Some(word()),
                        station: Some(word()),
                        place: word(),
                        travel_ms: 1_000,
                        ..Posting::default()
                    }]
                })
                .collect(),
        };
        let html = made(&plan, &[look], None, Language::English);
        let root = parsed(&html);
        assert!(root.named("script").is_empty());
        assert_eq!(root.named("h1")[0].text, hostile);
        assert_eq!(root.named("h3")[0].text, plan.positions[0].name);
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    assert_eq!(sample(Language::Spanish), sample(Language::Spanish));
    assert_ne!(sample(Language::Spanish), sample(Language::English));
}

#[test]
fn two_hundred_positions_stay_below_three_megabytes() {
    let mut plan = DEMO.clone();
    let originals = plan.positions.clone();
    plan.positions = (0..200)
        .map(|n| {
            let original = &originals[n % originals.len()];
            Position {
                id: format!("{}-{n}", original.id),
                name: format!("{}, bay {n}", original.name),
                ..original.clone()
            }
        })
        .collect();
    let looks = looks(&plan, 300);
    let html = made(&plan, &looks, Some(&gains(340)), Language::English);
    assert_eq!(parsed(&html).named("article").len(), 200);
    assert!(html.len() < 3_000_000, "{} bytes", html.len());
}

// ---------------------------------------------------------------------------------------------------------------
// The pictures.

/// The picture of the distribution and that of the ladder.
fn pictures(root: &Element) -> (&Element, &Element) {
    let svgs = root.named("article")[0].named("svg");
    let pictures: Vec<_> = svgs
        .into_iter()
        .filter(|it| it.attribute("role") == "img")
        .collect();
    assert_eq!(pictures.len(), 2);
    (pictures[0], pictures[1])
}

/// The heights of the bars of a class with the left edge of each.
fn bars_of(picture: &Element, class: &str) -> Vec<(f64, f64)> {
    let paths = picture.of_class("bar").into_iter();
    let paths: Vec<_> = paths
        .filter(|it| it.attribute("class").ends_with(class))
        .collect();
    assert!(paths.len() <= 1);
    let each = paths.iter().flat_map(|path| path.attribute("d").split('z'));
    each.filter(|it| !it.is_empty())
        .map(|it| {
            let own = numbers(&it.replace(['v', 'h'], " "));
            assert_eq!(own[2], -own[4], "up as far as down");
            (own[0], own[4])
        })
        .collect()
}

/// The top of the bars' axis as it is written beside it.
fn top_of(picture: &Element) -> f64 {
    let labels = picture.named("text");
    let levels: Vec<f64> = labels
        .iter()
        .filter(|it| it.attribute("class") == "e" && it.text.ends_with("\u{a0}%"))
        .map(|it| numbers(&it.text)[0])
        .collect();
    assert_eq!(levels[0..4], [0.0, 50.0, 100.0, 0.0]);
    levels[4]
}

#[test]
fn the_bars_are_as_high_as_the_draws_they_stand_for() {
    let mut kinds = [0; 3];
    for seed in 0..500 {
        let (prospect, plan, html) = invented_report(seed);
        let draws: f64 = prospect.bars.iter().map(|it| f64::from(*it)).sum();
        let root = parsed(&html);
        if draws == 0.0 {
            assert!(root.of_class("bar").is_empty());
            continue;
        }
        let (picture, _) = pictures(&root);
        let top = top_of(picture) / 100.0;
        let (later, timed) = prospect.bars.split_last().expect("there are bars");
        let width = TIMES / timed.len() as f64;
        let drawn = ["within", "past", "never"].map(|class| bars_of(picture, class));
        let total: f64 = drawn.iter().flatten().map(|(_, height)| height).sum();
        assert!(
            (total / BARS * top - 1.0).abs() < 0.01,
            "seed {seed}: {total}"
        );
        let check = |bar: u32, found: Option<&(f64, f64)>| {
            let height = f64::from(bar) / draws / top * BARS;
            let shown = found.map_or(0.0, |(_, height)| *height);
            assert!(
                (height - shown).abs() < 0.01,
                "seed {seed}: {height} {shown}"
            );
            assert!(shown <= BARS + 0.01);
        };
        for (index, bar) in timed.iter().enumerate() {
            let left = LEFT + width * index as f64;
            let ends = Millis(30_000 * (index as i64 + 1));
            let class = usize::from(ends > plan.policy.target);
            let at = |side: &[(f64, f64)]| {
                let mut found = side.iter().filter(|it| (it.0 - left).abs() < 0.1);
                found.next().copied()
            };
            check(*bar, at(&drawn[class]).as_ref());
            assert_eq!(at(&drawn[1 - class]), None, "seed {seed}: on both sides");
            kinds[class] += usize::from(*bar > 0);
        }
        check(*later, drawn[2].first());
        kinds[2] += usize::from(*later > 0);
    }
    assert!(kinds.iter().all(|it| *it > 100), "{kinds:?}");
}

#[test]
fn the_curve_and_the_marks_stand_where_the_figures_are() {
    let mut marked = 0;
    for seed in 500..1_000 {
        let (prospect, plan, html) = invented_report(seed);
        let draws: f64 = prospect.bars.iter().map(|it| f64::from(*it)).sum();
        if draws == 0.0 {
            continue;
        }
        let root = parsed(&html);
        let (picture, _) = pictures(&root);
        let timed = &prospect.bars[..prospect.bars.len() - 1];
        let span = 30_000.0 * timed.len() as f64;
        let curve = picture.of_class("curve")[0].attribute("d");
        let points = numbers(&curve.replace(['M', 'L'], " "));
        let points: Vec<_> = points.chunks(2).map(|it| (it[0], it[1])).collect();
        assert_eq!(points.len(), timed.len() + 1);
        let base = points[0].1;
        let mut sum = 0.0;
        for (bar, (index, point)) in timed.iter().zip(points.iter().enumerate().skip(1)) {
            sum += f64::from(*bar);
            let x = LEFT + TIMES * index as f64 / timed.len() as f64;
            let y = base - CURVE * sum / draws;
            assert!(
                (point.0 - x).abs() < 0.1 && (point.1 - y).abs() < 0.1,
                "seed {seed}"
            );
        }
        for (class, word, time) in [
            ("contact", "first contact", prospect.contact_p50),
            ("likely", "likely", prospect.p50),
            ("bad-day", "bad day", prospect.p90),
            ("target", "target", Some(plan.policy.target)),
        ] {
            let lines = picture.of_class(class);
            let on_axis = time.filter(|it| it.0 as f64 <= span);
            assert_eq!(lines.len(), usize::from(on_axis.is_some()), "seed {seed}");
            let Some(time) = on_axis else { continue };
            let x = numbers(&lines[0].attribute("d").replace(['M', 'V'], " "))[0];
            let expected = LEFT + TIMES * time.0 as f64 / span;
            assert!((x - expected).abs() < 0.1, "seed {seed}, {class}");
            let told = format!("{word} {}", clock(time));
            let labels = picture.named("text");
            let label = labels.iter().find(|it| it.text == told);
            let at = number(label.expect(&told), "x");
            assert!((at - x - 5.0).abs() < 0.11, "seed {seed}, {told}");
            marked += 1;
        }
    }
    assert!(marked > 500, "{marked}");
}

#[test]
fn no_label_of_a_mark_lies_across_the_line_of_another() {
    let root = parsed(&sample(Language::English));
    let mut compared = 0;
    for picture in root.named("svg") {
        let lines: Vec<(f64, f64)> = ["contact", "likely", "target", "bad-day"]
            .iter()
            .flat_map(|class| picture.of_class(class))
            .map(|it| {
                let own = numbers(&it.attribute("d").replace(['M', 'V'], " "));
                (own[0], own[1])
            })
            .collect();
        for text in picture.named("text") {
            let marks = ["likely ", "bad day ", "target ", "first contact "];
            if !marks.iter().any(|it| text.text.starts_with(it)) {
                continue;
            }
            let (x, y) = (number(text, "x"), number(text, "y"));
            // A letter of 13 units is about 7 wide; this is rather less than more.
            let end = x + 6.0 * text.text.chars().count() as f64;
            for (line, top) in &lines {
                let across = *line > x && *line < end && *top < y;
                assert!(!across, "{} at {x} and a line at {line}", text.text);
                compared += 1;
            }
        }
    }
    assert!(compared > 40, "{compared}");
}

#[test]
fn a_band_ends_at_the_change_by_time_and_the_next_begins_there() {
    let mut bands_seen = 0;
    for seed in 0..500 {
        let (prospect, _, html) = invented_report(seed);
        let root = parsed(&html);
        if root.of_class("bar").is_empty() {
            continue;
        }
        let (_, picture) = pictures(&root);
        let span = 30_000.0 * (prospect.bars.len() - 1) as f64;
        let x = |time: Millis| LEFT + TIMES * (time.0 as f64).clamp(0.0, span) / span;
        let rows = root.named("article")[0].named("table")[1].named("tbody")[0].named("tr");
        assert_eq!(
            rows.len(),
            prospect.shares.len() + 1,
            "one is for none of them"
        );
        let bands = picture.of_class("band");
        let mut start = prospect.changes.by.first().map(|it| it[0].at);
        for (attempt, row) in rows.iter().take(prospect.shares.len()).enumerate() {
            let Some(at) = start else {
                assert!(bands.len() <= attempt);
                assert_eq!(row.children[1].text, "if the one before fails");
                continue;
            };
            assert_eq!(row.children[1].text, clock(at));
            let last = attempt + 1 == prospect.shares.len();
            let by = prospect.changes.change_by(attempt, at).filter(|_| !last);
            let own = numbers(
                &bands[attempt]
                    .attribute("d")
                    .replace(['v', 'h', 'H', 'l', 'M'], " "),
            );
            assert!((own[0] - x(at)).abs() < 0.1, "seed {seed}");
            match by {
                Some(by) => {
                    assert_eq!(row.children[2].text, clock(by));
                    let right = own[0] + own[3];
                    let wide = (x(by) - x(at)).max(2.0);
                    assert!((right - x(at) - wide).abs() < 0.2, "seed {seed}");
                }
                None => assert_eq!(row.children[2].text, "no change planned"),
            }
            bands_seen += 1;
            start = by;
        }
        let share = &rows[rows.len() - 1].children[4].text;
        assert!(share.ends_with('%'));
    }
    assert!(bands_seen > 600, "{bands_seen}");
}

#[test]
fn a_share_is_never_told_as_none_or_all_unless_it_is() {
    for (share, shown) in [
        (0, "0\u{a0}%"),
        (1, "<1\u{a0}%"),
        (4_999, "<1\u{a0}%"),
        (5_000, "1\u{a0}%"),
        (834_999, "83\u{a0}%"),
        (835_000, "84\u{a0}%"),
        (999_999, ">99\u{a0}%"),
        (1_000_000, "100\u{a0}%"),
    ] {
        let plan = DEMO.clone();
        let mut one = look(&plan, &plan.positions[0], 0, 100);
        let expected = one.standing.expected.as_mut().expect("it was computed");
        expected.chance = Ratio(share);
        let root = parsed(&made(&plan, &[one], None, Language::English));
        let row = root.named("tbody")[0].named("tr")[0];
        assert_eq!(row.children[6].text, shown);
    }
}

#[test]
fn a_gain_within_its_error_is_told_as_none() {
    let plan = DEMO.clone();
    let what_ifs = gains(40);
    let root = parsed(&made(&plan, &[], Some(&what_ifs), Language::English));
    let tables = root.named("table");
    let rows = tables[1].named("tbody")[0].named("tr");
    let helping = what_ifs
        .gains
        .iter()
        .filter(|it| it.is_measurable())
        .count();
    assert!(helping > 10 && helping < 40);
    for (row, gain) in rows.iter().zip(&what_ifs.gains) {
        assert_eq!(row.children[0].text, gain.what.text(Language::English));
        let shown = &row.children[1].text;
        if gain.gain.0 >= 2 * gain.error.0 {
            let points: f64 = shown.trim_start_matches('+').parse().expect("a number");
            assert!((points - gain.gain.0 as f64 / 10_000.0).abs() < 0.006);
        } else {
            assert_eq!(shown, "no measurable gain");
        }
        assert_eq!(row.children[2].text, "0.41");
    }
    let listed = rows.len();
    assert_eq!(listed, 40.min(helping + 10));
    assert!(root.text.contains("Stopped after 40 of 340 changes"));
    let many = WhatIfs {
        done: 340,
        ..gains(340)
    };
    let helping = many.gains.iter().filter(|it| it.is_measurable()).count();
    let mut idle = many.clone();
    idle.gains.iter_mut().for_each(|it| it.gain = Ratio(8_000));
    let root = parsed(&made(&plan, &[], Some(&idle), Language::English));
    assert!(
        helping > 300
            && root
                .text
                .contains("330 more changes bring no measurable gain")
    );
    assert!(!root.text.contains("Stopped after"));
}

// ---------------------------------------------------------------------------------------------------------------
// The colours.

/// The colours declared behind a mark in the style sheet.
fn colours(style: &str, mark: &str) -> BTreeMap<String, [f64; 3]> {
    let (_, after) = style.split_once(mark).expect("the colours are declared");
    let (inside, _) = after.split_once('}').expect("they end");
    let colour = |one: &str| {
        let (name, hex) = one.split_once(":#").expect("a name and a colour");
        let part = |at: usize| {
            let value = u8::from_str_radix(&hex[at..at + 2], 16).expect("two digits");
            f64::from(value) / 255.0
        };
        (name.to_owned(), [part(0), part(2), part(4)])
    };
    inside.split(';').map(colour).collect()
}

/// Contrast by WCAG 2.2: relative luminances of linearised sRGB (figures.md, H6).
fn contrast(one: [f64; 3], other: [f64; 3]) -> f64 {
    let luminance = |colour: [f64; 3]| {
        let linear = colour.map(|it| match it {
            low if low <= 0.04045 => low / 12.92,
            it => ((it + 0.055) / 1.055).powf(2.4),
        });
        0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    };
    let (one, other) = (luminance(one) + 0.05, luminance(other) + 0.05);
    one.max(other) / one.min(other)
}

#[test]
fn letters_and_signs_stand_out_in_light_and_dark() {
    // WCAG 2.2, 1.4.6, as in figures.md: #595959 on white passes 7:1, #5A5A5A fails.
    let grey = |value: u8| [f64::from(value) / 255.0; 3];
    assert!((contrast(grey(0x59), grey(255)) - 7.005).abs() < 0.001);
    assert!(contrast(grey(0x5a), grey(255)) < 7.0);
    let style = parsed(&sample(Language::English)).named("style")[0]
        .text
        .clone();
    let dark = "@media screen and (prefers-color-scheme:dark){:root{";
    let (light, dark) = (colours(&style, "\n:root{"), colours(&style, dark));
    assert_eq!(
        light.keys().collect::<Vec<_>>(),
        dark.keys().collect::<Vec<_>>()
    );
    for (look, colours) in [("light", light), ("dark", dark)] {
        let ground = colours["--ground"];
        for (name, least) in [
            ("--ink", 7.0),
            ("--quiet", 7.0),
            ("--link", 7.0),
            // WCAG 2.2, 1.4.11: what one must see to understand a picture.
            ("--line", 3.0),
            ("--bar", 3.0),
            ("--past", 3.0),
            ("--ready", 3.0),
            ("--slow", 3.0),
            ("--bad", 3.0),
        ] {
            let found = contrast(colours[name], ground);
            assert!(found >= least, "{look}: {name} {found:.2}");
        }
    }
    // No colour is written anywhere else, so that none escapes the dark set.
    let rules = style.split("}\n").filter(|it| !it.contains(":root{"));
    for rule in rules.filter(|it| !it.contains("@font-face")) {
        let written = rule.replace("url(#", "");
        assert!(!written.contains(":#"), "{rule}");
    }
    let print = style.split_once("@media print").expect("it is printed").1;
    assert!(!print.contains("--ground:"), "paper has the light set");
}
