//! Works out which bytes of a plan file an edit replaces, and with what.
//!
//! A new line goes where the author would look for it: beside its siblings, in their line ends and indentation, in the
//! form they have (a header, dotted keys, inside brackets). What is removed takes with it the comment at its end and those
//! directly above it, which would otherwise describe the next thing; every other byte stays.

use std::ops::Range;

use super::edit::Values;
use super::outline::{Holds, KeyAt, Member, Outline, Path, Value};
use super::refusal::Refusal;
use super::shape::{Shape, is_id, shape};

/// A few bytes and what stands there afterwards.
pub(super) struct Splice {
    range: Range<usize>,
    with: String,
}

impl Splice {
    pub(super) fn new(range: Range<usize>, with: impl Into<String>) -> Splice {
        Splice {
            range,
            with: with.into(),
        }
    }

    fn insert(at: usize, with: impl Into<String>) -> Splice {
        Splice::new(at..at, with)
    }
}

/// The text after all of them, which must not overlap.
pub(super) fn spliced(text: &str, mut splices: Vec<Splice>) -> String {
    splices.sort_by_key(|it| it.range.start);
    let (mut out, mut at) = (String::with_capacity(text.len()), 0);
    for Splice { range, with } in splices {
        out.push_str(&text[at..range.start]);
        out.push_str(&with);
        at = range.end;
    }
    out.push_str(&text[at..]);
    out
}

/// A text as a plan writes it, in quotes.
pub(super) fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for character in text.chars() {
        match character {
            '"' | '\\' => out.extend(['\\', character]),
            '\t' => out.push_str("\\t"),
            _ if character.is_control() => {
                out.push_str(&format!("\\u{:04X}", u32::from(character)))
            }
            _ => out.push(character),
        }
    }
    out.push('"');
    out
}

fn key(name: &str) -> String {
    let bare = |b: u8| b.is_ascii_alphanumeric() || b == b'-' || b == b'_';
    if !name.is_empty() && name.bytes().all(bare) {
        name.to_owned()
    } else {
        quoted(name)
    }
}

/// The dotted keys of a header; the number of a list item is not spelled there.
fn header(path: &[String]) -> String {
    let parts = path.iter().enumerate();
    let spelled = parts.filter(|(depth, _)| shape(&path[..*depth]) != Some(Shape::Tables));
    spelled
        .map(|(_, part)| key(part))
        .collect::<Vec<_>>()
        .join(".")
}

fn inline(pairs: &[(String, String)]) -> String {
    let pairs: Vec<String> = pairs
        .iter()
        .map(|(name, value)| format!("{} = {value}", key(name)))
        .collect();
    format!("{{ {} }}", pairs.join(", "))
}

/// Gives a key another value, or adds it.
pub(super) fn set(
    outline: &Outline<'_>,
    path: &[String],
    value: &str,
) -> Result<Vec<Splice>, Refusal> {
    if let Some(there) = outline.value(path) {
        return Ok(vec![Splice::new(there.span.clone(), value)]);
    }
    let is_table = matches!(
        shape(path),
        Some(Shape::Group | Shape::Table | Shape::Tables)
    );
    if is_table || outline.has(path) {
        return Err(Refusal::is_table(path));
    }
    let (name, owner) = path.split_last().ok_or_else(|| Refusal::BadPath {
        path: String::new(),
    })?;
    new_key(outline, owner, name, value).map_err(|refusal| match refusal {
        // The whole path says better what may be meant.
        Refusal::NotThere { .. } => Refusal::not_there(outline, path),
        other => other,
    })
}

