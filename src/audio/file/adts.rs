//! AAC without a container: frames that each say how long they are (ISO/IEC 13818-7, 6.2; ADTS).
//!
//! Such a file has no place for the delay of its encoder, and no player can know it: all that is
//! decoded is given, and a remark says what that means.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Seek, SeekFrom};

use symphonia::core::audio::Channels;
use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::codecs::audio::well_known::CODEC_ID_AAC;
use symphonia::core::errors::Error;
use symphonia::core::packet::Packet;
use symphonia::core::units::{Duration, Timestamp};

use super::aac::{self, FRAME, HIGH_EFFICIENCY, Plain, Unfit};
use super::feed::{Opened, Packets, Peeked, Window};
use super::unpack::Trouble;

/// Frames that have to follow each other before bytes count as AAC.
const CHAIN: usize = 4;

/// Bytes looked at together: more than two of the longest frames.
const REACH: usize = 32 * 1024;

/// Packets that are looked at for the upper half of the spectrum.
const LOOKED_AT: usize = 48;

/// What one frame says about itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Header {
    /// Bytes with the header.
    length: usize,
    /// Bytes of the header.
    head: usize,
    /// Object type, index of the rate, channel configuration.
    kind: (u32, u32, u32),
    /// Packets in the frame.
    packets: u8,
}

impl Header {
    /// `None` where the bytes are no header.
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        let &[0xff, second, third, fourth, fifth, sixth, seventh, ..] = bytes else { return None };
        if second & 0xf6 != 0xf0 {
            return None;
        }
        let head = if second & 1 == 1 { 7 } else { 9 };
        let high = usize::from(fourth & 3) << 11;
        let length = high | usize::from(fifth) << 3 | usize::from(sixth >> 5);
        let object = u32::from(third >> 6) + 1;
        let rate = u32::from(third >> 2) & 15;
        let channels = u32::from(third & 1) << 2 | u32::from(fourth >> 6);
        let packets = (seventh & 3) + 1;
        let kind = (object, rate, channels);
        (rate < 13 && length > head).then_some(Self { length, head, kind, packets })
    }
}

/// Offset and header of the first frame that is followed by others of its kind, without a gap, up
/// to the end of `bytes` or four of them.
pub(super) fn find_chain(bytes: &[u8]) -> Option<(usize, Header)> {
    (0..bytes.len()).find_map(|start| {
        let first = Header::read(bytes.get(start..)?)?;
        chained(bytes, start, first, 2).then_some((start, first))
    })
}

/// `least`: frames that are enough where the bytes end.
fn chained(bytes: &[u8], start: usize, first: Header, least: usize) -> bool {
    let mut at = start + first.length;
    for frames in 1..CHAIN {
        match bytes.get(at..).filter(|rest| rest.len() >= 7) {
            None => return frames >= least && at <= bytes.len() + first.length,
            Some(rest) => match Header::read(rest).filter(|next| next.kind == first.kind) {
                Some(next) => at += next.length,
                None => return false,
            },
        }
    }
    true
}

/// Opens a file whose first frame is at byte `at`.
pub(super) fn open(mut file: File, at: u64) -> Result<Opened, Trouble> {
    let length = file.seek(SeekFrom::End(0)).map_err(Trouble::Io)?;
    file.seek(SeekFrom::Start(at)).map_err(Trouble::Io)?;
    let mut frames = Frames::new(file);
    let first = Header::read(frames.look().map_err(Trouble::Io)?);
    let first = first.ok_or_else(|| Trouble::Broken("it ends before any sound".into()))?;
    let (object, rate, channels) = first.kind;
    let plain = Plain::of(object, rate, channels).map_err(|unfit| match unfit {
        Unfit::Kind(kind) => Trouble::Holds(kind),
        Unfit::Channels(channels) => Trouble::Surround(channels, "AAC"),
        Unfit::Broken => Trouble::Broken("its first header makes no sense".into()),
    })?;
    if first.packets > 1 {
        return Err(Trouble::Holds("AAC sound with several packets in a frame"));
    }
    frames.kind = first.kind;
    let frames = Peeked::new(frames, LOOKED_AT);
    if aac::carry_high_half(frames.bytes()) {
        return Err(Trouble::Holds(HIGH_EFFICIENCY));
    }
    let (count, bytes) = frames.bytes().fold((0, 0), |(count, bytes), packet| {
        (count + 1, bytes + packet.len() as u64 + first.head as u64)
    });
    let mut opened = Opened::own(frames, &parameters(plain), Window::default(), None)?;
    let instants = (length - at).saturating_mul(count * u64::from(FRAME));
    opened.expected = instants.checked_div(bytes);
    let delay_s = f64::from(FRAME) / f64::from(plain.rate_hz);
    opened.notes.push(format!(
        "AAC without a container does not say how much silence its encoder put in front ({FRAME} \
         samples, {delay_s:.3} s, are common); nothing was cut off"
    ));
    Ok(opened)
}

