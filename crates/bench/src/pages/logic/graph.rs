//! Where the boxes of a gate sheet stand: columns from inputs to outputs, elements that keep a state in the first.

use std::collections::HashMap;

/// A pin of a box.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pin {
    /// The pin, without its part.
    pub pin: String,
    /// The net it is on.
    pub net: String,
}

/// A box.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Node {
    /// The part.
    pub part: String,
    /// What the part is.
    pub title: String,
    /// Pins that take a level.
    pub inputs: Vec<Pin>,
    /// Pins that give one.
    pub outputs: Vec<Pin>,
    /// Column, from the left.
    pub column: usize,
    /// Units of height above it in its column.
    pub top: usize,
    /// Whether it keeps a state.
    pub keeps_state: bool,
}

impl Node {
    /// Its height: a line for its name, one for each pin of the longer side.
    pub fn height(&self) -> usize {
        1 + self.inputs.len().max(self.outputs.len())
    }
}

/// A wire from an output to an input in a later column; what leads back is named at both ends and not drawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wire {
    /// Position of the box it leaves, and of the pin.
    pub from: (usize, usize),
    /// Position of the box it enters, and of the pin.
    pub to: (usize, usize),
    /// The net.
    pub net: String,
}

/// A gate sheet as boxes and wires.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Graph {
    /// The boxes.
    pub nodes: Vec<Node>,
    /// The wires.
    pub wires: Vec<Wire>,
    /// Columns.
    pub columns: usize,
    /// Height of the highest column, in lines.
    pub height: usize,
}

/// Lines between boxes.
const GAP: usize = 1;
/// Passes in which each column is put in the order of what feeds it (Sugiyama, Tagawa and Toda, IEEE Transactions SMC 11, 1981).
const PASSES: usize = 4;

impl Graph {
    /// Boxes put into columns.
    pub(crate) fn of(mut nodes: Vec<Node>) -> Self {
        let mut drivers: HashMap<&str, (usize, usize)> = HashMap::new();
        for (at, node) in nodes.iter().enumerate() {
            for (pin, output) in node.outputs.iter().enumerate() {
                drivers.insert(&output.net, (at, pin));
            }
        }
        let feeders: Vec<Vec<(usize, usize, usize)>> = nodes
            .iter()
            .map(|n| {
                let of = |(pin, input): (usize, &Pin)| {
                    drivers
                        .get(input.net.as_str())
                        .map(|(from, out)| (pin, *from, *out))
                };
                n.inputs.iter().enumerate().filter_map(of).collect()
            })
            .collect();
        let mut column = vec![0usize; nodes.len()];
        // A ring of gates would push itself on for ever; no column lies beyond the number of boxes.
        for _ in 0..nodes.len().min(64) {
            let mut is_still = true;
            for at in (0..nodes.len()).filter(|i| !nodes[*i].keeps_state) {
                let deepest = feeders[at]
                    .iter()
                    .map(|(_, f, _)| column[*f] + 1)
                    .max()
                    .unwrap_or(0);
                if deepest > column[at] && deepest < 64 {
                    column[at] = deepest;
                    is_still = false;
                }
            }
            if is_still {
                break;
            }
        }
        let columns = column.iter().max().map_or(0, |c| c + 1);
        let mut order: Vec<Vec<usize>> = (0..columns)
            .map(|c| (0..nodes.len()).filter(|i| column[*i] == c).collect())
            .collect();
        let mut middle: Vec<f64> = vec![0.0; nodes.len()];
        let mut top = vec![0usize; nodes.len()];
        for _ in 0..PASSES {
            for list in &mut order {
                let wish = |at: &usize| {
                    let from = &feeders[*at];
                    let earlier: Vec<f64> = from
                        .iter()
                        .filter(|(_, f, _)| column[*f] < column[*at])
                        .map(|(_, f, _)| middle[*f])
                        .collect();
                    if earlier.is_empty() {
                        middle[*at]
                    } else {
                        earlier.iter().sum::<f64>() / earlier.len() as f64
                    }
                };
                list.sort_by(|a, b| wish(a).total_cmp(&wish(b)));
                let mut next = 0;
                for at in list.iter() {
                    top[*at] = next;
                    middle[*at] = next as f64 + nodes[*at].height() as f64 / 2.0;
                    next += nodes[*at].height() + GAP;
                }
            }
        }
        let wires = feeders
            .iter()
            .enumerate()
            .flat_map(|(to, list)| {
                list.iter()
                    .map(move |(pin, from, out)| (to, *pin, *from, *out))
            })
            .filter(|(to, _, from, _)| column[*from] < column[*to])
            .map(|(to, pin, from, out)| Wire {
                from: (from, out),
                to: (to, pin),
                net: nodes[to].inputs[pin].net.clone(),
            })
            .collect();
        for (at, node) in nodes.iter_mut().enumerate() {
            node.column = column[at];
            node.top = top[at];
        }
        let height = nodes.iter().map(|n| n.top + n.height()).max().unwrap_or(0);
        Self {
            nodes,
            wires,
            columns,
            height,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn node(part: &str, inputs: &[&str], output: &str, keeps_state: bool) -> Node {
        let pin = |net: &&str| Pin {
            pin: "1".to_owned(),
            net: (*net).to_owned(),
        };
        Node {
            part: part.to_owned(),
            title: String::new(),
            inputs: inputs.iter().map(pin).collect(),
            outputs: vec![pin(&output)],
            column: 0,
            top: 0,
            keeps_state,
        }
    }

    #[test]
    fn wires_lead_to_the_right_and_boxes_do_not_overlap() {
        let graph = Graph::of(vec![
            node("C", &["y", "a"], "z", false),
            node("F", &["z"], "q", true),
            node("A", &["q", "a"], "x", false),
            node("B", &["x"], "y", false),
            node("R", &["s"], "r", false),
            node("S", &["r"], "s", false),
        ]);
        let column = |p: &str| graph.nodes.iter().find(|n| n.part == p).map(|n| n.column);
        assert_eq!(
            (column("F"), column("A"), column("B"), column("C")),
            (Some(0), Some(1), Some(2), Some(3))
        );
        for wire in &graph.wires {
            assert!(graph.nodes[wire.from.0].column < graph.nodes[wire.to.0].column);
        }
        for a in &graph.nodes {
            for b in graph
                .nodes
                .iter()
                .filter(|b| b.part != a.part && b.column == a.column)
            {
                assert!(a.top + a.height() <= b.top || b.top + b.height() <= a.top);
            }
        }
    }
}
