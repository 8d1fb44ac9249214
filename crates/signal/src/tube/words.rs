//! What a bend means: each term with its figure, how it looks on the screen, and what adjusts or causes it.
//!
//! What adjusts or causes a term is common practice of oscilloscope repair: position, gain, astigmatism and geometry controls,
//! the balance of the plates' drive, the kilovolt supply, the tube's clamp and shield.

use super::fit::Told;
use super::geometry::{Bend, column};

/// Terms, in the order in which they are set right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Both gains together.
    Size,
    /// Gain of one axis.
    Gain,
    /// Place of the middle.
    Offset,
    /// All turned.
    Rotation,
    /// Axes not at right angles.
    Skew,
    /// Lines bent.
    Bow,
    /// Wider at one end than at the other.
    Wedge,
    /// One side of an axis wider than the other.
    Side,
    /// Both ends of an axis crowded or stretched.
    Ends,
    /// Ramps not straight in time.
    Ramp,
}

/// One term of a bend.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// What it is.
    pub kind: Kind,
    /// Its name, with the axis.
    pub name: String,
    /// Its value in `unit`; none where the picture does not tell.
    pub told: Option<Told>,
    /// `%` of the half size, `deg`, or the channel's unit.
    pub unit: String,
    /// Beyond three times its uncertainty, and large enough to be seen.
    pub stands: bool,
    /// How it looks.
    pub looks: String,
    /// What adjusts it, or causes it.
    pub cause: &'static str,
}

/// Below this share of the half size a term cannot be seen; chosen as about half the width of a spot.
const SEEN: f64 = 0.005;
const DEGREES: f64 = 180.0 / std::f64::consts::PI;

/// All terms of a bend; `units` are the symbols of X and of Y.
pub fn terms(bend: &Bend, units: [&str; 2]) -> Vec<Term> {
    let mut list = Vec::new();
    let axes = axes(bend);
    if let Some(gains) = axes.gains {
        list.extend(size(&gains));
        for (axis, told) in gains.iter().enumerate() {
            list.push(gain(axis, *told));
        }
    } else {
        list.push(untold(Kind::Gain, "gain"));
    }
    for (axis, unit) in units.iter().enumerate() {
        list.push(offset(bend, axis, unit));
    }
    match axes.angles {
        Some(angles) => list.extend(turned(&angles)),
        None => list.push(untold(Kind::Rotation, "rotation and skew")),
    }
    for axis in 0..2 {
        list.extend(higher(bend, axis));
    }
    list
}

const AXIS: [&str; 2] = ["X", "Y"];

fn untold(kind: Kind, name: &str) -> Term {
    Term {
        kind,
        name: name.to_owned(),
        told: None,
        unit: String::new(),
        stands: false,
        looks: "This picture does not tell.".to_owned(),
        cause: "",
    }
}

fn term(kind: Kind, name: String, told: Told, unit: &str, seen: f64) -> Term {
    Term {
        kind,
        name,
        told: Some(told),
        unit: unit.to_owned(),
        stands: told.value.abs() > seen && told.value.abs() > 3.0 * told.uncertainty,
        looks: String::new(),
        cause: "",
    }
}

struct Axes {
    /// Gain of X and of Y; below zero if that axis is turned round.
    gains: Option<[Told; 2]>,
    /// Slope of horizontals and lean of verticals, degrees anticlockwise.
    angles: Option<[Told; 2]>,
}

/// Gains and angles of the images of both axes, in the channels' own units.
fn axes(bend: &Bend) -> Axes {
    let f = |axis: usize, c: usize| bend.factors[axis][c];
    let ratio = bend.half[0] / bend.half[1];
    let scaled = |t: Option<Told>, by: f64| {
        t.map(|t| Told {
            value: t.value * by,
            uncertainty: t.uncertainty * by,
        })
    };
    // images of one unit along X and along Y
    let along = [
        [f(0, column::OWN), scaled(f(1, column::OTHER), 1.0 / ratio)],
        [scaled(f(0, column::OTHER), ratio), f(1, column::OWN)],
    ];
    let lengths = [0, 1].map(|axis| {
        let own = along[axis][axis]?;
        let cross = along[axis][1 - axis].unwrap_or(Told {
            value: 0.0,
            uncertainty: 0.0,
        });
        let long = own.value.hypot(cross.value);
        Some(Told {
            value: long.copysign(own.value),
            uncertainty: (own.value * own.uncertainty).hypot(cross.value * cross.uncertainty)
                / long.max(f64::MIN_POSITIVE),
        })
    });
    let angles = [0, 1].map(|axis| {
        let (own, cross) = (along[axis][axis]?, along[axis][1 - axis]?);
        let long = own.value.hypot(cross.value).max(f64::MIN_POSITIVE);
        // a vertical that leans to the right has turned clockwise
        let sense = if axis == 0 { 1.0 } else { -1.0 };
        let uncertainty = (own.value * cross.uncertainty).hypot(cross.value * own.uncertainty);
        Some(Told {
            value: sense * (cross.value / own.value).atan() * DEGREES,
            uncertainty: uncertainty / (long * long) * DEGREES,
        })
    });
    let both = |of: [Option<Told>; 2]| Some([of[0]?, of[1]?]);
    Axes {
        gains: both(lengths),
        angles: both(angles),
    }
}

