//! Sets what was expected beside what it took: the work of steps, the ways, passing orders on, contact and release.
//!
//! What was expected of steps, ways and orders are the plan's three points; of a method as a whole it is the forecast that was acted on
//! when it began, else the likely times of its steps. What was broken off counts as that long at least. Limits: where nobody
//! said when people were there, a step's time has the waiting in it and says so; the plan's points mean the work alone.

use super::account::{Estimate, Subject, Try, TryEnd};
use super::measures::tries;
use super::order;
use super::read::{Entry, Read, Walker};
use crate::drill::{Followed, Named, Span};
use crate::incident::{Event, Facts, Report};
use crate::plan::Milestone;
use crate::units::Millis;
use crate::words::{Id, Phrase};

/// Everything that was expected to take some time and was begun.
pub(super) fn estimates(read: &Read) -> Vec<Estimate> {
    let followed = Followed::of(&read.state.log);
    let mut all = steps(read, &followed);
    all.extend(ways_and_orders(read, &followed));
    all.extend(methods(read));
    // The sort keeps the order in which they ended among those that began together.
    all.sort_by_key(|it| it.from);
    all
}

fn steps(read: &Read, followed: &Followed) -> Vec<Estimate> {
    let opened = read.state.facts.opened.as_ref();
    let mut all = Vec::new();
    for it in &followed.steps {
        let taken = &it.taken;
        let position = opened.and_then(|opened| opened.plan.position(&taken.position));
        let method = position.and_then(|position| position.method(&taken.method));
        let Some((method, step)) = method.and_then(|it| Some((it, it.steps.get(taken.step)?)))
        else {
            continue;
        };
        let actual = taken.work.unwrap_or(taken.span);
        let done = |event: &Event| matches!(event, Event::StepDone { method, step } if *method == taken.method && *step == taken.step);
        all.push(Estimate {
            subject: Subject::Step {
                method: Named {
                    id: method.id.clone(),
                    name: method.name.clone(),
                },
                step: taken.step,
            },
            casualty: it.casualty,
            name: taken.say.as_str().into(),
            from: it.at.saturating_sub(actual.time),
            low: Some(step.time.short),
            likely: step.time.likely,
            high: Some(step.time.long),
            actual,
            waiting: taken.work.is_none(),
            about: at_that_time(read, it.at, it.casualty, done),
        });
    }
    all
}

fn ways_and_orders(read: &Read, followed: &Followed) -> Vec<Estimate> {
    let facts = &read.state.facts;
    let time = facts.policy().order_time;
    let mut all = Vec::new();
    for it in &followed.orders {
        let (order_given, posting) = (&it.order, &it.order.posting);
        let responder = posting.responder.clone();
        let said_by = |at: Millis, reports: &'static [Report]| {
            let mut about = vec![order_given.number];
            about.extend(reported(read, at, &responder, reports));
            about
        };
        if let Some((from, actual)) = it.passed {
            let at = from.saturating_add(actual.time);
            all.push(Estimate {
                subject: Subject::Order {
                    responder: responder.clone(),
                },
                casualty: order_given.casualty,
                name: Phrase::with(Id::EstimateOrder, [facts.name(&responder).into()]),
                from,
                low: Some(time.short),
                likely: time.likely,
                high: Some(time.long),
                actual,
                waiting: false,
                about: said_by(at, &[Report::Heard, Report::OnTheWay]),
            });
        }
        if let Some((from, actual, expected)) = it.way {
            let at = from.saturating_add(actual.time);
            all.push(Estimate {
                subject: Subject::Way {
                    responder: responder.clone(),
                },
                casualty: order_given.casualty,
                name: order(facts, &order_given.method, posting).into(),
                from,
                low: Some(expected.short),
                likely: expected.likely,
                high: Some(expected.long),
                actual,
                waiting: false,
                about: said_by(at, &[Report::There]),
            });
        }
    }
    all
}

/// What was expected of a method when it began.
#[derive(Clone, Copy, Default)]
struct Expected {
    contact: Option<Millis>,
    release: Option<Millis>,
    bad_day: Option<Millis>,
}

