//! Tries what would help most: each gain against a look at the site with that change made by hand, and what must be on top.

use groundward::plan::{DEMO, Holding, Plan, Responder};
use groundward::readiness::{Conditions, Gain, Grade, Look, Site, Trials, WhatIfs};
use groundward::units::Ratio;
use groundward::words::Id;

use super::{SITE, fit};
use crate::support::day;
use crate::support::plans::plan_toml;

const INSTANCES: usize = 500;

fn looks(plan: &Plan, conditions: &Conditions) -> Vec<Look> {
    let site = Site::new(plan, conditions, Trials::DEPTH);
    (0..site.len()).map(|it| site.look(it)).collect()
}

fn all(trials: &Trials) -> WhatIfs {
    let mut found = WhatIfs {
        all: trials.len() as u32,
        ..WhatIfs::default()
    };
    let bench = trials.bench();
    for index in 0..trials.len() {
        found.add(bench.look(index));
    }
    found
}

/// The worst first: not ready before slow before ready, then by value; the ten of them that are looked at.
fn worst(plan: &Plan, looks: &[Look]) -> Plan {
    let value = |it: &Look| it.prospect.as_ref().map_or(0.0, |it| it.value);
    let mut order: Vec<usize> = (0..looks.len()).collect();
    order.sort_by(|one, other| {
        let (one, other) = (&looks[*one], &looks[*other]);
        let grades = other.standing.grade.cmp(&one.standing.grade);
        grades.then(value(one).total_cmp(&value(other)))
    });
    let mut worst = plan.clone();
    let ten = order.iter().take(10);
    worst.positions = ten.map(|it| plan.positions[*it].clone()).collect();
    worst
}

/// Every position as it is, with what each draw is worth there.
fn as_it_is(plan: &Plan, conditions: &Conditions) -> Vec<(Look, Vec<f32>)> {
    let site = Site::new(plan, conditions, Trials::DEPTH);
    let each = (0..site.len()).map(|index| {
        let look = site.look(index);
        let values = site.values(index, &look);
        (look, values)
    });
    each.collect()
}

/// The gain at all positions of a plan and its standard error, computed here: after less before, draw by draw.
fn gain_by_hand(before: &[(Look, Vec<f32>)], changed: &Plan, with: &Conditions) -> (f64, f64) {
    let after = Site::new(changed, with, Trials::DEPTH);
    let (mut sum, mut squares) = (0.0, 0.0);
    for (index, (look, old)) in before.iter().enumerate() {
        let now = after.look_beside(index, Some(look));
        let new = after.values(index, &now);
        let count = old.len().max(new.len());
        let at = |values: &[f32], draw: usize| values.get(draw).map_or(0.0, |it| f64::from(*it));
        let apart: Vec<f64> = (0..count).map(|it| at(&new, it) - at(old, it)).collect();
        let mean = apart.iter().sum::<f64>() / count.max(1) as f64;
        let spread: f64 = apart.iter().map(|it| (it - mean).powi(2)).sum();
        sum += mean;
        squares += spread / count.max(1) as f64 / (count.max(2) - 1) as f64;
    }
    let positions = before.len().max(1) as f64;
    (sum / positions, squares.sqrt() / positions)
}

/// One more who holds this, at this place, who gives way to all others where two are as near. Draws hang on ids, so this
/// one has to have the id that the trials give.
fn one_more(plan: &mut Plan, conditions: &mut Conditions, qualification: &str, place: &str) {
    plan.responders.push(Responder {
        id: "what if".to_owned(),
        name: "\u{10ffff}".to_owned(),
        place: place.to_owned(),
        qualifications: vec![Holding {
            name: qualification.to_owned(),
            until: None,
        }],
        ..Responder::default()
    });
    conditions.present.push("what if".to_owned());
}

fn near(ours: Ratio, theirs: f64) -> bool {
    (ours.0 as f64 - theirs * 1e6).abs() <= 0.51
}

