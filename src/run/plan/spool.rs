//! Frames on their way from hearing to planning: in memory while they are few, else in a file.
#![allow(clippy::disallowed_methods, reason = "long songs wait in a temporary file")]

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read, Seek, SeekFrom, Write};

use crate::run::render::RenderError;
use crate::units::Share;

/// Bytes kept in memory; more goes to a temporary file without a name.
const IN_MEMORY: usize = 32 << 20;

/// One frame as it was heard.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Frame {
    /// Nothing was playing.
    pub(super) quiet: bool,
    /// Levels of the bands, dBFS.
    pub(super) band_dbfs: Vec<f32>,
    /// Wishes, one for each coil.
    pub(super) wishes: Vec<Share>,
}

/// What went wrong with the temporary file.
pub(super) fn failed(source: io::Error) -> RenderError {
    RenderError::Spool { folder: tempfile::env::temp_dir(), source }
}

/// Frames in the order they came, of songs with the same number of bands and coils or not.
#[derive(Debug)]
pub(super) struct Spool {
    memory: Vec<u8>,
    most: usize,
    file: Option<BufWriter<File>>,
    bytes: Vec<u8>,
}

impl Spool {
    /// Empty.
    pub(super) fn new() -> Self {
        Self::within(IN_MEMORY)
    }

    /// Keeps so many bytes in memory.
    fn within(most: usize) -> Self {
        Self { memory: Vec::new(), most, file: None, bytes: Vec::new() }
    }

    /// Adds a frame.
    ///
    /// # Errors
    /// When there is no room for a temporary file.
    pub(super) fn put(
        &mut self,
        quiet: bool,
        band_dbfs: &[f32],
        wishes: &[Share],
    ) -> io::Result<()> {
        self.bytes.clear();
        self.bytes.push(u8::from(quiet));
        for level in band_dbfs {
            self.bytes.extend_from_slice(&level.to_le_bytes());
        }
        for wish in wishes {
            self.bytes.extend_from_slice(&wish.get().to_le_bytes());
        }
        if self.file.is_none() && self.memory.len() + self.bytes.len() > self.most {
            self.file = Some(BufWriter::with_capacity(1 << 16, tempfile::tempfile()?));
        }
        match &mut self.file {
            Some(file) => file.write_all(&self.bytes),
            None => {
                self.memory.extend_from_slice(&self.bytes);
                Ok(())
            }
        }
    }

    /// From the first frame on. Nothing can be added meanwhile.
    ///
    /// # Errors
    /// When the temporary file cannot be written out or read.
    pub(super) fn read(&mut self) -> io::Result<Reading<'_>> {
        let file = match &mut self.file {
            Some(writer) => {
                writer.flush()?;
                let mut file = writer.get_ref().try_clone()?;
                file.seek(SeekFrom::Start(0))?;
                Some(BufReader::with_capacity(1 << 16, file))
            }
            None => None,
        };
        Ok(Reading { memory: &self.memory, file, bytes: Vec::new() })
    }
}

/// A spool being read.
#[derive(Debug)]
pub(super) struct Reading<'a> {
    memory: &'a [u8],
    file: Option<BufReader<File>>,
    bytes: Vec<u8>,
}

impl Reading<'_> {
    /// Reads the next frame into `frame`, whose lists have the lengths with which it was put.
    ///
    /// # Errors
    /// When there is none, or the temporary file cannot be read.
    pub(super) fn next(&mut self, frame: &mut Frame) -> io::Result<()> {
        self.bytes.resize(1 + 4 * frame.band_dbfs.len() + 8 * frame.wishes.len(), 0);
        match (self.memory.is_empty(), &mut self.file) {
            (false, _) => self.memory.read_exact(&mut self.bytes)?,
            (true, Some(file)) => file.read_exact(&mut self.bytes)?,
            (true, None) => return Err(io::ErrorKind::UnexpectedEof.into()),
        }
        let (quiet, rest) = self.bytes.split_at(1);
        let (levels, wishes) = rest.split_at(4 * frame.band_dbfs.len());
        frame.quiet = quiet == [1];
        for (level, bytes) in frame.band_dbfs.iter_mut().zip(levels.as_chunks::<4>().0) {
            *level = f32::from_le_bytes(*bytes);
        }
        for (wish, bytes) in frame.wishes.iter_mut().zip(wishes.as_chunks::<8>().0) {
            *wish = Share::saturating(f64::from_le_bytes(*bytes));
        }
        Ok(())
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn what_goes_in_comes_out_from_memory_and_from_the_file() {
        for most in [0, 100, 1 << 20] {
            let mut spool = Spool::within(most);
            let frames: Vec<Frame> = (0..57_i16)
                .map(|n| Frame {
                    quiet: n % 3 == 0,
                    band_dbfs: vec![-f32::from(n), f32::from(n) / 7.0],
                    wishes: [0.1, -0.2, 0.3]
                        .map(|w| Share::saturating(w * f64::from(n) / 57.0))
                        .to_vec(),
                })
                .collect();
            for frame in &frames {
                spool.put(frame.quiet, &frame.band_dbfs, &frame.wishes).unwrap();
            }
            for _ in 0..2 {
                let mut reading = spool.read().unwrap();
                let mut frame = frames.first().unwrap().clone();
                for wanted in &frames {
                    reading.next(&mut frame).unwrap();
                    assert_eq!(&frame, wanted, "{most} bytes in memory");
                }
                assert!(reading.next(&mut frame).is_err(), "there are no more");
            }
        }
    }
}
