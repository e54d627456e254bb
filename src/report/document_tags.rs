//! Tells who listens to a report on paper what stands where: headings, lists, tables with their heads, pictures in words.
//!
//! What was drawn comes in the order of the pages and with its place in the report; here it is put into the order of the
//! report, so that a row that goes on over a page is still one row.

use std::collections::BTreeMap;
use std::num::NonZeroU16;

use krilla::tagging::{Identifier, ListNumbering, Node, TableHeaderScope, Tag, TagGroup, TagTree};

use super::document::{Block, Document, Kind, Table};
use super::document_lines::{CAPTION, HEADS, ROWS};
use super::document_rows::Place;

/// What was drawn at each place.
#[derive(Default)]
pub(super) struct Read {
    nodes: BTreeMap<Place, Vec<Node>>,
}

/// What was drawn in a block: rows, each of cells.
type Rows = BTreeMap<usize, BTreeMap<usize, Vec<Node>>>;

impl Read {
    /// A text.
    pub(super) fn text(&mut self, place: Place, id: Identifier) {
        self.nodes.entry(place).or_default().push(id.into());
    }

    /// A text that leads somewhere.
    pub(super) fn link(&mut self, place: Place, text: Identifier, way: Identifier) {
        let mut group = TagGroup::new(Tag::Link);
        group.push(text);
        group.push(way);
        self.nodes.entry(place).or_default().push(group.into());
    }

    /// All of it, in the order of the report.
    pub(super) fn tree(self, document: &Document) -> TagTree {
        let mut blocks: BTreeMap<usize, Rows> = BTreeMap::new();
        for (place, nodes) in self.nodes {
            let rows = blocks.entry(place.block).or_default();
            rows.entry(place.row).or_default().insert(place.cell, nodes);
        }
        let mut tree = TagTree::new();
        for (index, mut rows) in blocks {
            let block = index.checked_sub(1).and_then(|it| document.blocks.get(it));
            let Some(block) = block else {
                let title = rows.remove(&1);
                for nodes in all(rows) {
                    tree.push(group(Tag::P, nodes));
                }
                let nodes = title.into_iter().flat_map(|it| it.into_values().flatten());
                tree.push(heading(1, &document.title, nodes.collect()));
                continue;
            };
            for group in told(block, rows) {
                tree.push(group);
            }
        }
        tree
    }
}

fn all(rows: Rows) -> Vec<Vec<Node>> {
    rows.into_values().flat_map(BTreeMap::into_values).collect()
}

fn group(tag: impl Into<krilla::tagging::TagKind>, nodes: Vec<Node>) -> TagGroup {
    let mut group = TagGroup::new(tag);
    nodes.into_iter().for_each(|it| group.push(it));
    group
}

fn heading(level: u8, text: &str, nodes: Vec<Node>) -> TagGroup {
    let level = NonZeroU16::new(u16::from(level)).unwrap_or(NonZeroU16::MIN);
    group(Tag::Hn(level, Some(text.to_owned())), nodes)
}

/// What a block is for who listens.
fn told(block: &Block, mut rows: Rows) -> Vec<TagGroup> {
    let flat = |rows: Rows| all(rows).into_iter().flatten().collect::<Vec<Node>>();
    match block {
        Block::Heading { level, text, .. } => vec![heading(*level, text, flat(rows))],
        Block::Paragraph { .. } | Block::Groups { .. } => vec![group(Tag::P, flat(rows))],
        Block::Points(_) => vec![list(rows)],
        Block::Pairs(_) => vec![pairs(rows)],
        Block::Caution { heading: text, .. } => {
            let title = rows.remove(&0).unwrap_or_default();
            let title = title.into_values().flatten().collect();
            vec![heading(2, text, title), list(rows)]
        }
        Block::Table(it) => vec![table(it, rows)],
        Block::Figure(drawing) => {
            let title = rows.remove(&0).unwrap_or_default();
            let title = title.into_values().flatten().collect();
            let figure = Tag::Figure(Some(drawing.told.clone()));
            vec![group(Tag::P, title), group(figure, flat(rows))]
        }
        Block::Code { told, .. } => {
            let code = rows.remove(&0).unwrap_or_default();
            let code = code.into_values().flatten().collect();
            let figure = Tag::Figure(Some(told.clone()));
            vec![group(figure, code), group(Tag::P, flat(rows))]
        }
    }
}

fn list(rows: Rows) -> TagGroup {
    let items = all(rows).into_iter().map(|nodes| {
        let body = group(Tag::LBody, nodes);
        group(Tag::LI, vec![body.into()]).into()
    });
    group(Tag::L(ListNumbering::Square), items.collect())
}

fn pairs(rows: Rows) -> TagGroup {
    let items = rows.into_values().map(|mut cells| {
        let name = group(Tag::Lbl, cells.remove(&0).unwrap_or_default());
        let what = cells.into_values().flatten().collect();
        let what = group(Tag::LBody, what);
        group(Tag::LI, vec![name.into(), what.into()]).into()
    });
    group(Tag::L(ListNumbering::None), items.collect())
}

fn table(table: &Table, mut rows: Rows) -> TagGroup {
    let mut parts: Vec<Node> = Vec::new();
    if let Some(caption) = rows.remove(&CAPTION) {
        let nodes = caption.into_values().flatten().collect();
        parts.push(group(Tag::Caption, nodes).into());
    }
    let cells = |row: usize, mut cells: BTreeMap<usize, Vec<Node>>| {
        // A cell that says nothing is one all the same, or the next would be heard below the wrong head.
        let each = table.columns.iter().enumerate().map(|(cell, column)| {
            let nodes = cells.remove(&cell).unwrap_or_default();
            match (row, column.kind) {
                (HEADS, _) => group(Tag::TH(TableHeaderScope::Column), nodes),
                (_, Kind::Head) => group(Tag::TH(TableHeaderScope::Row), nodes),
                (_, Kind::Words | Kind::Figures) => group(Tag::TD, nodes),
            }
            .into()
        });
        group(Tag::TR, each.collect())
    };
    if let Some(heads) = rows.remove(&HEADS) {
        let row = cells(HEADS, heads);
        parts.push(group(Tag::THead, vec![row.into()]).into());
    }
    let body = rows.into_iter().filter(|(row, _)| *row >= ROWS);
    let body = body.map(|(row, it)| cells(row, it).into()).collect();
    parts.push(group(Tag::TBody, body).into());
    group(Tag::Table, parts)
}
