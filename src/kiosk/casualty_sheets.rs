//! Fills the sheets about the casualties: how they are, who they are, where, since when, what was noted.

use super::crew_sheets;
use super::entry::{Entry, Next};
use super::sight::Sight;
use super::ui::{Icon, SheetKind, Tone};
use crate::incident::{Act, Case, Condition, Note};
use crate::review;
use crate::signal::Tap;
use crate::units::Millis;
use crate::words::{Id, clock};
use slint::SharedString;

/// So many choices of a long list stand on a sheet at once, turned or not.
const FIRST_PAGE: usize = 7;
/// Minutes that are offered for the time of the fall.
const MINUTES_AGO: [i64; 8] = [1, 2, 3, 4, 5, 10, 15, 20];
/// Minutes that are offered as the least it can be.
const MINUTES_AT_LEAST: [i64; 3] = [5, 10, 20];
const NOTES: [(Note, Icon); 9] = [
    (Note::ReliefStraps, Icon::Rope),
    (Note::LegsRaised, Icon::LayFlat),
    (Note::Foothold, Icon::Ladder),
    (Note::Bleeding, Icon::Bleeding),
    (Note::HeadHurt, Icon::FirstAid),
    (Note::RadioLost, Icon::Radio),
    (Note::WayBlocked, Icon::Ways),
    (Note::Photograph, Icon::Look),
    (Note::Remember, Icon::Clock),
];

pub(super) fn condition(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let casualty = facts.casualty();
    let now = casualty.condition.map(|(condition, _)| condition);
    let pick = |condition, title, sub, icon| {
        Entry::act(Act::Report(condition), sight.label(title), sight.label(sub))
            .icon(icon)
            .chosen(now == Some(condition) && casualty.lapsed == 0)
    };
    let mut entries = vec![
        pick(
            Condition::Talking,
            Id::PickTalking,
            Id::PickTalkingSub,
            Icon::Talking,
        ),
        pick(
            Condition::Stuck,
            Id::PickStuck,
            Id::PickStuckSub,
            Icon::Stuck,
        )
        .tone(Tone::Caution),
        pick(
            Condition::Unwell,
            Id::PickUnwell,
            Id::PickUnwellSub,
            Icon::Unwell,
        )
        .tone(Tone::Caution),
        pick(
            Condition::NotAnswering,
            Id::PickNotAnswering,
            Id::PickNotAnsweringSub,
            Icon::Silent,
        )
        .tone(Tone::Bad),
    ];
    if casualty.off.is_none() {
        if casualty.contact.is_none() {
            entries.push(
                Entry::act(
                    Act::Contact,
                    sight.label(Id::ContactTile),
                    sight.label(Id::ContactTileSub),
                )
                .icon(Icon::Check),
            );
        }
        entries.push(if casualty.in_danger {
            Entry::act(
                Act::InDanger(false),
                sight.label(Id::InDangerOver),
                SharedString::default(),
            )
            .chosen(true)
        } else {
            Entry::act(
                Act::InDanger(true),
                sight.label(Id::InDanger),
                sight.label(Id::InDangerSub),
            )
            .icon(Icon::Danger)
            .tone(Tone::Bad)
        });
    }
    entries.push(match casualty.off {
        Some(_) => crew_sheets::hand_card(sight),
        None => {
            let title = sight.label(Id::SheetTalk);
            Entry::open(SheetKind::Talker, title, sight.label(Id::HandTileSub)).icon(Icon::Talking)
        }
    });
    entries.push(if facts.casualties.len() > 1 {
        Entry::open(
            SheetKind::Casualties,
            sight.with(Id::Casualties, [&facts.casualties.len().to_string()]),
            sight.label(Id::SheetCasualties),
        )
        .icon(Icon::Casualty)
    } else {
        one_more(sight)
    });
    entries.push(who(sight));
    entries
}

/// From what was asked to where the answer goes.
pub(super) fn report(sight: Sight<'_>) -> Vec<Entry> {
    let title = sight.label(Id::TalkReport);
    let report = Entry::open(SheetKind::Condition, title, sight.label(Id::TalkReportSub));
    vec![report.icon(Icon::Talking).tone(Tone::Good)]
}

fn one_more(sight: Sight<'_>) -> Entry {
    Entry::act(
        Act::AddCasualty,
        sight.label(Id::OneMore),
        sight.label(Id::OneMoreSub),
    )
    .icon(Icon::Casualty)
}

fn who(sight: Sight<'_>) -> Entry {
    Entry::open(
        SheetKind::Naming,
        sight.label(Id::WhoHangs),
        sight.label(Id::WhoHangsSub),
    )
    .icon(Icon::Person)
}

/// What a casualty is called on the screen.
pub(super) fn name(sight: Sight<'_>, case: Case<'_>) -> SharedString {
    let number = sight.with(Id::CasualtyNumber, [&case.number.to_string()]);
    match &case.casualty.who {
        Some(id) => sight.with(Id::CasualtyNamed, [&number, sight.facts().name(id)]),
        None => number,
    }
}

