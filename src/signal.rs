//! Names what goes between the engine and the edges: inputs, effects, snapshots, settings. No logic.
//!
//! One closed enum of inputs wakes the engine; all effects of one input are carried out before the next is taken. The
//! screen gets immutable snapshots through a slot that holds only the newest. Ready for the screens.

use crate::cue::Cue;
use crate::drill::{Learned, Lesson, Overdue, When};
use crate::incident::{
    Act, Event, Exercise, Facts, Finding, Inject, Moment, OtherWork, Owner, Pick, PlanApproval,
    PlanStanding, Remark,
};
use crate::plan::Plan;
use crate::readiness::{Basis, Conditions, Declare, Forecast, Light, Shift, Standing, WhatIfs};
use crate::review::timeline::Timeline;
use crate::review::{Carried, Filter, Line, Remarked};
use crate::units::{Millimetres, Millis, Speed};
use crate::words::{Language, Message, Phrase};
use serde::{Deserialize, Serialize};
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::sync::{Arc, Mutex};

/// At most this many inputs wait for the engine; a touch that finds the queue full is kept by the screen and sent again.
pub const INPUTS_MAX: usize = 1_024;
/// The engine reads the clocks at least this often.
pub const CLOCK_READ_MS_MAX: u64 = 250;
/// After this long without a heartbeat the screen says that the program does not answer: within 2 s, with what drawing takes.
pub const HEARTBEAT_LOST_MS: i64 = 1_500;

/// One record on its way to the journal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Its number in the incident.
    pub seq: u64,
    /// The JSON object of the record without `prev` and `sha`.
    pub json: String,
}

/// What the journal says back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum JournalReport {
    /// Everything up to and including `seq` is durable here.
    Saved {
        /// Incident id.
        incident: String,
        /// Number of the last durable record.
        seq: u64,
        /// Its hash, 64 hex digits.
        head: String,
    },
    /// A write or a sync failed; saving is being tried again.
    Failing {
        /// Incident id.
        incident: String,
        /// Why, in a plain sentence.
        why: String,
    },
    /// The file was cut to its length and closed.
    Closed {
        /// Incident id.
        incident: String,
        /// Hash of the last record.
        head: String,
    },
    /// What was to be added after the end was not: nothing was written.
    NotAdded {
        /// Incident id.
        incident: String,
        /// Why, in a plain sentence.
        why: String,
    },
}

/// Something to be added to the record of an incident that has ended.
#[derive(Clone, Debug, PartialEq)]
pub struct Addition {
    /// Incident id.
    pub incident: String,
    /// The clocks when somebody said it.
    pub now: Moment,
    /// Who said it: a responder id, `tablet` or `desk`.
    pub who: String,
    /// What.
    pub event: Event,
}

/// What somebody says of an incident that has ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Afterwards {
    /// This is to be done.
    Set {
        /// What.
        text: Phrase,
        /// By whom.
        owner: Owner,
        /// So many days from today.
        in_days: u16,
        /// Number of the record of the finding that it comes from.
        from: Option<u64>,
    },
    /// What the record with this number set is done.
    Done(u64),
    /// It is not done after all.
    Open(u64),
    /// A reviewer says this of it.
    Reviewed(Remark),
    /// A reviewer found this.
    Found(Finding),
}

/// Something a person touched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Tap {
    /// Anything at all was touched: whatever sounds is heard and may stop.
    Touched,
    /// Somebody hangs, held; at a position of the plan if one was held.
    Activate {
        /// Position id.
        position: Option<String>,
    },
    /// Something is said about the next drill.
    Prepare(Prepare),
    /// The drill begins as it was prepared, held.
    BeginDrill,
    /// An answer to the prompt with this number.
    Answer {
        /// Number of the prompt as shown.
        prompt: u64,
        /// Which answer.
        pick: Pick,
    },
    /// Something beside the prompt.
    Do(Act),
    /// Take back what this cause did.
    Undo {
        /// Cause of the records.
        cause: u64,
    },
    /// The other theme.
    SwapTheme,
    /// Louder cues, or the normal ones again.
    SwapLouder,
    /// The screen flashes with every cue, or no longer.
    SwapFlash,
    /// The screen speaks this language.
    Speak {
        /// Which.
        language: Language,
    },
    /// The next person on shift is in command.
    NextInCommand,
    /// This responder is on shift, or not.
    SwapPresent {
        /// Responder id.
        responder: String,
    },
    /// Play a cue to hear whether sound works.
    TestSound,
    /// The log is being opened: read it.
    ReadLog,
    /// Only these incidents of the log are wanted.
    FindLog(Box<Filter>),
    /// One incident of the log is being opened.
    ReadIncident {
        /// Incident id.
        incident: String,
    },
    /// A competent person has read the plan and signs it, held.
    ApprovePlan {
        /// Responder id.
        responder: String,
    },
    /// The plan's file is read again.
    ReadPlan,
    /// Something is said about the shift.
    Declare(Declare),
    /// Something is said of an incident that has ended.
    Afterwards {
        /// Incident id.
        incident: String,
        /// What.
        what: Afterwards,
    },
    /// What drills have taught is being opened: read it.
    ReadLessons,
    /// Work has stopped at a position whose rescue was lost.
    WorkStopped {
        /// Position id.
        position: String,
    },
    /// What would help most is asked for.
    AskWhatIf,
    /// That question is taken back.
    StopWhatIf,
}

