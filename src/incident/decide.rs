//! Turns what somebody wants, or what the time brings, into events and into things to be done outside.
//!
//! Pure: the state, the wish and the clocks come in as arguments. What is decided is applied to a draft as it goes, so
//! that what follows from it (a method begun, an order given, the next prompt) is decided in the same breath.

use super::act::Act;
use super::care::care_check_due;
use super::case::Case;
use super::dispatch::Others;
use super::event::{Due, Event, Opening, Reading, Record, Why};
use super::prompt::{Pick, prompt};
use super::state::{
    ANSWER_GUARD, CHANGE_NEAR, CLOCK_MARK_EVERY, FORECAST_WAIT, Facts, Order, State, UNDO_SHOWN,
    Whereabouts,
};
use super::time::Moment;
use crate::readiness::{Basis, Forecast, NEVER};
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
        basis: Box<Basis>,
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
    Forecast(Box<Basis>),
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
    let resumed = matches!(command, Command::Resume { .. });
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
            let case = state.facts.case_of(basis.casualty);
            let fits = case.number == basis.casualty.max(1) && case.casualty.off.is_none();
            match case
                .basis()
                .filter(|now| fits && now.position == basis.position)
            {
                None => return Err(Refusal::StaleForecast),
                // Newer numbers are acted on already.
                Some(_) if basis.asked < case.casualty.asked => {
                    return Err(Refusal::StaleForecast);
                }
                Some(now) if now.asks_as(&basis) => {
                    let asked = basis.asked;
                    draft.push_for(case.number, Event::ForecastAdopted { forecast, asked });
                    draft.dispatch(Others::StandBy);
                }
                // Somebody was lost, found or named since: the numbers that stand, stand until the next come.
                Some(now) => draft.want(now),
            }
        }
        Command::Resume { since_start_ms } => draft.resume(since_start_ms),
    }
    draft.settle(answered);
    draft.want_forecasts(&state.facts, resumed);
    Ok(Decision {
        records: draft.records(),
        wanted: draft.wanted,
    })
}

pub(super) struct Draft<'a> {
    pub(super) state: State,
    now: &'a Moment,
    first: usize,
    pub(super) wanted: Vec<Wanted>,
}

