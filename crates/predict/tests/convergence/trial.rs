//! A circuit, its faults and the questions asked of it.

use std::panic::{AssertUnwindSafe, catch_unwind};

use circuit::meter::{Function, setups};
use circuit::network::Concrete;
use circuit::{Fault, Network, State};
use predict::{Board, Question, Refusal};
use rand::Rng;
use sheet::Sheet;
use sheet::device::Devices;
use sheet::meter::Meter;

use crate::certificate;
use crate::circuits::{self, Circuit};
use crate::parts;

/// A circuit with faults and pairs of nets to be read.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// Which of the fixed sequence.
    pub number: u64,
    /// The circuit.
    pub circuit: Circuit,
    /// Faults as `--with` has them.
    pub faults: Vec<String>,
    /// Red and black net.
    pub pairs: Vec<(String, String)>,
}

/// What solving took.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Work {
    /// Certified solutions.
    pub solves: usize,
    /// Rung of the ladder that settled the powered board, if it was settled.
    pub rungs: Vec<String>,
}

/// How a trial ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// Every question was answered and certified.
    Solved(Work),
    /// A question was refused, with the reason.
    Refused(String),
    /// A question was refused, and no answer would mean anything.
    Meaningless(String),
    /// A panic, a number that is none, or a solution that does not balance.
    Wrong(String),
}

impl Trial {
    /// The trial of that number; always the same.
    pub fn draw(number: u64) -> Self {
        let mut g = predict::random::stream(0x6b67, number);
        let circuit = circuits::draw(&mut g, number % 2 == 1);
        let sheet = read(&circuit);
        let mut faults = Vec::new();
        for _ in 0..g.random_range(0..=2) {
            let text = if g.random_bool(0.15) {
                let [a, b] = [0, 1].map(|_| g.random_range(0..sheet.nets.len()));
                (a != b).then(|| format!("bridge {} {}", sheet.nets[a].name, sheet.nets[b].name))
            } else {
                let line = &circuit.lines[g.random_range(0..circuit.lines.len())];
                parts::fault(&mut g, line)
            };
            faults.extend(text);
        }
        let pairs = (0..2)
            .map(|_| {
                let [a, b] = [0, 1].map(|_| g.random_range(0..sheet.nets.len()));
                (sheet.nets[a].name.clone(), sheet.nets[b].name.clone())
            })
            .filter(|(a, b)| a != b)
            .collect();
        Self {
            number,
            circuit,
            faults,
            pairs,
        }
    }

    /// The trial for people, as a sheet and what was asked of it.
    pub fn described(&self) -> String {
        let outcome = match self.verdict() {
            Verdict::Solved(_) => "solved".to_owned(),
            Verdict::Refused(why) | Verdict::Meaningless(why) | Verdict::Wrong(why) => why,
        };
        format!(
            "\ncircuit {} of {} parts, faults {:?}, pairs {:?}: {outcome}\n{}",
            self.number,
            self.circuit.lines.len(),
            self.faults,
            self.pairs,
            self.circuit.text()
        )
    }

    /// Solves everything that is asked.
    pub fn verdict(&self) -> Verdict {
        match catch_unwind(AssertUnwindSafe(|| self.solve())) {
            Ok(Ok(work)) => Verdict::Solved(work),
            Ok(Err(Verdict::Refused(why))) if why.starts_with("Powered") && self.burns() => {
                Verdict::Meaningless(why)
            }
            Ok(Err(verdict)) => verdict,
            Err(_) => Verdict::Wrong("a panic".to_owned()),
        }
    }

    /// Whether ideal sources burn what is connected to them: with a tenth of an ohm in each, more
    /// than 10 A flow out of one. Junctions in a row across a source then ask for currents beyond
    /// all bounds, and neither solution nor refusal tells anybody anything.
    fn burns(&self) -> bool {
        let mut tame = self.clone();
        for line in &mut tame.circuit.lines {
            if line.starts_with("supply") && !line.contains("ohms=") {
                line.push_str(" ohms=0.1");
            }
        }
        let Some((network, values, potential)) = tame.powered_point() else {
            return false;
        };
        tame.circuit != self.circuit
            && network
                .branches
                .iter()
                .filter(|b| matches!(b.concrete(&values), Concrete::Battery(..)))
                .filter_map(|b| b.currents(&values, &potential))
                .any(|i| i[0].abs() > 10.0)
    }

