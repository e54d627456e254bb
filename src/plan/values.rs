//! Reads single values of a plan file, and says what is wrong with each.
//!
//! A value that cannot be read is reported with what belongs there, as it would be written. `fields.rs` asks for the values
//! of a table in turn; what stands in place of one that could not be read is decided there.

use std::ops::Range;

use chrono::NaiveDate;
use toml::Spanned;
use toml::de::DeValue;

use super::fields::Fields;
use super::findings::Kind;
use super::model::ThreePoint;
use super::source::Word;
use crate::units::{self, Millis, Misread, Quantity, Written};

/// Longest text, in characters. Nobody reads more at once, and what is said about a text repeats it.
pub(super) const TEXT_MAX: usize = 1_000;

/// Longest quantity, in characters: all units of a kind with all digits and much room between them.
pub(super) const QUANTITY_MAX: usize = 200;

impl<'a> Fields<'a> {
    pub(super) fn as_count(&self, key: &str, value: &Spanned<DeValue<'a>>) -> Option<u32> {
        let number = match value.get_ref() {
            DeValue::Integer(number) => u32::from_str_radix(number.as_str(), number.radix()).ok(),
            other => {
                self.wrong_type(
                    key,
                    value.span(),
                    "a whole number",
                    other,
                    format!("write `{key} = 2`"),
                );
                return None;
            }
        };
        let number = number.filter(|number| (1..=10_000).contains(number));
        if number.is_none() {
            let message = format!("{} is not a count from 1 to 10,000", self.at(key));
            self.gathered.add(
                Kind::BadCount,
                value.span(),
                &self.at(key),
                message,
                "leave out what is not there",
            );
        }
        number
    }

    pub(super) fn as_date(&self, place: &str, value: &Spanned<DeValue<'a>>) -> Option<NaiveDate> {
        let help = "write year, month and day, e.g. \"2030-05-31\"";
        let text = match value.get_ref() {
            DeValue::String(text) => text,
            other => {
                let help = match other {
                    DeValue::Datetime(date) => format!("put it in quotes: \"{date}\""),
                    _ => help.to_owned(),
                };
                self.wrong_type(place, value.span(), "a date in quotes", other, help);
                return None;
            }
        };
        let shaped = text.len() == 10
            && text.bytes().enumerate().all(|(i, b)| match i {
                4 | 7 => b == b'-',
                _ => b.is_ascii_digit(),
            });
        let date = shaped.then(|| text.parse().ok()).flatten();
        if date.is_none() {
            let message = format!("{} is not a day of the calendar", self.at(place));
            self.gathered
                .add(Kind::BadDate, value.span(), &self.at(place), message, help);
        }
        date
    }

    pub(super) fn as_text(&self, place: &str, value: &Spanned<DeValue<'a>>) -> Option<String> {
        match value.get_ref() {
            DeValue::String(text) => {
                let what = if text.trim().is_empty() {
                    "is empty"
                } else if text.chars().any(char::is_control) {
                    "has a line break or control character in it"
                } else if text.chars().nth(TEXT_MAX).is_some() {
                    "is longer than 1,000 characters"
                } else {
                    return Some(text.trim().to_owned());
                };
                let message = format!("{} {what}", self.at(place));
                let help = "write one line of text";
                self.gathered
                    .add(Kind::BadText, value.span(), &self.at(place), message, help);
                None
            }
            other => {
                let help = match plain(other) {
                    Some(plain) => format!("put it in quotes: \"{plain}\""),
                    None => "write one line of text in quotes".to_owned(),
                };
                self.wrong_type(place, value.span(), "a text", other, help);
                None
            }
        }
    }

