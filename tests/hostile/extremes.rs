//! Puts numbers from the ends of their ranges wherever a number can come in: plans, records, touches, clocks, figures.
//!
//! Nothing may panic, hang or take much memory, and what is computed stays a number: refused, saturated, or right. The
//! overflow checks of both profiles make a number that silently wraps a failure too.

use super::targets::{self, records::carried_on, small_plan};
use super::{CHILD, child, kept_inputs, limit_growth, limit_time, times};
use groundward::incident::{Act, Command, Moment, Record, State, Teller, decide};
use groundward::plan::{
    DEMO, Link, LinkKind, Plan, Policy, Position, ThreePoint, free_fall, link_time, link_times,
    read_on, schema, swing_drop,
};
use groundward::readiness::{
    Basis, Conditions, Depth, Site, Today, advantage, descent_energy, fit, haul_pull,
    ladder_height, outlook, standings, weight,
};
use groundward::report::readiness::{PlaceLook, ReadinessReport, readiness_html};
use groundward::report::{Paper, cards, html, pdf};
use groundward::units::{
    Grams, Limit, Millimetres, Millis, Newtons, Quantity, Ratio, Speed, Written, read,
};
use groundward::words::{Language, ago, clock, date_and_time, metres, seconds, wall_time, wind};
use proptest::prelude::*;
use serde_json::Value;

/// A number from the ends of the range of 64 bits, from around zero, and from those of the ranges in between.
fn extreme() -> impl Strategy<Value = i64> {
    let ends = [63, 62, 53, 42, 40, 32, 31, 24, 16]
        .map(|bits| 1_i64.checked_shl(bits).unwrap_or(i64::MAX));
    let near = prop::sample::select(ends.to_vec()).prop_flat_map(|end| {
        (-2..=2_i64, any::<bool>()).prop_map(move |(off, below)| {
            let end = end.wrapping_add(off);
            if below { end.wrapping_neg() } else { end }
        })
    });
    prop_oneof![3 => near, 2 => -2..=2_i64, 1 => any::<i64>(), 1 => -2_000_000..2_000_000_i64]
}

/// So many plans are computed for one that is also printed.
const PRINTED_ONE_IN: usize = 6;

fn day() -> chrono::NaiveDate {
    crate::support::day()
}

fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases: cases.saturating_mul(times()),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

/// Everything that is computed and printed of a plan.
fn compute(plan: &Plan, text: &str) {
    let conditions = Conditions {
        wind: Some(Speed(i64::MAX)),
        ..Conditions::everybody(plan, day())
    };
    let _ = standings(plan, &conditions);
    let today = Today {
        wind: Some(Speed(12_000)),
        day: Some(day()),
    };
    for position in &plan.positions {
        for verdict in fit(plan, position, &today) {
            let _ = format!("{verdict:?}");
        }
    }
    let conditions = Conditions::everybody(plan, day());
    let site = Site::new(plan, &conditions, Depth::ROUGH);
    let mut looks = Vec::new();
    // One position in a large plan, chosen by its size, is as good as all of them and quicker.
    let chosen = text.len() % plan.positions.len().max(1);
    for (index, position) in plan.positions.iter().enumerate().skip(chosen).take(1) {
        let _ = outlook(plan, &basis(plan, position), Depth::ROUGH);
        let look = site.look(index);
        let shares = format!("{:?}", look.prospect);
        assert!(!shares.contains("NaN"), "{shares}");
        looks.push(PlaceLook::of(plan, &look));
    }
    // Printing takes longer than all of that together.
    if !text.len().is_multiple_of(PRINTED_ONE_IN) {
        return;
    }
    let html = readiness_html(&ReadinessReport {
        plan,
        plan_name: "extreme.toml",
        conditions: &conditions,
        looks: &looks,
        what_ifs: None,
        language: Language::English,
        program: "Groundward",
        made_at: "2026-11-25 06:40",
    });
    is_drawn(&html);
    let cards = cards::all(plan, text.as_bytes(), Language::Spanish);
    let few = &cards[..cards.len().min(2)];
    is_drawn(&html::cards(few, Paper::A4));
    assert!(pdf::cards(few, Paper::A4).is_ok_and(|it| it.starts_with(b"%PDF")));
}

