//! Asks the program itself about drills: results, learning, proposals, what is due, drills at a table, and its mistakes.
//!
//! The drills of the records here are played by a simulated crew and then marked as drills with people, because nobody can
//! climb in a test. Where times must differ from the plan, they are played on a copy of it whose steps take twice as long.

use crate::readiness_report::parsed;
use groundward::drill::{BUILT_IN, Planned, Scenario, Table, TableTop, When, read_for};
use groundward::incident::{Event, Inject, Moment, Owner, Task};
use groundward::journal::disk::RealDisk;
use groundward::journal::thread::JournalThread;
use groundward::journal::writer::Writer;
use groundward::plan::{self, DEMO, Edit, Plan, ThreePoint};
use groundward::readiness::Depth;
use groundward::signal::{Addition, Entry, JournalReport};
use groundward::units::Millis;
use groundward::words::{Id, Phrase, clock};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use tempfile::{TempDir, tempdir};

/// Exit code, standard output and standard error of the program.
pub(crate) fn groundward(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_groundward"))
        .args(arguments)
        .output()
        .expect("the program starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("it writes UTF-8");
    let code = output.status.code().expect("it ends by itself");
    (code, text(output.stdout), text(output.stderr))
}

/// The same with `--format json`.
#[track_caller]
pub(crate) fn json(arguments: &[&str]) -> (i32, Value) {
    let (code, out, error) = groundward(&[arguments, &["--format", "json"]].concat());
    let value = serde_json::from_str(&out);
    (
        code,
        value.unwrap_or_else(|why| panic!("{arguments:?} is no JSON ({why}): {out}{error}")),
    )
}

/// It cannot be done, and one line says why.
#[track_caller]
pub(crate) fn refused(arguments: &[&str], says: &[&str]) {
    let (code, out, error) = groundward(arguments);
    assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}: {error}");
    for says in says {
        assert!(error.contains(says), "{says:?} is not in {error:?}");
    }
    assert!(error.starts_with("groundward: "), "{error}");
}

pub(crate) fn demo() -> Plan {
    let read = plan::read("grain-terminal.toml", DEMO.as_bytes());
    read.plan.expect("the built-in plan is fit")
}

/// The built-in plan with the steps of one position taking twice as long.
fn slower(position: &str) -> String {
    let plan = demo();
    let position = plan.position(position).expect("it is in the plan");
    let mut edits = Vec::new();
    for method in &position.methods {
        for (index, step) in method.steps.iter().enumerate() {
            let ThreePoint {
                short,
                likely,
                long,
            } = step.time;
            let [short, likely, long] =
                [short, likely, long].map(|it| format!("\"{} s\"", it.0 * 2 / 1_000));
            edits.push(Edit::Set {
                path: format!(
                    "position.{}.method.{}.step.{}.time",
                    position.id,
                    method.id,
                    index + 1
                ),
                value: format!("[{short}, {likely}, {long}]"),
            });
        }
    }
    let edited = plan::edit_on("grain-terminal.toml", DEMO, &edits, crate::support::day());
    edited.expect("the edits suit the plan").text
}

const DAY_MS: i64 = 86_400_000;
/// 2026-10-01T09:00:00Z.
const FIRST_DRILL_MS: i64 = 1_790_845_200_000;

/// A data folder with so many drills at a position, a day apart, played on this plan; `at_table` leaves them as they are.
pub(crate) fn record(plan_text: &str, position: &str, drills: u32, at_table: bool) -> TempDir {
    record_of(plan_text, position, drills, None, at_table)
}

/// The same with something that comes a second after the beginning.
fn record_of(
    plan_text: &str,
    position: &str,
    drills: u32,
    inject: Option<Inject>,
    at_table: bool,
) -> TempDir {
    let data = tempdir().expect("a folder can be made");
    for number in 0..drills {
        let inject = inject.clone();
        add_drill(data.path(), plan_text, position, number, inject, at_table);
    }
    data
}

