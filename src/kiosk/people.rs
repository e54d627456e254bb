//! Fills the page of everybody on shift, and the page of one person: what each does, how it stands, what can be reported.
//!
//! Those of whom something must be known come first: who does not answer, who is late, who cannot.

use super::crew_sheets::{task_in_short, to_go};
use super::entry::{Entry, Next};
use super::sight::{Sight, capital};
use super::ui::{Choice, Icon, Mark, PersonRow, SheetKind, Tone};
use super::view::View;
use super::way;
use crate::incident::{Act, Order, Report, order_in_words};
use crate::plan::{Link, Plan};
use crate::readiness::Posting;
use crate::report::kind_of_way;
use crate::signal::Tap;
use crate::words::{Id, seconds};
use slint::SharedString;

/// How somebody stands to the rescue, the most pressing first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Stands {
    Unanswered,
    Late,
    Due,
    Lost,
    Hurt,
    Cannot,
    Going,
    There,
    /// In command, calls, or free.
    Idle,
    MayHang,
    Hangs,
}

pub(super) fn stands(sight: Sight<'_>, id: &str) -> Stands {
    let facts = sight.facts();
    let among = |list: &[String]| list.iter().any(|it| it == id);
    let mut casualties = facts.casualties.iter();
    if casualties.any(|it| it.who.as_deref() == Some(id)) {
        return Stands::Hangs;
    }
    if among(&facts.may_hang()) {
        return Stands::MayHang;
    }
    if among(&facts.lost) {
        return Stands::Lost;
    }
    if among(&facts.hurt) {
        return Stands::Hurt;
    }
    if among(&facts.cannot) {
        return Stands::Cannot;
    }
    match facts.order_of(id) {
        None => Stands::Idle,
        Some(order) if order.there.is_some() => Stands::There,
        Some(order) if order.unanswered => Stands::Unanswered,
        Some(_) if among(&facts.late) => Stands::Late,
        Some(order) => match to_go(sight, order) {
            Some(_) => Stands::Going,
            None if order.posting.travel_ms > 0 => Stands::Due,
            None => Stands::There,
        },
    }
}

/// What is said of it, with its shape and tone.
pub(super) fn note(sight: Sight<'_>, id: &str) -> (SharedString, Mark, Tone) {
    let facts = sight.facts();
    let says = |id, mark, tone| (sight.label(id), mark, tone);
    match stands(sight, id) {
        Stands::Unanswered => says(Id::PersonNoAnswer, Mark::Waiting, Tone::Caution),
        Stands::Late => says(Id::PersonLate, Mark::Warning, Tone::Caution),
        Stands::Due => says(Id::PersonDueNow, Mark::Waiting, Tone::Caution),
        Stands::Lost => says(Id::PersonLost, Mark::Cannot, Tone::Caution),
        Stands::Hurt => says(Id::PersonHurt, Mark::Cannot, Tone::Bad),
        Stands::Cannot => says(Id::PersonCannot, Mark::Cannot, Tone::Caution),
        Stands::Going => {
            let left = facts.order_of(id).and_then(|it| to_go(sight, it));
            let left = seconds(left.unwrap_or_default()).replace(' ', "\u{a0}");
            let note = sight.with(Id::PersonToGo, [&left]);
            (note, Mark::Going, Tone::Plain)
        }
        Stands::There => says(Id::PersonIsThere, Mark::There, Tone::Plain),
        Stands::MayHang => says(Id::PersonMayHang, Mark::Warning, Tone::Caution),
        Stands::Hangs => says(Id::PersonHangs, Mark::Warning, Tone::Bad),
        Stands::Idle => {
            let label = match () {
                () if facts.command.by.as_deref() == Some(id) => Id::PersonCommands,
                () if facts.caller().is_some_and(|it| it == id) => Id::PersonCalls,
                () => Id::PersonFree,
            };
            says(label, Mark::None, Tone::Quiet)
        }
    }
}

