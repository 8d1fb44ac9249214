//! A fault solved by the few currents that bend: all others stay on their healthy tangents.

use solve::{GROUND, System, Workspace};

use super::change::Piece;
use super::curve::Curve;
use super::layout::{Flow, Layout};
use super::point::{AtRest, Point};
use crate::adapter::Adapter;

/// Most currents that are followed off their tangents before the whole circuit is solved anew.
const MOST: usize = 48;
/// Rounds of widening the set and of correcting for the soft rest.
const ROUNDS: usize = 16;
/// Newton steps within one round.
const STEPS: usize = 60;
/// A flow whose slope changes by more than this share of what opposes it is followed; below it
/// each correction leaves at most this share of the error.
const SOFT: f64 = 0.15;
/// Current in amperes that no reading shows: a tenth of what the solver leaves unbalanced.
const UNSEEN: f64 = 1e-14;
/// Imbalance in amperes, and as a fraction of the currents that meet, that is accepted at once: what
/// the solver of the whole circuit accepts.
const TIGHT: (f64, f64) = (1e-13, 2e-9);
/// Imbalance that is accepted where a further correction does not move the reading: the absolute part
/// of the whole circuit's certificate, and a tenth of its relative part.
const LOOSE: (f64, f64) = (1e-12, 1e-7);
/// Volts at the leads that are as good as none: a hundredth of what answers are compared to.
const SETTLED: f64 = 1e-8;

/// A flow that is followed off its tangent.
#[derive(Clone, Copy, Debug)]
struct Member {
    flow: Flow,
    /// The tangent that the linearised circuit holds in its place.
    rest: AtRest,
    /// Where it was linearised last, as a change from `rest`.
    point: f64,
    /// Current beyond the tangent at the solution of the linearised set.
    beyond: f64,
}

/// What is kept between faults to spare allocation.
#[derive(Clone, Debug, Default)]
pub(super) struct Room {
    members: Vec<Member>,
    followed: Vec<bool>,
    /// `coupling[j * MOST + k]`: what one ampere of member k takes from the voltage of member j.
    coupling: Vec<f64>,
    matrix: Vec<f64>,
    right: Vec<f64>,
    step: Vec<f64>,
    shift: Vec<f64>,
    scratch: Vec<f64>,
    residual: Vec<f64>,
    meeting: Vec<f64>,
}

impl Room {
    /// Volts between the leads with `pieces`; `None` if it does not settle within its means.
    pub fn solve(
        &mut self,
        layout: &Layout,
        point: &Point,
        workspace: &Workspace,
        system: &System<Adapter>,
        pieces: &[Piece],
    ) -> Option<f64> {
        let n = point.x.len();
        self.members.clear();
        self.followed.clear();
        self.followed.resize(layout.flows.len(), false);
        self.coupling.resize(MOST * MOST, 0.0);
        self.shift.clear();
        self.shift.resize(n, 0.0);
        self.step.resize(n, 0.0);
        for piece in pieces {
            let rest = match piece.instead_of {
                Some(index) => {
                    self.followed[index] = true;
                    point.rest[index]
                }
                None => AtRest {
                    u: point.difference(&piece.flow),
                    i: 0.0,
                    g: 0.0,
                },
            };
            self.join(point, piece.flow, rest);
        }
        let mut last = f64::INFINITY;
        for round in 0..ROUNDS {
            if !self.settle() {
                return None;
            }
            self.spread(point, round > 0);
            let [red, black] = [point.leads.0, point.leads.1].map(|i| i as usize);
            let volts = point.volts + self.step[red] - self.step[black];
            let look = self.look(layout, point, system);
            match look {
                Look::Widened => {}
                Look::Full => {
                    return None;
                }
                Look::Balanced => return Some(volts),
                Look::Nearly if (volts - last).abs() <= SETTLED => return Some(volts),
                Look::Nearly | Look::Unbalanced => {
                    last = volts;
                    workspace.factors().solve(
                        workspace.pattern(),
                        &mut self.residual,
                        &mut self.scratch,
                    );
                    for (shift, more) in self.shift.iter_mut().zip(&self.residual) {
                        *shift += more;
                    }
                }
            }
        }
        None
    }

