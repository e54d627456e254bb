//! Turns what somebody wants, or what the time brings, into events and into things to be done outside.
//!
//! Pure: the state, the wish and the clocks come in as arguments. What is decided is applied to a draft as it goes, so
//! that what follows from it (a method begun, an order given, the next prompt) is decided in the same breath.

use super::event::{Condition, Event, Opening, Reading, Record, Why};
use super::prompt::{Act, Pick, care_comes_back, held_back, prompt};
use super::state::{
    ANSWER_GUARD, CLOCK_MARK_EVERY, FORECAST_WAIT, Facts, MORE_TIME, MORE_TIME_MAX, Securing,
    State, UNDO_SHOWN, Whereabouts,
};
use super::time::Moment;
use crate::plan::{Hazard, Milestone, Position};
use crate::readiness::{Basis, Forecast};
use crate::units::Millis;
use std::sync::Arc;

/// What somebody wants, or what the time brings.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// Somebody hangs.
    Activate {
        /// Everything that decides.
        opening: Box<Opening>,
        /// Where, if it was said with the same touch.
        position: Option<String>,
    },
    /// An answer to the prompt with this number.
    Answer {
        /// Number of the prompt as shown.
        prompt: u64,
        /// Which answer.
        pick: Pick,
    },
    /// Something asked for beside the prompt.
    Do(Act),
    /// Take back what this cause did.
    Undo {
        /// Cause of the records.
        cause: u64,
    },
    /// The time has come to look again.
    Wake,
    /// A forecast is ready.
    Adopt {
        /// What it was made from.
        basis: Basis,
        /// The numbers.
        forecast: Forecast,
    },
    /// The program started again.
    Resume {
        /// Time since the program started, in case no clock can be believed.
        since_start_ms: i64,
    },
}

/// Why nothing was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// No incident is running.
    NotOpen,
    /// An incident is running already.
    AlreadyOpen,
    /// The prompt has changed since it was touched.
    StalePrompt,
    /// The prompt came up by itself a moment ago, under a finger that was meant for the one before.
    TooSoon,
    /// That does not apply now.
    NotNow,
    /// The forecast was made for something else.
    StaleForecast,
}

/// What is to be done outside.
#[derive(Clone, Debug, PartialEq)]
pub enum Wanted {
    /// A forecast.
    Forecast(Basis),
    /// The journal closed.
    Close,
    /// Standby.
    Leave,
}

/// What was decided.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// New records, in order.
    pub records: Vec<Record>,
    /// What is to be done outside.
    pub wanted: Vec<Wanted>,
}

/// Decides.
pub fn decide(state: &State, command: Command, now: &Moment) -> Result<Decision, Refusal> {
    let mut draft = Draft {
        state: state.clone(),
        now,
        first: state.log.len(),
        wanted: Vec::new(),
    };
    let mut answered = false;
    match command {
        Command::Activate { opening, position } => {
            if state.facts.is_open() {
                return Err(Refusal::AlreadyOpen);
            }
            draft.state = State::default();
            draft.first = 0;
            draft.activate(opening, position);
        }
        _ if state.facts.opened.is_none() => return Err(Refusal::NotOpen),
        Command::Answer {
            prompt: number,
            pick,
        } => {
            let facts = &state.facts;
            let asked = facts
                .shown
                .as_ref()
                .filter(|s| s.number == number)
                .ok_or(Refusal::StalePrompt)?;
            if asked.by_itself && draft.at().0.saturating_sub(asked.since.0) < ANSWER_GUARD.0 {
                return Err(Refusal::TooSoon);
            }
            // What was shown is what was touched, even where the time has moved on since.
            let shown = prompt(facts, facts.line.reached_at()).ok_or(Refusal::StalePrompt)?;
            let act = shown.choice(pick).ok_or(Refusal::NotNow)?.act.clone();
            draft.act(act)?;
            answered = true;
        }
        Command::Do(act) => draft.act(act)?,
        Command::Undo { cause } => draft.undo(cause)?,
        Command::Wake => {}
        Command::Adopt { basis, forecast } => {
            if basis_of(&state.facts).is_none_or(|now| !now.asks_as(&basis))
                || state.facts.casualty().off.is_some()
            {
                return Err(Refusal::StaleForecast);
            }
            draft.push(Event::ForecastAdopted { forecast });
            draft.order_crew();
        }
        Command::Resume { since_start_ms } => draft.resume(since_start_ms),
    }
    draft.settle(answered);
    Ok(Decision {
        records: draft.records(),
        wanted: draft.wanted,
    })
}

