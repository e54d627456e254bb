//! Holds the pictures of learning against figures computed apart, and reads the report on drills as a browser would.
//!
//! Python has NumPy's percentiles, SciPy's slopes and a Kaplan-Meier product of its own, and places them with a rule written out
//! here a second time: thousandths of the room, a top of 1, 2 or 5 times ten to some power, in seconds or minutes.

use crate::readiness_report::{Element, parsed};
use crate::support::{Chance, oracle};
use groundward::drill::{
    Between, Dots, Learned, Lesson, Played, Room, Scale, Span, Spot, StepTaken, Subject, Timed,
    WayGone, Whose, curve, curve_of, dots, learned, placed, stepped, summary, trend,
};
use groundward::plan::{self, DEMO, Plan};
use groundward::report::learning::{LearningReport, learning_html};
use groundward::units::{Millis, Ratio};
use groundward::words::{Id, Language, clock, label};
use proptest::prelude::*;
use serde_json::{Value, json};

const DAY_MS: i64 = 86_400_000;

fn timed(dated: &[(i64, Span)]) -> Vec<Timed> {
    let all = dated.iter().zip(0..);
    all.map(|((started_ms, span), number)| Timed {
        started_ms: *started_ms,
        incident: format!("drill-{number:04}"),
        span: *span,
    })
    .collect()
}

/// The picture of some times as if there were enough of them.
fn picture(dated: &[(i64, Span)]) -> Dots {
    let spans: Vec<Span> = dated.iter().map(|it| it.1).collect();
    placed(&timed(dated), Some(&summary(&spans)), trend(dated).as_ref())
}

/// Times that drift from day to day; where asked, some of them broken off.
fn instance(chance: &mut Chance, broken: bool) -> Vec<(i64, Span)> {
    let count = 5 + chance.below(30);
    let drift = chance.below(400) as i64 - 200;
    let spread = chance.among(&[9_000, 40_000, 400_000]);
    let one = |chance: &mut Chance| {
        let day = chance.below(300) as i64;
        let time = (drift * day).abs() + chance.below(spread) as i64;
        let ended = !broken || !chance.one_in(4);
        let time = Millis(time);
        (day * DAY_MS, Span { time, ended })
    };
    let mut dated: Vec<(i64, Span)> = (0..count).map(|_| one(chance)).collect();
    dated[0].0 = -DAY_MS;
    dated
}

/// Places of the quartiles, the trend and the curve, as NumPy and SciPy have them and this script places them.
const PLACES: &str = r"
import json, sys
import numpy as np
from scipy.stats import theilslopes
tops = sorted([m * 10 ** n * 1000 for m in (1, 2, 5) for n in (0, 1)] + [m * 10 ** n * 60000 for m in (1, 2, 5) for n in range(6)])
answers = []
for dated in json.load(sys.stdin):
    days = np.array([d for d, t, e in dated], dtype=float)
    times = np.array([t for d, t, e in dated], dtype=float)
    ended = np.array([e for d, t, e in dated])
    top = next(t for t in tops if t >= times.max())
    down = lambda t: 1000 - 1000 * t / top
    across = lambda d: 30 + 940 * (d - days.min()) / (days.max() - days.min())
    answer = {'top': top}
    if ended.all():
        answer['quartiles'] = [down(q) for q in np.percentile(times, [25, 50, 75])]
        slope, _, low, high = theilslopes(times, days, alpha=0.95)
        middle = np.median(days)
        level = np.median(times - slope * (days - middle))
        at = lambda s, d: down(level + s * (d - middle))
        answer['trend'] = [at(slope, days.min()), at(slope, days.max())]
    answer['dots'] = [[across(d), down(t)] for d, t in zip(days, times)]
    left, steps = 1.0, []
    for t in sorted(set(times[ended])):
        left *= 1 - ((times == t) & ended).sum() / (times >= t).sum()
        steps.append([1000 * t / top, 1000 * (1 - left)])
    answer['steps'] = steps
    answers.append(answer)
print(json.dumps(answers))
";

#[track_caller]
fn near(found: i64, expected: &Value) {
    let expected = expected.as_f64().expect("a number");
    assert!((found as f64 - expected).abs() <= 1.5, "{found} {expected}");
}

