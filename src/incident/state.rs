//! Holds what is known of a running incident. It is the fold of the records and nothing else.
//!
//! Times are on the incident's own time line, from activation. What follows from these facts (prompts, the next
//! wake-up, which methods are out) is computed from them and never stored.

use super::event::{
    Aftercare, CareTaker, Closing, Condition, Due, Given, Note, Opening, PlanStanding, Record,
    Stop, Teller,
};
use super::exercise::{Exercise, Hanging, Setting};
use super::time::{Moment, TimeLine};
use crate::plan::{Plan, Responder};
use crate::readiness::{Forecast, Light, Posting, Visitor};
use crate::units::{Millis, Speed};
use crate::words::Language;
use std::sync::Arc;

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
    /// The emergency call.
    pub call: Call,
    /// The casualties; number 1 at index 0.
    pub casualties: Vec<Casualty>,
    /// Index of the one worked on.
    pub focus: usize,
    /// True where the person in command chose that one.
    pub focus_chosen: bool,
    /// Who is on what order now; nobody is on two.
    pub orders: Vec<Order>,
    /// The last order of everybody who is on none now.
    pub former: Vec<Former>,
    /// Who is in command.
    pub command: Command,
    /// Whether all others at height have stopped.
    pub others: Others,
    /// Help from outside.
    pub outside: Outside,
    /// The wind as last read.
    pub wind: Option<Speed>,
    /// Responders who cannot, for whatever reason.
    pub cannot: Vec<String>,
    /// Those of them whom nobody reaches.
    pub lost: Vec<String>,
    /// Those of them who are hurt.
    pub hurt: Vec<String>,
    /// Responders who are later than expected.
    pub late: Vec<String>,
    /// Ways that cannot be passed, by link id.
    pub blocked: Vec<String>,
    /// When it was said over the radio where somebody hangs.
    pub announced: Option<Millis>,
    /// Kinds of kit that are not at these stations.
    pub gone: Vec<(String, String)>,
    /// What was noted, about whom, and when.
    pub notes: Vec<(Note, u16, Millis)>,
    /// What the time brought last, and for whom.
    pub came_due: Option<(Due, u16, Millis)>,
    /// Since when everybody is told to stop.
    pub danger: Option<Millis>,
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
    /// How far a drill has come; empty in a rescue.
    pub played: Played,
}

/// How far a drill has come.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Played {
    /// How many of its surprises, the earliest first, have come due.
    pub due: usize,
    /// Which were given, by their index, and when.
    pub given: Vec<(usize, Millis)>,
    /// Which were left out.
    pub left_out: Vec<usize>,
    /// Since when the living person is to be let stand.
    pub let_stand: Option<Millis>,
    /// Since when they stand.
    pub stands: Option<Millis>,
    /// When it became a rescue.
    pub real: Option<Millis>,
}

/// An order that stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Order {
    /// For the casualty with this number.
    pub casualty: u16,
    /// Method id; empty for a standing task beside the methods.
    pub method: String,
    /// Who, with what, where.
    pub posting: Posting,
    /// Since when.
    pub at: Millis,
    /// Number of its record.
    pub number: u64,
    /// What stood before, for the same role or for the same person.
    pub instead: Vec<Given>,
    /// True where somebody was told something else before: this person, or whoever had the role.
    pub changed: bool,
    /// Kit in hand from an order before this one: station id and name as spoken.
    pub holds: Vec<(String, String)>,
    /// When it was said over the radio.
    pub said: Option<Millis>,
    /// When it was read back.
    pub heard: Option<Millis>,
    /// When this person said that they are on the way.
    pub going: Option<Millis>,
    /// When this person said that they are there.
    pub there: Option<Millis>,
    /// True once it was said long enough ago and nobody answered.
    pub unanswered: bool,
    /// True once its kit was found missing where it was to be fetched.
    pub empty_handed: bool,
}

/// An order that was withdrawn, or whose person cannot any more.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Former {
    /// The order.
    pub order: Order,
    /// When it ended.
    pub ended: Millis,
    /// True once somebody else has the role.
    pub replaced: bool,
    /// Number of the record that withdrew it, where this person was to be told and nobody said so yet.
    pub to_tell: Option<u64>,
}

impl Order {
    /// True where whoever is on it was told of it, as far as is known.
    pub fn is_told(&self) -> bool {
        self.said.is_some() || self.is_answered()
    }

    /// True where whoever is on it was heard of since it was given.
    pub fn is_answered(&self) -> bool {
        self.heard.or(self.going).or(self.there).is_some()
    }

    /// Since when it is understood, as far as is known: answered, said, or as long after it was given as passing it on takes.
    pub fn understood(&self, passing: Millis) -> Millis {
        let known = [self.going, self.heard, self.said].into_iter().flatten();
        known
            .min()
            .unwrap_or_else(|| self.at.saturating_add(passing))
    }

