//! Makes the two cards that are read aloud to people from outside: to whoever answers the call, to whoever takes the care.
//!
//! Short lines in the order in which those people ask. What nobody reported is said to be not reported, never guessed.
//! Times of the day are those of the tablet's clock. Pure.

use super::case::Case;
use super::event::{Aftercare, Condition, Note, Teller};
use super::state::Facts;
use crate::plan::Ground;
use crate::readiness::Posting;
use crate::units::Millis;
use crate::words::{Id, Message, clock, metres, wall_time};

/// At most this many lines of the handover stand beside the question who takes over.
const SHORT_MAX: usize = 3;

impl Facts {
    /// The time of the day at a moment of the incident's time line.
    fn day_time(&self, at: Millis) -> String {
        let started = self.opened.as_ref().map(|it| &it.started);
        let (wall, offset) = started.map_or((0, 0), |it| (it.wall_ms, it.offset_min));
        wall_time(wall.saturating_add(at.0), offset)
    }
}

/// What whoever calls says, all of it: what, where, since when, how, how high, what is dangerous there, whom to call back.
pub fn call_card(facts: &Facts, at: Millis) -> Vec<Message> {
    let Some(opened) = &facts.opened else {
        return Vec::new();
    };
    let (site, case) = (&opened.plan.site, facts.case());
    let position = case.position();
    let mut lines = vec![Message::of(Id::CallSay)];
    lines.extend(position.map(|it| Message::with(Id::CallAt, [&it.name])));
    lines.push(match &site.address {
        Some(address) => Message::with(Id::CallSite, [&site.name, address]),
        None => Message::with(Id::CallAt, [&site.name]),
    });
    lines.extend(
        site.gate
            .as_ref()
            .map(|it| Message::with(Id::CallGate, [it])),
    );
    let mut orders = facts.orders.iter();
    let guide = orders.find(|it| it.posting.role == Posting::GUIDE && it.method.is_empty());
    let meet = site.meeting_point.as_str();
    match guide {
        _ if meet.is_empty() => {}
        Some(order) => {
            let name = facts.name(&order.posting.responder);
            lines.push(Message::with(Id::CallMeetBy, [meet, name]));
        }
        None => lines.push(Message::with(Id::CallMeet, [meet])),
    }
    lines.push(hanging(case, at));
    lines.push(super::brief::how(case, at));
    if let Some(feet) = position.and_then(|it| it.feet_above_ground.as_ref()) {
        lines.push(Message::with(Id::CallHeight, [&metres(feet.value)]));
    }
    lines.extend(dangers(case));
    if position.is_some_and(|it| it.ground == Some(Ground::Water)) {
        lines.push(Message::of(Id::CallBoat));
    }
    lines.extend(
        site.call_back
            .as_ref()
            .map(|it| Message::with(Id::CallBack, [it])),
    );
    lines
}

/// Whole minutes, as one says them: the seconds of a clock are past before they are said.
fn hanging(case: Case<'_>, at: Millis) -> Message {
    let time = case.hanging(at);
    if case.casualty.off.is_some() {
        return Message::with(Id::CallHung, [&clock(time)]);
    }
    let minutes = time.0.max(0) / 60_000;
    if minutes == 0 && !case.at_least() {
        return Message::of(Id::CallHangingShort);
    }
    let minutes = minutes.to_string();
    let id = match case.at_least() {
        true => Id::CallHangingAtLeast,
        false => Id::CallHanging,
    };
    Message::with(id, [&minutes])
}

/// The hazards there; those that nobody reported to be safe stand apart.
fn dangers(case: Case<'_>) -> Vec<Message> {
    let hazards = case.position().map_or(&[][..], |it| &it.hazards);
    let safe = |id: &String| case.casualty.scene.made_safe.contains(id);
    let named = |made_safe: bool| {
        let of_it = hazards.iter().filter(|it| safe(&it.id) == made_safe);
        let names: Vec<&str> = of_it.map(|it| it.name.as_str()).collect();
        names.join(", ")
    };
    let line = |id, names: String| (!names.is_empty()).then(|| Message::with(id, [&names]));
    let open = line(Id::CallNotSafe, named(false));
    let closed = line(Id::CallDangers, named(true));
    open.into_iter().chain(closed).collect()
}

