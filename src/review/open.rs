//! Finds what was left open, or open for long: the call, orders, hazards, checks, prompts, the hand-over, the closing, tasks, slips.
//!
//! Open means that the record does not say it. Whether it was done and nobody touched it, only people can say; so every line says
//! what is not on record, and of whom it was asked is left out where it is no order.

use super::account::{OpenEnd, OpenKind};
use super::read::{Entry, Read};
use super::slips;
use super::story::time;
use super::tasks::tasks;
use crate::drill::{Ended, Followed, Stood, stood, whole};
use crate::incident::{Aftercare, Case, Closing, Due, Event};
use crate::units::Millis;
use crate::words::{Id, Phrase};
use std::collections::BTreeMap;

/// The closing questions that every stand-down answers, with their prompts.
const CLOSING: [(Closing, Id); 7] = [
    (Closing::Counted, Id::CloseCounted),
    (Closing::OffRope, Id::CloseOffRope),
    (Closing::HandedOver, Id::CloseHandedOver),
    (Closing::KitWithdrawn, Id::CloseKitWithdrawn),
    (Closing::SceneLeft, Id::CloseSceneLeft),
    (Closing::WorkStopped, Id::CloseWorkStopped),
    (Closing::Welfare, Id::CloseWelfare),
];

/// All of it, in the order in which it began.
pub(super) fn open_ends(read: &Read) -> Vec<OpenEnd> {
    let mut all = Vec::new();
    all.extend(call(read));
    orders(read, &mut all);
    casualties(read, &mut all);
    checks(read, &mut all);
    prompts(read, &mut all);
    closing(read, &mut all);
    for task in tasks(&read.state.log) {
        if task.done_ms.is_none() {
            let owner: Phrase = super::owner(&task.task.owner, &read.state.facts).into();
            let due = task.task.due.format("%Y-%m-%d").to_string();
            let text = Phrase::with(Id::EvTaskSet, [task.task.text, owner, due.into()]);
            all.push(left(OpenKind::Task, 0, read.end, text, vec![task.number]));
        }
    }
    for sentence in slips::corrections(read) {
        let from = sentence.about.get(1);
        let from = from.and_then(|seq| read.entries.iter().find(|it| it.record.seq == *seq));
        all.push(OpenEnd {
            kind: OpenKind::Correction,
            casualty: 0,
            from: from.map_or(sentence.at, |it| it.at),
            to: Some(sentence.at),
            text: sentence.text,
            about: sentence.about,
        });
    }
    all.sort_by_key(|it| (it.from, it.kind, it.casualty));
    all
}

/// Something that was open when the record ended.
fn left(kind: OpenKind, casualty: u16, from: Millis, text: Phrase, about: Vec<u64>) -> OpenEnd {
    OpenEnd {
        kind,
        casualty,
        from,
        to: None,
        text,
        about,
    }
}

fn call(read: &Read) -> Option<OpenEnd> {
    let call = &read.state.facts.call;
    let (_, from) = call.ordered.first().filter(|_| call.confirmed.is_none())?;
    let given = |it: &&Entry| {
        it.at >= *from
            && matches!(
                it.record.event,
                Event::CallOrdered { .. } | Event::CallPassed {}
            )
    };
    let about = read.counting().filter(given).map(|it| it.record.seq);
    let text = Phrase::of(Id::OpenCall);
    Some(left(OpenKind::Call, 0, *from, text, about.collect()))
}

/// Orders that nobody answered; where nobody ever touched that orders were said, no order is held to have been kept back.
fn orders(read: &Read, all: &mut Vec<OpenEnd>) {
    let says = |it: &Entry| matches!(it.record.event, Event::WordsSaid { .. });
    let radio = read.counting().any(says);
    for it in Followed::of(&read.state.log).orders {
        let order = &it.order;
        let who = || [read.state.facts.name(&order.posting.responder).into()];
        let text = match (it.answered, order.said) {
            (true, _) => continue,
            (false, Some(_)) => Phrase::with(Id::OpenOrderSaid, who()),
            (false, None) if radio => Phrase::with(Id::OpenOrder, who()),
            (false, None) => continue,
        };
        let words = |it: &&Entry| match &it.record.event {
            Event::WordsSaid { orders, .. } => orders.contains(&order.number),
            _ => false,
        };
        let said = read.counting().filter(words).map(|it| it.record.seq);
        all.push(OpenEnd {
            kind: OpenKind::Order,
            casualty: order.casualty,
            from: order.said.unwrap_or(order.at),
            to: it.ended,
            text,
            about: [order.number].into_iter().chain(said).collect(),
        });
    }
}

