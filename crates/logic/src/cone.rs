//! Which gates speak to the observed nets only through another gate.
//!
//! If every way from a gate to what was seen leads through a second gate, the second can stand in for the first in any explanation.
//! So it is enough to search among the gates at the top of such cones and to unfold each answer afterwards (Metodi, Stern, Kalech and
//! Codish, Journal of Artificial Intelligence Research 51, 2014).

use crate::difference::Difference;

/// Cones of a difference network.
#[derive(Clone, Debug)]
pub(crate) struct Cones {
    /// For each node the node at the top of its cone; itself if nothing stands above it.
    pub(crate) top: Vec<u32>,
    /// For each top node the nodes of its cone in ascending order, itself last; empty for others.
    pub(crate) members: Vec<Vec<u32>>,
}

impl Cones {
    pub(crate) fn of(difference: &Difference) -> Self {
        let count = difference.rules.len();
        let sink = count as u32;
        let unset = u32::MAX;
        let mut above = vec![unset; count];
        for (node, _) in &difference.wanted {
            above[*node] = sink;
        }
        for node in (0..count).rev() {
            for term in difference.rules.terms(node) {
                let below = term.node();
                above[below] = if above[below] == unset {
                    node as u32
                } else {
                    meet(&above, above[below], node as u32)
                };
            }
        }
        let mut top = vec![0; count];
        let mut members = vec![Vec::new(); count];
        for node in (0..count).rev() {
            top[node] = if above[node] == sink {
                node as u32
            } else {
                top[above[node] as usize]
            };
        }
        for (node, top) in top.iter().enumerate() {
            members[*top as usize].push(node as u32);
        }
        Self { top, members }
    }
}

/// The first node that both ways lead through; positions grow towards the sink.
fn meet(above: &[u32], mut a: u32, mut b: u32) -> u32 {
    while a != b {
        if a < b {
            a = above[a as usize];
        } else {
            b = above[b as usize];
        }
    }
    a
}
