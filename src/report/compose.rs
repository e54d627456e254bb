//! Takes the rescue card of a position from a plan: make safe, call, radio, talk, the ladder, kit, landing, aftercare.
//!
//! The order is that of doing. Where the plan does not say something that a card needs, the card says that it does not,
//! because a gap read as silence is a gap found too late. The first minute is in `urgent`, the methods are in `ladder`, the
//! sketch is in `sketch`.

use super::cards::{Card, Entry, Kind, Line, Mark, Part, Run, Style};
use super::{ladder, sketch, urgent};
use crate::plan::{KitItem, Method, Place, Plan, Position, Routes, Station};
use crate::readiness::{Basis, Depth, outlook};
use crate::units::{Millimetres, Millis, Written};
use crate::words::{self, Id, Language, Message};

/// Kinds of kit that every card shows, as the plan's checks name them.
const AED: &str = "AED";
const FIRST_AID_KIT: &str = "first-aid kit";
pub(super) const SHOWN_TO_ALL: [&str; 2] = [AED, FIRST_AID_KIT];

/// Fills the texts of the catalogue.
#[derive(Clone, Copy)]
pub(super) struct Voice(pub(super) Language);

impl Voice {
    pub(super) fn say<const N: usize>(self, id: Id, args: [&str; N]) -> String {
        Message::with(id, args).text(self.0)
    }

    pub(super) fn plain<const N: usize>(self, id: Id, args: [&str; N]) -> Run {
        Run {
            strong: false,
            text: self.say(id, args),
        }
    }

    pub(super) fn strong<const N: usize>(self, id: Id, args: [&str; N]) -> Run {
        Run {
            strong: true,
            text: self.say(id, args),
        }
    }

    /// A duration such as `2 min 30 s`.
    pub(super) fn span(self, time: Millis) -> String {
        let seconds = time.0.max(0) / 1_000;
        let (minutes, rest) = ((seconds / 60).to_string(), (seconds % 60).to_string());
        match (seconds / 60, seconds % 60) {
            (0, _) => self.say(Id::CardSeconds, [&rest]),
            (_, 0) => self.say(Id::CardMinutes, [&minutes]),
            _ => self.say(Id::CardMinutesSeconds, [&minutes, &rest]),
        }
    }

    /// A length such as `27 m`, never broken before its unit.
    pub(super) fn metres(self, length: Millimetres) -> String {
        words::metres(length).replace(' ', "\u{a0}")
    }

    /// A quantity as the plan's author wrote it, never broken before its unit.
    pub(super) fn written<Q>(self, quantity: &Written<Q>) -> String {
        quantity.text.trim().replace(' ', "\u{a0}")
    }

    /// Texts one after the other.
    pub(super) fn list(self, texts: &[String]) -> String {
        let mut all = String::new();
        for text in texts {
            all = if all.is_empty() {
                text.clone()
            } else {
                self.say(Id::CardAnd, [&all, text])
            };
        }
        all
    }

    /// A place and its level.
    pub(super) fn place(self, place: &Place) -> String {
        self.say(Id::CardPlace, [&place.name, &place.level])
    }
}

pub(super) fn text<const N: usize>(style: Style, runs: [Run; N]) -> Line {
    item(style, Mark::None, runs.to_vec())
}

pub(super) fn item(style: Style, mark: Mark, runs: Vec<Run>) -> Line {
    Line::Entry(Entry {
        style,
        mark,
        runs,
        held: false,
    })
}

pub(super) fn part(kind: Kind, heading: String, lines: Vec<Line>) -> Part {
    Part {
        kind,
        number: None,
        heading: Some(heading),
        aside: None,
        lines,
    }
}

/// What all parts of one card are taken from.
pub(super) struct Source<'p> {
    pub(super) voice: Voice,
    pub(super) plan: &'p Plan,
    pub(super) position: &'p Position,
    pub(super) routes: Routes<'p>,
    /// For every method, from its start to when to change.
    pub(super) changes: Vec<Millis>,
}

