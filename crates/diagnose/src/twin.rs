//! Two units read at the same place.

use record::{Expected, Shown, TwinCase, VerdictWord};

/// One side of a comparison.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// What was read.
    pub shown: Shown,
    /// How it stands to its expectation.
    pub word: VerdictWord,
    /// The expectation, if there is one.
    pub expected: Option<Expected>,
}

/// How this reading stands to the other unit's.
///
/// Only the word `disagrees` makes a unit odd; a reading at the edge is no evidence yet.
pub fn twin(this: Compared, other: Compared) -> TwinCase {
    let alike = alike(this, other);
    if this.word == VerdictWord::NoExpectation || other.word == VerdictWord::NoExpectation {
        return if alike {
            TwinCase::Alike
        } else {
            TwinCase::Differ
        };
    }
    let odd = |c: Compared| c.word == VerdictWord::Disagrees;
    match (odd(this), odd(other)) {
        (true, false) => TwinCase::ThisOdd,
        (false, true) => TwinCase::OtherOdd,
        (true, true) if alike => TwinCase::AlikeButOff,
        (true, true) => TwinCase::AllDiffer,
        (false, false) => TwinCase::BothAgree,
    }
}

/// Both over range, or apart by no more than two healthy units would be.
fn alike(this: Compared, other: Compared) -> bool {
    let (a, b) = match (this.shown, other.shown) {
        (Shown::OverRange, Shown::OverRange) => return true,
        (Shown::Number(a), Shown::Number(b)) => (a, b),
        _ => return false,
    };
    let width = this.expected.and_then(|e| match (e.low, e.high) {
        (Shown::Number(low), Shown::Number(high)) => Some(high - low),
        _ => None,
    });
    match width {
        // The difference of two independent readings spreads sqrt 2 times as wide as one; half a
        // band is 1.96 of one, so a whole band over sqrt 2 is 1.96 of the difference.
        Some(width) => (a - b).abs() <= width / std::f64::consts::SQRT_2,
        None => (a - b).abs() <= 0.1 * a.abs().max(b.abs()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(x: f64, word: VerdictWord) -> Compared {
        Compared {
            shown: Shown::Number(x),
            word,
            expected: Some(Expected {
                nominal: Shown::Number(100.0),
                low: Shown::Number(90.0),
                high: Shown::Number(110.0),
            }),
        }
    }

    #[test]
    fn every_case() {
        use VerdictWord::{Agrees, Disagrees, Edge, NoExpectation};
        let check = |a, b, want| assert_eq!(twin(a, b), want);
        check(at(150.0, Disagrees), at(100.0, Agrees), TwinCase::ThisOdd);
        check(at(100.0, Agrees), at(50.0, Disagrees), TwinCase::OtherOdd);
        check(
            at(150.0, Disagrees),
            at(155.0, Disagrees),
            TwinCase::AlikeButOff,
        );
        check(
            at(150.0, Disagrees),
            at(50.0, Disagrees),
            TwinCase::AllDiffer,
        );
        check(at(111.0, Edge), at(100.0, Agrees), TwinCase::BothAgree);
        let blank = |x| Compared {
            expected: None,
            ..at(x, NoExpectation)
        };
        check(blank(100.0), blank(109.0), TwinCase::Alike);
        check(blank(100.0), blank(130.0), TwinCase::Differ);
    }

    #[test]
    fn over_range_is_alike_only_to_itself() {
        let over = Compared {
            shown: Shown::OverRange,
            ..at(0.0, VerdictWord::Disagrees)
        };
        assert_eq!(twin(over, over), TwinCase::AlikeButOff);
        assert_eq!(
            twin(over, at(100.0, VerdictWord::Disagrees)),
            TwinCase::AllDiffer
        );
    }
}
