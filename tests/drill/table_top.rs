//! Plays scenarios at a table and compares what comes of it with the forecast, with the rules, and with itself.

use groundward::drill::{
    BUILT_IN, Happening, Pace, Planned, Quarters, Run, Scenario, Table, TableTop, Tried, When,
    read, read_for, try_once, try_plan,
};
use groundward::incident::{
    CareTaker, Condition, Event, Inject, Moment, Note, Record, Report, State, Stop,
};
use groundward::plan::{BARE, DEMO, DEMO_BRIDGE, Plan, read as read_plan};
use groundward::readiness::{Depth, LadderForecast};
use groundward::review::lines;
use groundward::units::{Millis, Speed};
use groundward::words::Language;
use std::sync::LazyLock;

static PLAN: LazyLock<Plan> =
    LazyLock::new(|| read_plan("demo", DEMO.as_bytes()).plan.expect("it is fit"));

fn start() -> Moment {
    Moment {
        wall_ms: 1_780_000_000_000,
        offset_min: 120,
        boot_ms: 500_000,
        boot_id: "boot-1".into(),
    }
}

/// A table where only the order of what happens matters.
fn rough(plan: &str) -> Table {
    Table {
        depth: Depth::ROUGH,
        ..Table::new("plan.toml", plan, "", start())
    }
}

fn at(position: &str) -> Scenario {
    Scenario {
        name: "Test".to_owned(),
        position: position.to_owned(),
        ..Scenario::default()
    }
}

fn with(position: &str, seconds: i64, inject: Inject) -> Scenario {
    let when = When::At(Millis::from_seconds(seconds));
    Scenario {
        surprises: vec![Planned { when, inject }],
        ..at(position)
    }
}

fn set_out(table: &Table, scenario: &Scenario, seed: u64) -> TableTop {
    let exercise = scenario.at_a_table(seed);
    TableTop::new(table, "table-top", scenario, exercise, seed).expect("the plan is fit")
}

/// Everything that happens, with the play at its end.
fn play(table: &Table, scenario: &Scenario, seed: u64) -> (Vec<Happening>, TableTop) {
    let mut play = set_out(table, scenario, seed);
    let mut all = Vec::new();
    while let Some(happening) = play.step() {
        all.push(happening);
    }
    (all, play)
}

fn records(happenings: &[Happening]) -> Vec<Record> {
    happenings
        .iter()
        .flat_map(|it| it.records.clone())
        .collect()
}

#[test]
fn the_same_seed_gives_the_same_records_and_another_one_others() {
    let (_, text) = BUILT_IN[0];
    let scenario = read("s", text.as_bytes()).expect("it is right");
    let table = rough(DEMO);
    let once = set_out(&table, &scenario, 5).play();
    let lines = |it: &[Record]| it.iter().map(Record::to_json).collect::<Vec<_>>();
    assert_eq!(lines(&once), lines(&set_out(&table, &scenario, 5).play()));
    assert_ne!(lines(&once), lines(&set_out(&table, &scenario, 6).play()));
}

#[test]
fn a_play_is_a_drill_like_any_other_and_replays_to_the_same() {
    for (name, text) in BUILT_IN {
        let scenario = read_for(&PLAN, name, text.as_bytes()).expect("it suits the plan");
        let (happenings, play) = play(&rough(DEMO), &scenario, 3);
        let all = records(&happenings);
        // As the journal has it: written, read, folded.
        let read_back = all
            .iter()
            .map(|it| Record::from_json(&it.to_json()).expect("it can be read"));
        assert_eq!(State::replay(read_back).facts, play.state().facts, "{name}");
        let Event::Opened(opening) = &all[0].event else {
            panic!("{name} begins with {:?}", all[0].event);
        };
        let exercise = opening
            .exercise
            .as_ref()
            .expect("it is said how it is played");
        assert!(opening.drill && exercise.table_top);
        assert_eq!(exercise.scenario, scenario.name);
        assert!(all.iter().enumerate().all(|(i, it)| it.seq == i as u64));
        assert!(play.played().stood_down, "{name} did not come to its end");
        assert!(play.played().off.is_some(), "{name}: somebody still hangs");
    }
}

