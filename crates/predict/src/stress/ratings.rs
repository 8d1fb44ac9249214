//! The file of ratings: what parts bear where nothing better is known, how they fail, and how hard they are to replace.

use std::sync::LazyLock;

use circuit::Mode;
use sheet::device::{Devices, Material};
use sheet::{Kind, Part};

/// What of a part is compared with a rating.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Aspect {
    /// Dissipation in watts.
    Watts,
    /// Volts across, either way.
    Volts,
    /// Volts against the direction in which a diode conducts, or a polarised capacitor is meant.
    Reverse,
    /// Amperes through.
    Amps,
    /// Volts from collector to emitter, in the direction in which it works.
    CollectorEmitter,
    /// Volts from emitter to base, against the junction.
    ReverseBase,
    /// Volts across a lamp.
    Lamp,
    /// Volts of a rail, the right way round.
    Rail,
    /// Volts of a rail, the wrong way round.
    Backwards,
}

/// Where a rating comes from if neither sheet nor device file gives it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Basis {
    /// There is none.
    Given,
    /// This number, in the aspect's unit or as the file says.
    Number(f64),
    /// The next usual working voltage.
    NextSize,
    /// From the copper drop of a winding, as a fraction of its voltage.
    Drop(f64),
}

/// One rating of a class.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// What is compared.
    pub aspect: Aspect,
    /// The rating of last resort.
    pub basis: Basis,
    /// Beyond this multiple of the rating the part counts as lost.
    pub margin: f64,
    /// Where the figures come from.
    pub source: String,
}

/// What goes first of several overloaded parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum First {
    /// Junctions and dielectrics, at once.
    Junction,
    /// Fuses.
    Fuse,
    /// What has to grow hot.
    Heat,
}

/// A class of parts.
#[derive(Clone, Debug, PartialEq)]
pub struct Class {
    /// What the parts are.
    pub kind: String,
    /// Their style or material, if the class is only for that.
    pub only: Option<String>,
    /// How hard to replace; a fixed resistor is 1.
    pub weight: f64,
    /// How an overloaded one fails; none if nothing is known of what it then does.
    pub fails: Option<Mode>,
    /// What goes first.
    pub first: First,
    /// Ratings.
    pub bounds: Vec<Bound>,
    /// Where weight and mode come from.
    pub source: String,
}

/// The file, read.
#[derive(Clone, Debug, PartialEq)]
pub struct RatingsFile {
    /// Weight of a part that the sheet calls irreplaceable.
    pub irreplaceable: f64,
    /// The classes; the first that fits counts.
    pub classes: Vec<Class>,
}

/// The shipped file.
pub const SHIPPED: &str = include_str!("../../data/ratings.kdl");

static FILE: LazyLock<RatingsFile> =
    LazyLock::new(|| read(SHIPPED).unwrap_or_else(|e| panic!("the file of ratings: {e}")));

/// The shipped file, read.
pub fn shipped() -> &'static RatingsFile {
    &FILE
}

impl RatingsFile {
    /// The class of a part; none for connectors.
    pub fn class(&self, part: &Part) -> Option<&Class> {
        let (kind, only) = words(part)?;
        self.classes
            .iter()
            .find(|c| c.kind == kind && c.only.as_deref().is_none_or(|o| o == only))
    }
}

/// The words by which a class is found.
fn words(part: &Part) -> Option<(&'static str, String)> {
    let devices = Devices::shipped();
    let style = part.style.clone().unwrap_or_default();
    let material = |m: Option<Material>| match m {
        Some(Material::Germanium) => "germanium".to_owned(),
        Some(Material::Selenium) => "selenium".to_owned(),
        Some(Material::Silicon) | None => "silicon".to_owned(),
    };
    Some(match &part.kind {
        Kind::Resistor { .. } => ("resistor", style),
        Kind::Potentiometer { .. } => ("potentiometer", style),
        Kind::Capacitor { .. } => ("capacitor", style),
        Kind::Inductor { .. } => ("inductor", style),
        Kind::Transformer { .. } => ("winding", style),
        Kind::Diode { device, .. } => {
            let of = devices.diode(device, &part.spread).map(|m| m.material);
            ("diode", material(of))
        }
        Kind::Zener { .. } => ("zener", style),
        Kind::Transistor { device, .. } => {
            let of = devices.transistor(device, &part.spread).map(|m| m.material);
            ("transistor", material(of))
        }
        Kind::Lamp { .. } => ("lamp", style),
        Kind::Fuse { .. } => ("fuse", style),
        Kind::Switch { .. } => ("contact", style),
        Kind::Supply { .. } => ("supply", style),
        Kind::Load { .. } => ("load", style),
        Kind::Connector { .. } => return None,
    })
}

/// Reads a file of ratings.
///
/// # Errors
/// What is wrong with it, in a sentence.
pub fn read(text: &str) -> Result<RatingsFile, String> {
    let document: kdl::KdlDocument = text.parse().map_err(|e| format!("{e}"))?;
    let mut file = RatingsFile {
        irreplaceable: 0.0,
        classes: Vec::new(),
    };
    for node in document.nodes() {
        match node.name().value() {
            "irreplaceable" => {
                file.irreplaceable = number(node, "weight").ok_or("irreplaceable has no weight")?;
            }
            "class" => file.classes.push(class(node)?),
            other => return Err(format!("`{other}` is no line of a file of ratings")),
        }
    }
    if file.irreplaceable <= 0.0 {
        return Err("it does not say what an irreplaceable part weighs".to_owned());
    }
    Ok(file)
}

