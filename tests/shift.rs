//! Tries the start of a shift: that it binds, what ends it, what is said when rescue is lost, and who a visitor is.

use groundward::cue::Cue;
use groundward::incident::Act;
use groundward::plan::{DEMO, Plan, read_on};
use groundward::readiness::{
    Change, Clock, Conditions, Counted, Declare, Depth, Grade, Light, Part, Reason, Scope, Shift,
    Site,
};
use groundward::signal::{Effect, Input, LoadedPlan, Tap};
use groundward::units::Speed;
use groundward::words::Language;

use crate::desk::Desk;
use crate::support::{Chance, day};

fn plan() -> Plan {
    read_on("demo.toml", DEMO.as_bytes(), day())
        .plan
        .expect("the demo plan is fit")
}

/// A shift without a tablet around it.
struct Sheet {
    plan: Plan,
    present: Vec<String>,
    not_ready: Vec<String>,
    shift: Shift,
    wall_ms: i64,
}

impl Sheet {
    fn new() -> Sheet {
        let plan = plan();
        Sheet {
            present: plan.responders.iter().map(|it| it.id.clone()).collect(),
            plan,
            not_ready: Vec::new(),
            shift: Shift::default(),
            wall_ms: 1_000_000,
        }
    }

    fn clock(&self) -> Clock {
        Clock {
            wall_ms: self.wall_ms,
            day: day(),
        }
    }

    fn say(&mut self, said: Declare) -> bool {
        let clock = self.clock();
        let scope = Scope {
            plan: &self.plan,
            present: &self.present,
            not_ready: &self.not_ready,
        };
        self.shift.declare(said, scope, clock)
    }

    fn scope(&self) -> Scope<'_> {
        Scope {
            plan: &self.plan,
            present: &self.present,
            not_ready: &self.not_ready,
        }
    }

    fn missing(&self, part: Part) -> Option<String> {
        let message = self.shift.missing(part, self.scope(), day());
        message.map(|it| it.text(Language::English))
    }

    fn open_parts(&self) -> Vec<Part> {
        let all = Part::ALL.into_iter();
        all.filter(|part| self.missing(*part).is_some()).collect()
    }
}

/// Everything that has to be said before silo 3 may be worked on.
fn complete() -> Vec<Declare> {
    let plan = plan();
    let silo3 = || "silo3".to_owned();
    let mut said = vec![
        Declare::Use(silo3()),
        Declare::Permit(silo3(), "PW-118".to_owned()),
        Declare::Works(silo3(), "bram".to_owned()),
        Declare::Watches(silo3(), "tove".to_owned()),
        Declare::Wind(Speed(6_000)),
        Declare::Gust(Speed(9_000)),
        Declare::Light(Light::Day),
        Declare::Lightning(false),
        Declare::Radio(true),
        Declare::Battery(true),
    ];
    let mut sheet = Sheet::new();
    sheet.say(said[0].clone());
    for name in sheet.shift.needed(&plan) {
        let holder = plan.responders.iter().find(|it| {
            let works = ["ole", "bram"].contains(&it.id.as_str());
            !works && it.holds(&name)
        });
        let holder = holder.unwrap_or_else(|| panic!("nobody holds {name}"));
        said.push(Declare::Holds(name, holder.id.clone()));
    }
    for station in sheet.shift.stations(&plan) {
        said.push(Declare::CountAll(station.to_owned()));
    }
    said.extend(
        plan.responders
            .iter()
            .map(|it| Declare::Heard(it.id.clone())),
    );
    said
}

fn signed() -> Sheet {
    let mut sheet = Sheet::new();
    for said in complete() {
        sheet.say(said);
    }
    assert_eq!(sheet.open_parts(), []);
    assert!(sheet.say(Declare::Sign("ines".to_owned())));
    assert!(sheet.shift.holds(sheet.wall_ms));
    sheet
}

#[test]
fn nothing_said_leaves_every_part_open_and_cannot_be_signed() {
    let mut sheet = Sheet::new();
    let open = sheet.open_parts();
    // Without a place in use nobody needs a crew, kit or readiness.
    assert_eq!(
        open,
        [
            Part::Places,
            Part::Weather,
            Part::Radio,
            Part::Battery,
            Part::Briefing
        ]
    );
    assert!(!sheet.say(Declare::Sign("ines".to_owned())));
    assert!(!sheet.shift.holds(sheet.wall_ms));
}

