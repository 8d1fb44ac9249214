//! What was worked out about a board's units, kept so that the next reading costs little.

use std::collections::HashMap;
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

use diagnose::Before;

use crate::predictor::Predictor;

/// Predictions of each unit as they stood after its last reading. They are taken up again only as far as the sheet, the
/// meter and what may be wrong are the same; an empty one is a start from nothing.
#[derive(Default)]
pub struct Kept {
    units: Mutex<HashMap<String, Unit>>,
}

impl Kept {
    /// What was kept of a unit.
    pub(crate) fn of(&self, unit: &str) -> Option<Unit> {
        let units = self.units.lock().unwrap_or_else(PoisonError::into_inner);
        units.get(unit).cloned()
    }

    /// Keeps a unit's predictions, and what was weighed.
    pub(crate) fn keep(
        &self,
        unit: &str,
        predictor: &Arc<Predictor>,
        before: Option<&Arc<Before>>,
    ) {
        let mut units = self.units.lock().unwrap_or_else(PoisonError::into_inner);
        units.insert(unit.to_owned(), (Arc::clone(predictor), before.cloned()));
    }
}

/// Predictions of a unit, and what was weighed of its readings.
type Unit = (Arc<Predictor>, Option<Arc<Before>>);

impl fmt::Debug for Kept {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let units = self.units.lock().unwrap_or_else(PoisonError::into_inner);
        f.debug_tuple("Kept").field(&units.keys()).finish()
    }
}
