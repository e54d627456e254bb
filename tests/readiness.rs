//! Tries the forecast from outside, on the demo site whole; the parts it is made of each have a module of their own.

mod best;
mod better;
mod changes;
mod dispatch;
mod dispatched;
mod draws;
mod fit;
mod ladders;
mod order;
mod outlook;
mod site;
mod sites;
mod staffing;
mod staging;
mod ways;
mod what_if;

use groundward::plan::{DEMO, Plan, ThreePoint, link_time, read_on};
use groundward::readiness::{Basis, Depth, Forecast, MethodForecast, Posting, outlook};
use groundward::units::{Millis, Ratio};

use crate::support::day;

/// How the smallest plan begins.
const SITE: &str = "format = 1\n[site]\nname = \"Test\"\nrevision = \"1\"\nemergency_number = \"112\"\nmeeting_point = \"gate\"\n";

/// A plan from its text; the test fails where it is not fit.
fn fit(text: &str) -> Plan {
    let reading = read_on("test.toml", text.as_bytes(), day());
    reading
        .plan
        .unwrap_or_else(|| panic!("{:#?}", reading.findings))
}

/// Enough draws for what does not hang on their number.
const FEW: Depth = Depth {
    choose_on: 24,
    decide_on: 48,
    value_on: 96,
};

/// Everybody of the plan is there, nothing runs, and whoever works at the position may be the one who hangs.
fn everybody(plan: &Plan, position: &str) -> Basis {
    let place = plan
        .position(position)
        .expect("the position is in the plan");
    Basis {
        position: position.to_owned(),
        present: plan.responders.iter().map(|it| it.id.clone()).collect(),
        excluded: place.workers.clone(),
        casualty: 1,
        ..Basis::default()
    }
}

fn expect(plan: &Plan, basis: &Basis) -> Forecast {
    outlook(plan, basis, FEW).expect("the position is in the plan")
}

fn of<'f>(forecast: &'f Forecast, method: &str) -> &'f MethodForecast {
    let mut methods = forecast.methods.iter();
    let found = methods.find(|it| it.method == method);
    found.expect("the position has the method")
}

/// Makes every time of a plan its likely one, and everybody work alike, so that only success is left to chance.
fn without_spread(plan: &mut Plan) {
    let fixed = |time: &mut ThreePoint| {
        (time.short, time.long) = (time.likely, time.likely);
    };
    plan.policy.crew_spread = Ratio(0);
    fixed(&mut plan.policy.order_time);
    let policy = &plan.policy;
    for link in &mut plan.links {
        let likely = link_time(link, policy, true);
        link.time = Some(ThreePoint {
            short: likely,
            likely,
            long: likely,
        });
    }
    let methods = plan.positions.iter_mut().flat_map(|it| &mut it.methods);
    for step in methods.flat_map(|it| &mut it.steps) {
        fixed(&mut step.time);
        let fallback = step.fallback.iter_mut();
        fallback.filter_map(|it| it.time.as_mut()).for_each(fixed);
    }
}

#[test]
fn the_demo_site_has_a_crew_for_every_method() {
    let plan = fit(DEMO);
    for position in &plan.positions {
        let basis = Basis {
            in_command: Some("ines".to_owned()),
            ..everybody(&plan, &position.id)
        };
        let forecast = expect(&plan, &basis);
        assert_eq!(forecast.methods.len(), position.methods.len());
        assert_eq!(forecast.order.len(), position.methods.len());
        for (method, expected) in position.methods.iter().zip(&forecast.methods) {
            let what = format!("{} {}", position.id, method.id);
            assert_eq!(expected.unfilled, [""; 0], "{what}");
            assert_eq!(expected.source, "computed", "{what}");
            let hangs = |who: &String| position.workers.contains(who);
            assert!(
                !expected.crew.iter().any(|it| hangs(&it.responder)),
                "{what}"
            );
            assert_eq!(expected.crew.len(), method.roles.len(), "{what}");
            for (role, posting) in method.roles.iter().zip(&expected.crew) {
                assert_eq!((&posting.role, &posting.place), (&role.id, &role.place));
                assert_eq!(posting.kit.is_some(), role.kit.is_some(), "{what}");
                if posting.kit.is_some() != posting.station.is_some() {
                    // Only whoever comes on from another method has the piece in hand.
                    let others = forecast.methods.iter().flat_map(|it| &it.crew);
                    let mut mine = others.filter(|it| it.responder == posting.responder);
                    let same = |it: &Posting| it.kit == posting.kit && it.station.is_some();
                    assert!(mine.any(same), "{what}");
                }
            }
        }
    }
}

