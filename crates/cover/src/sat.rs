//! A formula in clauses that can be asked, under assumptions, whether it can be true.

use std::cell::Cell;
use std::ops::Not;

use batsat::{Callbacks, Lit, Solver, SolverInterface, SolverOpts, Var, lbool};

/// A variable of a [`Formula`] or its negation.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct Literal(Lit);

impl Not for Literal {
    type Output = Literal;
    fn not(self) -> Literal {
        Literal(!self.0)
    }
}

/// What asking a formula gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// There is a model; read it with [`Formula::is_true`].
    Satisfiable,
    /// There is none under the assumptions; see [`Formula::conflict`].
    Unsatisfiable,
    /// The question of time said to stop first.
    Stopped,
}

/// How many of the solver's own questions go by before the caller's is asked: a clock costs more than a decision.
const QUESTIONS_PER_LOOK: u32 = 128;

struct Ask<'s> {
    stop: &'s dyn Fn() -> bool,
    until_look: Cell<u32>,
    stopped: Cell<bool>,
}

impl Callbacks for Ask<'_> {
    fn stop(&self) -> bool {
        if self.stopped.get() {
            return true;
        }
        let left = self.until_look.get();
        if left > 0 {
            self.until_look.set(left - 1);
            return false;
        }
        self.until_look.set(QUESTIONS_PER_LOOK);
        self.stopped.set((self.stop)());
        self.stopped.get()
    }
}

/// Clauses over variables, with the solver's memory between questions.
pub struct Formula<'s> {
    solver: Solver<Ask<'s>>,
    truth: Literal,
}

impl<'s> Formula<'s> {
    /// An empty formula; `stop` is asked now and then during a search, and ends it by answering true.
    pub fn new(stop: &'s dyn Fn() -> bool) -> Self {
        let ask = Ask {
            stop,
            until_look: Cell::new(0),
            stopped: Cell::new(false),
        };
        let mut solver = Solver::new(SolverOpts::default(), ask);
        let truth = Literal(Lit::new(solver.new_var_default(), true));
        solver.add_clause_reuse(&mut vec![truth.0]);
        Self { solver, truth }
    }

    /// The literal that is true in every model.
    pub fn truth(&self) -> Literal {
        self.truth
    }

    /// A new variable, tried false first.
    pub fn variable(&mut self) -> Literal {
        Literal(Lit::new(self.solver.new_var_default(), true))
    }

    /// Demands that at least one of the literals is true.
    pub fn clause(&mut self, literals: &[Literal]) {
        let mut clause: Vec<Lit> = literals.iter().map(|l| l.0).collect();
        self.solver.add_clause_reuse(&mut clause);
    }

    /// The conjunction of `inputs` as one literal.
    pub fn all(&mut self, inputs: &[Literal]) -> Literal {
        let mut inputs: Vec<Literal> = inputs
            .iter()
            .copied()
            .filter(|l| *l != self.truth)
            .collect();
        inputs.sort_unstable();
        inputs.dedup();
        if inputs.iter().any(|l| *l == !self.truth) || inputs.windows(2).any(|w| w[0] == !w[1]) {
            return !self.truth;
        }
        match inputs.as_slice() {
            [] => self.truth,
            [one] => *one,
            _ => {
                let output = self.variable();
                for input in &inputs {
                    self.clause(&[!output, *input]);
                }
                let mut back: Vec<Literal> = inputs.iter().map(|l| !*l).collect();
                back.push(output);
                self.clause(&back);
                output
            }
        }
    }

    /// The disjunction of `inputs` as one literal.
    pub fn any(&mut self, inputs: &[Literal]) -> Literal {
        let negated: Vec<Literal> = inputs.iter().map(|l| !*l).collect();
        !self.all(&negated)
    }

    /// Whether `a` and `b` differ, as one literal.
    pub fn differ(&mut self, a: Literal, b: Literal) -> Literal {
        if a == self.truth {
            return !b;
        }
        if b == self.truth {
            return !a;
        }
        if a == !self.truth {
            return b;
        }
        if b == !self.truth {
            return a;
        }
        if a == b {
            return !self.truth;
        }
        if a == !b {
            return self.truth;
        }
        let output = self.variable();
        self.clause(&[!output, a, b]);
        self.clause(&[!output, !a, !b]);
        self.clause(&[output, !a, b]);
        self.clause(&[output, a, !b]);
        output
    }

    /// Asks whether the formula can be true with all the assumptions.
    pub fn solve(&mut self, assumptions: &[Literal]) -> Answer {
        if self.solver.cb().stopped.get() {
            return Answer::Stopped;
        }
        let assumed: Vec<Lit> = assumptions.iter().map(|l| l.0).collect();
        match self.solver.solve_limited(&assumed) {
            value if value == lbool::TRUE => Answer::Satisfiable,
            value if value == lbool::FALSE => Answer::Unsatisfiable,
            _ => Answer::Stopped,
        }
    }

    /// Whether a literal is true in the model that [`Formula::solve`] just found.
    pub fn is_true(&self, literal: Literal) -> bool {
        self.solver.value_lit(literal.0) == lbool::TRUE
    }

    /// What is already known of a literal in every model, if anything.
    pub fn proved(&self, literal: Literal) -> Option<bool> {
        match self.solver.value_lvl_0(literal.0) {
            value if value == lbool::TRUE => Some(true),
            value if value == lbool::FALSE => Some(false),
            _ => None,
        }
    }

    /// The assumptions that cannot hold together, after an unsatisfiable answer.
    pub fn conflict(&self) -> Vec<Literal> {
        self.solver
            .unsat_core()
            .iter()
            .map(|l| Literal(!*l))
            .collect()
    }

    /// The number of variables made so far, the constant included.
    pub fn variables(&self) -> usize {
        self.solver.num_vars() as usize
    }

    /// The variable's position, for a caller's own tables.
    pub fn index(literal: Literal) -> usize {
        let variable: Var = literal.0.var();
        variable.idx() as usize
    }
}
