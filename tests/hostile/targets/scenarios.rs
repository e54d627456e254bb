//! Takes scenario files of drills, holds them against two plans, and draws what a drill would play.

use super::small_plan;
use groundward::drill::{
    Fault, PLAYED_MAX, SCENARIO_BYTES_MAX, SURPRISES_MAX, check, read, read_for,
};
use groundward::incident::Hanging;
use groundward::plan::{DEMO, Plan, fit};
use groundward::units::Millis;
use groundward::words::Language;
use std::sync::{Arc, LazyLock};

/// So many faults are told at once at most.
const FAULTS_MAX: usize = 50;

/// A scenario file.
pub(super) fn scenario(bytes: &[u8]) {
    static TERMINAL: LazyLock<Arc<Plan>> =
        LazyLock::new(|| fit("demo", DEMO).expect("the built-in plan is fit"));
    let scenario = match read("scenario.toml", bytes) {
        Ok(scenario) => scenario,
        Err(faults) => return told(&faults),
    };
    assert!(bytes.len() <= SCENARIO_BYTES_MAX && scenario.surprises.len() <= SURPRISES_MAX);
    let again = read("again.toml", scenario.to_toml().as_bytes());
    assert_eq!(again.as_ref(), Ok(&scenario), "what is written reads back");
    for plan in [small_plan(), &TERMINAL] {
        match read_for(plan, "scenario.toml", bytes) {
            Err(faults) => told(&faults),
            Ok(_) => assert!(check(&scenario, plan).is_empty()),
        }
        let present = scenario.present(plan);
        assert!(present.iter().all(|id| plan.responder(id).is_some()));
        for planned in &scenario.surprises {
            let _ = planned.inject.said(plan).text(Language::English);
        }
    }
    let suits = check(&scenario, &TERMINAL).is_empty();
    for seed in [0, 1, u64::MAX] {
        let exercise = scenario.exercise(seed, Hanging::Manikin, None);
        assert_eq!(exercise.surprises.len(), scenario.surprises.len());
        let times: Vec<Millis> = exercise.surprises.iter().map(|it| it.at).collect();
        assert!(times.is_sorted());
        if suits {
            let played = Millis::ZERO..=PLAYED_MAX;
            assert!(times.iter().all(|it| played.contains(it)), "{times:?}");
        }
    }
    let _ = (scenario.is_dark(), scenario.shift());
}

/// What is wrong is said in words that a terminal prints as they are.
fn told(faults: &[Fault]) {
    assert!(!faults.is_empty() && faults.len() <= FAULTS_MAX);
    for fault in faults {
        for text in [&fault.message, &fault.help] {
            assert!(!text.is_empty(), "{fault:?}");
            assert!(!text.contains(char::is_control), "{fault:?}");
        }
        assert!(fault.line != Some(0));
    }
}
