//! Fills the page on which a drill is prepared, its sheets, and what a drill adds to the sheets of an incident.
//!
//! A manikin hangs unless somebody says otherwise. Each part says what is open in it, and the drill begins by a held touch
//! once nothing is.

use super::drill_scenario;
use super::entry::{Entry, Next};
use super::sight::{Sight, tile};
use super::ui::{Icon, Screen, SheetKind, Tone};
use super::view::View;
use crate::drill::Undrilled;
use crate::incident::{Act, Exercise, Guards, Hanging, LIVE_HANG_MAX, OtherWork};
use crate::signal::{Prepare, Tap};
use crate::units::Millis;
use crate::words::{Id, clock};
use slint::SharedString;

fn exercise(sight: Sight<'_>) -> &Exercise {
    &sight.snapshot.prepared.exercise
}

fn live(sight: Sight<'_>) -> Option<&Guards> {
    match &exercise(sight).hanging {
        Hanging::Live(guards) => Some(guards),
        Hanging::Manikin => None,
    }
}

pub(super) fn fill(view: &mut View, sight: Sight<'_>) {
    view.screen = Screen::Drill;
    view.page_title = sight.label(Id::DrillTitle);
    let in_command = sight.snapshot.settings.in_command.as_deref();
    let open = exercise(sight).refused(in_command);
    (view.page_sub, view.page_tone) = match open.first() {
        Some(first) => (sight.say(first), Tone::Caution),
        None => (sight.label(Id::DrillStopWord), Tone::Plain),
    };
    view.parts = parts(sight).into_iter().map(|it| it.choice).collect();
    let sub = match open.len() {
        0 => sight.label(Id::DrillBeginSub),
        open => sight.with(Id::SignOpen, [&open.to_string()]),
    };
    let tone = match open.is_empty() {
        true => Tone::Caution,
        false => Tone::Quiet,
    };
    view.sign = tile(sight.label(Id::DrillBegin), sub, tone, Icon::None);
}

/// What is to be said before a drill begins.
pub(super) fn parts(sight: Sight<'_>) -> Vec<Entry> {
    let plan = &sight.snapshot.plan.plan;
    let prepared = &sight.snapshot.prepared;
    let who = match live(sight) {
        None => done(
            SheetKind::DrillWho,
            sight.label(Id::DrillWho),
            sight.label(Id::DrillManikin),
        ),
        Some(_) => done(
            SheetKind::DrillWho,
            sight.label(Id::DrillWho),
            sight.label(Id::DrillLive),
        ),
    };
    let mut parts = vec![who.icon(Icon::People)];
    if let Some(guards) = live(sight) {
        let in_command = sight.snapshot.settings.in_command.as_deref();
        let missing = guards.missing(in_command);
        let limit = clock(guards.limit);
        parts.push(match missing.first() {
            Some(first) => Entry::open(
                SheetKind::DrillGuards,
                sight.label(Id::DrillGuards),
                sight.label(*first),
            )
            .tone(Tone::Caution),
            None => done(
                SheetKind::DrillGuards,
                sight.label(Id::DrillGuards),
                sight.with(Id::DrillGuarded, [&limit]),
            )
            .icon(Icon::Check),
        });
    }
    let others = sight.label(Id::DrillOthersTile);
    parts.push(match exercise(sight).others {
        None => Entry::open(
            SheetKind::DrillOthers,
            others,
            sight.label(Id::DrillOthersAsk),
        )
        .tone(Tone::Caution),
        Some(work) => done(
            SheetKind::DrillOthers,
            others,
            sight.label(other_work(work)),
        )
        .icon(Icon::Check),
    });
    let place = prepared.position.as_ref();
    let place = place.and_then(|id| plan.position(id));
    let place = place.map_or_else(
        || sight.label(Id::DrillPlaceOpen),
        |it| it.name.as_str().into(),
    );
    parts.push(done(SheetKind::DrillPlace, sight.label(Id::DrillPlace), place).icon(Icon::Place));
    let scenario = match exercise(sight) {
        it if it.scenario.is_empty() => sight.label(Id::DrillNoScenario),
        it => {
            let surprises = it.surprises.len().to_string();
            sight.with(Id::DrillScenarioIs, [it.scenario.as_str(), &surprises])
        }
    };
    parts.push(
        done(
            SheetKind::DrillScenario,
            sight.label(Id::DrillScenario),
            scenario,
        )
        .icon(Icon::Note),
    );
    parts.extend(drill_scenario::parts(sight));
    parts.push(
        done(
            SheetKind::DrillDue,
            sight.label(Id::DrillDueTile),
            due_line(sight),
        )
        .icon(Icon::Clock),
    );
    parts.push(
        Entry::new(
            Next::Learned,
            sight.label(Id::DrillLearned),
            sight.label(Id::DrillLearnedSub),
        )
        .icon(Icon::Log),
    );
    parts
}