#[test]
fn places_are_those_of_numpy_and_scipy() {
    let mut chance = Chance(1945);
    let instances: Vec<Vec<(i64, Span)>> = (0..600)
        .map(|number| instance(&mut chance, number % 2 == 1))
        .collect();
    let plain = |dated: &Vec<(i64, Span)>| -> Value {
        let one = |it: &(i64, Span)| json!([it.0, it.1.time.0, it.1.ended]);
        dated.iter().map(one).collect()
    };
    let answers = oracle::ask(PLACES, &instances.iter().map(plain).collect());
    let list = |value: &Value| value.as_array().expect("a list").clone();
    let (mut lines, mut steps) = (0, 0);
    for (dated, answer) in instances.iter().zip(list(&answers)) {
        let found = picture(dated);
        assert_eq!(Some(found.scale.top.0), answer["top"].as_i64());
        // The dots stand in the order of their days, those of one day in the order of their incidents.
        let mut expected: Vec<(i64, Value, bool)> = dated
            .iter()
            .zip(list(&answer["dots"]))
            .map(|((day, span), at)| (*day, at, span.ended))
            .collect();
        expected.sort_by_key(|it| it.0);
        assert_eq!(found.dots.len(), expected.len());
        for (dot, (_, at, ended)) in found.dots.iter().zip(&expected) {
            near(dot.at.x, &at[0]);
            near(dot.at.y, &at[1]);
            assert_eq!(dot.ended, *ended);
        }
        if let Some(quartiles) = answer["quartiles"].as_array() {
            let band = found.band.expect("all ended");
            near(band.lower, &quartiles[0]);
            near(found.median.expect("all ended"), &quartiles[1]);
            near(band.upper.expect("all ended"), &quartiles[2]);
        }
        let ends = answer["trend"].as_array();
        let inside = |it: &Value| (0.0..=1_000.0).contains(&it.as_f64().expect("a place"));
        if let Some(ends) = ends.filter(|it| it.iter().all(inside)) {
            let [from, to] = found.trend.expect("the days differ");
            near(from.y, &ends[0]);
            near(to.y, &ends[1]);
            lines += 1;
        }
        let spans: Vec<Span> = dated.iter().map(|it| it.1).collect();
        let drawn = stepped(&spans, &curve(&spans));
        let mut level = 0;
        let mut corners = drawn.steps.iter().skip(1);
        for step in list(&answer["steps"]) {
            let mut falls = corners.by_ref().skip_while(|it| it.y == level);
            let corner = falls.next().expect("a step");
            near(corner.x, &step[0]);
            near(corner.y, &step[1]);
            level = corner.y;
            steps += 1;
        }
    }
    assert!(lines > 150 && steps > 4_000, "{lines} lines, {steps} steps");
}

/// The chance of a binomial count between two ranks, from SciPy.
const COVERED: &str = r"
import json, sys
import numpy as np
from scipy.stats import binom
answers = []
for n, p in json.load(sys.stdin):
    ranks = np.arange(n)
    below, above = binom.cdf(ranks, n, p), binom.sf(ranks, n, p)
    low = int(max(ranks[below <= 0.025], default=0))
    high = int(min(ranks[above <= 0.025], default=n - 1))
    answers.append([low, high, below[high] - below[low]])
print(json.dumps(answers))
";

/// The intervals of the quartiles are ranks: of the times 0, 1, 2, ... ms each limit is its own rank.
#[test]
fn intervals_of_quartiles_have_the_coverage_that_they_claim() {
    let shares = [0.25, 0.5, 0.75];
    let asked: Vec<(usize, f64)> = (1..=200)
        .flat_map(|count| shares.map(|share| (count, share)))
        .collect();
    let answers = oracle::ask(COVERED, &json!(asked));
    let answers = answers.as_array().expect("a list");
    for (three, asked) in answers.chunks(3).zip(asked.chunks(3)) {
        let count = i64::try_from(asked[0].0).expect("small");
        let spans: Vec<Span> = (0..count).map(|it| Span::ended(Millis(it))).collect();
        let sum = summary(&spans);
        let found = [sum.lower_between, sum.median_between, sum.upper_between];
        for (between, expected) in found.into_iter().zip(three) {
            let Between {
                low,
                high,
                coverage,
                exact,
            } = between.expect("there are times");
            assert!(exact);
            assert_eq!(Some(low.0), expected[0].as_i64(), "of {count}");
            assert_eq!(high.map(|it| it.0), expected[1].as_i64(), "of {count}");
            let share = expected[2].as_f64().expect("a share") * 1e6;
            assert!(
                (coverage.0 as f64 - share).abs() <= 1.0,
                "{coverage:?} {share}"
            );
        }
    }
}

