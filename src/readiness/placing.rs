//! Places people and kit in roles: says what a placing is, and asks for one of the least sum, or for any up to a limit.
//!
//! Each row (a role) takes one pick: a column (a person) and a kit (one stock at one station). With the limits on kit left
//! out this is an assignment; with them it is NP-hard, and the search is in `prices`. Some questions are answered without
//! it, by counting. Limits: a search ends after a number of steps that is set beforehand, and says so.

use std::ops::Range;

use super::assignment::Assignment;
use super::prices::{FINE, Search};
use super::staffing::Choice;

/// One way to fill a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Pick {
    /// What it stands for.
    pub(super) choice: Choice,
    pub(super) column: usize,
    /// An index into the pieces; as many as there are for a pick that no limit concerns.
    pub(super) kit: usize,
    pub(super) cost: i64,
}

/// What is to be placed.
#[derive(Clone, Debug)]
pub(super) struct Task {
    pub(super) rows: Vec<Vec<Pick>>,
    pub(super) columns: usize,
    /// How many pieces there are of each kit.
    pub(super) pieces: Vec<u32>,
    /// How many rows may stay empty.
    pub(super) spare: usize,
    /// What each of those costs.
    pub(super) empty: i64,
    /// So many of the first rows may not, unless they have no picks.
    pub(super) settled: usize,
}

impl Task {
    /// The same with other picks.
    pub(super) fn with_rows(&self, rows: Vec<Vec<Pick>>) -> Task {
        Task {
            rows,
            pieces: self.pieces.clone(),
            ..*self
        }
    }

    /// The pieces that serve a pick when all are numbered through, kit by kit. For a pick that no limit concerns there is
    /// one more for each row.
    pub(super) fn pieces_for(&self, row: usize, pick: &Pick) -> Range<usize> {
        let useful = |pieces: &u32| (*pieces as usize).min(self.rows.len());
        let before = self.pieces.iter().take(pick.kit).map(useful).sum();
        match self.pieces.get(pick.kit) {
            Some(pieces) => before..before + useful(pieces),
            None => before + row..before + row + 1,
        }
    }

    /// The spare columns that a row may have; its own where there is one for each.
    pub(super) fn empties(&self, row: usize) -> Range<usize> {
        match self.spare >= self.rows.len() {
            true => row..row + 1,
            false => 0..self.spare,
        }
    }

    /// How many numbers [`Task::pieces_for`] gives.
    pub(super) fn piece_count(&self) -> usize {
        let useful = self
            .pieces
            .iter()
            .map(|it| (*it as usize).min(self.rows.len()));
        useful.sum::<usize>() + self.rows.len()
    }
}

/// For every row its pick, or nothing where it stays empty.
pub(super) type Placing = Vec<Option<Pick>>;

/// What a search found.
#[derive(Clone, Debug)]
pub(super) struct Found {
    /// The best placing within the limit, or simply one where the first was asked for.
    pub(super) placing: Option<Placing>,
    /// True where no step was lacking: there is no better one, or none at all.
    pub(super) proved: bool,
}

/// What a search is after.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Aim {
    /// The first placing within the limit.
    Any,
    /// The one of the least sum.
    Least,
}

/// Keeps room to work in, prices that served before, and the steps that are left.
#[derive(Debug)]
pub(super) struct Placer {
    pub(super) assignment: Assignment,
    /// For what is asked in between, so that the other keeps its duals.
    pub(super) aside: Assignment,
    /// For every row and column the pick that gave the cost in the table.
    pub(super) picks: Vec<usize>,
    /// Where prices start.
    pub(super) prices: Vec<i64>,
    pub(super) steps_max: u64,
}

impl Placer {
    pub(super) fn new(kits: usize) -> Placer {
        Placer {
            assignment: Assignment::default(),
            aside: Assignment::default(),
            picks: Vec::new(),
            prices: vec![0; kits],
            steps_max: 0,
        }
    }

    /// Steps done so far.
    pub(super) fn steps(&self) -> u64 {
        self.assignment.steps + self.aside.steps
    }

    /// Looks for a placing that costs at most `limit`, in at most so many steps.
    pub(super) fn search(&mut self, task: &Task, limit: i64, aim: Aim, steps: u64) -> Found {
        self.steps_max = self.steps().saturating_add(steps);
        let prices = self.prices.clone();
        let mut search = Search::new(self, task, limit, aim);
        let closed = search.closed();
        search.visit(closed, prices, true);
        let (placing, stopped) = (search.best, search.stopped);
        let any = aim == Aim::Any && placing.is_some();
        Found {
            placing,
            proved: any || !stopped,
        }
    }

    /// True where every row but the spare ones can have a column of its own, of those that stand for one of its picks.
    pub(super) fn matches(
        &mut self,
        task: &Task,
        columns: usize,
        stands_for: impl Fn(usize, &Pick) -> Range<usize>,
    ) -> bool {
        let assignment = &mut self.assignment;
        assignment.clear(task.rows.len(), columns + task.spare);
        for (row, picks) in task.rows.iter().enumerate() {
            for column in picks.iter().flat_map(|pick| stands_for(row, pick)) {
                assignment.allow(row, column, 0);
            }
            for column in task.empties(row) {
                assignment.allow(row, columns + column, 0);
            }
        }
        assignment.solve().is_some()
    }

    /// True where it is plain that no placing is within the limit: counting, for the kits that matter, their pieces, and for
    /// the rows that can do without those, their columns. Which kits matter is found by leaving out or adding one at a
    /// time. That is a price of all or nothing for each, which shows most of what cannot be done long before small
    /// changes of prices do; the search starts with these prices afterwards.
    pub(super) fn refutes(&mut self, task: &Task, limit: i64) -> bool {
        let mut prices = vec![task.empty * FINE; task.pieces.len()];
        let mut search = Search::new(self, task, limit, Aim::Any);
        let closed = search.closed();
        let mut bound_at = |prices: &[i64]| {
            let sum = search.assign(&closed, prices)?;
            Some(sum - search.earned(prices))
        };
        let Some(mut highest) = bound_at(&prices) else {
            return true;
        };
        // Once round without a change is the end.
        let mut unchanged = 0;
        for kit in (0..prices.len()).cycle() {
            if highest > limit * FINE || unchanged == prices.len() {
                break;
            }
            let other = task.empty * FINE - prices[kit];
            let own = std::mem::replace(&mut prices[kit], other);
            match bound_at(&prices).filter(|bound| *bound > highest) {
                Some(bound) => (highest, unchanged) = (bound, 0),
                None => (prices[kit], unchanged) = (own, unchanged + 1),
            }
        }
        self.prices = prices;
        highest > limit * FINE
    }

    /// Leaves out the picks of which the prices show that no placing within the limit has them.
    pub(super) fn thin(&mut self, task: &mut Task, limit: i64) {
        let prices = self.prices.clone();
        let mut search = Search::new(self, task, limit, Aim::Any);
        let closed = search.closed();
        search.thin(&closed, &prices);
        task.rows = search.rows;
    }
}
