//! Tells an incident for people who were not there: what took how long, what was advised and decided, what was left open, the story.
//!
//! Made from the records alone, each time it is asked for, and never kept. Everything in it names the records that it rests
//! on, so that nobody has to believe it. Texts are `Phrase`s and read in any language. Facts only: nobody is blamed and no
//! time is called good. Times are on the incident's own line, from the alarm, unless they say that they count from the fall. What was
//! taken back counts only as taken back. Limits: a journal that was cut short is told up to where it ends, and one whose first record
//! cannot be read is not told at all.

use super::estimates::estimates;
use super::gaps::gaps;
use super::measures::{measures, tries};
use super::open::open_ends;
use super::read::Read;
use super::{advice::advice, story::story};
use crate::drill::{Named, Played, Span};
use crate::incident::Record;
use crate::units::Millis;
use crate::words::{Id, Phrase};

/// An incident, told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// Incident id.
    pub incident: String,
    /// What it was; a drill that turned real stays the drill it began as.
    pub played: Played,
    /// When a drill became a rescue, and in which record.
    pub turned_real: Option<(Millis, u64)>,
    /// True where there is a plan of the site.
    pub planned: bool,
    /// True once stood down.
    pub closed: bool,
    /// From the alarm to stand-down, or to the last record.
    pub whole: Millis,
    /// What was reached when: first what is the same for all, then casualty by casualty.
    pub measures: Vec<Measure>,
    /// The methods that were tried, in the order in which they began.
    pub tries: Vec<Try>,
    /// What was expected to take how long, and what it took.
    pub estimates: Vec<Estimate>,
    /// What was advised on the screen, and what was done.
    pub advice: Vec<Advice>,
    /// What was left open, or open for long.
    pub open: Vec<OpenEnd>,
    /// Stretches of which the record says nothing, or less than usual.
    pub gaps: Vec<Gap>,
    /// The story.
    pub chapters: Vec<Chapter>,
}

/// Something that every rescue comes to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stage {
    /// The clock was started.
    Alarm,
    /// All others at height had stopped.
    OthersStopped,
    /// The emergency call was given to somebody.
    CallOrdered,
    /// That person was told.
    CallPassed,
    /// The call was made.
    CallMade,
    /// The first order was given.
    FirstOrder,
    /// One could go near.
    SafeToGoNear,
    /// The casualty answered first.
    Voice,
    /// The first method began.
    FirstMethod,
    /// A responder could touch the casualty.
    FirstContact,
    /// The weight no longer hung.
    OffHarness,
    /// At the landing place.
    Landed,
    /// The first question of aftercare was answered.
    Aftercare,
    /// Somebody took over the care.
    HandedOver,
    /// The incident was stood down.
    StoodDown,
}

/// How far a time may be off, because the clock had to be carried over a restart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// It may have been this much earlier.
    pub earlier: Millis,
    /// It may have been this much later; none where nobody knows how much.
    pub later: Option<Millis>,
}

/// A milestone and its time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Measure {
    /// Which.
    pub stage: Stage,
    /// For which casualty, from 1; 0 for what is the same for all.
    pub casualty: u16,
    /// When, since the alarm; none where it is not in the record.
    pub at: Option<Millis>,
    /// When, since the fall of that casualty, or of the first.
    pub since_fall: Option<Millis>,
    /// True where the time since the fall is only a lower bound.
    pub at_least: bool,
    /// How far the time may be off; none where the clock ran through.
    pub doubt: Option<Doubt>,
    /// When the plan or the forecast expected it, since the fall.
    pub expected: Option<Millis>,
    /// By when the plan's settings want it, since the fall. Being before it says nothing of how the casualty is.
    pub target: Option<Millis>,
    /// The records that it rests on.
    pub about: Vec<u64>,
}

/// How the try of a method ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TryEnd {
    /// It had them off the harness.
    OffHarness,
    /// It was left for another.
    Changed(Named),
    /// It was given up, and there was no other.
    GivenUp,
    /// It ran when the record ended, or until somebody else had them down.
    Running,
}

/// A method that was tried for a casualty.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Try {
    /// For which casualty, from 1.
    pub casualty: u16,
    /// The method.
    pub method: Named,
    /// When it began, since the alarm.
    pub from: Millis,
    /// When it ended, since the alarm.
    pub to: Millis,
    /// How it ended.
    pub end: TryEnd,
    /// By when it was advised to change, since the alarm; none where it was not to be left.
    pub change_by: Option<Millis>,
    /// The records of its beginning and its end.
    pub about: Vec<u64>,
}

