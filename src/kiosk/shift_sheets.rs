//! Fills the sheets behind the parts of a shift's check: places, weather, crew, kit, radio, battery, briefing, allowances.
//!
//! A sheet is about what was touched before it: a position, a qualification, a station and a kit item.

use super::entry::{Entry, Next};
use super::shift::{light, speed_of};
use super::sight::Sight;
use super::ui::{Icon, SheetKind, Tone};
use crate::plan::Responder;
use crate::readiness::{Counted, Declare, InUse, Light, Part, Reason, Shift};
use crate::signal::Tap;
use crate::units::Speed;
use crate::words::Id;
use slint::SharedString;

/// Winds that are offered, in metres a second.
const WINDS: [i64; 19] = [
    0, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 18, 20, 25,
];
/// A permit number is at most this long.
const PERMIT_MAX: usize = 12;

/// The winds that are offered from one on.
pub(super) fn winds(from: Speed) -> impl Iterator<Item = Speed> {
    let all = WINDS.into_iter().map(|it| Speed(it * 1_000));
    all.filter(move |it| *it >= from)
}

pub(super) fn stay(said: Declare, title: SharedString, sub: SharedString) -> Entry {
    Entry::new(Next::Stay(Tap::Declare(said)), title, sub)
}

pub(super) fn up(said: Declare, title: SharedString, sub: SharedString) -> Entry {
    Entry::new(Next::Up(Tap::Declare(said)), title, sub)
}

fn about(kind: SheetKind, of: &[&str], title: SharedString, sub: SharedString) -> Entry {
    let of = of.iter().map(|it| (*it).to_owned()).collect();
    Entry::new(Next::About(kind, of), title, sub)
}

/// The people of the plan who are here.
pub(super) fn here<'a>(sight: Sight<'a>) -> impl Iterator<Item = &'a Responder> {
    let snapshot = sight.snapshot;
    let absent = &snapshot.roll_call.absent;
    let all = snapshot.plan.plan.responders.iter();
    all.filter(move |it| !absent.contains(&it.id))
}

/// Everybody who is here, visitors too: id and name.
fn everybody<'a>(sight: Sight<'a>) -> impl Iterator<Item = (&'a String, &'a String)> {
    let visitors = sight.snapshot.shift.visitors.iter();
    let people = here(sight).map(|it| (&it.id, &it.name));
    people.chain(visitors.map(|it| (&it.id, &it.name)))
}

fn used<'a>(sight: Sight<'a>, position: &str) -> Option<&'a InUse> {
    let mut all = sight.snapshot.shift.in_use.iter();
    all.find(|it| it.position == position)
}

/// What is still open at one place.
pub(super) fn open_at(sight: Sight<'_>, position: &str) -> Option<SharedString> {
    let alone = Shift {
        in_use: vec![used(sight, position)?.clone()],
        ..Shift::clone(&sight.snapshot.shift)
    };
    let roll = sight.roll();
    let point = alone.missing(Part::Places, roll.scope(sight), sight.now.day())?;
    Some(sight.say(&point))
}

/// Every position; those in use first.
pub(super) fn places(sight: Sight<'_>) -> Vec<Entry> {
    let mut positions: Vec<_> = sight.snapshot.plan.plan.positions.iter().collect();
    positions.sort_by_key(|it| used(sight, &it.id).is_none());
    let entries = positions.into_iter().map(|position| {
        let title = SharedString::from(&position.name);
        let of = vec![position.id.clone()];
        match used(sight, &position.id) {
            Some(it) => {
                let ready = || sight.with(Id::SheetPermit, [&it.permit]);
                let sub = open_at(sight, &position.id).unwrap_or_else(ready);
                Entry::new(Next::About(SheetKind::PlaceInUse, of), title, sub).chosen(true)
            }
            None => {
                let tap = Tap::Declare(Declare::Use(position.id.clone()));
                let next = Next::To(tap, SheetKind::PlaceInUse, of);
                Entry::new(next, title, SharedString::default())
            }
        }
    });
    entries.collect()
}

