//! Writes the records of drills whose times are known, and checks what is learned from them.

use crate::support::Chance;
use groundward::drill::{Lesson, Played, Span, Subject, Whose, learned};
use groundward::incident::{
    Event, Exercise, Moment, Opening, PlanStanding, Record, Report, State, Why,
};
use groundward::plan;
use groundward::readiness::{Light, Passing, Posting, Shift};
use groundward::units::Millis;
use groundward::words::Language;
use proptest::prelude::*;
use std::path::Path;

/// A drill at the silo of the invented site, record by record. The times are judgements of this test.
struct Tape {
    records: Vec<Record>,
    started_ms: i64,
}

impl Tape {
    fn new(incident: &str, started_ms: i64) -> Tape {
        let opening = Opening {
            incident: incident.to_owned(),
            drill: true,
            exercise: Some(Box::default()),
            program: "test".to_owned(),
            plan_format: 1,
            plan_name: "grain-terminal.toml".to_owned(),
            plan_standing: PlanStanding::Fit,
            plan_sha: String::new(),
            plan: plan::DEMO.to_owned(),
            language: Language::English,
            in_command: Some("bram".to_owned()),
            roll_call: ["bram", "rua", "tove", "mina", "ines"]
                .map(str::to_owned)
                .to_vec(),
            seed: 1,
            approval: None,
            shift: None,
        };
        let mut tape = Tape {
            records: Vec::new(),
            started_ms,
        };
        tape.at(0, Event::Opened(Box::new(opening)));
        tape.at(
            0,
            Event::Activated {
                position: Some("silo3".to_owned()),
            },
        );
        tape
    }

    fn opening(&mut self) -> &mut Opening {
        match &mut self.records[0].event {
            Event::Opened(opening) => opening,
            _ => unreachable!("a tape begins with its opening"),
        }
    }

    /// Something that happens so many seconds after the activation.
    fn at(&mut self, seconds: i64, event: Event) -> u64 {
        let seq = self.records.len() as u64;
        self.records.push(Record {
            seq,
            cause: seq,
            incident: "".into(),
            now: Moment {
                wall_ms: self.started_ms + seconds * 1_000,
                offset_min: 0,
                boot_ms: 1_000_000 + seconds * 1_000,
                boot_id: "boot".into(),
            },
            elapsed: Millis(seconds * 1_000),
            at_least: false,
            who: "tablet".into(),
            casualty: 1,
            v: 1,
            event,
        });
        seq
    }

    fn order(&mut self, seconds: i64, role: &str, responder: &str) -> u64 {
        let way = ["yard", "silo-foot"].map(str::to_owned);
        let posting = Posting {
            role: role.to_owned(),
            responder: responder.to_owned(),
            place: "silo-foot".to_owned(),
            travel_ms: 50_000,
            way: vec![Passing(way[0].clone(), 0), Passing(way[1].clone(), 50_000)],
            ..Posting::default()
        };
        let method = "boom-lift".to_owned();
        self.at(
            seconds,
            Event::OrderGiven {
                method,
                posting,
                instead: Vec::new(),
            },
        )
    }

    fn report(&mut self, seconds: i64, responder: &str, report: Report) {
        let responder = responder.to_owned();
        self.at(seconds, Event::ResponderReported { responder, report });
    }

    fn done(&mut self, seconds: i64, step: usize) {
        let method = "boom-lift".to_owned();
        self.at(seconds, Event::StepDone { method, step });
    }

    /// The whole drill with the boom lift.
    fn whole(incident: &str, started_ms: i64) -> Tape {
        let mut tape = Tape::new(incident, started_ms);
        tape.begin();
        tape.done(100, 0);
        tape.done(115, 1);
        tape.done(190, 2);
        tape.at(220, Event::FirstContactMade {});
        tape.at(300, Event::OffHarness {});
        tape.at(400, Event::AtLandingPlace {});
        tape.at(420, Event::StandDownBegan {});
        tape.at(500, Event::StoodDown {});
        tape
    }

