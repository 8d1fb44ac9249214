//! Every smallest set against plain enumeration, on random circuits of 6 to 12 gates, alone, jointly and with unknown inputs.

use std::collections::BTreeSet;

use logic::{
    Function, Gate, GateId, Method, NetId, Network, Observation, Unit, diagnose, diagnose_by,
    diagnose_units,
};

/// A small generator of its own (xorshift), so that a failure names its circuit for good.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 33) as usize % below
    }
}

const FUNCTIONS: [Function; 8] = [
    Function::And,
    Function::Nand,
    Function::Or,
    Function::Nor,
    Function::Xor,
    Function::Xnor,
    Function::Not,
    Function::Buf,
];

fn circuit(dice: &mut Dice) -> Network {
    let inputs = 2 + dice.roll(4);
    let count = 6 + dice.roll(7);
    let names = (0..inputs + count).map(|i| format!("n{i}")).collect();
    let gates = (0..count)
        .map(|i| {
            let function = FUNCTIONS[dice.roll(8)];
            let width = if function.inputs().1 == 1 {
                1
            } else {
                2 + dice.roll(2)
            };
            let inputs_of = (0..width)
                .map(|_| NetId(dice.roll(inputs + i) as u32))
                .collect();
            Gate {
                name: format!("g{i}"),
                function,
                inputs: inputs_of,
                output: NetId((inputs + i) as u32),
            }
        })
        .collect();
    Network::new(gates, names).expect("each gate listens only to earlier nets")
}

/// Levels of all nets with the gates of `turned` giving the opposite; written apart from the simulator on purpose.
fn levels(network: &Network, inputs: &[bool], turned: u32) -> Vec<bool> {
    let mut levels = vec![false; network.nets().len()];
    network
        .inputs()
        .zip(inputs)
        .for_each(|(net, level)| levels[net.index()] = *level);
    for (index, gate) in network.gates().iter().enumerate() {
        let high = gate.inputs.iter().filter(|n| levels[n.index()]).count();
        let all = high == gate.inputs.len();
        let right = match gate.function {
            Function::And => all,
            Function::Nand => !all,
            Function::Or => high > 0,
            Function::Nor => high == 0,
            Function::Xor | Function::Buf => high % 2 == 1,
            Function::Xnor | Function::Not => high % 2 == 0,
            Function::Low => false,
            Function::High => true,
        };
        levels[gate.output.index()] = right != (turned >> index & 1 == 1);
    }
    levels
}

fn driven(network: &Network) -> Vec<NetId> {
    (0..network.nets().len() as u32)
        .map(NetId)
        .filter(|n| network.driver(*n).is_some())
        .collect()
}

fn observation(
    dice: &mut Dice,
    network: &Network,
    inputs: &[Option<bool>],
    real: &[bool],
) -> Observation {
    let mut levels: Vec<(NetId, bool)> = network
        .inputs()
        .zip(inputs)
        .filter_map(|(n, l)| l.map(|l| (n, l)))
        .collect();
    for net in driven(network) {
        if dice.roll(3) == 0 {
            levels.push((net, real[net.index()]));
        }
    }
    levels.sort_unstable();
    Observation {
        id: "case".into(),
        levels,
        warnings: Vec::new(),
    }
}

fn agrees(observation: &Observation, levels: &[bool]) -> bool {
    observation
        .levels
        .iter()
        .all(|(net, level)| levels[net.index()] == *level)
}

/// Which sets of erring gates are possible in one observation: any subset of a faulty set may be the one that errs now.
fn possible(network: &Network, observation: &Observation, inputs: &[Option<bool>]) -> Vec<u32> {
    let unknown: Vec<usize> = (0..inputs.len()).filter(|i| inputs[*i].is_none()).collect();
    (0..1u32 << network.gates().len())
        .filter(|turned| {
            (0..1u32 << unknown.len()).any(|guess| {
                let mut tried: Vec<bool> = inputs.iter().map(|l| l.unwrap_or(false)).collect();
                unknown
                    .iter()
                    .enumerate()
                    .for_each(|(bit, i)| tried[*i] = guess >> bit & 1 == 1);
                agrees(observation, &levels(network, &tried, *turned))
            })
        })
        .collect()
}

fn smallest(gates: usize, explains: impl Fn(u32) -> bool) -> Vec<Vec<GateId>> {
    for size in 0..=gates as u32 {
        let sets: BTreeSet<Vec<GateId>> = (0..1u32 << gates)
            .filter(|m| m.count_ones() == size && explains(*m))
            .map(|m| {
                (0..gates as u32)
                    .filter(|g| m >> g & 1 == 1)
                    .map(GateId)
                    .collect()
            })
            .collect();
        if !sets.is_empty() {
            return sets.into_iter().collect();
        }
    }
    Vec::new()
}

fn never() -> bool {
    false
}

