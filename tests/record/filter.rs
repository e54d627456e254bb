//! Holds the filter of the list against one that reads the rule book word by word, and the command line against its mistakes.

use crate::support::oracle;
use chrono::NaiveDate;
use groundward::incident::{Owner, Task};
use groundward::review::{Carried, Digest, Filter, Hung, Order, Outcome};
use groundward::words::{Id, Phrase, fold};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;
use serde_json::{Value, json};
use std::process::Command;

/// Python's own decomposition (Unicode's NFD) without its marks.
const UNACCENTED: &str = r"
import json, sys, unicodedata
bare = lambda text: ''.join(it for it in unicodedata.normalize('NFD', text) if not unicodedata.combining(it))
print(json.dumps([bare(it.lower()) for it in json.load(sys.stdin)]))
";

#[test]
fn letters_lose_what_unicode_says_is_a_mark() {
    let letters: Vec<String> = ('\u{20}'..='\u{17f}').map(String::from).collect();
    // And the same letters with their marks behind them.
    let marked = ["e\u{301}", "N\u{303}", "u\u{308}"].map(str::to_owned);
    let all: Vec<String> = letters.into_iter().chain(marked).collect();
    let answers = oracle::ask(UNACCENTED, &json!(all));
    // Where there is no letter under the mark (¨ is a space and a mark) Unicode's answer is of no use for a search.
    for (text, expected) in all.iter().zip(answers.as_array().expect("a list")) {
        assert_eq!(fold(text), expected.as_str().expect("a text"), "{text:?}");
    }
    assert_eq!(fold("GALERÍA Ñandú"), "galeria nandu");
}

const SITES: [&str; 3] = ["Río Norte", "North terminal", ""];
const PLACES: [(&str, &str); 3] = [
    ("galeria", "Galería 2"),
    ("silo3", "Silo 3 roof"),
    ("mast-7", "Mast 7"),
];
const SEARCHES: [&str; 9] = [
    "galeria",
    "GALERÍA",
    "silo",
    "roof silo",
    "norte rio",
    "T18",
    "0003",
    "ascender",
    "nothing",
];
const DAYS: i64 = 6;

fn first_day() -> NaiveDate {
    "2026-11-23".parse().expect("it is a day")
}

fn day(number: i64) -> NaiveDate {
    first_day() + chrono::TimeDelta::days(number)
}

fn hung() -> impl Strategy<Value = Hung> {
    let times = (option::of(0..20_i64), 0..20_i64, any::<bool>());
    (option::of(select(&PLACES[..])), times).prop_map(|(place, (off, hung, at_least))| Hung {
        position: place.map(|it| it.0.to_owned()),
        place: place.map(|it| it.1.to_owned()),
        at_least,
        off_ms: off.map(|it| it * 60_000),
        hung_ms: off.is_none().then_some(hung * 60_000),
        ..Hung::default()
    })
}

fn task() -> impl Strategy<Value = Carried> {
    let text = select(vec!["Buy an ascender", "Paint the hatch"]);
    (text, 0..DAYS, option::of(1..5_i64)).prop_map(|(text, due, done_ms)| Carried {
        number: 1,
        task: Task {
            text: Phrase::Written(text.to_owned()),
            owner: Owner::Role("foreman".to_owned()),
            due: day(due),
            from: None,
            by: None,
        },
        by: "tablet".to_owned(),
        set_ms: 0,
        done_ms,
    })
}

fn digest() -> impl Strategy<Value = Digest> {
    let start = (0..DAYS * 24, select(vec![-180, 0, 600]));
    let kind = (any::<bool>(), any::<bool>(), any::<bool>());
    let people = vec(hung(), 0..3);
    let tasks = vec(task(), 0..3);
    (start, select(&SITES[..]), kind, people, tasks).prop_map(
        |((hour, offset_min), site, (drill, table_top, closed), casualties, tasks)| Digest {
            // The first hour of the first day, in UTC.
            started_ms: 1_795_392_000_000 + hour * 3_600_000,
            offset_min,
            site: site.to_owned(),
            drill,
            table_top: drill && table_top,
            closed,
            target_ms: 9 * 60_000,
            casualties,
            tasks,
            ..Digest::default()
        },
    )
}

/// What is asked for, as a person would say it.
#[derive(Clone, Debug)]
struct Question {
    search: Option<&'static str>,
    sites: Vec<&'static str>,
    positions: Vec<&'static str>,
    since: Option<NaiveDate>,
    until: Option<NaiveDate>,
    drill: Option<bool>,
    outcomes: Vec<Outcome>,
    open_tasks: bool,
    overdue: Option<NaiveDate>,
}