#[test]
fn it_can_be_played_step_by_step_and_says_before_when_the_next_one_comes() {
    let scenario = with("silo3", 90, Inject::RadioLost {});
    let mut play = set_out(&rough(DEMO), &scenario, 2);
    let mut last = Millis::ZERO;
    let mut steps = 0;
    while let Some(next) = play.next_at() {
        let Some(happening) = play.step() else { break };
        assert!(
            happening.at >= next && next >= last,
            "{next:?} after {last:?}"
        );
        assert!(!happening.records.is_empty());
        let times = happening.records.iter().map(|it| it.now.boot_ms - 500_000);
        assert!(times.into_iter().all(|it| it == happening.at.0));
        last = happening.at;
        steps += 1;
    }
    assert!(steps > 60, "only {steps} steps");
    assert!(
        play.step().is_none() && play.next_at().is_none(),
        "it is over"
    );
}

/// What the crew touched for the first surprise, and what came of it.
fn reaction(plan: &str, scenario: &Scenario, seed: u64) -> (Vec<Event>, TableTop) {
    let (happenings, play) = play(&rough(plan), scenario, seed);
    let given = |it: &Happening| {
        let mut events = it.records.iter();
        events.any(|it| matches!(it.event, Event::SurpriseGiven { index: 0 }))
    };
    let told = happenings
        .iter()
        .position(given)
        .expect("the drill controller gives it");
    let met = happenings.iter().position(|it| it.surprise == Some(0));
    let met = met.unwrap_or_else(|| panic!("nobody reacts to {:?}", scenario.surprises));
    assert!(met > told, "somebody knew it before it was given");
    assert!(play.crew().met().contains_key(&0));
    let events = happenings[met].records.iter().map(|it| it.event.clone());
    (events.collect(), play)
}

#[test]
fn every_surprise_is_met_and_reacted_to() {
    type Shows = fn(&Event) -> bool;
    let named = |it: &str| it.to_owned();
    let all: Vec<(&str, i64, Inject, Shows)> = vec![
        ("silo3", 60, Inject::StopsAnswering {}, |it| {
            matches!(
                it,
                Event::ConditionReported {
                    condition: Condition::NotAnswering
                }
            )
        }),
        (
            "silo3",
            2,
            Inject::KitMissing {
                kit: named("boom lift"),
                station: named("a"),
            },
            |it| matches!(it, Event::KitGone { kit, station, .. } if kit == "boom lift" && station == "a"),
        ),
        (
            "silo3",
            30,
            Inject::ResponderCannot {
                responder: named("rua"),
            },
            |it| matches!(it, Event::ResponderReported { responder, report: Report::Cannot } if responder == "rua"),
        ),
        (
            "silo5",
            40,
            Inject::MethodFails {
                method: named("winch"),
            },
            |it| matches!(it, Event::NotWorkingReported { method, .. } if method == "winch"),
        ),
        ("silo3", 30, Inject::SelfRescueFails {}, |it| {
            let stuck = Condition::Stuck;
            matches!(it, Event::ConditionReported { condition } if *condition == stuck)
                || matches!(it, Event::NotWorkingReported { method, .. } if method == "self")
        }),
        (
            "mast",
            60,
            Inject::Wind {
                speed: Speed(14_000),
            },
            |it| matches!(it, Event::WindReported { mm_s: 14_000 }),
        ),
        ("silo3", 60, Inject::RadioLost {}, |it| {
            matches!(
                it,
                Event::Noted {
                    note: Note::RadioLost
                }
            )
        }),
        (
            "silo3",
            60,
            Inject::AmbulanceDelayed {
                by: Millis(600_000),
            },
            |it| matches!(it, Event::HelpExpected { in_ms, .. } if *in_ms >= 600_000),
        ),
        ("silo3", 60, Inject::WrongGate {}, |it| {
            matches!(it, Event::HelpExpected { .. })
        }),
        ("silo3", 60, Inject::SecondCasualty {}, |it| {
            matches!(it, Event::CasualtyAdded { .. })
        }),
    ];
    for (position, seconds, inject, shows) in all {
        let scenario = with(position, seconds, inject.clone());
        for seed in 0..6 {
            let (events, _) = reaction(DEMO, &scenario, seed);
            assert!(
                events.iter().any(shows),
                "{inject:?} with seed {seed}: {events:?}"
            );
        }
    }
}

