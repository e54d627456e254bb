//! Writes down what every table asks for: the JSON Schema of a plan file, and a reference for people.
//!
//! Nothing here is written twice: the describer answers the same questions as the reader, with stand-ins and defaults, and
//! keeps what was asked. The schema accepts everything that the reader accepts; what holds between several keys, such as a
//! name that leads nowhere, only the reader can say.

use chrono::NaiveDate;
use serde_json::{Map, Value, json};

use super::fields::in_code;
use super::model::{Holding, Plan, ThreePoint};
use super::source::{Group, Key, Source, Table, Word};
use super::values::{QUANTITY_MAX, TEXT_MAX};
use crate::units::{Limit, Millis, Quantity, Written};

/// What one key takes.
struct Described {
    key: Key,
    required: bool,
    /// What a person writes, e.g. `length such as "12 m"`.
    takes: String,
    schema: Value,
    /// The table that it leads to, and its header after that of the table it stands in.
    leads_to: Option<(&'static str, String)>,
}

/// A table as it was described: its name, what it is, its keys.
type DescribedTable = (&'static str, &'static str, Vec<Described>);

/// Answers every question with nothing, or the default, and keeps what was asked.
#[derive(Default)]
pub(super) struct Describer {
    keys: Vec<Described>,
    /// Tables that were met on the way, each after those that it holds.
    tables: Vec<DescribedTable>,
}

impl Describer {
    fn note(&mut self, key: Key, required: bool, takes: impl Into<String>, schema: Value) {
        self.keys.push(Described {
            key,
            required,
            takes: takes.into(),
            schema,
            leads_to: None,
        });
    }

    /// Notes a key that leads to a table of its own.
    fn lead<T: Table>(&mut self, key: Key, required: bool, header: &str, schema: Value) {
        self.note(key, required, "", schema);
        let header = header.replace("KEY", key.name);
        if let Some(noted) = self.keys.last_mut() {
            noted.leads_to = Some((T::NAME, header));
        }
    }

    /// Asks a table in turn, once, and gives the reference to it and what it read.
    fn meet<T: Table>(&mut self) -> (Value, T) {
        let mut below = Describer::default();
        let read = T::ask(&mut below);
        for table in below.tables {
            if !self.tables.iter().any(|(name, ..)| *name == table.0) {
                self.tables.push(table);
            }
        }
        if !self.tables.iter().any(|(name, ..)| *name == T::NAME) {
            self.tables.push((T::NAME, T::ABOUT, below.keys));
        }
        (refer(T::NAME), read)
    }
}

fn refer(table: &str) -> Value {
    json!({ "$ref": format!("#/$defs/{table}") })
}

/// One line of text that is not blank.
fn line() -> Value {
    let pattern = r"^(?=[\s\S]*\S)[^\u0000-\u001f\u007f-\u009f]*$";
    json!({ "type": "string", "pattern": pattern, "maxLength": TEXT_MAX })
}

fn list(items: Value) -> Value {
    json!({ "type": "array", "items": items })
}

fn id_pattern() -> &'static str {
    "^[A-Za-z0-9_-]{1,64}$"
}

/// A number with its unit, or several from the largest unit to the smallest.
fn quantity<Q: Quantity>(signed: bool) -> Value {
    let mut units = Q::UNITS.to_vec();
    units.sort_by_key(|unit| std::cmp::Reverse(unit.parts));
    let parts = units.iter().map(|unit| {
        let sign = unit.sign;
        format!(r"([0-9]{{1,12}}(\.[0-9]{{1,9}})?\s*{sign}\s*)?")
    });
    let sign = if signed { "-?" } else { "" };
    let pattern = format!(r"^\s*{sign}\s*(?=[0-9]){}$", parts.collect::<String>());
    json!({ "type": "string", "pattern": pattern, "maxLength": QUANTITY_MAX })
}

fn example<Q: Quantity>(text: &str) -> String {
    let units: Vec<&str> = Q::UNITS.iter().map(|unit| unit.sign).collect();
    format!("a {} such as \"{text}\" ({})", Q::NAME, units.join(", "))
}

fn three_times() -> Value {
    json!({ "type": "array", "items": quantity::<Millis>(false), "minItems": 3, "maxItems": 3 })
}

fn spelled<W: Word>() -> (String, Value) {
    let words: Vec<&str> = W::WORDS.iter().map(|(word, ..)| *word).collect();
    let about: Vec<String> = W::WORDS
        .iter()
        .map(|(word, _, about)| format!("`{word}`: {about}"))
        .collect();
    (about.join(" "), json!({ "enum": words }))
}

const THREE: &str = r#"three times such as ["20 s", "45 s", "90 s"]"#;

impl Source for Describer {
    fn id(&mut self, _: Key) -> String {
        String::new()
    }

    fn text(&mut self, key: Key, example: &'static str) -> String {
        self.note(key, true, format!("a text such as \"{example}\""), line());
        String::new()
    }

    fn optional_text(&mut self, key: Key, example: &'static str) -> Option<String> {
        self.note(key, false, format!("a text such as \"{example}\""), line());
        None
    }

