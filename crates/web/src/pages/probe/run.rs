//! Which readings a run takes, in which order: what tells most, then what the other unit has, then what was never taken.

use bench::pages::board::{Mark, View};
use bench::pages::unread;
use bench::pages::{Row, advice};

use crate::work::Stand;

/// A reading to be taken.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Step {
    /// `cold` or `powered`.
    pub state: String,
    /// Kind of reading.
    pub kind: String,
    /// Red lead.
    pub red: String,
    /// Black lead.
    pub black: String,
    /// With nominal parts, in print; empty if nothing is expected.
    pub expected: String,
    /// `low to high`; empty if it is not known.
    pub band: String,
    /// What has to be done first.
    pub needs: Vec<String>,
    /// Why this one.
    pub why: String,
}

impl Step {
    /// Whether another one reads the same.
    pub fn is_same(&self, other: &Step) -> bool {
        let of = |s: &Step| {
            (
                s.state.clone(),
                s.kind.clone(),
                s.red.clone(),
                s.black.clone(),
            )
        };
        of(self) == of(other)
    }
}

/// The steps of a run.
pub fn steps(
    view: &View,
    unread: &Stand<unread::View>,
    told: Option<&advice::Unit>,
    unit: &str,
    powered: bool,
) -> Vec<Step> {
    let column = view.units.iter().position(|u| u.name == unit);
    // A list from before the last reading may still hold it.
    let is_taken = |step: &Step| {
        let is_it = |r: &Row| {
            let place = r.red == step.red && r.black == step.black && r.conditions.is_empty();
            place && r.state == step.state && r.kind == step.kind
        };
        let mut rows = view.rows.iter().filter(|r| is_it(r));
        column.is_some_and(|u| rows.any(|r| r.cells[u].mark != Mark::NotTaken))
    };
    let mut list: Vec<Step> = Vec::new();
    let mut add = |step: Step| {
        let fits = (powered || step.state == "cold") && !is_taken(&step);
        if fits && list.iter().all(|s| !s.is_same(&step)) {
            list.push(step);
        }
    };
    if let Some(next) = told.and_then(|u| u.next.as_ref()) {
        let step = Step {
            state: next.state.to_owned(),
            kind: next.kind.to_owned(),
            red: next.red.clone(),
            black: next.black.clone(),
            expected: next.expected.clone(),
            needs: next.needs.clone(),
            why: "It tells most for its time.".to_owned(),
            ..Step::default()
        };
        add(filled(step, view, unread));
    }
    for row in &view.rows {
        if row.conditions.is_empty() {
            let (expected, band) = row
                .expected
                .first()
                .map_or_else(Default::default, |e| (e.nominal.clone(), e.band.clone()));
            add(Step {
                state: row.state.to_owned(),
                kind: row.kind.to_owned(),
                red: row.red.clone(),
                black: row.black.clone(),
                expected,
                band,
                why: "The other unit was read here.".to_owned(),
                ..Step::default()
            });
        }
    }
    for (state, row) in never_taken(unread) {
        add(of_unread(state, row));
    }
    list
}

fn never_taken(unread: &Stand<unread::View>) -> Vec<(&'static str, &unread::Row)> {
    let (Stand::Done(view) | Stand::Again(view)) = unread else {
        return Vec::new();
    };
    let cold = view.cold.iter().flatten().map(|r| ("cold", r));
    let powered = view.powered.iter().flatten().map(|r| ("powered", r));
    cold.chain(powered).collect()
}

fn of_unread(state: &str, row: &unread::Row) -> Step {
    Step {
        state: state.to_owned(),
        kind: row.kind.to_owned(),
        red: row.red.clone(),
        black: row.black.clone(),
        expected: row.nominal.clone(),
        band: row.band.clone(),
        ..Step::default()
    }
}

/// A step with the expectation that the board's tables have for it.
pub fn filled(step: Step, view: &View, unread: &Stand<unread::View>) -> Step {
    let from_row = view.rows.iter().find_map(|r| {
        let is_it = r.state == step.state
            && r.kind == step.kind
            && r.red == step.red
            && r.black == step.black;
        let first = r.expected.first().filter(|_| is_it)?;
        Some((first.nominal.clone(), first.band.clone()))
    });
    let from_list = || {
        never_taken(unread).into_iter().find_map(|(state, r)| {
            let other = of_unread(state, r);
            other.is_same(&step).then_some((other.expected, other.band))
        })
    };
    match from_row.or_else(from_list) {
        Some((expected, band)) => Step {
            expected,
            band,
            ..step
        },
        None => step,
    }
}
