//! All that may be wrong with a unit or its drawing, each with its weight before anything is read.

use sheet::device::{Devices, Material};
use sheet::{Contact, Kind, Part, Sheet};

use crate::predictions::{Blame, Change};
use crate::rates::{self, ModeShare};

/// Whose opinion of the parts is taken before anything is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Priors {
    /// Published base rates and shares, with ageing added.
    Published,
    /// A healthy unit 0.1, more than one fault 0.1, the rest equal over parts and their modes.
    Flat,
}

/// Weights before anything is read.
#[derive(Clone, Debug, PartialEq)]
pub struct Prior {
    /// All single changes; weights against a healthy unit's 1.
    pub changes: Vec<Change>,
    /// Factor on the product of two weights for both faults together.
    pub together: f64,
}

/// Steps of a magnitude's grid, as natural logarithms; chosen because a reading bends by less
/// than a hundredth over half a step.
const STEP: f64 = 0.5;
const SMALL_STEP: f64 = 0.35;
/// Share of drawings that have something wrong where a part stands, summed over the sheet: ours,
/// as drawings lack late changes.
const SHEET_WRONG: f64 = 0.02;

/// Everything that may be wrong.
pub fn prior(sheet: &Sheet, priors: Priors) -> Prior {
    match priors {
        Priors::Published => published(sheet),
        Priors::Flat => flat(sheet),
    }
}

/// Points of one logarithmic grid between limits, half a step off 1, so that changes of the same
/// kind share their magnitudes; at least one.
pub(crate) fn grid(from: f64, to: f64, step: f64) -> Vec<f64> {
    let at = |x: f64| x.ln() / step - 0.5;
    let (first, last) = ((at(from) - 0.01).ceil(), (at(to) + 0.01).floor());
    if last < first {
        return vec![(from * to).sqrt()];
    }
    (0..=(last - first) as usize)
        .map(|k| (step * (first + k as f64 + 0.5)).exp())
        .collect()
}

fn published(sheet: &Sheet) -> Prior {
    let mut changes = Vec::new();
    for (index, part) in sheet.parts.iter().enumerate() {
        let factor: f64 = sheet
            .alters
            .iter()
            .filter(|a| a.part.index() == index)
            .map(|a| a.prior)
            .product();
        for (name, kind, only, sharers) in pieces(part) {
            let Some(class) = rates::class(kind, &only) else {
                continue;
            };
            let odds = (class.rate * factor / sharers).min(0.5);
            let odds = odds / (1.0 - odds);
            for mode in &class.modes {
                changes.push(fault(&name, mode, odds * mode.share));
            }
        }
    }
    if let Some(class) = rates::class("bridge", "") {
        for (a, b) in &sheet.adjacent {
            let name = format!("{} {}", sheet.net_name(*a), sheet.net_name(*b));
            changes.push(Change {
                blame: Blame::Unit,
                part: "bridge".to_owned(),
                name,
                weight: class.rate,
                magnitudes: Vec::new(),
            });
        }
    }
    changes.extend(doubts(sheet));
    Prior {
        changes,
        together: 1.0,
    }
}

fn fault(part: &str, mode: &ModeShare, weight: f64) -> Change {
    let magnitudes = mode.magnitude.map_or(Vec::new(), |(from, to)| {
        let narrow = mode.fault != "leaky";
        grid(from, to, if narrow { SMALL_STEP } else { STEP })
    });
    Change {
        blame: Blame::Unit,
        part: part.to_owned(),
        name: mode.fault.clone(),
        weight,
        magnitudes,
    }
}

