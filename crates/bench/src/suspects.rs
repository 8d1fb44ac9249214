//! `board suspects`: what would explain the readings, how likely each is, and what speaks for and against it.

use diagnose::{Change, Predictions, Ranked, Ranking, Speaks, Suspect, rank};
use record::{Reading, ReadingKind, Shown};
use serde::Serialize;

pub use crate::case::{Opinion, Options};

use crate::case::{self, Case, OneUnit};
use crate::kept::Kept;
use crate::loading::Text;
use crate::refused::{Complaint, Refused};
use crate::table::measured;
use crate::{Progress, Stop};

/// The answer, in the shape of the command line's JSON.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// One a unit.
    pub units: Vec<UnitView>,
    /// What may be wrong with the drawing, likeliest first.
    pub sheet_doubts: Vec<DoubtView>,
    /// Bad lines that were skipped.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<Complaint>,
}

/// Probabilities of one unit: healthy, suspects, multiple, reading error and sheet sum to 1.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UnitView {
    /// Unit.
    pub unit: String,
    /// Nothing is wrong.
    pub healthy: f64,
    /// More than one fault.
    pub multiple: f64,
    /// Nothing but a reading is wrong.
    pub reading_error: f64,
    /// The drawing is wrong.
    pub sheet: f64,
    /// Single faults, likeliest first.
    pub suspects: Vec<SuspectView>,
    /// What cannot be told apart, likeliest first.
    pub groups: Vec<GroupView>,
    /// Readings that may be wrong.
    pub doubtful_readings: Vec<DoubtfulReading>,
    /// The likeliest pairs of faults.
    pub pairs: Vec<PairView>,
    /// Readings that say something.
    pub readings: usize,
}

/// A fault that would explain the readings.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SuspectView {
    /// Part.
    pub part: String,
    /// Fault.
    pub fault: String,
    /// Probability.
    pub probability: f64,
    /// Its group's id.
    pub group: usize,
    /// Fitted magnitude: a factor or ohms.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// What speaks for and against it; only of likely ones.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reasons: Vec<ReasonView>,
}

/// A reading and what it says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReasonView {
    /// Line in the readings file.
    pub line: usize,
    /// Kind.
    pub kind: &'static str,
    /// Red lead.
    pub red: String,
    /// Black lead.
    pub black: String,
    /// What was read; null for over range.
    pub read: Option<f64>,
    /// What the suspect predicts; null for over range.
    pub predicted: Option<f64>,
    /// What a healthy unit reads; null for over range.
    pub healthy: Option<f64>,
    /// `for`, `against` or `unexplained`.
    pub speaks: &'static str,
    /// Unit of the numbers.
    #[serde(rename = "in")]
    pub measured_in: &'static str,
}

/// Suspects that no reading tells apart.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GroupView {
    /// Its number, from 1.
    pub id: usize,
    /// `PART FAULT`, with the magnitude after `=` if there is one.
    pub members: Vec<String>,
    /// Of all members together.
    pub probability: f64,
}

/// A reading that may be wrong.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DoubtfulReading {
    /// Line in the readings file.
    pub line: usize,
    /// Where and what.
    pub reading: String,
    /// Probability.
    pub probability: f64,
}

/// Two faults at once.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PairView {
    /// Both, as `PART FAULT`.
    pub members: [String; 2],
    /// Probability.
    pub probability: f64,
}

/// Something that may be wrong with the drawing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DoubtView {
    /// Part, or two nets.
    pub part: String,
    /// What about it.
    pub doubt: String,
    /// Probability.
    pub probability: f64,
    /// Fitted factor on the value, or ohms of a missing part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// What the drawing would have to say, in words.
    pub means: String,
}

/// Ranks suspects of all units in a readings file; `kept` holds what was worked out before the last
/// reading.
///
/// # Errors
/// Bad input, or stopped.
pub fn suspects(
    sheet_text: &Text,
    options: &Options,
    kept: &Kept,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let mut case = case::open(sheet_text, options, &|_, _| Vec::new(), kept, stop)?;
    case.focus(kept, progress, stop)?;
    Ok(view(&case, options.unit.as_deref()))
}

pub(crate) fn view(case: &Case, only: Option<&str>) -> View {
    shown(case, &rank(&case.units(), case.together), only)
}

pub(crate) fn shown(case: &Case, ranking: &Ranking, only: Option<&str>) -> View {
    let units = case
        .units
        .iter()
        .zip(&ranking.units)
        .filter(|(unit, _)| only.is_none_or(|o| o == unit.name))
        .map(|(unit, ranked)| unit_view(case, unit, ranked))
        .collect();
    let sheet_doubts = ranking
        .doubts
        .iter()
        .map(|d| DoubtView {
            part: d.part.clone(),
            doubt: d.doubt.clone(),
            probability: d.probability,
            value: d.magnitude,
            means: doubt_words(&case.sheet, d),
        })
        .collect();
    View {
        units,
        sheet_doubts,
        skipped: case.skipped.clone(),
    }
}

