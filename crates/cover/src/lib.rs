//! Minimum covers, hitting sets and the fewest true literals of a formula, behind one small interface that knows no electronics.
//!
//! Deliberately absent: any word of parts, nets or readings; clocks (time budgets come in as a question).

mod exact;
mod fewest;
mod hitting;
mod reduce;
mod sat;
mod totaliser;
mod weighted;

pub use exact::minimum_explanations;
pub use fewest::{Fewest, Outcome};
pub use hitting::minimum_hitting_sets;
pub use sat::{Answer, Formula, Literal};
pub use totaliser::Totaliser;
pub use weighted::{Cover, CoverError, cheapest_cover};

/// All sets of the smallest size that were found, and whether the search was finished.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Family {
    /// Each set as ascending indices; in lexicographic order.
    pub sets: Vec<Vec<usize>>,
    /// True if no other set of that size, and no smaller one, exists.
    pub complete: bool,
}

impl Family {
    fn of(mut sets: Vec<Vec<usize>>, complete: bool) -> Self {
        for set in &mut sets {
            set.sort_unstable();
        }
        sets.sort();
        Self { sets, complete }
    }
}
