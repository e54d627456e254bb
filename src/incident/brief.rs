//! Sums up what somebody must know who takes over: command of the rescue, the lead from outside.
//!
//! Each is read in about 20 seconds: short lines, nothing that is not acted on.

use super::act::Act;
use super::case::Case;
use super::event::Condition;
use super::prompt::{Choice, Prompt};
use super::state::{Facts, Whereabouts};
use crate::readiness::NEVER;
use crate::units::Millis;
use crate::words::{Id, Message, ago, clock};

/// At most this many casualties have a line besides the one worked on.
const OTHERS_MAX: usize = 3;
/// At most this many people are offered as the one in command.
const NAMES_MAX: usize = 5;

/// What whoever takes the tablet reads first.
pub(super) fn taking_over(facts: &Facts, at: Millis) -> Prompt {
    let mut prompt =
        Prompt::ask(Message::of(Id::BriefTitle)).main(Choice::new(Id::BriefHeard, Act::BriefHeard));
    prompt.lines = lines(facts, at);
    prompt.reading = true;
    prompt
}

/// Who is in command now. Nobody is asked for a code.
pub(super) fn naming(facts: &Facts) -> Prompt {
    let mut prompt = Prompt::ask(Message::of(Id::WhoCommands));
    let competent = |id: &String| {
        let plan = facts.opened.as_ref().map(|o| &o.plan);
        plan.and_then(|plan| plan.responder(id))
            .is_some_and(|it| it.competent)
    };
    let mut people = facts.free_people();
    people.sort_by_key(|id| (!competent(id), facts.order_of(id).is_some()));
    people.truncate(NAMES_MAX);
    let named = |id: String| {
        let label = Message::written(facts.name(&id));
        Choice::saying(label, Act::NameCommand(Some(id)))
    };
    prompt.options = people.into_iter().map(named).collect();
    prompt
        .options
        .push(Choice::new(Id::SomebodyElse, Act::NameCommand(None)));
    prompt
}

/// The rescue in lines, for whoever takes command.
pub fn lines(facts: &Facts, at: Millis) -> Vec<Message> {
    let mut lines = Vec::new();
    let case = facts.case();
    lines.push(where_and_how_long(case, at));
    lines.push(how(case, at));
    let others = facts.cases().filter(|it| it.number != case.number);
    lines.extend(others.take(OTHERS_MAX).map(|it| other(it, at)));
    if case.casualty.off.is_none() {
        lines.extend(what_keeps_away(case));
        lines.extend(what_runs(case));
    }
    lines.push(call(facts));
    let sent = facts.orders.len();
    lines.push(Message::with(Id::BriefPeople, [&sent.to_string()]));
    lines
}

/// One line on a casualty who is not worked on now.
fn other(case: Case<'_>, at: Millis) -> Message {
    let number = case.number.to_string();
    let time = clock(case.hanging(at));
    let id = match (case.casualty.off, case.planned_as()) {
        (Some(_), _) => Id::BriefOtherOff,
        (None, Some(Condition::NotAnswering)) => Id::BriefOtherNoAnswer,
        (None, _) => Id::BriefOtherHangs,
    };
    Message::with(id, [&number, &time])
}

fn place(case: Case<'_>) -> String {
    match (&case.casualty.place, case.position()) {
        (_, Some(position)) => position.name.clone(),
        _ => String::new(),
    }
}

fn where_and_how_long(case: Case<'_>, at: Millis) -> Message {
    let time = clock(case.hanging(at));
    let place = place(case);
    let id = match (
        case.casualty.off.is_some(),
        case.at_least(),
        place.is_empty(),
    ) {
        (true, _, _) => return Message::with(Id::BriefOff, [&time]),
        (false, false, false) => Id::BriefHangs,
        (false, true, false) => Id::BriefHangsAtLeast,
        (false, false, true) => return Message::with(Id::BriefHangsSomewhere, [&time]),
        (false, true, true) => return Message::with(Id::BriefHangsSomewhereAtLeast, [&time]),
    };
    Message::with(id, [&place, &time])
}

pub(super) fn how(case: Case<'_>, at: Millis) -> Message {
    let casualty = case.casualty;
    match casualty.condition {
        None => Message::of(Id::BriefNotAsked),
        Some((_, reported)) if casualty.lapsed > 0 => {
            Message::with(Id::BriefNotChecked, [&ago(reported, at)])
        }
        Some((condition, reported)) => {
            let id = match condition {
                Condition::Talking => Id::BriefTalking,
                Condition::Stuck => Id::BriefStuck,
                Condition::Unwell => Id::BriefUnwell,
                Condition::NotAnswering => Id::BriefNoAnswer,
            };
            Message::with(id, [&ago(reported, at)])
        }
    }
}

fn what_keeps_away(case: Case<'_>) -> Option<Message> {
    if case.casualty.place == Whereabouts::Unknown {
        return None;
    }
    match case.open_hazard() {
        Some(hazard) => Some(Message::with(Id::BriefHazard, [&hazard.name])),
        None if case.casualty.scene.safe.is_none() => Some(Message::of(Id::BriefNotSafe)),
        None => None,
    }
}

fn what_runs(case: Case<'_>) -> Vec<Message> {
    let Some(running) = &case.casualty.running else {
        return vec![Message::of(Id::BriefNothingRuns)];
    };
    let name = case.method(&running.method).map_or("", |m| m.name.as_str());
    let runs = Message::with(Id::BriefRuns, [name]);
    let next = if case.committed() {
        Message::of(Id::BriefCommitted)
    } else if running.change_by >= NEVER {
        Message::of(Id::BriefStays)
    } else {
        let by = clock(Millis(
            running.change_by.0.saturating_sub(case.casualty.fell.0),
        ));
        match case.next_method() {
            Some(next) => Message::with(Id::BriefChangeBy, [&by, &next.name]),
            None => Message::of(Id::BriefNoOther),
        }
    };
    vec![runs, next]
}

fn call(facts: &Facts) -> Message {
    match (facts.call.confirmed, facts.call.ordered.last()) {
        (Some(_), _) => Message::of(Id::BriefCallMade),
        (None, Some((Some(id), _))) => Message::with(Id::BriefCallBy, [facts.name(id)]),
        (None, _) => Message::of(Id::BriefCallNot),
    }
}

/// Outside rescue leads: they get the brief, the crew helps as they say, the clock goes on.
pub(super) fn outside_leads(facts: &Facts, at: Millis) -> Prompt {
    let mut prompt = Prompt::ask(Message::of(Id::OutsideLeads))
        .main(Choice::new(Id::OffHarness, Act::OffHarness).held())
        .other(Choice::new(Id::CrewLeads, Act::CrewLeads).sub(Message::of(Id::CrewLeadsSub)));
    prompt.lines = lines(facts, at);
    prompt.reading = true;
    prompt
}
