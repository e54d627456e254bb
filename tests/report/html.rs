//! Reads the report on an incident as browsers, people and those who listen to it do, and tries to break it from inside.

use super::browser::{self, Theme};
use super::golden::{Golden, LONG, PROBLEM, QUIET};
use crate::readiness_report::{Element, parsed};
use groundward::report::document::{Document, clean};
use groundward::report::document_html::html;
use groundward::report::incident_proof::code_text;
use groundward::words::{Id, Language, label};
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::process::Command;

const LANGUAGES: [Language; 2] = Language::ALL_SPOKEN;

fn page(document: &Document) -> String {
    String::from_utf8(html(document)).expect("it is UTF-8")
}

/// Reports of every look, each with a name.
fn looks() -> Vec<(String, String)> {
    let mut all = Vec::new();
    for language in LANGUAGES {
        let quiet = Golden::of(QUIET).rescued();
        let long = Golden::of(LONG);
        let tag = language.tag();
        all.push((format!("quiet-{tag}"), page(&quiet.document(language, &[]))));
        all.push((
            format!("long-{tag}"),
            page(&long.document(language, &[PROBLEM])),
        ));
    }
    all
}

#[test]
fn the_checker_of_html_and_css_finds_faults_and_none_in_the_report() {
    let folder = tempfile::tempdir().expect("there is room");
    let saved = |name: &str, page: &str| {
        let path = folder.path().join(format!("{name}.html"));
        std::fs::write(&path, page).expect("there is room");
        path
    };
    let all = looks();
    let broken = all[0]
        .1
        .replacen("</caption>", "", 1)
        .replacen(" id=\"r7\"", " id=\"r6\"", 1);
    assert!(browser::complaints(&[saved("broken", &broken)]).len() >= 2);
    let files: Vec<_> = all.iter().map(|(name, page)| saved(name, page)).collect();
    assert_eq!(browser::complaints(&files), Vec::<String>::new());
}

#[test]
fn the_checker_of_accessibility_finds_barriers_and_none_in_the_report() {
    let all = looks();
    let broken = all[0]
        .1
        .replacen("<html lang=\"en\">", "<html>", 1)
        .replacen(
            "<h1>",
            "<p style=\"color:#bbb\">pale</p><a href=\"#short\"></a><h1>",
            1,
        );
    let found = browser::barriers(&broken, Theme::Light).join("\n");
    for rule in ["html-has-lang", "color-contrast", "link-name"] {
        assert!(found.contains(rule), "{rule} is not seen in {found}");
    }
    for (name, page) in &all {
        for theme in [Theme::Light, Theme::Dark] {
            let found = browser::barriers(page, theme);
            assert_eq!(found, Vec::<String>::new(), "{name} {theme:?}");
        }
    }
}

#[test]
fn it_stands_alone_and_every_way_in_it_leads_somewhere() {
    for (name, page) in looks() {
        let root = parsed(&page);
        for it in root.all() {
            assert!(
                !["script", "img", "link", "iframe", "form", "input"].contains(&it.name.as_str())
            );
            let told = ["src", "action", "onclick", "onload", "srcset", "data"];
            assert!(
                told.iter().all(|key| it.attribute(key).is_empty()),
                "{name}: {}",
                it.name
            );
        }
        let policies = root
            .named("meta")
            .into_iter()
            .filter(|it| it.attribute("http-equiv") == "Content-Security-Policy");
        let policies: Vec<&str> = policies.map(|it| it.attribute("content")).collect();
        assert_eq!(policies.len(), 1);
        assert!(policies[0].starts_with("default-src 'none'; style-src 'unsafe-inline';"));
        let all = root.all();
        let ids: Vec<&str> = all
            .iter()
            .map(|it| it.attribute("id"))
            .filter(|it| !it.is_empty())
            .collect();
        let unique: BTreeSet<&str> = ids.iter().copied().collect();
        assert_eq!(ids.len(), unique.len(), "{name}: an id stands twice");
        let ways: Vec<&str> = root
            .named("a")
            .into_iter()
            .map(|it| it.attribute("href"))
            .collect();
        assert!(ways.len() > 40, "{name}: the story names its records");
        for way in ways {
            let to = way
                .strip_prefix('#')
                .unwrap_or_else(|| panic!("{name} leads to {way}"));
            assert!(unique.contains(to), "{name}: nothing is at {way}");
        }
    }
}

