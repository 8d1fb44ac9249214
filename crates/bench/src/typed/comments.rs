//! Comments of a sheet file, carried over to the text that is saved in its place.
//!
//! A comment belongs to the statement that it stands before or beside. Where that statement is gone it goes to the next one
//! that is still there, so that none is ever dropped.

use super::words::line_words;

/// A statement of the old text, by its first two words, with its comments.
#[derive(Debug, Default, PartialEq, Eq)]
struct Noted {
    key: Vec<String>,
    before: Vec<String>,
    beside: Vec<String>,
}

/// The new text with the comments of the old one.
pub fn carried(old: &str, new: &str) -> String {
    let mut lines: Vec<Line> = new.lines().map(Line::of).collect();
    let last = lines.iter().rposition(|l| l.text == "}").unwrap_or(0);
    let noted = noted(old);
    let mut targets = vec![None; noted.len()];
    for (n, note) in noted.iter().enumerate() {
        let is_it = |(k, l): &(usize, &Line)| l.key == note.key && !targets.contains(&Some(*k));
        targets[n] = lines.iter().enumerate().find(is_it).map(|(k, _)| k);
    }
    for (n, note) in noted.into_iter().enumerate() {
        match targets[n] {
            Some(k) => {
                lines[k].before.extend(note.before);
                let mut beside = note.beside;
                // Only one fits behind a statement, and only if it is one line.
                if let Some(one) = beside.pop_if(|c| !c.contains('\n')) {
                    lines[k].beside = one;
                }
                lines[k].before.extend(beside);
            }
            None => {
                let next = targets[n..].iter().flatten().next().copied();
                let k = next.unwrap_or(if note.key.is_empty() {
                    lines.len() - 1
                } else {
                    last
                });
                let place = if note.key.is_empty() && next.is_none() {
                    &mut lines[k].behind
                } else {
                    &mut lines[k].before
                };
                place.extend(note.before.into_iter().chain(note.beside));
            }
        }
    }
    lines.iter().map(Line::print).collect()
}

/// A line of the new text, with what is to stand around it.
struct Line<'a> {
    text: &'a str,
    key: Vec<String>,
    before: Vec<String>,
    beside: String,
    behind: Vec<String>,
}

impl<'a> Line<'a> {
    fn of(text: &'a str) -> Self {
        Self {
            text,
            key: key(text),
            before: Vec::new(),
            beside: String::new(),
            behind: Vec::new(),
        }
    }

    fn print(&self) -> String {
        // What stands before the closing brace stands inside.
        let inside = self.text == "}" || self.text.starts_with(' ');
        let own = |c: &String| {
            let indent = if inside { "    " } else { "" };
            let each = c.lines().map(|l| format!("{indent}{}\n", l.trim()));
            each.collect::<String>()
        };
        let mut text: String = self.before.iter().map(own).collect();
        text += self.text;
        if !self.beside.is_empty() {
            text += " ";
            text += &self.beside;
        }
        text += "\n";
        let behind = self.behind.iter().map(|c| format!("{}\n", c.trim()));
        text + &behind.collect::<String>()
    }
}

/// The first two words of a statement: what it is and how it is called. Of the sheet itself only what it is, because its
/// name is the file's.
fn key(statement: &str) -> Vec<String> {
    let words = line_words(statement.trim().trim_end_matches('{'));
    let count = if words.first().is_some_and(|w| w.text == "sheet") {
        1
    } else {
        2
    };
    words.into_iter().take(count).map(|w| w.text).collect()
}

/// The statements of a text that have comments, in their order; last, without words, what stands behind all of them.
fn noted(text: &str) -> Vec<Noted> {
    let mut scan = Scan {
        rest: text,
        depth: 0,
        ..Scan::default()
    };
    while !scan.rest.is_empty() {
        scan.step();
    }
    scan.end();
    scan.found.push(Noted {
        before: std::mem::take(&mut scan.pending),
        ..Noted::default()
    });
    scan.found
}

#[derive(Default)]
struct Scan<'a> {
    rest: &'a str,
    /// Open braces.
    depth: usize,
    /// The statement that is being read, and the braces around it.
    statement: Option<(String, usize)>,
    /// Comments before the next statement, and beside the one that is being read.
    pending: Vec<String>,
    beside: Vec<String>,
    found: Vec<Noted>,
    /// The last statement ended on this line.
    is_behind: bool,
}

