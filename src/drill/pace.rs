//! Says how quick a simulated crew is with what a plan gives no time for, and draws every time that it takes.
//!
//! Steps, ways and orders have their three points in the plan; how long a question, a hazard or a call takes has none, so
//! these are judgements, here in one place. A draw is a function of the seed and a stable name, so that what happens first
//! changes nothing of what happens later. Limits: one pace for the whole crew, as the forecast has it.

use crate::incident::{Facts, Order};
use crate::plan::{Policy, ThreePoint, link_time, link_times};
use crate::readiness::{Passing, Spread, down, name_of, uniform};
use crate::units::{Millis, Ratio};

/// How long a crew takes for what no plan gives a time for. Judgements without a source: have a rescue trainer read them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    /// From a question on the screen to its answer.
    pub answer: ThreePoint,
    /// From an order to a hazard that is made safe and proven.
    pub hazard: ThreePoint,
    /// From being told to the emergency call being made.
    pub call: ThreePoint,
    /// From the call to saying when help comes.
    pub help: ThreePoint,
    /// Until both are connected and the weight is held.
    pub secure: ThreePoint,
    /// To the landing place, where no step of a method goes there.
    pub carry: ThreePoint,
    /// From taking over to off the harness, for rescuers from outside.
    pub outside: ThreePoint,
}

const fn seconds(short: i64, likely: i64, long: i64) -> ThreePoint {
    ThreePoint {
        short: Millis::from_seconds(short),
        likely: Millis::from_seconds(likely),
        long: Millis::from_seconds(long),
    }
}

impl Pace {
    /// A crew that has drilled.
    pub const ASSUMED: Pace = Pace {
        answer: seconds(2, 4, 10),
        hazard: seconds(20, 45, 120),
        call: seconds(15, 30, 50),
        help: seconds(2, 4, 8),
        secure: seconds(5, 12, 30),
        carry: seconds(30, 60, 180),
        outside: seconds(300, 600, 1_200),
    };
    /// Nothing but steps, ways and orders takes any time, which is what a forecast counts.
    pub const ONLY_THE_PLAN: Pace = Pace {
        answer: seconds(0, 0, 0),
        hazard: seconds(0, 0, 0),
        call: seconds(0, 0, 0),
        help: seconds(0, 0, 0),
        secure: seconds(0, 0, 0),
        carry: seconds(0, 0, 0),
        ..Pace::ASSUMED
    };
}

/// The words of an order take this share of passing it on, its read-back the rest. A judgement without a source; it moves no
/// arrival, because whoever is ordered sets out at the end of both.
const SPOKEN: f64 = 0.5;
/// How much longer it takes to pass an order on once the radio is lost. A judgement without a source.
const WITHOUT_RADIO: f64 = 3.0;

/// Everything that is drawn in one play.
#[derive(Clone, Debug)]
pub(super) struct Luck {
    seed: u64,
    /// What all human times are multiplied by.
    slower: f64,
    pub(super) pace: Pace,
}

impl Luck {
    pub(super) fn new(policy: &Policy, dark: bool, seed: u64, pace: Pace) -> Luck {
        let crew = Spread::of_crew(policy.crew_spread).draw(seed, name_of("crew"), 0);
        let factor = match dark {
            true => policy.dark_factor,
            false => Ratio(1_000_000),
        };
        Luck {
            seed,
            slower: f64::from(crew) * factor.0 as f64 / 1_000_000.0,
            pace,
        }
    }

    /// A share between zero and one.
    pub(super) fn share(&self, name: &str, number: u64) -> f64 {
        uniform(self.seed, name_of(&format!("{name}#{number}")), 0)
    }

    /// How long something takes this crew.
    pub(super) fn time(&self, name: &str, number: u64, time: &ThreePoint) -> Millis {
        self.slowed(self.drawn(name, number, time))
    }

    /// How long something takes others.
    pub(super) fn time_of_others(&self, name: &str, number: u64, time: &ThreePoint) -> Millis {
        down(self.drawn(name, number, time))
    }

