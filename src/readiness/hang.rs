//! Works out how high a casualty hangs: the harness ring and the feet above every place that a way leads to.
//!
//! Elevations of places follow from the rises of the ways; where two ways contradict each other, those places have none.
//! The plan's own height of the feet goes before the one that follows from the set-up (free fall, braking, the shift of
//! the ring, swing). Where both are known and differ, both are kept, because a plan may count from water or a roof while
//! its landing place is elsewhere, and somebody on a long line hangs far below the edge. Limits: a vertical drop on a
//! rigid structure; what a line or a scaffold gives is in the plan's figures or nowhere.

use std::cmp::Reverse;
use std::collections::{BTreeMap, VecDeque};

use crate::plan::{Arrest, ArrestKind, Place, Plan, Position, free_fall, swing_drop};
use crate::units::{Millimetres, Written};

/// Two ways to one place that differ by more than this contradict each other, as do two readings of a height. A judgement
/// without a source: half a storey is a slip, a step is not.
const CONTRADICTION: Millimetres = Millimetres(500);

/// How high the places of a plan are, compared with each other.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Elevations<'p> {
    /// For each place: which group of places it belongs to, and how high it is above the first of them.
    known: BTreeMap<&'p str, (usize, Millimetres)>,
}

impl<'p> Elevations<'p> {
    /// Follows the rises of all ways, closed ones too, because a locked gate changes no height.
    pub fn of(plan: &'p Plan) -> Elevations<'p> {
        let mut usable: Vec<bool> = vec![true; plan.links.len()];
        loop {
            let walk = Walk::over(plan, &usable);
            let slips = walk.contradictions(plan, &usable);
            if slips.is_empty() {
                let known = walk.reached.into_iter();
                return Elevations {
                    known: known
                        .map(|(place, it)| (place, (it.group, it.height)))
                        .collect(),
                };
            }
            // Every way round a contradiction may be the wrong one.
            for link in slips {
                usable[link] = false;
            }
        }
    }

    /// How much higher a place is than another; nothing where no sound way joins them.
    pub fn above(&self, place: &str, other: &str) -> Option<Millimetres> {
        let ((group, height), (other_group, other_height)) =
            (self.known.get(place)?, self.known.get(other)?);
        (group == other_group).then(|| height.saturating_sub(*other_height))
    }
}

/// A place that was walked to.
#[derive(Clone, Copy)]
struct Reached<'p> {
    group: usize,
    height: Millimetres,
    /// How many ways it is from the first place of its group, and by which way from where.
    steps: usize,
    by: Option<(usize, &'p str)>,
}

struct Walk<'p> {
    reached: BTreeMap<&'p str, Reached<'p>>,
}

