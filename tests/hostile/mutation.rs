//! Makes inputs out of kept ones: a seed and a list of edits, so that what fails can be made small edit by edit.
//!
//! Most edits know nothing of what the bytes mean. A few know lines, numbers and the words below, because an input that is
//! nearly right gets further in than one that is refused at its first byte.

use proptest::prelude::*;

/// No input is larger.
const INPUT_BYTES_MAX: usize = 64 * 1_024;
const EDITS_MAX: usize = 12;

/// Numbers at the ends of ranges, and texts that mean something to some reader.
const WORDS: &[&[u8]] = &[
    b"0",
    b"-1",
    b"1e999",
    b"-0.0",
    b"255",
    b"65535",
    b"4294967295",
    b"4294967296",
    b"9223372036854775807",
    b"9223372036854775808",
    b"-9223372036854775808",
    b"18446744073709551615",
    b"999999999999",
    b"1000000000000",
    b"0.000000001",
    b"NaN",
    b"inf",
    b"null",
    b"true",
    b"[]",
    b"{}",
    b"\"\"",
    b"\"",
    b"'''",
    b"\"\"\"",
    b"\\",
    b"\\u0000",
    b"\\ud800",
    b"\n",
    b"\r\n",
    b"\n\n",
    b"\0",
    b"\x1b[2J",
    b"\xff",
    b"\xef\xbb\xbf",
    "\u{2028}".as_bytes(),
    "\u{202e}".as_bytes(),
    "é".as_bytes(),
    "\u{1f600}".as_bytes(),
    b"[",
    b"]",
    b"[[",
    b"{",
    b"}",
    b"=",
    b".",
    b",",
    b":",
    b"#",
    b"-",
    b"+",
    b"/",
    b"..",
    b" mm",
    b" m",
    b" ft",
    b" kg",
    b" kN",
    b" m/s",
    b" min",
    b" d",
    b" %",
    b"999999999999 m",
    b"0 m",
    b"2026-02-29",
    b"9999-12-31",
    b"9999-12-31T23:59:60Z",
    b"-----\n",
    b"\n[position.edge]\n",
    b"workers",
    b"ladder",
    b"ada",
    b"\"seq\":",
    b"\"kind\":",
    b"\"body\":",
    b"\"casualty\":",
    b"corrected",
    b"unknown",
    b"0000000000000000",
    b"IDAT",
    b"\x7f\xff\xff\xff",
];

/// How an input is made.
#[derive(Clone, Debug)]
pub(super) struct Recipe {
    seed: usize,
    edits: Vec<Edit>,
}

/// One change. Places and lengths are shares of what is there, so that they stay meaningful while other edits go.
#[derive(Clone, Debug)]
enum Edit {
    /// Turns one bit over.
    Flip(Share, u8),
    /// Puts a byte in the place of another.
    Set(Share, u8),
    /// Puts a byte between others.
    Insert(Share, u8),
    /// Takes bytes out.
    Delete(Share, u8),
    /// Cuts everything after a place off.
    Cut(Share),
    /// Puts bytes from one place to another as well.
    Copy(Share, u8, Share),
    /// Puts bytes of another seed in.
    Splice(usize, Share, u8, Share),
    /// Puts a word in.
    Word(Share, usize),
    /// Puts a word in the place of the number that stands there or next.
    Number(Share, usize),
    /// Puts a few bytes many times over where they stand.
    Repeat(Share, u8, u16),
    /// Takes a line out and puts it before another.
    MoveLine(Share, Share),
    /// Puts a line before another as well.
    CopyLine(Share, Share),
    /// Takes a line out.
    DropLine(Share),
}

/// A share of a length: 0 is the beginning, the largest is the end.
#[derive(Clone, Copy, Debug)]
struct Share(u16);

impl Share {
    fn of(self, length: usize) -> usize {
        usize::from(self.0) * (length + 1) / 65_536
    }
}

/// Recipes for inputs made from so many seeds.
pub(super) fn mutated(seeds: usize) -> impl Strategy<Value = Recipe> {
    let edits = prop::collection::vec(edit(seeds), 1..EDITS_MAX);
    (0..seeds, edits).prop_map(|(seed, edits)| Recipe { seed, edits })
}

