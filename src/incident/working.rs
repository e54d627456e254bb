//! Asks for the next piece of the work: make safe, confirm what must be in place, do the step, change in time.
//!
//! A step that exposes somebody is preceded by "tied off, partner checked", one that enters a confined space by the plan's
//! conditions, one that lowers onto bad ground by the plan's control for it. While committed nothing asks to change.

use super::act::Act;
use super::approach;
use super::case::Case;
use super::event::Condition;
use super::prompt::{Choice, Prompt};
use super::state::{Facts, MORE_TIME_MAX, Running, Securing};
use crate::plan::{Ground, Method, Milestone, Step};
use crate::units::Millis;
use crate::words::{Id, Message};

/// At most this many methods are offered again at once.
const TRY_AGAIN_MAX: usize = 5;

/// What is asked once the place is known and the casualty still hangs.
pub(super) fn prompt(facts: &Facts, at: Millis) -> Prompt {
    let case = facts.case();
    let running = case.casualty.running.as_ref();
    if let Some(securing) = running.and_then(|r| r.securing.as_ref()) {
        return secure(case, securing);
    }
    if running.is_some_and(|r| r.held) {
        return stopped(case);
    }
    if case.casualty.condition.is_none() && case.casualty.lapsed < 2 && !case.committed() {
        return approach::voice(facts);
    }
    if approach::make_safe_is_prompted(facts, at) {
        return approach::make_safe(facts);
    }
    if case.change_is_due(at) {
        return change(case, at);
    }
    if approach::others_are_asked(facts, at) {
        return approach::others();
    }
    asks_first(case).unwrap_or_else(|| work(case))
}

fn secure(case: Case<'_>, securing: &Securing) -> Prompt {
    let prompt =
        Prompt::ask(Message::of(Id::MakeSafeBoth)).main(Choice::new(Id::BothHeld, Act::Secured));
    let stop = case.casualty.running.as_ref().and_then(|running| {
        let (_, stop) = case
            .casualty
            .stopped
            .iter()
            .find(|(id, _)| *id == running.method)?;
        Some(super::ladder::stop_reason(
            case.method(&running.method)?,
            *stop,
        ))
    });
    match (securing, stop) {
        (Securing::Stopped, Some(why)) => prompt.cautioned(Some(why)),
        _ => prompt.caution(Id::MakeSafeCaution),
    }
}

/// Something stopped a committed method: the person in command decides which way it goes on. Nothing here hurries.
fn stopped(case: Case<'_>) -> Prompt {
    let running = case.casualty.running.as_ref();
    let method = running.and_then(|r| case.method(&r.method));
    let mut prompt = Prompt::ask(Message::of(Id::StoppedWhatNow)).caution(Id::StoppedCaution);
    if let Some(method) = method {
        let say = Message::with(Id::StoppedGoOn, [&method.name]);
        prompt.options.push(
            Choice::saying(say, Act::GoOn)
                .sub(Message::of(Id::StoppedGoOnSub))
                .held(),
        );
    }
    if let Some(next) = case.next_method() {
        prompt.options.push(Choice::saying(
            Message::with(Id::ChangeAnswer, [&next.name]),
            Act::GoStraight(next.id.clone()),
        ));
    }
    if case.facts.outside.asked.is_none() {
        prompt
            .options
            .push(Choice::new(Id::AskOutside, Act::AskOutside));
    }
    prompt
}

fn change(case: Case<'_>, at: Millis) -> Prompt {
    let running = case.casualty.running.as_ref();
    let now = running.and_then(|r| case.method(&r.method));
    let next = case.next_method().map_or("", |m| m.name.as_str());
    let verdict = now.map(|method| case.verdict(method));
    let out = verdict.filter(|it| it.is_out());
    let ruled_out = out.is_some();
    let mut prompt = Prompt::ask(Message::with(Id::ChangeTo, [next])).main(Choice::saying(
        Message::with(Id::ChangeAnswer, [next]),
        Act::Change,
    ));
    let why = out.as_ref().and_then(|it| it.reason());
    prompt.caution = Some(match (now, why) {
        (_, Some(why)) if why.id == Id::OutCondition => Message::of(Id::ConditionRulesOut),
        (_, Some(why)) if why.id == Id::OutNotChecked => Message::of(Id::NobodyChecked),
        (_, Some(why)) => why.clone(),
        (Some(method), None) => Message::with(Id::ChangeByPassed, [&method.name]),
        (None, None) => Message::of(Id::PastTarget),
    });
    if ruled_out && case.casualty.lapsed >= 2 {
        // Nobody has looked for two intervals: one touch says that the casualty answers after all.
        prompt.small = Some(Choice::new(Id::VoiceWell, Act::Report(Condition::Talking)));
    } else if !ruled_out && running.is_some_and(|r| r.more < MORE_TIME_MAX && at >= r.change_by) {
        prompt.small = Some(Choice::new(Id::MoreTime, Act::MoreTime));
    }
    prompt
}

