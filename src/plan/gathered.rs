//! Gathers what is wrong with a plan while it is read, and puts it in the order of the file.
//!
//! Finding things is cheap however much there is to find: beyond the first findings they are only counted, names are
//! compared for an advice only so often, and lines are counted once. Nothing that is said is endless or can command a
//! terminal, whatever stands in the file.

use std::cell::{Cell, Ref, RefCell};
use std::collections::BTreeSet;
use std::ops::Range;

use super::findings::{FINDINGS_MAX, Finding, Kind, Level, Related};
use super::source::Group;

/// Most names that are compared for an advice.
const CANDIDATES_MAX: usize = 1_000;

/// Most pairs of letters that are compared for all advices together; a file that needs more is told no more of them.
const COMPARED_MAX: usize = 20_000_000;

/// Letters that are compared of a name.
const COMPARED_LETTERS_MAX: usize = 64;

/// Longest sentence of a finding, in characters: what stands in the file may be longer than anybody reads.
const SENTENCE_MAX: usize = 2_500;

/// Gathers findings while a plan is read.
#[derive(Default)]
pub(super) struct Gathered {
    findings: RefCell<Vec<Finding>>,
    error_places: RefCell<BTreeSet<String>>,
    refused: Cell<bool>,
    left_out: Cell<usize>,
    compared: Cell<usize>,
    references: RefCell<Vec<Reference>>,
}

/// A place of the file where something else of the file is named.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reference {
    /// Dotted path of the key or list item.
    pub at: String,
    /// Where it stands.
    pub span: Range<usize>,
    /// Dotted path of the table that it names, whether or not that is there.
    pub target: String,
    /// What a sentence calls what it names.
    pub(super) group: Group,
}

impl Gathered {
    /// Adds a finding; line and column are counted at the end, in one pass over the file.
    pub(super) fn add(
        &self,
        kind: Kind,
        span: Range<usize>,
        place: &str,
        message: String,
        help: impl Into<String>,
    ) {
        self.add_beside(kind, span, place, message, help, None);
    }

    /// Adds a finding, and another place that it has to do with: its bytes, and what stands there.
    pub(super) fn add_beside(
        &self,
        kind: Kind,
        span: Range<usize>,
        place: &str,
        message: String,
        help: impl Into<String>,
        beside: Option<(Range<usize>, String)>,
    ) {
        let (id, level) = (kind.id(), kind.level());
        let first_error = level == Level::Error && !self.refused.replace(true);
        if self.full() {
            self.left_out.set(self.left_out.get() + 1);
            if !first_error {
                return;
            }
            // A plan is never refused without a reason that can be read.
            self.findings.borrow_mut().pop();
        }
        if level == Level::Error {
            self.error_places.borrow_mut().insert(place.to_owned());
        }
        let [message, help, place] = [message, help.into(), place.to_owned()].map(printable);
        let related = beside.map(|(span, label)| Related {
            label: printable(label),
            line: 1,
            column: 1,
            span,
        });
        self.findings.borrow_mut().push(Finding {
            id,
            level,
            message,
            help,
            line: 1,
            column: 1,
            span,
            place,
            related: related.into_iter().collect(),
        });
    }

    /// Notes that something is named here.
    pub(super) fn refer(&self, at: &str, span: Range<usize>, group: Group, id: &str) {
        let table = group.table();
        let target = match group {
            // A role belongs to its method, which is the first four parts of any path within it.
            Group::Role => {
                let method: Vec<&str> = at.split('.').take(4).collect();
                format!("{}.{table}.{id}", method.join("."))
            }
            _ => format!("{table}.{id}"),
        };
        self.references.borrow_mut().push(Reference {
            at: at.to_owned(),
            span,
            target,
            group,
        });
    }

