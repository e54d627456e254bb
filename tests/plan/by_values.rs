//! Makes random edits, and the same change on the values that a TOML reader gives.
//!
//! That is the second way to the same end: the edited text must read as the changed values. The files to edit are the
//! built-in site and one that has every form that TOML allows, each with all line ends.

use std::ops::Range;

use groundward::plan::{DEMO, Edit, Edited, Values, edit};
use toml::{Table, Value};

use crate::support::Chance;

/// An invented site in every form that TOML allows, out of order.
pub(super) const AWKWARD: &str = r##"# Awkward on purpose: an invented site.
format = 1 # the only one
place.gate.name = 'the gate'
place.gate.level = "0" # dotted
place.gate.at = ["0 m", "-2 m"]
place.stair-head = { name = "the stair head", level = "2" }
outside_rescue = { brigade = { name = "fire service", height_capable = true } } # inline

[[position.roof.method.ladder.step]] # before its method
who = "first"
say = "bring the ladder to the edge"
done = """Ladder is there"""
time = ["20 s", "40 s", "80 s"]

    # Indented, with tables below the second step.
    [[position.roof.method.ladder.step]]
    who = 'first'
    say = "ask for a hand on the ladder"
    done = "Hand is on the ladder" # confirmed aloud
    time = [ "5 s",
             "10 s", # likeliest
             "30 s" ]
    near = true
    milestone = "first-contact"

        [[position.roof.method.ladder.step.fallback]]
        say = "call through the loudhailer"
        done = "Hand is on the ladder"

        [[position.roof.method.ladder.step.fallback]]
        who = "first"
        say = "lower a line to hold"
        done = "Hand is on the line"

[position.roof.method]
lift.name = "boom lift"
lift.rung = "mechanically-aided"
lift.change_after = "4 min"
lift.role.driver = { qualification = "boom lift", kit = "boom lift", place = "gate" }
lift.role.watch.place = "gate"
lift.step = [
    { who = "driver", say = "bring the basket up", done = "Basket is there", time = ["30 s", "60 s", "2 min"] },
    # the one that counts
    { who = "driver", say = "take the casualty in", done = "Casualty stands in the basket", time = ["20 s", "40 s", "90 s"], committed = true, milestone = "off-harness", fallback = [{ say = "use the hand pump", done = "Basket is up" }] }, # careful
    { say = "come down", done = "At the gate", time = ["20 s", "40 s", "90 s"], milestone = "landing" }
]

[[position.roof.method.ladder.step]]
who = "first"
say = "bring the casualty over the edge"
done = "Casualty lies on the roof"
time = ["20 s", "40 s", "80 s"]
milestone = "off-harness"
committed = true

[position."roof"]   # a quoted key
name = "Roof edge" # as spoken
place = "roof"
approach = 'stair-head'
landing = "gate"
workers = [
    "abe", # the first

    # the second
    "bea"
]
watched_by = ["cid", "dee",]
anchorage.name = "roof anchor 1"
anchorage . strength = "5000 lbf"
hazard = { fan = { name = "fan", kind = "moving-plant", task = "lock off the fan", done = "Fan is locked off", by = "cid" } }

[position.roof.method.ladder]
name = "ladder"
rung = "assisted-self-rescue"
change_after = "3 min 30 s"
needs = ["answering", "climbing"]

[position.roof.method.ladder.role.first]
kit = "ladder"
place = "roof"
# The end of the method, as a comment.

[site]
name = "Awkward yard (invented)"
revision = "1"
meeting_point = "the gate"
emergency_number = "112"
invented = true

[place.roof]
name = "the roof"
level = "2"

[link]
stair = { from = "gate", to = "stair-head", kind = "stairs", length = "20 m", rise = "10 m" }
walk . from = "stair-head"
walk . to = "roof"
walk . kind = "walk"
walk . length = "1200 cm"

# People.
[responder.abe]
name = "Abe"
place = "gate"
qualifications = [ "boom lift", { name = "first aid", until = "2036-05-31" } ]
[responder.bea]
name = "Bea"
place = "gate"
[responder.cid]
name = "Cid"
place = "roof"
languages = []
[responder.dee]
name = "Dee"
place = "gate"
qualifications = ["boom lift"]