/// No coordinate of a drawing may be something else than a number.
fn is_drawn(html: &[u8]) {
    let text = str::from_utf8(html).expect("what is made for a browser is UTF-8");
    for odd in [
        "=\"NaN", "=\"inf", "=\"-inf", " NaN", " inf ", ",NaN", ",inf",
    ] {
        assert!(!text.contains(odd), "{odd:?} in {text}");
    }
}

fn basis(plan: &Plan, position: &Position) -> Basis {
    Basis {
        position: position.id.clone(),
        present: plan.responders.iter().map(|it| it.id.clone()).collect(),
        casualty: 1,
        ..Basis::default()
    }
}

/// The small plan with every setting of its policy written down, so that each can be another.
fn small_plan_with_all_settings() -> String {
    let schema = schema();
    let settings = &schema["$defs"]["Policy"]["properties"];
    let settings = settings
        .as_object()
        .expect("the schema lists the settings of a plan");
    assert!(
        settings.len() > 40,
        "the schema lists few settings: {settings:?}"
    );
    let lines = settings
        .iter()
        .map(|(key, about)| format!("{key} = {}\n", about["default"]));
    let (before, after) = include_str!("../plan/sound.toml")
        .split_once("[policy]\n")
        .expect("the small plan has a policy");
    let after = &after[after.find("\n[").expect("there is more after it")..];
    format!("{before}[policy]\n{}{after}", lines.collect::<String>())
}

/// Runs this in a process of its own with a limit on its memory and on its processor time.
fn watched(test: &str, inside: impl FnOnce()) {
    const CPU_SECONDS: u64 = 120;
    if std::env::var_os(CHILD).is_some() {
        limit_growth();
        limit_time(CPU_SECONDS * u64::from(times()));
        inside();
        return;
    }
    let (well, said) = child(&format!("extremes::{test}"), test);
    assert!(well, "{said}");
}

/// The text of a plan in which quantities and counts are others; `with` says for each which, or to leave it.
fn replaced(text: &str, with: &mut dyn FnMut() -> Option<usize>) -> String {
    // The last are the largest that a reader takes in seconds and metres, in minutes, and in days.
    const NUMBERS: [&str; 9] = [
        "0",
        "0.001",
        "1",
        "3",
        "1000",
        "1000000",
        "999999999",
        "16666666",
        "11574",
    ];
    const COUNTS: [&str; 5] = ["0", "1", "2", "1000000", "4294967295"];
    // In three points the first is the least and the last the most.
    const POINTS: [[&str; 3]; 4] = [
        ["0", "0", "999999999"],
        ["999999999", "999999999", "999999999"],
        ["1", "1", "1"],
        ["0", "500000000", "999999999"],
    ];
    let mut out = String::new();
    for line in text.split_inclusive('\n') {
        let mut pieces: Vec<&str> = line.split('"').collect();
        let quantities: Vec<usize> = (1..pieces.len())
            .step_by(2)
            .filter(|at| unit_of(pieces[*at]).is_some())
            .collect();
        let counts = line
            .split_once(" = ")
            .filter(|(_, value)| value.trim().parse::<u32>().is_ok());
        let others: Vec<String>;
        match (counts, &quantities[..], with()) {
            (Some((key, _)), _, Some(which)) if key != "format" => {
                out.push_str(&format!("{key} = {}\n", COUNTS[which % COUNTS.len()]));
                continue;
            }
            (_, all @ ([_] | [_, _] | [_, _, _]), Some(which)) => {
                let number = |index: usize| match all.len() {
                    3 => POINTS[which % POINTS.len()][index],
                    _ => NUMBERS[which % NUMBERS.len()],
                };
                let other = |(index, at): (usize, &usize)| {
                    format!(
                        "{}{}",
                        number(index),
                        unit_of(pieces[*at]).unwrap_or_default()
                    )
                };
                others = all.iter().enumerate().map(other).collect();
                for (at, other) in all.iter().zip(&others) {
                    pieces[*at] = other;
                }
            }
            _ => {}
        }
        out.push_str(&pieces.join("\""));
    }
    out
}

