//! Puts the milestones of an incident beside what was expected and wanted of each, with the records that they rest on.
//!
//! The times are those of `drill`, which measures a drill in the same way; what a drill has no need of is added here: the order to call,
//! the first answer, the first method, the stand-down. Limits: where several records say the same at the same moment, all of
//! them are named.

use super::account::{Doubt, Measure, Stage, Try, TryEnd};
use super::read::{Entry, Read, Walker};
use crate::drill::{Mark, Named, Reached};
use crate::incident::{Case, Casualty, Event, Facts};
use crate::readiness::NEVER;
use crate::units::Millis;

/// Every milestone, whether it was reached or not.
pub(super) fn measures(read: &Read) -> Vec<Measure> {
    let mut all: Vec<Measure> = Vec::new();
    let facts = &read.state.facts;
    for reached in &read.outcome.marks {
        all.extend(before(read, reached));
        all.push(of_mark(read, reached));
    }
    if let Some(first) = facts.cases().next() {
        let at = facts.stood_down;
        all.push(plain(read, first, 0, Stage::StoodDown, at));
    }
    all
}

/// What comes in front of a milestone that drills have as well.
fn before(read: &Read, reached: &Reached) -> Vec<Measure> {
    let facts = &read.state.facts;
    let case = facts.case_of(reached.casualty.max(1));
    let one = |stage, at| plain(read, case, reached.casualty, stage, at);
    match reached.mark {
        Mark::CallPassed => {
            let asked = facts.call.ordered.first().map(|it| it.1);
            vec![one(Stage::CallOrdered, asked)]
        }
        Mark::FirstContact => {
            let began = first_method(case.casualty);
            vec![
                one(Stage::Voice, case.casualty.voice),
                one(Stage::FirstMethod, began),
            ]
        }
        _ => Vec::new(),
    }
}

fn first_method(casualty: &Casualty) -> Option<Millis> {
    let first = casualty.windows.first().map(|it| it.from);
    first.or(casualty.running.as_ref().map(|it| it.started))
}

/// A milestone that nobody expects at any time.
fn plain(read: &Read, case: Case<'_>, casualty: u16, stage: Stage, at: Option<Millis>) -> Measure {
    let about = behind(read, &stage, casualty, at);
    let entry = about.first().and_then(|seq| entry(read, *seq));
    Measure {
        at,
        since_fall: at.map(|at| case.since_fall(at)),
        at_least: case.casualty.fell_at_least || entry.is_some_and(|it| it.at_least),
        doubt: doubt_at(read, at),
        expected: None,
        target: None,
        stage,
        casualty,
        about,
    }
}

fn of_mark(read: &Read, reached: &Reached) -> Measure {
    let stage = match reached.mark {
        Mark::Started => Stage::Alarm,
        Mark::AllStopped => Stage::OthersStopped,
        Mark::CallPassed => Stage::CallPassed,
        Mark::CallMade => Stage::CallMade,
        Mark::FirstOrders => Stage::FirstOrder,
        Mark::MadeSafe => Stage::SafeToGoNear,
        Mark::FirstContact => Stage::FirstContact,
        Mark::OffHarness => Stage::OffHarness,
        Mark::Landed => Stage::Landed,
        Mark::Aftercare => Stage::Aftercare,
        Mark::HandedOver => Stage::HandedOver,
    };
    let at = reached.line_ms.map(Millis);
    Measure {
        about: behind(read, &stage, reached.casualty, at),
        stage,
        casualty: reached.casualty,
        at,
        since_fall: reached.fall_ms.map(Millis),
        at_least: reached.at_least,
        doubt: doubt_at(read, at),
        expected: reached.planned_ms.map(Millis),
        target: reached.target_ms.map(Millis),
    }
}

fn doubt_at(read: &Read, at: Option<Millis>) -> Option<Doubt> {
    let at = at?;
    let until = read.entries.iter().take_while(|it| it.at <= at);
    let doubt = until.last().map(|it| it.doubt);
    doubt.filter(|it| *it != Doubt::NONE)
}

fn entry(read: &Read, seq: u64) -> Option<&Entry> {
    read.counting().find(|it| it.record.seq == seq)
}

