//! Holds the rules that turn a rescue: papers and physical failings, several casualties, a rescuer who falls, checks that
//! age, ties, entries, command, outside lead, danger, aftercare by the minute, stand-down.
//!
//! The rules are those of `DEVELOPERS.md`, "How a rescue runs". Where a figure comes from outside, its source stands beside
//! the check.

use crate::desk::{Desk, said};
use groundward::cue::Cue;
use groundward::incident::{
    Act, Aftercare, CareTaker, Condition, Due, Event, Note, Pick, Report, Verdict, brief, handover,
    loaded,
};
use groundward::plan::{DEMO, DEMO_BRIDGE};
use groundward::readiness::Posting;
use groundward::signal::{Effect, Tap};
use groundward::units::{Millis, Speed};
use groundward::words::Language;

/// A desk where the place is safe, the call passed on, and the casualty answers like this.
fn at_work(plan: &str, position: &str, condition: Condition) -> Desk {
    let mut desk = Desk::with(plan);
    desk.hang(Some(position));
    desk.act(Act::SaySafe);
    desk.act(Act::CallMade);
    desk.act(Act::OthersStopped);
    let hazards: Vec<String> = desk
        .facts()
        .position()
        .map(|p| p.hazards.iter().map(|h| h.id.clone()).collect())
        .unwrap_or_default();
    for _ in &hazards {
        let next = desk.facts().open_hazard().map(|h| h.id.clone());
        desk.act(Act::HazardSafe(next.expect("a hazard is open")));
    }
    desk.act(Act::Report(condition));
    desk.pass(1_000);
    assert!(desk.facts().may_go_near(), "{}", desk.text());
    desk
}

fn silo3(condition: Condition) -> Desk {
    at_work(DEMO, "silo3", condition)
}

fn verdict(desk: &Desk, method: &str) -> Verdict {
    let method = desk.facts().method(method).expect("it is in the plan");
    desk.facts().case().verdict(method)
}

fn reason(desk: &Desk, method: &str) -> String {
    let verdict = verdict(desk, method);
    verdict
        .reason()
        .map(|why| why.text(Language::English))
        .unwrap_or_default()
}

fn came_due(desk: &Desk, due: Due) -> Vec<i64> {
    let records = desk.records.iter();
    records
        .filter(|r| r.event == Event::CameDue { what: due })
        .map(|r| r.elapsed.0)
        .collect()
}

// Rule 8: papers and physical failings.

#[test]
fn a_paper_that_ran_out_leaves_a_method_for_last_and_takes_it_from_nobody() {
    let desk = silo3(Condition::Talking);
    assert_eq!(verdict(&desk, "ladder"), Verdict::Open);
    let overdue = DEMO
        .split("\n[")
        .map(|table| match table.contains("kind = \"ladder\"") {
            true => table
                .lines()
                .map(|line| match line.starts_with("inspection_due") {
                    true => "inspection_due = \"2020-01-31\"",
                    false => line,
                })
                .collect::<Vec<_>>()
                .join("\n"),
            false => table.to_owned(),
        })
        .collect::<Vec<_>>()
        .join("\n[");
    assert_ne!(overdue, DEMO, "the ladder has a date");
    let mut desk = at_work(&overdue, "silo3", Condition::Talking);
    assert!(matches!(verdict(&desk, "ladder"), Verdict::Last(_)));
    assert!(
        reason(&desk, "ladder").ends_with("inspection overdue"),
        "{}",
        reason(&desk, "ladder")
    );
    desk.pick(Pick::Other);
    assert_ne!(
        desk.facts().running().map(|r| r.method.as_str()),
        Some("ladder"),
        "others go before it"
    );
    desk.act(Act::GoStraight("ladder".to_owned()));
    assert_eq!(
        desk.facts().running().map(|r| r.method.as_str()),
        Some("ladder"),
        "the person in command may still choose it"
    );
}

