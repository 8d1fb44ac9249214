//! The entries of one statement, each taken once; what is left at the end is remarked.

use units::{Quantity, Unit, Unreadable, read_percentage};

use super::{Entry, Node, Scalar, did_you_mean};
use crate::Span;
use crate::diagnostic::Remarks;

/// What a number may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Bound {
    Any,
    Positive,
    NotNegative,
    /// From 0 to 1.
    Fraction,
    /// 1 or more.
    AtLeastOne,
}

impl Bound {
    fn example(self, unit: Unit) -> &'static str {
        match self {
            Bound::Fraction => "0.5",
            _ => unit.example(),
        }
    }

    fn breach(self, number: f64) -> Option<&'static str> {
        let (kept, rule) = match self {
            Bound::Any => (true, ""),
            Bound::Positive => (number > 0.0, "must be above zero"),
            Bound::NotNegative => (number >= 0.0, "must not be negative"),
            Bound::Fraction => ((0.0..=1.0).contains(&number), "must lie between 0 and 1"),
            Bound::AtLeastOne => (number >= 1.0, "must be 1 or more"),
        };
        (!kept).then_some(rule)
    }
}

/// A property by its name and what its number may be.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wanted(pub(crate) &'static str, pub(crate) Bound);

/// A statement that is being read.
pub(crate) struct Line<'n> {
    node: &'n Node,
    left: Vec<&'n Entry>,
    asked: Vec<&'static str>,
    /// What the statement is, such as `resistor R1`.
    what: String,
    /// How it is written.
    usage: &'static str,
    has_failed: bool,
}

impl<'n> Line<'n> {
    pub(crate) fn of(node: &'n Node, usage: &'static str) -> Self {
        Self {
            node,
            left: node.entries.iter().collect(),
            asked: Vec::new(),
            what: node.name.clone(),
            usage,
            has_failed: false,
        }
    }

    /// Where its first word stands.
    pub(crate) fn span(&self) -> Span {
        self.node.span
    }

    pub(crate) fn what(&self) -> &str {
        &self.what
    }

    /// Adds its own name to what it is called in messages.
    pub(crate) fn call(&mut self, name: &str) {
        self.what = format!("{} {name}", self.node.name);
    }

    pub(crate) fn has_failed(&self) -> bool {
        self.has_failed
    }

    pub(crate) fn error(
        &mut self,
        remarks: &mut Remarks,
        span: Span,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.has_failed = true;
        remarks.error(span, message, help);
    }

    fn misses(&mut self, remarks: &mut Remarks, wanted: &str) {
        let message = format!("{} has no {wanted}.", capital(&self.what));
        self.error(
            remarks,
            self.node.span,
            message,
            format!("Write it so: {}", self.usage),
        );
    }

    /// Remarks that a property is not there.
    pub(crate) fn misses_property(&mut self, key: &'static str, remarks: &mut Remarks) {
        self.asked.push(key);
        self.misses(remarks, &format!("`{key}=`"));
    }

