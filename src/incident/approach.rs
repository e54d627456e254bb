//! Asks what comes before anybody goes near: is it safe, who calls, where is it, does the casualty answer, do others stop.
//!
//! Whatever holds people back from danger stands before whatever hurries them; the call goes on beside the rescue.

use super::act::Act;
use super::event::Condition;
use super::prompt::{Choice, Prompt};
use super::state::Facts;
use super::working::held_back;
use crate::plan::{Ground, Hazard, HazardKind};
use crate::units::Millis;
use crate::words::{Id, Message};

/// From activation to the question whether all others at height have stopped; they were told to with the first prompt.
pub(super) const OTHERS_ASKED_AFTER: Millis = Millis::from_seconds(45);
/// So many answers of a long list stand on the screen at once.
const FIRST_PAGE: usize = 5;
/// At most this many people are offered as the one who decided.
const DECIDERS_MAX: usize = 3;

/// True while the call stands before the rescue. It gives way after a few seconds and stays on its tile; when it goes to
/// the next person that is said by the tile and a cue, because a prompt that comes up under a finger gets a wrong answer.
pub(super) fn call_is_prompted(facts: &Facts, at: Millis) -> bool {
    let call = &facts.call;
    let waited = call
        .prompted
        .map_or(0, |since| at.0.saturating_sub(since.0));
    !call.ordered.is_empty()
        && call.passed.is_none()
        && call.confirmed.is_none()
        && waited < facts.policy().call_gives_way.0
}

/// True where making safe stands before the work: always when the work would go near, else unless it was just put off.
pub(super) fn make_safe_is_prompted(facts: &Facts, at: Millis) -> bool {
    let case = facts.case();
    if case.may_go_near() {
        return false;
    }
    let not_yet = case.casualty.scene.not_yet;
    let put_off = not_yet.is_some_and(|t| at.0.saturating_sub(t.0) < facts.policy().ask_again.0);
    !put_off || case.step().is_none_or(|(_, _, step)| held_back(case, step))
}

pub(super) fn danger(facts: &Facts) -> Prompt {
    let mut prompt = Prompt::ask(Message::of(Id::Danger))
        .caution(Id::DangerCaution)
        .line(Message::of(Id::DangerGoesOn))
        .line(Message::of(Id::DangerOverWho));
    let mut deciders: Vec<String> = facts.command.by.iter().cloned().collect();
    for id in facts.free_people() {
        if !deciders.contains(&id) {
            deciders.push(id);
        }
    }
    deciders.truncate(DECIDERS_MAX);
    prompt.options = deciders
        .into_iter()
        .map(|id| {
            let label = Message::with(Id::DangerOverBy, [facts.name(&id)]);
            Choice::saying(label, Act::DangerOver(Some(id))).held()
        })
        .collect();
    prompt
        .options
        .push(Choice::new(Id::DangerOverOutside, Act::DangerOver(None)).held());
    prompt
}

pub(super) fn safe_question(facts: &Facts, id: Id) -> Prompt {
    let mut prompt = Prompt::ask(Message::of(id))
        .main(Choice::new(Id::IsSafe, Act::SaySafe))
        .other(Choice::new(Id::NotYet, Act::SayNotYet).sub(Message::of(Id::NotYetSub)));
    let hazards = facts.position().map_or(&[][..], |p| &p.hazards);
    let made_safe = &facts.casualty().scene.made_safe;
    for hazard in hazards.iter().filter(|h| !made_safe.contains(&h.id)) {
        prompt.lines.push(match isolator(facts, hazard) {
            Some(id) => Message::with(Id::HazardBy, [facts.name(&id), &hazard.task]),
            None => Message::with(Id::Step, [&hazard.task]),
        });
    }
    if hazards.is_empty() {
        prompt.lines.push(Message::of(Id::LookFor));
    }
    if facts.others.stopped.is_none() {
        prompt.lines.push(Message::of(Id::OthersStop));
    }
    prompt
}

/// Who makes a hazard safe by the plan. Somebody who may hang is not ordered; the person in command asks for it instead.
fn isolator(facts: &Facts, hazard: &Hazard) -> Option<String> {
    let free = facts.free_people();
    hazard.by.clone().filter(|id| free.contains(id))
}

/// Asks for the next thing that keeps people from going near.
pub(super) fn make_safe(facts: &Facts) -> Prompt {
    let Some(hazard) = facts.open_hazard() else {
        return safe_question(facts, Id::SafeToGoNearAgain);
    };
    let message = match isolator(facts, hazard) {
        Some(id) => Message::with(Id::HazardTaskBy, [facts.name(&id), &hazard.task]),
        None => Message::with(Id::HazardTask, [&hazard.task]),
    };
    let caution = match hazard.kind {
        HazardKind::Electric => Id::ElectricKeepOff,
        _ => Id::KeepAway,
    };
    let safe = Choice::saying(
        Message::written(&hazard.done),
        Act::HazardSafe(hazard.id.clone()),
    );
    let mut prompt = Prompt::ask(message).caution(caution).main(safe).other(
        Choice::new(Id::NotYet, Act::HazardNotYet(hazard.id.clone()))
            .sub(Message::of(Id::NotYetSub)),
    );
    if let Some(proof) = &hazard.proof {
        prompt.lines.push(Message::with(Id::ProofIs, [proof]));
    }
    prompt
}

