//! `coilscore convert`: a duty file as a table.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use coilscore::frame::record::Packet;
use coilscore::frame::table::CsvTable;
use coilscore::sink::file::open_duty_file;

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
    to_csv(&args.file, &args.out)
}

/// Writes the duties of `file` to `table`.
pub(super) fn to_csv(file: &Path, table: &Path) -> Outcome {
    let mut reader = open_duty_file(file).map_err(Failure::failed)?;
    let failed = |error: std::io::Error| Failure::Failed(format!("{}: {error}", table.display()));
    let out = BufWriter::new(File::create(table).map_err(failed)?);
    let mut csv = CsvTable::new(out, reader.head()).map_err(failed)?;
    while let Some(packet) = reader.next_packet().map_err(Failure::failed)? {
        if let Packet::Duty { number, codes } = packet {
            csv.row(number, codes).map_err(failed)?;
        }
    }
    csv.into_inner().flush().map_err(failed)?;
    for remark in reader.damage() {
        eprintln!("coilscore: {}: {remark}", file.display());
    }
    Ok(())
}
