//! A supply from the mains: transformer, rectifier, reservoir and all behind it, followed until every cycle is like the last.

use circuit::laws::Lamp;
use circuit::{Edit, Element, Network, State};
use sheet::device::Devices;
use sheet::{Kind, NetId, PartId, Sheet};

use super::core::{CoreSurge, core_surge};
use super::course::{Course, Drive};
use super::filament::Filament;
use crate::board::Refusal;

/// What feeds the primary.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mains {
    /// Cycles a second.
    pub hertz: f64,
    /// Share of the primary's rated voltage: the setting of a variable transformer, 1 without.
    pub share: f64,
    /// A lamp in series with the primary.
    pub lamp: Option<Lamp>,
}

/// A sheet's transformer and rectifiers, ready to be switched on.
#[derive(Clone, Debug)]
pub struct Rectified {
    /// The transformer.
    pub transformer: PartId,
    /// Primary winding: index.
    pub primary: usize,
    /// Supplies of the sheet that only stood in for what the rectifiers deliver.
    pub stood_in: Vec<PartId>,
    course: Course,
    windings: Vec<Secondary>,
    primary_volts: f64,
    primary_ohms: f64,
    filament: Option<Filament>,
    lamp: Option<Lamp>,
    phase: f64,
    amps: Vec<f64>,
}

#[derive(Clone, Copy, Debug)]
struct Secondary {
    /// Turns over the primary's.
    turns: f64,
    ohms: f64,
}

/// One settled cycle, and what it took to get there.
#[derive(Clone, Debug, PartialEq)]
pub struct Cycle {
    /// Mean potential of every net in volts.
    pub mean: Vec<f64>,
    /// Difference between its highest and lowest potential over a cycle.
    pub ripple: Vec<f64>,
    /// Largest current out of any secondary, in amperes.
    pub peak: f64,
    /// Largest current out of any secondary since the step before, in amperes.
    pub inrush: f64,
    /// Mean over a cycle of the current's size, of the secondary that carries most.
    pub average: f64,
    /// Part of a cycle, in radians, during which that secondary carries more than a hundredth of its peak one way.
    pub conduction: f64,
    /// Effective current in the primary, in amperes.
    pub primary: f64,
    /// Cycles that it took.
    pub cycles: usize,
    /// Whether the last cycle was like the one before.
    pub settled: bool,
}

/// Steps in a cycle.
const STEPS: usize = 240;
/// Cycles after which it is given up to wait.
const MOST: usize = 150;
/// A cycle is like the one before if no net's mean moved by more than this share of the highest, nor this many volts.
const ALIKE: f64 = 2e-4;

impl Rectified {
    /// Finds the transformer that feeds rectifiers; `None` if the sheet has none whose volts are written.
    pub fn new(sheet: &Sheet) -> Option<Self> {
        let network = circuit::build(sheet, Devices::shipped(), State::Powered);
        Self::with_network(sheet, network)
    }

    /// The same on a changed network of the sheet.
    pub fn with_network(sheet: &Sheet, mut network: Network) -> Option<Self> {
        let (transformer, windings) = sheet.parts.iter().enumerate().find_map(|(k, p)| match &p
            .kind
        {
            Kind::Transformer { windings }
                if windings
                    .iter()
                    .any(|w| w.ends.iter().any(|e| rectifies(sheet, *e))) =>
            {
                Some((PartId(k as u32), windings))
            }
            _ => None,
        })?;
        let feeds = |w: &sheet::Winding| w.ends.iter().any(|e| rectifies(sheet, *e));
        let (primary, first) = windings
            .iter()
            .enumerate()
            .filter(|(_, w)| !feeds(w) && w.volts.is_some())
            .max_by(|a, b| {
                a.1.volts
                    .map(|v| v.0)
                    .partial_cmp(&b.1.volts.map(|v| v.0))
                    .expect("written volts are numbers")
            })?;
        let primary_volts = first.volts?.0;
        let mut drives = Vec::new();
        let mut secondaries = Vec::new();
        for (k, winding) in windings.iter().enumerate() {
            if k == primary {
                continue;
            }
            let (Some(volts), Some(pin)) = (
                winding.volts,
                network.pin(transformer, &format!("{}.1", winding.name)),
            ) else {
                continue;
            };
            let branch = pin.terminals.first()?.branch;
            let whole = network.branches[branch].element != Element::Absent;
            network.apply(&[Edit::Remove(branch)]);
            if whole {
                secondaries.push(Secondary {
                    turns: volts.0 / primary_volts,
                    ohms: winding.ohms.map_or(0.0, |o| o.0).max(1e-3),
                });
                drives.push(Drive {
                    nodes: winding.ends.map(|e| e.0),
                    ohms: 1.0,
                });
            }
        }
        let stood_in: Vec<PartId> = stand_ins(sheet);
        let gone: Vec<Edit> = (0..network.branches.len())
            .filter(|b| {
                network.branches[*b]
                    .part
                    .is_some_and(|p| stood_in.contains(&p))
            })
            .map(Edit::Remove)
            .collect();
        network.apply(&gone);
        Some(Self {
            transformer,
            primary,
            stood_in,
            course: Course::new(sheet, network, &drives, |_| 0.0),
            amps: vec![0.0; secondaries.len()],
            windings: secondaries,
            primary_volts,
            primary_ohms: first.ohms.map_or(0.0, |o| o.0),
            filament: None,
            lamp: None,
            phase: 0.0,
        })
    }

