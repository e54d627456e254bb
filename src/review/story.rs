//! Puts the story of an incident together: sentences gathered by what they are about, in order, what repeats itself summed up.
//!
//! `narrate` says what each record adds; here are the paragraphs and the runs. A run is what follows on from one another in a paragraph and is
//! told in one sentence: the steps of a method, checks with the same answer, reports of people. Limits: a run ends after so many
//! items that nobody would read on.

use super::account::{Chapter, Sentence};
use super::narrate::Narrator;
use super::read::{Entry, Read};
use super::{condition_in_words, slips};
use crate::incident::Condition;
use crate::units::Millis;
use crate::words::{Id, Phrase, clock};
use std::collections::BTreeMap;

/// A sentence with more items than this is not read to its end. A judgement.
const ITEMS_MAX: usize = 8;

/// The paragraphs, in the order in which they are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Part {
    Began,
    Safe,
    Call,
    Condition,
    Orders,
    Work,
    Turns,
    Release,
    Care,
    Command,
    Drill,
    Close,
    Faults,
    Tasks,
}

impl Part {
    fn heading(self) -> Id {
        match self {
            Part::Began => Id::StoryBegan,
            Part::Safe => Id::StorySafe,
            Part::Call => Id::StoryCall,
            Part::Condition => Id::StoryCondition,
            Part::Orders => Id::StoryOrders,
            Part::Work => Id::StoryWork,
            Part::Turns => Id::StoryTurns,
            Part::Release => Id::StoryRelease,
            Part::Care => Id::StoryCare,
            Part::Command => Id::StoryCommand,
            Part::Drill => Id::StoryDrill,
            Part::Close => Id::StoryClose,
            Part::Faults => Id::StoryFaults,
            Part::Tasks => Id::StoryTasks,
        }
    }
}

/// What a run is of.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Key {
    /// Said again and again, each time with nothing but its time: a text that takes the times, with what else stands in it.
    Times(Id, Vec<Phrase>),
    /// Items with their times: a text that takes them, with what else stands in it.
    Items(Id, Vec<Phrase>),
    /// What one input brought at one moment: a text that takes the moment, what stands before the items, and the cause.
    Moment(Id, Vec<Phrase>, u64),
    /// A casualty was like this.
    Was(Phrase, Condition),
}

struct Run {
    key: Key,
    at: Millis,
    casualty: u16,
    about: Vec<u64>,
    items: Vec<(Millis, Phrase)>,
}

/// The story as far as it was told.
#[derive(Default)]
pub(super) struct Book {
    sentences: BTreeMap<Part, Vec<Sentence>>,
    runs: BTreeMap<Part, Run>,
}

impl Book {
    /// Tells this.
    pub(super) fn say(&mut self, part: Part, entry: &Entry, text: Phrase) {
        self.end_run(part);
        self.sentences.entry(part).or_default().push(Sentence {
            at: entry.at,
            text,
            about: vec![entry.record.seq],
            casualty: of_whom(part, entry),
        });
    }

    /// Adds this to the run of its kind, or begins one.
    pub(super) fn add(&mut self, part: Part, key: Key, entry: &Entry, item: Phrase) {
        let run = self.runs.get(&part);
        let goes_on = run.is_some_and(|it| {
            let counted = matches!(it.key, Key::Was(..));
            it.key == key && (counted || it.items.len() < ITEMS_MAX)
        });
        if !goes_on {
            self.end_run(part);
        }
        let run = self.runs.entry(part).or_insert_with(|| Run {
            key,
            at: entry.at,
            casualty: of_whom(part, entry),
            about: Vec::new(),
            items: Vec::new(),
        });
        run.about.push(entry.record.seq);
        run.items.push((entry.at, item));
    }

    /// This record is told by what was told last there.
    pub(super) fn belongs(&mut self, part: Part, entry: &Entry) {
        let seq = entry.record.seq;
        let run = self.runs.get_mut(&part).map(|it| &mut it.about);
        let last = self.sentences.get_mut(&part).and_then(|it| it.last_mut());
        if let Some(about) = run.or(last.map(|it| &mut it.about)) {
            about.push(seq);
        }
    }

