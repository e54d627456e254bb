//! Fills the sheets on which a scenario is chosen, changed or made: who plays, wind and light, and what goes wrong when.
//!
//! What a person chooses step by step is carried from sheet to sheet as the text that the record would have of it.

use super::entry::{Entry, Next};
use super::shift::{light, speed_of};
use super::sight::Sight;
use super::ui::{Icon, SheetKind, Tone};
use crate::drill::{SURPRISES_MAX, When};
use crate::incident::{Exercise, Hanging, Inject, Setting};
use crate::plan::{Plan, Rung};
use crate::readiness::Light;
use crate::signal::{Prepare, Tap};
use crate::units::{Millis, Speed};
use crate::words::{Id, clock};
use slint::SharedString;

/// Winds that can be played, in m/s.
const WINDS: [i64; 9] = [5, 8, 10, 12, 14, 16, 18, 20, 25];
/// How much later the ambulance comes, in minutes.
const DELAYS: [i64; 4] = [5, 10, 15, 30];
/// When a surprise comes after the start, in seconds.
const TIMES: [i64; 8] = [30, 60, 90, 120, 180, 240, 300, 480];
/// From when to when a surprise can be drawn, in seconds.
const SPANS: [(i64, i64); 3] = [(30, 120), (60, 300), (120, 600)];

fn exercise(sight: Sight<'_>) -> &Exercise {
    &sight.snapshot.prepared.exercise
}

fn setting(sight: Sight<'_>) -> &Setting {
    &exercise(sight).setting
}

fn plan(sight: Sight<'_>) -> &Plan {
    &sight.snapshot.plan.plan
}

fn stay(what: Prepare, title: SharedString) -> Entry {
    Entry::new(
        Next::Stay(Tap::Prepare(what)),
        title,
        SharedString::default(),
    )
}

fn up(what: Prepare, title: SharedString) -> Entry {
    Entry::new(Next::Up(Tap::Prepare(what)), title, SharedString::default())
}

/// The parts of a scenario, as entries of the page.
pub(super) fn parts(sight: Sight<'_>) -> [Entry; 3] {
    let crew = match &setting(sight).crew {
        None => sight.label(Id::DrillCrewAll),
        Some(crew) => {
            let here = sight.roll().present;
            let play = here.iter().filter(|id| crew.contains(id)).count();
            let counts = [&*play.to_string(), &*here.len().to_string()];
            sight.with(Id::DrillCrewSome, counts)
        }
    };
    let surprises = match exercise(sight).surprises.len() {
        0 => sight.label(Id::DrillSurprisesNone),
        count => sight.with(Id::DrillSurprises, [&count.to_string()]),
    };
    [
        Entry::open(SheetKind::DrillCrew, sight.label(Id::DrillCrew), crew).icon(Icon::People),
        Entry::open(
            SheetKind::DrillAround,
            sight.label(Id::DrillAround),
            around(sight),
        )
        .icon(Icon::Wind),
        Entry::open(
            SheetKind::DrillSurprises,
            sight.label(Id::DrillSurprisesTile),
            surprises,
        )
        .icon(Icon::Change),
    ]
}

/// What wind, light and time of the day are played, in a line.
fn around(sight: Sight<'_>) -> SharedString {
    let setting = setting(sight);
    let time = setting
        .time_min
        .map(|it| format!("{}:{:02}", it / 60, it % 60));
    let light = setting.light.map(|it| sight.label(light(it)).to_string());
    let wind = setting
        .wind
        .map(|it| sight.with(Id::DrillWindIs, [&speed_of(it)]).to_string());
    let all: Vec<String> = time.into_iter().chain(light).chain(wind).collect();
    match all.is_empty() {
        true => sight.label(Id::DrillAroundDay),
        false => all.join(", ").into(),
    }
}

/// Everybody on shift; whoever is in command always plays.
pub(super) fn crew(sight: Sight<'_>) -> Vec<Entry> {
    let here = sight.roll().present;
    let command = sight.snapshot.settings.in_command.as_ref();
    let people = plan(sight)
        .responders
        .iter()
        .filter(|it| here.contains(&it.id));
    people
        .map(|it| {
            let leads = command == Some(&it.id);
            let plays = setting(sight)
                .crew
                .as_ref()
                .is_none_or(|crew| crew.contains(&it.id));
            let sub = match leads {
                true => sight.label(Id::StandbyInCommand),
                false => SharedString::default(),
            };
            let tap = Tap::Prepare(Prepare::Player(it.id.clone()));
            Entry::new(Next::Stay(tap), it.name.as_str().into(), sub)
                .chosen(plays || leads)
                .enabled(!leads)
        })
        .collect()
}

