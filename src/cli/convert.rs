//! `coilscore convert`: a duty file as a table.

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use coilscore::frame::record::Entry;
use coilscore::frame::table::Table;
use coilscore::sink::file::open;

use super::{Failure, Outcome};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The duty file
    file: PathBuf,
    /// The table to write: one row per frame, one column per coil, duty -1 to 1
    out: PathBuf,
}

/// Converts.
pub(super) fn run(args: &Args) -> Outcome {
    if args.out.extension().is_none_or(|suffix| !suffix.eq_ignore_ascii_case("csv")) {
        return Err(Failure::Refused(format!(
            "{}: a table is written as CSV; give a name that ends in .csv",
            args.out.display()
        )));
    }
    super::inputs::keep_apart(&[&args.file], &[&args.out])?;
    to_csv(&args.file, &args.out)
}

/// Writes the duties of `file` to `table`.
pub(super) fn to_csv(file: &Path, table: &Path) -> Outcome {
    let mut reader = open(file).map_err(Failure::failed)?;
    let failed = |error: String| Failure::Failed(format!("{}: {error}", table.display()));
    let out = File::create(table).map_err(|error| failed(error.to_string()))?;
    let head = reader.head();
    let Some(rate) = head.frame_rate() else {
        return Err(Failure::Failed(format!("{}: it states no frame rate", file.display())));
    };
    let mut csv = Table::new(BufWriter::new(out), rate, &head.coils, &[] as &[&str])
        .map_err(|error| failed(error.to_string()))?;
    while let Some(entry) = reader.next_entry().map_err(Failure::failed)? {
        if let Entry::Duty { frame, codes } = entry {
            csv.recorded(frame, codes).map_err(|error| failed(error.to_string()))?;
        }
    }
    csv.finish().map_err(|error| failed(error.to_string()))?;
    for remark in reader.damage() {
        eprintln!("coilscore: {}: {remark}", file.display());
    }
    Ok(())
}
