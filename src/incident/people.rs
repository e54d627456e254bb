//! Says who can be ordered, who calls, and which casualty is worked on first.
//!
//! Nobody who hangs, or may be the one who hangs, is ever ordered; nobody is on two tasks. Pure, from what is known.

use super::case::Case;
use super::state::{Facts, Whereabouts};
use crate::plan::{Hazard, Position};
use crate::readiness::{Aim, Basis, Posting, Underway};
use crate::units::{Millis, Speed};

impl Facts {
    /// People who can be ordered: on shift, not a casualty and not possibly one, and not reported as unable.
    pub fn free_people(&self) -> Vec<String> {
        let Some(opened) = &self.opened else {
            return Vec::new();
        };
        let hangs = self.may_hang();
        let on_shift = opened.roll_call.iter();
        let free = on_shift.filter(|id| {
            !hangs.contains(id)
                && !self.cannot.contains(id)
                && !opened.visitors.contains(id)
                && self.watcher() != Some(id)
                && opened.plan.responder(id).is_some()
        });
        free.cloned().collect()
    }

    /// Everybody who is a casualty, or may be one because nobody said who hangs at a place where they work.
    pub fn may_hang(&self) -> Vec<String> {
        let Some(opened) = &self.opened else {
            return Vec::new();
        };
        let mut hangs: Vec<String> = Vec::new();
        for casualty in &self.casualties {
            hangs.extend(casualty.who.clone());
            if casualty.named {
                continue;
            }
            // Until the position is known, anybody rostered at any position may be the one who hangs.
            let here = |position: &&Position| match &casualty.place {
                Whereabouts::Known(id) => position.id == *id,
                Whereabouts::Unknown => true,
                Whereabouts::NotListed => false,
            };
            let positions = opened.plan.positions.iter().filter(here);
            hangs.extend(positions.flat_map(|p| p.workers.iter().cloned()));
        }
        hangs.sort_unstable();
        hangs.dedup();
        hangs
    }

    /// The wind as it was reported last, or said for the shift.
    pub fn wind_now(&self) -> Option<Speed> {
        let said = self.opened.as_ref().and_then(|it| it.wind);
        self.wind.or(said)
    }

    /// The order that somebody is on.
    pub fn order_of(&self, responder: &str) -> Option<&super::state::Order> {
        self.orders
            .iter()
            .find(|it| it.posting.responder == responder)
    }

    /// Who calls next: somebody free who was asked least often and whose skills the rescue asks for least; never the
    /// person in command while anybody else is there.
    pub fn next_caller(&self) -> Option<String> {
        let opened = self.opened.as_ref()?;
        let plan = &opened.plan;
        let asked = |id: &String| {
            let ordered = self.call.ordered.iter();
            ordered.filter(|(to, _)| to.as_ref() == Some(id)).count()
        };
        let here = self
            .position()
            .map_or(&plan.positions[..], std::slice::from_ref);
        let roles = || here.iter().flat_map(|p| &p.methods).flat_map(|m| &m.roles);
        let wanted = |id: &String| {
            let person = plan.responder(id);
            let holds = |q: &String| person.is_some_and(|p| p.holds(q));
            roles()
                .filter(|role| role.qualification.as_ref().is_some_and(holds))
                .count()
        };
        self.free_people()
            .into_iter()
            .filter(|id| Some(id) != self.command.by.as_ref())
            .min_by_key(|id| (asked(id), wanted(id)))
    }

    /// Who calls now, while the call is not made.
    pub fn caller(&self) -> Option<&String> {
        match self.call.confirmed {
            None => self.call.ordered.last()?.0.as_ref(),
            Some(_) => None,
        }
    }

    /// The first aider who was sent, or somebody free who is trained; the person in command last.
    pub fn first_aider(&self) -> Option<String> {
        let sent = self
            .orders
            .iter()
            .find(|it| it.posting.role == Posting::FIRST_AID);
        if let Some(order) = sent {
            return Some(order.posting.responder.clone());
        }
        let opened = self.opened.as_ref()?;
        let mut people = self.free_people();
        people.sort_by_key(|id| Some(id) == self.command.by.as_ref());
        people.into_iter().find(|id| {
            opened
                .plan
                .responder(id)
                .is_some_and(|r| r.gives_first_aid())
        })
    }

    /// Who calls to the casualty now: a free person whom the plan names as watching the place, because they are within
    /// hearing; else whoever is to talk with the casualty.
    pub fn talker(&self) -> Option<String> {
        let position = self.position()?;
        let case = self.case();
        let free = self.free_people();
        let busy = case.busy(position);
        let can = |id: &&String| {
            free.contains(id) && !busy.contains(id) && Some(*id) != self.command.by.as_ref()
        };
        let ordered = self.orders.iter().filter(|it| {
            it.posting.role == Posting::TALKER && it.method.is_empty() && it.casualty == case.number
        });
        let ordered = ordered.map(|it| &it.posting.responder);
        position.watched_by.iter().chain(ordered).find(can).cloned()
    }