fn add_drill(
    data: &Path,
    plan_text: &str,
    position: &str,
    number: u32,
    inject: Option<Inject>,
    at_table: bool,
) {
    let start = Moment {
        wall_ms: FIRST_DRILL_MS + i64::from(number) * DAY_MS,
        offset_min: 0,
        boot_ms: 1_000_000,
        boot_id: "boot-1".into(),
    };
    let table = Table {
        depth: Depth::ROUGH,
        ..Table::new("grain-terminal.toml", plan_text, "", start)
    };
    let scenario = Scenario {
        name: "Test (invented)".to_owned(),
        position: position.to_owned(),
        surprises: inject
            .map(|inject| Planned {
                when: When::At(Millis::from_seconds(1)),
                inject,
            })
            .into_iter()
            .collect(),
        ..Scenario::default()
    };
    let incident = format!("20261001T0900{number:02}Z-{position}");
    let seed = u64::from(number) + 1;
    let exercise = scenario.at_a_table(seed);
    let play = TableTop::new(&table, &incident, &scenario, exercise, seed);
    let mut records = play.expect("the plan is fit").play();
    for record in &mut records {
        if let Event::Opened(opening) = &mut record.event
            && let Some(exercise) = &mut opening.exercise
        {
            exercise.table_top = at_table;
        }
    }
    let entries: Vec<Entry> = records
        .iter()
        .map(|it| Entry {
            seq: it.seq,
            json: it.to_json(),
        })
        .collect();
    let folders = vec![data.join("journals")];
    let writer = Writer::create(Arc::new(RealDisk), folders, &incident);
    let mut writer = writer.expect("a journal can be begun");
    writer.append(&entries).expect("it is written");
    writer.close().expect("it is closed");
}

fn text(path: &Path) -> &str {
    path.to_str().expect("temporary folders are named in UTF-8")
}

fn array<'v>(value: &'v Value, key: &str) -> &'v Vec<Value> {
    let array = value[key].as_array();
    array.unwrap_or_else(|| panic!("{key} is no list in {value}"))
}

#[test]
fn a_drill_at_a_table_is_kept_apart_and_its_result_is_found() {
    let data = tempdir().expect("a folder can be made");
    let folder = text(data.path());
    let (code, played) = json(&[
        "drills",
        "table-top",
        "--demo",
        "--scenario",
        "silo-3-no-answer",
        "--data",
        folder,
    ]);
    assert_eq!(code, 0);
    let incident = played["incident"].as_str().expect("it has a name");
    // The result read back from the file is that of the play, sentence by sentence.
    let (code, result) = json(&["drills", "result", incident, "--data", folder]);
    assert_eq!(code, 0);
    assert_eq!(result["intact"], true);
    for key in ["outcome", "debrief", "told"] {
        assert_eq!(result[key], played[key], "{key}");
    }
    assert_eq!(array(&result["debrief"], "questions").len(), 3);
    let (_, out, _) = groundward(&["drills", "result", incident, "--data", folder]);
    for group in array(&result, "told") {
        for line in array(group, "lines") {
            let line = line.as_str().expect("a sentence");
            assert!(out.contains(line), "{line:?} is not said: {out}");
        }
    }
    assert!(out.contains("drill at a table"), "{out}");
    // It is no drill of the site, and no rescue.
    let (_, listed) = json(&["log", "list", "--data", folder]);
    assert_eq!(listed, Value::Array(Vec::new()));
    let (_, learned) = json(&["drills", "learn", "--demo", "--data", folder]);
    assert_eq!(
        (&learned["count"], array(&learned, "learned").len()),
        (&0.into(), 0)
    );
    let own = data.path().join("table-tops");
    let (_, listed) = json(&["log", "list", "--data", text(&own)]);
    assert_eq!(listed[0]["incident"], incident);
    let of_tables = ["drills", "learn", "--demo", "--of", "table-tops", "--data"];
    let (_, learned) = json(&[&of_tables[..], &[text(&own)]].concat());
    assert_eq!(learned["count"], 1);
}

