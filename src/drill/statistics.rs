//! Sums up times of which some were broken off: quartiles, the share still going, a trend, each with how sure it is.
//!
//! A time broken off was at least that long. It is counted so (Kaplan-Meier) and never left out, because leaving it out
//! makes a crew look quicker than it is. Quartiles are those of Hyndman and Fan's type 7, as NumPy's default; where a time
//! was broken off they are read from the Kaplan-Meier curve. A trend is the Theil-Sen slope with Sen's interval: with few
//! drills a single bad one turns a least-squares line over and hardly moves this one; broken-off drills enter it as bounds.
//! Intervals of quartiles hold for every shape: between two of the ordered times, with their exact coverage, or by the
//! log-log interval of the curve, which is an approximation, as is Wilson's of a share. Whole ms and ppm outside; floats inside only.

use serde::{Deserialize, Serialize};

use crate::units::{Millis, Ratio};

/// One time: how long it took, or how long it had taken when it was broken off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Span {
    /// How long, in ms.
    #[serde(rename = "ms")]
    pub time: Millis,
    /// True where it came to its end; else it would have taken at least that long.
    pub ended: bool,
}

impl Span {
    /// A time that came to its end.
    pub const fn ended(time: Millis) -> Span {
        Span { time, ended: true }
    }

    /// A time that was broken off.
    pub const fn broken_off(time: Millis) -> Span {
        Span { time, ended: false }
    }
}

/// One step of the Kaplan-Meier curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CurveStep {
    /// When.
    pub time: Millis,
    /// How many were still going just before.
    pub at_risk: u32,
    /// How many came to their end then.
    pub ended: u32,
    /// The share that takes longer.
    pub left: Ratio,
    /// That share is not below this, by the log-log interval; none where nothing can be said.
    pub low: Option<Ratio>,
    /// That share is not above this.
    pub high: Option<Ratio>,
}

/// What is between two limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Between {
    /// Not below this.
    pub low: Millis,
    /// Not above this; none where too many were broken off to say.
    pub high: Option<Millis>,
    /// In so many of such samples what is true lies between the limits.
    pub coverage: Ratio,
    /// True where that holds exactly or better; else it is an approximation.
    pub exact: bool,
}

/// Times in short.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Summary {
    /// How many there are, those broken off counted.
    pub count: u32,
    /// How many were broken off.
    pub broken_off: u32,
    /// A quarter takes this long or less; none where too many were broken off to say.
    pub lower: Option<Millis>,
    /// Half of them.
    pub median: Option<Millis>,
    /// Three quarters.
    pub upper: Option<Millis>,
    /// How sure the lower quartile is.
    pub lower_between: Option<Between>,
    /// How sure the median is.
    pub median_between: Option<Between>,
    /// How sure the upper quartile is.
    pub upper_between: Option<Between>,
    /// The shortest that came to its end.
    pub shortest: Option<Millis>,
    /// The longest that came to its end.
    pub longest: Option<Millis>,
    /// The share still going, at every time at which one came to its end.
    pub curve: Vec<CurveStep>,
}

/// How times change from drill to drill.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Trend {
    /// So much longer every 30 days; below zero they become shorter.
    pub slope: Millis,
    /// Not below this, in 95 of 100; none where too little is known.
    pub low: Option<Millis>,
    /// Not above this.
    pub high: Option<Millis>,
}

const ALL: i64 = 1_000_000;
/// The coverage that intervals aim at.
pub const COVERAGE: Ratio = Ratio(950_000);
/// The standard normal leaves a fortieth above this.
const NORMAL: f64 = 1.959_963_984_540_054;
/// What a slope is given for, in ms.
pub(super) const TREND_DAYS_MS: i64 = 30 * 86_400_000;
/// So many times at most go into a trend, the newest ones: every pair of them is compared.
pub(super) const TREND_MAX: usize = 400;

/// The time that a share of sorted times does not exceed (Hyndman and Fan's type 7); none where there are none.
pub fn percentile(sorted: &[Millis], share: Ratio) -> Option<Millis> {
    let last = i64::try_from(sorted.len()).ok()?.checked_sub(1)?;
    let place = last.checked_mul(share.0.clamp(0, ALL))?;
    let below = usize::try_from(place / ALL).ok()?;
    let lower = *sorted.get(below)?;
    let upper = sorted.get(below.saturating_add(1)).unwrap_or(&lower);
    let gap = i128::from(upper.0) - i128::from(lower.0);
    let part = gap * i128::from(place % ALL) + i128::from(ALL / 2);
    let part = i64::try_from(part.div_euclid(i128::from(ALL))).ok()?;
    Some(lower.saturating_add(Millis(part)))
}

