//! Fills the screen of the shift: its parts with what is open in each, who signed, and the alarm where rescue was lost.
//!
//! What is open is asked of the shift itself; here it is only put into words and places.

use super::entry::Entry;
use super::sight::{Sight, tile};
use super::ui::{Icon, Lost, Screen, SheetKind, Tile, Tone};
use super::view::View;
use crate::readiness::{Light, Part};
use crate::units::Speed;
use crate::words::{Id, Message, wall_time, wind};
use slint::SharedString;

pub(super) fn fill(view: &mut View, sight: Sight<'_>) {
    view.screen = Screen::Shift;
    let shift = &sight.snapshot.shift;
    view.page_title = sight.label(match shift.begun {
        true => Id::ShiftTitleRuns,
        false => Id::ShiftTitle,
    });
    (view.page_sub, view.page_tone) = standing(sight);
    view.parts = parts(sight).into_iter().map(|it| it.choice).collect();
    view.sign = sign_tile(sight);
}

/// How the shift stands, in one line.
fn standing(sight: Sight<'_>) -> (SharedString, Tone) {
    let shift = &sight.snapshot.shift;
    let first_open = open(sight).into_iter().next();
    match (&shift.signed, first_open) {
        (Some(signed), _) if sight.snapshot.shift_holds => {
            let by = shift.name(&signed.by, &sight.snapshot.plan.plan);
            let until = until(sight, signed.until_ms);
            (sight.with(Id::ShiftSigned, [by, &until]), Tone::Plain)
        }
        _ if shift.begun => (sight.label(Id::ShiftLapsed), Tone::Caution),
        (_, Some(point)) => {
            let point = sight.say(&point);
            (sight.with(Id::ShiftNotSigned, [&*point]), Tone::Caution)
        }
        (_, None) => (sight.label(Id::ShiftToSign), Tone::Caution),
    }
}

fn until(sight: Sight<'_>, wall_ms: i64) -> String {
    wall_time(wall_ms, sight.now.offset_min)
}

/// The first open point of every part that is open.
pub(super) fn open(sight: Sight<'_>) -> Vec<Message> {
    let parts = Part::ALL.into_iter();
    parts.filter_map(|part| missing(sight, part)).collect()
}

fn missing(sight: Sight<'_>, part: Part) -> Option<Message> {
    let roll = sight.roll();
    let shift = &sight.snapshot.shift;
    shift.missing(part, roll.scope(sight), sight.now.day())
}

/// The parts of the check, each with the sheet behind it, and the people.
pub(super) fn parts(sight: Sight<'_>) -> Vec<Entry> {
    let parts = Part::ALL.into_iter().map(|part| {
        let (title, kind, icon) = face(part);
        let follows = matches!(part, Part::Crew | Part::Kit | Part::Ready);
        match missing(sight, part) {
            Some(point) => Entry::open(kind, sight.label(title), sight.say(&point)).icon(icon),
            // What these ask for follows from the places, so that without any they ask for nothing yet.
            None if follows && sight.snapshot.shift.in_use.is_empty() => {
                Entry::open(kind, sight.label(title), sight.label(Id::SheetFirst))
                    .icon(icon)
                    .tone(Tone::Quiet)
            }
            None if part == Part::Weather && sight.snapshot.shift.lightning == Some(true) => {
                Entry::open(kind, sight.label(title), done(sight, part)).icon(Icon::Lightning)
            }
            None => Entry::open(kind, sight.label(title), done(sight, part))
                .icon(Icon::Check)
                .tone(Tone::Good),
        }
    });
    let plan = &sight.snapshot.plan.plan;
    let counts = [
        sight.roll().present.len(),
        plan.responders.len(),
        sight.snapshot.shift.visitors.len(),
    ];
    let [here, all, visitors] = &counts.map(|it| it.to_string());
    let people = Entry::open(
        SheetKind::Shift,
        sight.label(Id::PartPeople),
        sight.with(Id::DonePeople, [here, all, visitors]),
    )
    .icon(Icon::People);
    parts.chain([people]).collect()
}

fn face(part: Part) -> (Id, SheetKind, Icon) {
    match part {
        Part::Places => (Id::PartPlaces, SheetKind::Places, Icon::Place),
        Part::Weather => (Id::PartWeather, SheetKind::Weather, Icon::Wind),
        Part::Crew => (Id::PartCrew, SheetKind::Crew, Icon::Rope),
        Part::Kit => (Id::PartKit, SheetKind::Kit, Icon::Ladder),
        Part::Radio => (Id::PartRadio, SheetKind::Radio, Icon::Radio),
        Part::Battery => (Id::PartBattery, SheetKind::Battery, Icon::Battery),
        Part::Briefing => (Id::PartBriefing, SheetKind::Briefing, Icon::Talking),
        Part::Ready => (Id::PartReady, SheetKind::Allow, Icon::Site),
    }
}