#[test]
fn the_same_seed_plays_the_same_drill_and_says_it_line_by_line() {
    let play = ["drills", "table-top", "--demo", "--scenario", "mast-7-wind"];
    let seeded = |seed: &str| json(&[&play[..], &["--seed", seed]].concat()).1;
    let (one, again, other) = (seeded("5"), seeded("5"), seeded("6"));
    assert_eq!((&one["run"], &one["told"]), (&again["run"], &again["told"]));
    assert_eq!(one["lines"], again["lines"]);
    assert_ne!(one["lines"], other["lines"]);
    assert_eq!(one["incident"], Value::Null, "nothing is kept unasked");
    let (code, out, error) = groundward(&[&play[..], &["--seed", "5"]].concat());
    assert_eq!((code, error.as_str()), (0, ""));
    let mut rest = out.as_str();
    let told = array(&one, "lines").iter().filter(|it| it["aloud"] == true);
    for line in told {
        let line = line["text"].as_str().expect("a sentence");
        let at = rest.find(line);
        let at = at.unwrap_or_else(|| panic!("{line:?} is not said in its turn: {out}"));
        rest = &rest[at..];
    }
    assert!(rest.contains("No time in suspension is safe."), "{rest}");
}

#[test]
fn many_runs_are_summed_up_as_they_went() {
    let (code, said) = json(&[
        "drills",
        "table-top",
        "--demo",
        "--scenario",
        "silo-3-no-answer",
        "--runs",
        "5",
        "--seed",
        "7",
    ]);
    assert_eq!(code, 0);
    let runs = array(&said, "runs");
    let seeds: Vec<i64> = runs.iter().filter_map(|it| it["seed"].as_i64()).collect();
    assert_eq!(seeds, (7..12).collect::<Vec<_>>());
    let target = said["target_ms"].as_i64().expect("a time");
    let off: Vec<Option<i64>> = runs.iter().map(|it| it["off_ms"].as_i64()).collect();
    let by_target = off.iter().flatten().filter(|it| **it <= target).count();
    let share = |count: usize| i64::try_from(count * 1_000_000 / 5).expect("a share");
    assert_eq!(said["by_target_ppm"], share(by_target));
    let never = off.iter().filter(|it| it.is_none()).count();
    assert_eq!(said["never_ppm"], share(never));
    // Every run ends in one of three ways.
    let by: i64 = array(&said, "methods")
        .iter()
        .filter_map(|it| it["runs"].as_i64())
        .sum();
    let outside = runs.iter().filter(|it| it["outside"] == true).count();
    assert_eq!(by, 5 - i64::try_from(never + outside).expect("a count"));
    // Half of them at most are quicker than the half, and half at most slower.
    if let Some(half) = said["off"]["median_ms"].as_i64() {
        let quicker = off.iter().flatten().filter(|it| **it < half).count();
        let slower = off.iter().filter(|it| it.is_none_or(|it| it > half));
        assert!(quicker <= 2 && slower.count() <= 2, "{half}: {off:?}");
    }
    let one = [
        "drills",
        "table-top",
        "--demo",
        "--scenario",
        "silo-3-no-answer",
        "--seed",
        "9",
    ];
    let (_, one) = json(&one);
    assert_eq!(
        one["run"]["off_ms"], runs[2]["off_ms"],
        "seed 9 alone goes as among the others"
    );
}