#[test]
fn each_single_thing_left_out_keeps_it_from_being_signed_and_is_named() {
    let all = complete();
    for left_out in 0..all.len() {
        let mut sheet = Sheet::new();
        let said = all
            .iter()
            .enumerate()
            .filter(|(index, _)| *index != left_out);
        for (_, said) in said {
            sheet.say(said.clone());
        }
        let what = &all[left_out];
        // A second worker is welcome and not needed.
        if matches!(what, Declare::Works(..)) {
            continue;
        }
        assert_eq!(sheet.open_parts().len(), 1, "{what:?}");
        assert!(!sheet.say(Declare::Sign("ines".to_owned())), "{what:?}");
    }
}

#[test]
fn only_a_competent_person_who_is_there_signs() {
    let mut sheet = Sheet::new();
    for said in complete() {
        sheet.say(said);
    }
    let competent: Vec<String> = sheet
        .plan
        .responders
        .iter()
        .filter(|it| it.competent)
        .map(|it| it.id.clone())
        .collect();
    assert!(competent.contains(&"ines".to_owned()));
    for person in sheet.present.clone() {
        let may = sheet.shift.may_sign(&person, sheet.scope(), day());
        assert_eq!(may, competent.contains(&person), "{person}");
    }
    sheet.present.retain(|id| id != "ines");
    assert!(!sheet.shift.may_sign("ines", sheet.scope(), day()));
    assert!(!sheet.shift.may_sign("nobody", sheet.scope(), day()));
}

#[test]
fn it_holds_until_the_shift_ends_and_not_before_it_began() {
    let sheet = signed();
    let length = sheet.plan.policy.shift_length.0;
    let signed_at = sheet.wall_ms;
    assert!(sheet.shift.holds(signed_at + length - 1));
    assert!(!sheet.shift.holds(signed_at + length));
    assert!(
        !sheet.shift.holds(signed_at - 1),
        "a clock that was set back proves nothing"
    );
}

#[test]
fn whatever_changes_ends_the_signature() {
    let changes = [
        Declare::Changed(Change::Left {
            responder: "gwen".to_owned(),
        }),
        Declare::Changed(Change::KitGone {
            station: "c".to_owned(),
            item: "pick-off-1".to_owned(),
        }),
        Declare::Changed(Change::Wind {
            speed: Speed(14_000),
        }),
        Declare::Changed(Change::Lightning),
        Declare::Use("gallery".to_owned()),
        Declare::Works("silo3".to_owned(), "yarik".to_owned()),
        Declare::Watches("silo3".to_owned(), "gwen".to_owned()),
        Declare::Radio(false),
        Declare::Heard("ines".to_owned()),
        Declare::Visits("yard".to_owned()),
        Declare::Light(Light::Dark),
        Declare::End,
    ];
    for change in changes {
        let mut sheet = signed();
        assert!(sheet.say(change.clone()), "{change:?} changes something");
        assert!(!sheet.shift.holds(sheet.wall_ms), "{change:?}");
    }
    let mut sheet = signed();
    assert!(
        !sheet.say(Declare::Radio(true)),
        "said again, nothing is new"
    );
    assert!(sheet.shift.holds(sheet.wall_ms));
}

#[test]
fn whoever_works_at_height_alone_holds_no_rescue_role() {
    let mut sheet = Sheet::new();
    for said in complete() {
        sheet.say(said);
    }
    let holder = sheet.shift.holders[0].clone();
    // Bram goes, and the holder is the one who works there.
    for worker in ["bram", "ole"] {
        sheet.say(Declare::Works("silo3".to_owned(), worker.to_owned()));
    }
    sheet.say(Declare::Works("silo3".to_owned(), holder.responder.clone()));
    assert_eq!(
        sheet.missing(Part::Crew),
        Some(format!("nobody holds {}", holder.qualification))
    );
    sheet.say(Declare::Works("silo3".to_owned(), "bram".to_owned()));
    assert_eq!(sheet.missing(Part::Crew), None, "two work there");
}

#[test]
fn a_watcher_does_not_work_where_they_watch_and_is_there() {
    let mut sheet = signed();
    sheet.say(Declare::Watches("silo3".to_owned(), "bram".to_owned()));
    let lacks = "nobody watches: Silo 3 roof, east hatch";
    assert_eq!(sheet.missing(Part::Places).as_deref(), Some(lacks));
    sheet.say(Declare::Watches("silo3".to_owned(), "tove".to_owned()));
    assert_eq!(sheet.missing(Part::Places), None);
    sheet.present.retain(|id| id != "tove");
    assert_eq!(sheet.missing(Part::Places).as_deref(), Some(lacks));
}

