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

/// Remarks everything that is wrong with the words of a statement; whether anything is.
pub(super) fn explain(header: &str, offset: usize, remarks: &mut Remarks) -> bool {
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
                explain_word(word, is_value(previous), span, remarks);
            }
            Token::Quoted(quoted) => {
                missing_space(previous, placed, quoted, span, remarks);
                explain_quoted(quoted, span, remarks);
            }
            Token::Equals => explain_equals(previous, tokens.get(i + 1), span, remarks),
        }
    }
    remarks.errors() > before
}

/// Remarks a statement whose words are sound and which is no KDL all the same, as the KDL reader words it.
pub(super) fn repeat(reader: &str, span: Span, remarks: &mut Remarks) {
    let mut letters = reader.trim_end_matches('.').chars();
    let first = letters.next().into_iter().flat_map(char::to_lowercase);
    let reader: String = first.chain(letters).collect();
    remarks.error(
        span,
        format!("This line cannot be read: {reader}."),
        "Compare it with a line of its kind in the documentation, and quote every word that is not plain.",
    );
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

/// A statement with quotes around every word that needs them.
pub(super) struct WithQuotes {
    pub(super) text: String,
    /// Where in `text` a byte stands that the original has not, rising.
    added: Vec<usize>,
}

impl WithQuotes {
    /// The offset in the original of an offset in the text.
    pub(super) fn original(&self, offset: usize) -> usize {
        offset - self.added.iter().take_while(|a| **a < offset).count()
    }

    fn add(&mut self, extra: char) {
        self.added.push(self.text.len());
        self.text.push(extra);
    }
}

/// None if no word needs quotes.
pub(super) fn with_quotes(header: &str) -> Option<WithQuotes> {
    let mut mended = WithQuotes {
        text: String::new(),
        added: Vec::new(),
    };
    let mut at = 0;
    let tokens = tokens(header);
    for (i, placed) in tokens.iter().enumerate() {
        let Token::Word(word) = placed.token else {
            continue;
        };
        let previous = i.checked_sub(1).map(|p| tokens[p]);
        if must_be_quoted(word).is_none() {
            continue;
        }
        mended.text.push_str(&header[at..placed.start]);
        at = placed.end;
        if is_value(previous) && is_keyword(word) {
            mended.add('#');
            mended.text.push_str(word);
            continue;
        }
        mended.add('"');
        for c in word.chars() {
            if c == '\\' {
                mended.add('\\');
            }
            mended.text.push(c);
        }
        mended.add('"');
    }
    mended.text.push_str(&header[at..]);
    (!mended.added.is_empty()).then_some(mended)
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
        return Some(comment_length(rest));
    }
    // What is commented out is looked at as if it were not.
    if rest.starts_with("/-") {
        return Some(2);
    }
    if let Some(length) = annotation_length(rest) {
        return Some(length);
    }
    let first = rest.chars().next()?;
    let continues = first == '\\'
        && rest[1..]
            .trim_start_matches([' ', '\t'])
            .starts_with(['\n', '\r', '/']);
    (first.is_whitespace() || continues).then(|| first.len_utf8())
}

/// Comments nest in KDL.
fn comment_length(rest: &str) -> usize {
    let mut depth = 0usize;
    let mut at = 0;
    while at < rest.len() {
        let here = &rest.as_bytes()[at..];
        if here.starts_with(b"/*") {
            depth += 1;
            at += 2;
        } else if here.starts_with(b"*/") {
            depth -= 1;
            at += 2;
            if depth == 0 {
                return at;
            }
        } else {
            at += 1;
        }
    }
    rest.len()
}

/// A type annotation, `(word)`, which means nothing in our files.
fn annotation_length(rest: &str) -> Option<usize> {
    let (word, _) = rest.strip_prefix('(')?.split_once(')')?;
    let is_plain = !word.is_empty() && word.chars().all(|c| c.is_alphanumeric() || c == '-');
    is_plain.then_some(word.len() + 2)
}

/// Length of a string, with its quotes and hashes; to the end if it is not closed.
fn quoted_length(rest: &str) -> Option<usize> {
    let hashes = rest.bytes().take_while(|b| *b == b'#').count();
    let body = &rest[hashes..];
    let quotes = ["\"\"\"", "\""].into_iter().find(|q| body.starts_with(q))?;
    // Two quotes in a row are an empty text unless a third follows.
    let close = format!("{quotes}{}", "#".repeat(hashes));
    let mut escaped = false;
    for (i, c) in body.char_indices().skip(quotes.len()) {
        match c {
            _ if escaped => escaped = false,
            '\\' if hashes == 0 => escaped = true,
            '"' if body[i..].starts_with(&close) => return Some(hashes + i + close.len()),
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

/// Whether a word is the value of a property, going by what stands before it.
fn is_value(previous: Option<Placed>) -> bool {
    previous.is_some_and(|p| p.token == Token::Equals)
}

fn explain_word(word: &str, is_value: bool, span: Span, remarks: &mut Remarks) {
    explain_hidden(word, span, remarks);
    let Some(why) = must_be_quoted(word) else {
        return;
    };
    let all_digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    let help = match (word.strip_prefix('.'), word.strip_suffix('.')) {
        _ if is_value && is_keyword(word) => format!("Write #{word}."),
        (Some(digits), _) if all_digits(digits) => format!("Write 0.{digits}."),
        (_, Some(digits)) if all_digits(digits) => format!("Write {digits}."),
        _ => format!("Quote it: \"{}\".", word.replace('\\', "\\\\")),
    };
    remarks.error(span, format!("`{word}` {why}, so it must be quoted."), help);
}

/// Words that mean something with a `#` before them.
fn is_keyword(word: &str) -> bool {
    matches!(word, "true" | "false" | "null")
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

/// Characters that KDL 2.0 allows nowhere: controls, marks of direction, and byte order marks.
fn explain_hidden(text: &str, span: Span, remarks: &mut Remarks) {
    let is_bad = |c: &char| c.is_control() && !c.is_whitespace() || is_directing(*c);
    if let Some(bad) = text.chars().find(is_bad) {
        remarks.error(
            span,
            format!(
                "A character that cannot be seen stands here: U+{:04X}.",
                u32::from(bad)
            ),
            "Delete the word and type it again.",
        );
    }
}

fn is_directing(c: char) -> bool {
    matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

fn explain_quoted(quoted: &str, span: Span, remarks: &mut Remarks) {
    explain_hidden(quoted, span, remarks);
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
