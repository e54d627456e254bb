//! Folds a record into what is known. Total: whatever stands in a record, this neither fails nor asks anything.
//!
//! A correction folds everything again without the records it takes back, so that nothing has to know its own inverse.

use super::event::{Aftercare, Event, PlanStanding, Record, Why};
use super::state::{
    Casualty, Facts, Opened, Running, Securing, Shown, State, Undo, Whereabouts, Window,
};
use crate::plan::{Milestone, Plan};
use crate::units::Millis;
use std::collections::BTreeSet;
use std::sync::Arc;

impl State {
    /// Takes in the next record.
    pub fn apply(&mut self, record: Record) {
        let record = Arc::new(record);
        let corrects = matches!(record.event, Event::Corrected { .. });
        self.log.push(record.clone());
        if corrects {
            let plan = self.facts.opened.as_ref().map(|o| o.plan.clone());
            self.facts = fold(&self.log, plan);
        } else {
            self.facts.take(&record, None);
        }
    }

    /// What is known after all these records.
    pub fn replay(records: impl IntoIterator<Item = Record>) -> State {
        let log: Vec<_> = records.into_iter().map(Arc::new).collect();
        State {
            facts: fold(&log, None),
            log,
        }
    }
}

/// Records of a taken-back cause that stay: they are about the screen, the clock and the record, not about the rescue.
fn stays(event: &Event) -> bool {
    matches!(
        event,
        Event::Opened(_)
            | Event::Activated { .. }
            | Event::PromptShown { .. }
            | Event::ClockMarked {}
            | Event::Resumed { .. }
            | Event::Corrected { .. }
    )
}

fn fold(log: &[Arc<Record>], plan: Option<Arc<Plan>>) -> Facts {
    let taken_back: BTreeSet<u64> = log
        .iter()
        .filter_map(|r| match r.event {
            Event::Corrected { cause } => Some(cause),
            _ => None,
        })
        .collect();
    let mut facts = Facts::default();
    for record in log {
        if stays(&record.event) || !taken_back.contains(&record.cause) {
            facts.take(record, plan.as_ref());
        } else {
            facts.reach(record);
        }
    }
    facts
}

impl Facts {
    /// The time of a record on the time line; the time line never goes back.
    fn reach(&mut self, record: &Record) -> Millis {
        let at = self.line.at(&record.now);
        self.line.reached(at);
        at
    }

    fn take(&mut self, record: &Record, plan: Option<&Arc<Plan>>) {
        let at = match &record.event {
            Event::Resumed { carried, at_ms, .. } => {
                self.line.carry(&record.now, Millis(*at_ms), *carried);
                Millis(*at_ms)
            }
            _ => self.reach(record),
        };
        if record.seq == record.cause {
            self.untouched = comes_by_itself(&record.event).then_some(record.cause);
        }
        if is_touch(&record.event) && self.undo.as_ref().is_none_or(|u| u.cause != record.cause) {
            self.undo = Some(Undo {
                cause: record.cause,
                at,
            });
        }
        self.take_event(record, at, plan);
    }

    fn first(&mut self) -> &mut Casualty {
        if self.casualties.is_empty() {
            self.casualties.push(Casualty::default());
        }
        &mut self.casualties[0]
    }

