//! The spectrum that pages draw: columns of equal width in octaves, off the frame path.
//!
//! Not what routes hear (that is measured by the engine, with windows of its own); a picture of the
//! sound to place them on.

use std::collections::VecDeque;
use std::sync::Arc;

use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

use crate::audio::SoundFormat;

/// Lowest and highest edge drawn, Hz.
pub(super) const EDGES_HZ: (f64, f64) = (20.0, 20_000.0);
/// Columns between them: about a tenth of an octave each.
pub(super) const COLUMNS: usize = 96;
/// Window: 85 ms at 48 kHz.
const WINDOW: usize = 4096;
const SILENCE_DBFS: f32 = -120.0;

/// Recent sound and its spectrum.
pub(super) struct Spectrum {
    fft: Arc<dyn Fft<f32>>,
    channels: usize,
    /// Whole instants, oldest first.
    recent: VecDeque<f32>,
    keep: usize,
    window: Vec<f32>,
    /// Bins of each column, as far as there are any.
    columns: Vec<(usize, usize)>,
    work: Vec<Complex32>,
    power: Vec<f32>,
    levels: Vec<f32>,
}

impl Spectrum {
    /// Keeps so many seconds of sound.
    pub(super) fn new(sound: SoundFormat, keep_s: f64) -> Self {
        let channels = usize::from(sound.channels.max(1));
        let rate = f64::from(sound.rate_hz);
        let turn = |n: usize| std::f64::consts::TAU * n as f64 / WINDOW as f64;
        #[expect(clippy::cast_possible_truncation, reason = "0 to 1")]
        let window = (0..WINDOW).map(|n| (0.5 - 0.5 * libm::cos(turn(n))) as f32).collect();
        let (low, high) = EDGES_HZ;
        let edge = |n: usize| low * libm::pow(high / low, n as f64 / COLUMNS as f64);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small")]
        let bin = |hz: f64| (hz * WINDOW as f64 / rate).round() as usize;
        let columns = (0..COLUMNS)
            .map(|n| (bin(edge(n)).max(1), bin(edge(n + 1)).max(bin(edge(n)) + 1).max(2)))
            .collect();
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "seconds")]
        let keep = (keep_s * rate) as usize * channels;
        Self {
            fft: FftPlanner::new().plan_fft_forward(WINDOW),
            channels,
            recent: VecDeque::with_capacity(keep + 1),
            keep: keep.max(WINDOW * channels),
            window,
            columns,
            work: vec![Complex32::default(); WINDOW],
            power: vec![0.0; WINDOW / 2 + 1],
            levels: vec![SILENCE_DBFS; COLUMNS],
        }
    }

    /// Takes sound in, whole instants.
    pub(super) fn push(&mut self, interleaved: &[f32]) {
        self.recent.extend(interleaved);
        while self.recent.len() > self.keep {
            self.recent.drain(..self.channels);
        }
    }

    /// The sound of the last seconds.
    pub(super) fn recent(&mut self) -> &[f32] {
        self.recent.make_contiguous()
    }

    /// Level of each column now, dBFS: a full-scale sine reads 0 (AES17) where it falls into one.
    pub(super) fn levels(&mut self) -> &[f32] {
        let instants = self.recent.len() / self.channels;
        let skip = instants.saturating_sub(WINDOW) * self.channels;
        self.power.fill(0.0);
        for channel in 0..self.channels.min(2) {
            self.work.fill(Complex32::default());
            let samples = self.recent.iter().skip(skip + channel).step_by(self.channels);
            for ((slot, sample), weight) in self.work.iter_mut().zip(samples).zip(&self.window) {
                slot.re = sample * weight;
            }
            self.fft.process(&mut self.work);
            for (sum, bin) in self.power.iter_mut().zip(&self.work) {
                *sum += bin.norm_sqr();
            }
        }
        // Hann: the power of a sine lies in bins that add up to 3/8 of N squared over 4, and a
        // full-scale sine has mean square 1/2; two channels add up.
        let square = WINDOW as f32 * WINDOW as f32;
        let full = 0.375 * square / 4.0 * self.channels.min(2) as f32;
        for (level, &(from, to)) in self.levels.iter_mut().zip(&self.columns) {
            let bins = self.power.get(from..to.min(self.power.len())).unwrap_or_default();
            let power: f32 = bins.iter().sum();
            *level = (10.0 * libm::log10f(power / full + 1e-12)).max(SILENCE_DBFS);
        }
        &self.levels
    }
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;

    #[test]
    fn a_full_scale_sine_reads_0_dbfs_in_its_column_and_nothing_far_away() {
        // AES17: the level of a full-scale sine is 0 dBFS.
        let sound = SoundFormat { rate_hz: 48_000, channels: 2 };
        let mut spectrum = Spectrum::new(sound, 1.0);
        let sample = |n: u16| (std::f32::consts::TAU * 3000.0 * f32::from(n) / 48_000.0).sin();
        let both: Vec<f32> = (0..24_000).flat_map(|n| [sample(n), sample(n)]).collect();
        spectrum.push(&both);
        let levels = spectrum.levels();
        let top = levels.iter().copied().fold(f32::MIN, f32::max);
        // A sine near an edge gives part of its power to the neighbour.
        assert!((-3.2..0.1).contains(&top), "{top}");
        assert!(levels[10] < -60.0 && levels[90] < -60.0, "{levels:?}");
        assert!(spectrum.recent().len() <= 48_000 * 2);
    }
}
