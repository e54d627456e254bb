//! Says which surprises of a drill were given, and how long it took until the crew's record answered each.
//!
//! Answered is the first record that says what the surprise brought: the condition told, the kit reported missing, the method
//! given up. How well it was answered is for the debrief.

use super::stands::Part;
use crate::incident::{Condition, Event, Exercise, Facts, Inject, Note, Report};
use crate::readiness::Posting;
use crate::units::Millis;
use serde::{Deserialize, Serialize};

/// A surprise and what became of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Met {
    /// What it was.
    pub inject: Inject,
    /// What it is about as spoken, where it is about something that the plan names.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub about: String,
    /// When it was to be given, ms since activation.
    pub planned_ms: i64,
    /// When it was given, ms since activation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub given_ms: Option<i64>,
    /// From there to the first record that answers it, ms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answered_ms: Option<i64>,
}

/// What became of the surprises of this exercise.
pub(super) fn met(part: &Part<'_>, exercise: Option<&Exercise>, facts: &Facts) -> Vec<Met> {
    let surprises = exercise.map_or(&[][..], |it| &it.surprises);
    let all = surprises.iter().enumerate().map(|(index, surprise)| {
        let given = given(part, index);
        Met {
            about: about(&surprise.inject, facts),
            inject: surprise.inject.clone(),
            planned_ms: surprise.at.0,
            given_ms: given.map(|it| it.1.0),
            answered_ms: given.and_then(|(seq, at)| {
                let after = part.counting().filter(|it| it.record.seq > seq);
                let mut answers = after.filter(|it| answers(&surprise.inject, &it.record.event));
                answers.next().map(|it| it.at.0.saturating_sub(at.0))
            }),
        }
    });
    all.collect()
}

/// The record in which it was given, and when.
fn given(part: &Part<'_>, which: usize) -> Option<(u64, Millis)> {
    let is = |event: &Event| matches!(event, Event::SurpriseGiven { index } if *index == which);
    let found = part.counting().find(|it| is(&it.record.event));
    found.map(|it| (it.record.seq, it.at))
}

/// True for what says in the record that a surprise came to be known.
fn answers(inject: &Inject, event: &Event) -> bool {
    match (inject, event) {
        (Inject::StopsAnswering {}, Event::ConditionReported { condition }) => {
            *condition == Condition::NotAnswering
        }
        (
            Inject::KitMissing { kit, station },
            Event::KitGone {
                kit: gone,
                station: at,
                ..
            },
        ) => kit == gone && station == at,
        (
            Inject::ResponderCannot { responder },
            Event::ResponderReported {
                responder: it,
                report,
            },
        ) => {
            let gone = matches!(report, Report::Cannot | Report::Lost | Report::Hurt);
            responder == it && gone
        }
        (
            Inject::MethodFails { method },
            Event::NotWorkingReported { method: it, .. }
            | Event::StopCalled { method: it, .. }
            | Event::FallbackStarted { method: it, .. }
            | Event::MethodChanged { from: it, .. },
        ) => method == it,
        (
            Inject::SelfRescueFails {},
            Event::NotWorkingReported { .. }
            | Event::StopCalled { .. }
            | Event::MethodChanged { .. },
        )
        | (Inject::Wind { .. }, Event::WindReported { .. })
        | (Inject::AmbulanceDelayed { .. } | Inject::WrongGate {}, Event::HelpExpected { .. })
        | (Inject::SecondCasualty {}, Event::CasualtyAdded { .. }) => true,
        (Inject::RadioLost {}, Event::Noted { note }) => *note == Note::RadioLost,
        (Inject::WrongGate {}, Event::TaskGiven { posting, .. }) => posting.role == Posting::GUIDE,
        _ => false,
    }
}

/// The name of what a surprise is about.
fn about(inject: &Inject, facts: &Facts) -> String {
    let plan = facts.opened.as_ref().map(|it| &it.plan);
    match inject {
        Inject::KitMissing { kit, station } => {
            let kept = plan.and_then(|plan| plan.station(station));
            let of_kind = |it: &&crate::plan::KitItem| it.kind == *kit;
            let named = kept.and_then(|it| it.kit.iter().find(of_kind));
            named.map_or_else(|| kit.clone(), |it| it.name.clone())
        }
        Inject::MethodFails { method } => {
            let named = facts.cases().find_map(|case| case.method(method));
            named.map_or_else(|| method.clone(), |it| it.name.clone())
        }
        _ => String::new(),
    }
}
