//! The statements that are no parts: nets, points, and what is known about them.

use super::Reader;
use crate::text::{Bound, Line, Node, Wanted, did_you_mean};
use crate::{Access, Alter, NetId, Never, PartId, Point, Role, Source, Span};

const WORDS: [&str; 7] = [
    "net",
    "point",
    "adjacent",
    "alter",
    "never",
    "irreplaceable",
    "fits",
];

pub(super) fn words() -> impl Iterator<Item = &'static str> {
    WORDS.into_iter()
}

pub(super) fn is_statement(word: &str) -> bool {
    WORDS.contains(&word)
}

/// `net REF role=rail volts=-12 tolerance="5%" source=traced`.
pub(super) fn net(node: &Node, reader: &mut Reader) -> Option<()> {
    let mut line = Line::of(node, "net \"-12V\" role=rail volts=-12 tolerance=\"5%\"");
    let (name, span) = line.name("name", &mut reader.remarks)?;
    line.call(&name);
    let remarks = &mut reader.remarks;
    let roles = [("ground", Role::Ground), ("rail", Role::Rail)];
    let role = line.choice("role", &roles, remarks);
    let volts = line.quantity(Wanted("volts", Bound::Any), remarks);
    let tolerance = line.share("tolerance", remarks);
    let sources = [
        ("printed", Source::Printed),
        ("traced", Source::Traced),
        ("buzzed", Source::Buzzed),
    ];
    let source = line.choice("source", &sources, remarks);
    line.finish(false, remarks);
    if line.has_failed() || !node.is_sound() {
        reader.unusable.insert(name);
        return None;
    }
    let id = reader.declare(name, span);
    let known = &mut reader.sheet.nets[id.index()];
    let repeats = (known.role.is_some() && role.is_some())
        || (known.volts.is_some() && volts.is_some())
        || (known.source.is_some() && source.is_some());
    known.role = role.or(known.role);
    known.volts = volts.or(known.volts);
    known.tolerance = tolerance.or(known.tolerance);
    known.source = source.or(known.source);
    if repeats {
        let message = format!(
            "{} is described a second time; this line counts.",
            capital(line.what())
        );
        reader
            .remarks
            .doubt(span, message, "Keep one `net` line for each net.");
    }
    Some(())
}

fn capital(what: &str) -> String {
    what.replacen("net", "Net", 1)
}

/// Reads a statement that only refers to names; all names are known by now.
pub(super) fn refer(node: &Node, reader: &mut Reader) {
    let read = match node.name.as_str() {
        "point" => point(node, reader),
        "adjacent" => adjacent(node, reader),
        "alter" => alter(node, reader),
        "never" => never(node, reader),
        "irreplaceable" => irreplaceable(node, reader),
        "fits" => fits(node, reader),
        _ => return,
    };
    if read.is_none() && node.name == "point" {
        reader
            .unusable
            .extend(node.entries.first().map(|e| e.written()));
    }
}

/// `point TP3 net=REF access=easy`.
fn point(node: &Node, reader: &mut Reader) -> Option<()> {
    let mut line = Line::of(node, "point TP3 net=REF access=easy");
    let name = line.name("name", &mut reader.remarks);
    if let Some((name, _)) = &name {
        line.call(name);
    }
    let net = line.required_name("net", &mut reader.remarks);
    let net = net.and_then(|(net, span)| known_net(&net, span, &mut line, reader));
    let places = [
        ("easy", Access::Easy),
        ("board", Access::Board),
        ("lead", Access::Lead),
    ];
    let access = line.choice("access", &places, &mut reader.remarks);
    line.finish(false, &mut reader.remarks);
    let (name, span) = name?;
    if let Some(first) = reader.sheet.points.iter().find(|p| p.name == name) {
        let number = reader.line_number(first.span);
        line.error(
            &mut reader.remarks,
            span,
            format!("There is a point {name} already, on line {number}."),
            "Give each point a name of its own.",
        );
    }
    if line.has_failed() {
        return None;
    }
    reader.sheet.points.push(Point {
        name,
        net: net?,
        // A point that somebody named is one that a probe reaches.
        access: access.unwrap_or(Access::Easy),
        span: node.span,
    });
    Some(())
}

/// `adjacent REF SET`.
fn adjacent(node: &Node, reader: &mut Reader) -> Option<()> {
    let mut line = Line::of(node, "adjacent NET1 NET2");
    let mut net = |wanted| {
        let (name, span) = line.name(wanted, &mut reader.remarks)?;
        known_net(&name, span, &mut line, reader)
    };
    let pair = (net("first net"), net("second net"));
    line.finish(false, &mut reader.remarks);
    let (Some(a), Some(b)) = pair else {
        return None;
    };
    if line.has_failed() {
        return None;
    }
    if a == b {
        let message = format!(
            "`{}` is said to be adjacent to itself.",
            reader.sheet.net_name(a)
        );
        reader
            .remarks
            .doubt(node.span, message, "Name two different nets.");
        return None;
    }
    reader.sheet.adjacent.push((a, b));
    Some(())
}

