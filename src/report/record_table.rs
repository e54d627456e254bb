//! Writes the record as a table for spreadsheets and programs: RFC 4180, one row a record, in the order of the records.
//!
//! The columns keep their names in every language, because programs look for them; what happened is said in the reader's.
//! The body stands beside it as the record has it, so that nothing is lost to a phrase.
//!
//! Limits: a cell that a spreadsheet would take for a formula gets an apostrophe in front, because a name in a plan must not
//! compute anything on a manager's desk. Whoever needs every byte as it was takes the JSON Lines.

use crate::incident::Record;
use crate::review::lines;
use crate::words::Language;

/// What stands in each column, in their order.
pub const COLUMNS: [&str; 12] = [
    "record",
    "since_fall",
    "elapsed_ms",
    "local_time",
    "casualty",
    "who",
    "who_id",
    "kind",
    "what",
    "cause",
    "body",
    "sha256",
];

/// The table of these records; `hashes` are those of their lines, in the same order.
pub fn csv(records: &[Record], hashes: &[String], language: Language) -> Vec<u8> {
    let mut out = String::new();
    row(&mut out, COLUMNS.map(str::to_owned));
    for (at, (record, line)) in records.iter().zip(lines(records, language)).enumerate() {
        let cells = [
            record.seq.to_string(),
            line.elapsed,
            record.elapsed.0.to_string(),
            record.wall(),
            record.casualty.to_string(),
            line.who,
            record.who.to_string(),
            record.event.kind(),
            line.text,
            record.cause.to_string(),
            record.event.body().to_string(),
            hashes.get(at).cloned().unwrap_or_default(),
        ];
        row(&mut out, cells);
    }
    out.into_bytes()
}

fn row(out: &mut String, cells: [String; COLUMNS.len()]) {
    for (at, cell) in cells.iter().enumerate() {
        if at > 0 {
            out.push(',');
        }
        push(out, cell);
    }
    out.push_str("\r\n");
}

/// One cell. RFC 4180, rules 5 to 7: what holds a comma, a quotation mark or a line break is quoted, and a quotation mark
/// in it is doubled.
fn push(out: &mut String, cell: &str) {
    let is_formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.len() > 1;
    let mark = if is_formula { "'" } else { "" };
    match cell.contains(['"', ',', '\r', '\n']) {
        true => {
            out.push('"');
            out.push_str(mark);
            out.push_str(&cell.replace('"', "\"\""));
            out.push('"');
        }
        false => {
            out.push_str(mark);
            out.push_str(cell);
        }
    }
}
