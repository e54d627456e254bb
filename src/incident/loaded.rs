//! Lists what bore a load in the rescue: it is withdrawn and tagged until a competent person has inspected it.
//!
//! The set-up that arrested the fall belongs to it, and every piece that was brought for a method in which somebody was
//! connected or exposed. Names only; whether a piece really bore a load is for the competent person.

use super::event::Event;
use super::state::Facts;
use crate::plan::ArrestKind;
use crate::words::{Id, label};

/// The pieces, each once, in the order in which they came into use.
pub fn loaded(facts: &Facts) -> Vec<String> {
    let language = facts
        .opened
        .as_ref()
        .map(|o| o.language)
        .unwrap_or_default();
    let mut pieces: Vec<String> = Vec::new();
    let mut add = |piece: String| {
        if !pieces.contains(&piece) {
            pieces.push(piece);
        }
    };
    for case in facts.cases() {
        add(label(Id::LoadedHarness, language));
        let position = case.position();
        if let Some(arrest) = position.and_then(|p| p.arrest.as_ref()) {
            let id = match arrest.kind {
                ArrestKind::Lanyard => Id::LoadedLanyard,
                ArrestKind::SelfRetracting => Id::LoadedRetracting,
                ArrestKind::VerticalLine => Id::LoadedVertical,
                ArrestKind::HorizontalLine => Id::LoadedHorizontal,
            };
            add(label(id, language));
        }
        if let Some(anchorage) = position.and_then(|p| p.anchorage.as_ref()) {
            add(anchorage.name.clone());
        }
        for (method, reached) in &case.casualty.used {
            let Some(method) = case.method(method) else {
                continue;
            };
            let exposed = method.steps.iter().take(reached.saturating_add(1));
            if !exposed.clone().any(|step| step.exposed || step.committed) {
                continue;
            }
            let crew = case.forecast_of(&method.id).map_or(&[][..], |it| &it.crew);
            crew.iter()
                .filter_map(|it| it.kit.clone())
                .for_each(&mut add);
            let own = method.roles.iter().filter_map(|it| it.anchorage.clone());
            own.for_each(&mut add);
        }
    }
    pieces
}

/// True for what moves a method on.
pub(super) fn moves_on(event: &Event) -> Option<(&str, usize)> {
    match event {
        Event::MethodStarted { method, .. } => Some((method, 0)),
        Event::StepDone { method, step } => Some((method, step.saturating_add(1))),
        _ => None,
    }
}
