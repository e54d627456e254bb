//! Measures the record of many tablets, 10,000 incidents of a year: the list, a filter, a search, sums, and taking all of it
//! over once more; each beside SQLite with the same events and digests, with indexes.
//!
//! `cargo bench --bench manager -- 1000` does it with fewer. The incidents are one rehearsed drill under other names, with
//! other times, sites and delays; some stop halfway, some have something to be done. SQLite is a database that anybody could
//! have kept all this in: where it is quicker by far, something here is done wrong.
//!
//! Limits: everything is in the memory of the operating system. SQLite cannot count what was broken off as such, so its sums
//! are plain quartiles. About 6 GB of disk are needed for the usual size.

use groundward::history::{Files, Handle, History, Listed};
use groundward::journal::chain::{Chain, FIRST_PREV};
use groundward::journal::disk::RealDisk;
use groundward::journal::import::{Came, Import};
use groundward::journal::listing::Listing;
use groundward::review::{By, Filter, Outcome, trends};
use groundward::signal::Entry;
use groundward::store::probe::Prober;
use groundward::words::fold;
use rusqlite::{Connection, params};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

const INCIDENTS: usize = 10_000;
const SITES: usize = 12;
/// In turn, each side this often; the median counts.
const TURNS: usize = 7;
/// Taking everything over takes seconds.
const TURNS_LONG: usize = 3;
/// What the program works out again and again and a list does not need.
const LEFT_OUT: [&str; 3] = ["clock-marked", "prompt-shown", "forecast-adopted"];
const SITE: &str = "Quillbank grain terminal (invented example)";
const DAY_MS: i64 = 86_400_000;

fn main() {
    let mut asked = std::env::args().filter_map(|it| it.parse::<usize>().ok());
    let incidents = asked.next_back().unwrap_or(INCIDENTS);
    let data = tempfile::tempdir().expect("there is room");
    let (tablet, here) = (data.path().join("tablet"), data.path().join("here"));
    let journals = [here.join("journals")];
    let drill = rehearsed(data.path());
    write(&tablet.join("journals"), &drill, incidents);

    let begun = Instant::now();
    let (new, _) = take_over(&tablet, &here);
    println!("{incidents} incidents, {} events", incidents * drill.len());
    println!("taken over in {:.1?}", begun.elapsed());
    assert_eq!(new, incidents);
    let prober = Prober::new(Some(PathBuf::from(env!("CARGO_BIN_EXE_groundward"))));
    let begun = Instant::now();
    let store = here.join("store");
    let (history, _) = History::rebuild(&store, &prober, &journals, |_| true).expect("it is made");
    println!(
        "the store made from the journals in {:.1?}",
        begun.elapsed()
    );
    let files = Files::look(&journals).expect("they are listed");
    assert_eq!(history.behind(&files).map(|it| it.len()), Ok(0));
    let all = history.list(&journals).expect("it is listed");
    drop(history);

    let begun = Instant::now();
    let database = data.path().join("record.sqlite");
    let sqlite = filled(&database, &all, &tablet);
    println!("SQLite filled in {:.1?}\n", begun.elapsed());

    println!(
        "{:34}  {:>10}  {:>10}  {:>6}",
        "", "here", "SQLite", "ratio"
    );
    let open = || {
        let handle = Handle::default();
        handle.set(
            History::look(&store, &prober)
                .expect("it opens")
                .map(Arc::new),
        );
        handle.list(&journals).expect("it is listed").len()
    };
    compare("the list opened", TURNS, open, || {
        listed(&Connection::open(&database).expect("it opens"))
    });
    let history = History::look(&store, &prober).expect("it opens");
    let history = history.expect("there is one");
    compare(
        "the list read anew",
        TURNS,
        || history.list(&journals).expect("it is listed").len(),
        || listed(&sqlite),
    );
    let filter = asked_for();
    let admitted = |filter: &Filter| {
        let wanted = all
            .iter()
            .filter(|it| filter.admits(&it.incident, &it.digest));
        wanted.count()
    };
    compare(
        "filtered by site, days, outcome",
        TURNS,
        || admitted(&filter),
        || {
            let sql = "select count(*) from incident where site_folded = ?1 and day between ?2 and ?3 and past";
            count(
                &sqlite,
                sql,
                params![fold(&site(3)), "2026-03-01", "2026-08-31"],
            )
        },
    );
    let mut search = Filter::default();
    search.search("east silo 0007");
    compare(
        "searched for three words",
        TURNS,
        || admitted(&search),
        || {
            let sql = "select count(*) from incident where told like '%east%' and told like '%silo%' and told like '%0007%'";
            count(&sqlite, sql, [])
        },
    );
    let today = "2026-12-31".parse().expect("it is a day");
    compare(
        "sums by site",
        TURNS,
        || {
            let each = all.iter().map(|it| (it.incident.as_str(), &it.digest));
            trends(each, By::Site, 5, today).len()
        },
        || summed(&sqlite),
    );
    compare(
        "everything taken over once more",
        TURNS_LONG,
        || take_over(&tablet, &here).1,
        || again(&sqlite, &tablet),
    );
}

