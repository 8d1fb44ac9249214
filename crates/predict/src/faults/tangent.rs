//! A weak fault answered by the healthy tangents and their first correction, with a bound on what is left.

use super::change::Piece;
use super::curve::Curve;
use super::dense::eliminate;
use super::layout::{Flow, Layout};
use super::point::{AtRest, HELD, Point};

/// Ports that are worked through side by side.
const LANES: usize = 4;
/// Widths within which the series for exp(d) - 1 - d is right to a part in 1e7 of itself.
const SERIES: f64 = 0.3;
/// Volts that stand for the width of a flow that is no exponential; no law bends faster.
const WIDTH: f64 = 0.02;
/// Volts from the kink of the meter's lead within which its side is not told.
const KINK: f64 = 1e-6;
/// Relative rounding of a difference of two numbers of a column.
const ROUNDING: f64 = 4e-15;
/// Above this the bound by a geometric series says nothing.
const SHRINKS: f64 = 0.5;

/// The linearised circuit of one place as seen by its ports: the voltages on which flows depend.
///
/// A port's row holds one number a bend, in the order of [`Point::bends`], padded with nothing to a
/// multiple of [`LANES`].
#[derive(Clone, Debug)]
pub(super) struct Tangents {
    row: usize,
    /// Amperes of the growing part; 0 for a bend that the fault replaces.
    grown: Vec<f64>,
    /// What one ampere of each bend takes from the reading.
    lead: Vec<f64>,
    /// The most widths by which one ampere of each bend moves any port.
    reach: Vec<f64>,
    /// Volts at the leads a width, by the conductance that holds each junction.
    held: Vec<f64>,
    /// One row a stencil: the widths that one ampere along it takes from each port.
    forward: Vec<f64>,
    /// One row a stencil: the volts that one ampere of each bend takes from between its two ends.
    backward: Vec<f64>,
    /// One a stencil: the most widths by which one ampere moves any port.
    furthest: Vec<f64>,
    /// One a stencil: sum over the bends of the volts between its ends times `grown`.
    touched: Vec<f64>,
    /// Sums over the bends of `lead` and `reach` times `grown`.
    all_leads: f64,
    all_reach: f64,
    /// One a flow: its place in a row, or beyond it.
    rank: Vec<usize>,
}

/// What the flows beyond their tangents do, added up over ports.
#[derive(Clone, Copy, Debug)]
struct Beyond<const M: usize> {
    /// Taken from the reading, in volts.
    lead: f64,
    /// Most widths by which they move any port.
    reach: f64,
    /// The same two for a change of one width everywhere.
    lead_slope: f64,
    reach_slope: f64,
    /// By the conductance that holds the junctions.
    held: f64,
    /// Taken from the voltage of each piece, and this for a change of one width everywhere.
    at: [f64; M],
    at_slope: [f64; M],
}

/// The pieces of a fault, as currents in the linearised circuit.
struct Currents<const M: usize> {
    amps: [f64; M],
    /// `response[j][i]`: amperes of piece j by one volt more at piece i.
    response: [[f64; M]; M],
    rest: [AtRest; M],
    /// How far each one's voltage has moved.
    moved: [f64; M],
}

impl Tangents {
    /// Works out the rows of all stencils.
    pub fn new(layout: &Layout, point: &Point) -> Self {
        let bends = &point.bends;
        let row = bends.len().next_multiple_of(LANES);
        let stencils = layout.stencils.len();
        let pad = |list: Vec<f64>| {
            let mut list = list;
            list.resize(row, 0.0);
            list
        };
        let mut forward = vec![0.0; stencils * row];
        let mut furthest = Vec::with_capacity(stencils);
        for (s, row) in forward.chunks_exact_mut(row.max(1)).enumerate() {
            let column = point.column(s);
            let mut most = 0.0_f64;
            for (entry, bend) in row.iter_mut().zip(bends) {
                let volts = column[bend.from as usize] - column[bend.to as usize];
                *entry = volts * bend.over_width;
                most = most.max(entry.abs());
            }
            for &odd in &point.odd {
                let flow = point.flow(layout, odd as usize);
                let volts = column[flow.from as usize] - column[flow.to as usize];
                most = most.max(volts.abs() / WIDTH);
            }
            furthest.push(most);
        }
        furthest.resize(stencils, 0.0);
        let mut backward = vec![0.0; stencils * row];
        let ends: Vec<[usize; 2]> = (0..stencils)
            .map(|s| {
                let [(a, _), (b, _), _] = point.stencil(layout, s);
                [a as usize, b as usize]
            })
            .collect();
        // A few bends at a time, so that their columns stay near while all rows are gone through.
        for (block, some) in bends.chunks(2 * LANES).enumerate() {
            let columns: Vec<&[f64]> = some
                .iter()
                .map(|b| point.column(layout.flows[b.flow as usize].stencil))
                .collect();
            for (s, [from, to]) in ends.iter().enumerate() {
                let row = &mut backward[s * row + block * 2 * LANES..];
                for (entry, column) in row.iter_mut().zip(&columns) {
                    *entry = column[*from] - column[*to];
                }
            }
        }
        let grown = pad(bends.iter().map(|b| b.grown).collect());
        let stencil_of = |flow: u32| layout.flows[flow as usize].stencil;
        let lead = pad(bends
            .iter()
            .map(|b| point.at_leads[stencil_of(b.flow)])
            .collect());
        let reach = pad(bends.iter().map(|b| furthest[stencil_of(b.flow)]).collect());
        let held = pad(bends
            .iter()
            .map(|b| {
                let port = layout.flows[b.flow as usize].port;
                HELD * point.at_leads[port].abs() / b.over_width
            })
            .collect());
        let dot = |a: &[f64]| a.iter().zip(&grown).map(|(a, g)| a.abs() * g).sum::<f64>();
        let touched = if row == 0 {
            vec![0.0; stencils]
        } else {
            backward.chunks_exact(row).map(dot).collect()
        };
        let mut rank = vec![usize::MAX; layout.flows.len()];
        for (k, bend) in bends.iter().enumerate() {
            rank[bend.flow as usize] = k;
        }
        Self {
            row,
            all_leads: dot(&lead),
            all_reach: dot(&reach),
            grown,
            lead,
            reach,
            held,
            forward,
            backward,
            furthest,
            touched,
            rank,
        }
    }

