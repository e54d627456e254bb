//! Puts sealed lines away and gives them back byte for byte.
//!
//! The first record of an incident carries the whole plan. A tablet meets the same plan a thousand times, so the longest
//! text of a long line is put away once under its hash, and the line names it. A line that would not come back as it was
//! is put away whole.
//!
//! Limits: knows nothing of what a line says but where its texts begin and end.

use super::History;
use crate::journal::chain::{inspect, sha256_hex};
use crate::store::{Store, StoreFault};
use std::collections::BTreeSet;

/// How the keys of all lines begin.
pub(super) const PREFIX: &str = "event/";
/// Lines longer than this have their longest text put away by itself.
const LONG_BYTES: usize = 8 * 1024;
/// How a line begins that names a text; a line itself begins with a brace.
const NAMES_TEXT: char = '@';
/// So many lines are put away with one sync.
const TOGETHER_MAX: usize = 1_000;

pub(super) type Pair = (String, Vec<u8>);

fn prefix(incident: &str) -> String {
    format!("{PREFIX}{incident}/")
}

fn text_key(sha: &str) -> String {
    format!("text/{sha}")
}

impl History {
    /// Puts sealed lines away, those of whose number there is none here yet. Others are left out.
    pub fn add(&self, incident: &str, lines: &[String]) -> Result<(), StoreFault> {
        let events = self.events()?;
        for lines in lines.chunks(TOGETHER_MAX) {
            let pairs = self.missing(incident, lines)?;
            if !pairs.is_empty() {
                events.put(&pairs)?;
            }
        }
        Ok(())
    }

    /// What is to be put so that these lines are here, as far as there is none of their number yet. Of two with the same
    /// number the first counts.
    pub(super) fn missing(
        &self,
        incident: &str,
        lines: &[String],
    ) -> Result<Vec<Pair>, StoreFault> {
        let events = self.events()?;
        let mut pairs: Vec<Pair> = Vec::new();
        let mut seen = BTreeSet::new();
        for line in lines {
            let Ok(sealed) = inspect(line.as_bytes()) else {
                continue;
            };
            let key = format!("{}{:010}", prefix(incident), sealed.seq);
            if seen.insert(sealed.seq) && events.get(&key)?.is_none() {
                put_away(key, line, &mut pairs);
            }
        }
        Ok(pairs)
    }

    /// The lines of an incident that are here, in order, and after them what the generation before has besides.
    pub fn copies(&self, incident: &str) -> Result<Vec<String>, StoreFault> {
        let mut lines = lines_of(self.events()?, incident)?;
        if let Some(older) = self.older.get() {
            let known: BTreeSet<String> = lines.iter().cloned().collect();
            // What cannot be read there any more is what a new generation was begun for.
            let more = lines_of(&**older, incident).unwrap_or_default();
            lines.extend(more.into_iter().filter(|line| !known.contains(line)));
        }
        Ok(lines)
    }

    /// The incidents of which the generation before has lines.
    pub(super) fn older_incidents(&self) -> Vec<String> {
        let mut found = Vec::new();
        let Some(older) = self.older.get() else {
            return found;
        };
        let mut after = PREFIX.to_owned();
        // Nothing stands between the last line of an incident and its name with the sign that follows a slash.
        while let Ok(Some(key)) = older.next(&after)
            && let Some((incident, _)) = key.strip_prefix(PREFIX).and_then(|it| it.split_once('/'))
        {
            after = format!("{PREFIX}{incident}0");
            found.push(incident.to_owned());
        }
        found
    }

    /// How many lines of an incident are here.
    pub(super) fn count(&self, incident: &str) -> Result<u64, StoreFault> {
        self.events()?.count(&prefix(incident))
    }
}

fn lines_of(events: &dyn Store, incident: &str) -> Result<Vec<String>, StoreFault> {
    let mut lines = Vec::new();
    for (_, value) in events.scan(&prefix(incident))? {
        // A value that does not come back whole is no copy; the others still are.
        lines.extend(fetch(events, value)?);
    }
    Ok(lines)
}

