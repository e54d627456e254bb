//! Fills the sheets about the crew and help from outside: who is where, what was said of them, the emergency call.

use super::entry::{Entry, Next};
use super::sight::Sight;
use super::ui::{Icon, SheetKind, Tone};
use crate::incident::{Act, Order, Report};
use crate::readiness::Posting;
use crate::units::Millis;
use crate::words::{Id, Message, seconds};
use slint::SharedString;

/// Minutes that are offered for when help said it comes.
const HELP_MINUTES: [i64; 6] = [5, 8, 10, 15, 20, 30];

/// What an order is about, in a word or two.
pub(super) fn task(sight: Sight<'_>, order: &Order) -> String {
    if order.posting.role == Posting::FIRST_AID {
        return sight.label(Id::TaskFirstAid).into();
    }
    let method = || {
        let case = sight.facts().case_of(order.casualty);
        case.method(&order.method).map(|m| m.name.clone())
    };
    order
        .posting
        .kit
        .clone()
        .or_else(method)
        .unwrap_or_default()
}

/// What is left of somebody's way; none once it should be over.
pub(super) fn to_go(sight: Sight<'_>, order: &Order) -> Option<Millis> {
    let arrives = order.at.0.saturating_add(order.posting.travel_ms);
    let left = arrives.saturating_sub(sight.at().0);
    (left > 0).then_some(Millis(left))
}

/// How somebody stands to the rescue.
pub(super) fn standing(sight: Sight<'_>, id: &str) -> (SharedString, Tone) {
    let facts = sight.facts();
    let named = facts
        .casualties
        .iter()
        .any(|it| it.who.as_deref() == Some(id));
    if named {
        return (sight.label(Id::PersonHangs), Tone::Bad);
    }
    if facts.may_hang().iter().any(|it| it == id) {
        return (sight.label(Id::PersonMayHang), Tone::Caution);
    }
    if facts.cannot.iter().any(|it| it == id) {
        return (sight.label(Id::PersonCannot), Tone::Caution);
    }
    if let Some(order) = facts.order_of(id) {
        let task = task(sight, order);
        if facts.there.iter().any(|it| it == id) {
            return (sight.with(Id::PersonThere, [&task]), Tone::Plain);
        }
        return match to_go(sight, order) {
            Some(left) => {
                let left = seconds(left).replace(' ', "\u{a0}");
                (sight.with(Id::PersonGoing, [&task, &left]), Tone::Plain)
            }
            None => (sight.with(Id::PersonDue, [&task]), Tone::Caution),
        };
    }
    let label = match () {
        () if facts.command.by.as_deref() == Some(id) => Id::PersonCommands,
        () if facts.caller().is_some_and(|it| it == id) => Id::PersonCalls,
        () => Id::PersonFree,
    };
    (sight.label(label), Tone::Plain)
}

pub(super) fn people(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let Some(opened) = &facts.opened else {
        return Vec::new();
    };
    let mut people: Vec<_> = opened
        .plan
        .responders
        .iter()
        .filter(|it| opened.roll_call.contains(&it.id))
        .collect();
    // Who is on an order comes first: it is of them that something is reported.
    people.sort_by_key(|it| facts.order_of(&it.id).is_none());
    people
        .into_iter()
        .map(|person| {
            let (sub, tone) = standing(sight, &person.id);
            Entry::new(
                Next::About(SheetKind::Person, vec![person.id.clone()]),
                person.name.as_str().into(),
                sub,
            )
            .icon(Icon::Person)
            .tone(tone)
        })
        .collect()
}

pub(super) fn person(sight: Sight<'_>, id: &str) -> Vec<Entry> {
    let facts = sight.facts();
    let hangs = facts
        .casualties
        .iter()
        .any(|it| it.who.as_deref() == Some(id));
    if hangs {
        return Vec::new();
    }
    let report = |report| Act::Responder(id.to_owned(), report);
    let nothing = SharedString::default;
    let mut entries = Vec::new();
    if facts.cannot.iter().any(|it| it == id) {
        entries.push(
            Entry::act(
                report(Report::CanAgain),
                sight.label(Id::ReportAgain),
                nothing(),
            )
            .icon(Icon::Check),
        );
    } else {
        entries.push(
            Entry::act(
                report(Report::There),
                sight.label(Id::ReportThere),
                nothing(),
            )
            .icon(Icon::Check)
            .chosen(facts.there.iter().any(|it| it == id)),
        );
        entries.push(
            Entry::act(
                report(Report::Cannot),
                sight.label(Id::ReportCannot),
                sight.label(Id::ReportCannotSub),
            )
            .icon(Icon::Stop)
            .tone(Tone::Caution),
        );
    }
    entries.push(
        Entry::act(
            Act::RescuerDown(id.to_owned()),
            sight.label(Id::RescuerDown),
            sight.label(Id::RescuerDownSub),
        )
        .icon(Icon::Casualty)
        .tone(Tone::Bad)
        .held(),
    );
    entries.extend(kit_gone(sight, id));
    entries
}

/// The kit that somebody was sent for, by its kind, is not at its station.
fn kit_gone(sight: Sight<'_>, id: &str) -> Option<Entry> {
    let facts = sight.facts();
    let order = facts.order_of(id)?;
    let station = order.posting.station.as_ref()?;
    let plan = &facts.opened.as_ref()?.plan;
    let kept = plan.station(station)?;
    let name = order.posting.kit.as_ref()?;
    let item = kept.kit.iter().find(|it| it.name == *name)?;
    let gone = Act::KitGone {
        kit: item.kind.clone(),
        station: station.clone(),
    };
    let sub = sight.with(Id::KitGoneSub, [name, &kept.name]);
    Some(Entry::act(gone, sight.label(Id::KitGone), sub).icon(Icon::Withdraw))
}

pub(super) fn call_head(sight: Sight<'_>) -> Message {
    let opened = sight.facts().opened.as_ref();
    let number = opened.map_or("", |o| o.plan.site.emergency_number.as_str());
    match opened.is_some_and(|o| o.drill) {
        true => Message::of(Id::CallDrill),
        false => Message::with(Id::SheetCall, [number]),
    }
}

pub(super) fn call(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let nothing = SharedString::default;
    let act = |act, title, icon| Entry::act(act, sight.label(title), nothing()).icon(icon);
    let mut entries = Vec::new();
    if facts.call.confirmed.is_some() {
        entries.push(act(Act::CallFailed, Id::CallFailedTile, Icon::Call));
    } else {
        entries.push(act(Act::CallMade, Id::CallMadeTile, Icon::Call).tone(Tone::Good));
        entries.push(act(Act::CallByNext, Id::CallNext, Icon::Person));
    }
    entries.push(match facts.outside.leads {
        Some(_) => act(Act::CrewLeads, Id::CrewLeads, Icon::Lead),
        None => Entry::act(
            Act::OutsideLeads,
            sight.label(Id::OutsideTake),
            sight.label(Id::OutsideTakeSub),
        )
        .icon(Icon::Outside)
        .held(),
    });
    if facts.outside.asked.is_none() {
        entries.push(act(Act::AskOutside, Id::AskOutside, Icon::Outside));
    }
    entries.extend(HELP_MINUTES.iter().map(|minutes| {
        let title = sight.with(Id::HelpIn, [&minutes.to_string()]);
        let time = Millis::from_seconds(minutes * 60);
        Entry::act(Act::HelpIn(time), title, sight.label(Id::HelpInSub)).icon(Icon::Outside)
    }));
    entries
}
