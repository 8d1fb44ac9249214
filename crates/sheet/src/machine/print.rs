//! The canonical text of a machine file.

use std::fmt::Write;

use units::{Unit as OhmOf, exact};

use super::{Assembly, Check, Difference, HoldPoint, Machine, Step, Unit};
use crate::print::{quoted, word};

/// Prints a machine so that reading it gives the same machine, spans apart. Comments are not part of a machine.
pub fn print(machine: &Machine) -> String {
    let mut text = format!("machine {} {{\n", quoted(&machine.name));
    for assembly in &machine.assemblies {
        print_assembly(&mut text, assembly);
    }
    for join in &machine.joins {
        let [a, b] = [&join.pins[0], &join.pins[1]].map(|pin| word(&pin.to_string()));
        let _ = writeln!(text, "    join {a} {b}");
    }
    for unit in &machine.units {
        print_unit(&mut text, unit);
    }
    if !machine.bring_up.is_empty() {
        text.push_str("    bring-up {\n");
        for step in &machine.bring_up {
            match step {
                Step::Assembly(name) => {
                    let _ = writeln!(text, "        step {}", quoted(name));
                }
                Step::Hold(hold) => print_hold(&mut text, hold),
            }
        }
        text.push_str("    }\n");
    }
    text.push_str("}\n");
    text
}

fn print_assembly(text: &mut String, assembly: &Assembly) {
    let _ = writeln!(text, "    assembly {} {{", quoted(&assembly.name));
    for board in &assembly.boards {
        let _ = write!(text, "        board {}", word(&board.name));
        let properties = [
            ("title", &board.title),
            ("sheet", &board.sheet),
            ("slot", &board.slot),
        ];
        for (key, value) in properties {
            property(text, key, value.as_deref());
        }
        text.push('\n');
    }
    text.push_str("    }\n");
}

fn property(text: &mut String, key: &str, value: Option<&str>) {
    if let Some(value) = value {
        let _ = write!(text, " {key}={}", quoted(value));
    }
}

fn print_unit(text: &mut String, unit: &Unit) {
    let _ = write!(text, "    unit {}", quoted(&unit.name));
    property(text, "serial", unit.serial.as_deref());
    if unit.boards.is_empty() {
        text.push('\n');
        return;
    }
    text.push_str(" {\n");
    for board in &unit.boards {
        let _ = writeln!(text, "        on {} {{", word(&board.board));
        for change in &board.changes {
            let _ = writeln!(text, "            {}", difference(&change.what));
        }
        text.push_str("        }\n");
    }
    text.push_str("    }\n");
}

fn difference(what: &Difference) -> String {
    match what {
        Difference::Replace {
            part,
            value,
            properties,
        } => {
            let mut text = format!("replace {}", word(part));
            if let Some(value) = value {
                let _ = write!(text, " {}", quoted(value));
            }
            for (key, value) in properties {
                let value = match value.as_str() {
                    "#true" | "#false" => value.clone(),
                    _ => quoted(value),
                };
                let _ = write!(text, " {}={value}", word(key));
            }
            text
        }
        Difference::Absent { part } => format!("absent {}", word(part)),
        Difference::Bridge { nets, ohms } => {
            let mut text = format!("bridge {} {}", word(&nets[0]), word(&nets[1]));
            if let Some(ohms) = ohms {
                let _ = write!(text, " \"{}\"", exact(ohms.0, OhmOf::Ohm));
            }
            text
        }
    }
}

fn print_hold(text: &mut String, hold: &HoldPoint) {
    let _ = writeln!(text, "        hold {} {{", quoted(&hold.name));
    for need in &hold.needs {
        let _ = write!(text, "            needs {}", quoted(&need.text));
        match need.check {
            Some(Check::ColdCard) => text.push_str(" check=cold-card"),
            Some(Check::Rails) => text.push_str(" check=rails"),
            Some(Check::Readings) => text.push_str(" check=readings"),
            None => {}
        }
        if let Some(board) = &need.board {
            let _ = write!(text, " board={}", word(board));
        }
        text.push('\n');
    }
    text.push_str("        }\n");
}
