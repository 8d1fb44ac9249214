//! What each part of a powered circuit has to bear, against what it is rated for.

mod cascade;
mod ratings;

use circuit::{Element, Mode, Network, Node};
use sheet::device::Devices;
use sheet::{Kind, NetId, Part, PartId, Polarity, Role, Sheet};

pub use cascade::{Cascade, Operating, Powered, Victim, hazard_faults};
pub use ratings::{Aspect, Basis, Bound, Class, First, RatingsFile, read as read_ratings, shipped};

/// How a stress is taken from an operating point.
#[derive(Clone, Debug, PartialEq)]
enum Measure {
    /// Watts in branches together.
    Power(Vec<usize>),
    /// Watts as if the current through a part of a track went through all of it: branch, ohms of the track.
    Track(usize, f64),
    /// Volts between two nodes, either way.
    Across(Node, Node),
    /// Volts of the second node above the first; none if it is below.
    Above(Node, Node),
    /// Amperes through a branch at its first node, either way.
    Through(usize),
    /// Amperes into a branch at its first node; none if they flow out of it.
    Forward(usize),
    /// Volts from collector to emitter as the transistor works.
    CollectorEmitter(usize),
    /// Volts from emitter to base, against the junction.
    ReverseBase(usize),
}

/// One rating of one part, and where to see what the part bears.
#[derive(Clone, Debug, PartialEq)]
pub struct Gauge {
    /// The part.
    pub part: PartId,
    /// The winding, where the part has several.
    pub piece: Option<String>,
    /// What is compared.
    pub aspect: Aspect,
    /// The rating in SI units.
    pub rating: f64,
    /// Stress beyond which the part counts as lost.
    pub beyond: f64,
    /// Stress of the healthy circuit.
    pub healthy: f64,
    /// Whether the rating stands on the sheet or in the device file.
    pub given: bool,
    /// How hard the part is to replace.
    pub weight: f64,
    /// How it fails.
    pub fails: Option<Mode>,
    /// What goes first.
    pub first: First,
    measure: Measure,
}

/// Working voltages in which electrolytics were made (common practice).
const SIZES: [f64; 16] = [
    3.0, 6.0, 10.0, 12.0, 15.0, 25.0, 35.0, 50.0, 64.0, 100.0, 150.0, 250.0, 350.0, 450.0, 500.0,
    1000.0,
];
/// Room that the maker left above what the part sees, where the rating is inferred: chosen.
const ROOM: f64 = 1.1;
/// A part that lives with more than its rating is lost only beyond this multiple of what it lives with: chosen.
const OF_HEALTHY: f64 = 1.25;

impl Gauge {
    /// What the part bears at an operating point.
    pub fn stress(&self, network: &Network, values: &[f64], potential: &[f64]) -> f64 {
        let at = |n: Node| potential[n as usize];
        let current = |b: usize, k: usize| {
            let branch = &network.branches[b];
            branch.currents(values, potential).map_or(0.0, |i| i[k])
        };
        match &self.measure {
            Measure::Power(branches) => branches
                .iter()
                .map(|b| power(network, *b, values, potential))
                .sum::<f64>()
                .max(0.0),
            Measure::Track(b, ohms) => current(*b, 0).powi(2) * ohms,
            Measure::Across(a, b) => (at(*a) - at(*b)).abs(),
            Measure::Above(a, b) => (at(*b) - at(*a)).max(0.0),
            Measure::Through(b) => current(*b, 0).abs(),
            Measure::Forward(b) => current(*b, 0).max(0.0),
            Measure::CollectorEmitter(b) => {
                let [c, _, e] = network.branches[*b].nodes;
                (sign(network, *b) * (at(c) - at(e))).max(0.0)
            }
            Measure::ReverseBase(b) => {
                let [_, b_node, e] = network.branches[*b].nodes;
                (sign(network, *b) * (at(e) - at(b_node))).max(0.0)
            }
        }
    }
}

/// +1 for npn, -1 for pnp.
fn sign(network: &Network, branch: usize) -> f64 {
    match network.branches[branch].element {
        Element::Device { sign, .. } => sign,
        _ => 0.0,
    }
}

/// Watts that a branch turns into heat.
fn power(network: &Network, branch: usize, values: &[f64], potential: &[f64]) -> f64 {
    let branch = &network.branches[branch];
    let currents = branch.currents(values, potential).unwrap_or([0.0; 3]);
    let nodes = branch.used_nodes().iter();
    nodes
        .zip(currents)
        .map(|(n, i)| potential[*n as usize] * i)
        .sum()
}

