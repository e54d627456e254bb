//! Reads the fields of one TOML table, and notices what is missing, mistaken or not known.
//!
//! serde stops at its first error; this does not. Every method answers with a value even where the file has none, after
//! it has reported that, so that one reading finds all mistakes; a plan with an error is never handed out, so such a
//! stand-in never leaves the reader. A key counts as known once it was asked for: there is no second list to keep.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::findings::{Gathered, Kind};
use super::model::{HazardKind, LinkKind, Milestone, Need, Rung, ThreePoint};
use crate::units::{self, Millis, Misread, Quantity};

/// One table of the file while it is read.
pub(super) struct Fields<'a> {
    gathered: &'a Gathered,
    table: &'a DeTable<'a>,
    known: Vec<&'static str>,
    /// Where its key or header stands.
    span: Range<usize>,
    /// Its dotted path.
    pub(super) path: String,
    /// Its own key.
    pub(super) id: String,
}

/// A value that a plan spells as one word of a fixed list.
pub(super) trait Word: Copy + 'static {
    /// Every word and what it stands for.
    const WORDS: &'static [(&'static str, Self)];
}

impl Word for LinkKind {
    const WORDS: &'static [(&'static str, LinkKind)] = &[
        ("walk", LinkKind::Walk),
        ("stairs", LinkKind::Stairs),
        ("fixed-ladder", LinkKind::FixedLadder),
        ("scaffold-stair", LinkKind::ScaffoldStair),
        ("hoist", LinkKind::Hoist),
        ("vehicle", LinkKind::Vehicle),
    ];
}

impl Word for HazardKind {
    const WORDS: &'static [(&'static str, HazardKind)] = &[
        ("electric", HazardKind::Electric),
        ("moving-plant", HazardKind::MovingPlant),
        ("air", HazardKind::Air),
        ("water", HazardKind::Water),
        ("other", HazardKind::Other),
    ];
}

impl Word for Rung {
    const WORDS: &'static [(&'static str, Rung)] = &[
        ("self-rescue", Rung::SelfRescue),
        ("assisted-self-rescue", Rung::AssistedSelfRescue),
        ("mechanically-aided", Rung::MechanicallyAided),
        ("pick-off", Rung::PickOff),
    ];
}

impl Word for Need {
    const WORDS: &'static [(&'static str, Need)] = &[
        ("answering", Need::Answering),
        ("climbing", Need::Climbing),
        ("holding-on", Need::HoldingOn),
        ("clipping", Need::Clipping),
    ];
}

impl Word for Milestone {
    const WORDS: &'static [(&'static str, Milestone)] = &[
        ("first-contact", Milestone::FirstContact),
        ("off-harness", Milestone::OffHarness),
        ("landing", Milestone::Landing),
    ];
}

