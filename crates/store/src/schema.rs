//! The tables of the ledger's file, and how an older file becomes a newer one.

use rusqlite_migration::{M, Migrations};

/// The latest format; the file carries it in SQLite's `user_version`.
pub const FORMAT: u64 = 1;

/// One step from each format to the next. A released step is never changed.
const STEPS: &[M] = &[M::up(
    "CREATE TABLE entry (
        number INTEGER PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        body TEXT NOT NULL,
        hash BLOB NOT NULL CHECK (length(hash) = 32)
    ) STRICT;
    CREATE TABLE attachment (
        hash BLOB NOT NULL PRIMARY KEY CHECK (length(hash) = 32),
        media TEXT NOT NULL,
        bytes BLOB NOT NULL
    ) STRICT;
    CREATE TABLE head (
        one INTEGER PRIMARY KEY CHECK (one = 1),
        number INTEGER NOT NULL,
        hash BLOB NOT NULL CHECK (length(hash) = 32)
    ) STRICT;
    INSERT INTO head VALUES (1, 0, zeroblob(32));
    CREATE TRIGGER entry_is_kept BEFORE UPDATE ON entry
        BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
    CREATE TRIGGER entry_stays BEFORE DELETE ON entry
        BEGIN SELECT RAISE(ABORT, 'an entry is never deleted'); END;
    CREATE TRIGGER attachment_is_kept BEFORE UPDATE ON attachment
        BEGIN SELECT RAISE(ABORT, 'an attachment is never changed'); END;
    CREATE TRIGGER attachment_stays BEFORE DELETE ON attachment
        BEGIN SELECT RAISE(ABORT, 'an attachment is never deleted'); END;",
)];

/// All steps.
pub fn migrations() -> Migrations<'static> {
    Migrations::from_slice(STEPS)
}
