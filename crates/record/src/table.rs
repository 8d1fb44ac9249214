//! Comma-separated text with the place of every field (RFC 4180; line ends of any kind, blank lines skipped).

use sheet::Span;

use crate::unguarded;

/// One field, without its quotes, without blanks around it and without the guard of [`crate::guarded`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Field {
    pub(crate) text: String,
    pub(crate) span: Span,
}

/// One row that holds anything.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Row {
    /// Line on which it starts, counted from 1.
    pub(crate) line: usize,
    pub(crate) fields: Vec<Field>,
}

/// What breaks the shape of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Broken {
    /// A quote that nothing closes.
    Unclosed,
    /// Text behind a closing quote.
    BehindQuote,
}

/// All rows, and where their shape is broken; a broken row is left out.
pub(crate) fn rows(text: &str) -> (Vec<Row>, Vec<(Span, Broken)>) {
    let mut scan = Scan {
        text,
        at: text.len() - text.trim_start_matches('\u{feff}').len(),
        line: 1,
    };
    let (mut rows, mut broken) = (Vec::new(), Vec::new());
    while scan.at < text.len() {
        match scan.row() {
            Ok(row) if row.fields.iter().all(|f| f.text.is_empty()) => {}
            Ok(row) => rows.push(row),
            Err(place) => broken.push(place),
        }
    }
    (rows, broken)
}

struct Scan<'a> {
    text: &'a str,
    at: usize,
    line: usize,
}

impl Scan<'_> {
    fn rest(&self) -> &str {
        &self.text[self.at..]
    }

    fn row(&mut self) -> Result<Row, (Span, Broken)> {
        let line = self.line;
        let mut fields = Vec::new();
        loop {
            match self.field() {
                Ok(field) => fields.push(field),
                Err(place) => {
                    self.skip_line();
                    return Err(place);
                }
            }
            if self.rest().starts_with(',') {
                self.at += 1;
            } else {
                self.line_end();
                return Ok(Row { line, fields });
            }
        }
    }

    /// Stops at a comma, a line end or the end of the text.
    fn field(&mut self) -> Result<Field, (Span, Broken)> {
        let blanks = self.rest().len() - self.rest().trim_start_matches([' ', '\t']).len();
        if self.text[self.at + blanks..].starts_with('"') {
            self.at += blanks;
            return self.quoted();
        }
        let length = self
            .rest()
            .find([',', '\n', '\r'])
            .unwrap_or(self.rest().len());
        let raw = &self.rest()[..length];
        let (text, start) = (raw.trim(), self.at + raw.len() - raw.trim_start().len());
        let field = Field {
            span: Span {
                start,
                length: text.len(),
            },
            text: unguarded(text).to_owned(),
        };
        self.at += length;
        Ok(field)
    }

    fn quoted(&mut self) -> Result<Field, (Span, Broken)> {
        let start = self.at;
        let mut text = String::new();
        self.at += 1;
        loop {
            let Some(quote) = self.rest().find('"') else {
                // Only the line is given up: a forgotten quote must not swallow the rest of the table.
                self.at = start + 1;
                return Err((Span { start, length: 1 }, Broken::Unclosed));
            };
            text.push_str(&self.rest()[..quote]);
            self.at += quote + 1;
            if self.rest().starts_with('"') {
                text.push('"');
                self.at += 1;
            } else {
                break;
            }
        }
        let span = Span {
            start,
            length: self.at - start,
        };
        self.line += line_ends(&self.text[start..self.at]);
        let behind = self.rest().len() - self.rest().trim_start_matches([' ', '\t']).len();
        self.at += behind;
        match self.rest().chars().next() {
            None | Some(',' | '\n' | '\r') => Ok(Field {
                text: unguarded(text.trim()).to_owned(),
                span,
            }),
            Some(other) => Err((
                Span {
                    start: self.at,
                    length: other.len_utf8(),
                },
                Broken::BehindQuote,
            )),
        }
    }

    fn skip_line(&mut self) {
        self.at += self.rest().find(['\n', '\r']).unwrap_or(self.rest().len());
        self.line_end();
    }

    fn line_end(&mut self) {
        let length = match self.rest().as_bytes() {
            [b'\r', b'\n', ..] => 2,
            [b'\r' | b'\n', ..] => 1,
            _ => return,
        };
        self.at += length;
        self.line += 1;
    }
}