/// Both axes larger or smaller alike.
fn size(gains: &[Told; 2]) -> Option<Term> {
    let [x, y] = gains.map(|g| g.value.abs() - 1.0);
    let mean = 0.5 * (x + y);
    let apart = (x - y).abs();
    let doubt = gains[0].uncertainty.hypot(gains[1].uncertainty);
    if mean.abs() < 2.0 * SEEN || apart > (0.2 * mean.abs()).max(3.0 * doubt) {
        return None;
    }
    let told = Told {
        value: 100.0 * mean,
        uncertainty: 50.0 * doubt,
    };
    let mut t = term(Kind::Size, "size".to_owned(), told, "%", 100.0 * SEEN);
    t.looks = format!(
        "The whole picture is {}.",
        if mean > 0.0 { "larger" } else { "smaller" }
    );
    t.cause = "If the drive signals were recorded before the amplifiers, what both share: their common supply or reference. On a screen, \
        with equal plate volts: the accelerating voltage, since the picture grows as that falls.";
    Some(t)
}

fn gain(axis: usize, told: Told) -> Term {
    let name = format!("{} gain", AXIS[axis]);
    let excess = Told {
        value: 100.0 * (told.value.abs() - 1.0),
        uncertainty: 100.0 * told.uncertainty,
    };
    let mut t = term(Kind::Gain, name, excess, "%", 100.0 * SEEN);
    let wide = [["narrower", "wider"], ["lower", "taller"]][axis][usize::from(excess.value > 0.0)];
    t.looks = format!("The picture is {wide}.");
    t.cause = "The gain control of this axis; else its amplifier: a feedback, emitter or load resistor that has burnt or drifted.";
    if told.value < 0.0 {
        t.stands = true;
        t.looks = format!(
            "The picture is turned round, {}, and {wide}.",
            ["left for right", "top for bottom"][axis]
        );
        t.cause = "The two plates of this axis are exchanged, or their drive is inverted: look at the leads first.";
    }
    t
}

fn offset(bend: &Bend, axis: usize, unit: &str) -> Term {
    let name = format!("{} place", AXIS[axis]);
    let Some(told) = bend.factors[axis][column::PLACE] else {
        return untold(Kind::Offset, &name);
    };
    let half = bend.half[axis];
    // where no signal puts the spot, if that is within the picture, so that a gain does not look like a shift; else its middle
    let zero = [0, 1].map(|a| -bend.middle[a] / bend.half[a]);
    let is_within = zero.iter().all(|z| z.abs() <= 1.0);
    let (own, other) = if is_within {
        (zero[axis], zero[1 - axis])
    } else {
        (0.0, 0.0)
    };
    let row = [
        1.0,
        own,
        other,
        own * own,
        own * other,
        other * other,
        own.powi(3),
    ];
    let parts = row
        .iter()
        .zip(&bend.factors[axis])
        .filter_map(|(v, f)| f.map(|f| (v, f)));
    let sum: f64 = parts.map(|(v, f)| v * f.value).sum();
    let doubt = |c: usize, v: f64| bend.factors[axis][c].map_or(0.0, |f| f.uncertainty * v);
    let leaning = doubt(column::OWN, own).hypot(doubt(column::OTHER, other));
    let shift = Told {
        value: (sum - own) * half,
        uncertainty: told.uncertainty.hypot(leaning) * half,
    };
    let mut t = term(Kind::Offset, name, shift, unit, SEEN * half);
    let way = [["left", "right"], ["down", "up"]][axis][usize::from(shift.value > 0.0)];
    t.looks = format!(
        "The picture stands {:.1} % of its half size further {way}.",
        100.0 * (sum - own).abs()
    );
    t.cause = "The position control of this axis; else unequal loads of the two plates, a leaky coupling capacitor, or a plate that leaks.";
    t
}

