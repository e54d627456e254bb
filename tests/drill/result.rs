//! Measures incidents with `Outcome` and again by other means: straight from the journal's lines, and by hand.

use super::played::{Play, exercise};
use super::slow::{Slow, slow};
use groundward::drill::{Departure, Ended, Mark, Outcome};
use groundward::incident::{Act, Condition, Inject, Pick, Record, Report, State};
use groundward::units::Millis;
use groundward::words::Language;
use std::path::Path;

fn state(lines: &[String]) -> State {
    State::replay(
        lines
            .iter()
            .map(|it| Record::from_json(it).expect("a record")),
    )
}

/// A journal that an older version wrote; its lines are read and never printed.
fn golden(name: &str) -> Vec<String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join("golden");
    let text = std::fs::read_to_string(folder.join(name)).expect("the golden journal is there");
    let lines = text.lines().filter(|it| it.starts_with('{'));
    lines.map(str::to_owned).collect()
}

#[track_caller]
fn line_of(outcome: &Outcome, mark: Mark, casualty: u16) -> Option<i64> {
    let mut marks = outcome.marks.iter();
    let found = marks.find(|it| it.mark == mark && it.casualty == casualty);
    found.expect("every milestone is listed").line_ms
}

/// What `Outcome` says is what the slow measures say; the name says which play it was.
fn compare(name: &str, outcome: &Outcome, slow: &Slow) {
    let orders = &outcome.orders;
    let counts = [
        orders.given as usize,
        orders.passed as usize,
        orders.answered as usize,
        orders.read_back as usize,
        outcome.corrections as usize,
        outcome.checks.late as usize,
        outcome.checks.lost as usize,
        outcome.prompts.shown as usize,
        outcome.prompts.answered as usize,
    ];
    let expected = [
        slow.given,
        slow.passed,
        slow.answered,
        slow.read_back.len(),
        slow.corrections,
        slow.late_checks,
        slow.lost_checks,
        slow.prompts.len(),
        slow.prompts.iter().filter(|it| it.2).count(),
    ];
    assert_eq!(counts, expected, "{name}");
    assert_eq!(
        (outcome.whole_ms, outcome.turned_real_ms),
        (slow.end, slow.turned_real),
        "{name}"
    );
    let times = &slow.read_back;
    let middle = times.get(times.len().saturating_sub(1) / 2).copied();
    assert_eq!(
        (orders.middle_ms, orders.slowest_ms),
        (middle, times.last().copied()),
        "{name}"
    );
    let decided = |what| {
        outcome
            .decisions
            .iter()
            .filter(|it| it.what == what)
            .count()
    };
    let decisions = [
        Departure::MoreTime,
        Departure::StopOverridden,
        Departure::PutBack,
    ]
    .map(decided);
    assert_eq!(
        decisions,
        [slow.more_time, slow.went_on, slow.put_back],
        "{name}"
    );
    let shared = [
        Mark::AllStopped,
        Mark::CallPassed,
        Mark::CallMade,
        Mark::FirstOrders,
    ];
    assert_eq!(
        shared.map(|it| line_of(outcome, it, 0)),
        [
            slow.all_stopped,
            slow.call_passed,
            slow.call_made,
            slow.first_orders
        ],
        "{name}"
    );
    for (number, own) in (1..).zip(&slow.casualties) {
        let [fell, reached @ ..] = own;
        let marks = [
            Mark::FirstContact,
            Mark::OffHarness,
            Mark::Landed,
            Mark::HandedOver,
        ];
        assert_eq!(
            &marks.map(|it| line_of(outcome, it, number)),
            reached,
            "{name}"
        );
        for mark in outcome.marks.iter().filter(|it| it.casualty == number) {
            let since = mark.line_ms.zip(*fell).map(|(at, fell)| at - fell);
            assert_eq!(mark.fall_ms, since, "{name}");
        }
    }
    let stood: i64 = slow.prompts.iter().map(|it| it.1).sum();
    assert_eq!(outcome.prompts.stood_ms, stood, "{name}");
    assert!(
        stood <= slow.end,
        "{name}: prompts stood no longer than all of it"
    );
    let mut longest: Vec<(i64, i64)> = slow.prompts.iter().map(|it| (-it.1, it.0)).collect();
    longest.sort_unstable();
    longest.truncate(5);
    let kept = outcome
        .prompts
        .longest
        .iter()
        .map(|it| (-it.stood_ms, it.since_ms));
    assert_eq!(kept.collect::<Vec<_>>(), longest, "{name}");
    let given: Vec<(u64, i64)> = (0..)
        .zip(&outcome.surprises)
        .filter_map(|(index, it)| Some((index, it.given_ms?)))
        .collect();
    let mut surprises = slow.surprises.clone();
    surprises.sort_unstable();
    assert_eq!(given, surprises, "{name}");
}

