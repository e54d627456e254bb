//! Says how a simulated crew meets the surprises of a drill: who finds what, what is said, what breaks.
//!
//! The drill controller gives a surprise; what is touched for it on the tablet comes after that, when somebody notices:
//! missing kit at the station, a broken lift at work. Limits: a surprise that concerns nothing any more, such as a lift
//! that fails after the casualty is down, is given and not met.

use super::crew::{Crew, Move, Touch, attempt, usual_help};
use crate::incident::{
    Act, Aftercare, Case, Condition, Exercise, Facts, Inject, Note, Report, Running, Teller,
};
use crate::plan::Rung;
use crate::units::Millis;

/// What a surprise broke: this step of this attempt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Broken {
    casualty: u16,
    method: String,
    attempt: u64,
    step: usize,
    /// Since when somebody can see it.
    pub(super) since: Millis,
}

impl Broken {
    /// True where this is what is being done.
    pub(super) fn is(&self, case: Case<'_>, attempt: u64, running: &Running) -> bool {
        self.casualty == case.number
            && self.method == running.method
            && self.attempt == attempt
            && self.step == running.step
    }
}

/// How much later help is where it stands at the wrong gate. A judgement without a source.
const WRONG_GATE: Millis = Millis::from_seconds(180);

/// The surprises that were given and not reacted to yet.
fn open<'f>(crew: &Crew, facts: &'f Facts) -> Vec<(usize, Millis, &'f Inject)> {
    let Some(exercise) = facts.exercise() else {
        return Vec::new();
    };
    let given = facts
        .played
        .given
        .iter()
        .filter(|it| !crew.met.contains_key(&it.0));
    let named = given.filter_map(|(index, at)| {
        let surprise = exercise.surprises.get(*index)?;
        Some((*index, *at, &surprise.inject))
    });
    named.collect()
}

/// How the first casualty is by the surprises that were met.
pub(super) fn condition(crew: &Crew, exercise: &Exercise) -> Condition {
    let met = crew
        .met
        .keys()
        .filter_map(|index| exercise.surprises.get(*index));
    let conditions = met.map(|it| match it.inject {
        Inject::StopsAnswering {} => Condition::NotAnswering,
        Inject::SelfRescueFails {} => Condition::Stuck,
        _ => Condition::Talking,
    });
    conditions.max().unwrap_or(Condition::Talking)
}

/// True where a surprise breaks the running method.
fn concerns(inject: &Inject, case: Case<'_>, running: &Running) -> bool {
    match inject {
        Inject::MethodFails { method } => *method == running.method,
        Inject::SelfRescueFails {} => {
            let method = case.method(&running.method);
            case.number == 1 && method.is_some_and(|it| it.rung == Rung::SelfRescue)
        }
        _ => false,
    }
}

/// Notes what a given surprise breaks: the step that is being done at that time, or the first one once its method begins.
pub(super) fn see_broken(crew: &mut Crew, facts: &Facts, now: Millis) {
    let case = facts.case();
    let Some(running) = case
        .casualty
        .running
        .as_ref()
        .filter(|_| case.casualty.off.is_none())
    else {
        return;
    };
    let Some(exercise) = facts.exercise() else {
        return;
    };
    for (index, _) in &facts.played.given {
        let inject = exercise.surprises.get(*index).map(|it| &it.inject);
        let breaks = inject.is_some_and(|it| concerns(it, case, running));
        if breaks && !crew.broken.contains_key(index) {
            let broken = Broken {
                casualty: case.number,
                method: running.method.clone(),
                attempt: attempt(case, &running.method),
                step: running.step,
                since: now,
            };
            crew.broken.insert(*index, broken);
        }
    }
}

/// The surprise that broke what is being done now.
pub(super) fn broken_here(crew: &Crew, facts: &Facts) -> Option<usize> {
    let case = facts.case();
    let running = case.casualty.running.as_ref()?;
    let attempt = attempt(case, &running.method);
    let mut broken = crew.broken.iter();
    broken
        .find(|(_, it)| it.is(case, attempt, running))
        .map(|(index, _)| *index)
}

/// True where a surprise broke this method before.
pub(super) fn breaks(crew: &Crew, method: &str) -> bool {
    crew.broken.values().any(|it| it.method == method)
}

