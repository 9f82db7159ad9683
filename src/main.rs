//! The `coilscore` program.

fn main() {}
