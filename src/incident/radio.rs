//! Puts orders into words for the radio: one broadcast of at most twenty words, then each order that nobody answered.
//!
//! The first broadcast begins with where somebody hangs. What does not fit into one comes with the next, the crew of the
//! method that runs first. Kit is named by its kind and stations by what tells them apart, because that is how people speak.

use super::state::{Facts, Order};
use crate::plan::Plan;
use crate::readiness::Posting;
use crate::words::{Id, Language, Message};

/// A broadcast has at most this many words.
const WORDS_MAX: usize = 20;

/// What is to be said over the radio now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ToSay {
    /// What to say, a sentence each.
    pub parts: Vec<Message>,
    /// Numbers of the orders in it.
    pub orders: Vec<u64>,
    /// The responder whose one order is said again because nobody answered it.
    pub again: Option<String>,
    /// The responder who has the radio, where somebody has.
    pub by: Option<String>,
    /// So many orders are still to be said after this.
    pub more: usize,
}

impl ToSay {
    /// All of it as one text.
    pub fn text(&self, language: Language) -> String {
        joined(&self.parts, language)
    }
}

fn joined(parts: &[Message], language: Language) -> String {
    let texts: Vec<String> = parts.iter().map(|it| it.text(language)).collect();
    texts.join(" ")
}

fn words(message: &Message, language: Language) -> usize {
    message.text(language).split_whitespace().count()
}

/// What is to be said now: orders that nobody said yet, or else one that nobody answered.
pub fn to_say(facts: &Facts) -> Option<ToSay> {
    let opened = facts.opened.as_ref()?;
    if !facts.is_open() || facts.danger.is_some() {
        return None;
    }
    let language = opened.language;
    let radio = facts
        .orders
        .iter()
        .find(|it| it.posting.role == Posting::RADIO);
    let by = radio.map(|it| it.posting.responder.clone());
    let mut unsaid = sentences(facts);
    if unsaid.is_empty() {
        let order = facts.orders.iter().find(|it| it.unanswered)?;
        return Some(ToSay {
            parts: vec![in_full(facts, &opened.plan, order)],
            orders: vec![order.number],
            again: Some(order.posting.responder.clone()),
            by,
            more: facts
                .orders
                .iter()
                .filter(|it| it.unanswered)
                .skip(1)
                .count(),
        });
    }
    let mut parts: Vec<Message> = Vec::new();
    if facts.announced.is_none() {
        parts.push(match facts.position() {
            Some(position) => Message::with(Id::SayHangs, [&position.name]),
            None => Message::of(Id::SayHangsSomewhere),
        });
    }
    let mut left = WORDS_MAX;
    left = left.saturating_sub(parts.iter().map(|it| words(it, language)).sum());
    let mut orders = Vec::new();
    // In their order, so that nobody waits for a shorter sentence; a first one that is too long alone is said all the same.
    while let Some((number, part)) = unsaid.first() {
        let count = words(part, language);
        if count > left && !orders.is_empty() {
            break;
        }
        left = left.saturating_sub(count);
        orders.push(*number);
        parts.push(part.clone());
        unsaid.remove(0);
    }
    Some(ToSay {
        parts,
        orders,
        again: None,
        by,
        more: unsaid.len(),
    })
}

/// Of these orders those that still stand, and what was said of them; none where none does.
pub(super) fn said(facts: &Facts, numbers: &[u64]) -> Option<(Vec<u64>, String)> {
    let opened = facts.opened.as_ref()?;
    let shown = to_say(facts)?;
    if shown.orders == numbers {
        return Some((shown.orders.clone(), shown.text(opened.language)));
    }
    // Some of them were changed under the finger.
    let all = sentences(facts);
    let still: Vec<(u64, Message)> = all
        .into_iter()
        .filter(|(number, _)| numbers.contains(number))
        .collect();
    let (orders, parts): (Vec<u64>, Vec<Message>) = still.into_iter().unzip();
    let text = joined(&parts, opened.language);
    (!orders.is_empty()).then_some((orders, text))
}

