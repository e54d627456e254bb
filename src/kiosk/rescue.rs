//! Fills the rescue screen: how long, where, the one prompt and what stands under it, the tiles.

use super::crew_sheets::{task_in_short, to_go};
use super::people::{Stands, note, stands};
use super::sight::{Sight, capital, digits, tile};
use super::ui::{Choice, Icon, Kit, Mark, Person, Place, Prompt, Screen, Tone};
use super::view::View;
use super::{drop_line, pictures, radio_words, ui};
use crate::incident::{self, Act, Aftercare, Condition, Whereabouts, past_target, prompt};
use crate::readiness::NEVER;
use crate::units::Millis;
use crate::words::{Id, clock, metres, seconds, wall_time};
use slint::SharedString;

/// At most this many people are named on the screen.
const PEOPLE_MAX: usize = 3;
/// At most this many lines stand under a prompt.
const LINES_MAX: usize = 4;
/// At most this many lines are read at once.
const READ_MAX: usize = 8;
/// The head hash is written in groups of this many digits.
const HASH_GROUP: usize = 4;

pub(super) fn fill(view: &mut View, sight: Sight<'_>) {
    let (facts, at) = (sight.facts(), sight.at());
    view.screen = Screen::Rescue;
    view.clock = digits(&clock(facts.hanging(at)));
    view.clock_caption = match past_target(facts, at) {
        _ if facts.at_least() => sight.label(Id::HangingAtLeast),
        Some(past) => sight.say(&past),
        None => sight.label(Id::HangingSince),
    };
    until(view, sight);
    place(view, sight);
    shared(view, sight);
}

/// What Rescue and Aftercare have in common.
pub(super) fn shared(view: &mut View, sight: Sight<'_>) {
    let facts = sight.facts();
    view.danger = facts.danger.is_some();
    drop_line::fill(view, sight);
    ask(view, sight);
    kit(view, sight);
    people(view, sight);
    if let Some(undo) = facts.undo_shown(sight.at()) {
        let gone = sight.at().0.saturating_sub(undo.at.0);
        let left = Millis(incident::UNDO_SHOWN.0.saturating_sub(gone));
        view.undo = sight.label(Id::Undo);
        view.undo_sub = seconds(left).replace(' ', "\u{a0}").into();
    }
    if facts.stood_down.is_some() {
        // Nothing more can be said of this incident: the tiles go, the seal of its record is shown.
        view.hash = hash(sight.snapshot.head.as_deref().unwrap_or_default());
        return;
    }
    view.condition = condition(sight);
    view.call = call(sight);
    // The stop word stands there as long as it can be given.
    let danger = match (facts.is_drill(), view.danger) {
        (true, _) => Id::HoldReal,
        (false, true) => Id::TileDangerOn,
        (false, false) => Id::TileDangerSub,
    };
    view.alarm = tile(
        sight.label(Id::TileDanger),
        sight.label(danger),
        Tone::Bad,
        Icon::Danger,
    );
    let surprise = facts.surprise_now().is_some();
    view.ways = tile(
        sight.label(Id::TileOther),
        sight.label(match surprise {
            true => Id::TileSurprise,
            false => Id::TileOtherSub,
        }),
        if surprise { Tone::Caution } else { Tone::Quiet },
        Icon::Ways,
    );
    view.lead = lead(sight);
    let sent = facts.orders.len();
    let sent = match sent {
        0 => sight.label(Id::PeopleNone),
        count => sight.with(Id::PeopleSent, [&count.to_string()]),
    };
    view.crew = tile(sight.label(Id::CrewTile), sent, Tone::Quiet, Icon::People);
    radio_words::fill(view, sight);
}

/// Held, this takes command; it always says who has it.
fn lead(sight: Sight<'_>) -> ui::Tile {
    let facts = sight.facts();
    let now = match &facts.command.by {
        Some(id) => sight.with(Id::LeadNow, [facts.name(id)]),
        None => sight.label(Id::LeadNobody),
    };
    tile(sight.label(Id::LeadTile), now, Tone::Plain, Icon::Lead)
}

