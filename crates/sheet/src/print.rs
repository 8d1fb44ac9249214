//! The canonical text of a sheet: one statement a line, always in the same order, reading back as the same sheet.

mod part;
mod word;

use std::fmt::Write;

use units::print_percentage;

pub(crate) use part::line as part_line;
pub(crate) use word::{quoted, word};

use crate::{Access, NetId, Part, Role, Sheet, Source};

/// Prints a sheet so that reading it gives the same sheet, spans apart. Comments of the original are not part of a
/// sheet and are not printed.
pub fn print(sheet: &Sheet) -> String {
    let mut lines = Vec::new();
    if !sheet.fits.is_empty() {
        let serials: Vec<String> = sheet.fits.iter().map(|s| quoted(s)).collect();
        lines.push(format!("fits {}", serials.join(" ")));
    }
    let named = nets_to_name(sheet);
    lines.extend(sheet.nets[..named].iter().map(net));
    for point in &sheet.points {
        let access = match point.access {
            Access::Easy => "easy",
            Access::Board => "board",
            Access::Lead => "lead",
        };
        let net = word(sheet.net_name(point.net));
        lines.push(format!(
            "point {} net={net} access={access}",
            word(&point.name)
        ));
    }
    lines.extend(sheet.parts.iter().map(|p| part_line(sheet, p)));
    lines.extend(known(sheet));
    let mut text = header(sheet);
    for line in lines {
        let _ = writeln!(text, "    {line}");
    }
    text.push_str("}\n");
    text
}

fn header(sheet: &Sheet) -> String {
    let mut text = format!("sheet {}", word(&sheet.name));
    if let Some(title) = &sheet.title {
        let _ = write!(text, " title={}", quoted(title));
    }
    if let Some(temperature) = sheet.temperature {
        let _ = write!(text, " temperature=\"{}C\"", units::number(temperature.0));
    }
    text.push_str(" {\n");
    text
}

/// How many nets, from the first, need a line of their own, so that reading numbers all of them the same again: those
/// with a role, and those that the parts alone would not bring in this order.
fn nets_to_name(sheet: &Sheet) -> usize {
    let says_something = |n: &crate::Net| {
        n.role.is_some() || n.volts.is_some() || n.tolerance.is_some() || n.source.is_some()
    };
    let described = sheet
        .nets
        .iter()
        .rposition(says_something)
        .map_or(0, |i| i + 1);
    let mut seen = vec![false; sheet.nets.len()];
    let mut order: Vec<NetId> = Vec::new();
    for (_, net) in sheet.parts.iter().flat_map(Part::pins) {
        if !std::mem::replace(&mut seen[net.index()], true) {
            order.push(net);
        }
    }
    let comes_by_itself = |from: usize| {
        let rest = order.iter().map(|n| n.index()).filter(|i| *i >= from);
        rest.eq(from..sheet.nets.len())
    };
    (described..sheet.nets.len())
        .find(|from| comes_by_itself(*from))
        .unwrap_or(sheet.nets.len())
}

fn net(net: &crate::Net) -> String {
    let mut text = format!("net {}", word(&net.name));
    match net.role {
        Some(Role::Ground) => text.push_str(" role=ground"),
        Some(Role::Rail) => text.push_str(" role=rail"),
        None => {}
    }
    if let Some(volts) = net.volts {
        let _ = write!(text, " volts={}", units::number(volts.0));
    }
    if let Some(tolerance) = net.tolerance {
        let _ = write!(text, " tolerance=\"{}\"", print_percentage(tolerance));
    }
    match net.source {
        Some(Source::Printed) => text.push_str(" source=printed"),
        Some(Source::Traced) => text.push_str(" source=traced"),
        Some(Source::Buzzed) => text.push_str(" source=buzzed"),
        None => {}
    }
    text
}

fn known(sheet: &Sheet) -> Vec<String> {
    let net = |id| word(sheet.net_name(id));
    let part = |id: crate::PartId| word(&sheet.parts[id.index()].name);
    let mut lines = Vec::new();
    for (a, b) in &sheet.adjacent {
        lines.push(format!("adjacent {} {}", net(*a), net(*b)));
    }
    for alter in &sheet.alters {
        let mut text = format!(
            "alter {} prior={}",
            part(alter.part),
            units::number(alter.prior)
        );
        if let Some(reason) = &alter.reason {
            let _ = write!(text, " reason={}", quoted(reason));
        }
        lines.push(text);
    }
    for never in &sheet.nevers {
        lines.push(format!(
            "never {} probe={}",
            net(never.net),
            quoted(&never.why)
        ));
    }
    for id in &sheet.irreplaceable {
        lines.push(format!("irreplaceable {}", part(*id)));
    }
    lines
}
