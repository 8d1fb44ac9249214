//! Transistors in feedback: the stages from which machines of the period were made, in random values.
//!
//! Each is a textbook circuit (common practice); none is taken from a machine.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use crate::parts::{decades, diode_type, one, transistor_type};

/// Where a block is put: its supply, its reference, what drives it, what it drives.
pub struct Site {
    /// Rail far from the emitters.
    pub rail: String,
    /// Rail on the side of the emitters.
    pub common: String,
    /// Net that drives the block.
    pub input: String,
    /// Net that the block drives.
    pub output: String,
    /// Polarity whose collector goes towards the rail.
    pub polarity: &'static str,
    /// Germanium transistors.
    pub germanium: bool,
    /// Part and net names begin with this number.
    pub number: usize,
}

struct Builder<'a> {
    g: &'a mut ChaCha8Rng,
    site: &'a Site,
    lines: Vec<String>,
}

impl Builder<'_> {
    fn net(&self, name: &str) -> String {
        match name {
            "rail" => self.site.rail.clone(),
            "common" => self.site.common.clone(),
            "in" => self.site.input.clone(),
            "out" => self.site.output.clone(),
            own => format!("{own}_{}", self.site.number),
        }
    }

    fn name(&self, letter: &str) -> String {
        format!("{letter}{}_{}", self.site.number, self.lines.len())
    }

    fn r(&mut self, low: f64, high: f64, a: &str, b: &str) {
        let ohms = decades(self.g, low, high);
        let (a, b) = (self.net(a), self.net(b));
        let line = format!("resistor {} {ohms} \"{a}\" \"{b}\"", self.name("R"));
        self.lines.push(line);
    }

    fn transistor(&mut self, other: bool, c: &str, b: &str, e: &str) {
        let kind = transistor_type(self.g, self.site.germanium);
        let polarity = match (self.site.polarity, other) {
            ("npn", false) | ("pnp", true) => "npn",
            _ => "pnp",
        };
        let [c, b, e] = [c, b, e].map(|n| self.net(n));
        let name = self.name("Q");
        let line = format!("{polarity} {name} {kind} c=\"{c}\" b=\"{b}\" e=\"{e}\"");
        self.lines.push(line);
    }

    fn q(&mut self, c: &str, b: &str, e: &str) {
        self.transistor(false, c, b, e);
    }

    /// A diode that conducts from `a` to `k` in a circuit of npn; turned round for pnp.
    fn d(&mut self, a: &str, k: &str) {
        let kind = diode_type(self.g);
        let line = format!("diode {} {kind} {}", self.name("D"), self.ends(a, k));
        self.lines.push(line);
    }

    fn zener(&mut self, a: &str, k: &str) {
        let volts = self.g.random_range(2.7..12.0);
        let line = format!("zener {} {volts:.1} {}", self.name("DZ"), self.ends(a, k));
        self.lines.push(line);
    }

    fn ends(&self, a: &str, k: &str) -> String {
        let (mut a, mut k) = (self.net(a), self.net(k));
        if self.site.polarity == "pnp" {
            std::mem::swap(&mut a, &mut k);
        }
        format!("anode=\"{a}\" cathode=\"{k}\"")
    }
}