#[test]
fn kit_that_is_gone_puts_a_method_out_with_its_reason_and_the_crew_is_planned_again() {
    let mut desk = silo3(Condition::Talking);
    let stations: Vec<String> = desk
        .facts()
        .opened
        .as_ref()
        .expect("it is open")
        .plan
        .stations
        .iter()
        .map(|s| s.id.clone())
        .collect();
    for station in stations {
        desk.act(Act::KitGone {
            kit: "ladder".to_owned(),
            station,
            by: None,
        });
    }
    assert_eq!(reason(&desk, "ladder"), "out: no ladder");
    let before = desk.records.len();
    desk.act(Act::GoStraight("ladder".to_owned()));
    assert_eq!(desk.records.len(), before, "what cannot work is refused");
    desk.assert_replays();
}

#[test]
fn wind_over_the_limit_puts_a_method_out_only_while_it_blows() {
    let mut desk = silo3(Condition::Talking);
    desk.act(Act::Wind(Speed(12_500)));
    assert_eq!(verdict(&desk, "boom-lift"), Verdict::Open, "at the limit");
    desk.act(Act::Wind(Speed(12_501)));
    assert!(verdict(&desk, "boom-lift").is_out());
    assert_eq!(
        reason(&desk, "boom-lift"),
        "out: wind 12.6 m/s, limit 12.5 m/s"
    );
    desk.act(Act::Wind(Speed(4_000)));
    assert_eq!(verdict(&desk, "boom-lift"), Verdict::Open);
}

#[test]
fn a_role_that_nobody_can_hold_leaves_its_method_for_last() {
    let mut desk = silo3(Condition::Talking);
    for person in ["rua", "tove"] {
        desk.act(Act::Responder(person.to_owned(), Report::Cannot));
    }
    assert!(matches!(verdict(&desk, "pick-off"), Verdict::Last(_)));
    assert_eq!(reason(&desk, "pick-off"), "last: nobody for rope rescue");
    desk.act(Act::Responder("rua".to_owned(), Report::CanAgain));
    desk.act(Act::Responder("tove".to_owned(), Report::CanAgain));
    assert_eq!(verdict(&desk, "pick-off"), Verdict::Open);
}

// Rule 5: checks that age.

#[test]
fn a_check_grows_old_by_itself_and_then_counts_as_no_answer() {
    let mut desk = silo3(Condition::Talking);
    let reported = desk.facts().casualty().condition.expect("reported").1.0;
    desk.pass(59_000 - (desk.at().0 - reported));
    assert_eq!(desk.facts().casualty().lapsed, 0);
    desk.pass(1_000);
    assert_eq!(desk.facts().casualty().lapsed, 1, "one interval");
    assert!(desk.effects.contains(&Effect::Play(Cue::CheckDue)));
    assert_eq!(
        verdict(&desk, "self"),
        Verdict::Open,
        "not checked rules nothing out yet"
    );
    desk.pass(60_000);
    assert_eq!(desk.facts().casualty().lapsed, 2, "two intervals");
    assert_eq!(reason(&desk, "self"), "out: nobody checked");
    assert_eq!(came_due(&desk, Due::CheckLost).len(), 1);
    assert_eq!(
        desk.facts().casualty().worst,
        Some(Condition::Talking),
        "what nobody saw is not written down as seen"
    );
    desk.act(Act::Report(Condition::Talking));
    assert_eq!(verdict(&desk, "self"), Verdict::Open, "somebody looked");
}

#[test]
fn a_better_condition_puts_no_method_back_and_the_person_in_command_does() {
    let mut desk = silo3(Condition::Unwell);
    assert!(verdict(&desk, "ladder").is_out());
    desk.act(Act::Report(Condition::Talking));
    assert!(verdict(&desk, "ladder").is_out());
    desk.act(Act::PutBack("ladder".to_owned()));
    assert_eq!(verdict(&desk, "ladder"), Verdict::Open);
    assert!(verdict(&desk, "self").is_out(), "that one only");
}

