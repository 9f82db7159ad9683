//! `coilscore board`: what a driver board says of itself, against the display; its limits.

use std::path::PathBuf;

use super::{Outcome, play};

#[cfg(feature = "serial")]
mod asked;
#[cfg(feature = "serial")]
mod words;

/// Flags as typed.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "serial"), allow(dead_code, reason = "nothing to talk to"))]
pub(super) struct Args {
    #[command(flatten)]
    line: play::Line,
    /// Display to compare with (TOML)
    #[arg(long, value_name = "FILE")]
    display: Option<PathBuf>,
    /// Store in the board's flash what this display permits at most, so that the board stops
    /// whatever asks for more
    #[arg(long, requires = "display")]
    store_limits: bool,
    /// Store without asking
    #[arg(long, requires = "store_limits")]
    yes: bool,
    /// Frames per second to ask for
    #[arg(long, default_value = "200", value_parser = super::inputs::rate)]
    rate: coilscore::units::Rate,
}

/// Asks and tells.
#[cfg(feature = "serial")]
pub(super) fn run(args: &Args) -> Outcome {
    asked::run(args)
}

#[cfg(not(feature = "serial"))]
pub(super) fn run(_: &Args) -> Outcome {
    Err(super::Failure::Refused("built without the feature 'serial': there are no boards".into()))
}
