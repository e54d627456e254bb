//! Decides which methods are open, which are left for last, which are out, and which comes next.
//!
//! The ladder's order holds among those that condition, hazards, people and kit allow. A paper that ran out makes a method
//! the last choice; only a physical failing, the condition, the rules of a confined space or a called stop put it out, and it
//! stays visible with its reason. What the person in command puts back is open, whatever else is known, except where it
//! cannot physically work.

use super::case::Case;
use super::event::{Condition, Stop};
use crate::plan::{Ground, Method, Need, Rung};
use crate::readiness::{Aim, Candidate, Paper, Unfit, in_order, target_is_lost};
use crate::units::{Millis, Ratio};
use crate::words::{Id, Message, wind};

/// Whether a method can be tried.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// It can.
    Open,
    /// After all others: somebody or some paper is missing.
    Last(Message),
    /// It cannot; the person in command may put it back where the reason is the condition or a stop.
    Out(Message),
}

impl Verdict {
    /// The reason, where it is not simply open.
    pub fn reason(&self) -> Option<&Message> {
        match self {
            Verdict::Open => None,
            Verdict::Last(why) | Verdict::Out(why) => Some(why),
        }
    }

    /// True where it cannot be tried.
    pub fn is_out(&self) -> bool {
        matches!(self, Verdict::Out(_))
    }
}

impl<'a> Case<'a> {
    /// Whether a method can be tried, with the reason where it cannot, or not before others.
    pub fn verdict(self, method: &Method) -> Verdict {
        let put_back = self.casualty.put_back.contains(&method.id);
        let out = self
            .impossible(method)
            .or_else(|| (!put_back).then(|| self.ruled_out(method)).flatten());
        match (out, self.left_for_last(method)) {
            (Some(why), _) => Verdict::Out(why),
            (None, Some(why)) => Verdict::Last(why),
            (None, None) => Verdict::Open,
        }
    }

    /// What physically, or by the rules of the place, keeps a method from working.
    fn impossible(self, method: &Method) -> Option<Message> {
        if let Some(why) = self.barred_here(method) {
            return Some(why);
        }
        let forecast = self.forecast_of(&method.id);
        if let Some(kind) = forecast.and_then(|it| it.no_kit.first()) {
            return Some(Message::with(Id::OutKit, [kind]));
        }
        forecast
            .and_then(|it| it.unfit.as_ref())
            .map(Unfit::message)
    }

    /// True where condition, wind, place or a called stop keep a method from being tried, whatever people and kit there are.
    pub fn is_barred(self, method: &Method) -> bool {
        let put_back = self.casualty.put_back.contains(&method.id);
        self.barred_here(method).is_some() || !put_back && self.ruled_out(method).is_some()
    }

    /// What the wind and the place keep from working.
    fn barred_here(self, method: &Method) -> Option<Message> {
        let too_windy = method
            .wind_max
            .as_ref()
            .zip(self.facts.wind_now())
            .filter(|(most, now)| *now > most.value);
        if let Some((most, now)) = too_windy {
            return Some(Message::with(Id::OutWind, [&wind(now), &wind(most.value)]));
        }
        let position = self.position()?;
        let confined = position.confined_space.as_ref();
        if method.enters() && confined.is_some_and(|space| !space.entry_allowed) {
            return Some(Message::of(Id::OutEntry));
        }
        let unsafe_ground = position.ground.is_some_and(|it| it != Ground::Firm);
        (method.lowers && unsafe_ground && position.ground_control.is_none())
            .then(|| Message::of(Id::OutGround))
    }

    /// What rules a method out until the person in command decides otherwise: the condition, or a called stop.
    fn ruled_out(self, method: &Method) -> Option<Message> {
        if let Some((_, stop)) = self
            .casualty
            .stopped
            .iter()
            .find(|(id, _)| *id == method.id)
        {
            return Some(stop_reason(method, *stop));
        }
        let out = match self.planned_as() {
            None | Some(Condition::Talking) => false,
            Some(Condition::Stuck | Condition::Unwell) => {
                method.needs.iter().any(|n| *n != Need::Answering)
            }
            Some(Condition::NotAnswering) => {
                !method.needs.is_empty() || method.rung == Rung::SelfRescue
            }
        };
        let unchecked = self.casualty.lapsed >= 2;
        out.then(|| {
            Message::of(if unchecked {
                Id::OutNotChecked
            } else {
                Id::OutCondition
            })
        })
    }

    /// What leaves a method for last: nobody for a role, a paper that ran out.
    fn left_for_last(self, method: &Method) -> Option<Message> {
        let forecast = self.forecast_of(&method.id)?;
        if let Some(role) = forecast.unfilled.first() {
            let needed = method.role(role).and_then(|it| it.qualification.as_ref());
            return Some(match needed {
                Some(needed) => Message::with(Id::LastNobody, [needed]),
                None => Message::of(Id::LastTooFew),
            });
        }
        forecast.papers.first().map(|paper| match paper {
            Paper::Inspection { kit } => Message::with(Id::LastInspection, [kit]),
            Paper::Rating { kit } => Message::with(Id::LastRating, [kit]),
            Paper::Qualification { responder, name } => {
                Message::with(Id::LastQualification, [self.facts.name(responder), name])
            }
        })
    }

