//! What a show keeps on disk: its duty file and the sound it heard.

use crate::shown::Shown as _;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use hound::{SampleFormat, WavSpec, WavWriter};

use super::scribe::{Ended, Pen, Scribe};
use crate::audio::{SampleBlock, SoundFormat};
use crate::budget::{Duty, Start};
use crate::frame::record::{WriteError, Writer};
use crate::frame::{Hands, Head, Meter, Tail};
use crate::sink::SinkError;
use crate::sink::part::Part;

/// Bytes that may wait for the disk: half a minute of 256 coils at 200 frames/s.
const RECORD_ROOM: usize = 4 << 20;

/// Sound that may wait for the disk, s.
const SOUND_ROOM_S: usize = 10;

/// Bytes of samples that a WAV file can hold: its lengths are 32 bits wide and count the header.
const MOST_BYTES: u64 = u32::MAX as u64 - 1024;

/// How keeping ended, in a sentence: the file that is there, or why it is not whole.
pub type Kept = Result<PathBuf, String>;

/// The duty file of a show. A disk that fails ends it, not the show.
pub struct Recording {
    part: PathBuf,
    writer: Option<Writer<Bytes>>,
    /// A disk that did not keep up; its thread is waited for when the show is over.
    left: Option<Scribe<u8>>,
}

/// Bytes for the disk's thread.
struct Bytes(Scribe<u8>);

impl Write for Bytes {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self.0.put(bytes) {
            Ok(()) => Ok(bytes.len()),
            // No allocation: an error that is only a kind.
            Err(Ended::Slow) => Err(io::ErrorKind::TimedOut.into()),
            Err(Ended::Failed) => Err(io::ErrorKind::BrokenPipe.into()),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Recording {
    /// Begins `PATH.part` with the head and the heat at the start. That is left out of a run in which
    /// more happens than the file keeps: it cannot be made again from it, and nobody is to try.
    ///
    /// # Errors
    /// Where no file can be written.
    pub fn create(path: &Path, head: &Head, start: Option<&Start>) -> Result<Self, SinkError> {
        let (part, file) = Part::create(path)?;
        let place = part.part().to_path_buf();
        let failed = |why: String| SinkError::Place { path: place.clone(), why };
        let pen = Box::new(PlainPen { part, file });
        let scribe = Scribe::start(pen, RECORD_ROOM, "recording");
        let scribe = scribe.map_err(|error| failed(error.to_string()))?;
        let mut writer = Writer::new(Bytes(scribe), head)?;
        if let Some(start) = start {
            writer.start(start)?;
        }
        Ok(Self { part: place, writer: Some(writer), left: None })
    }

    /// A frame. A sentence when keeping ends here.
    pub(super) fn duty(&mut self, number: u32, duties: &[Duty]) -> Option<String> {
        self.put(|writer| writer.duty(number, duties))
    }

    /// A meter, likewise.
    pub(super) fn meter(&mut self, meter: &Meter) -> Option<String> {
        self.put(|writer| writer.meter(meter))
    }

    /// Hands, likewise.
    pub(super) fn hands(&mut self, number: u32, hands: Hands) -> Option<String> {
        self.put(|writer| writer.hands(number, hands))
    }

    /// All off, likewise.
    pub(super) fn off(&mut self, number: u32) -> Option<String> {
        self.put(|writer| writer.off(number))
    }

    /// Ends the file with `tail` and gives it its name. `None` when it had ended before.
    pub fn finish(mut self, tail: &Tail) -> Option<Kept> {
        let mut writer = self.writer.take()?;
        if let Err(error) = writer.tail(tail) {
            return Some(Err(self.sentence(writer, error)));
        }
        let ended = writer.into_inner().0.finish(true);
        Some(match ended {
            Ok(Some(path)) => Ok(path),
            Ok(None) => Err(ended_sentence(&self.part, "it was not ended")),
            Err(error) => Err(ended_sentence(&self.part, &error.to_string())),
        })
    }

    fn put(
        &mut self,
        what: impl FnOnce(&mut Writer<Bytes>) -> Result<(), WriteError>,
    ) -> Option<String> {
        let error = what(self.writer.as_mut()?).err()?;
        let writer = self.writer.take()?;
        match error {
            WriteError::Io(error) if error.kind() == io::ErrorKind::TimedOut => {
                let mut scribe = writer.into_inner().0;
                scribe.close(false);
                self.left = Some(scribe);
                Some(ended_sentence(&self.part, SLOW))
            }
            error => Some(self.sentence(writer, error)),
        }
    }

    fn sentence(&self, writer: Writer<Bytes>, error: WriteError) -> String {
        let why = match (writer.into_inner().0.finish(false), error) {
            (Err(disk), _) => disk.to_string(),
            (Ok(_), WriteError::Io(error)) if error.kind() == io::ErrorKind::TimedOut => {
                SLOW.into()
            }
            (Ok(_), error) => error.to_string(),
        };
        ended_sentence(&self.part, &why)
    }
}

/// The sound of a show, as heard: 32-bit float, which loses nothing.
pub struct Saving {
    part: PathBuf,
    left: u64,
    scribe: Option<Scribe<f32>>,
    /// Keeping has ended; its thread is waited for when the show is over.
    ended: Option<Scribe<f32>>,
}

impl Saving {
    /// Begins `PATH.part`.
    ///
    /// # Errors
    /// Where no file can be written.
    pub fn create(path: &Path, sound: SoundFormat) -> Result<Self, SinkError> {
        let (part, file) = Part::create(path)?;
        let place = part.part().to_path_buf();
        let failed = |why: String| SinkError::Place { path: place.clone(), why };
        let spec = WavSpec {
            channels: sound.channels,
            sample_rate: sound.rate_hz,
            bits_per_sample: 32,
            sample_format: SampleFormat::Float,
        };
        let same = file.try_clone().map_err(|error| failed(error.to_string()))?;
        let writer = WavWriter::new(BufWriter::new(file), spec);
        let writer = writer.map_err(|error| failed(error.to_string()))?;
        let room = sound.rate_hz as usize * usize::from(sound.channels) * SOUND_ROOM_S;
        let pen = Box::new(WavPen { part, file: same, writer });
        let scribe = Scribe::start(pen, room, "saving sound");
        let scribe = scribe.map_err(|error| failed(error.to_string()))?;
        Ok(Self { part: place, left: MOST_BYTES / 4, scribe: Some(scribe), ended: None })
    }

