//! Sets what was advised on the screen beside what the person in command did.
//!
//! A prompt is an advice where it asks for a decision: make safe, call, stop the others, check, change. That a method was begun by the
//! ladder's order is one as well. Steps, care and closing questions are left out where they were done. An advice that gave way
//! to another prompt and came back is one. Nobody knows from the record who was right: these are facts to talk about, and what the
//! reasons were stands beside them as far as the screen gave them. Limits: what was done without a touch is not on record.

use super::account::{Advice, Advised, Answer};
use super::measures::named;
use super::read::{Entry, Read, Walker};
use super::slips::short;
use crate::drill::{Decision, Departure, comes_by_itself, decision_told};
use crate::incident::{Aftercare, Event, Facts, Record, Why, prompt};
use crate::units::Millis;
use crate::words::{Id, Phrase};
use std::collections::BTreeMap;

/// Everything that was advised, in the order in which it came up.
pub(super) fn advice(read: &Read) -> Vec<Advice> {
    let mut watch = Watch {
        read,
        causes: causes(read),
        found: Vec::new(),
        showing: None,
        begun: BTreeMap::new(),
    };
    read.walk(&mut watch);
    let mut all = watch.close();
    for decision in &read.outcome.decisions {
        let departed = departure(read, decision, &mut all);
        all.extend(departed);
    }
    all.retain(is_told);
    for it in &mut all {
        it.by = in_command(read, it);
    }
    // The sort keeps the order of what came up at the same moment.
    all.sort_by_key(|it| it.at);
    all
}

/// Steps, care and closing that were done are told elsewhere.
fn is_told(advice: &Advice) -> bool {
    let routine = matches!(
        advice.advised,
        Advised::Step | Advised::Care | Advised::Close
    );
    !routine || !matches!(advice.answer, Answer::Followed | Answer::GaveWay)
}

/// What each input brought, prompts left out.
fn causes(read: &Read) -> BTreeMap<u64, Vec<&Entry>> {
    let mut causes: BTreeMap<u64, Vec<&Entry>> = BTreeMap::new();
    let events = read
        .counting()
        .filter(|it| !matches!(it.record.event, Event::PromptShown { .. }));
    for entry in events {
        causes.entry(entry.record.cause).or_default().push(entry);
    }
    causes
}

/// A prompt that is on the screen.
struct Showing {
    message: String,
    args: Vec<String>,
    /// The method that it would change to.
    next: Option<String>,
    advice: Advice,
}

struct Watch<'r> {
    read: &'r Read,
    causes: BTreeMap<u64, Vec<&'r Entry>>,
    found: Vec<Showing>,
    showing: Option<Showing>,
    /// The method that the ladder began for each casualty, until something is done with it.
    begun: BTreeMap<u16, (String, Advice)>,
}

impl Walker for Watch<'_> {
    fn before(&mut self, facts: &Facts, entry: &Entry) {
        if let Event::MethodStarted {
            method,
            why: Why::Ladder,
        } = &entry.record.event
        {
            self.begin(facts, entry, method);
        }
    }

    fn after(&mut self, facts: &Facts, entry: &Entry) {
        self.see_begun(facts, entry);
        let Event::PromptShown { message, args, .. } = &entry.record.event else {
            return;
        };
        self.end_showing(facts, entry.record.cause);
        let Some(advised) = advised(message) else {
            return;
        };
        let case = facts.case_of(entry.record.casualty);
        let mut advice = fresh(entry, advised, said(&entry.record));
        let now = prompt(facts, entry.at).filter(|it| it.message.id.as_str() == message);
        advice.reason = match advised {
            Advised::Change => now.and_then(|it| it.caution).map(Phrase::from),
            _ => None,
        };
        let showing = Showing {
            message: message.clone(),
            args: args.clone(),
            next: case.next_method().map(|it| it.id.clone()),
            advice,
        };
        self.showing = Some(self.again(showing));
    }
}