#[test]
fn golden_journals_measure_as_their_lines_say() {
    for name in ["20261125T194636Z-7adc.jsonl", "20261126T013609Z-6779.jsonl"] {
        let lines = golden(name);
        let outcome = Outcome::of(&state(&lines));
        let measured = slow(&lines);
        compare(name, &outcome, &measured);
        assert!(
            outcome.closed && measured.prompts.len() > 10,
            "{name} is a whole incident"
        );
    }
    // As tests/golden.rs has them, which was written from the run itself.
    let outcome = Outcome::of(&state(&golden("20261125T194636Z-7adc.jsonl")));
    assert_eq!(line_of(&outcome, Mark::FirstContact, 1), Some(230_000));
    assert_eq!(line_of(&outcome, Mark::OffHarness, 1), Some(305_000));
    assert_eq!(line_of(&outcome, Mark::Landed, 1), Some(390_000));
}

#[test]
fn random_incidents_measure_as_their_lines_say() {
    let (mut read_back, mut corrected, mut real, mut met) = (0, 0, 0, 0);
    let (mut more, mut held, mut straight) = (0, 0, 0);
    for seed in 0..500 {
        let exercise = (seed % 3 > 0).then(exercise);
        let mut play = Play::begin(seed, exercise, usize::from(seed % 2 == 0));
        play.at_random(60);
        let outcome = Outcome::of(&play.state);
        compare(&format!("seed {seed}"), &outcome, &slow(&play.lines));
        read_back += outcome.orders.read_back;
        corrected += outcome.corrections;
        real += u32::from(outcome.turned_real_ms.is_some());
        met += outcome
            .surprises
            .iter()
            .filter(|it| it.answered_ms.is_some())
            .count();
        let decided = |what| {
            outcome
                .decisions
                .iter()
                .filter(|it| it.what == what)
                .count()
        };
        more += decided(Departure::MoreTime);
        held += decided(Departure::HeldOn);
        straight += decided(Departure::WentStraight);
    }
    // The plays must reach what they are to compare.
    assert!(
        read_back > 300 && corrected > 200 && real > 5 && met > 50,
        "{read_back} {corrected} {real} {met}"
    );
    assert!(
        more > 20 && held > 20 && straight > 20,
        "{more} {held} {straight}"
    );
}

#[test]
fn an_outcome_is_written_and_read_back_and_is_the_same_each_time() {
    for seed in 0..40 {
        let mut play = Play::begin(seed, Some(exercise()), usize::from(seed % 8 == 0));
        play.at_random(50);
        let outcome = Outcome::of(&play.state);
        assert_eq!(
            outcome,
            Outcome::of(&state(&play.lines)),
            "live is as replayed"
        );
        let text = serde_json::to_string(&outcome).expect("it can be written");
        let read: Outcome = serde_json::from_str(&text).expect("it can be read");
        assert_eq!(read, outcome);
    }
}

