//! Changes a plan file as its author would: the few bytes that are meant, and not one more.
//!
//! Every edit names what it is about by the dotted path that findings use. The edits of one call are done one after the
//! other, each on what those before it left, and judged together at the end: what would bring an error is refused with
//! that finding, and then nothing is changed. A plan that has errors may be mended step by step. Limits: a file that is
//! not TOML, or has something twice at the path, is left to a text editor.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::change::Change;
use super::diff::{UNREADABLE, differences};
use super::findings::{Finding, Kind, Level};
use super::outline::{Outline, Path, is_value};
use super::read::{Reading, read, read_on};
use super::refusal::Refusal;
use super::shape::{Shape, is_id, shape};
use super::splice::{self, quoted, spliced};

/// One change that somebody asks for. Items of lists are counted from 1, as in `position.roof.workers.1`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Edit {
    /// Gives a key another value, or adds the key.
    Set {
        /// Path of the key or list item.
        path: String,
        /// The value as a plan file has it, e.g. `"12 m/s"` with its quotes.
        value: String,
    },
    /// Adds a table, or an item to a list: before the one that has its number, or at the end.
    Add {
        /// Path of the table, of the item, or of the list.
        path: String,
        /// What is in it.
        values: Values,
    },
    /// Removes a key, a table with everything in it, or an item of a list.
    Remove {
        /// Path of it.
        path: String,
    },
    /// Gives something another id, and every reference to it too.
    Rename {
        /// Path of it.
        path: String,
        /// The new id.
        to: String,
    },
    /// Says why a piece of kit must not be used.
    OutOfService {
        /// Path of the piece.
        path: String,
        /// Why, as plain text.
        why: String,
    },
    /// Says that a piece of kit may be used again.
    InService {
        /// Path of the piece.
        path: String,
    },
}

/// What is added, each value as a plan file has it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Values {
    /// One value of a list.
    Item(String),
    /// The keys of a table, each with its value.
    Table(Vec<(String, String)>),
}

/// A plan after edits.
#[derive(Clone, Debug)]
pub struct Edited {
    /// The text of the file.
    pub text: String,
    /// What came of reading it.
    pub reading: Reading,
    /// What changed, in the plan's own words.
    pub changes: Vec<Change>,
    /// Findings that were not there before; none of them is an error.
    pub findings: Vec<Finding>,
    /// Comments that went with what they stood above.
    pub comments: Vec<String>,
}

impl Edit {
    /// Sets a key to what somebody typed: where it takes a text, word, date or quantity, quotes may be left out.
    pub fn set(path: &str, typed: &str) -> Edit {
        Edit::Set {
            path: path.to_owned(),
            value: as_written(path, typed),
        }
    }

    /// Adds what somebody typed: `key=value` for each key of a table, or one value of a list.
    pub fn add(path: &str, typed: &[String]) -> Result<Edit, Refusal> {
        let parts: Path = path.split('.').map(str::to_owned).collect();
        let above = &parts[..parts.len() - 1];
        let is_list = matches!(shape(&parts), Some(Shape::Texts { .. } | Shape::Tables));
        let item = if is_list {
            format!("{path}.1")
        } else {
            path.to_owned()
        };
        let takes_both = |path: &[String]| shape(path) == Some(Shape::Texts { or_tables: true });
        let has_keys = typed.iter().all(|it| {
            let name = it.split_once('=').map_or("", |(name, _)| name.trim());
            !name.is_empty() && name.bytes().all(|b| b.is_ascii_lowercase() || b == b'_')
        });
        let is_item = matches!(shape(above), Some(Shape::Texts { .. }))
            || matches!(shape(&parts), Some(Shape::Texts { .. }));
        let values = match typed {
            [one] if is_item && !(has_keys && (takes_both(above) || takes_both(&parts))) => {
                Values::Item(as_written(&item, one))
            }
            _ => {
                let pair = |it: &String| {
                    let bad = || Refusal::BadValue {
                        path: path.to_owned(),
                        value: it.clone(),
                    };
                    let (name, value) = it.split_once('=').ok_or_else(bad)?;
                    let name = name.trim();
                    Ok((
                        name.to_owned(),
                        as_written(&format!("{item}.{name}"), value.trim()),
                    ))
                };
                Values::Table(typed.iter().map(pair).collect::<Result<_, _>>()?)
            }
        };
        let path = path.to_owned();
        Ok(Edit::Add { path, values })
    }
}

