//! Duties as a sound file: WAV with one channel for each coil in display order and one sample for
//! each frame, in 32-bit floating point, -1 to 1: times the driver's steps, rounded, each is its
//! code again.
//!
//! It is data in a form that many programs read and show, not sound: an amplifier that plays it
//! gets direct voltages. As with an [`array`](super::array), frames are counted, so one that is not
//! there needs its sample all the same.
//!
//! WAV sets the bounds: a whole number of frames a second, [`MOST_CHANNELS`] coils, 4 GiB.

use std::io::{self, Seek, Write};

use hound::{SampleFormat, WavSpec, WavWriter};

use super::array::single;
use super::pack::count;
use super::table::TableError;
use super::{CoilRun, RecordedCode, Values};
use crate::units::Rate;

/// Bytes of a sample.
const BYTES: u16 = 4;

/// Most coils: WAV states the bytes of one instant in 16 bits.
pub const MOST_CHANNELS: u16 = u16::MAX / BYTES;

/// Bytes of samples that a file can hold: its lengths are 32 bits wide and count the header.
const MOST_BYTES: u64 = u32::MAX as u64 - 1024;

/// What a WAV file says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shape {
    rate_hz: u32,
    channels: u16,
}

impl Shape {
    /// The shape for these frames and coils.
    ///
    /// # Errors
    ///
    /// A rate that is no whole number, or more coils than a file has channels.
    pub fn of(rate: Rate, coils: &[CoilRun]) -> Result<Self, TableError> {
        let (num, den) = rate.ratio();
        if den != 1 {
            return Err(TableError::WaveRate { num, den });
        }
        let coils = count(coils);
        let channels = u16::try_from(coils).ok().filter(|&channels| channels <= MOST_CHANNELS);
        let channels = channels.ok_or(TableError::WaveCoils { coils, most: MOST_CHANNELS })?;
        Ok(Self { rate_hz: num, channels })
    }

    /// Frames that a file can hold.
    fn most_frames(self) -> u64 {
        MOST_BYTES / (u64::from(self.channels.max(1)) * u64::from(BYTES))
    }
}

/// Writes the file to anything that takes bytes and can go back to its beginning. Takes no memory
/// for a frame.
pub struct Wave<W: Write + Seek> {
    out: WavWriter<W>,
    shape: Shape,
    steps: Box<[u16]>,
    left: u64,
}

impl<W: Write + Seek> Wave<W> {
    /// Begins the file at the beginning of `out`.
    ///
    /// # Errors
    ///
    /// As [`Shape::of`], or the file under it.
    pub fn new(out: W, rate: Rate, coils: &[CoilRun]) -> Result<Self, TableError> {
        let shape = Shape::of(rate, coils)?;
        let spec = WavSpec {
            channels: shape.channels,
            sample_rate: shape.rate_hz,
            bits_per_sample: 8 * BYTES,
            sample_format: SampleFormat::Float,
        };
        let out = WavWriter::new(out, spec).map_err(failed)?;
        let steps = Values::Duties.divisors(coils);
        Ok(Self { out, shape, steps, left: shape.most_frames() })
    }

    /// The next frame, as recorded.
    ///
    /// # Errors
    ///
    /// Not one code for each coil, a file that is full, or the file under it.
    pub fn recorded(&mut self, codes: &[RecordedCode]) -> Result<(), TableError> {
        if codes.len() != self.steps.len() {
            let coils = self.steps.len() as u64;
            return Err(TableError::Coils { what: "duties", got: codes.len(), coils });
        }
        self.begin_frame()?;
        for (code, &steps) in codes.iter().zip(&self.steps) {
            self.out.write_sample(single(*code, steps)).map_err(failed)?;
        }
        Ok(())
    }

    /// Zeros: all coils off in the next frame, or that frame is not there.
    ///
    /// # Errors
    ///
    /// A file that is full, or the file under it.
    pub fn off(&mut self) -> Result<(), TableError> {
        self.begin_frame()?;
        for _ in &self.steps {
            self.out.write_sample(0.0_f32).map_err(failed)?;
        }
        Ok(())
    }

    /// Writes the lengths where the header says them.
    ///
    /// # Errors
    ///
    /// The file under it.
    pub fn finish(self) -> Result<(), TableError> {
        self.out.finalize().map_err(failed)
    }

    fn begin_frame(&mut self) -> Result<(), TableError> {
        let full =
            TableError::WaveFull { coils: self.shape.channels, frames: self.shape.most_frames() };
        self.left = self.left.checked_sub(1).ok_or(full)?;
        Ok(())
    }
}

impl<W: Write + Seek> std::fmt::Debug for Wave<W> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Wave").field("shape", &self.shape).finish_non_exhaustive()
    }
}

fn failed(error: hound::Error) -> TableError {
    match error {
        hound::Error::IoError(error) => error.into(),
        other => io::Error::other(other).into(),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use std::io::Cursor;

    use super::*;

    fn coils(count: u32) -> [CoilRun; 1] {
        [CoilRun { count, steps: 255, two_way: false }]
    }

    #[test]
    fn what_wav_cannot_state_is_refused_with_what_can() {
        let whole = Rate::new(200, 1).unwrap();
        let told = Shape::of("59.94".parse().unwrap(), &coils(1)).unwrap_err().to_string();
        assert!(told.contains("2997/50") && told.contains(".npy"), "{told}");
        assert!(Shape::of(Rate::new(120, 2).unwrap(), &coils(1)).is_ok());
        assert!(Shape::of(whole, &coils(16_383)).is_ok());
        let told = Shape::of(whole, &coils(16_384)).unwrap_err().to_string();
        assert!(told.contains("16383") && told.contains("16384"), "{told}");
        assert!(Shape::of(whole, &coils(70_000)).is_err());
    }

    #[test]
    fn a_full_file_ends_with_a_sentence_before_its_lengths_run_over() {
        let rate = Rate::new(1000, 1).unwrap();
        let mut wave = Wave::new(Cursor::new(Vec::new()), rate, &coils(16_383)).unwrap();
        // By hand: (2^32 - 1 - 1024) / (16383 * 4) = 65539.99
        assert_eq!(wave.left, 65_539);
        // Nobody wants to wait for 4 GiB: as if all but two frames were written.
        wave.left = 2;
        wave.off().unwrap();
        wave.recorded(&[RecordedCode(255); 16_383]).unwrap();
        let told = wave.off().unwrap_err().to_string();
        assert!(told.contains("65539 frames") && told.contains(".npy"), "{told}");
        wave.finish().unwrap();
    }
}