#[test]
fn hands_on_the_casualty_decide_where_nobody_answers_or_danger_is_there() {
    for reported in [Act::Report(Condition::NotAnswering), Act::InDanger(true)] {
        let mut desk = silo3(Condition::Talking);
        desk.act(reported);
        let case = desk.facts().case();
        let next = case.next_method().expect("a way is left");
        let open = desk.facts().methods().iter().filter(|m| {
            !case.verdict(m).is_out() && desk.facts().running().is_none_or(|r| r.method != m.id)
        });
        let quickest = open
            .min_by_key(|m| case.time_to_hands(m))
            .expect("one is open");
        assert_eq!(next.id, quickest.id);
    }
}

#[test]
fn a_method_that_was_left_before_anything_was_done_can_still_be_tried() {
    let mut desk = silo3(Condition::NotAnswering);
    desk.act(Act::GoStraight("boom-lift".to_owned()));
    let next = |desk: &Desk| desk.facts().case().next_method().map(|m| m.id.clone());
    assert_eq!(next(&desk).as_deref(), Some("pick-off"));
    desk.answer();
    desk.act(Act::GoStraight("pick-off".to_owned()));
    assert_eq!(next(&desk), None, "the lift was tried");
}

// Rule 9: rescuers come home.

/// Every method of every place of both built-in plans, played by its answers: whoever is exposed was tied off just before.
#[test]
fn before_each_exposed_step_somebody_is_tied_off_and_checked() {
    let mut ties = 0;
    for plan in [DEMO, DEMO_BRIDGE] {
        let read = Desk::with(plan);
        let positions = read.engine.snapshot(&read.now).plan.plan.positions.clone();
        for position in positions {
            for method in &position.methods {
                let mut desk = at_work(plan, &position.id, Condition::Talking);
                desk.act(Act::GoStraight(method.id.clone()));
                if desk.facts().running().is_none_or(|r| r.method != method.id) {
                    continue;
                }
                for _ in 0..60 {
                    let Some((running, _, step)) = desk.facts().step() else {
                        break;
                    };
                    let asked = desk.prompt();
                    let does = asked.main.as_ref().is_some_and(|c| c.act == Act::StepDone);
                    if does && step.exposed {
                        assert_eq!(
                            running.tied,
                            Some((running.step, None)),
                            "{} {}: {}",
                            position.id,
                            method.id,
                            desk.text()
                        );
                        ties += 1;
                    }
                    desk.act(Act::Report(Condition::Talking));
                    desk.pass(1_000);
                    desk.answer();
                }
                assert!(
                    desk.facts().casualty().off.is_some(),
                    "{} {} ends off the harness, not at `{}`",
                    position.id,
                    method.id,
                    desk.text()
                );
            }
        }
    }
    assert!(ties > 60, "{ties} exposed steps");
}

#[test]
fn the_tie_names_another_anchorage_who_stays_in_control_and_how_the_rescuer_comes_home() {
    let mut desk = silo3(Condition::Talking);
    desk.act(Act::GoStraight("boom-lift".to_owned()));
    desk.answer();
    desk.answer();
    assert!(
        desk.text().ends_with("tie off. Partner checks."),
        "{}",
        desk.text()
    );
    let lines: Vec<String> = desk
        .prompt()
        .lines
        .iter()
        .map(|l| l.text(Language::English))
        .collect();
    assert!(lines[0].starts_with("Tie to: basket ring"), "{lines:?}");
    assert!(
        lines[1].starts_with("In control, stays there: "),
        "{lines:?}"
    );
    assert!(lines[2].starts_with("If the rescuer hangs: "), "{lines:?}");
    let caution = desk.prompt().caution.expect("it has a caution");
    assert_eq!(
        caution.text(Language::English),
        "Never to what arrested the fall."
    );
}

