//! Long computations: three threads, the page that is looked at first, results kept while what they rest on stays the same.

use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use bench::pages::{advice, board, power, unread};
use bench::project::{BoardText, Project};
use bench::proves;

use crate::live::Bell;

/// What is to be computed about a board, or about the whole project.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Task {
    /// Verdicts on its readings.
    Judge,
    /// Expectations where nothing was read.
    Unread,
    /// Suspects and the next reading.
    Advice,
    /// Readings that would show this fault.
    Prove(String),
    /// The cold card and the stages of first power, of the whole project.
    Power,
}

impl Task {
    /// What a person waits for first comes first.
    fn rank(&self) -> usize {
        match self {
            Task::Judge => 0,
            Task::Advice => 1,
            Task::Prove(_) => 2,
            Task::Unread => 3,
            Task::Power => 4,
        }
    }

    /// Verdicts have a thread of their own, so that they never wait for what takes seconds; nor do suspects wait for what
    /// takes a whole machine.
    fn lane(&self) -> usize {
        match self {
            Task::Judge => 0,
            Task::Advice | Task::Prove(_) | Task::Unread => 1,
            Task::Power => 2,
        }
    }
}

/// How far a computation is.
#[derive(Debug)]
pub enum Stand<T> {
    /// Done so many of so many; (0, 0) before it starts.
    Going(usize, usize),
    /// The result.
    Done(Arc<T>),
    /// Being computed again; this was the result before the last reading or change.
    Again(Arc<T>),
    /// It cannot be had, and why.
    Failed(String),
}

impl<T> Clone for Stand<T> {
    fn clone(&self) -> Self {
        match self {
            Stand::Going(done, all) => Stand::Going(*done, *all),
            Stand::Done(view) => Stand::Done(Arc::clone(view)),
            Stand::Again(view) => Stand::Again(Arc::clone(view)),
            Stand::Failed(why) => Stand::Failed(why.clone()),
        }
    }
}

impl<T> Stand<T> {
    /// Whether another answer will come.
    pub fn is_going(&self) -> bool {
        matches!(self, Stand::Going(..) | Stand::Again(_))
    }
}

/// Names a computation by the content of everything it depends on.
type Key = (Task, u64);

/// A computation that was asked for.
struct Job {
    key: Key,
    project: Arc<Project>,
    board: String,
}

/// Results of one kind.
struct Shelf<T> {
    by_key: HashMap<Key, Stand<T>>,
    /// The last one of each board, whatever it depended on.
    last: HashMap<String, Arc<T>>,
}

impl<T> Default for Shelf<T> {
    fn default() -> Self {
        Self {
            by_key: HashMap::new(),
            last: HashMap::new(),
        }
    }
}

impl<T> Shelf<T> {
    fn keep(&mut self, key: Key, board: String, stand: Stand<T>) {
        if self.by_key.len() >= KEPT {
            self.by_key.clear();
        }
        if let Stand::Done(view) = &stand {
            self.last.insert(board, Arc::clone(view));
        }
        self.by_key.insert(key, stand);
    }
}

#[derive(Default)]
struct Book {
    queue: Vec<Job>,
    running: [Option<(Key, String)>; LANES],
    boards: Shelf<board::View>,
    unread: Shelf<unread::View>,
    advice: Shelf<advice::View>,
    proofs: Shelf<proves::View>,
    power: Shelf<power::View>,
}

/// The workers.
pub struct Work {
    book: Mutex<Book>,
    wake: Condvar,
    /// Told whenever a computation ends.
    ended: Condvar,
    lanes: [Lane; LANES],
    bell: Arc<Bell>,
}

const LANES: usize = 3;

/// How far the computation of one thread is.
#[derive(Default)]
struct Lane {
    done: AtomicUsize,
    all: AtomicUsize,
    /// What runs is no longer wanted.
    stop: AtomicBool,
}

/// Results kept; chosen to hold several versions of a large machine's boards.
const KEPT: usize = 500;

impl Work {
    /// Starts the threads; they ring when there is something new to show.
    pub fn start(bell: Arc<Bell>) -> Arc<Self> {
        let work = Arc::new(Self {
            book: Mutex::default(),
            wake: Condvar::new(),
            ended: Condvar::new(),
            lanes: Default::default(),
            bell,
        });
        for lane in 0..LANES {
            let own = Arc::clone(&work);
            std::thread::spawn(move || own.run(lane));
        }
        work
    }