    /// Adds a member and its couplings.
    fn join(&mut self, point: &Point, flow: Flow, rest: AtRest) {
        let j = self.members.len();
        let own = point.column(flow.stencil);
        for k in 0..j {
            let other = self.members[k].flow;
            self.coupling[k * MOST + j] = own[other.from as usize] - own[other.to as usize];
            let column = point.column(other.stencil);
            self.coupling[j * MOST + k] = column[flow.from as usize] - column[flow.to as usize];
        }
        self.coupling[j * MOST + j] = own[flow.from as usize] - own[flow.to as usize];
        self.members.push(Member {
            flow,
            rest,
            point: 0.0,
            beyond: 0.0,
        });
    }

    /// Newton's method on the members alone; false if it does not settle.
    fn settle(&mut self) -> bool {
        let m = self.members.len();
        for _ in 0..STEPS {
            self.matrix.clear();
            self.matrix.resize(m * m, 0.0);
            self.right.clear();
            self.right.resize(m, 0.0);
            for j in 0..m {
                let flow = &self.members[j].flow;
                self.matrix[j * m + j] = 1.0;
                self.right[j] = -(self.shift[flow.from as usize] - self.shift[flow.to as usize]);
            }
            for k in 0..m {
                let (beyond, slope) = self.members[k].beyond_at(self.members[k].point);
                let constant = beyond - slope * self.members[k].point;
                for j in 0..m {
                    let coupling = self.coupling[j * MOST + k];
                    self.matrix[j * m + k] += coupling * slope;
                    self.right[j] -= coupling * constant;
                }
            }
            if !eliminate(&mut self.matrix, &mut self.right, m) {
                return false;
            }
            let mut calm = true;
            for (member, &proposed) in self.members.iter_mut().zip(&self.right) {
                let rest = member.rest.u;
                let allowed = member
                    .flow
                    .curve
                    .limit(rest + proposed, rest + member.point)
                    - rest;
                let limited = (allowed - proposed).abs() > 1e-12 * (1.0 + proposed.abs());
                let moved = (allowed - member.point).abs();
                // Newton leaves about the square of the last step over the width of the bend.
                calm &= !limited && moved <= 1e-6 + 1e-9 * allowed.abs();
                // What the linearised set carries at its own solution.
                let (beyond, slope) = member.beyond_at(member.point);
                member.beyond = beyond + slope * (proposed - member.point);
                member.point = if limited { allowed } else { proposed };
            }
            if calm {
                return self.members.iter().all(|m| m.beyond.is_finite());
            }
        }
        false
    }

    /// Adds up what the members' currents do to all unknowns.
    fn spread(&mut self, point: &Point, shifted: bool) {
        if shifted {
            for (s, shift) in self.step.iter_mut().zip(&self.shift) {
                *s = -shift;
            }
        } else {
            self.step.fill(0.0);
        }
        for member in &self.members {
            let amps = member.beyond;
            if amps != 0.0 {
                for (s, c) in self.step.iter_mut().zip(point.column(member.flow.stencil)) {
                    *s -= amps * c;
                }
            }
        }
    }

    /// Adds up all currents of the faulty circuit at what was found, by the laws of its parts, and
    /// follows those flows that bend too far away from their tangents.
    fn look(&mut self, layout: &Layout, point: &Point, system: &System<Adapter>) -> Look {
        let n = point.x.len();
        for list in [&mut self.residual, &mut self.meeting] {
            list.clear();
            list.resize(n, 0.0);
        }
        let before = self.members.len();
        for index in 0..layout.flows.len() {
            if self.followed[index] {
                continue;
            }
            let flow = *point.flow(layout, index);
            let moved = self.step[flow.from as usize] - self.step[flow.to as usize];
            let rest = point.rest[index];
            let (beyond, slope) = beyond(&flow.curve, &rest, point.bend[index], moved);
            let opposed = if slope == 0.0 {
                0.0
            } else if rest.g == 0.0 {
                f64::INFINITY
            } else {
                (point.own_share[index] * slope / rest.g).abs()
            };
            if (opposed > SOFT && beyond.abs() > UNSEEN) || !beyond.is_finite() {
                if self.members.len() == MOST {
                    return Look::Full;
                }
                self.followed[index] = true;
                self.join(point, flow, rest);
            }
            if self.members.len() == before {
                let amps = rest.i + rest.g * moved + beyond;
                self.enter(point, layout, flow.stencil, amps);
            }
        }
        if self.members.len() > before {
            return Look::Widened;
        }
        for k in 0..before {
            let Member { flow, rest, .. } = self.members[k];
            let moved = self.step[flow.from as usize] - self.step[flow.to as usize];
            let (amps, _) = flow.curve.at(rest.u + moved);
            self.enter(point, layout, flow.stencil, amps);
        }
        let at = |step: &[f64], i: u32| {
            if i == GROUND {
                0.0
            } else {
                point.x[i as usize] + step[i as usize]
            }
        };
        for link in &system.links {
            let (a, b) = (at(&self.step, link.from), at(&self.step, link.to));
            let amps = link.g * (a - b + link.bias);
            let size = amps.abs() + 1e8 * f64::EPSILON * link.g * a.abs().max(b.abs());
            self.residual[link.from as usize] += amps;
            self.meeting[link.from as usize] += size;
            if link.to != GROUND {
                self.residual[link.to as usize] -= amps;
                self.meeting[link.to as usize] += size;
            }
        }
        for flow in &system.flows {
            for (unknown, amps) in [(flow.from, flow.amount), (flow.to, -flow.amount)] {
                self.residual[unknown as usize] += amps;
                self.meeting[unknown as usize] += amps.abs();
            }
        }
        let within = |absolute: f64, relative: f64| {
            let mut each = self.residual.iter().zip(&self.meeting);
            each.all(|(r, m)| r.abs() <= absolute + relative * m)
        };
        if within(TIGHT.0, TIGHT.1) {
            Look::Balanced
        } else if within(LOOSE.0, LOOSE.1) {
            Look::Nearly
        } else {
            Look::Unbalanced
        }
    }

