//! The netlist as comma-separated text: `gate,function,output,inputs`, inputs separated by spaces.

use std::collections::HashMap;

use crate::diagnostic::Diagnostic;
use crate::network::{Function, Gate, NetId, Network, NetworkError};

/// Reads a netlist; a bad line costs that line alone.
///
/// Words after `#` at the start of a line are skipped, as are blank lines. The header line is required, in any order of columns.
pub fn parse_netlist(text: &str) -> (Network, Vec<Diagnostic>) {
    let mut found = Vec::new();
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let header: Vec<String> = match reader.headers() {
        Ok(header) => header.iter().map(str::to_ascii_lowercase).collect(),
        Err(_) => Vec::new(),
    };
    let column = |name: &str| header.iter().position(|h| h == name);
    let (Some(gate), Some(function), Some(output), Some(inputs)) = (
        column("gate"),
        column("function"),
        column("output"),
        column("inputs"),
    ) else {
        let help = "The first line is `gate,function,output,inputs`.";
        found.push(Diagnostic::at(
            1,
            1,
            "The netlist does not name its columns.",
            help,
        ));
        return (Network::default(), found);
    };
    let mut names = Names::default();
    let mut gates: Vec<Gate> = Vec::new();
    let mut lines: Vec<usize> = Vec::new();
    let mut known: HashMap<String, usize> = HashMap::new();
    let mut drivers: HashMap<NetId, usize> = HashMap::new();
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                let line = error.position().map_or(1, |p| p.line() as usize);
                let help = "Write the file as plain text (UTF-8), one gate a line.";
                found.push(Diagnostic::at(
                    line,
                    1,
                    "The line cannot be read as text.",
                    help,
                ));
                continue;
            }
        };
        let line = record.position().map_or(1, |p| p.line() as usize);
        let field = |at: usize| record.get(at).unwrap_or("");
        let read = read_gate(
            &mut names,
            [field(gate), field(function), field(output), field(inputs)],
            line,
        );
        let new = match read {
            Ok(new) => new,
            Err(wrong) => {
                found.push(wrong);
                continue;
            }
        };
        if let Some(first) = known.get(&new.name) {
            let message = format!("The gate `{}` is named on line {first} already.", new.name);
            found.push(Diagnostic::at(
                line,
                1,
                message,
                "Give each gate a name of its own.",
            ));
            continue;
        }
        if let Some(first) = drivers.get(&new.output) {
            let message = format!(
                "The net `{}` is driven on line {first} already.",
                names.list[new.output.index()]
            );
            let help = "A net has one driver; write a wired connection as a gate of its own.";
            found.push(Diagnostic::at(line, 1, message, help));
            continue;
        }
        known.insert(new.name.clone(), line);
        drivers.insert(new.output, line);
        gates.push(new);
        lines.push(line);
    }
    (assemble(gates, names.list, &lines, &mut found), found)
}

/// Leaves out a gate of each ring until none is left, and says so.
fn assemble(
    mut gates: Vec<Gate>,
    names: Vec<String>,
    lines: &[usize],
    found: &mut Vec<Diagnostic>,
) -> Network {
    let mut lines = lines.to_vec();
    loop {
        match Network::new(gates.clone(), names.clone()) {
            Ok(network) => return network,
            Err(NetworkError::Ring { gates: ring }) => {
                let last = ring.iter().copied().max().unwrap_or(0);
                let ring: Vec<&str> = ring.iter().map(|i| gates[*i].name.as_str()).collect();
                let message = format!(
                    "These gates feed each other in a ring: {}.",
                    ring.join(", ")
                );
                let help = "A netlist is combinational; write stored state as a flip-flop in a gate sheet.";
                found.push(Diagnostic::at(lines[last], 1, message, help));
                gates.remove(last);
                lines.remove(last);
            }
            Err(NetworkError::TwoDrivers { second, .. }) => {
                gates.remove(second);
                lines.remove(second);
            }
        }
    }
}

#[derive(Default)]
struct Names {
    list: Vec<String>,
    by_name: HashMap<String, NetId>,
}

impl Names {
    fn net(&mut self, name: &str) -> NetId {
        if let Some(net) = self.by_name.get(name) {
            return *net;
        }
        let net = NetId(self.list.len() as u32);
        self.list.push(name.to_owned());
        self.by_name.insert(name.to_owned(), net);
        net
    }
}

fn read_gate(
    names: &mut Names,
    [name, word, output, inputs]: [&str; 4],
    line: usize,
) -> Result<Gate, Diagnostic> {
    let wrong = |message: String, help: &str| Err(Diagnostic::at(line, 1, message, help));
    if name.is_empty() || output.is_empty() {
        return wrong(
            "The line names no gate or no output net.".into(),
            "Write `gate,function,output,inputs`.",
        );
    }
    let Some(function) = Function::from_word(word) else {
        let help = "The functions are and, nand, or, nor, xor, xnor, not and buf.";
        return wrong(format!("`{word}` is not a function of a gate."), help);
    };
    let listed: Vec<&str> = inputs.split_whitespace().collect();
    let (fewest, most) = function.inputs();
    if listed.len() < fewest || listed.len() > most {
        let message = format!(
            "The gate `{name}` ({}) has {} inputs.",
            function.word(),
            listed.len()
        );
        let help = if most == 1 {
            "It takes exactly one input."
        } else {
            "List its input nets, separated by spaces."
        };
        return wrong(message, help);
    }
    let inputs = listed.iter().map(|n| names.net(n)).collect();
    Ok(Gate {
        name: name.to_owned(),
        function,
        inputs,
        output: names.net(output),
    })
}