/// The unit of a text that is one number and a unit, with the blank between them.
fn unit_of(text: &str) -> Option<&str> {
    let end = text.find(|c: char| !c.is_ascii_digit() && c != '.')?;
    let unit = &text[end..];
    (end > 0 && unit.starts_with(' ') && !unit.contains(char::is_numeric) && unit.len() < 6)
        .then_some(unit)
}

/// Which numbers to replace: about one in `rarely`.
fn choices(rarely: u32) -> impl Strategy<Value = Vec<Option<usize>>> {
    let which = prop::option::weighted(1.0 / f64::from(rarely), 0..30_usize);
    prop::collection::vec(which, 400)
}

fn chosen(choices: Vec<Option<usize>>) -> impl FnMut() -> Option<usize> {
    let mut all = choices.into_iter().cycle();
    move || all.next().flatten()
}

/// Sets numbers of a JSON value, wherever they stand in it.
fn set_numbers(value: &mut Value, with: &mut dyn FnMut() -> Option<i64>) {
    match value {
        Value::Number(_) => {
            if let Some(number) = with() {
                *value = Value::from(number);
            }
        }
        Value::Array(all) => all.iter_mut().for_each(|it| set_numbers(it, with)),
        Value::Object(all) => all.values_mut().for_each(|it| set_numbers(it, with)),
        _ => {}
    }
}

#[test]
fn a_small_plan_of_extreme_quantities_is_refused_or_computed() {
    watched(
        "a_small_plan_of_extreme_quantities_is_refused_or_computed",
        || {
            proptest!(cases(400), |(choices in choices(30))| {
            let text = replaced(&small_plan_with_all_settings(), &mut chosen(choices));
            if let Some(plan) = read_on("extreme.toml", text.as_bytes(), day()).plan {
                compute(&plan, &text);
            }
            });
        },
    );
}

#[test]
fn records_of_extreme_numbers_are_shown_and_carried_on() {
    watched(
        "records_of_extreme_numbers_are_shown_and_carried_on",
        || {
            proptest!(cases(400), |(which in any::<prop::sample::Index>(), numbers in prop::collection::vec(prop::option::weighted(0.05, extreme()), 600))| {
            let kept = kept_inputs("records");
            let (_, bytes) = which.get(&kept);
            let text = str::from_utf8(bytes).expect("a corpus of records is text");
            let mut numbers = numbers.into_iter().cycle();
            let mut lines = String::new();
            for line in text.lines() {
                let Ok(mut record) = serde_json::from_str::<Value>(line) else { continue };
                set_numbers(&mut record, &mut || numbers.next().flatten());
                lines.push_str(&record.to_string());
                lines.push('\n');
            }
            let target = targets::named("records").expect("there is a target for records");
            (target.takes)(lines.as_bytes());
            let read = lines.lines().filter_map(|it| Record::from_json(it).ok());
            let state = State::replay(read);
            let Some(opened) = &state.facts.opened else { return Ok(()) };
            for case in state.facts.cases() {
                if let Some(basis) = case.basis() {
                    let _ = outlook(&opened.plan, &basis, Depth::ROUGH);
                }
            }
            });
        },
    );
}

#[test]
fn a_large_plan_of_extreme_quantities_is_refused_or_computed() {
    watched(
        "a_large_plan_of_extreme_quantities_is_refused_or_computed",
        || {
            proptest!(cases(40), |(choices in choices(80))| {
            let text = replaced(DEMO, &mut chosen(choices));
            if let Some(plan) = read_on("extreme.toml", text.as_bytes(), day()).plan {
                compute(&plan, &text);
            }
            });
        },
    );
}

