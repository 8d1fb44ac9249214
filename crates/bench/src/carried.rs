//! In words: which parts carry a reading.

use predict::{Carrier, Place};
use sheet::Sheet;

/// "mostly R4 in parallel with Q2's base-collector junction"; empty when nothing flows.
pub fn words(carriers: &[Carrier], sheet: &Sheet) -> String {
    let named: Vec<(&Carrier, String)> = carriers
        .iter()
        .filter(|c| c.share >= 0.08)
        .take(4)
        .map(|c| (c, name(c, sheet)))
        .collect();
    let Some(((first, first_name), rest)) = named.split_first() else {
        return if carriers.is_empty() {
            String::new()
        } else {
            "many parts, none of which carries a twelfth of it".to_owned()
        };
    };
    let covered: f64 = named.iter().map(|(c, _)| c.share).sum();
    let mut text = match (covered >= 0.95, first.share >= 0.5) {
        (true, _) => String::new(),
        (false, true) => "mostly ".to_owned(),
        (false, false) => "among others ".to_owned(),
    };
    text.push_str(first_name);
    let mut before = *first;
    for (carrier, name) in rest {
        text.push_str(joined(before, carrier));
        text.push_str(name);
        before = carrier;
    }
    text
}

/// Parts across which the same voltage stands are in parallel; parts through which the same
/// current flows are in series. Within a tenth, as a meter shows it.
fn joined(a: &Carrier, b: &Carrier) -> &'static str {
    let near = |x: f64, y: f64| (x - y).abs() <= 0.1 * x.max(y);
    if near(a.current, b.current) && !near(a.voltage, b.voltage) {
        ", then "
    } else if near(a.voltage, b.voltage) {
        " in parallel with "
    } else {
        " and "
    }
}

fn name(carrier: &Carrier, sheet: &Sheet) -> String {
    let part = &sheet.parts[carrier.part.index()].name;
    match carrier.place {
        Place::Whole => part.clone(),
        Place::BaseEmitter => format!("{part}'s base-emitter junction"),
        Place::BaseCollector => format!("{part}'s base-collector junction"),
        Place::CollectorEmitter => format!("{part} from collector to emitter"),
    }
}
