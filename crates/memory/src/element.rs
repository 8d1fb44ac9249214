//! The names of physical elements, how likely each is to fail, and where it lies.

use std::fmt;

use crate::fault::Fault;
use crate::shape::{Organisation, Shape};
use crate::wiring::Wiring;

/// One way in which one physical element can have failed.
#[derive(Clone, Debug, PartialEq)]
pub struct Element {
    /// The element with its number and what is wrong with it: `address line 5 stuck at 0`.
    pub name: String,
    /// How likely this failure is against others, before anything was read: failures in 10^6 hours of this element
    /// in this way. Only ratios count.
    pub prior: f64,
}

impl fmt::Display for Element {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name)
    }
}

/// Failure rates in 10^6 h, ground benign, and shares of failure modes.
///
/// Rates: MIL-HDBK-217F Notice 2 Appendix A, parts count, as a public copy gives them. Shares: MIL-HDBK-338B
/// (1998). They describe parts in service that were new at the time, so they only rank; `alter` overrides them.
mod book {
    /// Digital bipolar gate: 217F .0036; 338B out stuck high .28, stuck low .28, output open .22.
    pub const GATE_STUCK: f64 = 0.0036 * 0.28;
    /// A gate output that drives nothing any more: stuck at the idle level, or open.
    pub const GATE_DEAD: f64 = 0.0036 * (0.28 + 0.22);
    /// Printed-board edge contact: 217F .0054; 338B connector open .61, short .16.
    pub const CONTACT_OPEN: f64 = 0.0054 * 0.61;
    /// Two neighbouring contacts or conductors touching.
    pub const CONTACT_SHORT: f64 = 0.0054 * 0.16;
    /// Power transistor: 217F .0057; 338B short .73, open .27.
    pub const DRIVER_OPEN: f64 = 0.0057 * 0.27;
    /// The same, shorted: it drives always.
    pub const DRIVER_SHORT: f64 = 0.0057 * 0.73;
    /// Switching diode: 217F .00094; 338B general diode open .36, short .49.
    pub const DIODE_OPEN: f64 = 0.00094 * 0.36;
    /// The same, shorted.
    pub const DIODE_SHORT: f64 = 0.00094 * 0.49;
    /// A wire with two hand-soldered joints without wrap: 217F .0026 each; 338B connection open .61.
    pub const WIRE_OPEN: f64 = 2.0 * 0.0026 * 0.61;
    /// Two neighbouring wires touching: 338B connection short .16 of the same joints.
    pub const WIRE_SHORT: f64 = 2.0 * 0.0026 * 0.16;
    /// Linear amplifier: 217F .0095; 338B improper output .77, half of it to each side.
    pub const AMPLIFIER_STUCK: f64 = 0.0095 * 0.77 / 2.0;
    /// A core or a crossing of a woven wire has no published rate; chosen a hundred times rarer than a soldered wire,
    /// because there are thousands of them in a store and restorers find a few.
    pub const CORE_LOST: f64 = WIRE_OPEN / 100.0;
    /// A core or crossing that gives a pulse where none was stored: rarer still, chosen.
    pub const CORE_EXTRA: f64 = CORE_LOST / 5.0;
    /// Two wires exchanged is workmanship, not age: chosen below every failure of a line.
    pub const EXCHANGED: f64 = 0.0001;
    /// Lines that are not neighbours touch rarely: chosen.
    pub const NOT_NEIGHBOURS: f64 = 0.1;
}

/// The elements that give one fault, the likeliest first. No read of the store tells them apart; a meter does.
pub fn elements_of(wiring: &Wiring, fault: Fault) -> Vec<Element> {
    let shape = wiring.shape();
    let mut found: Vec<Element> = named(wiring, fault)
        .into_iter()
        .map(|(name, prior)| altered(shape, name, prior))
        .collect();
    found.sort_by(|a, b| b.prior.total_cmp(&a.prior));
    found
}

/// How likely a fault is by all its elements together.
pub fn prior_of(wiring: &Wiring, fault: Fault) -> f64 {
    elements_of(wiring, fault).iter().map(|e| e.prior).sum()
}

fn altered(shape: &Shape, name: String, prior: f64) -> Element {
    let factor: f64 = shape
        .alters
        .iter()
        .filter(|a| name.starts_with(&a.element))
        .map(|a| a.prior)
        .product();
    Element {
        name,
        prior: prior * factor,
    }
}

fn level(high: bool) -> u8 {
    u8::from(high)
}

fn bridge(kind: &str, first: u8, second: u8, low_wins: bool) -> (String, f64) {
    let near = if second - first == 1 {
        1.0
    } else {
        book::NOT_NEIGHBOURS
    };
    let law = if low_wins { "AND" } else { "OR" };
    (
        format!("{kind}s {first} and {second} bridged ({law})"),
        book::CONTACT_SHORT / 2.0 * near,
    )
}