    /// A block. A sentence when keeping ends here.
    pub(super) fn put(&mut self, block: SampleBlock<'_>) -> Option<String> {
        let samples = block.interleaved();
        let scribe = self.scribe.as_mut()?;
        if self.left < samples.len() as u64 {
            scribe.close(true);
            self.ended = self.scribe.take();
            return Some(ended_sentence(&self.part, "a WAV file holds no more (4 GiB)"));
        }
        self.left -= samples.len() as u64;
        let why = match scribe.put(samples).err()? {
            Ended::Slow => {
                scribe.close(false);
                self.ended = self.scribe.take();
                SLOW.into()
            }
            // Its thread has ended by itself.
            Ended::Failed => match self.scribe.take()?.finish(false) {
                Err(disk) => disk.to_string(),
                Ok(_) => SLOW.into(),
            },
        };
        Some(ended_sentence(&self.part, &why))
    }

    /// Ends the file and gives it its name. `None` when it had ended before.
    pub fn finish(mut self) -> Option<Kept> {
        Some(match self.scribe.take()?.finish(true) {
            Ok(Some(path)) => Ok(path),
            Ok(None) => Err(ended_sentence(&self.part, "it was not ended")),
            Err(error) => Err(ended_sentence(&self.part, &error.to_string())),
        })
    }
}

const SLOW: &str = "the disk does not keep up";

fn ended_sentence(part: &Path, why: &str) -> String {
    format!("{} ends here: {why}; it keeps what was written so far", part.shown())
}

struct PlainPen {
    part: Part,
    file: File,
}

impl Pen<u8> for PlainPen {
    fn put(&mut self, portion: &[u8]) -> io::Result<()> {
        self.file.write_all(portion)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }

    fn settle(self: Box<Self>) -> io::Result<PathBuf> {
        self.part.settle(&self.file)?;
        Ok(self.part.path().to_path_buf())
    }
}

struct WavPen {
    part: Part,
    /// The same file, to bring it to the disk at the end.
    file: File,
    writer: WavWriter<BufWriter<File>>,
}

impl Pen<f32> for WavPen {
    fn put(&mut self, portion: &[f32]) -> io::Result<()> {
        portion.iter().try_for_each(|&sample| self.writer.write_sample(sample)).map_err(into_io)
    }

    fn flush(&mut self) -> io::Result<()> {
        // The header too, so that a program that is killed leaves a file that can be read.
        self.writer.flush().map_err(into_io)
    }

    fn settle(self: Box<Self>) -> io::Result<PathBuf> {
        let Self { part, file, writer } = *self;
        writer.finalize().map_err(into_io)?;
        part.settle(&file)?;
        Ok(part.path().to_path_buf())
    }
}

fn into_io(error: hound::Error) -> io::Error {
    match error {
        hound::Error::IoError(error) => error,
        other => io::Error::other(other),
    }
}
