//! Leave to bring a unit up: the checks that it rests on, what its stages read, and the hold points between them.

use units::{is_over_range, read};

use crate::{Id, ReadingKind};

/// Somebody's signature under what a check or a hold point did not show: a name and a reason, neither empty.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Override {
    by: String,
    reason: String,
}

impl Override {
    /// None if nobody signs, or without a reason.
    pub fn new(by: &str, reason: &str) -> Option<Self> {
        let (by, reason) = (by.trim(), reason.trim());
        (!by.is_empty() && !reason.is_empty()).then(|| Self {
            by: by.to_owned(),
            reason: reason.to_owned(),
        })
    }

    /// Who signs.
    pub fn by(&self) -> &str {
        &self.by
    }

    /// Why it may go on.
    pub fn reason(&self) -> &str {
        &self.reason
    }
}

/// A check that is wanted before power, and how it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ColdCheck {
    /// What is checked, with its limits: another limit is another check.
    pub name: String,
    /// How it stands.
    pub stand: Stand,
}

/// How a check stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stand {
    /// Not made, or no longer good.
    Owed,
    /// Made, and on the wrong side, by this reading or test.
    Failed(Id),
    /// Made, and on the good side, by this reading or test.
    Passed(Id),
    /// Not passed, and signed for all the same.
    Overridden(Override),
}

/// Leave to bring a unit up in stages.
///
/// Whoever holds one knows that each check that was wanted had been passed or was signed for: [`PowerPermit::grant`] is
/// the only way to one. Whether it is still in force, [`crate::Work::bring_up`] says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PowerPermit {
    unit: String,
    checks: Vec<ColdCheck>,
}

impl PowerPermit {
    /// Grants power once every check was passed or signed for.
    ///
    /// # Errors
    /// With the checks that are still owed or failed; empty if none was wanted at all, which permits nothing.
    pub fn grant(unit: &str, checks: &[ColdCheck]) -> Result<Self, Vec<ColdCheck>> {
        let is_open = |c: &&ColdCheck| {
            matches!(c.stand, Stand::Owed | Stand::Failed(_)) || c.name.trim().is_empty()
        };
        let open: Vec<ColdCheck> = checks.iter().filter(is_open).cloned().collect();
        if !open.is_empty() || checks.is_empty() || unit.trim().is_empty() {
            return Err(open);
        }
        Ok(Self {
            unit: unit.to_owned(),
            checks: checks.to_vec(),
        })
    }

    /// The unit that may be powered.
    pub fn unit(&self) -> &str {
        &self.unit
    }

    /// What it rests on; each passed or signed for.
    pub fn checks(&self) -> &[ColdCheck] {
        &self.checks
    }

    /// What was signed for instead of passed.
    pub fn overrides(&self) -> impl Iterator<Item = (&str, &Override)> {
        self.checks.iter().filter_map(|c| match &c.stand {
            Stand::Overridden(signed) => Some((c.name.as_str(), signed)),
            _ => None,
        })
    }
}

/// A reading at a stage of the bring-up, with the limits that stood beside it.
#[derive(Clone, Debug, PartialEq)]
pub struct Watch {
    /// The unit.
    pub unit: String,
    /// The entry of the permit under which it was taken.
    pub permit: Id,
    /// The stage, from 1.
    pub stage: u32,
    /// What was measured.
    pub kind: ReadingKind,
    /// Where the red lead was, or the supply whose current was read.
    pub red: String,
    /// Where the black lead was, if there was one.
    pub black: Option<String>,
    /// The value as written.
    pub value: String,
    /// Below this: stop; in the SI unit of the kind.
    pub low: f64,
    /// Above this: stop.
    pub high: f64,
}

impl Watch {
    /// Whether both ends of what was read lie within the limits; none if it cannot be read. Over range lies without.
    pub fn is_within(&self) -> Option<bool> {
        let one = |text: &str| {
            if is_over_range(text) {
                return Some(false);
            }
            let value = read(text, self.kind.unit()).ok()?;
            Some((self.low..=self.high).contains(&value.number))
        };
        match self.value.split_once("..") {
            None => one(&self.value),
            Some((from, to)) => Some(one(from)? && one(to)?),
        }
    }

    /// Its limits with their unit, in print.
    pub fn limits(&self) -> String {
        let shown = |x: f64| units::significant(x, 3, self.kind.unit());
        format!("{} to {}", shown(self.low), shown(self.high))
    }

    /// Whether another one reads the same thing at the same stage under the same permit.
    pub fn same_place(&self, other: &Watch) -> bool {
        (&self.unit, &self.permit, self.stage, self.kind)
            == (&other.unit, &other.permit, other.stage, other.kind)
            && (&self.red, &self.black) == (&other.red, &other.black)
    }
}

/// A hold point was passed: the next stage may begin.
#[derive(Clone, Debug, PartialEq)]
pub struct Hold {
    /// The unit.
    pub unit: String,
    /// The entry of the permit.
    pub permit: Id,
    /// The stage that ends here, from 1.
    pub stage: u32,
    /// The stage's readings, each a [`Watch`] within its limits.
    pub readings: Vec<Id>,
    /// For how long it was held, in minutes.
    pub minutes: f64,
    /// What was seen, felt and smelled.
    pub note: String,
    /// The signature, if not all was read or held.
    pub signed: Option<Override>,
}