pub(super) fn place_in_use(sight: Sight<'_>, position: &str) -> Vec<Entry> {
    let Some(it) = used(sight, position) else {
        return Vec::new();
    };
    let plan = &sight.snapshot.plan.plan;
    let name = |id: &String| sight.snapshot.shift.name(id, plan).to_owned();
    let or_none = |text: String| match text.is_empty() {
        true => sight.label(Id::InUseNone),
        false => text.into(),
    };
    let workers: Vec<_> = it.workers.iter().map(name).collect();
    let leads = |kind, title, sub, icon| {
        about(kind, &[position], sight.label(title), or_none(sub)).icon(icon)
    };
    vec![
        leads(
            SheetKind::Permit,
            Id::InUsePermit,
            it.permit.clone(),
            Icon::Plan,
        ),
        leads(
            SheetKind::Workers,
            Id::InUseWorkers,
            workers.join(", "),
            Icon::Person,
        ),
        leads(
            SheetKind::Watcher,
            Id::InUseWatcher,
            it.watcher.as_ref().map(name).unwrap_or_default(),
            Icon::Watch,
        ),
        up(
            Declare::Use(position.to_owned()),
            sight.label(Id::InUseOut),
            SharedString::default(),
        )
        .icon(Icon::Withdraw)
        .tone(Tone::Quiet),
    ]
}

/// The permit number is kept letter by letter, so that nothing is lost by going back.
pub(super) fn permit(sight: Sight<'_>, position: &str) -> Vec<Entry> {
    let letters = about(
        SheetKind::Letters,
        &[position],
        sight.label(Id::KeyLetters),
        SharedString::default(),
    );
    let mut keys: Vec<_> = keys(sight, position, "1234567890-/").collect();
    keys.push(letters);
    keys.extend(delete(sight, position));
    keys
}

pub(super) fn letters(sight: Sight<'_>, position: &str) -> Vec<Entry> {
    let letters = keys(sight, position, "ABCDEFGHIJKLMNOPQRSTUVWXYZ");
    delete(sight, position).into_iter().chain(letters).collect()
}

fn keys<'a>(sight: Sight<'a>, position: &'a str, keys: &'a str) -> impl Iterator<Item = Entry> {
    let permit = used(sight, position).map_or("", |it| it.permit.as_str());
    keys.chars().map(move |key| {
        let said = Declare::Permit(position.to_owned(), format!("{permit}{key}"));
        let full = permit.chars().count() >= PERMIT_MAX;
        stay(said, key.to_string().into(), SharedString::default()).enabled(!full)
    })
}

fn delete(sight: Sight<'_>, position: &str) -> Option<Entry> {
    let mut permit = used(sight, position)?.permit.clone();
    let any = permit.pop().is_some();
    let said = Declare::Permit(position.to_owned(), permit);
    let key = stay(said, sight.label(Id::KeyDelete), SharedString::default());
    Some(key.tone(Tone::Quiet).enabled(any))
}

pub(super) fn workers(sight: Sight<'_>, position: &str) -> Vec<Entry> {
    let workers = used(sight, position).map_or(&[][..], |it| &it.workers);
    let entries = everybody(sight).map(|(id, name)| {
        let said = Declare::Works(position.to_owned(), id.clone());
        stay(said, name.into(), SharedString::default()).chosen(workers.contains(id))
    });
    entries.collect()
}

/// Whoever works here watches nobody here.
pub(super) fn watcher(sight: Sight<'_>, position: &str) -> Vec<Entry> {
    let Some(it) = used(sight, position) else {
        return Vec::new();
    };
    let free = here(sight).filter(|person| !it.workers.contains(&person.id));
    let entries = free.map(|person| {
        let said = Declare::Watches(position.to_owned(), person.id.clone());
        let entry = up(said, person.name.as_str().into(), SharedString::default());
        entry.chosen(it.watcher.as_ref() == Some(&person.id))
    });
    entries.collect()
}

