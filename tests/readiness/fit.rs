//! Tries where the casualty hangs and whether the kit fits: published figures, NumPy's second opinion, and what may never be.
//!
//! Figures have their source beside them; the formulas are written a second time in Python. What has no figure to compare
//! with is held by properties: more length never rules out, more weight never rules in.

use chrono::NaiveDate;
use groundward::cli::Format;
use groundward::plan::{
    DEMO, DEMO_BRIDGE, DescentClass, Ground, KitItem, Plan, Position, free_fall, read, swing_drop,
};
use groundward::readiness::{
    Elevations, Fitting, Outcome, Rule, Today, Unfit, Verdict, advantage, at_best, class_energy,
    descent_energy, fit, hang, haul_pull, ladder_height, physical, piece, weight,
};
use groundward::units::{Grams, Millimetres, Newtons, Quantity, Ratio, Speed, Written};
use groundward::words::Language;
use serde_json::json;

use crate::support::{Chance, day, oracle};

/// A roof 10 m above a yard, two people who weigh 80 kg and 100 kg, a piece of each kit, and a method for each.
const SITE: &str = include_str!("fit.toml");

fn site() -> Plan {
    let reading = read("fit.toml", SITE.as_bytes());
    reading
        .plan
        .unwrap_or_else(|| panic!("{:#?}", reading.findings))
}

fn written<Q: Quantity>(text: &str) -> Option<Written<Q>> {
    Some(groundward::units::read(text).unwrap_or_else(|why| panic!("{text}: {why}")))
}

fn metres(length: f64) -> Millimetres {
    Millimetres((length * 1_000.0).round() as i64)
}

fn edge(plan: &mut Plan) -> &mut Position {
    &mut plan.positions[0]
}

fn item<'p>(plan: &'p mut Plan, id: &str) -> &'p mut KitItem {
    let kit = &mut plan.stations[0].kit;
    kit.iter_mut()
        .find(|it| it.id == id)
        .expect("the kit is there")
}

/// The verdicts on a piece in the role of a method that asks for its kind.
fn pieces(plan: &Plan, method: &str, id: &str, today: &Today) -> Vec<Verdict> {
    let position = &plan.positions[0];
    let method = position.method(method).expect("the method is there");
    let mut kit = plan.stations[0].kit.iter();
    let item = kit.find(|it| it.id == id).expect("the kit is there");
    let wants = |it: &&groundward::plan::Role| it.kit.as_ref() == Some(&item.kind);
    let role = method.roles.iter().find(wants).expect("a role asks for it");
    piece(plan, position, method, role, item, today)
}

fn judged(plan: &Plan, method: &str, id: &str, rule: Rule) -> Verdict {
    let verdicts = pieces(plan, method, id, &Today::default());
    let of_rule: Vec<_> = verdicts.iter().filter(|it| it.rule == rule).collect();
    assert_eq!(of_rule.len(), 1, "{rule:?} in {verdicts:#?}");
    of_rule[0].clone()
}

fn in_table(plan: &Plan, rule: Rule) -> Vec<Verdict> {
    let verdicts = fit(plan, &plan.positions[0], &Today::default());
    verdicts.into_iter().filter(|it| it.rule == rule).collect()
}

fn outcome(plan: &Plan, method: &str, id: &str, rule: Rule) -> Outcome {
    judged(plan, method, id, rule).outcome
}

// ---------------------------------------------------------------------------------------------------------------
// Where the casualty hangs.

#[test]
fn the_worked_clearance_is_the_published_one() {
    // K5: OSHA Technical Manual, section V chapter 4: 6 + 3.5 + 1 + 5 + 3 = 18.5 ft, which are 5638.8 mm.
    let mut plan = site();
    let arrest = edge(&mut plan).arrest.as_mut().expect("it has a set-up");
    arrest.length = written("6 ft");
    arrest.anchor_above_ring = Some(Millimetres::ZERO);
    arrest.deceleration = written("3.5 ft");
    arrest.clearance = written("18.5 ft");
    let found = hang(&plan, &plan.positions[0], &Elevations::of(&plan));
    let needed = found.clearance_needed.expect("everything is said");
    assert!((needed.0 - 5_639).abs() <= 3, "{needed:?}");
    assert_eq!(in_table(&plan, Rule::Clearance)[0].outcome, Outcome::Fits);
    let arrest = edge(&mut plan).arrest.as_mut().expect("it has a set-up");
    arrest.clearance = written("18.4 ft");
    assert_eq!(
        in_table(&plan, Rule::Clearance)[0].outcome,
        Outcome::Caution
    );
}

#[test]
fn the_free_fall_follows_from_the_anchorage() {
    // K6, mechanics and OSHA Technical Manual: a 6 ft lanyard with the anchorage 4 ft above the ring, level with it, and
    // 5 ft below gives 2, 6 and 11 ft; 6 ft pass although they are more than 1.8 m.
    for (above, falls, expected) in [
        ("4 ft", 610, Outcome::Fits),
        ("0 ft", 1_829, Outcome::Fits),
        ("-5 ft", 3_353, Outcome::Caution),
    ] {
        let mut plan = site();
        let arrest = edge(&mut plan).arrest.as_mut().expect("it has a set-up");
        arrest.length = written("6 ft");
        let above = groundward::units::read_signed::<Millimetres>(above).expect("it is a length");
        arrest.anchor_above_ring = Some(above.value);
        let found = hang(&plan, &plan.positions[0], &Elevations::of(&plan));
        assert_eq!(found.free_fall, Some(Millimetres(falls)));
        let verdict = in_table(&plan, Rule::FreeFall).remove(0);
        assert_eq!(verdict.outcome, expected, "{verdict:?}");
    }
}