/// Hazards, the release and the hand-over of each casualty.
fn casualties(read: &Read, all: &mut Vec<OpenEnd>) {
    let facts = &read.state.facts;
    let closed = facts.closing.iter().flatten();
    let handed = closed.clone().any(|it| *it == Closing::HandedOver);
    for case in facts.cases() {
        let number = case.number;
        let beginning = beginning(read, case);
        let (from, about) =
            beginning.map_or((Millis::ZERO, None), |it| (it.at, Some(it.record.seq)));
        let about = || about.into_iter().collect::<Vec<u64>>();
        let who = || [who(case)];
        // Those who hang at one place share what makes it safe.
        let mut before = facts.cases().take_while(|it| it.number < number);
        let first = before.all(|it| it.casualty.place != case.casualty.place);
        for hazard in case.position().into_iter().flat_map(|it| &it.hazards) {
            if first && !case.casualty.scene.made_safe.contains(&hazard.id) {
                let text = Phrase::with(Id::OpenHazard, [hazard.name.as_str().into()]);
                all.push(left(OpenKind::Hazard, number, from, text, about()));
            }
        }
        if first && case.casualty.scene.safe.is_none() {
            let text = Phrase::with(Id::OpenSafe, who());
            all.push(left(OpenKind::Hazard, number, from, text, about()));
        }
        match case.casualty.off {
            None => {
                let text = Phrase::with(Id::OpenHanging, who());
                all.push(left(OpenKind::Hanging, number, from, text, about()));
            }
            Some((at, _)) if case.casualty.handed.is_none() && !handed => {
                let released = read.counting().find(|it| {
                    it.record.casualty == number && matches!(it.record.event, Event::OffHarness {})
                });
                let about = released.map(|it| it.record.seq).into_iter().collect();
                let text = Phrase::with(Id::OpenHandOver, who());
                all.push(left(OpenKind::HandOver, number, at, text, about));
            }
            Some(_) => {}
        }
    }
}

/// The casualty, by number where there are several.
fn who(case: Case<'_>) -> Phrase {
    match case.facts.casualties.len() > 1 {
        true => Phrase::with(Id::StoryCasualtyOf, [case.number.to_string().into()]),
        false => Phrase::of(Id::StoryCasualty),
    }
}

/// Where the record of a casualty begins.
fn beginning<'r>(read: &'r Read, case: Case<'_>) -> Option<&'r Entry> {
    read.counting().find(|it| match &it.record.event {
        Event::Activated { .. } => case.number == 1,
        Event::CasualtyAdded { .. } => it.record.casualty == case.number,
        _ => false,
    })
}

/// Checks that came later than they were due, or never.
fn checks(read: &Read, all: &mut Vec<OpenEnd>) {
    let mut waiting: BTreeMap<u16, &Entry> = BTreeMap::new();
    for entry in read.counting() {
        let number = entry.record.casualty;
        match &entry.record.event {
            Event::CameDue {
                what: Due::CheckDue | Due::CheckLost | Due::CareCheck,
            } => _ = waiting.entry(number).or_insert(entry),
            Event::ConditionReported { .. }
            | Event::AftercareAnswered {
                item: Aftercare::Watch | Aftercare::LookAgain,
                ..
            } => {
                if let Some(due) = waiting.remove(&number) {
                    all.push(checked(read, due, Some(entry)));
                }
            }
            // From here on the check is another one, or nobody's here.
            Event::OffHarness {} | Event::HandedOver { .. } => _ = waiting.remove(&number),
            _ => {}
        }
    }
    for due in waiting.into_values() {
        all.push(checked(read, due, None));
    }
}

fn checked(read: &Read, due: &Entry, by: Option<&Entry>) -> OpenEnd {
    let number = due.record.casualty;
    let who = who(read.state.facts.case_of(number));
    let text = match by {
        Some(by) => {
            let later = time(by.at.saturating_sub(due.at));
            Phrase::with(Id::OpenCheck, [who, later])
        }
        None => Phrase::with(Id::OpenCheckNever, [who]),
    };
    let seqs = [Some(due), by].into_iter().flatten();
    OpenEnd {
        kind: OpenKind::Check,
        casualty: number,
        from: due.at,
        to: by.map(|it| it.at),
        text,
        about: seqs.map(|it| it.record.seq).collect(),
    }
}

/// Prompts that were never answered, however often they came up.
fn prompts(read: &Read, all: &mut Vec<OpenEnd>) {
    let part = whole(&read.state.log);
    let shown = stood(&part, &BTreeMap::new());
    let answered = |it: &Stood| {
        shown.iter().any(|other| {
            let same = other.words == it.words && other.casualty == it.casualty;
            same && !matches!(other.ended, Ended::GaveWay | Ended::Stood)
        })
    };
    let mut told: Vec<(&Phrase, u16)> = Vec::new();
    for it in shown.iter().filter(|it| !answered(it)) {
        if told.contains(&(&it.words, it.casualty)) {
            continue;
        }
        told.push((&it.words, it.casualty));
        let since = Millis(it.since_ms);
        let shown = read.entries.iter().find(|entry| {
            entry.at == since && matches!(entry.record.event, Event::PromptShown { .. })
        });
        let until = since.saturating_add(Millis(it.stood_ms));
        all.push(OpenEnd {
            kind: OpenKind::Prompt,
            casualty: it.casualty,
            from: since,
            to: (it.ended != Ended::Stood).then_some(until),
            text: Phrase::with(Id::OpenPrompt, [it.words.clone()]),
            about: shown.map(|it| it.record.seq).into_iter().collect(),
        });
    }
}

/// What the stand-down left out.
fn closing(read: &Read, all: &mut Vec<OpenEnd>) {
    let facts = &read.state.facts;
    let last = read.counting().last().map(|it| it.record.seq);
    let about = || last.into_iter().collect::<Vec<u64>>();
    if facts.stood_down.is_none() {
        let text = Phrase::of(Id::OpenNotClosed);
        all.push(left(OpenKind::Closing, 0, read.end, text, about()));
        return;
    }
    let answered = facts.closing.as_deref().unwrap_or_default();
    for (item, asked) in CLOSING {
        if !answered.contains(&item) {
            let text = Phrase::with(Id::OpenClosing, [Phrase::of(asked)]);
            all.push(left(OpenKind::Closing, 0, read.end, text, about()));
        }
    }
}
