//! Readings, verdicts and all else that happens at the bench as plain data; the text forms in which readings are
//! exchanged; and the fold from the ledger's entries to the state of the work.

mod columns;
mod entry;
pub mod event;
mod guard;
mod lead;
mod ledger;
mod moment;
mod pairs;
mod print;
mod reading;
mod readings;
mod settle;
mod table;
mod verdict;
pub mod work;

pub use entry::{Digest, Draft, Entry, Id};
pub use event::Event;
pub use guard::{guarded, unguarded};
pub use lead::{At, Lead, NoSuchPlace, resolve};
pub use ledger::{Attachment, Ledger, LedgerFault};
pub use moment::Moment;
pub use pairs::{Pair, parse_pairs};
pub use print::{as_written, print_readings};
pub use reading::{Conditions, Placement, Reading, ReadingKind, ReadingValue, Shown, State};
pub use readings::{Known, parse_readings, places_named};
pub use settle::settle;
pub use verdict::{Expected, Side, Twin, TwinCase, Verdict, VerdictWord};
pub use work::{Counting, Refusal, Work};
