//! What one fault brings down at switch-on: solve, see what bears too much, let it fail, and solve again.

use circuit::fault::Place;
use circuit::{Edit, Element, Fault, Mode, Network, State};
use sheet::device::Devices;
use sheet::{Kind, PartId, Sheet};
use solve::Workspace;

use super::ratings::{Aspect, First};
use super::{Gauge, gauges};
use crate::assembly::Assembly;
use crate::board::{Board, Refusal, settle, source_currents};
use crate::faults::campaign_faults;

/// A part that a fault destroys.
#[derive(Clone, Debug, PartialEq)]
pub struct Victim {
    /// Index of the gauge that it exceeds most.
    pub gauge: usize,
    /// What it has to bear, in SI units.
    pub stress: f64,
    /// The same in ratings.
    pub times: f64,
    /// After how many earlier losses: 0 is what the fault itself overloads.
    pub round: usize,
}

/// What follows from a fault.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Cascade {
    /// Parts that are lost, in the order in which they are; fuses are not among them.
    pub victims: Vec<Victim>,
    /// Fuses that open.
    pub blown: Vec<PartId>,
    /// Sum of the victims' weights.
    pub severity: f64,
    /// The circuit after this many rounds could not be solved, and more may follow.
    pub stopped: Option<Refusal>,
}

/// An operating point before anything has given way.
#[derive(Clone, Debug, PartialEq)]
pub struct Operating {
    /// Potentials of all nodes in volts; the nets of the sheet come first.
    pub potential: Vec<f64>,
    /// Amperes that each supply delivers.
    pub delivered: Vec<(PartId, f64)>,
}

/// A powered circuit with its ratings, ready for faults.
#[derive(Clone, Debug)]
pub struct Powered<'a> {
    sheet: &'a Sheet,
    board: Board,
    values: Vec<f64>,
    potential: Vec<f64>,
    gauges: Vec<Gauge>,
}

/// Overload from which a fuse opens before anything that has to grow hot is lost.
/// UL 248-14: within two minutes at 200 per cent (from memory).
const PROMPT: f64 = 2.0;
/// Rounds after which a cascade is no more followed; each loses at least one part.
const ROUNDS: usize = 40;

/// Every fault that may be there unseen: all single faults of parts but of supplies and loads, and bridges between
/// adjacent nets.
pub fn hazard_faults(sheet: &Sheet) -> Vec<Fault> {
    let kind = |id: PartId| &sheet.parts[id.index()].kind;
    let mut faults: Vec<Fault> = campaign_faults(sheet)
        .into_iter()
        .filter(|f| match &f.place {
            Place::Part(p) => !matches!(kind(*p), Kind::Supply { .. } | Kind::Load { .. }),
            _ => true,
        })
        .collect();
    for (index, part) in sheet.parts.iter().enumerate() {
        let has_direction = matches!(
            part.kind,
            Kind::Diode { .. }
                | Kind::Zener { .. }
                | Kind::Capacitor {
                    polarised: true,
                    ..
                }
        );
        if has_direction {
            faults.push(Fault {
                place: Place::Part(PartId(index as u32)),
                mode: Mode::Turned,
            });
        }
    }
    faults.extend(sheet.adjacent.iter().map(|(a, b)| Fault {
        place: Place::Nets(*a, *b),
        mode: Mode::Bridge(circuit::fault::SHORT_OHMS),
    }));
    faults
}

impl<'a> Powered<'a> {
    /// Solves the healthy circuit and works out what each part may bear.
    ///
    /// # Errors
    /// If no certified operating point is found.
    pub fn new(sheet: &'a Sheet) -> Result<Self, Refusal> {
        let mut powered = Self::solved(sheet, None)?;
        let Self {
            board,
            values,
            potential,
            ..
        } = &powered;
        powered.gauges = gauges(sheet, &board.network, values, potential);
        Ok(powered)
    }

