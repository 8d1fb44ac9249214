//! The ledger and the state of the work that it folds to; entries are checked and appended one at a time.

use std::sync::{Arc, Mutex, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

use bench::entered::Written;
use store::record::{Attachment, Counting, Digest, Draft, Entry, Event, Id, Ledger, LedgerFault};
use store::record::{Refusal, Work};

use crate::edge;

/// A ledger, or why there is none that could be written.
pub type Found = Result<Arc<dyn Ledger>, String>;

/// What is known of the ledger.
#[derive(Debug, Default)]
pub struct Kept {
    /// The fold over all entries.
    pub work: Work,
    /// What it says about boards.
    pub written: Arc<Written>,
    /// Why the ledger cannot be read, or not to its end.
    pub trouble: Option<String>,
}

/// The ledger with its fold.
pub struct Book {
    ledger: Found,
    kept: RwLock<Kept>,
    /// Held while an entry is checked and appended, so that readers go on while the disk is waited for.
    pen: Mutex<()>,
    /// Held while the ledger is read, so that two who ask at once do not read it twice.
    eyes: Mutex<()>,
}

/// Why an entry was not written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unwritten {
    /// What is wrong, a whole sentence.
    pub message: String,
    /// What would mend it.
    pub help: String,
    /// The field that it is about; empty if it is none.
    pub field: &'static str,
    /// The world's fault, not that of what was entered.
    pub is_world: bool,
}

impl Unwritten {
    /// About a field.
    pub fn field(field: &'static str, message: impl Into<String>, help: impl Into<String>) -> Self {
        Self {
            message: message.into(),
            help: help.into(),
            field,
            is_world: false,
        }
    }
}

impl From<Refusal> for Unwritten {
    fn from(refusal: Refusal) -> Self {
        Self::field("", refusal.message, refusal.help)
    }
}

impl From<LedgerFault> for Unwritten {
    fn from(fault: LedgerFault) -> Self {
        Self {
            is_world: true,
            ..Self::field("", fault.to_string(), fault.help())
        }
    }
}

impl Book {
    /// Nothing is read yet.
    pub fn new(ledger: Found) -> Self {
        Self {
            ledger,
            kept: RwLock::default(),
            pen: Mutex::default(),
            eyes: Mutex::default(),
        }
    }

    /// Why nothing can be entered; none if it can.
    pub fn closed(&self) -> Option<String> {
        let trouble = || self.read().trouble.clone();
        self.ledger.as_ref().err().cloned().or_else(trouble)
    }

    /// What is known of the ledger now.
    pub fn read(&self) -> RwLockReadGuard<'_, Kept> {
        self.kept.read().unwrap_or_else(PoisonError::into_inner)
    }

    fn write(&self) -> RwLockWriteGuard<'_, Kept> {
        self.kept.write().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes in what was appended since, by this process or another; says whether there was anything.
    pub fn refresh(&self) -> bool {
        let Ok(ledger) = &self.ledger else {
            return false;
        };
        let _eyes = self.eyes.lock().unwrap_or_else(PoisonError::into_inner);
        let last = self.read().work.last();
        if ledger.last() == Ok(last) {
            return false;
        }
        match ledger.since(last) {
            Ok(entries) if entries.is_empty() => false,
            Ok(entries) => {
                take(&mut self.write(), entries);
                true
            }
            Err(fault) => {
                let words = format!("{fault} {}", fault.help());
                let trouble = &mut self.write().trouble;
                let is_new = trouble.as_ref() != Some(&words);
                *trouble = Some(words);
                is_new
            }
        }
    }

    /// Checks and appends an entry, which is on the disk when this returns. `event` is made from the state of the work in
    /// which it is appended. The same name again with the same content is the same entry.
    ///
    /// # Errors
    /// If there is no ledger, if the event breaks a rule, or if it cannot be written; then nothing has changed.
    pub fn append(
        &self,
        id: Id,
        author: &str,
        event: impl FnOnce(&Work) -> Result<Event, Unwritten>,
    ) -> Result<Entry, Unwritten> {
        let ledger = self.open()?;
        let _pen = self.pen.lock().unwrap_or_else(PoisonError::into_inner);
        self.refresh();
        let event = {
            let kept = self.read();
            if let Some(entry) = kept.work.entry(&id) {
                return Ok(entry.clone());
            }
            let event = event(&kept.work)?;
            kept.work.check(&event)?;
            event
        };
        let draft = Draft {
            id,
            time: edge::now(),
            author: author.to_owned(),
            event,
        };
        let entry = ledger.append(&draft)?;
        // Another process may have written in between.
        if entry.number == self.read().work.last() + 1 {
            take(&mut self.write(), vec![entry.clone()]);
        } else {
            self.refresh();
        }
        Ok(entry)
    }

    /// Keeps a file.
    ///
    /// # Errors
    /// If there is no ledger, or it cannot be written.
    pub fn attach(&self, media: &str, bytes: Vec<u8>) -> Result<Digest, Unwritten> {
        let attachment = Attachment {
            media: media.to_owned(),
            bytes,
        };
        Ok(self.open()?.attach(&attachment)?)
    }

    /// A file by its sum.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn attachment(&self, sum: Digest) -> Result<Option<Attachment>, Unwritten> {
        match &self.ledger {
            Ok(ledger) => Ok(ledger.attachment(sum)?),
            Err(_) => Ok(None),
        }
    }

    fn open(&self) -> Result<&Arc<dyn Ledger>, Unwritten> {
        if let Some(why) = self.closed() {
            return Err(Unwritten {
                is_world: true,
                ..Unwritten::field("", why, "Nothing was written; pages can still be read.")
            });
        }
        self.ledger.as_ref().map_err(|why| Unwritten {
            is_world: true,
            ..Unwritten::field("", why, "")
        })
    }
}

fn take(kept: &mut Kept, entries: Vec<Entry>) {
    let corrected = entries
        .iter()
        .any(|e| matches!(e.event, Event::Correction(_)));
    let ids: Vec<Id> = entries.iter().map(|e| e.id.clone()).collect();
    kept.work.extend(entries);
    if corrected {
        kept.written = Arc::new(Written::of(&kept.work));
        return;
    }
    let written = Arc::make_mut(&mut kept.written);
    let mut ruled = false;
    for id in ids {
        let counts = matches!(kept.work.counting(&id), Some(Counting::AsWritten));
        match kept.work.entry(&id).map(|e| (e, &e.event)) {
            Some((entry, Event::Reading(row))) if counts => written.reading(entry, row),
            Some((_, Event::Ruling(_))) => ruled = true,
            _ => {}
        }
    }
    if ruled {
        written.rule(&kept.work);
    }
}