fn until(view: &mut View, sight: Sight<'_>) {
    let (facts, at) = (sight.facts(), sight.at());
    let Some(running) = facts.running() else {
        return;
    };
    let asks = facts.danger.is_none() && facts.outside.leads.is_none();
    let stays = running.change_by >= NEVER;
    if facts.committed() || !asks || stays || facts.case().next_method().is_none() {
        return;
    }
    let left = Millis(
        running
            .change_by
            .0
            .saturating_sub(at.0)
            .saturating_add(999)
            .max(0),
    );
    let by = clock(Millis(
        running.change_by.0.saturating_sub(facts.casualty().fell.0),
    ));
    let planned = facts
        .forecast_of(&running.method)
        .is_none_or(|f| f.source == "plan");
    view.until = digits(&clock(left));
    view.until_caption = sight.with(
        if planned {
            Id::UntilChangePlan
        } else {
            Id::UntilChange
        },
        [&by],
    );
}

pub(super) fn place(view: &mut View, sight: Sight<'_>) {
    let facts = sight.facts();
    view.place = match (&facts.casualty().place, facts.position()) {
        (Whereabouts::Unknown, _) => Place::default(),
        (_, Some(position)) => {
            let feet = position
                .feet_above_ground
                .as_ref()
                .map(|h| metres(h.value).replace(' ', "\u{a0}"));
            Place {
                known: true,
                name: position.name.as_str().into(),
                detail: feet
                    .map(|height| sight.with(Id::FeetUp, [&height]))
                    .unwrap_or_default(),
                below: position.below.as_deref().unwrap_or_default().into(),
            }
        }
        (_, None) => Place {
            known: true,
            name: sight.label(Id::PlaceNotListed),
            detail: sight.label(Id::NoPlanPlace),
            below: SharedString::default(),
        },
    };
}

fn ask(view: &mut View, sight: Sight<'_>) {
    let facts = sight.facts();
    // The prompt of the time last written down is the one that the engine takes answers to.
    let Some(prompt) = prompt(facts, facts.line.reached_at()) else {
        return;
    };
    let text = |choice: &Option<incident::Choice>| {
        choice
            .as_ref()
            .map(|c| sight.say(&c.label))
            .unwrap_or_default()
    };
    let sub = |choice: &Option<incident::Choice>| {
        choice
            .as_ref()
            .and_then(|c| c.sub.as_ref())
            .map(|m| sight.say(m))
            .unwrap_or_default()
    };
    let held = |choice: &Option<incident::Choice>| choice.as_ref().is_some_and(|c| c.held);
    view.prompt = Prompt {
        id: facts
            .shown
            .as_ref()
            .and_then(|s| i32::try_from(s.number).ok())
            .unwrap_or(-1),
        headline: sight.say(&prompt.message),
        caution: prompt
            .caution
            .as_ref()
            .map(|m| sight.say(m))
            .unwrap_or_default(),
        answer: text(&prompt.main),
        answer_sub: sub(&prompt.main),
        answer_held: held(&prompt.main),
        second: text(&prompt.small),
        apart: text(&prompt.other),
        apart_sub: sub(&prompt.other),
        apart_held: held(&prompt.other),
        icon: pictures::of_prompt(&prompt, facts),
        kicker: kicker(sight),
        reading: prompt.reading,
    };
    let most = if prompt.reading { READ_MAX } else { LINES_MAX };
    view.details = prompt
        .lines
        .iter()
        .take(most)
        .map(|m| sight.say(m))
        .collect();
    view.options = prompt
        .options
        .iter()
        .enumerate()
        .map(|(index, option)| Choice {
            id: index.to_string().into(),
            title: sight.say(&option.label),
            sub: option
                .sub
                .as_ref()
                .map(|m| sight.say(m))
                .unwrap_or_default(),
            tone: pictures::tone_of(&option.act),
            held: option.held,
            enabled: true,
            chosen: false,
            icon: pictures::of_act(&option.act),
        })
        .collect();
}

