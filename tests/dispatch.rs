//! Holds the rules of orders: who is sent when, what is said over the radio, what changes when somebody is lost.

use crate::desk::Desk;
use groundward::cue::Cue;
use groundward::incident::{Act, Condition, Event, Given, Order, Report, Teller, to_say};
use groundward::plan::{DEMO, DEMO_BRIDGE, Plan};
use groundward::readiness::Posting;
use groundward::review;
use groundward::signal::Effect;
use groundward::units::{Millis, Speed};
use groundward::words::Language;
use std::collections::BTreeSet;

/// A desk at which somebody hangs on the east hatch of silo 3, nothing answered yet.
fn hanging() -> Desk {
    let mut desk = Desk::demo();
    desk.hang(Some("silo3"));
    desk
}

/// The same with the place safe, the call made and the casualty talking, so that the first method runs.
fn at_work() -> Desk {
    let mut desk = hanging();
    for act in [
        Act::SaySafe,
        Act::CallMade,
        Act::OthersStopped,
        Act::HazardSafe("dust-fan".to_owned()),
        Act::Report(Condition::Talking),
    ] {
        desk.act(act);
    }
    desk.pass(1_000);
    assert_eq!(runs(&desk), "self");
    desk
}

fn runs(desk: &Desk) -> String {
    let running = desk.facts().running();
    running.map_or_else(String::new, |it| it.method.clone())
}

fn plan(desk: &Desk) -> &Plan {
    &desk.facts().opened.as_ref().expect("it is open").plan
}

fn order<'d>(desk: &'d Desk, responder: &str) -> Option<&'d Order> {
    desk.facts().order_of(responder)
}

fn of_role<'d>(desk: &'d Desk, method: &str, role: &str) -> Option<&'d Order> {
    let mut orders = desk.facts().orders.iter();
    orders.find(|it| it.method == method && it.posting.role == role)
}

fn words(desk: &Desk) -> String {
    to_say(desk.facts()).map_or_else(String::new, |it| it.text(Language::English))
}

/// Says everything that is to be said for the first time; the answer is what was said.
fn say_all(desk: &mut Desk) -> Vec<String> {
    let mut said = Vec::new();
    while let Some(words) = to_say(desk.facts()).filter(|it| it.again.is_none()) {
        said.push(words.text(Language::English));
        desk.act(Act::Said(words.orders));
        assert!(said.len() < 20, "it never ends: {said:?}");
    }
    said
}

/// Orders in the record since it had so many lines: who, and what stood before.
fn given(desk: &Desk, from: usize) -> Vec<(&Posting, &[Given])> {
    desk.records[from..]
        .iter()
        .filter_map(|it| match &it.event {
            Event::OrderGiven {
                posting, instead, ..
            }
            | Event::TaskGiven { posting, instead } => Some((posting, instead.as_slice())),
            _ => None,
        })
        .collect()
}

#[test]
fn the_standing_roles_are_sent_as_soon_as_the_place_is_known() {
    let desk = hanging();
    for role in [Posting::FIRST_AID, Posting::TALKER, Posting::GUIDE] {
        assert!(of_role(&desk, "", role).is_some(), "nobody is {role}");
    }
    let guide = of_role(&desk, "", Posting::GUIDE).expect("it was just there");
    assert_eq!(
        Some(&guide.posting.place),
        plan(&desk).site.meeting_place.as_ref()
    );
    let talker = of_role(&desk, "", Posting::TALKER).expect("it was just there");
    let position = plan(&desk).position("silo3").expect("it is in the plan");
    assert_eq!(talker.posting.place, position.approach, "and not past it");
    let aider = of_role(&desk, "", Posting::FIRST_AID).expect("it was just there");
    assert_eq!(aider.posting.place, position.landing);
    assert!(
        aider
            .posting
            .kit
            .as_deref()
            .is_some_and(|it| it.contains("AED")),
        "{:?}",
        aider.posting.kit
    );
}

