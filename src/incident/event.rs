//! Lists everything that can have happened in an incident, and the envelope each such record carries.
//!
//! Events are past tense and never change meaning; a kind that must change gets a higher `v`. Kinds this version does
//! not know are kept as they are, so that an older program can still replay and show a newer record. Integers only.

use super::afterwards::{Finding, Remark, Task};
use super::exercise::Exercise;
use super::time::{Carried, Moment};
use super::written::Name;
use crate::readiness::{Forecast, Posting, Shift};
use crate::units::Millis;
use crate::words::Language;
use serde::de::value::MapDeserializer;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::borrow::Cow;
use std::sync::Arc;

/// Version of the meaning of each kind written by this program.
const KIND_VERSION: u64 = 1;

/// How the worker is, from the best to the worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Condition {
    /// Answers and has no complaint.
    Talking,
    /// Answers and cannot help: tangled, or hurt.
    Stuck,
    /// Answers and shows signs of pre-syncope.
    Unwell,
    /// Does not answer.
    NotAnswering,
}

/// Where the plan in an incident comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PlanStanding {
    /// The plan asked for was read and fits.
    Fit,
    /// The plan asked for was refused; the last one that was fit is used.
    LastFit,
    /// There is no plan of the site: the generic words are used.
    #[default]
    None,
}

/// That a named competent person signed a plan.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlanApproval {
    /// SHA-256 of the plan's bytes, 64 hex digits.
    pub plan_sha: String,
    /// Its file name.
    pub plan_name: String,
    /// The site as the plan names it.
    pub site: String,
    /// Revision of the plan.
    pub revision: String,
    /// Responder id of who signed.
    pub by: String,
    /// That person's name as spoken.
    pub name: String,
    /// Wall clock at the signature.
    pub wall_ms: i64,
    /// Minutes east of Greenwich of that clock.
    pub offset_min: i32,
}

/// Why a method was begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// It was next on the ladder.
    Ladder,
    /// The person in command went straight to it.
    Straight,
    /// The one before was given up.
    Change,
}

/// What a responder, or somebody beside them, said of that responder.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Report {
    /// The order was read back.
    Heard,
    /// On the way.
    OnTheWay,
    /// Where the order sent them.
    There,
    /// Later than expected; nobody knows how far they came.
    Late,
    /// Cannot do it, or is not here.
    Cannot,
    /// Nobody reaches them.
    Lost,
    /// Hurt, so that somebody has to look after them.
    Hurt,
    /// Can be sent again.
    CanAgain,
}

/// Who said when help comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Teller {
    /// Whoever answered the emergency call.
    Dispatcher,
    /// The crew that is coming.
    Coming,
    /// Whoever meets them.
    Guide,
}

/// An order as it stood before another took its place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Given {
    /// Method id; empty for a standing role.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub method: String,
    /// Who, with what, where.
    pub posting: Posting,
}

/// Why a method must stop at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stop {
    /// The wind is over the method's limit.
    Wind,
    /// One of the lines that the plan names, by its index.
    Line(usize),
}

/// What the time brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Due {
    /// The change-by time is near.
    ChangeNear,
    /// The target has gone by.
    PastTarget,
    /// The condition is older than its interval: not checked.
    CheckDue,
    /// It is older than two intervals: planned as not answering.
    CheckLost,
    /// After the release: the check of every minute.
    CareCheck,
    /// In a drill: this surprise, by its index, is to be given.
    Surprise(usize),
    /// In a drill: the living person has hung long enough.
    LetStand,
}

/// Something seen or done that changes no time and no order. None of them stops or slows the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Note {
    ReliefStraps,
    LegsRaised,
    Foothold,
    Bleeding,
    HeadHurt,
    RadioLost,
    WayBlocked,
    Photograph,
    Remember,
}

/// Who took over the care of a casualty.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum CareTaker {
    Ambulance,
    Doctor,
    FireService,
    Refused,
}

