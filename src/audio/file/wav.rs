//! WAV files: samples as they are, read in large blocks.
//!
//! The header is read by [`super::wav_head`]. What it promises is believed only as far as there are
//! bytes; no buffer ever grows with a number from the file.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use super::super::{SampleBlock, SoundError, SoundFormat, Source};
use super::wav_head::{self, Coding, Trouble};
use super::{CONVERT, FETCH, Place, remark};

/// Bytes read at once, as near as whole instants allow.
const READ_BYTES: usize = 64 * 1024;

/// An open WAV file.
#[derive(Debug)]
pub(super) struct Wav {
    place: Place,
    file: File,
    sound: SoundFormat,
    coding: Coding,
    /// Bytes of one instant.
    stride: usize,
    promised: Option<u64>,
    /// Bytes of samples given so far, and how many of them are in the file at most.
    given: u64,
    present: u64,
    bytes: Vec<u8>,
    samples: Vec<f32>,
    /// Samples that were no numbers: how many, and the instant of the first.
    odd: (u64, u64),
    remarks: Vec<String>,
    ended: bool,
}

impl Wav {
    /// `length` is the length of the file in bytes.
    pub(super) fn open(mut file: File, length: u64, place: Place) -> Result<Self, SoundError> {
        let head =
            wav_head::read(&mut io::BufReader::new(&file), length).map_err(
                |trouble| match trouble {
                    Trouble::Io(error) => place.io(error),
                    Trouble::Broken(reason) => place.undecodable(reason, FETCH),
                    Trouble::Coding(what) => {
                        place.undecodable(&format!("this is a WAV file with {what}"), CONVERT)
                    }
                },
            )?;
        let sound = place.accept(head.rate_hz, head.channels.into())?;
        file.seek(SeekFrom::Start(head.data_at)).map_err(|error| place.io(error))?;
        let stride = head.coding.bytes() * usize::from(sound.channels);
        let instants = (READ_BYTES / stride).max(1);
        let present = length.saturating_sub(head.data_at);
        Ok(Self {
            place,
            file,
            sound,
            coding: head.coding,
            stride,
            promised: head.promised,
            given: 0,
            present: head.promised.map_or(present, |promised| promised.min(present)),
            bytes: vec![0; instants * stride],
            samples: Vec::with_capacity(instants * usize::from(sound.channels)),
            odd: (0, 0),
            remarks: Vec::new(),
            ended: false,
        })
    }

    /// Fills `bytes` as far as there is sound. Gives how many whole instants' worth there are.
    fn read(&mut self) -> io::Result<usize> {
        let left = self.promised.map_or(u64::MAX, |promised| promised - self.given);
        let most = usize::try_from(left).unwrap_or(usize::MAX).min(self.bytes.len());
        let mut filled = 0;
        while let Some(room) = self.bytes.get_mut(filled..most).filter(|room| !room.is_empty()) {
            match self.file.read(room) {
                Ok(0) => break,
                Ok(more) => filled += more,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(filled - filled % self.stride)
    }

    fn given_instants(&self) -> u64 {
        self.given / self.stride as u64
    }

    /// Says what was missing or odd, once, when the last block is out.
    fn end(&mut self) {
        self.ended = true;
        let rate_hz = self.sound.rate_hz;
        let given = self.given_instants();
        match self.promised.map(|promised| promised / self.stride as u64) {
            Some(promised) if given < promised => {
                self.remarks.push(remark::cut_short(given, Some(promised), rate_hz));
            }
            Some(0) => self.remarks.push("there is no sound in the file".into()),
            Some(_) => {}
            None => self.remarks.push(format!(
                "the file does not say how long it is; it was read to its end at {}",
                remark::seconds(given, rate_hz)
            )),
        }
        if self.odd.0 > 0 {
            self.remarks.push(remark::not_numbers(self.odd.0, self.odd.1, rate_hz));
        }
    }

    fn decode(&mut self, filled: usize) {
        let bytes = self.bytes.get(..filled).unwrap_or_default();
        self.samples.clear();
        decode(self.coding, bytes, &mut self.samples);
        let (count, first) = remark::silence_non_numbers(&mut self.samples);
        if count > 0 {
            if self.odd.0 == 0 {
                let within = first / usize::from(self.sound.channels);
                self.odd.1 = self.given_instants() + within as u64;
            }
            self.odd.0 += count;
        }
    }
}

impl Source for Wav {
    fn format(&self) -> SoundFormat {
        self.sound
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        if self.ended {
            return Ok(None);
        }
        let filled = match self.read() {
            Ok(filled) => filled,
            Err(error) => {
                self.end();
                return Err(self.place.io(error));
            }
        };
        if filled == 0 {
            self.end();
            return Ok(None);
        }
        self.decode(filled);
        self.given += filled as u64;
        Ok(SampleBlock::new(&self.samples, self.sound.channels))
    }

    fn expected_instants(&self) -> Option<u64> {
        Some(self.present.saturating_sub(self.given) / self.stride as u64)
    }

    fn remarks(&self) -> &[String] {
        &self.remarks
    }
}

/// Full scale of every whole-number coding is its most negative value, which becomes -1 exactly.
fn decode(coding: Coding, bytes: &[u8], samples: &mut Vec<f32>) {
    const EIGHT: f32 = 1.0 / 128.0;
    const SIXTEEN: f32 = 1.0 / 32_768.0;
    const FULL: f32 = 1.0 / 2_147_483_648.0;
    match coding {
        Coding::Int8 => {
            samples.extend(bytes.iter().map(|&byte| (f32::from(byte) - 128.0) * EIGHT));
        }
        Coding::Int16 => samples.extend(
            bytes.as_chunks().0.iter().map(|&b| f32::from(i16::from_le_bytes(b)) * SIXTEEN),
        ),
        Coding::Int24 => {
            samples.extend(bytes.as_chunks().0.iter().map(|&[low, middle, high]| {
                i32::from_le_bytes([0, low, middle, high]) as f32 * FULL
            }))
        }
        Coding::Int32 => {
            samples.extend(bytes.as_chunks().0.iter().map(|&b| i32::from_le_bytes(b) as f32 * FULL))
        }
        Coding::Float32 => {
            samples.extend(bytes.as_chunks().0.iter().map(|&b| f32::from_le_bytes(b)));
        }
        Coding::Float64 => {
            samples.extend(bytes.as_chunks().0.iter().map(|&b| narrow(f64::from_le_bytes(b))))
        }
    }
}

#[expect(clippy::cast_possible_truncation, reason = "the nearest f32 is what is wanted")]
fn narrow(sample: f64) -> f32 {
    sample as f32
}
