//! Takes from a plan what is done in the first minute: make safe, the emergency call, words for the radio and the casualty.
//!
//! The words for the call and the radio are said as they stand here, so they are short and always begin alike.

use super::cards::{Kind, Line, Mark, Part, Run, Style};
use super::compose::{Source, Voice, item, part, text};
use crate::plan::{ConfinedSpace, Ground, Hazard, HazardKind, OutsideRescue};
use crate::words::Id;

/// Most words in what is said on the radio: more is not repeated rightly (design of the rescue screen, judgement).
const RADIO_WORDS_MAX: usize = 20;

fn over_water(source: &Source<'_>) -> bool {
    let hazards = &source.position.hazards;
    source.position.ground == Some(Ground::Water)
        || hazards
            .iter()
            .any(|hazard| hazard.kind == HazardKind::Water)
}

pub(super) fn make_safe(source: &Source<'_>) -> Part {
    let Source {
        voice, position, ..
    } = *source;
    let mut lines = vec![
        text(Style::Lead, [voice.strong(Id::SafeToGoNear, [])]),
        text(Style::Body, [voice.plain(Id::OthersStop, [])]),
        text(
            Style::Body,
            [voice.plain(Id::CardApproach, [&source.place(&position.approach)])],
        ),
    ];
    if position
        .hazards
        .iter()
        .any(|hazard| hazard.kind == HazardKind::Electric)
    {
        lines.push(text(Style::Lead, [voice.strong(Id::CardElectric, [])]));
    }
    if position.hazards.is_empty() {
        lines.push(text(
            Style::Body,
            [
                voice.plain(Id::CardNoHazard, []),
                voice.plain(Id::LookFor, []),
            ],
        ));
    }
    lines.extend(position.hazards.iter().map(|it| hazard(source, it)));
    if let Some(space) = &position.confined_space {
        confined(source, space, &mut lines);
    }
    if let Some(below) = &position.below {
        lines.push(text(
            Style::Body,
            [
                voice.strong(Id::CardBelow, []),
                voice.plain(Id::Step, [below]),
            ],
        ));
    }
    if let Some(control) = &position.ground_control {
        lines.push(text(
            Style::Body,
            [
                voice.strong(Id::CardGroundControl, []),
                voice.plain(Id::Step, [control]),
            ],
        ));
    }
    if let Some(moves) = &position.moves {
        lines.push(text(
            Style::Body,
            [
                voice.strong(Id::CardMoves, []),
                voice.plain(Id::Step, [moves]),
            ],
        ));
    }
    if let Some(anchorage) = &position.anchorage {
        let id = if anchorage.holds_on {
            Id::CardAnchorageHolds
        } else {
            Id::CardAnchorage
        };
        lines.push(text(
            Style::Body,
            [
                voice.strong(Id::CardHangsOn, []),
                voice.plain(id, [&anchorage.name]),
            ],
        ));
    }
    part(Kind::MakeSafe, voice.say(Id::CardMakeSafe, []), lines)
}

fn hazard(source: &Source<'_>, hazard: &Hazard) -> Line {
    let voice = source.voice;
    let by = hazard
        .by
        .as_deref()
        .and_then(|id| source.plan.responder(id));
    let task = match by {
        Some(by) => voice.plain(Id::CardHazardBy, [&by.name, &hazard.task]),
        None => voice.plain(Id::Step, [&hazard.task]),
    };
    let mut runs = vec![voice.strong(Id::Step, [&hazard.name]), task];
    if let Some(proof) = &hazard.proof {
        runs.push(voice.plain(Id::CardProof, [proof]));
    }
    runs.push(voice.strong(Id::CardAnswer, [&hazard.done]));
    item(Style::Body, Mark::Box, runs)
}