/// Common practice, no source: 1, 2 and 5 times a power of ten, first in seconds, then in minutes.
#[test]
fn a_scale_ends_with_a_round_figure() {
    let top = |seconds: i64| Scale::holding(Millis(seconds * 1_000)).top.0 / 1_000;
    for (longest, expected) in [
        (0, 1),
        (1, 1),
        (2, 2),
        (3, 5),
        (11, 20),
        (50, 50),
        (51, 60),
        (61, 120),
        (121, 300),
        (301, 600),
        (601, 1_200),
        (6_001, 12_000),
        (12_001, 30_000),
        (30_001, 60_000),
    ] {
        assert_eq!(top(longest), expected, "{longest} s");
    }
    let told = |seconds: i64| {
        let scale = Scale::holding(Millis(seconds * 1_000));
        let ticks = scale.ticks.iter().map(|it| (clock(it.time), it.at));
        ticks.collect::<Vec<_>>()
    };
    let expected = [(0, 0), (15, 250), (30, 500), (45, 750), (60, 1_000)];
    let expected = expected.map(|(seconds, at)| (clock(Millis(seconds * 1_000)), at));
    assert_eq!(told(55), expected);
}

#[test]
fn below_the_number_that_is_enough_there_are_only_dots() {
    for (count, enough) in [(4, false), (5, true)] {
        let lessons: Vec<Lesson> = (0..count).map(lesson).collect();
        let all = learned(&lessons, Played::Drill, 5);
        assert!(all.len() > 8, "{}", all.len());
        for it in &all {
            let found = dots(it);
            assert_eq!(found.dots.len(), it.times.len());
            let paths = [
                found.band_path(Room::THOUSAND),
                found.median_path(Room::THOUSAND),
                found.trend_path(Room::THOUSAND),
            ];
            for path in paths {
                assert_eq!(path.is_empty(), !enough, "{:?}", it.subject);
            }
            assert_eq!(
                found.fan_path(Room::THOUSAND).is_empty(),
                found.fan.is_empty()
            );
            assert_eq!(curve_of(it).is_some(), enough, "{:?}", it.subject);
            // Even a trend that somebody hands over is not drawn where nothing is summed up.
            let dated: Vec<_> = it.times.iter().map(|it| (it.started_ms, it.span)).collect();
            let bare = placed(&it.times, None, trend(&dated).as_ref());
            assert_eq!((bare.trend, bare.fan.len()), (None, 0));
        }
    }
}

/// Minutes apart a few seconds more would be hours in 30 days.
#[test]
fn drills_of_one_day_have_no_trend() {
    for (apart_ms, trends) in [(600_000, false), (DAY_MS, true)] {
        let lessons = (0..6).map(|number| Lesson {
            started_ms: 1_790_845_200_000 + number * apart_ms,
            ..lesson(number)
        });
        let lessons: Vec<Lesson> = lessons.collect();
        let all = learned(&lessons, Played::Drill, 5);
        let summed = all.iter().filter(|it| it.summary.is_some());
        assert!(summed.clone().count() > 8);
        for it in summed {
            assert_eq!(it.trend.is_some(), trends, "{:?}", it.subject);
            assert_eq!(dots(it).trend.is_some(), trends, "{:?}", it.subject);
        }
    }
}

/// The places where marks begin, in the order of the path.
fn marks(path: &str, every: usize) -> Vec<Spot> {
    let starts = path.split("M ").skip(1).step_by(every);
    starts
        .map(|it| {
            let mut numbers = it.split(' ').map(|it| it.parse().expect("a number"));
            let mut next = || numbers.next().expect("two numbers");
            Spot {
                x: next(),
                y: next(),
            }
        })
        .collect()
}

fn any_span() -> impl Strategy<Value = Span> {
    let time = prop_oneof![
        0_i64..900,
        0_i64..2_000_000,
        Just(i64::MAX),
        Just(i64::MIN),
        any::<i64>()
    ];
    (time, any::<bool>()).prop_map(|(ms, ended)| Span {
        time: Millis(ms),
        ended,
    })
}

