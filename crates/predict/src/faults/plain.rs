//! The straightforward way: the faulty circuit is laid out and solved as if no other had been.

use circuit::{Edit, Node};

use crate::assembly::Assembly;
use crate::board::Board;
use crate::probe::{Outcome, Question, Shown};

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
    (red, black): (Node, Node),
    question: &Question,
    near: &Shown,
) -> Outcome {
    let near = &near.x;
    let mut network = board.network.clone();
    network.apply(edits);
    let values = faulty_values(values, edits);
    let unknowns = Assembly::new(&network, &values, 0, 0).system.unknowns;
    let fresh = network.nodes - board.network.nodes;
    if unknowns != near.len() + fresh {
        // An ideal source came or went: nothing of the healthy layout fits.
        let faulty = Board::new(network)?;
        let rest = faulty.rest.clone();
        return faulty.probe(red, black).read(question, &values, &rest);
    }
    // Fresh nodes hang on one branch each, so they are eliminated first.
    let added = near.len() as u32..unknowns as u32;
    let faulty = Board {
        order: added.chain(board.order.iter().copied()).collect(),
        rest: near
            .iter()
            .copied()
            .chain((0..fresh).map(|_| 0.0))
            .collect(),
        network,
    };
    let mut probe = faulty.probe(red, black);
    probe.read(question, &values, &faulty.rest).or_else(|_| {
        let from_nothing = vec![0.0; unknowns];
        probe.read(question, &values, &from_nothing)
    })
}