/// From the start of every method to when to change, with everybody there who does not work here; what a method likely
/// takes at worst where it is not to be left for another, and what the plan says where nothing can be computed.
fn changes(plan: &Plan, position: &Position) -> Vec<Millis> {
    let basis = Basis {
        position: position.id.clone(),
        present: plan.responders.iter().map(|it| it.id.clone()).collect(),
        excluded: position.workers.clone(),
        since_fall: plan.policy.alarm_time,
        ..Basis::default()
    };
    let forecast = outlook(plan, &basis, Depth::LIVE);
    let turns = forecast.as_ref().map(|it| it.turns(basis.since_fall));
    let change = |method: &Method| {
        let mut turns = turns.iter().flatten();
        let Some(turn) = turns.find(|it| it.method.method == method.id) else {
            return method.planned_change();
        };
        match turn.change_by {
            Some(by) => by.saturating_sub(turn.from),
            None => Millis(turn.method.bad_day_ms.unwrap_or(turn.method.likely_ms)),
        }
    };
    position.methods.iter().map(change).collect()
}

impl<'p> Source<'p> {
    /// A place with its level; its id where the plan has none.
    pub(super) fn place(&self, id: &str) -> String {
        self.plan
            .place(id)
            .map_or_else(|| id.to_owned(), |place| self.voice.place(place))
    }

    /// The name of a place; its id where the plan has none.
    pub(super) fn place_name<'a>(&self, id: &'a str) -> &'a str
    where
        'p: 'a,
    {
        self.plan.place(id).map_or(id, |place| &place.name)
    }

    /// Everything of a kind, with the station it is at.
    pub(super) fn kit(&self, kind: &str) -> impl Iterator<Item = (&'p Station, &'p KitItem)> {
        let stations = self.plan.stations.iter();
        let all = stations.flat_map(|station| station.kit.iter().map(move |item| (station, item)));
        let kind = kind.to_owned();
        all.filter(move |(_, item)| item.kind == kind)
    }

    /// The kinds of kit that a rescue here may take, each once: those of the methods, then what every card shows.
    pub(super) fn kinds(&self) -> Vec<&'p str> {
        let methods = self.position.methods.iter();
        let asked =
            methods.flat_map(|method| method.roles.iter().filter_map(|role| role.kit.as_deref()));
        let mut kinds: Vec<&str> = Vec::new();
        for kind in asked.chain(SHOWN_TO_ALL) {
            if !kinds.contains(&kind) {
                kinds.push(kind);
            }
        }
        kinds
    }

    /// The stations that have something of a kind in service, the soonest at a place first, with the time where a way is known.
    pub(super) fn nearest(&self, kind: &str, place: &str) -> Vec<(&'p Station, Option<Millis>)> {
        let mut all: Vec<(&Station, Option<Millis>)> = Vec::new();
        for (station, _) in self.kit(kind).filter(|(_, item)| item.in_service()) {
            if !all.iter().any(|(known, _)| known.id == station.id) {
                let time = self
                    .routes
                    .between(&station.place, place)
                    .map(|route| route.time);
                all.push((station, time));
            }
        }
        all.sort_by_key(|(_, time)| time.map_or(i64::MAX, |time| time.0));
        all
    }
}

pub(super) fn card(
    plan: &Plan,
    position: &Position,
    fingerprint: &str,
    language: Language,
) -> Card {
    let voice = Voice(language);
    let source = Source {
        voice,
        plan,
        position,
        routes: Routes::new(plan),
        changes: changes(plan, position),
    };
    let mut place = source.place(&position.place);
    if let Some(height) = &position.feet_above_ground {
        place = voice.say(Id::CardPlaceHeight, [&place, &voice.written(height)]);
    }
    let mut parts = Vec::new();
    if position.methods.is_empty() {
        parts.push(stop(&source));
    }
    parts.extend([
        urgent::make_safe(&source),
        urgent::call(&source),
        urgent::outside_help(&source),
        urgent::radio(&source),
        urgent::talk(&source),
    ]);
    if !position.methods.is_empty() {
        parts.extend(ladder::parts(&source));
    }
    parts.push(kit(&source));
    if let Some(sketch) = sketch::of(&source) {
        parts.push(Part {
            kind: Kind::Sketch,
            number: None,
            heading: None,
            aside: None,
            lines: vec![Line::Sketch(sketch)],
        });
    }
    parts.extend([landing(&source), aftercare(&source)]);
    let mut done = 0;
    for part in &mut parts {
        if !matches!(
            part.kind,
            Kind::Stop | Kind::Method | Kind::Kit | Kind::Sketch
        ) {
            done += 1;
            part.number = Some(done);
        }
    }
    Card {
        language,
        id: position.id.clone(),
        kicker: voice.say(Id::CardKicker, []),
        name: position.name.clone(),
        place,
        site: plan.site.name.clone(),
        invented: plan.site.invented.then(|| voice.say(Id::InventedSite, [])),
        parts,
        foot: foot(&source, fingerprint),
        drill: false,
    }
}

