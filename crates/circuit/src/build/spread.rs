//! Default spreads of healthy parts, and the lots that like parts share.

use std::collections::HashMap;

use sheet::{Drift, Kind, Part};

/// 95 % of new parts lie within this fraction, where the sheet does not say.
pub(super) fn default_tolerance(part: &Part) -> f64 {
    match (&part.kind, part.style.as_deref()) {
        (Kind::Resistor { .. } | Kind::Potentiometer { .. }, Some("composition")) => 0.10,
        (Kind::Resistor { .. } | Kind::Potentiometer { .. }, _) => 0.05,
        (Kind::Inductor { .. } | Kind::Transformer { .. }, _) => 0.10,
        (Kind::Zener { .. }, _) => 0.05,
        _ => 0.0,
    }
}

/// Ageing by style: carbon composition rises, more so from 10 kilohms up.
pub(super) fn style_drift(style: Option<&str>, ohms: f64) -> Drift {
    match style {
        Some("composition") => {
            let fraction = if ohms < 10e3 { 0.05 } else { 0.10 };
            Drift {
                fraction,
                mean: fraction,
            }
        }
        _ => Drift {
            fraction: 0.02,
            mean: 0.0,
        },
    }
}

/// What a lot is common to: one number of one type, for diodes or for transistors.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct LotKey {
    pub name: String,
    pub transistor: bool,
    pub gain: bool,
}

/// The variables of the lots met so far.
#[derive(Debug, Default)]
pub(super) struct Lots {
    known: HashMap<LotKey, u32>,
}

impl Lots {
    /// The variable of a lot, made by `new` when first asked for.
    pub fn variable(&mut self, key: LotKey, new: impl FnOnce() -> u32) -> u32 {
        *self.known.entry(key).or_insert_with(new)
    }
}
