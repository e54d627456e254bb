//! Says what may stand at a dotted path of a plan file, from the schema that the reader follows as well.
//!
//! An edit has to know whether a path is a table with an id, a list or a text; the schema says so for every key, so there
//! is no second list of keys here. What the value itself must be like is left to the reader.

use std::sync::LazyLock;

use serde_json::Value;

/// What may stand somewhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    /// Tables that each have an id, such as `place`.
    Group,
    /// One table, such as `site` or `place.yard`.
    Table,
    /// A list whose items are tables, such as the steps of a method.
    Tables,
    /// A list of texts, in which a table may stand for a text.
    Texts {
        /// True for qualifications.
        or_tables: bool,
    },
    /// A text, word, date or quantity.
    Text {
        /// True where a list or a table may stand for it, as for a limit or a qualification.
        or_other: bool,
    },
    /// A number, a flag, a list of fixed length.
    Other,
}

static SCHEMA: LazyLock<Value> = LazyLock::new(super::schema);

/// What may stand at this path; nothing where a plan has no such key.
pub(super) fn shape(path: &[String]) -> Option<Shape> {
    let found = path
        .iter()
        .try_fold(&*SCHEMA, |here, part| step(here, part))?;
    let has_type = |schema: &Value, name: &str| schema["type"] == name;
    let is_table = |schema: &Value| schema["properties"].is_object();
    let alternatives = |schema: &'static Value| {
        schema["anyOf"]
            .as_array()
            .into_iter()
            .flatten()
            .map(resolve)
    };
    Some(if is_table(found) {
        Shape::Table
    } else if found["additionalProperties"].is_object() {
        Shape::Group
    } else if let Some(items) = found
        .get("items")
        .filter(|_| found.get("minItems").is_none())
    {
        let items = resolve(items);
        if is_table(items) {
            Shape::Tables
        } else {
            Shape::Texts {
                or_tables: alternatives(items).any(is_table),
            }
        }
    } else {
        let is_text = |schema: &Value| has_type(schema, "string") || schema["enum"].is_array();
        let or_other = alternatives(found).any(|it| !is_text(it));
        if is_text(found) || alternatives(found).any(is_text) {
            Shape::Text { or_other }
        } else {
            Shape::Other
        }
    })
}

/// True where the last part of this path is an id that the author chose.
pub(super) fn is_id(path: &[String]) -> bool {
    path.split_last()
        .is_some_and(|(_, above)| shape(above) == Some(Shape::Group))
}

fn step(here: &'static Value, part: &str) -> Option<&'static Value> {
    let below = here["properties"].get(part);
    let below = below.or_else(|| here.get("additionalProperties").filter(|it| it.is_object()));
    let is_number = part.bytes().all(|b| b.is_ascii_digit());
    let below = below.or_else(|| here.get("items").filter(|_| is_number));
    if let Some(below) = below {
        return Some(resolve(below));
    }
    let alternatives = here["anyOf"].as_array()?;
    alternatives.iter().find_map(|it| step(resolve(it), part))
}

fn resolve(schema: &'static Value) -> &'static Value {
    let name = schema["$ref"]
        .as_str()
        .and_then(|it| it.strip_prefix("#/$defs/"));
    name.map_or(schema, |name| &SCHEMA["$defs"][name])
}
