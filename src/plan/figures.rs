//! Compares a plan with published figures for fall arrest: anchorage, free fall, force, clearance, load, rope descent.
//!
//! The figures are settings of the policy, each with its source there; local codes and the maker's instructions go first. A
//! limit is a pair as published (6 ft or 1.8 m), so a written value is compared in its own units and a computed one with
//! the more lenient figure. Rescue loads, reach and haul effort need the day's people and kit and are judged elsewhere.

use super::check::Judge;
use super::findings::Kind;
use super::model::{Anchorage, Arrest, ArrestKind, KitItem, Position, Rung};
use crate::units::{Grams, Millimetres, Newtons, Ratio, Speed, Written};

/// Five lengths, each rounded to a millimetre, can differ from their exact sum by this.
const ROUNDING: Millimetres = Millimetres(3);

/// What nobody means: heavier than any person with tools, lighter than any grown one. Common practice, no source.
const PERSON_MASS: [Grams; 2] = [Grams(30_000), Grams(300_000)];
/// A self-retracting line that limits the free fall to 2 ft may be weaker (29 CFR 1926.502(d)(12)).
const SHORT_FALL: Millimetres = Millimetres(610);
/// Higher than any building.
const HEIGHT_MAX: Millimetres = Millimetres(1_000_000);
/// Above any storm measured near the ground.
const WIND_MAX: Speed = Speed(120_000);
const WHOLE: Ratio = Ratio(1_000_000);

pub(super) fn check(judge: &Judge<'_>) {
    impossible(judge);
    for position in &judge.plan.positions {
        let at = format!("position.{}", position.id);
        if let Some(anchorage) = &position.anchorage {
            strong(judge, anchorage, &format!("{at}.anchorage"));
        }
        if let Some(arrest) = &position.arrest {
            fall(judge, arrest, &format!("{at}.arrest"));
        }
        load(judge, position, &at);
        descent(judge, position, &at);
    }
}

/// The free fall: lanyard less the height of the anchorage above the harness ring, never below nothing.
pub fn free_fall(length: Millimetres, anchor_above_ring: Millimetres) -> Millimetres {
    Millimetres(length.saturating_sub(anchor_above_ring).0.max(0))
}

/// How much deeper a swing takes a worker: the line's length from an anchorage `above` and `aside`, less `above`.
pub fn swing_drop(above: Millimetres, aside: Millimetres) -> Millimetres {
    // Without a sign, the squares of two lengths of any size still have a sum that fits.
    let square = |length: Millimetres| u128::from(length.0.unsigned_abs()).pow(2);
    let line = (square(above) + square(aside)).isqrt();
    Millimetres(i64::try_from(line).unwrap_or(i64::MAX)).saturating_sub(above)
}

fn strong(judge: &Judge<'_>, anchorage: &Anchorage, at: &str) {
    let policy = &judge.plan.policy;
    let persons = i64::from(anchorage.persons);
    if anchorage
        .engineered
        .is_some_and(|factor| factor >= policy.engineered_factor)
    {
        return;
    }
    if let Some(factor) = anchorage.engineered {
        let message = format!(
            "{at} is designed with a factor of {} %, less than the policy's",
            factor.0 / 10_000
        );
        judge.add(
            Kind::AnchorageWeak,
            &format!("{at}.engineered"),
            message,
            "have a qualified person design it anew, or use another anchorage",
        );
        return;
    }
    match &anchorage.strength {
        None if judge.gathered.sound(at) => {
            let message = format!("the plan does not say how strong {at} is");
            judge.add(
                Kind::AnchorageUnrated,
                at,
                message,
                "add `strength`, or `engineered` where a qualified person designed it",
            );
        }
        Some(strength) => weak(judge, strength, persons, &format!("{at}.strength")),
        None => {}
    }
}

fn weak(judge: &Judge<'_>, strength: &Written<Newtons>, persons: i64, at: &str) {
    if let Some(limit) = judge.plan.policy.anchor_strength.missed(strength, persons) {
        let message = format!(
            "{at} is {}, less than {} for each of {persons} attached",
            strength.text, limit.text
        );
        let help = "attach fewer people, use a stronger one, or have a qualified person design it";
        judge.add(Kind::AnchorageWeak, at, message, help);
    }
}