#[test]
fn likely_is_orders_ways_and_steps_one_after_the_other_where_nothing_spreads() {
    let mut plan = fit(DEMO);
    without_spread(&mut plan);
    let others = ["self", "boom-lift", "pick-off"];
    let basis = Basis {
        out: others.map(str::to_owned).to_vec(),
        ..everybody(&plan, "silo3")
    };
    let forecast = expect(&plan, &basis);
    let ladder = of(&forecast, "ladder");
    let first = &ladder.crew[0];
    // Rua stands at the roof stair beside station C; 18 m along the roof at 1.2 m/s. All figures are of the invented plan.
    assert_eq!(
        (
            first.responder.as_str(),
            first.kit.as_deref(),
            first.station.as_deref(),
            first.travel_ms
        ),
        ("rua", Some("ladder E-2"), Some("c"), 15_000)
    );
    let orders = plan.policy.order_time.likely.0;
    let steps = (40 + 35 + 25 + 30 + 20 + 20) * 1_000;
    assert_eq!(ladder.likely_ms, orders + 15_000 + steps);
    assert_eq!(ladder.bad_day_ms, Some(ladder.likely_ms));
    assert_eq!(ladder.contact_ms, Some(ladder.likely_ms - 20_000));
    // What is computed follows the work: as it spreads, half of the draws take longer than the likely times together.
    let spread = expect(&fit(DEMO), &basis);
    let spread = of(&spread, "ladder");
    assert!(spread.likely_ms > ladder.likely_ms);
    assert!(spread.bad_day_ms > Some(spread.likely_ms));
}

#[test]
fn who_is_absent_or_may_hang_gets_no_role_and_nobody_no_forecast() {
    let plan = fit(DEMO);
    let basis = |present: &[&str]| Basis {
        present: present.iter().map(|it| (*it).to_owned()).collect(),
        ..everybody(&plan, "silo3")
    };
    // Ole works there, and so may be the one who hangs.
    let forecast = expect(&plan, &basis(&["rua", "ole"]));
    let crews = forecast.methods.iter().flat_map(|it| &it.crew);
    let people: Vec<&str> = crews.map(|it| it.responder.as_str()).collect();
    assert!(!people.is_empty() && people.iter().all(|who| *who == "rua"));
    let pick_off = of(&forecast, "pick-off");
    assert_eq!((pick_off.crew.len(), pick_off.unfilled.len()), (1, 2));
    assert_eq!(forecast.order, [""; 0], "every method takes two");
    assert_eq!((pick_off.source.as_str(), forecast.ladder), ("plan", None));

    let nobody = expect(&plan, &basis(&[]));
    let position = plan.position("silo3").expect("the demo has it");
    for (method, computed) in position.methods.iter().zip(&nobody.methods) {
        assert!(computed.crew.is_empty());
        assert_eq!(computed.unfilled.len(), method.roles.len());
    }
    let nowhere = Basis {
        position: "nowhere".to_owned(),
        ..basis(&["rua"])
    };
    assert_eq!(outlook(&plan, &nowhere, FEW), None);
}

#[test]
fn one_piece_of_kit_is_carried_by_one_person() {
    // Two roles ask for a ladder: station A has one, station B the other, further away.
    let station = |id: &str, place: &str| {
        format!(
            "[station.{id}]\nname = \"station {id}\"\nplace = \"{place}\"\n[station.{id}.kit.k]\nname = \"ladder {id}\"\nkind = \"ladder\"\n"
        )
    };
    let text = format!(
        "{SITE}[place.a]\nname = \"a\"\nlevel = \"0\"\n[place.b]\nname = \"b\"\nlevel = \"0\"\n[place.c]\nname = \"c\"\nlevel = \"0\"\n\
         [link.ab]\nfrom = \"a\"\nto = \"b\"\nkind = \"walk\"\nlength = \"12 m\"\n\
         [link.bc]\nfrom = \"b\"\nto = \"c\"\nkind = \"walk\"\nlength = \"12 m\"\n{}{}\
         [responder.x]\nname = \"Xan\"\nplace = \"a\"\n[responder.y]\nname = \"Yve\"\nplace = \"a\"\n\
         [position.p]\nname = \"P\"\nplace = \"c\"\napproach = \"b\"\nlanding = \"a\"\n\
         [position.p.method.m]\nname = \"m\"\nrung = \"pick-off\"\nchange_after = \"60 s\"\n\
         [position.p.method.m.role.one]\nkit = \"ladder\"\nplace = \"b\"\n[position.p.method.m.role.two]\nkit = \"ladder\"\nplace = \"b\"\n\
         [[position.p.method.m.step]]\nsay = \"x\"\ndone = \"x\"\ntime = [\"1 s\", \"2 s\", \"3 s\"]\nmilestone = \"off-harness\"\n",
        station("A", "a"),
        station("B", "c"),
    );
    let mut plan = fit(&text);
    without_spread(&mut plan);
    let forecast = expect(&plan, &everybody(&plan, "p"));
    let carried: Vec<_> = (forecast.methods[0].crew.iter())
        .map(|it| {
            (
                it.role.as_str(),
                it.responder.as_str(),
                it.kit.as_deref(),
                it.travel_ms,
            )
        })
        .collect();
    assert_eq!(
        carried,
        [
            ("one", "x", Some("ladder A"), 10_000),
            ("two", "y", Some("ladder B"), 30_000)
        ]
    );
    // The orders take 6 s, the later way 30 s; the only step needs neither role, so it waits for both from its start.
    assert_eq!(forecast.methods[0].likely_ms, 6_000 + 30_000 + 2_000);
    assert_eq!(plan.policy.order_time.likely, Millis::from_seconds(6));
}
