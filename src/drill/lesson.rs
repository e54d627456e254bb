//! Takes from one incident what drills teach: how long each milestone, step, way and order took.
//!
//! Made once from the records and kept, so that thousands of drills need not be read again. What a slip recorded and an undo
//! took back does not count. A drill that was broken off, or turned real, keeps its times up to there, each marked as broken
//! off; a time of which only the least is known is marked so too. Limits: only the first casualty, because those after it
//! wait for the crew; a step that did not work has no time, because that it may fail is another figure of the plan. An order
//! is passed on from when its words could be begun, as `spoken` says, to its read-back, and its way begins there; nobody's
//! read-back is guessed. An order that was never said, or not answered in words by somebody who was then seen at work, tells
//! nothing of how long it took to pass.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::pace::way_times;
use super::spoken;
use super::stands::{self, Standing};
use super::statistics::Span;
use super::steps::{Course, Doing};
use crate::incident::{Event, Facts, Opening, Order, Record, Report, State, Whereabouts};
use crate::plan::{Plan, ThreePoint, link_time};
use crate::readiness::{Light, Posting};
use crate::units::Millis;

/// What was played.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Played {
    /// A drill in which people moved.
    #[default]
    Drill,
    /// A drill at a table.
    TableTop,
    /// A real rescue.
    Rescue,
}

/// What one incident teaches.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Lesson {
    /// Incident id.
    pub incident: String,
    /// What was played; a drill that turned real stays the drill it was until then.
    pub played: Played,
    /// Wall clock at activation, ms since 1970 in UTC.
    pub started_ms: i64,
    /// Offset of local time from UTC at activation, minutes.
    pub offset_min: i32,
    /// Name of the site.
    pub site: String,
    /// True in the dark.
    pub dark: bool,
    /// Position id; none where the plan does not know the place.
    pub position: Option<String>,
    /// Responder id of who was in command at the activation.
    pub in_command: Option<String>,
    /// Responder ids of everybody who was sent, sorted.
    pub crew: Vec<String>,
    /// When it turned real, in ms since activation.
    pub turned_real_ms: Option<i64>,
    /// From the fall to the confirmed emergency call.
    pub call: Option<Span>,
    /// From the fall until one may go near.
    pub safe: Option<Span>,
    /// From the fall to a responder's touch.
    pub contact: Option<Span>,
    /// From the fall to off the harness.
    pub off: Option<Span>,
    /// From the fall to the landing place.
    pub landed: Option<Span>,
    /// The steps that were begun, in order; those that did not work are left out.
    pub steps: Vec<StepTaken>,
    /// The ways that were gone.
    pub ways: Vec<WayGone>,
    /// From each order to its being said over the radio.
    pub said: Vec<Span>,
    /// From when the words of each order could be begun to its being read back, or to the words "on the way".
    pub heard: Vec<Span>,
    /// Who did what.
    pub parts: Vec<PartTaken>,
}

/// A step of a method, once.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepTaken {
    /// Position id.
    pub position: String,
    /// Method id.
    pub method: String,
    /// Index of the step.
    pub step: usize,
    /// What is done in it, as the plan said it: a step that was rewritten is another one.
    pub say: String,
    /// From the step before to its end, everything waited for included.
    pub span: Span,
    /// The work alone: from when everybody it waits for was there and one could go near. None where nobody said when that was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub work: Option<Span>,
}

/// A way that somebody went on an order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct WayGone {
    /// Place id where it began.
    pub from: String,
    /// Station id where kit was picked up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub station: Option<String>,
    /// Place id where it ended.
    pub to: String,
    /// From the read-back, else from the order being said, to being there.
    pub span: Span,
    /// What was expected, in ms.
    pub likely_ms: i64,
    /// The links along it.
    pub links: Vec<Passed>,
}

/// A link as it was passed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Passed {
    /// Link id.
    pub link: String,
    /// True towards its `to` end.
    pub forwards: bool,
    /// What was expected, in ms.
    pub likely_ms: i64,
}

/// Somebody in a role.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct PartTaken {
    /// Responder id.
    pub responder: String,
    /// Method id.
    pub method: String,
    /// Role id.
    pub role: String,
    /// The qualification that it asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub qualification: Option<String>,
}