/// Rotation is what both axes turn alike, skew by how much they do not.
fn turned(angles: &[Told; 2]) -> [Term; 2] {
    let [slope, lean] = angles;
    let doubt = slope.uncertainty.hypot(lean.uncertainty);
    let rotation = Told {
        value: 0.5 * (slope.value + lean.value),
        uncertainty: 0.5 * doubt,
    };
    let skew = Told {
        value: lean.value - slope.value,
        uncertainty: doubt,
    };
    let seen = SEEN * DEGREES;
    let mut turn = term(Kind::Rotation, "rotation".to_owned(), rotation, "deg", seen);
    let mut lopsided = term(Kind::Skew, "skew".to_owned(), skew, "deg", seen);
    let way = if rotation.value > 0.0 {
        "anticlockwise"
    } else {
        "clockwise"
    };
    turn.looks = format!("The picture is turned {way}.");
    turn.cause = "The tube turned in its clamp, or the coil that aligns the trace; recorded from the drive, both axes leak into each other.";
    let one = |told: &Told, other: &Told| {
        told.value.abs() < (3.0 * told.uncertainty).max(0.15 * other.value.abs())
    };
    if lopsided.stands && one(slope, lean) {
        turn.stands = false;
        turn.looks = "Only half the lean below.".to_owned();
        let way = if lean.value > 0.0 { "left" } else { "right" };
        lopsided.looks = format!("Horizontals are level; verticals lean to the {way}.");
        lopsided.cause = "The Y signal gets into the X channel: a shared plate supply or ground, a leak between their wires, a coupling \
            capacitor. Inside the tube the plates cannot be adjusted.";
    } else if lopsided.stands && one(lean, slope) {
        turn.stands = false;
        turn.looks = "Only half the slope below.".to_owned();
        let way = if slope.value > 0.0 { "rise" } else { "fall" };
        lopsided.looks = format!("Verticals are upright; horizontals {way} to the right.");
        lopsided.cause = "The X signal gets into the Y channel: a shared plate supply or ground, a leak between their wires, a coupling \
            capacitor. Inside the tube the plates cannot be adjusted.";
    } else {
        lopsided.looks = "The axes are not at right angles.".to_owned();
        lopsided.cause = "Each channel gets into the other: a shared supply or ground. If the other unit's tube does it alike, its plates.";
    }
    [turn, lopsided]
}

fn higher(bend: &Bend, axis: usize) -> Vec<Term> {
    let own = AXIS[axis];
    let lines = ["verticals", "horizontals"][axis];
    let names = [
        (column::BOW, Kind::Bow, format!("{own} bow")),
        (column::WEDGE, Kind::Wedge, format!("{own} wedge")),
        (column::SIDE, Kind::Side, format!("{own} one-sided")),
        (column::ENDS, Kind::Ends, format!("{own} ends")),
        (column::RAMP, Kind::Ramp, format!("{own} ramp")),
    ];
    let one = |(c, kind, name): (usize, Kind, String)| {
        let Some(told) = bend.factors[axis][c] else {
            return untold(kind, &name);
        };
        let share = Told {
            value: 100.0 * told.value,
            uncertainty: 100.0 * told.uncertainty,
        };
        let mut t = term(kind, name, share, "%", 100.0 * SEEN);
        let plus = share.value > 0.0;
        (t.looks, t.cause) = match kind {
            Kind::Bow => (
                format!(
                    "The outer ends of {lines} bend {}.",
                    [["left", "right"], ["down", "up"]][axis][usize::from(plus)]
                ),
                "The mean voltage of the plates against the last anode (astigmatism and geometry controls), or a magnetic field: the tube's shield, \
                 a magnetised part, a transformer near by.",
            ),
            Kind::Wedge => (
                format!(
                    "The picture is {} at its {} end than at the other.",
                    ["wider", "taller"][axis],
                    [["lower", "upper"], ["left", "right"]][axis][usize::from(plus)]
                ),
                "The plates are not driven in balance: one of the pair stands still or lags; a dead output transistor, an open load, a lead off.",
            ),
            Kind::Side => (
                format!(
                    "The {} half is stretched, the other crowded.",
                    [["left", "right"], ["lower", "upper"]][axis][usize::from(plus)]
                ),
                "One side of the output stage runs out of supply or current: its load resistor, its bias, its transistor's gain.",
            ),
            Kind::Ends => (
                format!(
                    "Both ends are {}.",
                    if plus { "stretched" } else { "crowded" }
                ),
                "The amplifier limits at both ends: plate supply low, standing current low, or too much gain behind too little room.",
            ),
            _ => (
                format!(
                    "Strokes begin {} and end {} than the other unit's.",
                    if plus { "faster" } else { "slower" },
                    if plus { "slower" } else { "faster" }
                ),
                "The ramp is not straight in time: its current source, the leak of its capacitor or of its reset switch.",
            ),
        };
        t
    };
    names.map(one).into()
}
