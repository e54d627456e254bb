//! Keeps what the simulator and its storms found, each as a short story that fails without its mending.

use crate::desk::Desk;
use crate::record::lying::{Fault, LyingDisk, Tear};
use groundward::engine::Engine;
use groundward::incident::{Act, Event, Record, Report};
use groundward::journal::chain::{Chain, FIRST_PREV};
use groundward::journal::read::{self, Readback};
use groundward::journal::writer::Writer;
use groundward::readiness::{Declare, Forecast};
use groundward::signal::{Entry, Input, Saved, Tap};
use std::path::{Path, PathBuf};
use std::sync::Arc;

const INCIDENT: &str = "20261125T183012Z-4f2a";

fn folders() -> [PathBuf; 1] {
    [PathBuf::from("journals")]
}

fn entry(seq: u64, text_bytes: usize) -> Entry {
    let text = "x".repeat(text_bytes);
    let json = format!(r#"{{"v":1,"seq":{seq},"kind":"noted","body":{{"text":"{text}"}}}}"#);
    Entry { seq, json }
}

/// Two records whose lines end just here.
fn two_records(end: usize) -> Vec<u8> {
    let seal = |second: usize| {
        let mut chain = Chain::after(FIRST_PREV);
        let lines = [chain.seal(&entry(0, 5)), chain.seal(&entry(1, second))];
        lines.join("\n").into_bytes()
    };
    let short = seal(0).len() + 1;
    let lines = [seal(end - short), b"\n".to_vec()].concat();
    assert_eq!(lines.len(), end);
    lines
}

fn read_file(data: &[u8]) -> Readback {
    let disk = LyingDisk::default();
    disk.place(
        &Path::new("journals").join(format!("{INCIDENT}.jsonl")),
        data,
    );
    read::read(&disk, &folders(), INCIDENT).expect("there is a file")
}

#[track_caller]
fn is_torn(data: &[u8]) {
    let found = read_file(data);
    assert_eq!(found.problems, []);
    assert_eq!((found.records.len(), found.torn().count()), (2, 1));
    assert!(!found.closed);
}

/// The file grew, a power cut let only its length arrive and the last byte of the padding: one newline at the end looked
/// like the end of a closed file, and the hole before it like damage.
#[test]
fn padding_that_was_torn_behind_its_beginning_is_no_alteration() {
    let rows: [&[u8]; 4] = [&two_records(700), &[b'\n'; 324], &[0; 512], b"\n"];
    is_torn(&rows.concat());
}

/// Of the padding all but the last byte of a sector arrived, and that byte stands right behind the last record.
#[test]
fn a_hole_of_one_byte_behind_the_last_record_is_no_alteration() {
    let rows: [&[u8]; 3] = [&two_records(1_023), &[0], &[b'\n'; 512]];
    is_torn(&rows.concat());
}

/// Of a write only the first byte of its last sector arrived, and that byte is a newline with one bit changed.
#[test]
fn one_byte_where_a_sector_begins_may_be_all_that_arrived_of_a_write() {
    let rows: [&[u8]; 4] = [&two_records(700), &[b'\n'; 324], b"J", &[b'\n'; 511]];
    is_torn(&rows.concat());
    // Anywhere else it is a bit that changed.
    let rows: [&[u8]; 4] = [&two_records(700), &[b'\n'; 325], b"J", &[b'\n'; 510]];
    let found = read_file(&rows.concat());
    assert_eq!((found.problems.len(), found.torn().count()), (1, 0));
}

/// A disk that failed would not remove a file that it had begun, and the incident counted as open for ever after.
#[test]
fn a_file_that_could_not_be_removed_opens_no_closed_incident() {
    let disk = LyingDisk::default();
    let name = |end: &str| Path::new("journals").join(format!("{INCIDENT}{end}"));
    disk.place(&name(".jsonl"), &two_records(700));
    let closed = || {
        read::read(&disk, &folders(), INCIDENT)
            .expect("there is a file")
            .closed
    };
    assert!(closed());
    disk.place(&name(".2.jsonl"), &[b'\n'; 512]);
    assert!(closed());
    // Nor does one with a part of the records, as a write leaves that failed half-way.
    let half = [&two_records(700)[..420], &[b'\n'; 600]].concat();
    disk.place(&name(".3.jsonl"), &half);
    assert!(closed());
}

/// Padding whose sync failed was seen by the program that started again and was not on the disk. A record that a power cut
/// stopped there stood at the end of the file without padding, as in a closed file that was damaged.
#[test]
fn padding_that_was_only_in_memory_is_written_again_before_records_stand_in_it() {
    let dies = |fault_at: usize, cut: usize| {
        let disk = LyingDisk::default();
        disk.reserve(512);
        let held = || Arc::new(disk.clone());
        let mut writer =
            Writer::create(held(), folders().to_vec(), INCIDENT).expect("the name is good");
        assert!(writer.append(&[entry(0, 100)]).is_ok());
        disk.fail(Fault::EverySync);
        assert!(writer.append(&[entry(1, 300)]).is_err());
        drop(writer);
        // The program starts again, on a disk that is well again.
        disk.heal();
        let (mut writer, found) =
            Writer::resume(held(), folders().to_vec(), INCIDENT).expect("it is there");
        disk.fail(Fault::Stop(disk.calls() + fault_at));
        let seq = found.records.len() as u64;
        // It fits into the padding that is seen.
        let _ = writer.append(&[entry(seq, 300)]);
        let after = disk.after_power_cut(Tear::LastWriteTo(cut));
        read::read(&after, &folders(), INCIDENT)
            .expect("it is there")
            .problems
    };
    for fault_at in 1..6 {
        for cut in (0..1_000).step_by(32) {
            assert_eq!(
                dies(fault_at, cut),
                [],
                "stopped at call {fault_at}, cut at {cut}"
            );
        }
    }
}

/// What a file shows after a failed sync may be in memory only, and the screen called all of it saved after a restart.
#[test]
fn after_a_restart_nothing_counts_as_saved_before_the_journal_says_so() {
    let mut desk = Desk::demo();
    desk.hang(Some("silo3"));
    let plan = crate::simulate::world::demo();
    let (engine, _) = Engine::resume(plan, true, desk.records.clone(), &desk.now, 0);
    let saved = engine.snapshot(&desk.now).saved;
    assert!(
        !matches!(saved, Saved::Yes(_) | Saved::Saving(Some(_))),
        "{saved:?}"
    );
}

/// A power cut in the first write of an incident may leave a part of its records. Nobody was asked to call then.
#[test]
fn what_is_left_of_an_activation_goes_on_with_the_call() {
    let mut desk = Desk::demo();
    desk.hang(Some("silo3"));
    for left in 1..=3 {
        let records = desk.records[..left].to_vec();
        let plan = crate::simulate::world::demo();
        let (mut engine, _) = Engine::resume(plan, true, records, &desk.now, 0);
        assert_eq!(engine.state().facts.casualties.len(), 1, "{left} records");
        engine.handle(Input::Tap(Tap::Do(Act::SaySafe)), &desk.now);
        let shown = engine
            .state()
            .facts
            .shown
            .clone()
            .expect("a prompt is shown");
        assert!(
            shown.message.starts_with("call-"),
            "{left} records: {shown:?}"
        );
    }
}

/// Every slip that was taken back listed the visitors of the shift once more, because the records are folded again then.
#[test]
fn a_visitor_is_there_once_however_often_a_slip_is_taken_back() {
    let mut desk = Desk::demo();
    desk.tap(Tap::Declare(Declare::Visits("yard".to_owned())));
    desk.hang(Some("silo3"));
    for _ in 0..2 {
        desk.act(Act::SaySafe);
        let cause = desk
            .facts()
            .undo
            .clone()
            .expect("it can be taken back")
            .cause;
        desk.tap(Tap::Undo { cause });
    }
    let opened = desk.facts().opened.as_ref().expect("it is open");
    let visitors = &opened.visitors;
    let people = opened.plan.responders.iter();
    let listed = people.filter(|it| visitors.contains(&it.id)).count();
    assert_eq!((visitors.len(), listed), (1, 1));
    desk.assert_replays();
}

/// The demo site with a method running, and numbers changed by `change` before they come.
fn with_numbers(change: impl Fn(&mut Forecast)) -> Desk {
    numbered(Desk::demo(), change)
}

fn numbered(mut desk: Desk, change: impl Fn(&mut Forecast)) -> Desk {
    desk.hold_forecasts = true;
    desk.hang(Some("silo3"));
    desk.act(Act::SaySafe);
    desk.act(Act::Report(groundward::incident::Condition::Talking));
    numbers_come(&mut desk, change);
    desk.pass(3_000);
    desk
}

fn numbers_come(desk: &mut Desk, change: impl Fn(&mut Forecast)) {
    for input in std::mem::take(&mut desk.wanted) {
        if let Input::Forecast {
            basis,
            mut forecast,
        } = input
        {
            change(&mut forecast);
            desk.take(Input::Forecast { basis, forecast });
        }
    }
}

fn ordered(desk: &Desk) -> Vec<String> {
    let orders = desk.facts().orders.iter();
    orders.map(|it| it.posting.responder.clone()).collect()
}

/// Whatever the numbers say, nobody is ordered who is not of the plan or does not hold what the role asks for.
#[test]
fn numbers_that_name_the_wrong_person_order_nobody() {
    let right = ordered(&with_numbers(|_| ()));
    assert!(!right.is_empty(), "with right numbers somebody is ordered");
    let desk = with_numbers(|forecast| {
        let crews = forecast.methods.iter_mut().flat_map(|it| &mut it.crew);
        for posting in crews.chain(forecast.first_aider.as_deref_mut()) {
            posting.responder = "nobody".to_owned();
        }
        forecast.standing.clear();
    });
    assert_eq!(ordered(&desk), Vec::<String>::new());
    assert!(desk.shown().iter().all(|it| !it.contains("nobody")));
    // Roles are dealt out to people who do not hold them.
    let plan = groundward::plan::fit("demo", groundward::plan::DEMO).expect("the demo is fit");
    let desk = with_numbers(|forecast| {
        let people = plan.responders.iter().rev().cycle();
        let crews = forecast.methods.iter_mut().flat_map(|it| &mut it.crew);
        for (posting, person) in crews.zip(people) {
            posting.responder = person.id.clone();
        }
    });
    let plan = &desk.facts().opened.as_ref().expect("it is open").plan;
    for order in &desk.facts().orders {
        let method = desk.facts().method(&order.method);
        let role = method.and_then(|it| it.role(&order.posting.role));
        let needed = role.and_then(|it| it.qualification.as_ref());
        let person = plan
            .responder(&order.posting.responder)
            .expect("of the plan");
        assert!(needed.is_none_or(|it| person.holds(it)), "{order:?}");
    }
}

/// Two were to bring a piece of which there are two, went on because nobody had other numbers, and a third was sent for it.
#[test]
fn no_more_pieces_are_asked_for_than_there_are_while_orders_of_before_go_on() {
    let plan = groundward::plan::fit("demo", groundward::plan::DEMO).expect("the demo is fit");
    let kept = plan
        .stations
        .iter()
        .flat_map(|it| it.kit.iter().map(move |item| (it, item)));
    let two = kept
        .clone()
        .find(|(_, item)| item.count == 2 && item.in_service());
    let (station, item) = two.expect("the demo keeps two of something");
    let methods: Vec<String> = {
        let desk = with_numbers(|_| ());
        desk.facts()
            .methods()
            .iter()
            .map(|it| it.id.clone())
            .collect()
    };
    let mut most = 0;
    for (first, second) in methods
        .iter()
        .flat_map(|it| methods.iter().map(move |to| (it, to)))
    {
        // The crew of the first method brings it, and somebody else in the second; there is no third.
        let mut desk = with_numbers(|forecast| {
            let wanted = |id: &String| id == first || id == second;
            forecast.methods.retain(|it| wanted(&it.method));
            for method in &mut forecast.methods {
                method
                    .crew
                    .truncate(if method.method == *first { 2 } else { 1 });
                for posting in &mut method.crew {
                    posting.station = Some(station.id.clone());
                    posting.kit = Some(item.name.clone());
                }
            }
        });
        desk.act(Act::GoStraight(first.clone()));
        // Something was done in it, so that it counts as tried.
        desk.act(Act::StepDone);
        desk.act(Act::GoStraight(second.clone()));
        let orders = desk.facts().orders.iter();
        let asked = orders
            .filter(|it| it.posting.kit.as_ref() == Some(&item.name))
            .count();
        assert!(asked <= 2, "{asked} are to bring {}", item.name);
        most = most.max(asked);
    }
    assert_eq!(most, 2, "both pieces were asked for");
}

/// Somebody was said to be unable, another was sent for the same piece, and then that was taken back: both were to bring it.
#[test]
fn a_slip_that_is_taken_back_sends_nobody_for_a_piece_that_somebody_else_has() {
    let plan = groundward::plan::fit("demo", groundward::plan::DEMO).expect("the demo is fit");
    let lifts = plan
        .stations
        .iter()
        .flat_map(|it| it.kit.iter().map(move |item| (it, item)));
    let mut lifts = lifts.filter(|(_, item)| item.count == 1 && item.in_service());
    let (station, item) = lifts.next().expect("the demo keeps one of something");
    // The first of every crew brings it.
    let brings = |forecast: &mut Forecast| {
        for method in &mut forecast.methods {
            for (place, posting) in method.crew.iter_mut().enumerate() {
                posting.station = (place == 0).then(|| station.id.clone());
                posting.kit = (place == 0).then(|| item.name.clone());
            }
        }
    };
    let who = |desk: &Desk| {
        let orders = desk.facts().orders.iter();
        let brings = orders.filter(|it| it.posting.kit.as_ref() == Some(&item.name));
        brings
            .map(|it| it.posting.responder.clone())
            .collect::<Vec<_>>()
    };
    let mut desk = with_numbers(brings);
    let first = who(&desk);
    assert_eq!(first.len(), 1);
    desk.act(Act::Responder(first[0].clone(), Report::Cannot));
    let cause = desk
        .facts()
        .undo
        .clone()
        .expect("it can be taken back")
        .cause;
    numbers_come(&mut desk, brings);
    let second = who(&desk);
    assert_eq!(second.len(), 1);
    assert_ne!(first, second);
    desk.tap(Tap::Undo { cause });
    assert_eq!(who(&desk), second, "the newer order keeps it");
    desk.assert_replays();
}

/// Somebody on the way was sent over the same way again after it was said to be blocked, where something else was decided
/// before the numbers for that came.
#[test]
fn nobody_is_sent_again_over_a_way_that_is_blocked() {
    let mut desk = with_numbers(|_| ());
    let orders = &desk.facts().orders;
    let order = orders.iter().find(|it| it.posting.way.len() > 1);
    let way = order.expect("somebody is on a way").posting.way.clone();
    let ends = [&way[0].0, &way[1].0];
    let plan = desk
        .facts()
        .opened
        .as_ref()
        .expect("it is open")
        .plan
        .clone();
    let between = plan
        .links
        .iter()
        .filter(|it| ends == [&it.from, &it.to] || ends == [&it.to, &it.from]);
    for link in between {
        desk.act(Act::BlockWay(link.id.clone()));
    }
    let from = desk.records.len();
    // Each of these sends people on, with the numbers of before.
    desk.act(Act::Danger);
    desk.act(Act::DangerOver(None));
    let given = |it: &Record| match &it.event {
        Event::OrderGiven { posting, .. } | Event::TaskGiven { posting, .. } => {
            Some(posting.way.clone())
        }
        _ => None,
    };
    let over = |way: &Vec<groundward::readiness::Passing>| {
        way.windows(2)
            .any(|it| [&it[0].0, &it[1].0] == ends || [&it[1].0, &it[0].0] == ends)
    };
    let ways: Vec<_> = desk.records[from..].iter().filter_map(given).collect();
    assert!(!ways.iter().any(over), "{ways:?}");
    desk.assert_replays();
}

/// Numbers sent the same person for a piece of the same name at another station, and somebody else for the one they were to
/// bring: the order counted as standing, and two were to bring one piece.
#[test]
fn a_piece_of_the_same_name_from_another_station_is_another_piece() {
    let plan = groundward::plan::fit("demo", groundward::plan::DEMO).expect("the demo is fit");
    let kept = plan
        .stations
        .iter()
        .flat_map(|it| it.kit.iter().map(move |item| (it, item)));
    let mut kept = kept.filter(|(_, item)| item.count == 1 && item.in_service());
    let (station, item) = kept.next().expect("the demo keeps one of something");
    let other = kept.find(|it| it.0.id != station.id);
    let (other, renamed) = other.expect("and another station one of something else");
    // Both are called the same.
    let [name, was] = [&item.name, &renamed.name].map(|it| format!("name = \"{it}\"\nkind"));
    let plan_text = groundward::plan::DEMO.replacen(&was, &name, 1);
    assert_ne!(plan_text, groundward::plan::DEMO);
    let brings = |forecast: &mut Forecast, from: [Option<&str>; 2]| {
        for method in &mut forecast.methods {
            for (place, posting) in method.crew.iter_mut().enumerate() {
                let from = from.get(place).copied().flatten();
                posting.station = from.map(str::to_owned);
                posting.kit = from.map(|_| item.name.clone());
            }
        }
    };
    let who = |desk: &Desk| {
        let orders = desk.facts().orders.iter();
        let brings = orders.filter(|it| {
            it.posting.kit.as_ref() == Some(&item.name)
                && it.posting.station.as_ref() == Some(&station.id)
        });
        brings
            .map(|it| it.posting.responder.clone())
            .collect::<Vec<_>>()
    };
    let mut desk = numbered(Desk::with(&plan_text), |it| {
        brings(it, [Some(&station.id), None])
    });
    let first = who(&desk);
    assert_eq!(first.len(), 1);
    // Somebody else drops out, so that everything is reckoned anew.
    let orders = desk.facts().orders.iter();
    let mut others = orders.filter(|it| it.posting.responder != first[0]);
    let drops = others.next_back().expect("others are ordered");
    let drops = drops.posting.responder.clone();
    desk.act(Act::Responder(drops, Report::Cannot));
    numbers_come(&mut desk, |it| {
        brings(it, [Some(&other.id), Some(&station.id)]);
    });
    let second = who(&desk);
    assert_eq!(second.len(), 1, "{second:?}");
    assert_ne!(first, second);
    desk.assert_replays();
}
