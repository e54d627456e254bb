//! Holds the debrief to three questions, to the team and the system, and to what stood out; and tasks until they are done.

use super::played::{Play, exercise};
use groundward::drill::{Debrief, Lesson, Outcome};
use groundward::incident::{
    Act, Condition, Event, Exercise, Moment, Owner, Pick, Record, State, Task,
};
use groundward::review::{open, tasks};
use groundward::units::Millis;
use groundward::words::{Id, Language, Phrase};
use std::collections::BTreeSet;

/// Words that lay something on a person, or grade. Common practice in blameless reviews, no source.
const NEVER_SAID: [&str; 33] = [
    "fault",
    "blame",
    "guilt",
    "failed to",
    "failure",
    "should have",
    "could have",
    "wrong person",
    "mistake by",
    "careless",
    "too slow",
    "bad",
    "poor",
    "score",
    "grade",
    "percent",
    "%",
    "chance",
    "probab",
    "who did",
    "whose",
    "culpa",
    "debió",
    "debería haber",
    "no supo",
    "descuido",
    "demasiado lent",
    "nota",
    "por ciento",
    "quién fue",
    "persona equivocada",
    "error de",
    "mal hecho",
];

fn texts(outcome: &Outcome, debrief: &Debrief, language: Language) -> Vec<String> {
    let groups = outcome.told().into_iter().chain(debrief.told());
    let all = groups.flat_map(|it| [vec![Phrase::of(it.heading)], it.lines].concat());
    all.map(|it| it.text(language)).collect()
}

#[test]
fn a_debrief_asks_three_different_questions_and_blames_nobody() {
    let mut asked: BTreeSet<&str> = BTreeSet::new();
    for seed in 0..150 {
        let exercise = (seed % 4 > 0).then(exercise);
        let mut play = Play::begin(1_000 + seed, exercise, usize::from(seed % 10 == 0));
        play.at_random(50);
        let outcome = Outcome::of(&play.state);
        let debrief = Debrief::of(&outcome);
        assert_eq!(debrief, Debrief::of(&outcome));
        let kinds: BTreeSet<&str> = debrief
            .questions
            .iter()
            .filter_map(Phrase::id)
            .map(Id::as_str)
            .collect();
        assert_eq!(kinds.len(), 3, "seed {seed}: {kinds:?}");
        asked.extend(kinds);
        assert!(
            debrief
                .questions
                .iter()
                .all(|it| it.text(Language::English).contains('?'))
        );
        let names: Vec<String> = play
            .state
            .facts
            .opened
            .iter()
            .flat_map(|it| it.plan.responders.iter().map(|it| it.name.clone()))
            .collect();
        for language in Language::ALL_SPOKEN {
            for text in texts(&outcome, &debrief, language) {
                let lower = text.to_lowercase();
                let said = NEVER_SAID.iter().find(|it| lower.contains(**it));
                assert_eq!(said, None, "seed {seed}: {text}");
                assert!(
                    !text.contains('{') && !text.trim().is_empty(),
                    "seed {seed}: {text}"
                );
                // The plan's own words may name somebody; the program's never do, so a name stands at no beginning.
                let named = names.iter().find(|it| text.starts_with(&format!("{it}:")));
                assert_eq!(named, None, "seed {seed}: {text}");
            }
        }
        let text = serde_json::to_string(&debrief).expect("it can be written");
        assert_eq!(
            serde_json::from_str::<Debrief>(&text).expect("it can be read"),
            debrief
        );
    }
    assert!(
        asked.len() >= 10,
        "the questions differ with the journals: {asked:?}"
    );
}

#[test]
fn three_questions_are_asked_of_any_beginning_of_a_journal() {
    let always = [Id::AskHelped, Id::AskElsewhere, Id::AskPlan].map(Phrase::of);
    assert_eq!(
        Debrief::of(&Outcome::of(&State::default())).questions,
        always
    );
    let mut play = Play::begin(5, Some(exercise()), 0);
    play.at_random(25);
    let log = &play.state.log;
    for length in 0..=log.len() {
        let part = State::replay(log[..length].iter().map(|it| Record::clone(it)));
        let debrief = Debrief::of(&Outcome::of(&part));
        let kinds: BTreeSet<Option<&str>> = debrief
            .questions
            .iter()
            .map(|it| it.id().map(Id::as_str))
            .collect();
        assert_eq!(kinds.len(), 3, "{length} records");
    }
}

