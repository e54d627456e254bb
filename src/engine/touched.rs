//! Takes what a person touched: what it changes, and what is to be done outside for it.

use super::{Engine, prepared, seed};
use crate::cue::Cue;
use crate::incident::{Act, Command, Moment, Opening, PlanApproval, PlanStanding};
use crate::readiness::{Change, Clock, Declare, Grade, Scope};
use crate::review::Filter;
use crate::signal::{Effect, Prepared, Tap, Theme};
use std::sync::Arc;

impl Engine {
    pub(super) fn tap(&mut self, tap: Tap, now: &Moment) -> Vec<Effect> {
        match tap {
            Tap::Touched => Vec::new(),
            Tap::Activate { position } => {
                let opening = Box::new(self.opening(now));
                self.command(Command::Activate { opening, position }, now)
            }
            Tap::Prepare(what) => {
                let around = prepared::Around {
                    plan: &self.plan.in_use.plan,
                    present: &self.present(),
                    seed: seed(now),
                };
                prepared::take(Arc::make_mut(&mut self.prepared), what, &around);
                Vec::new()
            }
            Tap::BeginDrill => {
                let Prepared { exercise, position } = Prepared::clone(&self.prepared);
                let opening = self.opening(now);
                // Nobody is hung up without what guards them.
                if !exercise.refused(opening.in_command.as_deref()).is_empty() {
                    return Vec::new();
                }
                self.prepared = Arc::default();
                self.draw_scenarios(now);
                let exercise = Some(Box::new(exercise));
                let opening = Box::new(Opening {
                    drill: true,
                    exercise,
                    ..opening
                });
                self.command(Command::Activate { opening, position }, now)
            }
            Tap::Answer { prompt, pick } => self.command(Command::Answer { prompt, pick }, now),
            Tap::Do(act) => self.command(Command::Do(act), now),
            Tap::Undo { cause } => self.command(Command::Undo { cause }, now),
            Tap::SwapTheme => {
                self.kept.settings.theme = match self.kept.settings.theme {
                    Theme::Dark => Theme::Light,
                    Theme::Light => Theme::Dark,
                };
                self.keep()
            }
            Tap::SwapLouder => {
                let louder = !self.kept.settings.louder;
                self.kept.settings.louder = louder;
                let mut effects = self.keep();
                effects.push(Effect::Louder(louder));
                effects
            }
            Tap::SwapFlash => {
                self.kept.settings.flash = !self.kept.settings.flash;
                self.keep()
            }
            Tap::Speak { language } => {
                self.kept.settings.language = language;
                let mut effects = self.keep();
                effects.extend(self.command(Command::Do(Act::Speak(language)), now));
                effects
            }
            Tap::NextInCommand => {
                let present = self.present();
                let now = self.kept.settings.in_command.as_ref();
                let at = now.and_then(|id| present.iter().position(|p| p == id));
                self.kept.settings.in_command = match at {
                    Some(index) => present.get(index + 1).cloned(),
                    None => present.first().cloned(),
                };
                self.keep()
            }
            Tap::SwapPresent { responder } => {
                let absent = &mut self.kept.roll_call.absent;
                match absent.iter().position(|id| *id == responder) {
                    Some(index) => {
                        absent.remove(index);
                    }
                    None => absent.push(responder.clone()),
                }
                if self.kept.settings.in_command.as_deref() == Some(&responder) {
                    self.kept.settings.in_command = None;
                }
                // Whoever signed counted on somebody else.
                self.kept.shift.signed = None;
                self.keep()
            }
            Tap::Declare(said) => self.declare(said, now),
            Tap::WorkStopped { position } => {
                self.kept.shift.lost.retain(|id| *id != position);
                self.keep()
            }
            Tap::AskWhatIf => {
                self.what_ifs = Some(Arc::default());
                vec![Effect::WhatIfs {
                    conditions: self.conditions(now.day()),
                    plan: self.plan.in_use.plan.clone(),
                }]
            }
            Tap::StopWhatIf => {
                if let Some(found) = &mut self.what_ifs {
                    Arc::make_mut(found).ended = true;
                }
                vec![Effect::StopWhatIfs]
            }
            Tap::TestSound => {
                self.sounding = true;
                vec![Effect::Play(Cue::ChangeNow)]
            }
            Tap::ReadLog => vec![Effect::ReadLog],
            Tap::FindLog(filter) => {
                self.log_filter = Arc::new(Filter::clone(&filter));
                vec![Effect::FindLog(filter)]
            }
            Tap::ReadPlan => vec![Effect::ReadPlan, Effect::ReadScenarios],
            Tap::ApprovePlan { responder } => self.approve(&responder, now),
            Tap::ReadIncident { incident } => {
                self.log_read = Arc::default();
                vec![Effect::ReadIncident { incident }]
            }
            Tap::Afterwards { incident, what } => self.afterwards(incident, what, now),
            Tap::ReadLessons => {
                let plan = self.plan.in_use.plan.clone();
                vec![Effect::Learn { plan }]
            }
        }
    }

    fn declare(&mut self, said: Declare, now: &Moment) -> Vec<Effect> {
        if let Declare::Changed(Change::Left { responder }) = &said {
            let absent = &mut self.kept.roll_call.absent;
            if !absent.contains(responder) {
                absent.push(responder.clone());
            }
            if self.kept.settings.in_command.as_ref() == Some(responder) {
                self.kept.settings.in_command = None;
            }
        }
        let not_ready = self.not_ready();
        let present = self.present();
        let scope = Scope {
            plan: &self.plan.in_use.plan,
            present: &present,
            not_ready: &not_ready,
        };
        let clock = Clock {
            wall_ms: now.wall_ms,
            day: now.day(),
        };
        match self.kept.shift.declare(said, scope, clock) {
            true => self.keep(),
            false => Vec::new(),
        }
    }

    fn not_ready(&self) -> Vec<String> {
        let all = self.standings.iter();
        all.filter(|it| it.grade == Grade::NotReady)
            .map(|it| it.position.clone())
            .collect()
    }

    /// A plan of the site, signed by somebody on shift whom it names as competent; anything else is no approval.
    fn approve(&self, responder: &str, now: &Moment) -> Vec<Effect> {
        let plan = &self.plan;
        let person = plan.in_use.plan.responder(responder);
        let may = |id: &String| self.present().contains(id);
        match person.filter(|person| person.competent && may(&person.id)) {
            Some(person) if plan.in_use.standing != PlanStanding::None => {
                vec![Effect::KeepApproval(PlanApproval {
                    plan_sha: plan.sha.clone(),
                    plan_name: plan.in_use.name.clone(),
                    site: plan.in_use.plan.site.name.clone(),
                    revision: plan.in_use.plan.site.revision.clone(),
                    by: person.id.clone(),
                    name: person.name.clone(),
                    wall_ms: now.wall_ms,
                    offset_min: now.offset_min,
                })]
            }
            _ => Vec::new(),
        }
    }
}
