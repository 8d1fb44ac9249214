//! The project as it stands now; it is read again when its files change.

use std::sync::{Arc, Mutex, PoisonError};

use bench::project::{Project, ProjectText};

/// Where a project's texts come from. This crate opens no file.
pub trait Source: Send + Sync {
    /// Another number whenever a file of the project was changed, added or removed.
    fn stamp(&self) -> u64;
    /// All texts as they are now; a file that cannot be read becomes a complaint in them.
    fn read(&self) -> ProjectText;
}

/// A project at one moment.
#[derive(Clone)]
pub struct Now {
    /// What can be asked.
    pub project: Arc<Project>,
    /// The stamp of the files that it was read from.
    pub stamp: u64,
}

/// Keeps the project up to date.
pub struct Current {
    source: Arc<dyn Source>,
    now: Mutex<Option<Now>>,
}

impl Current {
    /// Nothing is read before it is asked for.
    pub fn new(source: Arc<dyn Source>) -> Self {
        Self {
            source,
            now: Mutex::new(None),
        }
    }

    /// The project as its files are now.
    pub fn now(&self) -> Now {
        let stamp = self.source.stamp();
        let mut now = self.now.lock().unwrap_or_else(PoisonError::into_inner);
        match &*now {
            Some(kept) if kept.stamp == stamp => kept.clone(),
            _ => {
                let fresh = Now {
                    project: Arc::new(Project::of(self.source.read())),
                    stamp,
                };
                *now = Some(fresh.clone());
                fresh
            }
        }
    }
}
