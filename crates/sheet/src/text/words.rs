//! Explains why a line is no KDL, word by word.

use crate::Span;
use crate::diagnostic::Remarks;

/// Characters that KDL 2.0 does not allow in an unquoted word.
const FORBIDDEN: &str = "/\\(){}[];\"#=";

#[derive(Clone, Copy, Debug, PartialEq)]
enum Token<'a> {
    Word(&'a str),
    Quoted(&'a str),
    Equals,
}

#[derive(Clone, Copy, Debug)]
struct Placed<'a> {
    token: Token<'a>,
    start: usize,
    end: usize,
}

/// Remarks everything that is wrong with a statement; at least one thing, if only in the KDL reader's words.
pub(super) fn explain(header: &str, offset: usize, reader: &str, remarks: &mut Remarks) {
    let before = remarks.errors();
    let tokens = tokens(header);
    for (i, placed) in tokens.iter().enumerate() {
        let span = Span {
            start: placed.start + offset,
            length: placed.end - placed.start,
        };
        let previous = i.checked_sub(1).map(|p| tokens[p]);
        match placed.token {
            Token::Word(word) => {
                missing_space(previous, placed, word, span, remarks);
                explain_word(word, span, remarks);
            }
            Token::Quoted(quoted) => {
                missing_space(previous, placed, quoted, span, remarks);
                explain_quoted(quoted, span, remarks);
            }
            Token::Equals => explain_equals(previous, tokens.get(i + 1), span, remarks),
        }
    }
    if remarks.errors() == before {
        let span = Span {
            start: offset,
            length: header.len(),
        };
        let mut letters = reader.trim_end_matches('.').chars();
        let reader: String = letters
            .next()
            .into_iter()
            .flat_map(char::to_lowercase)
            .chain(letters)
            .collect();
        remarks.error(
            span,
            format!("This line cannot be read: {reader}."),
            "Compare it with a line of its kind in the documentation, and quote every word that is not plain.",
        );
    }
}

/// Moves `key = value` together, which KDL allows and the reader does not; every value stays where it was.
pub(super) fn joined_at_equals(header: &str) -> Option<String> {
    let tokens = tokens(header);
    let mut bytes = header.as_bytes().to_vec();
    let mut moved = false;
    for window in tokens.windows(3) {
        let [key, equals, value] = window else {
            continue;
        };
        let gap = value.start - key.end;
        if equals.token != Token::Equals
            || gap == 1
            || value.token == Token::Equals
            || key.token == Token::Equals
        {
            continue;
        }
        let name = header.get(key.start..key.end)?;
        let joined = format!("{}{name}=", " ".repeat(gap - 1));
        bytes[key.start..value.start].copy_from_slice(joined.as_bytes());
        moved = true;
    }
    moved.then(|| String::from_utf8(bytes).ok()).flatten()
}

/// All words and quoted texts without their quotes.
pub(super) fn bare_words(header: &str) -> Vec<String> {
    tokens(header)
        .into_iter()
        .filter_map(|placed| match placed.token {
            Token::Word(word) => Some(word.to_owned()),
            Token::Quoted(quoted) => Some(quoted.trim_matches(['"', '#']).to_owned()),
            Token::Equals => None,
        })
        .collect()
}

fn tokens(header: &str) -> Vec<Placed<'_>> {
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(rest) = header.get(at..).filter(|r| !r.is_empty()) {
        if let Some(skip) = blank_length(rest) {
            at += skip;
            continue;
        }
        let (token, length) = match quoted_length(rest) {
            Some(length) => (Token::Quoted(&rest[..length]), length),
            None if rest.starts_with('=') => (Token::Equals, 1),
            None => {
                let length = word_length(rest);
                (Token::Word(&rest[..length]), length)
            }
        };
        found.push(Placed {
            token,
            start: at,
            end: at + length,
        });
        at += length;
    }
    found
}

fn blank_length(rest: &str) -> Option<usize> {
    if rest.starts_with("//") {
        return Some(rest.find('\n').unwrap_or(rest.len()));
    }
    if rest.starts_with("/*") {
        return Some(rest.find("*/").map_or(rest.len(), |i| i + 2));
    }
    let first = rest.chars().next()?;
    let continues = first == '\\'
        && rest[1..]
            .trim_start_matches([' ', '\t'])
            .starts_with(['\n', '\r', '/']);
    (first.is_whitespace() || continues).then(|| first.len_utf8())
}

/// Length of a string, with its quotes and hashes; to the end if it is not closed.
fn quoted_length(rest: &str) -> Option<usize> {
    let hashes = rest.bytes().take_while(|b| *b == b'#').count();
    let body = rest[hashes..].strip_prefix('"')?;
    let close = format!("\"{}", "#".repeat(hashes));
    let mut escaped = false;
    for (i, c) in body.char_indices() {
        match c {
            _ if escaped => escaped = false,
            '\\' if hashes == 0 => escaped = true,
            '"' if body[i..].starts_with(&close) => return Some(hashes + 1 + i + close.len()),
            _ => {}
        }
    }
    Some(rest.len())
}

