//! Long computations: one worker thread, the page that is looked at first, results kept while the files stay as they are.

use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};

use bench::pages::{advice, board, unread};
use bench::project::{BoardText, Project};

/// What is to be computed about a board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Task {
    /// Verdicts on its readings.
    Judge,
    /// Expectations where nothing was read.
    Unread,
    /// Suspects and the next reading.
    Advice,
}

/// How far a computation is.
#[derive(Clone, Debug)]
pub enum Stand<T> {
    /// Done so many of so many; (0, 0) before it starts.
    Going(usize, usize),
    /// The result.
    Done(Arc<T>),
    /// It cannot be had, and why.
    Failed(String),
}

/// Names a computation by the content of everything it depends on.
type Key = (Task, u64);

/// A computation that was asked for.
struct Job {
    key: Key,
    project: Arc<Project>,
    board: String,
    stamp: u64,
}

#[derive(Default)]
struct Book {
    queue: Vec<Job>,
    running: Option<Key>,
    boards: HashMap<Key, Stand<board::View>>,
    unread: HashMap<Key, Stand<unread::View>>,
    advice: HashMap<Key, Stand<advice::View>>,
}

/// The worker.
pub struct Work {
    book: Mutex<Book>,
    wake: Condvar,
    done: AtomicUsize,
    all: AtomicUsize,
    stamp: AtomicU64,
}

/// Results kept; chosen to hold several versions of a large machine's boards.
const KEPT: usize = 500;

impl Work {
    /// Starts the worker thread.
    pub fn start() -> Arc<Self> {
        let work = Arc::new(Self {
            book: Mutex::default(),
            wake: Condvar::new(),
            done: AtomicUsize::new(0),
            all: AtomicUsize::new(0),
            stamp: AtomicU64::new(0),
        });
        let own = Arc::clone(&work);
        std::thread::spawn(move || own.run());
        work
    }

    /// Says which version of the files counts: work on older ones stops.
    pub fn files_are(&self, stamp: u64) {
        if self.stamp.swap(stamp, Ordering::Relaxed) != stamp {
            self.book().queue.retain(|job| job.stamp == stamp);
        }
    }

    /// Verdicts of a board, as far as they are; asks for them if nobody has.
    pub fn judged(
        &self,
        project: &Arc<Project>,
        board: &BoardText,
        stamp: u64,
    ) -> Stand<board::View> {
        let key = key(Task::Judge, project, board);
        let mut book = self.book();
        if let Some(found) = book.boards.get(&key) {
            return found.clone();
        }
        self.ask(&mut book, key, project, board, stamp);
        self.going(&book, key)
    }

    /// Expectations of a board where nothing was read, as far as they are; asks for them if nobody has.
    pub fn unread(
        &self,
        project: &Arc<Project>,
        board: &BoardText,
        stamp: u64,
    ) -> Stand<unread::View> {
        let key = key(Task::Unread, project, board);
        let mut book = self.book();
        if let Some(found) = book.unread.get(&key) {
            return found.clone();
        }
        self.ask(&mut book, key, project, board, stamp);
        self.going(&book, key)
    }

    /// Suspects of a board and its next reading, as far as they are; asks for them if nobody has.
    pub fn advice(
        &self,
        project: &Arc<Project>,
        board: &BoardText,
        stamp: u64,
    ) -> Stand<advice::View> {
        let key = key(Task::Advice, project, board);
        let mut book = self.book();
        if let Some(found) = book.advice.get(&key) {
            return found.clone();
        }
        self.ask(&mut book, key, project, board, stamp);
        self.going(&book, key)
    }

    /// Moves a board's work to the front: somebody looks at it.
    pub fn first(&self, board: &str) {
        let mut book = self.book();
        // Taken from the end; verdicts before the rest.
        book.queue
            .sort_by_key(|job| (job.key.0 == Task::Judge, job.board == board));
    }

    fn book(&self) -> MutexGuard<'_, Book> {
        self.book.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn ask(
        &self,
        book: &mut Book,
        key: Key,
        project: &Arc<Project>,
        board: &BoardText,
        stamp: u64,
    ) {
        if book.running == Some(key) || book.queue.iter().any(|job| job.key == key) {
            return;
        }
        book.queue.insert(
            0,
            Job {
                key,
                project: Arc::clone(project),
                board: board.name.clone(),
                stamp,
            },
        );
        self.wake.notify_one();
    }

