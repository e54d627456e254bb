//! Finds where everything stands in the text of a plan file: headers, keys, values, the items of lists.
//!
//! An edit replaces a few bytes and leaves all others as they are: comments, blank lines, order, quoting, line ends. A
//! document that is parsed, changed and written again does not keep that promise (toml_edit writes CRLF as LF, moves
//! dotted keys together and adds a last line end), so only the places are taken from it. Where it keeps no place, as for
//! the first of dotted keys, the text is looked at, which is known to be TOML by then.

use std::ops::Range;

use toml_edit::{Document, InlineTable, Item, Key, Table};

/// What some editors put before the first line.
const MARK: char = '\u{feff}';

/// The parts of a dotted path; an item of a list is its number, from 1.
pub(super) type Path = Vec<String>;

/// Everything in the file, in its order.
pub(super) struct Outline<'a> {
    pub(super) text: &'a str,
    pub(super) entries: Vec<Entry>,
}

/// A header, or a key with its value: what begins a line.
pub(super) struct Entry {
    /// What it makes, with the number of each list item on the way.
    pub(super) path: Path,
    pub(super) keys: Vec<KeyAt>,
    pub(super) what: What,
    /// From the start of its first line to the end of its last one, line end included.
    pub(super) lines: Range<usize>,
}

pub(super) enum What {
    /// `[position.roof]`.
    Header,
    /// `[[position.roof.method.ladder.step]]`.
    Item,
    /// `name = "North roof"`.
    Pair(Value),
}

/// A key as it is spelled in one place.
pub(super) struct KeyAt {
    pub(super) span: Range<usize>,
    /// Which part of the path it is.
    pub(super) depth: usize,
}

/// A value and, in a list or an inline table, what it holds.
pub(super) struct Value {
    pub(super) span: Range<usize>,
    pub(super) path: Path,
    pub(super) holds: Holds,
}

pub(super) enum Holds {
    /// A text, number, date or flag.
    Plain,
    /// `[..]`.
    List(Vec<Member>),
    /// `{..}`.
    Table(Vec<Member>),
}

/// One item of a list, or one key of an inline table with its value.
pub(super) struct Member {
    /// None in a list.
    pub(super) keys: Vec<KeyAt>,
    pub(super) span: Range<usize>,
    /// Where the comma after it ends.
    pub(super) comma: Option<usize>,
    pub(super) value: Value,
}

impl Value {
    pub(super) fn members(&self) -> &[Member] {
        match &self.holds {
            Holds::Plain => &[],
            Holds::List(members) | Holds::Table(members) => members,
        }
    }

    /// This value or one within it.
    fn find(&self, path: &[String]) -> Option<&Value> {
        if self.path == path {
            return Some(self);
        }
        let mut members = self.members().iter();
        members.find_map(|it| {
            path.starts_with(&it.value.path)
                .then(|| it.value.find(path))?
        })
    }

    fn reaches(&self, path: &[String]) -> bool {
        self.path.starts_with(path) || self.members().iter().any(|it| it.value.reaches(path))
    }

    /// Hands over this value's keys and those of everything in it, each with its path.
    fn keys<'v>(&'v self, found: &mut Vec<(&'v [String], &'v KeyAt)>) {
        for member in self.members() {
            found.extend(member.keys.iter().map(|key| (&member.value.path[..], key)));
            member.value.keys(found);
        }
    }
}

impl Entry {
    pub(super) fn value(&self) -> Option<&Value> {
        match &self.what {
            What::Pair(value) => Some(value),
            What::Header | What::Item => None,
        }
    }
}

