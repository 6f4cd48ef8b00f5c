//! The binary: arguments, wiring and signals; every answer comes from the crates below.

fn main() {}