/// Everything that can wake the engine.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// A touch.
    Tap(Tap),
    /// The time has come to look again.
    Wake,
    /// A forecast is ready.
    Forecast {
        /// What it was made from.
        basis: Box<Basis>,
        /// The numbers.
        forecast: Forecast,
    },
    /// How every position stands was computed.
    Standings {
        /// From this.
        conditions: Conditions,
        /// And this plan.
        plan: Arc<Plan>,
        /// In the order of the plan.
        standings: Vec<Standing>,
    },
    /// What would help most, as far as it is known.
    WhatIfs(WhatIfs),
    /// The journal reports.
    Journal(JournalReport),
    /// Sound is ready, or why it is not.
    Sound(Result<(), String>),
    /// What was kept is here, or why it could not be read or kept.
    Kept(Result<Kept, String>),
    /// The store cannot be used, or was damaged and is made anew: why.
    Store(String),
    /// The log was read.
    Log(Vec<LogEntry>),
    /// What was looked for in the log was found.
    LogFound(LogFound),
    /// One incident of the log was read.
    LogRows(LogRead),
    /// What drills have taught.
    Learned(Vec<Learned>),
    /// The scenario files on this tablet were read.
    Scenarios(Vec<ScenarioFile>),
    /// The plan's file was read again.
    Plan(Box<LoadedPlan>),
    /// All approvals that are kept, or why one could not be read or kept.
    Approvals(Result<Vec<PlanApproval>, String>),
    /// The program ends.
    Stop,
}

/// What is kept over a restart besides the journals.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Kept {
    /// The settings.
    pub settings: Settings,
    /// Who is not on shift today.
    pub roll_call: RollCall,
    /// What was declared for the shift.
    pub shift: Shift,
}

/// What the engine wants done.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Begin the journal of an incident.
    Open {
        /// Incident id.
        incident: String,
    },
    /// Append to it.
    Append(Vec<Entry>),
    /// Close it.
    Close,
    /// Make a forecast.
    Forecast {
        /// From this.
        basis: Basis,
        /// And this plan.
        plan: Arc<Plan>,
    },
    /// Compute how every position stands.
    Standings {
        /// From this.
        conditions: Conditions,
        /// And this plan.
        plan: Arc<Plan>,
    },
    /// Compute what would help most.
    WhatIfs {
        /// From this.
        conditions: Conditions,
        /// And this plan.
        plan: Arc<Plan>,
    },
    /// Stop computing that.
    StopWhatIfs,
    /// Begin a cue.
    Play(Cue),
    /// End every cue.
    Silence,
    /// Cues are played louder, or as usual.
    Louder(bool),
    /// Cues are marked as a drill's, or not.
    Drill(bool),
    /// Keep these over a restart.
    Keep(Kept),
    /// Read the log.
    ReadLog,
    /// Find these incidents of it.
    FindLog(Box<Filter>),
    /// Read one incident of it.
    ReadIncident {
        /// Incident id.
        incident: String,
    },
    /// Read the plan's file again.
    ReadPlan,
    /// Add this to the record of an incident that has ended.
    Add(Box<Addition>),
    /// Find out what drills have taught.
    Learn {
        /// With this plan.
        plan: Arc<Plan>,
    },
    /// Read the scenario files.
    ReadScenarios,
    /// Keep this approval.
    KeepApproval(PlanApproval),
}

/// Dark or light.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Theme {
    /// Light on dark, for shade and night.
    #[default]
    Dark,
    /// Dark on light, for sun.
    Light,
}

/// Settings of this tablet.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Colours.
    pub theme: Theme,
    /// Language on the screen.
    pub language: Language,
    /// Responder id of who holds the tablet.
    pub in_command: Option<String>,
    /// True where cues are played louder.
    pub louder: bool,
    /// True where the screen flashes with every cue.
    pub flash: bool,
}

