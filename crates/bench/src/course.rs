//! How far a command of several parts is: one count of a hundred that only rises.

use std::sync::atomic::{AtomicUsize, Ordering};

use crate::Progress;

/// What a whole command counts to.
const ALL: usize = 100;

/// A command on its way. Parts may tell from several threads and out of turn; whoever listens hears only what is more.
pub(crate) struct Course<'a> {
    told: Progress<'a>,
    highest: AtomicUsize,
}

impl<'a> Course<'a> {
    /// Nothing is done yet.
    pub fn new(told: Progress<'a>) -> Self {
        Self {
            told,
            highest: AtomicUsize::new(0),
        }
    }

    /// The progress of a part that takes the command from one share of its work to another, in hundredths.
    pub fn part(&self, from: usize, to: usize) -> impl Fn(usize, usize) + Sync + '_ {
        move |done, all| {
            let share = (to - from) * done.min(all);
            let now = from + share.checked_div(all).unwrap_or(0);
            if self.highest.fetch_max(now, Ordering::Relaxed) < now {
                (self.told)(now, ALL);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    #[test]
    fn parts_join_to_one_count_that_only_rises() {
        let heard = Mutex::new(Vec::new());
        let listen = |done, all| heard.lock().unwrap().push((done, all));
        let course = Course::new(&listen);
        let (first, second) = (course.part(0, 50), course.part(50, 100));
        for done in [1, 2, 2, 1, 4] {
            first(done, 4);
        }
        // A part of no work at all, and one that comes late.
        second(0, 0);
        second(3, 4);
        first(4, 4);
        second(4, 4);
        let counts: Vec<usize> = heard.lock().unwrap().iter().map(|h| h.0).collect();
        assert_eq!(counts, [12, 25, 50, 87, 100]);
        assert!(heard.lock().unwrap().iter().all(|h| h.1 == 100));
    }

    #[test]
    fn a_course_within_a_part_keeps_to_it() {
        let heard = Mutex::new(Vec::new());
        let listen = |done, _| heard.lock().unwrap().push(done);
        let course = Course::new(&listen);
        let part = course.part(20, 40);
        let inner = Course::new(&part);
        inner.part(0, 100)(1, 2);
        inner.part(0, 100)(2, 2);
        assert_eq!(*heard.lock().unwrap(), [30, 40]);
    }
}