    /// What the core itself draws at switch-on, at a share of the mains and with `more` ohms before the primary.
    pub fn core_surge(&self, share: f64, hertz: f64, more: f64) -> CoreSurge {
        core_surge(share * self.primary_volts, self.primary_ohms + more, hertz)
    }

    /// Rated volts of the primary.
    pub fn primary_volts(&self) -> f64 {
        self.primary_volts
    }

    /// Goes on until the cycles are alike, from where the last step left it.
    ///
    /// Core losses and the core's own inrush are not followed: they do not reach what hangs behind the rectifiers.
    ///
    /// # Errors
    /// If a moment has no certified solution.
    pub fn settle(&mut self, mains: &Mains, nets: usize) -> Result<Cycle, Refusal> {
        if self.lamp != mains.lamp {
            self.lamp = mains.lamp;
            self.filament = mains.lamp.map(Filament::cold);
        }
        let h = 1.0 / (mains.hertz * STEPS as f64);
        let mut inrush = 0.0_f64;
        let mut before: Option<Vec<f64>> = None;
        for cycles in 1..=MOST {
            let mut seen = Seen::new(nets, self.windings.len());
            for _ in 0..STEPS {
                self.phase += h * mains.hertz;
                self.step(h, mains)?;
                seen.take(&self.course.potential()[..nets], &self.amps, &self.windings);
            }
            self.phase = self.phase.fract();
            inrush = inrush.max(seen.peak());
            let mean = seen.mean();
            let highest = mean.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
            let alike = before.as_ref().is_some_and(|b| {
                b.iter()
                    .zip(&mean)
                    .all(|(a, b)| (a - b).abs() <= ALIKE * highest.max(0.1))
            });
            if alike || cycles == MOST {
                return Ok(seen.cycle(inrush, cycles, alike));
            }
            before = Some(mean);
        }
        unreachable!("the last cycle returns")
    }

    fn step(&mut self, h: f64, mains: &Mains) -> Result<(), Refusal> {
        let peak = std::f64::consts::SQRT_2 * self.primary_volts * mains.share;
        let source = peak * (std::f64::consts::TAU * self.phase).sin();
        let before = self.primary_ohms + self.filament.map_or(0.0, |f| f.ohms());
        let primary: f64 = self
            .windings
            .iter()
            .zip(&self.amps)
            .map(|(w, i)| w.turns * i)
            .sum();
        let mut volts = Vec::with_capacity(self.windings.len());
        for (k, w) in self.windings.iter().enumerate() {
            // What the other windings draw, as of the step before, drops volts in the primary's resistance, too.
            let others = primary - w.turns * self.amps[k];
            volts.push(w.turns * (source - before * others));
            self.course.set_ohms(k, w.ohms + before * w.turns * w.turns);
        }
        self.course.step(h, &volts)?;
        for k in 0..self.amps.len() {
            self.amps[k] = self.course.delivered(k);
        }
        if let Some(filament) = &mut self.filament {
            let primary: f64 = self
                .windings
                .iter()
                .zip(&self.amps)
                .map(|(w, i)| w.turns * i)
                .sum();
            filament.step(h, primary);
        }
        Ok(())
    }
}

