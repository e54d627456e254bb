//! Fills the sheets, each one question with its choices, and says what a choice asks for.
//!
//! The ids of the choices are made and read here only.

use super::sight::{Sight, capital};
use super::ui::{Choice, Sheet, SheetKind, Tone};
use super::view::View;
use crate::incident::{Act, Condition, PlanStanding};
use crate::plan::{Responder, Rung};
use crate::signal::{Tap, Theme};
use crate::units::Millis;
use crate::words::{Id, date_and_time};
use slint::SharedString;

/// Minutes that are offered for the time of the fall.
const MINUTES_AGO: [i64; 7] = [1, 2, 3, 5, 10, 15, 20];

const TALKING: &str = "talking";
const UNWELL: &str = "unwell";
const NOT_ANSWERING: &str = "not-answering";
const CONTACT: &str = "contact";
const OFF: &str = "off";
const STILL: &str = "still";
const PLACE: &str = "place";
const FALL: &str = "fall";
const END: &str = "end";
const UNKNOWN: &str = "unknown";
const NOT_LISTED: &str = "";
const STRAIGHT: &str = "straight:";
const APPROVE: &str = "approve:";
const AGAIN: &str = "again";
const LOOK: &str = "look";
const SOUND: &str = "sound";

/// What a choice leads to.
#[derive(Debug, PartialEq)]
pub(super) enum Next {
    /// This is sent and the sheet closes.
    Send(Tap),
    /// This is sent and the sheet stays.
    Stay(Tap),
    /// Another sheet.
    Open(SheetKind),
    /// Nothing that this sheet knows.
    Nothing,
}

/// Which sheet can be open in this state.
pub(super) fn applies(kind: SheetKind, sight: Sight<'_>) -> bool {
    let open = sight.facts().is_open();
    match kind {
        SheetKind::None => true,
        SheetKind::Shift | SheetKind::Command | SheetKind::Plan | SheetKind::Tablet => {
            sight.facts().opened.is_none()
        }
        SheetKind::Condition
        | SheetKind::Ways
        | SheetKind::Call
        | SheetKind::FallTime
        | SheetKind::Place => open,
    }
}

fn choice(id: &str, title: SharedString, sub: SharedString) -> Choice {
    Choice {
        id: id.into(),
        title,
        sub,
        tone: Tone::Plain,
        held: false,
        enabled: true,
        chosen: false,
    }
}

pub(super) fn fill(view: &mut View, sight: Sight<'_>, kind: SheetKind) {
    let title = match kind {
        SheetKind::None | SheetKind::Command | SheetKind::Call => return,
        SheetKind::Condition => Id::SheetCondition,
        SheetKind::Ways => Id::SheetOther,
        SheetKind::FallTime => Id::SheetFall,
        SheetKind::Place => Id::SheetWhere,
        SheetKind::Shift => {
            view.sheet = Sheet {
                kind,
                title: view.shift.title.clone(),
                hint: SharedString::default(),
            };
            view.sheet_choices = shift(sight);
            return;
        }
        SheetKind::Tablet => {
            view.sheet = Sheet {
                kind,
                title: sight.label(Id::StandbyTablet),
                hint: SharedString::default(),
            };
            view.sheet_choices = tablet(sight);
            return;
        }
        SheetKind::Plan => {
            view.sheet = plan_sheet(sight);
            view.sheet_choices = plan(sight);
            return;
        }
    };
    view.sheet = Sheet {
        kind,
        title: sight.label(title),
        hint: SharedString::default(),
    };
    view.sheet_choices = match kind {
        SheetKind::Condition => condition(sight),
        SheetKind::Ways => ways(sight),
        SheetKind::FallTime => fall_time(sight),
        _ => places(sight),
    };
}

fn condition(sight: Sight<'_>) -> Vec<Choice> {
    let casualty = sight.facts().casualty();
    let now = casualty.condition.map(|(condition, _)| condition);
    let pick = |id, condition, title, sub| Choice {
        chosen: now == Some(condition),
        ..choice(id, sight.label(title), sight.label(sub))
    };
    let mut choices = vec![
        pick(
            TALKING,
            Condition::Talking,
            Id::PickTalking,
            Id::PickTalkingSub,
        ),
        Choice {
            tone: Tone::Caution,
            ..pick(UNWELL, Condition::Unwell, Id::PickUnwell, Id::PickUnwellSub)
        },
        Choice {
            tone: Tone::Bad,
            ..pick(
                NOT_ANSWERING,
                Condition::NotAnswering,
                Id::PickNotAnswering,
                Id::PickNotAnsweringSub,
            )
        },
    ];
    if casualty.contact.is_none() && casualty.off.is_none() {
        choices.push(choice(
            CONTACT,
            sight.label(Id::ContactTile),
            sight.label(Id::ContactTileSub),
        ));
    }
    choices
}