    /// The same circuit under a precaution: `sheet` is the sheet of `plain` with parts added at its end, or with other
    /// numbers in its supplies and loads. What parts may bear stays as it was.
    ///
    /// # Errors
    /// If no certified operating point is found.
    pub fn under(plain: &Powered<'_>, sheet: &'a Sheet) -> Result<Self, Refusal> {
        let mut powered = Self::solved(sheet, None)?;
        powered.gauges.clone_from(&plain.gauges);
        Ok(powered)
    }

    /// The same, sought from where the nets of `plain` rest: quicker for what leaves them nearly there, and in the same state
    /// where a circuit can rest in two.
    ///
    /// # Errors
    /// If no certified operating point is found.
    pub fn under_near(plain: &Powered<'_>, sheet: &'a Sheet) -> Result<Self, Refusal> {
        let nets = &plain.potential[..plain.sheet.nets.len()];
        let mut powered = Self::solved(sheet, Some(nets))?;
        powered.gauges.clone_from(&plain.gauges);
        Ok(powered)
    }

    fn solved(sheet: &'a Sheet, near: Option<&[f64]>) -> Result<Self, Refusal> {
        let network = circuit::build(sheet, Devices::shipped(), State::Powered);
        let values = network.population.nominal();
        let board = match near {
            Some(near) => Board::near(network, near)?,
            None => Board::new(network)?,
        };
        let assembly = Assembly::new(&board.network, &values, 0, 0);
        Ok(Self {
            potential: assembly.potentials(&board.rest),
            sheet,
            values,
            board,
            gauges: Vec::new(),
        })
    }

    /// The sheet.
    pub fn sheet(&self) -> &Sheet {
        self.sheet
    }

    /// The ratings.
    pub fn gauges(&self) -> &[Gauge] {
        &self.gauges
    }

    /// Potentials of all nodes of the healthy circuit in volts; the nets of the sheet come first.
    pub fn potential(&self) -> &[f64] {
        &self.potential
    }

    /// The operating point of one unit, with a fault or without, before anything has given way: `z` are the standard normal
    /// variables behind its parts, none for the nominal ones.
    ///
    /// # Errors
    /// If no certified operating point is found.
    pub fn operating(
        &self,
        z: Option<&[f64]>,
        fault: Option<&Fault>,
    ) -> Result<Operating, Refusal> {
        let mut network = self.board.network.clone();
        if let Some(fault) = fault {
            network.apply(&fault.edits(self.sheet, &self.board.network));
        }
        let values = match z {
            Some(z) => network.population.values(z),
            None => network.population.nominal(),
        };
        let potential = self.point_of(&network, &values, &self.potential)?;
        Ok(Operating {
            delivered: delivered(self.sheet, &network, &values, &potential),
            potential,
        })
    }

    /// Number of standard normal variables behind the parts.
    pub fn variables(&self) -> usize {
        self.board.network.population.variables
    }

    /// Amperes that each supply delivers into the healthy circuit.
    pub fn delivered(&self) -> Vec<(PartId, f64)> {
        delivered(
            self.sheet,
            &self.board.network,
            &self.values,
            &self.potential,
        )
    }

    /// Follows a fault until nothing more fails.
    ///
    /// # Errors
    /// If the circuit with the fault alone has no certified operating point.
    pub fn follow(&self, fault: &Fault) -> Result<Cascade, Refusal> {
        self.follow_watched(fault).map(|(_, cascade)| cascade)
    }

    /// The same, with the operating point at which everything but the fault is still whole: what is read before anything
    /// gives way.
    ///
    /// # Errors
    /// If the circuit with the fault alone has no certified operating point.
    pub fn follow_watched(&self, fault: &Fault) -> Result<(Operating, Cascade), Refusal> {
        let mut cascade = Cascade::default();
        if let Some((gauge, volts)) = self.backwards(fault) {
            self.follow_backwards(gauge, volts, &mut cascade)?;
            let first = Operating {
                potential: self.potential.clone(),
                delivered: self.delivered(),
            };
            return Ok((first, cascade));
        }
        let edits = fault.edits(self.sheet, &self.board.network);
        let first = if edits.is_empty() {
            Operating {
                potential: self.potential.clone(),
                delivered: self.delivered(),
            }
        } else {
            self.follow_edits(&edits, faulty_part(fault), &mut cascade)?
        };
        Ok((first, cascade))
    }

