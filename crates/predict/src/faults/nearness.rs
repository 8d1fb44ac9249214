//! How near an answer has to come to the exact one, and what that allows each way of finding it.

/// Volts within which answers are compared with the straightforward way.
const EXACTLY: f64 = 1e-6;
/// Volts in which a junction's current grows by e; no law of a part bends faster.
const WIDTH: f64 = 0.025;
/// No ranking needs less: beyond it a knee would be missed.
const ROUGHEST: f64 = 2e-3;

/// Limits of one engine, all in volts but for `relative`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Nearness {
    /// What may be left out of a proven bound at the leads.
    pub left_out: f64,
    /// Corrections of the soft currents that are as good as none.
    pub settled: f64,
    /// Last step of the few currents that are followed: Newton leaves the square of it over twice the width.
    pub fine: f64,
    /// Last step of the whole circuit after which the balance is looked at.
    pub last: f64,
    /// After a step of no more the factors serve once more: the slopes change by a small part.
    pub calm: f64,
    /// Imbalance that is accepted as a fraction of the currents that meet.
    pub relative: f64,
}

impl Nearness {
    /// To a microvolt: a fiftieth of it is left out of bounds; the imbalance is a hundredth of the certificate's, because
    /// a reading may stand on a small part of what meets: with a tenth an amplifier's output was 24 uV off. A thousandth
    /// drowns in rounding.
    pub const EXACT: Self = Self {
        left_out: EXACTLY / 50.0,
        settled: EXACTLY / 500.0,
        fine: 2e-6,
        last: 1e-5,
        calm: 1e-3,
        relative: 1e-8,
    };

    /// To about so many volts at the leads, for answers that only sort.
    pub fn of(volts: f64) -> Self {
        let exact = Self::EXACT;
        let volts = volts.clamp(EXACTLY, ROUGHEST);
        let step = (2.0 * WIDTH * volts).sqrt();
        Self {
            left_out: volts.max(exact.left_out),
            settled: (0.1 * volts).max(exact.settled),
            fine: (0.3 * step).max(exact.fine),
            last: (0.3 * step).max(exact.last),
            calm: (2.0 * step).max(exact.calm),
            relative: (0.1 * volts / WIDTH).max(exact.relative),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_asked_more_strictly_than_exactly_nor_more_roughly_than_a_knee_allows() {
        let exact = Nearness::EXACT;
        for volts in [0.0, 1e-9, 1e-6, 1e-4, 1.0] {
            let of = Nearness::of(volts);
            assert!(of.left_out >= exact.left_out && of.left_out <= ROUGHEST);
            assert!(of.fine >= exact.fine && of.fine <= WIDTH && of.last <= WIDTH);
            assert!(of.relative >= exact.relative && of.relative <= 0.01);
        }
    }
}
