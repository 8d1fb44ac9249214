//! Newton's method with limited steps, on a sparse system of flows.

use crate::lu::{Factors, Pattern, Singular};
use crate::system::{Element, GROUND, Law, Response, System, at};

/// When a point counts as a solution, and how long to try.
#[derive(Clone, Copy, Debug)]
pub struct Settings {
    /// Imbalance that is always accepted, in units of flow.
    pub absolute: f64,
    /// Imbalance that is accepted as a fraction of the flows that meet.
    pub relative: f64,
    /// Last step that is accepted, in units of potential.
    pub step: f64,
    /// Iterations before giving up.
    pub iterations: usize,
}

impl Default for Settings {
    fn default() -> Self {
        // Ten times tighter than the certificate's 1e-12; relatively five hundred times tighter than
        // its 1e-6, because an element of two ports may carry a large flow past an unknown where
        // the certificate counts a small one alone. After a last step of 1e-6 the next would be a
        // thousandth of that: Newton converges quadratically that close to a solution.
        Self {
            absolute: 1e-13,
            relative: 2e-9,
            step: 1e-6,
            iterations: 120,
        }
    }
}

/// A point at which the flows balance.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// The potentials.
    pub x: Vec<f64>,
    /// Newton iterations spent.
    pub iterations: usize,
}

/// Everything Newton needs besides the system, kept between solves to spare allocation.
#[derive(Clone, Debug)]
pub struct Workspace {
    pattern: Pattern,
    link_places: Vec<[u32; 4]>,
    element_places: Vec<[[[u32; 4]; 2]; 2]>,
    diagonal: Vec<u32>,
    matrix: Vec<f64>,
    linear: Vec<f64>,
    factors: Factors,
    residual: Vec<f64>,
    meeting: Vec<f64>,
    magnitude: Vec<f64>,
    scratch: Vec<f64>,
    last: Vec<[f64; 2]>,
    responses: Vec<Response>,
    /// Revision of each element whose response is held.
    seen: Vec<u32>,
    stride: f64,
}

/// No element has this revision.
const UNSEEN: u32 = u32::MAX;

/// How far an unknown may move in one iteration.
///
/// Where a loop of high gain or a floating unknown sends Newton far out, it finds back in small
/// steps only. A tenth of the largest constant difference, and at least one: chosen on systems
/// of 60 to 1000 parts, which took 50 to 100 iterations or never settled without it.
fn stride<L>(system: &System<L>) -> f64 {
    let links = system.links.iter().map(|l| l.bias);
    let elements = system.elements.iter().flat_map(|e| e.bias);
    let largest = links.chain(elements).fold(0.0_f64, |m, b| m.max(b.abs()));
    f64::max(10.0, 2.0 * largest)
}

/// Terms that steer a system from an easy one to the wanted one.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Homotopy<'a> {
    /// Factor on all fixed flows and biases.
    pub scale: f64,
    /// Extra conductance from every unknown to its anchor.
    pub leak: f64,
    /// Factor on the extra conductance after each calm iteration; below [`FADED`] it is dropped.
    pub fading: f64,
    /// Where the extra conductances pull to; zero everywhere if absent.
    pub anchor: Option<&'a [f64]>,
}

impl Homotopy<'_> {
    pub(crate) const NONE: Homotopy<'static> = Homotopy {
        scale: 1.0,
        leak: 0.0,
        fading: 1.0,
        anchor: None,
    };
}

/// A step below this, in units of potential, with no element limited, is calm; chosen near two
/// widths of the steepest law met, within which Newton converges by itself.
const CALM: f64 = 0.05;
/// A fading conductance smaller than this is dropped, in units of conductance.
const FADED: f64 = 1e-12;

/// So many iterations in balance are a solution even if the steps stay large: an unknown that
/// hardly anything holds may be anywhere.
const FLAT: usize = 8;

/// Which elements are evaluated when the system is assembled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Evaluate {
    /// To rounding: an old tangent serves within [`SAME`].
    Exactly,
    /// Those that moved beyond [`NEAR`], where their limits allow.
    WhereMoved,
}