    /// Verdicts of a board, as far as they are; asks for them if nobody has. Waits for them for a moment, because they are
    /// mostly there in less.
    pub fn judged(
        &self,
        project: &Arc<Project>,
        board: &BoardText,
        patience: Duration,
    ) -> Stand<board::View> {
        let key = key(Task::Judge, project, board);
        let until = Instant::now() + patience;
        let mut book = self.book();
        loop {
            if let Some(found) = book.boards.by_key.get(&key) {
                return found.clone();
            }
            self.ask(&mut book, key.clone(), project, board);
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return self.going(&book, &key);
            }
            let waited = self.ended.wait_timeout(book, left);
            book = waited.unwrap_or_else(PoisonError::into_inner).0;
        }
    }

    /// Expectations of a board where nothing was read, as far as they are; asks for them if nobody has.
    pub fn unread(&self, project: &Arc<Project>, board: &BoardText) -> Stand<unread::View> {
        self.stand(key(Task::Unread, project, board), project, board, |b| {
            &b.unread
        })
    }

    /// Suspects of a board and its next reading, as far as they are; asks for them if nobody has.
    pub fn advice(&self, project: &Arc<Project>, board: &BoardText) -> Stand<advice::View> {
        self.stand(key(Task::Advice, project, board), project, board, |b| {
            &b.advice
        })
    }

    /// Readings that would show a fault, as far as they are; asks for them if nobody has.
    pub fn proves(
        &self,
        project: &Arc<Project>,
        board: &BoardText,
        fault: &str,
    ) -> Stand<proves::View> {
        let task = Task::Prove(fault.to_owned());
        let key = key(task, project, board);
        let book = &mut self.book();
        if let Some(found) = book.proofs.by_key.get(&key) {
            return found.clone();
        }
        self.ask(book, key.clone(), project, board);
        self.going(book, &key)
    }

    /// The cold card and the stages of first power, as far as they are; asks for them if nobody has.
    pub fn power(&self, project: &Arc<Project>) -> Stand<power::View> {
        let everything = BoardText::default();
        self.stand(power_key(project), project, &everything, |b| &b.power)
    }

    fn stand<T>(
        &self,
        key: Key,
        project: &Arc<Project>,
        board: &BoardText,
        shelf: impl Fn(&Book) -> &Shelf<T>,
    ) -> Stand<T> {
        let mut book = self.book();
        if let Some(found) = shelf(&book).by_key.get(&key) {
            return found.clone();
        }
        self.ask(&mut book, key.clone(), project, board);
        match shelf(&book).last.get(&board.name) {
            Some(before) => Stand::Again(Arc::clone(before)),
            None => self.going(&book, &key),
        }
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

    /// What depended on older readings or files of the same board is no longer wanted.
    fn ask(&self, book: &mut Book, key: Key, project: &Arc<Project>, board: &BoardText) {
        let is_same = |other: &Key, name: &String| other.0 == key.0 && *name == board.name;
        let lane = key.0.lane();
        match &book.running[lane] {
            Some((running, _)) if *running == key => return,
            Some((running, name)) if is_same(running, name) => {
                self.lanes[lane].stop.store(true, Ordering::Relaxed);
            }
            _ => {}
        }
        if book.queue.iter().any(|job| job.key == key) {
            return;
        }
        book.queue.retain(|job| !is_same(&job.key, &job.board));
        book.queue.insert(
            0,
            Job {
                key,
                project: Arc::clone(project),
                board: board.name.clone(),
            },
        );
        self.wake.notify_all();
    }

    fn going<T>(&self, book: &Book, key: &Key) -> Stand<T> {
        let lane = &self.lanes[key.0.lane()];
        match &book.running[key.0.lane()] {
            Some((running, _)) if running == key => Stand::Going(
                lane.done.load(Ordering::Relaxed),
                lane.all.load(Ordering::Relaxed),
            ),
            _ => Stand::Going(0, 0),
        }
    }

    fn run(&self, lane: usize) {
        let own = &self.lanes[lane];
        let mut recent: Vec<(String, bench::Kept)> = Vec::new();
        loop {
            let job = self.take(lane);
            let everything = BoardText::default();
            let board = match job.key.0 {
                Task::Power => Some(&everything),
                _ => job.project.board(&job.board),
            };
            let Some(board) = board else {
                self.book().running[lane] = None;
                continue;
            };
            let stop = || own.stop.load(Ordering::Relaxed);
            let told = Mutex::new(Instant::now());
            let progress = |done, all| {
                own.done.store(done, Ordering::Relaxed);
                own.all.store(all, Ordering::Relaxed);
                let mut told = told.lock().unwrap_or_else(PoisonError::into_inner);
                if told.elapsed() > PROGRESS {
                    *told = Instant::now();
                    self.bell.ring();
                }
            };
            match &job.key.0 {
                Task::Judge => {
                    let found = guarded(|| board::judged(&job.project, board, &progress, &stop));
                    self.finish(|book| &mut book.boards, &job, found, stop());
                }
                Task::Unread => {
                    let found = guarded(|| unread::unread(&job.project, board, &progress, &stop));
                    self.finish(|book| &mut book.unread, &job, found, stop());
                }
                Task::Advice => {
                    let kept = of_board(&mut recent, &job.board);
                    let found =
                        guarded(|| advice::advice(&job.project, board, kept, &progress, &stop));
                    self.finish(|book| &mut book.advice, &job, found, stop());
                }
                Task::Prove(fault) => {
                    let options = proves::Options {
                        fault: fault.clone(),
                        meter: bench::MeterChoice {
                            chosen: None,
                            beside: job.project.meter.clone(),
                        },
                        lenient: true,
                    };
                    let found = guarded(|| match &board.sheet {
                        Some(sheet) => proves::proves(sheet, &options, &progress, &stop),
                        None => Err(bench::Refused::unable("There is no sheet.", "Draw one.")),
                    });
                    self.finish(|book| &mut book.proofs, &job, found, stop());
                }
                Task::Power => {
                    let found = guarded(|| power::power(&job.project, &progress, &stop));
                    self.finish(|book| &mut book.power, &job, found, stop());
                }
            }
        }
    }

    /// Puts a result where it is kept, unless it was stopped on the way.
    fn finish<T>(
        &self,
        shelf: impl Fn(&mut Book) -> &mut Shelf<T>,
        job: &Job,
        found: Result<T, Option<bench::Refused>>,
        stopped: bool,
    ) {
        let mut book = self.book();
        book.running[job.key.0.lane()] = None;
        let stand = match found {
            Ok(view) => Some(Stand::Done(Arc::new(view))),
            Err(_) if stopped => None,
            Err(Some(refused)) => Some(Stand::Failed(message(&refused))),
            Err(None) => Some(Stand::Failed(
                "The program failed on this board; that is its own fault, not the sheet's."
                    .to_owned(),
            )),
        };
        if let Some(stand) = stand {
            shelf(&mut book).keep(job.key.clone(), job.board.clone(), stand);
        }
        drop(book);
        self.ended.notify_all();
        self.bell.ring();
    }

    /// Waits for a job of a lane.
    fn take(&self, lane: usize) -> Job {
        let mut book = self.book();
        loop {
            let of_lane = |job: &&Job| job.key.0.lane() == lane;
            let first = book
                .queue
                .iter()
                .filter(of_lane)
                .map(|j| j.key.0.rank())
                .min();
            let index = book
                .queue
                .iter()
                .rposition(|job| job.key.0.lane() == lane && Some(job.key.0.rank()) == first);
            if let Some(index) = index {
                let job = book.queue.remove(index);
                book.running[lane] = Some((job.key.clone(), job.board.clone()));
                let own = &self.lanes[lane];
                own.stop.store(false, Ordering::Relaxed);
                own.done.store(0, Ordering::Relaxed);
                own.all.store(0, Ordering::Relaxed);
                return job;
            }
            book = self.wake.wait(book).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

/// Boards whose predictions are kept for their next reading; chosen because a person works on one or two, and a large
/// one takes some hundred megabytes.
const RECENT: usize = 2;

/// What is kept of a board, now the most recent one.
fn of_board<'a>(recent: &'a mut Vec<(String, bench::Kept)>, board: &str) -> &'a bench::Kept {
    let known = recent.iter().position(|(name, _)| name == board);
    let entry = known.map_or_else(Default::default, |i| recent.remove(i));
    recent.insert(0, (board.to_owned(), entry.1));
    recent.truncate(RECENT);
    &recent[0].1
}

/// How often a page is told how far a computation is.
const PROGRESS: Duration = Duration::from_millis(400);

/// A fault of the program in one board must not take the other pages with it; it becomes `None`.
fn guarded<T>(
    work: impl FnOnce() -> Result<T, bench::Refused>,
) -> Result<T, Option<bench::Refused>> {
    match catch_unwind(AssertUnwindSafe(work)) {
        Ok(found) => found.map_err(Some),
        Err(_) => Err(None),
    }
}

fn message(refused: &bench::Refused) -> String {
    refused.complaints()[0].message.clone()
}

/// A board's texts, what was entered, its units' differences and the meter decide the result, and nothing else.
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
    board
        .entered
        .as_ref()
        .map(|e| (e.ids.len(), e.stamp))
        .hash(&mut hasher);
    board.rulings.hash(&mut hasher);
    for unit in &project.units {
        unit.name.hash(&mut hasher);
    }
    (task, hasher.finish())
}

/// The drawings of all boards, how they are joined and the meter decide the result; readings do not.
fn power_key(project: &Project) -> Key {
    let mut hasher = DefaultHasher::new();
    let texts = [project.machine_text(), project.meter.as_ref()];
    let sheets = project.boards().map(|b| b.sheet.as_ref());
    for text in texts.into_iter().chain(sheets) {
        text.map(|t| (&t.file, &t.text)).hash(&mut hasher);
    }
    (Task::Power, hasher.finish())
}
