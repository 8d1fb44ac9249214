//! March tests: their notation, the tests in use, what each is sure to find, and the operations for a real store.

mod cells;
mod coverage;
mod operations;

pub use coverage::{Coverage, FaultClass, coverage};
pub use operations::{Operation, OperationKind, backgrounds, operations};

use std::fmt;

/// In which order an element visits the addresses.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// Either way will do; rising is used.
    Either,
    /// From the lowest address.
    Rising,
    /// From the highest address.
    Falling,
}

/// One operation at an address: of the background, or of its complement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Write the background (`false`) or its complement.
    Write(bool),
    /// Read and expect the background (`false`) or its complement.
    Read(bool),
}

/// Operations done at one address after another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MarchElement {
    /// The order of addresses.
    pub order: Order,
    /// What is done at each address.
    pub steps: Vec<Step>,
}

/// A march test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct March {
    /// Its usual name.
    pub name: &'static str,
    /// Its elements.
    pub elements: Vec<MarchElement>,
    /// The background alternates from cell to cell.
    pub checkered: bool,
}

impl March {
    /// Operations for each cell.
    pub fn length(&self) -> usize {
        self.elements.iter().map(|e| e.steps.len()).sum()
    }
}

impl fmt::Display for March {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let element = |e: &MarchElement| {
            let order = match e.order {
                Order::Either => "*",
                Order::Rising => "up",
                Order::Falling => "dn",
            };
            let step = |s: &Step| match s {
                Step::Write(one) => format!("w{}", u8::from(*one)),
                Step::Read(one) => format!("r{}", u8::from(*one)),
            };
            format!(
                "{order}({})",
                e.steps.iter().map(step).collect::<Vec<_>>().join(",")
            )
        };
        write!(
            f,
            "{{{}}}",
            self.elements
                .iter()
                .map(element)
                .collect::<Vec<_>>()
                .join(";")
        )
    }
}

/// Reads the usual notation, `{*(w0);up(r0,w1);dn(r1,w0)}`; `None` if it is not that.
pub fn read_march(name: &'static str, text: &str) -> Option<March> {
    let inside = text.trim().strip_prefix('{')?.strip_suffix('}')?;
    let elements = inside
        .split(';')
        .map(read_element)
        .collect::<Option<Vec<_>>>()?;
    Some(March {
        name,
        elements,
        checkered: false,
    })
}

fn read_element(text: &str) -> Option<MarchElement> {
    let (order, rest) = text.trim().split_once('(')?;
    let order = match order.trim() {
        "*" => Order::Either,
        "up" => Order::Rising,
        "dn" => Order::Falling,
        _ => return None,
    };
    let step = |s: &str| match s.trim() {
        "w0" => Some(Step::Write(false)),
        "w1" => Some(Step::Write(true)),
        "r0" => Some(Step::Read(false)),
        "r1" => Some(Step::Read(true)),
        _ => None,
    };
    let steps = rest
        .strip_suffix(')')?
        .split(',')
        .map(step)
        .collect::<Option<Vec<_>>>()?;
    Some(MarchElement { order, steps })
}

/// The tests in use, shortest first. MATS+, March C- and March B as publicly documented; the others from memory of the
/// literature (van de Goor, Testing Semiconductor Memories, 1991; March LR: van de Goor and others, 1996), their
/// coverage recomputed.
pub fn march_tests() -> Vec<March> {
    let written = [
        ("zero-one", "{*(w0);*(r0);*(w1);*(r1)}"),
        ("checkerboard", "{*(w0);*(r0);*(w1);*(r1)}"),
        ("MATS", "{*(w0);*(r0,w1);*(r1)}"),
        ("MATS+", "{*(w0);up(r0,w1);dn(r1,w0)}"),
        ("MATS++", "{*(w0);up(r0,w1);dn(r1,w0,r0)}"),
        ("March X", "{*(w0);up(r0,w1);dn(r1,w0);*(r0)}"),
        ("March Y", "{*(w0);up(r0,w1,r1);dn(r1,w0,r0);*(r0)}"),
        (
            "March C-",
            "{*(w0);up(r0,w1);up(r1,w0);dn(r0,w1);dn(r1,w0);*(r0)}",
        ),
        (
            "March C",
            "{*(w0);up(r0,w1);up(r1,w0);*(r0);dn(r0,w1);dn(r1,w0);*(r0)}",
        ),
        (
            "March LR",
            "{*(w0);dn(r0,w1);up(r1,w0,r0,w1);up(r1,w0);up(r0,w1,r1,w0);up(r0)}",
        ),
        (
            "March A",
            "{*(w0);up(r0,w1,w0,w1);up(r1,w0,w1);dn(r1,w0,w1,w0);dn(r0,w1,w0)}",
        ),
        (
            "March B",
            "{*(w0);up(r0,w1,r1,w0,r0,w1);up(r1,w0,w1);dn(r1,w0,w1,w0);dn(r0,w1,w0)}",
        ),
    ];
    let with_background = |(name, text): (&'static str, &str)| {
        let mut march = read_march(name, text)?;
        march.checkered = name == "checkerboard";
        Some(march)
    };
    written.into_iter().filter_map(with_background).collect()
}