/// The records that say that a milestone was reached at this time: those about this casualty, or else of anybody.
fn behind(read: &Read, stage: &Stage, casualty: u16, at: Option<Millis>) -> Vec<u64> {
    let Some(at) = at else {
        return Vec::new();
    };
    let says = read
        .counting()
        .filter(|it| it.at == at && says(stage, &it.record.event));
    let all: Vec<&Entry> = says.collect();
    let own = all.iter().any(|it| it.record.casualty == casualty);
    let own = all
        .iter()
        .filter(|it| !own || it.record.casualty == casualty);
    own.map(|it| it.record.seq).collect()
}

fn says(stage: &Stage, event: &Event) -> bool {
    match stage {
        Stage::Alarm => matches!(event, Event::Opened(_) | Event::Activated { .. }),
        Stage::OthersStopped => matches!(event, Event::OthersStopped {}),
        Stage::CallOrdered => matches!(event, Event::CallOrdered { .. }),
        Stage::CallPassed => matches!(event, Event::CallPassed {}),
        Stage::CallMade => matches!(event, Event::CallConfirmed { .. }),
        Stage::FirstOrder => matches!(event, Event::OrderGiven { .. } | Event::TaskGiven { .. }),
        // What one could go near with at last: the answer, or the last hazard.
        Stage::SafeToGoNear => matches!(event, Event::SafeConfirmed {}),
        Stage::Voice => matches!(event, Event::ConditionReported { .. }),
        Stage::FirstMethod => matches!(event, Event::MethodStarted { .. }),
        Stage::FirstContact => matches!(
            event,
            Event::FirstContactMade {} | Event::StepDone { .. } | Event::OffHarness {}
        ),
        Stage::OffHarness => matches!(event, Event::OffHarness {}),
        Stage::Landed => matches!(event, Event::AtLandingPlace {}),
        Stage::Aftercare => matches!(event, Event::AftercareAnswered { .. }),
        Stage::HandedOver => matches!(event, Event::HandedOver { .. }),
        Stage::StoodDown => matches!(event, Event::StoodDown {}),
    }
}

/// The methods that were tried, in the order in which they began.
pub(super) fn tries(read: &Read) -> Vec<Try> {
    let mut trying = Trying::default();
    read.walk(&mut trying);
    for it in trying
        .tries
        .iter_mut()
        .filter(|it| it.end == TryEnd::Running)
    {
        it.to = read.end;
    }
    trying.tries
}

#[derive(Default)]
struct Trying {
    tries: Vec<Try>,
}

impl Trying {
    fn end(&mut self, entry: &Entry, end: TryEnd) {
        let own = |it: &&mut Try| it.casualty == entry.record.casualty;
        let last = self.tries.iter_mut().rev().find(own);
        if let Some(last) = last.filter(|it| it.end == TryEnd::Running) {
            last.to = entry.at;
            last.end = end;
            last.about.push(entry.record.seq);
        }
    }
}

impl Walker for Trying {
    fn after(&mut self, facts: &Facts, entry: &Entry) {
        let case = facts.case_of(entry.record.casualty);
        match &entry.record.event {
            Event::MethodStarted { method, .. } => {
                let by = case.casualty.running.as_ref().map(|it| it.change_by);
                self.tries.push(Try {
                    casualty: entry.record.casualty,
                    method: named(case, method),
                    from: entry.at,
                    to: entry.at,
                    end: TryEnd::Running,
                    change_by: by.filter(|it| it.0 < NEVER.0 / 2),
                    about: vec![entry.record.seq],
                });
            }
            Event::MethodChanged { to, .. } => {
                let to = to.as_ref().map(|to| named(case, to));
                self.end(entry, to.map_or(TryEnd::GivenUp, TryEnd::Changed));
            }
            Event::OffHarness {} => self.end(entry, TryEnd::OffHarness),
            _ => {}
        }
    }
}

/// A method and what people call it there.
pub(super) fn named(case: Case<'_>, id: &str) -> Named {
    let method = case.method(id);
    Named {
        id: id.to_owned(),
        name: method.map_or_else(|| id.to_owned(), |it| it.name.clone()),
    }
}