/// That the call was made, by whom and when, and when help comes, with who said so.
pub fn call_made(facts: &Facts) -> Option<Message> {
    let made = facts.day_time(facts.call.confirmed?);
    let by = facts.call.ordered.last().and_then(|(to, _)| to.as_deref());
    let by = by.map_or(facts.command.by.as_deref(), Some);
    let name = by.map_or("?", |id| facts.name(id));
    Some(match facts.outside.expected {
        None => Message::with(Id::CallMadeBy, [name, &made]),
        Some(due) => {
            let id = match facts.outside.said_by {
                Some(Teller::Dispatcher) => Id::CallMadeHelpDispatcher,
                Some(Teller::Coming) => Id::CallMadeHelpComing,
                Some(Teller::Guide) => Id::CallMadeHelpGuide,
                None => Id::CallMadeHelp,
            };
            Message::with(id, [name, &made, &facts.day_time(due)])
        }
    })
}

/// What whoever takes over the care must hear, in the order age, time, mechanism, injuries, signs, treatment, as ambulance
/// crews ask for it.
pub fn handover(case: Case<'_>) -> Vec<Message> {
    let mut lines = vec![who(case), times(case)];
    lines.extend(mechanism(case));
    lines.extend(injuries(case));
    lines.extend(signs(case));
    lines.extend(treatment(case));
    lines
}

/// What stands beside the question who takes over: how it was, and where the whole card is.
pub(super) fn handover_short(case: Case<'_>) -> Vec<Message> {
    let signs = signs(case).into_iter();
    let mut lines: Vec<Message> = mechanism(case).into_iter().take(1).chain(signs).collect();
    lines.truncate(SHORT_MAX);
    lines.push(Message::of(Id::HandRead));
    lines
}

fn who(case: Case<'_>) -> Message {
    match &case.casualty.who {
        Some(id) => Message::with(Id::HandWho, [case.facts.name(id)]),
        None => Message::of(Id::HandNobody),
    }
}

fn times(case: Case<'_>) -> Message {
    let fell = case.facts.day_time(case.casualty.fell);
    let off = case.casualty.off.map(|(off, _)| case.facts.day_time(off));
    match (case.at_least(), off) {
        (false, Some(off)) => Message::with(Id::HandFell, [&fell, &off]),
        (true, Some(off)) => Message::with(Id::HandFound, [&fell, &off]),
        (false, None) => Message::with(Id::HandFellHangs, [&fell]),
        (true, None) => Message::with(Id::HandFoundHangs, [&fell]),
    }
}

fn notes(case: Case<'_>) -> impl Iterator<Item = Note> {
    let notes = case.facts.notes.iter();
    let of_it = notes.filter(move |(_, number, _)| *number == case.number);
    of_it.map(|(note, ..)| *note)
}

fn mechanism(case: Case<'_>) -> Vec<Message> {
    let casualty = case.casualty;
    let mut lines = Vec::new();
    let hung = match casualty.off {
        Some(_) => clock(case.hanging(Millis::ZERO)),
        None => clock(case.hanging(case.facts.line.reached_at())),
    };
    lines.push(match case.at_least() {
        true => Message::with(Id::HandHungAtLeast, [&hung]),
        false => Message::with(Id::HandHung, [&hung]),
    });
    if let Some(feet) = case.position().and_then(|it| it.feet_above_ground.as_ref()) {
        lines.push(Message::with(Id::HandHigh, [&metres(feet.value)]));
    }
    let moved: Vec<Message> = notes(case)
        .filter_map(|note| match note {
            Note::ReliefStraps => Some(Message::of(Id::NoteStraps)),
            Note::LegsRaised => Some(Message::of(Id::NoteLegs)),
            Note::Foothold => Some(Message::of(Id::NoteFoothold)),
            _ => None,
        })
        .collect();
    if casualty.worst == Some(Condition::NotAnswering) {
        lines.push(Message::of(Id::HandMotionless));
    } else if moved.is_empty() {
        lines.push(Message::of(Id::HandMotion));
    }
    lines.extend(moved);
    lines
}

