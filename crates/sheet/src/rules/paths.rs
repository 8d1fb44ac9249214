//! Doubts about what is connected: rails that nothing feeds, and islands that nothing holds.

use crate::diagnostic::Remarks;
use crate::{Kind, NetId, Part, Role, Sheet};

/// The pairs of nets between which direct current can flow through a part, in whatever state it is.
///
/// Windings of one transformer are apart, a switch is taken as closed, and a connector joins nothing on its own board.
fn conducting(part: &Part) -> Vec<(NetId, NetId)> {
    match &part.kind {
        Kind::Capacitor { .. } | Kind::Connector { .. } => Vec::new(),
        Kind::Transformer { windings } => windings.iter().map(|w| (w.ends[0], w.ends[1])).collect(),
        Kind::Potentiometer {
            ends: [a, wiper, b],
            ..
        } => vec![(*a, *wiper), (*wiper, *b)],
        Kind::Transistor { c, b, e, .. } => vec![(*c, *b), (*b, *e), (*c, *e)],
        _ => match part.pins().as_slice() {
            [(_, a), (_, b)] => vec![(*a, *b)],
            _ => Vec::new(),
        },
    }
}

/// What can be reached from a net over the links, itself included, never going on from a net that `stops`.
fn reach(
    sheet: &Sheet,
    from: NetId,
    links: &[(NetId, NetId)],
    stops: impl Fn(NetId) -> bool,
) -> Vec<bool> {
    let mut neighbours = vec![Vec::new(); sheet.nets.len()];
    for (a, b) in links {
        neighbours[a.index()].push(*b);
        neighbours[b.index()].push(*a);
    }
    let mut reached = vec![false; sheet.nets.len()];
    reached[from.index()] = true;
    let mut open = vec![from];
    while let Some(net) = open.pop() {
        if net != from && stops(net) {
            continue;
        }
        for next in &neighbours[net.index()] {
            if !std::mem::replace(&mut reached[next.index()], true) {
                open.push(*next);
            }
        }
    }
    reached
}

fn links(sheet: &Sheet, keep: impl Fn(&Part) -> bool) -> Vec<(NetId, NetId)> {
    sheet
        .parts
        .iter()
        .filter(|p| keep(p))
        .flat_map(conducting)
        .collect()
}

fn is_ground(sheet: &Sheet, net: NetId) -> bool {
    sheet.nets[net.index()].role == Some(Role::Ground)
}

/// Nets on which a part of the sheet drives: supplies, and windings of transformers.
fn driven(sheet: &Sheet) -> Vec<NetId> {
    let nets = |part: &Part| match &part.kind {
        Kind::Supply { plus, minus, .. } => vec![*plus, *minus],
        Kind::Transformer { windings } => windings.iter().flat_map(|w| w.ends).collect(),
        _ => Vec::new(),
    };
    let all = sheet.parts.iter().flat_map(nets);
    all.filter(|net| !is_ground(sheet, *net)).collect()
}

fn connector_nets(sheet: &Sheet) -> Vec<NetId> {
    let pins = |part: &Part| match &part.kind {
        Kind::Connector { pins } => pins.iter().map(|p| p.net).collect(),
        _ => Vec::new(),
    };
    sheet.parts.iter().flat_map(pins).collect()
}

/// A rail is unsupplied only if no conducting path reaches a source. What comes in at a connector counts as one if it
/// is wired straight to the rail; a path over ground is none, since everything ends there.
pub(super) fn rails_without_source(sheet: &Sheet, remarks: &mut Remarks) {
    let driven = driven(sheet);
    let plugs = connector_nets(sheet);
    let all = links(sheet, |_| true);
    let wires = links(sheet, |p| {
        matches!(
            p.kind,
            Kind::Fuse { .. } | Kind::Switch { .. } | Kind::Inductor { .. }
        )
    });
    for (index, rail) in sheet.nets.iter().enumerate() {
        if rail.role != Some(Role::Rail) {
            continue;
        }
        let id = NetId(index as u32);
        let stops = |net| is_ground(sheet, net);
        let far = reach(sheet, id, &all, stops);
        let near = reach(sheet, id, &wires, stops);
        let is_fed = driven.iter().any(|n| far[n.index()]) || plugs.iter().any(|n| near[n.index()]);
        if !is_fed {
            remarks.doubt(
                rail.span,
                format!(
                    "Nothing feeds rail `{}`: no conducting path reaches a source.",
                    rail.name
                ),
                "Add the supply that feeds it, or the connector pin on which it comes in.",
            );
        }
    }
}

/// Nets that float when the sheet is powered: no conducting path to ground, a source, or a connector.
pub(super) fn islands(sheet: &Sheet, remarks: &mut Remarks) {
    let Some(ground) = sheet.ground() else { return };
    let all = links(sheet, |_| true);
    let mut seen = reach(sheet, ground, &all, |_| false);
    let grounds = (0..sheet.nets.len())
        .map(|i| NetId(i as u32))
        .filter(|n| is_ground(sheet, *n));
    for held in grounds.chain(driven(sheet)).chain(connector_nets(sheet)) {
        merge(&mut seen, &reach(sheet, held, &all, |_| false));
    }
    for index in 0..sheet.nets.len() {
        if seen[index] {
            continue;
        }
        let island = reach(sheet, NetId(index as u32), &all, |_| false);
        merge(&mut seen, &island);
        if is_used(sheet, &island) {
            remark_island(sheet, index, &island, remarks);
        }
    }
}

fn merge(into: &mut [bool], from: &[bool]) {
    for (a, b) in into.iter_mut().zip(from) {
        *a |= b;
    }
}

/// A net with fewer than two connections has a doubt of its own.
fn is_used(sheet: &Sheet, island: &[bool]) -> bool {
    let pins = sheet.parts.iter().flat_map(Part::pins);
    pins.filter(|(_, net)| island[net.index()]).count() > 1
}

fn remark_island(sheet: &Sheet, first: usize, island: &[bool], remarks: &mut Remarks) {
    let names: Vec<String> = (0..island.len())
        .filter(|i| island[*i])
        .map(|i| format!("`{}`", sheet.nets[i].name))
        .collect();
    let shown = match names.len() {
        1 => format!("Net {} floats", names[0]),
        2..=5 => format!("Nets {} float", names.join(", ")),
        n => format!("Nets {} and {} more float", names[..4].join(", "), n - 4),
    };
    remarks.doubt(
        sheet.nets[first].span,
        format!("{shown}: no conducting path leads to ground, to a source or to a connector."),
        "Look for a part or a connector pin that is missing, or for a net with nearly the same name.",
    );
}
