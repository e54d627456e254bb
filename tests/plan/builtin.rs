//! Holds the built-in plans and the generated ones to what a crew needs from them.

use groundward::plan::{BARE, DEMO, Level, Milestone, Plan, Rung, bare, read};

use crate::support::plans::plan_toml;

fn demo() -> Plan {
    read("grain-terminal.toml", DEMO.as_bytes())
        .plan
        .expect("the demo plan is fit")
}

#[test]
fn the_demo_plan_has_no_finding_and_says_that_it_is_invented() {
    assert_eq!(read("grain-terminal.toml", DEMO.as_bytes()).findings, []);
    assert!(demo().site.invented);
    assert!(demo().site.name.contains("invented"));
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
fn all_four_rungs_are_there_everywhere() {
    for position in demo().positions.iter().chain(&bare().positions) {
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
fn every_prompt_is_short_with_every_name() {
    for plan in [&demo(), bare()] {
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
    let demo = demo();
    for position in &demo.positions {
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
    for plan in [&demo(), bare()] {
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
    for plan in [&demo(), bare()] {
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
