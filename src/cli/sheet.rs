//! The build sheet of `coilscore check`: as text, as JSON, as a picture to print.

use std::path::{Path, PathBuf};

use coilscore::picture::draw_sheet;
use coilscore::preset::Display;
use coilscore::sheet::{blocks, build, text};
use coilscore::units::Rate;

use super::{Failure, Outcome, print, write_whole};

/// Flags as typed.
#[derive(Debug, clap::Args)]
#[group(skip)]
pub(super) struct Args {
    /// Print the build sheet: wires, fuses, currents, line and frame rates, switching on
    #[arg(long)]
    sheet: bool,
    /// Print the build sheet as JSON, and nothing else
    #[arg(long, conflicts_with = "sheet")]
    json: bool,
    /// Draw the build sheet, pages of A4 shape one below the other
    #[arg(long, value_name = "FILE.png")]
    picture: Option<PathBuf>,
}

impl Args {
    /// Whether standard output belongs to the JSON alone.
    pub(super) fn is_json(&self) -> bool {
        self.json
    }

    /// Where it is drawn, if it is.
    pub(super) fn picture(&self) -> Option<&Path> {
        self.picture.as_deref()
    }
}

/// Prints and draws what was asked for.
pub(super) fn run(args: &Args, display: &Display, rate: Rate) -> Outcome {
    if !args.sheet && !args.json && args.picture.is_none() {
        return Ok(());
    }
    let sheet = build(display, rate).map_err(Failure::refused)?;
    let blocks = blocks(&sheet);
    if let Some(file) = &args.picture {
        let mut png = Vec::new();
        draw_sheet(&blocks, &mut png).map_err(Failure::failed)?;
        write_whole(file, &png)?;
    }
    if args.json {
        let json = serde_json::to_value(&sheet).map_err(Failure::failed)?;
        return print(&format!("{json:#}\n"));
    }
    if args.sheet { print(&format!("\n{}", text(&blocks))) } else { Ok(()) }
}
