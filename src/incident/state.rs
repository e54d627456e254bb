//! Holds what is known of a running incident. It is the fold of the records and nothing else.
//!
//! Times are on the incident's own time line, from activation. What follows from these facts (prompts, the next
//! wake-up, which methods are out) is computed from them and never stored.

use super::event::{Aftercare, Closing, Condition, Opening, PlanStanding, Record};
use super::time::{Moment, TimeLine};
use crate::plan::{Hazard, HazardKind, Method, Plan, Policy, Position, Step};
use crate::readiness::{Forecast, MethodForecast, Posting};
use crate::units::Millis;
use crate::words::Language;
use std::sync::{Arc, LazyLock};

/// What is known, with the records it came from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct State {
    /// What follows from the records.
    pub facts: Facts,
    /// The records, in order.
    pub log: Vec<Arc<Record>>,
}

/// What is known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    /// How the incident was opened; none on standby.
    pub opened: Option<Opened>,
    /// The incident's time line.
    pub line: TimeLine,
    /// Where it is.
    pub place: Whereabouts,
    /// Since when the place is known.
    pub placed: Millis,
    /// Whether one may go near.
    pub scene: Scene,
    /// The emergency call.
    pub call: Call,
    /// The casualties, the first one at 0.
    pub casualties: Vec<Casualty>,
    /// The numbers acted on.
    pub forecast: Option<Forecast>,
    /// Who was sent for what.
    pub orders: Vec<(String, Posting)>,
    /// The method being tried.
    pub running: Option<Running>,
    /// Methods tried before, in order.
    pub windows: Vec<Window>,
    /// Since when everybody is told to stop.
    pub danger: Option<Millis>,
    /// The aftercare answers.
    pub aftercare: Vec<(Aftercare, bool, Millis)>,
    /// The closing questions, once begun.
    pub closing: Option<Vec<Closing>>,
    /// When the incident ended.
    pub stood_down: Option<Millis>,
    /// The prompt on the screen.
    pub shown: Option<Shown>,
    /// The last thing a touch did, which can be taken back.
    pub undo: Option<Undo>,
    /// When the clock was last written down.
    pub marked: Millis,
    /// The newest cause, where it was not a touch.
    pub untouched: Option<u64>,
}

/// What the opening said, with its plan read.
#[derive(Clone, Debug, PartialEq)]
pub struct Opened {
    /// Incident id.
    pub incident: Arc<str>,
    /// True in a drill.
    pub drill: bool,
    /// Where the plan comes from.
    pub standing: PlanStanding,
    /// Its file name.
    pub plan_name: String,
    /// The plan.
    pub plan: Arc<Plan>,
    /// Language of the screen.
    pub language: Language,
    /// Who holds the tablet.
    pub in_command: Option<String>,
    /// Who is on shift.
    pub roll_call: Vec<String>,
    /// Wall clock at activation.
    pub started: Moment,
}

/// Where the casualty hangs.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Whereabouts {
    /// Not said yet.
    #[default]
    Unknown,
    /// At a place that the plan does not list.
    NotListed,
    /// At a position of the plan.
    Known(String),
}

/// Whether one may go near.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Scene {
    /// When it was said to be safe.
    pub safe: Option<Millis>,
    /// When it was last said not to be safe yet.
    pub not_yet: Option<Millis>,
    /// Hazards made safe.
    pub made_safe: Vec<String>,
}

/// The emergency call.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Call {
    /// Who was asked to call, and when; the last one is the one in charge of it.
    pub ordered: Vec<(Option<String>, Millis)>,
    /// When it was first put on the screen as the prompt.
    pub prompted: Option<Millis>,
    /// When the present order was passed on.
    pub passed: Option<Millis>,
    /// When the call was made.
    pub confirmed: Option<Millis>,
}

/// A suspended worker.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Casualty {
    /// When the fall was, on the time line; before activation it is negative.
    pub fell: Millis,
    /// True where that is only a lower bound for the time hanging.
    pub fell_at_least: bool,
    /// True where the time of the fall was set by hand.
    pub fell_corrected: bool,
    /// Last reported condition, and when.
    pub condition: Option<(Condition, Millis)>,
    /// The worst condition reported: a better one afterwards never puts a method back.
    pub worst: Option<Condition>,
    /// When a responder could touch the casualty.
    pub contact: Option<Millis>,
    /// When the weight was off the harness, and by which cause.
    pub off: Option<(Millis, u64)>,
    /// When the casualty was at the landing place.
    pub landed: Option<Millis>,
}