    fn begin(&mut self) {
        self.at(5, Event::SafeConfirmed {});
        self.at(
            20,
            Event::HazardMadeSafe {
                hazard: "dust-fan".to_owned(),
            },
        );
        let method = "boom-lift".to_owned();
        self.at(
            20,
            Event::MethodStarted {
                method,
                why: Why::Ladder,
            },
        );
        let operator = self.order(20, "operator", "mina");
        let rescuer = self.order(20, "rescuer", "rua");
        let ground = self.order(20, "ground", "tove");
        let text = "all to the silo foot".to_owned();
        self.at(
            24,
            Event::WordsSaid {
                orders: vec![operator, rescuer, ground],
                text,
            },
        );
        self.report(27, "mina", Report::Heard);
        self.report(30, "rua", Report::OnTheWay);
        self.at(40, Event::CallConfirmed { by: None });
        self.report(70, "mina", Report::There);
        self.report(80, "rua", Report::There);
        self.report(90, "tove", Report::There);
    }

    fn lesson(self) -> Lesson {
        Lesson::of(&State::replay(self.records)).expect("it was opened")
    }
}

fn ended(seconds: i64) -> Span {
    Span::ended(Millis(seconds * 1_000))
}

fn broken_off(seconds: i64) -> Span {
    Span::broken_off(Millis(seconds * 1_000))
}

#[test]
fn a_drill_teaches_its_milestones_steps_ways_and_orders() {
    let lesson = Tape::whole("one", 0).lesson();
    assert_eq!(lesson.played, Played::Drill);
    assert_eq!(lesson.position.as_deref(), Some("silo3"));
    assert_eq!(lesson.in_command.as_deref(), Some("bram"));
    assert_eq!(lesson.crew, ["mina", "rua", "tove"]);
    assert_eq!(lesson.call, Some(ended(40)));
    assert_eq!(
        lesson.safe,
        Some(ended(20)),
        "safe is when every hazard was"
    );
    assert_eq!(lesson.contact, Some(ended(220)));
    assert_eq!(lesson.off, Some(ended(300)));
    assert_eq!(lesson.landed, Some(ended(400)));
    assert!(lesson.is_complete());
    // The fourth was over with the release, and nobody said when.
    assert!(lesson.steps.iter().all(|it| it.step != 3));
    let steps: Vec<(usize, Span, Option<Span>)> = lesson
        .steps
        .iter()
        .map(|it| (it.step, it.span, it.work))
        .collect();
    // The first step waits for the operator, who was there at 70 s; the second for the ground as well.
    assert_eq!(steps[0], (0, ended(80), Some(ended(30))));
    assert_eq!(steps[1], (1, ended(15), Some(ended(15))));
    assert_eq!(steps[2], (2, ended(75), Some(ended(75))));
    assert_eq!(lesson.said, [ended(4), ended(4), ended(4)]);
    assert_eq!(
        lesson.heard,
        [ended(7), ended(10)],
        "tove came without a word"
    );
    let mut ways: Vec<Span> = lesson.ways.iter().map(|it| it.span).collect();
    ways.sort();
    // From the words "heard" or "on the way", and from the radio for whoever did not answer.
    assert_eq!(ways, [ended(43), ended(50), ended(66)]);
    let parts: Vec<(&str, Option<&str>)> = lesson
        .parts
        .iter()
        .map(|it| (it.role.as_str(), it.qualification.as_deref()))
        .collect();
    assert_eq!(
        parts,
        [
            ("operator", Some("boom lift")),
            ("rescuer", Some("rope rescue")),
            ("ground", Some("boom lift"))
        ]
    );
}

#[test]
fn what_a_drill_did_not_reach_is_broken_off_and_not_left_out() {
    let mut tape = Tape::new("short", 0);
    tape.begin();
    tape.done(100, 0);
    tape.at(150, Event::StandDownBegan {});
    tape.at(600, Event::StoodDown {});
    let lesson = tape.lesson();
    assert_eq!(lesson.call, Some(ended(40)));
    let rest = [lesson.contact, lesson.off, lesson.landed];
    assert_eq!(
        rest,
        [Some(broken_off(150)); 3],
        "the closing questions are no part of it"
    );
    let last = lesson.steps.last().expect("a step was begun");
    assert_eq!(
        (last.step, last.span, last.work),
        (1, broken_off(50), Some(broken_off(50)))
    );
    assert!(!lesson.is_complete());
}

#[test]
fn a_drill_that_turned_real_teaches_what_it_was_until_then() {
    let mut tape = Tape::new("real", 0);
    tape.begin();
    tape.done(100, 0);
    tape.at(130, Event::RealCalled {});
    tape.done(140, 1);
    tape.at(200, Event::OffHarness {});
    let lesson = tape.lesson();
    assert_eq!(lesson.played, Played::Drill);
    assert_eq!(lesson.turned_real_ms, Some(130_000));
    assert_eq!(lesson.off, Some(broken_off(130)));
    assert_eq!(lesson.steps.len(), 2);
    assert_eq!(lesson.steps[1].span, broken_off(30));
}