/// What somebody typed for this key, as a plan file has it.
fn as_written(path: &str, typed: &str) -> String {
    let parts: Path = path.split('.').map(str::to_owned).collect();
    let Some(Shape::Text { or_other }) = shape(&parts) else {
        return typed.to_owned();
    };
    let is_written = typed.starts_with(['"', '\'']) || or_other && typed.starts_with(['[', '{']);
    if is_written && is_value(typed) {
        typed.to_owned()
    } else {
        quoted(typed)
    }
}

/// How an edit moved what stands elsewhere, so that findings before and after it can be told apart.
enum Move {
    Renamed { from: String, to: String },
    Inserted { list: String, number: usize },
    Removed { path: String },
}

impl Move {
    /// Where something is after it; nothing where it is gone.
    fn apply(&self, place: &str) -> Option<String> {
        let renumber = |list: &str, from: usize, add: bool| {
            let rest = below(place, list)?;
            let (number, rest) = rest
                .split_once('.')
                .map_or((rest, None), |(number, rest)| (number, Some(rest)));
            let number = number
                .parse::<usize>()
                .ok()
                .filter(|number| *number >= from)?;
            let number = if add { number + 1 } else { number - 1 };
            Some(rest.map_or(format!("{list}.{number}"), |rest| {
                format!("{list}.{number}.{rest}")
            }))
        };
        match self {
            Move::Renamed { from, to } if place == from => Some(to.clone()),
            Move::Renamed { from, to } => {
                Some(below(place, from).map_or(place.to_owned(), |rest| format!("{to}.{rest}")))
            }
            Move::Inserted { list, number } => {
                Some(renumber(list, *number, true).unwrap_or(place.to_owned()))
            }
            Move::Removed { path } if is_within(place, path) => None,
            Move::Removed { path } => {
                let item = path
                    .rsplit_once('.')
                    .and_then(|(list, number)| Some((list, number.parse::<usize>().ok()?)));
                let moved = item.and_then(|(list, number)| renumber(list, number, false));
                Some(moved.unwrap_or(place.to_owned()))
            }
        }
    }
}

/// The rest of a path that lies below another one.
fn below<'a>(place: &'a str, path: &str) -> Option<&'a str> {
    place.strip_prefix(path)?.strip_prefix('.')
}

fn is_within(place: &str, path: &str) -> bool {
    place == path || below(place, path).is_some()
}

/// Does all of these edits, or none; the name is only for sentences about the file as a whole. Dates are not compared.
pub fn edit(name: &str, text: &str, edits: &[Edit]) -> Result<Edited, Refusal> {
    edited(text, edits, &|text| read(name, text.as_bytes()))
}

/// Edits as `edit` does, and finds as well what that makes overdue on a day.
pub fn edit_on(
    name: &str,
    text: &str,
    edits: &[Edit],
    today: NaiveDate,
) -> Result<Edited, Refusal> {
    edited(text, edits, &|text| read_on(name, text.as_bytes(), today))
}

fn edited(text: &str, edits: &[Edit], read: &dyn Fn(&str) -> Reading) -> Result<Edited, Refusal> {
    let before = read(text);
    if let Some(finding) = before
        .findings
        .iter()
        .find(|it| UNREADABLE.map(Kind::id).contains(&it.id))
    {
        let finding = Box::new(finding.clone());
        return Err(Refusal::Unreadable { finding });
    }
    let mut now = text.to_owned();
    let mut moves = Vec::new();
    let mut gone: Vec<String> = Vec::new();
    for edit in edits {
        let (after, moved) = one(&now, edit, || {
            if moves.is_empty() && now == text {
                before.clone()
            } else {
                read(&now)
            }
        })?;
        now = after;
        if let Some(moved) = moved {
            gone = gone.iter().filter_map(|path| moved.apply(path)).collect();
            if let Move::Removed { path } = &moved {
                gone.push(path.clone());
            }
            moves.push(moved);
        }
    }
    let after = read(&now);
    still_named(&gone, [text, &now], &before, &after, &moves)?;
    let fresh = brought(&before, &after, &moves);
    let (errors, findings): (Vec<Finding>, _) =
        fresh.into_iter().partition(|it| it.level == Level::Error);
    if !errors.is_empty() {
        return Err(Refusal::BringsError { findings: errors });
    }
    Ok(Edited {
        changes: differences(text, &now),
        comments: lost_comments(text, &now),
        text: now,
        reading: after,
        findings,
    })
}