/// `alter Q1 prior=5 reason="..."`.
fn alter(node: &Node, reader: &mut Reader) -> Option<()> {
    let mut line = Line::of(node, "alter Q1 prior=5 reason=\"why\"");
    let part = line.name("part", &mut reader.remarks);
    if let Some((name, _)) = &part {
        line.call(name);
    }
    let part = part.and_then(|(name, span)| known_part(&name, span, &mut line, reader));
    let remarks = &mut reader.remarks;
    let is_missing = !line.has_property("prior");
    let prior = line.number(Wanted("prior", Bound::Positive), remarks);
    let reason = line.text("reason", remarks);
    line.finish(false, remarks);
    if is_missing {
        let message = format!(
            "{} has no `prior=`.",
            line.what().replacen("alter", "Alter", 1)
        );
        line.error(
            remarks,
            node.span,
            message,
            "Say how many times likelier it is to be bad, such as prior=5.",
        );
    }
    if line.has_failed() {
        return None;
    }
    reader.sheet.alters.push(Alter {
        part: part?,
        prior: prior?,
        reason,
    });
    Some(())
}

/// `never REF probe="why"`.
fn never(node: &Node, reader: &mut Reader) -> Option<()> {
    let mut line = Line::of(node, "never REF probe=\"why\"");
    let net = line.name("net", &mut reader.remarks);
    if let Some((name, _)) = &net {
        line.call(name);
    }
    let net = net.and_then(|(name, span)| known_place(&name, span, &mut line, reader));
    let remarks = &mut reader.remarks;
    let why = line.text("probe", remarks);
    line.finish(false, remarks);
    if why.is_none() {
        let message = format!(
            "{} has no `probe=`.",
            line.what().replacen("never", "Never", 1)
        );
        line.error(
            remarks,
            node.span,
            message,
            "Say why no probe may go there, such as probe=\"kilovolts when powered\".",
        );
    }
    if line.has_failed() {
        return None;
    }
    reader.sheet.nevers.push(Never {
        net: net?,
        why: why?,
    });
    Some(())
}

/// `irreplaceable Q1 Q2`.
fn irreplaceable(node: &Node, reader: &mut Reader) -> Option<()> {
    let mut line = Line::of(node, "irreplaceable Q1");
    loop {
        let part = line.name("part", &mut reader.remarks);
        let part = part.and_then(|(name, span)| known_part(&name, span, &mut line, reader));
        if let Some(id) = part.filter(|id| !reader.sheet.irreplaceable.contains(id)) {
            reader.sheet.irreplaceable.push(id);
        }
        if !line.has_argument() {
            break;
        }
    }
    line.finish(false, &mut reader.remarks);
    Some(())
}

/// `fits "0217" "0218"`.
fn fits(node: &Node, reader: &mut Reader) -> Option<()> {
    let mut line = Line::of(node, "fits \"0217\" \"0218\"");
    loop {
        if let Some((serial, _)) = line.name("serial number", &mut reader.remarks) {
            reader.sheet.fits.push(serial);
        }
        if !line.has_argument() {
            break;
        }
    }
    line.finish(false, &mut reader.remarks);
    Some(())
}

/// The net of that name; an error otherwise, unless the name stands on a line that is an error already.
fn known_net(name: &str, span: Span, line: &mut Line, reader: &mut Reader) -> Option<NetId> {
    let found = reader.nets.get(name).copied();
    if found.is_none() {
        let names = reader.sheet.nets.iter().map(|n| n.name.as_str());
        let help = did_you_mean(
            name,
            names,
            "A net is known once a part uses it or a `net` line names it.",
        );
        unknown("net", name, span, help, line, reader);
    }
    found
}

/// The net of a net, a point, or a pin such as `Q1.b`.
fn known_place(name: &str, span: Span, line: &mut Line, reader: &mut Reader) -> Option<NetId> {
    let of_point = |r: &Reader| {
        r.sheet
            .points
            .iter()
            .find(|p| p.name == name)
            .map(|p| p.net)
    };
    reader
        .nets
        .get(name)
        .copied()
        .or_else(|| of_point(reader))
        .or_else(|| reader.sheet.pin_net(name))
        .or_else(|| known_net(name, span, line, reader))
}

fn known_part(name: &str, span: Span, line: &mut Line, reader: &mut Reader) -> Option<PartId> {
    let found = reader.parts.get(name).copied();
    if found.is_none() {
        let names = reader.sheet.parts.iter().map(|p| p.name.as_str());
        let help = did_you_mean(name, names, "Write the designator of a part of this sheet.");
        unknown("part", name, span, help, line, reader);
    }
    found
}

fn unknown(what: &str, name: &str, span: Span, help: String, line: &mut Line, reader: &mut Reader) {
    if reader.unusable.contains(name) {
        reader.remarks.doubt(
            span,
            format!("This line is left out, because {what} `{name}` stands only on lines that cannot be used."),
            "Mend those lines first.",
        );
        return;
    }
    let message = format!("There is no {what} `{name}` on this sheet.");
    line.error(&mut reader.remarks, span, message, help);
}