    /// Volts between the leads with `pieces`, where the bound on what is left out is no larger than
    /// `allowed` volts.
    pub fn answer(
        &mut self,
        layout: &Layout,
        point: &Point,
        pieces: &[Piece],
        allowed: f64,
    ) -> Option<f64> {
        match pieces.len() {
            1 => self.with::<1>(layout, point, pieces, allowed),
            2 => self.with::<2>(layout, point, pieces, allowed),
            3 => self.with::<3>(layout, point, pieces, allowed),
            4 => self.with::<4>(layout, point, pieces, allowed),
            _ => None,
        }
    }

    fn with<const M: usize>(
        &mut self,
        layout: &Layout,
        point: &Point,
        pieces: &[Piece],
        allowed: f64,
    ) -> Option<f64> {
        let currents = Currents::<M>::new(point, pieces)?;
        let gone = || {
            let replaced = pieces.iter().filter_map(|p| p.instead_of);
            replaced.filter_map(|f| (self.rank[f] != usize::MAX).then_some(self.rank[f]))
        };
        let kept: Vec<(usize, f64)> = gone().map(|k| (k, self.grown[k])).collect();
        for (k, _) in &kept {
            self.grown[*k] = 0.0;
        }
        let mut beyond = self.bends(pieces, &currents.amps);
        for (k, grown) in kept {
            self.grown[k] = grown;
        }
        self.odd(layout, point, pieces, &currents, &mut beyond);
        self.bent_pieces(point, pieces, &currents, &mut beyond);
        let (volts, left) = self.bounded(point, pieces, &currents, &beyond)?;
        (left <= allowed && same_side(point, volts)).then_some(volts)
    }

    /// All exponentials that the fault leaves in place.
    fn bends<const M: usize>(&self, pieces: &[Piece], amps: &[f64; M]) -> Beyond<M> {
        let forward: [&[f64]; M] =
            std::array::from_fn(|j| &self.forward[pieces[j].flow.stencil * self.row..][..self.row]);
        let backward: [&[f64]; M] =
            std::array::from_fn(|j| &self.backward[pieces[j].flow.port * self.row..][..self.row]);
        let mut lead = [0.0; LANES];
        let mut reach = [0.0; LANES];
        let mut lead_slope = [0.0; LANES];
        let mut reach_slope = [0.0; LANES];
        let mut held = [0.0; LANES];
        let mut at = [[0.0; LANES]; M];
        let mut at_slope = [[0.0; LANES]; M];
        for first in (0..self.row).step_by(LANES) {
            let four = |list: &[f64]| -> [f64; LANES] {
                list[first..first + LANES]
                    .try_into()
                    .expect("rows are whole lanes")
            };
            let mut d = [0.0; LANES];
            for (row, amps) in forward.iter().zip(amps) {
                let row = four(row);
                for l in 0..LANES {
                    d[l] -= amps * row[l];
                }
            }
            let grown = four(&self.grown);
            let mut over = [0.0; LANES];
            let mut near = true;
            for l in 0..LANES {
                let d = d[l];
                near &= d.abs() <= SERIES;
                let tail = 1.0 + d / 5.0 * (1.0 + d / 6.0 * (1.0 + d / 7.0));
                over[l] = 0.5 * d * d * (1.0 + d / 3.0 * (1.0 + d / 4.0 * tail));
            }
            if !near {
                for l in 0..LANES {
                    if d[l].abs() > SERIES {
                        over[l] = if grown[l] > 0.0 {
                            d[l].exp() - 1.0 - d[l]
                        } else {
                            0.0
                        };
                    }
                }
            }
            let (by_lead, by_reach, by_held) =
                (four(&self.lead), four(&self.reach), four(&self.held));
            let mut r = [0.0; LANES];
            let mut x = [0.0; LANES];
            for l in 0..LANES {
                r[l] = grown[l] * over[l];
                x[l] = (grown[l] * (d[l] + over[l])).abs();
                lead[l] += by_lead[l] * r[l];
                reach[l] += by_reach[l] * r[l];
                lead_slope[l] += by_lead[l].abs() * x[l];
                reach_slope[l] += by_reach[l] * x[l];
                held[l] += by_held[l] * d[l].abs();
            }
            for j in 0..M {
                let row = four(backward[j]);
                for l in 0..LANES {
                    at[j][l] += row[l] * r[l];
                    at_slope[j][l] += row[l].abs() * x[l];
                }
            }
        }
        let sum = |lanes: [f64; LANES]| lanes.iter().sum::<f64>();
        Beyond {
            lead: sum(lead),
            reach: sum(reach),
            lead_slope: sum(lead_slope),
            reach_slope: sum(reach_slope),
            held: sum(held),
            at: at.map(sum),
            at_slope: at_slope.map(sum),
        }
    }

