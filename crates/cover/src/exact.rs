//! The fewest explanations that together say exactly what was seen.

use crate::Family;
use crate::fewest::Fewest;
use crate::hitting::every_fewest;
use crate::sat::{Formula, Literal};

/// All sets of the fewest candidates whose union is exactly `seen`.
///
/// `explains[i]` lists what candidate `i` would bring about; a candidate that would bring about anything not in `seen` is never
/// used. If something in `seen` is in no usable candidate the family is empty and complete.
pub fn minimum_explanations(
    explains: &[Vec<usize>],
    seen: &[usize],
    stop: &dyn Fn() -> bool,
) -> Family {
    let mut seen = seen.to_vec();
    seen.sort_unstable();
    seen.dedup();
    let mut formula = Formula::new(stop);
    let literals: Vec<Literal> = explains.iter().map(|_| formula.variable()).collect();
    let mut covering: Vec<Vec<Literal>> = vec![Vec::new(); seen.len()];
    for (candidate, literal) in explains.iter().zip(&literals) {
        let places: Option<Vec<usize>> = candidate
            .iter()
            .map(|s| seen.binary_search(s).ok())
            .collect();
        match places {
            Some(places) => places.into_iter().for_each(|p| covering[p].push(*literal)),
            None => formula.clause(&[!*literal]),
        }
    }
    for clause in &covering {
        formula.clause(clause);
    }
    let weighted: Vec<(Literal, u64)> = literals.iter().map(|l| (*l, 1)).collect();
    every_fewest(Fewest::new(formula, &weighted))
}
