//! Feeds the reader what nobody would write: random bytes, random edits, names with control characters.

use groundward::plan::{DEMO, Level, read};
use proptest::prelude::*;

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
