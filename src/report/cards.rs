//! Says what stands on a rescue card: the paper that hangs at a position and its stations, in the order of doing.
//!
//! When the tablet is flat, wet or with the casualty, paper remains. A card is plain text in parts, already in a language
//! and without any measure; the pages made from it say the same in every format. It holds no names that change with the
//! shift but those that the plan gives to a hazard, and it never shows a chance or an estimate.

use sha2::{Digest, Sha256};

use super::compose::text;
use crate::plan::{LinkKind, Plan, Position};
use crate::words::{Id, Language, Message};

/// A rescue card.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// The language of all its texts.
    pub language: Language,
    /// The position's id.
    pub id: String,
    /// What kind of paper it is.
    pub kicker: String,
    /// The position as spoken.
    pub name: String,
    /// Place, level and height.
    pub place: String,
    /// The site.
    pub site: String,
    /// The mark of an invented site.
    pub invented: Option<String>,
    /// What is done and known, in the order of doing.
    pub parts: Vec<Part>,
    /// Which plan it is from, and the cautions.
    pub foot: Vec<String>,
    /// True for a card that is for drills only, and says so.
    pub drill: bool,
}

/// One part of a card.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// What it is about.
    pub kind: Kind,
    /// Its number in the order of doing, for parts that are done.
    pub number: Option<u32>,
    /// Its heading; the sketch has none.
    pub heading: Option<String>,
    /// What stands smaller behind the heading.
    pub aside: Option<String>,
    /// Its content.
    pub lines: Vec<Line>,
}

/// What a part is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Nobody works here.
    Stop,
    /// Make safe.
    MakeSafe,
    /// The emergency call.
    Call,
    /// Who comes from outside.
    Outside,
    /// The words for the radio.
    Radio,
    /// Talk to the casualty.
    Talk,
    /// What holds for every method.
    Ladder,
    /// One method.
    Method,
    /// Where the kit is.
    Kit,
    /// The sketch of the site.
    Sketch,
    /// Landing place and AED.
    Landing,
    /// Aftercare.
    Aftercare,
}

/// One line of a part.
#[derive(Clone, Debug, PartialEq)]
pub enum Line {
    /// A text, or an item of a list.
    Entry(Entry),
    /// A table, all rows as long as the head.
    Table {
        /// What the columns are.
        head: Vec<String>,
        /// The rows.
        rows: Vec<Vec<String>>,
    },
    /// A sketch.
    Sketch(Sketch),
}

/// A text, or an item of a list.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// How large it is.
    pub style: Style,
    /// What stands before it.
    pub mark: Mark,
    /// The text; a space stands between two runs.
    pub runs: Vec<Run>,
    /// True for a step during which the casualty is connected and no change is made.
    pub held: bool,
}

/// How large a text is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Style {
    /// To be read from across a room.
    Loud,
    /// Said or done first.
    Lead,
    /// The rest.
    Body,
    /// Roles and steps of a method.
    Step,
}

/// What stands before an item.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Nothing: a text of its own.
    None,
    /// Its number in an order.
    Number(u32),
    /// A box to tick.
    Box,
    /// A point.
    Point,
}

/// A piece of a text in one weight.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// Heavy.
    pub strong: bool,
    /// The words.
    pub text: String,
}

/// A sketch of the site, still without a size.
#[derive(Clone, Debug, PartialEq)]
pub struct Sketch {
    /// The same in one sentence, for who cannot see it.
    pub about: String,
    /// The letter of the arrow that points north.
    pub north: String,
    /// Points that matter, no two at the same spot.
    pub spots: Vec<Spot>,
    /// Ways between them.
    pub ways: Vec<Way>,
}

/// A point of a sketch; places above each other share one.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// Millimetres east and north of a corner of the site.
    pub at_mm: [i64; 2],
    /// What is there that decides how it is drawn.
    pub sign: Sign,
    /// What is there, one thing a line.
    pub label: Vec<Run>,
}