/// The pieces of a part that fail by themselves: name, class, style or material, and among how many
/// the class's rate is shared.
fn pieces(part: &Part) -> Vec<(String, &'static str, String, f64)> {
    let style = part.style.clone().unwrap_or_default();
    let one = |kind, only| vec![(part.name.clone(), kind, only, 1.0)];
    match &part.kind {
        Kind::Resistor { .. } => one("resistor", style),
        Kind::Potentiometer { .. } => one("potentiometer", style),
        Kind::Capacitor { .. } => one("capacitor", style),
        Kind::Inductor { .. } => one("inductor", style),
        Kind::Diode { device, .. } => {
            let model = Devices::shipped().diode(device, &part.spread);
            one("diode", material(model.map(|m| m.material)))
        }
        Kind::Zener { .. } => one("zener", style),
        Kind::Transistor { device, .. } => {
            let model = Devices::shipped().transistor(device, &part.spread);
            one("transistor", material(model.map(|m| m.material)))
        }
        Kind::Fuse { .. } => one("fuse", style),
        Kind::Lamp { .. } => one("lamp", style),
        Kind::Switch { state, .. } => match state {
            Contact::Closed => one("closed-contact", style),
            Contact::Open => one("open-contact", style),
        },
        Kind::Transformer { windings } => windings
            .iter()
            .map(|w| {
                let name = format!("{}.{}", part.name, w.name);
                (name, "winding", style.clone(), windings.len() as f64)
            })
            .collect(),
        Kind::Connector { pins } => pins
            .iter()
            .map(|p| {
                let name = format!("{}.{}", part.name, p.name);
                (name, "pin", style.clone(), pins.len() as f64)
            })
            .collect(),
        Kind::Supply { .. } | Kind::Load { .. } => Vec::new(),
    }
}

fn material(of: Option<Material>) -> String {
    match of {
        Some(Material::Germanium) => "germanium",
        Some(Material::Silicon) => "silicon",
        Some(Material::Selenium) => "selenium",
        None => "",
    }
    .to_owned()
}

const TRANSISTOR_MODES: [&str; 8] = [
    "be-short", "bc-short", "ce-short", "b-open", "c-open", "e-open", "be-open", "turned",
];

/// Modes of a part for those who distrust the tables; contacts and bridges have none.
fn flat_modes(part: &Part) -> &'static [&'static str] {
    match part.kind {
        Kind::Resistor { .. } | Kind::Potentiometer { .. } | Kind::Inductor { .. } => {
            &["open", "short", "high", "low"]
        }
        Kind::Capacitor { .. } => &["open", "short", "high", "low", "leaky"],
        Kind::Diode { .. } => &["open", "short", "leaky", "turned"],
        Kind::Zener { .. } => &["open", "short", "high", "low", "leaky", "turned"],
        Kind::Transistor { .. } => &TRANSISTOR_MODES,
        _ => &[],
    }
}

fn flat(sheet: &Sheet) -> Prior {
    const HEALTHY: f64 = 0.1;
    const MULTIPLE: f64 = 0.1;
    let parts: Vec<&Part> = sheet
        .parts
        .iter()
        .filter(|p| !flat_modes(p).is_empty())
        .collect();
    let each = (1.0 - HEALTHY - MULTIPLE) / HEALTHY / parts.len().max(1) as f64;
    let mut changes = Vec::new();
    for part in &parts {
        let modes = flat_modes(part);
        for name in modes {
            let magnitudes = match *name {
                "high" => grid(1.5, 5.0, SMALL_STEP),
                "low" => grid(1.0 / 5.0, 1.0 / 1.5, SMALL_STEP),
                "leaky" => grid(100.0, 100e3, STEP),
                _ => Vec::new(),
            };
            changes.push(Change {
                blame: Blame::Unit,
                part: part.name.clone(),
                name: (*name).to_owned(),
                weight: each / modes.len() as f64,
                magnitudes,
            });
        }
    }
    let pairs = 0.5 * (parts.len() * parts.len().saturating_sub(1)) as f64;
    let products = pairs * each * each;
    Prior {
        changes,
        together: if products > 0.0 {
            MULTIPLE / HEALTHY / products
        } else {
            0.0
        },
    }
}

/// What a drawing gets wrong about a part: (doubt, share of the doubts).
const VALUE: (&str, f64) = ("value", 0.4);
const NOT_FITTED: (&str, f64) = ("not fitted", 0.25);
const REVERSED: (&str, f64) = ("reversed", 0.35);
const MISSING: (&str, f64) = ("missing part", 0.10);
const SWAPPED: (&str, f64) = ("swapped nets", 0.10);