pub(super) fn weather(sight: Sight<'_>) -> Vec<Entry> {
    let shift = &sight.snapshot.shift;
    let said = |speed: Option<Speed>| match speed {
        Some(speed) => speed_of(speed).into(),
        None => sight.label(Id::WindNotSaid),
    };
    let nothing = SharedString::default;
    let mut entries = vec![
        Entry::open(
            SheetKind::WindMean,
            sight.label(Id::WindMean),
            said(shift.wind),
        )
        .icon(Icon::Wind),
        Entry::open(
            SheetKind::Gusts,
            sight.label(Id::WindGusts),
            said(shift.gust),
        )
        .icon(Icon::Wind),
    ];
    entries.extend([Light::Day, Light::Lit, Light::Dark].map(|it| {
        let icon = match it {
            Light::Day => Icon::Light,
            Light::Lit => Icon::Look,
            Light::Dark => Icon::None,
        };
        let title = super::sight::capital(&sight.label(light(it)));
        stay(Declare::Light(it), title, nothing())
            .icon(icon)
            .chosen(shift.light == Some(it))
    }));
    for (near, title) in [(false, Id::LightningNone), (true, Id::LightningNear)] {
        let title = super::sight::capital(&sight.label(title));
        let entry = stay(Declare::Lightning(near), title, nothing());
        entries.push(
            entry
                .icon(Icon::Lightning)
                .chosen(shift.lightning == Some(near)),
        );
    }
    entries
}

pub(super) fn mean_winds(sight: Sight<'_>) -> Vec<Entry> {
    let now = sight.snapshot.shift.wind;
    let entry = |speed| {
        let entry = up(
            Declare::Wind(speed),
            speed_of(speed).into(),
            SharedString::default(),
        );
        entry.chosen(now == Some(speed))
    };
    winds(Speed(0)).map(entry).collect()
}

/// No gust is weaker than the mean wind.
pub(super) fn gusts(sight: Sight<'_>) -> Vec<Entry> {
    let shift = &sight.snapshot.shift;
    let entry = |speed| {
        let entry = up(
            Declare::Gust(speed),
            speed_of(speed).into(),
            SharedString::default(),
        );
        entry.chosen(shift.gust == Some(speed))
    };
    winds(shift.wind.unwrap_or_default()).map(entry).collect()
}

pub(super) fn crew(sight: Sight<'_>) -> Vec<Entry> {
    let shift = &sight.snapshot.shift;
    let plan = &sight.snapshot.plan.plan;
    let roll = sight.roll();
    let entries = shift.needed(plan).into_iter().map(|needed| {
        let mut holders = shift.holders.iter();
        let holder = holders.find(|it| it.qualification == needed);
        let fits = holder.is_some_and(|it| {
            let day = sight.now.day();
            shift.may_hold(&needed, &it.responder, roll.scope(sight), day)
        });
        let sub = match holder {
            Some(it) if fits => shift.name(&it.responder, plan).into(),
            Some(_) | None => sight.label(Id::HolderNobody),
        };
        let title = super::sight::capital(&needed);
        about(SheetKind::Holder, &[&needed], title, sub).chosen(fits)
    });
    entries.collect()
}