impl<'a> Fields<'a> {
    /// The fields of the whole file.
    pub(super) fn root(gathered: &'a Gathered, table: &'a DeTable<'a>) -> Fields<'a> {
        Fields {
            gathered,
            table,
            known: Vec::new(),
            span: 0..0,
            path: String::new(),
            id: String::new(),
        }
    }

    /// Reports every key that nobody asked for. Call it when all fields of the table are read.
    pub(super) fn done(self) {
        for (key, _) in self.table {
            let name = key.get_ref().as_ref();
            if !self.known.contains(&name) {
                let help = match self.gathered.nearest(name, self.known.iter().copied()) {
                    Some(known) => format!("perhaps `{known}` is meant"),
                    None => format!("the keys here are {}", self.known.join(", ")),
                };
                let message = format!("`{name}` means nothing in {}", self.called());
                self.gathered
                    .add(Kind::UnknownKey, key.span(), &self.at(name), message, help);
            }
        }
    }

    /// The value of a key that may be left out.
    pub(super) fn optional(&mut self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.known.push(key);
        self.table.get(key)
    }

    fn required(&mut self, key: &'static str, example: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        let value = self.optional(key);
        if value.is_none() {
            self.missing(key, format!("add a line such as `{key} = {example}`"));
        }
        value
    }

    fn missing(&self, key: &str, help: String) {
        let message = format!("{} has no `{key}`", self.called());
        self.gathered.add(
            Kind::MissingKey,
            self.span.clone(),
            &self.at(key),
            message,
            help,
        );
    }

    /// Reports a file that is not of the one format this program reads.
    pub(super) fn format(&mut self) {
        let value = self.optional("format");
        let span = value.map_or(0..0, Spanned::span);
        let written = value.and_then(|value| plain(value.get_ref()));
        if written.as_deref() != Some("1") {
            let message = match written {
                Some(other) => format!("the format {other} of this plan is not known here"),
                None => "the plan does not say which format it has".to_owned(),
            };
            self.gathered.add(
                Kind::FormatUnknown,
                span,
                "format",
                message,
                "write `format = 1` on the first line",
            );
        }
    }

    /// A text that must be there.
    pub(super) fn text(&mut self, key: &'static str, example: &str) -> String {
        let value = self.required(key, &format!("\"{example}\""));
        value
            .and_then(|value| self.as_text(key, value))
            .unwrap_or_default()
    }

    /// A text that may be left out.
    pub(super) fn optional_text(&mut self, key: &'static str) -> Option<String> {
        let value = self.optional(key)?;
        self.as_text(key, value)
    }

    /// A list of texts, empty where it is left out.
    pub(super) fn texts(&mut self, key: &'static str) -> Vec<String> {
        self.items(key)
            .into_iter()
            .filter_map(|(place, item)| self.as_text(&place, item))
            .collect()
    }

    /// Yes or no; no where it is left out.
    pub(super) fn flag(&mut self, key: &'static str) -> bool {
        match self.optional(key) {
            None => false,
            Some(value) => match value.get_ref() {
                DeValue::Boolean(flag) => *flag,
                other => {
                    self.wrong_type(
                        key,
                        value.span(),
                        "true or false",
                        other,
                        format!("write `{key} = true` or leave it out"),
                    );
                    false
                }
            },
        }
    }

    /// A number of things, one where it is left out.
    pub(super) fn count(&mut self, key: &'static str) -> u32 {
        let Some(value) = self.optional(key) else {
            return 1;
        };
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
                return 1;
            }
        };
        number
            .filter(|number| (1..=10_000).contains(number))
            .unwrap_or_else(|| {
                let message = format!("{} is not a count from 1 to 10,000", self.at(key));
                self.gathered.add(
                    Kind::BadCount,
                    value.span(),
                    &self.at(key),
                    message,
                    "leave out what is not there",
                );
                1
            })
    }

    /// A quantity that must be there and is not below zero.
    pub(super) fn quantity<Q: Quantity + Default>(
        &mut self,
        key: &'static str,
        example: &str,
    ) -> Q {
        let value = self.required(key, &format!("\"{example}\""));
        value
            .and_then(|value| self.as_quantity(key, value, units::read))
            .unwrap_or_default()
    }

    /// A quantity that may be left out and is not below zero.
    pub(super) fn optional_quantity<Q: Quantity>(&mut self, key: &'static str) -> Option<Q> {
        let value = self.optional(key)?;
        self.as_quantity(key, value, units::read)
    }

    /// A quantity that may be left out, and may be below zero.
    pub(super) fn optional_signed<Q: Quantity>(&mut self, key: &'static str) -> Option<Q> {
        let value = self.optional(key)?;
        self.as_quantity(key, value, units::read_signed)
    }

    /// Three durations that must be there.
    pub(super) fn three_point(&mut self, key: &'static str) -> ThreePoint {
        let value = self.required(key, r#"["20 s", "45 s", "90 s"]"#);
        let nothing = ThreePoint {
            short: Millis::ZERO,
            likely: Millis::ZERO,
            long: Millis::ZERO,
        };
        value
            .and_then(|value| self.as_three_point(key, value))
            .unwrap_or(nothing)
    }

    /// Three durations that may be left out.
    pub(super) fn optional_three_point(&mut self, key: &'static str) -> Option<ThreePoint> {
        let value = self.optional(key)?;
        self.as_three_point(key, value)
    }

    /// A word of a fixed list that must be there.
    pub(super) fn word<W: Word>(&mut self, key: &'static str) -> W {
        let (example, stand_in) = W::WORDS[0];
        let value = self.required(key, &format!("\"{example}\""));
        value
            .and_then(|value| self.as_word(key, value))
            .unwrap_or(stand_in)
    }

    /// A word of a fixed list that may be left out.
    pub(super) fn optional_word<W: Word>(&mut self, key: &'static str) -> Option<W> {
        let value = self.optional(key)?;
        self.as_word(key, value)
    }

    /// A list of words of a fixed list, empty where it is left out.
    pub(super) fn words<W: Word>(&mut self, key: &'static str) -> Vec<W> {
        self.items(key)
            .into_iter()
            .filter_map(|(place, item)| self.as_word(&place, item))
            .collect()
    }

    /// The table under a key that must be there.
    pub(super) fn table(&mut self, key: &'static str) -> Option<Fields<'a>> {
        if !self.table.contains_key(key) {
            self.missing(key, format!("add a table `[{}]`", self.at(key)));
        }
        self.optional_table(key)
    }

    /// The table under a key that may be left out.
    pub(super) fn optional_table(&mut self, key: &'static str) -> Option<Fields<'a>> {
        self.known.push(key);
        let (name, value) = self.table.get_key_value(key)?;
        self.as_table(key, key, name.span(), value)
    }

    /// The tables under a key, each named by its id, in the order of the file.
    pub(super) fn named(&mut self, key: &'static str) -> Vec<Fields<'a>> {
        let Some(group) = self.optional_table(key) else {
            return Vec::new();
        };
        let mut entries: Vec<_> = group.table.iter().collect();
        entries.sort_by_key(|(name, _)| name.span().start);
        let mut tables = Vec::new();
        for (name, value) in entries {
            let id = name.get_ref().as_ref();
            if !(1..=64).contains(&id.len())
                || !id
                    .bytes()
                    .all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
            {
                let message = format!("`{id}` cannot be an id in {}", group.path);
                let help = "use at most 64 letters, digits, hyphens and underscores";
                self.gathered
                    .add(Kind::BadId, name.span(), &group.at(id), message, help);
            }
            tables.extend(group.as_table(id, id, name.span(), value));
        }
        tables
    }

    /// The tables in a list, in its order; none where it is left out.
    pub(super) fn listed(&mut self, key: &'static str) -> Vec<Fields<'a>> {
        let items = self.items(key);
        items
            .into_iter()
            .filter_map(|(place, item)| self.as_table(&place, key, item.span(), item))
            .collect()
    }

    /// The items of a list with their place below this table; none where the list is left out.
    fn items(&mut self, key: &'static str) -> Vec<(String, &'a Spanned<DeValue<'a>>)> {
        match self.optional(key) {
            None => Vec::new(),
            Some(value) => match value.get_ref() {
                DeValue::Array(list) => list
                    .iter()
                    .enumerate()
                    .map(|(i, item)| (format!("{key}.{}", i + 1), item))
                    .collect(),
                other => {
                    self.wrong_type(
                        key,
                        value.span(),
                        "a list",
                        other,
                        format!("write `{key} = [...]`, with commas between"),
                    );
                    Vec::new()
                }
            },
        }
    }

    fn as_table(
        &self,
        place: &str,
        id: &str,
        span: Range<usize>,
        value: &'a Spanned<DeValue<'a>>,
    ) -> Option<Fields<'a>> {
        match value.get_ref() {
            DeValue::Table(table) => {
                let (path, id) = (self.at(place), id.to_owned());
                Some(Fields {
                    gathered: self.gathered,
                    table,
                    known: Vec::new(),
                    span,
                    path,
                    id,
                })
            }
            other => {
                let help = format!(
                    "write it as a table, e.g. under a line `[{}]`",
                    self.at(place)
                );
                self.wrong_type(place, value.span(), "a table", other, help);
                None
            }
        }
    }

    fn as_text(&self, place: &str, value: &Spanned<DeValue<'a>>) -> Option<String> {
        match value.get_ref() {
            DeValue::String(text)
                if text.trim().is_empty() || text.chars().any(char::is_control) =>
            {
                let what = if text.trim().is_empty() {
                    "is empty"
                } else {
                    "has a line break or control character in it"
                };
                let message = format!("{} {what}", self.at(place));
                self.gathered.add(
                    Kind::BadText,
                    value.span(),
                    &self.at(place),
                    message,
                    "write one line of text",
                );
                None
            }
            DeValue::String(text) => Some(text.trim().to_owned()),
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

    fn as_quantity<Q: Quantity>(
        &self,
        place: &str,
        value: &Spanned<DeValue<'a>>,
        read: fn(&str) -> Result<units::Written<Q>, Misread>,
    ) -> Option<Q> {
        let misread = match value.get_ref() {
            DeValue::String(text) => match read(text) {
                Ok(written) => return Some(written.value),
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

    fn as_three_point(&self, place: &str, value: &Spanned<DeValue<'a>>) -> Option<ThreePoint> {
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
            .map(|(number, item)| self.as_quantity(&format!("{place}.{number}"), item, units::read))
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

    fn as_word<W: Word>(&self, place: &str, value: &Spanned<DeValue<'a>>) -> Option<W> {
        let known: Vec<&str> = W::WORDS.iter().map(|(word, _)| *word).collect();
        let DeValue::String(text) = value.get_ref() else {
            let help = format!("write one of {}, in quotes", known.join(", "));
            self.wrong_type(place, value.span(), "a word", value.get_ref(), help);
            return None;
        };
        let found = W::WORDS
            .iter()
            .find(|(word, _)| word == text)
            .map(|(_, meaning)| *meaning);
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

    fn wrong_type(
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

    /// The dotted path of something in this table.
    fn at(&self, place: &str) -> String {
        if self.path.is_empty() {
            place.to_owned()
        } else {
            format!("{}.{place}", self.path)
        }
    }

    /// What a sentence calls this table.
    fn called(&self) -> &str {
        if self.path.is_empty() {
            "the plan"
        } else {
            &self.path
        }
    }
}

/// A number, date or flag as it was written.
fn plain(value: &DeValue<'_>) -> Option<String> {
    match value {
        DeValue::Integer(number) => Some(number.to_string()),
        DeValue::Float(number) => Some(number.to_string()),
        DeValue::Boolean(flag) => Some(flag.to_string()),
        DeValue::Datetime(date) => Some(date.to_string()),
        DeValue::String(_) | DeValue::Array(_) | DeValue::Table(_) => None,
    }
}