    pub(super) fn as_quantity<Q: Quantity>(
        &self,
        place: &str,
        value: &Spanned<DeValue<'a>>,
        read: fn(&str) -> Result<Written<Q>, Misread>,
    ) -> Option<Written<Q>> {
        let misread = match value.get_ref() {
            DeValue::String(text) if text.chars().nth(QUANTITY_MAX).is_some() => Misread::TooLarge,
            DeValue::String(text) => match read(text) {
                Ok(written) => return Some(written),
                Err(misread) => misread,
            },
            number @ (DeValue::Integer(_) | DeValue::Float(_)) => Misread::NoUnit {
                number: plain(number).unwrap_or_default(),
            },
            other => {
                let help = format!(
                    "write a {} with its unit in quotes, e.g. \"10 {}\"",
                    Q::NAME,
                    Q::READINGS[0].0
                );
                self.wrong_type(place, value.span(), &format!("a {}", Q::NAME), other, help);
                return None;
            }
        };
        let kind = match misread {
            Misread::NoUnit { .. } => Kind::BareNumber,
            Misread::UnknownUnit { .. } => Kind::UnknownUnit,
            _ => Kind::BadQuantity,
        };
        let message = format!("{} is not a {}: {misread}", self.at(place), Q::NAME);
        self.gathered.add(
            kind,
            value.span(),
            &self.at(place),
            message,
            misread.help::<Q>(),
        );
        None
    }

    pub(super) fn as_three_point(
        &self,
        place: &str,
        value: &Spanned<DeValue<'a>>,
    ) -> Option<ThreePoint> {
        let help = r#"give the shortest, the likeliest and the longest time, e.g. ["20 s", "45 s", "90 s"]"#;
        let complain = |what: &str| {
            let message = format!("{} {what}", self.at(place));
            self.gathered.add(
                Kind::BadThreePoint,
                value.span(),
                &self.at(place),
                message,
                help,
            );
        };
        let items = match value.get_ref() {
            DeValue::Array(items) => items,
            DeValue::String(_) | DeValue::Integer(_) | DeValue::Float(_) => {
                complain("is one time where three are needed");
                return None;
            }
            other => {
                self.wrong_type(
                    place,
                    value.span(),
                    "a list of three times",
                    other,
                    help.to_owned(),
                );
                return None;
            }
        };
        if items.len() != 3 {
            complain(&format!("has {} times where three are needed", items.len()));
            return None;
        }
        let times: Vec<Option<Millis>> = (1..)
            .zip(items.iter())
            .map(|(number, item)| {
                let written = self.as_quantity(&format!("{place}.{number}"), item, units::read);
                written.map(|it| it.value)
            })
            .collect();
        let [Some(short), Some(likely), Some(long)] = times[..] else {
            return None;
        };
        if short > likely || likely > long {
            complain("does not go from the shortest to the longest time");
            return None;
        }
        Some(ThreePoint {
            short,
            likely,
            long,
        })
    }

    pub(super) fn as_word<W: Word>(&self, place: &str, value: &Spanned<DeValue<'a>>) -> Option<W> {
        let known: Vec<&str> = W::WORDS.iter().map(|(word, ..)| *word).collect();
        let DeValue::String(text) = value.get_ref() else {
            let help = format!("write one of {}, in quotes", known.join(", "));
            self.wrong_type(place, value.span(), "a word", value.get_ref(), help);
            return None;
        };
        let found = W::WORDS
            .iter()
            .find(|(word, ..)| word == text)
            .map(|(_, meaning, _)| *meaning);
        if found.is_none() {
            let message = format!("`{text}` is not a word that {} takes", self.at(place));
            let help = match self.gathered.nearest(text, known.iter().copied()) {
                Some(word) => format!(
                    "perhaps `{word}` is meant; the words are {}",
                    known.join(", ")
                ),
                None => format!("the words are {}", known.join(", ")),
            };
            self.gathered.add(
                Kind::UnknownWord,
                value.span(),
                &self.at(place),
                message,
                help,
            );
        }
        found
    }

    pub(super) fn wrong_type(
        &self,
        place: &str,
        span: Range<usize>,
        wanted: &str,
        found: &DeValue<'_>,
        help: String,
    ) {
        let found = match found {
            DeValue::String(_) => "a text",
            DeValue::Integer(_) | DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        let message = format!("{} is {found} where {wanted} belongs", self.at(place));
        self.gathered
            .add(Kind::WrongType, span, &self.at(place), message, help);
    }
}

/// A number, date or flag as it was written.
pub(super) fn plain(value: &DeValue<'_>) -> Option<String> {
    match value {
        DeValue::Integer(number) => Some(number.to_string()),
        DeValue::Float(number) => Some(number.to_string()),
        DeValue::Boolean(flag) => Some(flag.to_string()),
        DeValue::Datetime(date) => Some(date.to_string()),
        DeValue::String(_) | DeValue::Array(_) | DeValue::Table(_) => None,
    }
}