/// Who is not on shift. People of the plan are on shift until they are taken off.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct RollCall {
    /// Responder ids.
    pub absent: Vec<String>,
}

/// Whether everything that happened is durable here.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Saved {
    /// Nothing to save.
    #[default]
    Nothing,
    /// All of it, up to this record.
    Yes(u64),
    /// Up to this record, if any; the rest is on its way.
    Saving(Option<u64>),
    /// Saving fails; the program keeps everything in memory and tries again.
    Failing(String),
}

/// The plan on standby, and where it comes from.
#[derive(Clone, Debug)]
pub struct PlanInUse {
    /// The plan.
    pub plan: Arc<Plan>,
    /// Its file name.
    pub name: String,
    /// Where it comes from.
    pub standing: PlanStanding,
    /// Why the plan asked for was refused, if it was.
    pub refused: Option<String>,
    /// How many warnings and notices were found in it.
    pub found: [usize; 2],
    /// The drawings of its levels.
    pub drawings: Arc<Drawings>,
}

/// The drawings that were read beside a plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drawings {
    /// In the order of the plan, without those that could not be read.
    pub all: Vec<Drawn>,
    /// Why some could not be: file and reason.
    pub trouble: Vec<(String, String)>,
}

/// A drawing of a level, as shades.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// The level it shows.
    pub level: String,
    /// Where its lower left corner is, east and north.
    pub south_west: [Millimetres; 2],
    /// Where its upper right corner is.
    pub north_east: [Millimetres; 2],
    /// Width and height in pixels.
    pub size: [usize; 2],
    /// How dark each pixel is, row by row from the upper left: 0 is white or nothing, 255 is black.
    pub dark: Vec<u8>,
}

/// A plan, where it comes from, and the text it came from.
#[derive(Clone, Debug)]
pub struct LoadedPlan {
    /// The plan and where it comes from.
    pub in_use: PlanInUse,
    /// Its text, which goes into every record opened with it.
    pub text: String,
    /// SHA-256 of that text, 64 hex digits.
    pub sha: String,
}

/// Two are the same when their bytes are, and come from the same place.
impl PartialEq for LoadedPlan {
    fn eq(&self, other: &LoadedPlan) -> bool {
        self.sha == other.sha
            && self.in_use.name == other.in_use.name
            && self.in_use.standing == other.in_use.standing
            && self.in_use.drawings == other.in_use.drawings
    }
}

/// One incident in the log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LogEntry {
    /// Incident id.
    pub incident: String,
    /// Wall time of the activation, local, as text.
    pub when: String,
    /// Position as spoken.
    pub place: String,
    /// True for a drill.
    pub drill: bool,
    /// True once stood down.
    pub closed: bool,
    /// Time hanging as text, where the casualty is off the harness.
    pub hung: Option<String>,
    /// True where the chain holds.
    pub intact: bool,
    /// True where records that the file lost came from the store's copy.
    pub filled: bool,
    /// What is to be done about it.
    pub tasks: Vec<Carried>,
    /// Where and when this was a drill that brought the casualty off the harness.
    pub drilled: Option<Box<Lesson>>,
}

/// Those incidents of the log that were looked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LogFound {
    /// What was looked for; the default is everything, and then the log itself is what was found.
    pub filter: Filter,
    /// What was found, newest first.
    pub entries: Vec<LogEntry>,
    /// Every site in the log, to choose from.
    pub sites: Vec<String>,
}

/// One incident of the log, as it is read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LogRead {
    /// Incident id.
    pub incident: String,
    /// Its lines.
    pub rows: Vec<LogRow>,
    /// What could be done about it, to choose from.
    pub suggested: Vec<Phrase>,
    /// What reviewers said and found.
    pub remarks: Vec<Remarked>,
    /// The incident along a line of time; none where it never began, or could not be read.
    pub timeline: Option<Timeline>,
    /// What each of its records says.
    pub lines: Vec<Line>,
}

/// A scenario file, as it was read or why it was not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScenarioFile {
    /// Its name.
    pub name: String,
    /// Its bytes, or a plain sentence.
    pub bytes: Result<Vec<u8>, String>,
}

/// A scenario that can be chosen, or why it cannot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Offered {
    /// Its name, or that of its file.
    pub name: String,
    /// What is prepared with it; else where and why it does not suit the plan.
    pub prepared: Result<Prepared, String>,
}

/// One line of an incident in the log.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LogRow {
    /// Number of its record; none for a line that is no record.
    pub seq: Option<u64>,
    /// Time since the fall, as text.
    pub elapsed: String,
    /// What happened.
    pub text: String,
    /// Who said so.
    pub who: String,
    /// True for what stands over the lines that follow.
    pub heading: bool,
}