fn fall(judge: &Judge<'_>, arrest: &Arrest, at: &str) {
    let policy = &judge.plan.policy;
    let computed = match (&arrest.length, arrest.anchor_above_ring) {
        (Some(length), Some(above)) if arrest.kind != ArrestKind::SelfRetracting => {
            Some((length, above, free_fall(length.value, above)))
        }
        _ => None,
    };
    if let Some(given) = &arrest.free_fall {
        if let Some(limit) = policy.free_fall.exceeded(given) {
            let message = format!("{at}.free_fall is {}, more than {}", given.text, limit.text);
            judge.add(
                Kind::FreeFallLong,
                &format!("{at}.free_fall"),
                message,
                "anchor higher or use a shorter lanyard",
            );
        }
        if let Some((_, _, fall)) = computed
            && given.value.saturating_add(ROUNDING) < fall
        {
            let message = format!(
                "{at}.free_fall is {}, less than its lanyard and anchorage give",
                given.text
            );
            judge.add(
                Kind::FreeFallContradicts,
                &format!("{at}.free_fall"),
                message,
                "mend one of `free_fall`, `length` and `anchor_above_ring`",
            );
        }
    } else if let Some((length, above, fall)) = computed {
        // At the height of the ring the fall is the lanyard as it was written, so feet are compared with feet.
        let limit = match above.0 {
            0 => policy.free_fall.exceeded(length),
            _ => policy.free_fall.exceeded_by(fall),
        };
        if let Some(limit) = limit {
            let message = format!(
                "the free fall at {at} is {} mm, more than {}",
                fall.0, limit.text
            );
            judge.add(
                Kind::FreeFallLong,
                &format!("{at}.length"),
                message,
                "anchor higher or use a shorter lanyard",
            );
        }
    }
    if let Some((given, limit)) = arrest
        .deceleration
        .as_ref()
        .and_then(|it| Some((it, policy.deceleration.exceeded(it)?)))
    {
        let message = format!(
            "{at}.deceleration is {}, more than {}",
            given.text, limit.text
        );
        judge.add(
            Kind::DecelerationLong,
            &format!("{at}.deceleration"),
            message,
            "use an absorber that brakes within the limit",
        );
    }
    line(judge, arrest, at);
    if let Some((given, limit)) = arrest
        .force
        .as_ref()
        .and_then(|it| Some((it, policy.arrest_force.exceeded(it)?)))
    {
        let message = format!("{at}.force is {}, more than {}", given.text, limit.text);
        judge.add(
            Kind::ArrestForceHigh,
            &format!("{at}.force"),
            message,
            "use an absorber that keeps the force within the limit",
        );
    }
    clearance(judge, arrest, at, computed.map(|(_, _, fall)| fall));
}

/// The line and its connectors: weaker is allowed only where the line stops a fall early.
fn line(judge: &Judge<'_>, arrest: &Arrest, at: &str) {
    let Some(strength) = &arrest.strength else {
        return;
    };
    let short = arrest
        .free_fall
        .as_ref()
        .is_none_or(|fall| fall.value <= SHORT_FALL);
    let limit = match arrest.kind {
        ArrestKind::SelfRetracting if short => &judge.plan.policy.short_fall_line_strength,
        _ => &judge.plan.policy.connector_strength,
    };
    if let Some(limit) = limit.missed(strength, 1) {
        connector(judge, strength, limit, &format!("{at}.strength"));
    }
}

fn connector(judge: &Judge<'_>, strength: &Written<Newtons>, limit: &Written<Newtons>, at: &str) {
    let message = format!("{at} is {}, less than {}", strength.text, limit.text);
    let help = "use a stronger one, or raise it where the plate on it says more";
    judge.add(Kind::ConnectorWeak, at, message, help);
}

fn clearance(judge: &Judge<'_>, arrest: &Arrest, at: &str, computed: Option<Millimetres>) {
    let policy = &judge.plan.policy;
    let fall = arrest.free_fall.as_ref().map(|it| it.value).or(computed);
    let (Some(clearance), Some(fall), Some(deceleration)) =
        (&arrest.clearance, fall, &arrest.deceleration)
    else {
        return;
    };
    let swing = match (arrest.offset, arrest.anchor_above_ring) {
        (Some(offset), Some(above)) if above.0 > 0 => swing_drop(above, offset),
        _ => Millimetres::ZERO,
    };
    let needed = [
        deceleration.value,
        policy.ring_shift,
        policy.ring_height,
        policy.clearance_margin,
        swing,
    ]
    .into_iter()
    .fold(fall, Millimetres::saturating_add);
    if clearance.value.saturating_add(ROUNDING) < needed {
        let message = format!(
            "{at}.clearance is {}, and {} mm are needed",
            clearance.text, needed.0
        );
        let help = "free fall, deceleration, shift and height of the ring, swing and margin together: anchor higher, or use a line that stops sooner";
        judge.add(
            Kind::ClearanceShort,
            &format!("{at}.clearance"),
            message,
            help,
        );
    }
}