#[test]
fn those_who_stand_ready_for_later_methods_are_sent_with_the_first_orders() {
    let desk = at_work();
    let facts = desk.facts();
    let methods: BTreeSet<&str> = facts.orders.iter().map(|it| it.method.as_str()).collect();
    assert!(
        methods.contains("self") && methods.contains("ladder") && methods.contains("boom-lift"),
        "{methods:?}"
    );
    let people: BTreeSet<&str> = facts
        .orders
        .iter()
        .map(|it| it.posting.responder.as_str())
        .collect();
    assert_eq!(people.len(), facts.orders.len(), "nobody is on two orders");
    for order in &facts.orders {
        let way = &order.posting.way;
        let last = way.last().expect("an order in an incident has its way");
        assert_eq!(
            (&last.0, last.1),
            (&order.posting.place, order.posting.travel_ms)
        );
        for pair in way.windows(2) {
            assert!(pair[0].1 <= pair[1].1, "time goes on along {way:?}");
            let links = plan(&desk).links.iter();
            let mut links = links.filter(|it| {
                [&it.from, &it.to] == [&pair[0].0, &pair[1].0]
                    || [&it.to, &it.from] == [&pair[0].0, &pair[1].0]
            });
            assert!(links.next().is_some(), "nothing joins {pair:?}");
        }
    }
}

#[test]
fn a_broadcast_has_twenty_words_and_the_first_says_where() {
    let mut desk = at_work();
    let first = words(&desk);
    assert!(
        first.starts_with("Silo 3 roof, east hatch, person hanging."),
        "{first}"
    );
    let prompt = desk.prompt();
    let said = say_all(&mut desk);
    assert!(said.len() > 1, "{said:?}");
    for words in &said {
        assert!(words.split_whitespace().count() <= 20, "{words}");
        assert!(
            !words.contains("hanging") || *words == first,
            "it is said once where: {words}"
        );
    }
    assert_eq!(desk.prompt(), prompt, "saying it holds up nothing");
    // Everybody who was sent was named once.
    let all = said.join(" ");
    for order in &desk.facts().orders {
        let name = desk.facts().name(&order.posting.responder);
        assert_eq!(all.matches(&format!("{name} ")).count(), 1, "{name}: {all}");
        assert!(order.said.is_some());
    }
    // The crew of the method that runs comes first.
    let runs = of_role(&desk, "self", "helper").or_else(|| {
        let mut orders = desk.facts().orders.iter();
        orders.find(|it| it.method == "self")
    });
    let name = desk
        .facts()
        .name(&runs.expect("it has a crew").posting.responder);
    assert!(first.contains(name), "{first}");
    desk.assert_replays();
}

#[test]
fn spanish_words_keep_to_twenty_too() {
    let mut desk = at_work();
    desk.act(Act::Speak(Language::Spanish));
    while let Some(words) = to_say(desk.facts()).filter(|it| it.again.is_none()) {
        let text = words.text(Language::Spanish);
        assert!(
            text.split_whitespace().count() <= 20 || words.orders.len() == 1,
            "{text}"
        );
        desk.act(Act::Said(words.orders));
    }
}

#[test]
fn an_order_that_nobody_answers_sounds_once_and_is_said_again_for_that_person() {
    let mut desk = at_work();
    say_all(&mut desk);
    assert_eq!(words(&desk), "");
    let answer = desk.facts().policy().order_answer;
    let people: Vec<String> = desk
        .facts()
        .orders
        .iter()
        .map(|it| it.posting.responder.clone())
        .collect();
    for id in &people[1..] {
        desk.act(Act::Responder(id.clone(), Report::Heard));
    }
    let prompt = desk.prompt();
    desk.effects.clear();
    desk.pass(answer.0 - 1_000);
    let cue = Effect::Play(Cue::OrderUnanswered);
    assert!(!desk.effects.contains(&cue), "not before its time");
    desk.pass(2_000);
    assert_eq!(desk.effects.iter().filter(|it| **it == cue).count(), 1);
    let again = to_say(desk.facts()).expect("it is to be said again");
    assert_eq!(again.again.as_ref(), Some(&people[0]));
    let name = desk.facts().name(&people[0]);
    assert!(words(&desk).starts_with(name), "{}", words(&desk));
    assert_eq!(desk.prompt().message, prompt.message, "it blocks nothing");
    desk.effects.clear();
    desk.pass(answer.0 * 2);
    assert!(
        !desk.effects.contains(&cue),
        "one unanswered order sounds once"
    );
    desk.act(Act::Responder(people[0].clone(), Report::OnTheWay));
    assert_eq!(words(&desk), "");
    desk.assert_replays();
}