#[test]
fn a_gain_is_the_mean_of_after_less_before_on_the_same_draws() {
    let (mut instances, mut helps) = (0, 0);
    let mut seed = 0;
    while instances < INSTANCES {
        seed += 1;
        let plan = fit(&plan_toml(seed));
        let mut conditions = Conditions::everybody(&plan, day());
        conditions.seed = seed;
        // With everybody there little helps.
        conditions.present.truncate(3);
        let looks = looks(&plan, &conditions);
        let trials = Trials::new(&plan, &conditions, &looks);
        let plan = worst(&plan, &looks);
        let before = as_it_is(&plan, &conditions);
        let bench = trials.bench();
        for index in 0..trials.len() {
            let found = bench.look(index);
            let (mut changed, mut with) = (plan.clone(), conditions.clone());
            match (found.what.id, &found.what.args[..]) {
                (Id::WhatPerson, [qualification, place]) => {
                    let mut places = plan.places.iter();
                    let place = places.find(|it| it.name == *place);
                    let place = place.expect("it is a place of the plan");
                    one_more(&mut changed, &mut with, qualification, &place.id);
                }
                (Id::WhatKit, [name, station]) => {
                    let mut stations = changed.stations.iter_mut();
                    let mut kept = plan.stations.iter().flat_map(|it| &it.kit);
                    let item = kept.find(|it| it.name == *name);
                    let mut item = item.expect("it is kept somewhere").clone();
                    item.id = "what if".to_owned();
                    item.count = 1;
                    let station = stations.find(|it| it.name == *station);
                    station.expect("it is a station").kit.push(item);
                }
                _ => continue,
            }
            let (gain, error) = gain_by_hand(&before, &changed, &with);
            let what = format!("seed {seed}: {found:?} {gain} {error}");
            assert!(near(found.gain, gain), "{what}");
            assert!(near(found.error, error), "{what}");
            assert!(found.gain.0 >= 0, "no more people or kit can harm: {what}");
            helps += u32::from(found.is_measurable());
            instances += 1;
        }
    }
    assert!(helps > 50, "{helps}");
}

#[test]
fn one_more_with_rope_rescue_helps_somewhere_when_one_is_missing() {
    let plan = fit(DEMO);
    let mut conditions = Conditions::everybody(&plan, day());
    conditions.present.retain(|it| it != "rua");
    let looks = looks(&plan, &conditions);
    let trials = Trials::new(&plan, &conditions, &looks);
    let bench = trials.bench();
    // People are tried first: each qualification that a role needs, in the order of the alphabet, at each usual place.
    let worst = worst(&plan, &looks);
    let once = |mut all: Vec<&str>| {
        all.sort_unstable();
        all.dedup();
        all.into_iter().map(str::to_owned).collect::<Vec<_>>()
    };
    let methods = worst.positions.iter().flat_map(|it| &it.methods);
    let roles = methods.flat_map(|it| &it.roles);
    let needed = once(roles.filter_map(|it| it.qualification.as_deref()).collect());
    let places = once(plan.responders.iter().map(|it| it.place.as_str()).collect());
    let row = needed.iter().position(|it| it == "rope rescue");
    let row = row.expect("roles need it");
    let tried = (0..places.len()).map(|place| bench.look(row * places.len() + place));
    let gains: Vec<Gain> = tried.collect();
    for gain in &gains {
        assert_eq!(
            (gain.what.id, gain.what.args[0].as_str()),
            (Id::WhatPerson, "rope rescue")
        );
    }
    let best = gains
        .iter()
        .max_by_key(|it| it.gain)
        .expect("there are places");
    assert!(best.is_measurable(), "{best:?}");
    assert!(plan.positions.iter().any(|it| it.name == best.at));
}

