//! Fills the standby screen: the plan in use, where somebody may hang, who is on shift.

use super::sight::{Sight, tile};
use super::ui::{Choice, Icon, Screen, Tone};
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
    let not_ready = snapshot.standings.iter().filter(|it| it.why_not.is_some());
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
    let mut line = match snapshot.plan.standing {
        PlanStanding::None => standing.to_string(),
        _ => format!("{standing} · {named}"),
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
            .map(|p| {
                let standing = snapshot.standings.iter().find(|it| it.position == p.id);
                (p, standing.and_then(|it| it.why_not.as_ref()))
            })
            .map(|(p, why_not)| Choice {
                id: p.id.as_str().into(),
                title: p.name.as_str().into(),
                sub: why_not.map_or_else(SharedString::default, |why| {
                    sight.with(Id::NotReady, [sight.say(why).as_str()])
                }),
                tone: match why_not {
                    Some(_) => Tone::Quiet,
                    None => Tone::Plain,
                },
                held: true,
                enabled: true,
                chosen: false,
                icon: Icon::None,
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
    let all = plan.responders.len();
    let here = plan
        .responders
        .iter()
        .filter(|r| !snapshot.roll_call.absent.contains(&r.id))
        .count();
    let shift = sight.with(Id::StandbyOnShift, [&here.to_string(), &all.to_string()]);
    view.shift = tile(shift, SharedString::default(), Tone::Plain, Icon::People);
}