#[test]
fn whoever_drops_out_is_replaced_and_nobody_else_hears_anything_new() {
    let mut desk = at_work();
    say_all(&mut desk);
    desk.pass(20_000);
    let before = desk.facts().orders.clone();
    let ladder = of_role(&desk, "ladder", "ladder-hand")
        .or_else(|| before.iter().find(|it| it.method == "ladder"))
        .expect("somebody stands ready for the ladder")
        .clone();
    let lost = ladder.posting.responder.clone();
    let from = desk.records.len();
    desk.act(Act::Responder(lost.clone(), Report::Cannot));
    assert!(order(&desk, &lost).is_none());
    let new = given(&desk, from);
    let taken: Vec<_> = new
        .iter()
        .filter(|(posting, _)| posting.role == ladder.posting.role)
        .collect();
    if let [(posting, instead)] = taken[..] {
        assert_ne!(posting.responder, lost);
        assert!(
            instead
                .iter()
                .any(|it| it.method == "ladder" && it.posting == ladder.posting),
            "the record has what stood before: {instead:?}"
        );
        let name = desk.facts().name(&posting.responder).to_owned();
        assert!(words(&desk).contains(&name), "{}", words(&desk));
        assert!(words(&desk).contains("Change:"), "{}", words(&desk));
    } else {
        assert!(taken.is_empty(), "{taken:?}");
        let ladder = desk.facts().method("ladder").expect("it is in the plan");
        let verdict = desk.facts().case().verdict(ladder);
        assert!(
            verdict.reason().is_some(),
            "nobody is left, and that is said"
        );
    }
    // Nobody was exchanged for the sake of a few seconds.
    let needed: BTreeSet<&str> = new.iter().map(|(it, _)| it.responder.as_str()).collect();
    for order in before.iter().filter(|it| it.posting.responder != lost) {
        let id = order.posting.responder.as_str();
        let now = desk.facts().order_of(id);
        assert!(
            now == Some(order) || needed.contains(id) || now.is_none(),
            "{id} changed without a word"
        );
    }
    assert!(needed.len() <= 2, "{needed:?} for one who dropped out");
    desk.assert_replays();
}

#[test]
fn nothing_reported_changes_nothing() {
    let mut desk = at_work();
    let before = desk.facts().orders.clone();
    say_all(&mut desk);
    for order in &before {
        desk.act(Act::Responder(
            order.posting.responder.clone(),
            Report::OnTheWay,
        ));
    }
    let from = desk.records.len();
    desk.pass(40_000);
    assert!(given(&desk, from).is_empty(), "{:?}", given(&desk, from));
    let whom = |orders: &[Order]| -> Vec<(String, Posting)> {
        let both = orders.iter();
        both.map(|it| (it.method.clone(), it.posting.clone()))
            .collect()
    };
    assert_eq!(whom(&desk.facts().orders), whom(&before));
}

#[test]
fn whoever_finds_no_kit_is_sent_elsewhere_and_the_record_has_both() {
    let mut desk = at_work();
    say_all(&mut desk);
    desk.pass(3_000);
    let mut orders = desk.facts().orders.iter();
    let lift = orders
        .find(|it| it.method == "ladder" && it.posting.kit.is_some())
        .expect("somebody brings a ladder")
        .clone();
    let station = lift.posting.station.clone().expect("it is kept somewhere");
    let kept = plan(&desk).station(&station).expect("it is in the plan");
    let item = kept
        .kit
        .iter()
        .find(|it| Some(&it.name) == lift.posting.kit.as_ref());
    let kind = item.expect("it is kept there").kind.clone();
    desk.act(Act::KitGone {
        kit: kind.clone(),
        station: station.clone(),
        by: Some(lift.posting.responder.clone()),
    });
    for order in &desk.facts().orders {
        let same = order.posting.station.as_ref() == Some(&station)
            && order.posting.kit == lift.posting.kit;
        assert!(!same, "{:?} is still to bring it", order.posting);
    }
    let method = desk.facts().method("ladder").expect("it is in the plan");
    let verdict = desk.facts().case().verdict(method);
    assert!(
        verdict.is_out() || of_role(&desk, "ladder", &lift.posting.role).is_some(),
        "there is another ladder, or the method is out: {verdict:?}"
    );
    desk.assert_replays();
}