#[test]
fn whoever_comes_for_missing_kit_is_the_one_who_says_so() {
    // The boom lift goes to nobody else's hands: the operator finds the place empty.
    let kit = Inject::KitMissing {
        kit: "boom lift".to_owned(),
        station: "a".to_owned(),
    };
    let (mut found, mut asked) = (0, 0);
    for seed in 0..20 {
        let (events, _) = reaction(DEMO, &with("silo7", 2, kit.clone()), seed);
        let by = events.iter().find_map(|it| match it {
            Event::KitGone { by, .. } => Some(by.clone()),
            _ => None,
        });
        asked += 1;
        found += u32::from(by.flatten().is_some());
    }
    assert!(found * 2 > asked, "in {found} of {asked} plays");
}

#[test]
fn what_broke_is_not_what_brings_the_casualty_down() {
    let scenario = with(
        "silo5",
        30,
        Inject::MethodFails {
            method: "winch".to_owned(),
        },
    );
    let mut changed = 0;
    for seed in 0..20 {
        let (_, play) = reaction(DEMO, &scenario, seed);
        let windows = &play.state().facts.casualties[0].windows;
        changed += u32::from(windows.iter().any(|it| it.method == "winch"));
        if windows.iter().any(|it| it.method == "winch") {
            assert_ne!(play.played().by.as_deref(), Some("winch"), "seed {seed}");
        }
    }
    assert!(changed > 0, "it never made anybody change");
}

#[test]
fn wind_over_its_limit_stops_a_method_and_nobody_goes_on_against_it() {
    let wind = Inject::Wind {
        speed: Speed(16_000),
    };
    let mut stopped = 0;
    for seed in 0..12 {
        let (_, play) = reaction(DEMO, &with("mast", 300, wind.clone()), seed);
        let log = &play.state().log;
        let stop = |it: &Record| {
            matches!(
                it.event,
                Event::StopCalled {
                    what: Stop::Wind,
                    ..
                }
            )
        };
        stopped += u32::from(log.iter().any(|it| stop(it)));
        assert!(
            !log.iter()
                .any(|it| matches!(it.event, Event::WentOn { .. }))
        );
        let said = log
            .iter()
            .find(|it| matches!(it.event, Event::WindReported { .. }));
        let said = said.expect("somebody reads it").elapsed;
        let run = play.played();
        let later = run.off.is_none_or(|off| off > said);
        assert!(
            !later || run.by.as_deref() != Some("boom-lift"),
            "seed {seed}: the lift went on in that wind"
        );
    }
    assert!(stopped > 0, "no lift was at work in that wind");
}

#[test]
fn every_order_is_read_back_and_nobody_arrives_before_they_were_told() {
    let (happenings, play) = play(&rough(DEMO), &at("loader"), 4);
    let all = records(&happenings);
    let said = all
        .iter()
        .filter(|it| matches!(it.event, Event::WordsSaid { .. }))
        .count();
    let reported = |wanted: Report| {
        let own = |it: &&Record| matches!(&it.event, Event::ResponderReported { report, .. } if *report == wanted);
        all.iter().filter(own).count()
    };
    assert!(said > 0 && reported(Report::Heard) > 0 && reported(Report::There) > 0);
    for order in &play.state().facts.orders {
        assert!(
            order
                .there
                .is_none_or(|there| order.said.is_some_and(|said| said <= there)),
            "{order:?}"
        );
    }
    let handed = |it: &Record| {
        matches!(
            it.event,
            Event::HandedOver {
                to: CareTaker::Ambulance
            }
        )
    };
    assert!(all.iter().any(handed));
}