fn ways(sight: Sight<'_>) -> Vec<Choice> {
    let facts = sight.facts();
    let off = facts.casualty().off.is_some();
    let mut choices = Vec::new();
    if !off {
        let running = facts.running.as_ref().map(|r| r.method.as_str());
        for method in facts
            .methods()
            .iter()
            .filter(|m| Some(m.id.as_str()) != running)
        {
            let out = facts.ruled_out(method);
            let rung = match method.rung {
                Rung::SelfRescue => Id::RungSelf,
                Rung::AssistedSelfRescue => Id::RungAssisted,
                Rung::MechanicallyAided => Id::RungMechanical,
                Rung::PickOff => Id::RungPickOff,
            };
            let sub = match () {
                () if out => Id::OutCondition,
                () if facts.windows.iter().any(|w| w.method == method.id) => Id::TriedBefore,
                () => rung,
            };
            let id = format!("{STRAIGHT}{}", method.id);
            choices.push(Choice {
                enabled: !out,
                ..choice(&id, capital(&method.name), sight.label(sub))
            });
        }
        choices.push(Choice {
            held: true,
            tone: Tone::Good,
            ..choice(
                OFF,
                sight.label(Id::OffHarness),
                sight.label(Id::OffHarnessSub),
            )
        });
    }
    if off {
        choices.push(Choice {
            held: true,
            ..choice(
                STILL,
                sight.label(Id::StillHanging),
                sight.label(Id::StillHangingSub),
            )
        });
    } else {
        choices.push(choice(
            PLACE,
            sight.label(Id::PlaceTile),
            sight.label(Id::PlaceTileSub),
        ));
    }
    choices.push(choice(
        FALL,
        sight.label(Id::FallTile),
        SharedString::default(),
    ));
    choices.push(choice(
        END,
        sight.label(Id::EndTile),
        sight.label(Id::EndTileSub),
    ));
    choices
}

fn fall_time(sight: Sight<'_>) -> Vec<Choice> {
    let mut choices = vec![choice(
        UNKNOWN,
        sight.label(Id::FallUnknown),
        sight.label(Id::FallUnknownSub),
    )];
    choices.extend(MINUTES_AGO.iter().map(|minutes| {
        let minutes = minutes.to_string();
        choice(
            &minutes,
            sight.with(Id::FallAgo, [&minutes]),
            SharedString::default(),
        )
    }));
    choices
}

fn places(sight: Sight<'_>) -> Vec<Choice> {
    let positions = sight
        .facts()
        .opened
        .as_ref()
        .map_or(&[][..], |o| &o.plan.positions);
    let mut choices: Vec<_> = positions
        .iter()
        .map(|p| choice(&p.id, p.name.as_str().into(), SharedString::default()))
        .collect();
    choices.push(choice(
        NOT_LISTED,
        sight.label(Id::NotListed),
        sight.label(Id::NotListedSub),
    ));
    choices
}

fn shift(sight: Sight<'_>) -> Vec<Choice> {
    let snapshot = sight.snapshot;
    let people = &snapshot.plan.plan.responders;
    people
        .iter()
        .map(|person| Choice {
            chosen: !snapshot.roll_call.absent.contains(&person.id),
            ..choice(
                &person.id,
                person.name.as_str().into(),
                person
                    .qualifications
                    .iter()
                    .map(|held| held.name.as_str())
                    .collect::<Vec<_>>()
                    .join(", ")
                    .into(),
            )
        })
        .collect()
}

/// Which plan this is, and how far it can be trusted.
fn plan_sheet(sight: Sight<'_>) -> Sheet {
    let in_use = &sight.snapshot.plan;
    let (title, hint) = match (in_use.standing, &sight.snapshot.approval) {
        (PlanStanding::None, _) => (sight.label(Id::PlanSheetNone), SharedString::default()),
        (_, Some(approval)) => {
            let date = date_and_time(approval.wall_ms, approval.offset_min);
            let hint = sight.with(Id::PlanApprovedBy, [&approval.name, &date]);
            (
                sight.with(Id::PlanSheet, [&in_use.plan.site.revision]),
                hint,
            )
        }
        (_, None) => {
            let title = sight.with(Id::PlanSheet, [&in_use.plan.site.revision]);
            let mut competent = competent(sight);
            let hint = match (competent.next(), in_use.found) {
                (None, _) => sight.label(Id::PlanApproveNobody),
                (Some(_), [0, 0]) => sight.label(Id::PlanNotApproved),
                (Some(_), [warnings, notices]) => {
                    let counts = [&*warnings.to_string(), &*notices.to_string()];
                    sight.with(Id::PlanSheetFound, counts)
                }
            };
            (title, hint)
        }
    };
    Sheet {
        kind: SheetKind::Plan,
        title,
        hint,
    }
}