/// What must be confirmed before the step: conditions for going in, control of what is below, the tie and its check.
pub(super) fn asks_first(case: Case<'_>) -> Option<Prompt> {
    let (running, method, step) = case.step()?;
    let off = case.casualty.off.is_some();
    let prompt = entry(case, running, method, step)
        .or_else(|| {
            (!off)
                .then(|| ground(case, running, method, step))
                .flatten()
        })
        .or_else(|| tie(case, running, method, step))?;
    let next = what_is_next(case, step, running.fallback);
    Some(if off {
        prompt
    } else {
        prompt.other(Choice::new(Id::NotWorking, Act::NotWorking).sub(next))
    })
}

fn entry(case: Case<'_>, running: &Running, method: &Method, step: &Step) -> Option<Prompt> {
    let space = case.position()?.confined_space.as_ref()?;
    let enters = case.role(running, method, step)?.enters && goes_near(step);
    let open = (0..space.conditions.len()).find(|index| !running.entry.contains(index));
    let index = open.filter(|_| enters)?;
    let number = index.saturating_add(1).to_string();
    let all = space.conditions.len().to_string();
    let prompt = Prompt::ask(Message::with(Id::EntryFirst, [&number, &all]))
        .caution(Id::EntryCaution)
        .line(Message::with(Id::Step, [&space.conditions[index]]))
        .main(Choice::new(Id::EntryMet, Act::EntryMet(index)));
    Some(prompt)
}

fn ground(case: Case<'_>, running: &Running, method: &Method, step: &Step) -> Option<Prompt> {
    let position = case.position()?;
    let control = position.ground_control.as_ref()?;
    let bad = position.ground.is_some_and(|it| it != Ground::Firm);
    let asked = bad && method.lowers && step.committed && !running.ground_held;
    asked.then(|| {
        Prompt::ask(Message::of(Id::GroundFirst))
            .line(Message::with(Id::Step, [control]))
            .main(Choice::new(Id::GroundHeld, Act::GroundHeld))
    })
}

/// Before each exposed step: an anchorage of their own, a partner who checks, and a way to bring that rescuer home.
fn tie(case: Case<'_>, running: &Running, method: &Method, step: &Step) -> Option<Prompt> {
    let role = case.role(running, method, step);
    // Whoever does a fallback is tied and checked for it where that is somebody else who is ever exposed here.
    let fallback = running.fallback.and_then(|f| step.fallback.get(f));
    let other = fallback
        .and_then(|it| it.role.as_ref())
        .filter(|role| Some(*role) != step.role.as_ref());
    let holds = |it: &&Step| it.exposed && it.role.as_ref() == other;
    let tied = match other {
        Some(_) if method.steps.iter().any(|it| holds(&it)) => {
            running.tied == Some((running.step, running.fallback))
        }
        Some(_) => true,
        None => running.tied.is_some_and(|(at, _)| at == running.step),
    };
    if !step.exposed || tied {
        return None;
    }
    let posting = role.and_then(|role| case.posting(&method.id, &role.id));
    let message = match posting {
        Some(it) => Message::with(Id::TieBy, [case.facts.name(&it.responder)]),
        None => Message::of(Id::Tie),
    };
    let mut prompt = Prompt::ask(message)
        .caution(Id::TieCaution)
        .main(Choice::new(Id::Tied, Act::TiedOff));
    let person = |role: &String| {
        let posting = case.posting(&method.id, role)?;
        Some(case.facts.name(&posting.responder))
    };
    if let Some(anchorage) = role.and_then(|it| it.anchorage.as_ref()) {
        prompt.lines.push(Message::with(Id::TieTo, [anchorage]));
    }
    if let Some(control) = method.control.as_ref().and_then(person) {
        prompt.lines.push(Message::with(Id::TieControl, [control]));
    }
    if let Some(way) = &method.rescuer_rescue {
        prompt.lines.push(Message::with(Id::TieRescue, [way]));
    }
    Some(prompt)
}

