//! What a line input delivers, in plain sentences: level, clipping, hum, legs, meddling.
//!
//! [`Listening`] takes samples and keeps sums, a track of levels and a few long spectra; it reads
//! no clock and owns no device. [`Listening::finish`] weighs them into [`Findings`], numbers
//! first; [`advice`] turns those into one sentence a topic with what to do about it.
//!
//! What counts as too loud, too quiet or hum is a judgement: where a threshold comes from no
//! standard it is marked "common practice, no source" beside it.

pub mod advice;
mod hum;
mod legs;
mod pace;
mod tops;

pub use hum::{Hum, MAINS_HZ};
pub use legs::Legs;
pub use pace::Meddling;
pub use tops::Tops;

use crate::audio::{SampleBlock, SoundFormat};
use hum::LongSpectra;
use legs::LegSums;
use pace::Track;
use serde::Serialize;
use tops::TopCounter;

/// How long to listen unless told otherwise, s.
pub const LISTEN_S: f64 = 20.0;

/// Shorter than this, hum cannot be told from a bass note.
pub const LEAST_S: f64 = 16.0;

/// Everything measured about one input.
#[derive(Debug, Clone, Serialize)]
pub struct Findings {
    /// Sound heard, s.
    pub heard_s: f64,
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Channels.
    pub channels: u16,
    /// Highest sample of any channel, dBFS (full-scale sine peaks at 0); `None` in silence.
    pub peak_dbfs: Option<f64>,
    /// Mean square of the louder half of the tenths of a second, dBFS as in AES17: a full-scale
    /// sine reads 0. `None` in silence.
    pub loud_dbfs: Option<f64>,
    /// Largest mean value of a channel, share of full scale.
    pub offset: f64,
    /// Flattened tops.
    pub tops: Tops,
    /// Left against right; `None` unless there are two channels or more.
    pub legs: Option<Legs>,
    /// Mains hum, where there is any.
    pub hum: Option<Hum>,
    /// Signs of automatic gain, gating or a voice band; `None` when too little was heard.
    pub meddling: Option<Meddling>,
}

/// Samples in, [`Findings`] out.
pub struct Listening {
    format: SoundFormat,
    instants: u64,
    tops: Vec<TopCounter>,
    legs: LegSums,
    track: Track,
    spectra: LongSpectra,
}

impl Listening {
    /// For sound of this format. Takes all its memory here for the first minute.
    pub fn new(format: SoundFormat) -> Self {
        Self {
            format,
            instants: 0,
            tops: vec![TopCounter::default(); usize::from(format.channels)],
            legs: LegSums::default(),
            track: Track::new(format.rate_hz),
            spectra: LongSpectra::new(format.rate_hz),
        }
    }

    /// Hears a block.
    pub fn push(&mut self, block: SampleBlock<'_>) {
        for instant in block.interleaved().chunks_exact(usize::from(block.channels().max(1))) {
            self.instants += 1;
            let mut square = 0.0;
            for (sample, tops) in instant.iter().zip(&mut self.tops) {
                let sample = if sample.is_finite() { *sample } else { 0.0 };
                tops.push(sample);
                square += f64::from(sample) * f64::from(sample);
            }
            if let [left, right, ..] = instant {
                self.legs.push(f64::from(*left), f64::from(*right));
            }
            self.track.push(square / instant.len() as f64);
            let leg = |n: usize| instant.get(n).copied().filter(|sample| sample.is_finite());
            self.spectra.push(leg(0).unwrap_or(0.0), leg(1).unwrap_or(0.0));
        }
    }

    /// Instants heard so far.
    pub fn instants(&self) -> u64 {
        self.instants
    }

    /// Sound heard so far, s.
    pub fn heard_s(&self) -> f64 {
        self.instants as f64 / f64::from(self.format.rate_hz)
    }

    /// Weighs what was heard.
    pub fn finish(&self) -> Findings {
        let peak = self.tops.iter().map(TopCounter::peak).fold(0.0, f64::max);
        let loud = self.track.loud_half();
        Findings {
            heard_s: self.heard_s(),
            rate_hz: self.format.rate_hz,
            channels: self.format.channels,
            peak_dbfs: db(peak * peak),
            loud_dbfs: db(2.0 * loud),
            offset: self.tops.iter().map(TopCounter::offset).fold(0.0, f64::max),
            tops: tops::total(&self.tops),
            legs: (self.format.channels >= 2).then(|| self.legs.weigh()),
            hum: self.spectra.hum(),
            meddling: pace::weigh(&self.track, &self.spectra),
        }
    }
}

/// Decibels of a power, `None` for nothing.
fn db(power: f64) -> Option<f64> {
    (power > 1e-18).then(|| 10.0 * libm::log10(power))
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    reason = "tests stop at the first surprise"
)]
mod tests;
