//! Asks for what comes after the harness: the way down, aftercare one line at a time, the closing questions.
//!
//! The plan's own first-aid text stands under the built-in questions and goes before them, and people trained in first aid
//! go before both. Nothing here keeps a casualty upright.

use super::act::Act;
use super::aloud::handover_short;
use super::approach::{call, call_is_prompted};
use super::case::Case;
use super::event::{Aftercare, CareTaker, Closing};
use super::loaded::loaded;
use super::prompt::{Choice, Prompt};
use super::state::Facts;
use super::working::{asks_first, step_prompt};
use crate::units::Millis;
use crate::words::{Id, Message};

/// From off the harness to the closing questions: down to the landing place, then care.
pub(super) fn after_release(facts: &Facts, at: Millis) -> Prompt {
    let still = Choice::new(Id::StillHanging, Act::StillHanging)
        .sub(Message::of(Id::StillHangingSub))
        .held();
    if call_is_prompted(facts, at) {
        return call(facts);
    }
    let case = facts.case();
    if let Some((running, method, step)) = case.step().filter(|_| !case.casualty.aloft) {
        if let Some(prompt) = asks_first(case) {
            return prompt.other(still);
        }
        let mut prompt = step_prompt(case, running, method, step).caution(Id::KeepFlat);
        if let Some(text) = &step.caution {
            prompt = prompt.line(Message::written(text));
        }
        let next = running.fallback.map_or(0, |f| f.saturating_add(1));
        let failing = Choice::new(Id::NotWorking, Act::NotWorking);
        prompt.other = Some(match step.fallback.get(next) {
            Some(f) => failing.sub(Message::with(Id::NextIs, [&f.say])),
            None if step.fallback.is_empty() && !step.exposed => still,
            None => failing.sub(Message::of(Id::NextOutside)),
        });
        return prompt;
    }
    let item = next_care(case, at);
    let landed = case.casualty.landed.is_some();
    if !landed && item > Aftercare::Resuscitate {
        return landing(case).other(still);
    }
    care(case, item).other_if_none(still)
}

impl Prompt {
    fn other_if_none(mut self, choice: Choice) -> Prompt {
        self.other.get_or_insert(choice);
        self
    }
}

fn landing(case: Case<'_>) -> Prompt {
    let facts = case.facts;
    if case.casualty.aloft {
        return Prompt::ask(Message::of(Id::StuckAloft))
            .caution(Id::KeepFlat)
            .line(Message::of(Id::StuckAloftLine))
            .main(Choice::new(Id::AtLanding, Act::AtLanding));
    }
    // Off the harness by this method: it may bring the casualty to another place than the position's.
    let running = case.casualty.running.as_ref();
    let own = running
        .and_then(|r| case.method(&r.method))
        .and_then(|m| m.landing.as_ref());
    let place = case
        .position()
        .and_then(|p| facts.opened.as_ref()?.plan.place(own.unwrap_or(&p.landing)));
    let message = match place {
        Some(place) => Message::with(Id::ToLanding, [&place.name]),
        None => Message::of(Id::ToLandingGeneric),
    };
    Prompt::ask(message)
        .caution(Id::KeepFlat)
        .main(Choice::new(Id::AtLanding, Act::AtLanding))
}

/// Aftercare in its order. Resuscitation is asked only of a casualty who does not breathe.
const CARE: [Aftercare; 9] = [
    Aftercare::SafeHere,
    Aftercare::LayFlat,
    Aftercare::Bleeding,
    Aftercare::Airway,
    Aftercare::Breathing,
    Aftercare::Resuscitate,
    Aftercare::LoosenWarm,
    Aftercare::NeverAlone,
    Aftercare::Doctor,
];