#[test]
fn a_thousand_circuits_against_enumeration() {
    let mut dice = Dice(0x2545_F491_4F6C_DD1D);
    let (mut several, mut multiple) = (0, 0);
    for number in 0..1000 {
        let network = circuit(&mut dice);
        let inputs: Vec<Option<bool>> = network.inputs().map(|_| Some(dice.roll(2) == 1)).collect();
        let known: Vec<bool> = inputs.iter().map(|l| l.unwrap_or(false)).collect();
        let real = levels(
            &network,
            &known,
            (dice.roll(1 << 16) & dice.roll(1 << 16)) as u32,
        );
        let seen = observation(&mut dice, &network, &inputs, &real);
        let explaining = possible(&network, &seen, &inputs);
        let expected = smallest(network.gates().len(), |set| {
            explaining.iter().any(|t| t & !set == 0)
        });
        for method in [Method::Quickest, Method::Satisfiability] {
            let found = diagnose_by(method, &network, &seen, &never, &never);
            assert!(found.complete && found.refused == 0, "circuit {number}");
            assert_eq!(found.sets, expected, "circuit {number}, {method:?}");
            assert_eq!(found.size, Some(expected[0].len()), "circuit {number}");
            assert_eq!(
                found.family,
                Some(expected.len() as f64),
                "circuit {number}"
            );
            for (gate, share) in &found.shares {
                let held = expected.iter().filter(|s| s.contains(gate)).count() as f64
                    / expected.len() as f64;
                assert!(
                    (share - held).abs() < 1e-12,
                    "circuit {number}: share of {gate:?}"
                );
            }
        }
        several += usize::from(expected.len() > 1);
        multiple += usize::from(expected[0].len() > 2);
    }
    assert!(
        several > 200 && multiple > 30,
        "too few hard cases: {several}, {multiple}"
    );
}

#[test]
fn observations_together_against_enumeration() {
    let mut dice = Dice(0x9E37_79B9_7F4A_7C15);
    for number in 0..80 {
        let network = circuit(&mut dice);
        let faulty = (dice.roll(1 << 12) & dice.roll(1 << 12)) as u32;
        let mut cases = Vec::new();
        for _ in 0..3 {
            let inputs: Vec<Option<bool>> =
                network.inputs().map(|_| Some(dice.roll(2) == 1)).collect();
            let known: Vec<bool> = inputs.iter().map(|l| l.unwrap_or(false)).collect();
            let real = levels(&network, &known, faulty & dice.roll(1 << 12) as u32);
            let seen = observation(&mut dice, &network, &inputs, &real);
            let explaining = possible(&network, &seen, &inputs);
            cases.push((seen, explaining));
        }
        let all = |set: u32| {
            cases
                .iter()
                .all(|(_, explaining)| explaining.iter().any(|t| t & !set == 0))
        };
        let expected = smallest(network.gates().len(), all);
        let seen: Vec<Observation> = cases.iter().map(|(o, _)| o.clone()).collect();
        let units: Vec<Unit> = (0..network.gates().len())
            .map(|g| Unit { gates: vec![g] })
            .collect();
        let found = diagnose_units(&network, &seen, &units, &never);
        assert!(found.complete && found.refused == 0, "circuit {number}");
        assert_eq!(found.sets, expected, "circuit {number}");
    }
}

#[test]
fn unknown_inputs_against_enumeration() {
    let mut dice = Dice(0xD1B5_4A32_D192_ED03);
    let mut unknown = 0;
    for number in 0..80 {
        let network = circuit(&mut dice);
        let known: Vec<bool> = network.inputs().map(|_| dice.roll(2) == 1).collect();
        let inputs: Vec<Option<bool>> = known
            .iter()
            .map(|l| (dice.roll(3) > 0).then_some(*l))
            .collect();
        unknown += inputs.iter().filter(|l| l.is_none()).count();
        let real = levels(
            &network,
            &known,
            (dice.roll(1 << 12) & dice.roll(1 << 12)) as u32,
        );
        let seen = observation(&mut dice, &network, &inputs, &real);
        let explaining = possible(&network, &seen, &inputs);
        let expected = smallest(network.gates().len(), |set| {
            explaining.iter().any(|t| t & !set == 0)
        });
        let found = diagnose(&network, &seen, &never, &never);
        assert!(found.complete && found.refused == 0, "circuit {number}");
        assert_eq!(found.sets, expected, "circuit {number}");
    }
    assert!(unknown > 40);
}

/// Gates that are replaced together count as one part.
#[test]
fn packages_against_enumeration() {
    let mut dice = Dice(0xA076_1D64_78BD_642F);
    for number in 0..80 {
        let network = circuit(&mut dice);
        let gates = network.gates().len();
        let inputs: Vec<Option<bool>> = network.inputs().map(|_| Some(dice.roll(2) == 1)).collect();
        let known: Vec<bool> = inputs.iter().map(|l| l.unwrap_or(false)).collect();
        let real = levels(
            &network,
            &known,
            (dice.roll(1 << 12) & dice.roll(1 << 12)) as u32,
        );
        let seen = observation(&mut dice, &network, &inputs, &real);
        let units: Vec<Unit> = (0..gates)
            .step_by(3)
            .map(|g| Unit {
                gates: (g..gates.min(g + 3)).collect(),
            })
            .collect();
        let explaining = possible(&network, &seen, &inputs);
        let gates_of = |set: u32| {
            units
                .iter()
                .enumerate()
                .filter(|(u, _)| set >> u & 1 == 1)
                .flat_map(|(_, u)| &u.gates)
                .fold(0u32, |m, g| m | 1 << g)
        };
        let expected = smallest(units.len(), |set| {
            explaining.iter().any(|t| t & !gates_of(set) == 0)
        });
        let found = diagnose_units(&network, std::slice::from_ref(&seen), &units, &never);
        assert_eq!(found.sets, expected, "circuit {number}");
    }
}
