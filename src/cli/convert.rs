//! `coilscore convert`: a duty file as a table.

use coilscore::shown::Shown as _;
use std::path::{Path, PathBuf};

use coilscore::frame::Values;
use coilscore::run::convert::{Form, What, convert};

use super::{Failure, Outcome, tell};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The duty file, whole or FILE.part
    file: PathBuf,
    /// The table to write, as its name ends: .csv (text), .npy (NumPy array, frames x coils) or
    /// .wav (a channel for each coil, a sample for each frame; data, do not play it). Duty -1 to 1
    out: PathBuf,
    /// Write the driver's compare values instead of duties (.csv, .npy)
    #[arg(long)]
    codes: bool,
    /// Write what went on meanwhile instead, up to 20 rows a second: temperatures, rail currents,
    /// levels, cuts (.csv)
    #[arg(long, conflicts_with = "codes")]
    meters: bool,
}

/// Converts.
pub(super) fn run(args: &Args) -> Outcome {
    let what = match (args.codes, args.meters) {
        (_, true) => What::Meters,
        (true, _) => What::Frames(Values::Codes),
        _ => What::Frames(Values::Duties),
    };
    write(&args.file, &args.out, what)
}

/// Refuses, before any work is done, a name that does not end in .csv.
pub(super) fn check_csv(table: &Path) -> Outcome {
    match Form::of(table) {
        Some(Form::Csv) => Ok(()),
        _ => Err(Failure::Refused(format!(
            "{}: this table is written as CSV: give a name that ends in .csv; convert writes others",
            table.shown()
        ))),
    }
}

/// Writes the duties of `file` to `table`.
pub(super) fn duties(file: &Path, table: &Path) -> Outcome {
    write(file, table, What::Frames(Values::Duties))
}

fn write(file: &Path, table: &Path, what: What) -> Outcome {
    let done = convert(file, table, what).map_err(|error| match error.is_refusal() {
        true => Failure::refused(error),
        false => Failure::failed(error),
    })?;
    for remark in &done.remarks {
        tell(&format!("coilscore: {}: {remark}", file.shown()));
    }
    if done.missing > 0 {
        let missing = done.missing;
        let are = if missing == 1 { "frame is" } else { "frames are" };
        tell(&format!(
            "coilscore: {}: {missing} {are} missing: left out of a .csv, 0 (off) in the others",
            table.shown()
        ));
    }
    Ok(())
}
