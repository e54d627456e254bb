//! Owns the state: takes one input at a time, carries the rescue on, and says what is to be done outside.
//!
//! `Engine` is the whole program without its edges: a tablet, a rehearsal and the simulator run the same one. Its time
//! comes in as data. `run` drives it on a thread of its own, `touched` takes what a person touched, `loaded` chooses its
//! plan, `prepared` the next drill, `saving` knows what is durable, `afterwards` adds to incidents that have ended, `guard`
//! keeps a fault inside from ending a rescue.

mod afterwards;
mod guard;
mod loaded;
mod prepared;
mod run;
mod saving;
mod touched;

pub use run::{Edges, run};

use crate::cue::{Cue, cues};
use crate::drill;
use crate::incident::{
    Command, Decision, Moment, Opening, PlanApproval, Record, State, Wanted, decide, next_wakeup,
};
use crate::readiness::{Conditions, Grade, Shift, Standing, WhatIfs, standings};
use crate::review::Filter;
use crate::signal::{
    Effect, Entry, Input, JournalReport, Kept, LoadedPlan, LogEntry, LogFound, LogRead, Notice,
    Offered, Prepared, ScenarioFile, Snapshot, Tap,
};
use crate::units::Millis;
use crate::words::{Id, Message, clock};
use chrono::{DateTime, NaiveDate};
use saving::Saving;
use sha2::{Digest, Sha256};
use std::sync::Arc;

/// The program without its edges.
#[derive(Debug)]
pub struct Engine {
    state: State,
    plan: LoadedPlan,
    drill: bool,
    prepared: Arc<Prepared>,
    scenarios: Arc<Vec<Offered>>,
    scenario_files: Vec<ScenarioFile>,
    drills_due: Arc<Vec<drill::Overdue>>,
    learned: Option<Arc<Vec<drill::Learned>>>,
    /// What is being added to an incident that has ended, and why the last could not be.
    adding: Option<String>,
    not_added: Option<String>,
    kept: Kept,
    kept_is_known: bool,
    saving: Saving,
    no_sound: Option<String>,
    not_kept: Option<String>,
    no_store: Option<String>,
    /// How often something failed inside, and what it said last.
    failed: Option<(u32, String)>,
    resumed: bool,
    sounding: bool,
    /// What was said last to whoever plays the cues.
    marked: bool,
    log: Arc<Vec<LogEntry>>,
    log_filter: Arc<Filter>,
    log_found: Arc<LogFound>,
    log_read: Arc<LogRead>,
    approvals: Vec<PlanApproval>,
    not_approved: Option<String>,
    standings: Arc<Vec<Standing>>,
    /// The day that those are for.
    day: Option<NaiveDate>,
    /// What the standings are computed from.
    looking: Option<Conditions>,
    /// True once the times from that are here.
    has_times: bool,
    /// True while the shift held when that was last looked at.
    held: bool,
    what_ifs: Option<Arc<WhatIfs>>,
}

impl Engine {
    /// Starts on standby.
    pub fn new(plan: LoadedPlan, drill: bool) -> Engine {
        Engine {
            state: State::default(),
            plan,
            drill,
            prepared: Arc::default(),
            scenarios: Arc::default(),
            scenario_files: Vec::new(),
            drills_due: Arc::default(),
            learned: None,
            adding: None,
            not_added: None,
            kept: Kept::default(),
            kept_is_known: false,
            saving: Saving::default(),
            no_sound: None,
            not_kept: None,
            no_store: None,
            failed: None,
            resumed: false,
            sounding: false,
            marked: false,
            log: Arc::default(),
            log_filter: Arc::default(),
            log_found: Arc::default(),
            log_read: Arc::default(),
            approvals: Vec::new(),
            not_approved: None,
            standings: Arc::default(),
            day: None,
            looking: None,
            has_times: false,
            held: false,
            what_ifs: None,
        }
    }

    /// Starts in the middle of the incident that these records tell of. What a file shows after a failed sync may be in memory
    /// only, so nothing counts as saved before the journal has said so again.
    pub fn resume(
        plan: LoadedPlan,
        drill: bool,
        records: Vec<Record>,
        now: &Moment,
        since_start_ms: i64,
    ) -> (Engine, Vec<Effect>) {
        let mut engine = Engine::new(plan, drill);
        engine.state = State::replay(records);
        engine.resumed = true;
        let effects = engine.command(Command::Resume { since_start_ms }, now);
        let effects = engine.mark(effects);
        (engine, effects)
    }

