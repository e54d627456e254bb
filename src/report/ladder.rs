//! Takes the methods of a position from its plan, in the order in which they are tried.
//!
//! Each says what it asks of the casualty, who it takes and with which kit, its steps, what stops it, when to change and how
//! the rescuer would be rescued. No times of steps and no chances: on paper they would be read as a promise.

use super::cards::{Entry, Kind, Line, Mark, Part, Run, Style};
use super::compose::{Source, item, text};
use crate::plan::{Fallback, Method, Milestone, Need, Role, Rung, Step};
use crate::words::Id;

/// How many stations a role is told for its kit.
const STATIONS_SAID: usize = 2;

/// The part that holds for every method, then one part a method.
pub(super) fn parts(source: &Source<'_>) -> Vec<Part> {
    let voice = source.voice;
    let methods = &source.position.methods;
    let head = Part {
        kind: Kind::Ladder,
        number: None,
        heading: Some(voice.say(Id::CardLadder, [])),
        aside: Some(voice.say(Id::CardLadderOrder, [])),
        lines: vec![
            text(Style::Step, [voice.plain(Id::CardLadderNoAnswer, [])]),
            text(
                Style::Step,
                [
                    voice.strong(Id::CardLadderBar, []),
                    voice.plain(Id::CardLadderBarMeans, []),
                ],
            ),
        ],
    };
    let each = methods
        .iter()
        .enumerate()
        .map(|(i, it)| method(source, i, it, methods.get(i + 1)));
    std::iter::once(head).chain(each).collect()
}

fn method(source: &Source<'_>, index: usize, method: &Method, next: Option<&Method>) -> Part {
    let voice = source.voice;
    let mut lines = Vec::new();
    if method.rung == Rung::PickOff {
        lines.push(text(Style::Step, [voice.strong(Id::CardPickOffLast, [])]));
    }
    lines.push(text(Style::Step, [needs(source, method)]));
    lines.extend(method.roles.iter().map(|it| role(source, method, it)));
    for (i, it) in method.steps.iter().enumerate() {
        lines.push(step(source, i, it));
    }
    let mut stops: Vec<String> = method.stop_if.clone();
    if let Some(wind) = &method.wind_max {
        stops.push(voice.say(Id::CardWindAbove, [&voice.written(wind)]));
    }
    if !stops.is_empty() {
        let stops = voice.plain(Id::CardSentence, [&voice.list(&stops)]);
        lines.push(text(Style::Step, [voice.strong(Id::CardStopIf, []), stops]));
    }
    if method.exposes() || method.rescuer_rescue.is_some() {
        let how = match &method.rescuer_rescue {
            Some(how) => voice.plain(Id::Step, [how]),
            None => voice.plain(Id::CardNotSaidDecide, []),
        };
        lines.push(text(
            Style::Step,
            [voice.strong(Id::CardRescuerHangs, []), how],
        ));
    }
    if let Some(landing) = method
        .landing
        .as_ref()
        .filter(|it| **it != source.position.landing)
    {
        let runs = [
            voice.strong(Id::CardBringsTo, []),
            voice.plain(Id::Step, [&source.place(landing)]),
        ];
        lines.push(text(Style::Step, runs));
    }
    let after = source.changes.get(index).copied();
    let after = voice.span(after.unwrap_or_else(|| method.planned_change()));
    let change = match next {
        Some(next) => voice.strong(Id::CardChange, [&after, &next.name]),
        None => voice.strong(Id::CardChangeNone, [&after]),
    };
    lines.push(text(Style::Step, [change]));
    let rung = voice.say(rung(method.rung), []);
    let same = rung.to_lowercase() == method.name.to_lowercase();
    Part {
        kind: Kind::Method,
        number: None,
        heading: Some(voice.say(Id::CardMethod, [&(index + 1).to_string(), &method.name])),
        aside: (!same).then_some(rung),
        lines,
    }
}

fn rung(rung: Rung) -> Id {
    match rung {
        Rung::SelfRescue => Id::RungSelf,
        Rung::AssistedSelfRescue => Id::RungAssisted,
        Rung::MechanicallyAided => Id::RungMechanical,
        Rung::PickOff => Id::RungPickOff,
    }
}

