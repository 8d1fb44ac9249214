//! Levels that were seen, from JSON lines or comma-separated text.

use crate::diagnostic::Diagnostic;
use crate::network::{NetId, Network};

/// Levels seen together at some nets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Observation {
    /// What the person calls it.
    pub id: String,
    /// Nets with the level seen; each net at most once, in ascending order.
    pub levels: Vec<(NetId, bool)>,
    /// Names that were seen but say nothing of this network, with the reason.
    pub warnings: Vec<String>,
}

/// Observations that could be read, with the mistakes in the text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Observed {
    /// One for each good line.
    pub observations: Vec<Observation>,
    /// Lines that could not be used.
    pub mistakes: Vec<Diagnostic>,
}

impl Observation {
    /// The level seen at a net.
    pub fn level(&self, net: NetId) -> Option<bool> {
        self.levels
            .binary_search_by_key(&net, |(n, _)| *n)
            .ok()
            .map(|i| self.levels[i].1)
    }
}

/// Reads observations; a bad line costs that line alone.
///
/// A text whose first mark is `{` is JSON lines `{"id","inputs":{net:0|1},"outputs":{net:0|1}}`, anything else is comma-separated
/// with a column a net, an optional column `id`, and `x` or nothing where a net was not seen.
pub fn parse_observations(text: &str, network: &Network) -> Observed {
    let text = text.trim_start_matches('\u{feff}');
    if text.trim_start().starts_with('{') {
        parse_lines(text, network)
    } else {
        parse_columns(text, network)
    }
}

fn parse_lines(text: &str, network: &Network) -> Observed {
    let mut observed = Observed::default();
    for (index, line) in text.lines().enumerate() {
        if line.trim().is_empty() {
            continue;
        }
        match parse_line(line, index + 1, network) {
            Ok(observation) => observed.observations.push(observation),
            Err(mistake) => observed.mistakes.push(mistake),
        }
    }
    observed
}

fn parse_line(line: &str, number: usize, network: &Network) -> Result<Observation, Diagnostic> {
    let value: serde_json::Value = serde_json::from_str(line).map_err(|error| {
        let help = "Write one whole JSON object a line, such as {\"id\":\"1\",\"inputs\":{\"A\":1},\"outputs\":{\"Y\":0}}.";
        Diagnostic::at(number, error.column().max(1), "The line is not JSON.", help)
    })?;
    let id = match value.get("id") {
        Some(serde_json::Value::String(id)) => id.clone(),
        Some(serde_json::Value::Number(id)) => id.to_string(),
        _ => number.to_string(),
    };
    let mut gathering = Gathering::new(network);
    for (section, role) in [
        ("inputs", Role::Input),
        ("outputs", Role::Output),
        ("nets", Role::Any),
    ] {
        let Some(seen) = value.get(section) else {
            continue;
        };
        let Some(seen) = seen.as_object() else {
            let message = format!("`{section}` is not a list of nets with their levels.");
            return Err(Diagnostic::at(
                number,
                1,
                message,
                "Write it as {\"net\":0,\"other\":1}.",
            ));
        };
        for (net, level) in seen {
            let level = level_of_value(level).map_err(|()| {
                let message = format!("The level of `{net}` is neither 0 nor 1.");
                Diagnostic::at(
                    number,
                    1,
                    message,
                    "Write 0, 1, or \"x\" for a net that was not seen.",
                )
            })?;
            gathering
                .note(net, level, role)
                .map_err(|message| contradiction(number, message))?;
        }
    }
    if value.get("inputs").is_none()
        && value.get("outputs").is_none()
        && value.get("nets").is_none()
    {
        let help = "Give the levels under \"inputs\" and \"outputs\".";
        return Err(Diagnostic::at(number, 1, "The line holds no levels.", help));
    }
    Ok(gathering.into_observation(id))
}

fn contradiction(line: usize, message: String) -> Diagnostic {
    Diagnostic::at(line, 1, message, "Give each net one level.")
}

fn level_of_value(value: &serde_json::Value) -> Result<Option<bool>, ()> {
    match value {
        serde_json::Value::Bool(level) => Ok(Some(*level)),
        serde_json::Value::Null => Ok(None),
        serde_json::Value::Number(number) => level_of_word(&number.to_string()),
        serde_json::Value::String(word) => level_of_word(word),
        _ => Err(()),
    }
}

