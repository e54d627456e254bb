//! Holds quartiles, the Kaplan-Meier curve and trends against published values, NumPy, SciPy, lifelines and a product written out.

use crate::support::{Chance, oracle, pinned};
use groundward::drill::{Span, curve, percentile, summary, trend};
use groundward::units::{Millis, Ratio};
use proptest::prelude::*;
use serde_json::{Value, json};

/// Figures.md P5: percentiles of type 7. Source: Hyndman and Fan 1996; NumPy's default.
#[test]
fn percentiles_are_those_of_type_7() {
    let sorted = [1_000, 2_000, 3_000, 4_000].map(Millis);
    assert_eq!(percentile(&sorted, Ratio(250_000)), Some(Millis(1_750)));
    assert_eq!(percentile(&sorted, Ratio(900_000)), Some(Millis(3_700)));
    assert_eq!(percentile(&[], Ratio(500_000)), None);
}

fn freireich() -> Vec<Span> {
    let ended = [6, 6, 6, 7, 10, 13, 16, 22, 23].map(|it| Span::ended(Millis(it)));
    let broken_off = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35];
    let broken_off = broken_off.map(|it| Span::broken_off(Millis(it)));
    ended.into_iter().chain(broken_off).collect()
}

/// Figures.md P4: the curve and the median of the 6-MP arm. Source: Freireich 1963, computed again.
#[test]
fn the_curve_is_that_of_the_6_mp_arm() {
    let spans = freireich();
    let steps = curve(&spans);
    let left: Vec<i64> = steps.iter().map(|it| (it.left.0 + 50) / 100).collect();
    assert_eq!(left, [8571, 8067, 7529, 6902, 6275, 5378, 4482]);
    let at: Vec<i64> = steps.iter().map(|it| it.time.0).collect();
    assert_eq!(at, [6, 7, 10, 13, 16, 22, 23]);
    let risk: Vec<u32> = steps.iter().map(|it| it.at_risk).collect();
    assert_eq!(risk, [21, 17, 15, 12, 11, 7, 6]);
    let sum = summary(&spans);
    assert_eq!((sum.count, sum.broken_off), (21, 12));
    assert_eq!(sum.median, Some(Millis(23)));
    assert_eq!(sum.upper, None, "three quarters were never reached");
}

/// Leaving out what was broken off would make the same patients, or crews, look quicker than they are.
#[test]
fn leaving_out_what_was_broken_off_would_give_a_shorter_median() {
    let spans = freireich();
    let ended: Vec<Span> = spans.iter().filter(|it| it.ended).copied().collect();
    let (kept, dropped) = (summary(&spans).median, summary(&ended).median);
    assert_eq!((kept, dropped), (Some(Millis(23)), Some(Millis(10))));

    // Drills of which the slow ones are broken off after 5 min: with true times drawn evenly from 2 to 8 min, half of them take
    // 5 min or longer. So the median is 5 min, and that of those that ended is 3.5 min.
    let mut chance = Chance(7);
    let spans: Vec<Span> = (0..400)
        .map(|_| {
            let time = 120_000 + chance.below(360_001) as i64;
            // Some were to be over sooner, for a reason that has nothing to do with the crew.
            let over = if chance.one_in(4) {
                120_000 + chance.below(360_001) as i64
            } else {
                310_000
            };
            Span {
                time: Millis(time.min(over)),
                ended: time <= over,
            }
        })
        .collect();
    let ended: Vec<Span> = spans.iter().filter(|it| it.ended).copied().collect();
    let median = |spans: &[Span]| summary(spans).median.expect("half of them ended").0;
    assert!(
        (median(&spans) - 300_000).abs() < 20_000,
        "{}",
        median(&spans)
    );
    assert!(median(&ended) < 240_000, "{}", median(&ended));
}

