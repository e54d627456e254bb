//! Tells of what went wrong with the record itself: slips taken back, restarts, kinds not known, an end without a stand-down, and the tasks.

use super::account::Sentence;
use super::measures::named;
use super::read::{Entry, Read};
use super::story::{Book, Part, listed, time};
use super::{care, closing, condition, note, reported};
use crate::incident::{Carried, Event, Facts, Record};
use crate::units::Millis;
use crate::words::{Id, Phrase};
use std::collections::BTreeSet;

/// Tells them.
pub(super) fn tell(read: &Read, book: &mut Book) {
    for sentence in corrections(read) {
        book.tell(Part::Faults, sentence);
    }
    for entry in read.counting() {
        if let Event::Resumed { carried, .. } = &entry.record.event {
            let id = match carried {
                Carried::BootClock => Id::StoryRestart,
                Carried::WallClock => Id::StoryRestartWall,
                Carried::AtLeast => Id::StoryRestartLost,
            };
            book.say(Part::Faults, entry, Phrase::with(id, [time(entry.at)]));
        }
    }
    unknown(read, book);
    if read.state.facts.stood_down.is_none() {
        let last = read.entries.last().map(|it| it.record.seq);
        let text = Phrase::with(Id::StoryNotClosed, [time(read.end)]);
        book.tell(
            Part::Close,
            Sentence {
                at: read.end,
                text,
                about: last.into_iter().collect(),
                casualty: 0,
            },
        );
    }
    tasks(read, book);
}

/// Every slip that was taken back: first the record that did, then those of the slip.
pub(super) fn corrections(read: &Read) -> Vec<Sentence> {
    let all = read.counting();
    all.filter_map(|entry| match &entry.record.event {
        Event::Corrected { cause } => Some(taken_back(read, entry, *cause)),
        _ => None,
    })
    .collect()
}

/// A slip, with everything that it had brought.
fn taken_back(read: &Read, entry: &Entry, cause: u64) -> Sentence {
    let slip = |it: &&Entry| it.taken_back && it.record.cause == cause;
    let of: Vec<&Entry> = read.entries.iter().filter(slip).collect();
    let first = of.iter().find_map(|it| {
        let said = short(&read.state.facts, &it.record)?;
        Some(Phrase::with(Id::StoryWhen, [said, time(it.at)]))
    });
    let first = first.unwrap_or_else(|| "-".into());
    let own = [entry.record.seq];
    Sentence {
        at: entry.at,
        text: Phrase::with(Id::StoryTakenBack, [time(entry.at), first]),
        about: own
            .into_iter()
            .chain(of.iter().map(|it| it.record.seq))
            .collect(),
        casualty: 0,
    }
}

/// Kinds of a newer program, in one sentence.
fn unknown(read: &Read, book: &mut Book) {
    let is_unknown = |it: &&Entry| matches!(it.record.event, Event::Unknown { .. });
    let all: Vec<&Entry> = read.entries.iter().filter(is_unknown).collect();
    let Some(first) = all.first() else {
        return;
    };
    let kinds: BTreeSet<String> = all.iter().map(|it| it.record.event.kind()).collect();
    let kinds = listed(kinds.into_iter().map(Phrase::from));
    book.tell(
        Part::Faults,
        Sentence {
            at: first.at,
            text: Phrase::with(Id::StoryUnknown, [kinds]),
            about: all.iter().map(|it| it.record.seq).collect(),
            casualty: 0,
        },
    );
}

/// What was written after the end.
fn tasks(read: &Read, book: &mut Book) {
    for record in &read.state.log {
        let said = match &record.event {
            Event::TaskSet(task) => {
                let owner: Phrase = super::owner(&task.owner, &read.state.facts).into();
                let due = task.due.format("%Y-%m-%d").to_string();
                Phrase::with(Id::EvTaskSet, [task.text.clone(), owner, due.into()])
            }
            Event::TaskDone { task, .. } => Phrase::with(Id::EvTaskDone, [text_of(read, *task)]),
            Event::TaskOpen { task, .. } => Phrase::with(Id::EvTaskOpen, [text_of(read, *task)]),
            _ => continue,
        };
        book.tell(
            Part::Tasks,
            Sentence {
                at: read.end,
                text: Phrase::with(Id::StoryLine, [said]),
                about: vec![record.seq],
                casualty: 0,
            },
        );
    }
}

fn text_of(read: &Read, number: u64) -> Phrase {
    let set = |it: &&std::sync::Arc<Record>| it.seq == number;
    let found = read.state.log.iter().find(set);
    match found.map(|it| &it.event) {
        Some(Event::TaskSet(task)) => task.text.clone(),
        _ => number.to_string().into(),
    }
}

