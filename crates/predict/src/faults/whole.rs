//! A fault solved by Newton's method on the whole circuit, in the places of the healthy one.

use solve::{Factors, GROUND, Pattern, System};

use super::balance::Sums;
use super::change::Piece;
use super::layout::{Flow, Layout};
use super::nearness::Nearness;
use super::point::{AtRest, Point};
use crate::adapter::Adapter;

/// Newton steps before the circuit is laid out anew, up the whole ladder.
const STEPS: usize = 60;
/// Volts that an unknown may move in one step.
const STRIDE: f64 = 10.0;

/// Volts within which an old tangent serves: it errs by (4e-6 / 0.026)^2 / 2, a part in 1e8.
const SAME: f64 = 4e-6;

/// Places of a flow's slope in the matrix: by unknown of its stencil, then by end of its voltage.
type Places = [[u32; 2]; 3];

/// The matrix of one place, kept between faults.
#[derive(Clone, Debug)]
pub(super) struct Whole {
    places: Vec<Places>,
    linear: Vec<f64>,
    matrix: Vec<f64>,
    factors: Factors,
    step: Vec<f64>,
    change: Vec<f64>,
    scratch: Vec<f64>,
    last: Vec<AtRest>,
    sums: Sums,
}

/// Where the slope of a flow goes; `None` if the pattern has no room for it.
fn places(pattern: &Pattern, point: &Point, layout: &Layout, flow: &Flow) -> Option<Places> {
    let mut places = [[0; 2]; 3];
    for ((unknown, _), row) in point.stencil(layout, flow.stencil).iter().zip(&mut places) {
        *row = [
            pattern.place(*unknown, flow.from)?,
            pattern.place(*unknown, flow.to)?,
        ];
    }
    Some(places)
}

fn evaluated(flow: &Flow, u: f64) -> AtRest {
    let (i, g) = flow.curve.at(u);
    AtRest { u, i, g }
}

impl Whole {
    /// Finds the places of the healthy flows and the linear part; `None` if the pattern lacks any.
    pub fn new(
        layout: &Layout,
        point: &Point,
        pattern: &Pattern,
        system: &System<Adapter>,
    ) -> Option<Self> {
        let mut linear = vec![0.0; pattern.len()];
        for link in &system.links {
            let mut add = |row: u32, column: u32, g: f64| {
                if row != GROUND && column != GROUND {
                    linear[pattern.place(row, column)? as usize] += g;
                }
                Some(())
            };
            add(link.from, link.from, link.g)?;
            add(link.to, link.to, link.g)?;
            add(link.from, link.to, -link.g)?;
            add(link.to, link.from, -link.g)?;
        }
        let places = (0..layout.flows.len())
            .map(|index| places(pattern, point, layout, point.flow(layout, index)))
            .collect::<Option<_>>()?;
        Some(Self {
            places,
            matrix: linear.clone(),
            linear,
            factors: Factors::default(),
            step: Vec::new(),
            change: Vec::new(),
            scratch: Vec::new(),
            last: Vec::new(),
            sums: Sums::default(),
        })
    }

    /// How far the unknowns have moved in the solution last found.
    pub fn step(&self) -> &[f64] {
        &self.step
    }

    /// Volts between the leads with `pieces`; `None` if Newton's method does not settle.
    pub fn solve(
        &mut self,
        layout: &Layout,
        point: &Point,
        pattern: &Pattern,
        system: &System<Adapter>,
        pieces: &[Piece],
        (start, near): (Option<&[f64]>, &Nearness),
    ) -> Option<f64> {
        let more = pieces
            .iter()
            .map(|p| places(pattern, point, layout, &p.flow))
            .collect::<Option<Vec<_>>>()?;
        let healthy = 1..=layout.flows.len() - 1;
        let kept = |index: usize| !pieces.iter().any(|p| p.instead_of == Some(index));
        let fresh = |p: &Piece| evaluated(&p.flow, point.difference(&p.flow));
        let flows: Vec<(&Flow, &Places, AtRest)> = std::iter::once(0)
            .chain(healthy)
            .filter(|index| kept(*index))
            .map(|i| (point.flow(layout, i), &self.places[i], point.rest[i]))
            .chain(
                pieces
                    .iter()
                    .zip(&more)
                    .map(|(p, m)| (&p.flow, m, fresh(p))),
            )
            .collect();
        self.step.clear();
        match start {
            Some(start) => self.step.extend_from_slice(start),
            None => self.step.resize(point.x.len(), 0.0),
        }
        self.last.clear();
        for (flow, _, rest) in &flows {
            let mut last = *rest;
            let moved = self.step[flow.from as usize] - self.step[flow.to as usize];
            if moved.abs() > SAME {
                last = evaluated(flow, rest.u + moved);
            }
            self.last.push(last);
        }
        let mut calm = false;
        for _ in 0..STEPS {
            self.matrix.copy_from_slice(&self.linear);
            self.sums.clear(point.x.len());
            for ((flow, places, rest), last) in flows.iter().zip(&mut self.last) {
                let moved = self.step[flow.from as usize] - self.step[flow.to as usize];
                let u = rest.u + moved;
                if (u - last.u).abs() > SAME {
                    *last = evaluated(flow, flow.curve.limit(u, last.u));
                }
                let AtRest { u: at, i, g } = *last;
                let stencil = point.stencil(layout, flow.stencil);
                self.sums.enter(&stencil, i + g * (u - at));
                for ((_, share), [from, to]) in stencil.iter().zip(*places) {
                    self.matrix[*from as usize] += share * g;
                    self.matrix[*to as usize] -= share * g;
                }
            }
            self.sums.links(point, system, &self.step);
            if !calm {
                self.factors.factor(pattern, &self.matrix).ok()?;
            }
            self.change.clone_from(&self.sums.left);
            self.factors
                .solve(pattern, &mut self.change, &mut self.scratch);
            let mut small = true;
            calm = true;
            for ((step, change), x) in self.step.iter_mut().zip(&self.change).zip(&point.x) {
                let change = change.clamp(-STRIDE, STRIDE);
                *step -= change;
                calm &= change.abs() <= near.calm;
                small &= change.abs() <= near.last * (1.0 + (x + *step).abs());
            }
            if small {
                self.sums.add_up(layout, point, system, pieces, &self.step);
                if self.sums.balance(near.relative) {
                    let [red, black] = [point.leads.0, point.leads.1].map(|i| i as usize);
                    return Some(point.volts + self.step[red] - self.step[black]);
                }
            }
        }
        None
    }
}
