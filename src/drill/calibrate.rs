//! Holds the times measured in drills against the three points of the plan, and proposes new ones.
//!
//! A proposal is a list of edits for a person to review; nothing is written from here. The middle time is the measured median,
//! with the plan's as one drill more; the spread is that between the measured quartiles, with the plan's as so many drills
//! more as the policy asks for, because few drills say little of a spread. The shape is the plan's. One bad drill moves none
//! of these far. How sure the median is stands beside it, with its coverage, and is not drawn towards the plan.
//! Limits: only drills by day, because the plan's times are those of the day; only steps whose work is known to have begun,
//! and orders that were answered or broken off; a link only where it is most of a way, in its slower direction; kit that is
//! heavy, a crew's own pace, which all times of one drill share, and who was new are in the times and not seen.

use std::collections::{BTreeMap, BTreeSet};

use super::learn::counted;
use super::lesson::{Lesson, Passed, Played, WayGone};
use super::statistics::{Span, Summary, summary, whole};
use crate::plan::{Edit, Link, Plan, Step, ThreePoint, link_times};
use crate::readiness::{Conditions, Depth, Forecast, Site, Spread};
use crate::units::{Millimetres, Millis};

/// Which three points of a plan.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Figure {
    /// From when the words of an order could be begun to its read-back.
    OrderTime,
    /// A link, by its id.
    Link(String),
    /// A step of a method.
    Step {
        /// Position id.
        position: String,
        /// Method id.
        method: String,
        /// Its index.
        step: usize,
    },
}

/// What drills say of one figure of the plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Measured {
    /// Which figure.
    pub figure: Figure,
    /// What the plan has.
    pub planned: ThreePoint,
    /// The time that half of the draws from the plan's figure do not exceed.
    pub planned_median: Millis,
    /// Incident ids of the drills that it was measured in, the oldest first.
    pub drills: Vec<String>,
    /// Wall clock at the first and the last of them, ms since 1970.
    pub from_to_ms: (i64, i64),
    /// What was measured.
    pub measured: Summary,
    /// What to write instead.
    pub verdict: Verdict,
}

/// What follows for a figure of the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// There are not enough drills yet.
    TooFew,
    /// Too many were broken off: the median was not reached.
    NotReached,
    /// The plan's median lies where the drills have theirs; written anew it would be this.
    Agrees(ThreePoint),
    /// It does not: this is proposed.
    Differs(ThreePoint),
}

impl Measured {
    /// The three points that follow from the drills.
    pub fn points(&self) -> Option<ThreePoint> {
        match self.verdict {
            Verdict::Agrees(points) | Verdict::Differs(points) => Some(points),
            Verdict::TooFew | Verdict::NotReached => None,
        }
    }

    /// True where something is proposed.
    pub fn differs(&self) -> bool {
        matches!(self.verdict, Verdict::Differs(_))
    }
}

/// The plan's median counts as so many drills beside those that were measured.
const PLAN_COUNTS: f64 = 1.0;
/// The shape of a figure without any spread: where the likeliest time is in the range. A judgement without a source.
const SHAPE: f64 = 1.0 / 3.0;
/// What shapes are computed on.
const RANGE: f64 = 1_000_000.0;

/// Holds every figure that was measured against the plan, in the order of the plan's own figures.
pub fn calibrate(plan: &Plan, lessons: &[Lesson]) -> Vec<Measured> {
    let mut found: BTreeMap<Figure, Vec<(&Lesson, Span)>> = BTreeMap::new();
    for lesson in counted(lessons, Played::Drill).filter(|it| !it.dark) {
        for span in &lesson.heard {
            let times = found.entry(Figure::OrderTime).or_default();
            times.push((lesson, *span));
        }
        for way in &lesson.ways {
            if let Some((link, span)) = most_of(plan, way) {
                found.entry(link).or_default().push((lesson, span));
            }
        }
        for it in &lesson.steps {
            let figure = Figure::Step {
                position: it.position.clone(),
                method: it.method.clone(),
                step: it.step,
            };
            let same = step_of(plan, &figure).is_some_and(|step| step.say == it.say);
            if let Some(work) = it.work.filter(|_| same) {
                found.entry(figure).or_default().push((lesson, work));
            }
        }
    }
    let found = found.into_iter();
    found
        .filter_map(|(figure, times)| measured(plan, figure, &times))
        .collect()
}