/// All gauges of a sheet on its powered network, whose healthy operating point is `potential`.
pub fn gauges(sheet: &Sheet, network: &Network, values: &[f64], potential: &[f64]) -> Vec<Gauge> {
    let file = shipped();
    let mut found = Vec::new();
    for (index, part) in sheet.parts.iter().enumerate() {
        let id = PartId(index as u32);
        let Some(class) = file.class(part) else {
            continue;
        };
        let weight = if sheet.irreplaceable.contains(&id) {
            file.irreplaceable
        } else {
            class.weight
        };
        let own: Vec<usize> = (0..network.branches.len())
            .filter(|b| network.branches[*b].part == Some(id))
            .collect();
        for bound in &class.bounds {
            let around = Around {
                sheet,
                network,
                potential,
                own: &own,
            };
            for (piece, rating, given, measure) in around.rated(part, bound) {
                let mut gauge = Gauge {
                    part: id,
                    piece,
                    aspect: bound.aspect,
                    rating,
                    beyond: bound.margin * rating,
                    healthy: 0.0,
                    given,
                    weight,
                    fails: class.fails,
                    first: class.first,
                    measure,
                };
                gauge.healthy = gauge.stress(network, values, potential);
                gauge.beyond = gauge.beyond.max(OF_HEALTHY * gauge.healthy);
                found.push(gauge);
            }
        }
    }
    found
}

/// A part's surroundings.
struct Around<'a> {
    sheet: &'a Sheet,
    network: &'a Network,
    potential: &'a [f64],
    own: &'a [usize],
}

/// A rating with its measure: piece, rating, whether it was given, measure.
type Rated = (Option<String>, f64, bool, Measure);

