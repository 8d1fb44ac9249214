//! Cuts a text into statements without understanding them, so that broken ones can be told from good ones.

use crate::Span;

/// Braces deeper than this are not followed: no file of ours needs more than three.
const DEEPEST: usize = 16;

/// A statement as text: what stands before its braces, and the statements in them.
#[derive(Debug)]
pub(super) struct Piece {
    pub(super) header: Span,
    pub(super) children: Option<Vec<Piece>>,
    /// A quote is open at the end of its line.
    pub(super) open_quote: Option<Span>,
}

/// Braces and comments that do not match.
#[derive(Debug)]
pub(super) enum Fault {
    /// `}` without `{`.
    ClosedTooOften(Span),
    /// `{` without `}`.
    NeverClosed(Span),
    /// `/*` without `*/`.
    CommentNeverClosed(Span),
    /// `"""` without a second one.
    StringNeverClosed(Span),
    /// Nested too deeply.
    TooDeep(Span),
}

#[derive(Debug)]
pub(super) struct Scanned {
    pub(super) pieces: Vec<Piece>,
    pub(super) faults: Vec<Fault>,
    /// Nested no deeper than a reader that recurses can bear.
    pub(super) is_shallow: bool,
}

/// One open brace and the statements in front of it.
struct Level {
    owner: Piece,
    brace: Span,
    before: Vec<Piece>,
}

struct Scanner<'a> {
    text: &'a str,
    at: usize,
    /// First byte of the statement that is being read.
    start: Option<usize>,
    /// End of its last byte that is no blank.
    end: usize,
    open_quote: Option<Span>,
    levels: Vec<Level>,
    current: Vec<Piece>,
    ignored_braces: usize,
    faults: Vec<Fault>,
    is_shallow: bool,
}

pub(super) fn scan(text: &str) -> Scanned {
    let mut scanner = Scanner {
        text,
        at: if text.starts_with('\u{feff}') { 3 } else { 0 },
        start: None,
        end: 0,
        open_quote: None,
        levels: Vec::new(),
        current: Vec::new(),
        ignored_braces: 0,
        faults: Vec::new(),
        is_shallow: true,
    };
    while scanner.at < text.len() {
        scanner.step();
    }
    scanner.finish()
}