#[test]
fn nobody_goes_into_a_confined_space_before_every_condition_is_confirmed() {
    let mut desk = at_work(DEMO_BRIDGE, "girder", Condition::NotAnswering);
    desk.act(Act::GoStraight("entry".to_owned()));
    let conditions = desk
        .facts()
        .position()
        .and_then(|p| p.confined_space.as_ref())
        .map(|space| space.conditions.len())
        .expect("the girder is a confined space");
    let mut confirmed = Vec::new();
    for _ in 0..40 {
        let asked = desk.prompt();
        match asked.main.as_ref().map(|c| c.act.clone()) {
            Some(Act::EntryMet(index)) => confirmed.push(index),
            _ if confirmed.len() == conditions => break,
            _ => {}
        }
        desk.act(Act::StepDone);
        desk.act(Act::Report(Condition::NotAnswering));
        desk.pass(1_000);
        desk.answer();
        let contact = desk.facts().casualty().contact;
        assert!(contact.is_none() || confirmed.len() == conditions);
    }
    assert_eq!(confirmed, (0..conditions).collect::<Vec<_>>());
}

#[test]
fn nobody_is_lowered_onto_bad_ground_before_the_plans_control_for_it_is_in_place() {
    let mut desk = at_work(DEMO, "loader", Condition::Unwell);
    let lowering = desk
        .facts()
        .methods()
        .iter()
        .find(|m| m.lowers && !desk.facts().case().verdict(m).is_out())
        .map(|m| m.id.clone())
        .expect("a method lowers");
    desk.act(Act::GoStraight(lowering));
    let mut held = false;
    for _ in 0..40 {
        let (_, _, step) = desk.facts().step().expect("it goes on");
        let committed = step.committed;
        let asked = desk.prompt();
        let does = asked.main.as_ref().is_some_and(|c| c.act == Act::StepDone);
        held |= asked
            .main
            .as_ref()
            .is_some_and(|c| c.act == Act::GroundHeld);
        if does && committed {
            assert!(held, "`{}` lowers onto water", desk.text());
            return;
        }
        desk.act(Act::Report(Condition::Unwell));
        desk.pass(1_000);
        desk.answer();
    }
    panic!("it never came to lowering");
}

#[test]
fn a_fallen_rescuer_is_a_casualty_with_a_clock_of_their_own() {
    let mut desk = silo3(Condition::Unwell);
    let rescuer = desk.facts().orders[0].posting.responder.clone();
    desk.pass(20_000);
    desk.act(Act::RescuerDown(rescuer.clone()));
    let facts = desk.facts();
    assert_eq!(facts.casualties.len(), 2);
    let second = facts.case_of(2);
    assert!(second.casualty.rescuer && second.hanging(desk.at()) == Millis::ZERO);
    assert!(
        facts.order_of(&rescuer).is_none(),
        "nobody orders a casualty"
    );
    assert!(
        !facts.may_go_near(),
        "what made them fall is looked at first"
    );
    assert_eq!(desk.text(), "Stop work. Is it safe to go near?");
    desk.act(Act::SaySafe);
    desk.pass(5_000);
    let again = desk.facts().orders.iter();
    assert!(again.clone().count() > 0, "the crew was planned again");
    assert!(again.clone().all(|o| o.posting.responder != rescuer));
    desk.assert_replays();
}

// Rule 2: make safe first.

#[test]
fn until_it_is_safe_whoever_would_go_near_waits_at_the_approach_point() {
    let mut desk = Desk::demo();
    desk.hang(Some("silo3"));
    desk.act(Act::Report(Condition::Unwell));
    desk.act(Act::GoStraight("pick-off".to_owned()));
    let place = |desk: &Desk, role: &str| {
        let mut orders = desk.facts().orders.iter();
        orders
            .find(|o| o.posting.role == role)
            .map(|o| o.posting.place.clone())
    };
    assert_eq!(
        place(&desk, "rescuer").as_deref(),
        Some("roof-stair"),
        "the approach point"
    );
    desk.act(Act::SaySafe);
    assert_eq!(
        place(&desk, "rescuer").as_deref(),
        Some("roof-stair"),
        "a hazard is open"
    );
    desk.act(Act::HazardSafe("dust-fan".to_owned()));
    assert_eq!(place(&desk, "rescuer").as_deref(), Some("east-hatch"));
    desk.assert_replays();
}