fn stop(source: &Source<'_>) -> Part {
    let voice = source.voice;
    let lines = vec![
        text(Style::Loud, [voice.strong(Id::CardStopWhy, [])]),
        text(Style::Lead, [voice.plain(Id::CardStopElse, [])]),
    ];
    part(Kind::Stop, voice.say(Id::CardStop, []), lines)
}

fn kit(source: &Source<'_>) -> Part {
    let Source { voice, plan, .. } = *source;
    let head = [
        Id::CardKitKind,
        Id::CardKitName,
        Id::CardKitStation,
        Id::CardKitPlace,
        Id::CardKitLevel,
    ];
    let mut rows = Vec::new();
    let mut stations: Vec<&Station> = Vec::new();
    let mut out = Vec::new();
    for kind in source.kinds() {
        let before = rows.len();
        // Of what every card shows the nearest is enough; the others are further from the landing place.
        let shown_to_all = SHOWN_TO_ALL.contains(&kind);
        let nearest = source.nearest(kind, &source.position.landing);
        let nearest = nearest.first().map(|(station, _)| station.id.as_str());
        let wanted = |station: &Station| !shown_to_all || Some(station.id.as_str()) == nearest;
        for (station, item) in source.kit(kind).filter(|(station, _)| wanted(station)) {
            if let Some(why) = &item.out_of_service {
                out.push(voice.say(Id::CardKitOut, [&item.name, &station.name, why]));
                continue;
            }
            let (place, level) = match plan.place(&station.place) {
                Some(place) => (place.name.clone(), place.level.clone()),
                None => (station.place.clone(), String::new()),
            };
            // The kind stands beside it; what follows it in the name tells one from another.
            let own = item
                .name
                .strip_prefix(kind)
                .and_then(|rest| rest.strip_prefix(' '))
                .unwrap_or(&item.name);
            let name = match item.count {
                1 => own.to_owned(),
                count => voice.say(Id::CardKitCount, [&count.to_string(), own]),
            };
            let row = [kind, &name, &station.name, &place, &level]
                .map(str::to_owned)
                .to_vec();
            // Several of a kind at one station share a row.
            match rows
                .iter_mut()
                .find(|it: &&mut Vec<String>| it[0] == row[0] && it[2..] == row[2..])
            {
                Some(same) => same[1] = voice.list(&[same[1].clone(), name]),
                None => rows.push(row),
            }
            if !stations.iter().any(|it| it.id == station.id) {
                stations.push(station);
            }
        }
        if rows.len() == before {
            let nowhere = voice.say(Id::CardKitNowhere, []);
            rows.push(vec![
                kind.to_owned(),
                nowhere,
                String::new(),
                String::new(),
                String::new(),
            ]);
        }
    }
    let head = head.iter().map(|id| voice.say(*id, [])).collect();
    let mut lines = vec![Line::Table { head, rows }];
    if !out.is_empty() {
        let out = voice.plain(Id::Step, [&voice.list(&out)]);
        lines.push(text(Style::Step, [voice.strong(Id::CardKitLeave, []), out]));
    }
    for station in &stations {
        if let Some(how) = &station.locked {
            let runs = [
                voice.strong(Id::CardLocked, [&station.name]),
                voice.plain(Id::Step, [how]),
            ];
            lines.push(text(Style::Step, runs));
        }
    }
    if sketch::of(source).is_none() {
        lines.extend(sketch::ways_in_words(source, &stations));
    }
    part(Kind::Kit, voice.say(Id::CardKit, []), lines)
}