#[test]
fn a_scenario_with_mistakes_is_told_line_by_line() {
    let folder = tempdir().expect("a folder can be made");
    let file = folder.path().join("mistakes.toml");
    let play = |file: &Path, says: &[&str]| {
        let scenario = text(file);
        refused(
            &["drills", "table-top", "--demo", "--scenario", scenario],
            says,
        );
    };
    fs::write(
        &file,
        "format = 1\nname = \"A\"\nposition = \"silo3\"\n\n[[surprise]]\nat = \"1:00\"\nwhat = \"rain\"\n\n[[surprise]]\nat = \"x\"\nwhat = \"wind\"\nspeed = \"9 m/s\"\n",
    )
    .expect("it can be written");
    play(&file, &["mistakes.toml:7: ", "mistakes.toml:10: "]);
    fs::write(&file, "format = 1\nname = \"A\"\nposition = \"moon\"\n").expect("it is written");
    play(&file, &["mistakes.toml:3: ", "moon", "silo3"]);
    fs::write(&file, vec![b'#'; 70_000]).expect("it can be written");
    play(&file, &["mistakes.toml"]);
    play(
        &folder.path().join("none.toml"),
        &["cannot be read", "silo-3-no-answer"],
    );
    // A built-in scenario is for the built-in plan.
    let bridge = "--demo=bridge-repaint";
    refused(
        &["drills", "table-top", bridge, "--scenario", "mast-7-wind"],
        &["mast-7-wind:", "mast"],
    );
}

#[test]
fn what_was_learned_is_the_medians_of_the_drills_and_nothing_below_five() {
    let data = record(DEMO, "silo3", 4, false);
    let folder = text(data.path());
    let learn = ["drills", "learn", "--demo", "--data", folder];
    let (_, few) = json(&learn);
    assert_eq!((&few["count"], &few["enough"]), (&4.into(), &5.into()));
    assert!(!array(&few, "learned").is_empty());
    for row in array(&few, "learned") {
        assert_eq!(
            (&row["summary"], &row["trend"]),
            (&Value::Null, &Value::Null)
        );
    }
    let (_, out, _) = groundward(&learn);
    assert!(out.contains("not enough drills yet"), "{out}");
    for number in 4..7 {
        add_drill(data.path(), DEMO, "silo3", number, None, false);
    }
    let (code, said) = json(&[&learn[..], &["--position", "silo3"]].concat());
    assert_eq!((code, &said["count"]), (0, &7.into()));
    let rows = array(&said, "learned");
    let off = rows
        .iter()
        .find(|it| it["subject"]["milestone"] == "off")
        .expect("casualties came off the harness");
    let times = array(off, "times");
    assert_eq!(times.len(), 7);
    assert!(times.iter().all(|it| it["ended"] == true), "{times:?}");
    let mut times: Vec<i64> = times.iter().filter_map(|it| it["ms"].as_i64()).collect();
    times.sort_unstable();
    // The fourth of seven is the median by any definition.
    assert_eq!(off["summary"]["median_ms"], times[3]);
    assert!(off["trend"]["ms_every_30_days"].is_i64(), "{off}");
    for row in rows {
        assert_eq!(row["whose"]["position"], "silo3", "only what was asked for");
    }
    refused(
        &[&learn[..], &["--position", "moon"]].concat(),
        &["moon", "silo3"],
    );
}

#[test]
fn an_altered_drill_and_one_of_another_site_teach_nothing() {
    let data = record(DEMO, "silo3", 2, false);
    let folder = text(data.path());
    let learn = ["drills", "learn", "--demo", "--data", folder];
    assert_eq!(json(&learn).1["count"], 2);
    let (_, elsewhere, _) =
        groundward(&["drills", "learn", "--demo=bridge-repaint", "--data", folder]);
    assert!(elsewhere.contains("drills: 0"), "{elsewhere}");
    assert!(
        elsewhere.contains("2 incidents of other sites are left out."),
        "{elsewhere}"
    );
    let journal = data.path().join("journals/20261001T090001Z-silo3.jsonl");
    let mut bytes = fs::read(&journal).expect("it is there");
    let at = bytes
        .windows(12)
        .position(|it| it == b"\"elapsed_ms\"")
        .expect("every record has one");
    bytes[at + 1] = b'E';
    fs::write(&journal, bytes).expect("it can be written");
    let (_, said) = json(&learn);
    assert_eq!(said["count"], 1);
    let why = said["left_out"][0].as_str().expect("a sentence");
    assert!(why.contains("20261001T090001Z-silo3"), "{why}");
    let (code, out, _) = groundward(&[
        "drills",
        "result",
        "20261001T090000Z-silo3",
        "--data",
        folder,
    ]);
    assert_eq!(code, 0, "{out}");
    assert!(out.starts_with("20261001T090000Z-silo3: drill, "), "{out}");
    let (code, ..) = groundward(&[
        "drills",
        "result",
        "20261001T090001Z-silo3",
        "--data",
        folder,
    ]);
    assert_ne!(code, 0, "an altered record is never all well");
    for id in ["20261001T090009Z-silo3", "../journals/x", ""] {
        refused(&["drills", "result", id, "--data", folder], &["log list"]);
    }
}