#[test]
fn a_swing_takes_the_casualty_deeper() {
    // K7, geometry: 12 ft above and 5 ft aside give 1.00 ft.
    let mut plan = site();
    let still = hang(&plan, &plan.positions[0], &Elevations::of(&plan));
    assert_eq!(still.swing, Millimetres::ZERO);
    let arrest = edge(&mut plan).arrest.as_mut().expect("it has a set-up");
    arrest.free_fall = written("2 m");
    arrest.anchor_above_ring = Some(Millimetres(3_658));
    arrest.offset = Some(Millimetres(1_524));
    let swung = hang(&plan, &plan.positions[0], &Elevations::of(&plan));
    assert!((swung.swing.0 - 305).abs() <= 1, "{:?}", swung.swing);
    assert_eq!(swung.feet[0], still.feet[0].saturating_sub(swung.swing));
}

#[test]
fn heights_follow_from_the_ways_and_the_set_up() {
    // A roof at 10 m, a free fall of 2 m, 1 m of braking and a shift of 1 ft (K5): feet at 6.695 m, the ring 6 ft above.
    let plan = site();
    let elevations = Elevations::of(&plan);
    let found = hang(&plan, &plan.positions[0], &elevations);
    assert_eq!(found.feet, [Millimetres(6_695)]);
    assert_eq!(found.below_edge, Some(Millimetres(1_476)));
    let above = found.above(&plan, &plan.positions[0], &elevations);
    let rows: Vec<_> = above
        .iter()
        .map(|it| (it.place.as_str(), it.ring.0, it.feet.0))
        .collect();
    assert_eq!(
        rows,
        [
            ("pit", 11_524, 9_695),
            ("yard", 8_524, 6_695),
            ("roof", -1_476, -3_305)
        ]
    );
}

#[test]
fn the_plans_own_height_goes_first_where_it_can_be_one() {
    let feet = |given: &str| {
        let mut plan = site();
        edge(&mut plan).feet_above_ground = written(given);
        let found = hang(&plan, &plan.positions[0], &Elevations::of(&plan));
        let said = in_table(&plan, Rule::Height).len();
        (
            found.feet.clone(),
            found.doubted,
            found.contradiction().is_some(),
            said,
        )
    };
    let by_set_up = Millimetres(6_695);
    assert_eq!(feet("6.5 m"), (vec![Millimetres(6_500)], false, false, 0));
    // Somebody on a long line: both are kept.
    assert_eq!(
        feet("4 m"),
        (vec![Millimetres(4_000), by_set_up], false, true, 1)
    );
    // Nobody hangs above where they stood: this is counted from the river below, not from the landing place.
    assert_eq!(feet("30 m"), (vec![by_set_up], true, true, 1));
}

#[test]
fn what_is_not_said_has_no_height() {
    let mut plan = site();
    edge(&mut plan).arrest = None;
    let found = hang(&plan, &plan.positions[0], &Elevations::of(&plan));
    assert_eq!(
        (found.feet.len(), found.drop, found.below_edge),
        (0, None, None)
    );
    assert_eq!(
        outcome(&plan, "lift", "lift", Rule::LiftReach),
        Outcome::NotSaid
    );
    let mut plan = site();
    plan.links.retain(|it| it.id != "stairs");
    assert_eq!(Elevations::of(&plan).above("roof", "yard"), None);
}

#[test]
fn ways_that_contradict_each_other_give_no_height() {
    let mut plan = site();
    let mut hoist = plan.links[0].clone();
    hoist.id = "hoist".to_owned();
    hoist.rise = Millimetres(10_500);
    plan.links.push(hoist);
    let above = |plan: &Plan| Elevations::of(plan).above("roof", "yard");
    assert_eq!(
        above(&plan),
        Some(Millimetres(10_000)),
        "half a metre is near enough"
    );
    plan.links.last_mut().expect("it was added").rise = Millimetres(10_501);
    assert_eq!(above(&plan), None);
    assert_eq!(
        Elevations::of(&plan).above("yard", "pit"),
        Some(Millimetres(3_000)),
        "what is beside the contradiction stands"
    );
    let closed = plan.links.iter_mut().find(|it| it.id == "pit-steps");
    closed.expect("it is there").closed = Some("locked".to_owned());
    assert_eq!(
        Elevations::of(&plan).above("yard", "pit"),
        Some(Millimetres(3_000)),
        "a locked gate changes no height"
    );
}

#[test]
fn heights_are_true_whatever_one_slip_says() {
    let base = site();
    let mut chance = Chance(7);
    let mut lost = 0;
    for round in 0..600 {
        let places = 3 + chance.below(12) as usize;
        let heights: Vec<i64> = (0..places).map(|_| chance.below(60_000) as i64).collect();
        let mut plan = base.clone();
        plan.places = (0..places)
            .map(|it| {
                let mut place = base.places[0].clone();
                place.id = format!("p{it}");
                place
            })
            .collect();
        let way = |number: usize, from: usize, to: usize| {
            let mut link = base.links[0].clone();
            (link.id, link.from, link.to) =
                (format!("l{number}"), format!("p{from}"), format!("p{to}"));
            link.rise = Millimetres(heights[to] - heights[from]);
            link
        };
        // A ring of ways, so that every slip is on some round, and some ways across.
        plan.links = (0..places)
            .map(|it| way(it, it, (it + 1) % places))
            .collect();
        for number in 0..chance.below(6) as usize {
            let from = chance.below(places as u64) as usize;
            let to = (from + 1 + chance.below(places as u64 - 1) as usize) % places;
            plan.links.push(way(places + number, from, to));
        }
        let true_above =
            |one: usize, other: usize| Some(Millimetres(heights[one] - heights[other]));
        let known = |plan: &Plan, one: usize, other: usize| {
            Elevations::of(plan).above(&format!("p{one}"), &format!("p{other}"))
        };
        for place in 0..places {
            assert_eq!(
                known(&plan, place, 0),
                true_above(place, 0),
                "round {round}"
            );
        }
        let slip = chance.below(plan.links.len() as u64) as usize;
        plan.links[slip].rise.0 += 501 + chance.below(20_000) as i64;
        for place in 0..places {
            let said = known(&plan, place, 0);
            assert!(
                said.is_none() || said == true_above(place, 0),
                "round {round}: place {place} is said to be at {said:?}"
            );
        }
        // Where a sound way goes round it, nothing is lost.
        lost += u32::from((0..places).any(|it| known(&plan, it, 0).is_none()));
    }
    assert!(lost > 100, "only {lost} slips cost a height");
}