#[test]
fn what_cannot_matter_is_not_tried_or_gains_nothing() {
    let mut plan = fit(&plan_toml(4));
    // A kind that no role brings, and somebody at a place that no way leads to.
    let mut unused = plan.stations[0].kit[0].clone();
    unused.id = "unused".to_owned();
    unused.kind = "balloon".to_owned();
    unused.name = "balloon 1".to_owned();
    plan.stations[0].kit.push(unused);
    let mut island = plan.places[0].clone();
    island.id = "island".to_owned();
    island.name = "the island".to_owned();
    plan.places.push(island);
    let mut castaway = plan.responders[0].clone();
    castaway.id = "castaway".to_owned();
    castaway.name = "Castaway".to_owned();
    castaway.place = "island".to_owned();
    plan.responders.push(castaway);

    let conditions = Conditions::everybody(&plan, day());
    let trials = Trials::new(&plan, &conditions, &looks(&plan, &conditions));
    let found = all(&trials);
    assert_eq!((found.done, found.ended), (found.all, true));
    assert_eq!(found.gains.len(), trials.len());
    let says = |gain: &Gain, what: &str| gain.what.args.iter().any(|it| it.contains(what));
    assert!(!found.gains.iter().any(|it| says(it, "balloon")));
    let there: Vec<&Gain> = found
        .gains
        .iter()
        .filter(|it| says(it, "the island"))
        .collect();
    assert!(there.len() > 1);
    for gain in there {
        assert_eq!(
            (gain.gain, gain.error, gain.is_measurable()),
            (Ratio(0), Ratio(0), false)
        );
    }
    // Best first; what cannot be told from nothing goes after what can.
    let keys = found
        .gains
        .iter()
        .map(|it| (!it.is_measurable(), -it.gain.0));
    assert!(keys.is_sorted());
}

#[test]
fn opening_the_only_way_makes_a_position_ready_and_tops_the_list() {
    // Two at A with a line; the casualty hangs at C, and the way from B to C is closed.
    let text = format!(
        "{SITE}[place.a]\nname = \"A\"\nlevel = \"0\"\n[place.b]\nname = \"B\"\nlevel = \"0\"\n[place.c]\nname = \"C\"\nlevel = \"0\"\n\
         [link.ab]\nfrom = \"a\"\nto = \"b\"\nkind = \"walk\"\nlength = \"12 m\"\n\
         [link.bc]\nfrom = \"b\"\nto = \"c\"\nkind = \"walk\"\nlength = \"12 m\"\nclosed = \"being painted\"\n\
         [station.s]\nname = \"station S\"\nplace = \"a\"\n[station.s.kit.k]\nname = \"line 1\"\nkind = \"line\"\n\
         [responder.x]\nname = \"Xan\"\nplace = \"a\"\nqualifications = [\"line work\"]\n[responder.y]\nname = \"Yve\"\nplace = \"a\"\n\
         [position.p]\nname = \"P\"\nplace = \"c\"\napproach = \"b\"\nlanding = \"a\"\n\
         [position.p.method.m]\nname = \"m\"\nrung = \"pick-off\"\nsuccess = \"95 %\"\n\
         [position.p.method.m.role.one]\nkit = \"line\"\nqualification = \"line work\"\nplace = \"c\"\n[position.p.method.m.role.two]\nplace = \"c\"\n\
         [[position.p.method.m.step]]\nwho = \"one\"\nsay = \"x\"\ndone = \"x\"\ntime = [\"10 s\", \"20 s\", \"60 s\"]\nmilestone = \"off-harness\"\n",
    );
    let plan = fit(&text);
    let conditions = Conditions::everybody(&plan, day());
    let closed = looks(&plan, &conditions);
    assert_eq!(closed[0].standing.grade, Grade::NotReady);
    assert_eq!(closed[0].prospect, None);
    let mut open = plan.clone();
    open.links[1].closed = None;
    assert_eq!(looks(&open, &conditions)[0].standing.grade, Grade::Ready);

    let trials = Trials::new(&plan, &conditions, &closed);
    let found = all(&trials);
    let top = &found.gains[0];
    assert_eq!(
        (top.what.id, &top.what.args[..]),
        (Id::WhatOpen, &["B".to_owned(), "C".to_owned()][..])
    );
    assert!(top.is_measurable() && top.gain > Ratio(900_000), "{top:?}");
    assert_eq!(top.at, "P");
    assert!(
        found.gains[1..]
            .iter()
            .all(|it| it.gain == Ratio(0) && !it.is_measurable())
    );
    assert!(found.gains.len() > 2);
}