#[test]
fn outside_rescue_that_takes_over_finds_what_is_connected_made_safe() {
    let mut desk = silo3(Condition::NotAnswering);
    desk.act(Act::GoStraight("pick-off".to_owned()));
    desk.answer();
    desk.answer();
    assert!(desk.facts().committed(), "{}", desk.text());
    desk.act(Act::OutsideLeads);
    assert_eq!(desk.text(), "Both connected? Weight held?");
    desk.answer();
    assert_eq!(desk.text(), "Outside rescue leads. Help as they say.");
}

// Rule 10: more than one.

#[test]
fn the_one_worked_on_is_in_danger_else_not_answering_else_hangs_longest() {
    let mut desk = silo3(Condition::Talking);
    desk.act(Act::SetFall {
        ago: Millis::from_seconds(60),
        at_least: false,
    });
    desk.act(Act::AddCasualty);
    desk.act(Act::AddCasualty);
    assert_eq!(
        desk.facts().case().number,
        1,
        "they fell together: the first stays"
    );
    desk.act(Act::WorkOn(2));
    desk.act(Act::SetFall {
        ago: Millis::from_seconds(10),
        at_least: false,
    });
    assert_eq!(desk.facts().case().number, 2, "the person in command chose");
    desk.act(Act::WorkOn(3));
    desk.act(Act::Report(Condition::NotAnswering));
    desk.act(Act::AddCasualty);
    assert_eq!(
        desk.facts().case().number,
        3,
        "not answering goes before the others"
    );
    desk.act(Act::WorkOn(2));
    desk.act(Act::InDanger(true));
    desk.act(Act::AddCasualty);
    assert_eq!(
        desk.facts().case().number,
        2,
        "danger goes before everything"
    );
    let clocks: Vec<i64> = desk
        .facts()
        .cases()
        .map(|case| case.hanging(desk.at()).0)
        .collect();
    assert!(
        clocks[1] < clocks[0],
        "each has a clock of their own: {clocks:?}"
    );
    desk.assert_replays();
}

#[test]
fn nobody_is_sent_for_two_casualties_at_once() {
    let mut desk = silo3(Condition::Unwell);
    desk.act(Act::AddCasualty);
    desk.act(Act::WorkOn(2));
    desk.act(Act::Report(Condition::Unwell));
    desk.pass(5_000);
    let mut people: Vec<&str> = desk
        .facts()
        .orders
        .iter()
        .map(|o| o.posting.responder.as_str())
        .collect();
    let count = people.len();
    people.sort_unstable();
    people.dedup();
    assert_eq!(people.len(), count);
    let both = desk.facts().orders.iter().any(|o| o.casualty == 2);
    assert!(both, "who is left is sent for the second");
}

#[test]
fn naming_the_casualty_frees_the_others_who_work_there() {
    let plan = DEMO.replacen("workers = [\"ole\"]", "workers = [\"ole\", \"bram\"]", 1);
    assert_ne!(plan, DEMO);
    let mut desk = at_work(&plan, "silo3", Condition::Talking);
    assert!(!desk.facts().free_people().contains(&"bram".to_owned()));
    desk.act(Act::NameCasualty(Some("ole".to_owned())));
    assert!(desk.facts().free_people().contains(&"bram".to_owned()));
    assert!(!desk.facts().free_people().contains(&"ole".to_owned()));
}

// Rule 6: danger.