    /// The method to begin with, or to change to: the first in the order of those left.
    pub fn next_method(self) -> Option<&'a Method> {
        self.left_in_order().next()
    }

    /// The methods that were not tried and can be, in the order in which they would be.
    pub fn left_in_order(self) -> impl Iterator<Item = &'a Method> {
        let (methods, candidates): (Vec<_>, Vec<_>) = self.left().unzip();
        let order = in_order(&candidates, self.aim(), self.facts.policy().try_floor);
        order.into_iter().map(move |index| methods[index])
    }

    /// True where nothing that is left, nor the running method, can likely meet the target any more.
    pub fn target_is_lost(self) -> bool {
        let left: Vec<Candidate> = self.left().map(|(_, candidate)| candidate).collect();
        let running = self.casualty.running.as_ref();
        let runs = running
            .and_then(|it| self.method(&it.method))
            .map(|it| self.candidate(it, false));
        let all: Vec<Candidate> = left.into_iter().chain(runs).collect();
        target_is_lost(&all, self.facts.policy().try_floor)
    }

    fn aim(self) -> Aim {
        match self.hands_first() {
            true => Aim::Hands,
            false => Aim::OffHarness,
        }
    }

    /// What was not tried and can be, in the order of the ladder.
    fn left(self) -> impl Iterator<Item = (&'a Method, Candidate)> {
        let methods = self.methods();
        let running = self.casualty.running.as_ref().map(|r| r.method.as_str());
        let here = running.and_then(|id| methods.iter().position(|m| m.id == id));
        methods
            .iter()
            .enumerate()
            .filter_map(move |(index, method)| {
                if Some(method.id.as_str()) == running || self.tried(method) {
                    return None;
                }
                let earlier = here.is_some_and(|here| index < here);
                let candidate = self.candidate(method, earlier);
                (!self.verdict(method).is_out()).then_some((method, candidate))
            })
    }

    fn candidate(self, method: &Method, earlier: bool) -> Candidate {
        const CERTAIN: Ratio = Ratio(1_000_000);
        let forecast = self.forecast_of(&method.id);
        let now = self
            .since_fall(self.facts.line.reached_at())
            .max(Millis::ZERO);
        let planned = method.success.unwrap_or(CERTAIN);
        let works = forecast.and_then(|it| it.works).unwrap_or(planned);
        Candidate {
            last: matches!(self.verdict(method), Verdict::Last(_)),
            earlier,
            chance: forecast.and_then(|it| it.chance(now)).unwrap_or(works),
            works,
            hands: self.time_to_hands(method),
            off: forecast.map_or_else(|| method.likely_work(), |it| Millis(it.likely_ms)),
        }
    }

    /// True where a method was begun and given up.
    pub fn tried(self, method: &Method) -> bool {
        let mut windows = self.casualty.windows.iter();
        windows.any(|w| w.method == method.id && !w.untried)
    }

    /// From the start of a method to hands on the casualty, in half of the cases.
    pub fn time_to_hands(self, method: &Method) -> Millis {
        use crate::plan::Milestone::{FirstContact, OffHarness};
        let forecast = self.forecast_of(&method.id);
        let expected = forecast.map(|it| it.contact_ms.unwrap_or(it.likely_ms));
        let planned = method
            .likely_until(FirstContact)
            .or_else(|| method.likely_until(OffHarness));
        expected.map_or_else(|| planned.unwrap_or(Millis(i64::MAX)), Millis)
    }

    /// True where the running method should be changed now. No time counts while committed.
    pub fn change_is_due(self, at: Millis) -> bool {
        let Some(running) = &self.casualty.running else {
            return false;
        };
        let method = self.method(&running.method);
        let out = method.is_some_and(|m| self.verdict(m).is_out());
        self.casualty.off.is_none()
            && !self.committed()
            && self.next_method().is_some()
            && (out || at >= running.change_by)
    }

    /// One line for the screen: why the running or next method goes before earlier ones of the ladder.
    pub fn why_not_in_order(self) -> Option<Message> {
        let chosen = self
            .casualty
            .running
            .as_ref()
            .and_then(|r| self.method(&r.method))
            .or_else(|| self.next_method())?;
        let before = self.methods().iter().take_while(|m| m.id != chosen.id);
        let mut before = before.filter(|m| !self.tried(m));
        let first = self.methods().first().is_some_and(|m| m.id == chosen.id);
        before
            .clone()
            .find_map(|m| self.verdict(m).reason().cloned())
            .or_else(|| (self.hands_first() && !first).then(|| Message::of(Id::HandsFirst)))
            .or_else(|| before.next().map(|_| Message::of(Id::LastUnlikely)))
    }
}

/// What stopped a method, in the plan's own words where it is one of its lines.
pub(super) fn stop_reason(method: &Method, stop: Stop) -> Message {
    let line = match stop {
        Stop::Wind => None,
        Stop::Line(index) => method.stop_if.get(index),
    };
    match line {
        Some(line) => Message::with(Id::OutStop, [line]),
        None => Message::of(Id::OutWindStop),
    }
}