impl Around<'_> {
    /// The ratings of one bound; more than one for windings and tracks.
    fn rated(&self, part: &Part, bound: &Bound) -> Vec<Rated> {
        let one = |rating: Option<(f64, bool)>, measure: Measure| -> Vec<Rated> {
            let rating = rating.filter(|r| r.0 > 0.0);
            rating
                .map(|(r, given)| (None, r, given, measure))
                .into_iter()
                .collect()
        };
        let number = match bound.basis {
            Basis::Number(x) => Some((x, false)),
            _ => None,
        };
        let written = &part.ratings;
        let or = |given: Option<f64>| given.map(|x| (x, true)).or(number);
        let watts = or(written.watts.map(|w| w.0));
        let amps = or(written.amps.map(|a| a.0));
        let devices = Devices::shipped();
        let across = |ends: &[NetId; 2]| Measure::Across(ends[0].0, ends[1].0);
        let Some(&first) = self.own.first() else {
            return match (&part.kind, bound.aspect) {
                (Kind::Capacitor { ends, .. }, Aspect::Volts) => {
                    one(self.working(part, bound, ends), across(ends))
                }
                (
                    Kind::Capacitor {
                        ends,
                        polarised: true,
                        ..
                    },
                    Aspect::Reverse,
                ) => one(number, Measure::Above(ends[0].0, ends[1].0)),
                _ => Vec::new(),
            };
        };
        match (&part.kind, bound.aspect) {
            (Kind::Resistor { .. } | Kind::Zener { .. }, Aspect::Watts) => {
                one(watts, Measure::Power(self.own.to_vec()))
            }
            (Kind::Inductor { .. }, Aspect::Watts) => match written.amps {
                Some(a) => one(Some((a.0, true)), Measure::Through(first)),
                None => one(watts, Measure::Power(self.own.to_vec())),
            },
            (Kind::Potentiometer { ohms, .. }, Aspect::Watts) => self
                .own
                .iter()
                .flat_map(|b| one(watts, Measure::Track(*b, ohms.0)))
                .collect(),
            (Kind::Capacitor { ends, .. }, Aspect::Volts) => {
                one(self.working(part, bound, ends), across(ends))
            }
            (
                Kind::Capacitor {
                    ends,
                    polarised: true,
                    ..
                },
                Aspect::Reverse,
            ) => one(number, Measure::Above(ends[0].0, ends[1].0)),
            (Kind::Transformer { windings }, Aspect::Amps) => windings
                .iter()
                .zip(self.own)
                .filter_map(|(w, b)| {
                    let rating = match (written.amps, bound.basis, w.volts, w.ohms) {
                        (Some(a), ..) => (a.0, true),
                        (None, Basis::Drop(f), Some(v), Some(r)) if r.0 > 0.0 => {
                            (f * v.0 / r.0, false)
                        }
                        _ => return None,
                    };
                    Some((
                        Some(w.name.clone()),
                        rating.0,
                        rating.1,
                        Measure::Through(*b),
                    ))
                })
                .collect(),
            (
                Kind::Diode {
                    device,
                    anode,
                    cathode,
                },
                aspect,
            ) => {
                let of_type = devices.diode(device, &part.spread).map(|m| m.ratings);
                let of = |f: fn(&sheet::Ratings) -> Option<f64>| {
                    f(written).or_else(|| of_type.as_ref().and_then(f))
                };
                if aspect == Aspect::Reverse {
                    one(
                        or(of(|r| r.volts.map(|v| v.0))),
                        Measure::Above(anode.0, cathode.0),
                    )
                } else {
                    one(or(of(|r| r.amps.map(|a| a.0))), Measure::Forward(first))
                }
            }
            (
                Kind::Transistor {
                    polarity, device, ..
                },
                aspect,
            ) => {
                let Some(b) = self
                    .own
                    .iter()
                    .copied()
                    .find(|b| self.network.branches[*b].is_transistor())
                else {
                    return Vec::new();
                };
                debug_assert_eq!(*polarity == Polarity::Npn, sign(self.network, b) > 0.0);
                let of_type = devices.transistor(device, &part.spread).map(|m| m.ratings);
                let of = |f: fn(&sheet::Ratings) -> Option<f64>| {
                    f(written).or_else(|| of_type.as_ref().and_then(f))
                };
                match aspect {
                    Aspect::Watts => {
                        let watts = or(of(|r| r.watts.map(|w| w.0)));
                        one(watts, Measure::Power(self.own.to_vec()))
                    }
                    Aspect::Amps => one(or(of(|r| r.amps.map(|a| a.0))), Measure::Through(b)),
                    Aspect::CollectorEmitter => {
                        let vceo = of(|r| r.vceo.or(r.volts).map(|v| v.0));
                        one(or(vceo), Measure::CollectorEmitter(b))
                    }
                    _ => one(number, Measure::ReverseBase(b)),
                }
            }
            (Kind::Lamp { ends, volts, .. }, Aspect::Lamp) => {
                one(Some((volts.0, true)), across(ends))
            }
            (Kind::Fuse { rated, .. }, Aspect::Amps) => {
                one(Some((rated.0, true)), Measure::Through(first))
            }
            (Kind::Switch { .. }, Aspect::Amps) => one(amps, Measure::Through(first)),
            (
                Kind::Supply {
                    volts, plus, minus, ..
                },
                Aspect::Rail,
            ) => {
                let rating = number.map(|(f, _)| (f * volts.0, false));
                one(rating, Measure::Above(minus.0, plus.0))
            }
            (Kind::Load { ends, .. }, Aspect::Rail | Aspect::Backwards) => {
                let rail = self.rail(ends);
                let rating = number.map(|(f, _)| (f * rail.abs(), false));
                let forward = (rail >= 0.0) == (bound.aspect == Aspect::Rail);
                let (low, high) = if forward {
                    (ends[1], ends[0])
                } else {
                    (ends[0], ends[1])
                };
                one(rating, Measure::Above(low.0, high.0))
            }
            _ => Vec::new(),
        }
    }

    fn difference(&self, ends: &[NetId; 2]) -> f64 {
        self.potential[ends[0].index()] - self.potential[ends[1].index()]
    }

    /// Working voltage of a capacitor: as written, of the class, or the next size above what it sees.
    fn working(&self, part: &Part, bound: &Bound, ends: &[NetId; 2]) -> Option<(f64, bool)> {
        if let Some(volts) = part.ratings.volts {
            return Some((volts.0, true));
        }
        let seen = ROOM * self.difference(ends).abs();
        let next = |least: f64| SIZES.iter().copied().find(|s| *s >= least).unwrap_or(least);
        match bound.basis {
            Basis::NextSize => Some((next(seen), false)),
            Basis::Number(x) => Some((x.max(if seen > x { next(seen) } else { x }), false)),
            _ => None,
        }
    }

    /// Volts of the rail that a load hangs on, from its first end to its second: as the drawing names it, else as it is
    /// when all is well.
    fn rail(&self, ends: &[NetId; 2]) -> f64 {
        let of = |net: NetId| {
            let net = &self.sheet.nets[net.index()];
            match net.role {
                Some(Role::Ground) => Some(0.0),
                Some(Role::Rail) => net.volts.map(|v| v.0),
                None => None,
            }
        };
        let named = of(ends[0])
            .zip(of(ends[1]))
            .map(|(a, b)| a - b)
            .filter(|v| *v != 0.0);
        named.unwrap_or_else(|| self.difference(ends))
    }
}