#[test]
fn danger_takes_back_who_would_be_near_and_leaves_call_clock_and_fetching() {
    let mut desk = silo3(Condition::Unwell);
    let before = desk.facts().orders.clone();
    desk.act(Act::Danger);
    let back: Vec<&str> = desk
        .records
        .iter()
        .filter_map(|r| match &r.event {
            Event::OrderWithdrawn { responder } => Some(responder.as_str()),
            _ => None,
        })
        .collect();
    assert!(!back.is_empty(), "exposed work is withdrawn");
    for order in &desk.facts().orders {
        assert!(!back.contains(&order.posting.responder.as_str()));
        assert!(before.contains(order), "who fetches or waits goes on");
    }
    assert!(
        desk.facts().outside.asked.is_some(),
        "outside rescue is asked for"
    );
    assert!(desk.effects.contains(&Effect::Play(Cue::Danger)));
    desk.act(Act::DangerOver(Some("tove".to_owned())));
    let people = |orders: &[groundward::incident::Order]| {
        let mut all: Vec<String> = orders.iter().map(|o| o.posting.responder.clone()).collect();
        all.sort();
        all
    };
    assert_eq!(
        people(&desk.facts().orders),
        people(&before),
        "and they are sent again"
    );
}

// Rule 12: aftercare.

#[test]
fn a_first_aider_with_an_aed_goes_to_the_landing_place_with_the_first_orders() {
    let desk = silo3(Condition::Talking);
    let facts = desk.facts();
    let aid = facts
        .orders
        .iter()
        .find(|o| o.posting.role == Posting::FIRST_AID)
        .expect("somebody is sent");
    let position = facts.position().expect("it is known");
    assert_eq!(aid.posting.place, position.landing);
    assert!(
        aid.posting
            .kit
            .as_deref()
            .is_some_and(|kit| kit.contains("AED")),
        "{aid:?}"
    );
    let first = facts.orders.iter().map(|o| o.at).min();
    assert_eq!(Some(aid.at), first);
}

#[test]
fn after_the_release_somebody_looks_every_minute_and_again_after_five() {
    let mut desk = silo3(Condition::Talking);
    desk.act(Act::OffHarness);
    desk.act(Act::AtLanding);
    for item in [
        Aftercare::SafeHere,
        Aftercare::LayFlat,
        Aftercare::Bleeding,
        Aftercare::Airway,
        Aftercare::Breathing,
        Aftercare::LoosenWarm,
        Aftercare::NeverAlone,
        Aftercare::Doctor,
    ] {
        desk.act(Act::Care(item, true));
    }
    assert_eq!(desk.text(), "Check the casualty every minute.");
    desk.effects.clear();
    desk.pass(59_000);
    assert!(!desk.effects.contains(&Effect::Play(Cue::CheckDue)));
    desk.pass(1_000);
    assert!(
        desk.effects.contains(&Effect::Play(Cue::CheckDue)),
        "a minute has gone by"
    );
    desk.answer();
    desk.pass(60_000);
    assert_eq!(came_due(&desk, Due::CareCheck).len(), 2);
    // Rauch et al. 2019, Eur. J. Appl. Physiol. 119:1353-1365: normal again within 5 min lying flat; so it is looked at then.
    desk.pass(300_000);
    assert_eq!(desk.text(), "Look again: as well as it seemed?");
    desk.answer();
    assert_eq!(desk.text(), "Check the casualty every minute.");
}

#[test]
fn the_plans_own_first_aid_text_stands_under_the_built_in_questions() {
    let plan =
        format!("{DEMO}\n[first_aid]\nlines = [\"blanket first\"]\nsource = \"works doctor\"\n");
    let plan = if DEMO.contains("[first_aid]") {
        DEMO.to_owned()
    } else {
        plan
    };
    let mut desk = at_work(&plan, "silo3", Condition::Talking);
    let own = desk
        .facts()
        .opened
        .as_ref()
        .and_then(|o| o.plan.first_aid.as_ref())
        .and_then(|it| it.lines.first().cloned())
        .expect("the plan has such a text");
    desk.act(Act::OffHarness);
    desk.act(Act::AtLanding);
    let lines: Vec<String> = desk
        .prompt()
        .lines
        .iter()
        .map(|l| l.text(Language::English))
        .collect();
    assert_eq!(lines[0], "First the plan's own text:");
    assert!(lines.contains(&own), "{lines:?}");
}