fn fresh(entry: &Entry, advised: Advised, said: Phrase) -> Advice {
    Advice {
        advised,
        casualty: entry.record.casualty,
        at: entry.at,
        said,
        reason: None,
        answer: Answer::NotAnswered,
        did: None,
        done_at: None,
        by: None,
        about: vec![entry.record.seq],
    }
}

/// The prompt's words, in any language where this version knows them.
fn said(record: &Record) -> Phrase {
    let Event::PromptShown {
        message,
        args,
        text,
        ..
    } = &record.event
    else {
        return "-".into();
    };
    let known = Id::ALL.iter().any(|id| id.as_str() == message);
    match known {
        true => Phrase::Said {
            say: message.clone(),
            with: args.iter().map(|it| it.as_str().into()).collect(),
        },
        false => text.as_str().into(),
    }
}

impl Watch<'_> {
    fn begin(&mut self, facts: &Facts, entry: &Entry, method: &str) {
        let case = facts.case_of(entry.record.casualty);
        let name = Phrase::from(named(case, method).name);
        let mut advice = fresh(entry, Advised::Begin, Phrase::with(Id::AdviceBegin, [name]));
        advice.reason = case.why_not_in_order().map(Phrase::from);
        let begun = (method.to_owned(), advice);
        if let Some((_, before)) = self.begun.insert(entry.record.casualty, begun) {
            self.keep(before);
        }
    }

    /// What is done first after a method was begun says what became of that.
    fn see_begun(&mut self, facts: &Facts, entry: &Entry) {
        let number = entry.record.casualty;
        let Some((method, _)) = self.begun.get(&number) else {
            return;
        };
        let answer = match &entry.record.event {
            Event::StepDone { method: it, .. }
            | Event::TiedOff { method: it, .. }
            | Event::NotWorkingReported { method: it, .. }
                if it == method =>
            {
                Answer::Followed
            }
            Event::MethodStarted {
                why: Why::Straight, ..
            } => Answer::Otherwise,
            Event::OffHarness {} | Event::MethodChanged { to: None, .. } => Answer::GaveWay,
            Event::MethodStarted {
                why: Why::Change, ..
            } => Answer::GaveWay,
            _ => return,
        };
        if let Some((_, mut advice)) = self.begun.remove(&number) {
            advice.answer = answer;
            advice.did = short(facts, &entry.record);
            advice.done_at = Some(entry.at);
            advice.about.push(entry.record.seq);
            self.keep(advice);
        }
    }

    fn keep(&mut self, advice: Advice) {
        self.found.push(Showing {
            message: String::new(),
            args: Vec::new(),
            next: None,
            advice,
        });
    }

    /// The same advice that gave way before is one with this.
    fn again(&mut self, showing: Showing) -> Showing {
        let same = |it: &Showing| {
            it.message == showing.message
                && it.args == showing.args
                && it.advice.casualty == showing.advice.casualty
                && it.advice.answer == Answer::GaveWay
        };
        let Some(index) = self.found.iter().rposition(same) else {
            return showing;
        };
        let mut before = self.found.remove(index);
        before.advice.answer = Answer::NotAnswered;
        before.advice.about.extend(showing.advice.about);
        before.advice.reason = before.advice.reason.or(showing.advice.reason);
        before.next = showing.next;
        before
    }

    /// Another prompt comes up: what its input brought says what became of the one before.
    fn end_showing(&mut self, facts: &Facts, cause: u64) {
        let Some(mut showing) = self.showing.take() else {
            return;
        };
        let events = self.causes.get(&cause).map_or(&[][..], Vec::as_slice);
        let by_itself = events
            .first()
            .is_none_or(|it| comes_by_itself(&it.record.event));
        let answers = |it: &&&Entry| answer_of(&showing, &it.record.event).is_some();
        let done = events.iter().find(answers).filter(|_| !by_itself);
        let advice = &mut showing.advice;
        match done {
            Some(done) => {
                advice.done_at = Some(done.at);
                advice.did = short(facts, &done.record);
                advice.about.push(done.record.seq);
                let answer = answer_of(&showing, &done.record.event);
                showing.advice.answer = answer.unwrap_or(Answer::GaveWay);
            }
            None => advice.answer = Answer::GaveWay,
        }
        self.found.push(showing);
    }

    fn close(mut self) -> Vec<Advice> {
        let last = self.showing.take();
        self.found.extend(last);
        let begun = std::mem::take(&mut self.begun);
        for (_, advice) in begun.into_values() {
            self.keep(advice);
        }
        let read = self.read;
        let mut found = self.found;
        for showing in &mut found {
            done_later(read, showing);
        }
        found.into_iter().map(|it| it.advice).collect()
    }
}

