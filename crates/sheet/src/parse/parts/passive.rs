//! Resistors, potentiometers, capacitors, inductors, fuses, switches, lamps.

use super::ends;
use crate::parse::Reader;
use crate::text::{Bound, Line, Node, Wanted};
use crate::{Contact, Kind};

pub(super) fn resistor(line: &mut Line, _: &Node, reader: &mut Reader) -> Option<Kind> {
    let ohms = line.value(Bound::Positive, &mut reader.remarks);
    let ends = ends(line, reader);
    Some(Kind::Resistor {
        ohms: ohms?,
        ends: ends?,
    })
}

pub(super) fn potentiometer(line: &mut Line, _: &Node, reader: &mut Reader) -> Option<Kind> {
    let ohms = line.value(Bound::Positive, &mut reader.remarks);
    let [a, wiper, b] = ["a", "wiper", "b"].map(|pin| reader.net_of(line, pin));
    let setting = line.number(Wanted("setting", Bound::Fraction), &mut reader.remarks);
    Some(Kind::Potentiometer {
        ohms: ohms?,
        ends: [a?, wiper?, b?],
        setting,
    })
}

pub(super) fn capacitor(line: &mut Line, _: &Node, reader: &mut Reader) -> Option<Kind> {
    let farads = line.value(Bound::Positive, &mut reader.remarks);
    let polarised = line.has_property("plus") || line.has_property("minus");
    let ends = if polarised {
        let [plus, minus] = ["plus", "minus"].map(|pin| reader.net_of(line, pin));
        plus.zip(minus).map(|(plus, minus)| [plus, minus])
    } else {
        ends(line, reader)
    };
    let leak = line.quantity(Wanted("leak", Bound::Positive), &mut reader.remarks);
    Some(Kind::Capacitor {
        farads: farads?,
        ends: ends?,
        polarised,
        leak,
    })
}

pub(super) fn inductor(line: &mut Line, _: &Node, reader: &mut Reader) -> Option<Kind> {
    let henries = line.value(Bound::Positive, &mut reader.remarks);
    let ends = ends(line, reader);
    let ohms = line.quantity(Wanted("ohms", Bound::NotNegative), &mut reader.remarks);
    Some(Kind::Inductor {
        henries: henries?,
        ends: ends?,
        ohms,
    })
}

pub(super) fn fuse(line: &mut Line, _: &Node, reader: &mut Reader) -> Option<Kind> {
    let rated = line.value(Bound::Positive, &mut reader.remarks);
    let ends = ends(line, reader);
    let ohms = line.quantity(Wanted("ohms", Bound::Positive), &mut reader.remarks);
    Some(Kind::Fuse {
        rated: rated?,
        ends: ends?,
        ohms,
    })
}

pub(super) fn switch(line: &mut Line, node: &Node, reader: &mut Reader) -> Option<Kind> {
    let ends = ends(line, reader);
    let states = [("closed", Contact::Closed), ("open", Contact::Open)];
    let is_said = line.has_property("state");
    let state = line.choice("state", &states, &mut reader.remarks);
    let ohms = line.quantity(Wanted("ohms", Bound::Positive), &mut reader.remarks);
    if !is_said && ends.is_some() {
        reader.remarks.doubt(
            node.span,
            format!(
                "The state of {} is not given; it is taken as open.",
                line.what()
            ),
            "Add state=open or state=closed, as it is drawn.",
        );
    }
    Some(Kind::Switch {
        ends: ends?,
        state: state.unwrap_or(Contact::Open),
        ohms,
    })
}

pub(super) fn lamp(line: &mut Line, _: &Node, reader: &mut Reader) -> Option<Kind> {
    let ends = ends(line, reader);
    let remarks = &mut reader.remarks;
    let volts = line.required(Wanted("volts", Bound::Positive), remarks);
    let amps = line.required(Wanted("amps", Bound::Positive), remarks);
    let cold = line.quantity(Wanted("cold", Bound::Positive), remarks);
    Some(Kind::Lamp {
        ends: ends?,
        volts: volts?,
        amps: amps?,
        cold,
    })
}