impl Scan<'_> {
    fn step(&mut self) {
        let first = self.rest.chars().next().unwrap_or(' ');
        match first {
            '\n' => {
                self.take(1);
                self.line_end();
                self.is_behind = false;
                self.part();
            }
            ';' => {
                self.take(1);
                self.line_end();
            }
            '{' => self.open(),
            '}' => {
                self.take(1);
                self.close();
            }
            '/' if self.rest.starts_with("//") => {
                let end = self.rest.find('\n').unwrap_or(self.rest.len());
                let comment = self.take(end);
                self.comment(comment.trim_end().to_owned());
            }
            '/' if self.rest.starts_with("/*") => {
                let end = end_of_block_comment(self.rest);
                let comment = self.take(end);
                self.comment(comment);
            }
            '/' if self.rest.starts_with("/-") => {
                let end = end_of_dashed(self.rest, self.statement.is_some());
                let comment = self.take(end);
                // Inside a statement only what is behind it can be a comment.
                let whole = self.statement.is_none();
                self.comment(if whole {
                    comment
                } else {
                    format!("// {comment}")
                });
            }
            '"' | '#' => {
                let end = end_of_string(self.rest);
                self.word(end);
            }
            c if c.is_whitespace() => {
                let blank = self.take(c.len_utf8());
                if let Some((text, _)) = &mut self.statement {
                    text.push_str(&blank);
                }
            }
            c => self.word(c.len_utf8()),
        }
    }

    fn take(&mut self, end: usize) -> String {
        let (taken, rest) = self.rest.split_at(end);
        self.rest = rest;
        taken.to_owned()
    }

    fn word(&mut self, end: usize) {
        let taken = self.take(end);
        self.is_behind = false;
        let depth = self.depth;
        let (text, _) = self.statement.get_or_insert((String::new(), depth));
        text.push_str(&taken);
    }

    fn comment(&mut self, text: String) {
        match (&self.statement, self.found.last_mut()) {
            (Some(_), _) => self.beside.push(text),
            (None, Some(last)) if self.is_behind => last.beside.push(text),
            _ => self.pending.push(text),
        }
    }

    /// A statement ends with its line, unless a brace of its own is open.
    fn line_end(&mut self) {
        if self
            .statement
            .as_ref()
            .is_some_and(|(_, depth)| *depth == self.depth)
        {
            self.end();
        }
    }

    /// Words of a statement are parted.
    fn part(&mut self) {
        if let Some((text, _)) = &mut self.statement {
            text.push(' ');
        }
    }

    fn open(&mut self) {
        self.take(1);
        self.part();
        let is_sheet = self.depth == 0;
        self.depth += 1;
        if is_sheet {
            self.end();
        }
    }

    fn close(&mut self) {
        self.depth = self.depth.saturating_sub(1);
        let ends = |(_, depth): &(String, usize)| *depth >= self.depth && self.depth == 0;
        if self.statement.as_ref().is_some_and(ends) {
            self.end();
        }
        if self.depth == 0 {
            // What stands before the closing brace belongs to it.
            let before = std::mem::take(&mut self.pending);
            if !before.is_empty() {
                self.found.push(Noted {
                    key: vec!["}".to_owned()],
                    before,
                    beside: Vec::new(),
                });
            }
        }
    }

    fn end(&mut self) {
        if let Some((text, _)) = self.statement.take() {
            self.found.push(Noted {
                key: key(&text),
                before: std::mem::take(&mut self.pending),
                beside: std::mem::take(&mut self.beside),
            });
            self.is_behind = true;
        }
    }
}

/// Block comments nest (KDL 2.0).
fn end_of_block_comment(text: &str) -> usize {
    let (mut depth, mut at) = (0usize, 0);
    while at < text.len() {
        let rest = &text[at..];
        if rest.starts_with("/*") {
            depth += 1;
            at += 2;
        } else if rest.starts_with("*/") {
            depth -= 1;
            at += 2;
            if depth == 0 {
                return at;
            }
        } else {
            at += rest.chars().next().map_or(1, char::len_utf8);
        }
    }
    text.len()
}