fn needs(source: &Source<'_>, method: &Method) -> Run {
    let voice = source.voice;
    let need = |need: &Need| match need {
        Need::Answering => Id::CardNeedAnswer,
        Need::Climbing => Id::CardNeedClimb,
        Need::HoldingOn => Id::CardNeedHold,
        Need::Clipping => Id::CardNeedClip,
    };
    let all: Vec<String> = method
        .needs
        .iter()
        .map(|it| voice.say(need(it), []))
        .collect();
    if all.is_empty() {
        voice.plain(Id::CardNeedsNothing, [])
    } else {
        voice.strong(Id::CardNeeds, [&voice.list(&all)])
    }
}

/// The spoken form of a role's id.
fn spoken(id: &str) -> String {
    id.replace(['-', '_'], " ")
}

fn role(source: &Source<'_>, method: &Method, role: &Role) -> Line {
    let voice = source.voice;
    let mut said = Vec::new();
    if let Some(qualification) = &role.qualification {
        said.push(voice.say(Id::CardRoleTrained, [qualification]));
    }
    if method.control.as_deref() == Some(role.id.as_str()) {
        said.push(voice.say(Id::CardRoleControl, []));
    }
    if let Some(kind) = &role.kit {
        // The table of the kit has all stations; the nearest, and one more should that be empty, are said here.
        let from = source
            .nearest(kind, &role.place)
            .into_iter()
            .take(STATIONS_SAID);
        let from = from.map(|(station, _)| {
            voice.say(
                Id::CardRoleKitAt,
                [&station.name, source.place_name(&station.place)],
            )
        });
        let from: Option<String> = from.reduce(|one, other| voice.say(Id::CardOr, [&one, &other]));
        said.push(match from {
            None => voice.say(Id::CardRoleKitNowhere, [kind]),
            Some(from) => voice.say(Id::CardRoleKit, [kind, &from]),
        });
    }
    if role.enters {
        said.push(voice.say(Id::CardRoleEnters, []));
    }
    said.push(voice.say(Id::CardRoleStands, [source.place_name(&role.place)]));
    if let Some(anchorage) = &role.anchorage {
        said.push(voice.say(Id::CardRoleTies, [anchorage]));
    }
    let mut all = String::new();
    for text in &said {
        all = if all.is_empty() {
            text.clone()
        } else {
            voice.say(Id::CardThen, [&all, text])
        };
    }
    let runs = vec![
        voice.strong(Id::CardLabel, [&spoken(&role.id)]),
        voice.plain(Id::CardSentence, [&all]),
    ];
    item(Style::Step, Mark::Box, runs)
}

fn step(source: &Source<'_>, index: usize, step: &Step) -> Line {
    let voice = source.voice;
    let mut runs = Vec::new();
    match &step.role {
        Some(role) => runs.extend([
            voice.plain(Id::CardLabel, [&spoken(role)]),
            voice.strong(Id::AsWritten, [&step.say]),
        ]),
        None => runs.push(voice.strong(Id::CardCapital, [&step.say])),
    }
    runs.push(voice.plain(Id::CardDone, [&step.done]));
    match step.milestone {
        Some(Milestone::FirstContact) => runs.push(voice.strong(Id::CardContact, [])),
        Some(Milestone::OffHarness) => runs.push(voice.strong(Id::CardOff, [])),
        Some(Milestone::Landing) | None => {}
    }
    if let Some(caution) = &step.caution {
        runs.push(voice.plain(Id::CardCautionMark, [caution]));
    }
    runs.extend(step.fallback.iter().flat_map(|it| fallback(source, it)));
    Line::Entry(Entry {
        style: Style::Step,
        mark: Mark::Number(u32::try_from(index + 1).unwrap_or(u32::MAX)),
        runs,
        held: step.committed,
    })
}

fn fallback(source: &Source<'_>, fallback: &Fallback) -> [Run; 2] {
    let voice = source.voice;
    let what = match &fallback.role {
        Some(role) => voice.plain(
            Id::CardElseBy,
            [&spoken(role), &fallback.say, &fallback.done],
        ),
        None => voice.plain(Id::CardElse, [&fallback.say, &fallback.done]),
    };
    [voice.strong(Id::CardElseLabel, []), what]
}
