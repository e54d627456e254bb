//! Holds a report before it is known whether it goes into a browser or onto paper: headings, sentences, tables, pictures.
//!
//! `document_html` and `document_pdf` write the same document, so that nothing stands in one and not in the other. A sentence
//! can name records; each writer makes a way to their lines of it. All text is cleaned here, once: what a record holds
//! may come from anywhere, and a letter that cannot be seen must not change how those around it are read.

use super::drawing::Drawing;
use crate::words::Language;

/// A report.
#[derive(Clone, Debug, PartialEq)]
pub struct Document {
    /// Its title.
    pub title: String,
    /// Of which kind it is, in a word or two above the title.
    pub kicker: String,
    /// What stands on every page beside the title: the incident.
    pub name: String,
    /// The language of its own words.
    pub language: Language,
    /// What is marked on every page, the gravest first: that it was a drill, that the record was altered.
    pub marks: Vec<String>,
    /// What it says, in the order in which it is read.
    pub blocks: Vec<Block>,
    /// What stands at the foot of every page.
    pub foot: String,
}

/// A part of a report.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// The heading of what follows.
    Heading {
        /// Two below the title, three below that.
        level: u8,
        /// Where links go; letters, digits and hyphens.
        anchor: String,
        /// What it says.
        text: String,
    },
    /// A paragraph.
    Paragraph {
        /// How it stands out.
        tone: Tone,
        /// What it says.
        spans: Vec<Span>,
    },
    /// Several things of one kind, in no order that counts.
    Points(Vec<Vec<Span>>),
    /// Names, each with what it is.
    Pairs(Vec<(String, Vec<Span>)>),
    /// What is to be heeded, in a frame.
    Caution {
        /// What it is about.
        heading: String,
        /// Each a sentence of its own.
        lines: Vec<Vec<Span>>,
    },
    /// A table.
    Table(Table),
    /// A picture.
    Figure(Drawing),
    /// What is compared letter by letter: in groups, so that the eye finds back.
    Groups {
        /// What it is.
        name: String,
        /// The groups in their order.
        groups: Vec<String>,
    },
    /// A code that a camera reads.
    Code {
        /// What it is, in words.
        told: String,
        /// Rows of cells, true for dark ones.
        cells: Vec<Vec<bool>>,
    },
}

/// How a paragraph stands out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tone {
    /// Not at all.
    #[default]
    Plain,
    /// It says the most in the fewest words.
    Loud,
    /// It is said beside the point.
    Quiet,
}

/// A stretch of text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Span {
    /// Words.
    Text(String),
    /// Words that stand out.
    Strong(String),
    /// The number of a record whose line is in this report.
    Record(u64),
}

/// A table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows.
    pub rows: Vec<Row>,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// What it is called.
    pub name: String,
    /// What stands in it.
    pub kind: Kind,
}

/// What stands in a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// What the row is about.
    Head,
    /// Words.
    Words,
    /// Figures, one below the other.
    Figures,
}

/// A row of a table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Row {
    /// The record whose line it is.
    pub record: Option<u64>,
    /// True for what only concerns the program.
    pub quiet: bool,
    /// A cell for each column.
    pub cells: Vec<Vec<Span>>,
}

impl Span {
    /// Words, cleaned.
    pub fn text(text: &str) -> Span {
        Span::Text(clean(text))
    }

    /// Words that stand out, cleaned.
    pub fn strong(text: &str) -> Span {
        Span::Strong(clean(text))
    }
}

impl Column {
    /// A column of a name.
    pub fn new(name: String, kind: Kind) -> Column {
        Column { name, kind }
    }
}

impl Block {
    /// A plain paragraph of one text.
    pub fn said(text: &str) -> Block {
        Block::Paragraph {
            tone: Tone::Plain,
            spans: vec![Span::text(text)],
        }
    }

    /// A paragraph beside the point.
    pub fn quiet(text: &str) -> Block {
        Block::Paragraph {
            tone: Tone::Quiet,
            spans: vec![Span::text(text)],
        }
    }

    /// A heading right below the title.
    pub fn heading(anchor: &str, text: String) -> Block {
        Block::Heading {
            level: 2,
            anchor: anchor.to_owned(),
            text,
        }
    }

    /// A heading below the one before.
    pub fn lesser(anchor: &str, text: &str) -> Block {
        Block::Heading {
            level: 3,
            anchor: anchor.to_owned(),
            text: clean(text),
        }
    }
}

/// The words of some spans, a record by its number.
pub fn plain(spans: &[Span]) -> String {
    let each = spans.iter().map(|span| match span {
        Span::Text(text) | Span::Strong(text) => text.clone(),
        Span::Record(number) => number.to_string(),
    });
    each.collect()
}

impl Document {
    /// Every text in it that is read, in order; what a picture says only in its letters is left out.
    pub fn texts(&self) -> Vec<String> {
        let mut all = vec![self.kicker.clone(), self.title.clone(), self.name.clone()];
        all.extend(self.marks.iter().cloned());
        for block in &self.blocks {
            block.gather(&mut all);
        }
        all.push(self.foot.clone());
        all
    }
}

impl Block {
    fn gather(&self, all: &mut Vec<String>) {
        let mut each = |them: &[Vec<Span>]| all.extend(them.iter().map(|it| plain(it)));
        match self {
            Block::Heading { text, .. } => all.push(text.clone()),
            Block::Paragraph { spans, .. } => all.push(plain(spans)),
            Block::Points(points) => each(points),
            Block::Pairs(pairs) => all.extend(
                pairs
                    .iter()
                    .flat_map(|(name, spans)| [name.clone(), plain(spans)]),
            ),
            Block::Caution { heading, lines } => {
                all.push(heading.clone());
                all.extend(lines.iter().map(|it| plain(it)));
            }
            Block::Table(table) => {
                all.push(table.caption.clone());
                all.extend(table.columns.iter().map(|it| it.name.clone()));
                for row in &table.rows {
                    all.extend(row.cells.iter().map(|it| plain(it)));
                }
            }
            Block::Figure(drawing) => all.push(drawing.title.clone()),
            Block::Groups { name, groups } => {
                all.push(name.clone());
                all.extend(groups.iter().cloned());
            }
            Block::Code { told, .. } => all.push(told.clone()),
        }
    }
}

/// A text in which every letter is seen: a line break becomes a space, and what steers letters or is none becomes a mark.
pub fn clean(text: &str) -> String {
    let seen = |letter: char| match letter {
        '\t' | '\n' | '\r' | '\u{2028}' | '\u{2029}' => ' ',
        letter if letter.is_control() => '\u{fffd}',
        // Marks that turn the direction of what stands beside them, and those that take no room at all.
        '\u{200b}'
        | '\u{200e}'
        | '\u{200f}'
        | '\u{202a}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' => '\u{fffd}',
        '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{fdd0}'..='\u{fdef}' => '\u{fffd}',
        letter if (u32::from(letter) & 0xfffe) == 0xfffe => '\u{fffd}',
        letter => letter,
    };
    text.chars().map(seen).collect()
}

#[cfg(test)]
mod tests {
    use super::clean;

    #[test]
    fn what_cannot_be_seen_is_marked() {
        assert_eq!(clean("a\nb\tc"), "a b c");
        assert_eq!(
            clean("a\u{202e}b\u{0}c\u{feff}d\u{1ffff}"),
            "a\u{fffd}b\u{fffd}c\u{fffd}d\u{fffd}"
        );
        assert_eq!(clean("<ñ & \u{5d0}\u{1f600}>"), "<ñ & \u{5d0}\u{1f600}>");
    }
}
