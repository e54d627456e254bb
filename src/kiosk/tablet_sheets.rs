//! Fills the sheets that belong to the tablet: the plan and its approval, look, sound and language.

use super::drill;
use super::entry::{Entry, Next};
use super::sight::Sight;
use super::ui::{Icon, Sheet, SheetKind};
use crate::incident::PlanStanding;
use crate::plan::Responder;
use crate::signal::{Tap, Theme};
use crate::words::{Id, Language, date_and_time};
use slint::SharedString;

/// Which plan this is, and how far it can be trusted.
pub(super) fn plan_head(sight: Sight<'_>) -> Sheet {
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
    // A drawing that is missing stops nothing, so it is said after what matters more.
    let trouble = in_use.drawings.trouble.first();
    let trouble = trouble.map(|(file, _)| sight.with(Id::SketchPlanFile, [file]));
    let hint = match trouble {
        Some(trouble) if hint.is_empty() => trouble,
        Some(trouble) => format!("{hint} {trouble}").into(),
        None => hint,
    };
    Sheet {
        kind: SheetKind::Plan,
        title,
        hint,
        ..Sheet::default()
    }
}

/// Those on shift whom the plan names as competent.
fn competent(sight: Sight<'_>) -> impl Iterator<Item = &Responder> {
    let snapshot = sight.snapshot;
    let here = |it: &&Responder| it.competent && !snapshot.roll_call.absent.contains(&it.id);
    snapshot.plan.plan.responders.iter().filter(here)
}

pub(super) fn plan(sight: Sight<'_>) -> Vec<Entry> {
    let again = Entry::new(
        Next::Stay(Tap::ReadPlan),
        sight.label(Id::PlanReadAgain),
        sight.label(Id::PlanReadAgainSub),
    )
    .icon(Icon::Plan);
    let signed = sight.snapshot.approval.as_ref().map(|it| it.by.as_str());
    let signs = competent(sight).map(|person| {
        let approve = Tap::ApprovePlan {
            responder: person.id.clone(),
        };
        Entry::new(
            Next::Stay(approve),
            sight.with(Id::PlanApprove, [&person.name]),
            sight.label(Id::PlanApproveSub),
        )
        .held()
        .chosen(signed == Some(person.id.as_str()))
    });
    match sight.snapshot.plan.standing {
        PlanStanding::None => vec![again],
        PlanStanding::Fit | PlanStanding::LastFit => signs.chain([again]).collect(),
    }
}

pub(super) fn tablet(sight: Sight<'_>) -> Vec<Entry> {
    let settings = &sight.snapshot.settings;
    let look = match settings.theme {
        Theme::Dark => Id::StandbyLight,
        Theme::Light => Id::StandbyDark,
    };
    let volume = match settings.louder {
        true => Id::TabletNormal,
        false => Id::TabletLouder,
    };
    let flash = match settings.flash {
        true => Id::TabletFlashOff,
        false => Id::TabletFlash,
    };
    let nothing = SharedString::default;
    let touch =
        |tap, title, sub, icon| Entry::new(Next::Stay(tap), sight.label(title), sub).icon(icon);
    let drill = Entry::new(
        Next::Drill,
        sight.label(Id::DrillTile),
        match sight.snapshot.drills_due.is_empty() {
            true => sight.label(Id::DrillTileSub),
            false => drill::due_line(sight),
        },
    );
    let mut entries = vec![
        drill,
        touch(Tap::SwapTheme, look, nothing(), Icon::Look),
        touch(Tap::TestSound, Id::StandbySound, nothing(), Icon::Sound),
        touch(Tap::SwapLouder, volume, nothing(), Icon::Sound),
        touch(
            Tap::SwapFlash,
            flash,
            sight.label(Id::TabletFlashSub),
            Icon::Look,
        ),
        Entry::open(
            SheetKind::Language,
            sight.label(Id::LanguageTile),
            sight.language().name().into(),
        )
        .icon(Icon::Language),
    ];
    if sight.snapshot.shift.begun {
        // Its own tile says then what changed.
        entries.push(Entry::new(Next::Log, sight.label(Id::StandbyLog), nothing()).icon(Icon::Log));
    }
    entries
}

/// Each language by its own name.
pub(super) fn languages(sight: Sight<'_>) -> Vec<Entry> {
    Language::ALL_SPOKEN
        .iter()
        .map(|language| {
            let speak = Tap::Speak {
                language: *language,
            };
            Entry::new(
                Next::Send(speak),
                language.name().into(),
                SharedString::default(),
            )
            .icon(Icon::Language)
            .chosen(sight.language() == *language)
        })
        .collect()
}
