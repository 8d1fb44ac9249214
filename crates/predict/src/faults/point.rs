//! One range of a meter on a healthy board: its solution, and how every small current moves it.

use circuit::meter::Setup;
use circuit::{Law, Node};
use solve::{Factors, SIDES};

use super::curve::Curve;
use super::layout::{Flow, Layout, Stencil};
use crate::assembly::MeterTerms;
use crate::board::Refusal;
use crate::probe::{Probe, terms};

/// Siemens across every junction of the linearised circuit, though of no other: what blocks on all
/// sides would float, and its numbers would drown all others. Chosen so that a thousand junctions
/// pass no more than the certificate's picoamperes.
pub(super) const HELD: f64 = 1e-14;

/// What a flow is at the healthy solution.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct AtRest {
    /// Its voltage.
    pub u: f64,
    /// Its current.
    pub i: f64,
    /// Its slope.
    pub g: f64,
}

/// An exponential flow, with what is asked of it for every fault.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bend {
    /// The ends of its voltage.
    pub from: u32,
    pub to: u32,
    /// Index of the flow.
    pub flow: u32,
    /// 1 over the volts in which it grows by e.
    pub over_width: f64,
    /// Amperes of the growing part at the healthy solution.
    pub grown: f64,
    /// Its slope times the ohms that oppose it.
    pub own_share: f64,
    /// Where it flows.
    pub stencil: Stencil,
}

/// The healthy solution on one range, with the response to one ampere along every stencil.
#[derive(Clone, Debug)]
pub(super) struct Point {
    /// The linearised circuit.
    pub factors: Factors,
    /// The unknowns.
    pub x: Vec<f64>,
    /// Volts from red to black.
    pub volts: f64,
    /// Unknowns under red and black.
    pub leads: (u32, u32),
    /// The meter's flow, in the place of the layout's flow 0.
    pub meter: Flow,
    /// One a flow.
    pub rest: Vec<AtRest>,
    /// One a stencil, `unknowns` numbers each: what one ampere along it adds to the unknowns, with
    /// the sign turned.
    columns: Vec<f64>,
    /// One a stencil: what one ampere does to the reading, with the sign turned.
    pub at_leads: Vec<f64>,
    /// The flows that are exponentials.
    pub bends: Vec<Bend>,
    /// All other flows.
    pub odd: Vec<u32>,
    /// One a flow: ohms that oppose it, all others on their tangents.
    pub own: Vec<f64>,
}

impl Point {
    /// Solves the healthy board with this range connected; `None` if the linearisation is singular.
    ///
    /// # Errors
    /// If no certified solution is found.
    pub fn new(
        layout: &Layout,
        probe: &mut Probe<'_>,
        setup: &Setup,
        values: &[f64],
        start: &[f64],
    ) -> Result<Option<Self>, Refusal> {
        let x = probe.solve(setup, values, start)?;
        if probe
            .workspace
            .linearise_held(&probe.assembly.system, &x, HELD)
            .is_err()
        {
            return Ok(None);
        }
        let (red, black) = probe.leads();
        let unknown = |n: Node| layout.unknowns[n as usize];
        let (r, b) = (unknown(red), unknown(black));
        let lead = terms(setup).lead;
        let meter = Flow {
            from: r.index,
            to: b.index,
            bias: r.offset - b.offset,
            stencil: 0,
            port: 0,
            curve: if lead == MeterTerms::NONE.lead {
                Curve::Nothing
            } else {
                Curve::OnePort(Law::Lead(lead))
            },
        };
        let mut point = Self {
            factors: probe.workspace.factors().clone(),
            volts: probe.volts(&x),
            leads: (r.index, b.index),
            meter,
            rest: Vec::with_capacity(layout.flows.len()),
            columns: Vec::new(),
            at_leads: Vec::new(),
            bends: Vec::with_capacity(layout.flows.len()),
            odd: Vec::new(),
            own: Vec::with_capacity(layout.flows.len()),
            x,
        };
        point.fill_columns(layout, probe);
        for index in 0..layout.flows.len() {
            let flow = *point.flow(layout, index);
            let u = point.difference(&flow);
            let (i, g) = flow.curve.at(u);
            point.rest.push(AtRest { u, i, g });
            let column = point.column(flow.stencil);
            let own = (column[flow.from as usize] - column[flow.to as usize]).abs();
            point.own.push(own);
            match flow.curve {
                Curve::Exponential { width, .. } => point.bends.push(Bend {
                    from: flow.from,
                    to: flow.to,
                    flow: index as u32,
                    over_width: 1.0 / width,
                    grown: g * width,
                    own_share: own * g,
                    stencil: layout.stencils[flow.stencil],
                }),
                Curve::Nothing => {}
                _ => point.odd.push(index as u32),
            }
        }
        Ok(Some(point))
    }

    /// A flow of the layout; the first is the meter's.
    pub fn flow<'a>(&'a self, layout: &'a Layout, index: usize) -> &'a Flow {
        if index == 0 {
            &self.meter
        } else {
            &layout.flows[index]
        }
    }

    /// A stencil of the layout; the first is the meter's.
    pub fn stencil(&self, layout: &Layout, index: usize) -> Stencil {
        match index {
            0 => [
                (self.leads.0, 1.0),
                (self.leads.1, -1.0),
                (self.leads.1, 0.0),
            ],
            s => layout.stencils[s],
        }
    }

    /// The voltage that a flow sees at the healthy solution.
    pub fn difference(&self, flow: &Flow) -> f64 {
        self.x[flow.from as usize] - self.x[flow.to as usize] + flow.bias
    }

    /// What one ampere along a stencil takes from the unknowns.
    pub fn column(&self, stencil: usize) -> &[f64] {
        let n = self.x.len();
        &self.columns[stencil * n..(stencil + 1) * n]
    }

    /// Solves for all stencils, several at once.
    fn fill_columns(&mut self, layout: &Layout, probe: &Probe<'_>) {
        let n = self.x.len();
        let (red, black) = (self.leads.0 as usize, self.leads.1 as usize);
        let stencils = layout.stencils.len();
        self.columns.resize(stencils * n, 0.0);
        let mut block = vec![[0.0; SIDES]; n];
        let mut scratch = Vec::new();
        for first in (0..stencils).step_by(SIDES) {
            let here = first..stencils.min(first + SIDES);
            block.fill([0.0; SIDES]);
            for (side, stencil) in here.clone().enumerate() {
                for (unknown, share) in self.stencil(layout, stencil) {
                    block[unknown as usize][side] += share;
                }
            }
            let pattern = probe.workspace.pattern();
            probe
                .workspace
                .factors()
                .solve_sides(pattern, &mut block, &mut scratch);
            for (side, stencil) in here.enumerate() {
                let column = &mut self.columns[stencil * n..][..n];
                for (value, row) in column.iter_mut().zip(&block) {
                    *value = row[side];
                }
            }
        }
        let columns = self.columns.chunks_exact(n);
        self.at_leads = columns.map(|c| c[red] - c[black]).collect();
    }
}