#[test]
fn proposals_are_written_into_another_file_and_the_plan_stays_as_it_is() {
    // Whoever does not answer is asked for nothing, so what counts for readiness is drilled.
    let data = record_of(
        &slower("silo3"),
        "silo3",
        5,
        Some(Inject::StopsAnswering {}),
        false,
    );
    let folder = text(data.path());
    let plan = data.path().join("plan.toml");
    fs::write(&plan, DEMO).expect("it can be written");
    let to = data.path().join("proposed.toml");
    let calibrate = ["drills", "calibrate", text(&plan), "--data", folder];
    let writing = [&calibrate[..], &["--write-to", text(&to)]].concat();
    // Looking writes nothing.
    let (code, said) = json(&calibrate);
    assert_eq!(code, 0);
    assert!(said["written"].is_null() && !to.exists());
    let differing: Vec<&Value> = array(&said, "measured")
        .iter()
        .filter(|it| it["verdict"] == "differs")
        .collect();
    assert!(
        !differing.is_empty(),
        "steps that take twice as long differ"
    );
    let longer = |it: &&&Value| {
        let half = it["measured"]["median_ms"].as_i64();
        half > it["planned_median_ms"].as_i64()
    };
    let steps = differing.iter().filter(|it| it["figure"]["step"].is_i64());
    assert!(
        steps.clone().count() > 0 && steps.clone().all(|it| longer(&it)),
        "{differing:?}"
    );
    let beside = array(&said, "readiness");
    let silo = beside.iter().find(|it| it["position"] == "silo3");
    let silo = silo.expect("a step at silo 3 bears on silo 3");

    assert_ne!(
        silo["before"]["expected"], silo["after"]["expected"],
        "slower steps make another forecast"
    );
    let (code, out, error) = groundward(&writing);
    assert_eq!((code, error.as_str()), (0, ""), "{out}");
    assert_eq!(
        fs::read_to_string(&plan).expect("it is there"),
        DEMO,
        "the plan is never written over"
    );
    assert!(out.contains("groundward plan diff"), "{out}");
    let (code, changes) = json(&["plan", "diff", text(&plan), text(&to)]);
    assert_eq!((code, &changes["same"]), (1, &false.into()));
    assert_eq!(
        changes["changes"], said["changes"],
        "what is written is what was said"
    );
    let (code, ..) = groundward(&["check", text(&to)]);
    assert_eq!(code, 0, "what is proposed is fit to use");
    // Neither the plan, by whatever name, nor any other file is written over.
    let link = data.path().join("link.toml");
    std::os::unix::fs::symlink(&plan, &link).expect("a link can be made");
    let roundabout: PathBuf = data.path().join("journals/../plan.toml");
    for file in [&plan, &link, &roundabout] {
        let arguments = [&calibrate[..], &["--write-to", text(file)]].concat();
        refused(&arguments, &["the plan itself"]);
    }
    refused(&writing, &["proposed.toml is there already"]);
    assert_eq!(fs::read_to_string(&plan).expect("it is there"), DEMO);
}

