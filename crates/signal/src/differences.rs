//! Differences between two recordings as data, and in words.

/// Kinds of difference.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// In A and not in B.
    Missing,
    /// In B and not in A.
    Extra,
    /// A transition at another time.
    Moved,
    /// A plateau at another level, its transitions kept.
    Level,
    /// A transition in the right place with another course.
    Shape,
}

impl Kind {
    /// Its name in the machine-readable output.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Missing => "missing",
            Kind::Extra => "extra",
            Kind::Moved => "moved",
            Kind::Level => "level",
            Kind::Shape => "shape",
        }
    }
}

/// One difference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// What kind it is.
    pub kind: Kind,
    /// Where it is, or should be, on A's time axis, seconds.
    pub at_a: f64,
    /// Where it is, or should be, on B's time axis, seconds.
    pub at_b: f64,
    /// Whether the transition rises; of a pulse, its first one; of a plateau, whether it is high.
    pub rises: bool,
    /// Missing and extra: width of the pulse in seconds, if a whole pulse is meant. Moved: seconds later in B. Level: B less A in the
    /// channel's unit. Shape: mean deviation of B before and against its half-way point, in the channel's unit.
    pub amount: Option<f64>,
    /// It holds for all like plateaus or transitions of the recording, and this is the first.
    pub whole: bool,
}

impl Difference {
    /// The difference as a sentence; `unit` is the symbol of the channel's unit.
    pub fn words(&self, unit: &str) -> String {
        let edge = if self.rises {
            "rising edge"
        } else {
            "falling edge"
        };
        let pulse = if self.rises { "pulse" } else { "gap" };
        let state = if self.rises { "high" } else { "low" };
        let value = self.amount.unwrap_or(0.0);
        match (self.kind, self.amount) {
            (Kind::Missing, Some(width)) => format!(
                "B lacks a {pulse} that is {} wide in A.",
                engineering(width, "s")
            ),
            (Kind::Missing, None) => format!("B lacks a {edge} that A has."),
            (Kind::Extra, Some(width)) => format!(
                "B has a {pulse} {} wide that A lacks.",
                engineering(width, "s")
            ),
            (Kind::Extra, None) => format!("B has a {edge} that A lacks."),
            (Kind::Moved, _) => {
                let way = if value > 0.0 { "late" } else { "early" };
                format!(
                    "The {edge} is {} {way} in B.",
                    engineering(value.abs(), "s")
                )
            }
            (Kind::Level, _) => {
                let way = if value > 0.0 { "higher" } else { "lower" };
                let which = if self.whole {
                    format!("Every {state} plateau")
                } else {
                    format!("The {state} plateau")
                };
                format!("{which} is {} {way} in B.", engineering(value.abs(), unit))
            }
            (Kind::Shape, _) => {
                let which = if self.whole {
                    format!("Every {edge}")
                } else {
                    format!("The {edge}")
                };
                let way = if value > 0.0 {
                    "slower"
                } else {
                    "otherwise shaped"
                };
                format!("{which} is in place but {way} in B.")
            }
        }
    }
}

/// A figure in engineering notation with three digits: `12.5 µs`.
pub fn engineering(value: f64, unit: &str) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value} {unit}").trim_end().to_owned();
    }
    let group = ((value.abs().log10() + 1e-9) / 3.0)
        .floor()
        .clamp(-5.0, 3.0) as i32;
    let prefix = ["f", "p", "n", "µ", "m", "", "k", "M", "G"][(group + 5) as usize];
    let scaled = value / 10f64.powi(3 * group);
    let digits = if scaled.abs() >= 99.95 {
        0
    } else if scaled.abs() >= 9.995 {
        1
    } else {
        2
    };
    format!("{scaled:.digits$} {prefix}{unit}")
        .trim_end()
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_written_as_the_bench_writes_them() {
        for (value, text) in [
            (1.25e-5, "12.5 µs"),
            (3e-9, "3.00 ns"),
            (0.25, "250 ms"),
            (2.0, "2.00 s"),
            (1e-6, "1.00 µs"),
        ] {
            assert_eq!(engineering(value, "s"), text);
        }
    }
}
