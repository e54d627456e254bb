//! Names everything that can be wrong with a plan, and says what a finding is.
//!
//! A trainer mends a plan in one sitting, so reading never stops at the first mistake: every finding carries what is
//! wrong, where, and what to do. The level says only whether the plan can be used; trouble with readiness is a warning,
//! because a plan with a gap still serves the positions without one. Limits: the first 1,000 findings are kept.

use std::ops::Range;

pub(super) use super::gathered::{Gathered, Reference};

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// The plan cannot be used.
    Error,
    /// The plan can be used; somebody should act on this before a fall.
    Warning,
    /// Worth knowing.
    Notice,
}

impl Level {
    /// The level as one lower-case word.
    pub fn word(self) -> &'static str {
        match self {
            Level::Error => "error",
            Level::Warning => "warning",
            Level::Notice => "notice",
        }
    }
}

macro_rules! kinds {
    ($($(#[doc = $about:literal])+ $kind:ident = $id:literal $level:ident $mend:literal;)+) => {
        /// What can be wrong with a plan.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum Kind { $($(#[doc = $about])+ $kind,)+ }

        impl Kind {
            /// Every kind there is.
            pub const ALL: &[Kind] = &[$(Kind::$kind),+];

            /// The name under which it is reported.
            pub fn id(self) -> &'static str {
                match self { $(Kind::$kind => $id),+ }
            }

            /// How much it matters.
            pub fn level(self) -> Level {
                match self { $(Kind::$kind => Level::$level),+ }
            }

            /// How it is mended, in one sentence.
            pub fn mend(self) -> &'static str {
                match self { $(Kind::$kind => $mend),+ }
            }

            /// The kind of this name.
            pub fn named(id: &str) -> Option<Kind> {
                Kind::ALL.iter().copied().find(|kind| kind.id() == id)
            }

            /// What it means, in one sentence.
            pub fn about(self) -> &'static str {
                match self { $(Kind::$kind => concat!($($about),+).trim_ascii_start()),+ }
            }
        }
    };
}

