//! Tries the forecast from outside: ways against published figures, crews against trying everything, the demo site whole.
//!
//! Figures have their source beside them. Crews are compared with brute force on random small problems, because that is
//! slow, short and plainly right.

use groundward::plan::{DEMO, Plan, Routes, link_time, read, reference, schema};
use groundward::readiness::{Basis, Choice, Crew, Forecast, NODES_MAX, Problem, outlook, solve};
use groundward::units::Millis;
use proptest::prelude::*;

use crate::support::plans::plan_toml;

fn fit(text: &str) -> Plan {
    let reading = read("test.toml", text.as_bytes());
    reading
        .plan
        .unwrap_or_else(|| panic!("{:#?}", reading.findings))
}

const SITE: &str = "format = 1\n[site]\nname = \"Test\"\nrevision = \"1\"\nemergency_number = \"112\"\nmeeting_point = \"gate\"\n";

/// A plan of places and ways alone: from, to, and the lines that say how.
fn ways(links: &[(&str, &str, &str)]) -> Plan {
    let mut text = SITE.to_owned();
    let mut places: Vec<&str> = links
        .iter()
        .flat_map(|(from, to, _)| [*from, *to])
        .collect();
    places.sort_unstable();
    places.dedup();
    for place in places {
        text += &format!("[place.{place}]\nname = \"place {place}\"\nlevel = \"0\"\n");
    }
    for (number, (from, to, how)) in links.iter().enumerate() {
        text += &format!("[link.l{number}]\nfrom = \"{from}\"\nto = \"{to}\"\n{how}\n");
    }
    fit(&text)
}

fn route(plan: &Plan, from: &str, to: &str) -> Option<(i64, String)> {
    let route = Routes::new(plan).between(from, to)?;
    Some((route.time.0, route.links.join(" ")))
}

#[test]
fn walking_speeds_are_the_published_ones() {
    // T1: IMO MSC.1/Circ.1238, tables 1.1 and 1.3: level 1.2, stairs down 1.0, stairs up 0.8 m/s, so 60 m take
    // 50.0, 60.0 and 75.0 s.
    let plan = ways(&[
        ("a", "b", "kind = \"walk\"\nlength = \"60 m\""),
        (
            "b",
            "c",
            "kind = \"stairs\"\nlength = \"60 m\"\nrise = \"30 m\"",
        ),
        (
            "d",
            "c",
            "kind = \"stairs\"\nlength = \"60 m\"\nrise = \"-30 m\"",
        ),
    ]);
    let times = |index: usize| {
        [true, false].map(|forwards| link_time(&plan.links[index], &plan.policy, forwards).0)
    };
    assert_eq!(times(0), [50_000, 50_000]);
    assert_eq!(times(1), [75_000, 60_000]);
    assert_eq!(times(2), [60_000, 75_000]);
    assert_eq!(
        route(&plan, "a", "d"),
        Some((50_000 + 75_000 + 75_000, "l0 l1 l2".to_owned()))
    );
    assert_eq!(
        route(&plan, "d", "a"),
        Some((60_000 + 60_000 + 50_000, "l2 l1 l0".to_owned()))
    );
}

#[test]
fn paces_without_a_published_figure_say_so() {
    let about = |key: &str| {
        let schema = schema();
        let about = &schema["$defs"]["Policy"]["properties"][key]["description"];
        about
            .as_str()
            .expect("every setting says what it is")
            .to_owned()
    };
    for key in [
        "ladder_up_speed",
        "scaffold_down_speed",
        "hoist_speed",
        "vehicle_wait",
    ] {
        assert!(about(key).ends_with("Assumed, measure yours."), "{key}");
    }
    assert!(about("walk_speed").contains("IMO") && about("stairs_up_speed").contains("IMO"));
    assert!(reference().contains("IMO MSC.1/Circ.1238, tables 1.1 and 1.3."));
}