/// A forecast for a place where nobody hangs yet counts from a fall so long before the alarm, so the table does too.
#[test]
fn the_fall_is_taken_as_the_alarm_time_before_the_alarm_and_told_with_it() {
    let (happenings, play) = play(&rough(DEMO), &at("silo3"), 1);
    let all = records(&happenings);
    let set = |it: &Record| matches!(it.event, Event::FallTimeSet { .. });
    let set: Vec<&Record> = all.iter().filter(|it| set(it)).collect();
    assert_eq!(set.len(), 1);
    assert_eq!(set[0].now.boot_ms, start().boot_ms, "it is told at once");
    let fell = play.state().facts.casualties[0].fell;
    assert_eq!(fell, Millis(-PLAN.policy.alarm_time.0));
    let lines = lines(&all, Language::English);
    let told = lines.iter().find(|it| it.seq == set[0].seq);
    let told = told.map(|it| it.text.as_str());
    assert_eq!(told, Some("Fall taken as 0:30 before the alarm"));
}

#[test]
fn a_crew_of_one_and_a_place_without_a_method_come_to_an_end() {
    let alone = Scenario {
        crew: Some(vec!["mina".to_owned()]),
        ..at("silo3")
    };
    let mut bare = PLAN.positions.iter().filter(|it| it.methods.is_empty());
    let nothing = bare.next().map(|it| at(&it.id));
    let nobody = Scenario {
        crew: Some(Vec::new()),
        ..at("gallery")
    };
    let elsewhere = at("no-such-position");
    for scenario in nothing.into_iter().chain([alone, nobody, elsewhere]) {
        for seed in 0..3 {
            let (happenings, play) = play(&rough(DEMO), &scenario, seed);
            let last = happenings.last().expect("it was played").at;
            assert!(
                play.played().stood_down || last >= Millis(3_000_000),
                "{scenario:?} stopped at {last:?}"
            );
        }
    }
    let (happenings, play) = play(
        &rough(BARE),
        &at(&read_plan("b", BARE.as_bytes())
            .plan
            .expect("it is fit")
            .positions[0]
            .id),
        1,
    );
    assert!(happenings.len() > 10 && play.state().facts.opened.is_some());
}

#[test]
fn a_plan_that_is_not_fit_is_not_played() {
    let table = rough("format = 9");
    let scenario = at("silo3");
    assert!(TableTop::new(&table, "t", &scenario, scenario.at_a_table(1), 1).is_none());
    assert_eq!(try_once(&table, &scenario, 1), None);
    assert!(try_plan(&table, &scenario, 0..3).is_empty());
}

#[test]
fn all_positions_of_both_sites_can_be_played() {
    for text in [DEMO, DEMO_BRIDGE] {
        let plan = read_plan("plan", text.as_bytes()).plan.expect("it is fit");
        for position in plan.positions.iter().filter(|it| !it.methods.is_empty()) {
            for seed in 0..2 {
                let run = try_once(&rough(text), &at(&position.id), seed).expect("the plan is fit");
                let Run {
                    contact,
                    off,
                    landed,
                    ..
                } = &run;
                assert!(off.is_some(), "{} with seed {seed}: {run:?}", position.id);
                assert!(contact <= off && off <= landed, "{}: {run:?}", position.id);
            }
        }
    }
}

/// What the crew had before it began: the forecast after the first method started.
fn expected(scenario: &Scenario) -> LadderForecast {
    let table = Table {
        pace: Pace::ONLY_THE_PLAN,
        ..Table::new("plan.toml", DEMO, "", start())
    };
    let mut play = set_out(&table, scenario, 0);
    let mut running = false;
    while let Some(happening) = play.step() {
        for record in &happening.records {
            match &record.event {
                Event::MethodStarted { .. } => running = true,
                Event::ForecastAdopted { forecast, .. } if running => {
                    return forecast.ladder.expect("a method can be tried");
                }
                _ => {}
            }
        }
    }
    panic!("no method was begun");
}

/// Runs until the casualty is off the harness: what comes after costs time here and says nothing.
fn run(table: &Table, scenario: &Scenario, seed: u64) -> Run {
    let mut play = set_out(table, scenario, seed);
    while play.played().off.is_none() && play.step().is_some() {}
    play.played()
}