/// Within this distance an old tangent is off by (1e-6 / 0.026)^2 / 2 of the flow in the steepest
/// law met, below the relative imbalance that is accepted.
const NEAR: f64 = 1e-6;
/// Within this distance it is off by less than the flow's own rounding.
const SAME: f64 = 5e-10;

/// Whether one tangent serves for two pairs of differences.
fn within(a: [f64; 2], b: [f64; 2], distance: f64) -> bool {
    (a[0] - b[0]).abs() < distance && (a[1] - b[1]).abs() < distance
}

/// Why Newton stopped without a solution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Stopped {
    Singular(Singular),
    NotFinite,
    OutOfIterations { unknown: u32, imbalance: f64 },
}

impl Workspace {
    /// Lays out the places of `system`, finding an elimination order.
    pub fn new<L>(system: &System<L>) -> Self {
        let pairs = system.pairs();
        Self::with_pattern(system, Pattern::new(system.unknowns, &pairs))
    }

    /// The same with a known elimination order, as [`Pattern::with_order`] takes it.
    pub fn with_order<L>(system: &System<L>, order: &[u32]) -> Self {
        let pairs = system.pairs();
        Self::with_pattern(system, Pattern::with_order(order.to_vec(), &pairs))
    }

    fn with_pattern<L>(system: &System<L>, pattern: Pattern) -> Self {
        let n = system.unknowns;
        let place = |row: u32, column: u32| {
            if row == GROUND || column == GROUND {
                // What belongs to the fixed potential is added up in a place that nobody reads.
                pattern.len() as u32
            } else {
                pattern
                    .place(row, column)
                    .expect("the pattern holds every pair of the system")
            }
        };
        let four = |(p, q): (u32, u32), (r, s): (u32, u32)| {
            [place(p, r), place(p, s), place(q, r), place(q, s)]
        };
        let link_places = system
            .links
            .iter()
            .map(|l| four((l.from, l.to), (l.from, l.to)))
            .collect();
        let element_places = system
            .elements
            .iter()
            .map(|e| {
                let port = |j: usize, k: usize| {
                    if j.max(k) < e.port_count as usize {
                        four(e.ports[j], e.ports[k])
                    } else {
                        [pattern.len() as u32; 4]
                    }
                };
                [[port(0, 0), port(0, 1)], [port(1, 0), port(1, 1)]]
            })
            .collect();
        let diagonal = (0..n as u32).map(|i| place(i, i)).collect();
        Self {
            link_places,
            element_places,
            diagonal,
            matrix: vec![0.0; pattern.len() + 1],
            linear: vec![0.0; pattern.len() + 1],
            factors: Factors::default(),
            residual: vec![0.0; n],
            meeting: vec![0.0; n],
            magnitude: vec![0.0; n],
            scratch: Vec::new(),
            last: vec![[0.0; 2]; system.elements.len()],
            responses: vec![Response::default(); system.elements.len()],
            seen: vec![UNSEEN; system.elements.len()],
            stride: stride(system),
            pattern,
        }
    }

    /// The pattern in use.
    pub fn pattern(&self) -> &Pattern {
        &self.pattern
    }

    /// The factors of the last linearisation.
    pub fn factors(&self) -> &Factors {
        &self.factors
    }

    /// Factors the exact linearisation at `x`, for sensitivities and for small changes.
    pub fn linearise<L: Law>(&mut self, system: &System<L>, x: &[f64]) -> Result<(), Singular> {
        self.set_linear(system);
        self.assemble(system, x, Homotopy::NONE, Evaluate::Exactly);
        self.factors
            .factor(&self.pattern, &self.matrix[..self.pattern.len()])
    }

    /// The same with `held` added to every element's own slopes, so that no unknown floats.
    pub fn linearise_held<L: Law>(
        &mut self,
        system: &System<L>,
        x: &[f64],
        held: f64,
    ) -> Result<(), Singular> {
        self.set_linear(system);
        self.assemble(system, x, Homotopy::NONE, Evaluate::Exactly);
        for (element, places) in system.elements.iter().zip(&self.element_places) {
            let ports = places.iter().take(element.port_count as usize);
            for (port, places) in ports.enumerate() {
                add_four(&mut self.matrix, &places[port], held);
            }
        }
        self.factors
            .factor(&self.pattern, &self.matrix[..self.pattern.len()])
    }

