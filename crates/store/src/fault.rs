//! What SQLite says, in the words of the ledger.

use record::LedgerFault;
use rusqlite::{Error, ErrorCode};

/// The ledger's word for an error of SQLite.
pub fn of(error: Error) -> LedgerFault {
    match error.sqlite_error_code() {
        Some(ErrorCode::DiskFull) => LedgerFault::Full,
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => LedgerFault::Busy,
        Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => LedgerFault::ReadOnly,
        Some(ErrorCode::DatabaseCorrupt) => damaged(None, "its pages do not fit together"),
        Some(ErrorCode::NotADatabase) => damaged(None, "it does not begin as a ledger does"),
        // Our statements are right for what we wrote: what SQLite does not understand of it was changed.
        Some(ErrorCode::Unknown) => damaged(None, &error.to_string()),
        Some(_) => LedgerFault::System(error.to_string()),
        // Not SQLite but what was found in it: another type, text that is no text.
        None => damaged(None, &error.to_string()),
    }
}

/// Damage at an entry, or somewhere.
pub fn damaged(number: Option<u64>, what: &str) -> LedgerFault {
    LedgerFault::Damaged {
        number,
        what: what.to_owned(),
    }
}