// Rule 13: stand-down.

#[test]
fn what_was_loaded_is_listed_withdrawn_and_written_down() {
    let mut desk = silo3(Condition::Talking);
    desk.act(Act::GoStraight("boom-lift".to_owned()));
    for _ in 0..40 {
        if desk.facts().casualty().off.is_some() {
            break;
        }
        desk.act(Act::Report(Condition::Talking));
        desk.pass(1_000);
        desk.answer();
    }
    let pieces = loaded(desk.facts());
    // 29 CFR 1926.502(d)(19): what arrested a fall is out of service until a competent person has inspected it.
    for piece in ["harness of the casualty", "boom lift 1", "basket ring 1"] {
        assert!(pieces.iter().any(|it| it == piece), "{piece} of {pieces:?}");
    }
    assert!(
        !pieces.iter().any(|it| it.contains("adder")),
        "the ladder was never hung: {pieces:?}"
    );
    desk.act(Act::BeginClosing);
    desk.answer();
    desk.answer();
    desk.act(Act::HandOver(1, CareTaker::Ambulance));
    let shown: Vec<String> = desk
        .prompt()
        .lines
        .iter()
        .map(|l| l.text(Language::English).to_lowercase())
        .collect();
    assert_eq!(shown.len(), pieces.len());
    desk.answer();
    let written = desk.records.iter().find_map(|r| match &r.event {
        Event::KitWithdrawn { pieces } => Some(pieces.clone()),
        _ => None,
    });
    assert_eq!(written, Some(pieces));
}

#[test]
fn whoever_takes_the_casualty_hears_how_long_and_how_they_hung() {
    let mut desk = silo3(Condition::NotAnswering);
    desk.act(Act::Note(Note::ReliefStraps));
    desk.pass(60_000);
    desk.act(Act::OffHarness);
    let lines: Vec<String> = handover(desk.facts().case())
        .iter()
        .map(|l| l.text(Language::English))
        .collect();
    // Age, time, mechanism, injuries, signs, treatment: the order in which ambulance crews ask; a trade term, no source.
    let order = ["A: ", "T: fell", "M: ", "I: ", "S: ", "T: treatment"];
    let places: Vec<Option<usize>> = order
        .iter()
        .map(|it| lines.iter().position(|line| line.starts_with(it)))
        .collect();
    assert!(
        places.iter().all(Option::is_some) && places.is_sorted(),
        "{lines:?}"
    );
    let told = |text: &str| lines.iter().any(|it| it.contains(text));
    assert!(told("M: fell into the harness, hung 1:"), "{lines:?}");
    assert!(told("S: did not answer while hanging."), "{lines:?}");
    assert!(told("Stands in relief straps"), "{lines:?}");
    // What nobody said is not made up.
    for silent in [
        "Age, sex: not reported",
        "injuries not reported",
        "Breathing: not reported",
        "treatment not reported",
    ] {
        assert!(
            told(silent) || silent.starts_with("Age") && told("age, sex: not reported"),
            "{silent}: {lines:?}"
        );
    }
    desk.act(Act::Care(Aftercare::LayFlat, true));
    desk.act(Act::Care(Aftercare::Breathing, true));
    let later: Vec<String> = handover(desk.facts().case())
        .iter()
        .map(|l| l.text(Language::English))
        .collect();
    assert!(
        later.iter().any(|it| it.starts_with("Laid flat, ")),
        "{later:?}"
    );
    assert!(
        later.iter().any(|it| it.starts_with("Breathing, ")),
        "{later:?}"
    );
}

// Rule 14: command.

