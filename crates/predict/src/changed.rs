//! A board with something changed, read at many places: what the meter shows, and how that follows the variables.

use circuit::{Edit, Node};

use crate::assembly::Assembly;
use crate::board::{Board, Refusal};
use crate::probe::{Question, Shown, Starts};
use crate::sensitivity::slopes;

/// A reading and the derivatives of the volts between the leads by each standard normal variable.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensed {
    /// What is shown.
    pub shown: Shown,
    /// Slopes in volts; empty if the reading is over range.
    pub slopes: Vec<f64>,
}

/// A board with changes made, laid out once for all places.
#[derive(Clone, Debug)]
pub struct ChangedBoard {
    board: Board,
    z: Vec<f64>,
    values: Vec<f64>,
    /// Nodes that the changes added.
    fresh: usize,
    /// Whether a solution of the board before the changes fits this one.
    alike: bool,
}

impl ChangedBoard {
    /// Makes the changes; parts are in the middle of their spread.
    ///
    /// # Errors
    /// If an ideal source came or went and no operating point is found without it.
    pub fn new(before: &Board, edits: &[Edit]) -> Result<Self, Refusal> {
        Self::of_unit(
            before,
            edits,
            vec![0.0; before.network.population.variables],
        )
    }

    /// The same of a unit whose standard normal variables are `z`.
    ///
    /// # Errors
    /// As [`ChangedBoard::new`].
    ///
    /// # Panics
    /// If `z` does not hold one number for each variable.
    pub fn of_unit(before: &Board, edits: &[Edit], z: Vec<f64>) -> Result<Self, Refusal> {
        let mut network = before.network.clone();
        network.apply(edits);
        assert_eq!(z.len(), network.population.variables);
        let values = network.population.values(&z);
        let unknowns = Assembly::new(&network, &values, 0, 0).system.unknowns;
        let fresh = network.nodes - before.network.nodes;
        let alike = unknowns == before.rest.len() + fresh;
        let board = if alike {
            // Fresh nodes hang on one branch each, so they are eliminated first.
            let added = before.rest.len() as u32..unknowns as u32;
            let zeros = (0..fresh).map(|_| 0.0);
            Board {
                order: added.chain(before.order.iter().copied()).collect(),
                rest: before.rest.iter().copied().chain(zeros).collect(),
                network,
            }
        } else {
            Board::new(network)?
        };
        Ok(Self {
            board,
            z,
            values,
            fresh,
            alike,
        })
    }

    /// Reads at a place; `near` is what was shown there before the changes, and a start.
    ///
    /// # Errors
    /// If no certified solution is found.
    pub fn read(
        &self,
        (red, black): (Node, Node),
        question: &Question,
        near: Option<&Shown>,
    ) -> Result<Sensed, Refusal> {
        let mut probe = self.board.probe(red, black);
        let start: Vec<f64> = match near {
            Some(near) if self.alike && near.x.len() + self.fresh == self.board.rest.len() => {
                let zeros = (0..self.fresh).map(|_| 0.0);
                near.x.iter().copied().chain(zeros).collect()
            }
            _ => self.board.rest.clone(),
        };
        let starts = Starts {
            guess: near.map_or(0, |n| n.range),
            first: &start,
            known: &[],
        };
        let shown = probe
            .read_from(question, &self.values, &starts, &mut Vec::new())
            .or_else(|_| probe.read(question, &self.values, &vec![0.0; start.len()]))?;
        let setup = &question.setups[shown.range];
        let slopes = if shown.reading.is_some() {
            probe.connect(setup);
            slopes(&mut probe, &self.z, &self.values, &shown.x).unwrap_or_default()
        } else {
            Vec::new()
        };
        Ok(Sensed { shown, slopes })
    }
}

#[cfg(test)]
mod tests {
    use circuit::meter::{Choice, Function, Setup};
    use sheet::device::Devices;

    use super::*;

    const OHMS: Setup = Setup::CurrentOhms {
        amps: 1e-4,
        limit: 3.0,
        full_scale: 20e3,
        accuracy: 0.003,
        floor: 1.0,
    };

    #[test]
    fn a_divider_with_one_resistor_doubled_or_off() {
        let text = r#"sheet S {
            net "0V" role=ground
            resistor R1 "1k" A "0V" tolerance="10%" drift="0%"
            resistor R2 "1k" A B tolerance="10%" drift="0%"
            resistor R3 "2k" B "0V" tolerance="10%" drift="0%"
        }"#;
        let (sheet, _) = sheet::parse(text, "s.kdl");
        let network = circuit::build(&sheet, Devices::shipped(), circuit::State::Cold);
        let before = Board::new(network).unwrap();
        let question = Question {
            function: Function::Ohms,
            setups: vec![OHMS],
            choice: Choice::First,
        };
        let net = |name: &str| sheet.net(name).unwrap().0;
        let read = |fault: &str| {
            let fault = circuit::Fault::parse(fault, &sheet).unwrap();
            let edits = fault.edits(&sheet, &before.network);
            let changed = ChangedBoard::new(&before, &edits).unwrap();
            changed
                .read((net("A"), net("0V")), &question, None)
                .unwrap()
        };
        // 1k with 1k + 4k in parallel: 5/6 of a kilohm; by R1 its derivative is (5/6)^2 of R1's own
        // standard deviation, 50 ohm.
        let high = read("R3 high=2");
        assert!((high.shown.reading.unwrap() - 5000.0 / 6.0).abs() < 1e-3);
        let by_r1 = high.slopes[0] / 1e-4;
        assert!((by_r1 - 25.0 / 36.0 * 50.0).abs() < 1e-3, "{by_r1}");
        let open = read("R1 open");
        assert!((open.shown.reading.unwrap() - 3000.0).abs() < 1e-3);
        assert!(open.slopes[0].abs() < 1e-12);
    }
}