    /// What is left of the way; none once it should be over.
    pub fn to_go(&self, passing: Millis, at: Millis) -> Option<Millis> {
        let arrives = self
            .understood(passing)
            .saturating_add(Millis(self.posting.travel_ms));
        let left = arrives.saturating_sub(at);
        (self.there.is_none() && left > Millis::ZERO).then_some(left)
    }

    /// Kit in hand by then, as far as is known: station id and name as spoken.
    pub fn in_hand(&self, passing: Millis, at: Millis) -> Vec<(String, String)> {
        let mut holds = self.holds.clone();
        let fetched = self
            .posting
            .fetch_ms
            .is_some_and(|fetch| at >= self.understood(passing).saturating_add(Millis(fetch)));
        if let (Some(station), Some(kit)) = (&self.posting.station, &self.posting.kit)
            && (fetched || self.there.is_some())
            && !self.empty_handed
        {
            let piece = (station.clone(), kit.clone());
            if !holds.contains(&piece) {
                holds.push(piece);
            }
        }
        holds
    }
}

/// Who is in command.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Command {
    /// Responder id, where it is one of the plan's people.
    pub by: Option<String>,
    /// What whoever took it over still has to do.
    pub handing: Option<Handing>,
    /// When it last changed hands.
    pub taken: Option<Millis>,
}

/// What whoever took command still has to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Handing {
    /// Read the brief.
    Brief,
    /// Say who they are.
    Name,
}

/// Whether all others at height have stopped.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Others {
    /// When all had.
    pub stopped: Option<Millis>,
    /// When last not all had.
    pub not_yet: Option<Millis>,
}

/// Help from outside.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Outside {
    /// When height rescue was asked for.
    pub asked: Option<Millis>,
    /// When they said they would be there.
    pub expected: Option<Millis>,
    /// Who said so.
    pub said_by: Option<Teller>,
    /// Since when they lead.
    pub leads: Option<Millis>,
}

/// What the opening said, with its plan read.
#[derive(Clone, Debug, PartialEq)]
pub struct Opened {
    /// Incident id.
    pub incident: Arc<str>,
    /// True in a drill, until it becomes a rescue.
    pub drill: bool,
    /// How the drill is played, where that was said.
    pub exercise: Option<Arc<Exercise>>,
    /// Where the plan comes from.
    pub standing: PlanStanding,
    /// Its file name.
    pub plan_name: String,
    /// The plan.
    pub plan: Arc<Plan>,
    /// Language of the screen.
    pub language: Language,
    /// Who is on shift.
    pub roll_call: Vec<String>,
    /// Those of them whom the plan does not know. Nobody sends them anywhere.
    pub visitors: Vec<String>,
    /// Seed of whatever is drawn.
    pub seed: u64,
    /// True in the dark, as it was said for the shift.
    pub dark: bool,
    /// The wind said for the shift, gusts counted.
    pub wind: Option<Speed>,
    /// Wall clock at activation.
    pub started: Moment,
    /// What the day is really like, where a drill plays something else.
    pub really: Option<Box<Around>>,
}

/// Who is there, and what it is like.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Around {
    /// Who is on shift.
    pub roll_call: Vec<String>,
    /// True in the dark.
    pub dark: bool,
    /// The wind, gusts counted.
    pub wind: Option<Speed>,
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

/// A suspended worker, and what is being done for them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Casualty {
    /// Responder id, where it is one of the plan's people and somebody said who.
    pub who: Option<String>,
    /// True once somebody said who it is, also where it is none of the plan's people.
    pub named: bool,
    /// True for a rescuer who fell.
    pub rescuer: bool,
    /// Where they hang.
    pub place: Whereabouts,
    /// Since when that is known.
    pub placed: Millis,
    /// Whether one may go near there.
    pub scene: Scene,
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
    /// Intervals gone by since the last check: 1 not checked, 2 planned as not answering.
    pub lapsed: u8,
    /// When they first answered.
    pub voice: Option<Millis>,
    /// True where they are in immediate danger there.
    pub in_danger: bool,
    /// When a responder could touch the casualty.
    pub contact: Option<Millis>,
    /// When the weight was off the harness, and by which cause.
    pub off: Option<(Millis, u64)>,
    /// When the casualty was at the landing place.
    pub landed: Option<Millis>,
    /// The numbers acted on; shared, because what is known is copied with every touch.
    pub forecast: Option<Arc<Forecast>>,
    /// How many records there were when those were asked for.
    pub asked: u64,
    /// The method being tried.
    pub running: Option<Running>,
    /// Methods tried before, in order.
    pub windows: Vec<Window>,
    /// How far each method got: the index of the step it reached.
    pub used: Vec<(String, usize)>,
    /// Methods stopped at once, and why.
    pub stopped: Vec<(String, Stop)>,
    /// Methods that the person in command put back or goes on with.
    pub put_back: Vec<String>,
    /// True once the target has gone by and that was said.
    pub past_target: bool,
    /// True where no way down is left for a casualty off the harness.
    pub aloft: bool,
    /// The aftercare answers.
    pub aftercare: Vec<(Aftercare, bool, Millis)>,
    /// When the casualty said no to care.
    pub refused: Option<Millis>,
    /// Who took over the care, and when.
    pub handed: Option<(CareTaker, Millis)>,
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
    /// Since when that is being done.
    pub step_since: Millis,
    /// Index of the fallback being tried for that step.
    pub fallback: Option<usize>,
    /// By when to decide to change; `NEVER` where it is not to be left for another.
    pub change_by: Millis,
    /// How often the change was put off.
    pub more: u8,
    /// After "not working" while committed: first make safe, then this.
    pub securing: Option<Securing>,
    /// The step and fallback for which somebody is tied off and checked.
    pub tied: Option<(usize, Option<usize>)>,
    /// Entry conditions that are met.
    pub entry: Vec<usize>,
    /// True once what makes lowering here possible is in place.
    pub ground_held: bool,
    /// True once it was said that the change-by time is near.
    pub near: bool,
    /// True while a stop condition holds a committed method where it is.
    pub held: bool,
}