/// The aftercare question to ask now. "Worse" begins again at the airway; what was put off is asked again; a casualty who
/// refuses care is not touched, and still not left alone.
pub(super) fn next_care(case: Case<'_>, at: Millis) -> Aftercare {
    let aftercare = &case.casualty.aftercare;
    let worse = aftercare
        .iter()
        .rposition(|(item, well, _)| *item == Aftercare::Watch && !well);
    let answers = &aftercare[worse.map_or(0, |i| i.saturating_add(1))..];
    let last = |item: Aftercare| answers.iter().rev().find(|(i, _, _)| *i == item);
    let refuses = case.casualty.refused.is_some();
    let asked = CARE.into_iter().filter(|item| match item {
        // Somebody who gets worse is looked after, whatever they said before.
        _ if refuses && worse.is_none() => *item >= Aftercare::NeverAlone,
        Aftercare::Resuscitate => last(Aftercare::Breathing).is_some_and(|(_, well, _)| !well),
        item => worse.is_none() || *item >= Aftercare::Airway,
    });
    let asked: Vec<_> = asked.collect();
    if let Some(item) = asked.iter().find(|item| last(**item).is_none()) {
        return *item;
    }
    let again = case.facts.policy().ask_again.0;
    let put_off = asked
        .into_iter()
        .filter(|i| !matches!(i, Aftercare::Breathing | Aftercare::Resuscitate))
        .find(|item| {
            last(*item).is_some_and(|(_, well, t)| !well && at.0.saturating_sub(t.0) >= again)
        });
    put_off.unwrap_or_else(|| {
        let since_off = case
            .casualty
            .off
            .map_or(0, |(off, _)| at.0.saturating_sub(off.0));
        let looked = aftercare.iter().any(|(i, _, _)| *i == Aftercare::LookAgain);
        if since_off >= case.facts.policy().recheck_after.0 && !looked {
            Aftercare::LookAgain
        } else {
            Aftercare::Watch
        }
    })
}

/// When the casualty was last looked at, once the list is through.
fn last_check(case: Case<'_>) -> Option<Millis> {
    let aftercare = &case.casualty.aftercare;
    let through = aftercare
        .iter()
        .any(|(item, ..)| *item == Aftercare::Doctor);
    aftercare.last().filter(|_| through).map(|(_, _, at)| *at)
}

/// True where the check of every minute is due and was not noted yet.
pub(super) fn care_check_due(case: Case<'_>, at: Millis) -> bool {
    let every = case.facts.policy().check_every;
    let due = last_check(case).map(|last| last.saturating_add(every));
    case.casualty.lapsed == 0 && case.casualty.handed.is_none() && due.is_some_and(|due| at >= due)
}

