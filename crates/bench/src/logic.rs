//! Gate-level diagnosis for the command line and the pages: text in, plain view data out.

mod bounce;
mod gates;
mod keys;
mod next;

pub use gates::{
    FirstWrong, GateCase, GateResult, PackageView, PartShare, RowLevels, RunLevels, Simulated,
    Summary, is_gate_sheet, known_packages,
};

pub use next::{NextInputs, NextNet, NextView, next_of_netlist};

pub use bounce::{BounceView, ContactBounce, ContactView, QUIET, bounce, bounce_text};
pub use keys::{BrokenView, KeyUnit, KeyView, KeysView, keys, keys_of};

use ::logic::{
    Diagnosis, Diagnostic, GateId, Network, Observation, Unit, diagnose, diagnose_units,
    parse_netlist, parse_observations,
};
use serde::ser::{SerializeSeq, SerializeStruct};
use serde::{Serialize, Serializer};

use crate::loading::Text;
use crate::refused::{Complaint, Refused};

/// A netlist with observations of it, ready to be diagnosed.
#[derive(Clone, Debug)]
pub struct LogicCase {
    network: Network,
    observations: Vec<Observation>,
    /// Lines that could not be used; not empty only if lenience was asked for.
    pub skipped: Vec<Complaint>,
    /// What was seen and says nothing of this network.
    pub warnings: Vec<String>,
}

/// How much of the time allowed for an observation is spent: asked with a share from 0 to 1, answers whether it is used up.
pub type Spent<'a> = &'a dyn Fn(f64) -> bool;

/// Share of the time allowed after which no more sets are looked for.
const SEARCH_SHARE: f64 = 0.6;
/// Share of the time allowed after which no more sets are written out; the rest is for the text itself.
const LISTING_SHARE: f64 = 0.75;

impl LogicCase {
    /// Reads both files.
    ///
    /// # Errors
    /// All mistakes in both files, unless `lenient`; a file with nothing usable in it, always.
    pub fn read(netlist: &Text, observations: &Text, lenient: bool) -> Result<Self, Refused> {
        let (network, wrong) = parse_netlist(&netlist.text);
        let mut mistakes = complaints(netlist, wrong);
        if network.gates().is_empty() {
            mistakes.push(nothing_in(netlist, "The netlist holds no usable gate."));
            return Err(Refused::Input(mistakes));
        }
        let observed = parse_observations(&observations.text, &network);
        mistakes.extend(complaints(observations, observed.mistakes));
        if observed.observations.is_empty() {
            mistakes.push(nothing_in(
                observations,
                "The file holds no usable observation.",
            ));
            return Err(Refused::Input(mistakes));
        }
        if !mistakes.is_empty() && !lenient {
            return Err(Refused::Input(mistakes));
        }
        let mut warnings: Vec<String> = Vec::new();
        for warning in observed.observations.iter().flat_map(|o| &o.warnings) {
            if !warnings.contains(warning) {
                warnings.push(warning.clone());
            }
        }
        Ok(Self {
            network,
            observations: observed.observations,
            skipped: mistakes,
            warnings,
        })
    }

    /// Number of observations.
    pub fn len(&self) -> usize {
        self.observations.len()
    }

    /// Never true of a case that was read.
    pub fn is_empty(&self) -> bool {
        self.observations.is_empty()
    }