/// The Kaplan-Meier curve with its log-log interval, from Greenwood's variance.
pub fn curve(spans: &[Span]) -> Vec<CurveStep> {
    let mut sorted = spans.to_vec();
    sorted.sort_unstable();
    let mut steps = Vec::new();
    let (mut left, mut variance) = (1.0_f64, 0.0_f64);
    let mut going = sorted.len();
    for same in sorted.chunk_by(|one, other| one.time == other.time) {
        let ended = same.iter().filter(|it| it.ended).count();
        if ended > 0 {
            let (all, done) = (going as f64, ended as f64);
            left *= (all - done) / all;
            variance += done / (all * (all - done));
            let (low, high) = limits(left, variance).unzip();
            steps.push(CurveStep {
                time: same[0].time,
                at_risk: count(going),
                ended: count(ended),
                left: ratio(left),
                low,
                high,
            });
        }
        going = going.saturating_sub(same.len());
    }
    steps
}

/// The log-log interval of a share; none where nobody is left, because the variance is then unknown.
fn limits(left: f64, variance: f64) -> Option<(Ratio, Ratio)> {
    if left <= 0.0 {
        return None;
    }
    let spread = (NORMAL * variance.sqrt() / left.ln()).exp();
    Some((ratio(left.powf(1.0 / spread)), ratio(left.powf(spread))))
}

/// The first time by which no more than a share of a curve is left.
fn reached(curve: &[CurveStep], share: Ratio) -> Option<Millis> {
    let step = curve.iter().find(|it| it.left <= share)?;
    Some(step.time)
}

/// Sums times up; their order makes no difference.
pub fn summary(spans: &[Span]) -> Summary {
    let mut times: Vec<Millis> = spans
        .iter()
        .filter(|it| it.ended)
        .map(|it| it.time)
        .collect();
    times.sort_unstable();
    let curve = curve(spans);
    let broken_off = spans.len().saturating_sub(times.len());
    let share = |share: i64| match broken_off {
        0 => percentile(&times, Ratio(share)),
        _ => reached(&curve, Ratio(ALL.saturating_sub(share))),
    };
    let between = |share: i64| match broken_off {
        0 => between_ordered(&times, Ratio(share)),
        _ => between_curve(&curve, Ratio(ALL.saturating_sub(share))),
    };
    Summary {
        count: count(spans.len()),
        broken_off: count(broken_off),
        lower: share(250_000),
        median: share(500_000),
        upper: share(750_000),
        lower_between: between(250_000),
        median_between: between(500_000),
        upper_between: between(750_000),
        shortest: times.first().copied(),
        longest: times.last().copied(),
        curve,
    }
}

/// The two of the ordered times that have between them, in 95 of 100 samples or more and whatever the shape, the time that a
/// share of all does not exceed; the first or the last where there are too few for that, with the coverage that is left.
///
/// Of a sample as many lie below that time as of so many throws with that chance (binomial). Each side misses in a fortieth.
fn between_ordered(sorted: &[Millis], part: Ratio) -> Option<Between> {
    let all = sorted.len();
    let last = all.checked_sub(1)?;
    let part = share(part);
    // In logarithms, because the chance of none at all is too small for a number where there are many.
    let odds = part.ln() - (1.0 - part).ln();
    let mut chances = vec![(1.0 - part).ln() * all as f64];
    for done in 0..all {
        let more = ((all - done) as f64 / (done + 1) as f64).ln() + odds;
        chances.push(chances[done] + more);
    }
    let chances: Vec<f64> = chances.into_iter().map(f64::exp).collect();
    let miss = (1.0 - share(COVERAGE)) / 2.0;
    let low = missed(chances.iter(), miss).saturating_sub(1);
    let high = last.min(all - missed(chances.iter().rev(), miss));
    let covered = chances.get(low + 1..=high).unwrap_or_default();
    Some(Between {
        low: *sorted.get(low)?,
        high: Some(*sorted.get(high)?),
        coverage: ratio(covered.iter().sum()),
        exact: true,
    })
}

/// How many chances from the first on are together no more than may be missed.
fn missed<'a>(chances: impl Iterator<Item = &'a f64>, miss: f64) -> usize {
    let mut sum = 0.0;
    let within = |chance: &&f64| {
        sum += **chance;
        sum <= miss
    };
    chances.take_while(within).count()
}

