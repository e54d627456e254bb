//! Lays an incident along one line of time: who hung how long, what was planned and done, who was where, what failed when.
//!
//! It holds spans, marks and record numbers on tracks, and no words: `report` draws it and the tablet shows it. All times are
//! since the first fall as it was known in the end; they may be lower bounds. Every record of the incident has its mark, also
//! what was taken back, which begins and ends no span. What was written after the end has no time here.

use super::signs::Sign;
use super::timeline_course;
use crate::incident::{Condition, Record};
use crate::units::Millis;
use std::collections::BTreeSet;

/// An incident along one line of time.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Timeline {
    /// Incident id.
    pub incident: String,
    /// True where it began as a drill.
    pub drill: bool,
    /// When a drill turned into a rescue.
    pub turned_real: Option<Millis>,
    /// True where nobody knows when the first fall was: every time is the least that it can be.
    pub at_least: bool,
    /// The first fall on the incident's own line, which begins at the activation.
    pub fell: Millis,
    /// The last time that anything says something of.
    pub ends: Millis,
    /// The plan's time from a fall to off the harness.
    pub target: Millis,
    /// Everybody who hung, in the order of their numbers.
    pub hung: Vec<Hung>,
    /// What happened, track by track.
    pub tracks: Vec<Track>,
    /// Numbers of the records that were written after the end.
    pub afterwards: Vec<u64>,
}

/// Somebody who hung.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Hung {
    /// Their number, from 1.
    pub number: u16,
    /// Their name as spoken, where somebody said it.
    pub name: Option<String>,
    /// When they fell.
    pub fell: Millis,
    /// True where that is not known: they hung at least as long as it says.
    pub at_least: bool,
    /// When their weight was off the harness; none where the record does not say so.
    pub off: Option<Millis>,
    /// When they were at the landing place.
    pub landed: Option<Millis>,
}

/// What a track tells of, in the order in which they are read.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Of {
    /// Something of the casualty with this number.
    Casualty(u16, About),
    /// Danger to everybody.
    Danger,
    /// The scene: hazards, others at height, wind, ways, kit.
    Scene,
    /// The emergency call and help from outside.
    Help,
    /// The person in command.
    Command,
    /// One of those who were sent, by the turn in which they first were and by id.
    Responder(usize, String),
    /// The course of a drill.
    Drill,
    /// What was noted.
    Notes,
    /// What the screen asked, and how long it waited for an answer.
    Prompts,
    /// The tablet itself.
    Tablet,
    /// The closing questions.
    End,
}

/// What of a casualty.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum About {
    /// How long they hung.
    Clock,
    /// How they were.
    Condition,
    /// A method: its place on the ladder, and its id.
    Method(usize, String),
    /// The care afterwards.
    Care,
}

/// One line of the picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Track {
    /// What it tells of.
    pub of: Of,
    /// What is said of it beside a number: the name of a method, or of a person. Empty where it needs none.
    pub name: String,
    /// What went on for a while.
    pub spans: Vec<Span>,
    /// What happened at once.
    pub marks: Vec<Mark>,
    /// Times that nothing happened at: planned, estimated, or expected.
    pub pins: Vec<Pin>,
}

/// Something that went on for a while.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Span {
    /// What went on.
    pub kind: Kind,
    /// Since when.
    pub from: Millis,
    /// Until when, or until where the record ends.
    pub to: Millis,
    /// True where it had not ended there.
    pub open: bool,
    /// What is said of it: a role, a piece of kit. Empty where its kind says all.
    pub name: String,
    /// The records that say so.
    pub records: Vec<u64>,
}

/// What went on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A casualty hung.
    Hanging,
    /// A casualty was off the harness and not at the landing place.
    ComingDown,
    /// The casualty was as reported.
    Was(Condition),
    /// Nobody had said for an interval how the casualty was.
    NotChecked,
    /// A method was to be tried, by the first estimate.
    Planned,
    /// A method was tried.
    Tried,
    /// Somebody was connected or over the edge.
    Committed,
    /// A fallback was tried.
    Fallback,
    /// An order was given and nobody said that it was heard.
    Ordered,
    /// It was understood, and they were on the way or getting ready.
    Going,
    /// They were where it sent them.
    There,
    /// A call was to be made and nobody had confirmed it.
    Calling,
    /// Help was on the way.
    Coming,
    /// Somebody from outside led.
    OutsideLeads,
    /// Everybody was to be in a safe place.
    Danger,
    /// A prompt stood until it was answered, or gave way.
    Asked(Ended),
    /// The program did not run.
    Away,
    /// The closing questions were asked.
    Closing,
}

/// How a prompt's time ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// Somebody touched something that another prompt follows from.
    Answered,
    /// Another prompt took its place by itself.
    GaveWay,
    /// A touch was taken back, and with it came another.
    TakenBack,
    /// It was there at the end.
    Stood,
}

/// Something that happened at once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// When.
    pub at: Millis,
    /// How it is drawn.
    pub sign: Sign,
    /// Number of its record.
    pub record: u64,
    /// True where it was taken back.
    pub taken_back: bool,
}

/// A time that something was planned for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pin {
    /// When.
    pub at: Millis,
    /// What.
    pub what: Planned,
    /// The records that say so.
    pub records: Vec<u64>,
}

/// What a time was planned for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Planned {
    /// Off the harness by the plan's target.
    Target,
    /// The change to the next method.
    ChangeBy,
    /// Off the harness by the estimate for this method.
    Likely,
    /// Help on the scene, as it was told.
    Help,
}

impl Timeline {
    /// Lays an incident out; none where the record does not say that one began.
    pub fn of(records: &[Record]) -> Option<Timeline> {
        timeline_course::laid_out(records)
    }

    /// Every time at which something happened with the number of its record, in order, for a reader who steps from one to the
    /// next.
    pub fn moments(&self) -> Vec<(Millis, u64)> {
        let marks = self.tracks.iter().flat_map(|track| &track.marks);
        let all: BTreeSet<(Millis, u64)> = marks.map(|mark| (mark.at, mark.record)).collect();
        // Some records stand on several tracks.
        all.into_iter().collect()
    }

    /// When the last casualty was off the harness; none while somebody hangs.
    pub fn all_off(&self) -> Option<Millis> {
        let off: Option<Vec<Millis>> = self.hung.iter().map(|it| it.off).collect();
        off?.into_iter().max()
    }
}