/// Runs two ways to the same answer in turn and prints how long each takes.
fn compare(what: &str, turns: usize, own: impl Fn() -> usize, other: impl Fn() -> usize) {
    let [mut here, mut there] = [Vec::new(), Vec::new()];
    for _ in 0..turns {
        let (found, took) = time(&own);
        let (expected, took_there) = time(&other);
        assert_eq!(found, expected, "{what}: the two say something else");
        here.push(took);
        there.push(took_there);
    }
    let (here, there) = (middle(here), middle(there));
    println!(
        "{what:34}  {:>10}  {:>10}  {:>6.2}",
        format!("{here:.1?}"),
        format!("{there:.1?}"),
        here.as_secs_f64() / there.as_secs_f64()
    );
}

fn time(work: impl Fn() -> usize) -> (usize, Duration) {
    let begun = Instant::now();
    let found = black_box(work());
    (found, begun.elapsed())
}

fn middle(mut times: Vec<Duration>) -> Duration {
    times.sort_unstable();
    times[times.len() / 2]
}

/// How many were new and how many known.
fn take_over(tablet: &Path, here: &Path) -> (usize, usize) {
    let listing = Listing::of(&RealDisk, &[tablet.join("journals")]);
    let mut import = Import::into(here, &[here.join("journals")], false);
    let (mut new, mut known) = (0, 0);
    for incident in listing.incidents().expect("they are listed") {
        match import.take_from(&listing, incident).expect("there is room") {
            Came::New { .. } => new += 1,
            Came::Known => known += 1,
            other => panic!("{incident}: {other:?}"),
        }
    }
    import.finish().expect("there is room");
    (new, known)
}

fn site(number: usize) -> String {
    format!("Muelle N\u{ba} {}, R\u{ed}o Norte", number % SITES)
}

fn asked_for() -> Filter {
    let mut filter = Filter {
        since: Some("2026-03-01".parse().expect("it is a day")),
        until: Some("2026-08-31".parse().expect("it is a day")),
        outcomes: vec![Outcome::PastTarget],
        ..Filter::default()
    };
    filter.site(&site(3));
    filter
}

/// The records of one rehearsed drill without their seals.
fn rehearsed(folder: &Path) -> Vec<Value> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scripts/silo-3-boom-lift.txt");
    let played = Command::new(env!("CARGO_BIN_EXE_groundward"))
        .args(["rehearse", "--demo", "--script"])
        .arg(script)
        .arg("--data")
        .arg(folder)
        .output()
        .expect("it starts");
    assert!(played.status.success(), "the script does not hold");
    let journals = fs::read_dir(folder.join("rehearsals/journals")).expect("it is listed");
    let journal = journals.flatten().next().expect("there is one").path();
    let text = fs::read_to_string(journal).expect("it is read");
    let records = text
        .lines()
        .map(|it| serde_json::from_str(it).expect("it is JSON"));
    let kept = records.filter(|it: &Value| !LEFT_OUT.iter().any(|kind| it["kind"] == *kind));
    kept.map(|mut it| {
        let record = it.as_object_mut().expect("a record is an object");
        record.remove("prev");
        record.remove("sha");
        it
    })
    .collect()
}

/// Journals of that drill, each with a name, a site and times of its own.
fn write(folder: &Path, drill: &[Value], incidents: usize) {
    fs::create_dir_all(folder).expect("there is room");
    for number in 0..incidents {
        let id = format!("20260101T000000Z-{number:06}");
        let mut chain = Chain::after(FIRST_PREV);
        let records = drill.iter().take(match number % 10 {
            9 => drill.len() / 2,
            _ => drill.len(),
        });
        let mut lines: Vec<String> = Vec::new();
        let seal = |record: Value, lines: &mut Vec<String>, chain: &mut Chain| {
            let seq = u64::try_from(lines.len()).expect("a few");
            lines.push(chain.seal(&Entry {
                seq,
                json: record.to_string(),
            }));
        };
        for (at, record) in records.enumerate() {
            seal(varied(record, at, number, &id), &mut lines, &mut chain);
        }
        if number % 7 == 0 {
            let mut task = varied(&drill[drill.len() - 1], lines.len(), number, &id);
            task["kind"] = "task-set".into();
            task["body"] = json!({ "text": "Paint the hatch", "owner": { "role": "foreman" }, "due": "2026-10-01" });
            seal(task, &mut lines, &mut chain);
        }
        let file = folder.join(format!("{id}.jsonl"));
        fs::write(file, lines.join("\n") + "\n").expect("there is room");
    }
}

