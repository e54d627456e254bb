//! Makes the slips that somebody makes at a keyboard: one change in a plan, the same one for the same number.
//!
//! A slip happens to one value, one key, one name in a header or one line: another unit, a letter too many, another type, a
//! line gone. It knows what it has changed, so that a test can hold what is found against it. Not every slip is a mistake;
//! some make another plan that is as good.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use crate::support::Chance;

/// A plan with one change in it.
pub(super) struct Edited {
    /// Which slip it is.
    pub(super) slip: &'static str,
    pub(super) text: String,
    /// The lines that were changed, in the changed text; where one is gone, the lines beside it.
    pub(super) lines: Range<usize>,
    /// What follows the change and belongs to it, in the changed text: the lines below a header, the rest of a list.
    pub(super) orphans: Range<usize>,
    /// Dotted paths of what was changed, as it was and as it is.
    pub(super) paths: Vec<String>,
}

/// A key and its value in a plan.
struct Entry {
    path: String,
    /// Nothing for an item of a list.
    key: Option<Range<usize>>,
    value: Range<usize>,
    /// True for a text, number or flag.
    plain: bool,
    /// True for a list of three texts.
    times: bool,
}

/// The slips that somebody makes at a keyboard.
const SLIPS: [&str; 14] = [
    "another unit",
    "no unit",
    "another number",
    "a bare number",
    "a misspelled value",
    "an empty value",
    "another type",
    "a date that does not exist",
    "a misspelled key",
    "a misspelled header",
    "a line too few",
    "a line twice",
    "two times swapped",
    "a quote too few",
];

/// Everything in a plan that a slip can happen to.
pub(super) struct Slips<'a> {
    text: &'a str,
    entries: Vec<Entry>,
}

