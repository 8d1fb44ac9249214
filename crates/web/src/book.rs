//! The ledger and the state of the work that it folds to; entries are checked and appended one at a time.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

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
}

/// The ledger with its fold.
pub struct Book {
    ledger: Found,
    kept: RwLock<Kept>,
    /// Why the ledger cannot be read, or not to its end. By itself, because it is asked by those who hold `kept`: to read a
    /// lock again while a writer waits for it is to wait for ever.
    trouble: Mutex<Option<String>>,
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

    /// A file that cannot be used: its first complaint, with the line.
    pub fn file(refused: bench::Refused) -> Self {
        let first = &refused.complaints()[0];
        let line = first.line.map_or(String::new(), |l| format!("Line {l}: "));
        let help = first.help.clone().unwrap_or_default();
        Self::field("file", format!("{line}{}", first.message), help)
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
            trouble: Mutex::default(),
            pen: Mutex::default(),
            eyes: Mutex::default(),
        }
    }

    /// Why nothing can be entered; none if it can.
    pub fn closed(&self) -> Option<String> {
        let trouble = || self.trouble().clone();
        self.ledger.as_ref().err().cloned().or_else(trouble)
    }

    fn trouble(&self) -> MutexGuard<'_, Option<String>> {
        self.trouble.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What is known of the ledger now. Whoever holds it asks for nothing that reads it again.
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
                let mut trouble = self.trouble();
                let is_new = trouble.as_ref() != Some(&words);
                *trouble = Some(words);
                is_new
            }
        }
    }

    /// Checks and appends an entry, which is on the disk when this returns. `event` is made from the state of the work in
    /// which it is appended, and asks this book for nothing else. The same name again with the same content is the same entry.
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

#[cfg(test)]
mod tests {
    use std::sync::mpsc;
    use std::time::Duration;

    use store::record::event::Note;

    use super::*;

    /// A ledger of one note.
    struct One;

    impl Ledger for One {
        fn append(&self, _: &Draft) -> Result<Entry, LedgerFault> {
            Err(LedgerFault::Unwritable)
        }

        fn since(&self, number: u64) -> Result<Vec<Entry>, LedgerFault> {
            let note = Event::Note(Note {
                site: store::record::event::Site::default(),
                text: "written elsewhere".to_owned(),
            });
            let entry = Entry {
                number: 1,
                id: edge::fresh(),
                time: edge::now(),
                author: String::new(),
                event: note,
                hash: Digest::NONE,
            };
            Ok(if number == 0 { vec![entry] } else { Vec::new() })
        }

        fn last(&self) -> Result<u64, LedgerFault> {
            Ok(1)
        }

        fn attach(&self, _: &Attachment) -> Result<Digest, LedgerFault> {
            Err(LedgerFault::Unwritable)
        }

        fn attachment(&self, _: Digest) -> Result<Option<Attachment>, LedgerFault> {
            Ok(None)
        }
    }

    #[test]
    fn a_page_can_be_finished_while_an_entry_waits_to_be_taken_in() {
        let book = Arc::new(Book::new(Ok(Arc::new(One))));
        let page = book.read();
        let other = Arc::clone(&book);
        let writer = std::thread::spawn(move || other.refresh());
        // Until the writer has its entry and waits for the page, which reads on.
        while book.eyes.try_lock().is_ok() && !writer.is_finished() {
            std::thread::yield_now();
        }
        std::thread::sleep(Duration::from_millis(50));
        let (tell, told) = mpsc::channel();
        let asked = Arc::clone(&book);
        std::thread::spawn(move || tell.send(asked.closed()));
        let answer = told.recv_timeout(Duration::from_secs(20));
        assert_eq!(
            answer,
            Ok(None),
            "the page waits for the writer, and the writer for the page"
        );
        assert_eq!(page.work.last(), 0);
        drop(page);
        assert!(writer.join().expect("no panic"));
        assert_eq!(book.read().work.last(), 1);
    }
}