/// What a touch had said, in a few words; none where it said nothing of its own.
pub(super) fn short(facts: &Facts, record: &Record) -> Option<Phrase> {
    let case = facts.case_of(record.casualty);
    let name = |id: &str| Phrase::from(named(case, id).name);
    let hazard_name = |id: &str| {
        let mut hazards = case.position().into_iter().flat_map(|it| &it.hazards);
        let found = hazards.find(|it| it.id == id);
        Phrase::from(found.map_or(id, |it| &it.name))
    };
    Some(match &record.event {
        Event::SafeConfirmed {} => Phrase::of(Id::EvSafe),
        Event::NotSafeYet {} => Phrase::of(Id::EvNotSafe),
        Event::HazardMadeSafe { hazard } => Phrase::with(Id::EvHazardSafe, [hazard_name(hazard)]),
        Event::HazardNotSafeYet { hazard } => {
            Phrase::with(Id::EvHazardNotSafe, [hazard_name(hazard)])
        }
        Event::OthersNotYet {} => Phrase::of(Id::EvOthersNotYet),
        Event::CallOrdered { to: Some(to) } => {
            Phrase::with(Id::EvCallOrdered, [facts.name(to).into()])
        }
        Event::CallFailed {} => Phrase::of(Id::EvCallFailed),
        Event::PositionChosen { position: None } => Phrase::of(Id::EvPositionNotListed),
        Event::PositionChosen { position: Some(id) } => {
            let plan = facts.opened.as_ref().map(|it| &it.plan);
            let found = plan.and_then(|plan| plan.position(id));
            let place = found.map_or(id.as_str(), |it| &it.name);
            Phrase::with(Id::EvPosition, [place.into()])
        }
        Event::FallTimeSet { at_least: true, .. } => Phrase::of(Id::EvFallAtLeast),
        Event::FallTimeSet { ago_ms, .. } => Phrase::with(Id::EvFall, [time(Millis(*ago_ms))]),
        Event::CasualtyAdded { .. } => {
            let number = record.casualty.to_string();
            Phrase::with(Id::EvAdded, [number.into()])
        }
        Event::MethodChanged { from, to: Some(to) } => {
            Phrase::with(Id::EvChanged, [name(from), name(to)])
        }
        Event::MethodChanged { from, to: None } => Phrase::with(Id::EvChangedNone, [name(from)]),
        Event::Secured {} => Phrase::of(Id::EvSecured),
        Event::WentOn { method } => Phrase::with(Id::EvWentOn, [name(method)]),
        Event::MethodPutBack { method } => Phrase::with(Id::EvPutBack, [name(method)]),
        Event::StandDownLeft {} => Phrase::of(Id::EvClosingLeft),
        Event::CallPassed {} => Phrase::of(Id::EvCallPassed),
        Event::CallConfirmed { .. } => Phrase::of(Id::EvCallConfirmed),
        Event::MethodStarted { method, .. } => Phrase::with(Id::EvMethod, [name(method)]),
        Event::StepDone { method, step } => {
            let step = case.method(method).and_then(|it| it.steps.get(*step));
            step.map_or("-", |it| it.done.as_str()).into()
        }
        Event::NotWorkingReported { method, .. } => Phrase::with(Id::EvNotWorking, [name(method)]),
        Event::MoreTimeTaken { method, .. } => Phrase::with(Id::EvMoreTime, [name(method)]),
        Event::ConditionReported { condition: it } => {
            Phrase::with(Id::EvCondition, [Phrase::of(condition(*it))])
        }
        Event::FirstContactMade {} => Phrase::of(Id::EvContact),
        Event::OffHarness {} => Phrase::of(Id::EvOff),
        Event::AtLandingPlace {} => Phrase::of(Id::EvLanded),
        Event::AftercareAnswered { item, well } => Phrase::of(care(*item, *well)),
        Event::CareRefused {} => Phrase::of(Id::EvRefused),
        Event::HandedOver { .. } => Phrase::of(Id::OutcomeHanded),
        Event::TiedOff { .. } => Phrase::of(Id::EvTied),
        Event::OthersStopped {} => Phrase::of(Id::EvOthersStopped),
        Event::DangerCalled {} => Phrase::of(Id::EvDanger),
        Event::StandDownBegan {} => Phrase::of(Id::EvClosing),
        Event::StandDownAnswered { item } => Phrase::of(closing(*item)),
        Event::ResponderReported { responder, report } => {
            Phrase::with(reported(*report), [facts.name(responder).into()])
        }
        Event::Noted { note: it } => Phrase::with(Id::EvNote, [Phrase::of(note(*it))]),
        Event::PromptShown { .. } | Event::ClockMarked {} | Event::ForecastAdopted { .. } => {
            return None;
        }
        other => other.kind().into(),
    })
}
