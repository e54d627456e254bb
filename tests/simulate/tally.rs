//! Counts what was met, so that a simulator that simulates nothing fails.

use super::kinds;
use groundward::words::Id;
use std::collections::BTreeMap;

/// What happened in a run, besides the kinds of things said and recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Met {
    Activations,
    Inputs,
    Records,
    Forecasts,
    InventedForecasts,
    LateForecasts,
    LostForecasts,
    DoubleForecasts,
    ForeignForecasts,
    DoubleTaps,
    LateTaps,
    StaleUndos,
    Crashes,
    PowerCuts,
    TornTails,
    LostRecords,
    FailedSyncs,
    FullDisks,
    HealedDisks,
    ClockSteps,
    OffsetChanges,
    Midnights,
    Suspends,
    Reboots,
    RebootsWithDeadClock,
    RebootsBelievingTheWall,
    TimesAtLeast,
    YearsAhead,
    LateReports,
    LostReports,
    StoresMissing,
    StoresRead,
    SwappedPlans,
    RefusedPlans,
    ChangedOrders,
    ChangedByRealNumbers,
    UnpromptedOrders,
    RescuersDown,
    ManyCasualties,
    Visitors,
    Closed,
    Abandoned,
    Replays,
    Snapshots,
}

/// What must have been met in a full run.
const OWED: [Met; 43] = [
    Met::Activations,
    Met::Inputs,
    Met::Records,
    Met::Forecasts,
    Met::InventedForecasts,
    Met::LateForecasts,
    Met::LostForecasts,
    Met::DoubleForecasts,
    Met::ForeignForecasts,
    Met::DoubleTaps,
    Met::LateTaps,
    Met::StaleUndos,
    Met::Crashes,
    Met::PowerCuts,
    Met::TornTails,
    Met::LostRecords,
    Met::FailedSyncs,
    Met::FullDisks,
    Met::HealedDisks,
    Met::ClockSteps,
    Met::OffsetChanges,
    Met::Midnights,
    Met::Suspends,
    Met::Reboots,
    Met::RebootsWithDeadClock,
    Met::RebootsBelievingTheWall,
    Met::TimesAtLeast,
    Met::YearsAhead,
    Met::LateReports,
    Met::LostReports,
    Met::StoresMissing,
    Met::StoresRead,
    Met::SwappedPlans,
    Met::RefusedPlans,
    Met::ChangedOrders,
    Met::ChangedByRealNumbers,
    Met::RescuersDown,
    Met::ManyCasualties,
    Met::Visitors,
    Met::Closed,
    Met::Abandoned,
    Met::Replays,
    Met::Snapshots,
];

/// Prompts that some hundreds of lives may do without.
const RARE: [Id; 1] = [Id::WeightOff];

/// What was met.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    met: BTreeMap<Met, u64>,
    kinds: BTreeMap<&'static str, u64>,
    prompts: BTreeMap<&'static str, u64>,
}

impl Tally {
    pub(super) fn meet(&mut self, what: Met) {
        self.count(what, 1);
    }

    pub(super) fn count(&mut self, what: Met, times: u64) {
        *self.met.entry(what).or_default() += times;
    }

    pub(super) fn kind(&mut self, kind: &'static str) {
        *self.kinds.entry(kind).or_default() += 1;
    }

    pub(super) fn prompt(&mut self, id: Id) {
        *self.prompts.entry(id.as_str()).or_default() += 1;
    }

    pub(super) fn of(&self, what: Met) -> u64 {
        self.met.get(&what).copied().unwrap_or(0)
    }

    pub(super) fn add(&mut self, other: &Tally) {
        for (what, times) in &other.met {
            self.count(*what, *times);
        }
        for (kind, times) in &other.kinds {
            *self.kinds.entry(kind).or_default() += times;
        }
        for (id, times) in &other.prompts {
            *self.prompts.entry(id).or_default() += times;
        }
    }

    /// The counts in one line.
    pub(super) fn line(&self) -> String {
        let faults = self.met.iter().skip(3);
        let faults: Vec<String> = faults.map(|(what, n)| format!("{what:?} {n}")).collect();
        format!(
            "{} incidents, {} inputs, {} records; {}",
            self.of(Met::Activations),
            self.of(Met::Inputs),
            self.of(Met::Records),
            faults.join(", ")
        )
    }

    /// What a full run owes and did not meet.
    pub(super) fn missing(&self) -> Vec<String> {
        self.rarest(0)
    }

    /// What was met so often or less, with what only a soak meets for certain left out.
    pub(super) fn rarest(&self, most: u64) -> Vec<String> {
        let faults = OWED.iter().map(|it| (format!("{it:?}"), self.of(*it)));
        let times = |kind: &str| self.kinds.get(kind).copied().unwrap_or(0);
        let kinds = kinds::owed().map(|it| (it.to_owned(), times(it)));
        let prompts = Id::PROMPTS.iter().filter(|it| !RARE.contains(it));
        let prompts = prompts.map(|it| {
            let times = self.prompts.get(it.as_str()).copied().unwrap_or(0);
            (format!("prompt {}", it.as_str()), times)
        });
        let all = faults.chain(kinds).chain(prompts);
        let rare = all.filter(|(_, times)| *times <= most);
        rare.map(|(name, times)| format!("{name} {times}"))
            .collect()
    }
}
