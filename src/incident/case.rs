//! Says what follows for one casualty from what is known: the position, the methods, the step, what may be done near.
//!
//! A `Case` is a casualty seen in the incident. `Facts` answers the same questions for the one that is worked on. Which
//! method comes next, and why another does not, stands in `ladder.rs`. Computed each time and never stored.

use super::event::{Aftercare, Condition};
use super::state::{Casualty, Facts, Running, UNDO_SHOWN, Undo, Whereabouts};
use crate::plan::{Hazard, HazardKind, Method, Policy, Position, Role, Step};
use crate::readiness::{MethodForecast, Posting};
use crate::units::Millis;
use std::sync::LazyLock;

/// One casualty in the incident.
#[derive(Clone, Copy, Debug)]
pub struct Case<'a> {
    /// Everything that is known.
    pub facts: &'a Facts,
    /// The casualty.
    pub casualty: &'a Casualty,
    /// Its number, from 1.
    pub number: u16,
}

impl Facts {
    /// True from activation to stand-down.
    pub fn is_open(&self) -> bool {
        self.opened.is_some() && self.stood_down.is_none()
    }

    /// The settings in force.
    pub fn policy(&self) -> &Policy {
        static DEFAULTS: LazyLock<Policy> = LazyLock::new(Policy::default);
        let opened = self.opened.as_ref();
        opened.map_or(&DEFAULTS, |o| &o.plan.policy)
    }

    /// The casualty worked on.
    pub fn casualty(&self) -> &Casualty {
        static NOBODY: LazyLock<Casualty> = LazyLock::new(Casualty::default);
        self.casualties.get(self.focus).unwrap_or(&NOBODY)
    }

    /// The one worked on, in the incident.
    pub fn case(&self) -> Case<'_> {
        Case {
            facts: self,
            casualty: self.casualty(),
            number: number_of(self.focus),
        }
    }

    /// All of them, in the order of their numbers.
    pub fn cases(&self) -> impl Iterator<Item = Case<'_>> {
        let numbered = self.casualties.iter().enumerate();
        numbered.map(|(index, casualty)| Case {
            facts: self,
            casualty,
            number: number_of(index),
        })
    }

    /// The one with this number; the one worked on where there is none.
    pub fn case_of(&self, number: u16) -> Case<'_> {
        let mut cases = self.cases();
        cases
            .find(|case| case.number == number)
            .unwrap_or_else(|| self.case())
    }

    /// True where somebody hangs.
    pub fn anybody_hangs(&self) -> bool {
        self.casualties.iter().any(|it| it.off.is_none())
    }

    /// Time since the fall of the casualty worked on; it stands still once that casualty is off the harness.
    pub fn hanging(&self, at: Millis) -> Millis {
        self.case().hanging(at)
    }

    /// Time since the fall, going on after the harness.
    pub fn since_fall(&self, at: Millis) -> Millis {
        self.case().since_fall(at)
    }

    /// True where the time since the fall is only a lower bound.
    pub fn at_least(&self) -> bool {
        self.case().at_least()
    }

    /// The position of the plan at which the casualty worked on hangs.
    pub fn position(&self) -> Option<&Position> {
        self.case().position()
    }

    /// The methods that can be tried for the casualty worked on.
    pub fn methods(&self) -> &[Method] {
        self.case().methods()
    }

    /// A method that can be tried there.
    pub fn method(&self, id: &str) -> Option<&Method> {
        self.case().method(id)
    }

    /// What is expected of a method.
    pub fn forecast_of(&self, method: &str) -> Option<&MethodForecast> {
        self.case().forecast_of(method)
    }

    /// The method that runs for the casualty worked on.
    pub fn running(&self) -> Option<&Running> {
        self.casualty().running.as_ref()
    }

    /// The running method and its step, where one is left to do.
    pub fn step(&self) -> Option<(&Running, &Method, &Step)> {
        self.case().step()
    }

    /// True from the first connection to the casualty, or a rescuer over the edge, until the weight is on a stable surface.
    pub fn committed(&self) -> bool {
        self.case().committed()
    }

    /// True where people may go past the approach point.
    pub fn may_go_near(&self) -> bool {
        self.case().may_go_near()
    }

    /// The hazard to make safe next.
    pub fn open_hazard(&self) -> Option<&Hazard> {
        self.case().open_hazard()
    }

    /// True where nobody may touch casualty, ladder, lift or line.
    pub fn touch_nothing(&self) -> bool {
        self.case().touch_nothing()
    }

    /// What can still be taken back on the screen.
    pub fn undo_shown(&self, at: Millis) -> Option<&Undo> {
        self.undo.as_ref().filter(|u| {
            self.is_open() && self.danger.is_none() && at.0.saturating_sub(u.at.0) < UNDO_SHOWN.0
        })
    }

    /// The name of a responder as spoken.
    pub fn name<'a>(&'a self, id: &'a str) -> &'a str {
        self.opened
            .as_ref()
            .and_then(|o| o.plan.responder(id))
            .map_or(id, |r| &r.name)
    }

    /// The posting of a role in a method.
    pub fn posting(&self, method: &str, role: &str) -> Option<&Posting> {
        self.case().posting(method, role)
    }
}

