//! The project as it stands now; it is read again when its files change or something is entered.

use std::io::Read;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use bench::entered::Written;
use bench::project::{Project, ProjectText};

/// Where a project's texts come from. This crate opens no file.
pub trait Source: Send + Sync {
    /// Another number whenever a file of the project was changed, added or removed.
    fn stamp(&self) -> u64;
    /// All texts as they are now; a file that cannot be read becomes a complaint in them.
    fn read(&self) -> ProjectText;
    /// Opens a recording that the texts name.
    ///
    /// # Errors
    /// If it cannot be read; in words.
    fn open(&self, name: &str) -> Result<Box<dyn Read + Send>, String>;
    /// Writes a text of the project, as a whole or not at all; `before` is the text that was read, none for a new file.
    ///
    /// # Errors
    /// If it is no longer as it was read, or cannot be written.
    fn write(&self, name: &str, before: Option<&str>, text: &str) -> Result<(), Unsaved>;
}

/// Why a text was not written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unsaved {
    /// Somebody else changed it since it was read.
    Changed,
    /// It cannot be written; in words.
    Cannot(String),
}

/// A project at one moment.
#[derive(Clone)]
pub struct Now {
    /// What can be asked.
    pub project: Arc<Project>,
    /// Another number whenever files or ledger are others.
    pub stamp: u64,
    /// The stamp of the files that it was read from.
    pub files: u64,
}

struct Kept {
    files: u64,
    bare: Project,
    written: Arc<Written>,
    now: Now,
}

/// Keeps the project up to date.
pub struct Current {
    /// The files.
    pub source: Arc<dyn Source>,
    kept: Mutex<Option<Kept>>,
    /// Held by who reads a text, changes it and writes it, so that two of this process do not outrun each other for ever.
    pen: Mutex<()>,
}

impl Current {
    /// Nothing is read before it is asked for.
    pub fn new(source: Arc<dyn Source>) -> Self {
        Self {
            source,
            kept: Mutex::new(None),
            pen: Mutex::new(()),
        }
    }

    /// To be held from reading a text to writing it.
    pub fn pen(&self) -> MutexGuard<'_, ()> {
        self.pen.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Reads the files anew when they are asked for next, even if they seem to be as they were.
    pub fn forget(&self) {
        *self.kept.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }

    /// The project as its files and its ledger are now; `last` is the number of the ledger's last entry.
    pub fn now(&self, written: &Arc<Written>, last: u64) -> Now {
        let files = self.source.stamp();
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let stamp = files.rotate_left(17) ^ last;
        if let Some(kept) = &mut *kept
            && kept.files == files
        {
            if !Arc::ptr_eq(&kept.written, written) {
                kept.now.project = Arc::new(kept.bare.with(written));
                kept.written = Arc::clone(written);
            }
            kept.now.stamp = stamp;
            return kept.now.clone();
        }
        let bare = Project::of(self.source.read());
        let now = Now {
            project: Arc::new(bare.with(written)),
            stamp,
            files,
        };
        *kept = Some(Kept {
            files,
            bare,
            written: Arc::clone(written),
            now: now.clone(),
        });
        now
    }
}