/// Some things are done from elsewhere on the screen, after their prompt gave way.
fn done_later(read: &Read, showing: &mut Showing) {
    let waits = matches!(
        showing.advice.advised,
        Advised::MakeSafe | Advised::Call | Advised::Stop | Advised::Check
    );
    if !waits || !matches!(showing.advice.answer, Answer::GaveWay | Answer::NotAnswered) {
        return;
    }
    let shown = showing.advice.about.first().copied().unwrap_or(0);
    let does = |it: &&Entry| {
        it.record.seq > shown
            && it.record.casualty == showing.advice.casualty
            && answer_of(showing, &it.record.event) == Some(Answer::Followed)
    };
    let done = read.counting().find(does);
    if let Some(done) = done {
        showing.advice.answer = Answer::Followed;
        showing.advice.done_at = Some(done.at);
        showing.advice.did = short(&read.state.facts, &done.record);
        showing.advice.about.push(done.record.seq);
    }
}

/// What a prompt advises, by its id; none where it asks for no decision.
fn advised(message: &str) -> Option<Advised> {
    let id = Id::ALL.iter().copied().find(|id| id.as_str() == message)?;
    Some(match id {
        Id::SafeToGoNear | Id::SafeToGoNearAgain | Id::HazardTask | Id::HazardTaskBy => {
            Advised::MakeSafe
        }
        Id::CallBy | Id::CallAlone => Advised::Call,
        Id::OthersQuestion => Advised::Stop,
        Id::AskCasualty | Id::AskCasualtyBy | Id::CareWatch | Id::CareLookAgain => Advised::Check,
        Id::ChangeTo => Advised::Change,
        Id::Step | Id::StepBy | Id::Tie | Id::TieBy | Id::MakeSafeBoth | Id::WeightOff => {
            Advised::Step
        }
        Id::CareSafeHere
        | Id::CareLayFlat
        | Id::CareLayFlatBy
        | Id::CareBleeding
        | Id::CareAirway
        | Id::CareBreathing
        | Id::CareResuscitate
        | Id::CareLoosenWarm
        | Id::CareNeverAlone
        | Id::CareDoctor => Advised::Care,
        Id::CloseCounted
        | Id::CloseOffRope
        | Id::CloseHandedOver
        | Id::CloseHandedOverOne
        | Id::CloseKitWithdrawn
        | Id::CloseSceneLeft
        | Id::CloseWorkStopped
        | Id::CloseWelfare
        | Id::CloseNow => Advised::Close,
        _ => return None,
    })
}

