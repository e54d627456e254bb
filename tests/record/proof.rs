//! Hands incidents out on the real program and checks them as somebody elsewhere would: whose it is, whole or not, and what
//! becomes of files that are there already.

use super::bundle::{FORMS, key, made};
use crate::real::program;
use groundward::incident::{Event, Record};
use groundward::journal::bundle::Form;
use groundward::journal::checked::{Verdict, against, check};
use groundward::journal::device::{DeviceKey, FILE, KNOWN_FILE};
use groundward::plan;
use serde_json::Value;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

/// A tablet with one rehearsed incident.
struct Tablet {
    _all: tempfile::TempDir,
    data: PathBuf,
    incident: String,
}

struct Said {
    code: i32,
    out: String,
    err: String,
}

impl Tablet {
    fn new() -> Tablet {
        let all = tempfile::tempdir().expect("there is room");
        let script =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scripts/silo-3-boom-lift.txt");
        let mut command = program();
        command.args(["rehearse", "--demo", "--script"]).arg(script);
        let ran = command
            .arg("--data")
            .arg(all.path())
            .output()
            .expect("the program runs");
        assert!(ran.status.success(), "{ran:?}");
        // Rehearsals have a record of their own.
        let data = all.path().join("rehearsals");
        let mut names = fs::read_dir(data.join("journals")).expect("it has journals");
        let name = names
            .next()
            .expect("there is one")
            .expect("it can be listed")
            .file_name();
        let incident = name.to_string_lossy().trim_end_matches(".jsonl").to_owned();
        Tablet {
            _all: all,
            data,
            incident,
        }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.data.join(name)
    }

    fn log(&self, words: &[&str]) -> Said {
        log(&self.data, words)
    }

    fn bundle(&self, name: &str, more: &[&str]) -> String {
        let path = self.path(name).display().to_string();
        let said = self.log(&[&["bundle", &self.incident, "-o", &path], more].concat());
        assert_eq!(said.code, 0, "{}", said.err);
        path
    }

    fn journal(&self) -> PathBuf {
        self.path("journals")
            .join(format!("{}.jsonl", self.incident))
    }
}

fn log(data: &Path, words: &[&str]) -> Said {
    let mut command = program();
    let ran = command
        .arg("log")
        .args(words)
        .arg("--data")
        .arg(data)
        .output();
    let ran = ran.expect("the program runs");
    Said {
        code: ran.status.code().expect("it ends by itself"),
        out: String::from_utf8_lossy(&ran.stdout).into_owned(),
        err: String::from_utf8_lossy(&ran.stderr).into_owned(),
    }
}

#[track_caller]
fn says(said: &Said, code: i32, text: &str) {
    let all = format!("{}{}", said.out, said.err);
    assert!(
        said.code == code && all.contains(text),
        "{}: {all}",
        said.code
    );
}

#[test]
fn a_bundle_is_signed_by_this_tablet_and_never_takes_the_place_of_a_file() {
    let tablet = Tablet::new();
    let path = tablet.bundle("one.bundle", &[]);
    let said = tablet.log(&["verify", &path]);
    says(&said, 0, "intact, full bundle");
    says(&said, 0, "DRILL");
    says(&said, 0, "signed by this tablet");
    says(&said, 0, "its last record stands in the journal here");
    let before = fs::read(&path).expect("it is there");
    let again = tablet.log(&["bundle", &tablet.incident, "-o", &path, "--shared"]);
    says(&again, 2, "is there already");
    assert!(fs::read(&path).expect("it is there") == before);
    tablet.bundle("one.bundle", &["--shared", "--replace"]);
    says(
        &tablet.log(&["verify", &path]),
        0,
        "without names and health",
    );
    let json: Value = serde_json::from_str(&tablet.log(&["verify", &path, "--format", "json"]).out)
        .expect("it is JSON");
    assert_eq!(
        (&json["state"], &json["signer"]),
        (&"intact".into(), &"this-tablet".into())
    );
    assert_eq!(json["header"]["form"], "shared");
    says(
        &tablet.log(&["bundle", "nobody", "-o", "x"]),
        2,
        "there is no incident nobody",
    );
    // The incident itself says that it is a drill as well.
    says(
        &tablet.log(&["verify", &tablet.incident]),
        0,
        "intact, DRILL, ",
    );
}