    /// What is known.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// When the engine next needs a `Wake`, as time from `now`.
    pub fn next_wake(&self, now: &Moment) -> Option<Millis> {
        let at = self.state.facts.line.at(now);
        next_wakeup(&self.state.facts, at).map(|t| t.saturating_sub(at))
    }

    /// Looks at the readiness again where another day has begun; what is to be done outside for it.
    pub fn new_day(&mut self, now: &Moment) -> Vec<Effect> {
        match self.day == Some(now.day()) {
            true => Vec::new(),
            false => {
                self.draw_scenarios(now);
                // What is due follows from the drills in the record.
                let mut effects = self.look(now.day(), true);
                effects.extend([Effect::ReadLog, Effect::ReadScenarios]);
                self.mark(effects)
            }
        }
    }

    /// True where the signature of the shift has begun to hold or run out since this was asked last.
    pub fn shift_turned(&mut self, now: &Moment) -> bool {
        let holds = self.kept.shift.holds(now.wall_ms);
        std::mem::replace(&mut self.held, holds) != holds
    }

    /// Looks at papers, people and kit at once, and asks for the times, which take longer. Times of the same plan stand
    /// until then.
    fn look(&mut self, today: NaiveDate, same_plan: bool) -> Vec<Effect> {
        self.day = Some(today);
        let conditions = self.conditions(today);
        let plan = self.plan.in_use.plan.clone();
        let mut quick = standings(&plan, &conditions);
        for now in quick.iter_mut().filter(|it| it.grade != Grade::NotReady) {
            // What stood before stands until the times are computed anew.
            let before = self.standings.iter().find(|it| it.position == now.position);
            if let Some(before) = before.filter(|it| same_plan && it.expected.is_some()) {
                *now = before.clone();
            }
        }
        let mut effects = self.adopt(quick);
        // What would help is a question about a day that is no more.
        if self.what_ifs.take().is_some() {
            effects.push(Effect::StopWhatIfs);
        }
        (self.looking, self.has_times) = (Some(conditions.clone()), false);
        effects.push(Effect::Standings { conditions, plan });
        effects
    }

    fn adopt(&mut self, standings: Vec<Standing>) -> Vec<Effect> {
        let before = std::mem::replace(&mut self.standings, Arc::new(standings));
        let listed = self.kept.shift.lost.clone();
        let lost = self.kept.shift.note(&before, &self.standings);
        let mut effects = Vec::new();
        if listed != self.kept.shift.lost {
            effects.extend(self.keep());
        }
        if lost {
            self.sounding = true;
            effects.push(Effect::Play(Cue::RescueLost));
        }
        effects
    }

    /// What the site is looked at with.
    fn conditions(&self, today: NaiveDate) -> Conditions {
        let shift = &self.kept.shift;
        Conditions {
            day: today,
            present: self.present(),
            in_command: self.kept.settings.in_command.clone(),
            wind: shift.wind_that_counts(),
            light: shift.light,
            lightning: shift.lightning == Some(true),
            gone: shift.gone(&self.plan.in_use.plan),
            workers: shift
                .in_use
                .iter()
                .map(|it| (it.position.clone(), it.workers.clone()))
                .collect(),
            seed: 0,
        }
    }

    /// Takes one input and says what is to be done outside.
    pub fn handle(&mut self, input: Input, now: &Moment) -> Vec<Effect> {
        // Only these change who is there or which plan it is.
        let looks_again = matches!(
            input,
            Input::Plan(_)
                | Input::Kept(_)
                | Input::Tap(Tap::SwapPresent { .. } | Tap::NextInCommand | Tap::Declare(_))
        );
        let replanned = matches!(input, Input::Plan(_));
        let mut effects = self.take(input, now);
        let stale = self.looking.as_ref();
        let other = |day| stale.is_none_or(|it| *it != self.conditions(day));
        if self.day != Some(now.day()) || replanned || looks_again && other(now.day()) {
            effects.extend(self.look(now.day(), !replanned));
            self.draw_scenarios(now);
        }
        self.mark(effects)
    }