impl Lesson {
    /// What the records of an incident teach; none where nothing was opened.
    pub fn of(state: &State) -> Option<Lesson> {
        let opened = state.log.first()?;
        let Event::Opened(opening) = &opened.event else {
            return None;
        };
        let part = stands::part(&state.log);
        let mut taking = Taking::default();
        for standing in part.counting() {
            taking.take(standing);
        }
        let end = taking.broken_off.unwrap_or(part.end);
        let mut lesson = taking.close(end);
        lesson.incident.clone_from(&opening.incident);
        lesson.played = Played::of(opening);
        lesson.started_ms = opened.now.wall_ms;
        lesson.offset_min = opened.now.offset_min;
        lesson.in_command.clone_from(&opening.in_command);
        lesson.dark = opening.shift.as_ref().and_then(|it| it.light) == Some(Light::Dark);
        lesson.turned_real_ms = part.turned_real.map(|it| it.0);
        Some(lesson)
    }

    /// The day at the place, in days since 1970.
    pub fn day(&self) -> i64 {
        let offset = i64::from(self.offset_min).saturating_mul(60_000);
        self.started_ms
            .saturating_add(offset)
            .div_euclid(86_400_000)
    }

    /// True where the casualty came off the harness before it was broken off.
    pub fn is_complete(&self) -> bool {
        self.off.is_some_and(|it| it.ended)
    }
}

impl Played {
    /// What was begun with this opening.
    pub fn of(opening: &Opening) -> Played {
        match (opening.drill, &opening.exercise) {
            (false, _) => Played::Rescue,
            (true, Some(exercise)) if exercise.table_top => Played::TableTop,
            (true, _) => Played::Drill,
        }
    }
}

/// An order from the moment it was given.
struct Given {
    order: Order,
    /// When its words could be begun.
    begun: Option<Millis>,
    heard: Option<Millis>,
    there: Option<Millis>,
    /// What it was to bring was not there, or its way was blocked: the time it took is none of that way.
    upset: bool,
}

/// A step that was followed, for whichever casualty.
pub(crate) struct StepFollowed {
    /// For which, from 1.
    pub(crate) casualty: u16,
    /// When it ended, or was broken off, since activation.
    pub(crate) at: Millis,
    /// What it took.
    pub(crate) taken: StepTaken,
}

/// An order that was followed from when it was given to its end.
pub(crate) struct OrderFollowed {
    /// The order, as it stood at its end.
    pub(crate) order: Order,
    /// When it ended; none where it stood to the end.
    pub(crate) ended: Option<Millis>,
    /// True where whoever was on it was heard of.
    pub(crate) answered: bool,
    /// When its words could be begun, and from there to its read-back.
    pub(crate) passed: Option<(Millis, Span)>,
    /// When its way began, how long it took, and in haste, likely, on a bad day.
    pub(crate) way: Option<(Millis, Span, ThreePoint)>,
}

/// What was followed in an incident.
#[derive(Default)]
pub(crate) struct Followed {
    /// The steps, in the order in which they ended.
    pub(crate) steps: Vec<StepFollowed>,
    /// The orders, in the order in which they ended.
    pub(crate) orders: Vec<OrderFollowed>,
}

impl Followed {
    /// Follows everything in it, for every casualty and also after a drill has turned real.
    pub(crate) fn of(log: &[Arc<Record>]) -> Followed {
        let part = stands::whole(log);
        let mut taking = Taking {
            everybody: true,
            ..Taking::default()
        };
        for standing in part.counting() {
            taking.take(standing);
        }
        taking.end(part.end);
        taking.followed
    }
}

/// Takes an incident in record by record.
#[derive(Default)]
struct Taking {
    state: State,
    lesson: Lesson,
    /// The steps of each casualty; of the first alone where not everybody is followed.
    courses: BTreeMap<u16, Course>,
    everybody: bool,
    followed: Followed,
    given: BTreeMap<u64, Given>,
    /// When the last words over the radio were over.
    quiet: Millis,
    safe: Option<Millis>,
    broken_off: Option<Millis>,
}