/// Whether a diode is on the net.
fn rectifies(sheet: &Sheet, net: NetId) -> bool {
    sheet.parts.iter().any(|p| match p.kind {
        Kind::Diode { anode, cathode, .. } => anode == net || cathode == net,
        _ => false,
    })
}

/// Supplies that lie across what rectifiers deliver: one of their nets is behind a diode that is on a winding.
fn stand_ins(sheet: &Sheet) -> Vec<PartId> {
    let winding = |net: NetId| {
        sheet.parts.iter().any(|p| match &p.kind {
            Kind::Transformer { windings } => windings.iter().any(|w| w.ends.contains(&net)),
            _ => false,
        })
    };
    let ground = |net: NetId| sheet.nets[net.index()].role == Some(sheet::Role::Ground);
    let behind = |net: NetId| {
        sheet.parts.iter().any(|p| match p.kind {
            Kind::Diode { anode, cathode, .. } => {
                (anode == net && winding(cathode)) || (cathode == net && winding(anode))
            }
            _ => false,
        })
    };
    let supplies = sheet
        .parts
        .iter()
        .enumerate()
        .filter(|(_, p)| match p.kind {
            Kind::Supply { plus, minus, .. } => {
                [plus, minus].iter().any(|n| behind(*n) && !ground(*n))
            }
            _ => false,
        });
    supplies.map(|(k, _)| PartId(k as u32)).collect()
}

/// What is noted over a cycle.
struct Seen {
    count: f64,
    sum: Vec<f64>,
    low: Vec<f64>,
    high: Vec<f64>,
    /// Of each winding: currents at every step.
    amps: Vec<Vec<f64>>,
    primary: f64,
}

impl Seen {
    fn new(nets: usize, windings: usize) -> Self {
        Self {
            count: 0.0,
            sum: vec![0.0; nets],
            low: vec![f64::INFINITY; nets],
            high: vec![f64::NEG_INFINITY; nets],
            amps: vec![Vec::with_capacity(STEPS); windings],
            primary: 0.0,
        }
    }

    fn take(&mut self, potential: &[f64], amps: &[f64], windings: &[Secondary]) {
        self.count += 1.0;
        for (k, v) in potential.iter().enumerate() {
            self.sum[k] += v;
            self.low[k] = self.low[k].min(*v);
            self.high[k] = self.high[k].max(*v);
        }
        let mut primary = 0.0;
        for ((list, i), w) in self.amps.iter_mut().zip(amps).zip(windings) {
            list.push(*i);
            primary += w.turns * i;
        }
        self.primary += primary * primary;
    }

    fn mean(&self) -> Vec<f64> {
        self.sum.iter().map(|s| s / self.count).collect()
    }

    fn peak(&self) -> f64 {
        self.amps.iter().flatten().fold(0.0, |m, i| m.max(i.abs()))
    }

    fn cycle(self, inrush: f64, cycles: usize, settled: bool) -> Cycle {
        let average = |list: &Vec<f64>| list.iter().map(|i| i.abs()).sum::<f64>() / self.count;
        let most = self
            .amps
            .iter()
            .max_by(|a, b| average(a).total_cmp(&average(b)));
        let conduction = most.map_or(0.0, |list| {
            let peak = list.iter().fold(0.0_f64, |m, i| m.max(i.abs()));
            let positive = list.iter().filter(|i| **i > 0.01 * peak).count();
            let negative = list.iter().filter(|i| **i < -0.01 * peak).count();
            std::f64::consts::TAU * positive.max(negative) as f64 / self.count
        });
        Cycle {
            mean: self.mean(),
            ripple: self
                .low
                .iter()
                .zip(&self.high)
                .map(|(l, h)| h - l)
                .collect(),
            peak: self.peak(),
            inrush,
            average: most.map_or(0.0, average),
            conduction,
            primary: (self.primary / self.count).sqrt(),
            cycles,
            settled,
        }
    }
}