/// Adds a key that its table does not have yet.
fn new_key(
    outline: &Outline<'_>,
    owner: &[String],
    name: &str,
    value: &str,
) -> Result<Vec<Splice>, Refusal> {
    let pair = format!("{} = {value}", key(name));
    if let Some(around) = outline.value(owner) {
        return match &around.holds {
            Holds::Table(members) => Ok(insert_member(outline, around, members.len(), &pair)),
            Holds::List(members) => Err(Refusal::no_item(owner, members.len())),
            Holds::Plain => Err(Refusal::is_value(owner)),
        };
    }
    let prefix = |keys: &[KeyAt]| {
        let last = keys.iter().find(|it| it.depth + 1 == owner.len())?;
        Some(format!(
            "{}.{pair}",
            &outline.text[keys[0].span.start..last.span.end]
        ))
    };
    if let Some((around, there)) = outline.within(owner) {
        // Dotted keys within an inline table: the last of them shows how the table is spelled.
        let last = there.last().copied().unwrap_or_default();
        let pair = prefix(&around.members()[last].keys).unwrap_or(pair);
        return Ok(insert_member(outline, around, last + 1, &pair));
    }
    if owner.is_empty() {
        return Ok(match outline.entries.first() {
            Some(first) if first.value().is_some() => {
                insert_line(outline, outline.body_end(0), &pair)
            }
            Some(_) => vec![Splice::insert(
                outline.start(0),
                format!("{pair}{0}{0}", outline.line_end(0)),
            )],
            None => append(outline, &[pair]),
        });
    }
    let own = outline.entries.iter().position(|it| it.path == owner);
    if let Some(own) = own {
        return Ok(insert_line(outline, outline.body_end(own), &pair));
    }
    let there: Vec<usize> = outline.under(owner).collect();
    let dotted = there
        .iter()
        .rev()
        .find_map(|entry| Some((*entry, prefix(&outline.entries[*entry].keys)?)));
    match (dotted, there.first()) {
        (Some((entry, pair)), _) if outline.entries[entry].value().is_some() => {
            Ok(insert_line(outline, entry, &pair))
        }
        (_, Some(first)) => {
            // Only tables below it have headers so far.
            let at = outline.start(*first);
            let end = outline.line_end(at);
            let lines = format!("[{}]{end}{pair}{end}{end}", header(owner));
            Ok(vec![Splice::insert(at, lines)])
        }
        (_, None) if shape(owner) == Some(Shape::Table) && !is_id(owner) => {
            add_table(outline, owner, &[(name.to_owned(), value.to_owned())])
        }
        (_, None) => Err(Refusal::not_there(outline, owner)),
    }
}

/// Adds a line below an entry.
fn insert_line(outline: &Outline<'_>, below: usize, line: &str) -> Vec<Splice> {
    let entry = &outline.entries[below];
    let at = entry.lines.end;
    let indent = entry.keys.first().filter(|_| entry.value().is_some());
    let indent = indent.map_or("", |first| {
        &outline.text[entry.lines.start..first.span.start]
    });
    let end = outline.line_end(at);
    vec![Splice::insert(
        at,
        if closed(outline.text, at) {
            format!("{indent}{line}{end}")
        } else {
            format!("{end}{indent}{line}")
        },
    )]
}

/// True where a line ends here; the last line of a file need not.
fn closed(text: &str, at: usize) -> bool {
    at == 0 || text[..at].ends_with('\n')
}

/// Adds a block of lines below an entry, after a blank line.
fn insert_block(outline: &Outline<'_>, below: Option<usize>, lines: &[String]) -> Vec<Splice> {
    let Some(below) = below else {
        return append(outline, lines);
    };
    let at = outline.entries[below].lines.end;
    let end = outline.line_end(at);
    let block = lines.join(end);
    vec![Splice::insert(
        at,
        if closed(outline.text, at) {
            format!("{end}{block}{end}")
        } else {
            format!("{end}{end}{block}")
        },
    )]
}

/// Adds lines at the end of a file that has no entries.
fn append(outline: &Outline<'_>, lines: &[String]) -> Vec<Splice> {
    let at = outline.text.len();
    let end = outline.line_end(at);
    let before = if closed(outline.text, at) || outline.text == "\u{feff}" {
        ""
    } else {
        end
    };
    vec![Splice::insert(
        at,
        format!("{before}{}{end}", lines.join(end)),
    )]
}

/// A list and the number of what is new in it.
pub(super) type Inserted = (Path, usize);