fn confined(source: &Source<'_>, space: &ConfinedSpace, lines: &mut Vec<Line>) {
    let voice = source.voice;
    let entry = if space.entry_allowed {
        Id::CardEntry
    } else {
        Id::CardNoEntry
    };
    let deep = space
        .depth
        .as_ref()
        .map(|depth| voice.say(Id::CardConfinedDeep, [&voice.written(depth)]));
    let what = deep.unwrap_or_else(|| voice.say(Id::CardConfined, []));
    lines.push(text(
        Style::Lead,
        [
            Run {
                strong: true,
                text: what,
            },
            voice.strong(entry, []),
        ],
    ));
    if !space.entry_allowed && !space.conditions.is_empty() {
        lines.push(text(Style::Body, [voice.plain(Id::CardConditions, [])]));
    }
    let conditions = space.conditions.iter();
    lines.extend(
        conditions.map(|it| item(Style::Body, Mark::Box, vec![voice.plain(Id::Step, [it])])),
    );
    let retrieval = match &space.retrieval {
        Some(retrieval) => voice.plain(Id::Step, [retrieval]),
        None => voice.plain(Id::CardNotSaid, []),
    };
    lines.push(text(
        Style::Body,
        [voice.strong(Id::CardRetrieval, []), retrieval],
    ));
    if let Some(attendant) = &space.attendant {
        lines.push(text(
            Style::Body,
            [
                voice.strong(Id::CardAttendant, []),
                voice.plain(Id::Step, [attendant]),
            ],
        ));
    }
}

pub(super) fn call(source: &Source<'_>) -> Part {
    let Source {
        voice,
        plan,
        position,
        ..
    } = *source;
    let site = &plan.site;
    let mut lines = Vec::new();
    if site.invented {
        lines.push(text(Style::Body, [voice.strong(Id::CardCallInvented, [])]));
    }
    lines.push(text(Style::Body, [voice.plain(Id::CardCallWho, [])]));
    lines.push(text(Style::Lead, [voice.strong(Id::CardCallWords, [])]));
    let where_at = match &site.address {
        Some(address) => voice.plain(Id::CardCallSiteAt, [&site.name, address]),
        None => voice.plain(Id::CardCallSite, [&site.name]),
    };
    lines.push(text(
        Style::Body,
        [voice.strong(Id::CardCallWhere, []), where_at],
    ));
    let place = source.place(&position.place);
    let hanging = match &position.feet_above_ground {
        Some(height) => voice.plain(
            Id::CardCallPlaceHigh,
            [&position.name, &place, &voice.written(height)],
        ),
        None => voice.plain(Id::CardCallPlace, [&position.name, &place]),
    };
    lines.push(text(
        Style::Body,
        [voice.strong(Id::CardCallHanging, []), hanging],
    ));
    if let Some(gate) = &site.gate {
        lines.push(text(
            Style::Body,
            [
                voice.strong(Id::CardCallGate, []),
                voice.plain(Id::Step, [gate]),
            ],
        ));
    }
    lines.push(text(
        Style::Body,
        [
            voice.strong(Id::CardCallMeet, []),
            voice.plain(Id::CardCallMeetAt, [&site.meeting_point]),
        ],
    ));
    let dangers: Vec<String> = position
        .hazards
        .iter()
        .map(|hazard| hazard.name.clone())
        .collect();
    if !dangers.is_empty() {
        let dangers = voice.plain(Id::Step, [&voice.list(&dangers)]);
        lines.push(text(
            Style::Body,
            [voice.strong(Id::CardCallDangers, []), dangers],
        ));
    }
    if position.confined_space.is_some() {
        lines.push(text(Style::Body, [voice.strong(Id::CardCallConfined, [])]));
    }
    if over_water(source) {
        lines.push(text(Style::Body, [voice.strong(Id::CardCallWater, [])]));
    }
    lines.push(item(
        Style::Body,
        Mark::Box,
        vec![voice.plain(Id::CardCallGuide, [&site.meeting_point])],
    ));
    part(
        Kind::Call,
        voice.say(Id::CardCall, [&site.emergency_number]),
        lines,
    )
}

pub(super) fn outside_help(source: &Source<'_>) -> Part {
    let Source { voice, plan, .. } = *source;
    let mut lines: Vec<Line> = plan
        .outside_rescues
        .iter()
        .map(|it| outside(source, it))
        .collect();
    if lines.is_empty() {
        lines.push(text(Style::Body, [voice.plain(Id::CardOutsideNone, [])]));
    }
    if let Some(hospital) = &plan.site.hospital {
        lines.push(text(
            Style::Body,
            [
                voice.strong(Id::CardHospital, []),
                voice.plain(Id::Step, [hospital]),
            ],
        ));
    }
    part(Kind::Outside, voice.say(Id::CardOutside, []), lines)
}