/// Those who hold a qualification on paper; who cannot hold it today is shown with the reason.
pub(super) fn holders(sight: Sight<'_>, needed: &str) -> Vec<Entry> {
    let shift = &sight.snapshot.shift;
    let roll = sight.roll();
    let day = sight.now.day();
    let entries = here(sight).filter_map(|person| {
        let mut held = person.qualifications.iter();
        let paper = held.find(|it| it.name == needed)?;
        let ended = paper.until.filter(|until| *until < day);
        let sub = match ended {
            Some(until) => sight.with(Id::HolderEnded, [&until.to_string()]),
            None if shift.works_alone(&person.id) => sight.label(Id::HolderAlone),
            None => SharedString::default(),
        };
        let said = Declare::Holds(needed.to_owned(), person.id.clone());
        let chosen = shift
            .holders
            .iter()
            .any(|it| it.qualification == needed && it.responder == person.id);
        let may = shift.may_hold(needed, &person.id, roll.scope(sight), day);
        let entry = up(said, person.name.as_str().into(), sub);
        Some(entry.enabled(may).chosen(chosen && may))
    });
    entries.collect()
}

pub(super) fn kit(sight: Sight<'_>) -> Vec<Entry> {
    let shift = &sight.snapshot.shift;
    let plan = &sight.snapshot.plan.plan;
    let entries = shift.stations(plan).into_iter().map(|id| {
        let name = plan.station(id).map_or(id, |it| it.name.as_str());
        let counted = shift.is_counted(id, plan);
        let sub = match counted {
            true => station_standing(sight, id),
            false => sight.label(Id::KitNotCounted),
        };
        about(SheetKind::Station, &[id], super::sight::capital(name), sub).chosen(counted)
    });
    entries.collect()
}

/// How much of what a station keeps was there.
fn station_standing(sight: Sight<'_>, station: &str) -> SharedString {
    let plan = &sight.snapshot.plan.plan;
    let kept = plan.station(station);
    let items = || {
        let items = kept.into_iter().flat_map(|it| &it.kit);
        items.filter(|it| it.in_service())
    };
    let all: u32 = items().map(|it| it.count).sum();
    let there: u32 = items()
        .filter_map(|it| counted(sight, station, &it.id))
        .sum();
    sight.with(Id::KitCounted, [&there.to_string(), &all.to_string()])
}

/// How many of a kit item were there; none where nobody counted.
fn counted(sight: Sight<'_>, station: &str, item: &str) -> Option<u32> {
    let mut all = sight.snapshot.shift.counted.iter();
    let it = all.find(|it| it.station == station && it.item == item)?;
    Some(it.count)
}

pub(super) fn station(sight: Sight<'_>, station: &str) -> Vec<Entry> {
    let Some(kept) = sight.snapshot.plan.plan.station(station) else {
        return Vec::new();
    };
    let all = up(
        Declare::CountAll(station.to_owned()),
        sight.label(Id::KitAll),
        SharedString::default(),
    )
    .icon(Icon::Check)
    .tone(Tone::Good);
    let items = kept.kit.iter().filter(|it| it.in_service());
    let items = items.map(|item| {
        let counted = counted(sight, station, &item.id);
        let sub = match counted {
            Some(count) => {
                let counts = [&*count.to_string(), &item.count.to_string()];
                sight.with(Id::KitCounted, counts)
            }
            None => sight.label(Id::KitNotCounted),
        };
        let title = super::sight::capital(&item.name);
        about(SheetKind::Count, &[station, &item.id], title, sub)
            .chosen(counted == Some(item.count))
            .tone(match counted {
                Some(count) if count < item.count => Tone::Caution,
                Some(_) | None => Tone::Plain,
            })
    });
    [all].into_iter().chain(items).collect()
}

/// From all down to none, because all is what is there most days.
pub(super) fn count(sight: Sight<'_>, station: &str, item: &str) -> Vec<Entry> {
    let kept = sight.snapshot.plan.plan.station(station);
    let mut items = kept.into_iter().flat_map(|it| &it.kit);
    let most = items.find(|it| it.id == item).map_or(0, |it| it.count);
    let now = counted(sight, station, item);
    let entry = |count: u32| {
        let said = Declare::Count(Counted {
            station: station.to_owned(),
            item: item.to_owned(),
            count,
        });
        let entry = up(said, count.to_string().into(), SharedString::default());
        entry.chosen(now == Some(count))
    };
    (0..=most).rev().map(entry).collect()
}