    /// A polarised capacitor that is in backwards and sees more than it bears so: its gauge, and the volts.
    fn backwards(&self, fault: &Fault) -> Option<(usize, f64)> {
        let (Place::Part(part), Mode::Turned) = (&fault.place, fault.mode) else {
            return None;
        };
        let Kind::Capacitor { ends, .. } = &self.sheet.parts[part.index()].kind else {
            return None;
        };
        let volts = self.potential[ends[0].index()] - self.potential[ends[1].index()];
        let own = |g: &Gauge| g.part == *part && g.aspect == Aspect::Reverse;
        let index = self.gauges.iter().position(own)?;
        (volts > self.gauges[index].beyond).then_some((index, volts))
    }

    /// The wrong-way capacitor goes first: what its film does not stop flows backwards through it, until it is a short; what
    /// the current through that overloads goes after it.
    fn follow_backwards(
        &self,
        index: usize,
        volts: f64,
        cascade: &mut Cascade,
    ) -> Result<(), Refusal> {
        let gauge = &self.gauges[index];
        cascade.severity += gauge.weight;
        cascade.victims.push(Victim {
            gauge: index,
            stress: volts,
            times: volts / gauge.rating,
            round: 0,
        });
        let lost = Fault {
            place: Place::Part(gauge.part),
            mode: gauge.fails.unwrap_or(Mode::Short),
        };
        let edits = lost.edits(self.sheet, &self.board.network);
        self.follow_edits(&edits, Some(gauge.part), cascade)?;
        cascade.victims[1..].iter_mut().for_each(|v| v.round += 1);
        Ok(())
    }

    /// What the healthy circuit itself loses: nothing, unless a precaution does harm.
    pub fn loses(&self) -> Cascade {
        let mut cascade = Cascade::default();
        if let Err(refusal) = self.follow_edits(&[], None, &mut cascade) {
            cascade.stopped = Some(refusal);
        }
        cascade
    }

    fn follow_edits(
        &self,
        edits: &[Edit],
        faulty: Option<PartId>,
        cascade: &mut Cascade,
    ) -> Result<Operating, Refusal> {
        let mut network = self.board.network.clone();
        network.apply(edits);
        let values = network.population.nominal();
        let mut potential = self.point(&network, &self.potential)?;
        let first = Operating {
            delivered: delivered(self.sheet, &network, &values, &potential),
            potential: potential.clone(),
        };
        let mut lost: Vec<(PartId, Option<&str>)> = Vec::new();
        for round in 0..ROUNDS {
            if round > 0 {
                potential = match self.point(&network, &potential) {
                    Ok(found) => found,
                    Err(refusal) => {
                        cascade.stopped = Some(refusal);
                        return Ok(first);
                    }
                };
            }
            let values = network.population.nominal();
            let mut over: Vec<(usize, f64, f64)> = Vec::new();
            for (index, gauge) in self.gauges.iter().enumerate() {
                let gone = lost.contains(&(gauge.part, gauge.piece.as_deref()));
                if Some(gauge.part) == faulty || gone {
                    continue;
                }
                let stress = gauge.stress(&network, &values, &potential);
                if stress > gauge.beyond {
                    over.push((index, stress, stress / gauge.rating));
                }
            }
            let falling = self.falling(&over);
            if falling.is_empty() {
                return Ok(first);
            }
            for (index, stress, times) in falling {
                let gauge = &self.gauges[index];
                lost.push((gauge.part, gauge.piece.as_deref()));
                if gauge.first == First::Fuse {
                    cascade.blown.push(gauge.part);
                } else {
                    cascade.severity += gauge.weight;
                    cascade.victims.push(Victim {
                        gauge: index,
                        stress,
                        times,
                        round,
                    });
                }
                if let Some(mode) = gauge.fails {
                    let place = match &gauge.piece {
                        Some(piece) => Place::Piece(gauge.part, piece.clone()),
                        None => Place::Part(gauge.part),
                    };
                    let edits = Fault { place, mode }.edits(self.sheet, &network);
                    network.apply(&edits);
                }
            }
        }
        Ok(first)
    }