fn any_day() -> impl Strategy<Value = i64> {
    prop_oneof![0..400 * DAY_MS, Just(i64::MIN), Just(i64::MAX), Just(0)]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn everything_lies_in_the_room_and_keeps_its_order(all in prop::collection::vec((any_day(), any_span()), 0..40)) {
        let found = picture(&all);
        let mut sorted = timed(&all);
        sorted.sort();
        prop_assert_eq!(found.dots.len(), all.len());
        let inside = |it: &Spot| (0..=1_000).contains(&it.x) && (0..=1_000).contains(&it.y);
        let mut before = 0;
        for (dot, time) in found.dots.iter().zip(&sorted) {
            prop_assert!(inside(&dot.at), "{:?}", dot);
            prop_assert!(dot.at.x >= before);
            before = dot.at.x;
            prop_assert_eq!(dot.ended, time.span.ended);
        }
        let lines = found.trend.iter().flatten();
        prop_assert!(lines.chain(found.fan.iter().flatten()).all(inside));
        let levels = found.band.iter().flat_map(|it| [Some(it.lower), it.upper]);
        prop_assert!(levels.chain([found.median]).flatten().all(|it| (0..=1_000).contains(&it)));
        if let Some(band) = found.band {
            prop_assert!(band.upper.is_none_or(|it| it <= band.lower));
        }
        let times = found.scale.ticks.iter().map(|it| it.time);
        prop_assert!(times.clone().is_sorted() && times.clone().next_back() == Some(found.scale.top));
        prop_assert!(found.scale.ticks.len() <= 6);
        prop_assert!(all.iter().all(|it| it.1.time <= found.scale.top));
    }

    /// Whoever sees a ring sees a time that came to its end, and never one that was broken off.
    #[test]
    fn what_was_broken_off_is_never_drawn_as_ended(all in prop::collection::vec((any_day(), any_span()), 0..40)) {
        let found = picture(&all);
        let (ended, broken): (Vec<_>, Vec<_>) = found.dots.iter().copied().partition(|it| it.ended);
        let radius = 7;
        let left = |it: &Spot| Spot { x: it.x - radius, y: it.y };
        let rings = marks(&found.ended_path(Room::THOUSAND, radius), 1);
        prop_assert_eq!(rings, ended.iter().map(|it| left(&it.at)).collect::<Vec<_>>());
        // An arrow is three strokes, of which the first is its foot.
        let arrows = marks(&found.broken_off_path(Room::THOUSAND, radius), 3);
        prop_assert_eq!(arrows, broken.iter().map(|it| left(&it.at)).collect::<Vec<_>>());
        prop_assert_eq!(ended.len() + broken.len(), all.len());
        prop_assert_eq!(broken.len(), all.iter().filter(|it| !it.1.ended).count());
    }

    #[test]
    fn a_curve_falls_step_by_step_as_far_as_anything_is_known(all in prop::collection::vec(any_span(), 1..40)) {
        let steps = curve(&all);
        let found = stepped(&all, &steps);
        let inside = |it: &Spot| (0..=1_000).contains(&it.x) && (0..=1_000).contains(&it.y);
        prop_assert!(found.steps.iter().chain(&found.limits).chain(&found.broken_off).all(inside));
        prop_assert_eq!(found.steps[0], Spot { x: 0, y: 0 });
        for pair in found.steps.windows(2) {
            let level = pair[0].y == pair[1].y && pair[0].x <= pair[1].x;
            let falls = pair[0].x == pair[1].x && pair[0].y < pair[1].y;
            prop_assert!(level || falls, "{:?}", pair);
        }
        let broken = all.iter().filter(|it| !it.ended).count();
        prop_assert_eq!(found.broken_off.len(), broken);
        let end = found.steps.last().expect("it begins");
        let longest = all.iter().map(|it| it.time.0.max(0)).max().expect("there is one");
        let along = (i128::from(longest) * 1_000 * 2 + i128::from(found.scale.top.0))
            / (i128::from(found.scale.top.0) * 2);
        prop_assert_eq!(i128::from(end.x), along);
        if let Some(last) = steps.last() {
            prop_assert!((end.y * 1_000 - (1_000_000 - last.left.0)).abs() <= 500, "{:?}", last.left);
        }
    }

    /// A screen asks for another room than a report; every place keeps its share of it.
    #[test]
    fn a_room_of_any_size_shows_the_same(x in 0_i64..=1_000, y in 0_i64..=1_000, wide in 1_i64..3_000, high in 1_i64..3_000) {
        let at = Room { wide, high }.at(Spot { x, y });
        prop_assert!((at.x * 1_000 - x * wide).abs() <= 500);
        prop_assert!((at.y * 1_000 - y * high).abs() <= 500);
        prop_assert_eq!(Room::THOUSAND.at(Spot { x, y }), Spot { x, y });
    }
}