#[test]
fn too_few_drills_propose_nothing_and_write_nothing() {
    let data = record(&slower("silo3"), "silo3", 2, false);
    let to = data.path().join("proposed.toml");
    let (code, out, error) = groundward(&[
        "drills",
        "calibrate",
        "--demo",
        "--data",
        text(data.path()),
        "--write-to",
        text(&to),
    ]);
    assert_eq!((code, error.as_str()), (0, ""));
    assert!(out.contains("Not enough drills yet: 5 are needed"), "{out}");
    assert!(out.contains("Nothing is proposed"), "{out}");
    assert!(!to.exists());
}

#[test]
fn what_is_due_is_found_before_it_is_forgotten() {
    let data = record(DEMO, "silo3", 1, false);
    let folder = text(data.path());
    let edit = Edit::set("policy.drill_every", "180 d");
    let edited = plan::edit_on("plan.toml", DEMO, &[edit], crate::support::day());
    let plan = data.path().join("plan.toml");
    fs::write(&plan, edited.expect("it suits the plan").text).expect("it can be written");
    let plan = text(&plan);
    let due = |day: &str| {
        json(&[
            "drills", "due", plan, "--data", folder, "--on", day, "--strict",
        ])
    };
    let at = |said: &Value, id: &str| {
        let mut rows = array(said, "due").iter();
        rows.find(|it| it["position"] == id).cloned()
    };
    let (code, soon) = due("2026-10-02");
    assert_eq!(code, 1, "nobody drilled elsewhere on this tablet");
    assert_eq!(at(&soon, "silo3"), None, "it was drilled yesterday");
    // 180 days after 2026-10-01 is 2027-03-30.
    assert_eq!(at(&due("2027-03-30").1, "silo3"), None);
    let late = at(&due("2027-04-02").1, "silo3").expect("it is due");
    assert_eq!(
        (&late["days_over"], &late["last"]),
        (&3.into(), &"2026-10-01".into())
    );
    let people = |said: &Value| {
        let rows = array(said, "due").iter();
        rows.filter(|it| it["responder"].is_string()).count()
    };
    let (_, without) = json(&[
        "drills",
        "due",
        plan,
        "--data",
        text(tempdir().expect("a folder").path()),
        "--on",
        "2026-10-02",
    ]);
    assert!(
        people(&soon) < people(&without),
        "whoever had a role in it has drilled it"
    );
    let (code, out, _) = groundward(&["drills", "due", "--demo", "--data", folder]);
    assert_eq!(code, 0, "only --strict asks for an exit code");
    assert!(out.contains("no drill known"), "{out}");
}

/// Adds to a drill of `record` what somebody says after its end, as the tablet's journal does.
fn add_after(data: &Path, incident: &str, event: Event) {
    let (sender, reports) = std::sync::mpsc::channel();
    let folders = vec![data.join("journals")];
    let journal = JournalThread::spawn(folders, move |report, _| drop(sender.send(report)));
    let journal = journal.expect("there is room for a thread");
    journal.add(Box::new(Addition {
        incident: incident.to_owned(),
        now: Moment {
            wall_ms: FIRST_DRILL_MS + 20 * DAY_MS,
            offset_min: 0,
            boot_ms: 5,
            boot_id: "boot-2".into(),
        },
        who: "bram".to_owned(),
        event,
    }));
    drop(journal);
    let said: Vec<JournalReport> = reports.iter().collect();
    assert!(
        matches!(
            said[..],
            [JournalReport::Saved { .. }, JournalReport::Closed { .. }]
        ),
        "{said:?}"
    );
}

