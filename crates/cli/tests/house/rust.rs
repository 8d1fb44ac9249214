//! Just enough of Rust's lexical grammar to tell code from comments and strings.
//!
//! After The Rust Reference, chapter "Lexical structure".

/// The code alone: comments, strings and characters become blanks, line ends stay.
pub fn code(text: &str) -> String {
    let bytes: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut i = 0;
    while i < bytes.len() {
        let end = match bytes[i] {
            '/' if bytes.get(i + 1) == Some(&'/') => until(&bytes, i, |b, k| b[k] == '\n'),
            '/' if bytes.get(i + 1) == Some(&'*') => block_comment(&bytes, i),
            '"' => string(&bytes, i),
            'r' if starts_raw(&bytes, i) => raw_string(&bytes, i),
            '\'' => character(&bytes, i),
            _ => i,
        };
        if end == i {
            out.push(bytes[i]);
            i += 1;
        } else {
            for c in &bytes[i..end] {
                out.push(if *c == '\n' { '\n' } else { ' ' });
            }
            i = end;
        }
    }
    out
}

fn until(text: &[char], from: usize, done: impl Fn(&[char], usize) -> bool) -> usize {
    (from..text.len())
        .find(|k| done(text, *k))
        .unwrap_or(text.len())
}

/// Block comments nest.
fn block_comment(text: &[char], from: usize) -> usize {
    let mut depth = 0;
    let mut k = from;
    while k < text.len() {
        match (text[k], text.get(k + 1)) {
            ('/', Some('*')) => {
                depth += 1;
                k += 2;
            }
            ('*', Some('/')) => {
                depth -= 1;
                k += 2;
                if depth == 0 {
                    return k;
                }
            }
            _ => k += 1,
        }
    }
    text.len()
}

fn string(text: &[char], from: usize) -> usize {
    let mut k = from + 1;
    while k < text.len() && text[k] != '"' {
        k += if text[k] == '\\' { 2 } else { 1 };
    }
    (k + 1).min(text.len())
}

/// `r"` or `r#"`, and not the end of a longer name.
fn starts_raw(text: &[char], at: usize) -> bool {
    let named = at > 0 && (text[at - 1].is_alphanumeric() && text[at - 1] != 'b');
    let quote = until(text, at + 1, |t, k| t[k] != '#');
    !named && text.get(quote) == Some(&'"')
}

fn raw_string(text: &[char], from: usize) -> usize {
    let quote = until(text, from + 1, |t, k| t[k] != '#');
    let hashes = quote - from - 1;
    let closes = |t: &[char], k: usize| {
        t[k] == '"' && t[k + 1..].iter().take_while(|c| **c == '#').count() >= hashes
    };
    (until(text, quote + 1, closes) + 1 + hashes).min(text.len())
}

/// A character literal; a lifetime is code.
fn character(text: &[char], from: usize) -> usize {
    match text.get(from + 1) {
        Some('\\') => until(text, from + 3, |t, k| t[k] == '\'') + 1,
        Some(_) if text.get(from + 2) == Some(&'\'') => from + 3,
        _ => from,
    }
}

/// One word or sign of the code, with its line counted from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Token<'a> {
    /// The word, or a sign; `::` is one sign.
    pub text: &'a str,
    /// Line, counted from 1.
    pub line: usize,
}

/// The words and signs of code from which comments and strings were taken.
pub fn tokens(code: &str) -> Vec<Token<'_>> {
    let mut list = Vec::new();
    for (number, line) in code.lines().enumerate() {
        let mut rest = line.trim_start();
        while let Some(first) = rest.chars().next() {
            let is_word = |c: char| c.is_alphanumeric() || c == '_';
            let length = if is_word(first) {
                rest.find(|c| !is_word(c)).unwrap_or(rest.len())
            } else if rest.starts_with("::") {
                2
            } else {
                first.len_utf8()
            };
            list.push(Token {
                text: &rest[..length],
                line: number + 1,
            });
            rest = rest[length..].trim_start();
        }
    }
    list
}