/// What was expected to take some time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Subject {
    /// The work of a step, once everybody it waits for was there.
    Step {
        /// The method.
        method: Named,
        /// Index of the step.
        step: usize,
    },
    /// The way that somebody was sent, by the station where something was fetched.
    Way {
        /// Responder id.
        responder: String,
    },
    /// Passing an order on, from when it could be said to its read-back.
    Order {
        /// Responder id.
        responder: String,
    },
    /// From the start of a method to a responder's touch.
    Contact {
        /// The method.
        method: Named,
    },
    /// From the start of a method to off the harness.
    Release {
        /// The method.
        method: Named,
    },
}

/// How a time lies against what was expected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Against {
    /// Between the shortest and the longest that was expected.
    Within,
    /// Shorter than the shortest.
    Shorter,
    /// Longer than the longest, also where it was not over then.
    Longer,
    /// It was broken off before anybody could say.
    Open,
}

/// What was expected, and what it took.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Estimate {
    /// What took the time.
    pub subject: Subject,
    /// For which casualty, from 1.
    pub casualty: u16,
    /// In words: the step as the plan says it, the way by its ends, the order by its person.
    pub name: Phrase,
    /// When it began, since the alarm.
    pub from: Millis,
    /// Shortest that was expected; none where only the likely time is known.
    pub low: Option<Millis>,
    /// Likeliest.
    pub likely: Millis,
    /// Longest that was expected; none where only the likely time is known.
    pub high: Option<Millis>,
    /// What it took, or had taken when it was broken off.
    pub actual: Span,
    /// True where that has the waiting for people in it, because nobody said when they were there.
    pub waiting: bool,
    /// The records that it rests on.
    pub about: Vec<u64>,
}

/// What a prompt advised.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Advised {
    /// To stop work and to find out whether one can go near, or to make a hazard safe.
    MakeSafe,
    /// To have the emergency call made.
    Call,
    /// To have the others at height stop.
    Stop,
    /// To find out how the casualty is.
    Check,
    /// To begin with this method.
    Begin,
    /// To change to another method.
    Change,
    /// To do the next step of the method.
    Step,
    /// To look after the casualty who is down.
    Care,
    /// To end the incident in order.
    Close,
}

/// What became of an advice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// It was done.
    Followed,
    /// Something else was done.
    Otherwise,
    /// It was put off.
    PutOff,
    /// Another prompt took its place before anybody answered.
    GaveWay,
    /// It stood to the end of the record.
    NotAnswered,
}

/// What was advised, and what the person in command did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Advice {
    /// What.
    pub advised: Advised,
    /// For which casualty, from 1.
    pub casualty: u16,
    /// When it came up, since the alarm.
    pub at: Millis,
    /// The prompt.
    pub said: Phrase,
    /// Why, where the screen gave a reason.
    pub reason: Option<Phrase>,
    /// What became of it.
    pub answer: Answer,
    /// What was done, in words; none where nothing was.
    pub did: Option<Phrase>,
    /// When that was, since the alarm.
    pub done_at: Option<Millis>,
    /// Who was in command then, as spoken.
    pub by: Option<String>,
    /// The records of the prompt and of what was done.
    pub about: Vec<u64>,
}

/// What kind of thing was left open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum OpenKind {
    /// The emergency call was never confirmed.
    Call,
    /// An order was given and never said, or said and never answered.
    Order,
    /// A hazard was never confirmed safe, or nobody said that one could go near.
    Hazard,
    /// The condition was not checked within its interval.
    Check,
    /// A prompt was never answered.
    Prompt,
    /// A casualty was not said to be off the harness.
    Hanging,
    /// A casualty was not handed over.
    HandOver,
    /// A closing question was not answered, or the incident was never stood down.
    Closing,
    /// Something that is to be done afterwards is not done.
    Task,
    /// Something was taken back.
    Correction,
}

/// Something that was left open, or open for some time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OpenEnd {
    /// What kind.
    pub kind: OpenKind,
    /// For which casualty, from 1; 0 for what concerns all.
    pub casualty: u16,
    /// Since when, from the alarm.
    pub from: Millis,
    /// Until when; none where it was open at the end of the record.
    pub to: Option<Millis>,
    /// In words.
    pub text: Phrase,
    /// The records that it rests on.
    pub about: Vec<u64>,
}