#[test]
fn danger_and_a_change_break_a_step_off_and_a_failure_has_no_time() {
    let begun = |event: Event| {
        let mut tape = Tape::new("upset", 0);
        tape.begin();
        tape.done(100, 0);
        tape.at(130, event);
        tape.done(150, 1);
        tape.done(190, 2);
        let lesson = tape.lesson();
        let steps = lesson.steps.into_iter();
        steps.map(|it| (it.step, it.span)).collect::<Vec<_>>()
    };
    let method = || "boom-lift".to_owned();
    let second = |steps: &[(usize, Span)]| steps.iter().find(|it| it.0 == 1).map(|it| it.1);
    let danger = begun(Event::DangerCalled {});
    assert_eq!(second(&danger), Some(broken_off(30)));
    let changed = begun(Event::MethodChanged {
        from: method(),
        to: None,
    });
    assert_eq!(second(&changed), Some(broken_off(30)));
    let failed = begun(Event::NotWorkingReported {
        method: method(),
        step: 1,
    });
    assert_eq!(second(&failed), None);
    let all: Vec<usize> = failed.iter().map(|it| it.0).collect();
    assert_eq!(all, [0, 2, 3], "the steps before and after it have theirs");
}

#[test]
fn what_was_taken_back_teaches_nothing() {
    let mut tape = Tape::new("slip", 0);
    tape.begin();
    tape.done(60, 0);
    let cause = tape.records.len() as u64 - 1;
    tape.at(64, Event::Corrected { cause });
    tape.done(100, 0);
    let lesson = tape.lesson();
    let first: Vec<Span> = lesson
        .steps
        .iter()
        .filter(|it| it.step == 0)
        .map(|it| it.span)
        .collect();
    assert_eq!(first, [ended(80)]);
}

#[test]
fn a_time_of_which_only_the_least_is_known_counts_as_that() {
    let mut tape = Tape::whole("found", 0);
    tape.records[2].event = Event::FallTimeSet {
        ago_ms: 300_000,
        at_least: true,
    };
    let lesson = tape.lesson();
    assert_eq!(lesson.off, Some(broken_off(595)));
}

#[test]
fn rescues_drills_and_drills_at_a_table_are_never_mixed() {
    let mut table = Tape::whole("table", 0);
    table.opening().exercise = Some(Box::new(Exercise {
        table_top: true,
        ..Exercise::default()
    }));
    let mut rescue = Tape::whole("rescue", 0);
    rescue.opening().drill = false;
    rescue.opening().exercise = None;
    let mut older = Tape::whole("older", 0);
    older.opening().exercise = None;
    let mut dark = Tape::whole("dark", 0);
    let shift = Shift {
        light: Some(Light::Dark),
        ..Shift::default()
    };
    dark.opening().shift = Some(Box::new(shift));
    let lessons = [table, rescue, older, dark].map(Tape::lesson);
    assert_eq!(
        lessons.clone().map(|it| it.played),
        [
            Played::TableTop,
            Played::Rescue,
            Played::Drill,
            Played::Drill
        ]
    );
    assert!(lessons[3].dark && !lessons[2].dark);
    let off = |played| {
        let all = learned(&lessons, played, 1);
        let own = |whose: &Whose| *whose == Whose::Position("silo3".to_owned());
        let found = all
            .into_iter()
            .find(|it| own(&it.whose) && it.subject == Subject::Off);
        let times = found.expect("they came off the harness").times;
        times.into_iter().map(|it| it.incident).collect::<Vec<_>>()
    };
    assert_eq!(off(Played::TableTop), ["table"]);
    assert_eq!(off(Played::Rescue), ["rescue"]);
    assert_eq!(off(Played::Drill), ["dark", "older"]);
}

