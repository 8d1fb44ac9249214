//! What every ledger can do, wherever it is kept.

use crate::{Digest, Draft, Entry};

/// An append-only list of entries, and the files attached to them by the hash of their content.
///
/// What a call has returned is kept, whatever happens to the process afterwards. All calls may come from several threads.
pub trait Ledger: Send + Sync {
    /// Appends an entry and returns it with its number and hash. The same draft again returns the entry that is there.
    ///
    /// # Errors
    /// If it cannot be kept, if another entry has its id, or if it names an attachment that is not there; then nothing
    /// has changed.
    fn append(&self, draft: &Draft) -> Result<Entry, LedgerFault>;

    /// All entries with a number above `number`, in order; 0 gives all.
    ///
    /// # Errors
    /// If one of them cannot be read; see [`LedgerFault::Damaged`].
    fn since(&self, number: u64) -> Result<Vec<Entry>, LedgerFault>;

    /// Number of the last entry; 0 while there is none.
    ///
    /// # Errors
    /// If it cannot be read.
    fn last(&self) -> Result<u64, LedgerFault>;

    /// Keeps a file and returns the hash of its content, by which events name it. The same content is kept once;
    /// the media type given first stays.
    ///
    /// # Errors
    /// If it cannot be kept; then nothing has changed.
    fn attach(&self, attachment: &Attachment) -> Result<Digest, LedgerFault>;

    /// A file by the hash of its content; none if it is not there. The content is checked against the hash.
    ///
    /// # Errors
    /// If it cannot be read, or is no longer what it was.
    fn attachment(&self, hash: Digest) -> Result<Option<Attachment>, LedgerFault>;
}

/// A photograph, capture, dump or other file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attachment {
    /// Media type, such as `image/jpeg` (RFC 2046).
    pub media: String,
    /// Content.
    pub bytes: Vec<u8>,
}

/// What the world can do to a ledger.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LedgerFault {
    /// There is no ledger in that place.
    #[error("There is no ledger at {0}.")]
    Absent(String),
    /// There is one already.
    #[error("There is a ledger at {0} already.")]
    Present(String),
    /// The folder for a new project is not empty.
    #[error("The folder {0} is not empty.")]
    Occupied(String),
    /// The file to import is none that was exported.
    #[error("This is no export of a project: {0}.")]
    NoExport(String),
    /// No room.
    #[error(
        "The disk is full: the entry was not written, and nothing that was written before is lost."
    )]
    Full,
    /// Somebody else holds it.
    #[error("Another program is writing to the ledger and does not finish; nothing was written.")]
    Busy,
    /// It may not be written.
    #[error("The ledger may be read but not written by this user; nothing was written.")]
    ReadOnly,
    /// Written by a later version, whose format this one does not know.
    #[error("The ledger has format {found}; this version knows formats up to {known}.")]
    Newer {
        /// Its format.
        found: u64,
        /// The latest that is known.
        known: u64,
    },
    /// An entry, or the file around it, is no longer what was written.
    #[error("The ledger is damaged{}: {what}.", .number.map_or(String::new(), |n| format!(" at entry {n}")))]
    Damaged {
        /// The first entry that is off; none if the damage cannot be placed.
        number: Option<u64>,
        /// What is off.
        what: String,
    },
    /// An attachment is no longer what its hash says.
    #[error("The attachment {0} is damaged: its content no longer gives its hash.")]
    DamagedAttachment(Digest),
    /// An id is taken by another entry.
    #[error("Entry {number} has the id {id} already and says something else; nothing was written.")]
    Taken {
        /// The id.
        id: String,
        /// The entry that has it.
        number: u64,
    },
    /// An entry names a file that was never attached.
    #[error("The entry names the attachment {0}, which is not in the ledger; nothing was written.")]
    NoAttachment(Digest),
    /// A field holds what cannot be written and read back as the same.
    #[error("The entry cannot be written: a number in it is not finite, or its kind is not known.")]
    Unwritable,
    /// The system refused to read or write.
    #[error("The ledger cannot be read or written: {0}.")]
    System(String),
}

impl LedgerFault {
    /// What would mend it, a whole sentence.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Absent(_) => {
                "Name a project folder that holds bench.db; `bench new DIR` makes one."
            }
            Self::Present(_) => "Name another folder; a ledger is never written over.",
            Self::Occupied(_) => "Name a new folder, or an empty one; nothing is written over.",
            Self::NoExport(_) => "Name a file that `bench export` wrote, as it wrote it.",
            Self::Full => "Free some room on that disk and enter it again.",
            Self::Busy => "Close the other program, or wait for it, and enter it again.",
            Self::ReadOnly => {
                "Give this user the right to write the project folder and bench.db in it."
            }
            Self::Newer { .. } => "Use the version of the program that wrote it, or a later one.",
            Self::Damaged { .. } | Self::DamagedAttachment(_) => {
                "Keep a copy of bench.db as it is; `bench verify` says what is off, and `bench export` saves what can be read."
            }
            Self::Taken { .. } => "Give each new entry an id of its own.",
            Self::NoAttachment(_) => "Attach the file first.",
            Self::Unwritable => "Check its numbers.",
            Self::System(_) => "Check that the disk or share it lies on is there.",
        }
    }
}