#[test]
fn a_plan_may_set_its_own_speeds_and_close_a_way() {
    let slow = ways(&[(
        "a",
        "b",
        "kind = \"walk\"\nlength = \"60 m\"\n[policy]\nwalk_speed = \"0.92 m/s\"",
    )]);
    // T2: TCRP-NCHRP 2005, 0.92 m/s: 60 m take 65.2 s.
    assert_eq!(link_time(&slow.links[0], &slow.policy, true).0, 65_218);
    let shut = ways(&[(
        "a",
        "b",
        "kind = \"walk\"\nlength = \"60 m\"\nclosed = \"flooded\"",
    )]);
    assert_eq!(route(&shut, "a", "b"), None);
}

#[test]
fn a_measured_time_goes_before_a_computed_one() {
    let measured = "kind = \"walk\"\nlength = \"60 m\"\ntime = [\"10 s\", \"20 s\", \"90 s\"]";
    let plan = ways(&[
        ("a", "b", measured),
        ("a", "b", "kind = \"walk\"\nlength = \"30 m\""),
    ]);
    assert_eq!(route(&plan, "a", "b"), Some((20_000, "l0".to_owned())));
}

#[test]
fn the_shortest_path_is_the_textbook_one() {
    // P2: edges 1-2:7 1-3:9 1-6:14 2-3:10 2-4:15 3-4:11 3-6:2 4-5:6 5-6:9; from 1 to 5 it is 20 by 1-3-6-5.
    let edges = [
        ("1", "2", 7),
        ("1", "3", 9),
        ("1", "6", 14),
        ("2", "3", 10),
        ("2", "4", 15),
        ("3", "4", 11),
        ("3", "6", 2),
        ("4", "5", 6),
        ("5", "6", 9),
    ];
    let how = edges.map(|(_, _, cost)| {
        format!(
            "kind = \"walk\"\nlength = \"1 m\"\ntime = [\"{cost} s\", \"{cost} s\", \"{cost} s\"]"
        )
    });
    let links: Vec<_> = edges
        .iter()
        .zip(&how)
        .map(|((from, to, _), how)| (*from, *to, how.as_str()))
        .collect();
    let plan = ways(&links);
    assert_eq!(
        route(&plan, "1", "5"),
        Some((20_000, "l1 l6 l8".to_owned()))
    );
    assert_eq!(
        Routes::new(&plan)
            .times_from("1")
            .into_iter()
            .map(|(to, time)| (to, time.0 / 1_000))
            .collect::<Vec<_>>(),
        [
            ("1", 0),
            ("2", 7),
            ("3", 9),
            ("4", 20),
            ("5", 20),
            ("6", 11)
        ]
    );
}

#[test]
fn where_no_way_leads_there_is_none() {
    let plan = ways(&[
        ("a", "b", "kind = \"walk\"\nlength = \"1 m\""),
        ("c", "d", "kind = \"walk\"\nlength = \"1 m\""),
    ]);
    assert_eq!(route(&plan, "a", "c"), None);
    assert_eq!(route(&plan, "a", "nowhere"), None);
    assert_eq!(route(&plan, "a", "a"), Some((0, String::new())));
}

/// What decides between crews, most important first: unfilled roles, the one to keep free used, latest, sum.
type Cost = (usize, bool, i64, i64);

fn cost(chosen: &[Option<Choice>], keep_free: Option<usize>) -> Cost {
    let held = || chosen.iter().flatten();
    (
        chosen.iter().filter(|choice| choice.is_none()).count(),
        held().any(|choice| Some(choice.person) == keep_free),
        held().map(|choice| choice.time.0).max().unwrap_or(0),
        held().map(|choice| choice.time.0).sum(),
    )
}

fn allowed(problem: &Problem, chosen: &[Option<Choice>]) -> bool {
    let held: Vec<&Choice> = chosen.iter().flatten().collect();
    let twice = held
        .iter()
        .enumerate()
        .any(|(i, a)| held[..i].iter().any(|b| a.person == b.person));
    let drawn = |stock: usize| {
        held.iter()
            .filter(|choice| choice.stock == Some(stock))
            .count()
    };
    !twice && (0..problem.stock.len()).all(|stock| drawn(stock) <= problem.stock[stock] as usize)
}