impl<'a> Outline<'a> {
    /// Nothing where the text is not TOML, or a key stands twice in one table.
    pub(super) fn new(text: &'a str) -> Option<Outline<'a>> {
        let document = Document::parse(text).ok()?;
        let mut reader = Reader {
            text,
            entries: Vec::new(),
        };
        reader.table(document.as_table(), &[], &[]);
        let mut entries = reader.entries;
        entries.sort_by_key(|it| it.lines.start);
        Some(Outline { text, entries })
    }

    /// The value that stands at this path, if one does.
    pub(super) fn value(&self, path: &[String]) -> Option<&Value> {
        let mut values = self.entries.iter().filter_map(Entry::value);
        values.find_map(|it| path.starts_with(&it.path).then(|| it.find(path))?)
    }

    /// The list or inline table around this path, and which of its members lie there.
    pub(super) fn within(&self, path: &[String]) -> Option<(&Value, Vec<usize>)> {
        (1..path.len()).rev().find_map(|depth| {
            let around = self.value(&path[..depth])?;
            let members = around.members().iter().enumerate();
            let there = members.filter(|(_, it)| it.value.path.starts_with(path));
            let there: Vec<usize> = there.map(|(index, _)| index).collect();
            (!there.is_empty()).then_some((around, there))
        })
    }

    /// The entries that make this path or something below it.
    pub(super) fn under<'o>(
        &'o self,
        path: &[String],
    ) -> impl DoubleEndedIterator<Item = usize> + use<'o> {
        let path = path.to_vec();
        let entries = self.entries.iter().enumerate();
        entries
            .filter(move |(_, it)| it.path.starts_with(&path))
            .map(|(index, _)| index)
    }

    /// True where the file has something at this path.
    pub(super) fn has(&self, path: &[String]) -> bool {
        let mut entries = self.entries.iter();
        entries.any(|it| {
            it.path.starts_with(path) || it.value().is_some_and(|value| value.reaches(path))
        })
    }

    /// How many items the list at this path has; nothing where there is no list.
    pub(super) fn items(&self, path: &[String]) -> Option<usize> {
        if let Some(value) = self.value(path) {
            return matches!(value.holds, Holds::List(_)).then(|| value.members().len());
        }
        let items = self
            .entries
            .iter()
            .filter(|it| matches!(it.what, What::Item));
        let count = items
            .filter(|it| it.path.len() == path.len() + 1 && it.path.starts_with(path))
            .count();
        (count > 0).then_some(count)
    }

    /// Every spelling of the last part of this path.
    pub(super) fn spellings(&self, path: &[String]) -> Vec<Range<usize>> {
        let mut keys: Vec<(&[String], &KeyAt)> = Vec::new();
        for entry in &self.entries {
            keys.extend(entry.keys.iter().map(|key| (&entry.path[..], key)));
            if let Some(value) = entry.value() {
                value.keys(&mut keys);
            }
        }
        keys.retain(|(of, key)| key.depth + 1 == path.len() && of.starts_with(path));
        keys.into_iter().map(|(_, key)| key.span.clone()).collect()
    }

    /// Names that stand directly below this path.
    pub(super) fn names(&self, path: &[String]) -> Vec<&str> {
        fn gather<'v>(found: &mut Vec<&'v str>, at: &'v [String], path: &[String]) {
            if at.starts_with(path) {
                found.extend(at.get(path.len()).map(String::as_str));
            }
        }
        fn below<'v>(found: &mut Vec<&'v str>, value: &'v Value, path: &[String]) {
            for member in value.members() {
                gather(found, &member.value.path, path);
                below(found, &member.value, path);
            }
        }
        let mut found = Vec::new();
        for entry in &self.entries {
            gather(&mut found, &entry.path, path);
            if let Some(value) = entry.value() {
                below(&mut found, value, path);
            }
        }
        found.sort_unstable();
        found.dedup();
        found
    }

    /// The last entry before the next header: a key may be added after it.
    pub(super) fn body_end(&self, entry: usize) -> usize {
        let after = self.entries[entry + 1..].iter();
        entry + after.take_while(|it| it.value().is_some()).count()
    }

    /// Where the lines of an entry begin, with the comment lines that stand directly above it.
    pub(super) fn start(&self, entry: usize) -> usize {
        let floor = entry
            .checked_sub(1)
            .map_or(0, |before| self.entries[before].lines.end);
        let mut start = self.entries[entry].lines.start;
        while start > floor {
            let above = self.text[floor..start - 1]
                .rfind('\n')
                .map_or(floor, |newline| floor + newline + 1);
            if !self.text[above..start].trim_start().starts_with('#') {
                break;
            }
            start = above;
        }
        start
    }

    /// The line end that is used around here.
    pub(super) fn line_end(&self, at: usize) -> &'static str {
        let newline = self.text[..at].rfind('\n').or_else(|| self.text.find('\n'));
        let is_crlf = newline.is_some_and(|newline| self.text[..newline].ends_with('\r'));
        if is_crlf { "\r\n" } else { "\n" }
    }
}