#[test]
fn somebody_who_left_is_on_no_list_any_more() {
    let mut sheet = signed();
    sheet.say(Declare::Allow(
        "gallery".to_owned(),
        "tove".to_owned(),
        Reason::OnItsWay,
    ));
    sheet.say(Declare::Changed(Change::Left {
        responder: "tove".to_owned(),
    }));
    let kept = serde_json::to_value(&sheet.shift).expect("it can be kept");
    let mut lists = kept.clone();
    lists["changes"] = serde_json::Value::Null;
    assert!(!lists.to_string().contains("tove"), "{lists}");
    assert_eq!(sheet.shift.changes.len(), 1);
    let back: Shift = serde_json::from_value(kept).expect("it can be read again");
    assert_eq!(back, sheet.shift);
}

#[test]
fn working_where_it_is_not_ready_needs_a_name_and_a_reason() {
    let mut sheet = Sheet::new();
    for said in complete() {
        sheet.say(said);
    }
    sheet.not_ready = vec!["silo3".to_owned()];
    assert_eq!(
        sheet.missing(Part::Ready).as_deref(),
        Some("not ready: Silo 3 roof, east hatch")
    );
    assert!(!sheet.say(Declare::Sign("ines".to_owned())));
    sheet.say(Declare::Allow(
        "silo3".to_owned(),
        "ines".to_owned(),
        Reason::OutsideStandsBy,
    ));
    assert!(sheet.say(Declare::Sign("ines".to_owned())));
    let allowance = sheet.shift.allowance("silo3").expect("it is there");
    assert_eq!(allowance.by, "ines");
    // Out of use and in again, the permission has to be given again.
    sheet.say(Declare::Use("silo3".to_owned()));
    sheet.say(Declare::Use("silo3".to_owned()));
    assert_eq!(sheet.shift.allowance("silo3"), None);
}

#[test]
fn kit_that_was_counted_short_is_gone_and_gusts_are_never_below_the_wind() {
    let mut sheet = signed();
    let station = sheet.shift.stations(&sheet.plan)[0].to_owned();
    let item = sheet.plan.station(&station).expect("it is there").kit[0].clone();
    assert_eq!(sheet.shift.gone(&sheet.plan), []);
    sheet.say(Declare::Count(Counted {
        station: station.clone(),
        item: item.id.clone(),
        count: item.count - 1,
    }));
    assert_eq!(sheet.shift.gone(&sheet.plan), [(item.kind, station)]);
    sheet.say(Declare::Wind(Speed(15_000)));
    assert_eq!(sheet.shift.wind_that_counts(), Some(Speed(15_000)));
    sheet.say(Declare::Gust(Speed(2_000)));
    assert_eq!(sheet.shift.wind_that_counts(), Some(Speed(15_000)));
}

/// Lets the tablet know how every position stands, as its pool would.
fn stand(desk: &mut Desk, effects: Vec<Effect>) -> Vec<Effect> {
    let mut all = Vec::new();
    for effect in effects {
        if let Effect::Standings { conditions, plan } = &effect {
            let site = Site::new(plan, conditions, Depth::ROUGH);
            let standings = (0..site.len()).map(|it| site.look(it).standing).collect();
            all.extend(desk.take(Input::Standings {
                conditions: conditions.clone(),
                plan: plan.clone(),
                standings,
            }));
        }
        all.push(effect);
    }
    all
}

fn declare(desk: &mut Desk, said: Declare) -> Vec<Effect> {
    let effects = desk.tap(Tap::Declare(said));
    stand(desk, effects)
}

/// A tablet on which the shift was signed with silo 3 in use.
fn shift_desk() -> Desk {
    let mut desk = Desk::demo();
    let begun = desk.engine.new_day(&desk.now);
    stand(&mut desk, begun);
    for said in complete() {
        declare(&mut desk, said);
    }
    declare(&mut desk, Declare::Sign("ines".to_owned()));
    let snapshot = desk.engine.snapshot(&desk.now);
    assert!(snapshot.shift_holds);
    assert!(!snapshot.standings_old);
    assert_eq!(snapshot.shift.lost, Vec::<String>::new());
    desk
}

fn grade(desk: &Desk, position: &str) -> Grade {
    let snapshot = desk.engine.snapshot(&desk.now);
    let found = snapshot.standings.iter().find(|it| it.position == position);
    found.expect("every position stands somehow").grade
}