// ---------------------------------------------------------------------------------------------------------------
// Lengths, heights and hauling.

#[test]
fn formulas_agree_with_numpy() {
    let mut chance = Chance(11);
    let cases: Vec<_> = (0..800)
        .map(|_| {
            json!({
                "length": 500 + chance.below(12_000),
                "above": chance.below(16_000) as i64 - 6_000,
                "aside": chance.below(6_000),
                "braking": chance.below(1_500),
                "slope_ppm": 2_000_000 + chance.below(6_000_000),
                "mass": 40_000 + chance.below(260_000),
                "height": 500 + chance.below(120_000),
                "ropes": 1 + chance.below(9),
                "share_ppm": 400_000 + chance.below(600_001),
            })
        })
        .collect();
    // Everything in floating point from the formulas of mechanics and geometry; K5 (OSHA Technical Manual), K6, K7, K9
    // (EN 341, the formula from memory), K12 (mechanics), K15 (29 CFR 1926.1053(b)(5)(i), from memory).
    let script = "
import json, sys, numpy as np
def haul(n, e):
    if n == 7: return -1.0
    parts = [n] if n <= 5 else {6: [3, 2], 8: [4, 2], 9: [3, 3]}[n]
    return float(np.prod([np.sum(e ** np.arange(p)) for p in parts]))
out = []
for c in json.load(sys.stdin):
    g, e = 9.80665, c['share_ppm'] / 1e6
    fall = max(0, c['length'] - c['above'])
    h = max(c['above'], 1)
    swing = float(np.hypot(h, c['aside']) - h)
    sideways = swing if c['above'] > 0 else 0.0
    out.append({
        'fall': fall,
        'swing': swing,
        'clearance': fall + c['braking'] + 304.8 * (1 + 5 + 3) + sideways,
        'ladder': float(c['length'] * np.sin(np.arccos(1e6 / c['slope_ppm']))),
        'advantage': haul(c['ropes'], e),
        'pull': c['mass'] / 1e3 * g / haul(c['ropes'], e),
        'energy': c['mass'] / 1e3 * g * c['height'] / 1e3 * 3,
        'weight': c['mass'] / 1e3 * g,
    })
print(json.dumps(out))
";
    let answers = oracle::ask(script, &json!(cases));
    let answers = answers.as_array().expect("an answer for each");
    assert_eq!(answers.len(), cases.len());
    let mut plan = site();
    for (case, answer) in cases.iter().zip(answers) {
        let of = |key: &str| case[key].as_i64().expect("a whole number");
        let near = |key: &str, own: i64, by: f64| {
            let other = answer[key].as_f64().expect("a number");
            assert!(
                (own as f64 - other).abs() <= by,
                "{key}: {own} and {other} of {case}"
            );
        };
        let (length, above) = (Millimetres(of("length")), Millimetres(of("above")));
        near("fall", free_fall(length, above).0, 0.0);
        let swing = swing_drop(Millimetres(above.0.max(1)), Millimetres(of("aside")));
        near("swing", swing.0, 1.0);
        let arrest = edge(&mut plan).arrest.as_mut().expect("it has a set-up");
        arrest.length = written(&format!("{} mm", length.0));
        arrest.anchor_above_ring = Some(above);
        arrest.offset = Some(Millimetres(of("aside")));
        arrest.deceleration = written(&format!("{} mm", of("braking")));
        let found = hang(&plan, &plan.positions[0], &Elevations::of(&plan));
        let needed = found.clearance_needed.expect("everything is said");
        near("clearance", needed.0, 3.0);
        near(
            "ladder",
            ladder_height(length, Ratio(of("slope_ppm"))).0,
            2.0,
        );
        let mass = Grams(of("mass"));
        near("weight", weight(mass).0, 0.5);
        near(
            "energy",
            descent_energy(mass, Millimetres(of("height")), 3),
            0.6,
        );
        let real = advantage(Ratio(of("ropes") * 1_000_000), Ratio(of("share_ppm")));
        assert_eq!(real.is_none(), of("ropes") == 7, "{case}");
        if let Some(real) = real {
            let other = answer["advantage"].as_f64().expect("a number");
            assert!(
                (real.0 as f64 / 1e6 - other).abs() < 2e-6,
                "{real:?} and {other}"
            );
            near("pull", haul_pull(mass, real).0, 1.0);
        }
    }
}

#[test]
fn hauls_are_as_strong_as_published() {
    // K12, mechanics and rescue notes of the University of Oregon: 1 + e + ... for efficiency 0.90 and 0.75.
    for (ropes, share, expected) in [
        (2, 900_000, 1_900_000),
        (3, 900_000, 2_710_000),
        (5, 900_000, 4_095_100),
        (2, 750_000, 1_750_000),
        (3, 750_000, 2_312_500),
        (5, 750_000, 3_050_781),
    ] {
        let real = advantage(Ratio(ropes * 1_000_000), Ratio(share)).expect("it is known");
        assert!((real.0 - expected).abs() <= 1, "{ropes}: {real:?}");
    }
    // The ideal 3 to 1: 180 lb with 60 lb.
    assert_eq!(
        advantage(Ratio(3_000_000), Ratio(1_000_000)),
        Some(Ratio(3_000_000))
    );
    assert_eq!(advantage(Ratio(2_500_000), Ratio(900_000)), None);
    // 100 kg on a 3 to 1 at 0.90 with g = 9.80665 m/s2: 362 N.
    assert_eq!(haul_pull(Grams(100_000), Ratio(2_710_000)), Newtons(362));
}