/// When something of the care has to be looked at again.
pub(super) fn care_comes_back(case: Case<'_>) -> impl Iterator<Item = Millis> + '_ {
    let policy = case.facts.policy();
    let put_off = case
        .casualty
        .aftercare
        .iter()
        .filter(|(_, well, _)| !well)
        .map(|(_, _, t)| t.saturating_add(policy.ask_again));
    let check = last_check(case).map(|last| last.saturating_add(policy.check_every));
    let again = case
        .casualty
        .off
        .map(|(off, _)| off.saturating_add(policy.recheck_after));
    put_off.chain(check).chain(again)
}

fn care(case: Case<'_>, item: Aftercare) -> Prompt {
    let facts = case.facts;
    let yes = |id| Choice::new(id, Act::Care(item, true));
    let no = |id| Choice::new(id, Act::Care(item, false));
    let ask = |id| Prompt::ask(Message::of(id));
    let prompt = match item {
        Aftercare::SafeHere => ask(Id::CareSafeHere).main(yes(Id::CareSafeHereDone)),
        Aftercare::LayFlat => match facts.first_aider() {
            Some(id) => Prompt::ask(Message::with(Id::CareLayFlatBy, [facts.name(&id)])),
            None => ask(Id::CareLayFlat),
        }
        .main(yes(Id::CareLayFlatDone)),
        Aftercare::Bleeding => ask(Id::CareBleeding)
            .main(yes(Id::CareBleedingDone))
            .other(no(Id::NotYet)),
        Aftercare::Airway => ask(Id::CareAirway)
            .caution(Id::CareAirwayCaution)
            .main(yes(Id::CareAirwayDone))
            .other(no(Id::NotYet)),
        Aftercare::Breathing => ask(Id::CareBreathing)
            .caution(Id::CareBreathingCaution)
            .main(yes(Id::CareBreathingDone))
            .other(no(Id::CareNotBreathing)),
        Aftercare::Resuscitate => ask(Id::CareResuscitate)
            .caution(Id::CareResuscitateCaution)
            .main(yes(Id::CareResuscitateDone))
            .other(no(Id::CareResuscitateTaken)),
        Aftercare::LoosenWarm => ask(Id::CareLoosenWarm)
            .main(yes(Id::CareLoosenWarmDone))
            .other(no(Id::NotYet)),
        Aftercare::NeverAlone => ask(Id::CareNeverAlone)
            .main(yes(Id::CareNeverAloneDone))
            .other(no(Id::NotYet)),
        Aftercare::Doctor => ask(Id::CareDoctor)
            .caution(Id::CareDoctorCaution)
            .main(yes(Id::CareDoctorDone))
            .other(no(Id::NotYet)),
        Aftercare::Watch | Aftercare::LookAgain => {
            let mut prompt = if item == Aftercare::LookAgain {
                ask(Id::CareLookAgain).caution(Id::CareLookAgainCaution)
            } else {
                ask(Id::CareWatch).caution(Id::CareWatchCaution)
            };
            prompt = prompt.main(yes(Id::CareWatchDone)).other(
                Choice::new(Id::CareWorse, Act::Care(Aftercare::Watch, false))
                    .sub(Message::of(Id::CareWorseSub)),
            );
            prompt.small = Some(Choice::new(Id::HandedOver, Act::BeginClosing));
            prompt
        }
    };
    let refuses = case.casualty.refused.is_some() && item >= Aftercare::NeverAlone;
    let mut prompt = if refuses {
        prompt.caution(Id::CareRefusedCaution)
    } else {
        prompt
    };
    let own = facts
        .opened
        .as_ref()
        .and_then(|o| o.plan.first_aid.as_ref());
    if let Some(own) = own {
        prompt.lines.push(Message::of(Id::CarePlanFirst));
        let lines = own.lines.iter().map(|line| Message::written(line));
        prompt.lines.extend(lines);
    }
    prompt
}

const CLOSING: [Closing; 8] = [
    Closing::NobodyHanging,
    Closing::Counted,
    Closing::OffRope,
    Closing::HandedOver,
    Closing::KitWithdrawn,
    Closing::SceneLeft,
    Closing::WorkStopped,
    Closing::Welfare,
];

pub(super) fn closing(facts: &Facts, answered: &[Closing]) -> Prompt {
    let asked = |item: &Closing| match item {
        _ if answered.contains(item) => false,
        Closing::NobodyHanging => facts.anybody_hangs(),
        Closing::HandedOver => facts.casualties.iter().any(|it| it.handed.is_none()),
        _ => true,
    };
    let ask = |id| Prompt::ask(Message::of(id));
    let back = Choice::new(Id::CloseBack, Act::LeaveClosing);
    let Some(item) = CLOSING.into_iter().find(asked) else {
        return ask(Id::CloseNow)
            .main(Choice::new(Id::CloseNowDone, Act::StandDown).held())
            .other(back);
    };
    let done = |id| Choice::new(id, Act::Close(item));
    let (prompt, done) = match item {
        Closing::NobodyHanging => (
            ask(Id::CloseNobodyHanging),
            done(Id::CloseNobodyHangingDone).held(),
        ),
        Closing::Counted => (ask(Id::CloseCounted), done(Id::CloseCountedDone)),
        Closing::OffRope => (ask(Id::CloseOffRope), done(Id::CloseOffRopeDone)),
        Closing::HandedOver => return handing_over(facts, back),
        Closing::KitWithdrawn => {
            let mut prompt = ask(Id::CloseKitWithdrawn);
            let pieces = loaded(facts);
            prompt.lines = pieces
                .iter()
                .map(|it| Message::with(Id::Step, [it]))
                .collect();
            prompt.reading = prompt.lines.len() > READ_AT_ONCE;
            (prompt, done(Id::CloseKitWithdrawnDone))
        }
        Closing::SceneLeft => (ask(Id::CloseSceneLeft), done(Id::CloseSceneLeftDone)),
        Closing::WorkStopped => (
            ask(Id::CloseWorkStopped).caution(Id::CloseWorkStoppedCaution),
            done(Id::CloseWorkStoppedDone),
        ),
        Closing::Welfare => (ask(Id::CloseWelfare), done(Id::CloseWelfareDone)),
    };
    prompt.main(done).other(back)
}

/// More lines than this need the room of a page that is read.
const READ_AT_ONCE: usize = 4;

/// Who takes the casualty, with what they have to hear.
fn handing_over(facts: &Facts, back: Choice) -> Prompt {
    let mut waiting = facts.cases().filter(|it| it.casualty.handed.is_none());
    let case = waiting.next().unwrap_or_else(|| facts.case());
    let message = match facts.casualties.len() {
        0 | 1 => Message::of(Id::CloseHandedOver),
        _ => Message::with(Id::CloseHandedOverOne, [&case.number.to_string()]),
    };
    let mut prompt = Prompt::ask(message);
    prompt.lines = handover_short(case);
    let to = |id, taker| Choice::new(id, Act::HandOver(case.number, taker));
    prompt.options = vec![
        to(Id::HandAmbulance, CareTaker::Ambulance),
        to(Id::HandFireService, CareTaker::FireService),
        to(Id::HandDoctor, CareTaker::Doctor),
    ];
    if case.casualty.refused.is_some() {
        prompt.options.push(to(Id::HandRefused, CareTaker::Refused));
    }
    prompt.options.push(back);
    prompt
}
