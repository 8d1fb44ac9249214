//! The canonical line of a part.

use std::fmt::Write;

use units::{Quantity, exact, print_percentage};

use super::word;
use crate::{
    Contact, DeviceType, Draw, Drift, Kind, NetId, Parameters, Part, Pin, Sheet, Spread, Winding,
};

/// A line as it is put together.
struct Words<'s> {
    sheet: &'s Sheet,
    text: String,
}

impl Words<'_> {
    fn net(&mut self, net: NetId) {
        let name = word(self.sheet.net_name(net));
        let _ = write!(self.text, " {name}");
    }

    fn nets(&mut self, nets: &[NetId]) {
        for net in nets {
            self.net(*net);
        }
    }

    fn pin(&mut self, pin: &str, net: NetId) {
        let name = word(self.sheet.net_name(net));
        let _ = write!(self.text, " {pin}={name}");
    }

    fn word(&mut self, text: &str) {
        let _ = write!(self.text, " {text}");
    }

    /// A value with its letter, in quotes.
    fn value<Q: Quantity>(&mut self, value: Q) {
        let _ = write!(self.text, " \"{}\"", exact(value.value(), Q::UNIT));
    }

    fn number(&mut self, key: &str, value: Option<f64>) {
        if let Some(value) = value {
            let _ = write!(self.text, " {key}={}", units::number(value));
        }
    }

    fn quantity<Q: Quantity>(&mut self, key: &str, value: Option<Q>) {
        self.number(key, value.map(Q::value));
    }

    /// A resistance with its letter, in quotes.
    fn coded<Q: Quantity>(&mut self, key: &str, value: Option<Q>) {
        if let Some(value) = value {
            let _ = write!(self.text, " {key}=\"{}\"", exact(value.value(), Q::UNIT));
        }
    }
}

/// One line, with braces if the part has any.
pub(crate) fn line(sheet: &Sheet, part: &Part) -> String {
    let mut words = Words {
        sheet,
        text: format!("{} {}", part.kind.word(), word(&part.name)),
    };
    kind(&mut words, &part.kind);
    let spread = &part.spread;
    value_spread(&mut words, spread);
    words.number("is-spread", spread.is);
    words.number("bf-spread", spread.bf);
    words.number("br-spread", spread.br);
    let ratings = &part.ratings;
    words.quantity("volts", ratings.volts);
    words.quantity("vceo", ratings.vceo);
    words.quantity("amps", ratings.amps);
    words.quantity("watts", ratings.watts);
    if let Some(style) = &part.style {
        words.word(&format!("style={}", word(style)));
    }
    braces(&mut words, &part.kind);
    words.text
}

fn value_spread(words: &mut Words<'_>, spread: &Spread) {
    if let Some(tolerance) = spread.tolerance {
        words.word(&format!("tolerance=\"{}\"", print_percentage(tolerance)));
    }
    if let Some(drift) = spread.drift {
        words.word(&format!("drift=\"{}\"", self::drift(drift)));
    }
}

fn drift(drift: Drift) -> String {
    let size = print_percentage(drift.fraction);
    if drift.mean == 0.0 {
        size
    } else if drift.mean < 0.0 {
        format!("-{size}")
    } else {
        format!("+{size}")
    }
}

fn kind(words: &mut Words, kind: &Kind) {
    match kind {
        Kind::Resistor { ohms, ends } => {
            words.value(*ohms);
            words.nets(ends);
        }
        Kind::Potentiometer {
            ohms,
            ends,
            setting,
        } => {
            words.value(*ohms);
            for (pin, net) in ["a", "wiper", "b"].into_iter().zip(ends) {
                words.pin(pin, *net);
            }
            words.number("setting", *setting);
        }
        Kind::Capacitor {
            farads,
            ends,
            polarised,
            leak,
        } => {
            words.value(*farads);
            if *polarised {
                words.pin("plus", ends[0]);
                words.pin("minus", ends[1]);
            } else {
                words.nets(ends);
            }
            words.coded("leak", *leak);
        }
        Kind::Inductor {
            henries,
            ends,
            ohms,
        } => {
            words.value(*henries);
            words.nets(ends);
            words.coded("ohms", *ohms);
        }
        Kind::Diode { .. } | Kind::Zener { .. } | Kind::Transistor { .. } => {
            semiconductor(words, kind)
        }
        Kind::Transformer { .. } | Kind::Connector { .. } => {}
        _ => operated(words, kind),
    }
}

