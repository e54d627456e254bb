//! Reads the fields of one TOML table, and notices what is missing, mistaken or not known.
//!
//! serde stops at its first error; this does not. Every method answers with a value even where the file has none, after
//! it has reported that, so that one reading finds all mistakes; a plan with an error is never handed out, so such a
//! stand-in never leaves the reader. A key counts as known once it was asked for: there is no second list to keep.

use std::borrow::Cow;
use std::ops::Range;

use chrono::NaiveDate;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::describe::Describer;
use super::findings::{Gathered, Kind};
use super::model::{Holding, ThreePoint};
use super::source::{Group, Key, Source, Table, Word};
use super::values::plain;
use crate::units::{self, Limit, Quantity, Written};

/// Longest name that is shown in full, in bytes.
const NAME_SHOWN_MAX: usize = 100;

/// One table of the file while it is read.
pub(super) struct Fields<'a> {
    pub(super) gathered: &'a Gathered,
    table: &'a DeTable<'a>,
    known: Vec<&'static str>,
    /// Required keys that are not there.
    absent: Vec<(&'static str, String)>,
    /// Where its key or header stands.
    span: Range<usize>,
    /// Its dotted path.
    path: String,
    /// Its own key.
    id: String,
}

impl<'a> Fields<'a> {
    /// The fields of the whole file.
    pub(super) fn root(gathered: &'a Gathered, table: &'a DeTable<'a>) -> Fields<'a> {
        Fields {
            gathered,
            table,
            known: Vec::new(),
            absent: Vec::new(),
            span: 0..0,
            path: String::new(),
            id: String::new(),
        }
    }

    /// Reads the whole table, and reports every key that nobody asked for and every one that was missed.
    pub(super) fn read<T: Table>(mut self) -> T {
        let read = T::ask(&mut self);
        self.done();
        read
    }

    fn done(self) {
        // A key that is meant by a misspelled one is not missing as well.
        let mut meant: Vec<&str> = Vec::new();
        for (key, _) in self.table {
            let name = key.get_ref().as_ref();
            if self.known.contains(&name) || self.gathered.passes_over(Kind::UnknownKey) {
                continue;
            }
            let absent = self.absent.iter().map(|(name, _)| *name);
            let near = self.gathered.nearest(name, absent);
            let help =
                match near.or_else(|| self.gathered.nearest(name, self.known.iter().copied())) {
                    Some(known) => format!("perhaps `{known}` is meant"),
                    None => format!("the keys here are {}", self.known.join(", ")),
                };
            meant.extend(near);
            let message = format!("`{}` means nothing in {}", short(name), self.called());
            self.gathered
                .add(Kind::UnknownKey, key.span(), &self.at(name), message, help);
        }
        for (key, help) in &self.absent {
            if !meant.contains(key) && !self.gathered.passes_over(Kind::MissingKey) {
                let message = format!("{} has no `{key}`", self.called());
                self.gathered.add(
                    Kind::MissingKey,
                    self.span.clone(),
                    &self.at(key),
                    message,
                    help.as_str(),
                );
            }
        }
    }

    /// The value of a key that may be left out.
    fn optional(&mut self, key: Key) -> Option<&'a Spanned<DeValue<'a>>> {
        self.known.push(key.name);
        self.table.get(key.name)
    }

    fn required(&mut self, key: Key, example: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        let value = self.optional(key);
        if value.is_none() {
            let help = format!("add a line such as `{} = {example}`", key.name);
            self.absent.push((key.name, help));
        }
        value
    }

    /// Reports a file that is not of the one format this program reads.
    pub(super) fn format(&mut self) {
        let value = self.optional(Key {
            name: "format",
            about: "",
        });
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

    /// The table under a key that may be left out.
    fn below(&mut self, key: &'static str) -> Option<Fields<'a>> {
        self.known.push(key);
        let (name, value) = self.table.get_key_value(key)?;
        self.as_table(key, key, name.span(), value)
    }

    /// The items of a list with their place below this table; none where the list is left out.
    fn items(&mut self, key: Key) -> Vec<(String, &'a Spanned<DeValue<'a>>)> {
        let Some(value) = self.optional(key) else {
            return Vec::new();
        };
        let key = key.name;
        match value.get_ref() {
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
        }
    }

    /// Notes that something is named here, so that a name that leads nowhere is found and a renamed one is followed.
    fn refer(&self, place: &str, span: Range<usize>, group: Group, id: &str) {
        self.gathered.refer(&self.at(place), span, group, id);
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
                    absent: Vec::new(),
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

    /// The dotted path of something in this table.
    pub(super) fn at(&self, place: &str) -> String {
        let place = short(place);
        if self.path.is_empty() {
            place.into_owned()
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

impl Source for Fields<'_> {
    fn id(&mut self, _: Key) -> String {
        self.id.clone()
    }

    fn text(&mut self, key: Key, example: &'static str) -> String {
        let value = self.required(key, &format!("\"{example}\""));
        value
            .and_then(|value| self.as_text(key.name, value))
            .unwrap_or_default()
    }

    fn optional_text(&mut self, key: Key, _: &'static str) -> Option<String> {
        let value = self.optional(key)?;
        self.as_text(key.name, value)
    }

    fn texts(&mut self, key: Key, _: &'static str) -> Vec<String> {
        self.items(key)
            .into_iter()
            .filter_map(|(place, item)| self.as_text(&place, item))
            .collect()
    }

    fn flag(&mut self, key: Key) -> bool {
        let Some(value) = self.optional(key) else {
            return false;
        };
        match value.get_ref() {
            DeValue::Boolean(flag) => *flag,
            other => {
                let help = format!("write `{} = true` or leave it out", key.name);
                self.wrong_type(key.name, value.span(), "true or false", other, help);
                false
            }
        }
    }

    fn count(&mut self, key: Key, default: u32) -> u32 {
        self.optional_count(key).unwrap_or(default)
    }

    fn optional_count(&mut self, key: Key) -> Option<u32> {
        let value = self.optional(key)?;
        self.as_count(key.name, value)
    }

    fn quantity<Q: Quantity + Default>(&mut self, key: Key, example: &'static str) -> Q {
        let value = self.required(key, &format!("\"{example}\""));
        value
            .and_then(|value| self.as_quantity(key.name, value, units::read))
            .map_or_else(Q::default, |written| written.value)
    }

    fn optional_quantity<Q: Quantity>(&mut self, key: Key, example: &'static str) -> Option<Q> {
        self.written(key, example).map(|written| written.value)
    }

    fn signed<Q: Quantity + Default>(&mut self, key: Key, example: &'static str) -> Q {
        self.optional_signed(key, example).unwrap_or_default()
    }

    fn optional_signed<Q: Quantity>(&mut self, key: Key, _: &'static str) -> Option<Q> {
        let value = self.optional(key)?;
        let written = self.as_quantity(key.name, value, units::read_signed)?;
        Some(written.value)
    }

    fn written<Q: Quantity>(&mut self, key: Key, _: &'static str) -> Option<Written<Q>> {
        let value = self.optional(key)?;
        self.as_quantity(key.name, value, units::read)
    }

    fn setting<Q: Quantity>(&mut self, key: Key, default: &'static str) -> Q {
        self.written(key, default)
            .unwrap_or_else(|| in_code(default))
            .value
    }

    fn limit<Q: Quantity>(&mut self, key: Key, default: &'static [&'static str]) -> Limit<Q> {
        let in_file = self.optional(key).map(|value| match value.get_ref() {
            DeValue::Array(pair) if (1..=2).contains(&pair.len()) => (1..)
                .zip(pair.iter())
                .filter_map(|(number, item)| {
                    self.as_quantity(&format!("{}.{number}", key.name), item, units::read)
                })
                .collect(),
            DeValue::Array(_) => {
                let message = format!("{} is not one figure or a pair of them", self.at(key.name));
                let help = format!(
                    "write it as published, e.g. [\"{}\"]",
                    default.join("\", \"")
                );
                self.gathered.add(
                    Kind::BadQuantity,
                    value.span(),
                    &self.at(key.name),
                    message,
                    help,
                );
                Vec::new()
            }
            _ => self
                .as_quantity(key.name, value, units::read)
                .into_iter()
                .collect(),
        });
        let given: Vec<Written<Q>> = in_file.unwrap_or_default();
        Limit {
            given: if given.is_empty() {
                default.iter().map(|text| in_code(text)).collect()
            } else {
                given
            },
        }
    }

    fn three_point(&mut self, key: Key) -> ThreePoint {
        let value = self.required(key, r#"["20 s", "45 s", "90 s"]"#);
        value
            .and_then(|value| self.as_three_point(key.name, value))
            .unwrap_or_default()
    }

    fn optional_three_point(&mut self, key: Key) -> Option<ThreePoint> {
        let value = self.optional(key)?;
        self.as_three_point(key.name, value)
    }

    fn three_point_setting(&mut self, key: Key, default: [&'static str; 3]) -> ThreePoint {
        let [short, likely, long] = default.map(|text| in_code(text).value);
        self.optional_three_point(key).unwrap_or(ThreePoint {
            short,
            likely,
            long,
        })
    }

    fn word<W: Word>(&mut self, key: Key) -> W {
        let (example, stand_in, _) = W::WORDS[0];
        let value = self.required(key, &format!("\"{example}\""));
        value
            .and_then(|value| self.as_word(key.name, value))
            .unwrap_or(stand_in)
    }

    fn optional_word<W: Word>(&mut self, key: Key) -> Option<W> {
        let value = self.optional(key)?;
        self.as_word(key.name, value)
    }

    fn words<W: Word>(&mut self, key: Key) -> Vec<W> {
        self.items(key)
            .into_iter()
            .filter_map(|(place, item)| self.as_word(&place, item))
            .collect()
    }

    fn date(&mut self, key: Key) -> Option<NaiveDate> {
        let value = self.optional(key)?;
        self.as_date(key.name, value)
    }

    fn point<Q: Quantity>(&mut self, key: Key) -> Option<[Q; 2]> {
        let span = self.table.get(key.name).map_or(0..0, Spanned::span);
        let is_there = self.table.contains_key(key.name);
        let items = self.items(key);
        if is_there && items.len() != 2 && self.table.get(key.name)?.get_ref().is_array() {
            let message = format!("{} is not two lengths", self.at(key.name));
            let help = "give how far east and how far north, e.g. [\"12 m\", \"30 m\"]";
            self.gathered
                .add(Kind::BadPoint, span, &self.at(key.name), message, help);
            return None;
        }
        let read: Vec<Option<Q>> = items
            .iter()
            .map(|(place, item)| {
                let written = self.as_quantity(place, item, units::read_signed);
                written.map(|it| it.value)
            })
            .collect();
        match read[..] {
            [Some(east), Some(north)] => Some([east, north]),
            _ => None,
        }
    }

    fn holdings(&mut self, key: Key) -> Vec<Holding> {
        let mut holdings = Vec::new();
        for (place, item) in self.items(key) {
            match item.get_ref() {
                DeValue::Table(_) => {
                    let table = self.as_table(&place, key.name, item.span(), item);
                    holdings.extend(table.map(|table| table.read::<Holding>()));
                }
                _ => holdings.extend(
                    self.as_text(&place, item)
                        .map(|name| Holding { name, until: None }),
                ),
            }
        }
        holdings
    }

    fn reference(&mut self, key: Key, group: Group, example: &'static str) -> String {
        let value = self.required(key, &format!("\"{example}\""));
        let Some((value, id)) = value.and_then(|it| Some((it, self.as_text(key.name, it)?))) else {
            return String::new();
        };
        self.refer(key.name, value.span(), group, &id);
        id
    }

    fn optional_reference(&mut self, key: Key, group: Group) -> Option<String> {
        let value = self.optional(key)?;
        let id = self.as_text(key.name, value)?;
        self.refer(key.name, value.span(), group, &id);
        Some(id)
    }

    fn references(&mut self, key: Key, group: Group) -> Vec<String> {
        let mut ids = Vec::new();
        for (place, item) in self.items(key) {
            if let Some(id) = self.as_text(&place, item) {
                self.refer(&place, item.span(), group, &id);
                ids.push(id);
            }
        }
        ids
    }

    fn table<T: Table + Default>(&mut self, key: Key) -> T {
        if !self.table.contains_key(key.name) {
            let help = format!("add a table `[{}]`", self.at(key.name));
            self.absent.push((key.name, help));
        }
        self.optional_table(key).unwrap_or_default()
    }

    fn optional_table<T: Table>(&mut self, key: Key) -> Option<T> {
        self.below(key.name).map(Fields::read)
    }

    fn table_of_defaults<T: Table>(&mut self, key: Key) -> T {
        self.optional_table(key)
            .unwrap_or_else(|| T::ask(&mut Describer::default()))
    }

    fn named<T: Table>(&mut self, key: Key) -> Vec<T> {
        let Some(group) = self.below(key.name) else {
            return Vec::new();
        };
        let mut entries: Vec<_> = group.table.iter().collect();
        entries.sort_by_key(|(name, _)| name.span().start);
        let mut tables = Vec::new();
        for (name, value) in entries {
            let id = &*short(name.get_ref());
            let is_id = |b: u8| b.is_ascii_alphanumeric() || b == b'-' || b == b'_';
            if !(1..=64).contains(&id.len()) || !id.bytes().all(is_id) {
                let message = format!("`{id}` cannot be an id in {}", group.path);
                let help = "use at most 64 letters, digits, hyphens and underscores";
                self.gathered
                    .add(Kind::BadId, name.span(), &group.at(id), message, help);
            }
            let table = group.as_table(id, id, name.span(), value);
            tables.extend(table.map(Fields::read::<T>));
        }
        tables
    }

    fn listed<T: Table>(&mut self, key: Key) -> Vec<T> {
        self.items(key)
            .into_iter()
            .filter_map(|(place, item)| self.as_table(&place, key.name, item.span(), item))
            .map(Fields::read)
            .collect()
    }
}

/// A name as it stands in a path or a sentence: one that is longer than any id may be is cut.
///
/// Paths are made anew for everything below a table, so an endless name would be copied as often as there are keys.
pub(super) fn short(name: &str) -> Cow<'_, str> {
    if name.len() <= NAME_SHOWN_MAX {
        return Cow::Borrowed(name);
    }
    Cow::Owned(format!(
        "{}…",
        &name[..name.floor_char_boundary(NAME_SHOWN_MAX)]
    ))
}

/// A default, which is written in the code as it would stand in a file.
pub(super) fn in_code<Q: Quantity>(text: &str) -> Written<Q> {
    units::read(text).expect("every default is read when the defaults are, which a test does")
}