    /// A fixed time at the pace of this crew.
    pub(super) fn at_pace(&self, time: Millis) -> Millis {
        self.slowed(time.0 as f64)
    }

    fn slowed(&self, ms: f64) -> Millis {
        down(ms * self.slower)
    }

    fn drawn(&self, name: &str, number: u64, time: &ThreePoint) -> f64 {
        if time.short == time.long {
            return time.short.0 as f64;
        }
        let spread = Spread::of(time);
        f64::from(spread.draw(self.seed, name_of(&format!("{name}#{number}")), 0))
    }

    /// From when the words of an order are begun to their end.
    pub(super) fn speaking(&self, facts: &Facts, number: u64) -> Millis {
        down(self.passing(facts, number).0 as f64 * SPOKEN)
    }

    /// From when the words of an order are begun to its read-back.
    pub(super) fn passing(&self, facts: &Facts, number: u64) -> Millis {
        use crate::incident::Note::RadioLost;
        let time = self.time("orders", number, &facts.policy().order_time);
        let lost = facts.notes.iter().any(|it| it.0 == RadioLost);
        match lost {
            true => down(time.0 as f64 * WITHOUT_RADIO),
            false => time,
        }
    }

    /// How long the way of an order takes, and when on it the kit is in hand.
    pub(super) fn way(&self, facts: &Facts, order: &Order) -> (Millis, Millis) {
        let posting = &order.posting;
        if posting.travel_ms <= 0 {
            return (Millis::ZERO, Millis::ZERO);
        }
        let name = format!("way/{}", posting.responder);
        let whole = self.time(&name, order.number, &way_times(facts, order));
        let fetch = posting.fetch_ms.unwrap_or(0).clamp(0, posting.travel_ms);
        let share = fetch as f64 / posting.travel_ms as f64;
        (whole, down(whole.0 as f64 * share))
    }
}

fn alike(time: Millis) -> ThreePoint {
    ThreePoint {
        short: time,
        likely: time,
        long: time,
    }
}

/// The way of an order in haste, likely, and on a bad day: the sums along it, as the forecast takes them.
pub(super) fn way_times(facts: &Facts, order: &Order) -> ThreePoint {
    let posting = &order.posting;
    let Some(first) = posting.way.first() else {
        return alike(Millis(posting.travel_ms));
    };
    let behind = posting.behind.iter().map(|it| (it, first));
    let pairs = posting.way.windows(2).map(|pair| (&pair[0], &pair[1]));
    let begun = match posting.behind {
        Some(_) => ThreePoint::default(),
        None => alike(Millis(first.1)),
    };
    behind.chain(pairs).fold(begun, |sum, (from, to)| {
        let leg = leg(facts, from, to);
        ThreePoint {
            short: sum.short.saturating_add(leg.short),
            likely: sum.likely.saturating_add(leg.likely),
            long: sum.long.saturating_add(leg.long),
        }
    })
}

/// One stretch of a way, or what is left of it.
fn leg(facts: &Facts, from: &Passing, to: &Passing) -> ThreePoint {
    let left = to.1.saturating_sub(from.1.max(0)).max(0);
    let whole = to.1.saturating_sub(from.1).max(0);
    let Some(plan) = facts.opened.as_ref().map(|it| &it.plan) else {
        return alike(Millis(left));
    };
    let between = plan.links.iter().filter_map(|link| {
        let forwards = link.from == from.0 && link.to == to.0;
        let backwards = link.from == to.0 && link.to == from.0;
        (forwards || backwards).then_some((link, forwards))
    });
    // The link that was meant takes as long as the way says.
    let meant = between.min_by_key(|(link, forwards)| {
        let time = link_time(link, &plan.policy, *forwards).0;
        time.saturating_sub(whole).saturating_abs()
    });
    let Some((link, forwards)) = meant else {
        return alike(Millis(left));
    };
    let times = link_times(link, &plan.policy, forwards);
    let part = |time: Millis| match times.likely.0 {
        0 => Millis(left),
        likely => down(time.0 as f64 * left as f64 / likely as f64),
    };
    ThreePoint {
        short: part(times.short),
        likely: Millis(left),
        long: part(times.long),
    }
}
