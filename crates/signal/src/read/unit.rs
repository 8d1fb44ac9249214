//! Units as recorders write them in headers and units rows, turned into an SI symbol and a power of ten.

/// What a word in a header says about the values below it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unit {
    /// An SI unit: its symbol, and the power of ten that brings values to it.
    Si(&'static str, i32),
    /// A running number of the sample: neither a time nor a value.
    Count,
    /// Divisions of a screen, whose worth is not known.
    Division,
}

impl Unit {
    /// Whether it measures time.
    pub fn is_time(&self) -> bool {
        matches!(self, Unit::Si("s", _))
    }
}

const WORDS: [(&str, &str); 25] = [
    ("s", "s"),
    ("sec", "s"),
    ("secs", "s"),
    ("second", "s"),
    ("seconds", "s"),
    ("v", "V"),
    ("volt", "V"),
    ("volts", "V"),
    ("vdc", "V"),
    ("a", "A"),
    ("amp", "A"),
    ("amps", "A"),
    ("ampere", "A"),
    ("amperes", "A"),
    ("w", "W"),
    ("watt", "W"),
    ("watts", "W"),
    ("hz", "Hz"),
    ("hertz", "Hz"),
    ("ohm", "Ω"),
    ("ohms", "Ω"),
    ("Ω", "Ω"),
    ("%", "%"),
    ("°c", "°C"),
    ("celsius", "°C"),
];
const LONG_PREFIXES: [(&str, i32); 6] = [
    ("milli", -3),
    ("micro", -6),
    ("nano", -9),
    ("pico", -12),
    ("kilo", 3),
    ("mega", 6),
];

/// Reads one unit, brackets and quotes around it allowed; none if it is not one.
pub fn unit(text: &str) -> Option<Unit> {
    let text = text
        .trim()
        .trim_matches(|c| matches!(c, '(' | ')' | '[' | ']' | '{' | '}' | '"' | '\''))
        .trim();
    let low = text.to_lowercase();
    if matches!(
        low.as_str(),
        "sequence" | "samples" | "sample" | "count" | "index" | "points" | "#"
    ) {
        return Some(Unit::Count);
    }
    if matches!(low.as_str(), "div" | "divs" | "division" | "divisions") {
        return Some(Unit::Division);
    }
    let word = |t: &str| {
        WORDS
            .iter()
            .find(|(word, _)| *word == t)
            .map(|(_, symbol)| *symbol)
    };
    if let Some(symbol) = word(&low) {
        return Some(Unit::Si(symbol, 0));
    }
    for (prefix, power) in LONG_PREFIXES {
        if let Some(symbol) = low.strip_prefix(prefix).and_then(word) {
            return Some(Unit::Si(symbol, power));
        }
    }
    let mut letters = text.chars();
    let power = match letters.next()? {
        'p' => -12,
        'n' | 'N' => -9,
        'u' | 'U' | 'µ' | 'μ' => -6,
        'm' => -3,
        'k' | 'K' => 3,
        'M' => 6,
        'G' => 9,
        _ => return None,
    };
    let rest = letters.as_str().to_lowercase();
    (rest != "%")
        .then(|| word(&rest))
        .flatten()
        .map(|symbol| Unit::Si(symbol, power))
}

/// Splits a heading such as `CH1 (mV)`, `Time [us]`, `t/ms` or `time_us` into its name and its unit.
pub fn heading(text: &str) -> (String, Option<Unit>) {
    let text = text.trim().trim_matches('"').trim();
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}')] {
        if let Some(inner) = text.strip_suffix(close)
            && let Some((name, inside)) = inner.rsplit_once(open)
            && let Some(found) = unit(inside)
        {
            return (name.trim().to_owned(), Some(found));
        }
    }
    if let Some((name, last)) = text.rsplit_once('/')
        && let Some(found) = unit(last)
    {
        return (name.trim().to_owned(), Some(found));
    }
    // one letter after an underscore or blank (I_A, phase V) is more often part of a name than a unit
    for sign in ['_', ' '] {
        if let Some((name, last)) = text.rsplit_once(sign)
            && let Some(found @ Unit::Si(_, power)) = unit(last)
            && (power != 0 || name.to_lowercase().ends_with("time"))
        {
            let name = if sign == '_' && !found.is_time() {
                text
            } else {
                name
            };
            return (name.trim().to_owned(), Some(found));
        }
    }
    (text.to_owned(), None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_in_the_spellings_of_recorders() {
        for (text, symbol, power) in [
            ("(V)", "V", 0),
            ("Volts", "V", 0),
            ("[mV]", "V", -3),
            ("µs", "s", -6),
            ("US", "s", -6),
            ("Second", "s", 0),
            ("milliseconds", "s", -3),
            ("MHz", "Hz", 6),
            ("kV", "V", 3),
            ("mA", "A", -3),
            ("NS", "s", -9),
        ] {
            assert_eq!(unit(text), Some(Unit::Si(symbol, power)), "{text}");
        }
        assert_eq!(unit("div"), Some(Unit::Division));
        assert_eq!(unit("CH1"), None);
        assert_eq!(unit(""), None);
    }

    #[test]
    fn headings_part_into_name_and_unit() {
        for (text, name, found) in [
            ("CH1 (mV)", "CH1", Some(Unit::Si("V", -3))),
            ("Time [us]", "Time", Some(Unit::Si("s", -6))),
            ("t/ms", "t", Some(Unit::Si("s", -3))),
            ("time_us", "time", Some(Unit::Si("s", -6))),
            ("I_A", "I_A", None),
            ("clock (inverted)", "clock (inverted)", None),
        ] {
            assert_eq!(heading(text), (name.to_owned(), found), "{text}");
        }
    }
}