type Block = fn(&mut Builder<'_>);

const BLOCKS: [Block; 11] = [
    collector_to_base,
    direct_coupled_pair,
    flip_flop,
    series_regulator,
    difference_amplifier,
    latch,
    mirror,
    schmitt_trigger,
    ring_of_gates,
    bootstrapped_follower,
    bias_multiplier,
];

/// The lines of a random block.
pub fn block(g: &mut ChaCha8Rng, site: &Site) -> Vec<String> {
    let block = BLOCKS[g.random_range(0..BLOCKS.len())];
    let mut builder = Builder {
        g,
        site,
        lines: Vec::new(),
    };
    block(&mut builder);
    builder.lines
}

fn collector_to_base(b: &mut Builder<'_>) {
    b.r(470.0, 22e3, "rail", "out");
    b.r(10e3, 1e6, "out", "base");
    b.r(1e3, 100e3, "in", "base");
    b.q("out", "base", "e");
    b.r(10.0, 1e3, "e", "common");
}

fn direct_coupled_pair(b: &mut Builder<'_>) {
    b.r(2.2e3, 100e3, "rail", "c1");
    b.q("c1", "b1", "common");
    b.q("out", "c1", "e2");
    b.r(470.0, 10e3, "rail", "out");
    b.r(100.0, 2.2e3, "e2", "common");
    b.r(10e3, 1e6, "e2", "b1");
    b.r(1e3, 100e3, "in", "b1");
}

fn flip_flop(b: &mut Builder<'_>) {
    for (own, other) in [("out", "c2"), ("c2", "out")] {
        b.r(470.0, 10e3, "rail", own);
        let base = if own == "out" { "b1" } else { "b2" };
        b.q(own, base, "e");
        b.r(4.7e3, 47e3, other, base);
        b.r(4.7e3, 100e3, base, "common");
    }
    b.r(1.0, 100.0, "e", "common");
    b.d("in", "b1");
}

fn series_regulator(b: &mut Builder<'_>) {
    b.q("rail", "b1", "out");
    b.q("rail", "b2", "b1");
    b.r(1e3, 22e3, "rail", "b2");
    b.q("b2", "tap", "ref");
    b.zener("common", "ref");
    b.r(470.0, 4.7e3, "out", "ref");
    b.r(1e3, 4.7e3, "out", "tap");
    b.r(1e3, 4.7e3, "tap", "common");
    b.r(100.0, 2.2e3, "out", "common");
    b.r(10e3, 1e6, "in", "tap");
}

fn difference_amplifier(b: &mut Builder<'_>) {
    b.r(2.2e3, 47e3, "rail", "c1");
    b.q("c1", "b1", "tail");
    b.q("rail", "b2", "tail");
    let with_source = one(b.g, &["resistor", "source"]) == "source";
    if with_source {
        b.q("tail", "bias", "et");
        b.r(100.0, 4.7e3, "et", "common");
        b.r(4.7e3, 47e3, "rail", "bias");
        b.d("bias", "x1");
        b.d("x1", "common");
    } else {
        b.r(1e3, 47e3, "tail", "common");
    }
    b.transistor(true, "out", "c1", "rail");
    b.r(1e3, 22e3, "out", "common");
    b.r(1e3, 100e3, "out", "b1");
    b.r(1e3, 100e3, "b1", "common");
    b.r(1e3, 100e3, "in", "b2");
}

/// Two complementary transistors, each driving the other.
fn latch(b: &mut Builder<'_>) {
    b.q("x", "y", "common");
    b.transistor(true, "y", "x", "out");
    b.r(1e3, 22e3, "out", "x");
    b.r(1e3, 22e3, "y", "common");
    b.r(220.0, 10e3, "rail", "out");
    b.r(10e3, 470e3, "in", "y");
}

fn mirror(b: &mut Builder<'_>) {
    b.r(1e3, 47e3, "in", "x");
    b.q("x", "x", "common");
    b.q("y", "x", "common");
    b.transistor(true, "y", "y", "rail");
    b.transistor(true, "out", "y", "rail");
    b.r(1e3, 47e3, "out", "common");
    b.r(100e3, 1e6, "out", "x");
}

fn schmitt_trigger(b: &mut Builder<'_>) {
    b.r(1e3, 10e3, "rail", "c1");
    b.q("c1", "b1", "e");
    b.r(1e3, 22e3, "c1", "b2");
    b.r(2.2e3, 47e3, "b2", "common");
    b.q("out", "b2", "e");
    b.r(470.0, 4.7e3, "rail", "out");
    b.r(47.0, 1e3, "e", "common");
    b.r(1e3, 47e3, "in", "b1");
}

/// Three diode-transistor gates in a ring: no stable state, and yet one balance of currents.
fn ring_of_gates(b: &mut Builder<'_>) {
    for (input, output) in [("out", "y1"), ("y1", "y2"), ("y2", "out")] {
        let x = format!("x{output}");
        let base = format!("b{output}");
        b.r(2.2e3, 22e3, "rail", &x);
        b.d(&x, input);
        b.d(&x, &base);
        b.r(4.7e3, 47e3, &base, "common");
        b.q(output, &base, "common");
        b.r(1e3, 10e3, "rail", output);
    }
    b.d("xy1", "in");
}

fn bootstrapped_follower(b: &mut Builder<'_>) {
    b.q("rail", "b1", "e1");
    b.q("rail", "e1", "out");
    b.r(470.0, 10e3, "out", "common");
    b.r(10e3, 220e3, "rail", "mid");
    b.r(10e3, 220e3, "mid", "common");
    b.r(10e3, 1e6, "mid", "b1");
    b.r(1e3, 100e3, "out", "mid");
    b.r(1e3, 100e3, "in", "b1");
}

/// A push-pull output with the usual two-resistor bias transistor.
fn bias_multiplier(b: &mut Builder<'_>) {
    b.r(1e3, 22e3, "rail", "top");
    b.q("top", "tap", "bottom");
    b.r(1e3, 10e3, "top", "tap");
    b.r(470.0, 4.7e3, "tap", "bottom");
    b.q("bottom", "b1", "common");
    b.q("rail", "top", "e1");
    b.transistor(true, "common", "bottom", "e2");
    b.r(0.5, 10.0, "e1", "out");
    b.r(0.5, 10.0, "e2", "out");
    b.r(4.7e3, 220e3, "out", "b1");
    b.r(1e3, 47e3, "in", "b1");
    b.r(47.0, 10e3, "out", "common");
}
