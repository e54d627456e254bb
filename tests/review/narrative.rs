//! Holds the stories to the ones that were read by a person: one text file for each journal and language in `tests/review/narrative`.
//!
//! `GROUNDWARD_PICTURES=renew` writes them anew, to be read before they are kept.

use super::journals::journals;
use groundward::review::Account;
use groundward::words::{Language, clock, label};
use std::fmt::Write;
use std::path::Path;

/// The story as a text: each sentence with its time and the records that it tells.
fn text(account: &Account, language: Language) -> String {
    let mut text = String::new();
    for chapter in &account.chapters {
        writeln!(text, "{}", label(chapter.heading, language)).expect("a text takes all");
        for sentence in &chapter.sentences {
            let about: Vec<String> = sentence.about.iter().map(u64::to_string).collect();
            let said = sentence.text.text(language);
            let at = clock(sentence.at);
            writeln!(text, "  {said}  [{at}; {}]", about.join(" ")).expect("a text takes all");
        }
    }
    text
}

#[test]
fn every_story_is_the_one_that_was_read() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/review/narrative");
    let renew = std::env::var("GROUNDWARD_PICTURES").is_ok_and(|v| v == "renew");
    let mut differing = Vec::new();
    for (name, records) in journals() {
        let account = Account::of(&records).expect("it was opened");
        for language in Language::ALL_SPOKEN {
            let file = folder.join(format!("{name}.{}.txt", language.tag()));
            let told = text(&account, language);
            if renew {
                std::fs::write(&file, &told).expect("it can be written");
            }
            let kept = std::fs::read_to_string(&file).unwrap_or_default();
            if kept != told {
                differing.push(format!("{}:\n{told}", file.display()));
            }
        }
    }
    assert!(differing.is_empty(), "{}", differing.join("\n"));
}
