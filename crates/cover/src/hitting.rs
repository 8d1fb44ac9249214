//! All hitting sets of smallest size.

use crate::Family;
use crate::fewest::{Fewest, Outcome};
use crate::sat::{Formula, Literal};

/// All sets of the fewest elements that meet every one of `sets`.
///
/// Elements are any numbers; the answer's sets hold the same numbers. With an empty set among `sets` nothing can meet it and the
/// family is empty and complete; with no sets at all the one answer is the empty set.
pub fn minimum_hitting_sets(sets: &[Vec<usize>], stop: &dyn Fn() -> bool) -> Family {
    let mut elements: Vec<usize> = sets.iter().flatten().copied().collect();
    elements.sort_unstable();
    elements.dedup();
    let mut formula = Formula::new(stop);
    let literals: Vec<Literal> = elements.iter().map(|_| formula.variable()).collect();
    for set in sets {
        let clause: Vec<Literal> = set
            .iter()
            .filter_map(|e| elements.binary_search(e).ok())
            .map(|i| literals[i])
            .collect();
        formula.clause(&clause);
    }
    let weighted: Vec<(Literal, u64)> = literals.iter().map(|l| (*l, 1)).collect();
    let family = every_fewest(Fewest::new(formula, &weighted));
    Family {
        sets: family
            .sets
            .into_iter()
            .map(|set| set.into_iter().map(|i| elements[i]).collect())
            .collect(),
        complete: family.complete,
    }
}

/// Every smallest set of true literals of a prepared search.
pub(crate) fn every_fewest(mut search: Fewest<'_>) -> Family {
    match search.minimum(&mut |_| {}) {
        Outcome::Impossible => return Family::of(Vec::new(), true),
        Outcome::AtLeast(_) => return Family::of(Vec::new(), false),
        Outcome::Proven(_) => {}
    }
    let mut found = Vec::new();
    loop {
        match search.another() {
            Ok(Some(set)) => {
                search.block(&set);
                found.push(set);
            }
            Ok(None) => return Family::of(found, true),
            Err(_) => return Family::of(found, false),
        }
    }
}
