//! Judges readings against expectations and compares units.