/// The times at which the interval of the curve meets a share.
fn between_curve(curve: &[CurveStep], left: Ratio) -> Option<Between> {
    let low = curve.iter().find(|it| it.low.unwrap_or(Ratio(0)) <= left)?;
    let high = curve
        .iter()
        .find(|it| it.high.is_some_and(|high| high <= left));
    Some(Between {
        low: low.time,
        high: high.map(|it| it.time),
        coverage: COVERAGE,
        exact: false,
    })
}

/// What a share of so many lies between, in 95 of 100 (Wilson's score interval); none where there are none.
pub fn share_between(part: u32, of: u32) -> Option<(Ratio, Ratio)> {
    if of == 0 {
        return None;
    }
    let (all, found) = (f64::from(of), f64::from(part.min(of)) / f64::from(of));
    let square = NORMAL * NORMAL;
    let middle = (found + square / (2.0 * all)) / (1.0 + square / all);
    let spread = found * (1.0 - found) / all + square / (4.0 * all * all);
    let reach = NORMAL * spread.sqrt() / (1.0 + square / all);
    let within = |share: f64| ratio(share.clamp(0.0, 1.0));
    Some((within(middle - reach), within(middle + reach)))
}

/// The Theil-Sen slope of times over dates (wall clock, ms) and Sen's 95 % interval; none where the dates do not differ.
///
/// A pair of which one was broken off says only that the slope is not below, or not above, what the two give. Both broken
/// off, or the shorter one, say nothing. The slope is where as many pairs say "steeper" as "flatter".
pub fn trend(dated: &[(i64, Span)]) -> Option<Trend> {
    let mut dated = dated.to_vec();
    dated.sort_unstable();
    let dated = &dated[dated.len().saturating_sub(TREND_MAX)..];
    // How much the count of "steeper" less "flatter" falls where the slope passes each value, and what it begins with.
    let mut falls: Vec<(f64, u32)> = Vec::new();
    let mut begins: i64 = 0;
    for (index, (day, span)) in dated.iter().enumerate() {
        for (later, other) in &dated[index + 1..] {
            let gap = later.saturating_sub(*day);
            let known = u32::from(span.ended) + u32::from(other.ended);
            if gap <= 0 || known == 0 {
                continue;
            }
            falls.push((
                (other.time.0 as f64 - span.time.0 as f64) / gap as f64,
                known,
            ));
            begins += i64::from(span.ended);
        }
    }
    falls.sort_unstable_by(|one, other| one.0.total_cmp(&other.0));
    let per_30_days = |slope: f64| Millis(whole(slope * TREND_DAYS_MS as f64));
    let at = |fallen: f64| {
        let mut sum = 0.0;
        let passed = falls.iter().find(|it| {
            sum += f64::from(it.1);
            sum >= fallen
        });
        passed.map(|it| it.0)
    };
    if begins == 0 {
        return None;
    }
    let begins = begins as f64;
    // Where the count is exactly zero between two slopes it is zero at all of them.
    let (first, next) = (at(begins)?, at(begins + 1.0)?);
    let reach = NORMAL * deviation(dated);
    let low = (2.0 * ((begins - reach) / 2.0).round_ties_even()).max(0.0);
    let high = 2.0 * ((begins + reach) / 2.0).round_ties_even() + 2.0;
    Some(Trend {
        slope: per_30_days(f64::midpoint(first, next)),
        low: (low > 0.0).then(|| at(low)).flatten().map(per_30_days),
        high: at(high).map(per_30_days),
    })
}

/// The standard deviation of Kendall's count where there is no trend, equal dates and equal times counted (Sen 1968).
fn deviation(dated: &[(i64, Span)]) -> f64 {
    let part = |count: usize| {
        let count = count as f64;
        count * (count - 1.0) * (2.0 * count + 5.0)
    };
    let ties = |mut values: Vec<i64>| -> f64 {
        values.sort_unstable();
        let same = values.chunk_by(|one, other| one == other);
        same.map(|it| part(it.len())).sum()
    };
    let days = ties(dated.iter().map(|it| it.0).collect());
    let times = ties(dated.iter().map(|it| it.1.time.0).collect());
    ((part(dated.len()) - days - times).max(0.0) / 18.0).sqrt()
}

fn count(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

fn share(ratio: Ratio) -> f64 {
    ratio.0 as f64 / ALL as f64
}

fn ratio(share: f64) -> Ratio {
    Ratio(whole(share * ALL as f64))
}

/// The nearest whole number, held at the ends of the range.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a cast from a float is held at the ends of the range, which is what is wanted"
)]
pub(super) fn whole(value: f64) -> i64 {
    value.round() as i64
}