/// Milestones in a row, played by hand: each as long after the fall as the touches were, beside policy and plan.
#[test]
fn milestones_stand_beside_the_plan_and_the_target() {
    let mut play = Play::begin(1, Some(groundward::incident::Exercise::default()), 1);
    play.until(3_000);
    play.pick(Pick::Main);
    play.until(5_000);
    play.pick(Pick::Main);
    play.until(8_000);
    play.act(Act::Report(Condition::Talking));
    play.until(20_000);
    play.act(Act::CallMade);
    play.act(Act::SetFall {
        ago: Millis(50_000),
        at_least: false,
    });
    play.until(100_000);
    play.act(Act::Contact);
    play.until(200_000);
    play.act(Act::OffHarness);
    play.until(260_000);
    play.act(Act::AtLanding);
    let outcome = Outcome::of(&play.state);
    let of = |mark: Mark| {
        outcome
            .marks
            .iter()
            .find(|it| it.mark == mark)
            .expect("it is listed")
    };
    // The fall was 50 s before 0:20, so 30 s before activation.
    assert_eq!(of(Mark::Started).fall_ms, Some(30_000));
    assert_eq!(
        (of(Mark::MadeSafe).line_ms, of(Mark::CallPassed).line_ms),
        (Some(3_000), Some(5_000))
    );
    assert_eq!(of(Mark::FirstContact).fall_ms, Some(130_000));
    assert_eq!(of(Mark::OffHarness).fall_ms, Some(230_000));
    assert_eq!(of(Mark::Landed).fall_ms, Some(290_000));
    // Defaults of the policy: 9 min (S1), 6 min (Z359.2), and a call that is made within 60 s of being ordered.
    assert_eq!(of(Mark::OffHarness).target_ms, Some(540_000));
    assert_eq!(of(Mark::FirstContact).target_ms, Some(360_000));
    assert_eq!(of(Mark::CallMade).target_ms, Some(90_000));
    assert!(outcome.marks.iter().all(|it| !it.at_least));
    // What the plan expected is the ladder of the first forecast, on the line: it knew the fall at activation.
    let forecast = play
        .lines
        .iter()
        .find(|it| it.contains("\"forecast-adopted\""));
    let line: serde_json::Value =
        serde_json::from_str(forecast.expect("one was adopted")).expect("JSON");
    let likely = line["body"]["forecast"]["ladder"]["likely_ms"]
        .as_i64()
        .expect("it is likely");
    assert_eq!(of(Mark::OffHarness).planned_ms, Some(likely + 30_000));
}

#[test]
fn a_fall_that_nobody_saw_is_told_as_at_least() {
    let mut play = Play::begin(1, None, 0);
    play.until(4_000);
    play.act(Act::SetFall {
        ago: Millis(60_000),
        at_least: true,
    });
    play.until(9_000);
    play.act(Act::OffHarness);
    let outcome = Outcome::of(&play.state);
    let off = outcome
        .marks
        .iter()
        .find(|it| it.mark == Mark::OffHarness)
        .expect("it is listed");
    assert_eq!(
        (off.line_ms, off.fall_ms, off.at_least),
        (Some(9_000), Some(65_000), true)
    );
    let told = outcome.told()[0].messages(Language::English);
    let told: Vec<String> = told.iter().map(|it| it.text(Language::English)).collect();
    assert!(
        told.iter()
            .any(|it| it.starts_with("Off the harness: \u{2265}1:05")),
        "{told:?}"
    );
}

/// A slip does not answer a question: it stood as long as it stood before and after.
#[test]
fn an_answer_that_was_taken_back_was_none() {
    let mut play = Play::begin(1, None, 0);
    play.until(4_000);
    assert_eq!(play.text(), "Stop work. Is it safe to go near?");
    play.pick(Pick::Main);
    play.until(7_000);
    play.undo();
    assert_eq!(play.text(), "Stop work. Is it safe to go near?");
    play.until(30_000);
    play.pick(Pick::Main);
    let outcome = Outcome::of(&play.state);
    let asked = &outcome.prompts.longest[0];
    assert_eq!(
        (asked.since_ms, asked.stood_ms, asked.ended),
        (0, 4_000 + 23_000, Ended::Answered)
    );
    assert_eq!(outcome.corrections, 1);
    let safe = outcome
        .marks
        .iter()
        .find(|it| it.mark == Mark::MadeSafe)
        .expect("it is listed");
    assert_eq!(safe.line_ms, Some(30_000));
}