/// Does one edit, and says how that moved what stands elsewhere.
fn one(
    text: &str,
    edit: &Edit,
    reading: impl FnOnce() -> Reading,
) -> Result<(String, Option<Move>), Refusal> {
    let Some(outline) = Outline::new(text) else {
        // An edit before this one broke it, such as a table with two keys of one name.
        let mut findings = reading().findings;
        findings.retain(|it| it.level == Level::Error);
        return Err(Refusal::BringsError { findings });
    };
    let (Edit::Set { path: given, .. }
    | Edit::Add { path: given, .. }
    | Edit::Remove { path: given }
    | Edit::Rename { path: given, .. }
    | Edit::OutOfService { path: given, .. }
    | Edit::InService { path: given }) = edit;
    let path = resolved(&outline, given)?;
    let (splices, moved) = match edit {
        Edit::Set { value, .. } => {
            hold_value(given, value)?;
            (splice::set(&outline, &path, value)?, None)
        }
        Edit::Add { values, .. } => {
            match values {
                Values::Item(value) => hold_value(given, value)?,
                Values::Table(pairs) => pairs
                    .iter()
                    .try_for_each(|(key, value)| hold_value(&format!("{given}.{key}"), value))?,
            }
            let (splices, item) = splice::add(&outline, &path, values)?;
            let moved = item.map(|(list, number)| Move::Inserted {
                list: list.join("."),
                number,
            });
            (splices, moved)
        }
        Edit::Remove { .. } => (
            splice::remove(&outline, &path)?,
            Some(Move::Removed {
                path: path.join("."),
            }),
        ),
        Edit::Rename { to, .. } => {
            if !outline.has(&path) {
                return Err(Refusal::not_there(&outline, &path));
            }
            let Some((_, above)) = path.split_last().filter(|_| is_id(&path)) else {
                let is =
                    "has no id of its own: only what an author named can be renamed".to_owned();
                return Err(Refusal::Misplaced {
                    path: given.clone(),
                    is,
                });
            };
            Refusal::unless_id(to)?;
            let renamed: Path = [above, std::slice::from_ref(to)].concat();
            if renamed != path && outline.has(&renamed) {
                return Err(Refusal::IsThere {
                    path: renamed.join("."),
                });
            }
            let (from, to_path) = (path.join("."), renamed.join("."));
            let references = reading().references;
            let named = references.iter().filter(|it| it.target == from);
            let splices = splice::rename(&outline, &path, to, named.map(|it| it.span.clone()));
            (splices, Some(Move::Renamed { from, to: to_path }))
        }
        Edit::OutOfService { why, .. } => (
            splice::set(&outline, &service(&outline, &path)?, &quoted(why))?,
            None,
        ),
        Edit::InService { .. } => {
            let key = service(&outline, &path)?;
            if outline.has(&key) {
                (
                    splice::remove(&outline, &key)?,
                    Some(Move::Removed {
                        path: key.join("."),
                    }),
                )
            } else {
                (Vec::new(), None)
            }
        }
    };
    Ok((spliced(text, splices), moved))
}

/// The key that says why a piece of kit must not be used.
fn service(outline: &Outline<'_>, path: &[String]) -> Result<Path, Refusal> {
    if !outline.has(path) {
        return Err(Refusal::not_there(outline, path));
    }
    let key: Path = [path, &["out_of_service".to_owned()]].concat();
    if shape(&key).is_none() {
        let is = "is not a piece of kit: name one, such as station.a.kit.ladder-1".to_owned();
        return Err(Refusal::Misplaced {
            path: path.join("."),
            is,
        });
    }
    Ok(key)
}

fn hold_value(path: &str, value: &str) -> Result<(), Refusal> {
    match is_value(value) {
        true => Ok(()),
        false => Err(Refusal::BadValue {
            path: path.to_owned(),
            value: value.to_owned(),
        }),
    }
}