impl<'p> Walk<'p> {
    fn over(plan: &'p Plan, usable: &[bool]) -> Walk<'p> {
        let mut ways: BTreeMap<&str, Vec<(usize, &str, Millimetres)>> = BTreeMap::new();
        for (index, link) in plan.links.iter().enumerate().filter(|(it, _)| usable[*it]) {
            let down = Millimetres(link.rise.0.saturating_neg());
            let from = ways.entry(&link.from).or_default();
            from.push((index, &link.to, link.rise));
            ways.entry(&link.to)
                .or_default()
                .push((index, &link.from, down));
        }
        let mut reached: BTreeMap<&str, Reached<'_>> = BTreeMap::new();
        for (group, first) in plan.places.iter().enumerate() {
            if reached.contains_key(first.id.as_str()) {
                continue;
            }
            let start = Reached {
                group,
                height: Millimetres::ZERO,
                steps: 0,
                by: None,
            };
            reached.insert(&first.id, start);
            let mut ahead = VecDeque::from([(first.id.as_str(), start)]);
            while let Some((place, here)) = ahead.pop_front() {
                for (link, next, rise) in ways.get(place).into_iter().flatten() {
                    if !reached.contains_key(next) {
                        let there = Reached {
                            height: here.height.saturating_add(*rise),
                            steps: here.steps + 1,
                            by: Some((*link, place)),
                            ..here
                        };
                        reached.insert(next, there);
                        ahead.push_back((next, there));
                    }
                }
            }
        }
        Walk { reached }
    }

    /// All ways of the rounds whose rises do not add up to nothing.
    fn contradictions(&self, plan: &'p Plan, usable: &[bool]) -> Vec<usize> {
        let mut slips = Vec::new();
        for (index, link) in plan.links.iter().enumerate().filter(|(it, _)| usable[*it]) {
            let ends = (
                self.reached.get(link.from.as_str()),
                self.reached.get(link.to.as_str()),
            );
            let (Some(from), Some(to)) = ends else {
                continue;
            };
            let off = from.height.saturating_add(link.rise).0 - to.height.0;
            if off.abs() <= CONTRADICTION.0 {
                continue;
            }
            slips.push(index);
            let (mut one, mut other) = (*from, *to);
            while one.by != other.by {
                let deeper = match one.steps >= other.steps {
                    true => &mut one,
                    false => &mut other,
                };
                slips.extend(deeper.by.map(|(link, _)| link));
                *deeper = self.before(deeper);
            }
        }
        slips
    }

    fn before(&self, reached: &Reached<'p>) -> Reached<'p> {
        let before = reached.by.and_then(|(_, place)| self.reached.get(place));
        before.copied().unwrap_or(*reached)
    }
}

/// Where a casualty hangs.
#[derive(Clone, Debug, PartialEq)]
pub struct Hang {
    /// Feet above what is below, as the plan says.
    pub feet_above_ground: Option<Written<Millimetres>>,
    /// Feet above what is below: the plan's figure, else the one from the set-up where the landing place is below.
    pub feet_above_below: Option<Millimetres>,
    /// Feet above the landing place in each way that it can be known, the better one first: two entries where the plan
    /// and its set-up differ, none where nothing is known.
    pub feet: Vec<Millimetres>,
    /// True where the plan's height cannot be one above the landing place: then `feet` is from the set-up alone, and
    /// nothing that rests on it is certain.
    pub doubted: bool,
    /// Ring of the hanging casualty above its feet: its height and its shift together.
    pub ring_above_feet: Millimetres,
    /// How far the ring hangs below the floor of the position; below zero where it hangs above it.
    pub below_edge: Option<Millimetres>,
    /// Free fall of the set-up.
    pub free_fall: Option<Millimetres>,
    /// How much deeper a swing takes the casualty.
    pub swing: Millimetres,
    /// How far the feet go down from standing to hanging: free fall, braking, shift of the ring and swing.
    pub drop: Option<Millimetres>,
    /// Free height below the ring of a standing worker that the set-up needs.
    pub clearance_needed: Option<Millimetres>,
    /// The one that the plan gives.
    pub clearance_given: Option<Written<Millimetres>>,
}

/// A place, and how high the casualty hangs above it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Above {
    /// Place id.
    pub place: String,
    /// Its level as spoken.
    pub level: String,
    /// Harness ring above its floor; below zero where it hangs deeper.
    pub ring: Millimetres,
    /// Feet above its floor; below zero where they hang deeper.
    pub feet: Millimetres,
}

impl Hang {
    /// The plan's height of the feet and the one from its set-up, where they contradict each other.
    pub fn contradiction(&self) -> Option<[Millimetres; 2]> {
        let given = self.feet_above_ground.as_ref()?.value;
        let other = match (self.doubted, &self.feet[..]) {
            (true, [computed]) | (false, [_, computed]) => *computed,
            _ => return None,
        };
        Some([given, other])
    }

