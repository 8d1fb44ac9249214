//! The cheapest choice of sets that covers everything, proven.

use std::fmt;

use crate::fewest::{Fewest, Outcome};
use crate::reduce::reduce;
use crate::sat::{Formula, Literal};

/// A choice of sets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cover {
    /// Indices of the chosen sets, ascending.
    pub chosen: Vec<usize>,
    /// Their total cost.
    pub cost: u64,
    /// True if no other choice costs less.
    pub proven: bool,
}

/// Why no cover was given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CoverError {
    /// No set holds this item.
    Uncoverable {
        /// The item.
        item: usize,
    },
    /// The lists of sets and of costs differ in length.
    CostsMismatch {
        /// Number of sets.
        sets: usize,
        /// Number of costs.
        costs: usize,
    },
}

impl fmt::Display for CoverError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CoverError::Uncoverable { item } => write!(f, "no set holds item {item}"),
            CoverError::CostsMismatch { sets, costs } => {
                write!(f, "{sets} sets were given with {costs} costs")
            }
        }
    }
}

impl std::error::Error for CoverError {}

/// Chooses sets of least total cost so that each of the items `0..items` is in at least one.
///
/// When `stop` ends the search the best choice met is given with `proven` false; a greedy one is always at hand. Members of a set
/// beyond `items` are ignored.
///
/// # Errors
/// An item that no set holds; lists of different lengths.
pub fn cheapest_cover(
    items: usize,
    sets: &[Vec<usize>],
    costs: &[u64],
    stop: &dyn Fn() -> bool,
) -> Result<Cover, CoverError> {
    if sets.len() != costs.len() {
        return Err(CoverError::CostsMismatch {
            sets: sets.len(),
            costs: costs.len(),
        });
    }
    let mut holders: Vec<Vec<usize>> = vec![Vec::new(); items];
    for (index, set) in sets.iter().enumerate() {
        for item in set.iter().filter(|i| **i < items) {
            holders[*item].push(index);
        }
    }
    if let Some(item) = holders.iter().position(Vec::is_empty) {
        return Err(CoverError::Uncoverable { item });
    }
    let mut best = without_idle(greedy(items, sets, costs), &holders, costs);
    let kept = reduce(items, sets, costs);
    let numbers: Vec<usize> = (0..sets.len()).filter(|s| kept.sets[*s]).collect();
    let mut formula = Formula::new(stop);
    let mut literals: Vec<Option<Literal>> = vec![None; sets.len()];
    for set in &numbers {
        literals[*set] = Some(formula.variable());
    }
    for (_, holder) in holders.iter().enumerate().filter(|h| kept.items[h.0]) {
        let clause: Vec<Literal> = holder.iter().filter_map(|i| literals[*i]).collect();
        formula.clause(&clause);
    }
    let weighted: Vec<(Literal, u64)> = numbers
        .iter()
        .filter_map(|i| Some((literals[*i]?, costs[*i])))
        .collect();
    let mut search = Fewest::new(formula, &weighted);
    let price = |chosen: &[usize]| chosen.iter().map(|i| costs[*i]).sum::<u64>();
    let outcome = search.minimum(&mut |model| {
        let chosen = model.iter().map(|i| numbers[*i]).collect();
        let chosen = without_idle(chosen, &holders, costs);
        if price(&chosen) < price(&best) {
            best = chosen;
        }
    });
    let cost = price(&best);
    best.sort_unstable();
    let proven = match outcome {
        Outcome::Proven(least) => least == cost,
        Outcome::AtLeast(least) => least == cost,
        Outcome::Impossible => false,
    };
    Ok(Cover {
        chosen: best,
        cost,
        proven,
    })
}

fn greedy(items: usize, sets: &[Vec<usize>], costs: &[u64]) -> Vec<usize> {
    let mut open = vec![true; items];
    let mut chosen = Vec::new();
    while open.iter().any(|o| *o) {
        let gain = |i: usize| {
            sets[i]
                .iter()
                .filter(|x| open.get(**x) == Some(&true))
                .count()
        };
        let Some(best) = (0..sets.len()).filter(|i| gain(*i) > 0).min_by(|a, b| {
            (costs[*a] as f64 / gain(*a) as f64).total_cmp(&(costs[*b] as f64 / gain(*b) as f64))
        }) else {
            break;
        };
        sets[best]
            .iter()
            .filter(|x| **x < items)
            .for_each(|x| open[*x] = false);
        chosen.push(best);
    }
    chosen
}

/// Drops sets that others make needless, dearest first.
fn without_idle(mut chosen: Vec<usize>, holders: &[Vec<usize>], costs: &[u64]) -> Vec<usize> {
    chosen.sort_unstable_by_key(|i| std::cmp::Reverse((costs[*i], *i)));
    let mut kept = chosen.clone();
    for candidate in chosen {
        let needless = holders
            .iter()
            .all(|h| h.iter().any(|i| *i != candidate && kept.contains(i)));
        if needless {
            kept.retain(|i| *i != candidate);
        }
    }
    kept
}
