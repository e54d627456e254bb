//! Writes into the report on an incident how to check it: the head of the record, and the same as a code for a camera.
//!
//! A chain shows edits, but not that everything was written anew; the head on paper shows that too. The code holds no more
//! than stands beside it in letters, so nobody has to trust a camera.

use qrcodegen::{QrCode, QrCodeEcc};

use super::document::{Block, Span, Tone};
use super::incident::Maker;
use crate::words::Id;

/// How many digits of a hash stand together.
const GROUP: usize = 8;

/// The heading, the head and the code.
pub(super) fn proof(maker: &Maker<'_>, blocks: &mut Vec<Block>) {
    let report = maker.report;
    let count = report.count.to_string();
    blocks.push(Block::heading(
        "proof",
        maker.label(Id::IncidentReportProof),
    ));
    let state = match report.problems.is_empty() {
        true => maker.say(Id::IncidentReportIntact, [&count]),
        false => maker.say(Id::IncidentReportNotIntact, [&count]),
    };
    blocks.push(Block::Paragraph {
        tone: Tone::Plain,
        spans: vec![Span::strong(&state)],
    });
    for problem in report.problems {
        blocks.push(Block::said(problem));
    }
    blocks.push(Block::said(&maker.label(Id::IncidentReportProofHow)));
    let verify = maker.say(Id::IncidentReportProofVerify, [report.incident]);
    blocks.push(maker.said(Tone::Plain, &verify));
    let mut pairs = vec![(
        maker.label(Id::IncidentReportIncident),
        vec![Span::text(report.incident)],
    )];
    if let Some(opening) = maker.opening() {
        pairs.push((
            maker.label(Id::SiteReportPlan),
            vec![Span::text(&opening.plan_name)],
        ));
        pairs.push((
            maker.label(Id::IncidentReportRecordedBy),
            vec![Span::text(&format!("groundward {}", opening.program))],
        ));
    }
    blocks.push(Block::Pairs(pairs));
    blocks.push(Block::Groups {
        name: maker.label(Id::IncidentReportHead),
        groups: groups(report.head),
    });
    // Whoever guesses the names in a plan could try them against its hash.
    if let Some(opening) = maker.opening().filter(|_| !report.shared) {
        blocks.push(Block::Groups {
            name: maker.label(Id::IncidentReportPlanHash),
            groups: groups(&opening.plan_sha),
        });
    }
    let text = code_text(report.incident, report.count, report.head);
    if let Some(cells) = cells(&text) {
        blocks.push(Block::Code {
            told: maker.label(Id::IncidentReportCode),
            cells,
        });
    }
}

/// A hash in groups; whatever else stands there is shown as it is.
fn groups(hash: &str) -> Vec<String> {
    let letters: Vec<char> = super::document::clean(hash).chars().collect();
    letters
        .chunks(GROUP)
        .map(|group| group.iter().collect())
        .collect()
}

/// What the code holds: program, incident, number of records, head, with a space between two.
pub fn code_text(incident: &str, records: usize, head: &str) -> String {
    format!("groundward {incident} {records} {head}")
}

/// The cells of the code for a text, row by row; none where it is longer than any code can be.
fn cells(text: &str) -> Option<Vec<Vec<bool>>> {
    let code = QrCode::encode_text(text, QrCodeEcc::Quartile).ok()?;
    let size = code.size();
    let row = |y: i32| (0..size).map(|x| code.get_module(x, y)).collect();
    Some((0..size).map(row).collect())
}
