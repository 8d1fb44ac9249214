//! Texts that a spreadsheet would take for a formula, guarded in what is handed out and given back as they were on the way in.

/// A field as it is handed out in a table: a text that begins with `=`, `+`, `-` or `@` and is no number gets an apostrophe
/// before it, because a spreadsheet would compute it (OWASP, CSV Injection). `+12V` becomes `'+12V`; `-12.5` stays.
///
/// A text that begins with apostrophes before such a sign gets one more, so that [`unguarded`] gives back every text.
pub fn guarded(text: &str) -> String {
    if is_formula(text) && !is_number(text) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// A field of a table as it was before [`guarded`].
pub fn unguarded(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(rest) if is_formula(rest) => rest,
        _ => text,
    }
}

fn is_formula(text: &str) -> bool {
    text.trim_start_matches('\'')
        .starts_with(['=', '+', '-', '@'])
}

/// Digits with a sign, a point and an exponent, and nothing else.
fn is_number(text: &str) -> bool {
    let is_part = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | 'e' | 'E');
    text.chars().all(is_part) && text.parse::<f64>().is_ok()
}

#[cfg(test)]
mod tests {
    use super::{guarded, unguarded};

    #[test]
    fn what_a_spreadsheet_would_compute_is_guarded_and_comes_back() {
        for (text, want) in [
            ("+12V", "'+12V"),
            ("=1+1", "'=1+1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("-4k7", "'-4k7"),
            ("-", "'-"),
            ("-12.5", "-12.5"),
            ("+1e-3", "+1e-3"),
            ("0V", "0V"),
            ("", ""),
            ("it's =", "it's ="),
            ("'quoted'", "'quoted'"),
            ("'=x", "''=x"),
            ("''+x", "'''+x"),
        ] {
            assert_eq!(guarded(text), want);
            assert_eq!(unguarded(want), text);
        }
        assert_eq!(unguarded("=1+1"), "=1+1", "a table of another hand");
    }
}