/// What nobody said yet, with the numbers of the records, the most pressing first.
fn sentences(facts: &Facts) -> Vec<(u64, Message)> {
    let Some(opened) = &facts.opened else {
        return Vec::new();
    };
    let runs = |order: &Order| facts.works(order);
    let rank = |order: &Order| match order.posting.role.as_str() {
        _ if runs(order) => 0,
        _ if !order.method.is_empty() => 4,
        Posting::FIRST_AID => 1,
        Posting::TALKER => 2,
        Posting::GUIDE => 5,
        Posting::RADIO => 6,
        _ => 4,
    };
    let unsaid = facts
        .orders
        .iter()
        .filter(|it| it.said.is_none() && !it.is_answered());
    let orders = unsaid.map(|it| (rank(it), it.number, in_short(facts, &opened.plan, it)));
    let former = facts.former.iter().filter_map(|it| Some((it.to_tell?, it)));
    let ended = former.map(|(number, it)| {
        let name = facts.name(&it.order.posting.responder);
        (3, number, Message::with(Id::SayStandBy, [name]))
    });
    let mut all: Vec<(u8, u64, Message)> = orders.chain(ended).collect();
    all.sort_by_key(|(rank, number, _)| (*rank, *number));
    all.into_iter()
        .map(|(_, number, message)| (number, message))
        .collect()
}

/// The kind of a piece, by which people name it; its own name where the plan does not know it any more.
fn kind<'a>(plan: &'a Plan, posting: &'a Posting) -> Option<&'a str> {
    let name = posting.kit.as_deref()?;
    let station = posting.station.as_ref().and_then(|id| plan.station(id));
    let item = station.and_then(|it| it.kit.iter().find(|it| it.name == name));
    Some(item.map_or(name, |it| &it.kind))
}

/// What tells one station from another: its last word where that is a letter or a number, else the whole name.
pub(super) fn short(station: &str) -> &str {
    match station.split_whitespace().last() {
        Some(last) if last.chars().count() <= 3 => last,
        _ => station,
    }
}

fn place<'a>(plan: &'a Plan, id: &'a str) -> &'a str {
    plan.place(id).map_or(id, |it| &it.name)
}

/// An order in as few words as it can be understood.
fn in_short(facts: &Facts, plan: &Plan, order: &Order) -> Message {
    let posting = &order.posting;
    let name = facts.name(&posting.responder);
    let to = place(plan, &posting.place);
    let changed = order.changed;
    let either = |usual: Id, change: Id| if changed { change } else { usual };
    // Whoever goes on with the same task, further than before, needs no other word.
    let goes_on = order.instead.first().is_some_and(|it| {
        it.method == order.method
            && it.posting.role == posting.role
            && it.posting.responder == posting.responder
            && it.posting.kit == posting.kit
    });
    if changed && goes_on && order.instead.len() == 1 {
        return Message::with(Id::SayGoOn, [name, to]);
    }
    match posting.role.as_str() {
        _ if !order.method.is_empty() => {}
        Posting::TALKER => return Message::with(Id::SayTalk, [name]),
        Posting::GUIDE => return Message::with(Id::SayGuide, [name, to]),
        Posting::RADIO => return Message::with(Id::SayRadio, [name]),
        _ => {}
    }
    let station = posting.station.as_ref().and_then(|id| plan.station(id));
    match (kind(plan, posting), &posting.lies, station) {
        (Some(kit), Some(lies), _) => {
            let id = either(Id::SayKitAt, Id::SayChangeKitAt);
            Message::with(id, [name, kit, place(plan, lies)])
        }
        (Some(kit), None, Some(station)) if posting.fetch_ms != Some(0) => {
            let id = either(Id::SayKit, Id::SayChangeKit);
            Message::with(id, [name, kit, short(&station.name)])
        }
        (Some(kit), ..) => Message::with(either(Id::SayBring, Id::SayChangeBring), [name, kit, to]),
        (None, ..) => Message::with(either(Id::SayTo, Id::SayChangeTo), [name, to]),
    }
}

/// An order with everything in it, as one says it to one person.
pub fn order_in_words(facts: &Facts, order: &Order) -> Option<Message> {
    let opened = facts.opened.as_ref()?;
    Some(in_full(facts, &opened.plan, order))
}

/// An order with everything in it, for one person.
fn in_full(facts: &Facts, plan: &Plan, order: &Order) -> Message {
    let posting = &order.posting;
    let name = facts.name(&posting.responder);
    let to = place(plan, &posting.place);
    let station = posting.station.as_ref().and_then(|id| plan.station(id));
    match (&posting.kit, station) {
        (Some(kit), Some(station)) if posting.fetch_ms != Some(0) && posting.lies.is_none() => {
            Message::with(Id::SayFull, [name, kit, &station.name, to])
        }
        (Some(kit), _) => Message::with(Id::SayBring, [name, kit, to]),
        _ => in_short(facts, plan, order),
    }
}
