//! Holds the debrief to three questions, to the team and the system, and to what stood out; and actions until they are closed.

use super::played::{Play, exercise};
use groundward::drill::{
    Action, Debrief, Decided, Outcome, Owner, Phrase, add, carried, close, reopen,
};
use groundward::incident::{Act, Condition, Exercise, Pick, Record, State};
use groundward::words::{Id, Language};
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

fn decided(text: Id, due: &str) -> Decided {
    Decided {
        text: Phrase::of(text),
        owner: Owner::Role("rope lead".to_owned()),
        due: day(due),
        incident: "20261126T120000Z-0001".to_owned(),
        position: Some("silo3".to_owned()),
    }
}

fn three() -> Vec<Action> {
    let all = add(&[], decided(Id::TaskCall, "2026-12-20"), 1_000);
    let all = add(&all, decided(Id::TaskUnheard, "2026-12-01"), 2_000);
    add(&all, decided(Id::TaskDrill, "2026-12-10"), 3_000)
}

#[test]
fn actions_are_carried_until_closed_and_the_overdue_come_first() {
    let all = three();
    let order = |all: &[Action], today: &str| -> Vec<(String, bool)> {
        let open = carried(all, day(today)).into_iter();
        open.map(|it| {
            (
                it.action
                    .id
                    .rsplit('-')
                    .next()
                    .unwrap_or_default()
                    .to_owned(),
                it.overdue,
            )
        })
        .collect()
    };
    let is = |id: &str, overdue: bool| (id.to_owned(), overdue);
    assert_eq!(
        order(&all, "2026-12-10"),
        [is("2", true), is("3", false), is("1", false)]
    );
    let closed = close(&all, "20261126T120000Z-0001-2", 9_000);
    assert_eq!(
        order(&closed, "2026-12-11"),
        [is("3", true), is("1", false)]
    );
    assert_eq!(closed.len(), 3, "nothing is removed");
    // Closing again keeps the time at which it was closed.
    assert_eq!(close(&closed, "20261126T120000Z-0001-2", 9_999), closed);
    assert_eq!(reopen(&closed, "20261126T120000Z-0001-2"), all);
    assert_eq!(close(&all, "nothing", 1), all);
}

#[test]
fn actions_have_ids_of_their_own_whatever_the_list_holds() {
    let mut all = three();
    all.remove(0);
    let all = add(&all, decided(Id::TaskChecks, "2026-12-24"), 4_000);
    let ids: BTreeSet<&String> = all.iter().map(|it| &it.id).collect();
    assert_eq!(ids.len(), all.len());
}

#[test]
fn an_action_is_kept_without_a_language_and_reads_in_both() {
    let all = three();
    let text = serde_json::to_string(&all).expect("it can be written");
    assert_eq!(
        serde_json::from_str::<Vec<Action>>(&text).expect("it can be read"),
        all
    );
    assert!(
        text.contains("\"due\":\"2026-12-20\"") && !text.contains("closed"),
        "{text}"
    );
    let said: Vec<String> = Language::ALL_SPOKEN
        .iter()
        .map(|it| all[0].text.text(*it))
        .collect();
    assert_eq!(
        said,
        [
            "Practise the emergency call",
            "Practicar la llamada de emergencia"
        ]
    );
    assert!(serde_json::from_str::<Action>(&text.replace("2026-12-20", "soon")).is_err());
}