/// Everything that decides, written down before anything is decided.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Opening {
    /// Incident id, which is also the name of its journal file.
    pub incident: String,
    /// True in a drill.
    pub drill: bool,
    /// How the drill is played; none in a rescue, and in a drill of an older program.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exercise: Option<Box<Exercise>>,
    /// Version of the program.
    pub program: String,
    /// Format of the plan file.
    pub plan_format: u64,
    /// File name of the plan.
    pub plan_name: String,
    /// Where the plan comes from.
    pub plan_standing: PlanStanding,
    /// SHA-256 of the plan's bytes, 64 hex digits.
    pub plan_sha: String,
    /// The plan's bytes, which are UTF-8.
    pub plan: String,
    /// Language on the screen.
    pub language: Language,
    /// Responder id of the person in command.
    pub in_command: Option<String>,
    /// Responder ids of those on shift.
    pub roll_call: Vec<String>,
    /// Seed of whatever is drawn.
    pub seed: u64,
    /// Who approved this plan; none where nobody has.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub approval: Option<PlanApproval>,
    /// What was declared for the shift; none where nothing was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shift: Option<Box<Shift>>,
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", content = "body", rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Event {
    /// The record began.
    Opened(Box<Opening>),
    /// Somebody hangs: the clock started.
    Activated { position: Option<String> },
    /// The position was named; none means it is not in the plan.
    PositionChosen { position: Option<String> },
    /// The time of the fall was set to this long before the answer.
    FallTimeSet { ago_ms: i64, at_least: bool },
    /// It is safe to go near.
    SafeConfirmed {},
    /// It is not safe to go near yet.
    NotSafeYet {},
    /// A hazard was made safe.
    HazardMadeSafe { hazard: String },
    /// A hazard is not safe yet.
    HazardNotSafeYet { hazard: String },
    /// The emergency call was given to somebody; nobody means that the person in command calls on the loudspeaker.
    CallOrdered { to: Option<String> },
    /// That person was told.
    CallPassed {},
    /// The call was made.
    CallConfirmed { by: Option<String> },
    /// A forecast was taken as the one to act on.
    ForecastAdopted {
        forecast: Forecast,
        /// How many records there were when it was asked for.
        #[serde(default, skip_serializing_if = "is_zero")]
        asked: u64,
    },
    /// Somebody was sent.
    OrderGiven {
        method: String,
        posting: Posting,
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        instead: Vec<Given>,
    },
    /// A method began.
    MethodStarted { method: String, why: Why },
    /// A step was done.
    StepDone { method: String, step: usize },
    /// The running method was said not to work.
    NotWorkingReported { method: String, step: usize },
    /// The person in command wants this method as soon as the present one is secured.
    StraightWanted { method: String },
    /// Both are connected and the weight is held.
    Secured {},
    /// A fallback of a step began.
    FallbackStarted {
        method: String,
        step: usize,
        fallback: usize,
    },
    /// The change was put off to this time since activation.
    MoreTimeTaken { method: String, change_by_ms: i64 },
    /// A method was given up for another, or for none.
    MethodChanged { from: String, to: Option<String> },
    /// Somebody said how the casualty is.
    ConditionReported { condition: Condition },
    /// A responder can touch the casualty.
    FirstContactMade {},
    /// The weight no longer hangs, confirmed by somebody in contact.
    OffHarness {},
    /// The casualty is at the landing place.
    AtLandingPlace {},
    /// An aftercare question was answered.
    AftercareAnswered { item: Aftercare, well: bool },
    /// Everybody was told to stop and get to a safe place.
    DangerCalled {},
    /// Somebody decided that the danger is over.
    DangerCleared { by: Option<String> },
    /// One more hangs; a rescuer where one of those sent fell. `fell_ms` is on the time line.
    CasualtyAdded {
        responder: Option<String>,
        rescuer: bool,
        fell_ms: i64,
    },
    /// Somebody said who hangs; nobody means: not one of the plan's people.
    CasualtyNamed { responder: Option<String> },
    /// The person in command works on this casualty first.
    CasualtyChosen {},
    /// By the rule, this casualty is worked on first.
    WorkedOn {},
    /// The casualty is in immediate danger there, or no longer.
    InDangerSaid { danger: bool },
    /// Whoever is exposed next is tied off, and the partner checked it.
    TiedOff {
        method: String,
        step: usize,
        fallback: Option<usize>,
    },
    /// A condition for going in is met.
    EntryConditionMet { index: usize },
    /// What makes lowering here possible is in place.
    GroundHeld {},
    /// All others at height have stopped.
    OthersStopped {},
    /// Not all of them have.
    OthersNotYet {},
    /// The wind was read.
    WindReported { mm_s: i64 },
    /// Something stops a method at once.
    StopCalled { method: String, what: Stop },
    /// The person in command goes on with it all the same.
    WentOn { method: String },
    /// The person in command puts a method back that the condition had ruled out.
    MethodPutBack { method: String },
    /// Somebody said something of a responder.
    ResponderReported { responder: String, report: Report },
    /// An order was taken back.
    OrderWithdrawn { responder: String },
    /// A standing task was given beside the methods.
    TaskGiven {
        posting: Posting,
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        instead: Vec<Given>,
    },
    /// Orders were said over the radio, by the numbers of their records.
    WordsSaid { orders: Vec<u64>, text: String },
    /// Orders were said long enough ago and nobody answered them.
    OrdersUnanswered { orders: Vec<u64> },
    /// A way cannot be passed.
    WayBlocked { link: String },
    /// It can be passed again.
    WayOpened { link: String },
    /// Kit of this kind is not at this station, as the responder found who was to fetch it there, or somebody else.
    KitGone {
        kit: String,
        station: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
    },
    /// The call did not get through after all.
    CallFailed {},
    /// Outside help said when it comes, counted from this record.
    HelpExpected {
        in_ms: i64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        said_by: Option<Teller>,
    },
    /// Outside height rescue was asked for.
    OutsideAsked {},
    /// Outside rescue leads from here.
    OutsideTookOver {},
    /// The crew leads again.
    OutsideLeft {},
    /// Somebody took command; the brief is shown.
    CommandTaken {},
    /// The brief was read.
    BriefHeard {},
    /// Who is in command now; nobody means: not one of the plan's people.
    CommandNamed { by: Option<String> },
    /// The screen speaks another language.
    LanguageChosen { language: Language },
    /// The time brought something.
    CameDue { what: Due },
    /// A note.
    Noted { note: Note },
    /// There is no way down left for a casualty off the harness: outside height rescue is needed.
    StuckAloft {},
    /// The casualty wants no care.
    CareRefused {},
    /// Somebody took over the care.
    HandedOver { to: CareTaker },
    /// These were withdrawn and tagged.
    KitWithdrawn { pieces: Vec<String> },
    /// The records of one cause were taken back.
    Corrected { cause: u64 },
    /// The closing questions began.
    StandDownBegan {},
    /// The closing questions were left.
    StandDownLeft {},
    /// A closing question was answered.
    StandDownAnswered { item: Closing },
    /// The incident ended.
    StoodDown {},
    /// In a drill: the surprise with this index was given.
    SurpriseGiven { index: usize },
    /// In a drill: it was left out.
    SurpriseLeftOut { index: usize },
    /// In a drill: the living person stands.
    Stands {},
    /// The stop word: the drill is a rescue from here on.
    RealCalled {},
    /// A prompt was put on the screen.
    PromptShown {
        number: u64,
        message: String,
        args: Vec<String>,
        language: Language,
        text: String,
    },
    /// The clock was written down.
    ClockMarked {},
    /// The program started again in a running incident.
    Resumed {
        carried: Carried,
        at_ms: i64,
        /// It cannot have been earlier.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        least_ms: Option<i64>,
        /// It cannot have been later; none where no clock says so.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        most_ms: Option<i64>,
        before: Reading,
        after: Reading,
    },
    /// After the end: something is to be done about it.
    TaskSet(Task),
    /// After the end: what the record with this number says is done.
    TaskDone {
        task: u64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<Name>,
    },
    /// After the end: it is not done after all.
    TaskOpen {
        task: u64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<Name>,
    },
    /// After the end: a reviewer says something of it.
    Reviewed(Remark),
    /// After the end: a reviewer found something.
    Found(Finding),
    /// A kind that this version does not know.
    #[serde(skip)]
    Unknown { kind: String, body: Value },
}