#[test]
fn hauling_is_shared_by_those_who_stand_there() {
    // 100 kg on a 3 to 1 at 0.90: 362 N (K12). The limit is a judgement: 400 N for each who hauls.
    let mut plan = site();
    let verdict = judged(&plan, "haul", "haul", Rule::HaulPull);
    assert_eq!(
        (verdict.figure.as_str(), verdict.outcome),
        ("362 N", Outcome::Fits)
    );
    assert_eq!(verdict.limit, "800 N");
    edge(&mut plan).heaviest = written("140 kg");
    let haul = |plan: &mut Plan| {
        let methods = &mut edge(plan).methods;
        let at = methods.iter().position(|it| it.id == "haul");
        at.expect("the method is there")
    };
    let at = haul(&mut plan);
    assert_eq!(
        outcome(&plan, "haul", "haul", Rule::HaulPull),
        Outcome::Fits
    );
    edge(&mut plan).methods[at].roles.truncate(1);
    let alone = judged(&plan, "haul", "haul", Rule::HaulPull);
    assert_eq!(
        (alone.figure.as_str(), alone.limit.as_str()),
        ("507 N", "400 N")
    );
    assert_eq!(
        alone.outcome,
        Outcome::Caution,
        "hard work is no reason to leave it"
    );
}

#[test]
fn a_haul_takes_rope_for_every_part() {
    // K12: a 3 to 1 takes 3 ft of rope per ft. The ring hangs 1.476 m below the roof, the feet 3.305 m: 4.43 and 9.92 m.
    for (length, expected) in [
        (9_920, Outcome::Fits),
        (9_900, Outcome::Caution),
        (4_430, Outcome::Caution),
        (4_420, Outcome::Physical),
    ] {
        let mut plan = site();
        item(&mut plan, "haul").length = Some(Millimetres(length));
        let verdict = judged(&plan, "haul", "haul", Rule::HaulingRope);
        assert_eq!(verdict.outcome, expected, "{verdict:?}");
    }
}

#[test]
fn a_rope_for_lowering_reaches_the_ground() {
    // The ring hangs 8.524 m above the yard, the roof is at 10 m.
    for (length, expected) in [
        (10_000, Outcome::Fits),
        (9_000, Outcome::Caution),
        (8_524, Outcome::Caution),
        (8_500, Outcome::Physical),
    ] {
        let mut plan = site();
        item(&mut plan, "rope").length = Some(Millimetres(length));
        let verdict = judged(&plan, "pick-off", "rope", Rule::LoweringRope);
        assert_eq!(verdict.outcome, expected, "{verdict:?}");
    }
    let mut plan = site();
    item(&mut plan, "rope").length = Some(metres(8.0));
    let verdicts = pieces(&plan, "pick-off", "rope", &Today::default());
    let unfit = physical(&verdicts).expect("it is too short");
    assert_eq!(
        unfit,
        Unfit::TooShort {
            kit: "rope R-1".to_owned(),
            has_mm: 8_000,
            needs_mm: 8_524
        }
    );
    assert_eq!(
        unfit.message().text(Language::English),
        "rope R-1 too short: 8 m of 8.5 m"
    );
}

#[test]
fn a_ladder_stands_one_out_for_four_up() {
    // K15, 29 CFR 1926.1053(b)(5)(i), from memory: about 75.5 degrees; 8 m of ladder stand 7.746 m high.
    let height = ladder_height(Millimetres(8_000), Ratio(4_000_000));
    assert_eq!(height, Millimetres(7_745));
    let angle = (height.0 as f64 / 8_000.0).asin().to_degrees();
    assert!((angle - 75.5).abs() < 0.05, "{angle}");
    // The feet are at 6.695 m. Rails stand 3 ft above a landing (b)(1), from memory.
    for (length, expected) in [
        (7_862, Outcome::Fits),
        (7_840, Outcome::Caution),
        (6_920, Outcome::Caution),
        (6_900, Outcome::Physical),
    ] {
        let mut plan = site();
        item(&mut plan, "ladder").length = Some(Millimetres(length));
        let verdict = judged(&plan, "ladder-from-below", "ladder", Rule::LadderLength);
        assert_eq!(verdict.outcome, expected, "{verdict:?}");
    }
}

#[test]
fn a_ladder_from_above_hangs_down_to_the_feet() {
    for (length, expected) in [(3_305, Outcome::Fits), (3_300, Outcome::Physical)] {
        let mut plan = site();
        item(&mut plan, "ladder").length = Some(Millimetres(length));
        let verdict = judged(&plan, "ladder", "ladder", Rule::LadderLength);
        assert_eq!(verdict.outcome, expected, "{verdict:?}");
    }
    // Where the plan's height is counted from something else, nothing that rests on it is certain.
    let mut plan = site();
    edge(&mut plan).feet_above_ground = written("30 m");
    item(&mut plan, "ladder").length = Some(metres(2.0));
    assert_eq!(
        outcome(&plan, "ladder", "ladder", Rule::LadderLength),
        Outcome::Caution
    );
}

#[test]
fn a_lift_reaches_the_feet_from_where_it_stands() {
    for (reach, expected) in [(6_695, Outcome::Fits), (6_600, Outcome::Physical)] {
        let mut plan = site();
        item(&mut plan, "lift").reach = Some(Millimetres(reach));
        let verdict = judged(&plan, "lift", "lift", Rule::LiftReach);
        assert_eq!(verdict.outcome, expected, "{verdict:?}");
    }
    // Two readings of the height: it cannot work only where it fails in both.
    let mut plan = site();
    edge(&mut plan).feet_above_ground = written("4 m");
    for (reach, expected) in [
        (7_000, Outcome::Fits),
        (5_000, Outcome::Caution),
        (3_900, Outcome::Physical),
    ] {
        item(&mut plan, "lift").reach = Some(Millimetres(reach));
        assert_eq!(outcome(&plan, "lift", "lift", Rule::LiftReach), expected);
    }
    let arrest = edge(&mut plan).arrest.as_mut().expect("it has a set-up");
    arrest.offset = Some(metres(2.0));
    for (outreach, expected) in [(2_000, Outcome::Fits), (1_999, Outcome::Caution)] {
        item(&mut plan, "lift").outreach = Some(Millimetres(outreach));
        assert_eq!(outcome(&plan, "lift", "lift", Rule::LiftOutreach), expected);
    }
}

