//! Tells what happened, one line per record, in the reader's words.
//!
//! Bare for now: what, when, who. Pure: records in, texts out.

use crate::incident::{Act, Condition, Event, Facts, Record, State, Why, prompt};
use crate::units::Millis;
use crate::words::{Id, Language, Message, clock, label};

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

/// What the list of incidents says of one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Summary {
    /// Position as spoken, or that it is not in the plan.
    pub place: String,
    /// True for a drill.
    pub drill: bool,
    /// True once stood down.
    pub closed: bool,
    /// Time hanging, where the casualty is off the harness.
    pub hung: Option<String>,
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
        lines.push(Line {
            seq: record.seq,
            elapsed: format!("{at_least}{}", clock(record.elapsed)),
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

/// Sums an incident up for a list.
pub fn summary(state: &State, language: Language) -> Summary {
    let facts = &state.facts;
    Summary {
        place: facts
            .position()
            .map_or_else(|| label(Id::PlaceNotListed, language), |p| p.name.clone()),
        drill: facts.opened.as_ref().is_some_and(|o| o.drill),
        closed: facts.stood_down.is_some(),
        hung: facts
            .casualty()
            .off
            .map(|_| clock(facts.hanging(Millis::ZERO))),
    }
}

/// The label of a condition.
pub fn condition(condition: Condition) -> Id {
    match condition {
        Condition::Talking => Id::PickTalking,
        Condition::Unwell => Id::PickUnwell,
        Condition::NotAnswering => Id::PickNotAnswering,
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
    let method = |id: &str| {
        after
            .method(id)
            .or(before.method(id))
            .map_or_else(|| id.to_owned(), |m| m.name.clone())
    };
    let place = |id: &str| {
        after
            .opened
            .as_ref()
            .and_then(|o| o.plan.position(id))
            .map_or_else(|| id.to_owned(), |p| p.name.clone())
    };
    // What a touch answered is told in the words that stood on the answer.
    let answer = |act: &dyn Fn(&Act) -> bool| {
        prompt(before, before.line.reached_at()).and_then(|p| {
            p.choices()
                .find(|c| act(&c.act))
                .map(|c| c.label.text(language))
        })
    };
    match &record.event {
        Event::Opened(opening) => Message::with(Id::EvOpened, [&opening.plan_name]),
        Event::Activated { position: None } => Message::of(Id::EvActivated),
        Event::Activated { position: Some(id) } => Message::with(Id::EvActivatedAt, [&place(id)]),
        Event::PositionChosen { position: Some(id) } => Message::with(Id::EvPosition, [&place(id)]),
        Event::PositionChosen { position: None } => Message::of(Id::EvPositionNotListed),
        Event::FallTimeSet { at_least: true, .. } => Message::of(Id::EvFallAtLeast),
        Event::FallTimeSet { ago_ms, .. } => Message::with(Id::EvFall, [&clock(Millis(*ago_ms))]),
        Event::SafeConfirmed {} => Message::of(Id::EvSafe),
        Event::NotSafeYet {} => Message::of(Id::EvNotSafe),
        Event::HazardMadeSafe { hazard } | Event::HazardNotSafeYet { hazard } => {
            let name = after
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
        Event::OrderGiven { posting, .. } => {
            let plan = after.opened.as_ref().map(|o| o.plan.as_ref());
            let place = plan
                .and_then(|p| p.place(&posting.place))
                .map_or(posting.place.as_str(), |p| p.name.as_str());
            match &posting.kit {
                Some(kit) => {
                    Message::with(Id::EvOrderKit, [after.name(&posting.responder), place, kit])
                }
                None => Message::with(Id::EvOrder, [after.name(&posting.responder), place]),
            }
        }
        Event::MethodStarted {
            method: id,
            why: Why::Straight,
        } => Message::with(Id::EvMethodStraight, [&method(id)]),
        Event::MethodStarted { method: id, .. } => Message::with(Id::EvMethod, [&method(id)]),
        Event::StepDone { .. } => {
            let text = answer(&|act| *act == Act::StepDone).unwrap_or_default();
            Message::with(Id::EvStep, [&text])
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
            let fallback = after
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
        Event::AftercareAnswered { item, well } => {
            let text = answer(&|act| matches!(act, Act::Care(i, w) if i == item && w == well));
            Message::with(Id::EvCare, [&text.unwrap_or_default()])
        }
        Event::DangerCalled {} => Message::of(Id::EvDanger),
        Event::DangerCleared { by } => Message::with(Id::EvDangerOver, [&person(by)]),
        Event::Corrected { cause } => {
            let of = records
                .iter()
                .find(|r| r.seq == *cause && r.seq != record.seq);
            let text = of.map(|r| describe(r, before, before, records, language).text(language));
            Message::with(Id::EvCorrected, [&text.unwrap_or_default()])
        }
        Event::StandDownBegan {} => Message::of(Id::EvClosing),
        Event::StandDownLeft {} => Message::of(Id::EvClosingLeft),
        Event::StandDownAnswered { item } => {
            let text = answer(&|act| *act == Act::Close(*item)).unwrap_or_default();
            Message::with(Id::EvClosed, [&text])
        }
        Event::StoodDown {} => Message::of(Id::EvStoodDown),
        Event::PromptShown { text, .. } => Message::with(Id::EvPrompt, [text]),
        Event::ClockMarked {} => Message::of(Id::EvMark),
        Event::Resumed { .. } => Message::of(Id::EvResumed),
        Event::Unknown { kind, .. } => Message::with(Id::EvUnknown, [kind]),
    }
}
