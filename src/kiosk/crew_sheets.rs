//! Fills what is about help from outside, the emergency call before all, and says what an order is about.

use super::entry::{Entry, Next};
use super::rescue::short;
use super::sight::Sight;
use super::ui::{Icon, SheetKind, Tone};
use crate::incident::{Act, Order, Teller, call_made};
use crate::readiness::Posting;
use crate::signal::Tap;
use crate::units::Millis;
use crate::words::{Id, Message};
use slint::SharedString;

/// Minutes that are offered for when help said it comes.
const HELP_MINUTES: [i64; 5] = [5, 10, 15, 20, 30];

/// What an order is about, in a word or two.
pub(super) fn task(sight: Sight<'_>, order: &Order) -> String {
    let standing = match order.posting.role.as_str() {
        Posting::FIRST_AID => Some(Id::TaskFirstAid),
        Posting::TALKER => Some(Id::TaskTalker),
        Posting::GUIDE => Some(Id::TaskGuide),
        Posting::RADIO => Some(Id::TaskRadio),
        _ => None,
    };
    if let Some(task) = standing.filter(|_| order.method.is_empty()) {
        return sight.label(task).into();
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

/// The same as people speak: the kind of a piece and what tells its station from others.
pub(super) fn task_in_short(sight: Sight<'_>, order: &Order) -> String {
    let plan = sight.facts().opened.as_ref().map(|it| &it.plan);
    let posting = &order.posting;
    let kept = posting.station.as_ref().zip(plan);
    let kept = kept.and_then(|(id, plan)| plan.station(id));
    match (kept, &posting.kit) {
        (Some(station), Some(kit)) => {
            let item = station.kit.iter().find(|it| it.name == *kit);
            format!(
                "{} {}",
                item.map_or(kit, |it| &it.kind),
                short(&station.name)
            )
        }
        _ if !order.method.is_empty() => task(sight, order),
        _ => match posting.role.as_str() {
            Posting::TALKER => sight.label(Id::RoleTalker).into(),
            Posting::GUIDE => sight.label(Id::RoleGuide).into(),
            _ => task(sight, order),
        },
    }
}

/// What is left of somebody's way; none once it should be over.
pub(super) fn to_go(sight: Sight<'_>, order: &Order) -> Option<Millis> {
    let passing = sight.facts().policy().order_time.likely;
    order.to_go(passing, sight.at())
}

pub(super) fn call_head(sight: Sight<'_>) -> Message {
    let opened = sight.facts().opened.as_ref();
    let number = opened.map_or("", |o| o.plan.site.emergency_number.as_str());
    match opened.is_some_and(|o| o.drill) {
        true => Message::of(Id::CallDrill),
        false => Message::with(Id::SheetCall, [number]),
    }
}

/// That it was made, by whom, and when help comes.
pub(super) fn call_hint(sight: Sight<'_>) -> SharedString {
    let made = call_made(sight.facts());
    made.map(|it| sight.say(&it)).unwrap_or_default()
}

pub(super) fn call(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let nothing = SharedString::default;
    let stay = |act, title, sub| Entry::new(Next::Stay(Tap::Do(act)), sight.label(title), sub);
    let mut entries = Vec::new();
    if facts.call.confirmed.is_some() {
        entries.push(stay(Act::CallFailed, Id::CallFailedTile, nothing()).icon(Icon::Call));
        entries.push(hand_card(sight));
    } else {
        let caller = facts.call.ordered.last().and_then(|(to, _)| to.as_deref());
        let by = caller.map(|id| facts.name(id).into()).unwrap_or_default();
        let made = Entry::act(Act::CallMade, sight.label(Id::CallMadeTile), by);
        entries.push(made.icon(Icon::Call).tone(Tone::Good));
        entries.push(stay(Act::CallByNext, Id::CallNext, nothing()).icon(Icon::Person));
    }
    let outside = sight.label(Id::HelpTileOutside);
    entries.push(Entry::open(SheetKind::HelpTime, outside, nothing()).icon(Icon::Outside));
    entries
}

/// The card for whoever takes over the care.
pub(super) fn hand_card(sight: Sight<'_>) -> Entry {
    let title = sight.label(Id::HandTile);
    Entry::open(SheetKind::Handover, title, sight.label(Id::HandTileSub)).icon(Icon::Handover)
}

/// When help comes, and who leads.
pub(super) fn help(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let nothing = SharedString::default;
    let minutes = HELP_MINUTES.iter().map(|minutes| {
        let minutes = minutes.to_string();
        let title = sight.with(Id::HelpIn, [&minutes]);
        let next = Next::About(SheetKind::HelpSaid, vec![minutes]);
        Entry::new(next, title, nothing()).icon(Icon::Clock)
    });
    let mut entries: Vec<Entry> = minutes.collect();
    entries.push(match facts.outside.leads {
        Some(_) => {
            Entry::act(Act::CrewLeads, sight.label(Id::CrewLeads), nothing()).icon(Icon::Lead)
        }
        None => {
            let sub = sight.label(Id::OutsideTakeSub);
            let take = Entry::act(Act::OutsideLeads, sight.label(Id::OutsideTake), sub);
            take.icon(Icon::Outside).held()
        }
    });
    if facts.outside.asked.is_none() {
        let ask = Entry::act(Act::AskOutside, sight.label(Id::AskOutside), nothing());
        entries.push(ask.icon(Icon::Outside));
    }
    if facts.call.confirmed.is_none() {
        entries.push(hand_card(sight));
    }
    entries
}

/// Who said when help comes.
pub(super) fn tellers(sight: Sight<'_>, minutes: &str) -> Vec<Entry> {
    let Ok(minutes) = minutes.parse::<i64>() else {
        return Vec::new();
    };
    let time = Millis::from_seconds(minutes * 60);
    let tells = |teller, title, icon| {
        let tap = Tap::Do(Act::HelpIn(time, teller));
        let next = Next::To(tap, SheetKind::Call, Vec::new());
        Entry::new(next, sight.label(title), SharedString::default()).icon(icon)
    };
    vec![
        tells(Teller::Dispatcher, Id::TellDispatcher, Icon::Call),
        tells(Teller::Coming, Id::TellComing, Icon::Outside),
        tells(Teller::Guide, Id::TellGuide, Icon::Place),
    ]
}
