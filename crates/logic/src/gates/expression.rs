//! Boolean expressions as function tables print them: `!(1 & 2) | A ^ B`, over pins and inner names.

/// A function of names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Expression {
    Name(String),
    Level(bool),
    Not(Box<Expression>),
    And(Vec<Expression>),
    Or(Vec<Expression>),
    Xor(Vec<Expression>),
}

/// Where an expression cannot be read, in bytes from its start, and what is wrong there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Unreadable {
    pub(crate) offset: usize,
    pub(crate) message: String,
}

impl Expression {
    /// Reads `!` (not), `&` (and), `^` (differ), `|` (or), in that order of binding, brackets, and the constants `low` and `high`.
    pub(crate) fn read(text: &str) -> Result<Self, Unreadable> {
        let mut reader = Reader {
            text,
            at: 0,
            depth: 0,
        };
        let found = reader.any()?;
        reader.space();
        match reader.rest().chars().next() {
            None => Ok(found),
            Some(c) => Err(reader.wrong(format!("`{c}` is not expected here"))),
        }
    }

    /// Every name, in the order of the text, repeated as it is.
    pub(crate) fn names<'e>(&'e self, list: &mut Vec<&'e str>) {
        match self {
            Self::Name(name) => list.push(name),
            Self::Level(_) => {}
            Self::Not(one) => one.names(list),
            Self::And(many) | Self::Or(many) | Self::Xor(many) => {
                many.iter().for_each(|e| e.names(list));
            }
        }
    }

    pub(crate) fn not(self) -> Self {
        match self {
            Self::Not(inner) => *inner,
            Self::Level(level) => Self::Level(!level),
            other => Self::Not(Box::new(other)),
        }
    }

    pub(crate) fn name(text: &str) -> Self {
        Self::Name(text.to_owned())
    }
}

/// Brackets and negations deeper than this are refused, so that no text can exhaust the stack.
const DEEPEST: usize = 100;

struct Reader<'t> {
    text: &'t str,
    at: usize,
    depth: usize,
}

impl<'t> Reader<'t> {
    fn rest(&self) -> &'t str {
        &self.text[self.at..]
    }

    fn wrong(&self, message: impl Into<String>) -> Unreadable {
        Unreadable {
            offset: self.at,
            message: message.into(),
        }
    }

    fn space(&mut self) {
        self.at += self.rest().len() - self.rest().trim_start().len();
    }

    fn takes(&mut self, sign: char) -> bool {
        self.space();
        let is = self.rest().starts_with(sign);
        if is {
            self.at += sign.len_utf8();
        }
        is
    }

    fn joined(
        &mut self,
        sign: char,
        part: fn(&mut Self) -> Result<Expression, Unreadable>,
        join: fn(Vec<Expression>) -> Expression,
    ) -> Result<Expression, Unreadable> {
        let mut parts = vec![part(self)?];
        while self.takes(sign) {
            parts.push(part(self)?);
        }
        Ok(match parts.len() {
            1 => parts.remove(0),
            _ => join(parts),
        })
    }

    fn any(&mut self) -> Result<Expression, Unreadable> {
        self.joined('|', Self::differ, Expression::Or)
    }

    fn differ(&mut self) -> Result<Expression, Unreadable> {
        self.joined('^', Self::all, Expression::Xor)
    }

    fn all(&mut self) -> Result<Expression, Unreadable> {
        self.joined('&', Self::one, Expression::And)
    }

    fn one(&mut self) -> Result<Expression, Unreadable> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return Err(self.wrong("the brackets are nested too deeply"));
        }
        let found = if self.takes('!') {
            self.one()?.not()
        } else if self.takes('(') {
            let inner = self.any()?;
            if !self.takes(')') {
                return Err(self.wrong("a `)` is missing"));
            }
            inner
        } else {
            self.word()?
        };
        self.depth -= 1;
        Ok(found)
    }

    fn word(&mut self) -> Result<Expression, Unreadable> {
        self.space();
        let is_part = |c: char| c.is_alphanumeric() || "_+-./".contains(c);
        let length = self
            .rest()
            .find(|c| !is_part(c))
            .unwrap_or(self.rest().len());
        let word = &self.rest()[..length];
        if word.is_empty() {
            return Err(self.wrong("a name is missing"));
        }
        self.at += length;
        Ok(match word {
            "low" => Expression::Level(false),
            "high" => Expression::Level(true),
            _ => Expression::name(word),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn binding_and_brackets() {
        let n = Expression::name;
        let read = |t: &str| Expression::read(t);
        assert_eq!(
            read("1 | !2 & 3"),
            Ok(Expression::Or(vec![
                n("1"),
                Expression::And(vec![n("2").not(), n("3")])
            ]))
        );
        assert_eq!(
            read("!(a^b)"),
            Ok(Expression::Xor(vec![n("a"), n("b")]).not())
        );
        for (text, offset) in [("1 &", 3), ("(1", 2), ("1 2", 2), ("", 0)] {
            assert_eq!(read(text).map_err(|e| e.offset), Err(offset), "{text}");
        }
        assert!(read(&"(".repeat(100_000)).is_err());
        assert!(read(&"!".repeat(100_000)).is_err());
    }
}