#[test]
fn rescue_that_is_lost_is_said_with_a_cue_until_work_has_stopped() {
    let mut desk = shift_desk();
    assert_ne!(grade(&desk, "silo3"), Grade::NotReady);
    let effects = declare(
        &mut desk,
        Declare::Changed(Change::Wind {
            speed: Speed(20_000),
        }),
    );
    // The lift's limit is 12.5 m/s and the ropes' has none: one method is left, and it fails too often by itself.
    assert_eq!(grade(&desk, "silo3"), Grade::NotReady);
    assert!(effects.contains(&Effect::Play(Cue::RescueLost)));
    let lost = |desk: &Desk| desk.engine.snapshot(&desk.now).shift.lost.clone();
    assert_eq!(lost(&desk), ["silo3"]);
    // The same again is not said again.
    let again = declare(&mut desk, Declare::Radio(false));
    assert!(!again.contains(&Effect::Play(Cue::RescueLost)));
    desk.tap(Tap::WorkStopped {
        position: "silo3".to_owned(),
    });
    assert_eq!(lost(&desk), Vec::<String>::new());
}

#[test]
fn rescue_that_comes_back_takes_the_alarm_away() {
    let mut desk = shift_desk();
    for (speed, lost) in [(20_000, 1), (5_000, 0)] {
        declare(
            &mut desk,
            Declare::Changed(Change::Wind {
                speed: Speed(speed),
            }),
        );
        let snapshot = desk.engine.snapshot(&desk.now);
        assert_eq!(snapshot.shift.lost.len(), lost, "{speed}");
        assert!(!snapshot.shift_holds, "it has to be signed again");
    }
}

#[test]
fn a_shift_that_runs_out_says_so_by_itself() {
    let mut desk = shift_desk();
    let length = plan().policy.shift_length.0;
    assert!(desk.engine.shift_turned(&desk.now));
    assert!(!desk.engine.shift_turned(&desk.now));
    desk.now.wall_ms += length - 1;
    assert!(!desk.engine.shift_turned(&desk.now));
    desk.now.wall_ms += 1;
    assert!(desk.engine.shift_turned(&desk.now));
    assert!(!desk.engine.snapshot(&desk.now).shift_holds);
}

#[test]
fn one_touch_says_that_somebody_left_and_that_lightning_is_near() {
    let mut desk = shift_desk();
    declare(
        &mut desk,
        Declare::Changed(Change::Left {
            responder: "rua".to_owned(),
        }),
    );
    let snapshot = desk.engine.snapshot(&desk.now);
    assert!(snapshot.roll_call.absent.contains(&"rua".to_owned()));
    let mut desk = shift_desk();
    let effects = declare(&mut desk, Declare::Changed(Change::Lightning));
    assert!(effects.contains(&Effect::Play(Cue::RescueLost)));
    let snapshot = desk.engine.snapshot(&desk.now);
    assert!(
        snapshot
            .standings
            .iter()
            .all(|it| it.grade == Grade::NotReady)
    );
}

#[test]
fn before_anybody_signed_nothing_is_lost() {
    let mut desk = Desk::demo();
    let begun = desk.engine.new_day(&desk.now);
    stand(&mut desk, begun);
    declare(&mut desk, Declare::Use("silo3".to_owned()));
    let effects = declare(&mut desk, Declare::Changed(Change::Lightning));
    assert!(!effects.contains(&Effect::Play(Cue::RescueLost)));
}

#[test]
fn numbers_for_conditions_that_are_past_are_not_taken() {
    let mut desk = Desk::demo();
    let begun = desk.engine.new_day(&desk.now);
    let old = begun.iter().find_map(|it| match it {
        Effect::Standings { conditions, plan } => Some((conditions.clone(), plan.clone())),
        _ => None,
    });
    let (conditions, plan) = old.expect("they are asked for");
    desk.tap(Tap::SwapPresent {
        responder: "rua".to_owned(),
    });
    assert!(desk.engine.snapshot(&desk.now).standings_old);
    desk.take(Input::Standings {
        conditions,
        plan,
        standings: Vec::new(),
    });
    let snapshot = desk.engine.snapshot(&desk.now);
    assert!(snapshot.standings_old && !snapshot.standings.is_empty());
}

#[test]
fn a_plan_that_is_read_again_is_looked_at_again_whatever_else_stays() {
    let mut desk = shift_desk();
    let text = DEMO.replace("wind_max = \"12.5 m/s\"", "wind_max = \"1 m/s\"");
    assert_ne!(text, DEMO);
    let loaded = LoadedPlan::choose(Some(("plan.toml", text.as_bytes())), None, None, day());
    let effects = desk.take(Input::Plan(Box::new(loaded)));
    assert!(desk.engine.snapshot(&desk.now).standings_old);
    let effects = stand(&mut desk, effects);
    // In the wind of this shift no lift may be used any more, and what is left fails too often.
    assert_eq!(grade(&desk, "silo3"), Grade::NotReady);
    assert!(effects.contains(&Effect::Play(Cue::RescueLost)));
}