    /// Diagnoses one observation.
    ///
    /// # Panics
    /// If `index` is not below [`LogicCase::len`].
    pub fn diagnose(&self, index: usize, spent: Spent<'_>) -> LogicResult<'_> {
        let observation = &self.observations[index];
        let found = diagnose(&self.network, observation, &|| spent(SEARCH_SHARE), &|| {
            spent(LISTING_SHARE)
        });
        LogicResult::new(observation.id.clone(), &self.network, found)
    }

    /// Diagnoses all observations together: the same gates must explain each of them.
    pub fn diagnose_together(&self, spent: Spent<'_>) -> LogicResult<'_> {
        let units: Vec<Unit> = (0..self.network.gates().len())
            .map(|g| Unit { gates: vec![g] })
            .collect();
        let found = diagnose_units(&self.network, &self.observations, &units, &|| {
            spent(SEARCH_SHARE)
        });
        LogicResult::new("together".into(), &self.network, found)
    }
}

fn complaints(text: &Text, found: Vec<Diagnostic>) -> Vec<Complaint> {
    found
        .into_iter()
        .map(|d| Complaint {
            message: d.message,
            file: Some(text.file.clone()),
            line: Some(d.line),
            column: Some(d.column),
            help: Some(d.help),
            source_line: text.text.lines().nth(d.line - 1).map(str::to_owned),
        })
        .collect()
}

fn nothing_in(text: &Text, message: &str) -> Complaint {
    let help =
        "Look at the first line: it names the columns of the netlist, or the nets that were seen.";
    Complaint {
        file: Some(text.file.clone()),
        ..Complaint::new(message, help)
    }
}

/// What explains one observation, or all together.
#[derive(Clone, Debug)]
pub struct LogicResult<'n> {
    /// The observation's name; `together` for all.
    pub id: String,
    /// Size of the smallest sets, if proved.
    pub min_cardinality: Option<usize>,
    /// Whether no other set of that size exists.
    pub complete: bool,
    /// Gates with the share of the sets that hold them, most frequent first.
    pub gates: Vec<(&'n str, f64)>,
    /// What those shares rest on: counted, sampled, or found.
    pub basis: &'static str,
    /// Sets proposed and refused by the simulator: a fault of the program if not zero.
    pub refused: usize,
    /// How many sets there are, if the search was finished, even where they are too many to be written out in time.
    pub family: Option<f64>,
    sets: Vec<Vec<GateId>>,
    network: &'n Network,
}

impl<'n> LogicResult<'n> {
    fn new(id: String, network: &'n Network, found: Diagnosis) -> Self {
        let gates = found
            .shares
            .iter()
            .map(|(g, share)| (network.gates()[g.index()].name.as_str(), *share))
            .collect();
        Self {
            id,
            min_cardinality: found.size,
            complete: found.complete,
            gates,
            basis: found.basis.word(),
            refused: found.refused,
            family: found.family,
            sets: found.sets,
            network,
        }
    }

    /// Number of sets found.
    pub fn count(&self) -> usize {
        self.sets.len()
    }

    /// The sets as names of gates.
    pub fn diagnoses(&self) -> impl Iterator<Item = Vec<&'n str>> + '_ {
        self.sets.iter().map(|set| {
            set.iter()
                .map(|g| self.network.gates()[g.index()].name.as_str())
                .collect()
        })
    }
}

impl Serialize for LogicResult<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut object = serializer.serialize_struct("LogicResult", 8)?;
        object.serialize_field("id", &self.id)?;
        object.serialize_field("min_cardinality", &self.min_cardinality)?;
        object.serialize_field("count", &self.count())?;
        object.serialize_field("complete", &self.complete)?;
        object.serialize_field("diagnoses", &Sets(self))?;
        object.serialize_field("gates", &Shares(self))?;
        object.serialize_field("basis", &self.basis)?;
        object.serialize_field("family", &self.family)?;
        object.end()
    }
}

struct Sets<'r, 'n>(&'r LogicResult<'n>);

impl Serialize for Sets<'_, '_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut list = serializer.serialize_seq(Some(self.0.sets.len()))?;
        for set in &self.0.sets {
            list.serialize_element(&Set(self.0.network, set))?;
        }
        list.end()
    }
}

struct Set<'r>(&'r Network, &'r [GateId]);

impl Serialize for Set<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.1.iter().map(|gate| &self.0.gates()[gate.index()].name))
    }
}

struct Shares<'r, 'n>(&'r LogicResult<'n>);

impl Serialize for Shares<'_, '_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct Share<'a> {
            gate: &'a str,
            probability: f64,
        }
        serializer.collect_seq(self.0.gates.iter().map(|(gate, probability)| Share {
            gate,
            probability: *probability,
        }))
    }
}