    /// Solves with the current factors: `b` becomes `x`.
    pub fn solve(&mut self, b: &mut [f64]) {
        self.factors.solve(&self.pattern, b, &mut self.scratch);
    }

    /// Solves the transposed system with the current factors: `c` becomes `y`.
    pub fn solve_transposed(&mut self, c: &mut [f64]) {
        self.factors
            .solve_transposed(&self.pattern, c, &mut self.scratch);
    }

    fn set_linear<L>(&mut self, system: &System<L>) {
        self.linear.fill(0.0);
        for (link, places) in system.links.iter().zip(&self.link_places) {
            add_four(&mut self.linear, places, link.g);
        }
    }

    /// Fills matrix, imbalance and scales at `x`; true if every element was linearised where it is.
    fn assemble<L: Law>(
        &mut self,
        system: &System<L>,
        x: &[f64],
        homotopy: Homotopy<'_>,
        evaluate: Evaluate,
    ) -> bool {
        self.matrix.copy_from_slice(&self.linear);
        self.residual.fill(0.0);
        self.meeting.fill(0.0);
        self.magnitude.fill(0.0);
        for link in &system.links {
            let (a, b) = (at(x, link.from), at(x, link.to));
            let flow = link.g * (a - b + homotopy.scale * link.bias);
            let rounding = link.g * a.abs().max(b.abs());
            self.push(link.from, flow, rounding);
            self.push(link.to, -flow, rounding);
        }
        for flow in &system.flows {
            let amount = homotopy.scale * flow.amount;
            self.push(flow.from, amount, 0.0);
            self.push(flow.to, -amount, 0.0);
        }
        let mut everywhere = true;
        for (index, element) in system.elements.iter().enumerate() {
            let actual = element.differences(x, homotopy.scale);
            let last = self.last[index];
            let known = self.seen[index] == element.revision;
            let (reach, proposed) = match evaluate {
                Evaluate::Exactly => (SAME, actual),
                Evaluate::WhereMoved if known && within(actual, last, NEAR) => (NEAR, last),
                Evaluate::WhereMoved => (NEAR, element.law.limit(actual, last)),
            };
            let serves = known && (proposed == last || within(actual, last, reach));
            let point = if serves { last } else { proposed };
            if !serves {
                self.responses[index] = element.law.response(point);
                self.seen[index] = element.revision;
            }
            everywhere &= within(actual, point, reach);
            self.last[index] = point;
            let response = self.responses[index];
            self.add_element(
                index,
                element,
                x,
                &response,
                [actual[0] - point[0], actual[1] - point[1]],
            );
        }
        if homotopy.leak != 0.0 {
            for i in 0..x.len() {
                let pull = homotopy.anchor.map_or(0.0, |a| a[i]);
                self.residual[i] += homotopy.leak * (x[i] - pull);
                self.matrix[self.diagonal[i] as usize] += homotopy.leak;
            }
        }
        everywhere
    }

    fn add_element<L>(
        &mut self,
        index: usize,
        element: &Element<L>,
        x: &[f64],
        response: &Response,
        beyond: [f64; 2],
    ) {
        let count = element.port_count as usize;
        for j in 0..count {
            let (from, to) = element.ports[j];
            let mut flow = response.flow[j];
            let mut rounding = 0.0;
            for (k, apart) in beyond.iter().enumerate().take(count) {
                let slope = response.slope[j][k];
                flow += slope * apart;
                let (p, q) = element.ports[k];
                rounding += slope.abs() * at(x, p).abs().max(at(x, q).abs());
                let places = self.element_places[index][j][k];
                add_four(&mut self.matrix, &places, slope);
            }
            self.push(from, flow, rounding);
            self.push(to, -flow, rounding);
        }
    }

    fn push(&mut self, index: u32, flow: f64, rounding: f64) {
        if index != GROUND {
            let i = index as usize;
            self.residual[i] += flow;
            self.meeting[i] += flow.abs();
            self.magnitude[i] += rounding;
        }
    }