/// The product written out, Greenwood's sum and the log-log limits, without any cleverness.
const PRODUCT: &str = r"
import json, math, sys
import numpy as np
from scipy.stats import norm, binom
z = norm.ppf(0.975)
answers = []
for spans in json.load(sys.stdin):
    steps = []
    for t in sorted({t for t, e in spans if e}):
        left, variance = 1.0, 0.0
        for u in sorted({u for u, e in spans if e and u <= t}):
            n = sum(1 for s, e in spans if s >= u)
            d = sum(1 for s, e in spans if s == u and e)
            left *= 1 - d / n
            variance += d / (n * (n - d)) if n > d else math.inf
        if left > 0:
            se = math.sqrt(variance) / math.log(left)
            limits = sorted([left ** math.exp(z * se), left ** math.exp(-z * se)])
        else:
            limits = None
        steps.append([t, left, limits])
    times = [t for t, e in spans]
    whole = all(e for t, e in spans)
    quartiles = np.percentile(times, [25, 50, 75]).tolist() if whole else None
    order = None
    if whole:
        n = len(times)
        best = 1
        for k in range(1, n // 2 + 1):
            if 1 - 2 * binom.cdf(k - 1, n, 0.5) >= 0.95:
                best = k
        cover = max(0.0, 1 - 2 * binom.cdf(best - 1, n, 0.5))
        times.sort()
        order = [times[best - 1], times[n - best], cover]
    answers.append([steps, quartiles, order])
print(json.dumps(answers))
";

#[test]
fn quartiles_curves_and_limits_are_those_of_numpy_scipy_and_a_product_written_out() {
    let mut chance = Chance(1963);
    let instances: Vec<Vec<Span>> = (0..600)
        .map(|number| {
            // Few values, so that many are equal; in every second instance nothing was broken off.
            let (count, values) = (1 + chance.below(40), 2 + chance.below(400));
            let one = |chance: &mut Chance| Span {
                time: Millis(chance.below(values) as i64 * 250),
                ended: number % 2 == 0 || !chance.one_in(3),
            };
            (0..count).map(|_| one(&mut chance)).collect()
        })
        .collect();
    let plain = |spans: &Vec<Span>| -> Value {
        spans
            .iter()
            .map(|it| json!([it.time.0, it.ended]))
            .collect()
    };
    let asked: Value = instances.iter().map(plain).collect();
    let answers = oracle::ask(PRODUCT, &asked);
    let close = |share: Ratio, expected: &Value| {
        let expected = expected.as_f64().expect("a share") * 1e6;
        assert!(
            (share.0 as f64 - expected).abs() <= 0.6,
            "{share:?} {expected}"
        );
    };
    let mut ordered = 0;
    for (spans, answer) in instances.iter().zip(answers.as_array().expect("a list")) {
        let sum = summary(spans);
        let steps = answer[0].as_array().expect("a list");
        assert_eq!(sum.curve.len(), steps.len());
        for (step, expected) in sum.curve.iter().zip(steps) {
            assert_eq!(Some(step.time.0), expected[0].as_i64());
            close(step.left, &expected[1]);
            assert_eq!(step.low.is_none(), expected[2].is_null());
            if let (Some(low), Some(high)) = (step.low, step.high) {
                close(low, &expected[2][0]);
                close(high, &expected[2][1]);
            }
        }
        let by_curve = |share: f64| {
            let step = steps
                .iter()
                .find(|it| it[1].as_f64().expect("a share") <= share + 1e-9);
            step.and_then(|it| it[0].as_i64()).map(Millis)
        };
        if sum.broken_off > 0 {
            assert_eq!(sum.lower, by_curve(0.75));
            assert_eq!(sum.median, by_curve(0.5));
            assert_eq!(sum.upper, by_curve(0.25));
            continue;
        }
        ordered += 1;
        let found = [sum.lower, sum.median, sum.upper];
        for (found, expected) in found.iter().zip(answer[1].as_array().expect("three")) {
            let expected = expected.as_f64().expect("a time");
            assert!((found.expect("it ended").0 as f64 - expected).abs() <= 0.5);
        }
        let between = sum.median_between.expect("there are times");
        assert!(between.exact);
        assert_eq!(Some(between.low.0), answer[2][0].as_i64());
        assert_eq!(between.high.map(|it| it.0), answer[2][1].as_i64());
        close(between.coverage, &answer[2][2]);
    }
    assert_eq!(
        ordered,
        300 + instances
            .iter()
            .skip(1)
            .step_by(2)
            .filter(|it| it.iter().all(|it| it.ended))
            .count()
    );
}

/// lifelines' own curve, its numbers, its log-log limits, its median and that of the limits.
const LIFELINES: &str = r"
import json, math, sys
import warnings
warnings.simplefilter('ignore')
from lifelines import KaplanMeierFitter
from lifelines.utils import median_survival_times
plain = lambda it: it if math.isfinite(it) else None
answers = []
for spans in json.load(sys.stdin):
    fit = KaplanMeierFitter().fit([t for t, e in spans], [e for t, e in spans])
    table, limits = fit.event_table, fit.confidence_interval_
    columns = table.index, table.at_risk, table.observed, fit.survival_function_.iloc[:, 0]
    rows = zip(*(it.tolist() for it in columns), limits.values.tolist())
    steps = [[t, n, d, left, *map(plain, both)] for t, n, d, left, both in rows if d > 0]
    between = median_survival_times(limits).iloc[0]
    answers.append([steps, plain(fit.median_survival_time_), *map(plain, between)])
print(json.dumps(answers))
";

/// Both take the first time at which no more than half are left. Two cases are apart:
/// - Where nothing was broken off, a summary has quartiles of type 7 and lifelines still the curve's. With an even number half are
///   left from one middle time to the next, and type 7 is the middle of the two while lifelines says the first.
/// - Where exactly half are left, lifelines, which adds logarithms, may find a hair more than half and take the next step.
///   Shares here are ppm, so the first one counts.
#[test]
fn curves_and_medians_are_those_of_lifelines() {
    let mut chance = Chance(1958);
    let instances: Vec<Vec<Span>> = (0..500)
        .map(|number| {
            // Few values, so that many are equal and some ended when others were broken off; in one of four none was.
            let (count, values) = (1 + chance.below(40), 2 + chance.below(60));
            let one = |chance: &mut Chance| Span {
                time: Millis((1 + chance.below(values) as i64) * 250),
                ended: number % 4 == 0 || !chance.one_in(1 + number % 4),
            };
            (0..count).map(|_| one(&mut chance)).collect()
        })
        .collect();
    let plain = |spans: &Vec<Span>| -> Value {
        spans
            .iter()
            .map(|it| json!([it.time.0, it.ended]))
            .collect()
    };
    let answers = pinned::ask(LIFELINES, &instances.iter().map(plain).collect());
    let answers = answers.as_array().expect("a list");
    assert_eq!(answers.len(), instances.len());
    let close = |share: Option<Ratio>, expected: &Value| {
        let (share, expected) = (share.expect("a share").0, expected.as_f64());
        let off = share as f64 - expected.expect("a share") * 1e6;
        assert!(off.abs() <= 0.6, "{share} {expected:?}");
    };
    let at = |value: &Value| value.as_f64().map(|it| Millis(it as i64));
    let (mut whole, mut plateaus, mut halves, mut later, mut never) = (0, 0, 0, 0, 0);
    for (spans, answer) in instances.iter().zip(answers) {
        let sum = summary(spans);
        let steps = answer[0].as_array().expect("a list");
        assert_eq!(sum.curve.len(), steps.len());
        for (step, expected) in sum.curve.iter().zip(steps) {
            assert_eq!(Some(step.time), at(&expected[0]));
            assert_eq!(Some(u64::from(step.at_risk)), expected[1].as_u64());
            assert_eq!(Some(u64::from(step.ended)), expected[2].as_u64());
            close(Some(step.left), &expected[3]);
            if step.left > Ratio(0) {
                close(step.low, &expected[4]);
                close(step.high, &expected[5]);
            }
        }
        // The two steps that a median at exactly a half could be.
        let half = sum.curve.iter().position(|it| it.left <= Ratio(500_000));
        let exactly = half.is_some_and(|it| sum.curve[it].left == Ratio(500_000));
        let first = half.map(|it| sum.curve[it].time);
        let next = half.and_then(|it| sum.curve.get(it + 1)).map(|it| it.time);
        let theirs = at(&answer[1]);
        match exactly {
            true => {
                halves += 1;
                later += usize::from(theirs != first);
                assert!(theirs == first || theirs == next, "{theirs:?} {spans:?}");
            }
            false => assert_eq!(theirs, first, "{spans:?}"),
        }
        never += usize::from(theirs.is_none());
        if sum.broken_off > 0 {
            assert_eq!(sum.median, first, "{spans:?}");
            let between = sum.median_between;
            assert_eq!(between.map(|it| it.low), at(&answer[2]), "{spans:?}");
            // Where nobody is left lifelines has a limit of none, and here nothing is known of it.
            let last = sum.curve.last().filter(|it| it.left == Ratio(0));
            let nobody = last.map(|it| it.time);
            let high = at(&answer[3]).filter(|it| Some(*it) != nobody);
            assert_eq!(between.and_then(|it| it.high), high, "{spans:?}");
            continue;
        }
        whole += 1;
        let own = sum.median.expect("all ended");
        match (exactly, first, next) {
            (true, Some(first), Some(next)) => {
                plateaus += 1;
                assert_eq!(own, Millis((first.0 + next.0) / 2), "{spans:?}");
            }
            _ => assert_eq!(Some(own), first, "{spans:?}"),
        }
    }
    // All cases are there, and so is what lifelines does with a hair.
    let cases = [whole, plateaus, halves, never];
    assert!(cases.iter().all(|it| *it > 10), "{cases:?}");
    assert!(later < halves, "{later} of {halves}");
}

/// SciPy's own, in ms for 30 days; which of the slopes were held at the ends is told beside them.
const SLOPES: &str = r"
import json, sys
import numpy as np
from scipy.stats import theilslopes, norm
answers = []
for dated in json.load(sys.stdin):
    x = np.array([d for d, t in dated]) / (30 * 86400000.0)
    y = np.array([t for d, t in dated], dtype=float)
    slope, _, low, high = theilslopes(y, x, alpha=0.95)
    every = sorted((y[j] - y[i]) / (x[j] - x[i]) for i in range(len(x)) for j in range(len(x)) if x[j] > x[i])
    nt = len(every)
    ties = lambda v: sum(k * (k - 1) * (2 * k + 5) for k in np.unique(v, return_counts=True)[1])
    n = len(y)
    sigma = np.sqrt(max(0, n * (n - 1) * (2 * n + 5) - ties(x) - ties(y)) / 18)
    z = norm.ppf(0.975)
    held = [int(np.round((nt - z * sigma) / 2)) < 1, int(np.round((nt + z * sigma) / 2)) > nt - 1]
    answers.append([slope, low, high, held])
print(json.dumps(answers))
";

#[test]
fn trends_are_the_slopes_of_theil_and_sen_as_scipy_has_them() {
    let mut chance = Chance(1968);
    let instances: Vec<Vec<(i64, Span)>> = (0..600)
        .map(|_| {
            let count = 5 + chance.below(25);
            let drift = chance.below(200) as i64 - 100;
            let mut dated: Vec<(i64, Span)> = (0..count)
                .map(|_| {
                    let day = chance.below(300) as i64;
                    let time = 100_000 + day * drift + chance.below(60_000) as i64;
                    (day * 86_400_000, Span::ended(Millis(time)))
                })
                .collect();
            dated[0].0 = -86_400_000;
            dated
        })
        .collect();
    let plain = |dated: &Vec<(i64, Span)>| -> Value {
        dated
            .iter()
            .map(|(day, it)| json!([day, it.time.0]))
            .collect()
    };
    let answers = oracle::ask(SLOPES, &instances.iter().map(plain).collect());
    let mut bounded = 0;
    for (dated, answer) in instances.iter().zip(answers.as_array().expect("a list")) {
        let found = trend(dated).expect("the dates differ");
        let close = |found: Millis, expected: &Value| {
            let expected = expected.as_f64().expect("a slope");
            assert!(
                (found.0 as f64 - expected).abs() <= 1.0,
                "{found:?} {expected}"
            );
        };
        close(found.slope, &answer[0]);
        for (limit, (expected, held)) in [found.low, found.high]
            .into_iter()
            .zip([(&answer[1], &answer[3][0]), (&answer[2], &answer[3][1])])
        {
            // Where SciPy holds a limit at the steepest slope there is, nothing is known: this says so.
            assert_eq!(limit.is_none(), held.as_bool() == Some(true));
            if let Some(limit) = limit {
                close(limit, expected);
                bounded += 1;
            }
        }
    }
    assert!(bounded > 1_000, "{bounded}");
}

/// Drills that become slower and are broken off at 5 min: without those the trend would be flatter than it is.
#[test]
fn what_was_broken_off_steepens_a_trend_that_it_hides() {
    let day = 86_400_000;
    let dated: Vec<(i64, Span)> = (0..30_i64)
        .map(|number| {
            let time = 180_000 + number * 6_000 + (number * 7 % 5 - 2) * 15_000;
            let span = match time > 300_000 {
                true => Span::broken_off(Millis(300_000)),
                false => Span::ended(Millis(time)),
            };
            (number * 10 * day, span)
        })
        .collect();
    let ended: Vec<_> = dated.iter().filter(|it| it.1.ended).copied().collect();
    assert!(ended.len() < 25);
    let (all, only) = (trend(&dated).expect("dated"), trend(&ended).expect("dated"));
    // 6 s for each 10 days is 18 s for 30 days.
    assert!(all.slope > only.slope, "{all:?} {only:?}");
    assert!((all.slope.0 - 18_000).abs() < (only.slope.0 - 18_000).abs());
}

#[test]
fn a_trend_needs_two_dates_and_one_bad_drill_does_not_turn_it() {
    let at = |day: i64, seconds: i64| (day * 86_400_000, Span::ended(Millis(seconds * 1_000)));
    assert_eq!(trend(&[at(1, 50), at(1, 60)]), None);
    let mut dated: Vec<_> = (0..8).map(|it| at(it * 30, 200 - 10 * it)).collect();
    assert_eq!(trend(&dated).expect("dated").slope, Millis(-10_000));
    dated[7].1 = Span::ended(Millis(900_000));
    let found = trend(&dated).expect("dated");
    assert!(found.slope < Millis(0), "{found:?}");
}

fn spans() -> impl Strategy<Value = Vec<Span>> {
    let one = (0_i64..2_000_000, any::<bool>(), any::<bool>());
    prop::collection::vec(one, 1..60).prop_map(|all| {
        let span = |(ms, one, other)| Span {
            time: Millis(ms),
            ended: one || other,
        };
        all.into_iter().map(span).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn the_order_of_times_makes_no_difference(all in spans(), seed in any::<u64>()) {
        let mut shuffled = all.clone();
        let mut chance = Chance(seed);
        for index in (1..shuffled.len()).rev() {
            shuffled.swap(index, chance.below(index as u64 + 1) as usize);
        }
        prop_assert_eq!(summary(&all), summary(&shuffled));
    }

    /// Every time twice is twice as much known: no limit moves outwards.
    #[test]
    fn more_times_narrow_the_interval(all in spans()) {
        let twice: Vec<Span> = all.iter().chain(&all).copied().collect();
        let (once, twice) = (summary(&all).median_between, summary(&twice).median_between);
        if let (Some(once), Some(twice)) = (once, twice) {
            let least = |it: Option<Millis>| it.unwrap_or(Millis(i64::MAX));
            prop_assert!(once.low <= twice.low, "{:?} {:?}", once, twice);
            prop_assert!(least(once.high) >= least(twice.high), "{:?} {:?}", once, twice);
        }
    }

    /// A curve falls from all to none and its limits lie on both sides of it.
    #[test]
    fn a_curve_falls_between_its_limits(all in spans()) {
        let mut before = Ratio(1_000_000);
        for step in curve(&all) {
            prop_assert!(step.left < before);
            prop_assert!(step.low.is_none_or(|low| low <= step.left));
            prop_assert!(step.high.is_none_or(|high| high >= step.left));
            before = step.left;
        }
    }

    /// A time that would have gone on never makes the others look longer than one that ended there.
    #[test]
    fn what_was_broken_off_never_shortens_a_curve(all in spans(), which in any::<prop::sample::Index>()) {
        let mut later = all.clone();
        let index = which.index(later.len());
        later[index].ended = false;
        let least = |it: Option<Millis>| it.unwrap_or(Millis(i64::MAX));
        let left_at = |spans: &[Span], at: Millis| {
            let steps = curve(spans);
            steps.iter().rev().find(|it| it.time <= at).map_or(Ratio(1_000_000), |it| it.left)
        };
        for span in &all {
            prop_assert!(left_at(&later, span.time) >= left_at(&all, span.time));
        }
        let by_curve = |spans: &[Span]| curve(spans).iter().find(|it| it.left <= Ratio(500_000)).map(|it| it.time);
        prop_assert!(least(by_curve(&later)) >= least(by_curve(&all)));
    }
}
