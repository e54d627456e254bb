//! Tells what happened, one line per record, in the reader's words.
//!
//! Bare for now: what, when, who; `digest` sums an incident up for lists and trends. Pure: records in, texts out.

// What is computed here may come from any file and any clock, so every sum, difference and product says how it stays in range.
#![warn(clippy::arithmetic_side_effects)]

mod digest;
pub mod disclosed;
mod filter;
mod people;
mod shared;
mod tasks;
mod trends;

pub use digest::{Digest, Hung};
pub use filter::{Filter, Folded, NoOutcome, Order, Outcome};
pub use people::People;
pub use shared::shared;
pub use tasks::{Carried, open, tasks};
pub use trends::{By, Group, PastTarget, Side, trends};

use crate::incident::{
    Aftercare, CareTaker, Closing, Condition, Due, Event, Facts, Note, Opening, Owner, Record,
    Report, State, Stop, Teller, Why,
};
use crate::readiness::{Light, Posting};
use crate::units::Millis;
use crate::units::Speed;
use crate::words::{Id, Language, Message, clock, label, wind};
use std::collections::BTreeMap;

/// One line of an incident.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Number of the record.
    pub seq: u64,
    /// Time since the fall.
    pub elapsed: String,
    /// What happened.
    pub text: String,
    /// Who said so.
    pub who: String,
    /// True for what only concerns the program: prompts shown, clock marks.
    pub inner: bool,
}

/// Tells an incident record by record.
pub fn lines(records: &[Record], language: Language) -> Vec<Line> {
    let mut state = State::default();
    let mut lines = Vec::with_capacity(records.len());
    for record in records {
        let before = state.facts.clone();
        state.apply(record.clone());
        let facts = if state.facts.opened.is_some() {
            &state.facts
        } else {
            &before
        };
        let at_least = if record.at_least { "\u{2265}" } else { "" };
        let elapsed = match record.event.is_afterwards() {
            // The clock had stopped long before.
            true => String::new(),
            false => format!("{at_least}{}", clock(record.elapsed)),
        };
        lines.push(Line {
            seq: record.seq,
            elapsed,
            text: describe(record, &before, facts, records, language).text(language),
            who: facts.name(&record.who).to_owned(),
            inner: matches!(
                record.event,
                Event::PromptShown { .. } | Event::ClockMarked {}
            ),
        });
    }
    lines
}

/// How long it took to pass orders on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Passing {
    /// How many orders were said over the radio.
    pub said: usize,
    /// How many of those were answered.
    pub answered: usize,
    /// From an order to its being said: as long or less in half of them.
    pub middle: Millis,
    /// The longest of them.
    pub slowest: Millis,
}

/// How long it took to pass orders on, to hold against the plan's `order_time`; none where nothing was said.
pub fn passing(records: &[Record]) -> Option<Passing> {
    let mut state = State::default();
    let mut given: BTreeMap<u64, (Millis, String)> = BTreeMap::new();
    let mut times: Vec<Millis> = Vec::new();
    let mut waiting: Vec<String> = Vec::new();
    let mut answered: usize = 0;
    for record in records {
        state.apply(record.clone());
        let at = state.facts.line.reached_at();
        match &record.event {
            Event::OrderGiven { posting, .. } | Event::TaskGiven { posting, .. } => {
                waiting.retain(|id| *id != posting.responder);
                given.insert(record.seq, (at, posting.responder.clone()));
            }
            Event::WordsSaid { orders, .. } => {
                for (ordered, responder) in orders.iter().filter_map(|it| given.remove(it)) {
                    times.push(at.saturating_sub(ordered));
                    waiting.push(responder);
                }
            }
            Event::ResponderReported { responder, report } => {
                let answers = matches!(
                    report,
                    Report::Heard | Report::OnTheWay | Report::There | Report::Cannot
                );
                if let Some(index) = waiting.iter().position(|it| it == responder)
                    && answers
                {
                    waiting.swap_remove(index);
                    answered = answered.saturating_add(1);
                }
            }
            _ => {}
        }
    }
    times.sort_unstable();
    Some(Passing {
        said: times.len(),
        answered,
        middle: *times.get(times.len().saturating_sub(1) / 2)?,
        slowest: *times.last()?,
    })
}

