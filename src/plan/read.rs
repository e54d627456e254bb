//! Turns the bytes of a plan file into a plan, and says everything that is wrong with them at once.
//!
//! The file is TOML with `format = 1`. A plan is handed out only when no finding is of error level; whoever asked keeps
//! the last good one. What a table may hold is said in `model.rs`; what the whole must hold together in `check.rs`.
//!
//! The bytes may come from a stick somebody found, so size, nesting and the number of parts are checked before the parser
//! sees them: it makes a few errors of a part or one table, and cannot be stopped in the middle. Whatever the
//! bytes are, time and memory are bounded by these limits.

use std::collections::BTreeSet;
use std::ops::Range;

use chrono::NaiveDate;
use toml::de::{DeTable, Error};

use super::check;
use super::fields::{Fields, short};
use super::findings::{Finding, Gathered, Kind, Reference};
use super::model::Plan;

/// Largest plan file, in bytes.
pub const BYTES_MAX: usize = 8 * 1024 * 1024;

/// Deepest nesting of tables and lists.
pub const LEVELS_MAX: usize = 64;

/// Most parts of a file in which a list that is not closed is told apart from what follows it.
const MENDED_PARTS_MAX: usize = 250_000;

/// Lines above a key that stands twice among which the first one is looked for.
const LINES_SEARCHED_MAX: usize = 5_000;

/// Most parts of a plan file: words, texts, comments, signs, line ends. Forty times those of a built-in site.
pub const PARTS_MAX: usize = 1_000_000;

/// Most opening brackets, and dots between names, of a plan file. Each can make a table, which costs more than a word.
pub const TABLES_MAX: usize = 200_000;

/// What came of reading a plan file.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The plan, when no finding is of error level.
    pub plan: Option<Plan>,
    /// Everything that was found, in the order of the file.
    pub findings: Vec<Finding>,
    /// Where something of the file is named elsewhere in it, in no particular order.
    pub references: Vec<Reference>,
}

/// Reads a plan file; the name is only for sentences about the file as a whole. Dates are read, and not compared with any.
pub fn read(name: &str, bytes: &[u8]) -> Reading {
    read_at(name, bytes, None)
}

/// Reads a plan file as `read` does, and finds what is overdue on a day.
pub fn read_on(name: &str, bytes: &[u8], today: NaiveDate) -> Reading {
    read_at(name, bytes, Some(today))
}

fn read_at(name: &str, bytes: &[u8], today: Option<NaiveDate>) -> Reading {
    let gathered = Gathered::default();
    let text = bytes.utf8_chunks().next().map_or("", |chunk| chunk.valid());
    let end = text.len()..text.len();
    let mut plan = None;
    if bytes.len() > BYTES_MAX {
        let message = format!(
            "{name} has {} bytes, more than the {BYTES_MAX} a plan may have",
            bytes.len()
        );
        gathered.add(
            Kind::TooLarge,
            0..0,
            "",
            message,
            "check that this is a plan file",
        );
    } else if text.len() < bytes.len() {
        let message = format!("{name} is not UTF-8 text from byte {} on", text.len() + 1);
        gathered.add(Kind::NotUtf8, end, "", message, "save it as UTF-8 text");
    } else {
        match Weigher::weigh(text) {
            Ok(parts) => plan = Some(parse(text, parts, &gathered, today)),
            Err((excess, at)) => refuse(&gathered, name, excess, at),
        }
    }
    Reading {
        plan: plan.filter(|_| !gathered.refused()),
        references: gathered.take_references(),
        findings: gathered.in_order(text),
    }
}

/// Says which limit of what is worth parsing is exceeded, and where.
fn refuse(gathered: &Gathered, name: &str, excess: Excess, at: usize) {
    let divide = "check that this is a plan file; divide a site that is really this large";
    let (kind, message, help) = match excess {
        Excess::Levels => (
            Kind::TooDeep,
            format!("tables or lists are nested more than {LEVELS_MAX} levels deep"),
            "check the brackets; a plan needs ten levels",
        ),
        Excess::Parts => (
            Kind::TooManyParts,
            format!("{name} has more than {PARTS_MAX} words, texts, signs and lines"),
            divide,
        ),
        Excess::Tables => (
            Kind::TooManyParts,
            format!("{name} has more than {TABLES_MAX} opening brackets and dots"),
            divide,
        ),
    };
    gathered.add(kind, at..at, "", message, help);
}