#[test]
fn nothing_that_is_missing_stops_an_activation_and_the_record_keeps_the_shift() {
    let mut desk = shift_desk();
    declare(&mut desk, Declare::Changed(Change::Lightning));
    desk.hang(Some("silo3"));
    let json = desk.records[0].to_json();
    assert!(json.contains("PW-118"), "the permit is in the first record");
    desk.assert_replays();
}

#[test]
fn a_visitor_is_counted_and_may_hang_and_is_sent_nowhere() {
    let mut desk = Desk::demo();
    declare(&mut desk, Declare::Visits("yard".to_owned()));
    declare(&mut desk, Declare::Visits("nowhere".to_owned()));
    let shift = desk.engine.snapshot(&desk.now).shift.clone();
    let names: Vec<&str> = shift.visitors.iter().map(|it| it.name.as_str()).collect();
    assert_eq!(
        names,
        ["Visitor 1"],
        "a place that is not there adds nobody"
    );
    desk.hang(Some("silo3"));
    let id = shift.visitors[0].id.as_str();
    assert_eq!(desk.facts().name(id), "Visitor 1");
    assert!(!desk.facts().free_people().contains(&id.to_owned()));
    let person = desk
        .facts()
        .opened
        .as_ref()
        .and_then(|it| it.plan.responder(id));
    assert_eq!(person.map(|it| it.qualifications.len()), Some(0));
    desk.pass(200_000);
    assert!(desk.facts().order_of(id).is_none());
    assert!(
        desk.facts()
            .call
            .ordered
            .iter()
            .all(|(to, _)| to.as_deref() != Some(id))
    );
    desk.act(Act::NameCasualty(Some(id.to_owned())));
    assert_eq!(desk.facts().casualty().who.as_deref(), Some(id));
    desk.assert_replays();
}

#[test]
fn conditions_follow_what_was_declared() {
    let mut desk = shift_desk();
    let effects = desk.tap(Tap::Declare(Declare::Light(Light::Dark)));
    let asked = effects.iter().find_map(|it| match it {
        Effect::Standings { conditions, .. } => Some(conditions.clone()),
        _ => None,
    });
    let asked: Conditions = asked.expect("another light asks again");
    assert_eq!(asked.light, Some(Light::Dark));
    assert_eq!(asked.wind, Some(Speed(9_000)), "gusts count");
    assert_eq!(
        asked.workers,
        [(
            "silo3".to_owned(),
            vec!["ole".to_owned(), "bram".to_owned()]
        )]
    );
}

/// One of them by chance.
fn pick<T: Clone>(chance: &mut Chance, all: &[T]) -> T {
    let index = chance.below(all.len() as u64);
    all[usize::try_from(index).expect("it is an index")].clone()
}

/// Whatever is said in whatever order: who signed is competent and there, nothing was missing then, a change ends it, and
/// it reads back the same.
#[test]
fn no_order_of_words_signs_what_is_not_complete() {
    let all = complete();
    let people: Vec<String> = plan().responders.iter().map(|it| it.id.clone()).collect();
    for seed in 0..600 {
        let mut chance = Chance(seed);
        let mut sheet = Sheet::new();
        for _ in 0..60 {
            let person = pick(&mut chance, &people);
            let said = match chance.below(10) {
                0 => Declare::Sign(person),
                1 => Declare::Changed(Change::Left { responder: person }),
                2 => Declare::Allow("silo3".to_owned(), person, Reason::ComingDown),
                3 => Declare::VisitorLeft("visitor-1".to_owned()),
                4 => Declare::Visits("yard".to_owned()),
                _ => pick(&mut chance, &all),
            };
            let was = sheet.shift.clone();
            let is_signature = matches!(said, Declare::Sign(_));
            let changed = sheet.say(said);
            let json = serde_json::to_string(&sheet.shift).expect("it can be kept");
            let back: Shift = serde_json::from_str(&json).expect("it can be read again");
            assert_eq!(back, sheet.shift);
            assert_eq!(changed, was != sheet.shift);
            if changed && !is_signature {
                assert_eq!(sheet.shift.signed, None);
            }
            if changed && is_signature {
                assert_eq!(sheet.open_parts(), []);
            }
        }
    }
}
