//! The demo is inside the binary: a changed file there means another binary.

fn main() {
    println!("cargo::rerun-if-changed=../bench/demo");
}