fn is_zero(number: &u64) -> bool {
    *number == 0
}

/// A reading of the clocks inside an event.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// Wall clock, milliseconds since 1970 in UTC.
    pub wall_ms: i64,
    /// Boot clock.
    pub boot_ms: i64,
    /// Boot id.
    pub boot: String,
}

/// Aftercare questions, in the order they are asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Aftercare {
    SafeHere,
    LayFlat,
    Bleeding,
    Airway,
    Breathing,
    Resuscitate,
    LoosenWarm,
    NeverAlone,
    Doctor,
    Watch,
    LookAgain,
}

/// Closing questions, in the order they are asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Closing {
    NobodyHanging,
    Counted,
    OffRope,
    HandedOver,
    KitWithdrawn,
    SceneLeft,
    WorkStopped,
    Welfare,
}

/// One line of the record.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// Number of this record in its incident, from 0.
    pub seq: u64,
    /// Number of the first record that the same input caused.
    pub cause: u64,
    /// Incident id.
    pub incident: Arc<str>,
    /// The clocks.
    pub now: Moment,
    /// Time since the fall.
    pub elapsed: Millis,
    /// True where the elapsed time is only a lower bound.
    pub at_least: bool,
    /// Who said so: a responder id, `tablet`, or after the end `desk`.
    pub who: Arc<str>,
    /// Which casualty it concerns, from 1.
    pub casualty: u16,
    /// Version of the kind.
    pub v: u64,
    /// What happened.
    pub event: Event,
}

/// A line that is not a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotARecord(pub String);

impl Event {
    /// The kind as the record spells it.
    pub fn kind(&self) -> String {
        match self {
            Event::Unknown { kind, .. } => kind.clone(),
            known => match serde_json::to_value(known) {
                Ok(Value::Object(map)) => map
                    .get("kind")
                    .and_then(Value::as_str)
                    .unwrap_or_default()
                    .to_owned(),
                _ => String::new(),
            },
        }
    }