#[test]
fn a_descender_takes_the_energy_of_its_class() {
    // K9, EN 341: 7.5e6 J for class A, whose example is 75 descents of 100 kg over 100 m; 1.5e6 J for B, 0.5e6 J for C.
    // The formula W = m g h n is from memory.
    let example = descent_energy(Grams(100_000), metres(100.0), 75);
    assert_eq!(example, 7_354_988);
    assert!(class_energy(DescentClass::A).expect("A has a figure") >= example);
    assert!(7_500_000 < descent_energy(Grams(100_000), metres(100.0), 77));
    assert_eq!(class_energy(DescentClass::B), Some(1_500_000));
    assert_eq!(class_energy(DescentClass::C), Some(500_000));
    assert_eq!(class_energy(DescentClass::D), None);

    // 100 kg and a rescuer of 80 to 100 kg over 300 m: 529.6 to 588.4 kJ. Class C cannot, and it could over 260 m with
    // the lighter one only: 459.0 to 509.9 kJ.
    let mut plan = site();
    item(&mut plan, "descender").descent_class = Some(DescentClass::C);
    for (feet, expected) in [
        ("250 m", Outcome::Fits),
        ("260 m", Outcome::Caution),
        ("300 m", Outcome::Physical),
    ] {
        edge(&mut plan).feet_above_ground = written(feet);
        let verdict = judged(&plan, "descender", "descender", Rule::DescentEnergy);
        assert_eq!(verdict.outcome, expected, "{verdict:?}");
    }
    item(&mut plan, "descender").descent_class = Some(DescentClass::D);
    let single = judged(&plan, "descender", "descender", Rule::DescentEnergy);
    assert_eq!(
        (single.limit.as_str(), single.outcome),
        ("one descent", Outcome::Fits)
    );
}

#[test]
fn a_descent_takes_half_a_minute_to_two() {
    // K10, EN 341, from memory: 0.5 to 2 m/s, so 60 m take 30 to 120 s.
    let mut plan = site();
    edge(&mut plan).feet_above_ground = written("60 m");
    let verdict = judged(&plan, "descender", "descender", Rule::DescentTime);
    assert_eq!(verdict.figure, "30 s to 120 s");
    assert_eq!(verdict.limit, "0.5 m/s to 2 m/s");
}

#[test]
fn a_descent_on_rope_has_a_published_end() {
    // K14, 29 CFR 1910.27(b)(2)(i): 300 ft, published with 91 m; each is compared with its own.
    for (feet, expected) in [
        ("300 ft", Outcome::Fits),
        ("301 ft", Outcome::Caution),
        ("91 m", Outcome::Fits),
        ("91.4 m", Outcome::Caution),
    ] {
        let mut plan = site();
        edge(&mut plan).feet_above_ground = written(feet);
        let verdicts = in_table(&plan, Rule::RopeDescent);
        assert!(!verdicts.is_empty());
        for verdict in verdicts {
            assert_eq!(verdict.outcome, expected, "{feet}: {verdict:?}");
        }
    }
}

#[test]
fn a_deep_entry_needs_mechanical_retrieval() {
    // K14, 29 CFR 1910.146(k)(3)(ii): deeper than 5 ft.
    let outcomes = |depth: &str, retrieval: Option<&str>| -> Vec<Outcome> {
        let mut plan = site();
        let space = edge(&mut plan).confined_space.as_mut();
        let space = space.expect("it is a confined space");
        space.depth = written(depth);
        space.retrieval = retrieval.map(str::to_owned);
        let verdicts = in_table(&plan, Rule::EntryRetrieval);
        verdicts.into_iter().map(|it| it.outcome).collect()
    };
    assert_eq!(outcomes("5 ft", None), []);
    assert_eq!(outcomes("6 ft", None), [Outcome::Paper]);
    assert_eq!(outcomes("6 ft", Some("tripod winch")), [Outcome::Fits]);
}

// ---------------------------------------------------------------------------------------------------------------
// Loads, strengths, papers.

#[test]
fn a_load_over_the_rating_cannot_work() {
    // The casualty weighs 100 kg, the two who may go 80 and 100 kg: K4 counts casualty and rescuer as two persons.
    for (rated, expected) in [
        ("200 kg", Outcome::Fits),
        ("199 kg", Outcome::Caution),
        ("180 kg", Outcome::Caution),
        ("179 kg", Outcome::Physical),
    ] {
        let mut plan = site();
        item(&mut plan, "descender").rated_mass = written(rated);
        let verdict = judged(&plan, "descender", "descender", Rule::RatedLoad);
        assert_eq!(verdict.outcome, expected, "{verdict:?}");
        // On a ladder there is the casualty alone.
        item(&mut plan, "ladder").rated_mass = written("100 kg");
        assert_eq!(
            outcome(&plan, "ladder", "ladder", Rule::RatedLoad),
            Outcome::Fits
        );
    }
    let mut plan = site();
    item(&mut plan, "ladder").rated_mass = written("220 lb");
    let verdict = judged(&plan, "ladder", "ladder", Rule::RatedLoad);
    assert_eq!(
        (verdict.figure.as_str(), verdict.limit.as_str()),
        ("220 lb", "220 lb")
    );
    assert_eq!(verdict.outcome, Outcome::Physical, "100 kg are 220.46 lb");
}

#[test]
fn who_is_not_weighed_rules_nothing_out() {
    let mut plan = site();
    for person in &mut plan.responders {
        person.mass = None;
    }
    item(&mut plan, "descender").rated_mass = written("230 kg");
    let verdict = judged(&plan, "descender", "descender", Rule::RatedLoad);
    // K4: a person with tools is taken for 310 lb (140.6 kg) at most.
    assert_eq!(verdict.figure, "100 kg to 241 kg");
    assert_eq!(verdict.outcome, Outcome::Caution);
}