    fn texts(&mut self, key: Key, example: &'static str) -> Vec<String> {
        self.note(
            key,
            false,
            format!("a list of texts such as [\"{example}\"]"),
            list(line()),
        );
        Vec::new()
    }

    fn flag(&mut self, key: Key) -> bool {
        self.note(key, false, "true or false", json!({ "type": "boolean" }));
        false
    }

    fn count(&mut self, key: Key, default: u32) -> u32 {
        let schema =
            json!({ "type": "integer", "minimum": 1, "maximum": 10_000, "default": default });
        self.note(
            key,
            false,
            format!("a whole number, {default} where it is left out"),
            schema,
        );
        default
    }

    fn optional_count(&mut self, key: Key) -> Option<u32> {
        let schema = json!({ "type": "integer", "minimum": 1, "maximum": 10_000 });
        self.note(key, false, "a whole number", schema);
        None
    }

    fn quantity<Q: Quantity + Default>(&mut self, key: Key, text: &'static str) -> Q {
        self.note(key, true, example::<Q>(text), quantity::<Q>(false));
        Q::default()
    }

    fn optional_quantity<Q: Quantity>(&mut self, key: Key, text: &'static str) -> Option<Q> {
        self.note(key, false, example::<Q>(text), quantity::<Q>(false));
        None
    }

    fn signed<Q: Quantity + Default>(&mut self, key: Key, text: &'static str) -> Q {
        self.optional_signed::<Q>(key, text).unwrap_or_default()
    }

    fn optional_signed<Q: Quantity>(&mut self, key: Key, text: &'static str) -> Option<Q> {
        let takes = format!("{}, below zero too", example::<Q>(text));
        self.note(key, false, takes, quantity::<Q>(true));
        None
    }

    fn written<Q: Quantity>(&mut self, key: Key, text: &'static str) -> Option<Written<Q>> {
        self.note(key, false, example::<Q>(text), quantity::<Q>(false));
        None
    }

    fn setting<Q: Quantity>(&mut self, key: Key, default: &'static str) -> Q {
        let mut schema = quantity::<Q>(false);
        schema["default"] = json!(default);
        let takes = format!("a {}, \"{default}\" where it is left out", Q::NAME);
        self.note(key, false, takes, schema);
        in_code(default).value
    }