#[test]
fn what_is_to_be_done_is_listed_until_it_is_done() {
    let data = record(DEMO, "silo3", 2, false);
    let set = |text: Id, due: &str| {
        Event::TaskSet(Task {
            text: Phrase::of(text),
            owner: Owner::Responder("bram".to_owned()),
            due: due.parse().expect("it is a day"),
            from: None,
            by: None,
        })
    };
    let incident = |number: u32| format!("20261001T0900{number:02}Z-silo3");
    add_after(data.path(), &incident(0), set(Id::TaskCall, "2026-12-20"));
    add_after(
        data.path(),
        &incident(1),
        set(Id::TaskUnheard, "2026-11-01"),
    );
    let listed = |more: &[&str]| {
        let folder = text(data.path());
        let base = [
            "log",
            "tasks",
            "--demo",
            "--data",
            folder,
            "--on",
            "2026-12-01",
        ];
        json(&[&base[..], more].concat())
    };
    let (code, found) = listed(&["--strict"]);
    assert_eq!(code, 1, "one is overdue");
    let tasks = array(&found, "tasks");
    let short = |it: &Value| {
        (
            it["incident"].clone(),
            it["due"].clone(),
            it["overdue"].clone(),
        )
    };
    assert_eq!(
        tasks.iter().map(short).collect::<Vec<_>>(),
        [
            (incident(1).into(), "2026-11-01".into(), true.into()),
            (incident(0).into(), "2026-12-20".into(), false.into()),
        ]
    );
    assert_eq!(tasks[0]["text"], "Practise reading orders back");
    let number = tasks[0]["number"].as_u64().expect("a number");
    add_after(
        data.path(),
        &incident(1),
        Event::TaskDone {
            task: number,
            by: None,
        },
    );
    let (code, found) = listed(&["--strict"]);
    assert_eq!((code, array(&found, "tasks").len()), (0, 1));
    assert_eq!(array(&listed(&["--all"]).1, "tasks").len(), 2);
    // The record still holds, and says so in words.
    let (code, shown, _) = groundward(&["log", "verify", "--data", text(data.path())]);
    assert_eq!(code, 0, "{shown}");
    let (_, shown, _) = groundward(&["log", "show", &incident(1), "--data", text(data.path())]);
    let says = |line: &str| assert!(shown.contains(line), "{line} is not in {shown}");
    says("To be done: Practise reading orders back - Bram, by 2026-11-01");
    says("Done: Practise reading orders back");
    // What was decided afterwards changes no figure of the drill.
    let (_, result) = json(&[
        "drills",
        "result",
        &incident(1),
        "--data",
        text(data.path()),
    ]);
    let bare = record(DEMO, "silo3", 2, false);
    let (_, before) = json(&[
        "drills",
        "result",
        &incident(1),
        "--data",
        text(bare.path()),
    ]);
    assert_eq!(result["outcome"], before["outcome"]);
}

/// The report names what the command says, figure by figure; the command alone is held to the drills by its own test.
#[test]
fn the_report_on_learning_says_what_the_command_says() {
    let data = record(DEMO, "silo3", 6, false);
    let folder = text(data.path());
    let file = data.path().join("learned.html");
    let to = text(&file);
    let learn = ["drills", "learn", "--demo", "--data", folder];
    let (code, out, error) = groundward(&[&learn[..], &["--write-to", to]].concat());
    assert_eq!((code, error.as_str()), (0, ""));
    let (_, said) = json(&learn);
    let root = parsed(&fs::read_to_string(&file).expect("it was written"));
    let articles = root.named("article");
    let rows = array(&said, "learned");
    assert_eq!(articles.len(), rows.len());
    let mut summed = 0;
    for (article, row) in articles.into_iter().zip(rows) {
        let name = row["name"].as_str().expect("a name");
        assert_eq!(article.named("h3")[0].text, name);
        assert!(out.contains(name), "{name}");
        for key in ["lower_ms", "median_ms", "upper_ms"] {
            if let Some(ms) = row["summary"][key].as_i64() {
                let figure = clock(Millis(ms));
                let has = |text: &str| text.contains(&figure);
                assert!(has(&article.text) && has(&out), "{name}: {key} {figure}");
                summed += 1;
            }
        }
    }
    assert!(summed > 30, "{summed}");
    // Every drill here is played by day, so none is left where only those in the dark count.
    let dark = [&learn[..], &["--dark"]].concat();
    assert_eq!(json(&dark).1["count"], 0);
    let spanish = ["--language", "es", "--position", "silo3", "--write-to", to];
    let (code, ..) = groundward(&[&learn[..], &spanish].concat());
    assert_eq!(code, 0);
    let html = fs::read_to_string(&file).expect("it was written");
    assert_eq!(parsed(&html).attribute("lang"), "es");
    assert!(html.contains("SIMULACRO"));
}