#[test]
fn touches_and_clocks_of_extreme_numbers_are_taken_or_refused() {
    watched(
        "touches_and_clocks_of_extreme_numbers_are_taken_or_refused",
        || {
            proptest!(cases(150), |(steps in prop::collection::vec((0..8_u8, extreme(), extreme(), extreme()), 1..12))| {
            let mut state = targets::records::rescue().clone();
            let boot = state.log.last().expect("the rescue has records").now.boot_id.clone();
            for (what, a, b, c) in steps {
                let now = Moment {
                    wall_ms: b,
                    offset_min: i32::try_from(c).unwrap_or(i32::MAX),
                    boot_ms: c,
                    boot_id: boot.clone(),
                };
                let act = match what {
                    0 => Command::Do(Act::SetFall { ago: Millis(a), at_least: b < 0 }),
                    1 => Command::Do(Act::HelpIn(Millis(a), Teller::Coming)),
                    2 => Command::Do(Act::Wind(Speed(a))),
                    3 => Command::Do(Act::WorkOn(u16::try_from(a).unwrap_or(u16::MAX))),
                    4 => Command::Do(Act::Said(vec![a.unsigned_abs(), b.unsigned_abs()])),
                    5 => Command::Do(Act::AddCasualty),
                    6 => Command::Resume { since_start_ms: a },
                    _ => Command::Wake,
                };
                let before = state.facts.line.reached_at();
                if let Ok(decision) = decide(&state, act, &now) {
                    for record in decision.records {
                        let read = Record::from_json(&record.to_json());
                        prop_assert_eq!(read.map(|it| it.event), Ok(record.event.clone()));
                        state.apply(record);
                    }
                }
                prop_assert!(state.facts.line.reached_at() >= before);
            }
            carried_on(&state);
            });
        },
    );
}

#[test]
fn figures_of_extreme_numbers_stay_in_their_ranges() {
    watched("figures_of_extreme_numbers_stay_in_their_ranges", || {
        proptest!(cases(2_000), |(a in extreme(), b in extreme(), c in extreme(), many: u32)| {
        let (length, other) = (Millimetres(a), Millimetres(b));
        prop_assert!(free_fall(length, other) >= Millimetres::ZERO);
        let _ = swing_drop(length, other);
        let _ = (weight(Grams(a)), descent_energy(Grams(a), other, many));
        prop_assert!(ladder_height(length, Ratio(b)) >= Millimetres::ZERO);
        let _ = (advantage(Ratio(a), Ratio(b)), haul_pull(Grams(a), Ratio(b)));
        for text in [clock(Millis(a)), ago(Millis(a), Millis(b)), seconds(Millis(a)), metres(length), wind(Speed(a))] {
            prop_assert!(text.starts_with(|c: char| c.is_ascii_digit() || c == '-'), "{}", text);
        }
        let minutes = i32::try_from(b).unwrap_or(i32::MIN);
        let _ = (wall_time(a, minutes), date_and_time(a, minutes));
        let written = Written { value: Newtons(a), unit: "kN", text: String::new() };
        let limit = Limit { given: vec![Written { value: Newtons(b), ..written.clone() }] };
        let _ = (limit.exceeded(&written), limit.missed(&written, c), limit.exceeded_by(Newtons(c)));
        let time = ThreePoint { short: Millis(a), likely: Millis(b), long: Millis(c) };
        for kind in [LinkKind::Walk, LinkKind::Stairs] {
            for time in [None, Some(time)] {
                let policy = Policy { walk_speed: Speed(c), slow_walk_speed: Speed(a), ..Policy::default() };
                let link = Link { kind, length, rise: other, time, ..small_plan().links[0].clone() };
                let _ = (link_time(&link, &policy, true), link_times(&link, &policy, false));
            }
        }
        prop_assert_eq!(Millis(a).saturating_add(Millis(b)).0, a.saturating_add(b));
        let text = format!("{}.{:09} mm", a.unsigned_abs() % 1_000_000_000_000, b.unsigned_abs() % 1_000_000_000);
        prop_assert!(read::<Millimetres>(&text).is_ok_and(|it| it.value.base() >= 0), "{}", text);
        });
    });
}