#[test]
fn headings_tables_and_landmarks_say_what_they_are() {
    for (name, page) in looks() {
        let root = parsed(&page);
        let mut last = 0;
        let headings = root
            .all()
            .into_iter()
            .filter(|it| it.name.len() == 2 && it.name.starts_with('h') && it.name != "hr");
        for it in headings {
            let level: u32 = it.name[1..].parse().expect("a level is a number");
            assert!(level <= last + 1, "{name}: {} after h{last}", it.name);
            assert!(!it.text.trim().is_empty());
            last = level;
        }
        assert_eq!(root.named("h1").len(), 1);
        for landmark in ["header", "nav", "main", "footer"] {
            assert_eq!(root.named(landmark).len(), 1, "{name}: {landmark}");
        }
        for table in root.named("table") {
            assert_eq!(table.named("caption").len(), 1);
            let heads = table.named("th");
            assert!(
                heads
                    .iter()
                    .all(|it| ["col", "row"].contains(&it.attribute("scope")))
            );
        }
        let pictures: Vec<&Element> = root.named("svg");
        assert_eq!(pictures.len(), 2, "{name}: the line of time and the code");
    }
}

#[test]
fn what_counts_most_stands_first_and_every_record_has_its_line() {
    for language in LANGUAGES {
        let golden = Golden::of(QUIET);
        let page = page(&golden.document(language, &[]));
        let root = parsed(&page);
        let main = root.named("main")[0];
        let at = |text: &str| {
            main.text
                .find(text)
                .unwrap_or_else(|| panic!("{text} is not told"))
        };
        // The golden journal: at the casualty 3:50, off the harness 5:05, target 9:00 (tests/golden.rs).
        let order = [
            at("5:05. "),
            at(&label(Id::IncidentReportCautionNever, language)),
            at(&label(Id::IncidentReportPicture, language)),
            at(&label(Id::IncidentReportStory, language)),
            at(&label(Id::IncidentReportRecordCaption, language)),
            at(&label(Id::IncidentReportProofHow, language)),
        ];
        assert!(order.is_sorted(), "{order:?}");
        for record in &golden.records {
            let id = format!("r{}", record.seq);
            let rows = main
                .named("tr")
                .into_iter()
                .filter(|it| it.attribute("id") == id);
            assert_eq!(rows.count(), 1, "{id}");
        }
        let head: String = main.of_class("groups")[0]
            .named("span")
            .iter()
            .map(|it| it.text.as_str())
            .collect();
        assert_eq!(head, golden.head);
    }
}

#[test]
fn a_drill_an_altered_record_and_a_rescue_are_marked_as_what_they_are() {
    let marks = |golden: Golden, problems: &[&str]| {
        let page = page(&golden.document(Language::English, problems));
        let root = parsed(&page);
        root.of_class("every-page")[0].text.clone()
    };
    let drill = marks(Golden::of(QUIET), &[]);
    assert!(drill.contains("DRILL") && !drill.contains("ALTERED"));
    let altered = marks(Golden::of(QUIET), &[PROBLEM]);
    assert!(altered.contains("DRILL") && altered.contains("ALTERED"));
    let rescue = marks(Golden::of(QUIET).rescued(), &[]);
    assert!(!rescue.contains("DRILL") && !rescue.contains("ALTERED"));
}

#[test]
fn paper_from_a_browser_repeats_the_mark_and_cuts_no_row() {
    let folder = tempfile::tempdir().expect("there is room");
    let page = page(&Golden::of(LONG).document(Language::English, &[]));
    for (size, width) in [("A4", 595.28), ("letter", 612.0)] {
        let sheet = format!("@page{{size:{size}}}</style>");
        let pdf = browser::printed(
            &page.replacen("</style>", &sheet, 1),
            folder.path(),
            "printed.pdf",
        );
        let said = browser::output(
            Command::new("pdftotext")
                .args(["-layout"])
                .arg(&pdf)
                .arg("-"),
        );
        let said = String::from_utf8_lossy(&said).into_owned();
        let pages: Vec<&str> = said.trim_end_matches('\u{c}').split('\u{c}').collect();
        assert!(pages.len() > 3);
        for (number, text) in pages.iter().enumerate() {
            assert!(
                text.contains("DRILL"),
                "{size}: page {number} does not say what it was"
            );
        }
        let boxes = browser::output(Command::new("pdftotext").arg("-bbox").arg(&pdf).arg("-"));
        let boxes = String::from_utf8_lossy(&boxes).into_owned();
        check_words_are_inside(&boxes, width);
    }
}

