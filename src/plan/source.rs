//! Declares what a table of the plan file holds, once, for everybody who asks: reader, schema, reference.
//!
//! A table is a struct and a list of questions in the order of its keys. The reader (`fields.rs`) answers them from a file,
//! the describer (`describe.rs`) writes down what was asked, and `defaults` answers with what a file may leave out. So a
//! key that is read is described, and a key that is described is read.

use chrono::NaiveDate;

use super::model::{Holding, ThreePoint};
use crate::units::{Limit, Quantity, Written};

/// A key of a table, and what it is for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Key {
    /// As it stands in the file.
    pub(super) name: &'static str,
    /// What it means, in a sentence or two.
    pub(super) about: &'static str,
}

/// What the ids of a reference belong to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Group {
    /// A place.
    Place,
    /// Somebody who can be sent.
    Responder,
    /// A worker of a position, who need not be among those who can be sent.
    Worker,
    /// An outside rescue.
    OutsideRescue,
    /// A role of the same method.
    Role,
}

impl Group {
    /// The name of the table that its ids are keys of.
    pub(super) fn table(self) -> &'static str {
        match self {
            Group::Place => "place",
            Group::Responder | Group::Worker => "responder",
            Group::OutsideRescue => "outside_rescue",
            Group::Role => "role",
        }
    }

    /// What a sentence calls one of them.
    pub(super) fn noun(self) -> &'static str {
        match self {
            Group::OutsideRescue => "outside rescue",
            other => other.table(),
        }
    }
}

/// A value that a plan spells as one word of a fixed list.
pub(super) trait Word: Copy + 'static {
    /// Every word, what it stands for, and what it means.
    const WORDS: &'static [(&'static str, Self, &'static str)];
}

/// A table of the file.
pub(super) trait Table: Sized {
    /// Its name in the schema.
    const NAME: &'static str;
    /// What it is.
    const ABOUT: &'static str;
    /// Asks for everything that it holds.
    fn ask(source: &mut impl Source) -> Self;
}

/// Whoever answers the questions of a table.
pub(super) trait Source {
    fn id(&mut self, key: Key) -> String;
    fn text(&mut self, key: Key, example: &'static str) -> String;
    fn optional_text(&mut self, key: Key, example: &'static str) -> Option<String>;
    fn texts(&mut self, key: Key, example: &'static str) -> Vec<String>;
    fn flag(&mut self, key: Key) -> bool;
    /// A number of things; the default where it is left out.
    fn count(&mut self, key: Key, default: u32) -> u32;
    fn optional_count(&mut self, key: Key) -> Option<u32>;
    fn quantity<Q: Quantity + Default>(&mut self, key: Key, example: &'static str) -> Q;
    fn optional_quantity<Q: Quantity>(&mut self, key: Key, example: &'static str) -> Option<Q>;
    /// A quantity that may be below zero; zero where it is left out.
    fn signed<Q: Quantity + Default>(&mut self, key: Key, example: &'static str) -> Q;
    fn optional_signed<Q: Quantity>(&mut self, key: Key, example: &'static str) -> Option<Q>;
    /// A quantity with the unit that it was written in.
    fn written<Q: Quantity>(&mut self, key: Key, example: &'static str) -> Option<Written<Q>>;
    /// A quantity that has a default, itself written as in a file.
    fn setting<Q: Quantity>(&mut self, key: Key, default: &'static str) -> Q;
    /// A limit that has a default: one figure, or a pair as published.
    fn limit<Q: Quantity>(&mut self, key: Key, default: &'static [&'static str]) -> Limit<Q>;
    fn three_point(&mut self, key: Key) -> ThreePoint;
    fn optional_three_point(&mut self, key: Key) -> Option<ThreePoint>;
    fn three_point_setting(&mut self, key: Key, default: [&'static str; 3]) -> ThreePoint;
    fn word<W: Word>(&mut self, key: Key) -> W;
    fn optional_word<W: Word>(&mut self, key: Key) -> Option<W>;
    fn words<W: Word>(&mut self, key: Key) -> Vec<W>;
    fn date(&mut self, key: Key) -> Option<NaiveDate>;
    /// Two lengths, from the plan's own origin: east and north.
    fn point<Q: Quantity>(&mut self, key: Key) -> Option<[Q; 2]>;
    /// Qualifications, each with the day it ends.
    fn holdings(&mut self, key: Key) -> Vec<Holding>;
    fn reference(&mut self, key: Key, group: Group, example: &'static str) -> String;
    fn optional_reference(&mut self, key: Key, group: Group) -> Option<String>;
    fn references(&mut self, key: Key, group: Group) -> Vec<String>;
    /// A table that must be there.
    fn table<T: Table + Default>(&mut self, key: Key) -> T;
    fn optional_table<T: Table>(&mut self, key: Key) -> Option<T>;
    /// A table that is asked for its defaults where it is left out.
    fn table_of_defaults<T: Table>(&mut self, key: Key) -> T;
    /// The tables under a key, each named by its id, in the order of the file.
    fn named<T: Table>(&mut self, key: Key) -> Vec<T>;
    /// The tables in a list, in its order.
    fn listed<T: Table>(&mut self, key: Key) -> Vec<T>;
}

/// Declares a table: its struct, and the question behind every field. A field whose key has another name says `as "key"`.
macro_rules! table {
    ($(#[doc = $about:literal])+ $(#[derive($($derive:ident),+)])? $table:ident {
        $($(#[doc = $doc:literal])+ $field:ident $(as $key:literal)? : $type:ty = $ask:ident($($argument:expr),*);)+
    }) => {
        $(#[doc = $about])+
        #[derive(Clone, Debug, PartialEq $($(, $derive)+)?)]
        pub struct $table {
            $($(#[doc = $doc])+ pub $field: $type,)+
        }

        impl $crate::plan::source::Table for $table {
            const NAME: &'static str = stringify!($table);
            const ABOUT: &'static str = concat!($($about),+).trim_ascii_start();

            fn ask(source: &mut impl $crate::plan::source::Source) -> $table {
                $table {
                    $($field: source.$ask(
                        $crate::plan::source::Key {
                            name: table!(@key $field $($key)?),
                            about: concat!($($doc),+).trim_ascii_start(),
                        }
                        $(, $argument)*
                    ),)+
                }
            }
        }
    };
    (@key $field:ident) => { stringify!($field) };
    (@key $field:ident $key:literal) => { $key };
}

/// Declares a fixed list of words.
macro_rules! words {
    ($(#[doc = $about:literal])+ $words:ident {
        $($(#[doc = $doc:literal])+ $word:ident = $spelled:literal;)+
    }) => {
        $(#[doc = $about])+
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $words { $($(#[doc = $doc])+ $word,)+ }

        impl $crate::plan::source::Word for $words {
            const WORDS: &'static [(&'static str, $words, &'static str)] =
                &[$(($spelled, $words::$word, concat!($($doc),+).trim_ascii_start())),+];
        }

        impl $words {
            /// The word as a plan spells it.
            pub fn spelled(self) -> &'static str {
                match self { $($words::$word => $spelled),+ }
            }
        }
    };
}

pub(super) use {table, words};