#[test]
fn a_blocked_way_sends_people_another_way_and_nobody_over_it() {
    let mut desk = at_work();
    say_all(&mut desk);
    desk.pass(4_000);
    let passes = |way: &[groundward::readiness::Passing]| {
        way.windows(2).any(|pair| {
            let ends = [pair[0].0.as_str(), pair[1].0.as_str()];
            ends == ["yard", "silo-foot"] || ends == ["silo-foot", "yard"]
        })
    };
    let over = |desk: &Desk| -> Vec<String> {
        let orders = desk.facts().orders.iter();
        let over = orders.filter(|it| it.there.is_none() && passes(&it.posting.way));
        over.map(|it| it.posting.responder.clone()).collect()
    };
    assert!(!over(&desk).is_empty(), "somebody goes that way");
    let from = desk.records.len();
    desk.act(Act::BlockWay("yard-silo".to_owned()));
    assert!(over(&desk).is_empty(), "{:?}", over(&desk));
    assert!(
        given(&desk, from).iter().all(|(it, _)| !passes(&it.way)),
        "{:?}",
        given(&desk, from)
    );
    desk.act(Act::OpenWay("yard-silo".to_owned()));
    assert!(desk.facts().blocked.is_empty());
    desk.assert_replays();
}

#[test]
fn naming_the_casualty_takes_them_off_every_order_and_fills_what_they_leave() {
    let mut desk = at_work();
    let lift = desk
        .facts()
        .orders
        .iter()
        .find(|it| it.method == "boom-lift" && it.posting.kit.is_some())
        .expect("somebody brings the lift")
        .posting
        .responder
        .clone();
    desk.act(Act::NameCasualty(Some(lift.clone())));
    assert!(order(&desk, &lift).is_none());
    assert!(
        desk.facts()
            .orders
            .iter()
            .all(|it| it.posting.responder != lift)
    );
    desk.assert_replays();
}

#[test]
fn off_the_harness_sends_those_home_who_stood_ready_and_keeps_those_who_bring_down() {
    let mut desk = at_work();
    say_all(&mut desk);
    let staged: Vec<String> = desk
        .facts()
        .orders
        .iter()
        .filter(|it| !it.method.is_empty() && it.method != "self")
        .map(|it| it.posting.responder.clone())
        .collect();
    let before = desk.facts().orders.clone();
    assert!(staged.len() > 1);
    desk.act(Act::OffHarness);
    for id in &staged {
        assert!(order(&desk, id).is_none(), "{id} stands by");
    }
    for method in ["self", ""] {
        let kept = before.iter().filter(|it| it.method == method);
        for order in kept.filter(|it| it.posting.role != Posting::TALKER) {
            assert!(
                desk.facts().order_of(&order.posting.responder).is_some(),
                "{:?} goes on",
                order.posting
            );
        }
    }
    let said = say_all(&mut desk).join(" ");
    for id in &staged {
        let name = desk.facts().name(id);
        assert!(
            said.contains(&format!("{name} stand by.")),
            "{name}: {said}"
        );
    }
    // It was a slip: everybody is where they were.
    desk.act(Act::StillHanging);
    let back: BTreeSet<&str> = desk
        .facts()
        .orders
        .iter()
        .map(|it| it.posting.responder.as_str())
        .collect();
    for id in &staged {
        assert!(back.contains(id.as_str()), "{id} is on the order again");
    }
    desk.assert_replays();
}