/// The edits that write the proposals of some figures into the plan, with what they rest on, as `evidence` words it for a
/// method: how many drills at least. A method's times count as drilled where all of its steps were measured often enough.
pub fn edits(
    plan: &Plan,
    chosen: &[&Measured],
    evidence: &dyn Fn(&Measured) -> String,
) -> Vec<Edit> {
    let mut edits = Vec::new();
    let mut methods: BTreeMap<(&str, &str), Vec<&Measured>> = BTreeMap::new();
    for it in chosen {
        let Some(points) = it.points() else { continue };
        let path = match &it.figure {
            Figure::OrderTime => "policy.order_time".to_owned(),
            Figure::Link(link) => format!("link.{link}.time"),
            Figure::Step {
                position,
                method,
                step,
            } => {
                methods.entry((position, method)).or_default().push(it);
                let number = step.saturating_add(1);
                format!("position.{position}.method.{method}.step.{number}.time")
            }
        };
        let [short, likely, long] = [points.short, points.likely, points.long].map(in_words);
        let value = format!("[\"{short}\", \"{likely}\", \"{long}\"]");
        edits.push(Edit::Set { path, value });
    }
    for ((position, method), its) in methods {
        let drills = |it: &&&Measured| it.drills.len();
        let Some(fewest) = its.iter().min_by_key(drills) else {
            continue;
        };
        let at = format!("position.{position}.method.{method}");
        edits.push(Edit::set(&format!("{at}.evidence"), &evidence(fewest)));
        let steps = plan.position(position).and_then(|it| it.method(method));
        if steps.is_some_and(|it| it.steps.len() == its.len()) {
            edits.push(Edit::Set {
                path: format!("{at}.drills"),
                value: fewest.drills.len().to_string(),
            });
        }
    }
    edits
}

/// How a position stands with two plans, everything else alike, the draws too: before and after a change.
pub fn beside(
    before: &Plan,
    after: &Plan,
    position: &str,
    conditions: &Conditions,
) -> Option<[Forecast; 2]> {
    let look = |plan: &Plan| {
        let index = plan.positions.iter().position(|it| it.id == position)?;
        Some(
            Site::new(plan, conditions, Depth::SITE)
                .look(index)
                .forecast,
        )
    };
    Some([look(before)?, look(after)?])
}

/// Positions whose readiness a figure bears on: one for a step, all for what everybody uses.
pub fn touched<'p>(plan: &'p Plan, chosen: &[&Measured]) -> Vec<&'p str> {
    let mut at: BTreeSet<&str> = BTreeSet::new();
    for it in chosen {
        match &it.figure {
            Figure::Step { position, .. } => _ = at.insert(position),
            Figure::OrderTime | Figure::Link(_) => {
                at.extend(plan.positions.iter().map(|it| it.id.as_str()));
            }
        }
    }
    let own = plan.positions.iter().map(|it| it.id.as_str());
    own.filter(|it| at.contains(it)).collect()
}

fn step_of<'p>(plan: &'p Plan, figure: &Figure) -> Option<&'p Step> {
    let Figure::Step {
        position,
        method,
        step,
    } = figure
    else {
        return None;
    };
    plan.position(position)?.method(method)?.steps.get(*step)
}

/// The link that makes at least half of a way, with its share of the time. A plan has one measured time for both directions, so
/// only the slower one counts: upwards, where it rises.
fn most_of(plan: &Plan, way: &WayGone) -> Option<(Figure, Span)> {
    let most = way.links.iter().max_by_key(|it| it.likely_ms)?;
    if most.likely_ms <= 0 || most.likely_ms.saturating_mul(2) < way.likely_ms {
        return None;
    }
    let link = plan.links.iter().find(|it| it.id == most.link)?;
    let slower = link.rise == Millimetres::ZERO || most.forwards == upwards(link);
    if !slower {
        return None;
    }
    // What is seldom as quick as likely has the larger share: a way is divided as the medians of its links are.
    let weight = |it: &Passed| {
        let link = plan.links.iter().find(|link| link.id == it.link);
        let times = link.map(|link| link_times(link, &plan.policy, it.forwards));
        let times = times.filter(|times| times.likely > Millis::ZERO);
        let longer = times.map_or(1.0, |times| quantiles(&times)[1] / times.likely.0 as f64);
        it.likely_ms as f64 * longer
    };
    let lengths = way.links.iter().map(|it| it.likely_ms);
    let known = lengths.fold(0_i64, i64::saturating_add);
    let all: f64 = way.links.iter().map(weight).sum();
    // What belongs to no link is taken to be like those that are known.
    let all = all * (way.likely_ms.max(known) as f64 / known as f64);
    let span = Span {
        time: Millis(whole(way.span.time.0 as f64 * weight(most) / all)),
        ended: way.span.ended,
    };
    Some((Figure::Link(link.id.clone()), span))
}

/// True where a link rises towards its `to` end.
fn upwards(link: &Link) -> bool {
    link.rise >= Millimetres::ZERO
}

