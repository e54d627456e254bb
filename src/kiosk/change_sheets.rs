//! Fills the sheets about what changes in a shift: who is here, visitors, who left, what is gone, the wind, the signature.

use super::entry::{Entry, Next};
use super::shift::speed_of;
use super::shift_sheets::{here, up, winds};
use super::sight::{Sight, capital};
use super::ui::{Icon, SheetKind, Tone};
use crate::plan::{KitItem, Station};
use crate::readiness::{Change, Declare};
use crate::signal::Tap;
use crate::units::Speed;
use crate::words::Id;
use slint::SharedString;

/// Who is on shift, with a way to say that somebody is here whom the plan does not know.
pub(super) fn people(sight: Sight<'_>) -> Vec<Entry> {
    let snapshot = sight.snapshot;
    let plan = &snapshot.plan.plan;
    let visitor = Entry::open(
        SheetKind::Visitor,
        sight.label(Id::VisitorTile),
        sight.label(Id::VisitorSub),
    )
    .icon(Icon::Outside);
    let visitors = snapshot.shift.visitors.iter().map(|it| {
        let place = plan
            .place(&it.place)
            .map_or("", |place| place.name.as_str());
        let left = Tap::Declare(Declare::VisitorLeft(it.id.clone()));
        Entry::new(
            Next::Stay(left),
            it.name.as_str().into(),
            sight.with(Id::VisitorAt, [place]),
        )
        .chosen(true)
    });
    let responders = plan.responders.iter().map(|person| {
        let held = person.qualifications.iter();
        let held: Vec<_> = held.map(|it| it.name.as_str()).collect();
        // The first two have room; who holds what is asked in the crew's own sheet.
        let named = held.len().min(2);
        let mut held_text = held[..named].join(", ");
        if held.len() > named {
            held_text += &format!(" +{}", held.len() - named);
        }
        let swap = Tap::SwapPresent {
            responder: person.id.clone(),
        };
        Entry::new(
            Next::Stay(swap),
            person.name.as_str().into(),
            held_text.into(),
        )
        .chosen(!snapshot.roll_call.absent.contains(&person.id))
    });
    let first = [visitor].into_iter().chain(visitors);
    first.chain(responders).collect()
}

/// Nothing is asked of a visitor but where they are.
pub(super) fn visitor(sight: Sight<'_>) -> Vec<Entry> {
    let places = sight.snapshot.plan.plan.places.iter();
    let entries = places.map(|place| {
        let said = Declare::Visits(place.id.clone());
        up(said, capital(&place.name), SharedString::default()).icon(Icon::Place)
    });
    entries.collect()
}

fn changed(what: Change, title: SharedString, sub: SharedString) -> Entry {
    let said = Declare::Changed(what);
    Entry::new(Next::Send(Tap::Declare(said)), title, sub)
}

/// The kinds of change, and beside them every lift that is still there: it is what drives away most often.
pub(super) fn what(sight: Sight<'_>) -> Vec<Entry> {
    let shift = &sight.snapshot.shift;
    let nothing = SharedString::default;
    let wind = shift.wind_that_counts();
    let wind = wind.map(|it| sight.with(Id::WindNow, [&speed_of(it)]));
    let kinds = [
        changed(Change::Lightning, sight.label(Id::LightningNear), nothing())
            .icon(Icon::Lightning)
            .tone(Tone::Bad),
        Entry::open(SheetKind::Left, sight.label(Id::ChangedLeft), nothing()).icon(Icon::Person),
        Entry::open(SheetKind::Moved, sight.label(Id::ChangedKit), nothing()).icon(Icon::Rope),
        Entry::open(
            SheetKind::WindNow,
            sight.label(Id::WindTile),
            wind.unwrap_or_default(),
        )
        .icon(Icon::Wind),
    ];
    let lifts = still_there(sight).filter(|(_, item)| item.reach.is_some());
    let lifts = lifts.map(|(station, item)| gone(sight, station, item).icon(Icon::Lift));
    kinds.into_iter().chain(lifts).collect()
}

