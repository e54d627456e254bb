//! Plays a scenario many times at a table and says how it went: for testing a plan before anybody climbs.
//!
//! Each run is one seed, so whoever has threads may share the runs among them and put them together in any order. A run in
//! which the casualty still hangs at the end counts as longer than every other, never as none. Limits: it says what the
//! plan's own times and chances give with this crew, and nothing about the site that the plan does not say.

use std::collections::BTreeMap;

use super::scenario::Scenario;
use super::table_top::{Run, Table, TableTop};
use crate::units::{Millis, Ratio};

/// What came of playing a scenario many times.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tried {
    /// Each run by its seed.
    runs: BTreeMap<u64, Run>,
}

/// When something happened in the quarters of the runs, since the fall; none where that quarter never saw it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Quarters {
    /// In a quarter of the runs by then.
    pub lower: Option<Millis>,
    /// In half of them.
    pub median: Option<Millis>,
    /// In three of four.
    pub upper: Option<Millis>,
    /// In nine of ten.
    pub bad_day: Option<Millis>,
}

/// Plays one run; none where the plan is not fit. The seed draws both the surprises' times and what the crew does.
pub fn try_once(table: &Table, scenario: &Scenario, seed: u64) -> Option<Run> {
    let exercise = scenario.at_a_table(seed);
    let incident = format!("table-top-{seed}");
    let mut play = TableTop::new(table, &incident, scenario, exercise, seed)?;
    // What comes after the landing place takes no part in what is counted.
    while play.step().is_some() {
        let played = play.played();
        if played.off.is_some() && played.landed.is_some() {
            break;
        }
    }
    Some(play.played())
}

/// Plays a scenario once for each of these seeds; empty where the plan is not fit.
pub fn try_plan(table: &Table, scenario: &Scenario, seeds: impl IntoIterator<Item = u64>) -> Tried {
    let mut tried = Tried::default();
    for seed in seeds {
        if let Some(played) = try_once(table, scenario, seed) {
            tried.add(seed, played);
        }
    }
    tried
}

impl Tried {
    /// Adds a run; a seed counts once.
    pub fn add(&mut self, seed: u64, played: Run) {
        self.runs.insert(seed, played);
    }

    /// How many runs there are.
    pub fn len(&self) -> usize {
        self.runs.len()
    }

    /// True where nothing was played.
    pub fn is_empty(&self) -> bool {
        self.runs.is_empty()
    }

    /// The runs, by seed.
    pub fn runs(&self) -> &BTreeMap<u64, Run> {
        &self.runs
    }

    /// First contact.
    pub fn contact(&self) -> Quarters {
        self.quarters(|it| it.contact)
    }

    /// Off the harness.
    pub fn off(&self) -> Quarters {
        self.quarters(|it| it.off)
    }

    /// At the landing place.
    pub fn landed(&self) -> Quarters {
        self.quarters(|it| it.landed)
    }

    /// Share of the runs with the casualty off the harness by this time since the fall.
    pub fn off_by(&self, target: Millis) -> Ratio {
        self.share(|it| it.off.is_some_and(|off| off <= target))
    }

    /// Share of the runs in which the casualty still hung at the end.
    pub fn never(&self) -> Ratio {
        self.share(|it| it.off.is_none())
    }

    /// Share of the runs in which rescuers from outside led the casualty off the harness.
    pub fn outside(&self) -> Ratio {
        self.share(|it| it.outside)
    }

    /// How often each method brought the casualty off the harness, by method id, the most often first.
    pub fn methods(&self) -> Vec<(String, usize)> {
        let mut counts: BTreeMap<&String, usize> = BTreeMap::new();
        for method in self.runs.values().filter_map(|it| it.by.as_ref()) {
            *counts.entry(method).or_default() += 1;
        }
        let counts = counts.into_iter().map(|(id, count)| (id.clone(), count));
        let mut counts: Vec<(String, usize)> = counts.collect();
        counts.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        counts
    }

    fn share(&self, holds: impl Fn(&Run) -> bool) -> Ratio {
        const ALL: usize = 1_000_000;
        let count = self.runs.values().filter(|it| holds(it)).count();
        let share = (count * ALL).checked_div(self.runs.len()).unwrap_or(0);
        Ratio(i64::try_from(share).unwrap_or(i64::MAX))
    }

    fn quarters(&self, time: impl Fn(&Run) -> Option<Millis>) -> Quarters {
        let mut times: Vec<i64> = self
            .runs
            .values()
            .map(|it| time(it).map_or(i64::MAX, |it| it.0))
            .collect();
        times.sort_unstable();
        Quarters {
            lower: percentile(&times, 25),
            median: percentile(&times, 50),
            upper: percentile(&times, 75),
            bad_day: percentile(&times, 90),
        }
    }
}

/// A percentile of sorted times by the usual rule (type 7 of Hyndman and Fan 1996); none where it needs one that never came.
fn percentile(sorted: &[i64], percent: usize) -> Option<Millis> {
    let last = sorted.len().checked_sub(1)?;
    let (below, rest) = (last * percent / 100, last * percent % 100);
    let low = *sorted.get(below)?;
    let high = match rest {
        0 => low,
        _ => *sorted.get(below + 1)?,
    };
    if high == i64::MAX {
        return None;
    }
    let part = i64::try_from(rest).unwrap_or(0);
    Some(Millis(low + (high - low) * part / 100))
}