#[test]
fn a_bundle_elsewhere_is_of_an_unknown_signer_until_the_key_is_known() {
    let (tablet, elsewhere) = (Tablet::new(), tempfile::tempdir().expect("there is room"));
    let path = tablet.bundle("one.bundle", &[]);
    let key = tablet.log(&["key"]);
    let digits = key.out.lines().next().expect("it prints one").to_owned();
    let at = |words: &[&str]| log(elsewhere.path(), words);
    says(&at(&["verify", &path]), 1, "UNKNOWN SIGNER");
    says(
        &at(&["verify", &path, "--key", &digits]),
        0,
        "signed by the key given",
    );
    let other = "1".repeat(64);
    says(
        &at(&["verify", &path, "--key", &other]),
        1,
        "not the key given",
    );
    says(
        &at(&["verify", &path, "--key", "nowhere"]),
        2,
        "neither 64 hexadecimal digits",
    );
    let file = elsewhere.path().join("their key");
    fs::write(&file, &key.out).expect("there is room");
    let file = file.display().to_string();
    says(
        &at(&["verify", &path, "--key", &file]),
        0,
        "signed by the key given",
    );
    let known = format!("{other} nobody\n{digits} the tablet at the yard\n");
    fs::write(elsewhere.path().join(KNOWN_FILE), known).expect("there is room");
    says(
        &at(&["verify", &path]),
        0,
        "signed by the tablet at the yard",
    );
    // Looking at a bundle makes no key.
    assert!(!elsewhere.path().join(FILE).exists());
}

#[test]
fn what_was_changed_cut_or_is_no_bundle_ends_with_its_own_code() {
    let tablet = Tablet::new();
    let path = tablet.bundle("one.bundle", &[]);
    let bytes = fs::read(&path).expect("it is there");
    let with = |bytes: &[u8]| {
        fs::write(&path, bytes).expect("there is room");
        tablet.log(&["verify", &path])
    };
    let changed = String::from_utf8(bytes.clone()).expect("it is text");
    let changed = changed.replacen("\"seq\":17,", "\"seq\":71,", 1);
    says(
        &with(changed.as_bytes()),
        1,
        "ALTERED: line 19, record 17: It was changed",
    );
    says(&with(&bytes[..bytes.len() / 2]), 1, "CUT: line ");
    says(&with(&bytes[..bytes.len() / 2]), 1, "NOT SIGNED");
    says(&with(b"a letter"), 2, "is no bundle");
    fs::remove_file(&path).expect("it is there");
    says(&tablet.log(&["verify", &path]), 2, "cannot be read");
}

#[test]
fn a_shared_bundle_is_held_against_the_full_one() {
    let tablet = Tablet::new();
    let full = tablet.bundle("full", &[]);
    let shared = tablet.bundle("shared", &["--shared"]);
    let held = tablet.log(&["verify", &shared, "--against", &full]);
    says(&held, 0, "tells the same record as");
    let other = Tablet::new();
    let theirs = other.bundle("full", &[]);
    says(
        &tablet.log(&["verify", &shared, "--against", &theirs]),
        1,
        "They are not of the same records",
    );
    says(
        &tablet.log(&["verify", &full, "--against", &full]),
        1,
        "It takes a shared bundle and a full one",
    );
}