/// Doubts about the drawing at its parts.
fn doubts(sheet: &Sheet) -> Vec<Change> {
    let doubt = |part: &str, (name, weight): (&str, f64), magnitudes| Change {
        blame: Blame::Sheet,
        part: part.to_owned(),
        name: name.to_owned(),
        weight,
        magnitudes,
    };
    let mut found = Vec::new();
    for part in &sheet.parts {
        match part.kind {
            Kind::Resistor { .. } => {
                // A decade off either way, or any other value.
                found.push(doubt(&part.name, VALUE, grid(0.06, 16.0, SMALL_STEP)));
                found.push(doubt(&part.name, NOT_FITTED, Vec::new()));
            }
            Kind::Diode { .. } | Kind::Zener { .. } => {
                found.push(doubt(&part.name, REVERSED, Vec::new()));
                found.push(doubt(&part.name, NOT_FITTED, Vec::new()));
            }
            Kind::Transistor { .. } => {
                found.push(doubt(&part.name, REVERSED, Vec::new()));
                found.push(doubt(&part.name, NOT_FITTED, Vec::new()));
            }
            Kind::Capacitor { .. } | Kind::Lamp { .. } | Kind::Fuse { .. } => {
                found.push(doubt(&part.name, NOT_FITTED, Vec::new()));
            }
            Kind::Inductor { .. } => found.push(doubt(&part.name, NOT_FITTED, Vec::new())),
            _ => {}
        }
    }
    let total: f64 = found.iter().map(|c| c.weight).sum();
    let of_all = SHEET_WRONG * (1.0 - MISSING.1 - SWAPPED.1) / total;
    for change in &mut found {
        change.weight *= of_all;
    }
    found
}

/// Doubts that lie between two of these nets, on which readings are odd: a part that the drawing
/// lacks, or two names exchanged. `part` holds both names.
pub fn doubts_between(nets: &[&str]) -> Vec<Change> {
    let mut pairs = Vec::new();
    for (i, a) in nets.iter().enumerate() {
        pairs.extend(nets[..i].iter().map(|b| format!("{b} {a}")));
    }
    let each = SHEET_WRONG / pairs.len().max(1) as f64;
    let one = |part: &String, (name, share): (&str, f64), magnitudes| Change {
        blame: Blame::Sheet,
        part: part.clone(),
        name: name.to_owned(),
        weight: each * share,
        magnitudes,
    };
    pairs
        .iter()
        .flat_map(|p| {
            let missing = one(p, MISSING, grid(30.0, 300e3, STEP));
            [missing, one(p, SWAPPED, Vec::new())]
        })
        .collect()
}

/// What a change does to a circuit.
#[derive(Clone, Debug, PartialEq)]
pub enum Deed {
    /// The fault that is written so.
    Fault(String),
    /// Two nets, by their names, change places.
    Exchange(String, String),
}

/// What a change of this magnitude does.
pub fn deed(change: &Change, magnitude: Option<f64>) -> Deed {
    if change.name == SWAPPED.0
        && let Some((a, b)) = change.part.split_once(' ')
    {
        return Deed::Exchange(a.to_owned(), b.to_owned());
    }
    Deed::Fault(as_fault(change, magnitude))
}

fn as_fault(change: &Change, magnitude: Option<f64>) -> String {
    let number = |x: f64| units::number(x);
    if change.name == MISSING.0 {
        let ohms = magnitude.unwrap_or(1e3);
        return format!("bridge {}={}", change.part, number(ohms));
    }
    if change.part == "bridge" {
        return match magnitude {
            Some(ohms) => format!("bridge {}={}", change.name, number(ohms)),
            None => format!("bridge {}=0.1", change.name),
        };
    }
    let mode = match (change.blame, change.name.as_str(), magnitude) {
        (Blame::Sheet, "value", Some(f)) if f > 1.0 => format!("high={}", number(f)),
        (Blame::Sheet, "value", Some(f)) => format!("low={}", number(f)),
        (Blame::Sheet, "not fitted", _) => "open".to_owned(),
        (Blame::Sheet, "reversed", _) => "turned".to_owned(),
        (_, name, Some(m)) => format!("{name}={}", number(m)),
        (_, name, None) => name.to_owned(),
    };
    format!("{} {mode}", change.part)
}