fn doubt_words(sheet: &sheet::Sheet, doubt: &diagnose::Doubt) -> String {
    let name = &doubt.part;
    match (doubt.doubt.as_str(), doubt.magnitude) {
        ("value", Some(factor)) => {
            let drawn = sheet
                .part(name)
                .and_then(|p| match sheet.parts[p.index()].kind {
                    sheet::Kind::Resistor { ohms, .. } => Some(ohms.0),
                    _ => None,
                });
            match drawn {
                Some(ohms) => format!(
                    "{name} is drawn as {}, and the readings fit about {}",
                    ohms_words(ohms),
                    ohms_words(ohms * factor)
                ),
                None => format!("{name} has another value than drawn"),
            }
        }
        ("not fitted", _) => format!("{name} is drawn and not fitted"),
        ("reversed", _) => format!("{name} is drawn the wrong way round"),
        ("missing part", Some(ohms)) => format!(
            "the drawing lacks a part of about {} between {}",
            ohms_words(ohms),
            name.replacen(' ', " and ", 1)
        ),
        ("swapped nets", _) => {
            format!(
                "{} are exchanged on the drawing",
                name.replacen(' ', " and ", 1)
            )
        }
        (other, _) => format!("{name}: {other}"),
    }
}

fn ohms_words(ohms: f64) -> String {
    units::significant(ohms, 2, units::Unit::Ohm)
}

pub(crate) fn number(shown: Shown) -> Option<f64> {
    match shown {
        Shown::Number(x) => Some(x),
        Shown::OverRange => None,
    }
}

pub(crate) fn unit_of(kind: ReadingKind) -> &'static str {
    match kind {
        ReadingKind::Ohms => "ohm",
        ReadingKind::Diode | ReadingKind::Volts | ReadingKind::Ripple => "V",
        ReadingKind::Amps | ReadingKind::Leakage => "A",
        ReadingKind::Capacitance => "F",
    }
}

fn words(change: &Change, magnitude: Option<f64>) -> String {
    change.words(magnitude)
}

fn unit_view(case: &Case, unit: &OneUnit, ranked: &Ranked) -> UnitView {
    let changes = unit.predictor.changes();
    let suspects = ranked
        .suspects
        .iter()
        .map(|s| suspect_view(case, unit, s))
        .collect();
    let groups = ranked
        .groups
        .iter()
        .enumerate()
        .map(|(i, group)| GroupView {
            id: i + 1,
            members: group
                .iter()
                .map(|k| {
                    let s = &ranked.suspects[*k];
                    words(&changes[s.change], s.magnitude)
                })
                .collect(),
            probability: group.iter().map(|k| ranked.suspects[*k].probability).sum(),
        })
        .collect();
    let mut doubtful: Vec<DoubtfulReading> = ranked
        .wrong
        .iter()
        .zip(&unit.readings)
        .filter(|(p, _)| **p > 0.02)
        .map(|(p, i)| DoubtfulReading {
            line: case.readings[*i].line,
            reading: place_words(&case.readings[*i]),
            probability: *p,
        })
        .collect();
    doubtful.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let pairs = ranked
        .pairs
        .iter()
        .filter(|p| p.2 > 1e-3)
        .map(|(a, b, probability)| PairView {
            members: [words(&changes[*a], None), words(&changes[*b], None)],
            probability: *probability,
        })
        .collect();
    UnitView {
        unit: unit.name.clone(),
        healthy: ranked.healthy,
        multiple: ranked.multiple,
        reading_error: ranked.reading_error,
        sheet: ranked.sheet,
        suspects,
        groups,
        doubtful_readings: doubtful,
        pairs,
        readings: unit.taken.len(),
    }
}

fn suspect_view(case: &Case, unit: &OneUnit, suspect: &Suspect) -> SuspectView {
    let change = &unit.predictor.changes()[suspect.change];
    let reasons = suspect
        .reasons
        .iter()
        .map(|r| {
            let reading = &case.readings[unit.readings[r.reading]];
            let taken = unit.taken[r.reading];
            let healthy = unit.predictor.healthy(taken.place);
            ReasonView {
                line: reading.line,
                kind: reading.kind.word(),
                red: reading.red.written.clone(),
                black: reading.black.written.clone(),
                read: number(taken.shown),
                predicted: number(r.predicted),
                healthy: healthy.and_then(|h| number(h.nominal)),
                speaks: match r.speaks {
                    Speaks::For => "for",
                    Speaks::Against => "against",
                    Speaks::Unexplained => "unexplained",
                },
                measured_in: unit_of(reading.kind),
            }
        })
        .collect();
    SuspectView {
        part: change.part.clone(),
        fault: change.name.clone(),
        probability: suspect.probability,
        group: suspect.group + 1,
        value: suspect.magnitude,
        reasons,
    }
}