/// Runs a supply up through shares of the mains, each from where the one before left it.
///
/// # Errors
/// If a moment has no certified solution.
pub fn run_up(
    rectified: &mut Rectified,
    shares: &[f64],
    hertz: f64,
    lamp: Option<Lamp>,
    nets: usize,
) -> Result<Vec<Cycle>, Refusal> {
    shares
        .iter()
        .map(|share| {
            rectified.settle(
                &Mains {
                    hertz,
                    share: *share,
                    lamp,
                },
                nets,
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(text: &str) -> Sheet {
        let (sheet, diagnostics) = sheet::parse(text, "s.kdl");
        assert!(diagnostics.iter().all(|d| !d.is_error()), "{diagnostics:?}");
        sheet
    }

    fn settled(sheet: &Sheet, hertz: f64, lamp: Option<Lamp>) -> Cycle {
        let mut rectified = Rectified::new(sheet).expect("it has a rectifier");
        let cycle = rectified
            .settle(
                &Mains {
                    hertz,
                    share: 1.0,
                    lamp,
                },
                sheet.nets.len(),
            )
            .unwrap();
        assert!(cycle.settled, "after {} cycles", cycle.cycles);
        cycle
    }

    fn near(got: f64, wanted: f64, share: f64) {
        assert!(
            (got - wanted).abs() <= share * wanted.abs(),
            "{got} is not {wanted}"
        );
    }

    /// A textbook's half-wave supply (from memory, recomputed): 100 V peak, 60 Hz, 10 kilohm and 2 V of ripple need
    /// 83.3 uF; the diode conducts for 0.2 radians, 324 mA in the mean of these and 638 mA at most. The book takes the
    /// cosine's top for a parabola and the ripple for a straight line, hence the few per cent.
    #[test]
    fn half_wave_of_the_textbook() {
        let sheet = sheet(
            "sheet S { net G role=ground
            transformer T1 { winding primary L N volts=230 ohms=0.01; winding low A G volts=70.7107 ohms=0.02 }
            diode D1 silicon-rectifier anode=A cathode=P is=1e-6 n=0.2 rs=0
            capacitor C1 \"83.333u\" plus=P minus=G leak=\"100M\"
            resistor R1 \"10k\" P G }",
        );
        let cycle = settled(&sheet, 60.0, None);
        let p = sheet.net("P").unwrap().index();
        near(cycle.ripple[p], 2.0, 0.06);
        near(cycle.conduction, 0.2, 0.15);
        near(cycle.peak, 0.638, 0.08);
        // In the mean over the whole cycle the diode carries what the load does.
        near(cycle.average, cycle.mean[p] / 10e3, 0.03);
        near(
            cycle.average * std::f64::consts::TAU / cycle.conduction,
            0.324,
            0.15,
        );
    }

    /// I / (2 f C) for a full wave (handbooks): 0.5 A, 50 Hz, 4700 uF give 1.06 V; the straight line leaves out that the
    /// reservoir is charged for a part of each half cycle.
    #[test]
    fn full_wave_ripple_is_below_the_handbook_s_straight_line() {
        let text = "sheet S { net G role=ground
            transformer T1 { winding primary L N volts=230 ohms=0.1; winding low A B volts=20 ohms=0.05 }
            diode D1 silicon-rectifier anode=A cathode=P
            diode D2 silicon-rectifier anode=B cathode=P
            diode D3 silicon-rectifier anode=G cathode=A
            diode D4 silicon-rectifier anode=G cathode=B
            supply V1 volts=26 plus=P minus=G ohms=1
            capacitor C1 \"4700u\" plus=P minus=G leak=\"1M\"
            load L1 P G amps=0.5 }";
        let sheet = sheet(text);
        let rectified = Rectified::new(&sheet).unwrap();
        assert_eq!(rectified.stood_in, [sheet.part("V1").unwrap()]);
        let cycle = settled(&sheet, 50.0, None);
        let p = sheet.net("P").unwrap().index();
        let line = 0.5 / (2.0 * 50.0 * 4700e-6);
        assert!(
            cycle.ripple[p] < line && cycle.ripple[p] > 0.75 * line,
            "{}",
            cycle.ripple[p]
        );
        // The top is 28.3 V less two diodes and the windings' drop.
        assert!((25.0..27.5).contains(&cycle.mean[p]), "{}", cycle.mean[p]);
    }

    /// A public examination item: 475 uF, 1 A, a triangle of 10 V peak and 1 ms give exactly 2.000 V of ripple; the straight
    /// line I T / C gives 2.105 V.
    #[test]
    fn ripple_on_a_triangle_is_exact() {
        let sheet = sheet(
            "sheet S { net G role=ground
            diode D1 silicon-rectifier anode=A cathode=P is=1e-3 n=0.01 rs=0
            capacitor C1 \"475u\" plus=P minus=G leak=\"100M\"
            load L1 P G amps=1 }",
        );
        let network = circuit::build(&sheet, Devices::shipped(), State::Powered);
        let net = |n: &str| sheet.net(n).unwrap().0;
        let drive = Drive {
            nodes: [net("A"), net("G")],
            ohms: 1e-3,
        };
        let mut course = Course::new(&sheet, network, &[drive], |_| 9.0);
        let (mut low, mut high) = (f64::INFINITY, 0.0_f64);
        for k in 1..=4000 {
            let phase = (f64::from(k) / 1000.0).fract();
            let triangle = 10.0 * (4.0 * (phase - 0.5).abs() - 1.0);
            course.step(1e-6, &[triangle]).unwrap();
            if k > 2000 {
                let v = course.potential()[net("P") as usize];
                (low, high) = (low.min(v), high.max(v));
            }
        }
        near(high - low, 2.0, 0.01);
    }

    #[test]
    fn a_series_lamp_holds_a_shorted_reservoir_and_lets_a_healthy_supply_up() {
        let text = |short: &str| {
            format!(
                "sheet S {{ net G role=ground
            transformer T1 {{ winding primary L N volts=230 ohms=20; winding low A B volts=16 ohms=0.5 }}
            diode D1 silicon-rectifier anode=A cathode=P
            diode D2 silicon-rectifier anode=B cathode=P
            diode D3 silicon-rectifier anode=G cathode=A
            diode D4 silicon-rectifier anode=G cathode=B
            capacitor C1 \"1000u\" plus=P minus=G
            resistor R1 \"100R\" P G
            {short} }}"
            )
        };
        let lamp = Some(Lamp {
            volts: 230.0,
            amps: 60.0 / 230.0,
            cold: 60.0,
        });
        let healthy = sheet(&text(""));
        let p = healthy.net("P").unwrap().index();
        let without = settled(&healthy, 50.0, None);
        let with = settled(&healthy, 50.0, lamp);
        assert!(
            with.mean[p] > 0.85 * without.mean[p],
            "{} of {}",
            with.mean[p],
            without.mean[p]
        );
        assert!(with.inrush < without.inrush);
        // Shorted, the lamp has the mains to itself: a quarter of an ampere at most, where the windings alone let through amperes.
        let shorted = sheet(&text("resistor R2 \"0.1R\" P G"));
        let held = settled(&shorted, 50.0, lamp);
        assert!(held.primary < 0.27, "{}", held.primary);
        assert!(settled(&shorted, 50.0, None).primary > 0.6);
    }

    #[test]
    fn a_variable_transformer_runs_it_up_in_proportion() {
        let sheet = sheet(
            "sheet S { net G role=ground
            transformer T1 { winding primary L N volts=230 ohms=5; winding low A G volts=100 ohms=2 }
            diode D1 silicon-rectifier anode=A cathode=P
            capacitor C1 \"50u\" plus=P minus=G leak=\"1M\"
            resistor R1 \"10k\" P G }",
        );
        let mut rectified = Rectified::new(&sheet).unwrap();
        let cycles = run_up(
            &mut rectified,
            &[0.25, 0.5, 1.0],
            50.0,
            None,
            sheet.nets.len(),
        )
        .unwrap();
        let p = sheet.net("P").unwrap().index();
        near(cycles[2].mean[p] / cycles[1].mean[p], 2.0, 0.03);
        near(cycles[1].mean[p] / cycles[0].mean[p], 2.0, 0.05);
    }

    #[test]
    fn a_sheet_without_rectifier_has_none() {
        assert!(Rectified::new(&sheet("sheet S { resistor R1 \"1k\" A B; }")).is_none());
    }
}