/// The longest wait comes first: nothing else happened that weighs as much.
#[test]
fn what_stood_out_most_is_asked_first() {
    let mut play = Play::begin(1, Some(Exercise::default()), 0);
    play.until(1_000);
    play.act(Act::CallMade);
    play.act(Act::Report(Condition::Talking));
    play.act(Act::OthersStopped);
    for minute in 1..=4 {
        play.until(minute * 50_000);
        play.act(Act::Report(Condition::Talking));
    }
    play.pick(Pick::Main);
    play.act(Act::OffHarness);
    let outcome = Outcome::of(&play.state);
    let debrief = Debrief::of(&outcome);
    let first = debrief.questions[0].text(Language::English);
    assert_eq!(
        first,
        "What did each of you see and hear meanwhile? Stop work. Is it safe to go near?"
    );
    let suggested = debrief.suggested[0].text(Language::English);
    assert_eq!(
        suggested,
        "Talk this question through: Stop work. Is it safe to go near?"
    );
}

fn day(text: &str) -> chrono::NaiveDate {
    text.parse().expect("it is a day")
}

fn set(seq: u64, text: Id, due: &str) -> Record {
    let task = Task {
        text: Phrase::of(text),
        owner: Owner::Role("rope lead".to_owned()),
        due: day(due),
        from: None,
        by: None,
    };
    record(seq, Event::TaskSet(task))
}

fn record(seq: u64, event: Event) -> Record {
    let now = Moment {
        wall_ms: 1_000 * i64::try_from(seq).expect("few records"),
        offset_min: 60,
        boot_ms: 5,
        boot_id: "another boot".into(),
    };
    Record {
        seq,
        cause: seq,
        incident: "20261126T120000Z-0001".into(),
        now,
        elapsed: Millis(400_000),
        at_least: false,
        who: "ines".into(),
        casualty: 1,
        v: 1,
        event,
    }
}

fn three() -> Vec<Record> {
    vec![
        set(1, Id::TaskCall, "2026-12-20"),
        set(2, Id::TaskUnheard, "2026-12-01"),
        set(3, Id::TaskDrill, "2026-12-10"),
    ]
}

#[test]
fn tasks_are_carried_until_done_and_the_overdue_come_first() {
    let mut records = three();
    let order = |records: &[Record], today: &str| -> Vec<(u64, bool)> {
        let all = tasks(records);
        let open = open([("one", all.as_slice())].into_iter()).into_iter();
        open.map(|(_, it)| (it.number, it.is_overdue(day(today))))
            .collect()
    };
    assert_eq!(
        order(&records, "2026-12-10"),
        [(2, true), (3, false), (1, false)]
    );
    records.push(record(4, Event::TaskDone { task: 2, by: None }));
    assert_eq!(order(&records, "2026-12-11"), [(3, true), (1, false)]);
    assert_eq!(tasks(&records).len(), 3, "nothing is removed");
    // Said once more, the first time counts; what is not there changes nothing.
    records.push(record(5, Event::TaskDone { task: 2, by: None }));
    records.push(record(6, Event::TaskDone { task: 99, by: None }));
    assert_eq!(tasks(&records)[1].done_ms, Some(4_000));
    records.push(record(7, Event::TaskOpen { task: 2, by: None }));
    assert_eq!(tasks(&records), tasks(&three()));
}

#[test]
fn a_task_is_kept_without_a_language_and_reads_in_both() {
    let text = three()[0].to_json();
    assert!(text.contains("\"due\":\"2026-12-20\""), "{text}");
    let read = Record::from_json(&text).expect("it can be read");
    assert_eq!(read, three()[0]);
    let said: Vec<String> = Language::ALL_SPOKEN
        .iter()
        .map(|it| tasks(std::slice::from_ref(&read))[0].task.text.text(*it))
        .collect();
    assert_eq!(
        said,
        [
            "Practise the emergency call",
            "Practicar la llamada de emergencia"
        ]
    );
    // A day that is none makes it a record that this program does not know, kept as it is.
    let bad = Record::from_json(&text.replace("2026-12-20", "soon")).expect("it is a record");
    assert!(matches!(bad.event, Event::Unknown { .. }), "{bad:?}");
}

#[test]
fn what_is_written_after_the_end_changes_nothing_that_is_known_of_it() {
    let mut play = Play::begin(7, Some(exercise()), 0);
    play.at_random(40);
    let state = play.state;
    let last = state.log.last().expect("it has records").as_ref().clone();
    let mut after: Vec<Record> = state.log.iter().map(|it| it.as_ref().clone()).collect();
    // The same boot, hours later: the clock of the incident must not go on.
    let mut late = set(last.seq + 1, Id::TaskCall, "2026-12-20");
    late.now = last.now.clone();
    late.now.boot_ms += 9 * 3_600_000;
    after.push(late);
    let replayed = State::replay(after);
    assert_eq!(replayed.facts, state.facts);
    assert_eq!(Outcome::of(&replayed), Outcome::of(&state));
    assert_eq!(Lesson::of(&replayed), Lesson::of(&state));
    assert_eq!(tasks(&replayed.log).len(), 1);
}
