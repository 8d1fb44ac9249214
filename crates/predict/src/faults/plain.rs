//! The straightforward way: the faulty circuit is laid out and solved as if no other had been.

use circuit::{Edit, Node};

use crate::assembly::Assembly;
use crate::board::{Board, Refusal};
use crate::probe::{Outcome, Probe, Question, Shown};
use crate::sensitivity::slopes;

/// The values of a faulty board whose healthy ones are `values`.
pub fn faulty_values(values: &[f64], edits: &[Edit]) -> Vec<f64> {
    let mut values = values.to_vec();
    for edit in edits {
        if let Edit::Scale(p, factor) = edit {
            values[p.index()] *= factor;
        }
    }
    values
}

/// The reading with the changes made: the faulty circuit is laid out, and Newton begins at the
/// solution `near` of the healthy one; where that fails, the whole ladder from nothing.
///
/// # Errors
/// If no certified solution is found.
pub fn read_anew(
    board: &Board,
    edits: &[Edit],
    values: &[f64],
    leads: (Node, Node),
    question: &Question,
    near: &Shown,
) -> Outcome {
    with_faulty(board, edits, values, leads, near, |probe, values, start| {
        read(probe, question, values, start)
    })
}

/// The same with the derivative of the volts between the leads by each standard normal variable, as
/// [`slopes`](crate::slopes) gives them; `values` are those at `z`.
///
/// # Errors
/// If no certified solution is found.
pub fn slopes_anew(
    board: &Board,
    edits: &[Edit],
    (z, values): (&[f64], &[f64]),
    leads: (Node, Node),
    question: &Question,
    near: &Shown,
) -> Result<(Shown, Option<Vec<f64>>), Refusal> {
    with_faulty(board, edits, values, leads, near, |probe, values, start| {
        let shown = read(probe, question, values, start)?;
        // A search for the range may have ended on another one.
        probe.connect(&question.setups[shown.range]);
        let slopes = slopes(probe, z, values, &shown.x);
        Ok((shown, slopes))
    })
}

fn read(probe: &mut Probe<'_>, question: &Question, values: &[f64], start: &[f64]) -> Outcome {
    probe.read(question, values, start).or_else(|_| {
        let from_nothing = vec![0.0; start.len()];
        probe.read(question, values, &from_nothing)
    })
}

/// Lays out the faulty board and hands out a probe on it, its values, and where to start.
fn with_faulty<T>(
    board: &Board,
    edits: &[Edit],
    values: &[f64],
    (red, black): (Node, Node),
    near: &Shown,
    ask: impl FnOnce(&mut Probe<'_>, &[f64], &[f64]) -> Result<T, Refusal>,
) -> Result<T, Refusal> {
    let near = &near.x;
    let mut network = board.network.clone();
    network.apply(edits);
    let values = faulty_values(values, edits);
    let unknowns = Assembly::new(&network, &values, 0, 0).system.unknowns;
    let fresh = network.nodes - board.network.nodes;
    let faulty = if unknowns == near.len() + fresh {
        // Fresh nodes hang on one branch each, so they are eliminated first.
        let added = near.len() as u32..unknowns as u32;
        Board {
            order: added.chain(board.order.iter().copied()).collect(),
            rest: near
                .iter()
                .copied()
                .chain((0..fresh).map(|_| 0.0))
                .collect(),
            network,
        }
    } else {
        // An ideal source came or went: nothing of the healthy layout fits.
        Board::new(network)?
    };
    ask(&mut faulty.probe(red, black), &values, &faulty.rest)
}
