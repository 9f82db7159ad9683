//! WAV that comes as a stream: nothing is looked at twice, and its length may be left open.

use std::io::{self, Read};

use symphonia::core::codecs::audio::AudioCodecId;
use symphonia::core::codecs::audio::well_known::{
    CODEC_ID_PCM_ALAW, CODEC_ID_PCM_F32LE, CODEC_ID_PCM_F64LE, CODEC_ID_PCM_MULAW,
    CODEC_ID_PCM_S16LE, CODEC_ID_PCM_S24LE, CODEC_ID_PCM_S32LE, CODEC_ID_PCM_U8,
};

use super::super::{SoundError, Source};
use super::Place;
use super::ending::Extent;
use super::feed::{Opened, Window};
use super::packed::Packed;
use super::pcm::{Layout, Pcm};
use super::sniff::{HEAD, Kind, kind_of};
use super::unpack::{Trouble, Unpacker};
use super::wav::OPEN_LENGTH;

/// Bytes in front of the samples that are read in search of them.
const MOST_HEADER: u64 = 16 << 20;

const PIPE: &str = "name the file instead, or send WAV: ffmpeg -i SONG -f wav - | coilscore ...";

/// The WAV sound that `bytes` gives; `name` stands for it in messages.
///
/// A stated length of 0, or one that only programs write that do not know it, leaves it open: then
/// the sound lasts until the stream ends. A stream that ends early gives what came, and a remark.
///
/// # Errors
/// When the stream cannot be read, holds anything but WAV with whole numbers of 8, 16, 24 or 32
/// bits, floats, A-law or mu-law, or ends before its first sample; rates and channels as with
/// [`super::open`].
pub fn wav_stream(
    mut bytes: impl Read + Send + 'static,
    name: &str,
) -> Result<Box<dyn Source + Send>, SoundError> {
    let place = Place(name.to_owned());
    let start = take(&mut bytes, 12).map_err(|error| place.io(error))?;
    if kind_of(&start, 0) != Kind::Wav {
        let mut head = start;
        let more = take(&mut bytes, HEAD as u64).map_err(|error| place.io(error))?;
        head.extend_from_slice(&more);
        return Err(refuse(&place, &head));
    }
    let kind = Kind::WavStream;
    let opened = open(bytes, &place).map_err(|problem| match problem {
        Problem::Trouble(Trouble::Foreign) => {
            place.undecodable("its samples are of a kind that is not known here", PIPE)
        }
        Problem::Trouble(trouble) => trouble.report(&place, kind),
        Problem::Unsuitable(error) => error,
    })?;
    let extent = Extent { cut_short: false, counted: true, frames: None };
    Ok(Box::new(Packed::new(Unpacker::of(opened, kind, extent), kind, place)?))
}

fn refuse(place: &Place, head: &[u8]) -> SoundError {
    let what = match kind_of(head, 0) {
        Kind::Empty => return place.undecodable("nothing came", PIPE),
        Kind::Foreign(what) | Kind::Other(what) => what.to_owned(),
        Kind::Unknown => "of no known kind".to_owned(),
        kind => format!("{} {}", article(kind.name()), kind.name()),
    };
    place.undecodable(&format!("this is {what}, and only WAV can be read from a stream"), PIPE)
}

fn article(name: &str) -> &'static str {
    if name.starts_with(['A', 'M', 'O']) { "an" } else { "a" }
}

enum Problem {
    Trouble(Trouble),
    Unsuitable(SoundError),
}

impl From<io::Error> for Problem {
    fn from(error: io::Error) -> Self {
        Self::Trouble(Trouble::Io(error))
    }
}

fn broken(what: &str) -> Problem {
    Problem::Trouble(Trouble::Broken(what.into()))
}