/// Why the record says less than usual.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum GapKind {
    /// Nobody touched anything for long.
    Quiet,
    /// The program started again and knew the time.
    Restart,
    /// The program started again and the clock was lost: the times from there on are bounds.
    ClockLost,
    /// Numbers of records are missing.
    Missing,
    /// Records of kinds that this version does not know.
    Unknown,
    /// The record ends before the incident does.
    CutShort,
}

/// A stretch of which the record says nothing, or less than usual.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gap {
    /// Why.
    pub kind: GapKind,
    /// From when, since the alarm.
    pub from: Millis,
    /// To when, since the alarm.
    pub to: Millis,
    /// In words.
    pub text: Phrase,
    /// The records before and after it, or of it.
    pub about: Vec<u64>,
}

/// A sentence of the story.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sentence {
    /// When, since the alarm: of the first thing that it tells.
    pub at: Millis,
    /// The sentence.
    pub text: Phrase,
    /// The records that it tells.
    pub about: Vec<u64>,
    /// For which casualty, from 1; 0 for what concerns all.
    pub casualty: u16,
}

/// A paragraph of the story: what belongs together and followed on from one another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chapter {
    /// What it is about.
    pub heading: Id,
    /// Its sentences, in order of time.
    pub sentences: Vec<Sentence>,
}

impl Account {
    /// The account of these records; none where the first of them is no opening that can be read.
    pub fn of(records: &[Record]) -> Option<Account> {
        let read = Read::of(records)?;
        let facts = &read.state.facts;
        Some(Account {
            incident: read.opening.incident.clone(),
            played: read.played(),
            turned_real: read.turned_real,
            planned: read.planned(),
            closed: facts.stood_down.is_some(),
            whole: read.end,
            measures: measures(&read),
            tries: tries(&read),
            estimates: estimates(&read),
            advice: advice(&read),
            open: open_ends(&read),
            gaps: gaps(&read),
            chapters: story(&read),
        })
    }
}

impl Measure {
    /// How much later than expected; negative where it was earlier.
    pub fn later(&self) -> Option<Millis> {
        Some(self.since_fall?.saturating_sub(self.expected?))
    }

    /// How long past the target; none where it was before it, or was not reached.
    pub fn past_target(&self) -> Option<Millis> {
        let past = self.since_fall?.saturating_sub(self.target?);
        (past > Millis::ZERO).then_some(past)
    }

    /// The milestone in words.
    pub fn name(&self) -> Phrase {
        Phrase::of(match self.stage {
            Stage::Alarm => Id::OutcomeStarted,
            Stage::OthersStopped => Id::OutcomeAllStopped,
            Stage::CallOrdered => Id::StageCallOrdered,
            Stage::CallPassed => Id::OutcomeCallPassed,
            Stage::CallMade => Id::OutcomeCallMade,
            Stage::FirstOrder => Id::OutcomeFirstOrders,
            Stage::SafeToGoNear => Id::OutcomeMadeSafe,
            Stage::Voice => Id::StageVoice,
            Stage::FirstMethod => Id::StageFirstMethod,
            Stage::FirstContact => Id::OutcomeContact,
            Stage::OffHarness => Id::OutcomeOff,
            Stage::Landed => Id::OutcomeLanded,
            Stage::Aftercare => Id::OutcomeCare,
            Stage::HandedOver => Id::OutcomeHanded,
            Stage::StoodDown => Id::StageStoodDown,
        })
    }
}

impl Estimate {
    /// How much longer than likely; negative where it was shorter.
    pub fn difference(&self) -> Millis {
        self.actual.time.saturating_sub(self.likely)
    }

    /// How it lies against what was expected; where no longest is known, the likely time is, and where no shortest is, nothing
    /// is shorter.
    pub fn against(&self) -> Against {
        let time = self.actual.time;
        if time > self.high.unwrap_or(self.likely) {
            Against::Longer
        } else if !self.actual.ended {
            Against::Open
        } else if self.low.is_some_and(|low| time < low) {
            Against::Shorter
        } else {
            Against::Within
        }
    }
}

impl Doubt {
    /// The clock ran through.
    pub(super) const NONE: Doubt = Doubt {
        earlier: Millis::ZERO,
        later: Some(Millis::ZERO),
    };

    /// This much more on top of what was in doubt before.
    pub(super) fn and(self, other: Doubt) -> Doubt {
        let later = self.later.zip(other.later);
        Doubt {
            earlier: self.earlier.saturating_add(other.earlier),
            later: later.map(|(one, more)| one.saturating_add(more)),
        }
    }
}