fn named(wiring: &Wiring, fault: Fault) -> Vec<(String, f64)> {
    let shape = wiring.shape();
    match fault {
        Fault::AddressStuck(line, high) => {
            let prior = book::GATE_STUCK + book::CONTACT_OPEN / 2.0;
            vec![(
                format!("address line {line} stuck at {}", level(high)),
                prior,
            )]
        }
        Fault::AddressBridged {
            first,
            second,
            low_wins,
        } => vec![bridge("address line", first, second, low_wins)],
        Fault::AddressExchanged(a, b) => vec![(
            format!("address lines {a} and {b} exchanged"),
            book::EXCHANGED,
        )],
        Fault::LineDead(axis, line) => dead_line(shape, axis, line),
        Fault::LineOn(axis, line) => {
            vec![(
                format!("{}decoder output {line} always on", prefix(shape, axis)),
                book::GATE_STUCK,
            )]
        }
        Fault::LinesBridged(axis, line) => {
            vec![(
                format!(
                    "{}s {line} and {} bridged",
                    line_name(shape, axis),
                    line + 1
                ),
                book::WIRE_SHORT,
            )]
        }
        Fault::DriverDead(axis, d) => vec![(
            format!("{}driver {d} open", prefix(shape, axis)),
            book::DRIVER_OPEN,
        )],
        Fault::DriverOn(axis, d) => vec![(
            format!("{}driver {d} always on", prefix(shape, axis)),
            book::DRIVER_SHORT,
        )],
        Fault::SinkDead(axis, s) => vec![(
            format!("{}sink {s} open", prefix(shape, axis)),
            book::DRIVER_OPEN,
        )],
        Fault::SinkOn(axis, s) => vec![(
            format!("{}sink {s} always on", prefix(shape, axis)),
            book::DRIVER_SHORT,
        )],
        Fault::DiodeShorted(axis, line) => {
            vec![(
                format!("{}selection diode {line} shorted", prefix(shape, axis)),
                book::DIODE_SHORT,
            )]
        }
        Fault::Bit(word, bit, pulse) => one_bit(wiring, word, bit, pulse),
        Fault::CrossingShorted(word, bit) => {
            vec![(
                format!("diode at word {word:X} bit {bit} shorted"),
                book::DIODE_SHORT,
            )]
        }
        Fault::InhibitDead(bit, s) => {
            vec![(
                format!(
                    "inhibit line {} open",
                    segment(shape.inhibit_segments.as_deref(), bit, s)
                ),
                book::WIRE_OPEN + book::DRIVER_OPEN,
            )]
        }
        Fault::InhibitOn(bit, s) => {
            vec![(
                format!(
                    "inhibit line {} always on",
                    segment(shape.inhibit_segments.as_deref(), bit, s)
                ),
                book::DRIVER_SHORT,
            )]
        }
        Fault::SenseDead(bit, s) => sense_dead(shape, bit, s),
        Fault::StrobeDead(group) => vec![(
            format!("strobe {group} missing"),
            book::GATE_DEAD + book::CONTACT_OPEN,
        )],
        Fault::BitsExchanged(a, b) => {
            vec![(format!("data bits {a} and {b} exchanged"), book::EXCHANGED)]
        }
        Fault::BitsBridged {
            first,
            second,
            low_wins,
        } => vec![bridge("data bit", first, second, low_wins)],
        Fault::BitStuck(bit, high) => {
            let prior = book::AMPLIFIER_STUCK + book::GATE_STUCK + book::CONTACT_OPEN / 2.0;
            vec![(format!("data bit {bit} stuck at {}", level(high)), prior)]
        }
    }
}

/// `X `, `Y ` or nothing.
fn prefix(shape: &Shape, axis: u8) -> &'static str {
    match (shape.axes.len(), axis) {
        (2, 0) => "X ",
        (2, _) => "Y ",
        _ => "",
    }
}

fn line_name(shape: &Shape, axis: u8) -> String {
    if shape.axes.len() == 2 {
        format!("{}line", prefix(shape, axis))
    } else {
        "word wire".to_owned()
    }
}

fn dead_line(shape: &Shape, axis: u8, line: u32) -> Vec<(String, f64)> {
    let mut all = vec![(
        format!("{} {line} open", line_name(shape, axis)),
        book::WIRE_OPEN,
    )];
    match shape.axes[axis as usize].matrix {
        None => all.push((
            format!("{}decoder output {line} dead", prefix(shape, axis)),
            book::GATE_DEAD,
        )),
        Some(m) if m.diodes => {
            all.push((
                format!("{}selection diode {line} open", prefix(shape, axis)),
                book::DIODE_OPEN,
            ));
        }
        Some(_) => {}
    }
    all
}

