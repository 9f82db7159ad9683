//! Why a sound cannot be analysed.

use super::{BandRefusal, Channel, MOST_CHANNELS, SILENCE_DBFS};
use crate::audio::RATE_LIMITS_HZ;
use thiserror::Error;

/// Why a sound cannot be analysed as asked.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum AnalysisError {
    /// Sampling rate outside the limits.
    #[error(
        "sound at {rate_hz} Hz cannot be analysed: convert it to {} to {} Hz",
        RATE_LIMITS_HZ.0,
        RATE_LIMITS_HZ.1
    )]
    SoundRate {
        /// As found.
        rate_hz: u32,
    },
    /// No channel or too many.
    #[error(
        "sound with {channels} channels cannot be analysed: convert it to 1 to {MOST_CHANNELS} \
         channels"
    )]
    SoundChannels {
        /// As found.
        channels: u16,
    },
    /// A quiet level that is none.
    #[error(
        "{dbfs} dBFS is no quiet level: write {SILENCE_DBFS} to 0 dBFS, or leave it out and the \
         noise floor is followed"
    )]
    QuietLevel {
        /// As asked.
        dbfs: f64,
    },
    /// A band that cannot be measured.
    #[error("band {number} ({channel}): {refusal}")]
    Band {
        /// Place in the settings, counted from 1.
        number: usize,
        /// What it was to listen to.
        channel: Channel,
        /// Why not, and what to do.
        refusal: BandRefusal,
    },
}
