//! Device laws, faults as changes of a circuit, meters as circuits, and the current balance that certifies a solution.