fn varied(record: &Value, at: usize, number: usize, id: &str) -> Value {
    let mut record = record.clone();
    let whole = |it: usize| i64::try_from(it).expect("a few thousand");
    // The later part comes up to ten minutes later.
    let delay_ms = if at > 20 {
        whole(number * 7 % 600) * 1_000
    } else {
        0
    };
    let start_ms = 1_767_250_000_000 + whole(number) * 364 * DAY_MS / 10_000;
    let elapsed = record["elapsed_ms"].as_i64().expect("a time") + delay_ms;
    record["seq"] = at.into();
    record["cause"] = at.into();
    record["incident"] = id.into();
    record["wall_ms"] = (start_ms + elapsed).into();
    record["boot_ms"] = (90_000 + elapsed).into();
    record["elapsed_ms"] = elapsed.into();
    if record["kind"] == "opened" {
        let plan = record["body"]["plan"].as_str().expect("a plan");
        assert!(plan.contains(SITE), "the example has another name");
        record["body"]["plan"] = plan.replace(SITE, &site(number)).into();
        record["body"]["incident"] = id.into();
    }
    record
}

/// The same in SQLite: every line, and of every incident what the list shows and what is asked for.
fn filled(path: &Path, all: &[Listed], tablet: &Path) -> Connection {
    let mut sqlite = Connection::open(path).expect("it opens");
    sqlite
        .execute_batch(
            "pragma journal_mode = wal; pragma synchronous = normal; pragma cache_size = -200000;
             create table event (incident text, seq integer, line text, primary key (incident, seq)) without rowid;
             create table incident (id text primary key, started_ms integer, day text, site text, site_folded text, drill integer,
                past integer, hung_ms integer, digest text, told text);",
        )
        .expect("it is made");
    let put = sqlite.transaction().expect("it begins");
    for it in all {
        let digest = &it.digest;
        let hung: Option<i64> = digest
            .casualties
            .first()
            .and_then(|it| it.off_ms.or(it.hung_ms));
        let mut told = fold(&format!("{}\n{}", it.incident, digest.site));
        for hung in &digest.casualties {
            for part in hung.position.iter().chain(&hung.place) {
                told.push('\n');
                told.push_str(&fold(part));
            }
        }
        put.execute(
            "insert into incident values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
            params![
                it.incident,
                digest.started_ms,
                digest.day().to_string(),
                digest.site,
                fold(&digest.site),
                digest.drill,
                digest.past_target(),
                hung,
                serde_json::to_string(digest).expect("it is JSON"),
                told
            ],
        )
        .expect("it is put");
    }
    put.commit().expect("there is room");
    again(&sqlite, tablet);
    sqlite
        .execute_batch(
            "create index by_site on incident (site_folded, day); create index by_day on incident (day); analyze;",
        )
        .expect("it is made");
    sqlite
}

/// Puts every line of every journal into SQLite, where it is not there yet; how many incidents there were.
fn again(sqlite: &Connection, tablet: &Path) -> usize {
    let put = sqlite.unchecked_transaction().expect("it begins");
    let mut incidents = 0;
    {
        let mut insert = put
            .prepare("insert or ignore into event values (?1, ?2, ?3)")
            .expect("it is SQL");
        for entry in fs::read_dir(tablet.join("journals")).expect("it is listed") {
            let path = entry.expect("it is listed").path();
            let text = fs::read_to_string(&path).expect("it is read");
            let id = path.file_stem().and_then(|it| it.to_str());
            for (seq, line) in (0_i64..).zip(text.lines()) {
                insert.execute(params![id, seq, line]).expect("it is put");
            }
            incidents += 1;
        }
    }
    put.commit().expect("there is room");
    incidents
}

/// Reads what a list shows of every incident.
fn listed(sqlite: &Connection) -> usize {
    let mut all = sqlite
        .prepare(
            "select id, started_ms, site, drill, past, hung_ms, digest from incident order by id",
        )
        .expect("it is SQL");
    let rows = all.query_map([], |row| {
        let digest: String = row.get(6)?;
        let digest: groundward::review::Digest = serde_json::from_str(&digest).unwrap_or_default();
        Ok((row.get::<_, String>(0)?, digest))
    });
    let rows: Vec<_> = rows.expect("it runs").flatten().collect();
    black_box(rows).len()
}

fn count(sqlite: &Connection, sql: &str, params: impl rusqlite::Params) -> usize {
    let mut asked = sqlite.prepare(sql).expect("it is SQL");
    let count: i64 = asked.query_row(params, |row| row.get(0)).expect("it runs");
    usize::try_from(count).expect("a count")
}

/// Count, past the target and quartiles by site.
fn summed(sqlite: &Connection) -> usize {
    let mut all = sqlite
        .prepare(
            "select site, count(*), sum(past), max(case when quarter = 1 then hung_ms end), max(case when quarter = 2 then hung_ms end),
                max(case when quarter = 3 then hung_ms end)
             from (select site, past, hung_ms, ntile(4) over (partition by site order by hung_ms) as quarter from incident) group by site",
        )
        .expect("it is SQL");
    let rows = all.query_map([], |row| {
        Ok((
            row.get::<_, String>(0)?,
            row.get::<_, i64>(1)?,
            row.get::<_, Option<i64>>(3)?,
        ))
    });
    let rows: BTreeMap<String, (i64, Option<i64>)> = rows
        .expect("it runs")
        .flatten()
        .map(|it| (it.0, (it.1, it.2)))
        .collect();
    rows.len()
}