    fn network(&self, sheet: &Sheet, state: State) -> Network {
        let mut network = circuit::build(sheet, Devices::shipped(), state);
        for text in &self.faults {
            let fault = Fault::parse(text, sheet)
                .unwrap_or_else(|e| panic!("`{text}` does not fit its part: {e}"));
            let edits = fault.edits(sheet, &network);
            network.apply(&edits);
        }
        network
    }

    /// The powered network with nominal values and its operating point.
    pub fn powered_point(&self) -> Option<(Network, Vec<f64>, Vec<f64>)> {
        let network = self.network(&read(&self.circuit), State::Powered);
        let values = network.population.nominal();
        let board = Board::new(network).ok()?;
        let solved = board.operating_point(&values).ok()?;
        Some((board.network, values, solved.potential))
    }

    fn solve(&self) -> Result<Work, Verdict> {
        let sheet = read(&self.circuit);
        let mut work = Work::default();
        for state in [State::Cold, State::Powered] {
            let network = self.network(&sheet, state);
            let values = network.population.nominal();
            let refused = |e: &Refusal| Verdict::Refused(format!("{state:?}: {}", why(e, &sheet)));
            let board = Board::new(network).map_err(|e| refused(&e))?;
            if state == State::Powered {
                let solved = board.operating_point(&values).map_err(|e| refused(&e))?;
                check(&board.network, &[], &values, &solved.potential)?;
                work.solves += 1;
                let rung = solved.ladder.last().map(|a| format!("{:?}", a.method));
                work.rungs.extend(rung);
            }
            for (red, black) in &self.pairs {
                let [red, black] = [red, black].map(|n| sheet.net(n).map_or(0, |id| id.0));
                let mut probe = board.probe(red, black);
                for question in questions(state) {
                    let shown = probe
                        .read(&question, &values, &board.rest)
                        .map_err(|e| refused(&e))?;
                    if !shown.volts.is_finite() || shown.reading.is_some_and(|r| !r.is_finite()) {
                        return Err(Verdict::Wrong(format!("the meter shows {shown:?}")));
                    }
                    let setup = question.setups[shown.range];
                    let meter = setup.branches(red, black);
                    let potential = probe.potentials_of(&shown);
                    check(&board.network, &meter, &values, &potential)?;
                    work.solves += 1;
                }
            }
        }
        Ok(work)
    }
}

fn check(
    network: &Network,
    meter: &[circuit::Branch],
    values: &[f64],
    potential: &[f64],
) -> Result<(), Verdict> {
    certificate::fault(network, meter, values, potential)
        .map_or(Ok(()), |what| Err(Verdict::Wrong(what)))
}

/// Ohms and diode test of a digital and ohms of a moving-coil meter; powered, the volts of both.
fn questions(state: State) -> Vec<Question> {
    let functions: &[Function] = match state {
        State::Cold => &[Function::Ohms, Function::Diode],
        State::Powered => &[Function::Volts],
    };
    ["bench-digital", "moving-coil"]
        .iter()
        .filter_map(|name| Meter::shipped().iter().find(|m| m.name == *name))
        .flat_map(|meter| functions.iter().map(move |f| (meter, *f)))
        .filter_map(|(meter, function)| {
            let (setups, choice) = setups(meter, function)?;
            Some(Question {
                function,
                setups,
                choice,
            })
        })
        .collect()
}

/// The sheet of a circuit; the generator must write sheets without mistakes.
pub fn read(circuit: &Circuit) -> Sheet {
    let text = circuit.text();
    let (sheet, diagnostics) = sheet::parse(&text, "random.kdl");
    let mistakes: Vec<String> = diagnostics
        .iter()
        .filter(|d| d.is_error())
        .map(ToString::to_string)
        .collect();
    assert!(mistakes.is_empty(), "{}\n{text}", mistakes.join("\n"));
    sheet
}

fn why(refusal: &Refusal, sheet: &Sheet) -> String {
    let node = match refusal {
        Refusal::NotSolved { node, .. } | Refusal::NotCertified { node, .. } => *node,
    };
    let net = sheet
        .nets
        .get(node as usize)
        .map_or("inside a part", |n| n.name.as_str());
    format!("{refusal} ({net}): {refusal:?}")
}
