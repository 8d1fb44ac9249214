//! Unsteady bits: the fewest weak elements on whose lines they all lie.
//!
//! A weak element makes the bits that pass through it read now and then as if nothing were sensed, or, of an address
//! line, as the neighbouring word; it need not touch them all. So that a strobe is not blamed for three scattered bits,
//! an element may stand for unsteady bits only if at least a third of the bits that it could touch are unsteady
//! (chosen: a weak selection or sense line seen on real stores makes most of its ones unsteady).

use std::collections::BTreeMap;

use cover::cheapest_cover;

use crate::element::elements_of;
use crate::fault::Fault;
use crate::shape::Word;
use crate::wiring::Wiring;

/// A weak element and the unsteady bits that it stands for.
#[derive(Clone, Debug, PartialEq)]
pub struct WeakElement {
    /// Its name: `word wire 17 weak`.
    pub name: String,
    /// Other elements that the same bits could come from.
    pub alternatives: Vec<String>,
    /// The fault that it would be if it failed wholly.
    pub fault: Fault,
    /// Unsteady bits that it explains.
    pub explains: u64,
    /// Bits that it could make unsteady.
    pub could_touch: u64,
}

/// Explains unsteady bits (by address) of a store with this content (by address). The flag tells whether fewer
/// elements are proved impossible, which they are not if `stop` ended the search.
pub fn weak_elements(
    wiring: &Wiring,
    content: &[Word],
    unstable: &[Word],
    stop: &dyn Fn() -> bool,
) -> (Vec<WeakElement>, bool) {
    let mut items: Vec<(u32, u8)> = Vec::new();
    for a in wiring.addresses() {
        items.extend(
            (0..wiring.shape().bits)
                .filter(|b| unstable[*a as usize] >> b & 1 == 1)
                .map(|b| (*a, b)),
        );
    }
    if items.is_empty() {
        return (Vec::new(), true);
    }
    let mut touched: BTreeMap<Fault, u64> = BTreeMap::new();
    for a in wiring.addresses() {
        let pulses = wiring.sensed(content[*a as usize]);
        for bit in (0..wiring.shape().bits).filter(|b| pulses >> b & 1 == 1) {
            each_on_path(wiring, *a, bit, |f| *touched.entry(f).or_default() += 1);
        }
    }
    let mut sets: BTreeMap<Fault, Vec<usize>> = BTreeMap::new();
    for (number, (a, bit)) in items.iter().enumerate() {
        let fires = wiring.sensed(content[*a as usize]) >> bit & 1 == 1;
        sets.entry(Fault::Bit(*a, *bit, !fires))
            .or_default()
            .push(number);
        if fires {
            each_on_path(wiring, *a, *bit, |f| {
                sets.entry(f).or_default().push(number)
            });
        }
    }
    sets.retain(|f, items| matches!(f, Fault::Bit(..)) || items.len() as u64 * 3 >= touched[f]);
    let faults: Vec<Fault> = sets.keys().copied().collect();
    let lists: Vec<Vec<usize>> = sets.values().cloned().collect();
    // Every bit can stand for itself, so there always is a cover.
    let Ok(chosen) = cheapest_cover(items.len(), &lists, &vec![1; lists.len()], stop) else {
        return (Vec::new(), true);
    };
    let element = |n: &usize| {
        let fault = faults[*n];
        let alike = faults
            .iter()
            .zip(&lists)
            .filter(|(f, l)| **l == lists[*n] && **f != fault);
        let mut names: Vec<String> = elements_of(wiring, fault)
            .iter()
            .map(|e| weak_name(&e.name))
            .collect();
        let name = names.remove(0);
        names.extend(
            alike
                .flat_map(|(f, _)| elements_of(wiring, *f))
                .map(|e| weak_name(&e.name)),
        );
        WeakElement {
            name,
            alternatives: names,
            fault,
            explains: lists[*n].len() as u64,
            could_touch: touched.get(&fault).copied().unwrap_or(1),
        }
    };
    let mut weak: Vec<WeakElement> = chosen.chosen.iter().map(element).collect();
    weak.sort_by(|a, b| b.explains.cmp(&a.explains).then(a.name.cmp(&b.name)));
    (weak, chosen.proven)
}

/// The line elements that a pulse of one bit of one word passes.
fn each_on_path(wiring: &Wiring, address: u32, bit: u8, mut each: impl FnMut(Fault)) {
    for (number, axis) in wiring.shape().axes.iter().enumerate() {
        let line = wiring.line(number, address);
        each(Fault::LineDead(number as u8, line));
        if let Some(m) = axis.matrix {
            each(Fault::DriverDead(number as u8, line / m.sinks));
            each(Fault::SinkDead(number as u8, line % m.sinks));
        }
    }
    each(Fault::SenseDead(bit, wiring.sense_segment(address)));
    for (group, bits) in wiring.shape().strobes.iter().enumerate() {
        if bits >> bit & 1 == 1 {
            each(Fault::StrobeDead(group as u8));
        }
    }
}

fn weak_name(name: &str) -> String {
    for (end, weak) in [
        (" open", " weak"),
        (" dead", " weak"),
        (" missing", " late or early"),
        (" always on", " weak"),
    ] {
        if let Some(start) = name.strip_suffix(end) {
            return format!("{start}{weak}");
        }
    }
    for mark in [" stuck at ", " reads "] {
        if let Some((start, _)) = name.split_once(mark) {
            return format!("{start} weak");
        }
    }
    format!("{name}, now and then")
}