/// The lines of the steepest and of the flattest slope have that of the trend between them.
#[test]
fn the_fan_holds_the_line_of_the_trend() {
    let mut chance = Chance(7);
    let mut held = 0;
    for _ in 0..500 {
        let dated = instance(&mut chance, false);
        let found = picture(&dated);
        let (Some([from, to]), [first, last]) = (found.trend, &found.fan[..]) else {
            continue;
        };
        for (end, area) in [(from, first), (to, last)] {
            let heights = area.iter().filter(|it| it.x == end.x).map(|it| it.y);
            let (low, high) = (heights.clone().min(), heights.max());
            // An end that was cut off stands elsewhere.
            let (Some(low), Some(high)) = (low, high) else {
                continue;
            };
            assert!((low - 1..=high + 1).contains(&end.y), "{end:?} {area:?}");
            held += 1;
        }
    }
    assert!(held > 500, "{held}");
}

// ---------------------------------------------------------------------------------------------------------------
// The report.

/// A lesson of the invented site; every third was broken off before the casualty was off the harness.
fn lesson(number: i64) -> Lesson {
    let seconds = 300 + (number * 37) % 90 - number * 2;
    let span = |seconds: i64| Some(Span::ended(Millis(seconds * 1_000)));
    let off = match number % 3 == 2 {
        true => Some(Span::broken_off(Millis(seconds * 1_000))),
        false => span(seconds),
    };
    Lesson {
        incident: format!("drill-{number:03}"),
        started_ms: 1_790_845_200_000 + number * 9 * DAY_MS,
        site: "Grain terminal".to_owned(),
        dark: number % 2 == 1,
        position: Some("silo3".to_owned()),
        in_command: Some("bram".to_owned()),
        crew: ["mina", "rua"].map(str::to_owned).to_vec(),
        call: span(40 + number % 7),
        off,
        steps: vec![StepTaken {
            position: "silo3".to_owned(),
            method: "boom-lift".to_owned(),
            step: 0,
            say: "mind the \"red\" <lever> & 'hook'".to_owned(),
            span: Span::ended(Millis(80_000 + number % 4 * 3_000)),
            work: None,
        }],
        ways: vec![WayGone {
            from: "yard".to_owned(),
            station: None,
            to: "silo-foot".to_owned(),
            span: Span::ended(Millis(45_000 + number * 500)),
            likely_ms: 50_000,
            links: Vec::new(),
        }],
        heard: vec![Span::ended(Millis(4_000)), Span::ended(Millis(7_000))],
        ..Lesson::default()
    }
}

/// The built-in plan with names that would be tags if nobody minded.
fn odd_plan() -> Plan {
    let read = plan::read("grain-terminal.toml", DEMO.as_bytes());
    let mut plan = read.plan.expect("the built-in plan is fit");
    plan.site.name = "<b>Grain</b> & \"Co\"".to_owned();
    for position in &mut plan.positions {
        position.name = format!("{} <i> & '\"'", position.name);
    }
    for responder in &mut plan.responders {
        responder.name = format!("{}</h2><script>&amp;", responder.name);
    }
    plan
}

fn report(plan: &Plan, all: &[Learned], played: Played, language: Language) -> String {
    let altered = ["altered-<1>".to_owned()];
    let html = learning_html(&LearningReport {
        plan,
        plan_name: "a & b.toml",
        learned: all,
        played,
        drills: 12,
        enough: 5,
        only: None,
        in_the_dark: false,
        altered: &altered,
        unread: &[],
        elsewhere: 2,
        language,
        program: "Groundward 0.1.0",
        made_at: "2026-11-26 16:40",
        offset_min: 60,
    });
    String::from_utf8(html).expect("HTML is UTF-8")
}