fn level_of_word(word: &str) -> Result<Option<bool>, ()> {
    match word.trim() {
        "0" => Ok(Some(false)),
        "1" => Ok(Some(true)),
        "" | "x" | "X" => Ok(None),
        _ => Err(()),
    }
}

fn parse_columns(text: &str, network: &Network) -> Observed {
    let mut observed = Observed::default();
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let header: Vec<String> = match reader.headers() {
        Ok(header) if header.iter().any(|h| !h.is_empty()) => {
            header.iter().map(str::to_owned).collect()
        }
        _ => {
            let help = "The first line names the nets, one a column.";
            observed.mistakes.push(Diagnostic::at(
                1,
                1,
                "The observations have no header.",
                help,
            ));
            return observed;
        }
    };
    for (index, record) in reader.records().enumerate() {
        let row = match record {
            Ok(record) => parse_row(&header, &record, index, network),
            Err(error) => {
                let line = error.position().map_or(index + 2, |p| p.line() as usize);
                Err(Diagnostic::at(
                    line,
                    1,
                    "The line cannot be read as text.",
                    "Write the file as plain text (UTF-8).",
                ))
            }
        };
        match row {
            Ok(observation) => observed.observations.push(observation),
            Err(mistake) => observed.mistakes.push(mistake),
        }
    }
    observed
}

fn parse_row(
    header: &[String],
    record: &csv::StringRecord,
    index: usize,
    network: &Network,
) -> Result<Observation, Diagnostic> {
    let line = record.position().map_or(index + 2, |p| p.line() as usize);
    if record.len() != header.len() {
        let message = format!(
            "The line has {} fields and the header {}.",
            record.len(),
            header.len()
        );
        return Err(Diagnostic::at(
            line,
            1,
            message,
            "Write x where a net was not seen.",
        ));
    }
    let mut id = (index + 1).to_string();
    let mut gathering = Gathering::new(network);
    for (name, word) in header.iter().zip(record.iter()) {
        if name == "id" && network.net("id").is_none() {
            id = word.to_owned();
            continue;
        }
        let level = level_of_word(word).map_err(|()| {
            let message = format!("`{word}` is not a level for `{name}`.");
            Diagnostic::at(
                line,
                1,
                message,
                "Write 0, 1, or x for a net that was not seen.",
            )
        })?;
        gathering
            .note(name, level, Role::Any)
            .map_err(|message| contradiction(line, message))?;
    }
    Ok(gathering.into_observation(id))
}

#[derive(Clone, Copy, PartialEq)]
enum Role {
    Input,
    Output,
    Any,
}

struct Gathering<'n> {
    network: &'n Network,
    levels: Vec<(NetId, bool)>,
    warnings: Vec<String>,
}

impl<'n> Gathering<'n> {
    fn new(network: &'n Network) -> Self {
        Self {
            network,
            levels: Vec::new(),
            warnings: Vec::new(),
        }
    }

    fn note(&mut self, name: &str, level: Option<bool>, role: Role) -> Result<(), String> {
        let Some(level) = level else { return Ok(()) };
        let Some(net) = self.network.net(name) else {
            self.warnings.push(match role {
                Role::Output => {
                    format!("The observed output `{name}` is not in the netlist; it is ignored.")
                }
                Role::Input => format!("The input `{name}` feeds no gate; it is ignored."),
                Role::Any => format!("The net `{name}` is not in the netlist; it is ignored."),
            });
            return Ok(());
        };
        if role == Role::Output && self.network.driver(net).is_none() {
            self.warnings.push(format!(
                "No gate drives the observed output `{name}`; it is ignored."
            ));
            return Ok(());
        }
        match self.levels.iter().find(|(n, _)| *n == net) {
            Some((_, before)) if *before != level => {
                Err(format!("The net `{name}` is given both levels."))
            }
            Some(_) => Ok(()),
            None => {
                self.levels.push((net, level));
                Ok(())
            }
        }
    }

    fn into_observation(mut self, id: String) -> Observation {
        self.levels.sort_unstable();
        Observation {
            id,
            levels: self.levels,
            warnings: self.warnings,
        }
    }
}
