//! Single parts that explain a recorded sequence, against trying every course that each part's output could take.

use std::collections::BTreeSet;

use logic::{Machine, Row, Sequence, explain, read_gates};

struct Random(u64);

impl Random {
    fn below(&mut self, n: usize) -> usize {
        // xorshift64 (Marsaglia, Journal of Statistical Software 8, 2003).
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as usize % n
    }
}

/// A gate or an edge-triggered flip-flop; nets are numbers: inputs first, then one for each part.
enum Part {
    Gate(&'static str, Vec<usize>),
    FlipFlop(usize),
}

const INPUTS: usize = 2;
const STEPS: usize = 5;

fn parts(random: &mut Random) -> Vec<Part> {
    let flip_flops = 1 + random.below(2);
    let gates = 4 + random.below(3);
    let all = INPUTS + flip_flops + gates;
    let mut list: Vec<Part> = (0..flip_flops)
        .map(|_| Part::FlipFlop(INPUTS + flip_flops + random.below(gates)))
        .collect();
    for gate in 0..gates {
        let word = ["and", "nand", "or", "nor", "xor", "xnor"][random.below(6)];
        let before = INPUTS + flip_flops + gate;
        list.push(Part::Gate(
            word,
            vec![random.below(before), random.below(before)],
        ));
    }
    assert_eq!(INPUTS + list.len(), all);
    list
}

fn sheet(parts: &[Part]) -> Machine {
    let mut text = "logic r {\n input n0 n1\n clock ck\n".to_owned();
    for (at, part) in parts.iter().enumerate() {
        let net = INPUTS + at;
        text += &match part {
            Part::Gate(word, inputs) => {
                format!(" gate P{at} {word} n{net} n{} n{}\n", inputs[0], inputs[1])
            }
            Part::FlipFlop(data) => format!(
                " package P{at} edge pins=\"d=n{data} clock=ck q=n{net}\"\n start P{at}=0\n"
            ),
        };
    }
    let (machine, mistakes) = read_gates(&(text + "}"));
    assert!(mistakes.is_empty(), "{mistakes:?}");
    machine.expect("can be built")
}

/// Levels of all nets at each step; `course` gives the output of one part at each step, whatever it should be.
fn levels(
    parts: &[Part],
    inputs: &[[bool; INPUTS]; STEPS],
    course: Option<(usize, usize)>,
) -> Vec<Vec<bool>> {
    let mut states = vec![false; parts.len()];
    let mut all = Vec::new();
    for (step, given) in inputs.iter().enumerate() {
        let mut nets = given.to_vec();
        for (at, part) in parts.iter().enumerate() {
            let level = match part {
                Part::FlipFlop(_) => states[at],
                Part::Gate(word, from) => {
                    let (a, b) = (nets[from[0]], nets[from[1]]);
                    match *word {
                        "and" => a & b,
                        "nand" => !(a & b),
                        "or" => a | b,
                        "nor" => !(a | b),
                        "xor" => a ^ b,
                        _ => a == b,
                    }
                }
            };
            nets.push(match course {
                Some((part, bits)) if part == at => bits >> step & 1 == 1,
                _ => level,
            });
        }
        for (at, part) in parts.iter().enumerate() {
            if let Part::FlipFlop(data) = part {
                states[at] = nets[*data];
            }
        }
        all.push(nets);
    }
    all
}

#[test]
fn single_parts_are_those_that_some_course_of_their_output_makes_right() {
    let cases = if std::env::var_os("KNOWNGOOD_FULL").is_some() {
        2000
    } else {
        200
    };
    let (mut healthy, mut single, mut more) = (0, 0, 0);
    for seed in 1..=cases {
        let mut random = Random(seed * 0x9E37_79B9_7F4A_7C15);
        let parts = parts(&mut random);
        let machine = sheet(&parts);
        let mut inputs = [[false; INPUTS]; STEPS];
        inputs
            .iter_mut()
            .flatten()
            .for_each(|l| *l = random.below(2) == 1);
        let watched: Vec<usize> = (0..2)
            .map(|_| INPUTS + random.below(parts.len()))
            .collect::<BTreeSet<_>>()
            .into_iter()
            .collect();
        // What is seen comes from a part that errs at random, and sometimes from nothing that one part can do.
        let course = (random.below(parts.len()), random.below(1 << STEPS));
        let mut seen = levels(&parts, &inputs, Some(course));
        if random.below(3) == 0 {
            let step = random.below(STEPS);
            seen[step][watched[0]] ^= true;
        }
        let net = |n: usize| machine.network.net(&format!("n{n}"));
        let rows = (0..STEPS).map(|step| Row {
            line: step + 2,
            inputs: (0..INPUTS)
                .filter_map(|n| Some((net(n)?, Some(inputs[step][n]))))
                .collect(),
            seen: watched
                .iter()
                .filter_map(|n| Some((net(*n)?, seen[step][*n])))
                .collect(),
        });
        let run = Sequence {
            id: String::new(),
            rows: rows.collect(),
        };
        let found = explain(&machine, &[run], &|| false);
        assert!(
            found.complete && found.refused == 0 && !found.is_cut_short,
            "seed {seed}: {found:?}"
        );
        let fits = |levels: Vec<Vec<bool>>| {
            (0..STEPS).all(|s| watched.iter().all(|n| levels[s][*n] == seen[s][*n]))
        };
        if fits(levels(&parts, &inputs, None)) {
            assert_eq!(found.size, Some(0), "seed {seed}");
            healthy += 1;
            continue;
        }
        let wanted: Vec<Vec<usize>> = (0..parts.len())
            .filter(|part| {
                (0..1 << STEPS).any(|bits| fits(levels(&parts, &inputs, Some((*part, bits)))))
            })
            .map(|part| vec![part])
            .collect();
        if wanted.is_empty() {
            assert!(found.size > Some(1), "seed {seed}: {found:?}");
            more += 1;
        } else {
            assert_eq!((found.size, &found.sets), (Some(1), &wanted), "seed {seed}");
            single += 1;
        }
    }
    println!("{healthy} healthy, {single} explained by one part, {more} by more");
    assert!(single > cases / 4 && more > 0);
}