    /// What was told last there is told like this instead.
    pub(super) fn instead(&mut self, part: Part, entry: &Entry, text: Phrase) {
        let last = self.sentences.get_mut(&part).and_then(|it| it.last_mut());
        if let Some(last) = last {
            last.text = text;
            last.about.push(entry.record.seq);
        }
    }

    /// Tells something that rests on several records.
    pub(super) fn tell(&mut self, part: Part, sentence: Sentence) {
        self.end_run(part);
        self.sentences.entry(part).or_default().push(sentence);
    }

    fn end_run(&mut self, part: Part) {
        if let Some(run) = self.runs.remove(&part) {
            let sentence = run.sentence();
            self.sentences.entry(part).or_default().push(sentence);
        }
    }

    fn chapters(mut self) -> Vec<Chapter> {
        let open: Vec<Part> = self.runs.keys().copied().collect();
        for part in open {
            self.end_run(part);
        }
        let chapters = self.sentences.into_iter().map(|(part, mut sentences)| {
            // The sort keeps the order of what came at the same moment.
            sentences.sort_by_key(|it| it.at);
            Chapter {
                heading: part.heading(),
                sentences,
            }
        });
        chapters.collect()
    }
}

/// What concerns the whole incident concerns no casualty, whoever was worked on.
fn of_whom(part: Part, entry: &Entry) -> u16 {
    match part {
        Part::Condition | Part::Work | Part::Release | Part::Care => entry.record.casualty,
        _ => 0,
    }
}

impl Run {
    fn sentence(self) -> Sentence {
        let text = match self.key {
            Key::Times(id, with) => {
                let times = self.items.iter().map(|it| time(it.0));
                filled(id, with, listed(times))
            }
            Key::Items(id, with) => {
                let items = self.items.iter();
                let timed =
                    items.map(|(at, it)| Phrase::with(Id::StoryWhen, [it.clone(), time(*at)]));
                filled(id, with, listed(timed))
            }
            Key::Moment(id, with, _) => {
                let mut all = vec![time(self.at)];
                all.extend(with);
                filled(id, all, listed(self.items.iter().map(|it| it.1.clone())))
            }
            Key::Was(who, condition) => was(&self.items, self.at, who, condition),
        };
        Sentence {
            at: self.at,
            text,
            about: self.about,
            casualty: self.casualty,
        }
    }
}

fn was(items: &[(Millis, Phrase)], at: Millis, who: Phrase, condition: Condition) -> Phrase {
    let so = Phrase::with(condition_in_words(condition), [who]);
    match items {
        [] | [_] => Phrase::with(Id::StoryWasAt, [time(at), so]),
        [.., last] => {
            let checks = items.len().to_string();
            Phrase::with(
                Id::StoryWasFrom,
                [time(at), time(last.0), so, checks.into()],
            )
        }
    }
}

/// A text with these parts and the list after them.
fn filled(id: Id, mut with: Vec<Phrase>, list: Phrase) -> Phrase {
    with.push(list);
    Phrase::Said {
        say: id.as_str().to_owned(),
        with,
    }
}

/// One after the other; nobody lists more than a run holds.
pub(super) fn listed(items: impl IntoIterator<Item = Phrase>) -> Phrase {
    let mut items = items.into_iter().take(ITEMS_MAX);
    let first = items.next().unwrap_or_else(|| "-".into());
    items.fold(first, |list, item| {
        Phrase::with(Id::StoryList, [list, item])
    })
}

/// A time as a clock shows it.
pub(super) fn time(at: Millis) -> Phrase {
    clock(at).into()
}

/// The story of this incident.
pub(super) fn story(read: &Read) -> Vec<Chapter> {
    let mut narrator = Narrator::new(read);
    read.walk(&mut narrator);
    let mut book = narrator.close();
    slips::tell(read, &mut book);
    book.chapters()
}
