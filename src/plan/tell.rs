//! Tells what a plan file says, key by key, so that two files can be compared by what they mean.
//!
//! It answers the same questions as the reader (`fields.rs`) and keeps every answer twice: as written, for people, and as
//! it is meant, so that `12 m` and `1200 cm`, or a default and nothing at all, are the same. A file with errors is told
//! too: what cannot be read is kept as it stands, and so is what no key is known for.

use std::borrow::Cow;
use std::collections::BTreeSet;

use chrono::NaiveDate;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::fields::in_code;
use super::model::{Holding, Plan, ThreePoint};
use super::source::{Group, Key, Source, Table, Word};
use super::told::{Meaning, Said, Says, Told};
use crate::units::{self, Limit, Misread, Quantity, Written, is_imperial};

/// Tells the whole file.
pub(super) fn tell(text: &str, root: &DeTable<'_>) -> Told {
    Teller::of(text, root, String::new()).tell::<Plan>().0
}

/// Answers the questions of one table, and keeps the answers.
struct Teller<'a> {
    text: &'a str,
    table: &'a DeTable<'a>,
    told: Told,
}

/// A quantity where the unit it was written in makes no difference.
fn amount<Q: Quantity>(read: Result<Written<Q>, Misread>) -> Option<String> {
    read.ok().map(|it| it.value.base().to_string())
}

/// A quantity that is compared with a limit of its own system of units: 6 ft is not the same as 1.8288 m then.
fn measured<Q: Quantity>(it: &Written<Q>) -> String {
    let in_feet_and_pounds = is_imperial(it.unit);
    format!("{} {in_feet_and_pounds}", it.value.base())
}

/// As it is shown: a text in quotes, all else as it stands, and nothing that a terminal would obey.
fn shown(text: &str, value: &Spanned<DeValue<'_>>, in_quotes: bool) -> String {
    let shown = match value.get_ref() {
        DeValue::String(said) if in_quotes => format!("\"{}\"", said.trim()),
        DeValue::String(said) => said.trim().to_owned(),
        _ => {
            let stands = text.get(value.span()).unwrap_or_default();
            stands.split_whitespace().collect::<Vec<_>>().join(" ")
        }
    };
    if shown.contains(char::is_control) {
        shown.escape_debug().to_string()
    } else {
        shown
    }
}