impl Draft<'_> {
    pub(super) fn facts(&self) -> &Facts {
        &self.state.facts
    }

    pub(super) fn at(&self) -> Millis {
        self.facts().line.at(self.now)
    }

    fn records(&self) -> Vec<Record> {
        self.state.log[self.first..]
            .iter()
            .map(|r| Record::clone(r))
            .collect()
    }

    /// Records what happened to the casualty worked on, or to all.
    pub(super) fn push(&mut self, event: Event) {
        let number = self.facts().case().number;
        self.push_for(number, event);
    }

    /// Records what happened to the casualty with this number.
    pub(super) fn push_for(&mut self, casualty: u16, event: Event) {
        let facts = self.facts();
        let at = match &event {
            Event::Opened(_) => Millis::ZERO,
            Event::Resumed { at_ms, .. } => Millis(*at_ms),
            _ => self.at(),
        };
        let (incident, in_command): (Arc<str>, Option<&str>) = match (&event, &facts.opened) {
            (Event::Opened(opening), _) => (
                opening.incident.as_str().into(),
                opening.in_command.as_deref(),
            ),
            (_, Some(opened)) => (opened.incident.clone(), facts.command.by.as_deref()),
            (_, None) => ("".into(), None),
        };
        let case = facts.case_of(casualty);
        let record = Record {
            seq: self.state.log.len() as u64,
            cause: self.first as u64,
            incident,
            now: self.now.clone(),
            elapsed: case.since_fall(at).max(Millis::ZERO),
            at_least: case.at_least(),
            who: in_command.unwrap_or("tablet").into(),
            casualty,
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
        let to = self.facts().next_caller();
        self.push(Event::CallOrdered { to });
    }

    fn resume(&mut self, since_start_ms: i64) {
        let Some(last) = self.state.log.last().map(|r| r.now.clone()) else {
            return;
        };
        let carry = self.facts().line.carried(&last, self.now, since_start_ms);
        let reading = |m: &Moment| Reading {
            wall_ms: m.wall_ms,
            boot_ms: m.boot_ms,
            boot: m.boot_id.to_string(),
        };
        let (before, after) = (reading(&last), reading(self.now));
        self.push(Event::Resumed {
            carried: carry.how,
            at_ms: carry.at.0,
            least_ms: Some(carry.least.0),
            most_ms: carry.most.map(|most| most.0),
            before,
            after,
        });
        // A power cut may have left only the beginning of what an activation writes.
        if self.facts().casualties.is_empty() {
            self.push(Event::Activated { position: None });
        }
        if self.facts().call.ordered.is_empty() {
            let to = self.facts().next_caller();
            self.push(Event::CallOrdered { to });
        }
    }

    /// Asks for the numbers of everybody who hangs at a place that the plan knows, where what they are made from has
    /// changed. What was asked before the program started again is asked anew.
    fn want_forecasts(&mut self, before: &Facts, resumed: bool) {
        let hanging = self.facts().cases().filter(|it| it.casualty.off.is_none());
        let wanted = hanging.filter_map(|case| {
            let now = case.basis()?;
            let mut cases = before.cases().filter(|_| !resumed);
            let asked = cases
                .find(|it| it.number == case.number)
                .and_then(Case::basis);
            (!asked.is_some_and(|it| it.asks_as(&now))).then_some(now)
        });
        let wanted: Vec<Basis> = wanted.collect();
        for basis in wanted {
            self.want(basis);
        }
    }

    /// Asks for a forecast, once, and says after how many records that was.
    fn want(&mut self, basis: Basis) {
        let asked = self.state.log.len() as u64;
        let wanted = Wanted::Forecast(Box::new(Basis { asked, ..basis }));
        if !self.wanted.contains(&wanted) {
            self.wanted.push(wanted);
        }
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
        self.leave_pieces_to_newer_orders();
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

    pub(super) fn take_back(&mut self, cause: u64) {
        self.push(Event::Corrected { cause });
    }

    /// Decides what follows by itself: the call passed on, what the time brought, who is worked on, a method begun, the
    /// clock written down, the next prompt.
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
        // Whoever turns out to hang, or cannot, does not call either.
        let lost = facts
            .caller()
            .is_some_and(|id| facts.cannot.contains(id) || facts.may_hang().contains(id));
        if overdue || lost {
            let to = self.facts().next_caller();
            self.push(Event::CallOrdered { to });
        }
        self.note_what_came_due(at);
        self.note_who_does_not_answer(at);
        self.turn_to_the_first();
        if self.may_begin(at)
            && let Some(method) = self.facts().case().next_method().map(|m| m.id.clone())
        {
            self.start(method, Why::Ladder);
        }
        if at.0.saturating_sub(self.facts().marked.0) >= CLOCK_MARK_EVERY.0 {
            self.push(Event::ClockMarked {});
        }
        self.show(answered);
    }

    fn numbers(&self) -> Vec<u16> {
        self.facts().cases().map(|case| case.number).collect()
    }

    fn note_what_came_due(&mut self, at: Millis) {
        while let Some(what) = self.facts().drill_due(at) {
            self.push_for(1, Event::CameDue { what });
        }
        for number in self.numbers() {
            // What came due may make the next thing due.
            while let Some(what) = due(self.facts().case_of(number), at) {
                self.push_for(number, Event::CameDue { what });
            }
        }
    }

    /// Orders that were said long enough ago, and that nobody answered, all at once.
    fn note_who_does_not_answer(&mut self, at: Millis) {
        let facts = self.facts();
        let overdue = facts
            .orders
            .iter()
            .filter(|it| answer_due(facts, it).is_some_and(|due| at >= due));
        let orders: Vec<u64> = overdue.map(|it| it.number).collect();
        if !orders.is_empty() {
            self.push(Event::OrdersUnanswered { orders });
        }
    }

    /// Turns to the casualty who comes first by the rules, unless the person in command chose another, or something is
    /// connected that must not be left.
    fn turn_to_the_first(&mut self) {
        let facts = self.facts();
        let chosen = facts.focus_chosen && facts.casualty().off.is_none();
        if facts.casualties.len() < 2 || chosen || facts.committed() {
            return;
        }
        let first = facts.first_by_rule();
        if let Some(first) = first.filter(|it| *it != facts.focus) {
            let number = u16::try_from(first.saturating_add(1)).unwrap_or(u16::MAX);
            self.push_for(number, Event::WorkedOn {});
        }
    }

    /// The first method begins by itself once the place is known, the casualty was asked or the time for it is over, and the
    /// crew is set or the wait for it is over.
    fn may_begin(&self, at: Millis) -> bool {
        let facts = self.facts();
        let casualty = facts.casualty();
        let waited = at.0.saturating_sub(casualty.placed.0) >= FORECAST_WAIT.0;
        let crew_set = casualty.forecast.is_some() || facts.case().basis().is_none() || waited;
        casualty.place != Whereabouts::Unknown
            && casualty.off.is_none()
            && facts.danger.is_none()
            && facts.outside.leads.is_none()
            && facts.closing.is_none()
            && casualty.running.is_none()
            && casualty.windows.is_empty()
            // What can be asked of the casualty decides which method is the first.
            && (casualty.condition.is_some() || casualty.lapsed > 0)
            && crew_set
    }

    fn show(&mut self, answered: bool) {
        let at = self.at();
        let facts = self.facts();
        let Some(prompt) = prompt(facts, at) else {
            return;
        };
        let message = prompt.message.id.as_str();
        let number = facts.case().number;
        let same = facts.shown.as_ref().is_some_and(|s| {
            s.message == message && s.args == prompt.message.args && s.casualty == number
        });
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

/// What the time has brought for a casualty and nobody has noted yet.
fn due(case: Case<'_>, at: Millis) -> Option<Due> {
    let casualty = case.casualty;
    if casualty.off.is_some() {
        return care_check_due(case, at).then_some(Due::CareCheck);
    }
    let [once, twice] = case.check_times();
    if casualty.lapsed == 0 && at >= once {
        return Some(Due::CheckDue);
    }
    if casualty.lapsed == 1 && at >= twice {
        return Some(Due::CheckLost);
    }
    if !casualty.past_target && case.since_fall(at) > case.facts.policy().target {
        return Some(Due::PastTarget);
    }
    let running = casualty.running.as_ref()?;
    let near = at.saturating_add(CHANGE_NEAR) >= running.change_by;
    (near && !running.near && !case.committed() && case.next_method().is_some())
        .then_some(Due::ChangeNear)
}

/// When an order that was said counts as unanswered; none where it was answered, or that was noted.
fn answer_due(facts: &Facts, order: &Order) -> Option<Millis> {
    let said = order
        .said
        .filter(|_| !order.is_answered() && !order.unanswered)?;
    Some(said.saturating_add(facts.policy().order_answer))
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
    let put_off = facts.casualties.iter().map(|it| it.scene.not_yet);
    let put_off = put_off.chain([facts.others.not_yet]).flatten();
    times.extend(put_off.map(|t| t.saturating_add(policy.ask_again)));
    times.push(super::approach::OTHERS_ASKED_AFTER);
    times.extend(facts.orders.iter().filter_map(|it| answer_due(facts, it)));
    for case in facts.cases() {
        if let Some(running) = &case.casualty.running {
            times.push(running.change_by);
            times.push(running.change_by.saturating_sub(CHANGE_NEAR));
        } else {
            times.push(case.casualty.placed.saturating_add(FORECAST_WAIT));
        }
        if case.casualty.off.is_none() {
            times.extend(case.check_times());
            let target = case.casualty.fell.saturating_add(policy.target);
            times.push(target.saturating_add(Millis(1)));
        }
        times.extend(super::care::care_comes_back(case));
    }
    times.extend(facts.drill_wakes());
    // A method that is not to be left for another has no time at which to ask again.
    let asks = |t: &Millis| *t > at && t.0 < NEVER.0 / 2;
    times.into_iter().filter(asks).min()
}