fn question() -> impl Strategy<Value = Question> {
    let sites = vec!["rio norte", "NORTH TERMINAL", "elsewhere"];
    let positions = vec!["galería 2", "GALERIA 2", "silo3", "Mast 7", "cellar"];
    let outcomes = Outcome::ALL.map(|it| it.0).to_vec();
    let days = || option::weighted(0.3, (0..DAYS).prop_map(day));
    (
        option::weighted(0.4, select(&SEARCHES[..])),
        vec(select(sites), 0..2),
        vec(select(positions), 0..3),
        (days(), days()),
        option::weighted(0.3, any::<bool>()),
        vec(select(outcomes), 0..2),
        (any::<bool>(), days()),
    )
        .prop_map(
            |(search, sites, positions, (since, until), drill, outcomes, (open_tasks, overdue))| {
                Question {
                    search,
                    sites,
                    positions,
                    since,
                    until,
                    drill,
                    outcomes,
                    open_tasks,
                    overdue,
                }
            },
        )
}

/// As it reads in the manual, without any care for speed. Marks are taken off by a list of those that occur here.
fn is_wanted(question: &Question, id: &str, it: &Digest) -> bool {
    let plain = |text: &str| {
        let small = text.to_lowercase();
        small.replace('í', "i").replace('ó', "o").replace('á', "a")
    };
    let mut texts = vec![plain(id), plain(&it.site)];
    for hung in &it.casualties {
        texts.extend(hung.position.as_deref().map(plain));
        texts.extend(hung.place.as_deref().map(plain));
    }
    for task in &it.tasks {
        match &task.task.text {
            Phrase::Written(text) => texts.push(plain(text)),
            Phrase::Said { .. } => unreachable!("all tasks here are written"),
        }
    }
    if let Some(search) = question.search {
        for word in plain(search).split(' ') {
            if !texts.iter().any(|it| it.contains(word)) {
                return false;
            }
        }
    }
    let named = |asked: &[&str], names: &[&str]| {
        asked.is_empty()
            || asked
                .iter()
                .any(|asked| names.iter().any(|name| plain(name) == plain(asked)))
    };
    let mut positions = Vec::new();
    for hung in &it.casualties {
        positions.extend(hung.position.as_deref());
        positions.extend(hung.place.as_deref());
    }
    let minutes = (it.started_ms / 60_000) + i64::from(it.offset_min);
    let began = first_day() + chrono::TimeDelta::days(minutes.div_euclid(1_440) - 20_780);
    let mut open = it.tasks.iter().filter(|it| it.done_ms.is_none());
    let target = it.target_ms;
    let longer = |it: &Hung| it.off_ms.unwrap_or(it.hung_ms.unwrap_or(0)) > target;
    named(&question.sites, &[&it.site])
        && named(&question.positions, &positions)
        && question.since.is_none_or(|since| began >= since)
        && question.until.is_none_or(|until| began <= until)
        && question.drill.is_none_or(|drill| it.drill == drill)
        && question.outcomes.iter().all(|outcome| match outcome {
            Outcome::Off => {
                it.casualties
                    .iter()
                    .filter(|it| it.off_ms.is_some())
                    .count()
                    == it.casualties.len()
                    && !it.casualties.is_empty()
            }
            Outcome::Hanging => it.casualties.iter().any(|it| it.off_ms.is_none()),
            Outcome::Open => !it.closed,
            Outcome::PastTarget => it.casualties.iter().any(longer),
        })
        && (!question.open_tasks || open.clone().count() > 0)
        && question
            .overdue
            .is_none_or(|today| open.any(|it| it.task.due < today))
}

fn filter(question: &Question) -> Filter {
    let mut filter = Filter {
        since: question.since,
        until: question.until,
        drill: question.drill,
        outcomes: question.outcomes.clone(),
        open_tasks: question.open_tasks,
        overdue: question.overdue,
        ..Filter::default()
    };
    question.search.iter().for_each(|it| filter.search(it));
    question.sites.iter().for_each(|it| filter.site(it));
    question.positions.iter().for_each(|it| filter.position(it));
    filter
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn the_filter_finds_what_a_slow_one_finds(all in vec(digest(), 20), question in question()) {
        let filter = filter(&question);
        for (number, digest) in all.iter().enumerate() {
            let id = format!("20261125T183012Z-{number:04}");
            prop_assert_eq!(filter.admits(&id, digest), is_wanted(&question, &id, digest), "{:?} {:?}", question, digest);
        }
    }

    #[test]
    fn every_order_keeps_all_and_is_an_order(all in vec(digest(), 0..20)) {
        let all: Vec<(String, Digest)> = all.into_iter().enumerate().map(|(n, it)| (format!("id-{n:02}"), it)).collect();
        for order in [Order::Oldest, Order::Newest, Order::Longest, Order::Site] {
            let mut sorted = all.clone();
            order.sort(&mut sorted, |it| (&it.0, &it.1));
            let mut names: Vec<&String> = sorted.iter().map(|it| &it.0).collect();
            names.sort();
            prop_assert!(names.into_iter().eq(all.iter().map(|it| &it.0)));
            let longest = |it: &Digest| it.casualties.iter().filter_map(|it| it.off_ms.or(it.hung_ms)).max();
            for pair in sorted.windows(2) {
                let (one, next) = (&pair[0].1, &pair[1].1);
                let holds = match order {
                    Order::Oldest => one.started_ms <= next.started_ms,
                    Order::Newest => one.started_ms >= next.started_ms,
                    Order::Longest => longest(one) >= longest(next),
                    Order::Site => fold(&one.site) <= fold(&next.site),
                };
                prop_assert!(holds, "{:?}", order);
            }
        }
    }
}

