//! A meter on two nodes of a board.

use circuit::laws::Lead;
use circuit::meter::{Choice, Function, Setup};
use circuit::{Branch, Node};
use solve::Workspace;

use crate::assembly::{Assembly, MeterTerms};
use crate::board::{Board, Refusal, settle};

/// What is asked of a probe: a function of a meter, with its ranges.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Function.
    pub function: Function,
    /// Ranges in the instrument's order.
    pub setups: Vec<Setup>,
    /// How a range is chosen.
    pub choice: Choice,
}

impl Question {
    /// The largest reading that the meter shows, in ohms or volts, where `chosen` is the range that it
    /// reads on; infinite where it never goes over range.
    pub fn border(&self, chosen: &Setup) -> f64 {
        let setup = match self.choice {
            Choice::First => self.setups.last().unwrap_or(chosen),
            Choice::NearestMiddle => chosen,
        };
        match *setup {
            Setup::CurrentOhms {
                amps,
                limit,
                full_scale,
                ..
            } => full_scale.min(limit / amps),
            Setup::SeriesOhms { full_scale, .. } => full_scale,
            Setup::Diode { limit, .. } => limit,
            Setup::Volts { .. } | Setup::Source { .. } => f64::INFINITY,
        }
    }
}

/// What the meter shows, on which range, and at what voltage between its leads.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// Index into [`Question::setups`]; the last one tried when over range.
    pub range: usize,
    /// Volts from red to black.
    pub volts: f64,
    /// The reading in ohms or volts; `None` is over range.
    pub reading: Option<f64>,
    /// The unknowns of the solution, a start for neighbours.
    pub(crate) x: Vec<f64>,
}

/// Where the search for a reading begins.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Starts<'a> {
    /// Range that is tried first.
    pub guess: usize,
    /// Start for it.
    pub first: &'a [f64],
    /// Better starts where they are known: (range, unknowns).
    pub known: &'a [(usize, Vec<f64>)],
}

impl Starts<'_> {
    /// The start for a range, or `otherwise`.
    fn of<'b>(&'b self, range: usize, otherwise: &'b [f64]) -> &'b [f64] {
        self.known
            .iter()
            .find(|(r, _)| *r == range)
            .map_or(otherwise, |(_, x)| x)
    }
}

/// A reading, or why there is none.
pub type Outcome = Result<Shown, Refusal>;

/// A meter on two nodes; solving again after a change of values is cheap.
#[derive(Clone, Debug)]
pub struct Probe<'a> {
    pub(crate) board: &'a Board,
    pub(crate) red: Node,
    pub(crate) black: Node,
    pub(crate) assembly: Assembly,
    pub(crate) workspace: Workspace,
    pub(crate) flipped: bool,
    solved: Vec<Solved>,
}

/// A solution with nominal parts, from which other ranges and functions may start.
#[derive(Clone, Debug)]
struct Solved {
    flipped: bool,
    setup: Setup,
    x: Vec<f64>,
}

impl Board {
    /// Puts the leads on two nodes.
    pub fn probe(&self, red: Node, black: Node) -> Probe<'_> {
        let values = self.network.population.nominal();
        let assembly = Assembly::new(&self.network, &values, red, black);
        let workspace = Workspace::with_order(&assembly.system, &self.order);
        Probe {
            board: self,
            red,
            black,
            assembly,
            workspace,
            flipped: false,
            solved: Vec::new(),
        }
    }
}

/// The current that a range drives, in amperes; none where a source resistance decides.
fn driven(setup: &Setup) -> Option<f64> {
    match *setup {
        Setup::CurrentOhms { amps, .. } | Setup::Diode { amps, .. } => Some(amps),
        _ => None,
    }
}

/// The terms of a range in the equations.
pub(crate) fn terms(setup: &Setup) -> MeterTerms {
    match *setup {
        Setup::CurrentOhms { amps, limit, .. } | Setup::Diode { amps, limit, .. } => MeterTerms {
            lead: Lead { amps, limit },
            ..MeterTerms::NONE
        },
        Setup::SeriesOhms {
            source,
            open,
            reversed,
            ..
        } => MeterTerms {
            conductance: 1.0 / source,
            volts: if reversed { -open } else { open },
            ..MeterTerms::NONE
        },
        Setup::Volts { ohms, .. } => MeterTerms {
            conductance: 1.0 / ohms,
            ..MeterTerms::NONE
        },
        Setup::Source { volts, ohms } => MeterTerms {
            conductance: 1.0 / ohms,
            volts,
            ..MeterTerms::NONE
        },
    }
}