/// What is touched for the surprises: given by the drill controller, then met by the crew.
pub(super) fn moves(crew: &Crew, facts: &Facts) -> Vec<Move> {
    let mut moves = Vec::new();
    if let Some((index, surprise)) = facts.surprise_now() {
        let last = facts.played.given.iter().map(|it| it.1).max();
        let begun = surprise.at.max(last.unwrap_or_default());
        let number = index as u64;
        let time = crew.luck.time("give", number, &crew.luck.pace.answer);
        moves.push(Move {
            at: begun.saturating_add(time),
            touch: Touch::Do(Act::GiveSurprise(index)),
            surprise: None,
        });
    }
    for (index, given, inject) in open(crew, facts) {
        let time = crew
            .luck
            .time("surprise", index as u64, &crew.luck.pace.answer);
        let told = given.saturating_add(time);
        if let Some((at, act)) = reaction(crew, facts, inject, given, told) {
            moves.push(Move {
                at,
                touch: Touch::Do(act),
                surprise: Some(index),
            });
        }
    }
    moves
}

fn reaction(
    crew: &Crew,
    facts: &Facts,
    inject: &Inject,
    given: Millis,
    told: Millis,
) -> Option<(Millis, Act)> {
    let case = facts.case();
    let first = case.number == 1;
    let hangs = case.casualty.off.is_none();
    let act = match inject {
        Inject::StopsAnswering {} if first && hangs => Act::Report(Condition::NotAnswering),
        Inject::StopsAnswering {} if first => Act::Care(Aftercare::Watch, false),
        Inject::SelfRescueFails {} if first && hangs => Act::Report(Condition::Stuck),
        Inject::StopsAnswering {} | Inject::SelfRescueFails {} | Inject::MethodFails { .. } => {
            return None;
        }
        Inject::KitMissing { kit, station } => {
            return missing(crew, facts, (kit, station), given, told);
        }
        Inject::ResponderCannot { responder } => Act::Responder(responder.clone(), Report::Cannot),
        Inject::Wind { speed } => Act::Wind(*speed),
        Inject::RadioLost {} => Act::Note(Note::RadioLost),
        Inject::AmbulanceDelayed { by } => {
            Act::HelpIn(left(facts, told).saturating_add(*by), Teller::Coming)
        }
        Inject::WrongGate {} => {
            Act::HelpIn(left(facts, told).saturating_add(WRONG_GATE), Teller::Guide)
        }
        Inject::SecondCasualty {} => Act::AddCasualty,
    };
    Some((told, act))
}

/// Until help comes, as far as is known.
fn left(facts: &Facts, at: Millis) -> Millis {
    let expected = facts.outside.expected;
    let left = expected.map_or_else(|| usual_help(facts), |it| it.saturating_sub(at));
    left.max(Millis::ZERO)
}

/// Whoever comes to fetch it finds that it is not there; where nobody does, it is said at once.
fn missing(
    crew: &Crew,
    facts: &Facts,
    (kit, station): (&String, &String),
    given: Millis,
    told: Millis,
) -> Option<(Millis, Act)> {
    let first = facts.casualties.first()?;
    if first.off.is_none() && first.running.is_none() && first.windows.is_empty() {
        // Nobody knows yet who is to fetch it.
        return None;
    }
    let plan = &facts.opened.as_ref()?.plan;
    let kept = plan.station(station)?;
    let of_kind = |name: &String| {
        kept.kit
            .iter()
            .any(|it| it.name == *name && it.kind == *kit)
    };
    let fetching = facts.orders.iter().filter(|it| {
        it.posting.station.as_ref() == Some(station)
            && it.posting.kit.as_ref().is_some_and(of_kind)
            && it.there.is_none()
    });
    let arrivals = fetching.map(|order| {
        let fetched = crew.luck.way(facts, order).1;
        (
            crew.understood(facts, order)
                .map(|it| it.saturating_add(fetched)),
            &order.posting.responder,
        )
    });
    let mut coming: Vec<_> = arrivals
        .filter(|(at, _)| at.is_none_or(|at| at >= given))
        .collect();
    coming.sort();
    let gone = |by: Option<String>| Act::KitGone {
        kit: kit.clone(),
        station: station.clone(),
        by,
    };
    match coming.iter().find_map(|(at, who)| Some(((*at)?, *who))) {
        Some((at, who)) => Some((at.max(told), gone(Some(who.clone())))),
        // Their order is still to be said.
        None if !coming.is_empty() => None,
        None => Some((told, gone(None))),
    }
}