/// The best cost, by trying every combination.
fn brute_force(problem: &Problem) -> Cost {
    let mut crews: Vec<Vec<Option<Choice>>> = vec![Vec::new()];
    for choices in &problem.roles {
        let options: Vec<Option<Choice>> = std::iter::once(None)
            .chain(choices.iter().copied().map(Some))
            .collect();
        crews = crews
            .iter()
            .flat_map(|crew| {
                options
                    .iter()
                    .map(move |option| [crew.as_slice(), &[*option]].concat())
            })
            .collect();
        crews.retain(|crew| allowed(problem, crew));
    }
    crews
        .iter()
        .map(|crew| cost(crew, problem.keep_free))
        .min()
        .expect("a crew of nobody is always allowed")
}

fn small_problem() -> impl Strategy<Value = Problem> {
    let choice =
        (0..5_usize, prop::option::of(0..3_usize), 0..6_i64).prop_map(|(person, stock, time)| {
            Choice {
                person,
                stock,
                time: Millis(time * 1_000),
            }
        });
    let roles = prop::collection::vec(prop::collection::vec(choice, 0..7), 0..5);
    (
        roles,
        prop::collection::vec(0..3_u32, 3),
        prop::option::of(0..5_usize),
    )
        .prop_map(|(roles, stock, keep_free)| Problem {
            roles,
            stock,
            keep_free,
        })
}

proptest! {
    #[test]
    fn a_crew_is_as_good_as_trying_everything(problem in small_problem()) {
        let crew = solve(&problem);
        prop_assert!(crew.proved);
        prop_assert!(allowed(&problem, &crew.chosen));
        for (choice, choices) in crew.chosen.iter().zip(&problem.roles) {
            prop_assert!(choice.is_none_or(|choice| choices.contains(&choice)));
        }
        prop_assert_eq!(cost(&crew.chosen, problem.keep_free), brute_force(&problem));
    }

    #[test]
    fn the_order_in_which_choices_are_listed_does_not_matter(problem in small_problem()) {
        let mut reversed = problem.clone();
        reversed.roles.iter_mut().for_each(|choices| choices.reverse());
        prop_assert_eq!(solve(&problem), solve(&reversed));
    }
}

/// A problem in which row `r` is a role, column `c` a person, and the entry how long that one takes.
fn table<const N: usize>(rows: &[[i64; N]]) -> Problem {
    let choices = |row: &[i64; N]| {
        (0..N)
            .map(|person| Choice {
                person,
                stock: None,
                time: Millis(row[person]),
            })
            .collect()
    };
    Problem {
        roles: rows.iter().map(choices).collect(),
        ..Problem::default()
    }
}

#[test]
fn assignments_with_known_sums_come_out_where_the_latest_agrees() {
    // P1 (textbook; SciPy's test suite) minimises the sum alone. In these two of its three tables a crew of that least
    // sum also has the earliest latest, so our order of aims must give the same sum.
    let sum = |crew: &Crew| {
        crew.chosen
            .iter()
            .flatten()
            .map(|choice| choice.time.0)
            .sum::<i64>()
    };
    assert_eq!(sum(&solve(&table(&[[4, 1, 3], [2, 0, 5], [3, 2, 2]]))), 5);
    assert_eq!(
        sum(&solve(&table(&[
            [400, 150, 400, 1],
            [400, 450, 600, 2],
            [300, 225, 300, 3]
        ]))),
        452
    );
    // In the third the least sum, 15, has somebody ready only after 8; a crew with the sum 16 is ready after 7.
    let crew = solve(&table(&[[8, 4, 7], [5, 2, 3], [9, 4, 8]]));
    assert_eq!(cost(&crew.chosen, None), (0, false, 7, 16));
}