    fn limit<Q: Quantity>(&mut self, key: Key, default: &'static [&'static str]) -> Limit<Q> {
        let one = quantity::<Q>(false);
        let pair = json!({ "type": "array", "items": one, "minItems": 1, "maxItems": 2 });
        let schema = json!({ "anyOf": [one, pair], "default": default });
        let takes = format!(
            "a {} or a pair as published, [\"{}\"] where it is left out",
            Q::NAME,
            default.join("\", \"")
        );
        self.note(key, false, takes, schema);
        Limit {
            given: default.iter().map(|text| in_code(text)).collect(),
        }
    }

    fn three_point(&mut self, key: Key) -> ThreePoint {
        self.note(key, true, THREE, three_times());
        ThreePoint::default()
    }

    fn optional_three_point(&mut self, key: Key) -> Option<ThreePoint> {
        self.note(key, false, THREE, three_times());
        None
    }

    fn three_point_setting(&mut self, key: Key, default: [&'static str; 3]) -> ThreePoint {
        let mut schema = three_times();
        schema["default"] = json!(default);
        let takes = format!(
            "three times, [\"{}\"] where they are left out",
            default.join("\", \"")
        );
        self.note(key, false, takes, schema);
        let [short, likely, long] = default.map(|text| in_code(text).value);
        ThreePoint {
            short,
            likely,
            long,
        }
    }

    fn word<W: Word>(&mut self, key: Key) -> W {
        let (takes, schema) = spelled::<W>();
        self.note(key, true, takes, schema);
        W::WORDS[0].1
    }

    fn optional_word<W: Word>(&mut self, key: Key) -> Option<W> {
        let (takes, schema) = spelled::<W>();
        self.note(key, false, takes, schema);
        None
    }

    fn words<W: Word>(&mut self, key: Key) -> Vec<W> {
        let (takes, schema) = spelled::<W>();
        self.note(
            key,
            false,
            format!("a list of words. {takes}"),
            list(schema),
        );
        Vec::new()
    }

    fn date(&mut self, key: Key) -> Option<NaiveDate> {
        let schema = json!({ "type": "string", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$", "format": "date" });
        self.note(key, false, "a day such as \"2030-05-31\"", schema);
        None
    }

    fn point<Q: Quantity>(&mut self, key: Key) -> Option<[Q; 2]> {
        let schema =
            json!({ "type": "array", "items": quantity::<Q>(true), "minItems": 2, "maxItems": 2 });
        self.note(
            key,
            false,
            "two lengths such as [\"12 m\", \"30 m\"]",
            schema,
        );
        None
    }

    fn holdings(&mut self, key: Key) -> Vec<Holding> {
        let (table, _) = self.meet::<Holding>();
        let schema = list(json!({ "anyOf": [line(), table] }));
        let takes = "a list such as [{ name = \"rope rescue\", until = \"2030-05-31\" }]";
        self.note(key, false, takes, schema);
        Vec::new()
    }

    fn reference(&mut self, key: Key, group: Group, example: &'static str) -> String {
        self.note(
            key,
            true,
            format!("the id of a {} such as \"{example}\"", group.noun()),
            line(),
        );
        String::new()
    }

    fn optional_reference(&mut self, key: Key, group: Group) -> Option<String> {
        self.note(key, false, format!("the id of a {}", group.noun()), line());
        None
    }

    fn references(&mut self, key: Key, group: Group) -> Vec<String> {
        self.note(
            key,
            false,
            format!("a list of ids of a {}", group.noun()),
            list(line()),
        );
        Vec::new()
    }

    fn table<T: Table + Default>(&mut self, key: Key) -> T {
        let (schema, read) = self.meet::<T>();
        self.lead::<T>(key, true, "KEY", schema);
        read
    }

    fn optional_table<T: Table>(&mut self, key: Key) -> Option<T> {
        let (schema, _) = self.meet::<T>();
        self.lead::<T>(key, false, "KEY", schema);
        None
    }

    fn table_of_defaults<T: Table>(&mut self, key: Key) -> T {
        let (schema, read) = self.meet::<T>();
        self.lead::<T>(key, false, "KEY", schema);
        read
    }

    fn named<T: Table>(&mut self, key: Key) -> Vec<T> {
        let (schema, _) = self.meet::<T>();
        let all = json!({
            "type": "object",
            "propertyNames": { "pattern": id_pattern() },
            "additionalProperties": schema,
        });
        self.lead::<T>(key, false, "KEY.ID", all);
        Vec::new()
    }

    fn listed<T: Table>(&mut self, key: Key) -> Vec<T> {
        let (schema, _) = self.meet::<T>();
        self.lead::<T>(key, false, "[KEY]", list(schema));
        Vec::new()
    }
}

/// Asks the whole plan; its own table is the last one.
fn described() -> Vec<DescribedTable> {
    let mut all = Describer::default();
    all.meet::<Plan>();
    all.tables
}

fn object(about: &str, keys: &[Described]) -> Value {
    let properties: Map<String, Value> = keys
        .iter()
        .map(|it| {
            let mut schema = it.schema.clone();
            schema["description"] = json!(it.key.about);
            (it.key.name.to_owned(), schema)
        })
        .collect();
    let required: Vec<&str> = keys
        .iter()
        .filter(|it| it.required)
        .map(|it| it.key.name)
        .collect();
    json!({
        "type": "object",
        "description": about,
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    })
}

/// The JSON Schema (draft 2020-12) of a plan file, for the values that any TOML reader gives.
pub fn schema() -> Value {
    let mut tables = described();
    let (_, about, keys) = tables.pop().expect("the plan itself was described last");
    let mut whole = object(about, &keys);
    whole["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    whole["title"] = json!("Rescue plan, format 1");
    whole["properties"]["format"] =
        json!({ "const": 1, "description": "The version of this format." });
    if let Some(required) = whole["required"].as_array_mut() {
        required.insert(0, json!("format"));
    }
    let defs: Map<String, Value> = tables
        .iter()
        .map(|(name, about, keys)| ((*name).to_owned(), object(about, keys)))
        .collect();
    whole["$defs"] = Value::Object(defs);
    whole
}

/// The same for people: every table under its header, every key, what it takes, what it means.
pub fn reference() -> String {
    let tables = described();
    let mut out = String::from(
        "Rescue plan, format 1. The file begins with `format = 1`. What has a * must be there.\n",
    );
    if let Some(plan) = tables.last() {
        describe(&mut out, &tables, plan, "");
    }
    out
}

/// Writes down one table, then those that it leads to. `above` is the header of the table, without brackets.
fn describe(out: &mut String, tables: &[DescribedTable], table: &DescribedTable, above: &str) {
    let (_, about, keys) = table;
    if !above.is_empty() {
        out.push_str(&format!("\n[{above}]\n  {about}\n"));
    }
    for it in keys.iter().filter(|it| it.leads_to.is_none()) {
        let star = if it.required { "*" } else { "" };
        let (name, takes, about) = (it.key.name, &it.takes, it.key.about);
        out.push_str(&format!("  {name}{star}: {about}\n      {takes}\n"));
    }
    for it in keys {
        let Some((name, header)) = &it.leads_to else {
            continue;
        };
        let own = header.trim_matches(['[', ']']);
        // A list stands in double brackets, and inside a list of a list there is no header of its own.
        let path = match (above.trim_matches(['[', ']']), header.starts_with('[')) {
            ("", false) => own.to_owned(),
            ("", true) => format!("[{own}]"),
            (above, false) => format!("{above}.{own}"),
            (above, true) => format!("[{above}.{own}]"),
        };
        if let Some(below) = tables.iter().find(|(known, ..)| known == name) {
            describe(out, tables, below, &path);
        }
    }
}
