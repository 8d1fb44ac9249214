//! Reads the readings file: CSV, one reading a row.

use sheet::meter::Meter;
use sheet::{Diagnostic, Kind, PartId, Sheet, did_you_mean};
use units::{Celsius, Unit, is_over_range, read};

use crate::columns::{Table, Wanted, doubt, error, placed, table};
use crate::lead::{At, Lead, resolve};
use crate::reading::{Conditions, Placement, Reading, ReadingKind, ReadingValue, Shown, State};
use crate::table::{Field, Row};

const COLUMNS: Wanted = Wanted {
    required: &["unit", "state", "kind", "red", "black", "value"],
    optional: &[
        "meter",
        "note",
        "place",
        "lifted",
        "unplugged",
        "celsius",
        "minutes",
        "cycle",
        "time",
    ],
    strict: true,
};

/// What names in a readings file are held against.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// The sheet whose places are read.
    pub sheet: &'a Sheet,
    /// Meter profiles that may be named.
    pub meters: &'a [Meter],
    /// Names of the machine's units; none without a machine file, and then any name goes.
    pub units: Option<&'a [String]>,
}

/// Reads a readings file. A bad row costs that row alone; rows keep their order, and readings that were taken again
/// are all there (see [`crate::settle`]).
pub fn parse_readings(text: &str, file: &str, known: &Known) -> (Vec<Reading>, Vec<Diagnostic>) {
    let mut remarks = Vec::new();
    let mut readings = Vec::new();
    if let Some(table) = table(text, &COLUMNS, &mut remarks) {
        for row in &table.rows {
            let mut line = Line {
                table: &table,
                row,
                known,
                remarks: &mut remarks,
            };
            readings.extend(line.reading());
        }
    }
    (readings, placed(remarks, file, text))
}

/// Names of all places where the leads of a readings file stood, in the order in which they first appear; for boards
/// that have no sheet yet.
pub fn places_named(text: &str) -> Vec<String> {
    let Some(table) = table(text, &COLUMNS, &mut Vec::new()) else {
        return Vec::new();
    };
    let mut names: Vec<String> = Vec::new();
    let fields = table
        .rows
        .iter()
        .flat_map(|row| ["red", "black"].map(|column| table.field(row, column)));
    for field in fields.flatten() {
        if !names.contains(&field.text) {
            names.push(field.text.clone());
        }
    }
    names
}

/// One row while it is read; shared with pairs files, whose columns are a part of these.
pub(crate) struct Line<'a> {
    pub(crate) table: &'a Table,
    pub(crate) row: &'a Row,
    pub(crate) known: &'a Known<'a>,
    pub(crate) remarks: &'a mut Vec<Diagnostic>,
}

impl<'a> Line<'a> {
    /// All of a row's mistakes are found in one pass, so every field is read before any is required.
    fn reading(&mut self) -> Option<Reading> {
        let unit = self.unit();
        let state = self.required("state").and_then(|f| self.state(f));
        let kind = self.kind();
        let (red, black) = (self.lead("red"), self.lead("black"));
        let value = self
            .required("value")
            .and_then(|f| Some((self.value(f, kind?)?, f.text.clone())));
        let meter = self.meter();
        let conditions = self.conditions();
        if state == Some(State::Powered)
            && matches!(kind, Some(ReadingKind::Ohms | ReadingKind::Diode))
        {
            let span = self.row.fields[0].span;
            let message = "Ohms and diode test are cold measurements, and this row says powered.";
            self.remarks.push(doubt(
                span,
                message,
                "Write cold, unless supplies were really on.",
            ));
        }
        let (value, written) = value?;
        Some(Reading {
            unit: unit?,
            state: state?,
            kind: kind?,
            red: red?,
            black: black?,
            value,
            written,
            meter: meter?,
            note: self.text("note").unwrap_or_default(),
            conditions: conditions?,
            time: self.text("time"),
            line: self.row.line,
        })
    }

