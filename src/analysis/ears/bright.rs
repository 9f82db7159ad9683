//! Brightness: where the middle of the spectrum lies.
//!
//! The power-weighted mean of frequency, from 120 Hz to 16 kHz, read through the same windows as
//! band levels: three bands, one for each rate of the ladder, each summed as it is and with every
//! frequency's power times the frequency. (Below 120 Hz windows are long, and bass says little about
//! brightness.)

use crate::analysis::{BandRequest, Channel, Weighting};
use crate::units::Hertz;

/// Edges of the bands.
const EDGES_HZ: [f64; 4] = [120.0, 550.0, 2200.0, 16_000.0];

/// What has to be measured for it, the plain sum of each band before the weighted one.
pub(in crate::analysis) fn requests() -> impl Iterator<Item = BandRequest> {
    let bands = EDGES_HZ.iter().zip(EDGES_HZ.iter().skip(1));
    bands.flat_map(|(&low, &high)| {
        [Weighting::None, Weighting::Frequency].map(|weighting| BandRequest {
            low_hz: Hertz(low),
            high_hz: Hertz(high),
            channel: Channel::All,
            weighting,
        })
    })
}

/// Keeps the last centroid over silence.
#[derive(Debug, Default)]
pub(super) struct Bright {
    centroid_hz: f64,
}

impl Bright {
    /// `powers` as [`requests`] asks for.
    pub(super) fn measure(&mut self, powers: &[f64], quiet: bool) {
        let (mut plain, mut weighted) = (0.0, 0.0);
        for pair in powers.chunks_exact(2) {
            if let [band, times_khz] = pair {
                plain += band;
                weighted += times_khz;
            }
        }
        if !quiet && plain > 0.0 {
            let [low, .., high] = EDGES_HZ;
            self.centroid_hz = (1000.0 * weighted / plain).clamp(low, high);
        }
    }

    #[expect(clippy::cast_possible_truncation, reason = "a frequency, to seven digits")]
    pub(super) fn centroid_hz(&self) -> f32 {
        self.centroid_hz as f32
    }
}