/// What a forecast for the present facts would be made from.
pub fn basis_of(facts: &Facts) -> Option<Basis> {
    let opened = facts.opened.as_ref()?;
    let position = facts.position()?;
    Some(Basis {
        position: position.id.clone(),
        present: opened.roll_call.clone(),
        in_command: opened.in_command.clone(),
        excluded: position.workers.clone(),
        reserved: busy(facts, position),
    })
}

/// Who has a task now that is no role of a method: the caller until the call is made, and whoever makes a hazard safe.
fn busy(facts: &Facts, position: &Position) -> Vec<String> {
    let calling = match facts.call.confirmed {
        None => facts.call.ordered.last().and_then(|(to, _)| to.clone()),
        Some(_) => None,
    };
    let open = |hazard: &&Hazard| !facts.scene.made_safe.contains(&hazard.id);
    let isolating = position.hazards.iter().filter(open);
    let mut busy: Vec<String> = isolating
        .filter_map(|it| it.by.clone())
        .chain(calling)
        .collect();
    busy.sort_unstable();
    busy.dedup();
    busy
}

/// When the state next needs to be asked, on its own time line. Never in the past.
pub fn next_wakeup(facts: &Facts, at: Millis) -> Option<Millis> {
    if !facts.is_open() {
        return None;
    }
    let policy = facts.policy();
    let call = &facts.call;
    let mut times = vec![facts.marked.saturating_add(CLOCK_MARK_EVERY)];
    if call.confirmed.is_none() {
        times.extend(
            call.ordered
                .last()
                .map(|(_, t)| t.saturating_add(policy.call_confirm)),
        );
        times.extend(
            call.prompted
                .map(|t| t.saturating_add(policy.call_gives_way)),
        );
    }
    times.extend(
        facts
            .scene
            .not_yet
            .map(|t| t.saturating_add(policy.ask_again)),
    );
    times.extend(facts.running.as_ref().map(|r| r.change_by));
    if facts.running.is_none() {
        times.push(facts.placed.saturating_add(FORECAST_WAIT));
    }
    times.extend(care_comes_back(facts));
    times.into_iter().filter(|t| *t > at).min()
}

struct Draft<'a> {
    state: State,
    now: &'a Moment,
    first: usize,
    wanted: Vec<Wanted>,
}