    /// Everything that is named in the file, in the order it was read.
    pub(super) fn references(&self) -> Ref<'_, Vec<Reference>> {
        self.references.borrow()
    }

    /// The same, when everything was read.
    pub(super) fn take_references(&self) -> Vec<Reference> {
        self.references.take()
    }

    /// True once further findings are only counted; the last place is for saying so.
    pub(super) fn full(&self) -> bool {
        self.findings.borrow().len() + 1 >= FINDINGS_MAX
    }

    /// Counts one more where a finding of this kind would only be counted, so that nobody has to word it.
    pub(super) fn passes_over(&self, kind: Kind) -> bool {
        let passes = self.full() && (self.refused.get() || kind.level() != Level::Error);
        self.left_out.set(self.left_out.get() + usize::from(passes));
        passes
    }

    /// True when an error was found, so that there is no plan to hand out.
    pub(super) fn refused(&self) -> bool {
        self.refused.get()
    }

    /// The known name that is probably meant: few letters away, at most a third of them.
    pub(super) fn nearest<'n>(
        &self,
        name: &str,
        known: impl IntoIterator<Item = &'n str>,
    ) -> Option<&'n str> {
        if self.full() {
            return None;
        }
        let name: Vec<char> = name.chars().take(COMPARED_LETTERS_MAX).collect();
        let most = name.len().max(3) / 3;
        let (mut best, mut within) = (None, most);
        for word in known.into_iter().take(CANDIDATES_MAX) {
            let letters: Vec<char> = word.chars().take(COMPARED_LETTERS_MAX + most).collect();
            // At least as many edits are needed as one is longer than the other.
            if letters.len().abs_diff(name.len()) > within {
                continue;
            }
            let compared = self.compared.get() + (name.len() + 1) * (letters.len() + 1);
            if compared > COMPARED_MAX {
                return best;
            }
            self.compared.set(compared);
            let edits = edits(&name, &letters);
            if edits < within || edits == within && best.is_none() {
                (best, within) = (Some(word), edits);
            }
        }
        best
    }

    /// True while no error was found at this path or below it, so that what depends on it can be judged.
    pub(super) fn sound(&self, path: &str) -> bool {
        let places = self.error_places.borrow();
        let below = format!("{path}.");
        !places.contains(path)
            && !places
                .range(below.clone()..)
                .next()
                .is_some_and(|place| place.starts_with(&below))
    }

    /// True where an error was found at this very path, such as a table that is not there.
    pub(super) fn spoiled(&self, path: &str) -> bool {
        self.error_places.borrow().contains(path)
    }

    /// Gives the findings in the order of the file, each with its line and column.
    pub(super) fn in_order(self, text: &str) -> Vec<Finding> {
        let mut findings = self.findings.into_inner();
        if let left_out @ 1.. = self.left_out.get() {
            let (id, level) = (Kind::TooMany.id(), Kind::TooMany.level());
            let message = format!("{left_out} more findings are left out");
            let (help, place, span) = (
                "mend those listed and check again".to_owned(),
                String::new(),
                text.len()..text.len(),
            );
            findings.push(Finding {
                id,
                level,
                message,
                help,
                line: 1,
                column: 1,
                span,
                place,
                related: Vec::new(),
            });
        }
        findings.sort_by_key(|finding| finding.span.start);
        number(text, &mut findings);
        // A line that is not TOML makes the rest of it, and what seems to be missing, a guess.
        let is_syntax = |finding: &Finding| finding.id == Kind::Syntax.id();
        let broken: BTreeSet<usize> = findings
            .iter()
            .filter(|f| is_syntax(f))
            .map(|f| f.line)
            .collect();
        if !broken.is_empty() {
            findings.retain(|f| {
                is_syntax(f) || f.id != Kind::MissingKey.id() && !broken.contains(&f.line)
            });
        }
        findings
    }
}

/// Counts lines and columns, in one pass over the file.
fn number(text: &str, findings: &mut [Finding]) {
    let mut places: Vec<(usize, &mut usize, &mut usize)> = Vec::new();
    for finding in findings {
        places.push((finding.span.start, &mut finding.line, &mut finding.column));
        for other in &mut finding.related {
            places.push((other.span.start, &mut other.line, &mut other.column));
        }
    }
    places.sort_by_key(|(start, ..)| *start);
    let (mut line, mut column, mut at) = (1, 1, 0);
    for (start, its_line, its_column) in places {
        let start = text.floor_char_boundary(start);
        for character in text[at..start].chars() {
            (line, column) = if character == '\n' {
                (line + 1, 1)
            } else {
                (line, column + 1)
            };
        }
        at = start;
        (*its_line, *its_column) = (line, column);
    }
}

/// A text that a terminal can show: not endless, and with control characters spelled out, which it might obey.
fn printable(text: String) -> String {
    let shown = match text.char_indices().nth(SENTENCE_MAX) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text,
    };
    if shown.contains(char::is_control) {
        shown.escape_debug().to_string()
    } else {
        shown
    }
}

/// How many letters must be added, dropped, changed or swapped with their neighbour to turn one word into the other.
fn edits(from: &[char], to: &[char]) -> usize {
    // Three rows of the table of least numbers are enough: a swap looks back by two.
    let mut before: Vec<usize> = vec![0; to.len() + 1];
    let mut above: Vec<usize> = vec![0; to.len() + 1];
    let mut row: Vec<usize> = (0..=to.len()).collect();
    for i in 1..=from.len() {
        std::mem::swap(&mut before, &mut above);
        std::mem::swap(&mut above, &mut row);
        row[0] = i;
        for j in 1..=to.len() {
            let changed = above[j - 1] + usize::from(from[i - 1] != to[j - 1]);
            row[j] = changed.min(above[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && from[i - 1] == to[j - 2] && from[i - 2] == to[j - 1] {
                row[j] = row[j].min(before[j - 2] + 1);
            }
        }
    }
    row[to.len()]
}