#[test]
fn a_basket_holds_as_many_as_it_is_rated_for() {
    // Operator, rescuer and casualty; the one at the ground controls is not in it.
    for (persons, expected) in [(3, Outcome::Fits), (2, Outcome::Physical)] {
        let mut plan = site();
        item(&mut plan, "lift").persons = Some(persons);
        let verdict = judged(&plan, "lift", "lift", Rule::Persons);
        assert_eq!((verdict.figure.as_str(), verdict.outcome), ("3", expected));
    }
}

#[test]
fn kit_without_a_rated_mass_holds_a_person_of_the_standards() {
    // K4, test criteria of 29 CFR 1926.502 and 1910.140: 310 lb (140 kg); each is compared with its own.
    let heavy = |mass: &str| -> Vec<Outcome> {
        let mut plan = site();
        edge(&mut plan).heaviest = written(mass);
        let verdicts = pieces(&plan, "pick-off", "rope", &Today::default());
        let loads = verdicts.into_iter().filter(|it| it.rule == Rule::RatedLoad);
        loads.map(|it| it.outcome).collect()
    };
    assert_eq!(heavy("310 lb"), []);
    assert_eq!(heavy("140 kg"), []);
    assert_eq!(heavy("311 lb"), [Outcome::Paper]);
    assert_eq!(heavy("141 kg"), [Outcome::Paper]);
}

#[test]
fn a_missing_rating_is_a_matter_of_papers() {
    let mut plan = site();
    item(&mut plan, "ladder").rated_mass = None;
    assert_eq!(
        outcome(&plan, "ladder", "ladder", Rule::Rating),
        Outcome::Paper
    );
    let verdicts = pieces(&plan, "ladder", "ladder", &Today::default());
    assert_eq!(physical(&verdicts), None);
}

#[test]
fn strength_is_judged_by_the_rescue_load() {
    // 100 kg and 80 to 100 kg: 1,765 to 1,961 N; ten times (a judgement) the heavier is 19.61 kN.
    for (strength, expected) in [
        ("19.7 kN", Outcome::Fits),
        ("19.5 kN", Outcome::Caution),
        ("1 kN", Outcome::Caution),
        // On the rope of whoever stays above there may be the casualty alone: 981 N.
        ("0.9 kN", Outcome::Physical),
    ] {
        let mut plan = site();
        item(&mut plan, "rope").strength = written(strength);
        let verdict = judged(&plan, "pick-off", "rope", Rule::RescueStrength);
        assert_eq!(verdict.outcome, expected, "{verdict:?}");
    }
    // A rating for a rescue goes before the factor.
    let mut plan = site();
    item(&mut plan, "rope").strength = written("10 kN");
    item(&mut plan, "rope").rescue_strength = written("2 kN");
    assert_eq!(
        outcome(&plan, "pick-off", "rope", Rule::RescueStrength),
        Outcome::Fits
    );
}

#[test]
fn the_figure_for_fall_arrest_only_asks_for_a_look() {
    // K1, 29 CFR 1926.502(d)(15): 5,000 lbf, published with 22.2 kN. Both pass and 22 kN does not.
    for (strength, expected) in [
        ("5000 lbf", Outcome::Fits),
        ("22.2 kN", Outcome::Fits),
        ("22 kN", Outcome::Caution),
        ("4999 lbf", Outcome::Caution),
    ] {
        let mut plan = site();
        let role = &mut edge(&mut plan).methods[0].roles[0];
        role.anchorage_strength = written(strength);
        let verdicts = in_table(&plan, Rule::FallArrestStrength);
        let verdict = verdicts
            .iter()
            .find(|it| it.method.as_deref() == Some("ladder"));
        let verdict = verdict.expect("the role is tied to something");
        assert_eq!(verdict.outcome, expected, "{verdict:?}");
    }
}

#[test]
fn connectors_lock_and_hold_as_published() {
    // K3, 29 CFR 1926.502(d)(4)-(12): self-locking, 5,000 lbf.
    let mut plan = site();
    for (rule, expected) in [
        (Rule::Locking, Outcome::Fits),
        (Rule::ConnectorStrength, Outcome::Fits),
    ] {
        assert_eq!(outcome(&plan, "pick-off", "hook", rule), expected);
    }
    item(&mut plan, "hook").self_locking = false;
    item(&mut plan, "hook").strength = written("22 kN");
    for rule in [Rule::Locking, Rule::ConnectorStrength] {
        assert_eq!(outcome(&plan, "pick-off", "hook", rule), Outcome::Paper);
    }
}

#[test]
fn what_arrested_the_fall_counts_as_zero() {
    let mut plan = site();
    let name = "Roof Anchor 1 ";
    edge(&mut plan).methods[0].roles[0].anchorage = Some(name.to_owned());
    let verdict = in_table(&plan, Rule::ArrestAnchorage).remove(0);
    assert_eq!(verdict.outcome, Outcome::Physical);
    let unfit = verdict.unfit.expect("it is physical");
    assert_eq!(
        unfit,
        Unfit::SpentAnchorage {
            anchorage: name.to_owned()
        }
    );
    let anchorage = edge(&mut plan).anchorage.as_mut();
    anchorage.expect("it has an anchorage").holds_on = true;
    let verdict = in_table(&plan, Rule::ArrestAnchorage).remove(0);
    assert_eq!(verdict.outcome, Outcome::Fits);
}

#[test]
fn nobody_is_lowered_onto_what_has_no_control() {
    let outcomes = |ground: Option<Ground>, control: Option<&str>| -> Vec<Outcome> {
        let mut plan = site();
        edge(&mut plan).ground = ground;
        edge(&mut plan).ground_control = control.map(str::to_owned);
        let mut outcomes: Vec<_> = in_table(&plan, Rule::Lowering)
            .into_iter()
            .map(|it| it.outcome)
            .collect();
        outcomes.dedup();
        outcomes
    };
    assert_eq!(outcomes(None, None), [Outcome::NotSaid]);
    assert_eq!(outcomes(Some(Ground::Firm), None), [Outcome::Fits]);
    for ground in [
        Ground::Water,
        Ground::LivePlant,
        Ground::FragileRoof,
        Ground::Public,
    ] {
        assert_eq!(outcomes(Some(ground), None), [Outcome::Physical]);
        assert_eq!(
            outcomes(Some(ground), Some("a boat stands by")),
            [Outcome::Fits]
        );
    }
}

