//! Predictions about the unit that was read, instead of about the middle of all units.

use std::sync::Arc;

use diagnose::{Before, Predictions, Taken, Toward, Unit, toward, toward_healthy};

use crate::Stop;
use crate::predictor::Predictor;

/// Times that all faults are looked at near the unit; chosen because two found four more of 21 faults of
/// the demo than none; three were not tried.
const TIMES: usize = 2;

/// The same predictions as straight lines through the unit to which the readings point, with all that
/// the readings need computed, and what was weighed on the way; `earlier` is what was weighed of the first of them. Where an earlier reading turned them already, only what has moved since is worked out.
pub(crate) fn focused(
    start: &Arc<Predictor>,
    taken: &[Taken],
    earlier: Option<&Arc<Before>>,
    stop: Stop<'_>,
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
        if stop() {
            break;
        }
        if time > 0 && places.iter().all(|p| found.serves(*p, &to.unit)) {
            to.before = to.before.map(|b| Arc::new(b.kept()));
            break;
        }
        let likely = to.before.as_ref().map(|b| b.likely());
        found = Arc::new(found.turned(&to.unit, &places, likely.as_deref()));
        found.prepare(&places, stop);
        if time + 1 < TIMES {
            to = of(&found, toward);
        }
    }
    (found, to.before)
}
