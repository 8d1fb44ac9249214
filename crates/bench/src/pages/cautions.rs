//! What must be said before a lead is set down; never that something is safe.

use sheet::{Kind, Role, Sheet};

/// A warning that stands before the step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caution {
    /// What to do or not to do.
    pub what: String,
    /// Why.
    pub why: String,
}

/// From here on a potential against ground is called dangerous: 50 V is where many rules for work on live parts begin
/// (common practice; local rules may say less).
const DANGEROUS: f64 = 50.0;
/// Capacitors from here on are named, because they hold a charge that is felt or that upsets a meter; chosen.
const HOLDS: f64 = 10e-6;

/// The cautions of a board, what can hurt first.
pub fn cautions(sheet: &Sheet) -> Vec<Caution> {
    let mut list = Vec::new();
    let high = high_places(sheet);
    if !high.is_empty() {
        list.push(Caution {
            what: format!(
                "Mains or more than {DANGEROUS} V can stand at {}. Pull the plug, and follow the rules of your place; leave mains and kilovolt work to those trained for it.",
                some(&high)
            ),
            why: "A switch or a fuse may be in the wrong line, and a part that failed may carry the voltage further than the drawing shows.".to_owned(),
        });
    }
    let stores = capacitors(sheet);
    let named = if stores.is_empty() {
        "Discharge what can hold a charge".to_owned()
    } else {
        format!("Discharge {} through a resistor", some(&stores))
    };
    list.push(Caution {
        what: format!(
            "Before ohms and diode tests: no supply connected. {named}, then read volts across it; ohms only when the volts are gone."
        ),
        why: "Capacitors keep their charge for hours and regain some of it. A charge gives a false reading, can destroy the meter and can hurt.".to_owned(),
    });
    if !sheet.nevers.is_empty() {
        let mut reasons: Vec<&str> = sheet.nevers.iter().map(|n| n.why.as_str()).collect();
        reasons.sort_unstable();
        reasons.dedup();
        list.extend(reasons.into_iter().map(|why| {
            let of_reason = sheet.nevers.iter().filter(|n| n.why == why);
            let places: Vec<String> = of_reason
                .map(|n| sheet.net_name(n.net).to_owned())
                .collect();
            Caution {
                what: format!("No probe on {}.", places.join(", ")),
                why: format!("The sheet says: {why}."),
            }
        }));
    }
    list
}

fn high_places(sheet: &Sheet) -> Vec<String> {
    let nets = sheet
        .nets
        .iter()
        .filter(|n| n.role == Some(Role::Rail) && n.volts.is_some_and(|v| v.0.abs() >= DANGEROUS))
        .map(|n| n.name.clone());
    let parts = sheet
        .parts
        .iter()
        .filter(|p| match &p.kind {
            Kind::Supply { volts, .. } => volts.0.abs() >= DANGEROUS,
            Kind::Transformer { windings } => windings
                .iter()
                .any(|w| w.volts.is_some_and(|v| v.0.abs() >= DANGEROUS)),
            _ => false,
        })
        .map(|p| p.name.clone());
    nets.chain(parts).collect()
}

fn capacitors(sheet: &Sheet) -> Vec<String> {
    let holds = |kind: &Kind| matches!(kind, Kind::Capacitor { farads, .. } if farads.0 >= HOLDS);
    let found = sheet.parts.iter().filter(|p| holds(&p.kind));
    found.map(|p| p.name.clone()).collect()
}

/// The first few names, and that there are more.
fn some(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [all @ .., last] if names.len() <= 6 => format!("{} and {last}", all.join(", ")),
        _ => format!("{} and {} more", names[..5].join(", "), names.len() - 5),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(body: &str) -> String {
        let (sheet, remarks) = sheet::parse(&format!("sheet A1 {{\n{body}\n}}\n"), "a1.kdl");
        assert!(remarks.iter().all(|r| !r.is_error()), "{remarks:?}");
        let list = cautions(&sheet);
        list.iter()
            .map(|c| format!("{} {}\n", c.what, c.why))
            .collect()
    }

    #[test]
    fn discharge_comes_before_ohms_on_every_board() {
        let plain = of("resistor R1 \"1k\" A B");
        assert!(
            plain.contains("Discharge what can hold a charge, then read volts"),
            "{plain}"
        );
        let stores = of("capacitor C1 \"470u\" plus=A minus=B\ncapacitor C2 \"10n\" A B");
        assert!(
            stores.contains("Discharge C1 through a resistor"),
            "{stores}"
        );
    }

    #[test]
    fn mains_and_high_rails_come_first() {
        let text = of("net \"+180V\" role=rail volts=180\nresistor R1 \"1k\" \"+180V\" B");
        assert!(
            text.starts_with("Mains or more than 50 V can stand at +180V."),
            "{text}"
        );
        let low = of("net \"-12V\" role=rail volts=-12\nresistor R1 \"1k\" \"-12V\" B");
        assert!(!low.contains("Mains"), "{low}");
    }

    #[test]
    fn a_forbidden_place_is_named_with_its_reason() {
        let text = of("resistor R1 \"1k\" A B\nnever A probe=\"kilovolts when powered\"");
        assert!(
            text.contains("No probe on A. The sheet says: kilovolts when powered."),
            "{text}"
        );
    }

    #[test]
    fn nothing_is_ever_called_safe() {
        let text = of(
            "net HT role=rail volts=400\ncapacitor C1 \"470u\" plus=HT minus=B\nnever HT probe=\"no\"",
        );
        assert!(!text.to_lowercase().contains("safe"), "{text}");
    }
}