fn work(case: Case<'_>) -> Prompt {
    let Some((running, method, step)) = case.step() else {
        return if case.casualty.running.is_some() {
            weight_off(case)
        } else {
            nothing_left(case)
        };
    };
    let mut prompt = step_prompt(case, running, method, step);
    prompt.caution = match &step.caution {
        Some(text) => Some(Message::written(text)),
        None if step.exposed => Some(Message::of(Id::TiesOff)),
        None => None,
    };
    let releases = step.milestone == Some(Milestone::OffHarness);
    prompt.main = prompt
        .main
        .map(|answer| if releases { answer.held() } else { answer });
    prompt.other(
        Choice::new(Id::NotWorking, Act::NotWorking).sub(what_is_next(
            case,
            step,
            running.fallback,
        )),
    )
}

/// Who does what, and the answer that repeats it; a fallback in place of the step while one is tried, and no name where
/// nobody holds the role.
pub(super) fn step_prompt(
    case: Case<'_>,
    running: &Running,
    method: &Method,
    step: &Step,
) -> Prompt {
    let fallback = running.fallback.and_then(|f| step.fallback.get(f));
    let (role, say, done) = match fallback {
        Some(f) => (f.role.as_ref().or(step.role.as_ref()), &f.say, &f.done),
        None => (step.role.as_ref(), &step.say, &step.done),
    };
    let posting = role.and_then(|role| case.posting(&method.id, role));
    let order = match posting {
        Some(posting) => Message::with(Id::StepBy, [case.facts.name(&posting.responder), say]),
        None => Message::with(Id::Step, [say]),
    };
    Prompt::ask(order).main(Choice::saying(Message::written(done), Act::StepDone))
}

/// Names what "not working" leads to.
fn what_is_next(case: Case<'_>, step: &Step, fallback: Option<usize>) -> Message {
    let next = fallback.map_or(0, |f| f.saturating_add(1));
    match (step.fallback.get(next), case.next_method()) {
        (Some(fallback), _) => Message::with(Id::NextIs, [&fallback.say]),
        (None, Some(method)) => Message::with(Id::NextIs, [&method.name]),
        (None, None) => Message::of(Id::NextNone),
    }
}

fn weight_off(case: Case<'_>) -> Prompt {
    Prompt::ask(Message::of(Id::WeightOff))
        .caution(Id::WeightOffCaution)
        .main(Choice::new(Id::OffHarness, Act::OffHarness).held())
        .other(
            Choice::new(Id::NotWorking, Act::NotWorking).sub(match case.next_method() {
                Some(method) => Message::with(Id::NextIs, [&method.name]),
                None => Message::of(Id::NextNone),
            }),
        )
}

fn nothing_left(case: Case<'_>) -> Prompt {
    let mut prompt = Prompt::ask(Message::of(Id::NothingLeft)).caution(Id::NothingLeftCaution);
    if case.facts.outside.asked.is_none() {
        prompt
            .options
            .push(Choice::new(Id::AskOutside, Act::AskOutside));
    }
    let open = case.methods().iter().filter(|m| !case.verdict(m).is_out());
    let again = open
        .take(TRY_AGAIN_MAX.saturating_sub(prompt.options.len()))
        .map(|m| {
            Choice::saying(
                Message::with(Id::TryMethod, [&m.name]),
                Act::GoStraight(m.id.clone()),
            )
        });
    prompt.options.extend(again);
    prompt
        .options
        .push(Choice::new(Id::OffHarness, Act::OffHarness).held());
    prompt
}

/// True where a step must wait until it is safe: it takes somebody past the approach point or to the casualty, or a
/// supply is not confirmed off, which bars every touch.
pub(super) fn held_back(case: Case<'_>, step: &Step) -> bool {
    !case.may_go_near() && (goes_near(step) || case.touch_nothing())
}

fn goes_near(step: &Step) -> bool {
    step.near
        || step.exposed
        || step.committed
        || matches!(
            step.milestone,
            Some(Milestone::FirstContact | Milestone::OffHarness)
        )
}