/// A task in the words of the program is found in any of its languages.
#[test]
fn a_task_is_found_in_both_languages() {
    let mut digest = Digest::default();
    digest.tasks.push(Carried {
        number: 1,
        task: Task {
            text: Phrase::of(Id::LogAltered),
            owner: Owner::Role("foreman".to_owned()),
            due: first_day(),
            from: None,
            by: None,
        },
        by: "tablet".to_owned(),
        set_ms: 0,
        done_ms: None,
    });
    for language in groundward::words::Language::ALL_SPOKEN {
        let mut filter = Filter::default();
        filter.search(&groundward::words::label(Id::LogAltered, language));
        assert!(filter.admits("id", &digest), "{language:?}");
    }
}

fn groundward(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_groundward"))
        .args(arguments)
        .output()
        .expect("the program starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("it writes UTF-8");
    let code = output.status.code().expect("it ends by itself");
    (code, text(output.stdout), text(output.stderr))
}

#[test]
fn the_list_is_filtered_from_the_command_line_and_names_mistakes() {
    let data = tempfile::tempdir().expect("there is room");
    let folder = data.path().to_str().expect("it is text");
    let script = "tests/scripts/silo-3-boom-lift.txt";
    let played = groundward(&["rehearse", "--demo", "--script", script, "--data", folder]);
    assert_eq!(played.0, 0, "{}", played.2);
    let own = format!("{folder}/rehearsals");
    let asked = |arguments: &[&str]| {
        let all = [&["log", "list", "--data", &own][..], arguments].concat();
        groundward(&all)
    };
    let (_, out, _) = asked(&["--format", "json"]);
    let all: Value = serde_json::from_str(&out).expect("it is JSON");
    let one = &all[0];
    let (id, site) = (
        one["incident"].as_str().expect("an id"),
        one["site"].as_str().expect("a site"),
    );
    let (since, _) = one["when"].as_str().expect("a time").split_at(10);
    let kind = match one["drill"].as_bool() {
        Some(true) => ["--drill", "--rescue"],
        _ => ["--rescue", "--drill"],
    };
    let found: [&[&str]; 8] = [
        &[],
        &["--search", "SILO east"],
        &["--search", id],
        &["--site", site],
        &["--position", "silo3"],
        &["--since", since, "--until", since],
        &["--outcome", "off", kind[0]],
        &["--sort", "longest", "--search", "hatch", "--site", site],
    ];
    for arguments in found {
        let (code, out, error) = asked(arguments);
        assert!(code == 0 && out.contains(id), "{arguments:?}: {out}{error}");
    }
    let none: [&[&str]; 6] = [
        &["--search", "cellar"],
        &[kind[1]],
        &["--outcome", "hanging"],
        &["--outcome", "open"],
        &["--overdue"],
        &["--until", "1999-12-31"],
    ];
    for arguments in none {
        let (code, out, _) = asked(arguments);
        assert_eq!((code, &*out), (0, "None of 1 incidents is like that.\n"));
    }
    let mistakes: [(&[&str], &str); 7] = [
        (&["--since", "2026-02-30"], "YEAR-MONTH-DAY"),
        (&["--since", "yesterday"], "YEAR-MONTH-DAY"),
        (
            &["--since", "2026-03-02", "--until", "2026-03-01"],
            "no day is since 2026-03-02 and until 2026-03-01",
        ),
        (&["--outcome", "fine"], "off, hanging, open or past-target"),
        (
            &["--outcome", "off", "--outcome", "hanging"],
            "say one --outcome of the two",
        ),
        (&["--site", "elsewhere"], site),
        (&["--position", "cellar"], "silo3"),
    ];
    for (arguments, says) in mistakes {
        let (code, out, error) = asked(arguments);
        assert_eq!((code, &*out), (2, ""), "{arguments:?}: {error}");
        assert!(error.contains(says), "{says:?} is not in {error:?}");
    }
}
