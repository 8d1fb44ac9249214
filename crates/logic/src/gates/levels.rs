//! What a level is in volts, and which way round the sheet reads it.

/// How levels are told apart on a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Levels {
    /// Volts that read as 1, lowest and highest.
    pub one: (f64, f64),
    /// Volts that read as 0.
    pub zero: (f64, f64),
    /// What an input that is connected to nothing reads, in volts: true for the higher level.
    pub open_reads_high: bool,
}

/// What a reading says of a net.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    /// Clearly a level.
    Level(bool),
    /// Between the levels, or beyond them.
    Neither,
}

impl Default for Levels {
    /// Positive logic of the 74 series: 2.4 V and more, 0.4 V and less at an output, open inputs high
    /// (common practice; the same limits stand in every data book of the family).
    fn default() -> Self {
        Self {
            one: (2.4, 5.5),
            zero: (-0.5, 0.4),
            open_reads_high: true,
        }
    }
}

impl Levels {
    /// Whether 1 is the more positive level.
    pub fn is_positive(&self) -> bool {
        self.one.0 > self.zero.0
    }

    /// What a voltage says.
    pub fn of_volts(&self, volts: f64) -> Seen {
        let within = |band: (f64, f64)| volts >= band.0 && volts <= band.1;
        match (within(self.one), within(self.zero)) {
            (true, _) => Seen::Level(true),
            (_, true) => Seen::Level(false),
            _ => Seen::Neither,
        }
    }

    /// A level as written: `0`, `1`, `H`, `L` (in volts), or a voltage such as `-11.2V`; `None` if it is none of these.
    pub fn read(&self, word: &str) -> Option<Seen> {
        match word {
            "0" => return Some(Seen::Level(false)),
            "1" => return Some(Seen::Level(true)),
            "H" | "h" => return Some(Seen::Level(self.is_positive())),
            "L" | "l" => return Some(Seen::Level(!self.is_positive())),
            _ => {}
        }
        let number = word.strip_suffix(['V', 'v'])?.trim();
        let volts: f64 = number.parse().ok()?;
        volts.is_finite().then(|| self.of_volts(volts))
    }

    /// `2.4 to 5.5 V` as lowest and highest.
    pub(crate) fn band(text: &str) -> Option<(f64, f64)> {
        let (low, high) = text
            .trim()
            .trim_end_matches(['V', 'v'])
            .split_once(" to ")?;
        let volts = |t: &str| {
            t.trim()
                .trim_end_matches(['V', 'v'])
                .trim()
                .parse::<f64>()
                .ok()
        };
        let (a, b) = (volts(low)?, volts(high)?);
        (a.is_finite() && b.is_finite()).then_some((a.min(b), a.max(b)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn negative_logic_reads_volts_the_other_way_round() {
        let levels = Levels {
            one: (-13.0, -9.0),
            zero: (-1.5, 0.0),
            open_reads_high: true,
        };
        let read = |w: &str| levels.read(w);
        assert!(!levels.is_positive());
        assert_eq!(read("-11.2V"), Some(Seen::Level(true)));
        assert_eq!(read("-0.3 V"), Some(Seen::Level(false)));
        assert_eq!(read("-5V"), Some(Seen::Neither));
        assert_eq!(read("H"), Some(Seen::Level(false)));
        assert_eq!((read("-11.2"), read("NaNV"), read("")), (None, None, None));
        assert_eq!(Levels::band("-13 to -9 V"), Some((-13.0, -9.0)));
    }
}
