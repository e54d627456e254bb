//! Searches for a placing by putting a price on kit that too many want.
//!
//! Without the limits on kit a placing is an assignment. So a kit that too many take gets a price, the assignment is solved
//! again with the prices, and what it then costs, less what the pieces there are would earn, is a lower bound on every
//! placing (Lagrange's relaxation of the stock limits). On the way, assignments that take too much are repaired to
//! placings. Where bound and best placing do not meet, the search branches: this role takes this kit, or it does not.
//! Limits: prices are whole parts of [`FINE`], which costs a little of the bound.

use std::ops::Range;

use super::assignment::FORBIDDEN;
use super::placing::{Aim, Pick, Placer, Placing, Task};

/// Costs are counted in this many parts, so that prices can lie between whole costs.
pub(super) const FINE: i64 = 16;

/// How often prices are changed before the search branches: at the top, and further down where they start well.
const TURNS_FIRST: u32 = 120;
const TURNS: u32 = 16;
/// After so many turns without a better bound the step is halved.
const PATIENCE: u32 = 5;
/// The share of the steps left that may go into the last bit of the bound at the top.
const POLISHING: u64 = 8;

/// A search for one placing.
pub(super) struct Search<'s> {
    placer: &'s mut Placer,
    task: &'s Task,
    /// The rows of the task without what cannot be in a placing of interest.
    pub(super) rows: Vec<Vec<Pick>>,
    /// What a placing may cost to be of interest.
    limit: i64,
    aim: Aim,
    pub(super) best: Option<Placing>,
    /// True when there is nothing more to do, or no step left.
    pub(super) stopped: bool,
}

/// A row and a kit to decide about.
type Branch = (usize, usize);