    pub(crate) fn field(&self, column: &str) -> Option<&'a Field> {
        self.table.field(self.row, column)
    }

    fn text(&self, column: &str) -> Option<String> {
        self.field(column).map(|f| f.text.clone())
    }

    fn required(&mut self, column: &str) -> Option<&'a Field> {
        let field = self.field(column);
        if field.is_none() {
            let span = self.row.fields[0].span;
            let what = match column {
                "red" | "black" => format!("place for the {column} lead"),
                _ => column.to_owned(),
            };
            let message = format!("The row has no {what}.");
            let help = match column {
                "value" => "Write the value, or OL if the meter showed over range.".to_owned(),
                "unit" => "Write which unit was measured, such as 1.".to_owned(),
                "state" => "Write cold or powered.".to_owned(),
                "kind" => format!("Write one of {}.", kinds()),
                _ => "Write where it was: a net, a point or a part pin.".to_owned(),
            };
            self.remarks.push(error(span, message, help));
        }
        field
    }

    fn unit(&mut self) -> Option<String> {
        let field = self.required("unit")?;
        let Some(units) = self.known.units else {
            return Some(field.text.clone());
        };
        if units.contains(&field.text) {
            return Some(field.text.clone());
        }
        let message = format!("The machine has no unit `{}`.", field.text);
        let help = format!("Write one of {}.", units.join(", "));
        self.remarks.push(error(field.span, message, help));
        None
    }

    pub(crate) fn state(&mut self, field: &Field) -> Option<State> {
        let found = State::ALL.into_iter().find(|s| s.word() == field.text);
        if found.is_none() {
            let message = format!("`{}` is no state of a circuit.", field.text);
            self.remarks
                .push(error(field.span, message, "Write cold or powered."));
        }
        found
    }

    pub(crate) fn kind(&mut self) -> Option<ReadingKind> {
        let field = self.required("kind")?;
        let found = ReadingKind::ALL
            .into_iter()
            .find(|k| k.word() == field.text);
        if found.is_none() {
            let message = format!("`{}` is no kind of reading.", field.text);
            let otherwise = format!("Write one of {}.", kinds());
            let words = ReadingKind::ALL.iter().map(|k| k.word());
            self.remarks.push(error(
                field.span,
                message,
                did_you_mean(&field.text, words, otherwise),
            ));
        }
        found
    }

    pub(crate) fn lead(&mut self, column: &str) -> Option<Lead> {
        let field = self.required(column)?;
        match resolve(&field.text, self.known.sheet) {
            Ok(lead) => Some(lead),
            Err(unknown) => {
                self.remarks
                    .push(error(field.span, unknown.message, unknown.help));
                None
            }
        }
    }

    fn value(&mut self, field: &Field, kind: ReadingKind) -> Option<ReadingValue> {
        let mut shown = |text: &str| {
            if is_over_range(text) {
                return Some(Shown::OverRange);
            }
            match read(text, kind.unit()) {
                Ok(value) => {
                    if let Some(old) = value.old_spelling {
                        let message = format!(
                            "`{}` is read as {}, as old drawings mean it.",
                            old.written, old.meant
                        );
                        self.remarks.push(doubt(
                            field.span,
                            message,
                            format!("Write {} if that is right.", old.meant),
                        ));
                    }
                    Some(Shown::Number(value.number))
                }
                Err(unreadable) => {
                    let help = format!(
                        "Write a value such as {}, OL if it was over range, or 1k8..OL if it wandered.",
                        kind.unit().example().trim_matches('"')
                    );
                    self.remarks
                        .push(error(field.span, unreadable.to_string(), help));
                    None
                }
            }
        };
        let value = match field.text.split_once("..") {
            None => ReadingValue::Steady(shown(&field.text)?),
            Some((from, to)) => {
                let (from, to) = (shown(from), shown(to));
                ReadingValue::Intermittent(from?, to?)
            }
        };
        let below_zero = |s: Shown| matches!(s, Shown::Number(n) if n < 0.0);
        let below = match value {
            ReadingValue::Steady(s) => below_zero(s),
            ReadingValue::Intermittent(from, to) => below_zero(from) || below_zero(to),
        };
        if below && matches!(kind, ReadingKind::Ohms | ReadingKind::Capacitance) {
            let message = format!("`{}` is below zero, which no part is.", field.text);
            let help =
                "Something still held a charge: discharge it, prove it with volts, and read again.";
            self.remarks.push(doubt(field.span, message, help));
        }
        Some(value)
    }

    /// The outer option says whether the field could be used.
    fn meter(&mut self) -> Option<Option<String>> {
        let Some(field) = self.field("meter") else {
            return Some(None);
        };
        let names = || self.known.meters.iter().map(|m| m.name.as_str());
        if names().any(|n| n == field.text) {
            return Some(Some(field.text.clone()));
        }
        let message = format!("There is no meter profile `{}`.", field.text);
        let otherwise = format!(
            "Write one of {}, or describe the meter in meter.kdl.",
            names().collect::<Vec<_>>().join(", ")
        );
        let help = did_you_mean(&field.text, names(), otherwise);
        self.remarks.push(error(field.span, message, help));
        None
    }

    fn conditions(&mut self) -> Option<Conditions> {
        let placement = self.placement();
        let lifted = self.lifted();
        let unplugged = self.unplugged();
        let celsius = self.number("celsius", Unit::Celsius);
        let minutes = self.number("minutes", Unit::One);
        Some(Conditions {
            placement: placement?,
            lifted: lifted?,
            unplugged: unplugged?,
            celsius: celsius?.map(Celsius),
            minutes: minutes?,
            cycle: self.text("cycle"),
        })
    }

    fn placement(&mut self) -> Option<Option<Placement>> {
        let Some(field) = self.field("place") else {
            return Some(None);
        };
        let found = Placement::ALL.into_iter().find(|p| p.word() == field.text);
        if found.is_none() {
            let message = format!("`{}` is no place where a board can be.", field.text);
            self.remarks
                .push(error(field.span, message, "Write chassis or board-out."));
        }
        found.map(Some)
    }

    fn lifted(&mut self) -> Option<Vec<Lead>> {
        let Some(field) = self.field("lifted") else {
            return Some(Vec::new());
        };
        let mut leads = Vec::new();
        let mut good = true;
        for word in field.text.split_whitespace() {
            match resolve(word, self.known.sheet) {
                Ok(lead) if matches!(lead.at, At::Pin(..)) => leads.push(lead),
                Ok(_) => {
                    let message = format!("`{word}` is not a part pin, and only pins are lifted.");
                    self.remarks.push(error(
                        field.span,
                        message,
                        "Write pins with spaces between, such as R4.1 Q1.b.",
                    ));
                    good = false;
                }
                Err(unknown) => {
                    self.remarks
                        .push(error(field.span, unknown.message, unknown.help));
                    good = false;
                }
            }
        }
        good.then_some(leads)
    }

    fn unplugged(&mut self) -> Option<Vec<PartId>> {
        let Some(field) = self.field("unplugged") else {
            return Some(Vec::new());
        };
        let sheet = self.known.sheet;
        let is_connector =
            |id: PartId| matches!(sheet.parts[id.index()].kind, Kind::Connector { .. });
        let mut connectors = Vec::new();
        let mut good = true;
        for word in field.text.split_whitespace() {
            match sheet.part(word).filter(|id| is_connector(*id)) {
                Some(id) => connectors.push(id),
                None => {
                    let names = sheet
                        .parts
                        .iter()
                        .filter(|p| matches!(p.kind, Kind::Connector { .. }));
                    let help = did_you_mean(
                        word,
                        names.map(|p| p.name.as_str()),
                        "Write connectors with spaces between, such as J1 J2.",
                    );
                    self.remarks.push(error(
                        field.span,
                        format!("The sheet {} has no connector `{word}`.", sheet.name),
                        help,
                    ));
                    good = false;
                }
            }
        }
        good.then_some(connectors)
    }

    fn number(&mut self, column: &str, unit: Unit) -> Option<Option<f64>> {
        let Some(field) = self.field(column) else {
            return Some(None);
        };
        match read(&field.text, unit) {
            Ok(value) if column == "minutes" && value.number < 0.0 => {
                let message = format!("`{}` minutes cannot have passed.", field.text);
                self.remarks.push(error(
                    field.span,
                    message,
                    "Write the minutes since switch-on.",
                ));
                None
            }
            Ok(value) => Some(Some(value.number)),
            Err(unreadable) => {
                let help = format!("Write {column} as a number, or leave the field empty.");
                self.remarks
                    .push(error(field.span, unreadable.to_string(), help));
                None
            }
        }
    }
}

fn kinds() -> String {
    ReadingKind::ALL.map(ReadingKind::word).join(", ")
}