fn place_words(reading: &Reading) -> String {
    format!(
        "{} {} to {}",
        reading.kind.word(),
        reading.red.written,
        reading.black.written
    )
}

/// A probability as a person says it.
pub(crate) fn in_hundred(p: f64) -> String {
    match (100.0 * p).round() as i64 {
        _ if p < 0.005 => "less than 1 in 100".to_owned(),
        n if n >= 100 => "more than 99 in 100".to_owned(),
        n => format!("{n} in 100"),
    }
}

impl View {
    /// The answer for people.
    pub fn to_text(&self) -> String {
        let mut text: String = self.units.iter().map(UnitView::to_text).collect();
        let doubts: Vec<&DoubtView> = self
            .sheet_doubts
            .iter()
            .filter(|d| d.probability > 0.01)
            .take(5)
            .collect();
        if !doubts.is_empty() {
            text += "\nThe drawing may be wrong:\n";
            for d in doubts {
                text += &format!("  {}: {}.\n", d.means, in_hundred(d.probability));
            }
            if self.units.len() > 1 {
                text += "  Both units share the drawing; if both are off alike, look at the part itself: its value, its bands, its way round.\n";
            } else {
                text +=
                    "  The same reading on another unit would tell a wrong drawing from a fault.\n";
            }
        }
        text
    }
}

/// Groups that are less likely than this are not told.
const TOLD: f64 = 0.01;

impl UnitView {
    fn to_text(&self) -> String {
        let mut text = format!(
            "Unit {}, {} readings that say something\n",
            self.unit, self.readings
        );
        let lines = [
            (self.healthy, "nothing is wrong"),
            (self.reading_error, "nothing but a reading is wrong"),
            (self.multiple, "more than one fault"),
            (self.sheet, "the drawing is wrong"),
        ];
        for (p, what) in lines {
            if p > TOLD {
                text += &format!("  {what}: {}\n", in_hundred(p));
            }
        }
        let shown: Vec<&GroupView> = self
            .groups
            .iter()
            .filter(|g| g.probability > TOLD)
            .take(6)
            .collect();
        if shown.is_empty() {
            text += "  No single fault is worth naming from these readings.\n";
        }
        for group in shown {
            text += &self.group_text(group);
        }
        for d in self.doubtful_readings.iter().take(4) {
            text += &format!(
                "  Line {} ({}) may be wrong: {}. Read it again, leads nulled, point and range checked.\n",
                d.line,
                d.reading,
                in_hundred(d.probability)
            );
        }
        text
    }

    fn group_text(&self, group: &GroupView) -> String {
        let members: Vec<&SuspectView> = self
            .suspects
            .iter()
            .filter(|s| s.group == group.id)
            .collect();
        let Some(first) = members.first() else {
            return String::new();
        };
        if first.reasons.is_empty() {
            let names: Vec<String> = members.iter().take(5).map(|m| m.plain()).collect();
            return format!(
                "\n  Faults that no reading taken would show, {} kinds together: {}; likeliest {}.\n",
                members.len(),
                in_hundred(group.probability),
                names.join(", ")
            );
        }
        let mut text = format!("\n  {}: {}\n", first.plain(), in_hundred(group.probability));
        if members.len() > 1 {
            let names: Vec<String> = members.iter().skip(1).take(5).map(|m| m.plain()).collect();
            let more = members.len().saturating_sub(6);
            let more = if more > 0 {
                format!(" and {more} more")
            } else {
                String::new()
            };
            text += &format!(
                "    What was read cannot tell it from {}{more}; alone it has {}.\n",
                names.join(", "),
                in_hundred(first.probability)
            );
        }
        for (speaks, head) in [
            ("for", "It explains"),
            ("against", "Against it"),
            ("unexplained", "It does not explain"),
        ] {
            for r in first.reasons.iter().filter(|r| r.speaks == speaks).take(4) {
                text += &format!("    {head}: line {}, {}\n", r.line, r.plain());
            }
        }
        if first.reasons.iter().all(|r| r.speaks == "for") {
            text += "    Nothing contradicts it.\n";
        }
        text
    }
}

impl ReasonView {
    /// The reading beside what the suspect and a healthy unit would read, as a sentence.
    pub fn plain(&self) -> String {
        let value = |x| measured(x, self.measured_in);
        format!(
            "{} {} to {} read {}; it would read {}, a healthy unit {}.",
            self.kind,
            self.red,
            self.black,
            value(self.read),
            value(self.predicted),
            value(self.healthy),
        )
    }
}

impl SuspectView {
    /// `R4 open`, `C6 leaky, about 330 ohm`.
    pub fn plain(&self) -> String {
        match (self.value, self.fault.as_str()) {
            (Some(ohms), "leaky") => {
                format!("{} leaky, about {}", self.part, ohms_words(ohms))
            }
            (Some(factor), fault) => {
                format!("{} {fault}, about {factor:.2} times its value", self.part)
            }
            (None, fault) => format!("{} {fault}", self.part),
        }
    }
}