[station.a]
place = "gate"
kit.ladder = { name = "ladder 1", kind = "ladder" }
kit.lift.name = "boom lift 1"
kit.lift.kind = "boom lift"
name = "station A"
"##;

/// Files to edit, each with what it shows.
pub(super) fn files() -> Vec<(&'static str, String)> {
    let crlf = |text: &str| text.replace('\n', "\r\n");
    vec![
        ("the demo", DEMO.to_owned()),
        ("the demo with CRLF", crlf(DEMO)),
        ("the demo without an end", DEMO.trim_end().to_owned()),
        ("the awkward file", AWKWARD.to_owned()),
        ("the awkward file with CRLF", crlf(AWKWARD)),
        (
            "the awkward file without an end",
            AWKWARD.trim_end().to_owned(),
        ),
        ("the awkward file with a mark", format!("\u{feff}{AWKWARD}")),
    ]
}

pub(super) fn set(path: &str, value: &str) -> Edit {
    Edit::Set {
        path: path.to_owned(),
        value: value.to_owned(),
    }
}

pub(super) fn item(path: &str, value: &str) -> Edit {
    Edit::Add {
        path: path.to_owned(),
        values: Values::Item(value.to_owned()),
    }
}

pub(super) fn table(path: &str, pairs: &[(&str, &str)]) -> Edit {
    let pairs = pairs
        .iter()
        .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()));
    Edit::Add {
        path: path.to_owned(),
        values: Values::Table(pairs.collect()),
    }
}

pub(super) fn remove(path: &str) -> Edit {
    Edit::Remove {
        path: path.to_owned(),
    }
}

pub(super) fn rename(path: &str, to: &str) -> Edit {
    Edit::Rename {
        path: path.to_owned(),
        to: to.to_owned(),
    }
}

pub(super) fn out_of_service(path: &str, why: &str) -> Edit {
    Edit::OutOfService {
        path: path.to_owned(),
        why: why.to_owned(),
    }
}

pub(super) fn in_service(path: &str) -> Edit {
    Edit::InService {
        path: path.to_owned(),
    }
}

#[track_caller]
pub(super) fn done(text: &str, edits: &[Edit]) -> Edited {
    match edit("site.toml", text, edits) {
        Ok(edited) => edited,
        Err(refusal) => panic!("{edits:?} is refused: {refusal}"),
    }
}

// The second way to the same end: values in place of text.

/// The values of a file, without tables and lists that are empty.
pub(super) fn values(text: &str) -> Value {
    let table: Table =
        toml::from_str(text.trim_start_matches('\u{feff}')).expect("the file is TOML");
    Value::Table(table)
}

pub(super) fn without_empty(value: &Value) -> Value {
    let is_empty = |value: &Value| match value {
        Value::Table(table) => table.is_empty(),
        Value::Array(list) => list.is_empty(),
        _ => false,
    };
    match value {
        Value::Table(table) => {
            let kept = table
                .iter()
                .map(|(key, value)| (key.clone(), without_empty(value)));
            Value::Table(kept.filter(|(_, value)| !is_empty(value)).collect())
        }
        Value::Array(list) => Value::Array(list.iter().map(without_empty).collect()),
        other => other.clone(),
    }
}

fn value_of(written: &str) -> Value {
    let table: Table = toml::from_str(&format!("value = {written}")).expect("the value is TOML");
    table["value"].clone()
}

fn place<'v>(root: &'v mut Value, path: &[&str]) -> &'v mut Value {
    path.iter().fold(root, |here, part| match here {
        Value::Array(list) => &mut list[part.parse::<usize>().expect("a number") - 1],
        Value::Table(table) => table
            .entry(*part)
            .or_insert_with(|| Value::Table(Table::new())),
        other => panic!("{part} is below {other:?}"),
    })
}

