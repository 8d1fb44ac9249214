//! One place about one unit: what it reads healthy, and under each deed, worked out when first asked for.

use std::sync::{Arc, OnceLock};

use diagnose::Healthy;

use super::about::{About, at};
use super::cells::Cells;
use super::centre::Centre;

/// A place about a unit.
pub(super) struct Column {
    /// The unit.
    pub about: Arc<About>,
    /// The place about the middle of all units; none for that itself.
    pub middle: Option<Arc<Column>>,
    /// What it reads healthy; `None` inside if it cannot be computed.
    pub healthy: OnceLock<Option<(Healthy, Centre)>>,
    /// Under the deeds that are always considered; taken from memory when the first is asked for.
    pub fixed: OnceLock<Cells>,
}

impl Column {
    /// About the middle of all units.
    pub fn of_middle(about: Arc<About>) -> Arc<Self> {
        Arc::new(Self {
            about,
            middle: None,
            healthy: OnceLock::new(),
            fixed: OnceLock::new(),
        })
    }

    /// The same place about another unit, of which nothing is known yet.
    pub fn turned(self: &Arc<Self>, about: Arc<About>) -> Self {
        let middle = self.middle.as_ref().unwrap_or(self);
        Self {
            about,
            middle: Some(Arc::clone(middle)),
            healthy: OnceLock::new(),
            fixed: OnceLock::new(),
        }
    }

    /// The same about the same unit, with these effects of the deeds that are always considered.
    pub fn with(&self, fixed: Option<Cells>) -> Self {
        Self {
            about: Arc::clone(&self.about),
            middle: self.middle.clone(),
            healthy: self.healthy.clone(),
            fixed: fixed.map_or_else(OnceLock::new, OnceLock::from),
        }
    }

    /// How far a unit lies from the one that this column is about: in the variable that differs most, in standard
    /// deviations. All variables count, as a fault may bring in what the healthy reading does not follow.
    pub fn off(&self, unit: &[(u32, f64)]) -> f64 {
        let from = &self.about.unit;
        let names = unit.iter().chain(from).map(|v| v.0);
        names
            .map(|v| (at(unit, v) - at(from, v)).abs())
            .fold(0.0, f64::max)
    }
}

/// A variable that a reading follows by this share of its steepest slope counts in full when units are compared.
const COUNTS: f64 = 0.1;

/// How far two units lie apart for a reading with these slopes: in the variable that counts most, in standard deviations.
pub(super) fn off(slopes: &[(u32, f64)], a: &[(u32, f64)], b: &[(u32, f64)]) -> f64 {
    let steepest = slopes.iter().fold(0.0_f64, |m, s| m.max(s.1.abs()));
    let each = slopes.iter().map(|(v, s)| {
        let counts = (s.abs() / (COUNTS * steepest)).min(1.0);
        (at(a, *v) - at(b, *v)).abs() * counts
    });
    each.fold(0.0, f64::max)
}