impl<'a> Teller<'a> {
    fn of(text: &'a str, table: &'a DeTable<'a>, id: String) -> Teller<'a> {
        let told = Told {
            id,
            keys: Vec::new(),
        };
        Teller { text, table, told }
    }

    /// Asks the whole table; also hands back the values that stand for what it asked.
    fn tell<T: Table>(mut self) -> (Told, T) {
        let read = T::ask(&mut self);
        let asked: BTreeSet<Cow<'static, str>> =
            self.told.keys.iter().map(|(key, _)| key.clone()).collect();
        for (key, value) in self.table {
            let name = key.get_ref().as_ref();
            if !asked.contains(name) {
                let said = self.unread(value);
                self.told
                    .keys
                    .push((name.to_owned().into(), Says::One(said)));
            }
        }
        (self.told, read)
    }

    fn unread(&self, value: &Spanned<DeValue<'_>>) -> Said {
        let written = shown(self.text, value, true);
        Said::new(Meaning::Unread(written.clone()), written)
    }

    fn keep(&mut self, key: Key, says: Says) {
        self.told.keys.push((key.name.into(), says));
    }

    /// One value, read where it is a text.
    fn said(
        &self,
        value: &Spanned<DeValue<'_>>,
        in_quotes: bool,
        read: impl Fn(&str) -> Option<String>,
    ) -> Said {
        let meaning = value.get_ref().as_str().and_then(read);
        meaning.map_or_else(
            || self.unread(value),
            |meaning| Said::new(Meaning::Is(meaning), shown(self.text, value, in_quotes)),
        )
    }

    fn text_value(&self, value: &Spanned<DeValue<'_>>) -> Said {
        self.said(value, true, |text| Some(text.trim().to_owned()))
    }

    /// Keeps one value that is a text; what is left out means `absent`.
    fn one(
        &mut self,
        key: Key,
        absent: Said,
        in_quotes: bool,
        read: impl Fn(&str) -> Option<String>,
    ) {
        let value = self.table.get(key.name);
        let said = value.map_or(absent, |value| self.said(value, in_quotes, read));
        self.keep(key, Says::One(said));
    }

    fn amount_of<Q: Quantity>(
        &mut self,
        key: Key,
        absent: Said,
        read: fn(&str) -> Result<Written<Q>, Misread>,
    ) {
        self.one(key, absent, false, |text| amount(read(text)));
    }

    fn many(
        &mut self,
        key: Key,
        in_order: bool,
        item: impl Fn(&Self, &Spanned<DeValue<'_>>) -> Said,
    ) {
        let says = match self
            .table
            .get(key.name)
            .map(|it| (it, it.get_ref().as_array()))
        {
            None => Says::Many {
                said: Vec::new(),
                in_order,
            },
            Some((_, Some(list))) => {
                let said = list.iter().map(|value| item(self, value)).collect();
                Says::Many { said, in_order }
            }
            Some((value, None)) => Says::One(self.unread(value)),
        };
        self.keep(key, says);
    }

    /// Keeps three times, or what stands there instead.
    fn times(&mut self, key: Key, absent: Option<[&'static str; 3]>) {
        let value = self.table.get(key.name);
        let time = |text: &str| amount(units::read::<units::Millis>(text));
        let says = match (value, value.and_then(|it| it.get_ref().as_array())) {
            (Some(_), Some(list)) if list.len() == 3 => {
                Says::Times([0, 1, 2].map(|index| self.said(&list[index], false, time)))
            }
            (Some(value), _) => Says::One(self.unread(value)),
            (None, _) => match absent {
                Some(times) => Says::Times(
                    times.map(|text| Said::default(time(text).unwrap_or_default(), text)),
                ),
                None => Says::One(Said::nothing()),
            },
        };
        self.keep(key, says);
    }

    fn naming(&self, value: &Spanned<DeValue<'_>>, group: Group) -> Said {
        let said = self.text_value(value);
        match said.meaning {
            Meaning::Is(id) => Said {
                meaning: Meaning::Names(group.table(), id),
                ..said
            },
            _ => said,
        }
    }

    fn below(&self, name: &str) -> Option<(&'a Spanned<DeValue<'a>>, Option<&'a DeTable<'a>>)> {
        self.table
            .get(name)
            .map(|value| (value, value.get_ref().as_table()))
    }
}

impl Source for Teller<'_> {
    fn id(&mut self, _: Key) -> String {
        self.told.id.clone()
    }

    fn text(&mut self, key: Key, example: &'static str) -> String {
        self.optional_text(key, example).unwrap_or_default()
    }

    fn optional_text(&mut self, key: Key, _: &'static str) -> Option<String> {
        self.one(key, Said::nothing(), true, |text| {
            Some(text.trim().to_owned())
        });
        None
    }

    fn texts(&mut self, key: Key, _: &'static str) -> Vec<String> {
        self.many(key, true, Self::text_value);
        Vec::new()
    }

    fn flag(&mut self, key: Key) -> bool {
        let said = self.table.get(key.name).map_or_else(
            || Said::default("false".to_owned(), "false"),
            |value| {
                let said = self.unread(value);
                match value.get_ref().as_bool() {
                    Some(flag) => Said {
                        meaning: Meaning::Is(flag.to_string()),
                        ..said
                    },
                    None => said,
                }
            },
        );
        self.keep(key, Says::One(said));
        false
    }

    fn count(&mut self, key: Key, count: u32) -> u32 {
        let said = self.table.get(key.name).map_or_else(
            || Said::default(count.to_string(), count.to_string()),
            |value| {
                let said = self.unread(value);
                let number = value.get_ref().as_integer();
                match number.and_then(|it| u32::from_str_radix(it.as_str(), it.radix()).ok()) {
                    Some(number) => Said {
                        meaning: Meaning::Is(number.to_string()),
                        ..said
                    },
                    None => said,
                }
            },
        );
        self.keep(key, Says::One(said));
        count
    }

    fn optional_count(&mut self, key: Key) -> Option<u32> {
        self.count(key, 0);
        if let Some((_, Says::One(said))) = self.told.keys.last_mut()
            && said.written.is_none()
        {
            *said = Said::nothing();
        }
        None
    }

    fn quantity<Q: Quantity + Default>(&mut self, key: Key, example: &'static str) -> Q {
        self.optional_quantity(key, example).unwrap_or_default()
    }

    fn optional_quantity<Q: Quantity>(&mut self, key: Key, _: &'static str) -> Option<Q> {
        self.amount_of::<Q>(key, Said::nothing(), units::read);
        None
    }

    fn signed<Q: Quantity + Default>(&mut self, key: Key, _: &'static str) -> Q {
        let zero = format!("0 {}", Q::READINGS[0].0);
        self.amount_of::<Q>(key, Said::default("0".to_owned(), zero), units::read_signed);
        Q::default()
    }

    fn optional_signed<Q: Quantity>(&mut self, key: Key, _: &'static str) -> Option<Q> {
        self.amount_of::<Q>(key, Said::nothing(), units::read_signed);
        None
    }

    fn written<Q: Quantity>(&mut self, key: Key, _: &'static str) -> Option<Written<Q>> {
        self.one(key, Said::nothing(), false, |text| {
            units::read::<Q>(text).ok().as_ref().map(measured)
        });
        None
    }

    fn setting<Q: Quantity>(&mut self, key: Key, text: &'static str) -> Q {
        let written = in_code::<Q>(text);
        self.amount_of::<Q>(
            key,
            Said::default(written.value.base().to_string(), text),
            units::read,
        );
        written.value
    }

    fn limit<Q: Quantity>(&mut self, key: Key, texts: &'static [&'static str]) -> Limit<Q> {
        let given: Vec<Written<Q>> = texts.iter().map(|text| in_code(text)).collect();
        let together =
            |given: &[Written<Q>]| given.iter().map(measured).collect::<Vec<_>>().join(", ");
        let said = self.table.get(key.name).map_or_else(
            || Said::default(together(&given), texts.join(" or ")),
            |value| {
                let single = std::slice::from_ref(value);
                let figures = value.get_ref().as_array().map_or(single, |list| &list[..]);
                let read: Option<Vec<Written<Q>>> = figures
                    .iter()
                    .map(|it| units::read(it.get_ref().as_str()?).ok())
                    .collect();
                match read.filter(|it| (1..=2).contains(&it.len())) {
                    Some(read) => {
                        let written: Vec<&str> = read.iter().map(|it| it.text.trim()).collect();
                        Said::new(Meaning::Is(together(&read)), written.join(" or "))
                    }
                    None => self.unread(value),
                }
            },
        );
        self.keep(key, Says::One(said));
        Limit { given }
    }

    fn three_point(&mut self, key: Key) -> ThreePoint {
        self.times(key, None);
        ThreePoint::default()
    }

    fn optional_three_point(&mut self, key: Key) -> Option<ThreePoint> {
        self.times(key, None);
        None
    }

    fn three_point_setting(&mut self, key: Key, times: [&'static str; 3]) -> ThreePoint {
        self.times(key, Some(times));
        ThreePoint::default()
    }

    fn word<W: Word>(&mut self, key: Key) -> W {
        self.optional_word::<W>(key).unwrap_or(W::WORDS[0].1)
    }

    fn optional_word<W: Word>(&mut self, key: Key) -> Option<W> {
        self.one(key, Said::nothing(), false, |text| Some(text.to_owned()));
        None
    }

    fn words<W: Word>(&mut self, key: Key) -> Vec<W> {
        self.many(key, false, |it, value| {
            it.said(value, false, |text| Some(text.to_owned()))
        });
        Vec::new()
    }

    fn date(&mut self, key: Key) -> Option<NaiveDate> {
        self.one(key, Said::nothing(), false, |text| Some(text.to_owned()));
        None
    }

    fn point<Q: Quantity>(&mut self, key: Key) -> Option<[Q; 2]> {
        let said = self.table.get(key.name).map_or(Said::nothing(), |value| {
            let figures = value.get_ref().as_array().map_or(&[][..], |list| &list[..]);
            let read: Option<Vec<String>> = figures
                .iter()
                .map(|it| amount(units::read_signed::<Q>(it.get_ref().as_str()?)))
                .collect();
            match read.filter(|it| it.len() == 2) {
                Some(read) => {
                    let written: Vec<String> = figures
                        .iter()
                        .map(|it| shown(self.text, it, false))
                        .collect();
                    Said::new(Meaning::Is(read.join(", ")), written.join(", "))
                }
                None => self.unread(value),
            }
        });
        self.keep(key, Says::One(said));
        None
    }

    fn holdings(&mut self, key: Key) -> Vec<Holding> {
        let Some(value) = self.table.get(key.name) else {
            self.keep(
                key,
                Says::Listed {
                    told: Vec::new(),
                    by: "name",
                    in_order: false,
                },
            );
            return Vec::new();
        };
        let Some(list) = value.get_ref().as_array() else {
            let said = self.unread(value);
            self.keep(key, Says::One(said));
            return Vec::new();
        };
        let holding = |item: &Spanned<DeValue<'_>>| match item.get_ref().as_table() {
            Some(table) => {
                Teller::of(self.text, table, String::new())
                    .tell::<Holding>()
                    .0
            }
            None => {
                // A text alone is a table with only a name.
                let mut told = Teller::of(self.text, &DeTable::new(), String::new())
                    .tell::<Holding>()
                    .0;
                if let Some((_, name)) = told.keys.iter_mut().find(|(key, _)| key == "name") {
                    *name = Says::One(self.text_value(item));
                }
                told
            }
        };
        let told = list.iter().map(holding).collect();
        self.keep(
            key,
            Says::Listed {
                told,
                by: "name",
                in_order: false,
            },
        );
        Vec::new()
    }

    fn reference(&mut self, key: Key, group: Group, _: &'static str) -> String {
        self.optional_reference(key, group).unwrap_or_default()
    }

    fn optional_reference(&mut self, key: Key, group: Group) -> Option<String> {
        let said = self
            .table
            .get(key.name)
            .map_or(Said::nothing(), |value| self.naming(value, group));
        self.keep(key, Says::One(said));
        None
    }

    fn references(&mut self, key: Key, group: Group) -> Vec<String> {
        self.many(key, false, |it, value| it.naming(value, group));
        Vec::new()
    }

    fn table<T: Table + Default>(&mut self, key: Key) -> T {
        self.optional_table(key).unwrap_or_default()
    }

    fn optional_table<T: Table>(&mut self, key: Key) -> Option<T> {
        let says = match self.below(key.name) {
            Some((_, Some(table))) => Says::Table(Some(
                Teller::of(self.text, table, String::new()).tell::<T>().0,
            )),
            Some((value, None)) => Says::One(self.unread(value)),
            None => Says::Table(None),
        };
        self.keep(key, says);
        None
    }

    fn table_of_defaults<T: Table>(&mut self, key: Key) -> T {
        let none = DeTable::new();
        let table = self
            .below(key.name)
            .and_then(|(_, table)| table)
            .unwrap_or(&none);
        let (told, read) = Teller::of(self.text, table, String::new()).tell::<T>();
        self.keep(key, Says::Table(Some(told)));
        read
    }

    fn named<T: Table>(&mut self, key: Key) -> Vec<T> {
        let says = match self.below(key.name) {
            Some((_, Some(group))) => {
                let mut entries: Vec<_> = group.iter().collect();
                entries.sort_by_key(|(name, _)| name.span().start);
                let table = |(name, value): (&Spanned<Cow<'_, str>>, &Spanned<DeValue<'_>>)| {
                    let id = name.get_ref().to_string();
                    match value.get_ref().as_table() {
                        Some(table) => Teller::of(self.text, table, id).tell::<T>().0,
                        None => Told {
                            id,
                            keys: vec![("".into(), Says::One(self.unread(value)))],
                        },
                    }
                };
                Says::Named(entries.into_iter().map(table).collect())
            }
            Some((value, None)) => Says::One(self.unread(value)),
            None => Says::Named(Vec::new()),
        };
        self.keep(key, says);
        Vec::new()
    }

    fn listed<T: Table>(&mut self, key: Key) -> Vec<T> {
        let says = match self
            .table
            .get(key.name)
            .map(|it| (it, it.get_ref().as_array()))
        {
            Some((_, Some(list))) => {
                let table = |value: &Spanned<DeValue<'_>>| match value.get_ref().as_table() {
                    Some(table) => Teller::of(self.text, table, String::new()).tell::<T>().0,
                    None => Told {
                        id: String::new(),
                        keys: vec![("".into(), Says::One(self.unread(value)))],
                    },
                };
                let told = list.iter().map(table).collect();
                Says::Listed {
                    told,
                    by: "say",
                    in_order: true,
                }
            }
            Some((value, None)) => Says::One(self.unread(value)),
            None => Says::Listed {
                told: Vec::new(),
                by: "say",
                in_order: true,
            },
        };
        self.keep(key, says);
        Vec::new()
    }
}