/// A limit of what is worth parsing.
#[derive(Clone, Copy)]
enum Excess {
    Levels,
    Parts,
    Tables,
}

/// Goes over a text the way the parser would cut it up, and counts parts and levels.
struct Weigher<'a> {
    bytes: &'a [u8],
    at: usize,
    parts: usize,
    tables: usize,
    /// Levels of the header above this line.
    header: usize,
    in_header: bool,
    /// Levels outside of each open bracket, and where it stands.
    opened: Vec<(usize, usize)>,
    /// Levels of where this is, and the dots of the key that is being read.
    base: usize,
    dots: usize,
}

impl<'a> Weigher<'a> {
    /// How many parts a text has, or where it first exceeds a limit, and which.
    fn weigh(text: &'a str) -> Result<usize, (Excess, usize)> {
        let mut weigher = Weigher::new(text);
        weigher.run()?;
        Ok(weigher.parts)
    }

    /// Where the bracket stands that is open at the end of a text: the outermost one.
    fn still_open(text: &'a str) -> Option<usize> {
        let mut weigher = Weigher::new(text);
        weigher.run().ok()?;
        weigher.opened.first().map(|(_, at)| *at)
    }

    fn new(text: &'a str) -> Weigher<'a> {
        Weigher {
            bytes: text.as_bytes(),
            at: 0,
            parts: 0,
            tables: 0,
            header: 0,
            in_header: false,
            opened: Vec::new(),
            base: 0,
            dots: 0,
        }
    }

    fn run(&mut self) -> Result<(), (Excess, usize)> {
        let mut first_in_line = true;
        while self.at < self.bytes.len() {
            let start = self.at;
            let byte = self.bytes[start];
            self.at = self.part_end();
            if byte == b' ' || byte == b'\t' {
                continue;
            }
            self.nest(byte, start, first_in_line);
            first_in_line = byte == b'\n' && self.opened.is_empty();
            self.parts += 1;
            self.tables += usize::from(b"[{.".contains(&byte));
            let above = if self.in_header { 0 } else { self.header };
            if above + self.base + self.dots > LEVELS_MAX {
                return Err((Excess::Levels, start));
            }
            if self.parts > PARTS_MAX {
                return Err((Excess::Parts, start));
            }
            if self.tables > TABLES_MAX {
                return Err((Excess::Tables, start));
            }
        }
        Ok(())
    }

    /// Follows the brackets and the dots between keys.
    fn nest(&mut self, byte: u8, at: usize, first_in_line: bool) {
        match byte {
            b'[' | b'{' => {
                if first_in_line {
                    (self.in_header, self.header) = (true, 0);
                }
                self.opened.push((self.base, at));
                self.base += self.dots + 1;
                self.dots = 0;
            }
            b']' | b'}' => {
                if self.in_header {
                    self.header = self.header.max(self.base + self.dots);
                }
                self.base = self.opened.pop().map_or(0, |(base, _)| base);
                self.dots = 0;
            }
            b'.' => self.dots += 1,
            b',' => self.dots = 0,
            b'\n' if self.opened.is_empty() => (self.dots, self.in_header) = (0, false),
            _ => {}
        }
    }

    /// Where the part that starts here ends. Inside it, what can be a mistake of its own counts as a part of its own.
    fn part_end(&mut self) -> usize {
        let rest = &self.bytes[self.at..];
        let until = |ends: &dyn Fn(u8) -> bool| {
            rest.iter()
                .position(|byte| ends(*byte))
                .unwrap_or(rest.len())
        };
        let length = match rest[0] {
            b' ' | b'\t' => until(&|byte| byte != b' ' && byte != b'\t'),
            b'#' => until(&|byte| byte == b'\n' || byte == b'\r'),
            b'"' | b'\'' => string_length(rest),
            b'[' | b']' | b'{' | b'}' | b'.' | b',' | b'=' | b'\n' | b'\r' => 1,
            _ => until(&|byte| b".=,[]{} \t#\r\n".contains(&byte)),
        };
        self.parts += mistakes(&rest[..length]);
        self.at + length
    }
}

/// Characters of a part that the parser may each have something to say about.
fn mistakes(part: &[u8]) -> usize {
    match part {
        [b'"' | b'\'' | b'#', ..] => {
            let odd = |byte: &&u8| {
                matches!(**byte, b'\\' | 0x7f) || **byte < b' ' && !b"\t\n".contains(*byte)
            };
            part.iter().filter(odd).count()
        }
        [] | [_] | [b' ' | b'\t', ..] => 0,
        _ => match &part[part.iter().take_while(|byte| b"+-".contains(byte)).count()..] {
            // A number in hexadecimals, for one, has as many wrong digits as it has characters.
            [b'0', b'a'..=b'z' | b'A'..=b'Z', ..] => part.len(),
            _ => part
                .iter()
                .filter(|byte| !byte.is_ascii_alphanumeric())
                .count(),
        },
    }
}

/// How long the string is that starts here: to its closing quote, or to the end of the line or text when it has none.
fn string_length(bytes: &[u8]) -> usize {
    let quote = bytes[0];
    let triple = bytes.starts_with(&[quote; 3]);
    let mut at = if triple { 3 } else { 1 };
    while let Some(byte) = bytes.get(at) {
        match byte {
            b'\\' if quote == b'"' => {
                at += usize::from(matches!(bytes.get(at + 1), Some(b'\\' | b'"')))
            }
            b'\n' if !triple => return at,
            _ if *byte == quote && !triple => return at + 1,
            _ if *byte == quote && bytes[at..].starts_with(&[quote; 3]) => {
                // Up to two more quotes belong to the text.
                let more = bytes[at + 3..]
                    .iter()
                    .take(2)
                    .take_while(|byte| **byte == quote);
                return at + 3 + more.count();
            }
            _ => {}
        }
        at += 1;
    }
    bytes.len()
}

/// A list or inline table without its end.
struct Open {
    /// What the parser says.
    what: String,
    /// Its bracket.
    span: Range<usize>,
    /// Where it no longer goes on as one.
    wrong: usize,
}

fn is_unclosed(error: &Error) -> bool {
    error.message().starts_with("unclosed array")
        || error.message().starts_with("unclosed inline table")
}

/// What the parser says, and what to do about it.
fn said(message: &str) -> (String, &str) {
    let (what, help) = message
        .split_once(", ")
        .unwrap_or((message, "mend this line"));
    (format!("this is not TOML: {what}"), help)
}

/// The text without what follows an open list or inline table up to the next header, and where those are.
///
/// For the parser a list without its bracket goes on to the end of the file, and everything in it is wrong. Nobody writes
/// a header in the middle of a list, so that is where the rest of the file begins. Blanks take the place of what is left
/// out, so that everything else stays where it is.
fn without_open_lists(text: &str) -> (String, Vec<Open>) {
    let (mut mended, mut open) = (String::with_capacity(text.len()), Vec::new());
    let is_header = |line: &str| {
        let line = line.split('#').next().unwrap_or_default().trim_end();
        let plain = |b: u8| b.is_ascii_alphanumeric() || b"[]._- ".contains(&b);
        line.starts_with('[') && line.ends_with(']') && line.bytes().all(plain)
    };
    let lines = text.split_inclusive('\n');
    let starts = lines.scan(0, |end, line| {
        let start = *end;
        *end += line.len();
        Some((start, line))
    });
    let headers = starts.filter(|(_, line)| is_header(line)).map(|(at, _)| at);
    let mut start = 0;
    for end in headers.chain([text.len()]) {
        let block = &text[start..end];
        let (_, errors) = DeTable::parse_recoverable(block);
        if let Some(unclosed) = errors.iter().find(|error| is_unclosed(error)) {
            let at = |error: &Error| error.span().map_or(0, |span| span.start);
            let opened = Weigher::still_open(block).unwrap_or(at(unclosed));
            let wrong = errors.iter().map(at).filter(|at| *at >= opened).min();
            let wrong = wrong.unwrap_or(block.len()).min(block.trim_end().len());
            let kept = block[..opened].rfind('\n').map_or(0, |at| at + 1);
            mended.push_str(&block[..kept]);
            let blank = |byte| if byte == b'\n' { '\n' } else { ' ' };
            mended.extend(block[kept..].bytes().map(blank));
            open.push(Open {
                what: unclosed.message().to_owned(),
                span: start + opened..end.min(start + opened + 1),
                wrong: start + wrong,
            });
        } else {
            mended.push_str(block);
        }
        start = end;
    }
    (mended, open)
}

fn parse(text: &str, parts: usize, gathered: &Gathered, today: Option<NaiveDate>) -> Plan {
    let (mut root, mut errors) = DeTable::parse_recoverable(text);
    let (mended, found);
    let mut open = Vec::new();
    if parts <= MENDED_PARTS_MAX && errors.iter().any(is_unclosed) {
        (mended, found) = without_open_lists(text);
        let (rest, others) = DeTable::parse_recoverable(&mended);
        if found.len() + others.len() < errors.len() {
            (root, errors, open) = (rest, others, found);
        }
    }
    let root = root.get_ref();
    let mut whole = open.is_empty();
    for Open { what, span, wrong } in open {
        let (message, help) = said(&what);
        let beside = (
            wrong..wrong,
            "from here on it does not go on as one".to_owned(),
        );
        gathered.add_beside(Kind::Syntax, span, "", message, help, Some(beside));
    }
    for error in &errors {
        let span = error.span().unwrap_or(0..0);
        if error.message() == "duplicate key" {
            if gathered.passes_over(Kind::DuplicateId) {
                continue;
            }
            let name = short(text.get(span.clone()).unwrap_or_default());
            let message = format!("`{name}` stands twice in the same table");
            let help = "give one of the two another name, or drop it";
            let first = first_of_two(text, &span);
            let beside = first.map(|first| (first, format!("the first `{name}`")));
            gathered.add_beside(Kind::DuplicateId, span, &name, message, help, beside);
        } else {
            whole = false;
            if !gathered.passes_over(Kind::Syntax) {
                let (message, help) = said(error.message());
                gathered.add(Kind::Syntax, span, "", message, help);
            }
        }
    }
    drop(errors);
    let mut file = Fields::root(gathered, root);
    file.format();
    let mut plan: Plan = file.read();
    for position in &mut plan.positions {
        // Sorting is stable, so two methods of one rung keep the order of the file.
        position.methods.sort_by_key(|method| method.rung);
    }
    // What a parser makes of a broken file is good enough to look for more mistakes, not to judge the whole.
    if whole {
        check::check(&plan, root, gathered, today);
    }
    // An unknown worker is a warning, yet no reference in a plan leads nowhere.
    let known: BTreeSet<&str> = plan.responders.iter().map(|it| it.id.as_str()).collect();
    for position in &mut plan.positions {
        position
            .workers
            .retain(|worker| known.contains(worker.as_str()));
    }
    plan
}

/// The line above that begins like the one in which this key stands twice, up to the end of the key.
///
/// The parser does not say where the first one is. A key that stands in the middle of a line is not looked for.
fn first_of_two(text: &str, second: &Range<usize>) -> Option<Range<usize>> {
    let start = text
        .get(..second.start)?
        .rfind('\n')
        .map_or(0, |newline| newline + 1);
    let begins = text.get(start..second.end)?;
    let is_header = begins.starts_with('[');
    let mut end = start;
    for line in text[..start]
        .split_inclusive('\n')
        .rev()
        .take(LINES_SEARCHED_MAX)
    {
        end -= line.len();
        let ends = |rest: &str| {
            rest.trim_start()
                .starts_with(if is_header { ']' } else { '=' })
        };
        if line.strip_prefix(begins).is_some_and(ends) {
            let shift = start - end;
            return Some(second.start - shift..second.end - shift);
        }
        if !is_header && line.starts_with('[') {
            return None;
        }
    }
    None
}