impl Taking {
    fn take(&mut self, standing: &Standing<'_>) {
        let (at, record) = (standing.at, standing.record);
        if matches!(record.event, Event::Corrected { .. }) {
            return;
        }
        let before = self.steps_now();
        if let Event::WordsSaid { orders, .. } = &record.event {
            let given = spoken::given(&self.state.facts, orders);
            let begun = given.unwrap_or(at).max(self.quiet);
            for number in orders {
                if let Some(own) = self.given.get_mut(number) {
                    own.begun.get_or_insert(begun);
                }
            }
            self.quiet = at;
        }
        self.state.apply(record.as_ref().clone());
        let facts = &self.state.facts;
        match &record.event {
            Event::StandDownBegan {} => self.broken_off = Some(at),
            Event::StandDownLeft {} => self.broken_off = None,
            Event::ResponderReported { responder, report } => {
                let own = |it: &&mut Given| it.order.posting.responder == *responder;
                if let Some(given) = self.given.values_mut().rev().find(own) {
                    match report {
                        Report::Heard | Report::OnTheWay => {
                            // Who touched no "said" spoke all the same.
                            let begun = given.order.at.max(self.quiet);
                            given.begun.get_or_insert(begun);
                            given.heard.get_or_insert(at);
                            self.quiet = at;
                        }
                        Report::There => _ = given.there.get_or_insert(at),
                        // Whoever is late was not there after all.
                        Report::Late => given.there = None,
                        _ => {}
                    }
                }
            }
            Event::WayBlocked { link } => {
                for given in self.given.values_mut().filter(|it| it.there.is_none()) {
                    given.upset |= passed(facts, &given.order.posting)
                        .iter()
                        .any(|it| it.link == *link);
                }
            }
            _ => {}
        }
        if let Some(case) = facts.cases().next()
            && case.may_go_near()
        {
            self.safe.get_or_insert(at);
        }
        self.follow_steps(standing, before);
        self.follow_orders(at);
    }

    /// The step being done for each casualty that is followed.
    fn steps_now(&mut self) -> BTreeMap<u16, Option<Doing>> {
        let facts = &self.state.facts;
        let followed = facts.cases().map(|it| it.number);
        let followed = followed.filter(|it| self.everybody || *it == 1);
        let numbers: Vec<u16> = followed.collect();
        let of = |number: u16| {
            let course = self.courses.entry(number);
            let course = course.or_insert_with(|| Course::of(number));
            (number, course.step_of(facts))
        };
        numbers.into_iter().map(of).collect()
    }

    fn follow_steps(&mut self, standing: &Standing<'_>, before: BTreeMap<u16, Option<Doing>>) {
        let (facts, given) = (&self.state.facts, &self.given);
        let mut taken = Vec::new();
        for (number, before) in before {
            let there = |role: &str, method: &str| said_there(given, number, role, method);
            if let Some(course) = self.courses.get_mut(&number) {
                course.take(standing, before, facts, &there, &mut taken);
            }
            self.followed.add(number, standing.at, &mut taken);
        }
    }

    /// Takes up new orders, and lets go of those that stand no more.
    fn follow_orders(&mut self, at: Millis) {
        let orders = &self.state.facts.orders;
        for order in orders {
            match self.given.get_mut(&order.number) {
                Some(given) => {
                    given.upset |= order.empty_handed;
                    given.order.said = order.said;
                    given.order.there = order.there;
                }
                None => {
                    let given = Given {
                        order: order.clone(),
                        begun: None,
                        heard: None,
                        there: None,
                        upset: false,
                    };
                    self.given.insert(order.number, given);
                }
            }
        }
        let stands = |number: &u64| orders.iter().any(|it| it.number == *number);
        let over: Vec<u64> = self
            .given
            .keys()
            .filter(|it| !stands(it))
            .copied()
            .collect();
        for number in over {
            if let Some(given) = self.given.remove(&number) {
                self.over(&given, at);
            }
        }
    }

    /// What an order taught that has ended, or that the end came over.
    fn over(&mut self, given: &Given, end: Millis) {
        let facts = &self.state.facts;
        let (order, lesson) = (&given.order, &mut self.lesson);
        let span = |from: Millis, to: Option<Millis>| Span {
            time: to.unwrap_or(end).saturating_sub(from).max(Millis::ZERO),
            ended: to.is_some(),
        };
        let seen = order.there.or(given.there);
        if order.said.is_some() || given.heard.or(seen).is_none() {
            lesson.said.push(span(order.at, order.said));
        }
        let begun = given.begun;
        let begun = begun.filter(|_| given.heard.is_some() || seen.is_none());
        let passed_on = begun.map(|begun| (begun, span(begun, given.heard)));
        lesson.heard.extend(passed_on.map(|it| it.1));
        let posting = &order.posting;
        let understood = given.heard.or(order.said);
        let mut way = None;
        if let (Some(from), Some(first)) = (understood, posting.way.first())
            && (given.there.is_some() || order.there.is_none())
            && !given.upset
        {
            let gone = span(from, given.there);
            way = Some((from, gone, way_times(facts, order)));
            lesson.ways.push(WayGone {
                from: first.0.clone(),
                station: posting.station.clone(),
                to: posting.place.clone(),
                span: gone,
                likely_ms: posting.travel_ms,
                links: passed(facts, posting),
            });
        }
        lesson.crew.push(posting.responder.clone());
        if !order.method.is_empty() {
            let case = facts.case_of(order.casualty);
            let role = case.method(&order.method);
            let role = role.and_then(|it| it.role(&posting.role));
            lesson.parts.push(PartTaken {
                responder: posting.responder.clone(),
                method: order.method.clone(),
                role: posting.role.clone(),
                qualification: role.and_then(|it| it.qualification.clone()),
            });
        }
        if self.everybody {
            let stands = facts.orders.iter().any(|it| it.number == order.number);
            self.followed.orders.push(OrderFollowed {
                order: order.clone(),
                ended: (!stands).then_some(end),
                answered: given.heard.or(seen).is_some(),
                passed: passed_on,
                way,
            });
        }
    }