/// Which casualty the prompt is about, where there are several.
fn kicker(sight: Sight<'_>) -> SharedString {
    let facts = sight.facts();
    // These are about everybody.
    let shared =
        facts.danger.is_some() || facts.closing.is_some() || facts.command.handing.is_some();
    match facts.casualties.len() {
        0 | 1 => SharedString::default(),
        _ if shared => SharedString::default(),
        all => {
            let number = facts.case().number.to_string();
            sight.with(Id::CasualtyOf, [&number, &all.to_string()])
        }
    }
}

/// What the step that is on the screen needs to be fetched.
fn kit(view: &mut View, sight: Sight<'_>) {
    let facts = sight.facts();
    let asks_for_step = prompt(facts, facts.line.reached_at())
        .and_then(|p| p.main)
        .is_some_and(|c| c.act == incident::Act::StepDone);
    let Some((running, method, step)) = facts.step().filter(|_| asks_for_step) else {
        return;
    };
    let fallback = running.fallback.and_then(|f| step.fallback.get(f));
    let role = fallback
        .and_then(|f| f.role.as_ref())
        .or(step.role.as_ref());
    let Some(posting) = role.and_then(|role| facts.posting(&method.id, role)) else {
        return;
    };
    let (Some(kit), Some(opened)) = (&posting.kit, &facts.opened) else {
        return;
    };
    let asked = prompt(facts, facts.line.reached_at()).and_then(|p| p.main);
    if asked.is_none_or(|main| main.act != Act::StepDone) {
        return;
    }
    let station = posting
        .station
        .as_ref()
        .and_then(|id| opened.plan.station(id));
    let to = opened
        .plan
        .place(&posting.place)
        .map(|p| sight.with(Id::KitTo, [&p.name]))
        .unwrap_or_default();
    let from = station
        .and_then(|s| opened.plan.place(&s.place))
        .map(|p| sight.with(Id::FromStation, [&p.name]));
    view.kit = Kit {
        name: capital(kit),
        station: station.map(|s| short(&s.name)).unwrap_or_default(),
        way: match from {
            Some(from) => format!("{from} {to}").into(),
            None => to,
        },
        seconds: seconds(Millis(posting.travel_ms))
            .replace(' ', "\u{a0}")
            .into(),
    };
}

/// What tells one station from another: its last word where that is a letter or a number, else the whole name.
pub(super) fn short(station: &str) -> SharedString {
    match station.split_whitespace().last() {
        Some(last) if last.chars().count() <= 3 => last.to_uppercase().into(),
        _ => capital(station),
    }
}

fn people(view: &mut View, sight: Sight<'_>) {
    let facts = sight.facts();
    view.people_count = match facts.orders.len() {
        0 => sight.label(Id::PeopleNone),
        count => sight.with(Id::PeopleSent, [&count.to_string()]),
    };
    // What is to be read out needs the room more than who is on the way.
    if !view.details.is_empty() {
        return;
    }
    let Some(opened) = &facts.opened else {
        return;
    };
    let mut people: Vec<(Stands, &String)> = opened
        .roll_call
        .iter()
        .map(|id| (stands(sight, id), id))
        .filter(|(stands, _)| *stands < Stands::Idle)
        .collect();
    people.sort();
    let shown = people.into_iter().take(PEOPLE_MAX).map(|(_, id)| {
        let (said, mark, tone) = note(sight, id);
        // The row is short: what it is about only where all is well.
        let going = facts.order_of(id).filter(|_| mark == Mark::Going);
        let note = match going.and_then(|it| Some((it, to_go(sight, it)?))) {
            Some((order, left)) => {
                let left = seconds(left).replace(' ', "\u{a0}");
                format!("{left}, {}", task_in_short(sight, order)).into()
            }
            None => said,
        };
        Person {
            name: facts.name(id).into(),
            note,
            mark,
            tone,
        }
    });
    view.people = shown.collect();
}

