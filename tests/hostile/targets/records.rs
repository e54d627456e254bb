//! Takes records, one a line: any sequence of them in any order is folded, shown, said, told and carried on.

use super::moments;
use groundward::cue::cues;
use groundward::incident::{
    Act, Command, Condition, Event, Note, Pick, Record, State, brief, call_card, call_made, decide,
    handover, loaded, next_wakeup, order_in_words, past_target, prompt, target_mark, to_say,
};
use groundward::review::{self, Digest};
use groundward::units::{Millis, Speed};
use groundward::words::{Language, Message};
use std::sync::LazyLock;

/// Most records of an input that are used: what they cost grows with their number, and more show nothing new.
const RECORDS_MAX: usize = 400;

/// Records, one a line.
pub(super) fn records(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let read = text.lines().filter_map(|it| Record::from_json(it).ok());
    let records: Vec<Record> = read.take(RECORDS_MAX).collect();
    for record in &records {
        let again = Record::from_json(&record.to_json()).expect("what is written can be read");
        // A number with a point in a body that this version does not know may lose its last digit; there are none in a record.
        if !matches!(record.event, Event::Unknown { .. }) {
            assert_eq!(again.event, record.event);
        }
    }
    let folded = State::replay(records.iter().cloned());
    let mut state = State::default();
    for record in &records {
        let before = state.facts.clone();
        state.apply(record.clone());
        let _ = cues(&before, &state.facts);
    }
    if records
        .iter()
        .filter(|it| it.event.kind() == "opened")
        .count()
        <= 1
    {
        assert!(state.facts == folded.facts, "a replay says something else");
    }
    for language in Language::ALL_SPOKEN {
        let told = review::lines(&records, language);
        assert_eq!(told.len(), records.len());
        let _ = (
            Digest::of(&state).place(language),
            Digest::of(&state).hung(),
        );
    }
    let _ = review::passing(&records);
    for at in [
        Millis::ZERO,
        state.facts.line.reached_at(),
        Millis(i64::MIN),
        Millis(i64::MAX),
    ] {
        shown(&state, at);
    }
    carried_on(&state);
}

/// Everything that a screen shows of it.
fn shown(state: &State, at: Millis) {
    let facts = &state.facts;
    let say = |message: &Message| {
        let _ = message.text(Language::English);
    };
    if let Some(asked) = prompt(facts, at) {
        say(&asked.message);
        asked.caution.iter().chain(&asked.lines).for_each(say);
        asked.choices().for_each(|it| say(&it.label));
    }
    let _ = next_wakeup(facts, at);
    if facts.opened.is_none() {
        return;
    }
    if let Some(words) = to_say(facts) {
        let _ = words.text(Language::Spanish);
    }
    brief(facts, at).iter().for_each(say);
    call_card(facts, at).iter().for_each(say);
    call_made(facts).iter().for_each(say);
    past_target(facts, at).iter().for_each(say);
    say(&target_mark(facts));
    let _ = loaded(facts);
    for order in &facts.orders {
        order_in_words(facts, order).iter().for_each(say);
    }
    for case in facts.cases() {
        let _ = (case.hanging(at), case.since_fall(at), case.at_least());
        let _ = (case.committed(), case.change_is_due(at), case.basis());
        handover(case).iter().for_each(say);
        case.why_not_in_order().iter().for_each(say);
        for method in case.methods() {
            case.verdict(method).reason().into_iter().for_each(say);
            let _ = (case.tried(method), case.time_to_hands(method));
        }
    }
}

/// A restart of the program, the time going by and a few touches, at any reading of the clocks.
pub(crate) fn carried_on(state: &State) {
    let shown = state.facts.shown.as_ref().map_or(0, |it| it.number);
    let answer = |pick| Command::Answer {
        prompt: shown,
        pick,
    };
    for now in moments() {
        for command in [
            Command::Resume {
                since_start_ms: now.boot_ms,
            },
            Command::Wake,
            answer(Pick::Main),
            answer(Pick::Option(usize::MAX)),
            Command::Undo { cause: u64::MAX },
            Command::Do(Act::AddCasualty),
            Command::Do(Act::Report(Condition::NotAnswering)),
            Command::Do(Act::SetFall {
                ago: Millis(i64::MAX),
                at_least: true,
            }),
            Command::Do(Act::Wind(Speed(i64::MAX))),
            Command::Do(Act::WorkOn(u16::MAX)),
            Command::Do(Act::Note(Note::Bleeding)),
            Command::Do(Act::OffHarness),
        ] {
            let Ok(decision) = decide(state, command, &now) else {
                continue;
            };
            let mut after = state.clone();
            for record in decision.records {
                let again = Record::from_json(&record.to_json());
                assert_eq!(again.map(|it| it.event), Ok(record.event.clone()));
                after.apply(record);
            }
            assert!(after.facts.line.reached_at() >= state.facts.line.reached_at());
        }
    }
}

/// The middle of a rescue that was recorded on the small plan.
pub(crate) fn rescue() -> &'static State {
    static RESCUE: LazyLock<State> = LazyLock::new(|| {
        let text = include_str!("../../corpora/records/two-casualties.jsonl");
        let read = text
            .lines()
            .map(|it| Record::from_json(it).expect("a record of the corpora is whole"));
        State::replay(read.take(20))
    });
    &RESCUE
}
