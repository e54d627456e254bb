//! Holds what somebody writes in their own words: one plain line that looks on every screen as it stands in the record.
//!
//! A record is read for years by people who were not there. What breaks a line, moves a cursor or turns the order of the
//! letters would let one text look like another, so it is refused where it is written and not believed where it is read.

use serde::{Deserialize, Serialize};
use std::fmt;

/// Longest remark, finding or task, in characters: what a person reads before the next line.
pub const WORDS_CHARS_MAX: usize = 500;
/// Longest name, in characters.
pub const NAME_CHARS_MAX: usize = 60;

/// A remark, a finding or a task in somebody's own words.
pub type OwnWords = Written<WORDS_CHARS_MAX>;
/// A person's name, as they give it.
pub type Name = Written<NAME_CHARS_MAX>;

/// One plain line of at most so many characters.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Written<const CHARS_MAX: usize>(String);

/// Why a text cannot be kept as written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unfit {
    /// There is nothing in it.
    Empty,
    /// It has this many characters, and this many may be.
    Long(usize, usize),
    /// This character breaks the line or cannot be seen, and stands at this place, from 1.
    Control(char, usize),
    /// This character turns the order of the letters, and stands at this place, from 1.
    Turning(char, usize),
}

impl<const CHARS_MAX: usize> Written<CHARS_MAX> {
    /// Takes a text as somebody entered it, without the blanks around it.
    pub fn new(text: &str) -> Result<Self, Unfit> {
        let text = text.trim();
        let count = text.chars().count();
        if text.is_empty() {
            return Err(Unfit::Empty);
        }
        if count > CHARS_MAX {
            return Err(Unfit::Long(count, CHARS_MAX));
        }
        for (character, place) in text.chars().zip(1..) {
            if turns(character) {
                return Err(Unfit::Turning(character, place));
            }
            if breaks(character) {
                return Err(Unfit::Control(character, place));
            }
        }
        Ok(Self(text.to_owned()))
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// True for what the Unicode bidirectional algorithm (UAX 9) knows as explicit or implicit directional formatting.
fn turns(character: char) -> bool {
    matches!(
        character,
        '\u{061c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
    )
}

/// True for control characters and for the two that break a line without being one.
fn breaks(character: char) -> bool {
    character.is_control() || matches!(character, '\u{2028}' | '\u{2029}' | '\u{feff}')
}

impl<const CHARS_MAX: usize> TryFrom<String> for Written<CHARS_MAX> {
    type Error = Unfit;

    fn try_from(text: String) -> Result<Self, Unfit> {
        Self::new(&text)
    }
}

impl<const CHARS_MAX: usize> From<Written<CHARS_MAX>> for String {
    fn from(written: Written<CHARS_MAX>) -> String {
        written.0
    }
}

impl<const CHARS_MAX: usize> fmt::Display for Written<CHARS_MAX> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Display for Unfit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unfit::Empty => write!(f, "there is nothing in it; write at least one word"),
            Unfit::Long(count, max) => write!(
                f,
                "it has {count} characters and {max} are the most; make two of it"
            ),
            Unfit::Control(character, place) => write!(
                f,
                "character {place} (U+{:04X}) breaks the line or cannot be seen; write one plain line",
                u32::from(*character)
            ),
            Unfit::Turning(character, place) => write!(
                f,
                "character {place} (U+{:04X}) turns the order of the letters; leave it out",
                u32::from(*character)
            ),
        }
    }
}

impl std::error::Error for Unfit {}
