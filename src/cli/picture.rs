//! `coilscore picture`: a duty file as a PNG.

use coilscore::shown::Shown as _;
use std::path::{Path, PathBuf};

use coilscore::frame::record::Entry;
use coilscore::picture::{Ending, Size, TimelineBuilder, draw};
use coilscore::sink::file::open;

use super::{Failure, Outcome, print, tell, write_whole};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The duty file, whole or FILE.part
    file: PathBuf,
    /// The picture to write; left out: FILE.png
    #[arg(long, value_name = "FILE.png")]
    out: Option<PathBuf>,
    /// Print nothing but errors
    #[arg(long)]
    quiet: bool,
}

/// Draws.
pub(super) fn run(args: &Args) -> Outcome {
    let out = args.out.clone().unwrap_or_else(|| {
        let mut name = args.file.clone().into_os_string();
        name.push(".png");
        name.into()
    });
    if out.extension().is_none_or(|suffix| !suffix.eq_ignore_ascii_case("png")) {
        return Err(Failure::Refused(format!(
            "{}: a picture is written as PNG: give a name that ends in .png",
            out.shown()
        )));
    }
    super::inputs::keep_apart(&[&args.file], &[&out])?;
    draw_file(&args.file, &out)?;
    if args.quiet { Ok(()) } else { print(&format!("{}\n", out.shown())) }
}

/// Draws the duty file `file` into `out`.
pub(super) fn draw_file(file: &Path, out: &Path) -> Outcome {
    let mut reader = open(file).map_err(Failure::failed)?;
    let mut timeline = TimelineBuilder::new(reader.head()).map_err(Failure::failed)?;
    while let Some(entry) = reader.next_entry().map_err(Failure::failed)? {
        match entry {
            Entry::Duty { frame, codes } => timeline.duty(u64::from(frame), codes),
            Entry::Meter(meter) => timeline.meter(meter),
            _ => {}
        }
    }
    for remark in reader.damage() {
        tell(&format!("coilscore: {}: {remark}", file.shown()));
    }
    let whole = reader.tail().is_some();
    if let Some(tail) = reader.tail() {
        timeline.planned(tail);
    }
    let timeline = timeline.finish(if whole { Ending::Whole } else { Ending::CutShort });
    let mut png = Vec::new();
    draw(&timeline, Size::default(), &mut png).map_err(Failure::failed)?;
    write_whole(out, &png)
}
