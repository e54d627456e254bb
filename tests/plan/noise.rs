//! Feeds the reader what nobody would write: random bytes, random edits, the worst shapes, names with control characters.
//!
//! How long it takes is measured by the benchmark `plan`, never here: what is counted here is work that does not depend on
//! the machine, such as how many findings are kept and which limit a refused file names.

use groundward::plan::{
    BYTES_MAX, DEMO, DEMO_BRIDGE, FINDINGS_MAX, Kind, Level, PARTS_MAX, Reading, TABLES_MAX, read,
};
use proptest::prelude::*;

use super::worst::{Shape, shapes};

/// Whatever the bytes are, there is an answer, and every finding stands inside the file.
fn holds(bytes: &[u8]) {
    let reading = read("noise.toml", bytes);
    let refused = reading
        .findings
        .iter()
        .any(|finding| finding.level == Level::Error);
    assert_eq!(reading.plan.is_none(), refused);
    let Ok(text) = str::from_utf8(bytes) else {
        return;
    };
    for finding in &reading.findings {
        let before = text
            .get(..finding.span.start)
            .expect("a finding starts between two characters");
        assert!(finding.span.end <= text.len());
        assert_eq!(finding.line, before.matches('\n').count() + 1);
        let line = before.rsplit('\n').next().unwrap_or_default();
        assert_eq!(finding.column, line.chars().count() + 1);
        for said in [&finding.message, &finding.help, &finding.place] {
            assert!(!said.contains(char::is_control), "{said:?}");
            assert!(said.chars().count() <= 3_000, "{said}");
        }
        for other in &finding.related {
            let before = text
                .get(..other.span.start)
                .expect("a related place starts between two characters");
            assert!(other.span.end <= text.len());
            assert_eq!(other.line, before.matches('\n').count() + 1);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn random_bytes(bytes in prop::collection::vec(any::<u8>(), 0..2_000)) {
        holds(&bytes);
    }

    #[test]
    fn random_pieces_of_toml(pieces in prop::collection::vec(
        prop::sample::select(vec!["[", "]", "[[", "]]", "{", "}", "=", ".", ",", "\n", "\"", "'''", "\\", "#", "a", "position", "step",
            "time", "1", "é", "\u{1b}", " "]), 0..400)) {
        holds(pieces.concat().as_bytes());
    }

    #[test]
    fn random_edits_of_the_demo(start in 0..DEMO.len(), length in 0..40_usize, with in "\\PC{0,12}|[\\[\\]\"=.\\n]{0,6}") {
        let end = (start + length).min(DEMO.len());
        let (start, end) = (DEMO.floor_char_boundary(start), DEMO.floor_char_boundary(end));
        holds(format!("{}{with}{}", &DEMO[..start], &DEMO[end..]).as_bytes());
    }

    #[test]
    fn random_bytes_in_the_demo(at in 0..DEMO.len(), byte: u8) {
        let mut bytes = DEMO.as_bytes().to_vec();
        bytes[at] = byte;
        holds(&bytes);
    }
}

#[test]
fn what_a_terminal_would_obey_is_spelled_out() {
    holds("format = 1\n\"\\u001b[2J\" = 3\n[place.\"\\u0007\"]\nname = \"\\u001b\"\n".as_bytes());
}

#[test]
fn the_worst_shapes_have_an_answer() {
    for shape in shapes() {
        let text = shape.made(20_000);
        let found = read("worst.toml", text.as_bytes()).findings.len();
        assert!(
            (1..=FINDINGS_MAX).contains(&found),
            "{}: {found} findings",
            shape.name
        );
        holds(text.as_bytes());
    }
}

fn shape(name: &str) -> Shape {
    let mut all = shapes();
    let at = all.iter().position(|shape| shape.name == name);
    all.swap_remove(at.unwrap_or_else(|| panic!("there is no shape {name}")))
}

#[track_caller]
fn refuses(text: &str, limit: usize) -> Reading {
    let reading = read("worst.toml", text.as_bytes());
    let found: Vec<&str> = reading.findings.iter().map(|it| it.id).collect();
    assert_eq!(found, [Kind::TooManyParts.id()]);
    let message = &reading.findings[0].message;
    assert!(message.contains(&limit.to_string()), "{message}");
    reading
}

#[test]
fn a_million_findings_are_refused_by_a_limit_that_is_named() {
    for (name, limit) in [
        ("unknown keys", PARTS_MAX),
        ("unknown tables", TABLES_MAX),
        ("one key over and over", PARTS_MAX),
        ("no key", PARTS_MAX),
        ("bad escapes", PARTS_MAX),
        ("control characters in a comment", PARTS_MAX),
        ("letters in a number", PARTS_MAX),
        ("deep dotted keys", TABLES_MAX),
        ("deep headers", TABLES_MAX),
    ] {
        let text = shape(name).made(BYTES_MAX / 2);
        assert!(refuses(&text, limit).plan.is_none(), "{name}");
    }
}

#[test]
fn the_limits_are_exact() {
    let parts = "#\n".repeat(PARTS_MAX / 2);
    let found = read("worst.toml", parts.as_bytes()).findings;
    assert!(found.iter().all(|it| it.id != Kind::TooManyParts.id()));
    let reading = refuses(&format!("{parts}#"), PARTS_MAX);
    assert_eq!(reading.findings[0].line, PARTS_MAX / 2 + 1);

    let tables = "a=[[[[]]]]\n".repeat(TABLES_MAX / 4);
    let found = read("worst.toml", tables.as_bytes()).findings;
    assert!(found.iter().all(|it| it.id != Kind::TooManyParts.id()));
    refuses(&format!("{tables}["), TABLES_MAX);
}

#[test]
fn a_site_many_times_the_size_of_the_built_in_ones_is_no_trouble() {
    for plan in [DEMO, DEMO_BRIDGE] {
        let copies = (0..20).map(|n| plan.replace("[position.", &format!("[position.copy{n}-")));
        let found = read("large.toml", copies.collect::<String>().as_bytes()).findings;
        assert!(found.iter().all(|it| it.id != Kind::TooManyParts.id()));
        assert!(found.iter().any(|it| it.id == Kind::DuplicateId.id()));
    }
}

#[test]
fn advice_has_an_end() {
    let name = "a-place-with-a-name-that-goes-on-and-on";
    let places = (0..200).map(|n| format!("[place.{name}-{n}]\nname = \"{n}\"\nlevel = \"0\"\n"));
    let links = (0..400).map(|n| {
        format!("[link.l{n}]\nfrom = \"{name}-x{n}\"\nto = \"{name}-1\"\nkind = \"walk\"\nlength = \"5 m\"\n")
    });
    let text: String = places.chain(links).collect();
    let findings = read("worst.toml", text.as_bytes()).findings;
    let dangling = findings
        .iter()
        .filter(|it| it.id == Kind::DanglingReference.id());
    let advised: Vec<bool> = dangling.map(|it| !it.related.is_empty()).collect();
    assert_eq!(advised.len(), 400);
    assert!(advised[..20].iter().all(|it| *it) && !advised[200..].iter().any(|it| *it));
}