/// Adds a table, or an item to a list; says which list it was and where.
pub(super) fn add(
    outline: &Outline<'_>,
    path: &[String],
    values: &Values,
) -> Result<(Vec<Splice>, Option<Inserted>), Refusal> {
    let (last, owner) = path.split_last().ok_or_else(|| Refusal::BadPath {
        path: String::new(),
    })?;
    let is_list =
        |path: &[String]| matches!(shape(path), Some(Shape::Tables | Shape::Texts { .. }));
    let list = if is_list(path) {
        Some((path, outline.items(path).unwrap_or(0) + 1))
    } else if is_list(owner) {
        let count = outline.items(owner).unwrap_or(0);
        let number = last
            .parse()
            .ok()
            .filter(|number| (1..=count + 1).contains(number));
        Some((owner, number.ok_or_else(|| Refusal::no_item(owner, count))?))
    } else {
        None
    };
    if let Some((list, number)) = list {
        return Ok((
            add_item(outline, list, number, values)?,
            Some((list.to_vec(), number)),
        ));
    }
    match (shape(path), values) {
        (Some(Shape::Table), Values::Table(pairs)) => {
            if outline.has(path) {
                return Err(Refusal::IsThere {
                    path: path.join("."),
                });
            }
            if is_id(path) {
                Refusal::unless_id(last)?;
            }
            Ok((add_table(outline, path, pairs)?, None))
        }
        (Some(Shape::Table), Values::Item(_)) => Err(Refusal::needs_keys(path)),
        (Some(Shape::Group), _) => Err(Refusal::needs_id(path)),
        (Some(_), _) => Err(Refusal::is_value(path)),
        (None, _) => Err(Refusal::not_there(outline, path)),
    }
}

fn add_table(
    outline: &Outline<'_>,
    path: &[String],
    pairs: &[(String, String)],
) -> Result<Vec<Splice>, Refusal> {
    let Some((name, owner)) = path.split_last() else {
        return Err(Refusal::BadPath {
            path: String::new(),
        });
    };
    let whole = if is_id(path) {
        &owner[..owner.len() - 1]
    } else {
        owner
    };
    if !whole.is_empty() && !outline.has(whole) {
        return Err(Refusal::not_there(outline, path));
    }
    if outline.value(owner).is_some() || outline.within(owner).is_some() {
        return new_key(outline, owner, name, &inline(pairs));
    }
    if let Some(group) = owner.get(whole.len())
        && (outline.value(whole).is_some() || outline.within(whole).is_some())
    {
        let one = inline(&[(name.clone(), inline(pairs))]);
        return new_key(outline, whole, group, &one);
    }
    let below = if is_id(path) {
        let last = outline.under(owner).next_back();
        last.or_else(|| outline.under(whole).next_back())
    } else if owner.is_empty() {
        let alike = |entry: &usize| shape(&outline.entries[*entry].path[..1]) == Some(Shape::Table);
        let first = outline.entries.first().filter(|it| it.value().is_some());
        outline.under(owner).rfind(alike).or(first.map(|_| 0))
    } else {
        let own = outline.entries.iter().position(|it| it.path == owner);
        own.or_else(|| outline.under(owner).next_back())
    };
    let below = below.or_else(|| outline.entries.len().checked_sub(1));
    Ok(insert_block(
        outline,
        below.map(|below| outline.body_end(below)),
        &block(format!("[{}]", header(path)), pairs),
    ))
}

/// A header and its keys.
fn block(header: String, pairs: &[(String, String)]) -> Vec<String> {
    let pairs = pairs
        .iter()
        .map(|(name, value)| format!("{} = {value}", key(name)));
    std::iter::once(header).chain(pairs).collect()
}

