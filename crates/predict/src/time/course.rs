//! A network followed in time: capacitors and inductors by the theta method, every step certified.

use circuit::{Branch, Element, Network, Node};
use sheet::{Kind, PartId, Sheet};
use solve::Workspace;

use crate::assembly::Assembly;
use crate::board::{Refusal, settle};

/// A voltage that changes with time, behind a resistance: positive on the first node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drive {
    /// From where to where.
    pub nodes: [Node; 2],
    /// Source resistance in ohms, above zero.
    pub ohms: f64,
}

/// Something that stores, as a battery behind a resistance for one step.
#[derive(Clone, Copy, Debug)]
struct Store {
    branch: usize,
    what: What,
    /// Volts across a capacitor; amperes through an inductor.
    state: f64,
    /// Amperes through a capacitor; volts across an inductor's inductance.
    rate: f64,
    part: PartId,
}

#[derive(Clone, Copy, Debug)]
enum What {
    Capacitor(f64),
    /// Henries, ohms.
    Inductor(f64, f64),
}

/// A circuit on its way through time.
#[derive(Clone, Debug)]
pub struct Course {
    network: Network,
    values: Vec<f64>,
    stores: Vec<Store>,
    drives: Vec<usize>,
    assembly: Assembly,
    workspace: Workspace,
    x: Vec<f64>,
    potential: Vec<f64>,
    begun: bool,
}

/// Weight of the end of a step: a little more than the trapezoidal rule's half, so that what a switching diode kicks off
/// dies away (Dahlquist, BIT 3, 1963, for the rule itself).
const THETA: f64 = 0.55;

impl Course {
    /// Begins with the capacitors at these volts, from their first pin to their second; all inductors without current.
    ///
    /// `network` was built from `sheet`, and may have been changed; `drives` are added to it.
    pub fn new(
        sheet: &Sheet,
        mut network: Network,
        drives: &[Drive],
        charged: impl Fn(PartId) -> f64,
    ) -> Self {
        let mut stores = Vec::new();
        for (index, part) in sheet.parts.iter().enumerate() {
            let id = PartId(index as u32);
            match &part.kind {
                Kind::Capacitor { farads, ends, .. } if farads.0 > 0.0 => {
                    network
                        .branches
                        .push(battery(Some(id), [ends[0].0, ends[1].0]));
                    stores.push(Store {
                        branch: network.branches.len() - 1,
                        what: What::Capacitor(farads.0),
                        state: charged(id),
                        rate: 0.0,
                        part: id,
                    });
                }
                Kind::Inductor { henries, ohms, .. } if henries.0 > 0.0 => {
                    let own = |b: &Branch| b.part == Some(id) && b.element != Element::Absent;
                    if let Some(branch) = network.branches.iter().position(own) {
                        let nodes = network.branches[branch].nodes;
                        network.branches[branch] = battery(Some(id), [nodes[0], nodes[1]]);
                        stores.push(Store {
                            branch,
                            what: What::Inductor(henries.0, ohms.map_or(0.0, |o| o.0)),
                            state: 0.0,
                            rate: 0.0,
                            part: id,
                        });
                    }
                }
                _ => {}
            }
        }
        let first = network.branches.len();
        for drive in drives {
            let mut branch = battery(None, drive.nodes);
            branch.element = Element::Battery {
                volts: 0.0,
                ohms: drive.ohms,
            };
            network.branches.push(branch);
        }
        let values = network.population.nominal();
        let assembly = Assembly::new(&network, &values, 0, 0);
        let workspace = Workspace::new(&assembly.system);
        Self {
            drives: (first..network.branches.len()).collect(),
            x: vec![0.0; assembly.system.unknowns],
            potential: vec![0.0; network.nodes],
            begun: false,
            network,
            values,
            stores,
            assembly,
            workspace,
        }
    }

    /// Goes on by `h` seconds; `volts` are those of the drives at the end of the step, in their order.
    ///
    /// # Errors
    /// If no certified solution is found at the end of the step; nothing has then changed.
    pub fn step(&mut self, h: f64, volts: &[f64]) -> Result<(), Refusal> {
        for (branch, volts) in self.drives.iter().zip(volts) {
            if let Element::Battery { volts: v, .. } = &mut self.network.branches[*branch].element {
                *v = *volts;
            }
        }
        // Of the first step only the end is known: what flows at its beginning is not.
        let theta = if self.begun { THETA } else { 1.0 };
        for store in &self.stores {
            let (volts, ohms) = match store.what {
                What::Capacitor(c) => {
                    let ohms = theta * h / c;
                    (
                        store.state + (1.0 - theta) / theta * store.rate * ohms,
                        ohms,
                    )
                }
                What::Inductor(l, r) => {
                    let of_l = l / (theta * h);
                    (
                        -(of_l * store.state + (1.0 - theta) / theta * store.rate),
                        r + of_l,
                    )
                }
            };
            self.network.branches[store.branch].element = Element::Battery { volts, ohms };
        }
        self.assembly.set_values(&self.network, &self.values);
        let (x, _) = settle(
            &self.network,
            &self.assembly,
            &mut self.workspace,
            &self.values,
            &self.x,
            &[],
        )?;
        self.potential = self.assembly.potentials(&x);
        self.x = x;
        self.begun = true;
        for store in &mut self.stores {
            let branch = &self.network.branches[store.branch];
            let u = branch.differences(&self.potential)[0];
            let through = branch
                .currents(&self.values, &self.potential)
                .map_or(0.0, |i| i[0]);
            match store.what {
                What::Capacitor(_) => (store.state, store.rate) = (u, through),
                What::Inductor(_, r) => (store.state, store.rate) = (through, u - r * through),
            }
        }
        Ok(())
    }

