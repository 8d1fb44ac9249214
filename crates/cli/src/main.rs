//! The `knowngood` binary: arguments in, text or JSON out.
fn main() {}