impl Probe<'_> {
    /// Exchanges the leads or puts them back.
    pub fn flip(&mut self, flipped: bool) {
        self.flipped = flipped;
    }

    /// Puts the red lead on `red` and the black one on `black`, the two nodes of this probe.
    ///
    /// # Panics
    /// If they are other nodes.
    pub fn point(&mut self, red: Node, black: Node) {
        let flipped = (red, black) != (self.red, self.black);
        assert!(
            !flipped || (black, red) == (self.red, self.black),
            "a probe stays on its two nodes"
        );
        self.flipped = flipped;
    }

    /// The nodes under the red and the black lead.
    pub fn leads(&self) -> (Node, Node) {
        if self.flipped {
            (self.black, self.red)
        } else {
            (self.red, self.black)
        }
    }

    /// Keeps solutions with nominal parts: further questions at the same leads start from them.
    pub(crate) fn remember(&mut self, question: &Question, tried: &[Shown]) {
        let flipped = self.flipped;
        self.solved.extend(tried.iter().map(|shown| Solved {
            flipped,
            setup: question.setups[shown.range],
            x: shown.x.clone(),
        }));
    }

    /// For each range the remembered solution with the nearest current, and the range whose
    /// current was driven before.
    pub(crate) fn remembered(
        &self,
        question: &Question,
    ) -> (Vec<(usize, Vec<f64>)>, Option<usize>) {
        let mut known = Vec::new();
        let mut same = None;
        for (range, setup) in question.setups.iter().enumerate() {
            let Some(amps) = driven(setup) else { continue };
            let nearest = self
                .solved
                .iter()
                .filter(|s| s.flipped == self.flipped)
                .filter_map(|s| Some(((driven(&s.setup)? / amps).ln().abs(), s)))
                .min_by(|a, b| a.0.total_cmp(&b.0));
            if let Some((apart, solved)) = nearest {
                known.push((range, solved.x.clone()));
                if apart == 0.0 {
                    same = Some(range);
                }
            }
        }
        (known, same)
    }

    /// Fills in the parameter values of one unit.
    pub fn set_values(&mut self, values: &[f64]) {
        self.assembly.set_values(&self.board.network, values);
    }

    /// Solves with one range connected, from `start`; `values` are those last set.
    pub fn solve(
        &mut self,
        setup: &Setup,
        values: &[f64],
        start: &[f64],
    ) -> Result<Vec<f64>, Refusal> {
        self.assembly.set_meter(terms(setup), self.flipped);
        let (red, black) = self.leads();
        let meter: Vec<Branch> = setup.branches(red, black);
        settle(
            &self.board.network,
            &self.assembly,
            &mut self.workspace,
            values,
            start,
            &meter,
        )
        .map(|(x, _)| x)
    }

    /// Volts from red to black at a solution.
    pub fn volts(&self, x: &[f64]) -> f64 {
        let (red, black) = self.leads();
        let at = |n: Node| {
            let u = self.assembly.unknowns[n as usize];
            x[u.index as usize] + u.offset
        };
        at(red) - at(black)
    }

    /// Node potentials at a solution.
    pub fn potentials(&self, x: &[f64]) -> Vec<f64> {
        self.assembly.potentials(x)
    }

    /// Node potentials of a reading that was taken with this probe.
    pub fn potentials_of(&self, shown: &Shown) -> Vec<f64> {
        self.assembly.potentials(&shown.x)
    }

    /// What the meter shows for one range.
    fn on_range(
        &mut self,
        question: &Question,
        range: usize,
        values: &[f64],
        start: &[f64],
    ) -> Outcome {
        let setup = question.setups[range];
        let x = self.solve(&setup, values, start)?;
        let volts = self.volts(&x);
        Ok(Shown {
            range,
            volts,
            reading: setup.shown(volts),
            x,
        })
    }

    /// Connects one range without solving, for a linearisation at a known solution.
    pub(crate) fn connect(&mut self, setup: &Setup) {
        self.assembly.set_meter(terms(setup), self.flipped);
    }

    /// Takes the reading with parameter `values`, which are filled in here; `start` helps the solver.
    pub fn read(&mut self, question: &Question, values: &[f64], start: &[f64]) -> Outcome {
        let starts = Starts {
            guess: 0,
            first: start,
            known: &[],
        };
        self.read_from(question, values, &starts, &mut Vec::new())
    }

    /// The same; every range that was tried is added to `tried`, the one next below the chosen
    /// included.
    pub(crate) fn read_from(
        &mut self,
        question: &Question,
        values: &[f64],
        starts: &Starts<'_>,
        tried: &mut Vec<Shown>,
    ) -> Outcome {
        self.set_values(values);
        match question.choice {
            Choice::First if rising(&question.setups) => {
                self.first_by_neighbours(question, values, starts, tried)
            }
            _ => self.first_in_order(question, values, starts, tried),
        }
    }

    /// The range as the instrument finds it, or the person: all in their order.
    fn first_in_order(
        &mut self,
        question: &Question,
        values: &[f64],
        starts: &Starts<'_>,
        tried: &mut Vec<Shown>,
    ) -> Outcome {
        let mut near = starts.first.to_vec();
        let mut best: Option<Shown> = None;
        for range in 0..question.setups.len() {
            let shown = self.on_range(question, range, values, starts.of(range, &near))?;
            near.clone_from(&shown.x);
            tried.push(shown.clone());
            match (question.choice, shown.reading) {
                (Choice::First, Some(_)) => return Ok(shown),
                (Choice::First, None) => best = Some(shown),
                (Choice::NearestMiddle, _) => {
                    best = Some(match best {
                        Some(b) if off_middle(question, &b) <= off_middle(question, &shown) => b,
                        _ => shown,
                    });
                }
            }
        }
        Ok(best.expect("a meter function has at least one range"))
    }

    /// The same range as in order, found from a guess: with rising ranges on a circuit without
    /// sources, every range above one that shows a reading shows one, too.
    fn first_by_neighbours(
        &mut self,
        question: &Question,
        values: &[f64],
        starts: &Starts<'_>,
        tried: &mut Vec<Shown>,
    ) -> Outcome {
        let mut range = starts.guess;
        let mut shown = self.on_range(question, range, values, starts.of(range, starts.first))?;
        tried.push(shown.clone());
        let upward = shown.reading.is_none();
        loop {
            let next = match (upward, shown.reading.is_some()) {
                (true, true) => return Ok(shown),
                (true, false) if range + 1 == question.setups.len() => return Ok(shown),
                (true, false) => range + 1,
                (false, _) if range == 0 => return Ok(shown),
                (false, _) => range - 1,
            };
            let other = self.on_range(question, next, values, starts.of(next, &shown.x))?;
            tried.push(other.clone());
            if !upward && other.reading.is_none() {
                return Ok(shown);
            }
            (range, shown) = (next, other);
        }
    }
}

/// Whether each range sends no more current than the one before, up to no less voltage.
///
/// Then a passive circuit that one range can show is shown by all after it: its voltage only
/// falls with the current.
pub(crate) fn rising(setups: &[Setup]) -> bool {
    setups.windows(2).all(|pair| match (pair[0], pair[1]) {
        (
            Setup::CurrentOhms {
                amps,
                limit,
                full_scale,
                ..
            },
            Setup::CurrentOhms {
                amps: next_amps,
                limit: next_limit,
                full_scale: next_full,
                ..
            },
        ) => next_amps <= amps && next_limit >= limit && next_full * next_amps >= full_scale * amps,
        _ => false,
    }) && setups.len() > 1
}

/// Distance of a reading from its range's mid-scale; over range is farthest.
pub(crate) fn off_middle(question: &Question, shown: &Shown) -> f64 {
    shown.reading.map_or(f64::INFINITY, |r| {
        question.setups[shown.range].off_middle(r)
    })
}
