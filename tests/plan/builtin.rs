//! Holds the built-in plans and the generated ones to what a crew needs from them.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use groundward::plan::{
    BARE, DEMO, DEMO_BRIDGE, Ground, Kind, Level, Milestone, Plan, Policy, Position, Rung, bare,
    read, read_on,
};

use crate::support::day;
use crate::support::plans::plan_toml;

fn fit(text: &str) -> Plan {
    read_on("built-in.toml", text.as_bytes(), day())
        .plan
        .expect("a built-in plan is fit")
}

fn demo() -> Plan {
    fit(DEMO)
}

fn demos() -> [Plan; 2] {
    [demo(), fit(DEMO_BRIDGE)]
}

fn found(text: &str, day: NaiveDate) -> Vec<(&'static str, String)> {
    let findings = read_on("built-in.toml", text.as_bytes(), day).findings;
    findings.into_iter().map(|it| (it.id, it.place)).collect()
}

#[test]
fn the_demo_plans_have_only_the_findings_that_they_are_meant_to_have() {
    let site = [(Kind::NoMethod.id(), "position.canopy".to_owned())];
    let bridge = [
        (Kind::NoFirstAidText.id(), "first_aid".to_owned()),
        (
            Kind::MoreWorkersThanPeople.id(),
            "position.road.people".to_owned(),
        ),
    ];
    // An example must not go stale: nothing is overdue in it for years.
    for today in [day(), day() + chrono::TimeDelta::days(3_000)] {
        assert_eq!(found(DEMO, today), site);
        assert_eq!(found(DEMO_BRIDGE, today), bridge);
    }
}

#[test]
fn the_demo_plans_say_that_they_are_invented() {
    for demo in demos() {
        assert!(demo.site.invented);
        assert!(
            demo.site.name.contains("(invented example)"),
            "{}",
            demo.site.name
        );
    }
    for text in [DEMO, DEMO_BRIDGE] {
        let opening: String = text
            .lines()
            .take_while(|line| line.starts_with('#'))
            .collect();
        assert!(opening.contains("invented"), "the first comment says so");
    }
}

#[test]
fn the_demo_site_has_what_a_site_has() {
    let demo = demo();
    let distinct = |all: Vec<&str>| all.into_iter().collect::<BTreeSet<_>>().len();
    assert_eq!(
        distinct(demo.places.iter().map(|it| &*it.level).collect()),
        5,
        "levels"
    );
    assert!(demo.positions.len() >= 10 && demo.stations.len() == 6 && demo.responders.len() == 14);
    let employers = demo
        .responders
        .iter()
        .filter_map(|it| it.employer.as_deref());
    assert_eq!(distinct(employers.collect()), 2, "employers");
    assert_eq!(
        distinct(demo.site.languages.iter().map(String::as_str).collect()),
        3,
        "languages"
    );
    let kit = || demo.stations.iter().flat_map(|it| &it.kit);
    assert!(kit().any(|it| it.reach.is_some()), "a boom lift");
    assert!(kit().any(|it| it.kind.contains("ladder")), "ladders");
    assert!(kit().any(|it| it.descent_class.is_some()), "descenders");
    assert!(kit().any(|it| it.haul.is_some()), "a haul system");
    assert!(kit().any(|it| !it.in_service()), "something out of service");
    let some = |what: &str, is: &dyn Fn(&Position) -> bool| {
        assert!(demo.positions.iter().any(is), "no position with {what}");
    };
    some("a confined space without entry", &|it| {
        it.confined_space.as_ref().is_some_and(|space| {
            !space.entry_allowed && !space.conditions.is_empty() && space.retrieval.is_some()
        }) && it
            .methods
            .iter()
            .flat_map(|it| &it.roles)
            .all(|role| !role.enters)
    });
    some("water below", &|it| it.ground == Some(Ground::Water));
    some("live plant below", &|it| {
        it.ground == Some(Ground::LivePlant)
    });
    some("a moving work front", &|it| it.moves.is_some());
    some("no method", &|it| it.methods.is_empty());
}

#[test]
fn the_second_demo_has_what_the_first_has_not() {
    let [site, bridge] = demos();
    let has = |what: &str, is: &dyn Fn(&Plan) -> bool| {
        assert!(!is(&site) && is(&bridge), "{what} is in the second alone");
    };
    let any = |is: fn(&Position) -> bool| move |plan: &Plan| plan.positions.iter().any(is);
    has(
        "a confined space with entry",
        &any(|it| {
            it.confined_space
                .as_ref()
                .is_some_and(|space| space.entry_allowed)
        }),
    );
    has("limits of its own", &|plan| {
        plan.policy.free_fall != Policy::default().free_fall
    });
    has(
        "feet",
        &any(|it| {
            it.feet_above_ground
                .as_ref()
                .is_some_and(|it| it.unit == "ft")
        }),
    );
}

#[test]
fn the_plan_for_no_plan_has_no_error() {
    let findings = read("bare.toml", BARE.as_bytes()).findings;
    assert!(
        findings.iter().all(|finding| finding.level != Level::Error),
        "{findings:#?}"
    );
    assert_eq!(bare().positions[0].name, "Place not in a plan");
}