fn condition(sight: Sight<'_>) -> ui::Tile {
    let facts = sight.facts();
    let all = facts.casualties.len();
    let mut shown = how(sight);
    if all > 1 {
        shown.badge = format!("{}/{all}", facts.case().number).into();
    }
    shown
}

fn how(sight: Sight<'_>) -> ui::Tile {
    let (facts, at) = (sight.facts(), sight.at());
    let casualty = facts.casualty();
    let Some((condition, reported)) = casualty.condition else {
        return tile(
            sight.label(Id::TileNotChecked),
            sight.label(Id::TileNotCheckedSub),
            Tone::Caution,
            Icon::Unchecked,
        );
    };
    // After the release, looking at the casualty counts as asking.
    let looked = casualty.aftercare.iter().rev().find(|(item, well, _)| {
        *well
            && matches!(
                item,
                Aftercare::Breathing | Aftercare::Watch | Aftercare::LookAgain
            )
    });
    let last = looked.map_or(reported, |(.., at)| reported.max(*at));
    let asked = sight.with(Id::TileAsked, [&crate::words::ago(last, at)]);
    let since = || {
        sight.with(
            Id::TileSince,
            [&clock(Millis(reported.0.saturating_sub(casualty.fell.0)))],
        )
    };
    let tile_of = |id, sub, tone, icon| tile(sight.label(id), sub, tone, icon);
    match condition {
        Condition::NotAnswering => tile_of(Id::TileNotAnswering, since(), Tone::Bad, Icon::Silent),
        _ if casualty.lapsed > 0 => {
            tile_of(Id::TileNotChecked, asked, Tone::Caution, Icon::Unchecked)
        }
        Condition::Unwell => tile_of(Id::TileUnwell, asked, Tone::Caution, Icon::Unwell),
        Condition::Stuck => tile_of(Id::TileStuck, asked, Tone::Caution, Icon::Stuck),
        Condition::Talking => tile_of(Id::TileTalking, asked, Tone::Plain, Icon::Talking),
    }
}

fn call(sight: Sight<'_>) -> ui::Tile {
    let (facts, at) = (sight.facts(), sight.at());
    let caller = facts.call.ordered.last();
    let name = caller
        .and_then(|(id, _)| id.as_deref())
        .map(|id| facts.name(id));
    if let Some(made) = facts.call.confirmed {
        let offset = facts.opened.as_ref().map_or(0, |o| o.started.offset_min);
        let time = wall_time(sight.wall_ms(made), offset);
        let somebody = sight.label(Id::Somebody);
        let sub = match facts.outside.expected {
            Some(due) => sight.with(Id::HelpDue, [&wall_time(sight.wall_ms(due), offset)]),
            None => sight.with(Id::TileCallMadeSub, [name.unwrap_or(&somebody), &time]),
        };
        return tile(sight.label(Id::TileCallMade), sub, Tone::Good, Icon::Call);
    }
    let sub = match name {
        Some(name) => sight.with(Id::TileCallSub, [name]),
        None => sight.label(Id::TileCallSubAlone),
    };
    let late = facts.call.ordered.len() > 1
        || caller.is_some_and(|(_, t)| at.0.saturating_sub(t.0) > facts.policy().call_confirm.0);
    if late {
        return tile(sight.label(Id::TileCallLate), sub, Tone::Bad, Icon::Call);
    }
    let number = facts
        .opened
        .as_ref()
        .map_or("", |o| o.plan.site.emergency_number.as_str());
    tile(
        sight.with(Id::TileCall, [number]),
        sub,
        Tone::Caution,
        Icon::Call,
    )
}

fn hash(head: &str) -> Vec<SharedString> {
    let digits: Vec<char> = head.chars().collect();
    digits
        .chunks(HASH_GROUP)
        .map(|group| group.iter().collect::<String>().into())
        .collect()
}