#[test]
fn the_earlier_name_wins_between_equals() {
    let crew = solve(&table(&[[5, 5, 5], [5, 5, 5]]));
    let people: Vec<_> = crew
        .chosen
        .iter()
        .flatten()
        .map(|choice| choice.person)
        .collect();
    assert_eq!(people, [0, 1]);
}

#[test]
fn a_search_that_is_too_large_still_answers() {
    // Twelve roles that everybody can hold, and each of four stations has kit for three of them.
    let choices: Vec<Choice> = (0..40_usize)
        .flat_map(|person| (0..4_usize).map(move |stock| (person, stock)))
        .map(|(person, stock)| Choice {
            person,
            stock: Some(stock),
            time: Millis(((person * 7 + stock * 13) % 31) as i64),
        })
        .collect();
    let crew = solve(&Problem {
        roles: vec![choices; 12],
        stock: vec![3; 4],
        keep_free: None,
    });
    assert!(
        !crew.proved,
        "within {NODES_MAX} nodes this is not expected to be proved"
    );
    assert!(crew.chosen.iter().all(Option::is_some));
}

fn expect(plan: &Plan, position: &str, in_command: Option<&str>) -> Forecast {
    let basis = Basis {
        position: position.to_owned(),
        present: plan.responders.iter().map(|it| it.id.clone()).collect(),
        in_command: in_command.map(str::to_owned),
        excluded: plan
            .position(position)
            .map(|it| it.workers.clone())
            .unwrap_or_default(),
        ..Basis::default()
    };
    outlook(plan, &basis).expect("the position is in the plan")
}

#[test]
fn the_demo_site_has_a_crew_for_every_method() {
    let plan = fit(DEMO);
    for position in &plan.positions {
        let forecast = expect(&plan, &position.id, Some("ines"));
        assert_eq!(forecast.methods.len(), position.methods.len());
        for (method, expected) in position.methods.iter().zip(&forecast.methods) {
            let what = format!("{} {}", position.id, method.id);
            assert_eq!(expected.unfilled, [""; 0], "{what}");
            assert!(
                expected
                    .crew
                    .iter()
                    .all(|posting| !position.workers.contains(&posting.responder)),
                "{what}"
            );
            assert_eq!(expected.change_after_ms, method.change_after.0, "{what}");
            assert_eq!(expected.source, "plan");
            assert!(
                expected.likely_ms <= expected.change_after_ms,
                "{what}: {} s",
                expected.likely_ms / 1_000
            );
            for (role, posting) in method.roles.iter().zip(&expected.crew) {
                assert_eq!(
                    (&posting.role, &posting.place, posting.kit.is_some()),
                    (&role.id, &role.place, role.kit.is_some())
                );
                assert_eq!(posting.station.is_some(), role.kit.is_some(), "{what}");
            }
        }
    }
}

#[test]
fn likely_is_the_last_arrival_and_the_steps_to_the_release() {
    let plan = fit(DEMO);
    let forecast = expect(&plan, "silo3", None);
    let ladder = &forecast.methods[1];
    assert_eq!(ladder.method, "ladder");
    let first = &ladder.crew[0];
    // Rua stands at the roof stair beside station C; 18 m along the roof at 1.2 m/s.
    assert_eq!(
        (
            first.responder.as_str(),
            first.kit.as_deref(),
            first.station.as_deref()
        ),
        ("rua", Some("ladder E-2"), Some("c"))
    );
    assert_eq!(first.travel_ms, 15_000);
    let latest = ladder
        .crew
        .iter()
        .map(|posting| posting.travel_ms)
        .max()
        .expect("somebody goes");
    let steps = (40 + 35 + 25 + 30 + 20 + 20) * 1_000;
    assert_eq!(ladder.likely_ms, latest + steps);
}

