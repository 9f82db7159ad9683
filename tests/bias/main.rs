//! `coilscore bias` and the evening at the bench: as a user runs them.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    reason = "tests stop at the first surprise"
)]

mod command;
mod laws;
mod refusals;
mod session;

use std::path::Path;
use std::process::{Command, Output};

/// The invented display of the worked bench session.
pub(crate) const DISPLAY: &str = include_str!("../../examples/bench/display.toml");

pub(crate) fn run(folder: &Path, args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
    command.args(args).current_dir(folder).output().unwrap()
}

pub(crate) fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// The display with a line put in the place of another.
pub(crate) fn changed(from: &str, to: &str) -> String {
    assert!(DISPLAY.contains(from), "{from}");
    DISPLAY.replace(from, to)
}
