//! A fault solved by the few currents that bend: all others stay on their healthy tangents.

use solve::{Pattern, System};

use super::balance::Sums;
use super::change::Piece;
use super::dense::eliminate;
use super::layout::{Flow, Layout};
use super::nearness::Nearness;
use super::point::{AtRest, Point};
use crate::adapter::Adapter;

/// Most currents that are followed off their tangents before the whole circuit is solved: beyond
/// about so many its few sparse steps cost less, on boards of 60 to 1000 parts.
const MOST: usize = 14;
/// Rounds of widening the set and of correcting for the soft rest.
const ROUNDS: usize = 32;
/// Newton steps within one round.
const STEPS: usize = 60;
/// Last step in volts that is enough while the set may still widen.
const ROUGH: f64 = 2e-3;
/// A flow whose slope changes by more than this share of what opposes it is followed; below it
/// each correction leaves at most this share of the error.
const SOFT: f64 = 0.04;
/// So many corrections, and each must be less than this share of the one before, or the whole circuit
/// is solved: it takes a few steps from where these leave off.
const PATIENCE: usize = 1;
const SLOW: f64 = 0.2;
/// Current in amperes that no reading shows: a tenth of what the solver leaves unbalanced.
const UNSEEN: f64 = 1e-14;
/// Volts beyond which a step is no start for another method.
const FAR: f64 = 50.0;
/// Numbers that are gone through in a row in the time of one place of the factors: with fewer of them the known columns
/// are added up instead of solving anew; chosen by measurement on boards of 60 to 1000 parts.
const IN_ROW: usize = 2;
/// Times that what does not balance is put right before it is given up.
const REPAIRS: usize = 3;

/// A flow that is followed off its tangent.
#[derive(Clone, Copy, Debug)]
struct Member {
    flow: Flow,
    /// The tangent that the linearised circuit holds in its place.
    rest: AtRest,
    /// Where it was linearised last, as a change from `rest`.
    point: f64,
    /// Slope beyond the tangent there.
    slope: f64,
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
    /// What the soft flows take from the unknowns, and what repairs take.
    shift: Vec<f64>,
    repair: Vec<f64>,
    soft: Vec<(u32, f64)>,
    residual: Vec<f64>,
    scratch: Vec<f64>,
    sums: Sums,
    /// Whether `step` is a solution of the currents followed so far.
    found: bool,
}

impl Room {
    /// Volts between the leads with `pieces`; `None` if it does not settle within its means.
    pub fn solve(
        &mut self,
        layout: &Layout,
        point: &Point,
        pattern: &Pattern,
        system: &System<Adapter>,
        pieces: &[Piece],
        near: &Nearness,
    ) -> Option<f64> {
        self.begin(layout, point, pieces);
        let mut shifted = false;
        let mut corrections = 0;
        let mut repairs = 0;
        let mut close = ROUGH.max(near.fine);
        let mut before = f64::INFINITY;
        self.found = false;
        for _ in 0..ROUNDS {
            let moved = self.settle(close)?;
            self.spread(point, shifted);
            self.found = true;
            match self.look(layout, point) {
                Look::Widened => continue,
                Look::Full => return None,
                Look::Narrow => {}
            }
            close = near.fine;
            if moved > near.fine {
                continue;
            }
            let most = self.soften(layout, point, pattern, shifted);
            if most > near.settled {
                // What opposed the soft flows in the healthy circuit may be what the fault took away.
                if corrections >= PATIENCE && most > SLOW * before {
                    return None;
                }
                before = most;
                shifted = true;
                corrections += 1;
                continue;
            }
            let [red, black] = [point.leads.0, point.leads.1].map(|i| i as usize);
            let volts = point.volts + self.step[red] - self.step[black];
            self.sums.add_up(layout, point, system, pieces, &self.step);
            if self.sums.balance(near.relative) {
                return Some(volts);
            }
            if repairs == REPAIRS {
                return None;
            }
            repairs += 1;
            shifted = true;
            self.repair(point, pattern);
        }
        None
    }

    /// How far the unknowns have moved in the solution last found.
    pub fn step(&self) -> &[f64] {
        &self.step
    }

    /// The same where the last fault was given up, as far as it was followed.
    pub fn approach(&self) -> Option<&[f64]> {
        let sound = self.found && self.step.iter().all(|s| s.abs() < FAR);
        sound.then_some(&self.step)
    }

