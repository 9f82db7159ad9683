//! Samples that are not packed, handed out as packets of a convenient size.

use std::io::{self, Read};
use std::num::NonZeroU64;

use symphonia::core::audio::Channels;
use symphonia::core::codecs::audio::{AudioCodecId, AudioCodecParameters};
use symphonia::core::errors::Error;
use symphonia::core::packet::Packet;
use symphonia::core::units::{Duration, Timestamp};

use super::feed::Packets;

/// Bytes read at once, as far as whole instants fit.
const BLOCK: u64 = 64 * 1024;

/// How the samples of a file are written.
#[derive(Debug, Clone, Copy)]
pub(super) struct Layout {
    pub(super) codec: AudioCodecId,
    /// Bytes of one sample.
    pub(super) width: u16,
    pub(super) rate_hz: u32,
    pub(super) channels: u16,
}

impl Layout {
    /// Bytes of all channels at one instant; at least 1.
    pub(super) fn stride(self) -> NonZeroU64 {
        let bytes = u64::from(self.width) * u64::from(self.channels);
        NonZeroU64::new(bytes).unwrap_or(NonZeroU64::MIN)
    }

    pub(super) fn parameters(self) -> AudioCodecParameters {
        let mut parameters = AudioCodecParameters::new();
        parameters
            .for_codec(self.codec)
            .with_sample_rate(self.rate_hz)
            .with_channels(Channels::Discrete(self.channels));
        parameters
    }
}

/// Samples from where `bytes` stands.
pub(super) struct Pcm<R> {
    bytes: R,
    stride: NonZeroU64,
    /// Bytes to come, where that is known.
    left: Option<u64>,
    /// Instants so far.
    given: u64,
}

impl<R> Pcm<R> {
    pub(super) fn new(bytes: R, layout: Layout, left: Option<u64>) -> Self {
        Self { bytes, stride: layout.stride(), left, given: 0 }
    }
}

impl<R: Read + Send> Packets for Pcm<R> {
    fn step(&mut self) -> Result<Option<Packet>, Error> {
        let whole = (BLOCK / self.stride).max(1) * self.stride.get();
        let mut data = Vec::new();
        let most = self.left.map_or(whole, |left| left.min(whole));
        // What was read before an error of the system is lost with it; the error ends the sound.
        read_all(&mut self.bytes, most, &mut data).map_err(Error::IoError)?;
        self.left = self.left.map(|left| left.saturating_sub(data.len() as u64));
        let instants = data.len() as u64 / self.stride;
        data.truncate(usize::try_from(instants * self.stride.get()).unwrap_or(0));
        if instants == 0 {
            return Ok(None);
        }
        let at = Timestamp::new(self.given.cast_signed());
        self.given += instants;
        Ok(Some(Packet::new(0, at, Duration::new(instants), data)))
    }
}

/// Reads until there is enough or the end, past interruptions by signals.
fn read_all(bytes: &mut impl Read, most: u64, data: &mut Vec<u8>) -> io::Result<()> {
    bytes.take(most).read_to_end(data).map(drop)
}