    /// Those of the overloaded that go now, each by what it exceeds most: junctions and dielectrics at once, a fuse at
    /// twice its rating before what has to grow hot, and a slow fuse last.
    fn falling(&self, over: &[(usize, f64, f64)]) -> Vec<(usize, f64, f64)> {
        let turn = |index: usize, times: f64| match self.gauges[index].first {
            First::Junction => 0,
            First::Fuse if times >= PROMPT => 1,
            First::Heat => 2,
            First::Fuse => 3,
        };
        let Some(now) = over.iter().map(|o| turn(o.0, o.2)).min() else {
            return Vec::new();
        };
        let mut going: Vec<(usize, f64, f64)> = Vec::new();
        for o in over.iter().filter(|o| turn(o.0, o.2) == now) {
            let whose = |i: usize| (self.gauges[i].part, &self.gauges[i].piece);
            match going.iter_mut().find(|g| whose(g.0) == whose(o.0)) {
                Some(g) if o.1 / self.gauges[o.0].beyond > g.1 / self.gauges[g.0].beyond => *g = *o,
                Some(_) => {}
                None => going.push(*o),
            }
        }
        going
    }

    /// The certified operating point of a changed network, sought from potentials near it.
    fn point(&self, network: &Network, near: &[f64]) -> Result<Vec<f64>, Refusal> {
        self.point_of(network, &network.population.nominal(), near)
    }

    fn point_of(
        &self,
        network: &Network,
        values: &[f64],
        near: &[f64],
    ) -> Result<Vec<f64>, Refusal> {
        let assembly = Assembly::new(network, values, 0, 0);
        let count = assembly.system.unknowns;
        let before = self.board.order.len();
        let mut workspace =
            if count >= before && count - before == network.nodes - self.board.network.nodes {
                // Fresh nodes hang on one branch each, so they are eliminated first.
                let order: Vec<u32> = (before as u32..count as u32)
                    .chain(self.board.order.iter().copied())
                    .collect();
                Workspace::with_order(&assembly.system, &order)
            } else {
                Workspace::new(&assembly.system)
            };
        let mut start = vec![0.0; count];
        for (unknown, volts) in assembly.unknowns.iter().zip(near) {
            start[unknown.index as usize] = volts - unknown.offset;
        }
        let (x, _) = settle(network, &assembly, &mut workspace, values, &start, &[])?;
        Ok(assembly.potentials(&x))
    }
}

/// The part that is bad already, and so no victim: unless it is a good part put in the wrong way round.
fn faulty_part(fault: &Fault) -> Option<PartId> {
    match (&fault.place, fault.mode) {
        (_, Mode::Turned) | (Place::Nets(..), _) => None,
        (Place::Part(p) | Place::Piece(p, _), _) => Some(*p),
    }
}

fn delivered(
    sheet: &Sheet,
    network: &Network,
    values: &[f64],
    potential: &[f64],
) -> Vec<(PartId, f64)> {
    let mut ideal = source_currents(network, &[], values, potential).into_iter();
    let mut found = Vec::new();
    for branch in &network.branches {
        let through = match branch.element {
            Element::Voltage(_) => ideal.next().unwrap_or(f64::NAN),
            _ => branch.currents(values, potential).map_or(0.0, |i| i[0]),
        };
        if let Some(part) = branch.part
            && matches!(sheet.parts[part.index()].kind, Kind::Supply { .. })
        {
            found.push((part, -through));
        }
    }
    found
}