    /// True where the screens say DRILL.
    fn is_drill(&self) -> bool {
        let opened = self.state.facts.opened.as_ref();
        opened.map_or(self.drill, |it| it.drill)
    }

    /// The cues among these effects, and all after them, are heard as a drill's where the screens say so.
    fn mark(&mut self, mut effects: Vec<Effect>) -> Vec<Effect> {
        let drill = self.is_drill();
        if std::mem::replace(&mut self.marked, drill) != drill {
            effects.insert(0, Effect::Drill(drill));
        }
        effects
    }

    /// Finds what is due for a drill, by the plan and by the drills in the record.
    fn find_due(&mut self, today: NaiveDate) {
        let lessons = self
            .log
            .iter()
            .filter_map(|it| it.drilled.as_deref().cloned());
        let lessons: Vec<_> = lessons.collect();
        let due = drill::due(&self.plan.in_use.plan, &lessons, today);
        self.drills_due = Arc::new(due);
    }

    /// Draws the times of the scenarios anew, so that nobody knows them from the drill before.
    fn draw_scenarios(&mut self, now: &Moment) {
        let drawn = prepared::scenarios(&self.plan.in_use.plan, &self.scenario_files, seed(now));
        self.scenarios = Arc::new(drawn);
        self.find_due(now.day());
    }

    fn take(&mut self, input: Input, now: &Moment) -> Vec<Effect> {
        match input {
            Input::Tap(tap) => {
                let mut effects = self.hush();
                effects.extend(self.tap(tap, now));
                effects
            }
            Input::Wake => self.command(Command::Wake, now),
            Input::Forecast { basis, forecast } => {
                self.command(Command::Adopt { basis, forecast }, now)
            }
            Input::Standings {
                conditions,
                plan,
                standings,
            } => {
                // Somebody came or went since, or the plan is another: the numbers for that are on their way.
                let same = Arc::ptr_eq(&plan, &self.plan.in_use.plan);
                if self.looking.as_ref() != Some(&conditions) || !same {
                    return Vec::new();
                }
                self.has_times = true;
                self.adopt(standings)
            }
            Input::WhatIfs(found) => {
                if self.what_ifs.is_some() {
                    self.what_ifs = Some(Arc::new(found));
                }
                Vec::new()
            }
            Input::Journal(report) => {
                let failed_before = self.saving.fails();
                let mut added = self.added(&report);
                self.journal(report, now);
                if self.saving.fails() && !failed_before {
                    self.sounding = true;
                    added.push(Effect::Play(Cue::CannotSave));
                }
                added
            }
            Input::Sound(ready) => {
                self.no_sound = ready.err();
                Vec::new()
            }
            Input::Kept(Ok(kept)) => {
                // What somebody set on the screen before the store was open goes before what the store held.
                if !self.kept_is_known {
                    self.kept = kept;
                    self.kept_is_known = true;
                }
                vec![Effect::Louder(self.kept.settings.louder)]
            }
            Input::Kept(Err(why)) => {
                self.not_kept = Some(why);
                Vec::new()
            }
            Input::Store(why) => {
                self.no_store = Some(why);
                Vec::new()
            }
            Input::Log(log) => {
                self.log = Arc::new(log);
                self.find_due(now.day());
                // What was found in the log before may be something else in this one.
                let filter = Filter::clone(&self.log_filter);
                let again = filter != Filter::default();
                let again = again.then(|| Effect::FindLog(Box::new(filter)));
                again.into_iter().collect()
            }
            Input::LogFound(found) => {
                // What somebody looked for before is of no use any more.
                if found.filter == *self.log_filter {
                    self.log_found = Arc::new(found);
                }
                Vec::new()
            }
            Input::LogRows(read) => {
                self.log_read = Arc::new(read);
                Vec::new()
            }
            Input::Learned(learned) => {
                self.learned = Some(Arc::new(learned));
                Vec::new()
            }
            Input::Scenarios(files) => {
                self.scenario_files = files;
                self.draw_scenarios(now);
                Vec::new()
            }
            // A running incident has its own plan in its first record, and keeps it.
            Input::Plan(plan) => {
                self.plan = *plan;
                Vec::new()
            }
            Input::Approvals(Ok(approvals)) => {
                (self.approvals, self.not_approved) = (approvals, None);
                Vec::new()
            }
            Input::Approvals(Err(why)) => {
                self.not_approved = Some(why);
                Vec::new()
            }
            Input::Stop => Vec::new(),
        }
    }