/// Enough drills for all but one subject.
fn taught() -> Vec<Learned> {
    let mut lessons: Vec<Lesson> = (0..12).map(lesson).collect();
    lessons[3].position = Some("mast".to_owned());
    learned(&lessons, Played::Drill, 5)
}

const LANGUAGES: [Language; 3] = [Language::English, Language::Spanish, Language::Pseudo];

#[test]
fn the_report_is_strict_stands_alone_and_runs_nothing() {
    let (plan, all) = (odd_plan(), taught());
    for language in LANGUAGES {
        let html = report(&plan, &all, Played::Drill, language);
        let root = parsed(&html);
        assert_eq!(root.attribute("lang"), language.tag());
        let mut ids: Vec<&str> = Vec::new();
        for element in root.all() {
            let name = element.name.as_str();
            assert!(!["script", "link", "img", "iframe", "object", "i", "b"].contains(&name));
            for (key, value) in &element.attributes {
                let inside = !matches!(key.as_str(), "href" | "src") || value.starts_with('#');
                assert!(inside && !key.starts_with("on"), "{key}={value}");
            }
            ids.extend(element.attributes.get("id").map(String::as_str));
        }
        assert!(!html.contains("://"));
        for element in root.all() {
            for key in ["href", "aria-labelledby", "aria-describedby"] {
                let target = element.attribute(key).trim_start_matches('#');
                assert!(target.is_empty() || ids.contains(&target), "{target}");
            }
        }
        let count = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), count, "an id stands twice");
        // Every name arrives as it was written.
        let text = &root.text;
        for name in [
            &plan.site.name,
            &plan.position("silo3").expect("there").name,
        ] {
            assert!(text.contains(name.as_str()), "{name}");
        }
        for said in [
            "</h2><script>&amp;",
            "\"red\" <lever> & 'hook'",
            "altered-<1>",
            "a & b.toml",
        ] {
            assert!(text.contains(said), "{said}");
        }
    }
}

#[test]
fn the_word_drill_heads_every_page_and_no_time_is_called_safe() {
    let (plan, all) = (odd_plan(), taught());
    for language in LANGUAGES {
        let word = label(Id::DrillMark, language);
        let never = label(Id::LearnReportNever, language);
        for played in [Played::Drill, Played::TableTop] {
            let html = report(&plan, &all, played, language);
            let root = parsed(&html);
            let heads = root.of_class("every-page");
            assert!(matches!(&heads[..], [head] if head.text.contains(&word)));
            // On paper it is the head of a table, which every page repeats.
            let style = &root.named("style")[0].text;
            let print: String = style.split("@media print").skip(1).collect();
            assert!(print.contains(".every-page{display:table-header-group"));
            assert!(print.contains(".sheet{display:table"));
            let told: Vec<usize> = root.text.match_indices(&never).map(|it| it.0).collect();
            let first = root.text.find("0:44").expect("a time of the drills");
            assert!(told.len() == 2 && told[0] < first, "{told:?} {first}");
        }
        let [people, table] = [Played::Drill, Played::TableTop].map(|it| {
            parsed(&report(&plan, &all, it, language)).of_class("every-page")[0]
                .text
                .clone()
        });
        assert_ne!(people, table);
    }
}

fn article<'a>(
    root: &'a Element,
    all: &[Learned],
    whose: &Whose,
    subject: &Subject,
) -> &'a Element {
    let is_it = |it: &&Learned| it.whose == *whose && it.subject == *subject;
    let number = all.iter().position(|it| is_it(&it)).expect("it was timed") + 1;
    let id = format!("s{number}");
    let mut articles = root.named("article").into_iter();
    articles
        .find(|it| it.attribute("id") == id)
        .expect("it has an article")
}