pub(super) fn conditions(sight: Sight<'_>) -> Vec<Entry> {
    let now = setting(sight);
    let wind = now
        .wind
        .map_or_else(|| sight.label(Id::DrillAroundDay), |it| speed_of(it).into());
    let wind = Entry::open(SheetKind::DrillWind, sight.label(Id::SheetWind), wind).icon(Icon::Wind);
    let day = stay(Prepare::Light(None), sight.label(Id::DrillAroundDay));
    let lights = [Light::Day, Light::Lit, Light::Dark].map(|it| {
        stay(Prepare::Light(Some(it)), sight.label(light(it))).chosen(now.light == Some(it))
    });
    [wind, day.chosen(now.light.is_none())]
        .into_iter()
        .chain(lights)
        .collect()
}

pub(super) fn winds(sight: Sight<'_>) -> Vec<Entry> {
    let now = setting(sight).wind;
    let day = up(Prepare::Wind(None), sight.label(Id::DrillAroundDay)).chosen(now.is_none());
    let winds = WINDS.iter().map(|it| {
        let wind = Speed(it * 1_000);
        up(Prepare::Wind(Some(wind)), speed_of(wind).into()).chosen(now == Some(wind))
    });
    [day].into_iter().chain(winds).collect()
}

/// The surprises that come, each of which a touch leaves out, and the way to one more.
pub(super) fn surprises(sight: Sight<'_>) -> Vec<Entry> {
    let all = &exercise(sight).surprises;
    let full = all.len() >= SURPRISES_MAX;
    let sub = match full {
        true => sight.with(Id::DrillSurprisesFull, [&SURPRISES_MAX.to_string()]),
        false => SharedString::default(),
    };
    let more = Entry::open(
        SheetKind::DrillInject,
        sight.label(Id::DrillSurpriseAdd),
        sub,
    )
    .icon(Icon::Change)
    .enabled(!full);
    let there = all.iter().enumerate().map(|(index, it)| {
        let tap = Tap::Prepare(Prepare::NoSurprise(index));
        let at = clock(it.at);
        Entry::new(
            Next::Stay(tap),
            sight.say(&it.inject.said(plan(sight))),
            sight.with(Id::DrillSurpriseAway, [&at]),
        )
    });
    [more].into_iter().chain(there).collect()
}

/// A kind of surprise that is about one of several things.
fn about(kind: &str, title: SharedString) -> Entry {
    let next = Next::About(SheetKind::DrillInjectWhat, vec![kind.to_owned()]);
    Entry::new(next, title, SharedString::default())
}

/// A surprise whose time is asked next.
fn timed(sight: Sight<'_>, inject: &Inject, title: SharedString) -> Entry {
    let text = serde_json::to_string(inject).unwrap_or_default();
    let next = Next::About(SheetKind::DrillInjectWhen, vec![text]);
    let living = matches!(exercise(sight).hanging, Hanging::Live(_));
    let suits = !living || inject.suits_a_living_person();
    let sub = match suits {
        true => SharedString::default(),
        false => sight.label(Id::DrillManikinOnly),
    };
    Entry::new(next, title, sub).enabled(suits)
}

fn said(sight: Sight<'_>, inject: &Inject) -> Entry {
    timed(sight, inject, sight.say(&inject.said(plan(sight))))
}

/// Which kinds of surprise there are here.
pub(super) fn kinds(sight: Sight<'_>) -> Vec<Entry> {
    let place = sight.snapshot.prepared.position.as_ref();
    let place = place.and_then(|id| plan(sight).position(id));
    let rescues_itself = place.is_some_and(|it| {
        let mut methods = it.methods.iter();
        methods.any(|it| it.rung == Rung::SelfRescue)
    });
    let mut all = vec![
        said(sight, &Inject::StopsAnswering {}),
        about("kit", sight.label(Id::InjectKindKit)),
        about("responder", sight.label(Id::InjectKindResponder)),
    ];
    if place.is_some() {
        all.push(about("method", sight.label(Id::InjectKindMethod)));
    }
    if rescues_itself {
        all.push(said(sight, &Inject::SelfRescueFails {}));
    }
    all.extend([
        about("wind", sight.label(Id::InjectKindWind)),
        said(sight, &Inject::RadioLost {}),
        about("ambulance", sight.label(Id::InjectKindAmbulance)),
        said(sight, &Inject::WrongGate {}),
        said(sight, &Inject::SecondCasualty {}),
    ]);
    all
}

