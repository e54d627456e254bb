//! Makes every text a person reads or hears from a message id and its arguments.
//!
//! One catalogue per language, each a `match` over all ids, so that a text missing in a language does not compile; the
//! pseudo-language is made from English.
//! Screens, reports and the record all ask here; a text that a plan's author wrote passes through as an argument.
//! Knows no state, no clock and no screen.

mod en;
mod es;
mod fold;
mod ids;
mod numbers;
mod phrase;
mod pseudo;

pub use fold::{fold, fold_into};
pub use ids::Id;
pub use numbers::{ago, clock, date_and_time, metres, seconds, wall_time, wind};
pub use phrase::Phrase;

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

/// A language the program speaks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Language {
    /// English.
    #[default]
    #[serde(rename = "en")]
    English,
    /// Spanish.
    #[serde(rename = "es")]
    Spanish,
    /// No language: English made longer and strange, to see what a translation does to a screen.
    #[serde(rename = "qps")]
    Pseudo,
}

impl Language {
    /// The languages that people can choose.
    pub const ALL_SPOKEN: [Language; 2] = [Language::English, Language::Spanish];

    /// The language's tag as BCP 47 has it; the pseudo-language has one from the range for private use.
    pub fn tag(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::Spanish => "es",
            Language::Pseudo => "qps-ploc",
        }
    }

    /// What the language calls itself, because whoever looks for it may read no other.
    pub fn name(self) -> &'static str {
        match self {
            Language::English => "English",
            Language::Spanish => "Español",
            Language::Pseudo => "Pseudo",
        }
    }

    /// The spoken language that a switch goes to from here; after the last comes the first.
    pub fn next(self) -> Language {
        let all = Language::ALL_SPOKEN;
        let next = all
            .iter()
            .position(|it| *it == self)
            .map_or(0, |i| (i + 1) % all.len());
        all[next]
    }

    fn template(self, id: Id) -> Cow<'static, str> {
        match self {
            Language::English => Cow::Borrowed(en::text(id)),
            Language::Spanish => Cow::Borrowed(es::text(id)),
            Language::Pseudo => Cow::Owned(pseudo::text(en::text(id))),
        }
    }
}

/// Something to say, still without a language.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Which text.
    pub id: Id,
    /// What stands at `{0}`, `{1}` and so on.
    pub args: Vec<String>,
}

impl Message {
    /// A text without arguments.
    pub fn of(id: Id) -> Message {
        Message {
            id,
            args: Vec::new(),
        }
    }

    /// A text with arguments.
    pub fn with<const N: usize>(id: Id, args: [&str; N]) -> Message {
        Message {
            id,
            args: args.iter().map(|a| (*a).to_owned()).collect(),
        }
    }

    /// A text exactly as the plan's author wrote it.
    pub fn written(text: &str) -> Message {
        Message::with(Id::AsWritten, [text])
    }

    /// The text in a language.
    pub fn text(&self, language: Language) -> String {
        fill(&language.template(self.id), &self.args)
    }
}

/// The text of an id that takes no arguments.
pub fn label(id: Id, language: Language) -> String {
    Message::of(id).text(language)
}

/// Replaces `{0}` to `{9}`. `{^0}` does the same and starts with a capital letter, for plan texts that open a sentence.
fn fill(template: &str, args: &[String]) -> String {
    let mut out = String::with_capacity(template.len() + 24);
    let mut rest = template;
    while let Some(open) = rest.find('{') {
        let (before, tail) = rest.split_at(open);
        out.push_str(before);
        let Some(close) = tail.find('}') else { break };
        let name = &tail[1..close];
        let (capital, digits) = match name.strip_prefix('^') {
            Some(digits) => (true, digits),
            None => (false, name),
        };
        let arg = digits
            .parse::<usize>()
            .ok()
            .and_then(|n| args.get(n))
            .map_or("", String::as_str);
        match (capital, arg.chars().next()) {
            (true, Some(first)) => {
                out.extend(first.to_uppercase());
                out.push_str(&arg[first.len_utf8()..]);
            }
            _ => out.push_str(arg),
        }
        rest = &tail[close + 1..];
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arguments_stand_where_the_template_says() {
        let args = vec!["Rua".to_owned(), "ladder to the hatch".to_owned()];
        assert_eq!(fill("{0}: {1}.", &args), "Rua: ladder to the hatch.");
        assert_eq!(fill("{^1}.", &args), "Ladder to the hatch.");
        assert_eq!(fill("{7}|", &args), "|");
    }

    const LANGUAGES: [Language; 3] = [Language::English, Language::Spanish, Language::Pseudo];

    /// What stands between braces, or nothing where a brace has no partner.
    fn arguments(template: &str) -> Option<Vec<&str>> {
        let mut parts = template.split('{');
        let mut names = Vec::new();
        if parts.next()?.contains('}') {
            return None;
        }
        for part in parts {
            let (name, after) = part.split_once('}')?;
            if after.contains('}') {
                return None;
            }
            names.push(name);
        }
        Some(names)
    }

    #[test]
    fn every_text_fills_only_arguments_it_can_have() {
        assert_eq!(arguments("{0} and {^1}"), Some(vec!["0", "^1"]));
        for broken in ["{0", "0}", "{0}}", "{{0}"] {
            assert_eq!(arguments(broken), None, "{broken}");
        }
        for (id, language) in LANGUAGES
            .iter()
            .flat_map(|it| Id::ALL.iter().map(|id| (*id, *it)))
        {
            let template = language.template(id);
            let place = format!("{} in {}", id.as_str(), language.tag());
            assert!(!template.is_empty(), "{place} has no text");
            let names = arguments(&template).expect(&place);
            for name in names {
                let digit = name.strip_prefix('^').unwrap_or(name);
                assert!(
                    matches!(digit.as_bytes(), [b'0'..=b'9']),
                    "{place}: {{{name}}}"
                );
            }
        }
    }

    #[test]
    fn a_switch_goes_round_the_spoken_languages() {
        assert_eq!(Language::English.next(), Language::Spanish);
        assert_eq!(Language::Spanish.next(), Language::English);
        assert_eq!(Language::Pseudo.next(), Language::English);
    }

    #[test]
    fn ids_are_unique() {
        let mut names: Vec<_> = Id::ALL.iter().map(|id| id.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), Id::ALL.len());
    }
}
