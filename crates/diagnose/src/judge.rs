//! A reading held against what healthy boards would read.

use record::{Expected, Shown, Side, VerdictWord};

/// A reading's expectation and where the reading lies in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// What healthy boards would read.
    pub expected: Expected,
    /// Probability that a healthy board is over range here.
    pub over_range: f64,
    /// Normal score of the reading among healthy boards; none if it is over range itself.
    pub z: Option<f64>,
}

/// Beyond this normal score chance is ruled out: one healthy reading in a thousand lies there.
pub const CHANCE: f64 = 3.29;
/// An outcome that fewer healthy boards than this share would show disagrees.
pub const RARE: f64 = 0.001;

/// Judges what was shown. The meter's error is in the expectation already.
///
/// The side is given unless the reading agrees; over range is above every value.
pub fn judge(shown: Shown, held: &Held) -> (VerdictWord, Option<Side>) {
    let value = match shown {
        Shown::Number(value) => value,
        Shown::OverRange => {
            let word = if held.expected.high == Shown::OverRange {
                VerdictWord::Agrees
            } else if held.over_range >= RARE {
                VerdictWord::Edge
            } else {
                VerdictWord::Disagrees
            };
            return (word, side_unless_agrees(word, Side::High));
        }
    };
    let (side, inside) = match (held.expected.low, held.expected.high) {
        (Shown::OverRange, _) => (Side::Low, false),
        (Shown::Number(low), _) if value < low => (Side::Low, false),
        (Shown::Number(_), Shown::Number(high)) if value > high => (Side::High, false),
        _ => (Side::High, true),
    };
    let word = if inside {
        VerdictWord::Agrees
    } else if 1.0 - held.over_range < RARE || held.z.is_none_or(|z| z.abs() > CHANCE) {
        VerdictWord::Disagrees
    } else {
        VerdictWord::Edge
    };
    (word, side_unless_agrees(word, side))
}

fn side_unless_agrees(word: VerdictWord, side: Side) -> Option<Side> {
    (word != VerdictWord::Agrees).then_some(side)
}

#[cfg(test)]
mod tests {
    use super::*;
    use VerdictWord::{Agrees, Disagrees, Edge};

    fn check(
        shown: Shown,
        low: Shown,
        high: Shown,
        over_range: f64,
        z: Option<f64>,
        want: (VerdictWord, Option<Side>),
    ) {
        let expected = Expected {
            nominal: low,
            low,
            high,
        };
        assert_eq!(
            judge(
                shown,
                &Held {
                    expected,
                    over_range,
                    z
                }
            ),
            want
        );
    }

    #[test]
    fn every_case_of_a_number() {
        use Shown::{Number, OverRange};
        let (low, high) = (Number(90.0), Number(110.0));
        check(Number(100.0), low, high, 0.0, Some(0.0), (Agrees, None));
        check(
            Number(112.0),
            low,
            high,
            0.0,
            Some(2.4),
            (Edge, Some(Side::High)),
        );
        check(
            Number(80.0),
            low,
            high,
            0.0,
            Some(-4.0),
            (Disagrees, Some(Side::Low)),
        );
        check(
            Number(80.0),
            OverRange,
            OverRange,
            1.0,
            None,
            (Disagrees, Some(Side::Low)),
        );
        check(
            Number(80.0),
            OverRange,
            OverRange,
            0.98,
            Some(-2.1),
            (Edge, Some(Side::Low)),
        );
        check(
            Number(500.0),
            low,
            OverRange,
            0.5,
            Some(0.0),
            (Agrees, None),
        );
    }

    #[test]
    fn every_case_of_over_range() {
        use Shown::{Number, OverRange};
        let high = Side::High;
        check(
            OverRange,
            Number(1.0),
            OverRange,
            0.03,
            None,
            (Agrees, None),
        );
        check(
            OverRange,
            Number(1.0),
            Number(2.0),
            0.01,
            None,
            (Edge, Some(high)),
        );
        check(
            OverRange,
            Number(1.0),
            Number(2.0),
            0.0,
            None,
            (Disagrees, Some(high)),
        );
    }
}