kinds! {
    // The file cannot be read.
    /// The file is larger than a plan may be.
    TooLarge = "too-large" Error "Check that it is a plan file; divide a site that is really this large.";
    /// The file is not text in UTF-8.
    NotUtf8 = "not-utf8" Error "Save it as UTF-8 text.";
    /// The file has more words, texts, signs and lines than a plan may have.
    TooManyParts = "too-many-parts" Error "Check that it is a plan file; divide a site that is really this large.";
    /// Tables or lists are nested deeper than a plan may be.
    TooDeep = "too-deep" Error "Check the brackets; a plan needs ten levels.";
    /// The file is not TOML.
    Syntax = "syntax" Error "Mend the line that is named; what seems wrong below it may only follow from it.";
    /// A key or a table stands twice in the same table.
    DuplicateId = "duplicate-id" Error "Give one of the two another name, or drop it.";
    /// The file does not say `format = 1`.
    FormatUnknown = "format-unknown" Error "Write `format = 1` on the first line.";
    /// A key means nothing here; perhaps it is mistyped, and then something the author relied on is missing.
    UnknownKey = "unknown-key" Error "Correct its spelling, or drop it; `groundward schema --format text` lists the keys.";
    /// Something that the plan cannot do without is missing.
    MissingKey = "missing-key" Error "Add the line that the finding shows.";
    /// A value is of another type than its key takes.
    WrongType = "wrong-type" Error "Write it as the finding shows: texts, quantities and dates in quotes, lists in brackets.";
    /// An id has other characters than letters, digits, hyphen and underscore.
    BadId = "bad-id" Error "Rename it; `groundward plan rename` follows every reference.";
    /// A text is empty, has a line break or a control character in it, or is longer than 1,000 characters.
    BadText = "bad-text" Error "Write one line of text, or leave the key out.";
    /// A count is not a whole number from 1 to 10,000.
    BadCount = "bad-count" Error "Write a whole number; leave out what is not there.";
    /// A quantity is a number without a unit.
    BareNumber = "bare-number" Error "Write the unit; the finding shows both readings.";
    /// A quantity has a unit that does not measure it.
    UnknownUnit = "unknown-unit" Error "Use one of the units that the finding lists.";
    /// A quantity cannot be read, or is below zero where that makes no sense.
    BadQuantity = "bad-quantity" Error "Write a number and a unit in quotes, the largest unit first.";
    /// A time is not three durations from short to long.
    BadThreePoint = "bad-three-point" Error "Give the shortest, the likeliest and the longest time.";
    /// A date is not a day of the calendar, written year, month, day.
    BadDate = "bad-date" Error "Write it as \"2030-05-31\".";
    /// A point is not two lengths.
    BadPoint = "bad-point" Error "Give how far east and how far north of a corner of the site.";
    /// A word is not one of those that its key takes.
    UnknownWord = "unknown-word" Error "Use one of the words that the finding lists.";
    /// A name refers to something that is not in the plan.
    DanglingReference = "dangling-reference" Error "Correct the name, or add what it names.";
    /// A method has no step, or more than one, that ends with the casualty off the harness.
    MethodWithoutRelease = "method-without-release" Error "Mark the one step after which the weight no longer hangs.";
    /// A method has more roles than a crew can be worked out for.
    CrewTooLarge = "crew-too-large" Error "Keep the roles that must be filled before it can start.";
    /// The milestones of a method are not in the order first contact, off the harness, landing.
    MilestoneOrder = "milestone-order" Error "Put the steps in the order in which they are done.";
    /// The file has more findings than are kept.
    TooMany = "too-many" Warning "Mend those listed and check again.";

    // The header.
    /// The street address is missing, and a caller under stress does not know it.
    NoAddress = "no-address" Warning "Add `address` to [site] as the emergency services' maps have it.";
    /// The gate that the emergency services use is missing.
    NoGate = "no-gate" Warning "Add `gate` to [site].";
    /// The hospital that takes the casualty is missing.
    NoHospital = "no-hospital" Warning "Add `hospital` to [site], with how far it is.";
    /// The site lists no landing place where a casualty can lie and an ambulance can come to.
    NoLandingPlace = "no-landing-place" Warning "List them in `landing_places` in [site].";
    /// Nobody is named who approved the plan.
    NoApprover = "no-approver" Warning "Add `approved_by` to [site] with name and office.";
    /// The plan does not say when this revision was written.
    NoDate = "no-date" Notice "Add `date` to [site].";
    /// The plan does not say by when it must be read again.
    NoReviewDate = "no-review-date" Warning "Add `review_by` to [site].";
    /// The plan does not say whose law applies.
    NoJurisdiction = "no-jurisdiction" Notice "Add `jurisdiction` to [site].";
    /// The plan does not say which languages are spoken on the site.
    NoLanguage = "no-language" Notice "Add `languages` to [site], the one for the radio first.";
    /// A language is not written as a BCP 47 tag.
    BadLanguage = "bad-language" Warning "Write the tag, e.g. \"en\", \"pt\" or \"uk\".";
    /// Two dates that follow each other are the wrong way round.
    DatesReversed = "dates-reversed" Warning "Mend one of the two dates.";
    /// The plan does not say how people speak to each other.
    NoRadio = "no-radio" Warning "Add a table [radio] with a `channel`.";
    /// The plan does not say what is used when the radio fails.
    NoRadioFallback = "no-radio-fallback" Warning "Add `fallback` to [radio].";
    /// The plan has no first-aid text of its own, so the built-in prompts stand alone.
    NoFirstAidText = "no-first-aid-text" Notice "Add a table [first_aid] with `lines` from whoever answers for first aid here.";
    /// A line of first aid seems to keep a casualty upright; published advice after suspension is to lay the casualty flat.
    FirstAidUpright = "first-aid-upright" Warning "Have a person trained in first aid read the line.";
    /// The plan names no rescuers from outside.
    NoOutsideRescue = "no-outside-rescue" Notice "Add a table such as [outside_rescue.fire-service], even where nobody relies on it.";
    /// First contact is expected later than off the harness.
    PolicyOrder = "policy-order" Warning "Make `first_contact` less than `target`.";

    // What a day makes overdue.
    /// The day by which the plan must have been read again is past.
    ReviewOverdue = "review-overdue" Warning "Read the plan against the site, then give it a new revision and new dates.";
    /// The plan must be read again soon.
    ReviewSoon = "review-soon" Notice "Plan the reading now.";
    /// The inspection of kit that may be used is overdue.
    InspectionOverdue = "inspection-overdue" Warning "Have it inspected and write the new dates, or mark it as out of service.";
    /// The inspection of kit is due soon.
    InspectionSoon = "inspection-soon" Notice "Have it inspected before that day.";
    /// A qualification has ended.
    QualificationExpired = "qualification-expired" Warning "Renew it and write the new day, or take it off the list.";
    /// A qualification ends soon.
    QualificationEnding = "qualification-ending" Notice "Renew it before it ends.";
    /// An agreement with rescuers from outside was not confirmed for too long.
    AgreementOld = "agreement-old" Warning "Confirm it with them, then write the new day.";
    /// A position was not drilled for longer than the policy allows.
    DrillOverdue = "drill-overdue" Warning "Drill there, then write the new day.";
    /// The plan does not say when there was a drill at a position.
    NeverDrilled = "never-drilled" Warning "Drill there, then add `last_drill`.";
    /// A date of something that has happened is still to come.
    FutureDate = "future-date" Warning "Mend the date.";

    // Places and ways.
    /// No way leads from any responder to a place where somebody is needed.
    UnreachablePlace = "unreachable-place" Warning "Add the way that leads there.";
    /// A way leads from a place to itself.
    LinkLoop = "link-loop" Warning "Name the place at its other end.";
    /// A way rises by more than its own length.
    RiseOverLength = "rise-over-length" Warning "Give the distance along the way as `length`, the height gained as `rise`.";
    /// Two ways of one kind lead between the same places.
    LinkTwice = "link-twice" Notice "Drop one of the two, or name the place that tells them apart.";
    /// A measured time on a way is faster than anybody is.
    WayTooFast = "way-too-fast" Warning "Measure it again, or mend the length.";
    /// Two places are at the same point of the same level.
    SamePoint = "same-point" Warning "Measure one of the two again.";
    /// The file of a drawing is not the name of a PNG file beside the plan.
    DrawingFile = "drawing-file" Warning "Put the PNG file into the folder of the plan, and write its name alone.";
    /// The corners of a drawing are missing, or not south-west and north-east of each other.
    DrawingCorners = "drawing-corners" Warning "Give where its lower left and its upper right corner are, east and north.";
    /// A drawing shows a level that no place has.
    DrawingLevel = "drawing-level" Warning "Write the level as its places have it.";
    /// Two drawings show the same level.
    DrawingTwice = "drawing-twice" Warning "Keep one of the two; the first is used.";
    /// Two things that are called by name have the same name.
    SameName = "same-name" Warning "Give each a name of its own for the radio.";
    /// A name stands twice in a list.
    RepeatedEntry = "repeated-entry" Warning "Drop one of the two.";

    // Kit.
    /// No station has the kind of kit that a role brings.
    KitNowhere = "kit-nowhere" Warning "Add it to a station, or change the method.";
    /// All kit of a kind that a role brings is out of service.
    KitOutOfService = "kit-out-of-service" Warning "Replace it, or change the method.";
    /// A method brings more pieces of a kind than there are.
    KitShort = "kit-short" Warning "Add what is missing to a station, or change the method.";
    /// Kit that carries people has no rating.
    NoRating = "no-rating" Warning "Add `rated_mass` or `strength` from the plate on it.";
    /// Kit that must be inspected does not say when.
    NoInspectionDate = "no-inspection-date" Warning "Add `inspection_due`.";
    /// A lift does not say in which wind it may be used.
    NoWindLimit = "no-wind-limit" Warning "Add `wind_max` from its manual.";
    /// A connector is not marked as one that locks by itself (29 CFR 1926.502(d)(4) to (12)).
    ConnectorNotLocking = "connector-not-locking" Warning "Use a self-locking one, and say `self_locking = true`.";
    /// Two things have the same identifier.
    DuplicateIdentifier = "duplicate-identifier" Warning "Read the numbers on both again.";
    /// Several things share one identifier.
    IdentifierForMany = "identifier-for-many" Notice "Give each its own table, or leave the identifier out.";
    /// There is no AED in service on the site.
    NoAed = "no-aed" Warning "Add one near the landing places, with `kind = \"AED\"`.";
    /// The nearest AED is farther from a landing place than the policy allows.
    AedFar = "aed-far" Warning "Keep one nearer to that place.";
    /// There is no first-aid kit in service on the site.
    NoFirstAidKit = "no-first-aid-kit" Warning "Add one near the landing places, with `kind = \"first-aid kit\"`.";

    // People.
    /// Nobody who can be sent is in the plan.
    NoResponder = "no-responder" Warning "Add a table for everybody who can be sent.";
    /// Nobody in the plan has a qualification that a role needs.
    NoHolder = "no-holder" Warning "Train somebody, or change the method.";
    /// The plan does not say until when a qualification holds.
    NoExpiry = "no-expiry" Notice "Write { name = \"...\", until = \"2030-05-31\" }.";
    /// Nobody is marked as a competent person, so nobody can approve the plan.
    NoCompetentPerson = "no-competent-person" Warning "Add `competent = true` to whoever may do that here.";
    /// Somebody speaks none of the languages of the site.
    NoCommonLanguage = "no-common-language" Warning "Send this person only with somebody who interprets.";

    // Positions.
    /// The plan has no position.
    NoPosition = "no-position" Warning "Add a table for every place where people work at height.";
    /// A worker of a position is not among the responders.
    WorkerUnknown = "worker-unknown" Warning "Correct the name; leave out who cannot be sent anyway.";
    /// The approach point is the position itself, so nobody can wait short of the danger.
    ApproachIsPosition = "approach-is-position" Warning "Name the last place where somebody is safe whatever happened.";
    /// The landing place of a position or method is not among those of the site.
    LandingNotListed = "landing-not-listed" Warning "Add it to `landing_places` in [site], or name one of those.";
    /// The radio does not work where people work or wait, and nothing else is said to notice a fall there.
    DeadSpot = "dead-spot" Warning "Say in `noticed_by` how a fall is noticed there and how people speak to each other.";
    /// Nobody can see or hear a worker, so nobody starts the clock.
    NobodyWatches = "nobody-watches" Warning "Name who can in `watched_by`, or say in `noticed_by` how a fall is noticed.";
    /// Whoever watches a position works there and may be the casualty.
    WatcherWorksThere = "watcher-works-there" Warning "Name somebody who cannot be the casualty.";
    /// Somebody works alone who may not work at height alone.
    WorksAlone = "works-alone" Warning "Put a second person there.";
    /// A position has more workers than people at once.
    MoreWorkersThanPeople = "more-workers-than-people" Notice "Nothing needs to change where they take turns.";
    /// The plan does not say what a worker is tied to.
    NoAnchorage = "no-anchorage" Warning "Add a table for the anchorage.";
    /// The plan does not say how strong an anchorage is.
    AnchorageUnrated = "anchorage-unrated" Warning "Add `strength`, or `engineered` where a qualified person designed it.";
    /// An anchorage is weaker than the policy's limit for each person attached (29 CFR 1926.502(d)(15)).
    AnchorageWeak = "anchorage-weak" Warning "Attach fewer people, use a stronger one, or have a qualified person design it.";
    /// The plan does not say what stops a fall.
    NoArrest = "no-arrest" Warning "Add a table for the fall-arrest set-up.";
    /// The free fall does not follow from what the plan says.
    FreeFallUnknown = "free-fall-unknown" Warning "Give `free_fall`, or `length` and `anchor_above_ring`.";
    /// The free fall is longer than the policy's limit (29 CFR 1926.502(d)(16)).
    FreeFallLong = "free-fall-long" Warning "Anchor higher or use a shorter lanyard.";
    /// The free fall is said to be shorter than the lanyard and the anchorage make it.
    FreeFallContradicts = "free-fall-contradicts" Warning "Mend one of the three figures.";
    /// A connector, or the line that arrests a fall, is weaker than the policy's limit (29 CFR 1926.502(d)(4) to (12)).
    ConnectorWeak = "connector-weak" Warning "Use a stronger one.";
    /// The deceleration is longer than the policy's limit (29 CFR 1926.502(d)(16)).
    DecelerationLong = "deceleration-long" Warning "Use an absorber that brakes within the limit.";
    /// The arresting force is higher than the policy's limit (29 CFR 1926.502(d)(16)).
    ArrestForceHigh = "arrest-force-high" Warning "Use an absorber that keeps the force within the limit.";
    /// The free height below is less than a fall takes (OSHA Technical Manual, section V chapter 4).
    ClearanceShort = "clearance-short" Warning "Anchor higher, or use a line that stops sooner.";
    /// The plan does not say how heavy the heaviest worker is.
    NoHeaviest = "no-heaviest" Warning "Add `heaviest`, with tools.";
    /// The heaviest worker is heavier than fall arrest is usually rated for.
    TooHeavy = "too-heavy" Warning "Use a set-up that its maker rates for more.";
    /// A worker is heavier than the heaviest worker of the position.
    HeavierThanHeaviest = "heavier-than-heaviest" Warning "Mend `heaviest`.";
    /// A value is one that nobody can mean.
    ImpossibleValue = "impossible-value" Warning "Check number and unit.";
    /// A method goes down on a rope from higher than the policy's limit (29 CFR 1910.27(b)(2)(i)).
    RopeDescentHigh = "rope-descent-high" Warning "Go up, or divide the descent.";
    /// The plan does not say what a casualty would be lowered onto.
    NoGround = "no-ground" Warning "Add `ground`.";
    /// A casualty would be lowered onto water, live plant, a fragile roof or the public without a control for it.
    LoweringUncontrolled = "lowering-uncontrolled" Warning "Say in `ground_control` how that is made safe, or choose another way.";
    /// A hazard has no proof that it is safe.
    HazardNotProven = "hazard-not-proven" Warning "Add `proof`: what one sees, tries or measures.";
    /// A hazard is made safe by somebody who may be the one who hangs.
    HazardByWorker = "hazard-by-worker" Warning "Name somebody who does not work there.";
    /// A confined space has no entry conditions.
    NoEntryConditions = "no-entry-conditions" Warning "List what must be confirmed before anybody goes in, air first.";
    /// A role goes into a confined space where no entry is allowed.
    EntryNotAllowed = "entry-not-allowed" Warning "Bring the casualty out without entry.";
    /// A role goes into a confined space at a position that is not said to be one.
    EntryWithoutSpace = "entry-without-space" Warning "Add the table for the confined space, or leave `enters` out.";
    /// A confined space has no attendant.
    NoAttendant = "no-attendant" Warning "Name the qualification of the attendant.";
    /// A deep confined space has no mechanical retrieval (29 CFR 1910.146(k)(3)(ii)).
    NoRetrieval = "no-retrieval" Warning "Say what brings somebody out without entry.";
    /// A position relies on rescuers from outside without a confirmed agreement.
    OutsideWithoutAgreement = "outside-without-agreement" Warning "Make one and write its reference and day, or plan to do it alone.";
    /// A position relies on rescuers from outside who cannot reach somebody who hangs.
    OutsideNotCapable = "outside-not-capable" Warning "Rely on rescuers who can.";

    // Methods.
    /// A position has no way to bring anybody down.
    NoMethod = "no-method" Warning "Add a method, or let nobody work there.";
    /// The methods of a position are not in the order of the ladder; they are used in its order.
    RungOrder = "rung-order" Notice "Nothing needs to change.";
    /// The casualty never gets to the landing place by the steps of a method.
    NoLanding = "no-landing" Warning "End it with a step whose milestone is the landing place.";
    /// A step that touches the casualty is not marked as past the approach point.
    ContactNotNear = "contact-not-near" Warning "Add `near = true`, so that nobody is sent before it is safe.";
    /// A step is exposed and not marked as past the approach point.
    ExposedNotNear = "exposed-not-near" Warning "Add `near = true`, so that nobody is sent before it is safe.";
    /// Somebody is exposed in a method that has no second person.
    ExposedWithoutSecondPerson = "exposed-without-second-person" Warning "Add a second role that stays in control of the exposed person's line.";
    /// Somebody exposed has no anchorage of their own.
    NoRescuerAnchorage = "no-rescuer-anchorage" Warning "Name it in `anchorage` of the role: not the one that arrested the fall.";
    /// Somebody exposed is tied to the anchorage that arrested the fall, which is not rated to hold on.
    SameAnchorage = "same-anchorage" Warning "Use another one, or say that it is rated for both.";
    /// Nobody is named who stays in control of the exposed person's line or lift.
    NoController = "no-controller" Warning "Name that role in `control`.";
    /// The only exposed person is in control of their own line.
    ControllerExposed = "controller-exposed" Warning "Name the role of somebody who is not exposed.";
    /// The plan does not say how a rescuer who hangs would be rescued.
    NoRescuerRescue = "no-rescuer-rescue" Warning "Say it in `rescuer_rescue`, with other kit than the method uses.";
    /// Only those who may hang can do a role.
    RescuerWorksThere = "rescuer-works-there" Warning "Train somebody who does not work there.";
    /// A method takes more people than can be sent.
    CrewTooSmall = "crew-too-small" Warning "Name more people, or a method that takes fewer.";
    /// A method is committed, then not, then off the harness; or still committed after it.
    CommittedGap = "committed-gap" Warning "Mark every step from the first connection until the weight is on a stable surface.";
    /// A step shows that it fails later than its longest time.
    FailsAfterLongest = "fails-after-longest" Warning "Make it at most the longest time.";
    /// The plan does not say how likely a method works.
    NoChance = "no-chance" Notice "Add `success`, with its `evidence`.";
    /// A chance of success has no evidence, so it counts as assumed.
    ChanceWithoutEvidence = "chance-without-evidence" Notice "Say which drills or whose experience it rests on.";
    /// A prompt has more than nine words with the name of the person it goes to.
    PromptTooLong = "prompt-too-long" Warning "Say it as verb, thing and place, or make two steps of it.";
    /// A prompt ends with a full stop, which the screen adds itself.
    PromptPunctuation = "prompt-punctuation" Warning "Leave it out.";
    /// The change-by time of a method is at the target or after it.
    ChangeAfterTarget = "change-after-target" Warning "Leave time for the next method before the target.";
    /// The change-by time of a method comes before its steps are likely done.
    ChangeBeforeLikely = "change-before-likely" Warning "Give it the time that its steps likely take, or make them shorter by practice.";
}

/// Something that is wrong with a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Which kind it is, e.g. `unknown-key`.
    pub id: &'static str,
    /// How much it matters.
    pub level: Level,
    /// What is wrong, in one sentence.
    pub message: String,
    /// What to do about it.
    pub help: String,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// Bytes of the file that it is about.
    pub span: Range<usize>,
    /// Dotted path of the table or key, e.g. `position.silo3.method.ladder.step.2`; empty for the whole file.
    pub place: String,
    /// Other places of the file that it has to do with, e.g. the first of two, or the name that was probably meant.
    pub related: Vec<Related>,
}

/// A place of the file that a finding has to do with besides its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Related {
    /// What stands there.
    pub label: String,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// Bytes of the file.
    pub span: Range<usize>,
}

/// Most findings that are kept.
pub const FINDINGS_MAX: usize = 1_000;