/// What follows once both are connected and the weight is held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Securing {
    /// The next fallback or method.
    Onward,
    /// The method the person in command went straight to.
    Straight(String),
    /// The step goes on where it was: a danger is over.
    Resume,
    /// The person in command decides: something stopped the method.
    Stopped,
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
    /// True where nothing was done in it: the person in command went straight to another.
    pub untried: bool,
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
    /// Which casualty it is about.
    pub casualty: u16,
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
/// The change-by time is near this long before it.
pub const CHANGE_NEAR: Millis = Millis::from_seconds(30);
/// "Nearly done" adds this much.
pub const MORE_TIME: Millis = Millis::from_seconds(60);
/// "Nearly done" is offered this often for one method.
pub const MORE_TIME_MAX: u8 = 2;
/// The clock is written down at least this often.
pub const CLOCK_MARK_EVERY: Millis = Millis::from_seconds(5);
/// A method starts without a forecast after this long.
pub const FORECAST_WAIT: Millis = Millis::from_seconds(2);

impl Opened {
    /// Takes over an opening, its plan read by the caller.
    pub fn new(opening: &Opening, plan: Arc<Plan>, now: &Moment) -> Opened {
        let visitors = opening.shift.iter().flat_map(|it| &it.visitors);
        let visitors: Vec<Visitor> = visitors.cloned().collect();
        let plan = match visitors.is_empty() {
            true => plan,
            false => Arc::new(with_visitors(Plan::clone(&plan), &visitors)),
        };
        Opened {
            incident: opening.incident.as_str().into(),
            drill: opening.drill,
            exercise: opening.exercise.as_deref().cloned().map(Arc::new),
            standing: opening.plan_standing,
            plan_name: opening.plan_name.clone(),
            plan,
            language: opening.language,
            roll_call: opening.roll_call.clone(),
            visitors: visitors.into_iter().map(|it| it.id).collect(),
            seed: opening.seed,
            dark: opening.shift.as_ref().and_then(|it| it.light) == Some(Light::Dark),
            wind: opening.shift.as_ref().and_then(|it| it.wind_that_counts()),
            started: now.clone(),
            really: None,
        }
        .playing(opening.in_command.as_ref())
    }

    /// In a drill with a setting: who plays and what is played, with what the day is really like kept for a rescue. Nothing
    /// is played as easier than it is.
    fn playing(mut self, in_command: Option<&String>) -> Opened {
        let Some(exercise) = self.exercise.clone().filter(|_| self.drill) else {
            return self;
        };
        let setting = &exercise.setting;
        if *setting == Setting::default() {
            return self;
        }
        self.really = Some(Box::new(Around {
            roll_call: self.roll_call.clone(),
            dark: self.dark,
            wind: self.wind,
        }));
        let watcher = match &exercise.hanging {
            Hanging::Live(guards) => guards.watcher.as_ref(),
            Hanging::Manikin => None,
        };
        if let Some(crew) = &setting.crew {
            self.roll_call
                .retain(|id| crew.contains(id) || Some(id) == in_command || Some(id) == watcher);
        }
        self.dark |= setting.light == Some(Light::Dark);
        self.wind = self.wind.max(setting.wind);
        self
    }

    /// From here on everybody on shift is there, and the day is what it is.
    pub(super) fn become_real(&mut self) {
        self.drill = false;
        if let Some(really) = self.really.take() {
            let Around {
                roll_call,
                dark,
                wind,
            } = *really;
            (self.roll_call, self.dark, self.wind) = (roll_call, dark, wind);
        }
    }
}

/// Visitors are people like others, known by name and place and by nothing else. Where the records are folded again the plan
/// has them already.
fn with_visitors(mut plan: Plan, visitors: &[Visitor]) -> Plan {
    for visitor in visitors {
        if plan.responder(&visitor.id).is_none() {
            plan.responders.push(Responder {
                id: visitor.id.clone(),
                name: visitor.name.clone(),
                place: visitor.place.clone(),
                ..Responder::default()
            });
        }
    }
    plan
}