#[test]
fn all_four_rungs_are_there_where_the_demo_drills_are_played_and_without_a_plan() {
    let demo = demo();
    let played = ["silo3", "gallery", "loader"].map(|id| demo.position(id).expect("it is there"));
    for position in played.into_iter().chain(&bare().positions) {
        let rungs: Vec<Rung> = position.methods.iter().map(|method| method.rung).collect();
        let all = [
            Rung::SelfRescue,
            Rung::AssistedSelfRescue,
            Rung::MechanicallyAided,
            Rung::PickOff,
        ];
        assert_eq!(rungs, all, "{}", position.name);
    }
}

#[test]
fn wherever_the_demo_has_a_method_one_asks_nothing_of_the_casualty() {
    for demo in demos() {
        for position in demo.positions.iter().filter(|it| !it.methods.is_empty()) {
            let helpless = position.methods.iter().any(|it| it.needs.is_empty());
            assert!(helpless && position.methods.len() >= 2, "{}", position.name);
        }
    }
}

#[test]
fn every_prompt_is_short_with_every_name() {
    for plan in demos().iter().chain([bare()]) {
        let name = plan
            .responders
            .iter()
            .map(|it| it.name.split_whitespace().count())
            .max()
            .unwrap_or(0);
        for step in plan
            .positions
            .iter()
            .flat_map(|it| &it.methods)
            .flat_map(|it| &it.steps)
        {
            let says = [&step.say]
                .into_iter()
                .chain(step.fallback.iter().map(|it| &it.say));
            for say in says {
                let named = if step.role.is_some() { name } else { 0 };
                assert!(say.split_whitespace().count() + named <= 9, "{say}");
                assert!(say.starts_with(char::is_lowercase), "{say} follows a name");
            }
            let sentence = step.caution.as_deref().unwrap_or("Nothing.");
            assert!(
                sentence.ends_with('.') && sentence.starts_with(char::is_uppercase),
                "{sentence}"
            );
            assert!(
                step.done.starts_with(char::is_uppercase) && !step.done.ends_with('.'),
                "{}",
                step.done
            );
        }
    }
}

#[test]
fn nobody_gives_an_order_to_the_casualty() {
    let demos = demos();
    for position in demos.iter().flat_map(|demo| &demo.positions) {
        for method in &position.methods {
            for step in &method.steps {
                let role = step.role.as_ref().expect("every step of the demo says who");
                let asks = step.say.starts_with("ask the casualty ");
                assert_eq!(asks, role == "talker", "{}: {}", position.name, step.say);
            }
        }
    }
}

#[test]
fn exposed_steps_are_near_and_have_a_caution() {
    for plan in demos().iter().chain([bare()]) {
        for step in plan
            .positions
            .iter()
            .flat_map(|it| &it.methods)
            .flat_map(|it| &it.steps)
        {
            assert!(
                !step.exposed || step.near && step.caution.is_some(),
                "{}",
                step.say
            );
        }
    }
}

#[test]
fn nothing_counts_as_committed_after_the_weight_is_off() {
    for plan in demos().iter().chain([bare()]) {
        for method in plan.positions.iter().flat_map(|it| &it.methods) {
            let release = method
                .steps
                .iter()
                .position(|it| it.milestone == Some(Milestone::OffHarness));
            let release = release.expect("every method has a release");
            let committed: Vec<bool> = method.steps.iter().map(|it| it.committed).collect();
            assert!(
                committed[release + 1..].iter().all(|it| !it),
                "{}",
                method.id
            );
            assert!(
                committed[..=release].is_sorted(),
                "{}: once committed, committed until the weight is off",
                method.id
            );
        }
    }
}

#[test]
fn made_plans_are_fit_and_without_a_finding() {
    for seed in 0..150 {
        let text = plan_toml(seed);
        let reading = read("made.toml", text.as_bytes());
        assert!(
            reading.plan.is_some() && reading.findings.is_empty(),
            "seed {seed}: {:#?}\n{text}",
            reading.findings
        );
    }
}

#[test]
fn made_plans_differ_in_what_they_have() {
    let plans: Vec<Plan> = (0..60)
        .filter_map(|seed| read("made.toml", plan_toml(seed).as_bytes()).plan)
        .collect();
    let varies = |what: &str, count: &dyn Fn(&Plan) -> usize| {
        let counts: std::collections::BTreeSet<usize> = plans.iter().map(count).collect();
        assert!(counts.len() > 2, "{what}: {counts:?}");
    };
    varies("positions", &|plan| plan.positions.len());
    varies("people", &|plan| plan.responders.len());
    varies("hazards", &|plan| plan.positions[0].hazards.len());
    varies("methods", &|plan| {
        plan.positions.iter().map(|it| it.methods.len()).sum()
    });
    varies("steps", &|plan| plan.positions[0].methods[0].steps.len());
    varies("fallbacks", &|plan| {
        plan.positions[0]
            .methods
            .iter()
            .flat_map(|it| &it.steps)
            .map(|it| it.fallback.len())
            .sum()
    });
    assert_eq!(plan_toml(7), plan_toml(7));
}