#[test]
fn every_subject_has_its_figures_and_both_pictures() {
    let (plan, all) = (odd_plan(), taught());
    let root = parsed(&report(&plan, &all, Played::Drill, Language::English));
    assert_eq!(root.named("article").len(), all.len());
    for it in &all {
        let article = article(&root, &all, &it.whose, &it.subject);
        let name = it.subject_told(&plan).text(Language::English);
        assert_eq!(article.named("h3")[0].text, name);
        let pictures = article.named("figure");
        let told = article.named("desc")[0];
        for time in &it.times {
            let said = match time.span.ended {
                true => clock(time.span.time),
                false => format!("at least {}", clock(time.span.time)),
            };
            assert!(told.text.contains(&said), "{said} {}", told.text);
        }
        let few = article.text.contains("Not enough drills yet");
        assert_eq!(few, it.summary.is_none());
        let Some(sum) = &it.summary else {
            assert_eq!(pictures.len(), 1);
            for class in ["quartiles", "median", "trend", "curve"] {
                assert!(article.of_class(class).is_empty(), "{class}");
            }
            continue;
        };
        assert_eq!(pictures.len(), 2);
        let facts: Vec<(&str, &str)> = article.named("dl")[0]
            .children
            .iter()
            .map(|it| (it.children[0].text.as_str(), it.children[1].text.as_str()))
            .collect();
        let fact = |id: Id| {
            let name = label(id, Language::English);
            let found = facts.iter().find(|it| it.0 == name);
            found.expect("it is named").1
        };
        assert_eq!(fact(Id::LearnReportDrills), it.drills.to_string());
        assert_eq!(fact(Id::LearnReportBroken), sum.broken_off.to_string());
        let figures = [
            (Id::LearnReportLower, sum.lower, sum.lower_between),
            (Id::LearnReportMedian, sum.median, sum.median_between),
            (Id::LearnReportUpper, sum.upper, sum.upper_between),
        ];
        for (id, figure, between) in figures {
            let said = fact(id);
            let figure = figure.map_or("–".to_owned(), clock);
            assert!(said.starts_with(&figure), "{said}");
            for limit in between
                .iter()
                .flat_map(|it| [Some(it.low), it.high])
                .flatten()
            {
                assert!(said.contains(&clock(limit)), "{said}");
            }
            let approximate = between.is_some_and(|it| !it.exact);
            assert_eq!(said.contains("about"), approximate, "{said}");
        }
        let slope = it.trend.expect("the days differ").slope;
        assert!(fact(Id::LearnReportTrend).contains(&clock(Millis(slope.0.abs()))));
    }
    let few = all.iter().filter(|it| it.summary.is_none()).count();
    assert!(few > 0 && few < all.len(), "{few}");
}

/// A ring in the picture is a time that ended; an arrow is one that was broken off.
#[test]
fn the_marks_of_a_picture_are_the_times_of_the_drills() {
    let (plan, all) = (odd_plan(), taught());
    let root = parsed(&report(&plan, &all, Played::Drill, Language::Spanish));
    let whose = Whose::Position("silo3".to_owned());
    let article = article(&root, &all, &whose, &Subject::Off);
    let count = |class: &str, every: usize| {
        let marks = article.named("figure")[0].named("g")[0].of_class(class);
        let starts: usize = marks.iter().map(|it| marks_in(it.attribute("d"))).sum();
        starts / every
    };
    assert_eq!((count("ended", 1), count("broken-off", 3)), (7, 4));
}

fn marks_in(path: &str) -> usize {
    path.matches("M ").count()
}

#[test]
fn a_report_without_a_drill_says_so() {
    let html = report(&odd_plan(), &[], Played::Drill, Language::English);
    let root = parsed(&html);
    assert!(root.text.contains("Nothing was timed yet."));
    assert!(root.named("table").is_empty() && root.named("article").is_empty());
}

/// The share of a coordinate is that of the curve: half of the drills lie above the level of a half.
#[test]
fn a_median_on_the_curve_is_where_half_are_left() {
    let spans: Vec<Span> = (1..=9).map(|it| Span::ended(Millis(it * 60_000))).collect();
    let found = stepped(&spans, &curve(&spans));
    let half = summary(&spans).median.expect("all ended");
    let crossing = found
        .steps
        .iter()
        .find(|it| it.y > 500)
        .expect("it falls below a half");
    assert_eq!(crossing.x, half.0 * 1_000 / found.scale.top.0);
    let shares = curve(&spans).into_iter().map(|it| it.left);
    assert!(shares.clone().any(|it| it > Ratio(500_000)) && shares.min() == Some(Ratio(0)));
}
