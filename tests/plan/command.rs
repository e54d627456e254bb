//! Reads what `check` says, as a person and as a program would.

use groundward::cli::Format;
use groundward::cli::check::check;
use groundward::plan::Level;

/// A small plan without a finding.
const SOUND: &str = include_str!("sound.toml");

fn said(bytes: &[u8], format: Format, colour: bool) -> (u8, String) {
    let mut out = Vec::new();
    let verdict = check(
        "site.toml",
        bytes,
        crate::support::day(),
        format,
        colour,
        &mut out,
    );
    (
        verdict,
        String::from_utf8(out).expect("what is said is text"),
    )
}

fn broken() -> String {
    SOUND
        .replacen("length = \"24 m\"", "length = 24", 1)
        .replacen("name = \"Ben\"", "name = \"Ada\"", 1)
}

#[test]
fn a_fit_plan_is_called_fit() {
    assert_eq!(
        said(SOUND.as_bytes(), Format::Text, false),
        (
            0,
            "site.toml is fit to use: 0 errors, 0 warnings, 0 notices.\n".into()
        )
    );
    let warned = SOUND.replacen("name = \"Ben\"", "name = \"Ada\"", 1);
    let (verdict, text) = said(warned.as_bytes(), Format::Text, false);
    assert_eq!(verdict, 0);
    assert!(
        text.contains("warning[same-name]")
            && text.ends_with("fit to use: 0 errors, 1 warning, 0 notices.\n"),
        "{text}"
    );
}

#[test]
fn a_person_sees_the_line_and_the_advice() {
    let (verdict, text) = said(broken().as_bytes(), Format::Text, false);
    assert_eq!(verdict, 1);
    let line = 1 + broken()
        .lines()
        .position(|line| line == "length = 24")
        .expect("the line is there");
    assert!(
        text.contains(
            "error[bare-number]: link.stair.length is not a length: the number 24 has no unit"
        ),
        "{text}"
    );
    assert!(text.contains(&format!("site.toml:{line}:10")), "{text}");
    assert!(
        text.contains("length = 24\n") && text.contains("\"24 m\" if metres are meant"),
        "{text}"
    );
    assert!(
        text.ends_with("site.toml is not fit to use: 1 error, 1 warning, 0 notices.\n"),
        "{text}"
    );
}

#[test]
fn a_program_reads_one_object() {
    let (verdict, text) = said(broken().as_bytes(), Format::Json, true);
    assert_eq!(verdict, 1);
    let all: serde_json::Value = serde_json::from_str(&text).expect("it is JSON");
    assert_eq!(
        (&all["file"], &all["fit"], &all["errors"], &all["warnings"]),
        (&"site.toml".into(), &false.into(), &1.into(), &1.into())
    );
    let first = &all["findings"][0];
    assert_eq!(
        (&first["id"], &first["level"], &first["file"]),
        (
            &"bare-number".into(),
            &Level::Error.word().into(),
            &"site.toml".into()
        )
    );
    assert_eq!(
        (&first["column"], &first["place"]),
        (&10.into(), &"link.stair.length".into())
    );
    assert_eq!(all["findings"].as_array().map(Vec::len), Some(2));
}

#[test]
fn a_file_that_is_no_text_is_unreadable() {
    assert_eq!(said(b"format = 1\xFF", Format::Text, false).0, 2);
    assert_eq!(said(b"format = 1\xFF", Format::Json, false).0, 2);
    assert_eq!(said(b"", Format::Text, false).0, 1);
}

#[test]
fn colour_is_only_used_when_it_is_asked_for() {
    assert!(
        !said(broken().as_bytes(), Format::Text, false)
            .1
            .contains('\u{1b}')
    );
    assert!(
        said(broken().as_bytes(), Format::Text, true)
            .1
            .contains('\u{1b}')
    );
}

#[test]
fn nothing_from_the_file_reaches_the_terminal_as_a_command() {
    let odd = "format = 1 # \u{1b}[2J\n\"\\u001b[2J\" = 1\n";
    for format in [Format::Text, Format::Json] {
        assert!(!said(odd.as_bytes(), format, false).1.contains('\u{1b}'));
    }
}

#[test]
fn a_very_long_line_is_named_but_not_shown() {
    let long = format!("{}x = [{}]", SOUND, "1, ".repeat(50_000));
    let (verdict, text) = said(long.as_bytes(), Format::Text, false);
    assert_eq!(verdict, 1);
    assert!(
        text.len() < 2_000 && text.contains("error[unknown-key]"),
        "{text}"
    );
}
