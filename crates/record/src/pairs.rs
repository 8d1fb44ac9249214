//! Reads a pairs file: which readings to predict, a readings file or just `kind,red,black[,state]`.

use sheet::{Diagnostic, Sheet};

use crate::columns::{Wanted, placed, table};
use crate::readings::{Known, Line};
use crate::{Lead, ReadingKind, State};

const COLUMNS: Wanted = Wanted {
    required: &["kind", "red", "black"],
    optional: &["state"],
    strict: false,
};

/// One reading to be taken or predicted.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// What is measured.
    pub kind: ReadingKind,
    /// Where the red lead goes.
    pub red: Lead,
    /// Where the black lead goes.
    pub black: Lead,
    /// State of the circuit; if the row gives one, it wins over any other.
    pub state: Option<State>,
    /// Line in its file, counted from 1; 0 if it has none.
    pub line: usize,
}

/// Reads a pairs file. A bad row costs that row alone; other columns than these four are ignored.
pub fn parse_pairs(text: &str, file: &str, sheet: &Sheet) -> (Vec<Pair>, Vec<Diagnostic>) {
    let known = Known {
        sheet,
        meters: &[],
        units: None,
    };
    let mut remarks = Vec::new();
    let mut pairs = Vec::new();
    if let Some(table) = table(text, &COLUMNS, &mut remarks) {
        for row in &table.rows {
            let mut line = Line {
                table: &table,
                row,
                known: &known,
                remarks: &mut remarks,
            };
            pairs.extend(pair(&mut line));
        }
    }
    (pairs, placed(remarks, file, text))
}

fn pair(line: &mut Line) -> Option<Pair> {
    let kind = line.kind();
    let (red, black) = (line.lead("red"), line.lead("black"));
    let state = match line.field("state") {
        None => Some(None),
        Some(field) => line.state(field).map(Some),
    };
    Some(Pair {
        kind: kind?,
        red: red?,
        black: black?,
        state: state?,
        line: line.row.line,
    })
}
