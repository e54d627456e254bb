//! CSV, JSON Lines and the activity log, read by Python's readers.

use super::{Played, groundward};
use crate::support::oracle;
use groundward::incident::Record;
use groundward::report::record_table::{COLUMNS, csv};
use groundward::review::lines;
use groundward::words::Language;
use serde_json::{Value, json};
use std::fs;

const READ_CSV: &str = r#"
import csv, json, sys
path = json.load(sys.stdin)
with open(path, newline="", encoding="utf-8") as file:
    rows = list(csv.DictReader(file, strict=True))
with open(path, "rb") as file:
    assert file.read().endswith(b"\r\n")
json.dump(rows, sys.stdout)
"#;

/// Redoes the chain from the lines alone.
const READ_LINES: &str = r#"
import hashlib, json, sys
path = json.load(sys.stdin)
rows, prev = [], "0" * 64
for line in open(path, "rb"):
    record = json.loads(line)
    body = line.rstrip(b"\n")
    cut = body.rindex(b',"sha":"')
    assert record["prev"] == prev, record["seq"]
    prev = hashlib.sha256(body[:cut]).hexdigest()
    assert record["sha"] == prev, record["seq"]
    rows.append({"seq": record["seq"], "kind": record["kind"], "wall": record["wall"], "body": record["body"], "sha": prev})
json.dump(rows, sys.stdout)
"#;

fn read(script: &str, path: &std::path::Path) -> Vec<Value> {
    let rows = oracle::ask(script, &json!(path.display().to_string()));
    rows.as_array().expect("it gives rows").clone()
}

#[test]
fn the_table_and_the_lines_say_the_same_to_other_readers() {
    let played = Played::of("silo-3-boom-lift.txt");
    let (code, said, table) = played.report("csv", &["--language", "es"]);
    assert_eq!(code, 0, "{said}");
    let (code, said, sealed) = played.report("jsonl", &[]);
    assert_eq!(code, 0, "{said}");
    let journal = played
        .data
        .join(format!("journals/{}.jsonl", played.incident));
    let written = fs::read(&sealed).expect("it was written");
    assert_eq!(written, fs::read(journal).expect("it is there"));

    let rows = read(READ_CSV, &table);
    let lines_read = read(READ_LINES, &sealed);
    assert_eq!(rows.len(), lines_read.len());
    assert!(
        said.contains(
            lines_read.last().expect("there are some")["sha"]
                .as_str()
                .expect("it is text")
        )
    );
    let records: Vec<Record> = String::from_utf8(written)
        .expect("it is UTF-8")
        .lines()
        .map(|it| Record::from_json(it).expect("it is a record"))
        .collect();
    let told = lines(&records, Language::Spanish);
    for ((row, line), told) in rows.iter().zip(&lines_read).zip(&told) {
        assert_eq!(row["record"], line["seq"].to_string());
        assert_eq!(row["kind"], line["kind"]);
        assert_eq!(row["local_time"], line["wall"]);
        assert_eq!(row["sha256"], line["sha"]);
        assert_eq!(row["what"], told.text.as_str());
        let body: Value = serde_json::from_str(row["body"].as_str().expect("it is text"))
            .expect("the body is JSON");
        assert_eq!(body, line["body"]);
    }
}

#[test]
fn a_cell_survives_whatever_a_name_holds_and_computes_nothing() {
    let played = Played::of("silo-3-boom-lift.txt");
    let (_, _, sealed) = played.report("jsonl", &[]);
    let text = fs::read_to_string(sealed).expect("it was written");
    let mut records: Vec<Record> = text
        .lines()
        .take(3)
        .map(|it| Record::from_json(it).expect("it is a record"))
        .collect();
    let names = ["a \"b\", c\r\nd", "=1+1", "-"];
    for (record, name) in records.iter_mut().zip(names) {
        record.who = name.into();
    }
    let table = played.data.join("odd.csv");
    fs::write(&table, csv(&records, &[], Language::English)).expect("there is room");
    let rows = read(READ_CSV, &table);
    let who: Vec<&str> = rows
        .iter()
        .map(|it| it["who_id"].as_str().expect("it is text"))
        .collect();
    assert_eq!(who, ["a \"b\", c\r\nd", "'=1+1", "-"]);
    assert!(
        rows.iter()
            .all(|it| it.as_object().expect("it is a row").len() == COLUMNS.len())
    );
}

