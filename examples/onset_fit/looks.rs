//! Writes what the event finder sees in sounds: the numbers that `fit.py` fits its weights to.
//!
//! ```text
//! cargo run --release --example onset_looks -- DIR
//! ```
//!
//! Beside every `NAME.wav` in DIR comes `NAME.looks`: single precision numbers, low byte first, 250
//! looks a second, each of five numbers for every group of bands: mean rise, highest rise, mean level,
//! mean depth below the top, and by how much the strongest band stands over their mean.
#![allow(clippy::disallowed_methods, reason = "reads and writes files, as its text says")]
use std::error::Error;
use std::path::Path;

use coilscore::analysis::onset;
use coilscore::audio::{collect, file};

fn main() -> Result<(), Box<dyn Error>> {
    let dir = std::env::args_os().nth(1).ok_or("name the directory that holds the sounds")?;
    for entry in std::fs::read_dir(&dir)? {
        let path = entry?.path();
        if path.extension().is_some_and(|extension| extension == "wav") {
            write_looks(&path)?;
        }
    }
    Ok(())
}

fn write_looks(path: &Path) -> Result<(), Box<dyn Error>> {
    let mut song = file::open(path)?;
    let sound = song.format();
    let samples = collect(song.as_mut())?;
    let looks = onset::raw(&samples, sound);
    let bytes: Vec<u8> = looks.iter().flat_map(|number| number.to_le_bytes()).collect();
    std::fs::write(path.with_extension("looks"), bytes)?;
    Ok(())
}
