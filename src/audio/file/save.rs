//! Writing sound as a WAV file, so that what was made up can be listened to.
#![allow(clippy::disallowed_methods, reason = "this is where sound files are written")]

use crate::shown::Shown as _;
use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

use hound::{SampleFormat, WavSpec, WavWriter};

use super::super::{SoundError, Source};
use super::Place;

/// Bytes of samples that a WAV file can hold: its lengths are 32 bits wide and count the header.
const MOST_BYTES: u64 = u32::MAX as u64 - 1024;

/// Writes everything that `source` still has to give as 16-bit WAV: rounded to the nearest step,
/// clipped at full scale. Gives the number of instants written.
///
/// The file appears under its name only when it is whole; until then its name ends in `.part`.
///
/// # Errors
/// When the file cannot be written, when the sound is too long for a WAV file (4 GiB), and as
/// [`Source::next_block`]. The unfinished file is removed.
pub fn save_wav(path: &Path, source: &mut dyn Source) -> Result<u64, SoundError> {
    let place = Place(path.shown());
    let part = part_of(path);
    let done = write(&part, source, &place).and_then(|instants| {
        fs::rename(&part, path).map_err(|error| place.io(error))?;
        Ok(instants)
    });
    if done.is_err() {
        // What went wrong is being reported already.
        let _ = fs::remove_file(&part);
    }
    done
}

fn part_of(path: &Path) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(".part");
    name.into()
}

fn write(part: &Path, source: &mut dyn Source, place: &Place) -> Result<u64, SoundError> {
    let broken = |error: hound::Error| place.io(into_io(error));
    let sound = source.format();
    let spec = WavSpec {
        channels: sound.channels,
        sample_rate: sound.rate_hz,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let file = File::create(part).map_err(|error| place.io(error))?;
    let mut out = WavWriter::new(BufWriter::new(file), spec).map_err(broken)?;
    let mut samples = 0_u64;
    while let Some(block) = source.next_block()? {
        samples += block.interleaved().len() as u64;
        if samples * 2 > MOST_BYTES {
            return Err(place.io(io::Error::other("the sound is too long for a WAV file (4 GiB)")));
        }
        for &sample in block.interleaved() {
            out.write_sample(to_step(sample)).map_err(broken)?;
        }
    }
    out.finalize().map_err(broken)?;
    Ok(samples / u64::from(sound.channels.max(1)))
}

/// The nearest of the 65536 steps; NaN becomes 0.
#[expect(clippy::cast_possible_truncation, reason = "clamped to what fits just before")]
fn to_step(sample: f32) -> i16 {
    (sample * 32_768.0).round().clamp(-32_768.0, 32_767.0) as i16
}

fn into_io(error: hound::Error) -> io::Error {
    match error {
        hound::Error::IoError(error) => error,
        other => io::Error::other(other),
    }
}
