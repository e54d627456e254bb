//! Tries the draws: quantiles and moments of the beta-PERT against SciPy and its formulas, the hash against another one.
//!
//! Shares and three points come from a seed, so that a failing run can be repeated.

use groundward::plan::ThreePoint;
use groundward::readiness::{Spread, name_of, uniform};
use groundward::units::{Millis, Ratio};
use serde_json::json;

use crate::support::{Chance, oracle};

const INSTANCES: usize = 600;

fn three(short: i64, likely: i64, long: i64) -> ThreePoint {
    ThreePoint {
        short: Millis(short),
        likely: Millis(likely),
        long: Millis(long),
    }
}

#[test]
fn names_hash_as_published() {
    // FNV-1a, 64 bits: offset basis and the vectors for "a" and "foobar" of its authors' test suite, from memory.
    assert_eq!(name_of(""), 0xcbf2_9ce4_8422_2325);
    assert_eq!(name_of("a"), 0xaf63_dc4c_8601_ec8c);
    assert_eq!(name_of("foobar"), 0x8594_4171_f739_67e8);
}

#[test]
fn uniforms_are_a_function_of_seed_name_and_number() {
    // Worked out again in Python's whole numbers of any size.
    let script = r#"
import json, sys
M = (1 << 64) - 1
G = 0x9e3779b97f4a7c15
def scatter(z):
    z = ((z ^ (z >> 30)) * 0xbf58476d1ce4e5b9) & M
    z = ((z ^ (z >> 27)) * 0x94d049bb133111eb) & M
    return z ^ (z >> 31)
out = []
for seed, name, draw in json.load(sys.stdin):
    key = scatter(scatter((int(seed) + G) & M) ^ int(name))
    out.append(scatter((key + (draw + 1) * G) & M) >> 40)
print(json.dumps(out))
"#;
    let mut chance = Chance(1);
    let cases: Vec<(u64, u64, u32)> = (0..INSTANCES)
        .map(|_| (chance.next(), chance.next(), chance.next() as u32))
        .collect();
    let asked: Vec<_> = (cases.iter())
        .map(|(seed, name, draw)| json!([seed.to_string(), name.to_string(), draw]))
        .collect();
    let answer = oracle::ask(script, &json!(asked));
    for (index, (seed, name, draw)) in cases.into_iter().enumerate() {
        let share = answer[index].as_f64().expect("it is a whole number");
        assert_eq!(
            (share + 0.5) / f64::from(1 << 24),
            uniform(seed, name, draw)
        );
    }
}

#[test]
fn uniforms_lie_evenly_and_names_do_not_hang_together() {
    let count = 40_000;
    let draws = |name: &str| -> Vec<f64> {
        let name = name_of(name);
        (0..count).map(|draw| uniform(7, name, draw)).collect()
    };
    let names = ["silo3/ladder/climb", "silo3/ladder/clip", "way/rua", "crew"];
    let columns = names.map(draws);
    for column in &columns {
        assert!(column.iter().all(|it| *it > 0.0 && *it < 1.0));
        let mut sorted = column.clone();
        sorted.sort_by(f64::total_cmp);
        let furthest = (sorted.iter().enumerate())
            .map(|(rank, it)| (it - (rank as f64 + 0.5) / f64::from(count)).abs())
            .fold(0.0, f64::max);
        // Kolmogorov's distance: above 1.95 / sqrt(n) once in a thousand times by chance.
        assert!(furthest < 1.95 / f64::from(count).sqrt(), "{furthest}");
    }
    for (index, one) in columns.iter().enumerate() {
        for other in &columns[..index] {
            let product: f64 = (one.iter().zip(other))
                .map(|(a, b)| (a - 0.5) * (b - 0.5) * 12.0)
                .sum();
            // Standard error of a correlation of independent columns: 1 / sqrt(n).
            assert!(product.abs() / f64::from(count).sqrt() < 4.0);
        }
    }
}

#[test]
fn quantiles_are_those_of_the_beta_distribution() {
    let script = r#"
import json, sys
from scipy.stats import beta
print(json.dumps([float(beta.ppf(u, 1 + 4 * x, 5 - 4 * x)) for x, u in json.load(sys.stdin)]))
"#;
    let mut chance = Chance(2);
    let scale = 1_000_000;
    let cases: Vec<(i64, f64)> = (0..INSTANCES)
        .map(|index| {
            // Both ends of the range and both tails are where such a table fails first.
            let likely = match index % 6 {
                0 => 0,
                1 => scale,
                _ => chance.below(scale as u64 + 1) as i64,
            };
            let even = (chance.below(1 << 24) as f64 + 0.5) / f64::from(1 << 24);
            let tail = even * even * even;
            let share = match index % 4 {
                0 => tail,
                1 => 1.0 - tail,
                _ => even,
            };
            // A share is one of 2^24.
            (
                likely,
                ((share * f64::from(1 << 24)).floor() + 0.5) / f64::from(1 << 24),
            )
        })
        .collect();
    let asked: Vec<_> = (cases.iter())
        .map(|(likely, share)| (*likely as f64 / scale as f64, *share))
        .collect();
    let answer = oracle::ask(script, &json!(asked));
    let mut worst: f64 = 0.0;
    for (index, (likely, share)) in cases.into_iter().enumerate() {
        let ours = Spread::of(&three(0, likely, scale)).quantile(share);
        let theirs = answer[index].as_f64().expect("it is a number");
        let apart = (f64::from(ours) / scale as f64 - theirs).abs();
        worst = worst.max(apart);
        assert!(
            apart < 0.001,
            "likely {likely}, share {share}: {ours} {theirs}"
        );
    }
    println!("quantiles are within {worst} of the range");
}