pub(super) fn casualties(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let at = sight.at();
    let focus = facts.case().number;
    let mut entries: Vec<Entry> = facts
        .cases()
        .map(|case| {
            let time = clock(case.hanging(at));
            let sub = match case.casualty.off {
                Some(_) => sight.with(Id::CasualtyOff, [&time]),
                None if case.number == focus => {
                    let hangs = sight.with(Id::CasualtyWaits, [&time]);
                    sight.with(Id::CasualtyNow, [&hangs])
                }
                None => sight.with(Id::CasualtyWaits, [&time]),
            };
            let tone = match case.planned_as() {
                Some(Condition::NotAnswering) if case.casualty.off.is_none() => Tone::Bad,
                _ => Tone::Plain,
            };
            Entry::act(Act::WorkOn(case.number), name(sight, case), sub)
                .icon(Icon::Casualty)
                .tone(tone)
                .chosen(case.number == focus)
        })
        .collect();
    entries.push(one_more(sight));
    entries.push(who(sight));
    entries
}

pub(super) fn naming(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let Some(opened) = &facts.opened else {
        return Vec::new();
    };
    let workers = facts.position().map_or(&[][..], |p| &p.workers);
    let taken = |id: &String| {
        let mut others = facts.cases().filter(|it| it.number != facts.case().number);
        others.any(|it| it.casualty.who.as_ref() == Some(id))
    };
    let mut people: Vec<_> = opened
        .plan
        .responders
        .iter()
        .filter(|it| !taken(&it.id))
        .collect();
    people.sort_by_key(|it| {
        (
            !workers.contains(&it.id),
            !opened.roll_call.contains(&it.id),
        )
    });
    let named = facts.casualty().who.as_deref();
    let mut entries: Vec<Entry> = people
        .into_iter()
        .map(|person| {
            Entry::act(
                Act::NameCasualty(Some(person.id.clone())),
                person.name.as_str().into(),
                SharedString::default(),
            )
            .icon(Icon::Person)
            .chosen(named == Some(person.id.as_str()))
        })
        .collect();
    // Second in the list: a visitor or a contractor is as likely as anybody further down.
    let other = Entry::act(
        Act::NameCasualty(None),
        sight.label(Id::NotOfPlan),
        SharedString::default(),
    )
    .icon(Icon::Person);
    entries.insert(workers.len().min(entries.len()), other);
    entries
}

pub(super) fn fall_time(sight: Sight<'_>) -> Vec<Entry> {
    let set = |minutes: i64, at_least, id| {
        let ago = Millis::from_seconds(minutes * 60);
        let title = sight.with(id, [&minutes.to_string()]);
        Entry::act(
            Act::SetFall { ago, at_least },
            title,
            SharedString::default(),
        )
        .icon(Icon::Clock)
    };
    let unknown = Act::SetFall {
        ago: Millis::ZERO,
        at_least: true,
    };
    let unknown = Entry::act(
        unknown,
        sight.label(Id::FallUnknown),
        sight.label(Id::FallUnknownSub),
    )
    .icon(Icon::Clock);
    let ago = MINUTES_AGO.iter().map(|it| set(*it, false, Id::FallAgo));
    let at_least = MINUTES_AT_LEAST
        .iter()
        .map(|it| set(*it, true, Id::FallAtLeastAgo));
    [unknown].into_iter().chain(ago).chain(at_least).collect()
}

pub(super) fn places(sight: Sight<'_>) -> Vec<Entry> {
    let positions = sight
        .facts()
        .opened
        .as_ref()
        .map_or(&[][..], |o| &o.plan.positions);
    let mut entries: Vec<_> = positions
        .iter()
        .map(|p| {
            Entry::act(
                Act::ChoosePosition(Some(p.id.clone())),
                p.name.as_str().into(),
                SharedString::default(),
            )
        })
        .collect();
    let other = Entry::act(
        Act::ChoosePosition(None),
        sight.label(Id::NotListed),
        sight.label(Id::NotListedSub),
    );
    // On the first page, as in the prompt.
    entries.insert(entries.len().min(FIRST_PAGE - 1), other);
    entries
}

pub(super) fn notes(sight: Sight<'_>) -> Vec<Entry> {
    let made = |note: Note| {
        let number = sight.facts().case().number;
        sight
            .facts()
            .notes
            .iter()
            .any(|(it, of, _)| *it == note && *of == number)
    };
    NOTES
        .iter()
        .map(|(note, icon)| {
            let title = sight.label(review::note(*note));
            let next = Next::Send(Tap::Do(Act::Note(*note)));
            Entry::new(next, title, SharedString::default())
                .icon(*icon)
                .chosen(made(*note))
        })
        .collect()
}
