//! Looks at the report on paper with other people's readers: its words in their order, its pages, its tags, its code.

use super::browser;
use super::golden::{Golden, LONG, PROBLEM, QUIET};
use groundward::report::Paper;
use groundward::report::document::{Block, Document, plain};
use groundward::report::document_pdf::{missing, pdf};
use groundward::report::incident_proof::code_text;
use groundward::words::{Id, Language, Message, label};
use proptest::prelude::*;
use std::path::{Path, PathBuf};
use std::process::Command;

const PAPERS: [Paper; 2] = [Paper::A4, Paper::Letter];

struct Written {
    _folder: tempfile::TempDir,
    path: PathBuf,
    bytes: Vec<u8>,
}

fn written(document: &Document, paper: Paper) -> Written {
    let bytes = pdf(document, paper).expect("a PDF comes of it");
    let folder = tempfile::tempdir().expect("there is room");
    let path = folder.path().join("report.pdf");
    std::fs::write(&path, &bytes).expect("there is room");
    Written {
        _folder: folder,
        path,
        bytes,
    }
}

fn asked(program: &str, arguments: &[&str], pdf: &Path, end: &[&str]) -> String {
    let said = browser::output(Command::new(program).args(arguments).arg(pdf).args(end));
    String::from_utf8_lossy(&said).into_owned()
}

/// Reports of every look.
fn looks() -> Vec<Document> {
    let each = Language::ALL_SPOKEN.into_iter().flat_map(|language| {
        [
            Golden::of(QUIET).rescued().document(language, &[]),
            Golden::of(LONG).document(language, &[PROBLEM]),
        ]
    });
    each.collect()
}

/// The texts of the report in their order, as the tags of its PDF should tell them.
fn told(document: &Document) -> String {
    let mut all = document.title.clone();
    let mut add = |text: &str| all.push_str(text);
    for block in &document.blocks {
        match block {
            Block::Heading { text, .. } => add(text),
            Block::Paragraph { spans, .. } => add(&plain(spans)),
            Block::Points(points) => points.iter().for_each(|it| add(&plain(it))),
            Block::Pairs(pairs) => pairs.iter().for_each(|(name, spans)| {
                add(name);
                add(&plain(spans));
            }),
            Block::Caution { heading, lines } => {
                add(heading);
                lines.iter().for_each(|it| add(&plain(it)));
            }
            Block::Table(table) => {
                add(&table.caption);
                table.columns.iter().for_each(|it| add(&it.name));
                let cells = table.rows.iter().flat_map(|it| &it.cells);
                cells.for_each(|it| add(&plain(it)));
            }
            Block::Figure(drawing) => add(&drawing.title),
            Block::Groups { name, groups } => {
                add(name);
                groups.iter().for_each(|it| add(it));
            }
            Block::Code { told, .. } => add(told),
        }
    }
    all.split_whitespace().collect()
}

/// What the tags of a PDF tell, in their order, without the letters inside pictures.
fn heard(said: &str) -> String {
    let mut all = String::new();
    let mut picture: Option<usize> = None;
    for line in said.lines() {
        let depth = line.len() - line.trim_start().len();
        if picture.is_some_and(|it| depth <= it) {
            picture = None;
        }
        let line = line.trim();
        if line.starts_with("Figure") {
            picture = picture.or(Some(depth));
        }
        let text = line.strip_prefix('"').and_then(|it| it.strip_suffix('"'));
        if let Some(text) = text.filter(|_| picture.is_none()) {
            all.push_str(text);
        }
    }
    all.split_whitespace().collect()
}

#[test]
fn whoever_listens_to_it_hears_every_text_in_its_order() {
    for document in looks() {
        for paper in PAPERS {
            let written = written(&document, paper);
            let said = asked("pdfinfo", &["-struct-text"], &written.path, &[]);
            let (heard, told) = (heard(&said), told(&document));
            let same = heard.chars().zip(told.chars()).take_while(|(a, b)| a == b);
            let same = same.count();
            let near = |text: &str| {
                text.chars()
                    .skip(same.saturating_sub(40))
                    .take(90)
                    .collect::<String>()
            };
            assert!(
                heard == told,
                "{paper:?}: {:?} and not {:?}",
                near(&heard),
                near(&told)
            );
            let tags = "H1 |H2 |Table |THead|TH:|/Scope /Row|/Scope /Column|TD|Caption|Figure|L (|LBody|Link";
            for tag in tags.split('|') {
                assert!(said.contains(tag), "no {tag} in it");
            }
            // It says of itself that it keeps to PDF/UA-1 (ISO 14289-1, 5), and its writer has checked what it could.
            assert!(String::from_utf8_lossy(&written.bytes).contains("pdfuaid:part"));
        }
    }
}