/// The label of a condition.
pub fn condition(condition: Condition) -> Id {
    match condition {
        Condition::Talking => Id::PickTalking,
        Condition::Stuck => Id::PickStuck,
        Condition::Unwell => Id::PickUnwell,
        Condition::NotAnswering => Id::PickNotAnswering,
    }
}

/// What an aftercare answer said.
fn care(item: Aftercare, well: bool) -> Id {
    match (item, well) {
        (Aftercare::SafeHere, true) => Id::CareSafeHereDone,
        (Aftercare::LayFlat, true) => Id::CareLayFlatDone,
        (Aftercare::Bleeding, true) => Id::CareBleedingDone,
        (Aftercare::Airway, true) => Id::CareAirwayDone,
        (Aftercare::Breathing, true) => Id::CareBreathingDone,
        (Aftercare::Breathing, false) => Id::CareNotBreathing,
        (Aftercare::Resuscitate, true) => Id::CareResuscitateDone,
        (Aftercare::Resuscitate, false) => Id::CareResuscitateTaken,
        (Aftercare::LoosenWarm, true) => Id::CareLoosenWarmDone,
        (Aftercare::NeverAlone, true) => Id::CareNeverAloneDone,
        (Aftercare::Doctor, true) => Id::CareDoctorDone,
        (Aftercare::Watch | Aftercare::LookAgain, true) => Id::CareWatchDone,
        (Aftercare::Watch | Aftercare::LookAgain, false) => Id::CareWorse,
        (_, false) => Id::NotYet,
    }
}

/// What a closing answer said.
fn closing(item: Closing) -> Id {
    match item {
        Closing::NobodyHanging => Id::CloseNobodyHangingDone,
        Closing::Counted => Id::CloseCountedDone,
        Closing::OffRope => Id::CloseOffRopeDone,
        Closing::HandedOver => Id::CloseHandedOverDone,
        Closing::KitWithdrawn => Id::CloseKitWithdrawnDone,
        Closing::SceneLeft => Id::CloseSceneLeftDone,
        Closing::WorkStopped => Id::CloseWorkStoppedDone,
        Closing::Welfare => Id::CloseWelfareDone,
    }
}

/// The label of a note.
pub fn note(note: Note) -> Id {
    match note {
        Note::ReliefStraps => Id::NoteStraps,
        Note::LegsRaised => Id::NoteLegs,
        Note::Foothold => Id::NoteFoothold,
        Note::Bleeding => Id::NoteBleeding,
        Note::HeadHurt => Id::NoteHead,
        Note::RadioLost => Id::NoteRadio,
        Note::WayBlocked => Id::NoteWay,
        Note::Photograph => Id::NotePhoto,
        Note::Remember => Id::NoteRemember,
    }
}

/// Who said when help comes.
pub fn teller(teller: Teller) -> Id {
    match teller {
        Teller::Dispatcher => Id::TellerDispatcher,
        Teller::Coming => Id::TellerComing,
        Teller::Guide => Id::TellerGuide,
    }
}

/// An order, as it was given.
fn order(facts: &Facts, method: &str, posting: &Posting) -> Message {
    let plan = facts.opened.as_ref().map(|o| o.plan.as_ref());
    let place = plan
        .and_then(|p| p.place(&posting.place))
        .map_or(posting.place.as_str(), |p| p.name.as_str());
    let name = facts.name(&posting.responder);
    let role = if method.is_empty() { &posting.role } else { "" };
    match (role, &posting.kit) {
        (Posting::FIRST_AID, _) => Message::with(Id::EvOrderFirstAid, [name, place]),
        (Posting::TALKER, _) => Message::with(Id::EvTalker, [name]),
        (Posting::GUIDE, _) => Message::with(Id::EvGuide, [name, place]),
        (Posting::RADIO, _) => Message::with(Id::EvRadio, [name]),
        (_, Some(kit)) => Message::with(Id::EvOrderKit, [name, place, kit]),
        (_, None) => Message::with(Id::EvOrder, [name, place]),
    }
}