fn outside(source: &Source<'_>, outside: &OutsideRescue) -> Line {
    let voice = source.voice;
    let mut runs = vec![voice.strong(Id::CardLabel, [&outside.name])];
    match &outside.telephone {
        Some(telephone) => runs.push(voice.strong(Id::CardOutsideTelephone, [telephone])),
        None => runs.push(voice.plain(Id::CardOutsideNoTelephone, [])),
    }
    let reach = if outside.height_capable {
        Id::CardOutsideReaches
    } else {
        Id::CardOutsideNotReaches
    };
    runs.push(voice.plain(reach, []));
    if let Some(arrival) = outside.arrival {
        let (short, long) = (voice.span(arrival.short), voice.span(arrival.long));
        runs.push(voice.plain(Id::CardOutsideArrival, [&short, &long]));
    }
    if outside.height_capable && outside.agreement.is_none() {
        runs.push(voice.plain(Id::CardOutsideNoAgreement, []));
    }
    if source.position.relies_on.as_deref() == Some(outside.id.as_str()) {
        runs.push(voice.strong(Id::CardOutsideRelied, []));
    }
    item(Style::Body, Mark::Box, runs)
}

pub(super) fn radio(source: &Source<'_>) -> Part {
    let Source {
        voice,
        plan,
        position,
        ..
    } = *source;
    let mut lines = vec![text(
        Style::Lead,
        [voice.strong(Id::CardQuoted, [&radio_words(voice, &position.name)])],
    )];
    let heading = match &plan.radio {
        Some(radio) => {
            if let Some(fallback) = &radio.fallback {
                let runs = [
                    voice.strong(Id::CardRadioFallback, []),
                    voice.plain(Id::Step, [fallback]),
                ];
                lines.push(text(Style::Body, runs));
            }
            if !radio.dead_spots.is_empty() {
                let spots: Vec<String> =
                    radio.dead_spots.iter().map(|id| source.place(id)).collect();
                lines.push(text(
                    Style::Body,
                    [voice.plain(Id::CardRadioDead, [&voice.list(&spots)])],
                ));
            }
            voice.say(Id::CardRadio, [&radio.channel])
        }
        None => {
            lines.push(text(Style::Body, [voice.plain(Id::CardRadioNone, [])]));
            voice.say(Id::CardRadioAny, [])
        }
    };
    part(Kind::Radio, heading, lines)
}

/// What is said on the radio; a long name is cut rather than the order to stop.
fn radio_words(voice: Voice, name: &str) -> String {
    let long = voice.say(Id::CardRadioWords, [name]);
    if long.split_whitespace().count() <= RADIO_WORDS_MAX {
        return long;
    }
    let without_name = voice.say(Id::CardRadioWordsShort, [""]);
    let room = RADIO_WORDS_MAX.saturating_sub(without_name.split_whitespace().count());
    let cut: Vec<&str> = name.split_whitespace().take(room).collect();
    voice.say(Id::CardRadioWordsShort, [&cut.join(" ")])
}

pub(super) fn talk(source: &Source<'_>) -> Part {
    let voice = source.voice;
    let said = [
        Id::CardTalkHelp,
        Id::CardTalkStraps,
        Id::CardTalkLegs,
        Id::CardTalkHurt,
        Id::CardTalkClip,
    ];
    let said = said
        .iter()
        .map(|id| voice.strong(Id::CardQuoted, [&voice.say(*id, [])]));
    let mut lines: Vec<Line> = said
        .map(|run| item(Style::Lead, Mark::Point, vec![run]))
        .collect();
    lines.push(text(Style::Body, [voice.plain(Id::CardTalkOn, [])]));
    lines.push(text(
        Style::Body,
        [
            voice.strong(Id::CardTalkTell, []),
            voice.plain(Id::CardTalkSigns, []),
        ],
    ));
    part(Kind::Talk, voice.say(Id::CardTalk, []), lines)
}