#[test]
fn the_person_in_command_goes_only_when_nobody_else_can() {
    let plan = fit(DEMO);
    let held_by = |in_command: Option<&str>, who: &str| {
        let forecast = expect(&plan, "silo3", in_command);
        forecast
            .methods
            .iter()
            .filter(|method| method.crew.iter().any(|posting| posting.responder == who))
            .count()
    };
    assert!(held_by(None, "rua") > held_by(Some("rua"), "rua"));
    // With Ole hanging, only Rua and Tove can do the two roles on the ropes.
    assert!(held_by(Some("rua"), "rua") >= 1);
}

#[test]
fn who_has_another_task_gets_a_role_only_where_nobody_else_can() {
    let plan = fit(DEMO);
    let crew = |present: &[&str], reserved: &[&str]| {
        let basis = Basis {
            position: "silo3".to_owned(),
            present: present.iter().map(|it| (*it).to_owned()).collect(),
            reserved: reserved.iter().map(|it| (*it).to_owned()).collect(),
            ..Basis::default()
        };
        let forecast = outlook(&plan, &basis).expect("the position is in the plan");
        let method = forecast
            .methods
            .into_iter()
            .find(|it| it.method == "ladder");
        let method = method.expect("the position has a ladder");
        let mut people: Vec<_> = method.crew.into_iter().map(|it| it.responder).collect();
        people.sort_unstable();
        (people, method.unfilled.len())
    };
    let all = ["rua", "tove", "ines", "mina"];
    let (free, _) = crew(&all, &[]);
    assert_eq!(free, ["rua", "tove"], "the two who stand nearest");
    let (people, unfilled) = crew(&all, &["tove"]);
    assert!(
        !people.contains(&"tove".to_owned()) && unfilled == 0,
        "{people:?}"
    );
    let (people, unfilled) = crew(&["rua", "tove"], &["tove"]);
    assert_eq!((people, unfilled), (free, 0), "nobody else is there");
}

#[test]
fn who_is_absent_or_may_hang_gets_no_role() {
    let plan = fit(DEMO);
    let basis = |present: &[&str]| Basis {
        position: "silo3".to_owned(),
        present: present.iter().map(|it| (*it).to_owned()).collect(),
        in_command: None,
        excluded: vec!["ole".to_owned()],
        ..Basis::default()
    };
    let forecast = outlook(&plan, &basis(&["rua", "ole"])).expect("the position is in the plan");
    let people: Vec<_> = forecast
        .methods
        .iter()
        .flat_map(|it| &it.crew)
        .map(|it| it.responder.as_str())
        .collect();
    assert!(!people.is_empty() && people.iter().all(|who| *who == "rua"));
    let pick_off = &forecast.methods[3];
    assert_eq!((pick_off.crew.len(), pick_off.unfilled.len()), (1, 2));
    let nobody = outlook(&plan, &basis(&[])).expect("the position is in the plan");
    assert!(nobody.methods.iter().all(|it| {
        it.crew.is_empty()
            && it.unfilled.len()
                == plan.positions[0]
                    .method(&it.method)
                    .map_or(0, |m| m.roles.len())
    }));
    assert_eq!(
        outlook(
            &plan,
            &Basis {
                position: "nowhere".to_owned(),
                ..basis(&[])
            }
        ),
        None
    );
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
    let forecast = expect(&fit(&text), "p", None);
    let carried: Vec<_> = forecast.methods[0]
        .crew
        .iter()
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
    assert_eq!(forecast.methods[0].likely_ms, 32_000);
}

#[test]
fn a_forecast_is_the_same_every_time() {
    for seed in 0..40 {
        let plan = fit(&plan_toml(seed));
        for position in &plan.positions {
            let forecast = expect(&plan, &position.id, Some("r1"));
            assert_eq!(
                forecast,
                expect(&plan, &position.id, Some("r1")),
                "seed {seed}"
            );
            let back: Forecast = serde_json::from_str(
                &serde_json::to_string(&forecast).expect("a forecast can be written"),
            )
            .expect("a forecast can be read back");
            assert_eq!(forecast, back);
        }
    }
}
