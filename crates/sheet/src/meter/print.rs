//! Writes a meter profile in its own grammar.

use units::{Unit, exact, number, print_percentage};

use super::{Meter, OhmsFunction, VoltsInput};

impl Meter {
    /// The profile as it may stand in a meter file, one range a line; reading it again gives the same profile.
    pub fn print(&self) -> String {
        let mut text = format!("meter {}", quoted(&self.name));
        if let Some(source) = &self.source {
            text += &format!(" source={}", quoted(source));
        }
        text += " {\n";
        text += &self.ohms.as_ref().map_or_else(String::new, ohms);
        if let Some(d) = self.diode {
            let (amps, limit) = (number(d.amps.0), number(d.limit.0));
            let error = error(d.accuracy, d.floor.0, Unit::Volt);
            text += &format!("    diode amps={amps} limit={limit}{error}\n");
        }
        if let Some(v) = self.volts {
            text += "    volts";
            text += &match v.input {
                VoltsInput::Fixed(ohms) => format!(" ohms=\"{}\"", exact(ohms.0, Unit::Ohm)),
                VoltsInput::PerVolt {
                    ohms_per_volt,
                    range,
                } => {
                    format!(
                        " ohms-per-volt=\"{}\" range={}",
                        exact(ohms_per_volt.0, Unit::Ohm),
                        number(range.0)
                    )
                }
            };
            text += &error(v.accuracy, v.floor.0, Unit::Volt);
            text += &v
                .max
                .map_or_else(String::new, |max| format!(" max={}", number(max.0)));
            text += "\n";
        }
        text + "}\n"
    }
}

fn ohms(function: &OhmsFunction) -> String {
    let mut text = "    ohms {\n".to_owned();
    match function {
        OhmsFunction::CurrentSource { ranges } => {
            for r in ranges {
                let (amps, limit) = (number(r.amps.0), number(r.limit.0));
                let error = error(r.accuracy, r.floor.0, Unit::Ohm);
                text += &format!(
                    "        range {} amps={amps} limit={limit}{error}\n",
                    quoted(&r.name)
                );
            }
        }
        OhmsFunction::Series { ranges } => {
            for r in ranges {
                let (source, full) = (exact(r.source.0, Unit::Ohm), exact(r.full.0, Unit::Ohm));
                let reversed = if r.reversed { " reversed=#true" } else { "" };
                let error = error(r.accuracy, 0.0, Unit::Ohm);
                let (name, open) = (quoted(&r.name), number(r.open.0));
                text += &format!(
                    "        range {name} source=\"{source}\" open={open} full=\"{full}\"{reversed}{error}\n"
                );
            }
        }
    }
    text + "    }\n"
}

/// What is zero is not written.
fn error(accuracy: f64, floor: f64, unit: Unit) -> String {
    let mut text = String::new();
    if accuracy > 0.0 {
        text += &format!(" accuracy=\"{}\"", print_percentage(accuracy));
    }
    if floor > 0.0 {
        let floor = match unit {
            Unit::Ohm => format!("\"{}\"", exact(floor, unit)),
            _ => number(floor),
        };
        text += &format!(" floor={floor}");
    }
    text
}

fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}