    fn argument(&mut self) -> Option<&'n Entry> {
        let first = self.left.iter().position(|e| e.key.is_none())?;
        Some(self.left.remove(first))
    }

    /// KDL 2.0: of a property given twice, the last counts.
    fn property(&mut self, key: &'static str, remarks: &mut Remarks) -> Option<&'n Entry> {
        self.asked.push(key);
        let is_it = |e: &&Entry| e.key.as_deref() == Some(key);
        let last = *self.left.iter().rfind(|e| is_it(e))?;
        if self.left.iter().filter(|e| is_it(e)).count() > 1 {
            remarks.doubt(
                last.span,
                format!(
                    "`{key}` is given more than once for {}; the last one counts.",
                    self.what
                ),
                "Remove the ones that are not meant.",
            );
        }
        self.left.retain(|e| !is_it(e));
        Some(last)
    }

    pub(crate) fn has_property(&self, key: &str) -> bool {
        self.left.iter().any(|e| e.key.as_deref() == Some(key))
    }

    /// Whether an argument is left.
    pub(crate) fn has_argument(&self) -> bool {
        self.left.iter().any(|e| e.key.is_none())
    }

    /// The next argument as a name.
    pub(crate) fn name(&mut self, wanted: &str, remarks: &mut Remarks) -> Option<(String, Span)> {
        match self.argument() {
            Some(entry) => self.as_name(entry, remarks),
            None => {
                self.misses(remarks, wanted);
                None
            }
        }
    }

    /// A property as a name.
    pub(crate) fn name_of(
        &mut self,
        key: &'static str,
        remarks: &mut Remarks,
    ) -> Option<(String, Span)> {
        let entry = self.property(key, remarks)?;
        self.as_name(entry, remarks)
    }

    /// A property as a name, which must be there.
    pub(crate) fn required_name(
        &mut self,
        key: &'static str,
        remarks: &mut Remarks,
    ) -> Option<(String, Span)> {
        if !self.has_property(key) {
            self.misses_property(key, remarks);
            return None;
        }
        self.name_of(key, remarks)
    }

    fn as_name(&mut self, entry: &Entry, remarks: &mut Remarks) -> Option<(String, Span)> {
        let written = entry.written();
        let (message, help) = match &entry.scalar {
            Scalar::Truth(_) | Scalar::Null => (
                format!("A name is wanted here, not `{written}`."),
                "Write the name, in quotes if it is one of KDL's own words.".to_owned(),
            ),
            Scalar::Text(text) if text.trim().is_empty() => (
                "A name is wanted here, and nothing stands between the quotes.".to_owned(),
                "Write the name.".to_owned(),
            ),
            Scalar::Text(text) if text.contains(['“', '”', '„', '‘', '’']) => (
                format!("`{text}` holds a typographic quote, which would be part of the name."),
                "Use straight quotes: \".".to_owned(),
            ),
            Scalar::Text(text) if text.contains(|c: char| c.is_control()) => (
                format!(
                    "The name `{}` holds a character that cannot be seen.",
                    text.escape_debug()
                ),
                "Write the name on one line without tabulators.".to_owned(),
            ),
            _ => return Some((written, entry.span)),
        };
        self.error(remarks, entry.span, message, help);
        None
    }

    /// All properties that are left, as written.
    pub(crate) fn all_properties(&mut self) -> Vec<(String, String)> {
        let (properties, left): (Vec<&Entry>, Vec<&Entry>) = std::mem::take(&mut self.left)
            .into_iter()
            .partition(|e| e.key.is_some());
        self.left = left;
        let pair = |e: &Entry| e.key.clone().map(|key| (key, e.written()));
        properties.into_iter().filter_map(pair).collect()
    }

    /// A property as free text.
    pub(crate) fn text(&mut self, key: &'static str, remarks: &mut Remarks) -> Option<String> {
        self.property(key, remarks).map(Entry::written)
    }

    /// A property that says yes or no.
    pub(crate) fn truth(&mut self, key: &'static str, remarks: &mut Remarks) -> Option<bool> {
        let entry = self.property(key, remarks)?;
        if let Scalar::Truth(yes) = entry.scalar {
            return Some(yes);
        }
        let message = format!(
            "`{key}` of {} is neither true nor false: `{}`.",
            self.what,
            entry.written()
        );
        self.error(
            remarks,
            entry.span,
            message,
            format!("Write {key}=#true or {key}=#false."),
        );
        None
    }

    /// A property that is one of a few words.
    pub(crate) fn choice<T: Copy>(
        &mut self,
        key: &'static str,
        options: &[(&'static str, T)],
        remarks: &mut Remarks,
    ) -> Option<T> {
        let entry = self.property(key, remarks)?;
        let written = entry.written();
        if let Some((_, meant)) = options.iter().find(|(word, _)| *word == written) {
            return Some(*meant);
        }
        let words: Vec<&str> = options.iter().map(|(word, _)| *word).collect();
        let all = format!("Write one of: {}.", words.join(", "));
        let message = format!("`{written}` is no `{key}` that {} can have.", self.what);
        self.error(
            remarks,
            entry.span,
            message,
            did_you_mean(&written, words, all),
        );
        None
    }

    /// The next argument as a quantity.
    pub(crate) fn value<Q: Quantity>(&mut self, bound: Bound, remarks: &mut Remarks) -> Option<Q> {
        match self.argument() {
            Some(entry) => self
                .as_number(entry, Q::UNIT, "The value", bound, remarks)
                .map(Q::of),
            None => {
                self.misses(remarks, "value");
                None
            }
        }
    }

    /// A property as a quantity.
    pub(crate) fn quantity<Q: Quantity>(
        &mut self,
        wanted: Wanted,
        remarks: &mut Remarks,
    ) -> Option<Q> {
        self.number_in(wanted, Q::UNIT, remarks).map(Q::of)
    }

    /// A property as a quantity, which must be there.
    pub(crate) fn required<Q: Quantity>(
        &mut self,
        wanted: Wanted,
        remarks: &mut Remarks,
    ) -> Option<Q> {
        if !self.has_property(wanted.0) {
            self.misses_property(wanted.0, remarks);
            return None;
        }
        self.quantity(wanted, remarks)
    }

    /// A property as a plain number.
    pub(crate) fn number(&mut self, wanted: Wanted, remarks: &mut Remarks) -> Option<f64> {
        self.number_in(wanted, Unit::One, remarks)
    }

    fn number_in(
        &mut self,
        Wanted(key, bound): Wanted,
        unit: Unit,
        remarks: &mut Remarks,
    ) -> Option<f64> {
        let entry = self.property(key, remarks)?;
        self.as_number(entry, unit, &format!("`{key}`"), bound, remarks)
    }

    fn as_number(
        &mut self,
        entry: &Entry,
        unit: Unit,
        place: &str,
        bound: Bound,
        remarks: &mut Remarks,
    ) -> Option<f64> {
        let written = entry.written();
        let value = match units::read(&written, unit) {
            Ok(value) => value,
            Err(why) => {
                let help = help_for(&why, unit);
                self.error(remarks, entry.span, why.to_string(), help);
                return None;
            }
        };
        if let Some(old) = &value.old_spelling {
            let number = written
                .trim()
                .trim_end_matches(old.written.as_str())
                .trim_end();
            let plainly = format!("{number}{}", old.meant);
            remarks.doubt(
                entry.span,
                format!("`{written}` is doubtful; it is read as {plainly}, which old drawings mean by it."),
                format!("Write \"{plainly}\" if that is right."),
            );
        }
        if let Some(rule) = bound.breach(value.number) {
            let message = format!("{place} of {} {rule}, and `{written}` is not.", self.what);
            self.error(
                remarks,
                entry.span,
                message,
                format!("Write a value such as {}.", bound.example(unit)),
            );
            return None;
        }
        Some(value.number)
    }

    /// A property in per cent that is not negative, as a fraction.
    pub(crate) fn share(&mut self, key: &'static str, remarks: &mut Remarks) -> Option<f64> {
        let written = self.left.iter().rfind(|e| e.key.as_deref() == Some(key));
        let span = written.map_or(self.node.span, |e| e.span);
        let (fraction, _) = self.percentage(key, remarks)?;
        if fraction >= 0.0 {
            return Some(fraction);
        }
        let message = format!("`{key}` of {} must not be negative.", self.what);
        let help = format!("Write a share such as {key}=\"5%\".");
        self.error(remarks, span, message, help);
        None
    }

    /// A property in per cent: the fraction with its sign, and whether a sign was written.
    pub(crate) fn percentage(
        &mut self,
        key: &'static str,
        remarks: &mut Remarks,
    ) -> Option<(f64, bool)> {
        let entry = self.property(key, remarks)?;
        let written = entry.written();
        match read_percentage(&written) {
            Ok(share) => {
                if !share.marked && share.fraction != 0.0 && share.fraction.abs() < 0.01 {
                    remarks.doubt(
                        entry.span,
                        format!("`{key}` of {} is read as {written} per cent.", self.what),
                        format!("Write {key}=\"{written}%\" if that is right, else the number in per cent."),
                    );
                }
                Some((share.fraction, share.signed))
            }
            Err(why) => {
                let message = match why {
                    Unreadable::Shape { text, .. } => {
                        format!("`{text}` cannot be read as per cent.")
                    }
                    other => other.to_string(),
                };
                self.error(
                    remarks,
                    entry.span,
                    message,
                    format!("Write a share such as {key}=\"5%\"."),
                );
                None
            }
        }
    }

    /// Remarks every entry that nothing asked for, and braces if none belong here.
    pub(crate) fn finish(&mut self, may_have_braces: bool, remarks: &mut Remarks) {
        for entry in std::mem::take(&mut self.left) {
            let (message, help) = match &entry.key {
                Some(key) => {
                    let mut known: Vec<&str> = self.asked.clone();
                    known.sort_unstable();
                    known.dedup();
                    let all = if known.is_empty() {
                        format!("It takes no properties: {}", self.usage)
                    } else {
                        format!("It may have: {}.", known.join(", "))
                    };
                    (
                        format!("{} has no property `{key}`.", capital(&self.what)),
                        did_you_mean(key, known, all),
                    )
                }
                None => (
                    format!(
                        "`{}` is one word too many for {}.",
                        entry.written(),
                        self.what
                    ),
                    format!("Write it so: {}", self.usage),
                ),
            };
            self.error(remarks, entry.span, message, help);
        }
        if !may_have_braces && self.node.children.is_some() {
            let message = format!(
                "{} has braces, and nothing belongs in them.",
                capital(&self.what)
            );
            self.error(
                remarks,
                self.node.span,
                message,
                format!("Write it so: {}", self.usage),
            );
        }
    }
}

fn help_for(why: &Unreadable, unit: Unit) -> String {
    match why {
        Unreadable::Comma { text } => format!("Write \"{}\".", text.replacen(',', ".", 1)),
        _ => format!("Write a value such as {}.", unit.example()),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}