/// Somebody writes the journal anew, whole and well chained: the bundle that left the tablet shows it.
#[test]
fn a_journal_that_was_written_anew_is_not_the_bundles() {
    let tablet = Tablet::new();
    let path = tablet.bundle("one.bundle", &[]);
    let text = fs::read_to_string(tablet.journal()).expect("it is there");
    let read = |it: &str| Record::from_json(it).expect("it can be read");
    let mut records: Vec<Record> = text.lines().map(read).collect();
    records.retain(|it| !matches!(it.event, Event::StoodDown {}));
    let anew = super::bundle::sealed(&records).join("\n") + "\n";
    fs::write(tablet.journal(), anew).expect("there is room");
    // The store would fill it in again.
    let _ = fs::remove_dir_all(tablet.path("store"));
    let said = tablet.log(&["verify", &path]);
    says(&said, 1, "ANOTHER RECORD");
    says(&said, 1, "one.bundle: intact");
}

#[test]
fn an_altered_record_is_signed_only_where_that_is_asked_for() {
    let tablet = Tablet::new();
    let text = fs::read_to_string(tablet.journal()).expect("it is there");
    fs::write(
        tablet.journal(),
        text.replacen("\"seq\":9,", "\"seq\":8,", 1),
    )
    .expect("there is room");
    let _ = fs::remove_dir_all(tablet.path("store"));
    let path = tablet.path("one.bundle").display().to_string();
    let refused = tablet.log(&["bundle", &tablet.incident, "-o", &path]);
    says(&refused, 1, "was altered, so it is not signed");
    assert!(!Path::new(&path).exists());
    tablet.bundle("one.bundle", &["--even-altered"]);
    let said = tablet.log(&["verify", &path]);
    says(&said, 1, "ALTERED");
    says(&said, 1, "signed by this tablet");
}

#[test]
fn a_key_is_made_once_is_nobody_elses_to_read_and_is_never_made_anew() {
    let tablet = Tablet::new();
    let first = tablet.log(&["key"]);
    says(&first, 0, "fingerprint: ");
    let path = tablet.path(FILE);
    let mode = fs::metadata(&path)
        .expect("it is there")
        .permissions()
        .mode();
    assert_eq!(mode & 0o777, 0o600);
    assert_eq!(tablet.log(&["key"]).out, first.out);
    let whole = fs::read_to_string(&path).expect("it is text");
    let secret = whole
        .split('"')
        .nth(13)
        .expect("it has a secret")
        .to_owned();
    assert!(secret.len() == 64 && !first.out.contains(&secret));
    let damaged = [
        String::new(),
        whole[..40].to_owned(),
        whole.replace(&secret, &"0".repeat(64)),
        whole.replace("ed25519", "rsa"),
    ];
    for text in damaged {
        fs::write(&path, &text).expect("there is room");
        let output = tablet.path("x").display().to_string();
        for words in [vec!["key"], vec!["bundle", &tablet.incident, "-o", &output]] {
            let said = tablet.log(&words);
            says(&said, 2, "is damaged; put back a copy of it");
            assert_eq!(said.err.lines().count(), 1);
        }
        assert_eq!(
            fs::read_to_string(&path).expect("it is text"),
            text,
            "it stays as it is"
        );
        says(&tablet.log(&["list"]), 0, &tablet.incident);
    }
    fs::write(&path, &whole).expect("there is room");
    assert_eq!(tablet.log(&["key"]).out, first.out);
}

#[test]
fn of_keys_that_are_made_at_once_one_stays() {
    let folder = tempfile::tempdir().expect("there is room");
    let data = folder.path();
    let keys: Vec<String> = std::thread::scope(|scope| {
        let make = || log(data, &["key"]);
        let all: Vec<_> = (0..6).map(|_| scope.spawn(make)).collect();
        let said = all.into_iter().map(|it| it.join().expect("it ends"));
        said.map(|it| format!("{}{}", it.out, it.err)).collect()
    });
    let kept = DeviceKey::open(data)
        .expect("it can be read")
        .expect("it is there");
    for said in &keys {
        assert!(said.starts_with(&kept.public().hex()), "{keys:?}");
    }
    let left = fs::read_dir(data).expect("it can be listed").count();
    assert_eq!(left, 1, "nothing is left beside it");
}