    /// Enters a current along a stencil into the balance.
    fn enter(&mut self, point: &Point, layout: &Layout, stencil: usize, amps: f64) {
        for (unknown, share) in point.stencil(layout, stencil) {
            self.residual[unknown as usize] += share * amps;
            self.meeting[unknown as usize] += (share * amps).abs();
        }
    }
}

/// What looking at the flows showed.
enum Look {
    /// More have to be followed.
    Widened,
    /// More would have to be followed than there is room for.
    Full,
    /// All currents balance.
    Balanced,
    /// They balance well enough if the reading stands still.
    Nearly,
    /// They do not yet.
    Unbalanced,
}

/// Current beyond the tangent at `rest`, and its slope, after a move.
fn beyond(curve: &Curve, rest: &AtRest, bend: f64, moved: f64) -> (f64, f64) {
    match curve {
        Curve::Nothing => (0.0, 0.0),
        Curve::Exponential { .. } => {
            let d = moved * bend;
            let grown = rest.g / bend;
            if d < 1.0 && d * d * grown <= UNSEEN {
                return (0.0, 0.0);
            }
            if d.abs() < 1e-3 {
                return (
                    grown * 0.5 * d * d * (1.0 + d / 3.0),
                    rest.g * d * (1.0 + 0.5 * d),
                );
            }
            let less_one = if d.abs() < 0.3 {
                d.exp_m1()
            } else {
                d.exp() - 1.0
            };
            (grown * (less_one - d), rest.g * less_one)
        }
        curve => {
            let (i, g) = curve.at(rest.u + moved);
            (i - rest.i - rest.g * moved, g - rest.g)
        }
    }
}

impl Member {
    /// Current beyond the tangent, and its slope, when the voltage has moved by `v`.
    fn beyond_at(&self, v: f64) -> (f64, f64) {
        let (i, g) = self.flow.curve.at(self.rest.u + v);
        (i - self.rest.i - self.rest.g * v, g - self.rest.g)
    }
}

/// Gaussian elimination with row exchange; `b` becomes the solution. False if a pivot vanishes.
fn eliminate(a: &mut [f64], b: &mut [f64], m: usize) -> bool {
    for k in 0..m {
        let pivot = (k..m)
            .max_by(|i, j| a[i * m + k].abs().total_cmp(&a[j * m + k].abs()))
            .unwrap_or(k);
        if a[pivot * m + k] == 0.0 || !a[pivot * m + k].is_finite() {
            return false;
        }
        if pivot != k {
            for c in k..m {
                a.swap(k * m + c, pivot * m + c);
            }
            b.swap(k, pivot);
        }
        let (upper, lower) = a.split_at_mut((k + 1) * m);
        let row = &upper[k * m..];
        let inverse = 1.0 / row[k];
        for (r, other) in lower.chunks_exact_mut(m).enumerate() {
            let factor = other[k] * inverse;
            if factor != 0.0 {
                for c in k + 1..m {
                    other[c] -= factor * row[c];
                }
                b[k + 1 + r] -= factor * b[k];
            }
        }
    }
    for k in (0..m).rev() {
        let mut sum = b[k];
        for c in k + 1..m {
            sum -= a[k * m + c] * b[c];
        }
        b[k] = sum / a[k * m + k];
    }
    true
}
