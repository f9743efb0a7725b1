//! The `bolster` program.
fn main() {}