/// The next drill, as far as it is prepared.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Prepared {
    /// How it is played.
    pub exercise: Exercise,
    /// Position id; none where the crew is to say it.
    pub position: Option<String>,
}

/// What is said about the next drill.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Prepare {
    /// A manikin hangs.
    Manikin,
    /// A living person hangs.
    Live,
    /// There is a second line, or there is none.
    SecondLine(bool),
    /// They can stand, or cannot.
    CanStand(bool),
    /// This responder watches them.
    Watcher(String),
    /// They hang for this long at most.
    Limit(Millis),
    /// What the other work at height does.
    Others(OtherWork),
    /// The casualty hangs at this position, or the crew is to say where.
    Place(Option<String>),
    /// Another scenario, or none.
    Scenario(Box<Prepared>),
    /// This responder plays, or does not.
    Player(String),
    /// This wind is played, gusts counted, or the day's.
    Wind(Option<Speed>),
    /// This light is played, or the day's.
    Light(Option<Light>),
    /// One more surprise.
    Surprise {
        /// When it comes; drawn where it is not one time.
        when: When,
        /// What comes.
        inject: Inject,
    },
    /// The surprise with this index does not come.
    NoSurprise(usize),
}

/// Something the person in command should know of the program itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// What.
    pub message: Message,
    /// True where it is about the record or the clock.
    pub grave: bool,
}

/// Everything a screen shows, at one moment.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// What is known of the incident; `opened` is none on standby.
    pub facts: Arc<Facts>,
    /// True where activating begins a drill.
    pub drill: bool,
    /// The next drill, as far as it is prepared.
    pub prepared: Arc<Prepared>,
    /// The scenarios on this tablet, their times drawn.
    pub scenarios: Arc<Vec<Offered>>,
    /// The plan on standby.
    pub plan: PlanInUse,
    /// Who approved that plan; none where nobody has.
    pub approval: Option<PlanApproval>,
    /// Whether each of its positions is ready today.
    pub standings: Arc<Vec<Standing>>,
    /// True while those are being computed anew and may be old.
    pub standings_old: bool,
    /// What was declared for the shift.
    pub shift: Arc<Shift>,
    /// True while it is signed and holds.
    pub shift_holds: bool,
    /// What would help most; none until it was asked for.
    pub what_ifs: Option<Arc<WhatIfs>>,
    /// True while a cue waits for a touch and the screen is to flash with it.
    pub flash: bool,
    /// Settings of this tablet.
    pub settings: Settings,
    /// Who is not on shift.
    pub roll_call: RollCall,
    /// Whether everything is durable.
    pub saved: Saved,
    /// Hash of the last durable record.
    pub head: Option<String>,
    /// Notices, the gravest first.
    pub notices: Vec<Notice>,
    /// What has not been drilled for longer than the policy allows: positions, and people in what they are qualified for.
    pub drills_due: Arc<Vec<Overdue>>,
    /// What drills have taught; none until it was read.
    pub learned: Option<Arc<Vec<Learned>>>,
    /// The log, newest first, once read.
    pub log: Arc<Vec<LogEntry>>,
    /// Which incidents of the log are wanted.
    pub log_filter: Arc<Filter>,
    /// Those that were found last.
    pub log_found: Arc<LogFound>,
    /// The incident opened in the log.
    pub log_read: Arc<LogRead>,
}

/// Holds the newest snapshot, the heartbeat, and whether the screen was told.
#[derive(Debug, Default)]
pub struct Slot {
    newest: Mutex<Option<Arc<Snapshot>>>,
    beat_ms: AtomicI64,
    told: AtomicBool,
}

impl Slot {
    /// Puts a snapshot in, over the one before. True where the screen must be told.
    pub fn put(&self, snapshot: Arc<Snapshot>) -> bool {
        *self
            .newest
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner) = Some(snapshot);
        !self.told.swap(true, Ordering::AcqRel)
    }

    /// The newest snapshot.
    pub fn get(&self) -> Option<Arc<Snapshot>> {
        self.told.store(false, Ordering::Release);
        self.newest
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
            .clone()
    }

    /// Notes that the engine lives at this reading of the boot clock.
    pub fn beat(&self, boot_ms: i64) {
        self.beat_ms.store(boot_ms, Ordering::Release);
    }

    /// The boot clock at the last heartbeat.
    pub fn last_beat_ms(&self) -> i64 {
        self.beat_ms.load(Ordering::Acquire)
    }
}
