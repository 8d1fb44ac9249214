//! Like parts of a board without a sheet, in print: the odd ones first.

use record::{Reading, ReadingKind};

use super::bar::{self, Axis, Bar, bar};
use super::harmless::Harmless;
use super::rows::shown;
use crate::alike::{Crowd, Group, STANDS_OUT, Standing, off_scale, seen};
use crate::table;

/// Like parts.
#[derive(Clone, Debug, PartialEq)]
pub struct Kin {
    /// `cold diode, D*.a to D*.k`.
    pub what: String,
    /// `cold` or `powered`.
    pub state: &'static str,
    /// `ohms`, `diode`, `volts` or another kind.
    pub kind: &'static str,
    /// Their median.
    pub middle: String,
    /// Where 95 of 100 of them read, by their spread.
    pub band: String,
    /// The band with all of them on it; none if most are over range.
    pub bar: Option<Bar>,
    /// Farthest from the middle first.
    pub members: Vec<Member>,
}

impl Kin {
    /// Those that stand out.
    pub fn odd(&self) -> impl Iterator<Item = &Member> {
        self.members.iter().filter(|m| m.stands_out)
    }
}

/// One of several like parts.
#[derive(Clone, Debug, PartialEq)]
pub struct Member {
    /// Index of the unit.
    pub unit: usize,
    /// Red lead.
    pub red: String,
    /// Black lead.
    pub black: String,
    /// What it reads, in print.
    pub value: String,
    /// The same as it was written.
    pub written: String,
    /// How far it is from the middle, in words.
    pub far: String,
    /// Farther than chance explains.
    pub stands_out: bool,
    /// It stood out, and a person said that it is harmless.
    pub harmless: Option<Harmless>,
    /// Where it is along the bar, 0 to 1; none without a bar.
    pub at: Option<f64>,
}

/// How a reading stands out, for its row.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Out {
    /// How far, in spreads; 0 where nothing was compared.
    pub far: f64,
    /// Why it stands out among like parts; empty if it does not.
    pub words: String,
}

/// The groups in print; `columns` gives the unit of each reading.
pub(crate) fn kin(readings: &[Reading], columns: &[Option<usize>], groups: &[Group]) -> Vec<Kin> {
    groups.iter().map(|g| one(readings, columns, g)).collect()
}

fn one(readings: &[Reading], columns: &[Option<usize>], group: &Group) -> Kin {
    let first = &readings[group.members[0]];
    let kind = first.kind;
    let ends = ends(&group.crowd, kind);
    let band = bar::Expected {
        low: ends[0],
        high: ends[2],
        nominal: ends[1],
        units: Vec::new(),
    };
    // Units that the machine does not have are not drawn.
    let placed: Vec<usize> = (0..group.members.len())
        .filter(|k| columns[group.members[*k]].is_some())
        .collect();
    let ticks: Vec<(usize, Option<f64>)> = placed
        .iter()
        .filter_map(|k| {
            let index = group.members[*k];
            let at = seen(&readings[index]).at.map(|at| off_scale(kind, at));
            Some((columns[index]?, at))
        })
        .collect();
    let axis = match kind {
        ReadingKind::Ohms | ReadingKind::Capacitance | ReadingKind::Leakage => Axis::Logarithmic,
        ReadingKind::Diode | ReadingKind::Volts | ReadingKind::Ripple | ReadingKind::Amps => {
            Axis::Linear
        }
    };
    let letter = kind.unit().symbol();
    let bar = group.crowd.middle.and_then(|_| bar(axis, &[band], &ticks));
    let mut order: Vec<usize> = (0..group.members.len()).collect();
    let far = |k: usize| group.crowd.scores[k].abs();
    order.sort_by(|a, b| far(*b).total_cmp(&far(*a)));
    let members = order.into_iter().filter_map(|k| {
        let reading = &readings[group.members[k]];
        let score = group.crowd.scores[k];
        Some(Member {
            unit: columns[group.members[k]]?,
            red: reading.red.written.clone(),
            black: reading.black.written.clone(),
            value: shown(reading),
            written: reading.written.clone(),
            far: distance(score),
            stands_out: score.abs() > STANDS_OUT,
            harmless: None,
            at: bar.as_ref().and_then(|b| {
                let place = placed.iter().position(|p| *p == k)?;
                Some(b.ticks[place].at)
            }),
        })
    });
    let members = members.collect();
    Kin {
        what: format!("{} {}, {}", first.state.word(), kind.word(), group.kin),
        state: first.state.word(),
        kind: kind.word(),
        middle: table::measured(ends[1], letter),
        band: table::band(ends[0], ends[2], letter),
        bar,
        members,
    }
}

/// Both ends of where 95 of 100 like ones read, and the middle between; none is over range.
fn ends(crowd: &Crowd, kind: ReadingKind) -> [Option<f64>; 3] {
    // 1.96 standard deviations of a normal distribution hold 95 of 100.
    [-1.96, 0.0, 1.96].map(|z| Some(off_scale(kind, crowd.middle? + z * crowd.spread)))
}

fn distance(score: f64) -> String {
    match score {
        s if s.is_infinite() && s > 0.0 => "over range, where they are not".to_owned(),
        s if s.is_infinite() => "a number, where they are over range".to_owned(),
        s if s.abs() < 0.05 => "in the middle".to_owned(),
        s if s > 0.0 => format!("{s:.1} spreads above"),
        s => format!("{:.1} spreads below", -s),
    }
}

/// How each reading stands out, along the readings.
pub(crate) fn out(readings: &[Reading], groups: &[Group], standings: &[Standing]) -> Vec<Out> {
    let mut list: Vec<Out> = standings
        .iter()
        .map(|s| Out {
            far: s.far(),
            words: String::new(),
        })
        .collect();
    for group in groups {
        let kind = readings[group.members[0]].kind;
        let ends = ends(&group.crowd, kind);
        let band = table::band(ends[0], ends[2], kind.unit().symbol());
        for (member, score) in group.members.iter().zip(&group.crowd.scores) {
            if score.abs() > STANDS_OUT {
                let others = group.members.len() - 1;
                list[*member].words = format!(
                    "stands out among like parts ({}): the other {others} read {band}",
                    group.kin
                );
            }
        }
    }
    list
}