#[test]
fn a_report_on_learning_is_of_drills_and_in_html_alone() {
    let folder = tempdir().expect("a folder can be made");
    let data = text(folder.path());
    let learn = ["drills", "learn", "--demo", "--data", data, "--write-to"];
    for (to, more, says) in [
        ("learned.pdf", &[][..], "does not end in .html"),
        (
            "learned.html",
            &["--of", "rescues"],
            "the report is of drills",
        ),
    ] {
        let to = folder.path().join(to);
        refused(&[&learn[..], &[text(&to)], more].concat(), &[says]);
        assert!(!to.exists(), "nothing is written");
    }
}

#[test]
fn proposed_drills_can_be_played_and_are_never_written_over() {
    let folder = tempdir().expect("a folder can be made");
    let to = folder.path().join("drills");
    let data = folder.path().join("data");
    let propose = [
        "drills",
        "propose",
        "--demo",
        "--data",
        text(&data),
        "--on",
        "2026-11-25",
    ];
    let writing = [&propose[..], &["--write-to", text(&to)]].concat();
    let (code, said) = json(&writing);
    assert_eq!(code, 0);
    let plan = demo();
    let all = array(&said, "proposed");
    assert!(!all.is_empty());
    for it in all {
        let file = Path::new(it["file"].as_str().expect("it was written"));
        let bytes = fs::read(file).expect("it is there");
        let read = read_for(&plan, "proposed", &bytes).expect("it suits the plan");
        assert_eq!(read.name, it["name"].as_str().expect("a name"));
        let why = it["why"].as_str().expect("a reason");
        let first = String::from_utf8(bytes).expect("text");
        assert!(first.starts_with(&format!("# {why}")), "{first}");
    }
    let one = all[0]["file"].as_str().expect("it was written");
    fs::write(one, "# changed by a trainer\n").expect("it can be written");
    refused(&writing, &["is there already"]);
    let kept = fs::read_to_string(one).expect("it is there");
    assert_eq!(kept, "# changed by a trainer\n");
    let one = all[1]["file"].as_str().expect("it was written");
    let (code, ..) = groundward(&["drills", "table-top", "--demo", "--scenario", one]);
    assert_eq!(code, 0);
    let spanish = [&propose[..], &["--language", "es"]].concat();
    assert_ne!(json(&spanish).1["proposed"][0]["why"], all[0]["why"]);
    let (_, out, _) = groundward(&propose);
    for it in all {
        let why = it["why"].as_str().expect("a reason");
        assert!(out.contains(why), "{why:?} is not said: {out}");
    }
}

#[test]
fn without_a_plan_that_of_the_tablet_is_used() {
    let data = tempdir().expect("a folder can be made");
    let folder = text(data.path());
    refused(&["drills", "due", "--data", folder], &["--demo"]);
    let kept = data.path().join("last-fit-plan.toml");
    fs::write(&kept, DEMO).expect("it can be written");
    let (_, said) = json(&["drills", "due", "--data", folder]);
    assert_eq!(said["site"], demo().site.name);
    refused(
        &[
            "drills",
            "calibrate",
            "--data",
            folder,
            "--write-to",
            text(&kept),
        ],
        &["the plan itself"],
    );
}

#[test]
fn every_built_in_scenario_can_be_played_by_its_name() {
    for (name, _) in BUILT_IN {
        let name = name.trim_end_matches(".toml");
        let (code, said) = json(&["drills", "table-top", "--demo", "--scenario", name]);
        assert_eq!(code, 0, "{name}");
        assert!(array(&said, "lines").len() > 10, "{name}");
        assert!(
            said["run"]["contact_ms"].as_i64() > Some(Millis::ZERO.0),
            "{name}: {}",
            said["run"]
        );
    }
}
