//! Gates, packages and sequences, and the fewest parts that explain what was seen.
