//! The header of a WAV file, read leniently: what the samples are and where they lie.
//!
//! Sources: "Multimedia Programming Interface and Data Specifications 1.0" (RIFF WAVE, 1991);
//! RFC 2361 for the numbers of codings; EBU Tech 3306 / Recommendation ITU-R BS.2088 for RF64 and
//! BW64, whose lengths are 64 bits wide. WAVE_FORMAT_EXTENSIBLE carries the coding in the first two
//! bytes of its sub-format and left-justifies samples in their container, so a sample is scaled by
//! the size of the container whatever number of its bits is meant.

use std::io::{self, Read, Seek, SeekFrom};

/// How one sample is stored. Little-endian throughout.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Coding {
    /// Offset binary, 128 is silence.
    Int8,
    /// Two's complement.
    Int16,
    /// Two's complement.
    Int24,
    /// Two's complement.
    Int32,
    /// IEEE 754 single precision, full scale 1.
    Float32,
    /// IEEE 754 double precision, full scale 1.
    Float64,
}

impl Coding {
    /// Bytes of one sample.
    pub(super) fn bytes(self) -> usize {
        match self {
            Self::Int8 => 1,
            Self::Int16 => 2,
            Self::Int24 => 3,
            Self::Int32 | Self::Float32 => 4,
            Self::Float64 => 8,
        }
    }
}

/// What the header says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Head {
    /// Sampling rate, unchecked.
    pub(super) rate_hz: u32,
    /// Number of channels, unchecked.
    pub(super) channels: u16,
    /// How samples are stored.
    pub(super) coding: Coding,
    /// Byte at which they start.
    pub(super) data_at: u64,
    /// Bytes that the header promises; `None` where it leaves that open.
    pub(super) promised: Option<u64>,
}

/// Why there is no [`Head`].
#[derive(Debug)]
pub(super) enum Trouble {
    Io(io::Error),
    /// A sentence part that says what is wrong.
    Broken(&'static str),
    /// What the samples are.
    Coding(&'static str),
}

impl From<io::Error> for Trouble {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::UnexpectedEof {
            Self::Broken("the WAV file ends inside its header")
        } else {
            Self::Io(error)
        }
    }
}

/// Chunks that are stepped over before giving up: no file has so many, a made-up one may.
const MAX_CHUNKS: usize = 4096;

/// Lengths from here on are what programs write that do not know the length: all ones, or the
/// largest whole number of blocks below 2 GiB.
const OPEN_LENGTH: u32 = 0x7fff_0000;

/// Reads up to the start of the samples. `length` is the length of the file.
pub(super) fn read(file: &mut (impl Read + Seek), length: u64) -> Result<Head, Trouble> {
    file.seek(SeekFrom::Start(12))?;
    let mut at = 12;
    let mut wide_length = None;
    let mut layout = None;
    for _ in 0..MAX_CHUNKS {
        file.seek(SeekFrom::Start(at))?;
        let [name, size] = words(file)?;
        let size = u32::from_le_bytes(size);
        match &name {
            b"data" => {
                let (rate_hz, channels, coding) = layout
                    .ok_or(Trouble::Broken("the WAV file does not say what its samples are"))?;
                let data_at = at + 8;
                let promised = match (size, wide_length) {
                    (u32::MAX, Some(wide)) => Some(wide),
                    (OPEN_LENGTH.., _) => None,
                    (0, _) if !is_chunk_list(file, data_at, length)? => None,
                    _ => Some(u64::from(size)),
                };
                return Ok(Head { rate_hz, channels, coding, data_at, promised });
            }
            b"fmt " => layout = Some(read_layout(file, size)?),
            b"ds64" => {
                let [_, _, low, high] = words(file)?;
                wide_length = Some(
                    u64::from(u32::from_le_bytes(high)) << 32 | u64::from(u32::from_le_bytes(low)),
                );
            }
            _ => {}
        }
        // Chunks are padded to an even length.
        at += 8 + u64::from(size) + u64::from(size & 1);
        if at >= length {
            return Err(Trouble::Broken("the WAV file ends before any sample"));
        }
    }
    Err(Trouble::Broken("the WAV file has thousands of chunks and no samples in sight"))
}

fn words<const N: usize>(file: &mut impl Read) -> io::Result<[[u8; 4]; N]> {
    let mut words = [[0; 4]; N];
    file.read_exact(words.as_flattened_mut())?;
    Ok(words)
}

/// Sampling rate, channels, coding.
fn read_layout(file: &mut impl Read, size: u32) -> Result<(u32, u16, Coding), Trouble> {
    if size < 16 {
        return Err(Trouble::Broken("the WAV file does not say what its samples are"));
    }
    let [[t0, t1, c0, c1], rate, _, [a0, a1, b0, b1]] = words(file)?;
    let mut tag = u16::from_le_bytes([t0, t1]);
    if tag == 0xfffe && size >= 26 {
        // Extra length, meaningful bits, speaker mask, then the number of the coding.
        let [_, _, [t0, t1, ..]] = words(file)?;
        tag = u16::from_le_bytes([t0, t1]);
    }
    let channels = u16::from_le_bytes([c0, c1]);
    let [block, bits] = [[a0, a1], [b0, b1]].map(u16::from_le_bytes);
    let container = match channels {
        1.. if block % channels == 0 && u32::from(block / channels) * 8 >= u32::from(bits) => {
            block / channels
        }
        _ => bits.div_ceil(8),
    };
    let coding = coding_of(tag, container, bits)?;
    Ok((u32::from_le_bytes(rate), channels, coding))
}

/// Numbers of codings as registered in RFC 2361, appendix A.
fn coding_of(tag: u16, container: u16, bits: u16) -> Result<Coding, Trouble> {
    match (tag, container) {
        (1, 1) => Ok(Coding::Int8),
        (1, 2) => Ok(Coding::Int16),
        (1, 3) => Ok(Coding::Int24),
        (1, 4) => Ok(Coding::Int32),
        (3, 4) if bits == 32 => Ok(Coding::Float32),
        (3, 8) if bits == 64 => Ok(Coding::Float64),
        (1 | 3, _) => Err(Trouble::Coding("samples of an unusual size")),
        (2 | 0x11, _) => Err(Trouble::Coding("ADPCM samples")),
        (6, _) => Err(Trouble::Coding("A-law samples")),
        (7, _) => Err(Trouble::Coding("mu-law samples")),
        (0x55, _) => Err(Trouble::Coding("MP3 sound in a WAV wrapping")),
        _ => Err(Trouble::Coding("samples in a coding that is not known here")),
    }
}

/// True where everything from `at` to the end of the file is whole chunks: then a data chunk of
/// length 0 is really empty. Otherwise its writer never came back to fill in the length.
fn is_chunk_list(file: &mut (impl Read + Seek), mut at: u64, length: u64) -> io::Result<bool> {
    for _ in 0..MAX_CHUNKS {
        if at + 8 > length {
            return Ok(at >= length);
        }
        file.seek(SeekFrom::Start(at))?;
        let [name, size] = words(file)?;
        if !name.iter().all(|byte| (b' '..=b'~').contains(byte)) {
            return Ok(false);
        }
        let size = u32::from_le_bytes(size);
        at += 8 + u64::from(size) + u64::from(size & 1);
    }
    Ok(false)
}
