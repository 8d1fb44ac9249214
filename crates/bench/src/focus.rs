//! Predictions about the unit that was read, instead of about the middle of all units.

use std::sync::Arc;

use diagnose::{Predictions, Slopes, Taken, Unit, toward, toward_healthy};

use crate::Stop;
use crate::predictor::Predictor;

/// Times that all faults are looked at near the unit; chosen because two found four more of 21 faults of
/// the demo than none; three were not tried.
const TIMES: usize = 2;
/// Variables that move by less, in standard deviations, change little; chosen because the close look follows
/// them that far by itself.
const NEAR: f64 = 0.6;

/// The same predictions as straight lines through the unit to which the readings point, with all that
/// the readings need computed.
pub(crate) fn focused(middle: &Arc<Predictor>, taken: &[Taken], stop: Stop<'_>) -> Arc<Predictor> {
    let mut places: Vec<usize> = taken.iter().map(|t| t.place).collect();
    places.sort_unstable();
    places.dedup();
    let of = |predictor: &Predictor, toward: fn(&Unit<'_>) -> Slopes| {
        toward(&Unit {
            predictions: predictor,
            taken: taken.to_vec(),
        })
    };
    // A healthy unit that fits is near enough to tell what else might fit, and asks for no fault.
    let mut unit = of(middle, toward_healthy);
    let mut found = Arc::clone(middle);
    for time in 0..TIMES {
        if stop() {
            break;
        }
        if apart(&unit, found.centre()) > NEAR {
            found = Arc::new(found.around(unit.clone()));
        } else if time > 0 {
            break;
        }
        found.prepare(&places, stop);
        if time + 1 < TIMES {
            unit = of(&found, toward);
        }
    }
    found
}

/// The largest difference of a variable.
fn apart(a: &[(u32, f64)], b: &[(u32, f64)]) -> f64 {
    let of = |list: &[(u32, f64)], name: u32| {
        let found = list.binary_search_by_key(&name, |l| l.0);
        found.map_or(0.0, |i| list[i].1)
    };
    let names = a.iter().chain(b).map(|l| l.0);
    names
        .map(|n| (of(a, n) - of(b, n)).abs())
        .fold(0.0, f64::max)
}
