//! Counting true literals in unary, only as far as was asked (Bailleux and Boufkhad, CP 2003; grown on demand after Martins et al., CP 2014).

use crate::sat::{Formula, Literal};

/// A tree of unary counters over input literals.
#[derive(Debug)]
pub struct Totaliser {
    nodes: Vec<Node>,
    root: usize,
}

#[derive(Debug)]
struct Node {
    children: Option<(usize, usize)>,
    size: usize,
    outputs: Vec<Literal>,
}

impl Totaliser {
    /// Counters over `inputs`, with no clause yet.
    ///
    /// # Panics
    /// If `inputs` is empty.
    pub fn new(inputs: &[Literal]) -> Self {
        assert!(
            !inputs.is_empty(),
            "a totaliser counts at least one literal"
        );
        let mut nodes: Vec<Node> = inputs
            .iter()
            .map(|l| Node {
                children: None,
                size: 1,
                outputs: vec![*l],
            })
            .collect();
        let mut layer: Vec<usize> = (0..nodes.len()).collect();
        while layer.len() > 1 {
            layer = layer
                .chunks(2)
                .map(|pair| match pair {
                    [a, b] => {
                        let size = nodes[*a].size + nodes[*b].size;
                        nodes.push(Node {
                            children: Some((*a, *b)),
                            size,
                            outputs: Vec::new(),
                        });
                        nodes.len() - 1
                    }
                    _ => pair[0],
                })
                .collect();
        }
        Self {
            root: layer[0],
            nodes,
        }
    }

    /// How many literals are counted.
    pub fn len(&self) -> usize {
        self.nodes[self.root].size
    }

    /// Never true; a totaliser counts at least one literal.
    pub fn is_empty(&self) -> bool {
        false
    }

    /// A literal that is true whenever at least `count` inputs are; assume its negation to bound the number.
    ///
    /// # Panics
    /// If `count` is zero or more than [`Totaliser::len`].
    pub fn at_least(&mut self, formula: &mut Formula<'_>, count: usize) -> Literal {
        assert!(
            (1..=self.len()).contains(&count),
            "count {count} is outside the totaliser"
        );
        self.grow(formula, self.root, count);
        self.nodes[self.root].outputs[count - 1]
    }

    fn grow(&mut self, formula: &mut Formula<'_>, node: usize, count: usize) {
        let count = count.min(self.nodes[node].size);
        let before = self.nodes[node].outputs.len();
        let Some((left, right)) = self.nodes[node].children else {
            return;
        };
        if before >= count {
            return;
        }
        self.grow(formula, left, count);
        self.grow(formula, right, count);
        for _ in before..count {
            let output = formula.variable();
            self.nodes[node].outputs.push(output);
        }
        for total in before + 1..=count {
            let output = self.nodes[node].outputs[total - 1];
            for from_left in 0..=total.min(self.nodes[left].size) {
                let from_right = total - from_left;
                if from_right > self.nodes[right].size {
                    continue;
                }
                let mut clause = vec![output];
                if from_left > 0 {
                    clause.push(!self.nodes[left].outputs[from_left - 1]);
                }
                if from_right > 0 {
                    clause.push(!self.nodes[right].outputs[from_right - 1]);
                }
                formula.clause(&clause);
            }
            if total > 1 {
                let below = self.nodes[node].outputs[total - 2];
                formula.clause(&[!output, below]);
            }
        }
    }
}