fn line_ends(text: &str) -> usize {
    text.matches('\n').count() + text.matches('\r').count() - text.matches("\r\n").count()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(text: &str) -> Vec<Vec<String>> {
        rows(text)
            .0
            .into_iter()
            .map(|r| r.fields.into_iter().map(|f| f.text).collect())
            .collect()
    }

    #[test]
    fn every_field_knows_its_place() {
        let text = "\u{feff}a, b ,\r\n\r\n\"x, \"\"y\"\"\",\t2\n";
        let (rows, broken) = rows(text);
        assert_eq!(broken, []);
        let lines: Vec<usize> = rows.iter().map(|r| r.line).collect();
        assert_eq!(lines, [1, 3]);
        for field in rows.iter().flat_map(|r| &r.fields) {
            let raw = &text[field.span.start..field.span.start + field.span.length];
            let bare = raw
                .strip_prefix('"')
                .and_then(|r| r.strip_suffix('"'))
                .unwrap_or(raw);
            assert_eq!(bare.replace("\"\"", "\""), field.text);
        }
        assert_eq!(texts(text), [vec!["a", "b", ""], vec!["x, \"y\"", "2"]]);
    }

    #[test]
    fn a_forgotten_quote_costs_its_line_alone() {
        let (rows, broken) = rows("a,b\n1,\"2\n3,4\n\"5\"x,6\n7,8\n");
        let lines: Vec<usize> = rows.iter().map(|r| r.line).collect();
        // The quote of line 2 finds its partner on line 4, as RFC 4180 has it: lines 2 to 4 are one broken row.
        assert_eq!(lines, [1, 5]);
        assert_eq!(broken.len(), 1);
        let (rows, broken) = super::rows("a,b\n1,\"2\n3,4\n");
        assert_eq!(rows.iter().map(|r| r.line).collect::<Vec<_>>(), [1, 3]);
        assert_eq!(
            broken,
            [(
                Span {
                    start: 6,
                    length: 1
                },
                Broken::Unclosed
            )]
        );
    }

    proptest::proptest! {
        /// Against the csv crate, which reads the same standard.
        #[test]
        fn fields_are_those_that_the_csv_crate_finds(
            table in proptest::collection::vec(proptest::collection::vec("[a-z0-9 ,\"\n]{0,6}", 1..5), 1..6),
        ) {
            let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
            for row in &table {
                writer.write_record(row).expect("a row");
            }
            let text = String::from_utf8(writer.into_inner().expect("bytes")).expect("text");
            let mut reader =
                csv::ReaderBuilder::new().has_headers(false).flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
            let wanted: Vec<Vec<String>> = reader
                .records()
                .map(|r| r.expect("a row").iter().map(str::to_owned).collect())
                .filter(|r: &Vec<String>| r.iter().any(|f| !f.is_empty()))
                .collect();
            proptest::prop_assert_eq!(texts(&text), wanted);
        }

        #[test]
        fn no_text_makes_it_panic_and_every_place_is_in_the_text(text in "[a-c,\"\r\n \u{feff}é]{0,40}") {
            let (rows, broken) = rows(&text);
            for field in rows.iter().flat_map(|r| &r.fields) {
                proptest::prop_assert!(text.get(field.span.start..field.span.start + field.span.length).is_some());
            }
            for (span, _) in broken {
                proptest::prop_assert!(text.get(span.start..span.start + span.length).is_some());
            }
        }
    }
}
