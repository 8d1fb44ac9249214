//! Judges readings against expectations, compares units, names suspects and picks the next reading.

mod before;
pub mod card;
mod changes;
mod closer;
mod fit;
mod gauss;
mod groups;
mod judge;
mod marginal;
mod next;
mod normal;
mod pairs;
mod predictions;
mod proves;
mod rank;
pub mod rates;
mod reasons;
mod rows;
mod twin;

pub use before::Before;
pub use changes::{Deed, Prior, Priors, deed, doubts_between, prior};
pub use fit::{Evidence, WRONG};
pub use judge::{Held, judge};
pub use marginal::Marginal;
pub use next::{Advice, CONVINCED, Candidate, Class, Offer, Outcome, Stop, alive, next};
pub use predictions::{
    Blame, Change, Effect, Healthy, Line, Near, Predictions, Scale, Slopes, Solved,
};
pub use proves::{Proof, proves};
pub use rank::{Doubt, Ranked, Ranking, Suspect, Toward, Unit, rank, sift, toward, toward_healthy};
pub use reasons::{Reason, Speaks};
pub use rows::Taken;
pub use twin::{Compared, twin};
