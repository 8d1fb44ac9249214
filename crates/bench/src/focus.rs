//! Predictions about the unit that was read, instead of about the middle of all units.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use diagnose::{Before, Predictions, Taken, Toward, Unit, sift, toward, toward_healthy};

use crate::predictor::Predictor;
use crate::{Progress, Stop};

/// Times that all faults are looked at near the unit; chosen because two found four more of 21 faults of the demo than one,
/// and three found three more of 284 than two.
const TIMES: usize = 3;

/// Where faults are taken to move a reading of another unit as far as they moved it in the one before, that is off by about this
/// share of it; chosen: shorts leave far less of a reading to follow the parts.
const CARRIED_ERRS: f64 = 0.25;

/// Who watches long work: how far it is, and whether to go on.
pub(crate) struct Watched<'a> {
    progress: Progress<'a>,
    /// Asked now and then; true means stop.
    pub stop: Stop<'a>,
    done: AtomicUsize,
    all: usize,
}

impl<'a> Watched<'a> {
    /// Of so many readings, each looked at as often as may be needed.
    pub fn new(readings: usize, progress: Progress<'a>, stop: Stop<'a>) -> Self {
        Self {
            progress,
            stop,
            done: AtomicUsize::new(0),
            all: TIMES * readings,
        }
    }

    /// One more was looked at.
    pub fn one(&self) {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        if done < self.all {
            (self.progress)(done, self.all);
        }
    }

    /// All that was needed is done.
    pub fn end(&self) {
        (self.progress)(self.all, self.all);
    }
}

/// The same predictions as straight lines through the unit to which the readings point, with all that
/// the readings need computed, and what was weighed on the way; `earlier` is what was weighed of the first of them. Where an earlier reading turned them already, only what has moved since is worked out.
pub(crate) fn focused(
    start: &Arc<Predictor>,
    taken: &[Taken],
    earlier: Option<&Arc<Before>>,
    watched: &Watched<'_>,
) -> (Arc<Predictor>, Option<Arc<Before>>) {
    let mut places: Vec<usize> = taken.iter().map(|t| t.place).collect();
    places.sort_unstable();
    places.dedup();
    let earlier = earlier.and_then(|e| e.for_more(taken, start.changes()));
    let of = |predictor: &Predictor, toward: fn(&Unit<'_>) -> Toward| {
        toward(&Unit {
            before: earlier.clone(),
            ..Unit::new(predictor, taken.to_vec())
        })
    };
    // A healthy unit that fits is near enough to tell what else might fit, and asks for no fault.
    let (mut found, mut to) = match start.turned_to() {
        Some(unit) => (Arc::clone(start), Toward::all(unit.clone())),
        None => {
            let found = Arc::new(start.of_another());
            let to = of(&found, toward_healthy);
            (found, to)
        }
    };
    for time in 0..TIMES {
        if (watched.stop)() {
            break;
        }
        if time > 0 && places.iter().all(|p| found.serves(*p, &to.unit)) {
            to.before = to.before.map(|b| Arc::new(b.kept()));
            break;
        }
        let turned = found.turned(&to.unit);
        if let Some(before) = &mut to.before {
            *before = Arc::new(worth_it(&turned, &found, (&places, taken), before));
            found = Arc::new(turned.carried(&found, &places, &before.likely(), 0.0));
        } else {
            found = Arc::new(turned);
        }
        found.prepare(&places, watched);
        if time + 1 < TIMES {
            to = of(&found, toward);
        }
    }
    (found, to.before)
}

/// Which faults are worth working out in predictions that were turned, by what they do about the unit before.
fn worth_it(
    turned: &Predictor,
    found: &Predictor,
    (places, taken): (&[usize], &[Taken]),
    before: &Arc<Before>,
) -> Before {
    let draft = turned.carried(found, places, &[], CARRIED_ERRS);
    sift(&Unit {
        before: Some(Arc::clone(before)),
        ..Unit::new(&draft, taken.to_vec())
    })
}
