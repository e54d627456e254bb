//! Names everything that can be wrong with a plan, and gathers what is wrong with this one.
//!
//! A trainer mends a plan in one sitting, so reading never stops at the first mistake: every finding carries what is
//! wrong, where, and what to do. The level says only whether the plan can be used; trouble with readiness is a warning,
//! because a plan with a gap still serves the positions without one. Limits: the first 1,000 findings are kept.

use std::cell::{Cell, RefCell};
use std::collections::BTreeSet;
use std::ops::Range;

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
    ($($(#[doc = $about:literal])+ $kind:ident = $id:literal $level:ident;)+) => {
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

            /// What it means, in one sentence.
            pub fn about(self) -> &'static str {
                match self { $(Kind::$kind => concat!($($about),+).trim_ascii_start()),+ }
            }
        }
    };
}

kinds! {
    /// The file is larger than a plan may be.
    TooLarge = "too-large" Error;
    /// The file is not text in UTF-8.
    NotUtf8 = "not-utf8" Error;
    /// Tables or lists are nested deeper than a plan may be.
    TooDeep = "too-deep" Error;
    /// The file is not TOML.
    Syntax = "syntax" Error;
    /// A key or a table stands twice in the same table.
    DuplicateId = "duplicate-id" Error;
    /// The file does not say `format = 1`.
    FormatUnknown = "format-unknown" Error;
    /// A key means nothing here; perhaps it is mistyped, and then something the author relied on is missing.
    UnknownKey = "unknown-key" Error;
    /// Something that the plan cannot do without is missing.
    MissingKey = "missing-key" Error;
    /// A value is of another type than its key takes.
    WrongType = "wrong-type" Error;
    /// An id has other characters than letters, digits, hyphen and underscore.
    BadId = "bad-id" Error;
    /// A text is empty or has a line break or a control character in it.
    BadText = "bad-text" Error;
    /// A count is not a whole number from 1 to 10,000.
    BadCount = "bad-count" Error;
    /// A quantity is a number without a unit.
    BareNumber = "bare-number" Error;
    /// A quantity has a unit that does not measure it.
    UnknownUnit = "unknown-unit" Error;
    /// A quantity cannot be read, or is below zero where that makes no sense.
    BadQuantity = "bad-quantity" Error;
    /// A time is not three durations from short to long.
    BadThreePoint = "bad-three-point" Error;
    /// A word is not one of those that its key takes.
    UnknownWord = "unknown-word" Error;
    /// A name refers to something that is not in the plan.
    DanglingReference = "dangling-reference" Error;
    /// A method has no step, or more than one, that ends with the casualty off the harness.
    MethodWithoutRelease = "method-without-release" Error;
    /// A method has more roles than a crew can be worked out for.
    CrewTooLarge = "crew-too-large" Error;
    /// The milestones of a method are not in the order first contact, off the harness, landing.
    MilestoneOrder = "milestone-order" Error;
    /// The file has more findings than are kept.
    TooMany = "too-many" Warning;
    /// A worker of a position is not among the responders.
    WorkerUnknown = "worker-unknown" Warning;
    /// Nobody who can be sent is in the plan.
    NoResponder = "no-responder" Warning;
    /// The plan has no position.
    NoPosition = "no-position" Warning;
    /// A position has no way to bring anybody down.
    NoMethod = "no-method" Warning;
    /// The casualty never gets to the landing place by the steps of a method.
    NoLanding = "no-landing" Warning;
    /// The approach point is the position itself, so nobody can wait short of the danger.
    ApproachIsPosition = "approach-is-position" Warning;
    /// A step that touches the casualty is not marked as past the approach point.
    ContactNotNear = "contact-not-near" Warning;
    /// Somebody is exposed in a method that has no second person.
    ExposedWithoutSecondPerson = "exposed-without-second-person" Warning;
    /// A prompt has more than nine words with the name of the person it goes to.
    PromptTooLong = "prompt-too-long" Warning;
    /// A prompt ends with a full stop, which the screen adds itself.
    PromptPunctuation = "prompt-punctuation" Warning;
    /// The change-by time of a method is at the target or after it.
    ChangeAfterTarget = "change-after-target" Warning;
    /// The change-by time of a method comes before its steps are likely done.
    ChangeBeforeLikely = "change-before-likely" Warning;
    /// First contact is expected later than off the harness.
    PolicyOrder = "policy-order" Warning;
    /// Nobody in the plan has a qualification that a role needs.
    NoHolder = "no-holder" Warning;
    /// No station has the kind of kit that a role brings.
    KitNowhere = "kit-nowhere" Warning;
    /// No way leads from any responder to a place where somebody is needed.
    UnreachablePlace = "unreachable-place" Warning;
    /// A way leads from a place to itself.
    LinkLoop = "link-loop" Warning;
    /// A way rises by more than its own length.
    RiseOverLength = "rise-over-length" Warning;
    /// Two things that are called by name have the same name.
    SameName = "same-name" Warning;
    /// A name stands twice in a list.
    RepeatedEntry = "repeated-entry" Warning;
    /// The methods of a position are not in the order of the ladder; they are used in its order.
    RungOrder = "rung-order" Notice;
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
}

/// Most findings that are kept.
pub const FINDINGS_MAX: usize = 1_000;