/// The method being tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Running {
    /// Method id.
    pub method: String,
    /// When it began.
    pub started: Millis,
    /// Index of the step being done; the number of steps once all are done.
    pub step: usize,
    /// Index of the fallback being tried for that step.
    pub fallback: Option<usize>,
    /// By when to decide to change.
    pub change_by: Millis,
    /// How often the change was put off.
    pub more: u8,
    /// After "not working" while committed: first make safe, then this.
    pub securing: Option<Securing>,
}

/// What follows once both are connected and the weight is held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Securing {
    /// The next fallback or method.
    Onward,
    /// The method the person in command went straight to.
    Straight(String),
}

/// A method tried before.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    /// Method id.
    pub method: String,
    /// When it began.
    pub from: Millis,
    /// When it was given up.
    pub to: Millis,
}

/// The prompt on the screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    /// Its number; an answer names it.
    pub number: u64,
    /// Message id.
    pub message: String,
    /// Its arguments.
    pub args: Vec<String>,
    /// Since when.
    pub since: Millis,
    /// True where it came by itself and not after a touch.
    pub by_itself: bool,
}

/// The last thing a touch did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Undo {
    /// Cause of the records to take back.
    pub cause: u64,
    /// When.
    pub at: Millis,
}

/// Undo stays on the screen this long.
pub const UNDO_SHOWN: Millis = Millis::from_seconds(10);
/// A prompt that came by itself takes no answer for this long, so that a finger on its way to the one before answers nothing.
pub const ANSWER_GUARD: Millis = Millis(500);
/// "Nearly done" adds this much.
pub const MORE_TIME: Millis = Millis::from_seconds(60);
/// "Nearly done" is offered this often for one method.
pub const MORE_TIME_MAX: u8 = 2;
/// The clock is written down at least this often.
pub const CLOCK_MARK_EVERY: Millis = Millis::from_seconds(5);
/// A method starts without a forecast after this long.
pub const FORECAST_WAIT: Millis = Millis::from_seconds(2);

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

    /// The casualty worked on first.
    pub fn casualty(&self) -> Casualty {
        self.casualties.first().cloned().unwrap_or_default()
    }

    /// Time since the fall of the casualty worked on; it stands still once that casualty is off the harness.
    pub fn hanging(&self, at: Millis) -> Millis {
        let casualty = self.casualty();
        let end = casualty.off.map_or(at, |(off, _)| off);
        Millis(end.0.saturating_sub(casualty.fell.0))
    }

    /// Time since the fall, going on after the harness.
    pub fn since_fall(&self, at: Millis) -> Millis {
        Millis(at.0.saturating_sub(self.casualty().fell.0))
    }

    /// True where the time since the fall is only a lower bound.
    pub fn at_least(&self) -> bool {
        self.line.at_least || self.casualty().fell_at_least
    }

    /// The position of the plan that the incident is at.
    pub fn position(&self) -> Option<&Position> {
        let plan = &self.opened.as_ref()?.plan;
        match &self.place {
            Whereabouts::Known(id) => plan.position(id),
            Whereabouts::Unknown | Whereabouts::NotListed => None,
        }
    }

    /// The methods that can be tried here: those of the position, or the generic ones where it has none.
    pub fn methods(&self) -> &[Method] {
        if self.place == Whereabouts::Unknown {
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
    pub fn method(&self, id: &str) -> Option<&Method> {
        self.methods().iter().find(|m| m.id == id)
    }

    /// What is expected of a method.
    pub fn forecast_of(&self, method: &str) -> Option<&MethodForecast> {
        self.forecast
            .as_ref()?
            .methods
            .iter()
            .find(|m| m.method == method)
    }

    /// The running method and its step, where one is left to do.
    pub fn step(&self) -> Option<(&Running, &Method, &Step)> {
        let running = self.running.as_ref()?;
        let method = self.method(&running.method)?;
        Some((running, method, method.steps.get(running.step)?))
    }

    /// True from the first connection to the casualty, or a rescuer over the edge, until the weight is on a stable surface.
    pub fn committed(&self) -> bool {
        let Some(running) = &self.running else {
            return false;
        };
        let Some(method) = self.method(&running.method) else {
            return false;
        };
        self.casualty().off.is_none()
            && method
                .steps
                .iter()
                .take(running.step.saturating_add(1))
                .any(|s| s.committed)
    }

    /// True where people may go past the approach point.
    pub fn may_go_near(&self) -> bool {
        self.danger.is_none() && self.scene.safe.is_some() && self.open_hazard().is_none()
    }

    /// The hazard of the position to make safe next: what is electric first, because it bars every touch.
    pub fn open_hazard(&self) -> Option<&Hazard> {
        let open = |h: &&Hazard| !self.scene.made_safe.contains(&h.id);
        let hazards = || {
            self.position()
                .into_iter()
                .flat_map(|p| &p.hazards)
                .filter(open)
        };
        hazards()
            .find(|h| h.kind == HazardKind::Electric)
            .or_else(|| hazards().next())
    }

    /// True where nobody may touch casualty, ladder, lift or line: a supply is not confirmed off.
    pub fn touch_nothing(&self) -> bool {
        self.open_hazard()
            .is_some_and(|h| h.kind == HazardKind::Electric)
    }

    /// True where the casualty's condition rules a method out.
    pub fn ruled_out(&self, method: &Method) -> bool {
        use crate::plan::{Need, Rung};
        match self.casualty().worst {
            None | Some(Condition::Talking) => false,
            Some(Condition::Unwell) => method.needs.iter().any(|n| *n != Need::Answering),
            Some(Condition::NotAnswering) => {
                !method.needs.is_empty() || method.rung == Rung::SelfRescue
            }
        }
    }

    /// The method to change to: the next allowed one down the ladder, else the first allowed one not tried yet.
    pub fn next_method(&self) -> Option<&Method> {
        let methods = self.methods();
        let running = self.running.as_ref().map(|r| r.method.as_str());
        let after = running
            .and_then(|id| methods.iter().position(|m| m.id == id))
            .map_or(0, |i| i + 1);
        let tried = |m: &Method| {
            Some(m.id.as_str()) == running || self.windows.iter().any(|w| w.method == m.id)
        };
        let open = |m: &&Method| !self.ruled_out(m) && !tried(m);
        methods
            .iter()
            .skip(after)
            .find(open)
            .or_else(|| methods.iter().find(open))
    }

    /// True where the running method should be changed now. No time counts before it is safe or while committed.
    pub fn change_is_due(&self, at: Millis) -> bool {
        let Some(running) = &self.running else {
            return false;
        };
        let out = self
            .method(&running.method)
            .is_some_and(|m| self.ruled_out(m));
        self.casualty().off.is_none()
            && !self.committed()
            && self.next_method().is_some()
            && (out || at >= running.change_by)
    }

    /// What can still be taken back on the screen.
    pub fn undo_shown(&self, at: Millis) -> Option<&Undo> {
        self.undo.as_ref().filter(|u| {
            self.is_open() && self.danger.is_none() && at.0.saturating_sub(u.at.0) < UNDO_SHOWN.0
        })
    }

    /// People who can be ordered: on shift, and not rostered where the casualty hangs.
    pub fn free_people(&self) -> Vec<String> {
        let Some(opened) = &self.opened else {
            return Vec::new();
        };
        let workers: &[String] = match &self.place {
            Whereabouts::Known(id) => opened.plan.position(id).map_or(&[], |p| &p.workers),
            _ => &[],
        };
        // Until the position is known, anybody rostered at any position may be the one who hangs.
        let unknown = self.place == Whereabouts::Unknown;
        let may_hang = |id: &String| {
            workers.contains(id)
                || (unknown && opened.plan.positions.iter().any(|p| p.workers.contains(id)))
        };
        opened
            .roll_call
            .iter()
            .filter(|id| !may_hang(id) && opened.plan.responder(id).is_some())
            .cloned()
            .collect()
    }

    /// The name of a responder as spoken.
    pub fn name<'a>(&'a self, id: &'a str) -> &'a str {
        self.opened
            .as_ref()
            .and_then(|o| o.plan.responder(id))
            .map_or(id, |r| &r.name)
    }

    /// The posting of a role in the running method.
    pub fn posting(&self, method: &str, role: &str) -> Option<&Posting> {
        self.forecast_of(method)?
            .crew
            .iter()
            .find(|p| p.role == role)
    }
}

impl Opened {
    /// Takes over an opening, its plan read by the caller.
    pub fn new(opening: &Opening, plan: Arc<Plan>, now: &Moment) -> Opened {
        Opened {
            incident: opening.incident.as_str().into(),
            drill: opening.drill,
            standing: opening.plan_standing,
            plan_name: opening.plan_name.clone(),
            plan,
            language: opening.language,
            in_command: opening.in_command.clone(),
            roll_call: opening.roll_call.clone(),
            started: now.clone(),
        }
    }
}
