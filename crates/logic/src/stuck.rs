//! One output stuck at a level: which gate and level explain every observation, by trying each.

use crate::diagnose::GateId;
use crate::network::Network;
use crate::observation::Observation;
use crate::simulate::{LANES, Simulator};

/// A gate whose output keeps one level whatever its inputs do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stuck {
    /// The gate.
    pub gate: GateId,
    /// The level it keeps.
    pub high: bool,
}

/// Every single stuck output that explains all observations; none if some input was not seen.
pub fn single_stuck(network: &Network, observations: &[Observation]) -> Option<Vec<Stuck>> {
    let count = network.gates().len();
    let mut possible = vec![[true; 2]; count];
    for observation in observations {
        let mut simulator = Simulator::new(network);
        for net in network.inputs() {
            simulator.set(net, observation.level(net)?);
        }
        simulator.run();
        let well: Vec<bool> = network
            .gates()
            .iter()
            .map(|g| simulator.level(g.output, 0))
            .collect();
        let agrees = |simulator: &Simulator<'_>, case: usize| {
            observation
                .levels
                .iter()
                .all(|(net, level)| simulator.level(*net, case) == *level)
        };
        let healthy = agrees(&simulator, 0);
        for start in (0..count).step_by(LANES) {
            let here = start..count.min(start + LANES);
            here.clone()
                .for_each(|gate| simulator.turn(gate, gate - start));
            simulator.run();
            simulator.mend();
            for gate in here {
                // Stuck at the level it should have changes nothing; at the other it is as if turned.
                possible[gate][usize::from(well[gate])] &= healthy;
                possible[gate][usize::from(!well[gate])] &= agrees(&simulator, gate - start);
            }
        }
    }
    let mut stuck = Vec::new();
    for (gate, levels) in possible.iter().enumerate() {
        for high in [false, true] {
            if levels[usize::from(high)] {
                stuck.push(Stuck {
                    gate: GateId(gate as u32),
                    high,
                });
            }
        }
    }
    Some(stuck)
}