    /// All other flows that the fault leaves in place, except the meter's.
    fn odd<const M: usize>(
        &self,
        layout: &Layout,
        point: &Point,
        pieces: &[Piece],
        currents: &Currents<M>,
        beyond: &mut Beyond<M>,
    ) {
        for &odd in &point.odd {
            let index = odd as usize;
            if index == 0 || pieces.iter().any(|p| p.instead_of == Some(index)) {
                continue;
            }
            let flow = point.flow(layout, index);
            let moved = moved(point, flow, pieces, &currents.amps);
            let rest = point.rest[index];
            let (i, g) = flow.curve.at(rest.u + moved);
            let amps = i - rest.i - rest.g * moved;
            let steepest = g.abs().max(rest.g.abs());
            let held = HELD * point.at_leads[flow.port].abs() * moved.abs();
            self.add(point, pieces, flow, (amps, g - rest.g, steepest), beyond);
            beyond.held += held;
        }
    }

    /// What the fault's own currents do beyond their tangents.
    fn bent_pieces<const M: usize>(
        &self,
        point: &Point,
        pieces: &[Piece],
        currents: &Currents<M>,
        beyond: &mut Beyond<M>,
    ) {
        for (j, piece) in pieces.iter().enumerate() {
            if piece.flow.curve.is_straight() {
                continue;
            }
            let rest = currents.rest[j];
            let (i0, g0) = piece.flow.curve.at(rest.u);
            let v = currents.moved[j];
            let (i, g) = piece.flow.curve.at(rest.u + v);
            let steepest = g.abs().max(g0.abs());
            let bent = (i - i0 - g0 * v, g - g0, steepest);
            self.add(point, pieces, &piece.flow, bent, beyond);
        }
    }

    /// Adds one flow by what it carries beyond its tangent, how much steeper it has become, and how
    /// steep it is at most.
    fn add<const M: usize>(
        &self,
        point: &Point,
        pieces: &[Piece],
        flow: &Flow,
        (amps, steeper, steepest): (f64, f64, f64),
        beyond: &mut Beyond<M>,
    ) {
        let lead = point.at_leads[flow.stencil];
        let reach = self.furthest[flow.stencil];
        // Its steepness is not in the sums over all bends, so it counts here, a hundredth of a width off.
        let x = (steeper.abs() + 0.01 * steepest) * WIDTH;
        beyond.lead += lead * amps;
        beyond.reach += reach * amps.abs();
        beyond.lead_slope += lead.abs() * x;
        beyond.reach_slope += reach * x;
        let column = point.column(flow.stencil);
        for (j, piece) in pieces.iter().enumerate() {
            let volts = column[piece.flow.from as usize] - column[piece.flow.to as usize];
            beyond.at[j] += volts * amps;
            beyond.at_slope[j] += volts.abs() * x;
        }
    }

