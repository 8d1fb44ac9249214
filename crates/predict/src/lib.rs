//! What a healthy or faulty board would read: the circuit meets the solver.