fn number_of(index: usize) -> u16 {
    u16::try_from(index).map_or(u16::MAX, |index| index.saturating_add(1))
}

impl<'a> Case<'a> {
    /// Time since the fall; it stands still off the harness.
    pub fn hanging(self, at: Millis) -> Millis {
        let end = self.casualty.off.map_or(at, |(off, _)| off);
        Millis(end.0.saturating_sub(self.casualty.fell.0))
    }

    /// Time since the fall, going on after the harness.
    pub fn since_fall(self, at: Millis) -> Millis {
        Millis(at.0.saturating_sub(self.casualty.fell.0))
    }

    /// True where the time since the fall is only a lower bound.
    pub fn at_least(self) -> bool {
        self.facts.line.at_least || self.casualty.fell_at_least
    }

    /// The position of the plan.
    pub fn position(self) -> Option<&'a Position> {
        let plan = &self.facts.opened.as_ref()?.plan;
        match &self.casualty.place {
            Whereabouts::Known(id) => plan.position(id),
            Whereabouts::Unknown | Whereabouts::NotListed => None,
        }
    }

    /// The methods that can be tried here: those of the position, or the generic ones where it has none.
    pub fn methods(self) -> &'a [Method] {
        if self.casualty.place == Whereabouts::Unknown {
            return &[];
        }
        match self.position() {
            Some(position) if !position.methods.is_empty() => &position.methods,
            _ => crate::plan::bare()
                .positions
                .first()
                .map_or(&[], |p| &p.methods),
        }
    }

    /// A method that can be tried here.
    pub fn method(self, id: &str) -> Option<&'a Method> {
        self.methods().iter().find(|m| m.id == id)
    }

    /// What is expected of a method.
    pub fn forecast_of(self, method: &str) -> Option<&'a MethodForecast> {
        let forecast = self.casualty.forecast.as_ref()?;
        forecast.methods.iter().find(|m| m.method == method)
    }

    /// The running method and its step, where one is left to do.
    pub fn step(self) -> Option<(&'a Running, &'a Method, &'a Step)> {
        let running = self.casualty.running.as_ref()?;
        let method = self.method(&running.method)?;
        Some((running, method, method.steps.get(running.step)?))
    }

    /// The role that does the step, or its fallback.
    pub fn role(self, running: &Running, method: &'a Method, step: &'a Step) -> Option<&'a Role> {
        let fallback = running.fallback.and_then(|f| step.fallback.get(f));
        let id = fallback
            .and_then(|f| f.role.as_ref())
            .or(step.role.as_ref())?;
        method.role(id)
    }

    /// True from the first connection to the casualty, or a rescuer over the edge, until the weight is on a stable surface.
    pub fn committed(self) -> bool {
        let Some(running) = &self.casualty.running else {
            return false;
        };
        let Some(method) = self.method(&running.method) else {
            return false;
        };
        self.casualty.off.is_none()
            && method
                .steps
                .iter()
                .take(running.step.saturating_add(1))
                .any(|s| s.committed)
    }

    /// True where people may go past the approach point.
    pub fn may_go_near(self) -> bool {
        self.facts.danger.is_none()
            && self.facts.outside.leads.is_none()
            && self.casualty.scene.safe.is_some()
            && self.open_hazard().is_none()
    }

    /// The hazard of the position to make safe next: what is electric first, because it bars every touch.
    pub fn open_hazard(self) -> Option<&'a Hazard> {
        let made_safe = &self.casualty.scene.made_safe;
        let hazards = self.position().map_or(&[][..], |p| &p.hazards);
        let mut open = hazards.iter().filter(|h| !made_safe.contains(&h.id));
        let electric = open.clone().find(|h| h.kind == HazardKind::Electric);
        electric.or_else(|| open.next())
    }

    /// True where nobody may touch casualty, ladder, lift or line: a supply is not confirmed off.
    pub fn touch_nothing(self) -> bool {
        self.open_hazard()
            .is_some_and(|h| h.kind == HazardKind::Electric)
    }

    /// The condition to plan with: the worst that was reported, and not answering where nobody has checked for long.
    pub fn planned_as(self) -> Option<Condition> {
        if self.casualty.lapsed >= 2 {
            return Some(Condition::NotAnswering);
        }
        self.casualty.worst
    }

    /// True where the time to hands on the casualty decides: they do not answer, or are in danger where they hang.
    pub fn hands_first(self) -> bool {
        self.casualty.in_danger || self.planned_as() == Some(Condition::NotAnswering)
    }

    /// When the condition counts as not checked, and when as lost, since the last check or since the place is known.
    pub fn check_times(self) -> [Millis; 2] {
        let every = self.facts.policy().check_every;
        let last = self
            .casualty
            .condition
            .map_or(self.casualty.placed, |it| it.1);
        let once = last.saturating_add(every);
        [once, once.saturating_add(every)]
    }

    /// The posting of a role in a method; none where whoever held it hangs, may hang, cannot, or may not hold it.
    pub fn posting(self, method: &str, role: &str) -> Option<&'a Posting> {
        let crew = &self.forecast_of(method)?.crew;
        let posting = crew.iter().find(|p| p.role == role)?;
        let lost = self.facts.cannot.contains(&posting.responder)
            || self.facts.may_hang().contains(&posting.responder);
        (!lost && self.may_hold(method, posting)).then_some(posting)
    }

    /// True where somebody of the plan is on shift and holds what their role asks for. The computation sees to that as well;
    /// what it names wrongly is neither ordered nor said.
    pub(super) fn may_hold(self, method: &str, posting: &Posting) -> bool {
        let id = &posting.responder;
        let opened = self.facts.opened.as_ref();
        let opened = opened.filter(|it| it.roll_call.contains(id) && !it.visitors.contains(id));
        let Some(person) = opened.and_then(|it| it.plan.responder(id)) else {
            return false;
        };
        let role = self.method(method).and_then(|it| it.role(&posting.role));
        match role.and_then(|it| it.qualification.as_ref()) {
            Some(needed) => person.holds(needed),
            None => posting.role != Posting::FIRST_AID || person.gives_first_aid(),
        }
    }

    /// True from the release until the airway was seen to and breathing asked: nothing is more urgent.
    pub fn urgent_care(self) -> bool {
        self.casualty.off.is_some()
            && self.casualty.refused.is_none()
            && self.casualty.handed.is_none()
            && super::care::next_care(self, self.facts.line.reached_at()) <= Aftercare::Resuscitate
    }

    /// True where the weight is off, everything urgent was asked, and somebody else has taken over.
    pub fn is_cared_for(self) -> bool {
        self.casualty.handed.is_some()
    }
}
