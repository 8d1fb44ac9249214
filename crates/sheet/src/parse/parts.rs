//! One part a line: what every kind shares.

mod assemblies;
mod passive;
mod semiconductors;
mod sources;

use super::Reader;
use crate::text::{Bound, Line, Node, Wanted};
use crate::{Drift, Kind, NetId, Part, Ratings, Spread};

pub(super) use sources::join_ideal;

type Read = fn(&mut Line, &Node, &mut Reader) -> Option<Kind>;

/// Each kind: its word, how it is written, and who reads it.
const KINDS: [(&str, &str, Read); 15] = [
    (
        "resistor",
        "resistor R1 \"4k7\" NET1 NET2",
        passive::resistor,
    ),
    (
        "potentiometer",
        "potentiometer RV1 \"5k\" a=NET1 wiper=NET2 b=NET3 setting=0.5",
        passive::potentiometer,
    ),
    (
        "capacitor",
        "capacitor C1 \"470u\" plus=NET1 minus=NET2, or capacitor C2 \"10n\" NET1 NET2",
        passive::capacitor,
    ),
    (
        "inductor",
        "inductor L1 \"10m\" NET1 NET2 ohms=12",
        passive::inductor,
    ),
    (
        "diode",
        "diode D1 silicon-signal anode=NET1 cathode=NET2",
        semiconductors::diode,
    ),
    (
        "zener",
        "zener D2 \"6.2V\" anode=NET1 cathode=NET2",
        semiconductors::zener,
    ),
    (
        "npn",
        "npn Q1 silicon-signal c=NET1 b=NET2 e=NET3",
        semiconductors::transistor,
    ),
    (
        "pnp",
        "pnp Q1 germanium-power c=NET1 b=NET2 e=NET3",
        semiconductors::transistor,
    ),
    ("fuse", "fuse F1 \"1A\" NET1 NET2", passive::fuse),
    (
        "switch",
        "switch S1 NET1 NET2 state=closed",
        passive::switch,
    ),
    (
        "lamp",
        "lamp B1 NET1 NET2 volts=12 amps=0.08",
        passive::lamp,
    ),
    (
        "transformer",
        "transformer T1 { winding primary NET1 NET2 volts=230 ohms=18 }",
        assemblies::transformer,
    ),
    (
        "connector",
        "connector J1 { pin 1 NET1; pin 2 NET2 }",
        assemblies::connector,
    ),
    (
        "supply",
        "supply V1 volts=22 plus=NET1 minus=NET2 ohms=0.8",
        sources::supply,
    ),
    ("load", "load L1 NET1 NET2 amps=0.6", sources::load),
];

pub(super) fn kinds() -> impl Iterator<Item = &'static str> {
    KINDS.into_iter().map(|(word, ..)| word)
}

pub(super) fn is_kind(word: &str) -> bool {
    kinds().any(|k| k == word)
}

/// Whether statements stand in the braces of that kind.
pub(super) fn has_braces(word: &str) -> bool {
    matches!(word, "transformer" | "connector")
}

/// Reads a part line; none if anything on it cannot be used.
pub(super) fn part(node: &Node, reader: &mut Reader) -> Option<Part> {
    let (_, usage, read) = KINDS.into_iter().find(|(word, ..)| *word == node.name)?;
    let mut line = Line::of(node, usage);
    let name = line.name("designator", &mut reader.remarks);
    if node.entries.is_empty() {
        return None;
    }
    if let Some((name, _)) = &name {
        line.call(name);
    }
    let kind = read(&mut line, node, reader);
    let spread = spread(&mut line, node, reader);
    let ratings = ratings(&mut line, node, reader);
    let style = line
        .name_of("style", &mut reader.remarks)
        .map(|(word, _)| word);
    line.finish(has_braces(&node.name), &mut reader.remarks);
    let (name, span) = name?;
    if let Some(first) = reader.parts.get(&name) {
        let number = reader.line_number(reader.sheet.parts[first.index()].span);
        line.error(
            &mut reader.remarks,
            span,
            format!("There is a part {name} already, on line {number}."),
            "Give each part a designator of its own.",
        );
    }
    if name.contains(char::is_whitespace) {
        line.error(
            &mut reader.remarks,
            span,
            format!("The designator `{name}` holds a space."),
            "Write it without, since lists of parts and pins are separated by spaces.",
        );
    }
    let kind = kind.filter(|_| !line.has_failed() && node.is_sound())?;
    sources::forbid_loop(&kind, &mut line, reader);
    if line.has_failed() {
        return None;
    }
    Some(Part {
        name,
        kind,
        spread,
        ratings,
        style,
        span: node.span,
    })
}

fn is_semiconductor(word: &str) -> bool {
    is_transistor(word) || matches!(word, "diode" | "zener")
}

fn is_transistor(word: &str) -> bool {
    matches!(word, "npn" | "pnp")
}

/// Tolerance and ageing.
pub(super) fn value_spread(line: &mut Line, reader: &mut Reader) -> Spread {
    let remarks = &mut reader.remarks;
    Spread {
        tolerance: line.share("tolerance", remarks),
        drift: line
            .percentage("drift", remarks)
            .map(|(fraction, is_signed)| Drift {
                fraction: fraction.abs(),
                mean: if is_signed { fraction } else { 0.0 },
            }),
        ..Spread::default()
    }
}

fn spread(line: &mut Line, node: &Node, reader: &mut Reader) -> Spread {
    let of_the_value = value_spread(line, reader);
    let remarks = &mut reader.remarks;
    let mut factor = |key, applies: bool| {
        applies
            .then(|| line.number(Wanted(key, Bound::AtLeastOne), remarks))
            .flatten()
    };
    Spread {
        is: factor("is-spread", is_semiconductor(&node.name)),
        bf: factor("bf-spread", is_transistor(&node.name)),
        br: factor("br-spread", is_transistor(&node.name)),
        ..of_the_value
    }
}

/// What the kind itself has taken is gone by now: the volts of a lamp are no rating.
fn ratings(line: &mut Line, node: &Node, reader: &mut Reader) -> Ratings {
    let remarks = &mut reader.remarks;
    let positive = |key| Wanted(key, Bound::Positive);
    Ratings {
        volts: line.quantity(positive("volts"), remarks),
        vceo: is_transistor(&node.name)
            .then(|| line.quantity(positive("vceo"), remarks))
            .flatten(),
        amps: line.quantity(positive("amps"), remarks),
        watts: line.quantity(positive("watts"), remarks),
    }
}

/// Two nets as arguments.
fn ends(line: &mut Line, reader: &mut Reader) -> Option<[NetId; 2]> {
    let first = reader.net(line, "first net");
    let second = first.and_then(|_| reader.net(line, "second net"));
    Some([first?, second?])
}
