//! What deeds do to one place, four bytes a deed until one moves it.

use std::sync::atomic::{AtomicU32, Ordering};

use diagnose::Effect;

/// Effects of many deeds, each known or not yet; one that is known stays as it is.
#[derive(Debug)]
pub(super) struct Cells {
    /// What is known of each deed: an index into `effects`, or one of the three below.
    known: Box<[AtomicU32]>,
    /// Effects with numbers, as they came.
    effects: boxcar::Vec<Effect>,
}

const OPEN: u32 = u32::MAX;
const UNMOVED: u32 = u32::MAX - 1;
const OVER_RANGE: u32 = u32::MAX - 2;

impl Cells {
    /// So many deeds of which nothing is known.
    pub fn new(count: usize) -> Self {
        Self {
            known: (0..count).map(|_| AtomicU32::new(OPEN)).collect(),
            effects: boxcar::Vec::new(),
        }
    }

    /// Number of deeds.
    pub fn len(&self) -> usize {
        self.known.len()
    }

    /// What is known of a deed.
    pub fn get(&self, deed: usize) -> Option<&Effect> {
        match self.known[deed].load(Ordering::Acquire) {
            OPEN => None,
            UNMOVED => Some(&Effect::Unmoved),
            OVER_RANGE => Some(&Effect::OverRange),
            index => self.effects.get(index as usize),
        }
    }

    /// Says what a deed does, unless that is known already.
    pub fn set(&self, deed: usize, effect: Effect) {
        let cell = &self.known[deed];
        if cell.load(Ordering::Acquire) != OPEN {
            return;
        }
        let index = match effect {
            Effect::Unmoved => UNMOVED,
            Effect::OverRange => OVER_RANGE,
            // Fewer than four thousand million: a deed adds one, or two where threads meet.
            other => self.effects.push(other) as u32,
        };
        let _ = cell.compare_exchange(OPEN, index, Ordering::AcqRel, Ordering::Acquire);
    }

    /// What a deed does, found by `work` if it is not known yet.
    pub fn get_or(&self, deed: usize, work: impl FnOnce() -> Effect) -> &Effect {
        if self.get(deed).is_none() {
            self.set(deed, work());
        }
        self.get(deed).unwrap_or(&Effect::Unknown)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use diagnose::Line;

    use super::*;

    fn moved(middle: f64) -> Effect {
        Effect::Moved(Line {
            middle,
            slopes: Arc::default(),
            own: 1.0,
            border: f64::INFINITY,
        })
    }

    #[test]
    fn what_is_known_stays_as_it_is_whoever_asks() {
        let cells = Cells::new(300);
        assert_eq!(cells.get(7), None);
        std::thread::scope(|scope| {
            for thread in 0..4 {
                let cells = &cells;
                scope.spawn(move || {
                    for deed in 0..300 {
                        let work = || match deed % 3 {
                            0 => Effect::Unmoved,
                            1 => Effect::OverRange,
                            _ => moved((10 * deed + thread) as f64),
                        };
                        let first = cells.get_or(deed, work).clone();
                        cells.set(deed, moved(-1.0));
                        assert_eq!(*cells.get_or(deed, || moved(-2.0)), first);
                    }
                });
            }
        });
        for deed in 0..300 {
            match cells.get(deed) {
                Some(Effect::Unmoved) => assert_eq!(deed % 3, 0),
                Some(Effect::OverRange) => assert_eq!(deed % 3, 1),
                Some(Effect::Moved(line)) => assert_eq!(line.middle as usize / 10, deed),
                other => panic!("{deed}: {other:?}"),
            }
        }
    }
}