/// Brings a play to the first method with everything before it answered.
fn working(play: &mut Play) {
    play.until(1_000);
    play.pick(Pick::Main);
    play.act(Act::CallPassed);
    play.act(Act::CallMade);
    play.act(Act::Report(Condition::Talking));
    play.act(Act::OthersStopped);
    play.until(3_000);
    while let Some(hazard) = play.state.facts.open_hazard().map(|it| it.id.clone()) {
        play.act(Act::HazardSafe(hazard));
    }
    assert!(
        play.state.facts.running().is_some(),
        "a method runs: {}",
        play.text()
    );
}

#[test]
fn holding_on_is_counted_from_the_advice_to_the_change() {
    let mut play = Play::begin(1, None, 0);
    working(&mut play);
    let by = play.state.facts.running().expect("it runs").change_by;
    play.until(by.0 + 45_000);
    play.act(Act::Change);
    let outcome = Outcome::of(&play.state);
    let held: Vec<_> = outcome
        .decisions
        .iter()
        .map(|it| (it.what, it.by_ms, it.at_ms))
        .collect();
    assert_eq!(held, [(Departure::HeldOn, Some(45_000), by.0 + 45_000)]);
}

#[test]
fn more_time_is_told_and_the_advice_stays_where_it_was() {
    let mut play = Play::begin(1, None, 0);
    working(&mut play);
    let by = play.state.facts.running().expect("it runs").change_by;
    play.until(by.0 + 5_000);
    play.act(Act::MoreTime);
    play.until(by.0 + 50_000);
    play.act(Act::Change);
    let outcome = Outcome::of(&play.state);
    let decided: Vec<_> = outcome
        .decisions
        .iter()
        .map(|it| (it.what, it.by_ms))
        .collect();
    assert_eq!(
        decided,
        [
            (Departure::MoreTime, Some(65_000)),
            (Departure::HeldOn, Some(50_000))
        ]
    );
}

#[test]
fn a_method_left_early_is_told_and_one_that_does_not_work_is_not() {
    for works in [true, false] {
        let mut play = Play::begin(1, None, 0);
        working(&mut play);
        let by = play.state.facts.running().expect("it runs").change_by;
        play.until(by.0 - 20_000);
        let act = if works { Act::Change } else { Act::NotWorking };
        let mut tries = 0;
        while play.state.facts.casualty().windows.is_empty() && tries < 6 {
            play.act(act.clone());
            tries += 1;
        }
        assert!(!play.state.facts.casualty().windows.is_empty());
        let outcome = Outcome::of(&play.state);
        let decided: Vec<_> = outcome
            .decisions
            .iter()
            .map(|it| (it.what, it.by_ms))
            .collect();
        let expected = [(Departure::ChangedEarly, Some(20_000))];
        assert_eq!(decided, if works { &expected[..] } else { &[] });
    }
}

#[test]
fn another_method_than_the_next_is_told_with_the_next() {
    let mut play = Play::begin(1, None, 0);
    working(&mut play);
    play.until(20_000);
    let case = play.state.facts.case();
    let next = case.next_method().expect("one is next").id.clone();
    let running = case
        .casualty
        .running
        .as_ref()
        .expect("it runs")
        .method
        .clone();
    let mut methods = play.state.facts.methods().iter().map(|it| it.id.clone());
    let other = methods
        .find(|it| *it != next && *it != running)
        .expect("a third");
    play.act(Act::GoStraight(other.clone()));
    let outcome = Outcome::of(&play.state);
    let decision = &outcome.decisions[0];
    assert_eq!(decision.what, Departure::WentStraight);
    assert_eq!(decision.method.as_ref().map(|it| &it.id), Some(&other));
    assert_eq!(decision.other.as_ref().map(|it| &it.id), Some(&next));
}