fn load(judge: &Judge<'_>, position: &Position, at: &str) {
    let Some(heaviest) = &position.heaviest else {
        return;
    };
    if let Some(limit) = judge.plan.policy.person_mass.exceeded(heaviest) {
        let message = format!(
            "{at}.heaviest is {}, more than the {} that fall arrest is usually rated for",
            heaviest.text, limit.text
        );
        let help = "use a set-up that its maker rates for more, and raise `person_mass` in [policy] only for that";
        judge.add(Kind::TooHeavy, &format!("{at}.heaviest"), message, help);
    }
    let heavier = |id: &str| {
        let mass = judge.responders.get(id).and_then(|it| it.mass);
        mass.is_some_and(|mass| mass > heaviest.value)
    };
    for (number, worker) in (1..).zip(&position.workers) {
        if heavier(worker) {
            let message = format!("`{worker}` is heavier than the heaviest worker of {at}");
            judge.add(
                Kind::HeavierThanHeaviest,
                &format!("{at}.workers.{number}"),
                message,
                "mend `heaviest`",
            );
        }
    }
}

fn descent(judge: &Judge<'_>, position: &Position, at: &str) {
    let limit = position.feet_above_ground.as_ref();
    let Some(limit) = limit.and_then(|feet| judge.plan.policy.rope_descent.exceeded(feet)) else {
        return;
    };
    let on_rope = position
        .methods
        .iter()
        .find(|method| method.rung == Rung::PickOff && method.lowers);
    if let Some(method) = on_rope {
        let message = format!(
            "{at}.method.{} goes down on a rope from above {}",
            method.id, limit.text
        );
        judge.add(
            Kind::RopeDescentHigh,
            &format!("{at}.feet_above_ground"),
            message,
            "go up, or divide the descent",
        );
    }
}

/// Values that nobody can mean.
fn impossible(judge: &Judge<'_>) {
    let add = |at: String, what: &str, help: &str| {
        judge.add(Kind::ImpossibleValue, &at, format!("{at} is {what}"), help)
    };
    let person = |at: String, mass: Option<Grams>| {
        if mass.is_some_and(|mass| mass < PERSON_MASS[0] || mass > PERSON_MASS[1]) {
            add(at, "the weight of no worker", "weigh again, with tools");
        }
    };
    for responder in &judge.plan.responders {
        person(format!("responder.{}.mass", responder.id), responder.mass);
    }
    for station in &judge.plan.stations {
        for item in &station.kit {
            let at = format!("station.{}.kit.{}", station.id, item.id);
            if item.pulley_efficiency.is_some_and(|it| it > WHOLE) {
                add(
                    format!("{at}.pulley_efficiency"),
                    "more than the whole",
                    "give the part of the pull that arrives, e.g. \"90 %\"",
                );
            }
            if item.kind == KitItem::CONNECTOR
                && let Some(strength) = &item.strength
                && let Some(limit) = judge.plan.policy.connector_strength.missed(strength, 1)
            {
                connector(judge, strength, limit, &format!("{at}.strength"));
            }
            if item.wind_max.as_ref().is_some_and(|it| it.value > WIND_MAX) {
                add(
                    format!("{at}.wind_max"),
                    "more than any storm",
                    "check the unit",
                );
            }
            if item.haul.is_some_and(|it| it < WHOLE) {
                add(
                    format!("{at}.haul"),
                    "less than a pull without any pulley",
                    "give it as a factor, e.g. \"3 x\"",
                );
            }
        }
    }
    for position in &judge.plan.positions {
        let at = format!("position.{}", position.id);
        person(
            format!("{at}.heaviest"),
            position.heaviest.as_ref().map(|it| it.value),
        );
        if position
            .feet_above_ground
            .as_ref()
            .is_some_and(|feet| feet.value > HEIGHT_MAX)
        {
            add(
                format!("{at}.feet_above_ground"),
                "higher than any structure",
                "check the unit",
            );
        }
        for method in &position.methods {
            let at = format!("{at}.method.{}", method.id);
            if method.success.is_some_and(|it| it > WHOLE) {
                add(
                    format!("{at}.success"),
                    "more than certain",
                    "give a share of at most \"100 %\"",
                );
            }
            if method
                .wind_max
                .as_ref()
                .is_some_and(|it| it.value > WIND_MAX)
            {
                add(
                    format!("{at}.wind_max"),
                    "more than any storm",
                    "check the unit",
                );
            }
            for role in &method.roles {
                if let Some(strength) = &role.anchorage_strength {
                    weak(
                        judge,
                        strength,
                        1,
                        &format!("{at}.role.{}.anchorage_strength", role.id),
                    );
                }
            }
        }
    }
    let policy = &judge.plan.policy;
    for (key, share) in [
        ("try_floor", policy.try_floor),
        ("pulley_efficiency", policy.pulley_efficiency),
        ("carabiner_efficiency", policy.carabiner_efficiency),
    ] {
        if share > WHOLE {
            add(
                format!("policy.{key}"),
                "more than the whole",
                "give a share of at most \"100 %\"",
            );
        }
    }
}
