//! Fills the standby screen: the plan in use, where somebody may hang, who is on shift.

use super::sight::{Sight, tile};
use super::ui::{Choice, Screen, Tone};
use super::view::View;
use crate::incident::PlanStanding;
use crate::words::Id;
use slint::SharedString;

pub(super) fn fill(view: &mut View, sight: Sight<'_>) {
    let snapshot = sight.snapshot;
    let plan = &snapshot.plan.plan;
    view.screen = Screen::Standby;
    view.site = plan.site.name.as_str().into();
    let named = sight.with(Id::StandbyPlan, [&snapshot.plan.name, &plan.site.revision]);
    let (standing, tone) = match snapshot.plan.standing {
        PlanStanding::Fit => (Id::StandbyPlanFit, Tone::Plain),
        PlanStanding::LastFit => (Id::StandbyPlanLastFit, Tone::Caution),
        PlanStanding::None => (Id::StandbyPlanNone, Tone::Caution),
    };
    view.plan_tone = tone;
    let mut line = match snapshot.plan.standing {
        PlanStanding::None => sight.label(standing).to_string(),
        _ => format!("{} · {named}", sight.label(standing)),
    };
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
            .map(|p| Choice {
                id: p.id.as_str().into(),
                title: p.name.as_str().into(),
                sub: SharedString::default(),
                tone: Tone::Plain,
                held: true,
                enabled: true,
                chosen: false,
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
        ),
        None => tile(
            sight.label(Id::StandbyInCommand),
            sight.label(Id::StandbyNobody),
            Tone::Plain,
        ),
    };
    let all = plan.responders.len();
    let here = plan
        .responders
        .iter()
        .filter(|r| !snapshot.roll_call.absent.contains(&r.id))
        .count();
    let shift = sight.with(Id::StandbyOnShift, [&here.to_string(), &all.to_string()]);
    view.shift = tile(shift, SharedString::default(), Tone::Plain);
}