fn edit(seeds: usize) -> impl Strategy<Value = Edit> {
    let share = || any::<u16>().prop_map(Share);
    let word = || 0..WORDS.len();
    prop_oneof![
        2 => (share(), 0..8_u8).prop_map(|(at, bit)| Edit::Flip(at, bit)),
        2 => (share(), any::<u8>()).prop_map(|(at, byte)| Edit::Set(at, byte)),
        1 => (share(), any::<u8>()).prop_map(|(at, byte)| Edit::Insert(at, byte)),
        2 => (share(), 1..=64_u8).prop_map(|(at, length)| Edit::Delete(at, length)),
        1 => share().prop_map(Edit::Cut),
        1 => (share(), 1..=255_u8, share()).prop_map(|(from, length, to)| Edit::Copy(from, length, to)),
        1 => (0..seeds, share(), 1..=255_u8, share()).prop_map(|(seed, from, length, to)| Edit::Splice(seed, from, length, to)),
        2 => (share(), word()).prop_map(|(at, word)| Edit::Word(at, word)),
        5 => (share(), word()).prop_map(|(at, word)| Edit::Number(at, word)),
        1 => (share(), 1..=8_u8, 2..3_000_u16).prop_map(|(at, length, times)| Edit::Repeat(at, length, times)),
        3 => (share(), share()).prop_map(|(from, to)| Edit::MoveLine(from, to)),
        2 => (share(), share()).prop_map(|(from, to)| Edit::CopyLine(from, to)),
        3 => share().prop_map(Edit::DropLine),
    ]
}

/// Kept inputs that others are made from.
pub(super) struct Seeds {
    all: Vec<Vec<u8>>,
}

impl Seeds {
    pub(super) fn new(all: Vec<Vec<u8>>) -> Seeds {
        Seeds { all }
    }

    pub(super) fn len(&self) -> usize {
        self.all.len()
    }

    /// What a recipe makes.
    pub(super) fn made(&self, recipe: &Recipe) -> Vec<u8> {
        let mut bytes = self.all[recipe.seed].clone();
        for edit in &recipe.edits {
            self.change(&mut bytes, edit);
            bytes.truncate(INPUT_BYTES_MAX);
        }
        bytes
    }

    fn change(&self, bytes: &mut Vec<u8>, edit: &Edit) {
        match *edit {
            Edit::Flip(at, bit) => {
                let at = at.of(bytes.len());
                if let Some(byte) = bytes.get_mut(at) {
                    *byte ^= 1 << bit;
                }
            }
            Edit::Set(at, to) => {
                let at = at.of(bytes.len());
                if let Some(byte) = bytes.get_mut(at) {
                    *byte = to;
                }
            }
            Edit::Insert(at, byte) => bytes.insert(at.of(bytes.len()), byte),
            Edit::Delete(at, length) => {
                let range = run(bytes, at, length);
                bytes.drain(range);
            }
            Edit::Cut(at) => bytes.truncate(at.of(bytes.len())),
            Edit::Copy(from, length, to) => {
                let copied = bytes[run(bytes, from, length)].to_vec();
                put(bytes, to, &copied);
            }
            Edit::Splice(seed, from, length, to) => {
                let other = &self.all[seed];
                put(bytes, to, &other[run(other, from, length)]);
            }
            Edit::Word(at, word) => put(bytes, at, WORDS[word]),
            Edit::Number(at, word) => {
                let from = at.of(bytes.len());
                let start = bytes[from..].iter().position(u8::is_ascii_digit);
                let start = start.map_or(bytes.len(), |skip| from + skip);
                let length = bytes[start..].iter().take_while(|it| it.is_ascii_digit());
                let end = start + length.count();
                bytes.splice(start..end, WORDS[word].iter().copied());
            }
            Edit::Repeat(at, length, times) => {
                let range = run(bytes, at, length);
                let many = bytes[range.clone()].repeat(usize::from(times));
                bytes.splice(range, many);
            }
            Edit::MoveLine(from, to) => {
                let line: Vec<u8> = bytes.drain(line(bytes, from)).collect();
                put_line(bytes, to, &line);
            }
            Edit::CopyLine(from, to) => {
                let line = bytes[line(bytes, from)].to_vec();
                put_line(bytes, to, &line);
            }
            Edit::DropLine(at) => {
                bytes.drain(line(bytes, at));
            }
        }
    }
}

/// So many bytes from a place, or as many as there are.
fn run(bytes: &[u8], at: Share, length: u8) -> std::ops::Range<usize> {
    let start = at.of(bytes.len());
    start..bytes.len().min(start + usize::from(length))
}

/// The line that a place is in, with its newline.
fn line(bytes: &[u8], at: Share) -> std::ops::Range<usize> {
    let at = at.of(bytes.len());
    let newline = |byte: &u8| *byte == b'\n';
    let start = bytes[..at].iter().rposition(newline).map_or(0, |it| it + 1);
    let end = bytes[at..].iter().position(newline);
    start..end.map_or(bytes.len(), |it| at + it + 1)
}

fn put(bytes: &mut Vec<u8>, at: Share, what: &[u8]) {
    let at = at.of(bytes.len());
    bytes.splice(at..at, what.iter().copied());
}

fn put_line(bytes: &mut Vec<u8>, at: Share, what: &[u8]) {
    let start = line(bytes, at).start;
    bytes.splice(start..start, what.iter().copied());
}
