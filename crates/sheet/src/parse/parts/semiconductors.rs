//! Diodes, zeners, transistors.

use crate::device::Sort;
use crate::parse::Reader;
use crate::text::{Bound, Line, Node, Wanted, did_you_mean};
use crate::{DeviceType, Kind, Parameters, Polarity};

pub(super) fn diode(line: &mut Line, _: &Node, reader: &mut Reader) -> Option<Kind> {
    let name = device_name(line, Sort::Diode, reader);
    let [anode, cathode] = ["anode", "cathode"].map(|pin| reader.net_of(line, pin));
    let given = junction(line, reader);
    Some(Kind::Diode {
        device: DeviceType { name: name?, given },
        anode: anode?,
        cathode: cathode?,
    })
}

pub(super) fn zener(line: &mut Line, _: &Node, reader: &mut Reader) -> Option<Kind> {
    let volts = line.value(Bound::Positive, &mut reader.remarks);
    let name = if line.has_argument() {
        device_name(line, Sort::Diode, reader)
    } else {
        Some("silicon-signal".to_owned())
    };
    let [anode, cathode] = ["anode", "cathode"].map(|pin| reader.net_of(line, pin));
    let izt = line.quantity(Wanted("izt", Bound::Positive), &mut reader.remarks);
    let rz = line.quantity(Wanted("rz", Bound::NotNegative), &mut reader.remarks);
    let given = junction(line, reader);
    Some(Kind::Zener {
        volts: volts?,
        izt,
        rz,
        device: DeviceType { name: name?, given },
        anode: anode?,
        cathode: cathode?,
    })
}

pub(super) fn transistor(line: &mut Line, node: &Node, reader: &mut Reader) -> Option<Kind> {
    let polarity = if node.name == "npn" {
        Polarity::Npn
    } else {
        Polarity::Pnp
    };
    let name = device_name(line, Sort::Transistor, reader);
    let [c, b, e] = ["c", "b", "e"].map(|pin| reader.net_of(line, pin));
    let remarks = &mut reader.remarks;
    let given = Parameters {
        is: line.quantity(Wanted("is", Bound::Positive), remarks),
        bf: line.number(Wanted("bf", Bound::Positive), remarks),
        br: line.number(Wanted("br", Bound::Positive), remarks),
        rc: line.quantity(Wanted("rc", Bound::NotNegative), remarks),
        vaf: line.quantity(Wanted("vaf", Bound::Positive), remarks),
        ..Parameters::default()
    };
    Some(Kind::Transistor {
        polarity,
        device: DeviceType { name: name?, given },
        c: c?,
        b: b?,
        e: e?,
    })
}

fn junction(line: &mut Line, reader: &mut Reader) -> Parameters {
    let remarks = &mut reader.remarks;
    Parameters {
        is: line.quantity(Wanted("is", Bound::Positive), remarks),
        n: line.number(Wanted("n", Bound::Positive), remarks),
        rs: line.quantity(Wanted("rs", Bound::NotNegative), remarks),
        ..Parameters::default()
    }
}

/// A class word or a registered number that the device file knows.
fn device_name(line: &mut Line, sort: Sort, reader: &mut Reader) -> Option<String> {
    let (name, span) = line.name("type", &mut reader.remarks)?;
    let (is_known, what) = match sort {
        Sort::Diode => (reader.devices.knows_diode(&name), "diode"),
        Sort::Transistor => (reader.devices.knows_transistor(&name), "transistor"),
    };
    if is_known {
        return Some(name);
    }
    let help = did_you_mean(
        &name,
        reader.devices.names(sort),
        "Write its class, such as silicon-signal, and what is known of it as properties.",
    );
    line.error(
        &mut reader.remarks,
        span,
        format!("No {what} type `{name}` is known."),
        help,
    );
    None
}
