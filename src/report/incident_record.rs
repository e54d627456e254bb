//! Writes the record itself into the report on an incident: every line, in the order in which it was written.
//!
//! Nothing is left out, so that whoever doubts a sentence of the story can read what it was taken from. What only concerns
//! the program stands there too, in grey.

use super::document::{Block, Column, Kind, Row, Span, Table};
use super::incident::Maker;
use crate::incident::Record;
use crate::review;
use crate::words::{Id, wall_time};

/// The heading and the table of all records.
pub(super) fn record_table(maker: &Maker<'_>, blocks: &mut Vec<Block>) {
    let records = maker.report.records;
    let lines = review::lines(records, maker.report.language);
    let several = maker.facts.casualties.len() > 1;
    let mut columns = vec![
        Column::new(maker.label(Id::IncidentReportNumber), Kind::Head),
        Column::new(maker.label(Id::IncidentReportSince), Kind::Figures),
        Column::new(maker.label(Id::IncidentReportClock), Kind::Figures),
        Column::new(maker.label(Id::IncidentReportWho), Kind::Words),
        Column::new(maker.label(Id::IncidentReportHappened), Kind::Words),
    ];
    if several {
        let casualty = Column::new(maker.label(Id::IncidentReportCasualty), Kind::Figures);
        columns.insert(3, casualty);
    }
    let row = |(record, line): (&Record, review::Line)| {
        let mut cells = vec![
            vec![Span::text(&record.seq.to_string())],
            vec![Span::text(some(&line.elapsed))],
            vec![Span::text(&local(record))],
            vec![Span::text(some(&line.who))],
            vec![Span::text(some(&line.text))],
        ];
        if several {
            cells.insert(3, vec![Span::text(&record.casualty.to_string())]);
        }
        Row {
            record: Some(record.seq),
            quiet: line.inner,
            cells,
        }
    };
    blocks.push(Block::heading(
        "record",
        maker.label(Id::IncidentReportRecord),
    ));
    blocks.push(Block::Table(Table {
        caption: maker.label(Id::IncidentReportRecordCaption),
        columns,
        rows: records.iter().zip(lines).map(row).collect(),
    }));
}

/// The clock of the place when a record was written.
fn local(record: &Record) -> String {
    wall_time(record.now.wall_ms, record.now.offset_min)
}

/// A text, or a dash where it is empty, so that every cell says something.
fn some(text: &str) -> &str {
    if text.is_empty() { "–" } else { text }
}
