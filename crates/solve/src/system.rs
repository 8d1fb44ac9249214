//! A system of flows that must balance: links, fixed flows, and non-linear elements.

/// The index that means the fixed potential zero.
pub const GROUND: u32 = u32::MAX;

/// What a law answers at a pair of differences.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Response {
    /// Flow through each output.
    pub flow: [f64; 2],
    /// `slope[j][k]`: derivative of flow `j` by difference `k`.
    pub slope: [[f64; 2]; 2],
}

/// The non-linear relation between an element's differences and its flows.
pub trait Law {
    /// Flows and slopes at the differences `u`.
    fn response(&self, u: [f64; 2]) -> Response;

    /// Where to linearise first when nothing is known: in the middle of where the law bends.
    fn initial(&self) -> [f64; 2];

    /// Where to linearise first when the start has the differences `u`: `u`, unless the law is so
    /// steep there that Newton would crawl back.
    fn start(&self, u: [f64; 2]) -> [f64; 2];

    /// Where to linearise next when Newton's step proposes `proposed` and the last linearisation
    /// was at `last`. Must return `proposed` itself once the two are close.
    fn limit(&self, proposed: [f64; 2], last: [f64; 2]) -> [f64; 2];
}

/// A non-linear element of one or two ports.
///
/// Port `k` sees the difference `x[from] - x[to] + bias` and sends its flow out of `from` into
/// `to`. An element with one port uses the first only.
#[derive(Clone, Debug)]
pub struct Element<L> {
    /// Its law.
    pub law: L,
    /// `(from, to)` of each port.
    pub ports: [(u32, u32); 2],
    /// Constant part of each difference.
    pub bias: [f64; 2],
    /// One or two.
    pub port_count: u8,
    /// Changed by whoever changes the law, so that what is known of it is not used again.
    pub revision: u32,
}

/// A linear link: flow `g (x[from] - x[to] + bias)` from `from` to `to`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// Where the flow leaves.
    pub from: u32,
    /// Where it enters.
    pub to: u32,
    /// Conductance.
    pub g: f64,
    /// Constant part of the difference.
    pub bias: f64,
}

/// A fixed flow out of `from` into `to`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flow {
    /// Where the flow leaves.
    pub from: u32,
    /// Where it enters.
    pub to: u32,
    /// Its size.
    pub amount: f64,
}

/// The whole system in `unknowns` potentials.
#[derive(Clone, Debug)]
pub struct System<L> {
    /// Number of unknowns.
    pub unknowns: usize,
    /// Linear links.
    pub links: Vec<Link>,
    /// Fixed flows.
    pub flows: Vec<Flow>,
    /// Non-linear elements.
    pub elements: Vec<Element<L>>,
}

/// The potential at an index, [`GROUND`] included.
pub(crate) fn at(x: &[f64], index: u32) -> f64 {
    if index == GROUND {
        0.0
    } else {
        x[index as usize]
    }
}

impl<L> Element<L> {
    /// The differences at potentials `x`, with the constant parts scaled by `scale`.
    pub fn differences(&self, x: &[f64], scale: f64) -> [f64; 2] {
        let difference = |k: usize| {
            let (from, to) = self.ports[k];
            at(x, from) - at(x, to) + scale * self.bias[k]
        };
        if self.port_count == 2 {
            [difference(0), difference(1)]
        } else {
            [difference(0), 0.0]
        }
    }
}

impl<L> System<L> {
    /// The off-diagonal places that the system needs.
    pub fn pairs(&self) -> Vec<(u32, u32)> {
        let mut pairs = Vec::with_capacity(self.links.len() + 3 * self.elements.len());
        let mut add = |a: u32, b: u32| {
            if a != b && a != GROUND && b != GROUND {
                pairs.push((a, b));
            }
        };
        for link in &self.links {
            add(link.from, link.to);
        }
        for element in &self.elements {
            let (from, to) = element.ports[0];
            add(from, to);
            if element.port_count == 2 {
                let (other_from, other_to) = element.ports[1];
                add(other_from, other_to);
                add(from, other_from);
                add(from, other_to);
                add(to, other_from);
                add(to, other_to);
            }
        }
        pairs
    }
}
