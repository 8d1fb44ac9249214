//! The ledger on disk: one SQLite file that holds entries, chained by hash, and attachments, named by theirs; and the
//! project folder around it.
//!
//! What `append` or `attach` has returned is on the disk. Nothing is ever changed or deleted in the file: the tables
//! themselves refuse it.

mod append;
mod body;
mod canon;
mod chain;
mod export;
mod fault;
mod folder;
mod import;
mod journal;
mod media;
mod open;
mod plain;
mod salvage;
mod schema;
mod verify;

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use record::{Attachment, Digest, Draft, Entry, Ledger, LedgerFault};
use rusqlite::Connection;

pub use chain::sum;
pub use export::{Exported, export};
pub use folder::{FILE, Unwritten, create_project, write_text};
pub use import::import;
/// The words of the ledger, for those who may not import `record` themselves.
pub use record;
pub use schema::FORMAT;
pub use units::{Amps, Celsius, Volts};
pub use verify::{Fault, Report, verify};

/// A ledger in a file. It may be shared between threads, and the file between processes.
#[derive(Debug)]
pub struct Store {
    connection: Mutex<Connection>,
    path: PathBuf,
}

impl Store {
    /// Makes a new, empty ledger.
    ///
    /// # Errors
    /// If there is a file in that place, or none can be made.
    pub fn create(path: &Path) -> Result<Self, LedgerFault> {
        open::create(path).map(|connection| Self::of(connection, path))
    }

    /// Opens a ledger; one of an older format is brought up to this version's.
    ///
    /// # Errors
    /// If there is none, if it is no ledger or a damaged one, or if a later version wrote it.
    pub fn open(path: &Path) -> Result<Self, LedgerFault> {
        open::open(path).map(|connection| Self::of(connection, path))
    }

    /// A new ledger that begins with these entries; all of them are in it, or there is none.
    ///
    /// # Errors
    /// If there is a file already, or it cannot be written.
    pub fn with(path: &Path, drafts: &[Draft]) -> Result<Self, LedgerFault> {
        let store = Self::create(path)?;
        let made = append::all(&mut store.connection(), drafts).map(|_| ());
        if let Err(fault) = made {
            drop(store);
            let _ = std::fs::remove_file(path);
            return Err(fault);
        }
        Ok(store)
    }

    /// Opens a ledger to be read only, where it may not be written; another program must not be writing to it.
    ///
    /// # Errors
    /// As [`Store::open`]; also if it has an older format, which cannot be brought up then.
    pub fn look(path: &Path) -> Result<Self, LedgerFault> {
        open::look(path).map(|connection| Self::of(connection, path))
    }

    fn of(connection: Connection, path: &Path) -> Self {
        Self {
            connection: Mutex::new(connection),
            path: path.to_owned(),
        }
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Lets the file grow to this many pages of 4096 bytes and no further, as if the disk ended there.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn limit(&self, pages: u32) -> Result<(), LedgerFault> {
        let connection = self.connection();
        let set = connection.pragma_update(None, "max_page_count", pages);
        set.map_err(fault::of)
    }

    /// A thread that panicked has left no half-written entry: the transaction it had open is undone.
    fn connection(&self) -> MutexGuard<'_, Connection> {
        self.connection
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }
}

/// Entries written down as bodies, a line each (`docs/ledger.md`); none if a line is no entry, with its number.
///
/// # Errors
/// With the line, counted from 1.
pub fn read_entries(text: &str) -> Result<Vec<Draft>, usize> {
    let draft = |(place, line): (usize, &str)| {
        let entry = body::read(line, record::Digest::NONE).ok_or(place + 1)?;
        Ok(Draft {
            id: entry.id,
            time: entry.time,
            author: entry.author,
            event: entry.event,
        })
    };
    text.lines().enumerate().map(draft).collect()
}

impl Ledger for Store {
    fn append(&self, draft: &Draft) -> Result<Entry, LedgerFault> {
        append::append(&mut self.connection(), draft)
    }

    fn since(&self, number: u64) -> Result<Vec<Entry>, LedgerFault> {
        append::since(&self.connection(), number)
    }

    fn last(&self) -> Result<u64, LedgerFault> {
        append::head(&self.connection()).map(|head| head.number)
    }

    fn attach(&self, attachment: &Attachment) -> Result<Digest, LedgerFault> {
        append::attach(&mut self.connection(), attachment)
    }

    fn attachment(&self, hash: Digest) -> Result<Option<Attachment>, LedgerFault> {
        append::attachment(&self.connection(), hash)
    }
}