/// With questions answered, hazards made safe and calls made in no time, what is left is what the forecast counts: orders,
/// ways, steps, chances, changes. The forecast passes all orders on in one time, the table broadcast after broadcast, and
/// forecasts made on the way may change a crew; 0.03 is allowed for that. The rest is chance: a share p counted in n runs is
/// within 3.3 standard deviations, sqrt(p (1 - p) / n) each, of the truth but once in a thousand (binomial, by the normal
/// approximation). That is narrower than a bound that holds for the whole distribution at once, so that fewer runs do.
#[track_caller]
fn agrees(position: &str, seeds: u64) {
    let scenario = at(position);
    let expected = expected(&scenario);
    let table = Table {
        pace: Pace::ONLY_THE_PLAN,
        // Enough draws to decide on: with much fewer than in an incident another crew goes, and methods are left too early.
        depth: Depth {
            choose_on: 300,
            decide_on: 300,
            value_on: 64,
        },
        ..rough(DEMO)
    };
    let runs: Vec<Run> = (1..=seeds)
        .map(|seed| run(&table, &scenario, seed))
        .collect();
    let share = |by: Option<i64>, of: fn(&Run) -> Option<Millis>| {
        let by = Millis(by.expect("it is expected at all"));
        let count = runs
            .iter()
            .filter(|it| of(it).is_some_and(|at| at <= by))
            .count();
        count as f64 / runs.len() as f64
    };
    let off = |it: &Run| it.off;
    let shares = [
        (share(expected.likely_ms, off), 0.5),
        (share(expected.bad_day_ms, off), 0.9),
        (share(expected.contact_ms, |it| it.contact), 0.5),
        (
            share(Some(PLAN.policy.target.0), off),
            expected.chance.0 as f64 / 1e6,
        ),
    ];
    for (found, wanted) in shares {
        let by_chance = 3.3 * (wanted * (1.0 - wanted) / runs.len() as f64).sqrt();
        assert!(
            (found - wanted).abs() <= by_chance + 0.03,
            "{position}: {shares:?}"
        );
    }
}

#[test]
fn the_table_agrees_with_the_forecast_where_one_winch_does_it() {
    agrees("silo5", 200);
}

#[test]
fn the_table_agrees_with_the_forecast_on_a_ladder_of_four_methods() {
    agrees("silo3", 100);
}

#[test]
fn questions_hazards_and_calls_make_the_table_slower_than_the_forecast_and_never_quicker() {
    let scenario = at("silo5");
    let quick = Table {
        pace: Pace::ONLY_THE_PLAN,
        ..rough(DEMO)
    };
    let slow = rough(DEMO);
    let seeds = || 0..40_u64;
    let median = |table: &Table| try_plan(table, &scenario, seeds()).off().median;
    assert!(median(&quick) < median(&slow));
}

#[test]
fn what_is_tried_is_counted_as_numpy_counts_it() {
    let mut tried = Tried::default();
    assert_eq!((tried.off(), tried.never().0), (Quarters::default(), 0));
    // 1 to 4 s: quarters by type 7, 1.75 and 3.7 (Hyndman and Fan 1996; NumPy's default, figures P5).
    for seconds in 1..=4 {
        let run = Run {
            off: Some(Millis::from_seconds(seconds)),
            by: Some(if seconds < 4 { "lift" } else { "hoist" }.to_owned()),
            ..Run::default()
        };
        tried.add(seconds as u64, run);
    }
    let off = tried.off();
    assert_eq!(off.lower, Some(Millis(1_750)));
    assert_eq!(off.median, Some(Millis(2_500)));
    assert_eq!(off.bad_day, Some(Millis(3_700)));
    assert_eq!(
        tried.methods(),
        [("lift".to_owned(), 3), ("hoist".to_owned(), 1)]
    );
    assert_eq!(tried.off_by(Millis(3_000)).0, 750_000);
    // One who still hangs is later than all: of five the median is the third, and nobody knows the worst tenth.
    tried.add(9, Run::default());
    assert_eq!(tried.off().median, Some(Millis(3_000)));
    assert_eq!(tried.off().bad_day, None);
    assert_eq!(tried.never().0, 200_000);
    // A seed counts once.
    tried.add(9, Run::default());
    assert_eq!(tried.len(), 5);
}
