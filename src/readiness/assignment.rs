//! Gives every row a column of its own at the least sum: the assignment problem, by shortest augmenting paths.
//!
//! Who holds which role is this problem as soon as kit is left out of it, so it is asked thousands of times in one
//! search. It counts its own work in steps, because a search that ended by the clock would end elsewhere on another
//! machine. With the sum come the dual values, which say how much more any other pairing would cost at the least.
//! Limits: sums must stay below [`FORBIDDEN`].

/// The cost of a pairing that is not allowed.
pub(super) const FORBIDDEN: i64 = i64::MAX / 4;

/// A table of costs, and room to work in that is kept from one time to the next.
#[derive(Debug, Default)]
pub(super) struct Assignment {
    columns: usize,
    /// Row by row.
    costs: Vec<i64>,
    /// For every row the columns that are allowed, which are few of all.
    allowed: Vec<Vec<usize>>,
    /// For every row its dual value; the pairing of a row and a column costs at least the sum of theirs.
    row_duals: Vec<i64>,
    /// For every column its dual value, never above zero.
    column_duals: Vec<i64>,
    /// For every column the row that has it.
    holders: Vec<Option<usize>>,
    /// For every column how far it is from the row being placed, and which column comes before it on the way.
    distances: Vec<i64>,
    before: Vec<Option<usize>>,
    /// The columns that the search has a way to, and those it has been to.
    reached: Vec<usize>,
    visited: Vec<usize>,
    /// How many costs have been looked at.
    pub(super) steps: u64,
}

impl Assignment {
    /// Clears the table: nothing is allowed.
    pub(super) fn clear(&mut self, rows: usize, columns: usize) {
        self.columns = columns;
        self.costs.clear();
        self.costs.resize(rows * columns, FORBIDDEN);
        self.allowed.resize_with(rows, Vec::new);
        self.allowed.iter_mut().for_each(Vec::clear);
        self.row_duals.clear();
        self.row_duals.resize(rows, 0);
        self.column_duals.clear();
        self.column_duals.resize(columns, 0);
        self.holders.clear();
        self.holders.resize(columns, None);
        self.distances.clear();
        self.distances.resize(columns, FORBIDDEN);
        self.before.resize(columns, None);
    }

    /// Allows a row a column at this cost; true where it was not allowed before, or only at a higher cost.
    pub(super) fn allow(&mut self, row: usize, column: usize, cost: i64) -> bool {
        self.steps += 1;
        let known = &mut self.costs[row * self.columns + column];
        if *known == FORBIDDEN {
            self.allowed[row].push(column);
        }
        let better = cost < *known;
        if better {
            *known = cost;
        }
        better
    }

    /// The least sum; none where some row is left without a column.
    pub(super) fn solve(&mut self) -> Option<i64> {
        for row in 0..self.row_duals.len() {
            if !self.place(row) {
                return None;
            }
        }
        Some(self.row_duals.iter().sum::<i64>() + self.column_duals.iter().sum::<i64>())
    }

    /// For every column the row that got it.
    pub(super) fn holders(&self) -> &[Option<usize>] {
        &self.holders
    }

    /// How much the sum grows at the least when this row takes this column at this cost.
    pub(super) fn extra(&self, row: usize, column: usize, cost: i64) -> i64 {
        cost - self.row_duals[row] - self.column_duals[column]
    }

    /// Finds a column for one more row, moving others along where that is the cheapest.
    fn place(&mut self, row: usize) -> bool {
        let (mut at_row, mut at_column) = (row, None);
        let mut travelled = 0;
        // Duals are put right at the end, so that a search in vain changes nothing.
        let last = loop {
            let costs = &self.costs[at_row * self.columns..][..self.columns];
            let dual = self.row_duals[at_row];
            for column in &self.allowed[at_row] {
                let distance = travelled + costs[*column] - dual - self.column_duals[*column];
                let known = &mut self.distances[*column];
                // Where the search has been is never nearer than it was.
                if distance < *known {
                    if *known == FORBIDDEN {
                        self.reached.push(*column);
                    }
                    *known = distance;
                    self.before[*column] = at_column;
                }
            }
            self.steps += (self.allowed[at_row].len() + self.reached.len()) as u64;
            let near = |(place, column): (usize, &usize)| (self.distances[*column], *column, place);
            let Some((distance, column, place)) = self.reached.iter().enumerate().map(near).min()
            else {
                self.forget();
                return false;
            };
            self.reached.swap_remove(place);
            self.visited.push(column);
            travelled = distance;
            at_column = Some(column);
            match self.holders[column] {
                None => break column,
                Some(holder) => at_row = holder,
            }
        };
        self.row_duals[row] += travelled;
        for column in self.visited.iter().filter(|column| **column != last) {
            let shift = travelled - self.distances[*column];
            self.column_duals[*column] -= shift;
            let holder = self.holders[*column].expect("the search went on from its holder");
            self.row_duals[holder] += shift;
        }
        let mut column = last;
        while let Some(before) = self.before[column] {
            self.holders[column] = self.holders[before];
            column = before;
        }
        self.holders[column] = Some(row);
        self.forget();
        true
    }

    /// Gets ready for the next row.
    fn forget(&mut self) {
        for column in self.reached.drain(..).chain(self.visited.drain(..)) {
            self.distances[column] = FORBIDDEN;
        }
    }
}
