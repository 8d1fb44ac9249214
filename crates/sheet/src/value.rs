//! Quantities as they are written in device and meter files, read to SI base units.

/// Reads `4k7`, `4.7k`, `4700`, `1e-8`, `2R2`, `1m`, `5%`, with or without the unit; none if it is not a finite number.
pub(crate) fn quantity(text: &str, unit: &str) -> Option<f64> {
    let bare = text.trim();
    let bare = if unit == "Ω" {
        bare.trim_end_matches(['Ω', '\u{2126}'])
    } else {
        bare.strip_suffix(unit).unwrap_or(bare)
    };
    let bare = bare.trim();
    let shape = |s: &str| s.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c));
    if !shape(bare) {
        return None;
    }
    let value = plain(bare).or_else(|| lettered(bare))?;
    let scaled = if unit == "%" && text.contains('%') {
        value / 100.0
    } else {
        value
    };
    scaled.is_finite().then_some(scaled)
}

fn plain(text: &str) -> Option<f64> {
    text.parse().ok()
}

/// One letter that is both the multiplier and, if digits follow, the decimal point (IEC 60062).
fn lettered(text: &str) -> Option<f64> {
    let (at, letter) = text
        .char_indices()
        .find(|(_, c)| multiplier(*c).is_some())?;
    let (whole, rest) = (&text[..at], &text[at + letter.len_utf8()..]);
    if !rest.chars().all(|c| c.is_ascii_digit()) || (whole.contains('.') && !rest.is_empty()) {
        return None;
    }
    let joined = if rest.is_empty() {
        whole.to_owned()
    } else {
        format!("{whole}.{rest}")
    };
    plain(&joined).map(|v| v * multiplier(letter).unwrap_or(1.0))
}

fn multiplier(letter: char) -> Option<f64> {
    Some(match letter {
        'p' => 1e-12,
        'n' => 1e-9,
        'u' | 'µ' | 'μ' => 1e-6,
        'm' => 1e-3,
        'R' => 1.0,
        'k' | 'K' => 1e3,
        'M' => 1e6,
        'G' => 1e9,
        _ => return None,
    })
}