impl<'s> Search<'s> {
    pub(super) fn new(placer: &'s mut Placer, task: &'s Task, limit: i64, aim: Aim) -> Search<'s> {
        Search {
            placer,
            task,
            rows: task.rows.clone(),
            limit,
            aim,
            best: None,
            stopped: false,
        }
    }

    /// For every row which kits it cannot take because it has no such pick; the last two stand for picks that no limit
    /// concerns, and for staying empty.
    pub(super) fn closed(&self) -> Vec<bool> {
        let width = self.width();
        let mut closed = vec![true; self.rows.len() * width];
        for (row, picks) in self.rows.iter().enumerate() {
            for pick in picks {
                closed[row * width + pick.kit] = false;
            }
            let settled = row < self.task.settled && !picks.is_empty();
            closed[row * width + width - 1] = self.task.spare == 0 || settled;
        }
        closed
    }

    /// Looks below one node, where `closed` kits may not be taken.
    pub(super) fn visit(&mut self, mut closed: Vec<bool>, mut prices: Vec<i64>, first: bool) {
        if self.stopped || !self.narrow(&mut closed) {
            return;
        }
        let branch = self.bound(&closed, &mut prices, first);
        if first {
            self.placer.prices.clone_from(&prices);
        }
        let Some((row, kit)) = branch else {
            return;
        };
        if first {
            self.thin(&closed, &prices);
            for (closed, without) in closed.iter_mut().zip(self.closed()) {
                *closed |= without;
            }
        }
        let width = self.width();
        let mut taken = closed.clone();
        for other in (0..width).filter(|other| *other != kit) {
            taken[row * width + other] = true;
        }
        self.visit(taken, prices.clone(), false);
        closed[row * width + kit] = true;
        self.visit(closed, prices, false);
    }

    /// Leaves out the picks that no placing within the limit has.
    pub(super) fn thin(&mut self, closed: &[bool], prices: &[i64]) {
        let Some(bound) = self
            .assign(closed, prices)
            .map(|sum| sum - self.earned(prices))
        else {
            return;
        };
        let room = self.limit * FINE - bound;
        let assignment = &self.placer.assignment;
        for (row, picks) in self.rows.iter_mut().enumerate() {
            picks.retain(|pick| assignment.extra(row, pick.column, priced(pick, prices)) <= room);
        }
    }

    /// What the pieces there are would earn.
    pub(super) fn earned(&self, prices: &[i64]) -> i64 {
        let each = prices.iter().zip(&self.task.pieces);
        each.map(|(price, pieces)| price * i64::from(*pieces)).sum()
    }

    fn width(&self) -> usize {
        self.task.pieces.len() + 2
    }

    /// Closes a kit to all others when those rows that can take nothing else need all its pieces. False where a row is
    /// left with nothing, or a kit has too few pieces.
    fn narrow(&self, closed: &mut [bool]) -> bool {
        let width = self.width();
        loop {
            let mut changed = false;
            let mut needed = vec![0; self.task.pieces.len()];
            let mut open = vec![0; self.rows.len()];
            for (row, closed) in closed.chunks(width).enumerate() {
                open[row] = closed.iter().filter(|it| !**it).count();
                if open[row] == 0 {
                    return false;
                }
                if let (1, Some(kit)) = (open[row], closed.iter().position(|it| !it))
                    && kit < needed.len()
                {
                    needed[kit] += 1;
                }
            }
            for (kit, needed) in needed.iter().enumerate() {
                if *needed > self.task.pieces[kit] {
                    return false;
                }
                if *needed < self.task.pieces[kit] {
                    continue;
                }
                for (row, open) in open.iter_mut().enumerate() {
                    let here = &mut closed[row * width + kit];
                    if !*here && *open > 1 {
                        *here = true;
                        *open -= 1;
                        changed = true;
                    }
                }
            }
            if !changed {
                return true;
            }
        }
    }

    /// Raises the bound by changing prices. None where nothing below is of interest any more, else what to decide next.
    fn bound(&mut self, closed: &[bool], prices: &mut [i64], first: bool) -> Option<Branch> {
        let kits = self.task.pieces.len();
        let width = self.width();
        // A kit that has a piece for everybody who could take it has no price.
        let scarce: Vec<bool> = (0..kits)
            .map(|kit| {
                let open = closed.chunks(width).filter(|row| !row[kit]).count();
                open > self.task.pieces[kit] as usize
            })
            .collect();
        for (price, scarce) in prices.iter_mut().zip(&scarce) {
            if !scarce {
                *price = 0;
            }
        }
        let (mut highest, mut highest_at) = (i64::MIN, prices.to_vec());
        let (mut turns, mut patience, mut halvings) =
            (if first { TURNS_FIRST } else { TURNS }, PATIENCE, 0);
        loop {
            if self.placer.steps() >= self.placer.steps_max {
                self.stopped = true;
                return None;
            }
            let sum = self.assign(closed, prices)?;
            let bound = sum - self.earned(prices);
            if bound > self.limit * FINE {
                return None;
            }
            let used = self.used();
            let over = |kit: usize| used[kit] - i64::from(self.task.pieces[kit]);
            let ended = match (0..kits).all(|kit| over(kit) <= 0) {
                true => self.keep(self.assigned().collect()),
                false => (first || bound > highest) && self.repair(closed),
            };
            if ended {
                self.stopped = true;
                return None;
            }
            if bound > self.limit * FINE {
                return None;
            }
            if bound > highest {
                (highest, patience) = (bound, PATIENCE);
                highest_at.copy_from_slice(prices);
            } else {
                patience -= 1;
                if patience == 0 {
                    (patience, halvings) = (PATIENCE, halvings + 1);
                }
            }
            turns -= 1;
            let moves = |kit: usize| match over(kit) {
                // No price falls below nothing.
                less if less < 0 && prices[kit] == 0 => 0,
                other => other,
            };
            let square: i64 = (0..kits).map(|kit| moves(kit) * moves(kit)).sum();
            if turns == 0 || square == 0 || halvings > 4 {
                let branch = self.branch(closed, prices, &used);
                prices.copy_from_slice(&highest_at);
                if first && self.end_at_the_top(closed, prices, highest) {
                    return None;
                }
                return branch;
            }
            let target = (self.limit + 1) * FINE;
            let step = ((target - bound) >> halvings).max(1);
            let changes: Vec<i64> = (0..kits)
                .map(|kit| match moves(kit) * step / square {
                    0 => moves(kit).signum(),
                    change => change,
                })
                .collect();
            for (price, change) in prices.iter_mut().zip(changes) {
                *price = (*price + change).clamp(0, price_max(self.rows.len()));
            }
        }
    }

    /// Does at the top what is too long for every node: true where that leaves nothing of interest.
    fn end_at_the_top(&mut self, closed: &[bool], prices: &mut [i64], mut highest: i64) -> bool {
        self.thin(closed, prices);
        if self.polish(closed, prices, &mut highest) {
            return true;
        }
        // From prices of nothing it sometimes ends elsewhere. Prices of an earlier search need no second try.
        let (mut others, mut from_nothing) = (vec![0; prices.len()], i64::MIN);
        if self.aim == Aim::Least {
            if self.polish(closed, &mut others, &mut from_nothing) {
                return true;
            }
            if from_nothing > highest {
                prices.copy_from_slice(&others);
            }
        }
        false
    }

    /// Raises the bound further by changing one price, or all but one, by ever smaller amounts: where nearly every piece is
    /// needed, prices move together. True where that leaves nothing of interest.
    fn polish(&mut self, closed: &[bool], prices: &mut [i64], highest: &mut i64) -> bool {
        let kits = prices.len();
        let most = price_max(self.rows.len());
        let share = self.placer.steps_max.saturating_sub(self.placer.steps()) / POLISHING;
        let until = self.placer.steps() + share;
        if *highest == i64::MIN {
            // Nothing is known at these prices yet.
            match self.assign(closed, prices) {
                Some(sum) => *highest = sum - self.earned(prices),
                None => return true,
            }
        }
        let mut change = (self.limit + 1) * FINE - *highest;
        while change > 0 {
            let mut unchanged = 0;
            for at in (0..4 * kits).cycle() {
                if unchanged == 4 * kits {
                    break;
                }
                if self.placer.steps() >= until {
                    return false;
                }
                let (chosen, together) = (at / 4, at % 2 == 1);
                let change = if at % 4 < 2 { change } else { -change };
                let own = prices.to_vec();
                for (kit, price) in prices.iter_mut().enumerate() {
                    if (kit == chosen) != together {
                        *price = (*price + change).clamp(0, most);
                    }
                }
                unchanged += 1;
                if own == prices {
                    continue;
                }
                let bound = self
                    .assign(closed, prices)
                    .map(|sum| sum - self.earned(prices));
                match bound {
                    None => return true,
                    Some(bound) if bound > self.limit * FINE => return true,
                    Some(bound) if bound > *highest => {
                        (*highest, unchanged) = (bound, 0);
                        if self.repair(closed) {
                            self.stopped = true;
                            return true;
                        }
                    }
                    Some(_) => prices.copy_from_slice(&own),
                }
            }
            change /= 2;
        }
        false
    }

    /// Solves the assignment at these prices.
    pub(super) fn assign(&mut self, closed: &[bool], prices: &[i64]) -> Option<i64> {
        let width = self.width();
        let columns = self.task.columns;
        let rows = self.rows.len();
        let all = columns + self.task.spare;
        let placer = &mut *self.placer;
        placer.assignment.clear(rows, all);
        placer.picks.resize(rows * all, 0);
        for (row, picks) in self.rows.iter().enumerate() {
            let closed = &closed[row * width..][..width];
            let kept = &mut placer.picks[row * all..][..all];
            for (index, pick) in picks.iter().enumerate() {
                let open = !closed[pick.kit];
                if open
                    && placer
                        .assignment
                        .allow(row, pick.column, priced(pick, prices))
                {
                    kept[pick.column] = index;
                }
            }
            if !closed[width - 1] {
                for column in self.task.empties(row) {
                    let cost = self.task.empty * FINE;
                    placer.assignment.allow(row, columns + column, cost);
                }
            }
        }
        placer.assignment.solve()
    }

    /// Every row with its pick; the pick is none for a row that stays empty.
    fn assigned(&self) -> impl Iterator<Item = (usize, Option<Pick>)> + '_ {
        let all = self.task.columns + self.task.spare;
        let holders = self.placer.assignment.holders().iter().enumerate();
        holders.filter_map(move |(column, row)| {
            let row = (*row)?;
            let pick = (column < self.task.columns)
                .then(|| self.rows[row][self.placer.picks[row * all + column]]);
            Some((row, pick))
        })
    }

    /// How many pieces of each kit the assignment takes.
    fn used(&self) -> Vec<i64> {
        let mut used = vec![0; self.task.pieces.len()];
        let kits = self.assigned().filter_map(|(_, pick)| Some(pick?.kit));
        for kit in kits {
            if let Some(used) = used.get_mut(kit) {
                *used += 1;
            }
        }
        used
    }

    /// Makes a placing of an assignment that takes too much of some kit: the same people with other pieces, then, with
    /// those kits, other people. True when that ends the search.
    fn repair(&mut self, closed: &[bool]) -> bool {
        let task = self.task;
        let mut columns: Vec<Option<usize>> = vec![None; self.rows.len()];
        for (row, pick) in self.assigned() {
            columns[row] = pick.map(|pick| pick.column);
        }
        let same_person = |row: usize, pick: &Pick| columns[row] == Some(pick.column);
        let piece = |row: usize, pick: &Pick| task.pieces_for(row, pick);
        let Some(placing) = self.place_aside(closed, task.piece_count(), same_person, piece) else {
            return false;
        };
        let mut kits: Vec<Option<usize>> = vec![None; self.rows.len()];
        for (row, pick) in &placing {
            kits[*row] = pick.map(|pick| pick.kit);
        }
        let same_kit = |row: usize, pick: &Pick| kits[row] == Some(pick.kit);
        let person = |_, pick: &Pick| pick.column..pick.column + 1;
        let better = self.place_aside(closed, task.columns, same_kit, person);
        self.keep(better.unwrap_or(placing))
    }

    /// Assigns what each pick stands for, out of the picks that are open and pass.
    fn place_aside(
        &mut self,
        closed: &[bool],
        columns: usize,
        passes: impl Fn(usize, &Pick) -> bool,
        stands_for: impl Fn(usize, &Pick) -> Range<usize>,
    ) -> Option<Vec<(usize, Option<Pick>)>> {
        let width = self.width();
        let all = columns + self.task.spare;
        let aside = &mut self.placer.aside;
        aside.clear(self.rows.len(), all);
        let mut picks: Vec<Option<Pick>> = vec![None; self.rows.len() * all];
        for (row, own) in self.rows.iter().enumerate() {
            let open = |pick: &&Pick| !closed[row * width + pick.kit] && passes(row, pick);
            for pick in own.iter().filter(open) {
                for column in stands_for(row, pick) {
                    if aside.allow(row, column, pick.cost) {
                        picks[row * all + column] = Some(*pick);
                    }
                }
            }
            if !closed[row * width + width - 1] {
                for column in self.task.empties(row) {
                    aside.allow(row, columns + column, self.task.empty);
                }
            }
        }
        aside.solve()?;
        let holders = aside.holders().iter().enumerate();
        let taken =
            holders.filter_map(|(column, row)| Some(((*row)?, picks[(*row)? * all + column])));
        Some(taken.collect())
    }

    /// Keeps what is assigned as the best placing where it is one; true when that ends the search.
    fn keep(&mut self, assigned: Vec<(usize, Option<Pick>)>) -> bool {
        let mut placing = vec![None; self.rows.len()];
        let mut cost = 0;
        for (row, pick) in assigned {
            placing[row] = pick;
            cost += pick.map_or(self.task.empty, |pick| pick.cost);
        }
        if cost > self.limit {
            return false;
        }
        self.best = Some(placing);
        self.limit = cost - 1;
        self.aim == Aim::Any
    }

    /// Which row should decide about which kit: of those that take what too many take, the one that has the most to lose.
    fn branch(&self, closed: &[bool], prices: &[i64], used: &[i64]) -> Option<Branch> {
        let width = self.width();
        let over = |kit: usize| match used.get(kit) {
            Some(used) => used - i64::from(self.task.pieces[kit]),
            None => i64::MIN,
        };
        let undecided = self.assigned().filter_map(|(row, pick)| {
            let kit = pick.map_or(width - 1, |pick| pick.kit);
            let open = closed[row * width..][..width]
                .iter()
                .filter(|it| !**it)
                .count();
            (open > 1).then_some((row, kit))
        });
        undecided.max_by_key(|(row, kit)| {
            let others = self.rows[*row]
                .iter()
                .filter(|pick| pick.kit != *kit && !closed[row * width + pick.kit]);
            let loss = others
                .map(|pick| {
                    self.placer
                        .assignment
                        .extra(*row, pick.column, priced(pick, prices))
                })
                .min();
            (over(*kit), loss.unwrap_or(i64::MAX), *row)
        })
    }
}

/// What a pick costs together with the price of its kit.
fn priced(pick: &Pick, prices: &[i64]) -> i64 {
    pick.cost * FINE + prices.get(pick.kit).copied().unwrap_or(0)
}

/// The highest price that cannot lead a sum out of its range.
fn price_max(rows: usize) -> i64 {
    FORBIDDEN / 8 / i64::try_from(rows).unwrap_or(i64::MAX).saturating_add(1)
}