    fn take_event(&mut self, record: &Record, at: Millis, plan: Option<&Arc<Plan>>) {
        match &record.event {
            Event::Opened(opening) => {
                let read = || crate::plan::fit(&opening.plan_name, &opening.plan);
                let plan = plan
                    .cloned()
                    .or_else(read)
                    .unwrap_or_else(|| Arc::new(crate::plan::bare().clone()));
                self.opened = Some(Opened::new(opening, plan, &record.now));
                self.line = super::time::TimeLine::starting(&record.now);
                if opening.plan_standing == PlanStanding::None {
                    self.place = Whereabouts::NotListed;
                }
            }
            Event::Activated { position } => {
                self.first();
                if let Some(id) = position {
                    self.place = Whereabouts::Known(id.clone());
                }
                self.placed = at;
            }
            Event::PositionChosen { position } => {
                self.place = position
                    .clone()
                    .map_or(Whereabouts::NotListed, Whereabouts::Known);
                self.placed = at;
                self.forecast = None;
                self.orders.clear();
                self.running = None;
                self.windows.clear();
                self.scene.made_safe.clear();
            }
            Event::FallTimeSet { ago_ms, at_least } => {
                let casualty = self.first();
                casualty.fell = Millis(at.0.saturating_sub(*ago_ms));
                casualty.fell_at_least = *at_least;
                casualty.fell_corrected = true;
            }
            Event::SafeConfirmed {} => self.scene.safe = Some(at),
            Event::NotSafeYet {} | Event::HazardNotSafeYet { .. } => self.scene.not_yet = Some(at),
            Event::HazardMadeSafe { hazard } => {
                if !self.scene.made_safe.contains(hazard) {
                    self.scene.made_safe.push(hazard.clone());
                }
            }
            Event::CallOrdered { to } => {
                self.call.ordered.push((to.clone(), at));
                self.call.passed = None;
            }
            Event::CallPassed {} => self.call.passed = Some(at),
            Event::CallConfirmed { .. } => self.call.confirmed = Some(at),
            Event::ForecastAdopted { forecast } => self.forecast = Some(forecast.clone()),
            Event::OrderGiven { method, posting } => {
                self.orders.push((method.clone(), posting.clone()))
            }
            Event::MethodStarted { method, .. } => {
                let planned = self.method(method).map_or(Millis::ZERO, |m| m.change_after);
                let after = self
                    .forecast_of(method)
                    .map_or(planned, |f| Millis(f.change_after_ms));
                self.running = Some(Running {
                    method: method.clone(),
                    started: at,
                    step: 0,
                    fallback: None,
                    change_by: at.saturating_add(after),
                    more: 0,
                    securing: None,
                });
            }
            Event::StepDone { step, .. } => {
                if let Some(running) = &mut self.running {
                    running.step = running.step.max(step.saturating_add(1));
                    running.fallback = None;
                }
            }
            Event::NotWorkingReported { .. } => {
                if self.committed()
                    && let Some(running) = &mut self.running
                {
                    running.securing = Some(Securing::Onward);
                }
            }
            Event::StraightWanted { method } => {
                if let Some(running) = &mut self.running {
                    running.securing = Some(Securing::Straight(method.clone()));
                }
            }
            Event::Secured {} => {
                if let Some(running) = &mut self.running {
                    running.securing = None;
                }
            }
            Event::FallbackStarted { fallback, .. } => {
                if let Some(running) = &mut self.running {
                    running.fallback = Some(*fallback);
                }
            }
            Event::MoreTimeTaken { change_by_ms, .. } => {
                if let Some(running) = &mut self.running {
                    running.change_by = Millis(*change_by_ms);
                    running.more = running.more.saturating_add(1);
                }
            }
            Event::MethodChanged { .. } => {
                if let Some(running) = self.running.take() {
                    self.windows.push(Window {
                        method: running.method,
                        from: running.started,
                        to: at,
                    });
                }
            }
            Event::ConditionReported { condition } => {
                let casualty = self.first();
                casualty.condition = Some((*condition, at));
                casualty.worst = casualty.worst.max(Some(*condition));
            }
            Event::FirstContactMade {} => {
                self.first().contact.get_or_insert(at);
            }
            Event::OffHarness {} => {
                let casualty = self.first();
                casualty.off.get_or_insert((at, record.cause));
                casualty.contact.get_or_insert(at);
                self.pass_release();
            }
            Event::AtLandingPlace {} => {
                self.first().landed.get_or_insert(at);
                if let Some(running) = &mut self.running {
                    running.step = usize::MAX;
                }
            }
            Event::AftercareAnswered { item, well } => {
                self.aftercare.push((*item, *well, at));
                // Nothing asked before a turn for the worse counts any more, so the list may begin again.
                if *item == Aftercare::Watch && *well {
                    self.aftercare
                        .retain(|(i, w, t)| *i != Aftercare::Watch || !w || *t == at);
                }
            }
            Event::DangerCalled {} => self.danger = Some(at),
            Event::DangerCleared { .. } => self.danger = None,
            Event::StandDownBegan {} => self.closing = Some(Vec::new()),
            Event::StandDownLeft {} => self.closing = None,
            Event::StandDownAnswered { item } => {
                if let Some(answered) = &mut self.closing
                    && !answered.contains(item)
                {
                    answered.push(*item);
                }
            }
            Event::StoodDown {} => self.stood_down = Some(at),
            Event::PromptShown {
                number,
                message,
                args,
                ..
            } => {
                let by_itself = self.untouched == Some(record.cause);
                let (message, args) = (message.clone(), args.clone());
                self.shown = Some(Shown {
                    number: *number,
                    message: message.clone(),
                    args,
                    since: at,
                    by_itself,
                });
                if message.starts_with("call-") {
                    self.call.prompted.get_or_insert(at);
                }
            }
            Event::ClockMarked {} | Event::Resumed { .. } => self.marked = at,
            Event::Corrected { .. } => self.undo = None,
            Event::Unknown { .. } => {}
        }
    }

    /// Goes on behind the step that releases, so that what is left is only the way down.
    fn pass_release(&mut self) {
        let Some(running) = &self.running else { return };
        let release = self.method(&running.method).and_then(|m| {
            m.steps
                .iter()
                .position(|s| s.milestone == Some(Milestone::OffHarness))
        });
        if let (Some(release), Some(running)) = (release, &mut self.running) {
            running.step = running.step.max(release + 1);
            running.fallback = None;
            running.securing = None;
        }
    }
}

/// True for what a touch can do by mistake and an undo takes back.
fn is_touch(event: &Event) -> bool {
    matches!(
        event,
        Event::PositionChosen { .. }
            | Event::FallTimeSet { .. }
            | Event::SafeConfirmed {}
            | Event::NotSafeYet {}
            | Event::HazardMadeSafe { .. }
            | Event::HazardNotSafeYet { .. }
            | Event::CallPassed {}
            | Event::CallConfirmed { .. }
            | Event::StepDone { .. }
            | Event::NotWorkingReported { .. }
            | Event::StraightWanted { .. }
            | Event::Secured {}
            | Event::MoreTimeTaken { .. }
            | Event::MethodChanged { .. }
            | Event::ConditionReported { .. }
            | Event::FirstContactMade {}
            | Event::OffHarness {}
            | Event::AtLandingPlace {}
            | Event::AftercareAnswered { .. }
            | Event::StandDownAnswered { .. }
    )
}

/// True for what begins a decision that no answer to a prompt asked for.
fn comes_by_itself(event: &Event) -> bool {
    matches!(
        event,
        Event::Opened(_)
            | Event::CallOrdered { .. }
            | Event::ForecastAdopted { .. }
            | Event::MethodStarted {
                why: Why::Ladder,
                ..
            }
            | Event::ClockMarked {}
            | Event::PromptShown { .. }
            | Event::Resumed { .. }
    )
}