#[test]
fn a_method_that_cannot_work_any_more_frees_those_who_stood_ready_for_it() {
    let mut desk = at_work();
    let lift = |desk: &Desk| {
        let orders = desk.facts().orders.iter();
        orders.filter(|it| it.method == "boom-lift").count()
    };
    assert!(lift(&desk) > 0);
    desk.act(Act::Wind(Speed(20_000)));
    assert_eq!(lift(&desk), 0, "no lift in this wind");
    desk.act(Act::Wind(Speed(2_000)));
    assert!(lift(&desk) > 0, "the wind dropped");
}

#[test]
fn until_it_is_safe_the_lift_waits_below_and_whoever_goes_near_waits_at_the_approach_point() {
    let mut desk = hanging();
    desk.act(Act::Report(Condition::Talking));
    desk.pass(1_000);
    let position = plan(&desk).position("silo3").expect("it is there").clone();
    assert!(!desk.facts().may_go_near());
    for order in desk
        .facts()
        .orders
        .iter()
        .filter(|it| !it.method.is_empty())
    {
        let method = position.methods.iter().find(|it| it.id == order.method);
        let near = method.expect("it is there").goes_near(&order.posting.role);
        let waits = [&position.approach, &position.landing];
        let station = order.posting.station.as_ref();
        let at_station = station
            .and_then(|id| plan(&desk).station(id))
            .is_some_and(|it| it.place == order.posting.place);
        assert!(
            !near || waits.contains(&&order.posting.place) || at_station,
            "{:?}",
            order.posting
        );
        assert_ne!(
            (order.method.as_str(), order.posting.place.as_str()),
            ("boom-lift", "roof-stair"),
            "no lift is driven up to the roof"
        );
    }
    // Once it is safe only the rest of the way is left.
    say_all(&mut desk);
    let waiting: Vec<Order> = desk.facts().orders.clone();
    desk.act(Act::SaySafe);
    desk.act(Act::HazardSafe("dust-fan".to_owned()));
    let on: Vec<&Order> = desk
        .facts()
        .orders
        .iter()
        .filter(|it| waiting.iter().all(|before| before.number != it.number))
        .collect();
    assert!(!on.is_empty(), "somebody was sent on");
    for order in on {
        let before = waiting
            .iter()
            .find(|it| it.posting.responder == order.posting.responder)
            .expect("who waited goes on");
        let rest = plan(&desk)
            .links
            .iter()
            .find(|it| it.from == before.posting.place && it.to == order.posting.place);
        if let Some(link) = rest {
            let alone = groundward::plan::link_time(link, &plan(&desk).policy, true);
            assert!(
                order.posting.travel_ms <= alone.0 + before.posting.travel_ms,
                "{:?}",
                order.posting
            );
        }
        assert!(words(&desk).contains("on to"), "{}", words(&desk));
    }
}

#[test]
fn nobody_is_near_a_live_supply_and_its_kit_stays_where_it_is_kept() {
    // Every place of both demonstration sites at which a supply can kill.
    for text in [DEMO, DEMO_BRIDGE] {
        let reading = groundward::plan::read_on("plan", text.as_bytes(), crate::support::day());
        let all = reading.plan.expect("it is fit").positions;
        let live = all.iter().filter(|it| {
            let mut hazards = it.hazards.iter();
            hazards.any(|it| it.kind == groundward::plan::HazardKind::Electric)
        });
        for position in live {
            let mut desk = Desk::with(text);
            desk.hang(Some(&position.id));
            desk.act(Act::Report(Condition::Talking));
            desk.pass(3_000);
            assert!(desk.facts().touch_nothing());
            for order in desk
                .facts()
                .orders
                .iter()
                .filter(|it| !it.method.is_empty())
            {
                let method = position.methods.iter().find(|it| it.id == order.method);
                let near = method.expect("it is there").goes_near(&order.posting.role);
                let plan = plan(&desk);
                let kept = order
                    .posting
                    .station
                    .as_ref()
                    .and_then(|id| plan.station(id));
                let stays = order.posting.place == position.approach
                    || kept.is_some_and(|it| it.place == order.posting.place);
                assert!(!near || stays, "{}: {:?}", position.id, order.posting);
            }
        }
    }
}