    fn going<T>(&self, book: &Book, key: Key) -> Stand<T> {
        if book.running == Some(key) {
            Stand::Going(
                self.done.load(Ordering::Relaxed),
                self.all.load(Ordering::Relaxed),
            )
        } else {
            Stand::Going(0, 0)
        }
    }

    fn run(&self) {
        loop {
            let job = self.take();
            let board = job.project.board(&job.board);
            let stop = || self.stamp.load(Ordering::Relaxed) != job.stamp;
            let progress = |done, all| {
                self.done.store(done, Ordering::Relaxed);
                self.all.store(all, Ordering::Relaxed);
            };
            let Some(board) = board else {
                self.book().running = None;
                continue;
            };
            match job.key.0 {
                Task::Judge => {
                    let found = guarded(|| board::judged(&job.project, board, &progress, &stop));
                    self.finish(|book| &mut book.boards, job.key, found, stop());
                }
                Task::Unread => {
                    let found = guarded(|| unread::unread(&job.project, board, &progress, &stop));
                    self.finish(|book| &mut book.unread, job.key, found, stop());
                }
                Task::Advice => {
                    let found = guarded(|| advice::advice(&job.project, board, &progress, &stop));
                    self.finish(|book| &mut book.advice, job.key, found, stop());
                }
            }
        }
    }

    /// Puts a result where it is kept, unless it was stopped on the way.
    fn finish<T>(
        &self,
        kept: impl Fn(&mut Book) -> &mut HashMap<Key, Stand<T>>,
        key: Key,
        found: Result<T, Option<bench::Refused>>,
        stopped: bool,
    ) {
        let mut book = self.book();
        book.running = None;
        let stand = match found {
            Ok(view) => Stand::Done(Arc::new(view)),
            Err(_) if stopped => return,
            Err(Some(refused)) => Stand::Failed(message(&refused)),
            Err(None) => Stand::Failed(
                "The program failed on this board; that is its own fault, not the sheet's."
                    .to_owned(),
            ),
        };
        keep(kept(&mut book), key, stand);
    }

    /// Waits for a job; verdicts come before expectations, whoever asked first.
    fn take(&self) -> Job {
        let mut book = self.book();
        loop {
            let last = |task| book.queue.iter().rposition(|job| job.key.0 == task);
            let index = last(Task::Judge)
                .or_else(|| last(Task::Advice))
                .or_else(|| last(Task::Unread));
            if let Some(index) = index {
                let job = book.queue.remove(index);
                book.running = Some(job.key);
                self.done.store(0, Ordering::Relaxed);
                self.all.store(0, Ordering::Relaxed);
                return job;
            }
            book = self.wake.wait(book).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

/// A fault of the program in one board must not take the other pages with it; it becomes `None`.
fn guarded<T>(
    work: impl FnOnce() -> Result<T, bench::Refused>,
) -> Result<T, Option<bench::Refused>> {
    match catch_unwind(AssertUnwindSafe(work)) {
        Ok(found) => found.map_err(Some),
        Err(_) => Err(None),
    }
}

fn keep<T>(kept: &mut HashMap<Key, Stand<T>>, key: Key, stand: Stand<T>) {
    if kept.len() >= KEPT {
        kept.clear();
    }
    kept.insert(key, stand);
}

fn message(refused: &bench::Refused) -> String {
    refused.complaints()[0].message.clone()
}

/// A board's texts, its units' differences and the meter decide the result, and nothing else.
fn key(task: Task, project: &Project, board: &BoardText) -> Key {
    let mut hasher = DefaultHasher::new();
    board.name.hash(&mut hasher);
    let texts = [
        board.sheet.as_ref(),
        board.readings.as_ref(),
        project.meter.as_ref(),
        project.machine_text(),
    ];
    for text in texts {
        text.map(|t| (&t.file, &t.text)).hash(&mut hasher);
    }
    for unit in &project.units {
        unit.name.hash(&mut hasher);
    }
    (task, hasher.finish())
}
