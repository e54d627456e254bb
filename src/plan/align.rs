//! Finds which items of two lists are the same thing.
//!
//! Lists of steps are matched by their longest common subsequence, so that one more step leaves all others where they are.
//! The answer is the same whichever list comes first: a comparison of two plans mirrors the one the other way round.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// Most comparisons for one pair of lists; above it only what stands at both ends is held in place.
const COMPARISONS_MAX: usize = 4_000_000;

/// Items of two lists that say the same, by their indices.
pub(super) struct Aligned {
    /// In ascending order on both sides.
    pub(super) in_place: Vec<(usize, usize)>,
    /// Those that stand elsewhere now.
    pub(super) moved: BTreeSet<(usize, usize)>,
}

/// For each item of both lists, its twin in the other one.
pub(super) fn twins_of(pairs: &[(usize, usize)], counts: [usize; 2]) -> [Vec<Option<usize>>; 2] {
    let mut twins = counts.map(|count| vec![None; count]);
    for (old, new) in pairs {
        twins[0][*old] = Some(*new);
        twins[1][*new] = Some(*old);
    }
    twins
}

/// Adds pairs with equal tokens, first with first, among the items that have none yet; an item without a token stays alone.
pub(super) fn paired<T: Ord>(
    mut pairs: Vec<(usize, usize)>,
    counts: [usize; 2],
    was: impl Fn(usize) -> Option<T>,
    now: impl Fn(usize) -> Option<T>,
) -> Vec<(usize, usize)> {
    let (old, new): (BTreeSet<usize>, BTreeSet<usize>) = pairs.iter().copied().unzip();
    let mut open: BTreeMap<T, VecDeque<usize>> = BTreeMap::new();
    for index in (0..counts[1]).filter(|index| !new.contains(index)) {
        if let Some(token) = now(index) {
            open.entry(token).or_default().push_back(index);
        }
    }
    for index in (0..counts[0]).filter(|index| !old.contains(index)) {
        let twin = was(index).and_then(|token| open.get_mut(&token)?.pop_front());
        pairs.extend(twin.map(|twin| (index, twin)));
    }
    pairs.sort_unstable();
    pairs
}

/// Aligns two lists by what their items say; without an order, nothing has moved.
pub(super) fn aligned<T: Ord + Clone>(
    was: &[Option<T>],
    now: &[Option<T>],
    in_order: bool,
) -> Aligned {
    let all = |pairs| {
        paired(
            pairs,
            [was.len(), now.len()],
            |index| was[index].clone(),
            |index| now[index].clone(),
        )
    };
    let in_place = match in_order {
        // One of the two is always first, so that a draw between two ways to align them ends the same.
        true if was > now => common(now, was).into_iter().map(|(b, a)| (a, b)).collect(),
        true => common(was, now),
        false => all(Vec::new()),
    };
    let held: BTreeSet<(usize, usize)> = in_place.iter().copied().collect();
    let moved = all(in_place.clone())
        .into_iter()
        .filter(|pair| !held.contains(pair))
        .collect();
    Aligned { in_place, moved }
}

/// The longest common subsequence.
fn common<T: PartialEq>(was: &[Option<T>], now: &[Option<T>]) -> Vec<(usize, usize)> {
    let same = |a: usize, b: usize| was[a].is_some() && was[a] == now[b];
    let least = was.len().min(now.len());
    let head = (0..least).take_while(|index| same(*index, *index)).count();
    let tail = (0..least - head)
        .take_while(|index| same(was.len() - 1 - index, now.len() - 1 - index))
        .count();
    let (old, new) = (head..was.len() - tail, head..now.len() - tail);
    let mut pairs: Vec<(usize, usize)> = (0..head).map(|index| (index, index)).collect();
    if old.len().saturating_mul(new.len()) <= COMPARISONS_MAX {
        // longest[i][j]: how many of the last i and the last j items can be paired.
        let mut longest = vec![vec![0_usize; new.len() + 1]; old.len() + 1];
        for i in 1..=old.len() {
            for j in 1..=new.len() {
                longest[i][j] = if same(old.end - i, new.end - j) {
                    longest[i - 1][j - 1] + 1
                } else {
                    longest[i - 1][j].max(longest[i][j - 1])
                };
            }
        }
        let (mut i, mut j) = (old.len(), new.len());
        while i > 0 && j > 0 {
            if same(old.end - i, new.end - j) {
                pairs.push((old.end - i, new.end - j));
                (i, j) = (i - 1, j - 1);
            } else if longest[i - 1][j] >= longest[i][j - 1] {
                i -= 1;
            } else {
                j -= 1;
            }
        }
    }
    pairs.extend(
        (0..tail)
            .rev()
            .map(|index| (was.len() - 1 - index, now.len() - 1 - index)),
    );
    pairs
}