    /// What goes on at the end is broken off.
    fn end(&mut self, end: Millis) {
        let mut taken = Vec::new();
        for (number, course) in &self.courses {
            let (facts, given) = (&self.state.facts, &self.given);
            let there = |role: &str, method: &str| said_there(given, *number, role, method);
            course.close(facts, end, &there, &mut taken);
            self.followed.add(*number, end, &mut taken);
        }
        for given in std::mem::take(&mut self.given).into_values() {
            self.over(&given, end);
        }
    }

    /// The end.
    fn close(mut self, end: Millis) -> Lesson {
        self.end(end);
        let Taking {
            state,
            mut lesson,
            followed,
            safe,
            ..
        } = self;
        let steps = followed.steps.into_iter();
        lesson.steps = steps.map(|it| it.taken).collect();
        let facts = &state.facts;
        lesson.crew.sort();
        lesson.crew.dedup();
        lesson.parts.sort();
        lesson.parts.dedup();
        if let Some(opened) = &facts.opened {
            lesson.site.clone_from(&opened.plan.site.name);
        }
        let Some(case) = facts.cases().next() else {
            return lesson;
        };
        let casualty = case.casualty;
        if let Whereabouts::Known(id) = &casualty.place {
            lesson.position = Some(id.clone());
        }
        let since_fall = |at: Option<Millis>| {
            let reached = at.filter(|it| *it <= end);
            Some(Span {
                time: reached.unwrap_or(end).saturating_sub(casualty.fell),
                ended: reached.is_some() && !case.at_least(),
            })
        };
        lesson.call = since_fall(facts.call.confirmed);
        lesson.safe = since_fall(safe);
        lesson.contact = since_fall(casualty.contact);
        lesson.off = since_fall(casualty.off.map(|it| it.0));
        lesson.landed = since_fall(casualty.landed);
        lesson
    }
}

impl Followed {
    fn add(&mut self, casualty: u16, at: Millis, taken: &mut Vec<StepTaken>) {
        let steps = taken.drain(..);
        self.steps.extend(steps.map(|taken| StepFollowed {
            casualty,
            at,
            taken,
        }));
    }
}

/// When whoever has a role in a method for this casualty said that they are there.
fn said_there(
    given: &BTreeMap<u64, Given>,
    casualty: u16,
    role: &str,
    method: &str,
) -> Option<Millis> {
    let mut newest = given.values().rev();
    let own = newest.find(|it| {
        let order = &it.order;
        order.casualty == casualty && order.method == method && order.posting.role == role
    });
    own.and_then(|it| it.there)
}

/// The links along the way of an order.
fn passed(facts: &Facts, posting: &Posting) -> Vec<Passed> {
    let Some(opened) = &facts.opened else {
        return Vec::new();
    };
    let pairs = posting.way.windows(2);
    pairs
        .filter_map(|pair| {
            let time = pair[1].1.saturating_sub(pair[0].1);
            link_between(&opened.plan, &pair[0].0, &pair[1].0, Millis(time))
        })
        .collect()
}

/// The link between two places that takes so long; the first of several alike.
fn link_between(plan: &Plan, from: &str, to: &str, time: Millis) -> Option<Passed> {
    let joins = plan.links.iter().filter_map(|link| {
        let forwards = link.from == from && link.to == to;
        let joins = forwards || (link.from == to && link.to == from);
        joins.then_some((link, forwards))
    });
    let off_by = |link, forwards| {
        let likely = link_time(link, &plan.policy, forwards);
        likely.0.saturating_sub(time.0).saturating_abs()
    };
    let (link, forwards) = joins.min_by_key(|(link, forwards)| off_by(link, *forwards))?;
    Some(Passed {
        link: link.id.clone(),
        forwards,
        likely_ms: time.0,
    })
}
