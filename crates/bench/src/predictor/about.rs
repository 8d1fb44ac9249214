//! The unit that predictions are about: its board laid out in a condition when that is first asked for.

use std::collections::HashMap;
use std::sync::{Arc, OnceLock};

use diagnose::Slopes;
use predict::{Board, ChangedBoard};
use record::State;
use sheet::Sheet;

use super::Condition;
use crate::places::{self, Treatment};
use crate::variables;

/// Variables that only a lifted pin brings, if there are any, are numbered from here.
const OTHERS: u32 = 1 << 23;

/// A board in one condition.
pub(super) struct Base {
    /// The board, and the unit that the predictions are about; `None` if it has no operating point.
    pub board: Option<(Arc<Board>, ChangedBoard)>,
    /// Numbers of its variables, which all conditions share.
    pub names: Arc<[u32]>,
    /// Variables of that unit.
    pub z: Vec<f64>,
}

/// A unit in every condition.
pub(super) struct About {
    /// Its variables; empty for the middle of all units.
    pub unit: Slopes,
    /// What it is turned from; none for the middle.
    middle: Option<Arc<About>>,
    setting: Arc<Setting>,
    bases: Vec<OnceLock<Base>>,
}

/// The drawing, and what is done to the board.
pub(super) struct Setting {
    pub sheet: Arc<Sheet>,
    pub conditions: Vec<Condition>,
    /// Numbers of the variables by their keys.
    numbers: HashMap<String, u32>,
}

impl Setting {
    /// Numbers the variables of the board, cold and powered.
    pub fn new(sheet: Arc<Sheet>, conditions: Vec<Condition>) -> Self {
        let mut numbers = HashMap::new();
        for state in State::ALL {
            let network = places::network(&sheet, state, &Treatment::default());
            for key in variables::keys(&sheet, &network) {
                let next = numbers.len() as u32;
                numbers.entry(key).or_insert(next);
            }
        }
        Self {
            sheet,
            conditions,
            numbers,
        }
    }

    /// The same drawing with other things done to the board.
    pub fn with(&self, conditions: Vec<Condition>) -> Self {
        Self {
            sheet: Arc::clone(&self.sheet),
            conditions,
            numbers: self.numbers.clone(),
        }
    }

    fn base(&self, condition: usize) -> Base {
        let condition = &self.conditions[condition];
        let treatment = Treatment {
            faults: Vec::new(),
            lifted: condition.lifted.clone(),
        };
        let board = places::board(&self.sheet, condition.state, &treatment)
            .ok()
            .and_then(|b| {
                let unchanged = ChangedBoard::new(&b, &[]).ok()?;
                Some((Arc::new(b), unchanged))
            });
        let names: Arc<[u32]> = board.as_ref().map_or_else(Default::default, |(b, _)| {
            let keys = variables::keys(&self.sheet, &b.network);
            let number = |(k, key)| self.numbers.get(key).copied().unwrap_or(OTHERS + k as u32);
            keys.iter().enumerate().map(number).collect()
        });
        let z = vec![0.0; names.len()];
        Base { board, names, z }
    }
}

impl About {
    /// The middle of all units.
    pub fn middle(setting: Arc<Setting>) -> Self {
        Self {
            unit: Slopes::new(),
            middle: None,
            bases: setting.conditions.iter().map(|_| OnceLock::new()).collect(),
            setting,
        }
    }

    /// Another unit of this middle.
    pub fn turned(self: &Arc<Self>, unit: &[(u32, f64)]) -> Self {
        Self {
            unit: unit.to_vec(),
            middle: Some(Arc::clone(self)),
            setting: Arc::clone(&self.setting),
            bases: self.bases.iter().map(|_| OnceLock::new()).collect(),
        }
    }

    /// The board in a condition.
    pub fn base(&self, condition: usize) -> &Base {
        self.bases[condition].get_or_init(|| {
            let Some(middle) = &self.middle else {
                return self.setting.base(condition);
            };
            let base = middle.base(condition);
            let z: Vec<f64> = base.names.iter().map(|n| at(&self.unit, *n)).collect();
            let board = base.board.as_ref().and_then(|(board, _)| {
                let there = ChangedBoard::of_unit(board, &[], z.clone()).ok()?;
                Some((Arc::clone(board), there))
            });
            Base {
                board,
                z,
                names: Arc::clone(&base.names),
            }
        })
    }
}

/// A variable of a unit; those not named are in the middle.
pub(super) fn at(unit: &[(u32, f64)], name: u32) -> f64 {
    let found = unit.binary_search_by_key(&name, |a| a.0);
    found.map_or(0.0, |i| unit[i].1)
}

/// How far slopes carry from the middle of all units to one.
pub(super) fn along(slopes: &[(u32, f64)], unit: &[(u32, f64)]) -> f64 {
    slopes.iter().map(|(name, s)| s * at(unit, *name)).sum()
}