    /// What the record has of it besides its kind.
    pub fn body(&self) -> Value {
        self.kind_and_body().1
    }

    fn kind_and_body(&self) -> (Value, Value) {
        match self {
            Event::Unknown { kind, body } => (json!(kind), body.clone()),
            known => match serde_json::to_value(known) {
                Ok(Value::Object(mut map)) => (
                    map.remove("kind").unwrap_or_default(),
                    map.remove("body").unwrap_or_else(|| json!({})),
                ),
                _ => (Value::Null, Value::Null),
            },
        }
    }
}

impl Record {
    /// Version of the meaning of each kind that this program writes.
    pub fn version() -> u64 {
        KIND_VERSION
    }

    /// The record as a JSON object without its chain fields, members in a fixed order.
    pub fn to_json(&self) -> String {
        let (kind, body) = self.event.kind_and_body();
        let text = |value: &str| Value::from(value).to_string();
        format!(
            "{{\"v\":{},\"seq\":{},\"cause\":{},\"kind\":{kind},\"incident\":{},\"wall_ms\":{},\"wall\":{},\"boot_ms\":{},\"boot\":{},\
             \"elapsed_ms\":{},\"at_least\":{},\"who\":{},\"casualty\":{},\"body\":{body}}}",
            self.v,
            self.seq,
            self.cause,
            text(&self.incident),
            self.now.wall_ms,
            text(&wall(&self.now)),
            self.now.boot_ms,
            text(&self.now.boot_id),
            self.elapsed.0,
            self.at_least,
            text(&self.who),
            self.casualty,
        )
    }

    /// When it was written by the wall clock of the place: RFC 3339 with milliseconds and offset.
    pub fn wall(&self) -> String {
        wall(&self.now)
    }

    /// Reads a record back, with or without its chain fields. Kinds, versions and bodies not known are kept as they are.
    pub fn from_json(line: &str) -> Result<Record, NotARecord> {
        let read: Line<'_> = serde_json::from_str(line).map_err(|e| NotARecord(e.to_string()))?;
        let event = (read.v == KIND_VERSION).then(|| read.known()).flatten();
        Ok(Record {
            seq: read.seq,
            cause: read.cause,
            incident: read.incident.as_ref().into(),
            now: Moment {
                wall_ms: read.wall_ms,
                offset_min: offset_of(&read.wall),
                boot_ms: read.boot_ms,
                boot_id: read.boot.as_ref().into(),
            },
            elapsed: Millis(read.elapsed_ms),
            at_least: read.at_least,
            who: read.who.as_ref().into(),
            casualty: read.casualty,
            v: read.v,
            event: event.unwrap_or_else(|| Event::Unknown {
                kind: read.kind.into_owned(),
                body: read.body,
            }),
        })
    }
}

/// A line as it stands in the journal. Members that it has beyond these are left alone.
#[derive(Deserialize)]
struct Line<'a> {
    v: u64,
    seq: u64,
    cause: u64,
    #[serde(borrow)]
    kind: Cow<'a, str>,
    #[serde(borrow)]
    incident: Cow<'a, str>,
    wall_ms: i64,
    #[serde(borrow)]
    wall: Cow<'a, str>,
    boot_ms: i64,
    #[serde(borrow)]
    boot: Cow<'a, str>,
    elapsed_ms: i64,
    at_least: bool,
    #[serde(borrow)]
    who: Cow<'a, str>,
    casualty: u16,
    #[serde(default)]
    body: Value,
}

impl Line<'_> {
    /// The event, where this version knows its kind. The kind goes first: a body that comes before its kind is set aside
    /// and gone through twice.
    fn known(&self) -> Option<Event> {
        let kind = Value::from(&*self.kind);
        let members = [("kind", &kind), ("body", &self.body)];
        Event::deserialize(MapDeserializer::<_, serde_json::Error>::new(
            members.into_iter(),
        ))
        .ok()
    }
}

/// RFC 3339 with milliseconds and offset.
fn wall(now: &Moment) -> String {
    let offset = chrono::FixedOffset::east_opt(now.offset_min.saturating_mul(60));
    match (chrono::DateTime::from_timestamp_millis(now.wall_ms), offset) {
        (Some(utc), Some(offset)) => utc
            .with_timezone(&offset)
            .to_rfc3339_opts(chrono::SecondsFormat::Millis, false),
        _ => "unknown".to_owned(),
    }
}

fn offset_of(wall: &str) -> i32 {
    chrono::DateTime::parse_from_rfc3339(wall).map_or(0, |t| t.offset().local_minus_utc() / 60)
}