    /// The answer, and a bound on what is left out of it; `None` where there is no bound.
    fn bounded<const M: usize>(
        &self,
        point: &Point,
        pieces: &[Piece],
        currents: &Currents<M>,
        beyond: &Beyond<M>,
    ) -> Option<(f64, f64)> {
        let mut volts = point.volts - beyond.lead;
        let mut moves = beyond.reach;
        let mut left = beyond.held;
        let (mut lead_slope, mut reach_slope) = (beyond.lead_slope, beyond.reach_slope);
        let (mut all_leads, mut all_reach) = (self.all_leads, self.all_reach);
        let [red, black] = [point.leads.0, point.leads.1].map(|i| i as usize);
        for (j, piece) in pieces.iter().enumerate() {
            let stencil = piece.flow.stencil;
            let mut more = 0.0;
            for (response, at) in currents.response[j].iter().zip(&beyond.at) {
                more -= response * at;
            }
            volts -= point.at_leads[stencil] * (currents.amps[j] + more);
            moves += self.furthest[stencil] * more.abs();
            let column = point.column(stencil);
            left += ROUNDING * currents.amps[j].abs() * (column[red].abs() + column[black].abs());
        }
        for (i, piece) in pieces.iter().enumerate() {
            let (mut by_lead, mut by_reach) = (0.0, 0.0);
            for (other, response) in pieces.iter().zip(&currents.response) {
                let stencil = other.flow.stencil;
                by_lead += point.at_leads[stencil].abs() * response[i].abs();
                by_reach += self.furthest[stencil] * response[i].abs();
            }
            lead_slope += by_lead * beyond.at_slope[i];
            reach_slope += by_reach * beyond.at_slope[i];
            all_leads += by_lead * self.touched[piece.flow.port];
            all_reach += by_reach * self.touched[piece.flow.port];
            let [from, to] = [piece.flow.from, piece.flow.to].map(|i| i as usize);
            for (other, amps) in pieces.iter().zip(&currents.amps) {
                let column = point.column(other.flow.stencil);
                let size = column[from].abs() + column[to].abs();
                left += by_lead * ROUNDING * amps.abs() * size;
            }
        }
        // The ports move on by no more than `moves` widths and what these moves bring in turn: with
        // half of it or less each time, twice as much in all. A slope grows by exp(off) - 1 < 1.1 off.
        let off = 2.0 * moves;
        let shrinks = reach_slope + 1.1 * off * (all_reach + reach_slope);
        left += off * (lead_slope + 1.1 * off * (all_leads + lead_slope));
        let bound = shrinks <= SHRINKS && off <= 0.01;
        bound.then_some((volts, left))
    }
}

/// Whether the meter's lead stays on its side of the kink, with some room.
fn same_side(point: &Point, volts: f64) -> bool {
    let Curve::OnePort(_) = point.meter.curve else {
        return true;
    };
    let g = point.meter.curve.at(point.volts).1;
    [volts - KINK, volts + KINK]
        .iter()
        .all(|u| point.meter.curve.at(*u).1 == g)
}

/// How far the fault's currents move the voltage that a flow sees.
fn moved<const M: usize>(point: &Point, flow: &Flow, pieces: &[Piece], amps: &[f64; M]) -> f64 {
    let mut moved = 0.0;
    for (piece, amps) in pieces.iter().zip(amps) {
        let column = point.column(piece.flow.stencil);
        moved -= amps * (column[flow.from as usize] - column[flow.to as usize]);
    }
    moved
}

impl<const M: usize> Currents<M> {
    /// All pieces on their own tangents at the healthy voltages; `None` if these have no solution.
    fn new(point: &Point, pieces: &[Piece]) -> Option<Self> {
        let rest: [AtRest; M] = std::array::from_fn(|j| match pieces[j].instead_of {
            Some(index) => point.rest[index],
            None => AtRest {
                u: point.difference(&pieces[j].flow),
                i: 0.0,
                g: 0.0,
            },
        });
        let mut excess = [0.0; M];
        let mut slope = [0.0; M];
        let mut matrix = [[0.0; M]; M];
        for (j, piece) in pieces.iter().enumerate() {
            let (i, g) = piece.flow.curve.at(rest[j].u);
            excess[j] = i - rest[j].i;
            slope[j] = g - rest[j].g;
            for (k, other) in pieces.iter().enumerate() {
                let column = point.column(other.flow.stencil);
                let volts = column[piece.flow.from as usize] - column[piece.flow.to as usize];
                matrix[j][k] = slope[j] * volts + f64::from(u8::from(j == k));
            }
        }
        let solved = |mut right: [f64; M]| {
            if M == 1 {
                right[0] /= matrix[0][0];
                return right[0].is_finite().then_some(right);
            }
            let mut matrix = matrix;
            eliminate(matrix.as_flattened_mut(), &mut right, M).then_some(right)
        };
        let amps = solved(excess)?;
        let mut response = [[0.0; M]; M];
        for i in 0..M {
            let mut right = [0.0; M];
            right[i] = slope[i];
            let column = solved(right)?;
            for j in 0..M {
                response[j][i] = column[j];
            }
        }
        let moved = std::array::from_fn(|j| moved(point, &pieces[j].flow, pieces, &amps));
        Some(Self {
            amps,
            response,
            rest,
            moved,
        })
    }
}