    fn hush(&mut self) -> Vec<Effect> {
        if std::mem::take(&mut self.sounding) {
            vec![Effect::Silence]
        } else {
            Vec::new()
        }
    }

    /// Who signed the plan in use, last.
    fn approval(&self) -> Option<PlanApproval> {
        let signed = self.approvals.iter().rev();
        let mut signed = signed.filter(|it| it.plan_sha == self.plan.sha);
        signed.next().cloned()
    }

    fn keep(&mut self) -> Vec<Effect> {
        self.kept_is_known = true;
        vec![Effect::Keep(self.kept.clone())]
    }

    /// People of the plan who are on shift.
    fn present(&self) -> Vec<String> {
        let absent = &self.kept.roll_call.absent;
        self.plan
            .in_use
            .plan
            .responders
            .iter()
            .map(|r| r.id.clone())
            .filter(|id| !absent.contains(id))
            .collect()
    }

    fn opening(&self, now: &Moment) -> Opening {
        let present = self.present();
        let seed = seed(now);
        Opening {
            incident: incident_id(now, seed),
            drill: self.drill,
            exercise: None,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            plan_format: 1,
            plan_name: self.plan.in_use.name.clone(),
            plan_standing: self.plan.in_use.standing,
            plan_sha: self.plan.sha.clone(),
            plan: self.plan.text.clone(),
            language: self.kept.settings.language,
            in_command: self
                .kept
                .settings
                .in_command
                .clone()
                .filter(|id| present.contains(id)),
            roll_call: present
                .into_iter()
                .chain(self.kept.shift.visitors.iter().map(|it| it.id.clone()))
                .collect(),
            seed,
            approval: self.approval(),
            shift: (self.kept.shift != Shift::default()).then(|| Box::new(self.kept.shift.clone())),
        }
    }

    fn command(&mut self, command: Command, now: &Moment) -> Vec<Effect> {
        let activates = matches!(command, Command::Activate { .. });
        // A refusal changes nothing: the touch was for a prompt that has gone, or came twice.
        let Ok(Decision { records, wanted }) = decide(&self.state, command, now) else {
            return Vec::new();
        };
        let mut effects = Vec::new();
        if activates {
            self.state = State::default();
            (self.saving, self.resumed) = (Saving::default(), false);
            if let Some(first) = records.first() {
                effects.push(Effect::Open {
                    incident: first.incident.to_string(),
                });
            }
        }
        let before = self.state.facts.clone();
        let entries: Vec<_> = records
            .iter()
            .map(|r| Entry {
                seq: r.seq,
                json: r.to_json(),
            })
            .collect();
        for record in records {
            self.state.apply(record);
        }
        if !entries.is_empty() {
            self.saving.wait_from(now.boot_ms);
            effects.push(Effect::Append(entries));
        }
        for cue in cues(&before, &self.state.facts) {
            self.sounding = true;
            effects.push(Effect::Play(cue));
        }
        for wanted in wanted {
            match wanted {
                Wanted::Forecast(basis) => {
                    if let Some(opened) = &self.state.facts.opened {
                        effects.push(Effect::Forecast {
                            basis: *basis,
                            plan: opened.plan.clone(),
                        });
                    }
                }
                Wanted::Close => effects.push(Effect::Close),
                Wanted::Leave => {
                    self.state = State::default();
                    (self.saving, self.resumed) = (Saving::default(), false);
                    effects.push(Effect::ReadLog);
                }
            }
        }
        effects
    }

    fn journal(&mut self, report: JournalReport, now: &Moment) {
        let mine = |incident: &str| {
            self.state
                .facts
                .opened
                .as_ref()
                .is_some_and(|o| &*o.incident == incident)
        };
        let (JournalReport::Saved { incident, .. }
        | JournalReport::Failing { incident, .. }
        | JournalReport::NotAdded { incident, .. }
        | JournalReport::Closed { incident, .. }) = &report;
        if mine(incident) {
            let last = self.state.log.last().map(|r| r.seq);
            self.saving.note(report, last, now.boot_ms);
        }
    }