fn add_item(
    outline: &Outline<'_>,
    list: &[String],
    number: usize,
    values: &Values,
) -> Result<Vec<Splice>, Refusal> {
    let Some((name, owner)) = list.split_last() else {
        return Err(Refusal::BadPath {
            path: String::new(),
        });
    };
    if !outline.has(owner) {
        return Err(Refusal::not_there(outline, list));
    }
    let holds_tables = shape(list) == Some(Shape::Tables);
    let (item, pairs) = match values {
        Values::Item(_) if holds_tables => return Err(Refusal::needs_keys(list)),
        Values::Item(value) => (value.clone(), &[][..]),
        Values::Table(_) if shape(list) == Some(Shape::Texts { or_tables: false }) => {
            return Err(Refusal::needs_text(list));
        }
        Values::Table(pairs) => (inline(pairs), &pairs[..]),
    };
    if let Some(there) = outline.value(list) {
        return match &there.holds {
            Holds::List(_) => Ok(insert_member(outline, there, number - 1, &item)),
            Holds::Table(_) | Holds::Plain => Err(Refusal::is_value(list)),
        };
    }
    let lines = block(format!("[[{}]]", header(list)), pairs);
    let is_item_of_list = owner
        .split_last()
        .is_some_and(|(_, above)| shape(above) == Some(Shape::Tables));
    let at: Path = [list, &[number.to_string()]].concat();
    if let Some(entry) = outline.entries.iter().position(|it| it.path == at) {
        let start = outline.start(entry);
        let end = outline.line_end(start);
        return Ok(vec![Splice::insert(
            start,
            format!("{}{end}{end}", lines.join(end)),
        )]);
    }
    let last = outline.under(list).next_back();
    if last.is_none()
        && (!holds_tables
            || is_item_of_list
            || outline.value(owner).is_some()
            || outline.within(owner).is_some())
    {
        return new_key(outline, owner, name, &format!("[{item}]"));
    }
    let below = last.or_else(|| outline.under(owner).next_back());
    Ok(insert_block(
        outline,
        below.map(|below| outline.body_end(below)),
        &lines,
    ))
}

/// Removes a key, a table with everything in it, or an item of a list.
pub(super) fn remove(outline: &Outline<'_>, path: &[String]) -> Result<Vec<Splice>, Refusal> {
    if let Some((around, there)) = outline.within(path) {
        return Ok(remove_members(outline, around, &there));
    }
    let there: Vec<usize> = outline.under(path).collect();
    if there.is_empty() {
        return Err(Refusal::not_there(outline, path));
    }
    let runs = there.chunk_by(|a, b| a + 1 == *b);
    Ok(runs
        .map(|run| Splice::new(lines_of(outline, run), ""))
        .collect())
}

/// The lines of entries that follow each other, with one of the two blank lines around them.
fn lines_of(outline: &Outline<'_>, run: &[usize]) -> Range<usize> {
    let text = outline.text;
    let Some((first, last)) = run.first().zip(run.last()) else {
        return 0..0;
    };
    let (mut start, mut end) = (outline.start(*first), outline.entries[*last].lines.end);
    let has_header = run
        .iter()
        .any(|entry| outline.entries[*entry].value().is_none());
    let blank = |from: usize, to: usize| text[from..to].trim().is_empty();
    let line_above = |at: usize| text[..at - 1].rfind('\n').map_or(0, |newline| newline + 1);
    let line_below = |at: usize| {
        text[at..]
            .find('\n')
            .map_or(text.len(), |newline| at + newline + 1)
    };
    if has_header && start > 0 && blank(end, line_below(end)) {
        let above = line_above(start);
        if blank(above, start) {
            start = above;
        }
    } else if has_header
        && (start == 0 || text[..start] == *"\u{feff}")
        && blank(end, line_below(end))
    {
        end = line_below(end);
    }
    // A file without a line end after its last line still has none.
    if end == text.len() && !closed(text, end) {
        start -= [2, 1]
            .into_iter()
            .find(|length| {
                *length <= start && ["\r\n", "\n"].contains(&&text[start - length..start])
            })
            .unwrap_or(0);
    }
    start..end
}

/// The rest of a line after this place.
fn rest_of_line(text: &str, at: usize) -> &str {
    text[at..].lines().next().unwrap_or_default()
}

/// Where the line of this place begins, if only blanks stand before it.
fn own_line(text: &str, at: usize) -> Option<usize> {
    let start = text[..at].rfind('\n')? + 1;
    text[start..at].trim().is_empty().then_some(start)
}

/// True where nothing but a comment follows on this line.
fn ends_line(text: &str, at: usize) -> bool {
    let rest = rest_of_line(text, at).trim_start();
    rest.is_empty() || rest.starts_with('#')
}