fn word_length(rest: &str) -> usize {
    let first = rest.chars().next().map_or(1, char::len_utf8);
    rest[first..]
        .find(|c: char| c.is_whitespace() || c == '=' || c == '"')
        .map_or(rest.len(), |i| first + i)
}

fn missing_space(
    previous: Option<Placed>,
    placed: &Placed,
    text: &str,
    span: Span,
    remarks: &mut Remarks,
) {
    let touches = previous.is_some_and(|p| p.end == placed.start && p.token != Token::Equals);
    if touches {
        remarks.error(
            span,
            format!("A space is missing before `{text}`."),
            "Separate words and quoted texts with spaces.",
        );
    }
}

fn explain_word(word: &str, span: Span, remarks: &mut Remarks) {
    if let Some(why) = must_be_quoted(word) {
        let help = match (word, word.strip_prefix('.')) {
            ("true" | "false" | "null", _) => {
                format!("Write #{word} if it is meant as such, or \"{word}\" if it is a name.")
            }
            (_, Some(digits)) if digits.bytes().all(|b| b.is_ascii_digit()) => {
                format!("Write 0.{digits}, or quote it: \"{word}\".")
            }
            _ => format!("Quote it: \"{}\".", word.replace('\\', "\\\\")),
        };
        remarks.error(span, format!("`{word}` {why}, so it must be quoted."), help);
    }
}

/// Why KDL 2.0 does not take a word as it stands; none if it does.
pub(crate) fn must_be_quoted(word: &str) -> Option<String> {
    if matches!(
        word,
        "#true" | "#false" | "#null" | "#inf" | "#-inf" | "#nan"
    ) {
        return None;
    }
    if matches!(word, "true" | "false" | "null" | "inf" | "-inf" | "nan") {
        return Some("is a word that KDL keeps for itself".to_owned());
    }
    if let Some(bad) = word.chars().find(|c| FORBIDDEN.contains(*c)) {
        return Some(format!("contains `{bad}`"));
    }
    if is_plain_number(word) {
        return None;
    }
    let unsigned = word.strip_prefix(['+', '-']);
    let digit_at = |text: &str| text.starts_with(|c: char| c.is_ascii_digit());
    let bare = unsigned.unwrap_or(word);
    match (digit_at(bare), bare.strip_prefix('.')) {
        (true, _) if unsigned.is_some() => {
            Some("starts with a sign and a digit and is not a plain number".to_owned())
        }
        (true, _) => Some("starts with a digit and is not a plain number".to_owned()),
        (_, Some(after)) if digit_at(after) => Some("starts with a decimal point".to_owned()),
        _ => None,
    }
}

/// A number as KDL 2.0 writes it, of the decimal kind or with `0x`, `0o`, `0b`.
fn is_plain_number(word: &str) -> bool {
    let unsigned = word.strip_prefix(['+', '-']).unwrap_or(word);
    let digits = |t: &str| {
        t.starts_with(|c: char| c.is_ascii_digit())
            && t.bytes().all(|b| b.is_ascii_digit() || b == b'_')
    };
    for (prefix, radix) in [("0x", 16), ("0o", 8), ("0b", 2)] {
        if let Some(rest) = unsigned.strip_prefix(prefix) {
            return rest.starts_with(|c: char| c.is_digit(radix))
                && rest.chars().all(|c| c.is_digit(radix) || c == '_');
        }
    }
    let (mantissa, exponent) = match unsigned.split_once(['e', 'E']) {
        Some((m, e)) => (m, Some(e.strip_prefix(['+', '-']).unwrap_or(e))),
        None => (unsigned, None),
    };
    let (whole, fraction) = match mantissa.split_once('.') {
        Some((w, f)) => (w, Some(f)),
        None => (mantissa, None),
    };
    digits(whole) && fraction.is_none_or(digits) && exponent.is_none_or(digits)
}

fn explain_quoted(quoted: &str, span: Span, remarks: &mut Remarks) {
    if quoted.starts_with('#') {
        return;
    }
    let mut letters = quoted.chars();
    while let Some(c) = letters.next() {
        if c != '\\' {
            continue;
        }
        match letters.next() {
            Some(next) if !"nrt\\\"bfsu \t\n\r".contains(next) => {
                remarks.error(
                    span,
                    format!("`\\{next}` inside quotes means nothing to KDL."),
                    "Write two backslashes where one is meant.",
                );
            }
            _ => {}
        }
    }
}

fn explain_equals(
    previous: Option<Placed>,
    next: Option<&Placed>,
    span: Span,
    remarks: &mut Remarks,
) {
    let key = match previous.map(|p| p.token) {
        Some(Token::Word(key) | Token::Quoted(key)) => key,
        _ => {
            remarks.error(
                span,
                "An `=` stands here without a name before it.",
                "Write the name of the property right before the `=`.",
            );
            return;
        }
    };
    if next.is_none_or(|n| n.token == Token::Equals) {
        remarks.error(
            span,
            format!("`{key}=` has no value."),
            format!("Write the value right after the `=`, or leave `{key}` out."),
        );
    }
}