/// The parts of a path; a name with a dot in it is found where the file has one.
fn resolved(outline: &Outline<'_>, given: &str) -> Result<Path, Refusal> {
    let path: Path = given.split('.').map(str::to_owned).collect();
    if outline.has(&path) {
        return Ok(path);
    }
    let mut entries = outline.entries.iter();
    let called = entries.find_map(|it| {
        let mut above = (1..=it.path.len()).map(|depth| &it.path[..depth]);
        above.find(|it| it.join(".") == given)
    });
    match called {
        Some(called) => Ok(called.to_vec()),
        None if path.iter().any(String::is_empty) => Err(Refusal::BadPath {
            path: given.to_owned(),
        }),
        None => Ok(path),
    }
}

/// Refuses to leave names behind that lead nowhere, with all of their places and the lines that these have now.
fn still_named(
    gone: &[String],
    [text, now]: [&str; 2],
    before: &Reading,
    after: &Reading,
    moves: &[Move],
) -> Result<(), Refusal> {
    let Some(outline) = Outline::new(now).filter(|_| !gone.is_empty()) else {
        return Ok(());
    };
    let targets: BTreeSet<&str> = after
        .references
        .iter()
        .map(|it| it.target.as_str())
        .collect();
    let is_lost =
        |target: &&str| resolved(&outline, target).is_ok_and(|target| !outline.has(&target));
    let lost: BTreeSet<&str> = targets
        .into_iter()
        .filter(|target| gone.iter().any(|path| is_within(target, path)))
        .filter(is_lost)
        .collect();
    let Some(path) = gone
        .iter()
        .find(|path| lost.iter().any(|target| is_within(target, path)))
    else {
        return Ok(());
    };
    let line_ends: Vec<usize> = text.match_indices('\n').map(|(at, _)| at).collect();
    let stood: BTreeMap<String, usize> = before
        .references
        .iter()
        .filter_map(|it| Some((moved(moves, &it.at)?, it.span.start)))
        .collect();
    let places = after
        .references
        .iter()
        .filter(|it| lost.contains(it.target.as_str()) && is_within(&it.target, path));
    let places = places.map(|it| {
        // What these edits added has no line yet.
        let line = stood
            .get(&it.at)
            .map(|at| line_ends.partition_point(|end| end < at) + 1);
        (it.at.clone(), line)
    });
    Err(Refusal::StillNamed {
        path: path.clone(),
        places: places.collect(),
    })
}

/// Where something is after these edits; nothing where it is gone.
fn moved(moves: &[Move], place: &str) -> Option<String> {
    moves
        .iter()
        .try_fold(place.to_owned(), |place, moved| moved.apply(&place))
}

/// The findings that these edits brought.
fn brought(before: &Reading, after: &Reading, moves: &[Move]) -> Vec<Finding> {
    let mut known: Vec<(&Finding, Option<String>)> = before
        .findings
        .iter()
        .map(|it| (it, moved(moves, &it.place)))
        .collect();
    let errors: Vec<String> = known
        .iter()
        .filter(|(it, _)| it.level == Level::Error)
        .filter_map(|(_, place)| place.clone())
        .collect();
    let mut fresh = Vec::new();
    for finding in &after.findings {
        let same = known
            .iter()
            .position(|(it, place)| it.id == finding.id && place.as_ref() == Some(&finding.place));
        if let Some(same) = same {
            known.swap_remove(same);
        } else if !was_hidden(finding, &errors) {
            fresh.push(finding.clone());
        }
    }
    fresh
}

/// True where an error in the same method kept this one from being seen: mending is done step by step.
fn was_hidden(finding: &Finding, errors: &[String]) -> bool {
    let whole_method = [Kind::MethodWithoutRelease, Kind::MilestoneOrder].map(Kind::id);
    let method: Vec<&str> = finding.place.split('.').take(4).collect();
    let method = method.join(".");
    whole_method.contains(&finding.id) && errors.iter().any(|place| is_within(place, &method))
}

/// The lines of comment that are no longer there.
fn lost_comments(before: &str, after: &str) -> Vec<String> {
    let comments = |text: &str| -> Vec<String> {
        let lines = text
            .lines()
            .map(str::trim)
            .filter(|line| line.starts_with('#'));
        lines.map(str::to_owned).collect()
    };
    let mut kept: BTreeMap<String, usize> = BTreeMap::new();
    for comment in comments(after) {
        *kept.entry(comment).or_insert(0) += 1;
    }
    let mut lost = comments(before);
    lost.retain(
        |comment| match kept.get_mut(comment).filter(|count| **count > 0) {
            Some(count) => {
                *count -= 1;
                false
            }
            None => true,
        },
    );
    lost
}