/// The parts of form ICS 214 (FEMA): incident name, operational period, name, position, home agency, resources assigned,
/// activity log with date and time, prepared by. Their order is from memory.
#[test]
fn the_activity_log_has_the_parts_of_the_form_in_their_order() {
    let played = Played::of("turns.txt");
    let (code, said, file) =
        played.report("activity", &["--by", "Ilse Brandt", "--language", "en"]);
    assert_eq!(code, 0, "{said}");
    let text = fs::read_to_string(&file).expect("it was written");
    let mut from = 0;
    for part in [
        "DRILL",
        "1. Incident name: ",
        "2. Operational period: from 20",
        "3. Name: ",
        "4. ICS position: ",
        "5. Home agency",
        "6. Resources assigned",
        "7. Activity log",
        "8. Prepared by: Ilse Brandt, 20",
    ] {
        let at = text[from..].find(part);
        from += at.unwrap_or_else(|| panic!("{part:?} is missing or out of order:\n{text}"));
    }
    let (_, _, sealed) = played.report("jsonl", &[]);
    let records: Vec<Record> = fs::read_to_string(sealed)
        .expect("it was written")
        .lines()
        .map(|it| Record::from_json(it).expect("it is a record"))
        .collect();
    let listed = text.lines().filter(|it| it.starts_with("   20")).count();
    let told = lines(&records, Language::English);
    assert_eq!(listed, told.iter().filter(|it| !it.inner).count());
    for it in told.iter().filter(|it| !it.inner) {
        assert!(
            text.contains(&format!("  {}  ({})", it.text, it.who)),
            "{}",
            it.text
        );
    }
}

#[test]
fn a_report_that_cannot_be_written_says_why_and_leaves_what_is_there() {
    let played = Played::of("silo-3-boom-lift.txt");
    let (code, _, file) = played.report("csv", &[]);
    assert_eq!(code, 0);
    let before = fs::read(&file).expect("it was written");
    let (code, said, _) = played.report("csv", &["--language", "es"]);
    assert!(code == 2 && said.contains("--replace"), "{said}");
    assert_eq!(fs::read(&file).expect("it is there"), before);
    let (code, said, _) = played.report("csv", &["--language", "es", "--replace"]);
    assert_eq!(code, 0, "{said}");
    assert_ne!(fs::read(&file).expect("it is there"), before);

    let data = played.data.display().to_string();
    let gone = played.data.join("no/such/folder.csv").display().to_string();
    for (id, output, says) in [
        (
            "20260101T000000Z-0000",
            file.display().to_string() + "x",
            "log list",
        ),
        (played.incident.as_str(), gone, "cannot be written"),
    ] {
        let own = ["report", id, "--as", "csv", "--data", &data, "-o", &output];
        let (code, out, error) = groundward(&own);
        assert!(
            code == 2 && out.is_empty() && error.contains(says),
            "{error}"
        );
    }
}

#[test]
fn an_altered_record_is_reported_and_said_to_be_altered() {
    let played = Played::of("silo-3-boom-lift.txt");
    let journal = played
        .data
        .join(format!("journals/{}.jsonl", played.incident));
    let text = fs::read_to_string(&journal).expect("it is there");
    fs::write(
        &journal,
        text.replacen(
            "\"kind\":\"safe-confirmed\"",
            "\"kind\":\"safe-konfirmed\"",
            1,
        ),
    )
    .expect("there is room");
    // Nothing fills the gap: the copies are in a store that is put away.
    let _ = fs::rename(played.data.join("store"), played.data.join("elsewhere"));
    let (code, said, file) = played.report("csv", &[]);
    assert!(code == 1 && said.contains("ALTERED"), "{said}");
    assert!(fs::metadata(file).is_ok_and(|it| it.len() > 1_000));
}
