//! Expectations for places of a board that have no reading yet.

use record::{ReadingKind, State};

use super::board;
use crate::expect::{self, Wanted};
use crate::places::Treatment;
use crate::project::{BoardText, Project};
use crate::refused::Refused;
use crate::{Progress, Stop, table};

/// What would be read where nothing was read yet.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// Cold: every net against the first ground net, both polarities.
    pub cold: Part,
    /// Powered: every net against the first ground net.
    pub powered: Part,
}

/// The expectations of one state, or why there are none.
pub type Part = Result<Vec<Row>, String>;

/// One expectation.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// `ohms`, `diode` or `volts`.
    pub kind: &'static str,
    /// Red lead.
    pub red: String,
    /// Black lead.
    pub black: String,
    /// With nominal parts; a dash if refused.
    pub nominal: String,
    /// `low to high`; a dash if refused.
    pub band: String,
    /// Which parts carry it, or why there is no number.
    pub because: String,
}

/// Computes them for the sheet as drawn.
///
/// # Errors
/// If it was stopped.
pub fn unread(
    project: &Project,
    board: &BoardText,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let part = |state: State| -> Result<Part, Refused> {
        let opened = match board::open(project, board) {
            Some(opened) if opened.is_drawn => opened,
            _ => return Ok(Ok(Vec::new())),
        };
        let every = match expect::every_net(&opened.sheet, state) {
            Ok(every) => every,
            Err(refused) => return Ok(Err(first_message(&refused))),
        };
        let ground = opened.sheet.ground();
        let is_read = |w: &Wanted| {
            opened.readings.iter().any(|r| {
                r.state == w.state
                    && r.kind == w.kind
                    && r.red.net == w.red.net
                    && r.black.net == w.black.net
            })
        };
        // The other polarity of volts says the same with the sign turned.
        let turned = |w: &Wanted| w.kind == ReadingKind::Volts && Some(w.red.net) == ground;
        let wanted: Vec<Wanted> = every
            .into_iter()
            .filter(|w| !is_read(w) && !turned(w))
            .collect();
        let found = expect::rows(
            &opened.sheet,
            &opened.meters,
            &Treatment::default(),
            &wanted,
            progress,
            stop,
        );
        match found {
            Ok(rows) => Ok(Ok(rows.iter().map(row).collect())),
            Err(refused) if stop() => Err(refused),
            Err(refused) => Ok(Err(first_message(&refused))),
        }
    };
    Ok(View {
        cold: part(State::Cold)?,
        powered: part(State::Powered)?,
    })
}

fn first_message(refused: &Refused) -> String {
    let complaint = &refused.complaints()[0];
    match &complaint.help {
        Some(help) => format!("{} {help}", complaint.message),
        None => complaint.message.clone(),
    }
}

fn row(r: &expect::Row) -> Row {
    let dash = || "-".to_owned();
    let (nominal, band, because) = match &r.refused {
        Some(why) => (dash(), dash(), why.clone()),
        None => (
            table::value(r.expected, r.low, r.high, r.unit),
            table::band(r.low, r.high, r.unit),
            r.because.clone(),
        ),
    };
    Row {
        kind: r.kind,
        red: r.red.clone(),
        black: r.black.clone(),
        nominal,
        band,
        because,
    }
}