/// How much is due for a drill.
pub(super) fn due_line(sight: Sight<'_>) -> SharedString {
    let due = &sight.snapshot.drills_due;
    let places = due
        .iter()
        .filter(|it| matches!(it.what, Undrilled::Position(_)))
        .count();
    let people = due.len().saturating_sub(places);
    match due.is_empty() {
        true => sight.label(Id::DrillDueNone),
        false => {
            let counts = [&*places.to_string(), &*people.to_string()];
            sight.with(Id::DrillsDueMany, counts)
        }
    }
}

/// What is due, the longest first; a place can be taken for this drill.
pub(super) fn due(sight: Sight<'_>) -> Vec<Entry> {
    let plan = &sight.snapshot.plan.plan;
    let named = sight.snapshot.drills_due.iter().map(|it| {
        let (name, place) = match &it.what {
            Undrilled::Position(id) => {
                let name = plan.position(id).map_or(id.clone(), |it| it.name.clone());
                (name, Some(id.clone()))
            }
            Undrilled::Qualified {
                responder,
                qualification,
            } => {
                let name = plan.responder(responder).map_or(responder, |it| &it.name);
                (
                    sight
                        .with(Id::DrillDueWhose, [name, qualification])
                        .to_string(),
                    None,
                )
            }
        };
        let sub = match it.days {
            Some(days) => sight.with(Id::DrillDueDays, [&days.to_string()]),
            None => sight.label(Id::DrillDueNever),
        };
        let is_place = place.is_some();
        let entry = say(Prepare::Place(place), name.as_str().into(), sub);
        match is_place {
            true => entry.icon(Icon::Place),
            false => entry.icon(Icon::Person).enabled(false),
        }
    });
    named.collect()
}

fn done(kind: SheetKind, title: SharedString, sub: SharedString) -> Entry {
    Entry::open(kind, title, sub)
}

fn other_work(work: OtherWork) -> Id {
    match work {
        OtherWork::Covered => Id::DrillOthersCovered,
        OtherWork::Stopped => Id::DrillOthersStopped,
    }
}

/// Something said about the next drill; the page comes up again.
fn say(what: Prepare, title: SharedString, sub: SharedString) -> Entry {
    Entry::new(Next::Send(Tap::Prepare(what)), title, sub)
}

pub(super) fn who(sight: Sight<'_>) -> Vec<Entry> {
    let nothing = SharedString::default;
    let live = live(sight).is_some();
    vec![
        say(Prepare::Manikin, sight.label(Id::DrillManikin), nothing()).chosen(!live),
        Entry::new(
            Next::To(
                Tap::Prepare(Prepare::Live),
                SheetKind::DrillGuards,
                Vec::new(),
            ),
            sight.label(Id::DrillLive),
            sight.label(Id::DrillLiveSub),
        )
        .chosen(live),
    ]
}

/// What guards a living person, each part a touch.
pub(super) fn guards(sight: Sight<'_>) -> Vec<Entry> {
    let Some(guards) = live(sight) else {
        return Vec::new();
    };
    let check = |what, id: Id, holds: bool| {
        Entry::new(
            Next::Stay(Tap::Prepare(what)),
            sight.label(id),
            SharedString::default(),
        )
        .chosen(holds)
    };
    let plan = &sight.snapshot.plan.plan;
    let watcher = guards.watcher.as_ref();
    let watcher = watcher.and_then(|id| plan.responder(id));
    let watcher = watcher.map_or_else(
        || sight.label(Id::StandbyNobody),
        |it| it.name.as_str().into(),
    );
    vec![
        check(
            Prepare::SecondLine(!guards.second_line),
            Id::LiveSecondLine,
            guards.second_line,
        ),
        check(
            Prepare::CanStand(!guards.can_stand),
            Id::LiveCanStand,
            guards.can_stand,
        ),
        Entry::open(
            SheetKind::DrillWatcher,
            sight.label(Id::LiveWatcher),
            watcher,
        )
        .chosen(guards.watcher.is_some()),
        Entry::open(
            SheetKind::DrillLimit,
            sight.label(Id::DrillLimit),
            clock(guards.limit).into(),
        )
        .chosen(true),
    ]
}