impl Scanner<'_> {
    fn rest(&self) -> &str {
        &self.text[self.at..]
    }

    fn here(&self, length: usize) -> Span {
        Span {
            start: self.at,
            length,
        }
    }

    /// Takes bytes into the statement.
    fn take(&mut self, length: usize) {
        self.start.get_or_insert(self.at);
        self.at += length;
        self.end = self.at;
    }

    fn step(&mut self) {
        let rest = self.rest();
        let first = rest.as_bytes()[0];
        match first {
            b'\n' | b'\r' | b';' => {
                self.end_statement();
                self.at += 1;
            }
            b' ' | b'\t' => self.at += 1,
            b'/' if rest.starts_with("//") => self.at += to_line_end(rest),
            b'/' if rest.starts_with("/*") => self.comment(),
            b'/' if rest.starts_with("/-") => self.slashdash(),
            b'"' => self.quoted(0),
            b'#' => {
                let hashes = rest.bytes().take_while(|b| *b == b'#').count();
                if rest[hashes..].starts_with('"') {
                    self.quoted(hashes);
                } else {
                    self.take(hashes);
                }
            }
            b'\\' => self.backslash(),
            b'{' => self.open(),
            b'}' => self.close(),
            _ => {
                let length = rest
                    .find(|c: char| c.is_ascii_whitespace() || "/\"#\\{};".contains(c))
                    .unwrap_or(rest.len());
                self.take(length.max(1));
            }
        }
    }

    /// A run of `/-` nests in a reader that recurses.
    fn slashdash(&mut self) {
        let run = self
            .rest()
            .as_bytes()
            .chunks(2)
            .take_while(|c| *c == b"/-")
            .count();
        self.is_shallow &= run <= DEEPEST;
        self.take(2);
    }

    fn comment(&mut self) {
        let rest = self.rest();
        let (mut depth, mut deepest, mut i) = (0usize, 0usize, 0usize);
        let bytes = rest.as_bytes();
        while i + 1 < bytes.len() {
            match &bytes[i..i + 2] {
                b"/*" => {
                    depth += 1;
                    deepest = deepest.max(depth);
                    i += 2;
                }
                b"*/" => {
                    depth -= 1;
                    i += 2;
                    if depth == 0 {
                        break;
                    }
                }
                _ => i += 1,
            }
        }
        self.is_shallow &= deepest <= DEEPEST;
        if depth > 0 {
            let span = self.here(2);
            self.faults.push(Fault::CommentNeverClosed(span));
            i = to_line_end(self.rest());
        }
        // The comment stays in the statement if it stands in the middle of one; the reader skips it.
        self.at += i;
    }

    /// A string with so many `#` in front of it.
    fn quoted(&mut self, hashes: usize) {
        let rest = self.rest();
        let body = &rest[hashes..];
        if let Some(rest) = body.strip_prefix("\"\"\"") {
            let close = format!("\"\"\"{}", "#".repeat(hashes));
            if let Some(length) = rest.find(&close) {
                self.take(hashes + 3 + length + close.len());
                return;
            }
            let span = self.here(hashes + 3);
            self.faults.push(Fault::StringNeverClosed(span));
            let length = to_line_end(self.rest());
            self.take(length);
            return;
        }
        match string_length(body, hashes) {
            Some(length) => self.take(hashes + length),
            None => self.unclosed_quote(),
        }
    }

    fn unclosed_quote(&mut self) {
        let rest = self.rest();
        let line = rest[..to_line_end(rest)].trim_end();
        let opens_block = line.ends_with('{');
        let length = line.len() - usize::from(opens_block);
        self.open_quote = Some(self.here(1));
        self.take(length.max(1));
    }

    fn backslash(&mut self) {
        let rest = self.rest();
        let blank = rest[1..].trim_start_matches([' ', '\t']);
        let comment = if blank.starts_with("//") {
            to_line_end(blank)
        } else {
            0
        };
        let line_end = &blank[comment..];
        let newline = if line_end.starts_with("\r\n") {
            2
        } else {
            usize::from(line_end.starts_with(['\n', '\r']))
        };
        let through = rest.len() - line_end.len() + newline;
        self.take(if newline > 0 { through } else { 1 });
    }

    fn piece(&mut self) -> Option<Piece> {
        let start = self.start.take()?;
        Some(Piece {
            header: Span {
                start,
                length: self.end - start,
            },
            children: None,
            open_quote: self.open_quote.take(),
        })
    }

    fn end_statement(&mut self) {
        if let Some(piece) = self.piece() {
            self.current.push(piece);
        }
    }

    fn open(&mut self) {
        let brace = self.here(1);
        self.at += 1;
        if self.levels.len() >= DEEPEST {
            if self.is_shallow {
                self.faults.push(Fault::TooDeep(brace));
            }
            self.is_shallow = false;
            self.ignored_braces += 1;
            self.end_statement();
            return;
        }
        let owner = self.piece().unwrap_or(Piece {
            header: Span {
                start: brace.start,
                length: 0,
            },
            children: None,
            open_quote: None,
        });
        let before = std::mem::take(&mut self.current);
        self.levels.push(Level {
            owner,
            brace,
            before,
        });
    }

    fn close(&mut self) {
        self.end_statement();
        let span = self.here(1);
        self.at += 1;
        if self.ignored_braces > 0 {
            self.ignored_braces -= 1;
        } else if !self.leave() {
            self.faults.push(Fault::ClosedTooOften(span));
        }
    }

    /// Closes the innermost braces; false if none are open.
    fn leave(&mut self) -> bool {
        let Some(mut level) = self.levels.pop() else {
            return false;
        };
        let children = std::mem::replace(&mut self.current, level.before);
        level.owner.children = Some(children);
        self.current.push(level.owner);
        true
    }

    fn finish(mut self) -> Scanned {
        self.end_statement();
        let open: Vec<Span> = self.levels.iter().map(|l| l.brace).collect();
        self.faults.extend(open.into_iter().map(Fault::NeverClosed));
        while self.leave() {}
        Scanned {
            pieces: self.current,
            faults: self.faults,
            is_shallow: self.is_shallow,
        }
    }
}

fn to_line_end(text: &str) -> usize {
    text.find(['\n', '\r']).unwrap_or(text.len())
}

/// Length of a one-line string from its opening quote; none if the line ends first.
fn string_length(body: &str, hashes: usize) -> Option<usize> {
    let line = &body[..to_line_end(body)];
    if hashes > 0 {
        let close = format!("\"{}", "#".repeat(hashes));
        return line[1..].find(&close).map(|i| 1 + i + close.len());
    }
    let mut escaped = false;
    for (i, byte) in line.bytes().enumerate().skip(1) {
        match byte {
            _ if escaped => escaped = false,
            b'\\' => escaped = true,
            b'"' => return Some(i + 1),
            _ => {}
        }
    }
    None
}