pub(super) fn radio(sight: Sight<'_>) -> Vec<Entry> {
    let answered = sight.snapshot.shift.radio;
    vec![
        stay(
            Declare::Radio(!answered),
            sight.label(Id::RadioAll),
            SharedString::default(),
        )
        .icon(Icon::Radio)
        .chosen(answered),
    ]
}

pub(super) fn battery(sight: Sight<'_>) -> Vec<Entry> {
    let charged = sight.snapshot.shift.battery;
    vec![
        stay(
            Declare::Battery(!charged),
            sight.label(Id::BatteryAll),
            SharedString::default(),
        )
        .icon(Icon::Battery)
        .chosen(charged),
    ]
}

/// Each by name: a briefing that "all" heard was heard by nobody in particular.
pub(super) fn briefing(sight: Sight<'_>) -> Vec<Entry> {
    let heard = &sight.snapshot.shift.heard;
    let entries = everybody(sight).map(|(id, name)| {
        let entry = stay(
            Declare::Heard(id.clone()),
            name.into(),
            SharedString::default(),
        );
        entry.chosen(heard.contains(id))
    });
    entries.collect()
}

/// Who lets people work at a position that is not ready, and why; none where nobody does.
pub(super) fn allowance(sight: Sight<'_>, position: &str) -> Option<SharedString> {
    let shift = &sight.snapshot.shift;
    let allowed = shift.allowance(position)?;
    let by = shift.name(&allowed.by, &sight.snapshot.plan.plan);
    let why = sight.say(&allowed.reason.message());
    Some(sight.with(Id::AllowedBy, [by, &*why]))
}

/// The positions in use that are not ready.
pub(super) fn not_ready(sight: Sight<'_>) -> Vec<Entry> {
    let snapshot = sight.snapshot;
    let roll = sight.roll();
    let used = snapshot.shift.in_use.iter();
    let entries = used
        .filter(|it| roll.not_ready.contains(&it.position))
        .filter_map(|it| {
            let position = snapshot.plan.plan.position(&it.position)?;
            let mut standings = snapshot.standings.iter();
            let standing = standings.find(|it| it.position == position.id)?;
            let why = standing.why_not.as_ref().or(standing.line.as_ref());
            let allowed = allowance(sight, &position.id);
            let is_allowed = allowed.is_some();
            let sub = allowed.or_else(|| why.map(|why| sight.say(why)));
            let entry = about(
                SheetKind::AllowWho,
                &[&position.id],
                position.name.as_str().into(),
                sub.unwrap_or_default(),
            );
            Some(entry.chosen(is_allowed).icon(Icon::Stop))
        });
    entries.collect()
}

/// The way out of it first, then who can put a name to it: competent people before the others.
pub(super) fn allow_who(sight: Sight<'_>, position: &str) -> Vec<Entry> {
    let out = up(
        Declare::Use(position.to_owned()),
        sight.label(Id::InUseOut),
        SharedString::default(),
    )
    .icon(Icon::Withdraw);
    let mut people: Vec<_> = here(sight).collect();
    people.sort_by_key(|it| !it.competent);
    let people = people.into_iter().map(|person| {
        about(
            SheetKind::AllowWhy,
            &[position, &person.id],
            person.name.as_str().into(),
            SharedString::default(),
        )
        .icon(Icon::Person)
    });
    [out].into_iter().chain(people).collect()
}

pub(super) fn allow_why(sight: Sight<'_>, position: &str, by: &str) -> Vec<Entry> {
    let entries = Reason::ALL.map(|reason| {
        let said = Declare::Allow(position.to_owned(), by.to_owned(), reason);
        let next = Next::To(Tap::Declare(said), SheetKind::Allow, Vec::new());
        let why = super::sight::capital(&sight.say(&reason.message()));
        Entry::new(next, why, SharedString::default())
    });
    entries.into_iter().collect()
}