/// Both forms of a record hold and tell the same; what comes out is what went in, and nothing that is shown names anybody.
pub(crate) fn holds(lines: &[String]) {
    let [full, shared] =
        FORMS.map(|form| check(&made(lines, form, &key())).expect("it is a bundle"));
    assert_eq!((full.verdict, &full.faults[..]), (Verdict::Intact, &[][..]));
    assert_eq!(
        (shared.verdict, &shared.faults[..]),
        (Verdict::Intact, &[][..])
    );
    assert_eq!(full.lines, lines);
    assert_eq!(against(&shared, &full), None);
    let opened = Record::from_json(&lines[0]).expect("it can be read");
    let Event::Opened(opening) = opened.event else {
        panic!("it begins with {}", lines[0]);
    };
    let plan = plan::fit(&opening.plan_name, &opening.plan);
    let responders = plan.iter().flat_map(|it| &it.responders);
    let people: Vec<&str> = responders
        .flat_map(|it| [it.id.as_str(), it.name.as_str()])
        .collect();
    for line in &shared.lines {
        let record: Value = serde_json::from_str(line).expect("it is JSON");
        let parts = [&record["clock"], &record["told"]]
            .into_iter()
            .filter_map(Value::as_array);
        for text in parts.flatten().filter_map(|it| it["is"].as_str()) {
            assert!(!people.contains(&text), "{text} is shown in {line}");
            let said = [
                "talking",
                "stuck",
                "unwell",
                "not-answering",
                "hurt",
                "condition-reported",
                "aftercare-answered",
                "handed-over",
            ];
            // The last closing question is whether everybody was handed over, which says of nobody how they are.
            let is_closing = line.contains("stand-down-answered");
            assert!(
                is_closing || !said.contains(&text),
                "{text} is said in {line}"
            );
        }
    }
}

#[test]
fn a_rehearsed_incident_is_handed_out_whole_and_without_names() {
    let tablet = Tablet::new();
    let text = fs::read_to_string(tablet.journal()).expect("it is there");
    let lines: Vec<String> = text
        .lines()
        .filter(|it| !it.is_empty())
        .map(str::to_owned)
        .collect();
    holds(&lines);
    let records: Vec<Record> = lines
        .iter()
        .map(|it| Record::from_json(it).expect("it can be read"))
        .collect();
    let shared = made(&lines, Form::Shared, &key());
    super::shared::names_nobody(&String::from_utf8(shared).expect("it is text"), &records);
}

/// The signer says that somebody else did it: the lines are sealed, the root is right and the signature too, and only the full
/// bundle shows it.
#[test]
fn a_pseudonym_that_was_exchanged_is_found_with_the_full_bundle() {
    let lines = super::shared::GOLDEN.map(super::shared::golden);
    let lines = super::bundle::sealed(&lines[1]);
    let full = check(&made(&lines, Form::Full, &key())).expect("it is a bundle");
    let text = String::from_utf8(made(&lines, Form::Shared, &key())).expect("it is text");
    assert!(text.matches("\"person\":\"person-2\"").count() > 1);
    let forged = super::bundle::signed_anew(
        &text.replacen("\"person\":\"person-2\"", "\"person\":\"person-9\"", 1),
        &key(),
    );
    let shared = check(forged.as_bytes()).expect("it is a bundle");
    assert_eq!(
        (shared.verdict, shared.signed, &shared.faults[..]),
        (Verdict::Intact, true, &[][..])
    );
    let fault = against(&shared, &full).expect("somebody has two pseudonyms");
    assert!(
        fault
            .what
            .starts_with("A pseudonym stands for somebody else"),
        "{fault}"
    );
}
