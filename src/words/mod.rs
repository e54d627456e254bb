//! Makes every text a person reads or hears from a message id and its arguments.
//!
//! One catalogue per language, each a `match` over all ids, so that a text missing in a language does not compile.
//! Screens, reports and the record all ask here; a text that a plan's author wrote passes through as an argument.
//! Knows no state, no clock and no screen.

mod en;
mod ids;
mod numbers;

pub use ids::Id;
pub use numbers::{ago, clock, date_and_time, metres, seconds, wall_time};

use serde::{Deserialize, Serialize};

/// A language the program speaks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Language {
    /// English.
    #[default]
    #[serde(rename = "en")]
    English,
}

impl Language {
    /// The language's tag as BCP 47 has it.
    pub fn tag(self) -> &'static str {
        match self {
            Language::English => "en",
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
        let template = match language {
            Language::English => en::text(self.id),
        };
        fill(template, &self.args)
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

    #[test]
    fn every_text_fills_only_arguments_it_can_have() {
        for id in Id::ALL {
            let text = en::text(*id);
            assert!(!text.is_empty(), "{} has no text", id.as_str());
            assert_eq!(
                text.matches('{').count(),
                text.matches('}').count(),
                "{}",
                id.as_str()
            );
        }
    }

    #[test]
    fn ids_are_unique() {
        let mut names: Vec<_> = Id::ALL.iter().map(|id| id.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), Id::ALL.len());
    }
}
