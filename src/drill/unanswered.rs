//! Measures how long each prompt stood until it was answered, gave way to another, or the end came.
//!
//! A prompt ends with the next one, because every answer puts up a prompt, the same one or another. An answer that was taken
//! back was none: where the same prompt came back with that, both times it stood count as one. No prompt names a person here:
//! the words are those without a name.

use super::stands::{Part, comes_by_itself};
use crate::incident::Event;
use crate::units::Millis;
use crate::words::{Id, Phrase};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// How many of the longest are kept.
const LONGEST: usize = 5;

/// How a prompt's time ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ended {
    /// Somebody touched something that another prompt follows from.
    #[default]
    Answered,
    /// Another prompt took its place by itself.
    GaveWay,
    /// It came of a touch that was taken back.
    TakenBack,
    /// It was there at the end.
    Stood,
}

/// A prompt and how long it stood.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stood {
    /// Its words, without the name of whoever it was for.
    pub words: Phrase,
    /// Which casualty it was about, from 1.
    pub casualty: u16,
    /// When it came up first, ms since activation.
    pub since_ms: i64,
    /// How long it stood, ms.
    pub stood_ms: i64,
    /// How long its step likely takes by the plan, ms; none where it is a question.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected_ms: Option<i64>,
    /// How that ended.
    pub ended: Ended,
}

impl Stood {
    /// How long it stood beyond what its step likely takes, ms.
    pub fn over_ms(&self) -> i64 {
        self.stood_ms.saturating_sub(self.expected_ms.unwrap_or(0))
    }
}

/// How long prompts stood.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Prompts {
    /// How many stood, without those that came of a touch taken back.
    pub shown: u32,
    /// How many of them were answered.
    pub answered: u32,
    /// How long they stood together, ms.
    pub stood_ms: i64,
    /// Those that stood longest, the longest first.
    pub longest: Vec<Stood>,
    /// The one that stood longest beyond what its step likely takes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most_over: Option<Stood>,
}

impl Prompts {
    pub(super) fn of(all: Vec<Stood>) -> Prompts {
        let mut all: Vec<Stood> = all
            .into_iter()
            .filter(|it| it.ended != Ended::TakenBack)
            .collect();
        let sum = |sum: i64, it: &Stood| sum.saturating_add(it.stood_ms);
        let answered = all.iter().filter(|it| it.ended == Ended::Answered).count();
        let most_over = all
            .iter()
            .max_by_key(|it| (it.over_ms(), std::cmp::Reverse(it.since_ms)));
        let mut prompts = Prompts {
            shown: count(all.len()),
            answered: count(answered),
            stood_ms: all.iter().fold(0, sum),
            longest: Vec::new(),
            most_over: most_over.filter(|it| it.over_ms() > 0).cloned(),
        };
        all.sort_by_key(|it| (std::cmp::Reverse(it.stood_ms), it.since_ms));
        all.truncate(LONGEST);
        prompts.longest = all;
        prompts
    }
}

pub(super) fn count(length: usize) -> u32 {
    u32::try_from(length).unwrap_or(u32::MAX)
}

/// A prompt on the screen, while its end is looked for.
struct Showing {
    message: String,
    args: Vec<String>,
    stood: Stood,
    /// The cause that ended it.
    ended_by: Option<u64>,
}

/// How long each prompt stood, in the order in which they came up; `expected` says what the step behind a prompt likely
/// takes, by the number of its record. The prompts of a drill's own course are not asked of the crew and stay out.
pub(crate) fn stood(part: &Part<'_>, expected: &BTreeMap<u64, Millis>) -> Vec<Stood> {
    let mut showings: Vec<Showing> = Vec::new();
    let mut first_of: BTreeMap<u64, &Event> = BTreeMap::new();
    let mut takes_back: BTreeMap<u64, Vec<u64>> = BTreeMap::new();
    let mut open: Option<usize> = None;
    for standing in &part.records {
        let record = standing.record;
        first_of.entry(record.cause).or_insert(&record.event);
        if let Event::Corrected { cause } = record.event {
            takes_back.entry(record.cause).or_default().push(cause);
        }
        let Event::PromptShown {
            message,
            args,
            text,
            ..
        } = &record.event
        else {
            continue;
        };
        let at = standing.at.min(part.end);
        let back = takes_back.get(&record.cause);
        if let Some(ended) = open.take().and_then(|index| showings.get_mut(index)) {
            end(&mut ended.stood, at);
            ended.ended_by = Some(record.cause);
            ended.stood.ended = match first_of.get(&record.cause) {
                _ if back.is_some() => Ended::TakenBack,
                Some(event) if comes_by_itself(event) => Ended::GaveWay,
                _ => Ended::Answered,
            };
        }
        if is_the_drills_own(message) {
            continue;
        }
        let earlier = showings.iter().position(|it| {
            let by_slip = back.zip(it.ended_by).is_some_and(|(b, by)| b.contains(&by));
            let same = it.message == *message && it.args == *args;
            by_slip && same && it.stood.casualty == record.casualty
        });
        let before = earlier.map(|index| showings.remove(index));
        let fresh = || Stood {
            words: nameless(message, args, text),
            casualty: record.casualty,
            since_ms: at.0,
            stood_ms: 0,
            expected_ms: expected.get(&record.seq).map(|it| it.0),
            ended: Ended::Stood,
        };
        let mut stood = before.map_or_else(fresh, |it| it.stood);
        stood.ended = Ended::Stood;
        // Until its end is known, what it stood so far is kept as if it had come up so much earlier.
        stood.stood_ms = stood.stood_ms.saturating_sub(at.0);
        open = Some(showings.len());
        showings.push(Showing {
            message: message.clone(),
            args: args.clone(),
            stood,
            ended_by: None,
        });
    }
    if let Some(last) = open.and_then(|index| showings.get_mut(index)) {
        end(&mut last.stood, part.end);
    }
    // What is put up at the end asks nothing of anybody.
    let asked = |it: &Stood| it.stood_ms > 0 || it.since_ms < part.end.0;
    let all = showings.into_iter().map(|it| it.stood);
    all.filter(asked).collect()
}

fn end(stood: &mut Stood, at: Millis) {
    stood.stood_ms = stood.stood_ms.saturating_add(at.0);
}

/// True for what a prompt of the drill itself says: a surprise to be given, a living person to be let stand.
fn is_the_drills_own(message: &str) -> bool {
    let own = [Id::LetStand, Id::LetStandBy].map(Id::as_str);
    own.contains(&message) || message.starts_with("inject-")
}

/// The words of a prompt without the name of whoever it is for, because it is the prompt that stood and not the person.
fn nameless(message: &str, args: &[String], text: &str) -> Phrase {
    let Some(id) = Id::ALL.iter().copied().find(|id| id.as_str() == message) else {
        return text.into();
    };
    let (id, args) = match id {
        Id::StepBy => (Id::Step, &args[args.len().min(1)..]),
        Id::HazardTaskBy => (Id::HazardTask, &args[args.len().min(1)..]),
        Id::TieBy => (Id::Tie, &[][..]),
        Id::AskCasualtyBy => (Id::AskCasualty, &[][..]),
        Id::CareLayFlatBy => (Id::CareLayFlat, &[][..]),
        Id::CallBy => (Id::OutcomeCallNow, &args[args.len().min(1)..]),
        _ => (id, args),
    };
    Phrase::Said {
        say: id.as_str().to_owned(),
        with: args.iter().map(|it| it.as_str().into()).collect(),
    }
}
