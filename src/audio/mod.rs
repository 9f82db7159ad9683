//! Sound as blocks of samples, and where blocks come from.
//!
//! [`SampleBlock`] and [`SoundFormat`] are pure values; a [`Source`] is the one door through which
//! samples enter: [`tone`] and [`demo`] make them, [`mod@file`] decodes them, `capture` hears them as
//! they are played, [`mod@pick`] leaves one channel of them, [`playback`] lets
//! them be heard later. [`edges`] says which of them each frame
//! has heard, [`fingerprint`] whether two sounds are the same.

#[cfg(feature = "capture")]
pub mod capture;
pub mod demo;
pub mod edges;
pub mod file;
pub mod fingerprint;
pub mod noise;
#[cfg(feature = "capture")]
#[allow(clippy::disallowed_methods, reason = "devices come and go in real time")]
mod patience;
pub mod pick;
pub mod playback;
pub mod tone;

use thiserror::Error;

/// Sampling rates that are accepted, in Hz.
pub const RATE_LIMITS_HZ: (u32, u32) = (8_000, 192_000);

/// Numbers of channels that are accepted.
pub const CHANNEL_LIMITS: (u16, u16) = (1, 32);

/// How samples are laid out in time and across channels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SoundFormat {
    /// Sampling rate in Hz, within [`RATE_LIMITS_HZ`].
    pub rate_hz: u32,
    /// Number of channels, within [`CHANNEL_LIMITS`].
    pub channels: u16,
}

/// A borrowed run of interleaved samples, full scale = 1.0.
#[derive(Debug, Clone, Copy)]
pub struct SampleBlock<'a> {
    interleaved: &'a [f32],
    channels: u16,
}

impl<'a> SampleBlock<'a> {
    /// `None` unless `channels > 0` and the length is a whole number of sample frames.
    pub fn new(interleaved: &'a [f32], channels: u16) -> Option<Self> {
        (channels > 0 && interleaved.len().is_multiple_of(usize::from(channels)))
            .then_some(Self { interleaved, channels })
    }

    /// Samples in time order, channels side by side.
    pub fn interleaved(self) -> &'a [f32] {
        self.interleaved
    }

    /// Number of channels.
    pub fn channels(self) -> u16 {
        self.channels
    }

    /// Number of sample instants (each holds one sample per channel).
    pub fn instants(self) -> usize {
        self.interleaved.len() / usize::from(self.channels)
    }

    /// The first `instants` and the rest; asks for more than there is give all and nothing.
    pub fn split_at(self, instants: usize) -> (Self, Self) {
        let at = instants.saturating_mul(usize::from(self.channels)).min(self.interleaved.len());
        let (head, tail) = self.interleaved.split_at(at);
        (Self { interleaved: head, ..self }, Self { interleaved: tail, ..self })
    }
}

/// Where samples come from. Every source ends by returning `Ok(None)`, for ever after.
pub trait Source {
    /// Rate and channels, fixed for the life of the source.
    fn format(&self) -> SoundFormat;

    /// The next run of samples, of any length but never empty.
    ///
    /// # Errors
    /// When reading or decoding fails in a way that ends the sound. Everything returned before
    /// stays valid; the source then counts as ended.
    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError>;

    /// Number of instants to come, where the source knows it: for progress display only.
    fn expected_instants(&self) -> Option<u64> {
        None
    }

    /// What a listener should know about the sound: damaged parts that were skipped, a file that
    /// ended early. One sentence each; filled while blocks are read.
    fn remarks(&self) -> &[String] {
        &[]
    }
}

/// Everything a source has to give, interleaved. Grows with the sound: for tests and short sounds.
///
/// # Errors
/// As [`Source::next_block`].
pub fn collect(source: &mut dyn Source) -> Result<Vec<f32>, SoundError> {
    let mut all = Vec::new();
    while let Some(block) = source.next_block()? {
        all.extend_from_slice(block.interleaved());
    }
    Ok(all)
}

/// Why sound could not be had. Each message says what, where and what to do.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum SoundError {
    /// The file could not be opened or read.
    #[error("{path}: {source}")]
    Io {
        /// As given.
        path: String,
        /// The system's reason.
        source: std::io::Error,
    },
    /// Not a sound file of a known kind, or a damaged one.
    #[error("{path}: {reason}; {advice}")]
    Undecodable {
        /// As given.
        path: String,
        /// What is wrong, with the position where known.
        reason: String,
        /// What the user can do.
        advice: String,
    },
    /// Decodable, but outside what is accepted (rate, channels).
    #[error("{path}: {reason}; {advice}")]
    Unsuitable {
        /// As given.
        path: String,
        /// What was found and what is accepted.
        reason: String,
        /// What the user can do.
        advice: String,
    },
}