    fn notices(&self, now: &Moment) -> Vec<Notice> {
        let mut notices = Vec::new();
        let mut say = |message, grave| notices.push(Notice { message, grave });
        if let Some(why) = self.saving.failing() {
            say(Message::with(Id::NoticeNotSaving, [why]), true);
        } else if self.saving.is_late(now.boot_ms) {
            say(Message::of(Id::NoticeSavingLate), true);
        }
        if let Some((times, _)) = &self.failed {
            let times = times.to_string();
            say(Message::with(Id::NoticeFailedInside, [&times]), true);
        }
        let facts = &self.state.facts;
        if facts.is_open() && facts.line.at_least {
            let hanging = clock(facts.hanging(facts.line.at(now)));
            say(Message::with(Id::NoticeClockLost, [&hanging]), true);
        }
        if facts.is_open() && facts.played.real.is_some() {
            say(Message::of(Id::NoticeReal), true);
        }
        // A danger stands before it, and they must not hang on for that.
        if facts.is_open() && facts.must_stand() {
            say(Message::of(Id::LetStand), true);
        }
        if let Some((_, surprise)) = facts.surprise_now()
            && let Some(opened) = &facts.opened
        {
            let said = surprise.inject.said(&opened.plan).text(opened.language);
            say(Message::with(Id::NoticeSurprise, [&said]), false);
        }
        // What is to be done stands before what has happened: the strip shows one sentence and counts the others.
        if facts.is_open() && !facts.line.at_least && self.resumed {
            say(Message::of(Id::NoticeResumed), false);
        }
        if !facts.is_open()
            && let Some(why) = &self.plan.in_use.refused
        {
            say(Message::with(Id::NoticePlanRefused, [why]), true);
        }
        if let Some(why) = &self.not_approved {
            say(Message::with(Id::NoticeNotApproved, [why]), true);
        }
        if let Some(why) = &self.not_added {
            say(Message::with(Id::NoticeNotAdded, [why]), true);
        }
        if let Some(why) = &self.no_sound {
            say(Message::with(Id::NoticeNoSound, [why]), false);
        }
        if let Some(why) = &self.not_kept {
            say(Message::with(Id::NoticeNotKept, [why]), false);
        }
        if let Some(why) = &self.no_store {
            say(Message::with(Id::NoticeNoStore, [why]), false);
        }
        notices
    }

    /// Everything a screen shows now.
    pub fn snapshot(&self, now: &Moment) -> Snapshot {
        Snapshot {
            facts: Arc::new(self.state.facts.clone()),
            drill: self.is_drill(),
            prepared: self.prepared.clone(),
            scenarios: self.scenarios.clone(),
            plan: self.plan.in_use.clone(),
            approval: self.approval(),
            standings: self.standings.clone(),
            standings_old: self.looking.is_some() && !self.has_times,
            shift: Arc::new(self.kept.shift.clone()),
            shift_holds: self.kept.shift.holds(now.wall_ms),
            what_ifs: self.what_ifs.clone(),
            flash: self.sounding && self.kept.settings.flash,
            settings: self.kept.settings.clone(),
            roll_call: self.kept.roll_call.clone(),
            saved: self
                .saving
                .shown(self.state.log.last().map(|r| r.seq), now.boot_ms),
            head: self.saving.head(),
            notices: self.notices(now),
            log: self.log.clone(),
            log_filter: self.log_filter.clone(),
            log_found: self.log_found.clone(),
            log_read: self.log_read.clone(),
            drills_due: self.drills_due.clone(),
            learned: self.learned.clone(),
        }
    }
}

/// A seed from the clocks: different for every activation, and written into the record.
fn seed(now: &Moment) -> u64 {
    let mut hash = Sha256::new();
    hash.update(now.boot_id.as_bytes());
    hash.update(now.boot_ms.to_le_bytes());
    hash.update(now.wall_ms.to_le_bytes());
    let digest = hash.finalize();
    digest
        .iter()
        .take(8)
        .fold(0, |seed, byte| (seed << 8) | u64::from(*byte))
}

/// An id that sorts by time and reads as one.
fn incident_id(now: &Moment, seed: u64) -> String {
    let wall = DateTime::from_timestamp_millis(now.wall_ms).unwrap_or_default();
    format!("{}-{:04x}", wall.format("%Y%m%dT%H%M%SZ"), seed & 0xffff)
}