/// Most names that are compared for an advice.
const CANDIDATES_MAX: usize = 1_000;

/// Gathers findings while a plan is read.
#[derive(Default)]
pub(super) struct Gathered {
    findings: RefCell<Vec<Finding>>,
    error_places: RefCell<BTreeSet<String>>,
    refused: Cell<bool>,
    left_out: Cell<usize>,
}

impl Gathered {
    /// Adds a finding; line and column are counted at the end, in one pass over the file.
    pub(super) fn add(
        &self,
        kind: Kind,
        span: Range<usize>,
        place: &str,
        message: String,
        help: impl Into<String>,
    ) {
        let (id, level) = (kind.id(), kind.level());
        let first_error = level == Level::Error && !self.refused.replace(true);
        if self.full() {
            self.left_out.set(self.left_out.get() + 1);
            if !first_error {
                return;
            }
            // A plan is never refused without a reason that can be read.
            self.findings.borrow_mut().pop();
        }
        if level == Level::Error {
            self.error_places.borrow_mut().insert(place.to_owned());
        }
        let [message, help, place] = [message, help.into(), place.to_owned()].map(without_controls);
        self.findings.borrow_mut().push(Finding {
            id,
            level,
            message,
            help,
            line: 1,
            column: 1,
            span,
            place,
        });
    }

    /// True once further findings are only counted; the last place is for saying so.
    fn full(&self) -> bool {
        self.findings.borrow().len() + 1 >= FINDINGS_MAX
    }

    /// True when an error was found, so that there is no plan to hand out.
    pub(super) fn refused(&self) -> bool {
        self.refused.get()
    }

    /// The known name that is probably meant: few letters away, at most a third of them.
    pub(super) fn nearest<'n>(
        &self,
        name: &str,
        known: impl IntoIterator<Item = &'n str>,
    ) -> Option<&'n str> {
        if self.full() {
            return None;
        }
        let name: Vec<char> = name.chars().take(64).collect();
        let scored = known
            .into_iter()
            .take(CANDIDATES_MAX)
            .map(|word| (edits(&name, word), word));
        let (edits, word) = scored.min_by_key(|(edits, _)| *edits)?;
        (edits * 3 <= name.len().max(3)).then_some(word)
    }

    /// True while no error was found at this path or below it, so that what depends on it can be judged.
    pub(super) fn sound(&self, path: &str) -> bool {
        let places = self.error_places.borrow();
        let below = format!("{path}.");
        !places.contains(path)
            && !places
                .range(below.clone()..)
                .next()
                .is_some_and(|place| place.starts_with(&below))
    }

    /// Gives the findings in the order of the file, each with its line and column.
    pub(super) fn in_order(self, text: &str) -> Vec<Finding> {
        let mut findings = self.findings.into_inner();
        if let left_out @ 1.. = self.left_out.get() {
            let (id, level) = (Kind::TooMany.id(), Kind::TooMany.level());
            let message = format!("{left_out} more findings are left out");
            let (help, place, span) = (
                "mend those listed and check again".to_owned(),
                String::new(),
                text.len()..text.len(),
            );
            findings.push(Finding {
                id,
                level,
                message,
                help,
                line: 1,
                column: 1,
                span,
                place,
            });
        }
        findings.sort_by_key(|finding| finding.span.start);
        let (mut line, mut column, mut at) = (1, 1, 0);
        for finding in &mut findings {
            let start = text.floor_char_boundary(finding.span.start);
            for character in text[at..start].chars() {
                (line, column) = if character == '\n' {
                    (line + 1, 1)
                } else {
                    (line, column + 1)
                };
            }
            at = start;
            (finding.line, finding.column) = (line, column);
        }
        // A line that is not TOML makes the rest of it, and what seems to be missing, a guess.
        let is_syntax = |finding: &Finding| finding.id == Kind::Syntax.id();
        let broken: BTreeSet<usize> = findings
            .iter()
            .filter(|f| is_syntax(f))
            .map(|f| f.line)
            .collect();
        if !broken.is_empty() {
            findings.retain(|f| {
                is_syntax(f) || f.id != Kind::MissingKey.id() && !broken.contains(&f.line)
            });
        }
        findings
    }
}

/// A text in which control characters are spelled out, because a file may hold what a terminal would obey.
fn without_controls(text: String) -> String {
    if text.contains(char::is_control) {
        text.escape_debug().to_string()
    } else {
        text
    }
}

/// How many letters must be added, dropped, changed or swapped with their neighbour to turn one word into the other.
fn edits(from: &[char], to: &str) -> usize {
    let to: Vec<char> = to.chars().collect();
    let mut least = vec![vec![0; to.len() + 1]; from.len() + 1];
    for i in 0..=from.len() {
        for j in 0..=to.len() {
            if i == 0 || j == 0 {
                least[i][j] = i + j;
                continue;
            }
            let changed = least[i - 1][j - 1] + usize::from(from[i - 1] != to[j - 1]);
            least[i][j] = changed.min(least[i - 1][j] + 1).min(least[i][j - 1] + 1);
            if i > 1 && j > 1 && from[i - 1] == to[j - 2] && from[i - 2] == to[j - 1] {
                least[i][j] = least[i][j].min(least[i - 2][j - 2] + 1);
            }
        }
    }
    least[from.len()][to.len()]
}