/// Where each kind of thing is named: not taken from the program, but from the format's reference.
const NAMED_IN: [(&str, &[&str]); 4] = [
    (
        "place",
        &[
            "place",
            "approach",
            "landing",
            "from",
            "to",
            "landing_places",
            "dead_spots",
        ],
    ),
    ("responder", &["workers", "watched_by", "by"]),
    ("outside_rescue", &["relies_on"]),
    ("role", &["who", "control"]),
];

fn rename_in(value: &mut Value, keys: &[&str], from: &str, to: &str) {
    let swap = |value: &mut Value| {
        if let Value::String(text) = value
            && text == from
        {
            *text = to.to_owned();
        }
    };
    match value {
        Value::Table(table) => {
            for (key, value) in table.iter_mut() {
                match value {
                    Value::Array(list) if keys.contains(&key.as_str()) => {
                        list.iter_mut().for_each(swap)
                    }
                    Value::String(_) if keys.contains(&key.as_str()) => swap(value),
                    other => rename_in(other, keys, from, to),
                }
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|it| rename_in(it, keys, from, to)),
        _ => {}
    }
}

/// Makes the change on values.
pub(super) fn apply(root: &mut Value, edit: &Edit) {
    let (Edit::Set { path, .. }
    | Edit::Add { path, .. }
    | Edit::Remove { path }
    | Edit::Rename { path, .. }
    | Edit::OutOfService { path, .. }
    | Edit::InService { path }) = edit;
    let parts: Vec<&str> = path.split('.').collect();
    let (last, above) = parts.split_last().expect("a path has a part");
    match edit {
        Edit::Set { value, .. } => *place(root, &parts) = value_of(value),
        Edit::Add { values, .. } => {
            let new = match values {
                Values::Item(value) => value_of(value),
                Values::Table(pairs) => {
                    let pairs = pairs
                        .iter()
                        .map(|(key, value)| (key.clone(), value_of(value)));
                    Value::Table(pairs.collect())
                }
            };
            match last.parse::<usize>() {
                Ok(number) => {
                    let list = place(root, above);
                    if !list.is_array() {
                        *list = Value::Array(Vec::new());
                    }
                    list.as_array_mut().expect("a list").insert(number - 1, new);
                }
                Err(_) => *place(root, &parts) = new,
            }
        }
        Edit::Remove { .. } => match place(root, above) {
            Value::Array(list) => drop(list.remove(last.parse::<usize>().expect("a number") - 1)),
            Value::Table(table) => drop(table.remove(*last)),
            other => panic!("{path} is below {other:?}"),
        },
        Edit::Rename { to, .. } => {
            let group = place(root, above).as_table_mut().expect("a group");
            let renamed = group.remove(*last).expect("it is there");
            group.insert(to.clone(), renamed);
            let kind = above[above.len() - 1];
            let around = if kind == "role" {
                place(root, &above[..above.len() - 1])
            } else {
                root
            };
            for (_, keys) in NAMED_IN.iter().filter(|(named, _)| *named == kind) {
                rename_in(around, keys, last, to);
            }
        }
        Edit::OutOfService { why, .. } => {
            place(root, &parts)
                .as_table_mut()
                .expect("a table")
                .insert("out_of_service".to_owned(), Value::String(why.clone()));
        }
        Edit::InService { .. } => drop(
            place(root, &parts)
                .as_table_mut()
                .expect("a table")
                .remove("out_of_service"),
        ),
    }
}

/// Every path of a file, with what stands there.
fn paths(value: &Value) -> Vec<(String, &Value)> {
    fn gather<'v>(value: &'v Value, path: &str, found: &mut Vec<(String, &'v Value)>) {
        let below = |part: &str| {
            if path.is_empty() {
                part.to_owned()
            } else {
                format!("{path}.{part}")
            }
        };
        match value {
            Value::Table(table) => table.iter().for_each(|(key, value)| {
                found.push((below(key), value));
                gather(value, &below(key), found);
            }),
            Value::Array(list) => list.iter().enumerate().for_each(|(index, value)| {
                let path = below(&(index + 1).to_string());
                found.push((path.clone(), value));
                gather(value, &path, found);
            }),
            _ => {}
        }
    }
    let mut found = Vec::new();
    gather(value, "", &mut found);
    found
}

fn any<'t, T>(chance: &mut Chance, of: &'t [T]) -> &'t T {
    let index = chance.below(u64::try_from(of.len()).expect("a length fits"));
    &of[usize::try_from(index).expect("an index fits")]
}