fn tablet(sight: Sight<'_>) -> Vec<Choice> {
    let look = match sight.snapshot.settings.theme {
        Theme::Dark => Id::StandbyLight,
        Theme::Light => Id::StandbyDark,
    };
    let touch = |id, title| choice(id, sight.label(title), SharedString::default());
    vec![touch(LOOK, look), touch(SOUND, Id::StandbySound)]
}

/// Those on shift whom the plan names as competent.
fn competent(sight: Sight<'_>) -> impl Iterator<Item = &Responder> {
    let snapshot = sight.snapshot;
    let here = |it: &&Responder| it.competent && !snapshot.roll_call.absent.contains(&it.id);
    snapshot.plan.plan.responders.iter().filter(here)
}

fn plan(sight: Sight<'_>) -> Vec<Choice> {
    let again = choice(
        AGAIN,
        sight.label(Id::PlanReadAgain),
        sight.label(Id::PlanReadAgainSub),
    );
    let signed = sight.snapshot.approval.as_ref().map(|it| it.by.as_str());
    let signs = competent(sight).map(|person| Choice {
        held: true,
        chosen: signed == Some(person.id.as_str()),
        ..choice(
            &format!("{APPROVE}{}", person.id),
            sight.with(Id::PlanApprove, [&person.name]),
            sight.label(Id::PlanApproveSub),
        )
    });
    match sight.snapshot.plan.standing {
        PlanStanding::None => vec![again],
        PlanStanding::Fit | PlanStanding::LastFit => signs.chain([again]).collect(),
    }
}

/// What a touched choice asks for.
pub(super) fn chosen(sight: Sight<'_>, kind: SheetKind, id: &str) -> Next {
    let act = |act| Next::Send(Tap::Do(act));
    match (kind, id) {
        (SheetKind::Condition, TALKING) => act(Act::Report(Condition::Talking)),
        (SheetKind::Condition, UNWELL) => act(Act::Report(Condition::Unwell)),
        (SheetKind::Condition, NOT_ANSWERING) => act(Act::Report(Condition::NotAnswering)),
        (SheetKind::Condition, CONTACT) => act(Act::Contact),
        (SheetKind::Ways, OFF) => act(Act::OffHarness),
        (SheetKind::Ways, STILL) => act(Act::StillHanging),
        (SheetKind::Ways, PLACE) => Next::Open(SheetKind::Place),
        (SheetKind::Ways, FALL) => Next::Open(SheetKind::FallTime),
        (SheetKind::Ways, END) => act(Act::BeginClosing),
        (SheetKind::Ways, way) => match way.strip_prefix(STRAIGHT) {
            Some(method) => act(Act::GoStraight(method.to_owned())),
            None => Next::Nothing,
        },
        // Nobody saw the fall: the clock stays as it is and says "at least".
        (SheetKind::FallTime, UNKNOWN) => act(Act::SetFall {
            ago: sight.facts().since_fall(sight.at()),
            at_least: true,
        }),
        (SheetKind::FallTime, minutes) => match minutes.parse::<i64>() {
            Ok(minutes) => act(Act::SetFall {
                ago: Millis::from_seconds(minutes * 60),
                at_least: false,
            }),
            Err(_) => Next::Nothing,
        },
        (SheetKind::Place, NOT_LISTED) => act(Act::ChoosePosition(None)),
        (SheetKind::Place, position) => act(Act::ChoosePosition(Some(position.to_owned()))),
        (SheetKind::Tablet, LOOK) => Next::Stay(Tap::SwapTheme),
        (SheetKind::Tablet, SOUND) => Next::Stay(Tap::TestSound),
        (SheetKind::Plan, AGAIN) => Next::Stay(Tap::ReadPlan),
        (SheetKind::Plan, id) => match id.strip_prefix(APPROVE) {
            Some(responder) => Next::Stay(Tap::ApprovePlan {
                responder: responder.to_owned(),
            }),
            None => Next::Nothing,
        },
        (SheetKind::Shift, responder) => Next::Stay(Tap::SwapPresent {
            responder: responder.to_owned(),
        }),
        _ => Next::Nothing,
    }
}