/// Everybody on shift, those first of whom something must be known. The page keeps the order in which it came up: no row
/// moves under a finger.
pub(super) fn order(sight: Sight<'_>) -> Vec<String> {
    listed(sight, &[]).into_iter().map(str::to_owned).collect()
}

/// Everybody on shift, in this order as far as it goes.
fn listed<'a>(sight: Sight<'a>, kept: &[String]) -> Vec<&'a str> {
    let Some(opened) = &sight.facts().opened else {
        return Vec::new();
    };
    let plan = opened.plan.responders.iter().map(|it| it.id.as_str());
    let here = plan.filter(|id| opened.roll_call.iter().any(|it| it == id));
    let mut all: Vec<&str> = here.collect();
    let place = |id: &str| kept.iter().position(|it| it == id).unwrap_or(kept.len());
    all.sort_by_key(|id| (place(id), stands(sight, id)));
    all
}

struct Touches {
    open: Entry,
    there: Option<Entry>,
    cannot: Option<Entry>,
}

fn touches(sight: Sight<'_>, id: &str) -> Touches {
    let facts = sight.facts();
    let stay = |report, title| {
        let next = Next::Stay(Tap::Do(Act::Responder(id.to_owned(), report)));
        Entry::new(next, sight.label(title), SharedString::default())
    };
    let open = Next::About(SheetKind::Person, vec![id.to_owned()]);
    let open = Entry::new(open, facts.name(id).into(), SharedString::default());
    let order = facts.order_of(id);
    let there = order.map(|it| stay(Report::There, Id::KeyThere).chosen(it.there.is_some()));
    let cannot = match stands(sight, id) {
        Stands::Hangs | Stands::MayHang => None,
        Stands::Cannot | Stands::Lost | Stands::Hurt => {
            Some(stay(Report::CanAgain, Id::KeyCannot).chosen(true))
        }
        _ => Some(stay(Report::Cannot, Id::KeyCannot)),
    };
    Touches {
        open,
        there,
        cannot,
    }
}

/// Every touch of the page.
pub(super) fn entries(sight: Sight<'_>) -> Vec<Entry> {
    let all = listed(sight, &[]).into_iter();
    all.flat_map(|id| {
        let touches = touches(sight, id);
        let rest = touches.there.into_iter().chain(touches.cannot);
        [touches.open].into_iter().chain(rest)
    })
    .collect()
}

pub(super) fn fill(view: &mut View, sight: Sight<'_>, kept: &[String]) {
    let facts = sight.facts();
    let choice = |entry: Option<Entry>| {
        entry.map_or_else(Choice::default, |it| Choice {
            icon: Icon::None,
            ..it.choice
        })
    };
    let row = |id: &str| {
        let touches = touches(sight, id);
        let order = facts.order_of(id);
        let (note, mark, tone) = note(sight, id);
        let changed = order.is_some_and(|it| it.changed && !it.is_answered());
        PersonRow {
            name: facts.name(id).into(),
            task: order
                .map(|it| capital(&task_in_short(sight, it)))
                .unwrap_or_default(),
            note,
            changed: match changed {
                true => sight.label(Id::PersonChanged),
                false => SharedString::default(),
            },
            mark,
            tone,
            open: touches.open.choice.id.clone(),
            there: choice(touches.there),
            cannot: choice(touches.cannot),
        }
    };
    view.page_people = listed(sight, kept).into_iter().map(row).collect();
}

/// The roles that nobody has, of the method that runs and beside the methods.
pub(super) fn nobody_for(sight: Sight<'_>) -> SharedString {
    let facts = sight.facts();
    let casualty = facts.casualty();
    let Some(forecast) = &casualty.forecast else {
        return SharedString::default();
    };
    let standing = forecast.unmanned.iter().filter(|role| {
        let mut orders = facts.orders.iter();
        !orders.any(|it| it.posting.role == **role && it.method.is_empty())
    });
    let mut names: Vec<String> = standing
        .map(|role| match role.as_str() {
            Posting::TALKER => sight.label(Id::RoleTalker).into(),
            Posting::GUIDE => sight.label(Id::RoleGuide).into(),
            Posting::RADIO => sight.label(Id::RoleRadio).into(),
            Posting::FIRST_AID => sight.label(Id::TaskFirstAid).into(),
            other => other.replace('-', " "),
        })
        .collect();
    let running = casualty.running.as_ref().map(|it| it.method.as_str());
    let runs = forecast
        .methods
        .iter()
        .find(|it| Some(it.method.as_str()) == running);
    let unfilled = runs.into_iter().flat_map(|it| &it.unfilled);
    names.extend(unfilled.map(|role| role.replace('-', " ")));
    match names.is_empty() {
        true => SharedString::default(),
        false => sight.with(Id::PeopleNobodyFor, [&names.join(", ")]),
    }
}

