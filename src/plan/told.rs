//! Holds what a plan file says: every answer as written and as it is meant.

use std::borrow::Cow;

/// What a table says.
#[derive(Clone, Debug, Default)]
pub(super) struct Told {
    /// Its own key; empty for an item of a list.
    pub(super) id: String,
    /// In the order in which the keys are declared, then what no key is known for.
    pub(super) keys: Vec<(Cow<'static, str>, Says)>,
}

/// What a key says.
#[derive(Clone, Debug)]
pub(super) enum Says {
    /// One value.
    One(Said),
    /// Shortest, likeliest and longest time.
    Times([Said; 3]),
    /// Several values.
    Many {
        said: Vec<Said>,
        /// True where their order means something.
        in_order: bool,
    },
    /// A table, if it is there.
    Table(Option<Told>),
    /// Tables with ids.
    Named(Vec<Told>),
    /// Tables in a list.
    Listed {
        told: Vec<Told>,
        /// The key that tells one of them from another.
        by: &'static str,
        /// True where their order means something.
        in_order: bool,
    },
}

/// A value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Said {
    pub(super) meaning: Meaning,
    /// As it stands in the file; nothing where it is left out.
    pub(super) written: Option<String>,
    /// What counts where it is left out.
    pub(super) default: Option<String>,
}

/// What a value means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Meaning {
    /// It is left out, and there is no default.
    Nothing,
    /// Alike where the texts are.
    Is(String),
    /// It names something; the table that the id is a key of, and the id.
    Names(&'static str, String),
    /// It could not be read.
    Unread(String),
}

impl Told {
    /// What a key says.
    pub(super) fn says(&self, key: &str) -> Option<&Says> {
        self.keys
            .iter()
            .find(|(name, _)| name == key)
            .map(|(_, says)| says)
    }

    /// A value as it is written.
    pub(super) fn written(&self, key: &str) -> Option<&str> {
        match self.says(key)? {
            Says::One(said) => said.written.as_deref(),
            _ => None,
        }
    }

    /// A value without the quotes around a text.
    pub(super) fn plain(&self, key: &str) -> Option<&str> {
        self.written(key).map(|text| {
            text.strip_prefix('"')
                .and_then(|it| it.strip_suffix('"'))
                .unwrap_or(text)
        })
    }

    /// The tables with ids under a key.
    pub(super) fn named(&self, key: &str) -> &[Told] {
        match self.says(key) {
            Some(Says::Named(told)) => told,
            _ => &[],
        }
    }
}

impl Said {
    /// A value that is there.
    pub(super) fn new(meaning: Meaning, written: String) -> Said {
        Said {
            meaning,
            written: Some(written),
            default: None,
        }
    }

    /// A value that is left out, which means nothing.
    pub(super) fn nothing() -> Said {
        Said {
            meaning: Meaning::Nothing,
            written: None,
            default: None,
        }
    }

    /// A value that is left out, which means a default.
    pub(super) fn default(meaning: String, shown: impl Into<String>) -> Said {
        Said {
            meaning: Meaning::Is(meaning),
            written: None,
            default: Some(shown.into()),
        }
    }
}
