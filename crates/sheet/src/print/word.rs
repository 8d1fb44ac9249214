//! Names and texts as KDL takes them.

/// A name, in quotes unless it is plain.
pub(crate) fn word(name: &str) -> String {
    let is_number =
        !name.is_empty() && name.len() <= 15 && name.bytes().all(|b| b.is_ascii_digit());
    let starts_plain = name.starts_with(|c: char| c.is_ascii_alphabetic() || c == '_');
    let goes_on_plain = name
        .bytes()
        .all(|b| b.is_ascii_alphanumeric() || b"_-.:+".contains(&b));
    let is_kept = matches!(name, "true" | "false" | "null" | "inf" | "nan");
    if is_number || (starts_plain && goes_on_plain && !is_kept) {
        name.to_owned()
    } else {
        quoted(name)
    }
}

/// A text in quotes. What cannot be seen is escaped, as KDL 2.0 demands of some characters and readers like of all.
pub(crate) fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\r' => out.push_str("\\r"),
            '\t' => out.push_str("\\t"),
            _ if is_hidden(c) => out.push_str(&format!("\\u{{{:x}}}", u32::from(c))),
            _ => out.push(c),
        }
    }
    out.push('"');
    out
}

fn is_hidden(c: char) -> bool {
    let is_odd_blank = c.is_whitespace() && c != ' ';
    let is_direction =
        matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    c.is_control() || is_odd_blank || is_direction || c == '\u{feff}'
}