#[test]
fn below_the_number_that_is_enough_nothing_is_summed_up() {
    let lessons: Vec<Lesson> = (0..5)
        .map(|number| Tape::whole(&format!("drill-{number}"), number * 86_400_000).lesson())
        .collect();
    for (count, enough) in [(4, false), (5, true)] {
        let all = learned(&lessons[..count], Played::Drill, 5);
        assert!(!all.is_empty());
        for it in &all {
            assert_eq!(it.drills as usize, count, "{:?}", it.subject);
            assert_eq!(it.summary.is_some(), enough, "{:?}", it.subject);
            assert_eq!(it.trend.is_some(), enough, "{:?}", it.subject);
        }
        // Three orders in each of four drills are twelve times and still four drills.
        let said = all
            .iter()
            .find(|it| it.subject == Subject::Said)
            .expect("they were said");
        assert_eq!(said.times.len(), 3 * count);
    }
    let all = learned(&lessons, Played::Drill, 5);
    let whose = |wanted: Whose| {
        all.iter()
            .any(|it| it.whose == wanted && it.subject == Subject::Off)
    };
    assert!(whose(Whose::Command("bram".to_owned())));
    assert!(whose(Whose::Crew(
        ["mina", "rua", "tove"].map(str::to_owned).to_vec()
    )));
}

/// Journals of format version 1, written by a rehearsal: older than steps, ways and drills as they are kept today.
#[test]
fn an_old_journal_teaches_what_it_holds() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join("golden");
    let lesson = |incident: &str| {
        let text =
            std::fs::read_to_string(folder.join(format!("{incident}.jsonl"))).expect("it is there");
        let lines = text.lines().filter(|it| !it.trim().is_empty());
        let records = lines.map(|it| Record::from_json(it).expect("it is a record"));
        Lesson::of(&State::replay(records)).expect("it was opened")
    };
    let first = lesson("20261125T194636Z-7adc");
    assert_eq!(first.position.as_deref(), Some("silo3"));
    // The same figures as in the test that replays it.
    assert_eq!(first.contact, Some(ended(230)));
    assert_eq!(first.off, Some(ended(305)));
    assert_eq!(first.landed, Some(ended(390)));
    let boom: Vec<(usize, i64)> = first
        .steps
        .iter()
        .filter(|it| it.method == "boom-lift" && it.span.ended)
        .map(|it| (it.step, it.span.time.0 / 1_000))
        .collect();
    assert_eq!(
        boom,
        [
            (0, 10),
            (1, 15),
            (2, 65),
            (3, 40),
            (4, 35),
            (5, 15),
            (6, 70)
        ]
    );
    assert!(
        first
            .steps
            .iter()
            .all(|it| it.step > 0 || it.work.is_none()),
        "nobody said who was there"
    );
    // In the other one the time of the fall was set, and the call made 40 s after the activation.
    let turns = lesson("20261126T013609Z-6779");
    assert!(
        turns.call.is_some_and(|it| it.time >= Millis(40_000)),
        "{:?}",
        turns.call
    );
    assert_eq!(turns.position.as_deref(), Some("silo3"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    /// A lesson read back is the lesson that was made, and the order of lessons makes no difference.
    #[test]
    fn the_order_of_lessons_makes_no_difference(seed in any::<u64>()) {
        let mut chance = Chance(seed);
        let mut lessons: Vec<Lesson> = (0..8).map(|number| random(&mut chance, number)).collect();
        let first = learned(&lessons, Played::Drill, 3);
        for index in (1..lessons.len()).rev() {
            lessons.swap(index, chance.below(index as u64 + 1) as usize);
        }
        let text = serde_json::to_string(&lessons).expect("it can be written");
        let lessons: Vec<Lesson> = serde_json::from_str(&text).expect("it can be read");
        // An incident that is there twice counts once.
        let twice: Vec<Lesson> = lessons.iter().chain(&lessons).cloned().collect();
        prop_assert_eq!(&first, &learned(&lessons, Played::Drill, 3));
        prop_assert_eq!(&first, &learned(&twice, Played::Drill, 3));
    }
}

/// A lesson like none that was played.
fn random(chance: &mut Chance, number: u64) -> Lesson {
    let span = |chance: &mut Chance| Span {
        time: Millis(chance.below(600_000) as i64),
        ended: !chance.one_in(3),
    };
    Lesson {
        incident: format!("drill-{number}"),
        played: chance.among(&[Played::Drill, Played::Drill, Played::TableTop]),
        started_ms: chance.below(4) as i64 * 86_400_000,
        position: Some(chance.among(&["silo3", "intake"]).to_owned()),
        in_command: Some(chance.among(&["bram", "rua"]).to_owned()),
        crew: vec![chance.among(&["mina", "tove"]).to_owned()],
        call: Some(span(chance)),
        off: Some(span(chance)),
        heard: vec![span(chance), span(chance)],
        ..Lesson::default()
    }
}