impl<'a> Slips<'a> {
    pub(super) fn of(text: &'a str) -> Slips<'a> {
        let root = DeTable::parse(text).expect("a built-in plan is TOML");
        let mut entries = Vec::new();
        gather(text, root.get_ref(), "", &mut entries);
        Slips { text, entries }
    }

    /// The slip of this number; the same one every time.
    pub(super) fn slip(&self, number: u64) -> Edited {
        let mut chance = Chance(number);
        // Not every slip can happen to everything: draw until one can.
        loop {
            let slip = SLIPS[draw(&mut chance, SLIPS.len())];
            if let Some(edited) = self
                .draw(slip, &mut chance)
                .filter(|it| it.text != self.text)
            {
                return edited;
            }
        }
    }

    fn draw(&self, slip: &'static str, chance: &mut Chance) -> Option<Edited> {
        if ["a misspelled header", "a line too few", "a line twice"].contains(&slip) {
            return self.line(slip, chance);
        }
        let entry = &self.entries[draw(chance, self.entries.len())];
        let old = &self.text[entry.value.clone()];
        let inner = old.strip_prefix('"').and_then(|it| it.strip_suffix('"'));
        let (number, unit) = inner.and_then(|it| it.split_once(' ')).unwrap_or(("", ""));
        let is_quantity = number.parse::<f64>().is_ok() && !unit.contains(' ');
        let is_date = inner.is_some_and(|it| it.len() == 10 && it.as_bytes()[4] == b'-');
        let new = match slip {
            "another unit" if is_quantity => {
                let units = [
                    "m", "ft", "s", "min", "kN", "lbf", "kg", "lb", "m/s", "%", "yd", "x",
                ];
                format!("\"{number} {}\"", units[draw(chance, units.len())])
            }
            "no unit" if is_quantity => format!("\"{number}\""),
            "another number" if is_quantity => {
                format!(
                    "\"{} {unit}\"",
                    ["0", "1", "999", "-3", "12345", "0.5"][draw(chance, 6)]
                )
            }
            "another number" if old.parse::<i64>().is_ok() => {
                ["0", "3", "20000"][draw(chance, 3)].to_owned()
            }
            "a bare number" if is_quantity => number.to_owned(),
            "a misspelled value" if entry.plain => misspelled(old, chance)?,
            "an empty value" if inner.is_some() => "\"\"".to_owned(),
            "another type" => [
                "true",
                "7",
                "\"x\"",
                "[\"x\"]",
                "{ x = 1 }",
                "1.5",
                "2030-01-01",
            ][draw(chance, 7)]
            .to_owned(),
            "a date that does not exist" if is_date => {
                format!(
                    "\"{}\"",
                    ["2030-02-30", "2030-13-01", "2030-1-1", "31.12.2030"][draw(chance, 4)]
                )
            }
            "two times swapped" if entry.times => {
                let mut times: Vec<&str> = old[1..old.len() - 1].split(", ").collect();
                let first = draw(chance, 2);
                times.swap(first, first + 1);
                format!("[{}]", times.join(", "))
            }
            "a quote too few" if inner.is_some() => old[..old.len() - 1].to_owned(),
            "a misspelled key" => {
                let key = entry.key.clone()?;
                let new = misspelled(&self.text[key.clone()], chance)?;
                let (above, _) = entry.path.rsplit_once('.').unwrap_or(("", &entry.path));
                let renamed = if above.is_empty() {
                    new.clone()
                } else {
                    format!("{above}.{new}")
                };
                return Some(self.replaced(slip, key, &new, vec![entry.path.clone(), renamed]));
            }
            _ => return None,
        };
        Some(self.replaced(slip, entry.value.clone(), &new, vec![entry.path.clone()]))
    }

    /// A slip that concerns a whole line, or the name of a table in its header.
    fn line(&self, slip: &'static str, chance: &mut Chance) -> Option<Edited> {
        let starts: Vec<usize> = std::iter::once(0)
            .chain(self.text.match_indices('\n').map(|(at, _)| at + 1))
            .filter(|at| *at < self.text.len())
            .collect();
        let start = starts[draw(chance, starts.len())];
        let end = start + self.text[start..].find('\n')? + 1;
        let line = &self.text[start..end];
        if line.trim().is_empty() || line.starts_with('#') {
            return None;
        }
        let header = line.trim_matches(['[', ']', '\n']);
        let mut paths: Vec<String> = match line.starts_with('[') {
            // The items of a list are numbered, so the whole list counts.
            true => vec![header.to_owned()],
            false => {
                let touches = |it: &&Entry| {
                    it.value.start < end && it.key.as_ref().unwrap_or(&it.value).end > start
                };
                let touched = self.entries.iter().filter(touches);
                touched.map(|it| it.path.clone()).collect()
            }
        };
        let mut edited = match slip {
            "a misspelled header" => {
                if !line.starts_with('[') {
                    return None;
                }
                let parts: Vec<&str> = header.split('.').collect();
                let part = draw(chance, parts.len());
                let at = start
                    + line.find(header)?
                    + parts[..part].iter().map(|it| it.len() + 1).sum::<usize>();
                let new = misspelled(parts[part], chance)?;
                let mut renamed = parts.clone();
                renamed[part] = &new;
                paths.push(renamed.join("."));
                self.replaced(slip, at..at + parts[part].len(), &new, paths)
            }
            "a line twice" => self.replaced(slip, end..end, line, paths),
            _ => {
                // The lines below a header that is gone belong to the one above it.
                let above = self.text[..start].rfind("\n[").map(|at| &self.text[at..]);
                let above = above.and_then(|it| it.trim_start().lines().next());
                paths.extend(
                    above
                        .filter(|_| line.starts_with('['))
                        .map(|it| it.trim_matches(['[', ']']).to_owned()),
                );
                self.replaced(slip, start..end, "", paths)
            }
        };
        if slip == "a line twice" || slip == "a line too few" {
            edited.lines.start = self.text[..start.saturating_sub(1)]
                .rfind('\n')
                .map_or(0, |at| at + 1);
        }
        if line.starts_with('[') {
            let from = edited.lines.end;
            let below = edited.text[from..].find("\n[");
            edited.orphans = from..below.map_or(edited.text.len(), |at| from + at);
        }
        Some(edited)
    }

    fn replaced(
        &self,
        slip: &'static str,
        span: Range<usize>,
        new: &str,
        paths: Vec<String>,
    ) -> Edited {
        let text = format!(
            "{}{new}{}",
            &self.text[..span.start],
            &self.text[span.end..]
        );
        let end = span.start + new.len();
        let first = text[..span.start].rfind('\n').map_or(0, |at| at + 1);
        let last = text[end..].find('\n').map_or(text.len(), |at| end + at + 1);
        let around = self
            .entries
            .iter()
            .map(|it| &it.value)
            .filter(|it| it.start <= span.end && span.start <= it.end);
        let rest = around
            .map(|it| it.end + new.len())
            .max()
            .map_or(0, |end| end.saturating_sub(span.len()));
        Edited {
            slip,
            orphans: last.min(rest)..rest.min(text.len()),
            text,
            lines: first..last,
            paths,
        }
    }
}

fn draw(chance: &mut Chance, end: usize) -> usize {
    usize::try_from(chance.below(end as u64)).expect("an index below a length fits")
}

/// A word with one letter dropped, doubled, changed or swapped with the next one.
fn misspelled(word: &str, chance: &mut Chance) -> Option<String> {
    let letters: Vec<char> = word.chars().collect();
    let may: Vec<usize> = (0..letters.len())
        .filter(|at| letters[*at].is_alphanumeric())
        .collect();
    let at = *may.get(draw(chance, may.len()))?;
    let mut new = letters.clone();
    match chance.below(4) {
        0 => {
            new.remove(at);
        }
        1 => new.insert(at, letters[at]),
        2 => new[at] = if letters[at] == 'q' { 'k' } else { 'q' },
        _ if at + 1 < letters.len() && letters[at + 1].is_alphanumeric() => new.swap(at, at + 1),
        _ => return None,
    }
    Some(new.into_iter().collect())
}

fn gather(text: &str, table: &DeTable<'_>, above: &str, entries: &mut Vec<Entry>) {
    for (key, value) in table {
        let path = match above {
            "" => key.get_ref().to_string(),
            above => format!("{above}.{}", key.get_ref()),
        };
        one(
            text,
            path,
            Some(key.span()),
            value.get_ref(),
            value.span(),
            entries,
        );
    }
}

fn one(
    text: &str,
    path: String,
    key: Option<Range<usize>>,
    value: &DeValue<'_>,
    span: Range<usize>,
    entries: &mut Vec<Entry>,
) {
    let plain = !matches!(value, DeValue::Array(_) | DeValue::Table(_));
    let times = path.rsplit('.').next() == Some("time")
        && matches!(value, DeValue::Array(it) if it.len() == 3);
    match value {
        DeValue::Table(table) => gather(text, table, &path, entries),
        DeValue::Array(items) => {
            for (number, item) in (1..).zip(items.iter()) {
                one(
                    text,
                    format!("{path}.{number}"),
                    None,
                    item.get_ref(),
                    item.span(),
                    entries,
                );
            }
        }
        _ => {}
    }
    // A table under a header has no value of its own that could be replaced.
    if key.as_ref().is_none_or(|key| key.end < span.start) && !text[span.clone()].starts_with("[[")
    {
        entries.push(Entry {
            path,
            key,
            value: span,
            plain,
            times,
        });
    }
}