/// In which conditions a drill is played, where those are not the day's.
fn played_as(opening: &Opening, language: Language) -> Option<String> {
    let setting = &opening.exercise.as_ref()?.setting;
    let time = setting.time_min;
    let time = time.map(|it| format!("{}:{:02}", it / 60, it % 60));
    let light = setting.light.map(|it| {
        let id = match it {
            Light::Day => Id::LightDay,
            Light::Lit => Id::LightLit,
            Light::Dark => Id::LightDark,
        };
        label(id, language)
    });
    let wind = setting
        .wind
        .map(|it| Message::with(Id::DrillWindIs, [&wind(it)]));
    let crew = setting.crew.as_ref().map(|it| {
        let count = it.len().to_string();
        Message::with(Id::EvPlayers, [&count])
    });
    let said = [wind, crew].into_iter().flatten();
    let said = said.map(|it| it.text(language));
    let all: Vec<String> = time.into_iter().chain(light).chain(said).collect();
    (!all.is_empty()).then(|| all.join(", "))
}

/// What a record set as a task.
fn task_text(records: &[Record], number: u64, language: Language) -> String {
    let set = records.iter().find(|it| it.seq == number);
    match set.map(|it| &it.event) {
        Some(Event::TaskSet(task)) => task.text.text(language),
        _ => number.to_string(),
    }
}