/// How a point is drawn, the most important first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sign {
    /// The position.
    Position,
    /// The approach point.
    Approach,
    /// The landing place.
    Landing,
    /// A station.
    Station,
    /// A point on the way.
    Passing,
}

/// A way of a sketch, between two of its points.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Way {
    /// Index of one point.
    pub from: usize,
    /// Index of the other.
    pub to: usize,
    /// What kind it is.
    pub kind: LinkKind,
    /// What is told of it: how it changes level.
    pub label: Option<String>,
}

impl Card {
    /// The card of a position; `fingerprint` is that of the plan's bytes.
    pub fn new(plan: &Plan, position: &Position, fingerprint: &str, language: Language) -> Card {
        super::compose::card(plan, position, fingerprint, language)
    }

    /// The same card for drills: it says so at the top and the bottom of every page and where the call and the radio are
    /// told, so that nobody takes it for the one that hangs at the position.
    pub fn for_drills(mut self) -> Card {
        let say = |message: Message| message.text(self.language);
        let (kicker, foot) = (
            say(Message::of(Id::CardDrillKicker)),
            say(Message::of(Id::CardDrillFoot)),
        );
        let name = say(Message::with(Id::CardDrillName, [&self.name]));
        let first = [
            (Kind::Call, say(Message::of(Id::CallDrill))),
            (Kind::Radio, say(Message::of(Id::CardDrillRadio))),
        ];
        for (kind, words) in first {
            let run = Run {
                strong: true,
                text: words,
            };
            for part in self.parts.iter_mut().filter(|it| it.kind == kind) {
                part.lines.insert(0, text(Style::Lead, [run.clone()]));
            }
        }
        self.foot.insert(0, foot);
        Card {
            kicker,
            name,
            drill: true,
            ..self
        }
    }

    /// What a file of such cards is called.
    pub(super) fn title(cards: &[Card]) -> String {
        let Some(first) = cards.first() else {
            return String::new();
        };
        let id = match first.drill {
            true => Id::CardDrillTitle,
            false => Id::CardTitle,
        };
        Message::with(id, [&first.site]).text(first.language)
    }

    /// All its texts in their order, each without what stands before it.
    pub fn texts(&self) -> Vec<String> {
        let mut all = vec![
            self.kicker.clone(),
            self.name.clone(),
            self.place.clone(),
            self.site.clone(),
        ];
        all.extend(self.invented.clone());
        for part in &self.parts {
            all.extend(part.heading.clone());
            all.extend(part.aside.clone());
            for line in &part.lines {
                match line {
                    Line::Entry(entry) => all.push(entry.text()),
                    Line::Table { head, rows } => {
                        all.extend(head.iter().chain(rows.iter().flatten()).cloned());
                    }
                    Line::Sketch(sketch) => {
                        all.push(sketch.about.clone());
                        let labels = sketch.spots.iter().flat_map(|spot| &spot.label);
                        all.extend(labels.map(|run| run.text.clone()));
                        all.extend(sketch.ways.iter().filter_map(|way| way.label.clone()));
                    }
                }
            }
        }
        all.extend(self.foot.iter().cloned());
        all
    }
}

impl Entry {
    /// Its text in one piece.
    pub fn text(&self) -> String {
        let runs: Vec<&str> = self.runs.iter().map(|run| run.text.as_str()).collect();
        runs.join(" ")
    }
}

/// The cards of all positions of a plan, in the plan's order.
pub fn all(plan: &Plan, bytes: &[u8], language: Language) -> Vec<Card> {
    let fingerprint = fingerprint(bytes);
    let card = |position| Card::new(plan, position, &fingerprint, language);
    plan.positions.iter().map(card).collect()
}

/// The first sixteen hexadecimal digits of the SHA-256 of a plan's bytes, to tell two plans apart on paper.
pub fn fingerprint(bytes: &[u8]) -> String {
    let digest = Sha256::digest(bytes);
    digest
        .iter()
        .take(8)
        .map(|byte| format!("{byte:02x}"))
        .collect()
}