fn sense_dead(shape: &Shape, bit: u8, s: u16) -> Vec<(String, f64)> {
    let name = format!(
        "sense line {} open",
        segment(Some(&shape.sense_segments), bit, s)
    );
    let mut all = vec![(name, book::WIRE_OPEN)];
    if shape.inhibit_segments.as_ref() == Some(&shape.sense_segments) {
        let name = segment(shape.inhibit_segments.as_deref(), bit, s);
        all.push((format!("inhibit line {name} always on"), book::DRIVER_SHORT));
    }
    all
}

/// `3`, or `3.1` where the line has segments.
fn segment(by: Option<&[u8]>, bit: u8, s: u16) -> String {
    if by.is_none_or(<[u8]>::is_empty) {
        bit.to_string()
    } else {
        format!("{bit}.{s}")
    }
}

fn one_bit(wiring: &Wiring, word: u32, bit: u8, pulse: bool) -> Vec<(String, f64)> {
    let reads = level(pulse ^ wiring.shape().idle);
    let (lost, extra) = (book::CORE_LOST, book::CORE_EXTRA);
    let prior = if pulse { extra } else { lost };
    let named = match wiring.shape().organisation {
        Organisation::LinearSelect => (
            format!("core at word {word:X} bit {bit} stuck at {reads}"),
            prior,
        ),
        Organisation::CoincidentCurrent => {
            let (x, y) = (wiring.line(0, word), wiring.line(1, word));
            (format!("core X{x} Y{y} bit {bit} stuck at {reads}"), prior)
        }
        Organisation::Woven => (
            format!("word wire {word} at core {bit} reads {reads}"),
            prior,
        ),
        Organisation::DiodeMatrix => {
            let prior = if pulse { extra } else { book::DIODE_OPEN };
            (
                format!(
                    "diode at word {word:X} bit {bit} {}",
                    if pulse { "bridged in" } else { "open" }
                ),
                prior,
            )
        }
    };
    vec![named]
}

/// Where a fault lies on the picture, in the picture's own units: the places written for its likeliest element, else
/// by the grid; one point for a core, the two ends for a line; `None` if the shape file gives no place.
pub fn position(wiring: &Wiring, fault: Fault) -> Option<Vec<(f64, f64)>> {
    let shape = wiring.shape();
    let names = elements_of(wiring, fault);
    if let Some(place) = shape
        .places
        .iter()
        .find(|p| names.iter().any(|n| n.name.starts_with(&p.element)))
    {
        return Some(vec![place.at]);
    }
    let grid = shape.grid.as_ref()?;
    let point = |x: f64, y: f64, plane: f64| {
        (
            grid.origin.0 + x * grid.pitch.0 + plane * grid.plane.0,
            grid.origin.1 + y * grid.pitch.1 + plane * grid.plane.1,
        )
    };
    let planar = shape.axes.len() == 2;
    let across = |axis: usize| f64::from(shape.axes[axis].lines - 1);
    let last_bit = f64::from(shape.bits - 1);
    match fault {
        Fault::Bit(word, bit, _) | Fault::CrossingShorted(word, bit) if planar => {
            Some(vec![point(
                f64::from(wiring.line(0, word)),
                f64::from(wiring.line(1, word)),
                f64::from(bit),
            )])
        }
        Fault::Bit(word, bit, _) | Fault::CrossingShorted(word, bit) => Some(vec![point(
            f64::from(bit),
            f64::from(wiring.line(0, word)),
            0.0,
        )]),
        Fault::LineDead(0, l)
        | Fault::LineOn(0, l)
        | Fault::LinesBridged(0, l)
        | Fault::DiodeShorted(0, l)
            if planar =>
        {
            Some(vec![
                point(f64::from(l), 0.0, 0.0),
                point(f64::from(l), across(1), 0.0),
            ])
        }
        Fault::LineDead(_, l)
        | Fault::LineOn(_, l)
        | Fault::LinesBridged(_, l)
        | Fault::DiodeShorted(_, l) => {
            let end = if planar { across(0) } else { last_bit };
            Some(vec![
                point(0.0, f64::from(l), 0.0),
                point(end, f64::from(l), 0.0),
            ])
        }
        Fault::SenseDead(bit, _)
        | Fault::InhibitDead(bit, _)
        | Fault::InhibitOn(bit, _)
        | Fault::BitStuck(bit, _) => {
            let bit = f64::from(bit);
            Some(if planar {
                vec![point(0.0, 0.0, bit), point(across(0), across(1), bit)]
            } else {
                vec![point(bit, 0.0, 0.0), point(bit, across(0), 0.0)]
            })
        }
        _ => None,
    }
}