/// For the decoder: plain AAC as a header describes it.
pub(super) fn parameters(plain: Plain) -> AudioCodecParameters {
    let mut parameters = AudioCodecParameters::new();
    parameters
        .for_codec(CODEC_ID_AAC)
        .with_sample_rate(plain.rate_hz)
        .with_channels(aac_channels(plain.channels));
    parameters
}

fn aac_channels(channels: u16) -> Channels {
    use symphonia::core::audio::layouts::{CHANNEL_LAYOUT_MONO, CHANNEL_LAYOUT_STEREO};
    if channels == 1 { CHANNEL_LAYOUT_MONO } else { CHANNEL_LAYOUT_STEREO }
}

struct Frames {
    bytes: BufReader<File>,
    /// Bytes seen, and how many of them are done.
    window: Vec<u8>,
    done: usize,
    ended: bool,
    kind: (u32, u32, u32),
    given: u64,
    stray: u64,
    cut: bool,
}

impl Frames {
    fn new(file: File) -> Self {
        Self {
            bytes: BufReader::with_capacity(REACH, file),
            window: Vec::with_capacity(2 * REACH),
            done: 0,
            ended: false,
            kind: (0, 0, 0),
            given: 0,
            stray: 0,
            cut: false,
        }
    }

    /// What comes next: [`REACH`] bytes, or all that are left.
    fn look(&mut self) -> io::Result<&[u8]> {
        if self.window.len() - self.done < REACH && !self.ended {
            self.window.drain(..self.done);
            self.done = 0;
            while self.window.len() < REACH && !self.ended {
                let more = match self.bytes.fill_buf() {
                    Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                    other => other?,
                };
                self.window.extend_from_slice(more);
                let count = more.len();
                self.bytes.consume(count);
                self.ended = count == 0;
            }
        }
        Ok(self.window.get(self.done..).unwrap_or_default())
    }

    /// Bytes to the next frame, within what can be seen.
    fn search(&mut self) -> io::Result<Option<usize>> {
        let kind = self.kind;
        let bytes = self.look()?;
        Ok((0..bytes.len()).find(|&at| {
            let header = bytes.get(at..).and_then(Header::read);
            header.is_some_and(|header| header.kind == kind && chained(bytes, at, header, 1))
        }))
    }
}

/// Tags that may follow the sound (common practice, no standard).
fn is_tag(bytes: &[u8]) -> bool {
    [&b"TAG"[..], b"APETAGEX", b"ID3", b"3DI"].iter().any(|mark| bytes.starts_with(mark))
}

impl Packets for Frames {
    fn step(&mut self) -> Result<Option<Packet>, Error> {
        loop {
            let kind = self.kind;
            let bytes = self.look().map_err(Error::IoError)?;
            if bytes.is_empty() {
                return Ok(None);
            }
            let header = Header::read(bytes).filter(|header| header.kind == kind);
            if let Some(header) = header {
                let Some(frame) = bytes.get(..header.length) else {
                    // Within reach of the longest frame there is only the end of the file.
                    self.cut = true;
                    self.done = self.window.len();
                    return Ok(None);
                };
                let data = frame.get(header.head..).unwrap_or_default().to_vec();
                self.done += header.length;
                let at = Timestamp::new((self.given * u64::from(FRAME)).cast_signed());
                self.given += 1;
                return Ok(Some(Packet::new(0, at, Duration::from(FRAME), data)));
            }
            if is_tag(bytes) || bytes.len() < 7 {
                self.cut = !is_tag(bytes);
                self.done = self.window.len();
                self.ended = true;
                return Ok(None);
            }
            let seen = bytes.len();
            let stray = self.search().map_err(Error::IoError)?.unwrap_or(seen);
            self.stray += stray as u64;
            self.done += stray;
        }
    }

    fn stray(&self) -> u64 {
        self.stray
    }

    fn is_cut(&self) -> bool {
        self.cut
    }
}