fn injuries(case: Case<'_>) -> Vec<Message> {
    let mut lines: Vec<Message> = notes(case)
        .filter_map(|note| match note {
            Note::Bleeding => Some(Message::of(Id::HandBleeding)),
            Note::HeadHurt => Some(Message::of(Id::HandHead)),
            _ => None,
        })
        .collect();
    if case.casualty.worst == Some(Condition::Stuck) {
        lines.push(Message::of(Id::HandHurt));
    }
    if lines.is_empty() {
        lines.push(Message::of(Id::HandInjuries));
    }
    lines
}

fn signs(case: Case<'_>) -> Vec<Message> {
    let casualty = case.casualty;
    let mut lines = vec![Message::of(match casualty.worst {
        None => Id::HandNotChecked,
        Some(Condition::Talking) => Id::HandTalked,
        Some(Condition::Stuck) => Id::HandStuck,
        Some(Condition::Unwell) => Id::HandUnwell,
        Some(Condition::NotAnswering) => Id::HandNoAnswer,
    })];
    if let Some((condition, at)) = casualty.condition {
        let id = match condition {
            Condition::Talking => Id::HandLastTalking,
            Condition::Stuck => Id::HandLastStuck,
            Condition::Unwell => Id::HandLastUnwell,
            Condition::NotAnswering => Id::HandLastNoAnswer,
        };
        lines.push(Message::with(id, [&case.facts.day_time(at)]));
    }
    let looks = |item: &Aftercare| {
        matches!(
            item,
            Aftercare::Breathing | Aftercare::Resuscitate | Aftercare::Watch | Aftercare::LookAgain
        )
    };
    let mut answers = casualty.aftercare.iter().rev();
    let breathing = answers.find(|(item, ..)| looks(item));
    lines.push(match breathing {
        None => Message::of(Id::HandBreathingUnknown),
        Some((item, well, at)) => {
            let time = case.facts.day_time(*at);
            let id = match (item, well) {
                (_, true) => Id::HandBreathes,
                (Aftercare::Breathing, false) => Id::HandNotBreathing,
                (Aftercare::Resuscitate, false) => Id::HandResuscitated,
                (_, false) => Id::HandWorse,
            };
            Message::with(id, [&time])
        }
    });
    lines
}

fn treatment(case: Case<'_>) -> Vec<Message> {
    let done = |item: Aftercare, well: bool| {
        Some(match (item, well) {
            (Aftercare::LayFlat, true) => Id::HandFlat,
            (Aftercare::Bleeding, true) => Id::HandNoBleeding,
            (Aftercare::Airway, true) => Id::HandAirway,
            (Aftercare::Resuscitate, true) => Id::HandCprWorked,
            (Aftercare::Resuscitate, false) => Id::HandCprTaken,
            (Aftercare::LoosenWarm, true) => Id::HandWarm,
            _ => return None,
        })
    };
    let answers = case.casualty.aftercare.iter();
    let mut given: Vec<(Id, Millis)> = Vec::new();
    for (id, at) in answers.filter_map(|(item, well, at)| Some((done(*item, *well)?, *at))) {
        // What was done again is told once, with the last time.
        given.retain(|(it, _)| *it != id);
        given.push((id, at));
    }
    let refused = case.casualty.refused.map(|at| (Id::HandRefuses, at));
    given.extend(refused);
    if given.is_empty() {
        return vec![Message::of(Id::HandTreatmentUnknown)];
    }
    let told = given
        .into_iter()
        .map(|(id, at)| Message::with(id, [&case.facts.day_time(at)]));
    [Message::of(Id::HandTreatment)]
        .into_iter()
        .chain(told)
        .collect()
}