/// True where the path of a table is one of this kind, e.g. `station.*.kit.*`.
fn is_like(path: &str, pattern: &str) -> bool {
    let (path, pattern): (Vec<&str>, Vec<&str>) =
        (path.split('.').collect(), pattern.split('.').collect());
    path.len() == pattern.len()
        && path
            .iter()
            .zip(&pattern)
            .all(|(part, wanted)| *wanted == "*" || part == wanted)
}

/// Keys that may be left out, with a value.
const OPTIONAL: [(&str, &str, &str); 12] = [
    ("position.*", "moves", "\"one bay a day: check reach anew\""),
    ("position.*.method.*", "stop_if", "[\"the wind rises\"]"),
    ("position.*.method.*", "lowers", "true"),
    ("position.*.method.*.step.*", "fails_after", "'30 s'"),
    ("position.*.method.*.step.*", "caution", "\"Slowly.\""),
    ("station.*", "locked", "\"key \\\"7\\\" in the office\""),
    ("station.*.kit.*", "wind_max", "\"9 m/s\""),
    ("station.*.kit.*", "count", "3"),
    ("responder.*", "languages", "[\"en\", \"cy\"]"),
    ("link.*", "closed", "\"painters on it\""),
    ("place.*", "at", "[\"3 m\", \"-4 m\"]"),
    ("site", "gate", "\"west gate\""),
];

/// Tables that may be added, below which, and their keys.
type Addition = (
    &'static str,
    &'static str,
    &'static [(&'static str, &'static str)],
);
const ADDITIONS: [Addition; 7] = [
    (
        "station.*",
        "kit.zz-new",
        &[("name", "\"new thing\""), ("kind", "\"thing\"")],
    ),
    (
        "",
        "place.zz-new",
        &[("name", "\"the new place\""), ("level", "'7'")],
    ),
    (
        "",
        "responder.zz-new",
        &[("name", "\"Zed\""), ("place", "\"GATE\"")],
    ),
    (
        "position.*",
        "hazard.zz-new",
        &[
            ("name", "\"steam\""),
            ("kind", "\"other\""),
            ("task", "\"shut the valve\""),
            ("done", "\"Valve is shut\""),
        ],
    ),
    (
        "position.*.method.*",
        "role.zz-new",
        &[("place", "\"GATE\"")],
    ),
    (
        "position.*",
        "arrest",
        &[("kind", "\"lanyard\""), ("length", "\"6 ft\"")],
    ),
    (
        "position.*",
        "confined_space",
        &[("conditions", "[\"air tested\"]")],
    ),
];

