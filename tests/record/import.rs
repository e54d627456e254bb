//! Takes records over from tablets by the real program: again and again, while they go on, where they part, where they were
//! altered, and while the program is killed. What was known is never touched, and a second run completes the first.

use super::{INCIDENT, entries, entry, lines};
use groundward::history::{Files, History};
use groundward::journal::chain::{Chain, FIRST_PREV};
use groundward::journal::disk::RealDisk;
use groundward::journal::lock::DataLock;
use groundward::journal::read::read;
use groundward::journal::writer::Writer;
use groundward::signal::Entry;
use groundward::store::probe::Prober;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime};
use tempfile::{TempDir, tempdir};

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_groundward"))
}

/// Exit code, standard output and standard error.
fn said(arguments: &[&str]) -> (i32, String, String) {
    let output = program().args(arguments).output().expect("it starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("it writes UTF-8");
    let code = output.status.code().expect("it ends by itself");
    (code, text(output.stdout), text(output.stderr))
}

/// A data folder, of a tablet or of whoever gathers their records.
struct Data(TempDir);

impl Data {
    fn new() -> Data {
        Data(tempdir().expect("there is room"))
    }

    fn path(&self) -> &str {
        self.0.path().to_str().expect("it is text")
    }

    fn journals(&self) -> Vec<PathBuf> {
        let path = self.0.path();
        vec![path.join("journals"), path.join("journals-fallback")]
    }

    fn file(&self, name: &str) -> PathBuf {
        self.0.path().join("journals").join(name)
    }

    fn writer(&self, incident: &str) -> Writer {
        Writer::create(Arc::new(RealDisk), self.journals(), incident).expect("the name is good")
    }

    /// A record that was closed.
    fn closed(&self, incident: &str, records: &[Entry]) {
        let mut writer = self.writer(incident);
        writer.append(records).expect("there is room");
        writer.close().expect("there is room");
    }

    /// Every journal with its bytes and the time of its last change.
    fn all(&self) -> BTreeMap<PathBuf, (Vec<u8>, SystemTime)> {
        let mut all = BTreeMap::new();
        for folder in self.journals().iter().filter(|it| it.is_dir()) {
            for entry in fs::read_dir(folder).expect("it is listed").flatten() {
                let changed = entry.metadata().and_then(|it| it.modified());
                let bytes = fs::read(entry.path()).expect("it is read");
                all.insert(
                    entry.path(),
                    (bytes, changed.expect("files have times here")),
                );
            }
        }
        all
    }

    fn import(&self, arguments: &[&str]) -> (i32, String) {
        let all = [&["log", "import", "--data", self.path()][..], arguments].concat();
        let (code, out, error) = said(&all);
        (code, out + &error)
    }

    /// The rows of one import as JSON.
    #[track_caller]
    fn rows(&self, arguments: &[&str]) -> (i32, Vec<Value>) {
        let (code, out) = self.import(&[arguments, &["--format", "json"]].concat());
        let all: Value = serde_json::from_str(&out).unwrap_or_else(|why| panic!("{why}: {out}"));
        let rows = all["incidents"].as_array().expect("a list");
        (code, rows.clone())
    }

    #[track_caller]
    fn bytes(&self, name: &str) -> Vec<u8> {
        fs::read(self.file(name)).expect("it is there")
    }
}

fn id(number: u32) -> String {
    format!("20261125T183012Z-{number:04}")
}

fn name(number: u32) -> String {
    format!("{}.jsonl", id(number))
}

/// A record whose text differs from that of `entry`.
fn other(seq: u64) -> Entry {
    let json = format!(r#"{{"v":1,"seq":{seq},"kind":"step-done","body":{{"other":true}}}}"#);
    Entry { seq, json }
}

fn over(seq: u64) -> Entry {
    let json = format!(r#"{{"v":1,"seq":{seq},"kind":"stood-down","body":{{}}}}"#);
    Entry { seq, json }
}

#[test]
fn records_of_two_tablets_come_together_and_a_second_time_changes_nothing() {
    let (one, two, here) = (Data::new(), Data::new(), Data::new());
    for number in 1..=3 {
        one.closed(&id(number), &entries(1..=u64::from(number) * 4));
    }
    two.closed(&id(9), &entries(1..=5));
    let (code, out) = here.import(&[one.path(), two.path()]);
    assert!(code == 0 && out.contains("3 incidents: 3 new"), "{out}");
    for number in 1..=3 {
        assert_eq!(here.bytes(&name(number)), one.bytes(&name(number)));
    }
    assert_eq!(here.bytes(&name(9)), two.bytes(&name(9)));
    let before = here.all();
    for again in [&[one.path(), two.path()][..], &[two.path()], &[one.path()]] {
        let (code, out) = here.import(again);
        assert_eq!(code, 0, "{out}");
        assert_eq!(out.matches("nothing changed").count(), again.len(), "{out}");
        assert!(here.all() == before, "a file was touched");
    }
    // The folder of the journals alone, and both at once, are sources too.
    let journals = one.journals()[0].clone();
    let (code, rows) = here.rows(&[journals.to_str().expect("it is text"), one.path()]);
    assert!(code == 0 && rows.len() == 6, "{rows:?}");
    assert!(rows.iter().all(|it| it["came"] == "known"), "{rows:?}");
}

#[test]
fn the_store_is_up_to_date_afterwards() {
    let (tablet, here) = (Data::new(), Data::new());
    let behind = || {
        let prober = Prober::new(Some(PathBuf::from(env!("CARGO_BIN_EXE_groundward"))));
        let store = here.0.path().join("store");
        let history = History::look(&store, &prober).expect("it opens");
        let history = history.expect("there is a store");
        let files = Files::look(&here.journals()).expect("they are listed");
        let all = history.list(&here.journals()).expect("it is listed");
        let records: Vec<u64> = all.iter().map(|it| it.records).collect();
        (history.behind(&files).expect("it is read"), records)
    };
    tablet.closed(&id(1), &entries(1..=6));
    tablet.closed(&id(2), &entries(1..=9));
    here.import(&[tablet.path()]);
    assert_eq!(behind(), (vec![], vec![6, 9]));
    // What went on is brought in too, and its lines with it.
    fs::remove_file(tablet.file(&name(2))).expect("it is there");
    tablet.closed(&id(2), &entries(1..=11));
    here.import(&[tablet.path()]);
    assert_eq!(behind(), (vec![], vec![6, 11]));
    // A file that is lost comes from the copies that the store has.
    fs::remove_file(here.file(&name(2))).expect("it is there");
    let (code, out, _) = said(&["log", "show", &id(2), "--data", here.path()]);
    assert!(
        code == 1 && out.contains("* filled: records 1 to 11"),
        "{out}"
    );
}

/// An incident runs, ends, and gets something written into it afterwards; each time the record here is a beginning of what
/// the tablet has, and what stood here before is a beginning of it.
#[test]
fn an_incident_that_goes_on_is_continued_behind_what_is_known() {
    let (tablet, here) = (Data::new(), Data::new());
    let mut writer = tablet.writer(INCIDENT);
    let file = format!("{INCIDENT}.jsonl");
    writer.retry().expect("there is room");
    let (code, rows) = here.rows(&[tablet.path()]);
    assert_eq!((code, &rows[0]["came"]), (0, &Value::from("empty")));
    writer.append(&entries(1..=3)).expect("there is room");
    let (_, rows) = here.rows(&[tablet.path()]);
    assert_eq!(rows[0]["came"], "new");
    assert_eq!(rows[0]["running_up_to"], 3);
    let mut known = here.bytes(&file);
    assert_eq!(known, lines(&entries(1..=3)), "no padding comes along");
    let steps: [(&[Entry], bool); 3] = [
        (&entries(4..=6), false),
        (&[entry(7, 40), over(8)], true),
        (&[other(9)], true),
    ];
    for (more, is_over) in steps {
        let to = more.last().expect("there is one").seq;
        writer.append(more).expect("there is room");
        if is_over {
            writer.close().expect("there is room");
        }
        let (code, rows) = here.rows(&[tablet.path()]);
        assert_eq!((code, &rows[0]["came"]), (0, &Value::from("went-on")));
        assert_eq!(rows[0]["to"], to);
        assert_eq!(rows[0]["running_up_to"].is_null(), is_over, "{rows:?}");
        let now = here.bytes(&file);
        assert!(now.starts_with(&known) && now.len() > known.len());
        known = now;
    }
    assert_eq!(known, tablet.bytes(&file));
    // The tablet's older state, from a backup, has nothing to say any more.
    let older = Data::new();
    older.closed(INCIDENT, &entries(1..=3));
    let (code, rows) = here.rows(&[older.path()]);
    assert_eq!((code, &rows[0]["came"]), (0, &Value::from("known")));
    assert_eq!(here.bytes(&file), known);
    let (code, ..) = said(&["log", "verify", "--data", here.path()]);
    assert_eq!(code, 0);
}

#[test]
fn records_that_part_are_both_kept_and_named_with_where_they_part() {
    let (one, two, here) = (Data::new(), Data::new(), Data::new());
    one.closed(INCIDENT, &entries(1..=6));
    let parting = |last: u64| -> Vec<Entry> {
        let own = (1..=3).map(|seq| entry(seq, (seq as usize * 97) % 700));
        own.chain((4..=last).map(other)).collect()
    };
    two.closed(INCIDENT, &parting(5));
    here.import(&[one.path()]);
    let before = here.all();
    let (code, rows) = here.rows(&[two.path()]);
    assert_eq!((code, &rows[0]["came"]), (1, &Value::from("conflict")));
    assert_eq!(rows[0]["at"], 4, "three records are the same");
    assert!(here.all() == before, "the record here was touched");
    let beside = rows[0]["beside"].as_str().expect("it is named").to_owned();
    assert!(beside.starts_with(here.path()) && beside.contains("/conflicts/"));
    let kept = || fs::read(Path::new(&beside).join(format!("journals/{INCIDENT}.jsonl")));
    assert_eq!(
        kept().expect("it is kept"),
        two.bytes(&format!("{INCIDENT}.jsonl"))
    );
    let (code, out, _) = said(&["log", "verify", INCIDENT, "--data", &beside]);
    assert!(code == 0 && out.contains("intact, 5 records"), "{out}");
    // Said in words it has where, what to do, and that nothing changed.
    let (code, out) = here.import(&[two.path()]);
    assert_eq!(code, 1, "a conflict stays one");
    for words in [
        "CONFLICT",
        "at record 4",
        "nothing here was changed",
        &beside,
    ] {
        assert!(out.contains(words), "{words}: {out}");
    }
    // The other chain goes on where it is kept.
    let longer = Data::new();
    longer.closed(INCIDENT, &parting(8));
    let (code, rows) = here.rows(&[longer.path()]);
    assert_eq!((code, rows[0]["beside"].as_str()), (1, Some(&*beside)));
    assert_eq!(
        kept().expect("it is kept"),
        longer.bytes(&format!("{INCIDENT}.jsonl"))
    );
    assert!(here.all() == before, "the record here was touched");
}

/// What was altered is refused with where; asked for, it comes as it is, and its fault is named here as there.
#[test]
fn an_altered_record_is_refused_unless_it_is_asked_for() {
    let (tablet, here) = (Data::new(), Data::new());
    tablet.closed(&id(1), &entries(1..=9));
    tablet.closed(&id(2), &entries(1..=4));
    let mut bytes = tablet.bytes(&name(1));
    let at = lines(&entries(1..=4)).len() + 20;
    bytes[at] ^= 1;
    fs::write(tablet.file(&name(1)), &bytes).expect("there is room");
    let (code, rows) = here.rows(&[tablet.path()]);
    assert_eq!(code, 1);
    assert_eq!(rows[0]["came"], "altered-refused");
    let what = rows[0]["what"].as_str().expect("it is said");
    assert!(what.contains("record 5"), "{what}");
    assert_eq!(rows[1]["came"], "new", "the whole one is taken over");
    assert!(!here.file(&name(1)).exists());
    let (code, rows) = here.rows(&[tablet.path(), "--even-altered"]);
    assert_eq!((code, &rows[0]["came"]), (1, &Value::from("altered")));
    assert_eq!(here.bytes(&name(1)), bytes);
    let verified = |data: &Data| {
        let (_, out, _) = said(&["log", "verify", &id(1), "--data", data.path()]);
        out
    };
    assert!(verified(&here).contains("ALTERED"));
    assert_eq!(verified(&here), verified(&tablet));
    // It is here now, byte for byte.
    let (code, rows) = here.rows(&[tablet.path()]);
    assert_eq!((code, &rows[0]["came"]), (0, &Value::from("known")));
    // A whole one of the same incident is not put behind it, and not lost.
    let whole = Data::new();
    whole.closed(&id(1), &entries(1..=9));
    let before = here.all();
    let (code, rows) = here.rows(&[whole.path()]);
    assert_eq!((code, &rows[0]["came"]), (1, &Value::from("altered-here")));
    assert!(here.all() == before, "the record here was touched");
    let beside = Path::new(rows[0]["beside"].as_str().expect("it is named"));
    let kept = fs::read(beside.join("journals").join(name(1)));
    assert_eq!(kept.expect("it is kept"), whole.bytes(&name(1)));
    // An altered one never makes a whole one altered: it is kept beside.
    let other = Data::new();
    other.import(&[whole.path()]);
    let (code, rows) = other.rows(&[tablet.path(), "--even-altered"]);
    assert_eq!((code, &rows[0]["came"]), (1, &Value::from("altered")));
    assert!(rows[0]["beside"].is_string(), "{rows:?}");
    assert_eq!(other.bytes(&name(1)), whole.bytes(&name(1)));
}

/// A failing disk on the tablet left two segments, one in the other folder; here it becomes one file.
#[test]
fn segments_in_both_folders_become_one_file() {
    let (tablet, here) = (Data::new(), Data::new());
    let all = entries(1..=9);
    let mut chain = Chain::after(FIRST_PREV);
    let sealed: Vec<String> = all.iter().map(|it| chain.seal(it) + "\n").collect();
    let put = |folder: &Path, name: &str, lines: &[String]| {
        fs::create_dir_all(folder).expect("there is room");
        fs::write(folder.join(name), lines.concat()).expect("there is room");
    };
    put(&tablet.journals()[0], &name(1), &sealed[..5]);
    let second = format!("{}.2.jsonl", id(1));
    put(&tablet.journals()[1], &second, &sealed[3..]);
    let (code, rows) = here.rows(&[tablet.path()]);
    assert_eq!((code, &rows[0]["came"]), (0, &Value::from("new")));
    assert_eq!(here.bytes(&name(1)), lines(&all));
    let (_, rows) = here.rows(&[tablet.path()]);
    assert_eq!(rows[0]["came"], "known");
}

/// The record here is that of a tablet itself, with padding: what stands there is not written over, a file is put beside.
#[test]
fn what_is_not_one_plain_file_is_continued_in_another() {
    let (one, two) = (Data::new(), Data::new());
    let mut writer = one.writer(INCIDENT);
    writer.append(&entries(1..=4)).expect("there is room");
    drop(writer);
    two.closed(INCIDENT, &entries(1..=7));
    let padded = one.bytes(&format!("{INCIDENT}.jsonl"));
    let (code, rows) = one.rows(&[two.path()]);
    assert_eq!((code, &rows[0]["came"]), (0, &Value::from("went-on")));
    assert_eq!(one.bytes(&format!("{INCIDENT}.jsonl")), padded);
    assert_eq!(
        one.bytes(&format!("{INCIDENT}.2.jsonl")),
        lines(&entries(1..=7))
    );
    let whole = read(&RealDisk, &one.journals(), INCIDENT).expect("it is read");
    assert!(whole.problems.is_empty(), "{:?}", whole.problems);
    assert_eq!(whole.records.len(), 7);
    let (_, rows) = one.rows(&[two.path()]);
    assert_eq!(rows[0]["came"], "known");
}

#[test]
fn mistakes_are_said_before_anything_is_written() {
    let (tablet, here, empty) = (Data::new(), Data::new(), Data::new());
    tablet.closed(&id(1), &entries(1..=4));
    let missing = format!("{}/nowhere", tablet.path());
    for (arguments, says) in [
        (
            &[tablet.path(), &missing][..],
            "nowhere is no folder and no bundle",
        ),
        (&[tablet.path(), empty.path()], "no incident is in"),
        (&[here.path()], "is the record itself"),
    ] {
        let (code, out) = here.import(arguments);
        assert!(code == 2 && out.contains(says), "{out}");
        assert!(here.all().is_empty(), "{says}: something was written");
    }
    // A tablet runs on the folder.
    let lock = DataLock::take(here.0.path()).expect("it is free");
    let (code, out) = here.import(&[tablet.path()]);
    assert!(
        code == 2 && out.contains("another Groundward uses"),
        "{out}"
    );
    assert!(here.all().is_empty());
    drop(lock);
    assert_eq!(here.import(&[tablet.path()]).0, 0);
}

/// Bundles come one by one or a folder of them; who signed them is remembered, and a key that nobody knows is named.
#[test]
fn bundles_are_taken_over_and_their_signers_are_remembered() {
    let (tablet, here, shelf) = (Data::new(), Data::new(), Data::new());
    let record = |number: u32, seq: u64, kind: &str| {
        let id = id(number);
        let json =
            format!(r#"{{"v":1,"seq":{seq},"kind":"{kind}","incident":"{id}","body":{{}}}}"#);
        Entry { seq, json }
    };
    let steps = |last: u64| -> Vec<Entry> {
        let numbers = 1..=last;
        numbers.map(|seq| record(2, seq, "step-done")).collect()
    };
    let ended = [record(1, 1, "step-done"), record(1, 2, "stood-down")];
    tablet.closed(&id(1), &ended);
    tablet.closed(&id(2), &steps(6));
    let bundle = |number: u32, options: &[&str]| -> String {
        let file = format!("{}/{number}.bundle", shelf.path());
        let id = id(number);
        let all = ["log", "bundle", &id, "-o", &file, "--replace", "--data"];
        let (code, _, error) = said(&[&all[..], &[tablet.path()], options].concat());
        assert_eq!(code, 0, "{error}");
        file
    };
    let one = bundle(1, &[]);
    let (code, rows) = here.rows(&[&one]);
    let came = &rows[0]["came"];
    assert_eq!((code, came), (1, &Value::from("new")), "{rows:?}");
    let key = rows[0]["signer"]["key"].as_str().expect("it is signed");
    let (code, out) = here.import(&[&one]);
    assert!(code == 1 && out.contains("UNKNOWN SIGNER"), "{out}");
    assert_eq!(here.bytes(&name(1)), tablet.bytes(&name(1)));
    // Known by now, the same bundle says nothing any more.
    let known = here.0.path().join("known-keys");
    fs::write(known, format!("{key} tablet at gate 2\n")).expect("there is room");
    bundle(2, &[]);
    let (code, rows) = here.rows(&[shelf.path()]);
    let came: Vec<&Value> = rows.iter().map(|it| &it["came"]).collect();
    assert_eq!((code, came), (0, vec![&"known".into(), &"new".into()]));
    assert_eq!(rows[1]["signer"]["whose"], "tablet at gate 2");
    assert_eq!(rows[1]["running_up_to"], 6);
    let origins = || fs::read_to_string(here.0.path().join("origins.jsonl"));
    let first = origins().expect("it is there");
    assert_eq!(first.matches(key).count(), 2);
    // What went on comes with a later bundle, the longer of the two is remembered.
    fs::remove_file(tablet.file(&name(2))).expect("it is there");
    tablet.closed(&id(2), &steps(8));
    let later = bundle(2, &[]);
    let (code, rows) = here.rows(&[&later]);
    assert_eq!((code, &rows[0]["came"]), (0, &Value::from("went-on")));
    assert_eq!(here.bytes(&name(2)), tablet.bytes(&name(2)));
    let second = origins().expect("it is there");
    assert!(second.contains("\"records\":8"), "{second}");
    assert_eq!(second.matches(key).count(), 2);
    // One that was changed is refused with where, and one without the record says so.
    let mut bytes = fs::read(&later).expect("it is there");
    let at = bytes.len() / 2;
    bytes[at] ^= 1;
    fs::write(&later, bytes).expect("there is room");
    let other = Data::new();
    let (code, out) = other.import(&[&later]);
    assert!(
        code == 1 && out.contains("ALTERED, not taken over"),
        "{out}"
    );
    assert!(out.contains("2.bundle, record "), "{out}");
    let shared = bundle(1, &["--shared"]);
    let (code, out) = other.import(&[&shared]);
    assert!(code == 1 && out.contains("ask for the full one"), "{out}");
    assert!(other.all().is_empty(), "something was written");
}

/// The program is killed at random moments; what is there then is whole, and another run completes it.
#[test]
fn a_run_that_is_killed_is_completed_by_the_next() {
    const INCIDENTS: u32 = 150;
    let tablet = Data::new();
    fs::create_dir_all(&tablet.journals()[0]).expect("there is room");
    for number in 0..INCIDENTS {
        let records = lines(&entries(1..=u64::from(8 + number % 5)));
        fs::write(tablet.file(&name(number)), records).expect("there is room");
    }
    let whole: BTreeMap<String, Vec<u8>> = (0..INCIDENTS)
        .map(|it| (name(it), tablet.bytes(&name(it))))
        .collect();
    let start = |here: &Data| {
        program()
            .args(["log", "import", tablet.path(), "--data", here.path()])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts")
    };
    let begun = Instant::now();
    let mut child = start(&Data::new());
    child.wait().expect("it ends");
    let takes = begun.elapsed();
    let mut seed = u64::from(std::process::id());
    let (mut stopped, mut halfway) = (0, 0);
    for _ in 0..6 {
        let here = Data::new();
        for _ in 0..3 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let share = u32::try_from(seed >> 40).expect("24 bits") % 100;
            let mut child = start(&here);
            std::thread::sleep(takes * share / 100);
            child.kill().expect("it can be killed");
            let ended = child.wait().expect("it ends");
            stopped += u32::from(!ended.success());
            let mut there = 0;
            for (path, (bytes, _)) in here.all() {
                let name = path.file_name().and_then(|it| it.to_str());
                if let Some(expected) = name.and_then(|it| whole.get(it)) {
                    assert!(bytes == *expected, "{} is not whole", path.display());
                    there += 1;
                }
            }
            halfway += u32::from(there > 0 && there < INCIDENTS);
        }
        let mut child = start(&here);
        assert!(child.wait().expect("it ends").success());
        for (name, bytes) in &whole {
            assert!(here.bytes(name) == *bytes, "{name}");
        }
        let (code, out, error) = said(&["log", "verify", "--data", here.path()]);
        assert_eq!(code, 0, "{error}");
        assert_eq!(out.matches(": intact").count(), whole.len());
    }
    eprintln!("killed {stopped} times, {halfway} of them halfway; a run takes {takes:.0?}");
    assert!(stopped > 0, "no run was killed in time");
    assert!(takes < Duration::from_secs(60), "it hangs");
}
