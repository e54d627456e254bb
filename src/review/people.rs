//! Gives every person in an incident a pseudonym, so that one can still follow who did what.
//!
//! They are numbered in the order in which they come up in what happened; those who never do come last. So a number says
//! nothing that the record does not, least of all where somebody stands in the roster.
//!
//! Limits: in a text, what the plan or the shift calls somebody is replaced wherever it stands as a word. A name that stands in
//! neither is not known.

use super::disclosed::{Class, class, is_told, leaves};
use crate::plan;
use serde_json::Value;

/// Who is in an incident, each with a pseudonym.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct People(Vec<Person>);

#[derive(Clone, Debug, PartialEq, Eq)]
struct Person {
    id: String,
    names: Vec<String>,
    pseudonym: String,
}

/// Who speaks where no person does.
const TABLET: &str = "tablet";

impl People {
    /// Everybody in these records.
    pub fn of(records: &[Value]) -> People {
        let mut known = named(records);
        let mut people = People::default();
        let is_opening = |it: &&Value| it["kind"] == "opened";
        let happened = records.iter().filter(|it| !is_opening(it));
        for record in happened.chain(records.iter().filter(is_opening)) {
            let kind = record["kind"].as_str().unwrap_or_default();
            let all = leaves(record).into_iter();
            let persons = all.filter(|it| is_told(record) && class(kind, &it.0) == Class::Person);
            for (_, value) in persons {
                if let Some(id) = value.as_str() {
                    people.meet(id, &mut known);
                }
            }
        }
        while let Some((id, _)) = known.first() {
            let id = id.clone();
            people.meet(&id, &mut known);
        }
        people
    }

    fn meet(&mut self, id: &str, known: &mut Vec<(String, String)>) {
        let is_named = |it: &(String, String)| it.0 == id || it.1 == id;
        let whose = known.iter().find(|it| it.0 == id);
        let whose = whose.or_else(|| known.iter().find(|it| is_named(it)));
        let is_nobody = id.is_empty() || (id == TABLET && whose.is_none());
        if is_nobody || self.pseudonym(id).is_some() {
            return;
        }
        let id = whose.map_or_else(|| id.to_owned(), |it| it.0.clone());
        let (own, rest) = known.drain(..).partition(|it| it.0 == id);
        *known = rest;
        let own: Vec<(String, String)> = own;
        self.0.push(Person {
            id,
            names: own.into_iter().map(|it| it.1).collect(),
            pseudonym: format!("person-{}", self.0.len().saturating_add(1)),
        });
    }

    /// The pseudonym of somebody, by id or by name.
    pub fn pseudonym(&self, person: &str) -> Option<&str> {
        let all = || self.0.iter();
        let found = all().find(|it| it.id == person);
        let found = found.or_else(|| all().find(|it| it.names.iter().any(|name| name == person)));
        found.map(|it| it.pseudonym.as_str())
    }

    /// True where a text names somebody.
    pub fn is_named_in(&self, text: &str) -> bool {
        self.words().any(|(word, _)| find(text, word, 0).is_some())
    }

    /// A text with a pseudonym in the place of everybody whom it names.
    pub fn nameless(&self, text: &str) -> String {
        let mut words: Vec<(&str, &str)> = self.words().collect();
        // A name may stand in another one.
        words.sort_by_key(|(word, _)| std::cmp::Reverse(word.len()));
        let mut text = text.to_owned();
        for (word, pseudonym) in words {
            let mut from = 0;
            while let Some((start, end)) = find(&text, word, from) {
                text.replace_range(start..end, pseudonym);
                from = start.saturating_add(pseudonym.len());
            }
        }
        text
    }

    fn words(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().flat_map(|it| {
            let words = it.names.iter().chain(std::iter::once(&it.id));
            words
                .filter(|word| !word.trim().is_empty())
                .map(|word| (word.trim(), it.pseudonym.as_str()))
        })
    }
}

/// Ids with the names that the plan and the shift of an incident give them.
fn named(records: &[Value]) -> Vec<(String, String)> {
    let mut named: Vec<(String, String)> = Vec::new();
    let mut add = |id: Option<&str>, name: Option<&str>| {
        if let Some(id) = id.filter(|it| !it.is_empty()) {
            named.push((id.to_owned(), name.unwrap_or(id).to_owned()));
        }
    };
    for opened in records.iter().filter(|it| it["kind"] == "opened") {
        let body = &opened["body"];
        let text = |value: &'_ Value| value.as_str().map(str::to_owned);
        let (name, bytes) = (text(&body["plan_name"]), text(&body["plan"]));
        if let Some(plan) = plan::fit(&name.unwrap_or_default(), &bytes.unwrap_or_default()) {
            for it in &plan.responders {
                add(Some(&it.id), Some(&it.name));
            }
            for worker in plan.positions.iter().flat_map(|it| &it.workers) {
                add(Some(worker), None);
            }
        }
        let visitors = body["shift"]["visitors"].as_array();
        for it in visitors.into_iter().flatten() {
            add(it["id"].as_str(), it["name"].as_str());
        }
        add(
            body["approval"]["by"].as_str(),
            body["approval"]["name"].as_str(),
        );
    }
    named
}

/// Where a word stands in a text from some place on, in whatever case.
fn find(text: &str, word: &str, from: usize) -> Option<(usize, usize)> {
    let starts = text.char_indices().filter(|(at, _)| *at >= from);
    let mut before = text[..from].chars().next_back();
    for (start, first) in starts {
        let is_start = before.is_none_or(|it| !it.is_alphanumeric());
        before = Some(first);
        if !is_start {
            continue;
        }
        if let Some(end) = end_of(text, start, word) {
            return Some((start, end));
        }
    }
    None
}

/// Where a word ends that begins here.
fn end_of(text: &str, start: usize, word: &str) -> Option<usize> {
    let mut rest = text[start..].char_indices();
    for wanted in word.chars() {
        let (_, found) = rest.next()?;
        if !found.to_lowercase().eq(wanted.to_lowercase()) {
            return None;
        }
    }
    let next = rest.next();
    let is_end = next.is_none_or(|(_, it)| !it.is_alphanumeric());
    let end = next.map_or(text.len(), |(at, _)| start.saturating_add(at));
    is_end.then_some(end)
}