#[test]
fn the_day_decides_about_wind_and_dates() {
    let plan = site();
    let on = |wind_mm_s: Option<i64>, day: &str| {
        let today = Today {
            wind: wind_mm_s.map(Speed),
            day: Some(day.parse::<NaiveDate>().expect("it is a day")),
        };
        let verdicts = pieces(&plan, "lift", "lift", &today);
        let of = |rule: Rule| {
            let found = verdicts.iter().find(|it| it.rule == rule);
            found.expect("it is judged").outcome
        };
        (of(Rule::Wind), of(Rule::Inspection), physical(&verdicts))
    };
    assert_eq!(
        on(None, "2037-02-01"),
        (Outcome::NotSaid, Outcome::Fits, None)
    );
    assert_eq!(
        on(Some(12_500), "2037-02-02"),
        (Outcome::Fits, Outcome::Paper, None)
    );
    let (wind, _, unfit) = on(Some(12_501), "2037-02-01");
    assert_eq!(wind, Outcome::Physical);
    assert_eq!(
        unfit.expect("it blows").message().text(Language::English),
        "too windy for lift 1: 12.6 m/s over 12.5 m/s"
    );
}

#[test]
fn what_is_gone_is_gone() {
    let mut plan = site();
    item(&mut plan, "lift").out_of_service = Some("hose leaks".to_owned());
    let verdicts = pieces(&plan, "lift", "lift", &Today::default());
    assert_eq!(verdicts.len(), 1, "nothing else of it matters");
    let unfit = physical(&verdicts).expect("it is gone");
    assert_eq!(
        unfit.message().text(Language::English),
        "lift 1 is out of service"
    );
    plan.stations[0].kit.retain(|it| it.kind != "lift");
    let gone = in_table(&plan, Rule::InService);
    assert_eq!(
        gone[0].unfit,
        Some(Unfit::NoKit {
            kind: "lift".to_owned()
        })
    );
}

#[test]
fn the_best_piece_decides() {
    let mut plan = site();
    let look = |plan: &Plan| at_best(&fit(plan, &plan.positions[0], &Today::default()));
    assert!(look(&plan) < Outcome::Paper);
    let mut short = item(&mut plan, "ladder").clone();
    short.id = "short".to_owned();
    short.length = Some(metres(1.0));
    plan.stations[0].kit.push(short);
    assert!(
        look(&plan) < Outcome::Paper,
        "the longer one is still there"
    );
    item(&mut plan, "ladder").out_of_service = Some("bent".to_owned());
    assert_eq!(look(&plan), Outcome::Physical);
}

#[test]
fn reasons_are_kept_as_names_and_whole_numbers() {
    let unfit = Unfit::TooHeavy {
        kit: "hoist H-1".to_owned(),
        load_g: 240_000,
        rated_g: 200_000,
    };
    let text = serde_json::to_string(&unfit).expect("it can be written");
    assert_eq!(
        text,
        r#"{"why":"too-heavy","kit":"hoist H-1","load_g":240000,"rated_g":200000}"#
    );
    let back: Unfit = serde_json::from_str(&text).expect("it can be read");
    assert_eq!(back, unfit);
    assert_eq!(
        unfit.message().text(Language::English),
        "hoist H-1 overloaded: 240 kg on 200 kg"
    );
}

// ---------------------------------------------------------------------------------------------------------------
// What may never be.

/// A site with heights, kit and people of chance.
fn any_site(chance: &mut Chance) -> Plan {
    let mut plan = site();
    let rise = 2_000 + chance.below(40_000) as i64;
    plan.links[0].rise = Millimetres(rise);
    if chance.one_in(2) {
        let feet = chance.below(45_000);
        edge(&mut plan).feet_above_ground = written(&format!("{feet} mm"));
    }
    if chance.one_in(2) {
        edge(&mut plan).heaviest = written(&format!("{} kg", 50 + chance.below(120)));
    }
    let arrest = edge(&mut plan).arrest.as_mut().expect("it has a set-up");
    arrest.length = written(&format!("{} mm", chance.below(6_000)));
    arrest.anchor_above_ring = Some(Millimetres(chance.below(6_000) as i64 - 3_000));
    for person in &mut plan.responders {
        person.mass = (!chance.one_in(5)).then(|| Grams(50_000 + chance.below(90_000) as i64));
    }
    for item in &mut plan.stations[0].kit {
        item.length = item
            .length
            .map(|_| Millimetres(chance.below(60_000) as i64));
        item.reach = item.reach.map(|_| Millimetres(chance.below(60_000) as i64));
        if item.rated_mass.is_some() {
            item.rated_mass = written(&format!("{} kg", 60 + chance.below(400)));
        }
        if item.strength.is_some() {
            item.strength = written(&format!("{} N", 500 + chance.below(30_000)));
        }
    }
    plan
}

/// Every verdict in both, in pairs; the two plans differ in figures alone.
fn pairs(one: &Plan, other: &Plan) -> Vec<(Verdict, Verdict)> {
    let today = Today::default();
    let (one, other) = (
        fit(one, &one.positions[0], &today),
        fit(other, &other.positions[0], &today),
    );
    let key = |it: &Verdict| (it.rule, it.method.clone(), it.role.clone(), it.item.clone());
    let mut pairs = Vec::new();
    for before in &one {
        let after = other.iter().filter(|it| key(it) == key(before));
        pairs.extend(after.map(|after| (before.clone(), after.clone())));
    }
    assert!(pairs.len() > 20, "there is something to compare");
    pairs
}