/// The end of a node, or inside a statement of a word, that `/-` takes out.
fn end_of_dashed(text: &str, is_word: bool) -> usize {
    let mut at = 2 + (text[2..].len() - text[2..].trim_start_matches([' ', '\t']).len());
    let mut depth = 0usize;
    while at < text.len() {
        let rest = &text[at..];
        let c = rest.chars().next().unwrap_or('\n');
        match c {
            '"' => {
                at += end_of_string(rest);
                continue;
            }
            '{' => depth += 1,
            '}' if depth == 0 => return at,
            '}' => depth -= 1,
            '\n' | ';' if depth == 0 => return at,
            c if is_word && depth == 0 && c.is_whitespace() => return at,
            _ => {}
        }
        at += c.len_utf8();
    }
    text.len()
}

/// The end of a string that begins here, also of a raw one or one over several lines; one character if none begins.
fn end_of_string(text: &str) -> usize {
    let hashes = text.len() - text.trim_start_matches('#').len();
    let body = &text[hashes..];
    if !body.starts_with('"') {
        return hashes.max(1);
    }
    let quotes = if body.starts_with("\"\"\"") { 3 } else { 1 };
    let close = format!("{}{}", "\"".repeat(quotes), "#".repeat(hashes));
    let mut at = hashes + quotes;
    while at < text.len() {
        let rest = &text[at..];
        if rest.starts_with(&close) {
            return at + close.len();
        }
        let c = rest.chars().next().unwrap_or('\n');
        if quotes == 1 && c == '\n' {
            // A quote that nothing closes ends with its line, as the reader has it.
            return at;
        }
        at += c.len_utf8();
        if c == '\\' && hashes == 0 {
            at += text[at..].chars().next().map_or(0, char::len_utf8);
        }
    }
    text.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    const OLD: &str = r#"// drawn from sheet 3 of 7
sheet A2 title="Divider // of course" { // second issue
    net "0V" role=ground
    /* measured
       by hand */
    resistor R1 "4k7" "+12V" MID // brown spot
    // changed by an earlier owner
    resistor R2 "2k2" /-tight MID "0V"
    /-resistor R3 "1k" MID OUT
    connector J1 { // the edge
        pin 1 "0V" // black
        pin 2 MID
    }
    // nothing below
}
// end
"#;

    #[test]
    fn comments_stay_with_their_statements() {
        let new = "sheet A2 title=\"Divider // of course\" {\n    net \"0V\" role=ground\n    resistor R2 \"2k2\" MID \"0V\"\n    resistor R1 \"4k7\" \"+12V\" MID\n    connector J1 { pin 1 \"0V\"; pin 2 MID }\n}\n";
        let want = r#"// drawn from sheet 3 of 7
sheet A2 title="Divider // of course" { // second issue
    net "0V" role=ground
    // changed by an earlier owner
    resistor R2 "2k2" MID "0V" // /-tight
    /* measured
    by hand */
    resistor R1 "4k7" "+12V" MID // brown spot
    /-resistor R3 "1k" MID OUT
    // the edge
    connector J1 { pin 1 "0V"; pin 2 MID } // black
    // nothing below
}
// end
"#;
        let text = carried(OLD, new);
        assert_eq!(text, want);
        assert_eq!(carried(&text, new), text, "saved again it stays the same");
    }

    #[test]
    fn no_comment_is_dropped_with_its_statement() {
        let new = "sheet A2 {\n    resistor R9 \"1k\" A B\n}\n";
        let text = carried(OLD, new);
        for comment in [
            "// drawn from sheet 3 of 7",
            "// second issue",
            "// brown spot",
            "by hand */",
            "// changed by an earlier owner",
            "// /-tight",
            "/-resistor R3 \"1k\" MID OUT",
            "// the edge",
            "// black",
            "// nothing below",
            "// end",
        ] {
            assert_eq!(text.matches(comment).count(), 1, "{comment}\n{text}");
        }
        let (sheet, found) = sheet::check(&text, "a2.kdl");
        assert!(found.iter().all(|d| !d.is_error()), "{text}");
        assert_eq!(sheet.parts.len(), 1);
    }

    #[test]
    fn what_only_looks_like_a_comment_is_none() {
        let plain =
            "sheet A2 title=\"see https://x /* no */\" {\n    resistor R1 \"1//2\" A B\n}\n";
        assert_eq!(carried(plain, plain), plain);
        assert_eq!(carried("", plain), plain);
        assert_eq!(
            carried("sheet A2 { resistor R1 \"1k\" A", plain),
            plain,
            "broken off"
        );
    }
}