/// Everybody on shift but whoever is in command.
pub(super) fn watchers(sight: Sight<'_>) -> Vec<Entry> {
    let snapshot = sight.snapshot;
    let command = &snapshot.settings.in_command;
    let here = snapshot.plan.plan.responders.iter().filter(|it| {
        !snapshot.roll_call.absent.contains(&it.id) && Some(&it.id) != command.as_ref()
    });
    let watches = live(sight).and_then(|it| it.watcher.as_ref());
    here.map(|it| {
        Entry::new(
            Next::Up(Tap::Prepare(Prepare::Watcher(it.id.clone()))),
            it.name.as_str().into(),
            SharedString::default(),
        )
        .chosen(watches == Some(&it.id))
    })
    .collect()
}

/// How long a living person hangs at most.
pub(super) fn limits(sight: Sight<'_>) -> Vec<Entry> {
    const STEP: i64 = 60_000;
    let limit = live(sight).map(|it| it.limit);
    let steps = (1..=LIVE_HANG_MAX.0 / STEP).map(|it| Millis(it * STEP));
    steps
        .map(|it| {
            Entry::new(
                Next::Up(Tap::Prepare(Prepare::Limit(it))),
                clock(it).into(),
                SharedString::default(),
            )
            .chosen(limit == Some(it))
        })
        .collect()
}

pub(super) fn others(sight: Sight<'_>) -> Vec<Entry> {
    let chosen = exercise(sight).others;
    [OtherWork::Covered, OtherWork::Stopped]
        .into_iter()
        .map(|it| {
            say(
                Prepare::Others(it),
                sight.label(other_work(it)),
                SharedString::default(),
            )
            .chosen(chosen == Some(it))
        })
        .collect()
}

pub(super) fn places(sight: Sight<'_>) -> Vec<Entry> {
    let chosen = sight.snapshot.prepared.position.as_ref();
    let open = say(
        Prepare::Place(None),
        sight.label(Id::DrillPlaceOpen),
        SharedString::default(),
    );
    let positions = sight.snapshot.plan.plan.positions.iter().map(|it| {
        say(
            Prepare::Place(Some(it.id.clone())),
            it.name.as_str().into(),
            SharedString::default(),
        )
        .chosen(chosen == Some(&it.id))
    });
    [open.chosen(chosen.is_none())]
        .into_iter()
        .chain(positions)
        .collect()
}

/// What a drill adds to the other ways of an incident: the surprise that is to be given, and the stop word.
pub(super) fn ways(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let mut entries = Vec::new();
    if !facts.is_drill() {
        return entries;
    }
    if let (Some((index, surprise)), Some(opened)) = (facts.surprise_now(), &facts.opened) {
        let said = surprise.inject.said(&opened.plan);
        entries.push(
            Entry::act(
                Act::GiveSurprise(index),
                sight.label(Id::SurpriseGiven),
                sight.say(&said),
            )
            .icon(Icon::Check),
        );
        entries.push(Entry::act(
            Act::LeaveSurprise(index),
            sight.label(Id::SurpriseLeave),
            sight.say(&said),
        ));
    }
    if facts.guards().is_some() && facts.played.stands.is_none() {
        entries.push(Entry::act(
            Act::Stands,
            sight.label(Id::TheyStand),
            sight.label(Id::TheyStandSub),
        ));
    }
    entries.push(
        Entry::act(
            Act::Real,
            sight.label(Id::RealWord),
            sight.label(Id::RealWordSub),
        )
        .icon(Icon::Danger)
        .held(),
    );
    entries
}