/// What a finished part says: the value itself, not that it was checked.
fn done(sight: Sight<'_>, part: Part) -> SharedString {
    let shift = &sight.snapshot.shift;
    let count = |id, count: usize| sight.with(id, [&count.to_string()]);
    match part {
        Part::Places => count(Id::DonePlaces, shift.in_use.len()),
        Part::Weather => weather(sight),
        Part::Crew => sight.label(Id::DoneCrew),
        Part::Kit => {
            let plan = &sight.snapshot.plan.plan;
            count(Id::DoneKit, shift.stations(plan).len())
        }
        Part::Radio => sight.label(Id::DoneRadio),
        Part::Battery => sight.label(Id::DoneBattery),
        Part::Briefing => count(Id::DoneBriefing, shift.heard.len()),
        Part::Ready => {
            let roll = sight.roll();
            let used = shift.in_use.iter();
            let allowed = used.filter(|it| roll.not_ready.contains(&it.position));
            match allowed.count() {
                0 => sight.label(Id::DoneReady),
                allowed => count(Id::DoneAllowed, allowed),
            }
        }
    }
}

fn weather(sight: Sight<'_>) -> SharedString {
    let shift = &sight.snapshot.shift;
    let said = |speed: Option<Speed>| speed.map_or_else(String::new, speed_of);
    let light = shift.light.map(|it| sight.label(light(it)));
    let lightning = sight.label(match shift.lightning {
        Some(true) => Id::LightningNear,
        Some(false) | None => Id::LightningNone,
    });
    let (wind, gust) = (said(shift.wind), said(shift.gust));
    let light = light.unwrap_or_default();
    sight.with(Id::DoneWeather, [&wind, &gust, &*light, &*lightning])
}

/// A wind that is not broken before its unit.
pub(super) fn speed_of(speed: Speed) -> String {
    wind(speed).replace(' ', "\u{a0}")
}

pub(super) fn light(light: Light) -> Id {
    match light {
        Light::Day => Id::LightDay,
        Light::Lit => Id::LightLit,
        Light::Dark => Id::LightDark,
    }
}

fn sign_tile(sight: Sight<'_>) -> Tile {
    let shift = &sight.snapshot.shift;
    let (title, sub, tone) = match (&shift.signed, open(sight).len()) {
        (Some(signed), _) if sight.snapshot.shift_holds => {
            let until = until(sight, signed.until_ms);
            let sub = sight.with(Id::SignUntil, [&until]);
            (Id::SignTileSigned, sub, Tone::Plain)
        }
        (_, 0) => (Id::SignTile, sight.label(Id::SignReady), Tone::Caution),
        (_, open) => {
            let sub = sight.with(Id::SignOpen, [&open.to_string()]);
            (Id::SignTile, sub, Tone::Quiet)
        }
    };
    tile(sight.label(title), sub, tone, Icon::Sign)
}

/// The tile that leads here: who is on shift, and whether the shift is signed.
pub(super) fn way_here(view: &mut View, sight: Sight<'_>) {
    let shift = &sight.snapshot.shift;
    let all = sight.snapshot.plan.plan.responders.len().to_string();
    let here = sight.roll().present.len().to_string();
    let (sub, tone) = match &shift.signed {
        Some(signed) if sight.snapshot.shift_holds => {
            let until = until(sight, signed.until_ms);
            (sight.with(Id::SignUntil, [&until]), Tone::Plain)
        }
        _ if shift.begun => (sight.label(Id::TileLapsed), Tone::Caution),
        _ => (sight.label(Id::TileNotSigned), Tone::Plain),
    };
    let title = sight.with(Id::StandbyOnShift, [&here, &all]);
    view.shift = tile(title, sub, tone, Icon::People);
}

/// What stands on every screen of a shift: the way to say that something changed, and the alarm.
pub(super) fn fill_all(view: &mut View, sight: Sight<'_>) {
    let shift = &sight.snapshot.shift;
    if shift.begun {
        let nothing = SharedString::default();
        view.change = tile(
            sight.label(Id::ChangeTile),
            nothing,
            Tone::Caution,
            Icon::Change,
        );
    }
    let Some(first) = shift.lost.first() else {
        return;
    };
    let plan = &sight.snapshot.plan.plan;
    let name = plan.position(first).map_or(first, |it| &it.name);
    let others = match shift.lost.len() {
        1 => SharedString::default(),
        all => sight.with(Id::HelpCount, ["1", &all.to_string()]),
    };
    view.lost = Lost {
        id: first.as_str().into(),
        title: sight.with(Id::RescueLost, [name]),
        others,
        answer: sight.label(Id::LostAnswer),
    };
}
