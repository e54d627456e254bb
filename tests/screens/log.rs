//! Looks for incidents in a long log: by words on a keyboard, by touch, page by page.

use super::*;
use groundward::review::{Digest, Filter, Hung};
use groundward::signal::LogFound;

/// What the pool answers: the filter itself decides, over what the entries say.
pub(super) fn answer(tablet: &mut Tablet, filter: &Filter) {
    let snapshot = tablet.desk.engine.snapshot(&tablet.desk.now);
    let digest = |it: &LogEntry| Digest {
        drill: it.drill,
        site: site(it).to_owned(),
        closed: it.closed,
        tasks: it.tasks.clone(),
        casualties: vec![Hung {
            place: Some(it.place.clone()),
            ..Hung::default()
        }],
        ..Digest::default()
    };
    let wanted = snapshot.log.iter();
    let wanted = wanted.filter(|it| filter.admits(&it.incident, &digest(it)));
    let found = LogFound {
        filter: filter.clone(),
        entries: match *filter == Filter::default() {
            true => Vec::new(),
            false => wanted.cloned().collect(),
        },
        sites: vec!["North terminal".to_owned(), "R\u{ed}o Norte".to_owned()],
    };
    tablet.desk.take(Input::LogFound(found));
}

fn site(entry: &LogEntry) -> &'static str {
    match entry.place.contains("west") {
        true => "R\u{ed}o Norte",
        false => "North terminal",
    }
}

/// From the log to its filter and back.
pub(super) fn walk(tablet: &mut Tablet, at: &mut impl FnMut(&Tablet, &str)) {
    tablet.activate("Filter");
    at(tablet, "log filter");
    tablet.activate("Drills only");
    tablet.activate("Back");
    at(tablet, "log filtered");
    tablet.activate("Filter");
    tablet.activate("All");
    tablet.activate("Back");
}

/// A log of ten thousand, as the pool would hand it over.
fn long(tablet: &mut Tablet) {
    let entry = |number: usize| LogEntry {
        incident: format!("20310101T000000Z-{number:05}"),
        when: format!("2031-01-01 {number:05}"),
        place: match number % 100 {
            0 => format!("Galer\u{ed}a {number}"),
            _ => format!("Silo {number}"),
        },
        drill: number.is_multiple_of(2),
        closed: true,
        hung: Some("6:58".to_owned()),
        intact: true,
        filled: false,
        drilled: None,
        tasks: Vec::new(),
    };
    let log = (0..10_000).rev().map(entry).collect();
    tablet.desk.take(Input::Log(log));
    tablet.refresh();
}

fn write_text(tablet: &mut Tablet, text: &str) {
    for letter in text.chars() {
        tablet.key(&letter.to_string(), 5);
    }
    tablet.refresh();
}

fn rows(tablet: &Tablet) -> usize {
    State::get(&tablet.app).get_log_items().row_count()
}

#[test]
fn ten_thousand_incidents_are_turned_over_page_by_page_and_few_are_made_into_rows() {
    let mut tablet = Tablet::new(SCREENS[2]);
    tablet.activate("Log");
    long(&mut tablet);
    assert_eq!(State::get(&tablet.app).get_log_count(), 10_000);
    let mut seen = Vec::new();
    for _ in 0..60 {
        let titles = tablet.controls().into_iter();
        let titles = titles.filter_map(|it| it.accessible_label());
        let titles: Vec<String> = titles
            .map(|it| it.to_string())
            .filter(|it| it.starts_with("2031-01-01 "))
            .collect();
        assert!(!titles.is_empty(), "a page without incidents");
        seen.extend(titles);
        assert!(rows(&tablet) <= 96, "{} rows are made", rows(&tablet));
        tablet.activate("Earlier");
    }
    // Every incident once, in order, none left out between two pages.
    let expected = (0..10_000).rev().take(seen.len());
    let number = |it: usize| format!("2031-01-01 {it:05}");
    for (found, number) in seen.iter().zip(expected.map(number)) {
        assert!(found.starts_with(&number), "{found} where {number} belongs");
    }
    tablet.activate("Later");
    let label = seen[seen.len() - 1].clone();
    tablet.activate(&label);
    assert!(State::get(&tablet.app).get_log_title().contains("Silo"));
}

/// By keyboard: the field is reached by the tabulator; case and accents make no difference.
#[test]
fn words_are_looked_for_while_they_are_written() {
    let mut tablet = Tablet::new(SCREENS[2]);
    tablet.activate("Log");
    long(&mut tablet);
    tablet.key("\t", 10);
    write_text(&mut tablet, "GALERIA 77");
    // 7700 alone: a word is looked for in the whole of it.
    let found = State::get(&tablet.app).get_log_count();
    assert_eq!(found, 1, "`{}`", State::get(&tablet.app).get_log_search());
    tablet.says("1 of 10000");
    tablet.control("2031-01-01 07700, Galer\u{ed}a 7700");
    write_text(&mut tablet, "x");
    tablet.says("No incident is like that.");
    // Opened anew, the log has everything and the field is empty.
    tablet.activate("Back");
    tablet.activate("Log");
    assert_eq!(State::get(&tablet.app).get_log_search(), "");
}

/// What is chosen by touch counts together with what is written, and a page far behind does not stay empty.
#[test]
fn filters_are_chosen_by_touch_from_any_page() {
    let mut tablet = Tablet::new(SCREENS[2]);
    tablet.activate("Log");
    long(&mut tablet);
    for _ in 0..20 {
        tablet.touch("Earlier", 80);
    }
    tablet.touch("Filter", 80);
    tablet.touch("Drills only", 80);
    tablet.touch("Back", 80);
    assert_eq!(State::get(&tablet.app).get_log_count(), 5_000);
    tablet.control("2031-01-01 09998, Silo 9998");
    tablet.control("Filter, Drills only");
    // A log that comes anew is looked through anew.
    long(&mut tablet);
    assert_eq!(State::get(&tablet.app).get_log_count(), 5_000);
    tablet.touch("Filter", 80);
    tablet.touch("Site: R\u{ed}o Norte", 80);
    tablet.touch("Back", 80);
    tablet.says("No incident is like that.");
}