#[test]
fn quantiles_never_fall_when_share_or_likeliest_rise() {
    let mut chance = Chance(3);
    for _ in 0..INSTANCES {
        let likely = chance.below(1_000_000) as i64;
        let higher = likely + chance.below(1_000_001 - likely as u64) as i64;
        let share = chance.below(1 << 24) as f64 / f64::from(1 << 24);
        let further = share + (1.0 - share) * chance.below(1_000) as f64 / 1_000.0;
        let spread = Spread::of(&three(0, likely, 1_000_000));
        assert!(spread.quantile(share) <= spread.quantile(further));
        let more = Spread::of(&three(0, higher, 1_000_000));
        assert!(spread.quantile(share) <= more.quantile(share) + 0.1);
    }
}

#[test]
fn moments_are_those_of_the_beta_pert() {
    // Mean (a + 4m + b) / 6, variance (mean - a)(b - mean) / 7, by even shares instead of chance.
    let mut chance = Chance(4);
    let count = 4_096;
    for _ in 0..INSTANCES {
        let short = chance.below(60_000) as i64;
        let range = 1_000 + chance.below(600_000) as i64;
        let likely = short + chance.below(range as u64 + 1) as i64;
        let spread = Spread::of(&three(short, likely, short + range));
        let times: Vec<f64> = (0..count)
            .map(|step| f64::from(spread.quantile((f64::from(step) + 0.5) / f64::from(count))))
            .collect();
        let mean = times.iter().sum::<f64>() / f64::from(count);
        let squares = times.iter().map(|it| (it - mean) * (it - mean));
        let variance = squares.sum::<f64>() / f64::from(count);
        let (short, likely, long) = (short as f64, likely as f64, (short + range) as f64);
        let expected = (short + 4.0 * likely + long) / 6.0;
        let range = range as f64;
        assert!(
            (mean - expected).abs() < 0.000_3 * range,
            "{mean} {expected}"
        );
        let expected = (expected - short) * (long - expected) / 7.0;
        assert!((variance - expected).abs() < 0.000_3 * range * range);
    }
}

#[test]
fn the_worked_path_has_the_variance_and_the_chance_of_real_draws() {
    // P3: Taylor, Introduction to Management Science: activities 1, 3, 5 and 7, here in minutes; mean 24; with real
    // beta-PERT draws variance 5.857 and P(<= 28) 0.939 (figures of the note beside it, computed).
    let path = [(5, 8, 17), (3, 5, 7), (4, 6, 8), (3, 4, 5)];
    let minute = 60_000;
    let spreads = path.map(|(a, m, b)| Spread::of(&three(a * minute, m * minute, b * minute)));
    let count = 200_000;
    let sums: Vec<f64> = (0..count)
        .map(|draw| {
            let parts = spreads.iter().enumerate().map(|(activity, spread)| {
                let name = name_of(&format!("activity {activity}"));
                f64::from(spread.draw(11, name, draw)) / minute as f64
            });
            parts.sum()
        })
        .collect();
    let mean = sums.iter().sum::<f64>() / f64::from(count);
    let squares = sums.iter().map(|it| (it - mean) * (it - mean));
    let variance = squares.sum::<f64>() / f64::from(count);
    let within = sums.iter().filter(|it| **it <= 28.0).count() as f64 / f64::from(count);
    // Four standard errors of so many draws.
    assert!((mean - 24.0).abs() < 0.022, "{mean}");
    assert!((variance - 5.857).abs() < 0.08, "{variance}");
    assert!((within - 0.939).abs() < 0.002_7, "{within}");
}

#[test]
fn a_fixed_time_is_drawn_exactly() {
    let mut chance = Chance(5);
    for _ in 0..INSTANCES {
        // Whole milliseconds are exact to more than four hours.
        let time = chance.below(1 << 24) as i64;
        let spread = Spread::of(&three(time, time, time));
        let drawn = spread.draw(chance.next(), chance.next(), chance.next() as u32);
        assert_eq!(drawn, time as f32);
    }
}

#[test]
fn the_crews_speed_lies_around_one_and_is_exactly_one_without_a_spread() {
    let name = name_of("crew");
    let none = Spread::of_crew(Ratio(0));
    let usual = Spread::of_crew(Ratio(200_000));
    let count = 20_000;
    let mut sum = 0.0;
    for draw in 0..count {
        assert_eq!(none.draw(1, name, draw), 1.0);
        let speed = usual.draw(1, name, draw);
        assert!((0.8..=1.4).contains(&speed));
        sum += f64::from(speed);
    }
    // Mean of the beta-PERT (0.8, 1, 1.4), within four standard errors.
    let mean = sum / f64::from(count);
    assert!((mean - 6.2 / 6.0).abs() < 4.0 * 0.111 / f64::from(count).sqrt());
}