#[test]
fn a_late_call_is_told_by_how_much_and_a_missing_one_too() {
    let mut play = Play::begin(1, None, 0);
    play.until(90_000);
    let call = |play: &Play| {
        let outcome = Outcome::of(&play.state);
        let decisions = outcome.decisions.into_iter();
        decisions
            .filter(|it| it.what == Departure::CallLate)
            .map(|it| it.by_ms)
            .collect::<Vec<_>>()
    };
    assert_eq!(call(&play), [None]);
    play.act(Act::CallMade);
    assert_eq!(call(&play), [Some(30_000)]);
    let mut play = Play::begin(1, None, 0);
    play.until(50_000);
    play.act(Act::CallMade);
    play.until(90_000);
    assert_eq!(call(&play), []);
}

#[test]
fn read_backs_are_timed_from_the_words() {
    let mut play = Play::begin(1, None, 1);
    working(&mut play);
    let on: Vec<(u64, String)> = play
        .state
        .facts
        .orders
        .iter()
        .map(|it| (it.number, it.posting.responder.clone()))
        .collect();
    assert!(on.len() >= 3, "three at least are sent");
    play.until(10_000);
    play.act(Act::Said(on[..3].iter().map(|it| it.0).collect()));
    play.until(14_000);
    play.act(Act::Responder(on[0].1.clone(), Report::Heard));
    play.until(19_000);
    play.act(Act::Responder(on[1].1.clone(), Report::Heard));
    play.act(Act::Responder(on[2].1.clone(), Report::OnTheWay));
    let orders = Outcome::of(&play.state).orders;
    assert_eq!(
        (orders.passed, orders.read_back, orders.answered),
        (3, 2, 3)
    );
    assert_eq!(
        (orders.middle_ms, orders.slowest_ms),
        (Some(4_000), Some(9_000))
    );
}

#[test]
fn a_surprise_is_timed_to_the_record_that_answers_it() {
    let mut play = Play::begin(1, Some(exercise()), 0);
    play.until(25_000);
    play.act(Act::GiveSurprise(0));
    play.until(31_000);
    play.act(Act::CallMade);
    play.until(40_000);
    play.act(Act::Note(groundward::incident::Note::RadioLost));
    play.until(55_000);
    play.act(Act::LeaveSurprise(1));
    let outcome = Outcome::of(&play.state);
    let met: Vec<_> = outcome
        .surprises
        .iter()
        .map(|it| (it.given_ms, it.answered_ms))
        .collect();
    assert_eq!(met[..2], [(Some(25_000), Some(15_000)), (None, None)]);
    assert!(matches!(outcome.surprises[0].inject, Inject::RadioLost {}));
}

/// What follows the stop word belongs to a rescue and is none of the drill's.
#[test]
fn a_drill_that_turned_real_ends_there() {
    let mut play = Play::begin(1, Some(exercise()), 0);
    play.until(3_000);
    play.pick(Pick::Main);
    play.until(30_000);
    let before = Outcome::of(&play.state);
    play.act(Act::Real);
    play.until(90_000);
    play.act(Act::CallMade);
    play.act(Act::OffHarness);
    let after = Outcome::of(&play.state);
    assert_eq!(
        (after.turned_real_ms, after.whole_ms, after.drill),
        (Some(30_000), 30_000, true)
    );
    assert_eq!(after.marks, before.marks);
    assert_eq!(after.prompts.shown, before.prompts.shown);
}

#[test]
fn any_beginning_of_a_journal_can_be_measured() {
    for seed in 0..6 {
        let mut play = Play::begin(seed, Some(exercise()), usize::from(seed == 0));
        play.at_random(30);
        let log = &play.state.log;
        for length in 0..=log.len() {
            let part = State::replay(log[..length].iter().map(|it| Record::clone(it)));
            let outcome = Outcome::of(&part);
            assert!(
                outcome.prompts.stood_ms <= outcome.whole_ms,
                "seed {seed}, {length} records"
            );
            // Before anybody hangs there is no milestone; all else says at least that there is nothing.
            for group in &outcome.told()[1..] {
                assert!(!group.messages(Language::Spanish).is_empty());
            }
        }
    }
}