pub(super) fn call(facts: &Facts) -> Prompt {
    let site = facts.opened.as_ref().map(|o| &o.plan.site);
    let number = site.map_or("", |s| s.emergency_number.as_str());
    let caller = facts.call.ordered.last().and_then(|(to, _)| to.as_deref());
    let mut prompt = match caller {
        Some(id) => {
            Prompt::ask(Message::with(Id::CallBy, [facts.name(id), number])).main(Choice::saying(
                Message::with(Id::CallPassedBy, [facts.name(id)]),
                Act::CallPassed,
            ))
        }
        None => Prompt::ask(Message::with(Id::CallAlone, [number]))
            .main(Choice::new(Id::CallPassedAlone, Act::CallPassed)),
    };
    prompt.lines = call_words(facts);
    if facts.opened.as_ref().is_some_and(|o| o.drill) {
        prompt = prompt.caution(Id::CallDrill);
    }
    prompt
}

/// What the caller says, in as few lines as stand beside the prompt; the card of the call has all of it.
fn call_words(facts: &Facts) -> Vec<Message> {
    let Some(site) = facts.opened.as_ref().map(|o| &o.plan.site) else {
        return Vec::new();
    };
    let mut lines = vec![Message::of(Id::CallSayShort)];
    let position = facts.position();
    let over_water = position.is_some_and(|it| it.ground == Some(Ground::Water));
    if over_water {
        lines.push(Message::of(Id::CallBoat));
    }
    if let Some(position) = position {
        lines.push(Message::with(Id::CallAt, [&position.name]));
    }
    if !site.meeting_point.is_empty() {
        lines.push(Message::with(Id::CallMeet, [&site.meeting_point]));
    }
    lines
}

pub(super) fn whereabouts(facts: &Facts) -> Prompt {
    let positions = facts.opened.as_ref().map_or(&[][..], |o| &o.plan.positions);
    let mut prompt = Prompt::ask(Message::of(Id::WhereHanging));
    prompt.options = positions
        .iter()
        .map(|p| {
            Choice::saying(
                Message::written(&p.name),
                Act::ChoosePosition(Some(p.id.clone())),
            )
        })
        .collect();
    // On the first page of a long list: whoever does not find the place must not turn pages for it.
    let first_page = prompt.options.len().min(FIRST_PAGE - 1);
    prompt.options.insert(
        first_page,
        Choice::new(Id::NotListed, Act::ChoosePosition(None)).sub(Message::of(Id::NotListedSub)),
    );
    prompt
}

/// Asked once, before the work: voice contact decides what can be asked of the casualty.
pub(super) fn voice(facts: &Facts) -> Prompt {
    let message = match facts.talker() {
        Some(id) => Message::with(Id::AskCasualtyBy, [facts.name(&id)]),
        None => Message::of(Id::AskCasualty),
    };
    // Four answers of one size and none in front: a finger that hurries must not say "answers well" by habit.
    let mut prompt = Prompt::ask(message)
        .line(Message::of(Id::TalkHelp))
        .line(Message::of(Id::TalkLegs))
        .line(Message::of(Id::TalkClip));
    prompt.options = [
        (Id::VoiceWell, Condition::Talking),
        (Id::VoiceUnwell, Condition::Unwell),
        (Id::PickStuck, Condition::Stuck),
        (Id::VoiceNone, Condition::NotAnswering),
    ]
    .into_iter()
    .map(|(id, condition)| Choice::new(id, Act::Report(condition)))
    .collect();
    prompt
}

/// True once others at height should have stopped and nobody said that they have.
pub(super) fn others_are_asked(facts: &Facts, at: Millis) -> bool {
    let others = &facts.others;
    let not_yet = others.not_yet;
    let put_off = not_yet.is_some_and(|t| at.0.saturating_sub(t.0) < facts.policy().ask_again.0);
    // Never between the tie and the step that it is for.
    let tied = facts
        .running()
        .is_some_and(|it| it.tied.is_some_and(|(step, _)| step == it.step));
    others.stopped.is_none() && !put_off && at >= OTHERS_ASKED_AFTER && !tied
}

pub(super) fn others() -> Prompt {
    Prompt::ask(Message::of(Id::OthersQuestion))
        .caution(Id::OthersCaution)
        .main(Choice::new(Id::OthersStopped, Act::OthersStopped))
        .other(Choice::new(Id::NotYet, Act::OthersNotYet).sub(Message::of(Id::OthersNotYetSub)))
}
