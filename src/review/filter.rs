//! Picks incidents out of many by what their digests say: words, site, place, day, kind, how it came out, what is to be done.
//!
//! A manager with thousands of them asks one question in many ways, on a command line and on a screen, so the question is
//! one value and both ask the same. Everything that is set has to hold. Limits: what a digest does not hold is not found;
//! the day on which something is overdue comes in as data.

use super::digest::Digest;
use crate::units::Millis;
use crate::words::{Language, fold, fold_into};
use chrono::NaiveDate;
use std::fmt;
use std::str::FromStr;

/// Which incidents are wanted; by default all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    /// Each of these words stands somewhere in id, site, place or task.
    pub words: Vec<Folded>,
    /// One of these sites.
    pub sites: Vec<Folded>,
    /// Somebody hung at one of these positions, by id or as spoken.
    pub positions: Vec<Folded>,
    /// Began on this day or later, at the place.
    pub since: Option<NaiveDate>,
    /// Began on this day or earlier, at the place.
    pub until: Option<NaiveDate>,
    /// Drills alone, or rescues alone.
    pub drill: Option<bool>,
    /// All of these.
    pub outcomes: Vec<Outcome>,
    /// Something is still to be done.
    pub open_tasks: bool,
    /// Something was to be done before this day and is not.
    pub overdue: Option<NaiveDate>,
}

/// A text without case and accents.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Folded(String);

impl Folded {
    /// This text.
    pub fn of(text: &str) -> Folded {
        Folded(fold(text.trim()))
    }
}

/// How an incident came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Everybody who hung came off the harness.
    Off,
    /// Somebody did not, as far as is recorded.
    Hanging,
    /// It was not stood down.
    Open,
    /// Somebody hung longer than the plan's target.
    PastTarget,
}

/// A word that names no outcome.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoOutcome;

impl fmt::Display for NoOutcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("say off, hanging, open or past-target")
    }
}

impl std::error::Error for NoOutcome {}

impl Outcome {
    /// All of them with their words.
    pub const ALL: [(Outcome, &'static str); 4] = [
        (Outcome::Off, "off"),
        (Outcome::Hanging, "hanging"),
        (Outcome::Open, "open"),
        (Outcome::PastTarget, "past-target"),
    ];

    fn holds(self, digest: &Digest) -> bool {
        let mut all = digest.casualties.iter();
        match self {
            Outcome::Off => !digest.casualties.is_empty() && all.all(|it| it.off_ms.is_some()),
            Outcome::Hanging => all.any(|it| it.off_ms.is_none()),
            Outcome::Open => !digest.closed,
            Outcome::PastTarget => digest.past_target(),
        }
    }
}

impl FromStr for Outcome {
    type Err = NoOutcome;

    fn from_str(word: &str) -> Result<Outcome, NoOutcome> {
        let mut all = Outcome::ALL.into_iter();
        let found = all.find(|it| it.1 == word);
        found.map(|it| it.0).ok_or(NoOutcome)
    }
}

impl Filter {
    /// Wants every word of this text, whatever its case and accents.
    pub fn search(&mut self, text: &str) {
        let folded = fold(text);
        let words = folded.split_whitespace();
        self.words = words.map(|it| Folded(it.to_owned())).collect();
    }

    /// Wants this site too.
    pub fn site(&mut self, name: &str) {
        self.sites.push(Folded::of(name));
    }

    /// Wants this position too, by id or as spoken.
    pub fn position(&mut self, name: &str) {
        self.positions.push(Folded::of(name));
    }

    /// Whether an incident is wanted.
    pub fn admits(&self, incident: &str, digest: &Digest) -> bool {
        let day = digest.day();
        let open = || digest.tasks.iter().filter(|it| it.done_ms.is_none());
        self.drill.is_none_or(|drill| drill == digest.drill)
            && self.since.is_none_or(|since| since <= day)
            && self.until.is_none_or(|until| day <= until)
            && self.outcomes.iter().all(|it| it.holds(digest))
            && (!self.open_tasks || open().next().is_some())
            && (self.overdue).is_none_or(|today| open().any(|it| it.is_overdue(today)))
            && (self.sites.is_empty() || self.sites.contains(&Folded::of(&digest.site)))
            && self.is_at(digest)
            && self.is_found(incident, digest)
    }

    fn is_at(&self, digest: &Digest) -> bool {
        let named = |it: &String| self.positions.contains(&Folded::of(it));
        self.positions.is_empty()
            || digest.casualties.iter().any(|it| {
                it.position.as_ref().is_some_and(named) || it.place.as_ref().is_some_and(named)
            })
    }

    fn is_found(&self, incident: &str, digest: &Digest) -> bool {
        if self.words.is_empty() {
            return true;
        }
        let text = told(incident, digest);
        self.words.iter().all(|word| text.contains(&word.0))
    }
}

/// All that a search looks through, folded, each part on a line of its own.
fn told(incident: &str, digest: &Digest) -> String {
    let mut text = String::new();
    let mut add = |part: &str| {
        fold_into(&mut text, part);
        text.push('\n');
    };
    add(incident);
    add(&digest.site);
    for it in &digest.casualties {
        it.position.iter().chain(&it.place).for_each(|it| add(it));
    }
    for it in &digest.tasks {
        // Whoever searches need not know in which language it was set.
        for language in Language::ALL_SPOKEN {
            add(&it.task.text.text(language));
        }
    }
    text
}

/// In which order incidents are listed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Order {
    /// The oldest first.
    #[default]
    Oldest,
    /// The newest first.
    Newest,
    /// Who hung longest first; those of whom nothing is known last.
    Longest,
    /// By site, within one the oldest first.
    Site,
}

impl Order {
    /// Sorts what has an id and a digest; what is equal goes by its id.
    pub fn sort<T>(self, all: &mut [T], of: impl Fn(&T) -> (&str, &Digest)) {
        let age = |it: &T| {
            let (id, digest) = of(it);
            (digest.started_ms, id.to_owned())
        };
        match self {
            Order::Oldest => all.sort_by_cached_key(age),
            Order::Newest => {
                all.sort_by_cached_key(age);
                all.reverse();
            }
            Order::Longest => all.sort_by_cached_key(|it| {
                let spans = of(it).1.casualties.iter().filter_map(|it| it.span());
                let longest = spans.map(|it| it.time).max();
                (std::cmp::Reverse(longest.unwrap_or(Millis(-1))), age(it))
            }),
            Order::Site => all.sort_by_cached_key(|it| (fold(&of(it).1.site), age(it))),
        }
    }
}
