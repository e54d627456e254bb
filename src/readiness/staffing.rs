//! Decides who holds which role: the crew that is ready first, with the people and the kit there are.
//!
//! In this order: as many roles as possible are filled; whoever is to be kept free is used only if nobody else can; the
//! last to be ready is ready as early as possible; then the sum of all times is least; then the earlier names win. The
//! search goes depth first with bounds and is exact. Limit: after [`NODES_MAX`] tried placements it answers the best crew
//! found so far and says that it is not proved; stock limits over several stations make the problem NP-hard.

use crate::units::Millis;

/// Most placements that are tried.
pub const NODES_MAX: u32 = 200_000;

/// One way for one person to be ready in one role.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Which person; the number is their rank by name.
    pub person: usize,
    /// Which stock of kit it draws on, an index into [`Problem::stock`].
    pub stock: Option<usize>,
    /// From the order to being ready.
    pub time: Millis,
}

/// Roles to fill.
#[derive(Clone, Debug, Default)]
pub struct Problem {
    /// For every role, the choices there are.
    pub roles: Vec<Vec<Choice>>,
    /// How many pieces each stock has.
    pub stock: Vec<u32>,
    /// Who is used only if nobody else can be.
    pub keep_free: Option<usize>,
}

/// Who holds which role.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Crew {
    /// For every role what was chosen, or nothing where nobody is left for it.
    pub chosen: Vec<Option<Choice>>,
    /// False where the search ended before it had shown that no crew is better.
    pub proved: bool,
}

/// What makes one crew better than another; less is better, the first difference decides.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Cost {
    unfilled: usize,
    keeps_nobody_free: bool,
    latest: Millis,
    sum: Millis,
}

impl Cost {
    fn with(self, choice: Option<&Choice>, keep_free: Option<usize>) -> Cost {
        match choice {
            None => Cost {
                unfilled: self.unfilled + 1,
                ..self
            },
            Some(choice) => Cost {
                unfilled: self.unfilled,
                keeps_nobody_free: self.keeps_nobody_free || Some(choice.person) == keep_free,
                latest: self.latest.max(choice.time),
                sum: self.sum.saturating_add(choice.time),
            },
        }
    }
}

/// Finds the best crew.
pub fn solve(problem: &Problem) -> Crew {
    let roles = problem.roles.len();
    // The role with the fewest choices is placed first, because it is the one that can fail.
    let mut order: Vec<usize> = (0..roles).collect();
    order.sort_by_key(|role| problem.roles[*role].len());
    let choices: Vec<Vec<Choice>> = order
        .iter()
        .map(|role| worth_trying(problem, *role))
        .collect();
    // The least that the roles from here on cost, each taken as if it were alone.
    let mut least = vec![Cost::default(); roles + 1];
    for (place, choices) in choices.iter().enumerate().rev() {
        let quickest = choices.iter().min_by_key(|choice| choice.time);
        least[place] = least[place + 1].with(quickest, None);
    }
    let mut search = Search {
        problem,
        choices,
        least,
        stock: problem.stock.clone(),
        placed: Vec::with_capacity(roles),
        best: None,
        nodes_left: NODES_MAX,
    };
    search.place(Cost::default());
    let mut chosen = vec![None; roles];
    if let Some((_, best)) = &search.best {
        for (role, choice) in order.iter().zip(best) {
            chosen[*role] = *choice;
        }
    }
    Crew {
        chosen,
        proved: search.nodes_left > 0,
    }
}

/// The choices of a role, best first. Of each stock only as many people as there are roles: whoever comes after them
/// could be replaced by one of them who has no role, and the crew would not be worse.
fn worth_trying(problem: &Problem, role: usize) -> Vec<Choice> {
    let mut sorted = problem.roles[role].clone();
    sorted.sort_by_key(|choice| {
        (
            Some(choice.person) == problem.keep_free,
            choice.time,
            choice.person,
            choice.stock,
        )
    });
    let mut kept: Vec<Choice> = Vec::new();
    for choice in sorted {
        let mut same_stock = kept.iter().filter(|other| other.stock == choice.stock);
        if same_stock.clone().count() < problem.roles.len()
            && same_stock.all(|other| other.person != choice.person)
        {
            kept.push(choice);
        }
    }
    kept
}

struct Search<'p> {
    problem: &'p Problem,
    choices: Vec<Vec<Choice>>,
    least: Vec<Cost>,
    stock: Vec<u32>,
    placed: Vec<Option<Choice>>,
    best: Option<(Cost, Vec<Option<Choice>>)>,
    nodes_left: u32,
}

impl Search<'_> {
    fn place(&mut self, cost: Cost) {
        let at = self.placed.len();
        if !self.promising(cost) {
            return;
        }
        if at == self.choices.len() {
            self.best = Some((cost, self.placed.clone()));
            return;
        }
        for index in 0..self.choices[at].len() {
            let choice = self.choices[at][index];
            let taken = self
                .placed
                .iter()
                .flatten()
                .any(|placed| placed.person == choice.person);
            if taken || choice.stock.is_some_and(|stock| self.stock[stock] == 0) {
                continue;
            }
            self.take(Some(choice), cost);
            if self.nodes_left == 0 {
                return;
            }
        }
        self.take(None, cost);
    }

    fn take(&mut self, choice: Option<Choice>, cost: Cost) {
        // The first crew is always completed, so that there is one to answer.
        self.nodes_left = self
            .nodes_left
            .saturating_sub(1)
            .max(u32::from(self.best.is_none()));
        let stock = choice.and_then(|choice| choice.stock);
        if let Some(stock) = stock {
            self.stock[stock] -= 1;
        }
        self.placed.push(choice);
        self.place(cost.with(choice.as_ref(), self.problem.keep_free));
        self.placed.pop();
        if let Some(stock) = stock {
            self.stock[stock] += 1;
        }
    }

    /// True while what is placed so far could still become better than the best crew found.
    fn promising(&self, cost: Cost) -> bool {
        let Some((best, crew)) = &self.best else {
            return true;
        };
        let rest = self.least[self.placed.len()];
        let bound = Cost {
            unfilled: cost.unfilled + rest.unfilled,
            keeps_nobody_free: cost.keeps_nobody_free,
            latest: cost.latest.max(rest.latest),
            sum: cost.sum.saturating_add(rest.sum),
        };
        let rank = |choice: &Option<Choice>| {
            choice.map_or((usize::MAX, None), |choice| (choice.person, choice.stock))
        };
        bound
            .cmp(best)
            .then_with(|| self.placed.iter().map(rank).cmp(crew.iter().map(rank)))
            .is_lt()
    }
}
