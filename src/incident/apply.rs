//! Folds a record into what is known. Total: whatever stands in a record, this neither fails nor asks anything.
//!
//! A correction folds everything again without the records it takes back, so that nothing has to know its own inverse.

use super::event::{Aftercare, Condition, Due, Event, Opening, PlanStanding, Record, Stop, Why};
use super::loaded::moves_on;
use super::state::{
    Call, Casualty, Command, Facts, Former, Handing, Opened, Others, Outside, Running, Scene,
    Securing, Shown, State, Undo, Whereabouts, Window,
};
use crate::plan::{Method, Milestone, Plan};
use crate::units::{Millis, Speed};
use std::collections::BTreeMap;
use std::sync::Arc;

impl State {
    /// Takes in the next record.
    pub fn apply(&mut self, record: Record) {
        let record = Arc::new(record);
        let corrects = matches!(record.event, Event::Corrected { .. });
        self.log.push(record.clone());
        if record.event.is_afterwards() {
            return;
        }
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
pub(crate) fn stays(event: &Event) -> bool {
    matches!(
        event,
        Event::Opened(_)
            | Event::Activated { .. }
            | Event::PromptShown { .. }
            | Event::ClockMarked {}
            | Event::Resumed { .. }
            | Event::RealCalled {}
            | Event::Corrected { .. }
    )
}

fn fold(log: &[Arc<Record>], plan: Option<Arc<Plan>>) -> Facts {
    // A correction takes back what stands before it and nothing that comes after, in whatever order the records are found.
    let corrections = log
        .iter()
        .enumerate()
        .filter_map(|(index, r)| match r.event {
            Event::Corrected { cause } => Some((cause, index)),
            _ => None,
        });
    let taken_back: BTreeMap<u64, usize> = corrections.collect();
    let mut facts = Facts::default();
    let during = log.iter().enumerate();
    for (index, record) in during.filter(|it| !it.1.event.is_afterwards()) {
        let back = taken_back.get(&record.cause);
        if stays(&record.event) || back.is_none_or(|by| *by < index) {
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

    /// The casualty that a record concerns; there is always the first.
    fn of(&mut self, record: &Record) -> &mut Casualty {
        if self.casualties.is_empty() {
            self.casualties.push(Casualty::default());
        }
        let index = usize::from(record.casualty).saturating_sub(1);
        let last = self.casualties.len().saturating_sub(1);
        &mut self.casualties[index.min(last)]
    }

    fn take_event(&mut self, record: &Record, at: Millis, plan: Option<&Arc<Plan>>) {
        // A casualty that was taken back is not there for what was recorded of it since.
        let known = usize::from(record.casualty) <= self.casualties.len().max(1);
        if !known && !is_shared(&record.event) {
            return;
        }
        match &record.event {
            Event::Opened(opening) => self.open(opening, record, plan),
            Event::Activated { position } => {
                let nowhere = self.opened.as_ref().map(|o| o.standing);
                let casualty = self.of(record);
                casualty.placed = at;
                casualty.place = match position {
                    Some(id) => Whereabouts::Known(id.clone()),
                    None if nowhere == Some(PlanStanding::None) => Whereabouts::NotListed,
                    None => Whereabouts::Unknown,
                };
            }
            Event::CallOrdered { to } => {
                self.call.ordered.push((to.clone(), at));
                self.call.passed = None;
            }
            Event::CallPassed {} => self.call.passed = Some(at),
            Event::CallConfirmed { .. } => self.call.confirmed = Some(at),
            Event::CallFailed {} => self.call.confirmed = None,
            Event::HelpExpected { in_ms, said_by } => {
                self.outside.expected = Some(Millis(at.0.saturating_add(*in_ms)));
                self.outside.said_by = *said_by;
            }
            Event::OutsideAsked {} => {
                self.outside.asked.get_or_insert(at);
            }
            Event::OutsideTookOver {} => {
                self.outside.leads = Some(at);
                self.secure_what_is_connected();
            }
            Event::OutsideLeft {} => self.outside.leads = None,
            Event::CommandTaken {} => {
                self.command = Command {
                    by: None,
                    handing: Some(Handing::Brief),
                    taken: Some(at),
                };
            }
            Event::BriefHeard {} => self.command.handing = Some(Handing::Name),
            Event::CommandNamed { by } => {
                self.command.by.clone_from(by);
                self.command.handing = None;
                if let Some(by) = by {
                    self.end_order_of(by, at);
                }
            }
            Event::LanguageChosen { language } => {
                if let Some(opened) = &mut self.opened {
                    opened.language = *language;
                }
            }
            Event::OthersStopped {} => self.others.stopped = Some(at),
            Event::OthersNotYet {} => self.others.not_yet = Some(at),
            Event::WindReported { mm_s } => {
                self.wind = Some(Speed(*mm_s));
                for casualty in &mut self.casualties {
                    casualty.stopped.retain(|(_, what)| *what != Stop::Wind);
                }
            }
            Event::ResponderReported { responder, report } => {
                self.report_of(responder, *report, at);
            }
            Event::OrderWithdrawn { responder } => {
                self.end_order_of(responder, at);
                let own = |it: &&mut Former| it.order.posting.responder == *responder;
                if let Some(former) = self.former.iter_mut().find(own) {
                    // Who never heard of the order needs not hear of its end.
                    former.to_tell = former.order.is_told().then_some(record.seq);
                }
            }
            Event::WordsSaid { orders, .. } => {
                self.announced.get_or_insert(at);
                for former in &mut self.former {
                    if former.to_tell.is_some_and(|it| orders.contains(&it)) {
                        former.to_tell = None;
                    }
                }
                for order in self.numbered(orders) {
                    order.said.get_or_insert(at);
                    order.unanswered = false;
                }
            }
            Event::OrdersUnanswered { orders } => {
                for order in self.numbered(orders) {
                    order.unanswered = true;
                }
            }
            Event::WayBlocked { link } => {
                if !self.blocked.contains(link) {
                    self.blocked.push(link.clone());
                }
            }
            Event::WayOpened { link } => self.blocked.retain(|it| it != link),
            Event::KitGone { kit, station, by } => {
                let lost = (kit.clone(), station.clone());
                if !self.gone.contains(&lost) {
                    self.gone.push(lost);
                }
                self.did_not_fetch(kit, station, by.as_deref());
            }
            Event::Noted { note } => self.notes.push((*note, record.casualty, at)),
            Event::DangerCalled {} => self.danger = Some(at),
            Event::DangerCleared { .. } => {
                self.danger = None;
                self.secure_what_is_connected();
            }
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
                    casualty: record.casualty,
                    since: at,
                    by_itself,
                });
                if message.starts_with("call-") {
                    self.call.prompted.get_or_insert(at);
                }
            }
            Event::ClockMarked {} | Event::Resumed { .. } => self.marked = at,
            Event::Corrected { .. } => {
                self.undo = None;
                // Who was ordered since may be one who hangs, or cannot, now that the slip is taken back.
                self.end_orders_of_those_who_may_hang(at);
            }
            Event::OrderGiven {
                method,
                posting,
                instead,
            } => self.give(record, method, posting, instead, at),
            Event::TaskGiven { posting, instead } => self.give(record, "", posting, instead, at),
            Event::CameDue { what } => {
                self.came_due = Some((*what, record.casualty, at));
                let casualty = self.of(record);
                match what {
                    Due::CheckDue => casualty.lapsed = casualty.lapsed.max(1),
                    Due::CheckLost => casualty.lapsed = 2,
                    Due::CareCheck => casualty.lapsed = 1,
                    Due::Surprise(index) => {
                        self.played.due = self.played.due.max(index.saturating_add(1));
                    }
                    Due::LetStand => {
                        self.played.let_stand.get_or_insert(at);
                    }
                    Due::PastTarget => casualty.past_target = true,
                    Due::ChangeNear => {
                        if let Some(running) = &mut casualty.running {
                            running.near = true;
                        }
                    }
                }
            }
            Event::SafeConfirmed {}
            | Event::NotSafeYet {}
            | Event::HazardNotSafeYet { .. }
            | Event::HazardMadeSafe { .. } => self.take_scene(record, at),
            Event::CasualtyAdded { .. }
            | Event::CasualtyNamed { .. }
            | Event::CasualtyChosen {}
            | Event::WorkedOn {} => {
                self.take_casualty(record, at);
                self.end_orders_of_those_who_may_hang(at);
            }
            Event::StepDone { method, step } => {
                self.there_by_step(record.casualty, method, *step, at);
                self.take_method(record, at);
            }
            Event::MethodStarted { .. }
            | Event::NotWorkingReported { .. }
            | Event::StraightWanted { .. }
            | Event::Secured {}
            | Event::FallbackStarted { .. }
            | Event::MoreTimeTaken { .. }
            | Event::MethodChanged { .. }
            | Event::TiedOff { .. }
            | Event::EntryConditionMet { .. }
            | Event::GroundHeld {}
            | Event::StopCalled { .. }
            | Event::WentOn { .. }
            | Event::MethodPutBack { .. } => self.take_method(record, at),
            Event::PositionChosen { .. }
            | Event::FallTimeSet { .. }
            | Event::ForecastAdopted { .. }
            | Event::ConditionReported { .. }
            | Event::InDangerSaid { .. }
            | Event::FirstContactMade {}
            | Event::OffHarness {}
            | Event::AtLandingPlace {}
            | Event::StuckAloft {}
            | Event::AftercareAnswered { .. }
            | Event::CareRefused {}
            | Event::HandedOver { .. } => self.take_state(record, at),
            Event::SurpriseGiven { index } => self.played.given.push((*index, at)),
            Event::SurpriseLeftOut { index } => self.played.left_out.push(*index),
            Event::Stands {} => {
                self.played.stands.get_or_insert(at);
            }
            Event::RealCalled {} => self.become_real(at),
            Event::KitWithdrawn { .. }
            | Event::TaskSet(_)
            | Event::TaskDone { .. }
            | Event::TaskOpen { .. }
            | Event::Reviewed(_)
            | Event::Found(_)
            | Event::Unknown { .. } => {}
        }
    }

    fn open(&mut self, opening: &Opening, record: &Record, plan: Option<&Arc<Plan>>) {
        let read = || crate::plan::fit(&opening.plan_name, &opening.plan);
        let plan = plan
            .cloned()
            .or_else(read)
            .unwrap_or_else(|| Arc::new(crate::plan::bare().clone()));
        self.opened = Some(Opened::new(opening, plan, &record.now));
        self.command.by.clone_from(&opening.in_command);
        self.line = super::time::TimeLine::starting(&record.now);
    }

    /// What was only played counts no more: nobody was called, nothing was locked off, nobody looked. The clock, the place and
    /// those who are on their way stay.
    fn become_real(&mut self, at: Millis) {
        if let Some(opened) = &mut self.opened {
            opened.become_real();
            // A wind that was only said to be less than it is counts no more.
            self.wind = self.wind.filter(|it| Some(*it) >= opened.wind);
        }
        self.played.real.get_or_insert(at);
        self.call = Call::default();
        self.outside = Outside::default();
        self.others = Others::default();
        for casualty in &mut self.casualties {
            casualty.scene = Scene::default();
            casualty.condition = None;
            casualty.worst = None;
            casualty.lapsed = 0;
            casualty.in_danger = false;
            // The interval of the checks begins anew.
            casualty.placed = at;
            if let Some(running) = &mut casualty.running {
                running.entry.clear();
                running.ground_held = false;
            }
        }
        self.secure_what_is_connected();
    }

    /// Nothing goes on by itself after an interruption: both connected, weight held, tied off and checked again.
    fn secure_what_is_connected(&mut self) {
        let committed: Vec<bool> = self.cases().map(|case| case.committed()).collect();
        for (casualty, committed) in self.casualties.iter_mut().zip(committed) {
            if let Some(running) = &mut casualty.running {
                running.tied = None;
                if committed {
                    running.securing.get_or_insert(Securing::Resume);
                }
            }
        }
    }

    /// Whether one may go near, for everybody who hangs at the same place.
    fn take_scene(&mut self, record: &Record, at: Millis) {
        let place = self.of(record).place.clone();
        for casualty in self.casualties.iter_mut().filter(|it| it.place == place) {
            let scene = &mut casualty.scene;
            match &record.event {
                Event::SafeConfirmed {} => scene.safe = Some(at),
                Event::NotSafeYet {} | Event::HazardNotSafeYet { .. } => scene.not_yet = Some(at),
                Event::HazardMadeSafe { hazard } if !scene.made_safe.contains(hazard) => {
                    scene.made_safe.push(hazard.clone());
                }
                _ => {}
            }
        }
    }

    /// Who hangs, and who is worked on.
    fn take_casualty(&mut self, record: &Record, at: Millis) {
        match &record.event {
            Event::CasualtyAdded {
                responder,
                rescuer,
                fell_ms,
            } => {
                let first = self.casualty().clone();
                let mut scene = first.scene;
                if *rescuer {
                    // A rescuer does not fall where all is safe: it is asked again, for everybody there.
                    scene.safe = None;
                    scene.not_yet = None;
                    for casualty in &mut self.casualties {
                        if casualty.place == first.place {
                            casualty.scene = scene.clone();
                        }
                    }
                }
                self.casualties.push(Casualty {
                    who: responder.clone(),
                    named: responder.is_some(),
                    rescuer: *rescuer,
                    place: first.place,
                    placed: at,
                    scene,
                    fell: Millis(*fell_ms),
                    fell_at_least: first.fell_at_least && !rescuer,
                    ..Casualty::default()
                });
                self.focus_chosen = false;
                if let Some(responder) = responder {
                    self.end_order_of(responder, at);
                    self.leave_command(responder);
                }
            }
            Event::CasualtyNamed { responder } => {
                let casualty = self.of(record);
                casualty.who.clone_from(responder);
                casualty.named = true;
                if let Some(responder) = responder {
                    self.end_order_of(responder, at);
                    self.leave_command(responder);
                }
            }
            Event::CasualtyChosen {} | Event::WorkedOn {} => {
                let last = self.casualties.len().saturating_sub(1);
                self.focus = usize::from(record.casualty).saturating_sub(1).min(last);
                self.focus_chosen = matches!(record.event, Event::CasualtyChosen {});
            }
            _ => {}
        }
    }

    /// Whoever hangs is not in command: somebody else says who is.
    fn leave_command(&mut self, responder: &str) {
        if self.command.by.as_deref() == Some(responder) {
            self.command.by = None;
            self.command.handing = Some(Handing::Name);
        }
    }

    /// The method that runs for a casualty.
    fn take_method(&mut self, record: &Record, at: Millis) {
        let case = self.case_of(record.casualty);
        let committed = case.committed();
        let fell = case.casualty.fell;
        let change_by = |id: &str| match (case.forecast_of(id), case.method(id)) {
            (Some(forecast), _) => {
                let by = forecast.change_by(at.saturating_sub(fell));
                by.saturating_add(fell)
            }
            (None, method) => {
                let planned = method.map_or(Millis::ZERO, Method::planned_change);
                at.saturating_add(planned)
            }
        };
        let change_by = match &record.event {
            Event::MethodStarted { method, .. } => change_by(method),
            _ => at,
        };
        let casualty = self.of(record);
        if let Some((method, step)) = moves_on(&record.event) {
            match casualty.used.iter_mut().find(|(id, _)| id == method) {
                Some((_, reached)) => *reached = (*reached).max(step),
                None => casualty.used.push((method.to_owned(), step)),
            }
        }
        match &record.event {
            Event::MethodStarted { method, why } => {
                // What was left before anything was done can still be tried.
                let began = |id: &str| {
                    casualty
                        .used
                        .iter()
                        .any(|(used, step)| used == id && *step > 0)
                };
                let left = casualty.windows.last().is_some_and(|it| !began(&it.method));
                if let Some(window) = casualty.windows.last_mut() {
                    window.untried |= left && *why == Why::Straight && window.to == at;
                }
                casualty.running = Some(Running {
                    method: method.clone(),
                    started: at,
                    step: 0,
                    step_since: at,
                    fallback: None,
                    change_by,
                    more: 0,
                    securing: None,
                    near: false,
                    tied: None,
                    entry: Vec::new(),
                    ground_held: false,
                    held: false,
                });
                return;
            }
            Event::MethodChanged { .. } => {
                if let Some(running) = casualty.running.take() {
                    casualty.windows.push(Window {
                        method: running.method,
                        from: running.started,
                        to: at,
                        untried: false,
                    });
                }
                return;
            }
            Event::StopCalled { method, what } => {
                casualty.stopped.push((method.clone(), *what));
                casualty.put_back.retain(|id| id != method);
            }
            Event::MethodPutBack { method } | Event::WentOn { method } => {
                casualty.stopped.retain(|(id, _)| id != method);
                if !casualty.put_back.contains(method) {
                    casualty.put_back.push(method.clone());
                }
            }
            _ => {}
        }
        let Some(running) = &mut casualty.running else {
            return;
        };
        match &record.event {
            Event::StepDone { step, .. } => {
                running.step = running.step.max(step.saturating_add(1));
                running.step_since = at;
                running.fallback = None;
            }
            Event::NotWorkingReported { .. } if committed => {
                running.securing = Some(Securing::Onward);
            }
            Event::StopCalled { method, .. } if *method == running.method && committed => {
                running.securing = Some(Securing::Stopped);
            }
            Event::StraightWanted { method } => {
                running.securing = Some(Securing::Straight(method.clone()));
            }
            Event::Secured {} => {
                running.held = running.securing == Some(Securing::Stopped);
                running.securing = None;
            }
            Event::WentOn { .. } => running.held = false,
            Event::FallbackStarted { fallback, .. } => running.fallback = Some(*fallback),
            Event::MoreTimeTaken { change_by_ms, .. } => {
                running.change_by = Millis(*change_by_ms);
                running.more = running.more.saturating_add(1);
                running.near = false;
            }
            Event::TiedOff { step, fallback, .. } => running.tied = Some((*step, *fallback)),
            Event::EntryConditionMet { index } if !running.entry.contains(index) => {
                running.entry.push(*index);
            }
            Event::GroundHeld {} => running.ground_held = true,
            _ => {}
        }
    }

    /// How a casualty is, and where.
    fn take_state(&mut self, record: &Record, at: Millis) {
        let release = self.release_step(record.casualty);
        let casualty = self.of(record);
        match &record.event {
            Event::PositionChosen { position } => {
                casualty.place = position
                    .clone()
                    .map_or(Whereabouts::NotListed, Whereabouts::Known);
                casualty.placed = at;
                casualty.forecast = None;
                casualty.running = None;
                casualty.windows.clear();
                casualty.stopped.clear();
                casualty.scene.made_safe.clear();
                self.announced = None;
                // The standing roles go on; they are told where if it is elsewhere now.
                let for_it = self
                    .orders
                    .iter()
                    .filter(|it| it.casualty == record.casualty && !it.method.is_empty());
                let sent: Vec<String> = for_it.map(|it| it.posting.responder.clone()).collect();
                for responder in sent {
                    self.end_order_of(&responder, at);
                }
                self.end_orders_of_those_who_may_hang(at);
            }
            Event::FallTimeSet { ago_ms, at_least } => {
                casualty.fell = Millis(at.0.saturating_sub(*ago_ms));
                casualty.fell_at_least = *at_least;
                casualty.fell_corrected = true;
            }
            Event::ForecastAdopted { forecast, asked } => {
                if let Some(running) = &mut casualty.running {
                    let own = forecast
                        .methods
                        .iter()
                        .find(|it| it.method == running.method);
                    let computed = own.filter(|it| !it.starts.is_empty());
                    if let Some(own) = computed.filter(|_| running.more == 0) {
                        let started = running.started.saturating_sub(casualty.fell);
                        let by = own.change_by(started).saturating_add(casualty.fell);
                        running.change_by = moved(running.change_by, by, at);
                    }
                }
                casualty.forecast = Some(Arc::new(forecast.clone()));
                casualty.asked = *asked;
            }
            Event::ConditionReported { condition } => {
                casualty.condition = Some((*condition, at));
                casualty.worst = casualty.worst.max(Some(*condition));
                casualty.lapsed = 0;
                if *condition != Condition::NotAnswering {
                    casualty.voice.get_or_insert(at);
                }
            }
            Event::InDangerSaid { danger } => casualty.in_danger = *danger,
            Event::FirstContactMade {} => {
                casualty.contact.get_or_insert(at);
            }
            Event::OffHarness {} => {
                casualty.off.get_or_insert((at, record.cause));
                casualty.contact.get_or_insert(at);
                // What is left of the method is only the way down.
                if let (Some(release), Some(running)) = (release, &mut casualty.running) {
                    running.step = running.step.max(release.saturating_add(1));
                    running.fallback = None;
                    running.securing = None;
                    running.held = false;
                }
            }
            Event::AtLandingPlace {} => {
                casualty.landed.get_or_insert(at);
                casualty.aloft = false;
                if let Some(running) = &mut casualty.running {
                    running.step = usize::MAX;
                }
            }
            Event::StuckAloft {} => casualty.aloft = true,
            Event::AftercareAnswered { item, well } => {
                casualty.aftercare.push((*item, *well, at));
                // Nothing asked before a turn for the worse counts any more, so the list may begin again.
                if *item == Aftercare::Watch && *well {
                    casualty
                        .aftercare
                        .retain(|(i, w, t)| *i != Aftercare::Watch || !w || *t == at);
                }
                if *item == Aftercare::Watch {
                    casualty.lapsed = 0;
                }
            }
            Event::CareRefused {} => casualty.refused = Some(at),
            Event::HandedOver { to } => casualty.handed = Some((*to, at)),
            _ => {}
        }
    }

    /// The step of the running method that ends off the harness.
    fn release_step(&self, number: u16) -> Option<usize> {
        let case = self.case_of(number);
        let running = case.casualty.running.as_ref()?;
        let steps = &case.method(&running.method)?.steps;
        steps
            .iter()
            .position(|s| s.milestone == Some(Milestone::OffHarness))
    }
}

/// True for what concerns everybody, or adds a casualty, whatever number stands in the record.
fn is_shared(event: &Event) -> bool {
    matches!(
        event,
        Event::Opened(_)
            | Event::CasualtyAdded { .. }
            | Event::PromptShown { .. }
            | Event::ClockMarked {}
            | Event::Resumed { .. }
            | Event::Corrected { .. }
            | Event::CallOrdered { .. }
            | Event::CallPassed {}
            | Event::CallConfirmed { .. }
            | Event::CallFailed {}
            | Event::HelpExpected { .. }
            | Event::OutsideAsked {}
            | Event::OutsideTookOver {}
            | Event::OutsideLeft {}
            | Event::CommandTaken {}
            | Event::BriefHeard {}
            | Event::CommandNamed { .. }
            | Event::LanguageChosen { .. }
            | Event::OthersStopped {}
            | Event::OthersNotYet {}
            | Event::WindReported { .. }
            | Event::ResponderReported { .. }
            | Event::OrderWithdrawn { .. }
            | Event::KitGone { .. }
            | Event::WordsSaid { .. }
            | Event::OrdersUnanswered { .. }
            | Event::WayBlocked { .. }
            | Event::WayOpened { .. }
            | Event::Noted { .. }
            | Event::DangerCalled {}
            | Event::DangerCleared { .. }
            | Event::StandDownBegan {}
            | Event::StandDownLeft {}
            | Event::StandDownAnswered { .. }
            | Event::StoodDown {}
            | Event::SurpriseGiven { .. }
            | Event::SurpriseLeftOut { .. }
            | Event::Stands {}
            | Event::RealCalled {}
    )
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
            | Event::CasualtyAdded { .. }
            | Event::CasualtyNamed { .. }
            | Event::CasualtyChosen {}
            | Event::InDangerSaid { .. }
            | Event::TiedOff { .. }
            | Event::EntryConditionMet { .. }
            | Event::GroundHeld {}
            | Event::OthersStopped {}
            | Event::OthersNotYet {}
            | Event::WindReported { .. }
            | Event::StopCalled { .. }
            | Event::WentOn { .. }
            | Event::MethodPutBack { .. }
            | Event::ResponderReported { .. }
            | Event::KitGone { .. }
            | Event::WordsSaid { .. }
            | Event::WayBlocked { .. }
            | Event::WayOpened { .. }
            | Event::CallFailed {}
            | Event::HelpExpected { .. }
            | Event::OutsideAsked {}
            | Event::OutsideTookOver {}
            | Event::OutsideLeft {}
            | Event::CommandNamed { .. }
            | Event::Noted { .. }
            | Event::StuckAloft {}
            | Event::CareRefused {}
            | Event::HandedOver { .. }
            | Event::SurpriseGiven { .. }
            | Event::SurpriseLeftOut { .. }
            | Event::Stands {}
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
            | Event::CameDue { .. }
            | Event::WorkedOn {}
            | Event::TaskGiven { .. }
            | Event::OrdersUnanswered { .. }
            | Event::PromptShown { .. }
            | Event::Resumed { .. }
    )
}

/// Where a shown time goes when a newer one is known: earlier at once, later only by half a minute or more, and not later
/// any more in the last minute, because nobody follows a mark that trembles.
fn moved(shown: Millis, newer: Millis, at: Millis) -> Millis {
    const LATER_BY: i64 = 30_000;
    const LAST: i64 = 60_000;
    let later = newer.0.saturating_sub(shown.0);
    let left = shown.0.saturating_sub(at.0);
    match later >= LATER_BY && left > LAST || later <= 0 {
        true => newer,
        false => shown,
    }
}