#[derive(Default)]
struct Beginnings(Vec<Expected>);

impl Walker for Beginnings {
    fn after(&mut self, facts: &Facts, entry: &Entry) {
        let Event::MethodStarted { method, .. } = &entry.record.event else {
            return;
        };
        let case = facts.case_of(entry.record.casualty);
        let forecast = case.forecast_of(method);
        let steps = case.method(method);
        let of_plan = |milestone| steps.and_then(|it| it.likely_until(milestone));
        let contact = forecast.and_then(|it| it.contact_ms).map(Millis);
        let release = forecast.map(|it| Millis(it.likely_ms));
        self.0.push(Expected {
            contact: contact.or_else(|| of_plan(Milestone::FirstContact)),
            release: release.or_else(|| of_plan(Milestone::OffHarness)),
            bad_day: forecast.and_then(|it| it.bad_day_ms).map(Millis),
        });
    }
}

/// Each method as a whole: to the first touch in it and to the release.
fn methods(read: &Read) -> Vec<Estimate> {
    let mut beginnings = Beginnings::default();
    read.walk(&mut beginnings);
    let tries = tries(read);
    let mut all = Vec::new();
    for (tried, expected) in tries.iter().zip(beginnings.0) {
        let touched = contact(read, tried);
        if let Some(likely) = expected.contact {
            let span = touched
                .as_ref()
                .map(|it| Span::ended(it.at.saturating_sub(tried.from)));
            all.push(whole(
                tried,
                likely,
                None,
                span,
                touched.map(|it| it.record.seq),
            ));
        }
        if let Some(likely) = expected.release {
            let ended = tried.end == TryEnd::OffHarness;
            let span = ended.then(|| Span::ended(tried.to.saturating_sub(tried.from)));
            let mut release = whole(tried, likely, expected.bad_day, span, None);
            release.subject = Subject::Release {
                method: tried.method.clone(),
            };
            release.name = Phrase::with(Id::EstimateRelease, [tried.method.name.as_str().into()]);
            all.push(release);
        }
    }
    all
}

fn whole(
    tried: &Try,
    likely: Millis,
    high: Option<Millis>,
    actual: Option<Span>,
    by: Option<u64>,
) -> Estimate {
    let broken_off = || Span::broken_off(tried.to.saturating_sub(tried.from));
    let about = match by {
        Some(by) => tried
            .about
            .first()
            .copied()
            .into_iter()
            .chain([by])
            .collect(),
        None => tried.about.clone(),
    };
    Estimate {
        subject: Subject::Contact {
            method: tried.method.clone(),
        },
        casualty: tried.casualty,
        name: Phrase::with(Id::EstimateContact, [tried.method.name.as_str().into()]),
        from: tried.from,
        low: None,
        likely,
        high,
        actual: actual.unwrap_or_else(broken_off),
        waiting: false,
        about,
    }
}

/// The first touch of a responder, where it was in this try.
fn contact<'r>(read: &'r Read, tried: &Try) -> Option<&'r Entry> {
    let touch = |it: &&Entry| {
        it.record.casualty == tried.casualty
            && matches!(it.record.event, Event::FirstContactMade {})
    };
    let first = read.counting().find(touch)?;
    (first.at >= tried.from && first.at <= tried.to).then_some(first)
}

/// The record at that time that says so.
fn at_that_time(read: &Read, at: Millis, casualty: u16, says: impl Fn(&Event) -> bool) -> Vec<u64> {
    let found = read
        .counting()
        .filter(|it| it.at == at && it.record.casualty == casualty && says(&it.record.event));
    found.map(|it| it.record.seq).collect()
}

/// What was said of somebody at that time.
fn reported(read: &Read, at: Millis, of: &str, reports: &[Report]) -> Vec<u64> {
    let found = read.counting().filter(|it| {
        let said = matches!(
            &it.record.event,
            Event::ResponderReported { responder, report } if responder == of && reports.contains(report)
        );
        it.at == at && said
    });
    found.map(|it| it.record.seq).collect()
}