#[test]
fn its_pages_have_a_title_a_size_a_language_and_their_letters() {
    for document in looks() {
        for (paper, size) in [(Paper::A4, "595.28 x 841.89"), (Paper::Letter, "612 x 792")] {
            let written = written(&document, paper);
            let said = asked("pdfinfo", &[], &written.path, &[]);
            assert!(said.contains(&document.title), "{said}");
            assert!(
                said.contains(size) && said.contains("Tagged:          yes"),
                "{said}"
            );
            let fonts = asked("pdffonts", &[], &written.path, &[]);
            let fonts: Vec<&str> = fonts.lines().skip(2).collect();
            assert_eq!(fonts.len(), 2, "{fonts:?}");
            for font in fonts {
                // Embedded, a subset, and with a map back to letters.
                assert!(
                    font.contains("B612") && font.contains("yes yes yes"),
                    "{font}"
                );
            }
            let raw = String::from_utf8_lossy(&written.bytes).into_owned();
            assert!(
                raw.contains(&format!("/Lang({})", document.language.tag()))
                    || raw.contains(&format!("/Lang ({})", document.language.tag()))
            );
        }
    }
}

/// A word on a page: left, top, right, bottom.
struct Word {
    text: String,
    edges: [f64; 4],
}

/// The pages of a PDF: how large each is, and its words.
fn words(pdf: &Path) -> Vec<([f64; 2], Vec<Word>)> {
    let said = asked("pdftotext", &["-bbox"], pdf, &["-"]);
    let number = |line: &str, name: &str| -> f64 {
        let (_, rest) = line
            .split_once(&format!("{name}=\""))
            .expect("it has all its edges");
        rest.split_once('"')
            .expect("it ends")
            .0
            .parse()
            .expect("an edge is a number")
    };
    let mut pages: Vec<([f64; 2], Vec<Word>)> = Vec::new();
    for line in said.lines().map(str::trim) {
        if line.starts_with("<page ") {
            pages.push(([number(line, "width"), number(line, "height")], Vec::new()));
        } else if line.starts_with("<word ") {
            let (_, rest) = line.split_once('>').expect("the tag ends");
            let text = rest.trim_end_matches("</word>").to_owned();
            let edges = ["xMin", "yMin", "xMax", "yMax"].map(|name| number(line, name));
            let page = pages.last_mut().expect("a word is on a page");
            page.1.push(Word { text, edges });
        }
    }
    pages
}

fn check_pages(document: &Document, paper: Paper) -> usize {
    let pages = words(&written(document, paper).path);
    let of = pages.len().to_string();
    for (index, (size, words)) in pages.iter().enumerate() {
        let text: Vec<&str> = words.iter().map(|it| it.text.as_str()).collect();
        let text = text.join(" ");
        let number = (index + 1).to_string();
        let page = Message::with(Id::CardPage, [&number, &of]).text(document.language);
        assert!(text.contains(&page), "{page} is not on it: {text}");
        for mark in &document.marks {
            assert!(
                text.contains(mark.as_str()),
                "page {number} does not say {mark}"
            );
        }
        for word in words {
            let [left, top, right, bottom] = word.edges;
            let inside =
                left >= 20.0 && top >= 20.0 && right <= size[0] - 20.0 && bottom <= size[1] - 20.0;
            assert!(
                inside,
                "{paper:?}, page {number}: {} is at its edge",
                word.text
            );
        }
        for (i, one) in words.iter().enumerate() {
            for other in &words[i + 1..] {
                // A box is as high as a line, so those of two lines touch; a third of a line is letters on letters.
                let across = one.edges[2].min(other.edges[2]) - one.edges[0].max(other.edges[0]);
                let down = one.edges[3].min(other.edges[3]) - one.edges[1].max(other.edges[1]);
                let high = (one.edges[3] - one.edges[1]).min(other.edges[3] - other.edges[1]);
                assert!(
                    across <= 0.6 || down <= high * 0.34,
                    "{paper:?}, page {number}: {} lies on {}",
                    one.text,
                    other.text
                );
            }
        }
    }
    pages.len()
}

