//! Fills the standby screen: the plan in use, where somebody may hang, who is on shift, how the site stands.

use super::sight::{Sight, capital, tile};
use super::ui::{Choice, Icon, Screen, Tone};
use super::view::View;
use super::{drill, readiness, shift, shift_sheets, tasks};
use crate::incident::PlanStanding;
use crate::readiness::Grade;
use crate::words::Id;
use slint::SharedString;

pub(super) fn fill(view: &mut View, sight: Sight<'_>) {
    let snapshot = sight.snapshot;
    let plan = &snapshot.plan.plan;
    view.screen = Screen::Standby;
    view.site = plan.site.name.as_str().into();
    let named = sight.with(Id::StandbyPlan, [&snapshot.plan.name, &plan.site.revision]);
    let not_ready = snapshot
        .standings
        .iter()
        .filter(|it| it.grade == Grade::NotReady);
    let (standing, tone) = match (snapshot.plan.standing, not_ready.count()) {
        (PlanStanding::Fit, 0) => (sight.label(Id::StandbyPlanFit), Tone::Plain),
        (PlanStanding::Fit, places) => {
            let places = places.to_string();
            (sight.with(Id::NotReadyPlaces, [&places]), Tone::Caution)
        }
        (PlanStanding::LastFit, _) => (sight.label(Id::StandbyPlanLastFit), Tone::Caution),
        (PlanStanding::None, _) => (sight.label(Id::StandbyPlanNone), Tone::Caution),
    };
    view.plan_tone = tone;
    // What is to be done stands before the name of the plan, which its own tile tells in full.
    let mut line = match snapshot.plan.standing {
        PlanStanding::None => standing.to_string(),
        _ => format!("{standing}{} · {named}", still_to_do(sight)),
    };
    if snapshot.shift.begun && !snapshot.shift_holds {
        view.plan_tone = Tone::Caution;
        line = sight.label(Id::ShiftLapsed).into();
    } else if let Some((why, others)) = allowances(sight) {
        view.plan_tone = Tone::Caution;
        line = why.into();
        if others > 0 {
            line = format!("{line} (+{others})");
        }
    }
    if plan.site.invented {
        line = format!("{} · {line}", sight.label(Id::InventedSite));
    }
    view.plan_line = line.into();
    view.positions = match snapshot.plan.standing {
        // The generic plan's position is no place of this site: the large touch says all there is to say.
        PlanStanding::None => Vec::new(),
        _ => plan
            .positions
            .iter()
            .map(|p| {
                let mut standings = snapshot.standings.iter();
                let not_ready =
                    standings.any(|it| it.position == p.id && it.grade == Grade::NotReady);
                // Why it is not ready has room on the page of readiness.
                let sub = match not_ready {
                    true => allowed_by(sight, &p.id)
                        .unwrap_or_else(|| capital(&sight.label(Id::GradeNotReady))),
                    false => SharedString::default(),
                };
                Choice {
                    id: p.id.as_str().into(),
                    title: p.name.as_str().into(),
                    sub,
                    tone: if not_ready { Tone::Quiet } else { Tone::Plain },
                    held: true,
                    enabled: true,
                    chosen: false,
                    icon: Icon::None,
                }
            })
            .collect(),
    };
    let command = snapshot
        .settings
        .in_command
        .as_ref()
        .and_then(|id| plan.responder(id));
    view.command = match command {
        Some(person) => tile(
            person.name.as_str().into(),
            sight.label(Id::StandbyInCommand),
            Tone::Plain,
            Icon::Lead,
        ),
        None => tile(
            sight.label(Id::StandbyInCommand),
            sight.label(Id::StandbyNobody),
            Tone::Plain,
            Icon::Lead,
        ),
    };
    view.plan = tile(
        sight.label(Id::PlanTile),
        match (&snapshot.plan.standing, &snapshot.approval) {
            (PlanStanding::None, _) => SharedString::default(),
            (_, Some(_)) => sight.label(Id::PlanApproved),
            (_, None) => sight.label(Id::PlanNotApproved),
        },
        match (&snapshot.plan.standing, &snapshot.approval) {
            (PlanStanding::None, _) | (_, Some(_)) => Tone::Plain,
            (_, None) => Tone::Caution,
        },
        Icon::Plan,
    );
    shift::way_here(view, sight);
    readiness::way_here(view, sight);
}

/// What is overdue after drills, and what is due for one.
fn still_to_do(sight: Sight<'_>) -> String {
    let mut line = String::new();
    let overdue = tasks::overdue(sight);
    if overdue > 0 {
        let overdue = sight.with(Id::TasksOverdue, [&overdue.to_string()]);
        line = format!(" · {overdue}");
    }
    match sight.snapshot.drills_due.is_empty() {
        true => line,
        false => format!("{line} · {}", drill::due_line(sight)),
    }
}

/// True where people work at a position that is not ready.
fn works_unready(sight: Sight<'_>, position: &str) -> bool {
    let snapshot = sight.snapshot;
    let mut used = snapshot.shift.in_use.iter();
    let mut standings = snapshot.standings.iter();
    used.any(|it| it.position == position)
        && standings.any(|it| it.position == position && it.grade == Grade::NotReady)
}

/// Who lets people work at a position in use that is not ready.
fn allowed_by(sight: Sight<'_>, position: &str) -> Option<SharedString> {
    let shift = &sight.snapshot.shift;
    let allowed = shift.allowance(position)?;
    let by = shift.name(&allowed.by, &sight.snapshot.plan.plan);
    works_unready(sight, position).then(|| sight.with(Id::AllowedShort, [by]))
}

/// The first of them with the reason, and how many others there are.
fn allowances(sight: Sight<'_>) -> Option<(SharedString, usize)> {
    let used = sight.snapshot.shift.in_use.iter();
    let mut allowed = used
        .filter(|it| works_unready(sight, &it.position))
        .filter_map(|it| shift_sheets::allowance(sight, &it.position));
    let first = allowed.next()?;
    Some((first, allowed.count()))
}