fn landing(source: &Source<'_>) -> Part {
    let Source {
        voice, position, ..
    } = *source;
    let landing = source.place(&position.landing);
    let mut lines = vec![text(Style::Lead, [voice.strong(Id::Step, [&landing])])];
    for (kind, none) in [(AED, Id::CardNoAed), (FIRST_AID_KIT, Id::CardNoFirstAid)] {
        let run = match source.nearest(kind, &position.landing).first() {
            Some((station, Some(time))) if time.0 > 0 => {
                let args = [
                    &station.name,
                    &source.place(&station.place),
                    &voice.span(*time),
                ];
                voice.plain(Id::CardNearestAway, args.map(String::as_str))
            }
            Some((station, Some(_))) => voice.plain(Id::CardNearestHere, [&station.name]),
            Some((station, None)) => voice.plain(
                Id::CardNearestNoWay,
                [&station.name, &source.place(&station.place)],
            ),
            None => voice.plain(none, []),
        };
        lines.push(text(
            Style::Body,
            [voice.strong(Id::CardLabel, [kind]), run],
        ));
    }
    lines.push(item(
        Style::Body,
        Mark::Box,
        vec![voice.plain(Id::CardAedSend, [])],
    ));
    part(Kind::Landing, voice.say(Id::CardLanding, []), lines)
}

fn aftercare(source: &Source<'_>) -> Part {
    let Source { voice, plan, .. } = *source;
    let mut lines = vec![text(Style::Body, [voice.strong(Id::CardCareTrained, [])])];
    let numbered = |number: usize, runs: Vec<Run>| {
        item(
            Style::Body,
            Mark::Number(u32::try_from(number).unwrap_or(u32::MAX)),
            runs,
        )
    };
    if let Some(own) = &plan.first_aid {
        let heading = match &own.source {
            Some(by) => voice.strong(Id::CardCarePlanBy, [by]),
            None => voice.strong(Id::CardCarePlan, []),
        };
        lines.push(text(Style::Body, [heading]));
        let own = own.lines.iter().enumerate();
        lines.extend(own.map(|(i, line)| numbered(i + 1, vec![voice.plain(Id::Step, [line])])));
    }
    let recheck = voice.span(plan.policy.recheck_after);
    let care = [
        vec![voice.strong(Id::CareLayFlat, [])],
        vec![voice.plain(Id::CareBleeding, [])],
        vec![
            voice.plain(Id::CareAirway, []),
            voice.plain(Id::CareAirwayCaution, []),
        ],
        vec![voice.plain(Id::CardCareCpr, [])],
        vec![voice.plain(Id::CardCareBreathing, [])],
        vec![voice.plain(Id::CareLoosenWarm, [])],
        vec![
            voice.plain(Id::CardCareWatch, []),
            voice.plain(Id::CardCareRecheck, [&recheck]),
        ],
        vec![voice.plain(Id::CardCareDoctor, [])],
    ];
    if plan.first_aid.is_some() {
        // Below the plan's own list it stands as one text, so that nobody counts two lists.
        let runs = std::iter::once(vec![voice.strong(Id::CardCareBuiltIn, [])])
            .chain(care)
            .flatten();
        lines.push(item(Style::Body, Mark::None, runs.collect()));
    } else {
        lines.extend(
            care.into_iter()
                .enumerate()
                .map(|(i, runs)| numbered(i + 1, runs)),
        );
    }
    part(Kind::Aftercare, voice.say(Id::CardAftercare, []), lines)
}

fn foot(source: &Source<'_>, fingerprint: &str) -> Vec<String> {
    let Source { voice, plan, .. } = *source;
    let site = &plan.site;
    let none = voice.say(Id::CardNoDate, []);
    let date = |date: &Option<chrono::NaiveDate>| {
        date.map_or_else(|| none.clone(), |date| date.to_string())
    };
    let approved = site
        .approved_by
        .clone()
        .unwrap_or_else(|| voice.say(Id::CardNobody, []));
    let args = [
        site.revision.as_str(),
        &date(&site.date),
        &approved,
        &date(&site.review_by),
        fingerprint,
    ];
    vec![
        voice.say(Id::CardTarget, [&voice.span(plan.policy.target)]),
        voice.say(Id::CardCaution, []),
        voice.say(Id::CardPlan, args),
    ]
}