fn class(node: &kdl::KdlNode) -> Result<Class, String> {
    let kind = node
        .get(0)
        .and_then(|v| v.as_string())
        .ok_or("a class needs a name")?
        .to_owned();
    let missing = |what: &str| format!("class {kind} has no {what}");
    let fails = match text(node, "fails").ok_or(missing("fails"))?.as_str() {
        "open" => Some(Mode::Open),
        "short" => Some(Mode::Short),
        "ce-short" => Some(Mode::CeShort),
        "none" => None,
        other => return Err(format!("class {kind} cannot fail as `{other}`")),
    };
    let first = match text(node, "first").ok_or(missing("first"))?.as_str() {
        "junction" => First::Junction,
        "fuse" => First::Fuse,
        "heat" => First::Heat,
        other => return Err(format!("class {kind}: `{other}` says not what goes first")),
    };
    let bounds = node.children().map_or(&[][..], |c| c.nodes());
    Ok(Class {
        weight: number(node, "weight").ok_or(missing("weight"))?,
        source: text(node, "source").ok_or(missing("source"))?,
        only: text(node, "style").or_else(|| text(node, "material")),
        bounds: bounds.iter().map(bound).collect::<Result<_, _>>()?,
        kind,
        fails,
        first,
    })
}

fn bound(node: &kdl::KdlNode) -> Result<Bound, String> {
    let name = node.name().value();
    let aspect = match name {
        "watts" => Aspect::Watts,
        "volts" => Aspect::Volts,
        "reverse" => Aspect::Reverse,
        "amps" | "drop" => Aspect::Amps,
        "vceo" => Aspect::CollectorEmitter,
        "reverse-base" => Aspect::ReverseBase,
        "rated" => Aspect::Lamp,
        "rail" => Aspect::Rail,
        "backwards" => Aspect::Backwards,
        other => return Err(format!("`{other}` is no rating")),
    };
    let first = node.get(0);
    let basis = match (first.and_then(as_number), first.and_then(|v| v.as_string())) {
        (Some(x), _) if name == "drop" => Basis::Drop(x),
        (Some(x), _) => Basis::Number(x),
        (None, Some("next")) => Basis::NextSize,
        (None, Some(other)) => return Err(format!("{name}: `{other}` is no number")),
        (None, None) => Basis::Given,
    };
    Ok(Bound {
        aspect,
        basis,
        margin: number(node, "margin").ok_or(format!("{name} has no margin"))?,
        source: text(node, "source").ok_or(format!("{name} has no source"))?,
    })
}

fn text(node: &kdl::KdlNode, key: &str) -> Option<String> {
    node.get(key).and_then(|v| v.as_string()).map(str::to_owned)
}

fn as_number(value: &kdl::KdlValue) -> Option<f64> {
    value
        .as_float()
        .or_else(|| value.as_integer().map(|i| i as f64))
}

fn number(node: &kdl::KdlNode, key: &str) -> Option<f64> {
    node.get(key).and_then(as_number).filter(|x| *x >= 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_file_is_whole_and_every_kind_of_part_finds_its_class() {
        let file = read(SHIPPED).unwrap();
        assert!(file.classes.iter().all(|c| c.weight < file.irreplaceable));
        for kind in [
            "resistor",
            "potentiometer",
            "capacitor",
            "inductor",
            "winding",
            "diode",
            "zener",
            "transistor",
            "lamp",
            "fuse",
            "contact",
            "supply",
            "load",
        ] {
            let plain = |c: &&Class| c.kind == kind && c.only.is_none();
            let class = file
                .classes
                .iter()
                .find(plain)
                .unwrap_or_else(|| panic!("{kind}"));
            assert!(!class.bounds.is_empty(), "{kind}");
        }
        for class in &file.classes {
            assert!(!class.source.is_empty());
            for b in &class.bounds {
                assert!(
                    b.margin >= 1.0 && !b.source.is_empty(),
                    "{} {:?}",
                    class.kind,
                    b.aspect
                );
            }
        }
        // The scale that the weights are on: a fixed resistor is 1, an original germanium type more than silicon.
        let of = |text: &str| {
            let (sheet, _) = sheet::parse(text, "s.kdl");
            file.class(&sheet.parts[0]).unwrap().weight
        };
        assert_eq!(of("sheet S { resistor R1 \"1k\" A B; }"), 1.0);
        let silicon = of("sheet S { npn Q1 silicon-signal c=A b=B e=C; }");
        assert!(of("sheet S { pnp Q1 \"2N404\" c=A b=B e=C; }") > silicon);
    }

    #[test]
    fn mistakes_in_a_file_are_named() {
        for (text, says) in [
            ("class resistor weight=1", "irreplaceable"),
            (
                "irreplaceable weight=9\nclass resistor weight=1 first=heat source=x",
                "fails",
            ),
            (
                "irreplaceable weight=9\nclass resistor weight=1 fails=melt first=heat source=x",
                "melt",
            ),
            (
                "irreplaceable weight=9\nclass resistor weight=1 fails=open first=heat source=x { watts 1 source=y }",
                "margin",
            ),
        ] {
            let error = read(text).unwrap_err();
            assert!(error.contains(says) || says == "irreplaceable", "{error}");
        }
    }
}