    /// The casualty who comes first by the rules: one just released until the airway is seen to; then of those hanging one in
    /// danger, one who does not answer, the one who hangs longest; then whoever needs care and has not been handed over.
    pub fn first_by_rule(&self) -> Option<usize> {
        let key = |case: Case<'_>| {
            let casualty = case.casualty;
            let group = match casualty.off {
                Some(_) if case.urgent_care() => 0,
                None => 1,
                Some(_) if !case.is_cared_for() => 2,
                Some(_) => 3,
            };
            let helped = case.hands_first() && case.next_method().is_some();
            let urgent = (
                !casualty.in_danger,
                !(helped || casualty.running.is_some() && case.hands_first()),
            );
            (group, urgent, casualty.fell, case.number)
        };
        let first = self.cases().min_by_key(|case| key(*case))?;
        Some(usize::from(first.number).saturating_sub(1))
    }
}

impl Case<'_> {
    /// What a forecast for this casualty would be made from; none where the plan does not know the place.
    pub fn basis(self) -> Option<Basis> {
        let opened = self.facts.opened.as_ref()?;
        let position = self.position()?;
        let mut excluded = self.facts.may_hang();
        excluded.extend(self.facts.cannot.iter().cloned());
        excluded.extend(opened.visitors.iter().cloned());
        excluded.extend(self.facts.watcher().cloned());
        // Nobody is in two places: who works for another casualty is not here.
        let others = self.facts.orders.iter().filter(|it| {
            it.casualty != self.number
                && it.posting.role != Posting::FIRST_AID
                && self.facts.works(it)
        });
        excluded.extend(others.map(|it| it.posting.responder.clone()));
        excluded.sort_unstable();
        excluded.dedup();
        let out = self.methods().iter().filter(|method| {
            let runs = self.casualty.running.as_ref().map(|it| &it.method) == Some(&method.id);
            !runs && (self.tried(method) || self.is_barred(method))
        });
        Some(Basis {
            since_fall: self
                .since_fall(self.facts.line.reached_at())
                .max(Millis::ZERO),
            aim: match self.hands_first() && self.casualty.contact.is_none() {
                true => Aim::Hands,
                false => Aim::OffHarness,
            },
            out: out.map(|it| it.id.clone()).collect(),
            underway: self.underway(&excluded),
            wind: self.facts.wind_now(),
            dark: opened.dark,
            seed: opened.seed,
            ready: false,
            position: position.id.clone(),
            present: opened.roll_call.clone(),
            in_command: self.facts.command.by.clone(),
            excluded,
            reserved: self.busy(position),
            casualty: self.number,
            asked: 0,
            gone: self.facts.gone.clone(),
            blocked: self.facts.blocked.clone(),
            left: self
                .facts
                .left_kit()
                .into_iter()
                .chain(self.facts.kit_for_others(self.number))
                .collect(),
            ordered: self.facts.ordered(self.facts.line.reached_at()),
            day: day_number(opened.started.day()),
        })
    }

    /// The method that runs, with those of its crew who can still go.
    fn underway(self, excluded: &[String]) -> Option<Underway> {
        let running = self.casualty.running.as_ref()?;
        let crew = self.forecast_of(&running.method).map(|it| &it.crew);
        let here = |posting: &&Posting| {
            let gone = posting.station.as_ref().is_some_and(|station| {
                let role = self
                    .method(&running.method)
                    .and_then(|it| it.role(&posting.role));
                let kind = role.and_then(|it| it.kit.as_ref());
                let mut gone = self.facts.gone.iter();
                gone.any(|(kit, at)| Some(kit) == kind && at == station)
            });
            // Whoever takes command hands the task on, as long as nobody is connected.
            let commands = self.facts.command.by.as_ref() == Some(&posting.responder);
            let kept = !commands || self.committed();
            !gone && kept && !excluded.contains(&posting.responder)
        };
        let fell = self.casualty.fell;
        Some(Underway {
            method: running.method.clone(),
            started: running.started.saturating_sub(fell),
            step: running.step,
            step_since: running.step_since.saturating_sub(fell),
            committed: self.committed(),
            crew: crew.into_iter().flatten().filter(here).cloned().collect(),
        })
    }

    /// Who has a task now that is no role of a method: the caller until the call is made, whoever makes a hazard safe.
    fn busy(self, position: &Position) -> Vec<String> {
        let open = |hazard: &&Hazard| !self.casualty.scene.made_safe.contains(&hazard.id);
        let isolating = position.hazards.iter().filter(open);
        let mut busy: Vec<String> = isolating
            .filter_map(|it| it.by.clone())
            .chain(self.facts.caller().cloned())
            .collect();
        busy.sort_unstable();
        busy.dedup();
        busy
    }
}

impl Facts {
    /// True where an order belongs to a method that still runs.
    pub fn works(&self, order: &super::state::Order) -> bool {
        let casualty = &self.case_of(order.casualty).casualty;
        let running = casualty.running.as_ref();
        casualty.landed.is_none() && running.is_some_and(|it| it.method == order.method)
    }
}

fn day_number(day: chrono::NaiveDate) -> i32 {
    use chrono::Datelike;
    day.num_days_from_ce()
}
