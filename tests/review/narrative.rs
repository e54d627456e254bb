//! Holds the stories to the ones that were read by a person: one text file for each journal and language in `tests/review/narrative`,
//! and one with everything else that is found.
//!
//! `GROUNDWARD_PICTURES=renew` writes them anew, to be read before they are kept.

use super::journals::journals;
use groundward::review::Account;
use groundward::units::Millis;
use groundward::words::{Language, Phrase, clock, label};
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

/// Everything else that is found, a line each.
fn facts(account: &Account) -> String {
    let english = Language::English;
    let said = |it: &Phrase| it.text(english);
    let at = |it: Option<Millis>| it.map_or_else(|| "-".to_owned(), clock);
    let mut lines = vec!["Measures".to_owned()];
    for it in &account.measures {
        let about = &it.about;
        let least = if it.at_least { " at least" } else { "" };
        lines.push(format!(
            "  {} {}: {}, since the fall{least} {}, expected {}, target {}  {about:?}",
            said(&it.name()),
            it.casualty,
            at(it.at),
            at(it.since_fall),
            at(it.expected),
            at(it.target)
        ));
    }
    lines.push("Estimates".to_owned());
    for it in &account.estimates {
        lines.push(format!(
            "  {} {}: from {}, expected {} to {} to {}, took {}{} {:?}{}  {:?}",
            said(&it.name),
            it.casualty,
            clock(it.from),
            at(it.low),
            clock(it.likely),
            at(it.high),
            clock(it.actual.time),
            if it.actual.ended { "" } else { " and more" },
            it.against(),
            if it.waiting { ", waiting counted" } else { "" },
            it.about
        ));
    }
    lines.push("Advice".to_owned());
    for it in &account.advice {
        let why = it.reason.as_ref().map(said);
        let did = it.did.as_ref().map(said);
        lines.push(format!(
            "  {} {:?} {}: {} ({}) {:?}: {}, {}  {:?}",
            clock(it.at),
            it.advised,
            it.casualty,
            said(&it.said),
            why.unwrap_or_default(),
            it.answer,
            did.unwrap_or_default(),
            at(it.done_at),
            it.about
        ));
    }
    lines.push("Open".to_owned());
    for it in &account.open {
        let (from, to) = (clock(it.from), at(it.to));
        lines.push(format!(
            "  {from} to {to} {:?} {}: {}  {:?}",
            it.kind,
            it.casualty,
            said(&it.text),
            it.about
        ));
    }
    lines.push("Gaps".to_owned());
    for it in &account.gaps {
        let (from, to) = (clock(it.from), clock(it.to));
        lines.push(format!(
            "  {from} to {to} {:?}: {}  {:?}",
            it.kind,
            said(&it.text),
            it.about
        ));
    }
    lines.join("\n") + "\n"
}

#[test]
fn every_story_is_the_one_that_was_read() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/review/narrative");
    let renew = std::env::var("GROUNDWARD_PICTURES").is_ok_and(|v| v == "renew");
    let mut differing = Vec::new();
    for (name, records) in journals() {
        let account = Account::of(&records).expect("it was opened");
        let stories = Language::ALL_SPOKEN.map(|it| (it.tag(), text(&account, it)));
        let facts = [("facts", facts(&account))];
        for (kind, told) in stories.into_iter().chain(facts) {
            let file = folder.join(format!("{name}.{kind}.txt"));
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