#[test]
fn a_rescuer_who_falls_is_on_no_order_and_everything_is_planned_again() {
    let mut desk = at_work();
    let fallen = desk.facts().orders[0].posting.responder.clone();
    desk.act(Act::RescuerDown(fallen.clone()));
    assert!(order(&desk, &fallen).is_none());
    assert_eq!(desk.facts().casualties.len(), 2);
    let people: Vec<&str> = desk
        .facts()
        .orders
        .iter()
        .map(|it| it.posting.responder.as_str())
        .collect();
    let once: BTreeSet<&&str> = people.iter().collect();
    assert_eq!(once.len(), people.len());
    desk.assert_replays();
}

#[test]
fn somebody_late_is_planned_from_where_they_began() {
    let mut desk = at_work();
    say_all(&mut desk);
    desk.pass(30_000);
    let order = desk
        .facts()
        .orders
        .iter()
        .filter(|it| !it.method.is_empty())
        .max_by_key(|it| it.posting.travel_ms)
        .expect("somebody is on the way")
        .clone();
    let id = order.posting.responder.clone();
    let from = desk.records.len();
    desk.act(Act::Responder(id.clone(), Report::Late));
    let adopted = desk.records[from..]
        .iter()
        .any(|it| matches!(it.event, Event::ForecastAdopted { .. }));
    assert!(adopted, "it is planned again");
    assert!(desk.facts().late.contains(&id) || desk.facts().order_of(&id) != Some(&order));
    desk.act(Act::Responder(id.clone(), Report::There));
    assert!(!desk.facts().late.contains(&id));
}

#[test]
fn how_long_orders_took_to_pass_on_is_in_the_review() {
    let mut desk = at_work();
    assert_eq!(review::passing(&desk.records), None);
    desk.pass(7_000);
    let said = to_say(desk.facts()).expect("something is to be said");
    let count = said.orders.len();
    let waited: Vec<i64> = desk
        .facts()
        .orders
        .iter()
        .filter(|it| said.orders.contains(&it.number))
        .map(|it| desk.at().0 - it.at.0)
        .collect();
    let somebody = desk
        .facts()
        .orders
        .iter()
        .find(|it| said.orders.contains(&it.number))
        .map(|it| it.posting.responder.clone());
    desk.act(Act::Said(said.orders));
    desk.act(Act::Responder(
        somebody.expect("an order was said"),
        Report::Heard,
    ));
    let passing = review::passing(&desk.records).expect("orders were said");
    assert_eq!((passing.said, passing.answered), (count, 1));
    assert_eq!(Some(passing.slowest), waited.into_iter().max().map(Millis));
}

#[test]
fn who_said_when_help_comes_is_kept() {
    let mut desk = hanging();
    desk.act(Act::HelpIn(Millis::from_seconds(480), Teller::Coming));
    assert_eq!(desk.facts().outside.said_by, Some(Teller::Coming));
    let lines = review::lines(&desk.records, Language::English);
    let last = lines
        .iter()
        .rev()
        .find(|it| !it.inner)
        .expect("there is one");
    assert_eq!(last.text, "Help expected in 8:00, says the crew on its way");
}

#[test]
fn an_order_for_nobody_there_is_refused() {
    let mut desk = at_work();
    let from = desk.records.len();
    desk.act(Act::Said(vec![9_999]));
    desk.act(Act::Responder("nobody".to_owned(), Report::There));
    desk.act(Act::BlockWay("no-such-way".to_owned()));
    desk.act(Act::OpenWay("yard-silo".to_owned()));
    let idle = desk
        .facts()
        .free_people()
        .into_iter()
        .find(|id| desk.facts().order_of(id).is_none());
    if let Some(idle) = idle {
        desk.act(Act::Responder(idle, Report::Heard));
    }
    assert_eq!(desk.records.len(), from, "none of it leaves a trace");
}