    /// Potentials of all nodes at the end of the last step.
    pub fn potential(&self) -> &[f64] {
        &self.potential
    }

    /// Volts across a capacitor, from its first pin to its second.
    pub fn volts(&self, capacitor: PartId) -> Option<f64> {
        self.stores
            .iter()
            .find(|s| s.part == capacitor)
            .map(|s| s.state)
    }

    /// Amperes that a drive delivers out of its first node.
    pub fn delivered(&self, drive: usize) -> f64 {
        let branch = &self.network.branches[self.drives[drive]];
        branch
            .currents(&self.values, &self.potential)
            .map_or(0.0, |i| -i[0])
    }

    /// Replaces the source resistance of a drive.
    pub fn set_ohms(&mut self, drive: usize, to: f64) {
        if let Element::Battery { ohms, .. } =
            &mut self.network.branches[self.drives[drive]].element
        {
            *ohms = to;
        }
    }
}

fn battery(part: Option<PartId>, [a, b]: [Node; 2]) -> Branch {
    Branch {
        part,
        nodes: [a, b, b],
        element: Element::Battery {
            volts: 0.0,
            ohms: 1.0,
        },
    }
}

#[cfg(test)]
mod tests {
    use sheet::device::Devices;

    use super::*;

    fn course(text: &str, drives: &[Drive], volts: f64) -> (Sheet, Course) {
        let (sheet, _) = sheet::parse(text, "s.kdl");
        let network = circuit::build(&sheet, Devices::shipped(), circuit::State::Cold);
        let course = Course::new(&sheet, network, drives, |_| volts);
        (sheet, course)
    }

    #[test]
    fn a_capacitor_discharges_by_the_exponential() {
        let text =
            "sheet S { net G role=ground; resistor R1 \"10k\" A G; capacitor C1 \"100u\" A G; }";
        let (sheet, mut course) = course(text, &[], 100.0);
        let c1 = sheet.part("C1").unwrap();
        for _ in 0..1000 {
            course.step(1e-3, &[]).unwrap();
        }
        // One time constant: 36.788 V.
        let volts = course.volts(c1).unwrap();
        assert!((volts - 36.788).abs() < 0.01, "{volts}");
    }

    #[test]
    fn an_inductor_takes_up_its_current_by_the_exponential() {
        let text = "sheet S { net G role=ground; inductor L1 \"100m\" A G ohms=9; resistor R1 \"1M\" A G; }";
        let (sheet, _) = sheet::parse(text, "s.kdl");
        let a = sheet.net("A").unwrap().0;
        let drive = Drive {
            nodes: [a, sheet.net("G").unwrap().0],
            ohms: 1.0,
        };
        let network = circuit::build(&sheet, Devices::shipped(), circuit::State::Cold);
        let mut course = Course::new(&sheet, network, &[drive], |_| 0.0);
        for _ in 0..1000 {
            course.step(1e-5, &[10.0]).unwrap();
        }
        // L / R = 10 ms, 10 V over 10 ohm: 0.63212 A after it.
        assert!(
            (course.delivered(0) - 0.63212).abs() < 1e-3,
            "{}",
            course.delivered(0)
        );
    }

    #[test]
    fn a_part_that_hangs_on_capacitors_alone_is_no_leak() {
        // Two capacitors in series share a step as one over their capacitances: 10 V on 1u and 4u give 8 and 2 V.
        let text = "sheet S { net G role=ground; capacitor C1 \"1u\" A M; capacitor C2 \"4u\" M G; resistor R1 \"1M\" A G; }";
        let (sheet, _) = sheet::parse(text, "s.kdl");
        let net = |n: &str| sheet.net(n).unwrap().0;
        let drive = Drive {
            nodes: [net("A"), net("G")],
            ohms: 100.0,
        };
        let network = circuit::build(&sheet, Devices::shipped(), circuit::State::Cold);
        let mut course = Course::new(&sheet, network, &[drive], |_| 0.0);
        for _ in 0..2000 {
            course.step(1e-5, &[10.0]).unwrap();
        }
        let volts = course.volts(sheet.part("C1").unwrap()).unwrap();
        assert!((volts - 8.0).abs() < 0.01, "{volts}");
    }
}