/// What is to be known of one person: the order, the way, what is left of it.
pub(super) fn lines(sight: Sight<'_>, id: &str) -> Vec<SharedString> {
    let facts = sight.facts();
    let (note, ..) = note(sight, id);
    let mut lines = Vec::new();
    if let Some(order) = facts.order_of(id) {
        lines.extend(order_in_words(facts, order).map(|it| sight.say(&it)));
        lines.extend(way_left(sight, order));
    }
    lines.push(capital(&note));
    lines
}

/// The links that somebody still has before them, each with whether it is gone along forwards.
fn ahead<'a>(sight: Sight<'_>, plan: &'a Plan, order: &Order) -> Vec<(&'a Link, bool)> {
    let facts = sight.facts();
    if order.there.is_some() {
        return Vec::new();
    }
    let since = order.understood(facts.policy().order_time.likely);
    let gone = sight.at().saturating_sub(since);
    let left = order.posting.way.windows(2).filter(|it| it[1].1 > gone.0);
    left.filter_map(|it| way::link(facts, plan, &it[0].0, &it[1].0))
        .collect()
}

/// The way that is left, in one sentence.
fn way_left(sight: Sight<'_>, order: &Order) -> Option<SharedString> {
    let plan = &sight.facts().opened.as_ref()?.plan;
    if ahead(sight, plan, order).is_empty() {
        return None;
    }
    let lines = way::in_words(sight, order);
    Some(sight.with(Id::WayIs, [&lines.join(", ")]))
}