/// What is to be put so that this line comes back.
fn put_away(key: String, line: &str, pairs: &mut Vec<Pair>) {
    if let Some((start, end)) = longest_text(line).filter(|_| line.len() > LONG_BYTES) {
        let (before, rest) = line.split_at(start);
        let (text, after) = rest.split_at(end - start);
        let sha = sha256_hex(text.as_bytes());
        let named = format!("{NAMES_TEXT}{sha} {start}\n{before}{after}");
        pairs.push((text_key(&sha), text.as_bytes().to_vec()));
        pairs.push((key, named.into_bytes()));
    } else {
        pairs.push((key, line.as_bytes().to_vec()));
    }
}

/// The line that was put away as this value; none where it, or the text that it names, is not what it was.
fn fetch(events: &dyn Store, value: Vec<u8>) -> Result<Option<String>, StoreFault> {
    let Ok(value) = String::from_utf8(value) else {
        return Ok(None);
    };
    let Some(named) = value.strip_prefix(NAMES_TEXT) else {
        return Ok(Some(value));
    };
    let parts = named.split_once('\n').and_then(|(head, rest)| {
        let (sha, start) = head.split_once(' ')?;
        Some((sha, rest.split_at_checked(start.parse().ok()?)?))
    });
    let Some((sha, (before, after))) = parts else {
        return Ok(None);
    };
    let text = events.get(&text_key(sha))?;
    let text = text.and_then(|bytes| String::from_utf8(bytes).ok());
    Ok(text.map(|text| [before, &text, after].concat()))
}

/// Where the longest text of a JSON object begins and ends, quotation marks left out.
fn longest_text(line: &str) -> Option<(usize, usize)> {
    let mut longest: Option<(usize, usize)> = None;
    let mut open: Option<usize> = None;
    let mut escaped = false;
    for (at, byte) in line.bytes().enumerate() {
        match (open, byte) {
            (Some(_), _) if escaped => escaped = false,
            (Some(_), b'\\') => escaped = true,
            (Some(start), b'"') => {
                if longest.is_none_or(|(from, to)| at - start > to - from) {
                    longest = Some((start, at));
                }
                open = None;
            }
            (None, b'"') => open = Some(at + 1),
            _ => {}
        }
    }
    longest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::MemoryStore;

    #[track_caller]
    fn comes_back(line: &str) -> Vec<Pair> {
        let events = MemoryStore::default();
        let mut pairs = Vec::new();
        put_away("k".to_owned(), line, &mut pairs);
        events.put(&pairs).expect("there is room");
        let value = events.get("k").expect("it is read").expect("it was put");
        let back = fetch(&events, value).expect("it is read");
        assert_eq!(back.as_deref(), Some(line));
        pairs
    }

    #[test]
    fn a_long_text_is_put_away_once_and_every_line_comes_back() {
        let plan = "silo \\\"3\\\" \\\\ é\\n".repeat(1_000);
        let first = comes_back(&format!("{{\"a\":\"\",\"plan\":\"{plan}\",\"seq\":1}}"));
        let other = comes_back(&format!("{{\"seq\":2,\"plan\":\"{plan}\"}}"));
        assert_eq!(first[0], other[0], "the text is the same value");
        assert!(first[1].1.len() < 200 && other[1].1.len() < 200);
        comes_back("{\"seq\":3}");
        comes_back(&format!("{{\"list\":[{}1]}}", "1,".repeat(9_000)));
        comes_back(&"x".repeat(LONG_BYTES + 1));
    }

    #[test]
    fn a_value_whose_text_is_gone_is_no_copy() {
        let events = MemoryStore::default();
        for value in ["@", "@00 5\n{}", "@00 x\n{}", "@00", "@00 99\n{}"] {
            assert_eq!(
                fetch(&events, value.as_bytes().to_vec()),
                Ok(None),
                "{value}"
            );
        }
    }
}