/// An edit that may or may not be fit; quantities, words and names are changed alike.
fn random_edit(there: &[(String, &Value)], chance: &mut Chance) -> Edit {
    let tables: Vec<&String> = there
        .iter()
        .filter(|(_, value)| value.is_table())
        .map(|(path, _)| path)
        .collect();
    let gate = there
        .iter()
        .find_map(|(path, _)| path.strip_prefix("place."))
        .expect("there is a place");
    loop {
        let (path, value) = any(chance, there);
        match chance.below(9) {
            0 | 1 => {
                let other = match value {
                    Value::String(text)
                        if text.starts_with(|c: char| c.is_ascii_digit()) && text.contains(' ') =>
                    {
                        let unit = text.rsplit(' ').next().unwrap_or_default();
                        format!("'{} {unit}'", 1 + chance.below(60))
                    }
                    Value::String(text) if text.contains(' ') => {
                        format!("\"{} qq\"", text.replace(['"', '\\'], ""))
                    }
                    Value::String(_) => format!("\"{gate}\""),
                    Value::Boolean(flag) => (!flag).to_string(),
                    Value::Integer(_) => (2 + chance.below(7)).to_string(),
                    _ => continue,
                };
                return set(path, &other);
            }
            2 => {
                let (like, key, value) = any(chance, &OPTIONAL);
                let fit: Vec<&&String> = tables.iter().filter(|path| is_like(path, like)).collect();
                if fit.is_empty() {
                    continue;
                }
                return set(&format!("{}.{key}", any(chance, &fit)), value);
            }
            3 => {
                let (like, key, pairs) = any(chance, &ADDITIONS);
                let fit: Vec<&str> = if like.is_empty() {
                    vec![""]
                } else {
                    tables
                        .iter()
                        .map(|it| it.as_str())
                        .filter(|it| is_like(it, like))
                        .collect()
                };
                if fit.is_empty() {
                    continue;
                }
                let dot = if like.is_empty() { "" } else { "." };
                let path = format!("{}{dot}{key}", any(chance, &fit));
                let pairs = pairs
                    .iter()
                    .map(|(key, value)| ((*key).to_owned(), value.replace("GATE", gate)))
                    .collect();
                return Edit::Add {
                    path,
                    values: Values::Table(pairs),
                };
            }
            4 => {
                let Value::Array(list) = value else { continue };
                let number =
                    1 + chance.below(u64::try_from(list.len()).expect("a length fits") + 1);
                let path_of_item = format!("{path}.{number}");
                let say = format!("\"hold the line {number}\"");
                let steps = [
                    ("say", say.as_str()),
                    ("done", "\"Line is held\""),
                    ("time", "[\"1 s\", \"2 s\", \"3 s\"]"),
                ];
                return match path.rsplit('.').next().unwrap_or_default() {
                    "step" => table(&path_of_item, &steps),
                    "fallback" => table(&path_of_item, &steps[..2]),
                    "qualifications" => table(
                        &path_of_item,
                        &[("name", "\"winch\""), ("until", "\"2036-02-29\"")],
                    ),
                    "workers" | "watched_by" => item(&path_of_item, "\"zz-nobody\""),
                    "landing_places" | "dead_spots" => item(&path_of_item, &format!("'{gate}'")),
                    _ => item(&path_of_item, "\"one more\""),
                };
            }
            5 | 6 => return remove(path),
            7 => return rename(path, "zz-new"),
            _ => {
                let kit: Vec<&&String> = tables
                    .iter()
                    .filter(|path| is_like(path, "station.*.kit.*"))
                    .collect();
                let path = any(chance, &kit);
                return if chance.one_in(2) {
                    out_of_service(path, "hook \"bent\"")
                } else {
                    in_service(path)
                };
            }
        }
    }
}

/// Edits of a file that are done, each with its number.
pub(super) fn accepted(text: &str, seeds: Range<u64>) -> Vec<(u64, Edit, Edited)> {
    accepted_of(text, seeds, usize::MAX, |_| true)
}

/// The first so many edits of these kinds that are done.
pub(super) fn accepted_of(
    text: &str,
    seeds: Range<u64>,
    most: usize,
    wanted: impl Fn(&Edit) -> bool,
) -> Vec<(u64, Edit, Edited)> {
    let root = values(text);
    let there = paths(&root);
    let one = |seed: u64| {
        let asked = random_edit(&there, &mut Chance(seed));
        let edits = std::slice::from_ref(&asked);
        let edited = wanted(&asked).then(|| edit("site.toml", text, edits).ok())??;
        Some((seed, asked, edited))
    };
    seeds.filter_map(one).take(most).collect()
}

/// Paths of everything that has an id.
pub(super) fn ids(text: &str) -> Vec<String> {
    let groups = [
        "place",
        "link",
        "station",
        "responder",
        "position",
        "outside_rescue",
        "station.*.kit",
        "position.*.hazard",
        "position.*.method",
        "position.*.method.*.role",
    ];
    let is_id = |path: &String| {
        groups
            .iter()
            .any(|group| is_like(path, &format!("{group}.*")))
    };
    paths(&values(text))
        .into_iter()
        .map(|(path, _)| path)
        .filter(is_id)
        .collect()
}
