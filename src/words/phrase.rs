//! Keeps a sentence without its language: a text by its id, and what stands in it, which may be such a text again.
//!
//! A drill's outcome and the actions of a review are kept for years and read in any language, so no rendered text is kept. What a plan's
//! author wrote is kept as written. An id that this version does not know shows what stands in it.

use super::{Id, Language, Message};
use serde::{Deserialize, Serialize};

/// A sentence, or a part of one.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Phrase {
    /// As somebody wrote it: a name, a time, a line of a plan.
    Written(String),
    /// A text of the program.
    Said {
        /// Its id as the record spells it.
        say: String,
        /// What stands in it.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        with: Vec<Phrase>,
    },
}

impl Phrase {
    /// A text without anything in it.
    pub fn of(id: Id) -> Phrase {
        Phrase::with(id, [])
    }

    /// A text with these parts.
    pub fn with<const N: usize>(id: Id, with: [Phrase; N]) -> Phrase {
        Phrase::Said {
            say: id.as_str().to_owned(),
            with: with.into(),
        }
    }

    /// The text it is made from, where this version knows it.
    pub fn id(&self) -> Option<Id> {
        match self {
            Phrase::Written(_) => None,
            Phrase::Said { say, .. } => Id::ALL.iter().copied().find(|id| id.as_str() == say),
        }
    }

    /// The sentence, its parts put into this language.
    pub fn message(&self, language: Language) -> Message {
        let parts = match self {
            Phrase::Written(text) => return Message::written(text),
            Phrase::Said { with, .. } => with.iter().map(|it| it.text(language)),
        };
        match self.id() {
            Some(id) => Message {
                id,
                args: parts.collect(),
            },
            None => Message::written(&parts.collect::<Vec<_>>().join(", ")),
        }
    }

    /// The sentence in this language.
    pub fn text(&self, language: Language) -> String {
        self.message(language).text(language)
    }
}

/// For messages whose arguments stand in no language: names, times, what a plan's author wrote.
impl From<Message> for Phrase {
    fn from(message: Message) -> Phrase {
        Phrase::Said {
            say: message.id.as_str().to_owned(),
            with: message.args.into_iter().map(Phrase::Written).collect(),
        }
    }
}

impl From<&str> for Phrase {
    fn from(text: &str) -> Phrase {
        Phrase::Written(text.to_owned())
    }
}

impl From<String> for Phrase {
    fn from(text: String) -> Phrase {
        Phrase::Written(text)
    }
}
