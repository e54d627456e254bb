//! Tries the order in which methods are tried: the cases that the rule names, and the rule itself against another way to say it.

use groundward::readiness::{Aim, Candidate, in_order, target_is_lost};
use groundward::units::{Millis, Ratio};

use crate::support::Chance;

/// The default of the policy, a judgement.
const FLOOR: Ratio = Ratio(200_000);

/// A method that meets the target with this chance, works with that one, and takes so long, in seconds.
fn method(chance: i64, works: i64, off: i64) -> Candidate {
    Candidate {
        last: false,
        earlier: false,
        chance: Ratio(chance * 10_000),
        works: Ratio(works * 10_000),
        hands: Millis::from_seconds(off - 30),
        off: Millis::from_seconds(off),
    }
}

fn off(candidates: &[Candidate]) -> Vec<usize> {
    in_order(candidates, Aim::OffHarness, FLOOR)
}

#[test]
fn sure_soon_after_the_target_goes_before_hardly_ever_just_in_time() {
    // Target 540 s (S1). Neither likely meets it: one is off in 539 s twice in a hundred times, the other at 550 s for sure.
    let hardly = method(2, 2, 539);
    let sure = method(0, 100, 550);
    assert_eq!(off(&[hardly, sure]), [1, 0]);
    assert_eq!(off(&[sure, hardly]), [0, 1]);
    assert!(target_is_lost(&[hardly, sure], FLOOR));
}

#[test]
fn past_the_target_the_fastest_that_likely_works_leads() {
    let slow_sure = method(0, 100, 900);
    let fast_likely = method(0, 60, 700);
    let fastest_unlikely = method(0, 10, 640);
    let all = [slow_sure, fast_likely, fastest_unlikely];
    assert_eq!(off(&all), [1, 0, 2]);
    assert!(target_is_lost(&all, FLOOR));
}

#[test]
fn below_the_floor_goes_behind_and_at_the_floor_does_not() {
    let below = Candidate {
        chance: Ratio(FLOOR.0 - 1),
        ..method(19, 90, 500)
    };
    let at = Candidate {
        chance: FLOOR,
        ..below
    };
    let good = method(80, 90, 300);
    assert_eq!(off(&[below, good]), [1, 0]);
    assert_eq!(off(&[at, good]), [0, 1], "the order of the ladder holds");
    assert!(!target_is_lost(&[below, good], FLOOR));
}

#[test]
fn for_one_who_does_not_answer_hands_on_the_airway_come_first() {
    let quick_off = Candidate {
        hands: Millis::from_seconds(300),
        ..method(90, 90, 310)
    };
    let quick_hands = Candidate {
        hands: Millis::from_seconds(120),
        ..method(10, 50, 600)
    };
    assert_eq!(
        in_order(&[quick_off, quick_hands], Aim::Hands, FLOOR),
        [1, 0]
    );
    assert_eq!(off(&[quick_off, quick_hands]), [0, 1]);
}

#[test]
fn last_choices_go_last_whatever_they_promise() {
    let last = Candidate {
        last: true,
        ..method(99, 99, 60)
    };
    let poor = method(1, 5, 1_500);
    assert_eq!(off(&[last, poor]), [1, 0]);
    assert_eq!(in_order(&[last, poor], Aim::Hands, FLOOR), [1, 0]);
    assert!(
        target_is_lost(&[last, poor], FLOOR),
        "nor do they save the target"
    );
    assert_eq!(off(&[last]), [0]);
}

#[test]
fn what_stands_before_the_running_method_goes_behind_the_later_ones() {
    let earlier = Candidate {
        earlier: true,
        ..method(70, 80, 200)
    };
    let later = method(50, 60, 300);
    assert_eq!(off(&[earlier, later]), [1, 0]);
    let below = method(5, 60, 300);
    assert_eq!(
        off(&[earlier, below]),
        [0, 1],
        "but not behind the unlikely"
    );
}

/// True where the first goes before the second, in the words of the rule, one pair at a time.
fn goes_before(all: &[Candidate], first: usize, second: usize, aim: Aim, floor: Ratio) -> bool {
    let (one, other) = (&all[first], &all[second]);
    if one.last != other.last {
        return other.last;
    }
    let by_ladder = first < second;
    if aim == Aim::Hands {
        return one.hands < other.hands || one.hands == other.hands && by_ladder;
    }
    let mut sound = all.iter().filter(|it| !it.last);
    if sound.all(|it| it.chance < floor) {
        let likely = [one.works >= floor, other.works >= floor];
        return match likely {
            [true, false] => true,
            [false, true] => false,
            _ => one.off < other.off || one.off == other.off && by_ladder,
        };
    }
    match [one.chance >= floor, other.chance >= floor] {
        [true, false] => true,
        [false, true] => false,
        _ if one.earlier != other.earlier => other.earlier,
        _ => by_ladder,
    }
}

#[test]
fn the_order_is_the_only_one_that_the_rule_allows() {
    let mut chance = Chance(51);
    let (mut lost, mut moved) = (0, 0);
    for instance in 0..2_000 {
        let aim = [Aim::OffHarness, Aim::Hands][instance % 2];
        let count = 1 + chance.below(6) as usize;
        // Few different figures, so that there are ties; chances low in every other set, so that none meets the target.
        let most = if chance.one_in(2) { 3 } else { 11 };
        let all: Vec<Candidate> = (0..count)
            .map(|_| {
                let works = chance.below(11) as i64 * 10;
                Candidate {
                    last: chance.one_in(4),
                    earlier: chance.one_in(3),
                    chance: Ratio(chance.below(most) as i64 * 95_000),
                    hands: Millis::from_seconds(60 * chance.below(5) as i64),
                    ..method(0, works, 60 * (1 + chance.below(5) as i64))
                }
            })
            .collect();
        let order = in_order(&all, aim, FLOOR);
        let mut sorted = order.clone();
        sorted.sort_unstable();
        assert_eq!(sorted, (0..count).collect::<Vec<_>>(), "each once");
        for (place, first) in order.iter().enumerate() {
            for second in &order[place + 1..] {
                assert!(
                    goes_before(&all, *first, *second, aim, FLOOR)
                        && !goes_before(&all, *second, *first, aim, FLOOR),
                    "{aim:?} {order:?} {all:#?}"
                );
            }
        }
        moved += u32::from(order != sorted);
        let sound = all.iter().filter(|it| !it.last);
        let meets = sound.filter(|it| it.chance >= FLOOR).count();
        assert_eq!(target_is_lost(&all, FLOOR), meets == 0);
        lost += u32::from(meets == 0);
    }
    assert!(lost > 200 && lost < 1_800 && moved > 500, "{lost} {moved}");
}