/// What can be reported of one person.
pub(super) fn reports(sight: Sight<'_>, id: &str) -> Vec<Entry> {
    let facts = sight.facts();
    let stands = stands(sight, id);
    if stands == Stands::Hangs {
        return Vec::new();
    }
    let report = |report, title, sub: Option<Id>| {
        let next = Next::Up(Tap::Do(Act::Responder(id.to_owned(), report)));
        let sub = sub.map_or_else(SharedString::default, |it| sight.label(it));
        Entry::new(next, sight.label(title), sub)
    };
    let order = facts.order_of(id);
    // Every touch stands where it stands whatever is known: what a person arrives at, or is told, moves none under a finger.
    let of_order = |to, title, icon, said: bool| {
        let entry = report(to, title, None);
        entry.icon(icon).chosen(said).enabled(order.is_some())
    };
    let said = |of: fn(&Order) -> bool| order.is_some_and(of);
    let mut entries = vec![
        of_order(
            Report::There,
            Id::ReportThere,
            Icon::Check,
            said(|it| it.there.is_some()),
        ),
        of_order(
            Report::OnTheWay,
            Id::ReportGoing,
            Icon::Ways,
            said(|it| it.going.is_some()),
        ),
        of_order(
            Report::Heard,
            Id::ReportHeard,
            Icon::Radio,
            said(|it| it.heard.is_some()),
        ),
        of_order(
            Report::Late,
            Id::ReportLate,
            Icon::Clock,
            stands == Stands::Late,
        ),
    ];
    let mut gone = |kind: Stands, to: Report, title, sub, icon| {
        // What was said is taken back by the same touch.
        let chosen = stands == kind;
        let entry = match chosen {
            true => report(Report::CanAgain, title, Some(Id::ReportAgain)),
            false => report(to, title, Some(sub)),
        };
        entries.push(entry.icon(icon).tone(Tone::Caution).chosen(chosen));
    };
    gone(
        Stands::Cannot,
        Report::Cannot,
        Id::ReportCannot,
        Id::ReportCannotSub,
        Icon::Stop,
    );
    gone(
        Stands::Lost,
        Report::Lost,
        Id::ReportLost,
        Id::ReportLostSub,
        Icon::Silent,
    );
    gone(
        Stands::Hurt,
        Report::Hurt,
        Id::ReportHurt,
        Id::ReportHurtSub,
        Icon::FirstAid,
    );
    let down = Act::RescuerDown(id.to_owned());
    let down = Entry::act(down, sight.label(Id::RescuerDown), SharedString::default());
    entries.push(down.icon(Icon::Casualty).tone(Tone::Bad).held());
    let none = || {
        Entry::new(
            Next::Nothing,
            sight.label(Id::KitGone),
            SharedString::default(),
        )
    };
    let missing = kit_gone(sight, id);
    entries.push(missing.unwrap_or_else(|| none().icon(Icon::Withdraw).enabled(false)));
    let blocked = !facts.blocked.is_empty();
    let plan = facts.opened.as_ref().map(|it| &it.plan);
    let walks = order
        .zip(plan)
        .is_some_and(|(it, plan)| !ahead(sight, plan, it).is_empty());
    let next = Next::About(SheetKind::Blocked, vec![id.to_owned()]);
    let ways = Entry::new(next, sight.label(Id::WayTile), sight.label(Id::WayTileSub));
    let ways = ways.icon(Icon::Place).chosen(blocked);
    entries.push(ways.enabled(walks || blocked));
    let next = Next::About(SheetKind::Level, vec![id.to_owned()]);
    let sketch = Entry::new(next, sight.label(Id::SketchOpen), SharedString::default());
    entries.push(sketch.icon(Icon::Site).enabled(order.is_some()));
    if order.is_some_and(|it| it.posting.role == Posting::TALKER) {
        let talk = Entry::open(
            SheetKind::Talker,
            sight.label(Id::SheetTalk),
            SharedString::default(),
        );
        entries.push(talk.icon(Icon::Talking));
    }
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
        by: Some(id.to_owned()),
    };
    let sub = sight.with(Id::KitGoneSub, [name, &kept.name]);
    Some(Entry::act(gone, sight.label(Id::KitGone), sub).icon(Icon::Withdraw))
}

/// The ways before somebody, each to be blocked by a touch, and those that are blocked, to be opened again.
pub(super) fn ways(sight: Sight<'_>, id: &str) -> Vec<Entry> {
    let facts = sight.facts();
    let Some(plan) = facts.opened.as_ref().map(|it| &it.plan) else {
        return Vec::new();
    };
    let name = |id: &str| {
        plan.place(id)
            .map_or_else(|| id.to_owned(), |it| it.name.clone())
    };
    let ahead = facts
        .order_of(id)
        .map(|it| ahead(sight, plan, it))
        .unwrap_or_default();
    // In the order of the plan, so that none moves under a finger when it is blocked.
    let entry = |link: &Link| {
        let way = ahead.iter().find(|(it, _)| it.id == link.id);
        let blocked = facts.blocked.contains(&link.id);
        if way.is_none() && !blocked {
            return None;
        }
        let (from, to) = match way {
            Some((_, false)) => (&link.to, &link.from),
            _ => (&link.from, &link.to),
        };
        let title = capital(&sight.with(Id::WayBetween, [&name(from), &name(to)]));
        let act = |act| Next::Stay(Tap::Do(act));
        Some(match blocked {
            true => {
                let sub = sight.label(Id::WayBlockedNow);
                Entry::new(act(Act::OpenWay(link.id.clone())), title, sub).chosen(true)
            }
            false => {
                let sub = sight.label(kind_of_way(link.kind));
                Entry::new(act(Act::BlockWay(link.id.clone())), title, sub).icon(Icon::Ways)
            }
        })
    };
    plan.links.iter().filter_map(entry).collect()
}