    /// The worst unknown and its imbalance over what is allowed there.
    fn worst(&self, settings: &Settings) -> (usize, f64) {
        let mut worst = (0, 0.0);
        for i in 0..self.residual.len() {
            // Four roundings of the largest products that were summed cannot be beaten.
            let allowed = settings.absolute
                + settings.relative * self.meeting[i]
                + 4.0 * f64::EPSILON * self.magnitude[i];
            let ratio = self.residual[i].abs() / allowed;
            if ratio > worst.1 || ratio.is_nan() {
                worst = (i, ratio);
                if ratio.is_nan() {
                    break;
                }
            }
        }
        worst
    }
}

fn add_four(values: &mut [f64], places: &[u32; 4], g: f64) {
    let [pr, ps, qr, qs] = *places;
    values[pr as usize] += g;
    values[ps as usize] -= g;
    values[qr as usize] -= g;
    values[qs as usize] += g;
}

/// Plain Newton from `start`; `None` if it does not settle.
///
/// The workspace holds the linearisation of the last step afterwards.
pub fn newton<L: Law>(
    system: &System<L>,
    workspace: &mut Workspace,
    start: &[f64],
    settings: &Settings,
) -> Option<Solution> {
    iterate(system, workspace, start, settings, Homotopy::NONE).ok()
}

pub(crate) fn iterate<L: Law>(
    system: &System<L>,
    workspace: &mut Workspace,
    start: &[f64],
    settings: &Settings,
    mut homotopy: Homotopy<'_>,
) -> Result<Solution, Stopped> {
    let fading = homotopy.fading < 1.0;
    let from_nothing = start.iter().all(|x| *x == 0.0);
    let stride = workspace.stride;
    let mut x = start.to_vec();
    for (index, element) in system.elements.iter().enumerate() {
        let u = element.differences(&x, homotopy.scale);
        let last = &mut workspace.last[index];
        if from_nothing {
            *last = element.law.initial();
        } else if workspace.seen[index] == element.revision && within(u, *last, NEAR) {
            // What is known of an element that did not change is as good as new.
            continue;
        } else {
            *last = element.law.start(u);
        }
        workspace.seen[index] = UNSEEN;
    }
    workspace.set_linear(system);
    let mut small_step = false;
    let mut balanced = 0;
    let mut step = vec![0.0; x.len()];
    for iteration in 0..settings.iterations {
        let everywhere = workspace.assemble(system, &x, homotopy, Evaluate::WhereMoved);
        let (unknown, ratio) = workspace.worst(settings);
        if ratio.is_nan() {
            return Err(Stopped::NotFinite);
        }
        let whole = !fading || homotopy.leak == 0.0;
        // Old tangents may have served up to here; what is accepted was evaluated where it stands.
        balanced = if whole && everywhere && ratio <= 1.0 {
            balanced + 1
        } else {
            0
        };
        let settled = balanced > 0 && (small_step || balanced >= FLAT);
        let exactly = |workspace: &mut Workspace| {
            workspace.assemble(system, &x, homotopy, Evaluate::Exactly);
            workspace.worst(settings).1 <= 1.0
        };
        // What balances is a solution, even if an unknown that hardly anything holds still wanders.
        let last = iteration + 1 == settings.iterations;
        if (settled || last && whole) && exactly(workspace) {
            return Ok(Solution {
                x,
                iterations: iteration,
            });
        }
        if last {
            return Err(Stopped::OutOfIterations {
                unknown: unknown as u32,
                imbalance: workspace.residual[unknown],
            });
        }
        workspace
            .factors
            .factor(
                &workspace.pattern,
                &workspace.matrix[..workspace.pattern.len()],
            )
            .map_err(Stopped::Singular)?;
        step.copy_from_slice(&workspace.residual);
        workspace
            .factors
            .solve(&workspace.pattern, &mut step, &mut workspace.scratch);
        small_step = true;
        let mut largest = 0.0_f64;
        for (value, change) in x.iter_mut().zip(&step) {
            let change = change.clamp(-stride, stride);
            *value -= change;
            small_step &= change.abs() <= settings.step * (1.0 + value.abs());
            largest = largest.max(change.abs());
        }
        if fading && everywhere && largest < CALM {
            homotopy.leak *= homotopy.fading;
            if homotopy.leak < FADED {
                homotopy.leak = 0.0;
            }
        }
    }
    unreachable!("the loop returns at its last iteration")
}
