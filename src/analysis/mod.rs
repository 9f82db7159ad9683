//! Samples to levels: how loud each band is at each frame, and whether anything is playing.
//!
//! [`Analysis`] takes samples as they come and is asked for a measurement at each frame edge. It
//! holds the last 128 ms of the sound at up to three rates; a band is read at the lowest rate that
//! holds it, through the shortest window that can tell it apart.

use crate::units::{Hertz, Rate, Seconds};

/// Part of the sound a band listens to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Channel {
    /// Mean power over all channels. A full-scale sine in every channel reads 0 dBFS.
    All,
    /// First channel.
    Left,
    /// Second channel; the only one of a mono sound.
    Right,
    /// Half the sum of the first two.
    Mid,
    /// Half the difference of the first two; silent for mono.
    Side,
}

/// A band to be measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandRequest {
    /// Lower edge.
    pub low_hz: Hertz,
    /// Upper edge, above the lower.
    pub high_hz: Hertz,
    /// What it listens to.
    pub channel: Channel,
}

/// Which arithmetic the spectra use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Arith {
    /// The fastest transform this processor has: same bytes on the same class of processor.
    #[default]
    Native,
    /// The scalar transform: same bytes on every processor.
    Portable,
}

/// Everything [`Analysis`] must know, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalysisSettings {
    /// The sound to come.
    pub sound: crate::audio::SoundFormat,
    /// How often it is measured.
    pub frame_rate: Rate,
    /// Bands in the order in which levels are reported.
    pub bands: Vec<BandRequest>,
    /// Level below which the sound counts as quiet, in dBFS; `None` follows the noise floor.
    pub quiet_dbfs: Option<f64>,
    /// Arithmetic.
    pub arith: Arith,
}

/// How one band is measured: the price of telling it apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandInfo {
    /// As asked.
    pub request: BandRequest,
    /// Rate at which the band is read, Hz.
    pub level_rate_hz: f64,
    /// Window length.
    pub window_s: Seconds,
    /// From a click in the sound to -10 dB of the band's own peak.
    pub delay_s: Seconds,
    /// How far the reading of a steady sine may be off at a band edge or between bins, dB; 0 for
    /// bands wide enough for their window.
    pub level_error_db: f64,
    /// Share of the band that lies above the sound's upper limit and is silent, 0 to 1.
    pub beyond_sound: f64,
}

/// One measurement. Borrowed from [`Analysis`]; slices are in band order.
#[derive(Debug, Clone, Copy)]
pub struct Heard<'a> {
    /// Level per band, dBFS (a full-scale sine reads 0); at least [`SILENCE_DBFS`].
    pub band_dbfs: &'a [f32],
    /// What counts as loud in each band just now: the slowly followed top of its range, dBFS.
    pub top_dbfs: &'a [f32],
    /// Level of the whole sound, dBFS.
    pub overall_dbfs: f32,
    /// True after 1.5 s below the quiet level: nothing plays that should stir the fluid.
    pub quiet: bool,
}

/// The level of digital silence.
pub const SILENCE_DBFS: f32 = -120.0;
