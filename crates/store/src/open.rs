//! Makes and opens the file.

use std::path::Path;
use std::time::Duration;

use record::LedgerFault;
use rusqlite::{Connection, OpenFlags};

use crate::schema::{FORMAT, migrations};
use crate::{fault, journal};

/// How long to wait for another writer; chosen far above what one entry takes and below what a person waits for.
const PATIENCE: Duration = Duration::from_secs(10);

pub fn create(path: &Path) -> Result<Connection, LedgerFault> {
    if path.exists() {
        return Err(LedgerFault::Present(path.display().to_string()));
    }
    let mut connection = connect(path, OpenFlags::SQLITE_OPEN_CREATE)?;
    migrate(&mut connection)?;
    Ok(connection)
}

pub fn open(path: &Path) -> Result<Connection, LedgerFault> {
    if !path.is_file() {
        return Err(LedgerFault::Absent(path.display().to_string()));
    }
    // SQLite would pass over what stands behind the damage, and write over it.
    if journal::mended(path).is_some() {
        return Err(fault::damaged(None, journal::BROKEN));
    }
    let mut connection = connect(path, OpenFlags::empty())?;
    let found = format(&connection)?;
    if found == 0 {
        return Err(fault::damaged(None, "it holds no ledger"));
    }
    if found > FORMAT {
        return Err(LedgerFault::Newer {
            found,
            known: FORMAT,
        });
    }
    if found < FORMAT {
        migrate(&mut connection)?;
    }
    Ok(connection)
}

/// Opens a file that may not be written. SQLite cannot lock it then, so it is told that nobody writes.
pub fn look(path: &Path) -> Result<Connection, LedgerFault> {
    if !path.is_file() {
        return Err(LedgerFault::Absent(path.display().to_string()));
    }
    let coded = |b: u8| match b {
        b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'.' | b'-' | b'_' => {
            char::from(b).to_string()
        }
        _ => format!("%{b:02X}"),
    };
    let name: String = path.to_string_lossy().bytes().map(coded).collect();
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
    let connection = Connection::open_with_flags(format!("file:{name}?immutable=1"), flags)
        .map_err(fault::of)?;
    match format(&connection)? {
        found if found == FORMAT => Ok(connection),
        found if found > FORMAT => Err(LedgerFault::Newer {
            found,
            known: FORMAT,
        }),
        0 => Err(fault::damaged(None, "it holds no ledger")),
        _ => Err(LedgerFault::ReadOnly),
    }
}

fn connect(path: &Path, more: OpenFlags) -> Result<Connection, LedgerFault> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | more;
    let connection = Connection::open_with_flags(path, flags).map_err(fault::of)?;
    let set = || {
        connection.busy_timeout(PATIENCE)?;
        connection.pragma_update(None, "journal_mode", "wal")?;
        // With FULL the write-ahead log is synced at each commit: what was acknowledged outlives a power cut.
        connection.pragma_update(None, "synchronous", "full")?;
        connection.pragma_update(None, "cell_size_check", true)?;
        connection.pragma_update(None, "trusted_schema", false)
    };
    set().map_err(fault::of)?;
    Ok(connection)
}

fn format(connection: &Connection) -> Result<u64, LedgerFault> {
    let found: i64 = connection
        .pragma_query_value(None, "user_version", |row| row.get(0))
        .map_err(fault::of)?;
    u64::try_from(found).map_err(|_| fault::damaged(None, "its format is below zero"))
}

fn migrate(connection: &mut Connection) -> Result<(), LedgerFault> {
    migrations().to_latest(connection).map_err(|e| match e {
        rusqlite_migration::Error::RusqliteError { err, .. } => fault::of(err),
        other => LedgerFault::System(other.to_string()),
    })
}