/// Kit in service of which something should still be where it is kept.
fn still_there<'a>(sight: Sight<'a>) -> impl Iterator<Item = (&'a Station, &'a KitItem)> {
    let shift = &sight.snapshot.shift;
    let stations = sight.snapshot.plan.plan.stations.iter();
    let all = stations.flat_map(|station| station.kit.iter().map(move |item| (station, item)));
    all.filter(|(station, item)| {
        let none = |it: &crate::readiness::Counted| {
            it.count == 0 && it.station == station.id && it.item == item.id
        };
        item.in_service() && !shift.counted.iter().any(none)
    })
}

fn gone(sight: Sight<'_>, station: &Station, item: &KitItem) -> Entry {
    let what = Change::KitGone {
        station: station.id.clone(),
        item: item.id.clone(),
    };
    let title = sight.with(Id::ChangedGone, [&item.name]);
    changed(what, title, station.name.as_str().into())
}

pub(super) fn left(sight: Sight<'_>) -> Vec<Entry> {
    let people = here(sight).map(|person| {
        let what = Change::Left {
            responder: person.id.clone(),
        };
        changed(what, person.name.as_str().into(), SharedString::default())
    });
    let visitors = sight.snapshot.shift.visitors.iter().map(|it| {
        let left = Tap::Declare(Declare::VisitorLeft(it.id.clone()));
        Entry::new(
            Next::Send(left),
            it.name.as_str().into(),
            SharedString::default(),
        )
    });
    let all = people.chain(visitors);
    all.map(|it| it.icon(Icon::Person)).collect()
}

/// Lifts first, then the heaviest: what is large is moved, what is small is missed at the next count.
pub(super) fn moved(sight: Sight<'_>) -> Vec<Entry> {
    let mut all: Vec<_> = still_there(sight).collect();
    all.sort_by_key(|(_, item)| {
        let mass = item.mass.map_or(0, |it| it.0);
        (item.reach.is_none(), std::cmp::Reverse(mass))
    });
    let entries = all.into_iter().map(|(station, item)| {
        let what = Change::KitGone {
            station: station.id.clone(),
            item: item.id.clone(),
        };
        changed(what, capital(&item.name), station.name.as_str().into())
    });
    entries.collect()
}

pub(super) fn wind_now(sight: Sight<'_>) -> Vec<Entry> {
    let now = sight.snapshot.shift.wind_that_counts();
    let entry = |speed: Speed| {
        let title = speed_of(speed).into();
        changed(Change::Wind { speed }, title, SharedString::default())
            .icon(Icon::Wind)
            .chosen(now == Some(speed))
    };
    winds(Speed(0)).map(entry).collect()
}

/// Competent people sign, once nothing is open; the end of a shift stands beside it.
pub(super) fn sign(sight: Sight<'_>) -> Vec<Entry> {
    let snapshot = sight.snapshot;
    let shift = &snapshot.shift;
    let roll = sight.roll();
    let signs = here(sight).filter(|it| it.competent).map(|person| {
        let may = shift.may_sign(&person.id, roll.scope(sight), sight.now.day());
        let signed = shift.signed.as_ref().is_some_and(|it| it.by == person.id);
        Entry::new(
            Next::Send(Tap::Declare(Declare::Sign(person.id.clone()))),
            sight.with(Id::SignBy, [&person.name]),
            sight.label(Id::SignHold),
        )
        .held()
        .enabled(may)
        .chosen(signed && snapshot.shift_holds)
    });
    let end = Entry::new(
        Next::Send(Tap::Declare(Declare::End)),
        sight.label(Id::SignEnd),
        sight.label(Id::SignEndSub),
    )
    .held()
    .tone(Tone::Quiet);
    let end = shift.begun.then_some(end);
    signs.chain(end).collect()
}