/// Read aloud at 150 words a minute (common practice, no source) 20 seconds are 50 words.
#[test]
fn the_brief_of_whoever_takes_command_is_read_in_twenty_seconds() {
    for condition in [Condition::Talking, Condition::NotAnswering] {
        let mut desk = silo3(condition);
        desk.pass(180_000);
        desk.act(Act::TakeCommand);
        assert_eq!(desk.text(), "You are in command.");
        for language in Language::ALL_SPOKEN {
            let lines: Vec<String> = brief(desk.facts(), desk.at())
                .iter()
                .map(|l| l.text(language))
                .collect();
            let words: usize = lines.iter().map(|l| l.split_whitespace().count()).sum();
            assert!(words <= 50, "{words} words: {lines:?}");
        }
        desk.answer();
        assert_eq!(desk.text(), "Who is in command now?");
        desk.choose("Ines");
        assert_eq!(desk.facts().command.by.as_deref(), Some("ines"));
        assert!(desk.facts().order_of("ines").is_none(), "others can do it");
    }
}

#[test]
fn a_note_never_stops_or_slows_the_clock() {
    let mut desk = silo3(Condition::Talking);
    for note in [Note::ReliefStraps, Note::LegsRaised, Note::Foothold] {
        let before = desk.hanging_ms();
        desk.act(Act::Note(note));
        desk.pass(10_000);
        assert_eq!(desk.hanging_ms(), before + 10_000, "{note:?}");
    }
}

#[test]
fn another_language_changes_the_words_and_nothing_else() {
    let mut desk = silo3(Condition::Talking);
    let mut before = desk.facts().clone();
    let english = desk.text();
    desk.tap(Tap::Speak {
        language: Language::Spanish,
    });
    let asked = desk.prompt().message;
    assert_eq!(asked.text(Language::English), english, "the same prompt");
    let mut after = desk.facts().clone();
    for facts in [&mut before, &mut after] {
        facts.opened.as_mut().expect("it is open").language = Language::English;
        facts.shown = None;
        facts.untouched = None;
        facts.line = Default::default();
    }
    assert_eq!(before, after);
    desk.assert_replays();
}

#[test]
fn the_change_by_time_is_said_before_it_comes_and_the_target_when_it_has_gone_by() {
    let mut desk = silo3(Condition::Talking);
    let change_by = desk.facts().running().expect("a method runs").change_by;
    let mut left = change_by.0 - desk.at().0 - 30_000;
    while left > 0 {
        desk.act(Act::Report(Condition::Talking));
        let step = left.min(50_000);
        desk.pass(step);
        left -= step;
    }
    assert!(desk.effects.contains(&Effect::Play(Cue::ChangeNear)));
    assert!(!desk.effects.contains(&Effect::Play(Cue::ChangeNow)));
    // Hsiao et al. 2012, Human Factors 54(3):346-357: the plan's target is 9 min unless it says otherwise.
    while desk.hanging_ms() < 541_000 {
        desk.act(Act::Report(Condition::Talking));
        desk.pass(10_000);
    }
    assert_eq!(came_due(&desk, Due::PastTarget).len(), 1);
    assert!(desk.effects.contains(&Effect::Play(Cue::PastTarget)));
    let main = desk.prompt().main.as_ref().map(said);
    assert!(main.is_some(), "past the target the rescue goes on");
}

/// A journal that cannot be written is heard, once, and the rescue goes on.
#[test]
fn a_record_that_cannot_be_saved_is_heard() {
    use groundward::signal::{Input, JournalReport};
    let mut desk = silo3(Condition::Talking);
    let incident = desk.records[0].incident.to_string();
    desk.effects.clear();
    for _ in 0..3 {
        desk.take(Input::Journal(JournalReport::Failing {
            incident: incident.clone(),
            why: "no room".to_owned(),
        }));
    }
    let heard = |e: &&Effect| **e == Effect::Play(Cue::CannotSave);
    assert_eq!(desk.effects.iter().filter(heard).count(), 1);
    desk.pass(1_000);
    desk.answer();
}