#[test]
fn more_length_never_rules_anything_out() {
    let mut chance = Chance(21);
    let mut ruled_in = 0;
    for round in 0..500 {
        let plan = any_site(&mut chance);
        let mut longer = plan.clone();
        for item in &mut longer.stations[0].kit {
            let more = Millimetres(chance.below(10_000) as i64);
            item.length = item.length.map(|it| it.saturating_add(more));
            item.reach = item.reach.map(|it| it.saturating_add(more));
        }
        for (before, after) in pairs(&plan, &longer) {
            assert!(
                after.outcome <= before.outcome,
                "round {round}: {before:?} {after:?}"
            );
            let was = before.outcome == Outcome::Physical;
            ruled_in += u32::from(was && after.outcome < Outcome::Physical);
        }
    }
    assert!(ruled_in > 50, "length mattered {ruled_in} times only");
}

#[test]
fn more_weight_never_rules_anything_in() {
    let mut chance = Chance(22);
    let mut ruled_out = 0;
    for round in 0..500 {
        let mut plan = any_site(&mut chance);
        let mass = 50 + chance.below(120);
        edge(&mut plan).heaviest = written(&format!("{mass} kg"));
        let mut heavier = plan.clone();
        edge(&mut heavier).heaviest = written(&format!("{} kg", mass + chance.below(60)));
        for (before, after) in pairs(&plan, &heavier) {
            assert!(
                after.outcome >= before.outcome,
                "round {round}: {before:?} {after:?}"
            );
            let was = before.outcome < Outcome::Physical;
            ruled_out += u32::from(was && after.outcome == Outcome::Physical);
        }
    }
    assert!(ruled_out > 50, "weight mattered {ruled_out} times only");
}

#[test]
fn only_what_physics_forbids_is_physical() {
    let mut chance = Chance(23);
    for _ in 0..500 {
        let plan = any_site(&mut chance);
        let today = Today {
            wind: Some(Speed(chance.below(20_000) as i64)),
            day: Some(day()),
        };
        for verdict in fit(&plan, &plan.positions[0], &today) {
            let physical = verdict.outcome == Outcome::Physical;
            assert_eq!(physical, verdict.unfit.is_some(), "{verdict:?}");
            let paper = [
                Rule::Rating,
                Rule::FallArrestStrength,
                Rule::Locking,
                Rule::ConnectorStrength,
                Rule::Inspection,
                Rule::HaulPull,
                Rule::RopeDescent,
                Rule::LiftOutreach,
                Rule::EntryRetrieval,
                Rule::FreeFall,
                Rule::Clearance,
                Rule::Height,
            ];
            assert!(!(physical && paper.contains(&verdict.rule)), "{verdict:?}");
            assert!(!verdict.source.is_empty() && !verdict.name.is_empty());
        }
    }
}

// ---------------------------------------------------------------------------------------------------------------
// The built-in sites, and the command.

#[test]
fn the_built_in_sites_are_sound() {
    for (name, text) in [("grain", DEMO), ("bridge", DEMO_BRIDGE)] {
        let plan = read(name, text.as_bytes()).plan.expect("it is fit");
        let today = Today {
            wind: Some(Speed(9_000)),
            day: Some(day()),
        };
        let elevations = Elevations::of(&plan);
        for position in &plan.positions {
            let fitting = Fitting::with(&plan, position, &elevations);
            let verdicts = fitting.table(&today);
            assert_eq!(verdicts, fit(&plan, position, &today));
            let worst = at_best(&verdicts);
            assert!(
                worst < Outcome::Paper,
                "{name}, {}: {verdicts:#?}",
                position.name
            );
        }
    }
}

fn said(
    position: &str,
    wind_mm_s: Option<i64>,
    format: Format,
) -> Result<(u8, String), (u8, String)> {
    let today = Today {
        wind: wind_mm_s.map(Speed),
        day: Some(day()),
    };
    groundward::cli::fit::fit("grain.toml", DEMO.as_bytes(), position, &today, format)
}

#[test]
fn the_table_is_narrow_and_says_the_worst_first() {
    let plan = read("grain.toml", DEMO.as_bytes()).plan.expect("it is fit");
    for position in &plan.positions {
        let (_, text) = said(&position.id, Some(9_000), Format::Text).expect("it is there");
        for line in text.lines() {
            assert!(line.chars().count() <= 100, "{line}");
        }
        assert!(text.contains("competent person decides"), "{text}");
    }
    let (code, text) =
        said("Silo 3 roof, east hatch", Some(13_000), Format::Text).expect("it is there");
    assert_eq!(code, 1, "it blows too hard for the lift");
    let lift = text
        .split("\nBoom lift\n")
        .nth(1)
        .expect("the method has a section");
    let first = lift.lines().nth(1).expect("it has a row");
    assert!(first.starts_with("CANNOT WORK"), "{first}");
    assert_eq!(
        said("silo3", Some(9_000), Format::Text)
            .expect("it is there")
            .0,
        0
    );
}

#[test]
fn a_program_reads_the_same_verdicts() {
    let (code, text) = said("silo3", Some(13_000), Format::Json).expect("it is there");
    let json: serde_json::Value = serde_json::from_str(&text).expect("it is JSON");
    assert_eq!((code, &json["fits"]), (1, &json!(false)));
    let verdicts = json["verdicts"].as_array().expect("there are verdicts");
    let wind = verdicts
        .iter()
        .find(|it| it["rule"] == "wind" && it["item"] == "lift-1");
    let wind = wind.expect("the lift is judged by the wind");
    assert_eq!(wind["outcome"], "physical");
    assert_eq!(wind["unfit"]["why"], "wind");
    assert_eq!(json["heights"]["feet_above_landing_mm"], 27_000);
    for verdict in verdicts {
        let rule = verdict["rule"].as_str().expect("a rule");
        let known: Rule = serde_json::from_value(json!(rule)).expect("it is a rule");
        assert_eq!(known.spelled(), rule);
    }
}

#[test]
fn an_unknown_position_gets_the_names_there_are() {
    let (code, why) = said("nowhere", None, Format::Text).expect_err("it is not there");
    assert_eq!(code, 2);
    assert!(why.contains("`silo3` (Silo 3 roof, east hatch)"), "{why}");
    let today = Today::default();
    let broken = groundward::cli::fit::fit("x.toml", b"format = 2", "a", &today, Format::Text);
    assert_eq!(broken.expect_err("it is no plan").0, 1);
}
