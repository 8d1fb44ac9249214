//! Kirchhoff's current law for a faulty circuit, by the laws of all its parts.

use solve::{GROUND, System};

use super::change::Piece;
use super::curve::Curve;
use super::layout::{Flow, Layout};
use super::nearness::Nearness;
use super::point::Point;
use crate::adapter::Adapter;

/// Imbalance that is accepted in amperes: as the solver of a whole circuit.
const ABSOLUTE: f64 = 1e-13;
/// The strictest relative imbalance that is ever asked for, by which rounding is reckoned.
const RELATIVE: f64 = Nearness::EXACT.relative;
/// An exponential that has moved by so little of its width is on its tangent: half the square is
/// below the relative imbalance that is accepted.
const ON_TANGENT: f64 = 1e-4;

/// What flows out of every unknown.
#[derive(Clone, Debug, Default)]
pub(super) struct Sums {
    /// Amperes left over.
    pub left: Vec<f64>,
    meeting: Vec<f64>,
}

impl Sums {
    /// Adds up all currents of the circuit with `pieces` when the healthy solution has moved by `step`.
    pub fn add_up(
        &mut self,
        layout: &Layout,
        point: &Point,
        system: &System<Adapter>,
        pieces: &[Piece],
        step: &[f64],
    ) {
        self.clear(step.len());
        let replaced = |index: u32| pieces.iter().any(|p| p.instead_of == Some(index as usize));
        for bend in &point.bends {
            if replaced(bend.flow) {
                continue;
            }
            let index = bend.flow as usize;
            let moved = step[bend.from as usize] - step[bend.to as usize];
            let rest = &point.rest[index];
            let amps = if (moved * bend.over_width).abs() < ON_TANGENT {
                rest.i + rest.g * moved
            } else {
                layout.flows[index].curve.at(rest.u + moved).0
            };
            self.enter(&bend.stencil, amps);
        }
        for &odd in &point.odd {
            if !replaced(odd) {
                self.add(point.flow(layout, odd as usize), layout, point, step);
            }
        }
        for piece in pieces {
            self.add(&piece.flow, layout, point, step);
        }
        self.links(point, system, step);
    }

    /// Begins with nothing at any of so many unknowns.
    pub fn clear(&mut self, unknowns: usize) {
        for list in [&mut self.left, &mut self.meeting] {
            list.clear();
            list.resize(unknowns, 0.0);
        }
    }

    /// Adds the linear links and fixed flows.
    pub fn links(&mut self, point: &Point, system: &System<Adapter>, step: &[f64]) {
        let at = |i: u32| match i {
            GROUND => 0.0,
            i => point.x[i as usize] + step[i as usize],
        };
        for link in &system.links {
            let (a, b) = (at(link.from), at(link.to));
            let amps = link.g * (a - b + link.bias);
            // Ten roundings of what was subtracted cannot be beaten.
            let rounding = 10.0 * f64::EPSILON / RELATIVE * link.g * a.abs().max(b.abs());
            let size = amps.abs() + rounding;
            self.left[link.from as usize] += amps;
            self.meeting[link.from as usize] += size;
            if link.to != GROUND {
                self.left[link.to as usize] -= amps;
                self.meeting[link.to as usize] += size;
            }
        }
        for flow in &system.flows {
            for (unknown, amps) in [(flow.from, flow.amount), (flow.to, -flow.amount)] {
                self.left[unknown as usize] += amps;
                self.meeting[unknown as usize] += amps.abs();
            }
        }
    }

    fn add(&mut self, flow: &Flow, layout: &Layout, point: &Point, step: &[f64]) {
        if flow.curve != Curve::Nothing {
            let moved = step[flow.from as usize] - step[flow.to as usize];
            let (amps, slope) = flow.curve.at(point.difference(flow) + moved);
            let stencil = point.stencil(layout, flow.stencil);
            self.enter(&stencil, amps);
            let largest = point.x[flow.from as usize]
                .abs()
                .max(point.x[flow.to as usize].abs());
            let rounding = 10.0 * f64::EPSILON / RELATIVE * slope.abs() * largest;
            for (unknown, share) in stencil {
                self.meeting[unknown as usize] += share.abs() * rounding;
            }
        }
    }

    /// Adds a current along a stencil.
    pub fn enter(&mut self, stencil: &[(u32, f64); 3], amps: f64) {
        for (unknown, share) in stencil {
            self.left[*unknown as usize] += share * amps;
            self.meeting[*unknown as usize] += (share * amps).abs();
        }
    }

    /// Whether nothing is left over anywhere, but for a fraction `relative` of what meets.
    pub fn balance(&self, relative: f64) -> bool {
        let mut each = self.left.iter().zip(&self.meeting);
        each.all(|(left, meeting)| left.abs() <= ABSOLUTE + relative * meeting)
    }
}