/// What a kind of surprise can be about.
pub(super) fn which(sight: Sight<'_>, kind: &str) -> Vec<Entry> {
    let plan = plan(sight);
    let one = |inject: Inject, title: SharedString| timed(sight, &inject, title);
    match kind {
        "kit" => {
            let kept = plan.stations.iter().flat_map(|station| {
                let kit = station.kit.iter().map(|it| it.kind.as_str());
                let kinds: std::collections::BTreeSet<&str> = kit.collect();
                kinds.into_iter().map(|kind| Inject::KitMissing {
                    kit: kind.to_owned(),
                    station: station.id.clone(),
                })
            });
            kept.map(|it| said(sight, &it)).collect()
        }
        "responder" => {
            let here = sight.roll().present;
            let people = plan.responders.iter().filter(|it| here.contains(&it.id));
            let cannot = |id: &String| Inject::ResponderCannot {
                responder: id.clone(),
            };
            people
                .map(|it| one(cannot(&it.id), it.name.as_str().into()))
                .collect()
        }
        "method" => {
            let place = sight.snapshot.prepared.position.as_ref();
            let place = place.and_then(|id| plan.position(id));
            let methods = place.into_iter().flat_map(|it| &it.methods);
            let fails = |id: &String| Inject::MethodFails { method: id.clone() };
            methods
                .map(|it| one(fails(&it.id), super::sight::capital(&it.name)))
                .collect()
        }
        "wind" => WINDS
            .iter()
            .map(|it| {
                let speed = Speed(it * 1_000);
                one(Inject::Wind { speed }, speed_of(speed).into())
            })
            .collect(),
        "ambulance" => DELAYS
            .iter()
            .map(|it| {
                let by = Millis(it * 60_000);
                said(sight, &Inject::AmbulanceDelayed { by })
            })
            .collect(),
        _ => Vec::new(),
    }
}

/// When a surprise comes: at a time, or somewhen.
pub(super) fn when(sight: Sight<'_>, inject: &str) -> Vec<Entry> {
    let Ok(inject) = serde_json::from_str::<Inject>(inject) else {
        return Vec::new();
    };
    let one = |when: When, title: SharedString| {
        let what = Prepare::Surprise {
            when,
            inject: inject.clone(),
        };
        let next = Next::To(Tap::Prepare(what), SheetKind::DrillSurprises, Vec::new());
        Entry::new(next, title, SharedString::default())
    };
    let at = TIMES.iter().map(|it| Millis::from_seconds(*it));
    let at = at.map(|it| one(When::At(it), clock(it).into()));
    let somewhen = SPANS.iter().map(|(from, to)| {
        let (from, to) = (Millis::from_seconds(*from), Millis::from_seconds(*to));
        let title = sight.with(Id::DrillSomewhen, [&clock(from), &clock(to)]);
        one(When::Between(from, to), title)
    });
    at.chain(somewhen).collect()
}

/// What is to come at the time that is asked.
pub(super) fn hint(sight: Sight<'_>, inject: &str) -> SharedString {
    let inject = serde_json::from_str::<Inject>(inject);
    let said = inject.map(|it| sight.say(&it.said(plan(sight))));
    said.unwrap_or_default()
}

/// The scenarios there are. One that is for a manikin only is not offered for a living person, nor is a file with a fault.
pub(super) fn scenarios(sight: Sight<'_>) -> Vec<Entry> {
    let chosen = &exercise(sight).scenario;
    let say = |what, title, sub| Entry::new(Next::Send(Tap::Prepare(what)), title, sub);
    let none = say(
        Prepare::Scenario(Box::default()),
        sight.label(Id::DrillNoScenario),
        SharedString::default(),
    );
    let living = matches!(exercise(sight).hanging, Hanging::Live(_));
    let scenarios = sight.snapshot.scenarios.iter().map(|it| {
        let name = SharedString::from(it.name.as_str());
        let prepared = match &it.prepared {
            Ok(prepared) => prepared,
            Err(why) => {
                let entry = say(Prepare::Scenario(Box::default()), name, why.as_str().into());
                return entry.tone(Tone::Caution).enabled(false);
            }
        };
        let surprises = &prepared.exercise.surprises;
        let suits = !living || surprises.iter().all(|it| it.inject.suits_a_living_person());
        let count = surprises.len().to_string();
        let sub = match suits {
            true => sight.with(Id::DrillSurprises, [&count]),
            false => sight.label(Id::DrillManikinOnly),
        };
        say(Prepare::Scenario(Box::new(prepared.clone())), name, sub)
            .enabled(suits)
            .chosen(!chosen.is_empty() && it.name == *chosen)
    });
    [none.chosen(chosen.is_empty())]
        .into_iter()
        .chain(scenarios)
        .collect()
}