#[test]
fn nothing_is_cut_or_lies_on_another_thing_and_every_page_says_what_it_is() {
    for document in looks() {
        for paper in PAPERS {
            assert!(check_pages(&document, paper) >= 4);
        }
    }
}

#[test]
fn a_table_that_goes_on_has_its_heads_on_every_page() {
    let document = Golden::of(LONG).document(Language::English, &[]);
    let heads = [
        Id::IncidentReportNumber,
        Id::IncidentReportClock,
        Id::IncidentReportHappened,
    ];
    let heads = heads.map(|id| label(id, Language::English));
    for paper in PAPERS {
        let pages = words(&written(&document, paper).path);
        // Each record has the clock of the place in its row, four digits and a colon.
        let is_clock = |it: &&Word| it.text.len() == 5 && it.text.as_bytes()[2] == b':';
        let with_rows = pages
            .iter()
            .filter(|(_, words)| words.iter().filter(is_clock).count() > 20);
        let with_rows: Vec<_> = with_rows.collect();
        assert!(with_rows.len() >= 3);
        for (_, words) in with_rows {
            for head in &heads {
                assert!(
                    words.iter().any(|it| it.text == *head),
                    "{head} is not above its column"
                );
            }
        }
    }
}

#[test]
fn a_camera_reads_the_head_from_paper() {
    for (incident, paper) in [(QUIET, Paper::A4), (LONG, Paper::Letter)] {
        let golden = Golden::of(incident);
        let written = written(&golden.document(Language::English, &[]), paper);
        let folder = tempfile::tempdir().expect("there is room");
        let pictures = browser::pictures(&written.path, folder.path());
        let last = pictures.last().expect("there are pages");
        let told = code_text(&golden.incident, golden.records.len(), &golden.head);
        assert_eq!(browser::codes(last), [told]);
    }
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    let document = Golden::of(LONG).document(Language::English, &[]);
    assert_eq!(pdf(&document, Paper::A4), pdf(&document, Paper::A4));
}

#[test]
fn letters_that_the_face_lacks_are_named_and_the_report_comes_all_the_same() {
    let text = "\u{5d0}\u{1f600}".repeat(20);
    let golden = Golden::of(QUIET)
        .begun(40)
        .with_texts(&text, |at| at % 5 == 0);
    let document = golden.document(Language::English, &[]);
    let missing: String = missing(&document).into_iter().collect();
    assert_eq!(missing, "\u{5d0}\u{1f600}");
    // An empty box is no letter, so it must not say that it keeps to the standard.
    let made = written(&document, Paper::A4);
    assert!(!String::from_utf8_lossy(&made.bytes).contains("pdfuaid:part"));
    assert!(words(&made.path).len() >= 2);
}

#[test]
fn a_word_longer_than_a_page_is_parted_and_lost_nowhere() {
    let text = "W".repeat(10_000);
    let golden = Golden::of(QUIET).begun(12).with_texts(&text, |at| at == 9);
    let document = golden.document(Language::English, &[&text]);
    check_pages(&document, Paper::A4);
    let wanted = told(&document).matches('W').count();
    let said = asked(
        "pdfinfo",
        &["-struct-text"],
        &written(&document, Paper::A4).path,
        &[],
    );
    assert_eq!(heard(&said).matches('W').count(), wanted);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn no_text_keeps_the_report_from_coming(text in "(?s).{1,200}", count in 1_usize..40) {
        let golden = Golden::of(QUIET).begun(count).with_texts(&text, |at| at % 3 == 0);
        let document = golden.document(Language::English, &[&text]);
        let made = pdf(&document, Paper::Letter);
        prop_assert!(made.is_ok_and(|it| it.starts_with(b"%PDF-")));
    }
}
