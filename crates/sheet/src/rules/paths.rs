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

/// The nets next to each net.
type Neighbours = Vec<Vec<NetId>>;

/// What can be reached from some nets, themselves included, never going on from a net that `stops`.
fn reach(from: &[NetId], neighbours: &Neighbours, stops: impl Fn(NetId) -> bool) -> Vec<bool> {
    let mut reached = vec![false; neighbours.len()];
    for net in from {
        reached[net.index()] = true;
    }
    let mut open = from.to_vec();
    while let Some(net) = open.pop() {
        if stops(net) && !from.contains(&net) {
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

fn links(sheet: &Sheet, keep: impl Fn(&Part) -> bool) -> Neighbours {
    let mut neighbours = vec![Vec::new(); sheet.nets.len()];
    for (a, b) in sheet.parts.iter().filter(|p| keep(p)).flat_map(conducting) {
        neighbours[a.index()].push(b);
        neighbours[b.index()].push(a);
    }
    neighbours
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
        let far = reach(&[id], &all, stops);
        let near = reach(&[id], &wires, stops);
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
    if sheet.ground().is_none() {
        return;
    }
    let all = links(sheet, |_| true);
    let everything = (0..sheet.nets.len()).map(|i| NetId(i as u32));
    let grounds = everything.clone().filter(|n| is_ground(sheet, *n));
    let held: Vec<NetId> = grounds
        .chain(driven(sheet))
        .chain(connector_nets(sheet))
        .collect();
    let mut seen = reach(&held, &all, |_| false);
    for net in everything {
        if seen[net.index()] {
            continue;
        }
        let island = reach(&[net], &all, |_| false);
        for (known, new) in seen.iter_mut().zip(&island) {
            *known |= new;
        }
        if is_used(sheet, &island) {
            remark_island(sheet, net.index(), &island, remarks);
        }
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
