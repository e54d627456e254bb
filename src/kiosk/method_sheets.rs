//! Fills the sheets about the methods: another way, what must stop, the wind, and what else somebody may want to say.

use super::crew_sheets::hand_card;
use super::entry::{Entry, Next};
use super::sight::{Sight, capital};
use super::ui::{Icon, SheetKind, Tone};
use crate::incident::{Act, Condition, Stop, Verdict};
use crate::plan::{Method, Rung};
use crate::units::Speed;
use crate::words::{Id, wind};
use slint::SharedString;

/// Winds that are offered, in metres a second, as a hand-held meter reads them.
const WINDS: [i64; 8] = [4, 6, 8, 10, 12, 14, 16, 20];

fn rung(method: &Method) -> Id {
    match method.rung {
        Rung::SelfRescue => Id::RungSelf,
        Rung::AssistedSelfRescue => Id::RungAssisted,
        Rung::MechanicallyAided => Id::RungMechanical,
        Rung::PickOff => Id::RungPickOff,
    }
}

fn icon(method: &Method) -> Icon {
    match method.rung {
        Rung::SelfRescue => Icon::Person,
        Rung::AssistedSelfRescue => Icon::Ladder,
        Rung::MechanicallyAided => Icon::Lift,
        Rung::PickOff => Icon::Rope,
    }
}

pub(super) fn ways(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let off = facts.casualty().off.is_some();
    let mut entries = super::drill::ways(sight);
    if off {
        entries.push(hand_card(sight));
        entries.push(
            Entry::act(
                Act::StillHanging,
                sight.label(Id::StillHanging),
                sight.label(Id::StillHangingSub),
            )
            .icon(Icon::Undo)
            .held(),
        );
        if facts.casualty().refused.is_none() {
            entries.push(
                Entry::act(
                    Act::RefuseCare,
                    sight.label(Id::RefuseTile),
                    sight.label(Id::RefuseTileSub),
                )
                .icon(Icon::FirstAid),
            );
        }
    } else {
        entries.extend(methods(sight));
        entries.push(
            Entry::act(
                Act::OffHarness,
                sight.label(Id::OffHarness),
                sight.label(Id::OffHarnessSub),
            )
            .icon(Icon::LayFlat)
            .tone(Tone::Good)
            .held(),
        );
    }
    entries.push(
        Entry::open(
            SheetKind::More,
            sight.label(Id::MoreTile),
            sight.label(Id::MoreTileSub),
        )
        .icon(Icon::Note),
    );
    entries.push(
        Entry::act(
            Act::BeginClosing,
            sight.label(Id::EndTile),
            sight.label(Id::EndTileSub),
        )
        .icon(Icon::Check),
    );
    entries
}

/// Every method but the running one: open ones to go straight to, those that are out with their reason.
fn methods(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let case = facts.case();
    let running = facts.running().map(|r| r.method.as_str());
    let others = facts
        .methods()
        .iter()
        .filter(|m| Some(m.id.as_str()) != running);
    others
        .map(|method| {
            let title = capital(&method.name);
            let tried = case.tried(method);
            match case.verdict(method) {
                Verdict::Out(why) if may_come_back(sight, why.id) => {
                    let sub = format!("{}. {}", sight.say(&why), sight.label(Id::PutBack));
                    Entry::act(Act::PutBack(method.id.clone()), title, sub.into())
                        .tone(Tone::Quiet)
                        .held()
                }
                Verdict::Out(why) => {
                    let act = Act::GoStraight(method.id.clone());
                    Entry::act(act, title, sight.say(&why)).enabled(false)
                }
                Verdict::Last(why) => {
                    Entry::act(Act::GoStraight(method.id.clone()), title, sight.say(&why))
                }
                Verdict::Open => {
                    let sub = if tried { Id::TriedBefore } else { rung(method) };
                    Entry::act(Act::GoStraight(method.id.clone()), title, sight.label(sub))
                }
            }
            .icon(icon(method))
        })
        .collect()
}

/// A method that the condition or a stop ruled out can be put back, but not to a casualty who does not answer now.
fn may_come_back(sight: Sight<'_>, why: Id) -> bool {
    let casualty = sight.facts().casualty();
    let answers = casualty
        .condition
        .is_some_and(|(it, _)| it != Condition::NotAnswering);
    match why {
        Id::OutCondition | Id::OutNotChecked => answers && casualty.lapsed < 2,
        Id::OutStop | Id::OutWindStop => true,
        _ => false,
    }
}

pub(super) fn more(sight: Sight<'_>) -> Vec<Entry> {
    let facts = sight.facts();
    let hangs = facts.casualty().off.is_none();
    let open = |kind, title, sub: SharedString, icon| {
        Entry::open(kind, sight.label(title), sub).icon(icon)
    };
    let mut entries = Vec::new();
    if hangs && facts.running().is_some() {
        let sub = sight.label(Id::StopTileSub);
        entries.push(open(SheetKind::Stop, Id::StopTile, sub, Icon::Stop).tone(Tone::Bad));
    }
    let now = facts
        .wind
        .map(|it| sight.with(Id::WindNow, [&wind(it)]))
        .unwrap_or_default();
    entries.push(open(SheetKind::Wind, Id::WindTile, now, Icon::Wind));
    let sub = sight.label(Id::NoteTileSub);
    entries.push(open(SheetKind::Note, Id::NoteTile, sub, Icon::Note));
    if hangs {
        let sub = sight.label(Id::PlaceTileSub);
        entries.push(open(SheetKind::Place, Id::PlaceTile, sub, Icon::Place));
        entries.push(open(
            SheetKind::FallTime,
            Id::FallTile,
            SharedString::default(),
            Icon::Clock,
        ));
    }
    if facts.others.stopped.is_none() {
        entries.push(
            Entry::act(
                Act::OthersStopped,
                sight.label(Id::AllStopped),
                SharedString::default(),
            )
            .icon(Icon::Stop),
        );
    }
    entries.push(open(
        SheetKind::Language,
        Id::LanguageTile,
        sight.language().name().into(),
        Icon::Language,
    ));
    entries
}

pub(super) fn stops(sight: Sight<'_>) -> Vec<Entry> {
    let Some((_, method, _)) = sight.facts().step() else {
        return Vec::new();
    };
    let stop = |what, title: SharedString| {
        Entry::act(Act::Stop(what), title, SharedString::default())
            .icon(Icon::Stop)
            .tone(Tone::Bad)
    };
    let lines = method.stop_if.iter().enumerate();
    let mut entries: Vec<_> = lines
        .map(|(index, line)| stop(Stop::Line(index), capital(line)))
        .collect();
    entries.push(stop(Stop::Wind, sight.label(Id::StopWind)).icon(Icon::Wind));
    entries
}

pub(super) fn winds(sight: Sight<'_>) -> Vec<Entry> {
    WINDS
        .iter()
        .map(|speed| {
            let speed = Speed(speed * 1_000);
            let next = Next::Send(crate::signal::Tap::Do(Act::Wind(speed)));
            Entry::new(next, wind(speed).into(), SharedString::default())
                .icon(Icon::Wind)
                .chosen(sight.facts().wind == Some(speed))
        })
        .collect()
}
