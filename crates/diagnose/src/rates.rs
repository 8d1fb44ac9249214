//! The failure-mode file: how often parts of a class are bad, and how the bad ones divide.

use std::sync::LazyLock;

/// A mode of failure.
#[derive(Clone, Debug, PartialEq)]
pub struct ModeShare {
    /// Name of the fault, as faults are named everywhere.
    pub fault: String,
    /// Share of the bad parts.
    pub share: f64,
    /// Least and greatest magnitude, for a mode that has one.
    pub magnitude: Option<(f64, f64)>,
    /// Where the figures come from.
    pub source: String,
}

/// A class of parts.
#[derive(Clone, Debug, PartialEq)]
pub struct Class {
    /// What the parts are.
    pub kind: String,
    /// Their style or material, if the class is only for that.
    pub only: Option<String>,
    /// Share of such parts that is bad.
    pub rate: f64,
    /// Where it comes from.
    pub source: String,
    /// How the bad ones divide; the shares sum to 1.
    pub modes: Vec<ModeShare>,
}

/// The shipped file, a table of figures with their sources.
pub const SHIPPED: &str = include_str!("../data/failure-modes.kdl");

static CLASSES: LazyLock<Vec<Class>> =
    LazyLock::new(|| read(SHIPPED).unwrap_or_else(|e| panic!("the failure-mode file: {e}")));

/// The shipped classes.
pub fn classes() -> &'static [Class] {
    &CLASSES
}

/// The class of a part: the first whose words fit.
pub fn class(kind: &str, only: &str) -> Option<&'static Class> {
    classes()
        .iter()
        .find(|c| c.kind == kind && c.only.as_deref().is_none_or(|o| o == only))
}

/// Reads a failure-mode file.
///
/// # Errors
/// What is wrong with it, in a sentence.
pub fn read(text: &str) -> Result<Vec<Class>, String> {
    let document: kdl::KdlDocument = text.parse().map_err(|e| format!("{e}"))?;
    document.nodes().iter().map(class_of).collect()
}

fn class_of(node: &kdl::KdlNode) -> Result<Class, String> {
    let kind = word(node)?;
    let lambda = number(node, "lambda").ok_or(format!("class {kind} has no lambda"))?;
    let age = number(node, "age").ok_or(format!("class {kind} has no age"))?;
    let modes: Vec<ModeShare> = node
        .children()
        .map_or(&[][..], |c| c.nodes())
        .iter()
        .map(mode)
        .collect::<Result<_, _>>()?;
    let total: f64 = modes.iter().map(|m| m.share).sum();
    if (total - 1.0).abs() > 1e-6 {
        return Err(format!("the shares of class {kind} sum to {total}"));
    }
    Ok(Class {
        only: text(node, "style").or_else(|| text(node, "material")),
        rate: lambda * age,
        source: text(node, "source").ok_or(format!("class {kind} has no source"))?,
        kind,
        modes,
    })
}

fn mode(node: &kdl::KdlNode) -> Result<ModeShare, String> {
    let fault = word(node)?;
    let magnitude = number(node, "from").zip(number(node, "to"));
    let wants = matches!(fault.as_str(), "high" | "low" | "leaky");
    if wants != magnitude.is_some() {
        return Err(format!("mode {fault}: from and to belong to a magnitude"));
    }
    Ok(ModeShare {
        share: number(node, "share").ok_or(format!("mode {fault} has no share"))?,
        source: text(node, "source").ok_or(format!("mode {fault} has no source"))?,
        fault,
        magnitude,
    })
}

fn word(node: &kdl::KdlNode) -> Result<String, String> {
    node.get(0)
        .and_then(|v| v.as_string())
        .map(str::to_owned)
        .ok_or(format!("`{}` needs a name", node.name().value()))
}

fn text(node: &kdl::KdlNode, key: &str) -> Option<String> {
    node.get(key).and_then(|v| v.as_string()).map(str::to_owned)
}

fn number(node: &kdl::KdlNode, key: &str) -> Option<f64> {
    let value = node.get(key)?;
    value
        .as_float()
        .or_else(|| value.as_integer().map(|i| i as f64))
        .filter(|x| *x > 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_file_is_whole() {
        let list = read(SHIPPED).unwrap();
        for kind in [
            "resistor",
            "potentiometer",
            "capacitor",
            "inductor",
            "winding",
            "diode",
            "zener",
            "transistor",
            "fuse",
            "lamp",
            "closed-contact",
            "open-contact",
            "pin",
            "bridge",
        ] {
            assert!(list.iter().any(|c| c.kind == kind && c.only.is_none()));
        }
        for c in &list {
            assert!(c.rate > 0.0 && c.rate < 0.1, "{} {}", c.kind, c.rate);
            for m in &c.modes {
                if let Some((from, to)) = m.magnitude {
                    assert!(from < to);
                }
            }
        }
    }

    #[test]
    fn published_shares_of_parts_that_did_not_change_with_age() {
        // MIL-HDBK-338B: composition resistors parameter change .66, open .31, short .03; bipolar
        // transistors short .73, open .27.
        let of = |kind: &str, only: &str, names: &[&str]| -> f64 {
            let class = class(kind, only).unwrap();
            let list = class.modes.iter();
            list.filter(|m| names.contains(&m.fault.as_str()))
                .map(|m| m.share)
                .sum()
        };
        assert!((of("resistor", "composition", &["high", "low"]) - 0.66).abs() < 1e-9);
        assert!((of("resistor", "composition", &["open"]) - 0.31).abs() < 1e-9);
        let shorts = of(
            "transistor",
            "silicon",
            &["be-short", "bc-short", "ce-short"],
        );
        let opens = of(
            "transistor",
            "silicon",
            &["b-open", "c-open", "e-open", "be-open"],
        );
        assert!((shorts / (shorts + opens) - 0.73).abs() < 0.005);
    }

    #[test]
    fn a_file_with_shares_that_do_not_sum_is_refused() {
        let bad = "class fuse lambda=1 age=1 source=\"x\" { mode open share=0.5 source=\"x\"; }";
        assert!(read(bad).unwrap_err().contains("sum to 0.5"));
    }
}