    /// Ring and feet above every place whose height is known, the lowest place first.
    pub fn above(
        &self,
        plan: &Plan,
        position: &Position,
        elevations: &Elevations<'_>,
    ) -> Vec<Above> {
        let Some(feet) = self.feet.first() else {
            return Vec::new();
        };
        let over = |place: &Place| {
            let floor = elevations.above(&place.id, &position.landing)?;
            let feet = feet.saturating_sub(floor);
            Some(Above {
                place: place.id.clone(),
                level: place.level.clone(),
                ring: feet.saturating_add(self.ring_above_feet),
                feet,
            })
        };
        let mut above: Vec<Above> = plan.places.iter().filter_map(over).collect();
        above.sort_by_key(|it| Reverse(it.feet));
        above
    }
}

/// Works out where a casualty hangs at a position.
pub fn hang(plan: &Plan, position: &Position, elevations: &Elevations<'_>) -> Hang {
    let policy = &plan.policy;
    let arrest = position.arrest.as_ref();
    let swing = arrest.map_or(Millimetres::ZERO, swing);
    let free_fall = arrest.and_then(fall);
    let braking = arrest.and_then(|it| it.deceleration.as_ref());
    // The ring goes down by the fall and the braking, and the body in the harness by the shift as well.
    let drop = free_fall.zip(braking).map(|(fall, braking)| {
        [braking.value, policy.ring_shift, swing]
            .into_iter()
            .fold(fall, Millimetres::saturating_add)
    });
    let ring_above_feet = policy.ring_height.saturating_add(policy.ring_shift);
    let floor = elevations.above(&position.place, &position.landing);
    let (feet, doubted) = readings(position, floor, drop);
    let given = position.feet_above_ground.clone();
    let deep = match (floor, feet.first()) {
        (Some(floor), Some(feet)) => Some(floor.saturating_sub(*feet)),
        _ => drop,
    };
    Hang {
        feet_above_below: match &given {
            Some(given) => Some(given.value),
            None => feet.first().copied().filter(|feet| feet.0 >= 0),
        },
        feet_above_ground: given,
        feet,
        doubted,
        ring_above_feet,
        below_edge: deep.map(|deep| deep.saturating_sub(ring_above_feet)),
        free_fall,
        swing,
        drop,
        clearance_needed: drop.map(|drop| {
            drop.saturating_add(policy.ring_height)
                .saturating_add(policy.clearance_margin)
        }),
        clearance_given: arrest.and_then(|it| it.clearance.clone()),
    }
}

/// Feet above the landing place in each way that they can be known, and whether the plan's own figure is counted from
/// something else: nobody hangs with the feet above where they stood.
fn readings(
    position: &Position,
    floor: Option<Millimetres>,
    drop: Option<Millimetres>,
) -> (Vec<Millimetres>, bool) {
    let computed = floor
        .zip(drop)
        .map(|(floor, drop)| floor.saturating_sub(drop));
    let Some(given) = position.feet_above_ground.as_ref().map(|it| it.value) else {
        return (computed.into_iter().collect(), false);
    };
    if floor.is_some_and(|floor| given > floor) {
        return (computed.into_iter().collect(), true);
    }
    let differs = |computed: &Millimetres| {
        let by = given.saturating_sub(*computed).0.saturating_abs();
        by > CONTRADICTION.0
    };
    let other = computed.filter(differs);
    ([given].into_iter().chain(other).collect(), false)
}

/// The free fall as the maker gives it, else from the lanyard and its anchorage.
fn fall(arrest: &Arrest) -> Option<Millimetres> {
    if let Some(given) = &arrest.free_fall {
        return Some(given.value);
    }
    let computed = arrest.length.as_ref().zip(arrest.anchor_above_ring);
    // A line that pays out by itself is longer than anybody falls on it.
    computed
        .filter(|_| arrest.kind != ArrestKind::SelfRetracting)
        .map(|(length, above)| free_fall(length.value, above))
}

fn swing(arrest: &Arrest) -> Millimetres {
    match (arrest.offset, arrest.anchor_above_ring) {
        (Some(offset), Some(above)) if above.0 > 0 => swing_drop(above, offset),
        _ => Millimetres::ZERO,
    }
}