fn insert_member(outline: &Outline<'_>, around: &Value, index: usize, item: &str) -> Vec<Splice> {
    let (text, members) = (outline.text, around.members());
    let indented = |at: usize| own_line(text, at).map(|start| &text[start..at]);
    if let Some(next) = members.get(index) {
        let at = next.span.start;
        let after = match indented(at) {
            Some(indent) => format!("{item},{}{indent}", outline.line_end(at)),
            None => format!("{item}, "),
        };
        return vec![Splice::insert(at, after)];
    }
    let inside = around.span.start + 1..around.span.end - 1;
    let Some(last) = members.last() else {
        let item = if matches!(around.holds, Holds::Table(_)) {
            format!(" {item} ")
        } else {
            item.to_owned()
        };
        let is_blank = text[inside.clone()].trim().is_empty();
        return vec![if is_blank {
            Splice::new(inside, item)
        } else {
            Splice::insert(inside.start, item)
        }];
    };
    let end = last.comma.unwrap_or(last.span.end);
    match indented(last.span.start) {
        Some(indent) if ends_line(text, end) => {
            let line_end = end + rest_of_line(text, end).len();
            let newline = outline.line_end(line_end);
            match last.comma {
                Some(_) => vec![Splice::insert(
                    line_end,
                    format!("{newline}{indent}{item},"),
                )],
                None => vec![
                    Splice::insert(end, ","),
                    Splice::insert(line_end, format!("{newline}{indent}{item}")),
                ],
            }
        }
        _ => vec![Splice::insert(last.span.end, format!(", {item}"))],
    }
}

fn remove_members(outline: &Outline<'_>, around: &Value, there: &[usize]) -> Vec<Splice> {
    let (text, members) = (outline.text, around.members());
    let inside = around.span.start + 1..around.span.end - 1;
    if there.len() == members.len() && !text[inside.clone()].contains('#') {
        return vec![Splice::new(inside, "")];
    }
    let runs = there.chunk_by(|a, b| a + 1 == *b);
    let removed = runs.filter_map(|run| {
        Some(members_of(
            outline,
            members,
            &inside,
            *run.first()?,
            *run.last()?,
        ))
    });
    removed.map(|range| Splice::new(range, "")).collect()
}

/// The bytes of members that follow each other, with one of the commas around them.
fn members_of(
    outline: &Outline<'_>,
    members: &[Member],
    inside: &Range<usize>,
    first: usize,
    last: usize,
) -> Range<usize> {
    let text = outline.text;
    let start = members[first].span.start;
    let end = members[last].comma.unwrap_or(members[last].span.end);
    let before = first.checked_sub(1).map(|before| &members[before]);
    let floor = before.map_or(inside.start, |it| it.comma.unwrap_or(it.span.end));
    if let Some(mut line) =
        own_line(text, start).filter(|line| *line >= floor && ends_line(text, end))
    {
        while let Some(above) = own_comment(text, line).filter(|above| *above >= floor) {
            line = above;
        }
        let rest = rest_of_line(text, end).len();
        let newline = text[end + rest..]
            .find('\n')
            .map_or(0, |newline| newline + 1);
        return line..end + rest + newline;
    }
    match (members.get(last + 1), before) {
        (Some(next), _) => start..next.span.start,
        (None, Some(before)) if !text[before.span.end..start].contains('#') => {
            before.span.end..members[last].span.end
        }
        (None, _) => start..end,
    }
}

/// Where the line above begins, if it is a comment.
fn own_comment(text: &str, line: usize) -> Option<usize> {
    let above = text[..line.checked_sub(1)?].rfind('\n')? + 1;
    text[above..line]
        .trim_start()
        .starts_with('#')
        .then_some(above)
}

/// Spells the last part of a path in another way, wherever it stands; every place keeps its quotes.
pub(super) fn rename(
    outline: &Outline<'_>,
    path: &[String],
    to: &str,
    references: impl Iterator<Item = Range<usize>>,
) -> Vec<Splice> {
    let keys = outline.spellings(path).into_iter();
    let all = keys.chain(references);
    let spelled = all.map(|span| {
        let old = &outline.text[span.clone()];
        let quote = old
            .chars()
            .next()
            .filter(|quote| ['"', '\''].contains(quote));
        let quotes: String = quote.map_or(String::new(), |quote| {
            let is_long = old.len() >= 6 && old.starts_with(&String::from(quote).repeat(3));
            String::from(quote).repeat(if is_long { 3 } else { 1 })
        });
        Splice::new(span, format!("{quotes}{to}{quotes}"))
    });
    spelled.collect()
}