/// Reads chunks up to the samples (RIFF: a name, a length, a body, filled up to an even length).
fn open(mut bytes: impl Read + Send + 'static, place: &Place) -> Result<Opened, Problem> {
    let mut layout = None;
    let mut budget = MOST_HEADER;
    loop {
        let head = take(&mut bytes, 8)?;
        let &[a, b, c, d, e, f, g, h] = head.as_slice() else {
            return Err(broken("it ends before any sound"));
        };
        let length = u64::from(u32::from_le_bytes([e, f, g, h]));
        if &[a, b, c, d] == b"data" {
            let layout =
                layout.ok_or_else(|| broken("its samples come before what describes them"))?;
            return samples(bytes, layout, length);
        }
        let padded = length + length % 2;
        budget = budget.checked_sub(padded).ok_or_else(|| broken("no samples come"))?;
        let body = take(&mut bytes, padded)?;
        if &[a, b, c, d] == b"fmt " {
            let read =
                Format::read(&body).ok_or_else(|| broken("its format chunk is too short"))?;
            place.accept(read.rate_hz, read.channels.into()).map_err(Problem::Unsuitable)?;
            layout = Some(read.layout().ok_or(Problem::Trouble(Trouble::Foreign))?);
        }
    }
}

fn samples(
    bytes: impl Read + Send + 'static,
    layout: Layout,
    stated: u64,
) -> Result<Opened, Problem> {
    let open = stated == 0 || stated >= OPEN_LENGTH;
    // All ones are no length; one that is merely large may be true.
    let left = (stated != 0 && stated < u64::from(u32::MAX) - 0xffff).then_some(stated);
    let announced = (!open).then(|| stated / layout.stride());
    let packets = Pcm::new(bytes, layout, left);
    Opened::own(packets, &layout.parameters(), Window::default(), announced)
        .map_err(Problem::Trouble)
}

/// The format chunk ("Multimedia Programming Interface and Data Specifications 1.0", 1991, and
/// WAVEFORMATEXTENSIBLE).
struct Format {
    coding: u16,
    channels: u16,
    rate_hz: u32,
    /// Bytes of all channels at one instant.
    block: u16,
    bits: u16,
    extensible: bool,
}

impl Format {
    fn read(body: &[u8]) -> Option<Self> {
        let word = |at: usize| Some(u16::from_le_bytes(body.get(at..at + 2)?.try_into().ok()?));
        let rate_hz = u32::from_le_bytes(body.get(4..8)?.try_into().ok()?);
        let extensible = word(0)? == 0xfffe;
        // There the first two bytes of the sub-format are the number of the plain form.
        let coding = if extensible { word(24)? } else { word(0)? };
        let (channels, block, bits) = (word(2)?, word(12)?, word(14)?);
        Some(Self { coding, channels, rate_hz, block, bits, extensible })
    }

    fn layout(&self) -> Option<Layout> {
        let width = self.block.checked_div(self.channels).filter(|&width| width > 0)?;
        // Fewer bits than the bytes hold stand at the upper end in the extensible form; in the
        // plain form nothing says where.
        let fits = width * 8 == self.bits || (self.extensible && self.bits <= width * 8);
        let codec =
            self.codec(width).filter(|_| fits && self.block.is_multiple_of(self.channels))?;
        Some(Layout { codec, width, rate_hz: self.rate_hz, channels: self.channels })
    }

    fn codec(&self, width: u16) -> Option<AudioCodecId> {
        match (self.coding, width) {
            (1, 1) => Some(CODEC_ID_PCM_U8),
            (1, 2) => Some(CODEC_ID_PCM_S16LE),
            (1, 3) => Some(CODEC_ID_PCM_S24LE),
            (1, 4) => Some(CODEC_ID_PCM_S32LE),
            (3, 4) => Some(CODEC_ID_PCM_F32LE),
            (3, 8) => Some(CODEC_ID_PCM_F64LE),
            (6, 1) => Some(CODEC_ID_PCM_ALAW),
            (7, 1) => Some(CODEC_ID_PCM_MULAW),
            _ => None,
        }
    }
}

/// `count` bytes, fewer at the end of the stream.
fn take(bytes: &mut impl Read, count: u64) -> io::Result<Vec<u8>> {
    let mut taken = Vec::new();
    bytes.take(count).read_to_end(&mut taken)?;
    Ok(taken)
}