impl Draft<'_> {
    fn facts(&self) -> &Facts {
        &self.state.facts
    }

    fn at(&self) -> Millis {
        self.facts().line.at(self.now)
    }

    fn records(&self) -> Vec<Record> {
        self.state.log[self.first..]
            .iter()
            .map(|r| Record::clone(r))
            .collect()
    }

    fn push(&mut self, event: Event) {
        let facts = self.facts();
        let at = match &event {
            Event::Opened(_) => Millis::ZERO,
            Event::Resumed { at_ms, .. } => Millis(*at_ms),
            _ => self.at(),
        };
        let (incident, who): (Arc<str>, Arc<str>) = match (&event, &facts.opened) {
            (Event::Opened(opening), _) => (
                opening.incident.as_str().into(),
                opening.in_command.as_deref().unwrap_or("tablet").into(),
            ),
            (_, Some(opened)) => (
                opened.incident.clone(),
                opened.in_command.as_deref().unwrap_or("tablet").into(),
            ),
            (_, None) => ("".into(), "tablet".into()),
        };
        let record = Record {
            seq: self.state.log.len() as u64,
            cause: self.first as u64,
            incident,
            now: self.now.clone(),
            elapsed: facts.since_fall(at).max(Millis::ZERO),
            at_least: facts.at_least(),
            who,
            casualty: 1,
            v: Record::version(),
            event,
        };
        self.state.apply(record);
    }

    fn activate(&mut self, opening: Box<Opening>, position: Option<String>) {
        self.push(Event::Opened(opening));
        let known = position.filter(|id| {
            self.facts()
                .opened
                .as_ref()
                .is_some_and(|o| o.plan.position(id).is_some())
        });
        self.push(Event::Activated { position: known });
        let to = self.next_caller();
        self.push(Event::CallOrdered { to });
        self.want_forecast();
    }

    fn resume(&mut self, since_start_ms: i64) {
        let Some(last) = self.state.log.last().map(|r| r.now.clone()) else {
            return;
        };
        let (at, carried) = self.facts().line.carried(&last, self.now, since_start_ms);
        let reading = |m: &Moment| Reading {
            wall_ms: m.wall_ms,
            boot_ms: m.boot_ms,
            boot: m.boot_id.to_string(),
        };
        let (before, after) = (reading(&last), reading(self.now));
        self.push(Event::Resumed {
            carried,
            at_ms: at.0,
            before,
            after,
        });
        if self.facts().forecast.is_none() {
            self.want_forecast();
        }
    }

    /// Who calls next: somebody free who was asked least often and whose skills the rescue asks for least; never the
    /// person in command while anybody else is there.
    fn next_caller(&self) -> Option<String> {
        let facts = self.facts();
        let opened = facts.opened.as_ref()?;
        let plan = &opened.plan;
        let asked = |id: &String| {
            facts
                .call
                .ordered
                .iter()
                .filter(|(to, _)| to.as_ref() == Some(id))
                .count()
        };
        let here = facts
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
        facts
            .free_people()
            .into_iter()
            .filter(|id| Some(id) != opened.in_command.as_ref())
            .min_by_key(|id| (asked(id), wanted(id)))
    }

    fn want_forecast(&mut self) {
        if let Some(basis) = basis_of(self.facts()) {
            self.wanted.push(Wanted::Forecast(basis));
        }
    }

    fn act(&mut self, act: Act) -> Result<(), Refusal> {
        let facts = self.facts();
        if act == Act::Leave {
            return if facts.is_open() {
                Err(Refusal::NotNow)
            } else {
                self.wanted.push(Wanted::Leave);
                Ok(())
            };
        }
        if !facts.is_open() {
            return Err(Refusal::NotOpen);
        }
        let off = facts.casualty().off;
        let only_if = |holds: bool| if holds { Ok(()) } else { Err(Refusal::NotNow) };
        match act {
            Act::SaySafe => {
                only_if(facts.scene.safe.is_none())?;
                self.push(Event::SafeConfirmed {});
            }
            Act::SayNotYet => self.push(Event::NotSafeYet {}),
            Act::HazardSafe(hazard) => {
                only_if(facts.open_hazard().is_some_and(|h| h.id == hazard))?;
                self.push(Event::HazardMadeSafe { hazard });
            }
            Act::HazardNotYet(hazard) => self.push(Event::HazardNotSafeYet { hazard }),
            Act::CallPassed => {
                only_if(facts.call.passed.is_none())?;
                self.push(Event::CallPassed {});
            }
            Act::CallMade => {
                only_if(facts.call.confirmed.is_none())?;
                let by = facts.call.ordered.last().and_then(|(to, _)| to.clone());
                self.push(Event::CallConfirmed { by });
            }
            Act::ChoosePosition(position) => {
                let known = position.as_ref().is_none_or(|id| {
                    facts
                        .opened
                        .as_ref()
                        .is_some_and(|o| o.plan.position(id).is_some())
                });
                only_if(known && off.is_none())?;
                self.push(Event::PositionChosen { position });
                self.want_forecast();
            }
            Act::SetFall { ago, at_least } => {
                only_if(off.is_none() && ago >= Millis::ZERO)?;
                // "Time unknown" keeps what is known for certain: the time since activation, or since an earlier fall as set before.
                let ago = if at_least {
                    facts.since_fall(self.at())
                } else {
                    ago
                };
                self.push(Event::FallTimeSet {
                    ago_ms: ago.0,
                    at_least,
                });
            }
            Act::StepDone => self.step_done()?,
            Act::NotWorking => self.not_working()?,
            Act::Secured => self.secured()?,
            Act::Change => {
                only_if(facts.running.is_some() && off.is_none() && !facts.committed())?;
                self.change(Why::Change);
            }
            Act::MoreTime => {
                let running = facts
                    .running
                    .as_ref()
                    .filter(|r| r.more < MORE_TIME_MAX)
                    .ok_or(Refusal::NotNow)?;
                let (method, change_by) =
                    (running.method.clone(), self.at().max(running.change_by));
                let change_by_ms = change_by.saturating_add(MORE_TIME).0;
                self.push(Event::MoreTimeTaken {
                    method,
                    change_by_ms,
                });
            }
            Act::GoStraight(method) => self.go_straight(method)?,
            Act::Report(condition) => self.report(condition),
            Act::Contact => {
                only_if(facts.casualty().contact.is_none())?;
                self.push(Event::FirstContactMade {});
            }
            Act::OffHarness => {
                only_if(off.is_none())?;
                self.push(Event::OffHarness {});
            }
            Act::StillHanging => {
                let (_, cause) = off.ok_or(Refusal::NotNow)?;
                self.still_hanging(cause);
            }
            Act::AtLanding => {
                only_if(off.is_some() && facts.casualty().landed.is_none())?;
                self.push(Event::AtLandingPlace {});
            }
            Act::Care(item, well) => {
                only_if(off.is_some())?;
                self.push(Event::AftercareAnswered { item, well });
            }
            Act::Danger => {
                only_if(facts.danger.is_none())?;
                self.push(Event::DangerCalled {});
            }
            Act::DangerOver(by) => {
                only_if(facts.danger.is_some())?;
                self.push(Event::DangerCleared { by });
            }
            Act::BeginClosing => {
                only_if(facts.closing.is_none())?;
                self.push(Event::StandDownBegan {});
            }
            Act::LeaveClosing => {
                only_if(facts.closing.is_some())?;
                self.push(Event::StandDownLeft {});
            }
            Act::Close(item) => {
                only_if(facts.closing.is_some())?;
                self.push(Event::StandDownAnswered { item });
            }
            Act::StandDown => {
                only_if(facts.closing.is_some())?;
                self.push(Event::StoodDown {});
                self.wanted.push(Wanted::Close);
            }
            Act::Leave => {}
        }
        Ok(())
    }

    fn step_done(&mut self) -> Result<(), Refusal> {
        let facts = self.facts();
        let (running, method, step) = facts.step().ok_or(Refusal::NotNow)?;
        let off = facts.casualty().off.is_some();
        // A step that needs going near cannot have been ordered, so it cannot be answered either.
        if running.securing.is_some() || (!off && held_back(facts, step)) {
            return Err(Refusal::NotNow);
        }
        let (method, index, milestone) = (method.id.clone(), running.step, step.milestone);
        self.push(Event::StepDone {
            method,
            step: index,
        });
        match milestone {
            Some(Milestone::FirstContact) if self.facts().casualty().contact.is_none() => {
                self.push(Event::FirstContactMade {});
            }
            Some(Milestone::OffHarness) if !off => self.push(Event::OffHarness {}),
            Some(Milestone::Landing) if off => self.push(Event::AtLandingPlace {}),
            _ => {}
        }
        Ok(())
    }

    fn not_working(&mut self) -> Result<(), Refusal> {
        let facts = self.facts();
        let running = facts
            .running
            .as_ref()
            .filter(|r| r.securing.is_none())
            .ok_or(Refusal::NotNow)?;
        let (method, step) = (running.method.clone(), running.step);
        let committed = facts.committed();
        self.push(Event::NotWorkingReported { method, step });
        if !committed {
            self.onward();
        }
        Ok(())
    }

    fn secured(&mut self) -> Result<(), Refusal> {
        let securing = self
            .facts()
            .running
            .as_ref()
            .and_then(|r| r.securing.clone())
            .ok_or(Refusal::NotNow)?;
        self.push(Event::Secured {});
        match securing {
            Securing::Onward => self.onward(),
            Securing::Straight(method) => self.start(method, Why::Straight),
        }
        Ok(())
    }

    /// The next fallback of the step, else the next method.
    fn onward(&mut self) {
        let next = self.facts().step().and_then(|(running, method, step)| {
            let fallback = running.fallback.map_or(0, |f| f + 1);
            step.fallback
                .get(fallback)
                .map(|_| (method.id.clone(), running.step, fallback))
        });
        match next {
            Some((method, step, fallback)) => self.push(Event::FallbackStarted {
                method,
                step,
                fallback,
            }),
            // Off the harness there is no other method to change to: the way down goes on.
            None if self.facts().casualty().off.is_none() => self.change(Why::Change),
            None => {}
        }
    }

    fn change(&mut self, why: Why) {
        match self.facts().next_method().map(|m| m.id.clone()) {
            Some(next) => self.start(next, why),
            None => self.leave_method(None),
        }
    }

    fn leave_method(&mut self, to: Option<String>) {
        if let Some(from) = self.facts().running.as_ref().map(|r| r.method.clone()) {
            self.push(Event::MethodChanged { from, to });
        }
    }

    fn start(&mut self, method: String, why: Why) {
        self.leave_method(Some(method.clone()));
        self.push(Event::MethodStarted { method, why });
        self.order_crew();
    }

    fn go_straight(&mut self, method: String) -> Result<(), Refusal> {
        let facts = self.facts();
        let already = facts.running.as_ref().is_some_and(|r| r.method == method);
        if facts.casualty().off.is_some() || facts.method(&method).is_none() || already {
            return Err(Refusal::NotNow);
        }
        if facts.committed() {
            self.push(Event::StraightWanted { method });
        } else {
            self.start(method, Why::Straight);
        }
        Ok(())
    }

    fn report(&mut self, condition: Condition) {
        self.push(Event::ConditionReported { condition });
    }

    fn undo(&mut self, cause: u64) -> Result<(), Refusal> {
        let at = self.at();
        let facts = self.facts();
        let undo = facts
            .undo
            .as_ref()
            .filter(|u| u.cause == cause)
            .ok_or(Refusal::NotNow)?;
        // A touch that was on its way when the button went is still heard.
        const ON_ITS_WAY: i64 = 2_000;
        if !facts.is_open() || at.0.saturating_sub(undo.at.0) > UNDO_SHOWN.0 + ON_ITS_WAY {
            return Err(Refusal::NotNow);
        }
        for cause in [vec![cause], self.followed_from_place(cause)].concat() {
            self.take_back(cause);
        }
        Ok(())
    }

    /// Where a place is taken back, so is the crew that was set for it since.
    fn followed_from_place(&self, cause: u64) -> Vec<u64> {
        let log = &self.state.log;
        let placed = log
            .iter()
            .any(|r| r.cause == cause && matches!(r.event, Event::PositionChosen { .. }));
        log.iter()
            .filter(|r| placed && r.cause > cause && r.seq == r.cause)
            .filter(|r| {
                matches!(
                    r.event,
                    Event::ForecastAdopted { .. } | Event::MethodStarted { .. }
                )
            })
            .map(|r| r.cause)
            .collect()
    }

    fn take_back(&mut self, cause: u64) {
        self.push(Event::Corrected { cause });
        if self.facts().forecast.is_none() {
            self.want_forecast();
        }
    }

    /// Takes back the release and everything said of the time after it.
    fn still_hanging(&mut self, cause: u64) {
        let mut causes = vec![cause];
        for record in &self.state.log {
            let after_release = matches!(
                record.event,
                Event::StepDone { .. }
                    | Event::AtLandingPlace {}
                    | Event::AftercareAnswered { .. }
                    | Event::StandDownBegan {}
                    | Event::StandDownAnswered { .. }
            );
            if record.cause > cause && after_release && !causes.contains(&record.cause) {
                causes.push(record.cause);
            }
        }
        for cause in causes {
            self.take_back(cause);
        }
    }

    /// Sends the crew of the running method, each posting once.
    fn order_crew(&mut self) {
        let facts = self.facts();
        let Some(running) = &facts.running else {
            return;
        };
        let Some(forecast) = facts.forecast_of(&running.method) else {
            return;
        };
        let method = running.method.clone();
        let new: Vec<_> = forecast
            .crew
            .iter()
            .filter(|p| !facts.orders.iter().any(|(m, o)| *m == method && o == *p))
            .cloned()
            .collect();
        for posting in new {
            self.push(Event::OrderGiven {
                method: method.clone(),
                posting,
            });
        }
    }

    /// Decides what follows by itself: the call passed on, a method begun, the clock written down, the next prompt.
    fn settle(&mut self, answered: bool) {
        if !self.facts().is_open() {
            if self.facts().opened.is_some() && self.wanted.iter().all(|w| *w != Wanted::Leave) {
                self.show(answered);
            }
            return;
        }
        let at = self.at();
        let facts = self.facts();
        let overdue =
            facts.call.confirmed.is_none()
                && facts.call.ordered.last().is_some_and(|(_, t)| {
                    at.0.saturating_sub(t.0) >= facts.policy().call_confirm.0
                });
        if overdue {
            let to = self.next_caller();
            self.push(Event::CallOrdered { to });
        }
        if self.may_begin(at)
            && let Some(method) = self.facts().next_method().map(|m| m.id.clone())
        {
            self.start(method, Why::Ladder);
        }
        if at.0.saturating_sub(self.facts().marked.0) >= CLOCK_MARK_EVERY.0 {
            self.push(Event::ClockMarked {});
        }
        self.show(answered);
    }

    /// The first method begins by itself once the place is known and the crew is set, or the wait for it is over.
    fn may_begin(&self, at: Millis) -> bool {
        let facts = self.facts();
        let waited = at.0.saturating_sub(facts.placed.0) >= FORECAST_WAIT.0;
        let crew_set = facts.forecast.is_some() || basis_of(facts).is_none() || waited;
        facts.place != Whereabouts::Unknown
            && facts.casualty().off.is_none()
            && facts.danger.is_none()
            && facts.closing.is_none()
            && facts.running.is_none()
            && facts.windows.is_empty()
            && crew_set
    }

    fn show(&mut self, answered: bool) {
        let at = self.at();
        let facts = self.facts();
        let Some(prompt) = prompt(facts, at) else {
            return;
        };
        let message = prompt.message.id.as_str();
        let same = facts
            .shown
            .as_ref()
            .is_some_and(|s| s.message == message && s.args == prompt.message.args);
        if same && !answered {
            return;
        }
        let language = facts
            .opened
            .as_ref()
            .map(|o| o.language)
            .unwrap_or_default();
        let number = facts
            .shown
            .as_ref()
            .map_or(1, |s| s.number.saturating_add(1));
        let text = prompt.message.text(language);
        let event = Event::PromptShown {
            number,
            message: message.to_owned(),
            args: prompt.message.args,
            language,
            text,
        };
        self.push(event);
    }
}
