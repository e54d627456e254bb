//! Writes a plan anew without what it says of the people in it, so that a rescue can be told without naming anybody.
//!
//! Of the roster stays who may do what and where each one is; names, employers, languages, weights and papers go, and so do
//! comments, which hold anything. Texts are handed to whoever knows how to take names out of them.
//!
//! Limits: an id of something else that is made from somebody's name stays, because everything refers to it. What comes out
//! is read again; where it is no plan any more, there is none.

use super::read;
use std::collections::BTreeSet;
use toml_edit::{Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, Value};

/// What of somebody in the roster is kept, beside the name.
const KEPT: [&str; 4] = ["name", "place", "may_work_alone", "competent"];

/// The plan with other ids in the place of the responders', and with every text as `text` gives it back.
pub fn nameless(
    plan: &str,
    responder: impl Fn(&str) -> String,
    text: impl Fn(&str) -> String,
) -> Option<String> {
    let document: DocumentMut = plan.parse().ok()?;
    let mut ids = BTreeSet::new();
    collect_ids(document.as_table(), &mut ids);
    let writer = Writer {
        ids,
        responder: &responder,
        text: &text,
    };
    let table = writer.table(document.as_table(), &mut Vec::new());
    let written = DocumentMut::from(table).to_string();
    read("", written.as_bytes()).plan.map(|_| written)
}

/// The ids of everything else than responders: a text that is one of them refers to it.
fn collect_ids(table: &Table, ids: &mut BTreeSet<String>) {
    for (name, item) in table {
        ids.insert(name.to_owned());
        match item {
            Item::Table(table) if name != "responder" => collect_ids(table, ids),
            Item::ArrayOfTables(tables) => tables.iter().for_each(|it| collect_ids(it, ids)),
            _ => {}
        }
    }
}

struct Writer<'w> {
    ids: BTreeSet<String>,
    responder: &'w dyn Fn(&str) -> String,
    text: &'w dyn Fn(&str) -> String,
}

impl Writer<'_> {
    fn table(&self, table: &Table, path: &mut Vec<String>) -> Table {
        let mut written = Table::new();
        for (name, item) in table {
            path.push(name.to_owned());
            if is_kept(path) {
                written.insert(&self.key(path), self.item(item, path));
            }
            path.pop();
        }
        written
    }

    fn item(&self, item: &Item, path: &mut Vec<String>) -> Item {
        match item {
            Item::Table(table) => Item::Table(self.table(table, path)),
            Item::ArrayOfTables(tables) => {
                let all = tables.iter().map(|it| self.table(it, path));
                Item::ArrayOfTables(all.collect::<ArrayOfTables>())
            }
            Item::Value(value) => Item::Value(self.value(value, path)),
            Item::None => Item::None,
        }
    }

    fn value(&self, value: &Value, path: &mut Vec<String>) -> Value {
        match value {
            Value::String(text) => Value::from(self.string(text.value(), path)),
            Value::Integer(number) => Value::from(*number.value()),
            Value::Float(number) => Value::from(*number.value()),
            Value::Boolean(flag) => Value::from(*flag.value()),
            Value::Datetime(date) => Value::from(*date.value()),
            Value::Array(items) => {
                let all = items.iter().map(|it| self.value(it, path));
                Value::Array(all.collect::<Array>())
            }
            Value::InlineTable(members) => {
                let mut written = InlineTable::new();
                for (name, value) in members {
                    path.push(name.to_owned());
                    if is_kept(path) {
                        written.insert(self.key(path), self.value(value, path));
                    }
                    path.pop();
                }
                Value::InlineTable(written)
            }
        }
    }

    fn key(&self, path: &[String]) -> String {
        match path {
            [group, id] if group == "responder" => (self.responder)(id),
            [.., name] => name.clone(),
            [] => String::new(),
        }
    }

    fn string(&self, text: &str, path: &[String]) -> String {
        let path: Vec<&str> = path.iter().map(String::as_str).collect();
        match path[..] {
            ["responder", id, "name"] => (self.responder)(id),
            ["position", _, "workers" | "watched_by"] | ["position", _, "hazard", _, "by"] => {
                (self.responder)(text)
            }
            _ if self.ids.contains(text) => text.to_owned(),
            _ => (self.text)(text),
        }
    }
}

/// False for what is known of a person and nobody needs to follow a rescue.
fn is_kept(path: &[String]) -> bool {
    let path: Vec<&str> = path.iter().map(String::as_str).collect();
    match path[..] {
        ["site", name] => !matches!(name, "approved_by" | "call_back"),
        ["responder", _, name, ..] => KEPT.contains(&name),
        _ => true,
    }
}