fn measured(plan: &Plan, figure: Figure, times: &[(&Lesson, Span)]) -> Option<Measured> {
    let planned = match &figure {
        Figure::OrderTime => plan.policy.order_time,
        Figure::Link(id) => {
            let link = plan.links.iter().find(|it| it.id == *id)?;
            link_times(link, &plan.policy, upwards(link))
        }
        Figure::Step { .. } => step_of(plan, &figure)?.time,
    };
    let spans: Vec<Span> = times.iter().map(|it| it.1).collect();
    let mut drills: Vec<String> = times.iter().map(|it| it.0.incident.clone()).collect();
    drills.dedup();
    let (first, last) = (times.first()?.0, times.last()?.0);
    let sum = summary(&spans);
    let planned_median = Millis(whole(quantiles(&planned)[1]));
    let enough = plan.policy.drills_enough.max(1);
    let verdict = match fitted(&planned, &sum, drills.len(), enough) {
        _ if drills.len() < usize::try_from(enough).unwrap_or(usize::MAX) => Verdict::TooFew,
        None => Verdict::NotReached,
        Some(points) if agrees(&planned, planned_median, &sum, &spans) => Verdict::Agrees(points),
        Some(points) => Verdict::Differs(points),
    };
    Some(Measured {
        figure,
        planned,
        planned_median,
        from_to_ms: (first.started_ms, last.started_ms),
        drills,
        measured: sum,
        verdict,
    })
}

/// True where the plan's median is between the limits of the measured one and no more than one time in ten is beyond the ends.
fn agrees(planned: &ThreePoint, median: Millis, sum: &Summary, spans: &[Span]) -> bool {
    let inside = sum
        .median_between
        .is_some_and(|it| it.low <= median && it.high.is_none_or(|high| median <= high));
    let beyond = |it: &&Span| it.time > planned.long || (it.ended && it.time < planned.short);
    inside && spans.iter().filter(beyond).count().saturating_mul(10) <= spans.len()
}

/// The quartiles of three points, in ms.
fn quantiles(points: &ThreePoint) -> [f64; 3] {
    let spread = Spread::of(points);
    [0.25, 0.5, 0.75].map(|share| f64::from(spread.quantile(share)))
}

/// The same of a range from zero to one with its likeliest value here.
fn of_shape(shape: f64) -> [f64; 3] {
    let points = ThreePoint {
        short: Millis::ZERO,
        likely: Millis(whole(shape * RANGE)),
        long: Millis(whole(RANGE)),
    };
    quantiles(&points).map(|it| it / RANGE)
}

/// The three points with the median and the spread that drills and plan have together; none where no median was reached.
fn fitted(planned: &ThreePoint, sum: &Summary, drills: usize, enough: u32) -> Option<ThreePoint> {
    let ms = |it: Millis| it.0 as f64;
    let (drills, enough) = (drills as f64, f64::from(enough));
    let [plan_lower, plan_median, plan_upper] = quantiles(planned);
    let measured = ms(sum.median?);
    let median = (drills * measured + PLAN_COUNTS * plan_median) / (drills + PLAN_COUNTS);
    // What takes longer than planned is taken to spread as much more.
    let longer = if plan_median > 0.0 {
        median / plan_median
    } else {
        1.0
    };
    let plan_spread = (plan_upper - plan_lower) * longer;
    let spread = match (sum.lower, sum.upper) {
        (Some(lower), Some(upper)) => ms(upper) - ms(lower),
        // Too many were broken off to know the upper quartile, so the plan's spread is not undercut.
        (Some(lower), None) => plan_spread.max(2.0 * (measured - ms(lower))),
        (None, _) => plan_spread,
    };
    let spread = (drills * spread + enough * plan_spread) / (drills + enough);
    let range = ms(planned.long) - ms(planned.short);
    let shape = match range > 0.0 {
        true => (ms(planned.likely) - ms(planned.short)) / range,
        false => SHAPE,
    };
    let [lower, middle, upper] = of_shape(shape);
    let range = spread / (upper - lower);
    let (short, long) = (median - range * middle, median + range * (1.0 - middle));
    if short >= 0.0 {
        return Some(shown([short, short + range * shape, long]));
    }
    // No work takes less than no time: the range begins there, and its shape is what the median asks for.
    let (mut below, mut above) = (0.0, 1.0);
    for _ in 0..30 {
        let shape = f64::midpoint(below, above);
        match of_shape(shape)[1] * long < median {
            true => below = shape,
            false => above = shape,
        }
    }
    let shape = f64::midpoint(below, above);
    let long = median / of_shape(shape)[1];
    Some(shown([0.0, long * shape, long]))
}

/// Three points in whole seconds, or in tenths where they are short.
fn shown([short, likely, long]: [f64; 3]) -> ThreePoint {
    let unit = if likely < 10_000.0 { 100.0 } else { 1_000.0 };
    let of = |ms: f64| Millis(whole((ms / unit).round() * unit));
    ThreePoint {
        short: of(short),
        likely: of(likely.max(short)),
        long: of(long.max(likely)),
    }
}

/// A time as an author writes it, e.g. `2 min 30 s`.
fn in_words(time: Millis) -> String {
    let (minutes, rest) = match time.0 {
        ..120_000 => (0, time.0),
        more => (more / 60_000, more % 60_000),
    };
    let seconds = match rest % 1_000 {
        0 => format!("{} s", rest / 1_000),
        part => format!("{}.{} s", rest / 1_000, part / 100),
    };
    match (minutes, rest) {
        (0, _) => seconds,
        (_, 0) => format!("{minutes} min"),
        _ => format!("{minutes} min {seconds}"),
    }
}
