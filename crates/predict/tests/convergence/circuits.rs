//! Random circuits as sheets: half of them parts thrown between nets, half stages in feedback.
//!
//! Circuits that mean nothing are avoided by construction. A load that draws a fixed current
//! stands on a rail beside a bleeder, and neither of them is ever made faulty, because a current
//! that has nowhere to flow has no solution. No junction stands at an ideal source with nothing
//! between, because nothing would limit its current.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use crate::blocks::{self, Site};
use crate::parts::{any, decades, one};

/// A circuit as the lines of its sheet, one a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Circuit {
    /// The parts.
    pub lines: Vec<String>,
    /// Whether it is made of stages in feedback.
    pub feedback: bool,
    /// Temperature of the junctions in degrees Celsius, if not 300 K.
    pub celsius: Option<i32>,
}

impl Circuit {
    /// The sheet as text.
    pub fn text(&self) -> String {
        let celsius = self
            .celsius
            .map_or_else(String::new, |c| format!(" temperature=\"{c}C\""));
        let parts: String = self.lines.iter().map(|l| format!("    {l}\n")).collect();
        format!("sheet X{celsius} {{\n    net \"0V\" role=ground\n{parts}}}\n")
    }
}

/// A random circuit of 10 to 300 parts; half of them are made of stages in feedback.
pub fn draw(g: &mut ChaCha8Rng, feedback: bool) -> Circuit {
    let size = decades(g, 10.0, 300.0).clamp(10.0, 300.0) as usize;
    let mut lines = Vec::new();
    let rails = supplies(g, &mut lines);
    let germanium = g.random_bool(0.4);
    let mut nets: Vec<String> = Vec::new();
    if feedback {
        stages(g, size, &rails, germanium, &mut lines, &mut nets);
    }
    let fresh = if feedback { 0 } else { (size * 3 / 5).max(3) };
    nets.extend((0..fresh).map(|k| format!("N{k}")));
    while lines.len() < size {
        let mut net = |g: &mut ChaCha8Rng| {
            if nets.is_empty() || g.random_bool(0.15) {
                rails[g.random_range(0..rails.len())].clone()
            } else {
                nets[g.random_range(0..nets.len())].clone()
            }
        };
        let part = any(g, lines.len(), germanium, &mut net);
        if !is_burnt(&part, &lines) {
            lines.push(part);
        }
    }
    lines.truncate(size.max(10));
    let celsius = g.random_bool(0.3).then(|| g.random_range(-10..70));
    Circuit {
        lines,
        feedback,
        celsius,
    }
}

/// Whether a junction would stand at an ideal source with nothing between to limit its current: by
/// the law of the junction 4 V there are 10^50 A, which no program need find.
fn is_burnt(part: &str, lines: &[String]) -> bool {
    let junction = ["diode", "zener", "npn", "pnp"]
        .iter()
        .any(|kind| part.starts_with(kind));
    let ideal = |l: &&String| l.starts_with("supply") && !l.contains("ohms=");
    junction
        && lines.iter().filter(ideal).any(|l| {
            let rail = l.split('"').find(|word| word.starts_with('P'));
            rail.is_some_and(|rail| part.contains(&format!("\"{rail}\"")))
        })
}

/// One to three supplies with their loads; the names of the rails, ground first.
fn supplies(g: &mut ChaCha8Rng, lines: &mut Vec<String>) -> Vec<String> {
    let mut rails = vec!["0V".to_owned()];
    for k in 0..g.random_range(1..=3) {
        let rail = format!("P{k}");
        let volts = decades(g, 3.0, 60.0);
        let (plus, minus) = if g.random_bool(0.6) {
            (rail.as_str(), "0V")
        } else {
            ("0V", rail.as_str())
        };
        let inside = match g.random_range(0..3) {
            0 => String::new(),
            1 => format!(" ohms={}", decades(g, 0.02, 100.0)),
            _ => format!(
                " ohms={} limit={}",
                decades(g, 0.02, 10.0),
                decades(g, 0.05, 3.0)
            ),
        };
        let off = one(g, &["", "", " off=2", " off=1e4"]);
        lines.push(format!(
            "supply V{k} volts={volts} plus=\"{plus}\" minus=\"{minus}\"{inside}{off}"
        ));
        if g.random_bool(0.4) {
            let amps = decades(g, 1e-3, 0.3);
            lines.push(format!("load LDA{k} \"{plus}\" \"{minus}\" amps={amps}"));
            lines.push(format!(
                "load LDB{k} \"{plus}\" \"{minus}\" ohms={}",
                decades(g, 20.0, 500.0)
            ));
        }
        rails.push(rail);
    }
    rails
}

/// Stages one after another, with feedback from later outputs to earlier inputs.
fn stages(
    g: &mut ChaCha8Rng,
    size: usize,
    rails: &[String],
    germanium: bool,
    lines: &mut Vec<String>,
    nets: &mut Vec<String>,
) {
    let mut outputs: Vec<String> = Vec::new();
    for number in 0.. {
        let rail = &rails[g.random_range(1..rails.len())];
        let positive = lines
            .iter()
            .any(|l| l.starts_with("supply") && l.contains(&format!("plus=\"{rail}\"")));
        let input = match g.random_range(0..4) {
            0 => rails[g.random_range(0..rails.len())].clone(),
            _ if outputs.is_empty() => rail.clone(),
            1 => outputs[g.random_range(0..outputs.len())].clone(),
            _ => outputs[outputs.len() - 1].clone(),
        };
        let site = Site {
            rail: rail.clone(),
            common: "0V".to_owned(),
            input,
            output: format!("O{number}"),
            polarity: if positive { "npn" } else { "pnp" },
            germanium,
            number,
        };
        let block = blocks::block(g, &site);
        // A tenth of the parts is left for what is thrown in between.
        if lines.len() + block.len() + 2 > size - size / 10 && number > 0 {
            break;
        }
        for word in block.iter().flat_map(|l| l.split('"')) {
            let own = word.ends_with(&format!("_{number}")) && !word.contains(' ');
            if own && !nets.iter().any(|n| n == word) {
                nets.push(word.to_owned());
            }
        }
        nets.push(site.output.clone());
        lines.extend(block);
        if number > 0 && g.random_bool(0.5) {
            let back = &nets[g.random_range(0..nets.len())];
            let ohms = decades(g, 1e3, 1e6);
            let k = lines.len();
            lines.push(format!(
                "resistor RF{k} {ohms} \"{}\" \"{back}\"",
                site.output
            ));
        }
        outputs.push(site.output);
    }
}