/// What an event makes of an advice; none where it is about something else.
fn answer_of(showing: &Showing, event: &Event) -> Option<Answer> {
    let answer = match (showing.advice.advised, event) {
        (Advised::MakeSafe, Event::SafeConfirmed {}) => match showing.message.starts_with("safe") {
            true => Answer::Followed,
            false => return None,
        },
        (Advised::MakeSafe, Event::HazardMadeSafe { .. }) => {
            match showing.message.starts_with("hazard") {
                true => Answer::Followed,
                false => return None,
            }
        }
        (Advised::MakeSafe, Event::NotSafeYet {} | Event::HazardNotSafeYet { .. })
        | (Advised::Stop, Event::OthersNotYet {}) => Answer::PutOff,
        (Advised::Call, Event::CallPassed {} | Event::CallConfirmed { .. })
        | (Advised::Stop, Event::OthersStopped {})
        | (Advised::Check, Event::ConditionReported { .. }) => Answer::Followed,
        (
            Advised::Check,
            Event::AftercareAnswered {
                item: Aftercare::Watch | Aftercare::LookAgain,
                ..
            },
        ) => Answer::Followed,
        (Advised::Change, Event::MethodStarted { method, .. }) => {
            match showing.next.as_ref() == Some(method) {
                true => Answer::Followed,
                false => Answer::Otherwise,
            }
        }
        (Advised::Change, Event::MoreTimeTaken { .. }) => Answer::PutOff,
        (Advised::Change, Event::ConditionReported { .. } | Event::OffHarness {}) => {
            Answer::Otherwise
        }
        (
            Advised::Step,
            Event::StepDone { .. }
            | Event::TiedOff { .. }
            | Event::Secured {}
            | Event::OffHarness {}
            | Event::AtLandingPlace {},
        ) => Answer::Followed,
        (Advised::Step, Event::NotWorkingReported { .. } | Event::StopCalled { .. }) => {
            Answer::Otherwise
        }
        (Advised::Care, Event::AftercareAnswered { well, .. }) => match well {
            true => Answer::Followed,
            false => Answer::PutOff,
        },
        (Advised::Care, Event::CareRefused {}) => Answer::Otherwise,
        (
            Advised::Close,
            Event::StandDownAnswered { .. } | Event::HandedOver { .. } | Event::StoodDown {},
        ) => Answer::Followed,
        (Advised::Close, Event::StandDownLeft {}) => Answer::PutOff,
        _ => return None,
    };
    Some(answer)
}

/// A decision that was not what was advised: told with the advice where one stood for it, else by itself.
fn departure(read: &Read, decision: &Decision, all: &mut [Advice]) -> Option<Advice> {
    let at = Millis(decision.at_ms);
    let left = matches!(
        decision.what,
        Departure::WentStraight | Departure::ChangedEarly
    );
    let same = |it: &&mut Advice| {
        let begun = matches!(it.advised, Advised::Begin | Advised::Change);
        let other = it.answer == Answer::Otherwise && it.done_at == Some(at);
        begun && other && it.casualty == decision.casualty
    };
    if let Some(known) = all.iter_mut().find(same).filter(|_| left) {
        known.did = Some(decision_told(decision));
        return None;
    }
    let name = |it: &Option<crate::drill::Named>| {
        Phrase::from(it.as_ref().map_or("-", |it| it.name.as_str()))
    };
    let (advised, said) = match decision.what {
        Departure::WentStraight => (
            Advised::Begin,
            Phrase::with(Id::AdviceBegin, [name(&decision.other)]),
        ),
        Departure::ChangedEarly => (
            Advised::Change,
            Phrase::with(Id::AdviceGoOn, [name(&decision.method)]),
        ),
        Departure::StopOverridden => (
            Advised::Change,
            Phrase::with(Id::AdviceStop, [name(&decision.method)]),
        ),
        Departure::PutBack => (
            Advised::Begin,
            Phrase::with(Id::AdviceOut, [name(&decision.method)]),
        ),
        _ => return None,
    };
    let turns = |event: &Event| {
        matches!(
            event,
            Event::MethodStarted { .. } | Event::WentOn { .. } | Event::MethodPutBack { .. }
        )
    };
    let entry = read.counting().find(|it| {
        it.at == at && it.record.casualty == decision.casualty && turns(&it.record.event)
    })?;
    let mut advice = fresh(entry, advised, said);
    advice.answer = Answer::Otherwise;
    advice.did = Some(decision_told(decision));
    advice.done_at = Some(at);
    Some(advice)
}

/// Who was in command when it was decided, as its last record says; none where that was nobody of the plan.
fn in_command(read: &Read, advice: &Advice) -> Option<String> {
    let last = advice.about.last()?;
    let entry = read.entries.iter().find(|it| it.record.seq == *last)?;
    let who = entry.record.who.as_ref();
    let opened = read.state.facts.opened.as_ref()?;
    let known = opened.plan.responder(who);
    known.map(|it| it.name.clone())
}