/// What is switched, blows, lights, drives or draws.
fn operated(words: &mut Words, kind: &Kind) {
    match kind {
        Kind::Fuse { rated, ends, ohms } => {
            words.value(*rated);
            words.nets(ends);
            words.coded("ohms", *ohms);
        }
        Kind::Switch { ends, state, ohms } => {
            words.nets(ends);
            words.word(match state {
                Contact::Closed => "state=closed",
                Contact::Open => "state=open",
            });
            words.coded("ohms", *ohms);
        }
        Kind::Lamp {
            ends,
            volts,
            amps,
            cold,
        } => {
            words.nets(ends);
            words.quantity("volts", Some(*volts));
            words.quantity("amps", Some(*amps));
            words.coded("cold", *cold);
        }
        Kind::Supply {
            volts,
            plus,
            minus,
            ohms,
            limit,
            off,
        } => {
            words.quantity("volts", Some(*volts));
            words.pin("plus", *plus);
            words.pin("minus", *minus);
            words.coded("ohms", *ohms);
            words.quantity("limit", *limit);
            words.coded("off", *off);
        }
        Kind::Load { ends, draw, cold } => {
            words.nets(ends);
            match draw {
                Draw::Amps(amps) => words.quantity("amps", Some(*amps)),
                Draw::Ohms(ohms) => words.coded("ohms", Some(*ohms)),
            }
            if *cold {
                words.word("cold=#true");
            }
        }
        _ => {}
    }
}

fn semiconductor(words: &mut Words, kind: &Kind) {
    match kind {
        Kind::Diode {
            device,
            anode,
            cathode,
        } => {
            words.word(&word(&device.name));
            words.pin("anode", *anode);
            words.pin("cathode", *cathode);
            parameters(words, &device.given);
        }
        Kind::Zener {
            volts,
            izt,
            rz,
            device,
            anode,
            cathode,
        } => {
            words.value(*volts);
            zener_type(words, device);
            words.pin("anode", *anode);
            words.pin("cathode", *cathode);
            words.quantity("izt", *izt);
            words.coded("rz", *rz);
            parameters(words, &device.given);
        }
        Kind::Transistor {
            device, c, b, e, ..
        } => {
            words.word(&word(&device.name));
            words.pin("c", *c);
            words.pin("b", *b);
            words.pin("e", *e);
            parameters(words, &device.given);
        }
        _ => {}
    }
}

/// The type that every zener has unless another is written.
fn zener_type(words: &mut Words, device: &DeviceType) {
    if device.name != "silicon-signal" {
        words.word(&word(&device.name));
    }
}

fn parameters(words: &mut Words, given: &Parameters) {
    words.quantity("is", given.is);
    words.number("n", given.n);
    words.coded("rs", given.rs);
    words.number("bf", given.bf);
    words.number("br", given.br);
    words.coded("rc", given.rc);
    words.quantity("vaf", given.vaf);
}

fn braces(words: &mut Words, kind: &Kind) {
    let inside: Vec<String> = match kind {
        Kind::Transformer { windings } => {
            windings.iter().map(|w| winding(words.sheet, w)).collect()
        }
        Kind::Connector { pins } => pins.iter().map(|p| pin(words.sheet, p)).collect(),
        _ => return,
    };
    if inside.is_empty() {
        words.word("{ }");
    } else {
        words.word(&format!("{{ {} }}", inside.join("; ")));
    }
}

fn winding(sheet: &Sheet, winding: &Winding) -> String {
    let mut words = Words {
        sheet,
        text: format!("winding {}", word(&winding.name)),
    };
    words.nets(&winding.ends);
    words.quantity("volts", winding.volts);
    words.coded("ohms", winding.ohms);
    value_spread(&mut words, &winding.spread);
    words.text
}

fn pin(sheet: &Sheet, pin: &Pin) -> String {
    format!("pin {} {}", word(&pin.name), word(sheet.net_name(pin.net)))
}