fn describe(
    record: &Record,
    before: &Facts,
    after: &Facts,
    records: &[Record],
    language: Language,
) -> Message {
    let person = |id: &Option<String>| {
        id.as_deref()
            .map_or_else(|| "-".to_owned(), |id| after.name(id).to_owned())
    };
    let (now, then) = (
        after.case_of(record.casualty),
        before.case_of(record.casualty),
    );
    let method = |id: &str| {
        now.method(id)
            .or(then.method(id))
            .map_or_else(|| id.to_owned(), |m| m.name.clone())
    };
    let number = record.casualty.to_string();
    let place = |id: &str| {
        after
            .opened
            .as_ref()
            .and_then(|o| o.plan.position(id))
            .map_or_else(|| id.to_owned(), |p| p.name.clone())
    };
    let surprise = |index: usize| {
        let opened = after.opened.as_ref();
        let exercise = opened.and_then(|it| it.exercise.as_deref());
        let surprise = exercise.and_then(|it| it.surprises.get(index));
        let said = surprise
            .zip(opened)
            .map(|(it, opened)| it.inject.said(&opened.plan));
        said.map_or_else(String::new, |it| it.text(language))
    };
    match &record.event {
        Event::Opened(opening) => {
            let id = match opening.drill {
                true => Id::EvOpenedDrill,
                false => Id::EvOpened,
            };
            let opened = Message::with(id, [&opening.plan_name]);
            match played_as(opening, language) {
                None => opened,
                Some(played) => Message::with(Id::EvPlayedAs, [&opened.text(language), &played]),
            }
        }
        Event::Activated { position: None } => Message::of(Id::EvActivated),
        Event::Activated { position: Some(id) } => Message::with(Id::EvActivatedAt, [&place(id)]),
        Event::PositionChosen { position: Some(id) } => Message::with(Id::EvPosition, [&place(id)]),
        Event::PositionChosen { position: None } => Message::of(Id::EvPositionNotListed),
        Event::FallTimeSet { at_least: true, .. } => Message::of(Id::EvFallAtLeast),
        // Nobody fell at a table and nobody says when: it is what the plan has.
        Event::FallTimeSet { ago_ms, .. } if after.exercise().is_some_and(|it| it.table_top) => {
            let before = ago_ms.saturating_sub(after.line.reached_at().0);
            Message::with(Id::EvFallAtTable, [&clock(Millis(before))])
        }
        Event::FallTimeSet { ago_ms, .. } => Message::with(Id::EvFall, [&clock(Millis(*ago_ms))]),
        Event::SafeConfirmed {} => Message::of(Id::EvSafe),
        Event::NotSafeYet {} => Message::of(Id::EvNotSafe),
        Event::HazardMadeSafe { hazard } | Event::HazardNotSafeYet { hazard } => {
            let name = now
                .position()
                .and_then(|p| p.hazards.iter().find(|h| h.id == *hazard));
            let name = name.map_or(hazard.as_str(), |h| h.name.as_str());
            let safe = matches!(record.event, Event::HazardMadeSafe { .. });
            Message::with(
                if safe {
                    Id::EvHazardSafe
                } else {
                    Id::EvHazardNotSafe
                },
                [name],
            )
        }
        Event::CallOrdered { to } => Message::with(Id::EvCallOrdered, [&person(to)]),
        Event::CallPassed {} => Message::of(Id::EvCallPassed),
        Event::CallConfirmed { .. } => Message::of(Id::EvCallConfirmed),
        Event::ForecastAdopted { .. } => Message::of(Id::EvForecast),
        Event::OrderGiven {
            posting, instead, ..
        }
        | Event::TaskGiven { posting, instead } => {
            let method = match &record.event {
                Event::OrderGiven { method, .. } => method,
                _ => "",
            };
            let told = order(after, method, posting);
            match instead.first() {
                Some(before) => {
                    let before = order(after, &before.method, &before.posting).text(language);
                    Message::with(Id::EvInstead, [&told.text(language), &before])
                }
                None => told,
            }
        }
        Event::MethodStarted {
            method: id,
            why: Why::Straight,
        } => Message::with(Id::EvMethodStraight, [&method(id)]),
        Event::MethodStarted { method: id, .. } => Message::with(Id::EvMethod, [&method(id)]),
        Event::StepDone { method: id, step } => {
            // In the plan's words, whatever else this version would have asked first.
            let step = now.method(id).and_then(|m| m.steps.get(*step));
            let tried = then.casualty.running.as_ref().and_then(|r| r.fallback);
            let fallback = step.zip(tried).and_then(|(s, at)| s.fallback.get(at));
            let done = fallback.map(|f| &f.done).or(step.map(|s| &s.done));
            Message::with(Id::EvStep, [done.map_or("-", String::as_str)])
        }
        Event::NotWorkingReported { method: id, .. } => {
            Message::with(Id::EvNotWorking, [&method(id)])
        }
        Event::StraightWanted { method: id } => Message::with(Id::EvMethodStraight, [&method(id)]),
        Event::Secured {} => Message::of(Id::EvSecured),
        Event::FallbackStarted {
            method: id,
            step,
            fallback,
        } => {
            let fallback = now
                .method(id)
                .and_then(|m| m.steps.get(*step))
                .and_then(|s| s.fallback.get(*fallback));
            Message::with(Id::EvFallback, [fallback.map_or("", |f| f.say.as_str())])
        }
        Event::MoreTimeTaken { method: id, .. } => Message::with(Id::EvMoreTime, [&method(id)]),
        Event::MethodChanged { from, to: Some(to) } => {
            Message::with(Id::EvChanged, [&method(from), &method(to)])
        }
        Event::MethodChanged { from, to: None } => {
            Message::with(Id::EvChangedNone, [&method(from)])
        }
        Event::ConditionReported { condition: c } => Message::with(
            Id::EvCondition,
            [&label(condition(*c), language).to_lowercase()],
        ),
        Event::FirstContactMade {} => Message::of(Id::EvContact),
        Event::OffHarness {} => Message::of(Id::EvOff),
        Event::AtLandingPlace {} => Message::of(Id::EvLanded),
        Event::AftercareAnswered { item, well } => Message::of(care(*item, *well)),
        Event::DangerCalled {} => Message::of(Id::EvDanger),
        Event::DangerCleared { by } => Message::with(Id::EvDangerOver, [&person(by)]),
        Event::CasualtyAdded {
            responder, rescuer, ..
        } => Message::with(
            if *rescuer { Id::EvRescuer } else { Id::EvAdded },
            [&person(responder)],
        ),
        Event::CasualtyNamed { responder } => Message::with(Id::EvNamed, [&person(responder)]),
        Event::CasualtyChosen {} => Message::with(Id::EvChosen, [&number]),
        Event::WorkedOn {} => Message::with(Id::EvWorkedOn, [&number]),
        Event::InDangerSaid { danger: true } => Message::of(Id::EvInDanger),
        Event::InDangerSaid { danger: false } => Message::of(Id::EvInDangerOver),
        Event::TiedOff { .. } => Message::of(Id::EvTied),
        Event::EntryConditionMet { index } => {
            let space = now.position().and_then(|p| p.confined_space.as_ref());
            let line = space.and_then(|it| it.conditions.get(*index));
            Message::with(Id::EvEntry, [line.map_or("-", String::as_str)])
        }
        Event::GroundHeld {} => {
            let control = now.position().and_then(|p| p.ground_control.as_deref());
            Message::with(Id::EvGround, [control.unwrap_or("-")])
        }
        Event::OthersStopped {} => Message::of(Id::EvOthersStopped),
        Event::OthersNotYet {} => Message::of(Id::EvOthersNotYet),
        Event::WindReported { mm_s } => Message::with(Id::EvWind, [&wind(Speed(*mm_s))]),
        Event::StopCalled { method: id, what } => {
            let line = match what {
                Stop::Wind => None,
                Stop::Line(index) => now.method(id).and_then(|m| m.stop_if.get(*index)),
            };
            let why = line.map_or_else(|| label(Id::StopWind, language), String::clone);
            Message::with(Id::EvStop, [&method(id), &why])
        }
        Event::WentOn { method: id } => Message::with(Id::EvWentOn, [&method(id)]),
        Event::MethodPutBack { method: id } => Message::with(Id::EvPutBack, [&method(id)]),
        Event::ResponderReported { responder, report } => Message::with(
            match report {
                Report::Heard => Id::EvHeard,
                Report::OnTheWay => Id::EvOnTheWay,
                Report::There => Id::EvThere,
                Report::Late => Id::EvLate,
                Report::Lost => Id::EvLost,
                Report::Hurt => Id::EvHurt,
                Report::Cannot => Id::EvCannot,
                Report::CanAgain => Id::EvCanAgain,
            },
            [after.name(responder)],
        ),
        Event::OrderWithdrawn { responder } => {
            Message::with(Id::EvWithdrawn, [after.name(responder)])
        }
        Event::WordsSaid { text, .. } => Message::with(Id::EvSaid, [text]),
        Event::OrdersUnanswered { orders } => {
            let on = after.orders.iter().filter(|it| orders.contains(&it.number));
            let names: Vec<&str> = on.map(|it| after.name(&it.posting.responder)).collect();
            Message::with(Id::EvUnanswered, [&names.join(", ")])
        }
        Event::WayBlocked { link } | Event::WayOpened { link } => {
            let plan = after.opened.as_ref().map(|it| &it.plan);
            let ends = plan.and_then(|plan| {
                let link = plan.links.iter().find(|it| it.id == *link)?;
                let name = |id: &str| plan.place(id).map(|it| it.name.clone());
                Some([name(&link.from)?, name(&link.to)?])
            });
            let ends = ends.unwrap_or_else(|| [link.clone(), "-".to_owned()]);
            let blocked = matches!(record.event, Event::WayBlocked { .. });
            let id = if blocked {
                Id::EvWayBlocked
            } else {
                Id::EvWayOpened
            };
            Message::with(id, [&*ends[0], &*ends[1]])
        }
        Event::KitGone { kit, station, .. } => {
            let plan = after.opened.as_ref().map(|o| &o.plan);
            let at = plan.and_then(|plan| plan.station(station));
            Message::with(Id::EvKitGone, [kit, at.map_or(station, |it| &it.name)])
        }
        Event::CallFailed {} => Message::of(Id::EvCallFailed),
        Event::HelpExpected {
            in_ms,
            said_by: None,
        } => Message::with(Id::EvHelpExpected, [&clock(Millis(*in_ms))]),
        Event::HelpExpected {
            in_ms,
            said_by: Some(by),
        } => Message::with(
            Id::EvHelpSaid,
            [&clock(Millis(*in_ms)), &label(teller(*by), language)],
        ),
        Event::OutsideAsked {} => Message::of(Id::EvOutsideAsked),
        Event::OutsideTookOver {} => Message::of(Id::EvOutsideLeads),
        Event::OutsideLeft {} => Message::of(Id::EvOutsideLeft),
        Event::CommandTaken {} => Message::of(Id::EvCommandTaken),
        Event::BriefHeard {} => Message::of(Id::EvBriefHeard),
        Event::CommandNamed { by } => Message::with(Id::EvCommandNamed, [&person(by)]),
        Event::LanguageChosen { language } => Message::with(Id::EvLanguage, [language.name()]),
        Event::CameDue {
            what: Due::Surprise(index),
        } => Message::with(Id::EvSurpriseDue, [&surprise(*index)]),
        Event::SurpriseGiven { index } => Message::with(Id::EvSurpriseGiven, [&surprise(*index)]),
        Event::SurpriseLeftOut { index } => {
            Message::with(Id::EvSurpriseLeftOut, [&surprise(*index)])
        }
        Event::Stands {} => Message::of(Id::EvStands),
        Event::RealCalled {} => Message::of(Id::EvReal),
        Event::CameDue { what } => Message::of(match what {
            Due::Surprise(_) | Due::LetStand => Id::EvLetStand,
            Due::ChangeNear => Id::EvChangeNear,
            Due::PastTarget => Id::EvPastTarget,
            Due::CheckDue => Id::EvCheckDue,
            Due::CheckLost => Id::EvCheckLost,
            Due::CareCheck => Id::EvCareCheck,
        }),
        Event::Noted { note: it } => Message::with(Id::EvNote, [&label(note(*it), language)]),
        Event::StuckAloft {} => Message::of(Id::EvStuckAloft),
        Event::CareRefused {} => Message::of(Id::EvRefused),
        Event::HandedOver { to } => Message::of(match to {
            CareTaker::Ambulance => Id::HandAmbulance,
            CareTaker::FireService => Id::HandFireService,
            CareTaker::Doctor => Id::HandDoctor,
            CareTaker::Refused => Id::HandRefused,
        }),
        Event::KitWithdrawn { pieces } => Message::with(Id::EvKitWithdrawn, [&pieces.join(", ")]),
        Event::Corrected { cause } => {
            let of = records
                .iter()
                .find(|r| r.seq == *cause && r.seq != record.seq);
            let text = of.map(|r| describe(r, before, before, records, language).text(language));
            Message::with(Id::EvCorrected, [&text.unwrap_or_default()])
        }
        Event::StandDownBegan {} => Message::of(Id::EvClosing),
        Event::StandDownLeft {} => Message::of(Id::EvClosingLeft),
        Event::StandDownAnswered { item } => Message::of(closing(*item)),
        Event::StoodDown {} => Message::of(Id::EvStoodDown),
        Event::PromptShown { text, .. } => Message::with(Id::EvPrompt, [text]),
        Event::ClockMarked {} => Message::of(Id::EvMark),
        Event::Resumed { .. } => Message::of(Id::EvResumed),
        Event::TaskSet(task) => {
            let owner = match &task.owner {
                Owner::Responder(id) => after.name(id),
                Owner::Role(role) => role,
            };
            let due = task.due.format("%Y-%m-%d").to_string();
            let text = task.text.text(language);
            Message::with(Id::EvTaskSet, [&text, owner, &due])
        }
        Event::TaskDone { task } => {
            Message::with(Id::EvTaskDone, [&task_text(records, *task, language)])
        }
        Event::TaskOpen { task } => {
            Message::with(Id::EvTaskOpen, [&task_text(records, *task, language)])
        }
        Event::Unknown { kind, .. } => Message::with(Id::EvUnknown, [kind]),
    }
}