    /// Starts with the fault's own currents.
    fn begin(&mut self, layout: &Layout, point: &Point, pieces: &[Piece]) {
        let n = point.x.len();
        self.members.clear();
        self.followed.clear();
        self.followed.resize(layout.flows.len(), false);
        self.coupling.resize(MOST * MOST, 0.0);
        self.step.resize(n, 0.0);
        for list in [&mut self.shift, &mut self.repair] {
            list.clear();
            list.resize(n, 0.0);
        }
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
    }

    /// Adds a member and its couplings.
    fn join(&mut self, point: &Point, flow: Flow, rest: AtRest) {
        let j = self.members.len();
        let own = point.column(flow.stencil);
        for k in 0..j {
            let other = &self.members[k].flow;
            self.coupling[k * MOST + j] = own[other.from as usize] - own[other.to as usize];
            let column = point.column(other.stencil);
            self.coupling[j * MOST + k] = column[flow.from as usize] - column[flow.to as usize];
        }
        self.coupling[j * MOST + j] = own[flow.from as usize] - own[flow.to as usize];
        self.members.push(Member {
            flow,
            rest,
            point: 0.0,
            slope: 0.0,
            beyond: 0.0,
        });
    }

    /// Newton's method on the members alone until a step is no longer than `close` volts; the last
    /// step, or `None` if it does not settle.
    fn settle(&mut self, close: f64) -> Option<f64> {
        let m = self.members.len();
        self.matrix.resize(m * m, 0.0);
        self.right.resize(m, 0.0);
        for _ in 0..STEPS {
            // The unknowns are the currents: the voltage across a stiff member is a small difference
            // of large ones, and its current would drown in their rounding.
            for (j, row) in self.matrix.chunks_exact_mut(m).enumerate() {
                let member = &mut self.members[j];
                let (beyond, slope) = member.beyond_at(member.point);
                member.slope = slope;
                let shift = &self.shift;
                let shift = shift[member.flow.from as usize] - shift[member.flow.to as usize];
                self.right[j] = beyond - slope * (member.point + shift);
                for (entry, coupling) in row.iter_mut().zip(&self.coupling[j * MOST..][..m]) {
                    *entry = slope * coupling;
                }
                row[j] += 1.0;
            }
            if !eliminate(&mut self.matrix, &mut self.right, m) {
                return None;
            }
            let mut last = 0.0_f64;
            for (j, member) in self.members.iter_mut().enumerate() {
                let shift = &self.shift;
                let mut proposed =
                    shift[member.flow.to as usize] - shift[member.flow.from as usize];
                for (coupling, amps) in self.coupling[j * MOST..][..m].iter().zip(&self.right) {
                    proposed -= coupling * amps;
                }
                let rest = member.rest.u;
                let allowed = member
                    .flow
                    .curve
                    .limit(rest + proposed, rest + member.point)
                    - rest;
                let limited = (allowed - proposed).abs() > 1e-12 * (1.0 + proposed.abs());
                let moved = (allowed - member.point).abs();
                if limited {
                    last = f64::INFINITY;
                } else if !member.flow.curve.is_straight() {
                    last = last.max(moved);
                }
                member.beyond = self.right[j];
                member.point = if limited { allowed } else { proposed };
            }
            if last <= close {
                let sound = self.members.iter().all(|m| m.beyond.is_finite());
                return sound.then_some(last);
            }
        }
        None
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

    /// Looks at all flows that are not followed: which must be, and what the others carry beyond
    /// their tangents.
    fn look(&mut self, layout: &Layout, point: &Point) -> Look {
        self.soft.clear();
        let before = self.members.len();
        for bend in &point.bends {
            let d = (self.step[bend.from as usize] - self.step[bend.to as usize]) * bend.over_width;
            if d < 1.0 && d * d * bend.grown <= UNSEEN {
                continue;
            }
            let index = bend.flow as usize;
            if self.followed[index] {
                continue;
            }
            let (less_one, beyond) = beyond_line(d);
            let beyond = bend.grown * beyond;
            if d >= 1.0 && beyond <= UNSEEN {
                continue;
            }
            if bend.own_share * less_one.abs() > SOFT || !beyond.is_finite() {
                if self.members.len() == MOST {
                    return Look::Full;
                }
                self.followed[index] = true;
                self.join(point, layout.flows[index], point.rest[index]);
            } else {
                self.soft.push((bend.flow, beyond));
            }
        }
        for &odd in &point.odd {
            let index = odd as usize;
            if self.followed[index] {
                continue;
            }
            let flow = point.flow(layout, index);
            let moved = self.step[flow.from as usize] - self.step[flow.to as usize];
            let rest = point.rest[index];
            let (i, g) = flow.curve.at(rest.u + moved);
            let beyond = i - rest.i - rest.g * moved;
            if beyond.abs() <= UNSEEN {
                continue;
            }
            if point.own[index] * (g - rest.g).abs() > SOFT || !beyond.is_finite() {
                if self.members.len() == MOST {
                    return Look::Full;
                }
                self.followed[index] = true;
                self.join(point, *flow, rest);
            } else {
                self.soft.push((odd, beyond));
            }
        }
        if self.members.len() > before {
            Look::Widened
        } else {
            Look::Narrow
        }
    }

    /// Works out what the soft flows do beyond their tangents; returns by how many volts, at the
    /// leads, a member or a soft flow, this is more than what was allowed for before.
    fn soften(&mut self, layout: &Layout, point: &Point, pattern: &Pattern, shifted: bool) -> f64 {
        if self.soft.is_empty() && !shifted {
            return 0.0;
        }
        let unknowns = point.x.len();
        self.residual.clear();
        self.residual.resize(unknowns, 0.0);
        let in_columns = self.soft.len() * unknowns <= IN_ROW * pattern.len();
        for &(index, beyond) in &self.soft {
            let stencil = point.flow(layout, index as usize).stencil;
            if in_columns {
                for (r, c) in self.residual.iter_mut().zip(point.column(stencil)) {
                    *r += beyond * c;
                }
                continue;
            }
            for (unknown, share) in point.stencil(layout, stencil) {
                self.residual[unknown as usize] += share * beyond;
            }
        }
        if !in_columns {
            point
                .factors
                .solve(pattern, &mut self.residual, &mut self.scratch);
        }
        for (new, repair) in self.residual.iter_mut().zip(&self.repair) {
            *new += repair;
        }
        let change = |from: u32, to: u32| {
            let at = |i: u32| self.residual[i as usize] - self.shift[i as usize];
            (at(from) - at(to)).abs()
        };
        let mut most = change(point.leads.0, point.leads.1);
        for member in &self.members {
            most = most.max(change(member.flow.from, member.flow.to));
        }
        for &(index, _) in &self.soft {
            let flow = point.flow(layout, index as usize);
            most = most.max(change(flow.from, flow.to));
        }
        std::mem::swap(&mut self.shift, &mut self.residual);
        most
    }

    /// Puts right what does not balance, by the healthy tangents.
    fn repair(&mut self, point: &Point, pattern: &Pattern) {
        self.residual.clone_from(&self.sums.left);
        point
            .factors
            .solve(pattern, &mut self.residual, &mut self.scratch);
        for (k, more) in self.residual.iter().enumerate() {
            self.repair[k] += more;
            self.shift[k] += more;
        }
    }
}

/// What looking at the flows showed.
enum Look {
    /// More have to be followed.
    Widened,
    /// More would have to be followed than there is room for.
    Full,
    /// All others are soft.
    Narrow,
}

impl Member {
    /// Current beyond the tangent, and its slope, when the voltage has moved by `v`.
    fn beyond_at(&self, v: f64) -> (f64, f64) {
        let (i, g) = self.flow.curve.at(self.rest.u + v);
        (i - self.rest.i - self.rest.g * v, g - self.rest.g)
    }
}

/// exp(d) - 1 and exp(d) - 1 - d.
fn beyond_line(d: f64) -> (f64, f64) {
    if d.abs() < 0.3 {
        // To d^9, a part in 1e11 of the square.
        let end = 1.0 + d * (1.0 / 7.0) * (1.0 + d * (1.0 / 8.0) * (1.0 + d * (1.0 / 9.0)));
        let tail = 1.0 + d * (1.0 / 5.0) * (1.0 + d * (1.0 / 6.0) * end);
        let beyond = 0.5 * d * d * (1.0 + d * (1.0 / 3.0) * (1.0 + d * (1.0 / 4.0) * tail));
        (d + beyond, beyond)
    } else {
        let less_one = d.exp() - 1.0;
        (less_one, less_one - d)
    }
}