/// The pages are so wide, to a point, and no word begins or ends outside its page.
fn check_words_are_inside(boxes: &str, wanted: f64) {
    let number = |line: &str, name: &str| -> f64 {
        let (_, rest) = line.split_once(&format!("{name}=\"")).expect("it has it");
        rest.split_once('"')
            .expect("it ends")
            .0
            .parse()
            .expect("a number")
    };
    let (mut width, mut height) = (0.0, 0.0);
    for line in boxes.lines().map(str::trim) {
        if line.starts_with("<page ") {
            (width, height) = (number(line, "width"), number(line, "height"));
            assert!((width - wanted).abs() < 1.0, "{line}");
        } else if line.starts_with("<word ") {
            assert!(
                number(line, "xMin") >= 0.0 && number(line, "xMax") <= width,
                "{line}"
            );
            assert!(
                number(line, "yMin") >= 0.0 && number(line, "yMax") <= height,
                "{line}"
            );
        }
    }
}

#[test]
fn a_camera_reads_the_head_from_the_screen_in_both_themes_and_from_paper() {
    let folder = tempfile::tempdir().expect("there is room");
    let golden = Golden::of(QUIET);
    let page = page(&golden.document(Language::English, &[]));
    let told = code_text(&golden.incident, golden.records.len(), &golden.head);
    for theme in [Theme::Light, Theme::Dark] {
        let picture = browser::shown(&page, "proof", theme, folder.path());
        assert_eq!(
            browser::codes(&picture),
            std::slice::from_ref(&told),
            "{theme:?}"
        );
    }
    let pdf = browser::printed(&page, folder.path(), "printed.pdf");
    let pictures = browser::pictures(&pdf, folder.path());
    let last = pictures.last().expect("there are pages");
    assert_eq!(browser::codes(last), [told]);
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    let golden = Golden::of(LONG);
    let made = || html(&golden.document(Language::Spanish, &[]));
    assert_eq!(made(), made());
}

/// Everything that the writer writes; a text that became a tag would be another.
const ELEMENTS: [&str; 43] = [
    "html",
    "head",
    "meta",
    "title",
    "style",
    "body",
    "div",
    "header",
    "p",
    "b",
    "span",
    "nav",
    "ul",
    "li",
    "a",
    "main",
    "h1",
    "h2",
    "h3",
    "section",
    "dl",
    "dt",
    "dd",
    "figure",
    "figcaption",
    "table",
    "caption",
    "thead",
    "tbody",
    "tr",
    "th",
    "td",
    "code",
    "footer",
    "svg",
    "desc",
    "path",
    "rect",
    "circle",
    "polygon",
    "text",
    "g",
    "tspan",
];

fn check_nothing_breaks_out(text: &str) {
    let golden = Golden::of(QUIET)
        .begun(60)
        .with_texts(text, |at| at % 3 == 0);
    let page = page(&golden.document(Language::English, &[text]));
    let root = parsed(&page);
    for it in root.all() {
        assert!(
            ELEMENTS.contains(&it.name.as_str()),
            "{} came from a text",
            it.name
        );
        assert!(
            it.attributes.keys().all(|key| !key.starts_with("on")),
            "{:?}",
            it.attributes
        );
    }
    let seen = clean(text);
    assert!(
        root.named("main")[0].text.contains(seen.trim_end()),
        "{seen:?} is not told"
    );
}

#[test]
fn a_text_of_the_record_is_never_read_as_html() {
    let long = "<b>\u{1f600}</td>".repeat(640);
    for text in [
        "</td></tr></table><script>alert(1)</script>",
        "\"'><img src=x onerror=alert(1)>&lt;&amp;",
        "]]> --> <!-- </style> &#0; &unknown; \u{0}\u{8}\u{1b}",
        "\u{202e}desrever \u{5d0}\u{5d1} \u{645}\u{631} \u{2066}x",
        &long,
    ] {
        check_nothing_breaks_out(text);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn no_text_breaks_the_page(text in "[<>&\"'a-z /=!\\-\u{0}-\u{1f}\u{5d0}-\u{5ea}\u{202a}-\u{202e}\u{1f600}-\u{1f610}]{1,300}") {
        check_nothing_breaks_out(&text);
    }
}