/// Turns the tables of a document into entries.
struct Reader<'a> {
    text: &'a str,
    entries: Vec<Entry>,
}

impl Reader<'_> {
    /// Everything in a table; `names` are the parts of its path that are spelled, without the numbers of list items.
    fn table(&mut self, table: &Table, path: &[String], names: &[usize]) {
        for (name, item) in table {
            let path: Path = [path, &[name.to_owned()]].concat();
            let names = [names, &[path.len() - 1]].concat();
            match item {
                Item::None => {}
                Item::Value(value) => {
                    let Some(leaf) = table.key(name).and_then(Key::span) else {
                        continue;
                    };
                    let first = self.indented(leaf.start);
                    let keys = self.spelled(first, leaf.end, &names);
                    if let Some(value) = self.value(value, path.clone()) {
                        let lines = self.lines(first, value.span.end);
                        self.entries.push(Entry {
                            path,
                            keys,
                            what: What::Pair(value),
                            lines,
                        });
                    }
                }
                Item::Table(below) => {
                    if !below.is_implicit() && !below.is_dotted() {
                        self.header(below, &path, &names, What::Header);
                    }
                    self.table(below, &path, &names);
                }
                Item::ArrayOfTables(list) => {
                    for (index, below) in list.iter().enumerate() {
                        let path: Path = [&path[..], &[(index + 1).to_string()]].concat();
                        self.header(below, &path, &names, What::Item);
                        self.table(below, &path, &names);
                    }
                }
            }
        }
    }

    fn header(&mut self, table: &Table, path: &[String], names: &[usize], what: What) {
        let Some(span) = table.span() else { return };
        let brackets = if matches!(what, What::Item) { 2 } else { 1 };
        let entry = Entry {
            path: path.to_vec(),
            keys: self.spelled(span.start + brackets, span.end, names),
            what,
            lines: self.lines(span.start, span.end),
        };
        self.entries.push(entry);
    }

    /// The dotted keys that begin here; they are the last of these names.
    fn spelled(&self, from: usize, end: usize, names: &[usize]) -> Vec<KeyAt> {
        let mut spans = Vec::new();
        let mut at = from;
        while at < end {
            let rest = &self.text[at..end];
            let length = key_length(rest);
            if length > 0 {
                spans.push(at..at + length);
            }
            // What is between two keys: blanks and a dot.
            at += length.max(rest.chars().next().map_or(1, char::len_utf8));
        }
        let names = &names[names.len().saturating_sub(spans.len())..];
        spans
            .into_iter()
            .zip(names)
            .map(|(span, depth)| KeyAt {
                span,
                depth: *depth,
            })
            .collect()
    }

    fn value(&self, value: &toml_edit::Value, path: Path) -> Option<Value> {
        let span = value.span()?;
        let mut members = Vec::new();
        let holds = match value {
            toml_edit::Value::Array(list) => {
                for (index, item) in list.iter().enumerate() {
                    let path: Path = [&path[..], &[(index + 1).to_string()]].concat();
                    let value = self.value(item, path)?;
                    members.push(Member {
                        keys: Vec::new(),
                        span: value.span.clone(),
                        comma: self.comma(value.span.end),
                        value,
                    });
                }
                Holds::List(members)
            }
            toml_edit::Value::InlineTable(table) => {
                self.members(table, &path, &[], &mut members);
                members.sort_by_key(|it| it.span.start);
                let mut at = span.start + 1;
                for member in &mut members {
                    // The parser keeps where the last of dotted keys stands, not the first.
                    let first = self.blank_end(at);
                    let names: Vec<usize> = (path.len()..member.value.path.len()).collect();
                    member.keys = self.spelled(first, member.span.start, &names);
                    member.span = first..member.value.span.end;
                    at = member.comma.unwrap_or(member.span.end);
                }
                Holds::Table(members)
            }
            _ => Holds::Plain,
        };
        Some(Value { span, path, holds })
    }

    /// The keys of an inline table, each with where its last key ends for a start.
    fn members(
        &self,
        table: &InlineTable,
        path: &[String],
        dotted: &[String],
        found: &mut Vec<Member>,
    ) {
        for (name, value) in table {
            let keys: Path = [dotted, &[name.to_owned()]].concat();
            match value {
                toml_edit::Value::InlineTable(below) if below.is_dotted() => {
                    self.members(below, path, &keys, found)
                }
                _ => {
                    let key = table.key(name).and_then(Key::span);
                    if let Some((key, value)) = key.zip(self.value(value, [path, &keys].concat())) {
                        found.push(Member {
                            keys: Vec::new(),
                            span: key.end..value.span.end,
                            comma: self.comma(value.span.end),
                            value,
                        });
                    }
                }
            }
        }
    }

    /// Where blanks, line ends and comments end.
    fn blank_end(&self, mut at: usize) -> usize {
        loop {
            let rest = &self.text[at..];
            let blank = rest.len() - rest.trim_start().len();
            let comment = if rest[blank..].starts_with('#') {
                rest[blank..].find('\n').unwrap_or(rest.len() - blank)
            } else {
                0
            };
            if blank + comment == 0 {
                return at;
            }
            at += blank + comment;
        }
    }

    /// Where the comma after a member ends.
    fn comma(&self, end: usize) -> Option<usize> {
        let at = self.blank_end(end);
        self.text[at..].starts_with(',').then_some(at + 1)
    }

    /// The first place of this line that is not blank.
    fn indented(&self, at: usize) -> usize {
        let start = self.line_start(at);
        let line = &self.text[start..];
        start + line.len() - line.trim_start().len()
    }

    fn line_start(&self, at: usize) -> usize {
        let start = self.text[..at].rfind('\n').map_or(0, |newline| newline + 1);
        // A byte order mark stays where it is.
        if start == 0 && self.text.starts_with(MARK) {
            MARK.len_utf8()
        } else {
            start
        }
    }

    fn lines(&self, start: usize, end: usize) -> Range<usize> {
        let end = self.text[end..]
            .find('\n')
            .map_or(self.text.len(), |newline| end + newline + 1);
        self.line_start(start)..end
    }
}

/// How long the key is that a text begins with; 0 where it begins with none.
fn key_length(text: &str) -> usize {
    let quote = text
        .chars()
        .next()
        .filter(|first| ['"', '\''].contains(first));
    let Some(quote) = quote else {
        let is_key = |b: &u8| b.is_ascii_alphanumeric() || *b == b'-' || *b == b'_';
        return text.bytes().take_while(|b| is_key(b)).count();
    };
    let mut escaped = false;
    let end = text[1..].find(|c: char| {
        let ends = c == quote && !escaped;
        escaped = c == '\\' && quote == '"' && !escaped;
        ends
    });
    end.map_or(text.len(), |end| end + 2)
}

/// True where a text is one TOML value on one line, with nothing around it.
pub(super) fn is_value(text: &str) -> bool {
    let value = toml::de::DeValue::parse(text);
    !text.contains(['\n', '\r']) && value.is_ok_and(|value| value.span() == (0..text.len()))
}
