//! Puts methods into the order in which they are tried.
//!
//! The ladder's order holds. A method whose chance to meet the target is below the floor goes after those above it; where
//! none can meet it, the fastest of those that are likely to work leads; where hands on the casualty are what counts, the
//! one that likely has them there first. Last choices go last in any case. The same rule orders the forecast's ladder and
//! the methods on the screen, so that the two cannot differ. Limits: each method is weighed by itself.

use super::changes::Aim;
use crate::units::{Millis, Ratio};

/// What the order asks of a method.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// True for a last choice: somebody or some paper is missing.
    pub last: bool,
    /// True where it stands before the running method on the ladder.
    pub earlier: bool,
    /// How likely it meets the target if it starts now.
    pub chance: Ratio,
    /// How likely it works at all.
    pub works: Ratio,
    /// Likely time to hands on the casualty, failures counted as late.
    pub hands: Millis,
    /// Likely time to off the harness.
    pub off: Millis,
}

/// Indices of the candidates, given in the order of the ladder, in the order in which they are tried.
pub fn in_order(candidates: &[Candidate], aim: Aim, floor: Ratio) -> Vec<usize> {
    let meets = |it: &Candidate| it.chance >= floor;
    let target_can_be_met = candidates.iter().any(|it| !it.last && meets(it));
    let key = |index: &usize| {
        let it = &candidates[*index];
        match aim {
            Aim::Hands => (it.last, false, false, it.hands, *index),
            Aim::OffHarness if target_can_be_met => {
                (it.last, !meets(it), it.earlier, Millis::ZERO, *index)
            }
            Aim::OffHarness => (it.last, it.works < floor, false, it.off, *index),
        }
    };
    let mut order: Vec<usize> = (0..candidates.len()).collect();
    order.sort_by_key(key);
    order
}

/// True where no candidate but last choices can meet the target.
pub fn target_is_lost(candidates: &[Candidate], floor: Ratio) -> bool {
    !candidates.iter().any(|it| !it.last && it.chance >= floor)
}
